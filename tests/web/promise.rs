//! The promised day, and what the mail-order rule wants when it cannot be kept.

use rimbook::desk::delay::Silence;
use rimbook::desk::job::EventKind;
use rimbook::desk::money::Cents;
use time::macros::{date, datetime, offset};
use time::{Date, OffsetDateTime, UtcOffset};

use crate::support::{Answer, TestLab};

/// Ada's job is ordered on Nov 25, 2026, promised for Saturday, Dec 5, and paid with $186.00.
const LAST_DAY: OffsetDateTime = datetime!(2026-12-05 16:00 UTC);
const DAY_AFTER: OffsetDateTime = datetime!(2026-12-06 16:00 UTC);

async fn promised(lab: &TestLab, number: i64) -> Date {
    lab.store.get_job(number).await.unwrap().promised_on
}

async fn send_notice(lab: &TestLab, number: i64, changes: &[(&str, &str)]) -> Answer {
    let mut fields = vec![
        ("revised", "day"),
        ("revised_on", "2026-12-19"),
        ("cause", "a lens broke."),
        ("notice_way", "email"),
        ("sent_on", "2026-11-25"),
    ];
    for (name, value) in changes {
        fields.retain(|(n, _)| n != name);
        fields.push((name, value));
    }
    lab.post(&format!("/jobs/{number}/delay-notices"), &fields).await
}

async fn answer(lab: &TestLab, number: i64, kind: &str, on: &str) -> Answer {
    let said = if kind == "silent" { "" } else { "their own words" };
    let fields = [("answer", kind), ("answer_way", "telephone"), ("answered_on", on), ("answer_said", said)];
    lab.post(&format!("/jobs/{number}/delay-answers"), &fields).await
}

async fn duties(lab: &TestLab) -> Vec<String> {
    lab.get("/").await.texts("#duties .what")
}

#[tokio::test]
async fn the_promise_starts_from_the_working_days_of_the_lab() {
    let lab = TestLab::new().await;
    let page = lab.get(&lab.get("/orders/new").await.location).await;
    assert_eq!(page.attributes("#promised_on", "value"), ["2026-12-09"], "ten working days");
    let shown = lab.get("/lab").await;
    assert_eq!(shown.attributes("input[name=closed_weekdays][checked]", "value"), ["sat", "sun"]);
    let mut profile = lab.store.find_lab().await.unwrap().unwrap();
    let away = "2026-11-26 to 2026-11-27 Thanksgiving\n2026-12-09 Fair";
    profile.closed.periods = rimbook::desk::calendar::ClosedDays::read_periods(away).unwrap();
    lab.store.change_lab("given-lab", &profile, crate::support::NOW).await.unwrap();
    let lab = lab.reopened().await;
    let page = lab.get(&lab.get("/orders/new").await.location).await;
    assert_eq!(page.attributes("#promised_on", "value"), ["2026-12-14"]);
    assert_eq!(lab.get("/lab").await.text("#closed_periods"), away.replace('\n', " "));
}

#[tokio::test]
async fn closed_days_are_set_on_the_page_of_the_lab() {
    let lab = TestLab::new().await;
    let page = lab.get("/lab").await;
    let profile = lab.store.find_lab().await.unwrap().unwrap();
    let (name, address) = (profile.name.as_str(), profile.address.as_str());
    let all = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"].map(|day| ("closed_weekdays", day));
    let key = page.attributes("form[action='/lab'] input[name=key]", "value").remove(0);
    let rest = [
        ("key", key.as_str()),
        ("name", name),
        ("address", address),
        ("blocker_step", "0.50"),
        ("blank_margin", "2"),
        ("tight_corner", "1"),
        ("wheel_radius", "50"),
        ("tolerance", "z80_1"),
        ("stock_diameters", "65 70"),
        ("code_basis", "as_written"),
        ("lead_days", "5"),
        ("shipping", "7"),
    ];
    let never = [&rest[..], &all, &[("closed_periods", "Christmas")]].concat();
    let refused = lab.post("/lab", &never).await;
    refused.assert_status(422);
    assert!(refused.text("#closed_weekdays-error").contains("at least one day open"));
    assert!(refused.text("#closed_periods-error").contains("not a day"));
    assert!(refused.text("#closed_periods").contains("Christmas"), "nothing typed is lost");
    let sunday = [&rest[..], &[("closed_weekdays", "sun"), ("closed_periods", "12/25/2026 Christmas")]].concat();
    lab.post("/lab", &sunday).await.assert_status(303);
    let closed = lab.store.find_lab().await.unwrap().unwrap().closed;
    assert_eq!((closed.weekday_keys(), closed.typed_periods()), (vec!["sun"], "2026-12-25 Christmas".to_owned()));
}

#[tokio::test]
async fn the_customer_agrees_to_another_day() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/promise");
    let before = lab.store.get_job(number).await.unwrap();
    let agreed = [("agreed_way", "telephone"), ("agreed_at", "2026-11-25"), ("agreed_said", "no hurry")];
    for (day, said, field, says) in [
        ("2026-11-24", "no hurry", "agreed_on", "past"),
        ("2026-12-05", "no hurry", "agreed_on", "already"),
        ("2026-12-14", "", "agreed_said", "What the customer said is needed"),
    ] {
        let fields = [agreed[0], agreed[1], ("agreed_on", day), ("agreed_said", said)];
        let refused = lab.post(&path, &fields).await;
        refused.assert_status(422);
        assert!(
            refused.text(&format!("#{field}-error")).contains(says),
            "{day} {said}: {}",
            refused.texts(".error").join(" ")
        );
    }
    lab.post(&path, &[&agreed[..], &[("agreed_on", "2026-12-14")]].concat()).await.assert_status(303);
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!((job.promised_on, job.revision), (date!(2026 - 12 - 14), before.revision + 1));
    assert_eq!((&job.prescription, &job.eyes), (&before.prescription, &before.eyes));
    let history = lab.get(&format!("/jobs/{number}")).await.text(".history");
    assert!(history.contains("new date Dec 14, 2026, telephone, Nov 25, 2026: “no hurry”"), "{history}");
    assert!(lab.get("/").await.text("table.table").contains("Dec 14"));
    // A later delay is a further one: the customer agreed to a day before.
    send_notice(&lab, number, &[]).await.assert_status(303);
    let log = lab.store.get_promise_log(number).await.unwrap();
    assert!(log.notices[0].terms.is_renewed);
}

#[tokio::test]
async fn a_first_notice_within_thirty_days_moves_the_promise() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let seen = send_notice(&lab, number, &[("intent", "look")]).await;
    seen.assert_status(200);
    assert!(seen.text("#notice-text").contains("on or before Dec 19, 2026"));
    assert!(seen.texts("b").join(" ").contains("16 CFR 435.2(b)(1)(ii)"));
    assert_eq!(lab.store.get_promise_log(number).await.unwrap().notices, [], "only looked at");
    send_notice(&lab, number, &[]).await.assert_status(303);
    let log = lab.store.get_promise_log(number).await.unwrap();
    let notice = &log.notices[0];
    assert_eq!((notice.terms.silence, notice.terms.answer_by), (Silence::Consents, date!(2026 - 12 - 19)));
    assert_eq!(promised(&lab, number).await, date!(2026 - 12 - 19));
    let letter = lab.get(&format!("/jobs/{number}/delay-notices/{}", notice.seq)).await;
    letter.assert_status(200);
    let words = letter.text("article");
    for wanted in [
        "Ada Quill",
        "12 Ropewalk",
        "by Dec 5, 2026",
        "The reason: a lens broke.",
        "full $186.00",
        "I agree to the delay",
    ] {
        assert!(words.contains(wanted), "{wanted} in {words}");
    }
    for secret in ["-2.25", "Polycarbonate", "Fallow"] {
        assert!(!letter.body.contains(secret), "{secret}");
    }
    assert!(letter.text("#copy").contains("Answer this e-mail."));
    let other = lab.given_job().await;
    lab.get(&format!("/jobs/{other}/delay-notices/{}", notice.seq)).await.assert_status(404);

    // The customer may still cancel: then the money is due back in seven working days.
    answer(&lab, number, "cancels", "2026-11-25").await.assert_status(303);
    let log = lab.store.get_promise_log(number).await.unwrap();
    assert_eq!(log.refund_due_on, Some(date!(2026 - 12 - 04)));
    assert_eq!(log.refunds[0].amount, Cents::new(18_600));
    assert_eq!(duties(&lab).await, ["refund by Dec 4, 2026"]);
    let page = lab.get(&format!("/jobs/{number}/promise")).await;
    assert!(page.text("main").contains("card: credit the card"), "{}", page.text("main"));
    send_notice(&lab, number, &[]).await.assert_status(409);
    let refund = [
        ("amount", "186"),
        ("cause", "payment_undone"),
        ("kind", "card"),
        ("paid_on", "2026-11-25"),
        ("reason", "canceled for the delay"),
    ];
    lab.post(&format!("/jobs/{number}/refunds"), &refund).await.assert_status(303);
    assert_eq!(lab.store.get_promise_log(number).await.unwrap().refund_due_on, None);
    assert_eq!(duties(&lab).await, ["canceled by the customer: close the job"]);
}

#[tokio::test]
async fn a_notice_without_a_day_waits_for_consent() {
    let mut lab = TestLab::new().await;
    let number = lab.given_job().await;
    let refused = send_notice(&lab, number, &[("revised", "none"), ("cause", "")]).await;
    refused.assert_status(422);
    assert!(refused.text("#cause-error").contains("reason"));
    send_notice(&lab, number, &[("revised", "none")]).await.assert_status(303);
    assert_eq!(promised(&lab, number).await, date!(2026 - 12 - 05), "the promise stays");
    assert_eq!(duties(&lab).await, ["the customer’s consent by Jan 4, 2027"]);
    let other = send_notice(&lab, number, &[("cause", "the maker is late")]).await;
    other.assert_status(422);
    assert!(other.text("#revised-error").contains("still has no answer"));
    let early = answer(&lab, number, "silent", "2026-11-25").await;
    early.assert_status(422);
    assert!(early.text("#answer-error").contains("until Jan 4, 2027"));

    lab.move_to(datetime!(2027-01-04 16:00 UTC), UtcOffset::UTC).await;
    answer(&lab, number, "silent", "").await.assert_status(422);
    lab.move_to(datetime!(2027-01-05 16:00 UTC), UtcOffset::UTC).await;
    assert_eq!(duties(&lab).await, ["no consent came: refund by Jan 13, 2027"]);
    answer(&lab, number, "silent", "").await.assert_status(303);
    let log = lab.store.get_promise_log(number).await.unwrap();
    assert_eq!((log.refunds[0].vests_on, log.refund_due_on), (date!(2027 - 01 - 04), Some(date!(2027 - 01 - 13))));
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!(job.history.last().map(|event| event.kind), Some(EventKind::DelayCancelled));
}

#[tokio::test]
async fn consent_without_a_day_has_no_deadline() {
    let mut lab = TestLab::new().await;
    let number = lab.given_job().await;
    send_notice(&lab, number, &[("revised", "none")]).await.assert_status(303);
    answer(&lab, number, "consents", "2026-11-25").await.assert_status(303);
    lab.move_to(datetime!(2027-03-01 16:00 UTC), UtcOffset::UTC).await;
    assert_eq!(duties(&lab).await, ["waits without a date, and may cancel"]);
    assert_eq!(lab.store.get_promise_log(number).await.unwrap().refunds, []);
}

#[tokio::test]
async fn a_further_notice_needs_consent_before_the_day_passes() {
    let mut lab = TestLab::new().await;
    let number = lab.given_job().await;
    send_notice(&lab, number, &[]).await.assert_status(303);
    lab.move_to(datetime!(2026-12-17 16:00 UTC), UtcOffset::UTC).await;
    assert_eq!(duties(&lab).await, ["send, or a further notice, by Dec 19, 2026"]);
    let later = [("revised_on", "2026-12-30"), ("sent_on", "2026-12-17")];
    send_notice(&lab, number, &later).await.assert_status(303);
    assert_eq!(promised(&lab, number).await, date!(2026 - 12 - 19), "nobody agreed yet");
    assert_eq!(duties(&lab).await, ["the customer’s consent by Dec 19, 2026"]);
    answer(&lab, number, "consents", "2026-12-17").await.assert_status(303);
    assert_eq!(promised(&lab, number).await, date!(2026 - 12 - 30));
    assert_eq!(lab.store.get_job(number).await.unwrap().revision, 3);
    assert!(duties(&lab).await.is_empty());
}

#[tokio::test]
async fn a_missed_notice_cancels_and_consent_takes_the_order_up_again() {
    let mut lab = TestLab::new().await;
    let number = lab.given_packed_job().await;
    lab.move_to(LAST_DAY, UtcOffset::UTC).await;
    assert_eq!(duties(&lab).await, ["send, or a delay notice, by Dec 5, 2026"]);
    lab.move_to(DAY_AFTER, UtcOffset::UTC).await;
    assert_eq!(duties(&lab).await, ["no notice by Dec 5, 2026: ask the customer, or refund by Dec 15, 2026"]);
    assert!(lab.get(&format!("/jobs/{number}")).await.text(".notice.caution").contains("435.2(c)(5)"));
    let page = lab.get(&format!("/jobs/{number}/promise")).await.text("main");
    assert!(
        page.contains("silence no longer counts as consent") && !page.contains("silence counts as consent"),
        "{page}"
    );
    send_notice(&lab, number, &[("sent_on", "2026-12-06")]).await.assert_status(303);
    assert_eq!(promised(&lab, number).await, date!(2026 - 12 - 05), "silence no longer counts as consent");
    answer(&lab, number, "cancels", "2026-12-06").await.assert_status(303);
    let sent = lab.post(&format!("/jobs/{number}/shipment"), &[("carrier", "Parcel post")]).await;
    sent.assert_status(409);
    assert!(sent.text(".notice").contains("canceled because of its delay"), "{}", sent.text(".notice"));

    let agreed = [
        ("agreed_on", "2026-12-08"),
        ("agreed_way", "telephone"),
        ("agreed_at", "2026-12-06"),
        ("agreed_said", "send them after all"),
    ];
    lab.post(&format!("/jobs/{number}/promise"), &agreed).await.assert_status(303);
    assert_eq!(lab.store.get_promise_log(number).await.unwrap().refund_due_on, None);
    assert_eq!(promised(&lab, number).await, date!(2026 - 12 - 08));
    let parcel = [("carrier", "Parcel post"), ("sent_on", "2026-12-06")];
    lab.post(&format!("/jobs/{number}/shipment"), &parcel).await.assert_status(303);
    assert!(duties(&lab).await.is_empty());
}

#[tokio::test]
async fn the_day_on_the_wall_decides() {
    let mut lab = TestLab::new().await;
    lab.given_job().await;
    for (now, missed) in [(datetime!(2026-12-06 04:59:59 UTC), false), (datetime!(2026-12-06 05:00:00 UTC), true)] {
        lab.move_to(now, offset!(-5)).await;
        assert_eq!(duties(&lab).await[0].starts_with("no notice"), missed, "{now}");
    }
}

#[tokio::test]
async fn a_consent_after_its_last_day_says_so() {
    let mut lab = TestLab::new().await;
    let number = lab.given_job().await;
    // Without a day, the last day to answer is thirty days after the promise: Jan 4.
    send_notice(&lab, number, &[("revised", "none")]).await.assert_status(303);
    lab.move_to(datetime!(2027-01-06 16:00 UTC), UtcOffset::UTC).await;
    answer(&lab, number, "consents", "2027-01-06").await.assert_status(303);
    let late = "This came after the last day, Jan 4, 2027";
    let page = lab.get(&format!("/jobs/{number}/promise")).await;
    assert!(page.text("main").contains(late), "{}", page.text("main"));
    let job = lab.store.get_job(number).await.unwrap();
    assert!(job.last(EventKind::PromiseMoved).unwrap().note.contains(late));

    let in_time = lab.given_job().await;
    lab.move_to(datetime!(2026-12-01 16:00 UTC), UtcOffset::UTC).await;
    send_notice(&lab, in_time, &[("revised", "none")]).await.assert_status(303);
    lab.move_to(datetime!(2027-01-06 16:00 UTC), UtcOffset::UTC).await;
    // Said on the last day, written down later.
    answer(&lab, in_time, "consents", "2027-01-04").await.assert_status(303);
    let page = lab.get(&format!("/jobs/{in_time}/promise")).await;
    assert!(!page.text("main").contains("after the last day"), "{}", page.text("main"));
}
