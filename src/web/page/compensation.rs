//! The lens as worn: the power to order so that the worn power is the prescribed one, and the owner's decision.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::routing::get;
use axum::{Form as Posted, Router};

use super::job_bar::JobBar;
use super::{Chrome, PageResult, act_of, draft_of, form_key, go, is_done, posted_job_key, show, show_again};
use crate::bench::compensation::{DECISION_CAUTION, EyeCompensation, NoCompensation, PowerStep, WRAP_CAUTION};
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::process_spread::ProcessSpread;
use crate::desk::fitting::{FramePosition, PositionOfWear, PowerDecision};
use crate::desk::job::{EventKind, Job, Stage};
use crate::desk::stock::LensInHand;
use crate::optics::compensation::MAX_VERTEX_MM;
use crate::optics::direction::Directed;
use crate::optics::notation;
use crate::optics::notation::short;
use crate::optics::power::SphereCylinder;
use crate::optics::prism::imbalance;
use crate::optics::unit::Tilt;
use crate::optics::{Eye, Pair};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::measure::length;
use crate::web::words::eye_class;

/// The farthest vertex distance, in hundredths of a millimetre.
const MOST_VERTEX: i32 = (MAX_VERTEX_MM * 100.0) as i32;

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new().route("/jobs/{number}/compensation", get(show_compensation).post(decide_power))
}

#[derive(Template)]
#[template(path = "compensation/show.html")]
struct CompensationPage {
    chrome: Chrome,
    bar: JobBar,
    wear_notes: Vec<WearNote>,
    eyes: [CompensatedEye; 2],
    pair: Option<[Directed; 2]>,
    made_of: String,
    steps: [&'static str; 3],
    offer_wrap: String,
    decision: Option<String>,
    /// Why no decision can be kept now.
    closed: Option<String>,
    /// What the form was shown, so that a changed figure is not ordered unseen.
    seen: Option<Pair<String>>,
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
}

/// The job with all the figures need.
struct CompensationData {
    job: Arc<Job>,
    layout: Option<JobLayout>,
    in_hand: Pair<Option<LensInHand>>,
    spread: ProcessSpread,
    decisions: i64,
}

async fn open(state: &AppState, number: i64) -> Result<CompensationData, WebError> {
    let (job, lab) = (state.store.get_job(number).await?, state.lab());
    Ok(CompensationData {
        layout: JobLayout::of(&job, &lab, step_of(&lab)),
        in_hand: state.store.find_lenses(number).await?,
        spread: state.store.get_process_spread().await?,
        decisions: state.store.count_power_decisions(number).await?,
        job,
    })
}

async fn show_compensation(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<Fields>,
) -> PageResult {
    let data = open(&state, number).await?;
    let key = form_key("compensation", number, data.decisions);
    let mut form = if asked.is_empty() { draft_of(&state, &key).await? } else { Form::new(asked) };
    fill(&mut form, &data.job);
    let tried = read_asked(&mut form);
    let is_fine = form.is_fine();
    let page = page(&state, &data, key, form, tried).await?;
    if is_fine { show(&page) } else { show_again(&page) }
}

async fn decide_power(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let data = open(&state, number).await?;
    let mut form = Form::new(fields);
    let key = posted_job_key(&form, "compensation", number, data.decisions);
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/compensation"));
    }
    if let Some(why) = closed(&data) {
        return Err(WebError::OutOfTurn(why));
    }
    let asked = read_asked(&mut form);
    let is_compensated = form.read("decision", |key| match key {
        "compensated" => Ok(true),
        "prescribed" => Ok(false),
        _ => Err("Choose which power to order"),
    });
    let (Some(asked), Some(is_compensated)) = (asked, is_compensated) else {
        return show_again(&page(&state, &data, key, form, asked).await?);
    };
    let Some(power) = power_to_order(&mut form, &data, &asked, is_compensated) else {
        return show_again(&page(&state, &data, key, form, Some(asked)).await?);
    };
    let order = PowerDecision { is_compensated, position: asked.position, power, at: state.clock.now() };
    let said = said(&data.job, &order);
    state.store.append_power_decision(&act, number, data.job.frame.id, &order, &said).await?;
    go(&format!("/jobs/{number}/compensation"))
}

/// The powers of the decision; refused when they are not the ones that were looked at.
fn power_to_order(
    form: &mut Form,
    data: &CompensationData,
    asked: &TriedPosition,
    is_compensated: bool,
) -> Option<Pair<crate::optics::prescription::LensPower>> {
    if !is_compensated {
        return Some(data.job.prescription.eyes.map(|eye| eye.power));
    }
    let figures = Pair::new(figures(data, Eye::Right, asked), figures(data, Eye::Left, asked));
    let (Ok(right), Ok(left)) = (&figures.right, &figures.left) else {
        form.fail("decision", "There is no compensated power for both eyes: see the figures above");
        return None;
    };
    let power = Pair::new(right.order, left.order);
    let is_seen = power.iter().all(|(eye, p)| form.value(&format!("seen_{}", eye.name())) == p.to_string());
    if !is_seen {
        form.fail("decision", "The figures have changed since this page was shown: look at them again and choose");
        return None;
    }
    Some(power)
}

/// How the decision stands in the history.
fn said(job: &Job, order: &PowerDecision) -> String {
    order.words(job.prescription.eyes.map(|eye| eye.power))
}

fn figures(data: &CompensationData, eye: Eye, asked: &TriedPosition) -> Result<EyeCompensation, NoCompensation> {
    let laid = data.layout.as_ref().map(|layout| layout.eyes.get(eye));
    let in_hand = data.in_hand.get(eye).as_ref();
    EyeCompensation::of(&data.job, eye, laid, in_hand, &asked.position, asked.step)
}

/// The position last decided for, or what is known of the frame, or the usual one.
fn start(job: &Job) -> PositionOfWear {
    let usual = PositionOfWear::usual();
    match (&job.power_decision, job.frame_position) {
        (Some(order), _) => order.position,
        (None, Some(frame)) => PositionOfWear { frame, ..usual },
        (None, None) => usual,
    }
}

fn fill(form: &mut Form, job: &Job) {
    let PositionOfWear { vertex_from, frame: FramePosition { vertex, panto, wrap } } = start(job);
    form.set_default("vertex_from", short(vertex_from.to_f64()));
    form.set_default("vertex_to", short(vertex.to_f64()));
    form.set_default("panto", short(panto.to_f64()));
    form.set_default("wrap", short(wrap.to_f64()));
    form.set_default("step", PowerStep::Quarter.key());
}

fn read_asked(form: &mut Form) -> Option<TriedPosition> {
    let vertex = |text: &str| length("A vertex distance", text, 0, MOST_VERTEX);
    let from = form.read("vertex_from", vertex);
    let to = form.read("vertex_to", vertex);
    let panto = form.read("panto", |t| t.parse::<Tilt>());
    let wrap = form.read("wrap", |t| t.parse::<Tilt>());
    let step = form.read("step", |t| PowerStep::from_key(t).ok_or("Choose the steps of the order"));
    let frame = FramePosition { vertex: to?, panto: panto?, wrap: wrap? };
    Some(TriedPosition { position: PositionOfWear { vertex_from: from?, frame }, step: step? })
}

/// Why the power to order cannot be decided now.
fn closed(data: &CompensationData) -> Option<String> {
    let number = data.job.number;
    match data.job.stage() {
        Stage::Sent => Some(format!("Job {number} is sent. Which power was ordered is not changed afterwards.")),
        reached if reached >= Stage::Cut => Some(format!(
            "The lenses of job {number} are cut, so the power they are checked against stays. If other lenses are to \
             be made, take one in hand first."
        )),
        _ => None,
    }
}

async fn page(
    state: &AppState,
    data: &CompensationData,
    key: String,
    form: Form,
    asked: Option<TriedPosition>,
) -> Result<CompensationPage, WebError> {
    let job = &data.job;
    // A wrong field leaves the figures of what is known.
    let asked = asked.unwrap_or(TriedPosition { position: start(job), step: PowerStep::Quarter });
    let figures = Pair::new(figures(data, Eye::Right, &asked), figures(data, Eye::Left, &asked));
    let both = figures.right.as_ref().ok().zip(figures.left.as_ref().ok());
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
        wear_notes: notes(job, &data.spread, "compensation"),
        pair,
        seen: both.map(|(right, left)| Pair::new(right.order.to_string(), left.order.to_string())),
        made_of: format!("{}, index {:.3}", job.material.details.name, job.material.details.index()),
        eyes: Eye::BOTH.map(|eye| CompensatedEye::of(job, eye, figures.get(eye))),
        steps: PowerStep::ALL.map(PowerStep::key),
        offer_wrap: short(data.spread.offer_wrap.to_f64()),
        decision: job.power_decision.as_ref().map(|order| said(job, order)),
        closed: closed(data),
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
        Self {
            order: compensation.order.to_string(),
            exact: notation::exact_power(compensated.order),
            textbook: notation::exact_power(compensated.order_textbook),
            left: left_words(compensation.left),
            left_unchanged: left_words(compensation.left_unchanged),
            tilt: [Directed::of(tilt.in_pd, "base in", "base out"), Directed::of(tilt.up_pd, "base up", "base down")],
            tilt_polar: notation::polar_prism(eye, tilt),
            front: format!(
                "front {:+.2} D, centre {:.2} mm",
                compensation.lens.front_power_d, compensation.lens.centre_thickness_mm
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
    if job.frame_position.is_none() && job.power_decision.is_none() {
        return Ok(Vec::new());
    }
    Ok(notes(job, &state.store.get_process_spread().await?, ""))
}

/// What the ticket and the packing sheet say.
pub async fn wear_words(state: &AppState, job: &Job) -> Result<Vec<String>, WebError> {
    let spread = state.store.get_process_spread().await?;
    let wraps = job.frame_position.is_some_and(|wear| spread.offers(wear.wrap));
    Ok(job.compensated_words().into_iter().chain(wraps.then(|| WRAP_CAUTION.to_owned())).collect())
}

fn notes(job: &Job, spread: &ProcessSpread, here: &str) -> Vec<WearNote> {
    let is_here = here == "compensation";
    let link = if is_here { String::new() } else { format!("/jobs/{}/compensation", job.number) };
    let wrap = job.frame_position.map(|wear| wear.wrap).filter(|wrap| spread.offers(*wrap));
    let mut notes = Vec::new();
    // The page itself says what was decided further down.
    if let Some(says) = job.compensated_words().filter(|_| !is_here) {
        notes.push(WearNote { class: "info", head: "Position of wear", says, link: link.clone() });
    }
    if let (Some(wrap), None) = (wrap, &job.power_decision) {
        let says = format!(
            "This frame wraps {}°. Lenses made as prescribed give another power as worn: decide which power to order.",
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

const DECIDED_LATE: &str = "Which power to order was decided after a lens was taken in hand: read both lenses on the \
     lensmeter before you block them.";

/// Whether the newest decision came after the newest lens; the decision stands in the history by its own words.
fn is_decided_late(job: &Job) -> bool {
    let lens = job.history.iter().rposition(|e| matches!(e.kind, EventKind::LensRight | EventKind::LensLeft));
    let said = job.power_decision.as_ref().map(|order| said(job, order));
    let decided = said.and_then(|said| job.history.iter().rposition(|e| e.kind == EventKind::Note && e.note == said));
    lens.is_some() && decided > lens
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
