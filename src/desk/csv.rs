//! Tables as comma-separated values, RFC 4180, that a spreadsheet opens.

use super::money::Cents;

/// The rows as text. A field that a spreadsheet would run as a formula is written with an apostrophe before it; numbers stay
/// numbers.
pub fn csv<Row: AsRef<[String]>>(rows: impl IntoIterator<Item = Row>) -> String {
    let mut file = String::new();
    for row in rows {
        add_line(&mut file, |line| row.as_ref().iter().for_each(|text| line.text(text)));
    }
    file
}

/// Writes one more line of a file.
pub fn add_line(file: &mut String, write: impl FnOnce(&mut CsvLine<'_>)) {
    write(&mut CsvLine { file, is_begun: false });
    file.push_str("\r\n");
}

/// A line that is being written, a field after the other.
#[derive(Debug)]
pub struct CsvLine<'file> {
    file: &'file mut String,
    is_begun: bool,
}

impl CsvLine<'_> {
    /// A field of any text.
    pub fn text(&mut self, text: &str) {
        self.separate();
        add_field(self.file, text);
    }

    /// A number; an empty field for none.
    pub fn number(&mut self, number: impl Into<Option<i64>>) {
        self.separate();
        if let Some(number) = number.into() {
            self.file.push_str(&number.to_string());
        }
    }

    /// An amount without its currency; an empty field for none.
    pub fn amount(&mut self, cents: impl Into<Option<i64>>) {
        self.separate();
        if let Some(cents) = cents.into() {
            self.file.push_str(&Cents::new(cents).plain());
        }
    }

    fn separate(&mut self) {
        if self.is_begun {
            self.file.push(',');
        }
        self.is_begun = true;
    }
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
