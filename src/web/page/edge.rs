//! The edge of both lenses before they are cut: how thick, where, and where the bevel or groove goes.

use std::sync::Arc;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};

use super::job_bar::{EyeWords, JobBar};
use super::layout::lay_out;
use super::{Chrome, PageResult, show, show_again};
use crate::bench::bevel_place::{BevelChoice, hold_of, placement_words, where_words};
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::lens::{CutLens, JobLens};
use crate::desk::catalogue::Material;
use crate::desk::job::Job;
use crate::desk::order::Design;
use crate::desk::stock::LensInHand;
use crate::optics::notation::short;
use crate::optics::surface::tool_from_true_d;
use crate::optics::{Eye, Pair};
use crate::shape::bevel::{Hold, LinePoint, Placement};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::edge_drawing::{BAND_WORDS, BandDrawing, ProfileDrawing, ProfileScale, half_of};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::eye_class;

mod form;

use form::{EdgeChoice, FIELDS, HOLD, MATERIAL, read_edge_choice};

#[derive(Template)]
#[template(path = "edge/show.html")]
struct EdgePage {
    chrome: Chrome,
    bar: JobBar,
    materials: Vec<(String, String)>,
    has_rim_curve: bool,
    no_stock_lenses: Vec<String>,
    figures: Option<EdgeFigures>,
    form: Form,
}

/// The figures alone, which follow the form while it is typed in.
#[derive(Template)]
#[template(path = "edge/_figures.html")]
struct FiguresFragment {
    figures: Option<EdgeFigures>,
}

struct EdgeFigures {
    errors: Vec<String>,
    notes: Vec<String>,
    eyes: Vec<EyeFigures>,
    bands: [(&'static str, &'static str); 5],
}

struct EyeFigures {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    words: EyeWords,
    lens: Result<LensFigures, String>,
}

struct LensFigures {
    drawing: BandDrawing,
    profile: ProfileDrawing,
    thickest: Extreme,
    thinnest: Extreme,
    center: [String; 2],
    front: [String; 3],
    back: String,
    weight: String,
    /// Behind what the rear edge stands out.
    behind: &'static str,
    overhang: Option<[String; 2]>,
    placement: String,
    curves: String,
    uncut: Result<String, String>,
    warnings: Vec<String>,
    at: Vec<[String; 4]>,
}

/// The thinnest or thickest place.
struct Extreme {
    mm: String,
    place: String,
    thumb: String,
}

/// What the figures are made from.
struct EdgeData {
    job: Arc<Job>,
    laid: Option<JobLayout>,
    lenses: Pair<Option<LensInHand>>,
    materials: Vec<Material>,
}

impl EdgeData {
    fn rim_curves(&self) -> Pair<Option<f64>> {
        self.laid.as_ref().map(|laid| laid.rim_curve_tool_d).unwrap_or_default()
    }
}

async fn load(state: &AppState, number: i64) -> Result<EdgeData, WebError> {
    let (job, lab) = (state.store.get_job(number).await?, state.lab());
    Ok(EdgeData {
        laid: lay_out(state, &job, step_of(&lab)).await?,
        lenses: state.store.find_lenses(number).await?,
        materials: state.store.list_materials().await?,
        job,
    })
}

pub(crate) async fn show_edge(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(typed): Query<Fields>,
) -> PageResult {
    let bench = load(&state, number).await?;
    let mut form = Form::new(typed);
    let mut figures = figures(&bench, &mut form);
    if let Some(figures) = &mut figures {
        // On the page each sentence stands beside its field.
        figures.errors.clear();
    }
    set_defaults(&mut form, &bench);
    let is_fine = form.is_fine();
    let page = EdgePage {
        chrome: Chrome::new(&state, ""),
        bar: JobBar::of(&bench.job, "edge", &state),
        materials: bench.materials.iter().map(|m| (m.id.to_string(), m.details.name.clone())).collect(),
        has_rim_curve: bench.rim_curves().iter().any(|(_, curve)| curve.is_some()),
        no_stock_lenses: bench.laid.as_ref().map(|laid| laid.no_stock_lenses(&bench.lenses)).unwrap_or_default(),
        figures,
        form,
    };
    if is_fine { show(&page) } else { show_again(&page) }
}

pub(crate) async fn show_figures(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(typed): Posted<Fields>,
) -> PageResult {
    let bench = load(&state, number).await?;
    let mut form = Form::new(typed);
    // A field half typed is no refusal: its sentence stands above what can be figured all the same.
    show(&FiguresFragment { figures: figures(&bench, &mut form) })
}

fn set_defaults(form: &mut Form, bench: &EdgeData) {
    form.set_default(MATERIAL, bench.job.material.id.to_string());
    form.set_default(
        HOLD,
        match hold_of(bench.job.frame.details.rim) {
            Hold::Bevel { .. } => "bevel",
            Hold::Groove { .. } => "groove",
            Hold::Drilled => "drilled",
        },
    );
}

/// The figures for what the form asks; fields that cannot be read are left as they are usual. `None` without a shape.
fn figures(bench: &EdgeData, form: &mut Form) -> Option<EdgeFigures> {
    let laid = bench.laid.as_ref()?;
    let choice = read_edge_choice(form, &bench.job, &bench.materials, &bench.rim_curves());
    let lenses = Pair::new(Eye::Right, Eye::Left).map(|eye| lens_of(bench, laid, &choice, eye));
    let bodies = || lenses.iter().filter(|(eye, _)| bench.job.makes(*eye)).filter_map(|(_, lens)| lens.as_ref().ok());
    let scale = ProfileScale::of(bodies().map(|(body, _)| &body.edge));
    let half_mm = half_of(laid.eyes.iter().map(|(_, eye)| &eye.layout.boxing));
    Some(EdgeFigures {
        errors: FIELDS.iter().filter_map(|name| form.error(name)).map(str::to_owned).collect(),
        notes: notes(bench, &choice),
        eyes: bench
            .job
            .made_eyes()
            .map(|eye| EyeFigures {
                name: eye.name(),
                letter: eye.letter(),
                class: eye_class(eye),
                words: EyeWords::of(&bench.job, eye, None),
                lens: match lenses.get(eye) {
                    Ok((body, line)) => {
                        let drawing =
                            BandDrawing::of(eye, &laid.eyes.get(eye).outline, &body.edge, body.center, half_mm);
                        Ok(lens_figures(body, line, drawing, ProfileDrawing::of(eye, line, scale)))
                    }
                    Err(why) => Err(why.clone()),
                },
            })
            .collect(),
        bands: BAND_WORDS,
    })
}

fn lens_of(
    bench: &EdgeData,
    laid: &JobLayout,
    choice: &EdgeChoice<'_>,
    eye: Eye,
) -> Result<(CutLens, BevelChoice), String> {
    let cut = JobLens::of(&bench.job, eye, Some(laid), bench.lenses.get(eye).as_ref(), &choice.lens)
        .and_then(|lens| lens.cut(laid))
        .map_err(|why| format!("{why}."))?;
    let rim_curve = *bench.rim_curves().get(eye);
    let placement = match (choice.placement, rim_curve) {
        // Each rim has its own curve; an eye without one keeps what was asked for with the other's.
        (Some(Placement::Curve { share, .. }), Some(tool_d)) => Some(Placement::Curve { tool_d, share }),
        (placement, _) => placement,
    };
    let line = BevelChoice::of(&cut, choice.hold, placement, rim_curve);
    Ok((cut, line))
}

fn notes(bench: &EdgeData, choice: &EdgeChoice<'_>) -> Vec<String> {
    let mut notes = Vec::new();
    if choice.is_other_material {
        notes.push(format!(
            "{} is tried here; {} was ordered. The lens in hand does not count.",
            choice.material.name, bench.job.material.details.name
        ));
    }
    if bench.job.design == Design::Aspheric {
        notes.push(
            "An aspheric front is computed as a sphere, so these figures are approximate: the lens will be somewhat thinner."
                .to_owned(),
        );
    }
    notes
}

fn lens_figures(cut: &CutLens, line: &BevelChoice, drawing: BandDrawing, profile: ProfileDrawing) -> LensFigures {
    let order = cut.lens.body.order();
    let back = cut.lens.body.back_curves();
    let extreme = |point: crate::shape::edge::EdgePoint, thumb_mm: f64| Extreme {
        mm: format!("{:.2}", point.mm),
        place: where_words(cut.lens.eye, point.deg),
        thumb: format!("{thumb_mm:.2}"),
    };
    LensFigures {
        thickest: extreme(cut.edge.thickest(), cut.thumb.thickest_mm),
        thinnest: extreme(cut.edge.thinnest(), cut.thumb.thinnest_mm),
        center: [format!("{:.2}", order.center_thickness_mm), cut.lens.thickness_from.words().to_owned()],
        front: [
            format!("{:+.2}", order.front_power_d),
            cut.lens.front_from.words().to_owned(),
            format!("{:+.2}", tool_from_true_d(order.front_power_d, order.index)),
        ],
        back: if (back.base_d - back.cross_d).abs() < 0.005 {
            format!("{:+.2} D", back.base_d)
        } else {
            format!("{:+.2} D along {:.0}°, {:+.2} D across", back.base_d, back.axis_deg, back.cross_d)
        },
        weight: format!("{:.1}", cut.weight_g),
        overhang: line
            .most_overhang()
            .filter(|_| line.hold != Hold::Drilled)
            .map(|most| overhang_words(cut.lens.eye, most)),
        behind: if matches!(line.hold, Hold::Groove { .. }) {
            "Visible behind the groove"
        } else {
            "Visible behind the rim"
        },
        placement: placement_words(line.hold, line.placement),
        curves: curve_words(line),
        uncut: uncut_words(cut),
        warnings: line.warnings(cut),
        at: line.eighths().into_iter().map(|point| at_words(cut.lens.eye, point)).collect(),
        drawing,
        profile,
    }
}

/// How much stands out, and where; `nothing` has no place.
fn overhang_words(eye: Eye, most: &LinePoint) -> [String; 2] {
    if most.rear_overhang_mm < 0.005 {
        return ["nothing".to_owned(), String::new()];
    }
    [format!("{:.2} mm", most.rear_overhang_mm), where_words(eye, most.edge.deg)]
}

fn at_words(eye: Eye, point: &LinePoint) -> [String; 4] {
    [
        where_words(eye, point.edge.deg),
        format!("{:.2}", point.edge.mm),
        format!("{:.2}", point.from_front_mm),
        format!("{:.2}", point.rear_overhang_mm),
    ]
}

fn curve_words(line: &BevelChoice) -> String {
    if line.hold == Hold::Drilled {
        return String::new();
    }
    let line_d = line.line.curve_tool_d.map(|d| format!("its curve {d:.1} D"));
    let rim_d = line.rim_curve_tool_d.map(|d| format!("rim {d:.1} D"));
    let known: Vec<String> = line_d.into_iter().chain(rim_d).collect();
    if known.is_empty() { String::new() } else { format!("{} in tool power", known.join(", ")) }
}

/// What is left at the rim of the uncut lens, or what is wrong there.
fn uncut_words(cut: &CutLens) -> Result<String, String> {
    let (diameter, from) = (short(cut.diameter_mm), cut.diameter_from.words());
    match &cut.uncut_rim_mm {
        Ok(mm) if *mm >= 0.0 => {
            Ok(format!("The {diameter} mm uncut lens ({from}) is {mm:.2} mm at its own thinnest rim"))
        }
        Ok(mm) => Err(format!(
            "An uncut lens of {diameter} mm ({from}) cannot have this center: its rim would be {mm:.2} mm. Take a smaller \
             blank or a thicker center."
        )),
        Err(why) => Err(format!("An uncut lens of {diameter} mm ({from}) cannot be cut. {why}.")),
    }
}
