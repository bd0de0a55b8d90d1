//! Every page of the router on the demonstration's book, light and dark: axe-core finds no violation of any of its rules.
//!
//! axe-core comes from the npm registry and is not kept here: `.ci/run` fetches it to [`AXE`]. Without it the story says
//! that it was skipped.

use std::collections::BTreeSet;
use std::net::SocketAddr;

use rimbook::web::router::{ADDRESSES, FIRST_ADDRESSES};
use serde_json::Value;

use crate::driver::{Browser, Settings};
use crate::running::{Running, ask};

/// Where `.ci/run` puts it.
const AXE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/target/axe-core/axe.min.js");

/// Jobs of the demonstration: one that was sent, and others at the stages whose pages differ.
const JOBS: [&str; 5] = ["1001", "1105", "1110", "1118", "1120"];

/// Addresses whose last part only another page knows: where the link stands, and how it begins and ends.
const LINKED: [(&str, &str, &str); 7] = [
    ("/customers/{id}", "/customers", "main a[href^='/customers/']"),
    ("/frames/{id}", "/frames", "main a[href^='/frames/']"),
    ("/stock/{id}/count", "/stock", "main a[href^='/stock/'][href$='/count']"),
    ("/lab/materials/{line}", "/lab", "main a[href^='/lab/materials/']:not([href$=new])"),
    ("/lab/treatments/{line}", "/lab", "main a[href^='/lab/treatments/']:not([href$=new])"),
    ("/money/reminders/{id}", "/money", "main a[href^='/money/reminders/']"),
    ("/receipts/{number}", "/jobs/1001/bill", "main a[href^='/receipts/']"),
];

/// Pages that an address shows with more after it.
const MORE: [&str; 7] = [
    "/find?q=ma",
    "/find?q=nobody-of-that-name",
    "/find?q=99999&scanned=yes",
    "/money/takings?of=",
    "/money/takings?of=2026",
    "/jobs/1001/bill/reversals?line=1",
    "/no-such-page",
];

/// Runs axe on the page: each rule that is broken, with where.
const RUN: &str = "for (const change of document.getAnimations()) change.finish(); \
    return axe.run(document, { resultTypes: ['violations'] }).then((result) => result.violations.map((broken) => \
    `${broken.id}: ${broken.help}: ${broken.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(' … ')}`))";

/// What axe-core is, or why the story is skipped.
fn axe() -> Option<String> {
    match std::fs::read_to_string(AXE) {
        Ok(script) => Some(script),
        Err(why) if std::env::var("RIMBOOK_BROWSER").is_ok_and(|v| v == "required") => {
            panic!("axe-core is required here, in {AXE}: {why}")
        }
        Err(why) => {
            eprintln!("SKIPPED, NOT TESTED: this story needs axe-core in {AXE} (.ci/run fetches it): {why}");
            None
        }
    }
}

/// Whether an address answers a read with a page, and not with a part of one, a file or a refusal.
fn is_page(site: SocketAddr, path: &str) -> bool {
    let request = format!("GET {path} HTTP/1.1\r\nHost: {site}\r\nConnection: close\r\n\r\n");
    let (head, body) = ask(site, &request);
    head.starts_with("HTTP/1.1 303") || body.contains("<main")
}

async fn addresses(browser: &Browser) -> BTreeSet<String> {
    let mut paths: BTreeSet<String> = MORE.iter().map(|path| (*path).to_owned()).collect();
    for address in ADDRESSES.iter().chain(FIRST_ADDRESSES).filter(|address| !address.starts_with("/scan/")) {
        if let Some((_, page, link)) = LINKED.iter().find(|(of, ..)| of == address) {
            browser.open_page(page).await;
            paths.insert(browser.find(link).await.attr("href").await.unwrap().unwrap());
        } else if address.starts_with("/jobs/{number}") {
            paths.extend(JOBS.iter().map(|job| address.replace("{number}", job)));
        } else {
            paths.insert((*address).to_owned());
        }
    }
    let customer = paths.iter().find(|path| path.starts_with("/customers/")).unwrap();
    paths.insert(format!("{customer}/details"));
    let reminder = paths.iter().find(|path| path.starts_with("/money/reminders/")).unwrap();
    paths.insert(format!("{reminder}/letter"));
    paths.retain(|path| !path.contains('{'));
    paths
}

#[tokio::test]
async fn axe_finds_no_violation() {
    let Some(axe) = axe() else { return };
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &["--demo"]);
    let Some(browser) = Browser::open(rimbook.address, Settings::default()).await else { return };
    let mut found = BTreeSet::new();
    let mut pages = 0;
    for path in addresses(&browser).await.iter().filter(|path| is_page(rimbook.address, path)) {
        browser.open_page(path).await;
        pages += 1;
        for dark in [false, true] {
            browser.prefer_dark(dark);
            let broken = browser.run(&format!("{axe};\n{RUN}")).await;
            let face = if dark { "dark" } else { "light" };
            found.extend(broken.as_array().unwrap().iter().map(|rule| format!("{face} {path}: {rule}")));
        }
    }
    assert!(pages > 100, "only {pages} pages were found");
    assert!(found.is_empty(), "{} violations:\n{}", found.len(), found.into_iter().collect::<Vec<_>>().join("\n"));

    // The check itself: a picture without words and pale words are found.
    let spoil = "const picture = document.createElement('img'); picture.src = '/static/icon.svg'; \
                 const words = document.createElement('p'); words.textContent = 'pale'; words.style.color = '#bbb'; \
                 words.style.background = '#fff'; document.querySelector('main').append(picture, words);";
    let broken: Value = browser.run(&format!("{axe};\n{spoil}\n{RUN}")).await;
    for rule in ["image-alt", "color-contrast"] {
        assert!(broken.to_string().contains(rule), "{rule} is not found: {broken}");
    }
}
