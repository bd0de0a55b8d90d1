//! A row of the table, read into what it says of a job.

use time::Date;

use super::column::Column;
use super::day::{self, DayOrder};
use super::problem::Problem;
use super::{MOST_NUMBER, is_nothing};
use crate::desk::center_height::CenterHeight;
use crate::desk::customer::{self, Person, check_name};
use crate::desk::frame::{BRIDGE, EYE_SIZE, Rim, TEMPLE};
use crate::desk::text;
use crate::optics::prescription::{EyePrescription, PupilDistance, read, read_pupil_distance, read_pupil_distance_for};
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};

/// What the columns of a table hold, and what its rows leave open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Matching {
    /// Of each column.
    pub columns: Vec<Column>,
    /// Whether the first row holds the heads of the columns.
    pub has_head: bool,
    /// Which number of a day comes first.
    pub days: DayOrder,
    /// The rim of a frame that does not say it.
    pub rim: Rim,
}

impl Matching {
    /// What is wrong with the choice of the columns, a sentence each with the column it is about; `None` for all of them.
    pub fn faults(&self) -> Vec<(Option<usize>, String)> {
        let has = |column: Column| self.columns.contains(&column);
        let mut faults = Vec::new();
        for (at, column) in self.columns.iter().enumerate() {
            let is_many = matches!(column, Column::Nothing | Column::Note);
            if let Some(first) = self.columns[..at].iter().position(|other| other == column).filter(|_| !is_many) {
                faults.push((Some(at), format!("Column {} holds the {} already", first + 1, column.words())));
            }
        }
        if !has(Column::Name) && !has(Column::FamilyName) && !has(Column::GivenName) {
            faults.push((None, "Say which column holds the customer’s name".to_owned()));
        }
        if !has(Column::Number) && !has(Column::TraceFile) {
            let says = "Say which column holds the old job number, or the trace file that is named after it";
            faults.push((None, says.to_owned()));
        }
        faults
    }
}

/// What a row says.
#[derive(Debug, Clone, PartialEq)]
pub struct OldRecordRow {
    /// Its place, counted as a spreadsheet does.
    pub row: u64,
    /// The old number; empty where the trace file is named after it.
    pub number: String,
    /// Who wears the pair.
    pub person: Person,
    /// The frame, as far as it says.
    pub frame: OldFrame,
    /// The day of the order.
    pub ordered_on: Option<Date>,
    /// What was prescribed, with its text; none for an eye without a power.
    pub eyes: Pair<Option<(String, EyePrescription)>>,
    pub pd: Option<PupilDistance>,
    pub near_pd: Option<PupilDistance>,
    pub heights: Pair<CenterHeight>,
    pub prescriber: String,
    pub note: String,
    /// The trace file that it names.
    pub file: String,
    /// Everything that it says, for telling whether it was brought in before.
    pub contents: String,
}

/// A frame as far as a row says it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OldFrame {
    pub maker: String,
    pub model: String,
    pub color: String,
    pub eye_size: Option<Millimeter>,
    pub bridge: Option<Millimeter>,
    pub temple: Option<Millimeter>,
    pub rim: Option<Rim>,
}

/// The longest remark of a job.
const MOST_NOTE: usize = 500;

struct Cells<'a> {
    row: u64,
    cells: &'a [String],
    matching: &'a Matching,
    problems: Vec<Problem>,
}

impl Cells<'_> {
    /// What stands in the columns of a kind, without what says nothing.
    fn all(&self, wanted: Column) -> impl Iterator<Item = &str> {
        let columns = self.matching.columns.iter().zip(self.cells);
        columns.filter(move |(column, _)| **column == wanted).map(|(_, cell)| cell.trim()).filter(|c| !is_nothing(c))
    }

    fn text(&self, wanted: Column) -> String {
        self.all(wanted).next().unwrap_or_default().to_owned()
    }

    fn fail(&mut self, what: &str, why: impl std::fmt::Display) {
        self.problems.push(Problem::stops(self.row, format!("{what}: {why}")));
    }

    /// Reads a cell that may be empty; a refusal is a problem of the row.
    fn optional<T, E: std::fmt::Display>(
        &mut self,
        column: Column,
        read: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        let cell = self.text(column);
        if cell.is_empty() {
            return None;
        }
        match read(&cell) {
            Ok(value) => Some(value),
            Err(why) => {
                self.fail(column.words(), why);
                None
            }
        }
    }

    fn line<E: std::fmt::Display>(&mut self, column: Column, read: impl FnOnce(&str) -> Result<String, E>) -> String {
        self.optional(column, read).unwrap_or_default()
    }
}

/// A row that cannot be brought in as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaultyRow {
    /// Everything that is wrong with it.
    pub problems: Vec<Problem>,
    /// Its old number, as it is written.
    pub number: String,
    /// The trace file that it names.
    pub file: String,
}

/// Reads a row.
///
/// # Errors
///
/// [`FaultyRow`].
pub fn read_row(row: u64, cells: &[String], matching: &Matching) -> Result<OldRecordRow, FaultyRow> {
    let mut cells = Cells { row, cells, matching, problems: Vec::new() };
    let pd = read_pd(&mut cells);
    let read = OldRecordRow {
        row,
        number: cells.line(Column::Number, |t| text::line("An old number", t, MOST_NUMBER)),
        person: read_person(&mut cells),
        frame: read_frame(&mut cells),
        ordered_on: cells.optional(Column::Date, |t| day::read(t, matching.days)),
        eyes: Pair::new(read_eye(&mut cells, Eye::Right), read_eye(&mut cells, Eye::Left)),
        pd,
        near_pd: cells.optional(Column::NearPd, read_pupil_distance),
        heights: Pair::new(read_height(&mut cells, Column::RightHeight), read_height(&mut cells, Column::LeftHeight)),
        prescriber: cells.line(Column::Prescriber, |t| text::line("A prescriber", t, 120)),
        note: read_note(&mut cells),
        file: cells.text(Column::TraceFile),
        contents: contents(cells.cells, matching),
    };
    if cells.problems.is_empty() {
        Ok(read)
    } else {
        Err(FaultyRow { number: cells.text(Column::Number), file: read.file, problems: cells.problems })
    }
}

/// Every cell that is brought in, with what it is.
fn contents(cells: &[String], matching: &Matching) -> String {
    let mut said: Vec<(Column, &str)> = matching
        .columns
        .iter()
        .zip(cells)
        .map(|(column, cell)| (*column, cell.trim()))
        .filter(|(column, cell)| *column != Column::Nothing && !is_nothing(cell))
        .collect();
    // The order of the columns says nothing.
    said.sort_unstable();
    said.into_iter().map(|(column, cell)| format!("{}\u{1f}{cell}\u{1e}", column.key())).collect()
}

fn read_person(cells: &mut Cells) -> Person {
    let mut name = cells.text(Column::Name);
    if name.is_empty() {
        name = format!("{} {}", cells.text(Column::GivenName), cells.text(Column::FamilyName)).trim().to_owned();
    }
    let name = match check_name(&name) {
        Ok(name) => name,
        Err(_) if name.is_empty() => {
            cells.fail("no customer", "type the name, or take the row out");
            name
        }
        Err(why) => {
            cells.fail(Column::Name.words(), why);
            name
        }
    };
    // An address may stand in one cell with its lines.
    let street = cells.text(Column::Line1);
    let (first, second) = street.split_once(['\n', '\r']).unwrap_or((&street, ""));
    let (first, second) = (first.to_owned(), second.trim().to_owned());
    let mut line = |typed: String| match customer::check_line(&typed) {
        Ok(line) => line,
        Err(why) => {
            cells.fail(Column::Line1.words(), why);
            String::new()
        }
    };
    let (line1, rest) = (line(first), line(second));
    let line2 = cells.line(Column::Line2, customer::check_line);
    Person {
        name,
        line1,
        line2: if line2.is_empty() { rest } else { line2 },
        city: cells.line(Column::City, customer::check_city),
        region: cells.line(Column::Region, customer::check_region),
        postcode: cells.line(Column::Postcode, customer::check_postcode),
        phone: cells.line(Column::Phone, customer::check_phone),
        email: cells.line(Column::Email, customer::check_email),
        note: String::new(),
    }
}

fn read_frame(cells: &mut Cells) -> OldFrame {
    OldFrame {
        maker: cells.line(Column::Maker, |t| text::line("A maker", t, 80)),
        model: cells.line(Column::Model, |t| text::line("A model", t, 80)),
        color: cells.line(Column::Color, |t| text::line("A color", t, 80)),
        eye_size: cells.optional(Column::EyeSize, |t| EYE_SIZE.read(t)),
        bridge: cells.optional(Column::Bridge, |t| BRIDGE.read(t)),
        temple: cells.optional(Column::Temple, |t| TEMPLE.read(t)),
        rim: cells.optional(Column::Rim, read_rim),
    }
}

/// Reads the kind of a rim in the words of the trade.
fn read_rim(cell: &str) -> Result<Rim, String> {
    let said = cell.to_lowercase();
    let has = |words: &[&str]| words.iter().any(|word| said.contains(word));
    // “Semi-rimless” holds “rimless”.
    match () {
        () if has(&["cord", "nylon", "semi", "half", "groove"]) => Ok(Rim::Cord),
        () if has(&["drill", "rimless", "piece", "mount"]) => Ok(Rim::Drilled),
        () if has(&["metal", "wire", "titan", "steel"]) => Ok(Rim::Metal),
        () if has(&["plastic", "acetate", "zyl", "horn", "full"]) => Ok(Rim::Plastic),
        () => Err(format!("“{cell}” is no kind of rim: write metal, plastic, cord or drilled")),
    }
}

fn read_eye(cells: &mut Cells, eye: Eye) -> Option<(String, EyePrescription)> {
    let [power, cylinder, axis, prism] = match eye {
        Eye::Right => [Column::RightPower, Column::RightCylinder, Column::RightAxis, Column::RightPrism],
        Eye::Left => [Column::LeftPower, Column::LeftCylinder, Column::LeftAxis, Column::LeftPrism],
    };
    let [sphere, cylinder, axis, prism] = [power, cylinder, axis, prism].map(|column| cells.text(column));
    let [cylinder, axis, prism] = [cylinder, axis, prism].map(|part| if is_zero(&part) { String::new() } else { part });
    if sphere.is_empty() {
        let is_rest = [&cylinder, &axis, &prism].into_iter().any(|part| !part.is_empty());
        if is_rest {
            cells.fail(
                power.words(),
                "the sphere is missing: type it, pl for none, or empty the other cells of this eye",
            );
        }
        return None;
    }
    let mut typed = sphere;
    match (cylinder.is_empty(), axis.is_empty()) {
        (true, true) => {}
        // An axis without a cylinder means nothing.
        (true, false) => {}
        (false, true) => typed = format!("{typed} {cylinder}"),
        (false, false) => typed = format!("{typed} {cylinder} x {}", axis.trim_start_matches(['x', 'X'])),
    }
    if !prism.is_empty() {
        typed = format!("{typed} {prism}");
    }
    let typed = if is_zero(&typed) { "pl".to_owned() } else { typed };
    match text::line("A prescription", &typed, 120).map_err(|why| why.to_string()).and_then(|typed| {
        let reading = read(&typed).map_err(|faults| faults.first().map(ToString::to_string).unwrap_or_default())?;
        Ok((typed, reading.rx))
    }) {
        Ok(read) => Some(read),
        Err(why) => {
            cells.fail(&format!("{} eye, “{typed}”", eye.name()), why);
            None
        }
    }
}

fn is_zero(part: &str) -> bool {
    part.contains('0') && part.chars().all(|c| "+-0.,°".contains(c))
}

fn read_pd(cells: &mut Cells) -> Option<PupilDistance> {
    if let Some(pd) = cells.optional(Column::Pd, read_pupil_distance) {
        return Some(pd);
    }
    let [right, left] = [cells.text(Column::RightPd), cells.text(Column::LeftPd)];
    match (right.is_empty(), left.is_empty()) {
        (true, true) => None,
        (false, false) => cells.optional(Column::RightPd, |right| read_pupil_distance(&format!("{right}/{left}"))),
        (false, true) => cells.optional(Column::RightPd, |right| read_pupil_distance_for(right, Some(Eye::Right))),
        (true, false) => cells.optional(Column::LeftPd, |left| read_pupil_distance_for(left, Some(Eye::Left))),
    }
}

fn read_height(cells: &mut Cells, column: Column) -> CenterHeight {
    cells.optional(column, CenterHeight::read).unwrap_or_default()
}

/// The remarks, and what the lenses were.
fn read_note(cells: &mut Cells) -> String {
    let lenses = cells.text(Column::Lenses);
    let lenses = (!lenses.is_empty()).then(|| format!("Lenses: {lenses}"));
    let notes: Vec<String> = lenses.into_iter().chain(cells.all(Column::Note).map(str::to_owned)).collect();
    match text::line("A note", &notes.join("; "), MOST_NOTE) {
        Ok(note) => note,
        Err(why) => {
            cells.fail(Column::Note.words(), why);
            String::new()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    fn row_of(columns: &[Column], cells: &[&str]) -> Result<OldRecordRow, Vec<String>> {
        let matching =
            Matching { columns: columns.to_vec(), has_head: true, days: DayOrder::MonthFirst, rim: Rim::Plastic };
        let cells: Vec<String> = cells.iter().map(|cell| (*cell).to_owned()).collect();
        read_row(17, &cells, &matching).map_err(|faulty| faulty.problems.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn a_row_is_read_with_everything_it_says() {
        use Column::*;
        let columns = [
            Number,
            GivenName,
            FamilyName,
            Line1,
            Postcode,
            Maker,
            Model,
            EyeSize,
            Bridge,
            Rim,
            Date,
            RightPower,
            RightCylinder,
            RightAxis,
            LeftPower,
            LeftCylinder,
            RightPd,
            LeftPd,
            RightHeight,
            Lenses,
            Note,
            Note,
            TraceFile,
        ];
        let cells = [
            "B-4711",
            "Ada",
            "Quill",
            "4 Ropewalk\nUpper floor",
            "99410",
            "Copperline",
            "Tern",
            "52,5",
            "18 mm",
            "semi-rimless",
            "4/25/2019",
            "-2.25",
            "-0.75",
            "x95",
            "0.00",
            "0",
            "31,5",
            "32",
            "20",
            "hard resin, 1.50",
            "likes thin",
            "n/a",
            "4711.txt",
        ];
        let row = row_of(&columns, &cells).unwrap();
        assert_eq!((row.number.as_str(), row.person.name.as_str()), ("B-4711", "Ada Quill"));
        assert_eq!((row.person.line1.as_str(), row.person.line2.as_str()), ("4 Ropewalk", "Upper floor"));
        assert_eq!(row.frame.eye_size.map(|mm| mm.hundredths()), Some(5250));
        assert_eq!(
            (row.frame.bridge.map(|mm| mm.hundredths()), row.frame.rim),
            (Some(1800), Some(crate::desk::frame::Rim::Cord))
        );
        assert_eq!(row.ordered_on, Some(date!(2019 - 04 - 25)));
        let powers = row.eyes.as_ref().map(|eye| eye.as_ref().map(|(_, rx)| rx.power.to_string()).unwrap());
        assert_eq!(powers, Pair::new("-2.25 -0.75 x 095".to_owned(), read("pl").unwrap().rx.power.to_string()));
        assert_eq!(row.pd.map(|pd| pd.to_string()).as_deref(), Some("31.50/32.00"));
        assert_eq!((row.heights.right.typed().as_str(), row.heights.left), ("20.00", CenterHeight::Assumed));
        assert_eq!(row.note, "Lenses: hard resin, 1.50; likes thin");
        assert_eq!(row.file, "4711.txt");
    }

    #[test]
    fn every_fault_of_a_row_is_said_with_what_to_do() {
        use Column::*;
        for (columns, cells, says) in [
            (&[Number, Name][..], &["4711", "  "][..], "Row 17: no customer: type the name, or take the row out"),
            (&[Name, RightPower], &["Ada", "minus two"], "Row 17: right eye, “minus two”: "),
            (&[Name, RightPower, RightCylinder], &["Ada", "-2.25", "-0.75"], "axis"),
            (&[Name, RightCylinder], &["Ada", "-0.75"], "the sphere is missing"),
            (&[Name, LeftPower], &["Ada", "2.25"], "left eye, “2.25”"),
            (&[Name, EyeSize], &["Ada", "92"], "Row 17: eye size (A): An eye size of 92.00 mm is not possible"),
            (&[Name, Pd], &["Ada", "630"], "pupil distance"),
            (&[Name, Date], &["Ada", "soon"], "Row 17: day of the order: “soon” is not a day"),
            (&[Name, Rim], &["Ada", "cheese"], "write metal, plastic, cord or drilled"),
            (&[Name, Email], &["Ada", "ada at home"], "needs an @"),
            (&[Number, Name], &[&"4".repeat(41), "Ada"], "at most 40 characters"),
            (&[Name, Note], &["Ada", &"x".repeat(501)], "at most 500 characters"),
        ] {
            let faults = row_of(columns, cells).unwrap_err();
            assert!(faults.len() == 1 && faults[0].contains(says), "{cells:?}: {faults:?}");
        }
        let both = row_of(&[Name, EyeSize, Date], &["", "9", "x"]).unwrap_err();
        assert_eq!(both.len(), 3, "{both:?}");
        // A short row lacks its last cells; that is no fault by itself.
        assert_eq!(row_of(&[Name, Email, Note], &["Ada"]).unwrap().person.name, "Ada");
    }

    #[test]
    fn what_a_row_says_does_not_depend_on_the_order_of_the_columns() {
        use Column::*;
        let one = row_of(&[Number, Name, Nothing], &["1", "Ada", "x"]).unwrap().contents;
        assert_eq!(one, row_of(&[Name, Nothing, Number], &[" Ada ", "y", "1"]).unwrap().contents);
        assert_ne!(one, row_of(&[Number, Name, Note], &["1", "Ada", "x"]).unwrap().contents);
    }

    #[test]
    fn a_matching_needs_a_name_and_a_number() {
        use Column::*;
        let of = |columns: &[Column]| {
            let matching = Matching {
                columns: columns.to_vec(),
                has_head: true,
                days: DayOrder::MonthFirst,
                rim: crate::desk::frame::Rim::Metal,
            };
            matching.faults().len()
        };
        assert_eq!(of(&[Number, Name, Note, Note, Nothing, Nothing]), 0);
        assert_eq!(of(&[TraceFile, FamilyName]), 0);
        assert_eq!(of(&[Nothing]), 2);
        assert_eq!(of(&[Number, Name, Name, Name]), 2);
    }
}
