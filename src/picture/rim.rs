//! The steepest place at an edge is not quite the edge: the other side of a narrow dark line pulls the brightness back
//! before the blur has shown all of it, and light that falls off beside the lens adds to one side. Two blurred steps
//! between two slopes are fitted to the middle of many rows, and the shift is taken away.

use nalgebra::{SMatrix, SVector};

use super::edge::median;
use super::strip::{Outward, PER_PIXEL, Strip};

/// The line is cut into so many parts, since the width of its dark line and the light beside it change around a lens.
const PARTS: usize = 24;
/// Samples inward and outward of the edge.
const INWARD: usize = (6.0 * PER_PIXEL) as usize;
const OUTWARD: usize = (4.0 * PER_PIXEL) as usize;
/// A second step of less than this share of the first is none.
const LEAST_SHARE: f64 = 0.2;
/// A larger one belongs to something else.
const MOST_SHARE: f64 = 1.6;
/// Two steps are not nearer to each other, times the blur.
const LEAST_APART: f64 = 1.6;
/// A second step leaves at most this part of what one step does not explain.
const BETTER: f64 = 0.7;
/// The edge is not farther from the steepest place, samples.
const MOST_SHIFT: f64 = 3.5;
/// How much a slope has to explain before it is believed, as a part of what it could.
const SLOPE_DOUBT: f64 = 0.02;

/// Two steps one after the other, blurred alike, in samples.
#[derive(Debug, Clone, Copy)]
struct Steps {
    /// The place of the outer step from the steepest place.
    outer: f64,
    apart: f64,
    blur: f64,
    off: f64,
}

/// A closer look at an edge.
pub(super) struct Seen {
    /// How far the edge is from the place that was near it, in each row, in samples.
    pub shifts: Vec<f64>,
    /// How much each row differs from the rows about it: the mean of the squares.
    pub misfits: Vec<f64>,
    /// How steep the edge is, at its steepest.
    pub steepest: f64,
}

/// Looks at an edge from places near it, in a strip that is hardly smoothed.
pub(super) fn look(strip: &Strip, near: &[f64], outward: Outward, least_blur: f64) -> Seen {
    let all = profile(strip, near, outward, 0..near.len());
    let steepest = all.iter().copied().fold(0.0, f64::max);
    Seen { shifts: shifts(strip, near, outward, least_blur), misfits: misfits(strip, near, outward), steepest }
}

fn misfits(strip: &Strip, near: &[f64], outward: Outward) -> Vec<f64> {
    let count = near.len();
    let of_part = |part: usize| {
        let (from, to) = (part * count / PARTS, (part + 1) * count / PARTS);
        let more = to - from;
        let usual = profile(strip, near, outward, from + count - more..to + count + more);
        (from..to).map(move |row| {
            let differs =
                |(i, usual): (usize, &f64)| (steep_at(strip, row, near[row] + offset(i), outward) - usual).powi(2);
            usual.iter().enumerate().map(differs).sum::<f64>() / usual.len() as f64
        })
    };
    (0..PARTS).flat_map(of_part).collect()
}

/// Between two samples of a row.
fn steep_at(strip: &Strip, row: usize, sample: f64, outward: Outward) -> f64 {
    let low = sample.floor().clamp(0.0, (strip.depth - 2) as f64);
    let share = (sample - low).clamp(0.0, 1.0);
    let steep = |sample: f64| f64::from(strip.steep(row, sample as usize, outward));
    steep(low) * (1.0 - share) + steep(low + 1.0) * share
}

fn shifts(strip: &Strip, near: &[f64], outward: Outward, least_blur: f64) -> Vec<f64> {
    let count = near.len();
    let blurs: Vec<f64> = (0..27).map(|i| least_blur * (1.0 + 0.1 * f64::from(i))).collect();
    let Some(whole) = fit(&profile(strip, near, outward, 0..count), &blurs, 2) else { return vec![0.0; count] };
    let part = |part: usize| {
        // A part reaches into its neighbors, for more rows.
        let (from, to) = (part * count / PARTS, (part + 1) * count / PARTS);
        let more = (to - from) / 2;
        let profile = profile(strip, near, outward, from + count - more..to + count + more);
        fit(&profile, &[whole.blur], 1).map_or(whole.outer, |steps| steps.outer)
    };
    let parts: Vec<f64> = (0..PARTS).map(part).collect();
    let smooth: Vec<f64> =
        (0..PARTS).map(|i| median((0..3).map(|k| parts[(i + PARTS + k - 1) % PARTS]).collect())).collect();
    (0..count).map(|row| between(&smooth, (row as f64 + 0.5) * PARTS as f64 / count as f64 - 0.5)).collect()
}

/// Between the values of the two nearest parts, around the end.
fn between(parts: &[f64], at: f64) -> f64 {
    let low = at.floor();
    let share = at - low;
    let index = |i: f64| parts[(i + PARTS as f64) as usize % PARTS];
    index(low) * (1.0 - share) + index(low + 1.0) * share
}

/// The middle steepness of many rows at each offset from a place near the edge.
fn profile(strip: &Strip, near: &[f64], outward: Outward, rows: std::ops::Range<usize>) -> Vec<f64> {
    let rows: Vec<usize> = rows.map(|row| row % near.len()).collect();
    let steep = |i| median(rows.iter().map(|row| steep_at(strip, *row, near[*row] + offset(i), outward)).collect());
    (0..=INWARD + OUTWARD).map(steep).collect()
}

fn offset(i: usize) -> f64 {
    i as f64 - INWARD as f64
}

/// The two steps that explain a profile best, for some widths of the blur: a look all over, then finer and finer about
/// the best. `fine` says how close the first looks are. `None` if there is no step outward.
fn fit(profile: &[f64], blurs: &[f64], fine: i32) -> Option<Steps> {
    let mut best: Option<Steps> = None;
    let mut look = |outer: f64, apart: f64, blur: f64| {
        let found = solved(profile, outer, apart.max(LEAST_APART * blur), blur);
        if let Some(steps) = found.filter(|steps| best.is_none_or(|best| steps.off < best.off)) {
            best = Some(steps);
        }
        best
    };
    let (outer_step, apart_step) = (MOST_SHIFT / f64::from(7 * fine), 0.5 / f64::from(fine));
    for &blur in blurs {
        let nearer = |apart: &f64| *apart < INWARD as f64 + 2.0 * blur;
        for outer in (-7 * fine..=7 * fine).map(|i| outer_step * f64::from(i)) {
            for apart in (0..).map(|i| blur * (LEAST_APART + apart_step * f64::from(i))).take_while(nearer) {
                look(outer, apart, blur);
            }
        }
    }
    for halved in (1..6).map(|times| 0.5_f64.powi(times)) {
        let about = look(0.0, 0.0, blurs[0])?;
        let (outer, apart) = (outer_step * halved, apart_step * about.blur * halved);
        for step in 0..9 {
            let [i, j] = [step / 3, step % 3].map(|step| f64::from(step - 1));
            look(about.outer + i * outer, about.apart + j * apart, about.blur);
        }
    }
    best
}

/// The sizes of the two steps and of the slopes beside them by least squares. Without a second step if it is none.
fn solved(profile: &[f64], outer: f64, apart: f64, blur: f64) -> Option<Steps> {
    let bell = |x: f64| (-(x / blur).powi(2) / 2.0).exp();
    // The part of a blurred step, near enough (a logistic curve).
    let risen = |x: f64| 1.0 / (1.0 + (-1.702 * x / blur).exp());
    let mut sums = [[0.0; 4]; 4];
    let mut products = [0.0; 4];
    let mut sum = 0.0;
    for (i, y) in profile.iter().enumerate() {
        let x = offset(i) - outer;
        let parts = [bell(x), -bell(x + apart), risen(x), risen(-x)];
        for (row, part) in parts.iter().enumerate() {
            products[row] += part * y;
            (0..4).for_each(|column| sums[row][column] += part * parts[column]);
        }
        sum += y * y;
    }
    let products = SVector::<f64, 4>::from(products);
    let mut squares = SMatrix::<f64, 4, 4>::from(sums);
    (2..4).for_each(|slope| squares[(slope, slope)] *= 1.0 + SLOPE_DOUBT);
    let one_step = |mut squares: SMatrix<f64, 4, 4>| {
        (0..4).for_each(|i| (squares[(1, i)], squares[(i, 1)]) = (0.0, 0.0));
        squares[(1, 1)] = 1.0;
        let mut only = products;
        only[1] = 0.0;
        squares.cholesky().map(|solver| solver.solve(&only))
    };
    let both = squares.cholesky()?.solve(&products);
    let one = one_step(squares)?;
    let off = |sizes: &SVector<f64, 4>| sum - 2.0 * sizes.dot(&products) + sizes.dot(&(squares * sizes));
    let is_second = (LEAST_SHARE..MOST_SHARE).contains(&(both[1] / both[0])) && off(&both) < BETTER * off(&one);
    let sizes = if is_second { both } else { one };
    let off = off(&sizes);
    (sizes[0] > 0.0).then_some(Steps { outer, apart, blur, off })
}
