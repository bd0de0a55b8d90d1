//! The layout of a job for the bench: where each lens goes, what the blocker is set to, which blank covers it.

use askama::Template;
use axum::extract::{Path, Query, State};

use super::compensation::{WearNote, wear_notes};
use super::job_bar::{EyeWords, JobBar};
use super::risk::risk_sentence;
use super::{Chrome, PageResult, show, show_again};
use crate::bench::bevel_place::usual_edges;
use crate::bench::drilling::hole_words;
use crate::bench::layout::{Cover, EyeOnBench, Fit, JobLayout, step_of};
use crate::bench::lens::{JobLens, LensOverrides, Origin, known_uncut};
use crate::bench::real_size::Supply;
use crate::desk::job::Job;
use crate::desk::stock::{DIAMETER, LensInHand};
use crate::optics::direction::{Directed, place_words};
use crate::optics::notation::short;
use crate::optics::prism::InUp;
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};
use crate::shape::blocker::BlockerStep;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::drawing::{EyeDrawing, reach_mm};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::eye_class;

#[derive(Template)]
#[template(path = "layout/show.html")]
struct LayoutPage {
    chrome: Chrome,
    bar: JobBar,
    laid: Option<LayoutFigures>,
    wear_notes: Vec<WearNote>,
    risk: String,
    form: Form,
}

struct LayoutFigures {
    frame_pd: String,
    wanted_pd: String,
    made_for: &'static str,
    horizontal: Directed,
    vertical: Directed,
    /// The lenses that are made.
    eyes: Vec<EyeLaid>,
    /// Whether both are, so that they make a prism between them.
    is_pair: bool,
    cautions: Vec<String>,
}

struct EyeLaid {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    words: EyeWords,
    drawing: EyeDrawing,
    set_pd: String,
    set_height: String,
    nudge: [Directed; 2],
    decentration: [Directed; 2],
    exact: String,
    with_margin: String,
    thumb: String,
    blank: BlankWords,
    left_prism: [Directed; 2],
    prescribed: Option<String>,
}

/// How a blank covers the shape, in words.
pub struct BlankWords {
    pub mark: &'static str,
    pub verdict: &'static str,
    pub spare: String,
    pub which: String,
}

pub(crate) async fn show_layout(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<Fields>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let lenses = state.store.find_lenses(number).await?;
    let lab = state.lab();
    let mut form = Form::new(asked);
    let trial = Pair::new(read_blank(&mut form, Eye::Right), read_blank(&mut form, Eye::Left));
    let step = read_step(&mut form).unwrap_or_else(|| step_of(&lab));
    let laid = lay_out(&state, &job, step).await?.map(|layout| laid(&job, &layout, &lenses, trial));
    form.set_default(STEP, short(step.mm()));
    for (eye, lens) in lenses.iter() {
        if let Some(lens) = lens {
            form.set_default(&blank_field(eye), short(lens.diameter.to_f64()));
        }
    }
    let is_fine = form.is_fine();
    let page = LayoutPage {
        chrome: Chrome::new(&state, ""),
        bar: JobBar::of(&job, "layout", &state),
        laid,
        wear_notes: wear_notes(&state, &job).await?,
        risk: risk_sentence(&state, &job).await?,
        form,
    };
    if is_fine { show(&page) } else { show_again(&page) }
}

/// The layout of a job with this step of the blocker; `None` while it has no shape.
pub async fn lay_out(state: &AppState, job: &Job, step: BlockerStep) -> Result<Option<JobLayout>, WebError> {
    let Some(shape) = state.store.find_job_shape(job).await? else { return Ok(None) };
    let supply = supply_of(state, job).await?;
    Ok(Some(JobLayout::with_supply(job, &shape, &state.lab(), step, &supply)))
}

/// The lenses that a job has or can have.
pub async fn supply_of(state: &AppState, job: &Job) -> Result<Supply, WebError> {
    let (store, number) = (&state.store, job.number);
    Ok(Supply::of_hand(store.find_lenses(number).await?)
        .with_drawer(job, &store.list_drawer_for(job).await?, &store.find_promises(number).await?)
        .with_list(&store.list_offered_diameters(number).await?)
        .with_orders(&store.list_purchase_lines_of(number).await?))
}

/// The fields of the layout's form.
const STEP: &str = "step";

fn blank_field(eye: Eye) -> String {
    format!("blank_{}", eye.name())
}

fn read_blank(form: &mut Form, eye: Eye) -> Option<f64> {
    form.read_optional(&blank_field(eye), |t| DIAMETER.named("A blank").read(t)).flatten().map(Millimeter::to_f64)
}

fn read_step(form: &mut Form) -> Option<BlockerStep> {
    let parse = |text: &str| {
        let mm = text.parse::<Millimeter>().map_err(|why| why.to_string())?;
        BlockerStep::from_mm(mm.to_f64()).map_err(|why| why.to_string())
    };
    form.read_optional(STEP, parse).flatten()
}

fn laid(job: &Job, layout: &JobLayout, lenses: &Pair<Option<LensInHand>>, trial: Pair<Option<f64>>) -> LayoutFigures {
    let chosen = |eye: Eye| choose(job, layout, eye, lenses.get(eye).as_ref(), *trial.get(eye));
    let chosen = Pair::new(chosen(Eye::Right), chosen(Eye::Left));
    let half_mm = reach_mm(&chosen.right.cover).max(reach_mm(&chosen.left.cover));
    LayoutFigures {
        frame_pd: format!("{:.2}", layout.frame_pd_mm),
        wanted_pd: match job.single_eye() {
            None => format!("{:.2}", layout.wanted_pd_mm),
            Some(eye) => format!("{} {:.2}", eye.letter(), layout.eyes.get(eye).wanted.pd_mm),
        },
        made_for: job.made_for.words(),
        horizontal: Directed::of(layout.left_prism.horizontal_pd, "base in", "base out"),
        vertical: Directed::of(layout.left_prism.vertical_pd, "base up right", "base up left"),
        cautions: layout
            .eyes
            .iter()
            .filter(|(_, eye)| eye.is_made)
            .flat_map(|(_, eye)| eye.cautions())
            .chain(layout.no_stock_lenses(lenses))
            .chain(layout.wrap_words())
            .chain(drill_words(job, layout, lenses))
            .collect(),
        is_pair: job.single_eye().is_none(),
        eyes: job.made_eyes().map(|eye| eye_laid(job, layout.eyes.get(eye), chosen.get(eye), half_mm)).collect(),
    }
}

/// What to know of the holes of a drilled mount.
pub fn drill_words(job: &Job, layout: &JobLayout, lenses: &Pair<Option<LensInHand>>) -> Vec<String> {
    let is_drilled = layout.eyes.iter().any(|(_, eye)| !eye.holes.is_empty());
    if is_drilled { hole_words(layout, &usual_edges(job, layout, lenses)) } else { Vec::new() }
}

/// The blank to draw, and what it is in words.
pub struct ChosenBlank {
    pub cover: Cover,
    pub which: String,
    /// It is not there yet and no stock lens will do.
    is_to_be_surfaced: bool,
}

/// The blank asked for, else the lens in hand, else the smallest that can be had and fits.
pub fn choose(
    job: &Job,
    layout: &JobLayout,
    eye: Eye,
    lens: Option<&LensInHand>,
    trial_mm: Option<f64>,
) -> ChosenBlank {
    let laid = layout.eyes.get(eye);
    let (uncut, from) = known_uncut(lens, trial_mm).unwrap_or_else(|| (laid.stock_uncut(), Origin::Assumed));
    let is_to_be_surfaced = from == Origin::Assumed && laid.no_stock_lens().is_some();
    let words = match (from, laid.chosen) {
        (Origin::InHand, _) => "in hand",
        (Origin::Asked, _) => "on trial",
        (_, Some(_)) if is_to_be_surfaced => "assumed, to be surfaced",
        (_, Some(size)) => size.from.words(),
        (_, None) => "the nearest that can be had",
    };
    let tried = LensOverrides { diameter_mm: trial_mm, ..LensOverrides::default() };
    let cover = JobLens::of(job, eye, Some(layout), lens, &tried).map(|lens| lens.cover_on(laid));
    ChosenBlank {
        // Without such a lens only its size counts.
        cover: cover.unwrap_or_else(|_| laid.cover(uncut)),
        which: format!("{} mm {words}", short(uncut.diameter_mm)),
        is_to_be_surfaced,
    }
}

fn eye_laid(job: &Job, eye: &EyeOnBench, chosen: &ChosenBlank, half_mm: f64) -> EyeLaid {
    let cover = &chosen.cover;
    let mut blank = blank_words(eye.eye, cover, chosen.which.clone());
    if chosen.is_to_be_surfaced && cover.fit == Fit::Fits {
        (blank.mark, blank.verdict) = ("limit", "To be ordered");
    }
    let power = job.lens_power(eye.eye).to_minus();
    let set = &eye.layout.blocker;
    EyeLaid {
        name: eye.eye.name(),
        letter: eye.eye.letter(),
        class: eye_class(eye.eye),
        words: EyeWords::of(job, eye.eye, None),
        drawing: EyeDrawing::on_blank(eye, cover, power.axis().map(|a| a.degrees()), half_mm),
        set_pd: format!("{:.1}", set.set_pd_mm),
        set_height: format!("{:.1}", set.set_height_mm),
        nudge: [Directed::of(set.nudge_in_mm, "in", "out"), Directed::of(set.nudge_up_mm, "up", "down")],
        decentration: [
            Directed::of(eye.layout.decentration.in_mm, "in", "out"),
            Directed::of(eye.layout.decentration.up_mm, "up", "down"),
        ],
        exact: format!("{:.2}", cover.needs.exact_mm),
        with_margin: format!("{:.2}", cover.needs.with_margin_mm),
        thumb: format!("{:.2}", cover.needs.rule_of_thumb_mm),
        blank,
        left_prism: prism_words(eye.left_prism),
        prescribed: prescribed_words(job, eye),
    }
}

fn prism_words(prism: InUp) -> [Directed; 2] {
    [Directed::of(prism.in_pd, "base in", "base out"), Directed::of(prism.up_pd, "base up", "base down")]
}

/// Whether a blank is large enough, and where it is tightest.
pub fn blank_words(eye: Eye, cover: &Cover, which: String) -> BlankWords {
    let (mark, verdict) = match cover.fit {
        Fit::Fits => ("pass", "Fits"),
        Fit::Tight => ("limit", "Tight"),
        Fit::TooSmall => ("fail", "Too small"),
        Fit::NoRim => ("fail", "Too thin"),
    };
    let place = place_words(eye, cover.tightest.at_deg);
    let spare_mm = cover.tightest.spare_mm;
    let spare = if cover.fit == Fit::NoRim {
        "with this front and center no edge would be left at its own rim".to_owned()
    } else if spare_mm < 0.0 {
        format!("{:.2} mm short, {place}", -spare_mm)
    } else {
        format!("{spare_mm:.2} mm spare, {place}")
    };
    BlankWords { mark, verdict, spare, which }
}

/// How prescribed prism is made, or why it cannot be made on the bench.
pub fn prescribed_words(job: &Job, eye: &EyeOnBench) -> Option<String> {
    let prism = job.prescription.eyes.get(eye.eye).prism;
    let made = eye.prism.as_ref()?;
    Some(format!("{prism}. {}.", made.words(eye.eye, prism, eye.blank().with_margin_mm)))
}
