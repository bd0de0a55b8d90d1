//! Correcting an order until the lenses are cut.

use crate::support::{Answer, TestLab};
use rimbook::desk::job::{EventKind, Stage};
use rimbook::optics::Eye;

/// The form as the page fills it in, with these fields in the place of its own.
async fn form_with(lab: &TestLab, number: i64, changed: &[(&str, &str)]) -> Vec<(String, String)> {
    let page = lab.get(&format!("/jobs/{number}/correction")).await;
    let mut fields = crate::addresses::fields_of(&page, &format!("/jobs/{number}/correction"));
    for (name, value) in changed {
        fields.retain(|(known, _)| known != name);
        fields.push(((*name).to_owned(), (*value).to_owned()));
    }
    fields
}

async fn post(lab: &TestLab, number: i64, fields: &[(String, String)]) -> Answer {
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    lab.post_as_is(&format!("/jobs/{number}/correction"), &fields).await
}

/// Posts, ticks what the page asks to be looked at, and posts again.
pub async fn correct(lab: &TestLab, number: i64, changed: &[(&str, &str)]) -> Answer {
    let mut fields = form_with(lab, number, changed).await;
    let first = post(lab, number, &fields).await;
    if first.status == 303 {
        return first;
    }
    let seen = first.attributes("#seen", "value");
    assert_eq!(seen.len(), 1, "{:?} in\n{}", first.texts(".error"), first.body);
    fields.push(("seen".to_owned(), seen[0].clone()));
    post(lab, number, &fields).await
}

#[tokio::test]
async fn what_stands_is_filled_in_and_nothing_is_no_correction() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{number}/correction")).await;
    assert_eq!(page.attributes("#rx_right", "value"), ["-2.25 -1.25 x 95"]);
    assert_eq!(page.attributes("#height_right", "value"), ["20.00"]);
    assert_eq!(page.text("#material option[selected]").split(',').next(), Some("Polycarbonate 1.59"));
    assert_eq!(page.text("#coating option[selected]").split(',').next(), Some("Anti-reflective"));
    let before = lab.contents().await;
    let refused = post(&lab, number, &form_with(&lab, number, &[("reason", "no reason")]).await).await;
    refused.assert_status(422);
    assert!(refused.text("#reason-error").contains("Nothing is changed yet"));
    assert_eq!(lab.contents().await, before);
}

#[tokio::test]
async fn old_and_new_stand_in_the_history() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let changed = [("rx_right", "-2.50 -1.25 x 95"), ("height_left", "21"), ("reason", "misread the paper")];
    let done = correct(&lab, number, &changed).await;
    assert_eq!((done.status.as_u16(), done.location), (303, format!("/jobs/{number}")));
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!((job.revision, job.stage()), (2, Stage::Taken));
    assert_eq!(job.prescription.eyes.right.power.to_string(), "-2.50 -1.25 x 095");
    assert_eq!(job.prescription.prescriber, "Dr Ines Fallow");
    assert_eq!(job.coating.as_ref().map(|c| c.details.name.as_str()), Some("Anti-reflective"), "the rest stays");
    let said = &job.last(EventKind::Corrected).unwrap().note;
    assert!(said.contains("right sphere -2.25 to -2.50; left height 20.00 mm to 21.00 mm"), "{said}");
    assert!(said.contains("Reason: misread the paper."), "{said}");
    let shown = lab.get(&format!("/jobs/{number}")).await;
    assert!(shown.texts(".notice.caution").iter().any(|says| says.contains("right sphere -2.25 to -2.50")));
    // The order itself is kept as it was.
    assert_eq!(lab.count("job_revision", number).await, 2);
    assert_eq!(lab.count("job_eye", number).await, 4);
}

#[tokio::test]
async fn a_correction_that_touches_nothing_else_needs_no_tick() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let fields = form_with(&lab, number, &[("note", "soft bridge"), ("reason", "asked by phone")]).await;
    post(&lab, number, &fields).await.assert_status(303);
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!((job.note.as_str(), job.revision), ("soft bridge", 2));
    // The same form twice is done once.
    post(&lab, number, &fields).await.assert_status(303);
    assert_eq!(lab.count("job_revision", number).await, 2);
}

#[tokio::test]
async fn a_lens_in_hand_that_no_longer_fits_is_asked_for() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let changed = [("rx_right", "-2.50 -1.25 x 95"), ("reason", "misread the paper")];
    let asked = post(&lab, number, &form_with(&lab, number, &changed).await).await;
    asked.assert_status(422);
    assert!(asked.text("#old_right-error").contains("Choose where the lens now in hand goes"));
    assert_eq!(asked.attributes("[name=old_right]", "value"), ["stays", "drawer", "job", "order"]);
    assert!(asked.attributes("[name=old_left]", "value").is_empty(), "the left lens fits as before");
    let done = correct(&lab, number, &[changed.as_slice(), &[("old_right", "drawer")]].concat()).await;
    done.assert_status(303);
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!(job.stage(), Stage::ShapeOnFile);
    assert!(!job.is_lens_in_hand(Eye::Right) && job.is_lens_in_hand(Eye::Left));
    assert_eq!(job.last(EventKind::AsideRight).unwrap().note, "back into the drawer");
    let lenses = lab.store.find_lenses(number).await.unwrap();
    assert!(lenses.right.is_none() && lenses.left.is_some());
}

#[tokio::test]
async fn a_lens_that_was_right_all_along_stays() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let changed = [("rx_right", "-2.50 -1.25 x 95"), ("reason", "misread the paper"), ("old_right", "stays")];
    correct(&lab, number, &changed).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::LensesInHand);
}

/// Decides on the prescribed power.
async fn decide(lab: &TestLab, path: &str) {
    let mut fields = crate::addresses::fields_of(&lab.get(path).await, path);
    fields.retain(|(name, _)| name != "decision");
    fields.push(("decision".to_owned(), "prescribed".to_owned()));
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    lab.post_as_is(path, &fields).await.assert_status(303);
}

#[tokio::test]
async fn a_decision_for_another_power_counts_no_more() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/compensation");
    decide(&lab, &path).await;
    assert!(lab.store.get_job(number).await.unwrap().power_decision.is_some());
    let mut fields = form_with(&lab, number, &[("rx_right", "-2.50 -1.25 x 95"), ("reason", "misread")]).await;
    let first = post(&lab, number, &fields).await;
    assert!(first.text("#follows").contains("That decision no longer counts"), "{}", first.text("#follows"));
    fields.push(("seen".to_owned(), first.attributes("#seen", "value").remove(0)));
    post(&lab, number, &fields).await.assert_status(303);
    let job = lab.store.get_job(number).await.unwrap();
    assert!(job.power_decision.is_none());
    assert_eq!(job.lens_power(Eye::Right).to_string(), "-2.50 -1.25 x 095");
    decide(&lab, &path).await;
    assert!(lab.store.get_job(number).await.unwrap().power_decision.is_some(), "it can be decided again");
}

#[tokio::test]
async fn what_follows_is_named_before_it_is_saved() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    lab.post(&format!("/jobs/{number}/tickets"), &[]).await.assert_status(303);
    let changed = [("coating", ""), ("reason", "does not want it"), ("old_right", "stays"), ("old_left", "stays")];
    let before = lab.contents().await;
    let first = post(&lab, number, &form_with(&lab, number, &changed).await).await;
    first.assert_status(422);
    let follows = first.text("#follows");
    assert!(follows.contains("printed bench ticket is out of date"), "{follows}");
    assert!(follows.contains("The bill was made for another coating"), "{follows}");
    assert!(first.text("#changes").contains("coating Anti-reflective to none"));
    assert_eq!(lab.contents().await, before);
    // A tick under other changes confirms nothing.
    let mut other = form_with(&lab, number, &[changed.as_slice(), &[("height_right", "21")]].concat()).await;
    other.push(("seen".to_owned(), first.attributes("#seen", "value").remove(0)));
    post(&lab, number, &other).await.assert_status(422);
    assert_eq!(lab.contents().await, before);
}

#[tokio::test]
async fn a_field_that_is_wrong_says_so_and_nothing_is_lost() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    for (field, value, says) in [
        ("rx_right", "-2.25 -1.25", "axis"),
        ("pd", "banana", ""),
        ("height_right", "45", "only 40.00 mm high"),
        ("material", "none", "that is offered"),
        ("reason", " ", "The reason"),
        ("made_for", "near", ""),
    ] {
        let beside = if field == "made_for" { "near_pd" } else { field };
        let typed = [("note", "soft bridge"), ("reason", "measured again"), (field, value)];
        let refused = post(&lab, number, &form_with(&lab, number, &typed).await).await;
        refused.assert_status(422);
        let error = refused.text(&format!("#{beside}-error"));
        assert!(error.contains(says), "{field}: {error}");
        assert!(refused.text("#note").contains("soft bridge"));
    }
    assert_eq!(lab.store.get_job(number).await.unwrap().revision, 1);
}

#[tokio::test]
async fn what_is_typed_survives_a_reload() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/correction");
    let key = lab.key_for(&path, &[]).await.unwrap();
    lab.post_as_is(&format!("/drafts/{key}"), &[("rx_right", "-2.50 -1.2"), ("reason", "misr")]).await;
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#rx_right", "value"), ["-2.50 -1.2"]);
    assert_eq!(page.attributes("#rx_left", "value"), ["-2.50 -0.75 x 80"]);
    assert_eq!(page.attributes("#reason", "value"), ["misr"]);
}

#[tokio::test]
async fn an_outdated_correction_is_shown_again() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let old = form_with(&lab, number, &[("note", "old window"), ("reason", "first")]).await;
    correct(&lab, number, &[("height_right", "21"), ("reason", "measured again")]).await.assert_status(303);
    let refused = post(&lab, number, &old).await;
    refused.assert_status(422);
    assert!(refused.text("#reason-error").contains("changed in another window"));
    assert!(refused.text("#changes").contains("right height 21.00 mm to 20.00 mm"), "it says what it would undo");
    assert_eq!(lab.store.get_job(number).await.unwrap().revision, 2);
}

#[tokio::test]
async fn after_the_cut_a_remake_is_offered() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    let page = lab.get(&format!("/jobs/{number}/correction")).await;
    assert!(page.text(".notice.stop").contains("record a remake instead"));
    assert!(page.attributes("main .acts a", "href").contains(&format!("/jobs/{number}/remake")));
    let key = format!("correction-{number}-0");
    lab.post(&format!("/jobs/{number}/correction"), &[("key", &key)]).await.assert_status(409);
    assert!(
        lab.get(&format!("/jobs/{number}")).await.attributes("a", "href").iter().all(|a| !a.ends_with("/correction"))
    );
}

#[tokio::test]
async fn the_heights_are_taken_by_rule_here_too() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/correction");
    let rule = [("intent", "heights"), ("pupil_height_left", "24"), ("tilt", "8"), ("reason", "measured")];
    let taken = post(&lab, number, &form_with(&lab, number, &rule).await).await;
    assert_eq!(taken.assert_status(303).location, path);
    let page = lab.get(&path).await;
    // 1 mm lower for each 2 degrees of tilt (common practice); the other one stays.
    assert_eq!(page.attributes("#height_right, #height_left", "value"), ["20.00", "20.00"]);
    assert_eq!(page.attributes("#pupil_height_left, #tilt, #reason", "value"), ["24", "8", "measured"]);
    let before = lab.contents().await;
    let rule = [("intent", "heights"), ("pupil_height_left", ""), ("pupil_height_right", ""), ("reason", "measured")];
    let refused = post(&lab, number, &form_with(&lab, number, &rule).await).await;
    assert!(refused.assert_status(422).text("#pupil_height_right-error").contains("at least one pupil"));
    assert_eq!(refused.attributes("#reason", "value"), ["measured"]);
    assert_eq!(lab.contents().await, before, "nothing is corrected by it");
    let buttons = page.attributes("main form button[type=submit]", "class");
    assert_eq!(buttons[0], "visually-hidden", "Enter corrects the order");
}

/// -2.25 -1.25 is V2103, -5.25 -1.25 is V2107 (HCPCS descriptors, `desk::procedure_code`).
#[tokio::test]
async fn the_bill_follows_a_corrected_power_line_by_line() {
    let lab = TestLab::new().await;
    for takes in [true, false] {
        let number = lab.given_job().await;
        let billed = lab.store.get_account(number).await.unwrap().billed();
        let changed = [("rx_right", "-5.25 -1.25 x 95"), ("vertex_unknown", "yes"), ("reason", "misread the paper")];
        let mut fields = form_with(&lab, number, &changed).await;
        let first = post(&lab, number, &fields).await;
        let follows = first.assert_status(422).text("#follows");
        assert!(follows.contains("reverse Lens, single vision (V2103), right, $45.00"), "{follows}");
        assert!(follows.contains("add Single-vision lens, Polycarbonate 1.59 (V2107), right, $45.00"), "{follows}");
        assert_eq!(first.attributes("[name=rebill][checked]", "value"), ["yes"]);
        fields.push(("seen".to_owned(), first.attributes("#seen", "value").remove(0)));
        fields.push(("rebill".to_owned(), if takes { "yes" } else { "no" }.to_owned()));
        for _ in 0..2 {
            post(&lab, number, &fields).await.assert_status(303);
        }
        let account = lab.store.get_account(number).await.unwrap();
        let codes: Vec<&str> = account
            .standing()
            .filter(|line| line.charge.code.starts_with("V21"))
            .map(|line| line.charge.code.as_str())
            .collect();
        assert_eq!(codes, if takes { ["V2103", "V2107"] } else { ["V2103", "V2103"] });
        assert_eq!(account.billed(), billed, "the price agreed on stays");
        let changes: Vec<&str> = account.lines.iter().map(|l| l.reason.as_str()).filter(|r| !r.is_empty()).collect();
        assert_eq!(changes, if takes { vec!["misread the paper"; 2] } else { Vec::new() }, "each with its reason");
        let says = lab.get(&format!("/jobs/{number}")).await.texts(".notice.caution").join(" ");
        let said = if takes { "The bill was changed so." } else { "The bill was left as it was." };
        assert!(says.contains(said), "{says}");
    }
}

/// A lens on order for what was ordered before is named where it would be taken, and where it comes in.
#[tokio::test]
async fn a_lens_on_order_that_is_wrong_now_is_named() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    lab.given_shape_for(number).await;
    lab.post("/buying", &crate::buying::order_of(&lab).await).await.assert_status(303);
    let fields = form_with(&lab, number, &[("rx_right", "-2.50 -1.25 x 95"), ("reason", "misread")]).await;
    let asked = post(&lab, number, &fields).await;
    let (said, left) = (asked.text("main"), "The left lens is on order from Brightwater Optical, order 101.");
    assert_eq!(said.matches("on order from").count(), 1, "{said}");
    assert!(said.contains(left) && said.contains("The right lens is ordered from a supplier: change"), "{said}");
    correct(&lab, number, &[("rx_right", "-2.50 -1.25 x 95"), ("reason", "misread")]).await.assert_status(303);
    let ways = lab.get(&format!("/jobs/{number}/lenses")).await.texts(".lens-way .mark");
    assert!(ways[0].contains("another power than the job asks for now") && !ways[1].contains("another"), "{ways:?}");
    let wrong = lab.get("/purchases/101").await.texts(".mark.fail");
    assert_eq!(wrong, ["another power than the job asks for now"]);
    let cancellation = lab.get(&format!("/jobs/{number}/cancellation")).await.text("form.stack > p");
    assert!(cancellation.contains("Both lenses are on order from Brightwater Optical, order 101."), "{cancellation}");
    let asked = [("asked_by", "customer"), ("reason", "moved away")];
    lab.post(&format!("/jobs/{number}/cancellation"), &asked).await.assert_status(303);
    assert_eq!(lab.get("/purchases/101").await.texts(".mark.fail"), ["the job is canceled", "the job is canceled"]);
}
