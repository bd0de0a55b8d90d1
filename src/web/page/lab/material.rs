//! The materials on sale. An edit adds a version; a job keeps the one it was ordered in.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::read::{read_code, scaled, written};
use super::{PriceRow, SelectOption};
use crate::desk::catalogue::{
    ABBE_TENTHS, CENTER_HUNDREDTHS, Cutting, DENSITY_HUNDREDTHS, INDEX_THOUSANDTHS, Material, MaterialDetails,
};
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

/// Where a material is looked at and changed.
const LIST: &str = "/lab#materials";

/// A line of the list on the lab's page.
pub(super) fn row(material: Material) -> PriceRow {
    let details = material.details;
    PriceRow {
        kind: details.cutting.words(),
        facts: vec![
            written(details.index_thousandths, 3),
            written(details.abbe_tenths, 1),
            written(details.density_hundredths, 2),
            written(details.centre_hundredths, 2),
        ],
        name: details.name,
        code: details.code,
        price: details.price.to_string(),
        path: format!("/lab/materials/{}", material.id),
    }
}

#[derive(Template)]
#[template(path = "lab/material.html")]
struct MaterialPage {
    chrome: Chrome,
    form: Form,
    key: String,
    title: String,
    action: String,
    retirement: Option<String>,
    cuttings: Vec<SelectOption>,
    code_words: Option<&'static str>,
}

impl MaterialPage {
    fn new(state: &AppState, form: Form, key: String, of: Option<&Material>) -> Self {
        let action = of.map_or("/lab/materials/new".to_owned(), |m| format!("/lab/materials/{}", m.id));
        Self {
            chrome: Chrome::new(state, "lab"),
            code_words: procedure_code::descriptor(form.value(MaterialForm::CODE)),
            form,
            key,
            title: of.map_or("A new material".to_owned(), |m| m.details.name.clone()),
            retirement: of.map(|_| format!("{action}/retirement")),
            action,
            cuttings: Cutting::ALL
                .iter()
                .map(|c| SelectOption { value: c.key(), label: c.words().to_owned() })
                .collect(),
        }
    }
}

async fn find_line(state: &AppState, line: &str) -> Result<Material, WebError> {
    let line = key_of(line, "That material")?;
    let found = state.store.list_materials().await?.into_iter().find(|m| m.id == line);
    found.ok_or_else(|| WebError::NotFound("That material".to_owned()))
}

/// The form for a version carries its key, so it is fresh after each edit.
fn key(material: &Material) -> String {
    format!("material-{}", material.version)
}

pub(crate) async fn new_material(State(state): State<AppState>) -> PageResult {
    let key = format!("material-new-{}", state.store.count_materials().await?);
    let mut form = draft_of(&state, &key).await?;
    form.set_default(MaterialForm::CUTTING, Cutting::Wet.key());
    form.set_default(MaterialForm::CENTER, "1.50");
    show(&MaterialPage::new(&state, form, key, None))
}

pub(crate) async fn add_material(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let key = posted_key(&form, "material-new-")?;
    let Some(details) = MaterialForm::read(&mut form) else {
        return show_again(&MaterialPage::new(&state, form, key, None));
    };
    let kept = state.store.insert_material(&act_of(&key, &form), None, &details, state.clock.now()).await;
    match form.kept(kept)? {
        Some(_) => go(LIST),
        None => show_again(&MaterialPage::new(&state, form, key, None)),
    }
}

pub(crate) async fn show_material(State(state): State<AppState>, Path(line): Path<String>) -> PageResult {
    let material = find_line(&state, &line).await?;
    let key = key(&material);
    let form = draft_or(&state, &key, || MaterialForm::fill(&material.details)).await?;
    show(&MaterialPage::new(&state, form, key, Some(&material)))
}

pub(crate) async fn change_material(
    State(state): State<AppState>,
    Path(line): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let material = find_line(&state, &line).await?;
    let (posted_key, key) = (posted_key(&form, "material-")?, key(&material));
    let kept = MaterialForm::fill(&material.details);
    let details = match correct(&mut form, &material.details, &kept, posted_key != key, MaterialForm::read) {
        PostedCorrection::Nothing => return go(LIST),
        PostedCorrection::Refused => return show_again(&MaterialPage::new(&state, form, key, Some(&material))),
        PostedCorrection::Changed(details) => details,
    };
    let kept = state.store.insert_material(&key, Some(material.id), &details, state.clock.now()).await;
    match form.kept(kept)? {
        Some(Once::Now(())) => go(LIST),
        Some(Once::Before(_)) => {
            form.fail(MaterialForm::NAME, CHANGED_ELSEWHERE);
            show_again(&MaterialPage::new(&state, form, key, Some(&material)))
        }
        None => show_again(&MaterialPage::new(&state, form, key, Some(&material))),
    }
}

/// Retiring twice is the same as once.
pub(crate) async fn retire_material(
    State(state): State<AppState>,
    Path(line): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    posted_key(&Form::new(fields), "material-")?;
    let line = key_of(&line, "That material")?;
    let on_sale = state.store.list_materials().await?;
    if on_sale.iter().all(|m| m.id == line) {
        return Err(WebError::OutOfTurn("This is the only material offered: add another one first.".to_owned()));
    }
    state.store.retire_material(line, state.clock.now()).await?;
    go(LIST)
}

/// The fields of a material's form.
pub(in crate::web) struct MaterialForm;

impl MaterialForm {
    pub(in crate::web) const NAME: &str = "name";
    pub(in crate::web) const INDEX: &str = "index";
    pub(in crate::web) const ABBE: &str = "abbe";
    pub(in crate::web) const DENSITY: &str = "density";
    pub(in crate::web) const CENTER: &str = "center";
    const CUTTING: &str = "cutting";
    const CODE: &str = "code";
    pub(in crate::web) const PRICE: &str = "price";

    fn fill(details: &MaterialDetails) -> Form {
        Form::of([
            (Self::NAME, details.name.clone()),
            (Self::INDEX, written(details.index_thousandths, 3)),
            (Self::ABBE, written(details.abbe_tenths, 1)),
            (Self::DENSITY, written(details.density_hundredths, 2)),
            (Self::CENTER, written(details.centre_hundredths, 2)),
            (Self::CUTTING, details.cutting.key().to_owned()),
            (Self::CODE, details.code.clone()),
            (Self::PRICE, details.price.plain()),
        ])
    }

    fn read(form: &mut Form) -> Option<MaterialDetails> {
        let name = form.read(Self::NAME, |t| text::needed("A name", t, 80));
        let index = form.read(Self::INDEX, |t| scaled("A refractive index", t, 3, INDEX_THOUSANDTHS));
        let abbe = form.read(Self::ABBE, |t| scaled("An Abbe number", t, 1, ABBE_TENTHS));
        let density = form.read(Self::DENSITY, |t| scaled("A density in g/cm³", t, 2, DENSITY_HUNDREDTHS));
        let center = form.read(Self::CENTER, |t| scaled("A center thickness in mm", t, 2, CENTER_HUNDREDTHS));
        let cutting = form.read(Self::CUTTING, |t| Cutting::from_key(t).ok_or("Choose how it is cut"));
        let code = form.read(Self::CODE, read_code);
        let price = form.read(Self::PRICE, |t| Cents::read_price(t, Cents::MOST_PRICE));
        Some(MaterialDetails {
            name: name?,
            index_thousandths: index?,
            abbe_tenths: abbe?,
            density_hundredths: density?,
            centre_hundredths: center?,
            cutting: cutting?,
            code: code?,
            price: price?,
        })
    }
}
