//! What the page shows: the marks over the photo, and the figures.

use super::OrderForm;
use super::form::{MARKS, MarkNeed, MeasuringForm, PhotoMark, place_of};
use crate::optics::convergence::READING_MM;
use crate::optics::notation::short;
use crate::optics::{Eye, Pair};
use crate::picture::face::FaceMeasures;
use crate::web::form::Form;

/// Marks that are asked for together.
pub(super) struct MarkGroup {
    /// The scale that they belong to; empty for every scale.
    pub scale: &'static str,
    pub marks: Vec<MarkView>,
}

/// A mark as the page shows it.
pub(super) struct MarkView {
    pub name: &'static str,
    pub words: &'static str,
    pub letter: &'static str,
    /// Where it is drawn: `x y`. Empty while it is not set.
    pub at: String,
    /// Whether it may be left out.
    pub is_optional: bool,
}

impl MarkGroup {
    /// Every mark.
    pub(super) fn all(form: &Form) -> Vec<Self> {
        let of = |scale, groups: &[MarkNeed]| Self {
            scale,
            marks: MARKS
                .iter()
                .filter(|mark| groups.contains(&mark.group))
                .map(|mark| MarkView::of(form, mark))
                .collect(),
        };
        vec![
            of("", &[MarkNeed::Always, MarkNeed::Heights]),
            of("card", &[MarkNeed::Card]),
            of("frame", &[MarkNeed::Frame]),
        ]
    }
}

impl MarkView {
    fn of(form: &Form, mark: &PhotoMark) -> Self {
        Self {
            name: mark.name,
            words: mark.words,
            letter: mark.letter,
            at: place_of(form, mark).map(|at| format!("{:.1} {:.1}", at.x, at.y)).unwrap_or_default(),
            is_optional: mark.group == MarkNeed::Heights,
        }
    }
}

/// The figures of a photo, rounded to a tenth of a millimeter.
pub(super) struct Figures {
    pub eyes: [MeasuredEyeFigures; 2],
    pub both: String,
    pub both_near: String,
    pub plus_minus: String,
    pub plus_minus_each: String,
    pub plus_minus_height: Option<String>,
    pub reading: String,
    pub warnings: Vec<String>,
}

/// The figures of one eye.
pub(super) struct MeasuredEyeFigures {
    pub eye: Eye,
    pub name: &'static str,
    pub letter: &'static str,
    pub far: String,
    pub near: String,
    pub height: Option<String>,
}

fn tenth(mm: f64) -> f64 {
    (mm * 10.0).round() / 10.0
}

impl Figures {
    pub(super) fn of(measures: &FaceMeasures) -> Self {
        let eye = |eye: Eye| MeasuredEyeFigures {
            eye,
            name: eye.name(),
            letter: eye.letter(),
            far: format!("{:.1}", measures.far_mm.get(eye)),
            near: format!("{:.1}", measures.near_mm.get(eye)),
            height: measures.height_mm.map(|height| format!("{:.1}", height.get(eye))),
        };
        // What stands in the fields adds up to what stands here.
        let sum = |of: Pair<f64>| format!("{:.1}", tenth(of.right) + tenth(of.left));
        let up = |mm: f64| format!("{:.1}", (mm * 10.0).ceil() / 10.0);
        Self {
            eyes: [eye(Eye::Right), eye(Eye::Left)],
            both: sum(measures.far_mm),
            both_near: sum(measures.near_mm),
            plus_minus: up(measures.plus_minus.pair_mm),
            plus_minus_each: up(measures.plus_minus.each_mm),
            plus_minus_height: measures.plus_minus.height_mm.map(up),
            reading: short(READING_MM),
            warnings: measures.warnings.iter().map(ToString::to_string).collect(),
        }
    }

    /// Puts the chosen figures into the fields of an order.
    pub(super) fn fill(&self, order: &mut Form, chosen: &Form) {
        let [right, left] = &self.eyes;
        if chosen.is_checked(MeasuringForm::USE, "far") {
            order.set(OrderForm::PD, format!("{}/{}", right.far, left.far));
        }
        if chosen.is_checked(MeasuringForm::USE, "near") {
            order.set(OrderForm::NEAR_PD, format!("{}/{}", right.near, left.near));
        }
        for eye in self.eyes.iter().filter(|_| chosen.is_checked(MeasuringForm::USE, "heights")) {
            if let Some(height) = &eye.height {
                order.set(OrderForm::pupil_height(eye.eye), height.clone());
                order.set(OrderForm::photo_height(eye.eye), height.clone());
            }
        }
    }

    /// For the history of the job.
    pub(super) fn reason(&self) -> String {
        format!(
            "measured from a photo, ± {} mm for both eyes and ± {} mm for each",
            self.plus_minus, self.plus_minus_each
        )
    }
}
