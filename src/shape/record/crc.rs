//! The 16-bit checksum of a message. Its bit order, start value and extent are not confirmed (from memory), so the
//! usual ones of its polynomial are tried, unless a device is known to use one.

use super::assumption::Checksum;

const FS: u8 = 0x1c;
const RS: u8 = 0x1e;

/// A way to compute the checksum: polynomial 0x1021.
struct Variant {
    start: u16,
    /// Low bit first.
    is_reflected: bool,
    /// The result is inverted.
    is_inverted: bool,
}

const fn variant(start: u16, is_reflected: bool, is_inverted: bool) -> Variant {
    Variant { start, is_reflected, is_inverted }
}

/// The usual variants. The first two have names in the table of assumptions.
const VARIANTS: [Variant; 7] = [
    variant(0xffff, false, false),
    variant(0, false, false),
    variant(0, true, false),
    variant(0xffff, true, false),
    variant(0xffff, true, true),
    variant(0xffff, false, true),
    variant(0x1d0f, false, false),
];

impl Variant {
    fn of(&self, bytes: impl Iterator<Item = u8>) -> u16 {
        let crc = bytes
            .fold(self.start, |crc, byte| if self.is_reflected { low_first(crc, byte) } else { high_first(crc, byte) });
        if self.is_inverted { !crc } else { crc }
    }
}

fn high_first(crc: u16, byte: u8) -> u16 {
    let crc = crc ^ (u16::from(byte) << 8);
    (0..8).fold(crc, |crc, _| if crc & 0x8000 == 0 { crc << 1 } else { (crc << 1) ^ 0x1021 })
}

fn low_first(crc: u16, byte: u8) -> u16 {
    let crc = crc ^ u16::from(byte);
    (0..8).fold(crc, |crc, _| if crc & 1 == 0 { crc >> 1 } else { (crc >> 1) ^ 0x8408 })
}

/// The checksum that is written after the records of a message: start value FFFF, high bit first, unless the device is
/// known to start with 0.
pub fn checksum(records: &[u8], rule: Checksum) -> u16 {
    let variant = if rule == Checksum::StartZeros { &VARIANTS[1] } else { &VARIANTS[0] };
    variant.of(records.iter().copied())
}

/// Whether a message has the checksum that its `CRC` record states. `before` are the bytes of the file before that
/// record.
pub(in crate::shape) fn agrees(before: &[u8], stated: u16, rule: Checksum) -> bool {
    let from = before.iter().rposition(|&byte| byte == FS).map_or(0, |at| at + 1);
    let to = before.iter().rposition(|&byte| byte == RS).filter(|&at| at >= from).unwrap_or(before.len());
    let extents = [&before[from..to], &before[from..], &before[from.saturating_sub(1)..to]];
    let variants = match rule {
        Checksum::Unchecked => return true,
        Checksum::StartOnes => &VARIANTS[..1],
        Checksum::StartZeros => &VARIANTS[1..2],
        Checksum::Any => &VARIANTS[..],
    };
    // A file may have lost its line endings after the checksum was computed.
    variants.iter().any(|variant| {
        extents.iter().any(|extent| {
            let sent = variant.of(extent.iter().copied());
            let restored = variant.of(with_line_ends(extent).into_iter());
            [sent, sent.swap_bytes(), restored].contains(&stated)
        })
    })
}

/// The bytes with CR LF for every line end.
fn with_line_ends(bytes: &[u8]) -> Vec<u8> {
    let mut restored = Vec::with_capacity(bytes.len() + bytes.len() / 16);
    for (at, &byte) in bytes.iter().enumerate() {
        match byte {
            b'\n' if at > 0 && bytes[at - 1] == b'\r' => {}
            b'\r' | b'\n' => restored.extend(b"\r\n"),
            _ => restored.push(byte),
        }
    }
    restored
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_variant_has_its_published_check_value() {
        // The checksum of the nine bytes "123456789", as catalogues of 16-bit checksums list it (from memory).
        let published = [0x29b1, 0x31c3, 0x2189, 0x6f91, 0x906e, 0xd64e, 0xe5cc];
        for (variant, want) in VARIANTS.iter().zip(published) {
            assert_eq!(variant.of(b"123456789".iter().copied()), want, "start {:x}", variant.start);
        }
        assert_eq!(checksum(b"123456789", Checksum::Any), 0x29b1);
    }

    #[test]
    fn the_extent_is_from_start_to_separator() {
        let before = b"noise\x1c123456789\x1e";
        assert!(agrees(before, 0x29b1, Checksum::Any));
        assert!(agrees(before, 0x29b1, Checksum::StartOnes));
        assert!(!agrees(before, 0x31c3, Checksum::StartOnes) && agrees(before, 0x31c3, Checksum::StartZeros));
        assert!(!agrees(before, 0x29b2, Checksum::Any) && agrees(before, 0x29b2, Checksum::Unchecked));
        let lost = checksum(b"A=1\r\nB=2\r\n", Checksum::Any);
        assert!(agrees(b"\x1cA=1\nB=2\n\x1e", lost, Checksum::Any), "line ends changed on the way");
    }
}
