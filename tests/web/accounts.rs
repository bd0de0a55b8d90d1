//! Random histories of a job's money: no cent is created or lost, and the book's sums are the pure ones.

use std::collections::BTreeMap;

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use rimbook::desk::account::{Account, BillLine, BookedPayment};
use rimbook::desk::bill::{Charge, ChargeKind};
use rimbook::desk::lab::Lab;
use rimbook::desk::money::Cents;
use rimbook::desk::payment::{Payment, PaymentKind};
use rimbook::desk::receipt::{Document, ReceiptFacts};
use rimbook::desk::refund::{Refund, RefundCause};
use rimbook::store::FILE_NAME;
use rimbook::store::bill::BillChange;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, SqliteConnection};
use time::{Date, Duration};

use crate::support::{NOW, TestLab};

/// One thing that happens to the money of a job. `pick` chooses among what is there.
#[derive(Debug, Clone)]
enum Act {
    Pay { cents: i64, kind: usize, day: i64 },
    Add { cents: i64, kind: usize, day: i64 },
    TakeBack { pick: usize, day: i64 },
    GiveBack { cents: i64, cause: usize, day: i64 },
    Receipt,
}

fn act() -> impl Strategy<Value = Act> {
    let day = 0..60_i64;
    prop_oneof![
        (1..30_000_i64, 0..5_usize, day.clone()).prop_map(|(cents, kind, day)| Act::Pay { cents, kind, day }),
        (-9000..20_000_i64, 0..12_usize, day.clone()).prop_map(|(cents, kind, day)| Act::Add { cents, kind, day }),
        (0..20_usize, day.clone()).prop_map(|(pick, day)| Act::TakeBack { pick, day }),
        (1..20_000_i64, 0..3_usize, day).prop_map(|(cents, cause, day)| Act::GiveBack { cents, cause, day }),
        Just(Act::Receipt),
    ]
}

fn day(ago: i64) -> Date {
    NOW.date() - Duration::days(ago)
}

fn charge(cents: i64, kind: usize) -> Charge {
    let kind = ChargeKind::ALL[kind];
    Charge { kind, eye: None, what: kind.words().into(), code: String::new(), amount: Cents::new(cents) }
}

fn refund(cents: i64, cause: usize, ago: i64) -> Refund {
    let (kind, cause) = (PaymentKind::Card, RefundCause::ALL[cause]);
    Refund { cause, kind, amount: Cents::new(cents), paid_on: day(ago), reason: "why".into() }
}

fn payment(cents: i64, kind: usize, ago: i64) -> Payment {
    Payment { kind: PaymentKind::ALL[kind], amount: Cents::new(cents), paid_on: day(ago) }
}

/// The receipt of an account, as a job would have it.
fn receipt(account: &Account) -> Document {
    let lab = Lab::new("Saltmarsh Lens Post".into(), "4 Quay Lane".into());
    let person = rimbook::desk::customer::Person::default();
    Document::new(&ReceiptFacts {
        lab: &lab,
        person: &person,
        payer: None,
        job_number: 1001,
        corrects: None,
        issued_on: day(0),
        ordered_on: day(0),
        sent_on: None,
        prescriber: "",
        prescriber_npi: None,
        eyes: Default::default(),
        prescribed_on: None,
        diagnosis: "",
        is_impact_proven: false,
        is_cancelled: false,
        account,
    })
}

/// Where every cent is, counted on the side: what the customer was asked for, and what the till holds.
#[derive(Debug, Default, PartialEq)]
struct Counted {
    asked: i64,
    till: i64,
}

/// Does one act on an account in memory, and says whether it was taken.
fn do_pure(account: &mut Account, counted: &mut Counted, act: &Act) -> bool {
    let mut add = |account: &mut Account, charge: Charge, reverses: Option<i64>, ago: i64| {
        counted.asked += charge.amount.cents();
        let seq = account.lines.len() as i64 + 1;
        account.lines.push(BillLine { seq, charge, reverses, reason: String::new(), charged_on: day(ago) });
    };
    let owed = account.owed();
    match *act {
        Act::Pay { cents, kind, day } => {
            counted.till += cents;
            let payment = payment(cents, kind, day);
            account.payments.push(BookedPayment { payment, refund_cause: None, reason: String::new() });
            assert_eq!(account.owed(), owed - Cents::new(cents));
        }
        Act::Add { cents, kind, day } => {
            let charge = charge(cents, kind);
            if account.check_line(&charge).is_err() {
                return false;
            }
            add(account, charge, None, day);
            assert_eq!(account.owed(), owed + Cents::new(cents));
        }
        Act::TakeBack { pick, day } => {
            let seq = (pick % account.lines.len().max(1)) as i64 + 1;
            let Ok(back) = account.reverse(seq) else { return false };
            add(account, back, Some(seq), day);
        }
        Act::GiveBack { cents, cause, day } => {
            let refund = refund(cents, cause, day);
            if refund.check(account).is_err() {
                return false;
            }
            if let Some(line) = refund.bill_line() {
                add(account, line, None, day);
            }
            counted.till -= cents;
            let payment = refund.payment();
            account.payments.push(BookedPayment { payment, refund_cause: Some(refund.cause), reason: String::new() });
            match refund.cause {
                RefundCause::Goodwill => assert_eq!(account.owed(), owed, "goodwill makes nobody owe it"),
                RefundCause::Overpaid => assert!(account.owed() <= Cents::ZERO && account.owed() > owed),
                RefundCause::PaymentUndone => assert_eq!(account.owed(), owed + Cents::new(cents)),
            }
        }
        Act::Receipt => {
            let receipt = receipt(account);
            let lines: Cents = receipt.lines.iter().map(|line| line.amount_cents).sum();
            assert_eq!((lines, receipt.total_cents), (account.billed(), account.billed()));
            assert_eq!((receipt.paid_cents, receipt.balance_cents), (account.paid(), account.owed()));
            assert!(receipt.lines.iter().all(|line| line.amount_cents != Cents::ZERO));
        }
    }
    true
}

fn check_pure(account: &Account, counted: &Counted) {
    assert_eq!(account.billed(), Cents::new(counted.asked));
    assert_eq!(account.paid(), Cents::new(counted.till));
    assert_eq!(account.standing().map(|line| line.charge.amount).sum::<Cents>(), account.billed());
    assert_eq!(account.owed(), account.billed() - account.paid());
    assert!(!account.billed().is_negative() && !account.paid().is_negative());
}

proptest! {
    #[test]
    fn no_cent_is_created_or_lost(acts in prop::collection::vec(act(), 1..60)) {
        let (mut account, mut counted) = (Account::default(), Counted::default());
        for act in &acts {
            do_pure(&mut account, &mut counted, act);
            check_pure(&account, &counted);
        }
    }
}

/// Does one act in the book, and says whether it was taken.
async fn do_kept(lab: &TestLab, number: i64, key: &str, act: &Act) -> bool {
    let (store, reason) = (&lab.store, "why");
    match *act {
        Act::Pay { cents, kind, day } => {
            store.insert_payment(key, number, &payment(cents, kind, day), NOW).await.unwrap();
            true
        }
        Act::Add { cents, kind, day: ago } => {
            let change = BillChange { reason, on: day(ago) };
            store.add_bill_line(key, number, &charge(cents, kind), change, NOW).await.is_ok()
        }
        Act::TakeBack { pick, day: ago } => {
            let lines = store.get_account(number).await.unwrap().lines;
            let change = BillChange { reason, on: day(ago) };
            store.reverse_bill_line(key, number, lines[pick % lines.len()].seq, change, NOW).await.is_ok()
        }
        Act::GiveBack { cents, cause, day } => {
            store.give_refund(key, number, &refund(cents, cause, day), NOW).await.is_ok()
        }
        Act::Receipt => {
            lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303);
            true
        }
    }
}

async fn beside(lab: &TestLab) -> SqliteConnection {
    SqliteConnectOptions::new().filename(lab.folder.path().join(FILE_NAME)).connect().await.unwrap()
}

/// Every row of a query of three texts and two numbers.
async fn sums(book: &mut SqliteConnection, query: &'static str) -> BTreeMap<(String, String, String), (i64, i64)> {
    let rows: Vec<(String, String, String, i64, i64)> = sqlx::query_as(query).fetch_all(book).await.unwrap();
    rows.into_iter().map(|(span, period, kind, a, b)| ((span, period, kind), (a, b))).collect()
}

/// The tables that triggers keep say what the rows say.
async fn check_kept_sums(lab: &TestLab) {
    let mut book = beside(lab).await;
    let kept = sums(&mut book, "select span, period, kind, received_cents, refunded_cents from takings").await;
    let rows = sums(
        &mut book,
        "select s.key, substr(paid_on, 1, digits), kind, sum(max(amount_cents, 0)), sum(max(-amount_cents, 0))
         from payment cross join period_span s group by 1, 2, 3",
    )
    .await;
    assert_eq!(kept, rows);
    let kept = sums(&mut book, "select span, period, kind, cents, 0 from billings").await;
    let rows = sums(
        &mut book,
        "select s.key, substr(charged_on, 1, digits), kind, sum(amount_cents), 0
         from charge cross join period_span s group by 1, 2, 3",
    )
    .await;
    assert_eq!(kept, rows);
    let kept: Vec<(i64, i64)> = sqlx::query_as("select job_number, owed_cents from open_balance order by 1")
        .fetch_all(&mut book)
        .await
        .unwrap();
    let rows: Vec<(i64, i64)> = sqlx::query_as(
        "select number, (select coalesce(sum(amount_cents), 0) from charge where job_number = number)
              - (select coalesce(sum(amount_cents), 0) from payment where job_number = number) as owed
         from job where owed <> 0 order by 1",
    )
    .fetch_all(&mut book)
    .await
    .unwrap();
    assert_eq!(kept, rows);
}

#[test]
fn the_sums_of_the_book_are_the_pure_ones() {
    let mut runner = TestRunner::new(Config { cases: 12, failure_persistence: None, ..Config::default() });
    let histories = prop::collection::vec(act(), 8..25);
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    runner
        .run(&histories, |acts| {
            runtime.block_on(async {
                let lab = TestLab::new().await;
                let number = lab.given_job().await;
                lab.given_job().await;
                let mut pure = lab.store.get_account(number).await.unwrap();
                let mut counted = Counted { asked: pure.billed().cents(), till: pure.paid().cents() };
                // The first line of the bill is number 1 on both sides.
                assert_eq!(pure.lines[0].seq, 1);
                pure.lines.iter_mut().zip(1..).for_each(|(line, seq)| line.seq = seq);
                for (i, act) in acts.iter().enumerate() {
                    let taken = do_pure(&mut pure, &mut counted, act);
                    assert_eq!(do_kept(&lab, number, &format!("act-{i}"), act).await, taken, "{act:?}");
                    let kept = lab.store.get_account(number).await.unwrap();
                    let job = lab.store.get_job(number).await.unwrap();
                    assert_eq!((kept.billed(), kept.paid()), (pure.billed(), pure.paid()), "{act:?}");
                    assert_eq!((job.charged, job.paid, job.owed()), (pure.billed(), pure.paid(), pure.owed()));
                }
                check_pure(&lab.store.get_account(number).await.unwrap(), &counted);
                check_kept_sums(&lab).await;
            });
            Ok(())
        })
        .unwrap();
}
