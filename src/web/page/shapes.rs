//! The shape of a job: put on file from a trace file, a table or a drawing, shown to the boxing system, given back as it
//! came. `picture` reads the outline in a picture.

pub mod export;
pub mod family;
pub mod holes;
pub(crate) mod picture;
pub mod sheets;
pub(in crate::web) mod similar;

use askama::Template;
use axum::Form as Posted;
use axum::body::Bytes;
use axum::extract::{Multipart, Path, State};

use self::family::Family;
use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::sent::{after_rest, not_read, set_typed, start_of};
use super::{Chrome, PageResult, draft_of, go, key_of, show, show_again};
use crate::desk::attachment::{AttachmentKind, FileFormat, FileRefused, KeptFile, MOST_BYTES, NewFile};
use crate::desk::drilling::HoleTableRow;
use crate::desk::frame::Rim;
use crate::desk::frame_shape::{
    BOX_SIDE, CIRCUMFERENCE, DBL, DblSource, FrameShape, NewShape, Original, ShapeChange, ShapeOrigin, ShapeRefused,
};
use crate::desk::id::ShapeId;
use crate::desk::job::{Job, Stage};
use crate::desk::lab::Lab;
use crate::desk::step::Step;
use crate::desk::text;
use crate::intake::first_of;
use crate::optics::direction::place_words;
use crate::optics::notation::short;
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};
use crate::picture::{format_of, size_px};
use crate::shape::boxing::Boxing;
use crate::shape::corner::Bends;
use crate::shape::drawing::{self, Placed, Unit};
use crate::shape::hole::Hole;
use crate::shape::layout::frame_pd_mm;
use crate::shape::outline::Outline;
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::store::shape::EarlierShape;
use crate::web::AppState;
use crate::web::download::{TEXT, download};
use crate::web::drawing::EyeDrawing;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::photos::Photo;
use crate::web::twins::apart_words;
use crate::web::words::{self, capital, eye_class};

/// Faults shown at once; the parser itself stops at about a hundred.
const FAULTS_SHOWN: usize = 20;

#[derive(Template)]
#[template(path = "shapes/show.html")]
struct ShapePage {
    chrome: Chrome,
    bar: JobBar,
    kept: Option<ShapeOnFile>,
    already_cut: bool,
    /// Whether the form holds what was typed at an earlier visit.
    is_filled_in: bool,
    /// Whether another shape was asked for at an earlier visit.
    is_change_typed: bool,
    /// Whether the lenses are held by holes.
    is_drilled: bool,
    key: String,
    form: Form,
    stamped_bridge: String,
    /// The other job that the file names, once it was asked about.
    asked_about: Option<String>,
    pictures: Vec<KeptFile>,
    faults: Vec<String>,
    more_faults: usize,
    /// The jobs whose shape may be used where this one has none, with its size.
    on_file_for_frame: Vec<(i64, String)>,
    /// Why nothing of the shape is changed any more.
    refused: Option<String>,
}

/// A kept shape in words and figures.
struct ShapeOnFile {
    eyes: [EyeShape; 2],
    frame_pd: String,
    dbl: String,
    dbl_from: &'static str,
    cautions: Vec<String>,
    from_file: String,
    from_job: Option<i64>,
    /// Whether it was read from a file that can be given back.
    has_file: bool,
    /// The holes of a drilled mount.
    holes: Vec<HoleTableRow>,
    /// The shapes it was made from and those made from it.
    family: Family,
    /// Other jobs that use it.
    jobs: Vec<i64>,
    /// Shapes of other jobs that look like it: the job, and how far apart.
    alike: Vec<(i64, String)>,
    /// Those that the job had before.
    earlier: Vec<EarlierRow>,
}

/// An earlier shape of the job.
struct EarlierRow {
    id: ShapeId,
    /// Its file, or how it was made.
    name: String,
    size: String,
    since: String,
}

impl EarlierRow {
    fn of(state: &AppState, shape: &EarlierShape) -> Self {
        Self {
            id: shape.id,
            name: earlier_name(shape),
            size: shape.size.to_string(),
            since: words::moment(&state.clock.local(shape.since)),
        }
    }
}

fn earlier_name(shape: &EarlierShape) -> String {
    if shape.file.is_empty() { shape.origin.words().to_owned() } else { shape.file.clone() }
}

struct EyeShape {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    is_mirror: bool,
    drawing: EyeDrawing,
    figures: Vec<(&'static str, String, &'static str)>,
}

/// What an upload brings.
#[derive(Default)]
struct ShapeUpload {
    form: Form,
    file: Option<(String, Bytes)>,
}

pub(crate) async fn show_shape(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job_or_record(number).await?;
    let form = StepForm::open(&state, &job, Step::Shape).await?;
    show(&page(&state, &job, form, Vec::new()).await?)
}

pub(crate) async fn keep_shape(State(state): State<AppState>, Path(number): Path<i64>, sent: Multipart) -> PageResult {
    let ShapeUpload { form, file } = read_upload(sent).await?;
    let bytes = file.as_ref().map(|(name, bytes)| (name.as_str(), bytes.as_ref()));
    let mut post = JobPost::read_with_files(&state, number, Step::Shape, form, bytes).await?;
    if let Some((name, _)) = file.as_ref().filter(|(_, bytes)| bytes.len() > MOST_BYTES) {
        post.form.fail(ShapeForm::FILE, FileRefused::TooLarge(file_name(name)));
        return show_again(&page(&state, &post.job.clone(), post.refused(), Vec::new()).await?);
    }
    if let Some((name, bytes)) = file.as_ref().filter(|(_, bytes)| format_of(bytes).is_some()) {
        return hold_picture(&state, post, name, bytes).await;
    }
    let shape = match ShapeForm::read(&mut post.form, file, post.job.frame.details.bridge) {
        Ok(shape) => shape,
        Err(faults) => return show_again(&page(&state, &post.job.clone(), post.refused(), faults).await?),
    };
    if let Some(other) = other_job(&state, &shape, number).await?
        && !post.form.is_checked(ShapeForm::OTHER_JOB, &other.to_string())
    {
        let ask = format!(
            "The file is named for job {other}, and this is job {number}. If it is the shape of this frame too, tick the \
             box and choose the file again"
        );
        post.form.fail(ShapeForm::OTHER_JOB, &ask);
        let mut page = page(&state, &post.job.clone(), post.refused(), Vec::new()).await?;
        page.asked_about = Some(other.to_string());
        return show_again(&page);
    }
    match put_on_file(&state, &mut post, &shape, None).await? {
        Some(done) if is_doubtful(&state, number).await? => post.done(done),
        Some(done) => post.goes_on(&state, done).await,
        None => show_again(&page(&state, &post.job.clone(), post.refused(), Vec::new()).await?),
    }
}

/// Puts a shape on file, with the new picture that it was read in. `None` where a field refused it.
async fn put_on_file(
    state: &AppState,
    post: &mut JobPost,
    shape: &NewShape,
    picture: Option<&NewFile>,
) -> Result<Option<Once<()>>, WebError> {
    post.form.kept(state.put_on_file(&post.act, post.job.number, shape, picture).await)
}

/// The other job of the book that a file names.
async fn other_job(state: &AppState, shape: &NewShape, number: i64) -> Result<Option<i64>, WebError> {
    let Some(named) = shape.names_other_job(number) else { return Ok(None) };
    match state.store.get_job_or_record(named).await {
        Ok(_) | Err(StoreError::Erased { .. }) => Ok(Some(named)),
        Err(StoreError::NotFound(_)) => Ok(None),
        Err(why) => Err(why.into()),
    }
}

/// Makes another shape from the one on file.
pub(crate) async fn change_shape(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Shape, fields).await?;
    if post.is_outdated {
        return ask_about_newer_shape(&state, post, WAY).await;
    }
    let shape = kept_shape(&state, number).await?;
    let made = read_change(&mut post.form).and_then(|change| match shape.changed(change) {
        Ok(child) => Some((change, child)),
        Err(why) => {
            post.form.fail(WAY, why);
            None
        }
    });
    let Some((change, child)) = made else {
        return show_again(&page(&state, &post.job.clone(), post.refused(), Vec::new()).await?);
    };
    let now = state.clock.now();
    let done = state.store.keep_child_shape(&post.act, number, (shape.id, &change.words()), &child, now).await?;
    post.done(done)
}

const WAY: &str = "way";

/// What is typed in the other two forms of the page is kept under their names before the key of the step.
const HOLES_DRAFT: &str = "holes";
const CHANGE_DRAFT: &str = "change";

/// The page again, for holes or a change that were typed beside an earlier shape: sent once more, they are done.
async fn ask_about_newer_shape(state: &AppState, mut post: JobPost, field: &str) -> PageResult {
    let says = "A newer shape was put on file after this page was opened. It is shown now: send this again if it is meant for \
                that shape";
    post.form.fail(field, says);
    show_again(&page(state, &post.job.clone(), post.refused_as_outdated(), Vec::new()).await?)
}

/// What the form asks for; a sentence stands beside a wrong field.
fn read_change(form: &mut Form) -> Option<ShapeChange> {
    match form.value(WAY) {
        "smooth" => Some(ShapeChange::Smoothed),
        "box" => {
            let (a, b) = (form.value("box_a").trim().to_owned(), form.value("box_b").trim().to_owned());
            if a.is_empty() && b.is_empty() {
                form.fail("box_a", "Type a width, a height, or both");
                return None;
            }
            let side = |form: &mut Form, name: &str, typed: &str| match typed {
                "" => Some(None),
                _ => form.read(name, |text| BOX_SIDE.read(text)).map(Some),
            };
            match (side(form, "box_a", &a)?, side(form, "box_b", &b)?) {
                (Some(a), Some(b)) => Some(ShapeChange::Box { a, b }),
                (Some(a), None) => Some(ShapeChange::Width(a)),
                (None, Some(b)) => Some(ShapeChange::Height(b)),
                (None, None) => None,
            }
        }
        _ => form.read("circumference", |text| CIRCUMFERENCE.read(text)).map(ShapeChange::Circumference),
    }
}

/// Uses the shape of another job in the same frame.
pub(crate) async fn borrow_shape(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let post = JobPost::read(&state, number, Step::Shape, fields).await?;
    if post.is_outdated {
        // A shape came meanwhile: its page shows it.
        return go(&format!("/jobs/{number}/shape"));
    }
    let other: i64 = post.form.value("other").parse().unwrap_or(0);
    let offered = state.store.list_other_shaped_jobs(post.job.frame.id, number, MOST_JOBS).await?;
    if !offered.iter().any(|(job, _)| *job == other) {
        return Err(WebError::NotFound("The shape of that job".to_owned()));
    }
    post.done(state.store.borrow_shape(&post.act, other, number, state.clock.now()).await?)
}

const EARLIER: &str = "earlier";

/// Uses a shape again that the job had before.
pub(crate) async fn use_earlier_shape(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let post = JobPost::read(&state, number, Step::Shape, fields).await?;
    if post.is_outdated {
        return ask_about_newer_shape(&state, post, EARLIER).await;
    }
    let (id, used) = (key_of::<ShapeId>(post.form.value(EARLIER), "That shape")?, kept_shape(&state, number).await?);
    let earlier = state.store.list_earlier_shapes(number, used.id, MOST_EARLIER).await?;
    let Some(shape) = earlier.iter().find(|shape| shape.id == id) else {
        return Err(WebError::NotFound("That earlier shape".to_owned()));
    };
    let says = format!("{}, used again", earlier_name(shape));
    post.done(state.store.use_earlier_shape(&post.act, number, (id, &says), state.clock.now()).await?)
}

/// Earlier shapes listed at once.
const MOST_EARLIER: i64 = 20;

/// Jobs listed at once.
const MOST_JOBS: i64 = 6;

/// Holds a picture in memory; its outline is read on a page of its own, where it can be seen. It is kept with the job when the
/// outline is saved: what shows no lens is not.
async fn hold_picture(state: &AppState, mut post: JobPost, name: &str, bytes: &Bytes) -> PageResult {
    match picture_of(name, bytes) {
        Ok(photo) => {
            let path = format!("/jobs/{}/shape/picture/{}", post.job.number, state.photos.keep(photo));
            // What was typed beside the file holds for the picture too.
            let typed = [ShapeForm::DBL, ShapeForm::EYE].map(|name| (name, post.form.value(name)));
            let typed = typed.into_iter().filter(|(_, value)| !["", "said"].contains(value));
            let typed = form_urlencoded::Serializer::new(String::new()).extend_pairs(typed).finish();
            go(&if typed.is_empty() { path } else { format!("{path}?{typed}") })
        }
        Err(why) => {
            post.form.fail(ShapeForm::FILE, why);
            show_again(&page(state, &post.job.clone(), post.refused(), Vec::new()).await?)
        }
    }
}

/// A picture that a page can show.
fn picture_of(name: &str, bytes: &Bytes) -> Result<Photo, String> {
    let size_px = size_px(bytes).map_err(|why| capital(&why.to_string()))?;
    if !FileFormat::of(bytes).is_some_and(FileFormat::is_picture) {
        return Err("A page cannot show this kind of picture: save it as PNG or JPEG".to_owned());
    }
    let file = NewFile::read(AttachmentKind::Photograph, name, "of the lens or rim", bytes);
    Ok(Photo { file: file.map_err(|why| why.to_string())?, size_px, corners: None })
}

/// Whether its page has something to say about the shape of a job.
async fn is_doubtful(state: &AppState, number: i64) -> Result<bool, WebError> {
    let job = state.store.get_job_or_record(number).await?;
    let Some(shape) = state.store.find_job_shape(&job).await? else { return Ok(false) };
    let (_, warnings) = state.store.get_shape_file(shape.id).await?;
    Ok(!shape.cautions(&warnings, &job.frame.details).is_empty())
}

async fn read_upload(mut sent: Multipart) -> Result<ShapeUpload, WebError> {
    let mut upload = ShapeUpload::default();
    while let Some(part) = sent.next_field().await.map_err(not_read)? {
        let name = part.name().unwrap_or("").to_owned();
        if name == ShapeForm::FILE {
            let file_name = part.file_name().unwrap_or("").to_owned();
            // Of a file that is too large so much is kept that it is said.
            let bytes = start_of(part, MOST_BYTES + 1).await?;
            if !bytes.is_empty() || !file_name.is_empty() {
                upload.file = Some((file_name, bytes.into()));
            }
        } else if let Err(why) = set_typed(&mut upload.form, part).await {
            return Err(after_rest(sent, why).await);
        }
    }
    Ok(upload)
}

/// The fields of the upload.
pub(in crate::web) struct ShapeForm;

impl ShapeForm {
    const FILE: &str = "file";
    const TABLE: &str = "table";
    const EYE: &str = "eye";
    const OTHER_JOB: &str = "other_job";
    const UNIT: &str = "unit";
    const TURN: &str = "turn";
    pub(in crate::web) const DBL: &str = "dbl";

    /// The shape, or the faults of the file; a sentence stands beside each wrong field.
    fn read(
        form: &mut Form,
        file: Option<(String, Bytes)>,
        stamped_bridge: Millimeter,
    ) -> Result<NewShape, Vec<String>> {
        let dbl = form.read_optional(Self::DBL, |text| DBL.read(text));
        let only = Eye::BOTH.into_iter().find(|eye| eye.name() == form.value(Self::EYE));
        let table = form.value(Self::TABLE).to_owned();
        let (field, name, bytes) = match file {
            Some(_) if !table.trim().is_empty() => {
                form.fail(Self::TABLE, "There is a file and a table: send one of them");
                return Err(Vec::new());
            }
            Some((name, bytes)) => (Self::FILE, file_name(&name), bytes),
            None if table.trim().is_empty() => {
                form.fail(Self::FILE, "Choose a trace file, or paste a table of radii");
                return Err(Vec::new());
            }
            None => (Self::TABLE, "pasted table".to_owned(), Bytes::from(table)),
        };
        let Some(dbl) = dbl else { return Err(Vec::new()) };
        if let Some(kind) = drawing::kind_of(&bytes) {
            return Self::read_drawing(form, field, kind, (&name, &bytes), (dbl, stamped_bridge));
        }
        NewShape::read(&bytes, &name, only, dbl, stamped_bridge).map_err(|refused| {
            let place = match refused {
                ShapeRefused::Faults(_) => field,
                ShapeRefused::EyeNamedInFile(_) => Self::EYE,
                ShapeRefused::Dbl(_) => Self::DBL,
            };
            let ShapeRefused::Faults(faults) = refused else {
                form.fail(place, &refused);
                return Vec::new();
            };
            // All of them stand at the head of the page.
            form.fail(place, capital(&first_of(&faults)));
            faults.iter().map(|f| format!("{f}.")).collect()
        })
    }
}

impl ShapeForm {
    /// The shape in a drawing or a list of points.
    fn read_drawing(
        form: &mut Form,
        field: &str,
        kind: drawing::DrawingKind,
        (name, bytes): (&str, &[u8]),
        (dbl, stamped_bridge): (Option<Millimeter>, Millimeter),
    ) -> Result<NewShape, Vec<String>> {
        let only = Eye::BOTH.into_iter().find(|eye| eye.name() == form.value(Self::EYE));
        let turn = form.read_optional(Self::TURN, |text| picture::number(text, -180.0, 180.0, "an angle in degrees"));
        let Some(turn) = turn else { return Err(Vec::new()) };
        let placed = Placed { eye: only, level_deg: turn.unwrap_or(0.0), is_from_back: false };
        let file = match drawing::read(bytes, kind, Unit::named(form.value(Self::UNIT)), placed) {
            Ok(file) => file,
            Err(why) => {
                let place = if why == drawing::DrawingRefused::NoUnit { Self::UNIT } else { field };
                form.fail(place, capital(&why.to_string()));
                return Err(Vec::new());
            }
        };
        let original = Original { bytes, name, origin: ShapeOrigin::Drawn };
        NewShape::of_file(file, original, only, dbl, stamped_bridge).map_err(|refused| {
            let place = if matches!(refused, ShapeRefused::Dbl(_)) { Self::DBL } else { Self::EYE };
            form.fail(place, &refused);
            Vec::new()
        })
    }
}

/// The name of a file without its folders, short enough to keep.
fn file_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or("");
    let short: String = last.chars().take(100).collect();
    match text::line("A file name", &short, 100) {
        Ok(clean) if !clean.is_empty() => clean,
        _ => "trace file".to_owned(),
    }
}

async fn page(state: &AppState, job: &Job, form: StepForm, mut faults: Vec<String>) -> Result<ShapePage, WebError> {
    let StepForm { key, mut form } = form;
    // What was typed in each form of the page stands there, also when another one of them was refused.
    for draft in [key.clone(), format!("{HOLES_DRAFT}-{key}"), format!("{CHANGE_DRAFT}-{key}")] {
        let typed = draft_of(state, &draft).await?;
        let of_form = || typed.fields().iter().filter(|(name, _)| name != "key");
        if !of_form().any(|(name, _)| form.has(name)) {
            of_form().for_each(|(name, value)| form.set(name, value.clone()));
        }
    }
    let kept = match state.store.find_job_shape(job).await? {
        Some(shape) => {
            holes::fill(&mut form, &shape);
            Some(on_file(state, job, &shape).await?)
        }
        None => None,
    };
    let is_typed = |name: &&str| !form.value(name).trim().is_empty();
    let is_filled_in = form.is_fine()
        && ([ShapeForm::DBL, ShapeForm::UNIT, ShapeForm::TURN, ShapeForm::TABLE].iter().any(is_typed)
            || Eye::BOTH.iter().any(|eye| eye.name() == form.value(ShapeForm::EYE)));
    let is_change_typed = ["circumference", "box_a", "box_b"].iter().any(is_typed) || form.value(WAY) == "smooth";
    form.set_default(ShapeForm::EYE, "said");
    form.set_default(WAY, "circumference");
    let on_file_for_frame = match kept {
        Some(_) => Vec::new(),
        None => state.store.list_other_shaped_jobs(job.frame.id, job.number, MOST_JOBS).await?,
    };
    let on_file_for_frame = on_file_for_frame.into_iter().map(|(job, size)| (job, size.to_string())).collect();
    let pictures = state.store.list_files(job.number).await?.into_iter().filter(KeptFile::is_picture);
    let more_faults = faults.len().saturating_sub(FAULTS_SHOWN);
    faults.truncate(FAULTS_SHOWN);
    Ok(ShapePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "shape", state),
        already_cut: job.stage_of_work() >= Stage::Cut,
        is_filled_in,
        is_change_typed,
        is_drilled: job.frame.details.rim == Rim::Drilled,
        kept,
        key,
        pictures: pictures.collect(),
        stamped_bridge: job.frame.details.bridge.to_string(),
        asked_about: None,
        form,
        faults,
        more_faults,
        on_file_for_frame,
        refused: Step::Shape.refusal(job),
    })
}

async fn on_file(state: &AppState, job: &Job, shape: &FrameShape) -> Result<ShapeOnFile, WebError> {
    let (from_file, warnings) = state.store.get_shape_file(shape.id).await?;
    let others = state.store.list_jobs_of_shape(shape.id, MOST_JOBS).await?;
    let alike = state.store.list_twins(shape.id).await?;
    let earlier = state.store.list_earlier_shapes(job.number, shape.id, MOST_EARLIER).await?;
    let family = Family::of(state, shape).await?;
    let outlines = shape.outlines();
    let boxing = outlines.as_ref().map(Boxing::of);
    let lab = state.lab();
    Ok(ShapeOnFile {
        eyes: eye_shapes(shape, &outlines, &boxing),
        holes: HoleTableRow::of(&shape.holes),
        family,
        frame_pd: format!("{:.2}", frame_pd_mm(&boxing.right, &boxing.left, shape.dbl.to_f64())),
        dbl: shape.dbl.to_string(),
        dbl_from: dbl_from(shape),
        cautions: shape
            .cautions(&warnings, &job.frame.details)
            .into_iter()
            .chain(
                Eye::BOTH
                    .into_iter()
                    .filter(|eye| shape.derived != Some(*eye))
                    .flat_map(|eye| bend_words(eye, outlines.get(eye), &lab)),
            )
            .collect(),
        has_file: shape.parent.is_none(),
        jobs: others.into_iter().filter(|number| *number != job.number).collect(),
        alike: alike.iter().map(|twin| (twin.job, apart_words(twin.gap_mm, twin.is_mirrored))).collect(),
        from_file: match shape.origin {
            ShapeOrigin::Resized => "made larger or smaller from an earlier shape".to_owned(),
            ShapeOrigin::Smoothed => "smoothed from an earlier shape".to_owned(),
            ShapeOrigin::Drilled => "an earlier shape with other holes".to_owned(),
            _ => from_file,
        },
        from_job: shape.job_number.filter(|number| *number != job.number),
        earlier: earlier.iter().map(|shape| EarlierRow::of(state, shape)).collect(),
    })
}

fn dbl_from(shape: &FrameShape) -> &'static str {
    match shape.dbl_source {
        DblSource::File => "from the trace file",
        DblSource::Stamp => "not in the file: the bridge stamped on the frame is used",
        DblSource::Typed => "as typed",
    }
}

/// Both eyes, drawn in one scale.
fn eye_shapes(shape: &FrameShape, outlines: &Pair<Outline>, boxing: &Pair<Boxing>) -> [EyeShape; 2] {
    let reach_mm = [boxing.right, boxing.left].iter().map(|b| (b.a_mm / 2.0).max(b.b_mm / 2.0)).fold(0.0, f64::max);
    Eye::BOTH.map(|eye| eye_shape(eye, shape, outlines.get(eye), boxing.get(eye), reach_mm))
}

/// What a wheel cannot do with an outline, a sentence each.
fn bend_words(eye: Eye, outline: &Outline, lab: &Lab) -> Vec<String> {
    let bends = Bends::of(outline);
    let corner = (bends.corner.radius_mm < lab.tight_corner.to_f64()).then(|| {
        format!(
            "The {} eye has a corner of {:.1} mm radius, {}: it may chip, and a bevel is hard to follow there.",
            eye.name(),
            bends.corner.radius_mm,
            place_words(eye, bends.corner.at_deg)
        )
    });
    let wheel_mm = lab.wheel_radius.to_f64();
    let hollow = bends.hollow.filter(|hollow| hollow.radius_mm < wheel_mm).map(|hollow| {
        format!(
            "The {} eye has a hollow of {:.0} mm radius, {}: a wheel of {} mm radius cannot cut it.",
            eye.name(),
            hollow.radius_mm,
            place_words(eye, hollow.at_deg),
            short(wheel_mm)
        )
    });
    corner.into_iter().chain(hollow).collect()
}

fn eye_shape(eye: Eye, shape: &FrameShape, outline: &Outline, boxing: &Boxing, reach_mm: f64) -> EyeShape {
    let holes: Vec<Hole> = shape.holes.get(eye).iter().map(|hole| hole.hole(eye, boxing)).collect();
    EyeShape {
        name: eye.name(),
        letter: eye.letter(),
        class: eye_class(eye),
        is_mirror: shape.derived == Some(eye),
        drawing: EyeDrawing::of_shape(eye, outline, boxing, reach_mm).with_holes(&holes),
        figures: figures(outline, boxing).into_iter().chain(rim_figures(eye, shape)).collect(),
    }
}

fn figures(outline: &Outline, boxing: &Boxing) -> [(&'static str, String, &'static str); 7] {
    [
        ("A, width", format!("{:.2}", boxing.a_mm), "mm"),
        ("B, height", format!("{:.2}", boxing.b_mm), "mm"),
        ("ED", format!("{:.2}", boxing.ed_mm), "mm"),
        ("ED axis", format!("{:.1}", boxing.ed_axis_deg), "°"),
        ("Circumference, flat", format!("{:.2}", boxing.circumference_mm), "mm"),
        ("Area", format!("{:.1}", boxing.area_mm2), "mm²"),
        ("Tightest corner, radius", format!("{:.1}", Bends::of(outline).corner.radius_mm), "mm"),
    ]
}

/// What the depth of a rim says.
fn rim_figures(eye: Eye, shape: &FrameShape) -> Vec<(&'static str, String, &'static str)> {
    let curve = shape.rim_curve_tool_d.get(eye).map(|d| ("Curve of the rim, tool power", format!("{d:.2}"), "D"));
    let rim = shape.rim.get(eye).iter().flat_map(|rim| {
        [
            ("Circumference along the rim", format!("{:.2}", rim.circumference_mm), "mm"),
            ("Tilt of the rim’s plane", format!("{:.1}", rim.tilt_deg), "°"),
        ]
    });
    curve.into_iter().chain(rim).collect()
}

async fn kept_shape(state: &AppState, number: i64) -> Result<FrameShape, WebError> {
    let job = state.store.get_job_or_record(number).await?;
    let shape = state.store.find_job_shape(&job).await?;
    shape.ok_or_else(|| WebError::NotFound(format!("A shape of job {number}")))
}

pub(crate) async fn download_original(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let shape = kept_shape(&state, number).await?;
    let (name, bytes) = state.store.get_original(shape.id).await?;
    let name = if name.contains('.') { name } else { format!("{name}.txt") };
    let kind = FileFormat::of(&bytes).map_or(TEXT, FileFormat::media_type);
    Ok(download(&name, kind, bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_name_loses_its_folders() {
        for (name, want) in [
            ("C:\\traces\\1042.trc", "1042.trc"),
            ("../../etc/passwd", "passwd"),
            ("", "trace file"),
            ("a\u{7}b.txt", "ab.txt"),
        ] {
            assert_eq!(file_name(name), want);
        }
    }
}
