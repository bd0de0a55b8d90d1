//! A trace of 1,000 points read from a file, with the box that its file states compared.
//!
//! Run with `cargo bench --bench trace`; the limit is 100 µs.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use rimbook::shape::record::{Assumptions, TraceForm, read_any, write_as};

/// An ellipse 52 by 38 as a tracer would write it.
fn text() -> String {
    let radius = |i: u32| {
        let (sin, cos) = (f64::from(i) * std::f64::consts::TAU / 1000.0).sin_cos();
        (100.0 / (cos / 26.0).hypot(sin / 19.0)).round().to_string()
    };
    let radii: Vec<String> = (0..1000).map(radius).collect();
    let lines: String = radii.chunks(10).map(|ten| format!("R={}\r\n", ten.join(";"))).collect();
    format!("JOB=\"1042\"\r\nDBL=18.00\r\nHBOX=52.00\r\nVBOX=38.00\r\nTRCFMT=1;1000;E;R;F\r\n{lines}")
}

fn traces(c: &mut Criterion) {
    let file = read_any(text().as_bytes()).expect("a trace");
    for form in [TraceForm::Text, TraceForm::Binary, TraceForm::Differences, TraceForm::Packed] {
        let bytes = write_as(&file, form, &Assumptions::default());
        c.bench_function(&format!("a trace of 1,000 points, {form:?}"), |b| b.iter(|| read_any(black_box(&bytes))));
    }
}

criterion_group!(benches, traces);
criterion_main!(benches);
