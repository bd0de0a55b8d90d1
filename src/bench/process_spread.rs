//! How exactly the lab works, as its owner states it. The chance that a pair will pass is computed from this.

use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::optics::budget::{Budget, BudgetOrder, Spreads, budget};
use crate::optics::unit::Tilt;
use crate::optics::{Eye, Pair};

/// One number that the owner may change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Figure {
    pub key: &'static str,
    pub label: &'static str,
    pub unit: &'static str,
    /// How to find the number.
    pub hint: &'static str,
    /// The largest value allowed, in hundredths of the unit.
    pub most: i32,
    /// Whether it is a step rather than a spread.
    pub is_step: bool,
}

const fn spread(key: &'static str, label: &'static str, unit: &'static str, hint: &'static str, most: i32) -> Figure {
    Figure { key, label, unit, hint, most, is_step: false }
}

const fn step(key: &'static str, label: &'static str, unit: &'static str, hint: &'static str, most: i32) -> Figure {
    Figure { key, label, unit, hint, most, is_step: true }
}

/// Every figure, in the order of the form and of [`ProcessSpread::figures`].
pub const FIGURES: [Figure; 12] = [
    spread("blank_power", "Power of an uncut lens", "D", "Two of three lie this close to the envelope", 100),
    spread("blank_cylinder", "Cylinder of an uncut lens", "D", "Two of three lie this close to the envelope", 100),
    spread("blank_prism", "Prism ground into a lens", "Δ", "Two of three lie this close to the order", 100),
    spread(
        "axis_marking",
        "Marking the axis",
        "°",
        "For a cylinder of 1 D; a weaker one is read less well in proportion",
        1000,
    ),
    spread("axis_blocking", "Turn on the blocker", "°", "Between the dots and the block", 1000),
    spread("edging_turn", "Turn in the edger", "°", "Slip of the block and slack of the chuck", 1000),
    spread("centre_marking", "Marking the optical center", "mm", "Two of three dots lie this close", 300),
    spread("blocking", "Placing the lens on the blocker", "mm", "Between the dot and the block’s middle", 300),
    step(
        "lensmeter_step",
        "Power drum of the lensmeter",
        "D",
        "0.12 on most drums, 0.06 if read between the lines",
        100,
    ),
    step("prism_step", "Prism reading of the lensmeter", "Δ", "The smallest difference you see on the rings", 200),
    step("axis_step", "Axis scale", "°", "One mark of the scale", 1000),
    step("stick_step", "PD stick", "mm", "The step to which you read distances and heights", 200),
];

/// How exactly the lab works, in hundredths of each figure's unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProcessSpread {
    /// In the order of [`FIGURES`].
    pub figures: [i32; 12],
    /// Whether the lab moves a lens by hand for what the blocker's step leaves.
    pub nudges: bool,
    /// A compensated power is offered from this wrap on.
    pub offer_wrap: Tilt,
}

impl Default for ProcessSpread {
    /// Guesses for a careful small lab (common practice, from memory). A compensated power is offered from 15° of wrap:
    /// a usual front has 5 to 8°, sports frames begin at about 15°, and by Martin's rule a lens of 3.00 D then gains
    /// nearly a quarter of cylinder (3.00 tan² 15° = 0.22).
    fn default() -> Self {
        let of = Spreads::default();
        let hundredths = |value: f64| (value * 100.0).round() as i32;
        Self {
            figures: [
                of.blank_power_d,
                of.blank_cylinder_d,
                of.blank_prism_pd,
                of.axis_marking_deg,
                of.axis_blocking_deg,
                of.edging_turn_deg,
                of.center_marking_mm,
                of.blocking_mm,
                of.lensmeter_step_d,
                of.prism_step_pd,
                of.axis_step_deg,
                of.stick_step_mm,
            ]
            .map(hundredths),
            nudges: false,
            offer_wrap: Tilt::from_hundredths(1500).unwrap_or_default(),
        }
    }
}

impl ProcessSpread {
    /// The numbers for computing. The blocker's step is that of the lab, or 0 where the lab nudges.
    pub fn numbers(&self, lab: &Lab) -> Spreads {
        let [
            blank_power_d,
            blank_cylinder_d,
            blank_prism_pd,
            axis_marking_deg,
            axis_blocking_deg,
            edging_turn_deg,
            center_marking_mm,
            blocking_mm,
            lensmeter_step_d,
            prism_step_pd,
            axis_step_deg,
            stick_step_mm,
        ] = self.figures.map(|hundredths| f64::from(hundredths) / 100.0);
        Spreads {
            blank_power_d,
            blank_cylinder_d,
            blank_prism_pd,
            lensmeter_step_d,
            prism_step_pd,
            axis_marking_deg,
            axis_blocking_deg,
            edging_turn_deg,
            axis_step_deg,
            center_marking_mm,
            blocker_step_mm: if self.nudges { 0.0 } else { lab.blocker_step.to_f64() },
            blocking_mm,
            stick_step_mm,
            // An order does not specify the center thickness, so its two spreads make no row.
            ..Spreads::default()
        }
    }

    /// Whether a compensated power is offered for a frame with this wrap.
    pub fn offers(&self, wrap: Tilt) -> bool {
        wrap.hundredths().abs() >= self.offer_wrap.hundredths()
    }
}

/// The chance of each tolerance row of a job to pass, for the power that is ordered. A lens that stays, or a balance lens,
/// has no rows, and only two prescribed lenses are compared.
pub fn budget_of(job: &Job, lab: &Lab, spread: &ProcessSpread) -> Budget {
    let order = BudgetOrder {
        power: Pair::new(job.lens_power(Eye::Right).numbers(), job.lens_power(Eye::Left).numbers()),
        prism: job.prescription.eyes.map(|eye| eye.prism.numbers()),
        center_specified: Pair::new(false, false),
    };
    let mut budget = budget(lab.tolerance, &order, &spread.numbers(lab));
    budget.rows.retain(|row| row.eye.map_or(job.compares_eyes(), |eye| job.holds_power(eye)));
    budget
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_are_those_of_the_budget() {
        let lab = Lab::new("Saltmarsh Lens Post".into(), "Pellmarsh".into());
        assert_eq!(ProcessSpread::default().numbers(&lab), Spreads::default());
        for (figure, value) in FIGURES.iter().zip(ProcessSpread::default().figures) {
            assert!((1..=figure.most).contains(&value), "{}", figure.key);
        }
    }

    #[test]
    fn each_figure_moves_its_own_number() {
        let lab = Lab::new("Saltmarsh Lens Post".into(), "Pellmarsh".into());
        let mut spread =
            ProcessSpread { figures: std::array::from_fn(|i| i as i32 + 1), nudges: true, ..ProcessSpread::default() };
        let got = spread.numbers(&lab);
        assert_eq!((got.blank_power_d, got.edging_turn_deg, got.stick_step_mm), (0.01, 0.06, 0.12));
        assert_eq!((got.lensmeter_step_d, got.prism_step_pd, got.axis_step_deg), (0.09, 0.10, 0.11));
        assert_eq!((got.axis_marking_deg, got.axis_blocking_deg), (0.04, 0.05));
        assert_eq!((got.blank_cylinder_d, got.blank_prism_pd), (0.02, 0.03));
        assert_eq!((got.center_marking_mm, got.blocking_mm, got.blocker_step_mm), (0.07, 0.08, 0.0));
        spread.nudges = false;
        assert_eq!(spread.numbers(&lab).blocker_step_mm, 0.5);
    }

    #[test]
    fn offers_from_the_wrap_set_on() {
        let tilt = |text: &str| text.parse::<Tilt>().unwrap();
        let spread = ProcessSpread::default();
        assert!(spread.offers(tilt("15")) && spread.offers(tilt("22.5")) && !spread.offers(tilt("14.99")));
        assert!(!spread.offers(tilt("6")));
    }
}
