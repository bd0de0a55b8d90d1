//! An order without a mouse: Tab, Enter, Space and typing, and always to be seen where one is.

use fantoccini::key::Key;

use crate::driver::{Browser, Settings};
use crate::order::{CUSTOMER, FRAME, name_the_lab};
use crate::running::Running;

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn keyboard_only() {
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &[]);
    let browser = Browser::open(rimbook.address, Settings::default()).await;
    name_the_lab(&browser).await;

    // "/" goes to the box a scanner types into, from anywhere but a field.
    browser.open_page("/").await;
    browser.type_here("/").await;
    assert_eq!(focus(&browser).await, "find-q");
    assert_eq!(browser.value("find-q").await, "", "the stroke itself is not typed");
    // The first Tab of a page offers to skip what stands above it.
    browser.open_page("/frames").await;
    browser.key(Key::Tab).await;
    assert_visible(&browser).await;
    browser.key(Key::Enter).await;
    assert_eq!(focus(&browser).await, "main");

    // An order starts in the name.
    browser.open_page("/orders/new").await;
    browser.arrives_at("/orders/").await;
    assert_eq!(focus(&browser).await, "customer_name");
    browser.type_here(CUSTOMER[0].1).await;
    for (id, text) in &CUSTOMER[1..5] {
        tab_to(&browser, id).await;
        browser.type_here(text).await;
    }
    tab_to(&browser, "frame_name").await;
    // What is folded away is opened by Enter.
    tab_to(&browser, "summary").await;
    browser.key(Key::Enter).await;
    for (id, text) in &FRAME {
        tab_to(&browser, id).await;
        browser.type_here(text).await;
    }
    tab_to(&browser, "frame_rim").await;
    browser.type_here("full rim, m").await;
    for (id, text) in [
        ("rx_right", "-225 -125"),
        ("height_right", "20"),
        ("rx_left", "-1.75 -0.75 x 80"),
        ("height_left", "20"),
        ("pd", "63"),
    ] {
        tab_to(&browser, id).await;
        browser.type_here(text).await;
    }
    // Reading is a Right arrow away from distance, and back.
    tab_to(&browser, "summary").await;
    browser.key(Key::Enter).await;
    tab_to(&browser, "made_for-distance").await;
    browser.key(Key::Right).await;
    assert_eq!(focus(&browser).await, "made_for-near");
    browser.key(Key::Left).await;
    // Enter in a field takes the order, but the right axis is missing: the cursor stands where the change is needed.
    tab_to(&browser, "payment").await;
    browser.key(Key::Enter).await;
    browser.sees("#rx_right-error", "axis").await;
    assert_eq!(focus(&browser).await, "rx_right");
    assert_visible(&browser).await;
    browser.type_here(&(String::from(char::from(Key::End)) + " 95")).await;
    browser.key(Key::Enter).await;
    browser.arrives_at("/jobs/1001").await;
    browser.sees(".eye-right .rx.large", "-2.25 -1.25 x 095").await;

    // The next order of hers: found as it is typed, chosen with the arrow and Enter.
    browser.open_page("/orders/new").await;
    browser.arrives_at("/orders/").await;
    assert_eq!(focus(&browser).await, "customer_name");
    browser.type_here("Odi").await;
    browser.sees("#customer_name-list", "Odile Marrow").await;
    browser.key(Key::Down).await;
    browser.key(Key::Enter).await;
    assert_eq!(browser.value("customer_name").await, "Odile Marrow");
    assert_eq!(focus(&browser).await, "customer_name");
}

/// What the cursor is on: its id, or else what kind of thing it is.
async fn focus(browser: &Browser) -> String {
    let script = "const at = document.activeElement; return at.id || at.tagName.toLowerCase()";
    browser.run(script).await.as_str().unwrap().to_owned()
}

/// Presses Tab until the cursor is there, and sees it at every step.
async fn tab_to(browser: &Browser, id: &str) {
    let mut passed = Vec::new();
    loop {
        browser.key(Key::Tab).await;
        let at = assert_visible(browser).await;
        if at == id {
            return;
        }
        passed.push(at);
        assert!(passed.len() < 40, "no way to {id} but through {passed:?}");
    }
}

/// Where the cursor is must be seen: a ring at least 2 px thick, 3 to 1 against what lies around it, in the window and not
/// covered (WCAG 2.2, 1.4.11, 2.4.7 and 2.4.11). Gives what it is on.
async fn assert_visible(browser: &Browser) -> String {
    let seen = browser.run(include_str!("focus.js")).await;
    let fault = seen["fault"].as_str().unwrap();
    assert!(fault.is_empty(), "the cursor on {} is not to be seen: {fault}", seen["id"]);
    seen["id"].as_str().unwrap().to_owned()
}
