//! How the eyes turn toward what is near: what a pupil distance becomes at a reading distance, and where the pupils stand
//! while the eyes look at a camera.

/// From the pupil of an eye back to the point about which the eye turns, mm. Source: textbook (from memory: 9.5 to 11).
pub const TURNING_POINT_MM: f64 = 10.5;
/// What this differs by from eye to eye, as a limit, mm.
pub const TURNING_POINT_LIMIT_MM: f64 = 0.75;
/// From the plane of the lenses back to the points about which the eyes turn, mm. Source: textbook (from memory).
pub const LENS_TO_TURNING_POINT_MM: f64 = 27.0;
/// The usual reading distance, from the plane of the lenses, mm (common practice).
pub const READING_MM: f64 = 400.0;

/// Where the line of sight of one eye crosses the plane of the lens at a working distance, from the middle of the nose.
/// Both eyes look at one point in front of the nose. Source: textbook (from memory): far · w / (w + 27).
pub fn near_mm(far_mm: f64, working_mm: f64) -> f64 {
    far_mm * working_mm / (working_mm + LENS_TO_TURNING_POINT_MM)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reading_brings_the_eyes_together() {
        // The rule of thumb is 3 to 4 mm (common practice); 63 at 400 mm gives 59.0 (computed by hand: 63 · 400 / 427).
        assert!((near_mm(63.0, READING_MM) - 59.016).abs() < 0.001);
        assert!((near_mm(31.5, 250.0) - 31.5 * 250.0 / 277.0).abs() < 1e-12);
        // By similar triangles: the line from (31.5, 0) to (0, 427), where it is 27 along.
        let by_line = 31.5 + (0.0 - 31.5) * 27.0 / 427.0;
        assert!((near_mm(31.5, 400.0) - by_line).abs() < 1e-12);
    }
}
