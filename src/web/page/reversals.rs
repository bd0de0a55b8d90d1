//! A line of a bill is taken back.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::account::Account;
use crate::desk::job::Job;
use crate::desk::step::Step;
use crate::desk::text;
use crate::store::bill::BillChange;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::form::Form;

#[derive(Template)]
#[template(path = "bills/reversal.html")]
struct ReversalPage {
    chrome: Chrome,
    bar: JobBar,
    /// The lines that may be taken back: place and words.
    lines: Vec<(String, String)>,
    key: String,
    form: Form,
}

fn page(state: &AppState, job: &Job, account: &Account, form: StepForm) -> ReversalPage {
    let StepForm { key, form } = form;
    let lines = account.standing().map(|line| {
        let charge = &line.charge;
        let eye = charge.eye.map(|eye| format!(", {} eye", eye.name())).unwrap_or_default();
        (line.seq.to_string(), format!("{}{eye}: {}", charge.what, charge.amount))
    });
    ReversalPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "bill", state),
        lines: lines.collect(),
        key,
        form,
    }
}

#[derive(Deserialize)]
pub(crate) struct AskedLine {
    line: Option<String>,
}

pub(crate) async fn ask_reversal(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<AskedLine>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let mut opened = StepForm::open(&state, &job, Step::Reversal).await?;
    if let Some(line) = asked.line {
        opened.form.set(ReversalForm::LINE, line);
    }
    show(&page(&state, &job, &state.store.get_account(number).await?, opened))
}

pub(crate) async fn reverse_bill_line(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Reversal, fields).await?;
    let account = state.store.get_account(number).await?;
    let Some((seq, reason)) = ReversalForm::read(&mut post.form, &account) else {
        return show_again(&page(&state, &post.job.clone(), &account, post.refused()));
    };
    let change = BillChange { reason: &reason, on: state.clock.today() };
    let done = state.store.reverse_bill_line(&post.act, number, seq, change, state.clock.now()).await?;
    post.done(done)
}

/// The fields of the form.
struct ReversalForm;

impl ReversalForm {
    const LINE: &str = "line";
    const REASON: &str = "reason";

    /// The line and the reason.
    fn read(form: &mut Form, account: &Account) -> Option<(i64, String)> {
        let seq = form.read(Self::LINE, |t| {
            let seq = t.parse::<i64>().map_err(|_| "Choose the line to reverse".to_owned())?;
            account.reverse(seq).map(|_| seq).map_err(|why| why.to_string())
        });
        let reason = form.read(Self::REASON, |t| text::needed("A reason", t, 200));
        Some((seq?, reason?))
    }
}
