//! The smooth line through points, for a spline that is given by the points it passes alone.
//!
//! A cubic runs from each point to the next, with one curvature where two meet (textbook). What else makes the line is not in the
//! file: the parameter is the length of the chords, and an end has no curvature, or the direction that it states and the speed
//! of the parameter. So the documentation of the library ezdxf 1.4 says of programs that draw (`fit_points_to_cad_cv`). That a
//! closed line closes smoothly is from memory. Other choices give nearly the same line through points that are near each
//! other; where they do not, it is refused.

use super::curve::{Polyline, bezier};
use super::{DrawingRefused, MOST_PIECES};
use crate::shape::outline::Point;

/// How far apart the choices of programs may draw a line, mm.
const UNSURE_MM: f64 = 0.05;
/// How many points a closed line is run on past its ends. What an end does fades to a quarter from point to point.
const AROUND: usize = 20;
/// Places on each piece where two lines are compared.
const PLACES: usize = 4;

/// What is known of the ends of a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Ends {
    /// They meet, and the line closes smoothly.
    Closed,
    /// The directions of the two ends, where they are stated.
    Open(Option<Point>, Option<Point>),
}

/// Why there is no line.
#[derive(Debug, PartialEq)]
pub(super) enum NoLine {
    /// Programs draw other lines through so few points, up to this far apart, mm.
    Unsure(f64),
    Refused(DrawingRefused),
}

/// The line through points.
///
/// # Errors
///
/// [`NoLine`].
pub(super) fn through(points: &[Point], ends: Ends) -> Result<Polyline, NoLine> {
    let mut apart = points.to_vec();
    apart.dedup_by(|next, last| next.minus(*last).length_mm() < 1e-9);
    let meet = apart.len() > 1 && apart[0].minus(apart[apart.len() - 1]).length_mm() < 1e-9;
    if ends == Ends::Closed && meet {
        apart.pop();
    }
    if apart.len() < 3 {
        return Ok(apart);
    }
    let chosen = pieces(&apart, ends, 1.0);
    let mut others = vec![pieces(&apart, ends, 0.5)];
    // Ends that meet may be closed smoothly.
    if ends == Ends::Open(None, None) && meet {
        others.push(pieces(&apart[1..], Ends::Closed, 1.0));
        others[1].rotate_right(1);
    }
    let unsure_mm = others.iter().map(|other| farthest_mm(&chosen, other)).fold(0.0, f64::max);
    if unsure_mm > UNSURE_MM {
        return Err(NoLine::Unsure(unsure_mm));
    }
    let mut line = vec![apart[0]];
    for piece in &chosen {
        bezier(piece, &mut line);
        if line.len() > MOST_PIECES {
            return Err(NoLine::Refused(DrawingRefused::TooMany));
        }
    }
    Ok(line)
}

/// The four points of a Bézier curve.
type BezierPoints = [Point; 4];

/// The pieces from point to point. The parameter grows by the length of each chord to this power: 1, or 0.5 (centripetal).
fn pieces(points: &[Point], ends: Ends, power: f64) -> Vec<BezierPoints> {
    let count = points.len();
    let Ends::Closed = ends else { return open_pieces(points, ends, power) };
    let past = |i: usize| points[(i + count * AROUND - AROUND) % count];
    let around: Vec<Point> = (0..=count + 2 * AROUND).map(past).collect();
    let pieces = open_pieces(&around, Ends::Open(None, None), power);
    pieces[AROUND..AROUND + count].to_vec()
}

fn open_pieces(points: &[Point], ends: Ends, power: f64) -> Vec<BezierPoints> {
    let spans: Vec<f64> = points.windows(2).map(|w| w[1].minus(w[0]).length_mm().powf(power)).collect();
    let slopes = slopes(points, &spans, ends);
    let piece = |(i, span): (usize, &f64)| {
        let (from, to) = (points[i], points[i + 1]);
        [from, from.plus(slopes[i].times(span / 3.0)), to.minus(slopes[i + 1].times(span / 3.0)), to]
    };
    spans.iter().enumerate().map(piece).collect()
}

/// The derivative at each point: a tridiagonal system, solved from one end to the other and back (textbook).
fn slopes(points: &[Point], spans: &[f64], ends: Ends) -> Vec<Point> {
    let last = spans.len();
    let rate = |i: usize| points[i + 1].minus(points[i]).times(1.0 / (spans[i] * spans[i]));
    let stated = match ends {
        Ends::Open(first, second) => [first, second],
        Ends::Closed => [None, None],
    };
    // In a row: what stands before, at and after the diagonal, and the right side.
    let row = |i: usize| match i {
        0 => stated[0].map_or_else(
            || (0.0, 2.0 / spans[0], 1.0 / spans[0], rate(0).times(3.0)),
            |stated| (0.0, 1.0, 0.0, stated.times(speed(points, spans, 0) / stated.length_mm())),
        ),
        _ if i == last => stated[1].map_or_else(
            || (1.0 / spans[i - 1], 2.0 / spans[i - 1], 0.0, rate(i - 1).times(3.0)),
            |stated| (0.0, 1.0, 0.0, stated.times(speed(points, spans, i - 1) / stated.length_mm())),
        ),
        _ => {
            let (before, after) = (1.0 / spans[i - 1], 1.0 / spans[i]);
            (before, 2.0 * (before + after), after, rate(i - 1).plus(rate(i)).times(3.0))
        }
    };
    let mut slopes: Vec<Point> = Vec::with_capacity(points.len());
    let mut shares: Vec<f64> = Vec::with_capacity(points.len());
    for i in 0..points.len() {
        let (before, at, after, right) = row(i);
        let (share, slope) = match i {
            0 => (0.0, Point::ORIGIN),
            _ => (shares[i - 1], slopes[i - 1]),
        };
        let pivot = at - before * share;
        shares.push(after / pivot);
        slopes.push(right.minus(slope.times(before)).times(1.0 / pivot));
    }
    for i in (0..last).rev() {
        slopes[i] = slopes[i].minus(slopes[i + 1].times(shares[i]));
    }
    slopes
}

/// The speed at an end that states its direction: that of the parameter along the chord there.
fn speed(points: &[Point], spans: &[f64], chord: usize) -> f64 {
    points[chord + 1].minus(points[chord]).length_mm() / spans[chord]
}

/// The farthest that places of one line are from the other, piece by piece.
fn farthest_mm(pieces: &[BezierPoints], others: &[BezierPoints]) -> f64 {
    let gap = |(piece, other): (&BezierPoints, &BezierPoints)| {
        let line: Vec<Point> = (0..=4 * PLACES).map(|i| at(other, i as f64 / (4 * PLACES) as f64)).collect();
        let nearest = |p: Point| {
            let to_side = |w: &[Point]| crate::shape::nearest::Side::of(w[0], w[1]).distance_mm2(p);
            line.windows(2).map(to_side).fold(f64::INFINITY, f64::min).sqrt()
        };
        (1..PLACES).map(|i| nearest(at(piece, i as f64 / PLACES as f64))).fold(0.0, f64::max)
    };
    pieces.iter().zip(others).map(gap).fold(0.0, f64::max)
}

/// Bernstein's form.
fn at(piece: &BezierPoints, t: f64) -> Point {
    let s = 1.0 - t;
    let weights = [s * s * s, 3.0 * s * s * t, 3.0 * s * t * t, t * t * t];
    piece.iter().zip(weights).fold(Point::ORIGIN, |sum, (point, weight)| sum.plus(point.times(weight)))
}
