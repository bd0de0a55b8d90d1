//! What devices send, damaged: a line tells what is wrong with it, is closed at most, and hands out whole messages alone.

use std::path::Path;
use std::time::Duration;

use rimbook::shape::record::assumption::Acknowledgment;
use rimbook::shape::record::{Assumptions, TraceForm, parse, parse_as, write_as};
use rimbook::shape::wire::answer::framed;
use rimbook::shape::wire::{LineEvent, LineOutcome, Session, Timing};

use super::damage::{Chance, count, damaged, renumbered, timed};

/// How many damaged lines are heard in a usual run.
const MUTATIONS: u64 = 2_000;
/// What is answered to everything.
const ANSWER: &[u8] = b"\x1cANS=TRC\r\nJOB=\"1042\"\r\nSTATUS=0\r\n\x1d";
const HELLO: &[u8] = b"\x1cREQ=INI\r\nDEV=TRC\r\nVEN=Fjordline\r\nTRCFMT=4;400;E;B\r\n\x1d";

const SPICE: [&[u8]; 16] = [
    b"\x1c",
    b"\x1d",
    b"\x1e",
    b"\x06",
    b"\x15",
    b"\x11",
    b"\x13",
    b"\x1b",
    b"\x1c\x1d",
    b"\r\n",
    b"REQ=",
    b"JOB=",
    b"CRC=",
    b"R=",
    b"DEF=EDG\r\nD=R;A\r\n",
    b"TRCFMT=2;400;E;R;F\r\nR=",
];

/// What a tracer, an edger and a device that introduces itself send, the shape in each form.
fn corpus() -> Vec<Vec<u8>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus/records/both_eyes.txt");
    let file = parse(&std::fs::read(path).unwrap()).unwrap();
    let sent = |form: TraceForm, has_checksum: bool| {
        let records = [b"REQ=TRC\r\n".to_vec(), write_as(&file, form, &Assumptions::default())].concat();
        [HELLO, &framed(&records, has_checksum, &Assumptions::default())].concat()
    };
    let forms = [TraceForm::Text, TraceForm::Binary, TraceForm::Differences, TraceForm::Packed];
    let mut corpus: Vec<Vec<u8>> = forms.iter().flat_map(|form| [sent(*form, true), sent(*form, false)]).collect();
    let asked = framed(b"REQ=EDG\r\nJOB=1042\r\nTRCFMT=1;1000;E;B\r\n", true, &Assumptions::default());
    corpus.extend([[HELLO, &asked, b"\x06", &asked, b"\x15\x06"].concat(), [HELLO, b"\x06"].concat().repeat(4)]);
    // One that is closed as it is.
    corpus.push([b"\x1c\x1d".repeat(12), b"\x1cREQ=INI\r\n\x1eCRC=1\r\n\x1d".repeat(2)].concat());
    corpus
}

/// Hears bytes in pieces, with pauses, and answers. Says how many messages were handed out and whether the line is closed.
fn hear(session: &mut Session, bytes: &[u8], assumptions: &Assumptions, chance: &mut Chance) -> (usize, bool) {
    let (mut now, mut rest, mut messages, mut is_closed) = (Duration::ZERO, bytes, 0, false);
    let mut outcomes = Vec::new();
    loop {
        for outcome in std::mem::take(&mut outcomes) {
            match outcome {
                LineOutcome::Asked(message) => {
                    messages += 1;
                    assert!(message.bytes.starts_with(b"\x1c") && message.bytes.ends_with(b"\x1d"));
                    let _ = (message.request(), message.device(), message.definitions(), message.wish());
                    assert!(message.job_number().is_none_or(|number| number >= 0));
                    if message.has_radii
                        && let Err(faults) = parse_as(&message.bytes, assumptions)
                    {
                        assert!(!faults.is_empty());
                    }
                    outcomes.extend(session.answer(Some(ANSWER.to_vec()), now));
                }
                LineOutcome::Told(event) => assert!(!event.to_string().contains('\n')),
                LineOutcome::Send(bytes) => assert!(bytes.len() < 1000),
                LineOutcome::Close(_) => is_closed = true,
            }
        }
        if !outcomes.is_empty() {
            continue;
        }
        if rest.is_empty() {
            return (messages, is_closed);
        }
        let (piece, more) = rest.split_at(1 + chance.below(rest.len().min(400)));
        rest = more;
        now += Duration::from_millis(chance.below(3_000) as u64);
        outcomes = session.pass(now);
        outcomes.extend(session.receive(piece, now));
    }
}

#[test]
fn damaged_lines_are_told_of_and_closed_at_most() {
    let (count, corpus) = (count(MUTATIONS), corpus());
    let mut chance = Chance(2028);
    let (mut messages, mut refused, mut closed, mut longest) = (0, 0, 0, Duration::ZERO);
    for number in 0..count {
        let whole = &corpus[chance.below(corpus.len())];
        let bytes = match chance.below(4) {
            0 => renumbered(whole, &mut chance),
            _ => damaged(whole, &SPICE, &mut chance),
        };
        let acknowledgment = [Acknowledgment::Sent, Acknowledgment::NotSent][chance.below(2)];
        let assumptions = Assumptions { acknowledgment, ..Assumptions::default() };
        let once = || {
            let mut session = Session::new(assumptions, Timing::default());
            let (handed_out, is_closed) = hear(&mut session, &bytes, &assumptions, &mut Chance(number));
            // After a long silence the line is good again, unless it was closed.
            let later = Duration::from_secs(100_000);
            let mut quiet = session.pass(later);
            let is_taken = |outcomes: &[LineOutcome]| outcomes.iter().any(|one| matches!(one, LineOutcome::Asked(_)));
            (0..3).for_each(|_| quiet.extend(session.pass(later + Duration::from_secs(60))));
            let good = session.receive(HELLO, later + Duration::from_secs(120));
            assert_eq!(is_taken(&good), !is_closed, "{quiet:?} {good:?}");
            let broken = quiet.iter().any(|one| matches!(one, LineOutcome::Told(LineEvent::BrokeOff(_))));
            (handed_out, is_closed, broken)
        };
        let ((handed_out, is_closed, broken), took) = timed(once);
        messages += handed_out;
        closed += u64::from(is_closed);
        refused += u64::from(handed_out < 2 || broken);
        longest = longest.max(took);
    }
    println!(
        "{count} damaged lines: {messages} messages, {refused} with one lost, {closed} closed, the slowest took {longest:?}"
    );
    assert!(refused > count / 10 && refused < count, "{refused} of {count} lost a message");
    assert!(closed > count / 100 && closed < refused, "{closed} of {count} closed");
}
