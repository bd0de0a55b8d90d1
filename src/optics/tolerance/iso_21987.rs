//! ISO 21987, mounted lenses. All numbers are from memory: check them against your own copy.

use super::{Band, Limit, RowUnit, band_for};

const SOURCE: &str = "ISO 21987:2017, from memory";
const UNCUT: &str = "ISO 8980-1:2004, uncut lenses at the reference point";

/// A row chosen by the strongest principal power: the limit on each meridian, then on the cylinder by its size,
/// to 0.75, over 0.75 to 4.00, over 4.00 to 6.00, over 6.00.
struct PowerRow {
    up_to: f64,
    meridian: f64,
    cylinder: [f64; 4],
    rule: &'static str,
}

/// The first row prints no limit over 6.00, because no lens to 3.00 D has such a cylinder; the next row's is used.
const POWER: &[PowerRow] = &[
    PowerRow { up_to: 3.0, meridian: 0.12, cylinder: [0.09, 0.12, 0.18, 0.25], rule: "Higher meridian to 3.00 D" },
    PowerRow {
        up_to: 6.0,
        meridian: 0.12,
        cylinder: [0.12, 0.12, 0.18, 0.25],
        rule: "Higher meridian over 3.00 to 6.00 D",
    },
    PowerRow {
        up_to: 9.0,
        meridian: 0.12,
        cylinder: [0.12, 0.18, 0.18, 0.25],
        rule: "Higher meridian over 6.00 to 9.00 D",
    },
    PowerRow {
        up_to: 12.0,
        meridian: 0.18,
        cylinder: [0.12, 0.18, 0.25, 0.25],
        rule: "Higher meridian over 9.00 to 12.00 D",
    },
    PowerRow {
        up_to: 20.0,
        meridian: 0.25,
        cylinder: [0.18, 0.25, 0.25, 0.25],
        rule: "Higher meridian over 12.00 to 20.00 D",
    },
];
const STRONGEST: PowerRow = PowerRow {
    up_to: f64::INFINITY,
    meridian: 0.37,
    cylinder: [0.25, 0.25, 0.37, 0.37],
    rule: "Higher meridian over 20.00 D",
};

const AXIS: &[Band] = &[
    Band { up_to: 0.25, limit: 16.0, rule: "Cylinder 0.12 to 0.25: ±16°" },
    Band { up_to: 0.50, limit: 9.0, rule: "Cylinder over 0.25 to 0.50: ±9°" },
    Band { up_to: 0.75, limit: 6.0, rule: "Cylinder over 0.50 to 0.75: ±6°" },
    Band { up_to: 1.50, limit: 4.0, rule: "Cylinder over 0.75 to 1.50: ±4°" },
    Band { up_to: 2.50, limit: 3.0, rule: "Cylinder over 1.50 to 2.50: ±3°" },
    Band { up_to: f64::INFINITY, limit: 2.0, rule: "Cylinder over 2.50: ±2°" },
];

fn row(strongest_d: f64) -> &'static PowerRow {
    POWER.iter().find(|row| strongest_d.abs() <= row.up_to + 1e-9).unwrap_or(&STRONGEST)
}

pub(super) fn power(strongest_d: f64) -> Limit {
    let row = row(strongest_d);
    Limit { size: row.meridian, unit: RowUnit::Diopter, rule: row.rule, source: SOURCE }
}

pub(super) fn cylinder(strongest_d: f64, cylinder_d: f64) -> Limit {
    let row = row(strongest_d);
    let column = [0.75, 4.0, 6.0].iter().filter(|&&bound| cylinder_d.abs() > bound + 1e-9).count();
    Limit { size: row.cylinder[column], unit: RowUnit::Diopter, rule: row.rule, source: SOURCE }
}

pub(super) fn axis(cylinder_d: f64) -> Option<Limit> {
    let size = cylinder_d.abs();
    if size < 0.12 {
        return None;
    }
    band_for(AXIS, size).map(|band| Limit { size: band.limit, unit: RowUnit::Degree, rule: band.rule, source: SOURCE })
}

/// What a prescribed prism adds to a limit: nothing up to 2.00, `to_ten` up to 10.00, `beyond` above that.
fn allowance(prescribed_pd: f64, to_ten: f64, beyond: f64) -> f64 {
    match prescribed_pd.abs() {
        p if p <= 2.0 + 1e-9 => 0.0,
        p if p <= 10.0 + 1e-9 => to_ten,
        _ => beyond,
    }
}

pub(super) fn horizontal(horizontal_d: f64, prescribed_pd: f64) -> Limit {
    let (base, rule) = if horizontal_d.abs() <= 3.25 + 1e-9 {
        (0.67, "Horizontal power to 3.25 D: 0.67 Δ, more with strong prescribed prism")
    } else {
        (
            0.2 * horizontal_d.abs(),
            "Horizontal power over 3.25 D: the prism of 2.0 mm, more with strong prescribed prism",
        )
    };
    let size = base + allowance(prescribed_pd, 0.33, 0.58);
    Limit { size, unit: RowUnit::PrismDiopter, rule, source: SOURCE }
}

pub(super) fn vertical(vertical_d: f64, prescribed_pd: f64) -> Limit {
    let (base, rule) = if vertical_d.abs() <= 5.0 + 1e-9 {
        (0.5, "Vertical power to 5.00 D: 0.50 Δ, more with strong prescribed prism")
    } else {
        (0.1 * vertical_d.abs(), "Vertical power over 5.00 D: the prism of 1.0 mm, more with strong prescribed prism")
    };
    let size = base + allowance(prescribed_pd, 0.25, 0.50);
    Limit { size, unit: RowUnit::PrismDiopter, rule, source: SOURCE }
}

pub(super) fn center_thickness() -> Limit {
    Limit { size: 0.3, unit: RowUnit::Millimeter, rule: "Center thickness, when specified: ±0.3 mm", source: UNCUT }
}
