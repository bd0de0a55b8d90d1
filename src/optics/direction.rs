//! An amount with its way, as bench, pages and papers write it: `0.25` `in`, `1.50` `base up`.

/// An amount to two places and its way. What is written as nothing has no way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Way {
    /// The amount, without a sign.
    pub amount: String,
    /// Such as `in`, `out`, `base up`; empty for nothing.
    pub way: &'static str,
}

impl Way {
    /// The way of a value: `plus` above nothing, `minus` below.
    pub fn of(value: f64, plus: &'static str, minus: &'static str) -> Self {
        let amount = format!("{:.2}", value.abs());
        let way = match value {
            _ if amount == "0.00" => "",
            v if v < 0.0 => minus,
            _ => plus,
        };
        Self { amount, way }
    }

    /// Those of the ways that are something, with their unit: `0.25 mm in and 1.00 mm up`. Empty when all are nothing.
    pub fn said(ways: &[Way], unit: &str, between: &str) -> String {
        let something = ways.iter().filter(|way| !way.way.is_empty());
        something.map(|way| format!("{} {unit} {}", way.amount, way.way)).collect::<Vec<_>>().join(between)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_has_no_way() {
        assert_eq!(Way::of(-0.001, "in", "out"), Way { amount: "0.00".into(), way: "" });
        assert_eq!(Way::of(-0.25, "in", "out"), Way { amount: "0.25".into(), way: "out" });
        assert_eq!(Way::of(0.25, "up", "down").way, "up");
        let ways = [Way::of(0.25, "in", "out"), Way::of(0.0, "up", "down"), Way::of(-1.0, "up", "down")];
        assert_eq!(Way::said(&ways, "mm", " and "), "0.25 mm in and 1.00 mm down");
        assert_eq!(Way::said(&ways[1..2], "mm", " and "), "");
    }
}
