//! The second screen: no door without a pass phrase, nothing without TLS, and nobody in without giving the phrase.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::Duration;

use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName};
use tokio_rustls::rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned, crypto};

use crate::running::{Running, posted, refused};
use crate::shop::{Shop, serving};

const PHRASE: &str = "heron copper fjord tern";

/// Serves a folder to other machines too.
fn listening(folder: &Path) -> Command {
    let mut command = serving(folder);
    command.args(["--listen", "0.0.0.0:0", "--allow-host", "localhost"]);
    command
}

/// Sets the pass phrase on the page of a shop; the cookie of this screen.
fn lock(shop: &Shop) -> String {
    let fields = [("key", "screens"), ("new_phrase", PHRASE), ("again", PHRASE), ("screen", "Counter")];
    let (head, page) = shop.running.post("/lab/screens/pass-phrase", &fields);
    assert!(head.starts_with("HTTP/1.1 303"), "{head}{page}");
    cookie(&head)
}

fn cookie(head: &str) -> String {
    let line = head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    line.split(';').next().unwrap().to_owned()
}

/// A tablet that trusts the certificate in the folder.
struct Tablet {
    address: SocketAddr,
    config: Arc<ClientConfig>,
}

impl Tablet {
    fn of(running: &Running, folder: &Path) -> Self {
        let line = running.said.iter().find(|line| line.contains("https://localhost:")).expect("the address is said");
        let port = line.split("https://localhost:").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
        let mut roots = RootCertStore::empty();
        roots.add(CertificateDer::from_pem_file(folder.join("screen-certificate.pem")).unwrap()).unwrap();
        let config = ClientConfig::builder_with_provider(Arc::new(crypto::ring::default_provider()))
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_root_certificates(roots)
            .with_no_client_auth();
        Self { address: ([127, 0, 0, 1], port).into(), config: Arc::new(config) }
    }

    fn send(&self, request: &str) -> String {
        let name = ServerName::try_from("localhost").unwrap();
        let connection = ClientConnection::new(Arc::clone(&self.config), name).unwrap();
        let stream = TcpStream::connect(self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
        let mut tls = StreamOwned::new(connection, stream);
        tls.write_all(request.as_bytes()).unwrap();
        let mut answer = Vec::new();
        let _ = tls.read_to_end(&mut answer);
        String::from_utf8_lossy(&answer).into_owned()
    }

    fn get(&self, path: &str, host: &str, cookie: &str) -> String {
        self.send(&format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n"))
    }

    fn post(&self, path: &str, fields: &[(&str, &str)], cookie: &str) -> String {
        let request = posted(self.address, path, fields);
        let host = format!("Host: {}", self.address);
        self.send(&request.replacen(&host, &format!("Host: localhost\r\nCookie: {cookie}"), 1))
    }

    fn sign_in(&self, phrase: &str, with: &str) -> String {
        let fields = [("key", "screens"), ("to", ""), ("present", phrase), ("screen", "Edger tablet")];
        self.post("/sign-in", &fields, with)
    }
}

#[test]
fn no_other_machine_is_let_in_before_there_is_a_pass_phrase() {
    let home = tempfile::tempdir().unwrap();
    drop(Shop::open(home.path()));
    let end = refused(&mut listening(home.path()), "");
    assert_eq!((end.status.code(), end.err.lines().count()), (Some(1), 1), "{}", end.err);
    assert!(end.err.contains("needs a pass phrase first"), "{}", end.err);
}

#[test]
fn a_tablet_gets_in_with_the_pass_phrase_alone() {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    shop.must_take("Odile Marrow");
    lock(&shop);
    drop(shop);
    let running = Running::run(listening(home.path()));
    let tablet = Tablet::of(&running, home.path());
    // Without the phrase: nothing but the page that asks for it.
    for (path, to) in [("/", hex("/")), ("/jobs/1001", hex("/jobs/1001"))] {
        let answer = tablet.get(path, "localhost", "");
        assert!(answer.starts_with("HTTP/1.1 303") && answer.contains(&format!("/sign-in?to={to}")), "{answer}");
        assert!(!answer.contains("Marrow"), "{answer}");
    }
    let note = [("key", "note-1001-0"), ("note", "cut by the tablet")];
    assert!(tablet.post("/jobs/1001/notes", &note, "").starts_with("HTTP/1.1 401"));
    assert!(tablet.get("/sign-in", "evil.example", "").starts_with("HTTP/1.1 403"));
    assert!(tablet.get("/sign-in", "127.0.0.1", "").starts_with("HTTP/1.1 403"), "only the names that were allowed");
    // The mark that it brought is not the one that counts afterwards.
    let brought = format!("__Host-rimbook-screen={}", "a".repeat(64));
    let answer = tablet.sign_in(PHRASE, &brought);
    let line = answer.lines().find(|line| line.starts_with("set-cookie: ")).unwrap().to_owned();
    for part in ["__Host-rimbook-screen=", "; Secure", "; HttpOnly", "; SameSite=Strict", "; Path=/"] {
        assert!(line.contains(part), "{line}");
    }
    let mark = cookie(&answer);
    assert_ne!(mark, brought);
    assert!(tablet.get("/jobs/1001", "localhost", &brought).starts_with("HTTP/1.1 303"), "no fixation");
    assert!(tablet.get("/jobs/1001", "localhost", &mark).contains("Odile Marrow"));
    // What it does stands in the history under its name.
    let page = tablet.get("/jobs/1001/notes", "localhost", &mark);
    let key = page.split("name=\"key\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let answer = tablet.post("/jobs/1001/notes", &[("key", &key), ("note", "cut by the tablet")], &mark);
    assert!(answer.starts_with("HTTP/1.1 303"), "{answer}");
    let page = tablet.get("/jobs/1001", "localhost", &mark);
    let entry = page.split("cut by the tablet").nth(1).unwrap();
    assert!(entry[..200].contains("Edger tablet"), "{}", &entry[..200]);
    // This machine's own door asks too, and without TLS nobody talks to the other one.
    assert!(running.get("/jobs/1001").0.starts_with("HTTP/1.1 303"));
    let mut plain = TcpStream::connect(tablet.address).unwrap();
    plain.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
    plain.write_all(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n").unwrap();
    let mut answer = Vec::new();
    let _ = plain.read_to_end(&mut answer);
    assert!(!answer.starts_with(b"HTTP"), "{answer:?}");
    // Ended from the page of the lab.
    let page = tablet.get("/lab/screens", "localhost", &mark);
    let id =
        page.split("/lab/screens/").find_map(|rest| rest.split("/end\"").next().filter(|id| id.len() == 36)).unwrap();
    tablet.post(&format!("/lab/screens/{id}/end"), &[("key", "screens")], &mark);
    assert!(tablet.get("/jobs/1001", "localhost", &mark).starts_with("HTTP/1.1 303"));
}

fn hex(text: &str) -> String {
    text.bytes().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn guessing_is_slowed_down_and_holds_up_nobody_else() {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    lock(&shop);
    let fields = |phrase: &'static str| [("key", "screens"), ("to", ""), ("present", phrase), ("screen", "Guest")];
    let statuses: Vec<String> = (0..8)
        .map(|_| {
            shop.running.post("/sign-in", &fields("heron copper fjord kite")).0.split(' ').nth(1).unwrap().to_owned()
        })
        .collect();
    assert_eq!(&statuses[..4], ["422", "422", "422", "422"], "{statuses:?}");
    assert_eq!(&statuses[4..], ["429", "429", "429", "429"], "not even looked at: {statuses:?}");
    // The right one has to wait as well: a guess that was refused says nothing.
    let (head, page) = shop.running.post("/sign-in", &fields(PHRASE));
    assert!(
        head.starts_with("HTTP/1.1 429") && head.contains("retry-after: ") && page.contains("wait"),
        "{head}{page}"
    );
    std::thread::sleep(Duration::from_millis(2200));
    assert!(shop.running.post("/sign-in", &fields(PHRASE)).0.starts_with("HTTP/1.1 303"));
}

#[test]
fn a_forgotten_pass_phrase_is_taken_away_on_the_machine_with_the_book() {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    let mark = lock(&shop);
    assert!(mark.starts_with("rimbook-screen="), "{mark}");
    let forget = || {
        let mut command = crate::running::rimbook();
        command.args(["pass-phrase", "--remove", "--data"]).arg(home.path());
        command
    };
    assert!(refused(&mut forget(), "").err.contains("open in another Rimbook"));
    drop(shop);
    let end = refused(&mut forget(), "");
    assert!(end.status.success(), "{}", end.err);
    let running = Running::run(serving(home.path()));
    assert!(running.get("/").0.starts_with("HTTP/1.1 200"));
    drop(running);
    let mut set = crate::running::rimbook();
    set.args(["pass-phrase", "--data"]).arg(home.path());
    assert!(refused(&mut set, "short\n").err.contains("at least 15 characters"));
    let mut set = crate::running::rimbook();
    set.args(["pass-phrase", "--data"]).arg(home.path());
    assert!(refused(&mut set, &format!("{PHRASE}\n")).status.success());
    assert!(Running::run(serving(home.path())).get("/").0.starts_with("HTTP/1.1 303"));
}
