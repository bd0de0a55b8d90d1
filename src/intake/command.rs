//! `rimbook shape read` and `rimbook shape write`.

use std::fs::File;
use std::io::{Read, stdin};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand, ValueEnum};

use super::json::ShapeJson;
use super::{Format, IntakeError, MAX_BYTES, ReadOptions, read_any};
use crate::shape::record::write;

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
}

/// The formats of a written shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum WriteFormat {
    /// Interchange records as text.
    Text,
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
    let file = read_any(&bytes_of(&args.file)?, &ReadOptions { format: args.format })?;
    let mut json = serde_json::to_vec(&ShapeJson::of(&file)).map_err(|why| IntakeError::File(why.to_string()))?;
    json.push(b'\n');
    Ok(json)
}

fn write_shape(args: &WriteArgs) -> Result<Vec<u8>, IntakeError> {
    let text = String::from_utf8(bytes_of(&args.json)?)
        .map_err(|_| IntakeError::File(format!("{} is not text; JSON was expected", args.json.display())))?;
    let file = ShapeJson::read(&text)?.to_file()?;
    let bytes = match args.format {
        WriteFormat::Text => write(&file).into_bytes(),
    };
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

    fn in_file(text: &str, go: impl Fn(&Path) -> Result<Vec<u8>, IntakeError>) -> Result<Vec<u8>, IntakeError> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("shape.txt");
        std::fs::write(&path, text).unwrap();
        go(&path)
    }

    fn read(text: &str) -> Result<Value, String> {
        let args = |file: &Path| ReadArgs { file: file.into(), format: None };
        in_file(text, |path| run(&ShapeCommand::Read(args(path))))
            .map(|json| serde_json::from_slice(&json).unwrap())
            .map_err(|why| why.to_string())
    }

    fn written(json: &Value) -> Result<String, String> {
        let args = |json: &Path| WriteArgs { json: json.into(), format: WriteFormat::Text, output: None };
        in_file(&json.to_string(), |path| run(&ShapeCommand::Write(args(path))))
            .map(|bytes| String::from_utf8(bytes).unwrap())
            .map_err(|why| why.to_string())
    }

    fn circle(side: &str) -> String {
        format!("TRCFMT=1;36;E;{side};F\r\nR={}\r\n", ["2200"; 36].join(";"))
    }

    #[test]
    fn a_trace_file_is_printed_as_json() {
        let json = read(&format!("JOB=\"1042\"\r\nDBL=18\r\n_MINE=x\r\n{}", circle("R"))).unwrap();
        assert_eq!((json["job"].as_str(), json["dbl_mm"].as_f64()), (Some("1042"), Some(18.0)));
        assert_eq!(
            (json["eyes"]["right"]["points"].as_u64(), json["eyes"]["right"]["a_mm"].as_f64()),
            (Some(36), Some(44.0))
        );
        assert_eq!(json["eyes"]["right"]["radii_mm"][35], 22.0);
        assert_eq!(json["eyes"]["left"]["mirrored"], true);
        assert_eq!(json["records"]["_MINE"], "x");
        assert!(json["warnings"][0].as_str().is_some_and(|says| says.contains("left eye is not in the file")));
    }

    #[test]
    fn what_is_printed_can_be_written_and_read_again() {
        let first = read(&format!("JOB=A7\nDBL=18.25\n{}{}", circle("L"), circle("R"))).unwrap();
        let second = read(&written(&first).unwrap()).unwrap();
        for field in ["eyes", "job", "dbl_mm"] {
            assert_eq!(first[field], second[field]);
        }
    }

    #[test]
    fn a_fault_is_one_line_with_its_place() {
        let found = read(&circle("R").replace("36;E", "40;E")).unwrap_err();
        assert!(found.starts_with("Line 1: ") && !found.contains('\n'), "{found}");
        for (json, want) in [
            (serde_json::json!({"eyes": {}}), "eyes: no eye has radii"),
            (serde_json::json!({"eyes": {"right": {"radii_mm": [22.0, "x"]}}}), "eyes.right.radii_mm[1]: "),
            (serde_json::json!({"eyes": {"left": {"radii_mm": [1e300]}}}), "eyes.left.radii_mm[0]: "),
            (serde_json::json!({"eyes": {"left": {"radii_mm": [22.0]}}}), "eyes.left.radii_mm: "),
        ] {
            let found = written(&json).unwrap_err();
            assert!(found.starts_with(want) && !found.contains('\n'), "{found}");
        }
    }
}
