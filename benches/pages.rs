//! Every page on a book, with eight readers and one writer; the job page beside a bare handler; the time to the first
//! page; the memory.
//!
//! Run with `cargo bench --bench pages`. The book is the folder that `RIMBOOK_BOOK` names, which is written to. Without
//! it, one of `RIMBOOK_JOBS` jobs (2000) is made and removed again. A book of a million jobs comes from
//! `rimbook --data DIR --demo --jobs 1000000`.
//!
//! A reader asks for a page, reads it whole, and waits `RIMBOOK_PAUSE_MS` (20) before the next. What is timed is the
//! answer as a reader gets it, on this machine. The real program and the bare handler run as processes of their own on
//! one book and are asked by one client in turn.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use axum::Router;
use axum::extract::{Path as UrlPath, State};
use axum::routing::get;
use rimbook::web::router::ADDRESSES;
use sqlx::SqlitePool;
use sqlx::sqlite::{SqliteConnectOptions, SqlitePoolOptions};
use uuid::Uuid;

const ROUNDS: usize = 5;
const ROUND: Duration = Duration::from_secs(2);
const READERS: usize = 8;
const CLIENTS: usize = 4;
const WRITES_A_SECOND: u32 = 20;

/// How often each reader asks for each page.
const SAMPLES: usize = 50;

fn main() {
    let words: Vec<String> = std::env::args().collect();
    if words.get(1).is_some_and(|w| w == "bare") {
        return bare(&words[2], words[3].parse().expect("a port"));
    }
    match std::env::var_os("RIMBOOK_BOOK") {
        Some(folder) => measure(&PathBuf::from(folder)),
        None => {
            let folder = std::env::temp_dir().join(format!("rimbook-bench-{}", std::process::id()));
            let jobs = std::env::var("RIMBOOK_JOBS").unwrap_or_else(|_| "2000".to_owned());
            stop(rimbook(&folder, free_port(), &["--demo", "--jobs", &jobs]));
            measure(&folder);
            std::fs::remove_dir_all(&folder).expect("the bench's own folder");
        }
    }
}

fn measure(folder: &Path) {
    let file = folder.join("rimbook.db");
    warm(&file);
    let known = Known::read(&file);
    println!("{} jobs, {:.1} GB", known.jobs.1 - known.jobs.0 + 1, size_gb(&file));

    let mut starts: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let port = free_port();
            let begin = Instant::now();
            let child = rimbook(folder, port, &[]);
            ask(&mut connect(port), "/");
            let took = begin.elapsed().as_secs_f64() * 1000.0;
            stop(child);
            took
        })
        .collect();
    println!("from start to first page   {:8.1} ms   (median of {ROUNDS}; limit 500)", median(&mut starts));

    let (page_port, bare_port) = (free_port(), free_port());
    let pages = rimbook(folder, page_port, &[]);
    println!(
        "until the work of a start ends {:4.0} s   (the file is checked, the marks of the shapes are read)",
        settle(&pages)
    );
    time_pages(page_port, &known);
    println!("memory after all pages     {:8.1} MiB  (limit 200)", resident_mib(&pages));

    let bare = Command::new(std::env::current_exe().expect("this program"))
        .args(["bare", file.to_str().expect("a plain path"), &bare_port.to_string()])
        .spawn()
        .expect("the bare handler");
    let (mut page_rates, mut bare_rates) = (Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        bare_rates.push(rate(bare_port, "/", &known, round));
        page_rates.push(rate(page_port, "/jobs/", &known, round));
    }
    let (page, bare_rate) = (median(&mut page_rates), median(&mut bare_rates));
    println!("job page                   {page:8.0} a second, a different job each time");
    println!("bare read by primary key   {bare_rate:8.0} a second");
    println!("job page / bare            {:8.2}      (limit 0.25)", page / bare_rate);
    println!("memory at the end          {:8.1} MiB  (limit 200)", resident_mib(&pages));
    stop(bare);
    stop(pages);
}

/// Reads the file once, so that the system has what fits of it in memory.
fn warm(file: &Path) {
    let mut file = std::fs::File::open(file).expect("the book");
    let mut buffer = vec![0; 1 << 20];
    while file.read(&mut buffer).expect("the book") > 0 {}
}

fn size_gb(file: &Path) -> f64 {
    std::fs::metadata(file).expect("the book").len() as f64 / 1e9
}

/// What there is to ask for.
struct Known {
    jobs: (i64, i64),
    open: Vec<i64>,
    customers: Vec<String>,
    frames: Vec<String>,
    drawer: Vec<String>,
    materials: Vec<String>,
    treatments: Vec<String>,
    receipts: (i64, i64),
    names: Vec<String>,
    models: Vec<String>,
}

impl Known {
    fn read(file: &Path) -> Self {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(async {
            let options = SqliteConnectOptions::new().filename(file).pragma("query_only", "on");
            let book = SqlitePoolOptions::new().connect_with(options).await.expect("the book");
            let ends = async |query: &'static str| -> (i64, i64) {
                sqlx::query_as(query).fetch_one(&book).await.expect("numbers")
            };
            let texts = async |query: &'static str| -> Vec<String> {
                sqlx::query_scalar(query).fetch_all(&book).await.expect("texts")
            };
            let keys = async |query: &'static str| -> Vec<String> {
                let keys: Vec<Uuid> = sqlx::query_scalar(query).fetch_all(&book).await.expect("keys");
                keys.iter().map(Uuid::to_string).collect()
            };
            let known = Self {
                jobs: ends("select min(number), max(number) from job").await,
                open: sqlx::query_scalar("select number from job where closed_at is null")
                    .fetch_all(&book)
                    .await
                    .expect("open jobs"),
                customers: keys(
                    "select id from customer where number % (1 + (select max(number) from customer) / 2000) = 0",
                )
                .await,
                frames: keys("select id from frame").await,
                drawer: keys("select id from drawer_lens").await,
                materials: keys("select id from material where retired_at is null").await,
                treatments: keys("select id from treatment where retired_at is null").await,
                receipts: ends("select min(number), max(number) from receipt").await,
                names: texts(
                    "select name from customer where number % (1 + (select max(number) from customer) / 2000) = 0",
                )
                .await,
                models: texts("select maker || ' ' || model from frame").await,
            };
            book.close().await;
            known
        })
    }

    /// The address with something of the book in each place, the same for the same `luck`.
    fn fill(&self, address: &str, luck: u64) -> String {
        let of = |list: &[String]| list[spread(luck) as usize % list.len()].clone();
        let between = |(first, last): (i64, i64)| first + (spread(luck) % (last - first + 1) as u64) as i64;
        // Every fourth job is an open one.
        let job = match luck % 4 {
            0 => self.open[spread(luck) as usize % self.open.len()],
            _ => between(self.jobs),
        };
        match address {
            "/receipts/{number}" => address.replace("{number}", &between(self.receipts).to_string()),
            "/customers/{id}"
            | "/customers/{id}/details"
            | "/money/reminders/{id}"
            | "/money/reminders/{id}/letter" => address.replace("{id}", &of(&self.customers)),
            // A month of a busy lab, a year, or one day of it.
            "/money/takings" => format!("{address}?of={}", &"2024-03-15"[..[4, 7, 10][luck as usize % 3]]),
            "/money/receipts" => format!("{address}?to=20{:02}-06-30", luck % 26),
            "/money/files/{file}" => {
                let file = ["receipts.csv", "payments.csv", "charges.csv"][luck as usize % 3];
                format!("{}?from=2024-03-01&to=2024-03-31", address.replace("{file}", file))
            }
            "/frames/{id}" => address.replace("{id}", &of(&self.frames)),
            "/stock/{id}/count" => address.replace("{id}", &of(&self.drawer)),
            "/lab/materials/{line}" => address.replace("{line}", &of(&self.materials)),
            "/lab/treatments/{line}" => address.replace("{line}", &of(&self.treatments)),
            "/orders/{key}" => address.replace("{key}", &Uuid::from_u64_pair(luck, luck).to_string()),
            "/orders/{key}/summary" => address.replace("{key}", &Uuid::from_u64_pair(luck, luck).to_string()),
            _ => address.replace("{number}", &job.to_string()),
        }
    }

    /// What is posted to a page that answers what was typed: searches, suggestions, the order as understood so far.
    fn typed(&self, address: &str, luck: u64) -> Option<String> {
        let of = |list: &[String]| list[spread(luck) as usize % list.len()].clone();
        let search = |text: &str| format!("q={}", url(text));
        Some(match address {
            "/understood/rx" => "right=-4.25%20-2.00%20x150&left=%2B1.50".to_owned(),
            "/understood/pd" => "pd=31%2F30.5".to_owned(),
            "/orders/{key}/summary" => {
                let name = url(&of(&self.names));
                format!("customer_name={name}&rx_right=-4.25%20-2.00%20x150&rx_left=%2B1.50&pd=63&made_for=distance")
            }
            "/find" => search(&self.words(luck)),
            "/customers" | "/suggest/customers" => search(&beginning(&of(&self.names), luck)),
            "/frames" | "/suggest/frames" => search(&beginning(&of(&self.models), luck)),
            _ => return None,
        })
    }

    /// What a person looks for: a name, a name and a frame, a parcel's year and town, a common word.
    fn words(&self, luck: u64) -> String {
        let name = &self.names[spread(luck) as usize % self.names.len()];
        let model = &self.models[spread(luck + 1) as usize % self.models.len()];
        match luck % 5 {
            0 => name.clone(),
            1 => format!("{} {}", name.split(' ').next().unwrap_or_default(), model),
            2 => beginning(name, luck),
            3 => format!("pellmarsh {}", 1995 + luck % 30),
            _ => "copperline".to_owned(),
        }
    }
}

/// What is typed so far: two letters, three, four, ...
fn beginning(text: &str, luck: u64) -> String {
    text.chars().take(2 + (luck % 8) as usize).collect()
}

fn url(text: &str) -> String {
    text.bytes()
        .map(|b| if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}

/// A number that follows from another one and looks like chance (SplitMix64's last step).
fn spread(luck: u64) -> u64 {
    let mut z = luck.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Asks for every page, and prints a line for each.
fn time_pages(port: u16, known: &Known) {
    let pause = std::env::var("RIMBOOK_PAUSE_MS").ok().and_then(|ms| ms.parse().ok()).unwrap_or(20);
    let readable: Vec<&str> = ADDRESSES.iter().copied().filter(|address| is_page(port, known, address)).collect();
    let (done, failed) = (AtomicBool::new(false), AtomicBool::new(false));
    let mut times: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    thread::scope(|scope| {
        let writer = scope.spawn(|| write_drafts(port, &done));
        let readers: Vec<_> = (0..READERS)
            .map(|reader| {
                let (readable, failed) = (&readable, &failed);
                scope.spawn(move || read_pages(port, known, readable, reader, Duration::from_millis(pause), failed))
            })
            .collect();
        for reader in readers {
            for (address, took) in reader.join().expect("a reader") {
                times.entry(address).or_default().push(took);
            }
        }
        done.store(true, Ordering::Relaxed);
        let (writes, seconds) = writer.join().expect("the writer");
        println!("{READERS} readers, {:.1} writes a second", f64::from(writes) / seconds);
    });
    println!("{:<38} {:>6} {:>8} {:>8} {:>8}", "page, ms", "times", "p50", "p99", "worst");
    for (address, mut list) in times {
        list.sort_by(f64::total_cmp);
        let at = |part: f64| list[((list.len() - 1) as f64 * part).round() as usize];
        let limit = if address == "/find" { 50.0 } else { 10.0 };
        let mark = if at(0.99) > limit { "  over the limit" } else { "" };
        println!("{address:<38} {:>6} {:>8.2} {:>8.2} {:>8.2}{mark}", list.len(), at(0.5), at(0.99), at(1.0));
    }
}

/// Other addresses that only take posts answer 405.
fn is_page(port: u16, known: &Known, address: &str) -> bool {
    known.typed(address, 1).is_some() || request(&mut connect(port), &known.fill(address, 1)).status != 405
}

/// Asks for a page as a person gets it: a search is posted, and what it found is another page.
fn page(stream: &mut TcpStream, port: u16, path: &str, typed: Option<&str>) -> u16 {
    let Some(typed) = typed else { return request(stream, path).status };
    let answer = post(stream, port, path, typed);
    match answer.location {
        Some(found) => request(stream, &found).status,
        None => answer.status,
    }
}

fn read_pages<'a>(
    port: u16,
    known: &Known,
    readable: &[&'a str],
    reader: usize,
    pause: Duration,
    failed: &AtomicBool,
) -> Vec<(&'a str, f64)> {
    let mut stream = connect(port);
    let mut times = Vec::new();
    for sample in 0..SAMPLES * readable.len() {
        let luck = (reader * 1_000_003 + sample) as u64;
        let address = readable[(spread(luck) % readable.len() as u64) as usize];
        let (path, typed) = (known.fill(address, luck), known.typed(address, luck));
        let begin = Instant::now();
        let status = page(&mut stream, port, &path, typed.as_deref());
        times.push((address, begin.elapsed().as_secs_f64() * 1000.0));
        // A job that has not come so far sends the reader elsewhere, or says what is missing.
        if status >= 500 && !failed.swap(true, Ordering::Relaxed) {
            println!("{path} answers {status}");
        }
        thread::sleep(pause);
    }
    times
}

/// Saves what is typed in an order, as the page does on every pause in typing.
fn write_drafts(port: u16, done: &AtomicBool) -> (u32, f64) {
    let mut stream = connect(port);
    let begin = Instant::now();
    let mut writes = 0;
    while !done.load(Ordering::Relaxed) {
        let body = format!("customer_name=Ada+{writes}&note=typed+so+far");
        let key = Uuid::from_u64_pair(7, u64::from(writes / 20));
        let answer = post(&mut stream, port, &format!("/drafts/{key}"), &body);
        assert_eq!(answer.status, 204, "a draft was not kept");
        writes += 1;
        let due = begin + Duration::from_secs(1) * writes / WRITES_A_SECOND;
        thread::sleep(due.saturating_duration_since(Instant::now()));
    }
    (writes, begin.elapsed().as_secs_f64())
}

/// One handler, one row by its key: what a page can cost at the least with this server and this database.
fn bare(file: &str, port: u16) {
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let options = SqliteConnectOptions::new().filename(file).pragma("query_only", "on");
        let pool = SqlitePoolOptions::new()
            .max_connections(4)
            .test_before_acquire(false)
            .connect_with(options)
            .await
            .expect("the book");
        let app = Router::new().route("/{number}", get(read_one)).with_state(pool);
        let listener = tokio::net::TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await.expect("the port");
        axum::serve(listener, app).await.expect("serving");
    });
}

async fn read_one(State(pool): State<SqlitePool>, UrlPath(number): UrlPath<i64>) -> String {
    let row: (String,) = sqlx::query_as("select promised_on from job where number = ?")
        .bind(number)
        .fetch_one(&pool)
        .await
        .expect("the job");
    row.0
}

fn rimbook(folder: &Path, port: u16, more: &[&str]) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rimbook"));
    let alone = ["--no-browser", "--no-backups", "--port", &port.to_string()];
    command.arg("--data").arg(folder).args(alone).args(more).stdout(Stdio::piped());
    let mut child = command.spawn().expect("rimbook");
    let mut lines = BufReader::new(child.stdout.as_mut().expect("its output")).lines();
    while !lines.next().expect("it says where it listens").expect("text").contains("http://") {}
    child
}

fn stop(mut child: Child) {
    child.kill().expect("stopping");
    child.wait().expect("its end");
}

fn free_port() -> u16 {
    TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).and_then(|l| l.local_addr()).expect("a free port").port()
}

fn connect(port: u16) -> TcpStream {
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    let until = Instant::now() + Duration::from_secs(10);
    loop {
        match TcpStream::connect(address) {
            Ok(stream) => {
                stream.set_nodelay(true).expect("a socket option");
                return stream;
            }
            Err(why) => assert!(Instant::now() < until, "nobody listens: {why}"),
        }
        thread::sleep(Duration::from_millis(1));
    }
}

/// Asks for a page that must be there.
fn ask(stream: &mut TcpStream, path: &str) {
    assert_eq!(request(stream, path).status, 200, "{path}");
}

fn request(stream: &mut TcpStream, path: &str) -> Answer {
    send(stream, &format!("GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n"))
}

fn post(stream: &mut TcpStream, port: u16, path: &str, body: &str) -> Answer {
    let length = body.len();
    send(
        stream,
        &format!(
            "POST {path} HTTP/1.1\r\nHost: localhost:{port}\r\nOrigin: http://localhost:{port}\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {length}\r\n\r\n{body}"
        ),
    )
}

struct Answer {
    status: u16,
    /// Where another page is to be asked for.
    location: Option<String>,
}

/// Sends a request on an open connection and reads the answer whole.
fn send(stream: &mut TcpStream, what: &str) -> Answer {
    stream.write_all(what.as_bytes()).expect("asking");
    let mut answer = Vec::with_capacity(64 * 1024);
    let mut buffer = [0; 64 * 1024];
    let (mut whole, mut got) = (usize::MAX, Answer { status: 0, location: None });
    // An answer that comes in parts ends with an empty one.
    let mut is_in_parts = false;
    while answer.len() < whole && !(is_in_parts && answer.ends_with(b"\r\n0\r\n\r\n")) {
        let read = stream.read(&mut buffer).expect("an answer");
        assert!(read > 0, "the connection closed: {what}");
        answer.extend_from_slice(&buffer[..read]);
        if got.status == 0
            && let Some(end) = answer.windows(4).position(|w| w == b"\r\n\r\n")
        {
            let head = String::from_utf8_lossy(&answer[..end]).to_lowercase();
            got.status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).expect("a status");
            got.location = head.lines().find_map(|l| l.strip_prefix("location: ")).map(str::to_owned);
            let length = head.lines().find_map(|l| l.strip_prefix("content-length:"));
            is_in_parts = head.contains("transfer-encoding: chunked");
            if !is_in_parts {
                whole = end + 4 + length.map_or(0, |l| l.trim().parse::<usize>().expect("a number"));
            }
        }
    }
    got
}

/// Answers a second, of a different job each time.
fn rate(port: u16, path: &str, known: &Known, round: usize) -> f64 {
    drop(connect(port));
    let until = Instant::now() + ROUND;
    let pages: u32 = thread::scope(|scope| {
        let clients: Vec<_> = (0..CLIENTS)
            .map(|client| {
                scope.spawn(move || {
                    let mut stream = connect(port);
                    let mut pages = 0u32;
                    let jobs = (known.jobs.1 - known.jobs.0 + 1) as u64;
                    while Instant::now() < until {
                        let luck = spread((round * CLIENTS + client) as u64 * 1_000_003 + u64::from(pages));
                        ask(&mut stream, &format!("{path}{}", known.jobs.0 + (luck % jobs) as i64));
                        pages += 1;
                    }
                    pages
                })
            })
            .collect();
        clients.into_iter().map(|client| client.join().expect("a client")).sum()
    });
    f64::from(pages) / ROUND.as_secs_f64()
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Waits until the program has done what it does in the background after a start, and gives how many seconds it took.
fn settle(child: &Child) -> f64 {
    let begin = Instant::now();
    let stat = || std::fs::read_to_string(format!("/proc/{}/stat", child.id())).expect("a system with /proc");
    // Fields 14 and 15: hundredths of a second at work, in the program and in the system.
    let worked = || -> u64 {
        stat().split_whitespace().skip(13).take(2).map(|field| field.parse::<u64>().expect("a number")).sum()
    };
    loop {
        let before = worked();
        thread::sleep(Duration::from_secs(2));
        if worked() - before < 4 {
            return begin.elapsed().as_secs_f64();
        }
    }
}

fn resident_mib(child: &Child) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).expect("a system with /proc");
    let line = status.lines().find_map(|l| l.strip_prefix("VmRSS:")).expect("VmRSS");
    line.trim().trim_end_matches("kB").trim().parse::<f64>().expect("a number") / 1024.0
}
