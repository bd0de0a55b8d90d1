//! The lab's own details and settings.

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
    /// Shown to the user.
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
/// The lab's own limit on the place of an optical centre.
pub const CENTRE_LIMIT: LengthLimit = LengthLimit::new("A limit on the place of a centre", 10, 1000);
/// Days from order to promise.
pub const LEAD_DAYS: RangeInclusive<i32> = 1..=120;
/// The highest shipping charge.
pub const MOST_SHIPPING: Cents = Cents::new(1_000_000);

/// The lab's details for its documents, and the settings for its computations.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lab {
    /// Printed at the top of every document.
    pub name: String,
    /// Lines separated by `\n`.
    pub address: String,
    pub phone: String,
    pub email: String,
    /// As insurers ask for it.
    pub tax_id: String,
    /// The finest step of the blocker.
    pub blocker_step: Millimetre,
    /// The allowance on a blank's diameter over the exact minimum, for chips and bevel.
    pub blank_margin: Millimetre,
    /// The table that finished pairs are judged by.
    pub tolerance: Profile,
    /// How far each optical centre may be from its ordered place, across and in height; `None` is not judged.
    pub centre_across: Option<Millimetre>,
    pub centre_height: Option<Millimetre>,
    pub code_basis: CodeBasis,
    /// Calendar days from order to promised date.
    pub lead_days: i64,
    /// The default shipping charge of a new order.
    pub shipping: Cents,
}

impl Lab {
    /// A new lab with defaults: blocker step 0.5 mm, 2 mm on the blank, 1 mm for a centre (common practice), ten
    /// days.
    pub fn new(name: String, address: String) -> Self {
        let half = Millimetre::from_hundredths(50).unwrap_or(Millimetre::ZERO);
        let one = Millimetre::from_hundredths(100).unwrap_or(Millimetre::ZERO);
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
            centre_across: Some(one),
            centre_height: Some(one),
            code_basis: CodeBasis::default(),
            lead_days: 10,
            shipping: Cents::new(700),
        }
    }
}
