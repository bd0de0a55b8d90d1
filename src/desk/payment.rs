//! Money that came in for an order, or went back.

use time::Date;

use super::money::Cents;

/// How money came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
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

impl PaymentKind {
    /// Every kind, in the order of the form.
    pub const ALL: [PaymentKind; 5] =
        [PaymentKind::Card, PaymentKind::Check, PaymentKind::Cash, PaymentKind::Transfer, PaymentKind::Other];

    /// As written in the book and in forms.
    pub fn key(self) -> &'static str {
        match self {
            PaymentKind::Card => "card",
            PaymentKind::Check => "check",
            PaymentKind::Cash => "cash",
            PaymentKind::Transfer => "transfer",
            PaymentKind::Other => "other",
        }
    }

    /// The kind written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.key() == key)
    }
}

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
