//! The scripts behind figures that no publication prints give the figures that the tests hold.

use std::path::Path;
use std::process::Command;

/// What a script says with when something that it needs is not installed.
const NOT_INSTALLED: i32 = 77;

/// What a script prints, or nothing where there is no Python to run it.
fn run(script: &str) -> Option<String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/check/scripts").join(script);
    match Command::new("python3").arg(path).output() {
        Ok(output) if output.status.code() == Some(NOT_INSTALLED) => {
            eprintln!("SKIPPED, NOT TESTED: {script}: {}", String::from_utf8_lossy(&output.stderr));
            None
        }
        Ok(output) => {
            assert!(output.status.success(), "{script}: {}", String::from_utf8_lossy(&output.stderr));
            Some(String::from_utf8(output.stdout).unwrap())
        }
        Err(why) => {
            eprintln!("SKIPPED, NOT TESTED: {script} needs python3: {why}");
            None
        }
    }
}

fn read(file: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(file)).unwrap()
}

/// The rows of a table; a line of column names begins with letters alone.
fn rows(text: &str) -> Vec<&str> {
    text.lines().filter(|line| !line.starts_with('#') && !line.starts_with("name,")).collect()
}

#[test]
fn the_lens_tables_are_what_their_script_prints() {
    let Some(printed) = run("lens_tables.py") else { return };
    let tables: Vec<(&str, &str)> = printed.split("# ").skip(1).filter_map(|table| table.split_once('\n')).collect();
    assert_eq!(tables.len(), 5);
    for (name, printed) in tables {
        let table = read(&format!("tests/check/tables/{name}"));
        // Two rows of the tilts are printed in a course.
        let published = if name == "lens_tilt.csv" { 2 } else { 0 };
        assert_eq!(rows(&table)[published..], rows(printed), "{name}");
    }
}

#[test]
fn the_splines_through_points_are_what_their_script_prints() {
    let table = read("tests/check/tables/fitted_splines.csv");
    let Some(printed) = run("fitted_splines.py") else { return };
    // A hair of rounding may differ from machine to machine.
    let number = |row: &str, at: usize| row.split(',').nth(at).unwrap().parse::<f64>().unwrap();
    let (held, printed) = (rows(&table), rows(&printed));
    assert_eq!(held.len(), printed.len());
    for (held, printed) in held.iter().zip(printed) {
        assert_eq!(held.split(',').next(), printed.split(',').next());
        assert!((2..4).all(|at| (number(held, at) - number(printed, at)).abs() < 0.0002), "{held} {printed}");
    }
}

#[test]
fn the_worked_figures_are_what_their_script_prints() {
    let table = read("tests/check/tables/worked_figures.csv");
    let mut held = Vec::new();
    for row in rows(&table) {
        let [name, figure, file] = row.split(',').collect::<Vec<_>>()[..] else { panic!("not three fields: {row}") };
        assert!(read(file).contains(figure), "{file} holds no {figure}: {name}");
        held.push(format!("{name},{figure}"));
    }
    let Some(printed) = run("worked_figures.py") else { return };
    assert_eq!(held, rows(&printed));
}
