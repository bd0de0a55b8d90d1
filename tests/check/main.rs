//! Checks against published tables, closed forms and independent computations, and of the rules that hold in the source.
//!
//! `tables/` holds one published source a file, `scripts/` the computations behind figures that no publication prints.

#![allow(clippy::unwrap_used, reason = "a test helper that cannot go on may say so by failing")]

mod damage;
mod damaged_pictures;
mod direction;
mod drawn_files;
mod face;
mod lens;
mod mistake;
mod optics;
mod picture;
mod print;
mod procedure;
mod readers;
mod receipt;
mod scripts;
mod shape;
mod trace_files;
mod wire;
