//! Prescriptions: written once, never changed.

use serde::Deserialize;
use sqlx::SqliteConnection;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

use super::StoreError;
use super::read::{axis, eye, length, power, prism, unreadable};
use super::stamp::Stamp;
use crate::desk::date::iso_date;
use crate::desk::id::CustomerId;
use crate::desk::npi::Npi;
use crate::desk::prescription::Prescription;
use crate::optics::prescription::{EyePrescription, Given, LensPower, Prism, PupilDistance};
use crate::optics::{Eye, Pair};

// The fields stand in the order of the view's array.
#[derive(Deserialize)]
pub(super) struct EyeRow {
    eye: String,
    typed: String,
    sphere_hundredths: Option<i64>,
    cylinder_hundredths: Option<i64>,
    axis_deg: Option<i64>,
    prism_in_hundredths: i64,
    prism_up_hundredths: i64,
    pd_hundredths: Option<i64>,
    near_pd_hundredths: Option<i64>,
}

impl EyeRow {
    fn prescription(&self) -> Result<EyePrescription, StoreError> {
        let (sphere, cylinder) = (self.sphere_hundredths.unwrap_or(0), self.cylinder_hundredths.unwrap_or(0));
        Ok(EyePrescription {
            power: LensPower::new(power("sphere", sphere)?, power("cylinder", cylinder)?, axis("axis", self.axis_deg)?)
                .map_err(unreadable("prescription"))?,
            prism: Prism::new(prism("prism", self.prism_in_hundredths)?, prism("prism", self.prism_up_hundredths)?)
                .map_err(unreadable("prism"))?,
        })
    }
}

/// One prescription.
// The fields stand in the order of the view's array.
#[derive(Deserialize)]
pub(super) struct PrescriptionRow {
    prescriber: String,
    prescriber_npi: String,
    #[serde(with = "iso_date::option")]
    written_on: Option<Date>,
    #[serde(with = "iso_date::option")]
    expires_on: Option<Date>,
    diagnosis: String,
    pd_given: Option<String>,
    near_pd_given: Option<String>,
    eyes: Vec<EyeRow>,
}

/// What was prescribed for each eye; none for an eye without a power.
pub(super) fn prescribed_eyes(rows: Vec<EyeRow>) -> Result<Pair<Option<EyePrescription>>, StoreError> {
    let eyes = both_eyes("prescription", rows, |eye| &eye.eye)?;
    let of = |eye: &EyeRow| eye.sphere_hundredths.map(|_| eye.prescription()).transpose();
    Ok(Pair::new(of(&eyes.right)?, of(&eyes.left)?))
}

impl PrescriptionRow {
    /// Whether it has a pupil distance. Only an old record may have none.
    pub(super) fn has_pd(&self) -> bool {
        self.pd_given.is_some()
    }

    /// The prescription of an old record. Where it has no pupil distance, one without meaning stands in its place.
    pub(super) fn of_old_record(mut self) -> Result<Prescription, StoreError> {
        /// Half of 63 mm.
        const PLACEHOLDER: i64 = 3150;
        if !self.has_pd() {
            self.pd_given = Some(given_key(Given::Both).to_owned());
            self.eyes.iter_mut().for_each(|eye| eye.pd_hundredths = Some(PLACEHOLDER));
        }
        self.try_into()
    }
}

impl TryFrom<PrescriptionRow> for Prescription {
    type Error = StoreError;
    fn try_from(row: PrescriptionRow) -> Result<Self, StoreError> {
        let eyes = both_eyes("prescription", row.eyes, |eye| &eye.eye)?;
        let pd = distance(row.pd_given.as_deref(), eyes.right.pd_hundredths, eyes.left.pd_hundredths)?;
        let near = distance(row.near_pd_given.as_deref(), eyes.right.near_pd_hundredths, eyes.left.near_pd_hundredths)?;
        Ok(Self {
            eyes: Pair::new(eyes.right.prescription()?, eyes.left.prescription()?),
            has_power: eyes.as_ref().map(|eye| eye.sphere_hundredths.is_some()),
            typed: eyes.map(|eye| eye.typed),
            prescriber: row.prescriber,
            prescriber_npi: npi(&row.prescriber_npi)?,
            written_on: row.written_on,
            expires_on: row.expires_on,
            diagnosis: row.diagnosis,
            pupil_distance: pd
                .ok_or_else(|| StoreError::Unreadable { what: "pupil distance", why: "there is none".into() })?,
            near_pupil_distance: near,
        })
    }
}

fn npi(kept: &str) -> Result<Option<Npi>, StoreError> {
    if kept.is_empty() { Ok(None) } else { kept.parse().map(Some).map_err(unreadable("NPI")) }
}

/// Both rows of a pair, right and left.
pub(super) fn both_eyes<T>(what: &'static str, rows: Vec<T>, key: impl Fn(&T) -> &str) -> Result<Pair<T>, StoreError> {
    let (mut right, mut left) = (None, None);
    for row in rows {
        match eye(what, key(&row))? {
            Eye::Right => right = Some(row),
            Eye::Left => left = Some(row),
        }
    }
    match (right, left) {
        (Some(right), Some(left)) => Ok(Pair::new(right, left)),
        _ => Err(StoreError::Unreadable { what, why: "a row of one eye is missing".to_owned() }),
    }
}

fn distance(given: Option<&str>, right: Option<i64>, left: Option<i64>) -> Result<Option<PupilDistance>, StoreError> {
    let (given, right, left) = match (given, right, left) {
        (Some(given), Some(right), Some(left)) => (given, right, left),
        (Some(_), Some(right), None) => return one_distance(Eye::Right, right),
        (Some(_), None, Some(left)) => return one_distance(Eye::Left, left),
        _ => return Ok(None),
    };
    let read = if given == given_key(Given::Both) {
        PupilDistance::both(length("pupil distance", right + left)?)
    } else {
        PupilDistance::each(Pair::new(length("pupil distance", right)?, length("pupil distance", left)?))
    };
    read.map(Some).map_err(unreadable("pupil distance"))
}

fn one_distance(eye: Eye, hundredths: i64) -> Result<Option<PupilDistance>, StoreError> {
    let read = PupilDistance::one(eye, length("pupil distance", hundredths)?);
    read.map(Some).map_err(unreadable("pupil distance"))
}

/// The distance of one eye; none where the other eye's alone was given.
pub(super) fn given_mono(pd: PupilDistance, eye: Eye) -> Option<i32> {
    let is_given = !matches!(pd.given(), Given::One(only) if only != eye);
    is_given.then(|| pd.mono(eye).hundredths())
}

pub(super) fn given_key(given: Given) -> &'static str {
    match given {
        Given::Both => "one",
        Given::Each | Given::One(_) => "each",
    }
}

pub(super) async fn insert_prescription(
    tx: &mut SqliteConnection,
    patient: CustomerId,
    prescription: &Prescription,
    now: OffsetDateTime,
) -> Result<Uuid, StoreError> {
    let (id, added_at) = (Uuid::now_v7(), Stamp(now));
    let (far, near) = (prescription.pupil_distance, prescription.near_pupil_distance);
    let npi = prescription.prescriber_npi.as_ref().map(Npi::to_string).unwrap_or_default();
    let (pd_given, near_given) = (given_key(far.given()), near.map(|pd| given_key(pd.given())));
    sqlx::query!(
        "insert into prescription (id, patient_id, prescriber, prescriber_npi, written_on, expires_on, diagnosis, pd_given,
                                   near_pd_given, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        patient,
        prescription.prescriber,
        npi,
        prescription.written_on,
        prescription.expires_on,
        prescription.diagnosis,
        pd_given,
        near_given,
        added_at
    )
    .execute(&mut *tx)
    .await?;
    for (eye, rx) in prescription.eyes.iter() {
        let (key, typed) = (eye.name(), prescription.typed.get(eye));
        let has_power = *prescription.has_power.get(eye);
        let (sphere, cylinder) = (rx.power.sphere().hundredths(), rx.power.cylinder().hundredths());
        let (sphere, cylinder) = (has_power.then_some(sphere), has_power.then_some(cylinder));
        let axis = rx.power.axis().map(|axis| axis.degrees());
        let (base_in, base_up) = (rx.prism.base_in().hundredths(), rx.prism.base_up().hundredths());
        let (pd, near_pd) = (given_mono(far, eye), near.and_then(|pd| given_mono(pd, eye)));
        sqlx::query!(
            "insert into prescription_eye (prescription_id, eye, typed, sphere_hundredths, cylinder_hundredths, axis_deg,
                                           prism_in_hundredths, prism_up_hundredths, pd_hundredths, near_pd_hundredths)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            id,
            key,
            typed,
            sphere,
            cylinder,
            axis,
            base_in,
            base_up,
            pd,
            near_pd
        )
        .execute(&mut *tx)
        .await?;
    }
    Ok(id)
}
