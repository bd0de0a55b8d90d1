//! A payment of a job.

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

/// The kinds of payment for a list to choose from: key and words.
pub(super) fn kind_choices() -> Vec<(&'static str, String)> {
    PaymentKind::ALL.iter().map(|&kind| (kind.key(), words::capital(kind.words()))).collect()
}

/// Reads the day on which money moved.
pub(super) fn read_paid_on(typed: &str, today: Date) -> Result<Date, String> {
    match words::parse_day(typed)? {
        day if day > today => Err("That day is in the future: record money on the day it is paid".to_owned()),
        day => Ok(day),
    }
}

pub(crate) async fn create_payment(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Payment, fields).await?;
    let Some(payment) = PaymentForm::read(&mut post.form, state.clock.today()) else {
        return show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?);
    };
    let done = state.store.insert_payment(&post.act, number, &payment, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?),
    }
}

/// The fields of the form of a payment.
pub(in crate::web) struct PaymentForm;

impl PaymentForm {
    pub(super) const KIND: &str = "kind";
    pub(in crate::web) const AMOUNT: &str = "amount";
    pub(super) const PAID_ON: &str = "paid_on";

    fn read(form: &mut Form, today: Date) -> Option<Payment> {
        let kind = form.read(Self::KIND, |key| PaymentKind::from_key(key).ok_or("Choose how it was paid"));
        let amount = form.read(Self::AMOUNT, |t| match t.parse::<Cents>() {
            Ok(Cents::ZERO) => Err("Enter the amount".to_owned()),
            Ok(amount) if amount.is_negative() => Err("This is for money received: use Refund for a refund".to_owned()),
            Ok(amount) => Ok(amount),
            Err(why) => Err(why.to_string()),
        });
        let paid_on = form.read(Self::PAID_ON, |t| read_paid_on(t, today));
        Some(Payment { kind: kind?, amount: amount?, paid_on: paid_on? })
    }
}
