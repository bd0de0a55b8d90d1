//! Payments and refunds of an order.

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

/// A payment; a refund has a negative amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Payment {
    pub kind: PaymentKind,
    pub amount: Cents,
    pub paid_on: Date,
}
