//! The cut: what the edger is set to, and the record that both lenses were edged.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::compensation::{WearNote, wear_notes};
use super::job_bar::{JobBar, next_link};
use super::job_post::{JobPost, StepForm};
use super::layout::lay_out;
use super::risk::risk_sentence;
use super::ticket::layout_as_made;
use super::{Chrome, PageResult, show, show_again};
use crate::bench::bevel_place::{EDGER_SIZE, eye_words};
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::notes::BenchNotes;
use crate::desk::job::{Event, EventKind, Job, Stage};
use crate::desk::step::Step;
use crate::desk::text;
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};
use crate::store::cut::{EarlierCut, NewCut};
use crate::store::draft::Fields;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "cuts/show.html")]
struct CutPage {
    chrome: Chrome,
    bar: JobBar,
    rim: &'static str,
    material: String,
    notes: BenchNotes,
    wear_notes: Vec<WearNote>,
    risk: String,
    /// What must come first, with its page.
    first: Option<(&'static str, String)>,
    /// Why nothing is cut any more.
    closed: Option<String>,
    done: Vec<String>,
    is_cut: bool,
    /// The field of each lens that is cut, with its eye.
    sizes: Vec<(&'static str, &'static str)>,
    /// What is done with the lenses, in words.
    /// Which lens was cut before the other one was replaced, in a sentence.
    cut_before: &'static str,
    are_cut: &'static str,
    /// Letter, circumference and box width of each lens that is cut.
    traced: Vec<(&'static str, String, String)>,
    /// The last cut on this shape.
    last: Option<String>,
    /// Lessons from remakes on this shape.
    lessons: Vec<String>,
    /// The average of the frame model.
    average: Option<String>,
    key: String,
    form: Form,
}

/// What the edger was set to.
pub(in crate::web) struct CutForm {
    size: Pair<Option<Millimeter>>,
    note: String,
}

impl CutForm {
    pub(in crate::web) const SIZE_RIGHT: &str = "size_right";
    const SIZE_LEFT: &str = "size_left";
    const NOTE: &str = "note";

    /// The field of an eye's size.
    fn size(eye: Eye) -> &'static str {
        match eye {
            Eye::Right => Self::SIZE_RIGHT,
            Eye::Left => Self::SIZE_LEFT,
        }
    }

    /// A lens that is not made has no size.
    fn read(form: &mut Form, job: &Job) -> Option<Self> {
        let mut size = |eye| match job.makes(eye) {
            true => {
                form.read_optional(Self::size(eye), |t| EDGER_SIZE.read(t)).map(Option::unwrap_or_default).map(Some)
            }
            false => Some(None),
        };
        let (right, left) = (size(Eye::Right), size(Eye::Left));
        let note = form.read(Self::NOTE, |t| text::line("A note", t, 300));
        Some(Self { size: Pair::new(right?, left?), note: note? })
    }
}

pub(crate) async fn show_cut(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let form = StepForm::open(&state, &job, Step::Cut).await?;
    show(&page(&state, &job, form).await?)
}

pub(crate) async fn insert_cut(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Cut, fields).await?;
    let Some(CutForm { size, note }) = CutForm::read(&mut post.form, &post.job) else {
        return show_again(&page(&state, &post.job.clone(), post.refused()).await?);
    };
    let cut = NewCut { size, note, layout: layout_as_made(&state, &post.job).await? };
    let done = state.store.insert_cut(&post.act, number, &cut, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.goes_on(&state, done).await,
        None => show_again(&page(&state, &post.job.clone(), post.refused()).await?),
    }
}

/// Lessons from remakes on the shape of a job, the newest first.
pub async fn lesson_words(state: &AppState, job: &Job) -> Result<Vec<String>, WebError> {
    let Some(shape) = job.shape else { return Ok(Vec::new()) };
    let lessons = state.store.list_shape_lessons(shape).await?;
    Ok(lessons
        .into_iter()
        .map(|lesson| format!("{} (job {}, {})", lesson.says, lesson.job, lesson.cause.words()))
        .collect())
}

/// The last cut on a shape: the circumference that was set, what it adds to the traced one, and the note for the next
/// time.
pub fn last_cut_words(cut: &EarlierCut, job: i64, day: &str, laid: Option<&JobLayout>) -> String {
    let of = if cut.job == job { String::new() } else { format!(" for job {}", cut.job) };
    let note = if cut.note.is_empty() { String::new() } else { format!(": {}", cut.note) };
    let sizes = cut.size.iter().filter_map(|(eye, size)| {
        let added = (*size)?;
        let words = match laid {
            Some(laid) => {
                let set_mm = laid.eyes.get(eye).layout.boxing.circumference_mm + added.to_f64();
                format!("{set_mm:.2} ({})", signed_size(added))
            }
            None => signed_size(added),
        };
        Some((eye, words))
    });
    format!("{} mm, {day}{of}{note}", eye_words(sizes, " ").join(", "))
}

fn signed_size(size: Millimeter) -> String {
    if size == Millimeter::ZERO { "0.00".to_owned() } else { format!("{:+.2}", size.to_f64()) }
}

async fn page(state: &AppState, job: &Job, form: StepForm) -> Result<CutPage, WebError> {
    let reached = job.stage();
    let StepForm { key, mut form } = form;
    let last = match job.shape {
        Some(shape) => state.store.find_last_cut(shape).await?,
        None => None,
    };
    // What was set last time on this shape is the place to start from.
    let start = last.as_ref().map_or(Pair::new(None, None), |cut| cut.size);
    for (eye, size) in start.iter() {
        form.set_default(CutForm::size(eye), size.unwrap_or_default().to_string());
    }
    let laid = lay_out(state, job, step_of(&state.lab())).await?;
    let traced = laid.iter().flat_map(|laid| job.made_eyes().map(|eye| laid.eyes.get(eye))).map(|laid| {
        let boxing = &laid.layout.boxing;
        (laid.eye.letter(), format!("{:.2}", boxing.circumference_mm), format!("{:.2}", boxing.a_mm))
    });
    let average = state.store.find_average_cut(job.frame.id).await?;
    let rim = job.frame.details.rim;
    let cut = |e: &&Event| e.kind == EventKind::Cut;
    Ok(CutPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "cut", state),
        rim: rim.words(),
        material: job.material.details.name.clone(),
        notes: BenchNotes::of(rim, &job.material.details, job.tint.as_ref().map(|t| &t.details)),
        wear_notes: wear_notes(state, job).await?,
        risk: risk_sentence(state, job).await?,
        first: next_link(job).filter(|_| reached < Stage::LensesInHand),
        closed: Step::Cut.refusal(job).filter(|_| reached >= Stage::Sent),
        done: job
            .history
            .iter()
            .filter(cut)
            .map(|e| {
                let when = words::moment(&state.clock.local(e.at));
                if e.note.is_empty() { when } else { format!("{when}: {}", e.note) }
            })
            .collect(),
        is_cut: job.stage_of_work() >= Stage::Cut,
        sizes: job.made_eyes().map(|eye| (CutForm::size(eye), eye.name())).collect(),
        cut_before: match (job.stage_of_work() < Stage::Cut, job.made_eyes().find(|eye| job.is_lens_cut(*eye))) {
            (true, Some(Eye::Right)) => {
                "The right lens was cut before. Cut the left one, and look at the right one again."
            }
            (true, Some(Eye::Left)) => {
                "The left lens was cut before. Cut the right one, and look at the left one again."
            }
            _ => "",
        },
        are_cut: match job.single_eye() {
            None => "Both lenses are cut",
            Some(Eye::Right) => "The right lens is cut",
            Some(Eye::Left) => "The left lens is cut",
        },
        traced: traced.collect(),
        last: last
            .map(|cut| last_cut_words(&cut, job.number, &words::day(&state.clock.local(cut.at).date()), laid.as_ref())),
        lessons: lesson_words(state, job).await?,
        average: average.map(|(mm, lenses)| format!("{mm:+.2} mm over {lenses} lenses")),
        key,
        form,
    })
}
