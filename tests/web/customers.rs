//! Customers.

use axum::body::Body;
use axum::http::Request;
use rimbook::desk::customer::Customer;
use scraper::{Html, Selector};

use crate::support::{TestLab, encode};

async fn given_customer(lab: &TestLab) -> Customer {
    lab.given_job().await;
    lab.store.list_customers("Quill", 1).await.unwrap().remove(0)
}

fn details(key: &str, name: &'static str) -> Vec<(&'static str, String)> {
    [
        ("key", key),
        ("name", name),
        ("line1", "14 Ropewalk"),
        ("line2", ""),
        ("city", "Pellmarsh"),
        ("region", "PM"),
        ("postcode", "00402"),
        ("phone", "555-0143"),
        ("email", "ada@example.com"),
        ("note", "Rings twice"),
    ]
    .map(|(n, v)| (n, v.to_owned()))
    .into()
}

fn borrow<'a>(fields: &'a [(&'static str, String)]) -> Vec<(&'a str, &'a str)> {
    fields.iter().map(|(n, v)| (*n, v.as_str())).collect()
}

#[tokio::test]
async fn finds_by_name_town_and_telephone() {
    let lab = TestLab::new().await;
    assert!(lab.get("/customers").await.text(".empty").contains("No customers yet"));
    let ada = given_customer(&lab).await;
    for q in ["quill", "pellm", "0142", ""] {
        let page = lab.search("/customers", q).await;
        assert_eq!(page.texts("tbody th"), ["Ada Quill"], "{q}");
        assert_eq!(page.attributes("tbody th a", "href"), [format!("/customers/{}", ada.id)]);
    }
    let none = lab.search("/customers", "<b>").await;
    assert!(none.text(".empty").contains("“<b>”"), "shown as typed, not as markup");
    assert_eq!(none.attributes("#q", "value"), ["<b>"]);
}

#[tokio::test]
async fn shows_a_customer_with_their_jobs_newest_first() {
    let lab = TestLab::new().await;
    let ada = given_customer(&lab).await;
    let page = lab.get(&format!("/customers/{}", ada.id)).await;
    page.assert_status(200);
    assert_eq!(page.text("h1"), "Ada Quill");
    assert_eq!(page.texts("tbody th"), ["1001"]);
    assert_eq!(page.texts("tbody td")[0], "Copperline Tern, slate");
    assert_eq!(page.texts("tbody td")[2..4], ["taken", "promised Dec 5, 2026"]);
    assert!(page.attributes("main a", "href").contains(&format!("/orders/new?customer={}", ada.id)));
    assert!(page.text(".facts").contains("12 Ropewalk"));
    for path in ["/customers/none", "/customers/00000000-0000-0000-0000-000000000000"] {
        assert!(lab.get(path).await.assert_status(404).text(".notice").contains("That customer is not in the book"));
    }
}

#[tokio::test]
async fn corrects_a_customer_once() {
    let lab = TestLab::new().await;
    let ada = given_customer(&lab).await;
    let path = format!("/customers/{}/details", ada.id);
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#line1", "value"), ["12 Ropewalk"]);
    let key = page.attributes("input[name=key]", "value").remove(0);
    let typed = details(&key, "Ada Quill-Marsh");
    for _ in 0..2 {
        let answer = lab.post(&path, &borrow(&typed)).await;
        assert_eq!((answer.status.as_u16(), answer.location.clone()), (303, format!("/customers/{}", ada.id)));
    }
    let stale = lab.post(&path, &borrow(&details(&key, "Ada Other"))).await;
    assert!(stale.assert_status(422).text("#name-error").contains("another window"));
    let lab = lab.reopened().await;
    let kept = lab.store.get_customer(ada.id).await.unwrap().person;
    assert_eq!(
        (kept.name.as_str(), kept.line1.as_str(), kept.note.as_str()),
        ("Ada Quill-Marsh", "14 Ropewalk", "Rings twice")
    );
    assert_eq!(lab.store.count_customer_changes(ada.id).await.unwrap(), 1);
}

/// Two windows correct one customer: each saves what was changed in it, and a field that both changed shows both values.
#[tokio::test]
async fn two_windows_save_only_what_was_changed_in_each() {
    let lab = TestLab::new().await;
    let ada = given_customer(&lab).await;
    let path = format!("/customers/{}/details", ada.id);
    let opened = crate::addresses::fields_of(&lab.get(&path).await, &path);
    let with = |changes: &[(&str, &str)]| -> Vec<(String, String)> {
        let change = |name: &str| changes.iter().find(|(changed, _)| *changed == name).map(|(_, value)| *value);
        opened.iter().map(|(name, value)| (name.clone(), change(name).unwrap_or(value).to_owned())).collect()
    };
    let lend = |fields: &[(String, String)]| -> Vec<(String, String)> { fields.to_vec() };
    let send = async |fields: Vec<(String, String)>| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        lab.post_as_is(&path, &fields).await
    };
    send(with(&[("line1", "14 Ropewalk"), ("city", "Oxmere")])).await.assert_status(303);
    // The second window was opened before and changes only the telephone.
    send(with(&[("phone", "555-0177")])).await.assert_status(303);
    let kept = lab.store.get_customer(ada.id).await.unwrap().person;
    assert_eq!(
        (kept.line1.as_str(), kept.city.as_str(), kept.phone.as_str()),
        ("14 Ropewalk", "Oxmere", "555-0177"),
        "the address of the other window stays"
    );
    // Both changed the street.
    let asked = send(with(&[("line1", "3 Quay")])).await;
    let says = asked.assert_status(422).text("#line1-error");
    assert!(says.contains("another window to “14 Ropewalk”"), "{says}");
    assert_eq!(asked.attributes("#line1, #city, #phone", "value"), ["3 Quay", "Oxmere", "555-0177"]);
    assert_eq!(lab.store.get_customer(ada.id).await.unwrap().person.line1, "14 Ropewalk");
    // Saved again it is meant so.
    send(lend(&crate::addresses::fields_of(&asked, &path))).await.assert_status(303);
    assert_eq!(lab.store.get_customer(ada.id).await.unwrap().person.line1, "3 Quay");
}

#[tokio::test]
async fn a_bad_field_has_its_sentence_and_a_reload_keeps_the_typing() {
    let lab = TestLab::new().await;
    let ada = given_customer(&lab).await;
    let path = format!("/customers/{}/details", ada.id);
    let key = lab.get(&path).await.attributes("form[data-draft]", "data-draft").remove(0);
    let refused = lab.post(&path, &borrow(&details(&key, ""))).await;
    refused.assert_status(422);
    assert_eq!(refused.text("#name-error"), "A name is needed");
    assert_eq!(refused.attributes("#line1", "value"), ["14 Ropewalk"]);
    let mut long = details(&key, "Ada");
    let letters = "x".repeat(121);
    for (name, said) in [
        ("line1", "An address line is too long: at most 120 characters"),
        ("city", "A city is too long: at most 80 characters"),
        ("region", "A state is too long: at most 40 characters"),
        ("postcode", "A ZIP code is too long: at most 20 characters"),
        ("phone", "A telephone number is too long: at most 60 characters"),
        ("email", "An e-mail address is too long: at most 120 characters"),
    ] {
        let field = long.iter_mut().find(|(n, _)| *n == name).unwrap();
        let before = std::mem::replace(&mut field.1, letters.clone());
        let refused = lab.post(&path, &borrow(&long)).await;
        assert_eq!(refused.assert_status(422).texts(".error"), [said]);
        long.iter_mut().find(|(n, _)| *n == name).unwrap().1 = before;
    }
    lab.post(&format!("/drafts/{key}"), &borrow(&details(&key, "Ada Half-typed"))).await.assert_status(204);
    assert_eq!(lab.get(&path).await.attributes("#name", "value"), ["Ada Half-typed"]);
    assert_eq!(lab.store.get_customer(ada.id).await.unwrap().person.name, "Ada Quill");
    lab.post_as_is(&path, &[("name", "No key")]).await.assert_status(400);
}

#[tokio::test]
async fn suggests_with_what_tells_namesakes_apart() {
    let lab = TestLab::new().await;
    let ada = given_customer(&lab).await;
    let key = lab.get(&format!("/customers/{}/details", ada.id)).await.attributes("input[name=key]", "value").remove(0);
    let hard = r#"Ada "O'Quill" <script>"#;
    lab.post(&format!("/customers/{}/details", ada.id), &borrow(&details(&key, hard))).await.assert_status(303);
    let answer = lab.post_as_is("/suggest/customers", &[("q", "ada")]).await;
    assert!(!answer.body.contains("<script>"), "{}", answer.body);
    let fragment = Html::parse_fragment(&answer.body);
    let button = fragment.select(&Selector::parse("button[data-fill]").unwrap()).next().unwrap();
    let fill: serde_json::Value = serde_json::from_str(button.value().attr("data-fill").unwrap()).unwrap();
    assert_eq!(fill["customer_id"], ada.id.to_string());
    assert_eq!(fill["customer_name"], hard);
    assert_eq!(answer.text("button small"), "14 Ropewalk · Pellmarsh · 555-0143");
    assert_eq!(lab.post_as_is("/suggest/customers", &[("q", "")]).await.texts("button").len(), 0);
    assert_eq!(
        lab.post_as_is("/suggest/customers", &[("q", "%")]).await.texts("button").len(),
        0,
        "% is a letter, not a pattern"
    );
}

#[tokio::test]
async fn another_site_corrects_nobody() {
    let lab = TestLab::new().await;
    let ada = given_customer(&lab).await;
    let request = Request::post(format!("/customers/{}/details", ada.id))
        .header("host", "localhost")
        .header("sec-fetch-site", "cross-site")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(encode(&[("name", "Mallory")])))
        .unwrap();
    lab.send(request).await.assert_status(403);
    assert_eq!(lab.store.get_customer(ada.id).await.unwrap().person.name, "Ada Quill");
}
