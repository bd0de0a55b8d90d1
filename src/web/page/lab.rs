//! The lab's own page: who it is, how it works, what it sells.

use askama::Template;
use axum::Form as Posted;
use axum::extract::State;

use super::{CHANGED_ELSEWHERE, Chrome, PageResult, draft_or, go, posted_key, show, show_again};
use crate::desk::catalogue::TreatmentKind;
use crate::desk::lab::{CodeBasis, Lab};
use crate::desk::money::Cents;
use crate::desk::text::{self, TextError};
use crate::optics::tolerance::{Profile, STANDARD_GOVERNS};
use crate::optics::unit::Millimetre;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::measure;

pub(crate) mod material;
mod read;
pub(crate) mod treatment;

use read::{read_price, whole};

/// Days within which an order must be sent when nothing else was promised (16 CFR 435.2).
const MAIL_ORDER_DAYS: i64 = 30;

/// A row of one of the two price lists.
struct PriceRow {
    name: String,
    kind: &'static str,
    facts: Vec<String>,
    code: String,
    price: String,
    path: String,
}

/// A choice of a select.
struct SelectOption {
    value: &'static str,
    label: String,
}

#[derive(Template)]
#[template(path = "lab/lab.html")]
struct LabPage {
    chrome: Chrome,
    form: Form,
    key: String,
    steps: Vec<SelectOption>,
    profiles: Vec<SelectOption>,
    bases: Vec<SelectOption>,
    lead_warning: Option<String>,
    governs: &'static str,
    materials: Vec<PriceRow>,
    treatments: Vec<PriceRow>,
}

impl LabPage {
    async fn new(state: &AppState, form: Form, key: String) -> Result<Self, WebError> {
        Ok(Self {
            chrome: Chrome::new(state, "lab"),
            lead_warning: lead_warning(form.value("lead_days")),
            form,
            key,
            steps: [("1.00", "1 mm"), ("0.50", "0.5 mm"), ("0.10", "0.1 mm")]
                .map(|(value, label)| SelectOption { value, label: label.to_owned() })
                .into(),
            profiles: Profile::ALL.map(|p| SelectOption { value: p.key(), label: p.to_string() }).into(),
            bases: CodeBasis::ALL
                .iter()
                .map(|b| SelectOption { value: b.key(), label: b.words().to_owned() })
                .collect(),
            governs: STANDARD_GOVERNS,
            materials: state.store.list_materials().await?.into_iter().map(material::row).collect(),
            treatments: state.store.list_treatments().await?.into_iter().map(treatment::row).collect(),
        })
    }
}

async fn key(state: &AppState) -> Result<String, WebError> {
    Ok(format!("lab-{}", state.store.count_lab_changes().await?))
}

pub(crate) async fn show_lab(State(state): State<AppState>) -> PageResult {
    let key = key(&state).await?;
    let form = draft_or(&state, &key, || fill(&state.lab())).await?;
    show(&LabPage::new(&state, form, key).await?)
}

pub(crate) async fn change_lab(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let posted_key = posted_key(&form, "lab-")?;
    let Some(lab) = read_lab(&mut form) else {
        return show_again(&LabPage::new(&state, form, posted_key).await?);
    };
    if lab == *state.lab() {
        return go("/lab");
    }
    match state.store.change_lab(&posted_key, &lab, state.clock.now()).await? {
        Once::Now(()) => {
            state.reload_lab().await?;
            go("/lab")
        }
        Once::Before(_) => {
            form.fail("name", CHANGED_ELSEWHERE);
            let fresh = key(&state).await?;
            show_again(&LabPage::new(&state, form, fresh).await?)
        }
    }
}

fn fill(lab: &Lab) -> Form {
    let mut form = Form::default();
    for (name, value) in [
        ("name", lab.name.clone()),
        ("address", lab.address.clone()),
        ("phone", lab.phone.clone()),
        ("email", lab.email.clone()),
        ("tax_id", lab.tax_id.clone()),
        ("blocker_step", lab.blocker_step.to_string()),
        ("blank_margin", lab.blank_margin.to_string()),
        ("tolerance", lab.tolerance.key().to_owned()),
        ("code_basis", lab.code_basis.key().to_owned()),
        ("lead_days", lab.lead_days.to_string()),
        ("shipping", lab.shipping.plain()),
    ] {
        form.set(name, value);
    }
    form
}

fn read_lab(form: &mut Form) -> Option<Lab> {
    let name = form.read("name", |t| text::needed("The lab's name", t, 200));
    let address = form.read("address", read_address);
    let phone = form.read("phone", |t| text::line("A telephone number", t, 60));
    let email = form.read("email", |t| text::line("An e-mail address", t, 120));
    let tax_id = form.read("tax_id", |t| text::line("A tax id", t, 60));
    let blocker_step = form.read("blocker_step", |t| match t.parse::<Millimetre>() {
        Ok(step) if [10, 50, 100].contains(&step.hundredths()) => Ok(step),
        _ => Err("Choose 1, 0.5 or 0.1 mm"),
    });
    let blank_margin = form.read("blank_margin", |t| measure::length("A margin", t, 0, 1000));
    let tolerance = form.read("tolerance", |t| Profile::from_key(t).ok_or("Choose a table"));
    let code_basis = form.read("code_basis", |t| CodeBasis::from_key(t).ok_or("Choose a form"));
    let lead_days = form.read("lead_days", |t| whole("A lead time", t, 1, 120));
    let shipping = form.read("shipping", |t| read_price(t, Cents::new(1_000_000)));
    Some(Lab {
        name: name?,
        address: address?,
        phone: phone?,
        email: email?,
        tax_id: tax_id?,
        blocker_step: blocker_step?,
        blank_margin: blank_margin?,
        tolerance: tolerance?,
        code_basis: code_basis?,
        lead_days: lead_days?.into(),
        shipping: shipping?,
    })
}

/// The address that stands on every paper.
pub(super) fn read_address(text: &str) -> Result<String, TextError> {
    let lines = text::lines("An address", text, 400)?;
    if lines.is_empty() { Err(TextError::Missing("An address")) } else { Ok(lines) }
}

fn lead_warning(text: &str) -> Option<String> {
    let days: i64 = text.trim().parse().ok()?;
    (days > MAIL_ORDER_DAYS).then(|| {
        format!(
            "More than {MAIL_ORDER_DAYS} days: under the mail-order rule (16 CFR Part 435) the buyer must be told this time \
             before paying, and you must have a reasonable basis for it."
        )
    })
}

fn kind_words(kind: TreatmentKind) -> &'static str {
    match kind {
        TreatmentKind::Coating => "coating",
        TreatmentKind::Tint => "tint",
    }
}
