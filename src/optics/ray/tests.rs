use super::*;

#[test]
fn refraction_obeys_snell() {
    // 30° in air into index 1.5: sin i' = 0.5 / 1.5.
    let along = [0.5, 0.0, -(0.75f64).sqrt()];
    let inside = refract(along, [0.0, 0.0, 1.0], 1.0, 1.5).unwrap();
    assert!((inside[0] - 1.0 / 3.0).abs() < 1e-12 && inside[1] == 0.0 && inside[2] < 0.0);
    let out = refract(inside, [0.0, 0.0, -1.0], 1.5, 1.0).unwrap();
    assert!((out[0] - 0.5).abs() < 1e-12, "a parallel plate gives the direction back");
    let steep = [0.9, 0.0, -(0.19f64).sqrt()];
    assert_eq!(refract(steep, [0.0, 0.0, 1.0], 1.5, 1.0), None, "total reflection beyond 41.8°");
}

#[test]
fn coddington_for_a_sphere() {
    // Textbook Coddington: n'/s' = n/s + Γ/r sagittally, n'cos²i'/t' = n cos²i/t + Γ/r tangentially,
    // Γ = n' cos i' - n cos i.
    let (r, n, angle) = (80.0, 1.6, 25f64.to_radians());
    let patch = Patch {
        tangents: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]],
        normal: [0.0, 0.0, -1.0],
        bend_per_mm: [1.0 / r, 0.0, 1.0 / r],
    };
    // The plane of incidence is vertical.
    let pencil = Pencil::parallel([0.0, angle.sin(), -angle.cos()]);
    let inside = pencil.refracted(&patch, 1.0, n).unwrap();
    let refracted = (angle.sin() / n).asin();
    let gamma = n * refracted.cos() - angle.cos();
    assert!((inside.vergence_per_mm[0] - gamma / r).abs() < 1e-15, "sagittal");
    assert!(inside.vergence_per_mm[1].abs() < 1e-15);
    assert!((inside.vergence_per_mm[2] - gamma / r / refracted.cos().powi(2)).abs() < 1e-15, "tangential");
    let later = inside.after(7.0, n);
    let stepped = |l: f64| l / (1.0 - 7.0 / n * l);
    assert!((later.vergence_per_mm[0] - stepped(inside.vergence_per_mm[0])).abs() < 1e-15, "step-along");
    assert!((later.vergence_per_mm[2] - stepped(inside.vergence_per_mm[2])).abs() < 1e-15, "step-along");
}
