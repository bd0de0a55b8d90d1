//! What came in, went back and was billed: years, the months of a year, the days of a month, one day.

use askama::Template;
use axum::extract::{Query, State};
use serde::Deserialize;

use crate::desk::payment::PaymentKind;
use crate::desk::takings::{MovedMoney, Period, PeriodSpan, Takings};
use crate::web::error::WebError;
use crate::web::page::{Chrome, PageResult, show};
use crate::web::{AppState, words};

/// How many payments of a day the page shows.
const MOST: i64 = 500;

#[derive(Template)]
#[template(path = "money/takings.html")]
struct TakingsPage {
    chrome: Chrome,
    part: &'static str,
    heading: String,
    /// The longer period: key and words; the years have an empty key.
    up: Option<(String, String)>,
    first_column: &'static str,
    kinds: Vec<String>,
    rows: Vec<TakingsRow>,
    total: TakingsRow,
    /// Of one day.
    payments: Vec<PaymentRow>,
    is_day: bool,
}

/// A period in the table.
struct TakingsRow {
    /// Where its parts are shown.
    key: String,
    words: String,
    /// What stays of each kind, and what went back of it where something did.
    kinds: Vec<(String, Option<String>)>,
    kept: String,
    refunded: Option<String>,
    billed: String,
    tax: String,
}

struct PaymentRow {
    job_number: i64,
    patient: String,
    kind: String,
    amount: String,
    reason: String,
}

#[derive(Deserialize)]
pub(crate) struct AskedPeriod {
    of: Option<String>,
}

pub(crate) async fn show_takings(State(state): State<AppState>, Query(asked): Query<AskedPeriod>) -> PageResult {
    let today = state.clock.today();
    // Empty for all years.
    let asked = asked.of.unwrap_or_else(|| Period::month_of(today).key());
    let period = match asked.as_str() {
        "" => None,
        text => Some(Period::read(text).ok_or_else(|| WebError::NotFound("This period".to_owned()))?),
    };
    let (span, from, to) = parts_of(period);
    let parts = state.store.list_takings(span, &from, &to).await?;
    let mut total = Takings::default();
    parts.values().for_each(|part| total.add(part));
    let kinds: Vec<PaymentKind> =
        PaymentKind::ALL.iter().copied().filter(|kind| total.by_kind.contains_key(kind.key())).collect();
    let is_day = period.is_some_and(|period| period.span() == PeriodSpan::Day);
    // The newest first, as a book is opened.
    let rows = parts.iter().rev().filter_map(|(key, part)| Some(row(Period::read(key)?, part, &kinds)));
    show(&TakingsPage {
        chrome: Chrome::new(&state, "money"),
        part: "takings",
        heading: period.map_or("Income by year".to_owned(), |period| format!("Income, {}", period.words())),
        up: period.map(|period| match period.holder() {
            Some(holder) => (holder.key(), holder.words()),
            None => (String::new(), "all years".to_owned()),
        }),
        first_column: match span {
            PeriodSpan::Day => "Day",
            PeriodSpan::Month => "Month",
            PeriodSpan::Year => "Year",
        },
        rows: rows.collect(),
        total: TakingsRow { words: "Total".to_owned(), ..of(&total, &kinds) },
        kinds: kinds.iter().map(|kind| words::capital(kind.words())).collect(),
        payments: payments(&state, period.filter(|_| is_day)).await?,
        is_day,
    })
}

/// Into what a period is divided, and its first and last part.
fn parts_of(period: Option<Period>) -> (PeriodSpan, String, String) {
    let Some(period) = period else { return (PeriodSpan::Year, "0000".to_owned(), "9999".to_owned()) };
    let (first, last) = period.days();
    let span = match period.span() {
        PeriodSpan::Year => PeriodSpan::Month,
        PeriodSpan::Month | PeriodSpan::Day => PeriodSpan::Day,
    };
    let digits = if span == PeriodSpan::Month { 7 } else { 10 };
    (span, words::iso(&first)[..digits].to_owned(), words::iso(&last)[..digits].to_owned())
}

fn row(period: Period, takings: &Takings, kinds: &[PaymentKind]) -> TakingsRow {
    TakingsRow { key: period.key(), words: period.words(), ..of(takings, kinds) }
}

fn of(takings: &Takings, kinds: &[PaymentKind]) -> TakingsRow {
    let refunded =
        |moved: MovedMoney| Some(moved.refunded).filter(|cents| cents.cents() != 0).map(|cents| cents.to_string());
    let moved = takings.moved();
    TakingsRow {
        key: String::new(),
        words: String::new(),
        kinds: kinds
            .iter()
            .map(|kind| takings.by_kind.get(kind.key()).copied().unwrap_or_default())
            .map(|moved| (moved.kept().to_string(), refunded(moved)))
            .collect(),
        kept: moved.kept().to_string(),
        refunded: refunded(moved),
        billed: takings.billed.to_string(),
        tax: takings.tax.to_string(),
    }
}

/// The payments of a day.
async fn payments(state: &AppState, day: Option<Period>) -> Result<Vec<PaymentRow>, WebError> {
    let Some(day) = day else { return Ok(Vec::new()) };
    let kept = state.store.list_payments_of_day(day.days().0, MOST).await?;
    let rows = kept.into_iter().map(|row| PaymentRow {
        job_number: row.job_number,
        patient: row.patient,
        kind: row.payment.kind.words().to_owned(),
        amount: row.payment.amount.to_string(),
        reason: row.reason,
    });
    Ok(rows.collect())
}
