//! What is typed, pasted or sent to each reader, damaged at random (`tests/corpus/typed`) or made of its words: it is read, or
//! refused in short sentences of one line. A sum that overflows stops the test, as every debug build does.

use std::path::Path;
use std::time::Duration;

use rimbook::calc;
use rimbook::desk::delivery_list::{MAX_LINES as MAX_DELIVERED, read_delivery_list};
use rimbook::desk::eye_order::read_eye_order;
use rimbook::desk::old_record::row::read_row;
use rimbook::desk::supplier_list::{MAX_LINES as MAX_OFFERED, read_supplier_list};
use rimbook::old_records::{guess_matching, table};
use rimbook::optics::notation::brief;
use rimbook::optics::prescription::{read, read_measured, read_prism, read_pupil_distance};
use rimbook::shape::drawing::{self, DrawingKind, Placed, Unit};
use rimbook::shape::record::parse_table;

use super::damage::{Chance, count, damaged, generated, renumbered, timed};

/// The longest sentence that a page shows of a refusal.
const LONGEST_SENTENCE: usize = 401;

/// How long one input may take, on a slow and busy machine.
const LONGEST: Duration = Duration::from_secs(3);

/// The inputs of a file, with a line of dashes between them.
fn corpus(name: &str) -> Vec<Vec<u8>> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus/typed").join(name);
    let text = std::fs::read_to_string(&file).unwrap_or_else(|why| panic!("{}: {why}", file.display()));
    text.split("\n----\n").map(|one| one.trim_end_matches('\n').as_bytes().to_vec()).collect()
}

/// Reads every input of a corpus, which all are good, then damaged and generated ones. `reader` answers the sentences of a
/// refusal, and fails by itself where what it read is wrong.
fn try_reader(name: &str, usual: u64, spice: &[&[u8]], reader: impl Fn(&str) -> Result<(), Vec<String>>) {
    let corpus = corpus(name);
    assert!(corpus.len() >= 5, "{name}");
    for bytes in &corpus {
        let text = std::str::from_utf8(bytes).unwrap();
        assert_eq!(reader(text), Ok(()), "{name}: {text}");
    }
    let (count, mut chance) = (count(usual), Chance(2026));
    let (mut refused, mut slowest) = (0, Duration::ZERO);
    for _ in 0..count {
        let bytes = match chance.below(4) {
            0 => generated(spice, &mut chance),
            1 => renumbered(&corpus[chance.below(corpus.len())], &mut chance),
            _ => damaged(&corpus[chance.below(corpus.len())], spice, &mut chance),
        };
        let text = String::from_utf8_lossy(&bytes);
        let (given, took) = timed(|| reader(&text));
        if let Err(faults) = given {
            assert!(!faults.is_empty(), "{text:?} is refused without a word");
            for fault in faults.into_iter().map(brief) {
                let is_sentence = !fault.trim().is_empty() && !fault.contains('\n');
                assert!(is_sentence && fault.chars().count() <= LONGEST_SENTENCE, "{text:?}: {fault:?}");
            }
            refused += 1;
        }
        slowest = slowest.max(took);
    }
    println!("{name}: {count} inputs, {refused} refused, the slowest took {slowest:?}");
    assert!(slowest < LONGEST, "{name}: {slowest:?}");
    assert!(refused > count / 10 && refused < count, "{name}: {refused} of {count} refused");
}

fn said<T, F: ToString>(read: Result<T, Vec<F>>) -> Result<T, Vec<String>> {
    read.map_err(|faults| faults.iter().map(F::to_string).collect())
}

const POWERS: [&[u8]; 30] = [
    b"+",
    b"-",
    "\u{2212}".as_bytes(),
    b" ",
    b"  ",
    b"x",
    b"X ",
    b"@",
    "\u{b0}".as_bytes(),
    b"/",
    b",",
    b".",
    b"pl",
    b"DS",
    b"sph",
    b"BI",
    b" BO ",
    b"BU",
    b"BD",
    b"bal ",
    b"none",
    b"2.25",
    b"-125",
    b"95",
    b"180",
    b"0",
    b"99999999999",
    b"1e9",
    b"NaN",
    b"\xc3",
];

#[test]
fn damaged_prescriptions() {
    try_reader("prescriptions.txt", 20_000, &POWERS, |text| {
        // The lensmeter's field and the one of a prism have the same grammar, and refuse other things.
        let _ = (read_measured(text), read_prism(text), read_eye_order(text));
        let rx = said(read(text))?.rx;
        // What was understood reads back as itself.
        let again = read(&rx.to_string()).unwrap_or_else(|faults| panic!("{text:?} gave {rx}: {faults:?}"));
        assert_eq!(again.rx, rx, "{text:?}");
        Ok(())
    });
}

#[test]
fn damaged_pupil_distances() {
    const WORDS: [&[u8]; 14] =
        [b"63", b"31.5", b"/", b" ", b"R", b"L", b"mm", b".", b",", b"-", b"999999", b"0", b"NaN", b"\xc3"];
    try_reader("pupil_distances.txt", 20_000, &WORDS, |text| {
        let pd = read_pupil_distance(text).map_err(|why| vec![why.to_string()])?;
        assert_eq!(read_pupil_distance(&pd.typed()).ok(), Some(pd), "{text:?}");
        Ok(())
    });
}

#[test]
fn damaged_tables_of_radii() {
    const WORDS: [&[u8]; 16] = [
        b"0",
        b"2500",
        b"25.31",
        b",",
        b";",
        b"\t",
        b"\n",
        b"\r\n",
        b" ",
        b"-",
        b"99999999999",
        b"1e300",
        b"NaN",
        b"R",
        b"L",
        b"\xc3",
    ];
    try_reader("tables.txt", 5_000, &WORDS, |text| {
        let file = said(parse_table(text))?;
        assert!(file.traces.iter().all(|(_, trace)| !trace.radii().is_empty()));
        Ok(())
    });
}

/// Lists of x and y, or of angle and radius, with holes and with eyes.
#[test]
fn damaged_lists_of_points() {
    const WORDS: [&[u8]; 20] = [
        b"0",
        b"24.5",
        b"-26.000",
        b"1,4",
        b",",
        b";",
        b"\t",
        b" ",
        b"\n",
        b"\r\n",
        b"eye",
        b"R",
        b"left",
        b"hole",
        b"angle",
        b"99999999999",
        b"1e300",
        b"NaN",
        b"#",
        b"\xc3",
    ];
    try_reader("points.txt", 5_000, &WORDS, |text| {
        let _ = drawing::kind_of(text.as_bytes());
        let file = drawing::read(text.as_bytes(), DrawingKind::Points, None, Placed::default());
        let file = file.map_err(|why| vec![why.to_string()])?;
        assert!(file.traces.iter().all(|(_, trace)| !trace.radii().is_empty()));
        let holes: Vec<_> = file.holes.iter().flat_map(|(_, holes)| holes).collect();
        assert!(holes.len() <= 24 && holes.iter().all(|hole| (0.5..=6.0).contains(&hole.diameter_mm)), "{text:?}");
        Ok(())
    });
}

#[test]
fn damaged_supplier_lists() {
    const WORDS: [&[u8]; 14] = [
        b"65",
        b" mm",
        b"$",
        b"4.20",
        b";",
        b"|",
        b"\n",
        b"\r\n",
        b" ",
        b"-",
        b"99999999999999999999",
        b"0.001",
        "\u{2300}".as_bytes(),
        b"\xc3",
    ];
    try_reader("supplier_lists.txt", 20_000, &WORDS, |text| {
        let offers = said(read_supplier_list(text))?;
        assert!(
            offers.len() <= MAX_OFFERED && offers.iter().all(|one| one.price.is_none_or(|price| !price.is_negative()))
        );
        Ok(())
    });
}

#[test]
fn damaged_lists_of_lenses() {
    const WORDS: [&[u8]; 18] = [
        b"-2.25",
        b" -0.50 ",
        b"70",
        b"sph",
        b" center ",
        b" front ",
        b" base ",
        b"x",
        b" x 4",
        b"1.5",
        b";",
        b"\n",
        b" ",
        b"99999999999999999999",
        b"0",
        b"-",
        "\u{2212}".as_bytes(),
        b"\xc3",
    ];
    try_reader("deliveries.txt", 20_000, &WORDS, |text| {
        let lenses = said(read_delivery_list(text))?;
        assert!(lenses.len() <= MAX_DELIVERED);
        assert!(lenses.iter().all(|lens| lens.count >= 1 && lens.cylinder.hundredths() <= 0), "{text:?}: {lenses:?}");
        Ok(())
    });
}

#[test]
fn damaged_requests_of_calc() {
    const WORDS: [&[u8]; 26] = [
        b"\"from_photo\"",
        b"[1e3,-1e3]",
        b"{",
        b"}",
        b"[",
        b"]",
        b":",
        b",",
        b"\"",
        b"null",
        b"true",
        b"0",
        b"-1",
        b"1e308",
        b"1e-308",
        b"-0.0",
        b"180",
        b"99999999999999999999",
        b"\"rx\"",
        b"\"right\"",
        b"\"radii_mm\"",
        b"\"axis\"",
        b"\"height_mm\"",
        b"25,25,25,25",
        b"\\u0000",
        b"\xc3",
    ];
    try_reader("calc.txt", 3_000, &WORDS, |text| {
        // A damaged name of a file is not to be looked for on this machine.
        if text.contains("trace_file") {
            return Err(vec!["not tried".to_owned()]);
        }
        let answer = calc::run(text).map_err(|why| vec![why.to_string()])?;
        let read: serde_json::Value = serde_json::from_str(&answer).unwrap();
        assert!(read.is_object() && !answer.contains(['\n', '\r']), "{text:?}: {answer}");
        Ok(())
    });
}

#[test]
fn damaged_drawings() {
    const WORDS: [&[u8]; 22] = [
        b"<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"60mm\" height=\"50mm\" viewBox=\"0 0 60 50\">",
        b"</svg>",
        b"<path d=\"M0 0 ",
        b"A1e9 0 0 1 1 5 5",
        b"Z\"/>",
        b"transform=\"scale(0)\"",
        b"<use href=\"#a\"/>",
        b"&a;",
        b"0\nSECTION\n",
        b"2\nENTITIES\n",
        b"0\nSPLINE\n",
        b"0\nARC\n",
        b"10\n",
        b"40\n",
        b"1e308\n",
        b"-1\n",
        b"NaN\n",
        b"0\n",
        b"x,y\n",
        b"26.00,0.00\n",
        b"\x00",
        b"\xc3",
    ];
    try_reader("drawings.txt", 2_000, &WORDS, |text| {
        let kind = drawing::kind_of(text.as_bytes()).ok_or_else(|| vec!["no drawing".to_owned()])?;
        let read = |unit| drawing::read(text.as_bytes(), kind, unit, Placed::default());
        let file = read(None).or_else(|_| read(Some(Unit::Mm))).map_err(|why| vec![why.to_string()])?;
        assert!(file.traces.iter().all(|(_, trace)| !trace.radii().is_empty()));
        Ok(())
    });
}

const OLD_TABLES: [&[u8]; 12] = [
    b",",
    b";",
    b"\t",
    b"\"",
    b"\"\"",
    b"\n",
    b"\r\n",
    b"No,Name\n",
    b"-2.25 -0.75 x 95",
    b"31/32",
    b"4/25/2019",
    "\u{feff}".as_bytes(),
];

/// A table of old records, its columns guessed, every row read.
#[test]
fn damaged_tables_of_old_records() {
    try_reader("old_records.txt", 3_000, &OLD_TABLES, |text| {
        let table = table::read(text.as_bytes()).map_err(|why| vec![why.to_string()])?;
        let matching = guess_matching(&table);
        assert_eq!(matching.columns.len(), table.width(), "{text:?}");
        let mut faults: Vec<String> = matching.faults().into_iter().map(|(_, says)| says).collect();
        let mut last = 0;
        for row in table.rows.iter().skip(usize::from(matching.has_head)) {
            assert!(row.at > last, "{text:?}: row {} after {last}", row.at);
            last = row.at;
            match read_row(row.at, &row.cells(), &matching) {
                Ok(read) => {
                    let longest = read.person.name.chars().count().max(read.number.chars().count());
                    assert!(
                        !read.person.name.is_empty() && longest <= 120 && read.note.chars().count() <= 500,
                        "{read:?}"
                    );
                }
                Err(faulty) => faults.extend(faulty.problems.iter().map(ToString::to_string)),
            }
        }
        if faults.is_empty() { Ok(()) } else { Err(faults) }
    });
}
