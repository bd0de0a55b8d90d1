//! Traced outlines and what follows from them: the boxing system, the layout of a lens in its box, and the
//! interchange records shapes travel in. Pure: knows [`crate::optics`] and nothing else of this crate.
//!
//! # Frame of reference
//!
//! The front view of [`crate::optics`]: +x to the observer's right, +y up, the wearer's right eye on the
//! observer's left. An [`outline::Outline`] is a closed polygon wound counter-clockwise whose origin is the
//! **boxing centre** (ISO 8624): not the centroid, not the tracer's own origin. The right eye's nose side is +x,
//! the left eye's is -x.
#![deny(missing_docs)]

pub mod bevel;
pub mod blank;
pub mod blocker;
pub mod boxing;
pub mod compare;
pub mod cutout;
pub mod disagreement;
pub mod edge;
pub mod layout;
pub mod outline;
pub mod record;
pub mod svg;
pub mod thickness;
pub mod trace;
pub mod transform;
pub mod volume;
