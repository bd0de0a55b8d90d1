//! The style sheets, the script and the mark, built into the binary.

use axum::Router;
use axum::http::header;
use axum::response::IntoResponse;
use axum::routing::get;

use super::AppState;

const ASSETS: [(&str, &str, &str); 4] = [
    ("/static/style.css", "text/css; charset=utf-8", include_str!("../../static/style.css")),
    ("/static/print.css", "text/css; charset=utf-8", include_str!("../../static/print.css")),
    ("/static/app.js", "text/javascript; charset=utf-8", include_str!("../../static/app.js")),
    ("/static/icon.svg", "image/svg+xml", include_str!("../../static/icon.svg")),
];

/// One route a file.
pub fn router() -> Router<AppState> {
    ASSETS.into_iter().fold(Router::new(), |router, (path, kind, body)| {
        router.route(
            path,
            get(move || async move {
                ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "private, max-age=300")], body).into_response()
            }),
        )
    })
}
