//! The lens against tables, closed forms and computations that share nothing with the product's formulas.

use std::f64::consts::{PI, TAU};

use proptest::prelude::*;
use rimbook::optics::Eye;
use rimbook::optics::compensation::{WearPosition, compensate, martin};
use rimbook::optics::lens::{Lens, LensError, LensOrder, front_at_back_d};
use rimbook::optics::power::SphereCylinder;
use rimbook::optics::prism::BaseVector;
use rimbook::optics::surface::{Conic, front_curvature_per_mm, true_from_tool_d};
use rimbook::shape::boxing::Boxing;
use rimbook::shape::edge::{Edge, lens_with_thinnest_edge};
use rimbook::shape::outline::{Outline, Point};
use rimbook::shape::transform;
use rimbook::shape::volume::{volume_mm3, weight_g};

fn rows(table: &str) -> Vec<Vec<f64>> {
    let path = format!("{}/tests/check/tables/{table}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).expect("the table is in the repository");
    assert!(text.starts_with("# ") && text.contains("Source:"), "{table} names its source");
    let lines = text.lines().filter(|line| !line.starts_with('#') && !line.is_empty());
    lines.map(|line| line.split(',').map(|cell| cell.parse().expect("a number")).collect()).collect()
}

#[track_caller]
fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
    assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
}

fn circle(radius_mm: f64) -> Outline {
    Outline::from_radii_mm(&[radius_mm; 1000]).expect("a circle")
}

fn order(power: SphereCylinder, index: f64, front_d: f64, center_mm: f64) -> LensOrder {
    LensOrder {
        power,
        prism: BaseVector::default(),
        index,
        front_power_d: front_d,
        front_conic: 0.0,
        center_thickness_mm: center_mm,
    }
}

/// A lens whose back is F - F1, as the thin-lens tables take it.
fn thin(power_d: f64, index: f64, front_d: f64, center_mm: f64) -> Lens {
    let back_vertex_d = power_d - front_d + front_at_back_d(front_d, center_mm, index);
    Lens::new(order(SphereCylinder::sphere(back_vertex_d), index, front_d, center_mm)).expect("a lens")
}

#[test]
fn edges_of_round_lenses() {
    for row in rows("lens_edge.csv") {
        let [power_d, index, front_d, center_mm, diameter_mm, edge_mm] = row[..] else { panic!("{row:?}") };
        let lens = thin(power_d, index, front_d, center_mm);
        let edge = Edge::of(&circle(diameter_mm / 2.0), Point::ORIGIN, &lens).expect("an edge");
        for got in [edge.thinnest(), edge.thickest()] {
            assert_close(got.mm, edge_mm, 0.005, &format!("{row:?}"));
        }
    }
}

#[test]
fn weight_of_a_round_lens() {
    for row in rows("lens_weight.csv") {
        let [power_d, index, front_d, center_mm, diameter_mm, density, want_mm3, want_g] = row[..] else {
            panic!("{row:?}")
        };
        let lens = thin(power_d, index, front_d, center_mm);
        let got_mm3 = volume_mm3(&circle(diameter_mm / 2.0), Point::ORIGIN, &lens).expect("a volume");
        assert_close(got_mm3, want_mm3, 0.5, &format!("{row:?}"));
        assert_close(weight_g(got_mm3, density), want_g, 0.005, &format!("{row:?}"));
    }
}

#[test]
fn sags_tools_and_tilts() {
    for row in rows("lens_sag.csv") {
        let [power_d, index, half_chord_mm, sag_mm] = row[..] else { panic!("{row:?}") };
        let sphere = Conic::sphere(front_curvature_per_mm(power_d, index));
        assert_close(sphere.sag_mm(0.0, half_chord_mm).expect("in reach"), sag_mm, 5e-4, &format!("{row:?}"));
    }
    for row in rows("lens_tool.csv") {
        let [tool_d, index, true_d] = row[..] else { panic!("{row:?}") };
        assert_close(true_from_tool_d(tool_d, index), true_d, 0.005, &format!("{row:?}"));
    }
    for row in rows("lens_tilt.csv") {
        let [sphere_d, index, panto_deg, worn_sphere_d, worn_cylinder_d] = row[..] else { panic!("{row:?}") };
        let wear = WearPosition { vertex_from_mm: 12.0, vertex_to_mm: 12.0, panto_deg, wrap_deg: 0.0 };
        let got = martin(SphereCylinder::sphere(sphere_d), index, &wear);
        // Along 180 the sphere, along 90 sphere and cylinder, whichever form the answer is in.
        assert_close(got.power_at_deg(180.0), worn_sphere_d, 0.006, &format!("{row:?}"));
        assert_close(got.power_at_deg(90.0) - got.power_at_deg(180.0), worn_cylinder_d, 0.006, &format!("{row:?}"));
    }
}

#[test]
fn volume_of_two_caps_and_a_cylinder() {
    // ∫ sag over a disc of radius h is π h² r - 2π/3 (r³ - (r² - h²)^(3/2)).
    let under = |r: f64, h: f64| PI * h * h * r - TAU / 3.0 * (r.powi(3) - (r * r - h * h).powf(1.5));
    for (power_d, index, front_d, center_mm, h) in [
        (-20.0, 1.74, 1.0, 1.4, 30.0),
        (-8.0, 1.6, 2.0, 1.5, 32.0),
        (12.0, 1.5, 15.0, 11.0, 25.0),
        (0.5, 1.5, 6.0, 2.0, 35.0),
    ] {
        let lens = thin(power_d, index, front_d, center_mm);
        let outline = circle(h);
        let (r1, r2) = (1000.0 * (index - 1.0) / front_d, 1000.0 * (index - 1.0) / (front_d - power_d));
        // The polygon of 1,000 sides lacks a share of the disc; take the disc of the same area.
        let area = 500.0 * h * h * (TAU / 1000.0).sin();
        let equal = (area / PI).sqrt();
        let want = PI * equal * equal * center_mm - under(r1, equal) + under(r2, equal);
        let got = volume_mm3(&outline, Point::ORIGIN, &lens).expect("a volume");
        assert_close(got * 1.5 / 1000.0, want * 1.5 / 1000.0, 0.001, &format!("{power_d} in grams at 1.5"));
    }
}

type Space = [f64; 3];

/// An independent lens: implicit surfaces and a tilt by rotation about an axis, met by bisection.
struct Implicit {
    index: f64,
    front_d: f64,
    conic: f64,
    center_mm: f64,
    along_d: f64,
    across_d: f64,
    axis_deg: f64,
    prism: (f64, f64),
}

impl Implicit {
    /// Positive in front of the front surface: h² - 2 r d + (1 + k) d² with d the depth, divided by r.
    fn front(&self, [x, y, z]: Space) -> f64 {
        let c = self.front_d / (1000.0 * (self.index - 1.0));
        let depth = -z;
        c * (x * x + y * y) - 2.0 * depth + (1.0 + self.conic) * c * depth * depth
    }

    /// Zero on the back: a torus about an axis of revolution, in the tilted axes of the surface.
    fn back(&self, [x, y, z]: Space) -> f64 {
        let amount = self.prism.0.hypot(self.prism.1);
        let mut p = [x, y, z + self.center_mm];
        if amount > 0.0 {
            // Solve Snell for the tilt by bisection: n sin α = sin(α + δ).
            let deviation = (amount / 100.0).atan();
            let (mut low, mut high) = (0.0, 0.8);
            for _ in 0..100 {
                let middle: f64 = (low + high) / 2.0;
                if self.index * middle.sin() < (middle + deviation).sin() { low = middle } else { high = middle }
            }
            let tilt: f64 = (low + high) / 2.0;
            // The surface was turned about k = base x z... by Rodrigues; turn the point the other way.
            let (bx, by) = (self.prism.0 / amount, self.prism.1 / amount);
            let k = [-by, bx, 0.0];
            let (s, c) = (-tilt).sin_cos();
            let k_dot = k[0] * p[0] + k[1] * p[1];
            let k_cross = [k[1] * p[2], -k[0] * p[2], k[0] * p[1] - k[1] * p[0]];
            p = std::array::from_fn(|i| p[i] * c + k_cross[i] * s + k[i] * k_dot * (1.0 - c));
        }
        let radius = |power_d: f64| -1000.0 * (self.index - 1.0) / power_d;
        let (along_r, across_r) = (radius(self.along_d), radius(self.across_d));
        let (s, c) = self.axis_deg.to_radians().sin_cos();
        let (a, b) = (c * p[0] + s * p[1], c * p[1] - s * p[0]);
        let depth = -p[2];
        // The strong arc lies along u.
        let (u, v, strong_r, flat_r) =
            if along_r.abs() < across_r.abs() { (a, b, along_r, across_r) } else { (b, a, across_r, along_r) };
        let from_axis = (flat_r - depth).hypot(v) * flat_r.signum();
        let tube = (from_axis - (flat_r - strong_r)).hypot(u) - strong_r.abs();
        tube * -strong_r.signum()
    }

    fn thickness_mm(&self, x: f64, y: f64) -> f64 {
        let solve = |f: &dyn Fn(f64) -> f64, mut low: f64, mut high: f64| {
            let rising = f(high) > f(low);
            for _ in 0..200 {
                let middle = (low + high) / 2.0;
                if (f(middle) > 0.0) == rising { high = middle } else { low = middle }
            }
            (low + high) / 2.0
        };
        let front_z = solve(&|z| self.front([x, y, z]), -25.0, 25.0);
        let back_z = solve(&|z| self.back([x, y, z]), -self.center_mm - 18.0, -self.center_mm + 22.0);
        front_z - back_z
    }
}

#[test]
fn thickness_agrees_with_implicit_surfaces() {
    let mut worst: f64 = 0.0;
    for (sphere_d, cylinder_d, axis_deg, index, front_d, conic, center_mm, prism) in [
        (-4.0, -2.0, 30.0, 1.586, 4.25, 0.0, 1.8, (0.0, 0.0)),
        (-8.0, -4.0, 165.0, 1.67, 2.0, 0.0, 1.4, (0.0, 0.0)),
        (5.0, -3.0, 75.0, 1.498, 9.0, -0.6, 7.0, (0.0, 0.0)),
        (-2.25, -1.25, 95.0, 1.586, 4.25, 0.0, 1.8, (1.0, 0.0)),
        (-6.0, -0.25, 10.0, 1.6, 3.0, 0.3, 2.5, (-3.0, 4.0)),
        (1.0, -3.5, 120.0, 1.53, 6.0, -1.0, 4.0, (2.0, -6.0)),
    ] {
        let power = SphereCylinder::new(sphere_d, cylinder_d, axis_deg);
        let lens = Lens::new(LensOrder {
            front_conic: conic,
            prism: BaseVector { x_pd: prism.0, y_pd: prism.1 },
            ..order(power, index, front_d, center_mm)
        })
        .expect("a lens");
        let carried_d = front_d / (1.0 - center_mm / 1000.0 / index * front_d);
        let implicit = Implicit {
            index,
            front_d,
            conic,
            center_mm,
            along_d: sphere_d - carried_d,
            across_d: sphere_d + cylinder_d - carried_d,
            axis_deg,
            prism,
        };
        for step in 0..72 {
            let p = Point::polar(8.0 + f64::from(step % 9) * 2.5, f64::from(step) * 5.0);
            let got = lens.thickness_mm(p.x_mm, p.y_mm).expect("in reach");
            worst = worst.max((got - implicit.thickness_mm(p.x_mm, p.y_mm)).abs());
        }
    }
    assert!(worst < 1e-6, "off by {worst} mm");
}

#[test]
fn tyre_and_barrel_differ_where_the_cylinder_is_strong() {
    // 0.12 mm by tests/check/scripts/worked_figures.py: a check that can tell them apart.
    let lens = Lens::new(order(SphereCylinder::new(-2.0, -6.0, 180.0), 1.5, 4.0, 2.0)).expect("a lens");
    let (along, across) = (lens.back().flat_per_mm(), lens.back().strong_per_mm());
    let (x, y) = (18.0, 18.0);
    // Barrel: the flat arc revolved about the line through the center of the steep one.
    let arc = along * x * x / (1.0 + (1.0 - along * along * x * x).sqrt());
    let r = 1.0 / across;
    let barrel = r - ((r - arc).powi(2) - y * y).sqrt();
    let tyre = lens.back().sag_mm(x, y).expect("in reach");
    assert_close((tyre - barrel).abs(), 0.12, 0.01, "tyre against barrel");
}

/// A dented shape, not convex, not symmetric.
fn dented(points: usize) -> Outline {
    let radii: Vec<f64> = (0..points)
        .map(|i| {
            let t = i as f64 * TAU / points as f64;
            22.0 + 3.5 * (2.0 * t).cos() - 2.6 * (3.0 * t + 0.4).sin() + 0.8 * (7.0 * t).cos()
        })
        .collect();
    Outline::from_radii_mm(&radii).expect("a shape")
}

#[test]
fn weight_by_scanning_lines() {
    for prism in [BaseVector::default(), BaseVector { x_pd: 2.0, y_pd: -3.0 }] {
        for (power, front_d, center_mm) in
            [(SphereCylinder::new(-9.0, -3.0, 20.0), 2.0, 1.5), (SphereCylinder::new(6.0, -2.0, 110.0), 10.0, 8.0)]
        {
            let lens = Lens::new(LensOrder { prism, ..order(power, 1.6, front_d, center_mm) }).expect("a lens");
            let center = Point::new(3.0, 2.0);
            for count in [36, 512, 1000] {
                let outline = dented(count);
                let step = 0.02;
                let mut volume = 0.0;
                for line in 0..((60.0 / step) as usize) {
                    let y = -30.0 + (line as f64 + 0.5) * step;
                    let mut crossings: Vec<f64> = outline
                        .edges()
                        .filter(|(p, q)| (p.y_mm > y) != (q.y_mm > y))
                        .map(|(p, q)| p.x_mm + (y - p.y_mm) / (q.y_mm - p.y_mm) * (q.x_mm - p.x_mm))
                        .collect();
                    crossings.sort_by(f64::total_cmp);
                    for pair in crossings.chunks(2) {
                        // Simpson on twelve stretches.
                        let width = (pair[1] - pair[0]) / 24.0;
                        for i in 0..=24 {
                            let weight = if i == 0 || i == 24 {
                                1.0
                            } else if i % 2 == 1 {
                                4.0
                            } else {
                                2.0
                            };
                            let x = pair[0] + f64::from(i) * width;
                            let t = lens.thickness_mm(x - center.x_mm, y - center.y_mm).expect("in reach");
                            volume += weight * t * width / 3.0 * step;
                        }
                    }
                }
                let got = volume_mm3(&outline, center, &lens).expect("a volume");
                assert_close(got * 1.5 / 1000.0, volume * 1.5 / 1000.0, 0.001, &format!("{power:?} {count}"));
            }
        }
    }
}

#[test]
fn a_negative_edge_says_where_and_what_cures_it() {
    let power = SphereCylinder::sphere(5.0);
    let lens = Lens::new(order(power, 1.5, 9.0, 2.0)).expect("a lens");
    let (outline, center) = (dented(400), Point::new(2.0, 1.0));
    let edge = Edge::of(&outline, center, &lens).expect("an edge");
    assert!(edge.thinnest().mm < 0.0);
    let thin = edge.too_thin(&outline, center, &lens, 0.0).expect("curable").expect("too thin");
    assert_eq!(thin.at, edge.thinnest());
    let cured = Lens::new(order(power, 1.5, 9.0, thin.center_mm)).expect("a lens");
    assert_close(Edge::of(&outline, center, &cured).expect("an edge").thinnest().mm, 0.0, 1e-5, "cured");
    let sentence = thin.sentence();
    assert!(sentence.contains(&format!("{:.0}°", thin.at.deg)) && sentence.contains("center thickness"), "{sentence}");
}

#[test]
fn a_plano_plate_is_as_thick_everywhere() {
    for cylinder_d in [0.0, 0.25, -0.25] {
        let plate = Lens::new(order(SphereCylinder::new(0.0, cylinder_d, 90.0), 1.5, 0.0, 2.0)).expect("a plate");
        let edge = Edge::of(&dented(64), Point::new(2.0, 0.0), &plate).expect("an edge");
        // Along the axis of a plano cylinder nothing changes; across, h² C / (2000 (n - 1)) does (textbook thumb).
        assert_close(plate.thickness_mm(0.0, 20.0).expect("in reach"), 2.0, 1e-9, "along the axis");
        let across = plate.thickness_mm(20.0, 0.0).expect("in reach");
        assert_close(across, 2.0 - 400.0 * cylinder_d / 1000.0, 2e-3, "across the axis");
        if cylinder_d == 0.0 {
            assert_eq!(edge.thinnest().mm, edge.thickest().mm);
            // An equal plate weighs its area.
            let area = Boxing::of(&dented(64)).area_mm2;
            let volume = volume_mm3(&dented(64), Point::new(2.0, 0.0), &plate).expect("a volume");
            assert_close(volume, 2.0 * area, 1e-9 * area, "area times thickness");
        }
    }
}

#[test]
fn powers_of_twenty_give_an_edge_or_a_sentence() {
    for power_d in [-20.0, -15.0, 15.0, 20.0] {
        for index in [1.4, 1.5, 1.74, 2.0] {
            for front_d in [0.0, 4.0, 12.0, 24.0] {
                let Ok(lens) = Lens::new(order(SphereCylinder::new(power_d, -2.0, 45.0), index, front_d, 9.0)) else {
                    continue;
                };
                match Edge::of(&dented(64), Point::new(4.0, 0.0), &lens) {
                    Ok(edge) => {
                        let volume = volume_mm3(&dented(64), Point::new(4.0, 0.0), &lens).expect("a volume");
                        assert!(edge.points().iter().all(|p| p.mm.is_finite()) && volume.is_finite())
                    }
                    Err(error @ LensError::DoesNotSpan { .. }) => {
                        assert!(error.to_string().contains("radius of"), "{error}")
                    }
                    Err(other) => panic!("{other}"),
                }
            }
        }
    }
    let plus = order(SphereCylinder::sphere(-4.0), 1.5, 4.0, 2.0);
    let error = lens_with_thinnest_edge(&dented(64), Point::ORIGIN, plus, 1.0).expect_err("no center is left");
    assert!(matches!(error, LensError::NoCenterLeft { .. }), "{error}");
}

/// Lenses that reach 32 mm, in quarters, in either cylinder form, with some prism.
fn any_order() -> impl Strategy<Value = LensOrder> {
    let power = (-32i32..=24, -16i32..=16, 1i32..=180)
        .prop_map(|(s, c, a)| SphereCylinder::new(f64::from(s) / 4.0, f64::from(c) / 4.0, f64::from(a)));
    let prism = (-4.0..4.0f64, -4.0..4.0f64).prop_map(|(x_pd, y_pd)| BaseVector { x_pd, y_pd });
    (power, prism, 1.5..1.74f64, 0.0..5.0f64, 1.5..8.0f64).prop_map(|(power, prism, index, front_d, center_mm)| {
        // A plus lens is a meniscus.
        let front_d = front_d + power.spherical_equivalent_d().max(0.0);
        LensOrder { power, prism, ..order(power, index, front_d, center_mm) }
    })
}

fn turned(vector: BaseVector, angle_deg: f64) -> BaseVector {
    let (s, c) = angle_deg.to_radians().sin_cos();
    BaseVector { x_pd: c * vector.x_pd - s * vector.y_pd, y_pd: s * vector.x_pd + c * vector.y_pd }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn turning_frame_axis_and_prism_together_changes_nothing(made in any_order(), angle in -180.0..180.0f64, at in (-4.0..4.0f64, -4.0..4.0f64)) {
        let (outline, center) = (dented(180), Point::new(at.0, at.1));
        let other = transform::rotate(&outline, angle);
        // The turned shape sits in a new box: its tracing center says how far that moved.
        let (s, c) = angle.to_radians().sin_cos();
        let turn = |p: Point| Point::new(c * p.x_mm - s * p.y_mm, s * p.x_mm + c * p.y_mm);
        let shift = other.tracing_center().minus(turn(outline.tracing_center()));
        let made_turned = LensOrder {
            power: SphereCylinder::new(made.power.sphere_d, made.power.cylinder_d, made.power.axis_deg + angle),
            prism: turned(made.prism, angle),
            ..made
        };
        let (lens, lens_turned) = (Lens::new(made).unwrap(), Lens::new(made_turned).unwrap());
        let edge = Edge::of(&outline, center, &lens);
        let edge_turned = Edge::of(&other, turn(center).plus(shift), &lens_turned);
        // A very steep back may not reach the shape; then it does not reach the turned one either.
        let (Ok(edge), Ok(edge_turned)) = (&edge, &edge_turned) else {
            prop_assert!(edge.is_err() && edge_turned.is_err(), "{edge:?} {edge_turned:?}");
            return Ok(());
        };
        for (one, two) in edge.points().iter().zip(edge_turned.points()) {
            prop_assert!((one.mm - two.mm).abs() < 1e-8, "{} {}", one.mm, two.mm);
        }
        let volume = volume_mm3(&outline, center, &lens).unwrap();
        let volume_turned = volume_mm3(&other, turn(center).plus(shift), &lens_turned).unwrap();
        prop_assert!((volume - volume_turned).abs() < 1e-5);
    }

    #[test]
    fn mirrored_eyes_give_mirrored_edges(made in any_order(), at in (-4.0..4.0f64, -4.0..4.0f64)) {
        let outline = dented(180);
        let mirrored = LensOrder {
            power: SphereCylinder::new(made.power.sphere_d, made.power.cylinder_d, 180.0 - made.power.axis_deg),
            prism: BaseVector { x_pd: -made.prism.x_pd, ..made.prism },
            ..made
        };
        let (lens, lens_mirrored) = (Lens::new(made).unwrap(), Lens::new(mirrored).unwrap());
        let (center, center_mirrored) = (Point::new(at.0, at.1), Point::new(-at.0, at.1));
        let outline_mirrored = transform::mirror(&outline);
        let edge = Edge::of(&outline, center, &lens);
        let other = Edge::of(&outline_mirrored, center_mirrored, &lens_mirrored);
        let (Ok(edge), Ok(other)) = (&edge, &other) else {
            prop_assert!(edge.is_err() && other.is_err(), "{edge:?} {other:?}");
            return Ok(());
        };
        prop_assert!((edge.thickest().mm - other.thickest().mm).abs() < 1e-9);
        prop_assert!((edge.thickest().at.x_mm + other.thickest().at.x_mm).abs() < 1e-9);
        prop_assert!((edge.thinnest().mm - other.thinnest().mm).abs() < 1e-9);
        let volume = volume_mm3(&outline, center, &lens).unwrap();
        let volume_mirrored = volume_mm3(&outline_mirrored, center_mirrored, &lens_mirrored).unwrap();
        prop_assert!((volume - volume_mirrored).abs() < 1e-6);
    }

    #[test]
    fn transposed_prescriptions_give_equal_lenses(made in any_order()) {
        let lens = Lens::new(made).unwrap();
        let other = Lens::new(LensOrder { power: made.power.transposed(), ..made }).unwrap();
        for angle in 0..36 {
            let p = Point::polar(25.0, f64::from(angle) * 10.0);
            let (one, two) = (lens.thickness_mm(p.x_mm, p.y_mm).unwrap(), other.thickness_mm(p.x_mm, p.y_mm).unwrap());
            prop_assert!((one - two).abs() < 1e-9, "{} {}", one, two);
        }
        let wear = WearPosition { vertex_from_mm: 13.0, vertex_to_mm: 12.0, panto_deg: 8.0, wrap_deg: 12.0 };
        let (one, two) = (compensate(Eye::Left, &made, &wear).unwrap(), compensate(Eye::Left, other.order(), &wear).unwrap());
        prop_assert!((one.order.sphere_d - two.order.sphere_d).abs() < 1e-9);
        prop_assert!((one.order.cylinder_d - two.order.cylinder_d).abs() < 1e-9);
    }

    #[test]
    fn a_wanted_edge_is_met(made in any_order(), wanted in 0.5..3.0f64) {
        let (outline, center) = (dented(120), Point::new(2.0, -1.0));
        match lens_with_thinnest_edge(&outline, center, made, wanted) {
            Ok(lens) => {
                let edge = Edge::of(&outline, center, &lens).unwrap();
                prop_assert!((edge.thinnest().mm - wanted).abs() < 1e-5, "{}", edge.thinnest().mm);
            }
            Err(LensError::NoCenterLeft { .. } | LensError::DoesNotSpan { .. }) => {}
            Err(other) => prop_assert!(false, "{}", other),
        }
    }
}
