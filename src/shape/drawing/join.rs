//! Pieces to closed lines: ends that meet are joined.

use super::DrawingRefused;
use super::curve::Polyline;
use crate::shape::outline::Point;

/// Ends within this are the same point, mm.
pub(super) const MEET_MM: f64 = 0.05;
/// The most pieces that are joined: each is compared with all the others. A lens has at most 10,000 points.
const MOST_OPEN: usize = 12_000;

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
