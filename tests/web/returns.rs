//! A parcel that comes back or is lost: the job is open again and is sent a second time.

use crate::support::{GOOD_READING, TestLab};
use rimbook::desk::job::{EventKind, Stage};

async fn back(lab: &TestLab, number: i64, fields: &[(&str, &str)]) -> crate::support::Answer {
    let today = [("returned_on", "2026-11-25")];
    let more = if fields.iter().any(|(name, _)| *name == "returned_on") { &[][..] } else { &today };
    lab.post(&format!("/jobs/{number}/return"), &[fields, more].concat()).await
}

/// The numbers of the jobs on the first page.
async fn open_jobs(lab: &TestLab) -> Vec<i64> {
    let mut numbers: Vec<i64> = Vec::new();
    for link in lab.get("/").await.attributes("main tbody a", "href") {
        let number = link.strip_prefix("/jobs/").and_then(|rest| rest.split('/').next()?.parse().ok());
        numbers.extend(number.filter(|number| !numbers.contains(number)));
    }
    numbers
}

#[tokio::test]
async fn an_unopened_parcel_is_packed_and_sent_again() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    let page = lab.get(&format!("/jobs/{number}/shipment")).await;
    assert!(page.attributes("main a", "href").contains(&format!("/jobs/{number}/return")));
    assert!(open_jobs(&lab).await.is_empty());
    let done =
        back(&lab, number, &[("cause", "undeliverable"), ("condition", "unopened"), ("note", "moved away")]).await;
    assert_eq!((done.status.as_u16(), done.location), (303, format!("/jobs/{number}/shipment")));
    assert_eq!(lab.stage(number).await, Stage::Checked);
    assert_eq!(open_jobs(&lab).await, [number], "it is open again");
    assert!(lab.get("/").await.texts(".mark.soon").contains(&"came back unopened: send it again".to_owned()));
    let page = lab.get(&format!("/jobs/{number}/shipment")).await;
    let earlier = page.text(".earlier-parcel");
    assert!(earlier.contains("it could not be delivered; closed, as it left; moved away"), "{earlier}");
    assert!(earlier.contains(" Returned Nov "), "the day says what happened on it: {earlier}");
    let job = lab.get(&format!("/jobs/{number}")).await;
    assert!(job.text(".notice.caution").contains("Parcel came back unopened: it could not be delivered"));
    // Nobody opens it again to look at the screws: what was ticked before stands ticked.
    let packing = lab.get(&format!("/jobs/{number}/packing")).await;
    assert!(packing.text(".notice").contains("came back closed"), "{}", packing.text(".notice"));
    let customer = lab.store.get_job(number).await.unwrap().customer.id;
    assert!(packing.attributes(".notice a", "href").contains(&format!("/customers/{customer}/details")));
    let ticks = crate::addresses::fields_of(&packing, &format!("/jobs/{number}/packing"));
    let ticks: Vec<(&str, &str)> = ticks.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let packed = lab.post_as_is(&format!("/jobs/{number}/packing"), &ticks).await;
    assert_eq!(packed.assert_status(303).location, format!("/jobs/{number}/shipment"), "packed as it stands");
    lab.send_on(number).await;
    assert_eq!((lab.stage(number).await, lab.count("shipment", number).await), (Stage::Sent, 2));
    assert!(open_jobs(&lab).await.is_empty(), "closed once more");
    let page = lab.get(&format!("/jobs/{number}/shipment")).await;
    assert_eq!(page.texts(".earlier-parcel").len(), 1);
}

#[tokio::test]
async fn an_opened_parcel_is_read_again_first() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    back(&lab, number, &[("cause", "put_right"), ("condition", "opened")]).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Cut);
    let packing = lab.post(&format!("/jobs/{number}/packing"), &[("key", &format!("packing-{number}-1"))]).await;
    packing.assert_status(409);
    assert!(packing.text(".notice").contains("cut but not checked"), "{}", packing.text(".notice"));
    lab.post(&format!("/jobs/{number}/check"), &GOOD_READING).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Checked);
}

#[tokio::test]
async fn a_broken_pair_that_came_back_gets_new_lenses() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    back(&lab, number, &[("cause", "put_right"), ("condition", "opened")]).await.assert_status(303);
    let spoiled = lab.post(&format!("/jobs/{number}/spoilage"), &[("lens", "left"), ("cause", "handling")]).await;
    spoiled.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::ShapeOnFile);
    lab.send_on(number).await;
    assert_eq!((lab.stage(number).await, lab.count("shipment", number).await), (Stage::Sent, 2));
}

#[tokio::test]
async fn a_lost_parcel_needs_new_lenses_before_it_is_sent_again() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    back(&lab, number, &[("cause", "lost")]).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::ShapeOnFile);
    let job = lab.store.get_job(number).await.unwrap();
    assert!(job.last(EventKind::SpoiledLeft).is_some_and(|event| event.note == "lost or broken in the mail"));
    assert_eq!(job.sent_on, None);
    let in_hand = lab.store.find_lenses(number).await.unwrap();
    assert!(in_hand.right.is_none() && in_hand.left.is_none());
    lab.given_lenses_for(number).await;
    let shipment = lab.post(&format!("/jobs/{number}/shipment"), &[("key", &format!("shipment-{number}-1"))]).await;
    shipment.assert_status(409);
    lab.send_on(number).await;
    assert_eq!((lab.stage(number).await, lab.count("shipment", number).await), (Stage::Sent, 2));
}

#[tokio::test]
async fn a_parcel_that_came_back_can_be_cancelled() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    back(&lab, number, &[("cause", "refused"), ("condition", "unopened")]).await.assert_status(303);
    let fields = [
        ("asked_by", "customer"),
        ("reason", "does not want it"),
        ("old_right", "mind"),
        ("old_left", "mind"),
        ("refund", "186"),
        ("refund_kind", "card"),
    ];
    lab.post(&format!("/jobs/{number}/cancellation"), &fields).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Cancelled);
    assert!(open_jobs(&lab).await.is_empty());
}

#[tokio::test]
async fn a_field_that_is_wrong_says_so() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    for (fields, field, says) in [
        (vec![("condition", "unopened")], "cause", "Choose what happened"),
        (vec![("cause", "refused")], "condition", "Choose the condition of the parcel"),
        (vec![("cause", "refused"), ("condition", "lost")], "condition", "Choose the condition of the parcel"),
        (vec![("cause", "put_right"), ("condition", "unopened")], "condition", "read again before it is sent"),
        (vec![("cause", "lost"), ("returned_on", "2026-11-24")], "returned_on", "before it was sent, Nov 25, 2026"),
        (vec![("cause", "lost"), ("returned_on", "2026-11-26")], "returned_on", "in the future"),
    ] {
        let refused = back(&lab, number, &[&fields[..], &[("note", "said so")]].concat()).await;
        refused.assert_status(422);
        let error = refused.text(&format!("#{field}-error"));
        assert!(error.contains(says), "{fields:?}: {error}");
        assert_eq!(refused.attributes("#note", "value"), ["said so"]);
    }
    assert_eq!((lab.stage(number).await, lab.count("parcel_return", number).await), (Stage::Sent, 0));
}

#[tokio::test]
async fn what_is_typed_survives_a_reload() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    let path = format!("/jobs/{number}/return");
    let key = lab.key_for(&path, &[]).await.unwrap();
    lab.post_as_is(&format!("/drafts/{key}"), &[("note", "carrier sai"), ("cause", "refused")]).await;
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#note", "value"), ["carrier sai"]);
    assert_eq!(page.attributes("[name=cause][checked]", "value"), ["refused"]);
}

#[tokio::test]
async fn a_job_that_is_not_sent_has_no_parcel_to_come_back() {
    let lab = TestLab::new().await;
    let number = lab.given_packed_job().await;
    assert!(lab.get(&format!("/jobs/{number}/return")).await.text(".notice").contains("is not sent yet"));
    back(&lab, number, &[("cause", "lost"), ("key", &format!("return-{number}-0"))]).await.assert_status(409);
}

#[tokio::test]
async fn what_was_promised_is_done_once_the_parcel_left() {
    let mut lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    back(&lab, number, &[("cause", "undeliverable"), ("condition", "unopened")]).await.assert_status(303);
    // Long after the promised day of Dec 5.
    lab.move_to(time::macros::datetime!(2027-01-20 16:00 UTC), time::UtcOffset::UTC).await;
    let page = lab.get(&format!("/jobs/{number}/promise")).await;
    assert!(page.text("main .title").contains("left Nov 25, 2026, to be sent again"), "{}", page.text("main .title"));
    assert!(page.texts(".mark.late, main form, main .notice.caution").is_empty(), "{}", page.text("main"));
    for (form, step) in [("promise", "promise"), ("delay-notices", "delay_notice"), ("delay-answers", "delay_answer")] {
        let key = format!("{step}-{number}-0");
        let refused = lab.post_as_is(&format!("/jobs/{number}/{form}"), &[("key", &key)]).await;
        let says = refused.assert_status(409).text(".notice");
        assert!(says.contains("left once: what was promised is done"), "{form}: {says}");
    }
    assert!(lab.get(&format!("/jobs/{number}")).await.texts(".mark.late").is_empty());
}
