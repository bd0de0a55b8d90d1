//! The neighborhood of a closed line, straightened: one row of brightness along the normal of each point, and the path
//! of the edge through the rows.

use std::ops::Range;

use super::gray::Gray;
use super::plane::Plane;
use crate::shape::outline::Point;

/// Samples for each pixel along a normal.
pub(super) const PER_PIXEL: f64 = 2.0;
/// Where nothing is steep, what is usual counts as this part of the noise.
const FAINTEST: f32 = 0.1;

/// A point of the line with its outward normal.
#[derive(Debug, Clone, Copy)]
pub(super) struct Foot {
    pub at: Point,
    pub normal: Point,
}

/// Which way the brightness goes at an edge, from inside to outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Outward {
    Brighter,
    Darker,
}

impl Outward {
    pub fn opposite(self) -> Self {
        match self {
            Outward::Brighter => Outward::Darker,
            Outward::Darker => Outward::Brighter,
        }
    }

    fn sign(self) -> f32 {
        match self {
            Outward::Brighter => 1.0,
            Outward::Darker => -1.0,
        }
    }
}

/// How far to look to both sides, and how wide the edge filter is across the line (pixels) and along it (rows).
#[derive(Debug, Clone, Copy)]
pub(super) struct Filter {
    pub reach_mm: f64,
    pub blur_px: f64,
    pub along: f64,
}

/// How steep the brightness is along each normal: positive where it grows outward.
pub(super) struct Strip {
    /// Samples in a row. The middle one is on the line.
    pub depth: usize,
    pub step_mm: f64,
    rows: Vec<f32>,
    /// The spread of the noise, in the unit of the rows.
    pub noise: f32,
}

/// A closed path through the rows.
#[derive(Debug, Clone)]
pub(super) struct Path {
    /// The sample of each row.
    pub samples: Vec<usize>,
    /// How steep it is there, times the noise.
    pub strengths: Vec<f32>,
    /// Samples in a row of its strip.
    pub depth: usize,
}

impl Path {
    /// The strength that a share of the rows stays below.
    pub fn strength_at(&self, share: f64) -> f32 {
        let mut sorted = self.strengths.clone();
        let index = ((sorted.len() - 1) as f64 * share) as usize;
        *sorted.select_nth_unstable_by(index, f32::total_cmp).1
    }

    /// How steep the edge usually is, as a multiple of the noise.
    pub fn usual_strength(&self) -> f32 {
        self.strength_at(0.5).max(FAINTEST)
    }

    /// The share of the rows that are steeper than a limit.
    pub fn visible(&self, limit: f32) -> f64 {
        self.strengths.iter().filter(|strength| **strength > limit).count() as f64 / self.strengths.len() as f64
    }
}

impl Strip {
    /// Looks to both sides of the line. The noise is measured far from the line unless it is known.
    pub fn of(gray: &Gray, plane: &Plane, feet: &[Foot], pitch_mm: f64, filter: Filter, noise: Option<f32>) -> Self {
        let Filter { reach_mm, blur_px, along } = filter;
        let step_mm = pitch_mm / PER_PIXEL;
        let half = (reach_mm / step_mm).ceil() as usize;
        let depth = 2 * half + 1;
        let kernel = edge_kernel(blur_px * PER_PIXEL);
        let margin = kernel.len() / 2;
        let long = depth + 2 * margin;
        let brightness = brightness(gray, plane, feet, step_mm, half + margin);
        let brightness = smoothed_along(&brightness, long, along);
        let mut rows = vec![0.0; feet.len() * depth];
        for (row, bright) in rows.chunks_exact_mut(depth).zip(brightness.chunks_exact(long)) {
            for (value, around) in row.iter_mut().zip(bright.windows(kernel.len())) {
                *value = around.iter().zip(&kernel).map(|(bright, weight)| bright * weight).sum();
            }
        }
        let noise = noise.unwrap_or_else(|| noise_of(&rows, depth));
        Self { depth, step_mm, rows, noise }
    }

    pub fn count(&self) -> usize {
        self.rows.len() / self.depth
    }

    /// How steep it is at a sample, in one direction.
    pub fn steep(&self, row: usize, sample: usize, outward: Outward) -> f32 {
        self.rows[row * self.depth + sample] * outward.sign()
    }

    /// The offset of a sample from the line, outward.
    pub fn offset_mm(&self, sample: f64) -> f64 {
        (sample - (self.depth / 2) as f64) * self.step_mm
    }

    /// The closed path that is steep in one direction in as many rows as possible and bends little: dynamic programming
    /// over the rows, twice around. Each row may look at the `allowed` samples only.
    ///
    /// Steeper than `usual` times the noise is worth no more: a speck of dust may be darker than the edge.
    pub fn path(&self, outward: Outward, largest_jump: usize, usual: f32, allowed: Option<&[Range<usize>]>) -> Path {
        let (count, depth) = (self.count(), self.depth);
        let worth = |row: usize, sample: usize| {
            if allowed.is_some_and(|allowed| !allowed[row].contains(&sample)) {
                return -8.0;
            }
            (self.steep(row, sample, outward) / self.noise).clamp(0.0, usual).ln_1p()
        };
        let mut best: Vec<f32> = (0..depth).map(|sample| worth(0, sample)).collect();
        let mut from = vec![0_u8; 2 * count * depth];
        for step in 1..2 * count {
            let row = step % count;
            let mut next = vec![0.0; depth];
            for (sample, value) in next.iter_mut().enumerate() {
                let low = sample.saturating_sub(largest_jump);
                let high = (sample + largest_jump).min(depth - 1);
                let (mut chosen, mut most) = (sample, f32::NEG_INFINITY);
                for (before, so_far) in best.iter().enumerate().take(high + 1).skip(low) {
                    let jump = before.abs_diff(sample) as f32;
                    let sum = so_far - 0.15 * jump * jump;
                    if sum > most {
                        (chosen, most) = (before, sum);
                    }
                }
                *value = most + worth(row, sample);
                from[step * depth + sample] = (chosen + largest_jump - sample) as u8;
            }
            best = next;
        }
        let mut sample = (0..depth).max_by(|a, b| best[*a].total_cmp(&best[*b])).unwrap_or(depth / 2);
        let mut samples = vec![0; count];
        for step in (1..2 * count).rev() {
            // The middle of the two turns knows what comes before it and after it.
            if (count / 2..count / 2 + count).contains(&step) {
                samples[step % count] = sample;
            }
            sample = sample + usize::from(from[step * depth + sample]) - largest_jump;
        }
        let strength = |(row, sample): (usize, &usize)| self.steep(row, *sample, outward) / self.noise;
        let strengths = samples.iter().enumerate().map(strength).collect();
        Path { samples, strengths, depth }
    }

    /// The place of the steepest point within `within` samples of one, between the samples, and how steep it is.
    pub fn peak(&self, row: usize, sample: usize, within: usize, outward: Outward) -> (f64, f32) {
        let low = sample.saturating_sub(within).max(1);
        let high = (sample + within).min(self.depth - 2);
        let steep = |sample: usize| self.steep(row, sample, outward);
        let top = (low..=high).max_by(|a, b| steep(*a).total_cmp(&steep(*b))).unwrap_or(sample);
        let (before, here, after) = (steep(top - 1), steep(top), steep(top + 1));
        let bend = before - 2.0 * here + after;
        let shift = if bend < 0.0 { ((before - after) / (2.0 * bend)).clamp(-1.0, 1.0) } else { 0.0 };
        (top as f64 + f64::from(shift), here)
    }
}

/// The brightness along each normal, `half` samples to both sides.
pub(super) fn brightness(gray: &Gray, plane: &Plane, feet: &[Foot], step_mm: f64, half: usize) -> Vec<f32> {
    let sample = |foot: &Foot, index: usize| {
        let out_mm = (index as f64 - half as f64) * step_mm;
        gray.sample(plane.to_px(foot.at.plus(foot.normal.times(out_mm))))
    };
    feet.iter().flat_map(|foot| (0..=2 * half).map(move |index| sample(foot, index))).collect()
}

/// The derivative of a Gaussian of this width in samples, so that a step of 1 gives its steepness for each sample.
fn edge_kernel(width: f64) -> Vec<f32> {
    let half = (width * 3.0).ceil() as i32;
    let weight = |i: i32| {
        let x = f64::from(i) / width;
        x * (-x * x / 2.0).exp()
    };
    let norm: f64 = (-half..=half).map(|i| weight(i) * f64::from(i)).sum();
    (-half..=half).map(|i| (weight(i) / norm) as f32).collect()
}

/// A Gaussian along the line, around its end.
fn smoothed_along(values: &[f32], long: usize, width: f64) -> Vec<f32> {
    let count = values.len() / long;
    let half = (width * 2.5).ceil() as usize;
    if width <= 0.0 || half == 0 || count < 2 * half + 1 {
        return values.to_vec();
    }
    let weights: Vec<f32> =
        (0..=2 * half).map(|i| (-((i as f64 - half as f64) / width).powi(2) / 2.0).exp() as f32).collect();
    let total: f32 = weights.iter().sum();
    let mut smooth = vec![0.0; values.len()];
    for (row, out) in smooth.chunks_exact_mut(long).enumerate() {
        for (offset, weight) in weights.iter().enumerate() {
            let from = (row + count + offset - half) % count * long;
            let share = weight / total;
            out.iter_mut().zip(&values[from..from + long]).for_each(|(out, value)| *out += share * value);
        }
    }
    smooth
}

/// The spread of what is not the edge, from the median of the steepness away from the line.
fn noise_of(rows: &[f32], depth: usize) -> f32 {
    let outer = depth / 4;
    let mut away: Vec<f32> = rows
        .chunks_exact(depth)
        .flat_map(|row| row[..outer].iter().chain(&row[depth - outer..]).map(|value| value.abs()))
        .collect();
    let middle = away.len() / 2;
    let median = if away.is_empty() { 0.0 } else { *away.select_nth_unstable_by(middle, f32::total_cmp).1 };
    // Even a picture without noise is rounded to whole levels.
    (median * 1.4826).max(0.04)
}
