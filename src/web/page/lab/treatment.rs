//! The coatings and tints on sale. An edit adds a version; a job keeps the one it was ordered with.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::read::read_code;
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
use crate::web::two_windows::{PostedCorrection, correct};

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
        path: format!("/lab/treatments/{}", treatment.id),
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
        let action = of.map_or("/lab/treatments/new".to_owned(), |t| format!("/lab/treatments/{}", t.id));
        Self {
            chrome: Chrome::new(state, "lab"),
            code_words: procedure_code::descriptor(form.value(TreatmentForm::CODE)),
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
    let found = state.store.list_treatments().await?.into_iter().find(|t| t.id == line);
    found.ok_or_else(|| WebError::NotFound("That coating or tint".to_owned()))
}

fn key(treatment: &Treatment) -> String {
    format!("treatment-{}", treatment.version)
}

pub(crate) async fn new_treatment(State(state): State<AppState>) -> PageResult {
    let key = format!("treatment-new-{}", state.store.count_treatments().await?);
    let mut form = draft_of(&state, &key).await?;
    form.set_default(TreatmentForm::KIND, TreatmentKind::Coating.key());
    show(&TreatmentPage::new(&state, form, key, None))
}

pub(crate) async fn add_treatment(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let key = posted_key(&form, "treatment-new-")?;
    let Some(details) = TreatmentForm::read(&mut form) else {
        return show_again(&TreatmentPage::new(&state, form, key, None));
    };
    let kept = state.store.insert_treatment(&act_of(&key, &form), None, &details, state.clock.now()).await;
    match form.kept(kept)? {
        Some(_) => go(LIST),
        None => show_again(&TreatmentPage::new(&state, form, key, None)),
    }
}

pub(crate) async fn show_treatment(State(state): State<AppState>, Path(line): Path<String>) -> PageResult {
    let treatment = find_line(&state, &line).await?;
    let key = key(&treatment);
    let form = draft_or(&state, &key, || TreatmentForm::fill(&treatment.details)).await?;
    show(&TreatmentPage::new(&state, form, key, Some(&treatment)))
}

pub(crate) async fn change_treatment(
    State(state): State<AppState>,
    Path(line): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let treatment = find_line(&state, &line).await?;
    let (posted_key, key) = (posted_key(&form, "treatment-")?, key(&treatment));
    let kept = TreatmentForm::fill(&treatment.details);
    let details = match correct(&mut form, &treatment.details, &kept, posted_key != key, TreatmentForm::read) {
        PostedCorrection::Nothing => return go(LIST),
        PostedCorrection::Refused => return show_again(&TreatmentPage::new(&state, form, key, Some(&treatment))),
        PostedCorrection::Changed(details) => details,
    };
    let kept = state.store.insert_treatment(&key, Some(treatment.id), &details, state.clock.now()).await;
    match form.kept(kept)? {
        Some(Once::Now(())) => go(LIST),
        Some(Once::Before(_)) => {
            form.fail(TreatmentForm::NAME, CHANGED_ELSEWHERE);
            show_again(&TreatmentPage::new(&state, form, key, Some(&treatment)))
        }
        None => show_again(&TreatmentPage::new(&state, form, key, Some(&treatment))),
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

/// The fields of the form of a coating or tint.
pub(in crate::web) struct TreatmentForm;

impl TreatmentForm {
    const KIND: &str = "kind";
    pub(in crate::web) const NAME: &str = "name";
    const CODE: &str = "code";
    pub(in crate::web) const PRICE: &str = "price";

    fn fill(details: &TreatmentDetails) -> Form {
        Form::of([
            (Self::KIND, details.kind.key().to_owned()),
            (Self::NAME, details.name.clone()),
            (Self::CODE, details.code.clone()),
            (Self::PRICE, details.price.plain()),
        ])
    }

    fn read(form: &mut Form) -> Option<TreatmentDetails> {
        let kind = form.read(Self::KIND, |t| TreatmentKind::from_key(t).ok_or("Choose a coating or a tint"));
        let name = form.read(Self::NAME, |t| text::needed("A name", t, 80));
        let code = form.read(Self::CODE, read_code);
        let price = form.read(Self::PRICE, |t| Cents::read_price(t, Cents::MOST_PRICE));
        Some(TreatmentDetails { kind: kind?, name: name?, code: code?, price: price? })
    }
}
