//! Files for a bookkeeper: the receipts, payments or bill lines of a period, as CSV.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::IntoResponse;
use serde::Deserialize;
use time::Date;

use crate::desk::csv::csv;
use crate::desk::takings::Period;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::page::{Chrome, PageResult, show, show_again};
use crate::web::{AppState, words};

/// The longest period of one file.
const MOST_DAYS: i64 = 2 * 366;

#[derive(Template)]
#[template(path = "money/bookkeeping.html")]
struct BookkeepingPage {
    chrome: Chrome,
    part: &'static str,
    form: Form,
}

#[derive(Deserialize)]
pub(crate) struct AskedDays {
    from: Option<String>,
    to: Option<String>,
}

const FROM: &str = "from";
const TO: &str = "to";

fn page(state: &AppState, form: Form) -> BookkeepingPage {
    BookkeepingPage { chrome: Chrome::new(state, "money"), part: "bookkeeping", form }
}

/// Last month stands ready: a bookkeeper asks for it when it is over.
pub(crate) async fn ask_period(State(state): State<AppState>) -> PageResult {
    let (first, _) = Period::month_of(state.clock.today()).days();
    let (from, to) = Period::month_of(first.previous_day().unwrap_or(first)).days();
    show(&page(&state, Form::of([(FROM, words::iso(&from)), (TO, words::iso(&to))])))
}

/// The file `receipts.csv`, `payments.csv` or `charges.csv`.
pub(crate) async fn download(
    State(state): State<AppState>,
    Path(file): Path<String>,
    Query(asked): Query<AskedDays>,
) -> PageResult {
    let mut form = Form::of([(FROM, asked.from.unwrap_or_default()), (TO, asked.to.unwrap_or_default())]);
    let Some((from, to)) = read_days(&mut form) else {
        return show_again(&page(&state, form));
    };
    let store = &state.store;
    let rows = match file.as_str() {
        "receipts.csv" => store.list_receipt_rows(from, to).await?,
        "payments.csv" => store.list_payment_rows(from, to).await?,
        "charges.csv" => store.list_charge_rows(from, to).await?,
        _ => return Err(WebError::NotFound("This file".to_owned())),
    };
    let name = format!("attachment; filename=\"{}-to-{}-{file}\"", words::iso(&from), words::iso(&to));
    // The mark at the beginning tells a spreadsheet that the text is UTF-8.
    let text = format!("\u{feff}{}", csv(rows));
    let headers = [(header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()), (header::CONTENT_DISPOSITION, name)];
    Ok((headers, text).into_response())
}

fn read_days(form: &mut Form) -> Option<(Date, Date)> {
    let (from, to) = (form.read(FROM, words::parse_day), form.read(TO, words::parse_day));
    let (from, to) = (from?, to?);
    if to < from {
        form.fail(TO, "This lies before the first day");
        return None;
    }
    if (to - from).whole_days() >= MOST_DAYS {
        form.fail(TO, "One file holds at most two years: choose a shorter period");
        return None;
    }
    Some((from, to))
}
