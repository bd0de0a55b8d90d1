//! However it is told to stop: soon, and with the whole book in its one file.

use std::io::Write;
use std::net::TcpStream;
use std::time::{Duration, Instant};

use crate::running::Running;
use crate::shop::{Shop, ask_file, serving};

const JOBS: &str = "select group_concat(number) from job";

#[tokio::test]
async fn the_file_is_whole_after_each_signal() {
    for signal in ["HUP", "TERM", "INT"] {
        let home = tempfile::tempdir().unwrap();
        let mut shop = Shop::open(home.path());
        shop.must_take("Odile Marrow");
        shop.running.signal(signal);
        let (status, _) = shop.running.ended(Duration::from_secs(30)).expect("it stops");
        assert!(status.success(), "{signal}: {status}");
        let file = home.path().join("rimbook.db");
        assert_eq!(ask_file(&file, JOBS).await.unwrap(), "1001", "{signal}");
        assert!(!home.path().join("rimbook.db-wal").exists(), "{signal}");
    }
}

#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn the_file_is_whole_while_nothing_is_done() {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    shop.must_take("Odile Marrow");
    let until = Instant::now() + Duration::from_secs(40);
    while ask_file(&home.path().join("rimbook.db"), JOBS).await.unwrap_or_default() != "1001" {
        assert!(Instant::now() < until, "the order stays in the log");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    shop.must_take("Ada Quill");
}

/// A request of which the last part never comes.
fn half_sent(running: &Running) -> TcpStream {
    let mut stream = TcpStream::connect(running.address).unwrap();
    stream.write_all(b"POST /start HTTP/1.1\r\nHost: localhost\r\nContent-Le").unwrap();
    stream
}

/// A whole head, and a body that never comes.
fn without_body(running: &Running) -> TcpStream {
    let mut stream = TcpStream::connect(running.address).unwrap();
    let head = "POST /start HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-www-form-urlencoded\r\n";
    stream.write_all(format!("{head}Content-Length: 100\r\n\r\nkey=").as_bytes()).unwrap();
    stream
}

#[test]
#[ignore = "long: cargo test -- --include-ignored"]
fn a_request_that_never_ends_does_not_keep_it_from_stopping() {
    for half in [half_sent, without_body] {
        let home = tempfile::tempdir().unwrap();
        let mut running = Running::run(serving(home.path()));
        let _stream = half(&running);
        std::thread::sleep(Duration::from_millis(300));
        running.signal("TERM");
        let (status, took) = running.ended(Duration::from_secs(20)).expect("it stops");
        assert!(status.success() && took < Duration::from_secs(5), "{status}, {took:?}");
    }
}

#[test]
fn the_second_signal_stops_it_at_once() {
    let home = tempfile::tempdir().unwrap();
    let mut running = Running::run(serving(home.path()));
    let _stream = without_body(&running);
    std::thread::sleep(Duration::from_millis(300));
    running.signal("INT");
    std::thread::sleep(Duration::from_millis(300));
    running.signal("INT");
    let (status, took) = running.ended(Duration::from_secs(20)).expect("it stops");
    assert!(status.success() && took < Duration::from_millis(1500), "{status}, {took:?}");
}
