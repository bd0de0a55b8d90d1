//! The line of a bevel or groove along the edge for a given placement: where it runs, how far the edge stands out
//! behind the rim, and where the line would break out. `bench::bevel_place` chooses the placement.
//!
//! Distances along the edge are parallel to the optical axis, from the front.

use super::edge::{Edge, EdgePoint};
use super::outline::Point;
use crate::optics::lens::Lens;
use crate::optics::surface::{Conic, TOOL_INDEX};

mod curve;

pub use curve::curve_tool_d;

/// How the line is placed along the edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Placement {
    /// A share of the edge from the front, 0 to 1. One third hides a thick minus edge behind the rim (common practice).
    Share(f64),
    /// A fixed distance behind the front, in millimeters.
    FromFront(f64),
    /// Parallel to the front; the share applies to the thinnest edge.
    FrontCurve(f64),
    /// On a sphere with the rim's own curve; the share applies to the thinnest edge.
    Curve {
        /// The curve in tool power (1.530).
        tool_d: f64,
        /// The share of the thinnest edge.
        share: f64,
    },
}

/// How the frame holds the lens at its edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hold {
    /// A V bevel in a full rim.
    Bevel {
        /// Width at the base; about 2 for a bevel 0.7 deep at 110° (computed).
        width_mm: f64,
        /// The depth of the rim along the edge, with its groove in the middle.
        rim_mm: f64,
    },
    /// A groove for a cord.
    Groove {
        /// The groove's width, about 0.6.
        width_mm: f64,
        /// The wall required on each side.
        wall_mm: f64,
    },
    /// Holes or notches through a flat edge.
    Drilled,
}

impl Hold {
    /// The usual bevel: 110°, 0.7 deep, in a rim 2.5 deep. Source: common practice (from memory).
    pub const USUAL_BEVEL: Hold = Hold::Bevel { width_mm: 2.0, rim_mm: 2.5 };
    /// The usual groove: 0.6 wide with 0.5 of wall on each side. Source: common practice (from memory).
    pub const USUAL_GROOVE: Hold = Hold::Groove { width_mm: 0.6, wall_mm: 0.5 };

    /// The thinnest edge accepted. Source: common practice (from memory): rimmed 1.0, cord 2.0, drilled 2.0.
    pub fn least_edge_mm(self) -> f64 {
        match self {
            Hold::Bevel { .. } => 1.0,
            Hold::Groove { .. } | Hold::Drilled => 2.0,
        }
    }

    /// The edge thickness required on each side of the line.
    fn needs_mm(self) -> f64 {
        match self {
            // A bevel wider than a thin edge is cut to a point, so only the apex and part of each flank are required.
            Hold::Bevel { width_mm, .. } => width_mm / 4.0,
            Hold::Groove { width_mm, wall_mm } => width_mm / 2.0 + wall_mm,
            Hold::Drilled => 0.0,
        }
    }
}

/// The line at one point of the outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinePoint {
    /// The edge there.
    pub edge: EdgePoint,
    /// The distance from the front to the apex of the bevel or the middle of the groove.
    pub from_front_mm: f64,
    /// How far the rear edge stands out behind the rim, or behind the line if no rim is given.
    pub rear_overhang_mm: f64,
    /// The point in space: x and y from the optical center, z towards the observer from the front vertex.
    pub space_mm: [f64; 3],
}

/// Something wrong at the edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EdgeWarning {
    /// The line leaves the edge at the front.
    BreaksFront {
        /// Where, about the boxing center.
        deg: f64,
        /// By how much.
        by_mm: f64,
    },
    /// The line leaves the edge at the back.
    BreaksBack {
        /// Where, about the boxing center.
        deg: f64,
        /// By how much.
        by_mm: f64,
    },
    /// The edge is thinner than this kind of frame requires.
    Thin {
        /// Where, about the boxing center.
        deg: f64,
        /// How thick it is.
        mm: f64,
        /// How thick it should be.
        least_mm: f64,
    },
    /// The rim and the line are curved differently by more than a diopter.
    CurveDiffers {
        /// The rim's curve, tool power.
        rim_d: f64,
        /// The line's curve, tool power.
        line_d: f64,
    },
}

impl EdgeWarning {
    /// The warning as a sentence.
    pub fn sentence(&self) -> String {
        match *self {
            EdgeWarning::BreaksFront { deg, by_mm } => {
                format!("The line breaks through at the front by {by_mm:.2} mm at {deg:.0}°.")
            }
            EdgeWarning::BreaksBack { deg, by_mm } => {
                format!("The line breaks out at the back by {by_mm:.2} mm at {deg:.0}°.")
            }
            EdgeWarning::Thin { deg, mm, least_mm } => {
                format!("The edge is {mm:.2} mm at {deg:.0}°; this kind of rim needs {least_mm:.2} mm.")
            }
            EdgeWarning::CurveDiffers { rim_d, line_d } => format!(
                "The curve of the rim is {rim_d:.1}, that of the bevel line {line_d:.1}: bend the rim or follow its curve."
            ),
        }
    }
}

/// If the curves differ by more, the rim must be bent or the line must follow its curve. Source: common practice.
pub const CURVES_AGREE_D: f64 = 1.0;

/// The line along the edge, with warnings.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeLine {
    /// Every point of the outline, in its order.
    pub at: Vec<LinePoint>,
    /// The curve of the sphere through the line, tool power; `None` for a round shape, which fits many spheres.
    pub curve_tool_d: Option<f64>,
    /// The worst point of each kind.
    pub warnings: Vec<EdgeWarning>,
}

/// Places the line on an edge. `center` is the optical center in the box. `rim_curve_tool_d` is the rim's own curve, if
/// a three-dimensional trace gives it ([`curve_tool_d`]).
pub fn edge_line(
    edge: &Edge,
    center: Point,
    lens: &Lens,
    placement: Placement,
    hold: Hold,
    rim_curve_tool_d: Option<f64>,
) -> EdgeLine {
    let thinnest = edge.thinnest();
    let front_depth = |p: Point| {
        let from = p.minus(center);
        // The edge was computed, so the front reaches its points.
        lens.front().sag_mm(from.x_mm, from.y_mm).unwrap_or(f64::NAN)
    };
    let sphere_depth = |tool_d: f64, p: Point| {
        let from = p.minus(center);
        let sphere = Conic::sphere(tool_d / (1000.0 * (TOOL_INDEX - 1.0)));
        sphere.sag_mm(from.x_mm, from.y_mm).unwrap_or(f64::NAN)
    };
    let from_front = |point: &EdgePoint| match placement {
        Placement::Share(share) => share * point.mm,
        Placement::FromFront(mm) => mm,
        Placement::FrontCurve(share) => share * thinnest.mm,
        Placement::Curve { tool_d, share } => {
            let lies = |p: Point| sphere_depth(tool_d, p) - front_depth(p);
            lies(point.at) - lies(thinnest.at) + share * thinnest.mm
        }
    };
    let behind_rim = match hold {
        Hold::Bevel { rim_mm, .. } => rim_mm / 2.0,
        Hold::Groove { .. } | Hold::Drilled => 0.0,
    };
    let at: Vec<LinePoint> = edge
        .points()
        .iter()
        .map(|point| {
            let from_front_mm = from_front(point);
            let from = point.at.minus(center);
            LinePoint {
                edge: *point,
                from_front_mm,
                rear_overhang_mm: (point.mm - from_front_mm - behind_rim).max(0.0),
                space_mm: [from.x_mm, from.y_mm, -front_depth(point.at) - from_front_mm],
            }
        })
        .collect();
    let curve = curve_tool_d(at.iter().map(|point| point.space_mm));
    let warnings = warnings(&at, thinnest, hold, rim_curve_tool_d, curve);
    EdgeLine { at, curve_tool_d: curve, warnings }
}

fn warnings(
    at: &[LinePoint],
    thinnest: EdgePoint,
    hold: Hold,
    rim_curve_tool_d: Option<f64>,
    line_curve_tool_d: Option<f64>,
) -> Vec<EdgeWarning> {
    let mut found = Vec::new();
    let least_mm = hold.least_edge_mm();
    // An edge computed for exactly the least thickness may miss it by rounding error.
    if thinnest.mm < least_mm - 0.005 {
        found.push(EdgeWarning::Thin { deg: thinnest.deg, mm: thinnest.mm, least_mm });
    }
    if hold == Hold::Drilled {
        return found;
    }
    let needs_mm = hold.needs_mm();
    let mut front = (0.0, 0.0);
    let mut back = (0.0, 0.0);
    for point in at {
        let out_front = needs_mm - point.from_front_mm;
        let out_back = point.from_front_mm + needs_mm - point.edge.mm;
        // NaN means that the sphere does not reach the point: the worst case.
        if out_front.is_nan() || out_front > front.0 {
            front = (if out_front.is_nan() { f64::INFINITY } else { out_front }, point.edge.deg);
        }
        if out_back > back.0 {
            back = (out_back, point.edge.deg);
        }
    }
    // The same allowance for rounding error.
    if front.0 > 0.005 {
        found.push(EdgeWarning::BreaksFront { deg: front.1, by_mm: front.0 });
    }
    if back.0 > 0.005 {
        found.push(EdgeWarning::BreaksBack { deg: back.1, by_mm: back.0 });
    }
    if let (Some(rim_d), Some(line_d)) = (rim_curve_tool_d, line_curve_tool_d)
        && (rim_d - line_d).abs() > CURVES_AGREE_D
    {
        found.push(EdgeWarning::CurveDiffers { rim_d, line_d });
    }
    found
}

#[cfg(test)]
mod tests;
