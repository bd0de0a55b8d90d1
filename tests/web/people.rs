//! The patient, who pays, and who gets the parcel.

use rimbook::desk::customer::Customer;

use crate::support::{Answer, TestLab};

/// Posts the complete order with some fields changed.
async fn order(lab: &TestLab, changes: &[(&str, &str)]) -> Answer {
    let path = lab.get("/orders/new").await.location;
    let material = lab.store.list_materials().await.unwrap()[0].version.to_string();
    let mut fields = crate::orders::fields();
    fields.push(("material", material));
    let mut fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
    for (name, value) in changes {
        fields.retain(|(n, _)| n != name);
        fields.push((name, value));
    }
    lab.post(&path, &fields).await
}

/// Patient, payer and recipient of a job by name.
async fn people(lab: &TestLab, number: i64) -> [String; 3] {
    let job = lab.store.get_job(number).await.unwrap();
    [&job.customer, &job.payer, &job.recipient].map(|person| person.person.name.clone())
}

async fn customer(lab: &TestLab, name: &str) -> Customer {
    lab.store.list_customers(name, 1).await.unwrap().remove(0)
}

const FATHER: [(&str, &str); 4] = [
    ("payer_name", "Bram Marrow"),
    ("payer_line1", "8 Dyke Road"),
    ("payer_city", "Pellmarsh"),
    ("payer_postcode", "00405"),
];

#[tokio::test]
async fn a_usual_order_is_the_patients_own() {
    let lab = TestLab::new().await;
    let page = lab.get(&lab.get("/orders/new").await.location).await;
    assert_eq!(page.texts("details:not([open]) > summary").iter().filter(|s| s.contains("someone else")).count(), 1);
    assert!(page.texts("details:not([open]) > summary").contains(&"Someone else pays".to_owned()));
    order(&lab, &[]).await.assert_status(303);
    assert_eq!(people(&lab, 1001).await, ["Odile Marrow"; 3]);
    let job = lab.store.get_job(1001).await.unwrap();
    assert_eq!((job.other_payer(), job.other_recipient()), (None, None));
    assert!(!lab.get("/jobs/1001").await.texts("dt").contains(&"Paid by".to_owned()));
}

#[tokio::test]
async fn someone_else_pays_and_a_third_gets_the_parcel() {
    let lab = TestLab::new().await;
    let to =
        [("recipient_name", "Quay Lane School"), ("recipient_line1", "1 Quay Lane"), ("recipient_city", "Pellmarsh")];
    order(&lab, &[&FATHER[..], &to].concat()).await.assert_status(303);
    assert_eq!(people(&lab, 1001).await, ["Odile Marrow", "Bram Marrow", "Quay Lane School"]);
    let page = lab.get("/jobs/1001").await;
    let facts = page.texts("dl.facts dd");
    assert!(facts.contains(&"Bram Marrow".to_owned()) && facts.contains(&"Quay Lane School".to_owned()), "{facts:?}");

    // A second patient under the same payer, who is chosen from the book, and who gets the parcel as well.
    let bram = customer(&lab, "Bram").await;
    let id = bram.id.to_string();
    let chosen = [
        ("customer_name", "Piet Marrow"),
        ("frame_model", "Plover"),
        ("payer_name", "Bram Marrow"),
        ("payer_id", &id),
        ("recipient_is_payer", "yes"),
    ];
    order(&lab, &chosen).await.assert_status(303);
    assert_eq!(people(&lab, 1002).await, ["Piet Marrow", "Bram Marrow", "Bram Marrow"]);
    let page = lab.get(&format!("/customers/{}", bram.id)).await;
    assert_eq!(page.texts("table[aria-labelledby=paid-head] tbody th"), ["1002", "1001"]);
    assert_eq!(page.texts("table[aria-labelledby=paid-head] tbody td:nth-child(2)"), ["Piet Marrow", "Odile Marrow"]);
    let odile = customer(&lab, "Odile").await;
    assert!(lab.get(&format!("/customers/{}", odile.id)).await.texts("#paid-head").is_empty());
    assert_eq!(lab.store.list_customers("Bram", 5).await.unwrap().len(), 1, "added once");
}

#[tokio::test]
async fn what_is_not_clear_is_asked() {
    let lab = TestLab::new().await;
    order(&lab, &FATHER).await.assert_status(303);
    for (changes, field, says) in [
        (vec![("payer_name", "bram  marrow")], "payer_name", "already in the book"),
        (vec![("recipient_line1", "1 Quay Lane")], "recipient_name", "Whose address"),
        (vec![("payer_name", "Piet Marrow")], "payer_name", "This is the patient"),
        (vec![("recipient_name", "Quay School"), ("recipient_is_payer", "yes")], "recipient_name", "Untick"),
        (vec![("payer_name", "Ann Marrow"), ("payer_email", "nowhere")], "payer_email", "needs an @"),
    ] {
        let all = [&[("customer_name", "Piet Marrow"), ("frame_model", "Plover")], &changes[..]].concat();
        let answer = order(&lab, &all).await;
        answer.assert_status(422);
        assert!(
            answer.text(&format!("#{field}-error")).contains(says),
            "{changes:?}: {}",
            answer.texts(".error").join(" ")
        );
        assert_eq!(answer.texts("details[open] > summary").iter().filter(|s| s.contains("omeone")).count(), 1);
    }
    let answer = order(&lab, &[("customer_name", "Piet Marrow"), ("frame_model", "Plover"), FATHER[0]]).await;
    assert_eq!(answer.texts("fieldset label").iter().filter(|l| l.contains("8 Dyke Road")).count(), 1, "who is it?");
    assert_eq!(lab.store.list_customers("", 9).await.unwrap().len(), 2, "nothing was added");
}

#[tokio::test]
async fn suggestions_fill_the_fields_of_their_person() {
    let lab = TestLab::new().await;
    order(&lab, &FATHER).await.assert_status(303);
    let bram = customer(&lab, "Bram").await.id;
    for party in ["payer", "recipient"] {
        let fill = lab
            .post_as_is(&format!("/suggest/customers/{party}"), &[("q", "bra")])
            .await
            .attributes("button", "data-fill");
        assert_eq!(fill, [format!(r#"{{"{party}_id":"{bram}","{party}_name":"Bram Marrow"}}"#)]);
    }
    lab.post_as_is("/suggest/customers/else", &[("q", "bra")]).await.assert_status(404);
}

#[tokio::test]
async fn a_correction_is_a_new_revision_with_its_reason() {
    let lab = TestLab::new().await;
    let number = lab.given_packed_job().await;
    let path = format!("/jobs/{number}/people");
    let before = lab.store.get_job(number).await.unwrap();
    let refused = lab.post(&path, &FATHER).await;
    refused.assert_status(422);
    assert!(refused.text("#reason-error").contains("reason"));
    assert_eq!(refused.attributes("#payer_line1", "value"), ["8 Dyke Road"], "nothing typed is lost");
    let to =
        [("recipient_name", "Quay Lane School"), ("recipient_line1", "1 Quay Lane"), ("recipient_city", "Pellmarsh")];
    let sure = [("reason", "he rang: his father pays")];
    lab.post(&path, &[&FATHER[..], &to, &sure].concat()).await.assert_status(303);
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!(people(&lab, number).await, ["Ada Quill", "Bram Marrow", "Quay Lane School"]);
    assert_eq!(job.revision, before.revision + 1);
    assert_eq!((&job.prescription, &job.eyes, &job.coating), (&before.prescription, &before.eyes, &before.coating));
    assert_eq!((job.stage(), job.promised_on), (before.stage(), before.promised_on));
    assert!(lab.get(&format!("/jobs/{number}")).await.text(".history").contains("his father pays"));

    // The parcel needs the recipient's address; the slip shows nobody else's.
    let shipment = format!("/jobs/{number}/shipment");
    assert!(lab.get(&shipment).await.text("#address").contains("Quay Lane School has no complete address"));
    let school = customer(&lab, "Quay Lane").await;
    let person = rimbook::desk::customer::Person { postcode: "00401".into(), ..school.person };
    lab.store.change_customer("given-school", school.id, &person, crate::support::NOW).await.unwrap();
    lab.post(&shipment, &[("carrier", "Parcel post"), ("sent_on", "2026-11-25")]).await.assert_status(303);
    let slip = lab.get(&format!("/jobs/{number}/slip")).await.text("article");
    assert!(slip.contains("Quay Lane School") && !slip.contains("Ada Quill"), "{slip}");
    let sheet = lab.get(&format!("/jobs/{number}/packing-sheet")).await.text("article");
    assert!(sheet.contains("For Ada Quill") && sheet.contains("sent to Quay Lane School"), "{sheet}");

    // The page opens with what stands, and an emptied name is the patient again.
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#payer_name", "value"), ["Bram Marrow"]);
    let own = [("payer_name", ""), ("recipient_name", ""), ("reason", "paid himself")];
    lab.post(&path, &own).await.assert_status(303);
    assert_eq!(people(&lab, number).await, ["Ada Quill"; 3]);
    assert!(lab.get(&format!("/jobs/{number}/slip")).await.text("article").contains("Quay Lane School"), "as it went");
}

#[tokio::test]
async fn new_lenses_start_with_the_same_people() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    let path = format!("/jobs/{number}/people");
    let to_payer = [("recipient_is_payer", "yes"), ("reason", "his father pays")];
    lab.post(&path, &[&FATHER[..], &to_payer].concat()).await.assert_status(303);
    let page = lab.get(&lab.get(&format!("/jobs/{number}/relens")).await.location).await;
    assert_eq!(page.attributes("#payer_name", "value"), ["Bram Marrow"]);
    assert_eq!(page.attributes("#recipient_is_payer-yes[checked]", "value"), ["yes"]);
    assert!(page.texts(".pre").iter().any(|address| address.contains("8 Dyke Road")));
}

#[tokio::test]
async fn a_receipt_and_a_reminder_are_the_payers() {
    let lab = TestLab::new().await;
    order(&lab, &[&FATHER[..], &[("payment", "")]].concat()).await.assert_status(303);
    lab.post("/jobs/1001/receipts", &[]).await.assert_status(303);
    let receipt = lab.get("/receipts/5001").await.text("article");
    assert!(receipt.contains("PatientOdile Marrow") && receipt.contains("Paid byBram Marrow 8 Dyke Road"), "{receipt}");
    let row = lab.get("/money").await.texts("#owed tbody tr").remove(0);
    assert!(row.starts_with("Bram Marrow 1001Odile Marrow"), "{row}");
    let path = format!("/money/reminders/{}", customer(&lab, "Bram Marrow").await.id);
    let text = lab.get(&path).await.text("#text");
    assert!(text.contains("Dear Bram Marrow") && text.contains("Job 1001 for Odile Marrow"), "{text}");
    let patient = format!("/money/reminders/{}", customer(&lab, "Odile Marrow").await.id);
    assert!(lab.get(&patient).await.text("main").contains("owes nothing"));
    // Paid in full, it says by whom.
    let job = lab.store.get_job(1001).await.unwrap();
    let all = job.owed().plain();
    lab.post("/jobs/1001/payments", &[("kind", "card"), ("amount", &all), ("paid_on", "2026-11-25")])
        .await
        .assert_status(303);
    lab.post("/jobs/1001/receipts", &[]).await.assert_status(303);
    assert!(lab.get("/receipts/5002").await.text("article").contains("Paid by Bram Marrow for the patient"));
}
