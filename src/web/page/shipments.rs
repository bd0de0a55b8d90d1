//! The parcel: who carries it, when it left, where it went, and the slip on its outside.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};
use time::Date;

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::job::{Job, Stage};
use crate::desk::packing::OUTSIDE;
use crate::desk::step::Step;
use crate::desk::text;
use crate::print::slip::{Slip, SlipFacts};
use crate::store::draft::Fields;
use crate::store::shipment::{SentParcel, Shipment};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "shipments/show.html")]
struct ShipmentPage {
    chrome: Chrome,
    bar: JobBar,
    number: i64,
    not_yet: Option<String>,
    customer_id: String,
    customer: String,
    address: Vec<String>,
    has_address: bool,
    owed: Option<String>,
    /// The newest parcel, where it did not come back.
    sent: Option<SentRow>,
    /// The parcels before it.
    earlier: Vec<SentRow>,
    form: Option<Form>,
    key: String,
    problems: usize,
    carriers: Vec<String>,
    outside: &'static str,
}

/// A parcel that left.
struct SentRow {
    /// What became of it, and when, where it came back or was lost.
    back: Option<(String, String)>,
    on: String,
    carrier: String,
    tracking: String,
    address: Vec<String>,
}

impl SentRow {
    fn of(parcel: SentParcel) -> Self {
        let SentParcel { shipment, back } = parcel;
        Self {
            back: back.map(|back| (back.day_words(), back.words())),
            on: words::day(&shipment.sent_on),
            carrier: shipment.carrier,
            tracking: shipment.tracking,
            address: lines(&shipment.address),
        }
    }
}

fn lines(text: &str) -> Vec<String> {
    text.lines().map(str::to_owned).collect()
}

async fn page(state: &AppState, job: &Job, refused: Option<StepForm>) -> Result<ShipmentPage, WebError> {
    let parcels = state.store.list_parcels(job.number).await?.into_iter().map(SentRow::of);
    let (mut sent, earlier): (Vec<_>, Vec<_>) = parcels.partition(|parcel| parcel.back.is_none());
    let sent = sent.pop();
    let StepForm { key, mut form } = StepForm::again_or_open(refused, state, job, Step::Shipment).await?;
    form.set_default(ShipmentForm::SENT_ON, words::iso(&state.clock.today()));
    let carriers = state.store.list_carriers().await?;
    form.set_default(ShipmentForm::CARRIER, carriers.first().cloned().unwrap_or_default());
    let form = Some(form).filter(|_| job.stage() == Stage::Packed);
    Ok(ShipmentPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "shipment", state),
        number: job.number,
        not_yet: job.not_yet(Stage::Packed),
        customer_id: job.recipient.id.to_string(),
        customer: job.recipient.person.name.clone(),
        address: lines(&job.recipient.person.label()),
        has_address: job.recipient.person.has_address(),
        owed: (job.owed().cents() > 0).then(|| job.owed().to_string()),
        sent,
        earlier,
        problems: form.as_ref().map_or(0, Form::count_errors),
        form,
        key,
        carriers,
        outside: OUTSIDE,
    })
}

pub(crate) async fn show_shipment(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    show(&page(&state, &job, None).await?)
}

pub(crate) async fn create_shipment(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Shipment, fields).await?;
    let Some(shipment) = ShipmentForm::read(&mut post.form, &post.job, state.clock.today()) else {
        return show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?);
    };
    let done = state.store.insert_shipment(&post.act, number, &shipment, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.goes_on(&state, done).await,
        None => show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?),
    }
}

/// The fields of the parcel's form.
pub(in crate::web) struct ShipmentForm;

impl ShipmentForm {
    pub(in crate::web) const CARRIER: &str = "carrier";
    const TRACKING: &str = "tracking";
    const SENT_ON: &str = "sent_on";
    const ADDRESS: &str = "address";

    fn read(form: &mut Form, job: &Job, today: Date) -> Option<Shipment> {
        let carrier = form.read(Self::CARRIER, |t| text::needed("The carrier", t, 80));
        let tracking = form.read(Self::TRACKING, |t| text::line("The tracking number", t, 60));
        let sent_on = form.read(Self::SENT_ON, |t| read_sent_on(t, job.ordered_on, today));
        if !job.recipient.person.has_address() {
            form.fail(Self::ADDRESS, "The address is not complete");
        }
        let (carrier, tracking, sent_on) = (carrier?, tracking?, sent_on?);
        form.is_fine().then(|| Shipment { carrier, tracking, sent_on, address: job.recipient.person.label() })
    }
}

fn read_sent_on(typed: &str, ordered_on: Date, today: Date) -> Result<Date, String> {
    let day = words::parse_day(typed)?;
    match () {
        () if day > today => Err("That day is in the future: record the parcel on the day it is sent".to_owned()),
        () if day < ordered_on => Err(format!("That is before the order of {}", words::day(&ordered_on))),
        () => Ok(day),
    }
}

pub(crate) async fn print_slip(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    // The slip of a parcel that came back is not the slip of the next one.
    let shipment = state.store.find_shipment(number).await?.filter(|_| job.sent_on.is_some());
    if shipment.is_none() && !job.recipient.person.has_address() {
        return Err(WebError::OutOfTurn(format!(
            "{} has no complete address yet: a street line, a town and a postal code are needed for the slip.",
            job.recipient.person.name
        )));
    }
    let label = job.recipient.person.label();
    show(&Slip::of(&SlipFacts {
        lab: &state.lab(),
        job_number: number,
        address: shipment.as_ref().map_or(&label, |s| &s.address),
        carrier: shipment.as_ref().map_or("", |s| &s.carrier),
        tracking: shipment.as_ref().map_or("", |s| &s.tracking),
        sent_on: shipment.as_ref().map(|s| s.sent_on),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn a_parcel_leaves_between_the_order_and_today() {
        let (ordered, today) = (date!(2026 - 11 - 20), date!(2026 - 11 - 25));
        assert_eq!(read_sent_on("2026-11-20", ordered, today), Ok(ordered));
        assert_eq!(read_sent_on("2026-11-25", ordered, today), Ok(today));
        assert!(read_sent_on("2026-11-26", ordered, today).is_err_and(|e| e.contains("in the future")));
        assert!(read_sent_on("2026-11-19", ordered, today).is_err_and(|e| e.contains("before the order")));
    }
}
