//! The pages, tested through the whole router on a temporary book. One module a noun, as in `src/web/page`.

mod guard;
mod orders;
mod shapes;
mod support;

mod blanks;
mod checks;
mod customers;
mod edge;
mod frames;
mod lab;
mod packing;
mod receipts;
mod shipments;
mod start;
mod stock;
mod ticket;
