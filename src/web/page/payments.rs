//! A payment or a refund of a job.

use axum::Form as Posted;
use axum::extract::{Path, State};
use time::Date;

use super::bills::page;
use super::job_post::JobPost;
use super::{PageResult, show_again};
use crate::desk::money::Cents;
use crate::desk::payment::{Payment, PaymentKind};
use crate::desk::step::Step;
use crate::store::draft::Fields;
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
    let mut post = JobPost::read(&state, number, Step::Payment, fields).await?;
    let Some(payment) = PaymentForm::read(&mut post.form, post.job.paid, state.clock.today()) else {
        return show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?);
    };
    let done = state.store.insert_payment(&post.act, number, &payment, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?),
    }
}

/// The fields of the form of a payment or refund.
pub(in crate::web) struct PaymentForm;

impl PaymentForm {
    pub(super) const KIND: &str = "kind";
    pub(in crate::web) const AMOUNT: &str = "amount";
    pub(super) const PAID_ON: &str = "paid_on";

    /// `paid` is what came in before.
    fn read(form: &mut Form, paid: Cents, today: Date) -> Option<Payment> {
        let kind = form.read(Self::KIND, |key| PaymentKind::from_key(key).ok_or("Choose how it was paid"));
        let amount = form.read(Self::AMOUNT, |t| match t.parse::<Cents>() {
            Ok(Cents::ZERO) => Err("Nothing is no payment: write the amount, a refund with a minus".to_owned()),
            Ok(amount) if amount.is_negative() && (paid + amount).is_negative() => {
                Err(format!("A refund of {} is more than the {paid} received", -amount))
            }
            Ok(amount) => Ok(amount),
            Err(why) => Err(why.to_string()),
        });
        let paid_on = form.read(Self::PAID_ON, |t| match words::parse_day(t)? {
            day if day > today => Err("That day is still to come: book money on the day it moves".to_owned()),
            day => Ok(day),
        });
        Some(Payment { kind: kind?, amount: amount?, paid_on: paid_on? })
    }
}
