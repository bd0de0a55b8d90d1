//! Reads a supplier's list of blanks as the owner pastes it: one diameter per line, with an optional price.
//!
//! `65`, `70 mm`, `70 mm 4.20`, `75; $6.80; in stock`: text after the price is stored as a remark.

use super::money::Cents;
use super::stock::DIAMETER;
use crate::optics::unit::Millimeter;

/// The most lines accepted.
pub const MAX_LINES: usize = 40;

/// A blank a supplier offers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OfferedBlank {
    pub diameter: Millimeter,
    /// Price of one lens.
    pub price: Option<Cents>,
    /// The rest of the line.
    pub remark: String,
}

/// Reads a list; empty lines are skipped.
///
/// # Errors
///
/// A sentence for each line that is not a blank, with its number.
pub fn read_supplier_list(text: &str) -> Result<Vec<OfferedBlank>, Vec<String>> {
    let lines: Vec<(usize, &str)> =
        text.lines().enumerate().map(|(n, line)| (n + 1, line.trim())).filter(|(_, line)| !line.is_empty()).collect();
    if lines.len() > MAX_LINES {
        return Err(vec![format!("The list has {} lines: paste at most {MAX_LINES}", lines.len())]);
    }
    let mut offers = Vec::with_capacity(lines.len());
    let mut faults = Vec::new();
    for (number, line) in lines {
        match read_line(line) {
            Ok(offer) => offers.push(offer),
            Err(why) => faults.push(format!("Line {number}: {why}")),
        }
    }
    if faults.is_empty() { Ok(offers) } else { Err(faults) }
}

fn read_line(line: &str) -> Result<OfferedBlank, String> {
    let mut words = line.split([' ', '\t', ';', '|']).filter(|word| !word.is_empty()).peekable();
    let first = words.next().unwrap_or_default();
    let number = first.trim_start_matches(['⌀', 'ø', 'Ø']).trim_end_matches("mm");
    let diameter: Millimeter =
        number.parse().map_err(|_| format!("“{first}” is not a diameter: write it like 65 or 70 mm 4.20"))?;
    DIAMETER.named("A blank").check(diameter).map_err(|why| why.to_string())?;
    words.next_if(|word| *word == "mm");
    let looks_like_money = |word: &&str| word.starts_with(['$', '-']) || word.starts_with(|c: char| c.is_ascii_digit());
    let price = match words.next_if(looks_like_money) {
        Some(word) => {
            let price: Cents = word.parse().map_err(|why| format!("{why}"))?;
            if price.is_negative() {
                return Err(format!("A price of {price} is negative: write it without a minus sign"));
            }
            Some(price)
        }
        None => None,
    };
    Ok(OfferedBlank { diameter, price, remark: words.collect::<Vec<_>>().join(" ") })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn reads_what_suppliers_write() {
        let read = read_supplier_list("65\n\n70 mm\n70mm 4.20\n⌀75; $6.80; two weeks\r\n62,5 in stock\n").unwrap();
        let rows: Vec<(i32, Option<i64>, &str)> =
            read.iter().map(|o| (o.diameter.hundredths(), o.price.map(Cents::cents), o.remark.as_str())).collect();
        assert_eq!(
            rows,
            [
                (6500, None, ""),
                (7000, None, ""),
                (7000, Some(420), ""),
                (7500, Some(680), "two weeks"),
                (6250, None, "in stock")
            ]
        );
        assert_eq!(read_supplier_list(" \n"), Ok(Vec::new()));
    }

    #[test]
    fn every_fault_names_its_line() {
        let faults = read_supplier_list("65\nlarge\n30\n70 4.205\n70 -3").unwrap_err();
        assert_eq!(faults.len(), 4, "{faults:?}");
        for (fault, start) in
            faults.iter().zip(["Line 2: “large”", "Line 3: A blank of 30.00", "Line 4: ", "Line 5: A price"])
        {
            assert!(fault.starts_with(start), "{fault}");
        }
        assert!(read_supplier_list(&"65\n".repeat(41)).is_err());
    }

    proptest! {
        #[test]
        fn any_text_gives_a_list_or_faults(text in "[ -~\n⌀mm]{0,200}") {
            let _ = read_supplier_list(&text);
        }

        #[test]
        fn a_written_list_round_trips(rows in prop::collection::vec((4000..=9000_i32, prop::option::of(0..100_000_i64)), 0..20)) {
            let line = |(d, p): &(i32, Option<i64>)| {
                let price = p.map(|p| format!(" ${}", Cents::new(p).plain())).unwrap_or_default();
                format!("{} mm{price}\n", Millimeter::from_hundredths(*d).unwrap())
            };
            let read = read_supplier_list(&rows.iter().map(line).collect::<String>()).unwrap();
            let got: Vec<_> = read.iter().map(|o| (o.diameter.hundredths(), o.price.map(Cents::cents))).collect();
            prop_assert_eq!(got, rows);
        }
    }
}
