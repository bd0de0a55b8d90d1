//! The lens of a pair with 512-point shapes: edge, line, order as worn, prism; and the budget of its errors.

use std::f64::consts::TAU;
use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use rimbook::optics::budget::{BudgetOrder, Spreads, budget};
use rimbook::optics::compensation::{WearPosition, compensate};
use rimbook::optics::gaze::{GazePoint, balance};
use rimbook::optics::lens::{Lens, LensOrder};
use rimbook::optics::power::SphereCylinder;
use rimbook::optics::prism::BaseVector;
use rimbook::optics::tolerance::Profile;
use rimbook::optics::{Eye, Pair};
use rimbook::shape::bevel::{Hold, Placement, edge_line};
use rimbook::shape::edge::{Edge, lens_with_thinnest_edge};
use rimbook::shape::outline::{Outline, Point};
use rimbook::shape::transform::mirror;
use rimbook::shape::volume::{volume_mm3, weight_g};

fn shapes() -> Pair<Outline> {
    let radii: Vec<f64> = (0..512)
        .map(|i| 23.0 + 3.5 * (f64::from(i) * TAU / 256.0).cos() + (f64::from(i) * TAU / 170.0).sin())
        .collect();
    let right = Outline::from_radii_mm(&radii).expect("a shape");
    let left = mirror(&right);
    Pair::new(right, left)
}

fn order(prism: BaseVector) -> LensOrder {
    LensOrder {
        power: SphereCylinder::new(-4.0, -1.5, 30.0),
        prism,
        index: 1.6,
        front_power_d: 4.0,
        front_conic: 0.0,
        center_thickness_mm: 1.8,
    }
}

/// Thickness and weight, the line along the edge, the power to order as worn, the prism at a reading point.
fn whole(shapes: &Pair<Outline>, lens: &Lens) -> f64 {
    let wear = WearPosition { vertex_from_mm: 12.0, vertex_to_mm: 13.0, panto_deg: 8.0, wrap_deg: 10.0 };
    let mut sum = 0.0;
    for (eye, outline) in shapes.iter() {
        let center = Point::new(3.0 * eye.nasal_sign(), 2.0);
        let edge = Edge::of(outline, center, lens).expect("an edge");
        let line = edge_line(&edge, center, lens, Placement::Share(1.0 / 3.0), Hold::USUAL_BEVEL, Some(5.0));
        sum += weight_g(volume_mm3(outline, center, lens).expect("a volume"), 1.3) + line.curve_tool_d.unwrap_or(0.0);
        sum += compensate(eye, lens.order(), &wear).expect("worn").order.sphere_d;
    }
    let reading = GazePoint { in_mm: 2.5, up_mm: -10.0 };
    sum + balance(Pair::new(lens, lens), Pair::new(reading, reading)).expect("rays").exact.vertical_pd
}

fn lens(c: &mut Criterion) {
    let shapes = shapes();
    let plain = Lens::new(order(BaseVector::default())).expect("a lens");
    c.bench_function("pair of 512 points", |b| b.iter(|| whole(black_box(&shapes), black_box(&plain))));
    let prism = Lens::new(order(BaseVector { x_pd: 2.0, y_pd: 1.0 })).expect("a lens");
    c.bench_function("pair of 512 points with prism", |b| b.iter(|| whole(black_box(&shapes), black_box(&prism))));
    let plus =
        LensOrder { power: SphereCylinder::new(4.0, -1.0, 30.0), front_power_d: 8.0, ..order(BaseVector::default()) };
    c.bench_function("pair of 512 points from its thinnest edge", |b| {
        b.iter(|| {
            let right =
                lens_with_thinnest_edge(&shapes.right, Point::new(3.0, 2.0), black_box(plus), 1.0).expect("a lens");
            let left =
                lens_with_thinnest_edge(&shapes.left, Point::new(-3.0, 2.0), black_box(plus), 1.0).expect("a lens");
            whole(&shapes, &right) + left.order().center_thickness_mm
        });
    });
    let made = BudgetOrder {
        power: Pair::new(SphereCylinder::new(-2.25, -1.25, 95.0), SphereCylinder::new(-1.75, -0.75, 40.0)),
        prism: Pair::new(BaseVector { x_pd: 1.0, y_pd: 0.5 }.to_in_up(Eye::Right), Default::default()),
        center_specified: Pair::new(true, true),
    };
    c.bench_function("budget of errors", |b| {
        b.iter(|| budget(Profile::Z80_1, black_box(&made), &Spreads::default()).all_pass());
    });
}

criterion_group!(benches, lens);
criterion_main!(benches);
