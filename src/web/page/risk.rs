//! The chance that a pair will pass its check, before it is cut, and which error matters most.

use askama::Template;
use axum::extract::{Path, State};

use super::job_bar::JobBar;
use super::{Chrome, PageResult, show};
use crate::bench::process_spread::budget_of;
use crate::desk::job::Job;
use crate::optics::Eye;
use crate::optics::budget::{Budget, RowRisk};
use crate::optics::notation;
use crate::optics::tolerance::{RowUnit, STANDARD_GOVERNS};
use crate::web::AppState;
use crate::web::error::WebError;

#[derive(Template)]
#[template(path = "risk/show.html")]
struct RiskPage {
    chrome: Chrome,
    bar: JobBar,
    sentence: String,
    wholes: Vec<WholeRow>,
    rows: Vec<RiskRow>,
    profile: String,
    governs: &'static str,
}

/// How an eye or the pair stands over all its rows.
struct WholeRow {
    name: &'static str,
    percent: String,
}

/// One row of the tolerance table.
struct RiskRow {
    letter: &'static str,
    eye: &'static str,
    name: &'static str,
    limit: String,
    spread: String,
    percent: String,
    bar: String,
    is_worst: bool,
    dominant: String,
    remedy: &'static str,
}

pub(crate) async fn show_risk(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let (job, lab) = (state.store.get_job(number).await?, state.lab());
    let budget = budget_of(&job, &lab, &state.store.get_process_spread().await?);
    show(&RiskPage {
        chrome: Chrome::new(&state, ""),
        bar: JobBar::of(&job, "risk", &state),
        sentence: budget.sentence(),
        wholes: wholes(&job, &budget),
        rows: rows(&budget),
        profile: lab.tolerance.to_string(),
        governs: STANDARD_GOVERNS,
    })
}

/// The advice in one line, for the pages before the cut.
pub async fn risk_sentence(state: &AppState, job: &Job) -> Result<String, WebError> {
    let budget = budget_of(job, &state.lab(), &state.store.get_process_spread().await?);
    Ok(budget.sentence())
}

fn wholes(job: &Job, budget: &Budget) -> Vec<WholeRow> {
    let of = |eye: Eye| budget.rows.iter().filter(|row| row.eye == Some(eye)).map(|row| row.chance).product();
    let name = |eye| if eye == Eye::Right { "Right lens" } else { "Left lens" };
    let eyes = Eye::BOTH.into_iter().filter(|eye| job.holds_power(*eye)).map(|eye| (name(eye), of(eye)));
    let pair = job.compares_eyes().then(|| ("The pair, every row", budget.all_pass()));
    eyes.chain(pair).map(|(name, chance)| WholeRow { name, percent: notation::percent(chance) }).collect()
}

fn rows(budget: &Budget) -> Vec<RiskRow> {
    let worst = budget.most_at_risk();
    budget
        .rows
        .iter()
        .map(|risk| RiskRow {
            letter: risk.eye.map_or("", Eye::letter),
            eye: risk.eye.map_or("both", Eye::name),
            name: risk.row.name(),
            limit: format!("±{}", notation::size(risk.limit.size, risk.limit.unit)),
            spread: sized_finely(risk),
            percent: notation::percent(risk.chance),
            bar: format!("{:.1}", 100.0 * risk.chance),
            is_worst: worst == Some(risk),
            dominant: format!("{}, {:.0}\u{a0}%", risk.dominant.name(), 100.0 * risk.dominant_share),
            remedy: risk.dominant.remedy(),
        })
        .collect()
}

fn sized_finely(risk: &RowRisk) -> String {
    match risk.limit.unit {
        RowUnit::Degree => format!("{:.1}°", risk.spread),
        unit => format!("{:.2} {unit}", risk.spread),
    }
}
