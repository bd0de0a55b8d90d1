//! Everything in the book as files: a CSV file for each table, kept files as they came, and, once more for people, the shapes as
//! trace files and the receipts as text and JSON.

use std::collections::{BTreeMap, HashMap};
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::Path;

use super::cell;
use super::files::{BYTES, FORMAT, FilesError, MANIFEST, Manifest, READ_ME, SCHEMA, TableNote, kept_file, table_file};
use crate::desk::receipt::Document;
use crate::optics::{Eye, Pair};
use crate::print::receipt::PrintedReceipt;
use crate::shape::record::{TraceFile, write};
use crate::shape::trace::Trace;
use crate::store::make_private_folder;
use crate::store::table_walk::{Column, Table, TableReader, Value};

const READ_ME_TEXT: &str = "\
This folder holds everything that a book of Rimbook held, in forms that other programs read.

tables/    A CSV file (RFC 4180, UTF-8) for each table of the book. The first line names the columns.
           tables.sql explains the tables and columns, in its comments.
           Powers, prisms and lengths are hundredths, money is cents, moments are in UTC.
           Keys are hexadecimal digits. A text that a spreadsheet would run as a formula begins with an
           apostrophe; so does one that begins with an apostrophe itself. Where a value may be missing, an
           empty field is a missing one and an apostrophe alone is an empty text.
files/     Kept files (trace files, photographs, letters) by the SHA-256 of their bytes, which
           tables/attachment.csv names in its column hash, with the name that each file had.
shapes/    Each traced shape as a trace file of the open interchange records (ASCII), by its key in
           tables/shape.csv.
receipts/  Each receipt as it prints and as it is kept.
book.json  What there is. `rimbook import` needs it, tables/ and files/, and makes an equal book of them.

It holds health data and addresses: keep it as you keep the book.
";

/// Writes the book of a data folder. Answers a line about it.
///
/// # Errors
///
/// [`FilesError`].
pub async fn export(data: &Path, folder: &Path) -> Result<String, FilesError> {
    make_private_folder(folder).map_err(FilesError::io(folder))?;
    if fs::read_dir(folder).map_err(FilesError::io(folder))?.next().is_some() {
        return Err(FilesError::NotEmpty(folder.display().to_string()));
    }
    for part in ["tables", "files", "shapes", "receipts"] {
        let part = folder.join(part);
        fs::create_dir(&part).map_err(FilesError::io(&part))?;
    }
    let mut book = TableReader::open(data).await?;
    let mut manifest =
        Manifest { format: FORMAT.to_owned(), schema_version: book.version().await?, tables: BTreeMap::new() };
    let mut people = ForPeople::new(folder);
    for table in book.tables().await? {
        let rows = write_table(&mut book, &table, folder, &mut people).await?;
        let columns = table.columns.into_iter().map(|column| column.name).collect();
        manifest.tables.insert(table.name, TableNote { columns, rows });
    }
    people.write_shapes()?;
    write_text(&folder.join(SCHEMA), &(book.schema().await?.join(";\n\n") + ";\n"))?;
    write_text(&folder.join(READ_ME), READ_ME_TEXT)?;
    let json = serde_json::to_string_pretty(&manifest).map_err(|why| FilesError::Book(why.to_string()))?;
    // The last file: a folder without it is an export that was stopped.
    write_text(&folder.join(MANIFEST), &json)?;
    let rows: u64 = manifest.tables.values().map(|table| table.rows).sum();
    Ok(format!("Written: {rows} rows of {} tables in {}", manifest.tables.len(), folder.display()))
}

fn write_text(file: &Path, text: &str) -> Result<(), FilesError> {
    fs::write(file, text).map_err(FilesError::io(file))
}

async fn write_table(
    book: &mut TableReader,
    table: &Table,
    folder: &Path,
    people: &mut ForPeople<'_>,
) -> Result<u64, FilesError> {
    let file = table_file(folder, &table.name);
    let wrong = |why: csv::Error| FilesError::no_export(&file, why);
    let out = BufWriter::new(File::create(&file).map_err(FilesError::io(&file))?);
    let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out);
    out.write_record(table.columns.iter().map(|column| &column.name)).map_err(wrong)?;
    let rows = book
        .each_row(table, |row| {
            let row = Row { table, row: &row };
            people.see(&row)?;
            let fields = table.columns.iter().zip(row.row).map(|(column, value)| match value {
                Value::Blob(bytes) if is_kept_bytes(table, column) => keep(folder, &row, bytes),
                value => Ok(cell::write(column, value)),
            });
            out.write_record(&fields.collect::<Result<Vec<_>, _>>()?).map_err(wrong)
        })
        .await?;
    out.flush().map_err(FilesError::io(&file))?;
    Ok(rows)
}

fn is_kept_bytes(table: &Table, column: &Column) -> bool {
    (table.name.as_str(), column.name.as_str()) == BYTES
}

/// Writes a kept file; the field names its place.
fn keep(folder: &Path, row: &Row<'_>, bytes: &[u8]) -> Result<String, FilesError> {
    let place = kept_file(row.blob("hash"));
    let file = folder.join(&place);
    fs::write(&file, bytes).map_err(FilesError::io(&file))?;
    Ok(place)
}

/// A row whose values are asked for by the names of their columns.
struct Row<'a> {
    table: &'a Table,
    row: &'a [Value],
}

impl Row<'_> {
    fn value(&self, name: &str) -> &Value {
        let place = self.table.columns.iter().position(|column| column.name == name);
        place.and_then(|place| self.row.get(place)).unwrap_or(&Value::Null)
    }

    fn blob(&self, name: &str) -> &[u8] {
        if let Value::Blob(bytes) = self.value(name) { bytes } else { &[] }
    }

    fn text(&self, name: &str) -> &str {
        if let Value::Text(text) = self.value(name) { text } else { "" }
    }

    fn integer(&self, name: &str) -> Option<i64> {
        if let Value::Integer(number) = self.value(name) { Some(*number) } else { None }
    }
}

/// What is written once more for people, gathered while the tables are walked.
struct ForPeople<'a> {
    folder: &'a Path,
    shapes: HashMap<Vec<u8>, ShapeParts>,
}

#[derive(Default)]
struct ShapeParts {
    job: Option<i64>,
    dbl_mm: Option<f64>,
    traces: Pair<Option<Trace>>,
    derived: Option<Eye>,
}

impl<'a> ForPeople<'a> {
    fn new(folder: &'a Path) -> Self {
        Self { folder, shapes: HashMap::new() }
    }

    fn see(&mut self, row: &Row<'_>) -> Result<(), FilesError> {
        match row.table.name.as_str() {
            "receipt" => self.write_receipt(row)?,
            "shape" => {
                let parts = self.shapes.entry(row.blob("id").to_vec()).or_default();
                parts.job = row.integer("job_number");
                parts.dbl_mm = row.integer("dbl_hundredths").map(|hundredths| hundredths as f64 / 100.0);
            }
            "shape_eye" => {
                let Some(eye) = Eye::BOTH.into_iter().find(|eye| eye.name() == row.text("eye")) else { return Ok(()) };
                let parts = self.shapes.entry(row.blob("shape_id").to_vec()).or_default();
                let trace = Trace::from_bytes(row.blob("trace")).ok();
                match eye {
                    Eye::Right => parts.traces.right = trace,
                    Eye::Left => parts.traces.left = trace,
                }
                if row.integer("is_mirror") == Some(1) {
                    parts.derived = Some(eye);
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn write_receipt(&self, row: &Row<'_>) -> Result<(), FilesError> {
        let number = row.integer("number").unwrap_or_default();
        let place = |ending: &str| self.folder.join("receipts").join(format!("{number}.{ending}"));
        write_text(&place("json"), row.text("document"))?;
        match Document::from_json(row.text("document")) {
            Ok(document) => write_text(&place("txt"), &PrintedReceipt::of(number, &document).plain_text()),
            // A receipt of a later version; its own text is there.
            Err(_) => Ok(()),
        }
    }

    fn write_shapes(self) -> Result<(), FilesError> {
        for (id, parts) in self.shapes {
            let Pair { right: Some(right), left: Some(left) } = parts.traces else { continue };
            let file = TraceFile {
                job: parts.job.map(|job| job.to_string()),
                dbl_mm: parts.dbl_mm,
                ..TraceFile::of_traces(Pair::new(right, left), parts.derived)
            };
            write_text(&self.folder.join("shapes").join(format!("{}.txt", const_hex::encode(id))), &write(&file))?;
        }
        Ok(())
    }
}
