//! The holes of a drilled mount on the shape's page. Other holes are another shape, made from the one on file.

use axum::Form as Posted;
use axum::extract::{Path, State};

use super::{kept_shape, page};
use crate::desk::drilling::{Drilling, read_holes, typed};
use crate::desk::frame_shape::{FrameShape, NewShape};
use crate::desk::step::Step;
use crate::optics::{Eye, Pair};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::form::Form;
use crate::web::page::job_post::JobPost;
use crate::web::page::{PageResult, show_again};

/// The holes of both eyes, or of the right one.
const HOLES: &str = "holes";
/// The holes of the left eye, where they are no mirror image.
const HOLES_LEFT: &str = "holes_left";

/// Fills in what is on file.
pub(super) fn fill(form: &mut Form, shape: &FrameShape) {
    form.set_default(HOLES, typed(&shape.holes.right));
    if shape.holes.left != shape.holes.right {
        form.set_default(HOLES_LEFT, typed(&shape.holes.left));
    }
}

pub(crate) async fn keep_holes(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Shape, fields).await?;
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
    let right = form.read(HOLES, read_holes);
    let has_left = !form.value(HOLES_LEFT).trim().is_empty();
    let left = if has_left { form.read(HOLES_LEFT, read_holes)? } else { right.clone()? };
    let child = shape.drilled(Pair::new(right?, left));
    for (eye, words) in child.hole_places().iter() {
        if let Some(refused) = words.refused.first() {
            let field = if eye == Eye::Left && has_left { HOLES_LEFT } else { HOLES };
            form.fail(field, format!("{refused} Measure it again."));
        }
    }
    if form.is_fine() && child.holes == shape.holes {
        form.fail(HOLES, "These holes are on file already");
    }
    form.is_fine().then_some(child)
}

fn count_words(drilling: &Drilling) -> String {
    match (drilling.right.len(), drilling.left.len()) {
        (0, 0) => "no holes".to_owned(),
        (right, left) => format!("holes: R {right}, L {left}"),
    }
}
