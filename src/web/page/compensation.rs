//! The lens as worn: the power to order so that the worn power is the prescribed one, and the owner's decision.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::routing::get;
use axum::{Form as Posted, Router};

use super::job_bar::JobBar;
use super::{Answer, Chrome, act_of, draft_of, form_key, go, is_done, posted_job_key, show, show_again};
use crate::bench::compensation::{DECISION_CAUTION, EyeWorn, NoOrder, PowerStep, WRAP_CAUTION};
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::process_spread::LabHabits;
use crate::desk::fitting::{FrameWear, Position, WornOrder};
use crate::desk::job::{Happening, Job, Stage};
use crate::desk::stock::LensInHand;
use crate::optics::compensation::MAX_VERTEX_MM;
use crate::optics::direction::Way;
use crate::optics::power::SphereCylinder;
use crate::optics::prism::{InUp, imbalance};
use crate::optics::unit::Tilt;
use crate::optics::{Eye, Pair};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::drawing::short;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::measure::length;
use crate::web::words::eye_class;

/// The farthest vertex distance, in hundredths of a millimetre.
const MOST_VERTEX: i32 = (MAX_VERTEX_MM * 100.0) as i32;

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new().route("/jobs/{number}/worn", get(show_worn).post(decide_worn))
}

#[derive(Template)]
#[template(path = "worn/show.html")]
struct WornPage {
    chrome: Chrome,
    bar: JobBar,
    worn_notes: Vec<WornNote>,
    eyes: [EyeAsWorn; 2],
    pair: Option<[Way; 2]>,
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
struct EyeAsWorn {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    prescribed: String,
    figures: Result<Figures, String>,
}

struct Figures {
    order: String,
    exact: String,
    textbook: String,
    left: String,
    left_unchanged: String,
    tilt: [Way; 2],
    tilt_polar: String,
    front: String,
}

/// What is tried or decided: the position, and the steps of the order.
#[derive(Clone, Copy)]
struct Asked {
    position: Position,
    step: PowerStep,
}

/// The job with all the figures need.
struct Opened {
    job: Arc<Job>,
    layout: Option<JobLayout>,
    in_hand: Pair<Option<LensInHand>>,
    habits: LabHabits,
    decisions: i64,
}

async fn open(state: &AppState, number: i64) -> Result<Opened, WebError> {
    let (job, lab) = (state.store.get_job(number).await?, state.lab());
    Ok(Opened {
        layout: JobLayout::of(&job, &lab, step_of(&lab)),
        in_hand: state.store.find_lenses(number).await?,
        habits: state.store.get_habits().await?,
        decisions: state.store.count_worn_orders(number).await?,
        job,
    })
}

async fn show_worn(State(state): State<AppState>, Path(number): Path<i64>, Query(asked): Query<Fields>) -> Answer {
    let opened = open(&state, number).await?;
    let key = form_key("worn", number, opened.decisions);
    let mut form = if asked.is_empty() { draft_of(&state, &key).await? } else { Form::new(asked) };
    fill(&mut form, &opened.job);
    let tried = read_asked(&mut form);
    let is_fine = form.is_fine();
    let page = page(&state, &opened, key, form, tried).await?;
    if is_fine { show(&page) } else { show_again(&page) }
}

async fn decide_worn(State(state): State<AppState>, Path(number): Path<i64>, Posted(fields): Posted<Fields>) -> Answer {
    let opened = open(&state, number).await?;
    let mut form = Form::new(fields);
    let key = posted_job_key(&form, "worn", number, opened.decisions);
    let act = act_of(&key, &form);
    if is_done(&state, &act).await? {
        return go(&format!("/jobs/{number}/worn"));
    }
    if let Some(why) = closed(&opened) {
        return Err(WebError::OutOfTurn(why));
    }
    let asked = read_asked(&mut form);
    let is_compensated = form.read("decision", |key| match key {
        "compensated" => Ok(true),
        "prescribed" => Ok(false),
        _ => Err("Choose which power to order"),
    });
    let (Some(asked), Some(is_compensated)) = (asked, is_compensated) else {
        return show_again(&page(&state, &opened, key, form, asked).await?);
    };
    let Some(power) = power_to_order(&mut form, &opened, &asked, is_compensated) else {
        return show_again(&page(&state, &opened, key, form, Some(asked)).await?);
    };
    let order = WornOrder { is_compensated, position: asked.position, power, at: state.clock.now() };
    let said = said(&opened.job, &order);
    state.store.append_worn_order(&act, number, opened.job.frame.id, &order, &said).await?;
    go(&format!("/jobs/{number}/worn"))
}

/// The powers of the decision; refused when they are not the ones that were looked at.
fn power_to_order(
    form: &mut Form,
    opened: &Opened,
    asked: &Asked,
    is_compensated: bool,
) -> Option<Pair<crate::optics::prescription::LensPower>> {
    if !is_compensated {
        return Some(opened.job.prescription.eyes.map(|eye| eye.power));
    }
    let figures = Pair::new(figures(opened, Eye::Right, asked), figures(opened, Eye::Left, asked));
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
fn said(job: &Job, order: &WornOrder) -> String {
    order.words(job.prescription.eyes.map(|eye| eye.power))
}

fn figures(opened: &Opened, eye: Eye, asked: &Asked) -> Result<EyeWorn, NoOrder> {
    let laid = opened.layout.as_ref().map(|layout| layout.eyes.get(eye));
    let in_hand = opened.in_hand.get(eye).as_ref();
    EyeWorn::of(&opened.job, eye, laid, in_hand, &asked.position, asked.step)
}

/// The position last decided for, or what is known of the frame, or the usual one.
fn start(job: &Job) -> Position {
    let usual = Position::usual();
    match (&job.worn_order, job.frame_wear) {
        (Some(order), _) => order.position,
        (None, Some(frame)) => Position { frame, ..usual },
        (None, None) => usual,
    }
}

fn fill(form: &mut Form, job: &Job) {
    let Position { vertex_from, frame: FrameWear { vertex, panto, wrap } } = start(job);
    form.set_default("vertex_from", short(vertex_from.to_f64()));
    form.set_default("vertex_to", short(vertex.to_f64()));
    form.set_default("panto", short(panto.to_f64()));
    form.set_default("wrap", short(wrap.to_f64()));
    form.set_default("step", PowerStep::Quarter.key());
}

fn read_asked(form: &mut Form) -> Option<Asked> {
    let vertex = |text: &str| length("A vertex distance", text, 0, MOST_VERTEX);
    let from = form.read("vertex_from", vertex);
    let to = form.read("vertex_to", vertex);
    let panto = form.read("panto", |t| t.parse::<Tilt>());
    let wrap = form.read("wrap", |t| t.parse::<Tilt>());
    let step = form.read("step", |t| PowerStep::from_key(t).ok_or("Choose the steps of the order"));
    let frame = FrameWear { vertex: to?, panto: panto?, wrap: wrap? };
    Some(Asked { position: Position { vertex_from: from?, frame }, step: step? })
}

/// Why the power to order cannot be decided now.
fn closed(opened: &Opened) -> Option<String> {
    let number = opened.job.number;
    match opened.job.stage() {
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
    opened: &Opened,
    key: String,
    form: Form,
    asked: Option<Asked>,
) -> Result<WornPage, WebError> {
    let job = &opened.job;
    // A wrong field leaves the figures of what is known.
    let asked = asked.unwrap_or(Asked { position: start(job), step: PowerStep::Quarter });
    let figures = Pair::new(figures(opened, Eye::Right, &asked), figures(opened, Eye::Left, &asked));
    let both = figures.right.as_ref().ok().zip(figures.left.as_ref().ok());
    let pair = both.map(|(right, left)| {
        let net =
            imbalance(Pair::new(right.worn.tilt_prism.to_in_up(Eye::Right), left.worn.tilt_prism.to_in_up(Eye::Left)));
        [Way::of(net.horizontal_pd, "base in", "base out"), Way::of(net.vertical_pd, "base up right", "base up left")]
    });
    Ok(WornPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "worn", state),
        worn_notes: notes(job, &opened.habits, "worn"),
        pair,
        seen: both.map(|(right, left)| Pair::new(right.order.to_string(), left.order.to_string())),
        made_of: format!("{}, index {:.3}", job.material.details.name, job.material.details.index()),
        eyes: Eye::BOTH.map(|eye| EyeAsWorn::of(job, eye, figures.get(eye))),
        steps: PowerStep::ALL.map(PowerStep::key),
        offer_wrap: short(opened.habits.offer_wrap.to_f64()),
        decision: job.worn_order.as_ref().map(|order| said(job, order)),
        closed: closed(opened),
        key,
        form,
        wrap_caution: WRAP_CAUTION,
        decision_caution: DECISION_CAUTION,
    })
}

impl EyeAsWorn {
    fn of(job: &Job, eye: Eye, figures: &Result<EyeWorn, NoOrder>) -> Self {
        Self {
            name: eye.name(),
            letter: eye.letter(),
            class: eye_class(eye),
            prescribed: job.prescription.eyes.get(eye).power.to_minus().to_string(),
            figures: match figures {
                Ok(worn) => Ok(Figures::of(eye, worn)),
                Err(why) => Err(why.to_string()),
            },
        }
    }
}

impl Figures {
    fn of(eye: Eye, eye_worn: &EyeWorn) -> Self {
        let worn = &eye_worn.worn;
        let tilt = worn.tilt_prism.to_in_up(eye);
        Self {
            order: eye_worn.order.to_string(),
            exact: exact_words(worn.order),
            textbook: exact_words(worn.order_textbook),
            left: left_words(eye_worn.left),
            left_unchanged: left_words(eye_worn.left_unchanged),
            tilt: [Way::of(tilt.in_pd, "base in", "base out"), Way::of(tilt.up_pd, "base up", "base down")],
            tilt_polar: polar_words(eye, tilt),
            front: format!(
                "front {:+.2} D, centre {:.2} mm",
                eye_worn.lens.front_power_d, eye_worn.lens.centre_thickness_mm
            ),
        }
    }
}

/// A computed power to two places, minus cylinder: `-5.71 -0.37 x 088`.
pub fn exact_words(power: SphereCylinder) -> String {
    let minus = power.to_minus();
    // Nothing has no sign.
    let tidy = |value_d: f64| if value_d.abs() < 0.005 { 0.0 } else { value_d };
    let (sphere_d, cylinder_d) = (tidy(minus.sphere_d), tidy(minus.cylinder_d));
    if cylinder_d == 0.0 {
        return format!("{sphere_d:+.2} sph");
    }
    let axis = match minus.axis_deg.round() as i32 {
        0 => 180,
        axis => axis,
    };
    format!("{sphere_d:+.2} {cylinder_d:.2} x {axis:03}")
}

/// What is left over, in words.
fn left_words(power: SphereCylinder) -> String {
    let minus = power.to_minus();
    let largest_d = minus.sphere_d.abs().max((minus.sphere_d + minus.cylinder_d).abs());
    if largest_d < 0.005 { "nothing".to_owned() } else { exact_words(power) }
}

/// Amount and base direction, or none.
pub fn polar_words(eye: Eye, prism: InUp) -> String {
    let polar = prism.to_polar(eye);
    if polar.amount_pd < 0.005 {
        return "no prism".to_owned();
    }
    format!("{:.2} Δ, base {:.0}°", polar.amount_pd, polar.base_deg.round() % 360.0)
}

/// What the pages of a job say of the way it is worn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WornNote {
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
pub async fn worn_notes(state: &AppState, job: &Job) -> Result<Vec<WornNote>, WebError> {
    // Nothing is known of how most pairs sit: their pages need no more of the book.
    if job.frame_wear.is_none() && job.worn_order.is_none() {
        return Ok(Vec::new());
    }
    Ok(notes(job, &state.store.get_habits().await?, ""))
}

/// What the ticket and the packing sheet say.
pub async fn worn_words(state: &AppState, job: &Job) -> Result<Vec<String>, WebError> {
    let habits = state.store.get_habits().await?;
    let wraps = job.frame_wear.is_some_and(|wear| habits.offers(wear.wrap));
    Ok(job.compensated_words().into_iter().chain(wraps.then(|| WRAP_CAUTION.to_owned())).collect())
}

fn notes(job: &Job, habits: &LabHabits, here: &str) -> Vec<WornNote> {
    let is_here = here == "worn";
    let link = if is_here { String::new() } else { format!("/jobs/{}/worn", job.number) };
    let wrap = job.frame_wear.map(|wear| wear.wrap).filter(|wrap| habits.offers(*wrap));
    let mut notes = Vec::new();
    // The page itself says what was decided further down.
    if let Some(says) = job.compensated_words().filter(|_| !is_here) {
        notes.push(WornNote { class: "info", head: "As worn", says, link: link.clone() });
    }
    if let (Some(wrap), None) = (wrap, &job.worn_order) {
        let says = format!(
            "This frame wraps {}°. Lenses made as prescribed give another power as worn: decide which power to order.",
            short(wrap.to_f64())
        );
        notes.push(WornNote { class: "caution", head: "Wrapped frame", says, link });
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
        notes.push(WornNote { class: "caution", head: "Caution", says, link: String::new() });
    }
    notes
}

const DECIDED_LATE: &str = "Which power to order was decided after a lens was taken in hand: read both lenses on the \
     lensmeter before you block them.";

/// Whether the newest decision came after the newest lens; the decision stands in the history by its own words.
fn is_decided_late(job: &Job) -> bool {
    let lens = job.history.iter().rposition(|e| matches!(e.happening, Happening::LensRight | Happening::LensLeft));
    let said = job.worn_order.as_ref().map(|order| said(job, order));
    let decided =
        said.and_then(|said| job.history.iter().rposition(|e| e.happening == Happening::Note && e.note == said));
    lens.is_some() && decided > lens
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn computed_powers_are_written_in_minus_form() {
        for (power, words) in [
            (SphereCylinder::new(-5.714, -0.366, 88.4), "-5.71 -0.37 x 088"),
            (SphereCylinder::new(1.0, 0.5, 90.2), "+1.50 -0.50 x 180"),
            (SphereCylinder::new(-0.001, -0.002, 10.0), "+0.00 sph"),
            (SphereCylinder::new(0.04, -0.03, 0.2), "+0.04 -0.03 x 180"),
        ] {
            assert_eq!(exact_words(power), words);
        }
        assert_eq!(left_words(SphereCylinder::new(0.001, -0.003, 10.0)), "nothing");
        assert_eq!(polar_words(Eye::Left, InUp { in_pd: 2.0, up_pd: 0.0 }), "2.00 Δ, base 180°");
        assert_eq!(polar_words(Eye::Right, InUp { in_pd: 2.0, up_pd: -0.001 }), "2.00 Δ, base 0°");
    }
}
