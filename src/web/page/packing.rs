//! Aligning and packing: the list to go through, and the sheet that goes inside the parcel.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::checks::kept::{check_summary, list_checks};
use super::compensation::wear_words;
use super::impact::ImpactSection;
use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::job::{EventKind, Job, Stage};
use crate::desk::packing::{ITEMS, ItemGroup, OUTSIDE, PackingError, Parcel, check_ticks, missing};
use crate::desk::step::Step;
use crate::optics::{Eye, Pair};
use crate::print::packing_sheet::{PackingFacts, PackingSheet};
use crate::store::draft::Fields;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "packing/show.html")]
pub(super) struct PackingPage {
    chrome: Chrome,
    bar: JobBar,
    number: i64,
    /// Where the address is corrected to which a parcel that came back unopened was sent.
    to_correct: Option<String>,
    lenses_only: bool,
    /// Whether the frame is still to come in, by the book.
    awaits_frame: bool,
    not_yet: Option<String>,
    concession: Option<String>,
    impact: Option<ImpactSection>,
    done: Option<Packed>,
    list: Option<PackingList>,
    can_print: bool,
    outside: &'static str,
}

/// What was ticked, and when.
struct Packed {
    at: String,
    ticks: Vec<String>,
}

/// The list to go through.
struct PackingList {
    key: String,
    problems: usize,
    groups: Vec<TickGroup>,
}

/// The things to tick in one part of the work.
struct TickGroup {
    words: &'static str,
    /// The one tick for everything required.
    all: Tick,
    ticks: Vec<Tick>,
}

/// One thing to tick.
struct Tick {
    key: &'static str,
    words: &'static str,
    is_needed: bool,
    is_ticked: bool,
    is_missing: bool,
}

impl PackingList {
    fn of(key: String, parcel: Parcel, form: &Form, is_refused: bool) -> Self {
        let ticked: Vec<&str> = form.values(PackingForm::TICK).collect();
        let missing = missing(parcel, &ticked);
        let is_missing = |key| is_refused && missing.iter().any(|item| item.key == key);
        let groups = ItemGroup::ALL.iter().map(|&group| {
            let items = ITEMS.into_iter().filter(|item| item.group == group && item.applies_to(parcel));
            let ticks = items.map(|item| Tick {
                key: item.key,
                words: item.words,
                is_needed: item.is_needed,
                is_ticked: ticked.contains(&item.key),
                is_missing: is_missing(item.key),
            });
            let all = Tick {
                key: group.all_key(),
                words: "All required items here are done",
                is_needed: true,
                is_ticked: ticked.contains(&group.all_key()),
                is_missing: false,
            };
            TickGroup { words: group.words_for(parcel), all, ticks: ticks.collect() }
        });
        let groups = groups.filter(|group| !group.ticks.is_empty()).collect();
        Self { key, problems: if is_refused { missing.len() } else { 0 }, groups }
    }
}

/// Whether the pair is in its parcel as it was packed before.
fn came_back_unopened(job: &Job) -> bool {
    job.history.iter().rev().map(|event| event.kind).find(|kind| {
        [EventKind::Packed, EventKind::ReturnedUnopened, EventKind::ReturnedOpened, EventKind::ParcelLost]
            .contains(kind)
    }) == Some(EventKind::ReturnedUnopened)
}

/// A form of this page that was wrong.
pub(super) enum Refused {
    Impact(StepForm),
    Packing(StepForm),
}

pub(super) async fn page(state: &AppState, job: &Job, refused: Option<Refused>) -> Result<PackingPage, WebError> {
    let (impact, refused) = match refused {
        Some(Refused::Impact(form)) => (Some(form), None),
        Some(Refused::Packing(form)) => (None, Some(form)),
        None => (None, None),
    };
    let (number, reached) = (job.number, job.stage());
    let done = match job.last(EventKind::Packed).filter(|_| matches!(reached, Stage::Packed | Stage::Sent)) {
        Some(event) => Some(Packed {
            at: words::moment(&state.clock.local(event.at)),
            ticks: state.store.find_packing(number).await?.unwrap_or_default(),
        }),
        None => None,
    };
    let is_refused = refused.is_some();
    let list = match Step::Packing.refusal(job) {
        None => {
            let StepForm { key, mut form } = StepForm::again_or_open(refused, state, job, Step::Packing).await?;
            if came_back_unopened(job) && form.fields().is_empty() {
                let before = state.store.find_packing(number).await?.unwrap_or_default();
                let ticked = ITEMS.into_iter().filter(|item| before.iter().any(|words| words == item.words));
                form.replace(PackingForm::TICK, ticked.map(|item| item.key.to_owned()).collect());
            }
            Some(PackingList::of(key, Parcel::of(job), &form, is_refused))
        }
        Some(_) => None,
    };
    let newest = list_checks(state, number).await?.pop().filter(|_| job.is_check_current());
    Ok(PackingPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "packing", state),
        number,
        to_correct: came_back_unopened(job).then(|| {
            let recipient = job.other_recipient().unwrap_or(&job.customer);
            format!("/customers/{}/details", recipient.id)
        }),
        lenses_only: Parcel::of(job) == Parcel::LensesOnly,
        awaits_frame: job.awaits_own_frame(),
        not_yet: job.not_yet(Stage::Checked),
        concession: newest.and_then(|check| check.kept.reason),
        impact: ImpactSection::of(state, job, impact).await?,
        done,
        list,
        can_print: job.not_yet(Stage::Checked).is_none(),
        outside: OUTSIDE,
    })
}

pub(crate) async fn show_packing(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    show(&page(&state, &job, None).await?)
}

pub(crate) async fn create_packing(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let post = JobPost::read(&state, number, Step::Packing, fields).await?;
    match PackingForm::read(&post.form, Parcel::of(&post.job)) {
        Ok(PackingForm { ticks }) => {
            let done = state.store.insert_packing(&post.act, number, &ticks, state.clock.now()).await?;
            post.goes_on(&state, done).await
        }
        Err(PackingError::Missing(_)) => {
            show_again(&page(&state, &post.job.clone(), Some(Refused::Packing(post.refused()))).await?)
        }
        Err(why @ PackingError::Unknown(_)) => Err(WebError::Malformed(format!("{why}."))),
    }
}

/// The list as it was gone through.
struct PackingForm {
    /// Each thing that was ticked, as a sentence.
    ticks: Vec<String>,
}

impl PackingForm {
    const TICK: &str = "tick";

    fn read(form: &Form, parcel: Parcel) -> Result<Self, PackingError> {
        let ticked: Vec<&str> = form.values(Self::TICK).collect();
        Ok(Self { ticks: check_ticks(parcel, &ticked)?.into_iter().map(str::to_owned).collect() })
    }
}

/// The sheet goes into the parcel before the list is done, so it prints from the check on.
pub(crate) async fn print_packing_sheet(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    if let Some(why) = job.not_yet(Stage::Checked) {
        return Err(WebError::OutOfTurn(why));
    }
    let check = check_summary(&state, &job).await?;
    let packed_on = match job.last(EventKind::Packed) {
        Some(event) if job.stage() >= Stage::Packed => state.clock.local(event.at).date(),
        _ => state.clock.today(),
    };
    let lab = state.lab();
    show(&PackingSheet::of(&PackingFacts {
        lab: &lab,
        job_number: number,
        person: &job.customer.person,
        recipient: job.other_recipient().map(|recipient| &recipient.person),
        frame: &job.frame.details,
        lenses_only: job.frame_stays(),
        eyes: Pair::new(job.eye_words(Eye::Right), job.eye_words(Eye::Left)),
        single: job.single_eye(),
        wear_words: wear_words(&state, &job).await?,
        made_for: job.made_for,
        material: &job.material.details,
        design: job.design,
        coating: job.coating.as_ref().map(|t| &t.details),
        second_coating: job.second_coating.as_ref().map(|t| &t.details),
        tint: job.tint.as_ref().map(|t| &t.details),
        is_impact_proven: job.is_impact_proven(),
        packed_on,
        check,
    }))
}
