//! The coatings and tints on sale. An edit adds a version; a job keeps the one it was ordered with.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::read::{read_code, read_price};
use super::{PriceRow, kind_words};
use crate::desk::catalogue::{Treatment, TreatmentDetails, TreatmentKind};
use crate::desk::money::Cents;
use crate::desk::procedure_code;
use crate::desk::text;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::page::{
    CHANGED_ELSEWHERE, Chrome, PageResult, act_of, draft_of, draft_or, go, key_of, posted_key, show, show_again,
};

const LIST: &str = "/lab#treatments";

/// A line of the list on the lab's page.
pub(super) fn row(treatment: Treatment) -> PriceRow {
    let details = treatment.details;
    PriceRow {
        kind: kind_words(details.kind),
        facts: Vec::new(),
        name: details.name,
        code: details.code,
        price: details.price.to_string(),
        path: format!("/lab/treatments/{}", treatment.line),
    }
}

#[derive(Template)]
#[template(path = "lab/treatment.html")]
struct TreatmentPage {
    chrome: Chrome,
    form: Form,
    key: String,
    title: String,
    action: String,
    retirement: Option<String>,
    code_words: Option<&'static str>,
}

impl TreatmentPage {
    fn new(state: &AppState, form: Form, key: String, of: Option<&Treatment>) -> Self {
        let action = of.map_or("/lab/treatments/new".to_owned(), |t| format!("/lab/treatments/{}", t.line));
        Self {
            chrome: Chrome::new(state, "lab"),
            code_words: procedure_code::descriptor(form.value("code")),
            form,
            key,
            title: of.map_or("A new coating or tint".to_owned(), |t| t.details.name.clone()),
            retirement: of.map(|_| format!("{action}/retirement")),
            action,
        }
    }
}

async fn find_line(state: &AppState, line: &str) -> Result<Treatment, WebError> {
    let line = key_of(line, "That coating or tint")?;
    let found = state.store.list_treatments().await?.into_iter().find(|t| t.line == line);
    found.ok_or_else(|| WebError::NotFound("That coating or tint".to_owned()))
}

fn key(treatment: &Treatment) -> String {
    format!("treatment-{}", treatment.id)
}

pub(crate) async fn new_treatment(State(state): State<AppState>) -> PageResult {
    let key = format!("treatment-new-{}", state.store.count_treatments().await?);
    let mut form = draft_of(&state, &key).await?;
    form.set_default("kind", TreatmentKind::Coating.key());
    show(&TreatmentPage::new(&state, form, key, None))
}

pub(crate) async fn add_treatment(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let key = posted_key(&form, "treatment-new-")?;
    let Some(details) = read(&mut form) else {
        return show_again(&TreatmentPage::new(&state, form, key, None));
    };
    state.store.insert_treatment(&act_of(&key, &form), None, &details, state.clock.now()).await?;
    go(LIST)
}

pub(crate) async fn show_treatment(State(state): State<AppState>, Path(line): Path<String>) -> PageResult {
    let treatment = find_line(&state, &line).await?;
    let key = key(&treatment);
    let form = draft_or(&state, &key, || fill(&treatment.details)).await?;
    show(&TreatmentPage::new(&state, form, key, Some(&treatment)))
}

pub(crate) async fn change_treatment(
    State(state): State<AppState>,
    Path(line): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let treatment = find_line(&state, &line).await?;
    let posted_key = posted_key(&form, "treatment-")?;
    let Some(details) = read(&mut form) else {
        return show_again(&TreatmentPage::new(&state, form, posted_key, Some(&treatment)));
    };
    if details == treatment.details {
        return go(LIST);
    }
    match state.store.insert_treatment(&posted_key, Some(treatment.line), &details, state.clock.now()).await? {
        Once::Now(()) => go(LIST),
        Once::Before(_) => {
            form.fail("name", CHANGED_ELSEWHERE);
            show_again(&TreatmentPage::new(&state, form, key(&treatment), Some(&treatment)))
        }
    }
}

pub(crate) async fn retire_treatment(
    State(state): State<AppState>,
    Path(line): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    posted_key(&Form::new(fields), "treatment-")?;
    let line = key_of(&line, "That coating or tint")?;
    state.store.retire_treatment(line, state.clock.now()).await?;
    go(LIST)
}

fn fill(details: &TreatmentDetails) -> Form {
    let mut form = Form::default();
    form.set("kind", details.kind.key());
    form.set("name", details.name.as_str());
    form.set("code", details.code.as_str());
    form.set("price", details.price.plain());
    form
}

fn read(form: &mut Form) -> Option<TreatmentDetails> {
    let kind = form.read("kind", |t| TreatmentKind::from_key(t).ok_or("Choose a coating or a tint"));
    let name = form.read("name", |t| text::needed("A name", t, 80));
    let code = form.read("code", read_code);
    let price = form.read("price", |t| read_price(t, Cents::new(10_000_000)));
    Some(TreatmentDetails { kind: kind?, name: name?, code: code?, price: price? })
}
