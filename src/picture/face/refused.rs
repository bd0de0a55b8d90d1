//! Why a photo of a face gives no figures.

use thiserror::Error;

use crate::optics::Eye;

/// Why a photo of a face gives no figures, with what to do.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum FaceRefused {
    /// A number that is not possible.
    #[error("{what} is {value}: between {low} and {high} was expected")]
    Number {
        /// Which.
        what: &'static str,
        /// As given.
        value: f64,
        /// The least.
        low: f64,
        /// The most.
        high: f64,
    },
    /// A mark beside the picture.
    #[error("{0} is not in the picture")]
    Outside(&'static str),
    /// Right and left are exchanged.
    #[error(
        "the {0} are exchanged: the wearer’s right eye is on the viewer’s left. A mirrored or upside-down picture has to be \
         turned first"
    )]
    Exchanged(&'static str),
    /// Corners in another order.
    #[error("the card’s corners have to go around: top left, top right, bottom right, bottom left as seen")]
    CornerOrder,
    /// Corners of something else.
    #[error(
        "the four corners are not those of a card of 85.60 by 53.98 mm: its sides are as {0:.2} to 1, not 1.59. Mark where \
         its straight sides would meet"
    )]
    NotACard(f64),
    /// A card that is too small in the picture.
    #[error("the card is only {0:.0} pixels long in the picture: too small to measure with, 60 are needed")]
    CardTooSmall(f64),
    /// The edges of the frame are too near to each other.
    #[error(
        "the edges of the frame are only {0:.0} pixels apart in the picture: too near to measure with, 60 are needed"
    )]
    FrameTooSmall(f64),
    /// A distance that no person has.
    #[error("the pupils would be {0:.1} mm apart, and 40 to 80 is possible: check the marks and the scale")]
    Pair(f64),
    /// The bridge is beside the eyes.
    #[error("the bridge has to be marked between the pupils")]
    Bridge,
    /// The bridge is far above or below the eyes.
    #[error(
        "the bridge is marked far above or below the pupils: mark the middle of the nose at the height of the eyes"
    )]
    BridgeFar,
    /// The lower rim is above the pupil.
    #[error("the lower rim of the {} lens has to be marked below its pupil", .0.name())]
    LowerRim(Eye),
    /// Marks of nothing that can be seen.
    #[error("these marks are not those of a face seen from the front")]
    NotAFace,
}
