//! The lens as worn: the power to order so that the worn power is the prescribed one, and the owner's decision.

use std::sync::Arc;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use time::OffsetDateTime;

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::layout::lay_out;
use super::{Chrome, PageResult, show, show_again};
use crate::bench::compensation::{
    DECISION_CAUTION, EyeCompensation, NoCompensation, PowerStep, WRAP_CAUTION, disagreements,
};
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::lens::rim_front_d;
use crate::bench::process_spread::ProcessSpread;
use crate::desk::fitting::{
    DecidedLens, FramePosition, PositionOfWear, PowerDecision, TracePlane, VERTEX, VertexAnswer,
};
use crate::desk::job::{EventKind, Job};
use crate::desk::limit::read_tilt;
use crate::desk::step::Step;
use crate::desk::stock::{BASE, LensInHand};
use crate::optics::direction::Directed;
use crate::optics::notation;
use crate::optics::notation::short;
use crate::optics::power::SphereCylinder;
use crate::optics::prescription::LensPower;
use crate::optics::prism::imbalance;
use crate::optics::surface::{tool_from_true_d, true_from_tool_d};
use crate::optics::unit::{Diopter, Millimeter};
use crate::optics::{Eye, Pair};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::eye_class;

#[derive(Template)]
#[template(path = "compensation/show.html")]
struct CompensationPage {
    chrome: Chrome,
    bar: JobBar,
    wear_notes: Vec<WearNote>,
    eyes: Vec<CompensatedEye>,
    pair: Option<[Directed; 2]>,
    made_of: String,
    steps: Vec<&'static str>,
    /// Whether the form must say that the vertex distance is not known.
    asks_vertex: bool,
    traces: Vec<(&'static str, &'static str)>,
    offer_wrap: String,
    decision: Option<String>,
    /// Why no decision can be kept now.
    closed: Option<String>,
    /// What the form was shown, so that a changed figure is not ordered unseen.
    seen: Vec<(&'static str, String)>,
    /// The offer of the compensated power; none where it cannot be ordered.
    offer: Option<String>,
    key: String,
    form: Form,
    wrap_caution: &'static str,
    decision_caution: &'static str,
}

/// One eye in words.
struct CompensatedEye {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    prescribed: String,
    figures: Result<CompensationFigures, String>,
}

struct CompensationFigures {
    order: String,
    exact: String,
    textbook: String,
    left: String,
    left_unchanged: String,
    tilt: [Directed; 2],
    tilt_polar: String,
    front: String,
}

/// What is tried or decided: the position, and the steps of the order.
#[derive(Clone, Copy)]
struct TriedPosition {
    position: PositionOfWear,
    step: PowerStep,
    /// The nominal base curve of each front, in tool power, where it was typed.
    base: Pair<Option<Diopter>>,
}

/// The job with all the figures need.
struct CompensationData {
    job: Arc<Job>,
    layout: Option<JobLayout>,
    in_hand: Pair<Option<LensInHand>>,
    spread: ProcessSpread,
}

async fn open(state: &AppState, job: Arc<Job>) -> Result<CompensationData, WebError> {
    let lab = state.lab();
    Ok(CompensationData {
        layout: lay_out(state, &job, step_of(&lab)).await?,
        in_hand: state.store.find_lenses(job.number).await?,
        spread: state.store.get_process_spread().await?,
        job,
    })
}

pub(crate) async fn show_compensation(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<Fields>,
) -> PageResult {
    let data = open(&state, state.store.get_job(number).await?).await?;
    let mut form = StepForm::open(&state, &data.job, Step::Compensation).await?;
    if !asked.is_empty() {
        form.form = Form::new(asked);
    }
    CompensationForm::fill(&mut form.form, &data);
    let tried = CompensationForm::read_position(&mut form.form, false);
    let is_fine = form.form.is_fine();
    let page = page(&state, &data, form, tried).await?;
    if is_fine { show(&page) } else { show_again(&page) }
}

pub(crate) async fn decide_power(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Compensation, fields).await?;
    let data = open(&state, Arc::clone(&post.job)).await?;
    let (tried, order) = CompensationForm::read(&mut post.form, &data, state.clock.now());
    let Some(order) = order else {
        return show_again(&page(&state, &data, post.refused(), tried).await?);
    };
    let said = said(&data.job, &order);
    let done = state.store.append_power_decision(&post.act, number, data.job.frame.id, &order, &said).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &data, post.refused(), tried).await?),
    }
}

/// The fields of the form of a decision.
pub(in crate::web) struct CompensationForm;

impl CompensationForm {
    pub(in crate::web) const VERTEX_FROM: &str = "vertex_from";
    pub(in crate::web) const VERTEX_TO: &str = "vertex_to";
    pub(in crate::web) const PANTO: &str = "panto";
    pub(in crate::web) const WRAP: &str = "wrap";
    const STEP: &str = "step";
    const TRACE: &str = "trace";
    const BASES: [&str; 2] = ["base_right", "base_left"];
    pub(in crate::web) const VERTEX_UNKNOWN: &str = "vertex_unknown";
    pub(in crate::web) const DECISION: &str = "decision";

    /// The field with the power of an eye as the page showed it.
    fn seen(eye: Eye) -> String {
        format!("seen_{}", eye.name())
    }

    /// What was tried, and the decision for it.
    fn read(
        form: &mut Form,
        data: &CompensationData,
        now: OffsetDateTime,
    ) -> (Option<TriedPosition>, Option<PowerDecision>) {
        let tried = Self::read_position(form, true);
        let is_compensated = form.read(Self::DECISION, |key| match key {
            "compensated" => Ok(true),
            "prescribed" => Ok(false),
            _ => Err("Choose which power to order"),
        });
        let (Some(position), Some(is_compensated)) = (tried, is_compensated) else { return (tried, None) };
        let power = power_to_order(form, data, &position, is_compensated);
        let lenses = Pair::new(Eye::Right, Eye::Left).map(|eye| decided_lens(data, eye, &position));
        let decided = |power| PowerDecision { is_compensated, position: position.position, power, lenses, at: now };
        (tried, power.map(decided))
    }

    fn fill(form: &mut Form, data: &CompensationData) {
        let job = &data.job;
        let PositionOfWear { vertex_from, vertex_is_known, frame } = start(job);
        // A strong lens is not reckoned with a usual distance unseen.
        let is_answered = job.power_decision.is_some() || job.vertex.is_some();
        if vertex_is_known && (is_answered || !job.asks_vertex()) {
            form.set_default(Self::VERTEX_FROM, short(vertex_from.to_f64()));
            form.set_default(Self::VERTEX_TO, short(frame.vertex.to_f64()));
        }
        if !vertex_is_known {
            form.set_default(Self::VERTEX_UNKNOWN, "yes");
        }
        form.set_default(Self::PANTO, short(frame.panto.to_f64()));
        form.set_default(Self::WRAP, short(frame.wrap.to_f64()));
        form.set_default(Self::TRACE, frame.trace.key());
        form.set_default(Self::STEP, PowerStep::Quarter.key());
        for (name, eye) in Self::BASES.into_iter().zip(Eye::BOTH) {
            if let Some(tool_d) = starting_base_d(data, eye) {
                form.set_default(name, short(tool_d));
            }
        }
    }

    /// `must_answer`: whether the vertex distance has to be there, or be said not to be known.
    fn read_position(form: &mut Form, must_answer: bool) -> Option<TriedPosition> {
        let vertex = Self::read_vertex(form, must_answer);
        let panto = form.read(Self::PANTO, read_tilt);
        let wrap = form.read(Self::WRAP, read_tilt);
        let trace = form.read(Self::TRACE, |t| TracePlane::from_key(t).ok_or("Choose how the trace was made"));
        let step = form.read(Self::STEP, |t| PowerStep::from_key(t).ok_or("Choose the steps of the order"));
        let [right, left] = Self::BASES.map(|name| form.read_optional(name, |t| BASE.read(t)));
        let (vertex_from, vertex, vertex_is_known) = vertex?;
        let frame = FramePosition { vertex, panto: panto?, wrap: wrap?, trace: trace? };
        let position = PositionOfWear { vertex_from, vertex_is_known, frame };
        Some(TriedPosition { position, step: step?, base: Pair::new(right?, left?) })
    }

    /// Tested at, worn at, and whether that is known.
    fn read_vertex(form: &mut Form, must_answer: bool) -> Option<(Millimeter, Millimeter, bool)> {
        let is_empty = [Self::VERTEX_FROM, Self::VERTEX_TO].iter().all(|name| form.value(name).trim().is_empty());
        if !is_empty {
            let from = form.read(Self::VERTEX_FROM, |t| VERTEX.read(t));
            let to = form.read(Self::VERTEX_TO, |t| VERTEX.read(t));
            return Some((from?, to?, true));
        }
        if must_answer && !form.is_checked(Self::VERTEX_UNKNOWN, "yes") {
            form.fail(
                Self::VERTEX_UNKNOWN,
                "Type both vertex distances above and press Try, or tick that they are not known",
            );
            return None;
        }
        let usual = PositionOfWear::usual();
        Some((usual.vertex_from, usual.frame.vertex, false))
    }
}

/// The base curve that the field of an eye starts with: the one decided for, else that of a wrapped rim. A lens in hand
/// has its own.
fn starting_base_d(data: &CompensationData, eye: Eye) -> Option<f64> {
    let index = data.job.material.details.index();
    if data.in_hand.get(eye).as_ref().is_some_and(|lens| lens.front_power.is_some()) {
        return None;
    }
    let decided = data.job.power_decision.as_ref().and_then(|decision| *decision.lenses.get(eye));
    let rim_d = || rim_front_d(&data.job, eye, data.layout.as_ref()?, index);
    let front_d = decided.map(|lens| lens.front.to_f64()).or_else(rim_d)?;
    Some((tool_from_true_d(front_d, index) * 100.0).round() / 100.0)
}

/// The lens that an eye's power was computed for.
fn decided_lens(data: &CompensationData, eye: Eye, asked: &TriedPosition) -> Option<DecidedLens> {
    let figures = figures(data, eye, asked).ok()?;
    let order = figures.lens.body.order();
    let front = Diopter::round_from(order.front_power_d).ok()?;
    Some(DecidedLens { front, center: Millimeter::round_from(order.center_thickness_mm).ok()? })
}

/// The powers of the decision; refused when they are not the ones that were looked at.
fn power_to_order(
    form: &mut Form,
    data: &CompensationData,
    asked: &TriedPosition,
    is_compensated: bool,
) -> Option<Pair<LensPower>> {
    if !is_compensated {
        return Some(data.job.prescription.eyes.map(|eye| eye.power));
    }
    let Some(power) = orders(data, asked) else {
        form.fail(CompensationForm::DECISION, "There is no compensated power for every lens: see the figures above");
        return None;
    };
    let mut made = power.iter().filter(|(eye, _)| data.job.holds_power(*eye));
    let is_seen = made.all(|(eye, p)| form.value(&CompensationForm::seen(eye)) == p.to_string());
    if !is_seen {
        form.fail(
            CompensationForm::DECISION,
            "The figures have changed since this page was loaded: check them again and choose",
        );
        return None;
    }
    Some(power)
}

/// The compensated power of each lens that is made as prescribed, as that of the others; `None` where one has none.
fn orders(data: &CompensationData, asked: &TriedPosition) -> Option<Pair<LensPower>> {
    let of = |eye| match data.job.holds_power(eye) {
        true => figures(data, eye, asked).ok().map(|figures| figures.order),
        false => Some(data.job.prescription.eyes.get(eye).power),
    };
    Some(Pair::new(of(Eye::Right)?, of(Eye::Left)?))
}

/// How the decision stands in the history.
fn said(job: &Job, order: &PowerDecision) -> String {
    job.decision_words(order)
}

fn figures(data: &CompensationData, eye: Eye, asked: &TriedPosition) -> Result<EyeCompensation, NoCompensation> {
    let (layout, in_hand) = (data.layout.as_ref(), data.in_hand.get(eye).as_ref());
    let index = data.job.material.details.index();
    let front_d = asked.base.get(eye).map(|base| true_from_tool_d(base.to_f64(), index));
    EyeCompensation::of(&data.job, eye, layout, in_hand, &asked.position, asked.step, front_d)
}

/// The position last decided for, or what is known of the frame, or the usual one.
fn start(job: &Job) -> PositionOfWear {
    let frame = job.frame_position.unwrap_or(PositionOfWear::usual().frame);
    match &job.power_decision {
        Some(order) => order.position,
        None => PositionOfWear::starting(frame, job.vertex),
    }
}

async fn page(
    state: &AppState,
    data: &CompensationData,
    form: StepForm,
    asked: Option<TriedPosition>,
) -> Result<CompensationPage, WebError> {
    let job = &data.job;
    let StepForm { key, form } = form;
    // A wrong field leaves the figures of what is known.
    let asked =
        asked.unwrap_or(TriedPosition { position: start(job), step: PowerStep::Quarter, base: Pair::default() });
    let figures = Pair::new(figures(data, Eye::Right, &asked), figures(data, Eye::Left, &asked));
    let both = figures.right.as_ref().ok().zip(figures.left.as_ref().ok()).filter(|_| job.compares_eyes());
    let orders = orders(data, &asked);
    let made: Vec<Eye> = Eye::BOTH.into_iter().filter(|eye| job.holds_power(*eye)).collect();
    let pair = both.map(|(right, left)| {
        let net = imbalance(Pair::new(
            right.compensated.tilt_prism.to_in_up(Eye::Right),
            left.compensated.tilt_prism.to_in_up(Eye::Left),
        ));
        [
            Directed::of(net.horizontal_pd, "base in", "base out"),
            Directed::of(net.vertical_pd, "base up right", "base up left"),
        ]
    });
    Ok(CompensationPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "compensation", state),
        wear_notes: notes(job, &data.spread, "compensation", disagreements(job, data.layout.as_ref(), &data.in_hand)),
        asks_vertex: [CompensationForm::VERTEX_FROM, CompensationForm::VERTEX_TO]
            .iter()
            .all(|name| form.value(name).trim().is_empty()),
        traces: TracePlane::ALL.iter().map(|trace| (trace.key(), trace.words())).collect(),
        pair,
        offer: orders.filter(|_| !made.is_empty()).map(|order| {
            let of = |eye: &Eye| format!("{} {}", eye.letter(), order.get(*eye));
            format!("Compensated: {}", made.iter().map(of).collect::<Vec<_>>().join(", "))
        }),
        seen: orders
            .map(|order| made.iter().map(|eye| (eye.name(), order.get(*eye).to_string())).collect())
            .unwrap_or_default(),
        made_of: format!("{}, index {:.3}", job.material.details.name, job.material.details.index()),
        eyes: made.iter().map(|eye| CompensatedEye::of(job, *eye, figures.get(*eye))).collect(),
        steps: PowerStep::ALL.iter().map(|step| step.key()).collect(),
        offer_wrap: short(data.spread.offer_wrap.to_f64()),
        decision: job.power_decision.as_ref().map(|order| said(job, order)),
        closed: Step::Compensation.refusal(job),
        key,
        form,
        wrap_caution: WRAP_CAUTION,
        decision_caution: DECISION_CAUTION,
    })
}

impl CompensatedEye {
    fn of(job: &Job, eye: Eye, figures: &Result<EyeCompensation, NoCompensation>) -> Self {
        Self {
            name: eye.name(),
            letter: eye.letter(),
            class: eye_class(eye),
            prescribed: job.prescription.eyes.get(eye).power.to_minus().to_string(),
            figures: match figures {
                Ok(compensation) => Ok(CompensationFigures::of(eye, compensation)),
                Err(why) => Err(why.to_string()),
            },
        }
    }
}

impl CompensationFigures {
    fn of(eye: Eye, compensation: &EyeCompensation) -> Self {
        let compensated = &compensation.compensated;
        let tilt = compensated.tilt_prism.to_in_up(eye);
        let (lens, made) = (&compensation.lens, compensation.lens.body.order());
        Self {
            order: compensation.order.to_string(),
            exact: notation::exact_power(compensated.order),
            textbook: notation::exact_power(compensated.order_textbook),
            left: left_words(compensation.left),
            left_unchanged: left_words(compensation.left_unchanged),
            tilt: [Directed::of(tilt.in_pd, "base in", "base out"), Directed::of(tilt.up_pd, "base up", "base down")],
            tilt_polar: notation::polar_prism(eye, tilt),
            front: format!(
                "front {:+.2} D ({}), center {:.2} mm ({})",
                made.front_power_d,
                lens.front_from.words(),
                made.center_thickness_mm,
                lens.thickness_from.words()
            ),
        }
    }
}

/// What is left over, in words.
fn left_words(power: SphereCylinder) -> String {
    let minus = power.to_minus();
    let largest_d = minus.sphere_d.abs().max((minus.sphere_d + minus.cylinder_d).abs());
    if largest_d < 0.005 { "nothing".to_owned() } else { notation::exact_power(power) }
}

/// What the pages of a job say of the way it is worn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WearNote {
    /// `info` or `caution`.
    pub class: &'static str,
    /// Its first word.
    pub head: &'static str,
    /// The sentence.
    pub says: String,
    /// Where it leads, with its words; empty for nowhere.
    pub link: String,
}

/// The notes for a page of a job.
pub async fn wear_notes(state: &AppState, job: &Job) -> Result<Vec<WearNote>, WebError> {
    // Nothing is known of how most pairs sit: their pages need no more of the book.
    if job.frame_position.is_none() && job.power_decision.is_none() && !job.asks_vertex() {
        return Ok(Vec::new());
    }
    Ok(notes(job, &state.store.get_process_spread().await?, "", disagreements_of(state, job).await?))
}

/// What is wrong between the power decided on and the lenses in hand.
pub async fn disagreements_of(state: &AppState, job: &Job) -> Result<Vec<String>, WebError> {
    if job.compensated().is_none() {
        return Ok(Vec::new());
    }
    let layout = lay_out(state, job, step_of(&state.lab())).await?;
    Ok(disagreements(job, layout.as_ref(), &state.store.find_lenses(job.number).await?))
}

/// What the ticket and the packing sheet say.
pub async fn wear_words(state: &AppState, job: &Job) -> Result<Vec<String>, WebError> {
    let spread = state.store.get_process_spread().await?;
    let wraps = job.frame_position.is_some_and(|wear| spread.offers(wear.wrap));
    Ok(job.compensated_words().into_iter().chain(wraps.then(|| WRAP_CAUTION.to_owned())).collect())
}

fn notes(job: &Job, spread: &ProcessSpread, here: &str, disagreements: Vec<String>) -> Vec<WearNote> {
    let is_here = here == "compensation";
    let link = if is_here { String::new() } else { format!("/jobs/{}/compensation", job.number) };
    let wrap = job.frame_position.map(|wear| wear.wrap).filter(|wrap| spread.offers(*wrap));
    let mut notes = Vec::new();
    // The page itself says what was decided further down.
    if let Some(says) = job.compensated_words().filter(|_| !is_here) {
        notes.push(WearNote { class: "info", head: "Position of wear", says, link: link.clone() });
    }
    for says in disagreements {
        notes.push(WearNote { class: "caution", head: "Another lens", says, link: link.clone() });
    }
    let is_open = Step::Compensation.refusal(job).is_none();
    if is_open
        && job.asks_vertex()
        && job.power_decision.is_none()
        && let Some(says) = vertex_words(job)
    {
        notes.push(WearNote { class: "info", head: "Vertex distance", says, link: link.clone() });
    }
    if let (Some(wrap), None) = (wrap, &job.power_decision) {
        let says = format!(
            "This frame wraps {}°. Lenses made as prescribed have a different power as worn: decide which power to \
             order.",
            short(wrap.to_f64())
        );
        notes.push(WearNote { class: "caution", head: "Wrapped frame", says, link });
    }
    let mut cautions = Vec::new();
    if is_decided_late(job) {
        cautions.push(DECIDED_LATE);
    }
    if wrap.is_some() && !is_here {
        cautions.push(WRAP_CAUTION);
    }
    if !cautions.is_empty() {
        let says = cautions.join(" ");
        notes.push(WearNote { class: "caution", head: "Caution", says, link: String::new() });
    }
    notes
}

/// What is to be said or decided about the vertex distances; `None` where they change nothing or are not known.
fn vertex_words(job: &Job) -> Option<String> {
    match job.vertex {
        None => Some(
            "A meridian has 5 D or more: enter the vertex distance it was tested at and the one it is worn at, or tick \
             that they are not known."
                .to_owned(),
        ),
        Some(answer @ VertexAnswer::Known { tested, worn }) if tested != worn => {
            Some(format!("A meridian has 5 D or more, {}: decide which power to order.", answer.words()))
        }
        Some(_) => None,
    }
}

const DECIDED_LATE: &str = "Which power to order was decided after a lens was taken in hand: read both lenses on the \
     lensmeter before you block them.";

/// Whether the newest decision came after the newest lens in hand.
fn is_decided_late(job: &Job) -> bool {
    let lens = job.history.iter().rposition(|e| matches!(e.kind, EventKind::LensRight | EventKind::LensLeft));
    lens.is_some() && job.history.iter().rposition(|e| e.kind == EventKind::PowerDecided) > lens
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rest_that_is_written_as_zero_is_nothing() {
        assert_eq!(left_words(SphereCylinder::new(0.001, -0.003, 10.0)), "nothing");
        assert_eq!(left_words(SphereCylinder::new(0.04, -0.03, 0.2)), "+0.04 -0.03 x 180");
    }
}
