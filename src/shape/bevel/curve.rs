//! The curve of a rim or a bevel line, from its points in space.

use crate::optics::surface::TOOL_INDEX;

/// The curve of the best-fitting sphere, in tool power (530 / radius), positive when its center lies towards the
/// wearer. `None` for fewer than five points, or for points that fit no single sphere, such as a flat circle.
///
/// The sphere k(x² + y² + z²) + ax + by + c = z is linear in k, a, b, c (least squares); a plane has k = 0.
pub fn curve_tool_d(points: impl Iterator<Item = [f64; 3]> + Clone) -> Option<f64> {
    let mut count = 0.0;
    let mut mean = [0.0; 4];
    let columns = |[x, y, z]: [f64; 3]| [x, y, (x * x + y * y + z * z) / 20.0, z];
    for point in points.clone() {
        count += 1.0;
        for (sum, value) in mean.iter_mut().zip(columns(point)) {
            *sum += value;
        }
    }
    if count < 5.0 {
        return None;
    }
    let mean = mean.map(|sum| sum / count);
    // Normal equations of the centered columns; the last column is the right-hand side.
    let mut m = [[0.0f64; 4]; 3];
    for point in points {
        let row: [f64; 4] = std::array::from_fn(|i| columns(point)[i] - mean[i]);
        for i in 0..3 {
            for j in 0..4 {
                m[i][j] += row[i] * row[j];
            }
        }
    }
    let size = [m[0][0], m[1][1], m[2][2]];
    for i in 0..3 {
        // A pivot near zero means that the column depends on the earlier ones.
        if m[i][i].is_nan() || m[i][i] <= 1e-7 * size[i].max(1.0) {
            return None;
        }
        let pivot = m[i];
        for row in m.iter_mut().skip(i + 1) {
            let share = row[i] / pivot[i];
            for (value, above) in row.iter_mut().zip(pivot) {
                *value -= share * above;
            }
        }
    }
    let k = m[2][3] / m[2][2];
    let b = (m[1][3] - m[1][2] * k) / m[1][1];
    let a = (m[0][3] - m[0][1] * b - m[0][2] * k) / m[0][0];
    let c = mean[3] - a * mean[0] - b * mean[1] - k * mean[2];
    // Complete the square with k' = k / 20: radius² = (1 + a² + b²) / 4k'² - c / k'.
    let k = k / 20.0;
    let curvature = 2.0 * k / (1.0 + a * a + b * b - 4.0 * k * c).sqrt();
    Some(-1000.0 * (TOOL_INDEX - 1.0) * curvature)
}
