//! The customer's own frame: received on a day, its condition noted, photographed.

use askama::Template;
use axum::extract::{Multipart, Path, State};

use super::files::{FileView, PictureUpload, SentFile, list_files, named, read_files};
use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::attachment::{AttachmentKind, NewFile};
use crate::desk::job::{EventKind, Job, Stage};
use crate::desk::own_frame::{MOST_CONDITION, OwnFrameArrival};
use crate::desk::step::Step;
use crate::desk::text;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::{iso, parse_day};
use crate::web::{AppState, words};

/// On the photographs of a frame that came in.
const AS_IT_CAME: &str = "the customer’s frame as it came";

#[derive(Template)]
#[template(path = "own_frame/show.html")]
struct OwnFramePage {
    chrome: Chrome,
    bar: JobBar,
    is_expected: bool,
    arrival: Option<Arrival>,
    earlier: i64,
    sent_back: Option<String>,
    files: Vec<FileView>,
    entry: Option<StepForm>,
}

/// How the frame came in.
struct Arrival {
    received: String,
    condition: String,
    noted: String,
}

async fn page(state: &AppState, job: &Job, refused: Option<StepForm>) -> Result<OwnFramePage, WebError> {
    let number = job.number;
    let entry = match Step::OwnFrame.refusal(job) {
        Some(_) => None,
        None => {
            let mut entry = StepForm::again_or_open(refused, state, job, Step::OwnFrame).await?;
            entry.form.set_default(OwnFrameForm::RECEIVED_ON, iso(&state.clock.today()));
            Some(entry)
        }
    };
    let arrival = state.store.find_own_frame(number).await?;
    Ok(OwnFramePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        is_expected: job.is_for_own_frame(),
        arrival: arrival.map(|noted| Arrival {
            received: words::day(&noted.arrival.received_on),
            condition: noted.arrival.condition,
            noted: words::moment(&state.clock.local(noted.at)),
        }),
        earlier: (job.count(EventKind::OwnFrameReceived) - 1).max(0),
        sent_back: job.sent_on.filter(|_| job.stage() == Stage::Sent).map(|day| words::day(&day)),
        files: list_files(state, number).await?.into_iter().filter(|file| file.is_picture).collect(),
        entry,
    })
}

pub(crate) async fn show_own_frame(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    show(&page(&state, &job, None).await?)
}

pub(crate) async fn receive_own_frame(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    sent: Multipart,
) -> PageResult {
    let upload = PictureUpload::read(sent, OwnFrameForm::PHOTOGRAPHS).await?;
    let mut post = JobPost::read_with_files(&state, number, Step::OwnFrame, upload.form, named(&upload.files)).await?;
    let Some(OwnFrameForm { arrival, photographs }) = OwnFrameForm::read(&mut post.form, &upload.files, &state) else {
        return show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?);
    };
    let now = state.clock.now();
    let done = state.store.receive_own_frame(&post.act, number, &arrival, &photographs, now).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?),
    }
}

/// The form as it was sent.
pub(in crate::web) struct OwnFrameForm {
    arrival: OwnFrameArrival,
    photographs: Vec<NewFile>,
}

impl OwnFrameForm {
    const RECEIVED_ON: &str = "received_on";
    pub(in crate::web) const CONDITION: &str = "condition";
    const PHOTOGRAPHS: &str = "photographs";

    fn read(form: &mut Form, files: &[SentFile], state: &AppState) -> Option<Self> {
        let today = state.clock.today();
        let received_on = form.read(Self::RECEIVED_ON, |t| match parse_day(t) {
            Ok(day) if day > today => Err("This day is in the future".to_owned()),
            read => read,
        });
        let condition = form.read(Self::CONDITION, |t| text::needed("The condition", t, MOST_CONDITION));
        let photographs = read_files(form, Self::PHOTOGRAPHS, AttachmentKind::Photograph, AS_IT_CAME, files);
        let arrival = OwnFrameArrival { received_on: received_on?, condition: condition? };
        Some(Self { arrival, photographs: photographs? })
    }
}
