//! Drawings and lists of points as other programs write them (`tests/corpus/drawings`): one lens, or a pair of it, in each.

use std::f64::consts::TAU;

use rimbook::intake::{ReadOptions, read_any};
use rimbook::optics::Eye;
use rimbook::shape::boxing::Boxing;
use rimbook::shape::drawing::dxf::read_dxf;
use rimbook::shape::drawing::{DrawingRefused, Unit};
use rimbook::shape::outline::Point;
use rimbook::shape::record::TraceFile;

use super::damage::{Chance, corpus, count, damaged};

/// How many damaged files are read in a usual run.
const MUTATIONS: u64 = 400;

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
    let corpus = corpus("drawings");
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

/// A DXF drawing in millimeters with one entity.
fn dxf(entity: &str) -> String {
    format!(
        "0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{entity}0\nENDSEC\n0\nEOF\n"
    )
}

/// A spline that is given by points alone.
fn through(points: &[Point], more: &str) -> String {
    let points: String = points.iter().map(|p| format!("11\n{}\n21\n{}\n", p.x_mm, p.y_mm)).collect();
    dxf(&format!("0\nSPLINE\n{more}71\n3\n{points}"))
}

/// `scripts/fitted_splines.py` draws the same with SciPy.
#[test]
fn a_spline_through_points_is_the_one_that_scipy_draws() {
    let table = include_str!("tables/fitted_splines.csv");
    let rows = |name: &str, kind: &str| -> Vec<Point> {
        let of = format!("{name},{kind},");
        let numbers = table.lines().filter_map(|line| line.strip_prefix(&of)?.split_once(','));
        numbers.map(|(x, y)| Point::new(x.parse().unwrap(), y.parse().unwrap())).collect()
    };
    for (name, flag) in [("free", "70\n8\n"), ("stated", "70\n8\n"), ("closed", "70\n11\n")] {
        let end = |kind: &str, code: i32| -> String {
            let given = rows(name, kind);
            given.iter().map(|p| format!("{code}\n{}\n{}\n{}\n", p.x_mm, code + 10, p.y_mm)).collect()
        };
        let more = format!("{flag}{}{}", end("start", 12), end("end", 13));
        let lenses = read_dxf(&through(&rows(name, "point"), &more), None).unwrap();
        let (border, places) = (&lenses[0].border, rows(name, "place"));
        assert_eq!((lenses.len(), places.len()), (1, 123));
        for place in places {
            let off_mm = (0..border.len()).map(|i| from_side_mm(place, border[i], border[(i + 1) % border.len()]));
            let off_mm = off_mm.fold(f64::INFINITY, f64::min);
            assert!(off_mm < 0.005, "{name} at {:.0}°: {off_mm:.4}", place.angle_deg());
        }
    }
}

fn from_side_mm(p: Point, from: Point, to: Point) -> f64 {
    let (side, away) = (to.minus(from), p.minus(from));
    let along = away.x_mm * side.x_mm + away.y_mm * side.y_mm;
    away.minus(side.times((along / side.length_mm().powi(2)).clamp(0.0, 1.0))).length_mm()
}

#[test]
fn a_spline_through_too_few_points_is_refused() {
    let on_circle = |count: usize| -> Vec<Point> {
        (0..=count).map(|i| Point::polar(25.0, 360.0 * i as f64 / count as f64)).collect()
    };
    assert!(read_dxf(&through(&on_circle(36), ""), None).is_ok());
    let why = read_dxf(&through(&on_circle(8), ""), None).unwrap_err().to_string();
    assert!(why.contains("given by 9 points alone, which programs draw up to"), "{why}");
    // One that closes is a circle in every program.
    assert!(read_dxf(&through(&on_circle(8)[..8], "70\n1\n"), None).is_ok());
    for points in [&[Point::ORIGIN; 9][..], &[Point::ORIGIN, Point::new(30.0, 0.0)]] {
        assert!(matches!(read_dxf(&through(points, ""), None), Err(DrawingRefused::NotClosed)), "{points:?}");
    }
}

/// Each of these came to gigabytes of pieces, or to minutes of work. That their pieces are counted while they are drawn is
/// tested where they are drawn (`shape::drawing`).
#[test]
fn a_drawing_of_too_many_pieces_is_refused() {
    let far = |i: usize| ((i * 7919) % 9 * 100_000_000, (i * 104_729) % 9 * 100_000_000);
    let each = |count: usize, of: &dyn Fn(usize) -> String| -> String { (0..count).map(of).collect() };
    let knots = each(8_004, &|i| format!("40\n{i}\n"));
    let control = each(8_000, &|i| format!("10\n{}\n20\n{}\n", far(i).0, far(i).1));
    let bulges = each(4_000, &|i| format!("10\n{}\n20\n{}\n42\n1\n", far(i).0, far(i).1));
    let vertices = each(4_000, &|i| format!("0\nVERTEX\n10\n{}\n20\n{}\n42\n1\n", far(i).0, far(i).1));
    let zigzag = each(30_000, &|i| format!("0\nLINE\n10\n{i}\n20\n{}\n11\n{}\n21\n{}\n", i % 2, i + 1, (i + 1) % 2));
    let circles = each(3_000, &|i| format!("0\nCIRCLE\n10\n{}\n20\n0\n40\n25\n", 60 * i));
    let points: Vec<Point> = (0..4_000).map(far).map(|(x, y)| Point::new(x as f64, y as f64)).collect();
    for (name, text) in [
        ("a spline", dxf(&format!("0\nSPLINE\n71\n3\n{knots}{control}"))),
        ("bulges", dxf(&format!("0\nLWPOLYLINE\n70\n1\n{bulges}"))),
        ("an old polyline", dxf(&format!("0\nPOLYLINE\n70\n1\n{vertices}0\nSEQEND\n"))),
        ("open lines", dxf(&zigzag)),
        ("lenses", dxf(&circles)),
        ("a spline through points", through(&points, "70\n1\n")),
    ] {
        let why = read_dxf(&text, None).unwrap_err();
        assert!(matches!(why, DrawingRefused::TooMany | DrawingRefused::NotRead(_)), "{name}: {why}");
    }
}

/// Files of 3 to 6 kB, some of which came to 8 GB.
#[test]
fn what_is_drawn_again_and_again_is_not_drawn() {
    let nest = |name: &str, link: &str, mark: &str, each: usize| -> String {
        let inner = |i: usize| format!("<path d=\"M0 0L1 1L2 2L3 3\" {mark}=\"url(#{link}{})\"/>", i + 1).repeat(each);
        (0..12).map(|i| format!("<{name} id=\"{link}{i}\" width=\"9\" height=\"9\">{}</{name}>", inner(i))).collect()
    };
    let long = "L1 1L2 3".repeat(2_000);
    let bombs = [
        (nest("pattern", "p", "fill", 10), "fill=\"url(#p0)\""),
        (nest("mask", "p", "mask", 10), "mask=\"url(#p0)\""),
        (nest("clipPath", "p", "clip-path", 10), "clip-path=\"url(#p0)\""),
        (nest("marker", "p", "marker-mid", 10), "style=\"marker:url(#p0)\""),
        (
            format!(
                "<marker id=\"p0\"><path d=\"M0 0{long}\"/></marker><path d=\"M0 0{long}\" marker-mid=\"url(#p0)\"/>"
            ),
            "",
        ),
        ("<filter id=\"p0\"><feFlood/></filter>".to_owned(), "filter=\"url(#p0)\""),
    ];
    for (bomb, mark) in bombs {
        let text = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"60mm\" height=\"50mm\" viewBox=\"0 0 60 50\"><defs>{bomb}</defs>\
             <ellipse cx=\"30\" cy=\"25\" rx=\"26\" ry=\"19\" {mark}/></svg>"
        );
        let size = read(text.as_bytes()).unwrap_or_else(|why| panic!("{mark}: {why}")).outlines();
        assert!((Boxing::of(&size.right).a_mm - 52.0).abs() < 0.02, "{mark}");
    }
}

#[test]
fn damaged_drawings_give_a_shape_or_a_fault() {
    let corpus = corpus("drawings");
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
