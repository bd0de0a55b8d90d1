//! Old records brought in: 10,000 trace files and a row for each, as the page does it. Says how long it takes, how long another
//! save waits meanwhile, and how much memory is needed.
//!
//! Run with `cargo bench --bench old_records`; `RIMBOOK_JOBS` is another number of jobs.

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use rimbook::desk::customer::Person;
use rimbook::old_records::folder::bytes_again;
use rimbook::old_records::progress::Progress;
use rimbook::old_records::table::{self, Table};
use rimbook::old_records::{gather_all, guess_matching, read_shape};
use rimbook::store::Store;
use rimbook::store::old_record::{ImportSource, ToBringIn, TraceFiles};
use time::OffsetDateTime;

/// The points of each eye.
const POINTS: usize = 400;

/// A trace of both eyes, 5 kB, whose size depends on a number.
fn trace(number: usize) -> String {
    let list = |extra: usize| {
        let radius = |i: usize| {
            let turn = i as f64 * std::f64::consts::TAU / POINTS as f64;
            let size = 2300.0 + (number % 400) as f64 + extra as f64;
            (size + 250.0 * (2.0 * turn).cos() + 60.0 * (3.0 * turn + number as f64).cos()).round().to_string()
        };
        let radii: Vec<String> = (0..POINTS).map(radius).collect();
        radii.chunks(10).map(|some| format!("R={}\r\n", some.join(";"))).collect::<String>()
    };
    let eye = |letter: &str, extra| format!("TRCFMT=1;{POINTS};E;{letter};F\r\n{}", list(extra));
    format!("JOB={number}\r\nDBL=18.00\r\n{}{}", eye("R", 0), eye("L", 3))
}

fn given(folder: &Path, jobs: usize) -> Table {
    let mut text = "Job;Date;Customer;Phone;Maker;Model;Eye size;OD;OS;PD;Notes\r\n".to_owned();
    for number in 1..=jobs {
        text += &format!(
            "{number};{}/{}/2019;Person {};555-01{:02};Copperline;Tern {};50;-2,25 -0,75 x 95;+1,00 sph;63;likes thin\r\n",
            1 + number % 12,
            1 + number % 28,
            number % 4000,
            number % 100,
            number % 300,
        );
        fs::write(folder.join(format!("{number}.txt")), trace(number)).expect("a file");
    }
    table::read(text.as_bytes()).expect("a table")
}

/// The most memory that this program had so far, where the system says it.
fn peak() -> String {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.map_or_else(|| "unknown".to_owned(), |kb| kb.trim().to_owned())
}

#[tokio::main]
async fn main() {
    let jobs = std::env::var("RIMBOOK_JOBS").ok().and_then(|jobs| jobs.parse().ok()).unwrap_or(10_000);
    let home = tempfile::tempdir().expect("a folder");
    let [traces, book] = ["traces", "book"].map(|name| home.path().join(name));
    fs::create_dir(&traces).expect("a folder");
    let table = given(&traces, jobs);
    let store = Store::open(&book).await.expect("a book");

    let begun = Instant::now();
    let gathered = gather_all(&table, &guess_matching(&table), &traces, &Progress::default()).expect("a folder");
    println!("{jobs} files read and put beside their rows: {:.2?}, peak memory {}", begun.elapsed(), peak());
    let what = ToBringIn {
        gathered: &gathered,
        leaves_out: false,
        source: ImportSource { folder: "traces", table: "jobs.csv" },
        files: TraceFiles { bytes: &|file| bytes_again(&traces, file), read: read_shape },
    };
    let is_done = AtomicBool::new(false);
    let saves = async {
        let mut waits = Vec::new();
        while !is_done.load(Ordering::Relaxed) {
            let person = Person { name: format!("Caller {}", waits.len()), ..Person::default() };
            let asked = Instant::now();
            store.insert_customer(&person, OffsetDateTime::now_utc()).await.expect("it is kept");
            waits.push(asked.elapsed());
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        waits.sort_unstable();
        waits
    };
    let work = async {
        let done = store.bring_in("bench", &what, OffsetDateTime::now_utc(), |_| {}).await;
        is_done.store(true, Ordering::Relaxed);
        done.expect("it is brought in")
    };
    let (_, waits) = tokio::join!(work, saves);
    println!("all of it, in the book: {:.2?}, peak memory {}", begun.elapsed(), peak());
    let at = |share: f64| waits[((waits.len() - 1) as f64 * share) as usize];
    println!(
        "{} other saves meanwhile waited {:.1?} (median), {:.1?} (99 of 100), {:.1?} (longest)",
        waits.len(),
        at(0.5),
        at(0.99),
        at(1.0)
    );
    store.close().await;
}
