//! ANSI Z80.1-2015, single vision, from public copies.

use super::{Band, Limit, RowUnit, band_for};

const GUIDE: &str = "ANSI Z80.1-2015 quick-reference guide";
const SUMMARY_2010: &str = "ANSI Z80.1 summary of 2010 (the 2015 guide puts 2.00 and 4.50 themselves in the next row)";
const TABLE_1999: &str = "ANSI Z80.1 table of 1999, believed unchanged since";
const FROM_MEMORY: &str = "ANSI Z80.1, from memory";

/// Up to this power the limit is fixed; above it, 2%. At 6.50 itself both give 0.13.
const POWER_BRANCH_D: f64 = 6.50;

/// The copies disagree at exactly 2.00 and 4.50. The 2010 summary is stricter there and is used.
const CYLINDER_BRANCHES_D: (f64, f64) = (2.00, 4.50);

/// Up to this power vertical imbalance is judged in prism, above it in millimeters.
const VERTICAL_BRANCH_D: f64 = 3.375;

/// Up to this power horizontal imbalance is judged in prism, above it in millimeters.
const HORIZONTAL_BRANCH_D: f64 = 2.75;

const AXIS: &[Band] = &[
    Band { up_to: 0.25, limit: 14.0, rule: "Cylinder 0.12 to 0.25: ±14°" },
    Band { up_to: 0.50, limit: 7.0, rule: "Cylinder over 0.25 to 0.50: ±7°" },
    Band { up_to: 0.75, limit: 5.0, rule: "Cylinder over 0.50 to 0.75: ±5°" },
    Band { up_to: 1.50, limit: 3.0, rule: "Cylinder over 0.75 to 1.50: ±3°" },
    Band { up_to: f64::INFINITY, limit: 2.0, rule: "Cylinder over 1.50: ±2°" },
];

pub(super) fn power(strongest_d: f64) -> Limit {
    let size = strongest_d.abs();
    if size <= POWER_BRANCH_D + 1e-9 {
        Limit { size: 0.13, unit: RowUnit::Diopter, rule: "Power to 6.50 D: ±0.13 D", source: GUIDE }
    } else {
        Limit { size: 0.02 * size, unit: RowUnit::Diopter, rule: "Power over 6.50 D: ±2% of the power", source: GUIDE }
    }
}

pub(super) fn cylinder(cylinder_d: f64) -> Limit {
    let size = cylinder_d.abs();
    let (first, second) = CYLINDER_BRANCHES_D;
    if size <= first + 1e-9 {
        Limit { size: 0.13, unit: RowUnit::Diopter, rule: "Cylinder to 2.00 D: ±0.13 D", source: SUMMARY_2010 }
    } else if size <= second + 1e-9 {
        Limit {
            size: 0.15,
            unit: RowUnit::Diopter,
            rule: "Cylinder over 2.00 to 4.50 D: ±0.15 D",
            source: SUMMARY_2010,
        }
    } else {
        Limit {
            size: 0.04 * size,
            unit: RowUnit::Diopter,
            rule: "Cylinder over 4.50 D: ±4% of the cylinder",
            source: GUIDE,
        }
    }
}

pub(super) fn axis(cylinder_d: f64) -> Option<Limit> {
    let size = cylinder_d.abs();
    if size < 0.12 {
        return None;
    }
    band_for(AXIS, size).map(|band| Limit { size: band.limit, unit: RowUnit::Degree, rule: band.rule, source: GUIDE })
}

pub(super) fn vertical(vertical_d: f64) -> Limit {
    if vertical_d.abs() <= VERTICAL_BRANCH_D + 1e-9 {
        let rule = "Vertical power to 3.375 D: 0.33 Δ between the eyes";
        Limit { size: 0.33, unit: RowUnit::PrismDiopter, rule, source: GUIDE }
    } else {
        let rule = "Vertical power over 3.375 D: heights equal within 1.0 mm";
        Limit { size: 1.0, unit: RowUnit::Millimeter, rule, source: GUIDE }
    }
}

pub(super) fn horizontal(horizontal_d: f64) -> Limit {
    if horizontal_d.abs() <= HORIZONTAL_BRANCH_D + 1e-9 {
        let rule = "Horizontal power to 2.75 D: 0.67 Δ for both eyes together";
        Limit { size: 0.67, unit: RowUnit::PrismDiopter, rule, source: GUIDE }
    } else {
        let rule = "Horizontal power over 2.75 D: total pupil distance within 2.5 mm";
        Limit { size: 2.5, unit: RowUnit::Millimeter, rule, source: GUIDE }
    }
}

pub(super) fn prescribed_prism() -> (Limit, Limit) {
    let row = |size, rule| Limit { size, unit: RowUnit::PrismDiopter, rule, source: FROM_MEMORY };
    (
        row(0.67, "Prescribed prism, horizontal: within 0.67 Δ for both eyes together"),
        row(0.33, "Prescribed prism, vertical: within 0.33 Δ between the eyes"),
    )
}

pub(super) fn center_thickness() -> Limit {
    let rule = "Center thickness, when specified: ±0.3 mm";
    Limit { size: 0.3, unit: RowUnit::Millimeter, rule, source: TABLE_1999 }
}
