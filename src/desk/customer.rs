//! The person a pair is made for.

use super::id::CustomerId;
use super::text::{self, TextError};

/// A customer's details. The name must be checked by [`check_name`] first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Person {
    /// Full name, as printed.
    pub name: String,
    /// First line of the address.
    pub line1: String,
    pub line2: String,
    pub city: String,
    /// State or region.
    pub region: String,
    pub postcode: String,
    pub phone: String,
    pub email: String,
    /// Internal; never printed.
    pub note: String,
}

impl Person {
    /// The address as printed on a parcel: the name, then the lines that are not empty.
    pub fn label(&self) -> String {
        let town = [self.city.as_str(), self.region.as_str(), self.postcode.as_str()]
            .into_iter()
            .filter(|s| !s.is_empty())
            .collect::<Vec<_>>()
            .join(" ");
        [self.name.as_str(), self.line1.as_str(), self.line2.as_str(), town.as_str()]
            .into_iter()
            .filter(|s| !s.is_empty())
            .collect::<Vec<_>>()
            .join("\n")
    }

    /// Whether a parcel can be sent there: a street line, a city and a postal code.
    pub fn has_address(&self) -> bool {
        !self.line1.is_empty() && !self.city.is_empty() && !self.postcode.is_empty()
    }
}

/// A customer in the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Customer {
    pub id: CustomerId,
    pub person: Person,
}

/// Checks a typed name: required, at most 120 characters.
pub fn check_name(name: &str) -> Result<String, TextError> {
    text::needed("A name", name, 120)
}

/// Checks a line of an address.
pub fn check_line(typed: &str) -> Result<String, TextError> {
    text::line("An address line", typed, 120)
}

pub fn check_city(typed: &str) -> Result<String, TextError> {
    text::line("A city", typed, 80)
}

pub fn check_region(typed: &str) -> Result<String, TextError> {
    text::line("A state", typed, 40)
}

pub fn check_postcode(typed: &str) -> Result<String, TextError> {
    text::line("A ZIP code", typed, 20)
}

pub fn check_phone(typed: &str) -> Result<String, TextError> {
    text::line("A telephone number", typed, 60)
}

/// Checks a typed e-mail address, which may be empty.
pub fn check_email(typed: &str) -> Result<String, String> {
    let clean = text::line("An e-mail address", typed, 120).map_err(|e| e.to_string())?;
    if clean.is_empty() || (clean.contains('@') && !clean.contains(' ')) {
        Ok(clean)
    } else {
        Err(format!("“{clean}” is not an e-mail address: it needs an @"))
    }
}

/// A name as namesakes share it: see [`text::folded`].
pub fn name_key(name: &str) -> String {
    text::folded(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn namesakes_share_a_key() {
        assert_eq!(name_key("  Élodie  QUILL "), "élodie quill");
        assert_eq!(name_key("E\u{301}lodie Quill"), "élodie quill");
        assert_eq!(name_key(""), "");
    }

    #[test]
    fn a_label_has_no_empty_lines() {
        let person = Person {
            name: "Ada Quill".into(),
            line1: "4 Ropewalk".into(),
            city: "Pellmarsh".into(),
            postcode: "99410".into(),
            ..Person::default()
        };
        assert_eq!(person.label(), "Ada Quill\n4 Ropewalk\nPellmarsh 99410");
        assert!(person.has_address());
        assert!(!Person { line1: String::new(), ..person }.has_address());
    }
}
