//! Back from columns to the exact types. A value that a check let in always fits; anything else is an unreadable book.

use crate::optics::Eye;
use crate::optics::unit::{Axis, Diopter, Millimeter, PrismDiopter, Tilt};
use crate::store::StoreError;

/// A whole number of hundredths from a column.
fn small(what: &'static str, value: i64) -> Result<i32, StoreError> {
    i32::try_from(value).map_err(|e| StoreError::Unreadable { what, why: e.to_string() })
}

/// Turns any parse failure into an unreadable row.
pub fn unreadable<E: std::fmt::Display>(what: &'static str) -> impl FnOnce(E) -> StoreError {
    move |why| StoreError::Unreadable { what, why: why.to_string() }
}

/// A word of a closed list.
pub fn word<T>(what: &'static str, key: &str, found: Option<T>) -> Result<T, StoreError> {
    found.ok_or_else(|| StoreError::Unreadable { what, why: format!("unknown word {key}") })
}

pub fn power(what: &'static str, hundredths: i64) -> Result<Diopter, StoreError> {
    Diopter::from_hundredths(small(what, hundredths)?).map_err(unreadable(what))
}

pub fn prism(what: &'static str, hundredths: i64) -> Result<PrismDiopter, StoreError> {
    PrismDiopter::from_hundredths(small(what, hundredths)?).map_err(unreadable(what))
}

pub fn length(what: &'static str, hundredths: i64) -> Result<Millimeter, StoreError> {
    Millimeter::from_hundredths(small(what, hundredths)?).map_err(unreadable(what))
}

pub fn tilt(what: &'static str, hundredths: i64) -> Result<Tilt, StoreError> {
    Tilt::from_hundredths(small(what, hundredths)?).map_err(unreadable(what))
}

pub fn axis(what: &'static str, degrees: Option<i64>) -> Result<Option<Axis>, StoreError> {
    degrees.map(|d| Axis::new(small(what, d)?).map_err(unreadable(what))).transpose()
}

pub fn int(what: &'static str, value: i64) -> Result<i32, StoreError> {
    small(what, value)
}

/// `right` or `left`.
pub fn eye(what: &'static str, key: &str) -> Result<Eye, StoreError> {
    word(what, key, Eye::BOTH.into_iter().find(|eye| eye.name() == key))
}
