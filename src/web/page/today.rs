//! The first page: the whole day. Open jobs by what is done next, the nearest to the door first, and orders that were
//! begun and wait for something.

use askama::Template;
use axum::extract::State;

use super::orders::OrderForm;
use super::promise::{DutyRow, list_duties};
use super::{Chrome, PageResult, show};
use crate::desk::deadline::Lateness;
use crate::desk::job::{Failure, JobLine, Stage};
use crate::desk::lab::Lab;
use crate::desk::money::Cents;
use crate::desk::parcel_return::ReturnCondition;
use crate::desk::unfinished::{Missing, question};
use crate::store::draft::OrderDraft;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

mod lenses;
use lenses::LensWaits;

/// How many orders that were begun are listed.
const MOST_UNFINISHED: i64 = 20;

#[derive(Template)]
#[template(path = "today/show.html")]
struct TodayPage {
    chrome: Chrome,
    today: String,
    open: usize,
    late: usize,
    groups: Vec<StepGroup>,
    unfinished: Vec<Unfinished>,
    duties: Vec<DutyRow>,
    has_duties_in_time: bool,
    to_buy: usize,
    expected: i64,
    is_expected_late: bool,
    /// What customers owe, and on how many jobs; `None` for nothing.
    owed: Option<(String, String)>,
}

/// Jobs with the same next step.
struct StepGroup {
    id: &'static str,
    words: &'static str,
    is_failed: bool,
    rows: Vec<TodayRow>,
}

/// What is done next, the nearest to the door first: the stage that a job leaves by it, and words for the group.
const GROUPS: [(Stage, &str, &str); 6] = [
    (Stage::Packed, "send", "To send"),
    (Stage::Checked, "pack", "To align, clean and pack"),
    (Stage::Cut, "check", "To check"),
    (Stage::LensesInHand, "cut", "To lay out and cut"),
    (Stage::ShapeOnFile, "lenses", "To take lenses in hand"),
    (Stage::Taken, "trace", "To trace"),
];

struct TodayRow {
    number: i64,
    /// The page of the next step.
    path: String,
    next: &'static str,
    customer: String,
    frame: String,
    promised: String,
    lateness: String,
    is_late: bool,
    is_soon: bool,
    failure: Option<&'static str>,
    /// What its lenses wait for.
    lenses: Option<String>,
    /// What became of its parcel, and what is to be done.
    came_back: Option<&'static str>,
    is_lost: bool,
}

impl TodayRow {
    fn of(line: &JobLine, waits: &LensWaits, today: time::Date) -> Self {
        let lateness = Lateness::of(line.promised_on, false, today);
        let next = line.stage.next();
        Self {
            number: line.number,
            path: next.map_or_else(|| format!("/jobs/{}", line.number), |next| next.path(line.number)),
            next: next.map_or("", |next| next.words),
            customer: line.customer.clone(),
            frame: line.frame.clone(),
            promised: words::weekday(&line.promised_on),
            is_late: is_late(line, today),
            is_soon: matches!(lateness, Lateness::DueToday | Lateness::DueSoon(_)),
            lateness: if line.came_back.is_some() { String::new() } else { lateness.words() },
            failure: line.failure.map(Failure::words),
            lenses: waits.words(line.number),
            came_back: line.came_back.map(ReturnCondition::to_do),
            is_lost: line.came_back == Some(ReturnCondition::Lost),
        }
    }
}

/// An order that was begun and not taken.
struct Unfinished {
    key: String,
    name: String,
    saved: String,
    missing: String,
    /// A text to send the customer.
    question: Option<String>,
}

impl Unfinished {
    fn of(state: &AppState, lab: &Lab, draft: OrderDraft) -> Self {
        let form = Form::new(draft.fields);
        let missing = OrderForm::missing(&form);
        let name = form.value(OrderForm::CUSTOMER_NAME).trim();
        Self {
            question: question(name, &lab.name, &lab.phone, &missing),
            name: if name.is_empty() { "no name yet".to_owned() } else { name.to_owned() },
            missing: match missing.is_empty() {
                true => "nothing: look at it and take it".to_owned(),
                false => missing.iter().map(|item| Missing::words(*item)).collect::<Vec<_>>().join(", "),
            },
            saved: words::moment(&state.clock.local(draft.saved_at)),
            key: draft.key,
        }
    }
}

/// A parcel that came back had left: what was promised is done, however long ago.
fn is_late(line: &JobLine, today: time::Date) -> bool {
    line.came_back.is_none() && Lateness::of(line.promised_on, false, today).is_late()
}

fn groups(lines: &[JobLine], waits: &LensWaits, today: time::Date) -> Vec<StepGroup> {
    let is_failed = |line: &JobLine| line.failure == Some(Failure::Waits);
    let rows = |wanted: &dyn Fn(&JobLine) -> bool| -> Vec<TodayRow> {
        lines.iter().filter(|line| wanted(line)).map(|line| TodayRow::of(line, waits, today)).collect()
    };
    let failed = StepGroup { id: "failed", words: "Did not pass", is_failed: true, rows: rows(&is_failed) };
    let by_step = GROUPS.into_iter().map(|(stage, id, words)| StepGroup {
        id,
        words,
        is_failed: false,
        rows: rows(&|line| line.stage == stage && !is_failed(line)),
    });
    std::iter::once(failed).chain(by_step).filter(|group| !group.rows.is_empty()).collect()
}

/// What the page states but the orders that were begun: those change at every pause in typing.
#[derive(Debug)]
pub(in crate::web) struct Day {
    /// The open jobs by promised date, so in every group the late ones stand first by themselves.
    lines: Vec<JobLine>,
    waits: LensWaits,
    duties: Vec<DutyRow>,
    /// How many jobs are owed for, and how much.
    owed: (i64, Cents),
}

async fn read(state: &AppState, today: time::Date) -> Result<Day, WebError> {
    let (in_need, bought) = (state.store.list_eyes_in_need().await?, state.store.list_open_purchase_lines().await?);
    Ok(Day {
        lines: state.store.list_open_jobs().await?,
        waits: LensWaits::of(&in_need, &bought, today),
        duties: list_duties(state).await?,
        owed: state.store.sum_owed().await?,
    })
}

pub(crate) async fn show_today(State(state): State<AppState>) -> PageResult {
    let (today, lab) = (state.clock.today(), state.lab());
    let day = state.day.get_or_read((state.store.changes(), today), read(&state, today)).await?;
    let drafts = state.store.list_order_drafts(MOST_UNFINISHED).await?;
    let Day { lines, waits, duties, owed: (owing, owed) } = &*day;
    show(&TodayPage {
        chrome: Chrome::new(&state, "today"),
        today: words::weekday(&today),
        open: lines.len(),
        late: lines.iter().filter(|line| is_late(line, today)).count(),
        groups: groups(lines, waits, today),
        unfinished: drafts.into_iter().map(|draft| Unfinished::of(&state, &lab, draft)).collect(),
        has_duties_in_time: duties.iter().any(|duty| !duty.is_late),
        duties: duties.clone(),
        to_buy: waits.to_buy,
        expected: waits.expected,
        is_expected_late: waits.is_late,
        owed: (*owing > 0)
            .then(|| (owed.to_string(), if *owing == 1 { "one job".to_owned() } else { format!("{owing} jobs") })),
    })
}
