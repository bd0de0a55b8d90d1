//! Frames.

use rimbook::desk::frame_shape::{DblSource, NewShape, ShapeOrigin};
use rimbook::optics::{Eye, Pair};
use rimbook::shape::trace::{Angles, Trace};
use scraper::{Html, Selector};

use crate::support::{NOW, TestLab};

#[tokio::test]
async fn finds_by_maker_model_and_color() {
    let lab = TestLab::new().await;
    assert!(lab.get("/frames").await.text(".empty").contains("No frames yet"));
    lab.given_job().await;
    for q in ["copper", "tern", "slate", "tern copperline", ""] {
        assert_eq!(lab.search("/frames", q).await.texts("tbody th"), ["Copperline Tern"], "{q}");
    }
    let row = lab.get("/frames").await.texts("tbody td");
    assert_eq!(row, ["slate", "50□20 145", "full rim, plastic", "$89.00"]);
    assert!(lab.search("/frames", "heron").await.texts("tbody th").is_empty());
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
        origin: ShapeOrigin::Traced,
        traces: Pair::new(right, left),
        derived: Some(Eye::Left),
        dbl: "20".parse().unwrap(),
        dbl_source: DblSource::Typed,
        rim_curve_tool_d: Pair::default(),
        rim: Pair::default(),
        holes: Pair::default(),
        job_in_file: None,
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
    let answer = lab.post_as_is("/suggest/frames", &[("q", "tern")]).await;
    let fragment = Html::parse_fragment(&answer.body);
    let button = fragment.select(&Selector::parse("button[data-fill]").unwrap()).next().unwrap();
    let fill: serde_json::Value = serde_json::from_str(button.value().attr("data-fill").unwrap()).unwrap();
    assert_eq!(fill["frame_id"], frame.id.to_string());
    assert_eq!(fill["frame_name"], "Copperline Tern, slate, 50□20 145");
    assert_eq!(fill["price_frame"], "89.00");
    assert!(answer.text("button small").contains("50□20 145"));
    assert_eq!(lab.post_as_is("/suggest/frames", &[("q", " ")]).await.texts("button").len(), 0);
}

/// What is typed to correct the frame of [`TestLab::given_job`].
fn details(key: &str, model: &'static str) -> Vec<(&'static str, String)> {
    [
        ("key", key),
        ("frame_maker", "Copperline"),
        ("frame_model", model),
        ("frame_color", "slate"),
        ("frame_eye_size", "51"),
        ("frame_bridge", "20"),
        ("frame_temple", "145"),
        ("frame_rim", "metal"),
        ("price_frame", "95"),
    ]
    .map(|(n, v)| (n, v.to_owned()))
    .into()
}

fn borrow<'a>(fields: &'a [(&'static str, String)]) -> Vec<(&'a str, &'a str)> {
    fields.iter().map(|(n, v)| (*n, v.as_str())).collect()
}

/// The address of the correction of the only frame, and the key of its form.
async fn given_correction(lab: &TestLab) -> (String, String) {
    let frame = lab.store.list_frames("copperline", 1).await.unwrap().remove(0);
    let path = format!("/frames/{}", frame.id);
    let page = lab.get(&path).await;
    assert!(page.attributes("main a", "href").contains(&format!("{path}/details")), "the page leads to it");
    let key = lab.get(&format!("{path}/details")).await.attributes("input[name=key]", "value").remove(0);
    (path, key)
}

#[tokio::test]
async fn corrects_a_frame_once_and_keeps_what_it_said() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let bill = lab.store.get_job(job).await.unwrap().charged;
    let (path, key) = given_correction(&lab).await;
    let form = format!("{path}/details");
    let page = lab.get(&form).await;
    assert_eq!(page.attributes("#frame_eye_size", "value"), ["50"]);
    assert_eq!(page.attributes("#frame_rim option[selected]", "value"), ["plastic"]);
    assert!(page.text("form.slip").contains(&format!("{job} (Ada Quill, taken)")), "the open jobs are named");
    for _ in 0..2 {
        let answer = lab.post(&form, &borrow(&details(&key, "Petrel"))).await;
        assert_eq!((answer.status.as_u16(), answer.location.clone()), (303, path.clone()));
    }
    let stale = lab.post(&form, &borrow(&details(&key, "Plover"))).await;
    assert!(stale.assert_status(422).text("#frame_model-error").contains("another window"));
    assert_eq!(stale.attributes("#frame_model", "value"), ["Plover"], "nothing typed is lost");
    let lab = lab.reopened().await;
    let frame = lab.store.get_job(job).await.unwrap().frame.clone();
    assert_eq!(frame.details.to_string(), "Copperline Petrel, slate, 51□20 145");
    assert_eq!((frame.details.rim.key(), frame.details.price.to_string().as_str()), ("metal", "$95.00"));
    assert_eq!(lab.store.get_job(job).await.unwrap().charged, bill, "the bill stays");
    assert_eq!(lab.store.count_frame_changes(frame.id).await.unwrap(), 1);
    let past = lab.get(&path).await.text(".slip ul");
    assert_eq!(
        past.split(" until ").next(),
        Some("Copperline Tern, slate, 50□20 145, full rim, plastic, $89.00"),
        "{past}"
    );
}

#[tokio::test]
async fn a_corrected_frame_and_its_jobs_are_found_by_the_new_words_alone() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let (path, key) = given_correction(&lab).await;
    lab.post(&format!("{path}/details"), &borrow(&details(&key, "Petrel"))).await.assert_status(303);
    assert_eq!(lab.search("/frames", "petrel").await.texts("tbody th"), ["Copperline Petrel"]);
    assert!(lab.search("/frames", "tern").await.texts("tbody th").is_empty());
    // With a second word, so that a job is not opened at once.
    let found = lab.search("/find", "petrel quill").await;
    assert!(found.body.contains(&job.to_string()) || found.location.contains(&job.to_string()), "{}", found.body);
    let close = lab.search("/find", "petrle").await;
    assert!(close.body.contains(&job.to_string()) || close.location.contains(&job.to_string()), "misspelled");
    let old = lab.search("/find", "tern").await;
    assert!(!old.body.contains(&format!("/jobs/{job}")) && !old.location.contains(&job.to_string()));
}

#[tokio::test]
async fn a_frame_is_not_corrected_into_another_one() {
    let lab = TestLab::new().await;
    lab.given_job().await;
    let (path, key) = given_correction(&lab).await;
    let form = format!("{path}/details");
    lab.post(&form, &borrow(&details(&key, "Petrel"))).await.assert_status(303);
    lab.given_job().await;
    let tern = lab.store.list_frames("tern", 1).await.unwrap().remove(0);
    let form = format!("/frames/{}/details", tern.id);
    let key = lab.get(&form).await.attributes("input[name=key]", "value").remove(0);
    let refused = lab.post(&form, &borrow(&details(&key, "Petrel"))).await;
    assert_eq!(
        refused.assert_status(422).text("#frame_model-error"),
        "Another frame in the book has this maker, model, color, eye size and bridge"
    );
    assert_eq!(refused.attributes("#frame_eye_size", "value"), ["51"]);
    assert_eq!(lab.store.get_frame(tern.id).await.unwrap(), tern);
}

#[tokio::test]
async fn a_bad_field_of_a_frame_has_its_sentence_and_a_reload_keeps_the_typing() {
    let lab = TestLab::new().await;
    lab.given_job().await;
    let (path, key) = given_correction(&lab).await;
    let form = format!("{path}/details");
    for (name, value, said) in [
        ("frame_maker", "", "The maker is needed"),
        ("frame_eye_size", "5", "An eye size of 5.00 mm is not possible"),
        ("frame_bridge", "wide", "wide"),
        ("frame_temple", "20", "A temple of 20.00 mm is not possible"),
        ("frame_rim", "none", "Choose how the frame holds the lens"),
        ("price_frame", "-3", "A price is between $0.00 and $100,000.00"),
    ] {
        let mut typed = details(&key, "Petrel");
        typed.iter_mut().find(|(n, _)| *n == name).unwrap().1 = value.to_owned();
        let refused = lab.post(&form, &borrow(&typed)).await;
        let error = refused.assert_status(422).text(&format!("#{name}-error"));
        assert!(error.contains(said), "{name}: {error}");
        assert_eq!(refused.texts(".error").len(), 1, "{name}");
        assert_eq!(refused.attributes("#frame_model", "value"), ["Petrel"]);
    }
    lab.post(&format!("/drafts/{key}"), &borrow(&details(&key, "Half-typed"))).await.assert_status(204);
    assert_eq!(lab.get(&form).await.attributes("#frame_model", "value"), ["Half-typed"]);
    assert_eq!(lab.store.list_frames("tern", 9).await.unwrap().len(), 1, "nothing was saved");
    lab.post_as_is(&form, &[("frame_maker", "No key")]).await.assert_status(400);
    lab.get("/frames/00000000-0000-0000-0000-000000000000/details").await.assert_status(404);
}
