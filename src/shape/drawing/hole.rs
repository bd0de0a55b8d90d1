//! The holes of a drilled mount among the closed lines of a drawing: circles, and slots with round ends.

use crate::shape::hole::{DIAMETERS_MM, Hole, MOST_HOLES};
use crate::shape::outline::{Point, edges, extent};

/// The longest way from one end of a slot to the other, mm.
const LONGEST_SLOT_MM: f64 = 20.0;
/// A hole whose ends are nearer than this is round, mm.
const ROUND_MM: f64 = 0.05;
/// A line may leave the border of a hole by this, mm: curves are flattened, and drawn by hand.
const OFF_MM: f64 = 0.05;
/// A round line nearer to the middle of the box marks it, or the pupil, mm: a mount is drilled near the edge.
const LEAST_FROM_MIDDLE_MM: f64 = 8.0;

/// The hole that a closed line is, if it is one.
pub(super) fn hole_of(line: &[Point]) -> Option<Hole> {
    let along = Point::polar(1.0, direction_deg(line));
    let turned: Vec<Point> = line.iter().map(|p| Point::new(dot(*p, along), along.cross(*p))).collect();
    let (low, high) = extent(&turned);
    let (long_mm, wide_mm) = (high.x_mm - low.x_mm, high.y_mm - low.y_mm);
    let middle = Point::new((low.x_mm + high.x_mm) / 2.0, (low.y_mm + high.y_mm) / 2.0);
    let half_mm = if long_mm - wide_mm < ROUND_MM { 0.0 } else { (long_mm - wide_mm) / 2.0 };
    // The points of a circle lie on it, the sides between them do not.
    let from_middle_mm = turned.iter().map(|p| p.minus(middle).length_mm()).sum::<f64>() / turned.len() as f64;
    let diameter_mm = if half_mm == 0.0 { 2.0 * from_middle_mm } else { wide_mm };
    let off_mm = |p: Point| {
        let past_mm = ((p.x_mm - middle.x_mm).abs() - half_mm).max(0.0);
        (past_mm.hypot(p.y_mm - middle.y_mm) - diameter_mm / 2.0).abs()
    };
    if !DIAMETERS_MM.contains(&diameter_mm)
        || 2.0 * half_mm > LONGEST_SLOT_MM
        || edges(&turned).any(|(p, q)| off_mm(p).max(off_mm(half_way(p, q))) > OFF_MM)
    {
        return None;
    }
    let back = |x_mm: f64| {
        Point::new(x_mm * along.x_mm - middle.y_mm * along.y_mm, x_mm * along.y_mm + middle.y_mm * along.x_mm)
    };
    let ends = (back(middle.x_mm - half_mm), back(middle.x_mm + half_mm));
    Some(Hole { at: ends.0, slot_end: (half_mm > 0.0).then_some(ends.1), diameter_mm })
}

/// The holes of a lens whose box has this middle, each once; a slot begins at the end that is nearer to the side of the box.
/// Too many are none.
pub(super) fn of_a_mount(holes: &[Hole], middle: Point) -> Vec<Hole> {
    let mut kept: Vec<Hole> = Vec::new();
    for hole in holes.iter().filter(|hole| hole.at.minus(middle).length_mm() > LEAST_FROM_MIDDLE_MM) {
        let from_middle_mm = |p: Point| (p.x_mm - middle.x_mm).abs();
        let hole = match hole.slot_end {
            Some(end) if from_middle_mm(end) > from_middle_mm(hole.at) => {
                Hole { at: end, slot_end: Some(hole.at), ..*hole }
            }
            _ => *hole,
        };
        let is_near = |p: Point, q: Point| p.minus(q).length_mm() < ROUND_MM;
        if !kept.iter().any(|other| is_near(other.at, hole.at) && is_near(other.end(), hole.end())) {
            kept.push(hole);
        }
        // More small round lines are an ornament.
        if kept.len() > MOST_HOLES {
            return Vec::new();
        }
    }
    kept.sort_by(|a, b| {
        (a.at.x_mm, -a.at.y_mm).partial_cmp(&(b.at.x_mm, -b.at.y_mm)).unwrap_or(std::cmp::Ordering::Equal)
    });
    kept
}

/// The direction in which a closed line is longest: that of the second moments of its sides.
fn direction_deg(line: &[Point]) -> f64 {
    let sides: Vec<(f64, Point)> = edges(line).map(|(p, q)| (q.minus(p).length_mm(), half_way(p, q))).collect();
    let sum = |of: &dyn Fn(Point) -> f64| sides.iter().map(|(length_mm, at)| length_mm * of(*at)).sum::<f64>();
    let whole = sum(&|_| 1.0);
    let mean = Point::new(sum(&|p| p.x_mm) / whole, sum(&|p| p.y_mm) / whole);
    let (xx, yy) = (sum(&|p| (p.x_mm - mean.x_mm).powi(2)), sum(&|p| (p.y_mm - mean.y_mm).powi(2)));
    let xy = sum(&|p| (p.x_mm - mean.x_mm) * (p.y_mm - mean.y_mm));
    (2.0 * xy).atan2(xx - yy).to_degrees() / 2.0
}

fn half_way(p: Point, q: Point) -> Point {
    Point::new((p.x_mm + q.x_mm) / 2.0, (p.y_mm + q.y_mm) / 2.0)
}

fn dot(p: Point, q: Point) -> f64 {
    p.x_mm * q.x_mm + p.y_mm * q.y_mm
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A slot with round ends at any angle, or a circle.
    fn border(at: Point, end: Point, diameter_mm: f64, steps: i32) -> Vec<Point> {
        let way_deg = if end == at { 0.0 } else { end.minus(at).angle_deg() };
        let half = |center: Point, from_deg: f64| {
            (0..=steps).map(move |i| {
                center.plus(Point::polar(diameter_mm / 2.0, from_deg + 180.0 * f64::from(i) / f64::from(steps)))
            })
        };
        half(end, way_deg - 90.0).chain(half(at, way_deg + 90.0)).collect()
    }

    #[test]
    fn circles_and_slots_are_holes() {
        for (end, diameter_mm) in
            [((-20.0, 2.0), 1.4), ((-18.0, 2.0), 1.4), ((-19.0, 4.5), 1.2), ((-20.0, 5.0), 1.0), ((-20.0, 2.0), 5.0)]
        {
            let (at, end) = (Point::new(-20.0, 2.0), Point::new(end.0, end.1));
            for steps in [18, 60] {
                let hole = hole_of(&border(at, end, diameter_mm, steps)).unwrap();
                let found = [hole.at, hole.end()];
                let near = |p: Point| found.iter().any(|q| q.minus(p).length_mm() < 0.01);
                assert!(near(at) && near(end), "{hole:?}");
                assert!(
                    (hole.diameter_mm - diameter_mm).abs() < 0.01 && hole.slot_end.is_some() == (at != end),
                    "{hole:?}"
                );
            }
        }
    }

    #[test]
    fn other_lines_are_not() {
        let square = [(0.0, 0.0), (1.4, 0.0), (1.4, 1.4), (0.0, 1.4)].map(|(x, y)| Point::new(x, y));
        assert_eq!(hole_of(&square), None);
        let at = Point::ORIGIN;
        assert_eq!(hole_of(&border(at, at, 0.3, 20)), None, "a dot");
        assert_eq!(hole_of(&border(at, at, 9.0, 60)), None, "a ring");
        assert_eq!(hole_of(&border(at, Point::new(30.0, 0.0), 1.0, 20)), None, "a line with a width");
        let ellipse: Vec<Point> = border(at, at, 2.0, 30).iter().map(|p| Point::new(p.x_mm * 1.5, p.y_mm)).collect();
        assert_eq!(hole_of(&ellipse), None);
        assert_eq!(hole_of(&[at, at, at]), None);
    }

    #[test]
    fn each_hole_is_kept_once_and_a_slot_begins_at_the_side() {
        let hole = |x_mm: f64| Hole { at: Point::new(x_mm, 0.0), slot_end: None, diameter_mm: 1.4 };
        let slot = Hole { slot_end: Some(Point::new(20.0, 0.0)), ..hole(18.0) };
        let kept = of_a_mount(&[hole(-20.0), slot, hole(-20.0)], Point::ORIGIN);
        assert_eq!(kept, [hole(-20.0), Hole { slot_end: Some(Point::new(18.0, 0.0)), ..hole(20.0) }]);
        assert!(of_a_mount(&[hole(0.0), hole(-4.0)], Point::ORIGIN).is_empty(), "marks of the center and the pupil");
        let many: Vec<Hole> = (10..23).map(|i| hole(f64::from(i))).collect();
        assert!(of_a_mount(&many, Point::ORIGIN).is_empty());
    }
}
