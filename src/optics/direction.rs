//! Writes a signed value as an amount and a direction: `0.25` `in`, `1.50` `base up`. Says a direction on a lens in words.

use super::Eye;

/// An amount with two decimals and its direction. `0.00` has no direction.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Directed {
    /// The amount, without a sign.
    pub amount: String,
    /// Such as `in`, `out`, `base up`; empty for `0.00`.
    pub direction: &'static str,
}

impl Directed {
    /// Splits a signed value: `plus` names the positive direction, `minus` the negative one.
    pub fn of(value: f64, plus: &'static str, minus: &'static str) -> Self {
        let amount = format!("{:.2}", value.abs());
        let direction = match value {
            _ if amount == "0.00" => "",
            v if v < 0.0 => minus,
            _ => plus,
        };
        Self { amount, direction }
    }

    /// Writes the amounts that are not zero, each with its unit: `0.25 mm in and 1.00 mm up`. Empty when all are zero.
    pub fn join(amounts: &[Directed], unit: &str, between: &str) -> String {
        let not_zero = amounts.iter().filter(|one| !one.direction.is_empty());
        not_zero.map(|one| format!("{} {unit} {}", one.amount, one.direction)).collect::<Vec<_>>().join(between)
    }
}

/// A direction on a lens in words, with its hour on a clock seen from the front: `lower temple side, 8 o'clock`.
pub fn place_words(eye: Eye, angle_deg: f64) -> String {
    let angle_deg = angle_deg.rem_euclid(360.0);
    // In eighths of a turn, counted from the nose side of this eye.
    let from_nose_deg = if eye == Eye::Right { angle_deg } else { (180.0 - angle_deg).rem_euclid(360.0) };
    let side = match (from_nose_deg / 45.0).round() as i32 {
        1 => "upper nose side",
        2 => "top",
        3 => "upper temple side",
        4 => "temple side",
        5 => "lower temple side",
        6 => "bottom",
        7 => "lower nose side",
        _ => "nose side",
    };
    let hour = ((90.0 - angle_deg) / 30.0).round().rem_euclid(12.0) as i32;
    format!("{side}, {} o’clock", if hour == 0 { 12 } else { hour })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zero_has_no_direction() {
        assert_eq!(Directed::of(-0.001, "in", "out"), Directed { amount: "0.00".into(), direction: "" });
        assert_eq!(Directed::of(-0.25, "in", "out"), Directed { amount: "0.25".into(), direction: "out" });
        assert_eq!(Directed::of(0.25, "up", "down").direction, "up");
        let amounts =
            [Directed::of(0.25, "in", "out"), Directed::of(0.0, "up", "down"), Directed::of(-1.0, "up", "down")];
        assert_eq!(Directed::join(&amounts, "mm", " and "), "0.25 mm in and 1.00 mm down");
        assert_eq!(Directed::join(&amounts[1..2], "mm", " and "), "");
    }

    #[test]
    fn places_are_said_from_the_wearers_nose() {
        for (eye, angle_deg, words) in [
            (Eye::Right, 0.0, "nose side, 3 o’clock"),
            (Eye::Left, 0.0, "temple side, 3 o’clock"),
            (Eye::Right, 90.0, "top, 12 o’clock"),
            (Eye::Right, 215.0, "lower temple side, 8 o’clock"),
            (Eye::Left, 215.0, "lower nose side, 8 o’clock"),
            (Eye::Left, 330.0, "lower temple side, 4 o’clock"),
            (Eye::Right, 359.9, "nose side, 3 o’clock"),
        ] {
            assert_eq!(place_words(eye, angle_deg), words, "{eye:?} {angle_deg}");
        }
    }
}
