//! A parcel came back or is lost: why, how it looks, and what follows. The job is open again then.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};
use time::Date;

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::job::Job;
use crate::desk::parcel_return::{ParcelReturn, ReturnCause, ReturnCondition, condition_fault};
use crate::desk::step::Step;
use crate::desk::text;
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "returns/show.html")]
struct ReturnPage {
    chrome: Chrome,
    bar: JobBar,
    /// Why no parcel can be recorded as back now.
    refused: Option<String>,
    causes: Vec<(&'static str, &'static str)>,
    conditions: Vec<(&'static str, &'static str)>,
    key: String,
    form: Form,
}

/// The fields of the form.
pub(in crate::web) struct ReturnForm;

impl ReturnForm {
    const CAUSE: &str = "cause";
    const CONDITION: &str = "condition";
    const RETURNED_ON: &str = "returned_on";
    const NOTE: &str = "note";

    fn read(form: &mut Form, job: &Job, today: Date) -> Option<ParcelReturn> {
        let cause = form.read(Self::CAUSE, |typed| ReturnCause::from_key(typed).ok_or("Choose what happened"));
        let condition = match cause {
            Some(ReturnCause::Lost) => Some(ReturnCondition::Lost),
            _ => form.read(Self::CONDITION, |typed| {
                let condition = ReturnCondition::from_key(typed).ok_or("Choose the condition of the parcel")?;
                match cause.and_then(|cause| condition_fault(cause, condition)) {
                    Some(why) => Err(why),
                    None => Ok(condition),
                }
            }),
        };
        let returned_on = form.read(Self::RETURNED_ON, |typed| read_day(typed, job.sent_on, today));
        let note = form.read(Self::NOTE, |typed| text::line("A note", typed, 300));
        Some(ParcelReturn { cause: cause?, condition: condition?, returned_on: returned_on?, note: note? })
    }
}

fn read_day(typed: &str, sent_on: Option<Date>, today: Date) -> Result<Date, String> {
    match (words::parse_day(typed)?, sent_on) {
        (day, _) if day > today => Err("That day is in the future".to_owned()),
        (day, Some(sent)) if day < sent => Err(format!("That is before it was sent, {}", words::day(&sent))),
        (day, _) => Ok(day),
    }
}

fn page(state: &AppState, job: &Job, form: StepForm) -> ReturnPage {
    let StepForm { key, mut form } = form;
    form.set_default(ReturnForm::RETURNED_ON, words::iso(&state.clock.today()));
    ReturnPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "shipment", state),
        refused: Step::Return.refusal(job),
        causes: ReturnCause::ALL.iter().map(|cause| (cause.key(), cause.words())).collect(),
        conditions: ReturnCondition::OF_A_PARCEL.map(|condition| (condition.key(), condition.words())).into(),
        key,
        form,
    }
}

pub(crate) async fn ask_return(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let form = StepForm::open(&state, &job, Step::Return).await?;
    show(&page(&state, &job, form))
}

pub(crate) async fn keep_return(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Return, fields).await?;
    if post.is_outdated {
        // The form was of an earlier parcel.
        return Err(StoreError::MovedOn(number).into());
    }
    let Some(back) = ReturnForm::read(&mut post.form, &post.job, state.clock.today()) else {
        return show_again(&page(&state, &post.job.clone(), post.refused()));
    };
    let done = state.store.return_parcel(&post.act, number, &back, state.clock.now()).await?;
    post.done(done)
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn a_parcel_comes_back_between_the_day_it_left_and_today() {
        let (sent, today) = (Some(date!(2026 - 11 - 20)), date!(2026 - 11 - 25));
        for (typed, want) in [
            ("2026-11-20", None),
            ("2026-11-25", None),
            ("2026-11-26", Some("in the future")),
            ("2026-11-19", Some("before it was sent")),
            ("soon", Some("")),
        ] {
            let got = read_day(typed, sent, today).err();
            assert_eq!(got.is_some(), want.is_some(), "{typed}: {got:?}");
            assert!(got.unwrap_or_default().contains(want.unwrap_or_default()), "{typed}");
        }
    }
}
