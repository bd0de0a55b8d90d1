//! Every page of the router on the demonstration's book: axe-core finds no violation of any of its rules; and none of its
//! rules about color when the page is dark, which changes nothing else.
//!
//! axe-core comes from the npm registry and is not kept here: `.ci/run` fetches it to [`AXE`].

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;

use serde_json::Value;

use crate::driver::{Browser, Settings};
use crate::pages::{addresses, is_page};
use crate::running::Running;

/// Where `.ci/run` puts it.
const AXE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/target/axe-core/axe.min.js");

/// Runs axe on the page: each rule that is broken, with where.
const RUN: &str = "return rules_broken()";

/// The same for the rules about color alone.
const RUN_COLOR: &str = "return rules_broken({ type: 'rule', values: ['color-contrast', 'link-in-text-block'] })";

/// What a page needs besides axe itself.
const RULES_BROKEN: &str = "window.rules_broken = (runOnly) => { \
    for (const change of document.getAnimations()) change.finish(); \
    const options = { resultTypes: ['violations'], ...(runOnly && { runOnly }) }; \
    return axe.run(document, options).then((result) => result.violations.map((broken) => \
    `${broken.id}: ${broken.help}: ${broken.nodes.slice(0, 3).map((node) => node.html.slice(0, 160)).join(' … ')}`)); };";

fn axe() -> String {
    let script = std::fs::read_to_string(AXE)
        .unwrap_or_else(|why| panic!("this story needs axe-core in {AXE}, where .ci/run puts it: {why}"));
    format!("{script};\n{RULES_BROKEN}")
}

/// Says something on the wire, so that the page *Devices* has something to show.
fn greet_as_device(rimbook: &Running) {
    let address = rimbook.said.iter().find_map(|line| line.strip_prefix("Devices are heard at ")).unwrap();
    let mut line = TcpStream::connect(address).unwrap();
    line.write_all(b"\x1cREQ=INI\r\nMODEL=T2\r\n\x1d").unwrap();
    let mut answer = Vec::new();
    BufReader::new(line).read_until(0x1d, &mut answer).unwrap();
    assert!(answer.ends_with(b"\x1d"), "{answer:?}");
}

/// What axe says of the page that is open.
pub async fn violations(browser: &Browser) -> Vec<String> {
    let broken = browser.run(&format!("{};\n{RUN}", axe())).await;
    broken.as_array().unwrap().iter().map(ToString::to_string).collect()
}

/// What axe says of each of these pages, light and dark.
async fn violations_of(browser: &Browser, axe: &str, pages: Vec<&String>) -> Vec<String> {
    let mut found = Vec::new();
    for path in pages {
        browser.open_page(path).await;
        browser.run(axe).await;
        for (face, run) in [("light", RUN), ("dark", RUN_COLOR)] {
            browser.prefer_dark(face == "dark");
            let broken = browser.run(run).await;
            found.extend(broken.as_array().unwrap().iter().map(|rule| format!("{face} {path}: {rule}")));
        }
    }
    found
}

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn axe_finds_no_violation() {
    let axe = axe();
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &["--demo", "--devices", "127.0.0.1:0"]);
    let browser = Browser::open(rimbook.address, Settings::default()).await;
    greet_as_device(&rimbook);
    let addresses = addresses(&browser).await;
    assert!(addresses.iter().any(|path| path == "/lab/devices"), "the page of the devices is linked");
    // Two browsers take half of the pages each.
    let other = Browser::open(rimbook.address, Settings::default()).await;
    let pages: Vec<&String> = addresses.iter().filter(|path| is_page(rimbook.address, path)).collect();
    let (even, odd) = tokio::join!(
        violations_of(&browser, &axe, pages.iter().step_by(2).copied().collect()),
        violations_of(&other, &axe, pages.iter().skip(1).step_by(2).copied().collect()),
    );
    let (pages, found) = (pages.len(), even.into_iter().chain(odd).collect::<BTreeSet<_>>());
    assert!(pages > 100, "only {pages} pages were found");
    assert!(found.is_empty(), "{} violations:\n{}", found.len(), found.into_iter().collect::<Vec<_>>().join("\n"));

    // The check itself: a picture without words and pale words are found.
    browser.run(&axe).await;
    let spoil = "const picture = document.createElement('img'); picture.src = '/static/icon.svg'; \
                 const words = document.createElement('p'); words.textContent = 'pale'; words.style.color = '#bbb'; \
                 words.style.background = '#fff'; document.querySelector('main').append(picture, words);";
    let broken: Value = browser.run(&format!("{spoil}\n{RUN}")).await;
    for rule in ["image-alt", "color-contrast"] {
        assert!(broken.to_string().contains(rule), "{rule} is not found: {broken}");
    }
    let broken: Value = browser.run(RUN_COLOR).await;
    assert!(broken.to_string().contains("color-contrast"), "pale words are not found in the dark: {broken}");
}
