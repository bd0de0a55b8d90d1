//! What another material would make of an order, side by side with its price.

use askama::Template;
use axum::extract::{Path, State};

use super::job_bar::JobBar;
use super::layout::lay_out;
use super::{Chrome, PageResult, show};
use crate::bench::bevel_place::hold_of;
use crate::bench::layout::step_of;
use crate::bench::material_comparison::{FRINGE_NOTICED_PD, ImpactClass, MaterialComparison};
use crate::desk::money::Cents;
use crate::optics::Eye;
use crate::shape::compare::LensInMaterial;
use crate::web::AppState;
use crate::web::words::eye_class;

#[derive(Template)]
#[template(path = "materials/show.html")]
struct MaterialsPage {
    chrome: Chrome,
    bar: JobBar,
    /// The lenses that are made: letter, class, power.
    rx: Vec<(&'static str, &'static str, String)>,
    least_edge: String,
    rows: Vec<ComparisonRow>,
}

struct ComparisonRow {
    name: String,
    try_path: String,
    is_ordered: bool,
    index: String,
    abbe: String,
    cutting: &'static str,
    impact: &'static str,
    /// Thickest, thinnest, center and weight, each right, then left.
    cells: Vec<String>,
    /// Why there is no such lens.
    refused: Vec<String>,
    fringe: String,
    is_noticed: bool,
    price: String,
    more: String,
}

pub(crate) async fn compare_materials(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let on_sale = state.store.list_materials().await?;
    let least_edge_mm = hold_of(job.frame.details.rim).least_edge_mm();
    let rows = lay_out(&state, &job, step_of(&state.lab()))
        .await?
        .map(|laid| MaterialComparison::all(&job, &laid, &on_sale, least_edge_mm))
        .unwrap_or_default();
    let line_of = |choice: &MaterialComparison| {
        let material = on_sale.iter().find(|m| !choice.is_ordered && m.details == choice.details).map(|m| m.id);
        material.map_or(format!("/jobs/{number}/edge"), |id| format!("/jobs/{number}/edge?material={id}"))
    };
    let made: Vec<Eye> = job.made_eyes().collect();
    show(&MaterialsPage {
        chrome: Chrome::new(&state, ""),
        bar: JobBar::of(&job, "materials", &state),
        rx: job
            .made_eyes()
            .map(|eye| (eye.letter(), eye_class(eye), job.lens_power(eye).to_minus().to_string()))
            .collect(),
        least_edge: format!("{least_edge_mm:.1}"),
        rows: rows.iter().map(|choice| row(&made, choice, line_of(choice))).collect(),
    })
}

fn row(made: &[Eye], choice: &MaterialComparison, try_path: String) -> ComparisonRow {
    let fringe_pd = choice.worst_fringe_pd();
    ComparisonRow {
        name: choice.details.name.clone(),
        try_path,
        is_ordered: choice.is_ordered,
        index: format!("{:.3}", choice.details.index()),
        abbe: format!("{:.0}", f64::from(choice.details.abbe_tenths) / 10.0),
        cutting: choice.details.cutting.words(),
        impact: ImpactClass::of(&choice.details).words(),
        cells: (0..4)
            .flat_map(|figure| {
                made.iter().map(move |eye| {
                    choice.eyes.get(*eye).as_ref().map_or("none".into(), |row| figures(row)[figure].clone())
                })
            })
            .collect(),
        refused: choice
            .eyes
            .iter()
            .filter(|(eye, _)| made.contains(eye))
            .filter_map(|(eye, row)| {
                row.as_ref().err().map(|why| format!("{}, {} eye: {why}.", choice.details.name, eye.name()))
            })
            .collect(),
        fringe: fringe_pd.map(|pd| format!("{pd:.2} Δ")).unwrap_or_default(),
        is_noticed: fringe_pd.is_some_and(|pd| pd >= FRINGE_NOTICED_PD),
        price: choice.details.price.to_string(),
        more: match choice.more.cents() {
            _ if choice.is_ordered => String::new(),
            0 => "the same".to_owned(),
            cents if cents < 0 => format!("{} less", Cents::new(-cents)),
            _ => format!("{} more", choice.more),
        },
    }
}

fn figures(row: &LensInMaterial) -> [String; 4] {
    [
        format!("{:.2}", row.thickest.mm),
        format!("{:.2}", row.thinnest.mm),
        format!("{:.2}", row.lens.order().center_thickness_mm),
        format!("{:.1}", row.weight_g),
    ]
}
