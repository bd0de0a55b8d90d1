//! Cancelling an order: who asked, what becomes of the lenses, and what of the money.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::key::keyed;
use super::money::Cents;
use super::refund::Refund;
use super::stock::OldLens;
use crate::optics::Eye;

/// Who asked that an order be cancelled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum CancelAsker {
    /// For a reason of their own.
    Customer,
    /// Because it is late, or a delay notice was not answered.
    Delay,
    /// The prescription was withdrawn or changed.
    Prescriber,
    /// The lab cannot or will not make it.
    Shop,
}

keyed!(CancelAsker);

impl CancelAsker {
    /// For a person, after "asked by".
    pub fn words(self) -> &'static str {
        match self {
            CancelAsker::Customer => "the customer",
            CancelAsker::Delay => "the customer because of a delay, or no answer to a delay notice",
            CancelAsker::Prescriber => "the prescriber",
            CancelAsker::Shop => "the lab itself",
        }
    }

    /// Whether everything that was paid must go back. An order that is cancelled for a delay is refunded in full: 16 CFR
    /// 435.2(c) with 435.1(d), from memory.
    pub fn asks_full_refund(self) -> bool {
        self == CancelAsker::Delay
    }
}

/// An order to be cancelled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cancellation {
    pub asked_by: CancelAsker,
    pub reason: String,
    /// Where each lens in hand goes.
    pub lenses: Vec<(Eye, OldLens)>,
    /// What stays charged for work that was done; zero for nothing.
    pub kept: Cents,
    /// What goes back now.
    pub refund: Option<Refund>,
    /// The day at the counter.
    pub on: Date,
}

impl Cancellation {
    /// For the history.
    pub fn words(&self) -> String {
        let mut said = vec![format!("asked by {}", self.asked_by.words()), self.reason.clone()];
        if self.kept != Cents::ZERO {
            said.push(format!("{} charged for work done", self.kept));
        }
        if let Some(refund) = &self.refund {
            said.push(format!("{} refunded", refund.amount));
        }
        said.join("; ")
    }
}

/// Why kept money and refund do not go with what was paid, in a sentence for the refund; `None` when they do.
pub fn refund_fault(paid: Cents, kept: Cents, refund: Cents) -> Option<String> {
    let most = paid - kept;
    (refund > most).then(|| match kept {
        Cents::ZERO => format!("Only {paid} was paid: refund no more than that"),
        _ => format!("{paid} was paid and {kept} is charged: refund {most} at most"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::payment::PaymentKind;
    use crate::desk::refund::RefundCause;
    use time::macros::date;

    #[test]
    fn no_more_goes_back_than_came_in() {
        let cents = Cents::new;
        for (paid, kept, refund, is_fine) in [
            (18_600, 0, 18_600, true),
            (18_600, 0, 18_601, false),
            (18_600, 2000, 16_600, true),
            (18_600, 2000, 16_601, false),
            (18_600, 2000, 0, true),
            (0, 0, 0, true),
            (0, 0, 1, false),
        ] {
            let fault = refund_fault(cents(paid), cents(kept), cents(refund));
            assert_eq!(fault.is_none(), is_fine, "{paid} {kept} {refund}: {fault:?}");
        }
        let fault = refund_fault(cents(18_600), cents(2000), cents(18_600));
        assert_eq!(fault.as_deref(), Some("$186.00 was paid and $20.00 is charged: refund $166.00 at most"));
    }

    #[test]
    fn says_what_was_agreed() {
        let on = date!(2026 - 11 - 25);
        let refund = Refund {
            cause: RefundCause::Overpaid,
            kind: PaymentKind::Card,
            amount: Cents::new(16_600),
            paid_on: on,
            reason: "cancelled".into(),
        };
        let cancellation = Cancellation {
            asked_by: CancelAsker::Customer,
            reason: "found the old pair".into(),
            lenses: Vec::new(),
            kept: Cents::new(2000),
            refund: Some(refund),
            on,
        };
        assert_eq!(
            cancellation.words(),
            "asked by the customer; found the old pair; $20.00 charged for work done; $166.00 refunded"
        );
        let plain = Cancellation { kept: Cents::ZERO, refund: None, ..cancellation };
        assert_eq!(plain.words(), "asked by the customer; found the old pair");
    }

    #[test]
    fn a_delay_is_refunded_in_full() {
        let full: Vec<_> = CancelAsker::ALL.iter().filter(|asker| asker.asks_full_refund()).collect();
        assert_eq!(full, [&CancelAsker::Delay]);
    }
}
