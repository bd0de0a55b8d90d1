//! Where the lens sits in its frame: decentration, frame PD, the pupil in the box, and both eyes' layout together.
//!
//! *In* is towards the nose. A pupil distance is per eye, from the middle of the nose. A height is from the lowest
//! point of the box.

use super::blank::Blank;
use super::blocker::{BlockerSetting, BlockerStep, Wanted};
use super::boxing::Boxing;
use super::outline::{Outline, Point};
use crate::optics::{Eye, Pair};

/// The position of a point relative to the boxing centre.
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

    /// The same point in front-view coordinates from the boxing centre.
    pub fn point(self, eye: Eye) -> Point {
        Point::new(self.in_mm * eye.nasal_sign(), self.up_mm)
    }

    /// The distance from the boxing centre.
    pub fn length_mm(self) -> f64 {
        self.in_mm.hypot(self.up_mm)
    }
}

/// Half the frame PD on one eye's side: (A + DBL)/2.
pub fn half_frame_pd_mm(a_mm: f64, dbl_mm: f64) -> f64 {
    (a_mm + dbl_mm) / 2.0
}

/// The frame PD, the distance between the boxing centres: A + DBL. With unequal eyes, half of each.
/// Source: boxing system (ISO 8624, from memory).
pub fn frame_pd_mm(right: &Boxing, left: &Boxing, dbl_mm: f64) -> f64 {
    half_frame_pd_mm(right.a_mm, dbl_mm) + half_frame_pd_mm(left.a_mm, dbl_mm)
}

/// Where the pupil is in the box, measured from its four sides.
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
    /// Whether it is inside the outline.
    pub inside: bool,
}

impl PupilPlace {
    /// Measures a decentration from the four sides of the box.
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

/// The layout of one lens for the bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EyeLayout {
    /// The size of the outline.
    pub boxing: Boxing,
    /// Where the optical centre goes.
    pub decentration: Decentration,
    /// The blank that covers the outline there, with its optical centre at its geometric centre.
    pub blank: Blank,
    /// The blocker's setting.
    pub blocker: BlockerSetting,
    /// Where the pupil is in the box.
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

    fn boxing(a_mm: f64, b_mm: f64, ed_mm: f64) -> Boxing {
        Boxing { a_mm, b_mm, ed_mm, ed_axis_deg: 0.0, circumference_mm: 0.0, area_mm2: 0.0 }
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
}
