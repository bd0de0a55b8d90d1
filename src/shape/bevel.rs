//! Where the bevel or groove runs along the edge, what stands out behind the rim, and what would break out.
//!
//! Distances along the edge are parallel to the optical axis, from the front.

use super::edge::{Edge, EdgePoint};
use super::outline::Point;
use crate::optics::lens::Lens;
use crate::optics::surface::{Conic, TOOL_INDEX};

/// How the line is placed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Placement {
    /// A share of the edge from the front, 0 to 1; a third hides a thick minus edge behind the rim (common practice).
    Share(f64),
    /// So many millimetres behind the front.
    FromFront(f64),
    /// Parallel to the front, at this share of the thinnest edge.
    FrontCurve(f64),
    /// On a sphere of this curve (tool power, 1.530), at this share of the edge where it is thinnest: for a rim with
    /// a curve of its own.
    Curve {
        /// The curve in tool power.
        tool_d: f64,
        /// The share of the thinnest edge.
        share: f64,
    },
}

/// What holds the lens at its edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hold {
    /// A V bevel in a full rim.
    Bevel {
        /// From foot to foot; about 2 for a bevel 0.7 deep at 110° (computed).
        width_mm: f64,
        /// The depth of the rim along the edge, its groove in its middle.
        rim_mm: f64,
    },
    /// A groove for a cord.
    Groove {
        /// The groove's width, about 0.6.
        width_mm: f64,
        /// The wall that must stand on each side.
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

    /// The thinnest edge that is taken. Source: common practice (from memory): rimmed 1.0, cord 2.0, drilled 2.0.
    pub fn least_edge_mm(self) -> f64 {
        match self {
            Hold::Bevel { .. } => 1.0,
            Hold::Groove { .. } | Hold::Drilled => 2.0,
        }
    }

    /// What the line needs on each side of its middle.
    fn needs_mm(self) -> f64 {
        match self {
            // A bevel wider than a thin edge is simply cut to a point; what must be there is its apex with a little
            // of each flank.
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
    /// How far the apex of the bevel, or the middle of the groove, lies behind the front.
    pub from_front_mm: f64,
    /// How far the rear edge stands out behind the rim; behind the line itself where no rim is stated.
    pub rear_overhang_mm: f64,
    /// The place of the line in space: x and y about the optical centre, z towards the observer from the front vertex.
    pub space_mm: [f64; 3],
}

/// Something that will not do at the edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EdgeWarning {
    /// The line leaves the edge at the front.
    BreaksFront {
        /// Where, about the boxing centre.
        deg: f64,
        /// By how much.
        by_mm: f64,
    },
    /// The line leaves the edge at the back.
    BreaksBack {
        /// Where, about the boxing centre.
        deg: f64,
        /// By how much.
        by_mm: f64,
    },
    /// The edge is thinner than the way it is held asks for.
    Thin {
        /// Where, about the boxing centre.
        deg: f64,
        /// How thick it is.
        mm: f64,
        /// How thick it should be.
        least_mm: f64,
    },
    /// The rim and the line are curved differently by more than a dioptre.
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
                format!("The line breaks out at the front by {by_mm:.2} mm at {deg:.0}°.")
            }
            EdgeWarning::BreaksBack { deg, by_mm } => {
                format!("The line breaks out at the back by {by_mm:.2} mm at {deg:.0}°.")
            }
            EdgeWarning::Thin { deg, mm, least_mm } => {
                format!("The edge is {mm:.2} mm at {deg:.0}°; this kind of rim needs {least_mm:.2} mm.")
            }
            EdgeWarning::CurveDiffers { rim_d, line_d } => format!(
                "The rim has a curve of {rim_d:.1}, the bevel line one of {line_d:.1}: bend the rim or follow its curve."
            ),
        }
    }
}

/// Curves further apart than this need bending or a line of their own. Source: common practice.
pub const CURVES_AGREE_D: f64 = 1.0;

/// The line along the edge and what is wrong with it.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeLine {
    /// Every point of the outline, in its order.
    pub at: Vec<LinePoint>,
    /// The curve of the sphere through the line, tool power; `None` for a round shape, through which every sphere
    /// passes.
    pub curve_tool_d: Option<f64>,
    /// What will not do, the worst place of each kind.
    pub warnings: Vec<EdgeWarning>,
}

/// Places the line on an edge. `centre` is the optical centre in the box, `rim_curve_tool_d` the rim's own curve where
/// a three-dimensional trace gave it ([`curve_tool_d`]).
pub fn edge_line(
    edge: &Edge,
    centre: Point,
    lens: &Lens,
    placement: Placement,
    hold: Hold,
    rim_curve_tool_d: Option<f64>,
) -> EdgeLine {
    let thinnest = edge.thinnest();
    let front_depth = |p: Point| {
        let from = p.minus(centre);
        // The edge exists, so the front reaches its points.
        lens.front().sag_mm(from.x_mm, from.y_mm).unwrap_or(f64::NAN)
    };
    let sphere_depth = |tool_d: f64, p: Point| {
        let from = p.minus(centre);
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
            let from = point.at.minus(centre);
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
    if thinnest.mm < least_mm {
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
        // A sphere that does not reach the point leaves it outside: NaN is worse than anything.
        if out_front.is_nan() || out_front > front.0 {
            front = (if out_front.is_nan() { f64::INFINITY } else { out_front }, point.edge.deg);
        }
        if out_back > back.0 {
            back = (out_back, point.edge.deg);
        }
    }
    // A hair is no break.
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

/// The curve of the sphere nearest to points in space, in tool power (530 over the radius), positive when its centre
/// lies towards the wearer. `None` for fewer than five points or points through which every sphere passes.
///
/// The sphere k(x² + y² + z²) + ax + by + c = z is linear in k, a, b, c (least squares); a plane has k = 0.
pub fn curve_tool_d(points: impl Iterator<Item = [f64; 3]> + Clone) -> Option<f64> {
    let mut count = 0.0;
    let mut mean = [0.0; 4];
    let columns = |[x, y, z]: [f64; 3]| [x, y, (x * x + y * y + z * z) / 20.0, z];
    for point in points.clone() {
        count += 1.0;
        for (sum, value) in mean.iter_mut().zip(columns(point)) {
            *sum += value;
        }
    }
    if count < 5.0 {
        return None;
    }
    let mean = mean.map(|sum| sum / count);
    // Normal equations of the centred columns; the last column is the right-hand side.
    let mut m = [[0.0f64; 4]; 3];
    for point in points {
        let row: [f64; 4] = std::array::from_fn(|i| columns(point)[i] - mean[i]);
        for i in 0..3 {
            for j in 0..4 {
                m[i][j] += row[i] * row[j];
            }
        }
    }
    let size = [m[0][0], m[1][1], m[2][2]];
    for i in 0..3 {
        // What is left of a column after the earlier ones: nothing, when it follows from them.
        if m[i][i].is_nan() || m[i][i] <= 1e-7 * size[i].max(1.0) {
            return None;
        }
        let pivot = m[i];
        for row in m.iter_mut().skip(i + 1) {
            let share = row[i] / pivot[i];
            for (value, above) in row.iter_mut().zip(pivot) {
                *value -= share * above;
            }
        }
    }
    let k = m[2][3] / m[2][2];
    let b = (m[1][3] - m[1][2] * k) / m[1][1];
    let a = (m[0][3] - m[0][1] * b - m[0][2] * k) / m[0][0];
    let c = mean[3] - a * mean[0] - b * mean[1] - k * mean[2];
    // Complete the square with k' = k / 20: radius² = (1 + a² + b²) / 4k'² - c / k'.
    let k = k / 20.0;
    let curvature = 2.0 * k / (1.0 + a * a + b * b - 4.0 * k * c).sqrt();
    Some(-1000.0 * (TOOL_INDEX - 1.0) * curvature)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::lens::LensOrder;
    use crate::optics::power::SphereCylinder;
    use crate::optics::prism::BaseVector;
    use crate::shape::outline::Outline;

    fn lens(sphere_d: f64, front_d: f64, centre_mm: f64) -> Lens {
        Lens::new(LensOrder {
            power: SphereCylinder::sphere(sphere_d),
            prism: BaseVector::default(),
            index: 1.53,
            front_power_d: front_d,
            front_conic: 0.0,
            centre_thickness_mm: centre_mm,
        })
        .unwrap()
    }

    fn oval() -> Outline {
        Outline::from_points(
            (0..256)
                .map(|i| {
                    let (s, c) = (f64::from(i) * std::f64::consts::TAU / 256.0).sin_cos();
                    Point::new(26.0 * c, 18.0 * s)
                })
                .collect(),
        )
        .unwrap()
    }

    fn line(lens: &Lens, placement: Placement, hold: Hold, rim_d: Option<f64>) -> EdgeLine {
        let edge = Edge::of(&oval(), Point::new(2.0, 1.0), lens).unwrap();
        edge_line(&edge, Point::new(2.0, 1.0), lens, placement, hold, rim_d)
    }

    #[test]
    fn each_placement_lies_where_it_says() {
        let minus = lens(-5.0, 4.0, 2.0);
        for point in line(&minus, Placement::Share(1.0 / 3.0), Hold::USUAL_BEVEL, None).at {
            assert!((point.from_front_mm - point.edge.mm / 3.0).abs() < 1e-12);
            assert!((point.rear_overhang_mm - (point.edge.mm * 2.0 / 3.0 - 1.25)).abs() < 1e-12);
        }
        for point in line(&minus, Placement::FromFront(1.2), Hold::USUAL_BEVEL, None).at {
            assert_eq!(point.from_front_mm, 1.2);
        }
        let parallel = line(&minus, Placement::FrontCurve(0.5), Hold::USUAL_BEVEL, None);
        let first = parallel.at[0].from_front_mm;
        assert!(parallel.at.iter().all(|point| point.from_front_mm == first));
        // A line parallel to a 4.00 front (1.530) has its curve.
        assert!((parallel.curve_tool_d.unwrap() - 4.0).abs() < 1e-6, "{:?}", parallel.curve_tool_d);
        let own = line(&minus, Placement::Curve { tool_d: 6.0, share: 0.5 }, Hold::USUAL_BEVEL, None);
        assert!((own.curve_tool_d.unwrap() - 6.0).abs() < 1e-6, "{:?}", own.curve_tool_d);
    }

    #[test]
    fn a_line_in_the_middle_of_an_edge_is_curved_between_its_surfaces() {
        // Depth s1 + (t - s1 + s2)/2 = (t + s1 + s2)/2: halfway between the 4.00 front and the -9.02 back.
        let minus = lens(-5.0, 4.0, 2.0);
        let curve = line(&minus, Placement::Share(0.5), Hold::USUAL_BEVEL, None).curve_tool_d.unwrap();
        assert!((curve - 6.5).abs() < 0.2, "{curve}");
    }

    #[test]
    fn warns_of_what_would_break_out() {
        let minus = lens(-5.0, 4.0, 1.2);
        let fine = line(&minus, Placement::Share(1.0 / 3.0), Hold::USUAL_BEVEL, Some(4.0));
        assert!(
            fine.warnings.iter().all(|w| matches!(w, EdgeWarning::CurveDiffers { .. })),
            "a thick edge holds a bevel: {:?}",
            fine.warnings
        );
        let close = line(&minus, Placement::FromFront(0.2), Hold::USUAL_BEVEL, None).warnings;
        assert!(
            matches!(close[..], [EdgeWarning::BreaksFront { by_mm, .. }] if (by_mm - 0.3).abs() < 1e-9),
            "{close:?}"
        );
        let plus = lens(3.0, 8.0, 3.0);
        let thin = Edge::of(&oval(), Point::new(2.0, 1.0), &plus).unwrap().thinnest();
        let groove = line(&plus, Placement::Share(0.5), Hold::USUAL_GROOVE, None).warnings;
        assert!(
            matches!(groove[..], [EdgeWarning::Thin { deg, .. }, EdgeWarning::BreaksFront { .. }, EdgeWarning::BreaksBack { .. }] if deg == thin.deg),
            "{groove:?}"
        );
        let drilled = line(&plus, Placement::Share(0.5), Hold::Drilled, None).warnings;
        assert!(matches!(drilled[..], [EdgeWarning::Thin { least_mm: 2.0, .. }]), "{drilled:?}");
        let deep = line(&minus, Placement::FromFront(2.6), Hold::USUAL_BEVEL, None).warnings;
        assert!(matches!(deep[..], [EdgeWarning::BreaksBack { .. }]), "{deep:?}");
    }

    #[test]
    fn a_rim_of_another_curve_is_named() {
        let minus = lens(-5.0, 4.0, 2.0);
        let says = |rim_d| line(&minus, Placement::FrontCurve(0.5), Hold::USUAL_BEVEL, Some(rim_d)).warnings;
        assert_eq!(says(4.9), []);
        assert!(matches!(says(6.0)[..], [EdgeWarning::CurveDiffers { rim_d: 6.0, .. }]));
    }

    #[test]
    fn the_curve_of_points_on_a_sphere() {
        let r = 106.0; // 5.00 at 1.530
        let on_sphere = |tilt: f64| {
            (0..100).map(move |i| {
                let (s, c) = (f64::from(i) * std::f64::consts::TAU / 100.0).sin_cos();
                let (x, y) = (25.0 * c, 16.0 * s);
                let z = (r * r - x * x - y * y).sqrt() - r;
                // Seen from a tilted tracer the curve stays.
                [x * tilt.cos() + z * tilt.sin(), y, z * tilt.cos() - x * tilt.sin()]
            })
        };
        for tilt in [0.0, 0.15] {
            assert!((curve_tool_d(on_sphere(tilt)).unwrap() - 5.0).abs() < 1e-6, "{:?}", curve_tool_d(on_sphere(tilt)));
        }
        let flat = (0..50).map(|i| [f64::from(i), f64::from(i * i % 17), 3.0]);
        assert!(curve_tool_d(flat).unwrap().abs() < 1e-9);
        let ring = (0..50).map(|i| [20.0 * f64::from(i).cos(), 20.0 * f64::from(i).sin(), 3.0]);
        assert_eq!(curve_tool_d(ring), None, "every sphere passes through a circle");
    }
}
