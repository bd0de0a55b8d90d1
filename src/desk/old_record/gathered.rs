//! Every row with the trace file that belongs to it: the jobs that can be made, and what stands against the others.

use std::collections::{BTreeSet, HashMap};

use super::number_key;
use super::problem::{Place, Problem};
use super::row::{FaultyRow, OldRecordRow};
use crate::desk::frame::{BRIDGE, EYE_SIZE, FrameDetails, Rim};
use crate::desk::frame_shape::{NewShape, Original, STAMP_DIFFERENCE_REPORTED_MM, ShapeOrigin, ShapeRefused};
use crate::desk::limit::LengthLimit;
use crate::desk::money::Cents;
use crate::desk::text::folded;
use crate::optics::unit::Millimeter;
use crate::shape::boxing::Boxing;
use crate::shape::record::TraceFile;

/// A hash of the contents of a row or a file.
pub type ContentMark = [u8; 32];

/// What stands for a maker that the records do not say.
pub const NOT_RECORDED: &str = "not recorded";

/// A file of the folder. Its bytes are not kept: ten thousand files need no more memory than their rows.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundFile {
    /// Its path within the folder, with `/` between the parts.
    pub name: String,
    pub mark: ContentMark,
    /// What is in it, or why there is no shape in it, a sentence without its full stop.
    pub read: Result<InFile, String>,
}

/// What a row may need of a trace file.
#[derive(Debug, Clone, PartialEq)]
pub struct InFile {
    /// The job that the file names.
    pub job: Option<String>,
    /// The width of the right lens.
    pub a_mm: f64,
    /// The distance between the lenses.
    pub dbl_mm: Option<f64>,
}

impl InFile {
    /// Of a file that was read.
    ///
    /// # Errors
    ///
    /// Why it is no shape for a frame of any bridge, a sentence without its full stop.
    pub fn of(read: &TraceFile) -> Result<Self, String> {
        // Whether a shape is refused does not depend on which bridge its frame has.
        let usual_bridge = Millimeter::from_hundredths(1800).map_err(|why| why.to_string())?;
        shape_of("", &[], read.clone(), usual_bridge)?;
        let a_mm = Boxing::of(&read.traces.right.outline()).a_mm;
        Ok(Self { job: read.job.clone(), a_mm, dbl_mm: read.dbl_mm })
    }
}

/// The shape of a trace file for a frame of this bridge.
///
/// # Errors
///
/// A sentence without its full stop.
pub fn shape_of(name: &str, bytes: &[u8], read: TraceFile, bridge: Millimeter) -> Result<NewShape, String> {
    let original = Original { bytes, name, origin: ShapeOrigin::Traced };
    NewShape::of_file(read, original, None, None, bridge).map_err(|why: ShapeRefused| why.to_string())
}

/// The trace file of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShapeFile {
    /// Its path within the folder.
    pub path: String,
    /// Of its bytes as they were read.
    pub mark: ContentMark,
}

impl ShapeFile {
    /// Its name as it is kept.
    pub fn name(&self) -> String {
        /// The longest name of a kept file.
        const MOST: usize = 100;
        last_of(&self.path).chars().filter(|c| !c.is_control()).take(MOST).collect()
    }
}

/// A job that can be made.
#[derive(Debug, Clone, PartialEq)]
pub struct OldJob {
    /// What its row says; the number is never empty.
    pub row: OldRecordRow,
    /// Its number as it is compared.
    pub number_key: String,
    pub frame: FrameDetails,
    /// The trace file with the shape of its frame, if there is one.
    pub shape: Option<ShapeFile>,
    /// Of everything that the row and the file say.
    pub mark: ContentMark,
}

/// The table and the folder together.
#[derive(Debug, Clone, Default)]
pub struct Gathered {
    /// How many rows the table has.
    pub rows: usize,
    /// The jobs that can be made, in the order of the rows.
    pub jobs: Vec<OldJob>,
    pub problems: Vec<Problem>,
}

/// The rows of a table: each read, or what is wrong with it.
pub type ReadRows = Vec<Result<OldRecordRow, FaultyRow>>;

/// The files by what a row may call them.
struct Files<'a> {
    all: &'a [FoundFile],
    by_name: HashMap<String, Vec<usize>>,
    /// By the job that stands in the file.
    by_job: HashMap<String, Vec<usize>>,
    /// Those of a row that was read.
    used: BTreeSet<usize>,
    /// Those that a row with a problem means, or may mean.
    meant: BTreeSet<usize>,
}

impl<'a> Files<'a> {
    fn of(all: &'a [FoundFile]) -> Self {
        let (mut by_name, mut by_job): (HashMap<_, Vec<usize>>, HashMap<_, Vec<usize>>) = Default::default();
        for (at, file) in all.iter().enumerate() {
            let path = folded(&file.name);
            let last = last_of(&path).to_owned();
            let names: BTreeSet<String> = [stem_of(&last).to_owned(), number_key(stem_of(&last)), last, path].into();
            for name in names {
                by_name.entry(name).or_default().push(at);
            }
            if let Ok(InFile { job: Some(job), .. }) = &file.read {
                by_job.entry(number_key(job)).or_default().push(at);
            }
        }
        Self { all, by_name, by_job, used: BTreeSet::new(), meant: BTreeSet::new() }
    }

    /// What a row may mean by its cell.
    fn called(&self, cell: &str) -> &[usize] {
        let path = folded(&cell.replace('\\', "/"));
        let last = last_of(&path);
        let found = [path.as_str(), last, stem_of(last)].into_iter().find_map(|name| self.by_name.get(name));
        found.map_or(&[], Vec::as_slice)
    }

    /// What is named after a number, or else what names it.
    fn numbered(&self, key: &str) -> &[usize] {
        self.by_name.get(key).or_else(|| self.by_job.get(key)).map_or(&[], Vec::as_slice)
    }

    /// Notes the files that a row with a problem means.
    fn note_meant(&mut self, cell: &str, number: &str) {
        let meant = if cell.is_empty() { self.numbered(&number_key(number)) } else { self.called(cell) }.to_vec();
        self.meant.extend(meant);
    }

    /// The file that a row names.
    fn named(&self, cell: &str) -> Result<usize, String> {
        match self.called(cell) {
            [only] => Ok(*only),
            [] => Err(format!("the file “{cell}” is not in the folder: put it there, or empty the cell")),
            _ => Err(format!("more than one file is called “{cell}”: write its path within the folder")),
        }
    }

    /// The file that is named after a number, or else the one whose contents name it.
    fn of_number(&self, key: &str) -> Result<Option<usize>, String> {
        match self.numbered(key) {
            [] => Ok(None),
            [only] => Ok(Some(*only)),
            [one, other, ..] => {
                let [one, other] = [one, other].map(|at| &self.all[*at].name);
                Err(format!("the files “{one}” and “{other}” could both be its shape: name one in the row"))
            }
        }
    }
}

fn last_of(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or(path)
}

fn stem_of(name: &str) -> &str {
    name.rsplit_once('.').map_or(name, |(stem, _)| stem).trim()
}

/// Puts the rows and the files together. `rim` is the rim of a frame that does not say it; `hash` makes a mark.
pub fn gather(rows: ReadRows, files: &[FoundFile], rim: Rim, hash: impl Fn(&[&[u8]]) -> ContentMark) -> Gathered {
    let mut gathered = Gathered { rows: rows.len(), ..Gathered::default() };
    let (mut files, mut seen) = (Files::of(files), HashMap::new());
    for row in rows {
        let row = row.map_err(|faulty| {
            files.note_meant(&faulty.file, &faulty.number);
            faulty.problems
        });
        let made = row.and_then(|row| {
            let place = row.row;
            let (cell, number) = (row.file.clone(), row.number.clone());
            let made = job_of(row, &mut files, rim, &hash).inspect_err(|_| files.note_meant(&cell, &number))?;
            let job = &made.0;
            match seen.insert(job.number_key.clone(), place) {
                None => Ok(made),
                Some(first) => {
                    seen.insert(job.number_key.clone(), first);
                    let says = format!(
                        "it has the number {} as row {first} has: give one of them another number",
                        job.row.number
                    );
                    Err(vec![Problem::stops(place, says)])
                }
            }
        });
        match made {
            Ok((job, note)) => {
                gathered.problems.extend(note);
                gathered.jobs.push(job);
            }
            Err(problems) => gathered.problems.extend(problems),
        }
    }
    gathered.problems.extend(left_out(&files));
    gathered
}

fn left_out<'a>(files: &'a Files) -> impl Iterator<Item = Problem> + 'a {
    let rest = files.all.iter().enumerate().filter(|(at, _)| !files.used.contains(at));
    rest.filter_map(|(at, file)| match (&file.read, files.meant.contains(&at)) {
        // Its row says what is to be done.
        (Ok(_), true) => None,
        (Err(why), true) => Some(Problem::file(&file.name, format!("it was not read: {why}"))),
        (Ok(_), false) => {
            Some(Problem::file(&file.name, "no row names it, so it is left out: add a row to bring it along"))
        }
        (Err(why), false) => Some(Problem::file(&file.name, format!("it is left out, and no row names it: {why}"))),
    })
}

/// The job of a row, and what should be known of it.
fn job_of(
    mut row: OldRecordRow,
    files: &mut Files,
    rim: Rim,
    hash: &impl Fn(&[&[u8]]) -> ContentMark,
) -> Result<(OldJob, Option<Problem>), Vec<Problem>> {
    let place = row.row;
    let stop = |says: String| vec![Problem::stops(place, says)];
    let at = match row.file.as_str() {
        "" => files.of_number(&number_key(&row.number)),
        cell => files.named(cell).map(Some),
    };
    let at = at.map_err(stop)?;
    files.used.extend(at);
    let file = at.map(|at| &files.all[at]);
    if row.number.is_empty() {
        row.number = file.map(|file| stem_of(last_of(&file.name)).to_owned()).unwrap_or_default();
    }
    let number_key = number_key(&row.number);
    if number_key.is_empty() {
        return Err(stop("it has no old number and no trace file: type one, or take the row out".to_owned()));
    }
    if row.number.chars().count() > super::MOST_NUMBER {
        return Err(stop(format!(
            "the name of its trace file is no number: type one of at most {} characters",
            super::MOST_NUMBER
        )));
    }
    let read = match file.map(|file| &file.read) {
        None => None,
        Some(Ok(read)) => Some(read),
        Some(Err(why)) => {
            let name = file.map_or("", |file| &file.name);
            return Err(stop(format!("its trace file “{name}” was not read: {why}")));
        }
    };
    let frame = frame_of(&row, read, rim).map_err(|says| {
        let problem = |says| Problem::stops(place, says);
        says.into_iter().map(problem).collect::<Vec<_>>()
    })?;
    let none = ContentMark::default();
    let mark = hash(&[row.contents.as_bytes(), file.map_or(&none, |file| &file.mark)]);
    let shape = file.map(|file| ShapeFile { path: file.name.clone(), mark: file.mark });
    let note = file.zip(read).and_then(|(file, read)| other_size(place, file, read, frame.eye_size));
    Ok((OldJob { row, number_key, frame, shape, mark }, note))
}

/// That a trace file measures another width than the frame of its row has: it may be that of another job.
fn other_size(row: u64, file: &FoundFile, read: &InFile, stamped: Millimeter) -> Option<Problem> {
    let is_other = (read.a_mm - stamped.to_f64()).abs() > STAMP_DIFFERENCE_REPORTED_MM;
    is_other.then(|| {
        let says = format!(
            "its trace file “{}” is {:.1} mm wide and its frame {stamped} mm: look whether it is the file of this frame",
            file.name, read.a_mm
        );
        Problem::note(row, says)
    })
}

/// The frame of a row. What it does not say of the sizes is measured in the trace, to the whole millimeters of a stamp.
fn frame_of(row: &OldRecordRow, file: Option<&InFile>, rim: Rim) -> Result<FrameDetails, Vec<String>> {
    let said = &row.frame;
    let traced = |mm: f64, limit: LengthLimit| {
        Millimeter::round_from(mm.round()).ok().and_then(|length| limit.check(length).ok())
    };
    let a = || file.and_then(|file| traced(file.a_mm, EYE_SIZE));
    let dbl = || file.and_then(|file| traced(file.dbl_mm?, BRIDGE));
    let (eye_size, bridge) = (said.eye_size.or_else(a), said.bridge.or_else(dbl));
    let or_else = |text: &str, else_: String| if text.is_empty() { else_ } else { text.to_owned() };
    match (eye_size, bridge) {
        (Some(eye_size), Some(bridge)) => Ok(FrameDetails {
            maker: or_else(&said.maker, NOT_RECORDED.to_owned()),
            // Frames without a name are not one frame.
            model: or_else(&said.model, format!("frame of old job {}", row.number)),
            color: said.color.clone(),
            eye_size,
            bridge,
            temple: said.temple,
            rim: said.rim.unwrap_or(rim),
            price: Cents::ZERO,
        }),
        (eye_size, bridge) => {
            let missing = |what: &str, length: Option<Millimeter>| {
                length
                    .is_none()
                    .then(|| format!("neither the row nor a trace file says its {what}: type it in the row"))
            };
            Err([missing("eye size", eye_size), missing("bridge (DBL)", bridge)].into_iter().flatten().collect())
        }
    }
}

impl Gathered {
    /// How many rows cannot be brought in so.
    pub fn stopped(&self) -> usize {
        count_stopped(&self.problems)
    }
}

/// How many rows these problems keep out.
pub fn count_stopped(problems: &[Problem]) -> usize {
    let rows: BTreeSet<&Place> =
        problems.iter().filter(|problem| problem.stops).map(|problem| &problem.place).collect();
    rows.len()
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::desk::old_record::column::Column::{self, Bridge, EyeSize, Name, Note, Number, TraceFile as File};
    use crate::desk::old_record::day::DayOrder;
    use crate::desk::old_record::row::{Matching, read_row};
    use crate::shape::record::read_any;

    const COLUMNS: [Column; 6] = [Number, Name, File, EyeSize, Bridge, Note];

    pub(in crate::desk::old_record) fn rows(rows: &[[&str; 6]]) -> ReadRows {
        let matching =
            Matching { columns: COLUMNS.to_vec(), has_head: true, days: DayOrder::MonthFirst, rim: Rim::Plastic };
        let cells = |row: &[&str; 6]| row.iter().map(|cell| (*cell).to_owned()).collect::<Vec<_>>();
        (2..).zip(rows).map(|(at, row)| read_row(at, &cells(row), &matching)).collect()
    }

    /// A round rim of 50 mm.
    fn file(name: &str, job: &str, dbl: &str) -> FoundFile {
        let radii = vec!["2500"; 36].join(";");
        let text = format!("JOB={job}\r\n{dbl}TRCFMT=1;36;E;R;F\r\nR={radii}\r\n");
        let read = read_any(text.as_bytes()).map_err(|faults| faults[0].to_string());
        let read = read.and_then(|read| InFile::of(&read));
        FoundFile { name: name.to_owned(), mark: mark(&[text.as_bytes()]), read }
    }

    fn mark(parts: &[&[u8]]) -> ContentMark {
        let mut mark = ContentMark::default();
        for (at, byte) in parts.iter().flat_map(|part| part.iter()).enumerate() {
            mark[at % 32] = mark[at % 32].rotate_left(1) ^ byte;
        }
        mark
    }

    pub(in crate::desk::old_record) fn gathered(
        table: &[[&str; 6]],
        files: &[FoundFile],
    ) -> (Vec<OldJob>, Vec<String>) {
        let all = gather(rows(table), files, Rim::Plastic, mark);
        (all.jobs, all.problems.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn a_file_is_found_by_its_name_its_number_or_the_job_in_it() {
        let files = [file("a/4711.TXT", "", "DBL=18.00\r\n"), file("b/x.txt", "0815", ""), file("Fjord 7.txt", "", "")];
        let (jobs, problems) = gathered(
            &[
                ["4711", "Ada Quill", "", "", "", ""],
                ["815", "Bo Tarn", "", "50", "20", ""],
                ["7", "Cy Ebb", "B\\fjord 7.TXT", "50", "20", ""],
                ["8", "Di Fen", "", "48", "20", ""],
                ["", "Ed Gull", "4711", "", "", ""],
            ],
            &files,
        );
        assert_eq!(problems, ["Row 6: it has the number 4711 as row 2 has: give one of them another number"]);
        let found: Vec<_> =
            jobs.iter().map(|job| job.shape.as_ref().map(|shape| (shape.path.as_str(), shape.name()))).collect();
        let of = |path: &'static str, name: &str| Some((path, name.to_owned()));
        assert_eq!(
            found,
            [of("a/4711.TXT", "4711.TXT"), of("b/x.txt", "x.txt"), of("Fjord 7.txt", "Fjord 7.txt"), None]
        );
        let frame = &jobs[0].frame;
        assert_eq!((frame.eye_size.hundredths(), frame.bridge.hundredths()), (5000, 1800), "measured in the trace");
        let names = (frame.maker.as_str(), frame.model.as_str(), frame.rim);
        assert_eq!(names, (NOT_RECORDED, "frame of old job 4711", Rim::Plastic));
        assert_ne!(jobs[0].mark, jobs[1].mark);
    }

    #[test]
    fn a_trace_of_another_width_than_its_frame_is_said() {
        // The trace is 50 mm wide. A stamp is a rounded figure.
        let (jobs, problems) = gathered(
            &[
                ["4711", "Ada Quill", "", "52", "18", ""],
                ["4712", "Bo Tarn", "", "51", "18", ""],
                ["4713", "Cy Ebb", "", "", "18", ""],
            ],
            &["4711.txt", "4712.txt", "4713.txt"].map(|name| file(name, "", "")),
        );
        assert_eq!(jobs.len(), 3);
        let says = "its trace file “4711.txt” is 50.0 mm wide and its frame 52.00 mm: look whether it is the file of this frame";
        assert_eq!(problems, [format!("Row 2: {says}")]);
    }

    #[test]
    fn every_problem_says_what_to_do() {
        let broken =
            FoundFile { read: Err("the trace of the right eye ends early".to_owned()), ..file("5.txt", "", "") };
        let files = [
            file("4711.txt", "", "DBL=18.00\r\n"),
            file("one/3.txt", "", ""),
            file("two/3.txt", "", ""),
            broken.clone(),
            file("spare.txt", "", ""),
            FoundFile { name: "bad.txt".to_owned(), ..broken.clone() },
            FoundFile { name: "readme.txt".to_owned(), ..broken },
            file("left.txt", "", ""),
            file("wide.txt", "", "DBL=45.00\r\n"),
        ];
        let (jobs, problems) = gathered(
            &[
                ["1", "Ada Quill", "gone.txt", "50", "18", ""],
                ["2", "Ada Quill", "3.txt", "50", "18", ""],
                ["3", "Ada Quill", "", "50", "18", ""],
                ["4", "Ada Quill", "", "", "", ""],
                ["5", "Ada Quill", "", "50", "18", ""],
                ["", "Ada Quill", "", "50", "18", ""],
                ["6", "", "", "50", "18", ""],
                ["4711", "Ada Quill", "", "", "", ""],
                ["04711", "Ada Quill", "", "", "", ""],
                ["9", "Ada Quill", "two\\3.txt", "50", "18", ""],
                ["spare", "", "", "50", "18", ""],
                ["10", "", "bad.txt", "50", "18", ""],
            ],
            &files,
        );
        assert_eq!(jobs.iter().map(|job| job.row.number.as_str()).collect::<Vec<_>>(), ["4711", "9"]);
        assert_eq!(
            problems,
            [
                "Row 2: the file “gone.txt” is not in the folder: put it there, or empty the cell",
                "Row 3: more than one file is called “3.txt”: write its path within the folder",
                "Row 4: the files “one/3.txt” and “two/3.txt” could both be its shape: name one in the row",
                "Row 5: neither the row nor a trace file says its eye size: type it in the row",
                "Row 5: neither the row nor a trace file says its bridge (DBL): type it in the row",
                "Row 6: its trace file “5.txt” was not read: the trace of the right eye ends early",
                "Row 7: it has no old number and no trace file: type one, or take the row out",
                "Row 8: no customer: type the name, or take the row out",
                "Row 10: it has the number 04711 as row 9 has: give one of them another number",
                "Row 12: no customer: type the name, or take the row out",
                "Row 13: no customer: type the name, or take the row out",
                "File bad.txt: it was not read: the trace of the right eye ends early",
                "File readme.txt: it is left out, and no row names it: the trace of the right eye ends early",
                "File left.txt: no row names it, so it is left out: add a row to bring it along",
                "File wide.txt: it is left out, and no row names it: A distance between lenses of 45.00 mm is not possible: \
                 between 5 and 40 was expected",
            ]
        );
    }
}
