//! Sending.

use crate::support::{NOW, TestLab};
use rimbook::desk::customer::Person;
use rimbook::desk::job::Stage;

const PARCEL: [(&str, &str); 3] = [("carrier", "Parcel post"), ("tracking", "SL 0042 7712"), ("sent_on", "2026-11-25")];

#[tokio::test]
async fn the_parcel_leaves_once() {
    let lab = TestLab::new().await;
    let number = lab.given_packed_job().await;
    let path = format!("/jobs/{number}/shipment");
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#sent_on", "value"), ["2026-11-25"]);
    assert!(page.text("main").contains("12 Ropewalk"));
    let key = format!("shipment-{number}-0");
    let mut fields = PARCEL.to_vec();
    fields.push(("key", &key));
    assert_eq!(lab.post(&path, &fields).await.assert_status(303).location, format!("/jobs/{number}/bill"));
    lab.post(&path, &fields).await.assert_status(303);
    let lab = lab.reopened().await;
    assert_eq!(lab.stage(number).await, Stage::Sent);
    let page = lab.get(&path).await;
    assert!(page.text(".facts").contains("SL 0042 7712"));
    assert!(page.texts("#carrier").is_empty());
    // What happened is not changed afterwards.
    lab.post(&format!("/jobs/{number}/packing"), &[("tick", "screws")]).await.assert_status(409);
    lab.post(&format!("/jobs/{number}/check"), &crate::support::GOOD_READING).await.assert_status(409);
}

#[tokio::test]
async fn each_bad_field_is_named() {
    let lab = TestLab::new().await;
    let number = lab.given_packed_job().await;
    let path = format!("/jobs/{number}/shipment");
    for (field, value) in [
        ("carrier", "  "),
        ("sent_on", "2026-11-26"),
        ("sent_on", "2026-11-24"),
        ("sent_on", "tomorrow"),
        ("sent_on", ""),
    ] {
        let mut fields = PARCEL.to_vec();
        fields.retain(|(n, _)| *n != field);
        fields.push((field, value));
        let answer = lab.post(&path, &fields).await;
        answer.assert_status(422);
        assert!(!answer.text(&format!("#{field}-error")).is_empty(), "{field} {value}");
        assert_eq!(answer.attributes("#tracking", "value"), ["SL 0042 7712"]);
    }
    let long = "9".repeat(61);
    let answer = lab.post(&path, &[PARCEL[0], ("tracking", &long), PARCEL[2]]).await;
    assert!(answer.assert_status(422).text("#tracking-error").contains("too long"));
    assert_eq!(lab.stage(number).await, Stage::Packed);
}

#[tokio::test]
async fn is_refused_unless_packed_and_from_elsewhere() {
    let lab = TestLab::new().await;
    let number = lab.given_checked_job().await;
    let path = format!("/jobs/{number}/shipment");
    assert!(lab.get(&path).await.text(".notice").contains("not packed yet"));
    lab.post(&path, &PARCEL).await.assert_status(409);
    let packed = lab.given_packed_job().await;
    lab.post_from_elsewhere(&format!("/jobs/{packed}/shipment"), &PARCEL).await.assert_status(403);
    assert_eq!(lab.stage(packed).await, Stage::Packed);
}

#[tokio::test]
async fn an_address_is_needed_first() {
    let lab = TestLab::new().await;
    let number = lab.given_packed_job().await;
    let customer = lab.store.get_job(number).await.unwrap().customer.clone();
    let person = Person { postcode: String::new(), ..customer.person };
    lab.store.change_customer("given-customer", customer.id, &person, NOW).await.unwrap();
    let answer = lab.post(&format!("/jobs/{number}/shipment"), &PARCEL).await;
    answer.assert_status(422);
    assert_eq!(answer.attributes("#address a", "href"), [format!("/customers/{}/details", customer.id)]);
    assert_eq!(lab.stage(number).await, Stage::Packed);
    lab.get(&format!("/jobs/{number}/slip")).await.assert_status(409);
}

#[tokio::test]
async fn earlier_carriers_are_offered_and_a_reload_keeps_typing() {
    let lab = TestLab::new().await;
    lab.given_sent_job().await;
    let number = lab.given_packed_job().await;
    lab.post(&format!("/drafts/shipment-{number}-0"), &[("carrier", "Parc"), ("sent_on", "2026-11-25")]).await;
    let page = lab.get(&format!("/jobs/{number}/shipment")).await;
    assert_eq!(page.attributes("#carriers option", "value"), ["Parcel post"]);
    assert_eq!(page.attributes("#carrier", "value"), ["Parc"]);
}

#[tokio::test]
async fn the_slip_shows_where_it_went_and_nothing_of_the_prescription() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    let customer = lab.store.get_job(number).await.unwrap().customer.clone();
    let person = Person { line1: "99 Elsewhere".into(), ..customer.person };
    lab.store.change_customer("given-customer", customer.id, &person, NOW).await.unwrap();
    let slip = lab.get(&format!("/jobs/{number}/slip")).await;
    let words = slip.text("article.sheet-label");
    for wanted in
        ["Saltmarsh Lens Post", "4 Quay Lane", "Ada Quill", "12 Ropewalk", "00402", "Parcel post", "SL 0042 7712"]
    {
        assert!(words.contains(wanted), "{wanted} in {words}");
    }
    for secret in ["-2.25", "-1.25", "95", "Elsewhere", "Fallow", "Polycarbonate"] {
        assert!(!words.contains(secret), "{secret} in {words}");
    }
}
