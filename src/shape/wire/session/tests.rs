use proptest::prelude::*;

use super::*;
use crate::shape::record::MAX_BYTES;

const INI: &[u8] = b"\x1cREQ=INI\r\nDEV=TRC\r\n\x1d";
const ANSWER: &[u8] = b"\x1cANS=INI\r\nSTATUS=0\r\n\x1d";

fn session() -> Session {
    Session::new(Assumptions::default(), Timing::default())
}

fn at(seconds: u64) -> Duration {
    Duration::from_secs(seconds)
}

fn asked(bytes: &[u8]) -> LineOutcome {
    LineOutcome::Asked(Message::read(bytes.to_vec(), &Assumptions::default()).expect("a message"))
}

fn send(bytes: &[u8]) -> LineOutcome {
    LineOutcome::Send(bytes.to_vec())
}

/// Receives, and answers every message with the same words.
fn talk(session: &mut Session, bytes: &[u8]) -> Vec<LineOutcome> {
    let mut outcomes = session.receive(bytes, at(1));
    let mut is_asked = matches!(outcomes.last(), Some(LineOutcome::Asked(_)));
    while is_asked {
        let more = session.answer(Some(ANSWER.to_vec()), at(1));
        is_asked = matches!(more.last(), Some(LineOutcome::Asked(_)));
        outcomes.extend(more);
    }
    outcomes
}

#[test]
fn a_message_is_confirmed_answered_and_the_answer_confirmed() {
    let mut session = session();
    assert_eq!(session.receive(&INI[..9], at(0)), []);
    assert_eq!(session.receive(&INI[9..], at(1)), [send(&[ACK]), asked(INI)]);
    assert_eq!(session.deadline(), None, "the device waits for us");
    assert_eq!(session.answer(Some(ANSWER.to_vec()), at(1)), [send(ANSWER)]);
    assert_eq!(session.deadline(), Some(at(7)));
    assert_eq!(session.receive(&[ACK], at(2)), []);
    assert_eq!(session.deadline(), None);
    assert_eq!(session.pass(at(1000)), []);
}

#[test]
fn an_answer_is_sent_three_times() {
    for nak in [true, false] {
        let (mut session, event) = (session(), if nak { LineEvent::AskedAgain } else { LineEvent::Unconfirmed });
        let _ = session.receive(INI, at(0));
        let _ = session.answer(Some(ANSWER.to_vec()), at(0));
        let mut again = |now| if nak { session.receive(&[NAK], now) } else { session.pass(now) };
        assert_eq!(again(at(6)), [LineOutcome::Told(event), send(ANSWER)]);
        assert_eq!(again(at(12)), [LineOutcome::Told(event), send(ANSWER)]);
        assert_eq!(again(at(18)), [LineOutcome::Told(LineEvent::GivenUp)]);
        assert_eq!(again(at(24)), []);
        // The line is still good.
        assert_eq!(session.receive(INI, at(30)), [send(&[ACK]), asked(INI)]);
    }
}

#[test]
fn a_message_that_breaks_off_is_forgotten() {
    let mut session = session();
    let _ = session.receive(&INI[..9], at(0));
    assert_eq!(session.deadline(), Some(at(12)));
    assert_eq!(session.pass(at(11)), []);
    assert_eq!(session.pass(at(12)), [LineOutcome::Told(LineEvent::BrokeOff(9)), send(&[NAK])]);
    assert_eq!(session.receive(INI, at(13)), [send(&[ACK]), asked(INI)]);
    // And where the line is dropped.
    let mut dropped = self::session();
    let _ = dropped.receive(&INI[..9], at(0));
    assert_eq!(dropped.end(), [LineOutcome::Told(LineEvent::BrokeOff(9))]);
    assert_eq!(dropped.receive(INI, at(1)), []);
}

#[test]
fn garbage_is_told_and_damage_is_asked_for_again() {
    let mut session = session();
    assert_eq!(session.receive(b"\xff\x00garbage", at(0)), []);
    let heard = session.receive(INI, at(0));
    assert_eq!(heard, [LineOutcome::Told(LineEvent::Stray(9)), send(&[ACK]), asked(INI)]);
    let _ = session.answer(None, at(0));
    let wrong = b"\x1cREQ=INI\r\n\x1eCRC=1\r\n\x1d";
    for _ in 0..4 {
        assert_eq!(
            session.receive(wrong, at(0)),
            [LineOutcome::Told(LineEvent::NotTaken(NotTaken::Damaged)), send(&[NAK])]
        );
    }
    // One that is empty is refused too, and counts with them.
    for _ in 0..5 {
        assert_eq!(
            session.receive(b"\x1c\x1d", at(0)),
            [LineOutcome::Told(LineEvent::NotTaken(NotTaken::Empty)), send(&[NAK])]
        );
    }
    assert_eq!(session.receive(wrong, at(0)).last(), Some(&LineOutcome::Close(Closing::NotTaken)));
    assert_eq!(session.receive(INI, at(0)), []);
}

#[test]
fn a_flood_closes_the_line() {
    let mut flooded = session();
    let mut outcomes = flooded.receive(&[0x1c], at(0));
    for _ in 0..=MAX_BYTES / 4096 {
        outcomes.extend(flooded.receive(&[b'9'; 4096], at(0)));
    }
    assert_eq!(outcomes, [LineOutcome::Close(Closing::Flood)]);
    // While a message is answered, little waits.
    let mut waiting = session();
    let _ = waiting.receive(INI, at(0));
    let full = waiting.receive(&vec![b' '; MOST_WAITING + 1], at(0));
    assert_eq!(full, [LineOutcome::Close(Closing::Flood)]);
    // Many small messages are a flood too.
    let mut quick = session();
    let heard = talk(&mut quick, &INI.repeat(121));
    assert_eq!(heard.last(), Some(&LineOutcome::Close(Closing::TooFast)));
    let mut patient = session();
    for minute in 0..300 {
        let heard = patient.receive(INI, at(minute * 2));
        assert!(matches!(heard[..], [_, LineOutcome::Asked(_)]), "{minute}");
        let _ = patient.answer(Some(ANSWER.to_vec()), at(minute * 2));
    }
}

#[test]
fn waits_where_the_device_can_take_no_more() {
    let mut session = session();
    let _ = session.receive(INI, at(0));
    assert_eq!(session.answer(None, at(0)), []);
    // XOFF within and after a message; the message is whole.
    let heard = session.receive(b"\x1cREQ=INI\r\n\x13DEV=TRC\r\n\x1d", at(1));
    assert_eq!(heard, [asked(INI)]);
    assert_eq!(session.answer(Some(ANSWER.to_vec()), at(1)), []);
    assert_eq!(session.receive(&[0x11], at(2)), [send(&[&[ACK], ANSWER].concat())]);
    // A device that forgets XON gets its answer all the same.
    let _ = session.receive(&[0x13], at(3));
    let _ = session.receive(INI, at(3));
    let _ = session.answer(None, at(3));
    assert_eq!(session.deadline(), Some(at(15)));
    assert_eq!(session.pass(at(15)), [send(&[ACK])]);
}

#[test]
fn a_device_without_confirmations_gets_none() {
    let plain = Assumptions { acknowledgment: Acknowledgment::NotSent, ..Assumptions::default() };
    let mut session = Session::new(plain, Timing::default());
    assert_eq!(session.receive(INI, at(0)), [asked(INI)]);
    assert_eq!(session.answer(Some(ANSWER.to_vec()), at(0)), [send(ANSWER)]);
    assert_eq!((session.deadline(), session.pass(at(60))), (None, vec![]));
}

/// A stretch of what real and broken devices send.
fn stretch() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        3 => Just(INI.to_vec()),
        1 => Just(b"\x1cREQ=TRC\r\nJOB=1042\r\n\x1eCRC=1\r\n\x1d".to_vec()),
        1 => Just(INI[..12].to_vec()),
        1 => Just(b"\x1c\x1d".to_vec()),
        2 => Just(vec![ACK]),
        1 => Just(vec![NAK]),
        1 => Just(vec![0x13, 0x11]),
        1 => prop::collection::vec(any::<u8>(), 0..40),
    ]
}

proptest! {
    #[test]
    fn any_split_has_the_same_outcome(
        stretches in prop::collection::vec(stretch(), 1..12),
        cuts in prop::collection::vec(0_usize..600, 0..20),
    ) {
        let bytes = stretches.concat();
        let whole = talk(&mut session(), &bytes);
        let mut cuts: Vec<usize> = cuts.into_iter().map(|cut| cut.min(bytes.len())).chain([0, bytes.len()]).collect();
        cuts.sort_unstable();
        let mut pieces = session();
        let split: Vec<LineOutcome> = cuts.windows(2).flat_map(|cut| talk(&mut pieces, &bytes[cut[0]..cut[1]])).collect();
        prop_assert_eq!(split, whole);
    }
}
