//! A job: one pair to make, and the stage it has reached.
//!
//! The stage is never set: it is read from what has happened, newest first where things were redone. A new lens
//! after a cut takes the job back to "lenses in hand", because that lens is not cut yet.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::{Date, OffsetDateTime};

use super::catalogue::{Material, Treatment};
use super::center_height::CenterHeight;
use super::customer::Customer;
use super::fitting::{FramePosition, PowerDecision, VertexAnswer, asks_vertex};
use super::frame::Frame;
use super::id::ShapeId;
use super::key::keyed;
use super::money::Cents;
use super::old_record::OldRecord;
use super::order::Design;
use super::parcel_return::ReturnCondition;
use super::prescription::{MadeFor, Prescription};
use super::remake::Remake;
use crate::optics::prescription::{EyePrescription, LensPower};
use crate::optics::{Eye, Pair};

/// A job with everything its pages show.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// The number on the tray.
    pub number: i64,
    /// The customer: the patient, who wears the pair.
    pub customer: Customer,
    /// Who pays. Often the patient.
    pub payer: Customer,
    /// Who gets the parcel. Often the patient.
    pub recipient: Customer,
    /// The frame.
    pub frame: Frame,
    /// The prescription.
    pub prescription: Prescription,
    /// For which distance.
    pub made_for: MadeFor,
    /// The material, as it was when ordered.
    pub material: Material,
    /// The form of the front.
    pub design: Design,
    /// Coating, as it was when ordered.
    pub coating: Option<Treatment>,
    /// A second coating, as it was when ordered.
    pub second_coating: Option<Treatment>,
    /// Tint, as it was when ordered.
    pub tint: Option<Treatment>,
    /// What is done for each eye.
    pub eyes: Pair<JobEye>,
    /// The day the order was complete.
    pub ordered_on: Date,
    /// The day it is promised for.
    pub promised_on: Date,
    /// A remark for the bench.
    pub note: String,
    /// The number of the newest correction of the order, from 1.
    pub revision: i64,
    /// What it has of its own where it was made before Rimbook.
    pub old: Option<OldRecord>,
    /// The earlier job it comes from.
    pub parent: Option<Parent>,
    /// Why the earlier job is made again, for a remake.
    pub remake: Option<Remake>,
    /// The shape on file. Its traces are read by the pages that lay out lenses.
    pub shape: Option<ShapeId>,
    /// The sum of the bill.
    pub charged: Cents,
    /// What came in so far.
    pub paid: Cents,
    /// The day the parcel left that did not come back.
    pub sent_on: Option<Date>,
    /// The newest receipt.
    pub receipt: Option<i64>,
    /// How its frame sits before the eyes, where that is known.
    pub frame_position: Option<FramePosition>,
    /// Where the vertex distance was tested and where it is worn, once that was asked and answered.
    pub vertex: Option<VertexAnswer>,
    /// The owner's newest decision which power to order.
    pub power_decision: Option<PowerDecision>,
    /// What has happened, oldest first.
    pub history: Vec<Event>,
}

/// What is done for one eye of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JobEye {
    /// Whether a lens is made.
    pub task: EyeTask,
    /// Where the optical center is to stand.
    pub height: CenterHeight,
}

/// What is done for an eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum EyeTask {
    /// A lens is made.
    Make,
    /// The lens in the frame stays.
    Keep,
    /// A balance lens is made: power free, weight and thickness near the other eye's.
    Balance,
}

keyed!(EyeTask);

impl EyeTask {
    /// A usual pair: a lens is made for each eye.
    pub const PAIR: Pair<EyeTask> = Pair { right: EyeTask::Make, left: EyeTask::Make };

    /// Whether a lens is needed, cut and checked.
    pub fn is_made(self) -> bool {
        self != EyeTask::Keep
    }

    /// What stands in the place of the power where no prescribed lens is made; empty for a usual lens.
    pub fn words(self) -> &'static str {
        match self {
            EyeTask::Make => "",
            EyeTask::Keep => "stays as it is",
            EyeTask::Balance => "balance lens",
        }
    }
}

/// The earlier job a job comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Parent {
    /// Its number.
    pub number: i64,
    /// Why there is one.
    pub reason: ParentReason,
    /// What was prescribed then; none for an eye without a power.
    pub eyes: Pair<Option<EyePrescription>>,
}

/// Why a job has an earlier one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ParentReason {
    /// New lenses for the frame of the earlier job.
    NewLenses,
    /// The earlier job is made again.
    Remake,
}

keyed!(ParentReason);

impl Job {
    /// The earlier job whose frame and shape new lenses are made for: the frame stays with the customer.
    pub fn relens_of(&self) -> Option<i64> {
        self.parent.filter(|parent| parent.reason == ParentReason::NewLenses).map(|parent| parent.number)
    }

    /// Whether the frame stays with the customer, so that lenses alone are sent.
    pub fn frame_stays(&self) -> bool {
        self.relens_of().is_some() || self.remake.as_ref().is_some_and(|remake| remake.frame_stays)
    }

    /// The ordered height of each optical center.
    pub fn height(&self) -> Pair<CenterHeight> {
        self.eyes.map(|eye| eye.height)
    }

    /// What is done for each eye.
    pub fn tasks(&self) -> Pair<EyeTask> {
        self.eyes.map(|eye| eye.task)
    }

    /// Whether a lens is made for this eye.
    pub fn makes(&self, eye: Eye) -> bool {
        self.eyes.get(eye).task.is_made()
    }

    /// The eyes a lens is made for, the right one first; never empty.
    pub fn made_eyes(&self) -> impl Iterator<Item = Eye> {
        Eye::BOTH.into_iter().filter(|eye| self.makes(*eye))
    }

    /// The only eye a lens is made for; `None` for a pair.
    pub fn single_eye(&self) -> Option<Eye> {
        match (self.makes(Eye::Right), self.makes(Eye::Left)) {
            (true, false) => Some(Eye::Right),
            (false, true) => Some(Eye::Left),
            _ => None,
        }
    }

    /// Whether a lens with the prescribed power is made for this eye, so that its power is checked.
    pub fn holds_power(&self, eye: Eye) -> bool {
        self.eyes.get(eye).task == EyeTask::Make
    }

    /// Whether the two lenses are compared with each other: both are made with the prescribed power.
    pub fn compares_eyes(&self) -> bool {
        Eye::BOTH.into_iter().all(|eye| self.holds_power(eye))
    }

    /// Whether both powers before the eyes are known, so that the balance between them can be computed: each lens is made
    /// as prescribed, or stays and its power was written.
    pub fn knows_both_powers(&self) -> bool {
        let known = self.prescribed_eyes();
        known.right.is_some() && known.left.is_some()
    }

    /// The prescribed power of each lens that is made to one.
    fn made_powers(&self) -> Pair<Option<LensPower>> {
        let of = |eye| self.holds_power(eye).then(|| self.prescription.eyes.get(eye).power);
        Pair::new(of(Eye::Right), of(Eye::Left))
    }

    /// A decision which power to order, in a sentence.
    pub fn decision_words(&self, decision: &PowerDecision) -> String {
        decision.words(self.made_powers())
    }

    /// What was prescribed for each eye, as [`Prescription::prescribed_eyes`] has it.
    pub fn prescribed_eyes(&self) -> Pair<Option<EyePrescription>> {
        self.prescription.prescribed_eyes(self.tasks())
    }

    /// What was ordered for an eye, in words: the prescription, `balance lens, -2.00 sph`, or `stays as it is`.
    pub fn eye_words(&self, eye: Eye) -> String {
        let task = self.eyes.get(eye).task;
        let rx = self.prescription.eyes.get(eye);
        match task {
            EyeTask::Make => rx.to_string(),
            EyeTask::Balance => format!("{}, {}", task.words(), rx.power),
            EyeTask::Keep => task.words().to_owned(),
        }
    }

    /// Who pays, if it is not the patient.
    pub fn other_payer(&self) -> Option<&Customer> {
        Some(&self.payer).filter(|payer| payer.id != self.customer.id)
    }

    /// Who gets the parcel, if it is not the patient.
    pub fn other_recipient(&self) -> Option<&Customer> {
        Some(&self.recipient).filter(|recipient| recipient.id != self.customer.id)
    }

    /// What is still owed; negative when too much was paid.
    pub fn owed(&self) -> Cents {
        self.charged - self.paid
    }

    /// The power the lens of one eye is to have on the lensmeter: the prescribed one, or, when the owner decided so, the
    /// one that gives it as worn. To be used wherever a lens is chosen, laid out or verified.
    pub fn lens_power(&self, eye: Eye) -> LensPower {
        match self.compensated() {
            Some(order) => *order.power.get(eye),
            None => self.prescription.eyes.get(eye).power,
        }
    }

    /// Each eye's prescription with [`Job::lens_power`] in the place of its power.
    pub fn lens_prescriptions(&self) -> Pair<EyePrescription> {
        let of = |eye| EyePrescription { power: self.lens_power(eye), ..*self.prescription.eyes.get(eye) };
        Pair::new(of(Eye::Right), of(Eye::Left))
    }

    /// Whether a lens that is made has a meridian strong enough for the vertex distance to matter.
    pub fn asks_vertex(&self) -> bool {
        Eye::BOTH.into_iter().any(|eye| self.holds_power(eye) && asks_vertex(self.prescription.eyes.get(eye).power))
    }

    /// Both powers in a sentence, where the lenses are ordered compensated.
    pub fn compensated_words(&self) -> Option<String> {
        self.compensated().map(|order| self.decision_words(order))
    }

    /// The decision that the lenses are ordered compensated for the way they are worn, if that is the newest.
    pub fn compensated(&self) -> Option<&PowerDecision> {
        self.power_decision.as_ref().filter(|order| order.is_compensated)
    }

    /// What became of a failed check of the lenses as they are now.
    pub fn failure(&self) -> Option<Failure> {
        let newest = self.history.iter().rev().find(|event| event.kind.is_about_lenses())?;
        Failure::of(newest.kind)
    }

    /// How far the job has come.
    pub fn stage(&self) -> Stage {
        stage(self.tasks(), self.history.iter().map(|event| event.kind))
    }

    /// How far its work has come; of a cancelled job, how far it had.
    pub fn stage_of_work(&self) -> Stage {
        stage(self.tasks(), self.history.iter().map(|event| event.kind).filter(|kind| *kind != EventKind::Cancelled))
    }

    /// Whether its parcel came back or was lost, and is to be sent again.
    pub fn is_to_send_again(&self) -> bool {
        self.sent_on.is_none() && !self.is_cancelled() && self.history.iter().any(|event| event.kind == EventKind::Sent)
    }

    /// Whether its pupil distance is known: an old record may have none.
    pub fn knows_pd(&self) -> bool {
        self.old.as_ref().is_none_or(|old| old.has_pd)
    }

    /// Whether the order was canceled.
    pub fn is_cancelled(&self) -> bool {
        self.stage() == Stage::Cancelled
    }
}

/// A job as a line of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobLine {
    /// The number on the tray.
    pub number: i64,
    /// For whom.
    pub customer: String,
    /// Maker, model and color of the frame.
    pub frame: String,
    /// The day the order was complete.
    pub ordered_on: Date,
    /// The day it is promised for.
    pub promised_on: Date,
    /// The day the parcel left that did not come back.
    pub sent_on: Option<Date>,
    /// How its parcel came back, or that it was lost; an open job's alone.
    pub came_back: Option<ReturnCondition>,
    /// How far it has come.
    pub stage: Stage,
    /// What became of a check that it did not pass; an open job's alone.
    pub failure: Option<Failure>,
}

/// What became of a failed check of the lenses as they are now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Failure {
    /// Nothing yet.
    Waits,
    /// The owner wrote why the pair is sent all the same.
    Conceded,
}

impl Failure {
    /// What the newest event about the lenses of a job says; later events of other kinds do not matter.
    pub fn of(kind: EventKind) -> Option<Self> {
        match kind {
            EventKind::CheckFailed => Some(Failure::Waits),
            EventKind::CheckConceded => Some(Failure::Conceded),
            _ => None,
        }
    }

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            Failure::Waits => "did not pass its check",
            Failure::Conceded => "failed, to be sent anyway",
        }
    }
}

/// What can happen to a job. The words stand in the book and never change their meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum EventKind {
    /// The order was taken.
    Taken,
    /// A shape was kept for it.
    ShapeKept,
    /// The owner decided which power to order: as prescribed, or compensated.
    PowerDecided,
    /// An uncut right lens is in hand.
    LensRight,
    /// An uncut left lens is in hand.
    LensLeft,
    /// The right lens was spoiled.
    SpoiledRight,
    /// The left lens was spoiled.
    SpoiledLeft,
    /// What says that the right lens resists impact was recorded.
    ImpactRight,
    /// What says that the left lens resists impact was recorded.
    ImpactLeft,
    /// The bench ticket was printed.
    TicketPrinted,
    /// The lenses were edged.
    Cut,
    /// A check found every required line within its limit.
    CheckPassed,
    /// A check found a line outside its limit or unread.
    CheckFailed,
    /// The owner wrote why a failed pair is sent all the same.
    CheckConceded,
    /// The packing list was gone through.
    Packed,
    /// The parcel left.
    Sent,
    /// A line was added to the bill.
    BillLine,
    /// A line of the bill was taken back.
    BillLineReversed,
    /// The parcel came back as it left.
    ReturnedUnopened,
    /// The parcel came back opened, or the pair was worn.
    ReturnedOpened,
    /// The parcel is lost.
    ParcelLost,
    /// The right lens is no longer in hand for the job: it went back into the drawer.
    AsideRight,
    /// The left lens is no longer in hand for the job: it went back into the drawer.
    AsideLeft,
    /// The order was corrected.
    Corrected,
    /// The order was cancelled.
    Cancelled,
    /// Money came in.
    Paid,
    /// Money went back.
    Refunded,
    /// A receipt was issued.
    Receipt,
    /// Who pays was reminded of what is owed.
    Reminded,
    /// Who pays, or who gets the parcel, was corrected.
    PeopleChanged,
    /// The customer agreed to another date.
    PromiseMoved,
    /// A notice that the promise cannot be kept was sent.
    DelayNotice,
    /// The last day to answer a delay notice passed without an answer, which is consent.
    DelaySilent,
    /// The customer cancelled because of a delay, or silence did.
    DelayCancelled,
    /// The customer sends in a frame of their own.
    OwnFrameExpected,
    /// The customer's own frame came in.
    OwnFrameReceived,
    /// A photograph or a letter was kept with the job.
    FileAdded,
    /// The job is made again as another one.
    Remade,
    /// What the job held of its customer was erased at their request.
    Erased,
    /// It was brought in from old records.
    BroughtIn,
    /// A remark.
    Note,
}

keyed!(EventKind);

impl EventKind {
    /// What happens to a promise: a notice of a delay, and every answer to one.
    pub const OF_PROMISE: [EventKind; 4] =
        [EventKind::PromiseMoved, EventKind::DelayNotice, EventKind::DelaySilent, EventKind::DelayCancelled];

    /// Whether it says something of the lenses themselves: which they are, that they were cut, or how they read.
    pub fn is_about_lenses(self) -> bool {
        match self {
            EventKind::LensRight
            | EventKind::LensLeft
            | EventKind::SpoiledRight
            | EventKind::SpoiledLeft
            | EventKind::AsideRight
            | EventKind::AsideLeft
            | EventKind::ReturnedOpened
            | EventKind::ParcelLost
            | EventKind::Cut
            | EventKind::CheckPassed
            | EventKind::CheckFailed
            | EventKind::CheckConceded => true,
            EventKind::ImpactRight
            | EventKind::ImpactLeft
            | EventKind::Taken
            | EventKind::ShapeKept
            | EventKind::PowerDecided
            | EventKind::TicketPrinted
            | EventKind::Packed
            | EventKind::Sent
            | EventKind::BillLine
            | EventKind::BillLineReversed
            | EventKind::ReturnedUnopened
            | EventKind::Corrected
            | EventKind::Cancelled
            | EventKind::Paid
            | EventKind::Refunded
            | EventKind::Reminded
            | EventKind::Receipt
            | EventKind::PeopleChanged
            | EventKind::PromiseMoved
            | EventKind::DelayNotice
            | EventKind::DelaySilent
            | EventKind::DelayCancelled
            | EventKind::OwnFrameExpected
            | EventKind::OwnFrameReceived
            | EventKind::FileAdded
            | EventKind::Remade
            | EventKind::Erased
            | EventKind::BroughtIn
            | EventKind::Note => false,
        }
    }

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            EventKind::Taken => "Order taken",
            EventKind::ShapeKept => "Shape kept",
            EventKind::PowerDecided => "Power decided",
            EventKind::LensRight => "Right lens in hand",
            EventKind::LensLeft => "Left lens in hand",
            EventKind::SpoiledRight => "Right lens spoiled",
            EventKind::SpoiledLeft => "Left lens spoiled",
            EventKind::ImpactRight => "Impact resistance, right lens",
            EventKind::ImpactLeft => "Impact resistance, left lens",
            EventKind::TicketPrinted => "Ticket printed",
            EventKind::Cut => "Lenses cut",
            EventKind::CheckPassed => "Check passed",
            EventKind::CheckFailed => "Check not passed",
            EventKind::CheckConceded => "To be sent anyway",
            EventKind::Packed => "Packed",
            EventKind::Sent => "Sent",
            EventKind::BillLine => "Bill, line added",
            EventKind::BillLineReversed => "Bill, line reversed",
            EventKind::ReturnedUnopened => "Parcel came back unopened",
            EventKind::ReturnedOpened => "Parcel came back opened",
            EventKind::ParcelLost => "Parcel lost",
            EventKind::AsideRight => "Right lens put back",
            EventKind::AsideLeft => "Left lens put back",
            EventKind::Corrected => "Order corrected",
            EventKind::Cancelled => "Order canceled",
            EventKind::Paid => "Payment",
            EventKind::Refunded => "Refund",
            EventKind::Reminded => "Reminder sent",
            EventKind::Receipt => "Receipt issued",
            EventKind::PeopleChanged => "Payer or recipient corrected",
            EventKind::PromiseMoved => "Delay agreed",
            EventKind::DelayNotice => "Delay notice",
            EventKind::DelaySilent => "No answer to the delay notice",
            EventKind::DelayCancelled => "Canceled because of the delay",
            EventKind::OwnFrameExpected => "The customer sends in a frame",
            EventKind::OwnFrameReceived => "The customer’s frame received",
            EventKind::FileAdded => "File added",
            EventKind::Remade => "To be made again",
            EventKind::Erased => "Erased at the customer’s request",
            EventKind::BroughtIn => "Brought in from old records",
            EventKind::Note => "Note",
        }
    }
}

/// One line of a job's history.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// What happened.
    pub kind: EventKind,
    /// What was said of it.
    pub note: String,
    /// The screen it was done on, where screens give a pass phrase.
    pub by: Option<String>,
    /// When, in UTC.
    pub at: OffsetDateTime,
}

/// How far a job has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Stage {
    /// The order is in the book.
    Taken,
    /// The frame's shape is kept under the job number.
    ShapeOnFile,
    /// Every uncut lens the job needs is here.
    LensesInHand,
    /// The lenses are edged.
    Cut,
    /// The pair passed, or the owner wrote why it goes all the same.
    Checked,
    /// The parcel is made up.
    Packed,
    /// The parcel has left.
    Sent,
    /// The order was cancelled. Nothing leads out of this stage.
    Cancelled,
    /// It was made before Rimbook and brought in from old records. Nothing leads out of this stage.
    BroughtIn,
}

keyed!(Stage);

impl Stage {
    /// The stages that work leads through, in order.
    pub const OF_WORK: [Stage; 7] =
        [Stage::Taken, Stage::ShapeOnFile, Stage::LensesInHand, Stage::Cut, Stage::Checked, Stage::Packed, Stage::Sent];

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            Stage::Taken => "taken",
            Stage::ShapeOnFile => "shape on file",
            Stage::LensesInHand => "lenses in hand",
            Stage::Cut => "cut",
            Stage::Checked => "checked",
            Stage::Packed => "packed",
            Stage::Sent => "sent",
            Stage::Cancelled => "canceled",
            Stage::BroughtIn => "brought in",
        }
    }
}

/// The stage a job has reached, from what has happened to it in order. A lens that stays in the frame is not waited for.
pub fn stage(tasks: Pair<EyeTask>, kinds: impl IntoIterator<Item = EventKind>) -> Stage {
    let (mut shape, mut right, mut left, mut cut, mut checked, mut packed, mut sent) =
        (false, false, false, false, false, false, false);
    for kind in kinds {
        if kind == EventKind::Cancelled {
            return Stage::Cancelled;
        }
        if kind == EventKind::BroughtIn {
            return Stage::BroughtIn;
        }
        match kind {
            EventKind::ShapeKept => shape = true,
            // A lens taken in hand is uncut, whatever was done to the one before it.
            EventKind::LensRight | EventKind::LensLeft => {
                if kind == EventKind::LensRight {
                    right = true
                } else {
                    left = true
                }
                (cut, checked, packed) = (false, false, false);
            }
            EventKind::SpoiledRight | EventKind::AsideRight => {
                (right, cut, checked, packed) = (false, false, false, false);
            }
            EventKind::SpoiledLeft | EventKind::AsideLeft => {
                (left, cut, checked, packed) = (false, false, false, false);
            }
            EventKind::Cut => (cut, checked, packed) = (true, false, false),
            EventKind::CheckPassed | EventKind::CheckConceded => checked = true,
            EventKind::CheckFailed => (checked, packed) = (false, false),
            EventKind::Packed => packed = true,
            EventKind::Sent => sent = true,
            // A pair that nobody touched is only packed again; one that was is looked over first.
            EventKind::ReturnedUnopened => (packed, sent) = (false, false),
            EventKind::ReturnedOpened => (checked, packed, sent) = (false, false, false),
            EventKind::ParcelLost => {
                (right, left, cut, checked, packed, sent) = (false, false, false, false, false, false);
            }
            EventKind::Taken
            | EventKind::Corrected
            | EventKind::Cancelled
            | EventKind::PowerDecided
            | EventKind::ImpactRight
            | EventKind::ImpactLeft
            | EventKind::TicketPrinted
            | EventKind::BillLine
            | EventKind::BillLineReversed
            | EventKind::Paid
            | EventKind::Refunded
            | EventKind::Reminded
            | EventKind::Receipt
            | EventKind::PeopleChanged
            | EventKind::PromiseMoved
            | EventKind::DelayNotice
            | EventKind::DelaySilent
            | EventKind::DelayCancelled
            | EventKind::OwnFrameExpected
            | EventKind::OwnFrameReceived
            | EventKind::FileAdded
            | EventKind::Remade
            | EventKind::Erased
            | EventKind::BroughtIn
            | EventKind::Note => {}
        }
    }
    let (right, left) = (right || !tasks.right.is_made(), left || !tasks.left.is_made());
    match () {
        () if sent => Stage::Sent,
        () if packed && checked => Stage::Packed,
        () if checked => Stage::Checked,
        () if cut => Stage::Cut,
        () if shape && right && left => Stage::LensesInHand,
        () if shape => Stage::ShapeOnFile,
        () => Stage::Taken,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::fitting::PositionOfWear;
    use crate::desk::sample::round_job;
    use crate::desk::step::Step;
    use EventKind::*;
    use proptest::prelude::*;

    fn stage(kinds: impl IntoIterator<Item = EventKind>) -> Stage {
        super::stage(EyeTask::PAIR, kinds)
    }

    #[test]
    fn a_lens_that_stays_is_not_waited_for() {
        use EyeTask::*;
        let one = [Taken, ShapeKept, LensRight];
        let both = [Taken, ShapeKept, LensRight, LensLeft];
        for (right, left, kinds, want) in [
            (Make, Keep, &one[..2], Stage::ShapeOnFile),
            (Make, Keep, &one, Stage::LensesInHand),
            (Keep, Make, &one, Stage::ShapeOnFile),
            (Make, Balance, &one, Stage::ShapeOnFile),
            (Make, Balance, &both, Stage::LensesInHand),
            (Balance, Keep, &one, Stage::LensesInHand),
            (Make, Keep, &[Taken, LensRight], Stage::Taken),
            (Make, Keep, &[Taken, ShapeKept, LensRight, SpoiledRight], Stage::ShapeOnFile),
            (Make, Keep, &[Taken, ShapeKept, LensRight, Cut, CheckPassed, Packed], Stage::Packed),
        ] {
            assert_eq!(
                super::stage(Pair::new(right, left), kinds.iter().copied()),
                want,
                "{right:?} {left:?} {kinds:?}"
            );
        }
    }

    #[test]
    fn moves_by_what_has_happened() {
        let story = [
            (Taken, Stage::Taken),
            (ShapeKept, Stage::ShapeOnFile),
            (LensRight, Stage::ShapeOnFile),
            (LensLeft, Stage::LensesInHand),
            (Paid, Stage::LensesInHand),
            (Cut, Stage::Cut),
            (CheckFailed, Stage::Cut),
            (CheckConceded, Stage::Checked),
            (Packed, Stage::Packed),
            (Sent, Stage::Sent),
        ];
        for i in 0..story.len() {
            assert_eq!(stage(story[..=i].iter().map(|s| s.0)), story[i].1, "after {:?}", story[i].0);
        }
    }

    #[test]
    fn a_new_lens_after_a_cut_is_uncut() {
        let done = [Taken, ShapeKept, LensRight, LensLeft, Cut, CheckPassed, Packed];
        assert_eq!(stage(done), Stage::Packed);
        assert_eq!(stage(done.into_iter().chain([LensLeft])), Stage::LensesInHand);
        assert_eq!(stage(done.into_iter().chain([LensLeft, Cut])), Stage::Cut);
    }

    #[test]
    fn a_failed_check_is_told_until_other_lenses_are_checked() {
        let mut job = round_job("-4.00 sph", "31/33");
        let mut after = |kinds: &[EventKind]| {
            let at = OffsetDateTime::UNIX_EPOCH;
            job.history = kinds.iter().map(|&kind| Event { kind, note: String::new(), by: None, at }).collect();
            job.failure()
        };
        assert_eq!(after(&[Taken, LensRight, Cut]), None);
        assert_eq!(after(&[Cut, CheckFailed, Note]), Some(Failure::Waits));
        assert_eq!(after(&[Cut, CheckFailed, CheckConceded, Packed, Sent, Paid]), Some(Failure::Conceded));
        assert_eq!(after(&[Cut, CheckFailed, SpoiledLeft]), None);
        assert_eq!(after(&[Cut, CheckFailed, CheckPassed]), None);
    }

    #[test]
    fn a_spoiled_lens_is_missing_until_another_is_in_hand() {
        let failed = [Taken, ShapeKept, LensRight, LensLeft, Cut, CheckFailed, SpoiledLeft];
        assert_eq!(stage(failed), Stage::ShapeOnFile);
        assert_eq!(stage(failed.into_iter().chain([LensRight])), Stage::ShapeOnFile);
        assert_eq!(stage(failed.into_iter().chain([LensLeft])), Stage::LensesInHand);
        let both = [Taken, ShapeKept, LensRight, LensLeft, SpoiledRight, SpoiledLeft, LensRight];
        assert_eq!(stage(both), Stage::ShapeOnFile);
    }

    #[test]
    fn a_parcel_that_comes_back_is_looked_over_and_sent_again() {
        let sent = [Taken, ShapeKept, LensRight, LensLeft, Cut, CheckPassed, Packed, Sent];
        for (more, want) in [
            (&[][..], Stage::Sent),
            (&[Paid, Receipt], Stage::Sent),
            (&[ReturnedUnopened], Stage::Checked),
            (&[ReturnedUnopened, Packed], Stage::Packed),
            (&[ReturnedUnopened, Packed, Sent], Stage::Sent),
            (&[ReturnedUnopened, CheckFailed], Stage::Cut),
            (&[ReturnedOpened], Stage::Cut),
            (&[ReturnedOpened, CheckPassed], Stage::Checked),
            (&[ReturnedOpened, SpoiledLeft], Stage::ShapeOnFile),
            (&[ReturnedOpened, SpoiledLeft, LensLeft], Stage::LensesInHand),
            (&[ParcelLost], Stage::ShapeOnFile),
            (&[ParcelLost, LensRight], Stage::ShapeOnFile),
            (&[ParcelLost, LensRight, LensLeft], Stage::LensesInHand),
            (&[ParcelLost, LensRight, LensLeft, Cut, CheckPassed, Packed, Sent], Stage::Sent),
        ] {
            assert_eq!(stage(sent.into_iter().chain(more.iter().copied())), want, "{more:?}");
        }
        let conceded = [Taken, ShapeKept, LensRight, LensLeft, Cut, CheckFailed, CheckConceded, Packed, Sent];
        assert_eq!(stage(conceded.into_iter().chain([ReturnedUnopened])), Stage::Checked);
        assert_eq!(stage(conceded.into_iter().chain([ReturnedOpened])), Stage::Cut);
    }

    #[test]
    fn nothing_leads_out_of_a_cancelled_order() {
        for before in [&[Taken][..], &[Taken, ShapeKept, LensRight, LensLeft, Cut, CheckPassed, Packed]] {
            let cancelled: Vec<EventKind> = before.iter().copied().chain([Cancelled]).collect();
            assert_eq!(stage(cancelled.clone()), Stage::Cancelled);
            for later in EventKind::ALL {
                assert_eq!(stage(cancelled.iter().copied().chain([*later])), Stage::Cancelled, "{later:?}");
            }
        }
        let mut job = round_job("-4.00 sph", "31/33");
        let at = OffsetDateTime::UNIX_EPOCH;
        let event = |kind| Event { kind, note: String::new(), by: None, at };
        job.history = [Taken, ShapeKept, LensRight, LensLeft, Cancelled].map(event).to_vec();
        assert_eq!((job.stage(), job.stage_of_work()), (Stage::Cancelled, Stage::LensesInHand));
        assert!(job.is_cancelled());
    }

    #[test]
    fn nothing_leads_out_of_an_old_record() {
        for later in EventKind::ALL.iter().filter(|kind| **kind != Cancelled) {
            assert_eq!(stage([BroughtIn, ShapeKept, *later]), Stage::BroughtIn, "{later:?}");
        }
    }

    #[test]
    fn a_lens_set_aside_is_missing_and_a_correction_alone_moves_nothing() {
        let in_hand = [Taken, ShapeKept, LensRight, LensLeft];
        assert_eq!(stage(in_hand.into_iter().chain([Corrected])), Stage::LensesInHand);
        assert_eq!(stage(in_hand.into_iter().chain([AsideLeft, Corrected])), Stage::ShapeOnFile);
        assert_eq!(stage(in_hand.into_iter().chain([AsideRight, Corrected, LensRight])), Stage::LensesInHand);
    }

    #[test]
    fn a_later_failed_check_undoes_an_earlier_pass() {
        assert_eq!(stage([Taken, ShapeKept, LensRight, LensLeft, Cut, CheckPassed, CheckFailed]), Stage::Cut);
    }

    const RIGHT: [EventKind; 3] = [SpoiledRight, AsideRight, ParcelLost];
    const LEFT: [EventKind; 3] = [SpoiledLeft, AsideLeft, ParcelLost];
    /// After one of these the lenses in hand are not cut.
    const UNCUT: [EventKind; 7] = [LensRight, LensLeft, SpoiledRight, SpoiledLeft, AsideRight, AsideLeft, ParcelLost];
    const UNCHECKED: [EventKind; 3] = [Cut, CheckFailed, ReturnedOpened];

    /// Whether one of `grounds` has happened, and none of `against` since.
    fn stands(history: &[EventKind], grounds: &[EventKind], against: &[&[EventKind]]) -> bool {
        let last = |kinds: &[EventKind]| history.iter().rposition(|kind| kinds.contains(kind));
        last(grounds).is_some() && against.iter().all(|kinds| last(grounds) > last(kinds))
    }

    /// Whether a job has what a stage stands for, by what happened last.
    fn has_grounds(history: &[EventKind], tasks: Pair<EyeTask>, stage: Stage) -> bool {
        match stage {
            Stage::Taken => true,
            Stage::ShapeOnFile => history.contains(&ShapeKept),
            Stage::LensesInHand => {
                (!tasks.right.is_made() || stands(history, &[LensRight], &[&RIGHT]))
                    && (!tasks.left.is_made() || stands(history, &[LensLeft], &[&LEFT]))
            }
            Stage::Cut => stands(history, &[Cut], &[&UNCUT]),
            Stage::Checked => stands(history, &[CheckPassed, CheckConceded], &[&UNCUT, &UNCHECKED]),
            Stage::Packed => stands(history, &[Packed], &[&UNCUT, &UNCHECKED, &[ReturnedUnopened]]),
            Stage::Sent => stands(history, &[Sent], &[&[ReturnedUnopened, ReturnedOpened, ParcelLost]]),
            Stage::Cancelled => history.contains(&Cancelled),
            Stage::BroughtIn => history.contains(&BroughtIn),
        }
    }

    /// The step that leaves this in the history.
    fn step_of(kind: EventKind) -> Option<Step> {
        Some(match kind {
            ShapeKept => Step::Shape,
            LensRight | LensLeft => Step::Lenses,
            SpoiledRight | SpoiledLeft => Step::Spoilage,
            AsideRight | AsideLeft | Corrected => Step::Correction,
            Cut => Step::Cut,
            CheckPassed | CheckFailed => Step::Check,
            CheckConceded => Step::Concession,
            ImpactRight | ImpactLeft => Step::Impact,
            Packed => Step::Packing,
            Sent => Step::Shipment,
            ReturnedUnopened | ReturnedOpened | ParcelLost => Step::Return,
            Cancelled => Step::Cancellation,
            PromiseMoved => Step::Promise,
            DelayCancelled => Step::DelayAnswer,
            Paid => Step::Payment,
            Note => Step::Note,
            _ => return None,
        })
    }

    /// What brings a job on, where it can.
    fn on_the_way(job: &Job) -> EventKind {
        let lacks = |eye| job.makes(eye) && !job.is_lens_in_hand(eye);
        match job.stage() {
            Stage::Taken => ShapeKept,
            Stage::ShapeOnFile if lacks(Eye::Right) => LensRight,
            Stage::ShapeOnFile => LensLeft,
            Stage::LensesInHand => Cut,
            Stage::Cut => CheckPassed,
            Stage::Checked => match job.unproven_lenses().first() {
                Some(Eye::Right) => ImpactRight,
                Some(Eye::Left) => ImpactLeft,
                None => Packed,
            },
            Stage::Packed => Sent,
            Stage::Sent | Stage::Cancelled | Stage::BroughtIn => Note,
        }
    }

    /// Whether the pages let this happen.
    fn may_happen(job: &Job, kind: EventKind) -> bool {
        let Some(step) = step_of(kind).filter(|step| step.refusal(job).is_none()) else { return false };
        match kind {
            LensRight => job.makes(Eye::Right),
            LensLeft => job.makes(Eye::Left),
            SpoiledRight | AsideRight => job.is_lens_in_hand(Eye::Right),
            SpoiledLeft | AsideLeft => job.is_lens_in_hand(Eye::Left),
            _ => step.stages().contains(&job.stage()),
        }
    }

    proptest! {
        /// A job walks at random through what the pages let it do. Its stage is the last one of an unbroken row of stages
        /// that have their grounds.
        #[test]
        fn no_stage_is_without_its_grounds(
            dice in proptest::collection::vec((any::<bool>(), 0..EventKind::ALL.len()), 1..90),
            tasks in proptest::sample::select(vec![
                EyeTask::PAIR,
                Pair::new(EyeTask::Make, EyeTask::Keep),
                Pair::new(EyeTask::Balance, EyeTask::Make),
            ]),
        ) {
            let mut job = round_job("-4.00 sph", "31/33");
            (job.eyes.right.task, job.eyes.left.task) = (tasks.right, tasks.left);
            let event = |kind| Event { kind, note: String::new(), by: None, at: OffsetDateTime::UNIX_EPOCH };
            job.history = vec![event(Taken)];
            for (is_on_the_way, any) in dice {
                let kind = if is_on_the_way { on_the_way(&job) } else { EventKind::ALL[any] };
                if !may_happen(&job, kind) {
                    continue;
                }
                job.history.push(event(kind));
                let kinds: Vec<EventKind> = job.history.iter().map(|event| event.kind).collect();
                let work = Stage::OF_WORK.iter().copied();
                let earned = work.take_while(|stage| has_grounds(&kinds, tasks, *stage)).last().unwrap();
                prop_assert_eq!(job.stage_of_work(), earned, "{:?}", kinds);
                let is_cancelled = has_grounds(&kinds, tasks, Stage::Cancelled);
                prop_assert_eq!(job.stage(), if is_cancelled { Stage::Cancelled } else { earned }, "{:?}", kinds);
            }
        }
    }

    fn power(text: &str) -> LensPower {
        crate::optics::prescription::read(text).unwrap().rx.power
    }

    #[test]
    fn lenses_are_ordered_as_prescribed_or_as_decided() {
        let mut job = round_job("-4.00 sph 2 BI", "31/33");
        assert_eq!((job.lens_power(Eye::Right), job.compensated_words()), (power("-4.00 sph"), None));
        assert_eq!(job.lens_prescriptions(), job.prescription.eyes);
        job.power_decision = Some(PowerDecision {
            is_compensated: true,
            position: PositionOfWear::usual(),
            power: Pair::new(power("-3.75 sph"), power("-3.50 sph")),
            lenses: Pair::default(),
            at: OffsetDateTime::UNIX_EPOCH,
        });
        assert_eq!((job.lens_power(Eye::Right), job.lens_power(Eye::Left)), (power("-3.75 sph"), power("-3.50 sph")));
        let lenses = job.lens_prescriptions();
        assert_eq!((lenses.right.power, lenses.left.power), (power("-3.75 sph"), power("-3.50 sph")));
        assert_eq!(lenses.right.prism, job.prescription.eyes.right.prism, "the prism stays as prescribed");
        let words = job.compensated_words().unwrap();
        assert!(words.contains("R -3.75 sph (prescribed -4.00 sph)"), "{words}");
        if let Some(decision) = &mut job.power_decision {
            decision.is_compensated = false;
        }
        assert_eq!((job.lens_power(Eye::Left), job.compensated_words()), (power("-4.00 sph"), None));
    }

    #[test]
    fn what_a_job_says_of_itself() {
        let mut job = round_job("-4.00 sph", "31/33");
        assert_eq!(job.relens_of(), None);
        let eyes = job.prescription.eyes.map(Some);
        job.parent = Some(Parent { number: 1042, reason: ParentReason::NewLenses, eyes });
        assert_eq!(job.relens_of(), Some(1042));
        job.parent = Some(Parent { number: 1042, reason: ParentReason::Remake, eyes });
        assert_eq!(job.relens_of(), None, "a remake is not new lenses for an earlier job");
        job.eyes.left.height = CenterHeight::Assumed;
        assert_eq!(job.height().map(CenterHeight::words), Pair::new("24.00 mm".into(), "the middle, assumed".into()));
        (job.charged, job.paid) = (Cents::new(18_600), Cents::new(20_000));
        assert_eq!(job.owed(), Cents::new(-1400));
        let at = OffsetDateTime::UNIX_EPOCH;
        job.history = [Taken, ShapeKept].map(|kind| Event { kind, note: String::new(), by: None, at }).to_vec();
        assert_eq!(job.stage(), Stage::ShapeOnFile);
    }

    #[test]
    fn one_lens_is_not_a_pair_and_needs_a_shape() {
        for kinds in [vec![Taken, LensRight, LensLeft], vec![Taken], vec![Taken, Paid, Note]] {
            assert_eq!(stage(kinds), Stage::Taken);
        }
        for kinds in [vec![Taken, ShapeKept, LensLeft], vec![Taken, ShapeKept, LensRight, LensRight]] {
            assert_eq!(stage(kinds), Stage::ShapeOnFile);
        }
        assert_eq!(stage([Taken, LensRight, LensLeft, ShapeKept]), Stage::LensesInHand);
        // A pair that fails a check after it was packed is not packed.
        let failed = [Taken, ShapeKept, LensRight, LensLeft, Cut, CheckPassed, Packed, CheckFailed];
        assert_eq!(stage(failed), Stage::Cut);
        assert_eq!(stage(failed.into_iter().chain([CheckPassed])), Stage::Checked);
    }

    #[test]
    fn every_event_and_stage_has_its_own_words() {
        let events: Vec<&str> = EventKind::ALL.iter().map(|kind| kind.words()).collect();
        let stages: Vec<&str> = Stage::ALL.iter().map(|stage| stage.words()).collect();
        for words in [&events, &stages] {
            assert!(
                words.iter().enumerate().all(|(i, said)| said.len() > 2 && !words[..i].contains(said)),
                "{words:?}"
            );
        }
        assert_eq!((Cut.words(), Stage::Cut.words()), ("Lenses cut", "cut"));
    }

    #[test]
    fn every_kind_reads_back() {
        for &kind in EventKind::ALL {
            assert_eq!(EventKind::from_key(kind.key()), Some(kind));
        }
    }
}
