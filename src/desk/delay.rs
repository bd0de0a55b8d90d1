//! A promise that cannot be kept: what the mail-order rule asks for, by when, and what silence means.
//!
//! Source: 16 CFR Part 435 (435.1 definitions, 435.2 duties), from memory and checked against the summary of a public
//! business guide; each rule names its paragraph. It is a reminder, not legal advice. Where the text can be read in two
//! ways, the earlier day is taken: working days are Monday to Friday with no holiday left out.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::{Date, Duration};

use super::calendar::ClosedDays;
use super::date::day;
use super::deadline::SOON_DAYS;
use super::key::keyed;
use super::money::Cents;
use super::payment::PaymentKind;

/// A first delay of so many days at most may rest on silence: 435.2(b)(1)(ii) and (iii).
pub const SILENCE_DAYS: i64 = 30;
/// Working days for a prompt refund: 435.1, "prompt refund".
pub const REFUND_WORKING_DAYS: i64 = 7;

/// How something was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ContactWay {
    Letter,
    Email,
    /// A text message.
    Message,
    Telephone,
    InPerson,
}

keyed!(ContactWay);

impl ContactWay {
    /// After "by", or alone.
    pub fn words(self) -> &'static str {
        match self {
            ContactWay::Letter => "letter",
            ContactWay::Email => "e-mail",
            ContactWay::Message => "text message",
            ContactWay::Telephone => "telephone",
            ContactWay::InPerson => "in person",
        }
    }

    /// How the customer answers at the lab's expense: 435.2(b)(3).
    fn free_answer(self) -> &'static str {
        match self {
            ContactWay::Letter | ContactWay::InPerson => {
                "Mark the slip below and send it back in the enclosed envelope; its postage is paid."
            }
            ContactWay::Email => "Answer this e-mail.",
            ContactWay::Message => "Answer this message.",
            ContactWay::Telephone => "Tell us now, or call us and we will call you back at our expense.",
        }
    }
}

/// What it means when no answer comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Silence {
    /// The customer agrees to the revised day.
    Consents,
    /// The order is cancelled.
    Cancels,
}

keyed!(Silence);

/// What a notice offers, and what follows from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoticeTerms {
    /// A renewed option, 435.2(b)(2); else the first, 435.2(b)(1).
    pub is_renewed: bool,
    /// The day that cannot be kept.
    pub promised_on: Date,
    /// The new day; `None` where none can be given.
    pub revised_on: Option<Date>,
    pub sent_on: Date,
    /// The last day on which an answer counts.
    pub answer_by: Date,
    pub silence: Silence,
}

impl NoticeTerms {
    /// The terms of a notice about a promised day, sent on a day.
    pub fn of(is_renewed: bool, promised_on: Date, revised_on: Option<Date>, sent_on: Date) -> Self {
        let terms = |answer_by, silence| Self { is_renewed, promised_on, revised_on, sent_on, answer_by, silence };
        let last_day = promised_on.saturating_add(Duration::days(SILENCE_DAYS));
        match revised_on {
            // 435.2(c)(5) and (c)(3): the promised day is past without an offer, so the order counts as cancelled and
            // only express consent, before the money has to be back, keeps it.
            _ if sent_on > promised_on => terms(refund_due(promised_on).max(sent_on), Silence::Cancels),
            // 435.2(b)(2)(ii): before the old revised day passes.
            _ if is_renewed => terms(promised_on, Silence::Cancels),
            // 435.2(b)(1)(ii).
            Some(revised_on) if revised_on <= last_day => terms(revised_on, Silence::Consents),
            // 435.2(b)(1)(iii).
            _ => terms(last_day, Silence::Cancels),
        }
    }

    /// The last day to send it: 435.2(b)(1), (b)(2).
    pub fn send_by(&self) -> Date {
        self.promised_on
    }

    pub fn is_sent_late(&self) -> bool {
        self.sent_on > self.promised_on
    }

    /// The day on which the right to a refund begins when silence cancels.
    pub fn vests_on(&self) -> Date {
        if self.is_sent_late() { self.promised_on } else { self.answer_by }
    }

    /// Where the rule says so.
    pub fn paragraph(&self) -> &'static str {
        match (self.is_sent_late(), self.is_renewed, self.silence) {
            (true, true, _) => "16 CFR 435.2(c)(3)",
            (true, false, _) => "16 CFR 435.2(c)(5)",
            (false, true, _) => "16 CFR 435.2(b)(2)(ii)",
            (false, false, Silence::Consents) => "16 CFR 435.2(b)(1)(ii)",
            (false, false, Silence::Cancels) => "16 CFR 435.2(b)(1)(iii)",
        }
    }

    /// What the owner has to know of it, in a sentence.
    pub fn words(&self) -> String {
        let by = day(&self.answer_by);
        let (source, what) = (self.paragraph(), if self.is_renewed { "Further notice" } else { "First notice" });
        let about = format!("{what}: not by {}, but {}", day(&self.promised_on), new_day(self.revised_on));
        match self.silence {
            Silence::Consents => {
                format!("{about}. The customer may cancel until {by}; silence counts as consent ({source}).")
            }
            Silence::Cancels => format!(
                "{about}. The customer must agree by {by}; silence cancels the order, and the refund is due by {} \
                 ({source}).",
                day(&refund_due(self.vests_on()))
            ),
        }
    }
}

fn new_day(revised_on: Option<Date>) -> String {
    revised_on.map_or_else(|| "on a date that cannot be given yet".to_owned(), |on| format!("by {}", day(&on)))
}

/// The last day of a prompt refund when the right to it begins on a day: 435.1, "prompt refund" (1).
pub fn refund_due(vests_on: Date) -> Date {
    ClosedDays::weekend().working_days_after(vests_on, REFUND_WORKING_DAYS)
}

/// How the money goes back for each way of payment: 435.1, "refund".
pub fn refund_words(kind: PaymentKind) -> &'static str {
    match kind {
        PaymentKind::Card => "credit the card, and send the customer a copy of the credit",
        PaymentKind::Check | PaymentKind::Cash => "send cash, a check or a money order",
        PaymentKind::Transfer => "transfer it back, or send cash, a check or a money order",
        PaymentKind::Other => "the way it was paid, or send cash, a check or a money order",
    }
}

/// What is written in a notice besides its terms.
#[derive(Debug, Clone, Copy)]
pub struct NoticeFacts<'a> {
    pub lab_name: &'a str,
    /// Telephone and e-mail of the lab, as they are reached.
    pub contact: &'a str,
    pub customer: &'a str,
    pub job_number: i64,
    pub ordered_on: Date,
    /// Why it is late; may be empty where a new day is given.
    pub cause: &'a str,
    pub way: ContactWay,
    /// What was paid.
    pub paid: Cents,
}

/// The notice, a paragraph each. It says nothing of the prescription.
pub fn notice_text(terms: &NoticeTerms, facts: &NoticeFacts<'_>) -> Vec<String> {
    let (promised, by) = (day(&terms.promised_on), day(&terms.answer_by));
    let number = facts.job_number;
    let cause = if facts.cause.is_empty() { String::new() } else { format!(" The reason: {}.", facts.cause) };
    let before = if terms.is_renewed { "The new date for" } else { "We promised to send" };
    let opening = format!(
        "{before} your order {number} of {}{}. We cannot send it by that day.{cause}",
        day(&facts.ordered_on),
        if terms.is_renewed { format!(" was {promised}") } else { format!(" by {promised}") },
    );
    let expected = match terms.revised_on {
        Some(on) => format!("We now expect to send it on or before {}.", day(&on)),
        None => "At present we cannot say how long the delay will be.".to_owned(),
    };
    let choice = "You can agree to the delay, or cancel the order and promptly get a full refund. The choice is \
        yours, and it costs you nothing.";
    let paid_back = match facts.paid {
        paid if paid > Cents::ZERO => format!(
            "If the order is canceled, we refund the full {paid} the way you paid it, within seven working days."
        ),
        _ => "If the order is canceled, you owe us nothing.".to_owned(),
    };
    let mut text =
        vec![format!("Dear {},", facts.customer), opening, expected, choice.to_owned(), silence_words(terms, &by)];
    if terms.revised_on.is_none() {
        text.push(
            "If you agree to wait without a date, you can still cancel at any time before we send it, by telling us."
                .to_owned(),
        );
    }
    let reach =
        if facts.contact.is_empty() { String::new() } else { format!(" You also reach us here: {}.", facts.contact) };
    text.extend([paid_back, format!("{}{reach}", facts.way.free_answer()), facts.lab_name.to_owned()]);
    text
}

fn silence_words(terms: &NoticeTerms, by: &str) -> String {
    let until = match terms.revised_on {
        Some(on) => format!("to the delay until {}", day(&on)),
        None => "to a delay without a date".to_owned(),
    };
    match terms.silence {
        Silence::Consents => format!(
            "If you agree, you do not need to do anything. Unless we hear from you by {by}, and before we send it, \
             that you refuse the delay and cancel, we take it that you agree {until}."
        ),
        Silence::Cancels if terms.is_sent_late() => format!(
            "This notice comes after the promised day. Unless we hear from you by {by} that you agree {until}, your \
             order is canceled and your money refunded."
        ),
        Silence::Cancels if terms.is_renewed => format!(
            "Unless we hear from you by {by} that you agree {until}, your order is canceled and your money refunded, \
             if we cannot send it by that day after all."
        ),
        Silence::Cancels => format!(
            "Your order is canceled automatically, and your money refunded, unless we have sent it by {by} and have \
             not heard before that you cancel, or we hear from you by {by} that you agree {until}."
        ),
    }
}

/// What came of a notice, or of a call.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum AnswerKind {
    /// The customer agrees to the delay.
    Consents,
    /// The customer cancels the order.
    Cancels,
    /// The last day passed without an answer.
    Silent,
}

keyed!(AnswerKind);

impl AnswerKind {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            AnswerKind::Consents => "agrees to the delay",
            AnswerKind::Cancels => "cancels the order",
            AnswerKind::Silent => "did not answer",
        }
    }
}

/// A notice that was sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    pub seq: i64,
    pub terms: NoticeTerms,
    pub cause: String,
    pub way: ContactWay,
}

/// What a customer said about a promise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DelayAnswer {
    /// The newest notice before it.
    pub notice: Option<i64>,
    pub kind: AnswerKind,
    /// The day that was agreed on; `None` for a delay without a day, and for the other kinds.
    pub revised_on: Option<Date>,
    /// How it came; `None` for silence.
    pub way: Option<ContactWay>,
    pub answered_on: Date,
    /// The customer's words.
    pub said: String,
}

impl DelayAnswer {
    /// Whether it agrees after the last day to answer its notice, when silence had cancelled the order already.
    pub fn is_late(&self, terms: Option<&NoticeTerms>) -> bool {
        let is_past = |terms: &NoticeTerms| terms.silence == Silence::Cancels && self.answered_on > terms.answer_by;
        self.kind == AnswerKind::Consents && terms.is_some_and(is_past)
    }

    /// The same as [`DelayAnswer::words`], with a mark where it came too late.
    pub fn words_after(&self, terms: Option<&NoticeTerms>) -> String {
        match terms.filter(|_| self.is_late(terms)) {
            Some(terms) => format!(
                "{}. This came after the last day, {}: the order counted as cancelled, and the customer took it up again",
                self.words(),
                day(&terms.answer_by)
            ),
            None => self.words(),
        }
    }

    /// In a sentence without its end.
    pub fn words(&self) -> String {
        let way = self.way.map(|way| format!(", {}", way.words())).unwrap_or_default();
        let what = match self.kind {
            AnswerKind::Consents => format!("{}, {}", self.kind.words(), new_day_words(self.revised_on)),
            _ => self.kind.words().to_owned(),
        };
        let said = if self.said.is_empty() { String::new() } else { format!(": “{}”", self.said) };
        format!("{what}{way}, {}{said}", day(&self.answered_on))
    }
}

/// The day of a delay in a few words.
pub fn new_day_words(revised_on: Option<Date>) -> String {
    revised_on.map_or_else(|| "without a date".to_owned(), |on| format!("new date {}", day(&on)))
}

/// Refund due because an unsent order was cancelled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefundOwed {
    /// Why, with the paragraph of the rule.
    pub cause: String,
    pub vests_on: Date,
    pub due_on: Date,
    pub amount: Cents,
}

impl RefundOwed {
    /// The refund that an answer makes due; none where nothing was paid or the order goes on.
    pub fn of(kind: AnswerKind, answered_on: Date, terms: Option<&NoticeTerms>, paid: Cents) -> Option<Self> {
        let (vests_on, cause) = match (kind, terms) {
            // 435.2(c)(1).
            (AnswerKind::Cancels, _) => (answered_on, "the customer canceled, 16 CFR 435.2(c)(1)"),
            // 435.2(c)(2), (c)(3), (c)(5).
            (AnswerKind::Silent, Some(terms)) if terms.silence == Silence::Cancels => (
                terms.vests_on(),
                match (terms.is_sent_late(), terms.is_renewed) {
                    (true, false) => "no notice by the promised day, 16 CFR 435.2(c)(5)",
                    (_, true) => "no consent to the further delay, 16 CFR 435.2(c)(3)",
                    (false, false) => "no consent to the delay, 16 CFR 435.2(c)(2)",
                },
            ),
            _ => return None,
        };
        let due_on = refund_due(vests_on);
        (paid > Cents::ZERO).then(|| Self { cause: cause.to_owned(), vests_on, due_on, amount: paid })
    }
}

/// How the promise of an open job stands. The newest notice and answer are enough: a further notice waits for the
/// answer to one that silence cancels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    pub promised_on: Date,
    /// Whether it was sent once, or the job is cancelled: the rule asks for nothing more but a refund.
    pub is_over: bool,
    /// The newest notice, with its number.
    pub notice: Option<(i64, NoticeTerms)>,
    /// The newest answer: what, the agreed day, and the newest notice before it.
    pub answer: Option<(AnswerKind, Option<Date>, Option<i64>)>,
    /// The day by which money is due back, while there is any.
    pub refund_due_on: Option<Date>,
}

/// The last promised day for which something is owed today where nothing was said about the promise.
pub fn last_day_of_duty(today: Date) -> Date {
    today + Duration::days(SOON_DAYS)
}

/// What is owed to a customer, and by when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Duty {
    /// Nothing now.
    Nothing,
    /// The parcel, or else a notice, must be sent by this day.
    Notice { by: Date, is_renewed: bool },
    /// No notice was sent by that day: the order counts as cancelled.
    Missed { since: Date, is_renewed: bool },
    /// The customer must agree by this day, or the order is cancelled.
    Answer { by: Date },
    /// The customer did not agree in time.
    Lapsed { since: Date, refund_by: Date },
    /// The customer agreed to wait without a day, and may cancel at any time.
    OpenEnded,
    /// Money is due back.
    Refund { by: Date },
    /// The customer cancelled, and no money is due.
    Cancelled,
}

impl Standing {
    /// The notice that silence would turn into a cancellation and that has no answer yet.
    pub fn waiting(&self) -> Option<(i64, NoticeTerms)> {
        self.unanswered().filter(|(_, terms)| terms.silence == Silence::Cancels)
    }

    /// The newest notice, while it has no answer.
    pub fn unanswered(&self) -> Option<(i64, NoticeTerms)> {
        let answered = self.answer.and_then(|(_, _, notice)| notice);
        self.notice.filter(|(seq, _)| answered != Some(*seq))
    }

    /// Whether the next notice is a renewed option: the customer was offered or agreed to another day before.
    pub fn is_renewed(&self) -> bool {
        self.notice.is_some() || self.answer.is_some()
    }

    /// Whether the order is cancelled, by the customer or by silence.
    pub fn is_cancelled(&self) -> bool {
        let Some((kind, ..)) = self.answer.filter(|_| self.unanswered().is_none()) else { return false };
        let is_by_silence = || self.notice.is_some_and(|(_, terms)| terms.silence == Silence::Cancels);
        kind == AnswerKind::Cancels || kind == AnswerKind::Silent && is_by_silence()
    }

    /// What is owed today.
    pub fn duty(&self, today: Date) -> Duty {
        if let Some(by) = self.refund_due_on {
            return Duty::Refund { by };
        }
        if self.is_over {
            return Duty::Nothing;
        }
        if self.is_cancelled() {
            return Duty::Cancelled;
        }
        let is_open_ended = self.unanswered().is_none() && matches!(self.answer, Some((AnswerKind::Consents, None, _)));
        match self.waiting() {
            Some((_, terms)) if today <= terms.answer_by => Duty::Answer { by: terms.answer_by },
            Some((_, terms)) => Duty::Lapsed { since: terms.vests_on(), refund_by: refund_due(terms.vests_on()) },
            None if is_open_ended => Duty::OpenEnded,
            None => self.before_a_notice(today),
        }
    }

    fn before_a_notice(&self, today: Date) -> Duty {
        let (by, is_renewed) = (self.promised_on, self.is_renewed());
        match (by - today).whole_days() {
            ..0 => Duty::Missed { since: by, is_renewed },
            0..=SOON_DAYS => Duty::Notice { by, is_renewed },
            _ => Duty::Nothing,
        }
    }
}

impl Duty {
    /// The last day to do it, where there is one.
    pub fn by(self) -> Option<Date> {
        match self {
            Duty::Notice { by, .. } | Duty::Answer { by } | Duty::Refund { by } => Some(by),
            Duty::Missed { since, .. } => Some(refund_due(since)),
            Duty::Lapsed { refund_by, .. } => Some(refund_by),
            Duty::Nothing | Duty::OpenEnded | Duty::Cancelled => None,
        }
    }

    /// Whether something was missed, or is overdue.
    pub fn is_late(self, today: Date) -> bool {
        matches!(self, Duty::Missed { .. } | Duty::Lapsed { .. }) || self.by().is_some_and(|by| by < today)
    }

    /// A few words for a list.
    pub fn short(self) -> String {
        match self {
            Duty::Nothing => String::new(),
            Duty::Notice { by, is_renewed: false } => format!("send, or a delay notice, by {}", day(&by)),
            Duty::Notice { by, is_renewed: true } => format!("send, or a further notice, by {}", day(&by)),
            Duty::Missed { since, .. } => {
                format!("no notice by {}: ask the customer, or refund by {}", day(&since), day(&refund_due(since)))
            }
            Duty::Answer { by } => format!("the customer’s consent by {}", day(&by)),
            Duty::Lapsed { refund_by, .. } => format!("no consent came: refund by {}", day(&refund_by)),
            Duty::OpenEnded => "waits without a date, and may cancel".to_owned(),
            Duty::Refund { by } => format!("refund by {}", day(&by)),
            Duty::Cancelled => "canceled by the customer: close the job".to_owned(),
        }
    }

    /// What to do, in sentences; `None` where nothing is due.
    pub fn words(self) -> Option<String> {
        Some(match self {
            Duty::Nothing => return None,
            Duty::Notice { by, is_renewed } => {
                let (by, what, source) = (day(&by), which(is_renewed), offer(is_renewed));
                format!(
                    "If it cannot leave by {by}, the customer must have {what} by that day: a new date and a free way to \
                     cancel for a full refund ({source})."
                )
            }
            Duty::Missed { since, is_renewed } => {
                let (source, refund) = (if is_renewed { "(c)(3)" } else { "(c)(5)" }, day(&refund_due(since)));
                format!(
                    "Promised for {} and not sent, and {} was not sent by that day. By 16 CFR 435.2{source} the order \
                     counts as canceled and the refund is due by {refund}. Send it now, or ask the customer: record \
                     the consent, or refund.",
                    day(&since),
                    which(is_renewed)
                )
            }
            Duty::Answer { by } => format!(
                "A delay notice is out. Send the parcel or have the customer’s consent by {}: silence cancels the order.",
                day(&by)
            ),
            Duty::Lapsed { since, refund_by } => format!(
                "The customer did not agree to the delay: the order is canceled since {}. Record that; the refund is \
                 due by {}.",
                day(&since),
                day(&refund_by)
            ),
            Duty::OpenEnded => {
                "The customer agreed to wait without a date and may cancel at any time before it is sent \
                                (16 CFR 435.2(b)(1)(iii)). Record the new date as soon as there is one."
                    .to_owned()
            }
            Duty::Refund { by } => {
                format!("The order was canceled: a full refund is due by {} (16 CFR 435.1, 435.2(c)).", day(&by))
            }
            Duty::Cancelled => "The order was canceled because of the delay, and no refund is due.".to_owned(),
        })
    }
}

fn which(is_renewed: bool) -> &'static str {
    if is_renewed { "a further delay notice" } else { "a delay notice" }
}

fn offer(is_renewed: bool) -> &'static str {
    if is_renewed { "16 CFR 435.2(b)(2)" } else { "16 CFR 435.2(b)(1)" }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use time::macros::date;

    /// Promised for Thursday, Dec 10, 2026; thirty days later is Jan 9, 2027.
    const PROMISED: Date = date!(2026 - 12 - 10);

    #[test]
    fn the_terms_follow_from_the_days() {
        let (first, renewed) = (false, true);
        let in_time = date!(2026 - 12 - 01);
        use Silence::{Cancels, Consents};
        for (is_renewed, revised_on, sent_on, answer_by, silence, paragraph) in [
            // A new day within thirty days: silence consents until that day.
            (first, Some(date!(2026 - 12 - 11)), in_time, date!(2026 - 12 - 11), Consents, "(b)(1)(ii)"),
            (first, Some(date!(2027 - 01 - 09)), in_time, date!(2027 - 01 - 09), Consents, "(b)(1)(ii)"),
            // The thirty-first day, or none: consent within thirty days of the promised day.
            (first, Some(date!(2027 - 01 - 10)), in_time, date!(2027 - 01 - 09), Cancels, "(b)(1)(iii)"),
            (first, None, in_time, date!(2027 - 01 - 09), Cancels, "(b)(1)(iii)"),
            // "In no event later than" the promised day: that day itself is in time.
            (first, Some(date!(2027 - 01 - 09)), PROMISED, date!(2027 - 01 - 09), Consents, "(b)(1)(ii)"),
            (first, Some(date!(2027 - 01 - 09)), date!(2026 - 12 - 11), date!(2026 - 12 - 21), Cancels, "(c)(5)"),
            (first, None, date!(2026 - 12 - 22), date!(2026 - 12 - 22), Cancels, "(c)(5)"),
            // A renewed option: consent before the old revised day passes, whatever the new one is.
            (renewed, Some(date!(2026 - 12 - 11)), in_time, PROMISED, Cancels, "(b)(2)(ii)"),
            (renewed, None, PROMISED, PROMISED, Cancels, "(b)(2)(ii)"),
            (renewed, Some(date!(2026 - 12 - 20)), date!(2026 - 12 - 11), date!(2026 - 12 - 21), Cancels, "(c)(3)"),
        ] {
            let terms = NoticeTerms::of(is_renewed, PROMISED, revised_on, sent_on);
            let got = (terms.answer_by, terms.silence, terms.paragraph());
            assert_eq!(
                got,
                (answer_by, silence, format!("16 CFR 435.2{paragraph}").as_str()),
                "{revised_on:?} {sent_on}"
            );
            assert_eq!(terms.send_by(), PROMISED);
            let vests_on = if sent_on > PROMISED { PROMISED } else { answer_by };
            assert_eq!(terms.vests_on(), vests_on);
        }
    }

    /// 435.1, "prompt refund": seven working days. Counted on a wall calendar; a holiday between counts as a working day,
    /// so that the day is never later than the rule's.
    #[test]
    fn a_refund_is_due_in_seven_working_days() {
        for (vests_on, due_on) in [
            (date!(2026 - 12 - 10), date!(2026 - 12 - 21)), // Thursday
            (date!(2026 - 12 - 11), date!(2026 - 12 - 22)), // Friday
            (date!(2026 - 12 - 12), date!(2026 - 12 - 22)), // Saturday
            (date!(2026 - 12 - 13), date!(2026 - 12 - 22)), // Sunday
            (date!(2026 - 12 - 14), date!(2026 - 12 - 23)), // Monday
            (date!(2026 - 12 - 21), date!(2026 - 12 - 30)), // over Christmas
        ] {
            assert_eq!(refund_due(vests_on), due_on, "{vests_on}");
        }
    }

    #[test]
    fn an_answer_makes_a_refund_due_or_not() {
        let (paid, on) = (Cents::new(18_600), date!(2026 - 12 - 14));
        let silent_consent = NoticeTerms::of(false, PROMISED, Some(date!(2026 - 12 - 20)), PROMISED);
        let asks_consent = NoticeTerms::of(false, PROMISED, None, PROMISED);
        let renewed = NoticeTerms::of(true, PROMISED, None, PROMISED);
        let late = NoticeTerms::of(false, PROMISED, None, date!(2026 - 12 - 11));
        for (kind, terms, vests_on, paragraph) in [
            (AnswerKind::Cancels, &silent_consent, Some(on), "(c)(1)"),
            (AnswerKind::Cancels, &asks_consent, Some(on), "(c)(1)"),
            (AnswerKind::Silent, &asks_consent, Some(date!(2027 - 01 - 09)), "(c)(2)"),
            (AnswerKind::Silent, &renewed, Some(PROMISED), "(c)(3)"),
            (AnswerKind::Silent, &late, Some(PROMISED), "(c)(5)"),
            (AnswerKind::Silent, &silent_consent, None, ""),
            (AnswerKind::Consents, &asks_consent, None, ""),
        ] {
            let refund = RefundOwed::of(kind, on, Some(terms), paid);
            assert_eq!(refund.as_ref().map(|refund| refund.vests_on), vests_on, "{kind:?} {terms:?}");
            if let Some(refund) = refund {
                assert!(refund.cause.ends_with(&format!("435.2{paragraph}")), "{}", refund.cause);
                assert_eq!((refund.due_on, refund.amount), (refund_due(refund.vests_on), paid));
            }
        }
        assert_eq!(RefundOwed::of(AnswerKind::Cancels, on, None, Cents::ZERO), None, "nothing was paid");
    }

    fn standing() -> Standing {
        Standing { promised_on: PROMISED, is_over: false, notice: None, answer: None, refund_due_on: None }
    }

    #[test]
    fn a_duty_begins_and_ends_on_its_day() {
        let notice = |revised_on| Some((7, NoticeTerms::of(false, PROMISED, revised_on, date!(2026 - 12 - 01))));
        let waits = Standing { notice: notice(None), ..standing() };
        // The promise follows a notice that needs no consent.
        let consents =
            Standing { promised_on: date!(2026 - 12 - 20), notice: notice(Some(date!(2026 - 12 - 20))), ..standing() };
        let answered = |kind, day| Standing { answer: Some((kind, day, Some(7))), ..waits.clone() };
        let refund = Standing { refund_due_on: Some(date!(2026 - 12 - 21)), ..answered(AnswerKind::Cancels, None) };
        let missed = |since, is_renewed| Duty::Missed { since, is_renewed };
        let asked = |by, is_renewed| Duty::Notice { by, is_renewed };
        let lapsed = Duty::Lapsed { since: date!(2027 - 01 - 09), refund_by: date!(2027 - 01 - 19) };
        for (standing, today, want) in [
            (standing(), date!(2026 - 12 - 06), Duty::Nothing),
            (standing(), date!(2026 - 12 - 07), asked(PROMISED, false)),
            (standing(), PROMISED, asked(PROMISED, false)),
            (standing(), date!(2026 - 12 - 11), missed(PROMISED, false)),
            (Standing { is_over: true, ..standing() }, date!(2026 - 12 - 11), Duty::Nothing),
            (waits.clone(), date!(2027 - 01 - 09), Duty::Answer { by: date!(2027 - 01 - 09) }),
            (waits.clone(), date!(2027 - 01 - 10), lapsed),
            (Standing { is_over: true, ..waits.clone() }, date!(2027 - 01 - 10), Duty::Nothing),
            (consents.clone(), date!(2026 - 12 - 16), Duty::Nothing),
            (consents.clone(), date!(2026 - 12 - 17), asked(date!(2026 - 12 - 20), true)),
            (consents, date!(2026 - 12 - 21), missed(date!(2026 - 12 - 20), true)),
            (answered(AnswerKind::Consents, None), date!(2027 - 03 - 01), Duty::OpenEnded),
            (answered(AnswerKind::Cancels, None), date!(2026 - 12 - 02), Duty::Cancelled),
            (answered(AnswerKind::Silent, None), date!(2027 - 01 - 10), Duty::Cancelled),
            (refund.clone(), date!(2026 - 12 - 21), Duty::Refund { by: date!(2026 - 12 - 21) }),
        ] {
            assert_eq!(standing.duty(today), want, "{today} {standing:?}");
            assert_eq!(want.words().is_none(), want == Duty::Nothing);
        }
        assert!(!refund.duty(PROMISED).is_late(date!(2026 - 12 - 21)));
        assert!(refund.duty(PROMISED).is_late(date!(2026 - 12 - 22)));
        assert!(missed(PROMISED, false).words().is_some_and(|w| w.contains("Dec 21, 2026") && w.contains("(c)(5)")));
    }

    #[test]
    fn what_the_customer_agreed_to_counts() {
        let told = NoticeTerms::of(false, PROMISED, None, PROMISED);
        let waits = Standing { notice: Some((7, told)), ..standing() };
        assert!(waits.waiting().is_some() && waits.is_renewed() && !waits.is_cancelled());
        let agreed = Standing { answer: Some((AnswerKind::Consents, Some(PROMISED), Some(7))), ..waits.clone() };
        assert!(agreed.waiting().is_none() && !agreed.is_cancelled());
        // An answer from before the newest notice leaves that one open.
        let older = Standing { answer: Some((AnswerKind::Consents, Some(PROMISED), Some(6))), ..waits };
        assert_eq!(older.waiting().map(|(seq, _)| seq), Some(7));
        assert!(Standing { answer: Some((AnswerKind::Consents, Some(PROMISED), None)), ..standing() }.is_renewed());
        assert!(!standing().is_renewed());
    }

    fn text(is_renewed: bool, revised_on: Option<Date>, sent_on: Date, paid: i64) -> String {
        let facts = NoticeFacts {
            lab_name: "Saltmarsh Lens Post",
            contact: "555-0100",
            customer: "Bram Quill",
            job_number: 1042,
            ordered_on: date!(2026 - 11 - 25),
            cause: "a lens broke",
            way: ContactWay::Letter,
            paid: Cents::new(paid),
        };
        notice_text(&NoticeTerms::of(is_renewed, PROMISED, revised_on, sent_on), &facts).join("\n")
    }

    /// What 435.2(b)(1)(i) to (iii), (b)(2)(ii) and (b)(3) want a notice to say.
    #[test]
    fn a_notice_says_what_the_rule_wants() {
        let soon = text(false, Some(date!(2026 - 12 - 20)), PROMISED, 18_600);
        for wanted in [
            "Dear Bram Quill,",
            "order 1042 of Nov 25, 2026 by Dec 10, 2026",
            "The reason: a lens broke.",
            "on or before Dec 20, 2026",
            "cancel the order and promptly get a full refund",
            "Unless we hear from you by Dec 20, 2026, and before we send it",
            "full $186.00",
            "its postage is paid",
        ] {
            assert!(soon.contains(wanted), "{wanted} in\n{soon}");
        }
        let never = text(false, None, PROMISED, 0);
        assert!(never.contains("cannot say how long") && never.contains("canceled automatically"), "{never}");
        assert!(never.contains("by Jan 9, 2027") && never.contains("still cancel at any time"), "{never}");
        assert!(never.contains("you owe us nothing"), "{never}");
        let later = text(false, Some(date!(2027 - 02 - 01)), PROMISED, 0);
        assert!(later.contains("canceled automatically") && !later.contains("still cancel at any time"), "{later}");
        let further = text(true, Some(date!(2026 - 12 - 20)), PROMISED, 0);
        assert!(further.contains("was Dec 10, 2026"), "{further}");
        assert!(
            further.contains("Unless we hear from you by Dec 10, 2026 that you agree to the delay until Dec 20"),
            "{further}"
        );
        let late = text(false, Some(date!(2026 - 12 - 20)), date!(2026 - 12 - 11), 0);
        assert!(late.contains("after the promised day") && late.contains("by Dec 21, 2026 that you agree"), "{late}");
    }

    proptest! {
        /// Silence consents only to a first delay of at most thirty days that was told in time, and no day for an answer
        /// lies before the notice.
        #[test]
        fn silence_consents_seldom(is_renewed: bool, revised in proptest::option::of(1_i64..90), sent in -30_i64..30) {
            let after = |days: i64| PROMISED + Duration::days(days);
            let terms = NoticeTerms::of(is_renewed, PROMISED, revised.map(after), after(sent));
            let may_consent = !is_renewed && sent <= 0 && revised.is_some_and(|days| days <= 30);
            prop_assert_eq!(terms.silence == Silence::Consents, may_consent);
            prop_assert!(terms.answer_by >= terms.sent_on);
            prop_assert!(terms.vests_on() <= terms.answer_by);
        }
    }
}
