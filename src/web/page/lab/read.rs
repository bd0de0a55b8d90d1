//! How the fields of the lab's forms are read.

use std::ops::RangeInclusive;

/// A whole number within its range.
pub fn whole(what: &str, text: &str, range: RangeInclusive<i32>) -> Result<i32, String> {
    scaled(what, text, 0, range)
}

/// A decimal number of at most `places` places, as a whole number of its last place.
pub fn scaled(what: &str, text: &str, places: usize, range: RangeInclusive<i32>) -> Result<i32, String> {
    let unit = 10f64.powi(i32::try_from(places).unwrap_or(0));
    let written = |n: i32| format!("{:.places$}", f64::from(n) / unit);
    let wrong = || {
        format!("{what} is a number between {} and {}, not “{text}”", written(*range.start()), written(*range.end()))
    };
    let clean = text.replace(',', ".");
    let (whole, fraction) = clean.split_once('.').unwrap_or((&clean, ""));
    let kept = fraction.trim_end_matches('0');
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || whole.len() > 6 || !digits(whole) || !digits(fraction) || kept.len() > places {
        return Err(wrong());
    }
    let number: i32 = format!("{whole}{kept:0<places$}").parse().map_err(|_| wrong())?;
    if range.contains(&number) { Ok(number) } else { Err(wrong()) }
}

/// Writes such a number as its field holds it.
pub fn written(number: i32, places: usize) -> String {
    let unit = 10f64.powi(i32::try_from(places).unwrap_or(0));
    format!("{:.places$}", f64::from(number) / unit)
}

/// A procedure code: nothing, or one letter and four digits.
pub fn read_code(text: &str) -> Result<String, String> {
    let code = text.trim().to_ascii_uppercase();
    let mut bytes = code.bytes();
    let shaped =
        code.len() == 5 && bytes.next().is_some_and(|b| b.is_ascii_uppercase()) && bytes.all(|b| b.is_ascii_digit());
    if code.is_empty() || shaped {
        Ok(code)
    } else {
        Err(format!("“{code}” is not a procedure code: one letter and four digits, such as V2784, or nothing"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_numbers_of_a_few_places() {
        for (text, places, number) in [
            ("1.498", 3, Some(1498)),
            ("1.5", 3, Some(1500)),
            ("1,5", 3, Some(1500)),
            ("2", 0, Some(2)),
            ("58.0", 1, Some(580)),
        ] {
            assert_eq!(scaled("It", text, places, 1..=2000).ok(), number, "{text}");
        }
        for text in ["", "1.4985", "-1", "x", "9999", "1e3", "+1"] {
            assert!(scaled("It", text, 3, 1400..=2000).is_err(), "{text}");
        }
        assert_eq!(written(1498, 3), "1.498");
    }

    #[test]
    fn reads_codes() {
        assert_eq!(read_code(" v2784 "), Ok("V2784".into()));
        assert_eq!(read_code(""), Ok(String::new()));
        for text in ["2784", "VV784", "V278", "V27845", "é784"] {
            assert!(read_code(text).is_err(), "{text}");
        }
    }
}
