//! Correcting an order until its lenses are cut: the fields of the order once more, what changes, and what follows from it.

use std::sync::Arc;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::super::cancellations::{LensInHandQuestion, in_hand, kept_for_another, ordered_words};
use super::super::job_bar::{JobBar, NO_CHANGE};
use super::super::job_post::{JobPost, StepForm};
use super::super::lenses::{EyeLensNames, read_old, unspoiled_places};
use super::super::{CHANGED_ELSEWHERE, Chrome, PageResult, go, show, show_again};
use super::MadeView;
use super::cautions::{FrameFacts, OrderCaution, cautions_of, seen_mark};
use super::context::OrderContext;
use super::form::{LensFields, OrderForm};
use crate::desk::account::Account;
use crate::desk::bill::base_price;
use crate::desk::correction::{
    BillFacts, Correction, Ordered, changes, consequences, needs_other_lens, withdraws_decision,
};
use crate::desk::fault::FaultCause;
use crate::desk::frame::Frame;
use crate::desk::job::{Job, Stage};
use crate::desk::purchase::OrderedFor;
use crate::desk::rebill::Rebill;
use crate::desk::remake::RemakePayer;
use crate::desk::step::Step;
use crate::desk::stock::{LensInHand, OldLens};
use crate::desk::text::needed;
use crate::optics::notation::short;
use crate::optics::{Eye, Pair};
use crate::store::StoreError;
use crate::store::draft::{Fields, TypingWindow};
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;

#[derive(Template)]
#[template(path = "orders/correction.html")]
struct CorrectionPage {
    chrome: Chrome,
    bar: JobBar,
    /// Why the order cannot be corrected now.
    refused: Option<String>,
    /// Whether a remake is the way instead.
    is_made: bool,
    made: MadeView,
    /// The frame; `None` where it is that of an earlier job.
    frame: Option<FrameView>,
    lenses: Vec<LensInHandQuestion>,
    /// Lenses on their way.
    ordered: Vec<String>,
    changes: Vec<String>,
    consequences: Vec<String>,
    cautions: Vec<OrderCaution>,
    /// Whether lines of the bill no longer match, so that it is asked whether they change.
    offers_bill: bool,
    seen: String,
    key: String,
    form: Form,
}

struct FrameView {
    /// The chosen one, and the address of its page.
    chosen: Option<(String, String)>,
    /// Those that what was typed could mean.
    alike: Vec<(String, String)>,
}

/// The value of a lens in hand that is right for the corrected order.
const STAYS: &str = "stays";

/// What a correction is compared with.
struct CorrectionBase<'a> {
    context: OrderContext,
    job: &'a Job,
    lenses: Pair<Option<LensInHand>>,
    /// The eyes whose lens is on its way.
    on_order: Vec<Eye>,
    account: Account,
}

impl<'a> CorrectionBase<'a> {
    async fn load(state: &AppState, job: &'a Arc<Job>, form: &mut Form) -> Result<Self, WebError> {
        let lines = state.store.list_purchase_lines_of(job.number).await?;
        let on_order = lines.iter().filter(|line| line.is_open()).filter_map(|line| match line.lens.ordered_for {
            OrderedFor::Eye { eye, .. } => Some(eye),
            OrderedFor::Drawer(_) => None,
        });
        Ok(Self {
            context: OrderContext::of_job(state, job, form).await?,
            job,
            lenses: state.store.find_lenses(job.number).await?,
            on_order: on_order.collect(),
            account: state.store.get_account(job.number).await?,
        })
    }
}

/// Whether the lines of the lenses are the customer's to pay.
fn is_paid_by_customer(job: &Job) -> bool {
    job.remake.as_ref().is_none_or(|remake| remake.paid_by == RemakePayer::Customer)
}

/// The lines of the bill that no longer match, and what takes their place.
fn rebill(job: &Job, context: &OrderContext, account: &Account, before: &Ordered, after: &Ordered) -> Rebill {
    if !is_paid_by_customer(job) {
        return Rebill::default();
    }
    let base_price = base_price(context.materials.iter().map(|m| &m.details));
    let lines = |ordered: &Ordered| ordered.billed(job.parent.is_none(), base_price, context.lab.code_basis);
    Rebill::of(account, &lines(before), &lines(after))
}

/// The form as it was read.
struct CorrectionForm {
    /// Frames, materials and treatments to choose from.
    made: MadeView,
    changes: Vec<String>,
    consequences: Vec<String>,
    cautions: Vec<OrderCaution>,
    /// Whether lines of the bill no longer match.
    offers_bill: bool,
    /// The lenses in hand that no longer fit.
    unfit: Vec<Eye>,
    /// The eyes whose lens on order is another than is needed now.
    other_ordered: Vec<Eye>,
    seen: String,
    /// When every field is right and everything was confirmed.
    correction: Option<Correction>,
}

/// The field of why it is corrected.
pub(in crate::web) const REASON: &str = "reason";

impl CorrectionForm {
    const REASON: &str = REASON;
    /// Whether the lines of the bill change with the order.
    const REBILL: &str = "rebill";
    const YES: &str = "yes";
    const NO: &str = "no";

    /// What stands, in the fields that were not sent.
    fn fill(form: &mut Form, job: &Job) {
        let mut standing = Form::default();
        OrderForm::fill_prescription(&mut standing, &job.prescription);
        standing.set(OrderForm::MADE_FOR, job.made_for.key());
        standing.set(OrderForm::DESIGN, job.design.key());
        standing.set(OrderForm::MATERIAL, job.material.version.to_string());
        for (field, treatment) in [
            (OrderForm::COATING, &job.coating),
            (OrderForm::SECOND_COATING, &job.second_coating),
            (OrderForm::TINT, &job.tint),
        ] {
            standing.set(field, treatment.as_ref().map(|t| t.version.to_string()).unwrap_or_default());
        }
        for eye in Eye::BOTH {
            standing.set(OrderForm::height(eye), job.eyes.get(eye).height.typed());
        }
        if let Some(position) = job.frame_position {
            standing.set(OrderForm::TILT, short(position.panto.to_f64()));
        }
        standing.set(OrderForm::NOTE, job.note.clone());
        standing.set(OrderForm::FRAME_ID, job.frame.id.to_string());
        standing.set(OrderForm::FRAME_NAME, job.frame.details.to_string());
        for (name, value) in standing.fields().clone() {
            form.set_default(&name, value);
        }
    }

    fn read(form: &mut Form, standing: &CorrectionBase<'_>, is_draft: bool) -> Self {
        let CorrectionBase { context, job, on_order, account, .. } = standing;
        let lenses = in_hand(job, &standing.lenses);
        let fields = LensFields::read(form, context);
        let frame = read_frame(form, context, job);
        let reason = form.read(Self::REASON, |typed| needed("The reason", typed, 300));
        let before = Ordered::of(job);
        let facts = FrameFacts {
            stamped: frame.as_ref().map(|frame| (frame.details.eye_size, frame.details.bridge)),
            made_for: fields.made_for,
            height: fields.height,
            tasks: fields.ordered.map_or(job.tasks(), |ordered| ordered.tasks),
        };
        let cautions = cautions_of(fields.prescription.as_ref(), &facts, Some(job.ordered_on), None, context);
        let after = ordered(&fields, frame);
        let changes = after.as_ref().map(|after| changes(&before, after)).unwrap_or_default();
        let money = BillFacts {
            rebill: after.as_ref().map(|after| rebill(job, context, account, &before, after)).unwrap_or_default(),
            has_high_power: account.charges_high_power(),
            is_paid_by_customer: is_paid_by_customer(job),
        };
        form.set_default(Self::REBILL, Self::YES);
        let takes_bill = form.read(Self::REBILL, |typed| match typed {
            Self::YES => Ok(true),
            Self::NO => Ok(false),
            _ => Err("Choose whether the bill changes"),
        });
        let consequences = match &after {
            Some(after) if !changes.is_empty() => consequences(job, after, on_order, &money),
            _ => Vec::new(),
        };
        if after.is_some() && changes.is_empty() && !is_draft {
            form.fail(Self::REASON, "Nothing is changed yet: correct a field above, or leave the order as it is");
        }
        let unfit: Vec<&LensInHand> = match &after {
            Some(after) => lenses.iter().filter(|lens| needs_other_lens(&before, after, lens.eye)).copied().collect(),
            None => Vec::new(),
        };
        let is_other = |eye: &&Eye| after.as_ref().is_some_and(|after| needs_other_lens(&before, after, **eye));
        let other_ordered = on_order.iter().filter(is_other).copied().collect();
        let places_typed: Option<Vec<_>> = unfit.iter().map(|lens| read_place(form, job, lens, is_draft)).collect();
        let seen = seen_words(&cautions, &changes, &consequences);
        let is_confirmed = cautions.is_empty() && consequences.is_empty() || form.value(OrderForm::SEEN) == seen;
        let offers_bill = !money.rebill.is_empty();
        let correction = match (after, reason, places_typed, takes_bill) {
            (Some(after), Some(reason), Some(places_typed), Some(takes_bill)) if form.is_fine() && is_confirmed => {
                let bill = match (offers_bill, takes_bill) {
                    (false, _) => "",
                    (true, true) => " The bill was changed so.",
                    (true, false) => " The bill was left as it was.",
                };
                let said = format!("{}{bill}", said(&changes, &reason, &consequences));
                let lenses = places_typed.into_iter().flatten().collect();
                let rebill = if takes_bill { money.rebill } else { Rebill::default() };
                let on = context.today;
                Some(Correction { rebill, on, ..corrected(job, after, reason, lenses, said) })
            }
            _ => None,
        };
        let mut made = MadeView {
            since: "Changed",
            ..MadeView::of(form, context, [&fields.pd, &fields.near_pd], &fields.eyes, is_draft)
        };
        for eye in [&mut made.right, &mut made.left] {
            eye.change = eye.change.take().filter(|change| change != NO_CHANGE);
        }
        let unfit = unfit.iter().map(|lens| lens.eye).collect();
        Self { made, changes, consequences, cautions, offers_bill, unfit, other_ordered, seen, correction }
    }
}

/// What a tick confirms: these changes with what follows from them.
fn seen_words(cautions: &[OrderCaution], changes: &[String], consequences: &[String]) -> String {
    [seen_mark(cautions), changes.join("; "), consequences.join(" ")].join("|")
}

/// For the history.
fn said(changes: &[String], reason: &str, consequences: &[String]) -> String {
    let follows = if consequences.is_empty() { String::new() } else { format!(" {}", consequences.join(" ")) };
    format!("{}. Reason: {}.{follows}", changes.join("; "), reason.trim_end_matches('.'))
}

/// New lenses and remakes stay in the frame of the earlier job.
fn read_frame(form: &mut Form, context: &OrderContext, job: &Job) -> Option<Frame> {
    if job.parent.is_some() {
        return Some(job.frame.clone());
    }
    if context.frame.is_none() {
        form.fail(OrderForm::FRAME_NAME, "Choose a frame from the book");
    }
    context.frame.clone()
}

fn ordered(fields: &LensFields<'_>, frame: Option<Frame>) -> Option<Ordered> {
    Some(Ordered {
        prescription: fields.prescription.clone()?,
        tasks: fields.ordered?.tasks,
        made_for: fields.made_for?,
        material: fields.material?.clone(),
        design: fields.design?,
        coating: fields.coating?.cloned(),
        second_coating: fields.second_coating?.cloned(),
        tint: fields.tint?.cloned(),
        height: Pair::new(fields.height.right?, fields.height.left?),
        frame: frame?,
        note: fields.note.clone()?,
    })
}

/// What can become of a lens that was taken for what was ordered before.
fn places(job: &Job, eye: Eye) -> Vec<(&'static str, &'static str)> {
    let spoiled = (FaultCause::Order.key(), "spoiled or no longer usable");
    [(STAYS, "stays: it matches the corrected order")]
        .into_iter()
        .chain(unspoiled_places(job, eye))
        .chain([spoiled])
        .collect()
}

/// `Some(None)` where the lens fits all the same, or a draft does not say yet.
fn read_place(form: &mut Form, job: &Job, lens: &LensInHand, is_draft: bool) -> Option<Option<(Eye, OldLens)>> {
    let typed = form.value(&EyeLensNames::of(lens.eye).old);
    if typed == STAYS || is_draft {
        return Some(None);
    }
    Some(Some((lens.eye, read_old(form, job, lens.eye, &places(job, lens.eye))?)))
}

fn corrected(job: &Job, after: Ordered, reason: String, lenses: Vec<(Eye, OldLens)>, said: String) -> Correction {
    Correction {
        revision: job.revision,
        withdraws_decision: withdraws_decision(job, &after),
        prescription: (after.prescription != job.prescription).then_some(after.prescription),
        tasks: after.tasks,
        made_for: after.made_for,
        material: after.material.version,
        design: after.design,
        coating: after.coating.map(|treatment| treatment.version),
        second_coating: after.second_coating.map(|treatment| treatment.version),
        tint: after.tint.map(|treatment| treatment.version),
        height: after.height,
        frame: after.frame.id,
        note: after.note,
        reason,
        lenses,
        said,
        rebill: Rebill::default(),
        on: job.ordered_on,
    }
}

/// A page with the form as it was read, or as it stands in a draft.
async fn page(
    state: &AppState,
    job: &Arc<Job>,
    context: &OrderContext,
    form: StepForm,
    read: CorrectionForm,
) -> Result<CorrectionPage, WebError> {
    let StepForm { key, form } = form;
    let in_hand_of_job = state.store.find_lenses(job.number).await?;
    let questions = in_hand(job, &in_hand_of_job).into_iter().filter(|lens| read.unfit.contains(&lens.eye));
    let questions = questions.map(|lens| LensInHandQuestion::of(lens, places(job, lens.eye)));
    Ok(CorrectionPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        refused: Step::Correction.refusal(job),
        is_made: matches!(job.stage(), Stage::Cut | Stage::Checked | Stage::Packed | Stage::Sent),
        frame: job.parent.is_none().then(|| FrameView {
            chosen: context.frame.as_ref().map(|f| (f.details.to_string(), format!("/frames/{}", f.id))),
            alike: context.frames_alike.iter().map(|f| (f.id.to_string(), f.details.to_string())).collect(),
        }),
        lenses: questions.collect(),
        ordered: ordered_words(state, job.number, &read.other_ordered).await?,
        made: read.made,
        changes: read.changes,
        consequences: read.consequences,
        cautions: read.cautions,
        offers_bill: read.offers_bill,
        seen: read.seen,
        key,
        form,
    })
}

pub(crate) async fn show_correction(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let mut form = StepForm::open(&state, &job, Step::Correction).await?;
    CorrectionForm::fill(&mut form.form, &job);
    let standing = CorrectionBase::load(&state, &job, &mut form.form).await?;
    // A draft is not judged yet.
    let read = CorrectionForm::read(&mut form.form.clone(), &standing, true);
    let (cautions, consequences, changes) = (Vec::new(), Vec::new(), Vec::new());
    let read = CorrectionForm { cautions, consequences, changes, offers_bill: false, ..read };
    show(&page(&state, &job, &standing.context, form, read).await?)
}

pub(crate) async fn correct_job(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Correction, fields).await?;
    let job = Arc::clone(&post.job);
    let standing = CorrectionBase::load(&state, &job, &mut post.form).await?;
    let context = &standing.context;
    if OrderForm::takes_heights(&post.form) {
        OrderForm::fill_heights(&mut post.form, context.tilt);
        post.form.set(OrderForm::INTENT, "");
        let refused = post.refused();
        let is_fine = refused.form.is_fine();
        if is_fine {
            state
                .store
                .keep_draft(&refused.key, refused.form.fields(), &TypingWindow::default(), state.clock.now())
                .await?;
            return go(&format!("/jobs/{number}/correction"));
        }
        let read = CorrectionForm::read(&mut refused.form.clone(), &standing, true);
        return show_again(&page(&state, &job, context, refused, read).await?);
    }
    let is_outdated = post.is_outdated;
    let mut read = CorrectionForm::read(&mut post.form, &standing, false);
    if is_outdated {
        post.form.fail(CorrectionForm::REASON, CHANGED_ELSEWHERE);
        let fresh = StepForm::open(&state, &job, Step::Correction).await?.key;
        let form = StepForm { key: fresh, ..post.refused() };
        return show_again(&page(&state, &job, context, form, read).await?);
    }
    if OrderForm::looks_only(&post.form) && post.form.is_fine() {
        return show(&page(&state, &job, context, post.refused(), read).await?);
    }
    if let Some(correction) = read.correction.take() {
        let done = state.store.correct_job(&post.act, number, &correction, state.clock.now()).await;
        if let Err(why @ (StoreError::MovedOn(_) | StoreError::NotFound(_))) = &done
            && let Some(field) = kept_for_another(&correction.lenses)
        {
            post.form.fail(&field, format!("This lens cannot be reserved for that job: {why}"));
            return show_again(&page(&state, &job, context, post.refused(), read).await?);
        }
        if let Some(done) = post.form.kept(done)? {
            return post.done(done);
        }
    }
    show_again(&page(&state, &job, context, post.refused(), read).await?)
}
