//! Powers, prism, lens surfaces and published tolerances. Pure: std and thiserror only.
//!
//! # Conventions
//!
//! * **Front view.** Everything is seen by a person facing the wearer: the wearer's right eye is on the
//!   observer's left. +x points to the observer's right, +y up (ISO 8429).
//! * **Angles** run counter-clockwise from the observer's right, the same way for both eyes. A cylinder axis
//!   is 1 to 180 (0 is read as 180); a prism base direction is 0 to 360.
//! * **In** is towards the nose: +x for the right eye, -x for the left.
//! * **Units** are in the names: `_d` diopters, `_pd` prism diopters (1 cm at 1 m), `_mm` millimeters, `_deg`
//!   degrees. What was ordered or measured is an exact type of [`mod@unit`]. Computation runs in `f64` with a unit
//!   in the name and is rounded once, at the end.
//!
//! # Files
//!
//! * [`mod@unit`] – exact hundredths: diopters, prism diopters, millimeters, tilt; the cylinder axis.
//! * [`prescription`] – reads and writes one eye's prescription and the pupil distance; cautions to confirm.
//! * [`power`] – sphere, cylinder and axis for computing: transposition, power vectors, power matrix, vertex distance.
//! * [`prism`] – base directions, resultants, Prentice's rule, decentration for a wanted prism.
//! * [`direction`] – writes a signed amount with its direction: `0.25 in`.
//! * [`surface`] – sag, slope and second derivatives of conic and toric surfaces; tool power.
//! * [`ray`] – refraction of rays and narrow pencils of light.
//! * [`lens`] – a lens with two surfaces: back curves, thickness, exact rays.
//! * [`gaze`] – prism at the point each eye looks through, and the imbalance of the pair.
//! * [`convergence`] – how the eyes turn toward what is near: the near pupil distance, eyes that look at a camera.
//! * [`compensation`] – the power to order for vertex distance, pantoscopic tilt and wrap.
//! * [`material`] – index, Abbe number and density; the usual front curve.
//! * [`tolerance`] – ANSI Z80.1 and ISO 21987 limits, and the verdict on a finished pair.
//! * [`mistake`] – which of the usual mistakes would explain a pair that fails.
//! * [`budget`] – before cutting: the chance that the pair passes each row of its tolerance table.
//!
//! # What this room does not do
//!
//! It does not decide what the lab does about a result. It reads no files and knows no date.
#![deny(missing_docs)]

pub mod budget;
pub mod compensation;
pub mod convergence;
pub mod direction;
pub mod gaze;
pub mod lens;
pub mod material;
pub mod mistake;
pub mod notation;
pub mod power;
pub mod prescription;
pub mod prism;
pub mod ray;
pub mod surface;
pub mod tolerance;
pub mod unit;

/// Which of the wearer's eyes a value belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Eye {
    /// The wearer's right eye: on the observer's left in the front view.
    Right,
    /// The wearer's left eye: on the observer's right in the front view.
    Left,
}

impl Eye {
    /// Both eyes in the order the trade writes them.
    pub const BOTH: [Eye; 2] = [Eye::Right, Eye::Left];

    /// The sign of x towards the nose in the front view: +1 for the right eye, -1 for the left.
    pub fn nasal_sign(self) -> f64 {
        match self {
            Eye::Right => 1.0,
            Eye::Left => -1.0,
        }
    }

    /// The other eye.
    pub fn other(self) -> Eye {
        match self {
            Eye::Right => Eye::Left,
            Eye::Left => Eye::Right,
        }
    }

    /// `"right"` or `"left"`, as written in files and form fields.
    pub fn name(self) -> &'static str {
        match self {
            Eye::Right => "right",
            Eye::Left => "left",
        }
    }

    /// `"R"` or `"L"`, as marked on a lens.
    pub fn letter(self) -> &'static str {
        match self {
            Eye::Right => "R",
            Eye::Left => "L",
        }
    }
}

/// One value for each eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Pair<T> {
    /// The wearer's right eye.
    pub right: T,
    /// The wearer's left eye.
    pub left: T,
}

impl<T> Pair<T> {
    /// A pair from its two values, right first.
    pub fn new(right: T, left: T) -> Self {
        Self { right, left }
    }

    /// The value of one eye.
    pub fn get(&self, eye: Eye) -> &T {
        match eye {
            Eye::Right => &self.right,
            Eye::Left => &self.left,
        }
    }

    /// The member for this eye, to be changed.
    pub fn get_mut(&mut self, eye: Eye) -> &mut T {
        match eye {
            Eye::Right => &mut self.right,
            Eye::Left => &mut self.left,
        }
    }

    /// Applies `f` to each eye, right first.
    pub fn map<U>(self, mut f: impl FnMut(T) -> U) -> Pair<U> {
        Pair { right: f(self.right), left: f(self.left) }
    }

    /// Borrows both values.
    pub fn as_ref(&self) -> Pair<&T> {
        Pair { right: &self.right, left: &self.left }
    }

    /// Both values with their eyes, right first.
    pub fn iter(&self) -> impl Iterator<Item = (Eye, &T)> {
        [(Eye::Right, &self.right), (Eye::Left, &self.left)].into_iter()
    }
}
