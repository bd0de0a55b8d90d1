use proptest::prelude::*;

use super::*;
use crate::optics::prescription::{Prism, read, read_measured};
use crate::optics::prism::InUp;
use crate::optics::unit::{Axis, Diopter};

fn ordered(right: &str, left: &str) -> OrderedPair {
    let eyes = Pair::new(read(right).unwrap().rx, read(left).unwrap().rx);
    OrderedPair {
        power: eyes.map(|eye| eye.power),
        prism: eyes.map(|eye| eye.prism),
        pupil_distance_mm: Pair::new(31.0, 33.0),
        height_mm: Pair::new(20.0, 21.0),
        center_thickness_mm: Pair::default(),
    }
}

/// A reading at the ordered places; the prism is what was typed after the power.
fn measured(right: &str, left: &str) -> Measured {
    let prism =
        |text: &str| read(text).ok().filter(|read| !read.rx.prism.is_none()).map(|read| read.rx.prism.numbers());
    let power = |text: &str| read_measured(text).ok().or_else(|| read(text).ok().map(|read| read.rx.power));
    Measured {
        power: Pair::new(power(right), power(left)),
        prism: Pair::new(prism(right), prism(left)),
        pupil_distance_mm: Pair::new(Some(31.0), Some(33.0)),
        height_mm: Pair::new(Some(20.0), Some(21.0)),
        ..Measured::default()
    }
}

fn told(order: &OrderedPair, reading: &Measured) -> Vec<String> {
    let mistakes = find_mistakes(Profile::Z80_1, &CenterLimits::default(), order, reading);
    let words = |mistake: Mistake| {
        let eye = mistake.eye.map_or(String::new(), |eye| format!(" {}", eye.name()));
        let turned = mistake.turned_deg.map_or(String::new(), |turned| format!(" {turned}"));
        format!("{}{eye}{turned}", mistake.kind.key())
    };
    mistakes.into_iter().map(words).collect()
}

#[test]
fn keys_come_back() {
    for kind in MistakeKind::ALL {
        assert_eq!(MistakeKind::from_key(kind.key()), Some(kind));
    }
    assert_eq!(MistakeKind::from_key("other"), None);
}

/// Ordered right and left, read right and left, the stories in their order (computed by hand from each definition).
#[test]
fn each_mistake_is_named() {
    for (order, reading, stories) in [
        (("-2.25 -1.25 x 95", "-4.00 sph"), ("-4.03 sph", "-2.25 -1.20 x 96"), &["eyes_exchanged"][..]),
        (("-2.25 -1.25 x 95", "-1.00 sph"), ("+2.25 +1.25 x 95", "-1.00 sph"), &["sign_reversed right"]),
        (("-2.25 sph", "-1.00 sph"), ("+2.25 sph", "+1.03 sph"), &["sign_reversed"]),
        (
            ("-2.00 -1.00 x 30", "-1.00 sph"),
            ("-2.00 -1.00 x 149", "-1.00 sph"),
            &["axis_mirrored right", "turned right -61"],
        ),
        (("-1.00 sph", "-2.00 -1.00 x 30"), ("-1.00 sph", "-2.00 -1.00 x 121"), &["axis_across left"]),
        (("-2.00 -1.00 x 30", "-1.00 sph"), ("-2.00 -1.00 x 36", "-1.00 sph"), &["turned right 6"]),
        (
            ("-2.00 -1.00 x 178", "-1.00 sph"),
            ("-2.00 -1.00 x 4", "-1.00 sph"),
            &["turned right 6", "axis_mirrored right"],
        ),
        (("-2.00 -1.00 x 30", "-1.00 -1.00 x 70"), ("-2.00 -1.00 x 36", "-1.00 -1.00 x 76"), &["turned 6"]),
        (
            ("-2.00 -1.00 x 30", "-1.00 -1.00 x 70"),
            ("-2.00 -1.00 x 36", "-1.00 -1.00 x 64"),
            &["turned right 6", "turned left -6"],
        ),
        (("-2.25 -1.25 x 95", "-1.00 sph"), ("-3.50 -1.25 x 5", "-1.00 sph"), &["wrong_cylinder_form right"]),
        (("-2.25 -1.25 x 95", "-1.00 sph"), ("-2.25 +1.25 x 95", "-1.00 sph"), &["wrong_cylinder_form right"]),
        (("-2.00 sph 2 BI 1 BU", "-1.00 sph"), ("-2.00 sph 2 BO 1 BU", "-1.00 sph"), &["base_reversed right"]),
        (("-2.00 sph 2 BI", "-1.00 sph 2 BI"), ("-2.00 sph 2 BO", "-1.00 sph 2 BO"), &["base_reversed"]),
        (
            ("-2.00 sph 2 BI 1 BU", "-1.00 sph"),
            ("-2.00 sph 2 BO 1 BD", "-1.00 sph"),
            &["upside_down right", "base_reversed right"],
        ),
        // Both across, a degree off: across and not turned by 89.
        (("-2.00 -1.00 x 30", "-1.00 -1.00 x 70"), ("-2.00 -1.00 x 119", "-1.00 -1.00 x 159"), &["axis_across"]),
        // The lens turned in the block took its prism with it: 3 in, turned by 90 degrees, is 3 up.
        (
            ("-2.00 -1.00 x 30 3 BI", "-1.00 sph"),
            ("-2.00 -1.00 x 75 2.12 BI 2.12 BU", "-1.00 sph"),
            &["turned right 45"],
        ),
    ] {
        let (order, reading) = (ordered(order.0, order.1), measured(reading.0, reading.1));
        assert_eq!(told(&order, &reading), stories, "{order:?}");
    }
}

#[test]
fn what_fits_no_story_is_told_none() {
    for (order, reading, why) in [
        (("-2.00 -1.00 x 90", "-1.00 sph"), ("-2.50 -1.00 x 90", "-1.00 sph"), "a power that is wrong"),
        (("plano", "plano"), ("+0.25 sph", "plano"), "the other sign of nothing"),
        (("-2.00 sph", "-2.25 sph"), ("-2.50 sph", "-2.25 sph"), "two alike, one wrong"),
        (("-2.00 -1.00 x 30", "-1.00 sph"), ("-2.50 -1.00 x 60", "-1.00 sph"), "turned, and the power wrong too"),
        (("-2.00 -1.00 x 30", "-1.00 sph"), ("-2.00 -1.00 x 33", "-1.00 sph"), "within the limit"),
        (("-2.00 sph 2 BI", "-1.00 sph"), ("-2.50 sph 2 BO", "-1.00 sph"), "the base, and the power wrong too"),
    ] {
        let (order, reading) = (ordered(order.0, order.1), measured(reading.0, reading.1));
        assert_eq!(told(&order, &reading), Vec::<String>::new(), "{why}");
    }
    let order = ordered("-2.00 sph", "-1.00 sph");
    let mut low = measured("-2.00 sph", "-1.00 sph");
    low.height_mm = Pair::new(Some(15.0), Some(16.0));
    assert_eq!(told(&order, &low), Vec::<String>::new(), "centers that are low");
    let mut unread = measured("+2.00 sph", "-1.00 sph");
    unread.power.left = None;
    assert_eq!(told(&order, &unread), ["sign_reversed right"], "the other lens not read");
}

#[test]
fn places_that_fit_neither_way_make_an_exchange_less_likely() {
    // Alike but for the axes, which mirror each other: the eyes exchanged, or both axes read from behind.
    let order = ordered("-2.00 -1.00 x 30", "-2.00 -1.00 x 150");
    let mut reading = measured("-2.00 -1.00 x 150", "-2.00 -1.00 x 30");
    assert_eq!(told(&order, &reading)[..2], ["eyes_exchanged", "axis_mirrored"]);
    reading.pupil_distance_mm = Pair::new(Some(33.0), Some(31.0));
    assert_eq!(told(&order, &reading)[..2], ["eyes_exchanged", "axis_mirrored"]);
    reading.pupil_distance_mm = Pair::new(Some(35.0), Some(29.0));
    assert_eq!(told(&order, &reading)[..2], ["axis_mirrored", "eyes_exchanged"]);
}

fn any_power() -> impl Strategy<Value = LensPower> {
    (-40..=40i32, -16..=0i32, 1..=180i32).prop_map(|(sphere, cylinder, axis)| {
        let quarter = |quarters: i32| Diopter::from_hundredths(25 * quarters).unwrap();
        let axis = (cylinder != 0).then(|| Axis::new(axis).unwrap());
        LensPower::new(quarter(sphere), quarter(cylinder), axis).unwrap()
    })
}

fn exactly(order: &OrderedPair) -> Measured {
    Measured {
        power: order.power.map(Some),
        prism: order.prism.map(|prism| (!prism.is_none()).then(|| prism.numbers())),
        pupil_distance_mm: order.pupil_distance_mm.map(Some),
        height_mm: order.height_mm.map(Some),
        ..Measured::default()
    }
}

proptest! {
    /// An exact mistake of a power that stops a pass is always among the stories.
    #[test]
    fn an_exact_mistake_is_always_found(right in any_power(), left in any_power(), turn_deg in -70..=70i32) {
        type Plant = fn(LensPower, i32) -> Option<LensPower>;
        let plants: [(MistakeKind, Plant); 5] = [
            (MistakeKind::SignReversed, |power, _| undo::other_sign(power)),
            (MistakeKind::WrongCylinderForm, |power, _| undo::other_cylinder_sign(power)),
            (MistakeKind::AxisMirrored, |power, _| undo::mirrored(power)),
            (MistakeKind::AxisAcross, |power, _| undo::across(power)),
            (MistakeKind::Turned, undo::turned),
        ];
        for profile in Profile::ALL {
            let order = OrderedPair { power: Pair::new(right, left), ..ordered("plano", "plano") };
            for (kind, plant) in plants {
                let mut reading = exactly(&order);
                let Some(planted) = plant(right, turn_deg) else { continue };
                reading.power.right = Some(planted);
                let lines = verify(profile, &CenterLimits::default(), &order, &reading);
                let fails = lines.iter().any(|line| line.status == Status::Fail);
                let found = find_mistakes(profile, &CenterLimits::default(), &order, &reading);
                let named = found.iter().any(|mistake| mistake.kind == kind && mistake.eye == Some(Eye::Right));
                prop_assert_eq!(named, fails, "{}: {} read {}: {:?}", kind.key(), right, planted, found);
            }
        }
    }

    #[test]
    fn a_passing_pair_has_no_mistake(
        right in any_power(), left in any_power(), other_right in any_power(), other_left in any_power(),
        in_pd in -3.0..3.0f64,
    ) {
        let order = OrderedPair { power: Pair::new(right, left), prism: Pair::new(Prism::NONE, Prism::NONE), ..ordered("plano", "plano") };
        let mut reading = exactly(&order);
        prop_assert_eq!(find_mistakes(Profile::Z80_1, &CenterLimits::default(), &order, &reading), []);
        reading.power = Pair::new(Some(other_right), Some(other_left));
        reading.prism.right = Some(InUp { in_pd, up_pd: 0.0 });
        let lines = verify(Profile::Z80_1, &CenterLimits::default(), &order, &reading);
        if lines.iter().all(|line| line.status != Status::Fail) {
            prop_assert_eq!(find_mistakes(Profile::Z80_1, &CenterLimits::default(), &order, &reading), []);
        }
    }

    /// Exchanged exactly, with places and all, it is told whenever the order of either eye is not met.
    #[test]
    fn an_exact_exchange_is_always_found(right in any_power(), left in any_power()) {
        let order = OrderedPair { power: Pair::new(right, left), ..ordered("plano", "plano") };
        let reading = Measured { power: Pair::new(Some(left), Some(right)), ..exactly(&order) };
        let lines = verify(Profile::Z80_1, &CenterLimits::default(), &order, &reading);
        let fails = lines.iter().any(|line| line.status == Status::Fail);
        let found = find_mistakes(Profile::Z80_1, &CenterLimits::default(), &order, &reading);
        prop_assert_eq!(found.iter().any(|mistake| mistake.kind == MistakeKind::EyesExchanged), fails, "{:?}", found);
    }
}
