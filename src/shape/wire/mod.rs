//! The session of the interchange standard on the wire, as the host sees it. A device speaks first: it sends a message of
//! records, is told ACK or NAK, gets the answer as a message of its own, and says ACK or NAK to that.
//!
//! Bytes and moments in, bytes and outcomes out: nothing here reads a clock or a line. The bytes and times are those of
//! ISO 16284 and the Data Communication Standard, from memory; what may differ from device to device stands in
//! [`super::record::assumption`].
//!
//! * [`frame`] – takes messages and single control bytes out of a stream. [`message`] – what a message says.
//! * [`answer`] – what the host says. [`session`] – the turns, time-outs and repeats of one line.

pub mod answer;
pub mod frame;
pub mod message;
pub mod session;

pub use answer::{Answer, AnswerStatus};
pub use frame::Framer;
pub use message::{Message, NotTaken, TraceWish};
pub use session::{Closing, LineEvent, LineOutcome, Session, Timing};
