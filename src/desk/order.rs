//! An order: everything needed to open a job, with the bill and the first payment.

use time::Date;
use uuid::Uuid;

use super::bill::Charge;
use super::customer::Person;
use super::frame::FrameDetails;
use super::payment::Payment;
use super::prescription::{MadeFor, Prescription};
use crate::optics::Pair;
use crate::optics::unit::{Millimetre, Tilt};

/// The form of the front surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Design {
    /// Spherical front.
    #[default]
    Spherical,
    /// Aspheric front: flatter and thinner. Centring is more critical.
    Aspheric,
}

impl Design {
    /// Stable key for the book and forms.
    pub fn key(self) -> &'static str {
        match self {
            Design::Spherical => "spherical",
            Design::Aspheric => "aspheric",
        }
    }

    pub fn from_key(key: &str) -> Option<Self> {
        match key {
            "spherical" => Some(Design::Spherical),
            "aspheric" => Some(Design::Aspheric),
            _ => None,
        }
    }

    /// Shown to the user.
    pub fn words(self) -> &'static str {
        match self {
            Design::Spherical => "single vision, spherical",
            Design::Aspheric => "single vision, aspheric",
        }
    }
}

/// The customer of a new order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CustomerChoice {
    /// Already in the book.
    Known(Uuid),
    /// To be added with the order.
    New(Person),
}

/// The frame of a new order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FrameChoice {
    /// Already in the book.
    Known(Uuid),
    /// To be added with the order.
    New(FrameDetails),
    /// The frame and stored shape of an earlier job: no frame is mailed in.
    OfJob(i64),
}

/// Everything needed to open a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewOrder {
    pub customer: CustomerChoice,
    pub frame: FrameChoice,
    /// The wrap of a new frame, if it was entered.
    pub frame_wrap: Option<Tilt>,
    pub prescription: Prescription,
    pub made_for: MadeFor,
    /// Id of the material version.
    pub material: Uuid,
    pub design: Design,
    /// Id of the coating version.
    pub coating: Option<Uuid>,
    /// Id of the tint version.
    pub tint: Option<Uuid>,
    /// Optical centre above the lowest point of the box.
    pub height: Pair<Millimetre>,
    /// The day the order is complete.
    pub ordered_on: Date,
    pub promised_on: Date,
    /// For the bench.
    pub note: String,
    pub charges: Vec<Charge>,
    /// Paid with the order.
    pub payment: Option<Payment>,
}
