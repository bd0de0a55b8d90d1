//! A prescription with its pupil distances, and which of them the pair is made for.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::job::EyeTask;
use super::key::keyed;
use super::npi::Npi;
use crate::optics::prescription::{EyePrescription, Given, PupilDistance};
use crate::optics::{Eye, Pair};

/// Which of the wearer's two pupil distances the pair is centered on.
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
    /// Each eye, as read from the text. Plano, and without meaning, for an eye that has no power.
    pub eyes: Pair<EyePrescription>,
    /// False for an eye whose lens stays in the frame and whose power nobody wrote.
    pub has_power: Pair<bool>,
    /// Each eye, as typed.
    pub typed: Pair<String>,
    pub prescriber: String,
    pub prescriber_npi: Option<Npi>,
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

/// The power from which each eye's own pupil distance matters: half a millimeter is 0.2 prism diopters there. Common
/// practice.
pub const EACH_PD_FROM_D: f64 = 4.0;

impl Prescription {
    /// Each eye that was prescribed for: not one without a power, and not a balance lens, whose power is ours.
    pub fn prescribed_eyes(&self, tasks: Pair<EyeTask>) -> Pair<Option<EyePrescription>> {
        let of = |eye| {
            let is_prescribed = *self.has_power.get(eye) && *tasks.get(eye) != EyeTask::Balance;
            is_prescribed.then_some(*self.eyes.get(eye))
        };
        Pair::new(of(Eye::Right), of(Eye::Left))
    }

    /// Whether one halved distance should be asked for again, for each eye.
    pub fn wants_pd_of_each_eye(&self, made_for: MadeFor) -> bool {
        self.centered_on(made_for).given() == Given::Both && self.strongest_d() >= EACH_PD_FROM_D - 1e-9
    }

    /// Whether a professional should measure the pupil distance at the face: 1 mm is then 0.4 prism diopters or more.
    pub fn wants_measured_pd(&self) -> bool {
        self.strongest_d() >= EACH_PD_FROM_D - 1e-9
    }

    /// The size of the strongest meridian of both eyes.
    pub fn strongest_d(&self) -> f64 {
        let of = |eye: &EyePrescription| eye.power.numbers().strongest_meridian_d().abs();
        of(&self.eyes.right).max(of(&self.eyes.left))
    }

    /// How much the spherical equivalents of the eyes differ.
    pub fn eyes_differ_by_d(&self) -> f64 {
        let eyes = self.eyes.as_ref().map(|eye| eye.power.spherical_equivalent_d());
        (eyes.right - eyes.left).abs()
    }

    /// Whether it has expired on this day. The owner decides what to do about it, by state law.
    pub fn is_past(&self, today: Date) -> bool {
        self.expires_on.is_some_and(|last| last < today)
    }

    /// The pupil distance to center the pair on. An order for a reading pair requires the near one.
    pub fn centered_on(&self, made_for: MadeFor) -> PupilDistance {
        match (made_for, self.near_pupil_distance) {
            (MadeFor::Near, Some(near)) => near,
            _ => self.pupil_distance,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::MadeFor;
    use crate::desk::sample::round_job;

    #[test]
    fn one_distance_is_not_enough_for_a_strong_lens() {
        for (rx, pd, asks) in [
            ("-3.75 sph", "63", false),
            ("-4.00 sph", "63", true),
            ("-3.00 -1.00 x 20", "63", true),
            ("+1.00 +3.00 x 20", "63", true),
            ("-4.00 sph", "31/32", false),
        ] {
            let prescription = round_job(rx, pd).prescription;
            assert_eq!(prescription.wants_pd_of_each_eye(MadeFor::Distance), asks, "{rx}, {pd}");
            assert_eq!(prescription.wants_measured_pd(), rx != "-3.75 sph", "{rx}");
        }
        assert_eq!(round_job("-4.00 sph", "63").prescription.pupil_distance.words(), "63.00 mm for both eyes, halved");
        assert_eq!(round_job("-4.00 sph", "31/32").prescription.pupil_distance.words(), "31.00/32.00 mm");
    }
}
