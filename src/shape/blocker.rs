//! The blocker's setting, the nudge that remains to be done by hand, and the prism if it is not done.

use thiserror::Error;

use super::outline::Point;
use crate::optics::power::SphereCylinder;
use crate::optics::prism::{InUp, prism_at};
use crate::optics::{Eye, Pair};

/// Equal distances may differ by this much in floating point.
const TIE_MM: f64 = 1e-9;

/// The step of a blocker: whole, half or tenth millimeters. Source: common practice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum BlockerStep {
    /// 1 mm.
    Whole,
    /// 0.5 mm.
    #[default]
    Half,
    /// 0.1 mm.
    Tenth,
}

/// A step that no blocker has.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("a blocker's step is 1, 0.5 or 0.1 mm, not {0} mm")]
pub struct StepError(f64);

impl BlockerStep {
    /// Every step, coarsest first.
    pub const ALL: [BlockerStep; 3] = [BlockerStep::Whole, BlockerStep::Half, BlockerStep::Tenth];

    /// The step of this many millimeters.
    ///
    /// # Errors
    ///
    /// [`StepError`] for anything but 1, 0.5 and 0.1.
    pub fn from_mm(step_mm: f64) -> Result<Self, StepError> {
        Self::ALL.into_iter().find(|s| (s.mm() - step_mm).abs() < TIE_MM).ok_or(StepError(step_mm))
    }

    /// The step in millimeters.
    pub fn mm(self) -> f64 {
        1.0 / self.per_mm()
    }

    fn per_mm(self) -> f64 {
        match self {
            BlockerStep::Whole => 1.0,
            BlockerStep::Half => 2.0,
            BlockerStep::Tenth => 10.0,
        }
    }

    /// The nearest settings: one, or the two of a tie, lower first.
    fn nearest_mm(self, wanted_mm: f64) -> Vec<f64> {
        let steps = wanted_mm * self.per_mm();
        let below = steps.floor();
        let past_half_mm = (steps - below - 0.5) / self.per_mm();
        // Divided, not multiplied by 0.1, so that a setting has no rounding error.
        let at = |k: f64| k / self.per_mm();
        if past_half_mm.abs() < TIE_MM {
            vec![at(below), at(below + 1.0)]
        } else if past_half_mm < 0.0 {
            vec![at(below)]
        } else {
            vec![at(below + 1.0)]
        }
    }
}

/// The wanted position of the optical center.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WantedCenter {
    /// From the middle of the nose.
    pub pd_mm: f64,
    /// From the lowest point of the box.
    pub height_mm: f64,
}

/// The blocker's setting for one eye, and the nudge that remains to be done by hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockerSetting {
    /// The PD to set.
    pub set_pd_mm: f64,
    /// The height to set.
    pub set_height_mm: f64,
    /// The remaining move towards the nose: the set PD minus the wanted one.
    pub nudge_in_mm: f64,
    /// The remaining move up: the wanted height minus the set one.
    pub nudge_up_mm: f64,
}

impl BlockerSetting {
    /// The nearest step for each value. A tie in a PD is rounded so that the sum of both eyes stays nearest to the
    /// wanted sum; if both ways do, the right eye rounds down, then the left. A tie in a height rounds down. Source:
    /// common practice (round per eye, keep the sum).
    pub fn of_pair(wanted: Pair<WantedCenter>, step: BlockerStep) -> Pair<BlockerSetting> {
        let sum_mm = wanted.right.pd_mm + wanted.left.pd_mm;
        let lefts = step.nearest_mm(wanted.left.pd_mm);
        let mut best = (f64::INFINITY, Pair::new(0.0, 0.0));
        for right in step.nearest_mm(wanted.right.pd_mm) {
            for &left in &lefts {
                let off_mm = (right + left - sum_mm).abs();
                if off_mm < best.0 - TIE_MM {
                    best = (off_mm, Pair::new(right, left));
                }
            }
        }
        let eye = |wanted: WantedCenter, set_pd_mm: f64| {
            let set_height_mm = step.nearest_mm(wanted.height_mm)[0];
            Self {
                set_pd_mm,
                set_height_mm,
                nudge_in_mm: set_pd_mm - wanted.pd_mm,
                nudge_up_mm: wanted.height_mm - set_height_mm,
            }
        };
        Pair::new(eye(wanted.right, best.1.right), eye(wanted.left, best.1.left))
    }

    /// The remaining move in front-view coordinates.
    pub fn nudge(&self, eye: Eye) -> Point {
        Point::new(self.nudge_in_mm * eye.nasal_sign(), self.nudge_up_mm)
    }

    /// The prism that remains without the nudge: the eye looks through the wanted point, `nudge` away from the optical
    /// center. With the full power matrix.
    pub fn residual_prism(&self, power: SphereCylinder, eye: Eye) -> InUp {
        let off = self.nudge(eye);
        prism_at(power.matrix(), off.x_mm, off.y_mm).to_in_up(eye)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn blocker_ties_keep_the_sum() {
        use BlockerStep::{Half, Tenth, Whole};
        // (step, wanted right, wanted left, set right, set left). Rule: common practice, worked by hand.
        for (step, right, left, set_right, set_left) in [
            (Half, 31.25, 31.75, 31.0, 32.0),  // both tie, both choices keep 63.0: right down
            (Half, 31.25, 31.25, 31.0, 31.5),  // 62.5 kept
            (Half, 31.25, 32.0, 31.0, 32.0),   // a quarter off either way: right down
            (Half, 32.0, 31.25, 32.0, 31.0),   // the same for the left
            (Half, 31.25, 31.9, 31.0, 32.0),   // left went up 0.1: right down is nearer 63.15
            (Half, 31.25, 32.1, 31.5, 32.0),   // left went down 0.1: right up is nearer 63.35
            (Whole, 30.5, 32.5, 30.0, 33.0),   // 63 kept
            (Whole, 30.5, 32.4, 31.0, 32.0),   // 62.9: 63 is nearer than 62
            (Tenth, 31.05, 32.05, 31.0, 32.1), // 63.1 kept, in spite of binary noise
            (Tenth, 31.04, 32.06, 31.0, 32.1), // no tie
            (Half, 31.0, 33.0, 31.0, 33.0),    // nothing to do
        ] {
            let wanted = Pair::new(right, left).map(|pd_mm| WantedCenter { pd_mm, height_mm: 20.25 });
            let set = BlockerSetting::of_pair(wanted, step);
            assert_eq!((set.right.set_pd_mm, set.left.set_pd_mm), (set_right, set_left), "{right} / {left}");
        }
    }

    #[test]
    fn a_height_tie_goes_down_and_the_nudge_makes_up_for_it() {
        let wanted =
            Pair::new(WantedCenter { pd_mm: 31.2, height_mm: 20.25 }, WantedCenter { pd_mm: 32.9, height_mm: 20.75 });
        let set = BlockerSetting::of_pair(wanted, BlockerStep::Half);
        assert_eq!((set.right.set_height_mm, set.right.nudge_up_mm), (20.0, 0.25));
        assert_eq!((set.left.set_height_mm, set.left.nudge_up_mm), (20.5, 0.25));
        // Set 31.0 for 31.2: the optical center must still go out by 0.2. Set 33.0 for 32.9: in by 0.1.
        assert!((set.right.nudge_in_mm + 0.2).abs() < 1e-9 && (set.left.nudge_in_mm - 0.1).abs() < 1e-9);
        assert!(set.right.nudge(Eye::Right).x_mm < 0.0 && set.left.nudge(Eye::Left).x_mm < 0.0);
        assert!(BlockerStep::from_mm(0.25).is_err() && BlockerStep::from_mm(f64::NAN).is_err());
        assert_eq!(BlockerStep::from_mm(0.1), Ok(BlockerStep::Tenth));
    }

    #[test]
    fn a_missing_nudge_leaves_prism() {
        let setting = |nudge_in_mm: f64, nudge_up_mm: f64| BlockerSetting {
            set_pd_mm: 0.0,
            set_height_mm: 0.0,
            nudge_in_mm,
            nudge_up_mm,
        };
        // (sphere, cylinder, axis, in, up, eye, base in, base up)
        for (s, c, a, inward, up, eye, base_in, base_up) in [
            // -5.00, 2 mm: 1.0Δ (computed). A minus lens whose center is too far out: the eye looks through a
            // point nearer the nose, and there the minus lens has its base towards the nose.
            (-5.0, 0.0, 180.0, 2.0, 0.0, Eye::Right, 1.0, 0.0),
            (-5.0, 0.0, 180.0, 2.0, 0.0, Eye::Left, 1.0, 0.0),
            // A plus lens looked through above its center has its base down; 4.00, 1 mm: 0.4Δ (computed).
            (4.0, 0.0, 180.0, 0.0, 1.0, Eye::Left, 0.0, -0.4),
            // +3.00 -2.00 x 30 at (-3, -5) mm: base (+1.183, +1.010) (computed). -3 is out for the right eye.
            (3.0, -2.0, 30.0, -3.0, -5.0, Eye::Right, 1.183, 1.010),
            // -2.00 -1.00 x 45 at (+3, 0): (+0.75, -0.15) (computed). For the left eye +3 is out.
            (-2.0, -1.0, 45.0, -3.0, 0.0, Eye::Left, -0.75, -0.15),
        ] {
            let got = setting(inward, up).residual_prism(SphereCylinder::new(s, c, a), eye);
            assert!((got.in_pd - base_in).abs() < 5e-4, "{s} {c} x {a}: {got:?}");
            assert!((got.up_pd - base_up).abs() < 5e-4, "{s} {c} x {a}: {got:?}");
        }
    }

    proptest! {
        #[test]
        fn setting_plus_nudge_is_the_wanted_place(
            right in 2000..4000_i32, left in 2000..4000_i32, height in 500..4000_i32, step in 0..3_usize,
        ) {
            let mm = |h: i32| f64::from(h) / 100.0;
            let step = BlockerStep::ALL[step];
            let wanted = Pair::new(right, left).map(|pd| WantedCenter { pd_mm: mm(pd), height_mm: mm(height) });
            let set = BlockerSetting::of_pair(wanted, step);
            for (eye, s) in set.iter() {
                let w = wanted.get(eye);
                prop_assert!((s.set_pd_mm - s.nudge_in_mm - w.pd_mm).abs() < 1e-9);
                prop_assert!((s.set_height_mm + s.nudge_up_mm - w.height_mm).abs() < 1e-9);
                prop_assert!(s.nudge_in_mm.abs() <= step.mm() / 2.0 + 1e-9);
                prop_assert!(s.nudge_up_mm >= -step.mm() / 2.0 && s.nudge_up_mm <= step.mm() / 2.0 + 1e-9);
            }
            // No other pair of nearest settings has a truer sum.
            let sum = mm(right) + mm(left);
            let off = |r: f64, l: f64| (r + l - sum).abs();
            let got = off(set.right.set_pd_mm, set.left.set_pd_mm);
            for r in step.nearest_mm(mm(right)) {
                for l in step.nearest_mm(mm(left)) {
                    prop_assert!(got <= off(r, l) + 1e-9);
                }
            }
        }
    }
}
