//! The power to order so that the lens gives the prescribed one as worn. What the owner decides is in [`crate::desk::fitting`].

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::layout::EyeOnBench;
use crate::desk::fitting::PositionOfWear;
use crate::desk::job::Job;
use crate::desk::key::keyed;
use crate::desk::stock::LensInHand;
use crate::optics::Eye;
use crate::optics::compensation::{Compensated, CompensationError, compensate, residual_as_worn};
use crate::optics::lens::{Lens, LensError, LensOrder};
use crate::optics::material::usual_front_d;
use crate::optics::power::SphereCylinder;
use crate::optics::prescription::{LensPower, PowerError};
use crate::optics::prism::BaseVector;
use crate::optics::unit::{Axis, Dioptre, Millimetre, UnitError};
use crate::shape::edge::lens_with_thinnest_edge;

/// To be shown and printed wherever a lens is made for a wrapped or sports frame.
pub const WRAP_CAUTION: &str = "Not safety or sports eyewear, however sturdy or wrapped the frame: lens and frame are \
     not tested together here. Not for hazardous work or ball games.";

/// To be shown beside the choice of power.
pub const DECISION_CAUTION: &str = "Whether to order a compensated power is for you, or for the prescriber, to decide; \
     nothing is changed by itself. A lens maker who compensates too would do it twice: say on the order which power \
     the lensmeter must read.";

/// The thinnest edge of a plus lens whose centre is not known (common practice, rimmed frames).
const PLUS_EDGE_MM: f64 = 1.0;
/// Half the usual width of a shape that is not known (common practice).
const USUAL_REACH_MM: f64 = 27.0;

/// The steps a power is ordered in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
pub enum PowerStep {
    /// Quarters, as most uncut lenses are stocked.
    #[strum(serialize = "0.25")]
    Quarter,
    /// Eighths.
    #[strum(serialize = "0.125")]
    Eighth,
    /// Hundredths, for lenses surfaced to order.
    #[strum(serialize = "0.01")]
    Hundredth,
}

keyed!(PowerStep);

impl PowerStep {
    /// The size.
    pub fn size_d(self) -> f64 {
        match self {
            PowerStep::Quarter => 0.25,
            PowerStep::Eighth => 0.125,
            PowerStep::Hundredth => 0.01,
        }
    }

    /// The nearest power in these steps, minus cylinder, axis to the degree; eighths are written as the trade does,
    /// -2.12 for -2.125. Rounded in both principal meridians, so that neither is off by more than half a step.
    ///
    /// # Errors
    ///
    /// [`RoundError`] when the power is beyond what an order may hold.
    pub fn round(self, power: SphereCylinder) -> Result<LensPower, RoundError> {
        let minus = power.to_minus();
        let stepped = |value_d: f64| (value_d / self.size_d()).round() * self.size_d();
        let (sphere_d, cross_d) = (stepped(minus.sphere_d), stepped(minus.sphere_d + minus.cylinder_d));
        // -2.125 is written -2.12: towards zero.
        let written = |value_d: f64| match self {
            PowerStep::Hundredth => Dioptre::round_from(value_d),
            _ => Dioptre::from_hundredths((value_d * 100.0).trunc() as i32),
        };
        let cylinder = written(cross_d - sphere_d)?;
        let axis = match cylinder {
            Dioptre::ZERO => None,
            _ => Some(Axis::new(minus.axis_deg.round() as i32)?),
        };
        Ok(LensPower::new(written(sphere_d)?, cylinder, axis)?)
    }
}

/// Why a computed power cannot be ordered.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RoundError {
    /// Out of the range of a number.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// Beyond what an order may hold.
    #[error(transparent)]
    Power(#[from] PowerError),
}

/// Why there is no power to order.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoCompensation {
    /// No such lens.
    #[error(transparent)]
    Lens(#[from] LensError),
    /// The position of wear gives no answer.
    #[error(transparent)]
    Compensated(#[from] CompensationError),
    /// A computed power that cannot be ordered.
    #[error(transparent)]
    Round(#[from] RoundError),
}

/// One eye as worn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EyeCompensation {
    /// Exact order, textbook order, the prescribed power as worn, the prism of the tilt.
    pub compensated: Compensated,
    /// The exact order in steps.
    pub order: LensPower,
    /// What the stepped order leaves the wearer beyond the prescription.
    pub left: SphereCylinder,
    /// What the lens ordered as prescribed leaves.
    pub left_unchanged: SphereCylinder,
    /// The lens it was computed for.
    pub lens: LensOrder,
}

impl EyeCompensation {
    /// Computes one eye of a job.
    ///
    /// # Errors
    ///
    /// [`NoCompensation`].
    pub fn of(
        job: &Job,
        eye: Eye,
        laid: Option<&EyeOnBench>,
        in_hand: Option<&LensInHand>,
        position: &PositionOfWear,
        step: PowerStep,
    ) -> Result<Self, NoCompensation> {
        let prescribed = job.prescription.eyes.get(eye).power.numbers();
        // The tilt formulas leave a prescribed prism out.
        let body = body(job, prescribed, BaseVector::default(), laid, in_hand)?;
        let (lens, wear) = (*body.order(), position.numbers());
        let compensated = compensate(eye, &lens, &wear)?;
        let order = step.round(compensated.order)?;
        Ok(Self {
            compensated,
            order,
            left: residual_as_worn(eye, &lens, &wear, order.numbers())?,
            left_unchanged: residual_as_worn(eye, &lens, &wear, prescribed)?,
            lens,
        })
    }
}

/// The lens of one eye as a body with the power and prism given: front and centre of the lens in hand, else the usual
/// front (Vogel's rule) and the material's usual centre; a plus lens as thick as leaves 1 mm at its thinnest edge.
///
/// # Errors
///
/// [`LensError`] when there is no such lens.
pub fn body(
    job: &Job,
    power: SphereCylinder,
    prism: BaseVector,
    laid: Option<&EyeOnBench>,
    in_hand: Option<&LensInHand>,
) -> Result<Lens, LensError> {
    let material = &job.material.details;
    let index = material.index();
    let known_centre = in_hand.and_then(|lens| lens.centre).map(Millimetre::to_f64);
    let usual_centre_mm = f64::from(material.centre_hundredths) / 100.0;
    let order = LensOrder {
        power,
        prism,
        index,
        front_power_d: in_hand
            .and_then(|lens| lens.front_power)
            .map_or_else(|| usual_front_d(power, index), Dioptre::to_f64),
        front_conic: 0.0,
        centre_thickness_mm: known_centre.unwrap_or(usual_centre_mm),
    };
    let minus = power.to_minus();
    let strongest_plus_d = minus.sphere_d;
    if known_centre.is_some() || strongest_plus_d <= 0.0 {
        return Lens::new(order);
    }
    if let Some(laid) = laid
        && let Ok(lens) = lens_with_thinnest_edge(&laid.outline, laid.optical_centre(), order, PLUS_EDGE_MM)
    {
        return if lens.order().centre_thickness_mm >= usual_centre_mm { Ok(lens) } else { Lens::new(order) };
    }
    // h²F / 2000(n - 1): textbook thumb, only until there is a shape.
    let bulge_mm = USUAL_REACH_MM * USUAL_REACH_MM * strongest_plus_d / (2000.0 * (index - 1.0));
    Lens::new(LensOrder { centre_thickness_mm: usual_centre_mm.max(PLUS_EDGE_MM + bulge_mm), ..order })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn power(sphere_d: f64, cylinder_d: f64, axis_deg: f64) -> SphereCylinder {
        SphereCylinder::new(sphere_d, cylinder_d, axis_deg)
    }

    #[test]
    fn rounds_both_meridians_and_writes_eighths_as_the_trade_does() {
        for (exact, step, want) in [
            (power(-5.71, -0.37, 88.4), PowerStep::Quarter, "-5.75 -0.25 x 088"),
            (power(-5.71, -0.37, 88.4), PowerStep::Eighth, "-5.75 -0.37 x 088"),
            (power(-5.71, -0.37, 88.4), PowerStep::Hundredth, "-5.71 -0.37 x 088"),
            (power(-2.13, 0.0, 180.0), PowerStep::Eighth, "-2.12 sph"),
            // -2.10 and -2.22 both come to -2.12: no cylinder, so no axis.
            (power(-2.10, -0.08, 20.0), PowerStep::Eighth, "-2.12 sph"),
            // Plus cylinder comes out in minus form, and axis 0.3 is 180.
            (power(1.0, 0.5, 90.3), PowerStep::Quarter, "+1.50 -0.50 x 180"),
            (power(-0.06, -0.5, 45.0), PowerStep::Quarter, "Plano -0.50 x 045"),
        ] {
            assert_eq!(step.round(exact).map(|p| p.to_string()).as_deref(), Ok(want), "{exact:?} in {step:?}");
        }
        assert!(PowerStep::Quarter.round(power(-31.0, 0.0, 180.0)).is_err());
    }

    #[test]
    fn a_rounded_meridian_is_off_by_half_a_step_at_most() {
        for &step in PowerStep::ALL {
            for i in 0..400 {
                let exact = power(-6.0 + f64::from(i) * 0.031, -f64::from(i % 37) * 0.07, f64::from(i % 180) + 1.0);
                let got = step.round(exact).unwrap().numbers().to_minus();
                let cross = |p: SphereCylinder| p.sphere_d + p.cylinder_d;
                // Hundredths near an eighth are read as that eighth, half a hundredth away.
                let most_d = step.size_d() / 2.0 + 0.0051;
                assert!((got.sphere_d - exact.sphere_d).abs() <= most_d, "{exact:?} {got:?}");
                assert!((cross(got) - cross(exact)).abs() <= most_d + 0.0051, "{exact:?} {got:?}");
            }
        }
    }

    #[test]
    fn every_step_reads_back() {
        for &step in PowerStep::ALL {
            assert_eq!(PowerStep::from_key(step.key()), Some(step));
        }
    }
}
