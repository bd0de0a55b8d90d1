//! Faults that stop a reading, and notes on how the text was understood.

use thiserror::Error;

use super::{BaseDirection, PowerError, PrismTooStrong};
use crate::optics::unit::{Axis, Diopter};

/// Why a prescription was not read. Each sentence says what to do. Nothing is guessed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PrescriptionFault {
    /// Nothing was written.
    #[error("Write the power, such as -2.25 -1.25 x 95, or plano")]
    Empty,
    /// There is prism but no power.
    #[error("The power is missing: write it before the prism, or plano if there is none")]
    PowerMissing,
    /// There is a cylinder or axis but no sphere.
    #[error("The sphere is missing: write it before the cylinder, or plano if there is none")]
    SphereMissing,
    /// A power has no sign.
    #[error("“{text}” has no sign: write +{text} or -{text} for the {what}")]
    SignMissing {
        /// `sphere` or `cylinder`.
        what: &'static str,
        /// The number as written.
        text: String,
    },
    /// A number without sign follows the sphere; it could be a cylinder or an axis.
    #[error(
        "“{0}” could be a cylinder without its sign or an axis without its cylinder: write both, such as -1.25 x 95"
    )]
    LoneNumber(String),
    /// A bare number with a leading zero, such as -012.
    #[error("“{text}” can be read as {small} or as {large}: write it with its decimal point")]
    Ambiguous {
        /// The number as written.
        text: String,
        /// Read as hundredths.
        small: Diopter,
        /// Read as whole diopters.
        large: Diopter,
    },
    /// Looks like a number but is not one.
    #[error("“{0}” is not a number")]
    NotANumber(String),
    /// More than two decimals, and not an eighth.
    #[error("“{0}” has more than two decimals")]
    TooFine(String),
    /// The sphere, cylinder and axis do not make a lens power.
    #[error(transparent)]
    Power(#[from] PowerError),
    /// A number too large for a power.
    #[error("“{0}” is beyond ±30.00; check the power")]
    OutOfRange(String),
    /// The axis is not a whole number without sign.
    #[error("“{0}” is not an axis: write a whole number from 1 to 180")]
    AxisNotWhole(String),
    /// The axis is beyond 180.
    #[error("An axis of “{0}” is beyond 180: write a whole number from 1 to 180")]
    AxisOutOfRange(String),
    /// A number is written as power in a meridian.
    #[error("“@” gives the power in a meridian, which is not the axis: write the axis with x")]
    AtSign,
    /// An add is written.
    #[error("Leave out the add: this lab makes single-vision lenses, so write the power for this pair's use")]
    AddGiven,
    /// A word names an eye.
    #[error("Leave out “{0}”: each eye has its own field")]
    EyeNamed(String),
    /// A word or sign that is not understood.
    #[error("“{0}” was not understood: leave it out or write it another way")]
    Unreadable(String),
    /// A number after the axis that belongs to no prism.
    #[error("“{0}” is one number too many: write sphere, cylinder and axis, then the prism with its base")]
    ExtraNumber(String),
    /// The prism field is empty.
    #[error("Write the prism with its base, such as 1.5 BI, or 0 for none")]
    PrismMissing,
    /// A base without an amount.
    #[error("How strong is the prism “{0}”? Write the amount before it, such as 1.5 BI")]
    PrismAmountMissing(BaseDirection),
    /// An amount of prism without a base.
    #[error("The prism “{0}” has no base: write BI, BO, BU or BD after the amount")]
    PrismBaseMissing(String),
    /// A prism amount with a sign.
    #[error("“{0}” is a prism with a sign: leave out the sign and let the base give the direction")]
    PrismSigned(String),
    /// Two prisms with the same base, or with opposite ones.
    #[error("There are two prisms, {0} and {1}: keep only the one that is meant")]
    PrismTwice(BaseDirection, BaseDirection),
    /// Too much prism.
    #[error(transparent)]
    PrismTooStrong(#[from] PrismTooStrong),
    /// A number too large for a prism.
    #[error("A prism of “{0}” is beyond 20.00; check the prism")]
    PrismOutOfRange(String),
    /// Prism in a field that takes only a power.
    #[error("Leave out the prism: this field takes only the power")]
    PrismNotHere,
}

/// Tells the user where the value read differs from the text.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ReadNote {
    /// A number without decimal point was expanded.
    #[error("“{text}” read as {value}")]
    Expanded {
        /// The number as written.
        text: String,
        /// What it was read as.
        value: Diopter,
    },
    /// An eighth was written differently from how it is stored.
    #[error("“{text}” stored as {value}")]
    StoredAs {
        /// The number as written.
        text: String,
        /// What is stored.
        value: Diopter,
    },
    /// Axis 0 is written 180.
    #[error("Axis 0 stored as 180")]
    AxisZero,
    /// An axis was left out because the cylinder is zero.
    #[error("Axis {0} left out: there is no cylinder")]
    AxisDropped(Axis),
}
