//! The check of a finished pair.

use crate::absurd_figures::DRUMS;
use crate::support::{GOOD_READING, NOW, TestLab};
use rimbook::desk::job::Stage;

fn with(changes: &[(&'static str, &'static str)]) -> Vec<(&'static str, &'static str)> {
    let mut fields = GOOD_READING.to_vec();
    for (name, value) in changes {
        fields.retain(|(n, _)| n != name);
        fields.push((name, value));
    }
    fields
}

#[tokio::test]
async fn a_good_pair_passes_line_by_line() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let path = format!("/jobs/{number}/check");
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#reading", "data-draft"), [format!("check-{number}-0")]);
    assert!(page.texts(".verdict").is_empty());
    assert!(
        page.body.contains("Measured values are those you typed") && page.body.contains("standard's text governs")
            || page.body.contains("standard&#39;s text governs")
    );
    let answer = lab.post(&path, &GOOD_READING).await;
    let packing = format!("/jobs/{number}/packing");
    assert_eq!((answer.assert_status(303).location.clone(), lab.stage(number).await), (packing, Stage::Checked));
    let lab = lab.reopened().await;
    let page = lab.get(&path).await;
    assert_eq!(page.text(".verdict .mark"), "Passed");
    // ANSI Z80.1: power, cylinder and axis of each eye, vertical and horizontal imbalance; the lab's own limits: each
    // center, across and in height.
    // And the thickness of each lens, which was not measured.
    assert_eq!(page.texts("tbody tr").len(), 14);
    let marks = page.texts("tbody .mark");
    assert!(marks[..12].iter().all(|m| m == "Pass") && marks[12..].iter().all(|m| m == "Not checked"), "{marks:?}");
    assert!(page.text(".verdict").contains("All 12 rows within their limits. Thickness not measured."));
    assert!(page.texts("#concession").is_empty());
}

#[tokio::test]
async fn any_form_and_the_drums_are_the_same_lens() {
    let lab = TestLab::new().await;
    for (changes, what) in [
        (vec![("read_right", "-3.50 +1.25 x 5")], "plus form"),
        (DRUMS.to_vec(), "drums"),
        (vec![("pd", "64")], "one number for both eyes, as wide as ordered"),
    ] {
        let number = lab.given_cut_job().await;
        lab.post(&format!("/jobs/{number}/check"), &with(&changes)).await.assert_status(303);
        assert_eq!(lab.stage(number).await, Stage::Checked, "{what}");
    }
}

#[tokio::test]
async fn a_failed_pair_is_kept_back_until_a_reason_is_written() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let (path, concession) = (format!("/jobs/{number}/check"), format!("/jobs/{number}/check/concession"));
    // ANSI Z80.1-2015 quick-reference guide: cylinder over 0.50 to 0.75, ±5°; 88 is 8° from 80.
    lab.post(&path, &with(&[("read_left", "-2.50 -0.75 x 88")])).await.assert_status(303);
    let page = lab.get(&path).await;
    assert_eq!(page.text(".verdict .mark"), "Not passed");
    assert!(page.text(".verdict small").contains("left axis"));
    let failed = page.text("tr.fail");
    for word in ["Axis", "080", "088", "8°", "±5°", "3° beyond", "Fail"] {
        assert!(failed.contains(word), "{word} in {failed}");
    }
    assert!(page.text(".sources").contains("a: ANSI Z80.1-2015 quick-reference guide"));
    assert_eq!(lab.stage(number).await, Stage::Cut);
    assert!(lab.get(&format!("/jobs/{number}/packing")).await.text(".notice").contains("did not pass"));

    let answer = lab.post(&concession, &[("attempt", "1"), ("cause", "reading"), ("reason", "too late")]).await;
    answer.assert_status(422);
    assert!(
        answer.text("#reason-error").contains("ten letters") || answer.text("#reason-error").contains("10 letters")
    );
    assert_eq!(answer.text("#reason"), "too late");
    assert_eq!(lab.stage(number).await, Stage::Cut);

    let answer = lab.post(&concession, &[("attempt", "1"), ("reason", "Customer keeps the old axis")]).await;
    assert!(answer.assert_status(422).text("#cause-error").contains("Choose why"), "{}", answer.body);
    let long = "word ".repeat(80);
    lab.post(&concession, &[("attempt", "1"), ("cause", "reading"), ("reason", &long)]).await.assert_status(422);
    let reason = "Customer keeps the old axis, agreed by phone";
    let key = format!("concession-{number}-0");
    let fields = [("key", key.as_str()), ("cause", "customer_asked"), ("reason", reason), ("attempt", "1")];
    for _ in 0..2 {
        lab.post(&concession, &fields).await.assert_status(303);
    }
    // Other words are not taken for the first ones: they are refused aloud.
    lab.post(&concession, &[fields[0], fields[1], fields[3], ("reason", "something else entirely")])
        .await
        .assert_status(409);
    let lab = lab.reopened().await;
    assert_eq!(lab.stage(number).await, Stage::Checked);
    let page = lab.get(&path).await;
    assert_eq!(page.text(".verdict .mark"), "Not passed", "a reason does not make it a pass");
    assert_eq!(page.text(".reason"), format!("the customer was asked and accepts it. {reason}"));
    assert!(lab.get("/").await.text("tbody").contains("failed, to be sent anyway"));
    assert!(lab.get(&format!("/jobs/{number}")).await.text(".notice.caution").contains("a reason to send it"));
    for sheet in ["ticket", "packing-sheet"] {
        let print = lab.get(&format!("/jobs/{number}/{sheet}")).await;
        assert!(print.text("article").contains(reason), "the reason prints on the {sheet}");
        let says =
            if sheet == "ticket" { "Check not passed, sent anyway" } else { "not everything is within the standard" };
        assert!(print.text("article").contains(says), "{sheet}");
    }
    assert!(lab.get(&format!("/jobs/{number}/packing")).await.text(".notice.caution").contains(reason));
}

#[tokio::test]
async fn a_failed_pair_is_read_again_or_a_lens_of_it_is_spoiled() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let path = format!("/jobs/{number}/check");
    lab.post(&path, &with(&[("read_left", "-2.50 -0.75 x 88")])).await.assert_status(303);
    let page = lab.get(&path).await;
    assert_eq!(page.attributes(".acts a", "href")[..2], ["#reading".to_owned(), format!("/jobs/{number}/spoilage")]);
    // The last readings stand in the form: one figure of them may be all that was wrong.
    let read: Vec<String> = ["#read_right", "#read_left", "#height_left", "#pd"]
        .iter()
        .map(|id| page.attributes(id, "value").remove(0))
        .collect();
    assert_eq!(read[..2], ["-2.25 -1.25 x 95", "-2.50 -0.75 x 88"]);
    assert!(read[2..].iter().all(|value| !value.is_empty()), "{read:?}");
    assert!(lab.get("/").await.text("tbody").contains("did not pass its check"));

    let spoilage = format!("/jobs/{number}/spoilage");
    assert_eq!(lab.get(&spoilage).await.texts("#lens .choice").len(), 3, "right, left, both");
    let asked = lab.get(&format!("{spoilage}?eye=left")).await;
    assert_eq!(asked.attributes("#lens input[checked]", "value"), ["left"], "the lens that the link names");
    let answer = lab.post(&spoilage, &[("lens", "left"), ("cause", "post")]).await;
    assert!(
        answer.assert_status(422).text("#cause-error").contains("Choose where"),
        "lost in the post is no spoiled lens"
    );
    lab.post(&spoilage, &[("cause", "cut")]).await.assert_status(422);
    assert_eq!(lab.stage(number).await, Stage::Cut);
    lab.post(&spoilage, &[("lens", "left"), ("cause", "cut"), ("note", "blocked 8° off")]).await.assert_status(303);

    let lab = lab.reopened().await;
    assert_eq!(lab.stage(number).await, Stage::ShapeOnFile);
    let in_hand = lab.store.find_lenses(number).await.unwrap();
    assert!(in_hand.right.is_some() && in_hand.left.is_none(), "{in_hand:?}");
    let history = lab.get(&format!("/jobs/{number}")).await.text(".history");
    assert!(
        history.contains("Left lens spoiled: edging: size, shape, axis, bevel or a chip; blocked 8° off"),
        "{history}"
    );
    // The left lens is gone; the right one can be spoiled, the left one only after there is another.
    assert_eq!(lab.get(&spoilage).await.texts("#lens .choice").len(), 1);
    lab.post(&spoilage, &[("lens", "both"), ("cause", "handling")]).await.assert_status(422);
    lab.given_lenses_for(number).await;
    assert_eq!(lab.stage(number).await, Stage::LensesInHand);
    lab.post(&spoilage, &[("lens", "both"), ("cause", "handling")]).await.assert_status(303);
    assert_eq!(lab.store.find_lenses(number).await.unwrap(), rimbook::optics::Pair::new(None, None));
    assert!(lab.get(&spoilage).await.text(".notice").contains("no lens in hand"));
}

#[tokio::test]
async fn what_is_not_measured_is_not_checked_and_does_not_pass() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let path = format!("/jobs/{number}/check");
    lab.post(&path, &with(&[("pd", ""), ("height_left", "")])).await.assert_status(303);
    let page = lab.get(&path).await;
    assert_eq!(page.text(".verdict .mark"), "Not passed");
    // Both imbalances, both centers across, the height of the left one, and both thicknesses.
    assert_eq!(page.texts("tbody .mark").iter().filter(|m| *m == "Not checked").count(), 7);
    assert_eq!(lab.stage(number).await, Stage::Cut);
}

#[tokio::test]
async fn prism_is_asked_for_only_where_it_is_prescribed() {
    let lab = TestLab::new().await;
    let plain = lab.given_cut_job().await;
    assert!(lab.get(&format!("/jobs/{plain}/check")).await.texts("#prism_right").is_empty());
    let number = lab.given_job_to("-2.25 -1.25 x 95 1.5 BI", "-2.50 -0.75 x 80").await;
    lab.given_shape_for(number).await;
    lab.given_lenses_for(number).await;
    lab.given_cut_for(number).await;
    let path = format!("/jobs/{number}/check");
    assert_eq!(lab.get(&path).await.attributes("#prism_right", "name"), ["prism_right"]);
    let answer = lab.post(&path, &with(&[("prism_right", "1.5"), ("prism_left", "0")])).await;
    assert!(!answer.assert_status(422).text("#prism_right-error").is_empty());
    // 1.5 base out where base in was ordered is 3 off: far outside 0.67 (ANSI Z80.1, from memory).
    lab.post(&path, &with(&[("prism_right", "1.5 BO"), ("prism_left", "0")])).await.assert_status(303);
    assert!(lab.get(&path).await.text("tr.fail").contains("Prescribed prism, horizontal"));
    lab.post(&path, &with(&[("prism_right", "1.5 BI"), ("prism_left", "0")])).await.assert_status(303);
    let page = lab.get(&path).await;
    assert_eq!(page.text(".verdict .mark"), "Passed");
    assert!(page.text("#earlier summary").contains("not passed"));
}

#[tokio::test]
async fn each_bad_field_is_named_and_nothing_is_kept() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let path = format!("/jobs/{number}/check");
    let drums = |field: &'static str, value: &'static str| {
        let mut changes = vec![
            ("how", "drums"),
            ("first_right", "-2.25"),
            ("second_right", "-3.50"),
            ("axis_right", "95"),
            ("first_left", "-2.50"),
            ("second_left", "-3.25"),
            ("axis_left", "80"),
        ];
        changes.retain(|(n, _)| *n != field);
        changes.push((field, value));
        changes
    };
    for (changes, field) in [
        (vec![("read_right", "")], "read_right"),
        (vec![("read_left", "-2.25 -1.25")], "read_left"),
        (vec![("read_left", "2.25")], "read_left"),
        (vec![("pd", "thirty")], "pd"),
        (vec![("pd", "640")], "pd"),
        (vec![("height_right", "2")], "height_right"),
        (vec![("height_left", "20mmm")], "height_left"),
        (vec![("how", "")], "how"),
        (drums("first_right", "2.25"), "first_right"),
        (drums("second_left", ""), "second_left"),
        (drums("axis_right", "181"), "axis_right"),
        (drums("axis_left", ""), "axis_left"),
    ] {
        let answer = lab.post(&path, &with(&changes)).await;
        answer.assert_status(422);
        assert!(!answer.text(&format!("#{field}-error")).is_empty(), "{field}");
        for (name, value) in with(&changes).iter().filter(|(n, _)| *n != "how") {
            assert_eq!(answer.attributes(&format!("#{name}"), "value"), [*value], "{name} is kept after {field}");
        }
    }
    assert!(lab.store.list_checks(number).await.unwrap().is_empty());
    assert_eq!(lab.stage(number).await, Stage::Cut);
}

#[tokio::test]
async fn is_refused_out_of_turn_twice_and_from_elsewhere() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let path = format!("/jobs/{number}/check");
    assert!(lab.get(&path).await.text(".notice").contains("not cut yet"));
    let answer = lab.post(&path, &GOOD_READING).await;
    assert!(answer.assert_status(409).text(".notice").contains("not cut yet"));
    lab.given_cut_for(number).await;
    lab.post_from_elsewhere(&path, &GOOD_READING).await.assert_status(403);
    lab.post_from_elsewhere(&format!("{path}/concession"), &[("reason", "no reason at all")]).await.assert_status(403);
    lab.post(&format!("{path}/concession"), &[("reason", "nothing failed here")]).await.assert_status(409);
    let key = format!("check-{number}-0");
    let twice = with(&[("key", Box::leak(key.into_boxed_str()))]);
    lab.post(&path, &twice).await.assert_status(303);
    assert_eq!(lab.post(&path, &twice).await.assert_status(303).location, format!("/jobs/{number}/packing"));
    assert_eq!(lab.store.list_checks(number).await.unwrap().len(), 1);
    lab.get("/jobs/999/check").await.assert_status(404);
}

#[tokio::test]
async fn a_reload_keeps_what_was_typed() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let typed = [("how", "drums"), ("first_right", "-2.2"), ("pd", "31")];
    lab.post(&format!("/drafts/check-{number}-0"), &typed).await.assert_status(204);
    let page = lab.reopened().await.get(&format!("/jobs/{number}/check")).await;
    assert_eq!(page.attributes("#first_right", "value"), ["-2.2"]);
    assert_eq!(page.attributes("#pd", "value"), ["31"]);
    assert_eq!(page.attributes("#how-drums", "checked").len(), 1);
}

#[tokio::test]
async fn a_check_from_before_a_new_cut_says_nothing_of_the_new_lenses() {
    let lab = TestLab::new().await;
    let number = lab.given_checked_job().await;
    lab.given_lenses_for(number).await;
    lab.given_cut_for(number).await;
    let page = lab.get(&format!("/jobs/{number}/check")).await;
    assert!(page.texts(".verdict").is_empty());
    assert!(page.text(".notice.info").contains("has not been checked"));
    assert!(!lab.get(&format!("/jobs/{number}/ticket")).await.text("article").contains("Checked against"));
    lab.get(&format!("/jobs/{number}/packing-sheet")).await.assert_status(409);
}

#[tokio::test]
async fn a_check_stays_as_it_was_judged() {
    let lab = TestLab::new().await;
    let number = lab.given_checked_job().await;
    let mut profile = lab.store.find_lab().await.unwrap().unwrap();
    profile.tolerance = rimbook::optics::tolerance::Profile::Iso21987;
    lab.store.change_lab("given-lab", &profile, NOW).await.unwrap();
    let lab = lab.reopened().await;
    let page = lab.get(&format!("/jobs/{number}/check")).await;
    assert!(page.text("caption").contains("ANSI Z80.1-2015"));
    assert_eq!(page.texts("tbody tr").len(), 14);
}

/// A reason belongs to the reading it was written for. A worse one that came in from another window needs its own.
#[tokio::test]
async fn a_reason_is_not_attached_to_a_later_check() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let (path, concession) = (format!("/jobs/{number}/check"), format!("/jobs/{number}/check/concession"));
    lab.post(&path, &with(&[("read_left", "-2.50 -0.75 x 88")])).await.assert_status(303);
    let mut written = crate::addresses::fields_of(&lab.get(&path).await, &concession);
    written.retain(|(name, _)| !["cause", "reason"].contains(&name.as_str()));
    let mut written: Vec<(&str, &str)> = written.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    written.extend([("cause", "reading"), ("reason", "One degree is as near as it reads")]);
    // The other window: the axis is now 10° off.
    lab.post(&path, &with(&[("read_left", "-2.50 -0.75 x 90")])).await.assert_status(303);
    let refused = lab.post_as_is(&concession, &written).await;
    assert!(refused.assert_status(409).text(".notice").contains("look at the newest check"), "{}", refused.body);
    assert_eq!(lab.stage(number).await, Stage::Cut, "nothing was conceded");
    // Written for the newest check it is taken.
    let fresh = [("attempt", "2"), ("cause", "reading"), ("reason", "One degree is as near as it reads")];
    lab.post(&concession, &fresh).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Checked);
}

#[tokio::test]
async fn exchanged_eyes_are_named_and_never_sent() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let (path, concession) = (format!("/jobs/{number}/check"), format!("/jobs/{number}/check/concession"));
    let exchanged = [("read_right", "-2.50 -0.75 x 80"), ("read_left", "-2.25 -1.25 x 95")];
    lab.post(&path, &with(&exchanged)).await.assert_status(303);
    let page = lab.get(&path).await;
    assert_eq!(page.text("#looks-like li b"), "The right and the left lens, or their readings, look exchanged.");
    assert!(page.texts(".notice.caution").iter().any(|c| c.contains("cannot be sent with a reason")), "{}", page.body);
    assert!(page.texts("#concession").is_empty());
    let reason = [("cause", "customer_asked"), ("reason", "The customer wants them so")];
    let refused = lab.post(&concession, &reason).await;
    assert!(refused.assert_status(409).body.contains("look exchanged"), "{}", refused.body);
    assert_eq!(lab.stage(number).await, Stage::Cut);
}

#[tokio::test]
async fn a_power_beyond_twice_its_limit_is_never_sent() {
    let lab = TestLab::new().await;
    let concede = [("attempt", "1"), ("cause", "customer_asked"), ("reason", "The customer wants them so")];
    // ANSI Z80.1-2015 quick-reference guide: ±0.13 up to 6.50 D; twice that is 0.26.
    for (right, may_go) in [("-2.51 -1.25 x 95", true), ("-2.53 -1.25 x 95", false)] {
        let number = lab.given_cut_job().await;
        lab.post(&format!("/jobs/{number}/check"), &with(&[("read_right", right)])).await.assert_status(303);
        assert_eq!(lab.stage(number).await, Stage::Cut, "{right}");
        let answer = lab.post(&format!("/jobs/{number}/check/concession"), &concede).await;
        answer.assert_status(if may_go { 303 } else { 409 });
    }
}

#[tokio::test]
async fn centers_far_from_their_place_do_not_pass() {
    let mut lab = TestLab::new().await;
    // Both 5 mm low, and the whole pair 3 mm to one side: no row of the standard sees either in a weak pair.
    for (changes, row) in
        [(vec![("height_right", "15"), ("height_left", "15")], "height"), (vec![("pd", "35/29")], "across")]
    {
        let number = lab.given_cut_job().await;
        lab.post(&format!("/jobs/{number}/check"), &with(&changes)).await.assert_status(303);
        let failed = lab.get(&format!("/jobs/{number}/check")).await.texts("tr.fail");
        assert!(failed.iter().any(|line| line.to_lowercase().contains(row)), "{row}: {failed:?}");
        assert_eq!(lab.stage(number).await, Stage::Cut, "{row}");
    }
    // The lab may switch the rows off.
    let off = rimbook::desk::lab::Lab {
        center_across: None,
        center_height: None,
        ..lab.store.find_lab().await.unwrap().unwrap()
    };
    lab.store.change_lab("lab-off", &off, crate::support::NOW).await.unwrap();
    lab = lab.reopened().await;
    let number = lab.given_cut_job().await;
    lab.post(&format!("/jobs/{number}/check"), &with(&[("height_right", "15"), ("height_left", "15")])).await;
    assert_eq!(lab.stage(number).await, Stage::Checked);
}

#[tokio::test]
async fn a_lens_of_another_job_on_the_bench_is_named() {
    let lab = TestLab::new().await;
    let other = lab.given_job_to("-6.50 -1.75 x 20", "+3.25 -0.50 x 170").await;
    lab.given_shape_for(other).await;
    lab.given_lenses_for(other).await;
    let number = lab.given_cut_job().await;
    let path = format!("/jobs/{number}/check");
    lab.post(&path, &with(&[("read_right", "+3.25 -0.50 x 168")])).await.assert_status(303);
    let says = format!("The right reading fits the left lens of job {other}, which is also on the bench.");
    assert_eq!(lab.get(&path).await.texts("#looks-like li"), [says]);
    // A reading that fits nobody's lens is not explained.
    lab.post(&path, &with(&[("read_right", "+3.75 -0.50 x 168")])).await.assert_status(303);
    assert!(lab.get(&path).await.texts("#looks-like li").is_empty());
}

/// The least of polycarbonate is 1.50 mm in a new book (common practice, from memory).
#[tokio::test]
async fn a_lens_is_not_thinner_than_the_least_of_its_material() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let path = format!("/jobs/{number}/check");
    assert!(lab.get(&path).await.text("#center_right-hint").contains("Least 1.5 mm"));
    let wrong = lab.post(&path, &with(&[("center_right", "0.4"), ("center_left", "2")])).await;
    assert!(wrong.assert_status(422).text("#center_right-error").contains("between 0.5 and 20"));
    assert_eq!(wrong.attributes("#center_right, #center_left", "value"), ["0.4", "2"]);

    lab.post(&path, &with(&[("center_right", "1.42"), ("center_left", "1.6")])).await.assert_status(303);
    let page = lab.get(&path).await;
    assert_eq!(page.text(".verdict .mark"), "Not passed");
    assert!(
        page.text(".verdict").contains("Outside the limit: right thickness at the center."),
        "{}",
        page.text(".verdict")
    );
    let rows = page.texts("tbody tr");
    assert!(rows.iter().any(|row| row.contains("1.50 mm or more1.42 mm") && row.contains("not thinner")), "{rows:?}");
    assert_eq!(page.attributes("#center_right", "value"), ["1.42"], "the reading is filled in to be read again");
    assert_eq!(lab.stage(number).await, Stage::Cut);

    lab.post(&path, &with(&[("center_right", "1.5"), ("center_left", "1.6")])).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Checked);
    let rows = lab.verdict_rows(number).await;
    for row in ["right mm 1.50 1.42 0.08 0", "left mm 1.50 1.60 0.00 1", "right mm 1.50 1.50 0.00 1"] {
        assert!(rows.iter().any(|stored| stored == row), "{row} in {rows:?}");
    }
    let sheet = lab.get(&format!("/jobs/{number}/packing-sheet")).await.text("article");
    assert!(sheet.contains("right 1.50 mm (1.50 mm or more), left 1.60 mm"), "{sheet}");
    assert!(lab.get(&format!("/jobs/{number}/ticket")).await.text("article").contains("Center thickness, 1.5 or more"));
}

/// The least of polycarbonate here is 1.5 mm (`desk::catalogue`). A thin lens may break toward the eye: it leaves only where
/// something says that this very lens resists impact.
#[tokio::test]
async fn a_lens_that_is_too_thin_needs_its_own_proof_before_it_is_sent() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let (path, concession) = (format!("/jobs/{number}/check"), format!("/jobs/{number}/check/concession"));
    lab.post(&path, &with(&[("center_right", "1.2"), ("center_left", "2")])).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Cut);
    let reason = [("attempt", "1"), ("cause", "customer_asked"), ("reason", "The customer wants them thin")];
    let page = lab.get(&path).await;
    let says = page.texts(".notice.caution").join(" ");
    assert!(says.contains("the right lens is 1.20 mm thick at the center"), "{says}");
    assert!(says.contains("nothing on record says that this lens resists impact"), "{says}");
    assert!(page.attributes(".notice.caution a", "href").contains(&format!("/jobs/{number}/packing#impact")));
    assert!(page.texts("#concession").is_empty());
    let refused = lab.post(&concession, &reason).await;
    assert!(refused.assert_status(409).body.contains("resists impact"), "{}", refused.body);
    assert_eq!(lab.stage(number).await, Stage::Cut);

    lab.given_impact_for(number).await;
    assert!(!lab.get(&path).await.texts("#concession").is_empty());
    lab.post(&concession, &reason).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Checked);
}
