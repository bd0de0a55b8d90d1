//! How exactly the lab works, as its form keeps it.

use crate::support::{Answer, TestLab};

/// The fields of the form with some changed.
pub fn fields(page: &Answer, changes: &[(&str, &str)]) -> Vec<(String, String)> {
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

/// Posts the form.
pub async fn post(lab: &TestLab, fields: &[(String, String)]) -> Answer {
    let lent: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    lab.post("/lab/process-spread", &lent).await
}

#[tokio::test]
async fn figures_are_kept_once_and_their_past_too() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab/process-spread").await;
    let first = fields(&page, &[("stick_step", "1")]);
    post(&lab, &first).await.assert_status(303);
    // The same form again is the same; with other words in it, two windows were open.
    post(&lab, &first).await.assert_status(303);
    let other = fields(&page, &[("stick_step", "0.25")]);
    let answer = post(&lab, &other).await;
    answer.assert_status(422);
    assert!(answer.text("#stick_step-error").contains("another window to “1”"), "{}", answer.body);
    assert_eq!(answer.attributes("#stick_step", "value"), ["0.25"], "what was typed stays");
    assert_eq!(lab.store.count_process_spread_changes().await.unwrap(), 1);
    let again = fields(&lab.get("/lab/process-spread").await, &[("stick_step", "0.25")]);
    post(&lab, &again).await.assert_status(303);
    assert_eq!(lab.store.count_process_spread_changes().await.unwrap(), 2);
    assert_eq!(lab.store.get_process_spread().await.unwrap().figures[11], 25);
}

#[tokio::test]
async fn a_bad_figure_is_said_beside_its_field() {
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
    lab.post_as_is("/lab/process-spread", &[("blank_power", "0.04")]).await.assert_status(400);
    let fields = fields(&page, &[("stick_step", "1")]);
    let lent: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    lab.post_from_elsewhere("/lab/process-spread", &lent).await.assert_status(403);
    assert_eq!(lab.store.count_process_spread_changes().await.unwrap(), 0);
    // A draft outlives a reload.
    let key = page.attributes("main form", "data-draft").remove(0);
    lab.post(&format!("/drafts/{key}"), &lent).await;
    assert_eq!(lab.reopened().await.get("/lab/process-spread").await.attributes("#stick_step", "value"), ["1"]);
}
