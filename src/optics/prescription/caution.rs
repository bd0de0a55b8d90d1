//! Unlikely values in a prescription. The owner confirms them; they never refuse an order.
//!
//! The limits are common practice.

use std::fmt;

use super::{BaseDirection, CylinderForm, EyePrescription};
use crate::optics::unit::Diopter;
use crate::optics::{Eye, Pair};

/// A larger difference between the eyes must be confirmed.
const LARGE_DIFFERENCE_D: f64 = 3.0;
/// A larger change since the last prescription must be confirmed.
const LARGE_CHANGE_D: f64 = 2.0;
/// A stronger sphere must be confirmed.
const STRONG_SPHERE_D: f64 = 12.0;
/// A stronger cylinder must be confirmed.
const STRONG_CYLINDER_D: f64 = 4.0;
/// A stronger prism before one eye must be confirmed.
const STRONG_PRISM_PD: f64 = 5.0;

/// Something to confirm before the order is taken. `Display` writes it as a sentence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caution {
    /// A number is not a multiple of 0.125.
    StepNotEighth {
        /// The eye it is about.
        eye: Eye,
        /// `sphere` or `cylinder`.
        what: &'static str,
        /// The number.
        value: Diopter,
    },
    /// One sphere is plus, the other minus.
    SignsDiffer {
        /// The spheres in minus-cylinder form.
        spheres: Pair<Diopter>,
    },
    /// The eyes differ by more than 3 D.
    EyesDiffer {
        /// The larger of the differences in sphere and in spherical equivalent.
        difference_d: f64,
    },
    /// One eye is written with plus cylinder, the other with minus.
    FormsDiffer,
    /// An eye has changed by more than 2 D since the last prescription.
    LargeChange {
        /// The eye it is about.
        eye: Eye,
        /// The largest change of power in any meridian.
        change_d: f64,
    },
    /// The sphere is beyond ±12 D.
    StrongSphere {
        /// The eye it is about.
        eye: Eye,
        /// The sphere as written.
        value: Diopter,
    },
    /// The cylinder is beyond ±4 D.
    StrongCylinder {
        /// The eye it is about.
        eye: Eye,
        /// The cylinder as written.
        value: Diopter,
    },
    /// The prism before one eye is beyond 5 prism diopters.
    StrongPrism {
        /// The eye it is about.
        eye: Eye,
        /// The resultant.
        amount_pd: f64,
    },
    /// Both eyes have base up, or both base down, and the two cancel.
    SameVerticalBase {
        /// Up or down.
        base: BaseDirection,
    },
}

impl Caution {
    /// The eye it is about; `None` for the pair.
    pub fn eye(&self) -> Option<Eye> {
        match *self {
            Self::StepNotEighth { eye, .. }
            | Self::LargeChange { eye, .. }
            | Self::StrongSphere { eye, .. }
            | Self::StrongCylinder { eye, .. }
            | Self::StrongPrism { eye, .. } => Some(eye),
            Self::SignsDiffer { .. } | Self::EyesDiffer { .. } | Self::FormsDiffer | Self::SameVerticalBase { .. } => {
                None
            }
        }
    }

    /// A stable key for this kind of caution.
    pub fn code(&self) -> &'static str {
        match self {
            Self::StepNotEighth { .. } => "step-not-eighth",
            Self::SignsDiffer { .. } => "signs-differ",
            Self::EyesDiffer { .. } => "eyes-differ",
            Self::FormsDiffer => "forms-differ",
            Self::LargeChange { .. } => "large-change",
            Self::StrongSphere { .. } => "strong-sphere",
            Self::StrongCylinder { .. } => "strong-cylinder",
            Self::StrongPrism { .. } => "strong-prism",
            Self::SameVerticalBase { .. } => "same-vertical-base",
        }
    }
}

impl fmt::Display for Caution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::StepNotEighth { eye, what, value } => {
                write!(f, "The {} {what} {value} is not a multiple of 0.125.", eye.name())
            }
            Self::SignsDiffer { spheres } => {
                write!(f, "The signs differ between the eyes: {} right, {} left.", spheres.right, spheres.left)
            }
            Self::EyesDiffer { difference_d } => write!(f, "The eyes differ by {difference_d:.2} D."),
            Self::FormsDiffer => f.write_str("One eye is written with plus cylinder, the other with minus."),
            Self::LargeChange { eye, change_d } => {
                write!(f, "The {} eye has changed by {change_d:.2} D since the last prescription.", eye.name())
            }
            Self::StrongSphere { eye, value } => write!(f, "The {} sphere {value} is beyond ±12.00.", eye.name()),
            Self::StrongCylinder { eye, value } => write!(f, "The {} cylinder {value} is beyond ±4.00.", eye.name()),
            Self::StrongPrism { eye, amount_pd } => {
                write!(f, "The prism before the {} eye, {amount_pd:.2}, is beyond 5.00.", eye.name())
            }
            Self::SameVerticalBase { base } => write!(f, "Both eyes have {base}: the two cancel."),
        }
    }
}

/// All cautions about a prescription, compared with the wearer's last one. An eye without a prescribed power, then or now,
/// is compared with nothing.
///
/// The change of an eye is the largest in any meridian, so a misread axis is found as well as a misread sphere.
pub fn cautions(eyes: Pair<Option<EyePrescription>>, last: Pair<Option<EyePrescription>>) -> Vec<Caution> {
    let mut found = Vec::new();
    for (eye, rx) in eyes.iter() {
        let Some(rx) = rx else { continue };
        push_eye_cautions(eye, rx, &mut found);
        if let Some(last) = last.get(eye) {
            let change = rx.power.numbers().vector() - last.power.numbers().vector();
            let change_d = change.m_d.abs() + change.j0_d.hypot(change.j45_d);
            if exceeds(change_d, LARGE_CHANGE_D) {
                found.push(Caution::LargeChange { eye, change_d });
            }
        }
    }
    if let (Some(right), Some(left)) = (eyes.right, eyes.left) {
        push_pair_cautions(Pair::new(right, left), &mut found);
    }
    found
}

/// The cautions about one eye's prescription by itself.
pub fn cautions_of_eye(eye: Eye, rx: &EyePrescription) -> Vec<Caution> {
    let mut found = Vec::new();
    push_eye_cautions(eye, rx, &mut found);
    found
}

fn push_eye_cautions(eye: Eye, rx: &EyePrescription, found: &mut Vec<Caution>) {
    let (sphere, cylinder) = (rx.power.sphere(), rx.power.cylinder());
    for (what, value) in [("sphere", sphere), ("cylinder", cylinder)] {
        if value.eighths().is_none() {
            found.push(Caution::StepNotEighth { eye, what, value });
        }
    }
    if exceeds(sphere.to_f64().abs(), STRONG_SPHERE_D) {
        found.push(Caution::StrongSphere { eye, value: sphere });
    }
    if exceeds(cylinder.to_f64().abs(), STRONG_CYLINDER_D) {
        found.push(Caution::StrongCylinder { eye, value: cylinder });
    }
    let amount_pd = rx.prism.to_polar(eye).amount_pd;
    if exceeds(amount_pd, STRONG_PRISM_PD) {
        found.push(Caution::StrongPrism { eye, amount_pd });
    }
}

fn push_pair_cautions(both: Pair<EyePrescription>, found: &mut Vec<Caution>) {
    let minus = both.map(|rx| rx.power.to_minus());
    let spheres = minus.map(|power| power.sphere());
    if spheres.right.hundredths().signum() * spheres.left.hundredths().signum() < 0 {
        found.push(Caution::SignsDiffer { spheres });
    }
    let numbers = minus.map(|power| power.numbers());
    let by_sphere = (numbers.right.sphere_d - numbers.left.sphere_d).abs();
    let by_equivalent = (numbers.right.spherical_equivalent_d() - numbers.left.spherical_equivalent_d()).abs();
    let difference_d = by_sphere.max(by_equivalent);
    if exceeds(difference_d, LARGE_DIFFERENCE_D) {
        found.push(Caution::EyesDiffer { difference_d });
    }
    let forms = both.map(|rx| rx.power.form());
    if matches!(
        (forms.right, forms.left),
        (CylinderForm::Plus, CylinderForm::Minus) | (CylinderForm::Minus, CylinderForm::Plus)
    ) {
        found.push(Caution::FormsDiffer);
    }
    let up = both.map(|rx| rx.prism.base_up().hundredths());
    if up.right.signum() * up.left.signum() > 0 {
        let base = if up.right > 0 { BaseDirection::Up } else { BaseDirection::Down };
        found.push(Caution::SameVerticalBase { base });
    }
}

/// Whether a computed size is beyond its limit, with room for rounding error.
fn exceeds(size: f64, limit: f64) -> bool {
    size > limit + 1e-9
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;

    fn rx(text: &str) -> EyePrescription {
        read(text).unwrap().rx
    }

    fn codes(right: &str, left: &str, last: Option<(&str, &str)>) -> Vec<(&'static str, Option<Eye>)> {
        let last = last.map_or(Pair::new(None, None), |(right, left)| Pair::new(Some(rx(right)), Some(rx(left))));
        cautions(Pair::new(Some(rx(right)), Some(rx(left))), last)
            .iter()
            .map(|caution| (caution.code(), caution.eye()))
            .collect()
    }

    /// Both sides of every limit; the limits are common practice.
    #[test]
    fn cautions_start_just_beyond_each_limit() {
        let (right, left) = (Some(Eye::Right), Some(Eye::Left));
        for (r, l, expected) in [
            ("-2.25 -1.25 x 95", "-2.00 -1.00 x 85", vec![]),
            ("-2.12 sph", "-2.37 sph", vec![]),
            ("-2.10 sph", "-2.00 -0.55 x 5", vec![("step-not-eighth", right), ("step-not-eighth", left)]),
            ("+0.25 sph", "-0.25 sph", vec![("signs-differ", None)]),
            ("plano", "-0.25 sph", vec![]),
            ("-1.00 sph", "-4.00 sph", vec![]),
            ("-1.00 sph", "-4.12 sph", vec![("eyes-differ", None)]),
            ("-1.00 -1.00 x 5", "-1.00 +1.00 x 5", vec![("forms-differ", None)]),
            ("-12.00 sph", "-12.00 sph", vec![]),
            ("-12.25 sph", "-12.00 sph", vec![("strong-sphere", right)]),
            ("-1.00 -4.00 x 5", "-1.00 -4.25 x 5", vec![("strong-cylinder", left)]),
            ("-1.00 sph 5 BI", "-1.00 sph 5 BI", vec![]),
            ("-1.00 sph 4 BI 4 BU", "-1.00 sph", vec![("strong-prism", right)]),
            ("-1.00 sph 1 BU", "-1.00 sph 1 BD", vec![]),
            ("-1.00 sph 1 BU", "-1.00 sph 1 BU", vec![("same-vertical-base", None)]),
        ] {
            assert_eq!(codes(r, l, None), expected, "{r} | {l}");
        }
    }

    #[test]
    fn a_change_counts_in_the_meridian_where_it_is_largest() {
        let last = Some(("-2.00 -1.25 x 90", "-2.00 sph"));
        assert_eq!(codes("-4.00 -1.25 x 90", "-2.00 sph", last), []);
        assert_eq!(codes("-4.25 -1.25 x 90", "-2.00 sph", last), [("large-change", Some(Eye::Right))]);
        assert_eq!(codes("-3.25 +1.25 x 180", "-2.00 sph", last), [], "the same lens in plus form");
        let strong = Some(("-2.00 -2.25 x 90", "-2.00 sph"));
        assert_eq!(
            codes("-2.00 -2.25 x 180", "-2.00 sph", strong),
            [("large-change", Some(Eye::Right))],
            "axis misread"
        );
        let before = Some(rx("-2.00 sph"));
        let caution = cautions(Pair::new(Some(rx("-4.25 sph")), before), Pair::new(before, before))[0];
        assert_eq!(caution.to_string(), "The right eye has changed by 2.25 D since the last prescription.");
    }

    #[test]
    fn an_eye_without_a_power_is_compared_with_nothing() {
        let (strong, weak) = (Some(rx("-13.00 sph")), Some(rx("+1.00 sph")));
        let codes = |right, left, last| -> Vec<_> {
            cautions(Pair::new(right, left), last).iter().map(|caution| (caution.code(), caution.eye())).collect()
        };
        let (none, left) = (Pair::new(None, None), Some(Eye::Left));
        assert_eq!(codes(None, strong, none), [("strong-sphere", left)]);
        assert_eq!(codes(None, weak, Pair::new(weak, None)), []);
        assert_eq!(codes(None, strong, Pair::new(None, weak)), [("strong-sphere", left), ("large-change", left)]);
    }
}
