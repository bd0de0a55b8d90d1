//! Cancelling an order: who asked, what becomes of each lens in hand, and what of the money.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};
use time::Date;

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::lenses::{EyeLensNames, read_old, unspoiled_places};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::cancellation::{CancelAsker, Cancellation, refund_fault};
use crate::desk::correction::lens_words;
use crate::desk::fault::FaultCause;
use crate::desk::job::{EventKind, Job, Stage};
use crate::desk::money::{Cents, MoneyError};
use crate::desk::payment::PaymentKind;
use crate::desk::purchase::{OrderedFor, PurchaseLine};
use crate::desk::refund::{Refund, RefundCause};
use crate::desk::step::Step;
use crate::desk::stock::{LensInHand, OldLens};
use crate::desk::text;
use crate::optics::{Eye, Pair};
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "cancellations/show.html")]
struct CancellationPage {
    chrome: Chrome,
    bar: JobBar,
    /// Why the order cannot be cancelled now.
    refused: Option<String>,
    /// Where an order that cannot be cancelled leads instead: words and address.
    instead: Option<(&'static str, String)>,
    askers: Vec<(&'static str, &'static str)>,
    lenses: Vec<LensInHandQuestion>,
    /// Lenses on their way.
    ordered: Vec<String>,
    charged: String,
    paid: String,
    is_paid: bool,
    kinds: Vec<(&'static str, &'static str)>,
    key: String,
    form: Form,
}

/// What is asked of a lens in hand.
pub(super) struct LensInHandQuestion {
    /// Which lens it is.
    pub(super) legend: String,
    /// Value and words of each answer.
    pub(super) answers: Vec<(&'static str, &'static str)>,
    pub(super) fields: EyeLensNames,
}

impl LensInHandQuestion {
    pub(super) fn of(lens: &LensInHand, answers: Vec<(&'static str, &'static str)>) -> Self {
        let source = if lens.source.is_empty() { String::new() } else { format!(", {}", lens.source) };
        Self {
            legend: format!("The {} lens, {} mm{source}", lens.eye.name(), lens.diameter),
            answers,
            fields: EyeLensNames::of(lens.eye),
        }
    }

    /// Whether it can be reserved for another job, whose number is asked for then. An edged lens cannot.
    pub(super) fn can_be_kept(&self) -> bool {
        self.answers.iter().any(|(key, _)| *key == "job")
    }
}

/// Where a lens in hand can go: a key for `read_old`, and words.
fn places(job: &Job, eye: Eye) -> Vec<(&'static str, &'static str)> {
    let spoiled = (FaultCause::Mind.key(), "spoiled or no longer usable");
    unspoiled_places(job, eye).into_iter().chain([spoiled]).collect()
}

/// The lenses in hand of a job, right first.
pub(super) fn in_hand<'a>(job: &Job, lenses: &'a Pair<Option<LensInHand>>) -> Vec<&'a LensInHand> {
    let of = |eye: &Eye| lenses.get(*eye).as_ref().filter(|_| job.is_lens_in_hand(*eye));
    Eye::BOTH.iter().filter_map(of).collect()
}

/// Lenses that a supplier was asked for and that are not in hand, for the owner to cancel, a sentence an order; `known`
/// are eyes of which it is said elsewhere.
pub(super) async fn ordered_words(state: &AppState, number: i64, known: &[Eye]) -> Result<Vec<String>, WebError> {
    let lines = state.store.list_purchase_lines_of(number).await?;
    let mut orders: Vec<(&PurchaseLine, Vec<Eye>)> = Vec::new();
    for line in lines.iter().filter(|line| line.is_open()) {
        let OrderedFor::Eye { eye, .. } = line.lens.ordered_for else { continue };
        match orders.iter_mut().find(|(first, _)| first.purchase == line.purchase) {
            _ if known.contains(&eye) => {}
            Some((_, eyes)) => eyes.push(eye),
            None => orders.push((line, vec![eye])),
        }
    }
    let words = |(line, eyes): &(&PurchaseLine, Vec<Eye>)| {
        format!("{} on order from {}, order {}.", lens_words(eyes), line.supplier, line.purchase)
    };
    Ok(orders.iter().map(words).collect())
}

/// The fields of the form.
pub(in crate::web) struct CancellationForm;

impl CancellationForm {
    const ASKED_BY: &str = "asked_by";
    pub(in crate::web) const REASON: &str = "reason";
    const KEPT: &str = "kept";
    const REFUND: &str = "refund";
    const REFUND_KIND: &str = "refund_kind";

    fn read(form: &mut Form, job: &Job, lenses: &[&LensInHand], today: Date) -> Option<Cancellation> {
        let asked_by = form.read(Self::ASKED_BY, |typed| CancelAsker::from_key(typed).ok_or("Choose who asked for it"));
        let reason = form.read(Self::REASON, |typed| text::needed("The reason", typed, 300));
        let read_lens = |lens: &&LensInHand| {
            let eye = lens.eye;
            Some((eye, read_old(form, job, eye, &places(job, eye))?))
        };
        let partings: Vec<_> = lenses.iter().map(read_lens).collect();
        let kept = form.read_optional(Self::KEPT, read_amount).map(Option::unwrap_or_default);
        if asked_by.is_some_and(CancelAsker::asks_full_refund) && kept.is_some_and(|kept| kept != Cents::ZERO) {
            form.fail(
                Self::KEPT,
                "An order canceled because of a delay is refunded in full (16 CFR 435): leave this empty",
            );
        }
        if kept.is_some_and(|kept| kept > job.paid) {
            form.fail(
                Self::KEPT,
                format!(
                    "Only {} was paid: charge no more than that, so that nothing is \
                owed",
                    job.paid
                ),
            );
        }
        let refund = Self::read_refund(form, job.paid, kept, today);
        let lenses = partings.into_iter().collect::<Option<Vec<_>>>();
        let read = Cancellation {
            asked_by: asked_by?,
            reason: reason?,
            lenses: lenses?,
            kept: kept?,
            refund: refund?,
            on: today,
        };
        form.is_fine().then_some(read)
    }

    /// What the book says of the money.
    const WHY: &str = "the order was canceled";

    fn read_refund(form: &mut Form, paid: Cents, kept: Option<Cents>, today: Date) -> Option<Option<Refund>> {
        let amount = form.read_optional(Self::REFUND, read_amount)?.unwrap_or_default();
        if let Some(why) = kept.and_then(|kept| refund_fault(paid, kept, amount)) {
            form.fail(Self::REFUND, why);
        }
        if amount == Cents::ZERO {
            return Some(None);
        }
        let kind = form.read(Self::REFUND_KIND, |typed| {
            PaymentKind::from_key(typed).ok_or(
                "Choose how it is \
            refunded",
            )
        });
        let reason = Self::WHY.to_owned();
        Some(Some(Refund { cause: RefundCause::Overpaid, kind: kind?, amount, paid_on: today, reason }))
    }
}

fn read_amount(typed: &str) -> Result<Cents, MoneyError> {
    Cents::read_price(typed, Cents::new(Cents::MOST))
}

async fn page(state: &AppState, job: &Job, form: StepForm) -> Result<CancellationPage, WebError> {
    let StepForm { key, mut form } = form;
    let lenses = state.store.find_lenses(job.number).await?;
    let is_paid = job.paid > Cents::ZERO;
    if is_paid {
        form.set_default(CancellationForm::REFUND, job.paid.plain());
    }
    form.set_default(CancellationForm::REFUND_KIND, usual_kind(state, job.number).await?.key());
    Ok(CancellationPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        refused: Step::Cancellation.refusal(job),
        instead: match job.stage() {
            Stage::Sent => Some(("Parcel returned or lost", format!("/jobs/{}/return", job.number))),
            Stage::Cancelled => Some(("Take a new order like this one", format!("/orders/new?like={}", job.number))),
            _ => None,
        },
        askers: CancelAsker::ALL.iter().map(|asker| (asker.key(), asker.words())).collect(),
        lenses: in_hand(job, &lenses)
            .into_iter()
            .map(|lens| LensInHandQuestion::of(lens, places(job, lens.eye)))
            .collect(),
        ordered: ordered_words(state, job.number, &[]).await?,
        charged: job.charged.to_string(),
        paid: job.paid.to_string(),
        is_paid,
        kinds: PaymentKind::ALL.iter().map(|&kind| (kind.key(), kind.words())).collect(),
        key,
        form,
    })
}

/// Money goes back the way it came.
async fn usual_kind(state: &AppState, number: i64) -> Result<PaymentKind, WebError> {
    let account = state.store.get_account(number).await?;
    let came_in = account.payments.iter().rev().find(|booked| !booked.payment.amount.is_negative());
    Ok(came_in.map_or(PaymentKind::Card, |booked| booked.payment.kind))
}

pub(crate) async fn ask_cancellation(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let form = StepForm::open(&state, &job, Step::Cancellation).await?;
    show(&page(&state, &job, form).await?)
}

pub(crate) async fn cancel_job(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Cancellation, fields).await?;
    let lenses = state.store.find_lenses(number).await?;
    let lenses = in_hand(&post.job, &lenses);
    let Some(cancellation) = CancellationForm::read(&mut post.form, &post.job, &lenses, state.clock.today()) else {
        return show_again(&page(&state, &post.job.clone(), post.refused()).await?);
    };
    let done = state.store.cancel_job(&post.act, number, &cancellation, state.clock.now()).await;
    if let Err(why @ (StoreError::MovedOn(_) | StoreError::NotFound(_))) = &done
        && let Some(field) = kept_for_another(&cancellation.lenses)
    {
        post.form.fail(&field, format!("This lens cannot be reserved for that job: {why}"));
        return show_again(&page(&state, &post.job.clone(), post.refused()).await?);
    }
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &post.job.clone(), post.refused()).await?),
    }
}

/// The field of the job that a lens is kept for.
pub(super) fn kept_for_another(lenses: &[(Eye, OldLens)]) -> Option<String> {
    let (eye, _) = lenses.iter().find(|(_, place)| matches!(place, OldLens::Job(_)))?;
    Some(EyeLensNames::of(*eye).old_job)
}

/// The notice at the head of a cancelled job, and the day.
pub(super) fn cancelled_words(state: &AppState, job: &Job) -> Option<String> {
    let event = job.last(EventKind::Cancelled)?;
    Some(format!("Canceled {}: {}.", words::day(&state.clock.local(event.at).date()), event.note))
}
