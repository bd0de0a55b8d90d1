//! The distance of two shapes: the largest gap after the best alignment.
//!
//! From where the second shape lies, every point's gap to the other outline is nearly linear in a small move. The move
//! that makes the largest gap least is found by `worst_fit`, made, and the gaps are measured anew.

use super::worst_fit::{Basis, BasisRows, Equations, WorstFit};
use super::{MOST_TURN_DEG, Match, POINTS, Shape};
use crate::shape::outline::Point;

/// Moves after which the best alignment so far is taken, of each stage.
const MOST_MOVES: usize = 8;
/// First every so many points are compared, until a move can gain less than this, mm; then all of them.
const STAGES: [(usize, f64); 2] = [(4, 0.01), (1, 0.000_3)];

/// Where the second shape lies: turned about the origin and scaled, then shifted.
#[derive(Debug, Clone, Copy)]
struct TwinPose {
    turn_rad: f64,
    scale: f64,
    shift: Point,
    /// The cosine and the sine of the turn, times the scale.
    turn: Point,
    /// The same, divided by the scale instead.
    back: Point,
}

impl TwinPose {
    fn new(turn_rad: f64, scale: f64, shift: Point) -> Self {
        let limit = MOST_TURN_DEG.to_radians();
        let (turn_rad, scale) = (turn_rad.clamp(-limit, limit), scale.clamp(0.2, 5.0));
        let unit = Point::new(turn_rad.cos(), turn_rad.sin());
        Self { turn_rad, scale, shift, turn: unit.times(scale), back: unit.times(1.0 / scale) }
    }

    /// A direction of the second shape as it lies, longer by the scale.
    fn turned(&self, p: Point) -> Point {
        let turn = self.turn;
        Point::new(p.x_mm * turn.x_mm - p.y_mm * turn.y_mm, p.x_mm * turn.y_mm + p.y_mm * turn.x_mm)
    }

    /// A point of the second shape where it lies.
    fn place(&self, p: Point) -> Point {
        self.turned(p).plus(self.shift)
    }

    /// The point of the second shape that lies there.
    fn back(&self, p: Point) -> Point {
        let p = p.minus(self.shift);
        Point::new(p.dot(self.back), self.back.cross(p))
    }

    /// The pose after a further small move: across, up, a turn, a growth.
    fn moved(&self, [x, y, turn_rad, growth]: [f64; 4]) -> TwinPose {
        let step = TwinPose::new(turn_rad, 1.0 + growth, Point::new(x, y));
        TwinPose::new(self.turn_rad + step.turn_rad, self.scale * step.scale, step.place(self.shift))
    }

    fn halfway(&self, other: &TwinPose) -> TwinPose {
        let half = |one: f64, other: f64| (one + other) / 2.0;
        TwinPose::new(
            half(self.turn_rad, other.turn_rad),
            half(self.scale, other.scale),
            self.shift.plus(other.shift).times(0.5),
        )
    }

    fn is_turned_fully(&self) -> bool {
        self.turn_rad.abs() >= MOST_TURN_DEG.to_radians() - 1e-9
    }
}

/// The best alignment of the second shape with the first, or what `judge` says against it: that is told of a gap in mm which the
/// best alignment has at least, as soon as one shows.
pub(super) fn align<E>(
    first: &Shape,
    second: &Shape,
    any_size: bool,
    judge: impl Fn(f64) -> Result<(), E>,
) -> Result<Match, E> {
    let scale = if any_size { (area_mm2(first) / area_mm2(second)).sqrt() } else { 1.0 };
    let (mut best_mm, mut best) = (f64::INFINITY, TwinPose::new(0.0, scale, Point::ORIGIN));
    let mut gaps = Gaps::new();
    for (every, no_gain_mm) in STAGES {
        let (mut pose, mut deciding) = (best, None);
        best_mm = f64::INFINITY;
        for _ in 0..MOST_MOVES {
            gaps.measure(first, second, &pose, every);
            if gaps.worst_mm >= best_mm {
                // The gaps bend away from their straight estimate: half the move is better.
                pose = best.halfway(&pose);
                continue;
            }
            (best_mm, best) = (gaps.worst_mm, pose);
            match gaps.best_move(!pose.is_turned_fully(), any_size, &mut deciding) {
                Some(step) if step.least < best_mm - no_gain_mm => pose = pose.moved(step.x),
                _ => break,
            }
        }
        // More points only find larger gaps.
        judge(best_mm - no_gain_mm)?;
    }
    Ok(Match { gap_mm: best_mm, is_mirrored: false, turned_deg: best.turn_rad.to_degrees(), scale: best.scale })
}

fn area_mm2(shape: &Shape) -> f64 {
    crate::shape::outline::doubled_area_mm2(&shape.points[..]) / 2.0
}

/// The gaps in one pose: each an equation for the next move, and the largest.
struct Gaps {
    /// What a step across, a step up, a turn and a growth do to each gap.
    columns: Box<[[f64; 2 * POINTS]; 4]>,
    right: Box<[f64; 2 * POINTS]>,
    count: usize,
    worst_mm: f64,
}

impl Gaps {
    fn new() -> Self {
        let (columns, right) = (Box::new([[0.0; 2 * POINTS]; 4]), Box::new([0.0; 2 * POINTS]));
        Self { columns, right, count: 0, worst_mm: 0.0 }
    }

    /// Measures from every so many points of each shape to the other.
    fn measure(&mut self, first: &Shape, second: &Shape, pose: &TwinPose, every: usize) {
        (self.count, self.worst_mm) = (0, 0.0);
        // What a move of the second outline does at one of its points, along a direction.
        let row = |at: Point, along: Point| [along.x_mm, along.y_mm, at.cross(along), at.dot(along)];
        let mut walk = Walk::new(second, every);
        for &point in first.points.iter().step_by(every) {
            let gap = walk.gap(pose.back(point));
            let outward = pose.turned(gap.outward).times(1.0 / pose.scale);
            self.push(row(pose.place(gap.foot), outward), gap.mm * pose.scale);
        }
        let mut walk = Walk::new(first, every);
        for &point in second.points.iter().step_by(every) {
            let point = pose.place(point);
            let gap = walk.gap(point);
            self.push(row(point, gap.outward), -gap.mm);
        }
    }

    /// The small move that makes the largest gap least. A circle cannot be turned into place, so the turn is left out where
    /// it decides nothing. `deciding` keeps the gaps that decided, for the next move to begin with.
    fn best_move(&self, may_turn: bool, may_grow: bool, deciding: &mut Option<BasisRows>) -> Option<WorstFit<4>> {
        let without_turn = || if may_grow { self.solve([0, 1, 3], &mut None) } else { self.solve([0, 1], &mut None) };
        match (may_turn, may_grow) {
            (true, true) => self.solve([0, 1, 2, 3], deciding).or_else(without_turn),
            (true, false) => self.solve([0, 1, 2], deciding).or_else(without_turn),
            (false, _) => without_turn(),
        }
    }

    /// The best move with some of its four parts.
    fn solve<const N: usize>(&self, parts: [usize; N], deciding: &mut Option<BasisRows>) -> Option<WorstFit<4>> {
        let count = self.count;
        let equations =
            Equations { columns: parts.map(|part| &self.columns[part][..count]), right: &self.right[..count] };
        let points = count / 2;
        let spread = [0, 11, 23].map(|offset| std::array::from_fn(|k| offset + k * points / (N + 1)));
        let mut basis = deciding.iter().chain(&spread).find_map(|rows| Basis::new(&equations, *rows))?;
        let fit = basis.fit(&equations, f64::INFINITY);
        *deciding = Some(basis.rows());
        let mut x = [0.0; 4];
        for (part, value) in parts.into_iter().zip(fit.x) {
            x[part] = value;
        }
        Some(WorstFit { x, least: fit.least })
    }

    fn push(&mut self, row: [f64; 4], right: f64) {
        let at = self.count;
        self.worst_mm = self.worst_mm.max(right.abs());
        self.right[at] = right;
        for (column, value) in self.columns.iter_mut().zip(row) {
            column[at] = value;
        }
        self.count += 1;
    }
}

/// From a point to an outline.
#[derive(Debug, Clone, Copy)]
struct Gap {
    /// The nearest point of the outline.
    foot: Point,
    /// The direction of the gap, outward, of unit length.
    outward: Point,
    /// The distance, positive outside.
    mm: f64,
}

/// Finds the nearest points of an outline for one point after the other around another outline.
struct Walk<'a> {
    on: &'a Shape,
    /// From one point to the next.
    step: usize,
    at: Option<usize>,
}

impl<'a> Walk<'a> {
    fn new(on: &'a Shape, step: usize) -> Self {
        Self { on, step, at: None }
    }

    fn gap(&mut self, point: Point) -> Gap {
        let at = self.nearest_corner(point);
        self.at = Some(at);
        let (before, after) = (&self.on.sides[(at + POINTS - 1) % POINTS], &self.on.sides[at]);
        // From the corner to the nearest points of its two sides.
        let corner = self.on.points[at];
        let off = point.minus(corner);
        let to_before = before.along.times(off.dot(before.along).clamp(-before.length_mm, 0.0));
        let to_after = after.along.times(off.dot(after.along).clamp(0.0, after.length_mm));
        let (off_before, off_after) = (off.minus(to_before), off.minus(to_after));
        let (square_before, square_after) = (off_before.dot(off_before), off_after.dot(off_after));
        let (side, to_foot, off, square) = if square_before < square_after {
            (before, to_before, off_before, square_before)
        } else {
            (after, to_after, off_after, square_after)
        };
        let (mm, outward) = (square.sqrt(), side.outward());
        let sign = if off.dot(outward) < 0.0 { -1.0 } else { 1.0 };
        let outward = if mm > 1e-6 { off.times(sign / mm) } else { outward };
        Gap { foot: corner.plus(to_foot), outward, mm: sign * mm }
    }

    /// The nearest corner: near the last one found, the first time wherever it is.
    fn nearest_corner(&self, point: Point) -> usize {
        let square = |index: usize| {
            let off = point.minus(self.on.points[index % POINTS]);
            off.dot(off)
        };
        let Some(last) = self.at else {
            return (0..POINTS).min_by(|&i, &j| square(i).total_cmp(&square(j))).unwrap_or(0);
        };
        let ahead = (last + self.step) % POINTS;
        let (mut at, mut least) = (ahead, square(ahead));
        for step in [1, POINTS - 1] {
            // Two steps ahead as well, past a small bulge.
            loop {
                let (one, two) = ((at + step) % POINTS, (at + 2 * step) % POINTS);
                let (to_one, to_two) = (square(one), square(two));
                if to_one.min(to_two) >= least {
                    break;
                }
                (at, least) = if to_one < to_two { (one, to_one) } else { (two, to_two) };
            }
        }
        at
    }
}
