//! The prism prescribed before one eye.

use std::fmt;

use thiserror::Error;

use crate::optics::Eye;
use crate::optics::prism::{InUp, Polar};
use crate::optics::unit::PrismDiopter;

/// The strongest prism an order may hold before one eye, in hundredths (common practice).
const STRONGEST_PRISM: i32 = 2000;

/// The side of the lens a prism's base lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BaseDirection {
    /// Towards the nose.
    In,
    /// Towards the temple.
    Out,
    /// Up.
    Up,
    /// Down.
    Down,
}

impl BaseDirection {
    /// As a prescription writes it: `BI`, `BO`, `BU`, `BD`.
    pub fn letters(self) -> &'static str {
        match self {
            Self::In => "BI",
            Self::Out => "BO",
            Self::Up => "BU",
            Self::Down => "BD",
        }
    }

    /// Whether the base is in or out.
    pub fn is_horizontal(self) -> bool {
        matches!(self, Self::In | Self::Out)
    }
}

impl fmt::Display for BaseDirection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::In => "base in",
            Self::Out => "base out",
            Self::Up => "base up",
            Self::Down => "base down",
        })
    }
}

/// A prism before one eye is stronger than 20 prism diopters.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error("A prism of {amount_pd:.2} before one eye is beyond 20.00; check the prism")]
pub struct PrismTooStrong {
    /// The resultant of the horizontal and vertical parts.
    pub amount_pd: f64,
}

/// The prism prescribed before one eye. The resultant is at most 20 prism diopters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Prism {
    base_in: PrismDiopter,
    base_up: PrismDiopter,
}

impl Prism {
    /// No prism.
    pub const NONE: Self = Self { base_in: PrismDiopter::ZERO, base_up: PrismDiopter::ZERO };

    /// A prism from its parts: base in and base up positive, base out and base down negative.
    ///
    /// # Errors
    ///
    /// [`PrismTooStrong`] when the resultant is beyond 20.
    pub fn new(base_in: PrismDiopter, base_up: PrismDiopter) -> Result<Self, PrismTooStrong> {
        let (x, y) = (i64::from(base_in.hundredths()), i64::from(base_up.hundredths()));
        if x * x + y * y > i64::from(STRONGEST_PRISM).pow(2) {
            return Err(PrismTooStrong { amount_pd: base_in.to_f64().hypot(base_up.to_f64()) });
        }
        Ok(Self { base_in, base_up })
    }

    /// The horizontal part: base in positive, base out negative.
    pub fn base_in(self) -> PrismDiopter {
        self.base_in
    }

    /// The vertical part: base up positive, base down negative.
    pub fn base_up(self) -> PrismDiopter {
        self.base_up
    }

    /// Whether there is no prism.
    pub fn is_none(self) -> bool {
        self == Self::NONE
    }

    /// The parts that are not zero, each as a positive amount and its base; horizontal first.
    pub fn parts(self) -> impl Iterator<Item = (PrismDiopter, BaseDirection)> {
        let part = |signed: PrismDiopter, plus, minus| {
            let amount = PrismDiopter::from_hundredths(signed.hundredths().abs()).ok()?;
            let base = if signed < PrismDiopter::ZERO { minus } else { plus };
            (amount != PrismDiopter::ZERO).then_some((amount, base))
        };
        [
            part(self.base_in, BaseDirection::In, BaseDirection::Out),
            part(self.base_up, BaseDirection::Up, BaseDirection::Down),
        ]
        .into_iter()
        .flatten()
    }

    /// As a prescription writes it, `1.50 BI 1.00 BU`; empty for none.
    pub fn notation(self) -> String {
        self.parts().map(|(amount, base)| format!("{amount} {}", base.letters())).collect::<Vec<_>>().join(" ")
    }

    /// The numbers for computing.
    pub fn numbers(self) -> InUp {
        InUp { in_pd: self.base_in.to_f64(), up_pd: self.base_up.to_f64() }
    }

    /// The resultant before one eye: amount and base direction in the front view.
    pub fn to_polar(self, eye: Eye) -> Polar {
        self.numbers().to_polar(eye)
    }
}

impl fmt::Display for Prism {
    /// `1.50 base in, 1.00 base up`; `no prism` for none.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_none() {
            return f.write_str("no prism");
        }
        for (index, (amount, base)) in self.parts().enumerate() {
            let comma = if index == 0 { "" } else { ", " };
            write!(f, "{comma}{amount} {base}")?;
        }
        Ok(())
    }
}
