//! The layout of a pair with 512-point shapes: from two traces to decentration, blank and blocker of both eyes.
//!
//! Run with `cargo bench --bench layout`; the limit is 200 µs.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use rimbook::optics::{Eye, Pair};
use rimbook::shape::blocker::{BlockerStep, WantedCenter};
use rimbook::shape::layout::PairLayout;
use rimbook::shape::trace::{Angles, Trace};

/// An ellipse 52 by 36 as a tracer would give it.
fn trace(eye: Eye) -> Trace {
    let radii = (0..512).map(|i| {
        let (sin, cos) = (f64::from(i) * std::f64::consts::TAU / 512.0).sin_cos();
        (100.0 / (cos / 26.0).hypot(sin / 18.0)).round() as i32
    });
    Trace::new(eye, radii.collect(), Angles::Equal).expect("an ellipse")
}

fn layout(c: &mut Criterion) {
    let traces = Pair::new(trace(Eye::Right), trace(Eye::Left));
    let wanted =
        Pair::new(WantedCenter { pd_mm: 31.0, height_mm: 20.0 }, WantedCenter { pd_mm: 33.0, height_mm: 20.0 });
    c.bench_function("layout of a pair, 512 points", |b| {
        b.iter(|| {
            let outlines = black_box(&traces).as_ref().map(Trace::outline);
            PairLayout::of(outlines.as_ref(), 18.0, wanted, BlockerStep::Half, 2.0)
        });
    });
}

criterion_group!(benches, layout);
criterion_main!(benches);
