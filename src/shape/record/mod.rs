//! The interchange records shapes travel in (ISO 16284 text form).

pub mod parse;
pub mod write;
