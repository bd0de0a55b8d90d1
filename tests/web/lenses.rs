//! Taking lenses in hand and cutting them.

use axum::body::Body;
use axum::http::{Request, header};
use rimbook::desk::job::{EventKind, Stage};
use rimbook::desk::stock::DrawerLensDetails;
use rimbook::optics::Eye;

use crate::shapes::keep_ellipse;
use crate::support::{Answer, NOW, TestLab, encode};

/// Puts lenses into the drawer: material by name, sphere, cylinder, diameter, how many.
async fn stock(lab: &TestLab, material: &str, sphere: &str, cylinder: &str, diameter: &str, count: i64) -> String {
    let material = lab.store.list_materials().await.unwrap().into_iter().find(|m| m.details.name == material).unwrap();
    let details = DrawerLensDetails {
        material: material.id,
        sphere: sphere.parse().unwrap(),
        cylinder: cylinder.parse().unwrap(),
        diameter: diameter.parse().unwrap(),
        center: Some("1.5".parse().unwrap()),
        front_power: Some("4.25".parse().unwrap()),
        base: None,
        coating: None,
        second_coating: None,
        tint: None,
    };
    let key = format!("stock-new-{}", uuid::Uuid::now_v7());
    lab.store.stock_lens(&key, &details, count, NOW).await.unwrap();
    let drawer = lab.store.list_drawer().await.unwrap();
    drawer.into_iter().find(|lens| lens.details == details).unwrap().id.to_string()
}

async fn stage_of(lab: &TestLab, job: i64) -> Stage {
    lab.store.get_job(job).await.unwrap().stage()
}

fn key_of(page: &Answer) -> String {
    page.attributes("form[data-draft]", "data-draft").remove(0)
}

const BOUGHT: [(&str, &str); 6] = [
    ("lens_right", "bought"),
    ("diameter_right", "70"),
    ("source_right", "Brightwater Optical, lot 7"),
    ("lens_left", "bought"),
    ("diameter_left", "65"),
    ("in_left", "-1.5"),
];

#[tokio::test]
async fn the_drawer_offers_what_fits_and_says_what_does_not() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let poly = "Polycarbonate 1.59";
    let fits = stock(&lab, poly, "-2.25", "-1.25", "65", 2).await;
    let small = stock(&lab, poly, "-2.25", "-1.25", "55", 1).await;
    stock(&lab, poly, "-2.50", "-1.25", "70", 1).await;
    stock(&lab, "Hard resin 1.50", "-2.25", "-1.25", "70", 1).await;
    let path = format!("/jobs/{job}/lenses");
    let page = lab.get(&path).await;
    // The ellipse 4 mm in: 58 exact, 60 with the margin; 65 leaves 32.5 - 29 = 3.50, 55 lacks 29 - 27.5 = 1.50.
    assert_eq!(
        page.assert_status(200).text(".eye-right .needs"),
        "Smallest blank 60.00 mm with the margin, 58.00 mm exact; 60.00 mm by the rule of thumb."
    );
    assert_eq!(page.text(".eye-right .to-order"), "Order 60 mm or larger.", "the lens in the drawer has no coating");
    let offered = page.texts(".eye-right .choice");
    assert!(offered[0].contains("65 mm") && offered[0].contains("Fits: 3.50 mm spare, temple side"), "{offered:?}");
    assert!(offered[1].contains("55 mm") && offered[1].contains("Too small: 1.50 mm short"), "{offered:?}");
    assert_eq!(page.attributes("#lens_right input[checked]", "value"), [fits.as_str()], "the smallest that fits");
    let nearly = page.text(".eye-right .nearly");
    assert!(nearly.contains("another power") && nearly.contains("another material"), "{nearly}");
    // The left eye's power is not there.
    assert!(page.text(".eye-left").contains("no lens of this material and power"));

    // A blank that does not fit needs a tick.
    let fields = [("lens_right", small.as_str())];
    let page = lab.post(&path, &fields).await;
    assert!(page.assert_status(422).text("#lens_right-error").contains("too small for the shape: tick"));
    assert_eq!(page.attributes("#lens_right input[checked]", "value"), [small.as_str()], "the choice is kept");
    assert_eq!(lab.count("lens_in_hand", job).await, 0);
    lab.post(&path, &[("lens_right", &small), ("anyway_right", "yes")]).await.assert_status(303);

    // Another one instead; the drawer counts down and the job knows it.
    let key = key_of(&lab.get(&path).await);
    for _ in 0..2 {
        let sent = lab.post(&path, &[("key", &key), ("lens_right", &fits), ("old_right", "drawer")]).await;
        assert_eq!(sent.assert_status(303).location, path);
    }
    let lab = lab.reopened().await;
    let left = |id: &str, drawer: &[rimbook::desk::stock::DrawerLens]| {
        drawer.iter().find(|lens| lens.id.to_string() == id).unwrap().count
    };
    let drawer = lab.store.list_drawer().await.unwrap();
    assert_eq!((left(&fits, &drawer), left(&small, &drawer)), (1, 1), "the small one is back");
    let page = lab.get(&path).await;
    let said = page.text(".eye-right .in-hand");
    assert!(said.contains("65 mm, center 1.50 mm, front +4.25 D, from the drawer"), "{said}");
    assert!(said.contains("Fits 3.50 mm spare"), "{said}");
    assert_eq!(stage_of(&lab, job).await, Stage::ShapeOnFile, "one eye is not a pair");
}

#[tokio::test]
async fn bought_lenses_with_a_center_off_the_middle() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let path = format!("/jobs/{job}/lenses");
    assert_eq!(lab.post(&path, &BOUGHT).await.assert_status(303).location, format!("/jobs/{job}/layout"));
    let lab = lab.reopened().await;
    assert_eq!(stage_of(&lab, job).await, Stage::LensesInHand);
    let lenses = lab.store.find_lenses(job).await.unwrap();
    assert_eq!(lenses.right.as_ref().unwrap().source, "Brightwater Optical, lot 7");
    let page = lab.get(&path).await;
    // The left marked center 1.5 out of the blank's middle, set 2 in: the middle is 3.5 in, so 32.5 - 28.5 = 4.00.
    let said = page.text(".eye-left .in-hand");
    assert!(said.contains("marked center 1.50 mm out") && said.contains("4.00 mm spare"), "{said}");
    assert!(page.text("a.primary").contains("lay out"));
    // The layout page draws it.
    let layout = lab.get(&format!("/jobs/{job}/layout")).await;
    assert_eq!(layout.attributes("svg circle.blank", "cx"), ["4.00", "-3.50"]);
    assert!(layout.texts(".eye-note")[1].contains("65 mm in hand: 4.00 mm spare"));
}

#[tokio::test]
async fn each_wrong_field_gets_a_sentence_and_keeps_what_was_typed() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let path = format!("/jobs/{job}/lenses");
    for (fields, field, sentence) in [
        (vec![("lens_right", ""), ("lens_left", "")], "lens_right", "at least one eye"),
        (vec![("lens_right", "bought")], "diameter_right", "A diameter is needed"),
        (vec![("lens_right", "bought"), ("diameter_right", "20")], "diameter_right", "between 40 and 90"),
        (vec![("lens_left", "bought"), ("diameter_left", "70"), ("center_left", "0.1")], "center_left", "between 0.5"),
        (vec![("lens_left", "bought"), ("diameter_left", "70"), ("front_left", "-3")], "front_left", "between 0 and"),
        (vec![("lens_left", "bought"), ("diameter_left", "70"), ("in_left", "30")], "in_left", "between -20 and 20"),
        (vec![("lens_left", "bought"), ("diameter_left", "70"), ("up_left", "x")], "up_left", "not a number"),
        (vec![("lens_left", "00000000-0000-0000-0000-000000000000")], "lens_left", "no longer in the drawer"),
    ] {
        let page = lab.post(&path, &fields).await;
        assert!(page.assert_status(422).text(&format!("#{field}-error")).contains(sentence), "{fields:?}");
        for (name, value) in fields.iter().filter(|(name, _)| !name.starts_with("lens")) {
            assert_eq!(page.attributes(&format!("#{name}"), "value"), [*value], "{fields:?}");
        }
    }
    assert_eq!(lab.count("lens_in_hand", job).await, 0);
}

#[tokio::test]
async fn one_lens_cannot_be_taken_for_both_eyes() {
    let lab = TestLab::new().await;
    let job = lab.given_job_to("-1.00 DS", "-1.00 DS").await;
    keep_ellipse(&lab, job).await;
    let id = stock(&lab, "Polycarbonate 1.59", "-1.00", "0", "70", 1).await;
    let path = format!("/jobs/{job}/lenses");
    let page = lab.post(&path, &[("lens_right", &id), ("lens_left", &id)]).await;
    assert!(page.assert_status(422).text("#lens_left-error").contains("Only one"));
    assert_eq!(lab.count("lens_in_hand", job).await, 0);
}

#[tokio::test]
async fn what_is_typed_survives_a_reload() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    for (path, fields, id) in [
        ("lenses", [("lens_left", "bought"), ("source_left", "lot 12")], "#source_left"),
        ("cut", [("size_right", "0.3"), ("note", "lot 12")], "#note"),
    ] {
        let path = format!("/jobs/{job}/{path}");
        if path.ends_with("cut") {
            keep_ellipse(&lab, job).await;
            lab.post(&format!("/jobs/{job}/lenses"), &BOUGHT).await.assert_status(303);
        }
        let key = key_of(&lab.get(&path).await);
        lab.post(&format!("/drafts/{key}"), &fields).await;
        assert_eq!(lab.get(&path).await.attributes(id, "value"), ["lot 12"], "{path}");
    }
}

#[tokio::test]
async fn a_later_job_on_the_shape_starts_from_the_last_cut() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    lab.post(&format!("/jobs/{job}/lenses"), &BOUGHT).await.assert_status(303);
    let path = format!("/jobs/{job}/cut");
    let page = lab.get(&path).await;
    assert!(page.texts("#last-cut").is_empty());
    assert_eq!(page.attributes("#size_right", "value"), ["0.00"]);
    // The 50 x 40 ellipse by Ramanujan's second approximation is 141.81 mm around.
    assert!(page.text(".facts").contains("circumference R 141.8"), "{}", page.text(".facts"));
    assert!(page.text(".facts").contains("box width A R 50.00, L 50.00 mm"), "{}", page.text(".facts"));
    let sizes = [("size_right", "-0.10"), ("size_left", "0.06"), ("note", "soft bridge")];
    lab.post(&path, &sizes).await.assert_status(303);

    let later = lab.given_relens(job).await;
    let page = lab.get(&format!("/jobs/{later}/cut")).await;
    let last = page.text("#last-cut b");
    assert!(
        last.contains("R 141.71 (-0.10), L 141.87 (+0.06) mm") && last.contains(&format!("for job {job}: soft bridge")),
        "{last}"
    );
    assert!(page.text(".facts").contains("on average -0.02 mm over 2 lenses"), "{}", page.text(".facts"));
    assert!(lab.get(&format!("/jobs/{later}/ticket")).await.text("article").contains(&last));
    lab.post(&format!("/jobs/{later}/lenses"), &BOUGHT).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{later}/cut")).await;
    assert_eq!(page.attributes("#size_right", "value"), ["-0.10"]);
    assert_eq!(page.attributes("#size_left", "value"), ["0.06"]);
}

#[tokio::test]
async fn a_cut_comes_after_the_lenses_and_is_booked_once() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let path = format!("/jobs/{job}/cut");
    assert!(lab.get(&path).await.assert_status(200).text(".empty").contains("trace the frame"));
    let page = lab.post(&path, &[("size_right", "0")]).await;
    assert!(page.assert_status(409).body.contains("has no shape yet: trace the frame first"));
    keep_ellipse(&lab, job).await;
    lab.post(&path, &[("size_right", "0")]).await.assert_status(409);
    lab.post(&format!("/jobs/{job}/lenses"), &BOUGHT).await.assert_status(303);

    let page = lab.get(&path).await;
    assert!(page.texts(".notice.caution").iter().any(|c| c.contains("eye protection")));
    assert!(page.text(".facts").contains("V bevel"), "a plastic rim");
    for (size, sentence) in [("2.5", "between -2 and 2"), ("big", "not a number")] {
        let page = lab.post(&path, &[("size_right", size), ("note", "tight rim")]).await;
        assert!(page.assert_status(422).text("#size_right-error").contains(sentence));
        assert_eq!(page.attributes("#note", "value"), ["tight rim"]);
    }
    let key = key_of(&lab.get(&path).await);
    for _ in 0..2 {
        let sent = lab.post(&path, &[("key", &key), ("size_right", "0.3"), ("note", "tight rim")]).await;
        assert_eq!(sent.assert_status(303).location, format!("/jobs/{job}/check"), "on to the next step");
    }
    let lab = lab.reopened().await;
    assert_eq!(stage_of(&lab, job).await, Stage::Cut);
    assert_eq!(lab.count("cut", job).await, 1);
    let page = lab.get(&path).await;
    assert!(page.text("section.slip li").contains("size R 0.30, L 0.00 mm; tight rim"));
    assert!(page.text("a.primary").contains("check the pair"));
    // A new lens is uncut, and the page says so beforehand.
    assert!(lab.get(&format!("/jobs/{job}/lenses")).await.text(".notice.caution").contains("cut and checked again"));
    let again = [("lens_left", "bought"), ("diameter_left", "70"), ("old_left", "cut")];
    lab.post(&format!("/jobs/{job}/lenses"), &again).await.assert_status(303);
    assert_eq!(stage_of(&lab, job).await, Stage::LensesInHand);
    let events = lab.store.get_job(job).await.unwrap().history.clone();
    assert_eq!(events.last().unwrap().kind, EventKind::LensLeft);
    assert_eq!(
        lab.store.find_lenses(job).await.unwrap().get(Eye::Left).as_ref().unwrap().diameter.to_string(),
        "70.00"
    );
}

/// One lens of a cut pair is spoiled. The other one is cut: it fits nothing else, and the pages say so.
#[tokio::test]
async fn a_lens_that_was_cut_goes_back_nowhere() {
    let lab = TestLab::new().await;
    let job = lab.given_cut_job().await;
    let spoiled = [("lens", "left"), ("cause", "lens")];
    lab.post(&format!("/jobs/{job}/spoilage"), &spoiled).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/lenses")).await;
    assert!(page.text(".eye-right .in-hand").contains("cut already"), "{}", page.text(".eye-right .in-hand"));
    let places = page.attributes("#old_right option", "value");
    assert!(places.contains(&"cut".to_owned()), "it can be spoiled: {places:?}");
    assert!(!places.iter().any(|place| ["drawer", "job"].contains(&place.as_str())), "{places:?}");
    let back = [("lens_right", "bought"), ("diameter_right", "70"), ("old_right", "drawer")];
    let refused = lab.post(&format!("/jobs/{job}/lenses"), &back).await;
    assert!(refused.assert_status(422).texts("#old_right-error").len() == 1);
    let new = [("lens_left", "bought"), ("diameter_left", "70")];
    lab.post(&format!("/jobs/{job}/lenses"), &new).await.assert_status(303);
    let cut = lab.get(&format!("/jobs/{job}/cut")).await;
    assert!(cut.text("main .stack .notice").contains("The right lens was cut before"), "{}", cut.text("main"));
}

/// What the drawer has is not to be bought.
#[tokio::test]
async fn a_lens_of_the_drawer_is_named_before_the_shop() {
    let lab = TestLab::new().await;
    let job = lab.given_job_to("-2.25 DS", "-2.50 DS").await;
    lab.given_shape_for(job).await;
    let coated = lab.store.get_job(job).await.unwrap();
    let (material, coating) = (coated.material.id, coated.coating.as_ref().map(|coating| coating.id));
    let lens = DrawerLensDetails {
        material,
        sphere: "-2.25".parse().unwrap(),
        cylinder: "0".parse().unwrap(),
        diameter: "75".parse().unwrap(),
        center: None,
        front_power: Some("4".parse().unwrap()),
        base: None,
        coating,
        second_coating: None,
        tint: None,
    };
    lab.store.stock_lens("one", &lens, 1, NOW).await.unwrap();
    let page = lab.get(&format!("/jobs/{job}/lenses")).await;
    assert_eq!(page.text(".eye-right .lens-way .mark"), "Needed: the drawer has one");
    assert!(page.attributes(".eye-right .lens-way a", "href").is_empty());
    assert_eq!(page.attributes(".eye-left .lens-way a", "href"), ["/buying"]);
}

/// The pages of advice stay beside the step they serve.
#[tokio::test]
async fn what_to_order_and_the_materials_stand_with_the_lenses() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    lab.given_shape_for(job).await;
    for (page, here) in [("blanks", "What to order"), ("materials", "Materials compared")] {
        let shown = lab.get(&format!("/jobs/{job}/{page}")).await;
        let steps = shown.texts("[aria-current]");
        assert!(steps.iter().any(|step| step.starts_with("Lenses")), "{page}: {steps:?}");
        assert!(steps.contains(&here.to_owned()), "{page}: {steps:?}");
    }
}

#[tokio::test]
async fn other_sites_and_unknown_jobs_are_refused() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    for page in ["lenses", "cut"] {
        let request = Request::post(format!("/jobs/{job}/{page}"))
            .header(header::HOST, "localhost")
            .header("sec-fetch-site", "cross-site")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(encode(&BOUGHT)))
            .unwrap();
        lab.send(request).await.assert_status(403);
        lab.get(&format!("/jobs/77/{page}")).await.assert_status(404);
    }
}
