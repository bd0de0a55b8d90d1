//! The whole day on one page.

use crate::support::TestLab;

#[tokio::test]
async fn jobs_stand_under_their_next_step() {
    let lab = TestLab::new().await;
    let to_trace = lab.given_job().await;
    let to_check = lab.given_cut_job().await;
    let page = lab.get("/").await;
    assert_eq!(page.texts(".part th"), ["To check", "To trace"], "the nearest to the door first");
    assert!(page.text("#check .job-link").contains(&to_check.to_string()));
    assert!(page.body.contains(&format!(r#"href="/jobs/{to_check}/check""#)), "the number leads to the next step");
    assert!(page.text("#trace .job-link").contains(&to_trace.to_string()));
    assert!(page.body.contains(&format!(r#"href="/jobs/{to_trace}/shape""#)));
}

#[tokio::test]
async fn a_failed_pair_stands_first() {
    let lab = TestLab::new().await;
    lab.given_packed_job().await;
    let failed = lab.given_cut_job().await;
    let mut wrong = crate::support::GOOD_READING;
    wrong[1].1 = "-2.45 -1.25 x 95";
    lab.post(&format!("/jobs/{failed}/check"), &wrong).await.assert_status(303);
    let page = lab.get("/").await;
    assert_eq!(page.texts(".part th")[0], "Did not pass");
    assert!(page.text("#failed .job-link").contains(&failed.to_string()));
    assert!(!page.body.contains(r#"id="check""#), "it is not listed twice");
}

#[tokio::test]
async fn an_unfinished_order_says_what_is_missing() {
    let lab = TestLab::new().await;
    let path = lab.get("/orders/new").await.location;
    let key = path.rsplit('/').next().unwrap();
    let typed = [("customer_name", "Ada Quillfeather"), ("rx_right", "-2.25 -1.25 x 95"), ("pd", "31/33")];
    lab.post(&format!("/drafts/{key}"), &typed).await.assert_status(204);
    let page = lab.get("/").await;
    let order = page.text(".unfinished li");
    assert!(order.contains("missing: address, frame, left prescription"), "{order}");
    assert!(order.contains("Dear Ada Quillfeather") && order.contains("for the left eye"), "{order}");
    assert!(page.body.contains(&format!(r#"href="/orders/{key}""#)));
}

#[tokio::test]
async fn a_parcel_that_came_back_leads_to_what_is_done_with_it() {
    let lab = TestLab::new().await;
    let mut jobs = Vec::new();
    for (cause, condition) in [("undeliverable", "unopened"), ("put_right", "opened"), ("lost", "lost")] {
        let number = lab.given_sent_job().await;
        assert!(!lab.get("/").await.body.contains(&format!(r#"href="/jobs/{number}"#)), "a sent job is done");
        lab.post(
            &format!("/jobs/{number}/return"),
            &[("cause", cause), ("condition", condition), ("returned_on", "2026-11-25")],
        )
        .await
        .assert_status(303);
        jobs.push(number);
    }
    let page = lab.get("/").await;
    // As it left: it is packed anew. Opened: it is read again first. Lost: the shape is on file, the lenses are not.
    for (number, (group, next)) in jobs.iter().zip([("pack", "packing"), ("check", "check"), ("lenses", "lenses")]) {
        assert_eq!(page.attributes(&format!("#{group} .job-link"), "href"), [format!("/jobs/{number}/{next}")]);
        let said = match group {
            "pack" => "came back unopened: send it again",
            "check" => "came back opened: read the pair again",
            _ => "lost: make it again",
        };
        assert_eq!(page.texts(&format!("#{group} .mark")), [said]);
        lab.get(&format!("/jobs/{number}/{next}")).await.assert_status(200);
    }
    lab.send_on(jobs[0]).await;
    assert!(!lab.get("/").await.body.contains(r#"id="pack""#), "sent again, it is done");
}

#[tokio::test]
async fn the_lenses_to_buy_and_the_money_owed_stand_on_it() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    lab.given_shape_for(number).await;
    let page = lab.get("/").await;
    assert!(page.text(".day").contains("2 Lenses to buy"), "{}", page.text(".day"));
    assert!(page.text("#lenses").contains("lenses to buy"), "{}", page.text("#lenses"));
    assert!(!page.text(".day").contains("owed to you"), "the sample is paid");
    lab.post("/buying", &crate::buying::order_of(&lab).await).await.assert_status(303);
    let page = lab.get("/").await;
    assert!(page.text(".day").contains("2 Lenses expected"), "{}", page.text(".day"));
    assert!(page.text("#lenses").contains("lenses expected"), "{}", page.text("#lenses"));
}
