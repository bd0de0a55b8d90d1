//! What is ordered for one eye: the prescribed lens, no lens, or a balance lens.
//!
//! The field of an eye's prescription takes `none` and `bal` besides a power. `none` leaves the lens in the frame as it
//! is; its power may follow, such as `none -2.00 sph`, so that the pair can be compared. `bal` makes a balance lens near
//! the other eye's power, or near the one that follows.

use thiserror::Error;

use super::fitting::asks_vertex;
use super::job::EyeTask;
use crate::optics::prescription::{
    EyePrescription, LensPower, PrescriptionFault, PrescriptionReading, Prism, ReadNote, read,
};
use crate::optics::unit::Diopter;
use crate::optics::{Eye, Pair};

/// What was typed for one eye.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EyeOrder {
    pub task: EyeTask,
    /// Always there for [`EyeTask::Make`]; for the others only where it was typed.
    pub rx: Option<EyePrescription>,
    /// Shown to the user to confirm.
    pub notes: Vec<ReadNote>,
}

impl From<PrescriptionReading> for EyeOrder {
    fn from(PrescriptionReading { rx, notes }: PrescriptionReading) -> Self {
        Self { task: EyeTask::Make, rx: Some(rx), notes }
    }
}

impl EyeOrder {
    /// What is done, where no prescribed lens is made; empty where one is.
    pub fn words(&self) -> &'static str {
        match self.task {
            EyeTask::Make => "",
            EyeTask::Keep => "no lens is made: the one in the frame stays",
            EyeTask::Balance if self.rx.is_none() => "a balance lens, near the other lens",
            EyeTask::Balance => "a balance lens",
        }
    }
}

/// Reads the prescription field of one eye.
///
/// # Errors
///
/// Every [`PrescriptionFault`] of the power; never empty.
pub fn read_eye_order(text: &str) -> Result<EyeOrder, Vec<PrescriptionFault>> {
    let (first, rest) = first_word(text);
    let task = match first.to_lowercase().as_str() {
        "none" | "keep" => EyeTask::Keep,
        "bal" | "balance" => EyeTask::Balance,
        _ => EyeTask::Make,
    };
    let power = if task == EyeTask::Make { text } else { rest };
    if task != EyeTask::Make && power.is_empty() {
        return Ok(EyeOrder { task, rx: None, notes: Vec::new() });
    }
    Ok(EyeOrder { task, ..read(power)?.into() })
}

/// The first word, and what follows it without the sign between them.
fn first_word(text: &str) -> (&str, &str) {
    let text = text.trim();
    let end = text.find(|c: char| !c.is_alphabetic()).unwrap_or(text.len());
    let (first, rest) = text.split_at(end);
    (first, rest.trim_start_matches([':', ';', ',', ' ']).trim())
}

/// What is ordered for both eyes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EyesOrdered {
    pub tasks: Pair<EyeTask>,
    /// Of an eye without a known power, plano.
    pub eyes: Pair<EyePrescription>,
    /// False where a lens stays whose power nobody wrote.
    pub has_power: Pair<bool>,
}

/// Why both eyes together are no order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum EyesFault {
    /// Both lenses stay.
    #[error("No lens is ordered: write the power of at least one eye")]
    NothingMade,
    /// There is nothing to be near to.
    #[error("The other eye has no power, so write what the balance lens is made near to, such as bal -2.00 sph")]
    BalanceOfNothing(Eye),
}

impl EyesOrdered {
    /// Puts both eyes together.
    ///
    /// # Errors
    ///
    /// [`EyesFault`], see there.
    pub fn of(typed: &Pair<EyeOrder>) -> Result<Self, EyesFault> {
        if typed.iter().all(|(_, order)| !order.task.is_made()) {
            return Err(EyesFault::NothingMade);
        }
        let of_eye = |eye: Eye| {
            let (own, other) = (typed.get(eye), typed.get(eye.other()));
            match (own.task, own.rx, other.rx) {
                (EyeTask::Balance, None, Some(other)) => {
                    Ok(Some(EyePrescription { power: balance_power(other.power), prism: Prism::NONE }))
                }
                (EyeTask::Balance, None, None) => Err(EyesFault::BalanceOfNothing(eye)),
                (_, rx, _) => Ok(rx),
            }
        };
        let rx = Pair::new(of_eye(Eye::Right)?, of_eye(Eye::Left)?);
        Ok(Self {
            tasks: typed.as_ref().map(|order| order.task),
            eyes: rx.map(Option::unwrap_or_default),
            has_power: rx.map(|rx| rx.is_some()),
        })
    }
}

impl EyesOrdered {
    /// Whether a lens with the prescribed power is so strong that the vertex distance is asked for.
    pub fn asks_vertex(&self) -> bool {
        let is_strong = |eye: Eye| *self.tasks.get(eye) == EyeTask::Make && asks_vertex(self.eyes.get(eye).power);
        Eye::BOTH.into_iter().any(is_strong)
    }
}

/// The power of a balance lens: a sphere, the other lens's spherical equivalent in quarters of a diopter, toward zero. Its
/// weight and thickness are then near the other's. Common practice.
pub fn balance_power(other: LensPower) -> LensPower {
    // An eighth is exact in f64, so nothing is lost before the cut.
    let quarters = (other.spherical_equivalent_d() * 4.0).trunc();
    let sphere = Diopter::from_hundredths(quarters as i32 * 25).unwrap_or(Diopter::ZERO);
    LensPower::new(sphere, Diopter::ZERO, None).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(right: &str, left: &str) -> Result<EyesOrdered, EyesFault> {
        EyesOrdered::of(&Pair::new(read_eye_order(right).unwrap(), read_eye_order(left).unwrap()))
    }

    #[test]
    fn reads_a_power_none_or_bal() {
        for (text, task, rx) in [
            ("-2.25 -1.25 x 95", EyeTask::Make, Some("-2.25 -1.25 x 095")),
            ("pl", EyeTask::Make, Some("Plano")),
            ("none", EyeTask::Keep, None),
            (" None ", EyeTask::Keep, None),
            ("keep -2.00 sph", EyeTask::Keep, Some("-2.00 sph")),
            ("none: -2.00 sph", EyeTask::Keep, Some("-2.00 sph")),
            ("none, -2.25 -1.25 x 95 1 BI", EyeTask::Keep, Some("-2.25 -1.25 x 095, 1.00 base in")),
            ("bal", EyeTask::Balance, None),
            ("Balance -3.00 sph", EyeTask::Balance, Some("-3.00 sph")),
        ] {
            let read = read_eye_order(text).unwrap_or_else(|faults| panic!("{text}: {faults:?}"));
            assert_eq!((read.task, read.rx.map(|rx| rx.to_string()).as_deref()), (task, rx), "{text}");
        }
        for text in ["", "nothing", "bal 2", "none x", "balsa"] {
            assert!(read_eye_order(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_balance_lens_is_near_the_other() {
        // The spherical equivalent: the sphere and half the cylinder (textbook).
        for (other, near) in [
            ("-2.00 sph", "-2.00 sph"),
            ("-2.00 -1.00 x 90", "-2.50 sph"),
            ("-2.00 -0.75 x 90", "-2.25 sph"),
            ("+3.00 -0.75 x 10", "+2.50 sph"),
            ("pl", "Plano"),
        ] {
            let got = typed(other, "bal").unwrap();
            assert_eq!((got.tasks.left, got.eyes.left.to_string().as_str()), (EyeTask::Balance, near), "{other}");
        }
        assert_eq!(typed("-2.00 sph 2 BI", "bal").unwrap().eyes.left.prism, Prism::NONE);
        assert_eq!(typed("bal -5.00 sph", "-2.00 sph").unwrap().eyes.right.to_string(), "-5.00 sph");
        assert_eq!(typed("bal", "none -4.00 sph").unwrap().eyes.right.to_string(), "-4.00 sph");
    }

    #[test]
    fn something_must_be_made() {
        assert_eq!(typed("none", "none -2.00 sph"), Err(EyesFault::NothingMade));
        assert_eq!(typed("none", "bal"), Err(EyesFault::BalanceOfNothing(Eye::Left)));
        assert_eq!(typed("bal", "bal"), Err(EyesFault::BalanceOfNothing(Eye::Right)));
        for (right, left, asks) in [
            ("-5.00 sph", "-1.00 sph", true),
            ("none -5.00 sph", "-1.00 sph", false),
            ("bal -6.00 sph", "-4.75 sph", false),
        ] {
            assert_eq!(typed(right, left).unwrap().asks_vertex(), asks, "{right}, {left}");
        }
        let one = typed("none", "-1.00 sph").unwrap();
        assert_eq!((one.tasks.right, one.has_power), (EyeTask::Keep, Pair::new(false, true)));
    }
}
