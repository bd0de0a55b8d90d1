//! Hostile requests, byte by byte: each is refused or answered as one harmless request, and the program goes on.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use crate::running::Running;
use crate::shop::{Shop, serving};

/// Sends bytes and reads whatever comes until the other side closes or says nothing for a while.
fn raw(running: &Running, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(running.address).unwrap();
    stream.set_read_timeout(Some(Duration::from_millis(1500))).unwrap();
    // It may be refused before all of it is sent.
    let _ = stream.write_all(bytes);
    let mut answer = Vec::new();
    let mut piece = [0; 4096];
    while let Ok(length @ 1..) = stream.read(&mut piece) {
        answer.extend_from_slice(&piece[..length]);
    }
    String::from_utf8_lossy(&answer).into_owned()
}

fn status(answer: &str) -> u16 {
    answer.strip_prefix("HTTP/1.1 ").and_then(|rest| rest.get(..3)?.parse().ok()).unwrap_or(0)
}

/// How many answers came.
fn answers(answer: &str) -> usize {
    answer.matches("HTTP/1.1 ").count()
}

const HOST: &str = "Host: localhost\r\n";

#[test]
fn two_readers_of_one_request_cannot_be_made_to_disagree() {
    let home = tempfile::tempdir().unwrap();
    let running = Running::run(serving(home.path()));
    let smuggled = "GET /smuggled HTTP/1.1\r\nHost: localhost\r\n\r\n";
    let form = "Content-Type: application/x-www-form-urlencoded\r\n";
    for (what, head, body) in [
        ("two lengths", "Content-Length: 5\r\nContent-Length: 6\r\n", "key=a\r\n"),
        ("two lengths in one", "Content-Length: 5, 6\r\n", "key=a\r\n"),
        ("a length with a sign", "Content-Length: +5\r\n", "key=a"),
        ("a negative length", "Content-Length: -5\r\n", "key=a"),
        ("a length in hexadecimal", "Content-Length: 0x5\r\n", "key=a"),
        ("a length beyond all numbers", "Content-Length: 99999999999999999999999\r\n", "key=a"),
        ("an unknown coding", "Transfer-Encoding: xchunked\r\n", "0\r\n\r\n"),
        ("chunked that is not last", "Transfer-Encoding: chunked, identity\r\n", "0\r\n\r\n"),
        ("a space before the colon", "Transfer-Encoding : chunked\r\nContent-Length: 5\r\n", "0\r\n\r\n"),
        ("a folded line", "X-A: b\r\n Transfer-Encoding: chunked\r\nContent-Length: 5\r\n", "0\r\n\r\n"),
        ("a line without colon", "Transfer-Encoding\r\n", ""),
        ("a zero byte", "X-A: b\0c\r\n", ""),
    ] {
        let request = format!("POST /start HTTP/1.1\r\n{HOST}{form}{head}\r\n{body}");
        let answer = raw(&running, request.as_bytes());
        assert!(status(&answer) == 400 && answers(&answer) == 1, "{what}: {answer}");
    }
    // Both a length and chunks: the chunks count, and what follows them is not taken for a request that the length hides.
    let both = format!(
        "POST /start HTTP/1.1\r\n{HOST}{form}Content-Length: {}\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n{smuggled}",
        5 + smuggled.len()
    );
    let answer = raw(&running, both.as_bytes());
    assert!(!answer.contains(" 200 ") && (status(&answer) == 400 || !answer.contains(" 404 ")), "{answer}");
    for (what, chunks) in [
        ("a size beyond all numbers", "fffffffffffffffffff\r\nkey=a\r\n0\r\n\r\n"),
        ("a size that is none", "zz\r\nkey=a\r\n0\r\n\r\n"),
        ("a chunk longer than it says", "2\r\nkey=a\r\n0\r\n\r\n"),
        ("an endless extension", &format!("2;{}\r\nke\r\n0\r\n\r\n", "x".repeat(100_000))),
    ] {
        let request = format!("POST /start HTTP/1.1\r\n{HOST}{form}Transfer-Encoding: chunked\r\n\r\n{chunks}");
        let answer = raw(&running, request.as_bytes());
        assert!((400..500).contains(&status(&answer)) || answer.is_empty(), "{what}: {answer}");
        assert!(answers(&answer) <= 1, "{what}: {answer}");
    }
    assert_eq!(
        status(&raw(&running, format!("GET /start HTTP/1.1\r\n{HOST}Connection: close\r\n\r\n").as_bytes())),
        200
    );
}

#[test]
fn heads_and_addresses_beyond_measure_are_refused() {
    let home = tempfile::tempdir().unwrap();
    let running = Running::run(serving(home.path()));
    let many: String = (0..5000).map(|n| format!("X-{n}: {n}\r\n")).collect();
    let long = "x".repeat(4 << 20);
    for (what, request) in [
        ("5,000 lines", format!("GET /start HTTP/1.1\r\n{HOST}{many}\r\n")),
        ("one line of 4 MB", format!("GET /start HTTP/1.1\r\n{HOST}X-Long: {long}\r\n\r\n")),
        ("a name of 4 MB", format!("GET /start HTTP/1.1\r\n{HOST}{long}: x\r\n\r\n")),
        ("an address of 4 MB", format!("GET /{long} HTTP/1.1\r\n{HOST}\r\n")),
        ("a cookie of 40 kB", format!("GET /start HTTP/1.1\r\n{HOST}Cookie: a={}\r\n\r\n", &long[..40_000])),
        ("no HTTP at all", format!("{long}\r\n\r\n")),
        ("another protocol", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".to_owned()),
    ] {
        let answer = raw(&running, request.as_bytes());
        let is_refused = [400, 414, 431, 505].contains(&status(&answer));
        // A connection that is closed while the rest is still being sent loses the answer: refused all the same.
        assert!(is_refused || answer.is_empty(), "{what}: {answer}");
        assert!(running.get("/start").0.starts_with("HTTP/1.1 200"), "after {what}");
    }
}

#[test]
fn no_other_name_and_no_other_method_gets_an_answer() {
    let home = tempfile::tempdir().unwrap();
    let running = Running::run(serving(home.path()));
    let port = running.address.port();
    for hosts in [
        "Host: evil.example\r\n".to_owned(),
        format!("Host: evil.example:{port}\r\n"),
        "Host: localhost\r\nHost: evil.example\r\n".to_owned(),
        "Host: evil.example\r\nHost: localhost\r\n".to_owned(),
        "Host: localhost, evil.example\r\n".to_owned(),
        "Host: localhost@evil.example\r\n".to_owned(),
        "Host: 127.0.0.1.evil.example\r\n".to_owned(),
        "Host: 2130706433\r\n".to_owned(),
        "Host: [::ffff:127.0.0.1]\r\n".to_owned(),
        "Host:\r\n".to_owned(),
        String::new(),
        "X-Forwarded-Host: localhost\r\n".to_owned(),
    ] {
        let answer = raw(&running, format!("GET /start HTTP/1.1\r\n{hosts}Connection: close\r\n\r\n").as_bytes());
        assert!([400, 403].contains(&status(&answer)) && !answer.contains("Who is the lab"), "{hosts:?}: {answer}");
    }
    let absolute = format!("GET http://evil.example/start HTTP/1.1\r\n{HOST}Connection: close\r\n\r\n");
    assert_eq!(status(&raw(&running, absolute.as_bytes())), 403, "the address itself names another host");
    for method in ["TRACE", "CONNECT", "PUT", "DELETE", "PATCH", "PROPFIND", "get"] {
        let request = format!("{method} /start HTTP/1.1\r\n{HOST}X-Secret: heron\r\nConnection: close\r\n\r\n");
        let answer = raw(&running, request.as_bytes());
        assert!((400..500).contains(&status(&answer)) && !answer.contains("heron"), "{method}: {answer}");
    }
    for upgrade in ["Upgrade: h2c\r\nConnection: Upgrade\r\n", "Upgrade: websocket\r\nConnection: Upgrade\r\n"] {
        let answer = raw(&running, format!("GET /start HTTP/1.1\r\n{HOST}{upgrade}\r\n").as_bytes());
        assert_ne!(status(&answer), 101, "{upgrade}: {answer}");
    }
}

#[test]
fn no_file_but_our_own_is_given_out() {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    for path in [
        "/static/../rimbook.db",
        "/static/../../../../etc/passwd",
        "/static/..%2f..%2f..%2fetc%2fpasswd",
        "/static/%2e%2e/%2e%2e/etc/passwd",
        "/static/..%5c..%5cetc%5cpasswd",
        "/static//etc/passwd",
        "/static/style.css%00.png",
        "/static/js",
        "/jobs/1001/files/../../../../etc/passwd",
        "/money/files/..%2f..%2frimbook.db",
        "/rimbook.db",
        "/%2e%2e/rimbook.db",
    ] {
        let answer = raw(&shop.running, format!("GET {path} HTTP/1.1\r\n{HOST}Connection: close\r\n\r\n").as_bytes());
        assert!((300..500).contains(&status(&answer)), "{path}: {answer}");
        assert!(!answer.contains("root:") && !answer.contains("SQLite format"), "{path}");
    }
}

#[test]
fn no_page_may_be_framed_or_sniffed() {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    for path in ["/", "/orders/new", "/nowhere", "/static/style.css", "/jobs/1", "/find?q=%3Cscript%3E"] {
        let (head, _) = shop.running.get(path);
        let head = head.to_ascii_lowercase();
        for part in ["frame-ancestors 'none'", "x-frame-options: deny", "nosniff", "same-origin", "default-src 'none'"]
        {
            assert!(head.contains(part), "{path} {part}: {head}");
        }
    }
}

/// The most memory that the program had so far, in megabytes.
#[cfg(target_os = "linux")]
fn peak_mb(running: &Running) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", running.process())).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    line.trim().trim_end_matches(" kB").trim().parse::<u64>().unwrap() / 1024
}

fn upload(path: &str, boundary: &str, body: &[u8]) -> Vec<u8> {
    let head = format!(
        "POST {path} HTTP/1.1\r\n{HOST}Sec-Fetch-Site: same-origin\r\nConnection: close\r\n\
         Content-Type: multipart/form-data; boundary={boundary}\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    [head.as_bytes(), body].concat()
}

#[test]
fn forms_beyond_measure_are_answered_soon_and_with_bounded_memory() {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    shop.must_take("Odile Marrow");
    let running = &shop.running;
    let part =
        |name: &str, text: &str| format!("--b\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
    let many: String = (0..20_000).map(|n| part(&format!("f{n}"), "x")).collect();
    let same: String = (0..20_000).map(|_| part("dbl", "18")).collect();
    let long = "x".repeat(1_900_000);
    let fields = |n: usize| (0..n).map(|n| format!("f{n}={n}")).collect::<Vec<_>>().join("&");
    let posted = |path: &str, body: &str| {
        format!(
            "POST {path} HTTP/1.1\r\n{HOST}Sec-Fetch-Site: same-origin\r\nConnection: close\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        )
        .into_bytes()
    };
    for (what, request) in [
        ("20,000 parts", upload("/jobs/1001/shape", "b", format!("{many}--b--\r\n").as_bytes())),
        ("one part 20,000 times", upload("/jobs/1001/shape", "b", format!("{same}--b--\r\n").as_bytes())),
        ("a part's head of 2 MB", upload("/jobs/1001/shape", "b", format!("--b\r\nX-Long: {long}").as_bytes())),
        ("no end", upload("/jobs/1001/shape", "b", part("file", &long).as_bytes())),
        ("a boundary that is everywhere", upload("/jobs/1001/shape", "-", "-".repeat(1_900_000).as_bytes())),
        ("no boundary", upload("/jobs/1001/shape", "", b"--\r\n\r\n")),
        (
            "lines of radii",
            upload("/jobs/1001/shape", "b", format!("{}--b--", part("table", &"9\n".repeat(900_000))).as_bytes()),
        ),
        (
            "numbers of radii",
            upload(
                "/jobs/1001/shape",
                "b",
                format!("{}--b--", part("table", &format!("R={}", "9;".repeat(900_000)))).as_bytes(),
            ),
        ),
        ("150,000 fields", posted("/drafts/bomb", &fields(150_000))),
        ("a field of 2 MB", posted("/orders/new", &format!("customer_name={long}"))),
        ("2 MB of percent signs", posted("/drafts/bomb", &"%".repeat(1_900_000))),
        ("a prescription of 2 MB", posted(&format!("/orders/{}", uuid::Uuid::now_v7()), &format!("rx_right={long}"))),
    ] {
        let began = Instant::now();
        let mut stream = TcpStream::connect(running.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        let _ = stream.write_all(&request);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let answer = String::from_utf8_lossy(&answer);
        assert!((200..500).contains(&status(&answer)), "{what}: {}", &answer[..answer.len().min(2000)]);
        assert!(began.elapsed() < Duration::from_secs(10), "{what}: {:?}", began.elapsed());
        assert!(running.get("/jobs/1001").0.starts_with("HTTP/1.1 200"), "after {what}");
    }
    #[cfg(target_os = "linux")]
    assert!(peak_mb(running) < 400, "{} MB", peak_mb(running));
}
