//! Taking an order on one page, new or as new lenses for the frame of an earlier job.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use uuid::Uuid;

use super::customers::CustomerForm;
use super::drafts::{SecondWindow, WindowQuery, take_filled};
use super::party::PartyPart;
use super::understood::Understood;
use super::{Chrome, PageResult, act_of, go, key_of, show, show_again};
use crate::desk::bill::Charge;
use crate::desk::catalogue::{Material, TreatmentKind};
use crate::desk::frame::Rim;
use crate::desk::job::EyeTask;
use crate::desk::money::Cents;
use crate::desk::payment::PaymentKind;
use crate::desk::remake::RemakePayer;
use crate::optics::{Eye, Pair};
use crate::store::draft::{Fields, KeptDraft, TypingWindow, mark};
use crate::store::once::Once;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::parse_day;
use crate::web::{AppState, words};

mod beginning;
mod bill;
mod cautions;
mod context;
pub(in crate::web) mod correction;
mod form;
pub(in crate::web) mod remake;
mod summary;
mod unfinished;

use beginning::Beginning;
use cautions::{OrderCaution, seen_mark};
use context::OrderContext;
pub(in crate::web) use form::{FrameFields, OrderForm};
use form::{TypedDistance, TypedEye};
use summary::Summary;
pub(in crate::web) use summary::show_summary;

/// A fresh page has a key in its address, so that a reload finds what was typed and a second click finds the job. What
/// the page starts from stays in the address too: opening a page writes nothing.
pub(crate) async fn new_order(State(state): State<AppState>, Query(asked): Query<Fields>) -> PageResult {
    begin_order(&state, &Beginning::read(&asked)).await
}

/// New lenses for the frame of an earlier job.
pub(crate) async fn new_lenses(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    begin_order(&state, &Beginning::of([(Beginning::LENSES_FOR, number.to_string())])).await
}

/// On to an order page that starts so, if there is such a thing.
async fn begin_order(state: &AppState, beginning: &Beginning) -> PageResult {
    beginning.fill(state).await?;
    go(&format!("/orders/{}{}", Uuid::now_v7(), beginning.query()))
}

pub(crate) async fn show_order(
    State(state): State<AppState>,
    Path(key): Path<Uuid>,
    Query(asked): Query<Fields>,
) -> PageResult {
    let draft = state.store.find_draft(&key.to_string()).await?.unwrap_or_default();
    let filled = mark(&draft.fields);
    if let Some(number) = draft.outcome {
        return go(&format!("/jobs/{number}?already=order"));
    }
    let beginning = Beginning::read(&asked);
    let mut form = match draft.fields.is_empty() {
        true => beginning.fill(&state).await?,
        false => Form::new(draft.fields),
    };
    let context = OrderContext::load(&state, &mut form).await?;
    context.fill_in(&mut form);
    // A draft is not judged yet: it says what was understood, not what is wrong.
    let read = OrderForm::read(&mut form.clone(), &context);
    let summary = Summary::of(&state, &form, &context, &read).await?;
    let read = OrderForm { cautions: Vec::new(), ..read };
    let page = OrderPage { after: beginning.after(), ..OrderPage::of(&state, key, form, &context, read, summary) };
    show(&OrderPage { filled, ..page })
}

pub(crate) async fn take_order(
    State(state): State<AppState>,
    Path(key): Path<Uuid>,
    Query(window): Query<WindowQuery>,
    Posted(mut fields): Posted<Fields>,
) -> Result<Response, WebError> {
    let filled_from = take_filled(&mut fields);
    let mut form = Form::new(fields);
    if let Some(answer) = taken_before(&state, &key.to_string(), &form).await? {
        return Ok(answer);
    }
    // What was typed is safe before anything is judged. Another window may have the order under this key.
    let writer = window.writer(state.clock);
    // A script names its window. Without one, the draft that the page was filled in with tells the windows apart.
    let filled_from = filled_from.filter(|_| writer.window.is_empty());
    let writer = TypingWindow { filled_from, ..writer };
    let kept = state.store.keep_draft(&key.to_string(), form.fields(), &writer, state.clock.now()).await?;
    let filled = mark(form.fields());
    let (key, second_window) = match kept {
        KeptDraft::Aside { key: aside, taken } => {
            let other = Some(format!("/orders/{key}"));
            (key_of(&aside, "That order")?, Some(SecondWindow { other, taken }))
        }
        _ => (key, None),
    };
    let page = |form, context: &OrderContext, read, summary| {
        let page = OrderPage::of(&state, key, form, context, read, summary);
        OrderPage { filled: filled.clone(), second_window: second_window.clone(), ..page }
    };
    let name = key.to_string();
    if let Some(answer) = taken_before(&state, &name, &form).await? {
        return Ok(answer);
    }
    if OrderForm::goes_to_photo(&form) {
        return go(&format!("/orders/{key}/measuring"));
    }
    let act = act_of(&name, &form);
    let context = OrderContext::load(&state, &mut form).await?;
    if OrderForm::takes_heights(&form) {
        OrderForm::fill_heights(&mut form, context.tilt);
        if form.is_fine() {
            form.set(OrderForm::INTENT, "");
            state.store.keep_draft(&name, form.fields(), &writer, state.clock.now()).await?;
            return go(&format!("/orders/{key}"));
        }
        let read = OrderForm::read(&mut form.clone(), &context);
        let summary = Summary::of(&state, &form, &context, &read).await?;
        return show_again(&page(form, &context, read, summary));
    }
    let mut read = OrderForm::read(&mut form, &context);
    let again = context.relens.as_ref().filter(|_| read.remake.is_some());
    if let Some(why) = again.and_then(|job| remake::refusal(job)) {
        return Err(WebError::OutOfTurn(why));
    }
    if OrderForm::looks_only(&form) && (read.order.is_some() || form.is_fine()) {
        let summary = Summary::of(&state, &form, &context, &read).await?;
        return show(&page(form, &context, read, summary));
    }
    if let Some(order) = read.order.take() {
        let taken = state.store.take_order(&act, &order, state.clock.now()).await;
        match form.kept(taken)? {
            Some(Once::Now(number)) => return go(&format!("/jobs/{number}")),
            Some(Once::Before(number)) => return go(&format!("/jobs/{number}?already=order")),
            None => name_the_customer(&mut form),
        }
    }
    let summary = Summary::of(&state, &form, &context, &read).await?;
    show_again(&page(form, &context, read, summary))
}

/// Where a form leads whose order, or another order under its key, was taken before.
async fn taken_before(state: &AppState, key: &str, form: &Form) -> Result<Option<Response>, WebError> {
    if let Some(number) = state.store.find_outcome(&act_of(key, form)).await? {
        return go(&format!("/jobs/{number}?already=order")).map(Some);
    }
    match state.store.find_outcome(key).await? {
        Some(number) => begin_anew(state, form, &number).await.map(Some),
        None => Ok(None),
    }
}

/// The address of an order; `taken` is the job that was taken from the same page before.
pub(super) fn order_after(key: &str, taken: Option<&str>) -> String {
    match taken {
        Some(number) => format!("/orders/{key}?{}={number}", Beginning::AFTER),
        None => format!("/orders/{key}"),
    }
}

/// Another order was taken from this page, in a second window or before the Back button: what was typed since stands on
/// a page of its own.
async fn begin_anew(state: &AppState, form: &Form, taken: &str) -> PageResult {
    let key = Uuid::now_v7().to_string();
    state.store.keep_draft(&key, form.fields(), &TypingWindow::default(), state.clock.now()).await?;
    go(&order_after(&key, Some(taken)))
}

/// The name of a customer has another field here than on the customer's own page.
fn name_the_customer(form: &mut Form) {
    if let Some(why) = form.error(CustomerForm::NAME).map(str::to_owned) {
        form.fail(OrderForm::CUSTOMER_NAME, why);
    }
}

#[derive(Template)]
#[template(path = "orders/show.html")]
struct OrderPage {
    chrome: Chrome,
    key: Uuid,
    /// The mark of the draft that the page is filled in with.
    filled: String,
    /// What is said where another window has the same order.
    second_window: Option<SecondWindow>,
    /// The job that was taken from the same page before.
    after: Option<i64>,
    form: Form,
    problems: usize,
    relens: Option<Relens>,
    customer: Option<(String, String)>,
    namesakes: Vec<(String, String)>,
    parts: [PartyPart; 2],
    frame: Option<String>,
    frames_alike: Vec<(String, String)>,
    rims: Vec<(&'static str, &'static str)>,
    made: MadeView,
    /// Whether somebody else than the customer pays for a remake.
    is_free: bool,
    has_price: bool,
    has_extra_price: bool,
    payments: Vec<(&'static str, &'static str)>,
    last: Option<LastPrescription>,
    /// Why the lab is closed on the promised day.
    promise_closed: Option<String>,
    cautions: Vec<OrderCaution>,
    seen: String,
    summary: Summary,
}

/// The earlier job a re-lens is made for.
struct Relens {
    number: i64,
    frame: String,
    has_shape: bool,
    /// Where the shape and the frame's stamp differ.
    cautions: Vec<String>,
    size: String,
    /// Why it is made again, for a remake.
    remake: Option<String>,
}

/// One eye's field with what was understood, and what changed since last time.
struct EyeField {
    understood: Understood,
    change: Option<String>,
}

/// The fields of what is made, as templates/orders/_made.html shows them.
struct MadeView {
    /// Before what changed in an eye.
    since: &'static str,
    right: EyeField,
    left: EyeField,
    pd: Understood,
    near_pd: Understood,
    materials: Vec<(String, String)>,
    coatings: Vec<(String, String)>,
    has_second_coating: bool,
    /// Whether the vertex distance is asked for; `None` on a page that does not read it.
    asks_vertex: Option<bool>,
    tints: Vec<(String, String)>,
}

impl MadeView {
    fn of(
        form: &Form,
        context: &OrderContext,
        [pd, near_pd]: [&TypedDistance; 2],
        eyes: &Pair<TypedEye>,
        is_draft: bool,
    ) -> Self {
        let distance = |name: &str, typed: &TypedDistance| match form.error(name) {
            Some(_) => Understood::default(),
            None => Understood::of_distance(&typed.text, &typed.read),
        };
        let treatments = |kind: TreatmentKind| {
            let of_kind = context.treatments.iter().filter(|t| t.details.kind == kind);
            of_kind.map(|t| (t.version.to_string(), priced(&t.details.name, t.details.price))).collect()
        };
        let material = |m: &Material| (m.version.to_string(), priced(&m.details.name, m.details.price));
        Self {
            since: "Since last time",
            right: EyeField::of(form, context, eyes, Eye::Right, is_draft),
            left: EyeField::of(form, context, eyes, Eye::Left, is_draft),
            pd: distance(OrderForm::PD, pd),
            near_pd: distance(OrderForm::NEAR_PD, near_pd),
            materials: context.materials.iter().map(material).collect(),
            coatings: treatments(TreatmentKind::Coating),
            has_second_coating: OrderForm::is_filled(form, &[OrderForm::SECOND_COATING]),
            asks_vertex: None,
            tints: treatments(TreatmentKind::Tint),
        }
    }
}

fn priced(name: &str, price: Cents) -> String {
    format!("{name}, {price} a lens")
}

impl EyeField {
    fn of(form: &Form, context: &OrderContext, eyes: &Pair<TypedEye>, eye: Eye, is_draft: bool) -> Self {
        let typed = eyes.get(eye);
        let understood = Understood::of_prescription(&typed.text, &typed.read);
        Self {
            // A field that is refused has its sentence already.
            understood: match () {
                () if form.error(OrderForm::rx(eye)).is_some() => Understood::default(),
                () if is_draft => understood.with_cautions_of_eye(eye, &typed.read),
                () => understood,
            },
            change: change_since_last(eye, context, eyes),
        }
    }
}

/// The last prescription of this person.
struct LastPrescription {
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

impl Bill {
    fn of(charges: &[Charge], paid: Option<Cents>, notes: Vec<String>) -> Self {
        let total: Cents = charges.iter().map(|c| c.amount).sum();
        let line = |c: &Charge| (c.what.clone(), c.eye.map_or("", Eye::letter), c.code.clone(), c.amount.to_string());
        Self {
            lines: charges.iter().map(line).collect(),
            notes,
            total: total.to_string(),
            paid: paid.map(|paid| (paid.to_string(), (total - paid).to_string())),
        }
    }
}

/// What changed for an eye since the last prescription, in words.
fn change_since_last(eye: Eye, context: &OrderContext, eyes: &Pair<TypedEye>) -> Option<String> {
    let order = eyes.get(eye).read.as_ref().ok().filter(|order| order.task == EyeTask::Make)?;
    let before = (*context.last.as_ref()?.prescribed_eyes().get(eye))?;
    Some(super::job_bar::change_words(&before, &order.rx?))
}

impl OrderPage {
    fn of(state: &AppState, key: Uuid, form: Form, context: &OrderContext, read: OrderForm, summary: Summary) -> Self {
        // A draft shown again says what was said while it was typed.
        let is_draft = read.cautions.is_empty();
        let made = MadeView {
            asks_vertex: Some(read.asks_vertex || OrderForm::is_filled(&form, &OrderForm::VERTEX)),
            ..MadeView::of(&form, context, [&read.pd, &read.near_pd], &read.eyes, is_draft)
        };
        Self {
            chrome: Chrome::new(state, "order"),
            key,
            filled: String::new(),
            second_window: None,
            after: None,
            problems: form.count_errors(),
            relens: context.relens.as_ref().map(|job| Relens {
                number: job.number,
                frame: job.frame.details.to_string(),
                has_shape: job.shape.is_some(),
                cautions: context
                    .shape
                    .as_ref()
                    .map_or_else(Vec::new, |shape| shape.stamp_cautions(&job.frame.details)),
                size: context.box_words.clone(),
                remake: read.remake.as_ref().map(|remake| words::capital(&remake.words())),
            }),
            customer: context.customer.as_ref().map(|c| (c.id.to_string(), c.person.label())),
            namesakes: context
                .namesakes
                .iter()
                .map(|c| (c.id.to_string(), c.person.label().replace('\n', ", ")))
                .collect(),
            parts: context.people.parts(&form),
            frame: context.frame.as_ref().map(|f| format!("{}; {}", f.details, f.details.rim.words())),
            frames_alike: context.frames_alike.iter().map(|f| (f.id.to_string(), f.details.to_string())).collect(),
            rims: Rim::ALL.iter().map(|r| (r.key(), r.words())).collect(),
            made,
            is_free: read.remake.as_ref().is_some_and(|remake| remake.paid_by != RemakePayer::Customer),
            has_price: OrderForm::is_filled(&form, &OrderForm::USUAL_PRICES),
            has_extra_price: OrderForm::is_filled(&form, &OrderForm::EXTRA_PRICES),
            payments: PaymentKind::ALL.iter().map(|k| (k.key(), k.key())).collect(),
            last: context.last.as_ref().map(|job| LastPrescription {
                number: job.number,
                day: words::day(&job.ordered_on),
                right: job.eye_words(Eye::Right),
                left: job.eye_words(Eye::Left),
                pd: match job.knows_pd() {
                    true => job.prescription.pupil_distance.to_string(),
                    false => "not recorded".to_owned(),
                },
            }),
            promise_closed: parse_day(form.value(OrderForm::PROMISED_ON))
                .ok()
                .and_then(|day| context.lab.closed.closed_for(day)),
            seen: seen_mark(&read.cautions),
            summary,
            cautions: read.cautions,
            form,
        }
    }
}
