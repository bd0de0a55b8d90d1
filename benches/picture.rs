//! A letter page scanned at 300 dpi (8.4 million pixels) to an outline, which takes under a second; and how exact many
//! scans and photos from seeds are read: `cargo bench --bench picture -- accuracy`.

#![allow(clippy::unwrap_used, reason = "a bench that cannot go on may say so by failing")]

#[path = "../tests/check/picture/render.rs"]
#[allow(dead_code, reason = "the tests also draw photos")]
mod render;

use std::hint::black_box;

use criterion::Criterion;
use rimbook::picture::{Ask, Scale, Subject, read};
use rimbook::shape::outline::Point;

use render::{Camera, Dice, Flaws, Look, Scene, Truth, jpeg, picture, png};

const SCAN: Ask = Ask { scale: Scale::Dpi(300.0), subject: Subject::Lens };

/// A clear lens for even seeds, a tinted one for odd ones, on uneven light with dust.
fn scene(dice: &mut Dice, seed: u64, middle: (f64, f64)) -> Scene {
    let ring_mm = dice.between(0.3, 1.4);
    let look = if seed.is_multiple_of(2) {
        Look::new([dice.between(0.93, 1.0); 3], ring_mm, dice.between(0.35, 0.8))
    } else {
        Look::new([dice.between(0.15, 0.8); 3], ring_mm, dice.between(0.5, 1.0))
    };
    Scene::new(Truth::any(dice, middle), look).uneven(dice, 40.0).dusty(dice, 24)
}

/// The largest distance of an edge from the truth, and the one that 95% stay under.
fn distances(truth: &Truth, edge: impl Iterator<Item = Point>) -> (f64, f64) {
    let mut off: Vec<f64> = edge.map(|p| truth.distance(p.x_mm, p.y_mm).abs()).collect();
    off.sort_by(f64::total_cmp);
    (off[off.len() - 1], off[off.len() * 95 / 100])
}

fn accuracy() {
    let (mut scans, mut refused) = (Vec::new(), 0);
    for seed in 0..100 {
        let mut dice = Dice::new(seed + 1000);
        let scene = scene(&mut dice, seed, (36.4, -35.3));
        let flaws = Flaws { blur_px: dice.between(0.5, 1.6), noise: dice.between(1.0, 7.0) };
        let picture = picture(&scene, &Camera::scanner(300.0, 73.0, 70.0), flaws, &mut dice);
        let bytes = if seed.is_multiple_of(3) { jpeg(&picture, 80) } else { png(&picture) };
        match read(&bytes, &SCAN) {
            Ok(reading) => {
                let lens = &reading.lenses[0];
                scans.push(distances(&scene.lens, lens.points.iter().map(|point| point.plus(lens.middle))));
            }
            Err(why) => {
                println!("scan {seed}: {why}");
                refused += 1;
            }
        }
    }
    let over = scans.iter().filter(|(most, usual)| *most > 0.05 || *usual > 0.03).count();
    scans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let at = |share: usize| scans[(scans.len() - 1) * share / 100];
    println!("scans: {} read, {refused} refused, {over} over 0.05 mm or 0.03 mm at 95%", scans.len());
    println!("farthest point: half under {:.3} mm, 95% under {:.3}, worst {:.3}", at(50).0, at(95).0, at(100).0);
}

fn main() {
    if std::env::args().any(|argument| argument == "accuracy") {
        return accuracy();
    }
    let mut dice = Dice::new(5);
    let scene = scene(&mut dice, 5, (100.0, -120.0));
    let page = picture(&scene, &Camera::scanner(300.0, 215.9, 279.4), Flaws { blur_px: 0.9, noise: 3.0 }, &mut dice);
    let mut criterion = Criterion::default().configure_from_args().sample_size(10);
    for (name, bytes) in [("letter scan, PNG", png(&page)), ("letter scan, JPEG", jpeg(&page, 85))] {
        criterion.bench_function(name, |bench| bench.iter(|| read(black_box(&bytes), &SCAN).unwrap()));
    }
    criterion.final_summary();
}
