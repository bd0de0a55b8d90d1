//! The national provider identifier of a prescriber.
//!
//! Source: CMS, "Requirements for National Provider Identifier (NPI) and NPI Check Digit" (45 CFR 162.406): ten digits, the
//! first 1 or 2, the last a Luhn check digit over the number with the prefix 80840.

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

/// Ten digits with a right check digit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Npi(String);

/// Why a typed number is no identifier.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NpiError {
    #[error("An NPI has ten digits and begins with 1 or 2")]
    NotTenDigits,
    #[error("The check digit of this NPI is wrong: read it again, or leave it empty")]
    CheckDigit,
}

impl FromStr for Npi {
    type Err = NpiError;

    /// Reads ten digits; blanks and hyphens between them do not count.
    fn from_str(text: &str) -> Result<Self, NpiError> {
        let digits: String = text.chars().filter(|c| !c.is_whitespace() && *c != '-').collect();
        let is_ten = digits.len() == 10 && digits.bytes().all(|b| b.is_ascii_digit());
        if !is_ten || !digits.starts_with(['1', '2']) {
            return Err(NpiError::NotTenDigits);
        }
        if luhn_sum(&format!("80840{digits}")).is_multiple_of(10) {
            Ok(Self(digits))
        } else {
            Err(NpiError::CheckDigit)
        }
    }
}

impl fmt::Display for Npi {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The Luhn sum (ISO/IEC 7812-1, annex B): from the right every second digit is doubled, and the digits of the products
/// are added.
fn luhn_sum(digits: &str) -> u32 {
    let weigh = |(at, digit): (usize, char)| {
        let digit = digit.to_digit(10).unwrap_or(0);
        let weighed = if at % 2 == 1 { digit * 2 } else { digit };
        weighed / 10 + weighed % 10
    };
    digits.chars().rev().enumerate().map(weigh).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of the CMS document: 123456789 has the check digit 3. Its sum with the prefix is 70.
    #[test]
    fn the_published_example_is_right() {
        assert_eq!("1234567893".parse::<Npi>().map(|npi| npi.to_string()), Ok("1234567893".to_owned()));
        assert_eq!(luhn_sum("808401234567893"), 70);
        // The prefix alone adds 24, as the document says for numbers without it: 8·2 → 7, 0, 8·2 → 7, 4·2 → 8, 0, and so on.
        assert_eq!(luhn_sum("808401234567893") - luhn_sum("1234567893"), 24);
        for last in "012456789".chars() {
            assert_eq!(format!("123456789{last}").parse::<Npi>(), Err(NpiError::CheckDigit));
        }
    }

    #[test]
    fn a_single_wrong_digit_or_two_exchanged_neighbors_are_noticed() {
        let right = "1234567893";
        for at in 1..10 {
            let mut digits: Vec<char> = right.chars().collect();
            digits.swap(at - 1, at);
            let exchanged: String = digits.iter().collect();
            assert!(exchanged.parse::<Npi>().is_err(), "{exchanged}");
        }
    }

    #[test]
    fn reads_blanks_and_hyphens_and_nothing_else() {
        assert!("123-456-7893".parse::<Npi>().is_ok() && " 1234 567 893 ".parse::<Npi>().is_ok());
        for wrong in ["", "123456789", "12345678933", "3234567893", "12345678g3", "１234567893"] {
            assert_eq!(wrong.parse::<Npi>(), Err(NpiError::NotTenDigits), "{wrong}");
        }
    }
}
