//! Money refunded: how much, how, why, and what it does to the bill.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};
use time::Date;

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::payments::{kind_choices, read_paid_on};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::account::Account;
use crate::desk::job::Job;
use crate::desk::money::Cents;
use crate::desk::payment::PaymentKind;
use crate::desk::refund::{Refund, RefundCause};
use crate::desk::step::Step;
use crate::desk::text;
use crate::store::draft::Fields;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "refunds/form.html")]
struct RefundPage {
    chrome: Chrome,
    bar: JobBar,
    paid: String,
    overpaid: Option<String>,
    causes: Vec<(&'static str, &'static str)>,
    kinds: Vec<(&'static str, String)>,
    key: String,
    form: Form,
}

/// What a refund does to the bill, for a person.
fn cause_words(cause: RefundCause) -> &'static str {
    match cause {
        RefundCause::Overpaid => "Overpayment: the bill stays as it is",
        RefundCause::Goodwill => "Goodwill: the bill is reduced by the same amount, so the balance does not change",
        RefundCause::PaymentUndone => "Payment reversed, for example to pay another way: the amount is owed again",
    }
}

fn page(state: &AppState, job: &Job, account: &Account, form: StepForm) -> RefundPage {
    let StepForm { key, mut form } = form;
    let overpaid = Some(-account.owed()).filter(|overpaid| *overpaid > Cents::ZERO);
    let first = if overpaid.is_some() { RefundCause::Overpaid } else { RefundCause::Goodwill };
    // As it came in, so it goes back.
    let last_kind = account.payments.iter().rev().find(|booked| !booked.payment.amount.is_negative());
    form.set_default(RefundForm::CAUSE, first.key());
    form.set_default(RefundForm::KIND, last_kind.map_or(PaymentKind::Card, |booked| booked.payment.kind).key());
    form.set_default(RefundForm::PAID_ON, words::iso(&state.clock.today()));
    if let Some(overpaid) = overpaid {
        form.set_default(RefundForm::AMOUNT, overpaid.plain());
    }
    RefundPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "bill", state),
        paid: account.paid().to_string(),
        overpaid: overpaid.map(|overpaid| overpaid.to_string()),
        causes: RefundCause::ALL.iter().map(|&cause| (cause.key(), cause_words(cause))).collect(),
        kinds: kind_choices(),
        key,
        form,
    }
}

pub(crate) async fn ask_refund(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let form = StepForm::open(&state, &job, Step::Refund).await?;
    show(&page(&state, &job, &state.store.get_account(number).await?, form))
}

pub(crate) async fn give_refund(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Refund, fields).await?;
    let account = state.store.get_account(number).await?;
    let Some(refund) = RefundForm::read(&mut post.form, &account, state.clock.today()) else {
        return show_again(&page(&state, &post.job.clone(), &account, post.refused()));
    };
    let done = state.store.give_refund(&post.act, number, &refund, state.clock.now()).await?;
    post.done(done)
}

/// The fields of the form.
struct RefundForm;

impl RefundForm {
    const AMOUNT: &str = "amount";
    const KIND: &str = "kind";
    const PAID_ON: &str = "paid_on";
    const CAUSE: &str = "cause";
    const REASON: &str = "reason";

    fn read(form: &mut Form, account: &Account, today: Date) -> Option<Refund> {
        let amount = form.read(Self::AMOUNT, str::parse::<Cents>);
        let kind = form.read(Self::KIND, |key| PaymentKind::from_key(key).ok_or("Choose how it is refunded"));
        let paid_on = form.read(Self::PAID_ON, |t| read_paid_on(t, today));
        let cause = form.read(Self::CAUSE, |key| RefundCause::from_key(key).ok_or("Choose what the refund is for"));
        let reason = form.read(Self::REASON, |t| text::needed("A reason", t, 200));
        let refund = Refund { cause: cause?, kind: kind?, amount: amount?, paid_on: paid_on?, reason: reason? };
        match refund.check(account) {
            Ok(()) => Some(refund),
            Err(why) => {
                form.fail(Self::AMOUNT, why);
                None
            }
        }
    }
}
