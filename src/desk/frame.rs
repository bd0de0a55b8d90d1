//! A frame as its maker describes it. The traced shape belongs to a job, not to the frame: two frames of one model
//! are never exactly alike.

use std::fmt;

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::OffsetDateTime;

use super::id::FrameId;
use super::key::keyed;
use super::limit::LengthLimit;
use super::money::Cents;
use crate::optics::notation::short;
use crate::optics::unit::Millimeter;

/// The width of a lens in the boxing system, as stamped on frames for adults and children.
pub const EYE_SIZE: LengthLimit = LengthLimit::new("An eye size", 3000, 7500);
/// The stamped distance between the lenses.
pub const BRIDGE: LengthLimit = LengthLimit::new("A bridge", 800, 3000);
/// The stamped length of a temple.
pub const TEMPLE: LengthLimit = LengthLimit::new("A temple", 8000, 18_000);

/// How the frame holds the lens, which decides the edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Rim {
    /// A closed metal eyewire with a groove.
    Metal,
    /// A closed plastic rim, heated to insert the lens.
    Plastic,
    /// A half rim with a nylon cord in a groove around the lens.
    Cord,
    /// No rim: the lens is drilled.
    Drilled,
}

keyed!(Rim);

impl Rim {
    /// Shown to the user.
    pub fn words(self) -> &'static str {
        match self {
            Rim::Metal => "full rim, metal",
            Rim::Plastic => "full rim, plastic",
            Rim::Cord => "half rim, nylon cord",
            Rim::Drilled => "rimless, drilled",
        }
    }
}

/// A frame's details.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameDetails {
    pub maker: String,
    pub model: String,
    /// May be empty.
    pub color: String,
    /// A as stamped on the frame. A traced A has priority.
    pub eye_size: Millimeter,
    /// DBL as stamped.
    pub bridge: Millimeter,
    /// Temple length as stamped.
    pub temple: Option<Millimeter>,
    pub rim: Rim,
    /// What the lab charges for it.
    pub price: Cents,
}

/// A frame in the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    pub id: FrameId,
    pub details: FrameDetails,
}

/// What the book said of a frame before a correction.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FramePast {
    /// As it was.
    pub details: FrameDetails,
    /// When it was corrected.
    pub until: OffsetDateTime,
}

impl fmt::Display for FrameDetails {
    /// `Copperline Tern, slate, 52□18 140`, with the boxing mark between eye size and bridge as on the frame.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.maker, self.model)?;
        if !self.color.is_empty() {
            write!(f, ", {}", self.color)?;
        }
        write!(f, ", {}", self.stamp())
    }
}

impl FrameDetails {
    /// The numbers stamped on the frame.
    pub fn stamp(&self) -> String {
        let mut stamp = format!("{}□{}", short(self.eye_size.to_f64()), short(self.bridge.to_f64()));
        if let Some(temple) = self.temple {
            stamp.push_str(&format!(" {}", short(temple.to_f64())));
        }
        stamp
    }
}
