//! Everything in the book as files: a CSV file for each table, kept files as they came, and, once more for people, the shapes as
//! trace files and the receipts as text and JSON.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::Path;

use super::cell;
use super::files::{BYTES, FORMAT, FilesError, MANIFEST, Manifest, READ_ME, SCHEMA, TableNote, kept_file, table_file};
use super::for_people::{ForPeople, NamedRow};
use crate::store::make_private_folder;
use crate::store::table_walk::{SqlColumn, SqlTable, TableReader, Value};

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
           tables/shape.csv: with its holes, the depth of the rim and what else its own file said.
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

pub(super) fn write_text(file: &Path, text: &str) -> Result<(), FilesError> {
    fs::write(file, text).map_err(FilesError::io(file))
}

async fn write_table(
    book: &mut TableReader,
    table: &SqlTable,
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
            let row = NamedRow { table, row: &row };
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

fn is_kept_bytes(table: &SqlTable, column: &SqlColumn) -> bool {
    (table.name.as_str(), column.name.as_str()) == BYTES
}

/// Writes a kept file; the field names its place.
fn keep(folder: &Path, row: &NamedRow<'_>, bytes: &[u8]) -> Result<String, FilesError> {
    let place = kept_file(row.blob("hash"));
    let file = folder.join(&place);
    fs::write(&file, bytes).map_err(FilesError::io(&file))?;
    Ok(place)
}
