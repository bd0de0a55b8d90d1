//! Taking the two uncut lenses in hand: from the drawer or bought, and whether each covers its shape.

use std::sync::Arc;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::compensation::{WearNote, wear_notes};
use super::job_bar::{EyeWords, JobBar};
use super::job_post::{JobPost, StepForm};
use super::layout::{BlankWords, blank_words, lay_out, prescribed_words};
use super::{Chrome, PageResult, show, show_again};
use crate::bench::layout::{EyeOnBench, Fit, JobLayout, Uncut, step_of};
use crate::desk::job::{Job, Stage};
use crate::desk::step::Step;
use crate::desk::stock::{CENTRE, DIAMETER, DrawerLens, FRONT, LensInHand, OFFSET, Suit};
use crate::desk::text;
use crate::optics::direction::Directed;
use crate::optics::notation::short;
use crate::optics::{Eye, Pair};
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::eye_class;

/// Lenses of the drawer shown as nearly right, an eye.
const NEARLY_SHOWN: usize = 6;

#[derive(Template)]
#[template(path = "lenses/show.html")]
struct LensesPage {
    chrome: Chrome,
    bar: JobBar,
    eyes: [EyeLenses; 2],
    material: String,
    has_shape: bool,
    no_stock_lenses: Vec<String>,
    wear_notes: Vec<WearNote>,
    impact: Option<&'static str>,
    is_sent: bool,
    is_cut: bool,
    key: String,
    form: Form,
}

/// One eye of the form.
struct EyeLenses {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    words: EyeWords,
    needs: Option<[String; 3]>,
    prescribed: Option<String>,
    in_hand: Option<String>,
    in_hand_fit: Option<BlankWords>,
    offered: Vec<Offered>,
    nearly: Vec<String>,
    fields: EyeLensNames,
    not_fitting: bool,
}

struct Offered {
    value: String,
    label: String,
    hint: String,
}

/// The names of one eye's fields.
pub(in crate::web) struct EyeLensNames {
    pub(in crate::web) lens: String,
    pub(in crate::web) source: String,
    pub(in crate::web) diameter: String,
    pub(in crate::web) centre: String,
    pub(in crate::web) front: String,
    pub(in crate::web) off_in: String,
    pub(in crate::web) off_up: String,
    pub(in crate::web) anyway: String,
}

impl EyeLensNames {
    pub(in crate::web) fn of(eye: Eye) -> Self {
        let name = |field: &str| format!("{field}_{}", eye.name());
        Self {
            lens: name("lens"),
            source: name("source"),
            diameter: name("diameter"),
            centre: name("centre"),
            front: name("front"),
            off_in: name("in"),
            off_up: name("up"),
            anyway: name("anyway"),
        }
    }
}

/// What the page and the form need of a job.
struct LensesData {
    job: Arc<Job>,
    layout: Option<JobLayout>,
    in_hand: Pair<Option<LensInHand>>,
    drawer: Vec<DrawerLens>,
    wear_notes: Vec<WearNote>,
}

async fn load(state: &AppState, job: Arc<Job>) -> Result<LensesData, WebError> {
    let lab = state.lab();
    Ok(LensesData {
        wear_notes: wear_notes(state, &job).await?,
        layout: lay_out(state, &job, step_of(&lab)).await?,
        in_hand: state.store.find_lenses(job.number).await?,
        drawer: state.store.list_drawer().await?,
        job,
    })
}

pub(crate) async fn show_lenses(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let bench = load(&state, state.store.get_job(number).await?).await?;
    let form = StepForm::open(&state, &bench.job, Step::Lenses).await?;
    show(&page(&state, &bench, form, Pair::new(false, false)))
}

pub(crate) async fn take_lenses(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Lenses, fields).await?;
    let bench = load(&state, Arc::clone(&post.job)).await?;
    let LensesForm { lenses, not_fitting } = LensesForm::read(&mut post.form, &bench);
    if !post.form.is_fine() {
        return show_again(&page(&state, &bench, post.refused(), not_fitting));
    }
    match state.store.take_lenses(&post.act, number, &lenses, state.clock.now()).await {
        Ok(done) => post.done(done),
        Err(StoreError::NotFound(_)) => {
            let field = EyeLensNames::of(Eye::Right).lens;
            post.form.fail(&field, "The drawer was emptied of this lens meanwhile: choose again");
            show_again(&page(&state, &bench, post.refused(), not_fitting))
        }
        refused => {
            post.form.kept(refused)?;
            show_again(&page(&state, &bench, post.refused(), not_fitting))
        }
    }
}

/// The lenses chosen, and which of them do not fit.
struct LensesForm {
    lenses: Vec<LensInHand>,
    not_fitting: Pair<bool>,
}

impl LensesForm {
    fn read(form: &mut Form, bench: &LensesData) -> Self {
        let (lenses, not_fitting) = read_lenses(form, bench);
        Self { lenses, not_fitting }
    }
}

fn read_lenses(form: &mut Form, bench: &LensesData) -> (Vec<LensInHand>, Pair<bool>) {
    let mut not_fitting = Pair::new(false, false);
    let mut lenses = Vec::new();
    let names = Pair::new(EyeLensNames::of(Eye::Right), EyeLensNames::of(Eye::Left));
    let chosen = Eye::BOTH.map(|eye| form.value(&names.get(eye).lens).to_owned());
    if chosen.iter().all(String::is_empty) {
        form.fail(&names.right.lens, "Choose a lens for at least one eye");
    }
    for eye in Eye::BOTH {
        let Some(lens) = read_lens(form, bench, eye) else { continue };
        if let Some(laid) = &bench.layout {
            let fit = laid.eyes.get(eye).cover(Uncut::from(&lens)).fit;
            let names = names.get(eye);
            if fit != Fit::Fits && !form.is_checked(&names.anyway, "yes") {
                let why = format!("This blank {}: tick “use it anyway”, or choose another", fit.words());
                form.fail(&names.lens, why);
            }
            match eye {
                Eye::Right => not_fitting.right = fit != Fit::Fits,
                Eye::Left => not_fitting.left = fit != Fit::Fits,
            }
        }
        lenses.push(lens);
    }
    let same = |lens: &DrawerLens| chosen.iter().all(|c| *c == lens.id.to_string());
    if bench.drawer.iter().any(|lens| lens.count < 2 && same(lens)) {
        form.fail(&names.left.lens, "Only one of these is left in the drawer: choose another for one eye");
    }
    (lenses, not_fitting)
}

fn read_lens(form: &mut Form, bench: &LensesData, eye: Eye) -> Option<LensInHand> {
    let names = EyeLensNames::of(eye);
    let choice = form.value(&names.lens).to_owned();
    if choice.is_empty() {
        return None;
    }
    let off_in = form.read_optional(&names.off_in, |t| OFFSET.read(t));
    let off_up = form.read_optional(&names.off_up, |t| OFFSET.read(t));
    let source = form.read(&names.source, |t| text::line("The supplier and lot", t, 200));
    if choice == "bought" {
        let diameter = form.read(&names.diameter, |t| DIAMETER.read(t));
        let centre = form.read_optional(&names.centre, |t| CENTRE.read(t));
        let front_power = form.read_optional(&names.front, |t| FRONT.read(t));
        return Some(LensInHand {
            eye,
            drawer_lens: None,
            source: source?,
            diameter: diameter?,
            centre: centre?,
            front_power: front_power?,
            off_in: off_in?.unwrap_or_default(),
            off_up: off_up?.unwrap_or_default(),
        });
    }
    let id = choice.parse().ok();
    let Some(lens) = bench.drawer.iter().find(|lens| Some(lens.id) == id && suit(bench, lens, eye) == Suit::Right)
    else {
        form.fail(&names.lens, "This lens is not in the drawer any more: choose another");
        return None;
    };
    Some(LensInHand {
        eye,
        drawer_lens: id,
        source: source?,
        diameter: lens.details.diameter,
        centre: Some(lens.details.centre),
        front_power: Some(lens.details.front_power),
        off_in: off_in?.unwrap_or_default(),
        off_up: off_up?.unwrap_or_default(),
    })
}

fn suit(bench: &LensesData, lens: &DrawerLens, eye: Eye) -> Suit {
    lens.suit(bench.job.material.id, bench.job.lens_power(eye))
}

fn page(state: &AppState, bench: &LensesData, form: StepForm, not_fitting: Pair<bool>) -> LensesPage {
    let StepForm { key, mut form } = form;
    let reached = bench.job.stage();
    let eyes = Eye::BOTH.map(|eye| eye_lenses(bench, eye, *not_fitting.get(eye), &mut form));
    LensesPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(&bench.job, "lenses", state),
        eyes,
        material: bench.job.material.details.name.clone(),
        has_shape: bench.layout.is_some(),
        no_stock_lenses: bench.layout.as_ref().map(|laid| laid.no_stock_lenses(&bench.in_hand)).unwrap_or_default(),
        wear_notes: bench.wear_notes.clone(),
        impact: (reached >= Stage::LensesInHand).then(|| impact_words(&bench.job)),
        is_sent: reached == Stage::Sent,
        is_cut: reached >= Stage::Cut,
        key,
        form,
    }
}

/// Whether proof of impact resistance is on record for the lenses in hand.
fn impact_words(job: &Job) -> &'static str {
    match job.unproven_lenses().len() {
        0 => "on record for both lenses",
        1 => "on record for one lens only",
        _ => "not on record yet",
    }
}

fn eye_lenses(bench: &LensesData, eye: Eye, not_fitting: bool, form: &mut Form) -> EyeLenses {
    let laid = bench.layout.as_ref().map(|layout| layout.eyes.get(eye));
    let fields = EyeLensNames::of(eye);
    let in_hand = bench.in_hand.get(eye).as_ref();
    let mut right: Vec<&DrawerLens> = bench.drawer.iter().filter(|l| suit(bench, l, eye) == Suit::Right).collect();
    // The smallest that fits first: smaller blanks of a plus lens are thinner.
    right.sort_by_key(|lens| (laid.is_some_and(|l| fit(l, lens) != Fit::Fits), lens.details.diameter));
    let best = right.first().filter(|lens| in_hand.is_none() && laid.is_some_and(|l| fit(l, lens) == Fit::Fits));
    form.set_default(&fields.lens, best.map(|lens| lens.id.to_string()).unwrap_or_default());
    form.set_default(&fields.off_in, "0");
    form.set_default(&fields.off_up, "0");
    EyeLenses {
        name: eye.name(),
        letter: eye.letter(),
        class: eye_class(eye),
        words: EyeWords::of(&bench.job, eye, None),
        needs: laid.map(|laid| {
            let needs = laid.blank();
            [needs.exact_mm, needs.with_margin_mm, needs.rule_of_thumb_mm].map(|mm| format!("{mm:.2}"))
        }),
        prescribed: laid.and_then(|laid| prescribed_words(&bench.job, laid)),
        in_hand: in_hand.map(in_hand_words),
        in_hand_fit: laid.zip(in_hand).map(|(laid, lens)| {
            blank_words(eye, &laid.cover(Uncut::from(lens)), format!("{} mm", short(lens.diameter.to_f64())))
        }),
        offered: right.iter().map(|lens| offered(laid, lens)).collect(),
        nearly: nearly(bench, eye),
        fields,
        not_fitting,
    }
}

fn fit(laid: &EyeOnBench, lens: &DrawerLens) -> Fit {
    laid.cover(Uncut { diameter_mm: lens.details.diameter.to_f64(), ..Uncut::default() }).fit
}

fn offered(laid: Option<&EyeOnBench>, lens: &DrawerLens) -> Offered {
    let (details, diameter_mm) = (&lens.details, lens.details.diameter.to_f64());
    let hint = match laid {
        Some(laid) => {
            let cover = laid.cover(Uncut { diameter_mm, ..Uncut::default() });
            let words = blank_words(laid.eye, &cover, String::new());
            format!("{}: {}", words.verdict, words.spare)
        }
        None => "not compared: no shape yet".to_owned(),
    };
    Offered {
        value: lens.id.to_string(),
        label: format!(
            "Drawer: {} mm, centre {} mm, front {} D, {} left",
            short(diameter_mm),
            details.centre,
            details.front_power,
            lens.count
        ),
        hint,
    }
}

/// Lenses of the drawer that will not do, with the reason.
fn nearly(bench: &LensesData, eye: Eye) -> Vec<String> {
    let why = |lens: &DrawerLens| {
        let details = &lens.details;
        let is = format!(
            "{} {} {}, {} mm",
            lens.material_name,
            details.sphere,
            details.cylinder,
            short(details.diameter.to_f64())
        );
        match suit(bench, lens, eye) {
            Suit::NoneLeft => Some(format!("{is}: none left")),
            Suit::OtherPower => Some(format!("{is}: another power")),
            Suit::OtherMaterial => Some(format!("{is}: another material")),
            Suit::Right | Suit::Far => None,
        }
    };
    bench.drawer.iter().filter_map(why).take(NEARLY_SHOWN).collect()
}

fn in_hand_words(lens: &LensInHand) -> String {
    let mut words = format!("{} mm", short(lens.diameter.to_f64()));
    if let Some(centre) = lens.centre {
        words.push_str(&format!(", centre {centre} mm"));
    }
    if let Some(front) = lens.front_power {
        words.push_str(&format!(", front {front} D"));
    }
    words.push_str(if lens.drawer_lens.is_some() { ", from the drawer" } else { ", bought" });
    if !lens.source.is_empty() {
        words.push_str(&format!(" ({})", lens.source));
    }
    let off = [Directed::of(lens.off_in.to_f64(), "in", "out"), Directed::of(lens.off_up.to_f64(), "up", "down")];
    for off in off.iter().filter(|off| !off.direction.is_empty()) {
        words.push_str(&format!(", marked centre {} mm {}", off.amount, off.direction));
    }
    words
}
