//! The checks shared by both kinds of file: numbers with their lines become a [`Trace`] or faults.

use super::super::outline::{MAX_POINTS, MAX_RADIUS_MM, MIN_POINTS, MIN_RADIUS_MM};
use super::super::trace::{Angles, Trace};
use super::fault::{FaultKind, Faults};
use crate::optics::Eye;

/// The most that neighboring radii may differ. Source: common practice (from memory).
const MAX_JUMP_MM: f64 = 3.0;
/// [`MAX_JUMP_MM`] is meant for tracers, whose radii are closer together than this. A coarse table of a long, square
/// shape can change faster, so for wider spacing the limit grows in proportion.
const FINE_STEP_DEG: f64 = 2.0;

/// A number in hundredths and its line.
#[derive(Debug, Clone, Copy)]
pub(super) struct LineNumber {
    pub(super) line: usize,
    pub(super) hundredths: i32,
}

/// The numbers of one eye as read.
pub(super) struct RawTrace {
    pub(super) eye: Eye,
    pub(super) radii: Vec<LineNumber>,
    pub(super) angles: Option<Vec<LineNumber>>,
    /// The records of radii and angles; a table has none.
    pub(super) labels: FaultLabels,
}

/// What the faults of radii and angles are filed under.
#[derive(Debug, Clone, Copy)]
pub(super) struct FaultLabels {
    pub(super) radii: Option<&'static str>,
    pub(super) angles: Option<&'static str>,
}

impl FaultLabels {
    pub(super) const OF_TABLE: Self = Self { radii: None, angles: None };
    pub(super) const OF_RECORDS: Self = Self { radii: Some("R"), angles: Some("A") };
}

impl RawTrace {
    /// A trace, or `None` after adding each fault. The caller has checked that the counts agree.
    pub(super) fn check(self, faults: &mut Faults) -> Option<Trace> {
        let eye = self.eye;
        let mut is_valid = (MIN_POINTS..=MAX_POINTS).contains(&self.radii.len());
        let mm = |item: &LineNumber| f64::from(item.hundredths) / 100.0;
        let in_range = |item: &LineNumber| (MIN_RADIUS_MM..=MAX_RADIUS_MM).contains(&mm(item));
        for (index, item) in self.radii.iter().enumerate() {
            if !in_range(item) {
                is_valid = false;
                faults.add(
                    item.line,
                    self.labels.radii,
                    FaultKind::Radius { eye, nth: index + 1, radius_mm: mm(item) },
                );
            }
        }
        if let Some(angles) = &self.angles {
            // A wrong number of angles is reported below, by `Trace::new`.
            if angles.len() == self.radii.len() {
                is_valid &= check_angles(eye, angles, self.labels.angles, faults);
            }
        }
        // A jump to a radius out of range was reported above.
        for index in 0..self.radii.len() {
            let previous = if index == 0 { self.radii.len() - 1 } else { index - 1 };
            let (from, to) = (&self.radii[previous], &self.radii[index]);
            let limit_mm = MAX_JUMP_MM * (self.step_deg(previous, index) / FINE_STEP_DEG).max(1.0);
            if in_range(from) && in_range(to) && (mm(from) - mm(to)).abs() > limit_mm + 1e-9 {
                is_valid = false;
                let kind = FaultKind::Jump { eye, nth: index + 1, from_mm: mm(from), to_mm: mm(to), limit_mm };
                faults.add(to.line, self.labels.radii, kind);
            }
        }
        if !is_valid {
            return None;
        }
        let list = |items: &[LineNumber]| items.iter().map(|item| item.hundredths).collect::<Vec<i32>>();
        let angles = self.angles.as_deref().map_or(Angles::Equal, |items| Angles::Unequal(list(items)));
        match Trace::new(eye, list(&self.radii), angles) {
            Ok(trace) => Some(trace),
            // A fault that the checks above do not cover.
            Err(error) => {
                let line = self.radii.first().map_or(1, |item| item.line);
                faults.add(line, self.labels.radii, FaultKind::Shape { eye, error });
                None
            }
        }
    }

    fn step_deg(&self, previous: usize, index: usize) -> f64 {
        match &self.angles {
            None => 360.0 / self.radii.len() as f64,
            Some(angles) => match (angles.get(previous), angles.get(index)) {
                (Some(a), Some(b)) => {
                    // Angles beyond a turn are a fault of their own; here they must only not overflow.
                    let turned = i64::from(b.hundredths) - i64::from(a.hundredths);
                    turned.rem_euclid(36_000) as f64 / 100.0
                }
                _ => FINE_STEP_DEG,
            },
        }
    }
}

fn check_angles(eye: Eye, angles: &[LineNumber], label: Option<&str>, faults: &mut Faults) -> bool {
    let mut is_valid = true;
    let mut before = -1;
    for (index, item) in angles.iter().enumerate() {
        if item.hundredths <= before || item.hundredths >= 36_000 {
            is_valid = false;
            let angle_deg = f64::from(item.hundredths) / 100.0;
            faults.add(item.line, label, FaultKind::Angle { eye, nth: index + 1, angle_deg });
        }
        before = before.max(item.hundredths);
    }
    if is_valid {
        let next = angles.iter().skip(1).map(|a| a.hundredths).chain(angles.first().map(|a| a.hundredths + 36_000));
        for (index, (item, next)) in angles.iter().zip(next).enumerate() {
            if next - item.hundredths > 6000 {
                is_valid = false;
                faults.add(item.line, label, FaultKind::Gap { eye, nth: index + 1 });
            }
        }
    }
    is_valid
}

#[cfg(test)]
mod tests {
    use crate::shape::record::read_any;

    /// The largest and smallest number that the reader takes, one after the other: their difference has one bit too many.
    #[test]
    fn angles_of_any_size_are_faults_and_no_overflow() {
        let radii = vec!["2500"; 36].join(";");
        let angles: Vec<String> = (0..36).map(|i| if i % 2 == 0 { i32::MAX } else { i32::MIN }.to_string()).collect();
        let text = format!("TRCFMT=1;36;U;R;F\nR={radii}\nA={}\n", angles.join(";"));
        let faults = read_any(text.as_bytes()).expect_err("no angle of a turn");
        assert!(!faults.is_empty() && faults.len() < 200, "{faults:?}");
    }
}
