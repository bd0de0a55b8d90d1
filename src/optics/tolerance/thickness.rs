//! The thickness of a lens at its optical center against the least of its material.
//!
//! The standards name a thickness only where one was ordered. What a lens must not be thinner than is the lab's own
//! figure for the material, because a thinner one may no longer resist impact as its certificate says.

use super::verdict::{Status, ToleranceLine};
use super::{Quantity, READING_ALLOWANCE, RowUnit};
use crate::optics::Eye;

const SOURCE: &str = "common practice: the least of the material as the lab set it, not of the standard";
const RULE: &str = "The thickness at the optical center is not less than the least of the material: house limit";

/// The row of a lens whose material has this least thickness. It may stay unmeasured.
pub fn least_center(eye: Eye, least_mm: f64, measured_mm: Option<f64>) -> ToleranceLine {
    let inside = measured_mm.map(|mm| mm - least_mm);
    let status = match inside {
        None => Status::NotChecked,
        Some(mm) if mm.is_nan() || mm < -READING_ALLOWANCE - 1e-9 => Status::Fail,
        Some(_) => Status::Pass,
    };
    let explain = match (measured_mm, inside) {
        (Some(mm), Some(inside)) if status == Status::Fail => {
            format!("{RULE}. Least {least_mm:.2} mm, measured {mm:.2} mm: {:.2} mm too thin.", -inside)
        }
        (Some(mm), _) => format!("{RULE}. Least {least_mm:.2} mm, measured {mm:.2} mm."),
        (None, _) => format!("{RULE}. Least {least_mm:.2} mm, not measured."),
    };
    ToleranceLine {
        quantity: Quantity::LeastCenterThickness,
        eye: Some(eye),
        ordered: format!("{least_mm:.2} mm or more"),
        measured: measured_mm.map(|mm| format!("{mm:.2} mm")),
        wanted: least_mm,
        reading: measured_mm,
        off_by: inside.map(|inside| (-inside).max(0.0)),
        limit: 0.0,
        unit: RowUnit::Millimeter,
        inside,
        status,
        source: SOURCE,
        explain,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lens_is_as_thick_as_the_least_or_thicker() {
        for (least_mm, measured_mm, want, off_mm) in [
            (2.0, Some(2.0), Status::Pass, Some(0.0)),
            (2.0, Some(2.31), Status::Pass, Some(0.0)),
            (2.0, Some(1.995), Status::Pass, Some(0.005)),
            (2.0, Some(1.99), Status::Fail, Some(0.01)),
            (1.5, Some(1.2), Status::Fail, Some(0.3)),
            (1.5, Some(f64::NAN), Status::Fail, Some(0.0)),
            (1.5, None, Status::NotChecked, None),
        ] {
            let row = least_center(Eye::Left, least_mm, measured_mm);
            assert_eq!(row.status, want, "{measured_mm:?} for {least_mm}");
            let is_close = row.off_by.zip(off_mm).map_or(row.off_by == off_mm, |(a, b)| (a - b).abs() < 1e-9);
            assert!(is_close, "{measured_mm:?} for {least_mm}: {:?}", row.off_by);
        }
        assert!(least_center(Eye::Right, 1.5, Some(1.2)).explain.ends_with("0.30 mm too thin."));
    }
}
