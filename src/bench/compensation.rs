//! The power to order so that the lens gives the prescribed power as worn. [`crate::desk::fitting`] holds the owner's
//! decision.

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::layout::JobLayout;
use super::lens::{JobLens, LensOverrides};
use crate::desk::fitting::{PositionOfWear, PowerDecision};
use crate::desk::job::Job;
use crate::desk::key::keyed;
use crate::desk::stock::LensInHand;
use crate::optics::compensation::{Compensated, CompensationError, compensate, residual_as_worn};
use crate::optics::lens::{LensError, LensOrder};
use crate::optics::power::{PowerMatrix, SphereCylinder};
use crate::optics::prescription::{LensPower, PowerError};
use crate::optics::unit::{Axis, Diopter, UnitError};
use crate::optics::{Eye, Pair};

/// Shown and printed wherever a lens is made for a wrapped or sports frame.
pub const WRAP_CAUTION: &str = "Not safety or sports eyewear, however sturdy or wrapped the frame: lens and frame are \
    not tested together here. Not for hazardous work or ball sports.";

/// Shown beside the choice of power.
pub const DECISION_CAUTION: &str = "Whether to order a compensated power is for you, or for the prescriber, to decide; \
     nothing changes automatically. If the lens maker compensates too, it is done twice: state on the order which \
     power the lensmeter must read.";

/// The step a power to order is rounded to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
pub enum PowerStep {
    /// Quarters, as most uncut lenses are stocked.
    #[strum(serialize = "0.25")]
    Quarter,
    #[strum(serialize = "0.125")]
    Eighth,
    /// Hundredths, for lenses surfaced to order.
    #[strum(serialize = "0.01")]
    Hundredth,
}

keyed!(PowerStep);

impl PowerStep {
    pub fn size_d(self) -> f64 {
        match self {
            PowerStep::Quarter => 0.25,
            PowerStep::Eighth => 0.125,
            PowerStep::Hundredth => 0.01,
        }
    }

    /// The nearest power in these steps, in minus cylinder form, with the axis to the degree. Both principal meridians
    /// are rounded, so neither is off by more than half a step. Eighths are written as in the trade: -2.12 for -2.125.
    ///
    /// # Errors
    ///
    /// [`RoundError`] when the power is out of the range of an order.
    pub fn round(self, power: SphereCylinder) -> Result<LensPower, RoundError> {
        let minus = power.to_minus();
        let stepped = |value_d: f64| (value_d / self.size_d()).round() * self.size_d();
        let (sphere_d, cross_d) = (stepped(minus.sphere_d), stepped(minus.sphere_d + minus.cylinder_d));
        // -2.125 is written -2.12: towards zero.
        let written = |value_d: f64| match self {
            PowerStep::Hundredth => Diopter::round_from(value_d),
            _ => Diopter::from_hundredths((value_d * 100.0).trunc() as i32),
        };
        let cylinder = written(cross_d - sphere_d)?;
        let axis = match cylinder {
            Diopter::ZERO => None,
            _ => Some(Axis::new(minus.axis_deg.round() as i32)?),
        };
        Ok(LensPower::new(written(sphere_d)?, cylinder, axis)?)
    }
}

/// Why a computed power cannot be ordered.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RoundError {
    /// A number is out of range.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// The power is out of the range of an order.
    #[error(transparent)]
    Power(#[from] PowerError),
}

/// Why there is no power to order.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoCompensation {
    /// There is no such lens.
    #[error(transparent)]
    Lens(#[from] LensError),
    /// The position of wear gives no answer.
    #[error(transparent)]
    Compensated(#[from] CompensationError),
    /// The computed power cannot be ordered.
    #[error(transparent)]
    Round(#[from] RoundError),
}

/// The power to order for one eye.
#[derive(Debug, Clone, PartialEq)]
pub struct EyeCompensation {
    /// The exact computation, before rounding.
    pub compensated: Compensated,
    /// The exact power to order, rounded.
    pub order: LensPower,
    /// The error that the rounded power leaves, as worn.
    pub left: SphereCylinder,
    /// The error that a lens ordered as prescribed leaves, as worn.
    pub left_unchanged: SphereCylinder,
    /// The lens of the job, with the prescribed power.
    pub lens: JobLens,
}

impl EyeCompensation {
    /// Computes one eye of a job, with another front where one is asked for.
    ///
    /// # Errors
    ///
    /// [`NoCompensation`].
    pub fn of(
        job: &Job,
        eye: Eye,
        layout: Option<&JobLayout>,
        in_hand: Option<&LensInHand>,
        position: &PositionOfWear,
        step: PowerStep,
        front_power_d: Option<f64>,
    ) -> Result<Self, NoCompensation> {
        // An earlier decision must not change the lens that the power to order is computed for.
        let job = &Job { power_decision: None, ..job.clone() };
        let prescribed = job.prescription.eyes.get(eye).power.numbers();
        let tried = LensOverrides { power: Some(prescribed), front_power_d, ..LensOverrides::default() };
        let lens = JobLens::of(job, eye, layout, in_hand, &tried)?;
        let (made, wear) = (*lens.body.order(), position.numbers());
        let compensated = compensate(eye, &made, &wear)?;
        let order = step.round(compensated.order)?;
        Ok(Self {
            compensated,
            order,
            left: residual_as_worn(eye, &made, &wear, order.numbers())?,
            left_unchanged: residual_as_worn(eye, &made, &wear, prescribed)?,
            lens,
        })
    }
}

/// A lens in hand agrees with a decision while its own power to order is within this of the one decided for, in every
/// meridian: a quarter of the narrowest tolerance on a power, 0.12 or 0.13 D. Our choice.
const AGREES_WITHIN_D: f64 = 0.03;

/// A sentence for each lens in hand that no longer agrees with the compensation decided on: its front or its center is
/// another than the one that the power was computed for.
pub fn disagreements(job: &Job, layout: Option<&JobLayout>, in_hand: &Pair<Option<LensInHand>>) -> Vec<String> {
    let Some(decision) = job.compensated() else { return Vec::new() };
    let made = Eye::BOTH.into_iter().filter(|eye| job.holds_power(*eye));
    made.filter_map(|eye| disagreement(job, decision, eye, layout, in_hand.get(eye).as_ref()?)).collect()
}

fn disagreement(
    job: &Job,
    decision: &PowerDecision,
    eye: Eye,
    layout: Option<&JobLayout>,
    in_hand: &LensInHand,
) -> Option<String> {
    let decided = (*decision.lenses.get(eye))?;
    // A front that the envelope does not say is taken as decided.
    let front_power_d = in_hand.front_power.is_none().then(|| decided.front.to_f64());
    let (position, step) = (&decision.position, PowerStep::Hundredth);
    let now = EyeCompensation::of(job, eye, layout, Some(in_hand), position, step, front_power_d).ok()?;
    let order = now.lens.body.order();
    let then =
        LensOrder { front_power_d: decided.front.to_f64(), center_thickness_mm: decided.center.to_f64(), ..*order };
    let wanted = compensate(eye, &then, &position.numbers()).ok()?.order;
    let off = most_apart_d(now.compensated.order, wanted);
    (off > AGREES_WITHIN_D).then(|| {
        format!(
            "The {} lens in hand no longer agrees with the power decided on: that was computed for a front of {} D and a \
             center of {} mm, this lens has {:+.2} D and {:.2} mm and would need {}, {off:.2} D away. \
             Change the decision, or take another lens.",
            eye.name(),
            decided.front,
            decided.center,
            order.front_power_d,
            order.center_thickness_mm,
            now.order,
        )
    })
}

/// The largest difference of two powers in any meridian.
fn most_apart_d(a: SphereCylinder, b: SphereCylinder) -> f64 {
    let (a, b) = (a.matrix(), b.matrix());
    let apart = PowerMatrix { xx_d: a.xx_d - b.xx_d, xy_d: a.xy_d - b.xy_d, yy_d: a.yy_d - b.yy_d };
    let apart = apart.to_sphere_cylinder();
    apart.sphere_d.abs().max((apart.sphere_d + apart.cylinder_d).abs())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::layout::tests::{lab, round_job, round_shape};
    use crate::bench::lens::Origin;
    use crate::desk::fitting::{DecidedLens, FramePosition};
    use crate::desk::frame::Rim;
    use crate::optics::unit::Millimeter;
    use crate::shape::blocker::BlockerStep;

    fn power(sphere_d: f64, cylinder_d: f64, axis_deg: f64) -> SphereCylinder {
        SphereCylinder::new(sphere_d, cylinder_d, axis_deg)
    }

    #[test]
    fn rounds_both_meridians_and_writes_eighths_as_the_trade_does() {
        for (exact, step, want) in [
            (power(-5.71, -0.37, 88.4), PowerStep::Quarter, "-5.75 -0.25 x 088"),
            (power(-5.71, -0.37, 88.4), PowerStep::Eighth, "-5.75 -0.37 x 088"),
            (power(-5.71, -0.37, 88.4), PowerStep::Hundredth, "-5.71 -0.37 x 088"),
            (power(-2.13, 0.0, 180.0), PowerStep::Eighth, "-2.12 sph"),
            // -2.10 and -2.22 both come to -2.12: no cylinder, so no axis.
            (power(-2.10, -0.08, 20.0), PowerStep::Eighth, "-2.12 sph"),
            // Plus cylinder comes out in minus form, and axis 0.3 is 180.
            (power(1.0, 0.5, 90.3), PowerStep::Quarter, "+1.50 -0.50 x 180"),
            (power(-0.06, -0.5, 45.0), PowerStep::Quarter, "Plano -0.50 x 045"),
        ] {
            assert_eq!(step.round(exact).map(|p| p.to_string()).as_deref(), Ok(want), "{exact:?} in {step:?}");
        }
        assert!(PowerStep::Quarter.round(power(-31.0, 0.0, 180.0)).is_err());
    }

    #[test]
    fn a_rounded_meridian_is_off_by_half_a_step_at_most() {
        for &step in PowerStep::ALL {
            for i in 0..400 {
                let exact = power(-6.0 + f64::from(i) * 0.031, -f64::from(i % 37) * 0.07, f64::from(i % 180) + 1.0);
                let got = step.round(exact).unwrap().numbers().to_minus();
                let cross = |p: SphereCylinder| p.sphere_d + p.cylinder_d;
                // Hundredths near an eighth are read as that eighth, half a hundredth away.
                let most_d = step.size_d() / 2.0 + 0.0051;
                assert!((got.sphere_d - exact.sphere_d).abs() <= most_d, "{exact:?} {got:?}");
                assert!((cross(got) - cross(exact)).abs() <= most_d + 0.0051, "{exact:?} {got:?}");
            }
        }
    }

    #[test]
    fn computed_for_the_lens_of_the_job() {
        let in_hand = LensInHand {
            eye: Eye::Right,
            drawer_lens: None,
            source: String::new(),
            diameter: "70".parse().unwrap(),
            center: Some("4.2".parse().unwrap()),
            front_power: Some("5.25".parse().unwrap()),
            off_in: Millimeter::ZERO,
            off_up: Millimeter::ZERO,
            has_ground_prism: false,
        };
        for rx in ["-4.00 -1.00 x 20", "+4.00 -1.00 x 20", "+0.25 sph", "-4.00 sph 2 BI", "pl 2 BI", "+3.00 sph 1 BU"] {
            for rim in [Rim::Metal, Rim::Cord] {
                let mut job = round_job(rx, "30/32");
                job.frame.details.rim = rim;
                let layout = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
                for in_hand in [None, Some(&in_hand)] {
                    for layout in [None, Some(&layout)] {
                        let (of, step) = (PositionOfWear::usual(), PowerStep::Quarter);
                        let got = EyeCompensation::of(&job, Eye::Right, layout, in_hand, &of, step, None).unwrap();
                        let own = JobLens::of(&job, Eye::Right, layout, in_hand, &LensOverrides::default()).unwrap();
                        assert_eq!(got.lens, own, "{rx} {rim:?}");
                        if in_hand.is_some() {
                            assert_eq!(own.body.order().front_power_d, 5.25);
                            assert_eq!(own.body.order().center_thickness_mm, 4.2);
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_lens_in_hand_that_no_longer_agrees_is_named() {
        // A front of +8.00 D at 20 degrees of wrap, decided on; then another front or center comes.
        let wear = FramePosition { wrap: "20".parse().unwrap(), ..PositionOfWear::usual().frame };
        let position = PositionOfWear { frame: wear, ..PositionOfWear::usual() };
        let mut job = round_job("-6.00 sph", "32/32");
        job.frame_position = Some(wear);
        let decide = |job: &mut Job, is_compensated: bool| {
            let of = |eye| EyeCompensation::of(job, eye, None, None, &position, PowerStep::Quarter, Some(8.0)).unwrap();
            let power = Pair::new(of(Eye::Right).order, of(Eye::Left).order);
            let lens = DecidedLens { front: "8".parse().unwrap(), center: "2".parse().unwrap() };
            let at = time::OffsetDateTime::UNIX_EPOCH;
            let lenses = Pair::new(Some(lens), Some(lens));
            job.power_decision = Some(PowerDecision { is_compensated, position, power, lenses, at });
        };
        let hand = |front: Option<&str>, center: Option<&str>| LensInHand {
            eye: Eye::Right,
            drawer_lens: None,
            source: String::new(),
            diameter: "70".parse().unwrap(),
            center: center.map(|mm| mm.parse().unwrap()),
            front_power: front.map(|d| d.parse().unwrap()),
            off_in: Millimeter::ZERO,
            off_up: Millimeter::ZERO,
            has_ground_prism: false,
        };
        decide(&mut job, true);
        for (front, center, agrees) in [
            (Some("8"), Some("2"), true),
            (None, Some("2"), true),
            (Some("7.75"), Some("2"), true),
            // The oblique pencil meets a flatter front at another angle: at 20 degrees of wrap 0.05 D.
            (Some("2"), Some("2"), false),
        ] {
            let got = disagreements(&job, None, &Pair::new(Some(hand(front, center)), None));
            assert_eq!(got.is_empty(), agrees, "{front:?} {center:?}: {got:?}");
            assert!(
                got.iter().all(|says| says.contains("front of +8.00 D and a center of 2.00 mm, this lens has +2.00"))
            );
        }
        // What it would have to be ordered as is computed for that lens alone.
        let (two, eight) = (Some(2.0), Some(8.0));
        let of =
            |front| EyeCompensation::of(&job, Eye::Right, None, None, &position, PowerStep::Hundredth, front).unwrap();
        assert!(most_apart_d(of(two).compensated.order, of(eight).compensated.order) > AGREES_WITHIN_D);
        decide(&mut job, false);
        assert!(disagreements(&job, None, &Pair::new(Some(hand(Some("2"), None)), None)).is_empty(), "as prescribed");
    }

    #[test]
    fn the_front_of_a_wrapped_lens_starts_from_its_rim() {
        let mut shape = round_shape();
        shape.rim_curve_tool_d = Pair::new(Some(7.5), None);
        for (wrap, want) in [("14.9", false), ("15", true), ("-20", true)] {
            let mut job = round_job("-4.00 sph", "32/32");
            job.frame_position = Some(FramePosition { wrap: wrap.parse().unwrap(), ..PositionOfWear::usual().frame });
            let layout = JobLayout::of(&job, &shape, &lab(), BlockerStep::Half);
            let front = |eye, tried: &LensOverrides<'_>| {
                let lens = JobLens::of(&job, eye, Some(&layout), None, tried).unwrap();
                (lens.body.order().front_power_d, lens.front_from)
            };
            // 7.50 in tool power is 7.5 · 0.498 / 0.53 in hard resin (textbook); Vogel gives 4.00 tool for -4.00.
            let want = if want { (7.5 * 0.498 / 0.53, Origin::Rim) } else { (4.0 * 0.498 / 0.53, Origin::Assumed) };
            let got = front(Eye::Right, &LensOverrides::default());
            assert!((got.0 - want.0).abs() < 1e-9 && got.1 == want.1, "{wrap}: {got:?}");
            assert_eq!(front(Eye::Left, &LensOverrides::default()).1, Origin::Assumed, "its rim is not known");
            let typed = LensOverrides { front_power_d: Some(6.0), ..LensOverrides::default() };
            assert_eq!(front(Eye::Right, &typed), (6.0, Origin::Asked));
        }
    }

    #[test]
    fn the_least_edge_of_the_rim_counts() {
        // 27² · 4 / 2000 · 0.498 = 2.928 by the rule of thumb (textbook), and 1 or 2 mm of edge (common practice).
        for (rim, want_mm) in [(Rim::Metal, 3.928), (Rim::Cord, 4.928)] {
            let mut job = round_job("+4.00 sph", "32/32");
            job.frame.details.rim = rim;
            let (of, step) = (PositionOfWear::usual(), PowerStep::Quarter);
            let got = EyeCompensation::of(&job, Eye::Right, None, None, &of, step, None).unwrap();
            let center_mm = got.lens.body.order().center_thickness_mm;
            assert!((center_mm - want_mm).abs() < 1e-3, "{rim:?}: {center_mm}");
        }
    }

    #[test]
    fn a_decision_does_not_change_what_it_was_computed_for() {
        let mut job = round_job("+4.00 sph", "32/32");
        let of = |job: &Job| {
            let position = PositionOfWear::usual();
            EyeCompensation::of(job, Eye::Right, None, None, &position, PowerStep::Quarter, None).unwrap()
        };
        let before = of(&job);
        let power = round_job("+3.50 sph", "32/32").prescription.eyes.map(|eye| eye.power);
        let (position, at) = (PositionOfWear::usual(), time::OffsetDateTime::UNIX_EPOCH);
        job.power_decision = Some(PowerDecision { is_compensated: true, position, power, lenses: Pair::default(), at });
        assert_eq!(of(&job), before);
    }

    #[test]
    fn every_step_reads_back() {
        for &step in PowerStep::ALL {
            assert_eq!(PowerStep::from_key(step.key()), Some(step));
        }
    }
}
