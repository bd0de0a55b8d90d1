//! The shape room against outside figures: an independent geometry library, closed forms, worked requests.

use std::f64::consts::PI;

use geo::{Area, BoundingRect, ConvexHull, Coord, Euclidean, Length, LineString, Polygon};
use proptest::prelude::*;
use rimbook::shape::blank::Blank;
use rimbook::shape::boxing::Boxing;
use rimbook::shape::outline::{Outline, Point};
use rimbook::shape::transform::rotate;
use serde_json::Value;

fn polygon(outline: &Outline) -> Polygon {
    let ring = outline.points().iter().map(|p| Coord { x: p.x_mm, y: p.y_mm }).collect();
    Polygon::new(LineString::new(ring), vec![])
}

proptest! {
    /// Source: the `geo` library, written independently of this project.
    #[test]
    fn size_agrees_with_a_geometry_library(radii in prop::collection::vec(8.0..45.0_f64, 8..200)) {
        let outline = Outline::from_radii_mm(&radii).unwrap();
        let (size, other) = (Boxing::of(&outline), polygon(&outline));
        let rect = other.bounding_rect().unwrap();
        prop_assert!((size.a_mm - rect.width()).abs() < 1e-9);
        prop_assert!((size.b_mm - rect.height()).abs() < 1e-9);
        prop_assert!(rect.center().x.abs() < 1e-9 && rect.center().y.abs() < 1e-9);
        prop_assert!((size.area_mm2 - other.signed_area()).abs() < 1e-7);
        prop_assert!((size.circumference_mm - Euclidean.length(other.exterior())).abs() < 1e-8);
        // The farthest point from anywhere is a corner of the convex hull.
        let hull = other.convex_hull();
        let farthest = |x: f64, y: f64| hull.exterior().coords().map(|c| (c.x - x).hypot(c.y - y)).fold(0.0, f64::max);
        prop_assert!((size.ed_mm - 2.0 * farthest(0.0, 0.0)).abs() < 1e-9);
        let blank = Blank::of(&outline, &size, Point::new(3.5, -1.25), 2.0);
        prop_assert!((blank.exact_mm - 2.0 * farthest(3.5, -1.25)).abs() < 1e-9);
    }

    #[test]
    fn turning_the_frame_only_changes_the_box(radii in prop::collection::vec(15.0..35.0_f64, 8..90), deg in 0.0..360.0_f64) {
        let outline = Outline::from_radii_mm(&radii).unwrap();
        let (before, after) = (polygon(&outline), polygon(&rotate(&outline, deg)));
        prop_assert!((before.unsigned_area() - after.unsigned_area()).abs() < 1e-7);
        prop_assert!((Euclidean.length(before.exterior()) - Euclidean.length(after.exterior())).abs() < 1e-8);
    }
}

/// A true outline given by a parameter, sampled as finely as wanted.
fn exact(shape: impl Fn(f64) -> (f64, f64)) -> Vec<(f64, f64)> {
    (0..400_000).map(|i| shape(2.0 * PI * f64::from(i) / 400_000.0)).collect()
}

/// What a tracer standing at `center` gives: the distance to the outline at `count` equal angles.
fn traced(implicit: impl Fn(f64, f64) -> f64, center: (f64, f64), count: usize) -> Vec<f64> {
    let radius = |i: usize| {
        let (sin, cos) = (2.0 * PI * i as f64 / count as f64).sin_cos();
        let (mut inside, mut outside) = (0.0, 60.0);
        for _ in 0..80 {
            let middle = (inside + outside) / 2.0;
            let is_inside = implicit(center.0 + middle * cos, center.1 + middle * sin) < 1.0;
            if is_inside { inside = middle } else { outside = middle }
        }
        inside
    };
    (0..count).map(radius).collect()
}

/// Figures of a traced outline are within 0.01 mm of the exact outline's, from 400 points on, wherever the tracer
/// stood. Source: numerical integration of the exact curves; ellipse 50 × 40 and two superellipses.
#[test]
fn figures_are_within_a_hundredth_of_the_exact_outline() {
    for (a, b, power) in [(25.0, 20.0, 2.0), (22.0, 22.0, 2.0), (27.0, 17.0, 3.0), (25.0, 19.0, 2.5)] {
        let curve = |t: f64| {
            let bend = |v: f64| v.signum() * v.abs().powf(2.0 / power);
            (a * bend(t.cos()), b * bend(t.sin()))
        };
        let fine = exact(curve);
        let farthest = |x: f64, y: f64| fine.iter().map(|p| (p.0 - x).hypot(p.1 - y)).fold(0.0, f64::max);
        let next = fine.iter().skip(1).chain(&fine[..1]);
        let circumference: f64 = fine.iter().zip(next).map(|(p, q)| (p.0 - q.0).hypot(p.1 - q.1)).sum();
        for (center, count) in [((0.0, 0.0), 400), ((2.3, -1.7), 400), ((-1.1, 0.6), 512), ((3.0, 2.0), 1000)] {
            let implicit = |x: f64, y: f64| (x / a).abs().powf(power) + (y / b).abs().powf(power);
            let outline = Outline::from_radii_mm(&traced(implicit, center, count)).unwrap();
            let size = Boxing::of(&outline);
            let blank = Blank::of(&outline, &size, Point::new(4.0, 2.0), 2.0);
            for (what, got, want) in [
                ("A", size.a_mm, 2.0 * a),
                ("B", size.b_mm, 2.0 * b),
                ("ED", size.ed_mm, 2.0 * farthest(0.0, 0.0)),
                ("circumference", size.circumference_mm, circumference),
                ("blank", blank.exact_mm, 2.0 * farthest(4.0, 2.0)),
            ] {
                let row = format!("{a} × {b}, power {power}, from {center:?}, {count} points: {what}");
                assert!((got - want).abs() < 0.01, "{row}: got {got}, want {want}");
            }
        }
    }
}

/// Every number the golden answer names, with the place of the first that differs.
fn differs(got: &Value, want: &Value, path: &str) -> Option<String> {
    match (got, want) {
        (_, Value::Object(fields)) => {
            fields.iter().find_map(|(name, want)| differs(&got[name], want, &format!("{path}/{name}")))
        }
        (Value::Number(got), Value::Number(want)) => {
            let (got, want) = (got.as_f64().unwrap(), want.as_f64().unwrap());
            ((got - want).abs() > 2e-6).then(|| format!("{path}: got {got}, want {want}"))
        }
        (got, want) => (got != want).then(|| format!("{path}: got {got}, want {want}")),
    }
}

fn golden() -> Vec<(String, Value)> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/check/calc");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    let read = |path: &std::path::PathBuf| serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    files.iter().map(|path| (path.display().to_string(), read(path))).collect()
}

/// Requests whose answers were worked by hand; the source stands in each file.
#[test]
fn worked_requests_have_their_worked_answers() {
    let golden = golden();
    assert!(golden.len() >= 11, "golden requests are missing");
    for (name, case) in golden {
        let got = rimbook::calc::run(&case["request"].to_string());
        match case["error"].as_str() {
            Some(start) => {
                let error = got.expect_err(&name).to_string();
                assert!(error.starts_with(start), "{name}: {error}");
            }
            None => {
                let got: Value = serde_json::from_str(&got.unwrap_or_else(|e| panic!("{name}: {e}"))).unwrap();
                assert_eq!(differs(&got, &case["answer"], ""), None, "{name}");
            }
        }
    }
}

/// The comparison itself can fail.
#[test]
fn a_wrong_answer_is_noticed() {
    let (_, case) = golden().into_iter().find(|(name, _)| name.ends_with("decentration_c4.json")).unwrap();
    let got: Value = serde_json::from_str(&rimbook::calc::run(&case["request"].to_string()).unwrap()).unwrap();
    let mut wrong = case["answer"].clone();
    wrong["right"]["decentration"]["in_mm"] = serde_json::json!(3.001);
    assert!(differs(&got, &wrong, "").is_some_and(|told| told.starts_with("/right/decentration/in_mm")));
}
