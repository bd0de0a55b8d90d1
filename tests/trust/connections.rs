//! Thousands of connections that ask for nothing, or never finish, do not lock the owner out and do not stay for ever.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

use axum::Router;
use axum::routing::get;
use rimbook::serve::connections::{Door, ServerLimits, serve};
use tokio::net::TcpListener;
use tokio::sync::oneshot;

use crate::running::Running;
use crate::shop::serving;

/// Half a head, and a head without its body: each of them many times.
const UNFINISHED: [&str; 3] = [
    "",
    "GET / HTTP/1.1\r\nHost: localhost\r\nX-Part",
    "POST /start HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-www-form-urlencoded\r\n\
     Content-Length: 100\r\n\r\nkey=",
];

fn unfinished(address: SocketAddr, what: &str) -> TcpStream {
    let mut stream = TcpStream::connect(address).unwrap();
    let _ = stream.write_all(what.as_bytes());
    stream
}

#[test]
#[ignore = "long: cargo test -- --include-ignored"]
fn the_owner_is_let_in_among_hundreds_who_never_finish() {
    for what in UNFINISHED {
        let home = tempfile::tempdir().unwrap();
        let running = Running::run(serving(home.path()));
        let mut others = Vec::new();
        for round in 0..4 {
            others.extend((0..150).map(|_| unfinished(running.address, what)));
            let began = Instant::now();
            let (head, page) = running.get("/start");
            assert!(head.starts_with("HTTP/1.1 200") && page.contains("Your lab"), "{round}: {head}");
            assert!(began.elapsed() < Duration::from_secs(3), "{round} of {what:?}: {:?}", began.elapsed());
        }
    }
}

/// A server with small limits; its address, and what stops it.
async fn small(limits: ServerLimits) -> (SocketAddr, oneshot::Sender<()>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = oneshot::channel();
    let pages = Router::new().route("/", get(|| async { "open" }));
    let stopped = async {
        let _ = stopped.await;
    };
    tokio::spawn(serve(Door::here(listener), pages, limits, stopped, std::future::pending()));
    (address, stop)
}

/// How long a connection stays open when nothing more is sent on it.
async fn open_for(address: SocketAddr, sent: &'static str) -> Duration {
    tokio::task::spawn_blocking(move || {
        let mut stream = unfinished(address, sent);
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        let began = Instant::now();
        let _ = stream.read_to_end(&mut Vec::new());
        began.elapsed()
    })
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_head_that_is_never_finished_and_a_connection_left_open_are_closed() {
    let limits = ServerLimits { head: Duration::from_millis(400), ..ServerLimits::default() };
    let (address, _stop) = small(limits).await;
    for sent in ["", "GET / HTTP/1.1\r\nHo", "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"] {
        let open = open_for(address, sent).await;
        assert!((300..5000).contains(&open.as_millis()), "{sent:?}: {open:?}");
    }
    assert!((5..=30).contains(&ServerLimits::default().head.as_secs()), "time enough for a slow link, and no more");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_oldest_that_asks_for_nothing_makes_room() {
    let (address, _stop) = small(ServerLimits { connections: 3, ..ServerLimits::default() }).await;
    let opened = tokio::task::spawn_blocking(move || {
        let mut streams: Vec<TcpStream> = (0..5).map(|_| unfinished(address, "GET / HTTP/1.1\r\n")).collect();
        std::thread::sleep(Duration::from_millis(300));
        // The newest three are answered, the oldest two are gone.
        streams
            .iter_mut()
            .map(|stream| {
                stream.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
                let _ = stream.write_all(b"Host: localhost\r\nConnection: close\r\n\r\n");
                let mut answer = Vec::new();
                let _ = stream.read_to_end(&mut answer);
                answer.ends_with(b"open")
            })
            .collect::<Vec<_>>()
    })
    .await
    .unwrap();
    assert_eq!(opened, [false, false, true, true, true]);
    let most = ServerLimits::default().connections;
    assert!((64..=400).contains(&most), "below the 1,024 open files that many systems allow, beside the book's own");
}
