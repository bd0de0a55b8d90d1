//! What each room may name.

use super::paths::{Named, Place};

/// A room: what of the crate it may import, and from outside.
struct Room {
    name: &'static str,
    rooms: &'static [&'static str],
    /// The crates a pure room may use. `None` for a room that talks to the outside.
    pure: Option<&'static [&'static str]>,
}

const fn pure(name: &'static str, rooms: &'static [&'static str], crates: &'static [&'static str]) -> Room {
    Room { name, rooms, pure: Some(crates) }
}

const fn room(name: &'static str, rooms: &'static [&'static str]) -> Room {
    Room { name, rooms, pure: None }
}

/// Rooms from the ground up. `lib` is `src/lib.rs` and `src/core.rs`, which only list the others.
/// The macro of `desk/key.rs`: its import has no path before its name, as that of a crate.
const KEYED: &str = "keyed";

const ROOMS: [Room; 16] = [
    pure("optics", &[], &["std", "thiserror"]),
    pure("shape", &["optics"], &["std", "thiserror", "i_overlay", "usvg"]),
    pure("picture", &["optics", "shape"], &["std", "thiserror", "image", "imagesize", "nalgebra"]),
    pure(
        "desk",
        &["optics", "shape"],
        &[
            "std",
            "thiserror",
            "time",
            "uuid",
            "serde",
            "serde_json",
            "strum",
            "caseless",
            "unicode_normalization",
            KEYED,
        ],
    ),
    pure(
        "bench",
        &["optics", "shape", "desk"],
        &["std", "thiserror", "time", "uuid", "serde", "serde_json", "strum", KEYED],
    ),
    room("store", &["optics", "shape", "desk", "bench"]),
    room("print", &["optics", "shape", "desk", "bench"]),
    room("old_records", &["config", "optics", "desk", "intake", "store"]),
    room("web", &["optics", "shape", "picture", "desk", "bench", "intake", "old_records", "store", "print"]),
    room("calc", &["optics", "shape", "picture", "desk", "bench"]),
    room("demo", &["optics", "shape", "desk", "bench", "store"]),
    room("intake", &["optics", "shape", "picture"]),
    room("config", &["calc", "intake"]),
    room("serve", &["config", "demo", "optics", "shape", "desk", "bench", "store", "web"]),
    room("safekeeping", &["config", "optics", "desk", "shape", "store", "print"]),
    room("main", &["calc", "config", "intake", "old_records", "safekeeping", "serve"]),
];
const LIB: Room = room("lib", &["optics", "shape", "picture"]);

/// The parts of the standard library that reach outside the program.
const OUTSIDE: [&str; 7] = ["fs", "net", "env", "process", "io", "os", "thread"];

/// Macros that print.
const PRINTING: [&str; 5] = ["print", "println", "eprint", "eprintln", "dbg"];

/// The rules of one room.
pub struct Rules(&'static Room);

impl Rules {
    pub fn of(name: &str) -> Option<Self> {
        static ALL: [Room; 16] = ROOMS;
        static ROOT: Room = LIB;
        if name == "lib" { Some(Self(&ROOT)) } else { ALL.iter().find(|room| room.name == name).map(Self) }
    }

    /// What is wrong with naming something in this room.
    pub fn faults(&self, named: &Named) -> Vec<String> {
        let mut faults: Vec<String> =
            named.places.iter().find_map(|place| self.wrong_place(place)).into_iter().collect();
        match &named.as_written[..] {
            [.., of, name] if self.0.pure.is_some() && reads_a_clock(name) => {
                faults.push(format!("reads a clock: {of}::{name}"));
            }
            [name] if named.is_macro && self.0.pure.is_some() && PRINTING.contains(&name.as_str()) => {
                faults.push(format!("prints with {name}!"));
            }
            [name] if named.is_macro && ["include", "path"].contains(&name.as_str()) => {
                faults.push("takes in a source that this test does not see".to_owned());
            }
            _ => {}
        }
        faults
    }

    fn wrong_place(&self, place: &Place) -> Option<String> {
        let [root, rest @ ..] = &place[..] else { return None };
        if root == "crate" {
            let room = rest.first()?;
            let is_allowed = room == self.0.name || self.0.rooms.contains(&room.as_str());
            return (Self::of(room).is_some() && !is_allowed).then(|| format!("imports {room}"));
        }
        if root == "sqlx" && self.0.name != "store" {
            return Some(format!("SQL outside the store: {}", place.join("::")));
        }
        let crates = self.0.pure?;
        let root = if ["core", "alloc"].contains(&root.as_str()) { "std" } else { root };
        if !crates.contains(&root) {
            return Some(format!("a pure room names the crate {root}"));
        }
        let next = rest.first().map_or("", String::as_str);
        // A cursor reads bytes that are already there.
        let is_cursor = matches!(rest, [io, cursor, ..] if io == "io" && cursor == "Cursor");
        if root == "std" && (OUTSIDE.contains(&next) || next == "*") && !is_cursor {
            return Some(format!("a pure room names std::{next}"));
        }
        let is_clock = rest.iter().any(|name| ["SystemTime", "Instant", "Clock"].contains(&name.as_str()));
        (is_clock || rest.last().is_some_and(|name| reads_a_clock(name)))
            .then(|| format!("reads a clock: {}", place.join("::")))
    }
}

/// Functions by which any crate reads the time or the time zone of the machine.
fn reads_a_clock(name: &str) -> bool {
    name == "now"
        || name.starts_with("now_")
        || ["current_local_offset", "local_offset_at", "system", "try_system"].contains(&name)
}
