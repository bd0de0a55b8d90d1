//! A shop at work over HTTP: it names itself and takes orders.

use std::path::Path;
use std::process::Command;

use scraper::{Html, Selector};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};
use time::{Duration, OffsetDateTime};

use crate::order_fields::ORDER_FIELDS;
use crate::running::{Running, posted, rimbook, try_ask};

/// A running program whose lab has a name.
pub struct Shop {
    pub running: Running,
    material: String,
    /// By how many days the clock that the program sees is ahead: who types goes by it.
    pub days_ahead: i64,
}

/// What came of an order that was sent.
#[derive(Debug)]
pub enum Sent {
    /// Answered as kept, with the address of its job.
    Kept(String),
    /// Answered otherwise: the status line and the page.
    Refused(String, String),
    /// Not answered.
    Silence,
}

/// The command that serves a folder at a free port.
pub fn serving(folder: &Path) -> Command {
    let mut command = rimbook();
    command.arg("--data").arg(folder).args(["--port", "0", "--no-browser"]);
    command
}

impl Shop {
    /// Opens a shop on a folder; names the lab where it has none.
    pub fn open(folder: &Path) -> Self {
        Self::of(Running::run(serving(folder)))
    }

    pub fn of(running: Running) -> Self {
        let (head, _) = running.get("/");
        if head.contains("/start") {
            let fields = [("key", "start"), ("name", "Saltmarsh Lens Post"), ("address", "4 Quay Lane")];
            let (head, page) = running.post("/start", &fields);
            assert!(head.starts_with("HTTP/1.1 303"), "{head}{page}");
        }
        let (_, page) = running.get(&format!("/orders/{}", uuid::Uuid::now_v7()));
        let page = Html::parse_document(&page);
        let first = Selector::parse("select[name=material] option[value]:not([value=''])").unwrap();
        let material = page.select(&first).next().unwrap().value().attr("value").unwrap().to_owned();
        Self { running, material, days_ahead: 0 }
    }

    /// The request of a complete order for somebody new.
    pub fn order(&self, key: &str, name: &str) -> String {
        let today = OffsetDateTime::now_utc().date() + Duration::days(self.days_ahead);
        let day = |days: i64| (today + Duration::days(days)).to_string();
        // Yesterday by UTC is over, or today, in every time zone.
        let (ordered, promised, written, expires) = (day(-1), day(10), day(-30), day(600));
        let own = [
            ("customer_name", name),
            ("written_on", &written),
            ("expires_on", &expires),
            ("material", &self.material),
            ("ordered_on", &ordered),
            ("promised_on", &promised),
        ];
        let fields = [&ORDER_FIELDS[..], &own].concat();
        posted(self.running.address, &format!("/orders/{key}"), &fields)
    }

    /// Sends an order under a key.
    pub fn send(&self, key: &str, name: &str) -> Sent {
        let Ok((head, page)) = try_ask(self.running.address, &self.order(key, name)) else { return Sent::Silence };
        let location = head.lines().find_map(|line| line.strip_prefix("location: "));
        match location {
            Some(job) if head.starts_with("HTTP/1.1 303") => Sent::Kept(job.to_owned()),
            _ if head.is_empty() => Sent::Silence,
            _ => Sent::Refused(head.lines().next().unwrap_or("").to_owned(), page),
        }
    }

    /// Sends a new order that must be kept.
    #[track_caller]
    pub fn must_take(&self, name: &str) -> String {
        match self.send(&new_key(), name) {
            Sent::Kept(job) => job,
            other => panic!("{name}: {other:?}"),
        }
    }
}

pub fn new_key() -> String {
    uuid::Uuid::now_v7().to_string()
}

/// The answer of a question to a book that no program has open, read from the one file alone as a copy of it would be.
pub async fn ask_file(file: &Path, question: &'static str) -> Result<String, sqlx::Error> {
    let copy = tempfile::tempdir().unwrap();
    let alone = copy.path().join("alone.db");
    std::fs::copy(file, &alone).unwrap();
    let mut book = SqliteConnectOptions::new().filename(&alone).connect().await?;
    let answer = sqlx::query_scalar(question).fetch_one(&mut book).await;
    book.close().await?;
    answer
}
