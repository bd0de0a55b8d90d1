//! Payments and refunds of an order.

use time::Date;

use super::money::Cents;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PaymentKind {
    Card,
    /// A paper check, not a check of the lenses.
    Check,
    Cash,
    Transfer,
    Other,
}

impl PaymentKind {
    /// In the order of the form.
    pub const ALL: [PaymentKind; 5] =
        [PaymentKind::Card, PaymentKind::Check, PaymentKind::Cash, PaymentKind::Transfer, PaymentKind::Other];

    /// Stable key for the book and forms.
    pub fn key(self) -> &'static str {
        match self {
            PaymentKind::Card => "card",
            PaymentKind::Check => "check",
            PaymentKind::Cash => "cash",
            PaymentKind::Transfer => "transfer",
            PaymentKind::Other => "other",
        }
    }

    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.key() == key)
    }
}

/// A payment; a refund has a negative amount.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Payment {
    pub kind: PaymentKind,
    pub amount: Cents,
    pub paid_on: Date,
}
