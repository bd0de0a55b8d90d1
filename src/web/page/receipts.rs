//! Issuing and printing receipts: each is kept whole when it is issued and prints the same for ever.

use axum::Form as Posted;
use axum::extract::{Path, State};

use super::job_step::JobStep;
use super::{PageResult, go, posted_job_key, show};
use crate::desk::receipt::{Document, ReceiptFacts};
use crate::print::receipt::PrintedReceipt;
use crate::store::draft::{Fields, Once};
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;

/// The receipt of a job as things stand now.
pub(super) async fn document(state: &AppState, step: &JobStep) -> Result<Document, WebError> {
    let (job, lab) = (&step.job, state.lab());
    let charges = state.store.list_charges(job.number).await?;
    let payments = state.store.list_payments(job.number).await?;
    let facts = ReceiptFacts::of(job, &lab, &charges, &payments, state.clock.today());
    Ok(Document::new(&ReceiptFacts { corrects: job.receipt, ..facts }))
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
    let step = JobStep::read(&state, number).await?;
    let form = Form::new(fields);
    let key = posted_job_key(&form, "receipt", number, state.store.count_receipts(number).await?);
    let document = document(&state, &step).await?;
    match state.store.issue_receipt(&key, number, &document, state.clock.now()).await? {
        Once::Now(receipt) => go(&format!("/receipts/{receipt}")),
        Once::Before(receipt) => go(&format!("/receipts/{receipt}")),
    }
}

/// From the kept document and from nothing else.
pub(crate) async fn print_receipt(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let receipt = state.store.get_receipt(number).await?;
    show(&PrintedReceipt::of(receipt.number, &receipt.document))
}
