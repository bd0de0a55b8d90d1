//! One line: whose turn it is, what is repeated, and when it is given up.

use std::fmt;
use std::time::Duration;

use super::super::record::Assumptions;
use super::super::record::assumption::Acknowledgment;
use super::frame::{ACK, FramePiece, Framer, NAK};
use super::message::{Message, NotTaken};

/// Bytes that wait while a message is answered. A line is not read meanwhile, so more is a flood.
pub const MOST_WAITING: usize = 1 << 16;
/// Messages in a row that cannot be taken, after which a line is given up.
const MOST_NOT_TAKEN: u32 = 10;
/// Messages within [`RATE_TIME`] after which a line is given up: a person at a device asks for a few a minute.
const MOST_MESSAGES: u32 = 120;
/// The time over which they are counted.
const RATE_TIME: Duration = Duration::from_secs(60);

/// How long is waited. Data Communication Standard, not confirmed (from memory): 6 s for ACK, 12 s within a message, three
/// tries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timing {
    /// For ACK or NAK after a message of ours.
    pub confirmation: Duration,
    /// Between two bytes of a message.
    pub silence: Duration,
    /// How often a message is sent.
    pub tries: u32,
}

impl Default for Timing {
    fn default() -> Self {
        Self { confirmation: Duration::from_secs(6), silence: Duration::from_secs(12), tries: 3 }
    }
}

/// What comes of bytes and time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LineOutcome {
    /// To be sent.
    Send(Vec<u8>),
    /// A whole message to be answered with [`Session::answer`]. Nothing more is read before.
    Asked(Message),
    /// To be told to a person.
    Told(LineEvent),
    /// The line is to be closed.
    Close(Closing),
}

/// What happened on a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineEvent {
    /// Bytes that belong to no message.
    Stray(usize),
    /// A message began anew before it had ended.
    BeganAgain(usize),
    /// A message broke off.
    BrokeOff(usize),
    /// A message was damaged, or has no record.
    NotTaken(NotTaken),
    /// The device did not get our answer whole.
    AskedAgain,
    /// Nothing was said to our answer.
    Unconfirmed,
    /// Our answer was never confirmed.
    GivenUp,
}

impl fmt::Display for LineEvent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bytes = |count: usize| if count == 1 { "1 byte".to_owned() } else { format!("{count} bytes") };
        match self {
            LineEvent::Stray(count) => {
                write!(f, "sent {} that belong to no message; they were left out", bytes(*count))
            }
            LineEvent::BeganAgain(count) => {
                write!(f, "began a message again after {}; the first part was left out", bytes(*count))
            }
            LineEvent::BrokeOff(count) => {
                write!(f, "broke off a message after {}; nothing of it was kept", bytes(*count))
            }
            LineEvent::NotTaken(NotTaken::Damaged) => {
                write!(f, "sent a message whose checksum does not agree; it was asked to send it again")
            }
            LineEvent::NotTaken(NotTaken::Empty) => {
                write!(
                    f,
                    "sent a message without a record, which names nothing; it was refused, and nothing was stored"
                )
            }
            LineEvent::AskedAgain => write!(f, "did not get the answer whole; it was sent again"),
            LineEvent::Unconfirmed => write!(f, "did not confirm the answer in time; it was sent again"),
            LineEvent::GivenUp => write!(f, "never confirmed the answer; it was given up"),
        }
    }
}

/// Why a line is closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Closing {
    /// More bytes than any message has.
    Flood,
    /// More messages than a person can cause.
    TooFast,
    /// Nothing but messages that cannot be taken.
    NotTaken,
}

impl fmt::Display for Closing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Closing::Flood => "sent more than any message has; the line was closed",
            Closing::TooFast => "sent more messages than anyone can ask for; the line was closed",
            Closing::NotTaken => "sent nothing but damaged or empty messages; the line was closed",
        })
    }
}

/// Whose turn it is.
#[derive(Debug)]
enum LineTurn {
    /// The device may speak.
    Device,
    /// A message waits for its answer.
    Host,
    /// Our message waits for its confirmation.
    Confirmation { message: Vec<u8>, tries: u32, since: Duration },
    /// Closed.
    Over,
}

/// A line with one device. `now` is the time since the line was opened.
#[derive(Debug)]
pub struct Session {
    assumptions: Assumptions,
    timing: Timing,
    framer: Framer,
    turn: LineTurn,
    /// Bytes that came while a message was answered.
    waiting: Vec<u8>,
    /// When the last byte came.
    heard: Duration,
    /// Messages in a row that could not be taken.
    not_taken: u32,
    /// Messages since a moment.
    counted: (u32, Duration),
    /// The device can take no more since.
    held: Option<Duration>,
    /// What is sent once it can.
    to_send: Vec<u8>,
}

impl Session {
    /// A line that was just opened.
    pub fn new(assumptions: Assumptions, timing: Timing) -> Self {
        Self {
            assumptions,
            timing,
            framer: Framer::default(),
            turn: LineTurn::Device,
            waiting: Vec::new(),
            heard: Duration::ZERO,
            not_taken: 0,
            counted: (0, Duration::ZERO),
            held: None,
            to_send: Vec::new(),
        }
    }

    /// Takes bytes, however they are split.
    pub fn receive(&mut self, bytes: &[u8], now: Duration) -> Vec<LineOutcome> {
        let mut outcomes = Vec::new();
        if matches!(self.turn, LineTurn::Over) {
            return outcomes;
        }
        self.heard = now;
        self.waiting.extend_from_slice(bytes);
        self.go_on(now, &mut outcomes);
        if self.waiting.len() > MOST_WAITING {
            self.close(Closing::Flood, &mut outcomes);
        }
        outcomes
    }

    /// Sends the answer to the message that was handed out, and goes on with what came meanwhile. `None`: there is nothing
    /// to say.
    pub fn answer(&mut self, message: Option<Vec<u8>>, now: Duration) -> Vec<LineOutcome> {
        let mut outcomes = Vec::new();
        if !matches!(self.turn, LineTurn::Host) {
            return outcomes;
        }
        self.turn = LineTurn::Device;
        if let Some(message) = message {
            self.send(message.clone(), &mut outcomes);
            if self.assumptions.acknowledgment == Acknowledgment::Sent {
                self.turn = LineTurn::Confirmation { message, tries: 1, since: now };
            }
        }
        self.go_on(now, &mut outcomes);
        outcomes
    }

    /// When [`Session::pass`] is due, if nothing comes before.
    pub fn deadline(&self) -> Option<Duration> {
        let confirmation = match self.turn {
            LineTurn::Confirmation { since, .. } => Some(since + self.timing.confirmation),
            LineTurn::Over => return None,
            _ => None,
        };
        let silence = self.framer.is_inside().then(|| self.heard + self.timing.silence);
        let held = self.held.map(|since| since + self.timing.silence);
        [confirmation, silence, held].into_iter().flatten().min()
    }

    /// Lets time pass.
    pub fn pass(&mut self, now: Duration) -> Vec<LineOutcome> {
        let mut outcomes = Vec::new();
        if self.held.is_some_and(|since| now >= since + self.timing.silence) {
            self.resume(&mut outcomes);
        }
        if self.framer.is_inside() && now >= self.heard + self.timing.silence {
            let count = self.framer.forget();
            outcomes.push(LineOutcome::Told(LineEvent::BrokeOff(count)));
            self.confirm(NAK, &mut outcomes);
        }
        if let LineTurn::Confirmation { since, .. } = self.turn
            && now >= since + self.timing.confirmation
        {
            self.send_again(LineEvent::Unconfirmed, now, &mut outcomes);
        }
        outcomes
    }

    /// The other side is gone. What was half received is said, and is nowhere any more.
    pub fn end(&mut self) -> Vec<LineOutcome> {
        self.turn = LineTurn::Over;
        self.waiting = Vec::new();
        let half = self.framer.forget();
        if half == 0 { Vec::new() } else { vec![LineOutcome::Told(LineEvent::BrokeOff(half))] }
    }

    fn go_on(&mut self, now: Duration, outcomes: &mut Vec<LineOutcome>) {
        let waiting = std::mem::take(&mut self.waiting);
        for (at, byte) in waiting.iter().enumerate() {
            if matches!(self.turn, LineTurn::Host | LineTurn::Over) {
                self.waiting = waiting[at..].to_vec();
                return;
            }
            if let Some(piece) = self.framer.push(*byte) {
                self.take(piece, now, outcomes);
            }
        }
    }

    fn take(&mut self, piece: FramePiece, now: Duration, outcomes: &mut Vec<LineOutcome>) {
        match piece {
            FramePiece::Begins { dropped, stray } => {
                let told = [(stray, LineEvent::Stray(stray)), (dropped, LineEvent::BeganAgain(dropped))];
                outcomes.extend(told.into_iter().filter(|one| one.0 > 0).map(|one| LineOutcome::Told(one.1)));
            }
            FramePiece::Message(bytes) => self.message(bytes, now, outcomes),
            FramePiece::Ack => {
                if matches!(self.turn, LineTurn::Confirmation { .. }) {
                    self.turn = LineTurn::Device;
                }
            }
            FramePiece::Nak => self.send_again(LineEvent::AskedAgain, now, outcomes),
            FramePiece::Hold => self.held = Some(now),
            FramePiece::Resume => self.resume(outcomes),
            FramePiece::Flood => self.close(Closing::Flood, outcomes),
        }
    }

    fn message(&mut self, bytes: Vec<u8>, now: Duration, outcomes: &mut Vec<LineOutcome>) {
        if now >= self.counted.1 + RATE_TIME {
            self.counted = (0, now);
        }
        self.counted.0 += 1;
        if self.counted.0 > MOST_MESSAGES {
            return self.close(Closing::TooFast, outcomes);
        }
        let message = match Message::read(bytes, &self.assumptions) {
            Ok(message) => message,
            Err(why) => {
                self.not_taken += 1;
                outcomes.push(LineOutcome::Told(LineEvent::NotTaken(why)));
                // An answer names what was asked for, and an empty message asks for nothing: NAK is all that can be said.
                self.confirm(NAK, outcomes);
                if self.not_taken >= MOST_NOT_TAKEN {
                    self.close(Closing::NotTaken, outcomes);
                }
                return;
            }
        };
        self.not_taken = 0;
        self.confirm(ACK, outcomes);
        // A device that speaks again has our answer, or asks for it again.
        self.turn = LineTurn::Host;
        outcomes.push(LineOutcome::Asked(message));
    }

    fn send_again(&mut self, why: LineEvent, now: Duration, outcomes: &mut Vec<LineOutcome>) {
        let LineTurn::Confirmation { message, tries, .. } = &self.turn else { return };
        if *tries >= self.timing.tries {
            self.turn = LineTurn::Device;
            outcomes.push(LineOutcome::Told(LineEvent::GivenUp));
            return;
        }
        let (message, tries) = (message.clone(), tries + 1);
        outcomes.push(LineOutcome::Told(why));
        self.send(message.clone(), outcomes);
        self.turn = LineTurn::Confirmation { message, tries, since: now };
    }

    fn confirm(&mut self, byte: u8, outcomes: &mut Vec<LineOutcome>) {
        if self.assumptions.acknowledgment == Acknowledgment::Sent {
            self.send(vec![byte], outcomes);
        }
    }

    /// Sends, or keeps for when the device can take it. Our own messages are few and bounded.
    fn send(&mut self, bytes: Vec<u8>, outcomes: &mut Vec<LineOutcome>) {
        if self.held.is_none() {
            outcomes.push(LineOutcome::Send(bytes));
        } else if self.to_send.len() < MOST_WAITING {
            self.to_send.extend(bytes);
        }
    }

    fn resume(&mut self, outcomes: &mut Vec<LineOutcome>) {
        self.held = None;
        if !self.to_send.is_empty() {
            outcomes.push(LineOutcome::Send(std::mem::take(&mut self.to_send)));
        }
    }

    fn close(&mut self, why: Closing, outcomes: &mut Vec<LineOutcome>) {
        self.turn = LineTurn::Over;
        self.waiting = Vec::new();
        self.framer.forget();
        outcomes.push(LineOutcome::Close(why));
    }
}

#[cfg(test)]
mod tests;
