//! The guards around every page, tried on pages that are slow, fail, or read what is sent.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::http::{HeaderMap, Request, StatusCode, header};
use axum::routing::{get, post};
use http_body_util::BodyExt;
use rimbook::web::guard::{Limits, guarded};
use tower::ServiceExt;

/// Sends a request to some guarded pages; status, headers and body of the answer.
async fn send(pages: Router, limits: Limits, request: Request<Body>) -> (StatusCode, HeaderMap, String) {
    let response = guarded(pages, limits).oneshot(request).await.unwrap();
    let (status, headers) = (response.status(), response.headers().clone());
    let body = response.into_body().collect().await.unwrap().to_bytes();
    (status, headers, String::from_utf8(body.to_vec()).unwrap())
}

fn ask(path: &str) -> Request<Body> {
    Request::get(path).header(header::HOST, "localhost").body(Body::empty()).unwrap()
}

fn assert_guarded(headers: &HeaderMap) {
    assert!(headers.contains_key(header::CONTENT_SECURITY_POLICY), "a failed answer is guarded too: {headers:?}");
}

#[tokio::test]
async fn a_page_that_takes_too_long_is_given_up() {
    let pages = || {
        Router::new()
            .route("/hangs", get(|| async { tokio::time::sleep(Duration::from_secs(600)).await }))
            .route("/quick", get(|| async { "done" }))
    };
    let limits = Limits { time: Duration::from_millis(20), ..Limits::default() };
    let answer = tokio::time::timeout(Duration::from_secs(20), send(pages(), limits, ask("/hangs"))).await;
    let (status, headers, _) = answer.expect("the page is given up");
    assert_eq!(status, StatusCode::REQUEST_TIMEOUT);
    assert_guarded(&headers);
    // The limit leaves time for a page that answers, and the product's own is long enough for any.
    assert_eq!(send(pages(), Limits::default(), ask("/quick")).await.0, StatusCode::OK);
    assert!((10..=60).contains(&Limits::default().time.as_secs()), "{:?}", Limits::default());
}

#[tokio::test]
async fn a_page_that_panics_answers_with_a_page_and_keeps_the_cause_to_itself() {
    async fn with_words() {
        panic!("of Ada Quill");
    }
    async fn with_figures() {
        panic!("of {}", "Ada Quill");
    }
    async fn with_a_number() {
        std::panic::panic_any(7);
    }
    let pages = || {
        Router::new()
            .route("/words", get(with_words))
            .route("/figures", get(with_figures))
            .route("/7", get(with_a_number))
    };
    for path in ["/words", "/figures", "/7"] {
        let (status, headers, body) = send(pages(), Limits::default(), ask(path)).await;
        assert_eq!(status, StatusCode::INTERNAL_SERVER_ERROR, "{path}");
        assert!(body.contains("<h1>") && !body.contains("Quill"), "{path}: {body}");
        assert_guarded(&headers);
    }
}

/// A page that counts the bytes it was sent, and how often it was asked.
fn counting(asked: &Arc<AtomicUsize>) -> Router {
    let asked = Arc::clone(asked);
    Router::new().route(
        "/",
        post(move |body: Bytes| async move {
            asked.fetch_add(1, Ordering::SeqCst);
            body.len().to_string()
        }),
    )
}

fn sent(length: usize) -> Request<Body> {
    let request = Request::post("/").header(header::HOST, "localhost");
    request.header(header::CONTENT_LENGTH, length).body(Body::from(vec![b'x'; length])).unwrap()
}

/// The same without saying how much it is, as a program may do.
fn sent_unsaid(length: usize) -> Request<Body> {
    Request::post("/").header(header::HOST, "localhost").body(Body::from(vec![b'x'; length])).unwrap()
}

#[tokio::test]
async fn a_body_is_taken_up_to_its_limit_and_no_further() {
    let asked = Arc::new(AtomicUsize::new(0));
    let limits = Limits { body: 1000, ..Limits::default() };
    for request in [sent(1000), sent_unsaid(1000)] {
        let (status, _, body) = send(counting(&asked), limits, request).await;
        assert_eq!((status, body.as_str()), (StatusCode::OK, "1000"));
    }
    let (status, headers, body) = send(counting(&asked), limits, sent(1001)).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(body.contains("Nothing was changed"), "a page says why: {body}");
    assert_guarded(&headers);
    let (status, ..) = send(counting(&asked), limits, sent_unsaid(1001)).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    assert_eq!(asked.load(Ordering::SeqCst), 2, "what is too large never reaches a page");
    // The limit is ours alone: no smaller one of the framework stands behind it.
    let limits = Limits { body: 3 * 1024 * 1024, ..Limits::default() };
    assert_eq!(send(counting(&asked), limits, sent(3 * 1024 * 1024)).await.0, StatusCode::OK);
}
