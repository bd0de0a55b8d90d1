//! Photographs and letters that are kept with a job: shown, added with a note, sent to the browser.

use askama::Template;
use axum::body::Bytes;
use axum::extract::{Multipart, Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::sent::{after_rest, not_read, set_typed, start_of};
use super::{Chrome, PageResult, key_of, show, show_again};
use crate::desk::attachment::{
    AttachmentKind, FileFormat, FileRefused, KeptFile, MOST_BYTES, MOST_FILES, MOST_NOTE, NewFile,
};
use crate::desk::id::AttachmentId;
use crate::desk::job::Job;
use crate::desk::step::Step;
use crate::desk::text;
use crate::picture::too_many_px;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "files/show.html")]
struct FilesPage {
    chrome: Chrome,
    bar: JobBar,
    files: Vec<FileView>,
    key: String,
    form: Form,
}

/// A kept file as a page shows it.
pub(super) struct FileView {
    pub(super) path: String,
    pub(super) is_picture: bool,
    pub(super) kind: &'static str,
    pub(super) name: String,
    pub(super) note: String,
    pub(super) added: String,
}

impl FileView {
    fn of(state: &AppState, number: i64, file: KeptFile) -> Self {
        Self {
            path: format!("/jobs/{number}/files/{}", file.id),
            is_picture: file.is_picture(),
            kind: file.kind.words(),
            added: words::moment(&state.clock.local(file.added_at)),
            name: file.name,
            note: file.note,
        }
    }
}

/// The files of a job in the order in which they were added.
pub(super) async fn list_files(state: &AppState, number: i64) -> Result<Vec<FileView>, WebError> {
    let files = state.store.list_files(number).await?;
    Ok(files.into_iter().map(|file| FileView::of(state, number, file)).collect())
}

async fn page(state: &AppState, job: &Job, form: StepForm) -> Result<FilesPage, WebError> {
    let StepForm { key, mut form } = form;
    form.set_default(FilesForm::KIND, AttachmentKind::Photograph.key());
    Ok(FilesPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        files: list_files(state, job.number).await?,
        key,
        form,
    })
}

pub(crate) async fn show_files(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job_or_record(number).await?;
    let form = StepForm::open(&state, &job, Step::File).await?;
    show(&page(&state, &job, form).await?)
}

pub(crate) async fn add_files(State(state): State<AppState>, Path(number): Path<i64>, sent: Multipart) -> PageResult {
    let upload = PictureUpload::read(sent, FilesForm::FILE).await?;
    let mut post = JobPost::read_with_files(&state, number, Step::File, upload.form, named(&upload.files)).await?;
    let Some(FilesForm { files }) = FilesForm::read(&mut post.form, &upload.files) else {
        return show_again(&page(&state, &post.job.clone(), post.refused()).await?);
    };
    let done = state.store.add_files(&post.act, number, &files, state.clock.now()).await?;
    post.done(done)
}

/// The form as it was sent.
struct FilesForm {
    files: Vec<NewFile>,
}

impl FilesForm {
    const KIND: &str = "kind";
    const FILE: &str = "file";
    const NOTE: &str = "note";

    fn read(form: &mut Form, files: &[SentFile]) -> Option<Self> {
        let kind = form.read(Self::KIND, |t| match AttachmentKind::from_key(t) {
            Some(AttachmentKind::Trace) | None => Err("Choose a photograph or a letter"),
            Some(kind) => Ok(kind),
        });
        let note = form.read(Self::NOTE, |t| text::line("A note", t, MOST_NOTE));
        if files.is_empty() {
            form.fail(Self::FILE, FileRefused::Missing);
        }
        let files = read_files(form, Self::FILE, kind.unwrap_or(AttachmentKind::Letter), &note.clone()?, files);
        kind.and(note)?;
        files.filter(|files| !files.is_empty()).map(|files| Self { files })
    }
}

/// A file as it was sent: its name and its bytes.
pub(super) type SentFile = (String, Bytes);

/// Names and bytes, for the key of the form.
pub(super) fn named(files: &[SentFile]) -> impl Iterator<Item = (&str, &[u8])> {
    files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_ref()))
}

/// Checks the files of a field; the sentence of the first wrong one stands beside it.
pub(super) fn read_files(
    form: &mut Form,
    field: &str,
    kind: AttachmentKind,
    note: &str,
    files: &[SentFile],
) -> Option<Vec<NewFile>> {
    if files.len() > MOST_FILES {
        form.fail(field, FileRefused::TooMany);
        return None;
    }
    let mut read = Vec::new();
    for (name, bytes) in files {
        let file = NewFile::read(kind, name, note, bytes).map_err(|why| why.to_string());
        match file.and_then(|file| can_be_shown(&file).map(|()| file)) {
            Ok(file) => read.push(file),
            Err(why) => {
                form.fail(field, why);
                return None;
            }
        }
    }
    Some(read)
}

/// A short file can state any number of pixels, and would stop the browser that shows it.
fn can_be_shown(file: &NewFile) -> Result<(), String> {
    match too_many_px(&file.bytes) {
        Some((width, height)) => {
            Err(format!("“{}” has {width} by {height} pixels, too many to show: save it smaller", file.name))
        }
        None => Ok(()),
    }
}

/// What an upload with pictures brings.
#[derive(Default)]
pub(super) struct PictureUpload {
    pub(super) form: Form,
    pub(super) files: Vec<SentFile>,
}

impl PictureUpload {
    /// Reads the fields, and the files of one field.
    pub(super) async fn read(mut sent: Multipart, field: &str) -> Result<Self, WebError> {
        let mut upload = Self::default();
        while let Some(part) = sent.next_field().await.map_err(not_read)? {
            let name = part.name().unwrap_or("").to_owned();
            if name == field {
                let file_name = part.file_name().unwrap_or("").to_owned();
                // Of a file that is too large, and of too many, so much is kept that it is said.
                let bytes = start_of(part, MOST_BYTES + 1).await?;
                // A file field that was left empty is sent without a name.
                if (!bytes.is_empty() || !file_name.is_empty()) && upload.files.len() <= MOST_FILES {
                    upload.files.push((file_name, bytes.into()));
                }
            } else if let Err(why) = set_typed(&mut upload.form, part).await {
                return Err(after_rest(sent, why).await);
            }
        }
        Ok(upload)
    }
}

pub(crate) async fn show_file(
    State(state): State<AppState>,
    Path((number, id)): Path<(i64, String)>,
) -> Result<Response, WebError> {
    let id: AttachmentId = key_of(&id, "That file")?;
    let (name, format, bytes) = state.store.get_file(number, id).await?;
    Ok(kept_file(&name, format, bytes))
}

/// The bytes of a kept file. A picture is shown; anything else is saved, never opened by a page of ours. The content type
/// is what its first bytes said; the guard forbids the browser to think otherwise.
pub(super) fn kept_file(name: &str, format: FileFormat, bytes: Vec<u8>) -> Response {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let plain = |c: char| if c.is_ascii_alphanumeric() || "-_ ".contains(c) { c } else { '_' };
    let stem: String = stem.chars().map(plain).collect();
    let how = if format.is_picture() { "inline" } else { "attachment" };
    let headers = [
        (header::CONTENT_TYPE, format.media_type().to_owned()),
        (header::CONTENT_DISPOSITION, format!("{how}; filename=\"{stem}.{}\"", format.ending())),
        // What is kept never changes.
        (header::CACHE_CONTROL, "private, max-age=86400, immutable".to_owned()),
    ];
    (headers, bytes).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_named_by_what_it_is() {
        let picture = kept_file("..\"frame\r\n.html", FileFormat::Png, Vec::new());
        assert_eq!(picture.headers()[header::CONTENT_DISPOSITION], "inline; filename=\"___frame__.png\"");
        assert_eq!(picture.headers()[header::CONTENT_TYPE], "image/png");
        let letter = kept_file("letter", FileFormat::Pdf, Vec::new());
        assert_eq!(letter.headers()[header::CONTENT_DISPOSITION], "attachment; filename=\"letter.pdf\"");
    }
}
