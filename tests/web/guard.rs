//! What is kept out: unknown hosts, cross-site posts, oversized bodies, script and style from anywhere but our own files,
//! other readers of the book's file.

mod limits;

use axum::body::Body;
use axum::http::{Request, header};

use crate::support::TestLab;

fn request(method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Request<Body> {
    let mut builder = Request::builder().method(method).uri(path);
    for (name, value) in headers {
        builder = builder.header(*name, *value);
    }
    builder.body(Body::from(body.to_owned())).unwrap()
}

#[tokio::test]
async fn an_unknown_host_is_refused() {
    let lab = TestLab::new().await;
    for host in ["evil.example", "127.0.0.1.evil.example", "192.168.1.4:4127", ""] {
        let answer = lab.send(request("GET", "/", &[("host", host)], "")).await;
        answer.assert_status(403);
        assert!(!answer.body.contains("Saltmarsh"), "{host} learns nothing");
    }
    lab.send(request("GET", "/", &[], "")).await.assert_status(403);
    for host in ["localhost:4127", "127.0.0.1:4127", "[::1]:4127"] {
        lab.send(request("GET", "/", &[("host", host)], "")).await.assert_status(200);
    }
}

#[tokio::test]
async fn a_form_of_our_own_page_is_let_in() {
    let lab = TestLab::new().await;
    let headers = [
        ("host", "localhost:4127"),
        ("origin", "http://localhost:4127"),
        ("content-type", "application/x-www-form-urlencoded"),
    ];
    lab.send(request("POST", "/drafts/mine", &headers, "a=b")).await.assert_status(204);
}

#[tokio::test]
async fn a_body_too_large_is_refused() {
    let lab = TestLab::new().await;
    let large = format!("note={}", "x".repeat(rimbook::web::guard::BODY_LIMIT + 1));
    let answer = lab.post("/drafts/large", &[("note", &large)]).await;
    answer.assert_status(413);
    assert_eq!(lab.store.find_draft("large").await.unwrap(), None);
}

#[tokio::test]
async fn every_answer_tells_the_browser_to_load_nothing_from_outside() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    for path in ["/", "/nowhere", "/static/js/app.js", "/orders/new", &format!("/jobs/{number}")] {
        let answer = lab.get(path).await;
        let policy = answer.headers[header::CONTENT_SECURITY_POLICY].to_str().unwrap().to_owned();
        assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"), "{path}: {policy}");
        assert!(!policy.contains("unsafe") && !policy.contains("http"), "{path}: {policy}");
        assert_eq!(answer.headers[header::X_CONTENT_TYPE_OPTIONS], "nosniff", "{path}");
        let cached = answer.headers[header::CACHE_CONTROL].to_str().unwrap();
        let wanted = if path.starts_with("/static/") { "private, max-age=300" } else { "private, no-store" };
        assert_eq!(cached, wanted, "{path}");
    }
}

#[tokio::test]
async fn no_page_carries_inline_script_or_style_or_an_outside_address() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let order = lab.get("/orders/new").await.location;
    let job = |end: &str| format!("/jobs/{number}{end}");
    let mut paths = vec!["/".to_owned(), order, "/customers".into(), "/frames".into(), "/stock".into(), "/lab".into()];
    paths.push("/lab/process-spread".into());
    paths.extend(["", "/shape", "/lenses", "/layout", "/compensation", "/prism", "/risk", "/ticket", "/bill"].map(job));
    for path in paths {
        let page = lab.get(&path).await;
        page.assert_status(200);
        assert!(page.attributes("[style]", "style").is_empty(), "{path} has an inline style");
        assert!(page.texts("style, script:not([src])").is_empty(), "{path} has an inline style sheet or script");
        for event in ["onclick", "onload", "onsubmit", "onchange", "oninput"] {
            assert!(page.attributes(&format!("[{event}]"), event).is_empty(), "{path} has {event}");
        }
        for (tag, name) in [("script", "src"), ("link", "href"), ("img", "src"), ("form", "action"), ("a", "href")] {
            for address in page.attributes(&format!("{tag}[{name}]"), name) {
                assert!(
                    address.starts_with('/') && !address.starts_with("//") || address.starts_with('#'),
                    "{path}: {address}"
                );
            }
        }
        assert_eq!(page.attributes("html", "lang"), ["en-US"], "{path}");
        assert_eq!(page.texts("main#main").len(), 1, "{path}");
        assert_eq!(page.texts("h1").len(), 1, "{path} has one first heading");
    }
}

#[cfg(unix)]
#[tokio::test]
async fn the_book_is_readable_by_its_owner_alone() {
    use std::os::unix::fs::PermissionsExt;
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("data/rimbook");
    let store = rimbook::store::Store::open(&folder).await.unwrap();
    store.keep_draft("x", &vec![("a".into(), "b".into())], &Default::default(), crate::support::NOW).await.unwrap();
    assert_eq!(folder.metadata().unwrap().permissions().mode() & 0o777, 0o700);
    let mut files = 0;
    for entry in folder.read_dir().unwrap() {
        let entry = entry.unwrap();
        assert_eq!(entry.metadata().unwrap().permissions().mode() & 0o077, 0, "{:?}", entry.path());
        files += 1;
    }
    assert!(files >= 2, "the database and its log");
    store.close().await;
}

#[tokio::test]
async fn a_slow_or_wrong_request_is_answered_in_words() {
    let lab = TestLab::new().await;
    let lost = lab.get("/jobs/99999").await;
    lost.assert_status(404);
    assert!(lost.text(".notice").contains("not in the book"));
    for path in ["/jobs/abc", "/orders/abc", "/jobs/99999999999999999999"] {
        let lost = lab.get(path).await;
        lost.assert_status(404);
        assert!(lost.text(".notice").contains("not in the book"), "{path}");
    }
}

/// Whatever is refused before a page is asked is said on a page.
#[tokio::test]
async fn a_refusal_is_a_page_with_a_sentence() {
    let lab = TestLab::new().await;
    let form = ("content-type", "application/x-www-form-urlencoded");
    let here = ("host", "localhost");
    let large = "x".repeat(rimbook::web::guard::BODY_LIMIT + 1);
    for (status, says, request) in [
        (403, "name is not Rimbook’s", request("GET", "/", &[("host", "evil.example")], "")),
        (403, "a page that is not Rimbook’s", {
            request("POST", "/lab", &[here, form, ("sec-fetch-site", "cross-site")], "name=x")
        }),
        (405, "does not take what was sent", request("PUT", "/", &[here], "")),
        (405, "does not take what was sent", request("GET", "/understood/rx", &[here], "")),
        (413, "larger than 2 MB", request("POST", "/drafts/large", &[here, form], &format!("note={large}"))),
        (415, "no form of this page", request("POST", "/drafts/mine", &[here, ("content-type", "text/css")], "a")),
    ] {
        let path = request.uri().clone();
        let answer = lab.send(request).await;
        assert_eq!(answer.status.as_u16(), status, "{path}: {}", answer.body);
        assert!(answer.text(".notice").contains(says), "{path}: {}", answer.body);
        assert_eq!(answer.texts("h1").len(), 1, "{path}");
        assert!(!answer.body.contains("Saltmarsh"), "{path} says nothing of the lab");
    }
}
