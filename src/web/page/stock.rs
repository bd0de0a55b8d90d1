//! The lens drawer: what uncut lenses there are, which run low, and the count set right.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::{Chrome, PageResult, act_of, draft_of, go, key_of, posted_key, show, show_again};
use crate::desk::id::MaterialId;
use crate::desk::stock::{CENTRE, CYLINDER, DIAMETER, DrawerLens, DrawerLensDetails, FRONT, LOW, MOST_AT_ONCE};
use crate::optics::prescription::read as read_power;
use crate::optics::unit::Dioptre;
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
    diameter: String,
    centre: String,
    front: String,
    count: i64,
    /// How many of them are kept for jobs.
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
        power: power(&lens.details),
        diameter: crate::optics::notation::short(lens.details.diameter.to_f64()),
        centre: lens.details.centre.map(|centre| centre.to_string()).unwrap_or_default(),
        front: lens.details.front_power.map(|front| front.to_string()).unwrap_or_default(),
        count: lens.count,
        kept: lens.promised,
        mark: match lens.count {
            ..=0 => Some(StockMark { class: "late", words: "None left" }),
            1..=LOW => Some(StockMark { class: "soon", words: "Last one" }),
            _ => None,
        },
        path: format!("/stock/{}/count", lens.id),
        key: key(lens),
    }
}

/// `-2.25 -0.50`, or `-2.25 sph`.
fn power(lens: &DrawerLensDetails) -> String {
    if lens.cylinder == Dioptre::ZERO {
        format!("{} sph", lens.sphere)
    } else {
        format!("{} {}", lens.sphere, lens.cylinder)
    }
}

#[derive(Template)]
#[template(path = "stock/new.html")]
struct NewPage {
    chrome: Chrome,
    form: Form,
    key: String,
    materials: Vec<(String, String)>,
}

impl NewPage {
    async fn new(state: &AppState, form: Form, key: String) -> Result<Self, WebError> {
        let materials = state.store.list_materials().await?;
        let materials = materials.into_iter().map(|m| (m.id.to_string(), m.details.name)).collect();
        Ok(Self { chrome: Chrome::new(state, "stock"), form, key, materials })
    }
}

pub(crate) async fn new_lens(State(state): State<AppState>) -> PageResult {
    let key = format!("{NEW_KEY}{}", state.store.count_drawer_moves().await?);
    let mut form = draft_of(&state, &key).await?;
    form.set_default(DrawerLensForm::COUNT, "2");
    show(&NewPage::new(&state, form, key).await?)
}

pub(crate) async fn stock_lens(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let key = posted_key(&form, NEW_KEY)?;
    let on_sale = state.store.list_materials().await?.into_iter().map(|m| m.id).collect::<Vec<_>>();
    let Some(DrawerLensForm { lens, count }) = DrawerLensForm::read(&mut form, &on_sale) else {
        return show_again(&NewPage::new(&state, form, key).await?);
    };
    let stocked = state.store.stock_lens(&act_of(&key, &form), &lens, count, state.clock.now()).await;
    match form.kept(stocked)? {
        Some(_) => go(&format!("/stock#material-{}", lens.material.0.simple())),
        None => show_again(&NewPage::new(&state, form, key).await?),
    }
}

/// Lenses that are put in the drawer.
pub(in crate::web) struct DrawerLensForm {
    lens: DrawerLensDetails,
    count: i64,
}

impl DrawerLensForm {
    const MATERIAL: &str = "material";
    pub(in crate::web) const SPHERE: &str = "sphere";
    pub(in crate::web) const CYLINDER: &str = "cylinder";
    pub(in crate::web) const DIAMETER: &str = "diameter";
    pub(in crate::web) const CENTRE: &str = "centre";
    pub(in crate::web) const FRONT: &str = "front_power";
    const COUNT: &str = "count";

    /// `materials` are those on sale.
    fn read(form: &mut Form, materials: &[MaterialId]) -> Option<Self> {
        let material = form.read(Self::MATERIAL, |t| {
            t.parse().ok().filter(|id| materials.contains(id)).ok_or("Choose a material on sale")
        });
        let sphere = form.read(Self::SPHERE, |t| read_plain_power("A sphere", t));
        let cylinder =
            form.read_optional(Self::CYLINDER, |t| read_plain_power("A cylinder", t)).map(Option::unwrap_or_default);
        let diameter = form.read(Self::DIAMETER, |t| DIAMETER.read(t));
        let centre = form.read(Self::CENTRE, |t| CENTRE.read(t));
        let front_power = form.read(Self::FRONT, |t| FRONT.read(t));
        let count = form.read(Self::COUNT, read_count);
        let (sphere, cylinder) = in_minus_form(form, sphere?, cylinder?)?;
        let lens = DrawerLensDetails {
            material: material?,
            sphere,
            cylinder,
            diameter: diameter?,
            centre: Some(centre?),
            front_power: Some(front_power?),
            base: None,
            coating: None,
            tint: None,
        };
        Some(Self { lens, count: count? })
    }
}

/// A power written as a practitioner does, with neither axis nor prism: an uncut lens has no axis yet.
fn read_plain_power(what: &str, text: &str) -> Result<Dioptre, String> {
    if text.is_empty() {
        return Err(format!("{what} is needed, such as -2.25 or pl"));
    }
    match read_power(text) {
        Ok(reading) if reading.rx.power.axis().is_none() && reading.rx.prism.is_none() => Ok(reading.rx.power.sphere()),
        Ok(_) => Err(format!("{what} is one number, not “{text}”")),
        Err(faults) => Err(faults.first().map_or_else(|| format!("“{text}” is not a power"), ToString::to_string)),
    }
}

/// The drawer is kept in minus cylinder, as envelopes are printed; the plus form is turned only by the person.
fn in_minus_form(form: &mut Form, sphere: Dioptre, cylinder: Dioptre) -> Option<(Dioptre, Dioptre)> {
    if let Err(why) = CYLINDER.check(cylinder) {
        form.fail(DrawerLensForm::CYLINDER, why);
        return None;
    }
    if cylinder <= Dioptre::ZERO {
        return Some((sphere, cylinder));
    }
    let turned = sphere.hundredths() + cylinder.hundredths();
    let written = |h: i32| Dioptre::from_hundredths(h).map_or_else(|_| String::new(), |d| d.to_string());
    let why = format!(
        "That is the plus form. In minus cylinder this lens is {} {}: write it so",
        written(turned),
        written(-cylinder.hundredths())
    );
    form.fail(DrawerLensForm::CYLINDER, why);
    None
}

fn read_count(text: &str) -> Result<i64, String> {
    match text.parse::<i64>() {
        Ok(count) if (1..=MOST_AT_ONCE).contains(&count) => Ok(count),
        _ => Err(format!("How many is a whole number from 1 to {MOST_AT_ONCE}, not “{text}”")),
    }
}

#[derive(Template)]
#[template(path = "stock/count.html")]
struct CountPage {
    chrome: Chrome,
    form: Form,
    key: String,
    lens: DrawerRow,
    material: String,
}

impl CountPage {
    fn new(state: &AppState, form: Form, key: String, lens: &DrawerLens) -> Self {
        Self { chrome: Chrome::new(state, "stock"), form, key, lens: row(lens), material: lens.material_name.clone() }
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
    show(&CountPage::new(&state, form, key, &lens))
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
        return show_again(&CountPage::new(&state, form, posted_key, &lens));
    };
    match state.store.correct_count(&act_of(&posted_key, &form), lens.id, change, state.clock.now()).await {
        Ok(_) => go(&format!("/stock#lens-{}", lens.id.0.simple())),
        Err(StoreError::OutOfRange(_)) => {
            let why = match lens.promised {
                0 => format!("Only {} in the drawer: it cannot lose {}", lens.count, -change),
                kept => format!(
                    "Only {} of {} are free, {kept} kept for jobs: it cannot lose {}",
                    lens.free(),
                    lens.count,
                    -change
                ),
            };
            form.fail(CountForm::CHANGE, why);
            show_again(&CountPage::new(&state, form, key(&lens), &lens))
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
        _ => Err(format!("Write how many went in or out, such as +2 or -1, not “{text}”")),
    }
}
