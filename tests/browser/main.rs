//! Stories: the real program in a real browser, as its owner uses it. Few and long, because each needs a Chromium.
//!
//! Without Chromium and its driver (Debian: `chromium`, `chromium-driver`) a story says that it was skipped and why; with
//! `RIMBOOK_BROWSER=required` in the environment it fails instead.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed step is a failed test")]

mod driver;
mod order;
mod pages;
#[path = "../support/running.rs"]
mod running;
mod trace;

mod accessible;
mod counts;
mod fits;
mod keyboard_only;
mod measuring;
mod nothing_from_outside;
mod one_order;
mod touch;
mod typing_survives;
mod works_without_javascript;
