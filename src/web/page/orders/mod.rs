//! Taking an order on one page, new or as new lenses for the frame of an earlier job.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use serde::Deserialize;
use uuid::Uuid;

use super::understood::Understood;
use super::{Chrome, PageResult, go, show, show_again};
use crate::desk::frame::Rim;
use crate::desk::money::Cents;
use crate::desk::payment::PaymentKind;
use crate::optics::Eye;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

mod context;
mod reading;

use context::OrderContext;
use reading::{OrderCaution, read_order};

#[derive(Deserialize)]
pub(crate) struct Begin {
    customer: Option<Uuid>,
    frame: Option<Uuid>,
}

/// A fresh page has a key in its address, so that a reload finds what was typed and a second click finds the job.
pub(crate) async fn new_order(State(state): State<AppState>, Query(begin): Query<Begin>) -> PageResult {
    let mut form = Form::default();
    if let Some(id) = begin.customer {
        let customer = state.store.get_customer(id).await?;
        form.set("customer_id", id.to_string());
        form.set("customer_name", customer.person.name);
    }
    if let Some(id) = begin.frame {
        let frame = state.store.get_frame(id).await?;
        form.set("frame_id", id.to_string());
        form.set("frame_name", frame.details.to_string());
    }
    begin_order(&state, &form).await
}

/// New lenses for the frame of an earlier job: its customer, shape, pupil distance and lens stand filled in, the
/// prescription is asked for, and no frame is.
pub(crate) async fn new_lenses(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let mut form = Form::default();
    form.set("relens_of", number.to_string());
    form.set("customer_id", job.customer.id.to_string());
    form.set("customer_name", job.customer.person.name.clone());
    form.set("pd", job.prescription.pupil_distance.to_string());
    if let Some(near) = job.prescription.near_pupil_distance {
        form.set("near_pd", near.to_string());
    }
    form.set("made_for", job.made_for.key());
    form.set("design", job.design.key());
    for eye in Eye::BOTH {
        form.set(&format!("height_{}", eye.name()), job.eyes.get(eye).height.to_string());
    }
    // The version on sale now of what the earlier pair was made of.
    let materials = state.store.list_materials().await?;
    if let Some(material) = materials.iter().find(|m| m.line == job.material.line) {
        form.set("material", material.id.to_string());
    }
    let treatments = state.store.list_treatments().await?;
    for (field, earlier) in [("coating", &job.coating), ("tint", &job.tint)] {
        if let Some(now) = earlier.as_ref().and_then(|e| treatments.iter().find(|t| t.line == e.line)) {
            form.set(field, now.id.to_string());
        }
    }
    begin_order(&state, &form).await
}

async fn begin_order(state: &AppState, form: &Form) -> PageResult {
    let key = Uuid::now_v7();
    if !form.fields().is_empty() {
        state.store.keep_draft(&key.to_string(), form.fields(), state.clock.now()).await?;
    }
    go(&format!("/orders/{key}"))
}

pub(crate) async fn show_order(State(state): State<AppState>, Path(key): Path<Uuid>) -> PageResult {
    let draft = state.store.find_draft(&key.to_string()).await?.unwrap_or_default();
    if let Some(number) = draft.outcome {
        return go(&format!("/jobs/{number}?already=order"));
    }
    let mut form = Form::new(draft.fields);
    let context = OrderContext::load(&state, &mut form).await?;
    context.fill_in(&mut form);
    show(&OrderPage::of(&state, key, form, &context, Vec::new()))
}

pub(crate) async fn take_order(
    State(state): State<AppState>,
    Path(key): Path<Uuid>,
    Posted(fields): Posted<Fields>,
) -> Result<Response, WebError> {
    let name = key.to_string();
    let mut form = Form::new(fields);
    // What was typed is safe before anything is judged.
    state.store.keep_draft(&name, form.fields(), state.clock.now()).await?;
    if let Some(number) = state.store.find_draft(&name).await?.and_then(|d| d.outcome) {
        return go(&format!("/jobs/{number}?already=order"));
    }
    let context = OrderContext::load(&state, &mut form).await?;
    let (order, cautions) = read_order(&mut form, &context);
    let looks_only = form.value("intent") == "look";
    match order {
        Some(order) if !looks_only => match state.store.take_order(&name, &order, state.clock.now()).await? {
            Once::Now(number) => go(&format!("/jobs/{number}")),
            Once::Before(number) => go(&format!("/jobs/{number}?already=order")),
        },
        Some(_) => show(&OrderPage::of(&state, key, form, &context, cautions)),
        None if looks_only && form.is_fine() => show(&OrderPage::of(&state, key, form, &context, cautions)),
        None => show_again(&OrderPage::of(&state, key, form, &context, cautions)),
    }
}

#[derive(Template)]
#[template(path = "orders/show.html")]
struct OrderPage {
    chrome: Chrome,
    key: Uuid,
    form: Form,
    problems: usize,
    relens: Option<Relens>,
    customer: Option<(String, String)>,
    namesakes: Vec<(String, String)>,
    frame: Option<String>,
    frames_alike: Vec<(String, String)>,
    rims: Vec<(&'static str, &'static str)>,
    materials: Vec<(String, String)>,
    coatings: Vec<(String, String)>,
    tints: Vec<(String, String)>,
    payments: Vec<(&'static str, &'static str)>,
    right: EyeField,
    left: EyeField,
    pd: Understood,
    near_pd: Understood,
    last: Option<Last>,
    cautions: Vec<OrderCaution>,
    seen: String,
    bill: Option<Bill>,
}

/// The earlier job a re-lens is made for.
struct Relens {
    number: i64,
    frame: String,
    has_shape: bool,
    size: String,
}

/// One eye's field with what was understood, and what changed since last time.
struct EyeField {
    understood: Understood,
    change: Option<String>,
}

/// The last prescription of this person.
struct Last {
    number: i64,
    day: String,
    right: String,
    left: String,
    pd: String,
}

/// The bill as it stands.
struct Bill {
    lines: Vec<(String, &'static str, String, String)>,
    notes: Vec<String>,
    total: String,
    /// What is paid now and what is owed then.
    paid: Option<(String, String)>,
}

impl OrderPage {
    fn of(state: &AppState, key: Uuid, form: Form, context: &OrderContext, cautions: Vec<OrderCaution>) -> Self {
        let eye = |eye: Eye| {
            let name = format!("rx_{}", eye.name());
            let text = form.value(&name);
            let reading = crate::optics::prescription::read(text).ok();
            EyeField {
                // A field that is refused has its sentence already.
                understood: match () {
                    () if form.error(&name).is_some() => Understood::default(),
                    // A draft shown again says what was said while it was typed.
                    () if cautions.is_empty() => Understood::of_text(text).with_cautions_of_eye(eye, text),
                    () => Understood::of_text(text),
                },
                change: reading
                    .zip(context.last.as_ref())
                    .map(|(reading, last)| super::job_bar::change_words(last.prescription.eyes.get(eye), &reading.rx)),
            }
        };
        let treatments = |kind: &str| {
            context
                .treatments
                .iter()
                .filter(|t| t.details.kind.key() == kind)
                .map(|t| (t.id.to_string(), format!("{}, {} a lens", t.details.name, t.details.price)))
                .collect()
        };
        let distance = |name: &str| match form.error(name) {
            Some(_) => Understood::default(),
            None => Understood::of_distance(form.value(name)),
        };
        Self {
            chrome: Chrome::new(state, "order"),
            key,
            problems: form.count_errors(),
            relens: context.relens.as_ref().map(|job| Relens {
                number: job.number,
                frame: job.frame.details.to_string(),
                has_shape: job.shape.is_some(),
                size: context.box_words.clone(),
            }),
            customer: context.customer.as_ref().map(|c| (c.id.to_string(), c.person.label())),
            namesakes: context
                .namesakes
                .iter()
                .map(|c| (c.id.to_string(), c.person.label().replace('\n', ", ")))
                .collect(),
            frame: context.frame.as_ref().map(|f| format!("{}; {}", f.details, f.details.rim.words())),
            frames_alike: context.frames_alike.iter().map(|f| (f.id.to_string(), f.details.to_string())).collect(),
            rims: Rim::ALL.iter().map(|r| (r.key(), r.words())).collect(),
            materials: context
                .materials
                .iter()
                .map(|m| (m.id.to_string(), format!("{}, {} a lens", m.details.name, m.details.price)))
                .collect(),
            coatings: treatments("coating"),
            tints: treatments("tint"),
            payments: PaymentKind::ALL.iter().map(|k| (k.key(), k.key())).collect(),
            right: eye(Eye::Right),
            left: eye(Eye::Left),
            pd: distance("pd"),
            near_pd: distance("near_pd"),
            last: context.last.as_ref().map(|job| Last {
                number: job.number,
                day: words::day(&job.ordered_on),
                right: job.prescription.eyes.right.to_string(),
                left: job.prescription.eyes.left.to_string(),
                pd: job.prescription.pupil_distance.to_string(),
            }),
            seen: reading::seen_mark(&cautions),
            cautions,
            bill: reading::bill_of(&form, context).map(|(charges, notes)| {
                let total: Cents = charges.iter().map(|c| c.amount).sum();
                let paid = form.value("payment").parse::<Cents>().ok();
                Bill {
                    total: total.to_string(),
                    paid: paid.map(|paid| (paid.to_string(), (total - paid).to_string())),
                    lines: charges
                        .into_iter()
                        .map(|c| (c.what, c.eye.map_or("", Eye::letter), c.code, c.amount.to_string()))
                        .collect(),
                    notes,
                }
            }),
            form,
        }
    }
}
