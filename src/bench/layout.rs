//! The layout of a job for the bench, from its prescription, heights and shape.
//!
//! The blocker is set to the point at which the lensmeter reads the prescribed power and prism. Without prescribed
//! prism, this point is the optical center. With prism by decentration, the optical center and the middle of the blank
//! lie elsewhere: this changes the blank that is needed, but not the blocker settings. With prism ground in, it is the
//! prism reference point, and the blank goes around it.

use super::real_size::{PrismMade, RealSize, Supply, settle};
use crate::desk::fitting::TracePlane;
use crate::desk::frame_shape::FrameShape;
use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::desk::stock::LensInHand;
use crate::optics::notation::short;
use crate::optics::prescription::Prism;
use crate::optics::prism::{DecentrationError, Imbalance, InUp, decentration_for, imbalance};
use crate::optics::{Eye, Pair};
use crate::shape::blank::{Blank, Spare, blank_middle, tightest_spare};
use crate::shape::blocker::BlockerStep;
use crate::shape::blocker::WantedCenter;
use crate::shape::hole::Hole;
use crate::shape::layout::{Decentration, EyeLayout, PairLayout, pd_along_wrapped_mm};
use crate::shape::outline::{Outline, Point};

/// How far above the middle of the box an optical center usually is, mm. Source: common practice (from memory).
const USUAL_UP_MM: std::ops::RangeInclusive<f64> = -3.0..=8.0;
/// Decentration beyond this is reported, mm: the frame PD is then more than 14 mm wider than the pupil distance.
/// Source: common practice (from memory).
const USUAL_IN_MM: f64 = 7.0;

/// Both eyes of a job, laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct JobLayout {
    pub eyes: Pair<EyeOnBench>,
    /// The distance between the boxing centers.
    pub frame_pd_mm: f64,
    /// The distance between the lenses.
    pub dbl_mm: f64,
    /// The rims' own curves in tool power (1.530), where the file of the shape said them.
    pub rim_curve_tool_d: Pair<Option<f64>>,
    /// The wearer's pupil distance for the use the pair is made for.
    pub wanted_pd_mm: f64,
    /// The blocker step the settings are rounded to.
    pub step: BlockerStep,
    /// The wrap of a front whose trace was made flat, so that decentration counts along the lens.
    pub wrap_flat_deg: Option<f64>,
    /// The prism that is left between the eyes if nothing is nudged.
    pub left_prism: Imbalance,
}

/// The wrap that a flat trace does not show.
fn flat_wrap_deg(job: &Job) -> Option<f64> {
    let wear = job.frame_position.filter(|wear| wear.trace == TracePlane::Flat)?;
    Some(wear.wrap.to_f64()).filter(|deg| *deg != 0.0)
}

/// One eye of a job, laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct EyeOnBench {
    pub eye: Eye,
    /// Whether a lens is made. One that stays in the frame has a shape, and nothing to lay out.
    pub is_made: bool,
    pub outline: Outline,
    /// The holes of a drilled mount.
    pub holes: Vec<Hole>,
    /// Where the pupil is.
    pub wanted: WantedCenter,
    /// Box, decentration and blocker settings. Its blank does not count prescribed prism.
    pub layout: EyeLayout,
    /// How far the prescribed prism moves the optical center from the pupil, or why decentration cannot make it. `None`
    /// without prescribed prism.
    pub by_decentration: Option<Result<Decentration, DecentrationError>>,
    /// How the prescribed prism comes into the lens. `None` without prescribed prism.
    pub prism: Option<PrismMade>,
    /// The prism that is left before this eye if nothing is nudged.
    pub left_prism: InUp,
    /// The sizes that can be had, the smallest first.
    pub sizes: Vec<RealSize>,
    /// The smallest of them that fits and has an edge at its own rim.
    pub chosen: Option<RealSize>,
    /// The smallest that covers the shape, where none that does has an edge at its own rim.
    pub rimless_mm: Option<f64>,
    margin_mm: f64,
}

/// The size of an uncut lens and its marked center.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Uncut {
    pub diameter_mm: f64,
    /// The marked optical center from the middle of the blank, towards the nose.
    pub off_in_mm: f64,
    /// The marked optical center from the middle of the blank, upwards.
    pub off_up_mm: f64,
}

impl From<&LensInHand> for Uncut {
    fn from(lens: &LensInHand) -> Self {
        Self { diameter_mm: lens.diameter.to_f64(), off_in_mm: lens.off_in.to_f64(), off_up_mm: lens.off_up.to_f64() }
    }
}

/// How an uncut lens covers the shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cover {
    pub diameter_mm: f64,
    /// The middle of the blank, from the boxing center in the front view.
    pub middle: Point,
    /// The smallest blank with the same marked center that covers the shape.
    pub needs: Blank,
    /// Where the least is spare.
    pub tightest: Spare,
    pub fit: Fit,
}

/// Whether an uncut lens is large enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Fit {
    /// With the lab's allowance.
    Fits,
    /// It covers the shape, with less than the lab's allowance.
    Tight,
    /// It does not cover the shape.
    TooSmall,
    /// With its center and front it would have no edge at its own rim: there is no such lens.
    NoRim,
}

impl Fit {
    pub fn words(self) -> &'static str {
        match self {
            Fit::Fits => "fits",
            Fit::Tight => "covers the shape, but with less than the margin for chips and bevel",
            Fit::TooSmall => "is too small for the shape",
            Fit::NoRim => "would have no edge at its own rim with this front and center",
        }
    }
}

/// The step of the lab's blocker. The book holds only steps that exist.
pub fn step_of(lab: &Lab) -> BlockerStep {
    BlockerStep::from_mm(lab.blocker_step.to_f64()).unwrap_or_default()
}

impl JobLayout {
    /// Lays out a job on its shape, with nothing in hand and the lab's list of stock diameters.
    pub fn of(job: &Job, shape: &FrameShape, lab: &Lab, step: BlockerStep) -> Self {
        Self::with_supply(job, shape, lab, step, &Supply::default())
    }

    /// Lays out a job on its shape, for the lenses that are in hand or can be had.
    pub fn with_supply(job: &Job, shape: &FrameShape, lab: &Lab, step: BlockerStep, supply: &Supply) -> Self {
        let (outlines, holes) = (shape.outlines(), shape.holes_on_lenses());
        let pd = job.prescription.centered_on(job.made_for);
        let wanted_of = |eye| {
            let b_mm = outlines.get(eye).height_mm();
            WantedCenter { pd_mm: pd.mono(eye).to_f64(), height_mm: job.eyes.get(eye).height.above_bottom_mm(b_mm) }
        };
        let wanted = Pair::new(wanted_of(Eye::Right), wanted_of(Eye::Left));
        let (dbl_mm, margin_mm) = (shape.dbl.to_f64(), lab.blank_margin.to_f64());
        // The blocker works in the plane of the lens.
        let wrap_flat_deg = flat_wrap_deg(job);
        let in_lens = wanted.map(|wanted| WantedCenter {
            pd_mm: wrap_flat_deg.map_or(wanted.pd_mm, |deg| pd_along_wrapped_mm(wanted.pd_mm, dbl_mm, deg)),
            ..wanted
        });
        let layout = PairLayout::of(outlines.as_ref(), dbl_mm, in_lens, step, margin_mm);
        let eyes = Pair::new((Eye::Right, outlines.right), (Eye::Left, outlines.left)).map(|(eye, outline)| {
            let rx = job.prescription.eyes.get(eye);
            let (power, laid) = (job.lens_power(eye).numbers(), *layout.eyes.get(eye));
            let made = |prism: Prism| {
                decentration_for(power, prism.numbers().to_vector(eye))
                    .map(|(x_mm, y_mm)| Decentration { in_mm: x_mm * eye.nasal_sign(), up_mm: y_mm })
            };
            EyeOnBench {
                eye,
                is_made: job.makes(eye),
                outline,
                holes: holes.get(eye).clone(),
                wanted: *wanted.get(eye),
                layout: laid,
                by_decentration: (!rx.prism.is_none()).then(|| made(rx.prism)),
                prism: None,
                left_prism: laid.blocker.residual_prism(power, eye),
                sizes: supply.sizes(eye, lab),
                chosen: None,
                rimless_mm: None,
                margin_mm,
            }
        });
        let mut layout = Self {
            frame_pd_mm: layout.frame_pd_mm,
            dbl_mm,
            rim_curve_tool_d: shape.rim_curve_tool_d,
            wanted_pd_mm: pd.binocular().to_f64(),
            step,
            wrap_flat_deg,
            left_prism: imbalance(Pair::new(eyes.right.left_prism, eyes.left.left_prism)),
            eyes,
        };
        for eye in Eye::BOTH {
            settle(&mut layout, job, eye, supply.in_hand.get(eye).as_ref());
        }
        layout
    }

    /// The same layout with this lens in hand for its eye.
    #[must_use]
    pub fn with_lens(&self, job: &Job, lens: &LensInHand) -> Self {
        let mut layout = self.clone();
        settle(&mut layout, job, lens.eye, Some(lens));
        layout
    }

    pub(super) fn eye_mut(&mut self, eye: Eye) -> &mut EyeOnBench {
        match eye {
            Eye::Right => &mut self.eyes.right,
            Eye::Left => &mut self.eyes.left,
        }
    }

    /// For each eye without a lens in hand: what to do where no lens that can be bought is large enough.
    pub fn no_stock_lenses(&self, in_hand: &Pair<Option<LensInHand>>) -> Vec<String> {
        let missing = self.eyes.iter().filter(|(eye, laid)| laid.is_made && in_hand.get(*eye).is_none());
        missing.filter_map(|(_, laid)| laid.no_stock_lens()).collect()
    }
}

impl JobLayout {
    /// What a wrap does to the pupil distances, where it shows; for layout and ticket.
    pub fn wrap_words(&self) -> Option<String> {
        let deg = self.wrap_flat_deg?;
        let along_mm = |laid: &EyeOnBench| pd_along_wrapped_mm(laid.wanted.pd_mm, self.dbl_mm, deg);
        let shows = |laid: &EyeOnBench| (along_mm(laid) - laid.wanted.pd_mm).abs() >= 0.05;
        let eye = |laid: &EyeOnBench| {
            format!("{} {:.2} mm across the face is {:.2} mm", laid.eye.letter(), laid.wanted.pd_mm, along_mm(laid))
        };
        let made: Vec<&EyeOnBench> = self.eyes.iter().map(|(_, laid)| laid).filter(|laid| laid.is_made).collect();
        made.iter().any(|laid| shows(laid)).then(|| {
            format!(
                "The front wraps {}° and its trace was made flat, so PD and decentration count along the lens: {}.",
                short(deg),
                made.iter().map(|laid| eye(laid)).collect::<Vec<_>>().join(", ")
            )
        })
    }
}

impl EyeOnBench {
    /// The optical center, from the boxing center in the front view: at the pupil, or where decentration for the
    /// prescribed prism moves it. With prism ground in, the prism reference point.
    pub fn optical_center(&self) -> Point {
        let pupil = self.layout.decentration.point(self.eye);
        match self.prism.as_ref().and_then(PrismMade::moved) {
            Some(moved) => pupil.plus(moved.point(self.eye)),
            None => pupil,
        }
    }

    /// The smallest blank for an uncut lens with its optical center in its middle.
    pub fn blank(&self) -> Blank {
        self.cover(Uncut::default()).needs
    }

    /// The smallest blank with the optical center in its middle and this far from the pupil.
    pub fn blank_decentered(&self, moved: Decentration) -> Blank {
        let center = self.layout.decentration.point(self.eye).plus(moved.point(self.eye));
        Blank::of(&self.outline, &self.layout.boxing, center, self.margin_mm)
    }

    /// The diameter of the real size that fits, if any does.
    pub fn stock_diameter_mm(&self) -> Option<f64> {
        self.chosen.map(|size| size.diameter_mm)
    }

    /// The uncut lens that is assumed where none is known: the smallest that can be had and fits, else the one that
    /// comes nearest.
    pub fn stock_uncut(&self) -> Uncut {
        let largest_mm = || self.sizes.last().map(|size| size.diameter_mm);
        let diameter_mm = self.stock_diameter_mm().or(self.rimless_mm).or_else(largest_mm);
        Uncut { diameter_mm: diameter_mm.unwrap_or_default(), ..Uncut::default() }
    }

    /// The whole diameter that a surfaced lens needs. It has its prism ground in, and its blank goes around the pupil.
    pub fn surfaced_diameter_mm(&self) -> f64 {
        let needs = if self.prism.is_some() { self.layout.blank } else { self.blank() };
        (needs.with_margin_mm - 1e-9).ceil()
    }

    /// A sentence for each value that is unlikely.
    pub fn cautions(&self) -> Vec<String> {
        let (name, decentration) = (self.eye.name(), self.layout.decentration);
        let mut cautions = Vec::new();
        if !self.layout.pupil.inside {
            cautions.push(format!(
                "The {name} pupil falls outside the shape: check the pupil distance, the height and the distance \
                 between the lenses."
            ));
        } else if !USUAL_UP_MM.contains(&decentration.up_mm) {
            let side = if decentration.up_mm < 0.0 { "below" } else { "above" };
            cautions.push(format!(
                "The {name} optical center is {:.2} mm {side} the middle of the box: was its height measured from the \
                 lowest point of the box?",
                decentration.up_mm.abs()
            ));
        }
        if decentration.in_mm.abs() > USUAL_IN_MM {
            let direction = if decentration.in_mm < 0.0 { "out" } else { "in" };
            cautions.push(format!(
                "The {name} lens is decentered {:.2} mm {direction}: the frame may not suit this pupil distance.",
                decentration.in_mm.abs()
            ));
        }
        cautions
    }

    /// The middle of an uncut lens, from the boxing center in the front view.
    pub fn middle_of(&self, uncut: Uncut) -> Point {
        let off = Decentration { in_mm: uncut.off_in_mm, up_mm: uncut.off_up_mm }.point(self.eye);
        blank_middle(self.optical_center(), off)
    }

    /// How an uncut lens covers the shape.
    pub fn cover(&self, uncut: Uncut) -> Cover {
        let middle = self.middle_of(uncut);
        let needs = Blank::of(&self.outline, &self.layout.boxing, middle, self.margin_mm);
        let tightest = tightest_spare(&self.outline, middle, uncut.diameter_mm);
        let fit = match () {
            () if needs.fits(uncut.diameter_mm) => Fit::Fits,
            () if tightest.spare_mm >= 0.0 => Fit::Tight,
            () => Fit::TooSmall,
        };
        Cover { diameter_mm: uncut.diameter_mm, middle, needs, tightest, fit }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::bench::real_size::WhyGround;
    use crate::desk::center_height::CenterHeight;
    use crate::desk::fitting::{FramePosition, PositionOfWear};
    use crate::desk::lab::read_diameters;
    use crate::desk::prescription::MadeFor;
    pub use crate::desk::sample::{round_job, round_shape};
    use crate::optics::direction::place_words;

    pub fn lab() -> Lab {
        Lab::new("Saltmarsh Lens Post".into(), "Pellmarsh".into())
    }

    #[test]
    fn a_round_frame_by_hand() {
        let laid = JobLayout::of(&round_job("-5.00 sph", "31/33"), &round_shape(), &lab(), BlockerStep::Half);
        // A 44 and DBL 20: frame PD 64, so half of it less 31 is 1 in, less 33 is 1 out; 24 less 22 is 2 up.
        assert!((laid.frame_pd_mm - 64.0).abs() < 1e-9);
        let [right, left] = [&laid.eyes.right, &laid.eyes.left];
        assert!((right.layout.decentration.in_mm - 1.0).abs() < 1e-9);
        assert!((left.layout.decentration.in_mm + 1.0).abs() < 1e-9);
        assert!((left.layout.decentration.up_mm - 2.0).abs() < 1e-9);
        // The farthest point of a circle is its radius and the decentration away (closed form; the polygon through
        // 400 points reaches it to 0.001).
        let want = 2.0 * (22.0 + 1.0_f64.hypot(2.0));
        assert!((right.blank().exact_mm - want).abs() < 0.002, "{}", right.blank().exact_mm);
        assert!((right.blank().with_margin_mm - right.blank().exact_mm - 2.0).abs() < 1e-9);
        assert_eq!(laid.left_prism, Imbalance::default());
    }

    #[test]
    fn what_is_not_nudged_leaves_prism() {
        // 31.25 each is set to 31 and 31.5 (the sum stays 62.5): the right center stands 0.25 mm too far in, the left
        // 0.25 too far out. Centers narrower than the eyes give base out in a minus lens (textbook): 0.25 mm of
        // -5.00 D is 0.125, by Prentice.
        let laid = JobLayout::of(&round_job("-5.00 sph", "31.25/31.25"), &round_shape(), &lab(), BlockerStep::Half);
        assert!((laid.eyes.right.left_prism.in_pd + 0.125).abs() < 1e-9);
        assert!((laid.eyes.left.left_prism.in_pd - 0.125).abs() < 1e-9);
        assert!(laid.left_prism.horizontal_pd.abs() < 1e-9, "one in, one out: nothing for the pair");
        // To a whole millimeter both are set to 31, and the two add.
        let laid = JobLayout::of(&round_job("-5.00 sph", "31.25/31.25"), &round_shape(), &lab(), BlockerStep::Whole);
        assert!((laid.left_prism.horizontal_pd + 0.25).abs() < 1e-9);
    }

    #[test]
    fn prescribed_prism_moves_the_optical_center() {
        // -4.00 with 2 base in: the center 5 mm out (computed by Prentice).
        let laid = JobLayout::of(&round_job("-4.00 sph 2 BI", "32/32"), &round_shape(), &lab(), BlockerStep::Half);
        for (eye, laid) in laid.eyes.iter() {
            let moved = laid.prism.as_ref().and_then(PrismMade::moved).unwrap();
            assert!((moved.in_mm + 5.0).abs() < 1e-9 && moved.up_mm.abs() < 1e-9, "{eye:?}: {moved:?}");
            let want = 2.0 * (22.0 + 5.0_f64.hypot(2.0));
            assert!((laid.blank().exact_mm - want).abs() < 0.002);
            // The blocker is set to the point where the prism is read.
            assert_eq!(laid.layout.blocker.set_pd_mm, 32.0);
            // A lens with the prism ground in has its optical center as far off its middle.
            let ground = laid.cover(Uncut { diameter_mm: 60.0, off_in_mm: -5.0, off_up_mm: 0.0 });
            assert!((ground.needs.exact_mm - 48.0).abs() < 0.002);
        }
        let laid = JobLayout::of(&round_job("pl 2 BI", "32/32"), &round_shape(), &lab(), BlockerStep::Half);
        let why = laid.eyes.right.by_decentration.unwrap().unwrap_err().to_string();
        assert!(why.contains("surfaced"), "{why}");
        assert!(matches!(laid.eyes.right.prism, Some(PrismMade::Ground(WhyGround::NotByDecentration(_)))));
        let says = laid.eyes.right.no_stock_lens().unwrap();
        assert!(
            says.contains("cannot be made by decentration. Order it surfaced, with its prism ground, to 50"),
            "{says}"
        );
    }

    #[test]
    fn a_wrapped_front_is_decentered_along_the_lens_where_the_trace_was_made_flat() {
        let mut job = round_job("-4.00 sph", "30/30");
        let of = |job: &Job| JobLayout::of(job, &round_shape(), &lab(), BlockerStep::Tenth);
        let in_mm = |layout: &JobLayout| layout.eyes.right.layout.decentration.in_mm;
        // A 44 and DBL 20: 32 less 30.
        assert!((in_mm(&of(&job)) - 2.0).abs() < 1e-9);
        for (trace, want_mm, set_pd_mm) in [
            // The lens is 44 cos 20 wide across the face: its center is 10 + 20.673 from the middle, 0.673 beyond the
            // pupil, which is 0.716 in the plane of the lens (geometry).
            (TracePlane::Flat, 0.716_4, 31.3),
            (TracePlane::AsWorn, 2.0, 30.0),
        ] {
            let wrap = "20".parse().unwrap();
            job.frame_position = Some(FramePosition { wrap, trace, ..PositionOfWear::usual().frame });
            let layout = of(&job);
            assert!((in_mm(&layout) - want_mm).abs() < 1e-4, "{trace:?}: {}", in_mm(&layout));
            assert!((layout.eyes.right.layout.blocker.set_pd_mm - set_pd_mm).abs() < 1e-9);
            assert_eq!(layout.eyes.right.wanted.pd_mm, 30.0, "what is ordered and checked is across the face");
            assert_eq!(layout.wrap_words().is_some(), trace == TracePlane::Flat);
        }
    }

    #[test]
    fn an_uncut_fits_covers_or_is_too_small() {
        // Round 44, 2 up: exact 48, with the margin 50.
        let laid = JobLayout::of(&round_job("-1.00 sph", "32/32"), &round_shape(), &lab(), BlockerStep::Half);
        for (diameter_mm, fit, spare_mm) in
            [(50.0, Fit::Fits, 1.0), (49.0, Fit::Tight, 0.5), (48.0, Fit::Tight, 0.0), (47.0, Fit::TooSmall, -0.5)]
        {
            let cover = laid.eyes.left.cover(Uncut { diameter_mm, ..Uncut::default() });
            assert_eq!(cover.fit, fit, "{diameter_mm}");
            assert!((cover.tightest.spare_mm - spare_mm).abs() < 0.001);
            assert!(place_words(Eye::Left, cover.tightest.at_deg).starts_with("bottom"));
        }
        assert_eq!(laid.eyes.left.stock_diameter_mm(), Some(55.0));
        assert_eq!((laid.eyes.left.stock_uncut().diameter_mm, laid.eyes.left.no_stock_lens()), (55.0, None));
    }

    #[test]
    fn only_diameters_that_can_be_bought_count() {
        // Round 44, 2 up: 50 with the margin.
        let of = |rx: &str, diameters: &str| {
            let lab = Lab { stock_diameters: read_diameters(diameters).unwrap(), ..lab() };
            JobLayout::of(&round_job(rx, "32/32"), &round_shape(), &lab, BlockerStep::Half).eyes.right
        };
        assert_eq!(of("-1.00 sph", "45 50 55").stock_diameter_mm(), Some(50.0));
        let none = of("-1.00 sph", "45 49.5");
        assert_eq!((none.stock_diameter_mm(), none.stock_uncut().diameter_mm), (None, 49.5));
        assert_eq!(none.cover(none.stock_uncut()).fit, Fit::Tight);
        let says = none.no_stock_lens().unwrap();
        assert!(says.contains("the right eye: it needs 50.00 mm, and the largest is 49.5 mm"), "{says}");
        assert!(says.contains("Order it surfaced to 50 mm or larger"), "{says}");
        // -1.00 D with 2 base in: decentered 20 mm (Prentice), far beyond any blank; ground in, 50 mm is enough.
        let laid = of("-1.00 sph 2 BI", "55 80");
        assert!(matches!(laid.prism, Some(PrismMade::Ground(WhyGround::NoSize { .. }))), "{:?}", laid.prism);
        assert!(laid.optical_center().y_mm > 1.9 && laid.optical_center().x_mm.abs() < 1e-9, "at the pupil");
        let says = laid.no_stock_lens().unwrap();
        assert!(says.contains("surfaced, with its prism ground, to 50 mm or larger"), "{says}");
    }

    #[test]
    fn a_height_may_be_told_from_the_middle_or_not_at_all() {
        // Round 44: the middle is 22 mm up.
        for (typed, up_mm) in [("24", 2.0), ("4 above the middle", 4.0), ("1.5 below the middle", -1.5), ("", 0.0)] {
            let mut job = round_job("-1.00 sph", "32/32");
            job.eyes.right.height = CenterHeight::read(typed).unwrap();
            let laid = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half).eyes.right.layout;
            assert!((laid.decentration.up_mm - up_mm).abs() < 1e-6, "{typed}: {:?}", laid.decentration);
        }
    }

    #[test]
    fn unlikely_places_are_asked_about() {
        // Round 44 with DBL 20: 24 mm high is 2 up, 18 is 4 down, 31 is 9 up; a PD of 24 is 8 in.
        for (pd, height, said) in [
            ("32/32", "24", vec![]),
            ("32/32", "18", vec!["4.00 mm below the middle"]),
            ("32/32", "31", vec!["9.00 mm above the middle"]),
            ("24/32", "24", vec!["decentered 8.00 mm in"]),
            ("32/32", "46", vec!["outside the shape"]),
        ] {
            let mut job = round_job("-1.00 sph", pd);
            job.eyes.right.height = CenterHeight::read(height).unwrap();
            let got = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half).eyes.right.cautions();
            assert_eq!(got.len(), said.len(), "{pd} {height}: {got:?}");
            assert!(got.iter().zip(&said).all(|(got, said)| got.contains(said)), "{pd} {height}: {got:?}");
        }
    }

    #[test]
    fn a_reading_pair_is_centered_on_the_near_distance() {
        let mut job = round_job("+2.00 sph", "64");
        job.made_for = MadeFor::Near;
        let laid = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
        assert_eq!(laid.wanted_pd_mm, 60.0);
        assert!((laid.eyes.right.layout.decentration.in_mm - 2.0).abs() < 1e-9);
    }
}
