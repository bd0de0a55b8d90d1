//! The large demonstration, as small as it comes: its copies are jobs like any other. And a filling that is stopped.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

#[path = "support/running.rs"]
mod running;

use std::path::Path;
use std::process::Stdio;
use std::thread;
use std::time::{Duration, Instant};

use rimbook::bench::layout_record::LayoutRecord;
use rimbook::bench::real_size::Supply;
use rimbook::bench::verification::{PairReading, Verdict};
use rimbook::demo::fresh_file::fill;
use rimbook::demo::lifetime::LEAST_JOBS;
use rimbook::desk::job::{Stage, stage};
use rimbook::desk::money::Cents;
use rimbook::desk::search;
use rimbook::store::{FILE_NAME, Store};
use running::{Running, rimbook};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions, SqliteConnection};
use time::macros::{date, datetime};
use time::{Date, OffsetDateTime};

const TODAY: Date = date!(2026 - 11 - 25);
const NOW: OffsetDateTime = datetime!(2026-11-25 16:00 UTC);

async fn beside(folder: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(folder.join(FILE_NAME)).connect().await.unwrap()
}

/// How many rows a query counts.
async fn count(book: &mut SqliteConnection, query: &str) -> i64 {
    sqlx::query_scalar(AssertSqlSafe(query.to_owned()))
        .fetch_one(book)
        .await
        .unwrap_or_else(|why| panic!("{why}\n{query}"))
}

#[tokio::test]
async fn copies_are_jobs_like_any_other() {
    let folder = tempfile::tempdir().unwrap();
    let mut told = Vec::new();
    let summary =
        fill(folder.path(), Some(LEAST_JOBS), TODAY, NOW, &mut |done, of| told.push((done, of))).await.unwrap();
    assert_eq!(summary.jobs, LEAST_JOBS as usize);
    assert!(told.iter().all(|(done, of)| done < of && *of == LEAST_JOBS) && !told.is_empty(), "{told:?}");
    assert!(!folder.path().join(format!("{FILE_NAME}.unfinished")).exists());

    let mut book = beside(folder.path()).await;
    let wholes: Vec<String> = sqlx::query_scalar("pragma integrity_check").fetch_all(&mut book).await.unwrap();
    assert_eq!(wholes, ["ok"]);
    assert!(sqlx::query("pragma foreign_key_check").fetch_all(&mut book).await.unwrap().is_empty());
    assert_eq!(count(&mut book, "select count(*) from job").await, LEAST_JOBS as i64);
    for (table, of) in [("shape", summary.shapes), ("frame", summary.frames), ("receipt", summary.receipts)] {
        assert_eq!(count(&mut book, &format!("select count(*) from {table}")).await, of as i64, "{table}");
    }
    let open = count(&mut book, "select count(*) from job where closed_at is null").await;
    assert!((40..100).contains(&open), "{open} open jobs");
    // Each of these would be a row that disagrees with another.
    for wrong in [
        "select count(*) from job where (closed_at is null) = (stage = 'sent')",
        "select count(*) from job where revision <> 1",
        "select count(*) from job j where stage = 'sent' and (select sum(amount_cents) from charge where job_number = j.number)
            is not (select total_cents from receipt where job_number = j.number)",
        "select count(*) from receipt r where paid_cents is not
            (select sum(amount_cents) from payment where job_number = r.job_number)",
        "select count(*) from drawer_lens d where count is not (select sum(change) from drawer_move where drawer_lens_id = d.id)",
        "select count(*) from job j where stage = 'sent' and 2 <> (select count(*) from layout_eye e
            join layout l on l.seq = e.layout_seq join lens_in_hand h on h.seq = e.lens_seq
             and h.eye = e.eye and h.job_number = l.job_number where l.job_number = j.number)",
        "select count(*) from job j where stage = 'sent' and not exists (select 1 from shipment where job_number = j.number
            and date(at) <= sent_on and sent_on >= j.ordered_on)",
        "select count(*) from job j join job p on p.number = j.parent_number
            where p.ordered_on > j.ordered_on or p.patient_id <> j.patient_id or p.frame_id <> j.frame_id",
        "select count(*) from job j where stage = 'sent' and 2 <> (select count(distinct eye) from impact_proof i
            where i.job_number = j.number and i.at >= j.taken_at)",
        "select count(*) from impact_proof i where not exists (select 1 from job_event e where e.job_number = i.job_number
            and e.kind = 'impact_' || i.eye and e.at = i.at)",
        "select count(*) from job_event e join job j on j.number = e.job_number where e.at < j.taken_at",
        "select count(*) from job_event where at > '2026-11-25T16:00:00.000Z'",
        "select count(*) from customer where number not in (select rowid from customer_search)",
        "select count(*) from job where number not in (select rowid from job_search)",
    ] {
        assert_eq!(count(&mut book, wrong).await, 0, "{wrong}");
    }
    drop(book);
    read_back(folder.path()).await;
}

/// Reads some of the copies through the store, as the pages do.
async fn read_back(folder: &Path) {
    let store = Store::open(folder).await.unwrap();
    let lab = store.find_lab().await.unwrap().unwrap();
    // The templates come first, the open jobs last.
    for number in (1101..1001 + LEAST_JOBS as i64 - 100).step_by(41) {
        let job = store.get_job(number).await.unwrap();
        assert_eq!(stage(job.tasks(), job.history.iter().map(|event| event.kind)), Stage::Sent, "job {number}");
        assert_eq!(job.owed(), Cents::ZERO, "job {number}");
        assert!(job.is_impact_proven(), "job {number}");
        let receipt = store.get_receipt(job.receipt.unwrap()).await.unwrap();
        let document = &receipt.document;
        assert_eq!((document.job_number, document.total_cents), (number, job.charged), "job {number}");
        assert_eq!((&document.patient.name, document.ordered_on), (&job.customer.person.name, job.ordered_on));
        assert_eq!((document.sent_on, &document.prescriber), (job.sent_on, &job.prescription.prescriber));
        let person = &job.customer.person;
        assert_eq!(person.label(), format!("{}\n{}", document.patient.name, document.patient.address));
        assert_eq!(store.find_shipment(number).await.unwrap().unwrap().address, person.label());
        let checks = store.list_checks(number).await.unwrap();
        assert!(checks.last().is_some_and(|check| check.passed || check.reason.is_some()), "job {number}");
        for check in &checks {
            serde_json::from_str::<PairReading>(&check.reading).unwrap();
            assert_eq!(serde_json::from_str::<Verdict>(&check.verdict).unwrap().passed, check.passed);
        }
        let frame = &job.frame.details;
        let lines = store.get_account(number).await.unwrap().lines;
        let sold = lines.iter().map(|line| &line.charge).find(|charge| charge.what.starts_with("Frame: "));
        assert_eq!(sold.is_none(), job.relens_of().is_some(), "job {number}");
        assert!(sold.is_none_or(|charge| charge.what == format!("Frame: {} {}", frame.maker, frame.model)));
        assert_layout(&store, &lab, folder, number).await;
        let found = store.find_jobs(&search::read(&format!("{} {number}", person.name), TODAY), 10).await.unwrap();
        assert!(found.jobs.iter().any(|line| line.number == number), "job {number} is not found");
        let (name, bytes) = store.get_original(job.shape.unwrap()).await.unwrap();
        let file = rimbook::shape::record::read_any(&bytes).unwrap();
        let shape = store.find_job_shape(&job).await.unwrap().unwrap();
        assert_eq!(file.traces, shape.traces, "{name}");
    }
    store.close().await;
}

/// The stored layout is the one that the domain computes.
async fn assert_layout(store: &Store, lab: &rimbook::desk::lab::Lab, folder: &Path, number: i64) {
    let job = store.get_job(number).await.unwrap();
    let in_hand = store.find_lenses(number).await.unwrap();
    let shape = store.find_job_shape(&job).await.unwrap().unwrap();
    let record = LayoutRecord::of_job(&job, &shape, lab, &Supply::of_hand(in_hand)).unwrap();
    let mut book = beside(folder).await;
    for (eye, laid) in record.eyes.map(Option::unwrap).iter() {
        let kept: (i32, i32, i32, i32, i32, i32, i32, i32, i32) = sqlx::query_as(
            "select l.frame_pd_hundredths, e.wanted_pd_hundredths, e.set_pd_hundredths, e.nudge_up_hundredths,
                    e.decentration_in_hundredths, e.centre_in_hundredths, e.centre_up_hundredths, e.blank_exact_hundredths,
                    e.lens_diameter_hundredths
             from layout l join layout_eye e on e.layout_seq = l.seq where l.job_number = ? and e.eye = ?",
        )
        .bind(number)
        .bind(eye.name())
        .fetch_one(&mut book)
        .await
        .unwrap();
        let computed = [
            record.frame_pd,
            laid.wanted_pd,
            laid.set_pd,
            laid.nudge_up,
            laid.decentration_in,
            laid.center_in,
            laid.center_up,
            laid.needs_exact,
            laid.lens.unwrap().diameter,
        ]
        .map(|length| length.hundredths());
        let [a, b, c, d, e, f, g, h, i] = computed;
        assert_eq!(kept, (a, b, c, d, e, f, g, h, i), "job {number}, {eye:?}");
    }
}

/// Kills the program while it fills the book, as soon as there is something in the file.
fn stop_half_way(folder: &Path, more: &[&str]) {
    let unfinished = folder.join(format!("{FILE_NAME}.unfinished"));
    let mut command = rimbook();
    command.arg("--data").arg(folder).args(["--port", "0", "--demo"]).args(more);
    let mut child = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::inherit()).spawn().unwrap();
    let until = Instant::now() + Duration::from_secs(60);
    let log = folder.join(format!("{FILE_NAME}.unfinished-wal"));
    while !log.metadata().is_ok_and(|log| log.len() > 1_000_000) {
        assert!(Instant::now() < until && child.try_wait().unwrap().is_none(), "it was never half-way");
        thread::sleep(Duration::from_millis(2));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(unfinished.exists());
}

#[tokio::test]
async fn a_stopped_filling_leaves_no_book() {
    for more in [&[][..], &["--jobs", "1000"]] {
        let home = tempfile::tempdir().unwrap();
        stop_half_way(home.path(), more);
        let store = Store::open(home.path()).await.unwrap();
        assert!(store.find_lab().await.unwrap().is_none(), "a half-full book remains");
        store.close().await;
        let next = Running::start(home.path(), if more.is_empty() { &["--demo"] } else { &[] });
        let left: Vec<_> = std::fs::read_dir(home.path()).unwrap().map(|file| file.unwrap().file_name()).collect();
        assert!(left.iter().all(|name| !name.to_string_lossy().contains("unfinished")), "{left:?}");
        let (head, _) = next.get("/jobs/1120");
        let status = if more.is_empty() { "HTTP/1.1 200" } else { "HTTP/1.1 303" };
        assert!(head.starts_with(status), "{head}");
    }
}

#[test]
fn a_book_with_a_lab_gets_no_jobs() {
    let home = tempfile::tempdir().unwrap();
    drop(Running::start(home.path(), &["--demo"]));
    let again = Running::start(home.path(), &["--demo", "--jobs", "1000"]);
    assert_eq!(again.said[0], "The book already belongs to Saltmarsh Lens Post: nothing was added to it");
    // The demonstration has fewer jobs than this, and a thousand would have more.
    let (head, _) = again.get("/jobs/1500");
    assert!(head.starts_with("HTTP/1.1 404"), "{head}");
}
