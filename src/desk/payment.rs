//! Payments of an order. A refund is a payment with a negative amount; see [`super::refund`].

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::key::keyed;
use super::money::Cents;

/// How money came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum PaymentKind {
    Card,
    /// A paper check, not a check of the lenses.
    Check,
    Cash,
    Transfer,
    Other,
}

keyed!(PaymentKind);

impl PaymentKind {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            PaymentKind::Card => "card",
            PaymentKind::Check => "check",
            PaymentKind::Cash => "cash",
            PaymentKind::Transfer => "bank transfer",
            PaymentKind::Other => "other",
        }
    }
}

/// A payment; a refund has a negative amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Payment {
    pub kind: PaymentKind,
    pub amount: Cents,
    pub paid_on: Date,
}
