//! Takes messages and control bytes out of a stream, wherever it is split.

use super::super::record::MAX_BYTES;

/// Starts a message. This and the others: code set of ISO 646, their use as in the Data Communication Standard (from
/// memory).
pub const FS: u8 = 0x1c;
/// Ends a message.
pub const GS: u8 = 0x1d;
/// Stands before the checksum of a message.
pub const RS: u8 = 0x1e;
/// The message arrived.
pub const ACK: u8 = 0x06;
/// The message did not arrive whole: send it again.
pub const NAK: u8 = 0x15;
/// DC1: go on sending.
pub const XON: u8 = 0x11;
/// DC3: stop sending for now.
pub const XOFF: u8 = 0x13;

/// The messages in bytes that were kept one after the other.
pub fn messages(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    bytes.split_inclusive(|byte| *byte == GS)
}

/// What a byte completes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FramePiece {
    /// A message begins. What was half received before it is dropped: so many bytes.
    Begins {
        /// Bytes of a message that had begun.
        dropped: usize,
        /// Bytes that belonged to nothing.
        stray: usize,
    },
    /// A whole message, with FS and GS.
    Message(Vec<u8>),
    /// The other side has the last message.
    Ack,
    /// It does not.
    Nak,
    /// It can take no more for now.
    Hold,
    /// It can again.
    Resume,
    /// More bytes than any message has.
    Flood,
}

/// Collects the message under way.
#[derive(Debug, Default)]
pub struct Framer {
    /// The message so far, from its FS on.
    inside: Option<Vec<u8>>,
    /// Bytes outside of messages that mean nothing, since the last message began.
    stray: usize,
}

impl Framer {
    /// Takes one byte. Binary data in a message are escaped, so the bytes of the frame have their own meaning anywhere.
    pub fn push(&mut self, byte: u8) -> Option<FramePiece> {
        match (byte, &mut self.inside) {
            (FS, inside) => {
                let dropped = inside.replace(vec![FS]).map_or(0, |half| half.len());
                Some(FramePiece::Begins { dropped, stray: std::mem::take(&mut self.stray) })
            }
            (XOFF, _) => Some(FramePiece::Hold),
            (XON, _) => Some(FramePiece::Resume),
            (GS, Some(_)) => self.inside.take().map(|mut message| {
                message.push(GS);
                FramePiece::Message(message)
            }),
            (_, Some(message)) => {
                message.push(byte);
                (message.len() > MAX_BYTES).then(|| self.flood())
            }
            (ACK, None) => Some(FramePiece::Ack),
            (NAK, None) => Some(FramePiece::Nak),
            (_, None) => {
                // Line ends between messages are nobody's fault.
                self.stray += usize::from(!byte.is_ascii_whitespace());
                (self.stray > MAX_BYTES).then(|| self.flood())
            }
        }
    }

    fn flood(&mut self) -> FramePiece {
        *self = Self::default();
        FramePiece::Flood
    }

    /// Whether a message is half here.
    pub fn is_inside(&self) -> bool {
        self.inside.is_some()
    }

    /// Forgets what is half here, and says how much it was.
    pub fn forget(&mut self) -> usize {
        self.inside.take().map_or(0, |half| half.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(bytes: &[u8]) -> Vec<FramePiece> {
        let mut framer = Framer::default();
        bytes.iter().filter_map(|byte| framer.push(*byte)).collect()
    }

    #[test]
    fn a_message_lies_between_its_two_bytes() {
        let begins = |dropped, stray| FramePiece::Begins { dropped, stray };
        let message = |bytes: &[u8]| FramePiece::Message(bytes.to_vec());
        assert_eq!(pieces(b"\x1cA=1\r\n\x1d"), [begins(0, 0), message(b"\x1cA=1\r\n\x1d")]);
        assert_eq!(pieces(b"xyz\x1cA\x1d\r\n"), [begins(0, 3), message(b"\x1cA\x1d")]);
        // A device that was switched off and on begins again.
        assert_eq!(pieces(b"\x1cA=1\x1cB\x1d"), [begins(0, 0), begins(4, 0), message(b"\x1cB\x1d")]);
        assert_eq!(pieces(b"\x06\x15\x1d"), [FramePiece::Ack, FramePiece::Nak]);
        // Flow control is not part of the message it interrupts; ACK and NAK within one are.
        assert_eq!(
            pieces(b"\x1cA\x13\x11\x06\x1d"),
            [begins(0, 0), FramePiece::Hold, FramePiece::Resume, message(b"\x1cA\x06\x1d")]
        );
    }

    #[test]
    fn messages_are_taken_apart_again() {
        let apart: Vec<&[u8]> = messages(b"\x1cA=1\x1d\x1cB=2\x1d").collect();
        assert_eq!(apart, [&b"\x1cA=1\x1d"[..], b"\x1cB=2\x1d"]);
        assert_eq!(messages(b"").count(), 0);
    }

    #[test]
    fn more_than_a_message_can_have_is_a_flood_and_is_forgotten() {
        let mut framer = Framer::default();
        framer.push(FS);
        let found: Vec<FramePiece> = (0..MAX_BYTES).filter_map(|_| framer.push(b'9')).collect();
        assert_eq!(found, [FramePiece::Flood]);
        assert!(!framer.is_inside());
        let found: Vec<FramePiece> = (0..=MAX_BYTES).filter_map(|_| framer.push(b'9')).collect();
        assert_eq!(found, [FramePiece::Flood], "outside of a message too");
    }
}
