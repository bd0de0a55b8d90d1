//! What the pages of a job share: the bar at their head, and each eye of the prescription in words.

use crate::desk::deadline::Lateness;
use crate::desk::job::{EventKind, EyeTask, Job, Stage};
use crate::desk::money::Cents;
use crate::optics::notation;
use crate::optics::prescription::{EyePrescription, LensPower};
use crate::optics::{Eye, Pair};
use crate::web::{AppState, words};

/// From which meridian on the way a pair is worn matters (common practice).
const WORN_FROM_D: f64 = 5.0;
/// From which difference on the eyes turn behind unlike prism when they look up or down (common practice).
const EYES_DIFFER_FROM_D: f64 = 1.0;

/// The head of every page of a job: its number, whose it is, what comes next, its steps, and the pages beside the step
/// that the page belongs to.
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
    /// What happened last, and when.
    pub last: String,
    /// What to do next, unless this is its page.
    pub next: Option<Link>,
    /// The steps in order, then the bill and the papers.
    pub steps: Vec<StepLink>,
    /// The pages of the step that this page belongs to, where there is more than one.
    pub beside: Vec<BesideLink>,
    /// Which lens stays in the frame, in a sentence for the pages of the steps.
    pub stays: Option<&'static str>,
}

/// A link in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// In words.
    pub words: &'static str,
    /// Where it leads.
    pub path: String,
}

/// One step of the bar.
#[derive(Debug, Clone)]
pub struct StepLink {
    /// In words, and where it leads.
    pub link: Link,
    /// How far it has come: `done`, `next`, `to come`; empty for what is no step.
    pub progress: &'static str,
    /// Whether this page belongs to it.
    pub is_here: bool,
}

/// A page beside a step.
#[derive(Debug, Clone)]
pub struct BesideLink {
    /// In words, and where it leads.
    pub link: Link,
    /// Whether this is the page.
    pub is_here: bool,
    /// Whether it matters little for this job.
    pub is_quiet: bool,
}

/// A step of a job with its pages.
struct StepPages {
    words: &'static str,
    /// The stage that a job has reached once the step is done; `None` for what is no step.
    reaches: Option<Stage>,
    /// Key, words and the end of the address of each page. The first is the page of the step.
    pages: &'static [(&'static str, &'static str, &'static str)],
}

const STEPS: [StepPages; 9] = [
    StepPages { words: "Order", reaches: Some(Stage::Taken), pages: &[("job", "Order", "")] },
    StepPages { words: "Shape", reaches: Some(Stage::ShapeOnFile), pages: &[("shape", "Shape", "/shape")] },
    StepPages {
        words: "Lenses",
        reaches: Some(Stage::LensesInHand),
        pages: &[
            ("lenses", "Lenses in hand", "/lenses"),
            ("blanks", "What to order", "/blanks"),
            ("materials", "Materials compared", "/materials"),
            ("compensation", "Position of wear", "/compensation"),
        ],
    },
    StepPages {
        words: "Lay out and cut",
        reaches: Some(Stage::Cut),
        pages: &[
            ("layout", "Layout", "/layout"),
            ("edge", "Edge and bevel", "/edge"),
            ("cut", "Record the cut", "/cut"),
            ("risk", "Chance to pass", "/risk"),
            ("prism", "Prism between the eyes", "/prism"),
        ],
    },
    StepPages { words: "Check", reaches: Some(Stage::Checked), pages: &[("check", "Check", "/check")] },
    StepPages { words: "Pack", reaches: Some(Stage::Packed), pages: &[("packing", "Pack", "/packing")] },
    StepPages { words: "Send", reaches: Some(Stage::Sent), pages: &[("shipment", "Send", "/shipment")] },
    StepPages { words: "Bill", reaches: None, pages: &[("bill", "Bill", "/bill")] },
    StepPages { words: "Papers", reaches: None, pages: &[("papers", "Papers", "/papers")] },
];

/// What is said of an eye whose prescription stays.
pub const NO_CHANGE: &str = "no change";

impl JobBar {
    /// The bar of a job on its page `here`, by its key, such as `layout`.
    pub fn of(job: &Job, here: &str, state: &AppState) -> Self {
        let cancelled = job.last(EventKind::Cancelled);
        let lateness = Lateness::of(job.promised_on, job.has_left(), state.clock.today());
        Self {
            number: job.number,
            customer: job.customer.person.name.clone(),
            frame: job.frame.details.to_string(),
            promise: match (cancelled, job.sent_on) {
                _ if job.old.is_some() => "an old record".to_owned(),
                (Some(event), _) => format!("canceled {}", words::day(&state.clock.local(event.at).date())),
                (None, Some(day)) => format!("sent {}", words::day(&day)),
                (None, None) if job.has_left() => "to be sent again".to_owned(),
                (None, None) => format!("promised {}, {}", words::weekday(&job.promised_on), lateness.words()),
            },
            is_late: lateness.is_late() && cancelled.is_none() && job.old.is_none(),
            last: job.history.last().map_or_else(String::new, |event| {
                format!("{}, {}", event.kind.words(), words::moment(&state.clock.local(event.at)))
            }),
            next: next_from(job, here),
            steps: steps(job, here),
            beside: beside(job, here),
            stays: job.single_eye().filter(|_| job.old.is_none()).map(|made| match made {
                Eye::Right => "One lens: this job makes the right one. The left lens stays as it is.",
                Eye::Left => "One lens: this job makes the left one. The right lens stays as it is.",
            }),
        }
    }
}

/// The next step of a job as seen from one of its pages. The layout leads on to the record of the cut.
pub fn next_from(job: &Job, here: &str) -> Option<Link> {
    let (words, path) = next_link(job)?;
    let step = STEPS.iter().find(|step| step.has(here))?;
    let is_laid_out = job.stage() == Stage::LensesInHand && step.reaches == Some(Stage::Cut);
    match here {
        "cut" if is_laid_out => None,
        _ if is_laid_out => Some(Link { words: "record the cut", path: format!("/jobs/{}/cut", job.number) }),
        _ => Some(Link { words, path }).filter(|next| next.path != step.path(job.number)),
    }
}

impl StepPages {
    fn has(&self, here: &str) -> bool {
        self.pages.iter().any(|page| page.0 == here)
    }

    /// The address of the page of the step.
    fn path(&self, number: i64) -> String {
        format!("/jobs/{number}{}", self.pages[0].2)
    }
}

fn steps(job: &Job, here: &str) -> Vec<StepLink> {
    let reached = job.stage_of_work();
    let next = Stage::OF_WORK.iter().find(|stage| **stage > reached);
    let progress = |reaches: Option<Stage>| match reaches {
        _ if job.old.is_some() => "",
        None => "",
        Some(stage) if stage <= reached => "done",
        Some(_) if job.is_cancelled() => "",
        Some(stage) if Some(&stage) == next => "next",
        Some(_) => "to come",
    };
    // Nothing is made of an old record.
    let is_there = |step: &&StepPages| job.old.is_none() || ["job", "shape"].iter().any(|page| step.has(page));
    STEPS
        .iter()
        .filter(is_there)
        .map(|step| StepLink {
            link: Link { words: step.words, path: step.path(job.number) },
            progress: progress(step.reaches),
            is_here: step.has(here),
        })
        .collect()
}

fn beside(job: &Job, here: &str) -> Vec<BesideLink> {
    let pages = STEPS.iter().find(|step| step.has(here)).map_or(&[][..], |step| step.pages);
    if pages.len() < 2 {
        return Vec::new();
    }
    pages
        .iter()
        .map(|&(key, words, end)| BesideLink {
            link: Link { words, path: format!("/jobs/{}{end}", job.number) },
            is_here: key == here,
            is_quiet: is_quiet(key, job),
        })
        .collect()
}

/// Whether a page of advice matters little for a job: the position of wear of a weak pair whose power nobody decided
/// on, and the prism between eyes that are nearly alike and have none prescribed (common practice).
fn is_quiet(key: &str, job: &Job) -> bool {
    match key {
        "compensation" => job.power_decision.is_none() && job.prescription.strongest_d() < WORN_FROM_D,
        "prism" => {
            job.prescription.eyes.iter().all(|(_, eye)| eye.prism.is_none())
                && job.prescription.eyes_differ_by_d() < EYES_DIFFER_FROM_D
        }
        _ => false,
    }
}

/// What comes next on a job, in words and with the address of its page. A sent job may still lack its receipt; of a
/// cancelled one nothing may be charged.
pub fn next_link(job: &Job) -> Option<(&'static str, String)> {
    match job.stage().next() {
        Some(next) => Some((next.words, next.path(job.number))),
        None if job.old.is_none() && job.receipt.is_none() && !(job.is_cancelled() && job.charged == Cents::ZERO) => {
            Some(("issue the receipt", format!("/jobs/{}/bill", job.number)))
        }
        None => None,
    }
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
    /// Optical center above the lowest point of the box, mm.
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
            pd_mark: job.prescription.centered_on(job.made_for).mark(),
            pd: job.prescription.centered_on(job.made_for).mono(eye).to_string(),
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
        (Some(_), None) => changes.push("no axis now".to_owned()),
        _ => {}
    }
    if before.prism != now.prism {
        let words = |rx: &EyePrescription| if rx.prism.is_none() { "none".to_owned() } else { rx.prism.to_string() };
        changes.push(format!("prism {} to {}", words(before), words(now)));
    }
    if changes.is_empty() {
        return NO_CHANGE.to_owned();
    }
    let is_plus = |rx: &EyePrescription| rx.power.cylinder().hundredths() > 0;
    let forms = if is_plus(before) || is_plus(now) { ", compared in minus-cylinder form" } else { "" };
    format!("{}{forms}", changes.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::job::{Event, EventKind};
    use crate::desk::sample::round_job;
    use crate::optics::prescription::read;

    fn job_after(rx: &str, kinds: &[EventKind]) -> Job {
        let at = time::OffsetDateTime::UNIX_EPOCH;
        let history = kinds.iter().map(|&kind| Event { kind, note: String::new(), by: None, at }).collect();
        Job { history, ..round_job(rx, "31/33") }
    }

    #[test]
    fn every_page_leads_on_but_not_to_itself() {
        use EventKind::*;
        let in_hand = job_after("-4.00 sph", &[Taken, ShapeKept, LensRight, LensLeft]);
        let cut = job_after("-4.00 sph", &[Taken, ShapeKept, LensRight, LensLeft, Cut]);
        for (job, here, end) in [
            (&in_hand, "job", Some("/layout")),
            (&in_hand, "lenses", Some("/layout")),
            (&in_hand, "layout", Some("/cut")),
            (&in_hand, "edge", Some("/cut")),
            (&in_hand, "cut", None),
            (&cut, "cut", Some("/check")),
            (&cut, "job", Some("/check")),
            (&cut, "check", None),
            (&cut, "bill", Some("/check")),
        ] {
            let next = next_from(job, here).map(|next| next.path);
            assert_eq!(next, end.map(|end| format!("/jobs/{}{end}", job.number)), "from {here}");
        }
    }

    #[test]
    fn advice_is_quiet_where_it_matters_little() {
        for (rx, quiet) in [("-4.75 sph", vec!["compensation"]), ("-5.00 sph", vec![]), ("-4.00 -1.00 x 10", vec![])] {
            let job = job_after(rx, &[]);
            let found: Vec<_> = ["lenses", "compensation"].into_iter().filter(|key| is_quiet(key, &job)).collect();
            assert_eq!(found, quiet, "{rx}");
        }
        assert!(is_quiet("prism", &job_after("-4.00 sph", &[])), "the eyes of the sample are alike");
    }

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
