//! The bill of a job: its lines, what came in, and the receipts issued for it.

use askama::Template;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::job_bar::JobBar;
use super::job_post::StepForm;
use super::payments::{PaymentForm, kind_words};
use super::receipts::{document, says_the_same};
use super::{Chrome, PageResult, form_key, show};
use crate::desk::job::Job;
use crate::desk::money::Cents;
use crate::desk::payment::PaymentKind;
use crate::desk::step::Step;
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
pub(super) async fn page(state: &AppState, job: &Job, refused: Option<StepForm>) -> Result<BillPage, WebError> {
    let number = job.number;
    let bill = document(state, job).await?;
    let receipts = state.store.list_receipts(number).await?;
    let StepForm { key: payment_key, mut form } = StepForm::again_or_open(refused, state, job, Step::Payment).await?;
    form.set_default(PaymentForm::KIND, PaymentKind::Card.key());
    form.set_default(PaymentForm::PAID_ON, words::iso(&state.clock.today()));
    if bill.balance_cents > Cents::ZERO {
        form.set_default(PaymentForm::AMOUNT, bill.balance_cents.plain());
    }
    Ok(BillPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "bill", state),
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
        receipt_key: form_key(Step::Receipt.key(), number, Step::Receipt.count(job)),
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
        is_sent: job.sent_on.is_some(),
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
    let job = state.store.get_job(number).await?;
    show(&BillPage { already: asked.already.is_some(), ..page(&state, &job, None).await? })
}
