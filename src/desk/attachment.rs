//! Photographs and letters that are kept with a job.

use strum::{EnumString, IntoStaticStr, VariantArray};
use thiserror::Error;
use time::OffsetDateTime;

use super::id::AttachmentId;
use super::key::keyed;

/// The largest file. A photograph of a telephone has 2 to 6 MB.
pub const MOST_BYTES: usize = 8 * 1024 * 1024;

/// Most files in one form.
pub const MOST_FILES: usize = 6;

/// The longest note.
pub const MOST_NOTE: usize = 300;

/// What a kept file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum AttachmentKind {
    /// The bytes a shape was read from.
    Trace,
    /// A picture.
    Photograph,
    /// A letter or another document.
    Letter,
}

keyed!(AttachmentKind);

impl AttachmentKind {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            AttachmentKind::Trace => "trace file",
            AttachmentKind::Photograph => "photograph",
            AttachmentKind::Letter => "letter",
        }
    }
}

/// The formats that are kept, told by the first bytes of the file. Its name proves nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum FileFormat {
    Jpeg,
    Png,
    Webp,
    Pdf,
}

keyed!(FileFormat);

impl FileFormat {
    /// What the first bytes say. Sources: ISO/IEC 10918-1 (marker SOI), ISO/IEC 15948 (PNG signature), RFC 9649 (WebP in
    /// RIFF), ISO 32000-2 (header of a PDF file).
    pub fn of(bytes: &[u8]) -> Option<Self> {
        match bytes {
            [0xFF, 0xD8, 0xFF, ..] => Some(Self::Jpeg),
            [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1A, b'\n', ..] => Some(Self::Png),
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some(Self::Webp),
            [b'%', b'P', b'D', b'F', b'-', ..] => Some(Self::Pdf),
            _ => None,
        }
    }

    /// Whether a page can show it.
    pub fn is_picture(self) -> bool {
        self != Self::Pdf
    }

    /// The content type it is sent with.
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::Webp => "image/webp",
            Self::Pdf => "application/pdf",
        }
    }

    /// The usual ending of its name.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
            Self::Webp => "webp",
            Self::Pdf => "pdf",
        }
    }
}

/// Why a file is not kept.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum FileRefused {
    /// Nothing was chosen.
    #[error("Choose a file")]
    Missing,
    /// The file is empty.
    #[error("“{0}” is empty")]
    Empty(String),
    /// The file is too large.
    #[error("“{0}” is larger than 8 MB: save it smaller")]
    TooLarge(String),
    /// Another format.
    #[error("“{0}” is not a photograph: choose a JPEG, PNG or WebP picture")]
    NoPicture(String),
    /// Another format.
    #[error("“{0}” is not a picture or a PDF: choose a JPEG, PNG, WebP or PDF file")]
    NoDocument(String),
    /// Too many at once.
    #[error("At most 6 files at a time: choose fewer, and add the others after")]
    TooMany,
}

/// A file to keep, whose format is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewFile {
    pub kind: AttachmentKind,
    pub format: FileFormat,
    pub name: String,
    pub note: String,
    pub bytes: Vec<u8>,
}

impl NewFile {
    /// Checks a file that was sent.
    ///
    /// # Errors
    ///
    /// [`FileRefused`].
    pub fn read(kind: AttachmentKind, name: &str, note: &str, bytes: &[u8]) -> Result<Self, FileRefused> {
        let name = file_name(name);
        if bytes.is_empty() {
            return Err(FileRefused::Empty(name));
        }
        if bytes.len() > MOST_BYTES {
            return Err(FileRefused::TooLarge(name));
        }
        match FileFormat::of(bytes) {
            Some(format) if format.is_picture() || kind == AttachmentKind::Letter => {
                Ok(Self { kind, format, name, note: note.to_owned(), bytes: bytes.to_vec() })
            }
            _ if kind == AttachmentKind::Letter => Err(FileRefused::NoDocument(name)),
            _ => Err(FileRefused::NoPicture(name)),
        }
    }
}

/// The name of a file without its folders and control characters, short enough to keep.
pub fn file_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or("");
    let clean: String = last.chars().filter(|c| !c.is_control()).take(120).collect();
    if clean.trim().is_empty() { "file".to_owned() } else { clean.trim().to_owned() }
}

/// A file that is kept, without its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptFile {
    pub id: AttachmentId,
    pub kind: AttachmentKind,
    /// `None` for a trace.
    pub format: Option<FileFormat>,
    pub name: String,
    pub note: String,
    pub added_at: OffsetDateTime,
}

impl KeptFile {
    /// Whether a page can show it.
    pub fn is_picture(&self) -> bool {
        self.format.is_some_and(FileFormat::is_picture)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PNG: &[u8] = b"\x89PNG\r\n\x1a\n rest";

    #[test]
    fn the_first_bytes_say_what_a_file_is() {
        for (bytes, format) in [
            (&b"\xFF\xD8\xFF\xE0 JFIF"[..], Some(FileFormat::Jpeg)),
            (PNG, Some(FileFormat::Png)),
            (b"RIFF\x10\0\0\0WEBPVP8 ", Some(FileFormat::Webp)),
            (b"%PDF-1.7", Some(FileFormat::Pdf)),
            (b"RIFF\x10\0\0\0WAVEfmt ", None),
            (b"<svg xmlns=\"http://www.w3.org/2000/svg\">", None),
            (b"<html>", None),
            (b"GIF89a", None),
            (b"\xFF\xD8", None),
            (b"", None),
        ] {
            assert_eq!(FileFormat::of(bytes), format, "{bytes:?}");
        }
    }

    #[test]
    fn a_wrong_file_is_refused_in_words() {
        let read = |kind, name: &str, bytes: &[u8]| NewFile::read(kind, name, "", bytes).map(|file| file.name);
        let photograph = AttachmentKind::Photograph;
        assert_eq!(read(photograph, "C:\\pictures\\frame.png", PNG), Ok("frame.png".to_owned()));
        assert_eq!(read(photograph, "a.jpg", b""), Err(FileRefused::Empty("a.jpg".into())));
        assert_eq!(read(photograph, "a.jpg", b"<script>"), Err(FileRefused::NoPicture("a.jpg".into())));
        assert_eq!(read(photograph, "a.pdf", b"%PDF-1.7"), Err(FileRefused::NoPicture("a.pdf".into())));
        assert_eq!(read(AttachmentKind::Letter, "a.pdf", b"%PDF-1.7"), Ok("a.pdf".to_owned()));
        assert_eq!(read(AttachmentKind::Letter, "a.doc", b"doc"), Err(FileRefused::NoDocument("a.doc".into())));
        let large = [PNG, &vec![0; MOST_BYTES]].concat();
        assert_eq!(read(photograph, "a.png", &large), Err(FileRefused::TooLarge("a.png".into())));
        assert_eq!(file_name("../..\u{7}/ \n"), "file");
    }
}
