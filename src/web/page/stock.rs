//! The lens drawer: what uncut lenses there are, which run low, and the count set right.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::{Chrome, PageResult, act_of, draft_of, go, key_of, posted_key, show, show_again};
use crate::desk::catalogue::{Treatment, TreatmentKind};
use crate::desk::delivery_list::{
    DeliveredLens, NO_FRONT, minus_form, read_count, read_delivery_list, read_plain_power,
};
use crate::desk::id::{MaterialId, TreatmentId};
use crate::desk::stock::{BASE, CENTER, DIAMETER, Delivery, DrawerLens, DrawerLensDetails, FRONT, LOW, MOST_AT_ONCE};
use crate::desk::text;
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;

/// How the key of the form for new lenses begins; the count of all moves follows.
const NEW_KEY: &str = "stock-new-";

struct DrawerRow {
    anchor: String,
    power: String,
    treatments: String,
    supplier: String,
    /// Lot and certificate of the newest delivery.
    source: String,
    reorder_at: Option<i64>,
    diameter: String,
    center: String,
    front: String,
    count: i64,
    /// How many of them are reserved.
    kept: i64,
    mark: Option<StockMark>,
    path: String,
    key: String,
}

struct StockMark {
    class: &'static str,
    words: &'static str,
}

struct DrawerGroup {
    material: String,
    anchor: String,
    lenses: i64,
    low: usize,
    rows: Vec<DrawerRow>,
}

#[derive(Template)]
#[template(path = "stock/drawer.html")]
struct DrawerPage {
    chrome: Chrome,
    groups: Vec<DrawerGroup>,
    summary: String,
}

pub(crate) async fn show_drawer(State(state): State<AppState>) -> PageResult {
    let groups = group(state.store.list_drawer().await?);
    let summary = summary(&groups);
    show(&DrawerPage { chrome: Chrome::new(&state, "stock"), groups, summary })
}

/// `189 lenses of 70 kinds, 18 of them low`.
fn summary(groups: &[DrawerGroup]) -> String {
    let lenses: i64 = groups.iter().map(|g| g.lenses).sum();
    let kinds: usize = groups.iter().map(|g| g.rows.len()).sum();
    let low: usize = groups.iter().map(|g| g.low).sum();
    let kinds = if kinds == 1 { "1 kind".to_owned() } else { format!("{kinds} kinds") };
    let low = if low == 0 { String::new() } else { format!(", {low} of them low") };
    format!("{lenses} {} of {kinds}{low}", if lenses == 1 { "lens" } else { "lenses" })
}

/// The drawer comes sorted by material.
fn group(drawer: Vec<DrawerLens>) -> Vec<DrawerGroup> {
    let mut groups: Vec<DrawerGroup> = Vec::new();
    for lens in drawer {
        if groups.last().is_none_or(|g| g.material != lens.material_name) {
            groups.push(DrawerGroup {
                material: lens.material_name.clone(),
                anchor: format!("material-{}", lens.details.material.0.simple()),
                lenses: 0,
                low: 0,
                rows: Vec::new(),
            });
        }
        if let Some(group) = groups.last_mut() {
            group.lenses += lens.count;
            group.low += usize::from(lens.count <= LOW);
            group.rows.push(row(&lens));
        }
    }
    groups
}

fn row(lens: &DrawerLens) -> DrawerRow {
    DrawerRow {
        anchor: format!("lens-{}", lens.id.0.simple()),
        power: lens.details.power_words(),
        treatments: lens.treatments.clone(),
        supplier: lens.supplier.as_ref().map(|supplier| supplier.name.clone()).unwrap_or_default(),
        source: lens.source.clone(),
        reorder_at: lens.reorder_at,
        diameter: crate::optics::notation::short(lens.details.diameter.to_f64()),
        center: lens.details.center.map(|center| center.to_string()).unwrap_or_default(),
        front: front_words(&lens.details),
        count: lens.count,
        kept: lens.promised,
        mark: match lens.count {
            ..=0 => Some(StockMark { class: "late", words: "None left" }),
            _ if lens.reorder_at.is_some_and(|point| lens.free() <= point) => {
                Some(StockMark { class: "soon", words: "Reorder" })
            }
            1..=LOW => Some(StockMark { class: "soon", words: "Last one" }),
            _ => None,
        },
        path: format!("/stock/{}/count", lens.id),
        key: key(lens),
    }
}

/// How many lenses can be typed on one page; more are pasted.
const ROWS: usize = 6;

#[derive(Template)]
#[template(path = "stock/new.html")]
struct NewPage {
    chrome: Chrome,
    form: Form,
    key: String,
    materials: Vec<(String, String)>,
    coatings: Vec<(String, String)>,
    tints: Vec<(String, String)>,
    suppliers: Vec<String>,
    rows: Vec<LensRowNames>,
    list_faults: Vec<String>,
}

impl NewPage {
    async fn new(state: &AppState, mut form: Form, key: String, list_faults: Vec<String>) -> Result<Self, WebError> {
        let materials = state.store.list_materials().await?;
        let treatments = state.store.list_treatments().await?;
        let of = |kind| {
            let own = treatments.iter().filter(move |treatment| treatment.details.kind == kind);
            own.map(|treatment| (treatment.id.to_string(), treatment.details.name.clone())).collect()
        };
        let rows: Vec<LensRowNames> = (1..=ROWS).map(LensRowNames::of).collect();
        for row in &rows {
            form.set_default(&row.count, "2");
        }
        Ok(Self {
            chrome: Chrome::new(state, "stock"),
            materials: materials.into_iter().map(|m| (m.id.to_string(), m.details.name)).collect(),
            coatings: of(TreatmentKind::Coating),
            tints: of(TreatmentKind::Tint),
            suppliers: state.store.list_suppliers().await?.into_iter().map(|supplier| supplier.name).collect(),
            rows,
            list_faults,
            form,
            key,
        })
    }
}

pub(crate) async fn new_lens(State(state): State<AppState>) -> PageResult {
    let key = format!("{NEW_KEY}{}", state.store.count_drawer_moves().await?);
    let form = draft_of(&state, &key).await?;
    show(&NewPage::new(&state, form, key, Vec::new()).await?)
}

pub(crate) async fn stock_lens(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let key = posted_key(&form, NEW_KEY)?;
    let on_sale = state.store.list_materials().await?.into_iter().map(|m| m.id).collect::<Vec<_>>();
    let treatments = state.store.list_treatments().await?;
    let DrawerLensForm { deliveries, list_faults } = DrawerLensForm::read(&mut form, &on_sale, &treatments);
    let (true, Some(first)) = (form.is_fine(), deliveries.first()) else {
        return show_again(&NewPage::new(&state, form, key, list_faults).await?);
    };
    let material = first.lens.material;
    let stocked = state.store.stock_lenses(&act_of(&key, &form), &deliveries, state.clock.now()).await;
    match form.kept(stocked)? {
        Some(_) => go(&format!("/stock#material-{}", material.0.simple())),
        None => show_again(&NewPage::new(&state, form, key, Vec::new()).await?),
    }
}

/// The names of the fields of one row; those of the first have no number.
struct LensRowNames {
    number: usize,
    sphere: String,
    cylinder: String,
    diameter: String,
    center: String,
    front: String,
    base: String,
    count: String,
}

impl LensRowNames {
    fn of(number: usize) -> Self {
        let name = |field: &str| if number == 1 { field.to_owned() } else { format!("{field}_{number}") };
        Self {
            number,
            sphere: name(DrawerLensForm::SPHERE),
            cylinder: name(DrawerLensForm::CYLINDER),
            diameter: name(DrawerLensForm::DIAMETER),
            center: name(DrawerLensForm::CENTER),
            front: name(DrawerLensForm::FRONT),
            base: name("base"),
            count: name("count"),
        }
    }

    /// Whether anything but the count was typed.
    fn is_used(&self, form: &Form) -> bool {
        let fields = [&self.sphere, &self.cylinder, &self.diameter, &self.center, &self.front, &self.base];
        fields.into_iter().any(|name| !form.value(name).trim().is_empty())
    }

    fn read(&self, form: &mut Form) -> Option<DeliveredLens> {
        let sphere = form.read(&self.sphere, |t| read_plain_power("A sphere", t));
        let cylinder = form.read_optional(&self.cylinder, |t| read_plain_power("A cylinder", t));
        let diameter = form.read(&self.diameter, |t| DIAMETER.read(t));
        let center = form.read_optional(&self.center, |t| CENTER.read(t));
        let front_power = form.read_optional(&self.front, |t| FRONT.read(t));
        let base = form.read_optional(&self.base, |t| BASE.read(t));
        let count = form.read(&self.count, read_count);
        if (front_power, base) == (Some(None), Some(None)) {
            form.fail(&self.base, NO_FRONT);
        }
        let (sphere, cylinder) = match minus_form(sphere?, cylinder?.unwrap_or_default()) {
            Ok(power) => power,
            Err(why) => {
                form.fail(&self.cylinder, why);
                return None;
            }
        };
        let (diameter, count) = (diameter?, count?);
        Some(DeliveredLens {
            sphere,
            cylinder,
            diameter,
            center: center?,
            front_power: front_power?,
            base: base?,
            count,
        })
    }
}

/// Lenses that are put in the drawer: rows, a pasted list, or both.
pub(in crate::web) struct DrawerLensForm {
    deliveries: Vec<Delivery>,
    list_faults: Vec<String>,
}

impl DrawerLensForm {
    const MATERIAL: &str = "material";
    const COATING: &str = "coating";
    const SECOND_COATING: &str = "second_coating";
    const TINT: &str = "tint";
    const SUPPLIER: &str = "supplier";
    const SOURCE: &str = "source";
    const REORDER_AT: &str = "reorder_at";
    const LIST: &str = "list";
    pub(in crate::web) const SPHERE: &str = "sphere";
    pub(in crate::web) const CYLINDER: &str = "cylinder";
    pub(in crate::web) const DIAMETER: &str = "diameter";
    pub(in crate::web) const CENTER: &str = "center";
    pub(in crate::web) const FRONT: &str = "front_power";

    /// `materials` and `treatments` are those on sale.
    fn read(form: &mut Form, materials: &[MaterialId], treatments: &[Treatment]) -> Self {
        let (lenses, list_faults) = read_rows(form);
        let material = form
            .read(Self::MATERIAL, |t| t.parse().ok().filter(|id| materials.contains(id)).ok_or("Choose a material"));
        let coating = read_treatment(form, Self::COATING, treatments, TreatmentKind::Coating);
        let second_coating = read_second_coating(form, coating.flatten(), treatments);
        let tint = read_treatment(form, Self::TINT, treatments, TreatmentKind::Tint);
        let supplier = form.read(Self::SUPPLIER, |t| text::line("A supplier", t, 100));
        let source = form.read(Self::SOURCE, |t| text::line("Lot and certificate", t, 200));
        let reorder_at = form.read_optional(Self::REORDER_AT, read_reorder_point);
        let (Some(material), Some(coating), Some(second_coating), Some(tint)) =
            (material, coating, second_coating, tint)
        else {
            return Self { deliveries: Vec::new(), list_faults };
        };
        let (Some(supplier), Some(source), Some(reorder_at)) = (supplier, source, reorder_at) else {
            return Self { deliveries: Vec::new(), list_faults };
        };
        let delivery = |lens: DeliveredLens| Delivery {
            lens: DrawerLensDetails {
                material,
                coating,
                second_coating,
                tint,
                sphere: lens.sphere,
                cylinder: lens.cylinder,
                diameter: lens.diameter,
                center: lens.center,
                front_power: lens.front_power,
                base: lens.base,
            },
            count: lens.count,
            reorder_at,
            supplier: supplier.clone(),
            source: source.clone(),
        };
        Self { deliveries: lenses.into_iter().map(delivery).collect(), list_faults }
    }
}

/// The rows that are used and the pasted list; the first row where nothing is. And what is wrong with the list.
fn read_rows(form: &mut Form) -> (Vec<DeliveredLens>, Vec<String>) {
    let rows: Vec<LensRowNames> = (1..=ROWS).map(LensRowNames::of).filter(|row| row.is_used(form)).collect();
    let list = form.value(DrawerLensForm::LIST).to_owned();
    if rows.is_empty() && list.trim().is_empty() {
        return (LensRowNames::of(1).read(form).into_iter().collect(), Vec::new());
    }
    let mut lenses: Vec<DeliveredLens> = rows.iter().filter_map(|row| row.read(form)).collect();
    match read_delivery_list(&list) {
        Ok(pasted) => {
            lenses.extend(pasted);
            (lenses, Vec::new())
        }
        Err(faults) => {
            form.fail(DrawerLensForm::LIST, format!("{} of the lines cannot be read; nothing was added", faults.len()));
            (lenses, faults)
        }
    }
}

/// A coating or tint by its key; `Some(None)` for none.
fn read_treatment(
    form: &mut Form,
    field: &str,
    on_sale: &[Treatment],
    kind: TreatmentKind,
) -> Option<Option<TreatmentId>> {
    form.read_optional(field, |t| {
        let known = |id: &TreatmentId| on_sale.iter().any(|own| own.id == *id && own.details.kind == kind);
        t.parse().ok().filter(known).ok_or("Choose one from the list")
    })
}

/// The coating over the first one, which is another.
fn read_second_coating(
    form: &mut Form,
    first: Option<TreatmentId>,
    on_sale: &[Treatment],
) -> Option<Option<TreatmentId>> {
    let field = DrawerLensForm::SECOND_COATING;
    let second = read_treatment(form, field, on_sale, TreatmentKind::Coating)?;
    let why = match (first, second) {
        (_, None) => return Some(None),
        (Some(first), Some(second)) if first == second => "This is the first coating: choose another, or none",
        (Some(_), _) => return Some(second),
        (None, _) => "Choose the first coating as well, or move this one there",
    };
    form.fail(field, why);
    None
}

/// With so many free lenses or fewer, more are bought.
fn read_reorder_point(text: &str) -> Result<i64, String> {
    match text.parse::<i64>() {
        Ok(point) if (0..=MOST_AT_ONCE).contains(&point) => Ok(point),
        _ => Err(format!("A reorder point is a whole number from 0 to {MOST_AT_ONCE}, not “{text}”")),
    }
}

pub(crate) async fn set_reorder_point(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let lens = find_lens(&state, &id).await?;
    posted_key(&form, "reorder-")?;
    let reorder_at = form.read_optional(DrawerLensForm::REORDER_AT, read_reorder_point);
    let supplier = form.read(DrawerLensForm::SUPPLIER, |t| text::line("A supplier", t, 100));
    let (Some(reorder_at), Some(supplier)) = (reorder_at, supplier) else {
        return show_again(&CountPage::new(&state, form, key(&lens), &lens).await?);
    };
    state.store.set_reorder_point(lens.id, reorder_at, &supplier, state.clock.now()).await?;
    go(&format!("/stock#lens-{}", lens.id.0.simple()))
}

/// The true front, else the nominal base curve.
fn front_words(lens: &DrawerLensDetails) -> String {
    match (lens.front_power, lens.base) {
        (Some(front), _) => front.to_string(),
        (None, Some(base)) => format!("base {}", crate::optics::notation::short(base.to_f64())),
        (None, None) => String::new(),
    }
}

#[derive(Template)]
#[template(path = "stock/count.html")]
struct CountPage {
    chrome: Chrome,
    form: Form,
    key: String,
    reorder_key: String,
    lens: DrawerRow,
    material: String,
    suppliers: Vec<String>,
}

impl CountPage {
    async fn new(state: &AppState, mut form: Form, key: String, lens: &DrawerLens) -> Result<Self, WebError> {
        let reorder_at = lens.reorder_at.map(|point| point.to_string()).unwrap_or_default();
        form.set_default(DrawerLensForm::REORDER_AT, reorder_at);
        let supplier = lens.supplier.as_ref().map(|supplier| supplier.name.clone()).unwrap_or_default();
        form.set_default(DrawerLensForm::SUPPLIER, supplier);
        Ok(Self {
            chrome: Chrome::new(state, "stock"),
            form,
            key,
            reorder_key: format!("reorder-{}", lens.id.0.simple()),
            lens: row(lens),
            material: lens.material_name.clone(),
            suppliers: state.store.list_suppliers().await?.into_iter().map(|supplier| supplier.name).collect(),
        })
    }
}

async fn find_lens(state: &AppState, id: &str) -> Result<DrawerLens, WebError> {
    let id = key_of(id, "That lens")?;
    let found = state.store.list_drawer().await?.into_iter().find(|l| l.id == id);
    found.ok_or_else(|| WebError::NotFound("That lens".to_owned()))
}

/// Grows with every move, so a double click moves one lens and the next click another.
fn key(lens: &DrawerLens) -> String {
    format!("stock-{}-{}", lens.id.0.simple(), lens.moves)
}

pub(crate) async fn ask_count(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let lens = find_lens(&state, &id).await?;
    let key = key(&lens);
    let form = draft_of(&state, &key).await?;
    show(&CountPage::new(&state, form, key, &lens).await?)
}

pub(crate) async fn correct_count(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let lens = find_lens(&state, &id).await?;
    let posted_key = posted_key(&form, "stock-")?;
    let Some(CountForm { change }) = CountForm::read(&mut form) else {
        return show_again(&CountPage::new(&state, form, posted_key, &lens).await?);
    };
    match state.store.correct_count(&act_of(&posted_key, &form), lens.id, change, state.clock.now()).await {
        Ok(_) => go(&format!("/stock#lens-{}", lens.id.0.simple())),
        Err(StoreError::OutOfRange(_)) => {
            let why = match lens.promised {
                0 => format!("Only {} in the drawer: {} cannot be removed", lens.count, -change),
                kept => format!(
                    "Only {} of {} are free, {kept} reserved: {} cannot be removed",
                    lens.free(),
                    lens.count,
                    -change
                ),
            };
            form.fail(CountForm::CHANGE, why);
            show_again(&CountPage::new(&state, form, key(&lens), &lens).await?)
        }
        Err(other) => Err(other.into()),
    }
}

/// How many went in or out.
struct CountForm {
    change: i64,
}

impl CountForm {
    const CHANGE: &str = "change";

    fn read(form: &mut Form) -> Option<Self> {
        Some(Self { change: form.read(Self::CHANGE, read_change)? })
    }
}

fn read_change(text: &str) -> Result<i64, String> {
    let clean = text.replace(['−', '–'], "-");
    match clean.parse::<i64>() {
        Ok(change) if change != 0 && (-MOST_AT_ONCE..=MOST_AT_ONCE).contains(&change) => Ok(change),
        _ => {
            Err(format!("Write how many were added or removed, such as +2 or -1, at most {MOST_AT_ONCE}, not “{text}”"))
        }
    }
}
