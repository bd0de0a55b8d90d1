//! Rules of the templates that a compiler does not know.

use std::fs;
use std::path::Path;

/// The longest line a template may have, in characters.
const LONGEST: usize = 140;

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
