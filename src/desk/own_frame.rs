//! The customer's own frame: expected, received with its condition noted, and sent back in the parcel.

use time::{Date, OffsetDateTime};

use super::bill::ChargeKind;
use super::job::{EventKind, Job};
use super::order::{FrameChoice, NewOrder};

/// The longest note of a condition.
pub const MOST_CONDITION: usize = 500;

/// A frame as it came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnFrameArrival {
    /// The day it came.
    pub received_on: Date,
    /// What it was like.
    pub condition: String,
}

/// An arrival as it was noted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotedArrival {
    pub arrival: OwnFrameArrival,
    /// When it was noted.
    pub at: OffsetDateTime,
}

impl NewOrder {
    /// Whether the customer sends in a frame: the bill has none of ours, and the order is not new lenses for the frame of
    /// an earlier job, which stays with the customer.
    pub fn is_for_own_frame(&self) -> bool {
        !matches!(self.frame, FrameChoice::OfJob(_)) && !self.charges.iter().any(|line| line.kind == ChargeKind::Frame)
    }
}

impl Job {
    /// Whether the customer's own frame is sent in for this job, or has come in.
    pub fn is_for_own_frame(&self) -> bool {
        self.has_own_frame() || self.count(EventKind::OwnFrameExpected) > 0
    }

    /// Whether the customer's own frame is still to come in.
    pub fn awaits_own_frame(&self) -> bool {
        self.is_for_own_frame() && !self.has_own_frame() && !self.is_cancelled()
    }

    /// Whether the customer's own frame has come in.
    pub fn has_own_frame(&self) -> bool {
        self.count(EventKind::OwnFrameReceived) > 0
    }
}
