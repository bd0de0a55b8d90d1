//! Takes the tremble out of a trace without changing its size.

use super::outline::{Outline, OutlineError, Point, extent};

/// How far on each side of a point its neighbors count, mm.
const REACH_MM: f64 = 1.6;
/// The box may become larger or smaller by this, mm: with radii rounded to 0.01 mm, that is less than 0.02 mm in all.
const BOX_MM: f64 = 0.01;
/// The fewest neighbors on each side that count.
const FEWEST: usize = 3;

/// The outline with its points moved onto a smooth run through their neighbors. The box never moves by more
/// than 0.02 mm.
///
/// For each point a parabola is fitted to the radii around it (weighted least squares, near neighbors count most), so a
/// smooth curve keeps its bend. Then the whole is stretched by what the box has moved beyond a hundredth.
///
/// # Errors
///
/// As [`Outline::from_points`] for the result.
pub fn smooth(outline: &Outline) -> Result<Outline, OutlineError> {
    let center = outline.tracing_center();
    let polar: Vec<(f64, f64)> =
        outline.points().iter().map(|p| p.minus(center)).map(|p| (p.angle_deg(), p.length_mm())).collect();
    let count = polar.len();
    let moved: Vec<Point> = (0..count)
        .map(|index| {
            let (deg, radius_mm) = polar[index];
            let reach_deg = (REACH_MM / radius_mm).to_degrees();
            Point::polar(fitted_mm(&polar, index, reach_deg).unwrap_or(radius_mm), deg).plus(center)
        })
        .collect();
    let (low, high) = extent(outline.points());
    let (now_low, now_high) = extent(&moved);
    let wanted = |was_mm: f64, is_mm: f64| is_mm.clamp(was_mm - BOX_MM, was_mm + BOX_MM) / is_mm;
    let (was, is) = (high.minus(low), now_high.minus(now_low));
    let (across, up) = (wanted(was.x_mm, is.x_mm), wanted(was.y_mm, is.y_mm));
    let stretch = |p: Point| Point::new(p.x_mm * across, p.y_mm * up);
    Outline::about(moved.into_iter().map(stretch).collect(), stretch(center))
}

/// The radius of the parabola through the neighbors of a point, at the point.
fn fitted_mm(polar: &[(f64, f64)], index: usize, reach_deg: f64) -> Option<f64> {
    let count = polar.len();
    let (here_deg, here_mm) = polar[index];
    let away_deg = |other: usize| (polar[other].0 - here_deg + 540.0).rem_euclid(360.0) - 180.0;
    // The neighbors on both sides that lie within reach, and always a few.
    let away = &away_deg;
    let side = |step: usize| {
        let within =
            (1..=count / 4).take_while(move |&k| k <= FEWEST || away((index + k * step) % count).abs() <= reach_deg);
        within.map(move |k| (index + k * step) % count)
    };
    let neighbors: Vec<usize> = side(1).chain(side(count - 1)).chain([index]).collect();
    let widest_deg = neighbors.iter().map(|&other| away_deg(other).abs()).fold(0.0, f64::max) * 1.001;
    // Sums of weight · xᵏ and of weight · xᵏ · radius.
    let (mut s, mut t) = ([0.0; 5], [0.0; 3]);
    for other in neighbors {
        let x = away_deg(other) / widest_deg;
        let weight = (1.0 - x.abs().powi(3)).powi(3);
        let mut power = weight;
        for (k, sum) in s.iter_mut().enumerate() {
            *sum += power;
            if let Some(sum) = t.get_mut(k) {
                *sum += power * (polar[other].1 - here_mm);
            }
            power *= x;
        }
    }
    // Cramer's rule for the constant of the parabola.
    let minor = |a: f64, b: f64, c: f64, d: f64| a * d - b * c;
    let (m0, m1, m2) = (minor(s[2], s[3], s[3], s[4]), minor(s[1], s[2], s[3], s[4]), minor(s[1], s[2], s[2], s[3]));
    let whole = s[0] * m0 - s[1] * m1 + s[2] * m2;
    (whole.abs() > 1e-12).then(|| here_mm + (t[0] * m0 - t[1] * m1 + t[2] * m2) / whole)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::boxing::Boxing;
    use crate::shape::nearest::Nearest;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    fn superellipse(count: usize, trembles: &[f64]) -> Outline {
        let radii: Vec<f64> = (0..count)
            .map(|i| {
                let (sin, cos) = (TAU * i as f64 / count as f64).sin_cos();
                ((cos / 26.0).abs().powf(2.5) + (sin / 18.0).abs().powf(2.5)).powf(-0.4) + trembles[i % trembles.len()]
            })
            .collect();
        Outline::from_radii_mm(&radii).unwrap()
    }

    fn roughness_mm(outline: &Outline, truth: &Outline) -> f64 {
        let nearest = Nearest::of(truth);
        let squares: f64 = {
            let off = outline.tracing_center().minus(truth.tracing_center());
            outline.points().iter().map(|p| nearest.distance_mm(p.minus(off)).powi(2)).sum()
        };
        (squares / outline.points().len() as f64).sqrt()
    }

    #[test]
    fn a_smooth_curve_stays_and_a_tremble_goes() {
        let truth = superellipse(400, &[0.0]);
        assert!(roughness_mm(&smooth(&truth).unwrap(), &truth) < 0.002);
        let tremble: Vec<f64> = (0..400).map(|i| 0.01 * (f64::from(i * i) * 0.7).sin()).collect();
        let rough = superellipse(400, &tremble);
        let (before, after) = (roughness_mm(&rough, &truth), roughness_mm(&smooth(&rough).unwrap(), &truth));
        assert!(after < before * 0.75, "{before} {after}");
    }

    proptest! {
        #[test]
        fn the_box_never_moves_by_more_than_two_hundredths(
            trembles in prop::collection::vec(-0.15..0.15_f64, 5..60), count in 36..1200_usize,
        ) {
            let rough = superellipse(count, &trembles);
            let (was, is) = (Boxing::of(&rough), Boxing::of(&smooth(&rough).unwrap()));
            prop_assert!((was.a_mm - is.a_mm).abs() < 0.010_1 && (was.b_mm - is.b_mm).abs() < 0.010_1);
        }
    }
}
