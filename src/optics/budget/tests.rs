use super::*;
use crate::optics::prism::imbalance;

/// A small generator of our own, so that the simulation runs the same everywhere (xorshift64*).
struct Dice(u64);

impl Dice {
    fn even(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn step(&mut self, step: f64) -> f64 {
        (self.even() - 0.5) * step
    }

    fn normal(&mut self, sd: f64) -> f64 {
        sd * (-2.0 * (1.0 - self.even()).ln()).sqrt() * (std::f64::consts::TAU * self.even()).cos()
    }
}

fn order(right: SphereCylinder, left: SphereCylinder, prism: InUp) -> BudgetOrder {
    BudgetOrder {
        power: Pair::new(right, left),
        prism: Pair::new(prism, InUp::default()),
        center_specified: Pair::new(true, false),
    }
}

/// One finished pair, made and measured with the lab's spreads: the error of each row, by name and eye.
fn make(order: &BudgetOrder, spreads: &Spreads, dice: &mut Dice) -> Vec<((Quantity, Option<Eye>), f64)> {
    let mut errors = Vec::new();
    let mut place = Vec::new();
    let mut held = Vec::new();
    let mut prism = Vec::new();
    for eye in Eye::BOTH {
        let wanted = order.power.get(eye).to_minus();
        let made_sphere_d = wanted.sphere_d + dice.normal(spreads.blank_power_d);
        let made_cross_d = made_sphere_d + wanted.cylinder_d + dice.normal(spreads.blank_cylinder_d);
        let read_sphere_d = made_sphere_d + dice.step(spreads.lensmeter_step_d);
        let read_cross_d = made_cross_d + dice.step(spreads.lensmeter_step_d);
        let wanted_cross_d = wanted.sphere_d + wanted.cylinder_d;
        let strongest = if wanted.strongest_meridian_d() == wanted.sphere_d {
            read_sphere_d - wanted.sphere_d
        } else {
            read_cross_d - wanted_cross_d
        };
        errors.push(((Quantity::StrongestPower, Some(eye)), strongest));
        errors.push(((Quantity::PowerAlong, Some(eye)), read_sphere_d - wanted.sphere_d));
        errors.push(((Quantity::PowerAcross, Some(eye)), read_cross_d - wanted_cross_d));
        errors.push(((Quantity::Cylinder, Some(eye)), read_cross_d - read_sphere_d - wanted.cylinder_d));
        let worse = 1.0 / wanted.cylinder_d.abs().min(1.0);
        let turn = dice.normal(spreads.axis_marking_deg * worse)
            + dice.normal(spreads.axis_blocking_deg)
            + dice.normal(spreads.edging_turn_deg)
            + dice.step(spreads.axis_step_deg);
        errors.push(((Quantity::Axis, Some(eye)), turn));
        let mut off = || {
            dice.normal(spreads.center_marking_mm)
                + dice.normal(spreads.blocking_mm)
                + dice.step(spreads.blocker_step_mm)
        };
        let (in_mm, up_mm) = (off(), off());
        let (read_in_mm, read_up_mm) =
            (in_mm + dice.step(spreads.stick_step_mm), up_mm + dice.step(spreads.stick_step_mm));
        place.push((read_in_mm, read_up_mm));
        held.push(prism_from_error(eye, wanted, read_in_mm, read_up_mm));
        let there = prism_from_error(eye, wanted, in_mm, up_mm);
        let mut reading = || dice.normal(spreads.blank_prism_pd) + dice.step(spreads.prism_step_pd);
        prism.push(InUp { in_pd: there.in_pd + reading(), up_pd: there.up_pd + reading() });
    }
    let unwanted = imbalance(Pair::new(held[0], held[1]));
    let prism = imbalance(Pair::new(prism[0], prism[1]));
    let millimeters = |unit: RowUnit, mm: f64, pd: f64| if unit == RowUnit::Millimeter { mm } else { pd };
    let stronger = |t: f64| order.power.right.power_at_deg(t).abs().max(order.power.left.power_at_deg(t).abs());
    let vertical = Profile::Z80_1.vertical_limit(stronger(90.0), 0.0).unit;
    let horizontal = Profile::Z80_1.horizontal_limit(stronger(180.0), 0.0).unit;
    errors.push((
        (Quantity::VerticalImbalance, None),
        millimeters(vertical, place[0].1 - place[1].1, unwanted.vertical_pd),
    ));
    errors.push((
        (Quantity::HorizontalImbalance, None),
        millimeters(horizontal, place[0].0 + place[1].0, unwanted.horizontal_pd),
    ));
    errors.push(((Quantity::PrismHorizontal, None), prism.horizontal_pd));
    errors.push(((Quantity::PrismVertical, None), prism.vertical_pd));
    let center = dice.normal(spreads.blank_center_mm) + dice.step(spreads.gauge_step_mm);
    errors.push(((Quantity::CenterThickness, Some(Eye::Right)), center));
    errors
}

#[test]
fn the_closed_form_agrees_with_a_simulation() {
    let rough = Spreads {
        blank_power_d: 0.07,
        blank_cylinder_d: 0.08,
        lensmeter_step_d: 0.12,
        axis_marking_deg: 1.5,
        blocker_step_mm: 1.0,
        center_marking_mm: 0.5,
        blank_center_mm: 0.2,
        blank_prism_pd: 0.2,
        ..Spreads::default()
    };
    let prism = InUp { in_pd: 1.0, up_pd: 0.5 };
    for (right, left) in [
        (SphereCylinder::new(-2.25, -1.25, 95.0), SphereCylinder::new(-1.75, -0.75, 40.0)),
        (SphereCylinder::new(-8.0, -2.5, 20.0), SphereCylinder::new(6.0, -0.25, 130.0)),
    ] {
        for spreads in [Spreads::default(), rough] {
            let order = order(right, left, prism);
            let budget = budget(Profile::Z80_1, &order, &spreads);
            let (mut dice, rounds) = (Dice(0x5EED_1234_ABCD), 60_000);
            let mut passed = vec![0u32; budget.rows.len()];
            for _ in 0..rounds {
                let errors = make(&order, &spreads, &mut dice);
                for (risk, count) in budget.rows.iter().zip(&mut passed) {
                    let error = errors.iter().find(|(row, _)| *row == (risk.row, risk.eye)).unwrap().1;
                    let allowance = if risk.limit.unit == RowUnit::Degree { 0.0 } else { READING_ALLOWANCE };
                    *count += u32::from(error.abs() <= risk.limit.size + allowance);
                }
            }
            for (risk, count) in budget.rows.iter().zip(passed) {
                let share = f64::from(count) / f64::from(rounds);
                // Four standard errors of the simulation, and the approximation of narrow uniform errors.
                let noise = 4.0 * (risk.chance * (1.0 - risk.chance) / f64::from(rounds)).sqrt() + 5e-4;
                assert!(
                    (risk.chance - share).abs() < noise,
                    "{:?} {:?}: {} against {share}",
                    risk.row,
                    risk.eye,
                    risk.chance
                );
            }
        }
    }
}

#[test]
fn the_worst_row_and_its_cause_are_named() {
    let power = SphereCylinder::new(-1.0, -0.75, 30.0);
    let spreads = Spreads { axis_marking_deg: 4.0, ..Spreads::default() };
    let order = BudgetOrder {
        power: Pair::new(power, SphereCylinder::sphere(-1.0)),
        prism: Pair::default(),
        center_specified: Pair::default(),
    };
    let budget = budget(Profile::Z80_1, &order, &spreads);
    let risk = budget.most_at_risk().unwrap();
    assert_eq!((risk.row, risk.eye, risk.dominant), (Quantity::Axis, Some(Eye::Right), ErrorSource::AxisMarking));
    assert!(risk.dominant_share > 0.9 && risk.chance < 0.8, "{risk:?}");
    let sentence = budget.sentence();
    assert!(sentence.starts_with("Most at risk: axis, right eye (limit ±5°), about"), "{sentence}");
    assert!(sentence.ends_with("Re-read it."), "{sentence}");
    assert!(budget.rows.iter().all(|row| row.eye != Some(Eye::Left) || row.row != Quantity::Axis), "no axis, no row");
    assert!(budget.all_pass() < risk.chance && budget.all_pass() > 0.0);
}

#[test]
fn no_errors_no_risk_and_more_errors_more_risk() {
    let order = order(SphereCylinder::new(-4.0, -1.0, 10.0), SphereCylinder::sphere(2.0), InUp::default());
    let none = Spreads {
        blank_power_d: 0.0,
        blank_cylinder_d: 0.0,
        blank_prism_pd: 0.0,
        blank_center_mm: 0.0,
        lensmeter_step_d: 0.0,
        prism_step_pd: 0.0,
        axis_marking_deg: 0.0,
        axis_blocking_deg: 0.0,
        edging_turn_deg: 0.0,
        axis_step_deg: 0.0,
        center_marking_mm: 0.0,
        blocker_step_mm: 0.0,
        blocking_mm: 0.0,
        stick_step_mm: 0.0,
        gauge_step_mm: 0.0,
    };
    for profile in Profile::ALL {
        assert_eq!(budget(profile, &order, &none).all_pass(), 1.0);
        let coarse = Spreads { blocker_step_mm: 1.0, ..Spreads::default() };
        let (fine, coarse) = (budget(profile, &order, &Spreads::default()), budget(profile, &order, &coarse));
        for (a, b) in fine.rows.iter().zip(&coarse.rows) {
            assert!(b.chance <= a.chance + 1e-12, "{:?}", a.row);
        }
        assert!(coarse.all_pass() < fine.all_pass());
    }
}
