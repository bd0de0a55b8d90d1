//! Devices on the wire: a peer that behaves as real tracers and edgers do, and as broken ones do.

use std::sync::Arc;
use std::time::Duration;

use rimbook::bench::real_size::Supply;
use rimbook::serve::devices::host::Host;
use rimbook::serve::devices::line::{DeviceLine, attend};
use rimbook::serve::devices::{DeviceAssumptions, start, take_connections};
use rimbook::shape::record::parse;
use rimbook::shape::wire::answer::framed;
use rimbook::shape::wire::{Message, Timing};
use rimbook::store::layout::NewLayout;
use rimbook::web::clock::Clock;
use rimbook::web::{AppState, build_app};
use time::UtcOffset;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, duplex};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

use crate::old_records::{bring_in, given_table, trace as old_trace, try_out};
use crate::shapes::{ellipse_radii, hole_table, keep_ellipse};
use crate::support::{NOW, TestLab};

const ACK: u8 = 0x06;
const NAK: u8 = 0x15;
/// Reached only where an answer that must come does not.
const PATIENCE: Duration = Duration::from_secs(30);
/// Times that a test can wait for.
const SHORT: Timing =
    Timing { confirmation: Duration::from_millis(150), silence: Duration::from_millis(300), tries: 3 };

/// A lab whose pages and lines share what they know.
async fn lab() -> (TestLab, Host, AppState) {
    let mut lab = TestLab::new().await;
    let clock = Clock::Fixed { now: NOW, zone: UtcOffset::UTC };
    let state = AppState::new(lab.store.clone(), clock).await.unwrap();
    lab.app = build_app(state.clone());
    (lab, Host::new(state.clone()), state)
}

/// A door for devices on this machine.
async fn door(host: &Host) -> (std::net::SocketAddr, JoinHandle<()>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    (address, tokio::spawn(take_connections(listener, host.clone(), Arc::new(DeviceAssumptions::default()))))
}

/// The device's side of a line.
struct Peer<S> {
    stream: S,
    /// It writes this many bytes at once.
    at_once: usize,
}

/// What the host says.
#[derive(Debug, PartialEq, Eq)]
enum Heard {
    Confirmed(u8),
    Message(String),
    Closed,
}

impl Peer<TcpStream> {
    async fn at(address: std::net::SocketAddr) -> Self {
        Self { stream: TcpStream::connect(address).await.unwrap(), at_once: 4096 }
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> Peer<S> {
    async fn send(&mut self, bytes: &[u8]) {
        for piece in bytes.chunks(self.at_once) {
            self.stream.write_all(piece).await.unwrap();
            self.stream.flush().await.unwrap();
        }
    }

    async fn hear(&mut self) -> Heard {
        tokio::time::timeout(PATIENCE, self.hear_in_time()).await.expect("the host says something")
    }

    async fn hear_in_time(&mut self) -> Heard {
        let mut message = Vec::new();
        loop {
            let Ok(byte) = self.stream.read_u8().await else { return Heard::Closed };
            match byte {
                ACK | NAK if message.is_empty() => return Heard::Confirmed(byte),
                0x1d => {
                    message.push(byte);
                    return Heard::Message(message.into_iter().map(char::from).collect());
                }
                _ => message.push(byte),
            }
        }
    }

    /// Sends a message and gets its answer, as the standard has it.
    async fn ask(&mut self, records: &str) -> String {
        self.ask_bytes(&message(records, false)).await
    }

    async fn ask_bytes(&mut self, bytes: &[u8]) -> String {
        self.send(bytes).await;
        assert_eq!(self.hear().await, Heard::Confirmed(ACK));
        let Heard::Message(answer) = self.hear().await else { panic!("no answer") };
        self.send(&[ACK]).await;
        answer
    }
}

fn message(records: &str, has_checksum: bool) -> Vec<u8> {
    framed(records.as_bytes(), has_checksum, &Default::default())
}

/// The trace of an ellipse 50 by 40 as a tracer sends it.
fn trace(job: &str) -> String {
    let mut records = format!("REQ=TRC\r\nJOB=\"{job}\"\r\nDBL=18.00\r\nFCRV=4.50;4.50\r\n");
    for side in ["R", "L"] {
        records += &format!("TRCFMT=1;360;E;{side};F\r\n");
        for line in ellipse_radii().chunks(10) {
            records += &format!("R={}\r\n", line.iter().map(i32::to_string).collect::<Vec<_>>().join(";"));
        }
    }
    records
}

fn value<'a>(answer: &'a str, label: &str) -> &'a str {
    let lines = answer.split("\r\n").filter_map(|line| line.trim_start_matches('\x1c').split_once('='));
    lines.filter(|record| record.0 == label).map(|record| record.1).next().unwrap_or("none")
}

/// The sentences so far, the oldest first.
fn said(state: &AppState) -> Vec<String> {
    state.devices.said().into_iter().rev().map(|said| said.words).collect()
}

/// Waits for a sentence.
async fn wait_for(state: &AppState, words: &str) {
    for _ in 0..600 {
        if said(state).iter().any(|said| said.contains(words)) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("“{words}” was never said: {:?}", said(state));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tracer_sends_the_shape_of_the_job_that_was_keyed() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (address, _door) = door(&host).await;
    let mut tracer = Peer::at(address).await;
    // The worst that a network does: every byte by itself.
    tracer.at_once = 1;
    let hello = tracer.ask_bytes(&message("REQ=INI\r\nDEV=TRC\r\nVEN=Fjordline\r\nMODEL=T2\r\n", true)).await;
    assert!(hello.starts_with("\x1cANS=INI\r\nSTATUS=0\r\n\x1eCRC="), "{hello:?}");
    let may = tracer.ask(&format!("REQ=TRC\r\nJOB={job}\r\n")).await;
    assert_eq!(may, format!("\x1cANS=TRC\r\nJOB=\"{job}\"\r\nSTATUS=0\r\n\x1d"));
    let (shapes, events) = (lab.count_rows("shape").await, lab.count("job_event", job).await);
    assert_eq!(shapes, 0);
    let sent = message(&trace(&job.to_string()), true);
    let kept = tracer.ask_bytes(&sent).await;
    assert_eq!(value(&kept, "STATUS"), "0");
    // A tracer that did not hear us sends it again: it is one shape.
    assert_eq!(value(&tracer.ask_bytes(&sent).await, "STATUS"), "0");
    assert_eq!((lab.count_rows("shape").await, lab.count("job_event", job).await), (1, events + 1));
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    assert_eq!(page.texts(".eye-right .figure .num")[..2], ["50.00", "40.00"]);
    let original = lab.get(&format!("/jobs/{job}/shape/original")).await;
    assert_eq!(original.assert_status(200).body.as_bytes(), sent, "as it was sent");
    let shown = lab.get("/lab/devices").await.assert_status(200).text("main");
    for words in ["Fjordline T2 at 127.0.0.1", "which was kept", "it is on file already"] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
    // Bytes are shown as they came in, in as many pieces as the network made of them.
    assert!(shown.contains("‹FS›") && shown.contains("‹GS›"), "{shown}");
    assert_eq!(said(&state)[..2], ["is connected", "introduced itself"]);
    assert_eq!(lab.get("/lab").await.attributes("main a[href='/lab/devices']", "href").len(), 1);
}

/// One eye as a tracer sends it, in a message of its own: the ellipse, made larger by so many hundredths all around.
fn one_eye(job: i64, side: &str, larger: i32) -> String {
    let mut records = format!("REQ=TRC\r\nJOB={job}\r\nDBL=18.00\r\nTRCFMT=1;360;E;{side};F\r\n");
    for line in ellipse_radii().chunks(10) {
        records += &format!("R={}\r\n", line.iter().map(|r| (r + larger).to_string()).collect::<Vec<_>>().join(";"));
    }
    records
}

/// Width of each eye as the page shows it, with `mirror` where it says that.
async fn widths(lab: &TestLab, job: i64) -> [String; 2] {
    let page = lab.get(&format!("/jobs/{job}/shape")).await;
    ["right", "left"].map(|eye| {
        let whole = page.text(&format!(".eye-{eye}"));
        let mirror = if whole.contains("mirror") { " mirror" } else { "" };
        format!("{}{mirror}", page.texts(&format!(".eye-{eye} .figure .num"))[0])
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn eyes_that_come_one_by_one_are_one_shape() {
    for (order, sessions) in [(["R", "L"], 1), (["R", "L"], 2), (["L", "R"], 1), (["L", "R"], 2)] {
        let (lab, host, state) = lab().await;
        let job = lab.given_job().await;
        let (address, _door) = door(&host).await;
        let mut tracer = Peer::at(address).await;
        tracer.ask("REQ=INI\r\nMODEL=T2\r\n").await;
        let larger = |side: &str| if side == "R" { 0 } else { 20 };
        let [first, second] = order.map(|side| message(&one_eye(job, side, larger(side)), true));
        assert_eq!(value(&tracer.ask_bytes(&first).await, "STATUS"), "0");
        let alone = if order[0] == "R" { ["50.00", "50.00 mirror"] } else { ["50.40 mirror", "50.40"] };
        assert_eq!(widths(&lab, job).await, alone, "{order:?}");
        if sessions == 2 {
            // Without a name this time.
            drop(tracer);
            tracer = Peer::at(address).await;
            tracer.at_once = 1;
        }
        assert_eq!(value(&tracer.ask_bytes(&second).await, "STATUS"), "0");
        assert_eq!(widths(&lab, job).await, ["50.00", "50.40"], "{order:?} in {sessions} sessions");
        // Both messages are in the original, as they came; a repeat of either is no news.
        let original = lab.get(&format!("/jobs/{job}/shape/original")).await;
        assert_eq!(original.body.as_bytes(), [&first[..], &second].concat());
        assert_eq!(parse(original.body.as_bytes()).unwrap().derived, None, "and it can be read");
        let rows = (lab.count_rows("shape").await, lab.count("job_event", job).await);
        for repeat in [&second, &first, &second] {
            assert_eq!(value(&tracer.ask_bytes(repeat).await, "STATUS"), "0");
        }
        assert_eq!((lab.count_rows("shape").await, lab.count("job_event", job).await), rows);
        // One eye is traced again: the other one stays.
        tracer.ask(&one_eye(job, "R", 5)).await;
        assert_eq!(widths(&lab, job).await, ["50.10", "50.40"]);
        let said = said(&state).join("; ");
        assert!(said.contains("which was kept as one shape with the"), "{said}");
        assert!(!state.devices.said().iter().any(|said| said.is_trouble), "{said}");
    }
}

/// As in one file with both eyes: `tests/web/shapes.rs`.
#[tokio::test(flavor = "multi_thread")]
async fn holes_of_an_eye_that_came_by_itself_stay_on_it() {
    let (lab, host, state) = lab().await;
    let (address, _door) = door(&host).await;
    let mut tracer = Peer::at(address).await;
    let drilled = |job: i64, side: &str| {
        one_eye(job, side, 0).replace("DBL=18.00\r\n", &format!("DBL=18.00\r\nDRILL={side};-20;2;1.4\r\n"))
    };
    let holes = async |job: i64| hole_table(&lab.get(&format!("/jobs/{job}/shape")).await);
    for (side, rows) in
        [("R", ["R 1 temple 5.00 +2.00 1.40", "L none"]), ("L", ["R none", "L 1 temple 5.00 +2.00 1.40"])]
    {
        for is_first in [true, false] {
            let job = lab.given_job().await;
            let bare = one_eye(job, if side == "R" { "L" } else { "R" }, 0);
            let messages = if is_first { [drilled(job, side), bare] } else { [bare, drilled(job, side)] };
            for (sent, message) in messages.iter().enumerate() {
                assert_eq!(value(&tracer.ask(message).await, "STATUS"), "0");
                // Until the other eye comes it is the mirror image, holes and all.
                let alone = if is_first { &["R and L 1 temple 5.00 +2.00 1.40"][..] } else { &[] };
                assert_eq!(holes(job).await, if sent == 0 { alone } else { &rows[..] }, "{side} {is_first}");
            }
            let says = format!("there are holes for the {} eye only", if side == "R" { "right" } else { "left" });
            let cautions = lab.get(&format!("/jobs/{job}/shape")).await.texts(".notice.caution");
            assert_eq!(cautions.iter().filter(|caution| caution.contains(&says)).count(), 1, "{cautions:?}");
            assert!(state.devices.said().iter().any(|said| said.job == Some(job) && said.is_trouble));
            let export = lab.get(&format!("/jobs/{job}/shape/export")).await.body;
            assert_eq!(export.matches("DRILL").count(), 1, "{export:.200}");
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn both_eyes_at_one_moment_on_two_lines_are_one_shape() {
    let (lab, host, _) = lab().await;
    let (address, _door) = door(&host).await;
    for _ in 0..5 {
        let job = lab.given_job().await;
        let send = async |side: &'static str| Peer::at(address).await.ask(&one_eye(job, side, 0)).await;
        tokio::join!(send("R"), send("L"));
        assert_eq!(widths(&lab, job).await, ["50.00", "50.00"]);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_eye_that_belongs_to_no_other_is_kept_by_itself() {
    let (lab, host, state) = lab().await;
    let (address, _door) = door(&host).await;
    let mut tracer = Peer::at(address).await;
    let last = || said(&state).pop().unwrap();
    // A tracer of one eye, which is told so or not.
    let job = lab.given_job().await;
    tracer.ask(&one_eye(job, "L", 0)).await;
    assert_eq!(widths(&lab, job).await, ["50.00 mirror", "50.00"]);
    assert!(last().ends_with("its mirror image stands for the right one until that comes"), "{}", last());
    let never = DeviceAssumptions::read(&["other_eye=never@one".to_owned()]).unwrap().of("one");
    let mut single =
        beside(&host, DeviceLine { device: "one".to_owned(), assumptions: never, ..DeviceLine::default() });
    let job = lab.given_job().await;
    for (side, widths_now) in [("R", ["50.00", "50.00 mirror"]), ("L", ["50.40 mirror", "50.40"])] {
        single.ask(&one_eye(job, side, if side == "R" { 0 } else { 20 })).await;
        assert_eq!(widths(&lab, job).await, widths_now);
    }
    assert!(
        last().contains("its mirror image stands for the right one; the earlier shape stays on file"),
        "{}",
        last()
    );
    // Another device, and another job.
    let job = lab.given_job().await;
    tracer.ask(&one_eye(job, "R", 0)).await;
    let mut other = beside(&host, DeviceLine { device: "two".to_owned(), ..DeviceLine::default() });
    other.ask(&one_eye(job, "L", 20)).await;
    assert_eq!(widths(&lab, job).await, ["50.40 mirror", "50.40"]);
    // Too late.
    let job = lab.given_job().await;
    tracer.ask(&one_eye(job, "R", 0)).await;
    for (minutes, widths_now) in [(6, ["50.40 mirror", "50.40"]), (10, ["50.00", "50.40"])] {
        let clock = Clock::Fixed { now: NOW + time::Duration::minutes(minutes), zone: UtcOffset::UTC };
        let later = Host::new(AppState::new(lab.store.clone(), clock).await.unwrap());
        let (address, _door) = door(&later).await;
        let (side, larger) = if minutes == 6 { ("L", 20) } else { ("R", 0) };
        Peer::at(address).await.ask(&one_eye(job, side, larger)).await;
        assert_eq!(widths(&lab, job).await, widths_now, "after {minutes} minutes");
        let says = "the left eye came more than 5 minutes after the right one, so the two were not joined, and the right eye \
                    is the mirror image of the left one: trace the right eye again";
        let told = later.devices().said().into_iter().find(|said| said.job == Some(job)).unwrap();
        assert_eq!((told.words.contains(says), told.is_trouble), (minutes == 6, minutes == 6), "{told:?}");
        let shape = lab.get(&format!("/jobs/{job}/shape")).await;
        assert_eq!(shape.texts(".notice").join(" ").contains(says), minutes == 6, "{:?}", shape.texts(".notice"));
        let page = lab.get(&format!("/jobs/{job}")).await;
        assert!(page.texts(".history li").iter().any(|line| line.contains(&says[1..])), "{}", page.text("main"));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_of_before_rimbook_says_what_to_do_instead() {
    let (lab, host, state) = lab().await;
    let (address, _door) = door(&host).await;
    let table = "No;Customer;Eye size;DBL\r\nB-12;Cy Ebb;50;18\r\nB-13;Di Fen;50;18\r\n";
    given_table(&lab, table).await.assert_status(303);
    std::fs::write(lab.folder.path().join("traces/b-12.txt"), old_trace("DBL=18.00\r\n")).unwrap();
    try_out(&lab, &[]).await;
    bring_in(&lab).await;
    let mut device = Peer::at(address).await;
    let is_told = |told: &str| state.devices.said().iter().any(|said| said.is_trouble && said.words.contains(told));

    // An edger gets the code of a job that it cannot have, and the reason.
    let says = "job 1001 was made before Rimbook: key the job of its new lenses";
    let answer = device.ask("REQ=EDG\r\nJOB=1001\r\n").await;
    assert_eq!(value(&answer, "STATUS"), format!("1;{says}"));
    assert!(is_told(says) && lab.get("/lab/devices").await.text("main").contains(says));
    // So does one that asks for the number of then.
    let says = "B-12 is the number that job 1001 had before Rimbook: key 1001";
    assert_eq!(value(&device.ask("REQ=BLK\r\nJOB=B-12\r\n").await, "STATUS"), format!("1;{says}"));
    assert!(is_told(says));

    // A tracer does not replace its shape; a record without one gets it, compared with the others.
    let says = "job 1001 is an old record with a shape: replace it on its page";
    for records in ["REQ=TRC\r\nJOB=1001\r\n".to_owned(), trace("1001")] {
        assert_eq!(value(&device.ask(&records).await, "STATUS"), format!("2;{says}"));
    }
    assert_eq!(value(&device.ask("REQ=TRC\r\nJOB=1002\r\n").await, "STATUS"), "0");
    let round = trace("1002").split("TRCFMT").next().unwrap().to_owned() + &old_trace("");
    assert_eq!(value(&device.ask(&round).await, "STATUS"), "0");
    let shape = lab.get("/jobs/1002/shape").await;
    assert!(shape.text("#alike").contains("job 1001, 0.00 mm apart"), "{}", shape.text("main"));
    assert_eq!(lab.count_rows("shape").await, 2);
}

/// A device on a line of its own.
fn beside(host: &Host, line: DeviceLine) -> Peer<tokio::io::DuplexStream> {
    let (ours, theirs) = duplex(1 << 16);
    let host = host.clone();
    tokio::spawn(async move { attend(ours, line, &host).await });
    Peer { stream: theirs, at_once: 4096 }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_made_by_the_first_eye_is_not_changed_in_silence() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (address, _door) = door(&host).await;
    let mut tracer = Peer::at(address).await;
    tracer.ask(&one_eye(job, "R", 0)).await;
    // A second eye that breaks off leaves the first as it is.
    let second = message(&one_eye(job, "L", 20), true);
    let mut broken = Peer::at(address).await;
    broken.send(&second[..second.len() - 1]).await;
    drop(broken);
    wait_for(&state, "broke off a message").await;
    assert_eq!(
        (widths(&lab, job).await, lab.count_rows("shape").await),
        (["50.00", "50.00 mirror"].map(String::from), 1)
    );
    let kept = lab.store.get_job(job).await.unwrap();
    let shape = lab.store.find_job_shape(&kept).await.unwrap().unwrap();
    let made = NewLayout::of_job(&kept, &shape, &state.lab(), &Supply::default()).unwrap();
    lab.store.insert_ticket("ticket-in-between", job, Some(&made), "{}", NOW).await.unwrap();
    tracer.ask_bytes(&second).await;
    assert_eq!(widths(&lab, job).await, ["50.40 mirror", "50.40"]);
    let told = state.devices.said().remove(0);
    assert!(told.is_trouble && told.words.contains("something was made by the right one already"), "{told:?}");
    // Sent again, it is one shape with the left one.
    tracer.ask(&one_eye(job, "R", 0)).await;
    assert_eq!((widths(&lab, job).await, lab.count_rows("shape").await), (["50.00", "50.40"].map(String::from), 3));
    // The owner put another shape on file: the same trace may come again on purpose, and is no repeat.
    keep_ellipse(&lab, job).await;
    tracer.ask(&one_eye(job, "R", 0)).await;
    assert_eq!(widths(&lab, job).await, ["50.00", "50.00 mirror"]);
    tracer.ask(&one_eye(job, "R", 0)).await;
    assert_eq!(lab.count_rows("shape").await, 5);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_kept_is_refused_and_nothing_is_stored() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (address, _door) = door(&host).await;
    let mut tracer = Peer::at(address).await;
    for unknown in ["999", "TRAY 7", "00000000000000000000000000001"] {
        assert_eq!(value(&tracer.ask(&trace(unknown)).await, "STATUS"), "1", "{unknown}");
        assert_eq!(value(&tracer.ask(&format!("REQ=TRC\r\nJOB={unknown}\r\n")).await, "STATUS"), "1", "{unknown}");
        assert_eq!(value(&tracer.ask(&format!("REQ=EDG\r\nJOB={unknown}\r\n")).await, "STATUS"), "1", "{unknown}");
    }
    let short = trace(&job.to_string()).replacen("TRCFMT=1;360", "TRCFMT=1;400", 1);
    let refused = tracer.ask(&short).await;
    assert!(value(&refused, "STATUS").starts_with("2;Line 5:"), "{refused:?}");
    let without = trace("").replace("JOB=\"\"\r\n", "");
    assert!(value(&tracer.ask(&without).await, "STATUS").starts_with("2;there is no job number"));
    assert!(value(&tracer.ask("REQ=MNT\r\n").await, "STATUS").starts_with("2;MNT is no request"));
    let no_shape = tracer.ask(&format!("REQ=BLK\r\nJOB={job}\r\n")).await;
    assert_eq!(value(&no_shape, "STATUS"), format!("2;job {job} has no shape yet"));
    assert_eq!((lab.count_rows("shape").await, lab.count_rows("attachment").await), (0, 0));
    assert!(said(&state).iter().any(|said| said.contains("no job “TRAY 7” is in the book; nothing was stored")));
    // A job that is cut keeps its shape: perhaps another job's number was keyed.
    let cut = lab.given_cut_job().await;
    let shapes = lab.count_rows("shape").await;
    assert!(value(&tracer.ask(&trace(&cut.to_string())).await, "STATUS").starts_with("2;"));
    assert_eq!(lab.count_rows("shape").await, shapes);
}

#[tokio::test(flavor = "multi_thread")]
async fn garbage_and_damage_on_the_way_are_mended() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (address, _door) = door(&host).await;
    let mut tracer = Peer::at(address).await;
    tracer.send(b"\xff\xfe\x00 what is this \r\n").await;
    let whole = message(&trace(&job.to_string()), true);
    let mut damaged = whole.clone();
    damaged[60] ^= 1;
    tracer.send(&damaged).await;
    assert_eq!(tracer.hear().await, Heard::Confirmed(NAK));
    assert_eq!(lab.count_rows("shape").await, 0);
    // Switched off and on in the middle of the message.
    tracer.send(&whole[..700]).await;
    assert_eq!(value(&tracer.ask_bytes(&whole).await, "STATUS"), "0");
    assert_eq!(lab.count_rows("shape").await, 1);
    let said = said(&state).join("; ");
    for words in ["belong to no message", "checksum does not agree", "began a message again after 700 bytes"] {
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_that_names_nothing_is_refused() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (address, _door) = door(&host).await;
    let mut tracer = Peer::at(address).await;
    let events = lab.count("job_event", job).await;
    let empty = "sent a message without a record, which names nothing; it was refused, and nothing was stored";
    // Nothing at all, line ends, no record, and a checksum that agrees.
    for bytes in [message("", false), message("\r\n", false), message("1042\r\n", false), message("", true)] {
        tracer.send(&bytes).await;
        assert_eq!(tracer.hear().await, Heard::Confirmed(NAK), "{bytes:?}");
        wait_for(&state, empty).await;
    }
    // A record that neither asks nor answers arrived whole. It is not logged as an answer.
    tracer.send(&message(&format!("JOB={job}\r\n"), false)).await;
    assert_eq!(tracer.hear().await, Heard::Confirmed(ACK));
    let bare = "sent a message that asks for nothing; nothing was stored";
    wait_for(&state, bare).await;
    let shown = lab.get("/lab/devices").await.assert_status(200).text("main");
    for words in [empty, bare] {
        assert!(shown.contains(&format!("Look: {words}")), "{words}: {shown}");
    }
    assert!(!said(&state).iter().any(|said| said.starts_with("answered")), "{:?}", said(&state));
    assert_eq!((lab.count_rows("shape").await, lab.count("job_event", job).await), (0, events));
    // And the line is still good.
    assert_eq!(value(&tracer.ask(&trace(&job.to_string())).await, "STATUS"), "0");
    assert_eq!(lab.count_rows("shape").await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_that_drops_half_way_leaves_nothing() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (address, _door) = door(&host).await;
    let whole = message(&trace(&job.to_string()), true);
    for length in [1, 40, whole.len() / 2, whole.len() - 1] {
        let mut tracer = Peer::at(address).await;
        tracer.send(&whole[..length]).await;
        drop(tracer);
        let bytes = if length == 1 { "1 byte".to_owned() } else { format!("{length} bytes") };
        wait_for(&state, &format!("broke off a message after {bytes}; nothing of it was kept")).await;
    }
    assert_eq!((lab.count_rows("shape").await, lab.count_rows("attachment").await), (0, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_that_goes_silent_is_given_time_and_then_up() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (ours, theirs) = duplex(1 << 16);
    let line = DeviceLine { device: "tracer".to_owned(), timing: SHORT, ..DeviceLine::default() };
    tokio::spawn({
        let host = host.clone();
        async move { attend(ours, line, &host).await }
    });
    let mut tracer = Peer { stream: theirs, at_once: 100 };
    let whole = message(&trace(&job.to_string()), false);
    // Silent within a message: asked to send it again, which it does.
    tracer.send(&whole[..1000]).await;
    assert_eq!(tracer.hear().await, Heard::Confirmed(NAK));
    assert_eq!(lab.count_rows("shape").await, 0);
    tracer.send(&whole).await;
    assert_eq!(tracer.hear().await, Heard::Confirmed(ACK));
    // Silent after our answer: it comes three times.
    let answer = tracer.hear().await;
    assert!(matches!(&answer, Heard::Message(answer) if value(answer, "STATUS") == "0"), "{answer:?}");
    assert_eq!(
        (tracer.hear().await, tracer.hear().await),
        (Heard::Message(text(&answer)), Heard::Message(text(&answer)))
    );
    wait_for(&state, "never confirmed the answer").await;
    assert_eq!(lab.count_rows("shape").await, 1);
    // And the line is still good.
    assert_eq!(value(&tracer.ask("REQ=INI\r\n").await, "STATUS"), "0");
}

fn text(heard: &Heard) -> String {
    match heard {
        Heard::Message(text) => text.clone(),
        other => panic!("{other:?}"),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_on_which_nothing_is_said_is_closed() {
    let (_lab, host, state) = lab().await;
    let (ours, theirs) = duplex(1 << 16);
    let line =
        DeviceLine { device: "tracer".to_owned(), idle: Some(Duration::from_millis(100)), ..DeviceLine::default() };
    let end = tokio::spawn(async move { attend(ours, line, &host).await });
    let mut tracer = Peer { stream: theirs, at_once: 100 };
    assert_eq!(tracer.hear().await, Heard::Closed);
    end.await.unwrap();
    assert!(said(&state).last().unwrap().contains("the line was closed"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flood_closes_its_own_line_alone() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (address, _door) = door(&host).await;
    let mut good = Peer::at(address).await;
    for start in [&b"\x1cR="[..], b""] {
        let mut flood = Peer::at(address).await;
        flood.stream.write_all(start).await.unwrap();
        let mut sent = 0_usize;
        // The host reads until it has more than a message, then closes; what is written after that fails.
        while sent < 1 << 26 && flood.stream.write_all(&[b'9'; 1 << 16]).await.is_ok() {
            sent += 1 << 16;
        }
        assert!(sent < 1 << 26, "the line was closed");
        assert_eq!(flood.hear().await, Heard::Closed);
        wait_for(&state, "sent more than any message has").await;
    }
    let mut quick = Peer::at(address).await;
    let _ = quick.stream.write_all(&message("REQ=INI\r\n", false).repeat(200)).await;
    wait_for(&state, "more messages than anyone can ask for").await;
    assert_eq!(value(&good.ask(&trace(&job.to_string())).await, "STATUS"), "0");
    assert_eq!(lab.count_rows("shape").await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn only_so_many_devices_are_connected() {
    let (_lab, host, state) = lab().await;
    let (address, _door) = door(&host).await;
    let mut devices = Vec::new();
    for _ in 0..8 {
        let mut device = Peer::at(address).await;
        device.ask("REQ=INI\r\n").await;
        devices.push(device);
    }
    assert_eq!(Peer::at(address).await.hear().await, Heard::Closed);
    wait_for(&state, "was turned away").await;
    // One that leaves makes room.
    devices.pop();
    wait_for(&state, "is gone").await;
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert_eq!(value(&Peer::at(address).await.ask("REQ=INI\r\n").await, "STATUS"), "0");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_edger_gets_shape_and_layout_of_its_job() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let (address, _door) = door(&host).await;
    let mut edger = Peer::at(address).await;
    edger.ask("REQ=INI\r\nDEV=EDG\r\nTRCFMT=2;400;E;B\r\n").await;
    let answer = edger.ask(&format!("REQ=EDG\r\nJOB=\"{job}\"\r\n")).await;
    // Ada Quill's job: PD 31/33, height 20, polycarbonate, plastic rim; the ellipse 50 by 40, DBL 20.
    for (label, expected) in [
        ("ANS", "EDG"),
        ("STATUS", "0"),
        ("DO", "B"),
        ("SPH", "-2.25;-2.50"),
        ("CYL", "-1.25;-0.75"),
        ("AX", "95;80"),
        ("DBL", "20.00"),
        ("HBOX", "50.00;50.00"),
        ("VBOX", "40.00;40.00"),
        ("IPD", "31.00;33.00"),
        ("OCHT", "20.00;20.00"),
        ("LMATTYPE", "2;2"),
        ("ETYP", "1;1"),
        ("FTYP", "1"),
    ] {
        assert_eq!(value(&answer, label), expected, "{label}");
    }
    assert!(["4;4", "2;2", "4;2", "2;4"].contains(&value(&answer, "BEVP")), "{answer:?}");
    let bytes: Vec<u8> = answer.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
    let shape = parse(&bytes).unwrap();
    assert_eq!(shape.traces.right.radii().len(), 400);
    assert!(answer.contains("TRCFMT=2;400;E;R;F"), "{answer:?}");
    assert!(Message::read(bytes, &Default::default()).is_ok());
    assert!(said(&state).last().unwrap().ends_with("as the ticket would print it now"));
    // Once a layout was made, it is that one: here a ticket with the right pupil 5 in and 1 down, 35 - 5 and 20 - 1.
    let kept = lab.store.get_job(job).await.unwrap();
    let shape = lab.store.find_job_shape(&kept).await.unwrap().unwrap();
    let mut made = NewLayout::of_job(&kept, &shape, &state.lab(), &Supply::default()).unwrap();
    let right = made.record.eyes.right.as_mut().unwrap();
    (right.decentration_in, right.decentration_up) = ("5".parse().unwrap(), "-1".parse().unwrap());
    lab.store.insert_ticket("ticket-by-hand", job, Some(&made), "{}", NOW).await.unwrap();
    let after = edger.ask(&format!("REQ=BLK\r\nJOB={job}\r\nTRCFMT=1;0;E\r\n")).await;
    assert_eq!((value(&after, "IPD"), value(&after, "OCHT")), ("30.00;33.00", "19.00;20.00"));
    assert!(said(&state).last().unwrap().ends_with("and got its shape and layout, as made"));
    // A new shape: that layout is of another one.
    keep_ellipse(&lab, job).await;
    let new_shape = edger.ask(&format!("REQ=BLK\r\nJOB={job}\r\nTRCFMT=1;0;E\r\n")).await;
    assert_eq!(value(&new_shape, "IPD"), "31.00;33.00");
    assert!(after.contains("TRCFMT=1;360;E;L;F"), "as on file");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_device_gets_the_records_that_it_wants_and_the_prism_as_it_expects_it() {
    let (lab, host, _) = lab().await;
    let job = lab.given_job().await;
    keep_ellipse(&lab, job).await;
    let as_said = |assume: &[&str]| {
        let assume: Vec<String> = assume.iter().map(|one| format!("{one}@edger")).collect();
        DeviceLine {
            device: "edger".to_owned(),
            assumptions: DeviceAssumptions::read(&assume).unwrap().of("edger"),
            ..DeviceLine::default()
        }
    };
    let hello = "REQ=INI\r\nDEV=EDG\r\nDEF=BLK\r\nD=IPD;OCHT\r\nENDDEF=BLK\r\n";
    let labels = |answer: &str| -> Vec<String> {
        let lines = answer.trim_matches(['\x1c', '\x1d']).split("\r\n");
        lines.filter_map(|line| Some(line.split_once('=')?.0.to_owned())).collect()
    };
    let mut edger = beside(&host, as_said(&["wanted_records=defined"]));
    edger.ask(hello).await;
    let answer = edger.ask(&format!("REQ=BLK\r\nJOB={job}\r\n")).await;
    assert_eq!(labels(&answer), ["ANS", "JOB", "STATUS", "IPD", "OCHT"]);
    let other = edger.ask(&format!("REQ=EDG\r\nJOB={job}\r\n")).await;
    assert!(other.contains("TRCFMT=") && other.contains("POLISH=0;0"), "nothing was said about this request");
    let mut usual = beside(&host, as_said(&["edge_finish=not_sent"]));
    usual.ask(hello).await;
    let answer = usual.ask(&format!("REQ=BLK\r\nJOB={job}\r\n")).await;
    assert!(answer.contains("TRCFMT=") && answer.contains("ETYP=1;1") && !answer.contains("POLISH"), "{answer}");
}

#[cfg(unix)]
#[tokio::test(flavor = "multi_thread")]
async fn the_same_at_a_serial_port() {
    let (lab, host, state) = lab().await;
    let job = lab.given_job().await;
    let (ours, theirs) = tokio_serial::SerialStream::pair().unwrap();
    let end = tokio::spawn(async move {
        let line = DeviceLine { device: "/dev/ttyS9".to_owned(), timing: SHORT, ..DeviceLine::default() };
        attend(ours, line, &host).await;
    });
    let mut tracer = Peer { stream: theirs, at_once: 7 };
    assert_eq!(value(&tracer.ask("REQ=INI\r\nMODEL=T2\r\n").await, "STATUS"), "0");
    let whole = message(&trace(&job.to_string()), true);
    tracer.send(&whole[..500]).await;
    assert_eq!(tracer.hear().await, Heard::Confirmed(NAK));
    assert_eq!(value(&tracer.ask_bytes(&whole).await, "STATUS"), "0");
    assert_eq!(lab.count_rows("shape").await, 1);
    let answer = tracer.ask(&format!("REQ=EDG\r\nJOB={job}\r\n")).await;
    assert_eq!((value(&answer, "STATUS"), value(&answer, "HBOX")), ("0", "50.00;50.00"));
    tracer.send(&whole[..500]).await;
    drop(tracer);
    end.await.unwrap();
    assert!(said(&state).iter().any(|said| said.contains("broke off a message after 500 bytes")), "{:?}", said(&state));
    assert!(lab.get("/lab/devices").await.text("main").contains("T2 at /dev/ttyS9"));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_address_that_others_reach_is_warned_of() {
    let (lab, host, _) = lab().await;
    assert!(lab.get("/lab/devices").await.text("main").contains("started without devices"));
    let _here = start(host.clone(), Some("127.0.0.1:0".parse().unwrap()), &[], &[]).await.unwrap();
    assert!(!lab.get("/lab/devices").await.text("main").contains("no password"));
    let _open = start(host.clone(), Some("0.0.0.0:0".parse().unwrap()), &[], &[]).await.unwrap();
    assert!(lab.get("/lab/devices").await.text("main").contains("the wire has no password"));
    assert!(start(host, None, &[], &["escape=maybe".to_owned()]).await.is_err());
}
