//! A supplier: what it is called, and what it was called before.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};

use super::{CHANGED_ELSEWHERE, Chrome, PageResult, SavedQuery, draft_or, go, key_of, posted_key, show, show_again};
use crate::desk::stock::Supplier;
use crate::desk::text;
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::two_windows::{PostedCorrection, correct};
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "suppliers/show.html")]
struct SupplierPage {
    chrome: Chrome,
    path: String,
    name: String,
    /// Earlier names with the moment until which they stood, the newest first.
    past: Vec<(String, String)>,
    key: String,
    form: Form,
    is_saved: bool,
}

/// The fields of the form.
pub(in crate::web) struct SupplierForm;

impl SupplierForm {
    pub(in crate::web) const NAME: &str = "name";

    fn fill(supplier: &Supplier) -> Form {
        Form::of([(Self::NAME, supplier.name.clone())])
    }

    fn read(form: &mut Form) -> Option<String> {
        form.read(Self::NAME, |t| text::needed("A name", t, 100))
    }
}

impl SupplierPage {
    async fn new(state: &AppState, form: Form, key: String, supplier: &Supplier) -> Result<Self, WebError> {
        let past = state.store.list_supplier_past(supplier.id).await?.into_iter();
        Ok(Self {
            chrome: Chrome::new(state, "buying"),
            path: format!("/suppliers/{}", supplier.id),
            name: supplier.name.clone(),
            past: past.map(|(name, until)| (name, words::moment(&state.clock.local(until)))).collect(),
            key,
            form,
            is_saved: false,
        })
    }
}

async fn key(state: &AppState, supplier: &Supplier) -> Result<String, WebError> {
    let renamed = state.store.list_supplier_past(supplier.id).await?.len();
    Ok(format!("supplier-{}-{renamed}", supplier.id.0.simple()))
}

pub(crate) async fn show_supplier(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Query(asked): Query<SavedQuery>,
) -> PageResult {
    let supplier = state.store.get_supplier(key_of(&id, "That supplier")?).await?;
    let key = key(&state, &supplier).await?;
    let form = draft_or(&state, &key, || SupplierForm::fill(&supplier)).await?;
    show(&SupplierPage { is_saved: asked.is_saved(), ..SupplierPage::new(&state, form, key, &supplier).await? })
}

pub(crate) async fn rename_supplier(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let supplier = state.store.get_supplier(key_of(&id, "That supplier")?).await?;
    let (posted_key, key) = (posted_key(&form, "supplier-")?, key(&state, &supplier).await?);
    let shown = format!("/suppliers/{}", supplier.id);
    let kept = SupplierForm::fill(&supplier);
    let name = match correct(&mut form, &supplier.name, &kept, posted_key != key, SupplierForm::read) {
        PostedCorrection::Nothing => return go(&SavedQuery::after(&shown)),
        PostedCorrection::Refused => return show_again(&SupplierPage::new(&state, form, key, &supplier).await?),
        PostedCorrection::Changed(name) => name,
    };
    match state.store.rename_supplier(&key, supplier.id, &name, state.clock.now()).await {
        Ok(Once::Now(())) => return go(&SavedQuery::after(&shown)),
        Ok(Once::Before(_)) => form.fail(SupplierForm::NAME, CHANGED_ELSEWHERE),
        Err(StoreError::Twice(_)) => {
            form.fail(SupplierForm::NAME, "Another supplier has this name: order from that one, or choose another name")
        }
        Err(other) => return Err(other.into()),
    }
    show_again(&SupplierPage::new(&state, form, key, &supplier).await?)
}
