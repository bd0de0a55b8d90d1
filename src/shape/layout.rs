//! Where the lens sits in its frame: decentration, the smallest blank, the blocker's setting and what it leaves.
//!
//! *In* is towards the nose, *up* is up. A pupil distance is per eye, from the middle of the nose. A height is
//! from the lowest point of the box.

use thiserror::Error;

use super::boxing::{Boxing, farthest};
use super::outline::{Outline, Point};
use crate::optics::power::PowerMatrix;
use crate::optics::{Eye, Pair};

/// Two equal distances may differ by this much in floating point.
const TIE_MM: f64 = 1e-9;

/// The usual allowance on a blank's diameter for chips and bevel, mm.
/// Source: public study guides (2 mm); shop choice, 1 to 3 mm.
pub const USUAL_MARGIN_MM: f64 = 2.0;

/// Where the optical centre is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// From the middle of the nose.
    pub pd_mm: f64,
    /// From the lowest point of the box.
    pub height_mm: f64,
}

/// How far a point lies from the boxing centre.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Decentration {
    /// Towards the nose.
    pub in_mm: f64,
    /// Upwards.
    pub up_mm: f64,
}

impl Decentration {
    /// dh = (A + DBL)/2 - PD, dv = height - B/2. Source: boxing system, textbook.
    pub fn of(boxing: &Boxing, dbl_mm: f64, wanted: Wanted) -> Self {
        Self {
            in_mm: half_frame_pd_mm(boxing.a_mm, dbl_mm) - wanted.pd_mm,
            up_mm: wanted.height_mm - boxing.b_mm / 2.0,
        }
    }

    /// The same place as front-view coordinates about the boxing centre.
    pub fn point(self, eye: Eye) -> Point {
        Point::new(self.in_mm * eye.nasal_sign(), self.up_mm)
    }

    /// The whole distance from the boxing centre.
    pub fn length_mm(self) -> f64 {
        self.in_mm.hypot(self.up_mm)
    }
}

/// Half the frame PD on one eye's side: (A + DBL)/2.
pub fn half_frame_pd_mm(a_mm: f64, dbl_mm: f64) -> f64 {
    (a_mm + dbl_mm) / 2.0
}

/// The frame PD, the distance between the boxing centres: A + DBL; with unequal eyes each brings its own half.
/// Source: boxing system (ISO 8624, from memory).
pub fn frame_pd_mm(right: &Boxing, left: &Boxing, dbl_mm: f64) -> f64 {
    half_frame_pd_mm(right.a_mm, dbl_mm) + half_frame_pd_mm(left.a_mm, dbl_mm)
}

/// The smallest round blank that covers an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blank {
    /// Twice the longest distance from the blank's middle to the outline: no allowance.
    pub exact_mm: f64,
    /// The exact figure with the lab's allowance.
    pub with_margin_mm: f64,
    /// ED plus twice the length of the decentration plus the allowance. Never less than `with_margin_mm`.
    pub rule_of_thumb_mm: f64,
}

impl Blank {
    /// The blank whose own middle lies at `centre` in the box ([`Decentration::point`], or [`blank_middle`]).
    ///
    /// Source: textbook; the rule of thumb with both decentrations, which the exact figure cannot exceed.
    pub fn of(outline: &Outline, boxing: &Boxing, centre: Point, margin_mm: f64) -> Self {
        let exact_mm = 2.0 * farthest(outline.points(), centre).0;
        Self {
            exact_mm,
            with_margin_mm: exact_mm + margin_mm,
            rule_of_thumb_mm: boxing.ed_mm + 2.0 * centre.length_mm() + margin_mm,
        }
    }

    /// Whether a blank of this diameter covers the outline with the allowance to spare.
    pub fn fits(&self, diameter_mm: f64) -> bool {
        self.with_margin_mm <= diameter_mm + TIE_MM
    }
}

/// Where a blank's own middle comes to lie when its optical centre is off that middle by `oc_off_middle`
/// (front view) and is set at `optical_centre`.
pub fn blank_middle(optical_centre: Point, oc_off_middle: Point) -> Point {
    optical_centre.minus(oc_off_middle)
}

/// What is left between an outline and the blank's edge in one direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spare {
    /// Blank radius less the distance to the outline; negative where the blank is too small.
    pub spare_mm: f64,
    /// The direction from the blank's middle, front view.
    pub at_deg: f64,
}

/// What is spare at every point of the outline, in its order.
pub fn spares(outline: &Outline, centre: Point, diameter_mm: f64) -> Vec<Spare> {
    let spare = |p: &Point| {
        let from_middle = p.minus(centre);
        Spare { spare_mm: diameter_mm / 2.0 - from_middle.length_mm(), at_deg: from_middle.angle_deg() }
    };
    outline.points().iter().map(spare).collect()
}

/// The tightest place: the least that is spare, and where.
pub fn tightest_spare(outline: &Outline, centre: Point, diameter_mm: f64) -> Spare {
    let (distance_mm, at_deg) = farthest(outline.points(), centre);
    Spare { spare_mm: diameter_mm / 2.0 - distance_mm, at_deg }
}

/// The step of a blocker: whole, half or tenth millimetres. Source: common practice.
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

/// Not a step a blocker has.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("a blocker's step is 1, 0.5 or 0.1 mm, not {0}")]
pub struct StepError(f64);

impl BlockerStep {
    /// Every step, coarsest first.
    pub const ALL: [BlockerStep; 3] = [BlockerStep::Whole, BlockerStep::Half, BlockerStep::Tenth];

    /// The step of this many millimetres.
    ///
    /// # Errors
    ///
    /// [`StepError`] for anything but 1, 0.5 and 0.1.
    pub fn from_mm(step_mm: f64) -> Result<Self, StepError> {
        Self::ALL.into_iter().find(|s| (s.mm() - step_mm).abs() < TIE_MM).ok_or(StepError(step_mm))
    }

    /// The step in millimetres.
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
        // Whole steps divided, so that a setting carries no noise of adding 0.1 up.
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

/// What to set a blocker to for one eye, and what is then left to move by hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlockerSetting {
    /// The PD to set.
    pub set_pd_mm: f64,
    /// The height to set.
    pub set_height_mm: f64,
    /// What must still be moved towards the nose: the set PD less the wanted one.
    pub nudge_in_mm: f64,
    /// What must still be moved up: the wanted height less the set one.
    pub nudge_up_mm: f64,
}

impl BlockerSetting {
    /// The nearest step for each value. A tie in a PD goes to the side that keeps the sum of both eyes nearest
    /// the wanted sum; where that leaves a choice the right eye goes down, then the left. A tie in a height goes
    /// down. Source: common practice (round per eye, keep the sum true).
    pub fn of_pair(wanted: Pair<Wanted>, step: BlockerStep) -> Pair<BlockerSetting> {
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
        let eye = |wanted: Wanted, set_pd_mm: f64| {
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

    /// What remains to be moved, as front-view coordinates from the set place.
    pub fn nudge(&self, eye: Eye) -> Point {
        Point::new(self.nudge_in_mm * eye.nasal_sign(), self.nudge_up_mm)
    }
}

/// The prism an optical centre leaves that was not nudged into its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResidualPrism {
    /// Base in; out is negative.
    pub base_in_pd: f64,
    /// Base up; down is negative.
    pub base_up_pd: f64,
}

impl ResidualPrism {
    /// Looking `nudge` past the optical centre through the full power matrix: p = -F·r, r in cm (Prentice,
    /// vector form, textbook).
    pub fn of(power: PowerMatrix, setting: &BlockerSetting, eye: Eye) -> Self {
        let off = setting.nudge(eye);
        let (x, y) = power.apply(off.x_mm / 10.0, off.y_mm / 10.0);
        // Adding nothing turns -0 into 0.
        Self { base_in_pd: -x * eye.nasal_sign() + 0.0, base_up_pd: -y + 0.0 }
    }
}

/// Where the pupil falls in the box, measured from its four sides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PupilPlace {
    /// From the nose side.
    pub from_nasal_mm: f64,
    /// From the temple side.
    pub from_temporal_mm: f64,
    /// From the bottom.
    pub from_bottom_mm: f64,
    /// From the top.
    pub from_top_mm: f64,
    /// Whether it is inside the outline itself.
    pub inside: bool,
}

impl PupilPlace {
    /// Places a decentration in the box of its outline.
    pub fn of(outline: &Outline, boxing: &Boxing, decentration: Decentration, eye: Eye) -> Self {
        Self {
            from_nasal_mm: boxing.a_mm / 2.0 - decentration.in_mm,
            from_temporal_mm: boxing.a_mm / 2.0 + decentration.in_mm,
            from_bottom_mm: boxing.b_mm / 2.0 + decentration.up_mm,
            from_top_mm: boxing.b_mm / 2.0 - decentration.up_mm,
            inside: outline.contains(decentration.point(eye)),
        }
    }
}

/// Everything the bench needs to place one lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EyeLayout {
    /// The size of the outline.
    pub boxing: Boxing,
    /// Where the optical centre goes.
    pub decentration: Decentration,
    /// The blank that covers the outline there, its optical centre in its middle.
    pub blank: Blank,
    /// The blocker's setting.
    pub blocker: BlockerSetting,
    /// Where the pupil falls.
    pub pupil: PupilPlace,
}

/// The layout of a pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PairLayout {
    /// Each eye.
    pub eyes: Pair<EyeLayout>,
    /// The distance between the boxing centres.
    pub frame_pd_mm: f64,
}

impl PairLayout {
    /// Lays out both eyes.
    pub fn of(
        outlines: Pair<&Outline>,
        dbl_mm: f64,
        wanted: Pair<Wanted>,
        step: BlockerStep,
        margin_mm: f64,
    ) -> PairLayout {
        let boxing = outlines.map(Boxing::of);
        let blocker = BlockerSetting::of_pair(wanted, step);
        let eye = |eye: Eye| {
            let (outline, boxing) = (outlines.get(eye), *boxing.get(eye));
            let decentration = Decentration::of(&boxing, dbl_mm, *wanted.get(eye));
            EyeLayout {
                boxing,
                decentration,
                blank: Blank::of(outline, &boxing, decentration.point(eye), margin_mm),
                blocker: *blocker.get(eye),
                pupil: PupilPlace::of(outline, &boxing, decentration, eye),
            }
        };
        PairLayout {
            frame_pd_mm: frame_pd_mm(&boxing.right, &boxing.left, dbl_mm),
            eyes: Pair::new(eye(Eye::Right), eye(Eye::Left)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn boxing(a_mm: f64, b_mm: f64, ed_mm: f64) -> Boxing {
        Boxing { a_mm, b_mm, ed_mm, ed_axis_deg: 0.0, circumference_mm: 0.0, area_mm2: 0.0 }
    }

    fn ellipse(a_mm: f64, b_mm: f64) -> Outline {
        let point = |i: i32| {
            let t = f64::from(i).to_radians() / 4.0;
            Point::new(a_mm / 2.0 * t.cos(), b_mm / 2.0 * t.sin())
        };
        Outline::from_points((0..1440).map(point).collect()).unwrap()
    }

    fn rectangle(a_mm: f64, b_mm: f64) -> Outline {
        let (x, y) = (a_mm / 2.0, b_mm / 2.0);
        let corners = [(x, 0.0), (x, y), (0.0, y), (-x, y), (-x, 0.0), (-x, -y), (0.0, -y), (x, -y)];
        Outline::from_points(corners.map(|(x, y)| Point::new(x, y)).to_vec()).unwrap()
    }

    #[test]
    fn decentration_by_published_examples() {
        // (A, DBL, binocular PD, in per eye, source)
        for (a_mm, dbl_mm, pd_mm, want, source) in [
            (50.0, 20.0, 68.0, 1.0, "public glossary"),
            (52.0, 18.0, 64.0, 3.0, "computed"),
            (50.0, 18.0, 72.0, -2.0, "computed: a wide PD is decentred out"),
        ] {
            let wanted = Wanted { pd_mm: pd_mm / 2.0, height_mm: 20.0 };
            let got = Decentration::of(&boxing(a_mm, 36.0, 0.0), dbl_mm, wanted);
            assert_eq!((got.in_mm, got.up_mm), (want, 2.0), "{source}");
            assert_eq!(got.point(Eye::Right).x_mm, want, "in is to the observer's right for the right lens");
            assert_eq!(got.point(Eye::Left).x_mm, -want);
        }
        assert_eq!(frame_pd_mm(&boxing(52.0, 0.0, 0.0), &boxing(51.0, 0.0, 0.0), 18.0), 69.5);
    }

    #[test]
    fn smallest_blank_by_published_examples() {
        let round = Outline::from_radii_mm(&[22.0; 400]).unwrap();
        let size = Boxing::of(&round);
        // Round A = ED 44, nothing decentred, no allowance: 44 (public glossary).
        assert!((Blank::of(&round, &size, Point::ORIGIN, 0.0).exact_mm - 44.0).abs() < 1e-9);
        // ED 60, total decentration 3, allowance 2: 65 (public practice exam).
        let rule = Blank::of(&round, &boxing(0.0, 0.0, 60.0), Point::new(1.5, 0.0), 2.0).rule_of_thumb_mm;
        assert_eq!(rule, 65.0);
        // A 52, DBL 18, PD 64, ED 56, so 3 in per eye: 64 with 2 allowed (computed).
        let rule = Blank::of(&round, &boxing(52.0, 40.0, 56.0), Point::new(3.0, 0.0), 2.0).rule_of_thumb_mm;
        assert_eq!(rule, 64.0);
        // 4 in and 2 up (computed): ellipse 50 × 40 gives 58.31; rectangle 50 × 30 gives 67.23, rule 67.25.
        for (outline, exact, rule) in [(ellipse(50.0, 40.0), 58.31, 58.94), (rectangle(50.0, 30.0), 67.23, 67.25)] {
            let blank = Blank::of(&outline, &Boxing::of(&outline), Point::new(4.0, 2.0), 0.0);
            assert!((blank.exact_mm - exact).abs() < 0.005, "{} for {exact}", blank.exact_mm);
            assert!((blank.rule_of_thumb_mm - rule).abs() < 0.005, "{} for {rule}", blank.rule_of_thumb_mm);
        }
    }

    #[test]
    fn the_tightest_place_is_on_the_far_side() {
        let shape = rectangle(50.0, 30.0);
        // The farthest corner from (4, 2) is (-25, -15): hypot(29, 17) = 33.615 at 180 + 30.38°.
        let tight = tightest_spare(&shape, Point::new(4.0, 2.0), 70.0);
        assert!((tight.spare_mm - (35.0 - 33.615_473)).abs() < 1e-6 && (tight.at_deg - 210.379_1).abs() < 1e-3);
        let least = spares(&shape, Point::new(4.0, 2.0), 70.0).into_iter().map(|s| s.spare_mm).fold(99.0, f64::min);
        assert_eq!(least, tight.spare_mm);
        let blank = Blank::of(&shape, &Boxing::of(&shape), Point::new(4.0, 2.0), 2.0);
        assert!(blank.fits(69.231) && !blank.fits(69.229));
        // A blank whose optical centre is 4 in and 2 up of its own middle sits centred in the box.
        assert_eq!(blank_middle(Point::new(4.0, 2.0), Point::new(4.0, 2.0)), Point::ORIGIN);
    }

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
            let wanted = Pair::new(right, left).map(|pd_mm| Wanted { pd_mm, height_mm: 20.25 });
            let set = BlockerSetting::of_pair(wanted, step);
            assert_eq!((set.right.set_pd_mm, set.left.set_pd_mm), (set_right, set_left), "{right} / {left}");
        }
    }

    #[test]
    fn a_height_tie_goes_down_and_the_nudge_makes_up_for_it() {
        let wanted = Pair::new(Wanted { pd_mm: 31.2, height_mm: 20.25 }, Wanted { pd_mm: 32.9, height_mm: 20.75 });
        let set = BlockerSetting::of_pair(wanted, BlockerStep::Half);
        assert_eq!((set.right.set_height_mm, set.right.nudge_up_mm), (20.0, 0.25));
        assert_eq!((set.left.set_height_mm, set.left.nudge_up_mm), (20.5, 0.25));
        // Set 31.0 for 31.2: the optical centre must still go out by 0.2. Set 33.0 for 32.9: in by 0.1.
        assert!((set.right.nudge_in_mm + 0.2).abs() < 1e-9 && (set.left.nudge_in_mm - 0.1).abs() < 1e-9);
        assert!(set.right.nudge(Eye::Right).x_mm < 0.0 && set.left.nudge(Eye::Left).x_mm < 0.0);
        assert!(BlockerStep::from_mm(0.25).is_err() && BlockerStep::from_mm(f64::NAN).is_err());
        assert_eq!(BlockerStep::from_mm(0.1), Ok(BlockerStep::Tenth));
    }

    #[test]
    fn what_is_not_nudged_leaves_prism() {
        use crate::optics::power::SphereCylinder;
        let setting = |nudge_in_mm: f64, nudge_up_mm: f64| BlockerSetting {
            set_pd_mm: 0.0,
            set_height_mm: 0.0,
            nudge_in_mm,
            nudge_up_mm,
        };
        // (sphere, cylinder, axis, in, up, eye, base in, base up)
        for (s, c, a, inward, up, eye, base_in, base_up) in [
            // -5.00, 2 mm: 1.0Δ (computed). A minus lens whose centre stands too far out: the eye looks through a
            // point nearer the nose, and there the minus lens has its base towards the nose.
            (-5.0, 0.0, 180.0, 2.0, 0.0, Eye::Right, 1.0, 0.0),
            (-5.0, 0.0, 180.0, 2.0, 0.0, Eye::Left, 1.0, 0.0),
            // A plus lens looked through above its centre has its base down; 4.00, 1 mm: 0.4Δ (computed).
            (4.0, 0.0, 180.0, 0.0, 1.0, Eye::Left, 0.0, -0.4),
            // +3.00 -2.00 x 30 at (-3, -5) mm: base (+1.183, +1.010) (computed). -3 is out for the right eye.
            (3.0, -2.0, 30.0, -3.0, -5.0, Eye::Right, 1.183, 1.010),
            // -2.00 -1.00 x 45 at (+3, 0): (+0.75, -0.15) (computed). For the left eye +3 is out.
            (-2.0, -1.0, 45.0, -3.0, 0.0, Eye::Left, -0.75, -0.15),
        ] {
            let got = ResidualPrism::of(SphereCylinder::new(s, c, a).matrix(), &setting(inward, up), eye);
            assert!((got.base_in_pd - base_in).abs() < 5e-4, "{s} {c} x {a}: {got:?}");
            assert!((got.base_up_pd - base_up).abs() < 5e-4, "{s} {c} x {a}: {got:?}");
        }
    }

    proptest! {
        #[test]
        fn the_exact_blank_never_exceeds_the_rule(
            radii in prop::collection::vec(15.0..35.0_f64, 8..120), x in -9.0..9.0_f64, y in -9.0..9.0_f64,
        ) {
            let outline = Outline::from_radii_mm(&radii).unwrap();
            let blank = Blank::of(&outline, &Boxing::of(&outline), Point::new(x, y), 2.0);
            prop_assert!(blank.with_margin_mm <= blank.rule_of_thumb_mm + 1e-9);
            prop_assert!(blank.exact_mm + 1e-9 >= Boxing::of(&outline).a_mm);
        }

        #[test]
        fn set_and_nudge_make_the_wanted_place(
            right in 2000..4000_i32, left in 2000..4000_i32, height in 500..4000_i32, step in 0..3_usize,
        ) {
            let mm = |h: i32| f64::from(h) / 100.0;
            let step = BlockerStep::ALL[step];
            let wanted = Pair::new(right, left).map(|pd| Wanted { pd_mm: mm(pd), height_mm: mm(height) });
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
