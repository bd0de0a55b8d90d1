//! The measuring sheet on paper: for a job, for an order in the making, or for anybody.

use axum::extract::{Path, Query, State};
use serde::Deserialize;
use uuid::Uuid;

use super::{OrderForm, PageResult, show};
use crate::print::measuring_sheet::MeasuringSheet;
use crate::print::paper::Paper;
use crate::web::AppState;
use crate::web::page::draft_of;

#[derive(Deserialize)]
pub(crate) struct SheetQuery {
    #[serde(default)]
    paper: String,
}

impl SheetQuery {
    fn sheet(&self, state: &AppState, job: Option<i64>, name: &str, back: String) -> PageResult {
        show(&MeasuringSheet::of(&state.lab(), job, name, Paper::from_word(&self.paper), back))
    }
}

pub(crate) async fn print_sheet(State(state): State<AppState>, Query(asked): Query<SheetQuery>) -> PageResult {
    asked.sheet(&state, None, "", "/lab".to_owned())
}

pub(crate) async fn print_sheet_of_job(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<SheetQuery>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    asked.sheet(&state, Some(number), &job.customer.person.name, format!("/jobs/{number}/measuring"))
}

pub(crate) async fn print_sheet_of_order(
    State(state): State<AppState>,
    Path(key): Path<Uuid>,
    Query(asked): Query<SheetQuery>,
) -> PageResult {
    let typed = draft_of(&state, &key.to_string()).await?;
    let name = typed.value(OrderForm::CUSTOMER_NAME).trim();
    asked.sheet(&state, None, name, format!("/orders/{key}"))
}
