//! A shape from a picture or a drawing: read, moved, leveled, kept with the job, and on the job's page.

use std::io::Cursor;

use image::{GrayImage, ImageFormat, Luma};
use rimbook::desk::attachment::{AttachmentKind, NewFile};
use rimbook::desk::frame_shape::NewShape;
use rimbook::store::StoreError;

use crate::support::{NOW, TestLab};

/// A scan at 200 dpi of a dark round lens of 40 mm, 46 mm across both ways.
fn scan() -> Vec<u8> {
    let radius_px = 20.0 / 25.4 * 200.0;
    let picture = GrayImage::from_fn(362, 362, |x, y| {
        let away = (f64::from(x) - 180.5).hypot(f64::from(y) - 180.5) - radius_px;
        Luma([(150.0 + 90.0 * (away / 1.5).clamp(-1.0, 1.0)) as u8])
    });
    let mut bytes = Vec::new();
    picture.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).unwrap();
    bytes
}

/// Sends the scan to a job, and gives the key of the picture.
pub async fn sent(lab: &TestLab, job: i64) -> String {
    let answer = lab.upload(&format!("/jobs/{job}/shape"), &[("eye", "said")], "file", "lens.png", &scan()).await;
    let location = answer.assert_status(303).location.clone();
    location.rsplit('/').next().unwrap().to_owned()
}

#[tokio::test]
async fn a_scan_becomes_the_shape_of_a_job() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let before = lab.contents().await;
    let picture = sent(&lab, job).await;
    let path = format!("/jobs/{job}/shape/picture/{picture}");
    // Nothing says how large it is yet.
    let unread = lab.get(&path).await;
    assert!(unread.assert_status(200).attributes("polygon", "points").is_empty());
    // Its pixels, for corners that are pressed in it.
    assert_eq!(unread.attributes("figure[data-places] svg", "viewBox"), ["0 0 362 362"]);
    assert_eq!(lab.bytes(&unread.attributes("image", "href")[0]).await, scan());
    let asked = lab.get(&format!("{path}?scale=file")).await;
    assert!(asked.text("#scale .error").contains("Nothing says how large the picture is"), "{}", asked.text("main"));
    let page = lab.get(&format!("{path}?scale=dpi&dpi=200&eye=left")).await;
    let size = page.text("dl.figures");
    assert!(size.contains("Left eye: A 40.0") && size.contains("B 40.0"), "{size}");
    assert_eq!(page.attributes("polygon", "points").len(), 1);
    assert_eq!(page.attributes("circle.handle", "data-handle").len(), 24);
    // The glass of a scanner is at the back: there the nose is to the right of a left lens.
    assert_eq!(page.attributes("text.nose", "text-anchor"), ["end"]);
    for (asked, anchor) in [
        ("scale=dpi&side=front&eye=left", "start"),
        ("scale=dpi&eye=right", "start"),
        ("scale=ruler&ruler=20,20+335,20&ruler_mm=40&eye=right", "end"),
    ] {
        let page = lab.get(&format!("{path}?{asked}&dpi=200")).await;
        assert_eq!(page.attributes("text.nose", "text-anchor"), [anchor], "{asked}");
    }
    // The lens of 315 pixels fills the view, with a fifth around it where the picture has it; the level line runs across.
    let view = page.attributes("figure[data-outline] svg", "viewBox");
    assert_eq!(view, ["0.0 0.0 362.0 362.0"]);
    let line =
        |name: &str, page: &crate::support::Answer| page.attributes("line.level", name)[0].parse::<f64>().unwrap();
    assert!((line("y1", &page) - 181.0).abs() < 1.0 && (line("y1", &page) - line("y2", &page)).abs() < 0.1);
    // Turned counter-clockwise by 10 degrees it is level: the line falls to the right by so much.
    let turned = lab.get(&format!("{path}?scale=dpi&dpi=200&level=10")).await;
    let front = lab.get(&format!("{path}?scale=dpi&dpi=200&level=10&side=front")).await;
    for turned in [turned, front] {
        let falls = line("y2", &turned) - line("y1", &turned);
        let runs = line("x2", &turned) - line("x1", &turned);
        assert!((falls / runs - 10_f64.to_radians().tan()).abs() < 0.01, "{falls} {runs}");
    }

    let outline = format!("/jobs/{job}/shape/outline");
    let fields = [("picture", picture.as_str()), ("scale", "dpi"), ("dpi", "200"), ("eye", "left"), ("level", "x")];
    let refused = lab.post(&outline, &fields).await;
    assert!(refused.assert_status(422).text(".error").contains("angle"), "{}", refused.text("main"));
    // Nothing is kept of a picture whose outline is not saved.
    assert_eq!(lab.contents().await, before);
    // The handle at the right of the picture moved by 1 mm makes it wider by that.
    let moved = format!("0:{:.2}:0", 200.0 / 25.4);
    let fields = [("picture", picture.as_str()), ("scale", "dpi"), ("dpi", "200"), ("eye", "left"), ("moves", &moved)];
    lab.post(&outline, &fields).await.assert_status(303);
    let lab = lab.reopened().await;
    let shape = lab.get(&format!("/jobs/{job}/shape")).await.text("main");
    assert!(shape.contains("41.0") && shape.contains("lens.png"), "{shape}");
    let original = lab.get(&format!("/jobs/{job}/shape/original")).await;
    assert_eq!(original.headers["content-type"], "image/png");
    // The picture is kept with the job, and can be read again.
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    let again = page.attributes("a", "href").into_iter().find(|path| path.contains("/shape/picture/")).unwrap();
    let read = lab.get(&format!("{again}?scale=dpi&dpi=200")).await;
    assert!(read.assert_status(200).text("dl.figures").contains("Right eye: A 40.0"));
    assert_eq!(lab.bytes(&read.attributes("image", "href")[0]).await, scan());
    lab.post(&outline, &[("picture", again.rsplit('/').next().unwrap()), ("scale", "dpi"), ("dpi", "200")])
        .await
        .assert_status(303);
    assert_eq!(lab.get(&format!("/jobs/{job}/files")).await.attributes(".pictures img", "src").len(), 1);
    // The key of before is in memory no more.
    let gone = lab.get(&path).await;
    assert!(gone.assert_status(400).text("main").contains("Choose the file again"), "{}", gone.text("main"));
}

/// Points that are moved move the box, on the page and in the shape; a reload loses neither them nor what was typed.
#[tokio::test]
async fn what_is_moved_and_typed_on_a_picture_is_measured_and_survives_a_reload() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let picture = sent(&lab, job).await;
    let read = format!("/jobs/{job}/shape/picture/{picture}?scale=dpi&dpi=200&eye=left");
    let page = lab.get(&read).await;
    let (start, read_as) = (page.attributes("polygon", "points"), page.attributes("[name=read_as]", "value"));
    // The handle at the right of the picture by 1 mm: asked for without a script, and as the page's script asks.
    let moved = format!("0:{:.2}:0", 200.0 / 25.4);
    let by_script = format!("{}&moves={moved}&read_as={}", page.attributes("figure", "data-outline")[0], read_as[0]);
    for path in [format!("{read}&moves={moved}"), by_script] {
        let page = lab.get(&path).await;
        let size = page.text("#read dl.figures");
        assert!(size.contains("Left eye: A 41.0") && size.contains("B 40.0"), "{size}");
        assert_eq!(page.attributes("polygon", "data-start"), start, "from where the script moves it");
        assert_ne!(page.attributes("polygon", "points"), start, "the line is drawn where it is");
    }
    // What cannot be read is said, and the outline stays.
    let wrong = lab.get(&format!("{read}&moves=0:x")).await;
    assert!(wrong.text(".error").contains("number:right:down"), "{}", wrong.text("main"));
    assert_eq!(wrong.attributes("polygon", "points"), start);

    // Typed and dragged, not sent: kept under the key that the page names.
    let draft = page.attributes("form[data-draft]#reading", "data-draft")[0].clone();
    let other_draft = lab.get(&format!("/jobs/{job}/shape")).await.attributes("form[data-draft]", "data-draft");
    assert!(!other_draft.contains(&draft), "the page of the shape has fields of its own");
    let typed = [
        ("picture", picture.as_str()),
        ("read_as", &read_as[0]),
        ("scale", "card"),
        ("dpi", "200"),
        ("eye", "left"),
        ("level", "2"),
        ("dbl", "17.5"),
        ("moves", &moved),
    ];
    lab.post(&format!("/drafts/{draft}"), &typed).await.assert_status(204);
    let again = lab.get(&read).await;
    assert_eq!(again.attributes("[name=dbl]", "value"), ["17.5"]);
    assert_eq!(again.attributes("[name=moves]", "value"), [moved.as_str()]);
    assert_eq!(again.attributes("[name=level]", "value"), ["2"]);
    assert_eq!(again.attributes("[name=scale][checked]", "value"), ["card"]);
    // The picture is shown as it was read, and nothing is wrong.
    assert!(again.text("#read").contains("A 41.0"), "{}", again.text("main"));
    assert!(again.texts(".error").is_empty(), "{:?}", again.texts(".error"));

    // What was changed after the reading is looked at before it is saved; a shape is not made of it unseen.
    let sent = |changes: &[(&'static str, &'static str)]| {
        let mut fields = vec![("picture", picture.as_str()), ("read_as", read_as[0].as_str()), ("moves", &moved)];
        fields.extend([("scale", "dpi"), ("dpi", "200"), ("eye", "left"), ("dbl", "17.5")]);
        fields.retain(|(name, _)| !changes.iter().any(|(changed, _)| changed == name));
        fields.extend(changes);
        fields
    };
    let outline = format!("/jobs/{job}/shape/outline");
    let before = lab.contents().await;
    let turned = lab.post(&outline, &sent(&[("level", "10")])).await;
    assert!(turned.assert_status(422).text("#level-error").contains("look at it"), "{}", turned.text("main"));
    assert_eq!(turned.attributes("[name=moves]", "value"), [moved.as_str()]);
    // On an outline that is read otherwise the points stand elsewhere.
    let finer = lab.post(&outline, &sent(&[("dpi", "250")])).await;
    assert!(finer.assert_status(422).text("#scale-error").contains("look at it"), "{}", finer.text("main"));
    assert_eq!(finer.attributes("[name=moves]", "value"), [""]);
    assert!(finer.text("#read").contains("A 32.0") && finer.text("#read").contains("read otherwise"));
    assert_eq!(lab.contents().await, before);
    lab.post(&outline, &sent(&[])).await.assert_status(303);
    let shape = lab.get(&format!("/jobs/{job}/shape")).await.text("main");
    assert!(shape.contains("41.0") && shape.contains("17.5"), "{shape}");
}

/// A file is chosen with the eye and the distance beside it.
#[tokio::test]
async fn what_is_typed_beside_a_picture_goes_with_it() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let fields = [("eye", "left"), ("dbl", "17.5")];
    let answer = lab.upload(&format!("/jobs/{job}/shape"), &fields, "file", "lens.png", &scan()).await;
    let page = lab.get(&answer.assert_status(303).location).await;
    assert_eq!(page.attributes("[name=dbl]", "value"), ["17.5"]);
    assert_eq!(page.attributes("[name=eye][checked]", "value"), ["left"]);
}

/// One click is one shape and one picture; a corrected outline is another shape in the same picture.
#[tokio::test]
async fn a_picture_is_kept_once() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let picture = sent(&lab, job).await;
    let outline = format!("/jobs/{job}/shape/outline");
    let key = lab.key_for(&outline, &[]).await.unwrap();
    let fields = [("key", key.as_str()), ("picture", &picture), ("scale", "dpi"), ("dpi", "200")];
    let before = lab.contents().await;
    // A distance that no frame has is refused with its outline read.
    let refused = lab.post_as_is(&outline, &[&fields[..], &[("dbl", "99")]].concat()).await;
    assert!(refused.assert_status(422).text(".error").contains("distance between lenses"), "{}", refused.text("main"));
    assert_eq!(lab.contents().await, before);
    let (first, second) = tokio::join!(lab.post_as_is(&outline, &fields), lab.post_as_is(&outline, &fields));
    assert_eq!(first.assert_status(303).location, second.assert_status(303).location);
    let kept = lab.contents().await;
    assert_eq!(
        (lab.count("shape", job).await, lab.count("attachment", job).await),
        (1, 2),
        "the original, the picture"
    );
    lab.post_as_is(&outline, &fields).await.assert_status(303);
    assert_eq!(lab.contents().await, kept);
    let moved = [&fields[..], &[("moves", "0:4:0")]].concat();
    lab.post_as_is(&outline, &moved).await.assert_status(303);
    assert_eq!(lab.count("shape", job).await, 2);
    assert_eq!(lab.get(&format!("/jobs/{job}/files")).await.attributes(".pictures img", "src").len(), 1);
}

/// The book refuses a file without a name, and with it the shape that was read in it.
#[tokio::test]
async fn a_shape_and_its_picture_are_kept_together_or_not_at_all() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let table = format!("R\n{}", "22.00\n".repeat(36));
    let shape = NewShape::read(table.as_bytes(), "x", None, None, "18".parse().unwrap()).unwrap();
    let picture = NewFile::read(AttachmentKind::Photograph, "lens.png", "", &scan()).unwrap();
    let nameless = NewFile { name: String::new(), ..picture.clone() };
    let before = lab.contents().await;
    let refused = lab.store.keep_shape_with_picture("outline", job, (&shape, Some(&nameless)), NOW).await;
    assert!(matches!(&refused, Err(StoreError::OutOfRange(check)) if check == "attachment_name"), "{refused:?}");
    assert_eq!(lab.contents().await, before);
    lab.store.keep_shape_with_picture("outline", job, (&shape, Some(&picture)), NOW).await.unwrap();
    let lab = lab.reopened().await;
    assert_eq!((lab.count("shape", job).await, lab.store.list_files(job).await.unwrap().len()), (1, 1));
}

/// A drawing of something else, as a photo of it.
#[tokio::test]
async fn a_picture_that_shows_no_lens_is_not_kept() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let before = lab.contents().await;
    let star = GrayImage::from_fn(500, 500, |x, y| {
        let (x, y) = (f64::from(x) - 250.0, f64::from(y) - 250.0);
        let edge = 120.0 + 80.0 * (5.0 * y.atan2(x)).cos();
        Luma([if x.hypot(y) < edge { 60 } else { 230 }])
    });
    let mut bytes = Vec::new();
    star.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).unwrap();
    let answer = lab.upload(&format!("/jobs/{job}/shape"), &[("eye", "said")], "file", "star.png", &bytes).await;
    let path = answer.assert_status(303).location.clone();
    let refused = lab.get(&format!("{path}?scale=dpi&dpi=200")).await;
    assert!(refused.text("#scale .error").contains("no lens has"), "{}", refused.text("main"));
    let picture = path.rsplit('/').next().unwrap().to_owned();
    let fields = [("picture", picture.as_str()), ("scale", "dpi"), ("dpi", "200")];
    lab.post(&format!("/jobs/{job}/shape/outline"), &fields).await.assert_status(422);
    assert_eq!(lab.contents().await, before);
}

/// The checksum of a part of a PNG.
fn crc(bytes: &[u8]) -> u32 {
    let bit = |crc: u32, _| if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 };
    !bytes.iter().fold(!0, |crc, byte| (0..8).fold(crc ^ u32::from(*byte), bit))
}

/// A short file that states 1600 million pixels would stop the browser that shows it.
#[tokio::test]
async fn a_picture_that_cannot_be_read_is_not_kept() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let mut huge = scan();
    huge[16..24].copy_from_slice(&[0, 0, 0x9c, 0x40, 0, 0, 0x9c, 0x40]);
    let sum = crc(&huge[12..29]).to_be_bytes();
    huge[29..33].copy_from_slice(&sum);
    for (bytes, says) in [(huge, "40000 by 40000 pixels"), (scan()[..40].to_vec(), "damaged")] {
        let sent = lab.upload(&format!("/jobs/{job}/shape"), &[("eye", "said")], "file", "lens.png", &bytes).await;
        let error = sent.assert_status(422).text(".error");
        assert!(error.contains(says), "{error}");
        if says.ends_with("pixels") {
            // Nor as a file of the job: its page would show it.
            let fields = [("kind", "photograph")];
            let sent = lab.upload(&format!("/jobs/{job}/files"), &fields, "file", "lens.png", &bytes).await;
            assert!(sent.assert_status(422).text(".error").contains(says));
        }
        assert!(!lab.get(&format!("/jobs/{job}/shape")).await.text("main").contains("lens.png"));
    }
}

/// Two pictures that cwebp 1.2.4 made: gray, 12,000 by 12,000 pixels in 38 bytes, and 400 by 300.
#[tokio::test]
async fn a_webp_picture_of_too_many_pixels_is_not_kept() {
    let large = b"RIFF\x1e\0\0\0WEBPVP8L\x11\0\0\0\x2f\xdf\xee\xb7\x0b\x07\x50\xc0\x02\x16\xb0\xff\x81\x88\xe8\x7f\0\0";
    let small = b"RIFF\x1e\0\0\0WEBPVP8L\x11\0\0\0\x2f\x8f\xc1\x4a\0\x07\x50\xc0\x02\x16\xb0\xff\x81\x88\xe8\x7f\0\0";
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let path = format!("/jobs/{job}/files");
    let before = lab.contents().await;
    let refused = lab.upload(&path, &[("kind", "photograph")], "file", "lens.webp", large).await;
    let says = refused.assert_status(422).text(".error");
    assert_eq!(says, "“lens.webp” has 12000 by 12000 pixels, too many to show: save it smaller");
    assert_eq!(lab.contents().await, before);
    lab.upload(&path, &[("kind", "photograph")], "file", "lens.webp", small).await.assert_status(303);
    assert_eq!(lab.get(&path).await.attributes(".pictures img", "src").len(), 1);
}

#[tokio::test]
async fn a_drawing_is_read_in_its_unit_or_the_stated_one() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let path = format!("/jobs/{job}/shape");
    let drawing = b"<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 60 50\"><ellipse cx=\"30\" cy=\"25\" \
                    rx=\"26\" ry=\"19\"/></svg>";
    let refused = lab.upload(&path, &[("eye", "right")], "file", "rim.svg", drawing).await;
    assert!(refused.assert_status(422).text(".error").contains("does not say its unit"));
    lab.upload(&path, &[("eye", "right"), ("unit", "mm")], "file", "rim.svg", drawing).await.assert_status(303);
    let shape = lab.get(&path).await.text("main");
    assert!(shape.contains("52.0") && shape.contains("38.0") && shape.contains("rim.svg"), "{shape}");
}
