//! The edge of a lens cut to an outline: its thickness at every point, and the center thickness for a wanted edge.
//!
//! Angles are about the boxing center. The optical center of the lens is given as a point in the box. Thickness is
//! parallel to the optical axis ([`crate::optics::lens`]).

use super::boxing::farthest_mm;
use super::outline::{Outline, Point};
use crate::optics::lens::{Lens, LensError, LensOrder};

/// The thickness at one point of the outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgePoint {
    /// The point, from the boxing center.
    pub at: Point,
    /// Its direction from the boxing center.
    pub deg: f64,
    /// Thickness, parallel to the optical axis. Negative where the surfaces cross.
    pub mm: f64,
}

/// The edge of one lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Edge {
    points: Vec<EdgePoint>,
    thinnest: EdgePoint,
    thickest: EdgePoint,
}

/// An edge that is thinner than wanted, and the center thickness that would fix it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TooThin {
    /// The thinnest point.
    pub at: EdgePoint,
    /// The least center thickness that gives the wanted edge everywhere.
    pub center_mm: f64,
}

impl Edge {
    /// Cuts a lens to an outline, its optical center at `center` in the box.
    ///
    /// # Errors
    ///
    /// [`LensError::DoesNotSpan`] when a surface does not reach a point. A toric back may reach every point of the
    /// shape but not the whole round blank; [`Lens::check_span`] checks the blank.
    pub fn of(outline: &Outline, center: Point, lens: &Lens) -> Result<Edge, LensError> {
        let mut points = Vec::with_capacity(outline.points().len());
        for &at in outline.points() {
            let from = at.minus(center);
            points.push(EdgePoint { at, deg: at.angle_deg(), mm: lens.thickness_mm(from.x_mm, from.y_mm)? });
        }
        // An outline always has points; this value is never used.
        let nowhere = EdgePoint { at: Point::ORIGIN, deg: 0.0, mm: f64::NAN };
        let mut thinnest = points.first().copied().unwrap_or(nowhere);
        let mut thickest = thinnest;
        for &point in &points {
            if point.mm < thinnest.mm {
                thinnest = point;
            }
            if point.mm > thickest.mm {
                thickest = point;
            }
        }
        Ok(Edge { points, thinnest, thickest })
    }

    /// Every point of the outline, in its order.
    pub fn points(&self) -> &[EdgePoint] {
        &self.points
    }

    /// The thinnest of them.
    pub fn thinnest(&self) -> EdgePoint {
        self.thinnest
    }

    /// The thickest of them.
    pub fn thickest(&self) -> EdgePoint {
        self.thickest
    }

    /// The thinnest point and the center thickness that would fix it, if the edge is thinner than `wanted_mm`.
    ///
    /// # Errors
    ///
    /// As [`lens_with_thinnest_edge`].
    pub fn too_thin(
        &self,
        outline: &Outline,
        center: Point,
        lens: &Lens,
        wanted_mm: f64,
    ) -> Result<Option<TooThin>, LensError> {
        if self.thinnest.mm >= wanted_mm {
            return Ok(None);
        }
        let thicker = lens_with_thinnest_edge(outline, center, *lens.order(), wanted_mm)?;
        Ok(Some(TooThin { at: self.thinnest, center_mm: thicker.order().center_thickness_mm }))
    }
}

impl TooThin {
    /// The fault and what to do about it.
    pub fn sentence(&self) -> String {
        format!(
            "The edge is {:.2} mm at {:.0}°; use a center thickness of {:.2} mm or more.",
            self.at.mm,
            self.at.deg,
            (self.center_mm * 100.0).ceil() / 100.0
        )
    }
}

/// The longest distance from the optical center to the outline.
pub fn reach_mm(outline: &Outline, center: Point) -> f64 {
    farthest_mm(outline.points(), center)
}

/// The thickness at the thinnest of some points, given from the optical center.
fn thinnest_mm(points: &[Point], lens: &Lens) -> Result<f64, LensError> {
    points.iter().try_fold(f64::INFINITY, |least_mm, p| Ok(least_mm.min(lens.thickness_mm(p.x_mm, p.y_mm)?)))
}

/// While the center thickness is sought, points this much thicker than the thinnest are left out, mm: the back changes
/// too little for them to become the thinnest. Whether that was so is looked at in the end.
const NEAR_THINNEST_MM: f64 = 0.1;

/// The lens whose thinnest edge is `edge_mm`. The center thickness in `order` is ignored.
///
/// The back depends on the center thickness through the thick-lens formula, so this iterates by the secant method,
/// to a millionth of a millimeter.
///
/// # Errors
///
/// [`LensError::NoCenterLeft`] when no center thickness would be left; otherwise as [`Lens::new`] and [`Edge::of`].
pub fn lens_with_thinnest_edge(
    outline: &Outline,
    center: Point,
    order: LensOrder,
    edge_mm: f64,
) -> Result<Lens, LensError> {
    let first = Lens::new(LensOrder { center_thickness_mm: FIRST_CENTER_MM, ..order })?;
    Cut::of(outline, center, &first)?.thinned_to(order, edge_mm)
}

/// `usual`, or where its edge is thinner than that somewhere, the lens whose thinnest edge is `least_edge_mm`.
///
/// # Errors
///
/// As [`Lens::new`] and [`lens_with_thinnest_edge`].
pub(super) fn lens_with_least_edge(
    outline: &Outline,
    center: Point,
    usual: LensOrder,
    least_edge_mm: f64,
) -> Result<Lens, LensError> {
    let lens = Lens::new(usual)?;
    let cut = Cut::of(outline, center, &lens)?;
    match cut.thinnest_mm() >= least_edge_mm {
        true => Ok(lens),
        false => cut.thinned_to(usual, least_edge_mm),
    }
}

/// The corners of an outline, from the optical center of a lens cut to it, with its thickness at each.
struct Cut(Vec<(Point, f64)>);

impl Cut {
    fn of(outline: &Outline, center: Point, lens: &Lens) -> Result<Self, LensError> {
        let at = |point: &Point| {
            let from = point.minus(center);
            Ok((from, lens.thickness_mm(from.x_mm, from.y_mm)?))
        };
        outline.points().iter().map(at).collect::<Result<_, _>>().map(Self)
    }

    fn thinnest_mm(&self) -> f64 {
        self.0.iter().map(|(_, mm)| *mm).fold(f64::INFINITY, f64::min)
    }

    /// The lens whose thinnest edge is `edge_mm`.
    fn thinned_to(&self, order: LensOrder, edge_mm: f64) -> Result<Lens, LensError> {
        if !(0.0..=20.0).contains(&edge_mm) {
            return Err(LensError::EdgeThickness(edge_mm));
        }
        let near_mm = self.thinnest_mm() + NEAR_THINNEST_MM;
        let points = |most_mm: f64| -> Vec<Point> {
            self.0.iter().filter(|(_, mm)| *mm <= most_mm).map(|(point, _)| *point).collect()
        };
        let lens = seek(&points(near_mm), order, edge_mm)?;
        let all = points(f64::INFINITY);
        match thinnest_mm(&all, &lens)? >= edge_mm - CLOSE_MM {
            true => Ok(lens),
            false => seek(&all, order, edge_mm),
        }
    }
}

/// The center thickness that is tried first.
const FIRST_CENTER_MM: f64 = 2.0;
/// An edge that is off by less is the wanted one.
const CLOSE_MM: f64 = 1e-6;

/// The lens that is `edge_mm` thick at the thinnest of some points, given from the optical center.
fn seek(points: &[Point], order: LensOrder, edge_mm: f64) -> Result<Lens, LensError> {
    let at = |center_mm: f64| -> Result<(Lens, f64), LensError> {
        let lens = Lens::new(LensOrder { center_thickness_mm: center_mm, ..order })?;
        let gap_mm = thinnest_mm(points, &lens)? - edge_mm;
        Ok((lens, gap_mm))
    };
    let mut before_mm = FIRST_CENTER_MM;
    let (_, mut gap_before_mm) = at(before_mm)?;
    // The edge grows nearly as much as the center.
    let mut now_mm = before_mm - gap_before_mm;
    for _ in 0..20 {
        if now_mm <= 0.0 {
            return Err(LensError::NoCenterLeft { edge_mm, center_mm: now_mm });
        }
        let (lens, gap_mm) = at(now_mm)?;
        if gap_mm.abs() < CLOSE_MM {
            return Ok(lens);
        }
        let next_mm = now_mm - gap_mm * (now_mm - before_mm) / (gap_mm - gap_before_mm);
        (before_mm, gap_before_mm, now_mm) = (now_mm, gap_mm, next_mm);
        if !now_mm.is_finite() {
            break;
        }
    }
    Err(LensError::CenterThickness(now_mm))
}
