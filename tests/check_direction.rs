//! The house has one direction: optics, shape, desk, bench, store, web. An import that points back up, or a database or web crate
//! in a pure room, fails here.

#![allow(clippy::unwrap_used, reason = "a file that cannot be read is a failed test")]

use std::fs;
use std::path::{Path, PathBuf};

/// Rooms from the ground up; a room may import those before it. `print` reads the pure rooms, and only `web` calls it.
const ROOMS: [(&str, &[&str]); 7] = [
    ("optics", &[]),
    ("shape", &["optics"]),
    ("desk", &["optics", "shape"]),
    ("bench", &["optics", "shape", "desk"]),
    ("print", &["optics", "shape", "desk", "bench"]),
    ("store", &["optics", "shape", "desk", "bench"]),
    ("web", &["optics", "shape", "desk", "bench", "print", "store"]),
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found
}

/// Every room a source names through `crate::`.
fn imports(text: &str) -> Vec<String> {
    text.split("crate::")
        .skip(1)
        .map(|rest| rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect())
        .collect()
}

fn faults(room: &str, allowed: &[&str], text: &str) -> Vec<String> {
    let mut faults = Vec::new();
    for import in imports(text) {
        let is_room = ROOMS.iter().any(|(name, _)| *name == import)
            || ["calc", "demo", "serve", "config"].contains(&import.as_str());
        if is_room && import != room && !allowed.contains(&import.as_str()) {
            faults.push(format!("imports {import}"));
        }
    }
    if ["optics", "shape", "desk", "bench"].contains(&room) {
        for word in ["sqlx::", "axum::", "tokio::", "askama::", "SystemTime", "now_utc", "std::fs", "std::net"] {
            if text.contains(word) {
                faults.push(format!("a pure room names {word}"));
            }
        }
    }
    if room != "store" && text.contains("sqlx::query") {
        faults.push("SQL outside the store".to_owned());
    }
    faults
}

#[test]
fn every_arrow_points_down() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    for (room, allowed) in ROOMS {
        for path in sources(&src.join(room)) {
            let text = fs::read_to_string(&path).unwrap();
            // Tests beside the code may borrow from anywhere the library reaches.
            let text = text.split("#[cfg(test)]").next().unwrap_or_default();
            wrong.extend(faults(room, allowed, text).into_iter().map(|f| format!("{}: {f}", path.display())));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_wrong_arrow_is_seen() {
    assert_eq!(faults("optics", &[], "use crate::shape::outline::Outline;"), ["imports shape"]);
    assert_eq!(faults("desk", &["optics", "shape"], "use crate::store::Store;"), ["imports store"]);
    assert_eq!(faults("shape", &["optics"], "let now = OffsetDateTime::now_utc();"), ["a pure room names now_utc"]);
    assert_eq!(faults("web", &["store"], "sqlx::query!(\"select 1\")"), ["SQL outside the store"]);
    assert!(faults("web", &["store"], "use crate::store::Store; use crate::web::form::Form;").is_empty());
}
