//! Trace files that another program wrote (`scripts/trace_corpus.py`), and the same ones damaged.

use rimbook::intake::json::ShapeJson;
use rimbook::intake::write::WriteFormat;
use rimbook::intake::{ReadOptions, read_any};

use rimbook::optics::Eye;
use rimbook::shape::record::{Assumptions, TraceFile, TraceForm, write_as};

use super::damage::{Chance, corpus, count, damaged, renumbered, timed};

/// How many damaged files are read in a usual run.
const MUTATIONS: u64 = 8_000;

fn read(bytes: &[u8]) -> Result<TraceFile, String> {
    read_any(bytes, &ReadOptions::default()).map_err(|why| why.to_string())
}

/// An ellipse of 52 by 38 mm.
fn radius_mm(deg: f64) -> f64 {
    let (sin, cos) = deg.to_radians().sin_cos();
    1.0 / (cos / 26.0).hypot(sin / 19.0)
}

#[test]
fn files_of_every_form_give_the_ellipse_they_were_made_of() {
    let corpus = corpus("records");
    assert!(corpus.len() >= 10);
    for (name, bytes) in &corpus {
        let file = read(bytes).unwrap_or_else(|why| panic!("{name}: {why}"));
        for (eye, trace) in file.traces.iter() {
            for (radius, deg) in trace.radii().iter().zip(trace.angles_deg()) {
                let off_mm = f64::from(*radius) / 100.0 - radius_mm(deg);
                assert!(off_mm.abs() < 0.0051, "{name}: {} eye at {deg}: {off_mm}", eye.name());
            }
        }
        assert!(file.warnings.is_empty(), "{name}: {:?}", file.warnings);
        // Through every binary form and back.
        for form in [TraceForm::Text, TraceForm::Binary, TraceForm::Differences, TraceForm::Packed] {
            let again = read(&write_as(&file, form, &Assumptions::default())).unwrap();
            assert_eq!(again.traces, file.traces, "{name} as {form:?}");
        }
    }
}

#[test]
fn what_else_a_file_holds_is_kept() {
    let file = |wanted: &str| {
        let (_, bytes) = corpus("records").into_iter().find(|(name, _)| name == wanted).unwrap();
        (read(&bytes).unwrap(), bytes)
    };
    let (mixed, _) = file("unequal_mixed_ends.txt");
    assert_eq!((mixed.job.as_deref(), mixed.derived), (Some("B-7/2"), Some(Eye::Right)));
    assert_eq!(mixed.value("_PRIVATE"), Some("kept as it is"));
    assert_eq!(ShapeJson::of(&file("other_sets.txt").0).sets.len(), 2);
    // A sphere of radius 88.33 mm is a curve of 6.00 in tool index 1.530 (530 / 88.33).
    let curve_d = file("depth.txt").0.rim_curve_tool_d(Eye::Left).unwrap();
    assert!((curve_d - 6.0).abs() < 0.02, "{curve_d}");
    for name in ["both_eyes.txt", "other_sets.txt", "message.dat", "depth.txt"] {
        let (file, bytes) = file(name);
        assert_eq!(write_as(&file, TraceForm::Text, &Assumptions::default()), bytes, "{name} is written as it was");
    }
    for (name, form) in [
        ("binary.dat", TraceForm::Binary),
        ("differences.dat", TraceForm::Differences),
        ("packed.dat", TraceForm::Packed),
    ] {
        let (file, bytes) = file(name);
        let text = read(&write_as(&file, TraceForm::Text, &Assumptions::default())).unwrap();
        assert_eq!(write_as(&text, form, &Assumptions::default()), bytes, "{name}, to text and back");
    }
}

#[test]
fn a_file_cut_off_anywhere_before_its_last_number_is_refused() {
    for (name, bytes) in
        corpus("records").iter().filter(|(name, _)| ["both_eyes.txt", "message.dat"].contains(&name.as_str()))
    {
        let left_eye = bytes.windows(18).position(|w| w == b"TRCFMT=1;400;E;L;F").unwrap();
        // The last number may lose its line end and stay the same.
        for cut in (left_eye + 18..bytes.len() - 3 - usize::from(name == "message.dat")).step_by(7) {
            let why = read(&bytes[..cut]).expect_err(name);
            assert!(why.starts_with("Line ") && why.contains(": "), "{why}");
        }
    }
}

const SPICE: [&[u8]; 12] = [
    b"R=",
    b"TRCFMT=1;99999999;E;R;F\r\n",
    b"NaN",
    b"-",
    b"\x1b",
    b"\x1c",
    b"\x1d",
    b"\r\n",
    b";",
    b"99999999999",
    b"TRCFMT=4;4000;U;L;F\nR=",
    b"ZFMT=2;9;U;R;F\nZ=",
];

#[test]
fn damaged_files_are_read_or_refused_in_one_line() {
    let count = count(MUTATIONS);
    let corpus = corpus("records");
    let mut chance = Chance(2026);
    let (mut refused, mut longest) = (0, std::time::Duration::ZERO);
    for _ in 0..count {
        let (_, bytes) = &corpus[chance.below(corpus.len())];
        let bytes = damaged(bytes, &SPICE, &mut chance);
        let (given, took) = timed(|| read(&bytes));
        match given {
            Ok(file) => assert!(!file.traces.right.radii().is_empty()),
            Err(why) => {
                assert!(!why.is_empty() && !why.contains('\n'), "{why}");
                refused += 1;
            }
        }
        longest = longest.max(took);
    }
    println!("{count} damaged files: {refused} refused, the slowest took {longest:?}");
    assert!(refused > count / 10 && refused < count, "{refused} of {count} refused");
}

/// The same shapes as JSON, damaged: `rimbook shape write` reads them and writes each of its formats, or says in one line why
/// not.
#[test]
fn damaged_shapes_in_json_are_written_or_refused_in_one_line() {
    const WORDS: [&[u8]; 12] = [
        b"null",
        b"1e308",
        b"-1",
        b"[",
        b"]",
        b"{}",
        b",",
        b"\"right\":",
        b"\"radii_mm\":",
        b"99999999999999999999",
        b"1e-320",
        b"\xc3",
    ];
    let texts: Vec<String> = corpus("records")
        .iter()
        .map(|(_, bytes)| serde_json::to_string(&ShapeJson::of(&read(bytes).unwrap())).unwrap())
        .collect();
    let write = |text: &str| -> Result<(), String> {
        let file = ShapeJson::read(text).and_then(|shape| shape.to_file()).map_err(|why| why.to_string())?;
        for format in WriteFormat::ALL {
            format.file_of(&file, &Assumptions::default()).map_err(|why| why.to_string())?;
        }
        Ok(())
    };
    let (count, mut chance) = (count(MUTATIONS / 10), Chance(2027));
    let (mut refused, mut longest) = (0, std::time::Duration::ZERO);
    for _ in 0..count {
        let text = texts[chance.below(texts.len())].as_bytes();
        let bytes = match chance.below(3) {
            0 => damaged(text, &WORDS, &mut chance),
            _ => renumbered(text, &mut chance),
        };
        let text = String::from_utf8_lossy(&bytes);
        let (given, took) = timed(|| write(&text));
        if let Err(why) = given {
            assert!(!why.is_empty() && !why.contains('\n'), "{why}");
            refused += 1;
        }
        longest = longest.max(took);
    }
    println!("{count} damaged shapes in JSON: {refused} refused, the slowest took {longest:?}");
    assert!(refused > count / 10 && refused < count, "{refused} of {count} refused");
}
