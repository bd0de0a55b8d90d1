//! A reload, the Back button, a double click: nothing typed is lost and nothing is done twice.

use crate::driver::{Browser, Settings};
use crate::order::{CUSTOMER, FRAME, PRESCRIPTION, fill_order, name_the_lab};
use crate::running::Running;

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn typing_survives() {
    let home = tempfile::tempdir().unwrap();
    let mut rimbook = Running::start(home.path(), &[]);
    let browser = Browser::open(rimbook.address, Settings::default()).await;
    name_the_lab(&browser).await;
    browser.open_page("/orders/new").await;
    let order = browser.arrives_at("/orders/").await;
    fill_order(&browser).await;

    // A reload in the middle of it.
    browser.reload().await;
    assert_typed(&browser).await;

    // Away to another page by a slip, and back.
    browser.unfold("Note, day of the order").await;
    browser.fill("note", "soft nose pads").await;
    browser.click(".top-nav a[href='/frames']").await;
    browser.arrives_at("/frames").await;
    browser.back().await;
    browser.arrives_at(&order).await;
    assert_typed(&browser).await;
    assert_eq!(browser.value("note").await, "soft nose pads");

    // The machine goes down, a moment after the last key, and the page is opened again.
    let is_kept = format!(
        "return fetch('{order}').then((answer) => answer.text()).then((page) => page.includes('soft nose pads'))"
    );
    browser.patiently("the draft", async || browser.run(&is_kept).await.as_bool().filter(|kept| *kept)).await;
    let port = rimbook.address.port().to_string();
    drop(rimbook);
    rimbook = Running::start_at(home.path(), &port);
    browser.open_page(&order).await;
    assert_typed(&browser).await;
    assert_eq!(browser.value("note").await, "soft nose pads");

    // An impatient double click: both presses reach the page before the answer does.
    browser.double_click("main .acts button.primary").await;
    browser.arrives_at("/jobs/1001").await;

    // Back: either the form as it was left, and once more, or straight on to the job that was taken.
    browser.back().await;
    if browser.path().await.starts_with("/orders/") {
        browser.press("Take the order").await;
    }
    browser.arrives_at("/jobs/1001?already=order").await;
    browser.sees(".notice.info", "Nothing was added").await;
    browser.open_page(&order).await;
    browser.arrives_at("/jobs/1001?already=order").await;
    assert_one_job(&browser).await;
    a_refused_form_is_kept(&browser).await;
    drop(rimbook);
}

/// What was sent at once and refused is there when the page is opened again later.
async fn a_refused_form_is_kept(browser: &Browser) {
    browser.open_page("/jobs/1001/correction").await;
    browser.fill("rx_right", "-225 -125 5 banana").await;
    browser.press("Correct the order").await;
    browser.sees("#rx_right-error", "banana").await;
    browser.click(".top-nav a[href='/frames']").await;
    browser.arrives_at("/frames").await;
    browser.open_page("/jobs/1001/correction").await;
    browser
        .patiently("the refused text", async || {
            Some(browser.value("rx_right").await).filter(|text| text == "-225 -125 5 banana")
        })
        .await;
}

/// All that was typed stands in its field.
async fn assert_typed(browser: &Browser) {
    for (id, text) in [CUSTOMER.as_slice(), &FRAME, &PRESCRIPTION].concat() {
        browser.patiently(id, async || Some(browser.value(id).await).filter(|v| v == text)).await;
    }
    assert_eq!(browser.value("frame_rim").await, "metal");
}

async fn assert_one_job(browser: &Browser) {
    let page = browser.run("return fetch('/jobs/1002').then((answer) => answer.status)").await;
    assert_eq!(page, 404, "there is no second job");
    browser.open_page("/").await;
    assert_eq!(browser.texts("main tbody .job-link").await.len(), 1);
}
