//! An order: everything that must be known before money is spent, and what the customer pays for it.

use time::Date;
use uuid::Uuid;

use super::customer::Person;
use super::frame::FrameDetails;
use super::money::Cents;
use crate::optics::prescription::{EyePrescription, PupilDistance};
use crate::optics::unit::{Millimetre, Tilt};
use crate::optics::{Eye, Pair};

/// Which of the wearer's two pupil distances the pair is centred on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum MadeFor {
    /// Looking far.
    #[default]
    Distance,
    /// Reading.
    Near,
}

impl MadeFor {
    /// As written in the book and in forms.
    pub fn key(self) -> &'static str {
        match self {
            MadeFor::Distance => "distance",
            MadeFor::Near => "near",
        }
    }

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            MadeFor::Distance => "distance",
            MadeFor::Near => "reading",
        }
    }

    /// The use written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        match key {
            "distance" => Some(MadeFor::Distance),
            "near" => Some(MadeFor::Near),
            _ => None,
        }
    }
}

/// The form of the front surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Design {
    /// Spherical front.
    #[default]
    Spherical,
    /// Aspheric front: flatter and thinner, centred with more care.
    Aspheric,
}

impl Design {
    /// As written in the book and in forms.
    pub fn key(self) -> &'static str {
        match self {
            Design::Spherical => "spherical",
            Design::Aspheric => "aspheric",
        }
    }

    /// The design written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        match key {
            "spherical" => Some(Design::Spherical),
            "aspheric" => Some(Design::Aspheric),
            _ => None,
        }
    }

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            Design::Spherical => "single vision, spherical",
            Design::Aspheric => "single vision, aspheric",
        }
    }
}

/// A prescription with the distance the pair is centred on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prescription {
    /// Each eye as written.
    pub eyes: Pair<EyePrescription>,
    /// Each eye as it was typed.
    pub typed: Pair<String>,
    /// Who wrote it.
    pub prescriber: String,
    /// When it was written.
    pub written_on: Option<Date>,
    /// The last day it may be used, where the prescriber or the state sets one.
    pub expires_on: Option<Date>,
    /// A diagnosis, only ever as the prescriber wrote it.
    pub diagnosis: String,
    /// Looking far.
    pub pupil_distance: PupilDistance,
    /// Reading.
    pub near_pupil_distance: Option<PupilDistance>,
}

impl Prescription {
    /// Whether it may no longer be used on this day. Who decides is the owner, by their state's law.
    pub fn is_past(&self, today: Date) -> bool {
        self.expires_on.is_some_and(|last| last < today)
    }

    /// The pupil distance of a use: the near one is asked for before a reading pair can be taken.
    pub fn centred_on(&self, made_for: MadeFor) -> PupilDistance {
        match (made_for, self.near_pupil_distance) {
            (MadeFor::Near, Some(near)) => near,
            _ => self.pupil_distance,
        }
    }
}

/// What a line of the bill is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ChargeKind {
    /// The frame.
    Frame,
    /// A single-vision lens.
    Lens,
    /// The material over plain hard resin.
    Material,
    /// A coating.
    Coating,
    /// A tint.
    Tint,
    /// Prescribed prism.
    Prism,
    /// Packing and carriage; usually not eligible with a plan, so shown apart.
    Shipping,
    /// Taken off; negative.
    Discount,
    /// Sales tax.
    Tax,
    /// Anything else.
    Other,
}

impl ChargeKind {
    /// Every kind.
    pub const ALL: [ChargeKind; 10] = [
        ChargeKind::Frame,
        ChargeKind::Lens,
        ChargeKind::Material,
        ChargeKind::Coating,
        ChargeKind::Tint,
        ChargeKind::Prism,
        ChargeKind::Shipping,
        ChargeKind::Discount,
        ChargeKind::Tax,
        ChargeKind::Other,
    ];

    /// As written in the book.
    pub fn key(self) -> &'static str {
        match self {
            ChargeKind::Frame => "frame",
            ChargeKind::Lens => "lens",
            ChargeKind::Material => "material",
            ChargeKind::Coating => "coating",
            ChargeKind::Tint => "tint",
            ChargeKind::Prism => "prism",
            ChargeKind::Shipping => "shipping",
            ChargeKind::Discount => "discount",
            ChargeKind::Tax => "tax",
            ChargeKind::Other => "other",
        }
    }

    /// The kind written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.key() == key)
    }
}

/// One line of the bill, as agreed when the order was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Charge {
    /// What it is for.
    pub kind: ChargeKind,
    /// Which eye, for a line that is per lens.
    pub eye: Option<Eye>,
    /// In words.
    pub what: String,
    /// Procedure code; empty for none.
    pub code: String,
    /// How much.
    pub amount: Cents,
}

/// How money came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PaymentKind {
    /// A payment card.
    Card,
    /// A paper check.
    Check,
    /// Cash.
    Cash,
    /// A bank transfer.
    Transfer,
    /// Something else.
    Other,
}

impl PaymentKind {
    /// Every kind, in the order of the form.
    pub const ALL: [PaymentKind; 5] =
        [PaymentKind::Card, PaymentKind::Check, PaymentKind::Cash, PaymentKind::Transfer, PaymentKind::Other];

    /// As written in the book and in forms.
    pub fn key(self) -> &'static str {
        match self {
            PaymentKind::Card => "card",
            PaymentKind::Check => "check",
            PaymentKind::Cash => "cash",
            PaymentKind::Transfer => "transfer",
            PaymentKind::Other => "other",
        }
    }

    /// The kind written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.key() == key)
    }
}

/// Money that came in (or, negative, went back).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Payment {
    /// How.
    pub kind: PaymentKind,
    /// How much.
    pub amount: Cents,
    /// On which day.
    pub paid_on: Date,
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
    /// The frame and the kept shape of an earlier job: nothing is mailed.
    OfJob(i64),
}

/// Everything needed to open a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewOrder {
    /// For whom.
    pub customer: CustomerChoice,
    /// In which frame.
    pub frame: FrameChoice,
    /// The wrap of a frame that is new in the book, where it was asked for.
    pub frame_wrap: Option<Tilt>,
    /// To which prescription.
    pub prescription: Prescription,
    /// For which distance.
    pub made_for: MadeFor,
    /// The version of the material.
    pub material: Uuid,
    /// The form of the front.
    pub design: Design,
    /// The version of the coating.
    pub coating: Option<Uuid>,
    /// The version of the tint.
    pub tint: Option<Uuid>,
    /// Optical centre above the lowest point of the box.
    pub height: Pair<Millimetre>,
    /// The day the order is complete.
    pub ordered_on: Date,
    /// The day it is promised for.
    pub promised_on: Date,
    /// A remark for the bench.
    pub note: String,
    /// The bill.
    pub charges: Vec<Charge>,
    /// Paid with the order.
    pub payment: Option<Payment>,
}
