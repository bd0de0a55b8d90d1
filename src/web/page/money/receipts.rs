//! The receipts that were issued, the newest first, by number and by day.

use askama::Template;
use axum::extract::{Query, State};
use serde::Deserialize;
use time::Date;
use time::macros::date;

use crate::optics::notation::brief;
use crate::store::StoreError;
use crate::web::page::{Chrome, PageResult, go, show};
use crate::web::{AppState, words};

/// How many stand on a page.
const MOST: i64 = 50;
/// Before every receipt.
const BEGINNING: Date = date!(0001 - 01 - 01);

#[derive(Template)]
#[template(path = "money/receipts.html")]
struct ReceiptsPage {
    chrome: Chrome,
    part: &'static str,
    number: String,
    number_problem: Option<String>,
    from: String,
    to: String,
    from_problem: Option<String>,
    to_problem: Option<String>,
    rows: Vec<ReceiptListRow>,
    /// The address of the next page.
    older: Option<String>,
}

struct ReceiptListRow {
    number: i64,
    issued: String,
    job_number: i64,
    patient: String,
    total: String,
    balance: String,
    corrects: Option<i64>,
    corrected_by: Option<i64>,
}

#[derive(Deserialize)]
pub(crate) struct AskedReceipts {
    number: Option<String>,
    from: Option<String>,
    to: Option<String>,
    /// The last one of the page before: its day and number.
    before: Option<String>,
}

pub(crate) async fn list_receipts(State(state): State<AppState>, Query(asked): Query<AskedReceipts>) -> PageResult {
    let number = asked.number.unwrap_or_default().trim().to_owned();
    let mut number_problem = None;
    if !number.is_empty() {
        match find(&state, &number).await? {
            Some(found) => return go(&format!("/receipts/{found}")),
            None => number_problem = Some(brief(format!("No receipt has the number “{number}”"))),
        }
    }
    let (from, to) = (asked.from.unwrap_or_default(), asked.to.unwrap_or_default());
    let (first, from_problem) = read_day(&from, BEGINNING);
    let (last, to_problem) = read_day(&to, Date::MAX);
    let before = asked.before.as_deref().and_then(read_place).unwrap_or((last, i64::MAX));
    let kept = state.store.list_receipts_before(before, first, MOST + 1).await?;
    let rows: Vec<ReceiptListRow> = kept
        .iter()
        .take(MOST as usize)
        .map(|receipt| ReceiptListRow {
            number: receipt.number,
            issued: words::day(&receipt.issued_on),
            job_number: receipt.job_number,
            patient: receipt.patient.clone(),
            total: receipt.total.to_string(),
            balance: (receipt.total - receipt.paid).to_string(),
            corrects: receipt.corrects,
            corrected_by: receipt.corrected_by,
        })
        .collect();
    let is_more = kept.len() > rows.len();
    let older = kept
        .get(rows.len().saturating_sub(1))
        .filter(|_| is_more)
        .map(|last| format!("/money/receipts?from={from}&before={}_{}", words::iso(&last.issued_on), last.number));
    show(&ReceiptsPage {
        chrome: Chrome::new(&state, "money"),
        part: "receipts",
        number,
        number_problem,
        // A day that cannot be read is shown as typed, and no link carries it.
        older: older.filter(|_| from_problem.is_none() && to_problem.is_none()),
        from,
        to,
        from_problem,
        to_problem,
        rows,
    })
}

/// A day that was typed, or the usual one and what is wrong.
fn read_day(text: &str, usual: Date) -> (Date, Option<String>) {
    match words::parse_day(text) {
        Ok(day) => (day, None),
        Err(_) if text.trim().is_empty() => (usual, None),
        Err(why) => (usual, Some(brief(why))),
    }
}

async fn find(state: &AppState, number: &str) -> Result<Option<i64>, StoreError> {
    let Ok(number) = number.parse() else { return Ok(None) };
    match state.store.get_receipt(number).await {
        Ok(receipt) => Ok(Some(receipt.number)),
        Err(StoreError::NotFound(_)) => Ok(None),
        Err(why) => Err(why),
    }
}

/// A day and a number, `2026-11-25_5012`.
fn read_place(text: &str) -> Option<(Date, i64)> {
    let (day, number) = text.split_once('_')?;
    Some((words::parse_day(day).ok()?, number.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_the_place_of_a_receipt() {
        assert_eq!(read_place("2026-11-25_5012"), Some((date!(2026 - 11 - 25), 5012)));
        for wrong in ["", "2026-11-25", "2026-11-25_x", "then_5"] {
            assert_eq!(read_place(wrong), None, "{wrong}");
        }
    }
}
