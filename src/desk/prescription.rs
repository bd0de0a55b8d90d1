//! A prescription with its pupil distances, and which of them the pair is made for.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::key::keyed;
use crate::optics::Pair;
use crate::optics::prescription::{EyePrescription, PupilDistance};

/// Which of the wearer's two pupil distances the pair is centred on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum MadeFor {
    #[default]
    Distance,
    /// For reading.
    Near,
}

keyed!(MadeFor);

impl MadeFor {
    /// Shown to the user.
    pub fn words(self) -> &'static str {
        match self {
            MadeFor::Distance => "distance",
            MadeFor::Near => "reading",
        }
    }
}

/// A prescription with its pupil distances.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prescription {
    /// Each eye, as read from the text.
    pub eyes: Pair<EyePrescription>,
    /// Each eye, as typed.
    pub typed: Pair<String>,
    pub prescriber: String,
    pub written_on: Option<Date>,
    /// The last day it may be used, where the prescriber or the state sets one.
    pub expires_on: Option<Date>,
    /// Only as the prescriber wrote it.
    pub diagnosis: String,
    /// For distance.
    pub pupil_distance: PupilDistance,
    /// For reading.
    pub near_pupil_distance: Option<PupilDistance>,
}

impl Prescription {
    /// Whether it has expired on this day. The owner decides what to do about it, by state law.
    pub fn is_past(&self, today: Date) -> bool {
        self.expires_on.is_some_and(|last| last < today)
    }

    /// The pupil distance to centre the pair on. An order for a reading pair requires the near one.
    pub fn centred_on(&self, made_for: MadeFor) -> PupilDistance {
        match (made_for, self.near_pupil_distance) {
            (MadeFor::Near, Some(near)) => near,
            _ => self.pupil_distance,
        }
    }
}
