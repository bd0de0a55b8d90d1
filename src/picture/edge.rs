//! The edge of a lens or of an opening, to a fraction of a pixel.
//!
//! A coarse border is straightened ([`super::strip`]), the steepest closed path in it is the better border, and so on with
//! less and less room. In the end the course of the brightness says where the edge is ([`super::profile`]), and the offsets are
//! smoothed along the edge by a local line that dust doesn't pull.

use std::f64::consts::{PI, TAU};

use super::choose;
use super::dust::{self, Bulges};
use super::gray::Gray;
use super::plane::Plane;
use super::profile::{Closer, Seen};
use super::region::Wanted;
use super::step::EdgeStep;
use super::strip::{Filter, Foot, Outward, PER_PIXEL, Path, Strip};
use crate::shape::outline::{Point, edges};

/// The distance between the rows in which the edge is looked at, pixels.
pub(super) const ROW_PX: f64 = 2.0;
/// The width of the edge filter, pixels.
const BLUR_PX: f64 = 1.2;
/// An edge is seen where it is so many times steeper than the noise.
pub(super) const SEEN: f32 = 4.0;
/// The part of it that must be seen before the course of the brightness is fitted.
const SEEN_FROM_AFAR: f64 = 0.9;
/// It is faint if it is less than this many times steeper.
const FAINT: f32 = 40.0;
/// How far the edge may be from the coarse border, mm.
const REACH_MM: f64 = 2.5;
/// With another edge in sight, the edge is the same one if it has moved by less than this part of the distance to it.
const LEFT_OUT: f64 = 0.3;

/// An edge found in a picture.
#[derive(Debug, Clone)]
pub(super) struct SeenEdge {
    /// Counter-clockwise in the plane.
    pub points: Vec<Point>,
    /// The part of it that is clearly seen.
    pub seen: f64,
    /// The longest piece that is not seen, mm, and its direction from the middle.
    pub unseen: (f64, f64),
    /// How far single points are from the smooth edge: their spread, mm.
    pub spread_mm: f64,
    /// How blurred it is: the spread of the blur, mm.
    pub blur_mm: f64,
    /// How much the brightness changes across it, levels.
    pub step_levels: f64,
    /// How wide the dark band is that runs along it, inside of a body and outside of an opening, mm, if its other side is seen as well
    /// all around.
    pub band_mm: Option<f64>,
    /// How far beside it another line runs that may be the edge, mm; 0 if there is none.
    pub second_mm: f64,
    /// How far it may be off: two standard deviations of what blur and noise leave unsure, mm.
    pub unsure_mm: f64,
}

/// One look at the edge.
struct Look {
    reach_mm: f64,
    /// Smoothing before the path is found, along the line, mm.
    along_mm: f64,
    /// Smoothing of the offsets afterwards, along the line, mm.
    smooth_mm: f64,
    largest_jump: usize,
}

const LOOKS: [Look; 6] = [
    Look { reach_mm: REACH_MM, along_mm: 0.5, smooth_mm: 0.6, largest_jump: 3 },
    Look { reach_mm: 0.9, along_mm: 0.3, smooth_mm: 0.35, largest_jump: 2 },
    Look { reach_mm: 0.6, along_mm: 0.2, smooth_mm: 0.3, largest_jump: 1 },
    Look { reach_mm: 0.5, along_mm: 0.15, smooth_mm: 0.3, largest_jump: 1 },
    Look { reach_mm: 0.5, along_mm: 0.15, smooth_mm: 0.3, largest_jump: 1 },
    Look { reach_mm: 0.5, along_mm: 0.15, smooth_mm: 0.3, largest_jump: 1 },
];

/// From this look on the course of the brightness is fitted.
const FIRST_CLOSER: usize = 3;
/// There the line that is looked along is smoothed by this times the width for the offsets.
const BASE: f64 = 2.0;
/// A local line is less sure than usual if its error is more than this many times the usual one.
const LESS_SURE: f64 = 1.3;
/// It is then led through more rows, this many times the usual width, but only where the course of the brightness is fitted: before
/// that, where a border is far from the edge, most rows nearby show something else.
const WIDER: [f64; 3] = [1.4, 2.0, 2.8];
/// The farthest point is off by about so many times what noise moves a point, found with drawn scans.
const FARTHEST: f64 = 5.0;
/// Dust in a blurred edge is not told from the edge, and pulls it by up to this part of the blur; found with drawn scans.
const HIDDEN: f64 = 0.24;
/// The same in a wide blur, where short bulges are not seen either.
const HIDDEN_IN_WIDE_BLUR: f64 = 0.8;
/// A blur over this is wide, mm: 1.3 pixels of a scan at 300 dpi.
const WIDE_BLUR_MM: f64 = 0.11;
/// Nor is what is smaller than a pixel, by up to this part of one.
const COARSE: f64 = 0.35;
/// The band along an edge is looked for as far as this, mm.
const WIDEST_BAND_MM: f64 = 6.0;
/// A loop is a smaller part of a line than what is left of it.
const LEAST_KEPT: f64 = 0.8;
/// An edge whose course is like nothing that is known may be this far off, mm.
const UNFITTED_MM: f64 = 0.5;

/// Follows the edge from a coarse border in the plane.
pub(super) fn follow(gray: &Gray, plane: &Plane, border: &[Point], wanted: Wanted, pitch_mm: f64) -> SeenEdge {
    let spacing_mm = ROW_PX * pitch_mm;
    let mut line = smoothed(&spaced(border, spacing_mm), 1.0 / spacing_mm);
    let mut outward = Outward::Brighter;
    let (mut next_mm, mut second_mm) = (f64::INFINITY, 0.0);
    let mut usual = f32::INFINITY;
    // Near the edge there is more than noise, so it is measured in the first look, the widest.
    let mut noise = None;
    let mut last = None;
    let mut unsure_mm = UNFITTED_MM;
    let mut seen_closer = None;
    let mut known_step = None;
    for (turn, look) in LOOKS.iter().enumerate() {
        line = spaced(&line, spacing_mm);
        // A faint edge is smoothed more.
        let smooth_mm = look.smooth_mm * f64::from(FAINT / usual).powf(0.75).clamp(1.0, 2.5);
        if turn >= FIRST_CLOSER {
            line = smooth_base(&line, BASE * smooth_mm / spacing_mm);
        }
        let feet = feet(&line, smooth_mm / spacing_mm);
        let filter =
            Filter { reach_mm: look.reach_mm.max(7.0 * pitch_mm), blur_px: BLUR_PX, along: look.along_mm / spacing_mm };
        let known = noise.map(|noise: f32| noise * ((LOOKS[0].along_mm / look.along_mm) as f32).sqrt());
        let strip = Strip::of(gray, plane, &feet, pitch_mm, filter, known);
        noise = noise.or(Some(strip.noise));
        let path = if turn == 0 {
            let fine = Filter { blur_px: choose::FINE_BLUR_PX, ..filter };
            let fine = Strip::of(gray, plane, &feet, pitch_mm, fine, None);
            let chosen = choose::choose(&strip, &fine, wanted, look.largest_jump);
            (outward, next_mm, second_mm) = (chosen.outward, chosen.next_mm, chosen.second_mm);
            chosen.path
        } else {
            let allowed = vec![choose::away_from_the_next(&strip, wanted, next_mm); feet.len()];
            strip.path(outward, look.largest_jump, usual, Some(&allowed))
        };
        let found: Vec<(f64, f32)> =
            path.samples.iter().enumerate().map(|(row, sample)| strip.peak(row, *sample, 2, outward)).collect();
        let mut offsets_mm: Vec<f64> = found.iter().map(|(sample, _)| strip.offset_mm(*sample)).collect();
        usual = path.usual_strength();
        let weights: Vec<f64> = found.iter().map(|(_, steep)| weight(*steep / strip.noise, usual)).collect();
        let width = smooth_mm / spacing_mm;
        let mut smoothed = robustly_smoothed(&offsets_mm, &weights, width, &[]);
        let mut covered = vec![false; feet.len()];
        seen_closer = None;
        unsure_mm = UNFITTED_MM;
        if turn >= FIRST_CLOSER
            && let Some(closer) =
                look_closer(&Closer { gray, plane, feet: &feet, pitch_mm, outward }, wanted, next_mm, known_step)
        {
            offsets_mm = closer.offsets.iter().map(|px| px * pitch_mm).collect();
            covered = dust::covered(&closer.misfits, closer.step.height());
            known_step = Some(closer.step);
            // Dust does not pull on what is beside it.
            let smooth = |covered: &[bool]| {
                let clean: Vec<f64> = covered.iter().map(|is_covered| if *is_covered { 0.0 } else { 1.0 }).collect();
                robustly_smoothed(&offsets_mm, &clean, width, &WIDER)
            };
            smoothed = smooth(&covered);
            let row_mm = 1.4826 * median(offsets_mm.iter().zip(&smoothed).map(|(a, b)| (a - b).abs()).collect());
            let place = |(foot, mm): (&Foot, &f64)| Foot { at: moved(foot, *mm), normal: foot.normal };
            let places: Vec<Foot> = feet.iter().zip(&offsets_mm).map(place).collect();
            let blur_mm = closer.step.blur * pitch_mm;
            Bulges { places: &places, row_mm, blur_mm, spacing_mm }.cover(&mut covered);
            smoothed = smooth(&covered);
            // A Gaussian of this width is the mean of so many rows.
            let random_mm = row_mm / (2.0 * PI.sqrt() * width).max(1.0).sqrt();
            let hidden_mm = hidden_mm(blur_mm, pitch_mm);
            unsure_mm = (FARTHEST * random_mm).hypot(2.0 * closer.doubt * pitch_mm).max(hidden_mm);
            seen_closer = Some((closer, covered.clone()));
        }
        line = feet.iter().zip(&smoothed).map(|(foot, mm)| moved(foot, *mm)).collect();
        line = dust::bridged(&line, &covered, spacing_mm);
        // An edge that will be refused needs no closer look, which takes most of the time.
        let is_last = turn + 1 == FIRST_CLOSER && path.visible(SEEN) < SEEN_FROM_AFAR;
        last = Some((feet, strip, path, offsets_mm, smoothed));
        if is_last {
            break;
        }
        // The last line keeps its loops: each of its points belongs to a row.
        if turn < FIRST_CLOSER {
            line = without_loops(&line);
        }
    }
    let Some((feet, strip, path, offsets_mm, smoothed)) = last else { unreachable!("there is a look") };
    let away: Vec<f64> = offsets_mm.iter().zip(&smoothed).map(|(a, b)| (a - b).abs()).collect();
    if let Some((closer, covered)) = seen_closer {
        let odd = dust::odd(&closer.misfits, &closer.misfits_along(pitch_mm), &covered, closer.step.height());
        unsure_mm = unsure_mm.max(dust::between_mm(&line, &odd, spacing_mm));
    }
    unsure_mm = unsure_mm.max(dust::bent_mm(&line, spacing_mm));
    let (blur_px, step_levels) = blur_and_step(gray, plane, &feet, pitch_mm, outward, &path, &strip);
    let band_filter = Filter { reach_mm: WIDEST_BAND_MM, blur_px: BLUR_PX, along: LOOKS[1].along_mm / spacing_mm };
    SeenEdge {
        seen: path.visible(SEEN),
        unseen: longest_unseen(&path, &line, spacing_mm),
        spread_mm: 1.4826 * median(away),
        blur_mm: blur_px * pitch_mm,
        step_levels,
        band_mm: choose::band_mm(&Strip::of(gray, plane, &feet, pitch_mm, band_filter, None), wanted, outward),
        second_mm,
        unsure_mm,
        points: line,
    }
}

/// Another edge nearby is left out, or it is not if the course of the brightness is explained better with it.
fn look_closer(at: &Closer, wanted: Wanted, next_mm: f64, known: Option<EdgeStep>) -> Option<Seen> {
    let free_mm = match wanted {
        Wanted::Body => (next_mm, f64::INFINITY),
        Wanted::Opening => (f64::INFINITY, next_mm),
    };
    let without = at.look(free_mm, known)?;
    if next_mm.is_infinite() {
        return Some(without);
    }
    let is_better = |with: &Seen| {
        let apart_px = median(with.offsets.iter().zip(&without.offsets).map(|(a, b)| (a - b).abs()).collect());
        with.doubt < without.doubt && apart_px * at.pitch_mm < LEFT_OUT * next_mm
    };
    let with = at.look((f64::INFINITY, f64::INFINITY), known);
    Some(with.filter(is_better).unwrap_or(without))
}

/// How far dust that is not seen as such may pull the edge, mm.
fn hidden_mm(blur_mm: f64, pitch_mm: f64) -> f64 {
    let part = if blur_mm > WIDE_BLUR_MM { HIDDEN_IN_WIDE_BLUR } else { HIDDEN };
    (part * blur_mm).max(COARSE * pitch_mm)
}

fn moved(foot: &Foot, mm: f64) -> Point {
    Point::new(foot.at.x_mm + foot.normal.x_mm * mm, foot.at.y_mm + foot.normal.y_mm * mm)
}

/// The points of the line with their normals, from the line smoothed by `width` points.
fn feet(line: &[Point], width: f64) -> Vec<Foot> {
    let smooth = smoothed(line, width);
    let n = line.len();
    let foot = |i: usize| {
        let along = smooth[(i + 1) % n].minus(smooth[(i + n - 1) % n]);
        let length = along.length_mm().max(1e-12);
        Foot { at: line[i], normal: Point::new(along.y_mm / length, -along.x_mm / length) }
    };
    (0..n).map(foot).collect()
}

/// A closed line with points at equal distances of about `spacing_mm`.
pub(super) fn spaced(line: &[Point], spacing_mm: f64) -> Vec<Point> {
    let length_mm: f64 = edges(line).map(|(p, q)| q.minus(p).length_mm()).sum();
    let count = ((length_mm / spacing_mm).round() as usize).clamp(180, 4000);
    let each_mm = length_mm / count as f64;
    let mut points = Vec::with_capacity(count);
    let mut before_mm = 0.0;
    for (p, q) in edges(line) {
        let side_mm = q.minus(p).length_mm();
        while points.len() < count && points.len() as f64 * each_mm < before_mm + side_mm {
            let share = (points.len() as f64 * each_mm - before_mm) / side_mm.max(1e-12);
            points.push(Point::new(p.x_mm + share * (q.x_mm - p.x_mm), p.y_mm + share * (q.y_mm - p.y_mm)));
        }
        before_mm += side_mm;
    }
    points
}

/// A closed line without what runs back about its middle. Where a border is far from the edge, normals cross, and what is seen along
/// them is a loop that no later look would open.
fn without_loops(line: &[Point]) -> Vec<Point> {
    let n = line.len() as f64;
    let middle = line.iter().fold(Point::ORIGIN, |sum, p| sum.plus(*p)).times(1.0 / n);
    let (mut turned, mut most) = (0.0, -1.0);
    let mut kept = Vec::with_capacity(line.len());
    for (p, q) in edges(line) {
        if (most..TAU).contains(&turned) {
            kept.push(p);
            most = turned;
        }
        let (from, to) = (p.minus(middle), q.minus(middle));
        turned += from.cross(to).atan2(from.dot(to));
    }
    // What is no closed curve about its middle is no lens, and is refused later.
    if kept.len() as f64 > LEAST_KEPT * n { kept } else { line.to_vec() }
}

/// A closed line without what is finer than `width` points: smoothed, and what that took of its curves put back.
fn smooth_base(line: &[Point], width: f64) -> Vec<Point> {
    let smooth = smoothed(line, width);
    let lost: Vec<Point> = line.iter().zip(&smooth).map(|(p, q)| p.minus(*q)).collect();
    smooth.iter().zip(smoothed(&lost, width)).map(|(p, lost)| p.plus(lost)).collect()
}

/// A closed line smoothed by a Gaussian of so many points.
fn smoothed(line: &[Point], width: f64) -> Vec<Point> {
    let half = (width * 2.5).ceil() as usize;
    let n = line.len();
    if half == 0 || n < 2 * half + 1 {
        return line.to_vec();
    }
    let weights: Vec<f64> = (0..=2 * half).map(|i| (-((i as f64 - half as f64) / width).powi(2) / 2.0).exp()).collect();
    let total: f64 = weights.iter().sum();
    let point = |i: usize| {
        let sum = weights.iter().enumerate().fold(Point::ORIGIN, |sum, (offset, weight)| {
            let p = line[(i + n + offset - half) % n];
            Point::new(sum.x_mm + weight * p.x_mm, sum.y_mm + weight * p.y_mm)
        });
        Point::new(sum.x_mm / total, sum.y_mm / total)
    };
    (0..n).map(point).collect()
}

/// A point counts as its steepness squared; a steeper one than usual, which may be dust, no more than a usual one.
fn weight(strength: f32, usual: f32) -> f64 {
    f64::from(strength / usual).clamp(0.01, 1.0).powi(2)
}

/// Offsets smoothed along the line by local straight lines of Gaussian weight. Points far from them count less and less
/// (Tukey's biweight), so dust does not pull. It starts from a running median: a speck is shorter than half of it.
fn robustly_smoothed(offsets_mm: &[f64], weights: &[f64], width: f64, wider: &[f64]) -> Vec<f64> {
    let mut smooth = running_median(offsets_mm, (width * 2.5).ceil() as usize);
    for _ in 0..4 {
        let away: Vec<f64> = offsets_mm.iter().zip(&smooth).map(|(a, b)| (a - b).abs()).collect();
        let limit = 4.0 * (1.4826 * median(away.clone())).max(0.008);
        let trust: Vec<f64> =
            away.iter().map(|a| if *a < limit { (1.0 - (a / limit).powi(2)).powi(2) } else { 0.0 }).collect();
        smooth = local_lines(offsets_mm, (weights, &trust), &smooth, width, wider);
    }
    smooth
}

fn running_median(values: &[f64], half: usize) -> Vec<f64> {
    let n = values.len();
    let half = half.min(n / 2 - 1);
    (0..n).map(|i| median((0..=2 * half).map(|k| values[(i + n + k - half) % n]).collect())).collect()
}

/// Beside rows that are not trusted a line is less sure, so it is led through more of the others: `wider` times as many. Where nothing
/// nearby is trusted, `before` stays.
fn local_lines(
    offsets_mm: &[f64],
    (weights, trust): (&[f64], &[f64]),
    before: &[f64],
    width: f64,
    wider: &[f64],
) -> Vec<f64> {
    let line = |i: usize, width: f64| local_line(offsets_mm, i, width, |j| weights[j] * trust[j]);
    let at = |i: usize| {
        let mut best = line(i, width);
        for wider in wider {
            if best.is_some_and(|line| line.spread < LESS_SURE / (2.0 * PI.sqrt() * width).sqrt()) {
                break;
            }
            let next = line(i, wider * width);
            if best.is_none_or(|best| next.is_some_and(|next| next.spread < best.spread)) {
                best = next;
            }
        }
        best.map_or(before[i], |line| line.mm)
    };
    (0..offsets_mm.len()).map(at).collect()
}

/// A local straight line at a row.
#[derive(Clone, Copy)]
struct LocalLine {
    mm: f64,
    /// Its error as a part of the error of a single row.
    spread: f64,
}

/// `None` where nothing counts.
fn local_line(offsets_mm: &[f64], at: usize, width: f64, counts: impl Fn(usize) -> f64) -> Option<LocalLine> {
    let n = offsets_mm.len();
    let half = ((width * 3.5).ceil() as usize).clamp(2, n / 2 - 1);
    let rows = || {
        (0..=2 * half).map(|k| {
            let (x, j) = (k as f64 - half as f64, (at + n + k - half) % n);
            (x, (-(x / width).powi(2) / 2.0).exp() * counts(j), offsets_mm[j])
        })
    };
    let (mut w0, mut w1, mut w2) = (0.0, 0.0, 0.0);
    rows().for_each(|(x, w, _)| (w0, w1, w2) = (w0 + w, w1 + w * x, w2 + w * x * x));
    if w0 < 1e-6 {
        return None;
    }
    let determinant = w0 * w2 - w1 * w1;
    let is_line = determinant > 0.02 * width * width * w0 * w0;
    let share = |x: f64, w: f64| if is_line { w * (w2 - w1 * x) / determinant } else { w / w0 };
    let (mut mm, mut squares) = (0.0, 0.0);
    for (share, y) in rows().map(|(x, w, y)| (share(x, w), y)) {
        (mm, squares) = (mm + share * y, squares + share * share);
    }
    Some(LocalLine { mm, spread: squares.sqrt() })
}

/// The blur of the edge in pixels and its step in levels: a wider filter sees the same step less steep, the less the more
/// blurred it is.
fn blur_and_step(
    gray: &Gray,
    plane: &Plane,
    feet: &[Foot],
    pitch_mm: f64,
    outward: Outward,
    path: &Path,
    fine: &Strip,
) -> (f64, f64) {
    let filter = Filter { reach_mm: pitch_mm * 6.0, blur_px: 2.0 * BLUR_PX, along: 3.0 };
    let wide = Strip::of(gray, plane, feet, pitch_mm, filter, None);
    let steepest = |strip: &Strip, row: usize, near: Option<usize>| {
        let middle = near.unwrap_or(strip.depth / 2);
        f64::from(strip.peak(row, middle, 4, outward).1).max(1e-3)
    };
    let rows = 0..feet.len();
    let fine_steep = median(rows.clone().map(|row| steepest(fine, row, Some(path.samples[row]))).collect());
    let wide_steep = median(rows.map(|row| steepest(&wide, row, None)).collect());
    let ratio = (fine_steep / wide_steep).clamp(1.01, 2.0);
    let filter = BLUR_PX * BLUR_PX;
    let blur_squared = (filter * (4.0 - ratio * ratio) / (ratio * ratio - 1.0)).max(0.0);
    let step = fine_steep * PER_PIXEL * (TAU * (blur_squared + filter)).sqrt();
    (blur_squared.sqrt(), step)
}

fn longest_unseen(path: &Path, line: &[Point], spacing_mm: f64) -> (f64, f64) {
    let n = path.strengths.len();
    let (mut longest, mut run, mut end) = (0, 0, 0);
    for i in 0..2 * n {
        run = if path.strengths[i % n] > SEEN { 0 } else { (run + 1).min(n) };
        if run > longest {
            (longest, end) = (run, i % n);
        }
    }
    let middle = line[(end + n - longest / 2) % n];
    let sum = line.iter().fold(Point::ORIGIN, |sum, p| sum.plus(*p));
    let center = Point::new(sum.x_mm / n as f64, sum.y_mm / n as f64);
    (longest as f64 * spacing_mm, middle.minus(center).angle_deg())
}

pub(super) fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows off by 0.01 mm now and then, with a piece between them that does not count. Its ends were once led on from the few rows
    /// on one side.
    #[test]
    fn a_line_is_no_less_sure_beside_rows_that_do_not_count() {
        let offsets_mm: Vec<f64> = (0..400).map(|i: u32| if i % 7 < 3 { 0.01 } else { -0.0075 }).collect();
        let weights = vec![1.0; offsets_mm.len()];
        let worst_mm = |trust: &[f64]| {
            let smooth = local_lines(&offsets_mm, (&weights, trust), &offsets_mm, 1.8, &WIDER);
            smooth.iter().map(|mm| mm.abs()).fold(0.0, f64::max)
        };
        let all = worst_mm(&vec![1.0; offsets_mm.len()]);
        for gap in 3..9 {
            let trust: Vec<f64> = (0..400).map(|i| if (200..200 + gap).contains(&i) { 0.0 } else { 1.0 }).collect();
            assert!(worst_mm(&trust) < 1.3 * all, "{gap}: {} {all}", worst_mm(&trust));
        }
        // Where nothing counts at all, what was there stays.
        assert_eq!(local_lines(&offsets_mm, (&weights, &vec![0.0; 400]), &offsets_mm, 1.8, &WIDER), offsets_mm);
    }

    /// A line of which half is not seen is given up before it is looked at closely. It begins wavy, so that it runs back on itself.
    #[test]
    fn an_edge_that_is_hardly_seen_is_given_up_with_a_point_for_each_row() {
        let mut noise = 2027_u64;
        for _ in 0..12 {
            // The left half of a dark disc, in noise.
            let values = (0..400 * 400).map(|i| {
                noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let (x, y) = (f64::from(i % 400) - 196.9, f64::from(i / 400) - 196.9);
                let is_dark = x < 0.0 && x.hypot(y) < 59.0;
                (noise >> 58) as u8 + if is_dark { 60 } else { 180 }
            });
            let gray = Gray { width: 400, height: 400, values: values.collect() };
            let middle = Point::new(50.0, -50.0);
            let radius_mm = |deg: f64| 15.0 + 2.5 * (16.0 * deg).to_radians().cos();
            let border: Vec<Point> =
                (0..360).map(f64::from).map(|deg| middle.plus(Point::polar(radius_mm(deg), deg))).collect();
            let edge = follow(&gray, &Plane::flat(0.254), &border, Wanted::Body, 0.254);
            assert!(edge.seen < SEEN_FROM_AFAR && edge.unseen.0 > 0.0, "{} {}", edge.seen, edge.unseen.0);
            assert!(edge.unsure_mm >= UNFITTED_MM, "{}", edge.unsure_mm);
        }
    }

    /// A circle whose points between 100 and 110 degrees run back for 6 degrees, farther inside.
    #[test]
    fn a_loop_is_left_out_and_a_line_without_one_stays() {
        let circle: Vec<Point> = (0..360).map(|deg| Point::polar(20.0, f64::from(deg))).collect();
        assert_eq!(without_loops(&circle), circle);
        let back = (104..110).rev().map(|deg| Point::polar(19.0, f64::from(deg)));
        let mut opened: Vec<Point> =
            circle[..=110].iter().copied().chain(back).chain(circle[105..].iter().copied()).collect();
        opened = without_loops(&opened);
        opened.dedup();
        assert_eq!(opened, circle);
        // Turned the other way it is no outline, and stays as it is.
        let clockwise: Vec<Point> = circle.iter().rev().copied().collect();
        assert_eq!(without_loops(&clockwise), clockwise);
    }
}
