//! Measuring from a photo: marks pressed and moved with the keys, figures that follow, and the correction.

use image::{GrayImage, ImageFormat, Luma};
use serde_json::Value;
use tempfile::NamedTempFile;

use crate::accessible::violations;
use crate::driver::{Browser, Settings, given_file};
use crate::running::Running;

/// A dark ground with a light card of 85.60 by 53.98 mm at 3 · 500 / 490 pixels for each mm.
fn photo() -> NamedTempFile {
    let picture = GrayImage::from_fn(1500, 2000, |x, y| {
        let (x, y) = ((f64::from(x) + 0.5 - 750.0).abs() - 131.02, (f64::from(y) + 0.5 - 850.0).abs() - 82.62);
        Luma([(140.0 - 90.0 * (x.max(y) / 1.5).clamp(-1.0, 1.0)) as u8])
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
    given_file(".png", bytes.get_ref())
}

/// Presses the photo at a place of the file.
fn press(x: f64, y: f64) -> String {
    format!(
        "const photo = document.querySelector('input[type=image]'); photo.scrollIntoView({{ block: 'center' }}); \
         const box = photo.getBoundingClientRect(); const perPx = box.width / 1500; \
         photo.dispatchEvent(new MouseEvent('click', {{ bubbles: true, cancelable: true, detail: 1, \
         clientX: box.left + {x} * perPx, clientY: box.top + {y} * perPx }})); return 'pressed'"
    )
}

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn a_face_is_measured_from_a_photo() {
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &["--demo"]);
    let browser = Browser::open(rimbook.address, Settings::default()).await;
    browser.open_page("/jobs/1120/measuring").await;
    let file = photo();
    browser.give_file("file", file.path()).await;
    browser.press("Open the photo").await;
    browser.arrives_at("/jobs/1120/measuring?photo=").await;
    for (x, y) in [(658.9, 1000.0), (845.5, 1000.0), (760.0, 1010.0)] {
        browser.run(&press(x, y)).await;
    }
    // A press is as exact as a pixel of the page, which is two of the photo.
    browser.sees("#figures", "both").await;
    for (mark, place) in [("pupil_right", "658.9,1000"), ("pupil_left", "845.5,1000"), ("bridge", "760,1010")] {
        browser.fill(mark, place).await;
    }
    let uneven = browser.value("bridge").await;
    // Ten pixels to the left with Shift, by the keys.
    browser.run("document.querySelector('[data-mark=bridge]').focus(); return ''").await;
    let key = "document.activeElement.dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowLeft', shiftKey: true, \
               bubbles: true, cancelable: true })); return document.activeElement.getAttribute('aria-label')";
    let label: Value = browser.run(key).await;
    assert!(label.as_str().unwrap().contains("middle of the nose"), "{label}");
    assert_ne!(browser.value("bridge").await, uneven);
    browser.sees("#figures", "31.0").await;
    browser.sees("#figures", "32.5").await;
    // What was marked survives a reload.
    let marked = browser.value("pupil_left").await;
    browser.reload().await;
    assert_eq!(browser.value("pupil_left").await, marked);
    assert!(browser.text("#figures").await.contains("32.5"));
    for dark in [false, true] {
        browser.prefer_dark(dark);
        let broken = violations(&browser).await;
        assert!(broken.is_empty(), "{broken:?}");
    }
    for width in [400, 1280] {
        browser.view(width, 800);
        let wide = browser.run("return document.documentElement.scrollWidth - innerWidth").await;
        assert!(wide.as_i64().unwrap() <= 0, "{width}: {wide} too wide");
    }
    // What is wrong with a mark is read to its end.
    browser.fill("pupil_left", "hello").await;
    browser.press("Show the figures").await;
    browser.sees("#pupil_left-error", "from the top left corner of the photo").await;
    let past = "const right = (id) => document.getElementById(id).getBoundingClientRect().right; \
                return right('pupil_left-error') - right('place')";
    assert!(browser.run(past).await.as_f64().unwrap() <= 0.0, "it ends within its box");
    browser.fill("pupil_left", &marked).await;
    browser.press("Show the figures").await;
    browser.sees("#figures", "32.5").await;
    browser.press("Put them into the correction").await;
    browser.arrives_at("/jobs/1120/correction").await;
    assert_eq!(browser.value("pd").await, "31.0/32.5");
}
