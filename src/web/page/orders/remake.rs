//! A remake: a job is made again, for one eye or both. A short form asks why, who pays and what was learned; the order
//! page then stands filled in as the job was.

use askama::Template;
use axum::extract::{Path, Query, State};
use strum::VariantArray;

use super::beginning::{Beginning, fill_lens};
use super::context::OrderContext;
use super::{OrderForm, begin_order};
use crate::desk::fault::FaultCause;
use crate::desk::job::{Job, Stage};
use crate::desk::money::Cents;
use crate::desk::remake::{Remake, RemakePayer};
use crate::desk::text::line;
use crate::optics::{Eye, Pair};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::page::job_bar::JobBar;
use crate::web::page::{Chrome, PageResult, show, show_again};

#[derive(Template)]
#[template(path = "remakes/form.html")]
struct RemakePage {
    chrome: Chrome,
    bar: JobBar,
    /// Why there can be no remake.
    refused: Option<String>,
    eyes: Vec<(&'static str, &'static str)>,
    causes: Vec<(&'static str, String)>,
    payers: Vec<(&'static str, &'static str)>,
    form: Form,
}

/// The fields of the short form.
pub(super) struct RemakeForm {
    eyes: Pair<bool>,
    remake: Remake,
}

/// The fields of a form that says why a job is made again.
struct RemakeNames {
    cause: &'static str,
    paid_by: &'static str,
    frame_stays: &'static str,
    lesson: &'static str,
}

/// Of the short form.
const NAMES: RemakeNames =
    RemakeNames { cause: "cause", paid_by: "paid_by", frame_stays: "frame_stays", lesson: "lesson" };

/// Of the order page, which carries them along.
const ORDER_NAMES: RemakeNames = RemakeNames {
    cause: OrderForm::REMAKE_CAUSE,
    paid_by: OrderForm::REMAKE_PAYER,
    frame_stays: OrderForm::REMAKE_FRAME_STAYS,
    lesson: OrderForm::REMAKE_LESSON,
};

impl RemakeNames {
    fn read(&self, form: &mut Form) -> Option<Remake> {
        let cause = form.read(self.cause, |typed| FaultCause::from_key(typed).ok_or("Choose where it went wrong"));
        let paid_by = form.read(self.paid_by, |typed| RemakePayer::from_key(typed).ok_or("Choose who pays"));
        let lesson = form.read(self.lesson, |typed| line("The lesson", typed, Remake::MOST));
        let frame_stays = form.is_checked(self.frame_stays, "yes");
        Some(Remake { cause: cause?, paid_by: paid_by?, frame_stays, lesson: lesson? })
    }
}

impl RemakeForm {
    const EYES: &str = "eyes";
    const BOTH: &str = "both";
    pub(super) const FIELDS: [&str; 5] = [Self::EYES, NAMES.cause, NAMES.paid_by, NAMES.frame_stays, NAMES.lesson];

    pub(super) fn read(form: &mut Form, job: &Job) -> Option<Self> {
        let eyes = form.read(Self::EYES, |typed| {
            let chosen = |eye: Eye| job.eyes.get(eye).task.is_made() && [eye.name(), Self::BOTH].contains(&typed);
            let eyes = Pair::new(chosen(Eye::Right), chosen(Eye::Left));
            if eyes.right || eyes.left { Ok(eyes) } else { Err("Choose the lens that is made again") }
        });
        let remake = NAMES.read(form);
        Some(Self { eyes: eyes?, remake: remake? })
    }

    /// The order page as the job was: a lens that is not made again stays as it is.
    pub(super) async fn fill(self, state: &AppState, job: &Job, form: &mut Form) -> Result<(), WebError> {
        let Self { eyes, remake } = self;
        form.set(OrderForm::RELENS_OF, job.number.to_string());
        fill_lens(state, job, form).await?;
        OrderForm::fill_prescription(form, &job.prescription);
        // The very versions that the pair is made of, on sale or not: see `OrderContext::load`.
        form.set(OrderForm::MATERIAL, job.material.version.to_string());
        for (field, treatment) in [
            (OrderForm::COATING, &job.coating),
            (OrderForm::SECOND_COATING, &job.second_coating),
            (OrderForm::TINT, &job.tint),
        ] {
            form.set(field, treatment.as_ref().map(|t| t.version.to_string()).unwrap_or_default());
        }
        for eye in Eye::BOTH.into_iter().filter(|eye| !eyes.get(*eye)) {
            let power = job.prescription.has_power.get(eye).then(|| job.prescription.eyes.get(eye).to_string());
            form.set(OrderForm::rx(eye), format!("none {}", power.unwrap_or_default()).trim().to_owned());
        }
        if let Some(answer) = job.vertex {
            OrderForm::fill_vertex(form, answer);
        }
        form.set(OrderForm::NOTE, job.note.clone());
        form.set(OrderForm::REMAKE_CAUSE, remake.cause.key());
        form.set(OrderForm::REMAKE_PAYER, remake.paid_by.key());
        form.set(OrderForm::REMAKE_LESSON, remake.lesson);
        if remake.frame_stays {
            form.set(OrderForm::REMAKE_FRAME_STAYS, "yes");
        }
        if remake.paid_by != RemakePayer::Customer {
            // What is left empty is not charged either: see `Prices::free_where_empty`.
            form.set(OrderForm::PRICE_LENS, Cents::ZERO.plain());
            form.set(OrderForm::PRICE_SHIPPING, Cents::ZERO.plain());
        }
        Ok(())
    }
}

/// Asks what is made again and why; once that is said, an order page stands filled in.
pub(crate) async fn begin_remake(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<Fields>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let is_asked = !asked.is_empty();
    let mut form = Form::new(asked);
    if refusal(&job).is_some() || !is_asked {
        form.set_default(RemakeForm::EYES, usual_eyes(&job));
        return show(&page(&state, &job, form));
    }
    if RemakeForm::read(&mut form, &job).is_none() {
        return show_again(&page(&state, &job, form));
    }
    form.set(Beginning::REMAKE_OF, number.to_string());
    begin_order(&state, &Beginning::read(form.fields())).await
}

/// Why a job is not made again, in a sentence; `None` when it may be.
pub(in crate::web) fn refusal(job: &Job) -> Option<String> {
    let number = job.number;
    match job.stage() {
        Stage::Cancelled => Some(format!("Job {number} was canceled: take a new order instead.")),
        Stage::Cut | Stage::Checked | Stage::Packed | Stage::Sent => None,
        _ => Some(format!(
            "Nothing of job {number} is cut yet: correct the order, or say which lens was spoiled and take another one."
        )),
    }
}

fn usual_eyes(job: &Job) -> &'static str {
    job.single_eye().map_or(RemakeForm::BOTH, Eye::name)
}

fn page(state: &AppState, job: &Job, form: Form) -> RemakePage {
    let mut eyes: Vec<_> = job
        .made_eyes()
        .map(|eye| match eye {
            Eye::Right => ("right", "the right lens"),
            Eye::Left => ("left", "the left lens"),
        })
        .collect();
    if eyes.len() > 1 {
        eyes.push((RemakeForm::BOTH, "both lenses"));
    }
    let cause =
        |cause: &FaultCause| (cause.key(), format!("{}; usually {}", cause.words(), cause.usual_payer().words()));
    RemakePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        refused: refusal(job),
        eyes,
        causes: FaultCause::VARIANTS.iter().map(cause).collect(),
        payers: RemakePayer::ALL.iter().map(|payer| (payer.key(), payer.words())).collect(),
        form,
    }
}

/// Why the earlier job is made again, from the order page; `Some(None)` for an order that is no remake.
pub(super) fn read_remake(form: &mut Form, context: &OrderContext) -> Option<Option<Remake>> {
    if context.relens.is_none() || form.value(OrderForm::REMAKE_CAUSE).is_empty() {
        return Some(None);
    }
    ORDER_NAMES.read(form).map(Some)
}
