//! The bench ticket: what travels with the tray.

use axum::extract::{Path, State};

use super::PageResult;
use super::checks::kept::check_summary;
use super::compensation::wear_words;
use super::show;
use crate::bench::edge_finish::{TicketLines, usual_edges};
use crate::bench::layout::{JobLayout, step_of};
use crate::desk::job::Job;
use crate::optics::Pair;
use crate::print::ticket::{Shape, Ticket, TicketFacts};
use crate::shape::layout::{EyeLayout, PairLayout};
use crate::store::layout::NewLayout;
use crate::web::AppState;
use crate::web::error::WebError;

/// Prints at any time: before there is a shape with blanks to write in, after the check with what it said.
pub(crate) async fn print_ticket(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let lenses = state.store.find_lenses(number).await?;
    let check = check_summary(&state, &job).await?;
    let lab = state.lab();
    let (made, prescribed) =
        (job.lens_prescriptions(), job.compensated().map(|_| job.prescription.eyes.map(|eye| eye.power)));
    let wear_words = wear_words(&state, &job).await?;
    let laid = JobLayout::of(&job, &lab, step_of(&lab));
    let layout = laid.as_ref().map(figures);
    let shape = laid.as_ref().zip(layout.as_ref()).map(|(laid, layout)| Shape {
        outlines: Pair::new(&laid.eyes.right.outline, &laid.eyes.left.outline),
        dbl_mm: laid.dbl_mm,
        layout,
        prism: laid.eyes.as_ref().map(|eye| eye.prism),
    });
    let curves = job.rim_curves();
    let lines = laid.as_ref().and_then(|laid| TicketLines::of(&usual_edges(&job, laid, &lenses, &curves)));
    show(&Ticket::of(&TicketFacts {
        lab: &lab,
        job_number: number,
        relens_of: job.relens_of(),
        customer: &job.customer.person.name,
        frame: &job.frame.details,
        eyes: &made,
        prescribed,
        wear_words,
        made_for: job.made_for,
        pupil_distance: job.prescription.centred_on(job.made_for),
        height: job.height(),
        material: &job.material.details,
        design: job.design,
        coating: job.coating.as_ref().map(|t| &t.details),
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
    let in_hand = state.store.find_lenses(job.number).await?;
    NewLayout::of_job(job, &state.lab(), &in_hand).map_err(|why| WebError::Internal(format!("layout: {why}")))
}

/// The figures of a layout, with the blank that the prescribed prism asks for.
fn figures(laid: &JobLayout) -> PairLayout {
    let eyes = laid.eyes.as_ref().map(|eye| EyeLayout { blank: eye.blank(), ..eye.layout });
    PairLayout { eyes, frame_pd_mm: laid.frame_pd_mm }
}
