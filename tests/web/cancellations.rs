//! Cancelling an order: at which stages, what becomes of lenses and money, and that nothing is made afterwards.

use crate::support::{NOW, TestLab};
use rimbook::desk::job::{EventKind, Stage};
use rimbook::desk::money::Cents;
use rimbook::desk::stock::{DrawerLensDetails, LensInHand};
use rimbook::optics::Eye;
use rimbook::optics::unit::Millimeter;

const ASKED: [(&str, &str); 2] = [("asked_by", "customer"), ("reason", "found the old pair")];

fn with<'a>(more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    [ASKED.as_slice(), more].concat()
}

async fn cancel(lab: &TestLab, number: i64, more: &[(&str, &str)]) -> crate::support::Answer {
    lab.post(&format!("/jobs/{number}/cancellation"), &with(more)).await
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
async fn the_bill_is_taken_back_and_the_money_goes_back() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{number}/cancellation")).await;
    assert_eq!(page.attributes("#refund", "value"), ["186.00"], "all that was paid is offered");
    assert_eq!(page.attributes("#refund_kind option[selected]", "value"), ["card"], "the way it came");
    let done = cancel(&lab, number, &[("refund", "186.00"), ("refund_kind", "card")]).await;
    assert_eq!((done.status.as_u16(), done.location), (303, format!("/jobs/{number}")));
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!((job.stage(), job.charged, job.paid), (Stage::Cancelled, Cents::ZERO, Cents::ZERO));
    // Four lines, and one for each that takes it back.
    assert_eq!(lab.count("charge", number).await, 8);
    let shown = lab.get(&format!("/jobs/{number}")).await;
    let head = shown.text(".notice.stop");
    assert!(head.contains("Canceled Nov 25, 2026: asked by the customer; found the old pair"), "{head}");
    assert!(head.contains("$186.00 refunded"), "{head}");
    assert_eq!(shown.attributes(".acts a.primary", "href"), [format!("/orders/new?like={number}")]);
}

#[tokio::test]
async fn what_is_kept_is_a_line_and_nothing_is_owed() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    cancel(&lab, number, &[("kept", "20"), ("refund", "166"), ("refund_kind", "card")]).await.assert_status(303);
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!((job.charged, job.paid, job.owed()), (Cents::new(2000), Cents::new(2000), Cents::ZERO));
    let kept = lab.store.get_account(number).await.unwrap().lines.pop().unwrap().charge;
    assert_eq!((kept.what.as_str(), kept.amount), ("Charge for work done on a canceled order", Cents::new(2000)));
}

#[tokio::test]
async fn a_field_that_is_wrong_says_so_and_nothing_is_lost() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let path = format!("/jobs/{number}/cancellation");
    let lenses = [("old_right", "drawer"), ("old_left", "mind")];
    for (fields, field, says) in [
        (vec![("reason", "x")], "asked_by", "Choose who asked"),
        (vec![("asked_by", "shop")], "reason", "The reason"),
        (with(&[("old_right", "drawer")]), "old_left", "Choose where the lens now in hand goes"),
        (with(&[("old_right", "job"), ("old_left", "mind")]), "old_job_right", "A job number is needed"),
        (
            with(&[("old_right", "job"), ("old_job_right", "4711"), ("old_left", "mind")]),
            "old_job_right",
            "cannot be reserved",
        ),
        (with(&[("old_right", "pocket"), ("old_left", "mind")]), "old_right", "Choose where the lens now in hand goes"),
        (
            with(&[lenses[0], lenses[1], ("refund", "186.01"), ("refund_kind", "card")]),
            "refund",
            "Only $186.00 was paid",
        ),
        (with(&[lenses[0], lenses[1], ("refund", "lots")]), "refund", "lots"),
        (
            with(&[lenses[0], lenses[1], ("kept", "20"), ("refund", "186"), ("refund_kind", "card")]),
            "refund",
            "$20.00 is charged: refund $166.00 at most",
        ),
        (with(&[lenses[0], lenses[1], ("kept", "200")]), "kept", "Only $186.00 was paid"),
        (
            with(&[lenses[0], lenses[1], ("refund", "10"), ("refund_kind", "shells")]),
            "refund_kind",
            "how it is refunded",
        ),
        (
            [("asked_by", "delay"), ("reason", "too late"), lenses[0], lenses[1], ("kept", "5")].to_vec(),
            "kept",
            "refunded in full (16 CFR 435)",
        ),
    ] {
        let before = lab.contents().await;
        let refused = lab.post(&path, &fields).await;
        refused.assert_status(422);
        let error = refused.text(&format!("#{field}-error"));
        assert!(error.contains(says), "{fields:?}: {error}");
        if let Some((_, reason)) = fields.iter().find(|(name, _)| *name == "reason") {
            assert_eq!(refused.attributes("#reason", "value"), [*reason], "what was typed is shown again");
        }
        assert_eq!(lab.contents().await, before, "{fields:?}");
    }
    assert_eq!(lab.stage(number).await, Stage::LensesInHand);
}

#[tokio::test]
async fn each_lens_goes_where_it_was_said() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    lab.given_shape_for(number).await;
    let details = DrawerLensDetails {
        material: lab.store.get_job(number).await.unwrap().material.id,
        sphere: "-2.25".parse().unwrap(),
        cylinder: "-1.25".parse().unwrap(),
        diameter: "70".parse().unwrap(),
        coating: None,
        second_coating: None,
        tint: None,
        base: None,
        center: Some("1.5".parse().unwrap()),
        front_power: Some("+3.5".parse().unwrap()),
    };
    lab.store.stock_lens("stock", &details, 1, NOW).await.unwrap();
    let drawer = lab.store.list_drawer().await.unwrap().remove(0);
    let lens = |eye, drawer_lens| LensInHand {
        eye,
        drawer_lens,
        source: String::new(),
        diameter: "70".parse().unwrap(),
        center: None,
        front_power: None,
        off_in: Millimeter::ZERO,
        off_up: Millimeter::ZERO,
        has_ground_prism: false,
    };
    let lenses = [lens(Eye::Right, Some(drawer.id)), lens(Eye::Left, None)];
    lab.store.take_lenses("take", number, &lenses, NOW).await.unwrap();
    assert_eq!(lab.store.list_drawer().await.unwrap()[0].count, 0);
    let page = lab.get(&format!("/jobs/{number}/cancellation")).await;
    assert_eq!(page.attributes("[name=old_right]", "value"), ["drawer", "job", "mind"]);
    assert_eq!(page.attributes("[name=old_left]", "value"), ["drawer", "job", "mind"]);
    cancel(&lab, number, &[("old_right", "drawer"), ("old_left", "mind")]).await.assert_status(303);
    assert_eq!(lab.store.list_drawer().await.unwrap()[0].count, 1, "it is in the drawer again");
    let job = lab.store.get_job(number).await.unwrap();
    let said = |kind| job.last(kind).map(|event| event.note.clone());
    assert_eq!(said(EventKind::AsideRight).as_deref(), Some("back into the drawer"));
    assert_eq!(said(EventKind::SpoiledLeft).as_deref(), Some("the customer changed their mind"));
    let in_hand = lab.store.find_lenses(number).await.unwrap();
    assert!(in_hand.right.is_none() && in_hand.left.is_none());
}

#[tokio::test]
async fn an_edged_lens_goes_into_no_drawer() {
    let lab = TestLab::new().await;
    let number = lab.given_packed_job().await;
    let page = lab.get(&format!("/jobs/{number}/cancellation")).await;
    assert_eq!(page.attributes("[name=old_right]", "value"), ["mind"]);
    assert!(page.texts("#old_job_right, #kept-old_right").is_empty(), "no job to keep it for is asked");
    cancel(&lab, number, &[("old_right", "mind"), ("old_left", "mind")]).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Cancelled);
}

#[tokio::test]
async fn a_cancelled_job_leaves_the_open_ones_and_is_still_found() {
    let lab = TestLab::new().await;
    let (number, other) = (lab.given_job().await, lab.given_job().await);
    cancel(&lab, number, &[]).await.assert_status(303);
    assert_eq!(open_jobs(&lab).await, [other]);
    let found = lab.search("/find", &number.to_string()).await;
    assert_eq!(found.location, format!("/jobs/{number}"));
    for page in
        ["", "/shape", "/lenses", "/layout", "/cut", "/check", "/packing", "/shipment", "/bill", "/cancellation"]
    {
        let shown = lab.get(&format!("/jobs/{number}{page}")).await;
        shown.assert_status(200);
        assert!(shown.text(".job-bar").contains("canceled Nov 25, 2026"), "{page}: {}", shown.text(".job-bar"));
        assert!(!shown.body.contains("issue the receipt"), "{page}: nothing is charged, so no receipt comes next");
    }
}

#[tokio::test]
async fn nothing_is_made_for_a_cancelled_job_and_money_still_moves() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    cancel(&lab, number, &[("old_right", "mind"), ("old_left", "mind")]).await.assert_status(303);
    let before = lab.contents().await;
    let job = |end: &str| format!("/jobs/{number}/{end}");
    for end in
        ["lenses", "spoilage", "compensation", "tickets", "cut", "check", "packing", "shipment", "return", "impact"]
    {
        let refused = lab.post(&job(end), &[("key", &format!("{}-{number}-0", end.trim_end_matches('s')))]).await;
        let refused = match refused.status.as_u16() {
            400 => lab.post(&job(end), &[("key", &format!("{end}-{number}-0"))]).await,
            _ => refused,
        };
        refused.assert_status(409);
        assert!(
            refused.text(".notice").contains(&format!("Job {number} was canceled")),
            "{end}: {}",
            refused.text(".notice")
        );
    }
    let again = lab.post(&job("cancellation"), &with(&[("key", &format!("cancellation-{number}-1"))])).await;
    again.assert_status(409);
    assert!(again.text(".notice").contains("already been canceled"));
    assert_eq!(lab.contents().await, before);
    let table = crate::shapes::records(Some("20.00"), &[("R", crate::shapes::ellipse_radii())]);
    lab.upload(&job("shape"), &[("table", &table)], "file", "", b"").await.assert_status(409);
    let back = [
        ("amount", "186"),
        ("cause", "overpaid"),
        ("kind", "card"),
        ("paid_on", "2026-11-25"),
        ("reason", "cancelled"),
    ];
    lab.post(&job("refunds"), &back).await.assert_status(303);
    lab.post(&job("receipts"), &[]).await.assert_status(303);
    lab.post(&job("notes"), &[("note", "called")]).await.assert_status(303);
    assert_eq!(lab.store.get_job(number).await.unwrap().owed(), Cents::ZERO);
    assert_eq!(lab.stage(number).await, Stage::Cancelled);
}

#[tokio::test]
async fn a_sent_job_is_not_cancelled() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    let page = lab.get(&format!("/jobs/{number}/cancellation")).await;
    assert!(page.text(".notice.stop").contains("can no longer be canceled"));
    assert_eq!(page.attributes("main .acts a", "href"), [format!("/jobs/{number}/return")]);
    let refused = cancel(&lab, number, &[("key", &format!("cancellation-{number}-0"))]).await;
    refused.assert_status(409);
    assert_eq!(lab.stage(number).await, Stage::Sent);
}

#[tokio::test]
async fn what_is_typed_survives_a_reload() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/cancellation");
    let key = lab.key_for(&path, &[]).await.unwrap();
    lab.post_as_is(&format!("/drafts/{key}"), &[("reason", "half a reas"), ("asked_by", "shop")]).await;
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#reason", "value"), ["half a reas"]);
    assert_eq!(page.attributes("[name=asked_by][checked]", "value"), ["shop"]);
}

#[tokio::test]
async fn a_new_order_like_a_cancelled_one_is_filled_in() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    cancel(&lab, number, &[]).await.assert_status(303);
    let begun = lab.get(&format!("/orders/new?like={number}")).await;
    let page = lab.get(&begun.location).await;
    assert_eq!(page.attributes("#rx_right", "value"), ["-2.25 -1.25 x 95"]);
    assert_eq!(page.attributes("#pd", "value"), ["31/33"]);
    assert_eq!(page.attributes("#prescriber", "value"), ["Dr Ines Fallow"]);
    assert_eq!(page.attributes("[name=customer_name]", "value"), ["Ada Quill"]);
    assert!(page.attributes("[name=relens_of]", "value").is_empty(), "the frame is sold once more");
    assert_eq!(page.attributes("[name=frame_name]", "value"), ["Copperline Tern, slate, 50□20 145"]);
}
