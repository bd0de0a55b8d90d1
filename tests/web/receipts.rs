//! Receipts: issued once, and never changed.

use crate::support::{NOW, TestLab};
use rimbook::desk::customer::Person;
use rimbook::desk::job::Stage;
use rimbook::desk::money::Cents;

#[tokio::test]
async fn a_receipt_never_changes() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    let answer = lab.post(&format!("/jobs/{number}/receipts"), &[]).await;
    assert_eq!(answer.assert_status(303).location, "/receipts/5001");
    let first = lab.get("/receipts/5001").await;
    let words = first.text("article");
    for wanted in [
        "Saltmarsh Lens Post",
        "4 Quay Lane",
        "00-0001234",
        "Ada Quill",
        "12 Ropewalk",
        "V2020",
        "V2103",
        "RT",
        "LT",
        "$186.00",
        "Dr Ines Fallow",
        "Nov 25, 2026",
        "Not a safety lens",
        "5001",
    ] {
        assert!(words.contains(wanted), "{wanted} in {words}");
    }

    let mut profile = lab.store.find_lab().await.unwrap().unwrap();
    profile.name = "Another Name".into();
    profile.tax_id = "99-9999999".into();
    profile.shipping = Cents::new(99_999);
    lab.store.change_lab("given-lab", &profile, NOW).await.unwrap();
    let customer = lab.store.get_job(number).await.unwrap().customer.clone();
    let person = Person { name: "Ada Changed".into(), line1: "1 New Street".into(), ..customer.person };
    lab.store.change_customer("given-customer", customer.id, &person, NOW).await.unwrap();
    for material in lab.store.list_materials().await.unwrap() {
        let mut details = material.details.clone();
        details.price = Cents::new(77_700);
        details.name = format!("{} new", details.name);
        lab.store.insert_material(&format!("given-{}", material.id), Some(material.id), &details, NOW).await.unwrap();
    }
    lab.post(&format!("/jobs/{number}/payments"), &super::payments::REST).await.assert_status(303);
    let lab = lab.reopened().await;
    assert_eq!(lab.get("/receipts/5001").await.body, first.body, "a reprint is the same to the letter");

    // What changed goes on a new receipt that names the old one.
    let page = lab.get(&format!("/jobs/{number}/bill")).await;
    assert!(page.text("#issue").contains("replaces it and names it"));
    assert_eq!(lab.post(&format!("/jobs/{number}/receipts"), &[]).await.location, "/receipts/5002");
    let second = lab.get("/receipts/5002").await.text("article");
    for wanted in ["replaces receipt 5001", "Another Name", "Ada Changed", "Refund due", "$25.00"] {
        assert!(second.contains(wanted), "{wanted} in {second}");
    }
    assert_eq!(lab.get("/receipts/5001").await.body, first.body);
    assert_eq!(lab.get(&format!("/jobs/{number}/bill")).await.texts("#receipts tbody tr").len(), 2);
    lab.get("/receipts/4999").await.assert_status(404);
}

#[tokio::test]
async fn a_receipt_is_issued_once() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/receipts");
    let key = lab.get(&format!("/jobs/{number}/bill")).await.attributes("#issue input[name=key]", "value").remove(0);
    lab.post_from_elsewhere(&path, &[("key", &key)]).await.assert_status(403);
    let first = lab.post(&path, &[("key", &key)]).await;
    let second = lab.post(&path, &[("key", &key)]).await;
    assert_eq!((first.location.as_str(), second.location.as_str()), ("/receipts/5001", "/receipts/5001"));
    assert_eq!(lab.count("receipt", number).await, 1);
    assert_eq!(lab.stage(number).await, Stage::Taken, "paper moves no job");
    let page = lab.get(&format!("/jobs/{number}/bill")).await;
    assert!(page.text("#issue").contains("Nothing has changed since receipt 5001"));
    assert_eq!(page.texts("#issue button"), ["Issue it again with each eye’s prescription"], "nothing else is new");
}

#[tokio::test]
async fn a_cancelled_order_that_charges_nothing_is_not_called_paid() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let cancelled =
        [("asked_by", "customer"), ("reason", "found the old pair"), ("refund", "186"), ("refund_kind", "card")];
    lab.post(&format!("/jobs/{number}/cancellation"), &cancelled).await.assert_status(303);
    let receipt = lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303).location.clone();
    let words = lab.get(&receipt).await.text("article");
    assert!(words.contains("The order was canceled. Nothing is charged; no claim filed by the seller."), "{words}");
    assert!(!words.contains("Paid by the patient"), "{words}");
    // What is kept of a cancelled order was paid.
    let number = lab.given_job().await;
    let kept = [&cancelled[..2], &[("kept", "20"), ("refund", "166"), ("refund_kind", "card")]].concat();
    lab.post(&format!("/jobs/{number}/cancellation"), &kept).await.assert_status(303);
    let receipt = lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303).location.clone();
    assert!(lab.get(&receipt).await.text("article").contains("Paid by the patient"));
}
