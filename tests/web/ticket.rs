//! The bench ticket.

use rimbook::desk::frame_shape::NewShape;
use rimbook::desk::lab::Lab;

use crate::support::{NOW, TestLab};

#[tokio::test]
async fn prints_blanks_before_there_is_a_shape() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{number}/ticket")).await;
    page.assert_status(200);
    let words = page.text("article");
    for wanted in [
        "Bench ticket",
        "Ada Quill",
        "-2.25 -1.25 x 095",
        "-3.50 +1.25 x 005",
        "-2.50 -0.75 x 080",
        "31.00",
        "33.00",
        "20.00",
        "No shape on file yet",
        "rough dry, finish wet",
        "full rim, plastic",
        "V bevel",
        "must measure 50 mm",
    ] {
        assert!(words.contains(wanted), "{wanted} in {words}");
    }
    assert!(page.texts(".write-in").len() >= 12);
    assert!(page.texts(".true-size").is_empty());
    assert_eq!(page.attributes(".barcode svg", "role"), ["img"]);
}

#[tokio::test]
async fn prints_the_layout_and_both_shapes_at_true_size() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let page = lab.get(&format!("/jobs/{number}/ticket")).await;
    let words = page.text("article");
    // 52 + 18 gives a frame PD of 70; half of it less 31 is 4 in, less 33 is 2 in; height 20 is half of B 40.
    for wanted in ["70.00", "4.00 in", "2.00 in", "52.00 × 40.00", "lot 4711", "Circumference"] {
        assert!(words.contains(wanted), "{wanted} in {words}");
    }
    assert!(!words.contains("No shape on file"));
    // Two eyes of 52, a bridge of 18 and 2 mm of room on each side; 40 high and 2 mm above and below.
    // 126 by 44 mm in whole CSS pixels.
    assert_eq!(page.attributes(".true-size svg", "width"), ["477px"]);
    assert_eq!(page.attributes(".true-size svg", "height"), ["167px"]);
    assert_eq!(page.attributes(".true-size svg", "viewBox"), ["-63.000 -22.000 126.206250 44.185417"]);
}

#[tokio::test]
async fn prescribed_prism_counts_in_the_blank() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("-4.00 DS 2 BI", "-4.00 DS").await;
    lab.given_shape_for(number).await;
    let words = lab.get(&format!("/jobs/{number}/ticket")).await.text("article");
    assert!(words.contains("Prism 2.00 base in") && words.contains("where the prescribed power and prism are read"));
    // -4.00 with 2 base in wants the center 5 out (Prentice): 4 in for the pupil leaves 1 out, so the farthest point of
    // the outline is 27 from it, against 30 without prism.
    assert!(
        words.contains("Smallest blank, with margin 56.00") && words.contains("optical center moved 5.00 mm out"),
        "{words}"
    );
    // No power, no prism by decentration: it must be ordered surfaced (textbook).
    let number = lab.given_job_to("pl 2 BI", "-4.00 DS").await;
    lab.given_shape_for(number).await;
    let words = lab.get(&format!("/jobs/{number}/ticket")).await.text("article");
    assert!(words.contains("order the prism surfaced"), "{words}");
}

#[tokio::test]
async fn the_axis_drawn_is_that_of_the_power_in_large_figures() {
    let lab = TestLab::new().await;
    // One lens in both forms: the axis of the minus form stands, whichever was written.
    let number = lab.given_job_to("+3.00 +0.50 x 180", "+3.50 -0.50 x 90").await;
    lab.given_shape_for(number).await;
    let ticket = lab.get(&format!("/jobs/{number}/ticket")).await;
    assert_eq!(ticket.texts(".rx.large"), ["+3.50 -0.50 x 090", "+3.50 -0.50 x 090"]);
    let lines = ticket.attributes(".true-size path[stroke-dasharray]", "d");
    assert_eq!(lines.len(), 2, "{lines:?}");
    for line in lines {
        let ends: Vec<&str> = line.trim_start_matches('M').split('L').collect();
        let x = |end: &str| end.split(' ').next().unwrap_or_default().to_owned();
        assert_eq!(x(ends[0]), x(ends[1]), "axis 090 stands upright: {line}");
    }
}

#[tokio::test]
async fn a_number_that_was_never_given_is_not_in_the_book() {
    TestLab::new().await.get("/jobs/4/ticket").await.assert_status(404);
}

/// The words of the sheet and the numbers of its layout, as a change of the lab would move them.
async fn sheet(lab: &TestLab, path: &str) -> String {
    let page = lab.get(path).await;
    page.assert_status(200);
    page.text("article")
}

#[tokio::test]
async fn a_kept_ticket_stays_as_it_printed() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let now = format!("/jobs/{number}/ticket");
    let before = sheet(&lab, &now).await;
    let kept = lab.post(&format!("/jobs/{number}/tickets"), &[]).await;
    kept.assert_status(303);
    assert_eq!(sheet(&lab, &kept.location).await, before);
    // The blocker has a coarser step from now on, and the frame is traced again with another bridge.
    let coarser = Lab {
        blocker_step: "1".parse().unwrap(),
        name: "Another name".into(),
        ..lab.store.find_lab().await.unwrap().unwrap()
    };
    lab.store.change_lab("coarser", &coarser, NOW).await.unwrap();
    let lab = lab.reopened().await;
    let table = "24.00\n".repeat(36);
    let shape = NewShape::read(table.as_bytes(), "again.txt", None, None, "22".parse().unwrap()).unwrap();
    lab.store.keep_shape("again", number, &shape, NOW).await.unwrap();
    assert_ne!(sheet(&lab, &now).await, before, "the job as it stands is laid out anew");
    assert_eq!(sheet(&lab, &kept.location).await, before);
    let lab = lab.reopened().await;
    assert_eq!(sheet(&lab, &kept.location).await, before);
    // After the cut the kept ticket is the ticket.
    lab.given_cut_for(number).await;
    assert_eq!(lab.get(&now).await.location, kept.location);
    assert_ne!(sheet(&lab, &format!("{now}?as=now")).await, before);
    lab.get(&format!("/jobs/{number}/tickets/99")).await.assert_status(404);
}

#[tokio::test]
async fn a_ticket_before_the_trace_is_kept_too() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let kept = lab.post(&format!("/jobs/{number}/tickets"), &[]).await;
    kept.assert_status(303);
    assert!(sheet(&lab, &kept.location).await.contains("No shape on file yet"));
    let page = lab.get(&kept.location).await;
    assert!(page.text(".print-bar").contains("Printed "));
}
