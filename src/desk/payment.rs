//! Money that came in for an order, or went back.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::key::keyed;
use super::money::Cents;

/// How money came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum PaymentKind {
    /// A payment card.
    Card,
    /// A paper check.
    Check,
    /// Cash.
    Cash,
    /// A bank transfer.
    Transfer,
    /// Something else.
    Other,
}

keyed!(PaymentKind);

/// Money that came in (or, negative, went back).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Payment {
    /// How.
    pub kind: PaymentKind,
    /// How much.
    pub amount: Cents,
    /// On which day.
    pub paid_on: Date,
}
