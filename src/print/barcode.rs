//! The job number as a Code 128 barcode (ISO/IEC 15417), which a scanner types into the job-number box.

use barcoders::sym::code128::Code128;
use serde::{Deserialize, Serialize};

use crate::optics::notation;

/// Width of the narrowest bar. Source: common practice, from memory: 0.33 mm (13 mil) reads from paper of any
/// printer; a little more forgives a tired one.
pub const MODULE_MM: f64 = 0.4;
/// The narrowest bar ever drawn.
pub const LEAST_MODULE_MM: f64 = 0.33;
/// Quiet zone on each side, in modules. Source: ISO/IEC 15417 asks for ten.
pub const QUIET_MODULES: usize = 10;
/// Height of the bars.
pub const HEIGHT_MM: f64 = 12.0;

/// A barcode, ready to draw: all in millimeters.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Barcode {
    /// What it says.
    pub text: String,
    /// Width with both quiet zones.
    pub width: String,
    /// Height of the bars.
    pub height: String,
    /// The dark bars from left to right.
    pub bars: Vec<Bar>,
}

/// A dark bar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bar {
    /// Its left side.
    pub x: String,
    /// Its width.
    pub width: String,
}

/// The barcode of a job number. A negative number, which no job has, is drawn without its sign.
pub fn of_number(number: i64) -> Barcode {
    let text = number.unsigned_abs().to_string();
    let modules = modules(&text).unwrap_or_default();
    Barcode::new(text, &modules, MODULE_MM)
}

/// The barcode of a carrier's number, blanks left out. `None` for nothing, for letters beyond ASCII, and for one
/// that would be wider than `most_mm`.
pub fn of_text(text: &str, most_mm: f64) -> Option<Barcode> {
    let message: String = text.split_whitespace().collect();
    let modules = modules(&message)?;
    let module_mm =
        [MODULE_MM, LEAST_MODULE_MM].into_iter().find(|module_mm| width_mm(&modules, *module_mm) <= most_mm)?;
    Some(Barcode::new(message, &modules, module_mm))
}

fn width_mm(modules: &[bool], module_mm: f64) -> f64 {
    (modules.len() + 2 * QUIET_MODULES) as f64 * module_mm
}

/// The bars (true) and spaces of a text of visible ASCII.
fn modules(text: &str) -> Option<Vec<bool>> {
    if text.is_empty() || !text.bytes().all(|b| b.is_ascii_graphic()) {
        return None;
    }
    let all_digits = text.bytes().all(|b| b.is_ascii_digit());
    // Code set C takes two digits a symbol, so an odd first digit is written in set B. Ć and Ɓ name the sets.
    let message = match (all_digits, text.len() % 2, text.split_at(1)) {
        (true, 0, _) => format!("\u{0106}{text}"),
        (true, _, (first, rest)) if !rest.is_empty() => format!("\u{0181}{first}\u{0106}{rest}"),
        _ => format!("\u{0181}{text}"),
    };
    Code128::new(message).map(|code| code.encode().into_iter().map(|m| m == 1).collect()).ok()
}

impl Barcode {
    fn new(text: String, modules: &[bool], module_mm: f64) -> Self {
        let mut bars = Vec::new();
        let mut at = 0;
        // Neighboring dark modules are one bar: two rectangles side by side leave a hairline on some printers.
        for bar in modules.chunk_by(|a, b| a == b) {
            if bar[0] {
                bars.push(Bar {
                    x: notation::long((QUIET_MODULES + at) as f64 * module_mm),
                    width: notation::long(bar.len() as f64 * module_mm),
                });
            }
            at += bar.len();
        }
        Self { text, width: notation::long(width_mm(modules, module_mm)), height: notation::long(HEIGHT_MM), bars }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The widths of bar, space, bar, space, bar, space for each symbol value, from the published Code 128 table
    /// (ISO/IEC 15417, from memory); 103 to 105 are the start symbols A, B and C.
    const WIDTHS: [&str; 106] = [
        "212222", "222122", "222221", "121223", "121322", "131222", "122213", "122312", "132212", "221213", "221312",
        "231212", "112232", "122132", "122231", "113222", "123122", "123221", "223211", "221132", "221231", "213212",
        "223112", "312131", "311222", "321122", "321221", "312212", "322112", "322211", "212123", "212321", "232121",
        "111323", "131123", "131321", "112313", "132113", "132311", "211313", "231113", "231311", "112133", "112331",
        "132131", "113123", "113321", "133121", "313121", "211331", "231131", "213113", "213311", "213131", "311123",
        "311321", "331121", "312113", "312311", "332111", "314111", "221411", "431111", "111224", "111422", "121124",
        "121421", "141122", "141221", "112214", "112412", "122114", "122411", "142112", "142211", "241211", "221114",
        "413111", "241112", "134111", "111242", "121142", "121241", "114212", "124112", "124211", "411212", "421112",
        "421211", "212141", "214121", "412121", "111143", "111341", "131141", "114113", "114311", "411113", "411311",
        "113141", "114131", "311141", "411131", "211412", "211214", "211232",
    ];
    const STOP: &str = "2331112";

    /// Reads the modules back by the table, checks the check symbol, and gives the digits.
    fn decode(modules: &[bool]) -> Option<String> {
        let runs: String = modules.chunk_by(|a, b| a == b).map(|run| run.len().to_string()).collect();
        let body = runs.strip_suffix(STOP)?;
        let symbols: Vec<usize> = body
            .as_bytes()
            .chunks(6)
            .map(|six| WIDTHS.iter().position(|w| w.as_bytes() == six))
            .collect::<Option<_>>()?;
        let (check, symbols) = symbols.split_last()?;
        let (start, data) = symbols.split_first()?;
        let weighted: usize = start + data.iter().enumerate().map(|(i, value)| (i + 1) * value).sum::<usize>();
        if weighted % 103 != *check {
            return None;
        }
        let mut set = *start;
        let mut text = String::new();
        for &value in data {
            match (set, value) {
                (104, 99) => set = 105,
                (105, 0..100) => text.push_str(&format!("{value:02}")),
                (104, 0..95) => text.push(char::from(b' ' + value as u8)),
                _ => return None,
            }
        }
        Some(text)
    }

    #[test]
    fn a_job_number_by_the_published_table() {
        // 1042 in set C: start 105, 10, 42; (105 + 1·10 + 2·42) mod 103 = 199 mod 103 = 96, by hand.
        let by_hand = ["211232", "221312", "112133", "114311", STOP].concat();
        let runs: String = modules("1042").unwrap().chunk_by(|a, b| a == b).map(|run| run.len().to_string()).collect();
        assert_eq!(runs, by_hand);
        // Every symbol of the table has eleven modules, and no two are alike.
        for (i, widths) in WIDTHS.iter().enumerate() {
            assert_eq!(widths.bytes().map(|b| b - b'0').sum::<u8>(), 11, "symbol {i}");
            assert!(!WIDTHS[..i].contains(widths), "symbol {i}");
        }
    }

    #[test]
    fn a_changed_bar_does_not_read() {
        let mut bars = modules("1042").unwrap();
        bars[14] = !bars[14];
        assert_ne!(decode(&bars).as_deref(), Some("1042"));
    }

    #[test]
    fn stands_in_its_quiet_zones_at_true_size() {
        // Three symbols of data and check, one start: 4 × 11 + stop 13 = 57 modules, and 10 quiet on each side.
        let code = of_number(1042);
        assert_eq!(code.text, "1042");
        assert_eq!(code.width, "30.80");
        assert_eq!(code.bars[0].x, "4.00", "first bar after ten modules of 0.4 mm");
        // Three bars a symbol, four in the stop: 4 × 3 + 4.
        assert_eq!(code.bars.len(), 16);
        const { assert!(LEAST_MODULE_MM >= 0.33 && QUIET_MODULES >= 10) };
    }

    #[test]
    fn a_carriers_number_is_drawn_only_where_it_fits() {
        assert!(of_text("", 90.0).is_none() && of_text("Ünter", 90.0).is_none());
        // 18 characters in set B: (1 + 18 + 1) × 11 + 13 + 20 = 253 modules, 101.2 mm at 0.4 and 83.5 at 0.33.
        let code = of_text("SL 0042<7Q\"550122&9", 90.0).unwrap();
        assert_eq!((code.text.as_str(), code.width.as_str()), ("SL0042<7Q\"550122&9", "83.49"));
        assert!(of_text("SL0042<7Q\"550122&9", 80.0).is_none());
    }

    proptest! {
        #[test]
        fn every_visible_text_reads_back(text in "[!-~]{1,24}") {
            prop_assert_eq!(decode(&modules(&text).unwrap()), Some(text));
        }

        #[test]
        fn every_job_number_reads_back(number in 0..=i64::from(u32::MAX)) {
            prop_assert_eq!(decode(&modules(&number.to_string()).unwrap()), Some(number.to_string()));
        }
    }
}
