//! The lens drawer.

use axum::body::Body;
use axum::http::Request;

use crate::support::{TestLab, encode};

async fn material(lab: &TestLab, name: &str) -> String {
    let materials = lab.store.list_materials().await.unwrap();
    materials.iter().find(|m| m.details.name == name).unwrap().id.to_string()
}

async fn typed(lab: &TestLab) -> Vec<(String, String)> {
    let key = lab.get("/stock/new").await.attributes("input[name=key]", "value").remove(0);
    [
        ("key", key.as_str()),
        ("material", &material(lab, "1.60").await),
        ("sphere", "-225"),
        ("cylinder", "-.50"),
        ("diameter", "70"),
        ("center", "1.5"),
        ("front_power", "3.40"),
        ("count", "2"),
    ]
    .map(|(n, v)| (n.to_owned(), v.to_owned()))
    .into()
}

fn with<'a>(fields: &'a [(String, String)], field: &str, value: &'a str) -> Vec<(&'a str, &'a str)> {
    fields.iter().map(|(n, v)| (n.as_str(), if n == field { value } else { v.as_str() })).collect()
}

#[tokio::test]
async fn puts_lenses_in_once_and_marks_what_runs_low() {
    let lab = TestLab::new().await;
    assert!(lab.get("/stock").await.text(".empty").contains("The drawer is empty"));
    let form = typed(&lab).await;
    for _ in 0..2 {
        let answer = lab.post("/stock/new", &with(&form, "", "")).await;
        answer.assert_status(303);
        assert!(answer.location.starts_with("/stock#material-"), "{}", answer.location);
    }
    let lab = lab.reopened().await;
    let page = lab.get("/stock").await;
    assert_eq!(page.texts("section h2"), ["1.60"]);
    assert_eq!(page.texts("tbody th"), ["-2.25 -0.50"]);
    assert_eq!(page.texts("tbody td.n"), ["70", "1.50", "+3.40", "2"]);
    assert!(page.texts(".mark").is_empty(), "two make a pair");
    // A second envelope of the same kind joins the first.
    lab.post("/stock/new", &with(&typed(&lab).await, "count", "3")).await.assert_status(303);
    let page = lab.get("/stock").await;
    assert_eq!(page.texts("tbody td.n"), ["70", "1.50", "+3.40", "5"]);
    assert!(page.texts(".mark").is_empty());
    assert!(page.text(".title").contains("5 lenses of 1 kind"));
}

#[tokio::test]
async fn another_lens_after_the_back_button_is_put_in_too() {
    let lab = TestLab::new().await;
    let form = typed(&lab).await;
    lab.post("/stock/new", &with(&form, "", "")).await.assert_status(303);
    // The page that Back shows has the old key.
    lab.post("/stock/new", &with(&form, "diameter", "65")).await.assert_status(303);
    assert!(lab.get("/stock").await.text(".title").contains("4 lenses of 2 kinds"));
}

#[tokio::test]
async fn each_bad_field_has_its_sentence() {
    let lab = TestLab::new().await;
    let form = typed(&lab).await;
    for (field, value, said) in [
        ("material", "", "Choose a material"),
        ("sphere", "", "A sphere is needed, such as -2.25 or pl"),
        ("sphere", "-2.25 -0.50 x 90", "A sphere is one number, not “-2.25 -0.50 x 90”"),
        (
            "cylinder",
            "+0.50",
            "That is the plus form. In minus-cylinder form this lens is -1.75 -0.50: enter it that way",
        ),
        ("diameter", "39.99", "A diameter of 39.99 mm is not possible: between 40 and 90 was expected"),
        ("center", "0.4", "A center thickness of 0.40 mm is not possible: between 0.5 and 20 was expected"),
        ("front_power", "-1", "A front of -1.00 D is not possible: between 0 and +20 was expected"),
        ("count", "0", "The quantity is a whole number from 1 to 500, not “0”"),
        ("count", "two", "The quantity is a whole number from 1 to 500, not “two”"),
    ] {
        let answer = lab.post("/stock/new", &with(&form, field, value)).await;
        answer.assert_status(422);
        assert_eq!(answer.texts(".error"), [said], "{field} {value}");
    }
    let unsigned = lab.post("/stock/new", &with(&form, "sphere", "2.25")).await;
    assert!(unsigned.assert_status(422).text("#sphere-error").contains("sign"), "a missing sign is never guessed");
    assert!(lab.store.list_drawer().await.unwrap().is_empty());
    let key = &form[0].1;
    lab.post(&format!("/drafts/{key}"), &with(&form, "center", "1.7")).await.assert_status(204);
    assert_eq!(lab.get("/stock/new").await.attributes("#center", "value"), ["1.7"]);
}

#[tokio::test]
async fn corrects_the_count_once_a_click() {
    let lab = TestLab::new().await;
    lab.post("/stock/new", &with(&typed(&lab).await, "", "")).await.assert_status(303);
    let lens = lab.store.list_drawer().await.unwrap().remove(0);
    let path = format!("/stock/{}/count", lens.id);
    let key = lab.get("/stock").await.attributes("tbody input[name=key]", "value").remove(0);
    for _ in 0..2 {
        let answer = lab.post(&path, &[("key", &key), ("change", "1")]).await;
        assert_eq!(answer.location, format!("/stock#lens-{}", lens.id.0.simple()));
    }
    assert_eq!(lab.store.list_drawer().await.unwrap()[0].count, 3, "a double click adds one");
    let page = lab.get(&path).await;
    let key = page.attributes("input[name=key]", "value").remove(0);
    assert_eq!(page.text(".figure.key .num"), "3");
    let refused = lab.post(&path, &[("key", &key), ("change", "-4")]).await;
    assert_eq!(refused.assert_status(422).text("#change-error"), "Only 3 in the drawer: 4 cannot be removed");
    for bad in ["", "0", "some", "501", "-9223372036854775808"] {
        let refused = lab.post(&path, &[("key", &key), ("change", bad)]).await;
        assert!(
            refused.assert_status(422).text("#change-error").starts_with("Write how many were added or removed"),
            "{bad}"
        );
    }
    lab.post(&path, &[("key", &key), ("change", "−2")]).await.assert_status(303);
    let page = lab.get("/stock").await;
    assert_eq!(page.texts(".mark"), ["Last one"]);
    let key = page.attributes("tbody input[name=key]", "value").remove(0);
    lab.post(&path, &[("key", &key), ("change", "-1")]).await.assert_status(303);
    let lab = lab.reopened().await;
    assert_eq!(lab.store.list_drawer().await.unwrap()[0].count, 0);
    assert_eq!(lab.get("/stock").await.texts(".mark"), ["None left"]);
    lab.get("/stock/none/count").await.assert_status(404);
}

#[tokio::test]
async fn another_site_moves_no_lens() {
    let lab = TestLab::new().await;
    let form = typed(&lab).await;
    let request = Request::post("/stock/new")
        .header("host", "localhost")
        .header("sec-fetch-site", "cross-site")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(Body::from(encode(&with(&form, "", ""))))
        .unwrap();
    lab.send(request).await.assert_status(403);
    assert!(lab.store.list_drawer().await.unwrap().is_empty());
}

#[tokio::test]
async fn several_rows_and_a_pasted_list_are_put_in_together() {
    let lab = TestLab::new().await;
    let mut form = typed(&lab).await;
    let coating = lab.store.list_treatments().await.unwrap().remove(0);
    for (name, value) in [
        ("coating", coating.id.to_string().as_str()),
        ("supplier", "Brightwater Optical"),
        ("source", "lot 12"),
        ("reorder_at", "1"),
        ("sphere_2", "-3.00"),
        ("diameter_2", "65"),
        ("base_2", "4"),
        ("count_2", "3"),
        ("count_3", "2"),
        ("list", "+1.00 sph 65 base 6 x 4\nnonsense"),
    ] {
        form.push((name.to_owned(), value.to_owned()));
    }
    let refused = lab.post("/stock/new", &with(&form, "", "")).await;
    assert!(refused.assert_status(422).text("#list-faults").starts_with("Line 2: "), "{}", refused.body);
    assert_eq!(refused.attributes("#sphere_2", "value"), ["-3.00"]);
    assert!(refused.text("#list").contains("nonsense"), "nothing typed is lost");
    assert!(lab.store.list_drawer().await.unwrap().is_empty());
    lab.post("/stock/new", &with(&form, "list", "+1.00 sph 65 base 6 x 4")).await.assert_status(303);
    let drawer = lab.store.list_drawer().await.unwrap();
    let rows: Vec<_> = drawer.iter().map(|lens| (lens.details.power_words(), lens.count, lens.reorder_at)).collect();
    let row = |power: &str, count| (power.to_owned(), count, Some(1));
    assert_eq!(rows, [row("+1.00 sph", 4), row("-2.25 -0.50", 2), row("-3.00 sph", 3)]);
    for lens in &drawer {
        assert_eq!(lens.details.coating, Some(coating.id));
        assert_eq!(lens.supplier.as_ref().unwrap().name, "Brightwater Optical");
        assert_eq!(lens.source, "lot 12");
    }
    let no_front = with(&form, "base_2", "");
    let no_front: Vec<_> = no_front.into_iter().filter(|(name, _)| *name != "list").collect();
    assert!(lab.post("/stock/new", &no_front).await.assert_status(422).text("#base_2-error").contains("base curve"));
}

#[tokio::test]
async fn a_kind_at_its_reorder_point_is_bought_and_counted_in_when_it_comes() {
    let lab = TestLab::new().await;
    lab.post("/stock/new", &with(&typed(&lab).await, "", "")).await.assert_status(303);
    let lens = lab.store.list_drawer().await.unwrap().remove(0);
    let path = format!("/stock/{}/reorder", lens.id);
    let key = format!("reorder-{}", lens.id.0.simple());
    for bad in ["-1", "many", "501"] {
        let refused = lab.post_as_is(&path, &[("key", &key), ("reorder_at", bad), ("supplier", "")]).await;
        assert!(refused.assert_status(422).text("#reorder_at-error").contains("whole number"), "{bad}");
    }
    assert!(lab.get("/buying").await.texts("form[action='/buying']").is_empty());
    let set = [("key", key.as_str()), ("reorder_at", "2"), ("supplier", "Tidemark Lens Supply")];
    lab.post_as_is(&path, &set).await.assert_status(303);
    assert_eq!(lab.get("/stock").await.texts(".mark"), ["Reorder"]);
    let page = lab.get("/buying").await;
    assert!(page.text("form[action='/buying'] h2").contains("Tidemark Lens Supply"));
    let order = crate::buying::order_of(&lab).await;
    lab.post("/buying", &order).await.assert_status(303);
    assert!(lab.get("/buying").await.texts("form[action='/buying']").is_empty(), "two are on their way");
    let seq = lab.store.list_open_purchase_lines().await.unwrap()[0].seq;
    let (kind, count, source) = (format!("kind-{seq}"), format!("count-{seq}"), format!("source-{seq}"));
    let too_many = [(kind.as_str(), "arrived"), (&count, "3"), (&source, "lot 5")];
    let refused = lab.post("/purchases/101", &too_many).await;
    assert!(refused.assert_status(422).text(&format!("#{count}-error")).contains("from 1 to 2"));
    for _ in 0..2 {
        lab.post("/purchases/101", &[(kind.as_str(), "arrived"), (&count, "1"), (&source, "lot 5")])
            .await
            .assert_status(303);
    }
    let lens = lab.store.list_drawer().await.unwrap().remove(0);
    assert_eq!((lens.count, lens.source.as_str()), (4, "lot 5"));
    assert!(lab.store.list_open_purchase_lines().await.unwrap().is_empty());
}
