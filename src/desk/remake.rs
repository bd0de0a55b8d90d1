//! A remake: an earlier job made again, for one eye or both.

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::fault::FaultCause;
use super::key::keyed;

/// Who pays for a remake.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum RemakePayer {
    Shop,
    Customer,
    /// The supplier of the lens.
    Supplier,
    /// The carrier of the parcel.
    Carrier,
}

keyed!(RemakePayer);

impl RemakePayer {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            RemakePayer::Shop => "we pay",
            RemakePayer::Customer => "the customer pays",
            RemakePayer::Supplier => "the supplier pays",
            RemakePayer::Carrier => "the carrier pays",
        }
    }
}

impl FaultCause {
    /// Who usually pays for this cause; the owner decides (common practice).
    pub fn usual_payer(self) -> RemakePayer {
        match self {
            FaultCause::Prescription | FaultCause::Mind => RemakePayer::Customer,
            FaultCause::Lens | FaultCause::Coating => RemakePayer::Supplier,
            FaultCause::Post => RemakePayer::Carrier,
            FaultCause::Order | FaultCause::Layout | FaultCause::Cut | FaultCause::Mount | FaultCause::Handling => {
                RemakePayer::Shop
            }
        }
    }
}

/// Why a job is made again, who pays, and what was learned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Remake {
    pub cause: FaultCause,
    pub paid_by: RemakePayer,
    /// Whether the frame stays with the customer, so that lenses alone are sent.
    pub frame_stays: bool,
    /// What to do better next time; may be empty.
    pub lesson: String,
}

impl Remake {
    /// The most characters of a lesson.
    pub const MOST: usize = 300;

    /// Cause, payer and lesson in a sentence.
    pub fn words(&self) -> String {
        let lesson = if self.lesson.is_empty() { String::new() } else { format!("; lesson: {}", self.lesson) };
        format!("{}; {}{lesson}", self.cause.words(), self.paid_by.words())
    }
}
