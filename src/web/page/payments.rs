//! A payment or a refund of a job.

use axum::Form as Posted;
use axum::extract::{Path, State};
use time::Date;

use super::bills::page;
use super::job_step::JobStep;
use super::{PageResult, act_of, go, is_done, posted_job_key, show_again};
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::payment::{Payment, PaymentKind};
use crate::store::draft::{Fields, Once};
use crate::web::form::Form;
use crate::web::{AppState, words};

/// How it was paid, for a person.
pub(super) fn kind_words(kind: PaymentKind) -> &'static str {
    match kind {
        PaymentKind::Card => "Card",
        PaymentKind::Check => "Check",
        PaymentKind::Cash => "Cash",
        PaymentKind::Transfer => "Bank transfer",
        PaymentKind::Other => "Other",
    }
}

pub(crate) async fn create_payment(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let step = JobStep::read(&state, number).await?;
    let mut form = Form::new(fields);
    let key = posted_job_key(&form, "payment", number, step.count(EventKind::Paid));
    // Whether the money may move is judged against what moved before, so a form done already is not judged again.
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/bill?already=payment"));
    }
    let Some(payment) = read_payment(&mut form, step.job.paid, state.clock.today()) else {
        return show_again(&page(&state, &step, Some(form)).await?);
    };
    match state.store.insert_payment(&act, number, &payment, state.clock.now()).await? {
        Once::Now(()) => go(&format!("/jobs/{number}/bill")),
        Once::Before(_) => go(&format!("/jobs/{number}/bill?already=payment")),
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
