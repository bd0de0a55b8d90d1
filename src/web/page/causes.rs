//! Remakes and spoilage in a year: spoiled lenses and remakes by month and by cause, and what was learned.

use askama::Template;
use axum::extract::{Query, State};
use serde::Deserialize;
use time::{Date, Duration, Month, OffsetDateTime, Time};

use super::{Chrome, PageResult, show};
use crate::desk::causes::{Mishap, Tally, YearOfCauses};
use crate::store::remake::Lesson;
use crate::web::error::WebError;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "causes/show.html")]
struct CausesPage {
    chrome: Chrome,
    year: i32,
    earlier: i32,
    later: Option<i32>,
    whole: CauseRow,
    months: Vec<CauseRow>,
    causes: Vec<CauseRow>,
    lessons: Vec<LessonRow>,
}

/// How often, in words.
struct CauseRow {
    name: String,
    spoiled: u32,
    remade: u32,
    sent: u32,
    /// Remakes for each hundred jobs sent; empty where none was sent.
    rate: String,
}

struct LessonRow {
    job: i64,
    day: String,
    cause: &'static str,
    says: String,
}

impl CauseRow {
    fn of(name: impl Into<String>, tally: Tally, sent: u32) -> Self {
        let rate = tally.remake_rate(sent).map(|rate| format!("{rate:.1}")).unwrap_or_default();
        Self { name: name.into(), spoiled: tally.spoiled, remade: tally.remade, sent, rate }
    }
}

#[derive(Deserialize)]
pub(crate) struct CausesQuery {
    year: Option<i32>,
}

pub(crate) async fn show_causes(State(state): State<AppState>, Query(asked): Query<CausesQuery>) -> PageResult {
    let this_year = state.clock.today().year();
    let year = asked.year.unwrap_or(this_year);
    if !(2000..=this_year).contains(&year) {
        return Err(WebError::NotFound(format!("The year {year}")));
    }
    let (from, before) = (moment(year, -1)?, moment(year + 1, 1)?);
    let local = |at: OffsetDateTime| state.clock.local(at).date();
    let mishaps: Vec<Mishap> = state
        .store
        .list_mishaps(from, before)
        .await?
        .into_iter()
        .map(|(kind, cause, at)| Mishap { kind, cause, on: local(at) })
        .collect();
    let lessons = state.store.list_lessons(from, before).await?;
    let counted = YearOfCauses::of(year, &mishaps, &state.store.count_sent(year).await?);
    let (tally, sent) = counted.whole();
    show(&CausesPage {
        chrome: Chrome::new(&state, "lab"),
        year,
        earlier: year - 1,
        later: (year < this_year).then_some(year + 1),
        whole: CauseRow::of("The whole year", tally, sent),
        months: counted
            .months
            .iter()
            .map(|(month, tally, sent)| CauseRow::of(month.to_string(), *tally, *sent))
            .collect(),
        causes: counted.causes.iter().map(|(cause, tally)| CauseRow::of(cause.words(), *tally, 0)).collect(),
        lessons: lessons.into_iter().filter(|lesson| local(lesson.at).year() == year).map(|l| row(l, &local)).collect(),
    })
}

fn row(lesson: Lesson, local: &impl Fn(OffsetDateTime) -> Date) -> LessonRow {
    let Lesson { job, cause, says, at } = lesson;
    LessonRow { job, day: words::day(&local(at)), cause: cause.words(), says }
}

/// The first moment of a year in UTC, some days off: what lies outside the year by the clock on the wall is left out later.
fn moment(year: i32, days: i64) -> Result<OffsetDateTime, WebError> {
    let first = Date::from_calendar_date(year, Month::January, 1);
    let first = first.map_err(|why| WebError::Internal(format!("a year without a first day: {why}")))?;
    Ok(OffsetDateTime::new_utc(first, Time::MIDNIGHT) + Duration::days(days))
}
