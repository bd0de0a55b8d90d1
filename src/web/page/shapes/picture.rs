//! The outline of a lens in a picture: how large the picture is, the outline over it, points that can be moved, and the shape.
//! A picture that was sent is in memory only, until its outline is saved and it is kept with the job.

use std::sync::Arc;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};

use super::{ShapeForm, put_on_file};
use crate::desk::attachment::NewFile;
use crate::desk::frame_shape::{DBL, NewShape, Original, ShapeOrigin};
use crate::desk::id::AttachmentId;
use crate::desk::job::Job;
use crate::desk::step::Step;
use crate::optics::Eye;
use crate::optics::unit::Millimeter;
use crate::picture::{Ask, PictureRefused, Pixel, Reading, Scale, SeenLens, Subject, read, size_px, stated_dpi};
use crate::shape::boxing::Boxing;
use crate::shape::drawing::Placed;
use crate::shape::outline::Point;
use crate::shape::record::TraceFile;
use crate::store::StoreError;
use crate::store::draft::{Fields, mark};
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::page::job_bar::JobBar;
use crate::web::page::job_post::{JobPost, StepForm};
use crate::web::page::{Chrome, PageResult, draft_of, key_of, show, show_again};
use crate::web::photos::Photo;
use crate::web::words::capital;

/// Points of an outline that can be moved.
const HANDLES: usize = 24;
/// Points of an outline as drawn over the picture.
const LINE_POINTS: usize = 15 * HANDLES;
/// A point is moved by no more than this part of the picture's width.
const MOST_MOVED: f64 = 0.1;

#[derive(Template)]
#[template(path = "shapes/picture.html")]
struct PicturePage {
    chrome: Chrome,
    bar: JobBar,
    key: String,
    /// Under which what is typed here is kept.
    draft: String,
    form: Form,
    id: String,
    /// The address of the picture itself.
    path: String,
    /// This page, with what the outline on it was read as.
    address: String,
    picture: String,
    is_kept: bool,
    /// Pixels across and down.
    size: (usize, usize),
    seen: Option<SeenPicture>,
    stamped_bridge: String,
    /// Why no shape is put on file any more.
    refused: Option<String>,
}

impl PicturePage {
    fn page_path(&self) -> String {
        format!("/jobs/{}/shape/picture/{}", self.bar.number, self.id)
    }
}

/// A picture: one in memory, or one that is kept with the job.
enum Picture {
    Sent(Arc<Photo>),
    Kept { name: String, bytes: Vec<u8> },
}

impl Picture {
    async fn find(state: &AppState, number: i64, id: &str) -> Result<Self, WebError> {
        let key: AttachmentId = key_of(id, "That picture")?;
        if let Some(photo) = state.photos.find(key.0) {
            return Ok(Self::Sent(photo));
        }
        match state.store.get_file(number, key).await {
            Ok((name, _, bytes)) => Ok(Self::Kept { name, bytes }),
            Err(StoreError::NotFound(_)) => Err(WebError::Malformed(
                "That picture is no longer held, and no outline of it was saved. Choose the file again on the page of the \
                 shape."
                    .into(),
            )),
            Err(why) => Err(why.into()),
        }
    }

    /// The file that is to be kept with its outline.
    fn new_file(&self) -> Option<&NewFile> {
        match self {
            Self::Sent(photo) => Some(&photo.file),
            Self::Kept { .. } => None,
        }
    }

    fn name(&self) -> &str {
        match self {
            Self::Sent(photo) => &photo.file.name,
            Self::Kept { name, .. } => name,
        }
    }

    fn bytes(&self) -> &[u8] {
        match self {
            Self::Sent(photo) => &photo.file.bytes,
            Self::Kept { bytes, .. } => bytes,
        }
    }
}

/// What was read, for the page.
struct SeenPicture {
    /// The part of the picture around the outline, where it can be judged.
    view_box: String,
    /// For each lens the line that is level.
    levels: Vec<LevelLine>,
    outlines: Vec<SeenLine>,
    handles: Vec<Handle>,
    /// A point is moved by no more than so many pixels each way.
    most_moved: String,
    radius: String,
    /// Pixels of the picture for one of the words over it.
    text_scale: String,
    sizes: Vec<String>,
    /// Notes with whether each is a doubt.
    notes: Vec<(bool, String)>,
}

/// The line that is level after the turn that was asked for, through the middle of the box of a lens.
struct LevelLine {
    /// x and y of its left end and of its right one.
    ends: [String; 4],
    /// Whether the nose is at its right end. The page says it, so that a picture of the back is not taken for one of the front.
    is_nose_right: bool,
}

/// An outline over the picture, and as it was before points were moved: the page's script moves it from there.
struct SeenLine {
    points: String,
    start: String,
}

/// A point that can be moved, and where it was read.
struct Handle {
    number: usize,
    x: String,
    y: String,
    start: String,
}

/// The fields of the page.
pub(in crate::web) struct PictureForm {
    ask: Ask,
    placed: Placed,
    moves: Vec<(usize, f64, f64)>,
    /// Whether points were moved on an outline that was read otherwise.
    are_moves_dropped: bool,
}

/// What the form asks, the outline as it was read, and the same with the moved points.
struct PictureLook {
    asked: PictureForm,
    /// The fields that it was read as.
    read_as: Form,
    read: Arc<Reading>,
    moved: Reading,
}

/// Beside what was changed after the outline was read.
const CHANGED: &str = "This was changed after the outline was read. It is read again now: look at it, then save it";

impl PictureForm {
    const PICTURE: &str = "picture";
    const SCALE: &str = "scale";
    const DPI: &str = "dpi";
    const CORNERS: &str = "corners";
    const RULER: &str = "ruler";
    const RULER_MM: &str = "ruler_mm";
    const SUBJECT: &str = "subject";
    const SIDE: &str = "side";
    const LEVEL: &str = "level";
    const MOVES: &str = "moves";
    /// What the outline on the page was read as: the marks of both lists below.
    const READ_AS: &str = "read_as";
    /// How the picture is read. Moved points belong to an outline that was read so.
    const ASKED: [&str; 6] = [Self::SCALE, Self::DPI, Self::CORNERS, Self::RULER, Self::RULER_MM, Self::SUBJECT];
    /// How the outline lies.
    const PLACED: [&str; 3] = [ShapeForm::EYE, Self::SIDE, Self::LEVEL];

    fn names() -> impl Iterator<Item = &'static str> {
        let others = [Self::MOVES, ShapeForm::DBL];
        Self::ASKED.into_iter().chain(Self::PLACED).chain(others)
    }

    /// What a page starts with.
    fn fill_usual(form: &mut Form) {
        form.set_default(Self::SCALE, "card");
        form.set_default(Self::SUBJECT, "lens");
        form.set_default(Self::SIDE, "usual");
        // The page of the shape also knows "as the file says".
        if !Eye::BOTH.iter().any(|eye| eye.name() == form.value(ShapeForm::EYE)) {
            form.set(ShapeForm::EYE, Eye::Right.name());
        }
    }

    /// Under which what is typed on a page of a picture is kept. What is typed belongs to the outline on the page, so the
    /// address of that is part of the key.
    fn draft_key(number: i64, id: &str, address: &Form) -> String {
        let own = |name: &str| name == Self::READ_AS || Self::names().any(|own| own == name);
        let fields = address.fields().iter().filter(|(name, value)| own(name) && !value.is_empty());
        let of_picture = std::iter::once((Self::PICTURE.to_owned(), id.to_owned()));
        format!("picture-{number}-{}", mark(&of_picture.chain(fields.cloned()).collect()))
    }

    /// The marks of how the picture is read and how the outline lies.
    fn marks(form: &Form) -> [String; 2] {
        let marked = |names: &[&str]| {
            let typed = |name: &&str| ((*name).to_owned(), form.value(name).trim().to_owned());
            mark(&names.iter().map(typed).collect())
        };
        [marked(&Self::ASKED), marked(&Self::PLACED)]
    }

    /// Points that were moved on an outline that was read otherwise stand nowhere on this one.
    fn drop_strange_moves(form: &mut Form) -> bool {
        let is_strange = match form.value(Self::READ_AS).split_once('-') {
            Some((asked, _)) => !form.value(Self::MOVES).is_empty() && asked != Self::marks(form)[0],
            None => false,
        };
        if is_strange {
            form.set(Self::MOVES, "");
        }
        is_strange
    }

    fn read(form: &mut Form) -> Option<Self> {
        let are_moves_dropped = Self::drop_strange_moves(form);
        form.set(Self::READ_AS, Self::marks(form).join("-"));
        let scale = Self::read_scale(form);
        let subject = if form.value(Self::SUBJECT) == "rim" { Subject::Rim } else { Subject::Lens };
        let level_deg = form.read_optional(Self::LEVEL, |text| number(text, -180.0, 180.0, "an angle in degrees"));
        // Where they cannot be read the outline is shown as it was read.
        let moves = form.read(Self::MOVES, read_moves).unwrap_or_default();
        let is_from_back = match form.value(Self::SIDE) {
            "back" => true,
            "front" => false,
            // A lens that lies on its edge shows its front to a camera above it, and its back to the glass of a scanner.
            _ => matches!(scale, Some(Scale::Dpi(_) | Scale::OfTheFile)),
        };
        let level_deg = level_deg?.unwrap_or(0.0);
        let placed = Placed {
            eye: Eye::BOTH.into_iter().find(|eye| eye.name() == form.value(ShapeForm::EYE)),
            // The picture is turned as it is seen; an outline of the back is mirrored before it is turned.
            level_deg: if is_from_back { -level_deg } else { level_deg },
            is_from_back,
        };
        Some(Self { ask: Ask { scale: scale?, subject }, placed, moves, are_moves_dropped })
    }

    fn read_scale(form: &mut Form) -> Option<Scale> {
        match form.value(Self::SCALE) {
            "card" => Some(Scale::Card),
            "corners" => form.read(Self::CORNERS, |text| {
                let corners = <[Pixel; 4]>::try_from(read_places(text)?);
                corners.map(Scale::CardCorners).map_err(|_| "Mark four corners: four pairs of numbers".to_owned())
            }),
            "ruler" => {
                let ends = form.read(Self::RULER, |text| {
                    <[Pixel; 2]>::try_from(read_places(text)?)
                        .map_err(|_| "Mark two places: two pairs of numbers".to_owned())
                });
                let mm = form.read(Self::RULER_MM, |text| number(text, 20.0, 400.0, "a length in mm"));
                let ([from, to], mm) = ends.zip(mm)?;
                Some(Scale::Ruler { from, to, mm })
            }
            "dpi" => form.read(Self::DPI, |text| number(text, 100.0, 2400.0, "a resolution in dpi")).map(Scale::Dpi),
            _ => Some(Scale::OfTheFile),
        }
    }
}

pub(in crate::web) fn number(text: &str, low: f64, high: f64, what: &str) -> Result<f64, String> {
    let number = text.trim().replace(',', ".").parse::<f64>().ok().filter(|number| (low..=high).contains(number));
    number.ok_or_else(|| format!("Type {what}, {low} to {high}"))
}

/// Places in pixels, `x,y` each, with spaces between them.
fn read_places(text: &str) -> Result<Vec<Pixel>, String> {
    let place = |pair: &str| {
        let (x, y) = pair.split_once(',')?;
        Some(Pixel::new(x.parse().ok()?, y.parse().ok()?))
    };
    let places: Option<Vec<Pixel>> = text.split_whitespace().take(8).map(place).collect();
    places.ok_or_else(|| "Write each place as x,y in pixels, with a space between places".to_owned())
}

/// Moves of handles, `number:x:y` each in pixels.
fn read_moves(text: &str) -> Result<Vec<(usize, f64, f64)>, &'static str> {
    let one = |part: &str| {
        let mut numbers = part.split(':');
        let mut next = || numbers.next()?.parse::<f64>().ok().filter(|number| number.is_finite());
        let (number, x, y) = (next()?, next()?, next()?);
        (0.0..2.0 * HANDLES as f64).contains(&number).then_some((number as usize, x, y))
    };
    let moves: Option<Vec<_>> = text.split_whitespace().take(4 * HANDLES).map(one).collect();
    moves.ok_or("Write each moved point as number:right:down in pixels, with a space between points")
}

pub(crate) async fn show_picture(
    State(state): State<AppState>,
    Path((number, id)): Path<(i64, String)>,
    Query(fields): Query<Fields>,
) -> PageResult {
    let job = state.store.get_job_or_record(number).await?;
    let StepForm { key, mut form } = StepForm::open(&state, &job, Step::Shape).await?;
    let address = Form::new(fields);
    for (name, value) in address.fields() {
        form.set(name, value.clone());
    }
    let picture = Picture::find(&state, number, &id).await?;
    let draft = PictureForm::draft_key(number, &id, &address);
    let typed = draft_of(&state, &draft).await?;
    for name in [PictureForm::MOVES, PictureForm::READ_AS] {
        if typed.has(PictureForm::MOVES) {
            form.set(name, typed.value(name));
        }
    }
    PictureForm::fill_usual(&mut form);
    let look = match address.has(PictureForm::SCALE) {
        true => looked(&state, &mut form, (&id, picture.bytes())).await,
        false => None,
    };
    let form = typed_over(form, &typed);
    show(&page(&state, &job, StepForm { key, form }, (id, &picture, draft), look))
}

/// What was typed since the outline was read stands in the fields again; the picture is shown as it was read.
fn typed_over(read: Form, typed: &Form) -> Form {
    let mut form = Form::new(read.fields().clone());
    for name in PictureForm::names().filter(|name| typed.has(name) && *name != PictureForm::MOVES) {
        form.set(name, typed.value(name));
    }
    for name in PictureForm::names() {
        if let Some(why) = read.error(name).filter(|_| form.value(name) == read.value(name)) {
            form.fail(name, why);
        }
    }
    form
}

/// What the form asks, and the reading. Why there is none stands beside the scale. A picture is read once while its points
/// are moved.
async fn looked(state: &AppState, form: &mut Form, (id, bytes): (&str, &[u8])) -> Option<PictureLook> {
    let asked = PictureForm::read(form)?;
    let read = state.reading.get_or_read((id.to_owned(), asked.ask), async { read(bytes, &asked.ask) }).await;
    match read {
        Ok(read) => {
            let mut moved = Reading::clone(&read);
            move_points(&mut moved, &asked.moves);
            Some(PictureLook { asked, read_as: form.clone(), read, moved })
        }
        Err(why) => {
            let scan = stated_dpi(bytes).filter(|_| why == PictureRefused::NoCard).map(|dpi| {
                format!(". The file states {dpi:.0} dpi: if it is a scan, choose “the resolution that the file states”")
            });
            form.fail(PictureForm::SCALE, capital(&why.to_string()) + &scan.unwrap_or_default());
            None
        }
    }
}

pub(crate) async fn keep_outline(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Shape, fields).await?;
    let id = post.form.value(PictureForm::PICTURE).to_owned();
    let picture = Picture::find(&state, number, &id).await?;
    let seen_as = post.form.value(PictureForm::READ_AS).to_owned();
    PictureForm::fill_usual(&mut post.form);
    let look = looked(&state, &mut post.form, (&id, picture.bytes())).await;
    if look.is_some() {
        ask_for_a_look(&mut post.form, &seen_as);
    }
    let shape = look.as_ref().and_then(|look| {
        shape_of(&mut post.form, look, (picture.name(), picture.bytes()), post.job.frame.details.bridge)
    });
    let done = match &shape {
        Some(shape) => put_on_file(&state, &mut post, shape, picture.new_file()).await?,
        None => None,
    };
    match done {
        Some(done) => post.done(done),
        None => {
            let (job, form) = (post.job.clone(), post.refused());
            let draft = PictureForm::draft_key(number, &id, &form.form);
            show_again(&page(&state, &job, form, (id, &picture, draft), look))
        }
    }
}

/// An outline is saved as it was seen: what was changed meanwhile is looked at first.
fn ask_for_a_look(form: &mut Form, seen_as: &str) {
    let Some((asked, placed)) = seen_as.split_once('-') else { return };
    let [asked_now, placed_now] = PictureForm::marks(form);
    if asked != asked_now {
        form.fail(PictureForm::SCALE, CHANGED);
    } else if placed != placed_now {
        form.fail(PictureForm::LEVEL, CHANGED);
    }
}

/// The shape that the form describes. A sentence stands beside each wrong field.
fn shape_of(form: &mut Form, look: &PictureLook, (name, bytes): (&str, &[u8]), bridge: Millimeter) -> Option<NewShape> {
    let dbl = form.read_optional(ShapeForm::DBL, |text| DBL.read(text));
    let file = look.moved.traces(look.asked.placed);
    let file = file.map_err(|why| form.fail(PictureForm::LEVEL, capital(&why.to_string()))).ok()?;
    let original = Original { bytes, name, origin: ShapeOrigin::Drawn };
    let new = NewShape::of_file(file, original, None, dbl?, bridge);
    new.map_err(|why| form.fail(ShapeForm::DBL, why)).ok().filter(|_| form.is_fine())
}

fn most_moved(reading: &Reading) -> f64 {
    MOST_MOVED * reading.size_px.0 as f64
}

/// Moves the edge with its handles: fully at a handle, less and less toward its neighbors.
fn move_points(reading: &mut Reading, moves: &[(usize, f64, f64)]) {
    let most = most_moved(reading);
    let plane = reading.plane.clone();
    for (index, lens) in reading.lenses.iter_mut().enumerate() {
        let mine = moves.iter().filter(|(number, ..)| number / HANDLES == index);
        let mine: Vec<(f64, f64, f64)> = mine
            .map(|(number, x, y)| ((number % HANDLES) as f64, x.clamp(-most, most), y.clamp(-most, most)))
            .collect();
        if mine.is_empty() {
            continue;
        }
        let count = lens.points.len() as f64;
        let moved = lens.in_the_plane().into_iter().enumerate().map(|(i, point)| {
            let at = i as f64 / count * HANDLES as f64;
            let place = plane.to_px(point);
            let (x, y) = mine.iter().fold((place.x, place.y), |(x, y), (handle, dx, dy)| {
                let away = (at - handle).abs();
                let away = away.min(HANDLES as f64 - away).min(1.0);
                let share = 0.5 + 0.5 * (std::f64::consts::PI * away).cos();
                (x + share * dx, y + share * dy)
            });
            plane.to_mm(Pixel::new(x, y)).minus(lens.middle)
        });
        lens.points = moved.collect();
    }
}

impl SeenPicture {
    fn of(look: &PictureLook) -> Self {
        let PictureLook { asked, read, moved, .. } = look;
        let view = around(read);
        let line = |lens: &SeenLens| -> String {
            let points = lens.in_the_plane();
            // A whole number between handles, so that the page's script finds them.
            let place = |i: usize| written(read.plane.to_px(points[i * points.len() / LINE_POINTS]));
            (0..LINE_POINTS).map(place).collect::<Vec<_>>().join(" ")
        };
        let lenses = || read.lenses.iter().zip(&moved.lenses);
        let handles = lenses().enumerate().flat_map(|(index, (start, moved))| {
            let (start, moved) = (start.in_the_plane(), moved.in_the_plane());
            (0..HANDLES).map(move |handle| {
                let place = |points: &[Point]| read.plane.to_px(points[handle * points.len() / HANDLES]);
                let at = place(&moved);
                Handle {
                    number: index * HANDLES + handle,
                    x: format!("{:.1}", at.x),
                    y: format!("{:.1}", at.y),
                    start: written(place(&start)),
                }
            })
        });
        let dropped = asked.are_moves_dropped.then(|| {
            (
                true,
                "Points were moved on an outline that was read otherwise: they are where this reading has them"
                    .to_owned(),
            )
        });
        let notes = read.notes.iter().map(|note| (note.is_doubt(), note.to_string()));
        let file = moved.traces(asked.placed);
        Self {
            view_box: view.map(|number| format!("{number:.1}")).join(" "),
            levels: (0..read.lenses.len()).map(|index| LevelLine::of(asked, read, index)).collect(),
            text_scale: format!("{:.3}", view[2].max(view[3]) / 1000.0),
            outlines: lenses().map(|(start, moved)| SeenLine { points: line(moved), start: line(start) }).collect(),
            handles: handles.collect(),
            most_moved: format!("{:.1}", most_moved(read)),
            radius: format!("{:.1}", view[2].max(view[3]) / 160.0),
            sizes: file.as_ref().map(sizes).unwrap_or_default(),
            notes: dropped.into_iter().chain(notes).collect(),
        }
    }
}

/// The part of a picture that holds the outlines, with a fifth around them: left, top, width, height.
fn around(reading: &Reading) -> [f64; 4] {
    let points = reading.lenses.iter().flat_map(SeenLens::in_the_plane).map(|point| reading.plane.to_px(point));
    let start = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    let [left, top, right, bottom] = points.fold(start, |[left, top, right, bottom], place| {
        [left.min(place.x), top.min(place.y), right.max(place.x), bottom.max(place.y)]
    });
    let (wide, high) = reading.size_px;
    let margin = 0.2 * (right - left).max(bottom - top);
    let (left, top) = ((left - margin).max(0.0), (top - margin).max(0.0));
    [left, top, (right + margin).min(wide as f64) - left, (bottom + margin).min(high as f64) - top]
}

impl LevelLine {
    fn of(asked: &PictureForm, reading: &Reading, index: usize) -> Self {
        let lens = &reading.lenses[index];
        let turned_deg = if asked.placed.is_from_back { asked.placed.level_deg } else { -asked.placed.level_deg };
        let reach_mm = 0.6 * lens.points.iter().map(|point| 2.0 * point.length_mm()).fold(0.0, f64::max);
        let end = |sign: f64| reading.plane.to_px(lens.middle.plus(Point::polar(sign * reach_mm, turned_deg)));
        let (from, to) = (end(-1.0), end(1.0));
        let is_left_eye = asked.placed.eye == Some(Eye::Left);
        Self {
            ends: [from.x, from.y, to.x, to.y].map(|number| format!("{number:.1}")),
            // Between two lenses; of one, seen from the front, to the right of a right lens.
            is_nose_right: if reading.lenses.len() == 2 {
                index == 0
            } else {
                is_left_eye == asked.placed.is_from_back
            },
        }
    }
}

fn written(place: Pixel) -> String {
    format!("{:.1},{:.1}", place.x, place.y)
}

/// The box of each eye that was read.
fn sizes(file: &TraceFile) -> Vec<String> {
    let outlines = file.outlines();
    let read = Eye::BOTH.into_iter().filter(|eye| file.derived != Some(*eye));
    read.map(|eye| {
        let size = Boxing::of(outlines.get(eye));
        format!("{} eye: A {:.2} mm, B {:.2} mm", capital(eye.name()), size.a_mm, size.b_mm)
    })
    .collect()
}

fn page(
    state: &AppState,
    job: &Job,
    StepForm { key, form }: StepForm,
    (id, picture, draft): (String, &Picture, String),
    look: Option<PictureLook>,
) -> PicturePage {
    let is_kept = matches!(picture, Picture::Kept { .. });
    let mut asked = form_urlencoded::Serializer::new(String::new());
    for name in PictureForm::ASKED.into_iter().chain(PictureForm::PLACED) {
        asked.append_pair(name, look.as_ref().map_or("", |look| look.read_as.value(name)));
    }
    PicturePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "shape", state),
        key,
        draft,
        picture: picture.name().to_owned(),
        path: if is_kept { format!("/jobs/{}/files/{id}", job.number) } else { format!("/photos/{id}") },
        address: format!("/jobs/{}/shape/picture/{id}?{}", job.number, asked.finish()),
        is_kept,
        id,
        size: size_px(picture.bytes()).unwrap_or_default(),
        seen: look.as_ref().map(SeenPicture::of),
        stamped_bridge: job.frame.details.bridge.to_string(),
        refused: Step::Shape.refusal(job),
        form,
    }
}
