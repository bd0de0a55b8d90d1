//! Every kind of page, light and dark: nothing is asked from outside, nothing is refused by the page's own policy, and
//! whoever cannot see it well can use it.

use std::collections::BTreeSet;

use crate::driver::{Browser, Settings};
use crate::running::Running;

/// Pages by address; a job that was sent, and one half done.
const PAGES: [&str; 28] = [
    "/",
    "/orders/new",
    "/jobs/1001/relens",
    "/customers",
    "/frames",
    "/stock",
    "/stock/new",
    "/lab",
    "/lab/materials/new",
    "/lab/treatments/new",
    "/no-such-page",
    "/jobs/1001",
    "/jobs/1001/shape",
    "/jobs/1001/lenses",
    "/jobs/1001/layout",
    "/jobs/1001/cut",
    "/jobs/1001/check",
    "/jobs/1001/packing",
    "/jobs/1001/shipment",
    "/jobs/1001/bill",
    "/jobs/1001/ticket",
    "/jobs/1001/packing-sheet",
    "/jobs/1001/slip",
    "/jobs/1120/shape",
    "/jobs/1120/lenses",
    "/jobs/1110/check",
    "/jobs/1118/cut",
    "/jobs/1105/packing",
];

/// Pages whose address only another page knows: where the link stands, and which it is.
const LINKED: [(&str, &str); 7] = [
    ("/customers", "main a[href^='/customers/']"),
    ("/jobs/1001", "main a[href^='/customers/']"),
    ("/frames", "main a[href^='/frames/']"),
    ("/stock", "main a[href^='/stock/'][href$='/count']"),
    ("/lab", "main a[href^='/lab/materials/']:not([href$=new])"),
    ("/lab", "main a[href^='/lab/treatments/']:not([href$=new])"),
    ("/jobs/1001/bill", "main a[href^='/receipts/']"),
];

/// Whether the page is shown in its dark face, once its colors have changed.
const IS_DARK: &str = "for (const change of document.getAnimations()) change.finish(); \
                       return matchMedia('(prefers-color-scheme: dark)').matches";

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn nothing_from_outside() {
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &["--demo"]);
    let watched = Settings { watched: true, ..Settings::default() };
    let browser = Browser::open(rimbook.address, watched).await;
    let mut pages: BTreeSet<String> = PAGES.iter().map(|path| (*path).to_owned()).collect();
    for (page, link) in LINKED {
        browser.open_page(page).await;
        pages.insert(browser.find(link).await.attr("href").await.unwrap().unwrap());
    }
    for words in ["ma", "nobody-of-that-name"] {
        pages.insert(browser.search(words).await);
    }
    pages.insert(pages.iter().find(|path| path.starts_with("/customers/")).unwrap().to_owned() + "/details");
    // What the window showed before it was ours does not count.
    browser.console();
    browser.requested();

    let ours = format!("http://{}/", rimbook.address);
    let mut faults = Vec::new();
    for page in &pages {
        browser.open_page(page).await;
        for dark in [false, true] {
            browser.prefer_dark(dark);
            let face = if dark { "dark" } else { "light" };
            assert_eq!(browser.run(IS_DARK).await, dark, "{page} is asked for its {face} face");
            let found = browser.run(include_str!("page.js")).await;
            faults.extend(found.as_array().unwrap().iter().map(|fault| format!("{face} {page}: {fault}")));
        }
        // A page that is not there is said to be so on the console as well; that is not an error of the page.
        let expected = |line: &String| page == "/no-such-page" && line.contains("404");
        faults.extend(browser.console().into_iter().filter(|line| !expected(line)).map(|l| format!("{page}: {l}")));
    }
    // A form that was refused is a page of its own.
    for face in [false, true] {
        browser.prefer_dark(face);
        browser.open_page("/orders/new").await;
        browser.press("Take the order").await;
        browser.find(".notice.stop").await;
        let found = browser.run(include_str!("page.js")).await;
        faults.extend(found.as_array().unwrap().iter().map(|fault| format!("refused order: {fault}")));
    }
    assert!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n"));

    let requested = browser.requested();
    assert!(requested.iter().any(|url| url.ends_with("/static/style.css")), "the watch works: {requested:?}");
    // Chromium draws its own date fields with pictures that it holds itself.
    let elsewhere: Vec<&String> =
        requested.iter().filter(|url| !url.starts_with(&ours) && !url.starts_with("data:image/")).collect();
    assert!(elsewhere.is_empty(), "asked from elsewhere: {elsewhere:?}");

    // The watch itself: the page may neither fetch from elsewhere nor run what was written into it.
    let refused = browser.run("const s = document.createElement('script'); s.textContent = 'window.ran = 1'; \
        document.body.append(s); return fetch('http://127.0.0.1:1/').then(() => 'fetched', () => window.ran ?? 'refused')");
    assert_eq!(refused.await, "refused");
    let said = browser.console().join("\n");
    assert!(said.matches("Content Security Policy").count() >= 2, "{said}");
}
