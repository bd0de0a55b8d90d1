//! A job: one pair to make, and the stage it has reached.
//!
//! The stage is never set: it is read from what has happened, newest first where things were redone. A new lens
//! after a cut takes the job back to "lenses in hand", because that lens is not cut yet.

use time::{Date, OffsetDateTime};

use super::catalogue::{Material, Treatment};
use super::customer::Customer;
use super::fitting::{FrameWear, WornOrder};
use super::frame::Frame;
use super::frame_shape::KeptShape;
use super::money::Cents;
use super::order::Design;
use super::prescription::{MadeFor, Prescription};
use crate::optics::prescription::{EyePrescription, LensPower};
use crate::optics::unit::Millimetre;
use crate::optics::{Eye, Pair};

/// A job with everything its pages show.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// The number on the tray.
    pub number: i64,
    /// For whom.
    pub customer: Customer,
    /// In which frame.
    pub frame: Frame,
    /// To which prescription.
    pub prescription: Prescription,
    /// For which distance.
    pub made_for: MadeFor,
    /// Of what, as it was when ordered.
    pub material: Material,
    /// The form of the front.
    pub design: Design,
    /// Coating, as it was when ordered.
    pub coating: Option<Treatment>,
    /// Tint, as it was when ordered.
    pub tint: Option<Treatment>,
    /// Optical centre above the lowest point of the box.
    pub height: Pair<Millimetre>,
    /// The day the order was complete.
    pub ordered_on: Date,
    /// The day it is promised for.
    pub promised_on: Date,
    /// A remark for the bench.
    pub note: String,
    /// The earlier job whose frame and shape it uses.
    pub relens_of: Option<i64>,
    /// The shape on file.
    pub shape: Option<KeptShape>,
    /// The sum of the bill.
    pub charged: Cents,
    /// What came in so far.
    pub paid: Cents,
    /// The day the parcel left.
    pub sent_on: Option<Date>,
    /// The newest receipt.
    pub receipt: Option<i64>,
    /// How its frame sits before the eyes, where that is known.
    pub frame_wear: Option<FrameWear>,
    /// The owner's newest decision which power to order.
    pub worn_order: Option<WornOrder>,
    /// What has happened, oldest first.
    pub history: Vec<Event>,
}

impl Job {
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

    /// Both powers in a sentence, where the lenses are ordered compensated.
    pub fn compensated_words(&self) -> Option<String> {
        self.compensated().map(|order| order.words(self.prescription.eyes.map(|eye| eye.power)))
    }

    /// The decision that the lenses are ordered compensated for the way they are worn, if that is the newest.
    pub fn compensated(&self) -> Option<&WornOrder> {
        self.worn_order.as_ref().filter(|order| order.is_compensated)
    }

    /// How far the job has come.
    pub fn stage(&self) -> Stage {
        stage(self.history.iter().map(|event| event.happening))
    }
}

/// A job as a line of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobLine {
    /// The number on the tray.
    pub number: i64,
    /// For whom.
    pub customer: String,
    /// Maker, model and colour of the frame.
    pub frame: String,
    /// The day the order was complete.
    pub ordered_on: Date,
    /// The day it is promised for.
    pub promised_on: Date,
    /// The day the parcel left.
    pub sent_on: Option<Date>,
    /// How far it has come.
    pub stage: Stage,
}

/// What can happen to a job. The words stand in the book and never change their meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Happening {
    /// The order was taken.
    Taken,
    /// A shape was kept for it.
    ShapeKept,
    /// An uncut right lens is in hand.
    LensRight,
    /// An uncut left lens is in hand.
    LensLeft,
    /// Both lenses were edged.
    Cut,
    /// A check found every required line within its limit.
    CheckPassed,
    /// A check found a line outside its limit or unread.
    CheckFailed,
    /// The owner wrote why a failed pair is sent all the same.
    CheckExcused,
    /// The packing list was gone through.
    Packed,
    /// The parcel left.
    Sent,
    /// Money came in or went out.
    Paid,
    /// A receipt was issued.
    Receipt,
    /// A remark.
    Note,
}

impl Happening {
    /// All of them.
    pub const ALL: [Happening; 13] = [
        Happening::Taken,
        Happening::ShapeKept,
        Happening::LensRight,
        Happening::LensLeft,
        Happening::Cut,
        Happening::CheckPassed,
        Happening::CheckFailed,
        Happening::CheckExcused,
        Happening::Packed,
        Happening::Sent,
        Happening::Paid,
        Happening::Receipt,
        Happening::Note,
    ];

    /// As written in the book.
    pub fn key(self) -> &'static str {
        match self {
            Happening::Taken => "taken",
            Happening::ShapeKept => "shape_kept",
            Happening::LensRight => "lens_right",
            Happening::LensLeft => "lens_left",
            Happening::Cut => "cut",
            Happening::CheckPassed => "check_passed",
            Happening::CheckFailed => "check_failed",
            Happening::CheckExcused => "check_excused",
            Happening::Packed => "packed",
            Happening::Sent => "sent",
            Happening::Paid => "paid",
            Happening::Receipt => "receipt",
            Happening::Note => "note",
        }
    }

    /// The happening written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|h| h.key() == key)
    }

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            Happening::Taken => "Order taken",
            Happening::ShapeKept => "Shape kept",
            Happening::LensRight => "Right lens in hand",
            Happening::LensLeft => "Left lens in hand",
            Happening::Cut => "Lenses cut",
            Happening::CheckPassed => "Check passed",
            Happening::CheckFailed => "Check not passed",
            Happening::CheckExcused => "To be sent all the same",
            Happening::Packed => "Packed",
            Happening::Sent => "Sent",
            Happening::Paid => "Payment",
            Happening::Receipt => "Receipt issued",
            Happening::Note => "Note",
        }
    }
}

/// One line of a job's history.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// What happened.
    pub happening: Happening,
    /// What was said of it.
    pub note: String,
    /// When, in UTC.
    pub at: OffsetDateTime,
}

/// How far a job has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Stage {
    /// The order is in the book.
    Taken,
    /// The frame's shape is kept under the job number.
    ShapeOnFile,
    /// Both uncut lenses are here.
    LensesInHand,
    /// Both lenses are edged.
    Cut,
    /// The pair passed, or the owner wrote why it goes all the same.
    Checked,
    /// The parcel is made up.
    Packed,
    /// The parcel has left.
    Sent,
}

impl Stage {
    /// Every stage in order.
    pub const ALL: [Stage; 7] =
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
        }
    }

    /// What the owner does next to leave this stage.
    pub fn next_step(self) -> Option<&'static str> {
        match self {
            Stage::Taken => Some("trace the frame"),
            Stage::ShapeOnFile => Some("take the two lenses in hand"),
            Stage::LensesInHand => Some("lay out, block and cut"),
            Stage::Cut => Some("check the pair"),
            Stage::Checked => Some("align, clean and pack"),
            Stage::Packed => Some("send"),
            Stage::Sent => None,
        }
    }
}

/// The stage a job has reached, from what has happened to it in order.
pub fn stage(happenings: impl IntoIterator<Item = Happening>) -> Stage {
    let (mut shape, mut right, mut left, mut cut, mut checked, mut packed, mut sent) =
        (false, false, false, false, false, false, false);
    for happening in happenings {
        match happening {
            Happening::ShapeKept => shape = true,
            // A lens taken in hand is uncut, whatever was done to the one before it.
            Happening::LensRight | Happening::LensLeft => {
                if happening == Happening::LensRight {
                    right = true
                } else {
                    left = true
                }
                (cut, checked, packed) = (false, false, false);
            }
            Happening::Cut => (cut, checked, packed) = (true, false, false),
            Happening::CheckPassed | Happening::CheckExcused => checked = true,
            Happening::CheckFailed => (checked, packed) = (false, false),
            Happening::Packed => packed = true,
            Happening::Sent => sent = true,
            Happening::Taken | Happening::Paid | Happening::Receipt | Happening::Note => {}
        }
    }
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
    use Happening::*;

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
            (CheckExcused, Stage::Checked),
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
    fn a_later_failed_check_undoes_an_earlier_pass() {
        assert_eq!(stage([Taken, ShapeKept, LensRight, LensLeft, Cut, CheckPassed, CheckFailed]), Stage::Cut);
    }

    #[test]
    fn every_happening_reads_back() {
        for happening in Happening::ALL {
            assert_eq!(Happening::from_key(happening.key()), Some(happening));
        }
    }
}
