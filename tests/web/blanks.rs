use rimbook::desk::stock::DrawerLensDetails;

use crate::support::{NOW, TestLab};

async fn job(lab: &TestLab, right: &str) -> i64 {
    let number = lab.given_job_to(right, "-4.00 DS").await;
    lab.given_shape_for(number).await;
    number
}

#[tokio::test]
async fn the_drawer_comes_first_with_the_exact_cut_out() {
    let lab = TestLab::new().await;
    let number = job(&lab, "-4.00 DS").await;
    let line = lab.store.get_job(number).await.unwrap().material.id;
    let lens = DrawerLensDetails {
        material: line,
        sphere: "-4".parse().unwrap(),
        cylinder: "0".parse().unwrap(),
        diameter: "65".parse().unwrap(),
        center: Some("1.5".parse().unwrap()),
        front_power: Some("4".parse().unwrap()),
        base: None,
        coating: None,
        second_coating: None,
        tint: None,
    };
    lab.store.stock_lens("given-drawer", &lens, 3, NOW).await.unwrap();
    let page = lab.get(&format!("/jobs/{number}/blanks")).await;
    page.assert_status(200);
    // Half of 52 and 4 in: the temple end is 30 from the pupil, so 60 exact and 62 with the margin.
    assert_eq!(page.text(".eye-right .needs"), "60.00 mm");
    let first = page.text(".eye-right tbody tr");
    assert!(first.starts_with("65 drawer, center 1.50 mm, front +4.00 D, 3 free"), "{first}");
    assert!(first.contains("Fits 2.50 spare, temple side, 9 o’clock"), "{first}");
    let rows = page.texts(".eye-right tbody tr").join(" | ");
    assert!(rows.contains("60 stock diameter Tight 0.00 spare") && rows.contains("Too small 2.50 short"), "{rows}");
    assert!(page.texts(".eye-right .turned").is_empty(), "no prism wanted");
    // 62 are needed: 65 is the smallest, and the one in the drawer goes before the usual one.
    assert_eq!(page.texts(".eye-right tr.ordered").len(), 1);
    assert!(page.text(".eye-right tr.ordered").starts_with("65 drawer"));
}

#[tokio::test]
async fn a_suppliers_list_is_kept_and_prism_turns_the_blank() {
    let lab = TestLab::new().await;
    let number = job(&lab, "-4.00 DS").await;
    let path = format!("/jobs/{number}/blanks");
    let fields = [("list", "62.5 $3.90 two weeks\n72"), ("prism_right", "2 BO"), ("prism_left", "")];
    // Twice, as a double click does.
    for _ in 0..2 {
        let done = lab.post(&path, &fields).await;
        done.assert_status(303);
        assert_eq!(done.location, path);
    }
    let lab = lab.reopened().await;
    let page = lab.get(&path).await;
    let rows = page.texts(".eye-right tbody tr");
    assert!(rows[0].starts_with("62.5 supplier, $3.90, two weeks Fits 1.25 spare"), "{}", rows[0]);
    // -4.00 with 2 base out wants the center 5 in (Prentice): 35 from the temple end, so 70 exact.
    assert!(page.text(".eye-right .moved").contains("the optical center goes 5.00 mm in from the pupil"));
    assert!(
        rows[0].contains("Too small 3.75 short")
            && rows[1].contains("72 supplier the smallest that fits Fits 6.00 spare"),
        "{rows:?}"
    );
    assert!(rows[1].contains("Fits 1.00 spare, temple side"), "{}", rows[1]);
    assert!(page.text(".eye-right tr.ordered").starts_with("72 supplier"), "the smallest with the prism");
    assert!(page.texts(".eye-left .turned").is_empty());
    assert_eq!(page.text("#list").trim(), "62.5 $3.90 two weeks 72");
    assert_eq!(page.attributes("#prism_left", "value"), [""]);
}

#[tokio::test]
async fn prescribed_prism_is_there_from_the_start() {
    let lab = TestLab::new().await;
    let number = job(&lab, "-4.00 DS 2 BI").await;
    let page = lab.get(&format!("/jobs/{number}/blanks")).await;
    assert_eq!(page.attributes("#prism_right", "value"), ["2.00 BI"]);
    assert!(page.text(".eye-right .moved").contains("5.00 mm out"));
    let number = job(&lab, "pl 2 BI").await;
    let page = lab.get(&format!("/jobs/{number}/blanks")).await;
    assert!(page.text(".eye-right .moved").contains("cannot be made by decentration"));
    assert!(page.texts(".eye-right .turned").iter().all(|t| t == "must be surfaced"));
}

#[tokio::test]
async fn a_bad_list_or_prism_keeps_what_was_typed() {
    let lab = TestLab::new().await;
    let number = job(&lab, "-4.00 DS").await;
    let path = format!("/jobs/{number}/blanks");
    for (fields, field, says) in [
        ([("list", "70\nlarge"), ("prism_right", "")], "list", "Line 2: “large” is not a diameter"),
        ([("list", "20"), ("prism_right", "")], "list", "A blank of 20.00 mm is not possible: between 40 and 90"),
        ([("list", "70 4.20"), ("prism_right", "two in")], "prism_right", "is not a prism"),
    ] {
        let page = lab.post(&path, &fields).await;
        page.assert_status(422);
        assert!(page.text(&format!("#{field}-error")).contains(says), "{}", page.text(&format!("#{field}-error")));
        assert_eq!(
            page.text("#list").split_whitespace().collect::<Vec<_>>(),
            fields[0].1.split_whitespace().collect::<Vec<_>>()
        );
    }
    assert_eq!(lab.get(&path).await.text("#list"), "", "a refused list is not kept");
    lab.post_from_elsewhere(&path, &[("list", "70")]).await.assert_status(403);
    // What is typed is kept before it is sent.
    lab.post(&format!("/drafts/blanks-{number}-0"), &[("list", "68 draft")]).await.assert_status(204);
    assert_eq!(lab.get(&path).await.text("#list"), "68 draft");
    lab.post("/jobs/4/blanks", &[("list", "70")]).await.assert_status(404);
}
