//! Inputs changed at random, the same in every run: for the tests that read what is damaged.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// The files of a folder of `tests/corpus`, with their names.
pub fn corpus(folder: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus").join(folder);
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    let name = |path: &PathBuf| path.file_name().unwrap().to_string_lossy().into_owned();
    paths.iter().map(|path| (name(path), std::fs::read(path).unwrap())).collect()
}

/// How many inputs a usual run tries; `RIMBOOK_MUTATIONS` says another number.
pub fn count(usual: u64) -> u64 {
    std::env::var("RIMBOOK_MUTATIONS").ok().and_then(|n| n.parse().ok()).unwrap_or(usual)
}

/// What some work gives, and how long it takes. What seems to take long on a busy machine is done once more, and the shorter
/// time counts.
pub fn timed<T>(work: impl Fn() -> T) -> (T, Duration) {
    let once = || {
        let start = Instant::now();
        (work(), start.elapsed())
    };
    let (given, took) = once();
    if took < Duration::from_millis(50) {
        return (given, took);
    }
    let again = once().1;
    (given, took.min(again))
}

/// A generator of the usual congruential kind (Knuth's constants), so that a run can be repeated.
pub struct Chance(pub u64);

impl Chance {
    pub fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % n.max(1)
    }

    /// One of some words.
    pub fn word<'a>(&mut self, words: &'a [&'a [u8]]) -> &'a [u8] {
        words[self.below(words.len())]
    }
}

/// An input with a few bytes changed, cut out, repeated, moved or put in from `spice`.
pub fn damaged(bytes: &[u8], spice: &[&[u8]], chance: &mut Chance) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..=chance.below(4) {
        let at = chance.below(bytes.len());
        let to = (at + chance.below(60)).min(bytes.len());
        match chance.below(6) {
            0 if at < bytes.len() => bytes[at] = chance.below(256) as u8,
            1 => drop(bytes.drain(at..to)),
            2 => bytes.truncate(at),
            3 => {
                let copy = bytes[at..to].to_vec();
                bytes.splice(at..at, copy);
            }
            4 => drop(bytes.splice(at..at, chance.word(spice).iter().copied())),
            _ => {
                let tail = bytes.split_off(at);
                bytes.splice(0..0, tail);
            }
        }
    }
    bytes
}

/// An input with another number in the place of one of its own, and the rest as it was.
pub fn renumbered(bytes: &[u8], chance: &mut Chance) -> Vec<u8> {
    const NUMBERS: [&[u8]; 12] = [
        b"0",
        b"1",
        b"-1",
        b"5",
        b"17.5",
        b"180",
        b"181",
        b"-30.25",
        b"99999",
        b"1e9",
        b"-0.0",
        b"99999999999999999999",
    ];
    let is_part = |byte: &u8| byte.is_ascii_digit() || b".-".contains(byte);
    let starts: Vec<usize> =
        (0..bytes.len()).filter(|&at| is_part(&bytes[at]) && (at == 0 || !is_part(&bytes[at - 1]))).collect();
    if starts.is_empty() {
        return bytes.to_vec();
    }
    let at = starts[chance.below(starts.len())];
    let end = bytes[at..].iter().position(|byte| !is_part(byte)).map_or(bytes.len(), |length| at + length);
    [&bytes[..at], chance.word(&NUMBERS), &bytes[end..]].concat()
}

/// An input made of nothing but words.
pub fn generated(spice: &[&[u8]], chance: &mut Chance) -> Vec<u8> {
    (0..1 + chance.below(12)).flat_map(|_| chance.word(spice).to_vec()).collect()
}
