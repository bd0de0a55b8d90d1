//! The chance that a pair will pass.

use super::process_spread::{fields, post};
use crate::support::TestLab;

#[tokio::test]
async fn every_row_has_its_chance_and_the_worst_is_named() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{number}/risk")).await;
    page.assert_status(200);
    // Power, cylinder and axis of each eye, and the two of the pair.
    assert_eq!(page.texts("#rows tbody tr").len(), 8);
    assert_eq!(page.texts("#rows tr.worst").len(), 1);
    assert!(page.text("#rows tr.worst").contains("Most at risk"), "not by color alone");
    let whole: Vec<f64> = page
        .texts(".whole .num")
        .iter()
        .map(|t| t.trim_start_matches("over ").trim_end_matches(" %").parse().unwrap())
        .collect();
    assert!(whole[2] < whole[0] && whole[2] < whole[1] && whole[2] > 50.0, "{whole:?}");
    let sentence = page.text("#sentence");
    assert!(sentence.starts_with("Most at risk: "), "{sentence}");
    for before in ["/layout", "/cut"] {
        lab.given_shape_for(number).await;
        let page = lab.get(&format!("/jobs/{number}{before}")).await;
        assert!(page.text("#risk-line").ends_with(&sentence), "{before}");
        assert_eq!(page.attributes("#risk-line a", "href"), [format!("/jobs/{number}/risk")]);
    }
}

#[tokio::test]
async fn a_careless_axis_is_what_to_read_again() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-1.00 -0.75 x 30", "-1.00 DS").await;
    let page = lab.get("/lab/process-spread").await;
    page.assert_status(200);
    post(&lab, &fields(&page, &[("axis_marking", "4")])).await.assert_status(303);
    let lab = lab.reopened().await;
    // ANSI Z80.1-2015 quick-reference guide: cylinder over 0.50 to 0.75, ±5°.
    let sentence = lab.get(&format!("/jobs/{number}/risk")).await.text("#sentence");
    assert!(sentence.starts_with("Most at risk: axis, right eye (limit ±5°)"), "{sentence}");
    assert!(sentence.ends_with("Re-read it."), "{sentence}");
    assert_eq!(lab.get("/lab/process-spread").await.attributes("#axis_marking", "value"), ["4"]);
}

#[tokio::test]
async fn nudging_what_the_step_leaves_helps() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-7.00 DS", "-7.00 DS").await;
    let of = async |lab: &TestLab| -> f64 {
        let page = lab.get(&format!("/jobs/{number}/risk")).await;
        page.texts(".whole .num")[2].trim_end_matches(" %").parse().unwrap()
    };
    let before = of(&lab).await;
    let page = lab.get("/lab/process-spread").await;
    post(&lab, &fields(&page, &[("nudges", "yes")])).await.assert_status(303);
    assert!(of(&lab).await > before);
    assert_eq!(lab.get("/lab/process-spread").await.attributes("#nudges-yes[checked]", "id"), ["nudges-yes"]);
}
