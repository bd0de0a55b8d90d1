//! The prism of a pair: prescribed and unwanted prism, the ways to make it, and the balance between the eyes at the
//! pupils and at the reading point.

use super::layout::JobLayout;
use super::lens::JobLens;
use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::desk::limit::LengthLimit;
use crate::desk::prescription::MadeFor;
use crate::desk::stock::LensInHand;
use crate::optics::gaze::{Balance, GazePoint, balance, gaze_prism};
use crate::optics::lens::{Lens, LensError, LensOrder};
use crate::optics::prism::{BaseVector, DecentrationError, Imbalance, InUp, decentration_for};
use crate::optics::tolerance::{Limit, RowUnit};
use crate::optics::{Eye, Pair};
use crate::shape::layout::Decentration;

/// More vertical prism than this between the eyes at the reading point may disturb reading. Source: common practice
/// (from memory).
pub const READING_VERTICAL_PD: f64 = 1.0;

/// How far a reading point may lie from the pupil.
pub const READING_POINT: LengthLimit = LengthLimit::new("A distance from the pupil", -2000, 2000);

/// 10 mm down and 2 in, where a reader looks through a distance pair (common practice); a reading pair is centered for
/// near already.
pub fn usual_reading_point(made_for: MadeFor) -> GazePoint {
    let in_mm = if made_for == MadeFor::Near { 0.0 } else { 2.0 };
    GazePoint { in_mm, up_mm: -10.0 }
}

/// The prism of one eye.
#[derive(Debug, Clone, PartialEq)]
pub struct EyePrism {
    pub wanted: InUp,
    /// The prism by decentration, or why decentration cannot make it. `None` without prescribed prism.
    pub decentered: Option<Result<Decentered, DecentrationError>>,
    /// The smallest blank if the prism is surfaced, with the lab's allowance. `None` without a shape.
    pub surfaced_blank_mm: Option<f64>,
    /// The prism that is left if nothing is nudged. `None` without a shape.
    pub unwanted: Option<InUp>,
}

/// A prism made by decentration.
#[derive(Debug, Clone, PartialEq)]
pub struct Decentered {
    /// How far the optical center moves from the pupil.
    pub moved: Decentration,
    /// The smallest blank, with the lab's allowance. `None` without a shape.
    pub blank_mm: Option<f64>,
    /// The prism of an exact ray at the pupil of the decentered lens. `None` if there is no such lens.
    pub exact: Option<InUp>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct PairPrism {
    pub eyes: Pair<EyePrism>,
    /// In front of the pupils.
    pub at_pupil: Result<Balance, LensError>,
    /// At the reading point.
    pub at_reading: Result<Balance, LensError>,
    /// The prism that is left between the eyes if nothing is nudged. `None` without a shape.
    pub unwanted: Option<Imbalance>,
    /// The limit on the unwanted horizontal prism, and the same limit in prism diopters.
    pub horizontal: (Limit, f64),
    /// The limit on the unwanted vertical prism, and the same limit in prism diopters.
    pub vertical: (Limit, f64),
    /// The limits on the prescribed prism, horizontal and vertical. `None` without prescribed prism.
    pub prescribed: Option<(Limit, Limit)>,
}

impl PairPrism {
    /// The prism of a job. `reading` is the reading point, from each pupil.
    pub fn of(
        job: &Job,
        lab: &Lab,
        layout: Option<&JobLayout>,
        in_hand: &Pair<Option<LensInHand>>,
        reading: GazePoint,
    ) -> Self {
        let power = Pair::new(job.lens_power(Eye::Right).numbers(), job.lens_power(Eye::Left).numbers());
        let wanted = job.prescription.eyes.map(|eye| eye.prism.numbers());
        let own = JobLens::pair(job, layout, in_hand);
        // The lens of the job, with the prism ground in or left out.
        let lens = |eye: Eye, prism: BaseVector| -> Result<Lens, LensError> {
            let own = own.get(eye).as_ref().map_err(Clone::clone)?;
            Lens::new(LensOrder { prism, ..*own.body.order() })
        };
        let eye_prism = |eye: Eye| {
            let laid = layout.map(|layout| layout.eyes.get(eye));
            let base = wanted.get(eye).to_vector(eye);
            let decentered = (!job.prescription.eyes.get(eye).prism.is_none()).then(|| {
                decentration_for(*power.get(eye), base).map(|(x_mm, up_mm)| {
                    let moved = Decentration { in_mm: x_mm * eye.nasal_sign(), up_mm };
                    // The pupil, counted from the moved center.
                    let at = GazePoint { in_mm: -moved.in_mm, up_mm: -moved.up_mm };
                    let exact = lens(eye, BaseVector::default()).and_then(|plain| gaze_prism(eye, &plain, at));
                    Decentered {
                        moved,
                        blank_mm: laid.map(|laid| laid.blank_decentered(moved).with_margin_mm),
                        exact: exact.ok().map(|prism| prism.exact.to_in_up(eye)),
                    }
                })
            });
            EyePrism {
                wanted: *wanted.get(eye),
                decentered,
                // With surfaced prism, the pupil stays in the middle of the blank.
                surfaced_blank_mm: laid.map(|laid| laid.layout.blank.with_margin_mm),
                unwanted: laid.map(|laid| laid.left_prism),
            }
        };
        let lenses = lens(Eye::Right, wanted.right.to_vector(Eye::Right))
            .and_then(|right| Ok((right, lens(Eye::Left, wanted.left.to_vector(Eye::Left))?)));
        let at = |at: GazePoint| -> Result<Balance, LensError> {
            let (right, left): &(Lens, Lens) = lenses.as_ref().map_err(Clone::clone)?;
            balance(Pair::new(right, left), Pair::new(at, at))
        };
        let stronger = |deg: f64| power.right.power_at_deg(deg).abs().max(power.left.power_at_deg(deg).abs());
        let (across_d, up_d) = (stronger(180.0), stronger(90.0));
        let most = |part: fn(&InUp) -> f64| part(&wanted.right).abs().max(part(&wanted.left).abs());
        let (in_pd, up_pd) = (most(|p| p.in_pd), most(|p| p.up_pd));
        let in_prism = |limit: Limit, meridian_d: f64| match limit.unit {
            RowUnit::Millimeter => (limit, limit.size * meridian_d / 10.0),
            _ => (limit, limit.size),
        };
        Self {
            eyes: Pair::new(eye_prism(Eye::Right), eye_prism(Eye::Left)),
            at_pupil: at(GazePoint::default()),
            at_reading: at(reading),
            unwanted: layout.map(|layout| layout.left_prism),
            horizontal: in_prism(lab.tolerance.horizontal_limit(across_d, in_pd), across_d),
            vertical: in_prism(lab.tolerance.vertical_limit(up_d, up_pd), up_d),
            prescribed: (in_pd > 0.0 || up_pd > 0.0).then(|| lab.tolerance.prism_limits(across_d, up_d, in_pd, up_pd)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::layout::step_of;
    use crate::bench::layout::tests::{lab, round_job, round_shape};

    fn prism(rx: &str, reading: GazePoint) -> PairPrism {
        let (job, lab) = (round_job(rx, "32/32"), lab());
        let layout = JobLayout::of(&job, &round_shape(), &lab, step_of(&lab));
        PairPrism::of(&job, &lab, Some(&layout), &Pair::new(None, None), reading)
    }

    #[test]
    fn a_prism_two_ways() {
        // -4.00 with 2 base in: 5 mm out (computed by Prentice). Round 44, 2 up: 2 (22 + √29) and 2 for chips; surfaced
        // 2 (22 + 2) and 2 (closed form).
        let got = prism("-4.00 sph 2 BI", GazePoint::default());
        for (eye, of) in got.eyes.iter() {
            let made = of.decentered.as_ref().unwrap().as_ref().unwrap();
            assert!((made.moved.in_mm + 5.0).abs() < 1e-9, "{eye:?}");
            assert!((made.blank_mm.unwrap() - (2.0 * (22.0 + 29.0_f64.sqrt()) + 2.0)).abs() < 0.002);
            assert!((of.surfaced_blank_mm.unwrap() - 50.0).abs() < 0.002);
            // Prentice's rule is good to 0.03 this near the center (trade tables, computed).
            let exact = made.exact.unwrap();
            assert!((exact.in_pd - 2.0).abs() < 0.03 && exact.up_pd.abs() < 1e-6, "{exact:?}");
            assert!(exact.in_pd != 2.0);
        }
        let at_pupil = got.at_pupil.unwrap();
        assert!((at_pupil.exact.horizontal_pd - 4.0).abs() < 1e-9 && at_pupil.unwanted().horizontal_pd.abs() < 1e-9);
        // ANSI Z80.1: the prescribed prism has its own limits.
        assert!(got.prescribed.is_some());
    }

    #[test]
    fn no_prism_no_ways_and_a_limit_in_millimeters_is_turned_into_prism() {
        let got = prism("-5.00 sph", GazePoint { in_mm: 0.0, up_mm: -10.0 });
        assert!(got.eyes.iter().all(|(_, eye)| eye.decentered.is_none()) && got.prescribed.is_none());
        // ANSI Z80.1-2015 quick-reference guide: over 3.375 D heights alike within 1.0 mm; 5.00 D there make 0.50.
        assert_eq!(got.vertical.0.unit, RowUnit::Millimeter);
        assert!((got.vertical.1 - 0.5).abs() < 1e-12);
        // Equal lenses balance vertically, whatever prism each makes.
        let reading = got.at_reading.unwrap();
        assert!((reading.eyes.right.rule.y_pd + 5.0).abs() < 1e-12 && reading.exact.vertical_pd.abs() < 1e-9);
    }

    #[test]
    fn mirrored_eyes_have_mirrored_prism() {
        let got = prism("+3.00 -1.00 x 90 1 BO 0.5 BU", GazePoint { in_mm: 2.0, up_mm: -8.0 });
        let reading = got.at_reading.unwrap();
        let (right, left) = (reading.eyes.right.exact, reading.eyes.left.exact);
        assert!((right.x_pd + left.x_pd).abs() < 1e-9 && (right.y_pd - left.y_pd).abs() < 1e-9);
    }
}
