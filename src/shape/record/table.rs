//! Reads a plain table of radii, as a person exports or types it.
//!
//! * Spaces, tabs, semicolons or commas separate numbers. If semicolons or tabs are used (or each line is one number)
//!   and there is no point anywhere, a comma is the decimal point.
//! * Radii run counter-clockwise in the front view from 0°, the observer's right, equally spaced, unless a heading
//!   names an `angle` column (degrees). Angles may start anywhere, run either way and be negative; angles in no order are sorted,
//!   which is told.
//! * A heading `R` or `L` (also `right`, `left`) starts that eye's section; a heading with both, `R;L`, makes two
//!   columns. Without either, the table is read as the right eye.
//! * Radii are millimeters if any has a decimal point or none is over 50; otherwise hundredths of a millimeter.
//! * Empty lines and lines that start with `#` are skipped.

use super::check::{FaultLabels, LineNumber, RawTrace};
use super::fault::{FaultKind, Faults, Warning, WarningKind, excerpt};
use super::{MAX_BYTES, RecordFault, TraceFile, complete, decimal, numbered_lines};
use crate::optics::{Eye, Pair};
use crate::shape::bytes::is_separator_line;
use crate::shape::outline::{MAX_POINTS, MAX_RADIUS_MM, MIN_POINTS};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq)]
enum TableColumn {
    Angle,
    /// Radii of the section's eye.
    Radius,
    /// Radii of one eye.
    Of(Eye),
}

/// A number as written.
#[derive(Debug, Clone, Copy)]
struct TableNumber {
    line: usize,
    value: f64,
    has_point: bool,
}

#[derive(Default)]
struct TableColumns {
    radii: Vec<TableNumber>,
    angles: Vec<TableNumber>,
}

/// Reads a table of radii.
///
/// # Errors
///
/// Every fault found, in the order of the lines.
pub fn parse_table(text: &str) -> Result<TraceFile, Vec<RecordFault>> {
    let mut faults = Faults::default();
    if text.len() > MAX_BYTES {
        faults.push(1, FaultKind::TooLarge(text.len()));
        return Err(faults.into_list());
    }
    let lines: Vec<(usize, &str)> = numbered_lines(text)
        .map(|(line, text)| (line, text.trim_matches(|c: char| c.is_whitespace() || c == '\0' || c == '\u{1a}')))
        .filter(|(line, text)| {
            let is_separator = *line == 1 && is_separator_line(text);
            !text.is_empty() && !text.starts_with('#') && !is_separator
        })
        .collect();
    if lines.is_empty() {
        faults.push(1, FaultKind::Empty);
        return Err(faults.into_list());
    }
    let comma_is_point = comma_is_point(&lines);
    let mut eye: Option<Eye> = None;
    let mut columns: Option<Vec<TableColumn>> = None;
    let mut data: Pair<TableColumns> = Pair::default();
    for &(line, text) in &lines {
        if text.chars().any(|c| c.is_control() && c != '\t') {
            faults.push(line, FaultKind::NotText);
            continue;
        }
        let words: Vec<String> = words(text, comma_is_point);
        let is_word = |word: &String| word.starts_with(|c: char| c.is_alphabetic() || c == '(');
        if words.first().is_some_and(is_word) && !words.iter().any(|word| decimal(word).is_some()) {
            heading(line, &words, &mut eye, &mut columns, &mut faults);
            continue;
        }
        if let Some(columns) = &columns
            && words.len() != columns.len()
        {
            faults.push(line, FaultKind::Columns { expected: columns.len(), found: words.len() });
            continue;
        }
        for (index, word) in words.iter().enumerate() {
            let Some(value) = decimal(word) else {
                faults.push(line, FaultKind::NotANumber(excerpt(word)));
                continue;
            };
            let number = TableNumber { line, value, has_point: word.contains('.') };
            let section = eye.unwrap_or(Eye::Right);
            match columns.as_ref().map_or(TableColumn::Radius, |columns| columns[index]) {
                // One column of angles applies to every column of radii.
                TableColumn::Angle => {
                    for column in columns.iter().flatten() {
                        match column {
                            TableColumn::Angle => {}
                            TableColumn::Radius => of(&mut data, section).angles.push(number),
                            TableColumn::Of(eye) => of(&mut data, *eye).angles.push(number),
                        }
                    }
                }
                TableColumn::Radius => of(&mut data, section).radii.push(number),
                TableColumn::Of(eye) => of(&mut data, eye).radii.push(number),
            }
        }
    }
    let is_assumed = eye.is_none() && data.left.radii.is_empty();
    finish(data, is_assumed, columns.is_some_and(|c| c.iter().any(|c| matches!(c, TableColumn::Of(_)))), faults, &lines)
}

fn finish(
    data: Pair<TableColumns>,
    is_assumed: bool,
    names_eyes: bool,
    mut faults: Faults,
    lines: &[(usize, &str)],
) -> Result<TraceFile, Vec<RecordFault>> {
    let radii = data.right.radii.iter().chain(&data.left.radii);
    let is_mm = radii.clone().any(|n| n.has_point) || radii.clone().all(|n| n.value <= MAX_RADIUS_MM);
    let mut traces = Pair::default();
    let mut warnings = Vec::new();
    for (eye, columns) in data.iter() {
        let Some(first) = columns.radii.first() else { continue };
        let found = columns.radii.len();
        if !(MIN_POINTS..=MAX_POINTS).contains(&found) {
            faults.push(first.line, FaultKind::TableCount { eye, found });
        }
        let items = |numbers: &[TableNumber], per_unit: f64| -> Vec<LineNumber> {
            // A number too large for `i32` saturates and is then out of range.
            numbers
                .iter()
                .map(|n| LineNumber { line: n.line, hundredths: (n.value * per_unit).round() as i32 })
                .collect()
        };
        let mut radii = items(&columns.radii, if is_mm { 100.0 } else { 1.0 });
        let mut angles = (!columns.angles.is_empty()).then(|| items(&columns.angles, 100.0));
        if let Some(angles) = &mut angles
            && sort_by_angle(angles, &mut radii)
        {
            warnings.push(Warning { line: Some(first.line), kind: WarningKind::AnglesSorted(Some(eye)) });
        }
        let trace = RawTrace { eye, radii, angles, labels: FaultLabels::OF_TABLE }.check(&mut faults);
        match eye {
            Eye::Right => traces.right = trace,
            Eye::Left => traces.left = trace,
        }
    }
    if !faults.is_empty() {
        return Err(faults.into_list());
    }
    match complete(traces.right, traces.left) {
        Some((traces, derived)) => {
            let mut file = TraceFile::of_traces(traces, derived);
            file.warnings = warnings;
            if is_assumed && !names_eyes {
                file.warnings.push(Warning { line: None, kind: WarningKind::SideAssumed });
            }
            Ok(file)
        }
        None => {
            faults.push(lines.last().map_or(1, |l| l.0), FaultKind::NoTrace);
            Err(faults.into_list())
        }
    }
}

/// Puts radii into the order of their angles from 0°, where each angle is there once; otherwise they stay, and what is wrong is
/// found later. Tells whether they were in no order at all.
fn sort_by_angle(angles: &mut Vec<LineNumber>, radii: &mut Vec<LineNumber>) -> bool {
    const TURN: i32 = 36_000;
    if angles.len() != radii.len() || angles.iter().any(|angle| !(-TURN..=TURN).contains(&angle.hundredths)) {
        return false;
    }
    // Many tables repeat 0° as 360°, or -180° as 180°.
    if let ([first, .., last], [first_radius, .., last_radius]) = (&angles[..], &radii[..])
        && (first.hundredths - last.hundredths).abs() == TURN
        && first_radius.hundredths == last_radius.hundredths
    {
        angles.pop();
        radii.pop();
    }
    let turned = |angle: &LineNumber| LineNumber { hundredths: angle.hundredths.rem_euclid(TURN), ..*angle };
    let mut both: Vec<(LineNumber, LineNumber)> = angles.iter().map(turned).zip(radii.iter().copied()).collect();
    let around = both.iter().zip(both.iter().cycle().skip(1)).map(|(a, b)| (b.0.hundredths - a.0.hundredths).signum());
    let back = around.filter(|sign| *sign < 0).count();
    both.sort_by_key(|(angle, _)| angle.hundredths);
    if both.windows(2).any(|pair| pair[0].0.hundredths == pair[1].0.hundredths) {
        return false;
    }
    let is_in_order = back == 1 || back + 1 == both.len();
    (*angles, *radii) = both.into_iter().unzip();
    !is_in_order
}

fn of(data: &mut Pair<TableColumns>, eye: Eye) -> &mut TableColumns {
    match eye {
        Eye::Right => &mut data.right,
        Eye::Left => &mut data.left,
    }
}

fn heading(
    line: usize,
    words: &[String],
    eye: &mut Option<Eye>,
    columns: &mut Option<Vec<TableColumn>>,
    faults: &mut Faults,
) {
    let mut named = Vec::new();
    for word in words {
        let lower = word.to_lowercase();
        match lower.trim_end_matches(':') {
            "angle" | "angles" | "deg" | "degrees" => named.push(TableColumn::Angle),
            "radius" | "radii" => named.push(TableColumn::Radius),
            "r" | "right" => named.push(TableColumn::Of(Eye::Right)),
            "l" | "left" => named.push(TableColumn::Of(Eye::Left)),
            "mm" | "eye" | "(mm)" | "(deg)" => {}
            _ => {
                faults.push(line, FaultKind::Heading(excerpt(word)));
                return;
            }
        }
    }
    if (1..named.len()).any(|i| named[..i].contains(&named[i])) {
        faults.push(line, FaultKind::Heading(excerpt(&words.join(" "))));
        return;
    }
    match named[..] {
        [] => {}
        // The name of one eye starts a section. The columns stay unless they name eyes.
        [TableColumn::Of(section)] => {
            *eye = Some(section);
            if columns.as_ref().is_some_and(|c| c.iter().any(|c| matches!(c, TableColumn::Of(_)))) {
                *columns = None;
            }
        }
        [TableColumn::Radius] => *columns = None,
        _ => *columns = Some(named),
    }
}

/// Whether a heading names columns that are read here.
pub(in crate::shape) fn is_heading(text: &str) -> bool {
    let (mut eye, mut columns, mut faults) = (None, None, Faults::default());
    heading(1, &words(&text.replace(',', " "), true), &mut eye, &mut columns, &mut faults);
    faults.is_empty() && columns.is_some()
}

fn words(text: &str, comma_is_point: bool) -> Vec<String> {
    let is_separator = |c: char| c.is_whitespace() || c == ';' || (c == ',' && !comma_is_point);
    text.split(is_separator)
        .filter(|word| !word.is_empty())
        .map(|word| if comma_is_point { word.replace(',', ".") } else { word.to_owned() })
        .collect()
}

fn comma_is_point(lines: &[(usize, &str)]) -> bool {
    let any = |c: char| lines.iter().any(|(_, text)| text.contains(c));
    if !any(',') || any('.') {
        return false;
    }
    let is_one_number = |text: &str| match text.split_once(',') {
        Some((whole, fraction)) => {
            let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
            digits(whole) && digits(fraction) && fraction.len() <= 2
        }
        None => true,
    };
    any(';') || any('\t') || lines.iter().all(|(_, text)| is_one_number(text))
}

#[cfg(test)]
mod tests {
    use super::super::read_any;
    use super::*;
    use crate::shape::trace::Angles;
    use proptest::prelude::*;

    fn rows(row: &str, count: usize) -> String {
        format!("{row}\n").repeat(count)
    }

    fn right(text: &str) -> Vec<i32> {
        parse_table(text).unwrap().traces.right.radii().to_vec()
    }

    #[test]
    fn reads_one_eye_in_each_unit() {
        for (text, want, source) in [
            (rows("25.12", 12), vec![2512; 12], "millimeters with a point"),
            (rows("2512", 12), vec![2512; 12], "hundredths by magnitude"),
            (rows("25", 12), vec![2500; 12], "whole millimeters by magnitude"),
            (rows("25,12", 12), vec![2512; 12], "decimal comma, one a line"),
            (rows("25,12; 25,13;", 6), [2512, 2513].repeat(6), "decimal comma with semicolons"),
            (rows("25.12, 25.13 25.14\t25.15", 3), [2512, 2513, 2514, 2515].repeat(3), "several a line"),
            (
                format!("# a note\r\n\r\nradius mm\r\n{}", rows("25.126", 8)),
                vec![2513; 8],
                "heading; nearest hundredth",
            ),
        ] {
            assert_eq!(right(&text), want, "{source}");
        }
        let file = read_any(rows("25.12", 12).as_bytes()).unwrap();
        assert_eq!(file.derived, Some(Eye::Left));
        assert_eq!(file.warnings, [Warning { line: None, kind: WarningKind::SideAssumed }]);
    }

    #[test]
    fn reads_two_eyes_in_columns_or_sections() {
        let columns = parse_table(&format!("R;L\n{}", rows("25.1;24.9", 9))).unwrap();
        let sections = parse_table(&format!("Left:\n{}Right:\n{}", rows("24.9", 9), rows("25.1", 9))).unwrap();
        for file in [columns, sections] {
            assert_eq!((file.traces.right.radii(), file.traces.left.radii()), (&[2510; 9][..], &[2490; 9][..]));
            assert_eq!((file.derived, file.warnings.len()), (None, 0));
        }
        let left = parse_table(&format!("L\n{}", rows("24.9", 9))).unwrap();
        assert_eq!((left.derived, left.warnings.len()), (Some(Eye::Right), 0));
    }

    #[test]
    fn reads_angles_where_the_heading_says_so() {
        let rows: String = (0..=12).map(|i| format!("{};25.{:02}\n", i * 30, i % 12)).collect();
        let file = parse_table(&format!("angle;radius\n{rows}")).unwrap();
        assert_eq!(file.traces.right.angles(), &Angles::Unequal((0..12).map(|i| i * 3000).collect()));
        assert_eq!(file.traces.right.radii()[11], 2511);
        let both = parse_table(&format!("angle;R;L\n{}", rows.replace('\n', ";24.00\n"))).unwrap();
        assert_eq!((both.traces.left.radii().len(), both.derived), (12, None));
    }

    #[test]
    fn angles_may_run_either_way_and_start_anywhere() {
        // A lens that is not symmetrical: at angle a the radius is 24 + a/400 mm up to 180° and back.
        let radius = |deg: i32| 24.0 + f64::from(180 - (180 - deg.rem_euclid(360)).abs()) / 400.0;
        let table = |angles: &[i32]| -> TraceFile {
            let rows: String = angles.iter().map(|deg| format!("{deg};{:.2}\n", radius(*deg))).collect();
            parse_table(&format!("angle;radius\n{rows}")).unwrap()
        };
        let usual = table(&(0..72).map(|i| 5 * i).collect::<Vec<_>>());
        let clockwise: Vec<i32> = (0..72).map(|i| 355 - 5 * i).collect();
        let from_left: Vec<i32> = (-35..=36).map(|i| 5 * i).collect();
        let both_ends: Vec<i32> = (-36..=36).map(|i| 5 * i).collect();
        let negative: Vec<i32> = (0..=72).map(|i| -5 * i).collect();
        let from_top: Vec<i32> = (18..90).map(|i| 5 * i % 360).collect();
        for angles in [clockwise, from_left, both_ends, negative, from_top] {
            let file = table(&angles);
            assert_eq!((&file.traces, file.warnings.len()), (&usual.traces, 1), "{angles:?}: only the side is assumed");
        }
        let no_order: Vec<i32> = (0..72).map(|i| 5 * (i * 29 % 72)).collect();
        let file = table(&no_order);
        assert_eq!(file.traces, usual.traces);
        assert_eq!(
            file.warnings[0].to_string(),
            "Line 2: the angles of the right eye are in no order: the radii were sorted by them"
        );
        // An angle that is there twice is not sorted away.
        let twice = format!("angle;radius\n{}", "10;24\n".repeat(2) + &rows("20;24", 1) + &rows("350;24", 9));
        assert!(parse_table(&twice).unwrap_err().iter().any(|fault| matches!(fault.kind, FaultKind::Angle { .. })));
        // The first line of a spreadsheet.
        let text =
            format!("sep=;\nangle;radius\n{}", (0..72).map(|i| format!("{};24,10\n", 5 * i)).collect::<String>());
        assert_eq!(read_any(text.as_bytes()).unwrap().traces.right.radii(), [2410; 72]);
    }

    #[test]
    fn reports_every_fault_with_its_line() {
        let text =
            format!("R;L\n25.1;24.9\n25.1\n25.1;abc\n25.1;4.99\n29.0;24.9\n{}diameter\n", rows("25.1;24.9", 300));
        let found: Vec<String> = parse_table(&text).unwrap_err().iter().map(ToString::to_string).collect();
        for want in [
            "Line 3: this row has 1 numbers; 2 were expected",
            "Line 4: “abc” is not a number",
            "Line 5: radius 2 of the left eye is 4.99 mm",
            "Line 6: radius 4 of the right eye jumps from 25.10 to 29.00 mm",
            "Line 307: “diameter” is not a heading",
        ] {
            assert!(found.iter().any(|line| line.starts_with(want)), "{want}: {found:#?}");
        }
        let few = parse_table("25.1\n25.1\n").unwrap_err();
        assert_eq!(few[0].to_string(), "Line 1: there are 2 radii for the right eye; 8 to 10000 were expected");
        let mixed = format!("angle;R\n{}R\n{}", rows("1;25.1", 1), rows("25.1", 9));
        let found = parse_table(&mixed).unwrap_err()[0].to_string();
        assert_eq!(found, "Line 2: the trace of the right eye is not a shape: there are 10 radii and 1 angles");
        assert!(matches!(parse_table("R;R\n1;2\n").unwrap_err()[0].kind, FaultKind::Heading(_)));
        assert!(matches!(parse_table("angle radius\n").unwrap_err()[0].kind, FaultKind::NoTrace));
        assert!(matches!(parse_table(" \n#x\n").unwrap_err()[0].kind, FaultKind::Empty));
    }

    #[test]
    fn a_picture_gets_one_sentence() {
        let picture = b"\x89PNG\r\n\x1a\n\x00\x01\n\x02\x03\n\x04\x05\n\x06=\x07\n";
        let faults = read_any(picture).unwrap_err();
        assert_eq!(faults.iter().map(|f| &f.kind).collect::<Vec<_>>(), [&FaultKind::NotATextFile]);
        // A stray byte in a trace is named by its line.
        let faults = read_any(b"2500\n25\x0100\n2500\n").unwrap_err();
        assert!(faults.iter().any(|f| (f.line, &f.kind) == (2, &FaultKind::NotText)), "{faults:?}");
    }

    proptest! {
        #[test]
        fn any_bytes_give_a_file_or_faults(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
            match read_any(&bytes) {
                Ok(file) => prop_assert!(!file.traces.right.radii().is_empty()),
                Err(faults) => prop_assert!(!faults.is_empty() && faults.iter().all(|f| f.line >= 1)),
            }
        }

        #[test]
        fn nearly_right_text_gives_a_file_or_faults(
            lines in prop::collection::vec(
                prop_oneof![
                    Just("TRCFMT=1;8;E;R;F".to_owned()), Just("TRCFMT=1;9;U;L;F".to_owned()),
                    Just("ZFMT=1;3;E;R;F".to_owned()), Just("R".to_owned()), Just("angle;R;L".to_owned()),
                    "(R|A|Z|ZA|HBOX|JOB|_X)=[0-9;?. ]{0,40}", "[0-9;,. ]{0,30}", "[ -~]{0,12}",
                    Just("2500;2500;2500;2500".to_owned()), Just("R=2500;2500;2500;2500".to_owned()),
                ],
                0..30,
            ),
        ) {
            let text = lines.join("\n");
            for got in [super::super::parse(text.as_bytes()), parse_table(&text), read_any(text.as_bytes())] {
                if let Err(faults) = got {
                    prop_assert!(!faults.is_empty());
                }
            }
        }

        #[test]
        fn a_written_table_reads_back(radii in prop::collection::vec(2300..2600_i32, 8..200)) {
            let text: String = radii.iter().map(|r| format!("{}.{:02}\n", r / 100, r % 100)).collect();
            prop_assert_eq!(right(&text), radii);
        }
    }
}
