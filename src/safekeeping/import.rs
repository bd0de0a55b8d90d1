//! A book from the folder of an export: all of it or nothing.

use std::fs::{self, File};
use std::io::BufReader;
use std::path::Path;

use super::cell;
use super::files::{BYTES, FORMAT, FilesError, MANIFEST, Manifest, table_file};
use crate::store::backup;
use crate::store::fresh_file::{make_it_the_book, remove_unfinished, unfinished};
use crate::store::table_walk::{SqlTable, TableFiller, Value};
use crate::store::{FILE_NAME, Store, make_private_folder};

/// Makes a book of an export in a data folder that has none. Answers a line about it.
///
/// # Errors
///
/// [`FilesError`], which names the file and the line. Nothing is left then.
pub async fn import(folder: &Path, data: &Path) -> Result<String, FilesError> {
    let manifest = read_manifest(folder)?;
    make_private_folder(data).map_err(FilesError::io(data))?;
    if data.join(FILE_NAME).exists() {
        return Err(FilesError::BookThere(data.display().to_string()));
    }
    let clean = || remove_unfinished(data).map_err(FilesError::io(&unfinished(data)));
    clean()?;
    let filled = fill(folder, &manifest, &unfinished(data)).await;
    let Ok(rows) = filled else {
        clean()?;
        return filled.map(|_| String::new());
    };
    make_it_the_book(data).map_err(FilesError::io(data))?;
    let (tables, data) = (manifest.tables.len(), data.display());
    Ok(format!("Made: a book of {rows} rows in {tables} tables in {data}. Start it with `rimbook --data {data}`"))
}

fn read_manifest(folder: &Path) -> Result<Manifest, FilesError> {
    let file = folder.join(MANIFEST);
    let text = fs::read_to_string(&file).map_err(FilesError::io(&file))?;
    let manifest: Manifest = serde_json::from_str(&text).map_err(|why| FilesError::no_export(&file, why))?;
    if manifest.format != FORMAT {
        return Err(FilesError::no_export(&file, format!("the format is “{}”, not “{FORMAT}”", manifest.format)));
    }
    Ok(manifest)
}

async fn fill(folder: &Path, manifest: &Manifest, file: &Path) -> Result<u64, FilesError> {
    let known = Store::newest_version();
    if manifest.schema_version > known {
        let why = format!("made by a newer Rimbook (version {}, this one knows {known})", manifest.schema_version);
        return Err(FilesError::no_export(&folder.join(MANIFEST), why));
    }
    let mut book = TableFiller::create(file, manifest.schema_version).await?;
    let tables = book.tables().await?;
    let names: Vec<&String> = tables.iter().map(|table| &table.name).collect();
    if let Some(unknown) = manifest.tables.keys().find(|name| !names.contains(name)) {
        return Err(FilesError::no_export(&folder.join(MANIFEST), format!("no book has a table {unknown}")));
    }
    let mut rows = 0;
    for table in &tables {
        rows += fill_table(&mut book, table, folder, manifest).await?;
    }
    book.finish().await?;
    // The rest of the migrations, and the words that searches forgive.
    let store = Store::open_file(file).await.map_err(|why| FilesError::Book(why.to_string()))?;
    store.close().await;
    backup::verify(file, None).await?;
    Ok(rows)
}

async fn fill_table(
    book: &mut TableFiller,
    table: &SqlTable,
    folder: &Path,
    manifest: &Manifest,
) -> Result<u64, FilesError> {
    let file = table_file(folder, &table.name);
    let note = manifest
        .tables
        .get(&table.name)
        .ok_or_else(|| FilesError::no_export(&folder.join(MANIFEST), format!("the table {} is missing", table.name)))?;
    let open = BufReader::new(File::open(&file).map_err(FilesError::io(&file))?);
    let mut lines = csv::Reader::from_reader(open);
    let head = lines.headers().map_err(|why| FilesError::no_export(&file, why))?;
    let columns: Vec<&str> = table.columns.iter().map(|column| column.name.as_str()).collect();
    if head.iter().ne(columns.iter().copied()) {
        return Err(FilesError::no_export(&file, format!("the first line is to be {}", columns.join(","))));
    }
    book.clear(table).await?;
    let (mut some, mut count) = (Vec::new(), 0);
    for line in lines.into_records() {
        let line = line.map_err(|why| FilesError::no_export(&file, why))?;
        some.push(read_row(table, folder, &line).map_err(|why| at_line(&file, &line, why))?);
        count += 1;
        if some.len() == TableFiller::most_rows(table) {
            insert(book, table, &file, &line, &mut some).await?;
        }
        if count > note.rows {
            break;
        }
    }
    insert(book, table, &file, &csv::StringRecord::new(), &mut some).await?;
    if count != note.rows {
        return Err(FilesError::no_export(
            &file,
            format!("{} rows were written, and there are not as many", note.rows),
        ));
    }
    Ok(count)
}

fn at_line(file: &Path, line: &csv::StringRecord, why: String) -> FilesError {
    FilesError::Line { file: file.display().to_string(), line: line_number(file, line), why }
}

/// The reader counts a line end of two characters when it goes on reading, so its own number may be one behind.
fn line_number(file: &Path, line: &csv::StringRecord) -> u64 {
    let (Some(position), Ok(bytes)) = (line.position(), fs::read(file)) else { return 0 };
    let start = usize::try_from(position.byte()).unwrap_or(usize::MAX).min(bytes.len());
    let start = start + usize::from(bytes.get(start) == Some(&b'\n'));
    1 + bytes[..start].iter().filter(|byte| **byte == b'\n').count() as u64
}

/// Adds the rows that were read; what the book refuses is one of them.
async fn insert(
    book: &mut TableFiller,
    table: &SqlTable,
    file: &Path,
    line: &csv::StringRecord,
    rows: &mut Vec<Vec<Value>>,
) -> Result<(), FilesError> {
    match book.insert(table, rows).await {
        Ok(()) => {
            rows.clear();
            Ok(())
        }
        Err(why) => {
            let why = FilesError::from(why);
            match line.position() {
                Some(_) => {
                    let says = format!("this row or one of the {} before it is refused: {why}", rows.len() - 1);
                    Err(at_line(file, line, says))
                }
                None => {
                    Err(FilesError::no_export(file, format!("one of the last {} rows is refused: {why}", rows.len())))
                }
            }
        }
    }
}

fn read_row(table: &SqlTable, folder: &Path, line: &csv::StringRecord) -> Result<Vec<Value>, String> {
    let fields = table.columns.iter().zip(line);
    fields
        .map(|(column, field)| match (table.name.as_str(), column.name.as_str()) == BYTES {
            true => read_kept(folder, field),
            false => cell::read(column, field),
        })
        .collect()
}

/// The bytes of a kept file. Its place is one that the export gives, never a path that leads out of the folder.
fn read_kept(folder: &Path, place: &str) -> Result<Value, String> {
    let is_ours = place.strip_prefix("files/").is_some_and(|hash| const_hex::decode(hash).is_ok());
    if !is_ours {
        return Err(format!("“{place}” is no place of a kept file"));
    }
    fs::read(folder.join(place)).map(Value::Blob).map_err(|why| format!("{place}: {why}"))
}
