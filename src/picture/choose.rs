//! Which of the edges near a coarse border is the wanted one. A lens has two and more: the two sides of the dark line along its edge,
//! the top of its bevel and the foot of it; a rim has the edge of its inner wall, and of its front.

use std::ops::Range;

use super::edge::{SEEN, median};
use super::region::Wanted;
use super::strip::{Outward, PER_PIXEL, Path, Strip};

/// The outer of two edges is that of the lens if it is so much of the inner one's steepness.
pub(super) const OUTER_SHARE: f32 = 0.45;
/// A second edge of the same direction, outside of a body and inside of an opening, is the wanted one if it has this share of the
/// steepness all around ...
const SECOND_SHARE: f32 = 0.3;
/// ... or this one, and is clearly a line beside the first one.
const FAINT_SHARE: f32 = 0.08;
/// All around: in this part of the rows.
pub(super) const ALL_AROUND: f64 = 0.9;
/// An edge beside the wanted one is one that is seen in this part of the rows at least.
const LEAST_PIECE: f64 = 0.1;
/// So far from an edge another one is looked for, pixels.
const CLEAR_PX: f64 = 4.0;
/// The path of an edge stays within this part of the distance to the next one.
const FREE: f64 = 0.6;

/// An edge among others.
pub(super) struct Chosen {
    pub outward: Outward,
    pub path: Path,
    /// How far the next edge of the same direction is, inside of a body and outside of an opening, mm; infinite if there is none.
    pub next_mm: f64,
}

/// Chooses the wanted edge.
pub(super) fn choose(strip: &Strip, wanted: Wanted, largest_jump: usize) -> Chosen {
    let [brighter, darker] =
        [Outward::Brighter, Outward::Darker].map(|o| (o, strip.path(o, largest_jump, f32::INFINITY, None)));
    let is_outer = mean(&brighter.1) >= mean(&darker.1);
    let (outer, inner) = if is_outer { (brighter, darker) } else { (darker, brighter) };
    let (first, second) = match wanted {
        Wanted::Body => (outer, inner),
        Wanted::Opening => (inner, outer),
    };
    let is_first = first.1.strength_at(0.5) >= OUTER_SHARE * second.1.strength_at(0.5) && first.1.visible(SEEN) >= 0.9;
    let (outward, path) = if is_first { first } else { second };
    // Once more with a limit: a glint inside of the edge may be far steeper than the edge, for a part of the way.
    let path = strip.path(outward, largest_jump, path.usual_strength(), None);
    let beside = |path: &Path, side| SecondEdge::of(strip, (outward, largest_jump), path, side);
    let (toward, back) = match wanted {
        Wanted::Body => (Side::Outside, Side::Inside),
        Wanted::Opening => (Side::Inside, Side::Outside),
    };
    let path = beside(&path, toward).all_around(&path).unwrap_or(path);
    let next_mm = beside(&path, back).away_mm(strip, &path);
    Chosen { outward, path, next_mm }
}

/// The samples in which the wanted edge is looked for again: the next one may be steeper.
pub(super) fn away_from_the_next(strip: &Strip, wanted: Wanted, next_mm: f64) -> Range<usize> {
    let middle = strip.depth / 2;
    let free = (FREE * next_mm / strip.step_mm).min(strip.depth as f64) as usize;
    match wanted {
        Wanted::Body => middle.saturating_sub(free)..strip.depth,
        Wanted::Opening => 0..(middle + free + 1).min(strip.depth),
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Inside,
    Outside,
}

/// The clearest edge of the same direction beside another one.
struct SecondEdge {
    path: Path,
    /// Whether it is a line of its own, and not what fades beside the other one.
    is_line: Vec<bool>,
}

impl SecondEdge {
    fn of(strip: &Strip, (outward, largest_jump): (Outward, usize), path: &Path, side: Side) -> Self {
        let clear = (CLEAR_PX * PER_PIXEL) as usize;
        let limit = |sample: &usize| match side {
            Side::Inside => sample.saturating_sub(clear),
            Side::Outside => (sample + clear).min(strip.depth - 1),
        };
        let limits: Vec<usize> = path.samples.iter().map(limit).collect();
        let range = |limit: &usize| match side {
            Side::Inside => 0..limit + 1,
            Side::Outside => *limit..strip.depth,
        };
        let allowed: Vec<Range<usize>> = limits.iter().map(range).collect();
        let beside = strip.path(outward, largest_jump, f32::INFINITY, Some(&allowed));
        let is_line = |row: usize| {
            let peak = strip.peak(row, beside.samples[row], 2, outward).0;
            match side {
                Side::Inside => peak < limits[row] as f64 - 1.0,
                Side::Outside => peak > limits[row] as f64 + 1.0,
            }
        };
        Self { is_line: (0..limits.len()).map(is_line).collect(), path: beside }
    }

    /// It may be much fainter than the first one, but then it must be a line.
    fn all_around(self, first: &Path) -> Option<Path> {
        let is_seen = |row: &usize| {
            let (seen, first) = (self.path.strengths[*row], first.strengths[*row]);
            seen > SEEN && (seen > SECOND_SHARE * first || self.is_line[*row] && seen > FAINT_SHARE * first)
        };
        let all = self.is_line.len();
        ((0..all).filter(is_seen).count() as f64 >= ALL_AROUND * all as f64).then_some(self.path)
    }

    /// How far it is from the other one where it comes near; infinite if it is seen nearly nowhere.
    fn away_mm(&self, strip: &Strip, other: &Path) -> f64 {
        let is_seen = |row: &usize| {
            self.is_line[*row] && self.path.strengths[*row] > SEEN.max(FAINT_SHARE * other.strengths[*row])
        };
        let all = self.is_line.len();
        let away = |row: usize| self.path.samples[row].abs_diff(other.samples[row]) as f64 * strip.step_mm;
        let mut away_mm: Vec<f64> = (0..all).filter(is_seen).map(away).collect();
        if (away_mm.len() as f64) < LEAST_PIECE * all as f64 {
            return f64::INFINITY;
        }
        let near = away_mm.len() / 10;
        *away_mm.select_nth_unstable_by(near, f64::total_cmp).1
    }
}

/// How wide the band along an edge is whose other side is seen as well as the edge, all around, mm: inside of a body, outside of an
/// opening.
pub(super) fn band_mm(strip: &Strip, wanted: Wanted, outward: Outward) -> Option<f64> {
    let middle = strip.depth / 2;
    let side = match wanted {
        Wanted::Body => 0..middle,
        Wanted::Opening => middle + 1..strip.depth,
    };
    let all = strip.count();
    let other = strip.path(outward.opposite(), 1, f32::INFINITY, Some(&vec![side; all]));
    let is_as_clear = |row: &usize| {
        let here = strip.peak(*row, middle, 4, outward).1 / strip.noise;
        other.strengths[*row] > SEEN.max(OUTER_SHARE * here)
    };
    let wide = |row: usize| strip.offset_mm(other.samples[row] as f64).abs();
    let wide_mm: Vec<f64> = (0..all).filter(is_as_clear).map(wide).collect();
    (wide_mm.len() as f64 >= ALL_AROUND * all as f64).then(|| median(wide_mm))
}

fn mean(path: &Path) -> f64 {
    path.samples.iter().sum::<usize>() as f64 / path.samples.len() as f64
}
