//! Rimbook: the order book, bench companion and receipt book of a small mail-order lens lab.
//!
//! # Code tour
//!
//! Read the rooms in this order. A room imports only from rooms above it in this list.
//!
//! 1. [`optics`] – powers, prism, lens surfaces and tolerances. Pure: std and thiserror only. This room
//!    and the next two are a crate of their own, `src/core.rs`.
//! 2. [`shape`] – traced outlines, the boxing system, layout in the box, interchange records. Pure.
//! 3. [`picture`] – a scan or a photo of a lens to its outline, of a face to the pupil distance. Pure.
//! 4. [`desk`] – the order side: customers, orders, jobs, deadlines, bills, receipts. Pure.
//! 5. [`mod@bench`] – the bench side: layout, lens, edge, compensation, prism, checks. Pure.
//! 6. [`store`] – all SQL, and the one SQLite file behind it.
//! 7. [`mod@print`] – printed documents: tickets, true-size shapes, packing sheets, receipts.
//! 8. [`web`] – the pages. `web::router` lists them.
//! 9. [`calc`] – the same computations for scripts, one JSON request in, one JSON answer out.
//! 10. [`intake`] – picks the reader of a file that holds a shape; `rimbook shape`.
//! 11. [`safekeeping`] – the commands that copy the book: backups and what becomes of them.
//! 12. [`old_records`] – brings in the records of before Rimbook: trace files and a table.
//! 13. [`config`], [`serve`] and [`demo`] – the command line, the server with its doors, the invented demo lab.

pub use rimbook_core::{optics, picture, shape};

pub mod bench;
pub mod calc;
pub mod config;
pub mod demo;
pub mod desk;
pub mod intake;
pub mod old_records;
pub mod print;
pub mod safekeeping;
pub mod serve;
pub mod store;
pub mod web;
