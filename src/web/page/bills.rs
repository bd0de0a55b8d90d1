//! The bill of a job: its lines, what came in, and the receipts issued for it.

use askama::Template;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::job_bar::JobBar;
use super::job_post::StepForm;
use super::payments::{PaymentForm, kind_choices};
use super::receipts::{document, says_the_same};
use super::{Chrome, PageResult, form_key, show};
use crate::desk::account::{Account, BillLine, BookedPayment};
use crate::desk::job::Job;
use crate::desk::money::Cents;
use crate::desk::payment::{Payment, PaymentKind};
use crate::desk::procedure_code;
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
    lines: Vec<PrintedBillLine>,
    total: String,
    payments: Vec<MoneyLine>,
    owed: String,
    is_owed: bool,
    is_overpaid: bool,
    has_payment: bool,
    receipts: Vec<Issued>,
    corrects: Option<i64>,
    is_changed: bool,
    /// Whether the newest receipt says what was prescribed.
    has_prescription: bool,
    has_tax_id: bool,
    is_sent: bool,
    receipt_key: String,
    form: Form,
    payment_key: String,
    problems: usize,
    already: bool,
    kinds: Vec<(&'static str, String)>,
}

/// A line of the bill.
struct PrintedBillLine {
    seq: i64,
    what: String,
    code: String,
    descriptor: &'static str,
    modifier: &'static str,
    amount: String,
    /// When and why it was added or taken back, for a line after the order.
    change: String,
    /// Whether it counts and may be taken back.
    stands: bool,
}

/// Money that came in or went back.
struct MoneyLine {
    what: String,
    reason: String,
    amount: String,
}

fn printed_line(account: &Account, line: &BillLine) -> PrintedBillLine {
    let on = words::day(&line.charged_on);
    let change = match (line.reverses, line.reason.as_str()) {
        (Some(_), why) => format!("reversed {on}: {why}"),
        (None, "") => String::new(),
        (None, why) => format!("added {on}: {why}"),
    };
    PrintedBillLine {
        seq: line.seq,
        what: line.charge.what.clone(),
        code: line.charge.code.clone(),
        descriptor: procedure_code::descriptor(&line.charge.code).unwrap_or_default(),
        modifier: line.charge.eye.map(procedure_code::modifier).unwrap_or_default(),
        amount: line.charge.amount.to_string(),
        change,
        stands: account.stands(line),
    }
}

fn money_line(booked: &BookedPayment) -> MoneyLine {
    let Payment { kind, amount, paid_on } = booked.payment;
    let moved = if amount.is_negative() { "Refunded" } else { "Received" };
    let what = format!("{moved} {}, {}", words::day(&paid_on), kind.words());
    MoneyLine { what, reason: booked.reason.clone(), amount: amount.to_string() }
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
    let account = state.store.get_account(number).await?;
    let bill = document(state, job, &account, false);
    let owed = account.owed();
    let receipts = state.store.list_receipts(number).await?;
    let StepForm { key: payment_key, mut form } = StepForm::again_or_open(refused, state, job, Step::Payment).await?;
    form.set_default(PaymentForm::KIND, PaymentKind::Card.key());
    form.set_default(PaymentForm::PAID_ON, words::iso(&state.clock.today()));
    if owed > Cents::ZERO {
        form.set_default(PaymentForm::AMOUNT, owed.plain());
    }
    Ok(BillPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "bill", state),
        number,
        lines: account.lines.iter().map(|line| printed_line(&account, line)).collect(),
        total: account.billed().to_string(),
        payments: account.payments_by_day().into_iter().map(money_line).collect(),
        owed: if owed.is_negative() { -owed } else { owed }.to_string(),
        is_owed: owed > Cents::ZERO,
        is_overpaid: owed.is_negative(),
        has_payment: account.paid() > Cents::ZERO,
        is_changed: receipts.first().is_none_or(|newest| !says_the_same(&bill, &newest.document)),
        receipt_key: form_key(Step::Receipt.key(), number, Step::Receipt.count(job)),
        corrects: receipts.first().map(|newest| newest.number),
        has_prescription: receipts.first().is_some_and(|newest| !newest.document.eyes.is_empty()),
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
        kinds: kind_choices(),
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
