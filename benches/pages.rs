//! The job page under load beside a bare handler, the time to the first page, and the memory after ten thousand requests.
//!
//! Run with `cargo bench --bench pages`. The real binary and the bare handler run as processes of their own on the same
//! book (the demonstration lab), are asked by the same client in turn, and the medians of five rounds are printed.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use axum::Router;
use axum::extract::{Path as UrlPath, State};
use axum::routing::get;
use sqlx::SqlitePool;
use sqlx::sqlite::{SqliteConnectOptions, SqlitePoolOptions};

const ROUNDS: usize = 5;
const ROUND: Duration = Duration::from_secs(2);
const CLIENTS: usize = 4;

fn main() {
    let words: Vec<String> = std::env::args().collect();
    if words.get(1).is_some_and(|w| w == "bare") {
        return bare(&words[2], words[3].parse().expect("a port"));
    }
    let folder = std::env::temp_dir().join(format!("rimbook-bench-{}", std::process::id()));
    measure(&folder);
    std::fs::remove_dir_all(&folder).expect("the bench's own folder");
}

fn measure(folder: &Path) {
    stop(rimbook(folder, free_port(), true));

    let mut starts: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let port = free_port();
            let begin = Instant::now();
            let child = rimbook(folder, port, false);
            ask(&mut connect(port), "/");
            let took = begin.elapsed().as_secs_f64() * 1000.0;
            stop(child);
            took
        })
        .collect();
    println!("from start to first page   {:8.1} ms   (median of {ROUNDS}; limit 200)", median(&mut starts));

    let (page_port, bare_port) = (free_port(), free_port());
    let pages = rimbook(folder, page_port, false);
    let bare = Command::new(std::env::current_exe().expect("this program"))
        .args(["bare", folder.join("rimbook.db").to_str().expect("a plain path"), &bare_port.to_string()])
        .spawn()
        .expect("the bare handler");
    ask(&mut connect(bare_port), "/1050");
    let (mut page_rates, mut bare_rates) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        bare_rates.push(rate(bare_port, "/1050"));
        page_rates.push(rate(page_port, "/jobs/1050"));
    }
    let (page, bare_rate) = (median(&mut page_rates), median(&mut bare_rates));
    println!("job page                   {page:8.0} a second");
    println!("bare read by primary key   {bare_rate:8.0} a second");
    println!("job page / bare            {:8.2}      (limit 0.50)", page / bare_rate);
    stop(bare);

    let mut stream = connect(page_port);
    for _ in 0..10_000 {
        ask(&mut stream, "/jobs/1050");
    }
    println!("memory after the requests  {:8.1} MiB  (limit 64)", resident_mib(&pages));
    stop(pages);
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
    let row: (String,) =
        sqlx::query_as("select note from job where number = ?").bind(number).fetch_one(&pool).await.expect("the job");
    row.0
}

fn rimbook(folder: &Path, port: u16, demo: bool) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rimbook"));
    command.arg("--data").arg(folder).args(["--port", &port.to_string()]).stdout(Stdio::piped());
    if demo {
        command.arg("--demo");
    }
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

/// Asks for a page on an open connection and reads it whole.
fn ask(stream: &mut TcpStream, path: &str) {
    write!(stream, "GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n").expect("asking");
    let mut answer = Vec::with_capacity(64 * 1024);
    let mut buffer = [0; 64 * 1024];
    let mut whole = usize::MAX;
    while answer.len() < whole {
        let read = stream.read(&mut buffer).expect("an answer");
        assert!(read > 0, "the connection closed");
        answer.extend_from_slice(&buffer[..read]);
        if whole == usize::MAX
            && let Some(end) = answer.windows(4).position(|w| w == b"\r\n\r\n")
        {
            let head = String::from_utf8_lossy(&answer[..end]).to_lowercase();
            assert!(head.starts_with("http/1.1 200"), "{path}: {head}");
            let length = head.lines().find_map(|l| l.strip_prefix("content-length:")).expect("a length");
            whole = end + 4 + length.trim().parse::<usize>().expect("a number");
        }
    }
}

fn rate(port: u16, path: &'static str) -> f64 {
    let until = Instant::now() + ROUND;
    let clients: Vec<_> = (0..CLIENTS)
        .map(|_| {
            thread::spawn(move || {
                let mut stream = connect(port);
                let mut pages = 0u32;
                while Instant::now() < until {
                    ask(&mut stream, path);
                    pages += 1;
                }
                pages
            })
        })
        .collect();
    let pages: u32 = clients.into_iter().map(|c| c.join().expect("a client")).sum();
    f64::from(pages) / ROUND.as_secs_f64()
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn resident_mib(child: &Child) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).expect("a system with /proc");
    let line = status.lines().find_map(|l| l.strip_prefix("VmRSS:")).expect("VmRSS");
    line.trim().trim_end_matches("kB").trim().parse::<f64>().expect("a number") / 1024.0
}
