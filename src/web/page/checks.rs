//! The check of a finished pair: what the lensmeter says, line by line against the lab's tolerances.

use askama::Template;
use axum::extract::{Path, State};
use axum::routing::{get, post};
use axum::{Form as Posted, Router};

use super::compensation::{WornNote, worn_notes};
use super::job_bar::{EyeWords, JobBar};
use super::job_step::{Opened, list_checks};
use super::{Answer, Chrome, act_of, draft_of, form_key, go, is_done, posted_job_key, show, show_again};
use crate::bench::verification::{self, REASON_LETTERS};
use crate::desk::job::{Happening, Stage};
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

use shown::Seen;

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new()
        .route("/jobs/{number}/check", get(show_check).post(create_check))
        .route("/jobs/{number}/check/excuse", post(excuse_check))
}

#[derive(Template)]
#[template(path = "check/show.html")]
struct CheckPage {
    chrome: Chrome,
    bar: JobBar,
    number: i64,
    not_yet: Option<String>,
    worn_notes: Vec<WornNote>,
    newest: Option<Seen>,
    earlier: Vec<Seen>,
    profile: String,
    reads: Option<ReadingForm>,
    excuse: Option<ExcuseForm>,
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
struct ExcuseForm {
    form: Form,
    key: String,
    problems: usize,
}

/// The page with the forms as they stand; a form that was refused takes the place of its draft.
async fn page(
    state: &AppState,
    opened: &Opened,
    refused_reading: Option<Form>,
    refused_excuse: Option<Form>,
) -> Result<CheckPage, WebError> {
    let (job, number) = (&opened.job, opened.job.number);
    let checks = list_checks(state, number).await?;
    let count = checks.len() as i64;
    let is_current = opened.is_check_current();
    let mut seen: Vec<Seen> = checks.into_iter().map(|check| Seen::of(check, false, state)).collect();
    let mut newest = seen.pop();
    if let Some(newest) = &mut newest {
        newest.is_current = is_current;
    }
    let not_yet = opened.not_yet(Stage::Cut);
    let can_read = not_yet.is_none() && opened.stage < Stage::Sent;
    let needs_reason = can_read && newest.as_ref().is_some_and(|c| c.is_current && !c.is_passed && c.reason.is_none());
    let reads = match (can_read, refused_reading) {
        (false, _) => None,
        (true, form) => Some(ReadingForm::of(state, opened, count, form).await?),
    };
    let excuse = match (needs_reason, refused_excuse) {
        (false, _) => None,
        (true, form) => Some(ExcuseForm::of(state, opened, form).await?),
    };
    seen.reverse();
    Ok(CheckPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "check", state),
        number,
        worn_notes: worn_notes(state, job).await?,
        not_yet,
        newest,
        earlier: seen,
        profile: state.lab().tolerance.to_string(),
        reads,
        excuse,
        reading_caution: READING_CAUTION,
        standard_governs: STANDARD_GOVERNS,
    })
}

impl ReadingForm {
    async fn of(state: &AppState, opened: &Opened, done: i64, refused: Option<Form>) -> Result<Self, WebError> {
        let key = form_key("check", opened.job.number, done);
        let is_refused = refused.is_some();
        let mut form = match refused {
            Some(form) => form,
            None => draft_of(state, &key).await?,
        };
        let is_open = is_refused || !form.fields().is_empty() || opened.stage == Stage::Cut;
        form.set_default("how", "written");
        let asks_prism = opened.job.prescription.eyes.iter().any(|(_, rx)| !rx.prism.is_none());
        let eyes = Eye::BOTH.map(|eye| {
            let name = |field: &str| format!("{field}_{}", eye.name());
            EyeFields {
                name: eye.name(),
                letter: eye.letter(),
                ordered: EyeWords::of(&opened.job, eye, None),
                read: name("read"),
                first: name("first"),
                second: name("second"),
                axis: name("axis"),
                height: name("height"),
                prism: asks_prism.then(|| name("prism")),
            }
        });
        let ordered_pd = opened.job.prescription.centred_on(opened.job.made_for).to_string();
        let problems = form.count_errors();
        Ok(Self { key, problems, form, eyes: eyes.into(), ordered_pd, is_again: done > 0, is_open })
    }
}

impl ExcuseForm {
    async fn of(state: &AppState, opened: &Opened, refused: Option<Form>) -> Result<Self, WebError> {
        let key = form_key("excuse", opened.job.number, opened.count(Happening::CheckExcused));
        let form = match refused {
            Some(form) => form,
            None => draft_of(state, &key).await?,
        };
        Ok(Self { key, problems: form.count_errors(), form })
    }
}

async fn show_check(State(state): State<AppState>, Path(number): Path<i64>) -> Answer {
    let opened = Opened::read(&state, number).await?;
    show(&page(&state, &opened, None, None).await?)
}

async fn create_check(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> Answer {
    let opened = Opened::read(&state, number).await?;
    let mut form = Form::new(fields);
    let done = opened.count(Happening::CheckPassed) + opened.count(Happening::CheckFailed);
    let key = posted_job_key(&form, "check", number, done);
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/check"));
    }
    opened.must_have_come_to(Stage::Cut)?;
    let Some(measurement) = reading::read(&mut form, &opened.job) else {
        return show_again(&page(&state, &opened, Some(form), None).await?);
    };
    let profile = state.lab().tolerance;
    let (reading, verdict) = verification::judge(profile, &opened.job, &measurement);
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

async fn excuse_check(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> Answer {
    let opened = Opened::read(&state, number).await?;
    let mut form = Form::new(fields);
    let key = posted_job_key(&form, "excuse", number, opened.count(Happening::CheckExcused));
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/check"));
    }
    opened.must_have_come_to(Stage::Cut)?;
    if opened.stage != Stage::Cut || !opened.is_check_current() {
        return Err(WebError::OutOfTurn(format!("Job {number} has no failed check that waits for a reason.")));
    }
    let Some(reason) = form.read("reason", read_reason) else {
        return show_again(&page(&state, &opened, None, Some(form)).await?);
    };
    state.store.excuse_check(&act, number, &reason, state.clock.now()).await?;
    go(&format!("/jobs/{number}/check"))
}

fn read_reason(typed: &str) -> Result<String, String> {
    let reason = text::line("The reason", typed, 300).map_err(|e| e.to_string())?;
    if reason.chars().filter(|c| c.is_alphabetic()).count() < REASON_LETTERS {
        return Err(format!("Write the reason in words, at least {REASON_LETTERS} letters: it prints with the pair"));
    }
    Ok(reason)
}
