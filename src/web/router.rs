//! The contents page of the product: every page module, in the order a job meets them.

use axum::Router;
use axum::extract::{Request, State};
use axum::http::{Method, StatusCode, header};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Redirect, Response};

use super::error::WebError;
use super::{AppState, asset, page};

/// All pages. The first run stands in front until the lab has a name.
pub fn pages(state: AppState) -> Router {
    Router::new()
        .merge(page::today::router())
        .merge(page::find::router())
        .merge(page::orders::router())
        .merge(page::understood::router())
        .merge(page::jobs::router())
        .merge(page::shapes::router())
        .merge(page::lenses::router())
        .merge(page::layout::router())
        .merge(page::compensation::router())
        .merge(page::prism::router())
        .merge(page::risk::router())
        .merge(page::edge::router())
        .merge(page::materials::router())
        .merge(page::blanks::router())
        .merge(page::cuts::router())
        .merge(page::ticket::router())
        .merge(page::checks::router())
        .merge(page::packing::router())
        .merge(page::shipments::router())
        .merge(page::bills::router())
        .merge(page::payments::router())
        .merge(page::receipts::router())
        .merge(page::customers::router())
        .merge(page::frames::router())
        .merge(page::stock::router())
        .merge(page::lab::router())
        .merge(page::process_spread::router())
        .route_layer(from_fn_with_state(state.clone(), first_run))
        .merge(page::start::router())
        .merge(page::drafts::router())
        .merge(asset::router())
        .fallback(page::not_found)
        .layer(from_fn(say_on_a_page))
        .with_state(state)
}

/// Sends everybody to the first run until the lab has a name.
pub async fn first_run(State(state): State<AppState>, request: Request, next: Next) -> Response {
    if state.find_lab().is_none() {
        return Redirect::to("/start").into_response();
    }
    next.run(request).await
}

/// An address or a form that does not parse is refused in a line of plain text before a page is asked. A person gets
/// that as a page, with the way back to the rooms.
async fn say_on_a_page(request: Request, next: Next) -> Response {
    let is_read = request.method() == Method::GET;
    let answer = next.run(request).await;
    let is_plain = answer.headers().get(header::CONTENT_TYPE).is_some_and(|t| t.as_bytes().starts_with(b"text/plain"));
    match answer.status() {
        StatusCode::BAD_REQUEST if is_plain && is_read => WebError::NotFound("This address".to_owned()).into_response(),
        StatusCode::BAD_REQUEST | StatusCode::UNPROCESSABLE_ENTITY if is_plain => WebError::Malformed(
            "This is no form of this page. Go back, load the page again and try once more.".to_owned(),
        )
        .into_response(),
        _ => answer,
    }
}
