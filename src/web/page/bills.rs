//! The bill of a job: its lines, what came in, and the receipts issued for it.

use askama::Template;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::job_bar::JobBar;
use super::job_step::JobStep;
use super::payments::kind_words;
use super::receipts::{document, says_the_same};
use super::{Chrome, PageResult, draft_of, form_key, show};
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::payment::PaymentKind;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "bills/show.html")]
pub(super) struct BillPage {
    chrome: Chrome,
    bar: JobBar,
    number: i64,
    lines: Vec<BillLine>,
    total: String,
    payments: Vec<(String, String, String)>,
    owed: String,
    is_owed: bool,
    is_overpaid: bool,
    receipts: Vec<Issued>,
    corrects: Option<i64>,
    is_changed: bool,
    has_tax_id: bool,
    is_sent: bool,
    receipt_key: String,
    form: Form,
    payment_key: String,
    problems: usize,
    already: bool,
    kinds: Vec<(&'static str, &'static str)>,
}

/// A line of the bill.
struct BillLine {
    what: String,
    code: String,
    descriptor: String,
    modifier: String,
    amount: String,
}

/// A receipt in the list.
struct Issued {
    number: i64,
    on: String,
    total: String,
    balance: String,
    corrects: Option<i64>,
}

/// The page of the bill; `refused` is a form of a payment that was wrong.
pub(super) async fn page(state: &AppState, step: &JobStep, refused: Option<Form>) -> Result<BillPage, WebError> {
    let number = step.job.number;
    let bill = document(state, step).await?;
    let receipts = state.store.list_receipts(number).await?;
    let payment_key = form_key("payment", number, step.count(EventKind::Paid));
    let mut form = match refused {
        Some(form) => form,
        None => draft_of(state, &payment_key).await?,
    };
    form.set_default("kind", PaymentKind::Card.key());
    form.set_default("paid_on", words::iso(&state.clock.today()));
    if bill.balance_cents > Cents::ZERO {
        form.set_default("amount", bill.balance_cents.plain());
    }
    Ok(BillPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(&step.job, "bill", state),
        number,
        lines: bill
            .lines
            .iter()
            .map(|line| BillLine {
                what: line.what.clone(),
                code: line.code.clone(),
                descriptor: line.descriptor.clone(),
                modifier: line.modifier.clone(),
                amount: line.amount_cents.to_string(),
            })
            .collect(),
        total: bill.total_cents.to_string(),
        payments: bill
            .payments
            .iter()
            .map(|paid| (words::day(&paid.on), paid.how.clone(), paid.amount_cents.to_string()))
            .collect(),
        owed: if bill.balance_cents.is_negative() { -bill.balance_cents } else { bill.balance_cents }.to_string(),
        is_owed: bill.balance_cents > Cents::ZERO,
        is_overpaid: bill.balance_cents.is_negative(),
        is_changed: receipts.first().is_none_or(|newest| !says_the_same(&bill, &newest.document)),
        receipt_key: form_key("receipt", number, receipts.len() as i64),
        corrects: receipts.first().map(|newest| newest.number),
        receipts: receipts
            .into_iter()
            .map(|receipt| Issued {
                number: receipt.number,
                on: words::day(&receipt.document.issued_on),
                total: receipt.document.total_cents.to_string(),
                balance: receipt.document.balance_cents.to_string(),
                corrects: receipt.corrects,
            })
            .collect(),
        has_tax_id: !state.lab().tax_id.is_empty(),
        is_sent: step.job.sent_on.is_some(),
        problems: form.count_errors(),
        already: false,
        form,
        payment_key,
        kinds: PaymentKind::ALL.iter().map(|&kind| (kind.key(), kind_words(kind))).collect(),
    })
}

#[derive(Deserialize)]
pub(crate) struct BillQuery {
    already: Option<String>,
}

pub(crate) async fn show_bill(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<BillQuery>,
) -> PageResult {
    let step = JobStep::read(&state, number).await?;
    show(&BillPage { already: asked.already.is_some(), ..page(&state, &step, None).await? })
}
