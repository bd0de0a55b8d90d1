//! Frames.

use rimbook::desk::frame_shape::{DblSource, NewShape};
use rimbook::optics::{Eye, Pair};
use rimbook::shape::trace::{Angles, Trace};
use scraper::{Html, Selector};

use crate::support::{NOW, TestLab};

#[tokio::test]
async fn finds_by_maker_model_and_colour() {
    let lab = TestLab::new().await;
    assert!(lab.get("/frames").await.text(".empty").contains("No frames yet"));
    lab.given_job().await;
    for q in ["copper", "tern", "slate", "tern+copperline", ""] {
        assert_eq!(lab.get(&format!("/frames?q={q}")).await.texts("tbody th"), ["Copperline Tern"], "{q}");
    }
    let row = lab.get("/frames").await.texts("tbody td");
    assert_eq!(row, ["slate", "50□20 145", "full rim, plastic", "$89.00"]);
    assert!(lab.get("/frames?q=heron").await.texts("tbody th").is_empty());
}

#[tokio::test]
async fn offers_new_lenses_only_where_a_shape_is_on_file() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let frame = lab.store.list_frames("tern", 1).await.unwrap().remove(0);
    let path = format!("/frames/{}", frame.id);
    let page = lab.get(&path).await;
    assert_eq!(page.assert_status(200).text("h1"), "Copperline Tern");
    assert!(page.text("tbody").contains("not on file"));
    assert!(page.attributes("tbody a", "href").iter().all(|a| !a.contains("relens")));
    let right = Trace::new(Eye::Right, vec![2500; 36], Angles::Equal).unwrap();
    let left = right.mirror();
    let shape = NewShape {
        traces: Pair::new(right, left),
        derived: Some(Eye::Left),
        dbl: "20".parse().unwrap(),
        dbl_source: DblSource::Typed,
        rim_curve_tool_d: Pair::default(),
        warnings: Vec::new(),
        original: b"radii".to_vec(),
        original_name: "tern.txt".into(),
    };
    lab.store.keep_shape("shape", job, &shape, NOW).await.unwrap();
    let page = lab.reopened().await.get(&path).await;
    assert_eq!(page.attributes("tbody a", "href"), [format!("/jobs/{job}"), format!("/jobs/{job}/relens")]);
}

#[tokio::test]
async fn shows_the_newest_jobs_and_leads_to_the_earlier_ones() {
    let lab = TestLab::new().await;
    let first = lab.given_job().await;
    let frame = lab.store.list_frames("tern", 1).await.unwrap().remove(0);
    let path = format!("/frames/{}", frame.id);
    assert!(lab.get(&path).await.attributes("nav[aria-label='Jobs in this frame'] a", "href").is_empty());
    let mut last = first;
    for _ in 0..50 {
        last = lab.given_job().await;
    }
    let page = lab.get(&path).await;
    let numbers = page.texts("tbody th");
    assert_eq!(numbers.len(), 50);
    assert_eq!((&numbers[0], &numbers[49]), (&last.to_string(), &(first + 1).to_string()));
    let links = page.attributes("nav[aria-label='Jobs in this frame'] a", "href");
    assert_eq!(links, [format!("{path}?before={}", first + 1)]);
    let earlier = lab.get(&links[0]).await;
    assert_eq!(earlier.texts("tbody th"), [first.to_string()]);
    assert_eq!(earlier.attributes("nav[aria-label='Jobs in this frame'] a", "href"), [path]);
}

#[tokio::test]
async fn an_address_that_names_no_frame_is_404() {
    let lab = TestLab::new().await;
    for path in ["/frames/none", "/frames/00000000-0000-0000-0000-000000000000"] {
        assert!(lab.get(path).await.assert_status(404).text(".notice").contains("That frame is not in the book"));
    }
}

#[tokio::test]
async fn suggests_with_its_price() {
    let lab = TestLab::new().await;
    lab.given_job().await;
    let frame = lab.store.list_frames("tern", 1).await.unwrap().remove(0);
    let answer = lab.get("/suggest/frames?q=tern").await;
    let fragment = Html::parse_fragment(&answer.body);
    let button = fragment.select(&Selector::parse("button[data-fill]").unwrap()).next().unwrap();
    let fill: serde_json::Value = serde_json::from_str(button.value().attr("data-fill").unwrap()).unwrap();
    assert_eq!(fill["frame_id"], frame.id.to_string());
    assert_eq!(fill["frame_name"], "Copperline Tern, slate, 50□20 145");
    assert_eq!(fill["price_frame"], "89.00");
    assert!(answer.text("button small").contains("50□20 145"));
    assert_eq!(lab.get("/suggest/frames?q=+").await.texts("button").len(), 0);
}
