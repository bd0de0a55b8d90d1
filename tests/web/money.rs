//! The money page and the pages beside it.

use rimbook::desk::bill::{Charge, ChargeKind};
use rimbook::desk::money::Cents;
use rimbook::desk::payment::{Payment, PaymentKind};
use rimbook::desk::refund::{Refund, RefundCause};
use rimbook::store::bill::BillChange;
use time::Date;
use time::macros::date;

use crate::support::{NOW, TestLab};

/// Adds a line to a bill on a day.
async fn bill(lab: &TestLab, number: i64, kind: ChargeKind, what: &str, cents: i64, on: Date) {
    let charge = Charge { kind, eye: None, what: what.into(), code: String::new(), amount: Cents::new(cents) };
    let change = BillChange { reason: "asked for later", on };
    let key = format!("given-{}", uuid::Uuid::now_v7());
    lab.store.add_bill_line(&key, number, &charge, change, NOW).await.unwrap();
}

async fn pay(lab: &TestLab, number: i64, kind: PaymentKind, cents: i64, paid_on: Date) {
    let key = format!("given-{}", uuid::Uuid::now_v7());
    lab.store.insert_payment(&key, number, &Payment { kind, amount: Cents::new(cents), paid_on }, NOW).await.unwrap();
}

#[tokio::test]
async fn says_who_owes_what_since_when() {
    let lab = TestLab::new().await;
    assert!(lab.get("/money").await.text("#owed").contains("Nobody owes"));
    let [settled, later, older, back] =
        [lab.given_job().await, lab.given_job().await, lab.given_job().await, lab.given_job().await];
    bill(&lab, later, ChargeKind::Other, "Hard case", 1200, date!(2026 - 11 - 20)).await;
    bill(&lab, older, ChargeKind::Other, "Cleaning cloth", 350, date!(2026 - 11 - 05)).await;
    bill(&lab, older, ChargeKind::Other, "Second cloth", 350, date!(2026 - 11 - 21)).await;
    pay(&lab, back, PaymentKind::Cash, 2500, date!(2026 - 11 - 24)).await;
    let page = lab.get("/money").await;
    assert!(page.text("#owed").contains("$19.00 on 2 jobs"), "{}", page.text("#owed"));
    let rows = page.texts("#owed tbody tr");
    assert!(rows[0].contains(&older.to_string()) && rows[0].contains("Ada Quill takenNov 5, 202620$7.00"), "{rows:?}");
    assert!(rows[1].contains(&later.to_string()) && rows[1].contains("Nov 20, 20265$12.00"), "{rows:?}");
    let give_back = page.texts("#to-give-back tbody tr");
    assert!(give_back.len() == 1 && give_back[0].contains("$25.00"), "{give_back:?}");
    // What is paid leaves the page.
    pay(&lab, older, PaymentKind::Check, 700, date!(2026 - 11 - 25)).await;
    let page = lab.get("/money").await;
    assert_eq!(page.texts("#owed tbody tr").len(), 1);
    assert!(!page.body.contains(&format!("/jobs/{settled}/bill")));
}

#[tokio::test]
async fn a_balance_is_as_old_as_it_is_open() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let since = async || lab.store.list_owed(9).await.unwrap().first().map(|balance| balance.since);
    bill(&lab, number, ChargeKind::Other, "Hard case", 1200, date!(2026 - 11 - 20)).await;
    bill(&lab, number, ChargeKind::Other, "Cloth", 300, date!(2026 - 11 - 21)).await;
    pay(&lab, number, PaymentKind::Cash, 500, date!(2026 - 11 - 22)).await;
    assert_eq!(since().await, Some(date!(2026 - 11 - 20)), "a part of it is paid");
    // Goodwill on a job that is still owed for moves nothing but the money.
    let refund = Refund {
        cause: RefundCause::Goodwill,
        kind: PaymentKind::Card,
        amount: Cents::new(9000),
        paid_on: date!(2026 - 11 - 23),
        reason: "a scratch".into(),
    };
    lab.store.give_refund("given-refund", number, &refund, NOW).await.unwrap();
    assert_eq!(since().await, Some(date!(2026 - 11 - 20)));
    pay(&lab, number, PaymentKind::Cash, 1000, date!(2026 - 11 - 24)).await;
    assert_eq!(since().await, None);
    bill(&lab, number, ChargeKind::Other, "Cloth", 300, date!(2026 - 11 - 25)).await;
    assert_eq!(since().await, Some(date!(2026 - 11 - 25)), "a new balance");
}

#[tokio::test]
async fn a_reminder_is_a_text_a_letter_and_a_line_of_history() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    bill(&lab, number, ChargeKind::Other, "Hard case", 1200, date!(2026 - 11 - 20)).await;
    let path = lab.get("/money").await.attributes("#owed tbody a[href^='/money/reminders/']", "href").remove(0);
    let page = lab.get(&path).await;
    let text = page.text("#text");
    for wanted in ["Dear Ada Quill", "due since Nov 20, 2026: $12.00", "pay by Dec 9, 2026", "Saltmarsh Lens Post"] {
        assert!(text.contains(wanted), "{wanted} in {text}");
    }
    let letter = lab.get(&format!("{path}/letter")).await.text("article");
    assert!(letter.contains("12 Ropewalk") && letter.contains("Total$12.00"), "{letter}");
    lab.get("/money/reminders/none/letter").await.assert_status(404);
    let key = page.attributes("main input[name=key]", "value").remove(0);
    for _ in 0..2 {
        assert_eq!(lab.post(&path, &[("key", key.as_str())]).await.assert_status(303).location, "/money");
    }
    lab.post_from_elsewhere(&path, &[("key", key.as_str())]).await.assert_status(403);
    lab.post(&path, &[("key", "other-1")]).await.assert_status(400);
    let history = lab.get(&format!("/jobs/{number}")).await.text(".history");
    assert_eq!(history.matches("Reminder sent: $12.00 is owed").count(), 1, "{history}");
    assert!(lab.get("/money").await.text("#owed tbody").contains("last Nov 25, 2026"));
    // Nothing is owed: no letter.
    pay(&lab, number, PaymentKind::Card, 1200, date!(2026 - 11 - 25)).await;
    assert!(lab.get(&path).await.text("main").contains("owes nothing"));
    lab.get(&format!("{path}/letter")).await.assert_status(409);
}

#[tokio::test]
async fn receipts_are_found_by_number_and_by_day() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    for amount in [100, 200, 300] {
        lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303);
        pay(&lab, number, PaymentKind::Cash, amount, date!(2026 - 11 - 25)).await;
    }
    let rows = lab.get("/money/receipts").await.texts("#receipts tbody tr");
    assert_eq!(rows.len(), 3);
    assert!(rows[0].starts_with("5003") && rows[0].contains("Ada Quill$186.00-$3.00 replaces 5002"), "{rows:?}");
    assert!(rows[2].ends_with("replaced by 5002"), "{rows:?}");
    assert_eq!(lab.get("/money/receipts?number=5002").await.location, "/receipts/5002");
    assert!(lab.get("/money/receipts?number=4000").await.text("#number-error").contains("4000"));
    for (asked, count) in [("from=2026-11-26", 0), ("to=2026-11-24", 0), ("from=2026-11-25&to=2026-11-25", 3)] {
        assert_eq!(
            lab.get(&format!("/money/receipts?{asked}")).await.texts("#receipts tbody tr").len(),
            count,
            "{asked}"
        );
    }
    let before = lab.get("/money/receipts?before=2026-11-25_5002").await.texts("#receipts tbody tr");
    assert!(before.len() == 1 && before[0].starts_with("5001"), "{before:?}");
    assert!(lab.get("/money/receipts?from=then").await.text("#from-error").contains("not a day"));
}

#[tokio::test]
async fn takings_are_summed_by_year_month_and_day() {
    let lab = TestLab::new().await;
    // Billed and paid on 2026-11-25: 186.00 by card.
    let number = lab.given_job().await;
    bill(&lab, number, ChargeKind::Tax, "Sales tax", 900, date!(2026 - 10 - 31)).await;
    pay(&lab, number, PaymentKind::Check, 900, date!(2025 - 12 - 31)).await;
    let refund = Refund {
        cause: RefundCause::Goodwill,
        kind: PaymentKind::Card,
        amount: Cents::new(2000),
        paid_on: date!(2026 - 11 - 25),
        reason: "a scratch".into(),
    };
    lab.store.give_refund("given-refund", number, &refund, NOW).await.unwrap();
    // An order that was complete in October is billed in October, whenever it is written down.
    let mut order = lab.order().await;
    (order.ordered_on, order.payment) = (date!(2026 - 10 - 30), None);
    order.charges.truncate(1);
    lab.given_order(&order).await;
    // Without a period: this month.
    let month = lab.get("/money/takings").await;
    assert_eq!(month.text("h1"), "Income, November 2026");
    let rows = month.texts("#takings tbody tr");
    assert_eq!(rows, ["Nov 25, 2026 $166.00$20.00 refunded $166.00$20.00 refunded$166.00 $0.00"]);
    let year = lab.get("/money/takings?of=2026").await;
    let rows = year.texts("#takings tbody tr");
    assert!(rows[0].starts_with("November 2026") && rows[1].starts_with("October 2026"), "{rows:?}");
    assert!(rows[1].ends_with("$0.00$98.00 $9.00"), "{rows:?}");
    assert!(year.text("#takings tfoot").ends_with("$264.00 $9.00"), "{}", year.text("#takings tfoot"));
    let years = lab.get("/money/takings?of=").await.texts("#takings tbody th");
    assert_eq!(years, ["2026", "2025"]);
    let day = lab.get("/money/takings?of=2026-11-25").await;
    let rows = day.texts("#payments tbody tr");
    assert!(rows.len() == 2 && rows[1].ends_with("a scratch-$20.00"), "{rows:?}");
    lab.get("/money/takings?of=soon").await.assert_status(404);
    assert!(lab.get("/money/takings?of=2019").await.text(".empty").contains("Nothing came in"));
}

#[tokio::test]
async fn a_bookkeeper_gets_files() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    bill(&lab, number, ChargeKind::Other, "=HYPERLINK(\"http://evil.example\"), \"case\"", 1200, date!(2026 - 11 - 20))
        .await;
    lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303);
    let page = lab.get("/money/files").await;
    assert_eq!(page.attributes("#from", "value"), ["2026-10-01"], "last month");
    assert_eq!(page.attributes("#to", "value"), ["2026-10-31"]);
    let file = async |name: &str| {
        let answer = lab.get(&format!("/money/files/{name}?from=2026-11-01&to=2026-11-30")).await;
        assert_eq!(answer.headers["content-type"], "text/csv; charset=utf-8");
        let disposition = answer.headers["content-disposition"].to_str().unwrap().to_owned();
        assert!(disposition.contains(&format!("2026-11-01-to-2026-11-30-{name}")), "{disposition}");
        answer.body.strip_prefix('\u{feff}').expect("the mark of UTF-8").lines().map(str::to_owned).collect::<Vec<_>>()
    };
    let receipts = file("receipts.csv").await;
    assert_eq!(receipts[1], format!("5001,2026-11-25,{number},,Ada Quill,191.00,7.00,0.00,0.00,198.00,186.00,12.00"));
    let payments = file("payments.csv").await;
    assert_eq!(payments[1], format!("1,2026-11-25,{number},Ada Quill,Ada Quill,card,186.00,,"));
    let charges = file("charges.csv").await;
    assert_eq!(charges[0], "line,day,job,patient,kind,eye,description,code,amount,takes_back,reason");
    // By day; a formula is text, its quotes are doubled.
    let formula = "\"'=HYPERLINK(\"\"http://evil.example\"\"), \"\"case\"\"\"";
    assert_eq!(charges[1], format!("5,2026-11-20,{number},Ada Quill,other,,{formula},,12.00,,asked for later"));
    assert_eq!(charges[2], format!("1,2026-11-25,{number},Ada Quill,frame,,Frame: Copperline Tern,V2020,89.00,,"));
    assert_eq!(file("charges.csv").await.len(), 6);
    for (asked, field, says) in [
        ("from=2026-11-01&to=2026-10-31", "to", "before the first day"),
        ("from=2024-01-01&to=2026-11-25", "to", "two years"),
        ("from=&to=2026-10-31", "from", "A day is needed"),
    ] {
        let answer = lab.get(&format!("/money/files/receipts.csv?{asked}")).await;
        assert!(answer.assert_status(422).text(&format!("#{field}-error")).contains(says), "{asked}");
    }
    lab.get("/money/files/else.csv?from=2026-11-01&to=2026-11-30").await.assert_status(404);
}
