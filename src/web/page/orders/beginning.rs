//! What an order page starts from: a customer, a frame, or an earlier job. It stands in the address of the page until
//! something is typed, so that nothing is written only because a page was opened.

use super::OrderForm;
use super::remake::RemakeForm;
use crate::desk::id::{CustomerId, FrameId};
use crate::desk::job::Job;
use crate::optics::Eye;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::page::key_of;
use crate::web::page::party::fill_people;

/// The fields of an address that say what an order page starts from.
pub(super) struct Beginning {
    asked: Form,
}

impl Beginning {
    const CUSTOMER: &str = "customer";
    const FRAME: &str = "frame";
    /// An earlier job that the new one is to be like.
    const LIKE: &str = "like";
    /// An earlier job whose frame gets new lenses.
    pub(super) const LENSES_FOR: &str = "lenses_for";
    /// An earlier job that is made again. The fields of the short form say why.
    pub(super) const REMAKE_OF: &str = "remake_of";
    /// A job that was taken from the same page before.
    pub(super) const AFTER: &str = "after";

    /// Keeps the fields that a page knows.
    pub(super) fn read(asked: &Fields) -> Self {
        let own = [Self::CUSTOMER, Self::FRAME, Self::LIKE, Self::LENSES_FOR, Self::REMAKE_OF, Self::AFTER];
        let is_known = |name: &str| own.contains(&name) || RemakeForm::FIELDS.contains(&name);
        Self { asked: Form::new(asked.iter().filter(|(name, _)| is_known(name)).cloned().collect()) }
    }

    /// A beginning of these fields.
    pub(super) fn of<const N: usize>(fields: [(&str, String); N]) -> Self {
        Self { asked: Form::of(fields) }
    }

    /// The end of the address, with its question mark; empty when there is nothing to start from.
    pub(super) fn query(&self) -> String {
        let pairs = self.asked.fields().iter().map(|(name, value)| format!("{}={}", encoded(name), encoded(value)));
        let query = pairs.collect::<Vec<_>>().join("&");
        if query.is_empty() { query } else { format!("?{query}") }
    }

    /// The job that was taken from the same page before.
    pub(super) fn after(&self) -> Option<i64> {
        self.asked.value(Self::AFTER).parse().ok()
    }

    /// The fields of the order page.
    pub(super) async fn fill(&self, state: &AppState) -> Result<Form, WebError> {
        let mut form = Form::default();
        let said = |name: &str| Some(self.asked.value(name)).filter(|value| !value.is_empty());
        if let Some(number) = said(Self::LIKE) {
            fill_like(state, &*state.store.get_job(number_of(number)?).await?, &mut form).await?;
        }
        if let Some(id) = said(Self::CUSTOMER) {
            let customer = state.store.get_customer(key_of::<CustomerId>(id, "That customer")?).await?;
            form.set(OrderForm::CUSTOMER_ID, customer.id.to_string());
            form.set(OrderForm::CUSTOMER_NAME, customer.person.name);
        }
        if let Some(id) = said(Self::FRAME) {
            let frame = state.store.get_frame(key_of::<FrameId>(id, "That frame")?).await?;
            form.set(OrderForm::FRAME_ID, frame.id.to_string());
            form.set(OrderForm::FRAME_NAME, frame.details.to_string());
        }
        if let Some(number) = said(Self::LENSES_FOR) {
            let job = state.store.get_job_or_record(number_of(number)?).await?;
            form.set(OrderForm::RELENS_OF, job.number.to_string());
            fill_lens(state, &job, &mut form).await?;
        }
        if let Some(number) = said(Self::REMAKE_OF) {
            let job = state.store.get_job(number_of(number)?).await?;
            let remake = RemakeForm::read(&mut self.asked.clone(), &job);
            let remake = remake.ok_or_else(|| WebError::NotFound("This remake".to_owned()))?;
            remake.fill(state, &job, &mut form).await?;
        }
        Ok(form)
    }
}

/// A text as it stands in an address: every byte but letters, digits, `-` and `_` in hexadecimal.
fn encoded(text: &str) -> String {
    let byte = |byte: u8| match byte {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' => char::from(byte).to_string(),
        other => format!("%{other:02X}"),
    };
    text.bytes().map(byte).collect()
}

fn number_of(text: &str) -> Result<i64, WebError> {
    key_of(text, "That job number")
}

/// The same customer, frame, prescription and lens once more.
async fn fill_like(state: &AppState, job: &Job, form: &mut Form) -> Result<(), WebError> {
    fill_lens(state, job, form).await?;
    form.set(OrderForm::FRAME_ID, job.frame.id.to_string());
    form.set(OrderForm::FRAME_NAME, job.frame.details.to_string());
    form.set(OrderForm::NOTE, job.note.clone());
    OrderForm::fill_prescription(form, &job.prescription);
    Ok(())
}

/// The customer of an earlier job, its pupil distance and its lens.
pub(super) async fn fill_lens(state: &AppState, job: &Job, form: &mut Form) -> Result<(), WebError> {
    form.set(OrderForm::CUSTOMER_ID, job.customer.id.to_string());
    form.set(OrderForm::CUSTOMER_NAME, job.customer.person.name.clone());
    fill_people(form, job);
    if job.knows_pd() {
        form.set(OrderForm::PD, job.prescription.pupil_distance.typed());
    }
    if let Some(near) = job.prescription.near_pupil_distance {
        form.set(OrderForm::NEAR_PD, near.to_string());
    }
    form.set(OrderForm::MADE_FOR, job.made_for.key());
    form.set(OrderForm::DESIGN, job.design.key());
    for eye in Eye::BOTH {
        form.set(OrderForm::height(eye), job.eyes.get(eye).height.typed());
    }
    // The version on sale now of what the earlier pair was made of.
    let materials = state.store.list_materials().await?;
    if let Some(material) = materials.iter().find(|m| m.id == job.material.id) {
        form.set(OrderForm::MATERIAL, material.version.to_string());
    }
    let treatments = state.store.list_treatments().await?;
    for (field, earlier) in [
        (OrderForm::COATING, &job.coating),
        (OrderForm::SECOND_COATING, &job.second_coating),
        (OrderForm::TINT, &job.tint),
    ] {
        if let Some(now) = earlier.as_ref().and_then(|e| treatments.iter().find(|t| t.id == e.id)) {
            form.set(field, now.version.to_string());
        }
    }
    Ok(())
}
