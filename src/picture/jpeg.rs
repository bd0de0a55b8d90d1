//! The segments of a JPEG (ITU T.81, B.1).

/// A part of a JPEG that says its length.
pub(super) struct Segment<'a> {
    pub marker: u8,
    length: usize,
    /// From its marker to the end of the file.
    pub rest: &'a [u8],
}

impl<'a> Segment<'a> {
    /// What stands in it; `None` where the file ends before it does.
    pub fn body(&self) -> Option<&'a [u8]> {
        self.rest.get(4..2 + self.length)
    }
}

/// The marker of the segment that the packed picture follows.
pub(super) const SCAN: u8 = 0xda;

/// The segments from the first on. What follows that of [`SCAN`] is no segment.
pub(super) fn segments(bytes: &[u8]) -> impl Iterator<Item = Segment<'_>> {
    let mut rest = bytes.get(2..).unwrap_or_default();
    std::iter::from_fn(move || {
        let [0xff, marker, high, low, ..] = rest else { return None };
        let length = (usize::from(*high) << 8 | usize::from(*low)).max(2);
        let segment = Segment { marker: *marker, length, rest };
        rest = rest.get(2 + length..).unwrap_or_default();
        Some(segment)
    })
}
