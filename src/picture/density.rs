//! The resolution that a picture file states, and whether a camera took it. Only the few fields for that are read.

use super::jpeg::{SCAN, segments};

/// What a file says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct StatedDensity {
    /// Dots for each inch, across and down.
    pub dpi: Option<(f64, f64)>,
    /// It has an exposure or a focal length.
    pub is_photo: bool,
}

const PER_METER: f64 = 0.0254;
/// The most entries of a directory that are looked at.
const MOST_ENTRIES: usize = 200;

/// What the bytes of a PNG, JPEG, TIFF or BMP say.
pub(super) fn stated(bytes: &[u8]) -> StatedDensity {
    match bytes {
        [0x89, b'P', b'N', b'G', ..] => StatedDensity { dpi: png(bytes), is_photo: false },
        [0xff, 0xd8, ..] => jpeg(bytes),
        [b'B', b'M', ..] => StatedDensity { dpi: bmp(bytes), is_photo: false },
        _ => tiff(bytes),
    }
}

fn png(bytes: &[u8]) -> Option<(f64, f64)> {
    let mut rest = bytes.get(8..)?;
    loop {
        let length = u32::from_be_bytes(rest.get(..4)?.try_into().ok()?) as usize;
        match rest.get(4..8)? {
            b"pHYs" => {
                let value = |at: usize| Some(f64::from(u32::from_be_bytes(rest.get(at..at + 4)?.try_into().ok()?)));
                let is_per_meter = *rest.get(16)? == 1;
                return is_per_meter.then_some((value(8)? * PER_METER, value(12)? * PER_METER));
            }
            b"IDAT" => return None,
            _ => rest = rest.get(length.checked_add(12)?..)?,
        }
    }
}

fn bmp(bytes: &[u8]) -> Option<(f64, f64)> {
    let value = |at: usize| Some(f64::from(i32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?)));
    let (across, down) = (value(38)?, value(42)?);
    (across > 0.0 && down > 0.0).then_some((across * PER_METER, down * PER_METER))
}

/// The segments before the picture itself. EXIF is believed rather than JFIF, which many programs fill with 72.
fn jpeg(bytes: &[u8]) -> StatedDensity {
    let mut stated = StatedDensity::default();
    for segment in segments(bytes).take_while(|segment| segment.marker != SCAN) {
        let Some(body) = segment.body() else { break };
        match (segment.marker, body) {
            (0xe0, [b'J', b'F', b'I', b'F', 0, _, _, unit, x_high, x_low, y_high, y_low, ..]) => {
                let value = |high: &u8, low: &u8| f64::from(u16::from_be_bytes([*high, *low]));
                let (across, down) = (value(x_high, x_low), value(y_high, y_low));
                let per_inch = match unit {
                    1 => 1.0,
                    2 => 2.54,
                    _ => 0.0,
                };
                if per_inch * across > 0.0 && down > 0.0 {
                    stated.dpi = stated.dpi.or(Some((across * per_inch, down * per_inch)));
                }
            }
            (0xe1, [b'E', b'x', b'i', b'f', 0, 0, exif @ ..]) => {
                let of_camera = tiff(exif);
                stated.dpi = of_camera.dpi.or(stated.dpi);
                stated.is_photo |= of_camera.is_photo;
            }
            _ => {}
        }
    }
    stated
}

/// The fields of a TIFF file or of the EXIF data of a picture.
struct TagFields<'a> {
    bytes: &'a [u8],
    is_little: bool,
}

impl TagFields<'_> {
    fn short(&self, at: usize) -> Option<u16> {
        let bytes = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.is_little { u16::from_le_bytes(bytes) } else { u16::from_be_bytes(bytes) })
    }

    fn long(&self, at: usize) -> Option<u32> {
        let bytes = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.is_little { u32::from_le_bytes(bytes) } else { u32::from_be_bytes(bytes) })
    }

    /// Where the entry of a tag is, in the directory at a place.
    fn entry(&self, directory: usize, tag: u16) -> Option<usize> {
        let count = usize::from(self.short(directory)?).min(MOST_ENTRIES);
        (0..count).map(|i| directory + 2 + 12 * i).find(|at| self.short(*at) == Some(tag))
    }

    fn ratio(&self, entry: usize) -> Option<f64> {
        let at = self.long(entry + 8)? as usize;
        let (above, below) = (f64::from(self.long(at)?), f64::from(self.long(at.checked_add(4)?)?));
        (above > 0.0 && below > 0.0).then_some(above / below)
    }
}

fn tiff(bytes: &[u8]) -> StatedDensity {
    let is_little = match bytes.get(..4) {
        Some([b'I', b'I', 42, 0]) => true,
        Some([b'M', b'M', 0, 42]) => false,
        _ => return StatedDensity::default(),
    };
    let fields = TagFields { bytes, is_little };
    let Some(directory) = fields.long(4).map(|at| at as usize) else { return StatedDensity::default() };
    let of = |tag: u16| fields.ratio(fields.entry(directory, tag)?);
    let unit = fields.entry(directory, 296).and_then(|entry| fields.short(entry + 8)).unwrap_or(2);
    let per_inch = if unit == 3 { 2.54 } else { 1.0 };
    let dpi = of(282).zip(of(283)).filter(|_| unit != 1).map(|(across, down)| (across * per_inch, down * per_inch));
    let camera = fields.entry(directory, 34_665).and_then(|entry| fields.long(entry + 8)).map(|at| at as usize);
    // The time of exposure, the f-number, the focal length.
    let is_photo =
        camera.is_some_and(|camera| [33_434, 33_437, 37_386].iter().any(|tag| fields.entry(camera, *tag).is_some()));
    StatedDensity { dpi, is_photo }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Chunks, segments and tags as PNG (W3C), JFIF 1.02 and TIFF 6.0 lay them out.
    #[test]
    fn each_kind_states_its_resolution() {
        let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR".to_vec();
        png.extend([0; 17]);
        png.extend(b"\0\0\0\x09pHYs\0\0\x2e\x23\0\0\x2e\x23\x01\0\0\0\0");
        let (across, down) = stated(&png).dpi.unwrap();
        // 11,811 dots a meter are 300 an inch.
        assert!((across - 300.0).abs() < 0.01 && (down - 300.0).abs() < 0.01, "{across}");
        let jfif = b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01\x02\x01\x01\x2c\x01\x2c\0\0\xff\xda";
        assert_eq!(stated(jfif), StatedDensity { dpi: Some((300.0, 300.0)), is_photo: false });
        let per_cm = b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01\x02\x02\0\x76\0\x76\0\0\xff\xda";
        assert!((stated(per_cm).dpi.unwrap().0 - 299.72).abs() < 1e-9);
        for junk in
            [&b""[..], b"BM", b"\xff\xd8\xff\xe1\xff", b"II*\0\xff\xff\xff\xff", b"\x89PNG\r\n\x1a\n\xff\xff\xff\xff"]
        {
            assert_eq!(stated(junk), StatedDensity::default());
        }
    }

    #[test]
    fn a_photo_says_that_it_is_one() {
        // One directory: a resolution of 72 both ways and the place of the second, which has an exposure time.
        let mut tiff = b"II*\0\x08\0\0\0\x03\0".to_vec();
        let entry = |tag: u16, kind: u16, value: u32| {
            [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &1_u32.to_le_bytes(), &value.to_le_bytes()].concat()
        };
        tiff.extend([entry(282, 5, 50), entry(283, 5, 50), entry(34_665, 4, 58), vec![0; 4]].concat());
        tiff.extend([72_u32.to_le_bytes(), 1_u32.to_le_bytes()].concat());
        tiff.extend(b"\x01\0");
        tiff.extend(entry(33_434, 5, 50));
        assert_eq!(stated(&tiff), StatedDensity { dpi: Some((72.0, 72.0)), is_photo: true });
    }
}
