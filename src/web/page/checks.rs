//! The check of a finished pair: what the lensmeter says, line by line against the lab's tolerances.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::compensation::{WearNote, wear_notes};
use super::job_bar::{EyeWords, JobBar};
use super::job_post::{JobPost, StepForm};
use super::layout::lay_out;
use super::{Chrome, PageResult, show, show_again};
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::verification::{self, Measurement, Notation, PairReading, REASON_LETTERS};
use crate::desk::center_height::CenterHeight;
use crate::desk::fault::ConcessionCause;
use crate::desk::job::{Job, Stage};
use crate::desk::step::Step;
use crate::desk::text;
use crate::optics::Eye;
use crate::optics::notation;
use crate::optics::tolerance::{READING_CAUTION, STANDARD_GOVERNS};
use crate::store::draft::Fields;
use crate::store::verification::NewCheck;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;

pub(super) mod kept;
mod reading;
mod shown;

use kept::list_checks;
use reading::{CheckForm, EyeReadingNames};
use shown::ShownCheck;

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
    /// The pair as it is now did not pass, and nobody has said yet what becomes of it.
    has_failed: bool,
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
    /// The ordered height above the lowest point, where it was told from the middle.
    height_mm: Option<String>,
    /// Whether it is held to a power; else it may be left out.
    is_held: bool,
    read: String,
    first: String,
    second: String,
    axis: String,
    height: String,
    prism: Option<String>,
    /// The field of the thickness, and the least of the material; none of a lens that stays.
    center: Option<(String, String)>,
}

/// The form for the reason.
pub(in crate::web) struct ConcessionForm {
    form: Form,
    key: String,
    problems: usize,
    causes: Vec<(&'static str, &'static str)>,
}

/// The page with the forms as they stand; a form that was refused takes the place of its draft.
async fn page(
    state: &AppState,
    job: &Job,
    refused_reading: Option<StepForm>,
    refused_concession: Option<StepForm>,
) -> Result<CheckPage, WebError> {
    let (number, reached) = (job.number, job.stage());
    let checks = list_checks(state, number).await?;
    let is_current = job.is_check_current();
    let last = checks.last().filter(|check| is_current && !check.kept.passed).map(|check| check.reading.clone());
    let mut shown: Vec<ShownCheck> = checks.into_iter().map(|check| ShownCheck::of(check, false, state, job)).collect();
    let mut newest = shown.pop();
    if let Some(newest) = &mut newest {
        newest.is_current = is_current;
    }
    let not_yet = job.not_yet(Stage::Cut);
    let can_read = not_yet.is_none() && reached < Stage::Sent;
    let needs_reason = can_read && newest.as_ref().is_some_and(|c| c.is_current && !c.is_passed && c.reason.is_none());
    let reads = if can_read { Some(ReadingForm::of(state, job, refused_reading, last.as_ref()).await?) } else { None };
    let conceded = newest.as_ref().filter(|check| needs_reason && check.kept_back.is_empty());
    let concession = match conceded {
        Some(check) => Some(ConcessionForm::of(state, job, check.attempt, refused_concession).await?),
        None => None,
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
        has_failed: needs_reason,
        concession,
        reading_caution: READING_CAUTION,
        standard_governs: STANDARD_GOVERNS,
    })
}

impl ReadingForm {
    /// `last` is the reading of a pair that did not pass: one figure of it is often all that was wrong.
    async fn of(
        state: &AppState,
        job: &Job,
        refused: Option<StepForm>,
        last: Option<&PairReading>,
    ) -> Result<Self, WebError> {
        let is_refused = refused.is_some();
        let StepForm { key, mut form } = StepForm::again_or_open(refused, state, job, Step::Check).await?;
        let is_open = is_refused || !form.fields().is_empty() || job.stage() == Stage::Cut;
        if let Some(last) = last.filter(|_| form.fields().is_empty()) {
            CheckForm::fill(&mut form, last);
        }
        form.set_default(CheckForm::HOW, Notation::Written.key());
        let asks_prism = CheckForm::asks_prism(job);
        // What is told from the middle of the frame is said in millimeters once the frame is traced.
        let is_by_middle = |eye: &Eye| !matches!(job.eyes.get(*eye).height, CenterHeight::Bottom(_));
        let laid = match job.made_eyes().any(|eye| is_by_middle(&eye)) {
            true => lay_out(state, job, step_of(&state.lab())).await?,
            false => None,
        };
        let height_mm = |eye: Eye| {
            let laid = laid.as_ref().filter(|_| is_by_middle(&eye))?;
            Some(format!("{:.2}", laid.eyes.get(eye).wanted.height_mm))
        };
        let eyes = Eye::BOTH.map(|eye| {
            let names = EyeReadingNames::of(eye);
            EyeFields {
                name: eye.name(),
                letter: eye.letter(),
                ordered: EyeWords::of(job, eye, None),
                height_mm: height_mm(eye),
                is_held: job.holds_power(eye),
                read: names.read,
                first: names.first,
                second: names.second,
                axis: names.axis,
                height: names.height,
                prism: Some(names.prism).filter(|_| asks_prism),
                center: job
                    .makes(eye)
                    .then(|| (names.center, format!("Least {} mm, if you measure it", least_mm(job)))),
            }
        });
        let ordered_pd = job.prescription.centered_on(job.made_for).words();
        let (problems, is_again) = (form.count_errors(), Step::Check.count(job) > 0);
        Ok(Self { key, problems, form, eyes: eyes.into(), ordered_pd, is_again, is_open })
    }
}

/// The least thickness of the material, as it was when ordered.
fn least_mm(job: &Job) -> String {
    notation::short(f64::from(job.material.details.centre_hundredths) / 100.0)
}

impl ConcessionForm {
    pub(in crate::web) const REASON: &str = "reason";
    const CAUSE: &str = "cause";
    /// Which reading it is given for.
    const ATTEMPT: &str = "attempt";

    async fn of(state: &AppState, job: &Job, attempt: i64, refused: Option<StepForm>) -> Result<Self, WebError> {
        let StepForm { key, mut form } = StepForm::again_or_open(refused, state, job, Step::Concession).await?;
        // A reason that was typed for an earlier reading is looked at again with this one.
        form.set(Self::ATTEMPT, attempt.to_string());
        let causes = ConcessionCause::ALL.iter().map(|cause| (cause.key(), cause.words())).collect();
        Ok(Self { key, problems: form.count_errors(), form, causes })
    }

    fn read(form: &mut Form) -> Option<(ConcessionCause, String)> {
        let cause = form.read(Self::CAUSE, |typed| ConcessionCause::from_key(typed).ok_or("Choose why it may be sent"));
        let reason = form.read(Self::REASON, read_reason);
        Some((cause?, reason?))
    }
}

pub(crate) async fn show_check(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    show(&page(&state, &job, None, None).await?)
}

pub(crate) async fn create_check(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Check, fields).await?;
    let Some(measurement) = CheckForm::read(&mut post.form, &post.job) else {
        return show_again(&page(&state, &post.job.clone(), Some(post.refused()), None).await?);
    };
    let layout = lay_out(&state, &post.job, step_of(&state.lab())).await?;
    let layout = layout.ok_or_else(|| WebError::NotFound(format!("A shape of job {number}")))?;
    let check = judged(&state, &post.job, &layout, &measurement).await?;
    let done = state.store.insert_check(&post.act, number, &check, state.clock.now()).await?;
    post.goes_on(&state, done).await
}

async fn judged(
    state: &AppState,
    job: &Job,
    layout: &JobLayout,
    measurement: &Measurement,
) -> Result<NewCheck, WebError> {
    let profile = state.lab().tolerance;
    let lab = state.lab();
    let verification::Judgment { reading, mut verdict, figures } =
        verification::judge(profile, &lab.center_limits(), job, layout, measurement);
    if !verdict.passed {
        let others = state.store.list_bench_lenses(job.number).await?;
        verdict.looks_like.extend(verification::other_jobs(profile, job, measurement, &others));
    }
    let unwritable = |e: serde_json::Error| WebError::Internal(format!("a check cannot be written: {e}"));
    Ok(NewCheck {
        profile: profile.key(),
        reading: serde_json::to_string(&reading).map_err(unwritable)?,
        verdict: serde_json::to_string(&verdict).map_err(unwritable)?,
        figures,
        passed: verdict.passed,
        summary: verdict.sentence(),
    })
}

pub(crate) async fn concede_check(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Concession, fields).await?;
    let newest = list_checks(&state, number).await?.pop();
    let kept_back = newest.as_ref().map(|check| check.verdict.kept_back_of(&post.job));
    if let Some(why) = kept_back.filter(|why| !why.is_empty()) {
        return Err(WebError::OutOfTurn(format!("Job {number} cannot be sent with a reason: {why}.")));
    }
    let attempt = newest.as_ref().map_or(0, |check| check.kept.attempt);
    if post.form.value(ConcessionForm::ATTEMPT).parse() != Ok(attempt) {
        return Err(WebError::OutOfTurn(format!(
            "Job {number} was read again meanwhile, perhaps in another window. A reason counts for the reading that it \
             was written for: look at the newest check first."
        )));
    }
    let Some((cause, reason)) = ConcessionForm::read(&mut post.form) else {
        return show_again(&page(&state, &post.job.clone(), None, Some(post.refused())).await?);
    };
    let done = state.store.concede_check(&post.act, number, attempt, cause, &reason, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &post.job.clone(), None, Some(post.refused())).await?),
    }
}

fn read_reason(typed: &str) -> Result<String, String> {
    let reason = text::line("The reason", typed, 300).map_err(|e| e.to_string())?;
    if reason.chars().filter(|c| c.is_alphabetic()).count() < REASON_LETTERS {
        return Err(format!(
            "Write the reason in words, at least {REASON_LETTERS} letters: it is printed with the \
            pair"
        ));
    }
    Ok(reason)
}
