//! The ten shapes nearest to one, among 250,000 frame-like shapes. The limit is 25 ms on one core; what is found must be
//! what a full comparison finds.
//!
//! Run with `cargo bench --bench twins`; RIMBOOK_SHAPES sets another number of shapes.

use std::f64::consts::TAU;
use std::hint::black_box;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

use rimbook::shape::outline::{Outline, Point};
use rimbook::shape::transform::{rotate, scale};
use rimbook::shape::twins::index::{Index, Twin};
use rimbook::shape::twins::{Shape, Ways};

/// Numbers that look random and are the same in every run.
struct Drawn(u64);

impl Drawn {
    fn number(&mut self, low: f64, high: f64) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        low + (high - low) * (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A frame's shape: a superellipse that leans, with waves.
    fn frame(&mut self) -> Outline {
        let (wide, high, power) = (self.number(22.0, 29.0), self.number(14.0, 24.0), self.number(2.0, 3.5));
        let lean = self.number(-0.15, 0.15);
        let waves: [(f64, f64); 4] = [1.2, 0.6, 0.4, 0.2].map(|most| (self.number(0.0, most), self.number(0.0, TAU)));
        let radii: Vec<f64> = (0..400)
            .map(|i| {
                let t = TAU * f64::from(i) / 400.0;
                let (sin, cos) = (t + lean * (2.0 * t).sin()).sin_cos();
                let smooth = ((cos / wide).abs().powf(power) + (sin / high).abs().powf(power)).powf(-1.0 / power);
                let wave = |(periods, (size, phase)): (f64, &(f64, f64))| size * (periods * t + phase).cos();
                let radius = smooth + [3.0, 4.0, 5.0, 6.0].into_iter().zip(&waves).map(wave).sum::<f64>();
                (radius * 100.0).round() / 100.0
            })
            .collect();
        Outline::from_radii_mm(&radii).expect("a frame")
    }

    /// The same frame traced again: out of level, of a slightly other size, with the tremble of a tracer.
    fn again(&mut self, outline: &Outline) -> Outline {
        let size = self.number(0.995, 1.005);
        let turned = rotate(&scale(outline, size).expect("a frame"), self.number(-1.0, 1.0));
        let points: Vec<Point> =
            turned.points().iter().map(|p| p.times(1.0 + self.number(-0.000_4, 0.000_4))).collect();
        Outline::from_points(points).expect("a frame")
    }
}

/// Nine frames of ten are traced once; every tenth model was traced ten times, so half of the traces are repeats.
fn library(count: usize) -> Vec<Outline> {
    let mut draw = Drawn(0x5EED_F0A3_1234_5678);
    let mut shapes = Vec::with_capacity(count);
    while shapes.len() < count {
        let model = draw.frame();
        let repeats = if draw.number(0.0, 10.0) < 1.0 { 9 } else { 0 };
        for _ in 0..repeats {
            shapes.push(draw.again(&model));
        }
        shapes.push(model);
    }
    shapes.truncate(count);
    shapes
}

/// The time this thread was at work; the time that passed where the system does not tell. Other programs on the machine
/// do not count.
fn busy() -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanos = told.and_then(|text| text.split_whitespace().next()?.parse().ok());
    nanos.map_or_else(|| START.elapsed(), Duration::from_nanos)
}

/// Searches timed as one: the system counts a thread's time in steps of a few milliseconds.
const AT_ONCE: u32 = 8;

static START: LazyLock<Instant> = LazyLock::new(Instant::now);

fn main() {
    let count = std::env::var("RIMBOOK_SHAPES").ok().and_then(|text| text.parse().ok()).unwrap_or(250_000);
    let outlines = library(count);
    let start = Instant::now();
    let mut index = Index::default();
    for outline in &outlines {
        index.push(&Shape::of(outline));
    }
    println!("{count} shapes marked in {:.1} s", start.elapsed().as_secs_f64());
    let mut draw = Drawn(77);
    let on_file = |number: usize| Shape::of(&outlines[number]);
    let sought: Vec<(&str, Outline)> = vec![
        ("on file, traced once more", draw.again(&outlines[count / 2])),
        ("on file, traced once more", draw.again(&outlines[count / 3])),
        ("a new frame", draw.frame()),
        ("a new frame", draw.frame()),
        ("a new frame", draw.frame()),
    ];
    let mut slowest = Duration::ZERO;
    for (what, outline) in &sought {
        for ways in
            [(false, false), (true, false), (false, true)].map(|(mirrored, any_size)| Ways { mirrored, any_size })
        {
            let shape = Shape::of(outline);
            let mut times: Vec<Duration> = Vec::new();
            let (mut found, mut compared) = (Vec::new(), 0);
            for _ in 0..5 {
                let start = busy();
                for _ in 0..AT_ONCE {
                    let mut search = index.search(black_box(shape.clone()), ways, 10);
                    loop {
                        let wanted = search.wanted();
                        if wanted.is_empty() {
                            break;
                        }
                        wanted.into_iter().for_each(|number| search.compare(number, &on_file(number)));
                    }
                    compared = search.compared();
                    found = search.found();
                }
                times.push((busy() - start) / AT_ONCE);
            }
            times.sort();
            slowest = slowest.max(times[2]);
            println!(
                "{what}, {ways:?}: {:.1} ms, {compared} compared, best {:.3} mm, tenth {:.3} mm",
                times[2].as_secs_f64() * 1000.0,
                found[0].found.gap_mm,
                found[9].found.gap_mm
            );
        }
    }
    println!("slowest {:.1} ms", slowest.as_secs_f64() * 1000.0);
    // The full comparison takes half a minute, so it is made for two.
    for (what, outline) in [&sought[0], &sought[2]] {
        let shape = Shape::of(outline);
        let ways = Ways { mirrored: false, any_size: false };
        let start = Instant::now();
        let mut all: Vec<Twin> =
            (0..count).map(|number| Twin { index: number, found: shape.distance(&on_file(number), ways) }).collect();
        all.sort_by_key(|twin| ((twin.found.gap_mm / 0.001) as u32, std::cmp::Reverse(twin.index)));
        let took = start.elapsed().as_secs_f64();
        let found = index.nearest(shape, ways, 10, on_file);
        let numbers = |twins: &[Twin]| twins.iter().map(|twin| twin.index).collect::<Vec<_>>();
        assert_eq!(numbers(&found), numbers(&all[..10]), "{what}");
        println!("{what}: the same ten as a full comparison, which took {took:.1} s");
    }
    assert!(slowest < Duration::from_millis(25), "over the limit of 25 ms");
}
