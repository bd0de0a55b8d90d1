//! From the bytes of a picture to brightness, within limits of size and memory.

use std::borrow::Cow;
use std::io::Cursor;

use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};
use imagesize::ImageType;

use super::gray::Gray;
use super::jpeg::{SCAN, Segment, segments};
use super::refused::PictureRefused;
use super::{MAX_BYTES, density};

/// What decoding may take at most, bytes. With what the search for the edge needs it stays under 200 MiB.
const MOST_MEMORY: u64 = 170 << 20;
const LEAST_PX: u32 = 200;
const MOST_PX: u32 = 30_000;
/// The most pixels of a picture that is opened or shown: a short file can state any number.
const MOST_PIXELS: u64 = 120_000_000;

/// A decoded picture, upright.
pub(super) struct Decoded {
    pub gray: Gray,
    /// The darkest of the three colors of each pixel, if the picture has color: a yellow lens hardly shows in brightness.
    pub darkest: Option<Gray>,
    /// How much more red than blue each pixel is, if the picture has color and a card is looked for: a blue card on a wooden table may
    /// be as bright as it.
    pub warmth: Option<Gray>,
    pub stated: density::StatedDensity,
}

impl Decoded {
    /// Brightness, and where there is color what else a thing may stand out in.
    pub fn channels(&self) -> impl Iterator<Item = &Gray> {
        [Some(&self.gray), self.darkest.as_ref(), self.warmth.as_ref()].into_iter().flatten()
    }
}

/// The decoder of a picture whose size is within the limits, with the way it was held.
fn opened(bytes: &[u8]) -> Result<(impl ImageDecoder, Orientation), PictureRefused> {
    if bytes.len() > MAX_BYTES {
        return Err(PictureRefused::FileTooLarge(bytes.len()));
    }
    let format = super::format_of(bytes).ok_or(PictureRefused::NotAPicture)?;
    let bytes = if format == ImageFormat::Png { bare_png(bytes) } else { Cow::Borrowed(bytes) };
    let mut reader = ImageReader::new(Cursor::new(bytes));
    reader.set_format(format);
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|why| why_not_read(&why))?;
    let (width, height) = decoder.dimensions();
    if is_too_large(width, height) {
        return Err(PictureRefused::TooLarge { width, height });
    }
    if width.min(height) < LEAST_PX {
        return Err(PictureRefused::TooSmall { width, height });
    }
    let turned = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    Ok((decoder, turned))
}

/// The library's own words are for programmers.
fn why_not_read(why: &ImageError) -> PictureRefused {
    match why {
        ImageError::Unsupported(_) => PictureRefused::RareKind,
        _ => PictureRefused::Damaged,
    }
}

fn is_too_large(width: u32, height: u32) -> bool {
    width.max(height) > MOST_PX || u64::from(width) * u64::from(height) > MOST_PIXELS
}

/// Pixels across and down of a picture that states more than can be shown. Whatever else may be wrong with it is not judged.
pub(super) fn too_many_px(bytes: &[u8]) -> Option<(u32, u32)> {
    // No outline is read in a WebP picture, and of a PNG of billions of pixels the decoder does not say how many they are.
    if matches!(imagesize::image_type(bytes), Ok(ImageType::Webp | ImageType::Png)) {
        let size = imagesize::blob_size(bytes).ok()?;
        let (width, height) = (u32::try_from(size.width).ok()?, u32::try_from(size.height).ok()?);
        return is_too_large(width, height).then_some((width, height));
    }
    match opened(bytes) {
        Err(PictureRefused::TooLarge { width, height }) => Some((width, height)),
        _ => None,
    }
}

/// Pixels across and down, upright. Only the head of the file is read.
pub(super) fn size_px(bytes: &[u8]) -> Result<(usize, usize), PictureRefused> {
    let (decoder, turned) = opened(bytes)?;
    let (width, height) = decoder.dimensions();
    let (width, height) = (width as usize, height as usize);
    Ok(match turned {
        Orientation::Rotate90 | Orientation::Rotate270 | Orientation::Rotate90FlipH | Orientation::Rotate270FlipH => {
            (height, width)
        }
        _ => (width, height),
    })
}

/// Whether a JPEG has no end: the decoder fills what is missing with gray. Inside of the packed picture FF is never followed by D9
/// (ITU T.81, B.1.1).
fn is_cut_jpeg(bytes: &[u8]) -> bool {
    // What comes before the scan may hold a small picture with an end of its own.
    let scan = segments(bytes).find(|segment| segment.marker == SCAN);
    scan.is_some_and(|scan| !scan.rest.windows(2).any(|pair| pair == [0xff, 0xd9]))
}

/// Decodes a picture. Its warmth takes memory that a large scan needs, so it is there for a card only.
pub(super) fn decode(bytes: &[u8], has_card: bool) -> Result<Decoded, PictureRefused> {
    let (decoder, turned) = opened(bytes)?;
    let (width, height) = decoder.dimensions();
    let format = super::format_of(bytes).ok_or(PictureRefused::NotAPicture)?;
    if format == ImageFormat::Jpeg && is_cut_jpeg(bytes) {
        return Err(PictureRefused::Damaged);
    }
    if needed(bytes, format, &decoder, has_card) > MOST_MEMORY {
        return Err(PictureRefused::TooLarge { width, height });
    }
    let picture = DynamicImage::from_decoder(decoder).map_err(|why| match why {
        ImageError::Limits(_) => PictureRefused::TooLarge { width, height },
        why => why_not_read(&why),
    })?;
    let [gray, darkest, warmth] = channels(picture, has_card);
    let colored = |channel: Gray| (!channel.values.is_empty()).then(|| upright(channel, turned));
    Ok(Decoded {
        gray: upright(gray, turned),
        darkest: colored(darkest),
        warmth: colored(warmth),
        stated: density::stated(bytes),
    })
}

/// A PNG without what an outline does not need: its texts and its color profile are packed, and a short one can fill any memory.
/// The parts that make the picture begin with a capital letter (PNG, W3C); besides them those of transparency and of the camera
/// are kept.
fn bare_png(bytes: &[u8]) -> Cow<'_, [u8]> {
    let (head, mut rest) = bytes.split_at(bytes.len().min(8));
    let mut bare = head.to_vec();
    while let Some((length, kind)) = rest.first_chunk::<4>().zip(rest.get(4..8)) {
        let whole = (u32::from_be_bytes(*length) as usize).saturating_add(12).min(rest.len());
        let (part, after) = rest.split_at(whole);
        if kind[0].is_ascii_uppercase() || matches!(kind, b"tRNS" | b"eXIf") {
            bare.extend_from_slice(part);
        }
        rest = after;
    }
    bare.extend_from_slice(rest);
    Cow::Owned(bare)
}

/// The bytes that decoding takes at its worst: the file again, the picture, and what is made of it.
fn needed(bytes: &[u8], format: ImageFormat, decoder: &impl ImageDecoder, has_card: bool) -> u64 {
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    // A progressive JPEG is held as coefficients of two bytes until its end.
    let held = if format == ImageFormat::Jpeg && is_progressive(bytes) { 3 } else { 1 };
    let file = if matches!(format, ImageFormat::Jpeg | ImageFormat::Png) { 2 } else { 1 } * bytes.len() as u64;
    let channels = if has_card { 3 } else { 2 };
    file + decoder.total_bytes().saturating_mul(held) + channels * pixels
}

fn is_progressive(bytes: &[u8]) -> bool {
    let kind = |segment: Segment<'_>| match segment.marker {
        0xc2 | 0xc6 | 0xca | 0xce => Some(true),
        0xc0 | 0xc1 | SCAN => Some(false),
        _ => None,
    };
    segments(bytes).find_map(kind).unwrap_or(false)
}

/// Brightness, and where there is color the darkest color and, if it is wanted, the warmth. What is transparent is white.
fn channels(picture: DynamicImage, with_warmth: bool) -> [Gray; 3] {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let gray = |values: Vec<u8>| Gray { width, height, values };
    let over_white = |value: u8, alpha: u8| (u32::from(value) * u32::from(alpha) / 255 + 255 - u32::from(alpha)) as u8;
    match picture {
        DynamicImage::ImageLuma8(picture) => [gray(picture.into_raw()), gray(Vec::new()), gray(Vec::new())],
        DynamicImage::ImageRgb8(picture) => colors::<3>(&picture, width, height, with_warmth, |p| [p[0], p[1], p[2]]),
        DynamicImage::ImageRgba8(picture) => colors::<4>(&picture, width, height, with_warmth, |p| {
            [p[0], p[1], p[2]].map(|value| over_white(value, p[3]))
        }),
        DynamicImage::ImageLumaA8(picture) => {
            let bright = picture.pixels().map(|p| over_white(p.0[0], p.0[1])).collect();
            [gray(bright), gray(Vec::new()), gray(Vec::new())]
        }
        other => {
            let picture = other.into_rgb8();
            colors::<3>(&picture, width, height, with_warmth, |p| [p[0], p[1], p[2]])
        }
    }
}

fn colors<const N: usize>(
    picture: &[u8],
    width: usize,
    height: usize,
    with_warmth: bool,
    rgb: impl Fn(&[u8; N]) -> [u8; 3],
) -> [Gray; 3] {
    let (pixels, _) = picture.as_chunks::<N>();
    // The shares of Rec. 601, in 256ths.
    let bright = |p: &[u8; N]| {
        let [red, green, blue] = rgb(p).map(u32::from);
        ((77 * red + 150 * green + 29 * blue) >> 8) as u8
    };
    let spread = |p: &[u8; N]| {
        let color = rgb(p);
        color.iter().max().zip(color.iter().min()).map_or(0, |(most, least)| most - least)
    };
    let is_colored = pixels.iter().step_by(17).filter(|p| spread(p) > 24).count() * 17 * 100 > pixels.len();
    let darkest = |p: &[u8; N]| rgb(p).into_iter().fold(255, u8::min);
    let warmth = |p: &[u8; N]| {
        let [red, _, blue] = rgb(p).map(i16::from);
        (127 + (red - blue) / 2) as u8
    };
    let gray = |values: Vec<u8>| Gray { width, height, values };
    let colored = |is_wanted: bool, of: &dyn Fn(&[u8; N]) -> u8| {
        gray(if is_colored && is_wanted { pixels.iter().map(of).collect() } else { Vec::new() })
    };
    [gray(pixels.iter().map(bright).collect()), colored(true, &darkest), colored(with_warmth, &warmth)]
}

/// Turned as the camera says it was held, as a browser shows it.
fn upright(gray: Gray, turned: Orientation) -> Gray {
    let (width, height) = (gray.width, gray.height);
    let from = |x: usize, y: usize| match turned {
        Orientation::NoTransforms => (x, y),
        Orientation::FlipHorizontal => (width - 1 - x, y),
        Orientation::FlipVertical => (x, height - 1 - y),
        Orientation::Rotate180 => (width - 1 - x, height - 1 - y),
        Orientation::Rotate90 => (y, height - 1 - x),
        Orientation::Rotate270 => (width - 1 - y, x),
        Orientation::Rotate90FlipH => (y, x),
        Orientation::Rotate270FlipH => (width - 1 - y, height - 1 - x),
    };
    if turned == Orientation::NoTransforms {
        return gray;
    }
    let is_swapped = matches!(
        turned,
        Orientation::Rotate90 | Orientation::Rotate270 | Orientation::Rotate90FlipH | Orientation::Rotate270FlipH
    );
    let (wide, high) = if is_swapped { (height, width) } else { (width, height) };
    let values = (0..wide * high).map(|at| {
        let (x, y) = from(at % wide, at / wide);
        gray.values[y * width + x]
    });
    Gray { width: wide, height: high, values: values.collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_jpeg_without_its_end_is_noticed() {
        let head = [0xff, 0xd8, 0xff, 0xe1, 0, 6, 0xff, 0xd8, 0xff, 0xd9, 0xff, 0xda, 0, 2, 1, 2, 3, 0xff, 0x00, 4];
        assert!(is_cut_jpeg(&head));
        assert!(!is_cut_jpeg(&[&head[..], &[0xff, 0xd9]].concat()));
        assert!(!is_cut_jpeg(&[&head[..], &[0xff, 0xd9], b"more"].concat()));
        assert!(!is_cut_jpeg(b"\x89PNG\r\n\x1a\n"));
    }

    /// The heads of files that cwebp and webpmux 1.2.4 made of a gray picture of 12,000 by 12,000 pixels: one packed with loss,
    /// one without, one with a part for the camera. The first and the second state the size where the picture begins
    /// (RFC 6386 9.1; RFC 9649 3.4), the third for the whole file (RFC 9649 2.7).
    const LARGE: [&[u8]; 3] = [
        b"RIFF\xe8\xcb\x05\0WEBPVP8 \xdc\xcb\x05\0\xf0\x79\xb9\x9d\x01\x2a\xe0\x2e\xe0\x2e\x2f\xfd\xfe\xff\x7f\xb2",
        b"RIFF\x1e\0\0\0WEBPVP8L\x11\0\0\0\x2f\xdf\xee\xb7\x0b\x07\x50\xc0\x02\x16\xb0\xff\x81\x88\xe8\x7f\0\0",
        b"RIFF\x46\0\0\0WEBPVP8X\x0a\0\0\0\x08\0\0\0\xdf\x2e\0\xdf\x2e\0VP8L\x11\0\0\0\x2f\xdf\xee\xb7\x0b",
    ];

    #[test]
    fn a_picture_that_is_only_shown_states_its_size() {
        for bytes in LARGE {
            assert_eq!(too_many_px(bytes), Some((12_000, 12_000)), "{bytes:?}");
            // What is cut off or names no picture inside is not too large.
            for length in 0..24 {
                assert_eq!(too_many_px(&bytes[..length]), None, "{length}");
            }
        }
        let endless = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\xff\xff\xff\xff\xff\xff\xff\xff\x08\0\0\0\0";
        assert_eq!(too_many_px(endless), Some((u32::MAX, u32::MAX)));
        // A picture of 320 by 240 that cwebp made with loss, and one by hand at the limit: 12,000 by 10,000 pixels.
        let small = b"RIFF\xbc\0\0\0WEBPVP8 \xb0\0\0\0\x50\x13\0\x9d\x01\x2a\x40\x01\xf0\0\x3e\x91\x48\xa4";
        assert_eq!(too_many_px(small), None);
        let mut limit = LARGE[2].to_vec();
        limit[27..30].copy_from_slice(&[0x0f, 0x27, 0]);
        assert_eq!(too_many_px(&limit), None);
        limit[27..30].copy_from_slice(&[0x10, 0x27, 0]);
        assert_eq!(too_many_px(&limit), Some((12_000, 10_001)));
    }

    #[test]
    fn a_picture_is_bare_without_its_packed_texts() {
        let part = |kind: &[u8], body: &[u8]| [&(body.len() as u32).to_be_bytes()[..], kind, body, b"sum!"].concat();
        let head = b"\x89PNG\r\n\x1a\n".to_vec();
        let [size, profile, text, clear, data, end] = [
            (&b"IHDR"[..], &b"size"[..]),
            (b"iCCP", b"x"),
            (b"zTXt", b"yy"),
            (b"tRNS", b"t"),
            (b"IDAT", b""),
            (b"IEND", b""),
        ]
        .map(|(kind, body)| part(kind, body));
        let whole = [&head[..], &size, &profile, &text, &clear, &data, &end].concat();
        assert_eq!(*bare_png(&whole), [&head[..], &size, &clear, &data, &end].concat());
        // What is cut off stays cut off.
        for length in 0..whole.len() {
            assert!(bare_png(&whole[..length]).len() <= length);
        }
    }

    /// The image crate turns the same way.
    #[test]
    fn a_picture_is_turned_as_its_camera_says() {
        let values: Vec<u8> = (0..6).collect();
        for exif in 1..=8 {
            let turned = Orientation::from_exif(exif).unwrap();
            let mut theirs = DynamicImage::ImageLuma8(image::GrayImage::from_raw(3, 2, values.clone()).unwrap());
            theirs.apply_orientation(turned);
            let ours = upright(Gray { width: 3, height: 2, values: values.clone() }, turned);
            assert_eq!((ours.width, ours.height), (theirs.width() as usize, theirs.height() as usize), "{turned:?}");
            assert_eq!(ours.values, theirs.into_luma8().into_raw(), "{turned:?}");
        }
    }
}
