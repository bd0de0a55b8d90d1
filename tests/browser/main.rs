//! Stories: the real program in a real browser, as its owner uses it. Few and long, because each needs a Chromium.
//!
//! They take as long as all other tests together, so they are told only where they are asked for:
//! `cargo test -- --include-ignored`. Chromium and its driver must be there (Debian: `chromium`, `chromium-driver`), and
//! axe-core, which `.ci/run` fetches.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed step is a failed test")]

mod driver;
mod order;
mod pages;
#[path = "../check/picture/render.rs"]
#[allow(dead_code, reason = "a story draws one photo")]
mod render;
#[path = "../support/running.rs"]
mod running;
mod trace;

mod accessible;
mod counts;
mod fits;
mod from_a_photo;
mod keyboard_only;
mod measuring;
mod nothing_from_outside;
mod one_order;
mod touch;
mod typing_survives;
mod works_without_javascript;
