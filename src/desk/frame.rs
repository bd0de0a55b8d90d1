//! A frame as its maker describes it. The traced shape belongs to a job, not to the frame: two frames of one
//! model are never quite alike.

use std::fmt;

use uuid::Uuid;

use super::money::Cents;
use crate::optics::notation::short;
use crate::optics::unit::Millimetre;

/// How the frame holds the lens, which decides the edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Rim {
    /// A closed metal eyewire with a groove.
    Metal,
    /// A closed plastic rim, warmed to take the lens.
    Plastic,
    /// A half rim with a nylon cord in a groove around the lens.
    Cord,
    /// No rim: the lens is drilled.
    Drilled,
}

impl Rim {
    /// Every kind, in the order of the form.
    pub const ALL: [Rim; 4] = [Rim::Metal, Rim::Plastic, Rim::Cord, Rim::Drilled];

    /// As written in the book and in forms.
    pub fn key(self) -> &'static str {
        match self {
            Rim::Metal => "metal",
            Rim::Plastic => "plastic",
            Rim::Cord => "cord",
            Rim::Drilled => "drilled",
        }
    }

    /// The kind written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rim| rim.key() == key)
    }

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            Rim::Metal => "full rim, metal",
            Rim::Plastic => "full rim, plastic",
            Rim::Cord => "half rim, nylon cord",
            Rim::Drilled => "rimless, drilled",
        }
    }
}

/// What is known of a frame before it is in the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameDetails {
    /// The maker.
    pub maker: String,
    /// The model.
    pub model: String,
    /// The colour, which may be empty.
    pub colour: String,
    /// A as stamped on the frame; a traced A is used where there is one.
    pub eye_size: Millimetre,
    /// DBL as stamped.
    pub bridge: Millimetre,
    /// Temple length as stamped.
    pub temple: Option<Millimetre>,
    /// How it holds the lens.
    pub rim: Rim,
    /// What the lab asks for it.
    pub price: Cents,
}

/// A frame in the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// The key in the book.
    pub id: Uuid,
    /// What is known of it.
    pub details: FrameDetails,
}

impl fmt::Display for FrameDetails {
    /// `Copperline Tern, slate, 52□18 140`: the box mark stands between eye size and bridge as on the frame itself.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.maker, self.model)?;
        if !self.colour.is_empty() {
            write!(f, ", {}", self.colour)?;
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
