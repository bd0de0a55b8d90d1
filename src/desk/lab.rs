//! The lab's own page: who it is and how it works.

use std::ops::RangeInclusive;

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::key::keyed;
use super::limit::LengthLimit;
use super::money::Cents;
use crate::optics::tolerance::Profile;
use crate::optics::unit::Millimetre;

/// Which form of the prescription the procedure codes are taken from. Billing practice takes the sphere as
/// written (from memory; no published text decides it), so that is the default.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum CodeBasis {
    /// As the prescriber wrote it.
    #[default]
    AsWritten,
    /// Minus-cylinder form.
    Minus,
    /// Plus-cylinder form.
    Plus,
}

keyed!(CodeBasis);

impl CodeBasis {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            CodeBasis::AsWritten => "as the prescription is written",
            CodeBasis::Minus => "minus-cylinder form",
            CodeBasis::Plus => "plus-cylinder form",
        }
    }
}

/// What a blank may have over the exact least size.
pub const BLANK_MARGIN: LengthLimit = LengthLimit::new("A margin", 0, 1000);
/// Days from order to promise.
pub const LEAD_DAYS: RangeInclusive<i32> = 1..=120;
/// The highest shipping charge.
pub const MOST_SHIPPING: Cents = Cents::new(1_000_000);

/// The lab as its papers and computations need it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lab {
    /// Name at the head of every paper.
    pub name: String,
    /// Address, lines parted by `\n`.
    pub address: String,
    /// Telephone.
    pub phone: String,
    /// E-mail.
    pub email: String,
    /// Tax id, as an insurer asks for it.
    pub tax_id: String,
    /// The finest step the blocker can be set to.
    pub blocker_step: Millimetre,
    /// What a blank must have over the exact least size, for chips and bevel.
    pub blank_margin: Millimetre,
    /// Which tolerances.
    pub tolerance: Profile,
    /// Which form codes are taken from.
    pub code_basis: CodeBasis,
    /// Days from order to promise.
    pub lead_days: i64,
    /// Shipping charge offered on a new order.
    pub shipping: Cents,
}

impl Lab {
    /// A new lab with sound defaults: blocker to 0.5 mm, 2 mm on the blank (common practice), ten days.
    pub fn new(name: String, address: String) -> Self {
        let half = Millimetre::from_hundredths(50).unwrap_or(Millimetre::ZERO);
        let two = Millimetre::from_hundredths(200).unwrap_or(Millimetre::ZERO);
        Self {
            name,
            address,
            phone: String::new(),
            email: String::new(),
            tax_id: String::new(),
            blocker_step: half,
            blank_margin: two,
            tolerance: Profile::Z80_1,
            code_basis: CodeBasis::default(),
            lead_days: 10,
            shipping: Cents::new(700),
        }
    }
}
