//! The prism of a pair: what is wanted, how it is made, what is there that nobody ordered, and the balance between the
//! eyes where they look.

use super::job::Job;
use super::layout::{EyeOnBench, JobLayout, Uncut};
use super::profile::Lab;
use super::stock::LensInHand;
use super::worn::body;
use crate::optics::gaze::{Balance, LookedThrough, balance, gaze_prism};
use crate::optics::lens::{Lens, LensError};
use crate::optics::prism::{BaseVector, DecentrationError, Imbalance, InUp, decentration_for};
use crate::optics::tolerance::{Limit, Unit};
use crate::optics::{Eye, Pair};
use crate::shape::layout::Decentration;

/// Vertical prism between the eyes at the reading point from which reading may suffer (common practice, from memory).
pub const READING_VERTICAL_PD: f64 = 1.0;

/// The prism of one eye.
#[derive(Debug, Clone, PartialEq)]
pub struct EyePrism {
    /// What is prescribed.
    pub wanted: InUp,
    /// How it is made by moving the optical centre, or why it cannot be; `None` without prescribed prism.
    pub decentred: Option<Result<Decentred, DecentrationError>>,
    /// The smallest blank when the prism is surfaced, with the lab's allowance; `None` without a shape.
    pub surfaced_blank_mm: Option<f64>,
    /// The prism left when nothing is nudged; `None` without a shape.
    pub unwanted: Option<InUp>,
}

/// A prism made by decentration.
#[derive(Debug, Clone, PartialEq)]
pub struct Decentred {
    /// Where the optical centre goes from the pupil.
    pub moved: Decentration,
    /// The smallest blank, with the lab's allowance; `None` without a shape.
    pub blank_mm: Option<f64>,
    /// What an exact ray finds at the pupil of the lens so decentred; `None` where there is no such lens.
    pub exact: Option<InUp>,
}

/// The prism of a pair.
#[derive(Debug, Clone, PartialEq)]
pub struct PairPrism {
    /// Each eye.
    pub eyes: Pair<EyePrism>,
    /// In front of the pupils.
    pub at_pupil: Result<Balance, LensError>,
    /// At the reading point.
    pub at_reading: Result<Balance, LensError>,
    /// What is left between the eyes when nothing is nudged; `None` without a shape.
    pub unwanted: Option<Imbalance>,
    /// The limit on the unwanted horizontal prism, and what it is in prism here.
    pub horizontal: (Limit, f64),
    /// The limit on the unwanted vertical prism, and what it is in prism here.
    pub vertical: (Limit, f64),
    /// The limits on the prescribed prism, horizontal and vertical; `None` without prescribed prism.
    pub prescribed: Option<(Limit, Limit)>,
}

impl PairPrism {
    /// The prism of a job, with the reading point `reading` from each pupil.
    pub fn of(
        job: &Job,
        lab: &Lab,
        layout: Option<&JobLayout>,
        in_hand: &Pair<Option<LensInHand>>,
        reading: LookedThrough,
    ) -> Self {
        let power = Pair::new(job.lens_power(Eye::Right).numbers(), job.lens_power(Eye::Left).numbers());
        let wanted = job.prescription.eyes.map(|eye| eye.prism.numbers());
        let lens = |eye: Eye, prism: BaseVector| {
            body(job, *power.get(eye), prism, layout.map(|l| l.eyes.get(eye)), in_hand.get(eye).as_ref())
        };
        let eye_prism = |eye: Eye| {
            let laid = layout.map(|layout| layout.eyes.get(eye));
            let base = wanted.get(eye).to_vector(eye);
            let decentred = (!job.prescription.eyes.get(eye).prism.is_none()).then(|| {
                decentration_for(*power.get(eye), base).map(|(x_mm, up_mm)| {
                    let moved = Decentration { in_mm: x_mm * eye.nasal_sign(), up_mm };
                    // The pupil is seen from the moved centre.
                    let at = LookedThrough { in_mm: -moved.in_mm, up_mm: -moved.up_mm };
                    let exact = lens(eye, BaseVector::default()).and_then(|plain| gaze_prism(eye, &plain, at));
                    Decentred {
                        moved,
                        blank_mm: laid.map(|laid| laid.blank().with_margin_mm),
                        exact: exact.ok().map(|prism| prism.exact.to_in_up(eye)),
                    }
                })
            });
            EyePrism {
                wanted: *wanted.get(eye),
                decentred,
                surfaced_blank_mm: laid.map(surfaced_blank_mm),
                unwanted: laid.map(|laid| laid.left_prism),
            }
        };
        let lenses = lens(Eye::Right, wanted.right.to_vector(Eye::Right))
            .and_then(|right| Ok((right, lens(Eye::Left, wanted.left.to_vector(Eye::Left))?)));
        let at = |at: LookedThrough| -> Result<Balance, LensError> {
            let (right, left): &(Lens, Lens) = lenses.as_ref().map_err(Clone::clone)?;
            balance(Pair::new(right, left), Pair::new(at, at))
        };
        let stronger = |deg: f64| power.right.power_at_deg(deg).abs().max(power.left.power_at_deg(deg).abs());
        let (across_d, up_d) = (stronger(180.0), stronger(90.0));
        let most = |part: fn(&InUp) -> f64| part(&wanted.right).abs().max(part(&wanted.left).abs());
        let (in_pd, up_pd) = (most(|p| p.in_pd), most(|p| p.up_pd));
        let in_prism = |limit: Limit, meridian_d: f64| match limit.unit {
            Unit::Millimetre => (limit, limit.size * meridian_d / 10.0),
            _ => (limit, limit.size),
        };
        Self {
            eyes: Pair::new(eye_prism(Eye::Right), eye_prism(Eye::Left)),
            at_pupil: at(LookedThrough::default()),
            at_reading: at(reading),
            unwanted: layout.map(|layout| layout.left_prism),
            horizontal: in_prism(lab.tolerance.horizontal_limit(across_d, in_pd), across_d),
            vertical: in_prism(lab.tolerance.vertical_limit(up_d, up_pd), up_d),
            prescribed: (in_pd > 0.0 || up_pd > 0.0).then(|| lab.tolerance.prism_limits(across_d, up_d, in_pd, up_pd)),
        }
    }
}

/// A surfaced prism leaves the pupil in the middle of the blank, whatever the optical centre does.
fn surfaced_blank_mm(laid: &EyeOnBench) -> f64 {
    let moved = match laid.prism {
        Some(Ok(moved)) => moved,
        _ => Decentration::default(),
    };
    laid.cover(Uncut { diameter_mm: 0.0, off_in_mm: moved.in_mm, off_up_mm: moved.up_mm }).needs.with_margin_mm
}
