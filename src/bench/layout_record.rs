//! The layout of a job as it was made, in the numbers that are stored when the ticket is printed or the pair is cut.
//!
//! A later change of the lab's settings, of the shape or of the lens does not change it. Every number is rounded once
//! to the nearest hundredth, halves away from zero, so that what is stored is what the pages show.

use super::layout::{EyeOnBench, JobLayout, step_of};
use super::lens::{JobLens, Origin};
use super::real_size::{PrismMade, Supply};
use crate::desk::frame_shape::FrameShape;
use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::optics::unit::{Diopter, Millimeter, UnitError};
use crate::optics::{Eye, Pair};

/// A layout as it was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LayoutRecord {
    /// The step the blocker settings are rounded to.
    pub blocker_step: Millimeter,
    /// The lab's allowance on a blank.
    pub blank_margin: Millimeter,
    /// The distance between the lenses.
    pub dbl: Millimeter,
    /// The distance between the boxing centers.
    pub frame_pd: Millimeter,
    /// The wearer's pupil distance for the use the pair is made for.
    pub wanted_pd: Millimeter,
    /// Each eye a lens is made for.
    pub eyes: Pair<Option<EyeRecord>>,
}

/// One eye of a layout as it was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EyeRecord {
    /// The pupil from the middle of the nose.
    pub wanted_pd: Millimeter,
    /// The pupil above the lowest point of the box.
    pub wanted_height: Millimeter,
    /// The PD the blocker is set to.
    pub set_pd: Millimeter,
    /// The height the blocker is set to.
    pub set_height: Millimeter,
    /// What must still be moved towards the nose.
    pub nudge_in: Millimeter,
    /// What must still be moved up.
    pub nudge_up: Millimeter,
    /// The pupil from the boxing center, towards the nose.
    pub decentration_in: Millimeter,
    /// The pupil from the boxing center, upwards.
    pub decentration_up: Millimeter,
    /// The optical center from the boxing center, towards the nose: the pupil, or where prescribed prism moves it.
    pub center_in: Millimeter,
    /// The optical center from the boxing center, upwards.
    pub center_up: Millimeter,
    /// The smallest blank that covers the shape.
    pub needs_exact: Millimeter,
    /// The smallest blank with the lab's allowance.
    pub needs_with_margin: Millimeter,
    /// The lens; `None` where no such lens can be made.
    pub lens: Option<LensRecord>,
    /// Whether the prescribed prism is ground in. `None` without prescribed prism.
    pub has_ground_prism: Option<bool>,
}

/// The lens of one eye as it was when the layout was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LensRecord {
    /// Diameter of the uncut lens.
    pub diameter: Millimeter,
    /// Where the diameter comes from.
    pub diameter_from: Origin,
    /// True power of the front.
    pub front_power: Diopter,
    /// Where the front comes from.
    pub front_from: Origin,
    /// Thickness at the optical center.
    pub center_thickness: Millimeter,
    /// Where the thickness comes from.
    pub thickness_from: Origin,
}

impl LayoutRecord {
    /// The numbers of a layout.
    ///
    /// # Errors
    ///
    /// [`UnitError`] when a computed number is out of range or not finite.
    pub fn of(layout: &JobLayout, lab: &Lab, lenses: &Pair<Option<JobLens>>) -> Result<Self, UnitError> {
        let eye = |eye: Eye| {
            let laid = layout.eyes.get(eye);
            laid.is_made.then(|| EyeRecord::of(laid, lenses.get(eye).as_ref())).transpose()
        };
        Ok(Self {
            blocker_step: Millimeter::round_from(layout.step.mm())?,
            blank_margin: lab.blank_margin,
            dbl: Millimeter::round_from(layout.dbl_mm)?,
            frame_pd: Millimeter::round_from(layout.frame_pd_mm)?,
            wanted_pd: Millimeter::round_from(layout.wanted_pd_mm)?,
            eyes: Pair::new(eye(Eye::Right)?, eye(Eye::Left)?),
        })
    }
}

impl LayoutRecord {
    /// The layout of a job as it stands, with the lab's own blocker step.
    ///
    /// # Errors
    ///
    /// As [`LayoutRecord::of`].
    pub fn of_job(job: &Job, shape: &FrameShape, lab: &Lab, supply: &Supply) -> Result<Self, UnitError> {
        let layout = JobLayout::with_supply(job, shape, lab, step_of(lab), supply);
        let lenses = JobLens::pair(job, Some(&layout), &supply.in_hand).map(Result::ok);
        Self::of(&layout, lab, &lenses)
    }
}

impl EyeRecord {
    fn of(laid: &EyeOnBench, lens: Option<&JobLens>) -> Result<Self, UnitError> {
        let mm = Millimeter::round_from;
        let (blocker, decentration) = (&laid.layout.blocker, &laid.layout.decentration);
        let (center, needs) = (laid.optical_center(), laid.blank());
        Ok(Self {
            wanted_pd: mm(laid.wanted.pd_mm)?,
            wanted_height: mm(laid.wanted.height_mm)?,
            set_pd: mm(blocker.set_pd_mm)?,
            set_height: mm(blocker.set_height_mm)?,
            nudge_in: mm(blocker.nudge_in_mm)?,
            nudge_up: mm(blocker.nudge_up_mm)?,
            decentration_in: mm(decentration.in_mm)?,
            decentration_up: mm(decentration.up_mm)?,
            center_in: mm(center.x_mm * laid.eye.nasal_sign())?,
            center_up: mm(center.y_mm)?,
            needs_exact: mm(needs.exact_mm)?,
            needs_with_margin: mm(needs.with_margin_mm)?,
            lens: lens.map(|lens| LensRecord::of(laid, lens)).transpose()?,
            has_ground_prism: laid.prism.as_ref().map(|made| matches!(made, PrismMade::Ground(_))),
        })
    }
}

impl LensRecord {
    fn of(laid: &EyeOnBench, lens: &JobLens) -> Result<Self, UnitError> {
        let (order, (uncut, diameter_from)) = (lens.body.order(), lens.uncut_on(laid));
        Ok(Self {
            diameter: Millimeter::round_from(uncut.diameter_mm)?,
            diameter_from,
            front_power: Diopter::round_from(order.front_power_d)?,
            front_from: lens.front_from,
            center_thickness: Millimeter::round_from(order.center_thickness_mm)?,
            thickness_from: lens.thickness_from,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::layout::tests::{lab, round_job, round_shape};
    use crate::shape::blocker::BlockerStep;

    fn mm(text: &str) -> Millimeter {
        text.parse().unwrap()
    }

    #[test]
    fn a_layout_in_hundredths() {
        // Round 44, DBL 20, height 24: 2 up; PD 31.25: 0.75 in. -4.00 with 2 base in moves the center 5 out (Prentice).
        let (job, lab) = (round_job("-4.00 sph 2 BI", "31.25/31.25"), lab());
        let layout = JobLayout::of(&job, &round_shape(), &lab, BlockerStep::Half);
        let lenses = JobLens::pair(&job, Some(&layout), &Pair::default()).map(Result::ok);
        let record = LayoutRecord::of(&layout, &lab, &lenses).unwrap();
        assert_eq!((record.blocker_step, record.blank_margin), (mm("0.5"), mm("2")));
        assert_eq!((record.dbl, record.frame_pd, record.wanted_pd), (mm("20"), mm("64"), mm("62.5")));
        let (right, left) = (record.eyes.right.unwrap(), record.eyes.left.unwrap());
        assert_eq!((right.wanted_pd, right.wanted_height), (mm("31.25"), mm("24")));
        // The sum stays 62.5: right down, left up.
        assert_eq!((right.set_pd, right.nudge_in), (mm("31"), mm("-0.25")));
        assert_eq!((left.set_pd, left.nudge_in), (mm("31.5"), mm("0.25")));
        assert_eq!((right.set_height, right.nudge_up), (mm("24"), Millimeter::ZERO));
        assert_eq!((right.decentration_in, right.decentration_up), (mm("0.75"), mm("2")));
        // In is towards the nose for both eyes.
        for eye in [right, left] {
            assert_eq!((eye.center_in, eye.center_up), (mm("-4.25"), mm("2")));
        }
        // 2 (22 + √(4.25² + 2²)) = 53.39 (closed form), and 2 for chips.
        assert_eq!((right.needs_exact, right.needs_with_margin), (mm("53.39"), mm("55.39")));
        let lens = right.lens.unwrap();
        assert_eq!((lens.diameter, lens.diameter_from), (mm("60"), Origin::Assumed));
        // Vogel: +4.00 in tool power, 4 · 0.498 / 0.53 true.
        assert_eq!((lens.front_power, lens.front_from), ("3.76".parse().unwrap(), Origin::Assumed));
        assert_eq!((lens.center_thickness, lens.thickness_from), (mm("2"), Origin::Assumed));
    }

    #[test]
    fn a_lens_that_cannot_be_made_leaves_the_layout() {
        let (job, lab) = (round_job("-1.00 sph", "32/32"), lab());
        let layout = JobLayout::of(&job, &round_shape(), &lab, BlockerStep::Half);
        let record = LayoutRecord::of(&layout, &lab, &Pair::new(None, None)).unwrap();
        assert_eq!((record.eyes.right.unwrap().lens, record.eyes.left.unwrap().needs_exact), (None, mm("48")));
    }
}
