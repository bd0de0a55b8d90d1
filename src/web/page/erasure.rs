//! What the book holds of a customer, as a file; and erasing it at the customer's request.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::{Chrome, PageResult, draft_of, go, key_of, posted_key, show, show_again};
use crate::desk::customer::Customer;
use crate::desk::erasure::{YEARS_KEPT, kept_until};
use crate::desk::text;
use crate::store::draft::Fields;
use crate::store::once::act;
use crate::web::download::{JSON, download};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "customers/erasure.html")]
struct ErasurePage {
    chrome: Chrome,
    form: Form,
    key: String,
    name: String,
    back: String,
    open: Vec<i64>,
    to_erase: Vec<i64>,
    of_others: Vec<i64>,
    kept: Vec<(i64, String)>,
    kept_until: Option<String>,
    years: i32,
    before: Vec<String>,
}

impl ErasurePage {
    async fn new(state: &AppState, customer: &Customer, form: Form) -> Result<Self, WebError> {
        let plan = state.store.plan_erasure(customer.id, state.clock.today()).await?;
        let before = state.store.list_erasures(customer.id).await?;
        Ok(Self {
            chrome: Chrome::new(state, "customers"),
            form,
            key: key(customer, before.len()),
            name: customer.person.name.clone(),
            back: format!("/customers/{}", customer.id),
            kept_until: kept_until(&plan.kept).map(|day| words::day(&day)),
            kept: plan.kept.iter().map(|(number, until)| (*number, words::day(until))).collect(),
            open: plan.open,
            to_erase: plan.to_erase,
            of_others: plan.of_others,
            years: YEARS_KEPT,
            before: before
                .into_iter()
                .map(|one| format!("{}: {}", words::day(&state.clock.local(one.at).date()), one.reason))
                .collect(),
        })
    }
}

fn key(customer: &Customer, before: usize) -> String {
    format!("erasure-{}-{before}", customer.id.0.simple())
}

async fn customer_of(state: &AppState, id: &str) -> Result<Customer, WebError> {
    Ok(state.store.get_customer(key_of(id, "That customer")?).await?)
}

pub(crate) async fn download_data(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let customer = customer_of(&state, &id).await?;
    let data = state.store.hand_over(customer.id).await?;
    let bytes =
        serde_json::to_vec_pretty(&data).map_err(|why| WebError::Internal(format!("customer's data: {why}")))?;
    Ok(download(&format!("{}.json", customer.person.name), JSON, bytes))
}

pub(crate) async fn ask_erasure(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let customer = customer_of(&state, &id).await?;
    let before = state.store.list_erasures(customer.id).await?.len();
    let form = draft_of(&state, &key(&customer, before)).await?;
    show(&ErasurePage::new(&state, &customer, form).await?)
}

pub(crate) async fn erase_customer(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let customer = customer_of(&state, &id).await?;
    let posted = posted_key(&form, &format!("erasure-{}-", customer.id.0.simple()))?;
    let back = format!("/customers/{}", customer.id);
    if state.store.find_outcome(&posted).await?.is_some() {
        return go(&back);
    }
    let reason = form.read(ErasureForm::REASON, |t| text::needed("Who asked, and how,", t, 300));
    if !form.is_checked(ErasureForm::SURE, "yes") {
        form.fail(ErasureForm::SURE, "Tick this when you have read what goes: it cannot be brought back");
    }
    let plan = state.store.plan_erasure(customer.id, state.clock.today()).await?;
    if let Some(number) = plan.open.first() {
        form.fail(
            ErasureForm::REASON,
            format!("Job {number} is open or not settled: finish or cancel it, and settle its bill"),
        );
    }
    if let Some(reason) = reason
        && form.is_fine()
    {
        let (today, now) = (state.clock.today(), state.clock.now());
        let done = state.store.erase_customer(&act(&posted, [""; 0]), customer.id, &reason, today, now).await;
        if form.kept(done)?.is_some() {
            // Those that wait to be brought in may name anybody.
            crate::old_records::uploaded::forget(state.store.folder());
            return go(&back);
        }
    }
    show_again(&ErasurePage::new(&state, &customer, form).await?)
}

/// The fields of the form.
pub(in crate::web) struct ErasureForm;

impl ErasureForm {
    pub(in crate::web) const REASON: &str = "reason";
    const SURE: &str = "sure";
}
