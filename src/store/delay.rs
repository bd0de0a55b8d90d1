//! The promise of a job: delay notices, what the customer answers, and money that is due back.

use serde::Deserialize;
use sqlx::SqliteConnection;
use sqlx::types::Json;
use time::{Date, OffsetDateTime};

use super::event::append_event;
use super::once::{Done, Once};
use super::read::word;
use super::revision::{Change, revise};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::date::{day, iso_date};
use crate::desk::delay::{
    AnswerKind, ContactWay, DelayAnswer, Notice, NoticeTerms, RefundOwed, Silence, Standing, new_day_words,
};
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::step::Step;

/// A notice to keep, with its text as it is sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewNotice {
    pub terms: NoticeTerms,
    pub cause: String,
    pub way: ContactWay,
    /// The buyer's name and address, lines separated by `\n`.
    pub address: String,
    /// Paragraphs separated by `\n`.
    pub body: String,
}

impl NewNotice {
    /// As the history says it.
    fn words(&self) -> String {
        let which = if self.terms.is_renewed { "further notice" } else { "first notice" };
        let (way, on) = (self.way.words(), day(&self.terms.sent_on));
        format!("{which}, {way}, {on}: {}", new_day_words(self.terms.revised_on))
    }
}

/// A notice on paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoticeAsSent {
    pub address: String,
    pub body: String,
    pub sent_on: Date,
}

/// Everything that was said about the promise of a job, the oldest first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PromiseLog {
    pub notices: Vec<Notice>,
    pub answers: Vec<DelayAnswer>,
    pub refunds: Vec<RefundOwed>,
    /// While money is due back.
    pub refund_due_on: Option<Date>,
}

impl PromiseLog {
    /// How the promise stands.
    pub fn standing(&self, promised_on: Date, is_over: bool) -> Standing {
        Standing {
            promised_on,
            is_over,
            notice: self.notices.last().map(|notice| (notice.seq, notice.terms)),
            answer: self.answers.last().map(|answer| (answer.kind, answer.revised_on, answer.notice)),
            refund_due_on: self.refund_due_on,
        }
    }
}

/// An open job, or one with money due back, and how its promise stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobPromise {
    pub number: i64,
    pub customer: String,
    pub standing: Standing,
    /// What was paid so far.
    pub paid: Cents,
}

#[derive(Debug, Deserialize)]
struct NoticeRow {
    seq: i64,
    is_renewed: bool,
    #[serde(with = "iso_date")]
    promised_on: Date,
    #[serde(with = "iso_date::option")]
    revised_on: Option<Date>,
    #[serde(with = "iso_date")]
    sent_on: Date,
    #[serde(with = "iso_date")]
    answer_by: Date,
    silence: String,
    cause: String,
    way: String,
}

impl TryFrom<NoticeRow> for Notice {
    type Error = StoreError;
    fn try_from(row: NoticeRow) -> Result<Self, StoreError> {
        Ok(Self {
            seq: row.seq,
            terms: NoticeTerms {
                is_renewed: row.is_renewed,
                promised_on: row.promised_on,
                revised_on: row.revised_on,
                sent_on: row.sent_on,
                answer_by: row.answer_by,
                silence: word("silence", &row.silence, Silence::from_key(&row.silence))?,
            },
            cause: row.cause,
            way: word("way", &row.way, ContactWay::from_key(&row.way))?,
        })
    }
}

#[derive(Debug, Deserialize)]
struct AnswerRow {
    notice_seq: Option<i64>,
    kind: String,
    #[serde(with = "iso_date::option")]
    revised_on: Option<Date>,
    way: Option<String>,
    #[serde(with = "iso_date")]
    answered_on: Date,
    said: String,
}

impl TryFrom<AnswerRow> for DelayAnswer {
    type Error = StoreError;
    fn try_from(row: AnswerRow) -> Result<Self, StoreError> {
        Ok(Self {
            notice: row.notice_seq,
            kind: word("answer", &row.kind, AnswerKind::from_key(&row.kind))?,
            revised_on: row.revised_on,
            way: row.way.map(|way| word("way", &way, ContactWay::from_key(&way))).transpose()?,
            answered_on: row.answered_on,
            said: row.said,
        })
    }
}

/// Open or closed jobs with how their promise stands, as a `where` clause and an order find them.
macro_rules! job_promises {
    ($store:ident, $where:literal $(, $bound:expr)*) => {
        sqlx::query_as!(
            JobPromiseRow,
            r#"select j.number, c.name as customer, j.promised_on as "promised_on: Date",
                      (j.stage = 'cancelled' or exists (select 1 from shipment where job_number = j.number))
                          as "is_over!: bool",
                      j.refund_due_on as "refund_due_on?: Date",
                      (select coalesce(sum(amount_cents), 0) from payment where job_number = j.number) as "paid!: i64",
                      (select body from delay_notice_json where job_number = j.number order by seq desc limit 1)
                          as "notice?: Json<NoticeRow>",
                      (select body from promise_answer_json where job_number = j.number order by seq desc limit 1)
                          as "answer?: Json<AnswerRow>"
               from job j join customer c on c.id = j.patient_id
               "# + $where
            $(, $bound)*
        )
        .fetch_all(&$store.read)
        .await?
        .into_iter()
        .map(JobPromise::try_from)
        .collect()
    };
}

struct JobPromiseRow {
    number: i64,
    customer: String,
    promised_on: Date,
    is_over: bool,
    refund_due_on: Option<Date>,
    paid: i64,
    notice: Option<Json<NoticeRow>>,
    answer: Option<Json<AnswerRow>>,
}

impl TryFrom<JobPromiseRow> for JobPromise {
    type Error = StoreError;
    fn try_from(row: JobPromiseRow) -> Result<Self, StoreError> {
        let notice = row.notice.map(|notice| Notice::try_from(notice.0)).transpose()?;
        let answer = row.answer.map(|answer| DelayAnswer::try_from(answer.0)).transpose()?;
        let log = PromiseLog {
            notices: notice.into_iter().collect(),
            answers: answer.into_iter().collect(),
            refunds: Vec::new(),
            refund_due_on: row.refund_due_on,
        };
        Ok(Self {
            number: row.number,
            customer: row.customer,
            standing: log.standing(row.promised_on, row.is_over),
            paid: Cents::new(row.paid),
        })
    }
}

impl Store {
    /// Everything that was said about the promise of a job.
    pub async fn get_promise_log(&self, number: i64) -> Result<PromiseLog, StoreError> {
        let row = sqlx::query!(
            r#"select refund_due_on as "refund_due_on?: Date",
                      (select json_group_array(json(body)) from
                       (select body from delay_notice_json where job_number = j.number order by seq))
                          as "notices!: Json<Vec<NoticeRow>>",
                      (select json_group_array(json(body)) from
                       (select body from promise_answer_json where job_number = j.number order by seq))
                          as "answers!: Json<Vec<AnswerRow>>"
               from job j where number = ?"#,
            number
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that job number"))?;
        let refunds = sqlx::query!(
            r#"select cause, vests_on as "vests_on: Date", due_on as "due_on: Date", amount_cents
               from refund_owed where job_number = ? order by seq"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        Ok(PromiseLog {
            notices: row.notices.0.into_iter().map(Notice::try_from).collect::<Result<_, _>>()?,
            answers: row.answers.0.into_iter().map(DelayAnswer::try_from).collect::<Result<_, _>>()?,
            refunds: refunds
                .into_iter()
                .map(|row| RefundOwed {
                    cause: row.cause,
                    vests_on: row.vests_on,
                    due_on: row.due_on,
                    amount: Cents::new(row.amount_cents),
                })
                .collect(),
            refund_due_on: row.refund_due_on,
        })
    }

    /// A notice of a job as it was sent.
    pub async fn get_notice_as_sent(&self, number: i64, seq: i64) -> Result<NoticeAsSent, StoreError> {
        sqlx::query_as!(
            NoticeAsSent,
            r#"select address, body, sent_on as "sent_on: Date" from delay_notice where seq = ? and job_number = ?"#,
            seq,
            number
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that notice"))
    }

    /// The open jobs of which something may be owed today, with how their promise stands, the earliest promise first: those
    /// promised for `last` or before, and those with a refund due, a notice or an answer. One whose parcel came back was
    /// sent, so nothing of its promise is open but a refund.
    pub async fn list_open_promises(&self, last: Date) -> Result<Vec<JobPromise>, StoreError> {
        job_promises!(
            self,
            "where j.closed_at is null
               and (j.refund_due_on is not null
                    or ((j.promised_on <= ?
                         or exists (select 1 from delay_notice where job_number = j.number)
                         or exists (select 1 from promise_answer where job_number = j.number))
                        and not exists (select 1 from shipment where job_number = j.number)))
             order by j.promised_on, j.number",
            last
        )
    }

    /// The closed jobs with money due back, the earliest first.
    pub async fn list_refunds_of_closed_jobs(&self) -> Result<Vec<JobPromise>, StoreError> {
        job_promises!(
            self,
            "where j.refund_due_on is not null and j.closed_at is not null order by j.refund_due_on, j.number"
        )
    }

    /// Keeps a notice that is sent. Where silence counts as consent, the new day is the promise from now on.
    pub async fn insert_delay_notice(
        &self,
        key: &str,
        number: i64,
        notice: &NewNotice,
        now: OffsetDateTime,
    ) -> Result<Once<i64>, StoreError> {
        self.once(key, Some((number, Step::DelayNotice)), now, async |tx| {
            must_need_a_notice(tx, number, notice.terms.promised_on).await?;
            let seq = insert_notice(tx, number, notice, now).await?;
            append_event(tx, number, EventKind::DelayNotice, &notice.words(), now).await?;
            if notice.terms.silence == Silence::Consents {
                let reason = "delay notice: silence counts as consent";
                move_promise(tx, number, notice.terms.revised_on, reason, now).await?;
            }
            Ok(Done::new(seq, seq))
        })
        .await
    }

    /// Keeps what the customer said, or that nothing came, to a notice with these terms, and the refund that it makes due.
    pub async fn insert_promise_answer(
        &self,
        key: &str,
        number: i64,
        step: Step,
        (answer, terms): (&DelayAnswer, Option<&NoticeTerms>),
        refund: Option<&RefundOwed>,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, step)), now, async |tx| {
            insert_answer(tx, number, answer, now).await?;
            let kind = match (answer.kind, refund.is_some() || is_cancelled_by_silence(tx, answer).await?) {
                (AnswerKind::Cancels, _) | (AnswerKind::Silent, true) => EventKind::DelayCancelled,
                (AnswerKind::Silent, false) => EventKind::DelaySilent,
                (AnswerKind::Consents, _) => EventKind::PromiseMoved,
            };
            let said = answer.words_after(terms);
            append_event(tx, number, kind, &said, now).await?;
            if answer.kind == AnswerKind::Consents {
                move_promise(tx, number, answer.revised_on, &said, now).await?;
            }
            if let Some(refund) = refund {
                insert_refund(tx, number, refund, now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}

/// Whether silence to the notice that an answer belongs to cancels the order.
async fn is_cancelled_by_silence(tx: &mut SqliteConnection, answer: &DelayAnswer) -> Result<bool, StoreError> {
    let silence =
        sqlx::query_scalar!("select silence from delay_notice where seq = ?", answer.notice).fetch_optional(tx).await?;
    Ok(silence.is_some_and(|key| key == Silence::Cancels.key()))
}

/// Refuses a notice about a day that is no longer promised, or while one that silence turns into a cancellation waits.
async fn must_need_a_notice(tx: &mut SqliteConnection, number: i64, promised_on: Date) -> Result<(), StoreError> {
    let promised = sqlx::query_scalar!(r#"select promised_on as "on: Date" from job where number = ?"#, number)
        .fetch_one(&mut *tx)
        .await?;
    let newest = sqlx::query!(
        r#"select silence, exists (select 1 from promise_answer a where a.job_number = n.job_number
                                   and a.notice_seq = n.seq) as "is_answered!: bool"
           from delay_notice n where job_number = ? order by seq desc limit 1"#,
        number
    )
    .fetch_optional(tx)
    .await?;
    let waits = newest.is_some_and(|notice| notice.silence == Silence::Cancels.key() && !notice.is_answered);
    if promised == promised_on && !waits { Ok(()) } else { Err(StoreError::MovedOn(number)) }
}

async fn insert_notice(
    tx: &mut SqliteConnection,
    number: i64,
    notice: &NewNotice,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let (terms, way, at) = (&notice.terms, notice.way.key(), Stamp(now));
    let silence = terms.silence.key();
    Ok(sqlx::query!(
        "insert into delay_notice (job_number, is_renewed, promised_on, revised_on, sent_on, answer_by, silence, cause,
                                   way, address, body, at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        terms.is_renewed,
        terms.promised_on,
        terms.revised_on,
        terms.sent_on,
        terms.answer_by,
        silence,
        notice.cause,
        way,
        notice.address,
        notice.body,
        at
    )
    .execute(tx)
    .await?
    .last_insert_rowid())
}

async fn insert_answer(
    tx: &mut SqliteConnection,
    number: i64,
    answer: &DelayAnswer,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (kind, way, at) = (answer.kind.key(), answer.way.map(ContactWay::key), Stamp(now));
    sqlx::query!(
        "insert into promise_answer (job_number, notice_seq, kind, revised_on, way, answered_on, said, at)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        answer.notice,
        kind,
        answer.revised_on,
        way,
        answer.answered_on,
        answer.said,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}

async fn insert_refund(
    tx: &mut SqliteConnection,
    number: i64,
    refund: &RefundOwed,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (amount, at) = (refund.amount.cents(), Stamp(now));
    sqlx::query!(
        "insert into refund_owed (job_number, cause, vests_on, due_on, amount_cents, at) values (?, ?, ?, ?, ?, ?)",
        number,
        refund.cause,
        refund.vests_on,
        refund.due_on,
        amount,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Puts the agreed day in a new revision; a delay without a day changes no promise.
async fn move_promise(
    tx: &mut SqliteConnection,
    number: i64,
    revised_on: Option<Date>,
    reason: &str,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    if revised_on.is_some() {
        revise(tx, number, &Change { promised_on: revised_on, reason, ..Change::default() }, now).await?;
    }
    Ok(())
}
