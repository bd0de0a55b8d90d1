//! The check of a finished pair: what the lensmeter says, line by line against the lab's tolerances.

use askama::Template;
use axum::extract::{Path, State};
use axum::routing::{get, post};
use axum::{Form as Posted, Router};

use super::compensation::{WearNote, wear_notes};
use super::job_bar::{EyeWords, JobBar};
use super::job_step::{JobStep, list_checks};
use super::{Chrome, PageResult, act_of, draft_of, form_key, go, is_done, posted_job_key, show, show_again};
use crate::bench::verification::{self, REASON_LETTERS};
use crate::desk::job::{EventKind, Stage};
use crate::desk::text;
use crate::optics::Eye;
use crate::optics::tolerance::{READING_CAUTION, STANDARD_GOVERNS};
use crate::store::draft::Fields;
use crate::store::verification::NewCheck;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;

mod reading;
mod shown;

use shown::ShownCheck;

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new()
        .route("/jobs/{number}/check", get(show_check).post(create_check))
        .route("/jobs/{number}/check/concession", post(concede_check))
}

#[derive(Template)]
#[template(path = "checks/show.html")]
struct CheckPage {
    chrome: Chrome,
    bar: JobBar,
    number: i64,
    not_yet: Option<String>,
    wear_notes: Vec<WearNote>,
    newest: Option<ShownCheck>,
    earlier: Vec<ShownCheck>,
    profile: String,
    reads: Option<ReadingForm>,
    concession: Option<ConcessionForm>,
    reading_caution: &'static str,
    standard_governs: &'static str,
}

/// The form for a reading.
struct ReadingForm {
    form: Form,
    key: String,
    problems: usize,
    eyes: Vec<EyeFields>,
    ordered_pd: String,
    is_again: bool,
    is_open: bool,
}

/// The names of one eye's fields.
struct EyeFields {
    name: &'static str,
    letter: &'static str,
    ordered: EyeWords,
    read: String,
    first: String,
    second: String,
    axis: String,
    height: String,
    prism: Option<String>,
}

/// The form for the reason.
struct ConcessionForm {
    form: Form,
    key: String,
    problems: usize,
}

/// The page with the forms as they stand; a form that was refused takes the place of its draft.
async fn page(
    state: &AppState,
    step: &JobStep,
    refused_reading: Option<Form>,
    refused_concession: Option<Form>,
) -> Result<CheckPage, WebError> {
    let (job, number) = (&step.job, step.job.number);
    let checks = list_checks(state, number).await?;
    let count = checks.len() as i64;
    let is_current = step.is_check_current();
    let mut shown: Vec<ShownCheck> = checks.into_iter().map(|check| ShownCheck::of(check, false, state)).collect();
    let mut newest = shown.pop();
    if let Some(newest) = &mut newest {
        newest.is_current = is_current;
    }
    let not_yet = step.not_yet(Stage::Cut);
    let can_read = not_yet.is_none() && step.stage < Stage::Sent;
    let needs_reason = can_read && newest.as_ref().is_some_and(|c| c.is_current && !c.is_passed && c.reason.is_none());
    let reads = match (can_read, refused_reading) {
        (false, _) => None,
        (true, form) => Some(ReadingForm::of(state, step, count, form).await?),
    };
    let concession = match (needs_reason, refused_concession) {
        (false, _) => None,
        (true, form) => Some(ConcessionForm::of(state, step, form).await?),
    };
    shown.reverse();
    Ok(CheckPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "check", state),
        number,
        wear_notes: wear_notes(state, job).await?,
        not_yet,
        newest,
        earlier: shown,
        profile: state.lab().tolerance.to_string(),
        reads,
        concession,
        reading_caution: READING_CAUTION,
        standard_governs: STANDARD_GOVERNS,
    })
}

impl ReadingForm {
    async fn of(state: &AppState, step: &JobStep, done: i64, refused: Option<Form>) -> Result<Self, WebError> {
        let key = form_key("check", step.job.number, done);
        let is_refused = refused.is_some();
        let mut form = match refused {
            Some(form) => form,
            None => draft_of(state, &key).await?,
        };
        let is_open = is_refused || !form.fields().is_empty() || step.stage == Stage::Cut;
        form.set_default("how", "written");
        let asks_prism = step.job.prescription.eyes.iter().any(|(_, rx)| !rx.prism.is_none());
        let eyes = Eye::BOTH.map(|eye| {
            let name = |field: &str| format!("{field}_{}", eye.name());
            EyeFields {
                name: eye.name(),
                letter: eye.letter(),
                ordered: EyeWords::of(&step.job, eye, None),
                read: name("read"),
                first: name("first"),
                second: name("second"),
                axis: name("axis"),
                height: name("height"),
                prism: asks_prism.then(|| name("prism")),
            }
        });
        let ordered_pd = step.job.prescription.centred_on(step.job.made_for).to_string();
        let problems = form.count_errors();
        Ok(Self { key, problems, form, eyes: eyes.into(), ordered_pd, is_again: done > 0, is_open })
    }
}

impl ConcessionForm {
    async fn of(state: &AppState, step: &JobStep, refused: Option<Form>) -> Result<Self, WebError> {
        let key = form_key("concession", step.job.number, step.count(EventKind::CheckConceded));
        let form = match refused {
            Some(form) => form,
            None => draft_of(state, &key).await?,
        };
        Ok(Self { key, problems: form.count_errors(), form })
    }
}

async fn show_check(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let step = JobStep::read(&state, number).await?;
    show(&page(&state, &step, None, None).await?)
}

async fn create_check(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let step = JobStep::read(&state, number).await?;
    let mut form = Form::new(fields);
    let done = step.count(EventKind::CheckPassed) + step.count(EventKind::CheckFailed);
    let key = posted_job_key(&form, "check", number, done);
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/check"));
    }
    step.must_have_come_to(Stage::Cut)?;
    let Some(measurement) = reading::read(&mut form, &step.job) else {
        return show_again(&page(&state, &step, Some(form), None).await?);
    };
    let profile = state.lab().tolerance;
    let verification::Judgment { reading, verdict, .. } = verification::judge(profile, &step.job, &measurement);
    let unwritable = |e: serde_json::Error| WebError::Internal(format!("a check cannot be written: {e}"));
    let check = NewCheck {
        profile: profile.key(),
        reading: serde_json::to_string(&reading).map_err(unwritable)?,
        verdict: serde_json::to_string(&verdict).map_err(unwritable)?,
        passed: verdict.passed,
        summary: verdict.sentence(),
    };
    state.store.insert_check(&act, number, &check, state.clock.now()).await?;
    go(&format!("/jobs/{number}/check"))
}

async fn concede_check(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let step = JobStep::read(&state, number).await?;
    let mut form = Form::new(fields);
    let key = posted_job_key(&form, "concession", number, step.count(EventKind::CheckConceded));
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/check"));
    }
    step.must_have_come_to(Stage::Cut)?;
    if step.stage != Stage::Cut || !step.is_check_current() {
        return Err(WebError::OutOfTurn(format!("Job {number} has no failed check that waits for a reason.")));
    }
    let Some(reason) = form.read("reason", read_reason) else {
        return show_again(&page(&state, &step, None, Some(form)).await?);
    };
    state.store.concede_check(&act, number, &reason, state.clock.now()).await?;
    go(&format!("/jobs/{number}/check"))
}

fn read_reason(typed: &str) -> Result<String, String> {
    let reason = text::line("The reason", typed, 300).map_err(|e| e.to_string())?;
    if reason.chars().filter(|c| c.is_alphabetic()).count() < REASON_LETTERS {
        return Err(format!("Write the reason in words, at least {REASON_LETTERS} letters: it prints with the pair"));
    }
    Ok(reason)
}
