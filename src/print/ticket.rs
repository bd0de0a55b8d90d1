//! The bench ticket, a letter sheet that travels with the tray.

use askama::Template;
use serde::{Deserialize, Serialize};
use time::Date;

use super::barcode::{self, Barcode};
use super::outline::{Drawn, PairDrawing};
use super::{CheckSummary, Head, ruler};
use crate::bench::bevel_place::{TicketLines, eye_words};
use crate::bench::notes::BenchNotes;
use crate::bench::real_size::PrismMade;
use crate::desk::catalogue::{MaterialDetails, TreatmentDetails};
use crate::desk::center_height::CenterHeight;
use crate::desk::date;
use crate::desk::drilling::HoleTableRow;
use crate::desk::frame::FrameDetails;
use crate::desk::job::EyeTask;
use crate::desk::lab::Lab;
use crate::desk::order::Design;
use crate::desk::prescription::MadeFor;
use crate::desk::stock::LensInHand;
use crate::optics::direction::Directed;
use crate::optics::notation;
use crate::optics::prescription::{EyePrescription, LensPower, Prism, PupilDistance};
use crate::optics::{Eye, Pair};
use crate::shape::hole::Hole;
use crate::shape::layout::{EyeLayout, PairLayout};
use crate::shape::outline::Outline;

/// What the ticket is made from.
#[derive(Debug, Clone)]
pub struct TicketFacts<'a> {
    /// The lab.
    pub lab: &'a Lab,
    /// The job.
    pub job_number: i64,
    /// The earlier job whose frame and shape this uses.
    pub relens_of: Option<i64>,
    /// For whom.
    pub customer: &'a str,
    /// The frame.
    pub frame: &'a FrameDetails,
    /// What is done for each eye.
    pub tasks: Pair<EyeTask>,
    /// Each eye's lens to be made.
    pub eyes: &'a Pair<EyePrescription>,
    /// What to know about how the pair is worn, in words.
    pub wear_words: Vec<String>,
    /// The prescribed powers, where the lenses are ordered compensated.
    pub prescribed: Option<Pair<LensPower>>,
    /// For which distance.
    pub made_for: MadeFor,
    /// The pupil distance of that use.
    pub pupil_distance: PupilDistance,
    /// The ordered heights.
    pub height: Pair<CenterHeight>,
    /// The material.
    pub material: &'a MaterialDetails,
    /// The form of the front.
    pub design: Design,
    /// The coating.
    pub coating: Option<&'a TreatmentDetails>,
    /// The second coating.
    pub second_coating: Option<&'a TreatmentDetails>,
    /// The tint.
    pub tint: Option<&'a TreatmentDetails>,
    /// The day of the order.
    pub ordered_on: Date,
    /// The day it is promised for.
    pub promised_on: Date,
    /// A remark for the bench; may be empty.
    pub note: &'a str,
    /// Both shapes laid out; without them the ticket has blanks to write in.
    pub shape: Option<TicketShape<'a>>,
    /// The places of the holes of a drilled mount.
    pub holes: Vec<HoleTableRow>,
    /// The edge of both lenses, once there is a shape.
    pub edge: Option<&'a TicketLines>,
    /// The uncut lenses in hand.
    pub lenses: Pair<Option<&'a LensInHand>>,
    /// The last cut on this shape, in words.
    pub last_cut: Option<String>,
    /// Lessons from remakes on this shape.
    pub lessons: Vec<String>,
    /// The job that this one makes again, and why, in words.
    pub remake: Option<String>,
    /// The last check, when there was one.
    pub check: Option<&'a CheckSummary>,
}

/// Both shapes of a job, laid out.
#[derive(Debug, Clone, Copy)]
pub struct TicketShape<'a> {
    /// The shapes.
    pub outlines: Pair<&'a Outline>,
    /// The bridge used for the layout.
    pub dbl_mm: f64,
    /// The layout; the blanks count the prescribed prism.
    pub layout: &'a PairLayout,
    /// How the prescribed prism is made, where there is prism.
    pub prism: Pair<Option<&'a PrismMade>>,
    /// The holes of a drilled mount.
    pub holes: Pair<&'a [Hole]>,
}

/// One eye as it prints.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EyePart {
    /// `right` or `left`.
    pub name: String,
    /// `R` or `L`.
    pub letter: String,
    /// Minus-cylinder form.
    pub minus: String,
    /// Plus-cylinder form; empty when there is no cylinder.
    pub plus: String,
    /// The prescribed power where another is made; else empty.
    pub prescribed: String,
    /// Prescribed prism; empty for none.
    pub prism: String,
    /// The axis of the minus cylinder; empty when there is no cylinder.
    #[serde(default)]
    pub axis: String,
    /// `halved` where one pupil distance was given for both eyes; else empty.
    #[serde(default)]
    pub pd_mark: String,
    /// How the prism is made on the bench; empty for none, or before there is a shape.
    pub prism_made: String,
    /// The wearer's pupil from the middle of the nose.
    pub pd: String,
    /// The ordered height, in words.
    pub height: String,
    /// Whether none was ordered, so that the middle line counts.
    #[serde(default)]
    pub height_is_assumed: bool,
    /// The layout, once there is a shape.
    pub laid: Option<TicketLayout>,
    /// The lens in hand; empty for none.
    pub lens: String,
    /// What is done where no prescribed lens is made; else empty.
    #[serde(default)]
    pub task: String,
    /// Whether the lens in the frame stays, so that nothing else is said of it.
    #[serde(default)]
    pub stays: bool,
}

/// The layout of one eye as it prints.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TicketLayout {
    /// The blocker's PD.
    pub set_pd: String,
    /// The blocker's height.
    pub set_height: String,
    /// What is left to move sideways.
    pub nudge_in: MovedAmount,
    /// What is left to move up or down.
    pub nudge_up: MovedAmount,
    /// The whole way from the boxing center, sideways.
    #[serde(alias = "centre_in")]
    pub center_in: MovedAmount,
    /// The whole way from the boxing center, up or down.
    #[serde(alias = "centre_up")]
    pub center_up: MovedAmount,
    /// A and B.
    pub size: String,
    /// ED.
    pub ed: String,
    /// Smallest blank, exact.
    pub blank: String,
    /// Smallest blank with the lab's allowance.
    pub blank_with_margin: String,
}

/// An amount and its direction as they print.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MovedAmount {
    /// To two places, without a sign.
    pub amount: String,
    /// Such as `in` or `up`; empty for nothing.
    pub direction: String,
}

impl MovedAmount {
    fn of(value: f64, plus: &'static str, minus: &'static str) -> Self {
        let Directed { amount, direction } = Directed::of(value, plus, minus);
        Self { amount, direction: direction.to_owned() }
    }
}

/// The bench notes as they print.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NotesPart {
    /// The edge for this rim.
    pub edge: String,
    /// Where the bevel or groove goes.
    pub bevel: Vec<String>,
    /// What to add to or take from the traced size.
    pub size: String,
    /// What can hurt someone.
    pub cautions: Vec<String>,
}

impl NotesPart {
    fn of(notes: BenchNotes) -> Self {
        let owned = |lines: Vec<&str>| lines.into_iter().map(str::to_owned).collect();
        Self {
            edge: notes.edge.to_owned(),
            bevel: owned(notes.bevel),
            size: notes.size.to_owned(),
            cautions: owned(notes.cautions),
        }
    }
}

/// Both shapes as they print.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShapePart {
    /// Frame PD.
    pub frame_pd: String,
    /// The bridge used for the layout.
    pub dbl: String,
    /// Circumferences, right and left.
    pub circumferences: String,
    /// Both shapes at true size.
    pub outlines: PairDrawing,
}

/// The ticket.
#[derive(Debug, Clone, PartialEq, Eq, Template, Serialize, Deserialize)]
#[template(path = "print/ticket.html")]
pub struct Ticket {
    /// The lab.
    pub head: Head,
    /// The job.
    pub job_number: i64,
    /// The job number for the scanner.
    pub barcode: Barcode,
    /// For whom, with the dates.
    pub customer: String,
    /// The day of the order.
    pub ordered_on: String,
    /// The day it is promised for.
    pub promised_on: String,
    /// The earlier job whose frame this uses.
    pub relens_of: Option<i64>,
    /// Right, then left.
    pub eyes: [EyePart; 2],
    /// Both shapes, once they are on file.
    pub shape: Option<ShapePart>,
    /// The distance it is made for.
    pub made_for: String,
    /// The frame in words.
    pub frame: String,
    /// The kind of rim.
    pub rim: String,
    /// Material, design, coatings, tint.
    pub lens: String,
    /// The least thickness at the optical center, mm; empty on a ticket kept before it was printed.
    #[serde(default)]
    pub least_center: String,
    /// The supplier's note where both lenses in hand have the same; else empty, and each eye has its own.
    #[serde(default)]
    pub lens_source: String,
    /// Cutting, joined.
    pub cutting: String,
    /// Edge, size, bevel and cautions.
    pub notes: NotesPart,
    /// Thickness of the edge and place of the line, once there is a shape.
    pub edge: Option<TicketLines>,
    /// The last cut on this shape; none on a ticket kept before it was printed.
    #[serde(default)]
    pub last_cut: Option<String>,
    /// The places of the holes of a drilled mount.
    #[serde(default)]
    pub holes: Vec<HoleTableRow>,
    /// Lessons from remakes on this shape.
    #[serde(default)]
    pub lessons: Vec<String>,
    /// The job that this one makes again, and why.
    #[serde(default)]
    pub remake: Option<String>,
    /// The remark; may be empty.
    pub note: String,
    /// Whether a prism is prescribed: the ring is then the place where it is read.
    pub has_prism: bool,
    /// The lines of the ruler.
    pub ruler: String,
    /// What to know about how the pair is worn.
    pub wear_words: Vec<String>,
    /// The last check.
    pub check: Option<CheckSummary>,
    /// What stands above the sheet on the screen; a kept ticket gets it when it is shown.
    #[serde(skip)]
    pub bar: TicketBar,
}

/// What stands above the sheet on the screen and does not print.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum TicketBar {
    /// Nothing but the way back.
    #[default]
    Plain,
    /// As the job stands now: the form that keeps the ticket and prints it.
    Keep {
        /// The key of the form.
        key: String,
    },
    /// A kept ticket.
    Kept {
        /// When it was printed, in local time.
        printed: String,
        /// What comes next on the job, and its page.
        next: Option<(&'static str, String)>,
    },
}

impl Ticket {
    /// The ticket as the book keeps it.
    ///
    /// # Errors
    ///
    /// [`serde_json::Error`]; text and numbers alone give none.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string(self)
    }

    /// A kept ticket, as it printed.
    ///
    /// # Errors
    ///
    /// [`serde_json::Error`] when the text is no ticket.
    pub fn from_json(text: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(text)
    }

    /// The ticket of a job, with blanks to write in while it has no shape.
    pub fn of(facts: &TicketFacts<'_>) -> Self {
        let notes = BenchNotes::of(facts.frame.rim, facts.material, facts.tint);
        let notes = if facts.edge.is_some() { notes.with_bevel_placed() } else { notes };
        let treatments = [facts.coating, facts.second_coating, facts.tint].into_iter().flatten();
        let lens = [facts.material.name.as_str(), facts.design.words()]
            .into_iter()
            .chain(treatments.map(|treatment| treatment.name.as_str()))
            .collect::<Vec<_>>()
            .join(", ");
        Self {
            head: Head::of(facts.lab),
            job_number: facts.job_number,
            barcode: barcode::of_number(facts.job_number),
            customer: facts.customer.to_owned(),
            ordered_on: date::day(&facts.ordered_on),
            promised_on: date::day(&facts.promised_on),
            relens_of: facts.relens_of,
            least_center: notation::short(f64::from(facts.material.centre_hundredths) / 100.0),
            eyes: Eye::BOTH.map(|eye| EyePart::of(eye, facts)),
            shape: facts.shape.map(|shape| ShapePart::of(&shape, facts)),
            last_cut: facts.last_cut.clone(),
            holes: facts.holes.clone(),
            lessons: facts.lessons.clone(),
            remake: facts.remake.clone(),
            made_for: format!("{}, PD {}", facts.made_for.words(), facts.pupil_distance.words_with_total()),
            frame: facts.frame.to_string(),
            rim: facts.frame.rim.words().to_owned(),
            lens,
            lens_source: shared_source(facts).unwrap_or_default().to_owned(),
            cutting: notes.cutting.join("; "),
            notes: NotesPart::of(notes),
            edge: facts.edge.cloned(),
            note: facts.note.to_owned(),
            has_prism: facts.eyes.iter().any(|(eye, rx)| facts.tasks.get(eye).is_made() && !rx.prism.is_none()),
            ruler: ruler::ticks(),
            wear_words: facts.wear_words.clone(),
            check: facts.check.cloned(),
            bar: TicketBar::default(),
        }
    }
}

impl EyePart {
    fn of(eye: Eye, facts: &TicketFacts<'_>) -> Self {
        let EyePrescription { power, prism } = *facts.eyes.get(eye);
        Self {
            name: eye.name().to_owned(),
            letter: eye.letter().to_owned(),
            minus: power.to_minus().to_string(),
            plus: power.axis().map(|_| power.to_plus().to_string()).unwrap_or_default(),
            prescribed: facts.prescribed.map(|p| p.get(eye).to_minus().to_string()).unwrap_or_default(),
            prism: if prism.is_none() { String::new() } else { prism.to_string() },
            axis: power.to_minus().axis().map(|axis| axis.to_string()).unwrap_or_default(),
            pd_mark: facts.pupil_distance.mark().to_owned(),
            prism_made: facts.shape.map(|shape| made(eye, prism, &shape)).unwrap_or_default(),
            pd: facts.pupil_distance.mono(eye).to_string(),
            height: facts.height.get(eye).words(),
            height_is_assumed: *facts.height.get(eye) == CenterHeight::Assumed,
            laid: facts.shape.map(|shape| TicketLayout::of(shape.layout.eyes.get(eye))),
            lens: facts.lenses.get(eye).map(|lens| describe(lens, shared_source(facts).is_none())).unwrap_or_default(),
            task: facts.tasks.get(eye).words().to_owned(),
            stays: !facts.tasks.get(eye).is_made(),
        }
    }
}

impl TicketLayout {
    fn of(layout: &EyeLayout) -> Self {
        let boxing = layout.boxing;
        Self {
            set_pd: format!("{:.1}", layout.blocker.set_pd_mm),
            set_height: format!("{:.1}", layout.blocker.set_height_mm),
            nudge_in: MovedAmount::of(layout.blocker.nudge_in_mm, "in", "out"),
            nudge_up: MovedAmount::of(layout.blocker.nudge_up_mm, "up", "down"),
            center_in: MovedAmount::of(layout.decentration.in_mm, "in", "out"),
            center_up: MovedAmount::of(layout.decentration.up_mm, "up", "down"),
            size: format!("{:.2} × {:.2}", boxing.a_mm, boxing.b_mm),
            ed: notation::long(boxing.ed_mm),
            blank: notation::long(layout.blank.exact_mm),
            blank_with_margin: notation::long(layout.blank.with_margin_mm),
        }
    }
}

impl ShapePart {
    fn of(shape: &TicketShape<'_>, facts: &TicketFacts<'_>) -> Self {
        let drawn = |eye: Eye| Drawn {
            outline: shape.outlines.get(eye),
            holes: shape.holes.get(eye),
            center: shape.layout.eyes.get(eye).decentration,
            // The axis of the power in large figures, whichever form was written.
            axis: facts.eyes.get(eye).power.to_minus().axis().filter(|_| facts.tasks.get(eye).is_made()),
            is_made: facts.tasks.get(eye).is_made(),
        };
        let circumference = |eye: Eye| (eye, format!("{:.2}", shape.layout.eyes.get(eye).boxing.circumference_mm));
        Self {
            frame_pd: notation::long(shape.layout.frame_pd_mm),
            dbl: notation::long(shape.dbl_mm),
            circumferences: eye_words(Eye::BOTH.map(circumference), " ").join(", "),
            outlines: PairDrawing::of(Pair::new(drawn(Eye::Right), drawn(Eye::Left)), shape.dbl_mm),
        }
    }
}

/// How the prism is made and where it reads; empty for none.
fn made(eye: Eye, prism: Prism, shape: &TicketShape<'_>) -> String {
    let blank_mm = shape.layout.eyes.get(eye).blank.with_margin_mm;
    shape.prism.get(eye).map(|made| format!("{}.", made.words(eye, prism, blank_mm))).unwrap_or_default()
}

/// The supplier's note of both lenses in hand, where they have the same.
fn shared_source<'a>(facts: &TicketFacts<'a>) -> Option<&'a str> {
    let (right, left) = (facts.lenses.right?, facts.lenses.left?);
    Some(right.source.as_str()).filter(|source| !source.is_empty() && *source == left.source)
}

/// `⌀ 70, front +4.25 D, center 1.80, lot 4711`.
fn describe(lens: &LensInHand, with_source: bool) -> String {
    let mut words = format!("⌀ {}", notation::short(lens.diameter.to_f64()));
    if let Some(front) = lens.front_power {
        words.push_str(&format!(", front {front} D"));
    }
    if let Some(center) = lens.center {
        words.push_str(&format!(", center {center}"));
    }
    if with_source && !lens.source.is_empty() {
        words.push_str(&format!(", {}", lens.source));
    }
    if lens.has_ground_prism {
        words.push_str(", prism ground in");
    }
    words
}
