//! The first run.

use axum::body::Body;
use axum::http::Request;

use crate::support::{TestLab, encode};

const GOOD: [(&str, &str); 2] = [("name", "Saltmarsh Lens Post"), ("address", "4 Quay Lane\nPellmarsh PM 00401")];

#[tokio::test]
async fn every_page_leads_to_the_first_run_until_the_lab_has_a_name() {
    let lab = TestLab::unnamed().await;
    for path in ["/", "/customers", "/stock", "/lab"] {
        let answer = lab.get(path).await;
        assert_eq!((answer.status.as_u16(), answer.location.as_str()), (303, "/start"), "{path}");
    }
    let page = lab.get("/start").await;
    page.assert_status(200);
    assert_eq!(page.attributes("main form input, main form textarea", "name"), ["key", "name", "address"]);
}

#[tokio::test]
async fn names_the_lab_once_and_keeps_it() {
    let lab = TestLab::unnamed().await;
    let first = lab.post("/start", &GOOD).await;
    assert_eq!((first.status.as_u16(), first.location.as_str()), (303, "/"));
    let second = lab.post("/start", &[("name", "Another"), ("address", "Elsewhere")]).await;
    assert_eq!((second.status.as_u16(), second.location.as_str()), (303, "/"));
    assert_eq!(lab.get("/start").await.location, "/");
    let lab = lab.reopened().await;
    let kept = lab.store.find_lab().await.unwrap().unwrap();
    assert_eq!((kept.name.as_str(), kept.address.as_str()), (GOOD[0].1, GOOD[1].1));
    assert_eq!(lab.store.list_materials().await.unwrap().len(), 6);
    lab.get("/customers").await.assert_status(200);
}

#[tokio::test]
async fn asks_for_both_and_keeps_what_was_typed() {
    let lab = TestLab::unnamed().await;
    let answer = lab.post("/start", &[("name", " "), ("address", "4 Quay Lane <b>")]).await;
    answer.assert_status(422);
    assert_eq!(answer.text("#name-error"), "The lab's name is needed");
    assert!(answer.texts("#address-error").is_empty());
    assert_eq!(answer.text("#address"), "4 Quay Lane <b>");
    let answer = lab.post("/start", &[("name", "A lab"), ("address", "\n \n")]).await;
    assert_eq!(answer.assert_status(422).text("#address-error"), "An address is needed");
    assert!(lab.store.find_lab().await.unwrap().is_none());
}

#[tokio::test]
async fn a_reload_keeps_the_typing() {
    let lab = TestLab::unnamed().await;
    let page = lab.get("/start").await;
    let key = page.attributes("main form", "data-draft").remove(0);
    lab.post(&format!("/drafts/{key}"), &[("name", "Saltm"), ("address", "")]).await.assert_status(204);
    assert_eq!(lab.get("/start").await.attributes("#name", "value"), ["Saltm"]);
}

#[tokio::test]
async fn another_site_names_nothing() {
    let lab = TestLab::unnamed().await;
    let request = Request::post("/start")
        .header("host", "localhost")
        .header("sec-fetch-site", "cross-site")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(encode(&GOOD)))
        .unwrap();
    lab.send(request).await.assert_status(403);
    assert!(lab.store.find_lab().await.unwrap().is_none());
}
