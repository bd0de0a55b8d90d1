//! The chance that a pair will pass, and the habits it is figured from.

use crate::support::{Answer, TestLab};

fn fields(page: &Answer, changes: &[(&str, &str)]) -> Vec<(String, String)> {
    let names = page.attributes("main form input[name]:not([type=checkbox])", "name");
    let values = page.attributes("main form input[name]:not([type=checkbox])", "value");
    let mut all: Vec<(String, String)> = names.into_iter().zip(values).collect();
    for (name, value) in changes {
        match all.iter_mut().find(|(n, _)| n == name) {
            Some(field) => field.1 = (*value).to_owned(),
            None => all.push(((*name).to_owned(), (*value).to_owned())),
        }
    }
    all
}

async fn post(lab: &TestLab, fields: &[(String, String)]) -> Answer {
    let lent: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    lab.post("/lab/process-spread", &lent).await
}

#[tokio::test]
async fn every_row_has_its_chance_and_the_worst_is_named() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{number}/risk")).await;
    page.assert_status(200);
    // Power, cylinder and axis of each eye, and the two of the pair.
    assert_eq!(page.texts("#rows tbody tr").len(), 8);
    assert_eq!(page.texts("#rows tr.worst").len(), 1);
    assert!(page.text("#rows tr.worst").contains("Most at risk"), "not by colour alone");
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

#[tokio::test]
async fn habits_are_kept_once_and_their_past_too() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab/process-spread").await;
    let first = fields(&page, &[("stick_step", "1")]);
    post(&lab, &first).await.assert_status(303);
    // The same form again is the same; with other words in it, two windows were open.
    post(&lab, &first).await.assert_status(303);
    let other = fields(&page, &[("stick_step", "0.25")]);
    let answer = post(&lab, &other).await;
    answer.assert_status(422);
    assert!(answer.body.contains("another window"));
    assert_eq!(answer.attributes("#stick_step", "value"), ["0.25"], "what was typed stays");
    assert_eq!(lab.store.count_process_spread_changes().await.unwrap(), 1);
    let again = fields(&lab.get("/lab/process-spread").await, &[("stick_step", "0.25")]);
    post(&lab, &again).await.assert_status(303);
    assert_eq!(lab.store.count_process_spread_changes().await.unwrap(), 2);
    assert_eq!(lab.store.get_process_spread().await.unwrap().figures[11], 25);
}

#[tokio::test]
async fn a_bad_habit_is_said_beside_its_field() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab/process-spread").await;
    for (field, value) in [
        ("blank_power", "x"),
        ("blank_cylinder", "-0.1"),
        ("axis_marking", "11"),
        ("lensmeter_step", ""),
        ("prism_step", "0.123"),
        ("offer_wrap", "-5"),
        ("offer_wrap", "41"),
    ] {
        let answer = post(&lab, &fields(&page, &[(field, value)])).await;
        answer.assert_status(422);
        assert_eq!(answer.attributes("[aria-invalid=true]", "id"), [field], "{value}");
        assert_eq!(answer.attributes(&format!("#{field}"), "value"), [value]);
    }
    post(&lab, &[("blank_power".into(), "0.04".into())]).await.assert_status(400);
    let fields = fields(&page, &[("stick_step", "1")]);
    let lent: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    lab.post_from_elsewhere("/lab/process-spread", &lent).await.assert_status(403);
    assert_eq!(lab.store.count_process_spread_changes().await.unwrap(), 0);
    // A draft outlives a reload.
    let key = page.attributes("main form", "data-draft").remove(0);
    lab.post(&format!("/drafts/{key}"), &lent).await;
    assert_eq!(lab.reopened().await.get("/lab/process-spread").await.attributes("#stick_step", "value"), ["1"]);
}
