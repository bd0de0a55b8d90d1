//! A parcel that came back or is lost: its job is open again.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::date::day;
use super::job::EventKind;
use super::key::keyed;

/// Why a parcel did not stay with its customer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ReturnCause {
    /// The carrier found nobody, or the address is wrong.
    Undeliverable,
    /// Not accepted at the door.
    Refused,
    /// The customer sent it back.
    PutRight,
    /// It never came, or not back.
    Lost,
}

keyed!(ReturnCause);

impl ReturnCause {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            ReturnCause::Undeliverable => "it could not be delivered",
            ReturnCause::Refused => "it was not accepted",
            ReturnCause::PutRight => "the customer sent it back to be corrected",
            ReturnCause::Lost => "it is lost",
        }
    }
}

/// How the parcel was when it came back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ReturnCondition {
    /// Closed, as it left.
    Unopened,
    /// Opened, or the pair was worn.
    Opened,
    /// There is nothing to look at.
    Lost,
}

keyed!(ReturnCondition);

impl ReturnCondition {
    /// What can be seen of a parcel that is here.
    pub const OF_A_PARCEL: [ReturnCondition; 2] = [ReturnCondition::Unopened, ReturnCondition::Opened];

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            ReturnCondition::Unopened => "closed, as it left",
            ReturnCondition::Opened => "opened, or the pair was worn",
            ReturnCondition::Lost => "nothing is here to inspect",
        }
    }

    /// What is to be done, for a list.
    pub fn to_do(self) -> &'static str {
        match self {
            ReturnCondition::Unopened => "came back unopened: send it again",
            ReturnCondition::Opened => "came back opened: read the pair again",
            ReturnCondition::Lost => "lost: make it again",
        }
    }

    /// What it means for the job.
    pub fn event(self) -> EventKind {
        match self {
            ReturnCondition::Unopened => EventKind::ReturnedUnopened,
            ReturnCondition::Opened => EventKind::ReturnedOpened,
            ReturnCondition::Lost => EventKind::ParcelLost,
        }
    }
}

/// A parcel that came back, or was given up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ParcelReturn {
    pub cause: ReturnCause,
    pub condition: ReturnCondition,
    /// The day it came back, or was given up.
    pub returned_on: Date,
    /// May be empty.
    pub note: String,
}

impl ParcelReturn {
    /// `Returned Nov 27, 2026`.
    pub fn day_words(&self) -> String {
        let what = if self.condition == ReturnCondition::Lost { "Lost" } else { "Returned" };
        format!("{what} {}", day(&self.returned_on))
    }

    /// For the history and for the page of the parcels.
    pub fn words(&self) -> String {
        let condition = match self.condition {
            ReturnCondition::Lost => None,
            seen => Some(seen.words()),
        };
        let note = Some(self.note.as_str()).filter(|note| !note.is_empty());
        [Some(self.cause.words()), condition, note].into_iter().flatten().collect::<Vec<_>>().join("; ")
    }
}

/// Why a cause and a condition do not go together, in a sentence for the condition.
pub fn condition_fault(cause: ReturnCause, condition: ReturnCondition) -> Option<&'static str> {
    match (cause, condition) {
        (ReturnCause::Lost, ReturnCondition::Lost) => None,
        (ReturnCause::Lost, _) | (_, ReturnCondition::Lost) => Some(
            "Choose the condition of the parcel, if it is \
            here",
        ),
        (ReturnCause::PutRight, ReturnCondition::Unopened) => {
            Some("A pair that was sent back to be corrected was opened: it is read again before it is sent")
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn a_parcel_is_here_or_lost() {
        use ReturnCause::*;
        for (cause, unopened, opened, lost) in [
            (Undeliverable, true, true, false),
            (Refused, true, true, false),
            (PutRight, false, true, false),
            (ReturnCause::Lost, false, false, true),
        ] {
            let got = [ReturnCondition::Unopened, ReturnCondition::Opened, ReturnCondition::Lost]
                .map(|condition| condition_fault(cause, condition).is_none());
            assert_eq!(got, [unopened, opened, lost], "{cause:?}");
        }
    }

    #[test]
    fn says_what_happened() {
        let mut back = ParcelReturn {
            cause: ReturnCause::Undeliverable,
            condition: ReturnCondition::Unopened,
            returned_on: date!(2026 - 11 - 25),
            note: "moved away".into(),
        };
        assert_eq!(back.words(), "it could not be delivered; closed, as it left; moved away");
        (back.cause, back.condition, back.note) = (ReturnCause::Lost, ReturnCondition::Lost, String::new());
        assert_eq!(back.words(), "it is lost");
    }
}
