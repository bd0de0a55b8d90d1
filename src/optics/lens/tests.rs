use super::*;
use crate::optics::power::SphereCylinder;

fn order(sphere_d: f64, cylinder_d: f64, axis_deg: f64, index: f64, front_d: f64, center_mm: f64) -> LensOrder {
    LensOrder {
        power: SphereCylinder::new(sphere_d, cylinder_d, axis_deg),
        prism: BaseVector::default(),
        index,
        front_power_d: front_d,
        front_conic: 0.0,
        center_thickness_mm: center_mm,
    }
}

#[track_caller]
fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
    assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
}

#[test]
fn the_back_gives_the_back_vertex_power() {
    let lens = Lens::new(order(4.0, -1.5, 30.0, 1.5, 8.0, 6.0)).unwrap();
    // 8 / (1 - 0.006 / 1.5 · 8) = 8.2645.
    let back = lens.back_curves();
    assert_close(back.base_d, 4.0 - 8.0 / 0.968, 1e-12, "thick lens, along the axis");
    assert_close(back.cross_d, 2.5 - 8.0 / 0.968, 1e-12, "thick lens, across");
    assert_close(back.axis_deg, 30.0, 0.0, "the flatter curve of a meniscus runs along the minus axis");
    // Paraxial rays focus where the power says.
    let (s, c) = 120f64.to_radians().sin_cos();
    let ray = lens.trace(0.01 * c, 0.01 * s).unwrap();
    let focus_mm = -(ray.at_mm[0] / ray.along[0]) * -ray.along[2];
    assert_close(1000.0 / focus_mm, 2.5, 1e-4, "paraxial focus behind the back vertex");
}

#[test]
fn refuses_values_out_of_range() {
    for (bad, wanted) in [
        (order(-2.0, 0.0, 180.0, 1.39, 4.0, 2.0), LensError::Index(1.39)),
        (order(-2.0, 0.0, 180.0, 1.5, 41.0, 2.0), LensError::FrontPower(41.0)),
        (order(-2.0, 0.0, 180.0, 1.5, 4.0, 0.0), LensError::CenterThickness(0.0)),
        (order(-41.0, 0.0, 180.0, 1.5, 4.0, 2.0), LensError::Power(-41.0)),
        (
            LensOrder { prism: BaseVector { x_pd: 30.0, y_pd: 1.0 }, ..order(0.0, 0.0, 180.0, 1.5, 4.0, 2.0) },
            LensError::Prism(901f64.sqrt()),
        ),
    ] {
        assert_eq!(Lens::new(bad), Err(wanted), "{bad:?}");
    }
    assert!(Lens::new(order(f64::NAN, 0.0, 180.0, 1.5, 4.0, 2.0)).is_err());
    assert!(Lens::new(order(-2.0, 0.0, 180.0, f64::NAN, 4.0, 2.0)).is_err());
    assert!(Lens::new(order(-2.0, 0.0, 180.0, 1.5, f64::NAN, 2.0)).is_err());
    assert!(Lens::new(order(-2.0, 0.0, 180.0, 1.5, 4.0, f64::NAN)).is_err());
}

#[test]
fn a_surface_too_steep_reports_its_radius() {
    let lens = Lens::new(order(-20.0, 0.0, 180.0, 1.5, 1.0, 2.0)).unwrap();
    let error = lens.check_span(35.0).unwrap_err();
    let sentence = error.to_string();
    assert!(sentence.contains("back surface of -21.00 D has a radius of 23.81 mm"), "{sentence}");
    assert_eq!(lens.check_span(20.0), Ok(()));
    assert!(lens.thickness_mm(25.0, 0.0).is_err());
    assert!(lens.thickness_mm(20.0, 0.0).unwrap().is_finite());
    let front = Lens::new(order(20.0, 0.0, 180.0, 1.5, 22.0, 12.0)).unwrap();
    assert!(front.check_span(30.0).unwrap_err().to_string().contains("front surface of +22.00 D"));
}

#[test]
fn a_prism_deviates_the_axial_ray_by_its_amount_towards_its_base() {
    for (x_pd, y_pd) in [(2.0, 0.0), (-1.5, 3.0), (0.0, -10.0), (12.0, 16.0)] {
        let prism = BaseVector { x_pd, y_pd };
        for power in [0.0, -6.0] {
            let lens = Lens::new(LensOrder { prism, ..order(power, -1.0, 70.0, 1.6, 5.0, 3.0) }).unwrap();
            let got = lens.trace(0.0, 0.0).unwrap().deviation();
            assert_close(got.x_pd, x_pd, 1e-9, "100 tan of the deviation");
            assert_close(got.y_pd, y_pd, 1e-9, "100 tan of the deviation");
            let at_base = lens.thickness_mm(x_pd, y_pd).unwrap();
            let at_apex = lens.thickness_mm(-x_pd, -y_pd).unwrap();
            assert!(at_base > at_apex, "thick at the base");
        }
    }
}

#[test]
fn a_tilted_sphere_is_a_sphere_about_its_moved_center() {
    let lens =
        Lens::new(LensOrder { prism: BaseVector { x_pd: 3.0, y_pd: 4.0 }, ..order(-5.0, 0.0, 180.0, 1.5, 3.0, 2.0) })
            .unwrap();
    let r = 1.0 / lens.back().strong_per_mm();
    let deviation = 0.05f64.atan();
    let tilt = (deviation.sin() / (1.5 - deviation.cos())).atan();
    // The center of the back lies behind the vertex, along the tilted normal (turned towards the base).
    let center = [-r * tilt.sin() * 0.6, -r * tilt.sin() * 0.8, -2.0 - r * tilt.cos()];
    for (x, y) in [(20.0, 3.0), (-18.0, -15.0), (4.0, 24.0)] {
        let back_z = center[2] + (r * r - (x - center[0]).powi(2) - (y - center[1]).powi(2)).sqrt();
        let r1 = 1000.0 * 0.5 / 3.0;
        let front_z = (r1 * r1 - x * x - y * y).sqrt() - r1;
        assert_close(lens.thickness_mm(x, y).unwrap(), front_z - back_z, 1e-9, "sphere about its center");
    }
}
