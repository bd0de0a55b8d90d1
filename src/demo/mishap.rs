//! What an ordinary week brings, for the demonstration: an order corrected, one cancelled, one for a single eye, a lens
//! made again, a parcel that came back.

use time::{Duration, OffsetDateTime};

use super::data::{PaidRow, StageRow};
use super::{DemoError, Loader, length, wrong};
use crate::desk::cancellation::{CancelAsker, Cancellation};
use crate::desk::center_height::CenterHeight;
use crate::desk::correction::{Correction, Ordered, changes};
use crate::desk::fault::FaultCause;
use crate::desk::money::Cents;
use crate::desk::order::{FrameChoice, NewOrder};
use crate::desk::parcel_return::{ParcelReturn, ReturnCause, ReturnCondition};
use crate::desk::payment::Payment;
use crate::desk::rebill::Rebill;
use crate::desk::refund::{Refund, RefundCause};
use crate::desk::remake::{Remake, RemakePayer};
use crate::optics::Pair;
use crate::store::once::Once;

/// Jobs that are not in the data: the cancelled one, the one for a single eye, the remake.
pub(super) const MORE_JOBS: usize = 3;

/// The height of the centers that the customer measured again, in millimeters.
const MEASURED_AGAIN_MM: f64 = 17.0;

impl Loader<'_> {
    /// Lets a few things go wrong, each a while before `now`.
    pub(super) async fn let_go_wrong(&self, now: OffsetDateTime) -> Result<(), DemoError> {
        self.correct(now - Duration::minutes(50)).await?;
        self.cancel(now - Duration::minutes(40)).await?;
        self.order_one_eye(now - Duration::minutes(38)).await?;
        self.make_again(now - Duration::minutes(35)).await?;
        self.come_back(now - Duration::minutes(30)).await
    }

    /// The newest job at a stage that is paid so, by the place of its row.
    fn newest(&self, stage: StageRow, paid: PaidRow) -> Result<(usize, i64), DemoError> {
        self.newest_but(0, stage, paid)
    }

    /// The same, `newer` jobs before it.
    fn newest_but(&self, newer: usize, stage: StageRow, paid: PaidRow) -> Result<(usize, i64), DemoError> {
        let is_wanted = |at: usize| self.book.jobs[at].stage == stage && self.book.jobs[at].paid == paid;
        let found = self.numbers.iter().rev().filter(|(at, _)| is_wanted(**at)).nth(newer);
        found.map(|(at, number)| (*at, *number)).ok_or_else(|| wrong("jobs", format!("none is {stage:?}, {paid:?}")))
    }

    /// A height was measured again.
    async fn correct(&self, when: OffsetDateTime) -> Result<(), DemoError> {
        let (_, number) = self.newest(StageRow::Taken, PaidRow::None)?;
        let job = self.store.get_job(number).await?;
        let before = Ordered::of(&job);
        let height = CenterHeight::Bottom(length("the corrected order", MEASURED_AGAIN_MM)?);
        let after = Ordered { height: Pair::new(height, height), ..before.clone() };
        let reason = "the customer measured again with the frame on".to_owned();
        let correction = Correction {
            revision: job.revision,
            prescription: None,
            tasks: after.tasks,
            made_for: after.made_for,
            material: after.material.version,
            design: after.design,
            coating: after.coating.as_ref().map(|t| t.version),
            second_coating: after.second_coating.as_ref().map(|t| t.version),
            tint: after.tint.as_ref().map(|t| t.version),
            height: after.height,
            frame: after.frame.id,
            note: after.note.clone(),
            said: format!("{}. Reason: {reason}.", changes(&before, &after).join("; ")),
            reason,
            lenses: Vec::new(),
            withdraws_decision: false,
            rebill: Rebill::default(),
            on: self.today,
        };
        self.store.correct_job("demo-correction", number, &correction, when).await?;
        Ok(())
    }

    /// A second pair was ordered, paid, and called off within the hour.
    async fn cancel(&self, when: OffsetDateTime) -> Result<(), DemoError> {
        let (at, _) = self.newest(StageRow::Taken, PaidRow::Full)?;
        let mut order = self.order(&self.book.jobs[at], "the canceled order")?;
        order.ordered_on = self.today;
        order.promised_on = self.today + Duration::days(self.book.jobs[at].promised_in_days);
        order.payment = order.payment.map(|payment| Payment { paid_on: self.today, ..payment });
        let refund = order.payment.map(|payment| Refund {
            cause: RefundCause::Overpaid,
            kind: payment.kind,
            amount: payment.amount,
            paid_on: self.today,
            reason: "the order was canceled".to_owned(),
        });
        let taken = self.store.take_order("demo-cancelled-order", &order, when - Duration::minutes(60)).await?;
        let Once::Now(number) = taken else { return Err(wrong("the canceled order", "taken twice")) };
        let cancellation = Cancellation {
            asked_by: CancelAsker::Customer,
            reason: "one pair is enough after all".to_owned(),
            lenses: Vec::new(),
            kept: Cents::ZERO,
            refund,
            on: self.today,
        };
        self.store.cancel_job("demo-cancellation", number, &cancellation, when).await?;
        Ok(())
    }

    /// The left lens alone, for an eye that changed.
    async fn order_one_eye(&self, when: OffsetDateTime) -> Result<(), DemoError> {
        let (at, _) = self.newest_but(2, StageRow::Sent, PaidRow::Full)?;
        let mut row = self.book.jobs[at].clone();
        row.rx.right = "none".to_owned();
        row.ordered_days_ago = 0;
        let mut order = self.order(&row, "the order for one eye")?;
        order.note = "the right lens in the frame stays as it is".to_owned();
        self.store.take_order("demo-one-eye", &order, when).await?;
        Ok(())
    }

    /// The coating of one lens came off; the supplier pays, and the glasses come back for the work.
    async fn make_again(&self, when: OffsetDateTime) -> Result<(), DemoError> {
        let (at, parent) = self.newest_but(1, StageRow::Sent, PaidRow::Full)?;
        let mut row = self.book.jobs[at].clone();
        row.rx.right = format!("none {}", row.rx.right);
        row.ordered_days_ago = 0;
        let remake = Remake {
            cause: FaultCause::Coating,
            paid_by: RemakePayer::Supplier,
            frame_stays: false,
            lesson: "ask the supplier for another lot".to_owned(),
        };
        let order = NewOrder {
            frame: FrameChoice::OfJob(parent),
            charges: Vec::new(),
            payment: None,
            remake: Some(remake),
            ..self.order(&row, "the remake")?
        };
        self.store.take_order("demo-remake", &order, when).await?;
        Ok(())
    }

    /// The newest parcel was never called for.
    async fn come_back(&self, when: OffsetDateTime) -> Result<(), DemoError> {
        let (_, number) = self.newest(StageRow::Sent, PaidRow::Full)?;
        let back = ParcelReturn {
            cause: ReturnCause::Undeliverable,
            condition: ReturnCondition::Unopened,
            returned_on: self.today,
            note: "kept at the post office for a month and not called for".to_owned(),
        };
        self.store.return_parcel("demo-return", number, &back, when).await?;
        Ok(())
    }
}
