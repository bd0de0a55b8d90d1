//! Figures as the forms take them: a length or a power between its limits, a prism by itself.

use crate::optics::notation::short;
use crate::optics::prescription::{LensPower, Prism, read};
use crate::optics::unit::{Dioptre, Millimetre, UnitError};

/// A length between two limits in hundredths of a millimetre; `what` begins the sentence, such as `A diameter`.
pub fn length(what: &str, text: &str, least: i32, most: i32) -> Result<Millimetre, String> {
    let length = text.parse::<Millimetre>().map_err(|why: UnitError| why.to_string())?;
    if (least..=most).contains(&length.hundredths()) {
        return Ok(length);
    }
    let [least, most] = [least, most].map(number);
    Err(format!("{what} of {length} mm is not possible: between {least} and {most} was expected"))
}

/// A power between two limits in hundredths of a dioptre.
pub fn power(what: &str, text: &str, least: i32, most: i32) -> Result<Dioptre, String> {
    let power = text.parse::<Dioptre>().map_err(|why: UnitError| why.to_string())?;
    if (least..=most).contains(&power.hundredths()) {
        return Ok(power);
    }
    let [least, most] = [least, most].map(|h| format!("{}{}", if h > 0 { "+" } else { "" }, number(h)));
    Err(format!("{what} of {power} D is not possible: between {least} and {most} was expected"))
}

fn number(hundredths: i32) -> String {
    short(f64::from(hundredths) / 100.0)
}

/// A prism as a prescription writes it, `1.5 BI 1 BU`; nothing and `0` are no prism.
pub fn prism(text: &str) -> Result<Prism, String> {
    if matches!(text, "" | "0" | "0.00" | "none") {
        return Ok(Prism::NONE);
    }
    match read(&format!("pl {text}")) {
        Ok(reading) if reading.rx.power == LensPower::PLANO && !reading.rx.prism.is_none() => Ok(reading.rx.prism),
        _ => Err(format!("“{text}” is not a prism: write the amount and its base, such as 1.5 BI 1 BU, or 0")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_beyond_its_limits_is_told_them() {
        assert_eq!(length("A blank", "70", 4000, 9000).map(|mm| mm.hundredths()), Ok(7000));
        let refused = length("A blank", "95.5", 4000, 9000).unwrap_err();
        assert_eq!(refused, "A blank of 95.50 mm is not possible: between 40 and 90 was expected");
        let refused = power("A front", "-10.25", -1000, 2000).unwrap_err();
        assert_eq!(refused, "A front of -10.25 D is not possible: between -10 and +20 was expected");
    }

    #[test]
    fn a_prism_has_amount_and_base_and_nothing_else() {
        for (text, back) in [("2 BI", "2.00 BI"), ("1.5 BO 1 BU", "1.50 BO 1.00 BU"), ("", ""), ("0", "")] {
            assert_eq!(prism(text).unwrap().notation(), back, "{text}");
        }
        for text in ["2", "BI", "in 2", "x", "-2.00", "-2.00 -1.00 x 90", "2 BI -1.00 x 90"] {
            assert!(prism(text).is_err(), "{text}");
        }
    }
}
