//! What the order page loads: the catalogue, the chosen customer and frame, the earlier job.

use super::super::party::PeopleFacts;
use super::form::OrderForm;
use crate::desk::catalogue::{Material, Treatment};
use crate::desk::customer::Customer;
use crate::desk::deadline::promise;
use crate::desk::frame::Frame;
use crate::desk::frame_shape::FrameShape;
use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::desk::order::Design;
use crate::desk::payment::PaymentKind;
use crate::desk::prescription::MadeFor;
use crate::optics::Pair;
use crate::optics::notation::short;
use crate::optics::unit::Tilt;
use crate::shape::boxing::Boxing;
use crate::store::StoreError;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};
use std::sync::Arc;
use time::Date;

/// Everything the order page reads from the book.
pub struct OrderContext {
    /// The day at the counter.
    pub today: Date,
    /// The lab.
    pub lab: Arc<Lab>,
    /// On sale.
    pub materials: Vec<Material>,
    /// On sale.
    pub treatments: Vec<Treatment>,
    /// The chosen customer.
    pub customer: Option<Customer>,
    /// Customers of the same name, when none was chosen.
    pub namesakes: Vec<Customer>,
    /// Who pays and who gets the parcel.
    pub(super) people: PeopleFacts,
    /// The chosen frame.
    pub frame: Option<Frame>,
    /// The pantoscopic tilt of the frame on the newest job in it.
    pub tilt: Option<Tilt>,
    /// Frames that what was typed could mean, when none was chosen.
    pub frames_alike: Vec<Frame>,
    /// The earlier job a re-lens is made for.
    pub relens: Option<Arc<Job>>,
    /// Its shape.
    pub shape: Option<FrameShape>,
    /// The box of that shape.
    pub boxes: Option<Pair<Boxing>>,
    /// The box in words.
    pub box_words: String,
    /// The earlier job, or the customer's last one, to compare with.
    pub last: Option<Arc<Job>>,
}

impl OrderContext {
    /// Reads what the form names. A key that is not in the book (an old page) is taken out of the form.
    pub async fn load(state: &AppState, form: &mut Form) -> Result<Self, WebError> {
        let store = &state.store;
        let relens = match form.value(OrderForm::RELENS_OF).parse::<i64>() {
            Ok(number) => present(store.get_job_or_record(number).await)?,
            Err(_) => None,
        };
        let customer = match form.value(OrderForm::CUSTOMER_ID).parse() {
            Ok(id) => present(store.get_customer(id).await)?,
            Err(_) => None,
        };
        if customer.is_none() && form.value(OrderForm::CUSTOMER_ID) != OrderForm::NEW_CUSTOMER {
            form.set(OrderForm::CUSTOMER_ID, "");
        }
        let name = form.value(OrderForm::CUSTOMER_NAME).trim();
        let namesakes =
            if customer.is_none() && !name.is_empty() { store.list_namesakes(name, 20).await? } else { Vec::new() };
        let people = PeopleFacts::load(store, form).await?;
        let frame = match form.value(OrderForm::FRAME_ID).parse() {
            Ok(id) => present(store.get_frame(id).await)?,
            Err(_) => None,
        };
        if frame.is_none() {
            form.set(OrderForm::FRAME_ID, "");
        }
        let tilt = match (&relens, &frame) {
            (Some(job), _) => job.frame_position.map(|position| position.panto),
            (None, Some(frame)) => store.find_frame_position(frame.id).await?.map(|position| position.panto),
            (None, None) => None,
        };
        let typed = form.value(OrderForm::FRAME_NAME).trim().to_owned();
        let frames_alike =
            if frame.is_none() && !typed.is_empty() { store.list_frames(&typed, 8).await? } else { Vec::new() };
        let last = match (&relens, &customer) {
            (Some(job), _) => Some(job.clone()),
            (None, Some(customer)) => match store.find_last_job_of(customer.id).await? {
                Some(number) => present(store.get_job_or_record(number).await)?,
                None => None,
            },
            (None, None) => None,
        };
        let shape = match &relens {
            Some(job) => store.find_job_shape(job).await?,
            None => None,
        };
        let boxes = shape.as_ref().map(|shape| shape.traces.as_ref().map(|t| Boxing::of(&t.outline())));
        let (mut materials, mut treatments) = (store.list_materials().await?, store.list_treatments().await?);
        // A remake is of what the pair was made of, on sale or not.
        if let Some(job) = relens.as_ref().filter(|_| !form.value(OrderForm::REMAKE_CAUSE).is_empty()) {
            with_own(&mut materials, &job.material, |material| material.id);
            for own in [&job.coating, &job.second_coating, &job.tint].into_iter().flatten() {
                with_own(&mut treatments, own, |treatment| treatment.id);
            }
        }
        Ok(Self {
            today: state.clock.today(),
            lab: state.lab(),
            materials,
            treatments,
            box_words: box_words(shape.as_ref(), boxes.as_ref()),
            shape,
            customer,
            namesakes,
            people,
            frame,
            tilt,
            frames_alike,
            relens,
            boxes,
            last,
        })
    }

    /// The same for the correction of a job: what it was ordered in is on the lists, whether or not it is still on sale.
    pub(super) async fn of_job(state: &AppState, job: &Arc<Job>, form: &mut Form) -> Result<Self, WebError> {
        form.set(OrderForm::CUSTOMER_ID, job.customer.id.to_string());
        let mut context = Self::load(state, form).await?;
        with_own(&mut context.materials, &job.material, |material| material.id);
        for own in [&job.coating, &job.second_coating, &job.tint].into_iter().flatten() {
            with_own(&mut context.treatments, own, |treatment| treatment.id);
        }
        context.shape = state.store.find_job_shape(job).await?;
        context.boxes = context.shape.as_ref().map(|shape| shape.traces.as_ref().map(|t| Boxing::of(&t.outline())));
        context.last = Some(Arc::clone(job));
        context.tilt = job.frame_position.map(|position| position.panto);
        Ok(context)
    }

    /// What a fresh page offers.
    pub fn fill_in(&self, form: &mut Form) {
        form.set_default(OrderForm::ORDERED_ON, words::iso(&self.today));
        form.set_default(
            OrderForm::PROMISED_ON,
            words::iso(&promise(self.today, self.lab.lead_days, &self.lab.closed)),
        );
        form.set_default(OrderForm::MADE_FOR, MadeFor::Distance.key());
        form.set_default(OrderForm::DESIGN, Design::Spherical.key());
        form.set_default(OrderForm::PAYMENT_KIND, PaymentKind::Card.key());
        form.set_default(OrderForm::PRICE_SHIPPING, self.lab.shipping.plain());
        if let Some(tilt) = self.tilt {
            form.set_default(OrderForm::TILT, short(tilt.to_f64()));
        }
        if let Some(first) = self.materials.first() {
            form.set_default(OrderForm::MATERIAL, first.version.to_string());
        }
        if let Some(frame) = self.frame.as_ref().filter(|_| self.relens.is_none()) {
            form.set_default(OrderForm::PRICE_FRAME, frame.details.price.plain());
        }
    }
}

/// Puts the version that a job was ordered in in the place of the one on sale.
fn with_own<T: Clone, Id: PartialEq>(on_sale: &mut Vec<T>, own: &T, id: impl Fn(&T) -> Id) {
    match on_sale.iter_mut().find(|other| id(other) == id(own)) {
        Some(newest) => *newest = own.clone(),
        None => on_sale.push(own.clone()),
    }
}

pub(super) fn present<T>(found: Result<T, StoreError>) -> Result<Option<T>, WebError> {
    match found {
        Ok(value) => Ok(Some(value)),
        Err(StoreError::NotFound(_) | StoreError::Erased { .. }) => Ok(None),
        Err(other) => Err(other.into()),
    }
}

fn box_words(shape: Option<&FrameShape>, boxes: Option<&Pair<Boxing>>) -> String {
    match (shape, boxes) {
        (Some(shape), Some(boxes)) => {
            let traced = shape.job_number.map(|number| format!(", traced for job {number}")).unwrap_or_default();
            format!("A {:.2}, B {:.2}, DBL {} mm{traced}", boxes.right.a_mm, boxes.right.b_mm, shape.dbl)
        }
        _ => String::new(),
    }
}
