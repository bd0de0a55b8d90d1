//! Reads a list of uncut lenses as the owner pastes it: one lens a line.
//!
//! `-2.25 -0.50 70 center 1.5 front 3.40 x 4`, `+1.00 sph 65 base 6 x2`, `-4.00; -1.25; 75 mm; base 2`: sphere, cylinder,
//! diameter, then in any order the center thickness, the true front or the nominal base curve, and how many (1 where it is
//! not said).

use super::stock::{BASE, CENTER, CYLINDER, DIAMETER, FRONT, MOST_AT_ONCE};
use crate::optics::prescription::read as read_power;
use crate::optics::unit::{Diopter, Millimeter};

/// The most lines accepted.
pub const MAX_LINES: usize = 200;

/// A line of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DeliveredLens {
    pub sphere: Diopter,
    /// Zero or minus.
    pub cylinder: Diopter,
    pub diameter: Millimeter,
    pub center: Option<Millimeter>,
    pub front_power: Option<Diopter>,
    pub base: Option<Diopter>,
    pub count: i64,
}

/// What a lens without front and base is told.
pub const NO_FRONT: &str = "Enter the base curve (nominal is enough) or the true front power";

/// Reads a list; empty lines are skipped.
///
/// # Errors
///
/// A sentence for each line that is not a lens, with its number.
pub fn read_delivery_list(text: &str) -> Result<Vec<DeliveredLens>, Vec<String>> {
    let lines: Vec<(usize, &str)> =
        text.lines().enumerate().map(|(n, line)| (n + 1, line.trim())).filter(|(_, line)| !line.is_empty()).collect();
    if lines.len() > MAX_LINES {
        return Err(vec![format!("The list has {} lines: paste at most {MAX_LINES}", lines.len())]);
    }
    let read = lines.into_iter().map(|(number, line)| read_line(line).map_err(|why| format!("Line {number}: {why}")));
    let (lenses, faults): (Vec<_>, Vec<_>) = read.partition(Result::is_ok);
    let faults: Vec<String> = faults.into_iter().filter_map(Result::err).collect();
    if faults.is_empty() { Ok(lenses.into_iter().filter_map(Result::ok).collect()) } else { Err(faults) }
}

fn read_line(line: &str) -> Result<DeliveredLens, String> {
    let mut words = line.split([' ', '\t', ';', '|']).filter(|word| !word.is_empty() && *word != "mm").peekable();
    let sphere = read_plain_power("A sphere", words.next().unwrap_or_default())?;
    let is_cylinder = |word: &&str| word.starts_with(['-', '+', '−', '–']) || word.parse() == Ok(0.0);
    let cylinder = match words.next_if(|word| ["sph", "ds", "SPH", "DS"].contains(word)) {
        Some(_) => Diopter::ZERO,
        None => {
            words.next_if(is_cylinder).map(|word| read_plain_power("A cylinder", word)).transpose()?.unwrap_or_default()
        }
    };
    let (sphere, cylinder) = minus_form(sphere, cylinder)?;
    let diameter = DIAMETER.read(words.next().unwrap_or_default().trim_start_matches(['⌀', 'ø', 'Ø'])).map_err(said)?;
    let mut lens = DeliveredLens { sphere, cylinder, diameter, center: None, front_power: None, base: None, count: 1 };
    while let Some(word) = words.next() {
        let (name, joined) = word.split_at(word.find(|c: char| !c.is_alphabetic()).unwrap_or(word.len()));
        let value = if joined.is_empty() { words.next().unwrap_or_default() } else { joined };
        match name.to_lowercase().as_str() {
            "center" | "centre" | "ct" | "c" => lens.center = Some(CENTER.read(value).map_err(said)?),
            "front" | "f" => lens.front_power = Some(FRONT.read(value).map_err(said)?),
            "base" | "b" | "bc" => lens.base = Some(BASE.read(value).map_err(said)?),
            "x" | "×" => lens.count = read_count(value)?,
            _ => return Err(format!("“{word}” is not understood: write center 1.5, front 3.40 or base 4, and x 2")),
        }
    }
    if lens.front_power.is_none() && lens.base.is_none() { Err(NO_FRONT.to_owned()) } else { Ok(lens) }
}

fn said(why: impl ToString) -> String {
    why.to_string()
}

/// A power written as a practitioner does, with neither axis nor prism: an uncut lens has no axis yet.
///
/// # Errors
///
/// A sentence that says how to write it.
pub fn read_plain_power(what: &str, text: &str) -> Result<Diopter, String> {
    if text.is_empty() {
        return Err(format!("{what} is needed, such as -2.25 or pl"));
    }
    match read_power(text) {
        Ok(reading) if reading.rx.power.axis().is_none() && reading.rx.prism.is_none() => Ok(reading.rx.power.sphere()),
        Ok(_) => Err(format!("{what} is one number, not “{text}”")),
        Err(faults) => Err(faults.first().map_or_else(|| format!("“{text}” is not a power"), ToString::to_string)),
    }
}

/// The drawer is kept in minus cylinder, as envelopes are printed; the plus form is turned only by the person.
///
/// # Errors
///
/// A sentence with the lens in minus form.
pub fn minus_form(sphere: Diopter, cylinder: Diopter) -> Result<(Diopter, Diopter), String> {
    CYLINDER.check(cylinder).map_err(said)?;
    if cylinder <= Diopter::ZERO {
        return Ok((sphere, cylinder));
    }
    let turned = sphere.hundredths() + cylinder.hundredths();
    let written = |h: i32| Diopter::from_hundredths(h).map_or_else(|_| String::new(), |d| d.to_string());
    Err(format!(
        "That is the plus form. In minus-cylinder form this lens is {} {}: enter it that way",
        written(turned),
        written(-cylinder.hundredths())
    ))
}

/// How many lenses.
///
/// # Errors
///
/// A sentence with the limits.
pub fn read_count(text: &str) -> Result<i64, String> {
    match text.parse::<i64>() {
        Ok(count) if (1..=MOST_AT_ONCE).contains(&count) => Ok(count),
        _ => Err(format!("The quantity is a whole number from 1 to {MOST_AT_ONCE}, not “{text}”")),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn reads_what_is_pasted() {
        for (line, want) in [
            ("-2.25 -0.50 70 center 1.5 front 3.40 x 4", (-225, -50, 7000, Some(150), Some(340), None, 4)),
            ("+1.00 sph 65 base 6 x2", (100, 0, 6500, None, None, Some(600), 2)),
            ("-4.00; -1.25; 75 mm; base 2", (-400, -125, 7500, None, None, Some(200), 1)),
            ("-4.00\t0\t75mm\tb2\tc1.8", (-400, 0, 7500, Some(180), None, Some(200), 1)),
            ("pl 70 base 4", (0, 0, 7000, None, None, Some(400), 1)),
        ] {
            let lens = read_line(line).unwrap_or_else(|why| panic!("{line}: {why}"));
            let got = (
                lens.sphere.hundredths(),
                lens.cylinder.hundredths(),
                lens.diameter.hundredths(),
                lens.center.map(Millimeter::hundredths),
                lens.front_power.map(Diopter::hundredths),
                lens.base.map(Diopter::hundredths),
                lens.count,
            );
            assert_eq!(got, want, "{line}");
        }
    }

    #[test]
    fn every_wrong_line_is_named_with_its_reason() {
        let faults = read_delivery_list(
            "-2.25 -0.50 70 base 4\n-2.25 70\n\nlens\n-1.00 +0.50 70 base 4\n-1.00 20 base 4\n-1.00 70 base 4 x 0\n\
             -1.00 70 red",
        )
        .unwrap_err();
        for (fault, (line, why)) in faults.iter().zip([
            (2, "Enter the base curve"),
            (4, "lens"),
            (5, "-0.50 -0.50: enter it that way"),
            (6, "between 40 and 90"),
            (7, "whole number"),
            (8, "“red” is not understood"),
        ]) {
            assert!(fault.starts_with(&format!("Line {line}: ")) && fault.contains(why), "{fault}");
        }
        assert_eq!(faults.len(), 6, "{faults:?}");
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "[-+0-9a-z.; \n]{0,80}") {
            let _ = read_delivery_list(&text);
        }
    }
}
