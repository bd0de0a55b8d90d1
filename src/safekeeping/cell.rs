//! A value of the book as a field of a CSV file, and back, so that nothing is lost on the way.
//!
//! A spreadsheet runs a text that begins like a formula; it gets an apostrophe before it. Where a value may be missing, an empty
//! field is a missing one and an empty text is an apostrophe alone. A text that begins with an apostrophe gets another.

use crate::store::table_walk::{ColumnKind, SqlColumn, Value};

/// What a formula begins with (the advice of OWASP on CSV injection), and the apostrophe itself.
const GUARDED: [char; 7] = ['=', '+', '-', '@', '\t', '\r', '\''];

/// Writes a value as a field.
pub fn write(column: &SqlColumn, value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::Integer(number) => number.to_string(),
        // The shortest text that is read back as the same number.
        Value::Real(number) => format!("{number:?}"),
        Value::Blob(bytes) => const_hex::encode(bytes),
        Value::Text(text) if text.starts_with(GUARDED) || (text.is_empty() && column.is_nullable) => format!("'{text}"),
        Value::Text(text) => text.clone(),
    }
}

/// Reads a field.
///
/// # Errors
///
/// A sentence that says what was expected.
pub fn read(column: &SqlColumn, field: &str) -> Result<Value, String> {
    if field.is_empty() && column.is_nullable {
        return Ok(Value::Null);
    }
    let wrong = |kind: &str| format!("{}: “{}” is not {kind}", column.name, field.chars().take(40).collect::<String>());
    match column.kind {
        ColumnKind::Integer => field.parse().map(Value::Integer).map_err(|_| wrong("a whole number")),
        ColumnKind::Real => field.parse().map(Value::Real).map_err(|_| wrong("a number")),
        ColumnKind::Blob => const_hex::decode(field).map(Value::Blob).map_err(|_| wrong("a row of hexadecimal digits")),
        ColumnKind::Text => Ok(Value::Text(field.strip_prefix('\'').unwrap_or(field).to_owned())),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn column(kind: ColumnKind, is_nullable: bool) -> SqlColumn {
        SqlColumn { name: "it".into(), kind, is_nullable }
    }

    #[test]
    fn a_field_says_whether_a_text_is_empty_or_missing() {
        let (free, needed) = (column(ColumnKind::Text, true), column(ColumnKind::Text, false));
        let text = |text: &str| Value::Text(text.to_owned());
        for (column, value, field) in [
            (&free, Value::Null, ""),
            (&free, text(""), "'"),
            (&needed, text(""), ""),
            (&needed, text("'tis"), "''tis"),
            (&needed, text("=1+1"), "'=1+1"),
            (&needed, text("+1.25"), "'+1.25"),
            (&needed, text("pl"), "pl"),
        ] {
            assert_eq!(write(column, &value), field);
            assert_eq!(read(column, field), Ok(value));
        }
        assert!(read(&column(ColumnKind::Integer, false), "").is_err_and(|why| why.contains("whole number")));
    }

    proptest! {
        #[test]
        fn every_value_comes_back(text in any::<String>(), number in any::<i64>(), real in any::<f64>(), bytes in any::<Vec<u8>>()) {
            let real = if real.is_finite() { real } else { 0.5 };
            for is_nullable in [false, true] {
                for (kind, value) in [
                    (ColumnKind::Text, Value::Text(text.clone())),
                    (ColumnKind::Integer, Value::Integer(number)),
                    (ColumnKind::Real, Value::Real(real)),
                    (ColumnKind::Blob, Value::Blob(if is_nullable && bytes.is_empty() { vec![0] } else { bytes.clone() })),
                ] {
                    let column = column(kind, is_nullable);
                    prop_assert_eq!(read(&column, &write(&column, &value)), Ok(value));
                }
            }
        }
    }
}
