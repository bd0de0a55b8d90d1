use rimbook::desk::frame_shape::NewShape;

use crate::support::{NOW, TestLab};

fn number_of(text: &str) -> f64 {
    text.split_whitespace().next().and_then(|word| word.parse().ok()).expect("a number")
}

#[tokio::test]
async fn shows_the_edge_beside_the_rule_of_thumb() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-4.00 DS", "+4.00 DS").await;
    lab.given_shape_for(number).await;
    let page = lab.get(&format!("/jobs/{number}/edge?material=&front=4.4226&thick=center&mm=2")).await;
    page.assert_status(422);
    assert!(page.texts(".error").iter().any(|e| e.contains("more than two decimals")), "{:?}", page.texts(".error"));

    let page = lab.get(&format!("/jobs/{number}/edge?front=4.00&thick=center&mm=2")).await;
    page.assert_status(200);
    // The oval is 52 by 40 and 4 in of its middle is the right pupil, so the temple end is 30 away: polycarbonate,
    // -4.00 on a front of +4.00 true, by the closed form of both sags.
    let sag = |power_d: f64, h: f64| {
        let r = 586.0 / power_d;
        r - (r * r - h * h).sqrt()
    };
    let carried_d = 4.0 / (1.0 - 0.002 / 1.586 * 4.0);
    let want_mm = 2.0 - sag(4.0, 30.0) + sag(4.0 + carried_d, 30.0);
    assert!(
        (number_of(&page.text(".eye-right .thickest")) - want_mm).abs() < 0.006,
        "{}",
        page.text(".eye-right .thickest")
    );
    assert!(page.text(".eye-right .thickest-at").starts_with("temple side, 9 o’clock, 180°"));
    // 30² · 4 / (2000 · 0.586) = 3.07 (textbook).
    assert!(
        page.text(".eye-right .figure.key").contains("rule of thumb 5.07"),
        "{}",
        page.text(".eye-right .figure.key")
    );
    assert_eq!(page.text(".eye-right .center-mm"), "2.00 mm");
    assert!(page.text(".eye-right .figures").contains("as asked") && page.text(".eye-right .weight").ends_with("g"));
    // Not by color alone, and with no style in the page.
    assert!(page.texts(".eye-right svg text").iter().any(|t| t == "thickest"));
    assert!(page.attributes("[style]", "style").is_empty());
    assert_eq!(page.attributes(".eye-right figure svg", "role"), ["img", "img"]);
    // The plus lens of the left eye cannot have that center with this front: its edge is negative.
    let cautions = page.texts(".eye-left .notice.caution").join(" ");
    assert!(cautions.contains("surfaces cross") && cautions.contains("avoids this"), "{cautions}");
    assert!(!page.body.contains("NaN"));
}

#[tokio::test]
async fn what_is_in_hand_goes_before_what_is_usual() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let page = lab.get(&format!("/jobs/{number}/edge")).await;
    page.assert_status(200);
    let figures = page.text(".eye-right .figures");
    assert!(figures.contains("Center, as in hand 1.50 mm") && figures.contains("Front, assumed"), "{figures}");
    assert!(page.text(".eye-right").contains("The 70 mm uncut lens (as in hand)"));
    // Another material is another lens: the one in hand does not count.
    let resin =
        lab.store.list_materials().await.unwrap().into_iter().find(|m| m.details.name.contains("1.50")).unwrap();
    let page = lab.get(&format!("/jobs/{number}/edge?material={}", resin.id)).await;
    assert!(page.text(".eye-right .figures").contains("Center, assumed 2.00 mm"));
    assert!(page.text(".notice.info").contains("Hard resin 1.50 is tried here; Polycarbonate 1.59 was ordered"));
    // The tab leads here, and to the two pages beside it.
    assert_eq!(page.text(".beside [aria-current]"), "Edge and bevel");
    for (path, tab) in [("materials", "Materials compared"), ("blanks", "What to order")] {
        let path = format!("/jobs/{number}/{path}");
        assert!(page.attributes("main .acts a", "href").contains(&path));
        assert_eq!(lab.get(&path).await.text(".beside [aria-current]"), tab);
    }
}

#[tokio::test]
async fn the_bevel_goes_where_it_is_asked_for() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    for (query, placement) in [
        ("", "bevel in the middle of the edge"),
        ("place=share&at=40", "bevel at 40% of the edge from the front"),
        ("place=share", "bevel at 33% of the edge from the front"),
        ("place=from_front&at=0.8", "bevel 0.80 mm behind the front"),
        ("place=front_curve&at=30%25", "bevel follows the front, at 30% of the thinnest edge"),
        ("hold=groove", "groove in the middle of the edge"),
        ("hold=drilled", "flat edge, no bevel"),
    ] {
        let page = lab.get(&format!("/jobs/{number}/edge?thick=edge&mm=1.2&{query}")).await;
        page.assert_status(200);
        let got = page.text(".eye-right .placement");
        let want = if query.is_empty() && number_of(&page.text(".eye-right .thickest")) >= 3.0 {
            "bevel at 33% of the edge from the front"
        } else {
            placement
        };
        assert_eq!(got, want, "{query}");
        assert_eq!(page.texts(".eye-right .bevel").len(), usize::from(query != "hold=drilled"));
    }
    let page = lab.get(&format!("/jobs/{number}/edge?thick=edge&mm=1.2&hold=groove")).await;
    let cautions = page.texts(".eye-right .notice.caution").join(" ");
    assert!(
        cautions.contains("a cord-held rim needs 2.0 mm") && cautions.contains("The groove breaks through"),
        "{cautions}"
    );
}

#[tokio::test]
async fn each_bad_field_has_its_sentence() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    for (query, field, says) in [
        ("material=nonsense", "material", "no longer offered"),
        ("front=44", "front", "“44” D is not possible: between -10 and +20"),
        ("front=30", "front", "between -10 and +20"),
        ("thick=center&mm=0.1", "mm", "between 0.5 and 20"),
        ("thick=edge&mm=", "mm", "how thick"),
        ("thick=edge&mm=x", "mm", "is not a number"),
        ("mm=2", "thick", "the center or the thinnest edge"),
        ("diameter=30", "diameter", "between 40 and 90"),
        ("hold=glue", "hold", "Choose bevel"),
        ("place=share&at=140", "at", "between 0 and 100"),
        ("place=rim", "place", "does not say how the rim is curved"),
        ("place=anywhere", "place", "Choose where"),
    ] {
        let page = lab.get(&format!("/jobs/{number}/edge?{query}")).await;
        page.assert_status(422);
        assert!(
            page.text(&format!("#{field}-error")).contains(says),
            "{query}: {}",
            page.text(&format!("#{field}-error"))
        );
        assert!(page.texts("#figures > .error").is_empty(), "said once");
        assert_eq!(page.attributes(&format!("#{field}"), "aria-invalid"), ["true"], "{query}");
        // What can be figured is figured all the same.
        assert_eq!(page.texts(".eye-right .thickest").len(), 1, "{query}");
        let typed: Vec<(&str, &str)> = query.split('&').filter_map(|pair| pair.split_once('=')).collect();
        let fragment = lab.post_as_is(&format!("/jobs/{number}/edge/figures"), &typed).await;
        fragment.assert_status(200);
        assert!(fragment.text(".error").contains(says) && !fragment.body.contains("<html"), "{query}");
    }
}

#[tokio::test]
async fn a_surface_that_does_not_reach_is_a_sentence() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-20.00 DS", "-1.00 DS").await;
    lab.given_shape_for(number).await;
    let page = lab.get(&format!("/jobs/{number}/edge?front=6")).await;
    page.assert_status(200);
    assert!(page.text(".eye-right .notice.stop").contains("does not reach"), "{}", page.text(".eye-right"));
    assert_eq!(page.texts(".eye-left .thickest").len(), 1);
    let page = lab.get(&format!("/jobs/{number}/materials")).await;
    page.assert_status(200);
    assert!(!page.body.contains("NaN"));
}

#[tokio::test]
async fn a_rim_with_its_own_curve_is_compared_with_the_bevel() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let records = "FCRV=9.0;9.0\r\nTRCFMT=1;36;E;R;F\r\nR={0}\r\nTRCFMT=1;36;E;L;F\r\nR={0}\r\n";
    let file = records.replace("{0}", &["2000"; 36].join(";"));
    let dbl = "20".parse().unwrap();
    let shape = NewShape::read(file.as_bytes(), "curved.txt", None, Some(dbl), dbl).unwrap();
    lab.store.keep_shape("given-curved", number, &shape, NOW).await.unwrap();
    let page = lab.get(&format!("/jobs/{number}/edge?front=4")).await;
    let cautions = page.texts(".eye-left .notice.caution").join(" ");
    // A round shape says nothing of the curve of its line unless the edge differs around it, as a cylinder makes it.
    assert!(cautions.contains("The rim is curved 9.0 D"), "{cautions}");
    assert!(page.attributes("#place option", "value").contains(&"rim".to_owned()));
    let page = lab.get(&format!("/jobs/{number}/edge?front=4&place=rim&at=50&thick=edge&mm=3")).await;
    page.assert_status(200);
    assert!(page.text(".eye-left .placement").contains("follows the rim’s own curve of 9.0 D"));
    assert!(!page.texts(".eye-left .notice.caution").join(" ").contains("The rim is curved"));
}

#[tokio::test]
async fn without_a_shape_all_three_pages_say_so() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    for path in ["edge", "materials", "blanks"] {
        let page = lab.get(&format!("/jobs/{number}/{path}")).await;
        page.assert_status(200);
        assert!(page.text(".empty").contains("No shape is on file"), "{path}");
        lab.get(&format!("/jobs/4/{path}")).await.assert_status(404);
    }
    lab.post_as_is("/jobs/4/edge/figures", &[]).await.assert_status(404);
}

#[tokio::test]
async fn materials_stand_side_by_side_with_what_they_cost() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-6.00 DS", "-6.00 DS").await;
    lab.given_shape_for(number).await;
    let page = lab.get(&format!("/jobs/{number}/materials")).await;
    page.assert_status(200);
    let row = |name: &str| page.texts("tbody tr").into_iter().find(|row| row.starts_with(name)).unwrap();
    assert!(row("Polycarbonate 1.59").contains("ordered"));
    assert_eq!(page.texts("tr.ordered").len(), 1);
    // 85.00 against 45.00 a lens, 30.00 against 45.00.
    assert!(row("1.67").contains("$80.00 more") && row("Hard resin 1.50").contains("$30.00 less"));
    assert!(row("Polycarbonate").contains("chosen for impact") && row("1.67").contains("ordinary"));
    let thickest = |name: &str| -> f64 {
        let rest = row(name).trim_start_matches(name).trim_start_matches(" ordered").trim().to_owned();
        number_of(&rest)
    };
    assert!(thickest("Hard resin 1.50") > thickest("1.60") && thickest("1.60") > thickest("1.74"));
    // The right pupil is 4 in: 30 mm of -6.00 is 18 at the temple end, over the Abbe number 30 (Prentice).
    assert!(row("Polycarbonate").contains("0.60 Δ"), "{}", row("Polycarbonate"));
    assert!(page.text(".notice.caution").contains("21 CFR 801.410"));
}

#[tokio::test]
async fn the_ticket_says_the_edge_in_a_line_each() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let words = lab.get(&format!("/jobs/{number}/ticket")).await.text("article");
    let edge = lab.get(&format!("/jobs/{number}/edge")).await;
    let thickest = edge.text(".eye-left .thickest");
    assert!(words.contains(&format!("to {thickest} at")), "{thickest} in {words}");
    assert!(words.contains("bevel at 33% of the edge from the front") || words.contains("bevel in the middle"));
}
