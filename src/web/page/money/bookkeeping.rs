//! Files for a bookkeeper: the receipts, payments or bill lines of a period, as CSV.

use askama::Template;
use axum::body::{Body, Bytes};
use axum::extract::{Path, Query, State};
use http_body_util::channel::Channel;
use serde::Deserialize;
use time::Date;

use crate::desk::bookkeeping::{ChargeLine, FileLine, PaymentLine, ReceiptFileLine};
use crate::desk::csv::add_line;
use crate::desk::takings::Period;
use crate::store::{Store, StoreError};
use crate::web::download::{CSV, download};
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
pub(crate) async fn save_file(
    State(state): State<AppState>,
    Path(name): Path<String>,
    Query(asked): Query<AskedDays>,
) -> PageResult {
    let mut form = Form::of([(FROM, asked.from.unwrap_or_default()), (TO, asked.to.unwrap_or_default())]);
    let Some((from, to)) = read_days(&mut form) else {
        return show_again(&page(&state, form));
    };
    let Some(file) = File::named(&name) else { return Err(WebError::NotFound("This file".to_owned())) };
    let first = file.begin() + &file.lines(&state.store, from).await?;
    let body = send(first, file, state.store.clone(), from, to);
    let name = format!("{}-to-{}-{name}", words::iso(&from), words::iso(&to));
    Ok(download(&name, CSV, body))
}

#[derive(Debug, Clone, Copy)]
enum File {
    Receipts,
    Payments,
    Charges,
}

impl File {
    fn named(name: &str) -> Option<Self> {
        match name {
            "receipts.csv" => Some(Self::Receipts),
            "payments.csv" => Some(Self::Payments),
            "charges.csv" => Some(Self::Charges),
            _ => None,
        }
    }

    /// The mark that tells a spreadsheet that the text is UTF-8, and the names of the columns.
    fn begin(self) -> String {
        let names = match self {
            Self::Receipts => ReceiptFileLine::COLUMNS,
            Self::Payments => PaymentLine::COLUMNS,
            Self::Charges => ChargeLine::COLUMNS,
        };
        let mut text = "\u{feff}".to_owned();
        add_line(&mut text, |line| names.iter().for_each(|name| line.text(name)));
        text
    }

    async fn lines(self, store: &Store, day: Date) -> Result<String, StoreError> {
        Ok(match self {
            Self::Receipts => text(&store.list_receipt_lines(day).await?),
            Self::Payments => text(&store.list_payment_lines(day).await?),
            Self::Charges => text(&store.list_charge_lines(day).await?),
        })
    }
}

fn text<Line: FileLine>(lines: &[Line]) -> String {
    let mut text = String::new();
    for one in lines {
        add_line(&mut text, |line| one.write(line));
    }
    text
}

/// How many days are read before the browser has taken them.
const DAYS_AHEAD: usize = 4;

/// Sends a file a day at a time: two years of a busy lab are too much to hold in memory. Where a day cannot be read, the
/// connection is broken off, so that the browser does not take a part for the whole.
fn send(first: String, file: File, store: Store, from: Date, to: Date) -> Body {
    let (mut parts, body) = Channel::<Bytes, StoreError>::new(DAYS_AHEAD);
    tokio::spawn(async move {
        let later = std::iter::successors(from.next_day(), |day| day.next_day()).take_while(|day| *day <= to);
        if parts.send_data(first.into()).await.is_err() {
            return;
        }
        for day in later {
            let lines = match file.lines(&store, day).await {
                Ok(lines) => lines,
                Err(why) => {
                    tracing::error!("a file for the bookkeeper ends before {day}: {why}");
                    return parts.abort(why);
                }
            };
            // An error: the browser has gone.
            if !lines.is_empty() && parts.send_data(lines.into()).await.is_err() {
                return;
            }
        }
    });
    Body::new(body)
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
