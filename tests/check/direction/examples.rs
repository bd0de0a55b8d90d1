//! Small wrong sources, each of which must be seen, and right ones that must not.

use std::path::Path;

use super::source::{Source, module_of};

fn sources_of(files: &[(&str, &str)]) -> Vec<Source> {
    let source = |(file, text): &(&str, &str)| Source {
        path: file.into(),
        module: module_of(Path::new(file)),
        syntax: syn::parse_file(text).unwrap_or_else(|why| panic!("{text}: {why}")),
    };
    files.iter().map(source).collect()
}

/// The faults of a crate of these files.
fn faults_of(files: &[(&str, &str)]) -> Vec<String> {
    super::faults(&sources_of(files))
}

const CORE: (&str, &str) = ("core.rs", "pub mod optics; pub mod picture; pub mod shape;");
const LIB: (&str, &str) = (
    "lib.rs",
    "pub use rimbook_core::{optics, picture, shape}; pub mod bench; pub mod calc; pub mod config; pub mod demo;
     pub mod desk; pub mod print; pub mod safekeeping; pub mod serve; pub mod store; pub mod web;",
);

/// (file, source, the fault it must be seen for).
const WRONG: &[(&str, &str, &str)] = &[
    // The direction, in every way to write a path.
    ("optics/unit.rs", "use crate::{store::Store};", "imports store"),
    ("shape/trace.rs", "use super::super::store;", "imports store"),
    ("calc.rs", "use crate::web::form::Form;", "imports web"),
    ("optics/unit.rs", "use crate::shape::outline::Outline;", "imports shape"),
    ("optics/unit.rs", "use crate::desk as order_side;", "imports desk"),
    ("optics/unit.rs", "use crate as root; fn f() { root::store::open() }", "imports store"),
    ("optics/unit.rs", "use crate::{self as root}; use root::{optics::Eye, web::{form, clock}};", "imports web"),
    ("optics/unit.rs", "fn f() -> crate::bench::lens::JobLens { todo() }", "imports bench"),
    ("optics/unit.rs", "fn f() { self::super::super::print::ticket() }", "imports print"),
    ("optics/unit.rs", "fn f() { let x = vec![crate::shape::trace::read()]; }", "imports shape"),
    ("optics/unit.rs", "macro_rules! m { () => { use $crate::{store::Store}; } }", "imports store"),
    ("optics/unit.rs", "fn f() { if let crate::desk::order::Design::Full = x {} }", "imports desk"),
    ("optics/unit.rs", "fn f() { fn g() { use super::super::shape::trace; } }", "imports shape"),
    ("optics/unit.rs", "#[serde(with = \"crate::desk::receipt::iso_date\")] struct S;", "imports desk"),
    ("optics/unit.rs", "impl<T: crate::store::Row> From<T> for S {}", "imports store"),
    ("optics/unit.rs", "mod inner { use super::super::super::shape; }", "imports shape"),
    ("optics/unit.rs", "#[cfg(test)] mod tests { use crate::shape; } use crate::web::words;", "imports web"),
    ("optics/unit.rs", "#[cfg(not(test))] use crate::web::words;", "imports web"),
    ("optics/unit.rs", "#[cfg(any(test, unix))] use crate::web::words;", "imports web"),
    ("optics/unit.rs", "extern crate self as us; use us::store::Store;", "imports store"),
    ("shape/mod.rs", "use crate::desk::*;", "imports desk"),
    ("desk/order.rs", "use crate::bench::lens;", "imports bench"),
    ("bench/lens.rs", "use crate::store::Store;", "imports store"),
    ("store/job.rs", "use crate::web::AppState;", "imports web"),
    ("store/job.rs", "use crate::print::ticket;", "imports print"),
    ("print/ticket.rs", "use crate::store::Store;", "imports store"),
    // The rooms of the other crate, by its name and by ours.
    ("print/ticket.rs", "use rimbook_core::picture::scan;", "imports picture"),
    ("print/ticket.rs", "use crate::picture::scan;", "imports picture"),
    ("desk/order.rs", "use rimbook_core::{optics::Eye, picture};", "imports picture"),
    ("web/page/edge.rs", "use crate::calc::run;", "imports calc"),
    ("web/page/edge.rs", "use super::super::super::demo;", "imports demo"),
    ("demo/data.rs", "use crate::web::clock::Clock;", "imports web"),
    ("config.rs", "use crate::store::Store;", "imports store"),
    ("serve.rs", "use crate::calc::run;", "imports calc"),
    ("main.rs", "use rimbook::{calc, store::Store};", "imports store"),
    ("main.rs", "fn main() { rimbook::web::build_app() }", "imports web"),
    ("cellar/mod.rs", "", "no rules for the room cellar"),
    // Crates and the machine.
    ("optics/unit.rs", "use uuid::Uuid;", "the crate uuid"),
    ("optics/unit.rs", "fn f() { serde_json::to_string(&1) }", "the crate serde_json"),
    ("shape/trace.rs", "use time::Date;", "the crate time"),
    ("desk/order.rs", "use axum::Router;", "the crate axum"),
    ("desk/order.rs", "#[derive(askama::Template)] struct S;", "the crate askama"),
    ("bench/lens.rs", "#[tokio::main] async fn f() {}", "the crate tokio"),
    ("bench/lens.rs", "use ::tracing as log;", "the crate tracing"),
    ("bench/lens.rs", "extern crate rand as dice;", "the crate rand"),
    ("shape/trace.rs", "use std::{fmt, fs::File};", "std::fs"),
    ("shape/trace.rs", "use std as base; fn f() { base::env::var(\"HOME\") }", "std::env"),
    ("shape/trace.rs", "fn f() { ::std::net::TcpStream::connect(a) }", "std::net"),
    ("shape/trace.rs", "fn f() { std::process::exit(1) }", "std::process"),
    ("shape/trace.rs", "use core::{num, net};", "std::net"),
    ("picture/decode.rs", "use std::io::{Cursor, Read};", "std::io"),
    ("picture/find.rs", "use crate::desk::job;", "imports desk"),
    ("shape/trace.rs", "use crate::picture::read;", "imports picture"),
    ("shape/trace.rs", "fn f(w: &mut dyn std::io::Write) {}", "std::io"),
    ("shape/trace.rs", "use std::*;", "std::*"),
    ("shape/trace.rs", "fn f() { println!(\"x\") }", "prints with println!"),
    ("shape/trace.rs", "fn f() { let _ = format!(\"{}\", dbg!(1)); }", "prints with dbg!"),
    // Clocks of any crate.
    ("desk/job.rs", "use jiff::Zoned; fn f() { Zoned::now() }", "clock: Zoned::now"),
    ("desk/job.rs", "fn f() { jiff::Timestamp::now() }", "clock: Timestamp::now"),
    (
        "desk/job.rs",
        "use time::OffsetDateTime as Moment; fn f() { Moment::now_utc() }",
        "clock: time::OffsetDateTime::now_utc",
    ),
    ("desk/job.rs", "fn f() { <time::OffsetDateTime>::now_local() }", "clock"),
    ("desk/job.rs", "type T = time::OffsetDateTime; fn f() { T::now_utc() }", "clock: T::now_utc"),
    ("desk/job.rs", "fn f() { a.unwrap_or_else(time::OffsetDateTime::now_utc) }", "clock"),
    ("desk/job.rs", "fn f() { assert!(uuid::Uuid::now_v7() == x) }", "clock"),
    ("bench/lens.rs", "use std::time::{Duration, SystemTime};", "clock: std::time::SystemTime"),
    ("optics/unit.rs", "fn f(at: std::time::Instant) {}", "clock"),
    ("desk/job.rs", "fn f() { time::UtcOffset::current_local_offset() }", "clock"),
    // SQL.
    ("web/page/jobs.rs", "fn f() { sqlx::raw_sql(\"select 1\") }", "SQL outside the store: sqlx::raw_sql"),
    ("web/page/jobs.rs", "fn f() { sqlx::query!(\"select 1\") }", "SQL outside the store: sqlx::query"),
    ("web/page/jobs.rs", "use sqlx::{query_as as ask, QueryBuilder};", "SQL outside the store: sqlx::QueryBuilder"),
    (
        "web/page/jobs.rs",
        "use sqlx as db; fn f() { db::query_scalar(\"select 1\") }",
        "SQL outside the store: sqlx::query_scalar",
    ),
    (
        "web/page/jobs.rs",
        "fn f() { tokio::join!(sqlx::query(\"select 1\").execute(p)) }",
        "SQL outside the store: sqlx::query",
    ),
    ("demo.rs", "use sqlx::*;", "SQL outside the store"),
    ("serve.rs", "use sqlx::SqlitePool;", "SQL outside the store"),
    // What this test could not see.
    ("web/page/jobs.rs", "include!(\"x.rs\");", "does not see"),
    ("web/page/jobs.rs", "#[path = \"x.rs\"] mod x;", "does not see"),
];

#[test]
fn each_wrong_source_is_seen() {
    let mut missed = Vec::new();
    for (file, text, fault) in WRONG {
        let found = faults_of(&[CORE, LIB, (file, text)]);
        if !found.iter().any(|f| f.contains(fault)) {
            missed.push(format!("{file}: {text}\nmust be seen for “{fault}”, found {found:?}"));
        }
    }
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

#[test]
fn a_name_handed_on_is_seen_where_it_leads() {
    let handed_on = [
        (
            "store/mod.rs",
            "pub use sqlx; pub mod open; pub mod all; pub use web_words as words; use crate::web::words as web_words;",
        ),
        ("store/open.rs", "pub use sqlx::query as ask;"),
        ("store/all.rs", "pub use sqlx::*;"),
    ];
    for (text, fault) in [
        ("fn f() { crate::store::sqlx::query(\"select 1\") }", "sqlx::query"),
        ("use crate::store::open::ask;", "sqlx::query"),
        ("use crate::store::all::query_as;", "sqlx::query_as"),
        ("use crate::store::all::*; fn f() { raw_sql(\"select 1\") }", "sqlx::raw_sql"),
    ] {
        let files: Vec<_> = [CORE, LIB].into_iter().chain(handed_on).chain([("web/form.rs", text)]).collect();
        let found = faults_of(&files);
        assert!(found.iter().any(|f| f.starts_with("web/form.rs") && f.contains(fault)), "{text}: {found:?}");
    }
    let found = faults_of(&[
        CORE,
        LIB,
        ("optics/mod.rs", "use crate::store as book; mod unit;"),
        ("optics/unit.rs", "use super::*; fn f() { book::open() }"),
    ]);
    assert!(found.iter().any(|f| f.starts_with("optics/unit.rs") && f.contains("imports store")), "{found:?}");
}

#[test]
fn what_is_allowed_is_not_a_fault() {
    for (file, text) in [
        ("optics/unit.rs", "use std::fmt; use thiserror::Error; use super::power; use crate::optics::{Eye, prism};"),
        ("optics/unit.rs", "#[cfg(test)] mod tests { use proptest::prelude::*; use crate::store::Store; }"),
        ("optics/unit.rs", "#[cfg(all(test, unix))] use crate::web::form; #[test] fn f() { std::fs::read(\"x\"); }"),
        ("optics/unit.rs", "/// See [`crate::web::form`] and `std::fs`.\nfn f() { \"crate::store is not used\"; }"),
        ("desk/job.rs", "use time::{Date, OffsetDateTime}; fn f(now: OffsetDateTime) -> Date { now.date() }"),
        ("desk/job.rs", "mod store { pub fn open() {} } fn f() { store::open() }"),
        (
            "bench/lens.rs",
            "use super::layout; use crate::desk::order; use crate::shape::trace; fn f() { layout::of() }",
        ),
        ("store/job.rs", "use sqlx::query; fn f() { sqlx::query!(\"select 1\"); std::fs::read(\"x\") }"),
        (
            "web/page/edge.rs",
            "use super::super::form; use crate::{print::ticket, store::Store}; fn f() { tokio::spawn(g) }",
        ),
        ("web/clock.rs", "fn f() { time::OffsetDateTime::now_utc() }"),
        ("print/ticket.rs", "use askama::Template; use crate::bench::lens;"),
        ("calc.rs", "use crate::optics; use crate::shape; use crate::desk; use crate::bench;"),
        ("config.rs", "use crate::calc::HELP;"),
        ("serve.rs", "use crate::{config, demo, store, web};"),
        ("main.rs", "mod bench {} use rimbook::{calc, config, serve}; fn f() { crate::bench::g() }"),
    ] {
        let found = faults_of(&[CORE, LIB, (file, text)]);
        assert!(found.is_empty(), "{file}: {text}\n{found:?}");
    }
}

#[test]
fn a_name_of_two_types_is_seen() {
    let shared =
        |one: &str, two: &str| super::names::shared(&sources_of(&[("desk/job.rs", one), ("web/page/jobs.rs", two)]));
    assert_eq!(shared("pub struct Row;", "enum Row {}"), ["Row: crate::desk::job, crate::web::page::jobs"]);
    assert_eq!(shared("mod inner { type Row = u8; }", "trait Row {}").len(), 1);
    let for_one_system = "#[cfg(unix)] struct Row; #[cfg(not(unix))] struct Row;";
    assert!(shared(for_one_system, "#[cfg(test)] mod tests { struct Row; } fn row() {}").is_empty());
}
