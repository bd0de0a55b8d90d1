//! How figures are written: the one place for pages, papers and messages. Dates are written by `desk::date`.

use super::Eye;
use super::power::SphereCylinder;
use super::prism::InUp;
use super::tolerance::RowUnit;

/// Below this a figure of two places is written as zero.
const HALF_HUNDREDTH: f64 = 0.005;

/// A length with no more places than it needs: `70` for 70.00, `62.5` for 62.50.
pub fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The most that a sentence repeats of what was typed, and the most of a sentence.
const REPEATED: usize = 40;
const SENTENCE: usize = 400;

/// A sentence about something that was typed: what stands between its quotation marks is cut short, so that a page pasted
/// into a field does not come back as one. Enough is left to find it again.
pub fn brief(sentence: String) -> String {
    if sentence.len() <= REPEATED {
        return sentence;
    }
    let mut short = String::new();
    let mut rest = sentence.as_str();
    while let Some((before, after)) = rest.split_once('“') {
        let (quoted, after) = after.split_once('”').unwrap_or((after, ""));
        short.extend([before, "“", &cut(quoted, REPEATED), "”"]);
        rest = after;
    }
    short.push_str(rest);
    cut(&short, SENTENCE)
}

/// So many characters at most; what is left out is shown as left out.
fn cut(text: &str, most: usize) -> String {
    match text.char_indices().nth(most) {
        Some((end, _)) => format!("{}…", text[..end].trim_end()),
        None => text.to_owned(),
    }
}

/// A length to two places: `70.00`.
pub fn long(value: f64) -> String {
    format!("{value:.2}")
}

/// A size with its unit. Degrees are whole; a half hundredth, as an eighth of a diopter makes, is shown.
pub fn size(value: f64, unit: RowUnit) -> String {
    if unit == RowUnit::Degree {
        return format!("{value:.0}°");
    }
    let is_whole = |value: f64| (value - value.round()).abs() < 1e-6;
    let decimals = if is_whole(value * 200.0) && !is_whole(value * 100.0) { 3 } else { 2 };
    format!("{value:.decimals$} {unit}")
}

/// A power as it was ordered or read. Eighths have two places and drop the half hundredth: `+0.12` for 0.125.
pub fn power(power_d: f64) -> String {
    let hundredths = power_d * 100.0;
    let whole = if (power_d * 8.0).fract() == 0.0 { hundredths.trunc() } else { hundredths.round() };
    signed(whole / 100.0)
}

/// A power or a change to two places, always with a sign: `-0.25`. Zero is `+0.00`.
pub fn signed(value: f64) -> String {
    let value = if value.abs() < HALF_HUNDREDTH { 0.0 } else { value };
    format!("{value:+.2}")
}

/// A computed power in minus-cylinder form: `-5.71 -0.37 x 088`.
pub fn exact_power(power: SphereCylinder) -> String {
    let minus = power.to_minus();
    if minus.cylinder_d.abs() < HALF_HUNDREDTH {
        return format!("{} sph", signed(minus.sphere_d));
    }
    let axis = match minus.axis_deg.round() as i32 {
        0 => 180,
        axis => axis,
    };
    format!("{} {} x {axis:03}", signed(minus.sphere_d), signed(minus.cylinder_d))
}

/// A prism as amount and base direction: `2.50 Δ, base 37°`.
pub fn polar_prism(eye: Eye, prism: InUp) -> String {
    let polar = prism.to_polar(eye);
    if polar.amount_pd < HALF_HUNDREDTH {
        return "no prism".to_owned();
    }
    format!("{:.2} Δ, base {:.0}°", polar.amount_pd, polar.base_deg.round() % 360.0)
}

/// A chance in percent. What is not certain is never written as 100.
pub fn percent(chance: f64) -> String {
    match 100.0 * chance {
        percent if chance < 1.0 && percent > 99.9 => "over 99.9 %".to_owned(),
        percent => format!("{percent:.1} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_repeats_little_of_what_was_typed() {
        assert_eq!(brief("“pl 95” is not a number".into()), "“pl 95” is not a number");
        assert_eq!(brief("“5” and “6” look like two, which is a long sentence".into()).matches('“').count(), 2);
        let typed = "é".repeat(50_000);
        let said = brief(format!("“{typed}” is not a day: write it like 2026-11-25"));
        assert_eq!(said, format!("“{}…” is not a day: write it like 2026-11-25", "é".repeat(40)));
        assert!(brief(format!("write +{typed} or -{typed}")).chars().count() <= SENTENCE + 1);
        assert!(brief(format!("“a ” b {typed}” is not")).chars().count() <= SENTENCE + 1);
    }

    #[test]
    fn lengths() {
        assert_eq!([70.0, 62.5, 0.0, 100.0, 1.25].map(short), ["70", "62.5", "0", "100", "1.25"]);
        assert_eq!(long(70.0), "70.00");
    }

    #[test]
    fn a_half_hundredth_is_shown_in_a_size() {
        assert_eq!(size(0.125, RowUnit::Diopter), "0.125 D");
        assert_eq!(size(0.13, RowUnit::Diopter), "0.13 D");
        assert_eq!(size(0.003_2, RowUnit::PrismDiopter), "0.00 Δ");
        assert_eq!(size(3.0, RowUnit::Degree), "3°");
    }

    #[test]
    fn powers_have_a_sign_and_zero_is_plus() {
        assert_eq!([0.125, -0.375, 2.0, -0.001].map(power), ["+0.12", "-0.37", "+2.00", "+0.00"]);
        assert_eq!([-0.25, 0.0, -0.004].map(signed), ["-0.25", "+0.00", "+0.00"]);
    }

    #[test]
    fn computed_powers() {
        for (power, words) in [
            (SphereCylinder::new(-5.714, -0.366, 88.4), "-5.71 -0.37 x 088"),
            (SphereCylinder::new(1.0, 0.5, 90.2), "+1.50 -0.50 x 180"),
            (SphereCylinder::new(-0.001, -0.002, 10.0), "+0.00 sph"),
            (SphereCylinder::new(0.04, -0.03, 0.2), "+0.04 -0.03 x 180"),
        ] {
            assert_eq!(exact_power(power), words);
        }
    }

    #[test]
    fn prisms_by_amount_and_base() {
        assert_eq!(polar_prism(Eye::Left, InUp { in_pd: 2.0, up_pd: 0.0 }), "2.00 Δ, base 180°");
        assert_eq!(polar_prism(Eye::Right, InUp { in_pd: 2.0, up_pd: -0.001 }), "2.00 Δ, base 0°");
        assert_eq!(polar_prism(Eye::Right, InUp { in_pd: 0.001, up_pd: 0.0 }), "no prism");
    }

    #[test]
    fn a_chance_is_never_said_to_be_more_than_it_is() {
        assert_eq!([1.0, 0.9996, 0.987, 0.0].map(percent), ["100.0 %", "over 99.9 %", "98.7 %", "0.0 %"]);
    }
}
