//! Rules of the templates that a compiler does not know.

use std::fs;
use std::path::Path;

/// The longest line a template may have, in characters.
const LONGEST: usize = 140;

/// The states and properties of WAI-ARIA 1.2 (section 6.6) that a template may use.
const ARIA: [&str; 11] = [
    "aria-current",
    "aria-describedby",
    "aria-expanded",
    "aria-hidden",
    "aria-invalid",
    "aria-label",
    "aria-labelledby",
    "aria-live",
    "aria-controls",
    "aria-required",
    "aria-selected",
];

/// What looks like a state or property of ARIA and is none.
fn unknown_aria(text: &str) -> Vec<&str> {
    let names = text.match_indices("aria-").map(|(at, _)| {
        let rest = &text[at..];
        &rest[..rest.find(|c: char| !c.is_ascii_lowercase() && c != '-').unwrap_or(rest.len())]
    });
    names.filter(|name| !ARIA.contains(name)).collect()
}

/// The numbers of the lines that are too long.
fn long_lines(text: &str) -> Vec<usize> {
    text.lines().enumerate().filter(|(_, line)| line.chars().count() > LONGEST).map(|(at, _)| at + 1).collect()
}

fn walk(folder: &Path, found: &mut dyn FnMut(&Path, String)) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            walk(&path, found);
        } else {
            found(&path, fs::read_to_string(&path).unwrap());
        }
    }
}

#[test]
fn no_line_is_longer_than_a_screen() {
    assert_eq!(long_lines(&format!("short\n{}\n{}", "é".repeat(LONGEST), "x".repeat(LONGEST + 1))), [3]);
    let mut too_long = Vec::new();
    let mut count = 0;
    walk(&Path::new(env!("CARGO_MANIFEST_DIR")).join("templates"), &mut |path, text| {
        count += 1;
        too_long.extend(long_lines(&text).into_iter().map(|line| format!("{}:{line}", path.display())));
    });
    assert!(count > 40, "only {count} templates were found");
    assert!(too_long.is_empty(), "longer than {LONGEST} characters: {too_long:#?}");
}

#[test]
fn aria_is_spelled_as_in_the_standard() {
    assert_eq!(unknown_aria("<p aria-label=\"a\" aria-labeledby=\"b\">"), ["aria-labeledby"]);
    walk(&Path::new(env!("CARGO_MANIFEST_DIR")).join("templates"), &mut |path, text| {
        assert_eq!(unknown_aria(&text), Vec::<&str>::new(), "{}", path.display());
    });
}
