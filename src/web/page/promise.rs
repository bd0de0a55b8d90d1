//! The promise of a job: another day with the customer's consent, delay notices and their answers, and what is due back.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::account::Account;
use crate::desk::deadline::Lateness;
use crate::desk::delay::{AnswerKind, ContactWay, DelayAnswer, Duty, RefundOwed, SILENCE_DAYS, Standing, refund_words};
use crate::desk::job::{EventKind, Job};
use crate::desk::step::Step;
use crate::print::delay_letter::DelayLetter;
use crate::store::delay::{NewNotice, PromiseLog};
use crate::store::draft::Fields;
use crate::web::error::WebError;
use crate::web::{AppState, words};

mod form;
mod list;

use form::{AgreementForm, AnswerForm, NoticeForm};
pub(crate) use list::{DutyRow, list_duties};

#[derive(Template)]
#[template(path = "promise/show.html")]
struct PromisePage {
    chrome: Chrome,
    bar: JobBar,
    number: i64,
    promised: String,
    lateness: String,
    is_late: bool,
    closed_for: Option<String>,
    duty: Option<String>,
    is_cancelled: bool,
    refunds: Vec<RefundRow>,
    refund_ways: Vec<(&'static str, &'static str)>,
    is_refund_due: bool,
    agreement: Option<StepForm>,
    notice: Option<StepForm>,
    answer: Option<StepForm>,
    /// The notice that has no answer yet, in words.
    unanswered: Option<String>,
    is_renewed: bool,
    is_notice_open: bool,
    silence_until: String,
    preview: Option<Preview>,
    problems: usize,
    ways: Vec<(&'static str, &'static str)>,
    answers: Vec<(&'static str, &'static str)>,
    sent: Vec<SentNotice>,
    said: Vec<(String, String)>,
}

/// A notice as it would be sent.
struct Preview {
    terms: String,
    text: String,
}

/// A notice that was sent.
struct SentNotice {
    on: String,
    way: &'static str,
    terms: String,
    path: String,
}

/// Money that was or is due back.
struct RefundRow {
    amount: String,
    cause: String,
    due: String,
}

/// A form to show again.
struct Again {
    step: Step,
    form: StepForm,
    preview: Option<Preview>,
}

impl Again {
    fn refused(step: Step, post: JobPost) -> Self {
        Self { step, form: post.refused(), preview: None }
    }
}

/// The forms of the page that may be used now.
struct Forms {
    agreement: Option<StepForm>,
    notice: Option<StepForm>,
    answer: Option<StepForm>,
    preview: Option<Preview>,
}

impl Forms {
    async fn open(state: &AppState, job: &Job, standing: &Standing, again: Option<Again>) -> Result<Self, WebError> {
        let mut forms = Self { agreement: None, notice: None, answer: None, preview: None };
        let (again, shown) = match again {
            Some(Again { step, form, preview }) => {
                forms.preview = preview;
                (Some(step), Some(form))
            }
            None => (None, None),
        };
        for step in [Step::Promise, Step::DelayNotice, Step::DelayAnswer] {
            let is_asked = step.refusal(job).is_none()
                && match step {
                    Step::DelayNotice => standing.waiting().is_none(),
                    Step::DelayAnswer => standing.unanswered().is_some(),
                    _ => true,
                };
            if is_asked && again != Some(step) {
                *forms.of(step) = Some(StepForm::open(state, job, step).await?);
            }
        }
        if let (Some(step), Some(form)) = (again, shown) {
            *forms.of(step) = Some(form);
        }
        Ok(forms)
    }

    fn of(&mut self, step: Step) -> &mut Option<StepForm> {
        match step {
            Step::DelayNotice => &mut self.notice,
            Step::DelayAnswer => &mut self.answer,
            _ => &mut self.agreement,
        }
    }

    /// What a fresh form offers.
    fn fill_in(&mut self, today: &str) {
        for (form, defaults) in [
            (&mut self.agreement, AgreementForm::defaults(today).as_slice()),
            (&mut self.notice, NoticeForm::defaults(today).as_slice()),
            (&mut self.answer, AnswerForm::defaults(today).as_slice()),
        ] {
            let Some(StepForm { form, .. }) = form else { continue };
            for (name, value) in defaults {
                form.set_default(name, *value);
            }
        }
    }

    fn problems(&self) -> usize {
        [&self.agreement, &self.notice, &self.answer].into_iter().flatten().map(|form| form.form.count_errors()).sum()
    }
}

/// How the promise of a job stands.
pub(super) fn standing(job: &Job, log: &PromiseLog) -> Standing {
    log.standing(job.promised_on, job.is_cancelled() || job.has_left())
}

async fn page(state: &AppState, job: &Job, again: Option<Again>) -> Result<PromisePage, WebError> {
    let log = state.store.get_promise_log(job.number).await?;
    let standing = standing(job, &log);
    let today = state.clock.today();
    let duty = standing.duty(today);
    let is_notice_asked = again.as_ref().is_some_and(|again| again.step == Step::DelayNotice);
    let mut forms = Forms::open(state, job, &standing, again).await?;
    forms.fill_in(&words::iso(&today));
    let lateness = Lateness::of(job.promised_on, job.has_left(), today);
    let account = state.store.get_account(job.number).await?;
    Ok(PromisePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        number: job.number,
        promised: words::day(&job.promised_on),
        is_late: lateness.is_late(),
        lateness: left_words(state, job).unwrap_or_else(|| lateness.words()),
        closed_for: state.lab().closed.closed_for(job.promised_on),
        duty: duty.words(),
        is_cancelled: standing.is_cancelled(),
        refunds: log.refunds.iter().map(refund).collect(),
        refund_ways: refund_ways(&account),
        is_refund_due: log.refund_due_on.is_some(),
        unanswered: standing.unanswered().map(|(_, terms)| terms.words()),
        is_renewed: standing.is_renewed(),
        is_notice_open: is_notice_asked || matches!(duty, Duty::Notice { .. } | Duty::Missed { .. }),
        silence_until: words::day(&job.promised_on.saturating_add(time::Duration::days(SILENCE_DAYS))),
        problems: forms.problems(),
        agreement: forms.agreement,
        notice: forms.notice,
        answer: forms.answer,
        preview: forms.preview,
        ways: ContactWay::ALL.iter().map(|way| (way.key(), way.words())).collect(),
        answers: AnswerKind::ALL.iter().map(|kind| (kind.key(), kind.words())).collect(),
        sent: sent(job.number, &log),
        said: said(&log),
    })
}

/// When a parcel first left, by which the promise was kept or broken; what came back later changes nothing of that.
fn left_words(state: &AppState, job: &Job) -> Option<String> {
    let first = job.history.iter().find(|event| event.kind == EventKind::Sent)?;
    let on = words::day(&state.clock.local(first.at).date());
    Some(if job.is_to_send_again() { format!("left {on}, to be sent again") } else { format!("left {on}") })
}

fn refund(refund: &RefundOwed) -> RefundRow {
    RefundRow { amount: refund.amount.to_string(), cause: refund.cause.clone(), due: words::day(&refund.due_on) }
}

/// How the money goes back for each way it came, once each.
fn refund_ways(account: &Account) -> Vec<(&'static str, &'static str)> {
    let mut ways = Vec::new();
    let payments = account.payments.iter().map(|booked| booked.payment);
    for payment in payments.filter(|payment| !payment.amount.is_negative()) {
        let way = (payment.kind.words(), refund_words(payment.kind));
        if !ways.contains(&way) {
            ways.push(way);
        }
    }
    ways
}

fn sent(number: i64, log: &PromiseLog) -> Vec<SentNotice> {
    let notices = log.notices.iter().rev();
    notices
        .map(|notice| SentNotice {
            on: words::day(&notice.terms.sent_on),
            way: notice.way.words(),
            terms: notice.terms.words(),
            path: format!("/jobs/{number}/delay-notices/{}", notice.seq),
        })
        .collect()
}

fn said(log: &PromiseLog) -> Vec<(String, String)> {
    let terms = |answer: &DelayAnswer| {
        let notice = log.notices.iter().find(|notice| Some(notice.seq) == answer.notice)?;
        Some(&notice.terms)
    };
    let words = |answer: &DelayAnswer| words::capital(&answer.words_after(terms(answer)));
    log.answers.iter().rev().map(|answer| (words::day(&answer.answered_on), words(answer))).collect()
}

pub(crate) async fn show_promise(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    show(&page(&state, &job, None).await?)
}

/// The customer agreed to another date.
pub(crate) async fn agree_day(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Promise, fields).await?;
    let log = state.store.get_promise_log(number).await?;
    let Some(answer) = AgreementForm::read(&mut post.form, &post.job, &log, state.clock.today()) else {
        let job = post.job.clone();
        return show_again(&page(&state, &job, Some(Again::refused(Step::Promise, post))).await?);
    };
    let now = state.clock.now();
    let answered = (&answer, log.notices.last().map(|notice| &notice.terms));
    let done = state.store.insert_promise_answer(&post.act, number, Step::Promise, answered, None, now).await;
    post.done(done?)
}

/// A delay notice is shown first, or kept as sent.
pub(crate) async fn send_notice(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::DelayNotice, fields).await?;
    let (job, log) = (post.job.clone(), state.store.get_promise_log(number).await?);
    let standing = standing(&job, &log);
    let Some(notice) = NoticeForm::read(&mut post.form, &job, &state.lab(), &standing, state.clock.today()) else {
        return show_again(&page(&state, &job, Some(Again::refused(Step::DelayNotice, post))).await?);
    };
    if NoticeForm::looks_only(&post.form) {
        let preview = Some(preview(&notice));
        let again = Again { step: Step::DelayNotice, form: post.refused(), preview };
        return show(&page(&state, &job, Some(again)).await?);
    }
    let done = state.store.insert_delay_notice(&post.act, number, &notice, state.clock.now()).await;
    post.done(done?)
}

fn preview(notice: &NewNotice) -> Preview {
    Preview { terms: notice.terms.words(), text: notice.body.replace('\n', "\n\n") }
}

/// What the customer said to a notice, or that nothing came.
pub(crate) async fn keep_answer(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::DelayAnswer, fields).await?;
    let log = state.store.get_promise_log(number).await?;
    let standing = standing(&post.job, &log);
    let read = AnswerForm::read(&mut post.form, &post.job, &standing, state.clock.today());
    let Some((answer, refund)) = read else {
        let job = post.job.clone();
        return show_again(&page(&state, &job, Some(Again::refused(Step::DelayAnswer, post))).await?);
    };
    let (step, now) = (Step::DelayAnswer, state.clock.now());
    let answered = (&answer, log.notices.last().map(|notice| &notice.terms));
    let done = state.store.insert_promise_answer(&post.act, number, step, answered, refund.as_ref(), now).await;
    post.done(done?)
}

/// A notice as it was sent: a letter to print, and its text to copy.
pub(crate) async fn print_notice(State(state): State<AppState>, Path((number, seq)): Path<(i64, i64)>) -> PageResult {
    let sent = state.store.get_notice_as_sent(number, seq).await?;
    show(&DelayLetter::of(&state.lab(), number, &sent.address, &sent.body, sent.sent_on))
}
