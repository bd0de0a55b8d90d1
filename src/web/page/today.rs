//! The first page: every open job by its promised date, the late ones first.

use askama::Template;
use axum::extract::State;

use super::{Chrome, PageResult, show};
use crate::desk::deadline::Lateness;
use crate::desk::job::{Failure, JobLine};
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "today/show.html")]
struct TodayPage {
    chrome: Chrome,
    today: String,
    late: usize,
    rows: Vec<TodayRow>,
}

struct TodayRow {
    number: i64,
    customer: String,
    frame: String,
    promised: String,
    lateness: String,
    is_late: bool,
    is_soon: bool,
    stage: &'static str,
    failure: Option<&'static str>,
    next: &'static str,
}

impl TodayRow {
    fn of(line: JobLine, today: time::Date) -> Self {
        let lateness = Lateness::of(line.promised_on, false, today);
        Self {
            number: line.number,
            customer: line.customer,
            frame: line.frame,
            promised: words::weekday(&line.promised_on),
            is_late: lateness.is_late(),
            is_soon: matches!(lateness, Lateness::DueToday | Lateness::DueSoon(_)),
            lateness: lateness.words(),
            stage: line.stage.words(),
            failure: line.failure.map(Failure::words),
            next: line.stage.next().map_or("", |next| next.words),
        }
    }
}

pub(crate) async fn show_today(State(state): State<AppState>) -> PageResult {
    let today = state.clock.today();
    // The store gives them by promised date, so the late ones stand first by themselves.
    let rows: Vec<TodayRow> =
        state.store.list_open_jobs().await?.into_iter().map(|line| TodayRow::of(line, today)).collect();
    show(&TodayPage {
        chrome: Chrome::new(&state, "today"),
        today: words::weekday(&today),
        late: rows.iter().filter(|r| r.is_late).count(),
        rows,
    })
}
