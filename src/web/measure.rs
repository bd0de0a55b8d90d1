//! A prism as the forms take it, by itself.

use crate::optics::prescription::{LensPower, Prism, read};

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
    fn a_prism_has_amount_and_base_and_nothing_else() {
        for (text, back) in [("2 BI", "2.00 BI"), ("1.5 BO 1 BU", "1.50 BO 1.00 BU"), ("", ""), ("0", "")] {
            assert_eq!(prism(text).unwrap().notation(), back, "{text}");
        }
        for text in ["2", "BI", "in 2", "x", "-2.00", "-2.00 -1.00 x 90", "2 BI -1.00 x 90"] {
            assert!(prism(text).is_err(), "{text}");
        }
    }
}
