//! What an order comes to while it is typed: both eyes as understood, cautions, the bill, the promise, and, where the
//! shape of the frame is on file, the blank to order and the edge in each material.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use uuid::Uuid;

use super::bill::code_notes;
use super::context::{OrderContext, present};
use super::{Bill, OrderForm, PageResult, show};
use crate::bench::bevel_place::hold_of;
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::material_comparison::MaterialComparison;
use crate::bench::real_size::Supply;
use crate::desk::deadline::Lateness;
use crate::desk::job::{Job, JobEye};
use crate::optics::{Eye, Pair};
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::{self, eye_class, parse_day};

/// How many of a frame's newest jobs are looked through for a shape.
const MOST_LOOKED_AT: i64 = 50;

/// The summary beside the order form.
#[derive(Template)]
#[template(path = "orders/_summary.html")]
pub(super) struct Summary {
    eyes: Vec<EyeLine>,
    /// Whether the vertex distance is still to be answered.
    asks_vertex: bool,
    cautions: Vec<String>,
    bill: Option<Bill>,
    promise: Option<String>,
    fit: Option<ShapeFit>,
}

/// It is markup already.
impl askama::filters::HtmlSafe for Summary {}

/// One eye as understood.
struct EyeLine {
    letter: &'static str,
    class: &'static str,
    words: String,
    change: Option<String>,
}

/// What the shape on file says.
struct ShapeFit {
    /// The job that the shape was found with.
    job: i64,
    /// Each lens that is made: its letter, its class, and the diameter to order or why there is none.
    blanks: Vec<(&'static str, &'static str, String)>,
    materials: Vec<MaterialLine>,
}

/// The pair in one material.
struct MaterialLine {
    name: String,
    is_chosen: bool,
    /// The thickest edge of the pair, mm, or why there is no such pair.
    thickest: String,
}

/// The summary of what stands in a draft.
pub(crate) async fn show_summary(State(state): State<AppState>, Path(key): Path<Uuid>) -> PageResult {
    let draft = state.store.find_draft(&key.to_string()).await?.unwrap_or_default();
    let mut form = Form::new(draft.fields);
    let context = OrderContext::load(&state, &mut form).await?;
    context.fill_in(&mut form);
    let read = OrderForm::read(&mut form.clone(), &context);
    show(&Summary::of(&state, &form, &context, &read).await?)
}

impl Summary {
    pub(super) async fn of(
        state: &AppState,
        form: &Form,
        context: &OrderContext,
        read: &OrderForm,
    ) -> Result<Self, WebError> {
        let bill = read.charges.as_ref().map(|charges| Bill::of(charges, read.paid, code_notes(read, context)));
        Ok(Self {
            eyes: Eye::BOTH.into_iter().filter_map(|eye| eye_line(eye, context, read)).collect(),
            asks_vertex: read.asks_vertex && !OrderForm::is_filled(form, &OrderForm::VERTEX),
            cautions: read.cautions.iter().map(|caution| caution.says.clone()).collect(),
            bill,
            promise: parse_day(form.value(OrderForm::PROMISED_ON)).ok().map(|day| {
                let lateness = Lateness::of(day, false, context.today);
                format!("{}, {}", words::weekday(&day), lateness.words())
            }),
            fit: fit(state, context, read).await?,
        })
    }
}

fn eye_line(eye: Eye, context: &OrderContext, read: &OrderForm) -> Option<EyeLine> {
    let order = read.eyes.get(eye).read.as_ref().ok()?;
    let words = match order.rx {
        Some(rx) if order.task.is_made() => rx.to_string(),
        _ => order.words().to_owned(),
    };
    let change = super::change_since_last(eye, context, &read.eyes);
    Some(EyeLine { letter: eye.letter(), class: eye_class(eye), words, change })
}

/// The pair as it would be made with a shape of this frame that is on file.
async fn fit(state: &AppState, context: &OrderContext, read: &OrderForm) -> Result<Option<ShapeFit>, WebError> {
    let Some(typed) = &read.typed else { return Ok(None) };
    let Some(shaped) = shaped_job(state, context).await? else { return Ok(None) };
    let Some(shape) = state.store.find_job_shape(&shaped).await? else { return Ok(None) };
    let job = Job {
        prescription: typed.prescription.clone(),
        made_for: typed.made_for,
        material: typed.material.clone(),
        eyes: Pair::new(Eye::Right, Eye::Left)
            .map(|eye| JobEye { task: *typed.tasks.get(eye), height: *typed.height.get(eye) }),
        power_decision: None,
        history: Vec::new(),
        ..(*shaped).clone()
    };
    let listed = state.store.list_offered_diameters(shaped.number).await?;
    let supply = Supply::default().with_list(&listed);
    let laid = JobLayout::with_supply(&job, &shape, &context.lab, step_of(&context.lab), &supply);
    let made = |eye: &Eye| job.eyes.get(*eye).task.is_made();
    let least_edge_mm = hold_of(job.frame.details.rim).least_edge_mm();
    let blanks = Eye::BOTH.into_iter().filter(made).map(|eye| {
        let on_bench = laid.eyes.get(eye);
        let words = match (on_bench.stock_diameter_mm(), on_bench.no_stock_lens()) {
            (_, Some(why)) => why,
            (Some(mm), None) => format!("order {mm} mm or larger"),
            (None, None) => String::new(),
        };
        (eye.letter(), eye_class(eye), words)
    });
    let materials = MaterialComparison::all(&job, &laid, &context.materials, least_edge_mm);
    Ok(Some(ShapeFit {
        job: shaped.number,
        blanks: blanks.collect(),
        materials: materials.iter().map(|choice| material_line(choice, &job)).collect(),
    }))
}

fn material_line(choice: &MaterialComparison, job: &Job) -> MaterialLine {
    let made = choice.eyes.iter().filter(|(eye, _)| job.eyes.get(*eye).task.is_made());
    let edges: Result<Vec<f64>, _> = made.map(|(_, eye)| eye.as_ref().map(|lens| lens.thickest.mm)).collect();
    MaterialLine {
        name: choice.details.name.clone(),
        is_chosen: choice.is_ordered,
        thickest: match edges {
            Ok(edges) => format!("{:.1} mm", edges.into_iter().fold(0.0, f64::max)),
            Err(why) => why.to_string(),
        },
    }
}

/// The earlier job that lends its shape, else the newest job in the same frame that has one.
async fn shaped_job(state: &AppState, context: &OrderContext) -> Result<Option<Arc<Job>>, WebError> {
    if let Some(job) = &context.relens {
        return Ok(Some(job.clone()));
    }
    let Some(frame) = &context.frame else { return Ok(None) };
    let newest = state.store.list_jobs_of_frame(frame.id, i64::MAX, MOST_LOOKED_AT).await?;
    let (Some(last), Some(first)) = (newest.first(), newest.last()) else { return Ok(None) };
    let mut shaped = state.store.list_shaped_jobs(frame.id, first.number..=last.number).await?;
    shaped.sort_unstable();
    for number in shaped.into_iter().rev() {
        if let Some(job) = present(state.store.get_job_or_record(number).await)? {
            return Ok(Some(job));
        }
    }
    Ok(None)
}
