//! A supplier: what it is called, and what it was called before.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::{CHANGED_ELSEWHERE, Chrome, PageResult, draft_or, go, key_of, posted_key, show, show_again};
use crate::desk::stock::Supplier;
use crate::desk::text;
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::error::WebError;
use crate::web::form::Form;
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
}

/// The fields of the form.
pub(in crate::web) struct SupplierForm;

impl SupplierForm {
    pub(in crate::web) const NAME: &str = "name";
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
        })
    }
}

async fn key(state: &AppState, supplier: &Supplier) -> Result<String, WebError> {
    let renamed = state.store.list_supplier_past(supplier.id).await?.len();
    Ok(format!("supplier-{}-{renamed}", supplier.id.0.simple()))
}

pub(crate) async fn show_supplier(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let supplier = state.store.get_supplier(key_of(&id, "That supplier")?).await?;
    let key = key(&state, &supplier).await?;
    let form = draft_or(&state, &key, || Form::of([(SupplierForm::NAME, supplier.name.clone())])).await?;
    show(&SupplierPage::new(&state, form, key, &supplier).await?)
}

pub(crate) async fn rename_supplier(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let supplier = state.store.get_supplier(key_of(&id, "That supplier")?).await?;
    let posted_key = posted_key(&form, "supplier-")?;
    let Some(name) = form.read(SupplierForm::NAME, |t| text::needed("A name", t, 100)) else {
        return show_again(&SupplierPage::new(&state, form, posted_key, &supplier).await?);
    };
    let shown = format!("/suppliers/{}", supplier.id);
    if name == supplier.name {
        return go(&shown);
    }
    match state.store.rename_supplier(&posted_key, supplier.id, &name, state.clock.now()).await {
        Ok(Once::Now(())) => go(&shown),
        Ok(Once::Before(_)) => {
            form.fail(SupplierForm::NAME, CHANGED_ELSEWHERE);
            let fresh = key(&state, &supplier).await?;
            show_again(&SupplierPage::new(&state, form, fresh, &supplier).await?)
        }
        Err(StoreError::Twice(_)) => {
            form.fail(
                SupplierForm::NAME,
                "Another supplier has this name: order from that one, or choose another name",
            );
            show_again(&SupplierPage::new(&state, form, posted_key, &supplier).await?)
        }
        Err(other) => Err(other.into()),
    }
}
