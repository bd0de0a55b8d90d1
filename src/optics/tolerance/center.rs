//! The house limits on each optical center's place, in millimeters.
//!
//! The published rows judge the centers of a weak pair by prism and compare the two eyes with each other. Both centers
//! 5 mm low, or the whole pair 3 mm to one side, pass them. These rows hold each center to its own ordered place.

use super::verdict::{Measured, OrderedPair, ToleranceLine, line};
use super::{Limit, Quantity, RowUnit};
use crate::optics::{Eye, Pair};

const SOURCE: &str = "common practice: house limit, not of the standard";

/// Added where one distance was read for both eyes together.
const WIDTH_ONLY: &str = "Only the distance of both eyes together was read: a shift of the whole pair to one side cannot be seen from one number.";

/// How far an optical center may be from its ordered place. `None` leaves the row out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CenterLimits {
    /// Across: the distance from the middle of the nose.
    pub across_mm: Option<f64>,
    /// The height above the lowest point of the box.
    pub height_mm: Option<f64>,
}

impl CenterLimits {
    /// No house limit.
    pub const OFF: Self = Self { across_mm: None, height_mm: None };
}

impl Default for CenterLimits {
    /// 1.0 mm each way (common practice, from memory).
    fn default() -> Self {
        Self { across_mm: Some(1.0), height_mm: Some(1.0) }
    }
}

/// The rows of each eye whose limit is on. A place that was not read is not checked.
pub(super) fn centers(
    limits: &CenterLimits,
    ordered: &OrderedPair,
    measured: &Measured,
    lines: &mut Vec<ToleranceLine>,
) {
    let mut row = |quantity, size: Option<f64>, rule, eye: Eye, wanted: Pair<f64>, read: Pair<Option<f64>>| {
        let Some(size) = size else { return };
        let limit = Limit { size, unit: RowUnit::Millimeter, rule, source: SOURCE };
        let valued = |mm: f64| (format!("{mm:.2} mm"), mm);
        let mut line = line(quantity, Some(eye), limit, valued(*wanted.get(eye)), read.get(eye).map(valued));
        if quantity == Quantity::CenterAcross && measured.is_width_only && line.reading.is_some() {
            line.explain = format!("{} {WIDTH_ONLY}", line.explain);
        }
        lines.push(line);
    };
    for eye in Eye::BOTH {
        let across = "The optical center across, from the middle of the nose: house limit";
        let (wanted, read) = (ordered.pupil_distance_mm, measured.pupil_distance_mm);
        row(Quantity::CenterAcross, limits.across_mm, across, eye, wanted, read);
        let height = "The height of the optical center: house limit";
        row(Quantity::CenterHeight, limits.height_mm, height, eye, ordered.height_mm, measured.height_mm);
    }
}
