//! Every page that the router has on the demonstration's book.

use std::collections::BTreeSet;
use std::net::SocketAddr;

use rimbook::web::router::{ADDRESSES, FIRST_ADDRESSES};

use crate::driver::Browser;
use crate::running::ask;

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
const MORE: [&str; 5] = [
    "/scan/99999",
    "/money/takings?of=",
    "/money/takings?of=2026",
    "/jobs/1001/bill/reversals?line=1",
    "/no-such-page",
];

/// Whether an address answers a read with a page, and not with a part of one, a file or a refusal.
pub fn is_page(site: SocketAddr, path: &str) -> bool {
    let request = format!("GET {path} HTTP/1.1\r\nHost: {site}\r\nConnection: close\r\n\r\n");
    let (head, body) = ask(site, &request);
    head.starts_with("HTTP/1.1 303") || body.contains("<main") && !head.starts_with("HTTP/1.1 405")
}

/// The addresses of the pages, each once.
pub async fn addresses(browser: &Browser) -> BTreeSet<String> {
    let mut paths: BTreeSet<String> = MORE.iter().map(|path| (*path).to_owned()).collect();
    browser.open_page("/").await;
    for words in ["ma", "nobody-of-that-name"] {
        paths.insert(browser.search(words).await);
    }
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
    let customer = paths.iter().find(|path| path.starts_with("/customers/")).unwrap().clone();
    paths.extend(["details", "erasure"].map(|end| format!("{customer}/{end}")));
    let reminder = paths.iter().find(|path| path.starts_with("/money/reminders/")).unwrap();
    paths.insert(format!("{reminder}/letter"));
    paths.retain(|path| !path.contains('{'));
    paths
}
