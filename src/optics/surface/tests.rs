use super::*;

#[track_caller]
fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
    assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
}

#[test]
fn sag_of_a_sphere() {
    for (power_d, index, h_mm, want_mm, source) in [
        (6.0, 1.530, 35.0, 7.230, "computed, s = r - √(r² - h²)"),
        (4.0, 1.530, 30.0, 3.441, "computed, s = r - √(r² - h²)"),
    ] {
        let front = Conic::sphere(front_curvature_per_mm(power_d, index));
        assert_close(front.sag_mm(h_mm, 0.0).unwrap(), want_mm, 5e-4, source);
        assert_close(front.sag_mm(h_mm * 0.6, -h_mm * 0.8).unwrap(), want_mm, 5e-4, source);
    }
    assert_eq!(Conic::sphere(0.0).sag_mm(35.0, 0.0), Some(0.0), "a plane");
    assert_eq!(Conic::sphere(1.0 / 30.0).sag_mm(30.5, 0.0), None, "beyond the rim");
}

#[test]
fn a_paraboloid_and_an_ellipsoid_lie_where_their_equations_say() {
    let paraboloid = Conic { curvature_per_mm: 1.0 / 80.0, conic: -1.0 };
    assert_close(paraboloid.sag_mm(20.0, 0.0).unwrap(), 400.0 / 160.0, 1e-12, "s = h² / 2r");
    let ellipsoid = Conic { curvature_per_mm: 1.0 / 80.0, conic: -0.5 };
    let s = ellipsoid.sag_mm(12.0, 16.0).unwrap();
    assert_close(400.0 - 2.0 * 80.0 * s + 0.5 * s * s, 0.0, 1e-9, "h² - 2rs + (1 + k)s² = 0");
}

#[test]
fn tool_powers() {
    assert_close(true_from_tool_d(6.0, 1.586), 6.63, 5e-3, "computed, F (n - 1) / 0.530");
    for (index, want) in [(1.498, 5.64), (1.60, 6.79), (1.67, 7.58)] {
        assert_close(true_from_tool_d(6.0, index), want, 5e-3, "computed, F (n - 1) / 0.530");
        assert_close(tool_from_true_d(true_from_tool_d(6.0, index), index), 6.0, 1e-12, "and back");
    }
}

/// The torus by its implicit equation in its own axes, solved by bisection: shares nothing with the formula.
fn torus_sag_by_bisection(strong_r: f64, flat_r: f64, u: f64, v: f64) -> f64 {
    let gap = |s: f64| {
        let from_axis = ((flat_r - s).powi(2) + v * v).sqrt();
        // The tube of radius strong_r runs at flat_r - strong_r from the axis of revolution.
        (from_axis - (flat_r - strong_r)).powi(2) + u * u - strong_r * strong_r
    };
    let (mut low, mut high) = (0.0, strong_r.min(30.0));
    for _ in 0..200 {
        let middle = (low + high) / 2.0;
        if gap(middle) > 0.0 { low = middle } else { high = middle }
    }
    (low + high) / 2.0
}

#[test]
fn tyre_form_lies_on_its_torus() {
    let (strong_r, flat_r) = (60.0, 95.0);
    // The strong arc runs along 30 degrees.
    for surface in [Toric::new(1.0 / strong_r, 1.0 / flat_r, 30.0), Toric::new(1.0 / flat_r, 1.0 / strong_r, 120.0)] {
        for (x, y) in [(20.0, 5.0), (-12.0, 22.0), (0.0, -25.0), (25.0, 0.0)] {
            let (s, c) = 30f64.to_radians().sin_cos();
            let want = torus_sag_by_bisection(strong_r, flat_r, c * x + s * y, c * y - s * x);
            assert_close(surface.sag_mm(x, y).unwrap(), want, 1e-9, "torus, implicit equation");
        }
    }
}

#[test]
fn equal_curvatures_make_a_sphere_and_a_flat_arc_a_cylinder() {
    let sphere = Toric::new(1.0 / 90.0, 1.0 / 90.0, 17.0);
    assert_close(sphere.sag_mm(15.0, 20.0).unwrap(), 90.0 - (8100f64 - 625.0).sqrt(), 1e-12, "sphere");
    let cylinder = Toric::new(0.0, -1.0 / 90.0, 0.0);
    assert_close(cylinder.sag_mm(40.0, 20.0).unwrap(), -(90.0 - (8100f64 - 400.0).sqrt()), 1e-12, "cylinder");
    assert_eq!(Toric::new(0.0, 0.0, 5.0).sag_mm(3.0, 4.0), Some(0.0), "plane");
}

#[test]
fn slopes_and_bending_are_those_of_the_sag() {
    let step = 1e-4;
    let toric = Toric::new(1.0 / 55.0, -1.0 / 140.0, 25.0);
    let conic = Conic { curvature_per_mm: 1.0 / 70.0, conic: -0.7 };
    let conic_sag = |x, y| conic.sag_mm(x, y).unwrap();
    let toric_sag = |x, y| toric.sag_mm(x, y).unwrap();
    type Sag<'a> = &'a dyn Fn(f64, f64) -> f64;
    type LocalForm<'a> = &'a dyn Fn(f64, f64) -> Option<Local>;
    let surfaces: [(Sag, LocalForm); 2] =
        [(&conic_sag, &|x, y| conic.local(x, y)), (&toric_sag, &|x, y| toric.local(x, y))];
    for (sag, local) in surfaces {
        for (x, y) in [(0.0, 0.0), (18.0, -7.0), (-9.0, -21.0)] {
            let here = local(x, y).unwrap();
            assert_close(here.sag_mm, sag(x, y), 1e-12, "sag");
            let dx = (sag(x + step, y) - sag(x - step, y)) / (2.0 * step);
            let dy = (sag(x, y + step) - sag(x, y - step)) / (2.0 * step);
            assert_close(here.slope[0], dx, 1e-8, "slope along x");
            assert_close(here.slope[1], dy, 1e-8, "slope along y");
            assert_eq!(toric.sag_and_slope(x, y).unwrap().1, toric.local(x, y).unwrap().slope);
            let up = local(x, y + step).unwrap().slope;
            let down = local(x, y - step).unwrap().slope;
            let right = local(x + step, y).unwrap().slope;
            let left = local(x - step, y).unwrap().slope;
            assert_close(here.bend_per_mm[0], (right[0] - left[0]) / (2.0 * step), 1e-7, "xx");
            assert_close(here.bend_per_mm[1], (up[0] - down[0]) / (2.0 * step), 1e-7, "xy");
            assert_close(here.bend_per_mm[1], (right[1] - left[1]) / (2.0 * step), 1e-7, "yx");
            assert_close(here.bend_per_mm[2], (up[1] - down[1]) / (2.0 * step), 1e-7, "yy");
        }
    }
}
