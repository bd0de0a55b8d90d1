//! Money that goes back, and what that does to the bill.

use strum::{EnumString, IntoStaticStr, VariantArray};
use thiserror::Error;
use time::Date;

use super::account::Account;
use super::bill::{Charge, ChargeKind};
use super::key::keyed;
use super::money::Cents;
use super::payment::{Payment, PaymentKind};

/// What a refund does to the bill.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum RefundCause {
    /// More was paid than is owed. The bill stays.
    Overpaid,
    /// The bill goes down by the same amount, so the customer owes nothing more.
    Goodwill,
    /// The payment is refunded, and the amount is owed again.
    PaymentUndone,
}

keyed!(RefundCause);

/// Money to give back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refund {
    pub cause: RefundCause,
    /// How it goes back.
    pub kind: PaymentKind,
    /// More than zero.
    pub amount: Cents,
    pub paid_on: Date,
    /// In the owner's words.
    pub reason: String,
}

/// Why a refund is refused. Each is a sentence to stand beside the amount.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum RefundFault {
    #[error("Enter the amount of the refund, without a minus sign")]
    NotMoreThanZero,
    #[error("{0} is more than the {1} received")]
    MoreThanReceived(Cents, Cents),
    #[error("There is no overpayment: choose what the refund is for below")]
    NothingOverpaid,
    #[error("{0} is more than the {1} overpaid: refund that first, and the rest with another cause")]
    MoreThanOverpaid(Cents, Cents),
    #[error("{0} is more than the bill of {1}")]
    MoreThanBilled(Cents, Cents),
}

impl Refund {
    /// Refuses a refund that does not fit what was billed and paid.
    ///
    /// # Errors
    ///
    /// [`RefundFault`].
    pub fn check(&self, account: &Account) -> Result<(), RefundFault> {
        let (amount, paid, billed) = (self.amount, account.paid(), account.billed());
        let overpaid = Cents::ZERO - account.owed();
        match self.cause {
            _ if amount <= Cents::ZERO => Err(RefundFault::NotMoreThanZero),
            _ if amount > paid => Err(RefundFault::MoreThanReceived(amount, paid)),
            RefundCause::Overpaid if overpaid <= Cents::ZERO => Err(RefundFault::NothingOverpaid),
            RefundCause::Overpaid if amount > overpaid => Err(RefundFault::MoreThanOverpaid(amount, overpaid)),
            RefundCause::Goodwill if amount > billed => Err(RefundFault::MoreThanBilled(amount, billed)),
            _ => Ok(()),
        }
    }

    /// The money as it is booked.
    pub fn payment(&self) -> Payment {
        Payment { kind: self.kind, amount: -self.amount, paid_on: self.paid_on }
    }

    /// The line that takes the amount off the bill, for goodwill.
    pub fn bill_line(&self) -> Option<Charge> {
        (self.cause == RefundCause::Goodwill).then(|| Charge {
            kind: ChargeKind::Discount,
            eye: None,
            what: "Goodwill reduction".to_owned(),
            code: String::new(),
            amount: -self.amount,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::account::tests::{account, paid};
    use time::macros::date;

    fn refund(cause: RefundCause, cents: i64) -> Refund {
        let (kind, paid_on, reason) = (PaymentKind::Card, date!(2026 - 11 - 25), "scratched".to_owned());
        Refund { cause, kind, amount: Cents::new(cents), paid_on, reason }
    }

    #[test]
    fn a_refund_fits_what_was_billed_and_paid() {
        use RefundCause::{Goodwill, Overpaid, PaymentUndone};
        // (billed, paid, cause, amount, words of the refusal)
        for (billed, received, cause, cents, refusal) in [
            (10_000, 10_000, Goodwill, 2500, ""),
            (10_000, 10_000, Goodwill, 10_000, ""),
            (10_000, 10_000, Goodwill, 10_001, "more than the $100.00 received"),
            (5000, 8000, Goodwill, 6000, "more than the bill of $50.00"),
            (5000, 8000, Overpaid, 3000, ""),
            (5000, 8000, Overpaid, 3001, "more than the $30.00 overpaid"),
            (5000, 5000, Overpaid, 1, "There is no overpayment"),
            (5000, 5000, PaymentUndone, 5000, ""),
            (5000, 0, PaymentUndone, 1, "more than the $0.00 received"),
            (5000, 5000, PaymentUndone, 0, "the amount of the refund"),
            (5000, 5000, Goodwill, -100, "the amount of the refund"),
        ] {
            let account = account(&[billed], &[paid(received)]);
            let got = refund(cause, cents).check(&account).err().map(|why| why.to_string()).unwrap_or_default();
            assert!(got.contains(refusal) && got.is_empty() == refusal.is_empty(), "{cause:?} {cents}: {got}");
        }
    }

    #[test]
    fn only_goodwill_takes_something_off_the_bill() {
        let line = refund(RefundCause::Goodwill, 2500).bill_line().unwrap();
        assert_eq!((line.kind, line.amount), (ChargeKind::Discount, Cents::new(-2500)));
        for cause in [RefundCause::Overpaid, RefundCause::PaymentUndone] {
            assert_eq!(refund(cause, 2500).bill_line(), None);
        }
        assert_eq!(refund(RefundCause::Overpaid, 2500).payment().amount, Cents::new(-2500));
    }
}
