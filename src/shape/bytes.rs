//! What the first bytes of a file tell: text in 16-bit characters, and the kinds that are not read.

use std::borrow::Cow;

/// Text as a spreadsheet saves it in 16-bit characters is turned into UTF-8; anything else stays as it is.
pub fn utf8(bytes: &[u8]) -> Cow<'_, [u8]> {
    let word: fn([u8; 2]) -> u16 = match bytes {
        [0xff, 0xfe, ..] => u16::from_le_bytes,
        [0xfe, 0xff, ..] => u16::from_be_bytes,
        _ => return Cow::Borrowed(bytes),
    };
    let words = bytes[2..].as_chunks::<2>().0.iter().map(|pair| word(*pair));
    let text: String = char::decode_utf16(words).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER)).collect();
    Cow::Owned(text.into_bytes())
}

/// Whether a first line only tells a spreadsheet what parts the columns: `sep=;`.
pub fn is_separator_line(line: &str) -> bool {
    let said = line.trim_start_matches('\u{feff}').trim().trim_matches('"');
    let (name, separator) = said.split_once('=').unwrap_or_default();
    name.trim().eq_ignore_ascii_case("sep") && separator.chars().count() <= 1
}

/// The name of the outermost element of an XML text, without its prefix. What stands before it may be long: a license, say.
pub fn root_name(bytes: &[u8]) -> Option<&[u8]> {
    let after =
        |bytes: &'_ [u8], end: &[u8]| bytes.windows(end.len()).position(|part| part == end).map(|at| at + end.len());
    let mut rest = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    loop {
        rest = rest.trim_ascii_start();
        let skipped = match rest {
            [b'<', b'?', ..] => after(rest, b"?>")?,
            [b'<', b'!', b'-', b'-', ..] => 4 + after(&rest[4..], b"-->")?,
            [b'<', b'!', ..] => after(rest, b">")?,
            _ => break,
        };
        rest = &rest[skipped..];
    }
    let name = rest.strip_prefix(b"<")?;
    let name = name.split(|byte| byte.is_ascii_whitespace() || matches!(byte, b'>' | b'/')).next()?;
    name.rsplit(|byte| *byte == b':').next()
}

/// What a file is and what to do with it, where its first bytes name a kind that is not read.
pub fn not_read(bytes: &[u8]) -> Option<&'static str> {
    let starts = |with: &[u8]| bytes.starts_with(with);
    let holds = |at: usize, what: &[u8]| bytes.get(at..at + what.len()) == Some(what);
    let known = [
        (starts(b"%PDF"), "this is a PDF: save the scan as PNG or JPEG, or the drawing as SVG or DXF"),
        (
            starts(b"PK\x03\x04") || starts(&[0xd0, 0xcf, 0x11, 0xe0]),
            "this is a spreadsheet, a document or a packed folder: save its table as CSV, or unpack it first",
        ),
        (starts(&[0x1f, 0x8b]), "this file is packed: unpack it first"),
        (starts(b"AutoCAD Binary DXF"), "this DXF drawing is in binary form: save it as DXF text (ASCII)"),
        (starts(b"AC10"), "this is a DWG drawing: save it as DXF text (ASCII)"),
        (starts(b"RIFF") && holds(8, b"WEBP"), "this is a WebP picture: save it as PNG or JPEG"),
        (starts(b"GIF8"), "this is a GIF picture: save it as PNG or JPEG"),
        (
            holds(4, b"ftyp"),
            "this is a picture or a film in a form that phones use (HEIC, AVIF, MP4): save or send the picture as JPEG",
        ),
    ];
    known.into_iter().find(|(is_it, _)| *is_it).map(|(_, says)| says)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_in_16_bit_characters_is_read() {
        for little in [true, false] {
            let words = "\u{feff}x\ty\r\n1,5\t−2".encode_utf16();
            let bytes: Vec<u8> = words.flat_map(|w| if little { w.to_le_bytes() } else { w.to_be_bytes() }).collect();
            assert_eq!(&*utf8(&bytes), "x\ty\r\n1,5\t−2".as_bytes());
        }
        assert!(matches!(utf8(b"x,y"), Cow::Borrowed(b"x,y")));
        assert_eq!(&*utf8(&[0xff, 0xfe, b'x']), b"");
    }

    #[test]
    fn the_outermost_element_is_found_behind_anything() {
        let long = format!(
            "<?xml version=\"1.0\"?>\n<!-- {} > -->\n<!DOCTYPE svg>\n<s:svg xmlns:s=\"x\">",
            "words ".repeat(5000)
        );
        for (text, name) in [
            (long.as_str(), Some("svg")),
            ("\u{feff}  <svg/>", Some("svg")),
            ("<html><svg/></html>", Some("html")),
            ("<!-- no end <svg/>", None),
            ("0\nSECTION", None),
            ("", None),
        ] {
            assert_eq!(root_name(text.as_bytes()), name.map(str::as_bytes), "{}", &text[..text.len().min(30)]);
        }
    }

    #[test]
    fn a_line_for_spreadsheets_is_known() {
        for line in ["sep=;", "\u{feff}SEP=,", "\"sep=;\"", "sep=\t"] {
            assert!(is_separator_line(line), "{line}");
        }
        for line in ["", "sep", "DBL=18", "sep=;;", "_sep=;"] {
            assert!(!is_separator_line(line), "{line}");
        }
    }

    #[test]
    fn kinds_that_are_not_read_are_named() {
        for (bytes, name) in [
            (&b"%PDF-1.7\n"[..], "PDF"),
            (b"PK\x03\x04\x14\x00", "spreadsheet"),
            (b"RIFF\x10\x00\x00\x00WEBPVP8 ", "WebP"),
            (b"\x00\x00\x00\x18ftypheic", "HEIC"),
            (b"AC1032\x00", "DWG"),
        ] {
            assert!(not_read(bytes).is_some_and(|says| says.contains(name)), "{name}");
        }
        for bytes in [&b"REQ=FIL\r\n"[..], b"25.1\n", b"\x89PNG\r\n\x1a\n", b"RIFF", b""] {
            assert_eq!(not_read(bytes), None);
        }
    }
}
