//! The layout of a job: figures by hand, a blank on trial, what rounding leaves.

use crate::shapes::keep_ellipse;
use crate::support::{Answer, NOW, TestLab};

/// The figures of one eye, in order: set PD, set height, two nudges, two decentrations, the blank.
fn figures(page: &Answer, eye: &str) -> Vec<String> {
    let mut all = page.texts(&format!(".eye-{eye} .figures dd"));
    all.truncate(7);
    all
}

#[tokio::test]
async fn without_a_shape_it_says_so() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{job}/layout")).await;
    assert!(page.assert_status(200).text(".empty").contains("No shape is on file"));
    assert_eq!(page.attributes(".empty a", "href"), [format!("/jobs/{job}/shape")]);
    lab.get("/jobs/77/layout").await.assert_status(404);
}

#[tokio::test]
async fn an_ellipse_by_hand() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let page = lab.get(&format!("/jobs/{job}/layout")).await;
    page.assert_status(200);
    // A 50, B 40, DBL 20: frame PD 70. 35 - 31 = 4 in, 35 - 33 = 2 in; height 20 = B/2, so no height.
    // The farthest point is the temple end, 25 + 4 and 25 + 2 away: 58 and 54, with 2 mm 60 and 56 (closed form).
    assert_eq!(page.text("#frame-pd"), "70.00 mm");
    assert_eq!(page.text("#wanted-pd"), "64.00 mm");
    assert_eq!(
        figures(&page, "right"),
        ["31.0 mm", "20.0 mm", "0.00 mm", "0.00 mm", "4.00 mm in", "0.00 mm", "60.00 mm"]
    );
    assert_eq!(
        figures(&page, "left"),
        ["33.0 mm", "20.0 mm", "0.00 mm", "0.00 mm", "2.00 mm in", "0.00 mm", "56.00 mm"]
    );
    // ED 50 and twice 4 and 2 mm.
    assert!(page.text(".eye-right").contains("exact 58.00") && page.text(".eye-right").contains("Rule of thumb 60.00"));
    // The smallest usual one is 60 for both, with (60 - 58) / 2 = 1 and 3 mm to spare at the temple.
    assert_eq!(page.texts(".left-prism"), ["no prism", "no prism"]);
    let notes = page.texts(".eye-note");
    assert!(notes[0].contains("Fits 60 mm") && notes[0].contains("1.00 mm spare, temple side, 9 o’clock"), "{notes:?}");
    assert!(notes[1].contains("3.00 mm spare, temple side, 3 o’clock"), "{notes:?}");
    // Both forms of the power; the axis of the minus form in the drawing.
    assert_eq!(page.texts(".eye-right .rx"), ["-2.25 -1.25 x 095", "-3.50 +1.25 x 005"]);
    assert_eq!(page.texts("svg text.plain"), ["axis 95°", "axis 80°"]);
    assert_eq!(page.texts("svg text.nose").len(), 2);
    assert_eq!(page.attributes(".eye-right svg circle.blank", "r"), ["30.00"]);
    // The blank's middle is at the optical center: 4 mm to the nose, which is the observer's right for the right eye.
    assert_eq!(page.attributes("svg circle.blank", "cx"), ["4.00", "-2.00"]);
    assert!(!page.body.contains("style="), "no inline style");
}

#[tokio::test]
async fn another_blank_and_step_may_be_tried() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let path = format!("/jobs/{job}/layout");
    let page = lab.get(&format!("{path}?blank_right=59&blank_left=50&step=0.1")).await;
    let notes = page.assert_status(200).texts(".eye-note");
    assert!(notes[0].contains("Tight 59 mm on trial: 0.50 mm spare"), "{notes:?}");
    assert!(notes[1].contains("Too small 50 mm on trial: 2.00 mm short, temple side"), "{notes:?}");
    assert_eq!(page.attributes("#step option[selected]", "value"), ["0.1"]);
    for (asked, sentence) in [
        ("blank_right=20", "A blank of 20.00 mm is not possible: between 40 and 90"),
        ("blank_left=wide", "“wide” is not a number"),
        ("step=0.3", "1, 0.5 or 0.1 mm"),
    ] {
        let page = lab.get(&format!("{path}?{asked}")).await;
        assert!(page.assert_status(422).text("#try-error").contains(sentence), "{asked}");
    }
}

#[tokio::test]
async fn what_rounding_leaves_is_said_in_millimeters_and_prism() {
    let lab = TestLab::new().await;
    // 31.25 each to half a millimeter: 31 and 31.5, a quarter too far in and a quarter too far out; height 21.1 is
    // set to 21, a tenth to go up. -4.00: 0.25 mm is 0.10 and 0.1 mm is 0.04 by Prentice. The right center stands too
    // far in and too low: a minus lens then gives base out and base up, the eye being above the center.
    let job = lab.given_job_at("-4.00 DS", "-4.00 DS", "31.25/31.25", "21.1").await;
    keep_ellipse(&lab, job).await;
    let page = lab.get(&format!("/jobs/{job}/layout")).await;
    assert_eq!(figures(&page, "right")[..4], ["31.0 mm", "21.0 mm", "0.25 mm out", "0.10 mm up"]);
    assert_eq!(figures(&page, "left")[..4], ["31.5 mm", "21.0 mm", "0.25 mm in", "0.10 mm up"]);
    let left = page.texts(".left-prism");
    assert_eq!(left, ["0.10 Δ base out", "0.04 Δ base up", "0.10 Δ base in", "0.04 Δ base up"]);
    assert!(page.text("#pair-prism").starts_with("0.00 Δ horizontal, 0.00 Δ vertical"), "{}", page.text("#pair-prism"));
    // To whole millimeters both are set to 31 and the two horizontal parts add.
    let page = lab.get(&format!("/jobs/{job}/layout?step=1")).await;
    assert!(page.text("#pair-prism").starts_with("0.20 Δ base out, 0.00 Δ vertical"), "{}", page.text("#pair-prism"));
}

#[tokio::test]
async fn prescribed_prism_is_made_by_decentration_or_refused() {
    let lab = TestLab::new().await;
    // -4.00 with 2 base in: the optical center 5 mm out of the pupil, so 1 out of the middle (35 - 31 - 5): 26 to the
    // nose end, 52 exact, 54 with the margin.
    let job = lab.given_job_at("-4.00 DS 2 BI", "pl 2 BI", "31/31", "20").await;
    keep_ellipse(&lab, job).await;
    let page = lab.get(&format!("/jobs/{job}/layout")).await;
    let said = page.text(".eye-right .prescribed");
    assert!(said.contains("2.00 base in") && said.contains("5.00 mm out") && said.contains("54.00 mm"), "{said}");
    assert_eq!(page.texts(".eye-right .needs"), ["54.00 mm"]);
    assert_eq!(page.texts(".eye-right .set-pd"), ["31.0 mm"], "the blocker goes by the dotted point");
    assert!(page.text(".eye-left .prescribed").contains("order the prism surfaced"));
}

#[tokio::test]
async fn no_stock_lens_is_said_in_one_sentence_everywhere() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    crate::shapes::keep_ellipse(&lab, job).await;
    let small = rimbook::desk::lab::Lab {
        stock_diameters: rimbook::desk::lab::read_diameters("50 55").unwrap(),
        ..lab.store.find_lab().await.unwrap().unwrap()
    };
    lab.store.change_lab("lab-small", &small, NOW).await.unwrap();
    let lab = lab.reopened().await;
    // The ellipse 4 mm in: 58 exact, 60 with the margin.
    let says = "No stock lens fits the right eye: it needs 60.00 mm, and the largest is 55 mm. Order it surfaced to 60 mm \
                or larger, or choose a smaller frame.";
    for page in ["layout", "lenses", "blanks", "edge", "ticket"] {
        let body = lab.get(&format!("/jobs/{job}/{page}")).await.assert_status(200).text("main, article");
        assert!(body.contains(says), "{page}: {body}");
    }
    // A lens in hand of another size answers the question.
    let bought = [("lens_right", "bought"), ("diameter_right", "65"), ("lens_left", "bought"), ("diameter_left", "65")];
    lab.post(&format!("/jobs/{job}/lenses"), &bought).await.assert_status(303);
    assert!(!lab.get(&format!("/jobs/{job}/layout")).await.body.contains("No stock lens"));
    // The list is set on the lab's page.
    let page = lab.get("/lab").await;
    assert_eq!(page.attributes("#stock_diameters", "value"), ["50 55"]);
}

#[tokio::test]
async fn a_height_that_was_not_ordered_is_the_middle_and_marked_assumed() {
    let lab = TestLab::new().await;
    let job = lab.given_job_at("-2.25 -1.25 x 95", "-2.50 -0.75 x 80", "63", "").await;
    for page in ["", "/ticket"] {
        let body = lab.get(&format!("/jobs/{job}{page}")).await.text("main, article");
        assert!(body.contains("the middle, assumed"), "{page}: {body}");
    }
    crate::shapes::keep_ellipse(&lab, job).await;
    // The ellipse is 40 mm high.
    let layout = lab.get(&format!("/jobs/{job}/layout")).await;
    assert_eq!(layout.text(".eye-right .set-height .num"), "20.0");
    assert!(layout.text(".eye-right .figures").contains("wanted the middle, assumed"));
    assert!(lab.get(&format!("/jobs/{job}/ticket")).await.text("article").contains("the middle, assumed"));
    lab.given_lenses_for(job).await;
    lab.given_cut_for(job).await;
    let check = lab.get(&format!("/jobs/{job}/check")).await.text(".eye-right .facts");
    assert!(check.contains("31.50 (halved), the middle, assumed"), "{check}");

    let up = lab.given_job_at("-2.25 -1.25 x 95", "-2.50 -0.75 x 80", "63", "4 above the middle").await;
    crate::shapes::keep_ellipse(&lab, up).await;
    assert_eq!(lab.get(&format!("/jobs/{up}/layout")).await.text(".eye-right .set-height .num"), "24.0");
}

#[tokio::test]
async fn a_prism_ground_in_is_read_and_blocked_at_its_reference_point() {
    let lab = TestLab::new().await;
    let job = lab.given_job_at("-4.00 DS 2 BI", "-4.00 DS", "31/31", "20").await;
    keep_ellipse(&lab, job).await;
    // Before buying: decentered it needs 54, which 55 covers.
    for page in ["lenses", "blanks"] {
        let says = lab.get(&format!("/jobs/{job}/{page}")).await.text(".eye-right .to-order");
        assert!(says.contains("Order 55 mm or larger, without prism; it is decentered"), "{page}: {says}");
    }
    let bought = [("lens_right", "bought"), ("diameter_right", "65"), ("ground_right", "yes"), ("lens_left", "")];
    lab.post(&format!("/jobs/{job}/lenses"), &bought).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{job}/layout")).await;
    let said = page.text(".eye-right .prescribed");
    assert!(said.contains("Ground in, the lens reads 2.00 base in at its prism reference point"), "{said}");
    // Around the pupil, 4 in: 58 exact and 60 with the margin (closed form), as without prism.
    assert_eq!(page.texts(".eye-right .needs"), ["60.00 mm"]);
    assert_eq!(page.attributes(".eye-right svg circle.blank", "cx"), ["4.00"]);
    let ticket = lab.get(&format!("/jobs/{job}/ticket")).await.text("article");
    assert!(ticket.contains("Prism 2.00 base in Ground in, the lens reads 2.00 base in"), "{ticket}");
    assert!(ticket.contains("prism ground in") && ticket.contains("Smallest blank, with margin 60.00"), "{ticket}");
    assert!(lab.get(&format!("/jobs/{job}/lenses")).await.text(".in-hand").contains("its prism ground in"));
    // The layout is stored as it was made.
    lab.post(&format!("/jobs/{job}/tickets"), &[]).await.assert_status(303);
    let made = lab.prism_makes(job).await;
    assert_eq!(made, [("left".to_owned(), None), ("right".to_owned(), Some("ground".to_owned()))]);
}

#[tokio::test]
async fn a_prism_that_decentration_cannot_make_must_be_ground_in() {
    let lab = TestLab::new().await;
    let job = lab.given_job_at("pl 2 BI", "-4.00 DS", "31/31", "20").await;
    keep_ellipse(&lab, job).await;
    let path = format!("/jobs/{job}/lenses");
    let page = lab.get(&path).await;
    assert!(page.text("main").contains(
        "No stock lens fits the right eye: its prism cannot be made by decentration. Order it surfaced, with its prism \
         ground, to 60 mm or larger."
    ));
    assert_eq!(page.attributes("#ground_right-yes", "checked").len(), 1, "it starts as it must be");
    let bought = [("lens_right", "bought"), ("diameter_right", "65")];
    let refused = lab.post(&path, &bought).await;
    assert!(refused.assert_status(422).text("#lens_right-error").contains("must have it ground in"));
    lab.post(&path, &[bought[0], bought[1], ("ground_right", "yes")]).await.assert_status(303);
}

#[tokio::test]
async fn a_strong_plus_lens_is_the_same_on_every_page() {
    let lab = TestLab::new().await;
    let job = lab.given_job_at("+12.50 DS", "-4.00 DS", "30/30", "20").await;
    keep_ellipse(&lab, job).await;
    // 25 mm and 5 in: 60 exact, 62 with the margin. From 30 to 32.5 mm +12.50 in 1.586 loses 1.7 mm and more (textbook).
    let says = "No stock lens fits the right eye: one of 65 mm this thin would have no edge left at its own rim. Order it surfaced";
    for page in ["layout", "lenses", "blanks", "edge", "ticket"] {
        let body = lab.get(&format!("/jobs/{job}/{page}")).await.assert_status(200).text("main, article");
        assert!(body.contains(says), "{page}: {body}");
    }
    let tried = lab.get(&format!("/jobs/{job}/layout?blank_right=75")).await;
    assert!(tried.text(".eye-right .eye-note").starts_with("Too thin 75 mm on trial"), "{}", tried.text(".eye-right"));
    assert!(lab.get(&format!("/jobs/{job}/blanks")).await.texts(".eye-right tr.ordered").is_empty());
    // 35² · 12.5 / 1172 = 13 mm (textbook rule of thumb): with a center of 7 the lens in hand cannot be what its envelope says.
    let bought = [("lens_right", "bought"), ("diameter_right", "70"), ("center_right", "7")];
    let refused = lab.post(&format!("/jobs/{job}/lenses"), &bought).await;
    assert!(refused.assert_status(422).text("#lens_right-error").contains("would have no edge at its own rim"));
}

#[tokio::test]
async fn a_suppliers_list_counts_on_every_page() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    // 60 mm are needed on the right.
    lab.post(&format!("/jobs/{job}/blanks"), &[("list", "62.5 3.90\n72")]).await.assert_status(303);
    let note = lab.get(&format!("/jobs/{job}/layout")).await.text(".eye-right .eye-note");
    assert!(note.contains("62.5 mm assumed, the smallest that fits on the supplier’s list"), "{note}");
    assert!(lab.get(&format!("/jobs/{job}/lenses")).await.text(".eye-right .to-order").contains("Order 62.5 mm"));
    lab.post(&format!("/jobs/{job}/blanks"), &[("list", "55")]).await.assert_status(303);
    let says = "No stock lens fits the right eye: it needs 60.00 mm, and the largest is 55 mm";
    for page in ["layout", "lenses", "blanks", "edge", "ticket"] {
        assert!(lab.get(&format!("/jobs/{job}/{page}")).await.text("main, article").contains(says), "{page}");
    }
}
