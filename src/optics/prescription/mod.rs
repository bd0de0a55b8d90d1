//! The prescription as a practitioner writes it: reading, checking, writing back.
//!
//! Powers are kept as written, in plus or minus cylinder, and turned exactly. A step of one eighth is written
//! with two places, 0.125 as 0.12 and so on (common practice), and adds as an eighth: -2.12 and -1.12 make -3.25.
//!
//! * [`read`] takes one eye's prescription, [`read_measured`] a lensmeter's reading.
//! * [`cautions`] looks at both eyes and the last prescription and asks about what is unlikely.
//! * [`read_pupil_distance`] takes one number for both eyes or one each.

use std::fmt;

use thiserror::Error;

use super::Eye;
use super::power::SphereCylinder;
use super::prism::{InUp, Polar};
use super::unit::{Axis, Dioptre, PrismDioptre};

mod caution;
mod fault;
mod pupil_distance;
mod read;
mod token;

pub use caution::{Caution, cautions};
pub use fault::{Fault, Note};
pub use pupil_distance::{
    Given, PupilDistance, PupilDistanceCaution, PupilDistanceFault, pupil_distance_cautions, read_pupil_distance,
};
pub use read::{Reading, read, read_measured};

/// The strongest principal power an order may hold, in hundredths (common practice).
const STRONGEST_POWER: i32 = 3000;
/// The strongest cylinder an order may hold, in hundredths (common practice).
const STRONGEST_CYLINDER: i32 = 1000;
/// The strongest prism an order may hold before one eye, in hundredths (common practice).
const STRONGEST_PRISM: i32 = 2000;

/// Why three numbers are not a lens power.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum PowerError {
    /// A principal power is beyond ±30.00 D.
    #[error("A power of {0} is beyond ±30.00; check the sphere")]
    SphereOutOfRange(Dioptre),
    /// The cylinder is beyond ±10.00 D.
    #[error("A cylinder of {0} is beyond ±10.00; check the cylinder")]
    CylinderOutOfRange(Dioptre),
    /// A cylinder came without its axis.
    #[error("The axis is missing: write it after the cylinder, such as x 95")]
    AxisMissing,
    /// An axis came without a cylinder.
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
    power: Dioptre,
    axis: Axis,
}

/// The power of one lens as written, in plus or minus cylinder. A cylinder always has its axis, and an axis its
/// cylinder; both principal powers lie within ±30 D and the cylinder within ±10 D, so either form can be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct LensPower {
    sphere: Dioptre,
    cylinder: Option<Cylinder>,
}

impl LensPower {
    /// No power at all.
    pub const PLANO: Self = Self { sphere: Dioptre::ZERO, cylinder: None };

    /// A power as written; a zero cylinder goes with `None` for the axis.
    ///
    /// # Errors
    ///
    /// [`PowerError`]: out of range, a cylinder without axis, an axis without cylinder.
    pub fn new(sphere: Dioptre, cylinder: Dioptre, axis: Option<Axis>) -> Result<Self, PowerError> {
        let cylinder = match (cylinder, axis) {
            (Dioptre::ZERO, None) => None,
            (Dioptre::ZERO, Some(axis)) => return Err(PowerError::AxisWithoutCylinder(axis)),
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

    /// The power a lensmeter's two drum readings give: the sphere is the first, the cylinder the second less the
    /// first, at the axis read with it. Equal drums are a sphere, whatever the axis wheel says (textbook).
    ///
    /// # Errors
    ///
    /// [`PowerError`] as for [`LensPower::new`].
    pub fn from_drums(first: Dioptre, second: Dioptre, axis: Option<Axis>) -> Result<Self, PowerError> {
        let difference = second.hundredths() - first.hundredths();
        let Ok(cylinder) = Dioptre::from_hundredths(difference) else {
            return Err(PowerError::CylinderOutOfRange(if difference < 0 { Dioptre::MIN } else { Dioptre::MAX }));
        };
        Self::new(first, cylinder, axis.filter(|_| cylinder != Dioptre::ZERO))
    }

    /// The sphere as written.
    pub fn sphere(self) -> Dioptre {
        self.sphere
    }

    /// The cylinder as written; zero when there is none.
    pub fn cylinder(self) -> Dioptre {
        self.cylinder.map_or(Dioptre::ZERO, |cylinder| cylinder.power)
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

    /// The other cylinder form (textbook): sphere plus cylinder, the cylinder's sign turned, the axis turned by 90.
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
        self.numbers_by(Dioptre::to_f64_in_eighths)
    }

    /// The numbers for computing what was *measured*: -2.12 is -2.12.
    pub fn measured_numbers(self) -> SphereCylinder {
        self.numbers_by(Dioptre::to_f64)
    }

    fn numbers_by(self, number: impl Fn(Dioptre) -> f64) -> SphereCylinder {
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
            (Dioptre::ZERO, None) => write!(f, "Plano"),
            (sphere, None) => write!(f, "{sphere} sph"),
            (Dioptre::ZERO, Some(c)) => write!(f, "Plano {} x {}", c.power, c.axis),
            (sphere, Some(c)) => write!(f, "{sphere} {} x {}", c.power, c.axis),
        }
    }
}

/// Adds two powers that together stay within a [`Dioptre`]'s range, as eighths where both are.
fn add_in_eighths(a: Dioptre, b: Dioptre) -> Dioptre {
    let hundredths = match (a.eighths(), b.eighths()) {
        // Whole division drops towards zero: 17 eighths, 2.125, is written 2.12.
        (Some(a), Some(b)) => (a + b) * 25 / 2,
        _ => a.hundredths() + b.hundredths(),
    };
    within_range(hundredths)
}

fn negated(power: Dioptre) -> Dioptre {
    within_range(-power.hundredths())
}

/// Both callers stay inside ±40 D: a principal power is at most 30 and a cylinder at most 10 from it.
fn within_range(hundredths: i32) -> Dioptre {
    let clamped = hundredths.clamp(Dioptre::MIN.hundredths(), Dioptre::MAX.hundredths());
    Dioptre::from_hundredths(clamped).unwrap_or(Dioptre::ZERO)
}

/// The side of the lens a prism's base lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BaseDirection {
    /// Towards the nose.
    In,
    /// Towards the temple.
    Out,
    /// Up.
    Up,
    /// Down.
    Down,
}

impl BaseDirection {
    /// Whether the base lies to a side.
    pub fn is_horizontal(self) -> bool {
        matches!(self, Self::In | Self::Out)
    }
}

impl fmt::Display for BaseDirection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::In => "base in",
            Self::Out => "base out",
            Self::Up => "base up",
            Self::Down => "base down",
        })
    }
}

/// A prism before one eye is stronger than 20 prism dioptres.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error("A prism of {amount_pd:.2} before one eye is beyond 20.00; check the prism")]
pub struct PrismTooStrong {
    /// The resultant asked for.
    pub amount_pd: f64,
}

/// The prism prescribed before one eye, up to 20 prism dioptres in all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Prism {
    base_in: PrismDioptre,
    base_up: PrismDioptre,
}

impl Prism {
    /// No prism.
    pub const NONE: Self = Self { base_in: PrismDioptre::ZERO, base_up: PrismDioptre::ZERO };

    /// A prism from its parts: base in and base up positive, base out and base down negative.
    ///
    /// # Errors
    ///
    /// [`PrismTooStrong`] when the resultant is beyond 20.
    pub fn new(base_in: PrismDioptre, base_up: PrismDioptre) -> Result<Self, PrismTooStrong> {
        let (x, y) = (i64::from(base_in.hundredths()), i64::from(base_up.hundredths()));
        if x * x + y * y > i64::from(STRONGEST_PRISM).pow(2) {
            return Err(PrismTooStrong { amount_pd: base_in.to_f64().hypot(base_up.to_f64()) });
        }
        Ok(Self { base_in, base_up })
    }

    /// The horizontal part: base in positive, base out negative.
    pub fn base_in(self) -> PrismDioptre {
        self.base_in
    }

    /// The vertical part: base up positive, base down negative.
    pub fn base_up(self) -> PrismDioptre {
        self.base_up
    }

    /// Whether there is no prism.
    pub fn is_none(self) -> bool {
        self == Self::NONE
    }

    /// The parts that are not zero, each as a positive amount and its base; horizontal first.
    pub fn parts(self) -> impl Iterator<Item = (PrismDioptre, BaseDirection)> {
        let part = |signed: PrismDioptre, plus, minus| {
            let amount = PrismDioptre::from_hundredths(signed.hundredths().abs()).ok()?;
            let base = if signed < PrismDioptre::ZERO { minus } else { plus };
            (amount != PrismDioptre::ZERO).then_some((amount, base))
        };
        [
            part(self.base_in, BaseDirection::In, BaseDirection::Out),
            part(self.base_up, BaseDirection::Up, BaseDirection::Down),
        ]
        .into_iter()
        .flatten()
    }

    /// The numbers for computing.
    pub fn numbers(self) -> InUp {
        InUp { in_pd: self.base_in.to_f64(), up_pd: self.base_up.to_f64() }
    }

    /// The resultant before one eye: amount and base direction in the front view.
    pub fn to_polar(self, eye: Eye) -> Polar {
        self.numbers().to_polar(eye)
    }
}

impl fmt::Display for Prism {
    /// `1.50 base in, 1.00 base up`; `no prism` for none.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_none() {
            return f.write_str("no prism");
        }
        for (index, (amount, base)) in self.parts().enumerate() {
            let comma = if index == 0 { "" } else { ", " };
            write!(f, "{comma}{amount} {base}")?;
        }
        Ok(())
    }
}

/// What is prescribed before one eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct EyePrescription {
    /// The power, as written.
    pub power: LensPower,
    /// The prism.
    pub prism: Prism,
}

impl fmt::Display for EyePrescription {
    /// `-2.25 -1.25 x 095`, followed by `, 1.50 base in` where there is prism. [`read`] takes it back.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.power)?;
        if self.prism.is_none() { Ok(()) } else { write!(f, ", {}", self.prism) }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A power from hundredths, for tables.
    pub(crate) fn power(sphere: i32, cylinder: i32, axis: i32) -> LensPower {
        let axis = (cylinder != 0).then(|| Axis::new(axis).unwrap());
        LensPower::new(Dioptre::from_hundredths(sphere).unwrap(), Dioptre::from_hundredths(cylinder).unwrap(), axis)
            .unwrap()
    }

    /// A prism from hundredths, for tables.
    pub(crate) fn prism(base_in: i32, base_up: i32) -> Prism {
        Prism::new(PrismDioptre::from_hundredths(base_in).unwrap(), PrismDioptre::from_hundredths(base_up).unwrap())
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
        let (zero, one) = (Dioptre::ZERO, Dioptre::from_hundredths(-100).unwrap());
        let axis = Axis::new(90).unwrap();
        assert_eq!(LensPower::new(one, one, None), Err(PowerError::AxisMissing));
        assert_eq!(LensPower::new(one, zero, Some(axis)), Err(PowerError::AxisWithoutCylinder(axis)));
        assert_eq!(LensPower::new(zero, zero, None), Ok(LensPower::PLANO));
    }

    #[test]
    fn ranges_hold_in_both_forms() {
        let make = |s, c| {
            LensPower::new(
                Dioptre::from_hundredths(s).unwrap(),
                Dioptre::from_hundredths(c).unwrap(),
                Axis::new(5).ok(),
            )
        };
        assert!(make(3000, -1000).is_ok());
        assert!(matches!(make(3001, -1000), Err(PowerError::SphereOutOfRange(_))));
        assert!(matches!(make(2000, 1001), Err(PowerError::CylinderOutOfRange(_))));
        assert!(matches!(make(2500, 525), Err(PowerError::SphereOutOfRange(d)) if d.hundredths() == 3025));
    }

    #[test]
    fn drums() {
        let d = |h| Dioptre::from_hundredths(h).unwrap();
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
        let pd = |h| PrismDioptre::from_hundredths(h).unwrap();
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
}
