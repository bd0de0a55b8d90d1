//! How often the mistake finder is right, in a simulation with a fixed seed.
//!
//! # What is drawn
//!
//! * Sphere of the right eye: normal about -1.50 D with a spread of 2.50 D, within ±8.00; of the left: the right's and
//!   a normal difference of 0.60 D. In quarters.
//! * Cylinder: none in one eye of five, else -0.25 D and an exponential of 0.70 D more, to -4.00, in quarters.
//! * Axis: half about 180, three in ten about 90, each with a spread of 15 degrees; the rest anywhere. The left eye's
//!   is the mirror of the right's with a spread of 12 degrees.
//! * Prism in one pair of five: 0.5 to 4.0 across, half of them also 0.5 to 3.0 up, alike in both eyes for in and out
//!   and opposite for up and down. In quarters.
//! * Monocular distances about 31.5 mm with a spread of 1.6, heights about 20 mm.
//! * Readings: power ±0.03 D, prism ±0.05, places ±0.25 mm (spreads); the axis 1 degree, and more before a weak
//!   cylinder: 0.6 degrees over the cylinder. A reading that fails without any mistake is drawn again.
//!
//! The spreads are common practice, from memory. What is asserted leaves room: over four seeds the worst of the kinds
//! was named first in 95.7 % (`turned`), and at most 4 of 1,000 pairs were falsely told a story.
//!
//! A pair in which the mistake cannot be seen is drawn again and counted as `unseen`: it passes all the same, the order
//! has no prism to reverse, or the axis is so near 90 or 180 that its mirror image is a slip.

use std::collections::BTreeMap;

use rimbook::optics::mistake::{Mistake, MistakeKind, find_mistakes};
use rimbook::optics::prescription::{LensPower, Prism};
use rimbook::optics::prism::InUp;
use rimbook::optics::tolerance::{CenterLimits, Measured, OrderedPair, Profile, is_verified, verify};
use rimbook::optics::unit::{Axis, Diopter, PrismDiopter};
use rimbook::optics::{Eye, Pair};

const PAIRS: usize = 1000;

/// SplitMix64 (Steele, Lea and Flood 2014, public domain).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    fn normal(&mut self, spread: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        spread * radius * (std::f64::consts::TAU * self.even()).cos()
    }

    fn one_in(&mut self, n: u64) -> bool {
        self.next().is_multiple_of(n)
    }

    fn eye(&mut self) -> Eye {
        if self.one_in(2) { Eye::Right } else { Eye::Left }
    }

    fn sign(&mut self) -> f64 {
        if self.one_in(2) { 1.0 } else { -1.0 }
    }
}

fn quarter(value: f64) -> f64 {
    (value * 4.0).round() / 4.0
}

fn power(sphere_d: f64, cylinder_d: f64, axis_deg: f64) -> LensPower {
    let cylinder = Diopter::round_from(cylinder_d).unwrap();
    let axis = Axis::new((axis_deg.round() as i32).rem_euclid(180)).unwrap();
    let axis = (cylinder != Diopter::ZERO).then_some(axis);
    LensPower::new(Diopter::round_from(sphere_d).unwrap(), cylinder, axis).unwrap()
}

fn prism(in_pd: f64, up_pd: f64) -> Prism {
    Prism::new(PrismDiopter::round_from(in_pd).unwrap(), PrismDiopter::round_from(up_pd).unwrap()).unwrap()
}

fn cylinder(dice: &mut Dice) -> f64 {
    if dice.one_in(5) {
        return 0.0;
    }
    quarter(-0.25 + 0.70 * (1.0 - dice.even()).ln()).max(-4.0)
}

fn draw(dice: &mut Dice) -> OrderedPair {
    let sphere_d = quarter(-1.50 + dice.normal(2.50)).clamp(-8.0, 8.0);
    let other_d = quarter(sphere_d + dice.normal(0.60)).clamp(-8.0, 8.0);
    let axis_deg = match dice.next() % 10 {
        0..5 => dice.normal(15.0),
        5..8 => 90.0 + dice.normal(15.0),
        _ => dice.between(0.0, 180.0),
    };
    let mirrored_deg = 180.0 - axis_deg + dice.normal(12.0);
    let eyes = if dice.one_in(5) {
        let in_pd = dice.sign() * quarter(dice.between(0.5, 4.0));
        let up_pd = if dice.one_in(2) { dice.sign() * quarter(dice.between(0.5, 3.0)) } else { 0.0 };
        Pair::new(prism(in_pd, up_pd), prism(in_pd, -up_pd))
    } else {
        Pair::default()
    };
    let (height_mm, mono_mm) = (20.0 + dice.normal(1.5), 31.5 + dice.normal(1.6));
    OrderedPair {
        power: Pair::new(power(sphere_d, cylinder(dice), axis_deg), power(other_d, cylinder(dice), mirrored_deg)),
        prism: eyes,
        pupil_distance_mm: Pair::new(mono_mm, mono_mm + dice.normal(0.8)),
        height_mm: Pair::new(height_mm, height_mm + dice.normal(0.5)),
        center_thickness_mm: Pair::default(),
    }
}

fn read_power(dice: &mut Dice, lens: LensPower) -> LensPower {
    let lens = lens.to_minus().numbers();
    let spread_deg = 1.0 + if lens.cylinder_d == 0.0 { 0.0 } else { 0.6 / lens.cylinder_d.abs() };
    let cylinder_d = if lens.cylinder_d == 0.0 { 0.0 } else { (lens.cylinder_d + dice.normal(0.03)).min(-0.01) };
    power(lens.sphere_d + dice.normal(0.03), cylinder_d, lens.axis_deg + dice.normal(spread_deg))
}

/// What a good check reads of lenses with these powers and prisms.
fn read(dice: &mut Dice, order: &OrderedPair) -> Measured {
    let is_prescribed = order.prism.iter().any(|(_, prism)| !prism.is_none());
    let mut prism = |prism: Prism| {
        let prism = prism.numbers();
        let read = InUp { in_pd: prism.in_pd + dice.normal(0.05), up_pd: prism.up_pd + dice.normal(0.05) };
        is_prescribed.then_some(read)
    };
    let prism = order.prism.map(&mut prism);
    let mut place = |mm: f64| Some(mm + dice.normal(0.25));
    let (pupil_distance_mm, height_mm) = (order.pupil_distance_mm.map(&mut place), order.height_mm.map(&mut place));
    let power = order.power.map(|lens| Some(read_power(dice, lens)));
    Measured { power, prism, pupil_distance_mm, height_mm, ..Measured::default() }
}

fn passes(order: &OrderedPair, read: &Measured) -> bool {
    is_verified(&verify(Profile::Z80_1, &CenterLimits::default(), order, read))
}

fn found(order: &OrderedPair, read: &Measured) -> Vec<Mistake> {
    find_mistakes(Profile::Z80_1, &CenterLimits::default(), order, read)
}

/// An order and a reading of it that passes.
fn good(dice: &mut Dice) -> (OrderedPair, Measured) {
    loop {
        let order = draw(dice);
        let reading = read(dice, &order);
        if passes(&order, &reading) {
            return (order, reading);
        }
    }
}

fn at<T>(pair: &mut Pair<T>, eye: Eye) -> &mut T {
    match eye {
        Eye::Right => &mut pair.right,
        Eye::Left => &mut pair.left,
    }
}

fn change(reading: &mut Measured, eye: Eye, to: impl Fn(f64, f64, f64) -> (f64, f64, f64)) {
    if let Some(lens) = at(&mut reading.power, eye) {
        let old = lens.measured_numbers();
        let (sphere_d, cylinder_d, axis_deg) = to(old.sphere_d, old.cylinder_d, old.axis_deg);
        *lens = power(sphere_d, cylinder_d, axis_deg);
    }
}

fn reverse(reading: &mut Measured, eye: Eye, in_sign: f64, up_sign: f64) {
    if let Some(prism) = at(&mut reading.prism, eye) {
        *prism = InUp { in_pd: in_sign * prism.in_pd, up_pd: up_sign * prism.up_pd };
    }
}

/// Plants a mistake in a good reading; says whose it is. `None` where the order cannot have it.
fn plant(dice: &mut Dice, kind: MistakeKind, order: &OrderedPair, reading: &mut Measured) -> Option<Option<Eye>> {
    let eye = dice.eye();
    let lens = order.power.get(eye).to_minus();
    let is_both = dice.one_in(4);
    match kind {
        MistakeKind::EyesExchanged => {
            let swapped = |pair: Pair<Option<f64>>| Pair::new(pair.left, pair.right);
            reading.power = Pair::new(reading.power.left, reading.power.right);
            reading.prism = Pair::new(reading.prism.left, reading.prism.right);
            // In half of them the lenses were exchanged and lie where the eye was laid out.
            if dice.one_in(2) {
                reading.pupil_distance_mm = swapped(reading.pupil_distance_mm);
                reading.height_mm = swapped(reading.height_mm);
            }
            return Some(None);
        }
        MistakeKind::SignReversed => change(reading, eye, |s, c, a| (-s, -c, a)),
        MistakeKind::WrongCylinderForm => change(reading, eye, |s, c, a| (s + c, c, a + 90.0)),
        MistakeKind::AxisAcross => change(reading, eye, |s, c, a| (s, c, a + 90.0)),
        MistakeKind::AxisMirrored => {
            // A slip of up to 10 degrees, or 1.5 limits, is likelier and is told first; 5 more leave room for the readings.
            let off_deg = (2 * lens.axis()?.degrees() - 180).rem_euclid(180);
            let limit_deg = Profile::Z80_1.axis_limit(lens.numbers().cylinder_d)?.size;
            if f64::from(off_deg.min(180 - off_deg)) <= 5.0 + (1.5 * limit_deg).max(10.0) {
                return None;
            }
            change(reading, eye, |s, c, a| (s, c, 180.0 - a));
        }
        MistakeKind::Turned => {
            let limit_deg = Profile::Z80_1.axis_limit(lens.numbers().cylinder_d)?.size;
            let slip_deg = dice.sign() * (limit_deg + dice.between(1.0, 8.0));
            change(reading, eye, |s, c, a| (s, c, a + slip_deg));
            if is_both {
                change(reading, eye.other(), |s, c, a| (s, c, a + slip_deg));
                return Some(None);
            }
        }
        MistakeKind::UpsideDown => {
            let parts = order.prism.get(eye).numbers();
            if parts.in_pd == 0.0 || parts.up_pd == 0.0 {
                return None;
            }
            reverse(reading, eye, -1.0, -1.0);
        }
        MistakeKind::BaseReversed => {
            let parts = order.prism.get(eye).numbers();
            match (parts.in_pd == 0.0, parts.up_pd == 0.0) {
                (true, true) => return None,
                (false, false) if dice.one_in(2) => reverse(reading, eye, 1.0, -1.0),
                _ => reverse(reading, eye, -1.0, 1.0),
            }
        }
    }
    Some(Some(eye))
}

/// Of the planted pairs that fail: how many, named first, named at all, and what was named first instead. Of the
/// others: how many pass all the same, or have an order in which the mistake changes nothing that can be told.
#[derive(Debug, Default)]
struct Score {
    failing: usize,
    unseen: usize,
    first: usize,
    among: usize,
    wrongly: usize,
    instead: BTreeMap<&'static str, usize>,
}

fn score(dice: &mut Dice, kind: MistakeKind) -> Score {
    let mut score = Score::default();
    while score.failing < PAIRS {
        let (order, mut reading) = good(dice);
        let Some(whose) = plant(dice, kind, &order, &mut reading) else {
            score.unseen += 1;
            continue;
        };
        if passes(&order, &reading) {
            score.unseen += 1;
            continue;
        }
        score.failing += 1;
        let mistakes = found(&order, &reading);
        // A common turn whose other eye stays within its limit is seen in one eye only.
        let is_it = |mistake: &&Mistake| mistake.kind == kind && (whose.is_none() || mistake.eye == whose);
        score.among += usize::from(mistakes.iter().any(|mistake| is_it(&mistake)));
        match mistakes.first() {
            Some(first) if is_it(&first) => score.first += 1,
            Some(first) => {
                score.wrongly += 1;
                *score.instead.entry(first.kind.key()).or_default() += 1;
            }
            None => {}
        }
    }
    score
}

#[test]
fn planted_mistakes_are_named() {
    let mut wrong = Vec::new();
    println!("{:<20} {:>7} {:>7} {:>7} {:>8} {:>8}", "planted", "unseen", "failing", "first", "in list", "wrongly");
    for (seed, kind) in MistakeKind::ALL.into_iter().enumerate() {
        let score = score(&mut Dice(seed as u64 + 1), kind);
        let percent = |n: usize| 100.0 * n as f64 / score.failing as f64;
        let (first, among, wrongly) = (percent(score.first), percent(score.among), percent(score.wrongly));
        println!(
            "{:<20} {:>7} {:>7} {first:>6.1}% {among:>7.1}% {wrongly:>7.1}%  {:?}",
            kind.key(),
            score.unseen,
            score.failing,
            score.instead
        );
        if first < 95.0 || wrongly > 5.0 {
            wrong.push(kind.key());
        }
    }
    assert_eq!(wrong, Vec::<&str>::new());
}

/// A pair that fails for another reason: a sphere or a cylinder is off by 0.25 to 1.00 D, or the centers of both eyes
/// are off by 1.5 to 5 mm. No stock lens has a cylinder of the other sign, so none is made.
fn spoil(dice: &mut Dice, reading: &mut Measured) {
    let eye = dice.eye();
    let off_d = dice.sign() * dice.between(0.25, 1.0);
    match dice.next() % 4 {
        0 | 1 => change(reading, eye, |s, c, a| (s + off_d, c, a)),
        2 => change(
            reading,
            eye,
            |s, c, a| if c == 0.0 { (s, -off_d.abs(), 90.0) } else { (s, (c + off_d).min(0.0), a) },
        ),
        _ => {
            let off_mm = dice.sign() * dice.between(1.5, 5.0);
            let places = if dice.one_in(2) { &mut reading.height_mm } else { &mut reading.pupil_distance_mm };
            *places = Pair::new(places.right.map(|mm| mm + off_mm), places.left.map(|mm| mm - off_mm));
        }
    }
}

#[test]
fn a_pair_that_fails_for_another_reason_is_seldom_told_a_story() {
    let mut dice = Dice(99);
    let mut falsely = Vec::new();
    let mut failing = 0;
    while failing < PAIRS {
        let (order, mut reading) = good(&mut dice);
        assert_eq!(found(&order, &reading), [], "a pair that passes has no mistake");
        spoil(&mut dice, &mut reading);
        if passes(&order, &reading) {
            continue;
        }
        failing += 1;
        falsely.extend(found(&order, &reading).first().map(|mistake| mistake.kind.key()));
    }
    println!("no mistake of these kinds: {failing} failing, {} told a story: {falsely:?}", falsely.len());
    assert!(falsely.len() * 50 <= failing, "{} of {failing}: {falsely:?}", falsely.len());
}
