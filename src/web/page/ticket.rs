//! The bench ticket: what travels with the tray.

use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::checks::kept::check_summary;
use super::compensation::{disagreements_of, wear_words};
use super::cuts::{last_cut_words, lesson_words};
use super::job_bar::next_from;
use super::job_post::JobPost;
use super::layout::{drill_words, lay_out, supply_of};
use super::{PageResult, form_key, go, show};
use crate::bench::bevel_place::{TicketLines, usual_edges};
use crate::bench::layout::{JobLayout, step_of};
use crate::desk::drilling::HoleTableRow;
use crate::desk::job::{EyeTask, Job, Stage};
use crate::desk::step::Step;
use crate::optics::Pair;
use crate::print::ticket::{Ticket, TicketBar, TicketFacts, TicketShape};
use crate::shape::layout::{EyeLayout, PairLayout};
use crate::store::cut::EarlierCut;
use crate::store::draft::Fields;
use crate::store::layout::NewLayout;
use crate::store::once::Once;
use crate::web::error::WebError;
use crate::web::{AppState, words};

#[derive(Deserialize)]
pub(crate) struct TicketQuery {
    #[serde(rename = "as")]
    as_of: Option<String>,
}

/// The ticket can be looked at any time: before there is a shape with blanks to write in, after the check with what it
/// said. Once the lenses are cut, the ticket that was kept last is shown as it printed, unless another is asked for.
pub(crate) async fn show_ticket(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(query): Query<TicketQuery>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let wants_now = query.as_of.as_deref() == Some("now");
    let kept =
        if job.stage() >= Stage::Cut && !wants_now { state.store.list_tickets(number).await? } else { Vec::new() };
    if let Some((seq, _)) = kept.first() {
        return go(&format!("/jobs/{number}/tickets/{seq}"));
    }
    let mut ticket = ticket_now(&state, &job).await?;
    ticket.bar = TicketBar::Keep { key: form_key(Step::Ticket.key(), number, Step::Ticket.count(&job)) };
    show(&ticket)
}

/// Keeps the ticket as it prints, with the layout in numbers.
pub(crate) async fn keep_ticket(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let post = JobPost::read(&state, number, Step::Ticket, fields).await?;
    let layout = layout_as_made(&state, &post.job).await?;
    let unwritable = |why: serde_json::Error| WebError::Internal(format!("a ticket cannot be written: {why}"));
    let document = ticket_now(&state, &post.job).await?.to_json().map_err(unwritable)?;
    let done = state.store.insert_ticket(&post.act, number, layout.as_ref(), &document, state.clock.now()).await?;
    match done {
        Once::Now(seq) => go(&format!("/jobs/{number}/tickets/{seq}")),
        Once::Before(seq) => go(&format!("/jobs/{number}/tickets/{seq}")),
    }
}

/// A kept ticket, from its document and from nothing else.
pub(crate) async fn show_kept_ticket(
    State(state): State<AppState>,
    Path((number, seq)): Path<(i64, i64)>,
) -> PageResult {
    let kept = state.store.get_ticket(number, seq).await?;
    let unreadable = |why: serde_json::Error| WebError::Internal(format!("a kept ticket cannot be read: {why}"));
    let mut ticket = Ticket::from_json(&kept.document).map_err(unreadable)?;
    let job = state.store.get_job(number).await?;
    let next = next_from(&job, "layout").map(|next| (next.words, next.path));
    ticket.bar = TicketBar::Kept { printed: words::moment(&state.clock.local(kept.at)), next };
    show(&ticket)
}

/// The ticket of a job as it stands.
async fn ticket_now(state: &AppState, job: &Job) -> Result<Ticket, WebError> {
    let lenses = state.store.find_lenses(job.number).await?;
    let check = check_summary(state, job).await?;
    let lab = state.lab();
    let (made, prescribed) =
        (job.lens_prescriptions(), job.compensated().map(|_| job.prescription.eyes.map(|eye| eye.power)));
    let wear_words = wear_words(state, job).await?;
    let disagreements = disagreements_of(state, job).await?;
    let laid = lay_out(state, job, step_of(&lab)).await?;
    let layout = laid.as_ref().map(figures);
    let no_stock_lenses = laid.as_ref().map(|laid| laid.no_stock_lenses(&lenses)).unwrap_or_default();
    let wrap_words = laid.as_ref().and_then(JobLayout::wrap_words);
    let shape = laid.as_ref().zip(layout.as_ref()).map(|(laid, layout)| TicketShape {
        outlines: Pair::new(&laid.eyes.right.outline, &laid.eyes.left.outline),
        dbl_mm: laid.dbl_mm,
        layout,
        prism: laid.eyes.as_ref().map(|eye| eye.prism.as_ref()),
        holes: laid.eyes.as_ref().map(|eye| eye.holes.as_slice()),
    });
    let hole_rows = match state.store.find_job_shape(job).await? {
        Some(shape) => HoleTableRow::of(&shape.holes),
        None => Vec::new(),
    };
    let drill_words = laid.as_ref().map(|laid| drill_words(job, laid, &lenses)).unwrap_or_default();
    let lines = laid
        .as_ref()
        .and_then(|laid| TicketLines::of(job.tasks().map(EyeTask::is_made), &usual_edges(job, laid, &lenses)));
    let last_cut = match job.shape {
        Some(shape) => state.store.find_last_cut(shape).await?,
        None => None,
    };
    let cut_day = |cut: &EarlierCut| words::day(&state.clock.local(cut.at).date());
    Ok(Ticket::of(&TicketFacts {
        last_cut: last_cut.map(|cut| last_cut_words(&cut, job.number, &cut_day(&cut), laid.as_ref())),
        lessons: lesson_words(state, job).await?,
        remake: remake_words(job),
        lab: &lab,
        job_number: job.number,
        relens_of: job.relens_of(),
        customer: &job.customer.person.name,
        frame: &job.frame.details,
        tasks: job.tasks(),
        eyes: &made,
        prescribed,
        wear_words: disagreements
            .into_iter()
            .chain(wear_words)
            .chain(no_stock_lenses)
            .chain(wrap_words)
            .chain(drill_words)
            .collect(),
        holes: hole_rows,
        made_for: job.made_for,
        pupil_distance: job.prescription.centered_on(job.made_for),
        height: job.height(),
        material: &job.material.details,
        design: job.design,
        coating: job.coating.as_ref().map(|t| &t.details),
        second_coating: job.second_coating.as_ref().map(|t| &t.details),
        tint: job.tint.as_ref().map(|t| &t.details),
        ordered_on: job.ordered_on,
        promised_on: job.promised_on,
        note: &job.note,
        shape,
        edge: lines.as_ref(),
        lenses: lenses.as_ref().map(Option::as_ref),
        check: check.as_ref(),
    }))
}

/// The layout of a job as it stands, to be stored with what is made by it.
pub async fn layout_as_made(state: &AppState, job: &Job) -> Result<Option<NewLayout>, WebError> {
    let Some(shape) = state.store.find_job_shape(job).await? else { return Ok(None) };
    let supply = supply_of(state, job).await?;
    let layout = NewLayout::of_job(job, &shape, &state.lab(), &supply);
    layout.map(Some).map_err(|why| WebError::Internal(format!("layout: {why}")))
}

/// The figures of a layout, with the blank that the prescribed prism asks for.
fn figures(laid: &JobLayout) -> PairLayout {
    let eyes = laid.eyes.as_ref().map(|eye| EyeLayout { blank: eye.blank(), ..eye.layout });
    PairLayout { eyes, frame_pd_mm: laid.frame_pd_mm }
}

/// The job that a job makes again, why, and whether the frame is in the tray.
fn remake_words(job: &Job) -> Option<String> {
    let (parent, remake) = (job.parent?, job.remake.as_ref()?);
    let frame = if remake.frame_stays { "no frame in the tray" } else { "the frame comes back" };
    Some(format!("Remake of job {}: {}; {frame}", parent.number, remake.cause.words()))
}
