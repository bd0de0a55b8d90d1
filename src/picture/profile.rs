//! The course of the brightness across an edge, and where in it the edge is.
//!
//! The steepest place is not quite the edge: a lens has a dark line along its edge, and in a blurred picture the far side
//! of that line pulls the steepest place outward. So a step between two slopes, with a second step back behind it, blurred
//! alike, is fitted to the middle of many rows. Then each row is compared with what was fitted about it (a matched filter).

use std::f64::consts::TAU;

use nalgebra::{SMatrix, SVector};

use super::edge::{ROW_PX, median};
use super::gray::Gray;
use super::plane::Plane;
use super::rows::{BrightnessProfile, PARTS, Reach, Rows, mean_profile, usual, window};
use super::step::{Beside, EdgeStep, MOST_SHIFT, UNEXPLAINED, fit};
use super::strip::{Foot, Outward, PER_PIXEL, brightness};

/// Widths of the blur that are tried: the least, pixels, and each as a multiple of the one before.
const LEAST_BLUR_PX: f64 = 0.5;
const BLUR_STEP: f64 = 1.2;
const BLURS: i32 = 12;
/// The same about the best of them, to both sides.
const FINE_BLUR_STEP: f64 = 1.03;
const FINE_BLURS: usize = 9;
/// The parts are fitted with so many blurs more both ways, as long as they are explained about as well.
const PART_BLURS: usize = 14;
const GIVEN_UP: f64 = 6.0;
/// The parts say this many times less than as many independent ones would: they share rows, and no step is exactly like the model.
const ALIKE_PARTS: f64 = 8.0;
/// Widths of the dark line that are tried: the first, as a multiple of the blur, and each after it as a multiple of the one before.
const FIRST_LINE: f64 = 1.3;
const LINE_STEP: f64 = 1.6;
/// A dark line narrower than this times the blur is hardly told from a narrower and darker one; what that leaves unsure, as a part
/// of the blur.
const NARROW: f64 = 1.7;
const NARROW_DOUBT: f64 = 0.12;
/// What is not explained of a profile, as a part of its step, leaves the edge unsure by this times that part of the blur.
const ODD: f64 = 2.5;
/// How steep the light beside an edge is, as a part of the step for each pixel (one standard deviation).
const SLOPE: f64 = 0.03;
/// How much that changes around a lens, outside and inside.
const SLOPE_CHANGE: [f64; 2] = [0.03, 0.01];
/// How much the place of the edge in its profile changes around a lens, pixels (one standard deviation).
const SLOW_CHANGE_PX: [f64; 5] = [0.1, 0.3, 0.3, 0.15, 0.15];
/// A part whose edge lies so much elsewhere in its profile than usual is not like the others, as a part of the blur.
const ODD_PART: f64 = 0.25;
/// A row is looked at so many times more, each time from where the edge was seen, as long as it lies a blur away.
const FAR_TURNS: usize = 4;
/// An edge reaches so far to both sides, as a multiple of its blur.
const TAIL: f64 = 2.5;
/// A fiber is looked for in the mean of the rows along so much of the line, mm.
const PIECE_MM: f64 = 2.0;

/// How far inward and outward of the line a profile reaches, pixels, for a blur.
fn reach_px(blur_px: f64) -> Reach {
    (6.0 + 3.0 * blur_px, 3.0 + 2.0 * blur_px)
}

/// How far from the edge a fiber is looked for, pixels, for a blur.
fn beside_px(blur_px: f64) -> Reach {
    (2.0 + 3.0 * blur_px, 2.0 + 2.5 * blur_px)
}

/// What was seen of an edge.
pub(super) struct Seen {
    /// How far the edge is from the line in each row, pixels outward.
    pub offsets: Vec<f64>,
    /// How much of each row is not explained: the mean of the squares.
    pub misfits: Vec<f64>,
    /// The step that was seen.
    pub step: EdgeStep,
    /// What the edge as a whole may be off, pixels (one standard deviation).
    pub doubt: f64,
    rows: Rows,
    /// The step in each row.
    steps: Vec<EdgeStep>,
}

impl Seen {
    /// How much of the mean of the rows along a piece of the line is not explained, about each row and farther from the edge than a
    /// single row is looked at: a fiber beside the edge.
    pub fn misfits_along(&self, pitch_mm: f64) -> Vec<f64> {
        let half_piece = ((PIECE_MM / ROW_PX / pitch_mm / 2.0).round() as usize).min(self.steps.len() / 20);
        let misfit = |(row, step): (usize, &EdgeStep)| {
            compared_within(&self.rows, &self.rows.about(row, half_piece), step, beside_px(step.blur)).1
        };
        self.steps.iter().enumerate().map(misfit).collect()
    }
}

/// A line near an edge, along which it is looked at more closely.
pub(super) struct Closer<'a> {
    pub gray: &'a Gray,
    pub plane: &'a Plane,
    pub feet: &'a [Foot],
    pub pitch_mm: f64,
    pub outward: Outward,
}

impl Closer<'_> {
    /// Looks at the edge in rows along the normals of the line, from the step that an earlier look found. Other edges lie so far
    /// inward and outward, mm, and are left out. `None` if there is no step outward.
    pub fn look(&self, (inward_mm, outward_mm): (f64, f64), known: Option<EdgeStep>) -> Option<Seen> {
        let most_blur = LEAST_BLUR_PX * BLUR_STEP.powi(BLURS);
        let half = (reach_px(most_blur).0 * PER_PIXEL).ceil() as usize;
        let mut values = brightness(self.gray, self.plane, self.feet, self.pitch_mm / PER_PIXEL, half);
        if self.outward == Outward::Darker {
            values.iter_mut().for_each(|value| *value = -*value);
        }
        let tail_px = TAIL * known.map_or(1.0, |step| step.blur.max(1.0));
        let free_px = |mm: f64| (mm / self.pitch_mm - tail_px).max(mm / self.pitch_mm / 2.0);
        let rows = Rows { depth: 2 * half + 1, free: (free_px(inward_mm), free_px(outward_mm)), values };
        let profiles: Vec<BrightnessProfile> = (0..PARTS).map(|part| usual(&rows, part)).collect();
        let mut shifts = vec![0.0; PARTS];
        let mut found = None;
        let mut known = known.map(|step| EdgeStep { edge: 0.0, ..step });
        let mut blur = known.map_or(2.0, |step| step.blur);
        for _ in 0..2 {
            let whole = mean_profile(&rows, &profiles, &shifts);
            let global = fit_whole(&rows, &whole, blur, known)?;
            let alike: Vec<f64> = profiles.iter().map(|profile| aligned(&rows, profile, &global.step)).collect();
            let global = with_the_blur_of_the_parts(&rows, &whole, &profiles, &alike, global);
            (known, blur) = (Some(global.step), global.step.blur);
            let moved = |shift: &f64| EdgeStep { edge: global.step.edge + shift, ..global.step };
            let mut steps: Vec<EdgeStep> = profiles
                .iter()
                .zip(&alike)
                .map(|(profile, shift)| fit_part(&rows, profile, reach_px(blur), &moved(shift)))
                .collect();
            let lags: Vec<f64> =
                steps.iter().zip(&alike).map(|(step, alike)| step.edge - global.step.edge - alike).collect();
            let usual_lags = slow(&lags);
            // A part that looks like no other has a glint in it.
            for (part, step) in steps.iter_mut().enumerate() {
                if (lags[part] - usual_lags[part]).abs() > ODD_PART * blur.max(1.0) {
                    *step = moved(&alike[part]);
                }
            }
            shifts = usual_lags.iter().zip(&alike).map(|(lag, alike)| global.step.edge + alike + lag).collect();
            // What is not explained of a part may be its edge.
            let doubt = steps.iter().map(|step| odd_px(&rows, step)).fold(global.doubt, f64::max);
            found = Some((Whole { doubt, ..global }, steps));
        }
        let (global, steps) = found?;
        let count = rows.count();
        let mut offsets = Vec::with_capacity(count);
        let mut misfits = Vec::with_capacity(count);
        let mut row_steps = Vec::with_capacity(count);
        for row in 0..count {
            let at = (row as f64 + 0.5) * PARTS as f64 / count as f64;
            let edge = between(&shifts, at - 0.5);
            let step = EdgeStep { edge, ..steps[(at as usize).min(PARTS - 1)] };
            let (step, offset) = looked_for(&rows, rows.row(row), step);
            // Dust is blurred too, so it is better seen in some rows together.
            let misfit = compared(&rows, &rows.about(row, (step.blur / 2.0).round() as usize), &step).1;
            offsets.push(step.edge + offset);
            misfits.push(misfit);
            row_steps.push(step);
        }
        Some(Seen { offsets, misfits, step: global.step, doubt: global.doubt, rows, steps: row_steps })
    }
}

/// What changes slowly around the line in these values of its parts: waves of a whole and of half a turn, as far as they rise
/// over the spread of the values. A part that is far off is left out.
fn slow(values: &[f64]) -> Vec<f64> {
    let waves = |part: usize| {
        let (sin, cos) = (part as f64 / PARTS as f64 * TAU).sin_cos();
        SVector::<f64, 5>::new(1.0, cos, sin, cos * cos - sin * sin, 2.0 * sin * cos)
    };
    let mut smooth = vec![median(values.to_vec()); PARTS];
    for _ in 0..3 {
        let away: Vec<f64> = values.iter().zip(&smooth).map(|(value, smooth)| (value - smooth).abs()).collect();
        let spread = 1.4826 * median(away.clone()) + 0.01;
        let expected = SLOW_CHANGE_PX.map(|change| (spread / change).powi(2));
        let mut squares = SMatrix::<f64, 5, 5>::from_diagonal(&SVector::from(expected));
        let mut products = SVector::<f64, 5>::zeros();
        for part in (0..PARTS).filter(|part| away[*part] <= 3.0 * spread) {
            squares += waves(part) * waves(part).transpose();
            products += waves(part) * values[part];
        }
        let Some(sizes) = squares.cholesky().map(|solver| solver.solve(&products)) else { return smooth };
        smooth = (0..PARTS).map(|part| waves(part).dot(&sizes)).collect();
    }
    smooth
}

/// Between the values of the two nearest parts, around the end.
fn between(parts: &[f64], at: f64) -> f64 {
    let low = at.floor();
    let share = at - low;
    let index = |i: f64| parts[(i + PARTS as f64) as usize % PARTS];
    index(low) * (1.0 - share) + index(low + 1.0) * share
}

/// The step of the whole line, and how far the edge may be off, pixels (one standard deviation).
struct Whole {
    step: EdgeStep,
    doubt: f64,
}

/// Where a fit begins that knows nothing: the edge, the width of the dark line and the blur.
fn starts(reach: Reach) -> impl Iterator<Item = (f64, f64, f64)> {
    let blurs = (0..=BLURS).map(|i| LEAST_BLUR_PX * BLUR_STEP.powi(i));
    let lines = move |blur: f64| {
        let widths = std::iter::successors(Some(FIRST_LINE * blur), |line| Some(line * LINE_STEP));
        widths.take_while(move |line| *line < reach.0 + blur).map(move |line| (line, blur))
    };
    let edges = |(line, blur): (f64, f64)| [-1.0, 0.0, 1.0].map(|side| (side * (0.7 * blur).max(1.0), line, blur));
    blurs.flat_map(lines).flat_map(edges)
}

/// The step that explains a profile best, looked for near a known one, or anywhere. The edge is the mean over all blurs, each
/// as likely as what it leaves unexplained.
fn fit_whole(rows: &Rows, profile: &BrightnessProfile, about: f64, known: Option<EdgeStep>) -> Option<Whole> {
    let reach = reach_px(about);
    let beside = Beside { outer: 0.0, inner: 0.0, change: [SLOPE; 2], line: None };
    let fit = |(edge, line, blur)| fit(rows, profile, (reach, beside), edge, line, blur);
    let best_of = |tried: &[EdgeStep]| tried.iter().copied().min_by(|a, b| a.off.total_cmp(&b.off));
    let rough: Vec<EdgeStep> = match known {
        Some(step) => fit((step.edge, step.line, step.blur)).into_iter().collect(),
        None => starts(reach).filter_map(fit).collect(),
    };
    let start = best_of(&rough)?;
    // From the best blur both ways, each from the one before.
    let mut tried = vec![start];
    for change in [1.0 / FINE_BLUR_STEP, FINE_BLUR_STEP] {
        let next = |last: &EdgeStep| fit((last.edge, last.line, last.blur * change));
        tried.extend(std::iter::successors(next(&start), next).take(FINE_BLURS));
    }
    let best = best_of(&tried)?;
    let seen = |step: &EdgeStep| TriedBlur { step: *step, unlikely: unlikely(rows, reach, step), edge: step.edge };
    let (tried, rough): (Vec<TriedBlur>, Vec<TriedBlur>) =
        (tried.iter().map(seen).collect(), rough.iter().map(seen).collect());
    let mean = |of| likely_mean(&tried, of);
    let edge = mean(|seen| seen.edge);
    let step = fit((edge, mean(|seen| seen.step.line), mean(|seen| seen.step.blur))).unwrap_or(best);
    let far = far_px(tried.iter().chain(&rough), edge);
    Some(Whole { step: EdgeStep { edge, ..step }, doubt: far.max(narrow_px(&best)).hypot(odd_px(rows, &best)) })
}

/// How far an edge may be off because its dark line is hardly told from a narrower one, pixels (one standard deviation).
fn narrow_px(step: &EdgeStep) -> f64 {
    let is_narrow = step.sizes[3] > 0.2 * step.height() && step.line < NARROW * step.blur;
    if is_narrow { NARROW_DOUBT * step.blur } else { 0.0 }
}

/// A step of the whole line with one of the blurs that are tried.
struct TriedBlur {
    step: EdgeStep,
    /// The smaller, the likelier.
    unlikely: f64,
    /// Where the edge is: that of the step, or the middle one of those of the parts, each moved back.
    edge: f64,
}

/// How unlikely a step is by what it does not explain. Two samples for each pixel are about one that is independent.
fn unlikely(rows: &Rows, reach: Reach, step: &EdgeStep) -> f64 {
    let n = window(rows, reach).count() as f64;
    n / PER_PIXEL * (step.off / n + UNEXPLAINED * UNEXPLAINED).ln() / 2.0
}

fn least_unlikely<'a>(tried: impl IntoIterator<Item = &'a TriedBlur>) -> f64 {
    tried.into_iter().map(|seen| seen.unlikely).fold(f64::INFINITY, f64::min)
}

/// The mean over all blurs, each as likely as what it leaves unexplained.
fn likely_mean(tried: &[TriedBlur], of: fn(&TriedBlur) -> f64) -> f64 {
    let least = least_unlikely(tried);
    let weights: Vec<f64> = tried.iter().map(|seen| (least - seen.unlikely).exp()).collect();
    weights.iter().zip(tried).map(|(w, seen)| w * of(seen)).sum::<f64>() / weights.iter().sum::<f64>()
}

/// How far the edge may be off, pixels (one standard deviation): what is nearly as likely is at two of them.
fn far_px<'a>(tried: impl Iterator<Item = &'a TriedBlur> + Clone, edge: f64) -> f64 {
    let least = least_unlikely(tried.clone());
    tried.filter(|seen| seen.unlikely < least + 2.0).map(|seen| (seen.edge - edge).abs() / 2.0).fold(0.0, f64::max)
}

/// The step of the whole line with the blur that explains the parts best. The dark line is wider on one side of a lens than on the
/// other, so in the mean of all parts it looks blurred more than it is.
fn with_the_blur_of_the_parts(
    rows: &Rows,
    whole: &BrightnessProfile,
    profiles: &[BrightnessProfile],
    alike: &[f64],
    global: Whole,
) -> Whole {
    if global.step.line == 0.0 {
        return global;
    }
    let reach = reach_px(global.step.blur);
    let beside = Beside { outer: 0.0, inner: 0.0, change: [SLOPE; 2], line: None };
    let looked_at = |step: EdgeStep| {
        let (mut sum, mut edges) = (0.0, Vec::with_capacity(PARTS));
        for (profile, shift) in profiles.iter().zip(alike) {
            let part = fit_part(rows, profile, reach, &EdgeStep { edge: step.edge + shift, ..step });
            sum += unlikely(rows, reach, &part);
            edges.push(part.edge - shift);
        }
        TriedBlur { step, unlikely: sum / ALIKE_PARTS, edge: median(edges) }
    };
    let first = looked_at(global.step);
    let first_unlikely = first.unlikely;
    let mut tried = vec![first];
    for change in [1.0 / FINE_BLUR_STEP, FINE_BLUR_STEP] {
        let (mut last, mut least) = (global.step, first_unlikely);
        for _ in 0..PART_BLURS {
            let Some(next) = fit(rows, whole, (reach, beside), last.edge, last.line, last.blur * change) else { break };
            let seen = looked_at(next);
            let unlikely = seen.unlikely;
            tried.push(seen);
            if unlikely > least + GIVEN_UP {
                break;
            }
            (last, least) = (next, least.min(unlikely));
        }
    }
    let (blur, edge) = (likely_mean(&tried, |seen| seen.step.blur), likely_mean(&tried, |seen| seen.edge));
    let near =
        tried.iter().map(|seen| seen.step).min_by(|a, b| (a.blur - blur).abs().total_cmp(&(b.blur - blur).abs()));
    let Some(near) = near else { return global };
    let step = fit(rows, whole, (reach, beside), near.edge, near.line, blur).unwrap_or(near);
    Whole { step, doubt: far_px(tried.iter(), edge).max(narrow_px(&step)) }
}

/// How far an edge may be off because of what its step does not explain, pixels (one standard deviation).
fn odd_px(rows: &Rows, step: &EdgeStep) -> f64 {
    let n = window(rows, reach_px(step.blur)).count() as f64;
    ODD * (step.off / n).sqrt() / step.height() * step.blur
}

fn fit_part(rows: &Rows, profile: &BrightnessProfile, reach: Reach, whole: &EdgeStep) -> EdgeStep {
    let beside = Beside {
        outer: whole.sizes[2] / whole.sizes[1],
        inner: whole.sizes[4] / whole.sizes[1],
        change: SLOPE_CHANGE,
        line: Some(whole.line),
    };
    fit(rows, profile, (reach, beside), whole.edge, whole.line, whole.blur).unwrap_or(*whole)
}

/// How far a profile is shifted against a step, pixels outward: where it looks most like it, but for its level and its height.
fn aligned(rows: &Rows, profile: &BrightnessProfile, step: &EdgeStep) -> f64 {
    let most = MOST_SHIFT * step.blur.max(1.0);
    // A glint on the bevel is farther away.
    let reach = 2.0 + 2.5 * step.blur;
    let off = |shift: f64| {
        let moved = EdgeStep { edge: step.edge + shift, ..*step };
        let (mut n, mut x, mut y, mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for sample in window(rows, (reach - step.edge, reach + step.edge)) {
            let (model, seen) = (moved.at(rows.offset_px(sample)), profile.values[sample]);
            (n, x, y) = (n + 1.0, x + model, y + seen);
            (xx, xy, yy) = (xx + model * model, xy + model * seen, yy + seen * seen);
        }
        let (xx, xy, yy) = (xx - x * x / n, xy - x * y / n, yy - y * y / n);
        if xy > 0.0 { yy - xy * xy / xx.max(1e-9) } else { yy }
    };
    let places = (-20..=20).map(|i| f64::from(i) / 20.0 * most);
    let near = places.map(|shift| (off(shift), shift)).min_by(|a, b| a.0.total_cmp(&b.0)).map_or(0.0, |best| best.1);
    near + compared(rows, &profile.values, &EdgeStep { edge: step.edge + near, ..*step }).0
}

/// The step where a row has its edge, and how far that is off still, pixels outward.
fn looked_for(rows: &Rows, row: &[f32], mut step: EdgeStep) -> (EdgeStep, f64) {
    let mut offset = compared(rows, row, &step).0;
    for _ in 0..FAR_TURNS {
        if offset.abs() < 0.99 * step.blur {
            break;
        }
        step.edge += offset;
        offset = compared(rows, row, &step).0;
    }
    (step, offset)
}

/// How far the edge of a row is from that of a step, pixels outward, and how much of the row is not explained.
fn compared<T: Copy + Into<f64>>(rows: &Rows, values: &[T], step: &EdgeStep) -> (f64, f64) {
    let near = 1.0 + 1.5 * step.blur;
    compared_within(rows, values, step, (near, near))
}

/// The same of what lies so far inward and outward of the edge.
fn compared_within<T: Copy + Into<f64>>(
    rows: &Rows,
    values: &[T],
    step: &EdgeStep,
    (inward, outward): Reach,
) -> (f64, f64) {
    let mut squares = SMatrix::<f64, 3, 3>::identity() * 1e-6;
    let mut products = SVector::<f64, 3>::zeros();
    let (mut sum, mut count) = (0.0, 0.0);
    for sample in window(rows, (inward - step.edge, outward + step.edge)) {
        let x = rows.offset_px(sample);
        let column = SVector::<f64, 3>::new(1.0, step.at(x), -step.slope_at(x));
        let value: f64 = values[sample].into();
        squares += column * column.transpose();
        products += column * value;
        (sum, count) = (sum + value * value, count + 1.0);
    }
    let Some(solver) = squares.cholesky() else { return (0.0, 0.0) };
    let sizes = solver.solve(&products);
    let off = sum - sizes.dot(&products);
    let shift = if sizes[1] > 0.2 { sizes[2] / sizes[1] } else { 0.0 };
    (shift.clamp(-step.blur, step.blur), off.max(0.0) / count)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(half: usize) -> Rows {
        Rows { depth: 2 * half + 1, free: (f64::INFINITY, f64::INFINITY), values: vec![0.0; 2 * half + 1] }
    }

    /// A dark line of 7 pixels, blurred so much that its steepest place lies 0.3 pixels outward of its edge.
    #[test]
    fn the_edge_of_a_blurred_line_is_found_and_the_steepest_place_is_not_it() {
        let rows = rows(60);
        let drawn = EdgeStep {
            edge: 0.4,
            line: 7.0,
            blur: 3.0,
            sizes: SVector::from([120.0, 110.0, 0.5, 100.0, 0.0]),
            off: 0.0,
        };
        let values: Vec<f64> = (0..rows.depth).map(|sample| drawn.at(rows.offset_px(sample))).collect();
        let steepest = (0..rows.depth)
            .map(|sample| rows.offset_px(sample))
            .fold(0.0, |best, x| if drawn.slope_at(x) > drawn.slope_at(best) { x } else { best });
        assert!(steepest > 0.6, "{steepest}");
        let found = fit_whole(&rows, &BrightnessProfile { values, noise: 0.0 }, 3.0, None).unwrap().step;
        assert!((found.edge - 0.4).abs() < 0.1 && (found.blur - 3.0).abs() < 0.1, "{found:?}");
    }

    /// A line as wide as the blur may as well be a narrower and darker one.
    #[test]
    fn a_line_as_narrow_as_the_blur_leaves_the_edge_unsure() {
        let rows = rows(60);
        let doubt = |line: f64| {
            let sizes = SVector::from([120.0, 110.0, 0.0, 100.0, 0.0]);
            let drawn = EdgeStep { edge: 0.0, line, blur: 3.0, sizes, off: 0.0 };
            let values = (0..rows.depth).map(|sample| drawn.at(rows.offset_px(sample))).collect();
            fit_whole(&rows, &BrightnessProfile { values, noise: 0.0 }, 3.0, None).unwrap().doubt
        };
        assert!(doubt(3.5) > 0.3 && doubt(10.0) < 0.15, "{} {}", doubt(3.5), doubt(10.0));
    }
}
