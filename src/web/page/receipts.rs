//! The bill, what came in, and the receipts: each is kept whole when it is issued and prints the same for ever.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::routing::{get, post};
use axum::{Form as Posted, Router};
use serde::Deserialize;
use time::Date;

use super::job_bar::JobBar;
use super::opened::Opened;
use super::{Answer, Chrome, act_of, draft_of, form_key, go, is_done, posted_job_key, show, show_again};
use crate::lab::job::Happening;
use crate::lab::money::Cents;
use crate::lab::order::{Payment, PaymentKind};
use crate::lab::receipt::{Document, Facts};
use crate::print::receipt::Receipt;
use crate::store::draft::{Fields, Once};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new()
        .route("/jobs/{number}/receipt", get(show_bill))
        .route("/jobs/{number}/payments", post(create_payment))
        .route("/jobs/{number}/receipts", post(issue_receipt))
        .route("/receipts/{number}", get(print_receipt))
}

#[derive(Template)]
#[template(path = "receipt/show.html")]
struct BillPage {
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

fn kind_words(kind: PaymentKind) -> &'static str {
    match kind {
        PaymentKind::Card => "Card",
        PaymentKind::Check => "Check",
        PaymentKind::Cash => "Cash",
        PaymentKind::Transfer => "Bank transfer",
        PaymentKind::Other => "Other",
    }
}

/// The receipt of a job as things stand now.
async fn document(state: &AppState, opened: &Opened) -> Result<Document, WebError> {
    let (job, lab) = (&opened.job, state.lab());
    let charges = state.store.list_charges(job.number).await?;
    let payments = state.store.list_payments(job.number).await?;
    let facts = Facts::of(job, &lab, &charges, &payments, state.clock.today());
    Ok(Document::new(&Facts { corrects: job.receipt, ..facts }))
}

/// Whether two receipts say the same but for their day and the one they replace.
fn says_the_same(now: &Document, before: &Document) -> bool {
    *now == Document { issued_on: now.issued_on, corrects: now.corrects, ..before.clone() }
}

async fn page(state: &AppState, opened: &Opened, refused: Option<Form>) -> Result<BillPage, WebError> {
    let number = opened.job.number;
    let bill = document(state, opened).await?;
    let receipts = state.store.list_receipts(number).await?;
    let payment_key = form_key("payment", number, opened.count(Happening::Paid));
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
        bar: JobBar::of(&opened.job, "receipt", state),
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
        is_sent: opened.job.sent_on.is_some(),
        problems: form.count_errors(),
        already: false,
        form,
        payment_key,
        kinds: PaymentKind::ALL.map(|kind| (kind.key(), kind_words(kind))).into(),
    })
}

#[derive(Deserialize)]
struct Asked {
    already: Option<String>,
}

async fn show_bill(State(state): State<AppState>, Path(number): Path<i64>, Query(asked): Query<Asked>) -> Answer {
    let opened = Opened::read(&state, number).await?;
    show(&BillPage { already: asked.already.is_some(), ..page(&state, &opened, None).await? })
}

async fn create_payment(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> Answer {
    let opened = Opened::read(&state, number).await?;
    let mut form = Form::new(fields);
    let key = posted_job_key(&form, "payment", number, opened.count(Happening::Paid));
    // Whether the money may move is judged against what moved before, so a form done already is not judged again.
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/receipt?already=payment"));
    }
    let Some(payment) = read_payment(&mut form, opened.job.paid, state.clock.today()) else {
        return show_again(&page(&state, &opened, Some(form)).await?);
    };
    match state.store.insert_payment(&act, number, &payment, state.clock.now()).await? {
        Once::Now(()) => go(&format!("/jobs/{number}/receipt")),
        Once::Before(_) => go(&format!("/jobs/{number}/receipt?already=payment")),
    }
}

fn read_payment(form: &mut Form, paid: Cents, today: Date) -> Option<Payment> {
    let kind = form.read("kind", |key| PaymentKind::from_key(key).ok_or("Choose how it was paid"));
    let amount = form.read("amount", |t| match t.parse::<Cents>() {
        Ok(Cents::ZERO) => Err("Nothing is no payment: write the amount, a refund with a minus".to_owned()),
        Ok(amount) if amount.is_negative() && (paid + amount).is_negative() => {
            Err(format!("A refund of {} is more than the {paid} received", -amount))
        }
        Ok(amount) => Ok(amount),
        Err(why) => Err(why.to_string()),
    });
    let paid_on = form.read("paid_on", |t| match words::parse_day(t)? {
        day if day > today => Err("That day is still to come: book money on the day it moves".to_owned()),
        day => Ok(day),
    });
    Some(Payment { kind: kind?, amount: amount?, paid_on: paid_on? })
}

async fn issue_receipt(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> Answer {
    let opened = Opened::read(&state, number).await?;
    let form = Form::new(fields);
    let key = posted_job_key(&form, "receipt", number, state.store.count_receipts(number).await?);
    let document = document(&state, &opened).await?;
    match state.store.issue_receipt(&key, number, &document, state.clock.now()).await? {
        Once::Now(receipt) => go(&format!("/receipts/{receipt}")),
        Once::Before(receipt) => go(&format!("/receipts/{receipt}")),
    }
}

/// From the kept document and from nothing else.
async fn print_receipt(State(state): State<AppState>, Path(number): Path<i64>) -> Answer {
    let receipt = state.store.get_receipt(number).await?;
    show(&Receipt::of(receipt.number, &receipt.document))
}
