//! Photos of faces that are being measured, and pictures of lenses whose outline is being read. They are kept in memory only, a
//! few at a time, and are gone when the program ends. A photo of a face gets into the book only if the owner keeps it with a job,
//! a picture of a lens when its outline is saved.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use uuid::Uuid;

use crate::desk::attachment::{AttachmentKind, FileFormat, FileRefused, NewFile};
use crate::picture::{Pixel, card_corners, size_px};
use crate::shape::bytes::not_read;

/// How many photos are kept. Each has 8 MB at most.
const MOST: usize = 6;

/// A photo of a face, or a picture of a lens.
#[derive(Debug, Clone, PartialEq)]
pub struct Photo {
    /// The file as it was sent.
    pub file: NewFile,
    /// Pixels across and down, upright.
    pub size_px: (usize, usize),
    /// The corners of the card, where one was found: clockwise as seen, from the top left.
    pub corners: Option<[Pixel; 4]>,
}

impl Photo {
    /// Reads a file that was sent, and looks for a card in it.
    ///
    /// # Errors
    ///
    /// A sentence to stand beside the field.
    pub fn read(name: &str, bytes: &[u8]) -> Result<Self, String> {
        let refused = |why: FileRefused| match (&why, not_read(bytes)) {
            (FileRefused::NoPicture(_), Some(says)) => format!("“{name}”: {says}"),
            _ => why.to_string(),
        };
        let file = NewFile::read(AttachmentKind::Photograph, name, "", bytes).map_err(refused)?;
        let size_px = Self::size_of(&file.name, file.format, bytes)?;
        Ok(Self { file, size_px, corners: card_corners(bytes) })
    }

    /// Pixels across and down of a photo that can be measured.
    ///
    /// # Errors
    ///
    /// A sentence to stand beside the field.
    pub fn size_of(name: &str, format: FileFormat, bytes: &[u8]) -> Result<(usize, usize), String> {
        match format {
            FileFormat::Jpeg | FileFormat::Png => size_px(bytes).map_err(|why| format!("“{name}”: {why}")),
            FileFormat::Webp => Err(format!("“{name}” is a WebP picture: save it as JPEG or PNG")),
            FileFormat::Pdf => Err(FileRefused::NoPicture(name.to_owned()).to_string()),
        }
    }
}

/// The last photos. Cheap to clone.
#[derive(Debug, Clone, Default)]
pub struct Photos(Arc<Mutex<VecDeque<KeptPhoto>>>);

#[derive(Debug)]
struct KeptPhoto {
    key: Uuid,
    photo: Arc<Photo>,
}

impl Photos {
    /// Keeps a photo; its key. The same photo again has the same key.
    pub fn keep(&self, photo: Photo) -> Uuid {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(same) = kept.iter().find(|other| *other.photo == photo) {
            return same.key;
        }
        if kept.len() == MOST {
            kept.pop_front();
        }
        let key = Uuid::now_v7();
        kept.push_back(KeptPhoto { key, photo: Arc::new(photo) });
        key
    }

    /// The photo of a key, while it is kept.
    pub fn find(&self, key: Uuid) -> Option<Arc<Photo>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter().find(|other| other.key == key).map(|kept| kept.photo.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn photo(name: &str) -> Photo {
        let file = NewFile {
            kind: AttachmentKind::Photograph,
            format: FileFormat::Png,
            name: name.to_owned(),
            note: String::new(),
            bytes: Vec::new(),
        };
        Photo { file, size_px: (300, 400), corners: None }
    }

    #[test]
    fn a_photo_in_a_form_that_is_not_read_is_named() {
        let refused = Photo::read("face.heic", b"\x00\x00\x00\x18ftypheic\x00\x00").unwrap_err();
        assert!(refused.contains("face.heic") && refused.contains("HEIC") && refused.contains("JPEG"), "{refused}");
    }

    #[test]
    fn only_the_last_photos_are_kept() {
        let photos = Photos::default();
        let first = photos.keep(photo("0"));
        assert_eq!(photos.keep(photo("0")), first);
        for name in 1..MOST {
            photos.keep(photo(&name.to_string()));
        }
        assert!(photos.find(first).is_some());
        let last = photos.keep(photo("more"));
        assert!(photos.find(first).is_none());
        assert_eq!(photos.find(last).map(|photo| photo.file.name.clone()).as_deref(), Some("more"));
    }

    #[test]
    fn what_cannot_be_measured_is_refused_in_words() {
        let png = b"\x89PNG\r\n\x1a\n rest";
        for (name, bytes, want) in [
            ("a.jpg", &b"<script>"[..], "is not a photograph"),
            ("a.pdf", b"%PDF-1.7", "“a.pdf”: this is a PDF"),
            ("a.webp", b"RIFF\x10\0\0\0WEBPVP8 ", "save it as JPEG or PNG"),
            ("a.png", png, "“a.png”: the picture is damaged"),
            ("a.png", b"", "is empty"),
        ] {
            let why = Photo::read(name, bytes).expect_err(want);
            assert!(why.contains(want), "{why}");
        }
    }
}
