//! The lab's own details and settings.

use std::ops::RangeInclusive;

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::calendar::ClosedDays;
use super::key::keyed;
use super::limit::LengthLimit;
use super::money::Cents;
use super::stock::DIAMETER;
use crate::optics::tolerance::{CenterLimits, Profile};
use crate::optics::unit::Millimeter;

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
/// The lab's own limit on the place of an optical center.
pub const CENTER_LIMIT: LengthLimit = LengthLimit::new("A limit on the place of a center", 10, 1000);
/// The radius of a corner that is warned of; 0 for none.
pub const TIGHT_CORNER: LengthLimit = LengthLimit::new("The radius of a corner", 0, 2000);
/// The radius of an edging wheel.
pub const WHEEL_RADIUS: LengthLimit = LengthLimit::new("The radius of a wheel", 500, 20_000);
/// The diameters that uncut lenses are usually sold in, hundredths of a millimeter. Common practice (from memory).
const USUAL_DIAMETERS: [i32; 6] = [5500, 6000, 6500, 7000, 7500, 8000];
/// How many diameters a list may hold.
const MOST_DIAMETERS: usize = 20;

/// Reads the diameters of uncut lenses that the lab can buy, in millimeters: the smallest first, each once.
///
/// # Errors
///
/// A sentence for the page.
pub fn read_diameters(typed: &str) -> Result<Vec<Millimeter>, String> {
    let words = typed.split([' ', ',', ';', '\n', '\t']).filter(|word| !word.is_empty());
    let mut diameters =
        words.map(|word| DIAMETER.read(word).map_err(|why| why.to_string())).collect::<Result<Vec<_>, _>>()?;
    diameters.sort_by_key(|diameter| diameter.hundredths());
    diameters.dedup();
    match diameters.len() {
        0 => Err("Write the diameters you can buy, such as 55 60 65 70 75 80".to_owned()),
        1..=MOST_DIAMETERS => Ok(diameters),
        _ => Err(format!("At most {MOST_DIAMETERS} diameters")),
    }
}

/// Working days from order to promise.
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
    pub blocker_step: Millimeter,
    /// The allowance on a blank's diameter over the exact minimum, for chips and bevel.
    pub blank_margin: Millimeter,
    /// The table that finished pairs are judged by.
    pub tolerance: Profile,
    /// How far each optical center may be from its ordered place, across and in height; `None` is not judged.
    pub center_across: Option<Millimeter>,
    pub center_height: Option<Millimeter>,
    /// A corner of a smaller radius chips, or the bevel does not follow it.
    pub tight_corner: Millimeter,
    /// A hollow of a smaller radius cannot be cut with the edging wheel.
    pub wheel_radius: Millimeter,
    /// The diameters of uncut lenses that can be bought, the smallest first.
    pub stock_diameters: Vec<Millimeter>,
    pub code_basis: CodeBasis,
    /// Working days from order to promised date.
    pub lead_days: i64,
    /// The days on which the lab does not work.
    pub closed: ClosedDays,
    /// The default shipping charge of a new order.
    pub shipping: Cents,
}

impl Lab {
    /// The lab's own limits on the places of the optical centers.
    pub fn center_limits(&self) -> CenterLimits {
        let mm = |limit: Option<Millimeter>| limit.map(Millimeter::to_f64);
        CenterLimits { across_mm: mm(self.center_across), height_mm: mm(self.center_height) }
    }

    /// A new lab with defaults: blocker step 0.5 mm, 2 mm on the blank, 1 mm for a center, a corner of 1 mm and a wheel of 50 mm
    /// radius (common practice; the last two from memory), ten working days, Saturday and Sunday closed.
    pub fn new(name: String, address: String) -> Self {
        let [half, one, two, fifty] =
            [50, 100, 200, 5000].map(|mm| Millimeter::from_hundredths(mm).unwrap_or(Millimeter::ZERO));
        Self {
            name,
            address,
            phone: String::new(),
            email: String::new(),
            tax_id: String::new(),
            blocker_step: half,
            blank_margin: two,
            tolerance: Profile::Z80_1,
            center_across: Some(one),
            center_height: Some(one),
            tight_corner: one,
            wheel_radius: fifty,
            stock_diameters: USUAL_DIAMETERS
                .into_iter()
                .filter_map(|mm| Millimeter::from_hundredths(mm).ok())
                .collect(),
            code_basis: CodeBasis::default(),
            lead_days: 10,
            closed: ClosedDays::weekend(),
            shipping: Cents::new(700),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_of_diameters_is_sorted_and_has_each_once() {
        let read = |typed| read_diameters(typed).map(|list| list.iter().map(|d| d.to_f64()).collect::<Vec<_>>());
        assert_eq!(read("70, 65 70;75.5\n55"), Ok(vec![55.0, 65.0, 70.0, 75.5]));
        for (typed, says) in [("", "such as 55"), ("65 big", "not a number"), ("30", "between 40 and 90")] {
            assert!(read(typed).is_err_and(|why| why.contains(says)), "{typed}: {:?}", read(typed));
        }
        let usual = Lab::new(String::new(), String::new()).stock_diameters;
        assert_eq!((usual.len(), usual.last().map(|d| d.to_f64())), (6, Some(80.0)));
    }
}
