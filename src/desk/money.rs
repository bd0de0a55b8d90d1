//! Money in whole cents.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, Neg, Sub};
use std::str::FromStr;

use thiserror::Error;

/// An amount in cents; negative for a discount or a refund.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, serde::Serialize, serde::Deserialize)]
#[serde(transparent)]
pub struct Cents(i64);

/// Why a typed amount is not money.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum MoneyError {
    /// Not a number of dollars and cents.
    #[error("“{0}” is not an amount: write it like 89 or 89.50")]
    NotAnAmount(String),
    /// More than [`Cents::MOST`].
    #[error("“{0}” is more than a million: check the decimal point")]
    TooMuch(String),
    /// A price below nothing, or above the most.
    #[error("A price is between $0.00 and {0}")]
    NotAPrice(Cents),
}

impl Cents {
    /// Zero.
    pub const ZERO: Self = Self(0);
    /// The largest amount a single line may hold: a million dollars.
    pub const MOST: i64 = 100_000_000;
    /// The highest price of a lens, a frame or a treatment: a hundred thousand dollars.
    pub const MOST_PRICE: Self = Self(10_000_000);

    /// An amount from whole cents.
    pub const fn new(cents: i64) -> Self {
        Self(cents)
    }

    /// The amount in whole cents.
    pub const fn cents(self) -> i64 {
        self.0
    }

    /// Reads a price: nothing or more, up to `most`.
    ///
    /// # Errors
    ///
    /// [`MoneyError`], a sentence to stand beside the field.
    pub fn read_price(text: &str, most: Self) -> Result<Self, MoneyError> {
        let price: Self = text.parse()?;
        if price.is_negative() || price > most { Err(MoneyError::NotAPrice(most)) } else { Ok(price) }
    }

    /// Whether the amount is below zero.
    pub const fn is_negative(self) -> bool {
        self.0 < 0
    }

    /// The amount as a form field holds it: `89.50`, no currency sign and no thousands mark.
    pub fn plain(self) -> String {
        let sign = if self.0 < 0 { "-" } else { "" };
        let size = self.0.unsigned_abs();
        format!("{sign}{}.{:02}", size / 100, size % 100)
    }
}

impl fmt::Display for Cents {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let size = self.0.unsigned_abs();
        let dollars = (size / 100).to_string();
        let mut grouped = String::new();
        for (i, digit) in dollars.chars().enumerate() {
            if i > 0 && (dollars.len() - i).is_multiple_of(3) {
                grouped.push(',');
            }
            grouped.push(digit);
        }
        write!(f, "{sign}${grouped}.{:02}", size % 100)
    }
}

impl FromStr for Cents {
    type Err = MoneyError;

    /// Reads `89`, `89.5`, `$1,289.50`, `-12.00`. Cents are never rounded: a third decimal is refused.
    fn from_str(text: &str) -> Result<Self, MoneyError> {
        let wrong = || MoneyError::NotAnAmount(text.trim().to_owned());
        let clean = text.trim().replace(['−', '–'], "-");
        let (negative, rest) = match clean.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, clean.as_str()),
        };
        let rest = rest.trim_start_matches('$');
        let (dollars, cents) = rest.split_once('.').unwrap_or((rest, ""));
        let groups: Vec<&str> = dollars.split(',').collect();
        // A comma may only separate groups of three digits, so 12,50 is refused and not read as 1250.
        if groups.len() > 1 && groups[1..].iter().any(|g| g.len() != 3) {
            return Err(wrong());
        }
        let dollars = groups.concat();
        let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
        if dollars.is_empty() && cents.is_empty() || !digits(&dollars) || !digits(cents) || cents.len() > 2 {
            return Err(wrong());
        }
        if dollars.len() > 9 {
            return Err(MoneyError::TooMuch(text.trim().to_owned()));
        }
        let dollars: i64 = if dollars.is_empty() { 0 } else { dollars.parse().map_err(|_| wrong())? };
        let cents: i64 = format!("{cents:0<2}").parse().map_err(|_| wrong())?;
        let size = dollars * 100 + cents;
        if size > Self::MOST {
            return Err(MoneyError::TooMuch(text.trim().to_owned()));
        }
        Ok(Self(if negative { -size } else { size }))
    }
}

impl Add for Cents {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Cents {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Neg for Cents {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl Sum for Cents {
    fn sum<I: Iterator<Item = Self>>(amounts: I) -> Self {
        amounts.fold(Self::ZERO, Add::add)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_price_is_taken_up_to_the_most() {
        let read = |text| Cents::read_price(text, Cents::new(1_000_000));
        assert_eq!([read("0"), read("10,000.00")], [Ok(Cents::ZERO), Ok(Cents::new(1_000_000))]);
        for text in ["-0.01", "10000.01"] {
            assert_eq!(read(text).unwrap_err().to_string(), "A price is between $0.00 and $10,000.00", "{text}");
        }
    }

    #[test]
    fn reads_amounts_as_people_write_them() {
        for (text, cents) in
            [("89", 8900), ("89.5", 8950), ("$1,289.50", 128_950), ("-12.00", -1200), (".99", 99), ("0", 0)]
        {
            assert_eq!(text.parse(), Ok(Cents(cents)), "{text}");
        }
        for text in ["", "12,50", "1.234", "abc", "--1", "1e3", "$"] {
            assert!(matches!(text.parse::<Cents>(), Err(MoneyError::NotAnAmount(_))), "{text}");
        }
        assert!(matches!("1000000.01".parse::<Cents>(), Err(MoneyError::TooMuch(_))));
    }

    #[test]
    fn writes_dollars() {
        assert_eq!(Cents(-1_234_567).to_string(), "-$12,345.67");
        assert_eq!(Cents(5).to_string(), "$0.05");
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(cents in -Cents::MOST..=Cents::MOST) {
            prop_assert_eq!(Cents(cents).to_string().parse(), Ok(Cents(cents)));
            prop_assert_eq!(Cents(cents).plain().parse(), Ok(Cents(cents)));
        }

        #[test]
        fn cents_always_sum(amounts in proptest::collection::vec(-1_000_000i64..1_000_000, 0..40)) {
            let total: Cents = amounts.iter().copied().map(Cents).sum();
            prop_assert_eq!(total.cents(), amounts.iter().sum::<i64>());
        }
    }
}
