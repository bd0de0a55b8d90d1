//! How many keys, clicks and pages an easy order takes, and the whole easy job from the order to the receipt.

use std::collections::BTreeSet;
use std::path::Path;

use fantoccini::key::Key;

use crate::driver::{Browser, Settings};
use crate::running::Running;
use crate::trace::TracedPair;

/// Counts what a person does.
struct Counter<'a> {
    browser: &'a Browser,
    keys: usize,
    clicks: usize,
    /// Every page that was shown, by when it was.
    pages: BTreeSet<String>,
}

impl Counter<'_> {
    /// Types a text where the cursor is.
    async fn types(&mut self, text: &str) {
        self.keys += text.chars().count();
        self.browser.type_here(text).await;
    }

    async fn key(&mut self, key: Key) {
        self.keys += 1;
        self.browser.key(key).await;
    }

    /// Types a text and goes to the next field.
    async fn field(&mut self, id: &str, text: &str) {
        let at = self.browser.run("return document.activeElement.id").await;
        assert_eq!(at, id, "Tab leads from field to field");
        self.types(text).await;
        self.key(Key::Tab).await;
    }

    async fn click(&mut self, selector: &str) {
        self.clicks += 1;
        self.browser.click(selector).await;
    }

    async fn press(&mut self, words: &str) {
        self.clicks += 1;
        self.browser.press(words).await;
    }

    /// Chooses a file: the button, and the file in the window that opens.
    async fn give_file(&mut self, id: &str, file: &Path) {
        self.clicks += 2;
        self.browser.give_file(id, file).await;
    }

    /// Waits for a page and counts it.
    async fn arrives_at(&mut self, beginning: &str) {
        self.browser.arrives_at(beginning).await;
        let shown = self.browser.run("return performance.timeOrigin + location.pathname").await;
        self.pages.insert(shown.as_str().unwrap().to_owned());
    }

    fn say(&self, what: &str) -> (usize, usize, usize) {
        let counts = (self.keys, self.clicks, self.pages.len());
        eprintln!("{what}: {} keys, {} clicks, {} pages", counts.0, counts.1, counts.2);
        counts
    }
}

#[tokio::test]
#[ignore = "a story in a real browser: cargo test -- --include-ignored"]
async fn an_easy_job_takes_few_keys_clicks_and_pages() {
    let home = tempfile::tempdir().unwrap();
    let rimbook = Running::start(home.path(), &["--demo"]);
    let browser = Browser::open(rimbook.address, Settings::default()).await;
    browser.open_page("/").await;
    let mut counter = Counter { browser: &browser, keys: 0, clicks: 0, pages: BTreeSet::new() };

    let job = take_the_order(&mut counter).await;
    let (keys, clicks, pages) = counter.say("An easy order");
    assert!(keys <= 100 && pages <= 2 && clicks <= 22, "an easy order: {keys} keys, {clicks} clicks, {pages} pages");

    make_the_pair(&mut counter, &job).await;
    send_the_pair(&mut counter, &job).await;
    let (keys, clicks, pages) = counter.say("An easy job");
    assert!(keys <= 140 && clicks <= 22 && pages <= 15, "an easy job: {keys} keys, {clicks} clicks, {pages} pages");
}

/// A new customer, a frame of the book, material and coating chosen. Gives the address of the job.
async fn take_the_order(counter: &mut Counter<'_>) -> String {
    counter.press("Take an order").await;
    counter.arrives_at("/orders/").await;
    counter.field("customer_name", "Odile Marrow").await;
    counter.field("line1", "3 Sedge Row").await;
    counter.field("city", "Pellmarsh").await;
    counter.field("region", "PM").await;
    counter.field("postcode", "00404").await;
    counter.types("gusset").await;
    counter.browser.sees("#frame_name-list", "Gusset").await;
    counter.key(Key::Down).await;
    counter.key(Key::Enter).await;
    counter.key(Key::Tab).await;
    // Past the fold for a frame that is not in the book.
    counter.key(Key::Tab).await;
    counter.field("rx_right", "-150-75 95").await;
    counter.field("height_right", "").await;
    counter.field("rx_left", "-150-75 80").await;
    counter.field("height_left", "").await;
    counter.field("pd", "31/33").await;
    counter.field("material", "H").await;
    counter.types("A").await;
    counter.press("Take the order").await;
    counter.arrives_at("/jobs/").await;
    counter.browser.path().await
}

/// From the trace to a check that passed.
async fn make_the_pair(counter: &mut Counter<'_>, job: &str) {
    let trace = TracedPair::read("09-gusset-rectangle.txt");
    counter.click(".job-bar a.primary").await;
    counter.arrives_at(&format!("{job}/shape")).await;
    counter.give_file("file", &trace.path).await;
    counter.press("Save this shape").await;
    counter.arrives_at(&format!("{job}/lenses")).await;
    for eye in ["right", "left"] {
        counter.click(&format!("#lens_{eye} .choice:first-of-type label")).await;
    }
    counter.press("Take these lenses in hand").await;
    counter.arrives_at(&format!("{job}/layout")).await;
    counter.click(".job-bar a.primary").await;
    counter.arrives_at(&format!("{job}/cut")).await;
    counter.press("Both lenses are cut").await;
    counter.arrives_at(&format!("{job}/check")).await;
    counter.field("read_right", "-150-75 95").await;
    let middle = format!("{:.1}", trace.eyes[0].b_mm / 2.0);
    counter.field("height_right", &middle).await;
    counter.field("center_right", "2").await;
    counter.field("read_left", "-150-75 80").await;
    counter.field("height_left", &middle).await;
    counter.field("center_left", "2").await;
    counter.types("31/33").await;
    counter.key(Key::Enter).await;
    counter.arrives_at(&format!("{job}/packing")).await;
}

/// Impact proof, packing, parcel and receipt.
async fn send_the_pair(counter: &mut Counter<'_>, job: &str) {
    counter.field("certificate_right", "4711").await;
    counter.key(Key::Enter).await;
    counter.arrives_at(&format!("{job}/packing")).await;
    for group in ["lenses", "alignment", "parcel"] {
        counter.click(&format!("label[for=tick-all_{group}]")).await;
    }
    counter.press("Packed").await;
    counter.arrives_at(&format!("{job}/shipment")).await;
    counter.press("Sent").await;
    counter.arrives_at(&format!("{job}/bill")).await;
    counter.press("Issue the receipt").await;
    counter.arrives_at("/receipts/").await;
}
