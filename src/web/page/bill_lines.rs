//! A line added to a bill after the order.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::account::Account;
use crate::desk::bill::{Charge, ChargeKind};
use crate::desk::job::Job;
use crate::desk::money::Cents;
use crate::desk::procedure_code::known_codes;
use crate::desk::step::Step;
use crate::desk::text;
use crate::optics::Eye;
use crate::store::bill::BillChange;
use crate::store::draft::Fields;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "bills/line.html")]
struct BillLinePage {
    chrome: Chrome,
    bar: JobBar,
    kinds: Vec<(&'static str, String)>,
    codes: Vec<(&'static str, &'static str)>,
    key: String,
    form: Form,
}

fn page(state: &AppState, job: &Job, form: StepForm) -> BillLinePage {
    let StepForm { key, mut form } = form;
    form.set_default(BillLineForm::KIND, ChargeKind::Other.key());
    form.set_default(BillLineForm::EYE, BillLineForm::NO_EYE);
    BillLinePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "bill", state),
        kinds: ChargeKind::ALL.iter().map(|&kind| (kind.key(), words::capital(kind.words()))).collect(),
        codes: known_codes().collect(),
        key,
        form,
    }
}

pub(crate) async fn new_bill_line(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let form = StepForm::open(&state, &job, Step::BillLine).await?;
    show(&page(&state, &job, form))
}

pub(crate) async fn add_bill_line(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::BillLine, fields).await?;
    let account = state.store.get_account(number).await?;
    let Some((charge, reason)) = BillLineForm::read(&mut post.form, &account) else {
        return show_again(&page(&state, &post.job.clone(), post.refused()));
    };
    let change = BillChange { reason: &reason, on: state.clock.today() };
    let done = state.store.add_bill_line(&post.act, number, &charge, change, state.clock.now()).await?;
    post.done(done)
}

/// The fields of the form.
struct BillLineForm;

impl BillLineForm {
    const KIND: &str = "kind";
    const WHAT: &str = "what";
    const EYE: &str = "eye";
    const NO_EYE: &str = "none";
    const CODE: &str = "code";
    const AMOUNT: &str = "amount";
    const REASON: &str = "reason";

    /// The line and the reason for it.
    fn read(form: &mut Form, account: &Account) -> Option<(Charge, String)> {
        let kind = form.read(Self::KIND, |key| ChargeKind::from_key(key).ok_or("Choose what the line is for"));
        let what = form.read(Self::WHAT, |t| text::line("The description", t, 120));
        let eye = form.read(Self::EYE, read_eye);
        let code = form.read(Self::CODE, read_code);
        let amount = form.read(Self::AMOUNT, read_amount);
        let reason = form.read(Self::REASON, |t| text::needed("A reason", t, 200));
        let (kind, what, eye, code, amount, reason) = (kind?, what?, eye?, code?, amount?, reason?);
        let what = if what.is_empty() { words::capital(kind.words()) } else { what };
        let amount = if kind == ChargeKind::Discount { -amount } else { amount };
        let charge = Charge { kind, eye, what, code, amount };
        match account.check_line(&charge) {
            Ok(()) => Some((charge, reason)),
            Err(why) => {
                form.fail(Self::AMOUNT, why);
                None
            }
        }
    }
}

fn read_eye(key: &str) -> Result<Option<Eye>, &'static str> {
    match Eye::BOTH.into_iter().find(|eye| eye.name() == key) {
        None if key != BillLineForm::NO_EYE => Err("Choose the eye, or none"),
        eye => Ok(eye),
    }
}

/// A code of the list, or one that the owner looked up: a letter and four digits.
fn read_code(typed: &str) -> Result<String, String> {
    let code = typed.to_uppercase();
    let mut letters = code.chars();
    let is_code = letters.next().is_some_and(|c| c.is_ascii_uppercase())
        && letters.clone().count() == 4
        && letters.all(|c| c.is_ascii_digit());
    if code.is_empty() || is_code {
        Ok(code)
    } else {
        Err(format!(
            "“{typed}” is not a procedure code: write a letter and four digits, such as V2750, or leave it \
            empty"
        ))
    }
}

fn read_amount(typed: &str) -> Result<Cents, String> {
    match Cents::read_price(typed, Cents::MOST_PRICE) {
        Ok(Cents::ZERO) => Err("Write the amount".to_owned()),
        Ok(amount) => Ok(amount),
        Err(why) => Err(why.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_a_code_or_none() {
        assert_eq!([read_code("v2750"), read_code("")], [Ok("V2750".to_owned()), Ok(String::new())]);
        for wrong in ["V275", "V27500", "2750V", "V27A0", "é2750"] {
            assert!(read_code(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn reads_an_eye_or_none() {
        assert_eq!([read_eye("right"), read_eye("none")], [Ok(Some(Eye::Right)), Ok(None)]);
        assert!(read_eye("both").is_err());
    }
}
