use proptest::prelude::*;

use super::*;
use crate::optics::unit::{Axis, Diopter, PrismDiopter};

/// A power from hundredths, for tables.
pub(crate) fn power(sphere: i32, cylinder: i32, axis: i32) -> LensPower {
    let axis = (cylinder != 0).then(|| Axis::new(axis).unwrap());
    LensPower::new(Diopter::from_hundredths(sphere).unwrap(), Diopter::from_hundredths(cylinder).unwrap(), axis)
        .unwrap()
}

/// A prism from hundredths, for tables.
pub(crate) fn prism(base_in: i32, base_up: i32) -> Prism {
    Prism::new(PrismDiopter::from_hundredths(base_in).unwrap(), PrismDiopter::from_hundredths(base_up).unwrap())
        .unwrap()
}

/// Every power in steps of an eighth, in any form, as the trade writes it.
pub(crate) fn any_power() -> impl Strategy<Value = LensPower> {
    (-160i32..=160, -80i32..=80, 1i32..=180).prop_map(|(s, c, a)| power(s * 25 / 2, c * 25 / 2, a))
}

fn any_prism() -> impl Strategy<Value = Prism> {
    (-1400i32..=1400, -1400i32..=1400).prop_map(|(x, y)| prism(x, y))
}

#[test]
fn transposes_exactly() {
    for (from, to, source) in [
        (power(300, -100, 180), power(200, 100, 90), "public exam page, toric transposition"),
        (power(-200, 150, 90), power(-50, -150, 180), "public exam page, toric transposition"),
        (power(-200, -75, 90), power(-275, 75, 180), "computed from the textbook rule"),
        (power(150, -225, 45), power(-75, 225, 135), "computed from the textbook rule"),
        (power(-212, -112, 10), power(-325, 112, 100), "eighths add as eighths: common practice"),
        (power(12, -37, 10), power(-25, 37, 100), "eighths add as eighths: common practice"),
        (power(-210, -115, 10), power(-325, 115, 100), "hundredths where they are not eighths"),
        (power(-210, -112, 10), power(-322, 112, 100), "hundredths where one is not an eighth"),
    ] {
        assert_eq!(from.transposed(), to, "{from}: {source}");
        assert_eq!(to.transposed(), from, "{to}: {source}");
    }
    assert_eq!(power(100, 0, 0).to_plus(), power(100, 0, 0));
}

#[test]
fn cannot_hold_half_a_cylinder() {
    let (zero, one) = (Diopter::ZERO, Diopter::from_hundredths(-100).unwrap());
    let axis = Axis::new(90).unwrap();
    assert_eq!(LensPower::new(one, one, None), Err(PowerError::AxisMissing));
    assert_eq!(LensPower::new(one, zero, Some(axis)), Err(PowerError::AxisWithoutCylinder(axis)));
    assert_eq!(LensPower::new(zero, zero, None), Ok(LensPower::PLANO));
}

#[test]
fn ranges_hold_in_both_forms() {
    let make = |s, c| {
        LensPower::new(Diopter::from_hundredths(s).unwrap(), Diopter::from_hundredths(c).unwrap(), Axis::new(5).ok())
    };
    assert!(make(3000, -1000).is_ok());
    assert!(matches!(make(3001, -1000), Err(PowerError::SphereOutOfRange(_))));
    assert!(matches!(make(2000, 1001), Err(PowerError::CylinderOutOfRange(_))));
    assert!(matches!(make(2500, 525), Err(PowerError::SphereOutOfRange(d)) if d.hundredths() == 3025));
}

#[test]
fn drums() {
    let d = |h| Diopter::from_hundredths(h).unwrap();
    let axis = Axis::new(95).ok();
    assert_eq!(LensPower::from_drums(d(-225), d(-350), axis), Ok(power(-225, -125, 95)));
    assert_eq!(LensPower::from_drums(d(-225), d(-225), axis), Ok(power(-225, 0, 0)));
    assert_eq!(LensPower::from_drums(d(-225), d(-350), None), Err(PowerError::AxisMissing));
    assert!(LensPower::from_drums(d(-3000), d(3000), axis).is_err());
}

#[test]
fn writes_as_the_trade_does() {
    for (power, text) in [
        (power(-225, -125, 95), "-2.25 -1.25 x 095"),
        (power(100, 0, 0), "+1.00 sph"),
        (power(0, 0, 0), "Plano"),
        (power(0, -50, 180), "Plano -0.50 x 180"),
    ] {
        assert_eq!(power.to_string(), text);
    }
    assert_eq!(prism(150, 100).to_string(), "1.50 base in, 1.00 base up");
    assert_eq!(prism(-150, -100).to_string(), "1.50 base out, 1.00 base down");
    let rx = EyePrescription { power: power(-225, 0, 0), prism: prism(0, 50) };
    assert_eq!(rx.to_string(), "-2.25 sph, 0.50 base up");
}

#[test]
fn prism_is_limited_by_its_resultant() {
    let pd = |h| PrismDiopter::from_hundredths(h).unwrap();
    assert!(Prism::new(pd(1200), pd(-1600)).is_ok());
    assert!(Prism::new(pd(1201), pd(-1600)).is_err());
}

proptest! {
    #[test]
    fn transposing_twice_changes_nothing(power in any_power()) {
        prop_assert_eq!(power.transposed().transposed(), power);
        prop_assert_eq!(power.to_plus().to_minus(), power.to_minus());
    }

    #[test]
    fn both_forms_are_one_lens(power in any_power(), t in 0.0..180.0f64) {
        let (here, there) = (power.numbers().power_at_deg(t), power.transposed().numbers().power_at_deg(t));
        prop_assert!((here - there).abs() < 1e-9);
    }

    #[test]
    fn reading_what_was_written_gives_it_back(power in any_power(), prism in any_prism()) {
        let rx = EyePrescription { power, prism };
        let reading = read(&rx.to_string()).unwrap();
        prop_assert_eq!(reading.rx, rx);
        prop_assert_eq!(reading.notes, vec![]);
    }

    #[test]
    fn axis_difference_is_symmetric(a in 1i32..=180, b in 1i32..=180) {
        let (a, b) = (Axis::new(a).unwrap(), Axis::new(b).unwrap());
        prop_assert_eq!(a.difference_deg(b), b.difference_deg(a));
        prop_assert!((0..=90).contains(&a.difference_deg(b)));
        prop_assert_eq!(a.perpendicular().difference_deg(b.perpendicular()), a.difference_deg(b));
    }
}
