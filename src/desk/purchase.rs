//! Orders for uncut lenses to a supplier, and what became of each line.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::{Date, OffsetDateTime};

use super::id::{DrawerLensId, MaterialId, TreatmentId};
use super::key::keyed;
use super::money::Cents;
use super::stock::{Supplier, WantedLens, plain_power};
use crate::optics::Eye;
use crate::optics::notation::short;
use crate::optics::unit::{Diopter, Millimeter};

/// An order as it is given to a supplier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewPurchase {
    /// The supplier's name.
    pub supplier: String,
    pub ordered_on: Date,
    pub expected_on: Date,
    pub note: String,
    pub lines: Vec<OrderedLens>,
}

/// What one line of an order asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderedLens {
    pub ordered_for: OrderedFor,
    pub material: MaterialId,
    pub coating: Option<TreatmentId>,
    pub second_coating: Option<TreatmentId>,
    pub tint: Option<TreatmentId>,
    /// All coatings and the tint, as they are called; empty for none.
    pub treatments: String,
    pub sphere: Diopter,
    /// Zero or minus.
    pub cylinder: Diopter,
    pub diameter: Millimeter,
    /// Nominal base curve, in tool power.
    pub base: Option<Diopter>,
    /// What else is asked for.
    pub remark: String,
    pub count: i64,
    /// Of one lens.
    pub price: Option<Cents>,
}

impl OrderedLens {
    /// `-2.25 -0.50`, or `-2.25 sph`.
    pub fn power_words(&self) -> String {
        plain_power(self.sphere, self.cylinder)
    }

    /// What is another than the eye is to have: the order may have been corrected since. The power of a balance lens
    /// is free.
    pub fn differs_from(&self, wanted: &WantedLens, is_power_free: bool) -> Option<String> {
        let power = wanted.power.to_minus();
        let is_off = |own: Diopter, wanted: Diopter| own.to_f64_in_eighths() != wanted.to_f64_in_eighths();
        let is_other_power = is_off(self.sphere, power.sphere()) || is_off(self.cylinder, power.cylinder());
        let coatings: BTreeSet<TreatmentId> = self.coating.into_iter().chain(self.second_coating).collect();
        let differs = [
            (is_other_power && !is_power_free, "power"),
            (self.material != wanted.material, "material"),
            (coatings != wanted.coatings.iter().copied().collect(), "coating"),
            (self.tint != wanted.tint, "tint"),
        ];
        let other: Vec<&str> = differs.iter().filter(|(is_other, _)| *is_other).map(|(_, what)| *what).collect();
        (!other.is_empty()).then(|| format!("another {} than the job asks for now", other.join(", ")))
    }

    /// `70 mm or larger`.
    pub fn diameter_words(&self) -> String {
        format!("{} mm or larger", short(self.diameter.to_f64()))
    }
}

/// For what a lens is ordered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrderedFor {
    Eye { job: i64, eye: Eye },
    Drawer(DrawerLensId),
}

/// An order in the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Purchase {
    pub number: i64,
    pub supplier: Supplier,
    pub ordered_on: Date,
    /// By what the supplier said last.
    pub expected_on: Date,
    /// The days it was expected before, oldest first.
    pub moved: Vec<ExpectationMoved>,
    pub note: String,
    pub lines: Vec<PurchaseLine>,
    /// How often something happened to its lines: the running number of its form.
    pub moves: i64,
}

/// The supplier named another day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExpectationMoved {
    /// The day it was expected before.
    pub was: Date,
    /// The day it is expected since.
    pub expected_on: Date,
    /// What the supplier said; may be empty.
    pub reason: String,
    /// In UTC.
    pub at: OffsetDateTime,
}

/// A line of an order in the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PurchaseLine {
    pub seq: i64,
    pub purchase: i64,
    pub supplier: String,
    pub ordered_on: Date,
    pub expected_on: Date,
    pub lens: OrderedLens,
    pub material_name: String,
    /// How many are still to come.
    pub to_come: i64,
    /// How many are here, and neither in hand nor in the drawer.
    pub here: i64,
    /// Lot and certificate of what came last.
    pub source: String,
}

impl PurchaseLine {
    /// Whether anything of it is still to be done.
    pub fn is_open(&self) -> bool {
        self.to_come + self.here > 0
    }
}

/// What happens to the lenses of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum PurchaseMoveKind {
    /// It came.
    Arrived,
    /// It will not come.
    Cancelled,
    /// Taken in hand for its job.
    Taken,
    /// Counted into the drawer.
    Stocked,
    /// Sent back to the supplier.
    SentBack,
}

keyed!(PurchaseMoveKind);

/// Something that happens to lenses of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PurchaseMove {
    /// The line.
    pub line: i64,
    pub kind: PurchaseMoveKind,
    pub count: i64,
    /// Lot and certificate.
    pub source: String,
}

/// How many lenses a line may ask for.
pub const COUNT: RangeInclusive<i64> = 1..=500;

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;
    use crate::optics::prescription::read;

    #[test]
    fn a_lens_on_order_says_what_a_correction_made_of_it() {
        let [hard, clear, gray] = [1, 2, 3].map(|n| TreatmentId(Uuid::from_u128(n)));
        let [resin, index] = [1, 2].map(|n| MaterialId(Uuid::from_u128(n)));
        let ordered = OrderedLens {
            ordered_for: OrderedFor::Eye { job: 1001, eye: Eye::Right },
            material: resin,
            coating: Some(hard),
            second_coating: Some(clear),
            tint: None,
            treatments: String::new(),
            sphere: "-2.00".parse().unwrap(),
            cylinder: "-1.00".parse().unwrap(),
            diameter: "70".parse().unwrap(),
            base: None,
            remark: String::new(),
            count: 1,
            price: None,
        };
        for (rx, material, coatings, tint, is_balance, says) in [
            ("-2.00 -1.00 x 90", resin, vec![clear, hard], None, false, None),
            // The plus form of the same power (textbook).
            ("-3.00 +1.00 x 180", resin, vec![hard, clear], None, false, None),
            ("-2.25 -1.00 x 90", resin, vec![hard, clear], None, false, Some("another power than")),
            ("-2.25 -1.00 x 90", resin, vec![hard, clear], None, true, None),
            ("-2.00 -1.00 x 90", index, vec![hard], Some(gray), false, Some("another material, coating, tint than")),
        ] {
            let wanted = WantedLens { material, coatings, tint, power: read(rx).unwrap().rx.power };
            let found = ordered.differs_from(&wanted, is_balance);
            assert_eq!(found.is_some(), says.is_some(), "{rx}: {found:?}");
            assert!(says.is_none_or(|says| found.as_ref().unwrap().starts_with(says)), "{rx}: {found:?}");
        }
    }
}
