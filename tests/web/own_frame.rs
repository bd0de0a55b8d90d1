//! The customer's own frame, and the photographs and letters of a job.

use axum::http::header;
use rimbook::desk::bill::ChargeKind;
use rimbook::desk::packing::{ITEMS, Parcel};

use crate::support::TestLab;

/// The beginning of each kind of picture, enough to tell it by.
pub const PNG: &[u8] = b"\x89PNG\r\n\x1a\n one";
const JPEG: &[u8] = b"\xFF\xD8\xFF\xE0 two";
const WEBP: &[u8] = b"RIFF\x10\0\0\0WEBPVP8 three";

/// A job whose bill has no frame of ours.
async fn given_own_frame_job(lab: &TestLab) -> i64 {
    let mut order = lab.order().await;
    order.charges.retain(|line| line.kind != ChargeKind::Frame);
    lab.given_order(&order).await
}

/// Everything up to packing.
async fn make(lab: &TestLab, number: i64) {
    lab.given_shape_for(number).await;
    lab.given_lenses_for(number).await;
    lab.given_cut_for(number).await;
    lab.given_impact_for(number).await;
    lab.post(&format!("/jobs/{number}/check"), &crate::support::GOOD_READING).await.assert_status(303);
}

const ARRIVED: [(&str, &str); 2] =
    [("received_on", "2026-11-24"), ("condition", "left temple scratched, one pad missing")];

#[tokio::test]
async fn an_own_frame_is_awaited_received_and_goes_back() {
    let lab = TestLab::new().await;
    let number = given_own_frame_job(&lab).await;
    let job = format!("/jobs/{number}");
    let path = format!("{job}/own-frame");
    let early = given_own_frame_job(&lab).await;
    make(&lab, early).await;
    let awaited = lab.get(&format!("/jobs/{early}/packing")).await;
    assert!(
        awaited.text(".notice.caution").contains("The customer’s frame has not come in"),
        "{}",
        awaited.text("main")
    );
    assert!(lab.get(&job).await.text("main").contains("The customer sends in a frame; it has not come in yet"));
    assert!(lab.get(&path).await.text(".notice").contains("has not come in yet"));
    let taken = lab.upload(&path, &ARRIVED, "photographs", "front.png", PNG).await;
    assert_eq!((taken.status.as_u16(), taken.location.as_str()), (303, path.as_str()));
    let lab = lab.reopened().await;
    let page = lab.get(&path).await;
    assert!(page.text("section.slip").contains("Received Nov 24, 2026 left temple scratched, one pad missing"));
    let picture = page.attributes(".pictures img", "src").remove(0);
    let sent = lab.get(&picture).await;
    assert_eq!(sent.assert_status(200).headers[header::CONTENT_TYPE], "image/png");
    assert_eq!(sent.headers[header::X_CONTENT_TYPE_OPTIONS], "nosniff");
    assert_eq!(sent.headers[header::CONTENT_DISPOSITION], "inline; filename=\"front.png\"");
    assert!(!lab.get(&job).await.text("main").contains("has not come in yet"));
    assert_eq!(lab.get(&job).await.attributes(".pictures img", "alt"), ["the customer’s frame as it came"]);
    // The packing list asks for its way back, and does not let the parcel go without.
    make(&lab, number).await;
    let list = format!("{job}/packing");
    assert!(!lab.get(&list).await.text("main").contains("has not come in"));
    assert!(lab.get(&list).await.text("main").contains("own frame is compared with its recorded condition and packed"));
    let ticks =
        |of| ITEMS.iter().filter(move |item| item.applies_to(of)).map(|item| ("tick", item.key)).collect::<Vec<_>>();
    let refused = lab.post(&list, &ticks(Parcel::Glasses)).await;
    assert_eq!(refused.assert_status(422).texts("p.error").len(), 1);
    lab.post(&list, &ticks(Parcel::OwnFrame)).await.assert_status(303);
    lab.send_on(number).await;
    let page = lab.get(&path).await;
    assert!(page.text("section.slip").contains("Sent back with the lenses Nov 25, 2026"));
    assert!(page.texts("main form[method=post]").is_empty(), "nothing comes in after the parcel left");
}

#[tokio::test]
async fn a_job_with_our_frame_awaits_none() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    assert!(!lab.get(&format!("/jobs/{number}")).await.text("main").contains("has not come in yet"));
    let path = format!("/jobs/{number}/own-frame");
    assert!(lab.get(&path).await.text(".notice").contains("one of ours"));
    // It may be sent in all the same.
    lab.upload(&path, &ARRIVED, "photographs", "", b"").await.assert_status(303);
    assert!(lab.get(&path).await.text("section.slip").contains("Received Nov 24, 2026"));
}

#[tokio::test]
async fn a_wrong_file_or_field_has_its_sentence_and_keeps_the_rest() {
    let lab = TestLab::new().await;
    let number = given_own_frame_job(&lab).await;
    let path = format!("/jobs/{number}/own-frame");
    let large = [PNG, &vec![0; 8 * 1024 * 1024]].concat();
    for (name, bytes, said) in [
        (
            "frame.png",
            &b"<script>alert(1)</script>"[..],
            "“frame.png” is not a photograph: choose a JPEG, PNG or WebP picture",
        ),
        (
            "frame.svg",
            b"<svg xmlns='http://www.w3.org/2000/svg'/>",
            "“frame.svg” is not a photograph: choose a JPEG, PNG or WebP picture",
        ),
        ("letter.pdf", b"%PDF-1.7", "“letter.pdf” is not a photograph: choose a JPEG, PNG or WebP picture"),
        ("empty.png", b"", "“empty.png” is empty"),
        ("large.png", &large, "“large.png” is larger than 8 MB: save it smaller"),
    ] {
        let refused = lab.upload(&path, &ARRIVED, "photographs", name, bytes).await;
        assert_eq!(refused.assert_status(422).texts(".error"), [said]);
        assert_eq!(refused.attributes("#condition", "value"), [ARRIVED[1].1]);
    }
    let refused = lab.upload(&path, &[("received_on", "2026-11-26"), ("condition", " ")], "photographs", "", b"").await;
    assert_eq!(refused.assert_status(422).texts(".error"), ["This day is in the future", "The condition is needed"]);
    for table in ["own_frame_arrival", "attachment"] {
        assert_eq!(lab.count(table, number).await, 0, "{table}: nothing was kept");
    }
    let huge = vec![0; 25 * 1024 * 1024];
    let refused = lab.upload(&path, &ARRIVED, "photographs", "huge.png", &huge).await;
    assert!(refused.assert_status(400).text(".notice").contains("What was sent is too large"));
}

#[tokio::test]
async fn a_second_click_adds_nothing_and_a_correction_adds() {
    let lab = TestLab::new().await;
    let number = given_own_frame_job(&lab).await;
    let path = format!("/jobs/{number}/own-frame");
    let key = lab.get(&path).await.attributes("input[name=key]", "value").remove(0);
    let typed = [("key", key.as_str()), ARRIVED[0], ARRIVED[1]];
    for _ in 0..2 {
        lab.upload_as_is(&path, &typed, "photographs", "front.jpg", JPEG).await.assert_status(303);
    }
    assert_eq!((lab.count("own_frame_arrival", number).await, lab.count("attachment", number).await), (1, 1));
    // Another picture under the same key is another post.
    lab.upload_as_is(&path, &typed, "photographs", "side.webp", WEBP).await.assert_status(303);
    assert_eq!((lab.count("own_frame_arrival", number).await, lab.count("attachment", number).await), (2, 2));
    let page = lab.get(&path).await;
    assert!(page.text("section.slip").contains("One earlier note stands in the history"));
    assert_eq!(page.attributes(".pictures img", "src").len(), 2);
}

#[tokio::test]
async fn letters_and_photographs_of_any_job() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    let path = format!("/jobs/{number}/files");
    assert!(lab.get(&path).await.text(".empty").contains("No letter and no photograph"));
    let refused = lab.upload(&path, &[("kind", "photograph"), ("note", "n")], "file", "", b"").await;
    assert_eq!(refused.assert_status(422).texts(".error"), ["Choose a file"]);
    let refused = lab.upload(&path, &[("kind", "trace")], "file", "a.png", PNG).await;
    assert!(refused.assert_status(422).text(".error").contains("Choose a photograph or a letter"));
    let letter = [("kind", "letter"), ("note", "from Dr Fallow <b>")];
    lab.upload(&path, &letter, "file", "letter <b>.pdf", b"%PDF-1.7 x").await.assert_status(303);
    let page = lab.get(&path).await;
    assert!(page.attributes(".pictures img", "src").is_empty() && !page.body.contains("Fallow <b>"));
    assert!(page.text(".pictures").contains("from Dr Fallow <b>"));
    let sent = lab.get(&page.attributes(".pictures a", "href")[0]).await;
    assert_eq!(sent.headers[header::CONTENT_TYPE], "application/pdf");
    assert_eq!(sent.headers[header::CONTENT_DISPOSITION], "attachment; filename=\"letter _b_.pdf\"");
    assert!(sent.body.starts_with("%PDF-1.7"));
    // The same bytes with another job are kept once, and no job shows the file of another.
    let other = lab.given_job().await;
    lab.upload(&format!("/jobs/{other}/files"), &letter, "file", "letter.pdf", b"%PDF-1.7 x").await.assert_status(303);
    let id = page.attributes(".pictures a", "href")[0].rsplit('/').next().unwrap().to_owned();
    lab.get(&format!("/jobs/{other}/files/{id}")).await.assert_status(404);
    lab.get(&format!("/jobs/{number}/files/none")).await.assert_status(404);
    let history = lab.get(&format!("/jobs/{number}")).await.text(".history");
    assert!(history.contains("File added: letter, letter <b>.pdf: from Dr Fallow <b>"), "{history}");
}
