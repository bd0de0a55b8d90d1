//! A prescription with its pupil distances, and which of them a pair is made for.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::key::keyed;
use crate::optics::Pair;
use crate::optics::prescription::{EyePrescription, PupilDistance};

/// Which of the wearer's two pupil distances the pair is centred on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum MadeFor {
    /// Looking far.
    #[default]
    Distance,
    /// Reading.
    Near,
}

keyed!(MadeFor);

impl MadeFor {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            MadeFor::Distance => "distance",
            MadeFor::Near => "reading",
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
