//! The rows of a table, whatever a spreadsheet saved it as: separated by commas, semicolons, tabs or bars, in UTF-8, UTF-16
//! or the characters of western Windows.

use std::borrow::Cow;
use std::io::{self, Read};

use csv::StringRecord;
use thiserror::Error;

use super::mark;
use crate::desk::old_record::gathered::ContentMark;

/// The largest table: some 50,000 rows of addresses.
pub const MAX_BYTES: usize = 16 * 1024 * 1024;

/// The most rows, and the most columns.
pub const MAX_ROWS: usize = 50_000;
const MAX_COLUMNS: usize = 120;

/// The most text. A table of other than Western letters has more in UTF-8 than in its own form.
const MAX_TEXT_BYTES: usize = 20 * 1024 * 1024;

/// The longest row. One of nothing but separators has as many cells, and the end of each takes memory.
const MAX_ROW_BYTES: usize = 200_000;

/// How many characters are looked at for what separates the cells.
const LOOKED_AT: usize = 20_000;

/// Why a table is refused. Each says what to do.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TableRefused {
    #[error("there is nothing in the table: choose a file that was saved as CSV")]
    Empty,
    #[error("the table is larger than 16 MB: split it, and bring the parts in one after the other")]
    TooLarge,
    #[error("the table has more than 20 MB of text: split it, and bring the parts in one after the other")]
    TooMuchText,
    #[error("the table has more than 50,000 rows: split it, and bring the parts in one after the other")]
    TooManyRows,
    #[error("row {0} of the table has more than 120 columns: leave out those that are not needed")]
    TooManyColumns(u64),
    #[error(
        "row {0} of the table has more than 200 KB: look for a quotation mark that is not closed, and leave out columns that \
         are not needed"
    )]
    RowTooLong(u64),
    #[error("this is a workbook, not a table: open it in the spreadsheet and save the sheet as CSV")]
    Workbook,
    #[error("this is no text: save the table as CSV from the spreadsheet")]
    NotText,
}

/// A table that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Rows that hold something.
    pub rows: Vec<TableRow>,
    /// Of its bytes.
    pub mark: ContentMark,
}

impl Table {
    /// How many columns its widest row has.
    pub fn width(&self) -> usize {
        self.rows.iter().map(|row| row.ends.len()).max().unwrap_or(0)
    }
}

/// A row of a table. All of its cells are one text: most tables have many empty cells, and each would take 24 bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableRow {
    /// Its place as a spreadsheet counts it.
    pub at: u64,
    text: Box<str>,
    /// Where each cell ends.
    ends: Box<[u32]>,
}

impl TableRow {
    fn of(at: u64, record: &StringRecord) -> Self {
        // A table of 16 MB has no longer cell.
        let ends = record.iter().scan(0, |end, cell| {
            *end += cell.len() as u32;
            Some(*end)
        });
        Self { at, text: record.iter().collect(), ends: ends.collect() }
    }

    /// One of its cells, if it has so many.
    pub fn cell(&self, index: usize) -> Option<&str> {
        let end = *self.ends.get(index)? as usize;
        let start = index.checked_sub(1).map_or(0, |before| self.ends[before] as usize);
        self.text.get(start..end)
    }

    /// All of its cells.
    pub fn cells(&self) -> Vec<String> {
        (0..self.ends.len()).filter_map(|index| self.cell(index)).map(str::to_owned).collect()
    }
}

/// Reads a table.
///
/// # Errors
///
/// [`TableRefused`].
pub fn read(bytes: &[u8]) -> Result<Table, TableRefused> {
    if bytes.len() > MAX_BYTES {
        return Err(TableRefused::TooLarge);
    }
    // A zip archive, or the older form of a workbook.
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(&[0xd0, 0xcf, 0x11, 0xe0]) {
        return Err(TableRefused::Workbook);
    }
    let text = text_of(bytes)?;
    if text.contains('\0') {
        return Err(TableRefused::NotText);
    }
    let text = with_line_feeds(text);
    let rows = rows_of(text.trim_end_matches('\n'))?;
    if rows.is_empty() { Err(TableRefused::Empty) } else { Ok(Table { rows, mark: mark(&[bytes]) }) }
}

/// Every line ends with a line feed. Little is copied: a table may be large.
fn with_line_feeds(text: Cow<'_, str>) -> Cow<'_, str> {
    if !text.contains('\r') {
        return text;
    }
    let mut lines = String::with_capacity(text.len());
    for (index, part) in text.split('\r').enumerate() {
        if index > 0 && !part.starts_with('\n') {
            lines.push('\n');
        }
        lines.push_str(part);
    }
    Cow::Owned(lines)
}

fn rows_of(text: &str) -> Result<Vec<TableRow>, TableRefused> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator_of(text))
        .from_reader(RowByRow { rest: text.as_bytes(), room: 0 });
    // A cell may hold several lines; a spreadsheet counts its row once.
    let (mut rows, mut within, mut record) = (Vec::new(), 0, StringRecord::new());
    loop {
        let row = line_of(text, reader.position()) - within;
        reader.get_mut().room = MAX_ROW_BYTES;
        // A text is always read, but for a row that is too long.
        if !reader.read_record(&mut record).map_err(|_| TableRefused::RowTooLong(row))? {
            return Ok(rows);
        }
        within += record.iter().map(|cell| cell.matches('\n').count() as u64).sum::<u64>();
        if record.len() > MAX_COLUMNS {
            return Err(TableRefused::TooManyColumns(row));
        }
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        if rows.len() > MAX_ROWS {
            return Err(TableRefused::TooManyRows);
        }
        rows.push(TableRow::of(row, &record));
    }
}

/// Hands out a text for one row after the other.
struct RowByRow<'a> {
    rest: &'a [u8],
    /// How many bytes the row may still take. The reader takes some that belong to the next.
    room: usize,
}

impl Read for RowByRow<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.room == 0 && !self.rest.is_empty() {
            return Err(io::Error::from(io::ErrorKind::FileTooLarge));
        }
        let room = into.len().min(self.room);
        let taken = self.rest.read(&mut into[..room])?;
        self.room -= taken;
        Ok(taken)
    }
}

/// The line on which a row begins. Its position is before the empty lines that are skipped.
fn line_of(text: &str, start: &csv::Position) -> u64 {
    let rest = usize::try_from(start.byte()).ok().and_then(|at| text.as_bytes().get(at..)).unwrap_or_default();
    start.line() + rest.iter().take_while(|byte| **byte == b'\n').count() as u64
}

/// What separates the cells: the sign that most rows at the beginning have equally often, outside quotes.
fn separator_of(text: &str) -> u8 {
    let end = text.char_indices().nth(LOOKED_AT).map_or(text.len(), |(at, _)| at);
    let mut counts = [[0usize; 4]; 2];
    let (mut is_quoted, mut in_line) = (false, [0usize; 4]);
    let mut lines: Vec<[usize; 4]> = Vec::new();
    for c in text[..end].chars() {
        match c {
            '"' => is_quoted = !is_quoted,
            '\n' if !is_quoted => lines.push(std::mem::take(&mut in_line)),
            _ if is_quoted => {}
            _ => {
                if let Some(at) = SEPARATORS.iter().position(|separator| char::from(*separator) == c) {
                    in_line[at] += 1;
                }
            }
        }
    }
    lines.push(in_line);
    let first = lines.first().copied().unwrap_or_default();
    for line in &lines {
        for at in 0..SEPARATORS.len() {
            counts[0][at] += usize::from(line[at] > 0 && line[at] == first[at]);
            counts[1][at] += line[at];
        }
    }
    let best = (0..SEPARATORS.len()).max_by_key(|&at| (counts[0][at], counts[1][at], std::cmp::Reverse(at)));
    SEPARATORS[best.unwrap_or(0)]
}

const SEPARATORS: [u8; 4] = [b',', b';', b'\t', b'|'];

/// The text of some bytes.
fn text_of(bytes: &[u8]) -> Result<Cow<'_, str>, TableRefused> {
    match bytes {
        [0xff, 0xfe, rest @ ..] => gathered(units(rest, u16::from_le_bytes)),
        [0xfe, 0xff, rest @ ..] => gathered(units(rest, u16::from_be_bytes)),
        [0xef, 0xbb, 0xbf, rest @ ..] => match std::str::from_utf8(rest) {
            Ok(text) => Ok(Cow::Borrowed(text)),
            Err(_) => gathered(readable(rest)),
        },
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => Ok(Cow::Borrowed(text)),
            Err(_) => gathered(bytes.iter().map(|byte| western(*byte))),
        },
    }
}

/// The characters of damaged UTF-8.
fn readable(bytes: &[u8]) -> impl Iterator<Item = char> + Clone {
    bytes.utf8_chunks().flat_map(|chunk| {
        let damaged = (!chunk.invalid().is_empty()).then_some(char::REPLACEMENT_CHARACTER);
        chunk.valid().chars().chain(damaged)
    })
}

/// The characters of UTF-16.
fn units(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> impl Iterator<Item = char> + Clone {
    let units = bytes.as_chunks::<2>().0.iter().map(move |pair| unit(*pair));
    char::decode_utf16(units).map(|read| read.unwrap_or(char::REPLACEMENT_CHARACTER))
}

/// One text of these characters. They are counted first: a text that grows as it is read takes up to three times its room.
fn gathered<'a>(characters: impl Iterator<Item = char> + Clone) -> Result<Cow<'a, str>, TableRefused> {
    let length = characters.clone().map(char::len_utf8).sum();
    if length > MAX_TEXT_BYTES {
        return Err(TableRefused::TooMuchText);
    }
    let mut text = String::with_capacity(length);
    text.extend(characters);
    Ok(Cow::Owned(text))
}

/// A character of Windows code page 1252, which is ISO 8859-1 but for these (Unicode's mapping table for cp1252).
fn western(byte: u8) -> char {
    const FROM_80: [char; 32] = [
        '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}', '\u{90}', '‘',
        '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
    ];
    match byte {
        0x80..=0x9f => FROM_80[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(bytes: &[u8]) -> Vec<(u64, Vec<String>)> {
        read(bytes).unwrap().rows.iter().map(|row| (row.at, row.cells())).collect()
    }

    fn row(at: u64, cells: &[&str]) -> (u64, Vec<String>) {
        (at, cells.iter().map(|cell| (*cell).to_owned()).collect())
    }

    #[test]
    fn the_same_table_in_every_form() {
        let want = [row(1, &["No", "Name"]), row(2, &["7", "Zoë Ebb"])];
        let plain = "No;Name\r\n7;Zoë Ebb\r\n";
        let utf16 = |unit: fn(u16) -> [u8; 2], mark: [u8; 2]| -> Vec<u8> {
            mark.into_iter().chain(plain.encode_utf16().flat_map(unit)).collect()
        };
        let western: Vec<u8> = plain.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
        for bytes in [
            plain.as_bytes().to_vec(),
            ["\u{feff}", plain].concat().into_bytes(),
            plain.replace(';', ",").into_bytes(),
            plain.replace(';', "\t").replace("\r\n", "\r").into_bytes(),
            plain.replace(';', "|").replace("\r\n", "\n").into_bytes(),
            utf16(u16::to_le_bytes, [0xff, 0xfe]),
            utf16(u16::to_be_bytes, [0xfe, 0xff]),
            western,
        ] {
            assert_eq!(rows(&bytes), want, "{bytes:?}");
        }
        assert_eq!(rows(b"No,Price\n7,5 \x80"), [row(1, &["No", "Price"]), row(2, &["7", "5 €"])]);
        assert_eq!(rows(b"\xef\xbb\xbfNo\nZo\xff\xc3\xab"), [row(1, &["No"]), row(2, &["Zo\u{fffd}ë"])]);
    }

    #[test]
    fn a_row_has_its_cells() {
        let table = read("\u{feff}a,,Zoë,\r7\r\n\r\n,x\n".as_bytes()).unwrap();
        let [first, second, third] = &table.rows[..] else { panic!("{:?}", table.rows) };
        assert_eq!([0, 1, 2, 3, 4].map(|at| first.cell(at)), [Some("a"), Some(""), Some("Zoë"), Some(""), None]);
        assert_eq!((second.cells(), third.cells()), (vec!["7".to_owned()], vec![String::new(), "x".to_owned()]));
        assert_eq!((first.at, second.at, third.at, table.width()), (1, 2, 4, 4));
    }

    #[test]
    fn rows_are_counted_as_a_spreadsheet_does() {
        let text = "No,Note\r\n1,\"two\r\nlines\"\r\n\r\n,\r\n2,\"a, b; c\"\r\n";
        assert_eq!(
            rows(text.as_bytes()),
            [row(1, &["No", "Note"]), row(2, &["1", "two\nlines"]), row(5, &["2", "a, b; c"])]
        );
    }

    #[test]
    fn a_row_may_be_as_long_as_any_row_is() {
        let long = "x".repeat(MAX_ROW_BYTES - 2);
        let blank = "\n".repeat(2 * MAX_ROW_BYTES);
        let table = read(format!("No,Note\n1,{long}\n2,{long}{blank}").as_bytes()).unwrap();
        let lengths: Vec<_> = table.rows.iter().map(|row| (row.at, row.cell(1).map(str::len))).collect();
        assert_eq!(lengths, [(1, Some(4)), (2, Some(long.len())), (3, Some(long.len()))]);
    }

    #[test]
    fn what_is_no_table_is_refused_with_what_to_do() {
        let many = "a\n".repeat(MAX_ROWS + 2);
        let wide = format!("a\n{}", ",".repeat(MAX_COLUMNS));
        let endless = ",".repeat(4_000_000);
        let unclosed = format!("No,Note\n1,\"two\nlines\"\n\n2,\"{}", "x, y\n".repeat(MAX_ROW_BYTES / 4));
        for (bytes, why) in [
            (&b""[..], TableRefused::Empty),
            (b"\r\n ,, \r\n", TableRefused::Empty),
            (b"PK\x03\x04rest", TableRefused::Workbook),
            (b"a,b\n\0\0", TableRefused::NotText),
            (many.as_bytes(), TableRefused::TooManyRows),
            (wide.as_bytes(), TableRefused::TooManyColumns(2)),
            (endless.as_bytes(), TableRefused::RowTooLong(1)),
            (unclosed.as_bytes(), TableRefused::RowTooLong(4)),
            (&[b'\n'; 2 * MAX_ROW_BYTES], TableRefused::Empty),
            (&b"a,\x80\n".repeat(MAX_TEXT_BYTES / 6 + 1), TableRefused::TooMuchText),
            (&vec![b'a'; MAX_BYTES + 1], TableRefused::TooLarge),
        ] {
            assert_eq!(read(bytes).unwrap_err(), why);
        }
    }
}
