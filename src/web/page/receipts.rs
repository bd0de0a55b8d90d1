//! Issuing and printing receipts: each is kept whole when it is issued and prints the same for ever.

use axum::Form as Posted;
use axum::extract::{Path, State};

use super::job_post::JobPost;
use super::{PageResult, go, show};
use crate::desk::account::Account;
use crate::desk::job::Job;
use crate::desk::receipt::{Document, ReceiptFacts};
use crate::desk::step::Step;
use crate::print::receipt::PrintedReceipt;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::AppState;

/// The receipt of a job as things stand now.
pub(super) fn document(state: &AppState, job: &Job, account: &Account) -> Document {
    let lab = state.lab();
    let facts = ReceiptFacts::of(job, &lab, account, state.clock.today());
    Document::new(&ReceiptFacts { corrects: job.receipt, ..facts })
}

/// Whether two receipts say the same but for their day and the one they replace.
pub(super) fn says_the_same(now: &Document, before: &Document) -> bool {
    *now == Document { issued_on: now.issued_on, corrects: now.corrects, ..before.clone() }
}

pub(crate) async fn issue_receipt(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let post = JobPost::read(&state, number, Step::Receipt, fields).await?;
    let document = document(&state, &post.job, &state.store.get_account(number).await?);
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
