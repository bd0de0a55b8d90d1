//! Measuring a customer who is not there: marks on a photo of the face, the pupil distance and the heights that follow from
//! them, and the figures put into the order. The computation is [`crate::picture::face`].

mod form;
pub(in crate::web) mod sheet;
mod shown;

use std::sync::Arc;

use askama::Template;
use axum::Form as Posted;
use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use uuid::Uuid;

use super::files::{PictureUpload, kept_file};
use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::orders::OrderForm;
use super::orders::correction::REASON;
use super::{Chrome, PageResult, form_key, go, key_of, show, show_again};
use crate::desk::attachment::{FileRefused, NewFile};
use crate::desk::id::AttachmentId;
use crate::desk::job::Job;
use crate::desk::step::Step;
use crate::shape::boxing::Boxing;
use crate::shape::layout::frame_pd_mm;
use crate::store::draft::{Fields, KeptDraft, TypingWindow};
use crate::store::once::act;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::photos::Photo;
use crate::web::words::capital;
use form::MeasuringForm;
use shown::{Figures, MarkGroup};

#[derive(Template)]
#[template(path = "measuring/show.html")]
struct MeasuringPage {
    chrome: Chrome,
    bar: Option<JobBar>,
    /// The address of the job or the order.
    base: String,
    form: Form,
    photo: Option<PhotoView>,
    /// A photo was asked for that is no longer kept.
    is_gone: bool,
    /// Pictures that are kept with the job: where each is measured, and its name.
    pictures: Vec<(String, String)>,
    marks: Vec<MarkGroup>,
    /// What is still to be marked.
    missing: Vec<&'static str>,
    figures: Option<Figures>,
    /// Of the form that uses the figures.
    key: String,
    /// Why the order can no longer be corrected.
    refused: Option<String>,
    /// What the prescription asks for.
    caution: Option<String>,
}

/// The photo on the page.
struct PhotoView {
    id: String,
    path: String,
    name: String,
    wide: usize,
    high: usize,
    /// Pixels of the photo for each pixel of the page.
    scale: String,
    view_box: String,
}

/// Whose eyes are measured: a job's customer, or that of an order in the making.
enum Whose {
    Job(Arc<Job>),
    Order(Uuid),
}

/// A photo that is measured: one in memory, or a picture that is kept with the job.
struct MeasuredPhoto {
    id: String,
    path: String,
    name: String,
    size_px: (usize, usize),
    /// In memory; not in the book yet.
    photo: Option<Arc<Photo>>,
}

impl Whose {
    fn base(&self) -> String {
        match self {
            Self::Job(job) => format!("/jobs/{}", job.number),
            Self::Order(key) => format!("/orders/{key}"),
        }
    }

    /// The address where a photo is marked.
    fn marking(&self, photo: &str) -> String {
        format!("{}/measuring?photo={photo}", self.base())
    }

    /// The photo of a key; `None` where it is no longer kept.
    async fn find_photo(&self, state: &AppState, id: &str) -> Result<Option<MeasuredPhoto>, WebError> {
        if let Some(photo) = id.parse().ok().and_then(|key| state.photos.find(key)) {
            let (path, name) = (format!("/photos/{id}"), photo.file.name.clone());
            return Ok(Some(MeasuredPhoto {
                id: id.to_owned(),
                path,
                name,
                size_px: photo.size_px,
                photo: Some(photo),
            }));
        }
        let (Self::Job(job), Ok(file)) = (self, id.parse::<AttachmentId>()) else { return Ok(None) };
        if !state.store.list_files(job.number).await?.iter().any(|kept| kept.id == file) {
            return Ok(None);
        }
        let (name, format, bytes) = state.store.get_file(job.number, file).await?;
        let size_px = Photo::size_of(&name, format, &bytes).map_err(WebError::Malformed)?;
        let path = format!("/jobs/{}/files/{id}", job.number);
        Ok(Some(MeasuredPhoto { id: id.to_owned(), path, name, size_px, photo: None }))
    }

    /// The width of the front as it was traced, or as the frame is stamped, mm.
    async fn frame_mm(&self, state: &AppState) -> Result<Option<f64>, WebError> {
        let Self::Job(job) = self else { return Ok(None) };
        if let Some(shape) = state.store.find_job_shape(job).await? {
            let size = shape.outlines().map(|outline| Boxing::of(&outline));
            let centers_mm = frame_pd_mm(&size.right, &size.left, shape.dbl.to_f64());
            return Ok(Some(centers_mm + (size.right.a_mm + size.left.a_mm) / 2.0));
        }
        let details = &job.frame.details;
        Ok(Some(2.0 * details.eye_size.to_f64() + details.bridge.to_f64()))
    }

    /// Pictures that are kept with the job: where each is measured, and its name.
    async fn pictures(&self, state: &AppState) -> Result<Vec<(String, String)>, WebError> {
        let Self::Job(job) = self else { return Ok(Vec::new()) };
        let files = state.store.list_files(job.number).await?;
        let pictures = files.into_iter().filter(|file| file.is_picture());
        Ok(pictures.map(|file| (self.marking(&file.id.to_string()), file.name)).collect())
    }

    /// What the prescription asks for beyond a photo.
    fn caution(&self) -> Option<String> {
        let Self::Job(job) = self else { return None };
        let strongest_d = job.prescription.strongest_d();
        job.prescription.wants_measured_pd().then(|| {
            format!(
                "A meridian of this job has {strongest_d:.2} D, where a center 1 mm off makes {:.1} prism diopters: ask for a \
                 distance that a professional measured",
                strongest_d / 10.0
            )
        })
    }
}

pub(crate) async fn measure_job(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(fields): Query<Fields>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    show(&page(&state, &Whose::Job(job), Form::new(fields)).await?)
}

pub(crate) async fn measure_order(
    State(state): State<AppState>,
    Path(key): Path<Uuid>,
    Query(fields): Query<Fields>,
) -> PageResult {
    show(&page(&state, &Whose::Order(key), Form::new(fields)).await?)
}

async fn page(state: &AppState, whose: &Whose, mut form: Form) -> Result<MeasuringPage, WebError> {
    let asked = form.value(MeasuringForm::PHOTO).to_owned();
    let photo = if asked.is_empty() { None } else { whose.find_photo(state, &asked).await? };
    let size_px = photo.as_ref().map(|photo| photo.size_px);
    if let Some(found) = photo.as_ref().and_then(|photo| photo.photo.as_ref()?.corners) {
        MeasuringForm::fill_corners(&mut form, found);
    }
    MeasuringForm::fill_usual(&mut form, size_px.unwrap_or_default(), whose.frame_mm(state).await?);
    let (mut missing, mut figures) = (Vec::new(), None);
    if let Some(size_px) = size_px {
        MeasuringForm::take_click(&mut form, size_px);
        let read = MeasuringForm::read(&mut form, size_px);
        figures = read.measured(&mut form).map(|measures| Figures::of(&measures));
        missing = read.missing;
    }
    let per_px = MeasuringForm::per_px(&form, size_px.unwrap_or_default());
    let (job, key) = match whose {
        Whose::Job(job) => (Some(job), form_key(Step::Correction.key(), job.number, Step::Correction.count(job))),
        Whose::Order(key) => (None, key.to_string()),
    };
    Ok(MeasuringPage {
        chrome: Chrome::new(state, if job.is_none() { "order" } else { "" }),
        bar: job.map(|job| JobBar::of(job, "job", state)),
        base: whose.base(),
        is_gone: photo.is_none() && !asked.is_empty(),
        pictures: whose.pictures(state).await?,
        marks: MarkGroup::all(&form),
        photo: photo.map(|photo| PhotoView::of(photo, &form, per_px)),
        missing,
        figures,
        key,
        refused: job.and_then(|job| Step::Correction.refusal(job)),
        caution: whose.caution(),
        form,
    })
}

impl PhotoView {
    fn of(photo: MeasuredPhoto, form: &Form, per_px: f64) -> Self {
        let (wide, high) = photo.size_px;
        let shown = MeasuringForm::shown_px(form);
        Self {
            id: photo.id,
            path: photo.path,
            name: photo.name,
            wide: shown,
            high: (high as f64 / per_px).round() as usize,
            scale: format!("{per_px:.4}"),
            view_box: format!("0 0 {wide} {high}"),
        }
    }
}

pub(crate) async fn keep_photo_of_job(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    sent: Result<Multipart, MultipartRejection>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    keep_photo(&state, &Whose::Job(job), sent).await
}

pub(crate) async fn keep_photo_of_order(
    State(state): State<AppState>,
    Path(key): Path<Uuid>,
    sent: Result<Multipart, MultipartRejection>,
) -> PageResult {
    keep_photo(&state, &Whose::Order(key), sent).await
}

/// Keeps a photo in memory. Nothing is written in the book.
async fn keep_photo(state: &AppState, whose: &Whose, sent: Result<Multipart, MultipartRejection>) -> PageResult {
    let Ok(sent) = sent else { return go(&format!("{}/measuring", whose.base())) };
    let upload = PictureUpload::read(sent, MeasuringForm::FILE).await?;
    let read = match upload.files.first() {
        Some((name, bytes)) => Photo::read(name, bytes),
        None => Err(FileRefused::Missing.to_string()),
    };
    match read {
        Ok(photo) => go(&whose.marking(&state.photos.keep(photo).to_string())),
        Err(why) => {
            let mut form = upload.form;
            form.fail(MeasuringForm::FILE, capital(&why));
            show_again(&page(state, whose, form).await?)
        }
    }
}

pub(crate) async fn show_photo(State(state): State<AppState>, Path(id): Path<String>) -> Result<Response, WebError> {
    let gone = || WebError::NotFound("That photo".to_owned());
    let photo = state.photos.find(key_of(&id, "That photo")?).ok_or_else(gone)?;
    let mut answer = kept_file(&photo.file.name, photo.file.format, photo.file.bytes.clone());
    // It is not to outlive its measuring.
    answer.headers_mut().insert(header::CACHE_CONTROL, header::HeaderValue::from_static("private, no-store"));
    Ok(answer.into_response())
}

/// Puts the figures into the correction of a job, which the owner then looks at and saves with its reason.
pub(crate) async fn use_figures_for_job(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let post = JobPost::read(&state, number, Step::Correction, fields).await?;
    let (job, whose) = (post.job.clone(), Whose::Job(post.job.clone()));
    let Some((photo, figures)) = figures_of(&state, &whose, &post.form).await? else {
        return show_again(&page(&state, &whose, post.form).await?);
    };
    if let Some(file) = photo.filter(|_| post.form.is_checked(MeasuringForm::KEEP, "yes")) {
        // Its own key: the correction is not done yet.
        let key = act(&format!("photo-{number}"), post.form.contents());
        let file = NewFile { note: "photo for the pupil distance".to_owned(), ..file };
        state.store.add_files(&key, number, &[file], state.clock.now()).await?;
    }
    let StepForm { key, form: mut correction } = StepForm::open(&state, &job, Step::Correction).await?;
    figures.fill(&mut correction, &post.form);
    if correction.value(REASON).trim().is_empty() {
        correction.set(REASON, figures.reason());
    }
    state.store.keep_draft(&key, correction.fields(), &TypingWindow::default(), state.clock.now()).await?;
    go(&format!("/jobs/{number}/correction"))
}

/// Puts the figures into an order in the making.
pub(crate) async fn use_figures_for_order(
    State(state): State<AppState>,
    Path(key): Path<Uuid>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let (form, whose) = (Form::new(fields), Whose::Order(key));
    let name = key.to_string();
    let draft = state.store.find_draft(&name).await?.unwrap_or_default();
    if let Some(number) = draft.outcome {
        return go(&format!("/jobs/{number}?already=order"));
    }
    let Some((_, figures)) = figures_of(&state, &whose, &form).await? else {
        return show_again(&page(&state, &whose, form).await?);
    };
    let mut order = Form::new(draft.fields);
    figures.fill(&mut order, &form);
    let kept = state.store.keep_draft(&name, order.fields(), &TypingWindow::default(), state.clock.now()).await?;
    match kept {
        KeptDraft::Aside { key, .. } => go(&format!("/orders/{key}")),
        _ => go(&format!("/orders/{name}")),
    }
}

/// The figures of a posted form, and its photo where that is not in the book yet. `None` where there are none.
async fn figures_of(
    state: &AppState,
    whose: &Whose,
    form: &Form,
) -> Result<Option<(Option<NewFile>, Figures)>, WebError> {
    let mut form = form.clone();
    let Some(measured) = whose.find_photo(state, form.value(MeasuringForm::PHOTO)).await? else { return Ok(None) };
    let read = MeasuringForm::read(&mut form, measured.size_px);
    let figures = read.measured(&mut form).map(|measures| Figures::of(&measures));
    Ok(figures.map(|figures| (measured.photo.map(|photo| photo.file.clone()), figures)))
}
