//! The window of a drawing at true size.
//!
//! Browsers stretch a drawing until it is a whole number of CSS pixels wide and high, up to half a pixel (0.13 mm), so each
//! window is made a whole number of them.

/// A CSS pixel is 1/96 in. Source: CSS Values and Units.
const PX_MM: f64 = 25.4 / 96.0;

/// A window, ready for the attributes of an `svg` element whose coordinates are millimeters, y down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    /// Width, with its unit.
    pub width: String,
    /// Height, with its unit.
    pub height: String,
    /// The `viewBox` attribute.
    pub view_box: String,
}

impl Window {
    /// The window from its left and top edge, at least so wide and high.
    pub fn of(left_mm: f64, top_mm: f64, width_mm: f64, height_mm: f64) -> Self {
        let [width, height] = [width_mm, height_mm].map(|mm| (mm / PX_MM - 1e-6).ceil());
        let [wide_mm, high_mm] = [width, height].map(|px| px * PX_MM);
        Self {
            width: format!("{width}px"),
            height: format!("{height}px"),
            view_box: format!("{left_mm:.3} {top_mm:.3} {wide_mm:.6} {high_mm:.6}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_has_whole_pixels_and_true_millimeters() {
        // 104 mm are 393.07 pixels; 394 pixels are 104.245833 mm. An inch is 96 pixels.
        let window = Window::of(-52.0, -22.5, 104.0, 25.4);
        assert_eq!((window.width.as_str(), window.height.as_str()), ("394px", "96px"));
        assert_eq!(window.view_box, "-52.000 -22.500 104.245833 25.400000");
    }
}
