//! Attacks and accidents, tried on the running program from outside: nothing that was answered as kept is lost, nobody gets
//! in who should not, and it comes back by itself. What was tried, with figures, stands in `README.md` beside this file.
//!
//! Some tests ask for more than others have: a small disk of their own, or the right to lock a file. They say so where
//! they skip. `RIMBOOK_KILLS=200` kills the program more often than the usual run does.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed step is a failed test")]

#[path = "../support/order_fields.rs"]
mod order_fields;
#[path = "../support/running.rs"]
mod running;

mod backups;
mod connections;
mod damaged;
#[cfg(unix)]
mod disk;
#[cfg(unix)]
mod http;
#[cfg(unix)]
mod kills;
mod outside;
mod shop;
#[cfg(unix)]
mod stopping;
mod two_programs;
