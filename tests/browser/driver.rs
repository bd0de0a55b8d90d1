//! A real Chromium, driven through its own driver, with the acts of a person at the counter.
//!
//! Nothing waits a fixed time: each step polls for what it expects, up to [`PATIENCE`].

use std::io::Write;
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::elements::Element;
use fantoccini::error::CmdError;
use fantoccini::key::Key;
use fantoccini::wd::Capabilities;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tempfile::{NamedTempFile, TempDir};
use tokio::sync::{Semaphore, SemaphorePermit};

use crate::running::{ask, free_port, lines_of, try_ask};

/// Longer than any page takes on a slow machine under load; reached only by a step that fails.
const PATIENCE: Duration = Duration::from_secs(60);

/// Browsers that are open at once. More of them only wait for each other, and a small machine then takes so long for one
/// page that a story gives up.
static PLACES: Semaphore = Semaphore::const_new(3);

/// How the browser of a story is set.
#[derive(Default)]
pub struct Settings {
    /// Pages may run no script.
    pub without_javascript: bool,
    /// Note down every request the browser makes and every word on its console.
    pub watched: bool,
}

/// The two programs a story needs, or why it cannot be told.
fn programs() -> Result<(String, String), String> {
    let first = |names: &[&str]| {
        let path = std::env::var_os("PATH").unwrap_or_default();
        std::env::split_paths(&path)
            .flat_map(|folder| names.iter().map(move |name| folder.join(name)))
            .find(|file| file.is_file())
            .map(|file| file.display().to_string())
            .ok_or_else(|| format!("no {} on the PATH", names.join(" or ")))
    };
    Ok((first(&["chromedriver"])?, first(&["chromium", "chromium-browser", "google-chrome"])?))
}

/// A browser window on one Rimbook.
pub struct Browser {
    client: Client,
    driver: Driver,
    site: String,
    /// Given back once the driver is gone.
    _place: SemaphorePermit<'static>,
}

/// A file that a story gives to a page.
pub fn given_file(suffix: &str, bytes: &[u8]) -> NamedTempFile {
    let mut file = tempfile::Builder::new().suffix(suffix).tempfile().unwrap();
    file.write_all(bytes).unwrap();
    file
}

/// The driver's process; dropped, it takes its Chromium along.
struct Driver {
    child: Child,
    address: SocketAddr,
    session: String,
    profile: TempDir,
}

impl Drop for Driver {
    fn drop(&mut self) {
        // The driver closes its Chromium when asked to; killed at once, it would leave it behind.
        let _ = try_ask(self.address, &self.request("DELETE", "", ""));
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Driver {
    fn request(&self, method: &str, command: &str, body: &str) -> String {
        let (host, session, length) = (self.address, &self.session, body.len());
        format!(
            "{method} /session/{session}{command} HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/json\r\n\
             Content-Length: {length}\r\nConnection: close\r\n\r\n{body}"
        )
    }

    /// A command of Chromium's driver that the standard does not know.
    fn tell(&self, command: &str, body: &Value) -> Value {
        let (_, answer) = ask(self.address, &self.request("POST", command, &body.to_string()));
        let answer: Value = serde_json::from_str(&answer).unwrap();
        assert!(answer["value"].get("error").is_none(), "{command}: {answer}");
        answer["value"].clone()
    }
}

impl Browser {
    /// Opens a browser. Where there is none, the story fails: it was asked for.
    pub async fn open(site: SocketAddr, settings: Settings) -> Self {
        let (driver, chromium) =
            programs().unwrap_or_else(|why| panic!("a story needs Chromium and its driver: {why}"));
        Self::start(&driver, &chromium, site, &settings).await
    }

    async fn start(driver: &str, chromium: &str, site: SocketAddr, settings: &Settings) -> Self {
        let place = PLACES.acquire().await.unwrap();
        let profile = tempfile::tempdir().unwrap();
        let mut child = Command::new(driver)
            .arg(format!("--port={}", free_port()))
            // The order of day, month and year in a date field follows the language.
            .env("LANGUAGE", "en_US")
            .env("TMPDIR", profile.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let lines = lines_of(child.stdout.take().unwrap());
        let port = loop {
            let line = lines.recv_timeout(PATIENCE).expect("the driver says where it listens");
            if let Some(port) = line.strip_prefix("ChromeDriver was started successfully on port ") {
                break port.trim_end_matches('.').parse::<u16>().unwrap();
            }
        };
        let address = SocketAddr::from(([127, 0, 0, 1], port));
        let mut driver = Driver { child, address, session: String::new(), profile };
        let user_data = driver.profile.path().join("profile");
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities(chromium, &user_data, settings))
            .connect(&format!("http://{}", driver.address))
            .await
            .unwrap();
        driver.session = client.session_id().await.unwrap().unwrap();
        let browser = Self { client, driver, site: format!("http://{site}"), _place: place };
        browser.resize(1280, 800).await;
        // A window that nobody looks at may lose the keyboard to nothing when it opens another page.
        browser.devtools("Emulation.setFocusEmulationEnabled", json!({ "enabled": true }));
        browser
    }

    // What a person does.

    /// Types an address of Rimbook.
    pub async fn open_page(&self, path: &str) {
        self.client.goto(&format!("{}{path}", self.site)).await.unwrap();
    }

    /// Replaces what a field holds, as pasting does. Where each key matters, see [`Browser::type_here`].
    pub async fn fill(&self, id: &str, text: &str) {
        let field = self.find(&format!("#{id}")).await;
        // A date field takes keys alone.
        if field.prop("type").await.unwrap().as_deref() == Some("date") {
            field.clear().await.unwrap_or_else(|why| panic!("cannot empty #{id}: {why}"));
            field.send_keys(text).await.unwrap_or_else(|why| panic!("cannot type into #{id}: {why}"));
            return;
        }
        let take = format!(
            "const field = document.getElementById('{id}'); field.scrollIntoView({{ block: 'nearest' }}); field.focus(); \
             field.select(); return document.activeElement === field && field.checkVisibility() && !field.readOnly"
        );
        assert_eq!(self.run(&take).await, true, "#{id} takes no text");
        self.devtools("Input.insertText", json!({ "text": text }));
        let holds = async || Some(self.value(id).await).filter(|value| value == text);
        self.patiently(&format!("{text:?} in #{id}"), holds).await;
    }

    /// Chooses a file.
    pub async fn give_file(&self, id: &str, file: &Path) {
        self.find(&format!("#{id}")).await.send_keys(file.to_str().unwrap()).await.unwrap();
    }

    /// Chooses an option by how its words begin.
    pub async fn choose(&self, id: &str, words: &str) {
        let option = format!(".//option[starts-with(normalize-space(), '{words}')]");
        let list = self.find(&format!("#{id}")).await;
        list.select_by(Locator::XPath(&option)).await.unwrap_or_else(|why| panic!("no {words} in #{id}: {why}"));
    }

    /// Clicks on something.
    pub async fn click(&self, selector: &str) {
        let what = self.find(selector).await;
        what.click().await.unwrap_or_else(|why| panic!("cannot click {selector}: {why}"));
    }

    /// Clicks twice as fast as it goes, both times on the page as it is now.
    pub async fn double_click(&self, selector: &str) {
        let script = format!(
            "const box = document.querySelector('{selector}'); box.scrollIntoView({{ block: 'center' }}); \
             const at = box.getBoundingClientRect(); return [at.x + at.width / 2, at.y + at.height / 2]"
        );
        let at = self.run(&script).await;
        for count in [1, 2] {
            for kind in ["mousePressed", "mouseReleased"] {
                self.devtools(
                    "Input.dispatchMouseEvent",
                    json!({ "type": kind, "x": at[0], "y": at[1], "button": "left", "clickCount": count }),
                );
            }
        }
    }

    /// Clicks on the link or button with these words.
    pub async fn press(&self, words: &str) {
        let path = format!("//main//*[self::a or self::button][normalize-space()='{words}'][not(@aria-hidden)]");
        let what =
            self.patiently(&format!("“{words}”"), async || self.client.find(Locator::XPath(&path)).await.ok()).await;
        what.click().await.unwrap_or_else(|why| panic!("cannot press {words}: {why}"));
    }

    /// Opens what is folded away under these words, unless it is open already.
    pub async fn unfold(&self, words: &str) {
        let path = format!("//details[summary[normalize-space()='{words}']]");
        let details = self.patiently(words, async || self.client.find(Locator::XPath(&path)).await.ok()).await;
        if details.attr("open").await.unwrap().is_none() {
            details.find(Locator::Css("summary")).await.unwrap().click().await.unwrap();
        }
    }

    /// Types where the cursor is.
    pub async fn type_here(&self, text: &str) {
        self.client.active_element().await.unwrap().send_keys(text).await.unwrap();
    }

    /// Presses one key where the cursor is.
    pub async fn key(&self, key: Key) {
        let key: char = key.into();
        self.type_here(&key.to_string()).await;
    }

    /// Looks for something with the box at the head of the page; the address of what was found.
    pub async fn search(&self, words: &str) -> String {
        self.fill("find-q", words).await;
        self.click("header form.find button").await;
        self.arrives_at("/find/").await
    }

    /// The Back button.
    pub async fn back(&self) {
        self.client.back().await.unwrap();
    }

    /// The Reload button.
    pub async fn reload(&self) {
        self.client.refresh().await.unwrap();
    }

    // What a person sees.

    /// Waits for something to be on the page.
    pub async fn find(&self, selector: &str) -> Element {
        self.patiently(selector, async || self.client.find(Locator::Css(selector)).await.ok()).await
    }

    /// Whether something is on the page now.
    pub async fn has(&self, selector: &str) -> bool {
        !self.client.find_all(Locator::Css(selector)).await.unwrap().is_empty()
    }

    /// The words in the first element a selector finds, white space folded, once it has any.
    pub async fn text(&self, selector: &str) -> String {
        self.patiently(selector, async || self.texts(selector).await.into_iter().next().filter(|t| !t.is_empty())).await
    }

    /// The words in every element a selector finds now.
    pub async fn texts(&self, selector: &str) -> Vec<String> {
        // An element that the page replaces while it is read is read again.
        self.patiently(selector, async || self.texts_now(selector).await.ok()).await
    }

    async fn texts_now(&self, selector: &str) -> Result<Vec<String>, CmdError> {
        let mut texts = Vec::new();
        for element in self.client.find_all(Locator::Css(selector)).await? {
            let text = element.prop("textContent").await?.unwrap_or_default();
            texts.push(text.split_whitespace().collect::<Vec<_>>().join(" "));
        }
        Ok(texts)
    }

    /// Waits until an element says something that holds certain words.
    pub async fn sees(&self, selector: &str, words: &str) {
        let until = Instant::now() + PATIENCE;
        let mut last = self.texts(selector).await;
        while !last.iter().any(|text| text.contains(words)) {
            let at = self.client.current_url().await;
            assert!(Instant::now() < until, "{selector} never said “{words}” but {last:?} at {at:?}");
            tokio::time::sleep(Duration::from_millis(20)).await;
            last = self.texts(selector).await;
        }
    }

    /// What a field holds.
    pub async fn value(&self, id: &str) -> String {
        self.find(&format!("#{id}")).await.prop("value").await.unwrap().unwrap_or_default()
    }

    /// Waits for a page of Rimbook by how its address begins; the whole of it.
    pub async fn arrives_at(&self, beginning: &str) -> String {
        self.patiently(&format!("page {beginning}"), async || {
            let path = Some(self.path().await).filter(|path| path.starts_with(beginning))?;
            self.is_loaded().await.then_some(path)
        })
        .await
    }

    /// Whether all of the page is there and its scripts listen. What is pressed earlier may move away under the click.
    async fn is_loaded(&self) -> bool {
        self.client.execute("return document.readyState", Vec::new()).await.is_ok_and(|state| state == "complete")
    }

    /// Where the browser is now: path and query.
    pub async fn path(&self) -> String {
        let url = self.client.current_url().await.unwrap();
        url.as_str().strip_prefix(&self.site).unwrap_or(url.as_str()).to_owned()
    }

    /// Polls until there is an answer.
    pub async fn patiently<T>(&self, what: &str, look: impl AsyncFn() -> Option<T>) -> T {
        let until = Instant::now() + PATIENCE;
        loop {
            if let Some(found) = look().await {
                return found;
            }
            if Instant::now() > until {
                let said = self.texts_now(".error, .warn").await;
                let sent = self.has("form[data-sent]").await;
                panic!(
                    "waited in vain for {what} at {}, which says {said:?}; a form is under way: {sent}",
                    self.path().await
                );
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    // What only a tester does.

    /// Runs a script in the page and gives what it returns.
    pub async fn run(&self, script: &str) -> Value {
        self.client.execute(script, Vec::new()).await.unwrap()
    }

    /// Makes the page as large as a screen of this size shows it.
    pub async fn resize(&self, width: u32, height: u32) {
        self.devtools(
            "Emulation.setDeviceMetricsOverride",
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false }),
        );
    }

    /// From now on the screen is one that is touched, such as a tablet beside the edger.
    pub fn touch(&self, width: u32, height: u32) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": true });
        self.devtools("Emulation.setDeviceMetricsOverride", size);
        self.devtools("Emulation.setTouchEmulationEnabled", json!({ "enabled": true, "maxTouchPoints": 5 }));
    }

    /// Asks pages for their light or dark face.
    pub fn prefer_dark(&self, dark: bool) {
        let value = if dark { "dark" } else { "light" };
        self.devtools(
            "Emulation.setEmulatedMedia",
            json!({ "features": [{ "name": "prefers-color-scheme", "value": value }] }),
        );
    }

    /// Shows pages as they print.
    pub fn as_printed(&self, printed: bool) {
        self.devtools("Emulation.setEmulatedMedia", json!({ "media": if printed { "print" } else { "" } }));
    }

    /// Makes the page as wide as a telephone, which a window may not be.
    pub fn view(&self, width: u32, height: u32) {
        self.devtools(
            "Emulation.setDeviceMetricsOverride",
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false }),
        );
    }

    fn devtools(&self, command: &str, params: Value) -> Value {
        self.driver.tell("/goog/cdp/execute", &json!({ "cmd": command, "params": params }))
    }

    /// What stood on the console since the last look, one line each.
    pub fn console(&self) -> Vec<String> {
        let log = self.driver.tell("/se/log", &json!({ "type": "browser" }));
        log.as_array().unwrap().iter().map(|line| format!("{} {}", line["level"], line["message"])).collect()
    }

    /// Every address asked for since the last look, by whatever part of the browser shows the page.
    pub fn requested(&self) -> Vec<String> {
        let log = self.driver.tell("/se/log", &json!({ "type": "performance" }));
        log.as_array()
            .unwrap()
            .iter()
            .map(|line| serde_json::from_str::<Value>(line["message"].as_str().unwrap()).unwrap())
            .filter(|event| event["message"]["method"] == "Network.requestWillBeSent")
            .map(|event| event["message"]["params"]["request"]["url"].as_str().unwrap().to_owned())
            .collect()
    }
}

/// The settings of a fresh Chromium that talks to nobody by itself.
fn capabilities(chromium: &str, user_data: &Path, settings: &Settings) -> Capabilities {
    let user_data = format!("--user-data-dir={}", user_data.display());
    let mut prefs = json!({ "intl.accept_languages": "en-US" });
    if settings.without_javascript {
        prefs["profile.managed_default_content_settings.javascript"] = json!(2);
    }
    let logs = if settings.watched { json!({ "browser": "ALL", "performance": "ALL" }) } else { json!({}) };
    let wanted = json!({
        "browserName": "chrome",
        "timeouts": { "script": PATIENCE.as_millis() as u64 },
        "goog:loggingPrefs": logs,
        "goog:chromeOptions": {
            "binary": chromium,
            "prefs": prefs,
            "args": [
                "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-quic",
                "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync",
                // Nothing a page of ours needs; each would start work beside every page that opens.
                "--disable-features=SpareRendererForSitePerProcess,Translate,OptimizationHints,MediaRouter",
                "--disable-extensions", "--disable-component-extensions-with-background-pages", "--disable-breakpad",
                "--lang=en-US", user_data,
            ],
        },
    });
    match wanted {
        Value::Object(map) => map,
        _ => Capabilities::new(),
    }
}
