//! The lens as worn: the try-form, the owner's decision, and what every later page makes of it.

use rimbook::desk::frame::Rim;

use crate::support::TestLab;

const TRY: [(&str, &str); 5] =
    [("vertex_from", "13"), ("vertex_to", "13"), ("panto", "0"), ("wrap", "20"), ("step", "0.25")];

/// The decision form of a page as a browser sends it, some fields changed.
async fn form_of(lab: &TestLab, path: &str, changes: &[(&str, &str)]) -> Vec<(String, String)> {
    let page = lab.get(path).await;
    page.assert_status(200);
    let names = page.attributes("#decide input[type=hidden]", "name");
    let values = page.attributes("#decide input[type=hidden]", "value");
    let mut fields: Vec<(String, String)> = names.into_iter().zip(values).collect();
    for (name, value) in changes {
        match fields.iter_mut().find(|(n, _)| n == name) {
            Some(field) => field.1 = (*value).to_owned(),
            None => fields.push(((*name).to_owned(), (*value).to_owned())),
        }
    }
    fields
}

fn lent(fields: &[(String, String)]) -> Vec<(&str, &str)> {
    fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect()
}

fn query(number: i64, fields: &[(&str, &str)]) -> String {
    let pairs: Vec<String> = fields.iter().map(|(n, v)| format!("{n}={v}")).collect();
    format!("/jobs/{number}/compensation?{}", pairs.join("&"))
}

#[tokio::test]
async fn an_untilted_lens_at_the_same_distance_is_ordered_as_prescribed() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-8.00 DS", "-2.50 -0.75 x 80").await;
    let flat =
        query(number, &[("vertex_from", "12"), ("vertex_to", "12"), ("panto", "0"), ("wrap", "0"), ("step", "0.25")]);
    let page = lab.get(&flat).await;
    page.assert_status(200);
    assert_eq!(page.texts(".eye-right .order, .eye-left .order"), ["-8.00 sph", "-2.50 -0.75 x 080"]);
    assert_eq!(page.text(".eye-right .left-unchanged"), "nothing");
    // Vertex alone: public vertex page, -10.00 at 12 worn at 14 is -10.20, printed -10.25.
    let number = lab.given_job_to("-10.00 DS", "-10.00 DS").await;
    let moved =
        query(number, &[("vertex_from", "12"), ("vertex_to", "14"), ("panto", "0"), ("wrap", "0"), ("step", "0.25")]);
    let page = lab.get(&moved).await;
    assert_eq!(page.text(".eye-left .exact"), "-10.20 sph");
    assert_eq!(page.text(".eye-left .textbook"), "-10.20 sph");
    assert_eq!(page.text(".eye-left .order"), "-10.25 sph");
    assert_eq!(page.text(".eye-left .tilt"), "0.00 Δ , 0.00 Δ no prism");
}

#[tokio::test]
async fn martins_worked_example_stands_beside_the_exact_power() {
    let lab = TestLab::new().await;
    // -8.08 -0.25 x 180 is what -8.00 gives at 10° of panto for 2n = 3 (tests/check/scripts); polycarbonate's 1.586 turns it by
    // less than 0.01. So ordering for -8.00 wants the opposite: less minus up and down.
    let number = lab.given_job_to("-8.08 -0.25 x 180", "-8.08 -0.25 x 180").await;
    let tilted =
        query(number, &[("vertex_from", "12"), ("vertex_to", "12"), ("panto", "10"), ("wrap", "0"), ("step", "0.25")]);
    let page = lab.get(&tilted).await;
    page.assert_status(200);
    assert_eq!(page.text(".eye-right .order"), "-8.00 sph");
    let textbook = page.text(".eye-right .textbook");
    let sphere: f64 = textbook.split(' ').next().unwrap().parse().unwrap();
    assert!((sphere + 8.0).abs() < 0.02, "{textbook}");
    assert!(page.text(".eye-right .tilt").contains("base down"), "panto with a plus front is base down");
}

#[tokio::test]
async fn a_decision_changes_every_later_page_and_prints_both() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-6.00 DS", "-6.00 DS").await;
    lab.given_shape_for(number).await;
    let path = format!("/jobs/{number}/compensation");
    let fields = form_of(&lab, &query(number, &TRY), &[("decision", "compensated")]).await;
    let ordered = fields.iter().find(|(n, _)| n == "seen_right").unwrap().1.clone();
    assert_ne!(ordered, "-6.00 sph", "20° of wrap changes a lens of 6 D");
    let answer = lab.post(&path, &lent(&fields)).await;
    answer.assert_status(303);
    assert_eq!(answer.location, path);
    // A second click, and a form looked at again, keep nothing more.
    lab.post(&path, &lent(&fields)).await.assert_status(303);
    assert_eq!(lab.count("power_decision", number).await, 1);

    let lab = lab.reopened().await;
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!(job.lens_power(rimbook::optics::Eye::Right).to_string(), ordered);
    assert_eq!(job.frame_position.unwrap().wrap.hundredths(), 2000, "the position is kept with the frame");
    for page in ["", "/lenses", "/layout", "/prism"] {
        let page = lab.get(&format!("/jobs/{number}{page}")).await;
        page.assert_status(200);
        assert_eq!(page.text(".eye-right .rx.large"), ordered);
        assert_eq!(page.text(".eye-right .prescribed-power"), "prescribed -6.00 sph");
    }
    assert!(lab.get(&format!("/jobs/{number}")).await.texts(".wear-note").iter().any(|t| t.contains("20° wrap")));
    let ticket = lab.get(&format!("/jobs/{number}/ticket")).await;
    assert_eq!(ticket.text(".eye-right .rx.large"), ordered);
    assert!(
        ticket.body.contains("Compensated for position of wear.")
            && ticket.body.contains("Not safety or sports eyewear")
    );
    assert!(ticket.texts("span.rx").iter().any(|t| t == "-6.00 sph"), "and the prescribed power");

    // The check goes by the ordered power: the prescribed one is another lens.
    lab.given_lenses_for(number).await;
    lab.given_cut_for(number).await;
    let check = format!("/jobs/{number}/check");
    let read = |power: &'static str| {
        [
            ("how", "written"),
            ("read_right", power),
            ("read_left", power),
            ("pd", "31/33"),
            ("height_right", "20"),
            ("height_left", "20"),
        ]
    };
    lab.post(&check, &read("-6.00 DS")).await.assert_status(303);
    let page = lab.get(&check).await;
    assert!(page.text(".verdict").starts_with("Not passed"));
    let exact: Vec<(&str, &str)> = read("x").into_iter().filter(|(n, _)| !n.starts_with("read_")).collect();
    let left = job.lens_power(rimbook::optics::Eye::Left).to_string();
    let mut good = exact.clone();
    good.extend([("read_right", ordered.as_str()), ("read_left", left.as_str())]);
    lab.post(&check, &good).await.assert_status(303);
    let page = lab.get(&check).await;
    assert!(page.text(".verdict").starts_with("Passed"), "{}", page.body);
    assert!(page.text("table caption").contains("(prescribed -6.00 sph)"), "{}", page.text("table caption"));
    assert_eq!(page.texts(".prescribed-power").first().map(String::as_str), Some("prescribed -6.00 sph"));
    let sheet = lab.get(&format!("/jobs/{number}/packing-sheet")).await;
    sheet.assert_status(200);
    assert!(sheet.body.contains("(prescribed -6.00 sph)"));
    // Once cut, the power stays.
    lab.post(&path, &[("decision", "prescribed")]).await.assert_status(409);
    assert!(lab.get(&path).await.texts("#decide").is_empty());
}

#[tokio::test]
async fn a_wrapped_frame_offers_the_page_until_it_is_decided() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    assert!(lab.get(&format!("/jobs/{number}")).await.texts(".wear-note").is_empty());
    let path = format!("/jobs/{number}/compensation");
    let fields = form_of(&lab, &query(number, &TRY), &[("decision", "prescribed")]).await;
    lab.post(&path, &lent(&fields)).await.assert_status(303);
    let job = lab.store.get_job(number).await.unwrap();
    assert!(job.compensated().is_none());
    assert_eq!(job.lens_power(rimbook::optics::Eye::Left), job.prescription.eyes.left.power);
    assert!(lab.get(&path).await.text("#decision").contains("as prescribed"));
    let page = lab.get(&format!("/jobs/{number}")).await;
    assert!(page.texts(".wear-note").iter().all(|t| !t.starts_with("Wrapped frame")), "it is decided");
    assert!(page.texts(".wear-note").iter().any(|t| t.contains("Not safety or sports eyewear")));
    // New lenses for the same frame: the wrap is known, and nothing is decided.
    let relens = lab.given_relens(number).await;
    for page in ["", "/lenses"] {
        let page = lab.get(&format!("/jobs/{relens}{page}")).await;
        assert!(page.texts(".wear-note").iter().any(|t| t.starts_with("Wrapped frame")), "{}", page.body);
        assert!(page.attributes(".wear-note a", "href").contains(&format!("/jobs/{relens}/compensation")));
    }
    assert_eq!(lab.get(&format!("/jobs/{relens}/compensation")).await.attributes("#wrap", "value"), ["20"]);
    // A lab that offers from 25° does not.
    let spread = lab.get("/lab/process-spread").await;
    let names = spread.attributes("main form input[name]:not([type=checkbox])", "name");
    let values = spread.attributes("main form input[name]:not([type=checkbox])", "value");
    let fields: Vec<(&str, &str)> = names
        .iter()
        .zip(&values)
        .map(|(n, v)| (n.as_str(), if n == "offer_wrap" { "25" } else { v.as_str() }))
        .collect();
    lab.post("/lab/process-spread", &fields).await.assert_status(303);
    assert!(lab.get(&format!("/jobs/{relens}")).await.texts(".wear-note").is_empty());
}

#[tokio::test]
async fn bad_fields_are_said_and_kept() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/compensation");
    for (field, value) in
        [("vertex_from", "41"), ("vertex_to", "x"), ("vertex_to", "-1"), ("panto", "50"), ("wrap", ""), ("step", "0.3")]
    {
        let mut asked = TRY;
        for pair in &mut asked {
            if pair.0 == field {
                pair.1 = value;
            }
        }
        let page = lab.get(&query(number, &asked)).await;
        page.assert_status(422);
        assert_eq!(page.attributes("[aria-invalid=true]", "id"), [field], "{field} {value}");
        assert!(!page.text(&format!("#{field}-error")).is_empty());
        if field != "step" {
            assert_eq!(page.attributes(&format!("#{field}"), "value"), [value]);
        }
        let fields = form_of(&lab, &query(number, &TRY), &[("decision", "compensated"), (field, value)]).await;
        lab.post(&path, &lent(&fields)).await.assert_status(422);
    }
    let none = form_of(&lab, &query(number, &TRY), &[]).await;
    let page = lab.post(&path, &lent(&none)).await;
    page.assert_status(422);
    assert_eq!(page.text("#decision-error"), "Choose which power to order");
    // What was looked at is not what would be ordered now.
    let stale = form_of(&lab, &query(number, &TRY), &[("decision", "compensated"), ("seen_left", "-1.00 sph")]).await;
    let page = lab.post(&path, &lent(&stale)).await;
    page.assert_status(422);
    assert!(page.text("#decision-error").contains("have changed"));
    assert_eq!(lab.count("power_decision", number).await, 0);
    let good = form_of(&lab, &query(number, &TRY), &[("decision", "compensated")]).await;
    lab.post_from_elsewhere(&path, &lent(&good)).await.assert_status(403);
    assert_eq!(lab.count("power_decision", number).await, 0);
}

#[tokio::test]
async fn the_draft_of_a_decision_outlives_a_reload() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/compensation");
    let key = lab.get(&path).await.attributes("#decide", "data-draft").remove(0);
    let mut typed = TRY.to_vec();
    typed.push(("decision", "prescribed"));
    lab.post(&format!("/drafts/{key}"), &typed).await;
    let page = lab.reopened().await.get(&path).await;
    assert_eq!(page.attributes("#wrap", "value"), ["20"]);
    assert_eq!(page.attributes("#decide input[checked]", "value"), ["prescribed"]);
}

#[tokio::test]
async fn a_decision_after_the_lenses_were_taken_warns() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let path = format!("/jobs/{number}/compensation");
    let fields = form_of(&lab, &query(number, &TRY), &[("decision", "compensated")]).await;
    lab.post(&path, &lent(&fields)).await.assert_status(303);
    // The clock of the tests stands still, so the order of the history tells.
    let page = lab.get(&format!("/jobs/{number}/layout")).await;
    assert!(page.texts(".wear-note").iter().any(|t| t.contains("after a lens was taken in hand")), "{}", page.body);
}

#[tokio::test]
async fn it_is_figured_for_the_lens_of_the_edge_page() {
    let lab = TestLab::new().await;
    for (rim, right, left) in [
        (Rim::Plastic, "-4.00 -1.00 x 20", "+4.00 -1.00 x 20"),
        // A cord-held rim needs more edge, of a weak minus lens too.
        (Rim::Cord, "+1.75 sph", "-0.50 sph"),
        (Rim::Drilled, "+5.00 sph", "+2.00 sph 2 BI"),
        (Rim::Metal, "pl 2 BI", "-3.00 sph 1 BU"),
    ] {
        let number = lab.given_job_in_rim(rim, right, left, "31/33", "20").await;
        let before = lab.get(&format!("/jobs/{number}/compensation")).await;
        before.assert_status(200);
        assert!(before.text(".eye-left .figures + .eye-note").contains("(assumed)"), "without a shape: {left}");
        lab.given_shape_for(number).await;
        for is_in_hand in [false, true] {
            if is_in_hand {
                lab.given_lenses_for(number).await;
            }
            let edge = lab.get(&format!("/jobs/{number}/edge")).await;
            let compensation = lab.get(&format!("/jobs/{number}/compensation")).await;
            for eye in ["right", "left"] {
                let front = edge.text(&format!(".eye-{eye} .front .num"));
                let center = edge.text(&format!(".eye-{eye} .center-mm"));
                let from = if is_in_hand { "as in hand" } else { "assumed" };
                assert!(edge.text(&format!(".eye-{eye} .figures")).contains(&format!("Center, {from}")));
                let words = compensation.text(&format!(".eye-{eye} .figures + .eye-note"));
                let want = format!("front {front} D (assumed), center {center} ({from})");
                assert!(words.contains(&want), "{right} / {left}, {eye}: {words}, not {want}");
            }
        }
    }
}

#[tokio::test]
async fn a_strong_lens_asks_for_the_vertex_distance_until_it_is_answered() {
    let lab = TestLab::new().await;
    let weak = lab.given_job_to("-4.75 DS", "-4.00 -0.75 x 90").await;
    assert!(lab.get(&format!("/jobs/{weak}")).await.texts(".wear-note").is_empty());
    assert_eq!(lab.get(&format!("/jobs/{weak}/compensation")).await.attributes("#vertex_to", "value"), ["13"]);
    let number = lab.given_job_to("-4.00 DS", "-4.00 -1.00 x 90").await;
    let path = format!("/jobs/{number}/compensation");
    for page in ["", "/lenses"] {
        let notes = lab.get(&format!("/jobs/{number}{page}")).await.texts(".wear-note");
        assert!(notes.iter().any(|note| note.starts_with("Vertex distance")), "{page}: {notes:?}");
    }
    let page = lab.get(&path).await;
    assert_eq!(page.assert_status(200).attributes("#vertex_from", "value"), [""], "nothing is reckoned with unseen");
    // Neither typed nor said not to be known.
    let fields = form_of(&lab, &path, &[("decision", "prescribed")]).await;
    let refused = lab.post(&path, &lent(&fields)).await;
    assert!(refused.assert_status(422).text("#vertex_unknown-error").contains("tick that they are not known"));
    let fields = form_of(&lab, &path, &[("decision", "prescribed"), ("vertex_unknown", "yes")]).await;
    lab.post(&path, &lent(&fields)).await.assert_status(303);
    let lab = lab.reopened().await;
    let decision = lab.store.get_job(number).await.unwrap().power_decision.clone().unwrap();
    assert!(!decision.position.vertex_is_known);
    assert!(lab.get(&path).await.text("#decision").contains("vertex distance not known"));
    let notes = lab.get(&format!("/jobs/{number}")).await.texts(".wear-note");
    assert!(notes.iter().all(|note| !note.starts_with("Vertex distance")), "it is answered: {notes:?}");
    assert!(lab.get(&format!("/jobs/{number}")).await.body.contains("vertex distance not known"), "in the history");
}

#[tokio::test]
async fn another_lens_than_the_one_decided_for_is_named_on_pages_and_ticket() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-6.00 DS", "-6.00 DS").await;
    lab.given_shape_for(number).await;
    let path = format!("/jobs/{number}/compensation");
    // A base curve of 8 in tool power.
    let asked = query(number, &[&TRY[..], &[("base_right", "8"), ("base_left", "8"), ("trace", "as_worn")]].concat());
    let fields = form_of(&lab, &asked, &[("decision", "compensated")]).await;
    lab.post(&path, &lent(&fields)).await.assert_status(303);
    // 8 · 0.586 / 0.53 is 8.85 true in polycarbonate (textbook), on every page from now on.
    let edge = lab.get(&format!("/jobs/{number}/edge")).await.text(".eye-right .figures");
    assert!(edge.contains("+8.85"), "{edge}");
    assert_eq!(lab.get(&path).await.attributes("#base_right", "value"), ["8"]);
    let take = |front: &'static str, center: &'static str| {
        [
            ("lens_right", "bought"),
            ("diameter_right", "75"),
            ("front_right", front),
            ("center_right", center),
            ("old_right", "drawer"),
            // The back of the steep one does not reach the rim of its blank.
            ("anyway_right", "yes"),
        ]
    };
    let says = "The right lens in hand no longer agrees with the power decided on";
    lab.post(&format!("/jobs/{number}/lenses"), &take("8.85", "1.5")).await.assert_status(303);
    assert!(!lab.get(&format!("/jobs/{number}/layout")).await.body.contains(says));
    lab.post(&format!("/jobs/{number}/lenses"), &take("12", "7")).await.assert_status(303);
    for page in ["", "/layout", "/lenses", "/ticket", "/compensation"] {
        let page = lab.get(&format!("/jobs/{number}{page}")).await;
        assert!(page.assert_status(200).body.contains(says), "{}", page.text("main, article"));
    }
    let left = [("lens_left", "bought"), ("diameter_left", "75"), ("front_left", "8.85"), ("center_left", "1.5")];
    lab.post(&format!("/jobs/{number}/lenses"), &left).await.assert_status(303);
    lab.given_cut_for(number).await;
    assert!(lab.get(&format!("/jobs/{number}/check")).await.body.contains(says), "and at the check");
}

#[tokio::test]
async fn a_flat_trace_of_a_wrapped_front_is_decentered_along_the_lens() {
    let lab = TestLab::new().await;
    let number = lab.given_job_at("-4.00 DS", "-4.00 DS", "30/30", "20").await;
    crate::shapes::keep_ellipse(&lab, number).await;
    let path = format!("/jobs/{number}/compensation");
    // DBL 20: 10 + 20 / cos 20 is 31.28 (geometry), so that 35 - 31.28 = 3.72 in; across the face 35 - 30 = 5.
    for (trace, decentration, says) in [("flat", "3.72 mm in", true), ("as_worn", "5.00 mm in", false)] {
        let asked = query(number, &[&TRY[..], &[("trace", trace)]].concat());
        let fields = form_of(&lab, &asked, &[("decision", "prescribed")]).await;
        lab.post(&path, &lent(&fields)).await.assert_status(303);
        let page = lab.get(&format!("/jobs/{number}/layout")).await;
        assert_eq!(page.texts(".eye-right .decentration")[0], decentration);
        let words = "R 30.00 mm across the face is 31.28 mm";
        assert_eq!(page.body.contains(words), says, "{}", page.text("main"));
        assert_eq!(lab.get(&format!("/jobs/{number}/ticket")).await.text("article").contains(words), says);
        assert_eq!(lab.get(&path).await.attributes("#trace option[selected]", "value"), [trace]);
    }
}
