//! Rows of brightness along the normals of a line, and the usual course of the brightness in some of them.

use super::edge::median;
use super::strip::PER_PIXEL;

/// The line is cut into so many parts, since the dark line and the light beside it change around a lens.
pub(super) const PARTS: usize = 24;

/// How far inward and outward, pixels.
pub(super) type Reach = (f64, f64);

/// Rows of brightness along the normals of a line, brighter outward.
pub(super) struct Rows {
    pub depth: usize,
    /// Farther inward and outward of the line there is another edge.
    pub free: Reach,
    pub values: Vec<f32>,
}

impl Rows {
    pub fn count(&self) -> usize {
        self.values.len() / self.depth
    }

    pub fn row(&self, row: usize) -> &[f32] {
        &self.values[row * self.depth..(row + 1) * self.depth]
    }

    /// The mean of a row and so many on both sides.
    pub fn about(&self, row: usize, near: usize) -> Vec<f32> {
        let mut mean = vec![0.0; self.depth];
        for k in 0..=2 * near {
            let from = self.row((row + self.count() + k - near) % self.count());
            mean.iter_mut().zip(from).for_each(|(mean, value)| *mean += value / (2 * near + 1) as f32);
        }
        mean
    }

    /// The offset of a sample from the line, pixels outward.
    pub fn offset_px(&self, sample: usize) -> f64 {
        (sample as f64 - (self.depth / 2) as f64) / PER_PIXEL
    }
}

/// The usual course of the brightness in some rows, and how unsure it is, levels.
pub(super) struct BrightnessProfile {
    pub values: Vec<f64>,
    pub noise: f64,
}

/// The mean of the middle rows of a part and half of its neighbors, at each sample.
pub(super) fn usual(rows: &Rows, part: usize) -> BrightnessProfile {
    let count = rows.count();
    let (from, to) = (part * count / PARTS, (part + 1) * count / PARTS);
    let more = (to - from) / 2;
    let taken: Vec<usize> = (from + count - more..to + count + more).map(|row| row % count).collect();
    let mut values = Vec::with_capacity(taken.len());
    let mut noise = 0.0;
    let mean = |sample| {
        values.clear();
        values.extend(taken.iter().map(|row| rows.row(*row)[sample]));
        values.sort_unstable_by(f32::total_cmp);
        let (low, high) = (values.len() / 4, values.len() - values.len() / 4);
        noise += f64::from(values[high - 1] - values[low]) / rows.depth as f64;
        values[low..high].iter().map(|value| f64::from(*value)).sum::<f64>() / (high - low) as f64
    };
    let values = (0..rows.depth).map(mean).collect();
    // The spread from the quartiles; the mean of the middle half is as sure as that of five of six.
    BrightnessProfile { values, noise: noise / 1.349 / (taken.len() as f64 * 0.83).sqrt() }
}

/// The mean of the middle parts at each sample, each moved by its shift.
pub(super) fn mean_profile(rows: &Rows, profiles: &[BrightnessProfile], shifts: &[f64]) -> BrightnessProfile {
    let middle = median(shifts.to_vec());
    let moved = |profile: &BrightnessProfile, sample: usize, shift: f64| {
        let at = (sample as f64 + shift * PER_PIXEL).clamp(0.0, (rows.depth - 1) as f64);
        let low = (at as usize).min(rows.depth - 2);
        let share = at - low as f64;
        profile.values[low] * (1.0 - share) + profile.values[low + 1] * share
    };
    let mean = |sample| {
        let all = profiles.iter().zip(shifts).map(|(profile, shift)| moved(profile, sample, shift - middle));
        let mut all: Vec<f64> = all.collect();
        all.sort_unstable_by(f64::total_cmp);
        let middle = &all[PARTS / 4..PARTS - PARTS / 4];
        middle.iter().sum::<f64>() / middle.len() as f64
    };
    // Parts share half of their rows with their neighbors.
    let noise = median(profiles.iter().map(|profile| profile.noise).collect()) / (PARTS as f64 / 2.0).sqrt();
    BrightnessProfile { values: (0..rows.depth).map(mean).collect(), noise }
}

pub(super) fn window(rows: &Rows, (inward, outward): (f64, f64)) -> std::ops::Range<usize> {
    let middle = (rows.depth / 2) as f64;
    let (inward, outward) = (inward.min(rows.free.0), outward.min(rows.free.1));
    (middle - inward * PER_PIXEL).max(0.0) as usize..((middle + outward * PER_PIXEL) as usize + 1).min(rows.depth)
}
