//! Says at once what was understood of a field, in both cylinder forms. The order page shows the same without a script.

use askama::Template;
use axum::extract::{Query, State};
use serde::Deserialize;

use super::orders::OrderForm;
use super::{PageResult, show};
use crate::optics::Eye;
use crate::optics::prescription::{
    PrescriptionFault, PrescriptionReading, PupilDistance, PupilDistanceFault, cautions_of_eye,
    pupil_distance_cautions, read, read_pupil_distance,
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

impl Understood {
    /// What was understood of a prescription.
    pub fn of_reading(reading: &PrescriptionReading) -> Self {
        let power = reading.rx.power;
        let (minus, plus) = (power.to_minus().to_string(), power.to_plus().to_string());
        Self {
            other: if plus == minus { String::new() } else { plus },
            main: minus,
            more: if reading.rx.prism.is_none() { String::new() } else { reading.rx.prism.to_string() },
            notes: reading.notes.iter().map(ToString::to_string).collect(),
            ..Self::default()
        }
    }

    /// What was understood of a prescription. Nothing is said of an empty field.
    pub fn of_prescription(text: &str, read: &Result<PrescriptionReading, Vec<PrescriptionFault>>) -> Self {
        match read {
            _ if text.trim().is_empty() => Self::default(),
            Ok(reading) => Self::of_reading(reading),
            Err(faults) => Self { faults: faults.iter().map(ToString::to_string).collect(), ..Self::default() },
        }
    }

    /// The same with what is unlikely about the eye by itself; the pair and the last prescription are judged on the post.
    pub fn with_cautions_of_eye<E>(self, eye: Eye, read: &Result<PrescriptionReading, E>) -> Self {
        let cautions = read.as_ref().map(|reading| cautions_of_eye(eye, &reading.rx)).unwrap_or_default();
        Self { cautions: cautions.iter().map(ToString::to_string).collect(), ..self }
    }

    /// What was understood of a pupil distance. Nothing is said of an empty field.
    pub fn of_distance(text: &str, read: &Result<PupilDistance, PupilDistanceFault>) -> Self {
        match read {
            _ if text.trim().is_empty() => Self::default(),
            Ok(pd) => Self {
                main: format!("{} right, {} left", pd.mono(Eye::Right), pd.mono(Eye::Left)),
                more: format!("{} together", pd.binocular()),
                ..Self::default()
            },
            Err(fault) => Self { faults: vec![fault.to_string()], ..Self::default() },
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

pub(crate) async fn understood_rx(State(_): State<AppState>, Query(asked): Query<FieldQuery>) -> PageResult {
    let read = read(&asked.text);
    let understood = Understood::of_prescription(&asked.text, &read);
    // A reading of the lensmeter may be any number; a prescription is written in steps.
    show(&match Eye::BOTH.into_iter().find(|eye| OrderForm::rx(*eye) == asked.name) {
        Some(eye) => understood.with_cautions_of_eye(eye, &read),
        None => understood,
    })
}

pub(crate) async fn understood_pd(State(_): State<AppState>, Query(asked): Query<FieldQuery>) -> PageResult {
    let read = read_pupil_distance(&asked.text);
    let understood = Understood::of_distance(&asked.text, &read);
    show(&match asked.name.as_str() {
        OrderForm::PD => understood.with_cautions_of_distance(read.ok(), None),
        OrderForm::NEAR_PD => understood.with_cautions_of_distance(None, read.ok()),
        _ => understood,
    })
}
