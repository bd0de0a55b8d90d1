//! The style sheets, the scripts and the icon, built into the binary.

use axum::Router;
use axum::http::header;
use axum::response::IntoResponse;
use axum::routing::get;

use super::AppState;

const CSS: &str = "text/css; charset=utf-8";
const JS: &str = "text/javascript; charset=utf-8";

/// A file's address, with the content type and the bytes.
macro_rules! asset {
    ($name:literal, $kind:expr) => {
        (concat!("/static/", $name), $kind, include_str!(concat!("../../static/", $name)))
    };
}

const ASSETS: &[(&str, &str, &str)] = &[
    asset!("style.css", CSS),
    asset!("print.css", CSS),
    asset!("icon.svg", "image/svg+xml"),
    asset!("js/app.js", JS),
    asset!("js/draft.js", JS),
    asset!("js/focus.js", JS),
    asset!("js/live.js", JS),
    asset!("js/marks.js", JS),
    asset!("js/once.js", JS),
    asset!("js/outline.js", JS),
    asset!("js/page.js", JS),
    asset!("js/places.js", JS),
    asset!("js/print.js", JS),
    asset!("js/progress.js", JS),
    asset!("js/rows.js", JS),
    asset!("js/scan.js", JS),
    asset!("js/sections.js", JS),
    asset!("js/suggest.js", JS),
    asset!("js/summary.js", JS),
    asset!("js/understood.js", JS),
];

/// One route a file.
pub fn router() -> Router<AppState> {
    ASSETS.iter().copied().fold(Router::new(), |router, (path, kind, body)| {
        router.route(
            path,
            get(move || async move {
                ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "private, max-age=300")], body).into_response()
            }),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_imported_script_is_served_and_every_served_one_is_imported() {
        let scripts: Vec<_> = ASSETS.iter().filter(|(_, kind, _)| *kind == JS).collect();
        let mut imported = vec!["/static/js/app.js".to_owned()];
        for (_, _, body) in &scripts {
            for line in body.lines().filter(|line| line.starts_with("import ")) {
                let name = line.split('\'').nth(1).and_then(|path| path.strip_prefix("./")).unwrap();
                imported.push(format!("/static/js/{name}"));
            }
        }
        imported.sort();
        imported.dedup();
        let served: Vec<_> = scripts.iter().map(|(path, _, _)| *path).collect();
        assert_eq!(imported, served);
    }
}
