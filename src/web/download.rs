//! Files to keep, never to show: the browser saves them under a name of plain characters.

use axum::body::Body;
use axum::http::header;
use axum::response::{IntoResponse, Response};

/// Plain text, whatever its file holds.
pub const TEXT: &str = "text/plain; charset=utf-8";
/// Comma-separated values.
pub const CSV: &str = "text/csv; charset=utf-8";

/// JSON.
pub const JSON: &str = "application/json";

/// A file for the browser to save.
pub fn download(name: &str, kind: &'static str, body: impl Into<Body>) -> Response {
    let plain = |c: char| if c.is_ascii_alphanumeric() || ".-_ ".contains(c) { c } else { '_' };
    let safe: String = name.chars().map(plain).collect();
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{}\"", safe.trim_start_matches('.'))),
    ];
    (headers, body.into()).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_keeps_only_plain_characters() {
        let sent = download("..\"né\r\n.txt", TEXT, Vec::new());
        assert_eq!(sent.headers()[header::CONTENT_DISPOSITION], "attachment; filename=\"_n___.txt\"");
    }
}
