//! The rim in space, from the depth records; its curve also from a stated frame curve.

use super::{Depth, TraceFile};
use crate::optics::Eye;
use crate::shape::boxing::Boxing;
use crate::shape::outline::Point;
use crate::shape::rim::RimMeasures;
use crate::shape::trace::Trace;

impl TraceFile {
    /// The rim's curve in tool power (1.530): the stated frame curve, or that of the sphere that best fits the traced
    /// depths. A mirrored eye has the curve of the other.
    ///
    /// Tracers differ in the sign of the depth (from memory). A rim curves towards the wearer, so its curve is always
    /// positive.
    pub fn rim_curve_tool_d(&self, eye: Eye) -> Option<f64> {
        let eye = if self.derived == Some(eye) { eye.other() } else { eye };
        // Some devices write 0 for an unknown curve.
        let stated = self.fcrv_d.get(eye).filter(|curve_d| *curve_d > 0.0);
        stated.or_else(|| self.rim(eye)?.curve_tool_d)
    }

    /// The measures of the rim in space, where its depth was traced. A mirrored eye has those of the other.
    pub fn rim(&self, eye: Eye) -> Option<RimMeasures> {
        let eye = if self.derived == Some(eye) { eye.other() } else { eye };
        let trace = self.traces.get(eye);
        let points = points_in_space(trace, self.depth.get(eye).as_ref()?)?;
        RimMeasures::of(&points, Boxing::of(&trace.outline()).circumference_mm)
    }
}

fn points_in_space(trace: &Trace, depth: &Depth) -> Option<Vec<[f64; 3]>> {
    let count = depth.heights.len() as f64;
    let angle_deg = |index: usize| match &depth.angles {
        Some(angles) => angles.get(index).map(|&hundredths| f64::from(hundredths) / 100.0),
        None => Some(360.0 * index as f64 / count),
    };
    depth
        .heights
        .iter()
        .enumerate()
        .map(|(index, &height)| {
            let deg = angle_deg(index)?;
            let at = Point::polar(radius_at_mm(trace, deg)?, deg);
            Some([at.x_mm, at.y_mm, f64::from(height) / 100.0])
        })
        .collect()
}

/// The radius in a direction, interpolated between its two neighbors.
fn radius_at_mm(trace: &Trace, deg: f64) -> Option<f64> {
    let angles = trace.angles_deg();
    let radius = |index: usize| trace.radii().get(index).map(|&r| f64::from(r) / 100.0);
    let after = angles.partition_point(|&angle| angle <= deg);
    let last = angles.len().checked_sub(1)?;
    let (before, before_deg) = match after.checked_sub(1) {
        Some(index) => (index, angles[index]),
        None => (last, angles[last] - 360.0),
    };
    let (after, after_deg) = if after > last { (0, angles[0] + 360.0) } else { (after, angles[after]) };
    let share = (deg - before_deg) / (after_deg - before_deg);
    Some(radius(before)? * (1.0 - share) + radius(after)? * share)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::Pair;
    use crate::shape::trace::Angles;

    /// An oval rim bent on a sphere of six diopters, tool power: radius 530/6 = 88.33 mm.
    fn bent(sign: f64, angles: Option<Vec<i32>>) -> TraceFile {
        let radius = |deg: f64| {
            let (s, c) = deg.to_radians().sin_cos();
            26.0 * 20.0 / (20.0 * c).hypot(26.0 * s)
        };
        let radii = (0..400).map(|i| (radius(f64::from(i) * 0.9) * 100.0).round() as i32).collect();
        let trace = Trace::new(Eye::Right, radii, Angles::Equal).unwrap();
        let height = |deg: f64| {
            let (r, sphere) = (radius(deg), 530.0 / 6.0_f64);
            (sign * (sphere - (sphere * sphere - r * r).sqrt()) * 100.0).round() as i32
        };
        let at: Vec<f64> = match &angles {
            Some(list) => list.iter().map(|&a| f64::from(a) / 100.0).collect(),
            None => (0..100).map(|i| f64::from(i) * 3.6).collect(),
        };
        let depth = Depth { heights: at.into_iter().map(height).collect(), angles };
        let mut file = TraceFile::of_traces(Pair::new(trace.clone(), trace.mirror()), Some(Eye::Left));
        file.depth.right = Some(depth);
        file
    }

    #[test]
    fn depths_of_either_sign_give_their_sphere() {
        let every_seven: Vec<i32> = (0..51).map(|i| 35 + i * 700).collect();
        for (sign, angles) in [(1.0, None), (-1.0, None), (1.0, Some(every_seven))] {
            let file = bent(sign, angles);
            let curve_d = file.rim_curve_tool_d(Eye::Right).unwrap();
            assert!((curve_d - 6.0).abs() < 0.05, "closed form, a sphere of 6 D: {curve_d}");
            assert_eq!(file.rim_curve_tool_d(Eye::Left), Some(curve_d), "the mirrored eye has the same rim");
            // Symmetrical about its middle, so its plane is not tilted; bent, so it is longer than its outline.
            let rim = file.rim(Eye::Left).unwrap();
            let flat_mm = Boxing::of(&file.traces.right.outline()).circumference_mm;
            assert!(rim.tilt_deg < 0.05 && (0.1..2.0).contains(&(rim.circumference_mm - flat_mm)), "{rim:?} {flat_mm}");
        }
    }

    #[test]
    fn a_stated_curve_has_priority_and_zero_is_none() {
        let mut file = bent(1.0, None);
        file.fcrv_d.right = Some(4.5);
        assert_eq!(file.rim_curve_tool_d(Eye::Right), Some(4.5));
        file.depth.right = None;
        file.fcrv_d.right = Some(0.0);
        assert_eq!(file.rim_curve_tool_d(Eye::Right), None);
    }
}
