//! The demonstration book, loaded whole and read back against its own files.

#![allow(clippy::unwrap_used, reason = "a helper that fails fails its test")]

use std::collections::BTreeMap;

use rimbook::demo::{DemoError, load};
use rimbook::desk::fault::FaultCause;
use rimbook::desk::job::{EventKind, Stage, stage};
use rimbook::desk::money::Cents;
use rimbook::optics::Eye;
use rimbook::store::Store;
use serde_json::Value;
use time::macros::{date, datetime};
use time::{Date, Duration, OffsetDateTime};

const TODAY: Date = date!(2026 - 11 - 25);
const NOW: OffsetDateTime = datetime!(2026-11-25 16:00 UTC);

fn rows(file: &str) -> Vec<Value> {
    let path = format!("{}/demo-data/{file}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn stage_of(word: &str) -> Stage {
    match word {
        "taken" => Stage::Taken,
        "shape" => Stage::ShapeOnFile,
        "lenses" => Stage::LensesInHand,
        "cut" => Stage::Cut,
        "checked" => Stage::Checked,
        "packed" => Stage::Packed,
        "sent" => Stage::Sent,
        other => panic!("{other}"),
    }
}

#[tokio::test]
async fn every_job_stands_where_its_row_says() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).await.unwrap();
    let summary = load(&store, TODAY, NOW).await.unwrap();

    let jobs = rows("jobs.json");
    let sent = jobs.iter().filter(|j| j["stage"] == "sent").count();
    let newest = |is_wanted: &dyn Fn(&Value) -> bool| 1001 + jobs.iter().rposition(is_wanted).unwrap() as i64;
    let returned = newest(&|j| j["stage"] == "sent" && j["paid"] == "full");
    let corrected = newest(&|j| j["stage"] == "taken" && j["paid"] == "none");
    assert_eq!((summary.customers, summary.frames, summary.jobs, summary.receipts), (60, 25, 123, sent));
    assert_eq!(summary.drawer, rows("drawer.json").len());
    store.close().await;
    let store = Store::open(folder.path()).await.unwrap();

    assert_eq!(store.list_customers("", 1000).await.unwrap().len(), 60);
    assert_eq!(store.list_frames("", 1000).await.unwrap().len(), 25);
    assert_eq!(
        store.list_open_jobs().await.unwrap().len(),
        120 - sent + 3,
        "one parcel came back, one lens is made again, one eye was ordered"
    );
    let drawer: i64 = rows("drawer.json").iter().map(|r| r["count"].as_i64().unwrap()).sum();
    // Besides, two pairs of coated lenses for the job whose right lens is kept in the drawer.
    assert_eq!(store.list_drawer().await.unwrap().iter().map(|l| l.count).sum::<i64>(), drawer + 4);
    assert_eq!(store.list_promises().await.unwrap().len(), 1);
    let open = store.list_open_purchase_lines().await.unwrap();
    assert_eq!((open.len(), open.iter().map(|line| line.here).sum::<i64>()), (4, 1));

    let mut receipts = BTreeMap::new();
    for (number, row) in (1001i64..).zip(&jobs) {
        let job = store.get_job(number).await.unwrap();
        let events = store.get_job(number).await.unwrap().history.clone();
        let wanted = if number == returned { Stage::Checked } else { stage_of(row["stage"].as_str().unwrap()) };
        assert_eq!(stage(job.tasks(), events.iter().map(|e| e.kind)), wanted, "job {number}");
        assert_eq!(job.revision, if number == corrected { 2 } else { 1 }, "job {number}");
        assert!(events.iter().all(|e| e.at <= NOW), "job {number} has a future");
        assert!(events.windows(2).all(|w| w[0].at <= w[1].at), "job {number} runs backwards");
        let ordered_on = TODAY - Duration::days(row["ordered_days_ago"].as_i64().unwrap());
        assert_eq!((job.ordered_on, events[0].at.date()), (ordered_on, ordered_on), "job {number}");
        let sent_on = row["sent_days_ago"].as_i64().map(|d| TODAY - Duration::days(d));
        assert_eq!(job.sent_on, sent_on.filter(|_| number != returned), "job {number}");
        assert_eq!(job.relens_of(), row["relens_of"].as_i64().map(|i| 1001 + i), "job {number}");
        assert_eq!(job.prescription.typed.right, row["rx"]["right"].as_str().unwrap(), "job {number}");

        let passes: Vec<bool> = store.list_checks(number).await.unwrap().iter().map(|c| c.passed).collect();
        let conceded = store.list_checks(number).await.unwrap().iter().any(|c| c.reason.is_some());
        let expected: (&[bool], bool) = match row["check"].as_str() {
            None => (&[], false),
            Some("pass") => (&[true], false),
            Some("fail_then_pass") => (&[false, true], false),
            Some("fail_with_reason") => (&[false], true),
            Some(other) => panic!("{other}"),
        };
        assert_eq!((passes.as_slice(), conceded), expected, "job {number}");

        let owed = job.owed();
        match row["paid"].as_str().unwrap() {
            "full" => assert_eq!(owed, Cents::ZERO, "job {number}"),
            "deposit" => assert!(owed > Cents::ZERO && owed < job.charged, "job {number}"),
            _ => assert_eq!(owed, job.charged, "job {number}"),
        }
        let is_packed = [Stage::Packed, Stage::Sent].contains(&job.stage()) || number == returned;
        assert_eq!(job.is_impact_proven(), is_packed, "job {number}");
        if let Some(receipt) = job.receipt {
            let issued = store.get_receipt(receipt).await.unwrap();
            assert_eq!((issued.document.job_number, issued.document.total_cents), (number, job.charged));
            assert!(issued.document.notes[1].contains("21 CFR 801.410"), "job {number}");
            receipts.insert(receipt, issued.document.issued_on);
        }
        let kept = events.iter().filter(|e| e.kind == EventKind::ShapeKept).count();
        assert_eq!(kept, usize::from(row["stage"] != "taken"), "job {number}");
    }
    assert_eq!(receipts.len(), sent);
    assert!(
        receipts.values().collect::<Vec<_>>().windows(2).all(|w| w[0] <= w[1]),
        "receipt numbers grow with their days"
    );
    let late = store.list_open_jobs().await.unwrap().iter().filter(|j| j.promised_on < TODAY).count();
    assert_eq!(late, 4 + 1, "as the data say of themselves, and the parcel that came back");
}

#[tokio::test]
async fn what_went_wrong_is_put_right_in_the_book() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).await.unwrap();
    load(&store, TODAY, NOW).await.unwrap();

    let cancelled = store.get_job(1121).await.unwrap();
    assert_eq!((cancelled.stage(), cancelled.charged, cancelled.paid), (Stage::Cancelled, Cents::ZERO, Cents::ZERO));
    let moved: Vec<Cents> = store.get_account(1121).await.unwrap().payments.iter().map(|p| p.payment.amount).collect();
    assert!(moved.len() == 2 && moved[0] > Cents::ZERO && moved[1] == -moved[0], "{moved:?}");
    assert!(cancelled.history.windows(2).all(|w| w[0].at <= w[1].at) && cancelled.history[0].at.date() == TODAY);

    let jobs = store.list_open_jobs().await.unwrap();
    let returned: Vec<i64> = jobs.iter().filter(|job| job.came_back.is_some()).map(|job| job.number).collect();
    assert_eq!(returned.len(), 1);
    let job = store.get_job(returned[0]).await.unwrap();
    assert!(job.is_to_send_again() && job.owed() == Cents::ZERO && job.receipt.is_some());

    let one_eye = store.get_job(1122).await.unwrap();
    assert_eq!(
        (one_eye.single_eye(), one_eye.remake.is_none(), one_eye.stage()),
        (Some(Eye::Left), true, Stage::Taken)
    );
    let again = store.get_job(1123).await.unwrap();
    let remake = again.remake.as_ref().unwrap();
    assert_eq!((again.single_eye(), remake.cause, again.charged), (Some(Eye::Left), FaultCause::Coating, Cents::ZERO));
    assert!(again.is_for_own_frame() && !again.has_own_frame(), "the glasses come back first");
    let parent = store.get_job(again.parent.unwrap().number).await.unwrap();
    assert_eq!((parent.stage(), again.shape, again.stage()), (Stage::Sent, parent.shape, Stage::ShapeOnFile));

    let corrected: Vec<_> = jobs.iter().filter(|job| job.stage == Stage::Taken).map(|job| job.number).collect();
    let mut said = Vec::new();
    for number in corrected {
        let job = store.get_job(number).await.unwrap();
        said.extend(job.history.iter().filter(|e| e.kind == EventKind::Corrected).map(|e| e.note.clone()));
    }
    assert_eq!(
        said,
        [
            "right height 16.00 mm to 17.00 mm; left height 16.00 mm to 17.00 mm. Reason: the customer measured again with \
             the frame on."
        ]
    );
}

#[tokio::test]
async fn a_book_with_a_lab_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).await.unwrap();
    let lab = rimbook::desk::lab::Lab::new("Mine".into(), "Here".into());
    store.insert_lab(&lab, NOW).await.unwrap();
    let refused = load(&store, TODAY, NOW).await.unwrap_err();
    assert!(matches!(&refused, DemoError::NotEmpty(name) if name == "Mine"), "{refused}");
    assert!(store.list_customers("", 10).await.unwrap().is_empty());
}
