use proptest::prelude::*;

use super::*;

#[track_caller]
fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
    assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
}

fn assert_same_power(got: SphereCylinder, want: SphereCylinder, tolerance: f64, row: &str) {
    let (g, w) = (got.matrix(), want.matrix());
    assert_close(g.xx_d, w.xx_d, tolerance, row);
    assert_close(g.xy_d, w.xy_d, tolerance, row);
    assert_close(g.yy_d, w.yy_d, tolerance, row);
}

fn tilted(panto_deg: f64, wrap_deg: f64) -> WearPosition {
    WearPosition { vertex_from_mm: 12.0, vertex_to_mm: 12.0, panto_deg, wrap_deg }
}

fn lens(sphere_d: f64, cylinder_d: f64, axis_deg: f64) -> LensOrder {
    LensOrder {
        power: SphereCylinder::new(sphere_d, cylinder_d, axis_deg),
        prism: BaseVector::default(),
        index: 1.6,
        front_power_d: if sphere_d > 0.0 { sphere_d + 5.0 } else { 3.0 },
        front_conic: 0.0,
        center_thickness_mm: if sphere_d > 0.0 { 6.0 } else { 1.5 },
    }
}

#[test]
fn martin_matches_the_worked_examples() {
    for (sphere_d, index, panto_deg, want, source) in [
        (15.0, 1.5, 10.0, (15.15, 0.47), "college opticianry course"),
        (-15.0, 1.5, 10.0, (-15.15, -0.47), "college opticianry course"),
        (-8.0, 1.5, 10.0, (-8.08, -0.25), "tests/check/scripts/lens_tables.py"),
        (-10.0, 1.5, 15.0, (-10.22, -0.73), "tests/check/scripts/lens_tables.py"),
        (-6.0, 1.498, 8.0, (-6.04, -0.12), "tests/check/scripts/lens_tables.py"),
    ] {
        let power = SphereCylinder::sphere(sphere_d);
        let want_panto = SphereCylinder::new(want.0, want.1, 180.0);
        let got = martin(power, index, &tilted(panto_deg, 0.0));
        // Sphere and cylinder are each printed to a hundredth.
        assert_same_power(got, want_panto, 0.0101, source);
        assert_same_power(inverse_martin(got, index, &tilted(panto_deg, 0.0)), power, 1e-12, "undone");
        let want_wrap = SphereCylinder::new(want.0, want.1, 90.0);
        assert_same_power(martin(power, index, &tilted(0.0, panto_deg)), want_wrap, 0.0101, source);
    }
}

#[test]
fn no_tilt_leaves_the_vertex_distance_alone() {
    let wear = WearPosition { vertex_from_mm: 12.0, vertex_to_mm: 14.0, panto_deg: 0.0, wrap_deg: 0.0 };
    let got = compensate(Eye::Right, &lens(-10.0, 0.0, 180.0), &wear).unwrap();
    assert_close(got.order.sphere_d, -10.20, 0.005, "public vertex page");
    assert_close(got.order_textbook.sphere_d, -10.20, 0.005, "public vertex page");
    assert_same_power(got.unchanged, SphereCylinder::sphere(-10.0), 1e-9, "as ordered");
    assert_eq!(got.tilt_prism, BaseVector::default());
}

#[test]
fn wrap_faces_the_temple_and_panto_the_floor() {
    // The lens's normal in the world is what its z is along right, up and ahead.
    let [right, up, ahead] = tilted(0.0, 10.0).in_lens_axes(Eye::Right);
    assert!(right[2] < 0.0 && ahead[2] > 0.0, "the right lens faces the observer's left, its temple side");
    assert_close(up[1], 1.0, 1e-12, "wrap leaves up alone");
    assert!(tilted(0.0, 10.0).in_lens_axes(Eye::Left)[0][2] > 0.0, "the left lens the other way");
    assert!(tilted(10.0, 0.0).in_lens_axes(Eye::Right)[1][2] < 0.0, "panto makes the lens face down");
    // Wrap first, then the front as a whole: the nose end of the lens has come forward by sin w, and panto
    // takes what is forward down by sin p. The other order would leave the lens's horizontal level.
    let [_, up, _] = tilted(10.0, 20.0).in_lens_axes(Eye::Right);
    let (sp, sw) = (10f64.to_radians().sin(), 20f64.to_radians().sin());
    assert_close(up[0], -sp * sw, 1e-12, "the nose end comes down");
}

/// What the worn lens does, by exact rays beside the line of sight: no pencil formula in it.
fn worn_power_by_rays(eye: Eye, order: &LensOrder, wear: &WearPosition) -> (SphereCylinder, (f64, f64)) {
    let lens = Lens::new(*order).unwrap();
    let [right, up, ahead] = wear.in_lens_axes(eye);
    let n = order.index;
    let vertex = [0.0, 0.0, -order.center_thickness_mm];
    // Snell by angles: outwards along the line of sight through the back vertex, then through the front.
    let inside = refract(ahead, [0.0, 0.0, 1.0], 1.0, n).unwrap();
    let r1 = 1.0 / lens.front().curvature_per_mm;
    // The front is a sphere about (0, 0, -r1): |vertex + λ·inside - center|² = r1².
    let from_center = [0.0, 0.0, r1 - order.center_thickness_mm];
    let b = dot(from_center, inside);
    let distance_mm = -b + (b * b - dot(from_center, from_center) + r1 * r1).sqrt();
    let place = add_scaled(vertex, inside, distance_mm);
    let normal = [place[0] / r1, place[1] / r1, (place[2] + r1) / r1];
    let away = refract(inside, normal, n, 1.0).unwrap();
    let arriving = away.map(|c| -c);
    // Rays parallel to it, beside it.
    let side = |dx: f64, dy: f64| {
        let start = add_scaled(add_scaled(add_scaled(place, away, 20.0), right, dx), up, dy);
        let from_center = add_scaled(start, [0.0, 0.0, r1], 1.0);
        let b = dot(from_center, arriving);
        let distance_mm = -b - (b * b - dot(from_center, from_center) + r1 * r1).sqrt();
        let hit = add_scaled(start, arriving, distance_mm);
        let normal = [hit[0] / r1, hit[1] / r1, (hit[2] + r1) / r1];
        let ray = lens.leave(hit, refract(arriving, normal, 1.0, n).unwrap()).unwrap();
        // Back to the plane across the line of sight through the back vertex.
        let from_vertex = add_scaled(ray.at_mm, vertex, -1.0);
        let on_plane = add_scaled(from_vertex, ray.along, -dot(from_vertex, ahead) / dot(ray.along, ahead));
        let forward = -dot(ray.along, ahead);
        ([dot(on_plane, right), dot(on_plane, up)], [dot(ray.along, right) / forward, dot(ray.along, up) / forward])
    };
    let h = 2e-3;
    let difference = |(ap, asl): ([f64; 2], [f64; 2]), (bp, bsl): ([f64; 2], [f64; 2])| {
        ([ap[0] - bp[0], ap[1] - bp[1]], [asl[0] - bsl[0], asl[1] - bsl[1]])
    };
    let (p1, s1) = difference(side(h, 0.0), side(-h, 0.0));
    let (p2, s2) = difference(side(0.0, h), side(0.0, -h));
    // slope = -W r for two r: solve for W.
    let determinant = p1[0] * p2[1] - p1[1] * p2[0];
    let w = |i: usize, j: usize| {
        let (num0, num1) = if j == 0 { (p2[1], -p1[1]) } else { (-p2[0], p1[0]) };
        -1000.0 * (s1[i] * num0 + s2[i] * num1) / determinant
    };
    assert_close(w(0, 1), w(1, 0), 2e-3, "a wavefront bends symmetrically");
    let (_, deviation) = side(0.0, 0.0);
    assert_close(deviation[0], 0.0, 1e-9, "the middle ray is the line of sight");
    let tangent = |d: Vector| 100.0 * -dot(arriving, d) / -dot(arriving, ahead);
    (PowerMatrix { xx_d: w(0, 0), xy_d: w(0, 1), yy_d: w(1, 1) }.to_sphere_cylinder(), (tangent(right), tangent(up)))
}

#[test]
fn the_order_gives_the_prescribed_power_by_exact_rays() {
    for eye in Eye::BOTH {
        for prescribed in
            [lens(-6.0, -2.0, 30.0), lens(8.0, -1.0, 100.0), lens(0.5, -0.25, 7.0), lens(-14.0, 0.0, 180.0)]
        {
            for (panto, wrap) in [(0.0, 15.0), (12.0, 0.0), (10.0, 15.0), (8.0, 25.0)] {
                let wear = WearPosition { vertex_from_mm: 12.0, vertex_to_mm: 14.0, panto_deg: panto, wrap_deg: wrap };
                let got = compensate(eye, &prescribed, &wear).unwrap();
                let ordered = LensOrder { power: got.order, ..prescribed };
                let (power, prism) = worn_power_by_rays(eye, &ordered, &wear);
                let row = format!("{eye:?} {:?} panto {panto} wrap {wrap}", prescribed.power);
                assert_same_power(power, prescribed.power.vertex_compensated(12.0, 14.0), 1e-3, &row);
                assert_close(prism.0, got.tilt_prism.x_pd, 1e-9, &row);
                assert_close(prism.1, got.tilt_prism.y_pd, 1e-9, &row);
                let (unchanged, _) = worn_power_by_rays(eye, &prescribed, &wear);
                assert_same_power(got.unchanged, unchanged, 1e-3, &row);
            }
        }
    }
}

#[test]
fn the_textbook_loses_the_cylinder_of_two_tilts() {
    // (panto, wrap, oblique cylinder of -15.00 as worn, and of the order for it): tests/check/scripts/worked_figures.py.
    let strong = lens(-15.0, 0.0, 180.0);
    for (panto, wrap, worn_d, ordered_d) in [(8.0, 6.0, 0.45, 0.43), (10.0, 15.0, 1.49, 1.29)] {
        let got = compensate(Eye::Right, &strong, &tilted(panto, wrap)).unwrap();
        let oblique_d = |power: SphereCylinder| 2.0 * power.matrix().xy_d;
        assert_close(oblique_d(got.unchanged).abs(), worn_d, 0.005, "worn as prescribed");
        assert_close(oblique_d(got.order).abs(), ordered_d, 0.005, "as ordered");
        assert!(oblique_d(got.order) * oblique_d(got.unchanged) < 0.0, "the order takes away what the tilt adds");
        assert_close(oblique_d(got.order_textbook), 0.0, 1e-9, "the textbook loses it");
    }
}

#[test]
fn tilt_makes_prism_away_from_where_the_lens_turns() {
    // Small angles: 100 tan θ (t/n) F1, base down for panto, out for wrap (textbook).
    let order = LensOrder { front_power_d: 6.0, center_thickness_mm: 3.0, index: 1.5, ..lens(-2.0, 0.0, 180.0) };
    let small = 100.0 * 3f64.to_radians().tan() * 0.003 / 1.5 * 6.0;
    let panto = compensate(Eye::Right, &order, &tilted(3.0, 0.0)).unwrap().tilt_prism;
    assert_close(panto.y_pd, -small, 0.002, "base down");
    assert_close(panto.x_pd, 0.0, 1e-12, "no horizontal prism");
    let wrap = compensate(Eye::Left, &order, &tilted(0.0, 3.0)).unwrap().tilt_prism;
    assert_close(Eye::Left.nasal_sign() * wrap.x_pd, -small, 0.002, "base out");
}

#[test]
fn mirrored_eyes_give_mirrored_orders() {
    let wear = WearPosition { vertex_from_mm: 13.0, vertex_to_mm: 11.0, panto_deg: 9.0, wrap_deg: 14.0 };
    let right = compensate(Eye::Right, &lens(-5.0, -1.5, 35.0), &wear).unwrap();
    let left = compensate(Eye::Left, &lens(-5.0, -1.5, 145.0), &wear).unwrap();
    assert_close(right.order.sphere_d, left.order.sphere_d, 1e-9, "sphere");
    assert_close(right.order.cylinder_d, left.order.cylinder_d, 1e-9, "cylinder");
    assert_close(right.order.axis_deg, 180.0 - left.order.axis_deg, 1e-7, "axis");
    assert_close(right.tilt_prism.x_pd, -left.tilt_prism.x_pd, 1e-12, "prism sideways");
    assert_close(right.tilt_prism.y_pd, left.tilt_prism.y_pd, 1e-12, "prism upwards");
}

#[test]
fn refuses_values_out_of_range() {
    let order = lens(-2.0, 0.0, 180.0);
    assert_eq!(
        compensate(Eye::Right, &order, &tilted(f64::NAN, 0.0)).err().map(|e| e.to_string().is_empty()),
        Some(false)
    );
    assert_eq!(compensate(Eye::Right, &order, &tilted(0.0, 41.0)), Err(CompensationError::Wrap(41.0)));
    let far = WearPosition { vertex_to_mm: 50.0, ..tilted(0.0, 0.0) };
    assert_eq!(compensate(Eye::Right, &order, &far), Err(CompensationError::Vertex(50.0)));
}

#[test]
fn the_residual_is_the_rounding_error() {
    for eye in Eye::BOTH {
        let order = lens(-5.0, -1.5, 35.0);
        let wear = WearPosition { vertex_from_mm: 12.0, vertex_to_mm: 10.0, panto_deg: 8.0, wrap_deg: 20.0 };
        let got = compensate(eye, &order, &wear).unwrap();
        let none = residual_as_worn(eye, &order, &wear, got.order).unwrap();
        assert_same_power(none, SphereCylinder::sphere(0.0), 1e-9, "the exact order has no residual");
        // As prescribed: what the lens gives less the prescription at the worn distance.
        let wanted = order.power.vertex_compensated(12.0, 10.0).matrix();
        let left = residual_as_worn(eye, &order, &wear, order.power).unwrap().matrix();
        let worn = got.unchanged.matrix();
        assert_close(left.xx_d, worn.xx_d - wanted.xx_d, 1e-9, "across");
        assert_close(left.xy_d, worn.xy_d - wanted.xy_d, 1e-9, "oblique");
        assert_close(left.yy_d, worn.yy_d - wanted.yy_d, 1e-9, "along");
        // Without tilt and with one distance, an eighth of sphere ordered too much is an eighth too much before the eye.
        let flat = WearPosition { vertex_from_mm: 12.0, vertex_to_mm: 12.0, panto_deg: 0.0, wrap_deg: 0.0 };
        let more = SphereCylinder { sphere_d: order.power.sphere_d + 0.125, ..order.power };
        let left = residual_as_worn(eye, &order, &flat, more).unwrap();
        assert_same_power(left, SphereCylinder::sphere(0.125), 1e-9, "an eighth");
    }
    let steep = WearPosition { vertex_from_mm: 12.0, vertex_to_mm: 12.0, panto_deg: 0.0, wrap_deg: 60.0 };
    assert!(residual_as_worn(Eye::Right, &lens(-5.0, 0.0, 180.0), &steep, SphereCylinder::sphere(-5.0)).is_err());
}

proptest! {
    #[test]
    fn the_exact_order_leaves_nothing_and_mirrored_eyes_leave_the_same(
        sphere in -900..900_i32, cylinder in -400..1_i32, axis in 1..181_i32,
        panto in -20..20_i32, wrap in -30..30_i32, vertex in 8..16_i32, off in -50..50_i32,
    ) {
        let power = |axis: i32| SphereCylinder::new(f64::from(sphere) / 100.0, f64::from(cylinder) / 100.0, f64::from(axis));
        let of = |axis: i32| LensOrder { power: power(axis), ..lens(f64::from(sphere) / 100.0, 0.0, 180.0) };
        let wear = WearPosition {
            vertex_from_mm: 12.0,
            vertex_to_mm: f64::from(vertex),
            panto_deg: f64::from(panto),
            wrap_deg: f64::from(wrap),
        };
        let mirrored = if axis == 180 { 180 } else { 180 - axis };
        let right = compensate(Eye::Right, &of(axis), &wear).unwrap();
        let none = residual_as_worn(Eye::Right, &of(axis), &wear, right.order).unwrap();
        prop_assert!(none.sphere_d.abs() < 1e-7 && none.cylinder_d.abs() < 1e-7, "{:?}", none);
        let ordered = |a: i32| SphereCylinder { sphere_d: power(a).sphere_d + f64::from(off) / 100.0, ..power(a) };
        let right = residual_as_worn(Eye::Right, &of(axis), &wear, ordered(axis)).unwrap().matrix();
        let left = residual_as_worn(Eye::Left, &of(mirrored), &wear, ordered(mirrored)).unwrap().matrix();
        prop_assert!((right.xx_d - left.xx_d).abs() < 1e-7 && (right.yy_d - left.yy_d).abs() < 1e-7);
        prop_assert!((right.xy_d + left.xy_d).abs() < 1e-7);
    }
}
