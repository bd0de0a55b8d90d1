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
use crate::bench::layout::{Cover, EyeOnBench, Fit, JobLayout, Uncut, step_of};
use crate::bench::lens::{JobLens, LensOverrides};
use crate::bench::real_size::PrismMade;
use crate::desk::date::day;
use crate::desk::fault::FaultCause;
use crate::desk::id::DrawerLensId;
use crate::desk::job::{EyeTask, Job, Stage};
use crate::desk::purchase::{OrderedFor, PurchaseLine};
use crate::desk::step::Step;
use crate::desk::stock::{
    CENTER, DIAMETER, DrawerLens, FRONT, LensInHand, OFFSET, OldLens, Suit, WantedLens, treatment_words,
};
use crate::desk::text;
use crate::optics::direction::Directed;
use crate::optics::notation::short;
use crate::optics::surface::true_from_tool_d;
use crate::optics::unit::{Diopter, Millimeter};
use crate::optics::{Eye, Pair};
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::eye_class;

/// The choice of a lens that was bought for the job.
const BOUGHT: &str = "bought";
/// Lenses of the drawer shown as nearly right, an eye.
const NEARLY_SHOWN: usize = 6;

#[derive(Template)]
#[template(path = "lenses/show.html")]
struct LensesPage {
    chrome: Chrome,
    bar: JobBar,
    eyes: Vec<EyeLenses>,
    /// Whether the drawer has a lens that can be taken.
    has_offered: bool,
    material: String,
    treatments: String,
    /// What the drawer keeps for the job, as a hidden field: part of what makes two forms the same.
    kept: String,
    has_shape: bool,
    no_stock_lenses: Vec<String>,
    wear_notes: Vec<WearNote>,
    impact: Option<&'static str>,
    /// Why no lens is taken in hand any more.
    closed: Option<String>,
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
    to_order: Option<String>,
    has_prism: bool,
    in_hand_fit: Option<BlankWords>,
    way: LensWay,
    /// Where the lens in hand can go when another is taken; empty without one.
    old_places: Vec<(&'static str, &'static str)>,
    offered: Vec<Offered>,
    nearly: Vec<String>,
    fields: EyeLensNames,
    not_fitting: bool,
}

/// How far the lens of an eye has come: needed, ordered, received, in hand.
struct LensWay {
    words: String,
    /// The class of its mark.
    class: &'static str,
    /// A page that has to do with it, and its words.
    link: Option<(String, &'static str)>,
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
    pub(in crate::web) center: String,
    pub(in crate::web) front: String,
    pub(in crate::web) off_in: String,
    pub(in crate::web) off_up: String,
    pub(in crate::web) anyway: String,
    /// Where the lens in hand goes, and for which job it is kept.
    pub(in crate::web) old: String,
    pub(in crate::web) old_job: String,
    pub(in crate::web) ground: String,
}

impl EyeLensNames {
    pub(in crate::web) fn of(eye: Eye) -> Self {
        let name = |field: &str| format!("{field}_{}", eye.name());
        Self {
            lens: name("lens"),
            source: name("source"),
            diameter: name("diameter"),
            center: name("center"),
            front: name("front"),
            off_in: name("in"),
            off_up: name("up"),
            anyway: name("anyway"),
            old: name("old"),
            old_job: name("old_job"),
            ground: name("ground"),
        }
    }
}

/// What the page and the form need of a job.
struct LensesData {
    job: Arc<Job>,
    layout: Option<JobLayout>,
    in_hand: Pair<Option<LensInHand>>,
    drawer: Vec<DrawerLens>,
    /// What the drawer keeps for each eye.
    promised: Pair<Option<DrawerLensId>>,
    /// What was ordered for the job, oldest first.
    ordered: Vec<PurchaseLine>,
    wear_notes: Vec<WearNote>,
}

async fn load(state: &AppState, job: Arc<Job>) -> Result<LensesData, WebError> {
    let lab = state.lab();
    Ok(LensesData {
        wear_notes: wear_notes(state, &job).await?,
        layout: lay_out(state, &job, step_of(&lab)).await?,
        in_hand: state.store.find_lenses(job.number).await?,
        drawer: state.store.list_drawer_for(&job).await?,
        promised: state.store.find_promises(job.number).await?,
        ordered: state.store.list_purchase_lines_of(job.number).await?,
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
    if post.form.is_checked(ACT, KEEP) {
        return keep_in_drawer(&state, post, &bench).await;
    }
    let LensesForm { lenses, old, not_fitting } = LensesForm::read(&mut post.form, &bench);
    if !post.form.is_fine() {
        return show_again(&page(&state, &bench, post.refused(), not_fitting));
    }
    match state.store.replace_lenses(&post.act, number, &lenses, &old, state.clock.now()).await {
        Ok(done) => post.goes_on(&state, done).await,
        Err(StoreError::NotFound(_) | StoreError::OutOfRange(_)) => {
            post.form.fail(&EyeLensNames::of(Eye::Right).lens, GONE);
            show_again(&page(&state, &bench, post.refused(), not_fitting))
        }
        refused => {
            post.form.kept(refused)?;
            show_again(&page(&state, &bench, post.refused(), not_fitting))
        }
    }
}

/// The field that says what to do with the lenses chosen, and its value for keeping them in the drawer.
const ACT: &str = "act";
const KEEP: &str = "keep";

const GONE: &str = "The drawer no longer has a free lens of this kind: choose again";

/// The chosen lenses stay in the drawer, where they are reserved for this job.
async fn keep_in_drawer(state: &AppState, mut post: JobPost, bench: &LensesData) -> PageResult {
    let names = Pair::new(EyeLensNames::of(Eye::Right), EyeLensNames::of(Eye::Left));
    let chosen = names.as_ref().map(|names| post.form.value(&names.lens).to_owned());
    let kept = Pair::new((Eye::Right, chosen.right), (Eye::Left, chosen.left)).map(|(eye, choice)| {
        let lens = offered_lenses(bench, eye).find(|lens| lens.id.to_string() == choice);
        if lens.is_none() && !choice.is_empty() {
            let why = "Only a lens in the drawer can be reserved: choose one, or “Not now”";
            post.form.fail(&names.get(eye).lens, why);
        }
        lens.map(|lens| lens.id)
    });
    if !post.form.is_fine() {
        return show_again(&page(state, bench, post.refused(), Pair::new(false, false)));
    }
    match state.store.set_promises(&post.act, post.job.number, &kept, state.clock.now()).await {
        Err(StoreError::OutOfRange(_)) => {
            post.form.fail(&names.right.lens, GONE);
            show_again(&page(state, bench, post.refused(), Pair::new(false, false)))
        }
        done => post.done(done?),
    }
}

/// The lenses chosen, and which of them do not fit.
struct LensesForm {
    lenses: Vec<LensInHand>,
    /// Where each lens goes that was in hand.
    old: Pair<Option<OldLens>>,
    not_fitting: Pair<bool>,
}

impl LensesForm {
    fn read(form: &mut Form, bench: &LensesData) -> Self {
        let (lenses, not_fitting) = read_lenses(form, bench);
        let replaced = |eye| bench.in_hand.get(eye).is_some() && lenses.iter().any(|lens| lens.eye == eye);
        let old = Pair::new(Eye::Right, Eye::Left).map(|eye| {
            if replaced(eye) { read_old(form, &bench.job, eye, &old_places(&bench.job, eye)) } else { None }
        });
        Self { lenses, old, not_fitting }
    }
}

fn read_lenses(form: &mut Form, bench: &LensesData) -> (Vec<LensInHand>, Pair<bool>) {
    let mut not_fitting = Pair::new(false, false);
    let mut lenses = Vec::new();
    let names = Pair::new(EyeLensNames::of(Eye::Right), EyeLensNames::of(Eye::Left));
    let made: Vec<Eye> = bench.job.made_eyes().collect();
    let chosen: Vec<String> = made.iter().map(|eye| form.value(&names.get(*eye).lens).to_owned()).collect();
    if chosen.iter().all(String::is_empty) {
        form.fail(&names.get(made[0]).lens, "Choose a lens for at least one eye");
    }
    for &eye in &made {
        let Some(lens) = read_lens(form, bench, eye) else { continue };
        let misfit = misfit(bench, &lens);
        let names = names.get(eye);
        if let Some(why) = misfit.as_ref().filter(|_| !form.is_checked(&names.anyway, "yes")) {
            form.fail(&names.lens, format!("{why}: tick “use it anyway”, or choose another"));
        }
        match eye {
            Eye::Right => not_fitting.right = misfit.is_some(),
            Eye::Left => not_fitting.left = misfit.is_some(),
        }
        lenses.push(lens);
    }
    let is_pair = made.len() > 1;
    let same = |lens: &DrawerLens| chosen.iter().all(|c| *c == lens.id.to_string());
    // What is reserved for this job is not free, but it is this job's.
    let own = |lens: &DrawerLens| bench.promised.iter().filter(|(_, kept)| **kept == Some(lens.id)).count() as i64;
    if is_pair && bench.drawer.iter().any(|lens| same(lens) && lens.free() + own(lens) < 2) {
        form.fail(&names.left.lens, "Only one of these is free in the drawer: choose another for one eye");
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
    if choice == BOUGHT {
        let diameter = form.read(&names.diameter, |t| DIAMETER.read(t));
        let center = form.read_optional(&names.center, |t| CENTER.read(t));
        let front_power = form.read_optional(&names.front, |t| FRONT.read(t));
        return Some(LensInHand {
            eye,
            drawer_lens: None,
            source: source?,
            diameter: diameter?,
            center: center?,
            front_power: front_power?,
            off_in: off_in?.unwrap_or_default(),
            off_up: off_up?.unwrap_or_default(),
            has_ground_prism: has_prism(bench, eye) && form.is_checked(&names.ground, "yes"),
        });
    }
    let id = choice.parse().ok();
    let Some(lens) = offered_lenses(bench, eye).find(|lens| Some(lens.id) == id) else {
        form.fail(&names.lens, "This lens is no longer in the drawer: choose another");
        return None;
    };
    // Where nothing is typed, the lot and certificate of the newest delivery stay with the lens.
    let source = Some(source?).filter(|typed| !typed.is_empty()).unwrap_or_else(|| lens.source_words());
    Some(LensInHand {
        source,
        off_in: off_in?.unwrap_or_default(),
        off_up: off_up?.unwrap_or_default(),
        ..from_drawer(eye, lens)
    })
}

/// A lens of the drawer, taken for an eye. None is ground with a prism.
fn from_drawer(eye: Eye, lens: &DrawerLens) -> LensInHand {
    LensInHand {
        eye,
        drawer_lens: Some(lens.id),
        source: String::new(),
        diameter: lens.details.diameter,
        center: lens.details.center,
        front_power: lens.front(),
        off_in: Millimeter::ZERO,
        off_up: Millimeter::ZERO,
        has_ground_prism: false,
    }
}

fn has_prism(bench: &LensesData, eye: Eye) -> bool {
    !bench.job.prescription.eyes.get(eye).prism.is_none()
}

/// How a lens would cover its shape. `None` without a shape.
fn cover(bench: &LensesData, lens: &LensInHand) -> Option<Cover> {
    let layout = bench.layout.as_ref()?.with_lens(&bench.job, lens);
    let laid = layout.eyes.get(lens.eye);
    let job_lens = JobLens::of(&bench.job, lens.eye, Some(&layout), Some(lens), &LensOverrides::default());
    Some(job_lens.map_or_else(|_| laid.cover(Uncut::from(lens)), |job_lens| job_lens.cover_on(laid)))
}

/// Why a lens should not be taken.
fn misfit(bench: &LensesData, lens: &LensInHand) -> Option<String> {
    let laid = bench.layout.as_ref()?.eyes.get(lens.eye);
    if matches!(laid.by_decentration, Some(Err(_))) && !lens.has_ground_prism {
        return Some("Decentration cannot produce the prescribed prism: this lens must have it ground in".to_owned());
    }
    let fit = cover(bench, lens)?.fit;
    (fit != Fit::Fits).then(|| format!("This blank {}", fit.words()))
}

fn suit(bench: &LensesData, lens: &DrawerLens, eye: Eye) -> Suit {
    lens.suit(&WantedLens::of(&bench.job, eye))
}

/// The lenses of the drawer that can be taken for an eye: free ones, and the one that is kept for it.
fn offered_lenses(bench: &LensesData, eye: Eye) -> impl Iterator<Item = &DrawerLens> {
    bench.drawer.iter().filter(move |lens| match suit(bench, lens, eye) {
        Suit::Right | Suit::Bare => true,
        Suit::AllPromised => *bench.promised.get(eye) == Some(lens.id),
        _ => false,
    })
}

/// Where the lens in hand goes: a key of [`old_places`].
pub(super) fn read_old(form: &mut Form, job: &Job, eye: Eye, places: &[(&str, &str)]) -> Option<OldLens> {
    let names = EyeLensNames::of(eye);
    let place = form.read(&names.old, |key| match places.iter().any(|(own, _)| *own == key) {
        true => Ok(key.to_owned()),
        false => Err("Choose where the lens now in hand goes"),
    })?;
    match place.as_str() {
        "drawer" => Some(OldLens::Drawer),
        "job" => {
            let own = job.number;
            let job = form.read(&names.old_job, |t| match t.trim_start_matches('#').parse::<i64>() {
                Ok(number) if number == own => Err(format!("{own} is this job")),
                Ok(number) => Ok(number),
                Err(_) => Err(format!("A job number is needed, such as 1042, not “{t}”")),
            })?;
            Some(OldLens::Job(job))
        }
        cause => FaultCause::from_key(cause).map(OldLens::Spoiled),
    }
}

/// Where a lens in hand can go when another is taken.
fn old_places(job: &Job, eye: Eye) -> Vec<(&'static str, &'static str)> {
    let spoiled = FaultCause::OF_A_LENS.map(|cause| (cause.key(), cause.words()));
    unspoiled_places(job, eye).into_iter().chain(spoiled).collect()
}

/// Where a lens in hand can go that is not spoiled. A cut lens fits nothing else.
pub(super) fn unspoiled_places(job: &Job, eye: Eye) -> Vec<(&'static str, &'static str)> {
    let places = vec![("drawer", "back into the drawer"), ("job", "reserved for another job")];
    if job.is_lens_cut(eye) { Vec::new() } else { places }
}

/// The lens that was ordered for an eye and is not in hand yet.
fn open_line(bench: &LensesData, eye: Eye) -> Option<&PurchaseLine> {
    let is_own = |line: &&PurchaseLine| matches!(line.lens.ordered_for, OrderedFor::Eye { eye: own, .. } if own == eye);
    bench.ordered.iter().rev().filter(is_own).find(|line| line.is_open())
}

fn lens_way(bench: &LensesData, eye: Eye) -> LensWay {
    if bench.job.eyes.get(eye).task == EyeTask::Keep {
        return LensWay { words: "No lens is made for this eye.".into(), class: "", link: None };
    }
    if bench.in_hand.get(eye).is_some() {
        return LensWay { words: "In hand".into(), class: "pass", link: None };
    }
    if let Some(line) = open_line(bench, eye) {
        let link = Some((format!("/purchases/{}", line.purchase), "See the order"));
        let (number, supplier) = (line.purchase, &line.supplier);
        let (words, class) = match line.here {
            0 => (format!("Ordered from {supplier}, order {number}, expected {}", day(&line.expected_on)), ""),
            _ => (format!("Received from {supplier}, order {number}"), "pass"),
        };
        let is_balance = bench.job.eyes.get(eye).task == EyeTask::Balance;
        return match line.lens.differs_from(&WantedLens::of(&bench.job, eye), is_balance) {
            Some(other) => LensWay { words: format!("{words}: {other}"), class: "fail", link },
            None => LensWay { words, class, link },
        };
    }
    match bench.promised.get(eye) {
        Some(_) => LensWay { words: "Reserved in the drawer for this job".into(), class: "pass", link: None },
        None if offered_lenses(bench, eye).any(|lens| misfit(bench, &from_drawer(eye, lens)).is_none()) => {
            LensWay { words: "Needed: the drawer has one".into(), class: "soon", link: None }
        }
        None => LensWay {
            words: "Needed: none is in hand, reserved or ordered".into(),
            class: "soon",
            link: Some(("/buying".into(), "To buy")),
        },
    }
}

fn page(state: &AppState, bench: &LensesData, form: StepForm, not_fitting: Pair<bool>) -> LensesPage {
    let StepForm { key, mut form } = form;
    let reached = bench.job.stage();
    let eyes: Vec<EyeLenses> =
        bench.job.made_eyes().map(|eye| eye_lenses(bench, eye, *not_fitting.get(eye), &mut form)).collect();
    LensesPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(&bench.job, "lenses", state),
        has_offered: eyes.iter().any(|eye| !eye.offered.is_empty()),
        eyes,
        material: bench.job.material.details.name.clone(),
        treatments: treatment_words(&bench.job),
        kept: bench.promised.iter().filter_map(|(_, lens)| lens.map(|id| id.to_string())).collect::<Vec<_>>().join(" "),
        has_shape: bench.layout.is_some(),
        no_stock_lenses: bench.layout.as_ref().map(|laid| laid.no_stock_lenses(&bench.in_hand)).unwrap_or_default(),
        wear_notes: bench.wear_notes.clone(),
        impact: (reached >= Stage::LensesInHand && !bench.job.is_cancelled()).then(|| impact_words(&bench.job)),
        closed: Step::Lenses.refusal(&bench.job),
        is_cut: bench.job.stage_of_work() >= Stage::Cut,
        key,
        form,
    }
}

/// Whether proof of impact resistance is on record for the lenses in hand.
fn impact_words(job: &Job) -> &'static str {
    match (job.unproven_lenses().len(), job.single_eye()) {
        (0, None) => "on record for both lenses",
        (0, Some(_)) => "on record",
        (1, None) => "on record for one lens only",
        _ => "not on record yet",
    }
}

fn eye_lenses(bench: &LensesData, eye: Eye, not_fitting: bool, form: &mut Form) -> EyeLenses {
    let laid = bench.layout.as_ref().map(|layout| layout.eyes.get(eye));
    let fields = EyeLensNames::of(eye);
    let in_hand = bench.in_hand.get(eye).as_ref();
    let kept = *bench.promised.get(eye);
    let fits = |lens: &DrawerLens| laid.is_some() && misfit(bench, &from_drawer(eye, lens)).is_none();
    let mut right: Vec<&DrawerLens> = offered_lenses(bench, eye).collect();
    // What is kept for the eye first, then what need not be coated, then the smallest that fits: smaller blanks of a plus
    // lens are thinner.
    right.sort_by_key(|lens| {
        let is_bare = suit(bench, lens, eye) == Suit::Bare;
        (kept != Some(lens.id), laid.is_some() && !fits(lens), is_bare, lens.details.diameter)
    });
    let line = open_line(bench, eye).filter(|_| in_hand.is_none());
    let best = right.first().filter(|lens| in_hand.is_none() && (kept == Some(lens.id) || fits(lens)));
    let choice = match (line, best) {
        (Some(line), _) if line.here > 0 => BOUGHT.to_owned(),
        (Some(_), _) | (None, None) => String::new(),
        (None, Some(lens)) => lens.id.to_string(),
    };
    // A fresh form says how the prism will be made.
    let is_ground = laid.is_some_and(|laid| matches!(laid.prism, Some(PrismMade::Ground(_))));
    if is_ground && in_hand.is_none() && form.value(&fields.lens).is_empty() {
        form.set_default(&fields.ground, "yes");
    }
    form.set_default(&fields.lens, choice);
    if let Some(line) = line {
        fill_in(form, &fields, line, bench.job.material.details.index());
    }
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
        in_hand: in_hand.map(|lens| match bench.job.is_lens_cut(eye) {
            true => format!("{}; cut already", in_hand_words(lens)),
            false => in_hand_words(lens),
        }),
        to_order: laid.filter(|_| in_hand.is_none()).and_then(EyeOnBench::to_order),
        has_prism: has_prism(bench, eye),
        in_hand_fit: in_hand.and_then(|lens| {
            Some(blank_words(eye, &cover(bench, lens)?, format!("{} mm", short(lens.diameter.to_f64()))))
        }),
        way: lens_way(bench, eye),
        old_places: if in_hand.is_some() { old_places(&bench.job, eye) } else { Vec::new() },
        offered: right.iter().map(|lens| offered(bench, eye, lens)).collect(),
        nearly: nearly(bench, eye),
        fields,
        not_fitting,
    }
}

/// What the order of a lens says of it, for the fields of a bought lens.
fn fill_in(form: &mut Form, fields: &EyeLensNames, line: &PurchaseLine, index: f64) {
    form.set_default(&fields.diameter, short(line.lens.diameter.to_f64()));
    let front = line.lens.base.and_then(|base| Diopter::round_from(true_from_tool_d(base.to_f64(), index)).ok());
    form.set_default(&fields.front, front.map(|front| front.to_string()).unwrap_or_default());
    let source = [line.supplier.as_str(), line.source.as_str()].into_iter().filter(|part| !part.is_empty());
    form.set_default(&fields.source, source.collect::<Vec<_>>().join(", "));
}

fn offered(bench: &LensesData, eye: Eye, lens: &DrawerLens) -> Offered {
    let diameter_mm = lens.details.diameter.to_f64();
    let taken = from_drawer(eye, lens);
    let mut hint = match cover(bench, &taken) {
        Some(cover) => match misfit(bench, &taken) {
            Some(why) if cover.fit == Fit::Fits => why,
            _ => {
                let words = blank_words(eye, &cover, String::new());
                format!("{}: {}", words.verdict, words.spare)
            }
        },
        None => "not compared: no shape yet".to_owned(),
    };
    if suit(bench, lens, eye) == Suit::Bare {
        hint.push_str(&format!("; without {}", treatment_words(&bench.job)));
    }
    if !lens.source.is_empty() {
        hint.push_str(&format!("; {}", lens.source));
    }
    let left = match *bench.promised.get(eye) == Some(lens.id) {
        true => "reserved for this job".to_owned(),
        false => format!("{} free", lens.free()),
    };
    Offered {
        value: lens.id.to_string(),
        label: format!("Drawer: {} mm{}, {left}", short(diameter_mm), lens.surface_words()),
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
            Suit::AllPromised if *bench.promised.get(eye) != Some(lens.id) => {
                Some(format!("{is}: reserved for other jobs"))
            }
            Suit::OtherTreatment => Some(format!("{is}: with {}", lens.treatments)),
            Suit::OtherPower => Some(format!("{is}: another power")),
            Suit::OtherMaterial => Some(format!("{is}: another material")),
            Suit::Right | Suit::Bare | Suit::AllPromised | Suit::Far => None,
        }
    };
    bench.drawer.iter().filter_map(why).take(NEARLY_SHOWN).collect()
}

fn in_hand_words(lens: &LensInHand) -> String {
    let mut words = format!("{} mm", short(lens.diameter.to_f64()));
    if let Some(center) = lens.center {
        words.push_str(&format!(", center {center} mm"));
    }
    if let Some(front) = lens.front_power {
        words.push_str(&format!(", front {front} D"));
    }
    words.push_str(if lens.drawer_lens.is_some() { ", from the drawer" } else { ", bought" });
    if !lens.source.is_empty() {
        words.push_str(&format!(" ({})", lens.source));
    }
    if lens.has_ground_prism {
        words.push_str(", its prism ground in");
    }
    let off = [Directed::of(lens.off_in.to_f64(), "in", "out"), Directed::of(lens.off_up.to_f64(), "up", "down")];
    for off in off.iter().filter(|off| !off.direction.is_empty()) {
        words.push_str(&format!(", marked center {} mm {}", off.amount, off.direction));
    }
    words
}
