//! The measures that a file states once: what each may be, and what is said where it is stated twice.

use super::fault::{Warning, WarningKind};
use crate::optics::{Eye, Pair};

/// A measure: its range, its unit, and whether 0 means that it is not known, as some devices write.
pub(super) struct Measure {
    pub(super) label: &'static str,
    pub(super) min: f64,
    pub(super) max: f64,
    pub(super) unit: &'static str,
    pub(super) is_unknown_at_zero: bool,
    /// Whether it is one for each eye.
    is_of_eyes: bool,
}

const fn size(label: &'static str, min: f64, max: f64) -> Measure {
    Measure { label, min, max, unit: " mm", is_unknown_at_zero: true, is_of_eyes: true }
}

const fn slope(label: &'static str, min: f64, max: f64, unit: &'static str) -> Measure {
    Measure { label, min, max, unit, is_unknown_at_zero: false, is_of_eyes: true }
}

/// The measures that are read.
const MEASURES: [Measure; 7] = [
    Measure { is_of_eyes: false, ..size("DBL", 1.0, 50.0) },
    size("HBOX", 10.0, 100.0),
    size("VBOX", 10.0, 100.0),
    size("CIRC", 30.0, 400.0),
    slope("FCRV", -25.0, 25.0, " D"),
    slope("ZTILT", -90.0, 90.0, "°"),
    slope("PANTO", -90.0, 90.0, "°"),
];

impl Measure {
    /// The measure that a record states.
    pub(super) fn of(label: &str) -> Option<Self> {
        MEASURES.into_iter().find(|measure| measure.label == label)
    }
}

/// What a file states of a measure for one eye.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Stated {
    /// The last number, which is used, and its line.
    last: Option<(f64, usize)>,
    /// The last other number, and its line.
    other: Option<(f64, usize)>,
}

impl Stated {
    fn add(&mut self, value: f64, line: usize) {
        if let Some(before) = self.last.filter(|before| before.0 != value) {
            self.other = Some(before);
        }
        self.last = Some((value, line));
    }

    /// Names both numbers where there are two.
    fn warning(self, measure: &Measure, eye: Option<Eye>) -> Option<Warning> {
        let ((last, line), (other, other_line)) = self.last.zip(self.other)?;
        let (label, unit) = (measure.label, measure.unit);
        let kind = WarningKind::StatedTwice { label, eye, last, other, other_line, unit, typed: None };
        Some(Warning { line: Some(line), kind })
    }
}

/// What a file states of every measure.
#[derive(Debug, Default)]
pub(super) struct Measures([Pair<Stated>; MEASURES.len()]);

impl Measures {
    /// Adds what a line states. A measure that is not known there stays what it was.
    pub(super) fn add(&mut self, label: &str, values: Pair<Option<f64>>, line: usize) {
        let stated = MEASURES.iter().zip(&mut self.0).find(|(measure, _)| measure.label == label);
        let Some((_, stated)) = stated else { return };
        for (eye, value) in values.iter() {
            if let Some(value) = value {
                stated.get_mut(eye).add(*value, line);
            }
        }
    }

    /// What the file states, the last number of each eye.
    pub(super) fn get(&self, label: &str) -> Pair<Option<f64>> {
        let stated = MEASURES.iter().zip(self.0).find(|(measure, _)| measure.label == label);
        stated.map(|(_, stated)| stated.map(|of| of.last.map(|(value, _)| value))).unwrap_or_default()
    }

    /// The measures that are stated with two numbers, in the order of the lines.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        let mut warnings: Vec<Warning> = Vec::new();
        for (measure, stated) in MEASURES.iter().zip(self.0) {
            if stated.right == stated.left || !measure.is_of_eyes {
                warnings.extend(stated.right.warning(measure, None));
            } else {
                warnings.extend(stated.iter().filter_map(|(eye, of)| of.warning(measure, Some(eye))));
            }
        }
        warnings.sort_by_key(|warning| warning.line);
        warnings
    }
}
