//! A line to lay a rule against: if it is not 50 mm and 2 in long, the sheet was printed scaled.

use std::fmt::Write;

/// The lines of a millimeter ruler of 50 mm above an inch ruler of 2 in, as the `d` of a path.
pub fn ticks() -> String {
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
    ticks
}

#[cfg(test)]
mod tests {
    #[test]
    fn is_fifty_millimeters_and_two_inches() {
        let ticks = super::ticks();
        assert!(ticks.starts_with("M1 5H51.00M1 6H51.80"), "{ticks}");
        // 0 to 50 mm, and 0 to 16 eighths of an inch, after the two base lines.
        assert_eq!(ticks.matches('M').count(), 2 + 51 + 17);
        assert!(ticks.contains("M51.00 5v-4") && ticks.ends_with("M51.800 6v4"), "{ticks}");
    }
}
