//! Writes a signed value as an amount and a direction: `0.25` `in`, `1.50` `base up`.

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
}
