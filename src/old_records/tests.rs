//! A folder and a table, all the way into a book.

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::Poll;
use std::time::{Duration, Instant};

use time::OffsetDateTime;
use time::macros::datetime;

use super::folder::bytes_again;
use super::*;
use crate::desk::job::Stage;
use crate::desk::old_record::plan::ImportTally;
use crate::store::old_record::{ImportSource, ToBringIn, TraceFiles, Written};
use crate::store::once::Once;
use crate::store::{Store, StoreError};

const NOW: OffsetDateTime = datetime!(2026-11-27 10:00 UTC);

/// A trace of both eyes whose size depends on a number.
fn trace(number: usize) -> String {
    let radii = |extra: usize| {
        let one = |i: usize| (2450 + (i * 7 + number * 13 + extra) % 60).to_string();
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

async fn bring(
    store: &Store,
    key: &str,
    (folder, gathered): (&Path, &Gathered),
    leaves_out: bool,
) -> Result<ImportTally, StoreError> {
    bring_telling(store, key, (folder, gathered), leaves_out, |_| {}).await
}

async fn bring_telling(
    store: &Store,
    key: &str,
    (folder, gathered): (&Path, &Gathered),
    leaves_out: bool,
    done: impl Fn(Written),
) -> Result<ImportTally, StoreError> {
    let source = ImportSource { folder: "/traces", table: "jobs.csv" };
    let files = TraceFiles { bytes: &|file| bytes_again(folder, file), read: read_shape };
    match store.bring_in(key, &ToBringIn { gathered, leaves_out, source, files }, NOW, done).await? {
        Once::Now(tally) => Ok(tally),
        Once::Before(outcome) => panic!("done before: {outcome}"),
    }
}

#[tokio::test]
async fn everything_is_brought_in_once() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open_for_one(home.path()).await.unwrap();
    let table = given(traces.path(), 450);
    let all = gathered(traces.path(), &table);
    assert_eq!(all.problems, []);
    let tally = bring(&store, "a", (traces.path(), &all), false).await.unwrap();
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
    let again = bring(&store, "b", (traces.path(), &gathered(traces.path(), &table)), false).await.unwrap();
    assert_eq!((again.jobs, again.already_here, again.new_customers, again.new_frames), (0, 450, 0, 0));
    let more = given(traces.path(), 451);
    let more = bring(&store, "c", (traces.path(), &gathered(traces.path(), &more)), false).await.unwrap();
    assert_eq!((more.jobs, more.already_here, more.known_customers, more.new_customers), (1, 450, 1, 0));
    assert_eq!(store.get_old_import(3).await.unwrap().numbers, Some((1451, 1451)));
    let none = store.get_old_import(2).await.unwrap();
    assert_eq!((none.numbers, none.already_here), (None, 450));
}

#[tokio::test]
async fn a_row_that_fails_leaves_nothing_behind() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open_for_one(home.path()).await.unwrap();
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
    assert!(matches!(bring(&store, "a", (traces.path(), &all), false).await, Err(StoreError::Stopped(1))));

    // The book refuses the last of them: everything before it goes too.
    all.jobs[248].row.note = "x".to_owned();
    all.jobs[248].row.number = String::new();
    let refused = bring(&store, "b", (traces.path(), &all), true).await.unwrap_err();
    assert!(matches!(&refused, StoreError::OutOfRange(name) if name == "old_record_number"), "{refused:?}");
    assert_eq!(store.list_customers("", 10).await.unwrap(), []);
    assert_eq!(
        (store.list_frames("", 10).await.unwrap().len(), store.list_traces_after(0, 10).await.unwrap().len()),
        (0, 0)
    );
    assert!(store.find_outcome("b").await.unwrap().is_none());
    assert!(!store.is_writing_old_records().await.unwrap());
    assert_eq!(store.list_old_imports(10).await.unwrap(), []);

    all.jobs[248].row.number = "250".to_owned();
    let tally = bring(&store, "b", (traces.path(), &all), true).await.unwrap();
    assert_eq!((tally.jobs, tally.stopped), (249, 1));
    assert_eq!(store.get_old_import(1).await.unwrap().left_out, 1);
}

#[tokio::test]
async fn a_file_that_changes_meanwhile_stops_it() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open_for_one(home.path()).await.unwrap();
    let table = given(traces.path(), 120);
    let all = gathered(traces.path(), &table);
    fs::write(traces.path().join("7.txt"), trace(8)).unwrap();
    let refused = bring(&store, "a", (traces.path(), &all), false).await.unwrap_err();
    assert!(matches!(&refused, StoreError::TraceFile(name) if name == "7.txt"), "{refused:?}");
    assert_eq!(store.list_old_imports(10).await.unwrap(), []);
    let all = gathered(traces.path(), &table);
    assert_eq!(bring(&store, "a", (traces.path(), &all), false).await.unwrap().jobs, 120);
}

/// Is done once something was told.
async fn until(told: &AtomicBool) {
    std::future::poll_fn(|context| {
        context.waker().wake_by_ref();
        if told.load(Ordering::Relaxed) { Poll::Ready(()) } else { Poll::Pending }
    })
    .await;
}

#[tokio::test]
async fn a_program_that_is_stopped_leaves_nothing_or_writes_the_rest() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let table = given(traces.path(), 220);
    let all = gathered(traces.path(), &table);
    // While jobs are staged: nothing is in.
    let store = Store::open_for_one(home.path()).await.unwrap();
    let staged = AtomicBool::new(false);
    let note = |told| staged.fetch_or(told == Written::Staged(150), Ordering::Relaxed);
    tokio::select! {
        done = bring_telling(&store, "a", (traces.path(), &all), false, |told| { note(told); }) => panic!("{done:?}"),
        () = until(&staged) => {}
    }
    store.close().await;
    let store = Store::open_for_one(home.path()).await.unwrap();
    assert!(!store.is_writing_old_records().await.unwrap());
    assert_eq!((store.next_job_number().await.unwrap(), store.list_customers("", 9).await.unwrap().len()), (1001, 0));

    // While they are written: all are in, and the next start writes the rest, from what the book itself holds.
    let written = AtomicBool::new(false);
    let note = |told| written.fetch_or(matches!(told, Written::InBook(_)), Ordering::Relaxed);
    tokio::select! {
        done = bring_telling(&store, "a", (traces.path(), &all), false, |told| { note(told); }) => panic!("{done:?}"),
        () = until(&written) => {}
    }
    store.close().await;
    fs::remove_dir_all(traces.path()).unwrap();
    let store = Store::open_for_one(home.path()).await.unwrap();
    assert!(store.is_writing_old_records().await.unwrap());
    assert_eq!(store.next_job_number().await.unwrap(), 1221, "an order that is taken now has a number after theirs");
    assert_eq!(store.find_old_number("5").await.unwrap(), None);
    assert!(matches!(store.forget_staged().await, Err(StoreError::BringingIn)));
    let customer = store.list_customers("", 9).await.unwrap().remove(0).id;
    let erased = store.erase_customer("e", customer, "by letter", NOW.date(), NOW).await;
    assert!(matches!(erased, Err(StoreError::BringingIn)), "{erased:?}");
    store.write_staged(read_shape, &|_| {}).await.unwrap();
    assert!(!store.is_writing_old_records().await.unwrap());
    let numbers: Vec<i64> = (1001..=1220).collect();
    let mut found = Vec::new();
    for number in 1..=220 {
        let job = store.find_old_number(&number.to_string()).await.unwrap().unwrap();
        let job = store.get_job_or_record(job).await.unwrap();
        assert!(job.shape.is_some() && job.old.is_some());
        found.push(job.number);
    }
    found.sort_unstable();
    assert_eq!(found, numbers);
    assert_eq!(
        (store.list_customers("", 99).await.unwrap().len(), store.list_frames("", 99).await.unwrap().len()),
        (7, 5)
    );
    assert_eq!(store.get_old_import(1).await.unwrap().numbers, Some((1001, 1220)));
    store.forget_staged().await.unwrap();
}

#[tokio::test]
async fn other_saves_do_not_wait_for_all_of_it() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open_for_one(home.path()).await.unwrap();
    let table = given(traces.path(), 1000);
    let all = gathered(traces.path(), &table);
    let (is_done, begun) = (AtomicBool::new(false), Instant::now());
    let saves = async {
        let mut longest = Duration::ZERO;
        for number in 1.. {
            if is_done.load(Ordering::Relaxed) {
                break;
            }
            let asked = Instant::now();
            let person = crate::desk::customer::Person { name: format!("Caller {number}"), ..Default::default() };
            store.insert_customer(&person, NOW).await.unwrap();
            longest = longest.max(asked.elapsed());
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        longest
    };
    let work = async {
        let tally = bring(&store, "a", (traces.path(), &all), false).await.unwrap();
        is_done.store(true, Ordering::Relaxed);
        tally
    };
    let (tally, longest) = tokio::join!(work, saves);
    let whole = begun.elapsed();
    println!("1,000 jobs in {whole:?}; another save waited for {longest:?} at most");
    assert_eq!(tally.jobs, 1000);
    assert!(longest * 4 < whole, "another save waited for {longest:?} of {whole:?}");
}

#[tokio::test]
async fn what_the_records_do_not_say_stays_unsaid() {
    let (home, traces) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let store = Store::open_for_one(home.path()).await.unwrap();
    fs::write(traces.path().join("B-7.txt"), trace(7)).unwrap();
    let table = table::read(b"No,Name\nB-7,Ada Quill\n").unwrap();
    bring(&store, "a", (traces.path(), &gathered(traces.path(), &table)), false).await.unwrap();
    let number = store.find_old_number("b-7").await.unwrap().unwrap();
    let job = store.get_job_or_record(number).await.unwrap();
    assert_eq!(job.old.as_ref().map(|old| (old.has_date, old.has_pd)), Some((false, false)));
    assert_eq!((job.prescription.has_power.right, job.prescription.has_power.left), (false, false));
    assert_eq!((job.ordered_on, job.material.details.name.as_str()), (NOW.date(), "Not recorded"));
    assert_eq!(job.frame.details.to_string(), "not recorded frame of old job B-7, 50□18");
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
