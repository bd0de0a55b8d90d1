//! What every request passes: who may ask, how much, how long, and what the browser may do with the answer.
//!
//! The trust model. Without a pass phrase, whoever can reach the port on this machine owns the book: the owner, and every
//! other account and program on the same machine, because a loopback port belongs to no account. With a pass phrase
//! ([`super::screens`]), whoever gives it owns the book, on this machine and, where the owner asks for that, on others over
//! TLS. What is kept out in every case: other machines otherwise (the server listens on loopback), other sites open in the
//! same browser (unknown `Host` refused, cross-site posts refused, no framing), and anything a customer's text could smuggle
//! in (escaped output, a content-security-policy without inline script or style). `tests/trust/README.md` says how it was tried.

use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::{Next, from_fn};
use axum::response::{IntoResponse, Response};
use http_body_util::{BodyExt, Limited};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::csrf::CsrfLayer;
use tower_http::timeout::TimeoutLayer;

use super::error::WebError;
use super::screens::Visitor;

/// The largest request: a trace file of both eyes with depth is under 100 kB, a scan of one well under this.
pub const BODY_LIMIT: usize = 2 * 1024 * 1024;

/// The largest request with photographs or letters: a few of a telephone.
pub const FILES_LIMIT: usize = 24 * 1024 * 1024;

/// The largest request with a folder of trace files. They are written to the disk as they come.
pub const FOLDER_LIMIT: usize = 220 * 1024 * 1024;

/// How much one request may ask for.
#[derive(Debug, Clone, Copy)]
pub struct RequestLimits {
    /// Bytes of its body.
    pub body: usize,
    /// Bytes of its body on a page that takes photographs.
    pub files: usize,
    /// Bytes of its body on the page that takes a folder of trace files.
    pub folder: usize,
    /// Time until its answer. No page takes long; a request that does is broken.
    pub time: Duration,
}

impl Default for RequestLimits {
    fn default() -> Self {
        Self { body: BODY_LIMIT, files: FILES_LIMIT, folder: FOLDER_LIMIT, time: Duration::from_secs(30) }
    }
}

/// Nothing from outside, nothing inline, nobody may frame us.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// Puts the guards around the pages, outermost last.
pub fn guarded(pages: Router, limits: RequestLimits) -> Router {
    pages
        .layer(DefaultBodyLimit::disable())
        .layer(from_fn(move |request, next| limit_body(limits, request, next)))
        .layer(CsrfLayer::new())
        .layer(from_fn(refuse_unknown_host))
        .layer(TimeoutLayer::with_status_code(StatusCode::REQUEST_TIMEOUT, limits.time))
        .layer(CatchPanicLayer::custom(|cause: Box<dyn std::any::Any + Send>| {
            let cause = cause
                .downcast_ref::<String>()
                .cloned()
                .or_else(|| cause.downcast_ref::<&str>().map(|s| (*s).to_owned()))
                .unwrap_or_else(|| "unknown".to_owned());
            WebError::Internal(format!("panic: {cause}")).into_response()
        }))
        .layer(from_fn(refuse_on_a_page))
        .layer(from_fn(tell_the_browser))
}

/// What is refused before a page is asked has no words, or a line of plain text. A person gets a page that says what
/// happened and what to do.
async fn refuse_on_a_page(request: Request, next: Next) -> Response {
    let mut answer = next.run(request).await;
    let is_page = answer.headers().get(header::CONTENT_TYPE).is_some_and(|t| t.as_bytes().starts_with(b"text/html"));
    let said = match answer.status() {
        _ if is_page => return answer,
        StatusCode::FORBIDDEN => {
            "This was sent from a page that is not Rimbook’s, so nothing was done. Do it on Rimbook’s own page."
        }
        StatusCode::METHOD_NOT_ALLOWED => {
            "This address does not take what was sent. Go back and use the page’s own buttons."
        }
        StatusCode::UNSUPPORTED_MEDIA_TYPE => {
            "What was sent is no form of this page. Go back, load the page again and try once more."
        }
        StatusCode::REQUEST_TIMEOUT => {
            "This took too long and was stopped. Check whether it was done before you try again."
        }
        StatusCode::PAYLOAD_TOO_LARGE => TOO_LARGE,
        _ => return answer,
    };
    let mut page = WebError::Refused(answer.status(), said.to_owned()).into_response();
    if let Some(allowed) = answer.headers_mut().remove(header::ALLOW) {
        page.headers_mut().insert(header::ALLOW, allowed);
    }
    page
}

/// What is said of a request without photographs that is too large.
const TOO_LARGE: &str =
    "This upload is larger than 2 MB; a trace file of both eyes has under 0.1 MB. Nothing was changed.";

/// A name that is not ours means another site has pointed its own name at us (DNS rebinding).
async fn refuse_unknown_host(request: Request, next: Next) -> Response {
    let visitor = Visitor::of(&request);
    let is_ours = |host: &str| match &visitor.outside {
        None => is_this_machine(host),
        Some(names) => names.iter().any(|name| *name == name_of(host)),
    };
    let mut hosts = request.headers().get_all(header::HOST).iter();
    let is_named = match (hosts.next().map(|host| host.to_str().unwrap_or("")), hosts.next()) {
        (Some(host), None) => is_ours(host),
        _ => false,
    };
    // An address that names a host of its own stands above the header.
    if is_named && request.uri().authority().is_none_or(|authority| is_ours(authority.as_str())) {
        next.run(request).await
    } else {
        let said = "This name is not Rimbook’s. Open the address that it printed.";
        WebError::Refused(StatusCode::FORBIDDEN, said.to_owned()).into_response()
    }
}

/// Whether a `Host` header names the loopback address, with or without a port.
pub fn is_this_machine(host: &str) -> bool {
    matches!(name_of(host).as_str(), "localhost" | "127.0.0.1" | "::1")
}

/// The name in a `Host` header, without its port; an address of the newer protocol without its brackets, which it needs.
fn name_of(host: &str) -> String {
    let name = match host.rsplit_once(':') {
        Some((name, port)) if !port.is_empty() && port.bytes().all(|b| b.is_ascii_digit()) => name,
        _ => host,
    };
    let name = name.to_ascii_lowercase();
    match name.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')) {
        Some(address) => address.to_owned(),
        None if name.contains(':') => String::new(),
        None => name,
    }
}

impl RequestLimits {
    /// How many bytes a request to this address may have.
    fn of_body(&self, path: &str) -> usize {
        if path.ends_with("/old-records") {
            self.folder
        } else if ["/files", "/own-frame", "/shape", "/measuring/photo"].iter().any(|end| path.ends_with(end)) {
            self.files
        } else {
            self.body
        }
    }
}

/// Takes no more than the limit, whatever a request says of its length. One that says it is too large gets a page, not a broken connection: a browser shows the answer only once it
/// could send what it has, so that is taken and dropped, up to a photograph or so.
async fn limit_body(limits: RequestLimits, request: Request, next: Next) -> Response {
    let most = limits.of_body(request.uri().path());
    let length = request.headers().get(header::CONTENT_LENGTH).and_then(|l| l.to_str().ok()?.parse::<usize>().ok());
    if length.is_none_or(|length| length <= most) {
        return next.run(request.map(|body| Body::new(Limited::new(body, most)))).await;
    }
    let dropped = 8 * limits.body.max(most.min(limits.files) / 4);
    drop_body(request.into_body(), dropped).await;
    let said = match most {
        _ if most == limits.folder => {
            "This folder has more than 200 MB. Send it in parts, or write its path instead. Nothing was changed."
        }
        _ if most == limits.files => {
            "This upload is larger than 24 MB. Send fewer photographs at a time, or a table in parts. Nothing was changed."
        }
        _ => TOO_LARGE,
    };
    WebError::Refused(StatusCode::PAYLOAD_TOO_LARGE, said.to_owned()).into_response()
}

/// Takes so many bytes of a body, each part dropped before the next.
async fn drop_body(body: Body, most: usize) {
    let mut body = Limited::new(body, most);
    while let Some(Ok(_)) = body.frame().await {}
}

async fn tell_the_browser(request: Request<Body>, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        // Not no-referrer: a browser then sends `Origin: null` with our own posts, which the cross-site guard refuses.
        (header::REFERRER_POLICY, "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("permissions-policy"), "camera=(), microphone=(), geolocation=()"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // Pages hold health data: no cache keeps them. On Back a page is asked for again, and its form is filled in from its
    // draft.
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("private, no-store"));
    response
}

#[cfg(test)]
mod tests {
    use super::is_this_machine;

    #[test]
    fn knows_its_own_names_only() {
        for host in ["localhost", "LOCALHOST:4127", "127.0.0.1", "127.0.0.1:80", "[::1]", "[::1]:4127"] {
            assert!(is_this_machine(host), "{host}");
        }
        for host in
            ["", "example.com", "127.0.0.1.example.com", "localhost.example.com:4127", "0.0.0.0", "127.0.0.1:x", "::1"]
        {
            assert!(!is_this_machine(host), "{host}");
        }
    }
}
