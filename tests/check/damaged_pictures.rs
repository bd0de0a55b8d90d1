//! Pictures that another program wrote (`scripts/picture_corpus.py`), and the same ones damaged.

use rimbook::picture::{Ask, PictureRefused, Pixel, Reading, Scale, Subject, read, size_px};
use rimbook::shape::drawing::Placed;

use super::damage::{Chance, corpus, count, damaged};

/// How many damaged files are decoded in a usual run.
const MUTATIONS: u64 = 400;
/// Each so many of them is searched for a lens: that takes a hundred times as long.
const SEARCHED: usize = 100;
/// No scan has such a resolution, which is said after the file was decoded.
const DECODED_ONLY: Ask = Ask { scale: Scale::Dpi(1.0), subject: Subject::Lens };

/// How a picture of the corpus is to be read.
fn ask_of(name: &str) -> Ask {
    let subject = if name.starts_with("rim") { Subject::Rim } else { Subject::Lens };
    let scale = if name.starts_with("card") { Scale::Card } else { Scale::Dpi(100.0) };
    Ask { scale, subject }
}

#[test]
fn pictures_of_every_format_give_the_lens_they_were_made_of() {
    let corpus = corpus("pictures");
    assert!(corpus.len() >= 13);
    for (name, bytes) in &corpus {
        let reading = read(bytes, &ask_of(name)).unwrap_or_else(|why| panic!("{name}: {why}"));
        let [lens] = &reading.lenses[..] else { panic!("{name}: {} lenses", reading.lenses.len()) };
        let across = |value: fn(&rimbook::shape::outline::Point) -> f64| {
            let values = lens.points.iter().map(value);
            values.clone().fold(f64::MIN, f64::max) - values.fold(f64::MAX, f64::min)
        };
        let (wide, high) = (across(|point| point.x_mm), across(|point| point.y_mm));
        let is_turned = name.starts_with("turned");
        let (want_wide, want_high) = if is_turned { (34.0, 44.0) } else { (44.0, 34.0) };
        // A pixel of these is 0.254 mm.
        assert!((wide - want_wide).abs() < 0.09 && (high - want_high).abs() < 0.09, "{name}: {wide:.2} {high:.2}");
        let size = size_px(bytes).unwrap();
        assert_eq!(size, reading.size_px, "{name}");
        assert_eq!(size.0 < size.1, is_turned || name.starts_with("card"), "{name}");
    }
}

/// The sum of a part of a PNG (PNG, W3C, annex D; polynomial EDB88320).
fn png_sum(bytes: &[u8]) -> u32 {
    let bit = |sum: u32, _| if sum & 1 == 1 { sum >> 1 ^ 0xedb8_8320 } else { sum >> 1 };
    !bytes.iter().fold(!0, |sum: u32, byte| (0..8).fold(sum ^ u32::from(*byte), bit))
}

/// A PNG with the right sum behind each part: without it a decoder stops at the first damaged one.
fn summed(mut bytes: Vec<u8>) -> Vec<u8> {
    let mut at = 8;
    while let Some(length) = bytes.get(at..at + 4).and_then(|length| length.first_chunk()) {
        let end = (at + 8).saturating_add(u32::from_be_bytes(*length) as usize);
        let Some(part) = bytes.get(at + 4..end) else { break };
        let sum = png_sum(part).to_be_bytes();
        let Some(place) = bytes.get_mut(end..end + 4) else { break };
        place.copy_from_slice(&sum);
        at = end + 4;
    }
    bytes
}

/// What can be asked of any picture.
fn any_ask(chance: &mut Chance) -> Ask {
    let mut pixel = || Pixel::new(chance.below(400) as f64, chance.below(400) as f64);
    let (corners, from, to) = ([pixel(), pixel(), pixel(), pixel()], pixel(), pixel());
    let scale = match chance.below(10) {
        0 => Scale::OfTheFile,
        1 => Scale::Ruler { from, to, mm: chance.below(90) as f64 },
        2 => Scale::CardCorners(corners),
        3 => Scale::CardCorners(
            [(20, 177), (356, 177), (356, 390), (20, 390)].map(|(x, y)| Pixel::new(x.into(), y.into())),
        ),
        4 | 5 => Scale::Card,
        _ => Scale::Dpi([100.0, 120.0, 300.0][chance.below(3)]),
    };
    Ask { scale, subject: if chance.below(4) == 0 { Subject::Rim } else { Subject::Lens } }
}

/// A file of the same length with a few other bytes.
fn scratched(bytes: &[u8], chance: &mut Chance) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..=chance.below(3) {
        let at = chance.below(bytes.len());
        bytes[at] = chance.below(256) as u8;
    }
    bytes
}

fn check_reading(reading: &Reading) {
    assert!(matches!(reading.lenses.len(), 1 | 2));
    for lens in &reading.lenses {
        assert!(
            lens.points.len() >= 36 && lens.in_the_plane().iter().all(|p| p.x_mm.is_finite() && p.y_mm.is_finite())
        );
    }
    for note in &reading.notes {
        assert!(!note.to_string().contains("NaN"), "{note}");
    }
    // An outline that is not that of a lens is refused, not a fault.
    if let Ok(file) = reading.traces(Placed::default()) {
        assert!(file.traces.iter().all(|(_, trace)| !trace.radii().is_empty()));
    }
}

fn check_refusal(why: &PictureRefused) {
    let sentence = why.to_string();
    let is_sentence = !sentence.trim().is_empty() && !sentence.contains('\n') && sentence.chars().count() <= 401;
    assert!(is_sentence, "{sentence:?}");
}

#[test]
fn damaged_pictures() {
    const SPICE: [&[u8]; 14] = [
        b"IHDR\x00\x00\x75\x30\x00\x00\x75\x30\x08\x06\x00\x00\x00",
        b"IDAT",
        b"tRNS",
        b"PLTE",
        b"eXIf",
        b"\xff\xd8",
        b"\xff\xc2\x00\x11\x08\x75\x30\x75\x30\x03",
        b"\xff\xda",
        b"\xff\xc4",
        b"\xff\xff\xff\xff",
        b"\x7f\xff\xff\xff",
        b"\x00\x00\x00\x00",
        b"\x00\x01\x01\x00",
        b"BM",
    ];
    let corpus = corpus("pictures");
    let (count, mut chance) = (count(MUTATIONS), Chance(2027));
    let (mut decoded, mut searched, mut seen) = (0, 0, 0);
    for _ in 0..count {
        let (name, bytes) = &corpus[chance.below(corpus.len())];
        let mut bytes = match chance.below(2) {
            0 => damaged(bytes, &SPICE, &mut chance),
            _ => scratched(bytes, &mut chance),
        };
        if name.ends_with("png") && chance.below(4) > 0 {
            bytes = summed(bytes);
        }
        let ask = match (chance.below(SEARCHED), chance.below(2)) {
            (0, 0) => ask_of(name),
            (0, _) => any_ask(&mut chance),
            _ => DECODED_ONLY,
        };
        searched += u64::from(ask != DECODED_ONLY);
        match read(&bytes, &ask) {
            Ok(reading) => {
                check_reading(&reading);
                assert_eq!(size_px(&bytes).ok(), Some(reading.size_px), "{name}");
                seen += 1;
            }
            Err(why) => {
                decoded += u64::from(matches!(why, PictureRefused::Dpi(_)));
                check_refusal(&why);
            }
        }
    }
    println!("{count} files, {decoded} decoded; {searched} searched, {seen} lenses");
    assert!(decoded > count / 10 && decoded < count * 9 / 10, "{decoded} of {count} decoded");
    assert!(searched > 0 && seen <= searched, "{seen} of {searched} seen");
}
