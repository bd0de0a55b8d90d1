//! Aligning and packing.

use crate::support::{GOOD_READING, TestLab};
use rimbook::desk::job::{EventKind, Stage};
use rimbook::desk::packing::{ITEMS, Parcel};

fn needed() -> Vec<(&'static str, &'static str)> {
    asked(Parcel::Glasses)
}

fn asked(parcel: Parcel) -> Vec<(&'static str, &'static str)> {
    let items = ITEMS.iter().filter(|item| item.is_needed && item.applies_to(parcel));
    items.map(|item| ("tick", item.key)).collect()
}

#[tokio::test]
async fn the_whole_list_packs_the_pair() {
    let lab = TestLab::new().await;
    let number = lab.given_checked_job().await;
    let path = format!("/jobs/{number}/packing");
    let page = lab.get(&path).await;
    assert_eq!(
        page.attributes(".checks input[name=tick]", "value").len(),
        ITEMS.iter().filter(|item| item.applies_to(Parcel::Glasses)).count()
    );
    assert_eq!(page.attributes("form[data-draft]", "data-draft").last(), Some(&format!("packing-{number}-0")));
    assert_eq!(lab.post(&path, &needed()).await.assert_status(303).location, format!("/jobs/{number}/shipment"));
    let lab = lab.reopened().await;
    assert_eq!(lab.stage(number).await, Stage::Packed);
    let page = lab.get(&path).await;
    assert!(page.text("main").contains("Both lenses are tight"));
    assert!(page.texts("input[name=tick]").is_empty());
    assert!(!page.text("main").contains("No strain between"), "what was not ticked is not said");
}

#[tokio::test]
async fn what_is_missing_is_marked_and_the_rest_stays_ticked() {
    let lab = TestLab::new().await;
    let number = lab.given_checked_job().await;
    let path = format!("/jobs/{number}/packing");
    for left_out in needed() {
        let rest: Vec<_> = needed().into_iter().filter(|t| *t != left_out).collect();
        let answer = lab.post(&path, &rest).await;
        answer.assert_status(422);
        assert_eq!(answer.attributes("[aria-invalid=true]", "value"), [left_out.1]);
        assert!(!answer.text(&format!("#tick-{}-error", left_out.1)).is_empty());
        assert_eq!(answer.attributes("input[name=tick][checked]", "value").len(), rest.len());
    }
    lab.post(&path, &[("tick", "wrapped")]).await.assert_status(400);
    assert_eq!(lab.stage(number).await, Stage::Checked);
}

#[tokio::test]
async fn is_refused_unless_checked_twice_and_from_elsewhere() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let path = format!("/jobs/{number}/packing");
    assert!(lab.get(&path).await.text(".notice").contains("not checked"));
    lab.post(&path, &needed()).await.assert_status(409);
    lab.get(&format!("/jobs/{number}/packing-sheet")).await.assert_status(409);
    lab.post(&format!("/jobs/{number}/check"), &GOOD_READING).await.assert_status(303);
    lab.given_impact_for(number).await;
    lab.post_from_elsewhere(&path, &needed()).await.assert_status(403);
    let key = format!("packing-{number}-0");
    let mut fields = needed();
    fields.push(("key", &key));
    lab.post(&path, &fields).await.assert_status(303);
    lab.post(&path, &fields).await.assert_status(303);
    let events = lab.store.get_job(number).await.unwrap().history.clone();
    assert_eq!(events.iter().filter(|e| e.kind == EventKind::Packed).count(), 1);
    lab.post(&path, &needed()).await.assert_status(409);
}

#[tokio::test]
async fn a_reload_keeps_the_ticks() {
    let lab = TestLab::new().await;
    let number = lab.given_checked_job().await;
    lab.post(&format!("/drafts/packing-{number}-0"), &[("tick", "screws"), ("tick", "case")]).await.assert_status(204);
    let page = lab.get(&format!("/jobs/{number}/packing")).await;
    assert_eq!(page.attributes("input[name=tick][checked]", "value"), ["screws", "case"]);
    assert!(page.texts(".error").is_empty());
}

#[tokio::test]
async fn the_sheet_carries_the_cautions_and_the_check() {
    let lab = TestLab::new().await;
    let number = lab.given_checked_job().await;
    let sheet = lab.get(&format!("/jobs/{number}/packing-sheet")).await.text("article");
    for words in [
        "Ada Quill",
        "Not safety or sports eyewear",
        "21 CFR 801.410",
        "do not drive",
        "Checked and within the standard (ANSI Z80.1",
        "-2.25 -1.25 x 095",
        &format!("{number}Quote this number for new lenses"),
    ] {
        assert!(sheet.contains(words), "{words} in {sheet}");
    }
    for jargon in ["Limit", "Measured", "meridian", "imbalance"] {
        assert!(!sheet.contains(jargon), "{jargon} in {sheet}");
    }
}

#[tokio::test]
async fn new_lenses_for_a_frame_the_customer_has_need_no_temples() {
    let lab = TestLab::new().await;
    let earlier = lab.given_checked_job().await;
    let number = lab.given_relens(earlier).await;
    lab.given_lenses_for(number).await;
    lab.given_cut_for(number).await;
    let reading = GOOD_READING.map(|(field, value)| match field {
        "read_right" => (field, "-2.75 -1.25 x 95"),
        "read_left" => (field, "-2.50 -0.75 x 80"),
        _ => (field, value),
    });
    lab.post(&format!("/jobs/{number}/check"), &reading).await.assert_status(303);
    lab.given_impact_for(number).await;
    let path = format!("/jobs/{number}/packing");
    let asked_for = lab.get(&path).await.attributes("input[name=tick]", "value");
    assert!(asked_for.iter().any(|key| key == "own_wraps") && asked_for.iter().all(|key| key != "spread"));
    lab.post(&path, &needed()).await.assert_status(400);
    lab.post(&path, &asked(Parcel::LensesOnly)).await.assert_status(303);
    assert_eq!(lab.reopened().await.stage(number).await, Stage::Packed);
}
