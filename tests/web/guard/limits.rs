//! The guards around every page, tried on pages that are slow, fail, or read what is sent.

use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes, HttpBody};
use axum::http::{HeaderMap, Request, StatusCode, header};
use axum::routing::{get, post};
use http_body_util::BodyExt;
use hyper::body::Frame;
use rimbook::web::guard::{BODY_LIMIT, FILES_LIMIT, RequestLimits, guarded};
use tower::ServiceExt;

/// Sends a request to some guarded pages; status, headers and body of the answer.
async fn send(pages: Router, limits: RequestLimits, request: Request<Body>) -> (StatusCode, HeaderMap, String) {
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
    let limits = RequestLimits { time: Duration::from_millis(20), ..RequestLimits::default() };
    let answer = tokio::time::timeout(Duration::from_secs(20), send(pages(), limits, ask("/hangs"))).await;
    let (status, headers, body) = answer.expect("the page is given up");
    assert_eq!(status, StatusCode::REQUEST_TIMEOUT);
    assert!(body.contains("<h1>") && body.contains("took too long"), "a page says so: {body}");
    assert_guarded(&headers);
    // The limit leaves time for a page that answers, and the product's own is long enough for any.
    assert_eq!(send(pages(), RequestLimits::default(), ask("/quick")).await.0, StatusCode::OK);
    assert!((10..=60).contains(&RequestLimits::default().time.as_secs()), "{:?}", RequestLimits::default());
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
        let (status, headers, body) = send(pages(), RequestLimits::default(), ask(path)).await;
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
    let limits = RequestLimits { body: 1000, ..RequestLimits::default() };
    for request in [sent(1000), sent_unsaid(1000)] {
        let (status, _, body) = send(counting(&asked), limits, request).await;
        assert_eq!((status, body.as_str()), (StatusCode::OK, "1000"));
    }
    let (status, headers, body) = send(counting(&asked), limits, sent(1001)).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(body.contains("Nothing was changed"), "a page says why: {body}");
    assert_guarded(&headers);
    let (status, _, body) = send(counting(&asked), limits, sent_unsaid(1001)).await;
    assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(body.contains("<h1>") && body.contains("Nothing was changed"), "{body}");
    assert_eq!(asked.load(Ordering::SeqCst), 2, "what is too large never reaches a page");
    // The limit is ours alone: no smaller one of the framework stands behind it.
    let limits = RequestLimits { body: 3 * 1024 * 1024, ..RequestLimits::default() };
    assert_eq!(send(counting(&asked), limits, sent(3 * 1024 * 1024)).await.0, StatusCode::OK);
}

#[test]
fn the_limits_are_two_megabytes_and_for_photographs_twenty_four() {
    assert_eq!((BODY_LIMIT, FILES_LIMIT), (2_097_152, 25_165_824));
    let usual = RequestLimits::default();
    assert_eq!((usual.body, usual.files), (BODY_LIMIT, FILES_LIMIT));
}

/// A body that comes in parts of a thousand bytes and counts those that were taken.
struct InParts {
    left: usize,
    taken: Arc<AtomicUsize>,
}

impl HttpBody for InParts {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Self::Data>, Self::Error>>> {
        if self.left == 0 {
            return Poll::Ready(None);
        }
        self.left -= 1;
        self.taken.fetch_add(1, Ordering::SeqCst);
        Poll::Ready(Some(Ok(Frame::data(Bytes::from(vec![b'x'; 1000])))))
    }
}

/// Sends so many thousand bytes to an address; status and words of the answer, and how many thousands were taken.
async fn in_parts(path: &str, limits: RequestLimits, thousands: usize) -> (StatusCode, String, usize) {
    let taken = Arc::new(AtomicUsize::new(0));
    let body = Body::new(InParts { left: thousands, taken: Arc::clone(&taken) });
    let request =
        Request::post(path).header(header::HOST, "localhost").header(header::CONTENT_LENGTH, thousands * 1000);
    let pages = Router::new().route(path, post(|body: Bytes| async move { body.len().to_string() }));
    let (status, _, words) = send(pages, limits, request.body(body).unwrap()).await;
    (status, words, taken.load(Ordering::SeqCst))
}

#[tokio::test]
async fn a_page_of_photographs_takes_more() {
    let limits = RequestLimits { body: 1000, files: 4000, ..RequestLimits::default() };
    for path in ["/jobs/1001/files", "/jobs/1001/own-frame", "/jobs/1001/shape"] {
        assert_eq!(in_parts(path, limits, 4).await.0, StatusCode::OK, "{path}");
        let (status, words, _) = in_parts(path, limits, 5).await;
        assert!(status == StatusCode::PAYLOAD_TOO_LARGE && words.contains("larger than 24 MB"), "{path}: {words}");
    }
    for path in ["/jobs/1001/shape/outline", "/files/1001"] {
        let (status, words, _) = in_parts(path, limits, 2).await;
        assert!(status == StatusCode::PAYLOAD_TOO_LARGE && words.contains("larger than 2 MB"), "{path}: {words}");
    }
}

#[tokio::test]
async fn what_is_too_large_is_taken_so_that_the_browser_hears_the_answer() {
    // Eight times the limit, or twice that of photographs; what comes then is left.
    let limits = RequestLimits { body: 1000, files: 4000, ..RequestLimits::default() };
    for (path, limits, sent, most) in [
        ("/", limits, 8, 8),
        ("/", limits, 40, 9),
        ("/files", RequestLimits { body: 100, ..limits }, 8, 8),
        ("/files", RequestLimits { body: 100, ..limits }, 40, 9),
    ] {
        let (status, _, taken) = in_parts(path, limits, sent).await;
        assert_eq!(status, StatusCode::PAYLOAD_TOO_LARGE);
        let is_all = sent == most;
        assert!(if is_all { taken == sent } else { (2..=most).contains(&taken) }, "{path}: {taken} of {sent}");
    }
}
