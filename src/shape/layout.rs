//! Where the lens sits in its frame: decentration, frame PD, the pupil in the box, and both eyes' layout together.
//!
//! *In* is towards the nose. A pupil distance is per eye, from the middle of the nose. A height is from the lowest
//! point of the box.

use super::blank::Blank;
use super::blocker::{BlockerSetting, BlockerStep, WantedCenter};
use super::boxing::Boxing;
use super::outline::{Outline, Point};
use crate::optics::{Eye, Pair};

/// The position of a point relative to the boxing center.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Decentration {
    /// Towards the nose.
    pub in_mm: f64,
    /// Upwards.
    pub up_mm: f64,
}

impl Decentration {
    /// dh = (A + DBL)/2 - PD, dv = height - B/2. Source: boxing system, textbook.
    pub fn of(boxing: &Boxing, dbl_mm: f64, wanted: WantedCenter) -> Self {
        Self {
            in_mm: half_frame_pd_mm(boxing.a_mm, dbl_mm) - wanted.pd_mm,
            up_mm: wanted.height_mm - boxing.b_mm / 2.0,
        }
    }

    /// The same point in front-view coordinates from the boxing center.
    pub fn point(self, eye: Eye) -> Point {
        Point::new(self.in_mm * eye.nasal_sign(), self.up_mm)
    }

    /// The distance from the boxing center.
    pub fn length_mm(self) -> f64 {
        self.in_mm.hypot(self.up_mm)
    }
}

/// A pupil distance along a wrapped lens whose trace was made flat, from the middle of the bridge: the part beyond the
/// bridge's end lies on the turned lens and is longer by 1/cos of the wrap. With it (A + DBL)/2 - PD is the decentration
/// in the plane of the lens, where A was measured.
///
/// Convention: the distance between the lenses and the pupil distance are measured across the face; the lens is a plane
/// turned about its nose side, and the line of sight is straight ahead. The curve of the front is left out. A trace made
/// of the front as it is worn has A across the face too, and needs no change. Source: geometry.
pub fn pd_along_wrapped_mm(pd_mm: f64, dbl_mm: f64, wrap_deg: f64) -> f64 {
    dbl_mm / 2.0 + (pd_mm - dbl_mm / 2.0) / wrap_deg.to_radians().cos()
}

/// Half the frame PD on one eye's side: (A + DBL)/2.
pub fn half_frame_pd_mm(a_mm: f64, dbl_mm: f64) -> f64 {
    (a_mm + dbl_mm) / 2.0
}

/// The frame PD, the distance between the boxing centers: A + DBL. With unequal eyes, half of each.
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
    /// Where the optical center goes.
    pub decentration: Decentration,
    /// The blank that covers the outline there, with its optical center at its geometric center.
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
    /// The distance between the boxing centers.
    pub frame_pd_mm: f64,
}

impl PairLayout {
    /// Lays out both eyes.
    pub fn of(
        outlines: Pair<&Outline>,
        dbl_mm: f64,
        wanted: Pair<WantedCenter>,
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
    fn a_wrapped_lens_is_decentered_in_its_own_plane() {
        for (a_mm, dbl_mm, pd_mm, wrap_deg) in
            [(44.0, 20.0, 30.0, 20.0), (60.0, 16.0, 32.0, 25.0), (52.0, 18.0, 35.0, 0.0), (52.0, 18.0, 36.0, -8.0)]
        {
            // Across the face the lens is A cos w wide, so that its center lies DBL/2 + A/2 cos w from the middle; the
            // pupil lies m from it, and m / cos w in the plane of the lens (geometry).
            let cos = f64::to_radians(wrap_deg).cos();
            let m_mm = dbl_mm / 2.0 + a_mm / 2.0 * cos - pd_mm;
            let wanted = WantedCenter { pd_mm: pd_along_wrapped_mm(pd_mm, dbl_mm, wrap_deg), height_mm: 20.0 };
            let got = Decentration::of(&boxing(a_mm, 40.0, 0.0), dbl_mm, wanted);
            assert!((got.in_mm - m_mm / cos).abs() < 1e-9, "{wrap_deg}: {got:?}");
        }
        // 30 mm with a bridge of 20 at 20 degrees: 10 + 20 / 0.939 693 = 31.283 6.
        assert!((pd_along_wrapped_mm(30.0, 20.0, 20.0) - 31.283_6).abs() < 1e-4);
    }

    #[test]
    fn decentration_by_published_examples() {
        // (A, DBL, binocular PD, in per eye, source)
        for (a_mm, dbl_mm, pd_mm, want, source) in [
            (50.0, 20.0, 68.0, 1.0, "public glossary"),
            (52.0, 18.0, 64.0, 3.0, "computed"),
            (50.0, 18.0, 72.0, -2.0, "computed: a wide PD is decentered out"),
        ] {
            let wanted = WantedCenter { pd_mm: pd_mm / 2.0, height_mm: 20.0 };
            let got = Decentration::of(&boxing(a_mm, 36.0, 0.0), dbl_mm, wanted);
            assert_eq!((got.in_mm, got.up_mm), (want, 2.0), "{source}");
            assert_eq!(got.point(Eye::Right).x_mm, want, "in is to the observer's right for the right lens");
            assert_eq!(got.point(Eye::Left).x_mm, -want);
        }
        assert_eq!(frame_pd_mm(&boxing(52.0, 0.0, 0.0), &boxing(51.0, 0.0, 0.0), 18.0), 69.5);
    }
}
