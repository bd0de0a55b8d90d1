//! Published tolerance tables and the verdict on a finished pair.
//!
//! The tables come from secondary copies, and parts of them from memory. Each row names its `source`.
//! **The standard's own text governs**: compare these tables with your own copy before you rely on a verdict.
//! American tolerances are recommendations, not law, except where a state adopts them.
//!
//! * [`Profile`] is the owner's choice of table; its methods give each limit for a power.
//! * [`verify`] compares what was ordered with what was measured, one [`ToleranceLine`] for each row that applies.
//! * [`CenterLimits`] are the house limits on each center's place, which no standard prints.
//!
//! Both powers are put in minus-cylinder form before they are compared. Axes are compared around the circle, so 180
//! and 1 are one degree apart. Ordered powers count in full eighths (-2.12 is -2.125); measured ones count as read.
//!
//! # What this room does not do
//!
//! It does not read a lensmeter. It does not decide what happens to a pair that fails: the owner does, with a reason.

use std::fmt;

mod center;
mod iso_21987;
mod quantity;
#[cfg(test)]
mod tests;
mod thickness;
mod verdict;
mod z80_1;

pub use center::CenterLimits;
pub use quantity::Quantity;
pub use thickness::least_center;
pub use verdict::{Measured, OrderedPair, Status, ToleranceLine, is_verified, verify};
pub(in crate::optics) use verdict::{power_lines, prism_limits};

/// Shown wherever a verdict is shown.
pub const STANDARD_GOVERNS: &str = "Tolerances shown are from an owner-selected profile; the standard's text governs. Check them against your own copy.";

/// Shown wherever a reading is typed.
pub const READING_CAUTION: &str = "Measured values are those you typed; the program does not read your lensmeter. \
     Lensmeters read in steps of 0.01 to 0.12 D: a reading within one step of a limit is not conclusive.";

/// What is allowed beyond a printed limit: half the finest reading step, 0.01 (common practice). Not for axes.
pub const READING_ALLOWANCE: f64 = 0.005;

/// A pass that uses more than this share of its limit is a pass at the limit (common practice).
pub const AT_LIMIT_SHARE: f64 = 0.8;

/// Which published table a pair is judged by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Profile {
    /// ANSI Z80.1-2015, single vision.
    #[default]
    Z80_1,
    /// ISO 21987 (mounted lenses), entirely from memory: check it against your own copy before use.
    Iso21987,
}

impl Profile {
    /// Every profile.
    pub const ALL: [Profile; 2] = [Profile::Z80_1, Profile::Iso21987];

    /// A stable key for the book and form fields.
    pub fn key(self) -> &'static str {
        match self {
            Profile::Z80_1 => "z80_1",
            Profile::Iso21987 => "iso_21987",
        }
    }

    /// The profile of a [`key`](Self::key).
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|profile| profile.key() == key)
    }

    /// The limit on the power of a principal meridian, from the strongest principal power.
    pub fn power_limit(self, strongest_d: f64) -> Limit {
        match self {
            Profile::Z80_1 => z80_1::power(strongest_d),
            Profile::Iso21987 => iso_21987::power(strongest_d),
        }
    }

    /// The limit on the cylinder, from the ordered cylinder and the strongest principal power.
    pub fn cylinder_limit(self, strongest_d: f64, cylinder_d: f64) -> Limit {
        match self {
            Profile::Z80_1 => z80_1::cylinder(cylinder_d),
            Profile::Iso21987 => iso_21987::cylinder(strongest_d, cylinder_d),
        }
    }

    /// The limit on the axis, from the ordered cylinder. `None` below one eighth: the axis is not judged.
    pub fn axis_limit(self, cylinder_d: f64) -> Option<Limit> {
        match self {
            Profile::Z80_1 => z80_1::axis(cylinder_d),
            Profile::Iso21987 => iso_21987::axis(cylinder_d),
        }
    }

    /// The limit on the unwanted vertical imbalance, from the stronger |F(90)| of the pair and the strongest
    /// vertical prism prescribed before either eye.
    pub fn vertical_limit(self, vertical_d: f64, prescribed_pd: f64) -> Limit {
        match self {
            Profile::Z80_1 => z80_1::vertical(vertical_d),
            Profile::Iso21987 => iso_21987::vertical(vertical_d, prescribed_pd),
        }
    }

    /// The limit on the unwanted horizontal imbalance, from the stronger |F(180)| of the pair and the strongest
    /// horizontal prism prescribed before either eye.
    pub fn horizontal_limit(self, horizontal_d: f64, prescribed_pd: f64) -> Limit {
        match self {
            Profile::Z80_1 => z80_1::horizontal(horizontal_d),
            Profile::Iso21987 => iso_21987::horizontal(horizontal_d, prescribed_pd),
        }
    }

    /// The limits on the difference from a prescribed prism, horizontal then vertical.
    pub fn prism_limits(self, horizontal_d: f64, vertical_d: f64, in_pd: f64, up_pd: f64) -> (Limit, Limit) {
        match self {
            Profile::Z80_1 => z80_1::prescribed_prism(),
            Profile::Iso21987 => (iso_21987::horizontal(horizontal_d, in_pd), iso_21987::vertical(vertical_d, up_pd)),
        }
    }

    /// The limit on a center thickness that was specified.
    pub fn center_thickness_limit(self) -> Limit {
        match self {
            Profile::Z80_1 => z80_1::center_thickness(),
            Profile::Iso21987 => iso_21987::center_thickness(),
        }
    }
}

impl fmt::Display for Profile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Profile::Z80_1 => "ANSI Z80.1-2015",
            Profile::Iso21987 => "ISO 21987 (from memory)",
        })
    }
}

/// The unit a row is judged in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RowUnit {
    /// Diopters.
    Diopter,
    /// Degrees of axis.
    Degree,
    /// Prism diopters.
    PrismDiopter,
    /// Millimeters.
    Millimeter,
}

impl RowUnit {
    /// A name that never changes, for the book.
    pub fn key(self) -> &'static str {
        match self {
            RowUnit::Diopter => "d",
            RowUnit::Degree => "deg",
            RowUnit::PrismDiopter => "pd",
            RowUnit::Millimeter => "mm",
        }
    }
}

impl fmt::Display for RowUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            RowUnit::Diopter => "D",
            RowUnit::Degree => "°",
            RowUnit::PrismDiopter => "Δ",
            RowUnit::Millimeter => "mm",
        })
    }
}

/// One limit of a table, as it applies to one lens or pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The largest allowed difference, in `unit`.
    pub size: f64,
    /// The unit of `size`.
    pub unit: RowUnit,
    /// The row's range and rule as a sentence.
    pub rule: &'static str,
    /// Where the row comes from.
    pub source: &'static str,
}

/// A row of a table that applies up to and including a size.
struct Band {
    up_to: f64,
    limit: f64,
    rule: &'static str,
}

/// The first band that applies to a size. The last band of each table goes up to infinity.
fn band_for(bands: &'static [Band], size: f64) -> Option<&'static Band> {
    // Rounding may put a computed size just above the bound that it equals.
    bands.iter().find(|band| size <= band.up_to + 1e-9)
}
