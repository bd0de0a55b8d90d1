//! The power of one lens as written.

use std::fmt;

use thiserror::Error;

use crate::optics::power::SphereCylinder;
use crate::optics::unit::{Axis, Diopter};

/// The strongest principal power an order may hold, in hundredths (common practice).
const STRONGEST_POWER: i32 = 3000;
/// The strongest cylinder an order may hold, in hundredths (common practice).
const STRONGEST_CYLINDER: i32 = 1000;

/// Why three numbers are not a lens power.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum PowerError {
    /// A principal power is beyond ±30.00 D.
    #[error("A power of {0} is beyond ±30.00; check the sphere")]
    SphereOutOfRange(Diopter),
    /// The cylinder is beyond ±10.00 D.
    #[error("A cylinder of {0} is beyond ±10.00; check the cylinder")]
    CylinderOutOfRange(Diopter),
    /// A cylinder without its axis.
    #[error("The axis is missing: write it after the cylinder, such as x 95")]
    AxisMissing,
    /// An axis without a cylinder.
    #[error("The axis {0} has no cylinder: write the cylinder, or leave out the axis")]
    AxisWithoutCylinder(Axis),
}

/// Which sign the cylinder was written with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CylinderForm {
    /// No cylinder.
    Sphere,
    /// A negative cylinder.
    Minus,
    /// A positive cylinder.
    Plus,
}

/// A cylinder that is not zero, with its axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
struct Cylinder {
    power: Diopter,
    axis: Axis,
}

/// The power of one lens as written, in plus or minus cylinder. A cylinder always has an axis, and an axis a
/// cylinder. Both principal powers lie within ±30 D and the cylinder within ±10 D, so either form can be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct LensPower {
    sphere: Diopter,
    cylinder: Option<Cylinder>,
}

impl LensPower {
    /// Zero power.
    pub const PLANO: Self = Self { sphere: Diopter::ZERO, cylinder: None };

    /// A power as written. With a zero cylinder the axis must be `None`.
    ///
    /// # Errors
    ///
    /// [`PowerError`]: out of range, a cylinder without axis, an axis without cylinder.
    pub fn new(sphere: Diopter, cylinder: Diopter, axis: Option<Axis>) -> Result<Self, PowerError> {
        let cylinder = match (cylinder, axis) {
            (Diopter::ZERO, None) => None,
            (Diopter::ZERO, Some(axis)) => return Err(PowerError::AxisWithoutCylinder(axis)),
            (_, None) => return Err(PowerError::AxisMissing),
            (power, Some(axis)) => Some(Cylinder { power, axis }),
        };
        if sphere.hundredths().abs() > STRONGEST_POWER {
            return Err(PowerError::SphereOutOfRange(sphere));
        }
        if let Some(cylinder) = cylinder {
            if cylinder.power.hundredths().abs() > STRONGEST_CYLINDER {
                return Err(PowerError::CylinderOutOfRange(cylinder.power));
            }
            let cross = add_in_eighths(sphere, cylinder.power);
            if cross.hundredths().abs() > STRONGEST_POWER {
                return Err(PowerError::SphereOutOfRange(cross));
            }
        }
        Ok(Self { sphere, cylinder })
    }

    /// The power from a lensmeter's two drum readings: the sphere is the first, the cylinder the second minus the
    /// first, at the axis read with it. Equal readings give a sphere, and the axis is dropped (textbook).
    ///
    /// # Errors
    ///
    /// [`PowerError`] as for [`LensPower::new`].
    pub fn from_drums(first: Diopter, second: Diopter, axis: Option<Axis>) -> Result<Self, PowerError> {
        let difference = second.hundredths() - first.hundredths();
        let Ok(cylinder) = Diopter::from_hundredths(difference) else {
            return Err(PowerError::CylinderOutOfRange(if difference < 0 { Diopter::MIN } else { Diopter::MAX }));
        };
        Self::new(first, cylinder, axis.filter(|_| cylinder != Diopter::ZERO))
    }

    /// The sphere as written.
    pub fn sphere(self) -> Diopter {
        self.sphere
    }

    /// The cylinder as written; zero when there is none.
    pub fn cylinder(self) -> Diopter {
        self.cylinder.map_or(Diopter::ZERO, |cylinder| cylinder.power)
    }

    /// The axis, when there is a cylinder.
    pub fn axis(self) -> Option<Axis> {
        self.cylinder.map(|cylinder| cylinder.axis)
    }

    /// Which form this was written in.
    pub fn form(self) -> CylinderForm {
        match self.cylinder().hundredths() {
            0 => CylinderForm::Sphere,
            h if h < 0 => CylinderForm::Minus,
            _ => CylinderForm::Plus,
        }
    }

    /// The same lens written with a minus cylinder, or as it is when it has none.
    pub fn to_minus(self) -> Self {
        if self.form() == CylinderForm::Plus { self.transposed() } else { self }
    }

    /// The same lens written with a plus cylinder, or as it is when it has none.
    pub fn to_plus(self) -> Self {
        if self.form() == CylinderForm::Minus { self.transposed() } else { self }
    }

    /// The other cylinder form (textbook): sphere plus cylinder, cylinder with the opposite sign, axis turned by 90.
    ///
    /// Numbers that are whole eighths add as eighths; any others add in hundredths.
    pub fn transposed(self) -> Self {
        let Some(cylinder) = self.cylinder else { return self };
        Self {
            sphere: add_in_eighths(self.sphere, cylinder.power),
            cylinder: Some(Cylinder { power: negated(cylinder.power), axis: cylinder.axis.perpendicular() }),
        }
    }

    /// The numbers for computing what was *prescribed*: eighths count in full, so -2.12 is -2.125.
    pub fn numbers(self) -> SphereCylinder {
        self.numbers_by(Diopter::to_f64_in_eighths)
    }

    /// The numbers for computing what was *measured*: -2.12 is -2.12.
    pub fn measured_numbers(self) -> SphereCylinder {
        self.numbers_by(Diopter::to_f64)
    }

    fn numbers_by(self, number: impl Fn(Diopter) -> f64) -> SphereCylinder {
        let axis_deg = self.axis().map_or(180.0, |axis| f64::from(axis.degrees()));
        SphereCylinder::new(number(self.sphere), number(self.cylinder()), axis_deg)
    }

    /// S + C/2 of what was prescribed.
    pub fn spherical_equivalent_d(self) -> f64 {
        self.numbers().spherical_equivalent_d()
    }
}

impl fmt::Display for LensPower {
    /// `-2.25 -1.25 x 095`, `+1.00 sph`, `Plano`, `Plano -0.50 x 180`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.sphere, self.cylinder) {
            (Diopter::ZERO, None) => write!(f, "Plano"),
            (sphere, None) => write!(f, "{sphere} sph"),
            (Diopter::ZERO, Some(c)) => write!(f, "Plano {} x {}", c.power, c.axis),
            (sphere, Some(c)) => write!(f, "{sphere} {} x {}", c.power, c.axis),
        }
    }
}

/// Adds two powers whose sum stays within a [`Diopter`]'s range; as eighths if both are eighths.
fn add_in_eighths(a: Diopter, b: Diopter) -> Diopter {
    let hundredths = match (a.eighths(), b.eighths()) {
        // Integer division rounds towards zero: 17 eighths, 2.125, is written 2.12.
        (Some(a), Some(b)) => (a + b) * 25 / 2,
        _ => a.hundredths() + b.hundredths(),
    };
    within_range(hundredths)
}

fn negated(power: Diopter) -> Diopter {
    within_range(-power.hundredths())
}

/// Both callers stay inside ±40 D: a principal power is at most 30 and a cylinder at most 10 from it.
fn within_range(hundredths: i32) -> Diopter {
    let clamped = hundredths.clamp(Diopter::MIN.hundredths(), Diopter::MAX.hundredths());
    Diopter::from_hundredths(clamped).unwrap_or(Diopter::ZERO)
}
