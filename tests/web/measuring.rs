//! Measuring from a photo, and the measuring sheet.

use std::io::Cursor;
use std::sync::LazyLock;

use image::{GrayImage, ImageFormat, Luma};
use rimbook::desk::job::EventKind;

use crate::addresses::fields_of;
use crate::support::{Answer, TestLab};

/// A photo of 1500 by 2000 pixels whose camera sees 3 pixels for each mm at the pupils, 500 mm away: a light card of 85.60 by
/// 53.98 mm, 10 mm nearer, so 262.04 by 165.24 pixels, on a dark ground.
static PHOTO: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let picture = GrayImage::from_fn(1500, 2000, |x, y| {
        let (x, y) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
        let (dx, dy) = ((x - 750.0).abs() - 131.02, (y - 850.0).abs() - 82.62);
        // Corners of 3.18 mm.
        let round = 9.7;
        let (ox, oy) = ((dx + round).max(0.0), (dy + round).max(0.0));
        let away = (ox.hypot(oy) - round).max(if ox > 0.0 && oy > 0.0 { -1e9 } else { dx.max(dy) });
        Luma([(140.0 - 90.0 * (away / 1.5).clamp(-1.0, 1.0)) as u8])
    });
    let mut bytes = Vec::new();
    picture.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).unwrap();
    bytes
});

/// By the rule of similar triangles, eyes 31 and 32.5 mm from the nose whose pupils look at the camera: 31 · 500 / 510.5 · 3 =
/// 91.09 pixels and 95.49 (computed by hand). The card's corners are those of [`PHOTO`].
const MARKS: [(&str, &str); 7] = [
    ("pupil_right", "658.91,1000"),
    ("pupil_left", "845.49,1000"),
    ("bridge", "750,1010"),
    ("corner_1", "618.98,767.38"),
    ("corner_2", "881.02,767.38"),
    ("corner_3", "881.02,932.62"),
    ("corner_4", "618.98,932.62"),
];

/// Keeps a photo; the address where it is marked.
async fn opened(lab: &TestLab, base: &str) -> String {
    let sent = lab.upload_as_is(&format!("{base}/measuring/photo"), &[], "file", "face.png", &PHOTO).await;
    sent.assert_status(303).location.clone()
}

/// The address of a page with every mark set and its figures.
pub async fn marked(lab: &TestLab, base: &str) -> String {
    let address = opened(lab, base).await;
    format!("{address}&{}", crate::support::encode(&MARKS))
}

async fn post(lab: &TestLab, path: &str, fields: &[(String, String)], more: &[(&str, &str)]) -> Answer {
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).chain(more.iter().copied()).collect();
    lab.post_as_is(path, &fields).await
}

#[tokio::test]
async fn a_card_is_found_and_marks_are_pressed() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let base = format!("/jobs/{number}");
    let empty = lab.get(&format!("{base}/measuring")).await;
    assert!(empty.text(".notice").contains("no measurement by a professional"));
    assert!(empty.attributes("input[type=image]", "src").is_empty());

    let address = opened(&lab, &base).await;
    let page = lab.get(&address).await;
    let image = page.attributes("input[type=image]", "src");
    assert_eq!(lab.bytes(&image[0]).await, *PHOTO);
    for (name, want) in &MARKS[3..] {
        let (got, want) = (&page.attributes(&format!("#{name}"), "value")[0], want);
        let numbers = |text: &str| text.split(',').map(|n| n.parse::<f64>().unwrap()).collect::<Vec<_>>();
        let off = numbers(got).iter().zip(numbers(want)).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(off < 1.0, "{name}: {got}, not {want}");
    }
    assert!(page.text("#figures").contains("Still to mark: right pupil; left pupil; middle of the nose"));

    // A press in the middle of the page's photo is a place in the middle of the file, and the next mark is chosen.
    let pressed = lab.get(&format!("{address}&shown=720&place=pupil_right&at.x=316&at.y=480")).await;
    assert_eq!(pressed.attributes("#pupil_right", "value"), ["658.3,1000.0"]);
    assert_eq!(pressed.attributes("input[name=place][checked]", "value"), ["pupil_left"]);
    assert_eq!(pressed.attributes("[data-mark=pupil_right]", "visibility"), [] as [&str; 0]);
    // A key presses it at its corner, which marks nothing.
    let by_key = lab.get(&format!("{address}&shown=720&place=pupil_right&at.x=0&at.y=0")).await;
    assert_eq!(by_key.attributes("#pupil_right", "value"), [""]);
}

#[tokio::test]
async fn figures_become_a_correction_with_its_reason() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let base = format!("/jobs/{number}");
    let address = marked(&lab, &base).await;
    let page = lab.get(&address).await;
    let figures = page.text("#figures");
    for words in ["31.0", "32.5", "63.5", "29.0", "30.4"] {
        assert!(figures.contains(words), "{words}: {figures}");
    }
    assert!(page.texts("#figures .notice").is_empty(), "{figures}");
    let wrong = lab.get(&format!("{address}&camera=far")).await;
    assert!(wrong.text("#camera-error").contains("200 to 5000"));
    let mirrored = lab
        .get(&format!("{}&pupil_right=900,1000&{}", opened(&lab, &base).await, crate::support::encode(&MARKS[1..])))
        .await;
    assert!(mirrored.text("#figures .error").contains("right eye is on the viewer’s left"));

    let path = format!("{base}/measuring/figures");
    let before = lab.contents().await;
    let fields = fields_of(&page, &path);
    assert_eq!(post(&lab, &path, &fields, &[]).await.assert_status(303).location, format!("{base}/correction"));
    assert_eq!(lab.contents().await, before, "nothing is changed yet, and the photo is not kept");
    let correction = lab.get(&format!("{base}/correction")).await;
    assert_eq!(correction.attributes("#pd", "value"), ["31.0/32.5"]);
    assert!(correction.attributes("#reason", "value")[0].starts_with("measured from a photo, ± "));
    assert_eq!(correction.attributes("#rx_right", "value"), ["-2.25 -1.25 x 95"], "the rest stands");

    let correct = format!("{base}/correction");
    let fields = fields_of(&correction, &correct);
    let first = post(&lab, &correct, &fields, &[]).await;
    let seen = first.attributes("#seen", "value").first().cloned();
    if let Some(seen) = seen {
        post(&lab, &correct, &fields, &[("seen", &seen)]).await.assert_status(303);
    }
    let lab = lab.reopened().await;
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!(job.prescription.pupil_distance.to_string(), "31.00/32.50");
    let said = &job.last(EventKind::Corrected).unwrap().note;
    assert!(said.contains("measured from a photo"), "{said}");
}

#[tokio::test]
async fn the_photo_is_kept_only_when_it_is_ticked_and_once() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let base = format!("/jobs/{number}");
    let page = lab.get(&marked(&lab, &base).await).await;
    let path = format!("{base}/measuring/figures");
    let fields = fields_of(&page, &path);
    for _ in 0..2 {
        post(&lab, &path, &fields, &[("keep", "yes")]).await.assert_status(303);
        assert_eq!(lab.store.list_files(number).await.unwrap().len(), 1);
    }
    let kept = lab.store.list_files(number).await.unwrap()[0].clone();
    assert_eq!((kept.name.as_str(), kept.note.as_str()), ("face.png", "photo for the pupil distance"));
    // A picture that is kept can be measured again, and no longer asks whether to keep it.
    let again = format!("{base}/measuring?photo={}", kept.id);
    assert!(lab.get(&format!("{base}/measuring")).await.attributes("main a", "href").contains(&again));
    let page = lab.get(&format!("{again}&{}", crate::support::encode(&MARKS))).await;
    assert!(page.text("#figures").contains("63.5") && page.attributes("#keep-yes", "id").is_empty());
    // Not by way of another job.
    let other = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{other}/measuring?photo={}", kept.id)).await;
    assert!(page.text(".notice.stop").contains("no longer in memory"));
}

#[tokio::test]
async fn an_order_in_the_making_goes_to_the_photo_and_back() {
    let lab = TestLab::new().await;
    let order = lab.get("/orders/new").await.location;
    let typed = [("customer_name", "Ada Quill"), ("rx_right", "-4.50 sph"), ("intent", "photo")];
    let sent = lab.post_as_is(&order, &typed).await;
    assert_eq!(sent.assert_status(303).location, format!("{order}/measuring"));
    let sheet = lab.get(&format!("{order}/measuring-sheet?paper=a4")).await;
    assert!(sheet.text(".sheet-a4 .sheet-head").contains("Ada Quill"), "{}", sheet.text("main"));

    let rims = [("rim_right", "658,1060"), ("rim_left", "846,1063")];
    let page = lab.get(&format!("{}&{}", marked(&lab, &order).await, crate::support::encode(&rims))).await;
    let path = format!("{order}/measuring/figures");
    let fields = fields_of(&page, &path);
    assert_eq!(post(&lab, &path, &fields, &[]).await.assert_status(303).location, order);
    let page = lab.get(&order).await;
    assert_eq!(page.attributes("#pd", "value"), ["31.0/32.5"]);
    assert_eq!(page.attributes("#near_pd", "value"), [""], "it was not chosen");
    assert_eq!(page.attributes("#customer_name", "value"), ["Ada Quill"]);
    assert_eq!(page.attributes("#rx_right", "value"), ["-4.50 sph"]);
    // 60 pixels below the right pupil, at 3 · 500 / 484 pixels for each mm in the plane of the frame: 19.4 mm; the line through
    // both lowest points falls by 3 pixels in 188, and runs 0.9 of a degree off (computed by hand).
    let heights = ["#pupil_height_right", "#pupil_height_left"].map(|id| page.attributes(id, "value")[0].clone());
    assert_eq!(heights, ["19.4", "20.3"]);
    let head = "details:has(#pupil_height_right) summary";
    assert_eq!(page.text(head), "Pupil heights measured from a photo");
    // Typed over, they are no longer those of the photo.
    let key = order.rsplit('/').next().unwrap();
    let mut fields = fields_of(&page, &order);
    fields.iter_mut().filter(|(name, _)| name == "pupil_height_right").for_each(|(_, value)| *value = "21".to_owned());
    post(&lab, &format!("/drafts/{key}"), &fields, &[]).await.assert_status(204);
    assert_eq!(lab.get(&order).await.text(head), "Height by rule of thumb");
}

#[tokio::test]
async fn the_width_of_the_frame_is_a_scale_too() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let base = format!("/jobs/{number}");
    let address = opened(&lab, &base).await;
    // 50 □ 20: 120 mm, 16 mm nearer: 120 · 1500 / 484 = 371.90 pixels.
    let edges = [("scale", "frame"), ("edge_right", "564.05,990"), ("edge_left", "935.95,990")];
    let page =
        lab.get(&format!("{address}&{}&{}", crate::support::encode(&MARKS[..3]), crate::support::encode(&edges))).await;
    assert_eq!(page.attributes("#frame_width", "value"), ["120.0"]);
    assert!(
        page.text("#figures").contains("63.5")
            && page.text("#figures").contains("does not show whether the head is turned")
    );
}

#[tokio::test]
async fn what_is_no_photo_is_refused_beside_the_field() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/measuring/photo");
    for (name, bytes, want) in [
        ("", &b""[..], "Choose a file"),
        ("face.jpg", b"a cat", "is not a photograph"),
        ("face.png", b"\x89PNG\r\n\x1a\n rest", "damaged"),
        ("face.webp", b"RIFF\x10\0\0\0WEBPVP8 ", "JPEG or PNG"),
    ] {
        let refused = lab.upload_as_is(&path, &[], "file", name, bytes).await;
        assert!(refused.assert_status(422).text("#file-error").contains(want), "{}", refused.text("main"));
    }
    let gone = lab.get(&format!("/jobs/{number}/measuring?photo={}", uuid::Uuid::now_v7())).await;
    assert!(gone.text(".notice.stop").contains("no longer in memory"));
    lab.get(&format!("/photos/{}", uuid::Uuid::now_v7())).await.assert_status(404);
}

#[tokio::test]
async fn a_strong_power_asks_for_a_professional_and_a_late_job_for_nothing() {
    let lab = TestLab::new().await;
    let strong = lab.given_job_to("-6.25 sph", "-2.00 sph").await;
    let page = lab.get(&format!("/jobs/{strong}/measuring")).await.text(".notice");
    assert!(page.contains("6.25 D") && page.contains("0.6 prism diopters"), "{page}");
    let sent = lab.given_sent_job().await;
    let page = lab.get(&marked(&lab, &format!("/jobs/{sent}")).await).await;
    assert!(page.text("#figures").contains("63.5") && page.attributes("#figures form", "action").is_empty());
}

#[tokio::test]
async fn the_sheet_is_for_a_job_or_for_anybody() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let sheet = lab.get(&format!("/jobs/{number}/measuring-sheet")).await;
    let head = sheet.text(".sheet-letter .sheet-head");
    assert!(head.contains("Ada Quill") && head.contains(&number.to_string()), "{head}");
    assert!(sheet.text(".sheet").contains("does not replace a professional measurement"));
    let papers = lab.get(&format!("/jobs/{number}/papers")).await;
    assert!(papers.attributes("main a", "href").contains(&format!("/jobs/{number}/measuring-sheet")));
    let anybody = lab.get("/measuring-sheet").await;
    assert!(!anybody.text(".sheet").contains("Ada Quill") && anybody.attributes(".write-in.wide", "class").len() == 1);
    assert!(lab.get("/lab").await.attributes("main a", "href").contains(&"/measuring-sheet".to_owned()));
}
