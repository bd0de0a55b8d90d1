//! The bill, payments, receipts.

use crate::support::{NOW, TestLab};
use rimbook::desk::customer::Person;
use rimbook::desk::job::{EventKind, Stage};
use rimbook::desk::money::Cents;

const REST: [(&str, &str); 3] = [("kind", "check"), ("amount", "25.00"), ("paid_on", "2026-11-25")];

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
        "25 Nov 2026",
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
        lab.store
            .insert_material(&format!("given-{}", material.line), Some(material.line), &details, NOW)
            .await
            .unwrap();
    }
    lab.post(&format!("/jobs/{number}/payments"), &REST).await.assert_status(303);
    let lab = lab.reopened().await;
    assert_eq!(lab.get("/receipts/5001").await.body, first.body, "a reprint is the same to the letter");

    // What changed goes on a new receipt that names the old one.
    let page = lab.get(&format!("/jobs/{number}/receipt")).await;
    assert!(page.text("#issue").contains("replaces it and names it"));
    assert_eq!(lab.post(&format!("/jobs/{number}/receipts"), &[]).await.location, "/receipts/5002");
    let second = lab.get("/receipts/5002").await.text("article");
    for wanted in ["replaces receipt 5001", "Another Name", "Ada Changed", "To be given back", "$25.00"] {
        assert!(second.contains(wanted), "{wanted} in {second}");
    }
    assert_eq!(lab.get("/receipts/5001").await.body, first.body);
    assert_eq!(lab.get(&format!("/jobs/{number}/receipt")).await.texts("#receipts tbody tr").len(), 2);
    lab.get("/receipts/4999").await.assert_status(404);
}

#[tokio::test]
async fn a_receipt_is_issued_once() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/receipts");
    let key = lab.get(&format!("/jobs/{number}/receipt")).await.attributes("#issue input[name=key]", "value").remove(0);
    lab.post_from_elsewhere(&path, &[("key", &key)]).await.assert_status(403);
    let first = lab.post(&path, &[("key", &key)]).await;
    let second = lab.post(&path, &[("key", &key)]).await;
    assert_eq!((first.location.as_str(), second.location.as_str()), ("/receipts/5001", "/receipts/5001"));
    assert_eq!(lab.store.count_receipts(number).await.unwrap(), 1);
    assert_eq!(lab.stage(number).await, Stage::Taken, "paper moves no job");
    let page = lab.get(&format!("/jobs/{number}/receipt")).await;
    assert!(page.text("#issue").contains("Nothing has changed since receipt 5001"));
    assert!(page.texts("#issue button").is_empty());
}

#[tokio::test]
async fn says_that_a_tax_id_is_missing_before_issuing() {
    let lab = TestLab::new().await;
    let mut profile = lab.store.find_lab().await.unwrap().unwrap();
    profile.tax_id = String::new();
    lab.store.change_lab("given-lab", &profile, NOW).await.unwrap();
    let lab = lab.reopened().await;
    let number = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{number}/receipt")).await;
    assert!(page.text("#issue .notice").contains("no tax id"));
    assert!(page.text("#issue").contains("Not sent yet"));
}

#[tokio::test]
async fn a_payment_is_booked_once_and_shown() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let (path, bill) = (format!("/jobs/{number}/payments"), format!("/jobs/{number}/receipt"));
    assert_eq!(lab.get(&bill).await.text("#owed"), "$0.00");
    let key = format!("payment-{number}-1");
    let refund = [("key", key.as_str()), ("kind", "card"), ("amount", "-20"), ("paid_on", "2026-11-25")];
    assert_eq!(lab.post(&path, &refund).await.assert_status(303).location, bill);
    lab.post(&path, &refund).await.assert_status(303);
    let lab = lab.reopened().await;
    let page = lab.get(&bill).await;
    assert_eq!(page.text("#owed"), "$20.00");
    assert!(page.text("#bill").contains("refund, card"));
    assert_eq!(page.attributes("#amount", "value"), ["20.00"], "what is owed stands ready");
    let count_paid = async |lab: &TestLab| {
        let job = lab.store.get_job(number).await.unwrap();
        job.history.iter().filter(|e| e.kind == EventKind::Paid).count()
    };
    assert_eq!(count_paid(&lab).await, 2);
    // Another amount from a window that was open all the while is another payment, and is not lost.
    let other = [("key", key.as_str()), ("kind", "cash"), ("amount", "5"), ("paid_on", "2026-11-25")];
    lab.post(&path, &other).await.assert_status(303);
    assert_eq!(count_paid(&lab).await, 3);
    assert_eq!(lab.get(&bill).await.text("#owed"), "$15.00");
}

#[tokio::test]
async fn no_more_is_refunded_than_was_received() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let (path, bill) = (format!("/jobs/{number}/payments"), format!("/jobs/{number}/receipt"));
    let paid = lab.store.get_job(number).await.unwrap().paid;
    let too_much = format!("-{}", (paid + rimbook::desk::money::Cents::new(1)).plain());
    let refused = lab.post(&path, &[("kind", "card"), ("amount", &too_much), ("paid_on", "2026-11-25")]).await;
    refused.assert_status(422);
    assert!(refused.text("#amount-error").contains("more than"), "{}", refused.text("main"));
    let all = format!("-{}", paid.plain());
    let fields = [("key", "payment-1001-1"), ("kind", "card"), ("amount", all.as_str()), ("paid_on", "2026-11-25")];
    assert_eq!(lab.post(&path, &fields).await.assert_status(303).location, bill);
    // The same form from another tab adds nothing, and says so.
    let again = lab.post(&path, &fields).await.assert_status(303).location.clone();
    assert!(lab.get(&again).await.text(".notice").contains("nothing was added"));
    assert_eq!(lab.store.get_job(number).await.unwrap().paid, rimbook::desk::money::Cents::ZERO);
}

#[tokio::test]
async fn each_bad_field_of_a_payment_is_named() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/payments");
    for (field, value) in [
        ("kind", "shells"),
        ("amount", ""),
        ("amount", "0"),
        ("amount", "12.345"),
        ("paid_on", "2026-11-26"),
        ("paid_on", "then"),
    ] {
        let mut fields = REST.to_vec();
        fields.retain(|(n, _)| *n != field);
        fields.push((field, value));
        let answer = lab.post(&path, &fields).await;
        answer.assert_status(422);
        assert!(!answer.text(&format!("#{field}-error")).is_empty(), "{field} {value}");
        if field != "amount" {
            assert_eq!(answer.attributes("#amount", "value"), ["25.00"]);
        }
    }
    lab.post_from_elsewhere(&path, &REST).await.assert_status(403);
    assert_eq!(lab.store.list_payments(number).await.unwrap().len(), 1);
    lab.post(&format!("/drafts/payment-{number}-1"), &[("amount", "7.7")]).await.assert_status(204);
    assert_eq!(lab.get(&format!("/jobs/{number}/receipt")).await.attributes("#amount", "value"), ["7.7"]);
}
