//! The steepest place at a narrow dark line lies a little outside of its edge, because the line's other side pulls the
//! brightness back before the blur has shown it all. Two blurred steps are fitted to the mean of many rows, and the shift
//! is taken away.

use super::edge::median;
use super::strip::{Outward, PER_PIXEL, Strip};

/// The line is cut into so many parts, since its width changes around a lens.
const PARTS: usize = 24;
/// Samples to both sides of the edge.
const REACH: usize = (6.0 * PER_PIXEL) as usize;
/// A second step of less than this share of the first is none.
const LEAST_SHARE: f64 = 0.2;

/// Two steps one after the other, blurred alike, in samples.
#[derive(Debug, Clone, Copy)]
struct Steps {
    /// The place of the outer step from the steepest place.
    outer: f64,
    apart: f64,
    blur: f64,
    /// The inner step as a part of the outer one, against it.
    share: f64,
    off: f64,
}

impl Steps {
    /// Steps farther apart do not pull on each other.
    fn is_narrow(&self) -> bool {
        self.share > LEAST_SHARE && self.apart < 3.2 * self.blur
    }
}

/// How far the edge is from the steepest place of each row, in samples: none or a little inward.
pub(super) fn shifts(strip: &Strip, peaks: &[f64], outward: Outward, least_blur: f64) -> Vec<f64> {
    let count = peaks.len();
    let all = profile(strip, peaks, outward, 0..count);
    let blurs: Vec<f64> = (0..14).map(|i| least_blur * (1.0 + 0.09 * f64::from(i))).collect();
    let Some(whole) = fit(&all, &blurs) else { return vec![0.0; count] };
    if !whole.is_narrow() {
        return vec![0.0; count];
    }
    let part = |part: usize| {
        // A part reaches into its neighbors, for more rows.
        let (from, to) = (part * count / PARTS, (part + 1) * count / PARTS);
        let more = (to - from) / 2;
        let profile = profile(strip, peaks, outward, from + count - more..to + count + more);
        fit(&profile, &[whole.blur]).map_or(0.0, |steps| if steps.is_narrow() { steps.outer } else { 0.0 })
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

/// The middle steepness of many rows at each offset from their steepest place.
fn profile(strip: &Strip, peaks: &[f64], outward: Outward, rows: std::ops::Range<usize>) -> Vec<f64> {
    let offset = |i: usize| i as f64 - REACH as f64;
    let at = |row: usize, sample: f64| {
        let low = sample.floor().clamp(0.0, (strip.depth - 2) as f64);
        let share = (sample - low).clamp(0.0, 1.0);
        let steep = |sample: f64| f64::from(strip.steep(row, sample as usize, outward));
        steep(low) * (1.0 - share) + steep(low + 1.0) * share
    };
    let rows: Vec<usize> = rows.map(|row| row % peaks.len()).collect();
    let steep = |i| median(rows.iter().map(|row| at(*row, peaks[*row] + offset(i))).collect());
    let profile: Vec<f64> = (0..=2 * REACH).map(steep).collect();
    // A shadow beside the lens goes on outside of the edge.
    let beside = median(profile[2 * REACH - 2..].to_vec());
    profile.into_iter().enumerate().map(|(i, steep)| if i > REACH - 4 { steep - beside } else { steep }).collect()
}

/// The two steps that explain a profile best, for some widths of the blur.
fn fit(profile: &[f64], blurs: &[f64]) -> Option<Steps> {
    let mut best: Option<Steps> = None;
    for &blur in blurs {
        for outer in (0..24).map(|i| -0.15 * f64::from(i) + 0.45) {
            for apart in (0..34).map(|i| blur * (0.7 + 0.14 * f64::from(i))) {
                let steps = solved(profile, outer, apart, blur);
                if steps.share < 1.6 && best.is_none_or(|best| steps.off < best.off) {
                    best = Some(steps);
                }
            }
        }
    }
    best
}

/// The sizes of the two steps by least squares.
fn solved(profile: &[f64], outer: f64, apart: f64, blur: f64) -> Steps {
    let bell = |x: f64| (-(x / blur).powi(2) / 2.0).exp();
    let (mut aa, mut ab, mut bb, mut ay, mut by, mut yy) = (1e-12, 0.0, 1e-12, 0.0, 0.0, 0.0);
    let mut count = 0.0;
    for (i, y) in profile.iter().enumerate() {
        let x = i as f64 - REACH as f64 - outer;
        let (a, b) = (bell(x), -bell(x + apart));
        (aa, ab, bb) = (aa + a * a, ab + a * b, bb + b * b);
        (ay, by, yy) = (ay + a * y, by + b * y, yy + y * y);
        count += 1.0;
    }
    let determinant = (aa * bb - ab * ab).max(1e-12);
    let (size, inner) = ((bb * ay - ab * by) / determinant, (aa * by - ab * ay) / determinant);
    let inner = inner.max(0.0);
    let size = if inner == 0.0 { ay / aa } else { size };
    let squares = yy - 2.0 * (size * ay + inner * by) + size * size * aa + inner * inner * bb + 2.0 * size * inner * ab;
    let share = if size > 0.0 { inner / size } else { f64::INFINITY };
    Steps { outer, apart, blur, share, off: squares / count }
}
