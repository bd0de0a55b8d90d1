//! Issuing and printing receipts: each is kept whole when it is issued and prints the same for ever.

use axum::Form as Posted;
use axum::extract::{Path, State};

use super::job_post::JobPost;
use super::{PageResult, go, show};
use crate::desk::account::Account;
use crate::desk::job::Job;
use crate::desk::receipt::{Document, ReceiptFacts};
use crate::desk::step::Step;
use crate::optics::Pair;
use crate::print::receipt::PrintedReceipt;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::AppState;

/// The receipt of a job as things stand now.
pub(super) fn document(state: &AppState, job: &Job, account: &Account, has_prescription: bool) -> Document {
    let lab = state.lab();
    let facts = ReceiptFacts::of(job, &lab, account, state.clock.today());
    let eyes = if has_prescription { job.prescribed_eyes() } else { Pair::default() };
    Document::new(&ReceiptFacts { corrects: job.receipt, eyes, ..facts })
}

/// Whether two receipts say the same but for their day, the one they replace, and whether the prescription is on them.
pub(super) fn says_the_same(now: &Document, before: &Document) -> bool {
    let (format, issued_on, corrects, eyes) = (now.format, now.issued_on, now.corrects, now.eyes.clone());
    *now == Document { format, issued_on, corrects, eyes, ..before.clone() }
}

/// The field of the form of a receipt.
struct ReceiptForm;

impl ReceiptForm {
    const PRESCRIPTION: &str = "prescription";
    const YES: &str = "yes";
}

pub(crate) async fn issue_receipt(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let post = JobPost::read(&state, number, Step::Receipt, fields).await?;
    let has_prescription = post.form.is_checked(ReceiptForm::PRESCRIPTION, ReceiptForm::YES);
    let document = document(&state, &post.job, &state.store.get_account(number).await?, has_prescription);
    match state.store.issue_receipt(&post.act, number, &document, state.clock.now()).await? {
        Once::Now(receipt) => go(&format!("/receipts/{receipt}")),
        before => post.done(before),
    }
}

/// From the kept document and from nothing else.
pub(crate) async fn print_receipt(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let receipt = state.store.get_receipt(number).await?;
    show(&PrintedReceipt::of(receipt.number, &receipt.document))
}
