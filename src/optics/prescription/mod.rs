//! The prescription as a practitioner writes it: reading, checking and writing it.
//!
//! Powers keep the cylinder form they were written in and transpose exactly. An eighth is written with two decimals,
//! 0.125 as 0.12 (common practice), and adds as an eighth: -2.12 and -1.12 make -3.25.
//!
//! * [`read`] reads one eye's prescription, [`read_measured`] a lensmeter reading, [`read_prism`] a prism alone.
//! * [`cautions`] lists what is unlikely, from both eyes and the last prescription.
//! * [`read_pupil_distance`] reads one number for both eyes, or one for each eye.

use std::fmt;

mod caution;
mod fault;
mod power;
mod prism;
mod pupil_distance;
mod read;
#[cfg(test)]
pub(crate) mod tests;
mod token;

pub use caution::{Caution, cautions, cautions_of_eye};
pub use fault::{PrescriptionFault, ReadNote};
pub use power::{CylinderForm, LensPower, PowerError};
pub use prism::{BaseDirection, Prism, PrismTooStrong};
pub use pupil_distance::{
    Given, PupilDistance, PupilDistanceCaution, PupilDistanceFault, pupil_distance_cautions, read_pupil_distance,
    read_pupil_distance_for,
};
pub use read::{PrescriptionReading, read, read_measured, read_prism};

/// What is prescribed before one eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct EyePrescription {
    /// The power, as written.
    pub power: LensPower,
    /// The prism.
    pub prism: Prism,
}

impl fmt::Display for EyePrescription {
    /// `-2.25 -1.25 x 095`, followed by `, 1.50 base in` where there is prism. [`read`] reads it back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.power)?;
        if self.prism.is_none() { Ok(()) } else { write!(f, ", {}", self.prism) }
    }
}
