//! What comes next on a job, and which step may be done at which stage. Pages and the store both ask here.

use std::ops::RangeInclusive;

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::job::{Event, EventKind, Job, Stage};
use super::key::keyed;
use crate::optics::Eye;

/// What the owner does next to leave a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NextStep {
    /// In words.
    pub words: &'static str,
    /// The end of the address of its page, such as `lenses`.
    pub page: &'static str,
    /// Why nothing later can be done yet, after "Job 1042".
    missing: &'static str,
}

impl NextStep {
    /// The address of its page.
    pub fn path(&self, number: i64) -> String {
        format!("/jobs/{number}/{}", self.page)
    }
}

impl Stage {
    /// The step that leaves this stage; a sent or cancelled job has none.
    pub fn next(self) -> Option<NextStep> {
        let (words, page, missing) = match self {
            Stage::Taken => ("trace the frame", "shape", "has no shape yet: trace the frame first"),
            Stage::ShapeOnFile => {
                ("take the lenses in hand", "lenses", "does not have its lenses in hand yet: take them in hand first")
            }
            Stage::LensesInHand => ("lay out, block and cut", "layout", "is not cut yet: lay out, block and cut first"),
            Stage::Cut => ("check the pair", "check", "is cut but not checked: read the pair on the lensmeter first"),
            Stage::Checked => {
                ("align, clean and pack", "packing", "is not packed yet: go through the packing list first")
            }
            Stage::Packed => ("send", "shipment", "is not sent yet: send it first"),
            Stage::Sent | Stage::Cancelled | Stage::BroughtIn => return None,
        };
        Some(NextStep { words, page, missing })
    }
}

/// A failed check keeps a job at [`Stage::Cut`] for another reason than no check.
const FAILED: &str = "did not pass its check: correct the pair and read it again, or record why it is sent anyway";

impl Job {
    /// How often something happened.
    pub fn count(&self, kind: EventKind) -> i64 {
        self.history.iter().map(|event| i64::from(event.kind == kind)).sum()
    }

    /// The last time something happened.
    pub fn last(&self, kind: EventKind) -> Option<&Event> {
        self.history.iter().rev().find(|event| event.kind == kind)
    }

    /// Whether the uncut or cut lens of an eye is here: taken in hand, and neither spoiled, set aside nor lost since.
    pub fn is_lens_in_hand(&self, eye: Eye) -> bool {
        let (taken, gone) = match eye {
            Eye::Right => (EventKind::LensRight, [EventKind::SpoiledRight, EventKind::AsideRight]),
            Eye::Left => (EventKind::LensLeft, [EventKind::SpoiledLeft, EventKind::AsideLeft]),
        };
        let mut newest_first = self.history.iter().rev().map(|event| event.kind);
        newest_first.find(|&kind| kind == taken || gone.contains(&kind) || kind == EventKind::ParcelLost) == Some(taken)
    }

    /// Whether its parcel left once, though it may have come back.
    pub fn has_left(&self) -> bool {
        has_left(self.history.iter().map(|event| event.kind))
    }

    /// Whether the lens in hand for an eye was cut already: it fits nothing else any more.
    pub fn is_lens_cut(&self, eye: Eye) -> bool {
        let taken = match eye {
            Eye::Right => EventKind::LensRight,
            Eye::Left => EventKind::LensLeft,
        };
        let mut newest_first = self.history.iter().rev().map(|event| event.kind);
        self.is_lens_in_hand(eye)
            && newest_first.find(|kind| [taken, EventKind::Cut].contains(kind)) == Some(EventKind::Cut)
    }

    /// Whether the newest check is of the lenses as they are now: a lens taken in hand or cut later was not checked.
    pub fn is_check_current(&self) -> bool {
        is_check_current(self.history.iter().map(|event| event.kind))
    }

    /// What must be done before the job has come to `needed`, in a sentence; `None` when it has. A cancelled job comes to
    /// nothing any more.
    pub fn not_yet(&self, needed: Stage) -> Option<String> {
        let reached = self.stage();
        match reached {
            Stage::Cancelled => return Some(self.cancelled_words()),
            Stage::BroughtIn => return Some(brought_in_words(self.number)),
            _ => {}
        }
        let next = reached.next().filter(|_| reached < needed)?;
        let missing = if reached == Stage::Cut && self.is_check_current() { FAILED } else { next.missing };
        Some(format!("Job {} {missing}.", self.number))
    }

    /// Why nothing is made for a cancelled job.
    fn cancelled_words(&self) -> String {
        format!("Job {} was canceled, so nothing more is made for it. Take a new order instead.", self.number)
    }
}

/// Why nothing is made, billed or sent for a job of before Rimbook.
pub fn brought_in_words(number: i64) -> String {
    format!(
        "Job {number} was brought in from old records: it was made before Rimbook, so nothing of it is made, billed or sent \
         here. Take new lenses for its frame instead."
    )
}

/// Whether the order is cancelled because of a delay, and no other day was agreed on since.
pub fn is_cancelled_for_delay(kinds: impl IntoIterator<Item = EventKind>) -> bool {
    kinds.into_iter().fold(false, |is_cancelled, kind| match kind {
        EventKind::DelayCancelled => true,
        EventKind::PromiseMoved => false,
        _ => is_cancelled,
    })
}

/// Whether a parcel left once, though it may have come back: what was promised is done (16 CFR 435 asks for the shipment).
pub fn has_left(kinds: impl IntoIterator<Item = EventKind>) -> bool {
    kinds.into_iter().any(|kind| kind == EventKind::Sent)
}

fn is_check_current(kinds: impl IntoIterator<Item = EventKind>) -> bool {
    kinds.into_iter().fold(false, |is_current, kind| match kind {
        EventKind::CheckPassed | EventKind::CheckFailed => true,
        EventKind::Cut
        | EventKind::LensRight
        | EventKind::LensLeft
        | EventKind::SpoiledRight
        | EventKind::SpoiledLeft
        | EventKind::AsideRight
        | EventKind::AsideLeft
        | EventKind::ReturnedOpened
        | EventKind::ParcelLost => false,
        _ => is_current,
    })
}

/// A step of a job that a form does. The key stands in the keys of forms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Step {
    /// A shape is put on file.
    Shape,
    /// Lenses are taken in hand.
    Lenses,
    /// A lens in hand was spoiled.
    Spoilage,
    /// The owner decides which power to order.
    Compensation,
    /// The bench ticket is printed.
    Ticket,
    /// The lenses were edged.
    Cut,
    /// The pair was read on the lensmeter.
    Check,
    /// The owner writes why a failed pair is sent all the same.
    Concession,
    /// What says that the lenses resist impact is recorded.
    Impact,
    /// The packing list was gone through.
    Packing,
    /// The parcel left.
    Shipment,
    /// A line is added to the bill.
    BillLine,
    /// A line of the bill is taken back.
    Reversal,
    /// Parcel returned or lost.
    Return,
    /// The order is corrected.
    Correction,
    /// The order is cancelled.
    Cancellation,
    /// Money came in.
    Payment,
    /// Money goes back.
    Refund,
    /// A receipt is issued.
    Receipt,
    /// Who pays, or who gets the parcel, is corrected.
    People,
    /// The customer agrees to another day.
    Promise,
    /// A delay notice is sent.
    DelayNotice,
    /// What came of a delay notice.
    DelayAnswer,
    /// The customer's own frame came in.
    OwnFrame,
    /// A photograph or a letter is added.
    File,
    /// A remark.
    Note,
}

keyed!(Step);

impl Step {
    /// The stages of a job of ours at which it may be done: see [`Step::may_be_at`].
    pub fn stages(self) -> RangeInclusive<Stage> {
        match self {
            Step::Lenses | Step::Spoilage => Stage::Taken..=Stage::Packed,
            Step::Compensation => Stage::Taken..=Stage::LensesInHand,
            Step::Cut => Stage::LensesInHand..=Stage::Packed,
            Step::Impact => Stage::LensesInHand..=Stage::Packed,
            Step::OwnFrame => Stage::Taken..=Stage::Packed,
            Step::Check => Stage::Cut..=Stage::Packed,
            Step::Concession => Stage::Cut..=Stage::Cut,
            Step::Packing => Stage::Checked..=Stage::Checked,
            Step::Shipment => Stage::Packed..=Stage::Packed,
            Step::Promise | Step::DelayNotice | Step::DelayAnswer => Stage::Taken..=Stage::Packed,
            Step::Return => Stage::Sent..=Stage::Sent,
            Step::Correction => Stage::Taken..=Stage::LensesInHand,
            Step::Cancellation => Stage::Taken..=Stage::Packed,
            Step::Shape | Step::Ticket => Stage::Taken..=Stage::Sent,
            Step::BillLine
            | Step::Reversal
            | Step::Payment
            | Step::Refund
            | Step::Receipt
            | Step::People
            | Step::File
            | Step::Note => Stage::Taken..=Stage::Cancelled,
        }
    }

    /// Whether it may be done at a stage. An old record takes a shape, a file and a remark.
    pub fn may_be_at(self, stage: Stage) -> bool {
        match stage {
            Stage::BroughtIn => matches!(self, Step::Shape | Step::File | Step::Note),
            _ => self.stages().contains(&stage),
        }
    }

    /// The stage that a job has reached once this step is finished, for a step that brings a job on.
    pub fn finishes(self) -> Option<Stage> {
        match self {
            Step::Shape => Some(Stage::ShapeOnFile),
            Step::Lenses => Some(Stage::LensesInHand),
            Step::Cut => Some(Stage::Cut),
            Step::Check => Some(Stage::Checked),
            Step::Packing => Some(Stage::Packed),
            Step::Shipment => Some(Stage::Sent),
            _ => None,
        }
    }

    /// Whether it is out of turn once the order is cancelled because of a delay.
    pub fn ends_with_a_cancellation(self) -> bool {
        matches!(self, Step::Packing | Step::Shipment | Step::DelayNotice | Step::DelayAnswer)
    }

    /// Whether it is out of turn once the parcel left, even if it came back.
    pub fn is_about_the_promise(self) -> bool {
        matches!(self, Step::Promise | Step::DelayNotice | Step::DelayAnswer)
    }

    /// How often it was done, from the history: the running number in the key of its next form.
    pub fn count(self, job: &Job) -> i64 {
        let kinds: &[EventKind] = match self {
            Step::Shape => &[EventKind::ShapeKept],
            Step::Lenses => &[EventKind::LensRight, EventKind::LensLeft],
            Step::Spoilage => &[EventKind::SpoiledRight, EventKind::SpoiledLeft],
            Step::Ticket => &[EventKind::TicketPrinted],
            Step::Cut => &[EventKind::Cut],
            Step::Check => &[EventKind::CheckPassed, EventKind::CheckFailed],
            Step::Concession => &[EventKind::CheckConceded],
            Step::Impact => &[EventKind::ImpactRight, EventKind::ImpactLeft],
            Step::Packing => &[EventKind::Packed],
            Step::Shipment => &[EventKind::Sent],
            Step::BillLine => &[EventKind::BillLine],
            Step::Reversal => &[EventKind::BillLineReversed],
            Step::Return => &[EventKind::ReturnedUnopened, EventKind::ReturnedOpened, EventKind::ParcelLost],
            Step::Correction => &[EventKind::Corrected],
            Step::Cancellation => &[EventKind::Cancelled],
            Step::Payment => &[EventKind::Paid],
            Step::Refund => &[EventKind::Refunded],
            Step::Receipt => &[EventKind::Receipt],
            Step::People => &[EventKind::PeopleChanged],
            Step::DelayNotice => &[EventKind::DelayNotice],
            Step::Promise | Step::DelayAnswer => {
                &[EventKind::PromiseMoved, EventKind::DelaySilent, EventKind::DelayCancelled]
            }
            Step::Compensation => &[EventKind::PowerDecided],
            Step::OwnFrame => &[EventKind::OwnFrameReceived],
            Step::File => &[EventKind::FileAdded],
            Step::Note => &[EventKind::Note],
        };
        kinds.iter().map(|kind| job.count(*kind)).sum()
    }

    /// Why it may not be done now, in a sentence; `None` when it may.
    pub fn refusal(self, job: &Job) -> Option<String> {
        let (number, reached, stages) = (job.number, job.stage(), self.stages());
        if reached == Stage::Cancelled && !stages.contains(&reached) {
            return Some(match self {
                Step::Cancellation => format!("Job {number} has already been canceled."),
                _ => job.cancelled_words(),
            });
        }
        if reached == Stage::BroughtIn {
            return (!self.may_be_at(reached)).then(|| brought_in_words(number));
        }
        if reached < *stages.start() {
            return job.not_yet(*stages.start());
        }
        let has_lens = || Eye::BOTH.into_iter().any(|eye| job.is_lens_in_hand(eye));
        let no_lens = || format!("Job {number} has no lens in hand to spoil.");
        let cancelled = || {
            format!(
                "The order of job {number} was canceled because of its delay. If the customer wants it after all, \
                 record the date that was agreed."
            )
        };
        let no_reason_needed = || format!("Job {number} has no failed check that waits for a reason.");
        if stages.contains(&reached) {
            return match self {
                Step::Concession if !job.is_check_current() => Some(no_reason_needed()),
                Step::Spoilage if !has_lens() => Some(no_lens()),
                step if step.is_about_the_promise() && job.has_left() => Some(format!(
                    "The parcel of job {number} left once: what was promised is done. Tell the customer when it leaves \
                     again, and write it down as a note."
                )),
                step if step.ends_with_a_cancellation()
                    && is_cancelled_for_delay(job.history.iter().map(|event| event.kind)) =>
                {
                    Some(cancelled())
                }
                Step::Packing => job.unproven_words(),
                _ => None,
            };
        }
        Some(match (self, reached) {
            (Step::Lenses | Step::Spoilage, Stage::Sent) => format!("Job {number} is sent. A remake is a new job."),
            (Step::Cut, Stage::Sent) => format!("Job {number} is sent; there is nothing left to cut."),
            (Step::Shipment, Stage::Sent) => format!("Job {number} has been sent already."),
            (Step::Compensation, Stage::Sent) => {
                format!("Job {number} is sent. The power ordered cannot be changed afterward.")
            }
            (Step::Correction, Stage::Sent) => format!("Job {number} is sent. A remake is a new job."),
            (Step::Cancellation, Stage::Sent) => format!(
                "Job {number} is sent and can no longer be canceled. If the parcel comes back, record that first; \
                 record a refund on the bill."
            ),
            (_, Stage::Sent) => format!("Job {number} has been sent. Its history cannot be changed afterward."),
            (Step::Compensation, _) => format!(
                "The lenses of job {number} are cut, so the power they are checked against cannot change. To make \
                 other lenses, take one in hand first."
            ),
            (Step::Correction, _) => format!(
                "The lenses of job {number} are cut, so the order can no longer be corrected: record a remake instead."
            ),
            (Step::Concession, _) => no_reason_needed(),
            (Step::Packing, _) => format!("Job {number} is packed already."),
            _ => format!("Job {number} is past this step."),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::sample::round_job;

    #[test]
    fn every_stage_but_the_last_leads_on() {
        let pages: Vec<_> = Stage::ALL.iter().filter_map(|stage| stage.next()).map(|next| next.path(1042)).collect();
        assert_eq!(
            pages,
            ["shape", "lenses", "layout", "check", "packing", "shipment"].map(|p| format!("/jobs/1042/{p}"))
        );
        assert!([Stage::Sent, Stage::Cancelled, Stage::BroughtIn].iter().all(|stage| stage.next().is_none()));
    }

    #[test]
    fn a_step_belongs_to_some_stages() {
        let stages = |step: Step| Stage::ALL.iter().map(|stage| step.stages().contains(stage)).collect::<Vec<_>>();
        let (no, yes) = (false, true);
        assert_eq!(stages(Step::Cut), [no, no, yes, yes, yes, yes, no, no, no]);
        assert_eq!(stages(Step::Compensation), [yes, yes, yes, no, no, no, no, no, no]);
        assert_eq!(stages(Step::Packing), [no, no, no, no, yes, no, no, no, no]);
        assert_eq!(stages(Step::Shape), [yes, yes, yes, yes, yes, yes, yes, no, no]);
        for step in [Step::Note, Step::Payment, Step::Receipt] {
            assert_eq!(stages(step), [yes, yes, yes, yes, yes, yes, yes, yes, no]);
        }
        let of_records: Vec<_> = Step::ALL.iter().filter(|step| step.may_be_at(Stage::BroughtIn)).collect();
        assert_eq!(of_records, [&Step::Shape, &Step::File, &Step::Note]);
    }

    /// A job with this history, the newest last.
    fn job_after(kinds: &[EventKind]) -> Job {
        let at = time::OffsetDateTime::UNIX_EPOCH;
        let event = |(i, &kind): (usize, &EventKind)| Event { kind, note: i.to_string(), by: None, at };
        Job { history: kinds.iter().enumerate().map(event).collect(), ..round_job("-4.00 sph", "31/33") }
    }

    #[test]
    fn every_other_step_has_its_stages_too() {
        let stages = |step: Step| Stage::ALL.iter().map(|stage| step.stages().contains(stage)).collect::<Vec<_>>();
        let (no, yes) = (false, true);
        assert_eq!(stages(Step::Lenses), [yes, yes, yes, yes, yes, yes, no, no, no]);
        assert_eq!(stages(Step::Check), [no, no, no, yes, yes, yes, no, no, no]);
        assert_eq!(stages(Step::Concession), [no, no, no, yes, no, no, no, no, no]);
        assert_eq!(stages(Step::Impact), [no, no, yes, yes, yes, yes, no, no, no]);
        assert_eq!(stages(Step::Shipment), [no, no, no, no, no, yes, no, no, no]);
        assert_eq!(stages(Step::Return), [no, no, no, no, no, no, yes, no, no]);
        assert_eq!(stages(Step::Correction), [yes, yes, yes, no, no, no, no, no, no]);
        assert_eq!(stages(Step::Cancellation), [yes, yes, yes, yes, yes, yes, no, no, no]);
    }

    #[test]
    fn the_history_is_counted_for_each_step() {
        use EventKind::*;
        let job = job_after(&[Taken, ShapeKept, LensRight, LensLeft, Cut, CheckFailed, Cut, CheckPassed, Paid, Paid]);
        for (step, count) in [
            (Step::Shape, 1),
            (Step::Lenses, 2),
            (Step::Cut, 2),
            (Step::Check, 2),
            (Step::Concession, 0),
            (Step::Payment, 2),
            (Step::Note, 0),
        ] {
            assert_eq!(step.count(&job), count, "{step:?}");
        }
        assert_eq!((job.count(Paid), job.last(Cut).map(|event| event.note.as_str())), (2, Some("6")));
        assert_eq!(job.last(Sent), None);
    }

    #[test]
    fn a_step_is_refused_with_its_reason() {
        use EventKind::*;
        let in_hand = [Taken, ShapeKept, LensRight, LensLeft];
        let after = |more: &[EventKind]| job_after(&[&in_hand, more].concat());
        for (job, step, want) in [
            (after(&[]), Step::Check, Some("is not cut yet")),
            (after(&[]), Step::Compensation, None),
            (after(&[Cut]), Step::Compensation, Some("take one in hand first")),
            (after(&[Cut]), Step::Concession, Some("no failed check")),
            (after(&[Cut]), Step::Packing, Some("is cut but not checked")),
            (after(&[Cut, CheckFailed]), Step::Spoilage, None),
            (after(&[SpoiledRight]), Step::Spoilage, None),
            (after(&[SpoiledRight, SpoiledLeft]), Step::Spoilage, Some("no lens in hand")),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Spoilage, Some("A remake is a new job")),
            (after(&[Cut, CheckFailed]), Step::Packing, Some("did not pass its check")),
            (after(&[Cut, CheckFailed]), Step::Concession, None),
            (after(&[Cut, CheckPassed]), Step::Packing, Some("both lenses resist impact")),
            (after(&[Cut, CheckPassed, ImpactRight]), Step::Packing, Some("the left lens resists impact")),
            (after(&[Cut, CheckPassed, ImpactRight, ImpactLeft]), Step::Packing, None),
            (after(&[ImpactRight, ImpactLeft, Cut, CheckPassed]), Step::Packing, None),
            (after(&[ImpactRight, LensRight, ImpactLeft, Cut, CheckPassed]), Step::Packing, Some("the right lens")),
            (after(&[]), Step::Impact, None),
            (after(&[Cut, CheckPassed, Packed]), Step::Impact, None),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Impact, Some("cannot be changed afterward")),
            (job_after(&[Taken, ShapeKept, LensRight]), Step::Impact, Some("its lenses in hand")),
            (after(&[Cut, CheckPassed]), Step::Concession, Some("no failed check")),
            (after(&[Cut, CheckPassed]), Step::Shipment, Some("is not packed yet")),
            (after(&[Cut, CheckPassed, Packed]), Step::Packing, Some("is packed already")),
            (after(&[Cut, CheckPassed, Packed]), Step::Shipment, None),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Shipment, Some("has been sent already")),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Lenses, Some("A remake is a new job")),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Cut, Some("nothing left to cut")),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Compensation, Some("The power ordered cannot be changed")),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Check, Some("has been sent.")),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Note, None),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Return, None),
            (after(&[Cut, CheckPassed, Packed]), Step::Return, Some("is not sent yet")),
            (after(&[Cut, CheckPassed, Packed, Sent, ReturnedOpened]), Step::Return, Some("is cut but not checked")),
            (after(&[Cut, CheckPassed, Packed, Sent, ReturnedOpened]), Step::Spoilage, None),
            (after(&[Cut, CheckPassed, Packed, Sent, ParcelLost]), Step::Spoilage, Some("no lens in hand")),
            (after(&[Cut, CheckPassed, Packed, Sent, ParcelLost]), Step::Lenses, None),
            (after(&[Cut, CheckPassed, Packed]), Step::Promise, None),
            (after(&[Cut, CheckPassed, Packed, Sent, ReturnedUnopened]), Step::Promise, Some("left once")),
            (after(&[Cut, CheckPassed, Packed, Sent, ReturnedOpened]), Step::DelayNotice, Some("left once")),
            (after(&[Cut, CheckPassed, Packed, Sent, ParcelLost]), Step::DelayAnswer, Some("left once")),
            (after(&[AsideRight, AsideLeft]), Step::Spoilage, Some("no lens in hand")),
            (after(&[]), Step::Correction, None),
            (after(&[Cut]), Step::Correction, Some("record a remake instead")),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Correction, Some("A remake is a new job")),
            (after(&[Cut, CheckPassed, Packed]), Step::Cancellation, None),
            (after(&[Cut, CheckPassed, Packed, Sent]), Step::Cancellation, Some("can no longer be canceled")),
            (after(&[Cancelled]), Step::Cancellation, Some("already been canceled")),
            (after(&[Cancelled]), Step::Cut, Some("was canceled")),
            (after(&[Cancelled]), Step::Shape, Some("was canceled")),
            (after(&[Cancelled]), Step::Return, Some("was canceled")),
            (after(&[Cancelled]), Step::Payment, None),
            (after(&[Cancelled]), Step::Receipt, None),
            (after(&[Cancelled]), Step::Note, None),
            (job_after(&[BroughtIn]), Step::Note, None),
            (job_after(&[BroughtIn]), Step::Receipt, Some("was brought in from old records")),
            (job_after(&[BroughtIn]), Step::Shape, None),
            (job_after(&[BroughtIn]), Step::Return, Some("was brought in from old records")),
        ] {
            let got = step.refusal(&job);
            let is_right = got
                .as_deref()
                .map_or(want.is_none(), |got| got.contains("1001") && want.is_some_and(|want| got.contains(want)));
            assert!(is_right, "{step:?} at {:?}: {got:?} for {want:?}", job.stage());
        }
        let cut = after(&[Cut]);
        assert_eq!((cut.not_yet(Stage::Cut), cut.not_yet(Stage::Taken)), (None, None));
        assert!(cut.not_yet(Stage::Checked).is_some());
    }

    #[test]
    fn a_check_before_a_new_cut_is_of_other_lenses() {
        use EventKind::*;
        assert!(is_check_current([Taken, ShapeKept, Cut, CheckFailed, Paid]));
        assert!(!is_check_current([Taken, ShapeKept, Cut, CheckFailed, LensLeft]));
        assert!(!is_check_current([Taken, ShapeKept, Cut, CheckPassed, LensLeft, Cut]));
        assert!(!is_check_current([Taken]));
        assert!(is_check_current([Taken, ShapeKept, Cut, CheckPassed, Packed, Sent, ReturnedUnopened]));
        assert!(!is_check_current([Taken, ShapeKept, Cut, CheckPassed, Packed, Sent, ReturnedOpened]));
    }

    /// A step, the stages at which it may be done, the one it finishes, and what it leaves in the history.
    type StepRow = (Step, [Stage; 2], Option<Stage>, &'static [EventKind]);

    const STEPS: [StepRow; 26] = {
        use EventKind::*;
        use Stage::{
            Cancelled as Gone, Checked, Cut as IsCut, LensesInHand, Packed as IsPacked, Sent as IsSent, Taken as New,
        };
        [
            (Step::Shape, [New, IsSent], Some(Stage::ShapeOnFile), &[ShapeKept]),
            (Step::Lenses, [New, IsPacked], Some(LensesInHand), &[LensRight, LensLeft]),
            (Step::Spoilage, [New, IsPacked], None, &[SpoiledRight, SpoiledLeft]),
            (Step::Compensation, [New, LensesInHand], None, &[PowerDecided]),
            (Step::Ticket, [New, IsSent], None, &[TicketPrinted]),
            (Step::Cut, [LensesInHand, IsPacked], Some(IsCut), &[Cut]),
            (Step::Check, [IsCut, IsPacked], Some(Checked), &[CheckPassed, CheckFailed]),
            (Step::Concession, [IsCut, IsCut], None, &[CheckConceded]),
            (Step::Impact, [LensesInHand, IsPacked], None, &[ImpactRight, ImpactLeft]),
            (Step::Packing, [Checked, Checked], Some(IsPacked), &[Packed]),
            (Step::Shipment, [IsPacked, IsPacked], Some(IsSent), &[Sent]),
            (Step::BillLine, [New, Gone], None, &[BillLine]),
            (Step::Reversal, [New, Gone], None, &[BillLineReversed]),
            (Step::Return, [IsSent, IsSent], None, &[ReturnedUnopened, ReturnedOpened, ParcelLost]),
            (Step::Correction, [New, LensesInHand], None, &[Corrected]),
            (Step::Cancellation, [New, IsPacked], None, &[Cancelled]),
            (Step::Payment, [New, Gone], None, &[Paid]),
            (Step::Refund, [New, Gone], None, &[Refunded]),
            (Step::Receipt, [New, Gone], None, &[Receipt]),
            (Step::People, [New, Gone], None, &[PeopleChanged]),
            (Step::Promise, [New, IsPacked], None, &[PromiseMoved, DelaySilent, DelayCancelled]),
            (Step::DelayNotice, [New, IsPacked], None, &[EventKind::DelayNotice]),
            (Step::DelayAnswer, [New, IsPacked], None, &[PromiseMoved, DelaySilent, DelayCancelled]),
            (Step::OwnFrame, [New, IsPacked], None, &[OwnFrameReceived]),
            (Step::File, [New, Gone], None, &[FileAdded]),
            (Step::Note, [New, Gone], None, &[Note]),
        ]
    };

    #[test]
    fn every_step_has_its_stages_its_end_and_its_events() {
        assert!(Step::ALL.iter().all(|step| STEPS.iter().any(|row| row.0 == *step)), "a row for every step");
        for (step, [first, last], finishes, kinds) in STEPS {
            assert_eq!((step.stages(), step.finishes()), (first..=last, finishes), "{step:?}");
            for kind in EventKind::ALL {
                let times = step.count(&job_after(&[*kind, *kind]));
                assert_eq!(times, if kinds.contains(kind) { 2 } else { 0 }, "{step:?} counts {kind:?}");
            }
        }
    }

    #[test]
    fn an_order_that_is_cancelled_for_its_delay_goes_no_further() {
        use EventKind::{
            CheckPassed, Cut, DelayCancelled, DelaySilent, ImpactLeft, ImpactRight, LensLeft, LensRight, Packed,
            PromiseMoved, ShapeKept, Taken,
        };
        let ready = [Taken, ShapeKept, LensRight, LensLeft, Cut, CheckPassed, ImpactRight, ImpactLeft];
        let after = |more: &[EventKind]| job_after(&[&ready, more].concat());
        let is_refused =
            |step: Step, job: &Job| step.refusal(job).is_some_and(|why| why.contains("because of its delay"));
        for (more, is_over) in [
            (&[][..], false),
            (&[DelaySilent], false),
            (&[DelayCancelled], true),
            (&[DelayCancelled, PromiseMoved], false),
            (&[PromiseMoved, DelayCancelled, EventKind::Note], true),
        ] {
            assert_eq!(is_refused(Step::Packing, &after(more)), is_over, "{more:?}");
            let packed = after(&[&[Packed], more].concat());
            for step in [Step::Shipment, Step::DelayNotice, Step::DelayAnswer] {
                assert_eq!(is_refused(step, &packed), is_over, "{step:?} after {more:?}");
            }
            // The customer may still take it up again, and the bench may go on meanwhile.
            for step in [Step::Promise, Step::Cut, Step::Cancellation] {
                assert_eq!(step.refusal(&packed), None, "{step:?} after {more:?}");
            }
        }
    }

    #[test]
    fn the_lens_of_an_eye_is_here_until_it_is_gone() {
        use EventKind::*;
        for (more, right, left) in [
            (&[][..], true, true),
            (&[SpoiledRight], false, true),
            (&[AsideRight], false, true),
            (&[SpoiledLeft], true, false),
            (&[AsideLeft], true, false),
            (&[ParcelLost], false, false),
            (&[ReturnedOpened, Cut], true, true),
            (&[SpoiledRight, LensRight], true, true),
        ] {
            let job = job_after(&[&[Taken, LensRight, LensLeft], more].concat());
            assert_eq!((job.is_lens_in_hand(Eye::Right), job.is_lens_in_hand(Eye::Left)), (right, left), "{more:?}");
        }
        assert!(!job_after(&[Taken]).is_lens_in_hand(Eye::Right));
    }

    #[test]
    fn a_lens_is_cut_until_another_one_is_taken() {
        use EventKind::*;
        for (more, right, left) in [
            (&[][..], false, false),
            (&[Cut], true, true),
            (&[Cut, CheckFailed], true, true),
            (&[Cut, SpoiledRight], false, true),
            (&[Cut, AsideLeft], true, false),
            (&[Cut, SpoiledRight, LensRight], false, true),
            (&[Cut, LensLeft], true, false),
            (&[Cut, LensLeft, Cut], true, true),
            (&[Cut, ParcelLost], false, false),
        ] {
            let job = job_after(&[&[Taken, ShapeKept, LensRight, LensLeft], more].concat());
            assert_eq!((job.is_lens_cut(Eye::Right), job.is_lens_cut(Eye::Left)), (right, left), "{more:?}");
        }
    }

    #[test]
    fn nothing_more_comes_of_a_cancelled_job_or_an_old_record() {
        for (kind, says) in [(EventKind::Cancelled, "was canceled"), (EventKind::BroughtIn, "from old records")] {
            for needed in [Stage::Taken, Stage::Checked, Stage::Sent] {
                let why = job_after(&[kind]).not_yet(needed);
                assert!(why.as_deref().is_some_and(|why| why.contains(says)), "{kind:?}: {why:?}");
            }
        }
    }

    #[test]
    fn only_what_touches_the_lenses_outdates_a_check() {
        use EventKind::*;
        let outdates =
            [Cut, LensRight, LensLeft, SpoiledRight, SpoiledLeft, AsideRight, AsideLeft, ReturnedOpened, ParcelLost];
        for kind in EventKind::ALL {
            let job = job_after(&[Cut, CheckFailed, *kind]);
            assert_eq!(job.is_check_current(), !outdates.contains(kind), "{kind:?}");
            let is_check = matches!(kind, CheckPassed | CheckFailed);
            assert_eq!(job_after(&[Cut, *kind]).is_check_current(), is_check, "{kind:?}");
            assert_eq!(job_after(&[*kind]).has_left(), *kind == Sent, "{kind:?}");
        }
    }
}
