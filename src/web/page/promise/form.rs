//! The three forms of the page of a promise.

use time::Date;

use crate::desk::delay::{
    AnswerKind, ContactWay, DelayAnswer, NoticeFacts, NoticeTerms, RefundOwed, Standing, notice_text,
};
use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::desk::text;
use crate::store::delay::{NewNotice, PromiseLog};
use crate::web::form::Form;
use crate::web::words;

/// Several defaults of a form: field and value.
type Defaults<'a> = [(&'static str, &'a str); 2];

fn read_way(form: &mut Form, field: &str) -> Option<ContactWay> {
    form.read(field, |key| ContactWay::from_key(key).ok_or("Choose how it was said"))
}

/// A day on which something was said: not before `first`, and not still to come.
fn read_past_day(form: &mut Form, field: &str, first: Date, today: Date) -> Option<Date> {
    form.read(field, |typed| match words::parse_day(typed)? {
        day if day > today => Err("That day is in the future".to_owned()),
        day if day < first => Err(format!("That is before {}", words::day(&first))),
        day => Ok(day),
    })
}

/// Another day that the customer agreed to.
pub(super) struct AgreementForm;

impl AgreementForm {
    const DAY: &str = "agreed_on";
    const WAY: &str = "agreed_way";
    const AT: &str = "agreed_at";
    const SAID: &str = "agreed_said";

    pub(super) fn defaults(today: &str) -> Defaults<'_> {
        [(Self::WAY, ContactWay::Telephone.key()), (Self::AT, today)]
    }

    pub(super) fn read(form: &mut Form, job: &Job, log: &PromiseLog, today: Date) -> Option<DelayAnswer> {
        let agreed = form.read(Self::DAY, |typed| match words::parse_day(typed)? {
            day if day < today => Err("That day is past: choose today or a later day".to_owned()),
            day if day == job.promised_on => Err("It is already promised for that day".to_owned()),
            day => Ok(day),
        });
        let way = read_way(form, Self::WAY);
        let answered_on = read_past_day(form, Self::AT, job.ordered_on, today);
        let said = form.read(Self::SAID, |typed| text::needed("What the customer said", typed, 300));
        Some(DelayAnswer {
            notice: log.notices.last().map(|notice| notice.seq),
            kind: AnswerKind::Consents,
            revised_on: Some(agreed?),
            way: Some(way?),
            answered_on: answered_on?,
            said: said?,
        })
    }
}

/// A delay notice.
pub(super) struct NoticeForm;

impl NoticeForm {
    const REVISED: &str = "revised";
    const REVISED_ON: &str = "revised_on";
    const CAUSE: &str = "cause";
    const WAY: &str = "notice_way";
    const SENT_ON: &str = "sent_on";
    /// Which button was pressed.
    const INTENT: &str = "intent";

    pub(super) fn defaults(today: &str) -> [(&'static str, &str); 3] {
        [(Self::REVISED, "day"), (Self::WAY, ContactWay::Letter.key()), (Self::SENT_ON, today)]
    }

    /// Whether the owner only wants to see the notice.
    pub(super) fn looks_only(form: &Form) -> bool {
        form.value(Self::INTENT) == "look"
    }

    pub(super) fn read(form: &mut Form, job: &Job, lab: &Lab, standing: &Standing, today: Date) -> Option<NewNotice> {
        if standing.waiting().is_some() {
            form.fail(Self::REVISED, "A notice still has no answer: record the answer first");
        }
        let revised_on = Self::read_revised(form, job.promised_on, today);
        let has_day = revised_on.is_some_and(|day| day.is_some());
        let cause = form.read(Self::CAUSE, |typed| match text::line("The reason", typed, 300)? {
            // 16 CFR 435.2(a)(3)(ii).
            cause if cause.is_empty() && !has_day => Err(text::TextError::Missing("The reason")),
            cause => Ok(cause.trim_end_matches('.').to_owned()),
        });
        let way = read_way(form, Self::WAY);
        let sent_on = read_past_day(form, Self::SENT_ON, job.ordered_on, today);
        if !form.is_fine() {
            return None;
        }
        let terms = NoticeTerms::of(standing.is_renewed(), job.promised_on, revised_on?, sent_on?);
        let (cause, way) = (cause?, way?);
        let contact = [lab.phone.as_str(), lab.email.as_str()].into_iter().filter(|text| !text.is_empty());
        let facts = NoticeFacts {
            lab_name: &lab.name,
            contact: &contact.collect::<Vec<_>>().join(", "),
            customer: &job.payer.person.name,
            job_number: job.number,
            ordered_on: job.ordered_on,
            cause: &cause,
            way,
            paid: job.paid,
        };
        let body = notice_text(&terms, &facts).join("\n");
        Some(NewNotice { terms, cause, way, address: job.payer.person.label(), body })
    }

    fn read_revised(form: &mut Form, promised_on: Date, today: Date) -> Option<Option<Date>> {
        match form.value(Self::REVISED) {
            "none" => Some(None),
            "day" => form
                .read(Self::REVISED_ON, |typed| match words::parse_day(typed)? {
                    day if day <= promised_on => {
                        Err(format!("The new date must be after {}", words::day(&promised_on)))
                    }
                    day if day < today => Err("That day is past".to_owned()),
                    day => Ok(day),
                })
                .map(Some),
            _ => {
                form.fail(Self::REVISED, "Choose whether a date can be given");
                None
            }
        }
    }
}

/// What came of a notice.
pub(super) struct AnswerForm;

impl AnswerForm {
    const KIND: &str = "answer";
    const WAY: &str = "answer_way";
    const AT: &str = "answered_on";
    const SAID: &str = "answer_said";

    pub(super) fn defaults(today: &str) -> Defaults<'_> {
        [(Self::WAY, ContactWay::Telephone.key()), (Self::AT, today)]
    }

    pub(super) fn read(
        form: &mut Form,
        job: &Job,
        standing: &Standing,
        today: Date,
    ) -> Option<(DelayAnswer, Option<RefundOwed>)> {
        let Some((seq, terms)) = standing.unanswered() else {
            form.fail(Self::KIND, "No notice is waiting for an answer");
            return None;
        };
        let kind = form.read(Self::KIND, |key| AnswerKind::from_key(key).ok_or("Choose the answer to the notice"))?;
        let answer = |way, answered_on, said| DelayAnswer {
            notice: Some(seq),
            kind,
            revised_on: terms.revised_on.filter(|_| kind == AnswerKind::Consents),
            way,
            answered_on,
            said,
        };
        let answer = if kind == AnswerKind::Silent {
            if today <= terms.answer_by {
                let by = words::day(&terms.answer_by);
                form.fail(Self::KIND, format!("The customer may still answer until {by}"));
                return None;
            }
            answer(None, today, String::new())
        } else {
            let way = read_way(form, Self::WAY);
            let answered_on = read_past_day(form, Self::AT, terms.sent_on, today);
            let said = form.read(Self::SAID, |typed| text::needed("What the customer said", typed, 300));
            answer(Some(way?), answered_on?, said?)
        };
        let refund = RefundOwed::of(kind, answer.answered_on, Some(&terms), job.paid);
        form.is_fine().then_some((answer, refund))
    }
}
