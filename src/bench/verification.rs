//! The check of a finished pair: what the lensmeter and the rule said, and how it was judged on that day.
//!
//! The verdict is kept as words and figures, not as a rule to apply again: a check made today must read the same in
//! three years, whatever becomes of the tables, the order page or this program.

use serde::{Deserialize, Serialize};

use crate::desk::job::{EventKind, Job};
use crate::optics::notation;
use crate::optics::prescription::{Given, LensPower, Prism, PupilDistance};
use crate::optics::tolerance::{Measured, Ordered, Profile, Status, ToleranceLine, is_verified, verify};
use crate::optics::unit::Millimetre;
use crate::optics::{Eye, Pair};

/// How the powers were read from the lensmeter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Notation {
    /// Sphere, cylinder and axis, in either cylinder form.
    Written,
    /// The two powers on the drum, with the axis of the second.
    Drums,
}

impl Notation {
    /// Both, in the order of the form.
    pub const ALL: [Notation; 2] = [Notation::Written, Notation::Drums];

    /// As in the form.
    pub fn key(self) -> &'static str {
        match self {
            Notation::Written => "written",
            Notation::Drums => "drums",
        }
    }

    /// The notation written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|n| n.key() == key)
    }
}

/// What was measured on a finished pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    /// How the powers were read.
    pub notation: Notation,
    /// Each lens as read.
    pub power: Pair<LensPower>,
    /// The powers as they were typed.
    pub typed: Pair<String>,
    /// Where the lensmeter reads the prescribed prism, or without one the optical centre.
    pub pupil_distance: Option<PupilDistance>,
    /// The height of that place above the lowest point of the box.
    pub height: Pair<Option<Millimetre>>,
    /// The prism at the ordered place; asked for only where prism is prescribed.
    pub prism: Pair<Option<Prism>>,
}

impl Measurement {
    /// As the tolerance tables want it. One number for both eyes says only how wide the pair is, so what it is
    /// wider or narrower than ordered is shared out evenly.
    fn for_tables(&self, ordered: &Ordered) -> Measured {
        let wanted_mm = ordered.pupil_distance_mm;
        let pupil_distance_mm = match self.pupil_distance {
            None => Pair::new(None, None),
            Some(read) if read.given() == Given::Each => {
                Pair::new(Some(read.mono(Eye::Right).to_f64()), Some(read.mono(Eye::Left).to_f64()))
            }
            Some(read) => {
                let wider_mm = read.binocular().to_f64() - (wanted_mm.right + wanted_mm.left);
                wanted_mm.map(|wanted_mm| Some(wanted_mm + wider_mm / 2.0))
            }
        };
        Measured {
            power: self.power.map(Some),
            prism: self.prism.map(|prism| prism.map(Prism::numbers)),
            pupil_distance_mm,
            height_mm: self.height.map(|height| height.map(Millimetre::to_f64)),
            centre_thickness_mm: Pair::new(None, None),
        }
    }
}

/// What a job ordered, as the tolerance tables want it.
pub fn ordered(job: &Job) -> Ordered {
    let distance = job.prescription.centred_on(job.made_for);
    Ordered {
        power: job.lens_prescriptions().map(|eye| eye.power),
        prism: job.prescription.eyes.map(|eye| eye.prism),
        pupil_distance_mm: Pair::new(distance.mono(Eye::Right).to_f64(), distance.mono(Eye::Left).to_f64()),
        height_mm: job.height.map(Millimetre::to_f64),
        centre_thickness_mm: Pair::new(None, None),
    }
}

/// One lens as read, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EyeReading {
    /// As typed.
    pub typed: String,
    /// As understood, in minus-cylinder form.
    pub minus: String,
    /// As understood, in plus-cylinder form.
    pub plus: String,
    /// The measured height, or empty.
    pub height: String,
    /// The measured prism, or empty.
    pub prism: String,
}

/// What was typed, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PairReading {
    /// How the powers were read.
    pub notation: Notation,
    /// The right lens.
    pub right: EyeReading,
    /// The left lens.
    pub left: EyeReading,
    /// The measured pupil distance, or empty.
    pub pupil_distance: String,
}

impl PairReading {
    fn of(measurement: &Measurement) -> Self {
        let eye = |eye: Eye| EyeReading {
            typed: measurement.typed.get(eye).clone(),
            minus: measurement.power.get(eye).to_minus().to_string(),
            plus: measurement.power.get(eye).to_plus().to_string(),
            height: measurement.height.get(eye).map(|h| h.to_string()).unwrap_or_default(),
            prism: measurement.prism.get(eye).map(|p| p.to_string()).unwrap_or_default(),
        };
        Self {
            notation: measurement.notation,
            right: eye(Eye::Right),
            left: eye(Eye::Left),
            pupil_distance: measurement.pupil_distance.map(|p| p.to_string()).unwrap_or_default(),
        }
    }

    /// One eye's part.
    pub fn get(&self, eye: Eye) -> &EyeReading {
        match eye {
            Eye::Right => &self.right,
            Eye::Left => &self.left,
        }
    }
}

/// How a row came out, as kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Well within the limit.
    Pass,
    /// Within the limit, but near it.
    PassAtLimit,
    /// Beyond the limit.
    Fail,
    /// Not measured.
    NotChecked,
}

impl Outcome {
    /// For a person.
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
    /// `right`, `left`, or empty for the pair.
    pub eye: String,
    /// What was ordered.
    pub ordered: String,
    /// What was measured, or empty.
    pub measured: String,
    /// The difference with its unit, or empty.
    pub off_by: String,
    /// The limit with its unit.
    pub limit: String,
    /// How far inside the limit, or beyond it, with its unit; empty when not measured.
    pub spare: String,
    /// How it came out.
    pub outcome: Outcome,
    /// Where the limit comes from.
    pub source: String,
    /// The rule and the result in a sentence.
    pub explain: String,
}

impl VerdictRow {
    fn of(line: &ToleranceLine) -> Self {
        let spare = line.inside.map(|inside| match inside {
            // A pass by the reading allowance stands a hair beyond the printed limit: it has nothing to spare.
            i if i < 0.0 && line.status != Status::Fail => notation::size(0.0, line.unit),
            i if i < 0.0 => format!("{} beyond", notation::size(-i, line.unit)),
            i => notation::size(i, line.unit),
        });
        Self {
            what: line.row.to_owned(),
            eye: line.eye.map(|e| e.name().to_owned()).unwrap_or_default(),
            ordered: line.ordered.clone(),
            measured: line.measured.clone().unwrap_or_default(),
            off_by: line.off_by.map(|off| notation::size(off, line.unit)).unwrap_or_default(),
            limit: format!("±{}", notation::size(line.limit, line.unit)),
            spare: spare.unwrap_or_default(),
            outcome: line.status.into(),
            source: line.source.to_owned(),
            explain: line.explain.clone(),
        }
    }
}

/// A check of a pair as it was judged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verdict {
    /// The tolerances, by name.
    pub profile: String,
    /// Every row that applied.
    pub rows: Vec<VerdictRow>,
    /// Whether every row was a pass.
    pub passed: bool,
    /// Both powers in words, where the lenses were ordered compensated for the way they are worn; else empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub compensated: String,
}

impl Verdict {
    /// Rows of an outcome.
    pub fn count(&self, outcome: Outcome) -> usize {
        self.rows.iter().filter(|row| row.outcome == outcome).count()
    }

    /// In a sentence: all within their limits, or what was not.
    pub fn sentence(&self) -> String {
        let named = |outcome| {
            let rows = self.rows.iter().filter(move |row| row.outcome == outcome);
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
            said.push(match (self.rows.len(), self.count(Outcome::PassAtLimit)) {
                (n, 0) => format!("All {n} rows within their limits."),
                (n, near) => format!("All {n} rows within their limits, {near} of them near it."),
            });
        }
        said.join(" ")
    }
}

/// Judges a finished pair of a job by the lab's tolerances.
pub fn judge(profile: Profile, job: &Job, measurement: &Measurement) -> (PairReading, Verdict) {
    let ordered = ordered(job);
    let lines = verify(profile, &ordered, &measurement.for_tables(&ordered));
    let verdict = Verdict {
        profile: profile.to_string(),
        rows: lines.iter().map(VerdictRow::of).collect(),
        passed: is_verified(&lines),
        compensated: job.compensated_words().unwrap_or_default(),
    };
    (PairReading::of(measurement), verdict)
}

/// Whether the newest check is of the lenses as they are now: a lens taken in hand or cut later was not checked.
pub fn is_current(kinds: impl IntoIterator<Item = EventKind>) -> bool {
    kinds.into_iter().fold(false, |is_current, kind| match kind {
        EventKind::CheckPassed | EventKind::CheckFailed => true,
        EventKind::Cut | EventKind::LensRight | EventKind::LensLeft => false,
        _ => is_current,
    })
}

/// The fewest letters of a reason for sending a pair that did not pass.
pub const REASON_LETTERS: usize = 10;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::prescription::{read, read_measured, read_pupil_distance};

    fn wanted() -> Ordered {
        let rx = |text| read(text).map(|r| r.rx).unwrap_or_default();
        let eyes = Pair::new(rx("-2.25 -1.25 x 95"), rx("-2.50 -0.75 x 80"));
        Ordered {
            power: eyes.map(|e| e.power),
            prism: eyes.map(|e| e.prism),
            pupil_distance_mm: Pair::new(31.0, 33.0),
            height_mm: Pair::new(20.0, 20.0),
            centre_thickness_mm: Pair::new(None, None),
        }
    }

    fn measured(right: &str, left: &str, distance: &str) -> Measurement {
        let power = |text| read_measured(text).unwrap();
        Measurement {
            notation: Notation::Written,
            power: Pair::new(power(right), power(left)),
            typed: Pair::new(right.into(), left.into()),
            pupil_distance: read_pupil_distance(distance).ok(),
            height: Pair::new("20".parse().ok(), "20".parse().ok()),
            prism: Pair::new(None, None),
        }
    }

    fn verdict_of(measurement: &Measurement) -> Verdict {
        let lines = verify(Profile::Z80_1, &wanted(), &measurement.for_tables(&wanted()));
        Verdict {
            profile: Profile::Z80_1.to_string(),
            rows: lines.iter().map(VerdictRow::of).collect(),
            passed: is_verified(&lines),
            compensated: String::new(),
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
    fn says_what_is_outside_and_what_was_not_read() {
        // ANSI Z80.1-2015 quick-reference guide: cylinder over 0.50 to 0.75, ±5°.
        let verdict = verdict_of(&measured("-2.25 -1.25 x 95", "-2.50 -0.75 x 86", ""));
        assert!(!verdict.passed);
        assert_eq!(verdict.sentence(), "Outside the limit: left axis. Not checked: horizontal imbalance.",);
        let axis = verdict.rows.iter().find(|r| r.what == "Axis" && r.eye == "left").unwrap();
        assert_eq!((axis.off_by.as_str(), axis.limit.as_str(), axis.spare.as_str()), ("6°", "±5°", "1° beyond"));
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

    #[test]
    fn a_check_before_a_new_cut_is_of_other_lenses() {
        use EventKind::*;
        assert!(is_current([Taken, ShapeKept, Cut, CheckFailed, Paid]));
        assert!(!is_current([Taken, ShapeKept, Cut, CheckFailed, LensLeft]));
        assert!(!is_current([Taken, ShapeKept, Cut, CheckPassed, LensLeft, Cut]));
        assert!(!is_current([Taken]));
    }
}
