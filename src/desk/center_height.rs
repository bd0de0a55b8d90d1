//! The height of an optical center as it was ordered: from the lowest point of the box, from the middle, or not at all.

use super::order::HEIGHT;
use crate::optics::unit::{Millimeter, Tilt};

/// Where an optical center is to stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum CenterHeight {
    /// Above the lowest point of the box.
    Bottom(Millimeter),
    /// Above the middle line of the box, half of B; below is negative.
    Middle(Millimeter),
    /// Nothing was ordered: the middle line.
    #[default]
    Assumed,
}

impl CenterHeight {
    /// Reads `20`, `4 above the middle`, `2 below the middle`, or nothing.
    ///
    /// # Errors
    ///
    /// A sentence for the page.
    pub fn read(typed: &str) -> Result<Self, String> {
        let typed = typed.trim().to_lowercase();
        if typed.is_empty() {
            return Ok(Self::Assumed);
        }
        let words: Vec<&str> =
            typed.split_whitespace().filter(|word| !["mm", "the", "of", "frame"].contains(word)).collect();
        match words.as_slice() {
            ["middle"] => Ok(Self::Middle(Millimeter::ZERO)),
            [size, side @ ("above" | "below"), "middle"] => {
                let size: Millimeter = size.parse().map_err(|_| Self::wanted(&typed))?;
                let limit = 1000;
                if !(0..=limit).contains(&size.hundredths()) {
                    return Err("A height is at most 10 mm above or below the middle".to_owned());
                }
                let sign = if *side == "below" { -1 } else { 1 };
                Millimeter::from_hundredths(sign * size.hundredths()).map(Self::Middle).map_err(|why| why.to_string())
            }
            [size] => HEIGHT.read(size).map(Self::Bottom).map_err(|why| why.to_string()),
            _ => Err(Self::wanted(&typed)),
        }
    }

    /// The height of the optical center for a pupil at this height: 1 mm lower for each 2° of pantoscopic tilt, so that
    /// the optical axis still meets the center of rotation of the eye. Source: common practice. `None` without a height.
    pub fn lowered_for(self, tilt: Tilt) -> Option<Self> {
        let lower = |height: Millimeter| Millimeter::from_hundredths(height.hundredths() - tilt.hundredths() / 2).ok();
        match self {
            Self::Bottom(height) => lower(height).map(Self::Bottom),
            Self::Middle(up) => lower(up).map(Self::Middle),
            Self::Assumed => None,
        }
    }

    fn wanted(typed: &str) -> String {
        format!("“{typed}” is not a height: write 20, or 4 above the middle, or nothing for the middle")
    }

    /// As it is typed in a form.
    pub fn typed(self) -> String {
        match self {
            Self::Bottom(height) => height.to_string(),
            Self::Middle(Millimeter::ZERO) => "middle".to_owned(),
            Self::Middle(up) if up.hundredths() < 0 => format!("{} below the middle", size(up)),
            Self::Middle(up) => format!("{} above the middle", size(up)),
            Self::Assumed => String::new(),
        }
    }

    /// For a person: `20.00 mm`, `4.00 mm above the middle`, `the middle, assumed`.
    pub fn words(self) -> String {
        match self {
            Self::Bottom(height) => format!("{height} mm"),
            Self::Middle(Millimeter::ZERO) => "the middle".to_owned(),
            Self::Middle(up) if up.hundredths() < 0 => format!("{} mm below the middle", size(up)),
            Self::Middle(up) => format!("{} mm above the middle", size(up)),
            Self::Assumed => "the middle, assumed".to_owned(),
        }
    }

    /// Above the lowest point of a box of this height B, mm.
    pub fn above_bottom_mm(self, b_mm: f64) -> f64 {
        match self {
            Self::Bottom(height) => height.to_f64(),
            Self::Middle(up) => b_mm / 2.0 + up.to_f64(),
            Self::Assumed => b_mm / 2.0,
        }
    }
}

fn size(up: Millimeter) -> String {
    format!("{:.2}", up.to_f64().abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_center_stands_lower_by_half_the_tilt() {
        for (pupil, tilt, want) in [
            ("24", "8", Some("20.00 mm")),
            ("24", "0", Some("24.00 mm")),
            ("22.5", "9", Some("18.00 mm")),
            ("4 above the middle", "10", Some("1.00 mm below the middle")),
            ("5 above the middle", "10", Some("the middle")),
            ("20", "-4", Some("22.00 mm")),
            ("", "8", None),
        ] {
            let got = CenterHeight::read(pupil).unwrap().lowered_for(tilt.parse().unwrap());
            assert_eq!(got.map(CenterHeight::words).as_deref(), want, "{pupil} at {tilt} (common practice)");
        }
        // A line from the center, at right angles to a lens tilted by 10 degrees, falls by 27 tan 10 = 4.76 mm to the
        // center of rotation 27 mm behind it (textbook): close to 5.
        let exact_mm = 27.0 * 10.0_f64.to_radians().tan();
        assert!((exact_mm - 5.0).abs() < 0.3, "{exact_mm}");
    }

    #[test]
    fn every_way_to_say_it_reads_back() {
        // Boxing system: the middle line is half of B above the lowest point.
        for (typed, words, mm) in [
            ("20", "20.00 mm", 20.0),
            ("4 above the middle", "4.00 mm above the middle", 22.0),
            ("2.5 mm below middle", "2.50 mm below the middle", 15.5),
            ("Middle of the frame", "the middle", 18.0),
            ("", "the middle, assumed", 18.0),
        ] {
            let height = CenterHeight::read(typed).unwrap();
            assert_eq!((height.words().as_str(), height.above_bottom_mm(36.0)), (words, mm), "{typed}");
            assert_eq!(CenterHeight::read(&height.typed()), Ok(height), "{typed}");
        }
        for (typed, says) in [
            ("4.99", "between 5 and 60"),
            ("60.01", "between 5 and 60"),
            ("high", "not a number"),
            ("4 above", "is not a height"),
            ("10.01 above the middle", "at most 10 mm"),
            ("-4 above the middle", "at most 10 mm"),
        ] {
            assert!(
                CenterHeight::read(typed).is_err_and(|why| why.contains(says)),
                "{typed}: {:?}",
                CenterHeight::read(typed)
            );
        }
    }
}
