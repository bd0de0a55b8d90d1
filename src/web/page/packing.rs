//! Aligning and packing: the list to go through, and the sheet that goes inside the parcel.

use askama::Template;
use axum::extract::{Path, State};
use axum::routing::get;
use axum::{Form as Posted, Router};

use super::compensation::wear_words;
use super::job_bar::JobBar;
use super::job_step::{JobStep, list_checks};
use super::{Chrome, PageResult, act_of, draft_of, form_key, go, is_done, posted_job_key, show, show_again};
use crate::desk::job::{EventKind, Stage};
use crate::desk::packing::{ITEMS, ItemGroup, OUTSIDE, PackingError, Parcel, check_ticks, missing};
use crate::print::packing_sheet::{PackingFacts, PackingSheet};
use crate::store::draft::Fields;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new()
        .route("/jobs/{number}/packing", get(show_packing).post(create_packing))
        .route("/jobs/{number}/packing-sheet", get(print_packing_sheet))
}

#[derive(Template)]
#[template(path = "packing/show.html")]
struct PackingPage {
    chrome: Chrome,
    bar: JobBar,
    number: i64,
    lenses_only: bool,
    not_yet: Option<String>,
    concession: Option<String>,
    done: Option<Packed>,
    list: Option<List>,
    can_print: bool,
    outside: &'static str,
}

/// What was ticked, and when.
struct Packed {
    at: String,
    ticks: Vec<String>,
    is_sent: bool,
}

/// The list to go through.
struct List {
    key: String,
    problems: usize,
    groups: Vec<(&'static str, Vec<Tick>)>,
}

/// One thing to tick.
struct Tick {
    key: &'static str,
    words: &'static str,
    is_needed: bool,
    is_ticked: bool,
    is_missing: bool,
}

impl List {
    fn of(key: String, parcel: Parcel, form: &Form, is_refused: bool) -> Self {
        let ticked: Vec<&str> = form.values("tick").collect();
        let missing = missing(parcel, &ticked);
        let is_missing = |key| is_refused && missing.iter().any(|item| item.key == key);
        let groups = ItemGroup::ALL.into_iter().map(|group| {
            let items = ITEMS.into_iter().filter(|item| item.group == group && item.applies_to(parcel));
            let ticks = items.map(|item| Tick {
                key: item.key,
                words: item.words,
                is_needed: item.is_needed,
                is_ticked: ticked.contains(&item.key),
                is_missing: is_missing(item.key),
            });
            (group.words_for(parcel), ticks.collect::<Vec<_>>())
        });
        let groups = groups.filter(|(_, ticks)| !ticks.is_empty()).collect();
        Self { key, problems: if is_refused { missing.len() } else { 0 }, groups }
    }
}

/// New lenses for an earlier frame leave without it.
fn parcel_of(step: &JobStep) -> Parcel {
    Parcel::of(step.job.relens_of.is_some())
}

async fn page(state: &AppState, step: &JobStep, refused: Option<Form>) -> Result<PackingPage, WebError> {
    let number = step.job.number;
    let done = match step.last(EventKind::Packed).filter(|_| step.stage >= Stage::Packed) {
        Some(event) => Some(Packed {
            at: words::moment(&state.clock.local(event.at)),
            ticks: state.store.find_packing(number).await?.unwrap_or_default(),
            is_sent: step.stage == Stage::Sent,
        }),
        None => None,
    };
    let list = if step.stage == Stage::Checked {
        let key = form_key("packing", number, step.count(EventKind::Packed));
        let is_refused = refused.is_some();
        let form = match refused {
            Some(form) => form,
            None => draft_of(state, &key).await?,
        };
        Some(List::of(key, parcel_of(step), &form, is_refused))
    } else {
        None
    };
    let newest = list_checks(state, number).await?.pop().filter(|_| step.is_check_current());
    Ok(PackingPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(&step.job, "packing", state),
        number,
        lenses_only: step.job.relens_of.is_some(),
        not_yet: step.not_yet(Stage::Checked),
        concession: newest.and_then(|check| check.kept.reason),
        done,
        list,
        can_print: step.stage >= Stage::Checked,
        outside: OUTSIDE,
    })
}

async fn show_packing(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let step = JobStep::read(&state, number).await?;
    show(&page(&state, &step, None).await?)
}

async fn create_packing(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let step = JobStep::read(&state, number).await?;
    let form = Form::new(fields);
    let key = posted_job_key(&form, "packing", number, step.count(EventKind::Packed));
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/packing"));
    }
    step.must_have_come_to(Stage::Checked)?;
    if step.stage != Stage::Checked {
        return Err(WebError::OutOfTurn(format!("Job {number} is packed already.")));
    }
    let ticked: Vec<&str> = form.values("tick").collect();
    match check_ticks(parcel_of(&step), &ticked) {
        Ok(sentences) => {
            let ticks: Vec<String> = sentences.into_iter().map(str::to_owned).collect();
            state.store.insert_packing(&act, number, &ticks, state.clock.now()).await?;
            go(&format!("/jobs/{number}/packing"))
        }
        Err(PackingError::Missing(_)) => show_again(&page(&state, &step, Some(form)).await?),
        Err(why @ PackingError::Unknown(_)) => Err(WebError::Malformed(format!("{why}."))),
    }
}

/// The sheet goes into the parcel before the list is done, so it prints from the check on.
async fn print_packing_sheet(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let step = JobStep::read(&state, number).await?;
    if let Some(why) = step.not_yet(Stage::Checked) {
        return Err(WebError::OutOfTurn(why));
    }
    let check = step.check_summary(&state).await?;
    let packed_on = match step.last(EventKind::Packed) {
        Some(event) if step.stage >= Stage::Packed => state.clock.local(event.at).date(),
        _ => state.clock.today(),
    };
    let (job, lab) = (&step.job, state.lab());
    show(&PackingSheet::of(&PackingFacts {
        lab: &lab,
        job_number: number,
        person: &job.customer.person,
        frame: &job.frame.details,
        lenses_only: job.relens_of.is_some(),
        eyes: &job.prescription.eyes,
        wear_words: wear_words(&state, job).await?,
        made_for: job.made_for,
        material: &job.material.details,
        design: job.design,
        coating: job.coating.as_ref().map(|t| &t.details),
        tint: job.tint.as_ref().map(|t| &t.details),
        packed_on,
        check,
    }))
}
