//! Money: who owes what since when, and the pages beside it.

use askama::Template;
use axum::extract::State;

use super::{Chrome, PageResult, show};
use crate::desk::open_balance::{Debtor, OpenBalance, by_payer};
use crate::web::{AppState, words};

pub mod bookkeeping;
pub mod receipts;
pub mod reminders;
pub mod takings;

/// How many open jobs the page shows.
const MOST: i64 = 200;

#[derive(Template)]
#[template(path = "money/show.html")]
struct MoneyPage {
    chrome: Chrome,
    part: &'static str,
    owed: String,
    jobs: i64,
    shown: usize,
    has_more: bool,
    debtors: Vec<DebtorRow>,
    to_give_back: Vec<OpenJobRow>,
}

/// A person who owes.
struct DebtorRow {
    id: String,
    name: String,
    owed: String,
    /// When they were last reminded of all of it; empty for never.
    reminded: String,
    jobs: Vec<OpenJobRow>,
}

/// A job that is not settled.
struct OpenJobRow {
    number: i64,
    patient: String,
    stage: &'static str,
    since: String,
    days: i64,
    amount: String,
}

impl OpenJobRow {
    fn of(balance: &OpenBalance, today: time::Date) -> Self {
        let amount = if balance.owed.is_negative() { -balance.owed } else { balance.owed };
        Self {
            number: balance.job_number,
            patient: balance.patient_name.clone(),
            stage: balance.stage.words(),
            since: words::day(&balance.since),
            days: (today - balance.since).whole_days(),
            amount: amount.to_string(),
        }
    }
}

impl DebtorRow {
    fn of(debtor: &Debtor, state: &AppState) -> Self {
        let today = state.clock.today();
        Self {
            id: debtor.payer.to_string(),
            name: debtor.name.clone(),
            owed: debtor.owed().to_string(),
            reminded: reminded_words(state, debtor),
            jobs: debtor.jobs.iter().map(|job| OpenJobRow::of(job, today)).collect(),
        }
    }
}

/// The day of a debtor's last reminder; empty for never.
fn reminded_words(state: &AppState, debtor: &Debtor) -> String {
    debtor.reminded_at().map(|at| words::day(&state.clock.local(at).date())).unwrap_or_default()
}

pub(crate) async fn show_money(State(state): State<AppState>) -> PageResult {
    let today = state.clock.today();
    let (jobs, owed) = state.store.sum_owed().await?;
    let balances = state.store.list_owed(MOST).await?;
    let to_give_back = state.store.list_to_give_back(MOST).await?;
    show(&MoneyPage {
        chrome: Chrome::new(&state, "money"),
        part: "owed",
        owed: owed.to_string(),
        jobs,
        shown: balances.len(),
        has_more: i64::try_from(balances.len()).is_ok_and(|shown| shown < jobs),
        debtors: by_payer(balances).iter().map(|debtor| DebtorRow::of(debtor, &state)).collect(),
        to_give_back: to_give_back.iter().map(|balance| OpenJobRow::of(balance, today)).collect(),
    })
}
