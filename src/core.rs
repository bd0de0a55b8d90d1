//! The pure rooms of Rimbook: they compute, and know neither pages nor the book. [`optics`] stands alone, [`shape`] reads it,
//! [`picture`] reads both.

pub mod optics;
pub mod picture;
pub mod shape;
