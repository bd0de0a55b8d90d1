//! A line to lay a rule against: if it is not 50 mm and 2 in long, the sheet was printed scaled.

use std::fmt::Write;

/// A millimetre ruler of 50 mm above an inch ruler of 2 in, as a whole `<svg>`.
pub fn svg() -> String {
    const LEFT_MM: f64 = 1.0;
    const INCH_MM: f64 = 25.4;
    let mut ticks = format!("M{LEFT_MM} 5H{:.2}M{LEFT_MM} 6H{:.2}", LEFT_MM + 50.0, LEFT_MM + 2.0 * INCH_MM);
    for mm in 0..=50 {
        let length_mm = match mm {
            m if m % 10 == 0 => 4.0,
            m if m % 5 == 0 => 3.0,
            _ => 1.5,
        };
        // Writing to a String cannot fail.
        let _ = write!(ticks, "M{:.2} 5v-{length_mm}", LEFT_MM + f64::from(mm));
    }
    for eighth in 0..=16 {
        let length_mm = match eighth {
            e if e % 8 == 0 => 4.0,
            e if e % 4 == 0 => 3.0,
            _ => 1.5,
        };
        let _ = write!(ticks, "M{:.3} 6v{length_mm}", LEFT_MM + f64::from(eighth) * INCH_MM / 8.0);
    }
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"120mm\" height=\"11mm\" viewBox=\"0 0 120 11\" role=\"img\" \
         aria-label=\"Ruler: 50 mm and 2 in\"><path d=\"{ticks}\" fill=\"none\" stroke=\"#000\" stroke-width=\"0.2\"/>\
         <text x=\"55\" y=\"4.5\" font-size=\"3\" fill=\"#000\">must measure 50 mm</text>\
         <text x=\"55\" y=\"9.5\" font-size=\"3\" fill=\"#000\">must measure 2 in; else print at 100 %</text></svg>"
    )
}

#[cfg(test)]
mod tests {
    #[test]
    fn is_fifty_millimetres_and_two_inches() {
        let svg = super::svg();
        assert!(svg.contains("M1 5H51.00M1 6H51.80"), "{svg}");
        assert!(svg.contains("width=\"120mm\"") && svg.contains("viewBox=\"0 0 120 11\""));
    }
}
