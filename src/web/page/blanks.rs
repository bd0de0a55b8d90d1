//! What to order: from the lens drawer, the usual diameters or a supplier's list, cut out exactly on the shape.

use std::sync::Arc;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::job_bar::{EyeWords, JobBar};
use super::layout::supply_of;
use super::{Chrome, PageResult, act_of, draft_or, form_key, go, posted_key, show, show_again};
use crate::bench::layout::{EyeOnBench, Fit, JobLayout, step_of};
use crate::bench::lens::{JobLens, LensOverrides};
use crate::bench::real_size::{PrismMade, Supply};
use crate::desk::job::Job;
use crate::desk::step::Step;
use crate::desk::stock::{DrawerLens, Suit, WantedLens};
use crate::desk::supplier_list::{OfferedBlank, read_supplier_list};
use crate::optics::direction::{Directed, place_words};
use crate::optics::notation::short;
use crate::optics::prescription::Prism;
use crate::optics::{Eye, Pair};
use crate::shape::blank::tightest_spare;
use crate::shape::cutout::{StockBlank, cut_out_with_prism};
use crate::shape::thickness::Thickness;
use crate::store::draft::Fields;
use crate::store::supplier_list::{KeptSupplierList, NewSupplierList};
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::measure;
use crate::web::words::eye_class;

/// The form, as its keys begin.
const FORM: &str = "blanks";

/// What a supplier offers, and the prism wanted before each eye.
struct BlanksForm {
    offers: Vec<OfferedBlank>,
    prisms: [Prism; 2],
}

impl BlanksForm {
    const LIST: &str = "list";
    const PRISMS: [&str; 2] = ["prism_right", "prism_left"];

    /// A field that cannot be read has its sentence and counts as empty.
    fn read(form: &mut Form, job: &Job) -> Self {
        for (name, eye) in Self::PRISMS.into_iter().zip(Eye::BOTH) {
            let prism = if job.makes(eye) { job.prescription.eyes.get(eye).prism } else { Prism::NONE };
            form.set_default(name, prism.notation());
        }
        let offers = form.read(Self::LIST, |text| read_supplier_list(text).map_err(|faults| faults.join("; ")));
        let prisms = Self::PRISMS.map(|name| form.read(name, measure::prism).unwrap_or(Prism::NONE));
        Self { offers: offers.unwrap_or_default(), prisms }
    }
}

#[derive(Template)]
#[template(path = "blanks/show.html")]
struct BlanksPage {
    chrome: Chrome,
    bar: JobBar,
    material: String,
    margin: String,
    no_stock_lenses: Vec<String>,
    eyes: Vec<EyeBlanks>,
    key: String,
    form: Form,
}

struct EyeBlanks {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    words: EyeWords,
    needs: [String; 2],
    prism: Result<String, String>,
    has_prism: bool,
    to_order: Option<String>,
    rows: Vec<BlankRow>,
}

/// One blank.
struct BlankRow {
    diameter: String,
    from: String,
    edge: String,
    mark: &'static str,
    verdict: &'static str,
    spare: String,
    with_prism: Option<MovedBlank>,
    diameter_mm: f64,
    /// Whether it is the smallest that fits as it is wanted: with the prism where one is.
    is_smallest: bool,
}

impl BlankRow {
    fn fits(&self, has_prism: bool) -> bool {
        if has_prism { self.with_prism.as_ref().is_some_and(|cut| cut.mark == "pass") } else { self.mark == "pass" }
    }
}

/// How a blank covers the shape once it is moved for the wanted prism.
struct MovedBlank {
    mark: &'static str,
    verdict: &'static str,
    spare: String,
}

impl MovedBlank {
    fn or_rimless(self, is_rimless: bool) -> Self {
        if !is_rimless || self.mark == "fail" {
            return self;
        }
        Self { mark: "fail", verdict: "Too thin", spare: "no edge left at its own rim".to_owned() }
    }
}

/// A blank to try, wherever it comes from.
struct BlankToTry {
    diameter_mm: f64,
    from: String,
    edge: String,
    /// Whether it would have no edge at its own rim.
    is_rimless: bool,
}

struct BlanksData {
    job: Arc<Job>,
    /// With nothing in hand or on order: what could be bought instead.
    laid: Option<JobLayout>,
    drawer: Vec<DrawerLens>,
    margin_mm: f64,
    stock_mm: Vec<f64>,
}

async fn load(state: &AppState, number: i64) -> Result<BlanksData, WebError> {
    let (job, lab) = (state.store.get_job(number).await?, state.lab());
    let supply = Supply {
        in_hand: Pair::default(),
        ordered_mm: Pair::default(),
        kept_mm: Pair::default(),
        ..supply_of(state, &job).await?
    };
    let shape = state.store.find_job_shape(&job).await?;
    Ok(BlanksData {
        laid: shape.map(|shape| JobLayout::with_supply(&job, &shape, &lab, step_of(&lab), &supply)),
        drawer: state.store.list_drawer_for(&job).await?,
        margin_mm: lab.blank_margin.to_f64(),
        stock_mm: lab.stock_diameters.iter().map(|diameter| diameter.to_f64()).collect(),
        job,
    })
}

pub(crate) async fn show_blanks(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let bench = load(&state, number).await?;
    let key = list_key(&state, number).await?;
    let kept = state.store.find_supplier_list(number).await?;
    let form = draft_or(&state, &key, || kept.map(fill).unwrap_or_default()).await?;
    show(&page(&state, &bench, key, form).0)
}

/// Each list that is kept has the next number.
async fn list_key(state: &AppState, number: i64) -> Result<String, WebError> {
    Ok(form_key(FORM, number, state.store.count_supplier_lists(number).await?))
}

/// The form as the newest list was typed.
fn fill(kept: KeptSupplierList) -> Form {
    let mut form = Form::default();
    form.set(BlanksForm::LIST, kept.typed);
    for (name, eye) in BlanksForm::PRISMS.into_iter().zip(Eye::BOTH) {
        form.set(name, kept.prism_typed.get(eye).clone());
    }
    form
}

/// Keeps the list and the wanted prism under the job; nothing else in the book changes.
pub(crate) async fn keep_list(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let bench = load(&state, number).await?;
    if let Some(why) = Step::Shape.refusal(&bench.job) {
        return Err(WebError::OutOfTurn(why));
    }
    let form = Form::new(fields);
    let key = posted_key(&form, &format!("{FORM}-{number}-"))?;
    let (page, list) = page(&state, &bench, key, form);
    let Some(list) = list else { return show_again(&page) };
    state.store.insert_supplier_list(&act_of(&page.key, &page.form), number, &list, state.clock.now()).await?;
    go(&format!("/jobs/{number}/blanks"))
}

/// The page, and the list that its form holds when nothing is wrong with it.
fn page(state: &AppState, bench: &BlanksData, key: String, mut form: Form) -> (BlanksPage, Option<NewSupplierList>) {
    let BlanksForm { offers, prisms } = BlanksForm::read(&mut form, &bench.job);
    let laid = bench.laid.as_ref();
    let list = form.is_fine().then(|| NewSupplierList {
        typed: form.value(BlanksForm::LIST).to_owned(),
        offers: offers.clone(),
        prism_typed: Pair::new(
            form.value(BlanksForm::PRISMS[0]).to_owned(),
            form.value(BlanksForm::PRISMS[1]).to_owned(),
        ),
        prism: Pair::new(prisms[0], prisms[1]),
    });
    let page = BlanksPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(&bench.job, "blanks", state),
        material: bench.job.material.details.name.clone(),
        margin: short(bench.margin_mm),
        no_stock_lenses: laid.map(|laid| laid.no_stock_lenses(&Pair::new(None, None))).unwrap_or_default(),
        eyes: laid
            .map(|laid| {
                let eyes = Eye::BOTH.into_iter().zip(prisms).filter(|(eye, _)| bench.job.makes(*eye));
                eyes.map(|(eye, prism)| eye_blanks(bench, laid.eyes.get(eye), &offers, prism)).collect()
            })
            .unwrap_or_default(),
        key,
        form,
    };
    (page, list)
}

fn eye_blanks(bench: &BlanksData, laid: &EyeOnBench, offers: &[OfferedBlank], prism: Prism) -> EyeBlanks {
    let eye = laid.eye;
    let exact_mm = -2.0 * tightest_spare(&laid.outline, laid.layout.decentration.point(eye), 0.0).spare_mm;
    let mut rows: Vec<BlankRow> =
        blanks(bench, laid, offers).into_iter().map(|blank| row(bench, laid, blank, prism)).collect();
    let fitting = rows.iter_mut().filter(|row| row.fits(!prism.is_none()));
    if let Some(smallest) = fitting.min_by(|a, b| a.diameter_mm.total_cmp(&b.diameter_mm)) {
        smallest.is_smallest = true;
    }
    EyeBlanks {
        name: eye.name(),
        letter: eye.letter(),
        class: eye_class(eye),
        words: EyeWords::of(&bench.job, eye, None),
        needs: [exact_mm, exact_mm + bench.margin_mm].map(|mm| format!("{mm:.2}")),
        prism: moved_words(bench, laid, prism),
        has_prism: !prism.is_none(),
        to_order: laid.to_order(),
        rows,
    }
}

/// How far the blank is moved for a prism, or why that cannot be.
fn moved_words(bench: &BlanksData, laid: &EyeOnBench, prism: Prism) -> Result<String, String> {
    if prism.is_none() {
        return Ok(String::new());
    }
    let pupil = laid.layout.decentration.point(laid.eye);
    match cut(bench, laid, 0.0, prism) {
        Ok((center, _)) => {
            let moved = center.minus(pupil);
            let (in_mm, up_mm) = (moved.x_mm * laid.eye.nasal_sign(), moved.y_mm);
            let ways = [Directed::of(in_mm, "in", "out"), Directed::of(up_mm, "up", "down")];
            Ok(format!("{prism}: the optical center goes {} from the pupil", Directed::join(&ways, "mm", " and ")))
        }
        Err(why) => Err(format!("{prism} cannot be made by decentration. {why}.")),
    }
}

fn cut(
    bench: &BlanksData,
    laid: &EyeOnBench,
    diameter_mm: f64,
    prism: Prism,
) -> Result<(crate::shape::outline::Point, crate::shape::cutout::CutOut), String> {
    let power = bench.job.lens_power(laid.eye).numbers();
    cut_out_with_prism(
        &laid.outline,
        laid.layout.decentration.point(laid.eye),
        power,
        prism.numbers().to_vector(laid.eye),
        &StockBlank::round(diameter_mm),
        bench.margin_mm,
    )
    .map_err(|why| why.to_string())
}

/// Everything to try, the drawer first, then the supplier's list, then the usual diameters.
fn blanks(bench: &BlanksData, laid: &EyeOnBench, offers: &[OfferedBlank]) -> Vec<BlankToTry> {
    let wanted = WantedLens::of(&bench.job, laid.eye);
    let mut drawer: Vec<BlankToTry> = Vec::new();
    for lens in &bench.drawer {
        let left = match lens.suit(&wanted) {
            Suit::Right | Suit::Bare => format!("{} free", lens.free()),
            Suit::NoneLeft => "none left".to_owned(),
            Suit::AllPromised => "reserved for other jobs".to_owned(),
            _ => continue,
        };
        drawer.push(BlankToTry {
            diameter_mm: lens.details.diameter.to_f64(),
            from: format!("drawer{}, {left}", lens.surface_words()),
            edge: edge_words(bench, laid, &tried(lens)),
            is_rimless: is_rimless(bench, laid, &tried(lens)),
        });
    }
    let offered = offers.iter().map(|offer| {
        let price = offer.price.map(|price| format!(", {price}")).unwrap_or_default();
        let remark = if offer.remark.is_empty() { String::new() } else { format!(", {}", offer.remark) };
        BlankToTry {
            diameter_mm: offer.diameter.to_f64(),
            from: format!("supplier{price}{remark}"),
            edge: String::new(),
            is_rimless: is_rimless(bench, laid, &of_size(offer.diameter.to_f64())),
        }
    });
    let mut all: Vec<BlankToTry> = drawer.into_iter().chain(offered).collect();
    // The lab's own list counts where no supplier has given one. A diameter in the drawer is there already.
    for diameter_mm in bench.stock_mm.iter().copied().filter(|_| offers.is_empty()) {
        if all.iter().all(|blank| (blank.diameter_mm - diameter_mm).abs() > 1e-9) {
            let is_rimless = is_rimless(bench, laid, &of_size(diameter_mm));
            all.push(BlankToTry { diameter_mm, from: "stock diameter".into(), edge: String::new(), is_rimless });
        }
    }
    all
}

fn tried(lens: &DrawerLens) -> LensOverrides<'static> {
    LensOverrides {
        front_power_d: lens.front().map(|front| front.to_f64()),
        thickness: lens.details.center.map(|center| Thickness::Center(center.to_f64())),
        ..of_size(lens.details.diameter.to_f64())
    }
}

fn of_size(diameter_mm: f64) -> LensOverrides<'static> {
    LensOverrides { diameter_mm: Some(diameter_mm), ..LensOverrides::default() }
}

fn is_rimless(bench: &BlanksData, laid: &EyeOnBench, asked: &LensOverrides<'_>) -> bool {
    let lens = JobLens::of(&bench.job, laid.eye, bench.laid.as_ref(), None, asked);
    lens.is_ok_and(|lens| lens.cover_on(laid).fit == Fit::NoRim)
}

/// The thinnest and thickest edge a lens of the drawer gives.
fn edge_words(bench: &BlanksData, laid: &EyeOnBench, asked: &LensOverrides<'_>) -> String {
    let Some(layout) = &bench.laid else { return String::new() };
    match JobLens::of(&bench.job, laid.eye, Some(layout), None, asked).and_then(|lens| lens.cut(layout)) {
        Ok(cut) => format!("{:.2} to {:.2}", cut.edge.thinnest().mm, cut.edge.thickest().mm),
        Err(why) => format!("{why}"),
    }
}

fn row(bench: &BlanksData, laid: &EyeOnBench, blank: BlankToTry, prism: Prism) -> BlankRow {
    // Without prism the optical center stands before the pupil, whatever is prescribed.
    let plain = cut(bench, laid, blank.diameter_mm, Prism::NONE).map(|(_, cut)| verdict(laid.eye, &cut));
    // Its rim was computed for the way the layout makes the prism.
    let is_decentered = matches!(laid.prism, Some(PrismMade::Decentered(_)));
    let plain = plain.map(|plain| plain.or_rimless(blank.is_rimless && !is_decentered));
    let MovedBlank { mark, verdict: words, spare } =
        plain.unwrap_or_else(|why| MovedBlank { mark: "fail", verdict: "Too small", spare: why });
    let with_prism = match prism.is_none() {
        true => None,
        false => cut(bench, laid, blank.diameter_mm, prism)
            .ok()
            .map(|(_, cut)| verdict(laid.eye, &cut).or_rimless(blank.is_rimless && is_decentered)),
    };
    BlankRow {
        diameter: short(blank.diameter_mm),
        from: blank.from,
        edge: blank.edge,
        mark,
        verdict: words,
        spare,
        with_prism,
        diameter_mm: blank.diameter_mm,
        is_smallest: false,
    }
}

fn verdict(eye: Eye, cut: &crate::shape::cutout::CutOut) -> MovedBlank {
    let spare_mm = cut.tightest.spare_mm;
    let (mark, verdict) = match () {
        () if cut.fits => ("pass", "Fits"),
        () if spare_mm >= 0.0 => ("limit", "Tight"),
        () => ("fail", "Too small"),
    };
    let place = place_words(eye, cut.tightest.at_deg);
    let spare = if spare_mm < 0.0 {
        format!("{:.2} short, {place}", -spare_mm)
    } else {
        format!("{spare_mm:.2} spare, {place}")
    };
    MovedBlank { mark, verdict, spare }
}
