//! Pieces to closed lines: ends that meet are joined.

use std::collections::HashSet;

use super::DrawingRefused;
use super::curve::Polyline;
use crate::shape::outline::Point;

/// Ends within this are the same point, mm.
pub(super) const MEET_MM: f64 = 0.05;
/// The most pieces that are joined: each is compared with all the others. A lens has at most 10,000 points.
const MOST_OPEN: usize = 12_000;

/// Lines that are drawn twice, as a program does that draws a surface and its border, once. Tells whether there were any.
pub(super) fn once(lines: Vec<Polyline>) -> (Vec<Polyline>, bool) {
    let count = lines.len();
    let mut seen = HashSet::new();
    let lines: Vec<Polyline> =
        lines.into_iter().filter(|line| line.len() < 2 || seen.insert(as_it_lies(line))).collect();
    let is_twice = lines.len() < count;
    (lines, is_twice)
}

/// The points of a line in tenths of a micrometer, the same wherever it begins and whichever way it runs.
fn as_it_lies(line: &[Point]) -> Vec<(i64, i64)> {
    let tenths = |mm: f64| (mm * 10_000.0).round() as i64;
    let mut points: Vec<(i64, i64)> = line.iter().map(|p| (tenths(p.x_mm), tenths(p.y_mm))).collect();
    points.dedup();
    let is_ring = points.len() > 3 && points.first() == points.last();
    if is_ring {
        points.pop();
        let first = (0..points.len()).min_by_key(|i| points[*i]).unwrap_or(0);
        points.rotate_left(first);
    }
    let mut back = points.clone();
    back.reverse();
    if is_ring {
        back.rotate_right(1);
    }
    points.min(back)
}

/// The closed lines among some, whose ends may lie in any order and direction.
pub(super) fn closed(lines: Vec<Polyline>) -> Result<Vec<Polyline>, DrawingRefused> {
    let (mut done, mut open): (Vec<Polyline>, Vec<Polyline>) =
        lines.into_iter().filter(|line| line.len() > 1).partition(|line| is_closed(line));
    if open.len() > MOST_OPEN {
        return Err(DrawingRefused::TooMany);
    }
    while let Some(mut line) = open.pop() {
        while !is_closed(&line) {
            let Some(end) = line.last().copied() else { break };
            let near = |other: &Polyline| other.first().into_iter().chain(other.last()).any(|p| meets(*p, end));
            let Some(next) = open.iter().position(near) else { break };
            if open.iter().filter(|other| near(other) && !is_short(other)).count() > 1 {
                return Err(DrawingRefused::Branch(end.x_mm, end.y_mm));
            }
            let mut next = open.swap_remove(next);
            if !next.first().is_some_and(|first| meets(*first, end)) {
                next.reverse();
            }
            line.extend(next.into_iter().skip(1));
        }
        if is_closed(&line) {
            done.push(line);
        }
    }
    Ok(done.into_iter().map(without_repeats).filter(|line| line.len() > 2).collect())
}

fn meets(p: Point, q: Point) -> bool {
    p.minus(q).length_mm() <= MEET_MM
}

/// Pieces about as short as [`MEET_MM`] all have an end near one point, so they are no branch.
fn is_short(line: &Polyline) -> bool {
    line.first().zip(line.last()).is_some_and(|(first, last)| first.minus(*last).length_mm() < 4.0 * MEET_MM)
}

fn is_closed(line: &[Point]) -> bool {
    line.len() > 3 && line.first().zip(line.last()).is_some_and(|(first, last)| meets(*first, *last))
}

/// Without the last point, which is the first one, and without points that repeat the one before.
fn without_repeats(line: Polyline) -> Polyline {
    let mut points: Polyline = Vec::with_capacity(line.len());
    for point in line {
        if points.last().is_none_or(|last| point.minus(*last).length_mm() > 1e-6) {
            points.push(point);
        }
    }
    if points.len() > 1 && points.first().zip(points.last()).is_some_and(|(first, last)| meets(*first, *last)) {
        points.pop();
    }
    points
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_drawn_twice_is_there_once() {
        let corners = [(0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0)].map(|(x, y)| Point::new(x, y));
        let ring = |start: usize| (0..=4).map(|i| corners[(start + i) % 4]).collect::<Vec<Point>>();
        let mut back = ring(2);
        back.reverse();
        assert_eq!(once(vec![ring(0), ring(3), back, ring(0)]), (vec![ring(0)], true));
        let side = |i: usize, j: usize| vec![corners[i], corners[j]];
        let (sides, is_twice) = once(vec![side(0, 1), side(1, 2), side(2, 3), side(3, 0), side(2, 1), side(0, 1)]);
        assert!(is_twice && sides.len() == 4 && closed(sides).unwrap().len() == 1);
        let moved: Vec<Point> = ring(0).iter().map(|p| p.plus(Point::new(0.001, 0.0))).collect();
        assert!(!once(vec![ring(0), moved, side(0, 2), side(1, 3)]).1, "nearly the same is not the same");
    }

    #[test]
    fn sides_in_any_order_are_one_line() {
        let corners = [(0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0)].map(|(x, y)| Point::new(x, y));
        let side = |i: usize, j: usize| vec![corners[i], corners[j]];
        let found = closed(vec![side(0, 1), side(3, 2), side(1, 2), side(0, 3)]).unwrap();
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].len(), 4);
        assert_eq!(closed(vec![side(0, 1), side(1, 2), side(2, 3)]), Ok(Vec::new()));
        // A line across, from corner to corner: either half would be a lens.
        let across = closed(vec![side(0, 1), side(1, 2), side(2, 3), side(3, 0), side(0, 2)]);
        assert!(matches!(across, Err(DrawingRefused::Branch(..))), "{across:?}");
        assert_eq!(closed(vec![side(0, 1); MOST_OPEN + 1]), Err(DrawingRefused::TooMany));
    }
}
