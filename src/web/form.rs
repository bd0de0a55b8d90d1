//! A form between the browser and the domain: what was typed, and what is wrong with it.
//!
//! Handlers read each field once with [`Form::read`], which keeps the domain's own sentence beside the field. The same
//! value is shown again when something is wrong, so nothing typed is lost.

use std::fmt::Display;

use super::error::WebError;
use super::refused_value::refused_value;
use crate::optics::notation::brief;
use crate::store::StoreError;
use crate::store::draft::Fields;

/// The field of a form's key.
const KEY: &str = "key";

/// What was typed, and the sentences beside the fields.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Form {
    fields: Fields,
    errors: Vec<(String, String)>,
}

impl Form {
    /// A form as it was sent or kept.
    pub fn new(fields: Fields) -> Self {
        Self { fields, errors: Vec::new() }
    }

    /// A form filled in.
    pub fn of<const N: usize>(fields: [(&str, String); N]) -> Self {
        Self::new(fields.into_iter().map(|(name, value)| (name.to_owned(), value)).collect())
    }

    /// What was typed, in order.
    pub fn fields(&self) -> &Fields {
        &self.fields
    }

    /// The key that came with the form; empty when none did.
    pub fn key(&self) -> &str {
        self.value(KEY)
    }

    /// Every field but the key.
    pub fn contents(&self) -> impl Iterator<Item = &[u8]> {
        let fields = self.fields.iter().filter(|(name, _)| name != KEY);
        fields.flat_map(|(name, value)| [name.as_bytes(), value.as_bytes()])
    }

    /// What stands in a field; empty when it was not sent.
    pub fn value(&self, name: &str) -> &str {
        self.fields.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v)
    }

    /// Every value sent under a name.
    pub fn values<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.fields.iter().filter(move |(n, _)| n == name).map(|(_, v)| v.as_str())
    }

    /// Whether the field was sent at all.
    pub fn has(&self, name: &str) -> bool {
        self.fields.iter().any(|(n, _)| n == name)
    }

    /// Whether a box is ticked or an option chosen.
    pub fn is_checked(&self, name: &str, value: &str) -> bool {
        self.values(name).any(|v| v == value)
    }

    /// Puts a value in a field.
    pub fn set(&mut self, name: &str, value: impl Into<String>) {
        let value = value.into();
        match self.fields.iter_mut().find(|(n, _)| n == name) {
            Some(field) => field.1 = value,
            None => self.fields.push((name.to_owned(), value)),
        }
    }

    /// Puts these values in a field, which may be many or none.
    pub fn replace(&mut self, name: &str, values: Vec<String>) {
        self.fields.retain(|(n, _)| n != name);
        self.fields.extend(values.into_iter().map(|value| (name.to_owned(), value)));
    }

    /// Puts a value in a field that was not sent.
    pub fn set_default(&mut self, name: &str, value: impl Into<String>) {
        if !self.has(name) {
            self.set(name, value);
        }
    }

    /// The sentence beside a field, if something is wrong with it.
    pub fn error(&self, name: &str) -> Option<&str> {
        self.errors.iter().find(|(n, _)| n == name).map(|(_, e)| e.as_str())
    }

    /// Whether something is wrong with one of these fields; their names stand between blanks.
    pub fn fails(&self, names: &str) -> bool {
        names.split_whitespace().any(|name| self.error(name).is_some())
    }

    /// Puts a sentence beside a field. The first one stays.
    pub fn fail(&mut self, name: &str, why: impl Display) {
        if self.error(name).is_none() {
            self.errors.push((name.to_owned(), brief(why.to_string())));
        }
    }

    /// How many fields need a change.
    pub fn count_errors(&self) -> usize {
        self.errors.len()
    }

    /// Whether nothing is wrong.
    pub fn is_fine(&self) -> bool {
        self.errors.is_empty()
    }

    /// What came of keeping the form. A value that the book refuses has its sentence beside its field; anything else
    /// that went wrong is not the form's.
    ///
    /// # Errors
    ///
    /// Every other failure of the store.
    pub fn kept<T>(&mut self, answer: Result<T, StoreError>) -> Result<Option<T>, WebError> {
        match answer {
            Ok(done) => Ok(Some(done)),
            Err(why) => match refused_value(&why) {
                Some((field, says)) => {
                    self.fail(&field, says);
                    Ok(None)
                }
                None => Err(why.into()),
            },
        }
    }

    /// Reads a field that must be filled; a refusal stands beside it.
    pub fn read<T, E: Display>(&mut self, name: &str, parse: impl FnOnce(&str) -> Result<T, E>) -> Option<T> {
        let text = self.value(name).trim().to_owned();
        match parse(&text) {
            Ok(value) => Some(value),
            Err(why) => {
                self.fail(name, why);
                None
            }
        }
    }

    /// Reads a field that may be left empty: `Some(None)` when it is, `None` when it is wrong.
    pub fn read_optional<T, E: Display>(
        &mut self,
        name: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<Option<T>> {
        if self.value(name).trim().is_empty() {
            return Some(None);
        }
        self.read(name, parse).map(Some)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_what_was_typed_and_the_first_sentence() {
        let mut form = Form::new(vec![("a".into(), " 7x ".into()), ("t".into(), "1".into()), ("t".into(), "2".into())]);
        assert_eq!(form.read("a", |t| t.parse::<i32>().map_err(|_| "not a number")), None);
        form.fail("a", "another");
        assert_eq!((form.value("a"), form.error("a")), (" 7x ", Some("not a number")));
        assert!(form.is_checked("t", "2") && !form.is_checked("t", "3"));
        assert_eq!(form.read_optional("b", |t| t.parse::<i32>()), Some(None));
        assert!(!form.is_fine());
    }
}
