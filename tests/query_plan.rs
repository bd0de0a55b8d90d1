//! No query of the store reads a whole table that grows. SQLite says how it would run each of them.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;

use rimbook::store::Store;
use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection, Row, SqliteConnection};

/// Tables that stay small however much work the lab does: settings, the catalogue, the carriers, the kinds of lens in
/// the drawer, the jobs that are not settled, what was typed or uploaded in the last 30 days and not done, imports of old records,
/// who is being erased. The
/// kinds tables of the first migration are added to them.
const SMALL: [&str; 34] = [
    "erasing",
    "draft",
    "old_import",
    "old_upload",
    "old_staged",
    "old_staged_file",
    "old_writing",
    "old_uncompared",
    "backup_setting",
    "backup_setting_past",
    "remake_payer",
    "refund_cause",
    "open_balance",
    "period_span",
    "contact_way",
    "delay_silence",
    "promise_answer_kind",
    "cancel_asker",
    "concession_cause",
    "fault_cause",
    "return_cause",
    "return_condition",
    "lab",
    "lab_past",
    "process_spread",
    "process_spread_past",
    "material",
    "material_version",
    "treatment",
    "treatment_version",
    "carrier",
    "drawer_lens",
    "supplier",
    "purchase_move_kind",
];

/// Indexes that hold a few rows of a large table, and why they are few. Reading one from end to end is no scan.
const SHORT_INDEXES: [(&str, &str); 4] = [
    ("job_refund_due", "it holds the jobs with money due back"),
    ("job_open", "it holds the open jobs only"),
    ("lens_promise_open", "it holds the lenses that the drawer keeps for open jobs"),
    ("purchase_line_open", "it holds the lines of orders that are not done"),
];

/// Indexes that a list is read from in order until its `limit`: table, index, and which list. Such a query says so by
/// a limit and by needing no sorting.
const READ_IN_ORDER: [(&str, &str, &str); 1] = [("frame", "frame_by_name", "the first frames by name")];

/// Scans that stand in a plan and are not run: table, beginning of the statement, and why.
const NOT_RUN: [(&str, &str, &str); 1] = [(
    "job_revision",
    "insert into prescription ",
    "in a statement of many rows SQLite looks for children of a new parent, but only while some row lacks its parent",
)];

/// Queries that read whole tables once, when a book of an earlier version is opened: how they begin, and what they do.
const ONCE: [(&str, &str); 1] =
    [("select cast(term as text) ", "collects the words of an index that has none beside it")];

/// What SQLite does, step by step, for a query.
async fn plan_of(book: &mut SqliteConnection, query: &str) -> Vec<String> {
    let explained = sqlx::query(AssertSqlSafe(format!("explain query plan {query}"))).fetch_all(book).await;
    explained.unwrap_or_else(|why| panic!("{why}\n{query}")).iter().map(|row| row.get("detail")).collect()
}

struct Tables {
    all: BTreeSet<String>,
    small: BTreeSet<String>,
    /// What each view reads. A plan names the tables of a view, not the view.
    views: BTreeMap<String, String>,
}

impl Tables {
    async fn of(book: &mut SqliteConnection) -> Self {
        let rows =
            sqlx::query("select name from sqlite_master where type = 'table'").fetch_all(&mut *book).await.unwrap();
        let all: BTreeSet<String> = rows.iter().map(|row| row.get("name")).collect();
        let kinds = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/migrations/0001_kinds.sql")).unwrap();
        let kinds = kinds.lines().filter_map(|line| line.strip_prefix("create table "));
        let kinds = kinds.filter_map(|rest| rest.split_whitespace().next()).map(str::to_owned);
        let small: BTreeSet<String> = SMALL.iter().map(|name| (*name).to_owned()).chain(kinds).collect();
        assert!(small.len() > 20 && small.is_subset(&all), "a small table that is not there");
        let views =
            sqlx::query("select name, sql from sqlite_master where type = 'view'").fetch_all(&mut *book).await.unwrap();
        let views = views.iter().map(|row| (row.get("name"), row.get("sql"))).collect();
        Self { all, small, views }
    }

    /// The tables a query reads, under the names it gives them. Tables are named after `from` and `join`.
    fn names_in(&self, query: &str) -> BTreeMap<String, String> {
        let words = words_of(query);
        let mut names: BTreeMap<String, String> =
            words.iter().filter_map(|word| self.views.get(word)).flat_map(|view| self.names_in_one(view)).collect();
        names.extend(self.names_in_one(query));
        names
    }

    fn names_in_one(&self, query: &str) -> BTreeMap<String, String> {
        let mut words = words_of(query);
        // A table may be the last word.
        words.extend([String::new(), String::new()]);
        let mut names = BTreeMap::new();
        for pair in words.windows(2) {
            let is_read = ["from", "join", "update", "into"].contains(&pair[0].to_lowercase().as_str());
            if is_read && self.all.contains(&pair[1]) {
                names.insert(pair[1].clone(), pair[1].clone());
            }
        }
        for triple in words.windows(4) {
            let is_read = ["from", "join"].contains(&triple[0].to_lowercase().as_str());
            if is_read && self.all.contains(&triple[1]) {
                let alias = if triple[2].eq_ignore_ascii_case("as") { &triple[3] } else { &triple[2] };
                names.insert(alias.clone(), triple[1].clone());
            }
        }
        names
    }
}

/// The words of a query outside quotes.
fn words_of(query: &str) -> Vec<String> {
    // Every second part stands between quotes.
    let unquoted: String = query.split('\'').step_by(2).collect::<Vec<_>>().join(" ");
    let words = unquoted.split(|c: char| !c.is_alphanumeric() && c != '_').filter(|word| !word.is_empty());
    words.map(str::to_owned).collect()
}

/// The steps of a plan that read a whole table that grows.
fn scans(tables: &Tables, query: &str, plan: &[String]) -> Vec<String> {
    let names = tables.names_in(query);
    let sorts = plan.iter().any(|step| step.starts_with("USE TEMP B-TREE"));
    let is_limited = query.to_lowercase().contains(" limit ") && !sorts;
    let is_not_run = |step: &String| {
        NOT_RUN.iter().any(|(table, begins, _)| query.contains(begins) && *step == format!("SCAN {table}"))
    };
    plan.iter().filter(|step| is_scan(tables, &names, is_limited, step) && !is_not_run(step)).cloned().collect()
}

fn is_scan(tables: &Tables, names: &BTreeMap<String, String>, is_limited: bool, step: &str) -> bool {
    let mut words = step.split_whitespace();
    let reads_all = match words.next() {
        Some("SCAN") => true,
        // SQLite reads the whole table to make such an index.
        Some("SEARCH") => step.contains("USING AUTOMATIC"),
        _ => false,
    };
    let Some(name) = words.next().filter(|_| reads_all) else { return false };
    // A part of the query itself, a constant row, or the JSON that was handed over.
    let Some(table) = names.get(name) else { return false };
    if tables.small.contains(table) {
        return false;
    }
    // FTS5 tells a match by an M. Its list of terms tells one term by the bit 0x100 (fts5_vocab.c, FTS5_VOCAB_TERM_EQ).
    if let Some((_, index)) = step.split_once("VIRTUAL TABLE INDEX ") {
        let number: u32 = index.split(':').next().and_then(|number| number.parse().ok()).unwrap_or(0);
        if table.ends_with("_term") && number & 0x100 != 0 {
            return false;
        }
        return !index.contains('M') && !index.contains('=');
    }
    let index = step.split_once("INDEX ").and_then(|(_, rest)| rest.split_whitespace().next()).unwrap_or_default();
    let is_short = SHORT_INDEXES.iter().any(|(short, _)| *short == index);
    let is_in_order = READ_IN_ORDER.iter().any(|(of, by, _)| of == table && *by == index);
    !(is_short || is_limited && is_in_order)
}

async fn fresh_book(folder: &tempfile::TempDir) -> SqliteConnection {
    Store::open(folder.path()).await.unwrap().close().await;
    SqliteConnection::connect(&format!("sqlite:{}", folder.path().join("rimbook.db").display())).await.unwrap()
}

#[tokio::test]
async fn no_query_scans_a_table_that_grows() {
    let folder = tempfile::tempdir().unwrap();
    let mut book = fresh_book(&folder).await;
    let tables = Tables::of(&mut book).await;
    let mut queries = 0;
    let mut bad = Vec::new();
    for file in fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.sqlx")).unwrap() {
        let text = fs::read_to_string(file.unwrap().path()).unwrap();
        let query = serde_json::from_str::<Value>(&text).unwrap()["query"].as_str().unwrap().to_owned();
        let is_once = ONCE.iter().any(|(begins, _)| query.starts_with(begins));
        if ["begin", "commit"].contains(&query.as_str()) || is_once {
            continue;
        }
        queries += 1;
        let plan = plan_of(&mut book, &query).await;
        bad.extend(scans(&tables, &query, &plan).into_iter().map(|step| format!("{step}\n    in: {query}")));
    }
    assert!(queries > 50, "only {queries} queries were found");
    assert!(bad.is_empty(), "{} steps read a whole table:\n{}", bad.len(), bad.join("\n"));
}

/// The test above can fail: each of these reads a whole table in another way.
#[tokio::test]
async fn a_scan_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let mut book = fresh_book(&folder).await;
    sqlx::query("create view total as select sum(c.amount_cents) as cents from charge c")
        .execute(&mut book)
        .await
        .unwrap();
    let tables = Tables::of(&mut book).await;
    for wrong in [
        "select cents from total",
        "select number from job where ordered_on = ?",
        "select j.number from job as j where j.taken_at > ?",
        "select count(*) from receipt",
        "select r.number from payment p join receipt r on r.total_cents = p.amount_cents where p.job_number = ?",
        "select rowid from job_search",
        "select id from customer order by email limit 5",
        "select maker from frame order by maker, model",
        "update shipment set tracking = '' where carrier = ?",
    ] {
        let plan = plan_of(&mut book, wrong).await;
        assert!(!scans(&tables, wrong, &plan).is_empty(), "{wrong}\n{plan:?}");
    }
    for right in [
        "select number from job where number = ?",
        "select number from job where closed_at is null order by promised_on, number",
        "select rowid from job_search where job_search match ? limit 10",
        "select maker from frame order by maker, model, eye_size_hundredths, colour limit 5",
        "select name from carrier",
        "select body from shape_json where id = ?",
        "select max(seq) from drawer_move",
    ] {
        let plan = plan_of(&mut book, right).await;
        assert_eq!(scans(&tables, right, &plan), Vec::<String>::new(), "{right}");
    }
}
