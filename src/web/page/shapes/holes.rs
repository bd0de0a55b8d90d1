//! The holes of a drilled mount on the shape's page. Other holes are another shape, made from the one on file.

use axum::Form as Posted;
use axum::extract::{Path, State};

use super::{ask_about_newer_shape, kept_shape, page};
use crate::desk::drilling::{DrilledHole, Drilling, read_holes, typed};
use crate::desk::frame_shape::{FrameShape, NewShape};
use crate::desk::step::Step;
use crate::optics::{Eye, Pair};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::form::Form;
use crate::web::page::job_post::JobPost;
use crate::web::page::{PageResult, show_again};

/// Whether both lenses have the same holes, or each its own.
const HOLES_ON: &str = "holes_on";
const BOTH: &str = "both";
const EACH: &str = "each";
/// The holes of both lenses, or of the right one.
const HOLES: &str = "holes";
/// The holes of the left lens, where each has its own.
const HOLES_LEFT: &str = "holes_left";

/// Fills in what is on file.
pub(super) fn fill(form: &mut Form, shape: &FrameShape) {
    let Pair { right, left } = &shape.holes;
    form.set_default(HOLES_ON, if right == left { BOTH } else { EACH });
    form.set_default(HOLES, typed(right));
    form.set_default(HOLES_LEFT, typed(left));
}

pub(crate) async fn keep_holes(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Shape, fields).await?;
    if post.is_outdated {
        return ask_about_newer_shape(&state, post, HOLES).await;
    }
    let shape = kept_shape(&state, number).await?;
    let Some(child) = read_drilled(&mut post.form, &shape) else {
        return show_again(&page(&state, &post.job.clone(), post.refused(), Vec::new()).await?);
    };
    let says = count_words(&child.holes);
    let now = state.clock.now();
    let done = state.store.keep_child_shape(&post.act, number, (shape.id, &says), &child, now).await?;
    post.done(done)
}

/// The shape with the holes that were typed; a sentence stands beside a wrong field.
fn read_drilled(form: &mut Form, shape: &FrameShape) -> Option<NewShape> {
    let has_own_left = form.value(HOLES_ON) == EACH;
    let right = form.read(HOLES, read_holes);
    let left = if has_own_left { form.read(HOLES_LEFT, read_holes) } else { right.clone() };
    if !has_own_left && is_left_typed(form.value(HOLES_LEFT), right.as_deref(), shape) {
        form.fail(HOLES_ON, "The left lens has a list of its own: choose “each its own”, or empty that list");
    }
    let child = shape.drilled(Pair::new(right?, left?));
    for (eye, words) in child.hole_places().iter() {
        if let Some(refused) = words.refused.first() {
            let field = if eye == Eye::Left && has_own_left { HOLES_LEFT } else { HOLES };
            form.fail(field, format!("{refused} Measure it again."));
        }
    }
    if form.is_fine() && child.holes == shape.holes {
        form.fail(HOLES, "These holes are on file already");
    }
    form.is_fine().then_some(child)
}

/// Whether something was typed for the left lens that would be lost: neither the holes of the right one nor what was filled in.
fn is_left_typed(typed: &str, right: Option<&[DrilledHole]>, shape: &FrameShape) -> bool {
    match read_holes(typed) {
        Ok(left) => !left.is_empty() && right != Some(&left[..]) && left != shape.holes.left,
        Err(_) => true,
    }
}

fn count_words(drilling: &Drilling) -> String {
    let count = |holes: &[DrilledHole]| if holes.is_empty() { "none".to_owned() } else { holes.len().to_string() };
    match (&drilling.right[..], &drilling.left[..]) {
        ([], []) => "no holes".to_owned(),
        (right, left) => format!("holes: R {}, L {}", count(right), count(left)),
    }
}
