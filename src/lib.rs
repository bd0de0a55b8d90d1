//! Rimbook: the order book, bench companion and receipt book of a small mail-order lens lab.
//!
//! # Code tour
//!
//! Read the rooms in this order; imports only ever point back up this list.
//!
//! 1. [`optics`] – powers, prism, lens surfaces and tolerances. Pure: std and thiserror only.
//! 2. [`shape`] – traced outlines, the boxing system, layout in the box, interchange records. Pure.
//! 3. [`lab`] – the business in the owner's words: orders, jobs, deadlines, checks, receipts. Pure.
//! 4. [`store`] – every line of SQL, and the one SQLite file behind it.
//! 5. [`mod@print`] – what leaves on paper: barcode, true-size shapes, receipts.
//! 6. [`web`] – the pages. `web::router` is the contents page of the product.
//! 7. [`calc`] – the same computations for scripts, one JSON request in, one JSON answer out.
//! 8. [`config`] and [`demo`] – the command line, the data folder, the invented demo lab.

pub mod calc;
pub mod config;
pub mod demo;
pub mod lab;
pub mod optics;
pub mod print;
pub mod serve;
pub mod shape;
pub mod store;
pub mod web;
