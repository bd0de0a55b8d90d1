//! An order: everything needed to open a job, with the bill and the first payment.

use std::ops::RangeInclusive;

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::bill::Charge;
use super::center_height::CenterHeight;
use super::customer::Person;
use super::fitting::VertexAnswer;
use super::frame::FrameDetails;
use super::id::{CustomerId, FrameId, MaterialVersionId, TreatmentVersionId};
use super::job::EyeTask;
use super::key::keyed;
use super::limit::LengthLimit;
use super::payment::Payment;
use super::prescription::{MadeFor, Prescription};
use super::remake::Remake;
use crate::optics::Pair;
use crate::optics::unit::Tilt;

/// The height of an optical center above the lowest point of the box (common practice).
pub const HEIGHT: LengthLimit = LengthLimit::new("A height", 500, 6000);
/// How far a height usually lies below and above the middle of the lens, mm (common practice).
pub const HEIGHT_FROM_MIDDLE_MM: RangeInclusive<f64> = -3.0..=8.0;
/// How much wider the lens centers of a frame usually stand than the pupils, mm (common practice). Beyond, the frame is
/// probably the wrong size.
pub const FRAME_OVER_PUPILS_MM: RangeInclusive<f64> = -4.0..=14.0;

/// The form of the front surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Design {
    /// Spherical front.
    #[default]
    Spherical,
    /// Aspheric front: flatter and thinner. Centering is more critical.
    Aspheric,
}

keyed!(Design);

impl Design {
    /// Shown to the user.
    pub fn words(self) -> &'static str {
        match self {
            Design::Spherical => "single vision, spherical",
            Design::Aspheric => "single vision, aspheric",
        }
    }

    /// For the wearer, to whom a spherical front would say that the lens has no cylinder.
    pub fn plain_words(self) -> &'static str {
        match self {
            Design::Spherical => "single vision",
            Design::Aspheric => self.words(),
        }
    }
}

/// A person of a new order: the patient, who pays, or who gets the parcel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CustomerChoice {
    /// Already in the book.
    Known(CustomerId),
    /// To be added with the order.
    New(Person),
}

/// Who gets the parcel of a new order.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Recipient {
    /// The patient.
    #[default]
    Patient,
    /// Whoever pays.
    Payer,
    /// Somebody else.
    Other(Box<CustomerChoice>),
}

/// Who pays for a job and who gets its parcel, where that is not the patient.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct People {
    /// Who pays, if it is not the patient.
    pub payer: Option<CustomerChoice>,
    pub recipient: Recipient,
}

/// The frame of a new order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FrameChoice {
    /// Already in the book.
    Known(FrameId),
    /// To be added with the order.
    New(FrameDetails),
    /// The frame and stored shape of an earlier job: no frame is mailed in.
    OfJob(i64),
}

/// Everything needed to open a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewOrder {
    /// The patient.
    pub customer: CustomerChoice,
    pub people: People,
    pub frame: FrameChoice,
    /// The wrap of a new frame, if it was entered.
    pub frame_wrap: Option<Tilt>,
    /// Where the vertex distance was tested and where it is worn; `None` where nobody answered.
    pub vertex: Option<VertexAnswer>,
    pub prescription: Prescription,
    /// What is done for each eye; a lens is made for at least one.
    pub tasks: Pair<EyeTask>,
    pub made_for: MadeFor,
    pub material: MaterialVersionId,
    pub design: Design,
    pub coating: Option<TreatmentVersionId>,
    /// Over the first one; none without it.
    pub second_coating: Option<TreatmentVersionId>,
    pub tint: Option<TreatmentVersionId>,
    /// Optical center above the lowest point of the box.
    pub height: Pair<CenterHeight>,
    /// The day the order is complete.
    pub ordered_on: Date,
    pub promised_on: Date,
    /// For the bench.
    pub note: String,
    pub charges: Vec<Charge>,
    /// Why an earlier job is made again; its frame is [`FrameChoice::OfJob`].
    pub remake: Option<Remake>,
    /// Paid with the order.
    pub payment: Option<Payment>,
}
