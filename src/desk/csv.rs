//! Tables as comma-separated values, RFC 4180, that a spreadsheet opens.

/// The rows as text. A field that a spreadsheet would run as a formula is written with an apostrophe before it; numbers stay
/// numbers.
pub fn csv<Row: AsRef<[String]>>(rows: impl IntoIterator<Item = Row>) -> String {
    let mut file = String::new();
    for row in rows {
        for (place, text) in row.as_ref().iter().enumerate() {
            if place > 0 {
                file.push(',');
            }
            add_field(&mut file, text);
        }
        file.push_str("\r\n");
    }
    file
}

fn add_field(file: &mut String, text: &str) {
    let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']) && text.parse::<f64>().is_err();
    let guard = if is_formula { "'" } else { "" };
    if text.bytes().any(|byte| matches!(byte, b',' | b'"' | b'\n' | b'\r')) {
        file.extend(["\"", guard, &text.replace('"', "\"\""), "\""]);
    } else {
        file.extend([guard, text]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quoting: RFC 4180, 2.5 to 2.7. Signs that begin a formula: the advice of OWASP on CSV injection.
    #[test]
    fn fields_are_quoted_and_formulas_are_text() {
        for (text, want) in [
            ("plain", "plain"),
            ("", ""),
            ("a,b", "\"a,b\""),
            ("a \"b\"", "\"a \"\"b\"\"\""),
            ("two\nlines", "\"two\nlines\""),
            ("-2.25", "-2.25"),
            ("+1.00", "+1.00"),
            ("=1+1", "'=1+1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("-2.25 -0.50", "'-2.25 -0.50"),
            ("+cmd,x", "\"'+cmd,x\""),
            ("\t=1", "'\t=1"),
        ] {
            assert_eq!(csv([[text.to_owned()]]), format!("{want}\r\n"), "{text:?}");
        }
        assert_eq!(csv([["a".to_owned(), "b".to_owned()], ["1".to_owned(), "2".to_owned()]]), "a,b\r\n1,2\r\n");
    }
}
