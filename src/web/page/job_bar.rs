//! What the pages of a job share: the bar at their head, and each eye of the prescription in words.

use crate::desk::deadline::Lateness;
use crate::desk::job::{EyeTask, Job, Stage};
use crate::optics::notation;
use crate::optics::prescription::{EyePrescription, LensPower};
use crate::optics::{Eye, Pair};
use crate::web::{AppState, words};

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
        ("compensation", "Position of wear", "/compensation"),
        ("prism", "Prism", "/prism"),
        ("risk", "Risk", "/risk"),
        ("cut", "Cut", "/cut"),
        ("check", "Check", "/check"),
        ("packing", "Pack", "/packing"),
        ("shipment", "Send", "/shipment"),
        ("bill", "Bill", "/bill"),
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
                .iter()
                .map(|&s| StageMark { name: s.words(), is_done: s < reached, is_now: s == reached })
                .collect(),
            tabs: Self::TABS
                .into_iter()
                .map(|(key, name, end)| Tab { name, path: format!("/jobs/{}{end}", job.number), is_here: key == here })
                .collect(),
        }
    }
}

/// What comes next on a job, in words and with the address of its page.
pub fn next_link(job: &Job) -> Option<(&'static str, String)> {
    job.stage().next().map(|next| (next.words, next.path(job.number)))
}

/// One eye of the prescription as the pages show it.
#[derive(Debug, Clone)]
pub struct EyeWords {
    /// Whether a lens is made.
    pub is_made: bool,
    /// The lens to be made, in minus-cylinder form; what is done where none is.
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
    /// `halved` where one number was given for both eyes; else empty.
    pub pd_mark: &'static str,
    /// Optical centre above the lowest point of the box, mm.
    pub height: String,
    /// What changed since the earlier job, in words.
    pub change: Option<String>,
}

impl EyeWords {
    /// One eye of a job.
    pub fn of(job: &Job, eye: Eye, earlier: Option<&Pair<Option<EyePrescription>>>) -> Self {
        let (rx, task) = (job.prescription.eyes.get(eye), job.eyes.get(eye).task);
        let power = |power: LensPower| match task {
            EyeTask::Make => power.to_string(),
            EyeTask::Balance => format!("{power} {}", task.words()),
            EyeTask::Keep => task.words().to_owned(),
        };
        Self {
            is_made: task.is_made(),
            minus: power(job.lens_power(eye).to_minus()),
            plus: power(job.lens_power(eye).to_plus()),
            prescribed: job.compensated().filter(|_| task == EyeTask::Make).map(|_| rx.power.to_minus().to_string()),
            prism: if rx.prism.is_none() { String::new() } else { rx.prism.to_string() },
            typed: job.prescription.typed.get(eye).clone(),
            pd_mark: job.prescription.centred_on(job.made_for).mark(),
            pd: job.prescription.centred_on(job.made_for).mono(eye).to_string(),
            height: job.eyes.get(eye).height.words(),
            change: earlier
                .and_then(|earlier| *earlier.get(eye))
                .zip(*job.prescribed_eyes().get(eye))
                .map(|(before, now)| change_words(&before, &now)),
        }
    }
}

/// What changed between two prescriptions of an eye, in minus-cylinder form: `-0.50 sphere, axis 5° on`.
pub fn change_words(before: &EyePrescription, now: &EyePrescription) -> String {
    let (was, is) = (before.power.to_minus(), now.power.to_minus());
    let step = |hundredths: i32| notation::signed(f64::from(hundredths) / 100.0);
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
