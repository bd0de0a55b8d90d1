//! The essential steps where no script may run: an order, a shape, a check.

use crate::driver::{Browser, Settings};
use crate::order::{fill_all, fill_order, name_the_lab, take_bought_lenses};
use crate::running::Running;
use crate::trace::TracedPair;

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn works_without_javascript() {
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &[]);
    let settings = Settings { without_javascript: true, ..Settings::default() };
    let browser = Browser::open(rimbook.address, settings).await;
    name_the_lab(&browser).await;

    browser.press("Take an order").await;
    browser.arrives_at("/orders/").await;
    fill_order(&browser).await;
    assert!(browser.texts("#rx_right-understood .rx").await.is_empty(), "no script runs, or this story proves nothing");
    browser.fill("pd", "93").await;
    browser.press("Take the order").await;
    browser.sees("#pd-error", "80").await;
    // What was understood is said by the page itself, and what was typed stands.
    browser.sees("#rx_left-understood .rx", "-1.75 -0.75 x 080").await;
    assert_eq!(browser.value("rx_right").await, "-225 -125 95");
    browser.fill("pd", "31/33").await;
    browser.press("Take the order").await;
    browser.arrives_at("/jobs/1001").await;
    browser.back().await;
    browser.open_page("/jobs/1001/shape").await;

    let trace = TracedPair::read("09-gusset-rectangle.txt");
    browser.give_file("file", &trace.path).await;
    browser.press("Save this shape").await;
    browser.sees(".steps .next", "Lenses next").await;

    take_bought_lenses(&browser, "75").await;
    browser.open_page("/jobs/1001/layout").await;
    browser.choose("step", "1 mm").await;
    browser.press("Try").await;
    browser.arrives_at("/jobs/1001/layout?").await;
    assert!(browser.text(".eye-right .set-pd .num").await.ends_with(".0"), "whole millimeters");
    browser.open_page("/jobs/1001/cut").await;
    browser.press("Both lenses are cut").await;
    browser.sees(".steps .next", "Check next").await;

    browser.open_page("/jobs/1001/check").await;
    // Both ways to read are on the page, since nothing can fold one away.
    browser.click("label[for=how-drums]").await;
    fill_all(&browser, &[("first_right", "-2.25"), ("second_right", "-3.50"), ("axis_right", "95")]).await;
    fill_all(&browser, &[("first_left", "-1.75"), ("second_left", "-2.50"), ("axis_left", "80")]).await;
    fill_all(&browser, &[("pd", "31/33"), ("height_right", "20"), ("height_left", "20")]).await;
    browser.press("Check the pair").await;
    browser.arrives_at("/jobs/1001/packing").await;
    browser.open_page("/jobs/1001/check").await;
    browser.sees(".verdict.pass", "Passed").await;
    browser.fill("find-q", "1001").await;
    browser.click(".find button").await;
    browser.arrives_at("/jobs/1001").await;
    browser.sees(".steps .next", "Pack next").await;
}
