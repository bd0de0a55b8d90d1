//! `rimbook shape read` and `rimbook shape write`.

use std::fs::File;
use std::io::{Read, stdin};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};

use super::json::ShapeJson;
use super::write::WriteFormat;
use super::{Format, IntakeError, MAX_BYTES, ReadOptions, read_any};
use crate::optics::Eye;
use crate::picture::{Pixel, Scale, Subject};
use crate::shape::drawing::{Placed, Unit};
use crate::shape::record::Assumptions;
use crate::shape::record::assumption::TABLE;

/// What to do with a shape.
#[derive(Debug, Subcommand)]
pub enum ShapeCommand {
    /// Read a shape from a file and print it as JSON. A fault prints one line; exit code 2.
    Read(ReadArgs),
    /// Write a shape, given as the JSON that `read` prints, as a file.
    Write(WriteArgs),
}

/// What to read.
#[derive(Debug, Args)]
pub struct ReadArgs {
    /// The file; `-` is standard input.
    pub file: PathBuf,
    /// What the file is. Default: what its contents look like.
    #[arg(long, value_enum)]
    pub format: Option<Format>,
    /// What the device does otherwise (see `--help`); may be given several times.
    #[arg(long, value_name = "NAME=CHOICE", long_help = assumptions_help())]
    pub assume: Vec<String>,
    /// The unit of a drawing that does not state one: mm, cm, inch, pt or px.
    #[arg(long, value_parser = unit)]
    pub unit: Option<Unit>,
    /// What the picture shows and how it lies.
    #[command(flatten)]
    pub picture: PictureArgs,
}

/// What is known of a picture or a drawing.
#[derive(Debug, Clone, Default, Args)]
pub struct PictureArgs {
    /// The resolution of a scan. Default: what the file states, if a scanner can have stated it.
    #[arg(long, value_name = "DPI", conflicts_with_all = ["card", "card_corners", "ruler"])]
    pub dpi: Option<f64>,
    /// A bank or identity card (85.60 by 53.98 mm) lies beside the lens: it gives the scale and undoes the perspective.
    #[arg(long, conflicts_with_all = ["card_corners", "ruler"])]
    pub card: bool,
    /// The four corners of the card in pixels, where it is not found: x,y,x,y,x,y,x,y.
    #[arg(long, value_name = "X,Y,...", value_parser = numbers::<8>, conflicts_with = "ruler")]
    pub card_corners: Option<[f64; 8]>,
    /// Two marks on a ruler in pixels and their distance in mm: x,y,x,y,mm.
    #[arg(long, value_name = "X,Y,X,Y,MM", value_parser = numbers::<5>)]
    pub ruler: Option<[f64; 5]>,
    /// The picture shows an empty rim: its inner edge is read.
    #[arg(long)]
    pub rim: bool,
    /// The eye of a single outline: right or left. Default: right.
    #[arg(long, value_parser = eye)]
    pub eye: Option<Eye>,
    /// Turn the outline counter-clockwise by so many degrees, so that it is level.
    #[arg(long, value_name = "DEG", allow_negative_numbers = true, value_parser = degrees)]
    pub level: Option<f64>,
    /// The lens is seen from its back.
    #[arg(long)]
    pub back: bool,
}

impl PictureArgs {
    fn scale(&self) -> Option<Scale> {
        match (self.ruler, self.card_corners) {
            (Some([x, y, to_x, to_y, mm]), _) => {
                Some(Scale::Ruler { from: Pixel::new(x, y), to: Pixel::new(to_x, to_y), mm })
            }
            (_, Some([a, b, c, d, e, f, g, h])) => {
                Some(Scale::CardCorners([(a, b), (c, d), (e, f), (g, h)].map(|(x, y)| Pixel::new(x, y))))
            }
            _ if self.card => Some(Scale::Card),
            _ => self.dpi.map(Scale::Dpi),
        }
    }

    fn placed(&self) -> Placed {
        Placed { eye: self.eye, level_deg: self.level.unwrap_or(0.0), is_from_back: self.back }
    }
}

/// So many numbers with commas between them.
fn numbers<const COUNT: usize>(text: &str) -> Result<[f64; COUNT], String> {
    let numbers: Option<Vec<f64>> = text.split(',').take(COUNT + 1).map(|number| number.trim().parse().ok()).collect();
    let wrong = || format!("{COUNT} numbers with commas between them were expected");
    numbers.and_then(|numbers| numbers.try_into().ok()).ok_or_else(wrong)
}

fn unit(text: &str) -> Result<Unit, String> {
    Unit::named(text).ok_or_else(|| "mm, cm, inch, pt or px was expected".to_owned())
}

fn eye(text: &str) -> Result<Eye, String> {
    Eye::BOTH.into_iter().find(|eye| eye.name() == text).ok_or_else(|| "right or left was expected".to_owned())
}

fn degrees(text: &str) -> Result<f64, String> {
    let angle = text.parse::<f64>().ok().filter(|angle| angle.abs() <= 360.0);
    angle.ok_or_else(|| "an angle of -360 to 360 was expected".to_owned())
}

/// What to write.
#[derive(Debug, Args)]
pub struct WriteArgs {
    /// The JSON; `-` is standard input.
    #[arg(default_value = "-")]
    pub json: PathBuf,
    /// What to write.
    #[arg(long, value_enum, default_value_t = WriteFormat::Text)]
    pub format: WriteFormat,
    /// Where to write it. Default: standard output.
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// What the device expects otherwise (see `--help`); may be given several times.
    #[arg(long, value_name = "NAME=CHOICE", long_help = assumptions_help())]
    pub assume: Vec<String>,
}

/// The table of assumptions; the first choice of each is assumed.
fn assumptions_help() -> String {
    let mut help =
        "What the device does otherwise; may be given several times. The first choice is assumed.\n".to_owned();
    for line in TABLE {
        help += &format!("\n{}: {}\n", line.key, line.says);
        line.choices.iter().for_each(|(choice, means)| help += &format!("  {choice}: {means}\n"));
    }
    help
}

fn assumptions(given: &[String]) -> Result<Assumptions, IntakeError> {
    let mut assumptions = Assumptions::default();
    for one in given {
        let (key, choice) = one.split_once('=').unwrap_or((one, ""));
        assumptions.switch(key, choice).map_err(|why| IntakeError::Assumption(why.to_string()))?;
    }
    Ok(assumptions)
}

/// Runs a command. Gives what belongs on standard output.
///
/// # Errors
///
/// [`IntakeError`], one line.
pub fn run(command: &ShapeCommand) -> Result<Vec<u8>, IntakeError> {
    match command {
        ShapeCommand::Read(args) => read_shape(args),
        ShapeCommand::Write(args) => write_shape(args),
    }
}

fn read_shape(args: &ReadArgs) -> Result<Vec<u8>, IntakeError> {
    let options = ReadOptions {
        format: args.format,
        assumptions: assumptions(&args.assume)?,
        unit: args.unit,
        scale: args.picture.scale(),
        subject: if args.picture.rim { Subject::Rim } else { Subject::Lens },
        placed: args.picture.placed(),
    };
    let file = read_any(&bytes_of(&args.file)?, &options)?;
    let mut json = serde_json::to_vec(&ShapeJson::of(&file)).map_err(|why| IntakeError::File(why.to_string()))?;
    json.push(b'\n');
    Ok(json)
}

fn write_shape(args: &WriteArgs) -> Result<Vec<u8>, IntakeError> {
    let text = String::from_utf8(bytes_of(&args.json)?)
        .map_err(|_| IntakeError::File(format!("{} is not text; JSON was expected", args.json.display())))?;
    let file = ShapeJson::read(&text)?.to_file()?;
    let bytes = args.format.file_of(&file, &assumptions(&args.assume)?)?;
    let Some(output) = &args.output else { return Ok(bytes) };
    std::fs::write(output, bytes)
        .map_err(|why| IntakeError::File(format!("{} cannot be written: {why}", output.display())))?;
    Ok(Vec::new())
}

/// The whole file, or the reason why not. Never more than [`MAX_BYTES`] are taken into memory.
fn bytes_of(path: &Path) -> Result<Vec<u8>, IntakeError> {
    let name = path.display();
    let cannot = |why: std::io::Error| IntakeError::File(format!("{name} cannot be read: {why}"));
    let source: Box<dyn Read> = match path.to_str() {
        Some("-") => Box::new(stdin()),
        _ => Box::new(File::open(path).map_err(cannot)?),
    };
    let mut bytes = Vec::new();
    source.take(MAX_BYTES as u64 + 1).read_to_end(&mut bytes).map_err(cannot)?;
    if bytes.len() > MAX_BYTES {
        return Err(IntakeError::File(format!("{name} is larger than any file of a shape, {MAX_BYTES} bytes")));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::Value;

    #[test]
    fn marks_are_numbers_with_commas_between_them() {
        assert_eq!(numbers::<5>("10,20.5, 60,20,40"), Ok([10.0, 20.5, 60.0, 20.0, 40.0]));
        for wrong in ["10,20,60,20", "10,20,60,20,40,1", "10 20 60 20 40", "a,b,c,d,e", ""] {
            assert!(numbers::<5>(wrong).is_err_and(|why| why.starts_with("5 numbers")), "{wrong}");
        }
    }

    fn in_file(bytes: &[u8], go: impl Fn(&Path) -> Result<Vec<u8>, IntakeError>) -> Result<Vec<u8>, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("shape.txt");
        std::fs::write(&path, bytes).unwrap();
        go(&path).map_err(|why| why.to_string())
    }

    fn read(bytes: impl AsRef<[u8]>) -> Result<Value, String> {
        let args = |file: &Path| ReadArgs {
            file: file.into(),
            format: None,
            assume: Vec::new(),
            unit: None,
            picture: PictureArgs::default(),
        };
        in_file(bytes.as_ref(), |path| run(&ShapeCommand::Read(args(path))))
            .map(|json| serde_json::from_slice(&json).unwrap())
    }

    fn written(json: &Value, format: WriteFormat) -> Result<Vec<u8>, String> {
        let args = |json: &Path| WriteArgs { json: json.into(), format, output: None, assume: Vec::new() };
        in_file(json.to_string().as_bytes(), |path| run(&ShapeCommand::Write(args(path))))
    }

    fn circle(side: &str) -> String {
        format!("TRCFMT=1;36;E;{side};F\r\nR={}\r\n", ["2200"; 36].join(";"))
    }

    #[test]
    fn a_trace_file_is_printed_as_json() {
        let json = read(format!("JOB=\"1042\"\r\nDBL=18\r\n_MINE=x\r\n{}", circle("R"))).unwrap();
        assert_eq!((json["job"].as_str(), json["dbl_mm"].as_f64()), (Some("1042"), Some(18.0)));
        let right = &json["eyes"]["right"];
        assert_eq!((right["points"].as_u64(), right["radii_mm"][35].as_f64()), (Some(36), Some(22.0)));
        assert!((right["a_mm"].as_f64().unwrap() - 44.0).abs() < 0.01);
        assert_eq!(json["eyes"]["left"]["mirrored"], true);
        assert_eq!(json["records"]["_MINE"], "x");
        assert!(json["warnings"][0].as_str().is_some_and(|says| says.contains("left eye is not in the file")));
    }

    #[test]
    fn a_file_goes_through_json_in_every_form_and_back_to_its_bytes() {
        let ten = ["2200"; 10].join(";");
        let radii = format!("R={ten}\r\nR={ten}\r\n");
        let text = format!(
            "REQ=FIL\r\nJOB=\"A 7\"\r\n_X=1\r\nTRCFMT=1;20;E;L;P\r\n{radii}ZFMT=1;4;U;L;P\r\nZ=-1;2;-3;4\r\n\
             ZA=10;9000;18000;27000\r\nSTHKFMT=1;2;E;L\r\nR=2200;2200\r\nT=210;220\r\n_X=2\r\nDBL=18.5\r\n\
             TRCFMT=1;20;E;R;P\r\n{radii}HBOX=44.00;44.00\r\n"
        );
        let first = read(&text).unwrap();
        assert_eq!(first["records"]["_X"], serde_json::json!(["1", "2"]));
        for format in [WriteFormat::Binary, WriteFormat::Differences, WriteFormat::Packed] {
            let coded = written(&first, format).unwrap();
            assert!(coded.len() < text.len(), "{format:?}");
            let second = read(&coded).unwrap();
            assert_eq!(second, first, "{format:?}");
            assert_eq!(written(&second, WriteFormat::Text).unwrap(), text.as_bytes(), "{format:?}");
        }
    }

    #[test]
    fn a_file_is_read_as_what_it_is_said_to_be() {
        let table = "22.00\n".repeat(36);
        for (bytes, format, is_read) in [
            (table.as_str(), None, true),
            (table.as_str(), Some(Format::Table), true),
            (table.as_str(), Some(Format::Records), false),
            (circle("R").as_str(), Some(Format::Records), true),
            (circle("R").as_str(), Some(Format::Table), false),
        ] {
            let options = ReadOptions { format, ..ReadOptions::default() };
            assert_eq!(read_any(bytes.as_bytes(), &options).is_ok(), is_read, "{format:?} {bytes:.20}");
        }
    }

    #[test]
    fn radii_alone_are_enough_to_write() {
        let json = serde_json::json!({"eyes": {"left": {"radii_mm": vec![22.5; 40]}}, "job": "9", "dbl_mm": 17});
        let text = String::from_utf8(written(&json, WriteFormat::Text).unwrap()).unwrap();
        assert!(text.starts_with("REQ=FIL\r\nJOB=\"9\"\r\nDBL=17.00\r\nTRCFMT=1;40;E;L;F\r\nR=2250;"), "{text}");
    }

    #[test]
    fn holes_go_from_records_to_a_drawing_and_back() {
        let text = "DBL=18\r\nDRILL=B;-17;2;1.4\r\n".to_owned() + &circle("R") + &circle("L");
        let drawn = read(written(&read(&text).unwrap(), WriteFormat::Svg).unwrap()).unwrap();
        let hole = &drawn["eyes"]["left"]["holes"][0];
        let near = |key: &str, want: f64| (hole[key].as_f64().unwrap() - want).abs() < 0.01;
        assert!(near("x_mm", 17.0) && near("y_mm", 2.0) && near("diameter_mm", 1.4), "{hole}");
        let back = String::from_utf8(written(&drawn, WriteFormat::Text).unwrap()).unwrap();
        let want = "REQ=FIL\r\nDBL=18.00\r\nDRILLE=R;C;-17.00;2.00;1.40\r\nDRILLE=L;C;-17.00;2.00;1.40\r\n";
        assert!(back.starts_with(want), "{back:.99}");
        // A hole of one eye stays there, and that is said. An eye that is a mirror image has those of the other.
        for (text, left, warned) in [
            ("DRILL=R;-17;2;1.4\n".to_owned() + &circle("R") + &circle("L"), 0, "right eye only"),
            ("DRILL=R;-17;2;1.4\n".to_owned() + &circle("R"), 1, "mirror image"),
        ] {
            let read = read(&text).unwrap();
            assert_eq!(read["eyes"]["left"]["holes"].as_array().map_or(0, Vec::len), left);
            assert_eq!(read["warnings"].as_array().unwrap().len(), 1);
            assert!(read["warnings"][0].as_str().unwrap().contains(warned), "{}", read["warnings"]);
        }
        let far = serde_json::json!({"eyes": {"left": {"radii_mm": vec![22.5; 40],
            "holes": [{"x_mm": 1e9, "y_mm": 0, "diameter_mm": 1}]}}});
        assert!(written(&far, WriteFormat::Text).unwrap_err().starts_with("eyes.left.holes[0]: "));
    }

    /// A megabyte of records, each with a label of its own or all with one, and back. Looking through all of them for each took
    /// a minute.
    #[test]
    fn a_file_of_very_many_records_goes_through_json() {
        let many = |label: &dyn Fn(usize) -> String| {
            (0..100_000).map(|i| format!("{}={}\r\n", label(i), i % 9)).collect::<String>() + &circle("R")
        };
        for text in [many(&|i| format!("X{i:X}")), many(&|_| "_X".to_owned())] {
            let back = written(&read(&text).unwrap(), WriteFormat::Text).unwrap();
            let joined = |text: &str| text.replace("\r\nR=", ";");
            assert_eq!(joined(&String::from_utf8(back).unwrap()), joined(&text));
        }
        let holes = vec![serde_json::json!({"x_mm": 17, "y_mm": 2, "diameter_mm": 1}); 13];
        let json = serde_json::json!({"eyes": {"left": {"radii_mm": vec![22.5; 40], "holes": holes}}});
        let refused = written(&json, WriteFormat::Text).unwrap_err();
        assert_eq!(refused, "eyes.left.holes: there are 13 holes; at most 12 were expected");
    }

    /// One eye is traced. The holes of the other are those that are named for it, or those of the first, or none.
    #[test]
    fn the_holes_of_a_mirrored_eye_are_written_and_read_back() {
        let of = |json: &Value, eye: &str| json["eyes"][eye]["holes"].clone();
        for (drills, right, left) in [
            ("DRILL=R;-17;2;1.4\n", 1, 1),
            ("DRILL=R;-17;2;1.4\nDRILL=L;-17;2;1.4\n", 1, 1),
            ("DRILL=R;-17;2;1.4\nDRILL=L;-16;3;1.6\nDRILL=L;15;1;1.4;13;1\n", 1, 2),
            ("DRILL=L;-16;3;1.6\n", 0, 1),
        ] {
            let first = read(drills.to_owned() + &circle("R")).unwrap();
            let mut without = first.clone();
            without["records"] = serde_json::json!({});
            without["order"] = serde_json::json!([]);
            // From its records, and from the JSON alone.
            for json in [&first, &without] {
                for format in [WriteFormat::Text, WriteFormat::Packed, WriteFormat::Svg, WriteFormat::Points] {
                    let back = read(written(json, format).unwrap()).unwrap();
                    let is_records = matches!(format, WriteFormat::Text | WriteFormat::Packed);
                    assert_eq!(back["eyes"]["left"]["mirrored"].as_bool().unwrap_or(false), is_records, "{format:?}");
                    for (eye, count) in [("right", right), ("left", left)] {
                        let (want, found) = (of(json, eye), of(&back, eye));
                        assert_eq!(want.as_array().map_or(0, Vec::len), count, "{drills}");
                        if is_records {
                            assert_eq!(found, want, "{drills}: {format:?}");
                        } else {
                            assert_eq!(found.as_array().map_or(0, Vec::len), count, "{drills}: {format:?}");
                        }
                    }
                }
            }
        }
        // A mirrored eye that is said to have none is written with its trace, so that a reader gives it none.
        let mut bare = read("DRILL=R;-17;2;1.4\n".to_owned() + &circle("R")).unwrap();
        bare["eyes"]["left"]["holes"] = serde_json::json!([]);
        bare["records"] = serde_json::json!({});
        let back = read(written(&bare, WriteFormat::Text).unwrap()).unwrap();
        assert_eq!((of(&back, "right"), of(&back, "left")), (of(&bare, "right"), Value::Null));
        assert_eq!(back["eyes"]["left"]["radii_mm"], bare["eyes"]["left"]["radii_mm"]);
    }

    #[test]
    fn a_fault_is_one_line_with_its_place() {
        let found = read(circle("R").replace("36;E", "40;E")).unwrap_err();
        assert!(found.starts_with("Line 1: TRCFMT: 40 points are stated") && !found.contains('\n'), "{found}");
        for (json, want) in [
            (serde_json::json!({"eyes": {}}), "eyes: no eye has radii"),
            (serde_json::json!({"eyes": {"right": {"radii_mm": [22.0, "x"]}}}), "eyes.right.radii_mm[1]: "),
            (serde_json::json!({"eyes": {"left": {"radii_mm": [1e300]}}}), "eyes.left.radii_mm[0]: "),
            (serde_json::json!({"eyes": {"left": {"radii_mm": [22.0]}}}), "eyes.left.radii_mm: "),
            (serde_json::json!({"eyes": {"left": {"radii_mm": vec![22; 36], "points": 35}}}), "eyes.left.points: "),
            (serde_json::json!({"eyes": {"left": {"radii_mm": vec![22; 36]}}, "dbl_mm": 99}), "dbl_mm: "),
        ] {
            let found = written(&json, WriteFormat::Text).unwrap_err();
            assert!(found.starts_with(want) && !found.contains('\n'), "{found}");
        }
        assert_eq!(
            assumptions(&["nibbles".into()]).unwrap_err().to_string().split(';').next(),
            Some("--assume: “” is not a choice of nibbles")
        );
    }
}
