//! A frame that stays with its customer: a photo of its demo lens beside a card becomes the shape and then the bench ticket.

use std::f64::consts::TAU;

use tempfile::NamedTempFile;

use crate::driver::{Browser, Settings, given_file};
use crate::one_order::number;
use crate::order::{fill_order, name_the_lab, take_bought_lenses};
use crate::render::{Camera, Dice, Flaws, Look, Scene, Truth, jpeg, picture};
use crate::running::Running;
use crate::trace::Outline;

/// A demo lens and a card on a table, seen by a camera tilted by 0.2 radians.
fn photo(dice: &mut Dice, lens: &Truth) -> NamedTempFile {
    let look = Look::new([0.95; 3], 0.8, 0.5);
    let mut scene = Scene::new(lens.clone(), look).uneven(dice, 90.0).dusty(dice, 8);
    scene.paper = [0.85; 3];
    scene.card = Some(((40.0, 4.0), 0.0, 0.3));
    let camera = Camera::pinhole((1600, 1200), 1600.0, 270.0, 0.2, 0.7, 0.0);
    let photo = picture(&scene, &camera, Flaws { blur_px: 0.9, noise: 3.0 }, dice);
    given_file(".jpg", &jpeg(&photo, 90))
}

/// A point at the right edge is moved by ten pixels and back by nine: the width follows, and a reload loses neither the point
/// nor the distance that was typed.
async fn a_moved_point_is_measured_and_kept(browser: &Browser) {
    let press = |key: &str, times: usize| {
        format!(
            "const point = document.querySelector('[data-handle=\"0\"]'); for (let i = 0; i < {times}; i += 1) \
             point.dispatchEvent(new KeyboardEvent('keydown', {{ key: '{key}', bubbles: true }}));"
        )
    };
    let width = async || {
        let words = browser.texts("#read dl.figures dd").await.join(" ");
        let after = words.split("A ").nth(1).and_then(|rest| rest.split(' ').next()?.parse::<f64>().ok());
        after.unwrap_or_else(|| panic!("no width in {words}"))
    };
    let read_mm = width().await;
    browser.run(&press("ArrowRight", 10)).await;
    browser.patiently("the larger width", async || Some(width().await).filter(|mm| *mm > read_mm + 0.5)).await;
    browser.run(&press("ArrowLeft", 9)).await;
    let moved_mm =
        browser.patiently("the width", async || Some(width().await).filter(|mm| (*mm - read_mm).abs() < 0.5)).await;
    browser.fill("dbl", "18").await;
    browser.reload().await;
    assert_eq!(browser.value("dbl").await, "18");
    assert_eq!(browser.value("moves").await, "0:1.00:0.00");
    browser.patiently("the same width", async || Some(width().await).filter(|mm| *mm == moved_mm)).await;
}

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn a_photo_of_a_demo_lens_becomes_a_bench_ticket() {
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &[]);
    let browser = Browser::open(rimbook.address, Settings::default()).await;
    name_the_lab(&browser).await;
    browser.press("Take an order").await;
    browser.arrives_at("/orders/").await;
    fill_order(&browser).await;
    browser.choose("material", "Polycarbonate 1.59").await;
    browser.press("Take the order").await;
    browser.arrives_at("/jobs/1001").await;

    let mut dice = Dice::new(12);
    let lens = Truth::any(&mut dice, (-46.0, 0.0));
    let radii: Vec<f64> = (0..3600).map(|i| lens.radius(f64::from(i) / 3600.0 * TAU)).collect();
    let box_mm = Outline::new(&radii);
    let file = photo(&mut dice, &lens);
    browser.open_page("/jobs/1001/shape").await;
    browser.give_file("file", file.path()).await;
    browser.press("Save this shape").await;
    browser.arrives_at("/jobs/1001/shape/picture/").await;
    browser.click("label[for=scale-card]").await;
    browser.press("Read the outline").await;
    browser.sees("dl.figures", "Right eye: A").await;
    assert!(browser.has("polygon.read-outline").await, "the outline is drawn over the picture");
    a_moved_point_is_measured_and_kept(&browser).await;
    browser.press("Save this shape").await;
    browser.sees(".steps .next", "Lenses next").await;

    // It is a large lens: no stock lens fits.
    take_bought_lenses(&browser, "85").await;
    browser.open_page("/jobs/1001/layout").await;
    // Frame PD is A and DBL; a photo says no DBL, so it is the stamped bridge.
    let frame_pd_mm = number(&browser, "#frame-pd .num").await;
    assert!((frame_pd_mm - 18.0 - box_mm.a_mm).abs() < 0.5, "{frame_pd_mm} for {}", box_mm.a_mm);
    browser.click("main a[href='/jobs/1001/ticket']").await;
    browser.arrives_at("/jobs/1001/ticket").await;
    browser.sees(".sheet .number", "1001").await;
    // At true size, within a quarter of a millimeter on each side.
    for (side, want_mm) in [("width", box_mm.a_mm), ("height", box_mm.b_mm)] {
        let script = format!("return document.querySelector('.true-size svg path').getBoundingClientRect().{side}");
        let seen_mm = browser.run(&script).await.as_f64().unwrap() / 96.0 * 25.4;
        assert!((seen_mm - want_mm).abs() < 0.5, "{side}: {seen_mm} for {want_mm}");
    }
}
