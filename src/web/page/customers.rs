use axum::Router;

use crate::web::AppState;

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new()
}
