//! The binary forms of a list of numbers: absolute (form 2), differences (form 3), packed differences (form 4).
//!
//! All from memory, so the order of bytes and the escaping are settled by the data where the device is not known: a
//! reading must use up every byte, give the stated count, and be a list that a rim can have.

use super::assumption::{Assumptions, ByteOrder, Escape, Nibbles};

const ESC: u8 = 0x1b;
/// The bytes that are escaped: ACK, LF, CR, DC1, DC3, NAK, ESC, FS, GS, RS.
const RESERVED: [u8; 10] = [0x06, b'\n', b'\r', 0x11, 0x13, 0x15, ESC, 0x1c, 0x1d, 0x1e];
/// In place of a difference: the next two bytes are the value itself.
const WHOLE_VALUE: i8 = i8::MIN;
/// In place of a half-byte difference: the next byte is the difference.
const WHOLE_BYTE: u8 = 8;

/// A form of trace data.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TraceForm {
    /// Decimal digits (form 1).
    #[default]
    Text,
    /// Two bytes a number (form 2).
    Binary,
    /// The first number, then one byte a difference (form 3).
    Differences,
    /// The first number, then half a byte a difference (form 4).
    Packed,
}

impl TraceForm {
    /// The number in the format record.
    pub fn number(self) -> i32 {
        self as i32 + 1
    }

    /// The form of a number in a format record.
    pub fn of_number(number: i32) -> Option<Self> {
        [TraceForm::Text, TraceForm::Binary, TraceForm::Differences, TraceForm::Packed]
            .into_iter()
            .find(|form| form.number() == number)
    }
}

/// What a list holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ListKind {
    Radii,
    Angles,
    Heights,
}

impl ListKind {
    /// Heights may be negative; angles need all sixteen bits.
    fn number(self, word: u16) -> i32 {
        if self == ListKind::Heights { i32::from(word as i16) } else { i32::from(word) }
    }

    /// Whether these can be the numbers of a rim.
    fn is_plausible(self, list: &[i32]) -> bool {
        match self {
            ListKind::Radii => {
                let ring = list.iter().zip(list.iter().cycle().skip(1));
                list.iter().all(|r| (500..=5000).contains(r))
                    && ring.take(list.len()).all(|(a, b)| (a - b).abs() <= 1500)
            }
            ListKind::Angles => list.windows(2).all(|pair| pair[0] < pair[1]) && list.iter().all(|a| *a < 36_000),
            ListKind::Heights => list.iter().all(|z| z.abs() <= 5000),
        }
    }
}

/// One way to read the bytes.
#[derive(Debug, Clone, Copy)]
struct ByteReading {
    low_first: bool,
    high_half_first: bool,
}

/// A list read from binary data.
#[derive(Debug, PartialEq)]
pub(super) struct CodedList {
    pub(super) numbers: Vec<i32>,
    /// Whether the low byte of a number came first.
    pub(super) low_first: bool,
    /// How many bytes it took, up to the end of its last line.
    pub(super) used: usize,
    /// How many lines.
    pub(super) lines: usize,
}

/// How many numbers could be read of a list that cannot be read whole; more than stated when bytes are left over.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct BrokenList {
    pub(super) found: usize,
}

/// Reads a list of `count` numbers. `bytes` start after the `=` of its record; a list may go on in further records with
/// the same label.
pub(super) fn read_list(
    bytes: &[u8],
    label: &str,
    form: TraceForm,
    kind: ListKind,
    count: usize,
    assumptions: &Assumptions,
) -> Result<CodedList, BrokenList> {
    let mut broken = None;
    if assumptions.escape != Escape::Plain {
        let lines = escaped_lines(bytes, label);
        if let Some(data) = &lines.data {
            match whole_list(data, form, kind, count, assumptions) {
                Ok((numbers, ByteReading { low_first, .. })) => {
                    return Ok(CodedList { numbers, low_first, used: lines.used, lines: lines.count });
                }
                Err(why) => broken = Some(why),
            }
        }
    }
    if assumptions.escape != Escape::Escaped {
        for reading in readings(assumptions) {
            let (numbers, used) = decode(bytes, form, kind, count, reading);
            let ends = bytes.get(used).is_none_or(|&byte| matches!(byte, b'\r' | b'\n' | 0x1c..=0x1e));
            if numbers.len() == count && ends && kind.is_plausible(&numbers) {
                return Ok(CodedList { numbers, low_first: reading.low_first, used, lines: 1 });
            }
        }
    }
    Err(broken.unwrap_or(BrokenList { found: 0 }))
}

/// The numbers of data that hold them and nothing else. When no reading is plausible, the first one that is complete
/// is handed on, so that its faults can be named.
fn whole_list(
    data: &[u8],
    form: TraceForm,
    kind: ListKind,
    count: usize,
    assumptions: &Assumptions,
) -> Result<(Vec<i32>, ByteReading), BrokenList> {
    let mut complete = None;
    let mut broken = None;
    for reading in readings(assumptions) {
        let (numbers, used) = decode(data, form, kind, count, reading);
        if numbers.len() == count && used == data.len() {
            if kind.is_plausible(&numbers) {
                return Ok((numbers, reading));
            }
            complete.get_or_insert((numbers, reading));
        } else {
            // Bytes that are left over are at least one number more.
            let more = if numbers.len() == count { (data.len() - used).div_ceil(2) } else { 0 };
            broken.get_or_insert(BrokenList { found: numbers.len() + more });
        }
    }
    complete.ok_or(broken.unwrap_or(BrokenList { found: 0 }))
}

fn readings(assumptions: &Assumptions) -> Vec<ByteReading> {
    let orders: &[bool] = match assumptions.byte_order {
        ByteOrder::Either => &[true, false],
        ByteOrder::LowFirst => &[true],
        ByteOrder::HighFirst => &[false],
    };
    let high_half_first = assumptions.nibbles == Nibbles::HighFirst;
    orders.iter().map(|&low_first| ByteReading { low_first, high_half_first }).collect()
}

/// The data of records that are escaped.
struct EscapedLines {
    /// `None` if an escape is not one.
    data: Option<Vec<u8>>,
    used: usize,
    count: usize,
}

fn escaped_lines(bytes: &[u8], label: &str) -> EscapedLines {
    let mut lines = EscapedLines { data: Some(Vec::new()), used: 0, count: 1 };
    let mut at = 0;
    loop {
        while let Some(&byte) = bytes.get(at) {
            at += 1;
            match (byte, bytes.get(at)) {
                (b'\r' | b'\n' | 0x1c..=0x1e, _) => {
                    at -= 1;
                    break;
                }
                (ESC, Some(next)) if *next >= 0x80 => {
                    at += 1;
                    if let Some(data) = &mut lines.data {
                        data.push(next & 0x7f);
                    }
                }
                (ESC, _) => lines.data = None,
                (byte, _) => {
                    if let Some(data) = &mut lines.data {
                        data.push(byte);
                    }
                }
            }
        }
        lines.used = at;
        let rest = bytes.get(at..).unwrap_or_default();
        let next = rest.strip_prefix(b"\r\n").or_else(|| rest.strip_prefix(b"\n")).or_else(|| rest.strip_prefix(b"\r"));
        match next.and_then(|next| next.strip_prefix(label.as_bytes())?.strip_prefix(b"=")) {
            Some(more) if lines.count < 10_000 => {
                at = bytes.len() - more.len();
                lines.count += 1;
            }
            _ => return lines,
        }
    }
}

/// At most `count` numbers and how many bytes they took.
fn decode(bytes: &[u8], form: TraceForm, kind: ListKind, count: usize, reading: ByteReading) -> (Vec<i32>, usize) {
    // A short file may state a large count.
    let mut numbers = Vec::with_capacity(count.min(bytes.len().saturating_mul(2)));
    let mut halves = Halves { bytes, at: 0, reading };
    while numbers.len() < count {
        let before = halves.at;
        let number = match (form, numbers.last()) {
            (TraceForm::Text, _) => None,
            (TraceForm::Binary, _) | (_, None) => halves.word().map(|word| kind.number(word)),
            (TraceForm::Differences, Some(last)) => by_difference(&mut halves, *last, kind),
            (TraceForm::Packed, Some(last)) => by_half(&mut halves, *last, kind),
        };
        match number {
            Some(number) => numbers.push(number),
            None => {
                halves.at = before;
                break;
            }
        }
    }
    (numbers, halves.at.div_ceil(2))
}

fn by_difference(halves: &mut Halves<'_>, last: i32, kind: ListKind) -> Option<i32> {
    match halves.byte()? as i8 {
        WHOLE_VALUE => halves.word().map(|word| kind.number(word)),
        difference => Some(last + i32::from(difference)),
    }
}

fn by_half(halves: &mut Halves<'_>, last: i32, kind: ListKind) -> Option<i32> {
    match halves.half()? {
        WHOLE_BYTE => by_difference(halves, last, kind),
        half @ 0..WHOLE_BYTE => Some(last + i32::from(half)),
        half => Some(last + i32::from(half) - 16),
    }
}

/// Bytes, taken in halves.
struct Halves<'a> {
    bytes: &'a [u8],
    /// In half bytes.
    at: usize,
    reading: ByteReading,
}

impl Halves<'_> {
    fn half(&mut self) -> Option<u8> {
        let byte = *self.bytes.get(self.at / 2)?;
        let is_high = self.at.is_multiple_of(2) == self.reading.high_half_first;
        self.at += 1;
        Some(if is_high { byte >> 4 } else { byte & 0x0f })
    }

    fn byte(&mut self) -> Option<u8> {
        if self.at.is_multiple_of(2) {
            let byte = *self.bytes.get(self.at / 2)?;
            self.at += 2;
            return Some(byte);
        }
        let (first, second) = (self.half()?, self.half()?);
        Some(if self.reading.high_half_first { first << 4 | second } else { second << 4 | first })
    }

    fn word(&mut self) -> Option<u16> {
        let pair = [self.byte()?, self.byte()?];
        Some(if self.reading.low_first { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) })
    }
}

/// Writes a list in a binary form, escaped where the device escapes.
pub(super) fn write_list(numbers: &[i32], form: TraceForm, assumptions: &Assumptions) -> Vec<u8> {
    let reading = ByteReading {
        low_first: assumptions.byte_order != ByteOrder::HighFirst,
        high_half_first: assumptions.nibbles != Nibbles::LowFirst,
    };
    let mut out = HalvesOut { halves: Vec::with_capacity(numbers.len() * 4), reading };
    let mut last = None;
    for &number in numbers {
        match (form, last) {
            (TraceForm::Differences, Some(last)) => out.difference(number, last),
            (TraceForm::Packed, Some(last)) => out.half_difference(number, last),
            _ => out.word(number),
        }
        last = Some(number);
    }
    let data = out.bytes();
    if assumptions.escape == Escape::Plain {
        return data;
    }
    let is_reserved = |byte: &u8| RESERVED.contains(byte);
    data.iter().flat_map(|b| if is_reserved(b) { vec![ESC, b | 0x80] } else { vec![*b] }).collect()
}

struct HalvesOut {
    /// In the order in which they are read.
    halves: Vec<u8>,
    reading: ByteReading,
}

impl HalvesOut {
    fn byte(&mut self, byte: u8) {
        let (high, low) = (byte >> 4, byte & 0x0f);
        self.halves.extend(if self.reading.high_half_first { [high, low] } else { [low, high] });
    }

    fn word(&mut self, number: i32) {
        let pair = (number as u16).to_le_bytes();
        let [first, second] = if self.reading.low_first { pair } else { [pair[1], pair[0]] };
        self.byte(first);
        self.byte(second);
    }

    fn difference(&mut self, number: i32, last: i32) {
        match i8::try_from(number - last) {
            Ok(difference) if difference != WHOLE_VALUE => self.byte(difference as u8),
            _ => {
                self.byte(WHOLE_VALUE as u8);
                self.word(number);
            }
        }
    }

    fn half_difference(&mut self, number: i32, last: i32) {
        match number - last {
            difference @ -7..=7 => self.halves.push((difference as u8) & 0x0f),
            _ => {
                self.halves.push(WHOLE_BYTE);
                self.difference(number, last);
            }
        }
    }

    /// Two halves a byte; the last one is filled up with nothing.
    fn bytes(self) -> Vec<u8> {
        let join = |pair: &[u8]| {
            let (first, second) = (pair[0], pair.get(1).copied().unwrap_or(0));
            if self.reading.high_half_first { first << 4 | second } else { second << 4 | first }
        };
        self.halves.chunks(2).map(join).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const FORMS: [TraceForm; 3] = [TraceForm::Binary, TraceForm::Differences, TraceForm::Packed];

    fn read(bytes: &[u8], form: TraceForm, kind: ListKind, count: usize) -> Result<Vec<i32>, BrokenList> {
        read_list(bytes, "R", form, kind, count, &Assumptions::default()).map(|list| list.numbers)
    }

    #[test]
    fn absolute_numbers_are_two_bytes_low_byte_first() {
        // 2500 = 0x09C4. Low byte first, and the escape of the sample in the standard: ESC 91 is DC1 (from memory).
        assert_eq!(read(b"\xc4\x09\xc4\x09\r\n", TraceForm::Binary, ListKind::Radii, 2), Ok(vec![2500, 2500]));
        assert_eq!(read(b"\x1b\x91\x09\xc4\x09\r\n", TraceForm::Binary, ListKind::Radii, 2), Ok(vec![0x911, 2500]));
        // High byte first, and line ends that are data, are seen by the numbers they give.
        assert_eq!(read(b"\x09\xc4\x09\xc5\n", TraceForm::Binary, ListKind::Radii, 2), Ok(vec![2500, 2501]));
        assert_eq!(read(b"\x0d\x09\x0a\x09\r\n", TraceForm::Binary, ListKind::Radii, 2), Ok(vec![0x90d, 0x90a]));
        assert_eq!(read(b"\xff\xff\x02\x00\n", TraceForm::Binary, ListKind::Heights, 2), Ok(vec![-1, 2]));
    }

    #[test]
    fn differences_and_halves_by_hand() {
        // 2500, then +1, -1, then 2700 as a whole number.
        assert_eq!(
            read(b"\xc4\x09\x01\xff\x80\x8c\x1b\x8a", TraceForm::Differences, ListKind::Radii, 4),
            Ok(vec![2500, 2501, 2500, 2700])
        );
        // 2500, then +1 and -1 in one byte, then +100 as a byte after the half 8: 8, 64, and one half to fill up.
        assert_eq!(
            read(b"\xc4\x09\x1f\x86\x40", TraceForm::Packed, ListKind::Radii, 4),
            Ok(vec![2500, 2501, 2500, 2600])
        );
    }

    #[test]
    fn a_list_that_is_cut_or_too_long_is_broken() {
        for form in FORMS {
            let bytes = write_list(&[2400; 20], form, &Assumptions::default());
            let cut = read(&bytes[..bytes.len() - 3], form, ListKind::Radii, 20).unwrap_err();
            assert!(cut.found < 20, "{form:?} {cut:?}");
            let more = [&bytes[..], b"\x01\x02\x03\x04"].concat();
            assert!(read(&more, form, ListKind::Radii, 20).unwrap_err().found > 20, "{form:?}");
            assert!(read(&bytes, form, ListKind::Radii, 1 << 40).is_err(), "a huge count takes no memory");
        }
    }

    #[test]
    fn a_list_may_go_on_in_further_records() {
        let bytes = b"\xc4\x09\r\nR=\xc5\x09\r\nR=\xc6\x09\r\nZ=\x01";
        let list = read_list(bytes, "R", TraceForm::Binary, ListKind::Radii, 3, &Assumptions::default()).unwrap();
        assert_eq!((list.numbers, list.used, list.lines), (vec![2500, 2501, 2502], 14, 3));
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(
            radii in prop::collection::vec(1500..=2900_i32, 8..300), steps in prop::collection::vec(-9..=9_i32, 8..300),
            pick in 0..FORMS.len(), high in any::<bool>(), low_half in any::<bool>(), plain in any::<bool>(),
        ) {
            let mut device = Assumptions::default();
            if high { device.byte_order = ByteOrder::HighFirst; }
            if low_half { device.nibbles = Nibbles::LowFirst; }
            if plain { device.escape = Escape::Plain; }
            let smooth = steps.iter().scan(2500, |r, s| { *r += s; Some(*r) }).collect();
            for list in [radii, smooth] {
                let mut bytes = write_list(&list, FORMS[pick], &device);
                bytes.extend(b"\r\nJOB=1");
                let back = read_list(&bytes, "R", FORMS[pick], ListKind::Radii, list.len(), &device).unwrap();
                prop_assert_eq!(&back.numbers, &list);
                prop_assert_eq!(&bytes[back.used..], b"\r\nJOB=1");
            }
        }

        #[test]
        fn any_bytes_give_a_list_or_a_fault(bytes in prop::collection::vec(any::<u8>(), 0..200), count in 0..100_usize) {
            for form in FORMS {
                let _ = read_list(&bytes, "R", form, ListKind::Radii, count, &Assumptions::default());
            }
        }
    }
}
