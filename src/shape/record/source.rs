//! The bytes of a file, taken line by line, or further where a binary list has line ends among its bytes.

use std::borrow::Cow;

/// A place in the bytes of a file.
pub(super) struct Source<'a> {
    bytes: &'a [u8],
    at: usize,
    /// Lines begun so far.
    line: usize,
}

/// A line without its ending.
pub(super) struct SourceLine<'a> {
    /// From 1.
    pub(super) number: usize,
    /// Where it starts in the file.
    pub(super) start: usize,
    pub(super) bytes: &'a [u8],
}

impl<'a> Source<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        let at = if bytes.starts_with(b"\xef\xbb\xbf") { 3 } else { 0 };
        Self { bytes, at, line: 0 }
    }

    /// The next line. CR LF, LF and CR all end one.
    pub(super) fn next_line(&mut self) -> Option<SourceLine<'a>> {
        let rest = self.bytes.get(self.at..).filter(|rest| !rest.is_empty())?;
        let start = self.at;
        let length = rest.iter().position(|byte| matches!(byte, b'\r' | b'\n')).unwrap_or(rest.len());
        self.at += length;
        self.skip_line_end();
        self.line += 1;
        Some(SourceLine { number: self.line, start, bytes: &rest[..length] })
    }

    fn skip_line_end(&mut self) {
        let rest = &self.bytes[self.at..];
        self.at += if rest.starts_with(b"\r\n") { 2 } else { usize::from(!rest.is_empty()) };
    }

    /// The bytes from a place on, lines or not.
    pub(super) fn from(&self, place: usize) -> &'a [u8] {
        self.bytes.get(place..).unwrap_or_default()
    }

    /// The bytes before a place.
    pub(super) fn before(&self, place: usize) -> &'a [u8] {
        self.bytes.get(..place).unwrap_or_default()
    }

    /// Goes on at the end of a binary list of so many lines, and past the end of its last line.
    pub(super) fn go_to(&mut self, place: usize, lines: usize) {
        self.at = place.min(self.bytes.len());
        self.line += lines.saturating_sub(1);
        if self.bytes.get(self.at).is_some_and(|byte| matches!(byte, b'\r' | b'\n')) {
            self.skip_line_end();
        }
    }
}

/// Whether a byte is left out at both ends of a line: spaces, what frames a message, what pads old files.
fn is_padding(byte: &u8) -> bool {
    byte.is_ascii_whitespace() || matches!(byte, 0x0b | 0x1c..=0x1e | 0 | 0x1a)
}

/// A line without its padding.
pub(super) fn trimmed(mut bytes: &[u8]) -> &[u8] {
    while let [first, rest @ ..] = bytes
        && is_padding(first)
    {
        bytes = rest;
    }
    while let [rest @ .., last] = bytes
        && is_padding(last)
    {
        bytes = rest;
    }
    bytes
}

/// Bytes as text: UTF-8, or one character per byte.
pub(super) fn text_of(bytes: &[u8]) -> Cow<'_, str> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(latin_1(bytes)),
    }
}

/// One character per byte.
pub(super) fn latin_1(bytes: &[u8]) -> String {
    bytes.iter().map(|&byte| char::from(byte)).collect()
}
