//! Figures that a person types, and the limits they have. Each limit stands in the module of its noun; here they are read.

use thiserror::Error;

use crate::optics::unit::{Diopter, Millimeter, Tilt, UnitError};

/// Why a figure cannot be taken.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LimitError {
    /// Nothing was typed where something is needed.
    #[error("{what} is needed, between {least} and {most} {unit}")]
    Missing {
        /// What was being read, such as `A diameter`.
        what: &'static str,
        /// As written.
        least: String,
        /// As written.
        most: String,
        /// As written.
        unit: &'static str,
    },
    /// It is no such figure at all, or one that no unit has.
    #[error("{why}: between {least} and {most} {unit} was expected")]
    Unreadable {
        /// What is wrong with the text.
        why: String,
        /// As written.
        least: String,
        /// As written.
        most: String,
        /// As written.
        unit: &'static str,
    },
    /// It lies beyond its limits.
    #[error("{what} of {value} {unit} is not possible: between {least} and {most} was expected")]
    Beyond {
        /// What was being read.
        what: &'static str,
        /// What was read.
        value: String,
        /// As written.
        least: String,
        /// As written.
        most: String,
        /// As written.
        unit: &'static str,
    },
}

/// A length between two limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LengthLimit {
    what: &'static str,
    least: i32,
    most: i32,
}

impl LengthLimit {
    /// A limit in hundredths of a millimeter; `what` begins the sentence, such as `A diameter`.
    pub const fn new(what: &'static str, least: i32, most: i32) -> Self {
        Self { what, least, most }
    }

    /// The same limit of something with another name.
    pub const fn named(self, what: &'static str) -> Self {
        Self { what, ..self }
    }

    /// Reads a length, with or without `mm` behind it.
    ///
    /// # Errors
    ///
    /// [`LimitError`], a sentence to stand beside the field.
    pub fn read(self, text: &str) -> Result<Millimeter, LimitError> {
        let text = text.trim().trim_end_matches("mm").trim();
        let [least, most] = [self.least, self.most].map(plain);
        if text.is_empty() {
            return Err(LimitError::Missing { what: self.what, least, most, unit: "mm" });
        }
        self.check(text.parse().map_err(|why| not_read(why, text, self.what, [least, most], "mm"))?)
    }

    /// A length that was read already.
    ///
    /// # Errors
    ///
    /// [`LimitError::Beyond`].
    pub fn check(self, length: Millimeter) -> Result<Millimeter, LimitError> {
        if (self.least..=self.most).contains(&length.hundredths()) {
            return Ok(length);
        }
        let [least, most] = [self.least, self.most].map(plain);
        Err(LimitError::Beyond { what: self.what, value: length.to_string(), least, most, unit: "mm" })
    }
}

/// A power between two limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PowerLimit {
    what: &'static str,
    least: i32,
    most: i32,
}

impl PowerLimit {
    /// A limit in hundredths of a diopter; `what` begins the sentence, such as `A front`.
    pub const fn new(what: &'static str, least: i32, most: i32) -> Self {
        Self { what, least, most }
    }

    /// Reads a power.
    ///
    /// # Errors
    ///
    /// [`LimitError`], a sentence to stand beside the field.
    pub fn read(self, text: &str) -> Result<Diopter, LimitError> {
        let [least, most] = [self.least, self.most].map(signed);
        if text.trim().is_empty() {
            return Err(LimitError::Missing { what: self.what, least, most, unit: "D" });
        }
        self.check(text.trim().parse().map_err(|why| not_read(why, text.trim(), self.what, [least, most], "D"))?)
    }

    /// A power that was read already.
    ///
    /// # Errors
    ///
    /// [`LimitError::Beyond`].
    pub fn check(self, power: Diopter) -> Result<Diopter, LimitError> {
        if (self.least..=self.most).contains(&power.hundredths()) {
            return Ok(power);
        }
        let [least, most] = [self.least, self.most].map(signed);
        Err(LimitError::Beyond { what: self.what, value: power.to_string(), least, most, unit: "D" })
    }
}

/// Reads a tilt of a lens before the eye, in degrees: pantoscopic tilt or wrap.
///
/// # Errors
///
/// [`LimitError`], a sentence to stand beside the field.
pub fn read_tilt(text: &str) -> Result<Tilt, LimitError> {
    let text = text.trim().trim_end_matches('°').trim();
    let [least, most] = [Tilt::MIN, Tilt::MAX].map(|tilt| plain(tilt.hundredths()));
    if text.is_empty() {
        return Err(LimitError::Missing { what: "A tilt", least, most, unit: "degrees" });
    }
    text.parse().map_err(|why| not_read(why, text, "A tilt", [least, most], "degrees"))
}

/// The sentence about a text that is no value of its unit.
fn not_read(why: UnitError, text: &str, what: &'static str, limits: [String; 2], unit: &'static str) -> LimitError {
    let [least, most] = limits;
    match why {
        UnitError::OutOfRange { .. } => LimitError::Beyond { what, value: format!("“{text}”"), least, most, unit },
        why => LimitError::Unreadable { why: why.to_string(), least, most, unit },
    }
}

/// `40` for 4000 and `0.5` for 50.
fn plain(hundredths: i32) -> String {
    let text = format!("{:.2}", f64::from(hundredths) / 100.0);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn signed(hundredths: i32) -> String {
    format!("{}{}", if hundredths > 0 { "+" } else { "" }, plain(hundredths))
}

#[cfg(test)]
mod tests {
    use super::*;

    const DIAMETER: LengthLimit = LengthLimit::new("A diameter", 4000, 9000);
    const FRONT: PowerLimit = PowerLimit::new("A front", -1000, 2000);

    fn said<T>(refused: Result<T, LimitError>) -> String {
        refused.err().map(|why| why.to_string()).unwrap_or_default()
    }

    #[test]
    fn a_length_is_taken_up_to_both_limits() {
        for (text, hundredths) in [("40", 4000), ("90.00", 9000), ("62,5", 6250), ("70 mm", 7000)] {
            assert_eq!(DIAMETER.read(text).map(Millimeter::hundredths), Ok(hundredths), "{text}");
        }
        for text in ["39.99", "90.01", "-70"] {
            assert!(said(DIAMETER.read(text)).ends_with("is not possible: between 40 and 90 was expected"), "{text}");
        }
        assert_eq!(
            said(DIAMETER.read("95.5")),
            "A diameter of 95.50 mm is not possible: between 40 and 90 was expected"
        );
        assert_eq!(said(DIAMETER.named("A blank").read(" ")), "A blank is needed, between 40 and 90 mm");
        assert_eq!(said(LengthLimit::new("A center", 50, 2000).read("")), "A center is needed, between 0.5 and 20 mm");
        assert_eq!(said(DIAMETER.read("wide")), "“wide” is not a number: between 40 and 90 mm was expected");
        let long = said(DIAMETER.read(&"9".repeat(50_000)));
        assert!(long.ends_with("is not possible: between 40 and 90 was expected"), "{}", &long[long.len() - 60..]);
        assert_eq!(
            said(DIAMETER.read("500")),
            "A diameter of “500” mm is not possible: between 40 and 90 was expected",
            "beyond every length"
        );
    }

    #[test]
    fn a_power_is_told_its_limits_with_their_signs() {
        assert_eq!(FRONT.read("+20").map(Diopter::hundredths), Ok(2000));
        assert_eq!(said(FRONT.read("-10.25")), "A front of -10.25 D is not possible: between -10 and +20 was expected");
        assert!(said(FRONT.read("1e9")).ends_with(": between -10 and +20 D was expected"));
        assert_eq!(said(FRONT.read("")), "A front is needed, between -10 and +20 D");
        assert_eq!(said(FRONT.read("99")), "A front of “99” D is not possible: between -10 and +20 was expected");
    }

    #[test]
    fn a_tilt_is_told_its_limits() {
        assert_eq!(read_tilt(" -40° ").map(Tilt::hundredths), Ok(-4000));
        assert_eq!(
            said(read_tilt("40.01")),
            "A tilt of “40.01” degrees is not possible: between -40 and 40 was expected"
        );
        assert_eq!(said(read_tilt("NaN")), "“NaN” is not a number: between -40 and 40 degrees was expected");
        assert_eq!(said(read_tilt("")), "A tilt is needed, between -40 and 40 degrees");
    }
}
