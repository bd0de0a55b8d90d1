//! What a failed check looks like: which of the usual mistakes would explain the readings.
//!
//! [`find_mistakes`] tries each mistake the other way round. It undoes the mistake in the reading and asks whether the
//! undone reading is what was ordered. Nothing here changes a verdict.
//!
//! # How it is decided
//!
//! * **A pair without a failed row has no mistake.** Neither has an eye whose own rows all pass.
//! * **The undone reading must fit**: every power row of the eye is within the profile's limit, and its prism, where it
//!   was read. The prism of one eye is held to the limits of the pair.
//! * **Undoing must change something**: a row that fails as read must come nearer by at least its own limit. So the
//!   axis is never mirrored at 90 or 180, and a plano lens never has the other sign.
//! * **`eyes_exchanged`** takes both eyes together, and each must fit the order of the other. Whether the lenses or
//!   only the readings were exchanged, the powers are the same; a prism fits with its base towards the same side of the
//!   face, or of the nose. Places do not decide: a lens cut for the wrong eye is centered where that eye was laid out,
//!   and readings in the wrong fields are not. Where the places were read, a story whose places fit neither way comes
//!   later.
//! * **`turned`** is the general story of an axis that is off. A lens that turned in the block took its prism with it,
//!   so the prism may fit as read or turned back. Both eyes off by like amounts are one story.
//! * **`upside_down`**: a single-vision lens turned by half a turn has the same power and axis. Only its prism shows it,
//!   where both parts are reversed. One reversed part is told as `base_reversed`, which such a lens makes as well. Its
//!   center is off by twice its decentration, and the order here does not know the box, so places are no evidence.
//! * **The same story in both eyes** is told once, without an eye.
//!
//! # Which comes first
//!
//! Stories are ordered by a cost: the worst row of the undone reading in units of its limit, plus what makes the kind
//! less likely (see `Weight`), plus 1 for a failed eye that the story leaves failing. That a slip of a few degrees in the
//! block is the usual error of axis, and a large one rare, is common practice, from memory. The weights themselves were
//! chosen with the simulation in `tests/check/mistake.rs`, which measures how often the first story is right.
//!
//! Some readings are alike: a lens whose sphere is half
//! its cylinder with the other sign reads the same with its sign reversed as with its axis across.

use super::prescription::LensPower;
use super::tolerance::{CenterLimits, Measured, OrderedPair, Profile, Status, verify};
use super::{Eye, Pair};

mod evidence;
mod kind;
#[cfg(test)]
mod tests;
mod undo;

pub use kind::MistakeKind;

use evidence::{Evidence, ReadLens, Story};

/// A mistake that would explain the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mistake {
    /// What was done.
    pub kind: MistakeKind,
    /// The eye; `None` for both.
    pub eye: Option<Eye>,
    /// Of [`MistakeKind::Turned`]: by how much the reading is turned from the order, counter-clockwise in the front
    /// view positive, -89 to 90.
    pub turned_deg: Option<i32>,
}

/// The mistakes that would explain why a pair fails, likeliest first. Empty when no row fails.
pub fn find_mistakes(
    profile: Profile,
    center_limits: &CenterLimits,
    ordered: &OrderedPair,
    measured: &Measured,
) -> Vec<Mistake> {
    let lines = verify(profile, center_limits, ordered, measured);
    if lines.iter().all(|line| line.status != Status::Fail) {
        return Vec::new();
    }
    let evidence = Evidence::of(profile, center_limits, ordered, measured);
    let mut stories: Vec<Story> = evidence.exchanged().into_iter().collect();
    let eyes = Pair::new(one_eye(&evidence, Eye::Right), one_eye(&evidence, Eye::Left));
    let is_across = |stories: &[Story]| stories.iter().any(|story| story.mistake.kind == MistakeKind::AxisAcross);
    let turned_alike = evidence.turned_alike().filter(|_| !is_across(&eyes.right) || !is_across(&eyes.left));
    stories.extend(turned_alike);
    for kind in MistakeKind::ALL {
        let of = |stories: &[Story]| stories.iter().copied().find(|story| story.mistake.kind == kind);
        let found = Pair::new(of(&eyes.right), of(&eyes.left));
        match (found.right, found.left) {
            (Some(_), Some(_)) if kind == MistakeKind::Turned && turned_alike.is_some() => {}
            (Some(right), Some(left)) if kind != MistakeKind::Turned => stories.push(right.joined(left)),
            (right, left) => stories.extend(right.into_iter().chain(left)),
        }
    }
    let cost = |story: &Story| story.cost() + evidence.unexplained(story.mistake.eye);
    stories.sort_by(|one, other| cost(one).total_cmp(&cost(other)));
    stories.into_iter().map(|story| story.mistake).collect()
}

/// Every story of one eye that fits.
fn one_eye(evidence: &Evidence, eye: Eye) -> Vec<Story> {
    let Some(reading) = evidence.reading(eye).filter(|_| evidence.fails(eye)) else { return Vec::new() };
    let told = |kind, undone: Option<ReadLens>| evidence.story(kind, eye, undone?);
    let mut stories = Vec::new();
    let power =
        |change: fn(LensPower) -> Option<LensPower>| change(reading.power).map(|power| ReadLens { power, ..reading });
    stories.extend(told(MistakeKind::SignReversed, power(undo::other_sign)));
    stories.extend(told(MistakeKind::WrongCylinderForm, power(undo::other_cylinder_sign)));
    stories.extend(told(MistakeKind::AxisMirrored, power(undo::mirrored)));
    let across = told(MistakeKind::AxisAcross, power(undo::across));
    stories.extend(across);
    if across.is_none() {
        stories.extend(evidence.turned(eye));
    }
    stories.extend(evidence.base_reversed(eye));
    stories.extend(evidence.upside_down(eye));
    stories
}
