//! The lab's own page, its materials, coatings and tints.

use crate::support::{Answer, TestLab};
use axum::body::Body;
use axum::http::Request;

/// The fields of a page's form as a browser would send them, some changed.
pub fn fields(page: &Answer, changes: &[(&str, &str)]) -> Vec<(String, String)> {
    let mut all = Vec::new();
    let html = scraper::Html::parse_document(&page.body);
    let select = |s: &str| scraper::Selector::parse(s).unwrap();
    let form = html.select(&select("main form")).next().unwrap();
    for input in form.select(&select("input")) {
        let kind = input.value().attr("type").unwrap_or("text");
        if ["radio", "checkbox"].contains(&kind) && input.value().attr("checked").is_none() {
            continue;
        }
        if let Some(name) = input.value().attr("name") {
            all.push((name.to_owned(), input.value().attr("value").unwrap_or("").to_owned()));
        }
    }
    for area in form.select(&select("textarea")) {
        let text = area.text().collect::<String>();
        all.push((area.value().attr("name").unwrap().to_owned(), text));
    }
    for chosen in form.select(&select("select")) {
        let value = chosen.select(&select("option[selected]")).next().and_then(|o| o.value().attr("value"));
        all.push((chosen.value().attr("name").unwrap().to_owned(), value.unwrap_or("").to_owned()));
    }
    for (name, value) in changes {
        match all.iter_mut().find(|(n, _)| n == name) {
            Some(field) => field.1 = (*value).to_owned(),
            None => panic!("the form has no field {name}"),
        }
    }
    all
}

pub async fn send(lab: &TestLab, path: &str, fields: &[(String, String)]) -> Answer {
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    lab.post(path, &fields).await
}

async fn line_of(lab: &TestLab, name: &str) -> String {
    let materials = lab.store.list_materials().await.unwrap();
    format!("/lab/materials/{}", materials.iter().find(|m| m.details.name == name).unwrap().id)
}

#[tokio::test]
async fn shows_the_lab_with_its_defaults_and_cautions() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab").await;
    page.assert_status(200);
    assert_eq!(page.attributes("#name", "value"), ["Saltmarsh Lens Post"]);
    assert_eq!(page.attributes("#blocker_step option[selected]", "value"), ["0.50"]);
    assert_eq!(page.attributes("#blank_margin", "value"), ["2.00"]);
    assert_eq!(page.attributes("#tolerance option[selected]", "value"), ["z80_1"]);
    assert_eq!(page.attributes("#lead_days", "value"), ["10"]);
    assert_eq!(page.texts("#materials tbody tr").len(), 6);
    assert_eq!(page.texts("#treatments tbody tr").len(), 7);
    assert!(
        page.body.contains("the standard&#39;s text governs") || page.body.contains("the standard&#x27;s text governs")
    );
    assert!(page.text("main").contains("State law may require a licensed dispenser"));
    assert_eq!(page.attributes("[data-one-key]", "type"), ["checkbox"]);
}

#[tokio::test]
async fn saves_the_lab_once_and_shows_it_on_every_page() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab").await;
    let typed = fields(
        &page,
        &[("name", "Saltmarsh & Daughter"), ("blocker_step", "0.10"), ("lead_days", "12"), ("shipping", "8.50")],
    );
    for _ in 0..2 {
        let answer = send(&lab, "/lab", &typed).await;
        assert_eq!((answer.status.as_u16(), answer.location.as_str()), (303, "/lab?saved=yes"));
    }
    assert_eq!(lab.get("/customers").await.text(".top-name"), "Saltmarsh & Daughter");
    let lab = lab.reopened().await;
    let kept = lab.store.find_lab().await.unwrap().unwrap();
    assert_eq!((kept.name.as_str(), kept.blocker_step.hundredths(), kept.lead_days), ("Saltmarsh & Daughter", 10, 12));
    assert_eq!((kept.shipping.cents(), kept.tax_id.as_str()), (850, "00-0001234"));
    assert_eq!(lab.store.count_lab_changes().await.unwrap(), 1);
}

#[tokio::test]
async fn a_form_from_an_older_window_does_not_undo_a_newer_one() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab").await;
    send(&lab, "/lab", &fields(&page, &[("phone", "555-0111")])).await.assert_status(303);
    let answer = send(&lab, "/lab", &fields(&page, &[("phone", "555-0122")])).await;
    answer.assert_status(422);
    assert!(answer.text("#phone-error").contains("another window to “555-0111”"), "{}", answer.text("#phone-error"));
    assert_eq!(answer.attributes("#phone", "value"), ["555-0122"]);
    assert_eq!(lab.store.find_lab().await.unwrap().unwrap().phone, "555-0111");
    send(&lab, "/lab", &fields(&answer, &[])).await.assert_status(303);
    assert_eq!(lab.store.find_lab().await.unwrap().unwrap().phone, "555-0122");
}

#[tokio::test]
async fn each_bad_field_has_its_sentence() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab").await;
    for (field, typed, said) in [
        ("name", "", "The lab's name is needed"),
        ("address", "  ", "An address is needed"),
        ("blocker_step", "0.25", "Choose 1, 0.5 or 0.1 mm"),
        ("blank_margin", "11", "A margin of 11.00 mm is not possible: between 0 and 10 was expected"),
        ("tight_corner", "-1", "The radius of a corner of -1.00 mm is not possible: between 0 and 20 was expected"),
        ("wheel_radius", "4", "The radius of a wheel of 4.00 mm is not possible: between 5 and 200 was expected"),
        ("tolerance", "mine", "Choose a table"),
        ("code_basis", "", "Choose a form"),
        ("lead_days", "0", "A lead time is a number between 1 and 120, not “0”"),
        ("lead_days", "ten", "A lead time is a number between 1 and 120, not “ten”"),
        ("shipping", "-1", "A price is between $0.00 and $10,000.00"),
        ("shipping", "7,5", "“7,5” is not an amount: write it like 89 or 89.50"),
    ] {
        let answer = send(&lab, "/lab", &fields(&page, &[(field, typed), ("phone", "555-0199")])).await;
        answer.assert_status(422);
        assert_eq!(answer.texts(&format!("#{field}-error")), [said], "{field} {typed}");
        assert_eq!(answer.attributes("#phone", "value"), ["555-0199"], "typing is kept");
    }
    assert_eq!(lab.store.count_lab_changes().await.unwrap(), 0);
}

#[tokio::test]
async fn warns_of_a_long_lead_time_and_keeps_a_draft() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab").await;
    assert!(page.texts(".warn").is_empty());
    let key = page.attributes("form[data-draft]", "data-draft").remove(0);
    let typed = fields(&page, &[("lead_days", "23")]);
    send(&lab, &format!("/drafts/{key}"), &typed).await.assert_status(204);
    let again = lab.get("/lab").await;
    assert_eq!(again.attributes("#lead_days", "value"), ["23"]);
    assert!(
        again.text(".warn").contains("16 CFR Part 435"),
        "23 working days from a Wednesday are 33 days, past the rule's 30"
    );
    send(&lab, "/lab", &typed).await.assert_status(303);
    let typed = fields(&lab.get("/lab").await, &[("lead_days", "22")]);
    send(&lab, "/lab", &typed).await.assert_status(303);
    let page = lab.get("/lab").await;
    assert_eq!(page.attributes("#lead_days", "value"), ["22"], "no old draft comes back");
    assert!(page.texts(".warn").is_empty());
}

#[tokio::test]
async fn an_edited_material_is_a_new_version_and_old_jobs_keep_theirs() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let path = line_of(&lab, "Polycarbonate 1.59").await;
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#index", "value"), ["1.586"]);
    let typed = fields(&page, &[("price", "51.25"), ("name", "Polycarbonate"), ("code", "v2784"), ("abbe", "30.5")]);
    for _ in 0..2 {
        let answer = send(&lab, &path, &typed).await;
        assert_eq!((answer.status.as_u16(), answer.location.as_str()), (303, "/lab#materials"));
    }
    let lab = lab.reopened().await;
    let materials = lab.store.list_materials().await.unwrap();
    assert_eq!(materials.len(), 6, "replaced, not added");
    assert_eq!(materials[2].details.name, "Polycarbonate", "in the same place of the list");
    assert_eq!((materials[2].details.price.cents(), materials[2].details.abbe_tenths), (5125, 305));
    assert_eq!(lab.store.count_materials().await.unwrap(), 7, "one new version, though sent twice");
    assert_eq!(lab.store.get_job(job).await.unwrap().material.details.name, "Polycarbonate 1.59");
}

#[tokio::test]
async fn each_bad_field_of_a_material_has_its_sentence() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab/materials/new").await;
    let good = [("name", "Trial 1.56"), ("index", "1.56"), ("abbe", "38"), ("density", "1.28"), ("price", "40")];
    for (field, typed, said) in [
        ("name", "", "A name is needed"),
        ("index", "15.6", "A refractive index is a number between 1.400 and 2.000, not “15.6”"),
        ("abbe", "9", "An Abbe number is a number between 10.0 and 100.0, not “9”"),
        ("density", "", "A density in g/cm³ is a number between 0.50 and 6.00, not “”"),
        ("center", "0.4", "A center thickness in mm is a number between 0.50 and 10.00, not “0.4”"),
        ("cutting", "laser", "Choose how it is cut"),
        ("code", "2784", "“2784” is not a procedure code: one letter and four digits, such as V2784, or nothing"),
        ("price", "free", "“free” is not an amount: write it like 89 or 89.50"),
    ] {
        let mut typing = good.to_vec();
        typing.retain(|(name, _)| *name != field);
        typing.push((field, typed));
        let answer = send(&lab, "/lab/materials/new", &fields(&page, &typing)).await;
        answer.assert_status(422);
        assert_eq!(answer.texts(".error"), [said], "{field} {typed}");
    }
    assert_eq!(lab.store.count_materials().await.unwrap(), 6);
    let typed = fields(&page, &good);
    for _ in 0..2 {
        send(&lab, "/lab/materials/new", &typed).await.assert_status(303);
    }
    let materials = lab.store.list_materials().await.unwrap();
    assert_eq!(materials.len(), 7, "added once");
    assert_eq!(materials[6].details.index_thousandths, 1560);
}

#[tokio::test]
async fn takes_materials_off_sale_but_for_the_last() {
    let lab = TestLab::new().await;
    let lines: Vec<String> =
        lab.store.list_materials().await.unwrap().iter().map(|m| format!("/lab/materials/{}", m.id)).collect();
    let key = lab.get(&lines[0]).await.attributes("input[name=key]", "value").remove(0);
    for line in &lines[..5] {
        assert_eq!(lab.post(&format!("{line}/retirement"), &[]).await.location, "/lab#materials");
    }
    lab.post(&format!("{}/retirement", lines[0]), &[("key", &key)]).await.assert_status(303);
    let last = lab.post(&format!("{}/retirement", lines[5]), &[]).await;
    last.assert_status(409);
    assert!(last.text(".notice").contains("the only material offered"));
    lab.get(&lines[0]).await.assert_status(404);
    assert_eq!(lab.reopened().await.store.list_materials().await.unwrap().len(), 1);
}

#[tokio::test]
async fn changes_adds_and_retires_coatings_and_tints() {
    let lab = TestLab::new().await;
    let found = lab.store.list_treatments().await.unwrap();
    let gray = found.iter().find(|t| t.details.name == "Gray 80%").unwrap();
    let path = format!("/lab/treatments/{}", gray.id);
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("input[name=kind][checked]", "value"), ["tint"]);
    let refused = send(&lab, &path, &fields(&page, &[("price", "")])).await;
    refused.assert_status(422);
    assert!(refused.text("#price-error").contains("is not an amount"));
    let typed = fields(&page, &[("name", "Gray 85%"), ("price", "16")]);
    for _ in 0..2 {
        send(&lab, &path, &typed).await.assert_status(303);
    }
    let page = lab.get("/lab/treatments/new").await;
    let typed = fields(&page, &[("name", "Blue-violet filter"), ("price", "12.5")]);
    for _ in 0..2 {
        send(&lab, "/lab/treatments/new", &typed).await.assert_status(303);
    }
    let lab = lab.reopened().await;
    let found = lab.store.list_treatments().await.unwrap();
    assert_eq!(found.len(), 8);
    assert!(found.iter().any(|t| t.details.name == "Gray 85%" && t.id == gray.id && t.details.price.cents() == 1600));
    assert!(found.iter().any(|t| t.details.name == "Blue-violet filter" && t.details.price.cents() == 1250));
    lab.post(&format!("{path}/retirement"), &[]).await.assert_status(303);
    assert_eq!(lab.store.list_treatments().await.unwrap().len(), 7);
    lab.get(&path).await.assert_status(404);
    lab.get("/lab/treatments/none").await.assert_status(404);
}

#[tokio::test]
async fn another_site_changes_nothing_of_the_lab() {
    let lab = TestLab::new().await;
    for path in ["/lab".to_owned(), line_of(&lab, "1.60").await, format!("{}/retirement", line_of(&lab, "1.60").await)]
    {
        let request = Request::post(&path)
            .header("host", "localhost")
            .header("sec-fetch-site", "cross-site")
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from("name=x"))
            .unwrap();
        lab.send(request).await.assert_status(403);
    }
    assert_eq!(lab.store.list_materials().await.unwrap().len(), 6);
}

/// The tolerance that one window sets is not set back by another one that changes the lead time.
#[tokio::test]
async fn an_older_window_leaves_alone_what_it_did_not_change() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab").await;
    let first = [("center_across", "0.75"), ("tolerance", "iso_21987")];
    send(&lab, "/lab", &fields(&page, &first)).await.assert_status(303);
    send(&lab, "/lab", &fields(&page, &[("lead_days", "8")])).await.assert_status(303);
    let kept = lab.store.find_lab().await.unwrap().unwrap();
    assert_eq!((kept.center_across.map(|mm| mm.hundredths()), kept.tolerance.key()), (Some(75), "iso_21987"));
    assert_eq!(kept.lead_days, 8);
}
