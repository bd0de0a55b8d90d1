//! The sheet by which a customer measures at home: a rule for the eyes at true size, how to measure with a helper or a
//! mirror, and where to mark the pupil's height on the lens of the worn frame. One page.

use std::fmt::Write;

use askama::Template;

use super::Head;
use super::paper::Paper;
use crate::desk::lab::Lab;

/// The rule for the eyes reaches so far to either side of the nose, mm.
const REACH_MM: u32 = 40;
/// The length against which the print is measured, mm.
pub const CONTROL_MM: f64 = 100.0;
/// The drawing of the rule: from its left border to the middle of the nose, mm.
const MIDDLE_MM: f64 = 52.0;

/// The sheet.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/measuring_sheet.html")]
pub struct MeasuringSheet {
    /// The lab.
    pub head: Head,
    /// The job; none for a sheet that is for anybody.
    pub job_number: Option<i64>,
    /// Whose eyes are measured; empty for a line to write on.
    pub name: String,
    /// The paper.
    pub paper: Paper,
    /// Where the sheet was opened.
    pub back: String,
    /// The lines of the rule for the eyes.
    pub ticks: String,
    /// Its numbers, and where each stands.
    pub numbers: Vec<(String, u32)>,
    /// The length to be measured, as a path.
    pub control: String,
    /// The lines of the ruler at the foot.
    pub ruler: String,
}

impl MeasuringSheet {
    /// For a job, an order in the making, or anybody.
    pub fn of(lab: &Lab, job_number: Option<i64>, name: &str, paper: Paper, back: String) -> Self {
        let numbers = (0..=REACH_MM).step_by(10).flat_map(|mm| {
            let at = |sign: f64| (format!("{:.2}", MIDDLE_MM + sign * f64::from(mm)), mm);
            if mm == 0 { vec![at(0.0)] } else { vec![at(-1.0), at(1.0)] }
        });
        Self {
            head: Head::of(lab),
            job_number,
            name: name.to_owned(),
            paper,
            back,
            ticks: ticks(),
            numbers: numbers.collect(),
            control: control(),
            ruler: super::ruler::ticks(),
        }
    }
}

/// The height of the rule, mm.
const HIGH_MM: f64 = 17.0;

/// A line for each millimeter to both sides of the nose, along the lower border of the rule, which is held above the eyes.
fn ticks() -> String {
    let mut ticks = String::new();
    for mm in 0..=REACH_MM {
        let length_mm = match mm {
            m if m % 10 == 0 => 6.0,
            m if m % 5 == 0 => 4.5,
            _ => 3.0,
        };
        let sides: &[f64] = if mm == 0 { &[1.0] } else { &[-1.0, 1.0] };
        for side in sides {
            // Writing to a String cannot fail.
            let _ = write!(ticks, "M{:.2} {HIGH_MM}v-{length_mm}", MIDDLE_MM + side * f64::from(mm));
        }
    }
    ticks
}

/// A line with an end mark on each side.
fn control() -> String {
    let from = MIDDLE_MM - CONTROL_MM / 2.0;
    format!("M{from:.2} 19v4M{from:.2} 21H{:.2}M{:.2} 19v4", from + CONTROL_MM, from + CONTROL_MM)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rule_has_every_millimeter_to_both_sides_of_the_nose() {
        let ticks = ticks();
        assert_eq!(ticks.matches('M').count(), 81);
        // 40 mm to each side of 52: 12 and 92.
        assert!(ticks.starts_with("M52.00 17v-6M51.00 17v-3M53.00 17v-3"), "{ticks}");
        assert!(ticks.ends_with("M12.00 17v-6M92.00 17v-6"), "{ticks}");
        assert_eq!(control(), "M2.00 19v4M2.00 21H102.00M102.00 19v4");
    }

    #[test]
    fn the_numbers_stand_at_their_lines() {
        let lab = Lab::new("Saltmarsh Lens Post".into(), String::new());
        let sheet = MeasuringSheet::of(&lab, Some(1001), "Ada Quill", Paper::A4, "/jobs/1001".into());
        let want = [("52.00", 0), ("42.00", 10), ("62.00", 10), ("32.00", 20), ("72.00", 20)];
        for (number, (at, mm)) in sheet.numbers.iter().zip(want) {
            assert_eq!((number.0.as_str(), number.1), (at, mm));
        }
        let page = sheet.render().unwrap();
        assert!(page.contains("sheet-a4") && page.contains("Ada Quill") && page.contains("1001"));
    }
}
