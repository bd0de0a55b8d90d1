//! Says at once what was understood of a field, in both cylinder forms. The order page shows the same without a script.

use askama::Template;
use axum::Form as Posted;
use axum::extract::State;
use serde::Deserialize;

use super::orders::OrderForm;
use super::{PageResult, show};
use crate::desk::eye_order::{EyeOrder, read_eye_order};
use crate::desk::job::EyeTask;
use crate::optics::Eye;
use crate::optics::notation::brief;
use crate::optics::prescription::{
    Given, PrescriptionFault, PupilDistance, PupilDistanceFault, cautions_of_eye, pupil_distance_cautions, read,
    read_pupil_distance, read_pupil_distance_for,
};
use crate::web::AppState;

/// What was understood of a typed field.
#[derive(Debug, Clone, Default, Template)]
#[template(path = "understood/show.html")]
pub struct Understood {
    /// Minus-cylinder form, or the only form.
    pub main: String,
    /// The other form, when there is one.
    pub other: String,
    /// Prism or further figures, empty for none.
    pub more: String,
    /// What was read otherwise than written.
    pub notes: Vec<String>,
    /// What is unlikely. The order page shows these below its fields once a form was posted, so it leaves them out here.
    pub cautions: Vec<String>,
    /// What could not be read; the order page shows these as the field's error instead.
    pub faults: Vec<String>,
}

/// It is markup already.
impl askama::filters::HtmlSafe for Understood {}

impl Understood {
    /// What was understood of a prescription.
    fn of_order(order: &EyeOrder) -> Self {
        let task = Some(order.words()).filter(|words| !words.is_empty());
        let notes = task.map(str::to_owned).into_iter().chain(order.notes.iter().map(ToString::to_string)).collect();
        let Some(rx) = order.rx else { return Self { notes, ..Self::default() } };
        let (minus, plus) = (rx.power.to_minus().to_string(), rx.power.to_plus().to_string());
        Self {
            other: if plus == minus { String::new() } else { plus },
            main: minus,
            more: if rx.prism.is_none() { String::new() } else { rx.prism.to_string() },
            notes,
            ..Self::default()
        }
    }

    /// What was understood of a prescription. Nothing is said of an empty field.
    pub fn of_prescription(text: &str, read: &Result<EyeOrder, Vec<PrescriptionFault>>) -> Self {
        match read {
            _ if text.trim().is_empty() => Self::default(),
            Ok(order) => Self::of_order(order),
            Err(faults) => {
                Self { faults: faults.iter().map(|fault| brief(fault.to_string())).collect(), ..Self::default() }
            }
        }
    }

    /// The same with what is unlikely about the eye by itself; the pair and the last prescription are judged on the post.
    pub fn with_cautions_of_eye<E>(self, eye: Eye, read: &Result<EyeOrder, E>) -> Self {
        let rx = read.as_ref().ok().filter(|order| order.task == EyeTask::Make).and_then(|order| order.rx);
        let cautions = rx.map(|rx| cautions_of_eye(eye, &rx)).unwrap_or_default();
        Self { cautions: cautions.iter().map(ToString::to_string).collect(), ..self }
    }

    /// What was understood of a pupil distance. Nothing is said of an empty field.
    pub fn of_distance(text: &str, read: &Result<PupilDistance, PupilDistanceFault>) -> Self {
        match read {
            _ if text.trim().is_empty() => Self::default(),
            Ok(pd) => Self {
                main: match pd.given() {
                    Given::One(eye) => format!("{} {}", pd.mono(eye), eye.name()),
                    _ => format!("{} right, {} left", pd.mono(Eye::Right), pd.mono(Eye::Left)),
                },
                more: match pd.given() {
                    Given::One(_) => "enough where only this lens is made".to_owned(),
                    _ => format!("{} together", pd.binocular()),
                },
                ..Self::default()
            },
            Err(fault) => Self { faults: vec![brief(fault.to_string())], ..Self::default() },
        }
    }

    /// The same with what is unlikely about one pupil distance by itself.
    fn with_cautions_of_distance(self, far: Option<PupilDistance>, near: Option<PupilDistance>) -> Self {
        Self { cautions: pupil_distance_cautions(far, near).iter().map(ToString::to_string).collect(), ..self }
    }
}

#[derive(Deserialize)]
pub(crate) struct FieldQuery {
    #[serde(default)]
    text: String,
    /// The field it stands in.
    #[serde(default)]
    name: String,
}

pub(crate) async fn understood_rx(State(_): State<AppState>, Posted(asked): Posted<FieldQuery>) -> PageResult {
    // A reading of the lensmeter may be any number; a prescription is written in steps, and may be none.
    show(&match Eye::BOTH.into_iter().find(|eye| OrderForm::rx(*eye) == asked.name) {
        Some(eye) => {
            let read = read_eye_order(&asked.text);
            Understood::of_prescription(&asked.text, &read).with_cautions_of_eye(eye, &read)
        }
        None => Understood::of_prescription(&asked.text, &read(&asked.text).map(EyeOrder::from)),
    })
}

pub(crate) async fn understood_pd(State(_): State<AppState>, Posted(asked): Posted<FieldQuery>) -> PageResult {
    let one = |eye: Eye| read_pupil_distance_for(&asked.text, Some(eye)).ok();
    let of_one_eye = || Eye::BOTH.into_iter().filter_map(one).next();
    let read = read_pupil_distance(&asked.text).or_else(|fault| of_one_eye().ok_or(fault));
    let understood = Understood::of_distance(&asked.text, &read);
    show(&match asked.name.as_str() {
        OrderForm::PD => understood.with_cautions_of_distance(read.ok(), None),
        OrderForm::NEAR_PD => understood.with_cautions_of_distance(None, read.ok()),
        _ => understood,
    })
}
