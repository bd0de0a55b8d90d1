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
/// The two lines of a bevel are about equally far from each other all around: their distance changes by less than this part of it.
/// The outer one of a lens with a shadow is that of the shadow for a piece of the way.
const MOST_SPREAD: f64 = 0.6;
/// An edge beside the wanted one is one that is seen in this part of the rows at least.
const LEAST_PIECE: f64 = 0.1;
/// So far from an edge another one is looked for, pixels.
const CLEAR_PX: f64 = 2.5;
/// A line may be hidden for so many rows to each side and more.
const HOLE: usize = 6;
/// Before and behind a jump the path is looked at for so many rows.
const JUMP: usize = 7;
/// The width of the edge filter with which edges near each other are told apart, pixels.
pub(super) const FINE_BLUR_PX: f64 = 0.7;
/// The path of an edge stays within this part of the distance to the next one.
const FREE: f64 = 0.6;

/// An edge among others.
pub(super) struct ChosenEdge {
    pub outward: Outward,
    pub path: Path,
    /// How far the next edge of the same direction is, inside of a body and outside of an opening, mm; infinite if there is none.
    pub next_mm: f64,
    /// How far another edge is that may be the wanted one, mm; 0 if there is none.
    pub second_mm: f64,
}

/// Chooses the wanted edge. In the `fine` strip edges near each other are told apart.
pub(super) fn choose(strip: &Strip, fine: &Strip, wanted: Wanted, largest_jump: usize) -> ChosenEdge {
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
    let beside = |path: &Path, side| SecondEdge::of(fine, (outward, largest_jump), path, side);
    let (toward, back) = match wanted {
        Wanted::Body => (Beyond::Outside, Beyond::Inside),
        Wanted::Opening => (Beyond::Inside, Beyond::Outside),
    };
    let path = in_strip(fine, &path, outward);
    let second = beside(&path, toward);
    let seen = second.seen_beside(fine, &path);
    let (path, second_mm) = if seen.all >= ALL_AROUND {
        (second.path, if seen.spread_mm > MOST_SPREAD * seen.usual_mm { seen.spread_mm } else { 0.0 })
    } else if seen.lines >= LEAST_PIECE {
        (second.mended(fine, &path, (outward, largest_jump), toward).unwrap_or(path), seen.usual_mm)
    } else {
        (path, 0.0)
    };
    let next = beside(&path, back).seen_beside(fine, &path);
    let next_mm = if next.lines >= LEAST_PIECE { next.near_mm } else { f64::INFINITY };
    ChosenEdge { outward, path: in_strip(strip, &path, outward), next_mm, second_mm }
}

/// A path with its strengths in another strip of the same rows.
fn in_strip(strip: &Strip, path: &Path, outward: Outward) -> Path {
    let shift = |sample: usize, long: usize| (sample + strip.depth / 2).saturating_sub(long / 2).min(strip.depth - 1);
    let samples: Vec<usize> = path.samples.iter().map(|sample| shift(*sample, path.depth)).collect();
    let strengths = samples.iter().enumerate().map(|(row, at)| strip.steep(row, *at, outward) / strip.noise).collect();
    Path { samples, strengths, depth: strip.depth }
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
enum Beyond {
    Inside,
    Outside,
}

/// How an edge is seen beside another one.
struct SeenBeside {
    /// In which part of the rows, and in which part as a line of its own.
    all: f64,
    lines: f64,
    /// How far away the lines are where they come near, and usually, and how much that changes, mm.
    near_mm: f64,
    usual_mm: f64,
    spread_mm: f64,
}

/// The clearest edge of the same direction beside another one.
struct SecondEdge {
    path: Path,
    /// Whether it is a line of its own, and not what fades beside the other one.
    is_line: Vec<bool>,
}

impl SecondEdge {
    fn of(strip: &Strip, (outward, largest_jump): (Outward, usize), path: &Path, side: Beyond) -> Self {
        let clear = (CLEAR_PX * PER_PIXEL) as usize;
        let limit = |sample: &usize| match side {
            Beyond::Inside => sample.saturating_sub(clear),
            Beyond::Outside => (sample + clear).min(strip.depth - 1),
        };
        let limits: Vec<usize> = path.samples.iter().map(limit).collect();
        let range = |limit: &usize| match side {
            Beyond::Inside => 0..limit + 1,
            Beyond::Outside => *limit..strip.depth,
        };
        let allowed: Vec<Range<usize>> = limits.iter().map(range).collect();
        let beside = strip.path(outward, largest_jump, f32::INFINITY, Some(&allowed));
        let is_line = |row: usize| {
            let peak = strip.peak(row, beside.samples[row], 2, outward).0;
            match side {
                Beyond::Inside => peak < limits[row] as f64 - 1.0,
                Beyond::Outside => peak > limits[row] as f64 + 1.0,
            }
        };
        Self { is_line: (0..limits.len()).map(is_line).collect(), path: beside }
    }

    /// The other path led along this one where this one is seen, if that takes jumps out of it: where two lines run beside each other,
    /// a path may follow the one here and the other there. A shadow ends beside a piece of an edge too, and there the other path has
    /// no jumps.
    fn mended(
        &self,
        strip: &Strip,
        other: &Path,
        (outward, largest_jump): (Outward, usize),
        side: Beyond,
    ) -> Option<Path> {
        let all = self.is_line.len();
        let near =
            |row: usize| (0..2 * HOLE + 1).filter(|k| self.is_seen_line((row + all + k - HOLE) % all, other)).count();
        let is_beside: Vec<bool> = (0..all).map(|row| near(row) > HOLE).collect();
        let range = |row: usize| {
            let (at, here) = (other.samples[row], self.path.samples[row]);
            match (side, is_beside[row]) {
                (Beyond::Outside, true) => (at + here) / 2..strip.depth,
                (Beyond::Inside, true) => 0..(at + here) / 2 + 1,
                (_, false) => at.saturating_sub(2)..(at + 3).min(strip.depth),
            }
        };
        let allowed: Vec<Range<usize>> = (0..all).map(range).collect();
        let led = strip.path(outward, largest_jump, f32::INFINITY, Some(&allowed));
        let turns: Vec<usize> = (0..all).filter(|row| is_beside[*row] != is_beside[(row + all - 1) % all]).collect();
        let jumps_mm = |path: &Path| {
            let middle = |from: usize| {
                median((0..JUMP).map(|k| path.samples[(from + k) % all] as f64 * strip.step_mm).collect())
            };
            turns.iter().map(|row| (middle(row + 3) - middle(row + all - 3 - JUMP)).abs()).sum::<f64>()
        };
        let (led_mm, other_mm) = (jumps_mm(&led), jumps_mm(other));
        (led_mm < other_mm && led.visible(SEEN) >= ALL_AROUND).then_some(led)
    }

    /// Where it is seen.
    fn seen_beside(&self, strip: &Strip, other: &Path) -> SeenBeside {
        let all = self.is_line.len();
        let is_seen = |row: usize| {
            self.is_seen_line(row, other) || self.path.strengths[row] > SEEN.max(SECOND_SHARE * other.strengths[row])
        };
        let away = |row: usize| self.path.samples[row].abs_diff(other.samples[row]) as f64 * strip.step_mm;
        let mut away_mm: Vec<f64> = (0..all).filter(|row| self.is_seen_line(*row, other)).map(away).collect();
        away_mm.sort_unstable_by(f64::total_cmp);
        let at = |tenths: usize| away_mm.get(tenths * away_mm.len() / 10).copied().unwrap_or(0.0);
        SeenBeside {
            all: (0..all).filter(|row| is_seen(*row)).count() as f64 / all as f64,
            lines: away_mm.len() as f64 / all as f64,
            near_mm: at(1),
            usual_mm: at(5),
            spread_mm: at(9) - at(1),
        }
    }

    /// Whether it is seen in a row as a line of its own, which may be much fainter than the other one.
    fn is_seen_line(&self, row: usize, other: &Path) -> bool {
        self.is_line[row] && self.path.strengths[row] > SEEN.max(FAINT_SHARE * other.strengths[row])
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::edge::{SeenEdge, follow};
    use crate::picture::gray::Gray;
    use crate::picture::plane::Plane;
    use crate::shape::outline::Point;

    /// A clear disc of 20 mm with a dark line along its edge, and a fainter line 0.7 mm outside of it in these directions.
    fn two_lines(is_outer: impl Fn(f64) -> bool) -> SeenEdge {
        let pitch_mm = 0.1;
        let level = |radius_mm: f64, deg: f64| match radius_mm {
            mm if (19.6..20.0).contains(&mm) => 90.0,
            mm if (20.4..20.7).contains(&mm) && is_outer(deg) => 190.0,
            _ => 230.0,
        };
        let values = (0..480 * 480).map(|i| {
            let parts = (0..16).map(|part| {
                let at = |px: i32, part: i32| (f64::from(px) + (f64::from(part) + 0.5) / 4.0) * pitch_mm - 24.0;
                let (x, y) = (at(i % 480, part % 4), -at(i / 480, part / 4));
                level(x.hypot(y), y.atan2(x).to_degrees())
            });
            (parts.sum::<f64>() / 16.0) as u8
        });
        let gray = Gray { width: 480, height: 480, values: values.collect() };
        let middle = Point::new(24.0, -24.0);
        let border: Vec<Point> = (0..360).map(|deg| middle.plus(Point::polar(20.2, f64::from(deg)))).collect();
        follow(&gray, &Plane::flat(pitch_mm), &border, Wanted::Body, pitch_mm)
    }

    fn radius_mm(edge: &SeenEdge) -> f64 {
        let middle = Point::new(24.0, -24.0);
        edge.points.iter().map(|point| point.minus(middle).length_mm()).sum::<f64>() / edge.points.len() as f64
    }

    #[test]
    fn a_second_line_all_around_is_the_edge_and_one_beside_a_part_of_it_is_said() {
        let (none, whole, part) = (two_lines(|_| false), two_lines(|_| true), two_lines(|deg| deg > 20.0));
        assert!(
            (radius_mm(&none) - 20.0).abs() < 0.03 && none.second_mm == 0.0,
            "{} {}",
            radius_mm(&none),
            none.second_mm
        );
        assert!((radius_mm(&whole) - 20.7).abs() < 0.03, "{}", radius_mm(&whole));
        assert!(whole.second_mm == 0.0, "{}", whole.second_mm);
        assert!((part.second_mm - 0.7).abs() < 0.1, "{}", part.second_mm);
    }
}
