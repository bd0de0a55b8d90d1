//! The holes of a drilled mount on the lenses of a job.

use super::bevel_place::BevelChoice;
use super::layout::JobLayout;
use super::lens::CutLens;
use crate::desk::drilling::{PlaceWords, fault_words};
use crate::optics::{Eye, Pair};
use crate::shape::hole::thickness_faults;

/// What to know before the lenses are drilled: a thin wall beside a hole, and a lens that is too thin at one.
pub fn hole_words(layout: &JobLayout, edges: &Pair<Option<(CutLens, BevelChoice)>>) -> Vec<String> {
    let of = |eye: Eye| {
        let laid = layout.eyes.get(eye);
        let place = PlaceWords::of(eye, &laid.holes, &laid.outline);
        let thin = edges.get(eye).as_ref().map(|(cut, _)| thin_words(eye, &laid.holes, cut)).unwrap_or_default();
        place.refused.into_iter().chain(place.cautions).chain(thin)
    };
    Eye::BOTH.into_iter().filter(|eye| layout.eyes.get(*eye).is_made).flat_map(of).collect()
}

/// Where a lens is too thin for its holes.
fn thin_words(eye: Eye, holes: &[crate::shape::hole::Hole], cut: &CutLens) -> Vec<String> {
    match thickness_faults(holes, &cut.lens.body, cut.center) {
        Ok(faults) => faults.into_iter().map(|(index, fault)| fault_words(eye, index, fault)).collect(),
        Err(why) => vec![format!("The thickness at the holes of the {} eye is not known: {why}.", eye.name())],
    }
}
