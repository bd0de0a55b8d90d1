//! The lab's own page: who it is, how it works, what it sells.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Query, State};
use time::Date;

use super::{CHANGED_ELSEWHERE, Chrome, PageResult, SavedQuery, draft_or, go, posted_key, show, show_again};
use crate::desk::calendar::{ClosedDays, WEEK};
use crate::desk::catalogue::TreatmentKind;
use crate::desk::deadline::{STATED_LIMIT_DAYS, promise};
use crate::desk::lab::{
    BLANK_MARGIN, CENTER_LIMIT, CodeBasis, LEAD_DAYS, Lab, MOST_SHIPPING, TIGHT_CORNER, WHEEL_RADIUS, read_diameters,
};
use crate::desk::money::Cents;
use crate::desk::text::{self, TextError};
use crate::optics::notation::short;
use crate::optics::tolerance::{Profile, STANDARD_GOVERNS};
use crate::optics::unit::Millimeter;
use crate::shape::blocker::BlockerStep;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::two_windows::{PostedCorrection, correct};

pub(crate) mod material;
mod read;
pub(crate) mod treatment;

use read::whole;

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
    is_saved: bool,
    steps: Vec<SelectOption>,
    profiles: Vec<SelectOption>,
    bases: Vec<SelectOption>,
    lead_warning: Option<String>,
    week: Vec<(&'static str, &'static str)>,
    governs: &'static str,
    materials: Vec<PriceRow>,
    treatments: Vec<PriceRow>,
}

impl LabPage {
    async fn new(state: &AppState, form: Form, key: String) -> Result<Self, WebError> {
        Ok(Self {
            chrome: Chrome::new(state, "lab"),
            lead_warning: lead_warning(&form, state.clock.today()),
            week: WEEK.iter().map(|(key, _, name)| (*key, *name)).collect(),
            form,
            key,
            is_saved: false,
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

pub(crate) async fn show_lab(State(state): State<AppState>, Query(asked): Query<SavedQuery>) -> PageResult {
    let key = key(&state).await?;
    let form = draft_or(&state, &key, || LabForm::fill(&state.lab())).await?;
    show(&LabPage { is_saved: asked.is_saved(), ..LabPage::new(&state, form, key).await? })
}

pub(crate) async fn change_lab(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let (posted_key, key) = (posted_key(&form, "lab-")?, key(&state).await?);
    let standing = state.lab();
    let kept = LabForm::fill(&standing);
    let lab = match correct(&mut form, &*standing, &kept, posted_key != key, LabForm::read) {
        PostedCorrection::Nothing => return go(&SavedQuery::after("/lab")),
        PostedCorrection::Refused => return show_again(&LabPage::new(&state, form, key).await?),
        PostedCorrection::Changed(lab) => lab,
    };
    let kept = state.store.change_lab(&key, &lab, state.clock.now()).await;
    match form.kept(kept)? {
        Some(Once::Now(())) => {
            state.reload_lab().await?;
            go(&SavedQuery::after("/lab"))
        }
        Some(Once::Before(_)) => {
            form.fail(LabForm::NAME, CHANGED_ELSEWHERE);
            show_again(&LabPage::new(&state, form, key).await?)
        }
        None => show_again(&LabPage::new(&state, form, key).await?),
    }
}

/// The fields of the lab's form.
pub(in crate::web) struct LabForm;

impl LabForm {
    pub(in crate::web) const NAME: &str = "name";
    pub(in crate::web) const ADDRESS: &str = "address";
    const PHONE: &str = "phone";
    const EMAIL: &str = "email";
    const TAX_ID: &str = "tax_id";
    pub(in crate::web) const BLOCKER_STEP: &str = "blocker_step";
    pub(in crate::web) const BLANK_MARGIN: &str = "blank_margin";
    const TOLERANCE: &str = "tolerance";
    pub(in crate::web) const CENTER_ACROSS: &str = "center_across";
    pub(in crate::web) const CENTER_HEIGHT: &str = "center_height";
    pub(in crate::web) const TIGHT_CORNER: &str = "tight_corner";
    pub(in crate::web) const WHEEL_RADIUS: &str = "wheel_radius";
    pub(in crate::web) const STOCK_DIAMETERS: &str = "stock_diameters";
    const CODE_BASIS: &str = "code_basis";
    pub(in crate::web) const LEAD_DAYS: &str = "lead_days";
    pub(in crate::web) const CLOSED_WEEKDAYS: &str = "closed_weekdays";
    pub(in crate::web) const CLOSED_PERIODS: &str = "closed_periods";
    pub(in crate::web) const SHIPPING: &str = "shipping";

    fn fill(lab: &Lab) -> Form {
        let weekdays = lab.closed.weekday_keys().into_iter().map(|key| (Self::CLOSED_WEEKDAYS, key.to_owned()));
        let fields = [
            (Self::NAME, lab.name.clone()),
            (Self::ADDRESS, lab.address.clone()),
            (Self::PHONE, lab.phone.clone()),
            (Self::EMAIL, lab.email.clone()),
            (Self::TAX_ID, lab.tax_id.clone()),
            (Self::BLOCKER_STEP, lab.blocker_step.to_string()),
            (Self::BLANK_MARGIN, lab.blank_margin.to_string()),
            (Self::TOLERANCE, lab.tolerance.key().to_owned()),
            (Self::CENTER_ACROSS, lab.center_across.map(|mm| mm.to_string()).unwrap_or_default()),
            (Self::CENTER_HEIGHT, lab.center_height.map(|mm| mm.to_string()).unwrap_or_default()),
            (Self::TIGHT_CORNER, lab.tight_corner.to_string()),
            (Self::WHEEL_RADIUS, lab.wheel_radius.to_string()),
            (
                Self::STOCK_DIAMETERS,
                lab.stock_diameters.iter().map(|d| short(d.to_f64())).collect::<Vec<_>>().join(" "),
            ),
            (Self::CODE_BASIS, lab.code_basis.key().to_owned()),
            (Self::LEAD_DAYS, lab.lead_days.to_string()),
            (Self::CLOSED_PERIODS, lab.closed.typed_periods()),
            (Self::SHIPPING, lab.shipping.plain()),
        ];
        Form::new(fields.into_iter().chain(weekdays).map(|(name, value)| (name.to_owned(), value)).collect())
    }

    fn read(form: &mut Form) -> Option<Lab> {
        let name_and_address = Self::read_name(form);
        let phone = form.read(Self::PHONE, |t| text::line("A telephone number", t, 60));
        let email = form.read(Self::EMAIL, |t| text::line("An e-mail address", t, 120));
        let tax_id = form.read(Self::TAX_ID, |t| text::line("A tax id", t, 60));
        let blocker_step = form.read(Self::BLOCKER_STEP, |t| match t.parse::<Millimeter>() {
            Ok(step) if BlockerStep::from_mm(step.to_f64()).is_ok() => Ok(step),
            _ => Err("Choose 1, 0.5 or 0.1 mm"),
        });
        let blank_margin = form.read(Self::BLANK_MARGIN, |t| BLANK_MARGIN.read(t));
        let tolerance = form.read(Self::TOLERANCE, |t| Profile::from_key(t).ok_or("Choose a table"));
        let center_across = form.read_optional(Self::CENTER_ACROSS, |t| CENTER_LIMIT.read(t));
        let center_height = form.read_optional(Self::CENTER_HEIGHT, |t| CENTER_LIMIT.read(t));
        let tight_corner = form.read(Self::TIGHT_CORNER, |t| TIGHT_CORNER.read(t));
        let wheel_radius = form.read(Self::WHEEL_RADIUS, |t| WHEEL_RADIUS.read(t));
        let stock_diameters = form.read(Self::STOCK_DIAMETERS, read_diameters);
        let code_basis = form.read(Self::CODE_BASIS, |t| CodeBasis::from_key(t).ok_or("Choose a form"));
        let lead_days = form.read(Self::LEAD_DAYS, |t| whole("A lead time", t, LEAD_DAYS));
        let closed = Self::read_closed(form);
        let shipping = form.read(Self::SHIPPING, |t| Cents::read_price(t, MOST_SHIPPING));
        let (name, address) = name_and_address?;
        Some(Lab {
            name,
            address,
            phone: phone?,
            email: email?,
            tax_id: tax_id?,
            blocker_step: blocker_step?,
            blank_margin: blank_margin?,
            tolerance: tolerance?,
            center_across: center_across?,
            center_height: center_height?,
            tight_corner: tight_corner?,
            wheel_radius: wheel_radius?,
            stock_diameters: stock_diameters?,
            code_basis: code_basis?,
            lead_days: lead_days?.into(),
            closed: closed?,
            shipping: shipping?,
        })
    }

    fn read_closed(form: &mut Form) -> Option<ClosedDays> {
        let weekdays = ClosedDays::read_weekdays(form.values(Self::CLOSED_WEEKDAYS));
        let periods = form.read(Self::CLOSED_PERIODS, ClosedDays::read_periods);
        match weekdays {
            Ok(weekdays) => Some(ClosedDays { weekdays, periods: periods? }),
            Err(why) => {
                form.fail(Self::CLOSED_WEEKDAYS, why);
                None
            }
        }
    }

    /// The name and the address, which are all that the first run asks for.
    pub(super) fn read_name(form: &mut Form) -> Option<(String, String)> {
        let name = form.read(Self::NAME, |t| text::needed("The lab's name", t, 200));
        let address = form.read(Self::ADDRESS, read_address);
        Some((name?, address?))
    }
}

/// The address that stands on every paper.
fn read_address(text: &str) -> Result<String, TextError> {
    let lines = text::lines("An address", text, 400)?;
    if lines.is_empty() { Err(TextError::Missing("An address")) } else { Ok(lines) }
}

/// Warns where an order of today would be promised beyond the thirty days of the mail-order rule.
fn lead_warning(form: &Form, today: Date) -> Option<String> {
    let days: i64 = form.value(LabForm::LEAD_DAYS).trim().parse().ok()?;
    let weekdays = ClosedDays::read_weekdays(form.values(LabForm::CLOSED_WEEKDAYS)).ok()?;
    let periods = ClosedDays::read_periods(form.value(LabForm::CLOSED_PERIODS)).ok()?;
    let calendar_days = (promise(today, days, &ClosedDays { weekdays, periods }) - today).whole_days();
    (calendar_days > STATED_LIMIT_DAYS).then(|| {
        format!(
            "An order of today would be promised in {calendar_days} calendar days, more than {STATED_LIMIT_DAYS}: under \
             the mail-order rule (16 CFR Part 435) the buyer must be told this time before paying, and you must have a \
             reasonable basis for it."
        )
    })
}

fn kind_words(kind: TreatmentKind) -> &'static str {
    match kind {
        TreatmentKind::Coating => "coating",
        TreatmentKind::Tint => "tint",
    }
}
