//! Drawings and lists of points as other programs write them (`tests/corpus/drawings`): one lens, or a pair of it, in each.

use std::f64::consts::TAU;
use std::path::Path;

use rimbook::intake::{ReadOptions, read_any};
use rimbook::optics::Eye;
use rimbook::shape::drawing::Unit;
use rimbook::shape::outline::Point;
use rimbook::shape::record::TraceFile;

use super::damage::{Chance, count, damaged};

/// How many damaged files are read in a usual run.
const MUTATIONS: u64 = 400;

fn corpus() -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus/drawings");
    let paths = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<_> = paths
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read(path).unwrap()))
        .collect();
    files.sort();
    files
}

fn read(bytes: &[u8]) -> Result<TraceFile, String> {
    // Only a drawing that states no unit is read in this one.
    read_any(bytes, &ReadOptions { unit: Some(Unit::Mm), ..ReadOptions::default() }).map_err(|why| why.to_string())
}

/// The lens that was drawn, right eye, about the middle of its box: a superellipse with three waves.
fn truth() -> Vec<Point> {
    let radius = |t: f64| {
        let around = (t.cos().abs() / 26.7).powf(2.6) + (t.sin().abs() / 17.9).powf(2.6);
        let waves = 0.018 * (t - 2.3).cos() + 0.022 * (3.0 * t - 0.6).cos() + 0.008 * (5.0 * t + 1.0).sin();
        around.powf(-1.0 / 2.6) * (1.0 + waves)
    };
    let angles = (0..7200).map(|i| f64::from(i) * TAU / 7200.0);
    let points: Vec<Point> = angles.map(|t| Point::new(radius(t) * t.cos(), radius(t) * t.sin())).collect();
    let middle_of = |of: fn(&Point) -> f64| {
        let (low, high) =
            points.iter().map(of).fold((0.0, 0.0), |(low, high): (f64, f64), at| (low.min(at), high.max(at)));
        (low + high) / 2.0
    };
    let middle = Point::new(middle_of(|p| p.x_mm), middle_of(|p| p.y_mm));
    points.iter().map(|point| point.minus(middle)).collect()
}

#[test]
fn drawings_of_other_programs_give_the_lens_that_was_drawn() {
    let right = truth();
    let left: Vec<Point> = right.iter().map(|p| Point::new(-p.x_mm, p.y_mm)).collect();
    let corpus = corpus();
    assert!(corpus.len() >= 10);
    for (name, bytes) in &corpus {
        let file = read(bytes).unwrap_or_else(|why| panic!("{name}: {why}"));
        assert_eq!(file.derived, (name != "pair.svg").then_some(Eye::Left), "{name}");
        for (eye, outline) in file.outlines().iter() {
            let truth = if eye == Eye::Right { &right } else { &left };
            for point in outline.points().iter().step_by(7) {
                let off_mm = truth.iter().map(|p| p.minus(*point).length_mm()).fold(f64::INFINITY, f64::min);
                assert!(off_mm < 0.03, "{name}: {} eye at {:.0}°: {off_mm:.3}", eye.name(), point.angle_deg());
            }
        }
    }
    let pair = read(&corpus.iter().find(|(name, _)| name == "pair.svg").unwrap().1).unwrap();
    assert!((pair.dbl_mm.unwrap() - 18.0).abs() < 0.01);
    // The circles in the middle of the boxes mark the centers.
    assert!(pair.holes.right.is_empty() && pair.holes.left.is_empty());
}

#[test]
fn damaged_drawings_give_a_shape_or_a_fault() {
    let corpus = corpus();
    let spice: [&[u8]; 8] =
        [b"0\nINSERT\n2\nLENS\n", b"0\nBLOCK\n", b"1e300", b"NaN", b"-1", b"<use href=\"#e\"/>", b"\xff\xfe", b"\r"];
    let mut chance = Chance(11);
    for _ in 0..count(MUTATIONS) {
        let (_, bytes) = &corpus[chance.below(corpus.len())];
        if let Err(says) = read(&damaged(bytes, &spice, &mut chance)) {
            assert!(says.len() > 10, "{says}");
        }
    }
}
