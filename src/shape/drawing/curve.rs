//! Curves as short straight pieces, none of them further from the curve than [`super::FLAT_MM`].

use std::f64::consts::TAU;

use super::{DrawingRefused, FLAT_MM, MOST_PIECES};
use crate::shape::outline::Point;

/// The most pieces of one curve.
const MOST_PARTS: f64 = 20_000.0;

/// A line that is being drawn.
pub(super) type Polyline = Vec<Point>;

/// A Bézier curve of any degree. The number of pieces follows from its second differences (Wang's bound).
pub(super) fn bezier(control: &[Point], line: &mut Polyline) {
    let degree = control.len().saturating_sub(1) as f64;
    let bend = control
        .windows(3)
        .map(|w| Point::new(w[0].x_mm - 2.0 * w[1].x_mm + w[2].x_mm, w[0].y_mm - 2.0 * w[1].y_mm + w[2].y_mm))
        .map(Point::length_mm)
        .fold(0.0, f64::max);
    let parts = (degree * (degree - 1.0) / 8.0 * bend / FLAT_MM).sqrt().ceil().clamp(1.0, MOST_PARTS) as usize;
    line.extend((1..=parts).map(|i| at(control, i as f64 / parts as f64)));
}

/// De Casteljau's construction.
fn at(control: &[Point], share: f64) -> Point {
    let mut points = control.to_vec();
    while points.len() > 1 {
        points = points.windows(2).map(|w| between(w[0], w[1], share)).collect();
    }
    points.first().copied().unwrap_or_default()
}

fn between(p: Point, q: Point, share: f64) -> Point {
    Point::new(p.x_mm + share * (q.x_mm - p.x_mm), p.y_mm + share * (q.y_mm - p.y_mm))
}

/// An arc of an ellipse: its center, the end of its first axis from there, the length of the second as a part of it, and
/// the range of the parameter, counter-clockwise.
pub(super) fn arc(center: Point, axis: Point, ratio: f64, from: f64, to: f64) -> Polyline {
    let sweep = if to > from { to - from } else { to - from + TAU };
    let longest = axis.length_mm() * ratio.abs().max(1.0);
    // The sagitta of a chord: r (1 - cos(step / 2)).
    let step = 2.0 * (1.0 - (FLAT_MM / longest.max(FLAT_MM)).min(1.0)).acos().max(1e-4);
    let parts = (sweep / step).ceil().clamp(2.0, MOST_PARTS) as usize;
    let point = |i: usize| {
        let (sin, cos) = (from + sweep * i as f64 / parts as f64).sin_cos();
        center.plus(Point::new(axis.x_mm * cos - axis.y_mm * ratio * sin, axis.y_mm * cos + axis.x_mm * ratio * sin))
    };
    (0..=parts).map(point).collect()
}

/// The arc between two points whose bulge is the tangent of a quarter of its angle, positive counter-clockwise (DXF).
pub(super) fn bulge(p: Point, q: Point, bulge: f64, line: &mut Polyline) {
    let chord = q.minus(p);
    if bulge.abs() < 1e-9 || chord.length_mm() < 1e-9 {
        line.push(q);
        return;
    }
    // From the middle of the chord to the center, to the left of the chord for a small positive bulge.
    let off = (1.0 / bulge - bulge) / 4.0;
    let center = between(p, q, 0.5).plus(Point::new(-chord.y_mm * off, chord.x_mm * off));
    let (from, to) = (p.minus(center), q.minus(center));
    let (start, end) = (from.y_mm.atan2(from.x_mm), to.y_mm.atan2(to.x_mm));
    let axis = Point::new(from.length_mm(), 0.0);
    let mut points = if bulge > 0.0 { arc(center, axis, 1.0, start, end) } else { arc(center, axis, 1.0, end, start) };
    if bulge < 0.0 {
        points.reverse();
    }
    line.extend(points.into_iter().skip(1));
    // The end exactly, so that the next piece meets it.
    line.pop();
    line.push(q);
}

/// A B-spline with knots and weights (de Boor), sampled in each span until it is flat. One that is too long stops: [`DrawnLines`]
/// refuses it.
pub(super) fn spline(degree: usize, knots: &[f64], control: &[Point], weights: &[f64]) -> Option<Polyline> {
    let count = control.len();
    let is_rational = weights.len() == count && weights.iter().all(|w| *w > 0.0);
    let is_sorted = knots.windows(2).all(|w| w[0] <= w[1]);
    if degree == 0 || degree > 10 || count <= degree || knots.len() != count + degree + 1 || !is_sorted {
        return None;
    }
    let weight = |i: usize| if is_rational { weights[i] } else { 1.0 };
    let mut line = Vec::new();
    for span in degree..count {
        let (from, to) = (knots[span], knots[span + 1]);
        if to <= from {
            continue;
        }
        if line.len() > MOST_PIECES {
            break;
        }
        let around = &control[span - degree..=span];
        let reach: f64 = around.windows(2).map(|w| w[1].minus(w[0]).length_mm()).sum();
        // A piece of a smooth curve is off by at most its length over eight times the count of pieces.
        let parts = (reach / (8.0 * FLAT_MM)).sqrt().ceil().clamp(4.0, 400.0) as usize * 2;
        let first = usize::from(!line.is_empty());
        for i in first..=parts {
            let u = from + (to - from) * i as f64 / parts as f64;
            line.push(de_boor(degree, span, u, knots, control, &weight));
        }
    }
    (line.len() > 1).then_some(line)
}

fn de_boor(
    degree: usize,
    span: usize,
    u: f64,
    knots: &[f64],
    control: &[Point],
    weight: &impl Fn(usize) -> f64,
) -> Point {
    let start = span - degree;
    let mut points: Vec<(f64, f64, f64)> =
        (start..=span).map(|i| (control[i].x_mm * weight(i), control[i].y_mm * weight(i), weight(i))).collect();
    for round in 1..=degree {
        for i in (round..=degree).rev() {
            let (low, high) = (knots[start + i], knots[start + i + degree + 1 - round]);
            let share = if high > low { (u - low) / (high - low) } else { 0.0 };
            let (p, q) = (points[i - 1], points[i]);
            let mix = |a: f64, b: f64| a + share * (b - a);
            points[i] = (mix(p.0, q.0), mix(p.1, q.1), mix(p.2, q.2));
        }
    }
    let (x, y, w) = points[degree];
    Point::new(x / w, y / w)
}

/// The lines of a drawing so far, counted, so that it is refused before it fills the memory.
#[derive(Default)]
pub(super) struct DrawnLines {
    pub(super) lines: Vec<Polyline>,
    pieces: usize,
}

impl DrawnLines {
    pub(super) fn add(&mut self, lines: impl IntoIterator<Item = Polyline>) -> Result<(), DrawingRefused> {
        for line in lines {
            self.pieces += line.len();
            if self.pieces > MOST_PIECES {
                return Err(DrawingRefused::TooMany);
            }
            self.lines.push(line);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Control points that fly to and fro, so that each span comes to as many pieces as one can.
    #[test]
    fn a_spline_stops_soon_after_it_is_too_long() {
        let control: Vec<Point> = (0..8_000).map(|i| Point::new(f64::from(i % 2) * 1e8, 0.0)).collect();
        let knots: Vec<f64> = (0..8_004).map(f64::from).collect();
        let line = spline(3, &knots, &control, &[]).unwrap();
        assert!((MOST_PIECES + 1..=MOST_PIECES + 801).contains(&line.len()), "{} points", line.len());
        let mut drawn = DrawnLines::default();
        assert_eq!(drawn.add([line]), Err(DrawingRefused::TooMany));
        assert!(drawn.lines.is_empty());
    }

    fn off_circle(line: &[Point], radius: f64) -> f64 {
        let middles = line.windows(2).map(|w| between(w[0], w[1], 0.5));
        line.iter().copied().chain(middles).map(|p| (p.length_mm() - radius).abs()).fold(0.0, f64::max)
    }

    #[test]
    fn curves_are_flat_to_five_thousandths() {
        assert!(off_circle(&arc(Point::ORIGIN, Point::new(25.0, 0.0), 1.0, 0.0, TAU), 25.0) <= FLAT_MM);
        // A quarter circle as a cubic: 0.5523 of the radius, off by 0.00027 of it (textbook).
        let k = 0.552_284_75 * 25.0;
        let quarter = [(25.0, 0.0), (25.0, k), (k, 25.0), (0.0, 25.0)].map(|(x, y)| Point::new(x, y));
        let mut line = vec![quarter[0]];
        bezier(&quarter, &mut line);
        assert!(off_circle(&line, 25.0) <= FLAT_MM + 25.0 * 0.000_28, "{}", off_circle(&line, 25.0));
        // Half a circle has a bulge of 1 (tan 45°), the other way -1.
        for (sign, y) in [(1.0, -1.0), (-1.0, 1.0)] {
            let (p, q) = (Point::new(-25.0, 0.0), Point::new(25.0, 0.0));
            let mut line = vec![p];
            bulge(p, q, sign, &mut line);
            assert!(off_circle(&line, 25.0) <= FLAT_MM && line[line.len() / 2].y_mm * y > 20.0);
        }
    }

    #[test]
    fn a_rational_spline_is_an_exact_quarter_circle() {
        // Degree 2, weight cos 45° in the middle (textbook).
        let control = [(25.0, 0.0), (25.0, 25.0), (0.0, 25.0)].map(|(x, y)| Point::new(x, y));
        let knots = [0.0, 0.0, 0.0, 1.0, 1.0, 1.0];
        let line = spline(2, &knots, &control, &[1.0, std::f64::consts::FRAC_1_SQRT_2, 1.0]).unwrap();
        assert!(off_circle(&line, 25.0) <= FLAT_MM, "{}", off_circle(&line, 25.0));
        assert!(spline(2, &knots[1..], &control, &[]).is_none());
        assert!(spline(2, &[0.0, 0.0, 0.0, f64::NAN, 1.0, 1.0], &control, &[]).is_none());
    }
}
