//! What was said between the devices of the lab and the book: the last conversations in words, the last hour in bytes. In
//! memory alone, and never more than a little.

use std::collections::VecDeque;
use std::sync::{Arc, PoisonError, RwLock};

use time::{Duration, OffsetDateTime};

/// The most sentences kept.
const MOST_SAID: usize = 400;
/// The most bytes kept as they were.
const MOST_RAW: usize = 256 * 1024;
/// The most of one piece that is kept: the records stand first, and radii say nothing to a reader.
const MOST_OF_A_PIECE: usize = 4096;
/// The most pieces kept.
const MOST_PIECES: usize = 2000;
/// How long bytes are kept.
const RAW_KEPT: Duration = Duration::HOUR;

/// What is known of the devices, shared by every line and the page.
#[derive(Debug, Clone, Default)]
pub struct Devices {
    log: Arc<RwLock<Log>>,
}

#[derive(Debug, Default)]
struct Log {
    lines: Vec<LineOpen>,
    said: VecDeque<Said>,
    raw: VecDeque<Raw>,
    raw_bytes: usize,
}

/// A place where devices are listened to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LineOpen {
    /// What devices connect to: `127.0.0.1:4129`, `/dev/ttyUSB0`.
    pub place: String,
    /// What is wrong with it, or what to beware of.
    pub caution: Option<String>,
}

/// One thing that was said or happened, as a sentence about the device without its full stop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    pub at: OffsetDateTime,
    /// The device: its line, and its name once it gave one.
    pub device: String,
    pub words: String,
    /// The job it is about.
    pub job: Option<i64>,
    /// Whether somebody should look at it.
    pub is_trouble: bool,
    /// How often in a row.
    pub times: usize,
}

/// Bytes as they were.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Raw {
    pub at: OffsetDateTime,
    pub device: String,
    /// Whether they are ours.
    pub is_ours: bool,
    bytes: Vec<u8>,
    left_out: usize,
}

impl Raw {
    /// Text as it is, every other byte by its name or number.
    pub fn shown(&self) -> String {
        let mut shown = String::with_capacity(self.bytes.len());
        for byte in &self.bytes {
            match byte {
                b' '..=b'~' => shown.push(char::from(*byte)),
                b'\n' => shown.push('\n'),
                b'\r' => {}
                _ => shown.push_str(&name_of(*byte)),
            }
        }
        if self.left_out > 0 {
            shown.push_str(&format!("\n… and {} bytes", self.left_out));
        }
        shown
    }
}

fn name_of(byte: u8) -> String {
    let name = match byte {
        0x06 => "ACK",
        0x11 => "XON",
        0x13 => "XOFF",
        0x15 => "NAK",
        0x1b => "ESC",
        0x1c => "FS",
        0x1d => "GS",
        0x1e => "RS",
        _ => return format!("‹{byte:02X}›"),
    };
    format!("‹{name}›")
}

impl Devices {
    /// A place is listened to, or no longer, or something is the matter with it.
    pub fn set_line(&self, line: LineOpen) {
        self.change(|log| match log.lines.iter_mut().find(|known| known.place == line.place) {
            Some(known) => *known = line,
            None => log.lines.push(line),
        });
    }

    /// Keeps a sentence. The same one again in a row is counted, so that a broken device pushes nothing out.
    pub fn say(&self, said: Said) {
        self.change(|log| {
            let is_same = |last: &Said| (&last.device, &last.words) == (&said.device, &said.words);
            match log.said.front_mut() {
                Some(last) if is_same(last) => {
                    last.at = said.at;
                    last.times += 1;
                }
                _ => log.said.push_front(said),
            }
            log.said.truncate(MOST_SAID);
        });
    }

    /// Keeps bytes for an hour.
    pub fn keep_raw(&self, at: OffsetDateTime, device: &str, is_ours: bool, bytes: &[u8]) {
        let kept = &bytes[..bytes.len().min(MOST_OF_A_PIECE)];
        let (bytes, left_out) = (kept.to_vec(), bytes.len() - kept.len());
        self.change(|log| {
            log.raw_bytes += bytes.len();
            log.raw.push_front(Raw { at, device: device.to_owned(), is_ours, bytes, left_out });
            log.forget(at - RAW_KEPT);
        });
    }

    /// The places that are listened to.
    pub fn lines(&self) -> Vec<LineOpen> {
        self.read(|log| log.lines.clone())
    }

    /// What was said, the newest first.
    pub fn said(&self) -> Vec<Said> {
        self.read(|log| log.said.iter().cloned().collect())
    }

    /// The bytes of the last hour, the newest first.
    pub fn raw(&self, now: OffsetDateTime) -> Vec<Raw> {
        self.read(|log| log.raw.iter().filter(|raw| raw.at >= now - RAW_KEPT).cloned().collect())
    }

    fn change(&self, change: impl FnOnce(&mut Log)) {
        change(&mut self.log.write().unwrap_or_else(PoisonError::into_inner));
    }

    fn read<T>(&self, read: impl FnOnce(&Log) -> T) -> T {
        read(&self.log.read().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Log {
    fn forget(&mut self, before: OffsetDateTime) {
        let is_too_much = |log: &Log| {
            log.raw_bytes > MOST_RAW
                || log.raw.len() > MOST_PIECES
                || log.raw.back().is_some_and(|oldest| oldest.at < before)
        };
        while is_too_much(self) {
            let Some(oldest) = self.raw.pop_back() else { return };
            self.raw_bytes -= oldest.bytes.len();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    const NOON: OffsetDateTime = datetime!(2026-11-25 12:00 UTC);

    #[test]
    fn the_same_again_is_counted() {
        let devices = Devices::default();
        let said = |words: &str| Said {
            at: NOON,
            device: "tracer".to_owned(),
            words: words.to_owned(),
            job: None,
            is_trouble: false,
            times: 1,
        };
        for words in ["came", "sent garbage", "sent garbage", "left"] {
            devices.say(said(words));
        }
        let told: Vec<(String, usize)> = devices.said().into_iter().map(|said| (said.words, said.times)).collect();
        assert_eq!(told, [("left".to_owned(), 1), ("sent garbage".to_owned(), 2), ("came".to_owned(), 1)]);
        for number in 0..1000 {
            devices.say(said(&number.to_string()));
        }
        assert_eq!(devices.said().len(), MOST_SAID);
    }

    #[test]
    fn bytes_are_kept_for_an_hour_and_never_more_than_a_little() {
        let devices = Devices::default();
        devices.keep_raw(NOON, "tracer", false, b"\x1cREQ=INI\r\n\x00\x1d");
        assert_eq!(devices.raw(NOON)[0].shown(), "‹FS›REQ=INI\n‹00›‹GS›");
        assert_eq!(devices.raw(NOON + Duration::minutes(61)), []);
        devices.keep_raw(NOON + Duration::minutes(61), "tracer", true, b"\x06");
        assert_eq!(devices.raw(NOON).len(), 1, "the older one is gone");
        for _ in 0..200 {
            devices.keep_raw(NOON + Duration::minutes(61), "tracer", false, &[b'9'; 1 << 16]);
        }
        let kept = devices.raw(NOON);
        assert_eq!(kept.len(), MOST_RAW / MOST_OF_A_PIECE);
        assert!(kept[0].shown().ends_with("… and 61440 bytes"));
    }
}
