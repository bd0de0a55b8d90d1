//! The pages, tested through the whole router on a temporary book. One module a noun, as in `src/web/page`.

#![allow(clippy::unwrap_used, reason = "a helper that fails fails its test")]

mod accounts;
mod addresses;
mod backups;
mod bills;
mod blanks;
mod buying;
mod cancellations;
mod checks;
mod clock;
mod compensation;
mod corrections;
mod customers;
mod devices;
mod edge;
mod erasure;
mod find;
mod frames;
mod guard;
mod impact;
mod lab;
mod layout;
mod lenses;
mod measuring;
mod money;
mod one_eye;
#[path = "../support/order_fields.rs"]
mod order_fields;
mod order_summary;
mod orders;
mod own_frame;
mod packing;
mod papers;
mod payments;
mod people;
mod pictures;
mod prism;
mod process_spread;
mod promise;
mod receipts;
mod refunds;
mod remakes;
mod returns;
mod risk;
mod screens;
mod shape_files;
mod shapes;
mod shipments;
mod start;
mod stock;
mod support;
mod templates;
mod ticket;
mod today;
mod understood;
