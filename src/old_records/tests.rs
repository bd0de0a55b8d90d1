//! A folder and a table, all the way into a book.

use std::fs;
use std::path::Path;

use time::OffsetDateTime;
use time::macros::datetime;

use super::*;
use crate::desk::job::Stage;
use crate::desk::old_record::plan::Tally;
use crate::store::old_record::Source;
use crate::store::once::Once;
use crate::store::{Store, StoreError};

const NOW: OffsetDateTime = datetime!(2026-11-27 10:00 UTC);

/// A trace of both eyes whose size depends on a number.
fn trace(number: usize) -> String {
    let radii = |extra: usize| {
        let one = |i: usize| (2400 + (i * 7 + number * 13 + extra) % 60).to_string();
        (0..36).map(one).collect::<Vec<_>>().join(";")
    };
    format!(
        "JOB={number}\r\nDBL=18.00\r\nTRCFMT=1;36;E;R;F\r\nR={}\r\nTRCFMT=1;36;E;L;F\r\nR={}\r\n",
        radii(0),
        radii(3)
    )
}

/// A table of so many jobs, and their trace files in a folder.
fn given(folder: &Path, jobs: usize) -> Table {
    let mut text = "Job;Date;Customer;Phone;Maker;Model;Eye size;OD;OS;PD;Notes\r\n".to_owned();
    for number in 1..=jobs {
        let person = number % 7;
        text.push_str(&format!(
            "{number};{}/{}/2019;Person {person};555-010{person};Copperline;Tern {};50;-2,25 -0,75 x 95;+1,00 sph;63;\r\n",
            1 + number % 12,
            1 + number % 28,
            number % 5,
        ));
        fs::write(folder.join(format!("{number}.txt")), trace(number)).unwrap();
    }
    table::read(text.as_bytes()).unwrap()
}

fn gathered(folder: &Path, table: &Table) -> Gathered {
    gather_all(table, &guess_matching(table), folder, &Progress::default()).unwrap()
}

async fn bring(store: &Store, key: &str, gathered: &Gathered, leaves_out: bool) -> Result<Tally, StoreError> {
    let source = Source { folder: "/traces", table: "jobs.csv" };
    match store.bring_in(key, gathered, leaves_out, source, NOW, |_| {}).await? {
        Once::Now(tally) => Ok(tally),
        Once::Before(outcome) => panic!("done before: {outcome}"),
    }
}

#[tokio::test]
async fn everything_is_brought_in_once() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open(home.path()).await.unwrap();
    let table = given(traces.path(), 450);
    let all = gathered(traces.path(), &table);
    assert_eq!(all.problems, []);
    let tally = bring(&store, "a", &all, false).await.unwrap();
    assert_eq!((tally.rows, tally.jobs, tally.shapes), (450, 450, 450));
    assert_eq!((tally.new_customers, tally.new_frames, tally.already_here), (7, 5, 0));
    let import = store.get_old_import(1).await.unwrap();
    assert_eq!((import.jobs, import.numbers, import.folder.as_str()), (450, Some((1001, 1450)), "/traces"));

    // The oldest day has the lowest number; the numbers of then lead to them.
    let number = store.find_old_number("0012").await.unwrap().unwrap();
    let job = store.get_job_or_record(number).await.unwrap();
    assert_eq!((job.stage(), job.customer.person.name.as_str()), (Stage::BroughtIn, "Person 5"));
    assert_eq!(job.prescription.eyes.right.power.to_string(), "-2.25 -0.75 x 095");
    assert_eq!(
        (job.prescription.typed.left.as_str(), job.prescription.pupil_distance.to_string().as_str()),
        ("+1,00 sph", "63.00")
    );
    assert_eq!(job.old.as_ref().map(|old| (old.number.as_str(), old.has_date, old.has_pd)), Some(("12", true, true)));
    assert!(job.receipt.is_none() && job.charged.cents() == 0);
    let shape = store.find_job_shape(&job).await.unwrap().unwrap();
    assert_eq!((shape.job_number, shape.dbl.hundredths(), shape.derived), (Some(number), 1800, None));
    assert_eq!(store.get_original(shape.id).await.unwrap(), ("12.txt".to_owned(), trace(12).into_bytes()));
    assert!(matches!(store.get_job(number).await, Err(StoreError::OldRecord(found)) if found == number));
    assert_eq!(store.list_open_jobs().await.unwrap(), []);
    assert_eq!(store.list_traces_after(0, 1000).await.unwrap().len(), 450, "they are compared with new shapes");

    // The same again, and with one row more.
    let again = bring(&store, "b", &gathered(traces.path(), &table), false).await.unwrap();
    assert_eq!((again.jobs, again.already_here, again.new_customers, again.new_frames), (0, 450, 0, 0));
    let more = given(traces.path(), 451);
    let more = bring(&store, "c", &gathered(traces.path(), &more), false).await.unwrap();
    assert_eq!((more.jobs, more.already_here, more.known_customers, more.new_customers), (1, 450, 1, 0));
    assert_eq!(store.get_old_import(3).await.unwrap().numbers, Some((1451, 1451)));
    let none = store.get_old_import(2).await.unwrap();
    assert_eq!((none.numbers, none.already_here), (None, 450));
}

#[tokio::test]
async fn a_row_that_fails_leaves_nothing_behind() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open(home.path()).await.unwrap();
    let table = given(traces.path(), 250);
    fs::remove_file(traces.path().join("7.txt")).unwrap();
    let mut all = gathered(traces.path(), &table);
    // A row without a trace file is a job without a shape.
    assert_eq!(
        (all.jobs.len(), all.stopped()),
        (249, 1),
        "the eye size is in the row, the bridge is not: {:?}",
        all.problems
    );
    assert!(matches!(bring(&store, "a", &all, false).await, Err(StoreError::Stopped(1))));

    // The book refuses the last of them: everything before it goes too.
    all.jobs[248].row.note = "x".to_owned();
    all.jobs[248].row.number = String::new();
    let refused = bring(&store, "b", &all, true).await.unwrap_err();
    assert!(matches!(&refused, StoreError::OutOfRange(name) if name == "old_record_number"), "{refused:?}");
    assert_eq!(store.list_customers("", 10).await.unwrap(), []);
    assert_eq!(
        (store.list_frames("", 10).await.unwrap().len(), store.list_traces_after(0, 10).await.unwrap().len()),
        (0, 0)
    );
    assert!(store.find_outcome("b").await.unwrap().is_none());
    assert_eq!(store.list_old_imports(10).await.unwrap(), []);

    all.jobs[248].row.number = "250".to_owned();
    let tally = bring(&store, "b", &all, true).await.unwrap();
    assert_eq!((tally.jobs, tally.stopped), (249, 1));
    assert_eq!(store.get_old_import(1).await.unwrap().left_out, 1);
}

#[tokio::test]
async fn what_the_records_do_not_say_stays_unsaid() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open(home.path()).await.unwrap();
    fs::write(traces.path().join("B-7.txt"), trace(7)).unwrap();
    let table = table::read(b"No,Name\nB-7,Ada Quill\n").unwrap();
    bring(&store, "a", &gathered(traces.path(), &table), false).await.unwrap();
    let number = store.find_old_number("b-7").await.unwrap().unwrap();
    let job = store.get_job_or_record(number).await.unwrap();
    assert_eq!(job.old.as_ref().map(|old| (old.has_date, old.has_pd)), Some((false, false)));
    assert_eq!((job.prescription.has_power.right, job.prescription.has_power.left), (false, false));
    assert_eq!((job.ordered_on, job.material.details.name.as_str()), (NOW.date(), "Not recorded"));
    assert_eq!(job.frame.details.to_string(), "not recorded frame of old job B-7, 49□18");
    assert!(store.list_materials().await.unwrap().iter().all(|material| material.details.name != "Not recorded"));
    let words = crate::desk::search::read("B-7", NOW.date());
    let found = store.find_jobs(&words, 10).await.unwrap();
    assert_eq!(
        found.jobs.iter().map(|job| (job.number, job.old_number.as_deref())).collect::<Vec<_>>(),
        [(number, Some("B-7"))]
    );
}

#[test]
fn a_guess_knows_heads_days_and_widths() {
    let table = table::read(b"Job,Date,Customer\n1,25/4/2019,Ada Quill,x,ada@example.net\n").unwrap();
    let matching = guess_matching(&table);
    use Column::*;
    assert_eq!(matching.columns, [Number, Date, Name, Nothing, Email]);
    assert_eq!((matching.has_head, matching.days), (true, DayOrder::DayFirst));
}

#[test]
fn a_folder_is_read_as_it_is_typed() {
    assert_eq!(folder_of("  \"/old traces\" "), Path::new("/old traces"));
    assert!(folder_of("~/traces").ends_with("traces") && folder_of("~/traces").is_absolute());
}
