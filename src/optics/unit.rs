//! Exact quantities for what was ordered or measured. Stored as whole hundredths, so no rounding error builds up.
//!
//! Each type has a checked constructor, a declared range, `FromStr` for typed text and `Display` in the trade's
//! notation. There is no `From<f64>`: computed values stay `f64` with the unit in the name until `round_from`.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

/// Why a typed or computed number is not a value of the unit.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum UnitError {
    /// The text is not a number.
    #[error("“{0}” is not a number")]
    NotANumber(String),
    /// The number has more than six digits before its point.
    #[error("“{0}” is too large a number")]
    TooLarge(String),
    /// The number has more than two decimals.
    #[error("“{0}” has more than two decimals")]
    TooFine(String),
    /// The number is outside the declared range of the unit.
    #[error("{what} must be between {min} and {max}")]
    OutOfRange {
        /// What the number is, such as `A power`. Starts the sentence.
        what: &'static str,
        /// The smallest value allowed, formatted.
        min: String,
        /// The largest value allowed, formatted.
        max: String,
    },
}

/// Reads a decimal number of at most two places into hundredths, without going through `f64`.
///
/// Accepts a comma for the decimal point, a leading `+`, and the typographic minus signs.
///
/// # Errors
///
/// [`UnitError::NotANumber`], [`UnitError::TooLarge`] or [`UnitError::TooFine`] (a third decimal that is not zero).
pub fn parse_hundredths(text: &str) -> Result<i32, UnitError> {
    let clean = text.trim().replace(['−', '–', '—'], "-").replace(',', ".");
    let not_a_number = || UnitError::NotANumber(text.trim().to_owned());
    let (sign, digits) = match clean.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, clean.strip_prefix('+').unwrap_or(&clean)),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if (whole.is_empty() && fraction.is_empty()) || !all_digits(whole) || !all_digits(fraction) {
        return Err(not_a_number());
    }
    if whole.len() > 6 {
        return Err(UnitError::TooLarge(text.trim().to_owned()));
    }
    let kept = fraction.trim_end_matches('0');
    if kept.len() > 2 {
        return Err(UnitError::TooFine(text.trim().to_owned()));
    }
    let whole: i32 = if whole.is_empty() { 0 } else { whole.parse().map_err(|_| not_a_number())? };
    let fraction: i32 = format!("{kept:0<2}").parse().map_err(|_| not_a_number())?;
    Ok(sign * (whole * 100 + fraction))
}

fn write_hundredths(f: &mut fmt::Formatter<'_>, hundredths: i32, always_signed: bool) -> fmt::Result {
    let sign = match hundredths {
        h if h < 0 => "-",
        _ if always_signed => "+",
        _ => "",
    };
    let size = hundredths.unsigned_abs();
    write!(f, "{sign}{}.{:02}", size / 100, size % 100)
}

macro_rules! hundredths {
    ($(#[$doc:meta])* $name:ident, $what:literal, $min:expr, $max:expr, signed = $signed:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
        pub struct $name(i32);

        impl $name {
            /// Zero.
            pub const ZERO: Self = Self(0);
            /// The smallest value allowed.
            pub const MIN: Self = Self($min);
            /// The largest value allowed.
            pub const MAX: Self = Self($max);

            /// A value from whole hundredths.
            ///
            /// # Errors
            ///
            /// [`UnitError::OutOfRange`] outside `MIN..=MAX`.
            pub fn from_hundredths(hundredths: i32) -> Result<Self, UnitError> {
                if (Self::MIN.0..=Self::MAX.0).contains(&hundredths) {
                    Ok(Self(hundredths))
                } else {
                    Err(Self::out_of_range())
                }
            }

            fn out_of_range() -> UnitError {
                UnitError::OutOfRange { what: $what, min: Self::MIN.to_string(), max: Self::MAX.to_string() }
            }

            /// The nearest hundredth to a computed value, halves away from zero.
            ///
            /// # Errors
            ///
            /// [`UnitError::OutOfRange`] outside `MIN..=MAX`, or when the value is not finite.
            pub fn round_from(value: f64) -> Result<Self, UnitError> {
                let scaled = (value * 100.0).round();
                // An infinity saturates and fails the range check below. NaN would become 0, so it is refused here.
                if scaled.is_nan() {
                    return Err(UnitError::NotANumber(value.to_string()));
                }
                Self::from_hundredths(scaled as i32)
            }

            /// The value in whole hundredths.
            pub const fn hundredths(self) -> i32 {
                self.0
            }

            /// The value as `f64`, for computing.
            pub fn to_f64(self) -> f64 {
                f64::from(self.0) / 100.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write_hundredths(f, self.0, $signed)
            }
        }

        impl FromStr for $name {
            type Err = UnitError;

            fn from_str(text: &str) -> Result<Self, UnitError> {
                match parse_hundredths(text) {
                    Err(UnitError::TooLarge(_)) => Err(Self::out_of_range()),
                    read => Self::from_hundredths(read?),
                }
            }
        }
    };
}

hundredths! {
    /// A lens power in diopters, in hundredths; written with its sign, `-2.25`.
    Diopter, "A power", -4000, 4000, signed = true
}
hundredths! {
    /// A prism in prism diopters (1 cm at 1 m), in hundredths. Its direction is stored beside it.
    PrismDiopter, "A prism", -3000, 3000, signed = false
}
hundredths! {
    /// A length in millimeters, in hundredths.
    Millimeter, "A length", -20000, 20000, signed = false
}

hundredths! {
    /// A tilt of a lens before the eye in degrees, in hundredths: pantoscopic tilt or wrap.
    Tilt, "A tilt", -4000, 4000, signed = false
}

impl Diopter {
    /// The power for computing, with eighths in full: the trade writes `0.12` or `0.13` for 0.125, so ±0.12 and
    /// ±0.13 become 0.125 (likewise 0.37/0.38, 0.62/0.63 and 0.87/0.88).
    ///
    /// Use it for what was *prescribed*. For what was *measured* use [`Diopter::to_f64`].
    /// Source: common practice.
    pub fn to_f64_in_eighths(self) -> f64 {
        match self.eighths() {
            Some(eighths) => f64::from(eighths) * 0.125,
            None => self.to_f64(),
        }
    }

    /// The power in eighths, when it is a whole number of them.
    pub fn eighths(self) -> Option<i32> {
        let eighths = (f64::from(self.0) / 12.5).round();
        // 12 and 13 hundredths are both 0.5 away from 12.5, the exact eighth.
        ((f64::from(self.0) - eighths * 12.5).abs() <= 0.5).then_some(eighths as i32)
    }
}

/// A cylinder axis, 1 to 180 degrees; 0 is read as 180 (ISO 8429).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Axis(u8);

impl Axis {
    /// An axis in whole degrees; 0 means 180.
    ///
    /// # Errors
    ///
    /// [`UnitError::OutOfRange`] outside 0 to 180.
    pub fn new(degrees: i32) -> Result<Self, UnitError> {
        match degrees {
            0 => Ok(Self(180)),
            1..=180 => Ok(Self(degrees as u8)),
            _ => Err(UnitError::OutOfRange { what: "An axis", min: "1".into(), max: "180".into() }),
        }
    }

    /// The axis in degrees, 1 to 180.
    pub fn degrees(self) -> i32 {
        i32::from(self.0)
    }

    /// The axis 90° away.
    pub fn perpendicular(self) -> Self {
        Self(if self.0 <= 90 { self.0 + 90 } else { self.0 - 90 })
    }

    /// The smallest angle between two axes, 0 to 90 degrees.
    pub fn difference_deg(self, other: Self) -> i32 {
        let turn = (self.degrees() - other.degrees()).rem_euclid(180);
        turn.min(180 - turn)
    }
}

impl fmt::Display for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:03}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_typed_numbers() {
        for (text, hundredths) in
            [("+1.25", 125), ("-.5", -50), ("−2,25", -225), ("0", 0), ("3", 300), (" 1.250 ", 125), ("-0.12", -12)]
        {
            assert_eq!(parse_hundredths(text), Ok(hundredths), "{text}");
        }
        for text in ["", "+", ".", "1.2.3", "abc", "1e2", "--1"] {
            assert!(matches!(parse_hundredths(text), Err(UnitError::NotANumber(_))), "{text}");
        }
        assert!(matches!(parse_hundredths("1.125"), Err(UnitError::TooFine(_))));
        assert!(matches!(parse_hundredths("9999999"), Err(UnitError::TooLarge(_))));
        let beyond = "-99999999999".parse::<Tilt>().map_err(|why| why.to_string());
        assert_eq!(beyond, Err("A tilt must be between -40.00 and 40.00".to_owned()));
    }

    #[test]
    fn writes_two_places_and_the_sign_of_a_power() {
        assert_eq!(Diopter::from_hundredths(-225).unwrap().to_string(), "-2.25");
        assert_eq!(Diopter::ZERO.to_string(), "+0.00");
        assert_eq!(Diopter::from_hundredths(5).unwrap().to_string(), "+0.05");
        assert_eq!(Millimeter::from_hundredths(-5).unwrap().to_string(), "-0.05");
        assert_eq!(Millimeter::from_hundredths(3150).unwrap().to_string(), "31.50");
    }

    #[test]
    fn refuses_values_out_of_range_or_not_finite() {
        assert!("41".parse::<Diopter>().is_err());
        assert!(Diopter::round_from(f64::NAN).is_err());
        assert!(Diopter::round_from(f64::INFINITY).is_err());
        assert_eq!(Diopter::round_from(-1.005 - 1e-9).unwrap().hundredths(), -101);
    }

    #[test]
    fn an_eighth_may_be_written_either_way() {
        for h in [12, 13, -12, -13, 37, 38, 62, 63, 87, 88, 25, 0, -225] {
            assert!(Diopter::from_hundredths(h).unwrap().eighths().is_some(), "{h}");
        }
        for h in [11, 14, 30, 36, 26, 10] {
            assert!(Diopter::from_hundredths(h).unwrap().eighths().is_none(), "{h}");
        }
        assert_eq!(Diopter::from_hundredths(-13).unwrap().to_f64_in_eighths(), -0.125);
    }

    #[test]
    fn axis_zero_is_one_eighty() {
        assert_eq!(Axis::new(0).unwrap().degrees(), 180);
        assert_eq!(Axis::new(5).unwrap().to_string(), "005");
        assert!(Axis::new(181).is_err());
        assert_eq!(Axis::new(180).unwrap().perpendicular().degrees(), 90);
        assert_eq!(Axis::new(1).unwrap().difference_deg(Axis::new(179).unwrap()), 2);
    }
}
