//! The pages, tested through the whole router on a temporary book. One module a noun, as in `src/web/page`.

#![allow(clippy::unwrap_used, reason = "a helper that fails fails its test")]

mod guard;
mod layout;
mod lenses;
mod orders;
mod shapes;
mod support;

mod blanks;
mod checks;
mod compensation;
mod customers;
mod edge;
mod frames;
mod lab;
mod packing;
mod prism;
mod receipts;
mod risk;
mod shipments;
mod start;
mod stock;
mod ticket;
