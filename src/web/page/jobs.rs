//! The page of one job: where it stands, what is next, what was ordered, what has happened.

use askama::Template;
use axum::Router;
use axum::extract::{Path, Query, State};
use axum::routing::get;
use axum::{Form as Posted, response::Response};
use serde::Deserialize;

use super::worn::{WornNote, worn_notes};
use super::{Answer, Chrome, draft_of, form_key, go, posted_job_key, show, show_again};
use crate::lab::deadline::{Lateness, delay_notice};
use crate::lab::job::{Happening, Job, Stage};
use crate::lab::order::{MadeFor, Prescription};
use crate::lab::text;
use crate::optics::Eye;
use crate::optics::prescription::EyePrescription;
use crate::store::draft::{Fields, Once};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new().route("/jobs/{number}", get(show_job)).route("/jobs/{number}/notes", get(new_note).post(add_note))
}

/// The head of every page of a job: its number, whose it is, its stages and its pages.
#[derive(Debug, Clone)]
pub struct JobBar {
    /// The number on the tray.
    pub number: i64,
    /// For whom.
    pub customer: String,
    /// In which frame.
    pub frame: String,
    /// The promise in words, such as `due in 3 days`.
    pub promise: String,
    /// Whether the promised day is past.
    pub is_late: bool,
    /// The stages in order.
    pub stages: Vec<StageMark>,
    /// The pages of the job.
    pub tabs: Vec<Tab>,
}

/// One stage of the bar.
#[derive(Debug, Clone)]
pub struct StageMark {
    /// In words.
    pub name: &'static str,
    /// Whether it lies behind.
    pub is_done: bool,
    /// Whether the job stands here.
    pub is_now: bool,
}

/// One page of the bar.
#[derive(Debug, Clone)]
pub struct Tab {
    /// In words.
    pub name: &'static str,
    /// Where it leads.
    pub path: String,
    /// Whether this is the page.
    pub is_here: bool,
}

impl JobBar {
    /// Every page of a job: key, words, and the end of its address.
    const TABS: [(&'static str, &'static str, &'static str); 13] = [
        ("job", "Job", ""),
        ("shape", "Shape", "/shape"),
        ("lenses", "Lenses", "/lenses"),
        ("layout", "Layout", "/layout"),
        ("edge", "Edge", "/edge"),
        ("worn", "Worn", "/worn"),
        ("prism", "Prism", "/prism"),
        ("risk", "Risk", "/risk"),
        ("cut", "Cut", "/cut"),
        ("check", "Check", "/check"),
        ("packing", "Pack", "/packing"),
        ("shipment", "Send", "/shipment"),
        ("receipt", "Receipt", "/receipt"),
    ];

    /// The bar of a job on its page `here`, by its key, such as `layout`.
    pub fn of(job: &Job, here: &str, state: &AppState) -> Self {
        let reached = job.stage();
        let lateness = Lateness::of(job.promised_on, job.sent_on.is_some(), state.clock.today());
        Self {
            number: job.number,
            customer: job.customer.person.name.clone(),
            frame: job.frame.details.to_string(),
            promise: match job.sent_on {
                Some(day) => format!("sent {}", words::day(&day)),
                None => format!("promised {}, {}", words::weekday(&job.promised_on), lateness.words()),
            },
            is_late: lateness.is_late(),
            stages: Stage::ALL
                .into_iter()
                .map(|s| StageMark { name: s.words(), is_done: s < reached, is_now: s == reached })
                .collect(),
            tabs: Self::TABS
                .into_iter()
                .map(|(key, name, end)| Tab { name, path: format!("/jobs/{}{end}", job.number), is_here: key == here })
                .collect(),
        }
    }
}

/// One eye of the prescription as the pages show it.
#[derive(Debug, Clone)]
pub struct EyeWords {
    /// The lens to be made, in minus-cylinder form.
    pub minus: String,
    /// The same in plus-cylinder form, when it differs.
    pub plus: String,
    /// What was prescribed, when the owner ordered another power for the way the pair is worn.
    pub prescribed: Option<String>,
    /// Prism, empty for none.
    pub prism: String,
    /// As it was typed.
    pub typed: String,
    /// Pupil from the middle of the nose, mm.
    pub pd: String,
    /// Optical centre above the lowest point of the box, mm.
    pub height: String,
    /// What changed since the earlier job, in words.
    pub change: Option<String>,
}

impl EyeWords {
    /// One eye of a job.
    pub fn of(job: &Job, eye: Eye, earlier: Option<&Prescription>) -> Self {
        let rx = job.prescription.eyes.get(eye);
        Self {
            minus: job.lens_power(eye).to_minus().to_string(),
            plus: job.lens_power(eye).to_plus().to_string(),
            prescribed: job.compensated().map(|_| rx.power.to_minus().to_string()),
            prism: if rx.prism.is_none() { String::new() } else { rx.prism.to_string() },
            typed: job.prescription.typed.get(eye).clone(),
            pd: job.prescription.centred_on(job.made_for).mono(eye).to_string(),
            height: job.height.get(eye).to_string(),
            change: earlier.map(|earlier| change_words(earlier.eyes.get(eye), rx)),
        }
    }
}

/// What changed between two prescriptions of an eye, in minus-cylinder form: `-0.50 sphere, axis 5° on`.
pub fn change_words(before: &EyePrescription, now: &EyePrescription) -> String {
    let (was, is) = (before.power.to_minus(), now.power.to_minus());
    let step = |h: i32| format!("{}{}.{:02}", if h < 0 { "-" } else { "+" }, h.abs() / 100, h.abs() % 100);
    let mut changes = Vec::new();
    let sphere = is.sphere().hundredths() - was.sphere().hundredths();
    if sphere != 0 {
        changes.push(format!("sphere {}", step(sphere)));
    }
    let cylinder = is.cylinder().hundredths() - was.cylinder().hundredths();
    if cylinder != 0 {
        changes.push(format!("cylinder {}", step(cylinder)));
    }
    match (was.axis(), is.axis()) {
        (Some(was), Some(is)) if was != is => changes.push(format!("axis {was} to {is}, {}°", was.difference_deg(is))),
        (None, Some(is)) => changes.push(format!("axis {is} is new")),
        (Some(_), None) => changes.push("no axis any more".to_owned()),
        _ => {}
    }
    if before.prism != now.prism {
        let words = |rx: &EyePrescription| if rx.prism.is_none() { "none".to_owned() } else { rx.prism.to_string() };
        changes.push(format!("prism {} to {}", words(before), words(now)));
    }
    if changes.is_empty() {
        return "no change".to_owned();
    }
    let is_plus = |rx: &EyePrescription| rx.power.cylinder().hundredths() > 0;
    let forms = if is_plus(before) || is_plus(now) { ", compared in minus-cylinder form" } else { "" };
    format!("{}{forms}", changes.join("; "))
}

#[derive(Template)]
#[template(path = "job/show.html")]
struct JobPage {
    chrome: Chrome,
    bar: JobBar,
    next: Option<NextStep>,
    already: bool,
    delay: Option<String>,
    right: EyeWords,
    left: EyeWords,
    facts: Vec<(&'static str, String)>,
    earlier: Option<i64>,
    customer_id: String,
    has_shape: bool,
    charged: String,
    paid: String,
    owed: String,
    is_owed: bool,
    receipt: Option<i64>,
    prescription_facts: Vec<(&'static str, String)>,
    is_past: bool,
    worn_notes: Vec<WornNote>,
    history: Vec<(String, &'static str, String)>,
}

struct NextStep {
    words: &'static str,
    path: String,
}

#[derive(Deserialize)]
struct Asked {
    already: Option<String>,
}

async fn show_job(State(state): State<AppState>, Path(number): Path<i64>, Query(asked): Query<Asked>) -> Answer {
    let job = state.store.get_job(number).await?;
    show(&page(&state, &job, asked.already.is_some()).await?)
}

fn count_notes(job: &Job) -> i64 {
    job.history.iter().filter(|e| e.happening == Happening::Note).count() as i64
}

fn note_key(job: &Job) -> String {
    form_key("note", job.number, count_notes(job))
}

async fn page(state: &AppState, job: &Job, already: bool) -> Result<JobPage, WebError> {
    let earlier = match job.relens_of {
        Some(number) => Some(state.store.get_job(number).await?.prescription.clone()),
        None => None,
    };
    let today = state.clock.today();
    Ok(JobPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        next: next_step(job.stage(), job.number),
        already,
        delay: delay_notice(job.promised_on, job.sent_on.is_some(), today),
        right: EyeWords::of(job, Eye::Right, earlier.as_ref()),
        left: EyeWords::of(job, Eye::Left, earlier.as_ref()),
        facts: facts(job),
        earlier: job.relens_of,
        customer_id: job.customer.id.to_string(),
        has_shape: job.shape.is_some(),
        charged: job.charged.to_string(),
        paid: job.paid.to_string(),
        owed: job.owed().to_string(),
        is_owed: job.owed().cents() != 0,
        receipt: job.receipt,
        prescription_facts: prescription_facts(&job.prescription),
        is_past: job.prescription.is_past(job.ordered_on),
        worn_notes: worn_notes(state, job).await?,
        history: job
            .history
            .iter()
            .rev()
            .map(|e| (words::moment(&state.clock.local(e.at)), e.happening.words(), e.note.clone()))
            .collect(),
    })
}

fn next_step(reached: Stage, number: i64) -> Option<NextStep> {
    let end = match reached {
        Stage::Taken => "shape",
        Stage::ShapeOnFile => "lenses",
        Stage::LensesInHand => "layout",
        Stage::Cut => "check",
        Stage::Checked => "packing",
        Stage::Packed => "shipment",
        Stage::Sent => return None,
    };
    reached.next_step().map(|words| NextStep { words, path: format!("/jobs/{number}/{end}") })
}

fn facts(job: &Job) -> Vec<(&'static str, String)> {
    let mut facts = vec![
        ("Frame", format!("{}; {}", job.frame.details, job.frame.details.rim.words())),
        (
            "Lens",
            format!("{}, {}, {}", job.material.details.name, job.design.words(), job.material.details.cutting.words()),
        ),
    ];
    if let Some(coating) = &job.coating {
        facts.push(("Coating", coating.details.name.clone()));
    }
    if let Some(tint) = &job.tint {
        facts.push(("Tint", tint.details.name.clone()));
    }
    let made_for = match job.made_for {
        MadeFor::Distance => "distance",
        MadeFor::Near => "reading",
    };
    facts.push(("Made for", format!("{made_for}, PD {}", job.prescription.centred_on(job.made_for))));
    facts.push(("Ordered", words::day(&job.ordered_on)));
    facts.push(("Promised", words::day(&job.promised_on)));
    if !job.note.is_empty() {
        facts.push(("For the bench", job.note.clone()));
    }
    facts
}

fn prescription_facts(prescription: &Prescription) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if !prescription.prescriber.is_empty() {
        facts.push(("Prescriber", prescription.prescriber.clone()));
    }
    if let Some(day) = prescription.written_on {
        facts.push(("Written", words::day(&day)));
    }
    if let Some(day) = prescription.expires_on {
        facts.push(("Good until", words::day(&day)));
    }
    if let Some(near) = prescription.near_pupil_distance {
        facts.push(("Near PD", near.to_string()));
    }
    if !prescription.diagnosis.is_empty() {
        facts.push(("Diagnosis", prescription.diagnosis.clone()));
    }
    facts
}

#[derive(Template)]
#[template(path = "job/note.html")]
struct NotePage {
    chrome: Chrome,
    bar: JobBar,
    key: String,
    form: Form,
}

async fn new_note(State(state): State<AppState>, Path(number): Path<i64>) -> Answer {
    let job = state.store.get_job(number).await?;
    let key = note_key(&job);
    let form = draft_of(&state, &key).await?;
    show(&NotePage { chrome: Chrome::new(&state, ""), bar: JobBar::of(&job, "job", &state), key, form })
}

async fn add_note(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> Result<Response, WebError> {
    let job = state.store.get_job(number).await?;
    let mut form = Form::new(fields);
    let key = posted_job_key(&form, "note", number, count_notes(&job));
    let Some(note) = form.read("note", |t| text::needed("A note", t, 500)) else {
        let bar = JobBar::of(&job, "job", &state);
        return show_again(&NotePage { chrome: Chrome::new(&state, ""), bar, key, form });
    };
    let before = state.store.append_note(&key, number, &note, state.clock.now()).await?;
    // A second tab has the key of the first; what it says is kept as well, unless it says the same.
    let is_kept = job.history.iter().any(|event| event.happening == Happening::Note && event.note == note);
    if matches!(before, Once::Before(_)) && !is_kept {
        state.store.append_note(&note_key(&job), number, &note, state.clock.now()).await?;
    }
    go(&format!("/jobs/{number}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::prescription::read;

    #[test]
    fn says_what_changed() {
        let rx = |text: &str| read(text).unwrap().rx;
        for (before, now, words) in [
            ("-2.25 -1.25 x 95", "-2.25 -1.25 x 95", "no change"),
            ("-2.25 -1.25 x 95", "-2.75 -1.25 x 90", "sphere -0.50; axis 095 to 090, 5°"),
            ("-1.00 DS", "-1.00 -0.50 x 10", "cylinder -0.50; axis 010 is new"),
            // The same lens in the other form is no change.
            ("-2.00 -1.00 x 90", "-3.00 +1.00 x 180", "no change"),
            ("-1.00 DS", "-1.00 DS 1 BI", "prism none to 1.00 base in"),
        ] {
            assert_eq!(change_words(&rx(before), &rx(now)), words, "{before} then {now}");
        }
    }
}
