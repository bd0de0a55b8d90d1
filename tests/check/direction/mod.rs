//! The rooms have one direction, and each may name only some crates. An import that points back up, a clock or a file in a
//! pure room, or SQL outside the store fails here, and so do two types of one name. Paths are resolved as the compiler resolves them, not searched as text.

mod examples;
mod names;
mod paths;
mod resolve;
mod rules;
mod source;

use std::path::Path;

use rules::Rules;
use source::{Modules, Source};

/// Every fault of some sources, `file:line: what`.
fn faults(sources: &[Source]) -> Vec<String> {
    let modules = Modules::of(sources);
    let mut found = Vec::new();
    for source in sources {
        let room = source.module.get(1).map_or("lib", String::as_str);
        let Some(rules) = Rules::of(room) else {
            found.push(format!("{}: no rules for the room {room}", source.path.display()));
            continue;
        };
        for named in paths::named_by(source, &modules) {
            found.extend(
                rules.faults(&named).into_iter().map(|why| format!("{}:{}: {why}", source.path.display(), named.line)),
            );
        }
    }
    found
}

#[test]
fn every_import_points_down() {
    let sources = source::read_crate(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"));
    assert!(sources.len() > 100, "the sources were found");
    let wrong = faults(&sources);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_two_types_have_one_name() {
    let sources = source::read_crate(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"));
    let shared = names::shared(&sources);
    assert!(shared.is_empty(), "{}", shared.join("\n"));
}
