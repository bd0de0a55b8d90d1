//! What was billed for a job and what came in for it. Every sum of a job's money is computed here.

use thiserror::Error;
use time::Date;

use super::bill::Charge;
use super::money::Cents;
use super::payment::Payment;
use super::refund::RefundCause;

/// A line of the bill as the book holds it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BillLine {
    /// Its place in the book.
    pub seq: i64,
    pub charge: Charge,
    /// The line that this one takes back.
    pub reverses: Option<i64>,
    /// Why, for a line that came after the order.
    pub reason: String,
    /// The day it was billed.
    pub charged_on: Date,
}

/// A payment or refund as the book holds it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BookedPayment {
    pub payment: Payment,
    /// What a refund was for.
    pub refund_cause: Option<RefundCause>,
    /// Why, for a refund.
    pub reason: String,
}

/// The money of a job.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Account {
    /// In the order they were added.
    pub lines: Vec<BillLine>,
    /// In the order they were booked.
    pub payments: Vec<BookedPayment>,
}

/// Why a bill is not changed. Each is a sentence for the page.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum BillFault {
    #[error("The bill would become negative, {0}")]
    BelowNothing(Cents),
    #[error("That line is not on this bill")]
    NoSuchLine,
    #[error("That line has been reversed already")]
    TakenBack,
    #[error("That line reverses another one: add a new line instead")]
    TakesBack,
}

impl Account {
    /// The payments by their day, as a bill lists them; those of one day in the order they were booked. A clock that
    /// went back, or a check that was booked later, does not change a list of days.
    pub fn payments_by_day(&self) -> Vec<&BookedPayment> {
        let mut payments: Vec<_> = self.payments.iter().collect();
        payments.sort_by_key(|booked| booked.payment.paid_on);
        payments
    }

    /// The account of an order as it is taken, its lines numbered from 1.
    pub fn of_order(charges: &[Charge], payments: &[Payment], charged_on: Date) -> Self {
        let line = |(seq, charge): (i64, &Charge)| BillLine {
            seq,
            charge: charge.clone(),
            reverses: None,
            reason: String::new(),
            charged_on,
        };
        let booked = |&payment| BookedPayment { payment, refund_cause: None, reason: String::new() };
        Self { lines: (1..).zip(charges).map(line).collect(), payments: payments.iter().map(booked).collect() }
    }

    /// The sum of the bill.
    pub fn billed(&self) -> Cents {
        self.lines.iter().map(|line| line.charge.amount).sum()
    }

    /// What came in, less what went back.
    pub fn paid(&self) -> Cents {
        self.payments.iter().map(|booked| booked.payment.amount).sum()
    }

    /// What is still owed; negative when it is to be refunded.
    pub fn owed(&self) -> Cents {
        self.billed() - self.paid()
    }

    /// The line that takes this one back, if any.
    pub fn reversal(&self, line: &BillLine) -> Option<&BillLine> {
        self.lines.iter().find(|other| other.reverses == Some(line.seq))
    }

    /// Whether a line counts: it was not taken back and takes none back.
    pub fn stands(&self, line: &BillLine) -> bool {
        line.reverses.is_none() && self.reversal(line).is_none()
    }

    /// The lines that count. Their sum is the bill's.
    pub fn standing(&self) -> impl Iterator<Item = &BillLine> {
        self.lines.iter().filter(|line| self.stands(line))
    }

    /// Refuses a line that makes the bill negative.
    ///
    /// # Errors
    ///
    /// [`BillFault::BelowNothing`].
    pub fn check_line(&self, charge: &Charge) -> Result<(), BillFault> {
        let total = self.billed() + charge.amount;
        if total.is_negative() { Err(BillFault::BelowNothing(total)) } else { Ok(()) }
    }

    /// The line that takes a line back: the same with the other sign.
    ///
    /// # Errors
    ///
    /// [`BillFault`].
    pub fn reverse(&self, seq: i64) -> Result<Charge, BillFault> {
        let line = self.lines.iter().find(|line| line.seq == seq).ok_or(BillFault::NoSuchLine)?;
        if line.reverses.is_some() {
            return Err(BillFault::TakesBack);
        }
        if self.reversal(line).is_some() {
            return Err(BillFault::TakenBack);
        }
        let back = Charge { amount: -line.charge.amount, ..line.charge.clone() };
        self.check_line(&back).map(|()| back)
    }
}

#[cfg(test)]
pub(in crate::desk) mod tests {
    use super::*;
    use crate::desk::bill::ChargeKind;
    use crate::desk::payment::PaymentKind;
    use time::macros::date;

    const ON: Date = date!(2026 - 11 - 25);

    pub(in crate::desk) fn line(seq: i64, cents: i64, reverses: Option<i64>) -> BillLine {
        let charge = Charge {
            kind: ChargeKind::Other,
            eye: None,
            what: format!("Line {seq}"),
            code: String::new(),
            amount: Cents::new(cents),
        };
        BillLine { seq, charge, reverses, reason: String::new(), charged_on: ON }
    }

    pub(in crate::desk) fn paid(cents: i64) -> BookedPayment {
        let payment = Payment { kind: PaymentKind::Card, amount: Cents::new(cents), paid_on: ON };
        BookedPayment { payment, refund_cause: None, reason: String::new() }
    }

    /// A bill of these amounts and what was paid.
    pub(in crate::desk) fn account(cents: &[i64], payments: &[BookedPayment]) -> Account {
        let lines = (1..).zip(cents).map(|(seq, &cents)| line(seq, cents, None)).collect();
        Account { lines, payments: payments.to_vec() }
    }

    #[test]
    fn a_line_is_taken_back_once() {
        let mut account = account(&[8900, 4500], &[paid(13_400)]);
        let back = account.reverse(2).unwrap();
        assert_eq!(back.amount, Cents::new(-4500));
        account.lines.push(BillLine { charge: back, ..line(3, 0, Some(2)) });
        assert_eq!((account.billed(), account.owed()), (Cents::new(8900), Cents::new(-4500)));
        assert_eq!(account.standing().map(|line| line.seq).collect::<Vec<_>>(), [1]);
        assert_eq!(account.reverse(2), Err(BillFault::TakenBack));
        assert_eq!(account.reverse(3), Err(BillFault::TakesBack));
        assert_eq!(account.reverse(4), Err(BillFault::NoSuchLine));
    }

    #[test]
    fn a_bill_is_never_below_nothing() {
        let account = account(&[8900, -8000], &[]);
        assert_eq!(account.reverse(1), Err(BillFault::BelowNothing(Cents::new(-8000))));
        assert_eq!(account.check_line(&line(3, -900, None).charge), Ok(()));
        assert_eq!(account.check_line(&line(3, -901, None).charge), Err(BillFault::BelowNothing(Cents::new(-1))));
    }
}
