//! The edge of a lens cut to an outline: its thickness at every point, and the centre that leaves a wanted edge.
//!
//! Angles are about the boxing centre. The lens lies with its optical centre at a place in the box; thickness is
//! parallel to its optical axis ([`crate::optics::lens`]).

use super::outline::{Outline, Point};
use crate::optics::lens::{Lens, LensError, LensOrder};

/// The thickness at one point of the outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgePoint {
    /// Where, about the boxing centre.
    pub at: Point,
    /// Its direction from the boxing centre.
    pub deg: f64,
    /// Thickness, parallel to the optical axis. Negative where the surfaces have crossed.
    pub mm: f64,
}

/// The edge of one lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Edge {
    points: Vec<EdgePoint>,
    thinnest: EdgePoint,
    thickest: EdgePoint,
}

/// A place where the edge is thinner than it must be, and what would cure it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TooThin {
    /// The thinnest place.
    pub at: EdgePoint,
    /// The least centre thickness that gives the wanted edge everywhere.
    pub centre_mm: f64,
}

impl Edge {
    /// Cuts a lens to an outline, its optical centre at `centre` in the box.
    ///
    /// # Errors
    ///
    /// [`LensError::DoesNotSpan`] when a surface does not reach a point. A toric back may reach every point of a
    /// shape and not the round blank about it: [`Lens::check_span`] asks for the blank.
    pub fn of(outline: &Outline, centre: Point, lens: &Lens) -> Result<Edge, LensError> {
        let mut points = Vec::with_capacity(outline.points().len());
        for &at in outline.points() {
            let from = at.minus(centre);
            points.push(EdgePoint { at, deg: at.angle_deg(), mm: lens.thickness_mm(from.x_mm, from.y_mm)? });
        }
        // An outline has points, so the first stands for all until another is thinner or thicker.
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

    /// Where the edge is thinner than `wanted_mm`, and the centre that would cure it; `None` where it is not.
    ///
    /// # Errors
    ///
    /// As [`lens_with_thinnest_edge`].
    pub fn too_thin(
        &self,
        outline: &Outline,
        centre: Point,
        lens: &Lens,
        wanted_mm: f64,
    ) -> Result<Option<TooThin>, LensError> {
        if self.thinnest.mm >= wanted_mm {
            return Ok(None);
        }
        let cured = lens_with_thinnest_edge(outline, centre, *lens.order(), wanted_mm)?;
        Ok(Some(TooThin { at: self.thinnest, centre_mm: cured.order().centre_thickness_mm }))
    }
}

impl TooThin {
    /// What to do about it, for a person.
    pub fn sentence(&self) -> String {
        format!(
            "The edge is {:.2} mm at {:.0}°; a centre thickness of {:.2} mm or more would cure it.",
            self.at.mm,
            self.at.deg,
            (self.centre_mm * 100.0).ceil() / 100.0
        )
    }
}

/// The farthest the outline lies from the optical centre.
pub fn reach_mm(outline: &Outline, centre: Point) -> f64 {
    outline.points().iter().map(|p| p.minus(centre).length_mm()).fold(0.0, f64::max)
}

/// The thinnest edge alone.
fn thinnest_mm(outline: &Outline, centre: Point, lens: &Lens) -> Result<f64, LensError> {
    let mut thinnest_mm = f64::INFINITY;
    for p in outline.points() {
        let from = p.minus(centre);
        thinnest_mm = thinnest_mm.min(lens.thickness_mm(from.x_mm, from.y_mm)?);
    }
    Ok(thinnest_mm)
}

/// The lens whose thinnest edge is `edge_mm`: finds its centre thickness, whatever the order says of it.
///
/// The back depends on the centre through the thick-lens formula, so this closes in by the secant rule on the exact
/// thickness, to a millionth of a millimetre.
///
/// # Errors
///
/// [`LensError::NoCentreLeft`] when the centre would have to vanish; otherwise as [`Lens::new`] and [`Edge::of`].
pub fn lens_with_thinnest_edge(
    outline: &Outline,
    centre: Point,
    order: LensOrder,
    edge_mm: f64,
) -> Result<Lens, LensError> {
    if !(0.0..=20.0).contains(&edge_mm) {
        return Err(LensError::EdgeThickness(edge_mm));
    }
    let at = |centre_mm: f64| -> Result<(Lens, f64), LensError> {
        let lens = Lens::new(LensOrder { centre_thickness_mm: centre_mm, ..order })?;
        let gap_mm = thinnest_mm(outline, centre, &lens)? - edge_mm;
        Ok((lens, gap_mm))
    };
    let mut before_mm = 2.0;
    let (_, mut gap_before_mm) = at(before_mm)?;
    // The edge grows nearly as the centre does.
    let mut now_mm = before_mm - gap_before_mm;
    for _ in 0..20 {
        if now_mm <= 0.0 {
            return Err(LensError::NoCentreLeft { edge_mm, centre_mm: now_mm });
        }
        let (lens, gap_mm) = at(now_mm)?;
        if gap_mm.abs() < 1e-6 {
            return Ok(lens);
        }
        let next_mm = now_mm - gap_mm * (now_mm - before_mm) / (gap_mm - gap_before_mm);
        (before_mm, gap_before_mm, now_mm) = (now_mm, gap_mm, next_mm);
        if !now_mm.is_finite() {
            break;
        }
    }
    Err(LensError::CentreThickness(now_mm))
}
