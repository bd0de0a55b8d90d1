//! The check of a finished pair: what was measured, and how it was judged on that day.
//!
//! The verdict is stored in words and in numbers and is not computed again. A check made today reads the same in three
//! years, even if the tables or this program change.

use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};

use super::layout::JobLayout;
use crate::desk::job::{EyeTask, Job};
use crate::desk::key::keyed;
use crate::optics::mistake::{Mistake, MistakeKind, find_mistakes};
use crate::optics::notation;
use crate::optics::prescription::{Given, LensPower, Prism, PupilDistance};
use crate::optics::tolerance::{
    CenterLimits, Measured, OrderedPair, Profile, Quantity, READING_ALLOWANCE, RowUnit, Status, ToleranceLine,
    is_verified, least_center, verify,
};
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};

/// How the powers were read from the lensmeter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, EnumString, IntoStaticStr, VariantArray)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Notation {
    /// Sphere, cylinder and axis, in either cylinder form.
    Written,
    /// The two powers on the drum, with the axis of the second.
    Drums,
}

keyed!(Notation);

/// What was measured on a finished pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    pub notation: Notation,
    /// A lens that stays and a balance lens need not be read.
    pub power: Pair<Option<LensPower>>,
    /// The powers as typed.
    pub typed: Pair<String>,
    /// Between the places where the lensmeter reads the prescribed prism; without prism, the optical centers.
    pub pupil_distance: Option<PupilDistance>,
    /// The height of these places above the lowest point of the box.
    pub height: Pair<Option<Millimeter>>,
    /// The prism at the ordered place. Asked for only if prism is prescribed.
    pub prism: Pair<Option<Prism>>,
    /// The thickness at the optical center. It need not be measured.
    pub center: Pair<Option<Millimeter>>,
}

impl Measurement {
    /// The measurement as the tolerance tables take it. A single pupil distance gives only the width of the pair, so its
    /// error is divided between the eyes.
    fn for_tables(&self, ordered: &OrderedPair) -> Measured {
        let wanted_mm = ordered.pupil_distance_mm;
        let pupil_distance_mm = match self.pupil_distance {
            None => Pair::new(None, None),
            Some(read) if read.given() == Given::Each => {
                Pair::new(Some(read.mono(Eye::Right).to_f64()), Some(read.mono(Eye::Left).to_f64()))
            }
            Some(read) if let Given::One(only) = read.given() => {
                let of = |eye: Eye| (eye == only).then(|| read.mono(eye).to_f64());
                Pair::new(of(Eye::Right), of(Eye::Left))
            }
            Some(read) => {
                let wider_mm = read.binocular().to_f64() - (wanted_mm.right + wanted_mm.left);
                wanted_mm.map(|wanted_mm| Some(wanted_mm + wider_mm / 2.0))
            }
        };
        Measured {
            power: self.power,
            prism: self.prism.map(|prism| prism.map(Prism::numbers)),
            pupil_distance_mm,
            is_width_only: self.pupil_distance.is_some_and(|read| read.given() == Given::Both),
            height_mm: self.height.map(|height| height.map(Millimeter::to_f64)),
            center_thickness_mm: Pair::new(None, None),
        }
    }
}

/// The order of a job as the tolerance tables take it. The heights are those of its layout.
pub fn ordered(job: &Job, layout: &JobLayout) -> OrderedPair {
    let distance = job.prescription.centered_on(job.made_for);
    OrderedPair {
        power: job.lens_prescriptions().map(|eye| eye.power),
        prism: job.prescription.eyes.map(|eye| eye.prism),
        pupil_distance_mm: Pair::new(distance.mono(Eye::Right).to_f64(), distance.mono(Eye::Left).to_f64()),
        height_mm: layout.eyes.as_ref().map(|eye| eye.wanted.height_mm),
        center_thickness_mm: Pair::new(None, None),
    }
}

/// One lens as measured, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EyeReading {
    pub typed: String,
    /// In minus-cylinder form.
    pub minus: String,
    /// In plus-cylinder form.
    pub plus: String,
    /// Empty if not measured.
    pub height: String,
    /// Empty if not measured.
    pub prism: String,
    /// The thickness at the optical center; empty if not measured, and in checks before it was asked for.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub center: String,
}

/// A pair as measured, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PairReading {
    pub notation: Notation,
    pub right: EyeReading,
    pub left: EyeReading,
    /// Empty if not measured.
    pub pupil_distance: String,
}

impl PairReading {
    fn of(measurement: &Measurement) -> Self {
        let eye = |eye: Eye| EyeReading {
            typed: measurement.typed.get(eye).clone(),
            minus: measurement.power.get(eye).map(|power| power.to_minus().to_string()).unwrap_or_default(),
            plus: measurement.power.get(eye).map(|power| power.to_plus().to_string()).unwrap_or_default(),
            height: measurement.height.get(eye).map(|h| h.to_string()).unwrap_or_default(),
            prism: measurement.prism.get(eye).map(|p| p.to_string()).unwrap_or_default(),
            center: measurement.center.get(eye).map(|c| c.to_string()).unwrap_or_default(),
        };
        Self {
            notation: measurement.notation,
            right: eye(Eye::Right),
            left: eye(Eye::Left),
            pupil_distance: measurement.pupil_distance.map(|p| p.to_string()).unwrap_or_default(),
        }
    }

    pub fn get(&self, eye: Eye) -> &EyeReading {
        match eye {
            Eye::Right => &self.right,
            Eye::Left => &self.left,
        }
    }
}

/// The result of a row, as stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Well within the limit.
    Pass,
    /// Within the limit, but near it.
    PassAtLimit,
    Fail,
    NotChecked,
}

impl Outcome {
    pub fn words(self) -> &'static str {
        match self {
            Outcome::Pass => "Pass",
            Outcome::PassAtLimit => "Pass at the limit",
            Outcome::Fail => "Fail",
            Outcome::NotChecked => "Not checked",
        }
    }
}

impl From<Status> for Outcome {
    fn from(status: Status) -> Self {
        match status {
            Status::Pass => Outcome::Pass,
            Status::AtLimit => Outcome::PassAtLimit,
            Status::Fail => Outcome::Fail,
            Status::NotChecked => Outcome::NotChecked,
        }
    }
}

/// One row of the verdict, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct VerdictRow {
    /// What was compared.
    pub what: String,
    /// `right` or `left`; empty for the pair.
    pub eye: String,
    pub ordered: String,
    /// Empty if not measured.
    pub measured: String,
    /// The difference with its unit; empty if not measured.
    pub off_by: String,
    /// The limit with its unit.
    pub limit: String,
    /// How far inside or beyond the limit, with its unit; empty if not measured.
    pub spare: String,
    pub outcome: Outcome,
    pub source: String,
    /// The rule and the result in a sentence.
    pub explain: String,
}

impl VerdictRow {
    fn is_thickness(&self) -> bool {
        self.what == Quantity::LeastCenterThickness.name()
    }

    fn of(line: &ToleranceLine) -> Self {
        let spare = line.inside.map(|inside| match inside {
            // A pass by the reading allowance is slightly beyond the printed limit and has nothing to spare.
            i if i < 0.0 && line.status != Status::Fail => notation::size(0.0, line.unit),
            i if i < 0.0 => format!("{} beyond", notation::size(-i, line.unit)),
            i => notation::size(i, line.unit),
        });
        Self {
            what: line.quantity.name().to_owned(),
            eye: line.eye.map(|e| e.name().to_owned()).unwrap_or_default(),
            ordered: line.ordered.clone(),
            measured: line.measured.clone().unwrap_or_default(),
            off_by: line.off_by.map(|off| notation::size(off, line.unit)).unwrap_or_default(),
            limit: match line.quantity {
                Quantity::LeastCenterThickness => "not thinner".to_owned(),
                _ => format!("±{}", notation::size(line.limit, line.unit)),
            },
            spare: spare.unwrap_or_default(),
            outcome: line.status.into(),
            source: line.source.to_owned(),
            explain: line.explain.clone(),
        }
    }
}

/// One row of a verdict in numbers, for the numeric columns of the book. An imbalance is wanted to be 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VerdictFigure {
    /// The eye; `None` for the pair.
    pub eye: Option<Eye>,
    /// The key of a [`Quantity`].
    pub quantity: &'static str,
    /// The key of the [`RowUnit`] of every number here.
    pub unit: &'static str,
    /// What was ordered, signed.
    pub wanted: Option<f64>,
    /// What was measured, signed; `None` where nothing was.
    pub measured: Option<f64>,
    /// The largest allowed difference.
    pub limit: f64,
    /// The size of the difference, never negative; `None` where nothing was measured.
    pub off_by: Option<f64>,
    /// Whether it was measured and is within the limit.
    pub passes: bool,
}

impl VerdictFigure {
    fn of(line: &ToleranceLine) -> Self {
        Self {
            eye: line.eye,
            quantity: line.quantity.key(),
            unit: line.unit.key(),
            wanted: Some(line.wanted),
            measured: line.reading,
            limit: line.limit,
            off_by: line.off_by,
            passes: matches!(line.status, Status::Pass | Status::AtLimit),
        }
    }
}

/// How a pair was judged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verdict {
    /// The name of the tolerance table.
    pub profile: String,
    /// Every row that applied.
    pub rows: Vec<VerdictRow>,
    pub passed: bool,
    /// Both powers in words, if the lenses were ordered compensated for the position of wear; else empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub compensated: String,
    /// What the readings look like, the likeliest first, a sentence each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub looks_like: Vec<String>,
    /// Why the pair may not be sent even with a reason; else empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub kept_back: String,
}

impl Verdict {
    pub fn count(&self, outcome: Outcome) -> usize {
        self.rows.iter().filter(|row| row.outcome == outcome).count()
    }

    /// Why the pair may not be sent even with a reason, as its job stands; else empty. A lens thinner than the least of its
    /// material may break toward the eye: it leaves only where something on record says that this very lens resists impact
    /// (21 CFR 801.410 asks for the test, not for a thickness; the least of a material is common practice).
    pub fn kept_back_of(&self, job: &Job) -> String {
        if !self.kept_back.is_empty() {
            return self.kept_back.clone();
        }
        let unproven = job.unproven_lenses();
        let too_thin = |row: &&VerdictRow| {
            let is_unproven = unproven.iter().any(|eye| eye.name() == row.eye);
            row.is_thickness() && row.outcome == Outcome::Fail && is_unproven
        };
        match self.rows.iter().find(too_thin) {
            None => String::new(),
            Some(row) => format!(
                "the {} lens is {} thick at the center, its material asks for {}, and nothing on record says that this \
                 lens resists impact",
                row.eye, row.measured, row.ordered
            ),
        }
    }

    /// The thickness of each lens where it was measured, in a sentence; else empty.
    pub fn thickness_words(&self) -> String {
        let measured = self.rows.iter().filter(|row| row.is_thickness() && row.outcome != Outcome::NotChecked);
        let words = |row: &VerdictRow| format!("{} {} ({})", row.eye, row.measured, row.ordered);
        let words: Vec<String> = measured.map(words).collect();
        if words.is_empty() { String::new() } else { format!("Thickness at the center: {}.", words.join(", ")) }
    }

    /// The verdict in a sentence.
    pub fn sentence(&self) -> String {
        let is_unmeasured = |row: &VerdictRow| row.is_thickness() && row.outcome == Outcome::NotChecked;
        let named = |outcome| {
            let rows = self.rows.iter().filter(move |row| row.outcome == outcome && !is_unmeasured(row));
            rows.map(|row| match row.eye.as_str() {
                "" => row.what.to_lowercase(),
                eye => format!("{eye} {}", row.what.to_lowercase()),
            })
            .collect::<Vec<_>>()
            .join(", ")
        };
        let (failed, unread) = (named(Outcome::Fail), named(Outcome::NotChecked));
        let mut said = Vec::new();
        if !failed.is_empty() {
            said.push(format!("Outside the limit: {failed}."));
        }
        if !unread.is_empty() {
            said.push(format!("Not checked: {unread}."));
        }
        if said.is_empty() {
            let read = self.rows.iter().filter(|row| !is_unmeasured(row)).count();
            said.push(match (read, self.count(Outcome::PassAtLimit)) {
                (n, 0) => format!("All {n} rows within their limits."),
                (n, near) => format!("All {n} rows within their limits, {near} of them near it."),
            });
        }
        if self.rows.iter().any(is_unmeasured) {
            said.push("Thickness not measured.".to_owned());
        }
        said.join(" ")
    }
}

/// A check as it is stored: what was read and how it was judged, as documents and in numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgment {
    /// What was read, in words.
    pub reading: PairReading,
    /// The verdict, in words.
    pub verdict: Verdict,
    /// The same rows in numbers, in the order of `verdict.rows`.
    pub figures: Vec<VerdictFigure>,
}

/// Judges a finished pair of a job by the lab's tolerances.
pub fn judge(
    profile: Profile,
    center_limits: &CenterLimits,
    job: &Job,
    layout: &JobLayout,
    measurement: &Measurement,
) -> Judgment {
    let held = Held::of(job, measurement);
    let mut ordered = ordered(job, layout);
    let mut measured = measurement.for_tables(&ordered);
    held.leave_out(job, measurement, &mut ordered, &mut measured);
    let mut lines = verify(profile, center_limits, &ordered, &measured);
    lines.retain(|line| held.holds(line));
    let mistakes = find_mistakes(profile, center_limits, &ordered, &measured);
    let is_right = lines.is_empty() || (is_verified(&lines) && held.is_placed(&lines));
    let kept_back = kept_back(&lines, &mistakes).unwrap_or_default();
    let thickness = thickness_lines(job, measurement);
    let is_thick_enough = thickness.iter().all(|line| line.status != Status::Fail);
    lines.extend(thickness);
    let verdict = Verdict {
        profile: profile.to_string(),
        rows: lines.iter().map(VerdictRow::of).collect(),
        passed: is_right && is_thick_enough,
        compensated: job.compensated_words().unwrap_or_default(),
        looks_like: mistakes.iter().map(mistake_words).collect(),
        kept_back,
    };
    Judgment { reading: PairReading::of(measurement), verdict, figures: lines.iter().map(VerdictFigure::of).collect() }
}

/// The thickness of each lens that is made, against the least of the material.
fn thickness_lines(job: &Job, measurement: &Measurement) -> Vec<ToleranceLine> {
    let least_mm = f64::from(job.material.details.centre_hundredths) / 100.0;
    let line = |eye: Eye| least_center(eye, least_mm, measurement.center.get(eye).map(Millimeter::to_f64));
    job.made_eyes().map(line).collect()
}

/// What a check holds of a job whose lenses are not both prescribed ones. A lens that stays and a balance lens have no
/// power to hold; the eyes are compared where both lenses are made as prescribed, or where the one that stays was read.
struct Held {
    power: Pair<bool>,
    makes: Pair<bool>,
    compares: bool,
}

impl Held {
    fn of(job: &Job, measurement: &Measurement) -> Self {
        let power = Pair::new(job.holds_power(Eye::Right), job.holds_power(Eye::Left));
        let is_read = |eye: Eye| {
            let stays = job.eyes.get(eye).task == EyeTask::Keep;
            stays && measurement.power.get(eye).is_some() && measurement.height.get(eye).is_some()
        };
        let compares = Eye::BOTH.into_iter().all(|eye| *power.get(eye) || is_read(eye));
        Self { power, makes: job.tasks().map(EyeTask::is_made), compares }
    }

    /// Takes out what is not held, so that neither a row nor a mistake is made of it. The eyes are compared by the power
    /// that a lens which stays was read to have.
    fn leave_out(&self, job: &Job, measurement: &Measurement, ordered: &mut OrderedPair, measured: &mut Measured) {
        for eye in Eye::BOTH.into_iter().filter(|eye| !self.power.get(*eye)) {
            let read = measurement.power.get(eye).filter(|_| !*job.prescription.has_power.get(eye));
            let (power, prism, reading) = match eye {
                Eye::Right => (&mut ordered.power.right, &mut ordered.prism.right, &mut measured.power.right),
                Eye::Left => (&mut ordered.power.left, &mut ordered.prism.left, &mut measured.power.left),
            };
            (*power, *prism, *reading) = (read.unwrap_or(*power), Prism::NONE, None);
        }
    }

    fn holds(&self, line: &ToleranceLine) -> bool {
        match (line.eye, line.quantity) {
            (Some(eye), quantity) if quantity.is_house_limit() => *self.makes.get(eye) && self.needs_place(eye, line),
            (Some(eye), _) => *self.power.get(eye),
            (None, Quantity::VerticalImbalance | Quantity::HorizontalImbalance) => self.compares,
            // The prism of one lens is its own: the other's counts as none.
            (None, _) => true,
        }
    }

    /// The place of a balance lens is held where it was read, or where there is no other lens to hold.
    fn needs_place(&self, eye: Eye, line: &ToleranceLine) -> bool {
        let has_prescribed = self.power.right || self.power.left;
        *self.power.get(eye) || !has_prescribed || line.status != Status::NotChecked
    }

    /// Where the eyes are not compared, each place of a lens is required by itself.
    fn is_placed(&self, lines: &[ToleranceLine]) -> bool {
        let is_read = |line: &ToleranceLine| line.status != Status::NotChecked;
        self.compares || lines.iter().filter(|line| line.quantity.is_house_limit()).all(is_read)
    }
}

/// A power that is off by more than this many times its limit is never sent (common practice).
const KEPT_BACK_FROM: f64 = 2.0;

/// Why a pair may not be sent even with a reason: a lens before the wrong eye, or a power far off.
fn kept_back(lines: &[ToleranceLine], mistakes: &[Mistake]) -> Option<String> {
    if mistakes.first().is_some_and(|mistake| mistake.kind == MistakeKind::EyesExchanged) {
        return Some("the right and the left lens look exchanged".to_owned());
    }
    let far_off = |line: &&ToleranceLine| {
        line.unit == RowUnit::Diopter
            && line.off_by.is_some_and(|off| off > KEPT_BACK_FROM * line.limit + READING_ALLOWANCE)
    };
    let line = lines.iter().find(far_off)?;
    let eye = line.eye.map(|eye| format!("{} ", eye.name())).unwrap_or_default();
    Some(format!("the {eye}{} is off by more than twice its limit", line.quantity.name().to_lowercase()))
}

/// A lens that another job on the bench is to have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BenchLens {
    /// Of which job.
    pub job: i64,
    /// Of which eye.
    pub eye: Eye,
    /// What the lensmeter is to read.
    pub power: LensPower,
}

/// More lenses of other jobs that fit a reading are no evidence: the power is a usual one.
const MOST_OTHER_LENSES: usize = 2;

/// For each eye whose power does not fit its own order: the lenses of other jobs on the bench that it fits.
pub fn other_jobs(profile: Profile, job: &Job, measurement: &Measurement, others: &[BenchLens]) -> Vec<String> {
    let mut said = Vec::new();
    let readings = measurement.power.iter().filter(|(eye, _)| job.holds_power(*eye));
    for (eye, read) in readings.filter_map(|(eye, read)| read.map(|read| (eye, read))) {
        if fits_power(profile, job.lens_power(eye), read) {
            continue;
        }
        let fitting: Vec<_> = others.iter().filter(|lens| fits_power(profile, lens.power, read)).collect();
        if fitting.len() <= MOST_OTHER_LENSES {
            said.extend(fitting.iter().map(|lens| {
                let (eye, of, number) = (eye.name(), lens.eye.name(), lens.job);
                format!("The {eye} reading fits the {of} lens of job {number}, which is also on the bench.")
            }));
        }
    }
    said
}

/// Whether a reading is within the limits on power, cylinder and axis.
fn fits_power(profile: Profile, wanted: LensPower, read: LensPower) -> bool {
    let ordered = OrderedPair {
        power: Pair::new(wanted, wanted),
        prism: Pair::new(Prism::NONE, Prism::NONE),
        pupil_distance_mm: Pair::new(32.0, 32.0),
        height_mm: Pair::new(20.0, 20.0),
        center_thickness_mm: Pair::new(None, None),
    };
    let measured = Measured {
        power: Pair::new(Some(read), Some(read)),
        prism: Pair::new(None, None),
        pupil_distance_mm: Pair::new(None, None),
        height_mm: Pair::new(None, None),
        center_thickness_mm: Pair::new(None, None),
        is_width_only: false,
    };
    verify(profile, &CenterLimits::OFF, &ordered, &measured).iter().all(|line| line.status != Status::Fail)
}

/// A mistake in a sentence.
fn mistake_words(mistake: &Mistake) -> String {
    let (whose, fits) = match mistake.eye {
        Some(eye) => (format!("The {} reading", eye.name()), "fits"),
        None => ("Both readings".to_owned(), "fit"),
    };
    match mistake.kind {
        MistakeKind::EyesExchanged => "The right and the left lens, or their readings, look exchanged.".to_owned(),
        MistakeKind::SignReversed => format!("{whose} {fits} with the other sign: plus instead of minus?"),
        MistakeKind::WrongCylinderForm => {
            format!("{whose} {fits} with the other cylinder sign: read in one form and written in the other?")
        }
        MistakeKind::UpsideDown => format!("{whose} {fits} with the lens upside down."),
        MistakeKind::BaseReversed => format!("{whose} {fits} with the base of the prism the other way."),
        MistakeKind::AxisAcross => format!("{whose} {fits} with the axis 90° away."),
        MistakeKind::AxisMirrored => {
            format!("{whose} {fits} with the axis at 180 minus the ordered one: marked from the back?")
        }
        MistakeKind::Turned => {
            let deg = mistake.turned_deg.unwrap_or_default();
            let direction = if deg < 0 { "clockwise" } else { "counter-clockwise" };
            format!("{whose} {fits} with the lens turned by {}° {direction}, seen from the front.", deg.abs())
        }
    }
}

/// A reason for sending a pair that did not pass has at least this many letters.
pub const REASON_LETTERS: usize = 10;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::layout::tests::{lab, round_job, round_shape};
    use crate::optics::prescription::{
        EyePrescription, read, read_measured, read_pupil_distance, read_pupil_distance_for,
    };
    use crate::shape::blocker::BlockerStep;

    fn wanted() -> OrderedPair {
        let rx = |text| read(text).map(|r| r.rx).unwrap_or_default();
        let eyes = Pair::new(rx("-2.25 -1.25 x 95"), rx("-2.50 -0.75 x 80"));
        OrderedPair {
            power: eyes.map(|e| e.power),
            prism: eyes.map(|e| e.prism),
            pupil_distance_mm: Pair::new(31.0, 33.0),
            height_mm: Pair::new(20.0, 20.0),
            center_thickness_mm: Pair::new(None, None),
        }
    }

    fn measured(right: &str, left: &str, distance: &str) -> Measurement {
        let power = |text| read_measured(text).unwrap();
        Measurement {
            notation: Notation::Written,
            power: Pair::new(Some(power(right)), Some(power(left))),
            typed: Pair::new(right.into(), left.into()),
            pupil_distance: read_pupil_distance(distance).ok(),
            height: Pair::new("20".parse().ok(), "20".parse().ok()),
            prism: Pair::new(None, None),
            center: Pair::new(None, None),
        }
    }

    /// The check of a job in the round frame, its centers 24 high, PD 31/33.
    fn judged(right: (EyeTask, &str), left: (EyeTask, &str), read: [&str; 3], heights: [&str; 2]) -> Judgment {
        let mut job = round_job("pl", "31/33");
        job.prescription.eyes = Pair::new(read_rx(right.1), read_rx(left.1));
        job.eyes.right.task = right.0;
        job.eyes.left.task = left.0;
        job.prescription.has_power = Pair::new(!right.1.is_empty(), !left.1.is_empty());
        let layout = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
        let power = |text: &str| (!text.is_empty()).then(|| read_measured(text).unwrap());
        let measurement = Measurement {
            notation: Notation::Written,
            power: Pair::new(power(read[0]), power(read[1])),
            typed: Pair::new(read[0].into(), read[1].into()),
            pupil_distance: read_pupil_distance_for(read[2], job.single_eye()).ok(),
            height: Pair::new(heights[0].parse().ok(), heights[1].parse().ok()),
            prism: Pair::new(None, None),
            center: Pair::new(None, None),
        };
        judge(Profile::Z80_1, &CenterLimits::default(), &job, &layout, &measurement)
    }

    fn read_rx(text: &str) -> EyePrescription {
        if text.is_empty() { EyePrescription::default() } else { read(text).unwrap().rx }
    }

    fn rows(judgment: &Judgment) -> Vec<String> {
        let eye = |eye: Option<Eye>| eye.map_or("pair", Eye::letter);
        judgment.figures.iter().map(|row| format!("{} {}", eye(row.eye), row.quantity)).collect()
    }

    #[test]
    fn a_lens_that_stays_has_no_row() {
        use EyeTask::*;
        let stays = (Keep, "");
        let made = (Make, "-2.50 -0.75 x 80");
        let good = judged(stays, made, ["", "-2.50 -0.75 x 80", "L33"], ["", "24"]);
        let own = [
            "L power_strongest",
            "L cylinder",
            "L axis",
            "L centre_across",
            "L centre_height",
            "L least_center_thickness",
        ];
        assert_eq!((rows(&good), good.verdict.passed), (own.map(String::from).to_vec(), true));
        assert_eq!(good.verdict.sentence(), "All 5 rows within their limits. Thickness not measured.");
        assert_eq!(good.reading.right.typed, "", "nothing was read of the lens that stays");
        // A wrong power, a wrong place, a place that was not read.
        for (read, height) in [
            (["", "-3.00 -0.75 x 80", "L33"], "24"),
            (["", "-2.50 -0.75 x 80", "L35"], "24"),
            (["", "-2.50 -0.75 x 80", "L33"], "26"),
            (["", "-2.50 -0.75 x 80", "L33"], ""),
            (["", "-2.50 -0.75 x 80", ""], "24"),
        ] {
            assert!(!judged(stays, made, read, ["", height]).verdict.passed, "{read:?} {height}");
        }
        // The lens that stays was read: the eyes are compared. 2 mm in height of 2.50 D is 0.5 prism diopters, beyond 0.33.
        let known = (Keep, "-2.50 sph");
        let compared = judged(known, made, ["-2.50 sph", "-2.50 -0.75 x 80", "31/33"], ["26", "24"]);
        assert!(rows(&compared).contains(&"pair vertical_imbalance".to_owned()), "{:?}", rows(&compared));
        assert!(!rows(&compared).contains(&"R power_strongest".to_owned()) && !compared.verdict.passed);
        let level = judged(known, made, ["-2.50 sph", "-2.50 -0.75 x 80", "31/33"], ["24", "24"]);
        assert!(level.verdict.passed, "{}", level.verdict.sentence());
    }

    #[test]
    fn a_prism_before_one_eye_is_its_own() {
        let judged = judged(
            (EyeTask::Keep, "-2.00 sph 3 BO"),
            (EyeTask::Make, "-2.00 sph 2 BI"),
            ["", "-2.00 sph", "L33"],
            ["", "24"],
        );
        let prism = judged.figures.iter().find(|row| row.quantity == "prism_horizontal").unwrap();
        assert_eq!((prism.wanted, prism.measured, judged.verdict.passed), (Some(2.0), None, false));
    }

    #[test]
    fn a_balance_lens_is_held_to_no_power() {
        use EyeTask::*;
        let (balance, made) = ((Balance, "-2.25 sph"), (Make, "-2.00 -0.50 x 10"));
        let own = ["L power_strongest", "L cylinder", "L axis", "L centre_across", "L centre_height"];
        let good = judged(balance, made, ["-4.00 sph", "-2.00 -0.50 x 10", "33"], ["", "24"]);
        assert_eq!(rows(&good)[..3], own.map(String::from)[..3]);
        assert!(!rows(&good).iter().any(|row| row.contains("imbalance") || row.starts_with("R power")));
        let each = judged(balance, made, ["", "-2.00 -0.50 x 10", "31/33"], ["", "24"]);
        assert!(each.verdict.passed && each.verdict.looks_like.is_empty(), "{}", each.verdict.sentence());
        // With no other lens to hold, its place is.
        let alone = |height| judged(balance, (Keep, ""), ["", "", "R31"], [height, ""]);
        assert_eq!(rows(&alone("24")), ["R centre_across", "R centre_height", "R least_center_thickness"]);
        assert!(alone("24").verdict.passed && !alone("27").verdict.passed && !alone("").verdict.passed);
    }

    #[test]
    fn a_thin_lens_does_not_pass_and_an_unmeasured_one_does() {
        let job = round_job("-2.00 sph", "31/33");
        let layout = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
        let least = f64::from(job.material.details.centre_hundredths) / 100.0;
        let verdict = |centers: [Option<f64>; 2]| {
            let center = |mm: Option<f64>| mm.and_then(|mm| Millimeter::round_from(mm).ok());
            let read = measured("-2.00 sph", "-2.00 sph", "31/33");
            let heights = Pair::new("24".parse().ok(), "24".parse().ok());
            let read =
                Measurement { height: heights, center: Pair::new(center(centers[0]), center(centers[1])), ..read };
            judge(Profile::Z80_1, &CenterLimits::default(), &job, &layout, &read).verdict
        };
        for (centers, passes) in [
            ([Some(least), Some(least + 1.0)], true),
            ([Some(least - 0.01), Some(least)], false),
            ([None, Some(least)], true),
            ([None, None], true),
        ] {
            assert_eq!(verdict(centers).passed, passes, "{centers:?}");
        }
        let thin = verdict([Some(least - 0.2), None]);
        let says = "Outside the limit: right thickness at the center. Thickness not measured.";
        assert_eq!((thin.sentence().as_str(), thin.kept_back.as_str()), (says, ""));
        assert_eq!(verdict([None, None]).thickness_words(), "");
        let words = verdict([Some(least), None]).thickness_words();
        assert!(words.starts_with("Thickness at the center: right ") && !words.contains("left"), "{words}");
        // A check that was kept before it was asked for reads back.
        let text = serde_json::to_string(
            &judged((EyeTask::Make, "pl"), (EyeTask::Make, "pl"), ["pl", "pl", "64"], ["24"; 2]).reading,
        );
        assert!(!text.as_ref().unwrap().contains("center"), "nothing is written of what was not measured");
        assert!(serde_json::from_str::<PairReading>(&text.unwrap()).is_ok());
    }

    fn verdict_of(measurement: &Measurement) -> Verdict {
        let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &wanted(), &measurement.for_tables(&wanted()));
        Verdict {
            profile: Profile::Z80_1.to_string(),
            rows: lines.iter().map(VerdictRow::of).collect(),
            passed: is_verified(&lines),
            compensated: String::new(),
            looks_like: Vec::new(),
            kept_back: String::new(),
        }
    }

    #[test]
    fn one_number_says_only_how_wide() {
        // The order is 31/33: a reading of 64 is what was ordered, though its halves are 32 and 32.
        let read = measured("-2.25 -1.25 x 95", "-2.50 -0.75 x 80", "64").for_tables(&wanted());
        assert_eq!(read.pupil_distance_mm, Pair::new(Some(31.0), Some(33.0)));
        let read = measured("-2.25 -1.25 x 95", "-2.50 -0.75 x 80", "66").for_tables(&wanted());
        assert_eq!(read.pupil_distance_mm, Pair::new(Some(32.0), Some(34.0)));
        let read = measured("-2.25 -1.25 x 95", "-2.50 -0.75 x 80", "32/32").for_tables(&wanted());
        assert_eq!(read.pupil_distance_mm, Pair::new(Some(32.0), Some(32.0)));
    }

    #[test]
    fn a_shift_of_the_whole_pair_is_outside_the_house_limit() {
        let figures = |distance: &str| {
            let reading = measured("-2.25 -1.25 x 95", "-2.50 -0.75 x 80", distance).for_tables(&wanted());
            let lines = verify(Profile::Z80_1, &CenterLimits::default(), &wanted(), &reading);
            let across = |line: &&ToleranceLine| line.quantity.key() == "centre_across";
            let said = lines.iter().filter(across).all(|line| line.explain.contains("cannot be seen"));
            let passes: Vec<bool> = lines.iter().filter(across).map(|line| VerdictFigure::of(line).passes).collect();
            (passes, said)
        };
        assert_eq!(figures("34/30"), (vec![false, false], false));
        assert_eq!(figures("64"), (vec![true, true], true));
        assert_eq!(figures("66.5"), (vec![false, false], true));
    }

    #[test]
    fn says_what_is_outside_and_what_was_not_read() {
        // ANSI Z80.1-2015 quick-reference guide: cylinder over 0.50 to 0.75, ±5°.
        let verdict = verdict_of(&measured("-2.25 -1.25 x 95", "-2.50 -0.75 x 86", ""));
        assert!(!verdict.passed);
        assert_eq!(verdict.sentence(), "Outside the limit: left axis. Not checked: horizontal imbalance.",);
        let axis = verdict.rows.iter().find(|r| r.what == "Axis" && r.eye == "left").unwrap();
        assert_eq!((axis.off_by.as_str(), axis.limit.as_str(), axis.spare.as_str()), ("6°", "±5°", "1° beyond"));
    }

    #[test]
    fn a_verdict_in_numbers() {
        let figures_of = |wanted: &OrderedPair, measurement: &Measurement| -> Vec<VerdictFigure> {
            verify(Profile::Z80_1, &CenterLimits::OFF, wanted, &measurement.for_tables(wanted))
                .iter()
                .map(VerdictFigure::of)
                .collect()
        };
        // Limits: ANSI Z80.1-2015 quick-reference guide. Right: -2.25 -1.25 is -3.50 across the axis.
        let mut reading = measured("-2.25 -1.37 x 2", "-2.50 -0.75 x 80", "33/33");
        reading.height.left = None;
        let figures = figures_of(&OrderedPair { height_mm: Pair::new(20.0, 21.0), ..wanted() }, &reading);
        let row = |eye, quantity, unit, wanted, measured, limit, off_by, passes| VerdictFigure {
            eye,
            quantity,
            unit,
            wanted: Some(wanted),
            measured,
            limit,
            off_by,
            passes,
        };
        let close = |a: Option<f64>, b: Option<f64>| a.zip(b).map_or(a == b, |(a, b)| (a - b).abs() < 1e-9);
        let (right, left) = (Some(Eye::Right), Some(Eye::Left));
        let want = [
            row(right, "power_strongest", "d", -3.5, Some(-3.62), 0.13, Some(0.12), true),
            row(right, "cylinder", "d", -1.25, Some(-1.37), 0.13, Some(0.12), true),
            // 2 to 95 is 87 the short way round.
            row(right, "axis", "deg", 95.0, Some(2.0), 3.0, Some(87.0), false),
            row(left, "power_strongest", "d", -3.25, Some(-3.25), 0.13, Some(0.0), true),
            row(left, "cylinder", "d", -0.75, Some(-0.75), 0.13, Some(0.0), true),
            row(left, "axis", "deg", 80.0, Some(80.0), 5.0, Some(0.0), true),
            row(None, "vertical_imbalance", "pd", 0.0, None, 0.33, None, false),
            // The stronger |F(180)| is above 2.75 D, so the row counts millimeters: 66 for 64.
            row(None, "horizontal_imbalance", "mm", 0.0, Some(2.0), 2.5, Some(2.0), true),
        ];
        assert_eq!(figures.len(), want.len());
        for (got, want) in figures.iter().zip(want) {
            let same = (got.eye, got.quantity, got.unit, got.passes, got.limit);
            assert_eq!(same, (want.eye, want.quantity, want.unit, want.passes, want.limit));
            assert!(close(got.wanted, want.wanted) && close(got.measured, want.measured), "{got:?} for {want:?}");
            assert!(close(got.off_by, want.off_by), "{got:?} for {want:?}");
        }
    }

    #[test]
    fn a_net_prism_is_signed() {
        // Right 2 in, left 1 out: 1 in for the pair. Right 1 up, left 0.5 up: 0.5 up right. Read 1.5 in and 0.5 out,
        // 0.8 and 0.9 up: 1 in, 0.1 up left (textbook: horizontal parts add, vertical parts cancel).
        let prism = |text: &str| read(text).unwrap().rx.prism;
        let wanted = OrderedPair { prism: Pair::new(prism("pl 2 BI 1 BU"), prism("pl 1 BO 0.5 BU")), ..wanted() };
        let mut reading = measured("-2.25 -1.25 x 95", "-2.50 -0.75 x 80", "62");
        reading.prism = Pair::new(Some(prism("pl 1.5 BI 0.8 BU")), Some(prism("pl 0.5 BO 0.9 BU")));
        reading.height = Pair::new("19".parse().ok(), "20".parse().ok());
        let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &wanted, &reading.for_tables(&wanted));
        let figures: Vec<VerdictFigure> = lines.iter().map(VerdictFigure::of).collect();
        let of = |key: &str| {
            let found = figures.iter().find(|figure| figure.quantity == key).unwrap();
            (found.wanted.unwrap(), found.measured.unwrap(), found.off_by.unwrap())
        };
        for (key, wanted, measured, off_by) in [
            ("prism_horizontal", 1.0, 1.0, 0.0),
            ("prism_vertical", 0.5, -0.1, 0.6),
            // Centers 2 too near each other.
            ("horizontal_imbalance", 0.0, -2.0, 2.0),
        ] {
            let got = of(key);
            assert!((got.0 - wanted).abs() < 1e-9 && (got.1 - measured).abs() < 1e-9, "{key}: {got:?}");
            assert!((got.2 - off_by).abs() < 1e-9, "{key}: {got:?}");
        }
        // The right center 1 mm low before a minus lens: base up right (Prentice).
        assert!(of("vertical_imbalance").1 > 0.0 && of("vertical_imbalance").0 == 0.0);
    }

    #[test]
    fn a_good_pair_in_plus_form_passes() {
        // The same lenses written with a plus cylinder (textbook transposition).
        let verdict = verdict_of(&measured("-3.50 +1.25 x 5", "-3.25 +0.75 x 170", "31/33"));
        assert!(verdict.passed, "{verdict:?}");
        assert!(verdict.sentence().starts_with("All "));
        let text = serde_json::to_string(&verdict).unwrap();
        assert_eq!(serde_json::from_str::<Verdict>(&text).unwrap(), verdict);
    }
}
