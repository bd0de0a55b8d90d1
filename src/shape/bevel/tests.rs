use super::*;
use crate::optics::lens::LensOrder;
use crate::optics::power::SphereCylinder;
use crate::optics::prism::BaseVector;
use crate::shape::outline::Outline;

fn lens(sphere_d: f64, front_d: f64, center_mm: f64) -> Lens {
    Lens::new(LensOrder {
        power: SphereCylinder::sphere(sphere_d),
        prism: BaseVector::default(),
        index: 1.53,
        front_power_d: front_d,
        front_conic: 0.0,
        center_thickness_mm: center_mm,
    })
    .unwrap()
}

fn oval() -> Outline {
    Outline::from_points(
        (0..256)
            .map(|i| {
                let (s, c) = (f64::from(i) * std::f64::consts::TAU / 256.0).sin_cos();
                Point::new(26.0 * c, 18.0 * s)
            })
            .collect(),
    )
    .unwrap()
}

fn line(lens: &Lens, placement: Placement, hold: Hold, rim_d: Option<f64>) -> EdgeLine {
    let edge = Edge::of(&oval(), Point::new(2.0, 1.0), lens).unwrap();
    edge_line(&edge, Point::new(2.0, 1.0), lens, placement, hold, rim_d)
}

#[test]
fn each_placement_lies_where_it_says() {
    let minus = lens(-5.0, 4.0, 2.0);
    for point in line(&minus, Placement::Share(1.0 / 3.0), Hold::USUAL_BEVEL, None).at {
        assert!((point.from_front_mm - point.edge.mm / 3.0).abs() < 1e-12);
        assert!((point.rear_overhang_mm - (point.edge.mm * 2.0 / 3.0 - 1.25)).abs() < 1e-12);
    }
    for point in line(&minus, Placement::FromFront(1.2), Hold::USUAL_BEVEL, None).at {
        assert_eq!(point.from_front_mm, 1.2);
    }
    let parallel = line(&minus, Placement::FrontCurve(0.5), Hold::USUAL_BEVEL, None);
    let first = parallel.at[0].from_front_mm;
    assert!(parallel.at.iter().all(|point| point.from_front_mm == first));
    // A line parallel to a 4.00 front (1.530) has its curve.
    assert!((parallel.curve_tool_d.unwrap() - 4.0).abs() < 1e-6, "{:?}", parallel.curve_tool_d);
    let own = line(&minus, Placement::Curve { tool_d: 6.0, share: 0.5 }, Hold::USUAL_BEVEL, None);
    assert!((own.curve_tool_d.unwrap() - 6.0).abs() < 1e-6, "{:?}", own.curve_tool_d);
}

#[test]
fn a_line_in_the_middle_of_an_edge_is_curved_between_its_surfaces() {
    // Depth s1 + (t - s1 + s2)/2 = (t + s1 + s2)/2: halfway between the 4.00 front and the -9.02 back.
    let minus = lens(-5.0, 4.0, 2.0);
    let curve = line(&minus, Placement::Share(0.5), Hold::USUAL_BEVEL, None).curve_tool_d.unwrap();
    assert!((curve - 6.5).abs() < 0.2, "{curve}");
}

#[test]
fn warns_where_the_line_would_break_out() {
    let minus = lens(-5.0, 4.0, 1.2);
    let fine = line(&minus, Placement::Share(1.0 / 3.0), Hold::USUAL_BEVEL, Some(4.0));
    assert!(
        fine.warnings.iter().all(|w| matches!(w, EdgeWarning::CurveDiffers { .. })),
        "a thick edge holds a bevel: {:?}",
        fine.warnings
    );
    let close = line(&minus, Placement::FromFront(0.2), Hold::USUAL_BEVEL, None).warnings;
    assert!(matches!(close[..], [EdgeWarning::BreaksFront { by_mm, .. }] if (by_mm - 0.3).abs() < 1e-9), "{close:?}");
    let plus = lens(3.0, 8.0, 3.0);
    let thin = Edge::of(&oval(), Point::new(2.0, 1.0), &plus).unwrap().thinnest();
    let groove = line(&plus, Placement::Share(0.5), Hold::USUAL_GROOVE, None).warnings;
    assert!(
        matches!(groove[..], [EdgeWarning::Thin { deg, .. }, EdgeWarning::BreaksFront { .. }, EdgeWarning::BreaksBack { .. }] if deg == thin.deg),
        "{groove:?}"
    );
    let drilled = line(&plus, Placement::Share(0.5), Hold::Drilled, None).warnings;
    assert!(matches!(drilled[..], [EdgeWarning::Thin { least_mm: 2.0, .. }]), "{drilled:?}");
    let deep = line(&minus, Placement::FromFront(2.6), Hold::USUAL_BEVEL, None).warnings;
    assert!(matches!(deep[..], [EdgeWarning::BreaksBack { .. }]), "{deep:?}");
}

#[test]
fn warns_when_the_rim_has_another_curve() {
    let minus = lens(-5.0, 4.0, 2.0);
    let says = |rim_d| line(&minus, Placement::FrontCurve(0.5), Hold::USUAL_BEVEL, Some(rim_d)).warnings;
    assert_eq!(says(4.9), []);
    assert!(matches!(says(6.0)[..], [EdgeWarning::CurveDiffers { rim_d: 6.0, .. }]));
}

#[test]
fn the_curve_of_points_on_a_sphere() {
    let r = 106.0; // 5.00 at 1.530
    let on_sphere = |tilt: f64| {
        (0..100).map(move |i| {
            let (s, c) = (f64::from(i) * std::f64::consts::TAU / 100.0).sin_cos();
            let (x, y) = (25.0 * c, 16.0 * s);
            let z = (r * r - x * x - y * y).sqrt() - r;
            // A tilted tracer measures the same curve.
            [x * tilt.cos() + z * tilt.sin(), y, z * tilt.cos() - x * tilt.sin()]
        })
    };
    for tilt in [0.0, 0.15] {
        assert!((curve_tool_d(on_sphere(tilt)).unwrap() - 5.0).abs() < 1e-6, "{:?}", curve_tool_d(on_sphere(tilt)));
    }
    let flat = (0..50).map(|i| [f64::from(i), f64::from(i * i % 17), 3.0]);
    assert!(curve_tool_d(flat).unwrap().abs() < 1e-9);
    let ring = (0..50).map(|i| [20.0 * f64::from(i).cos(), 20.0 * f64::from(i).sin(), 3.0]);
    assert_eq!(curve_tool_d(ring), None, "every sphere passes through a circle");
}
