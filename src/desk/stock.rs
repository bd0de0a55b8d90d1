//! Uncut lenses: the drawer, and the pair taken for a job.

use super::id::{DrawerLensId, MaterialId};
use super::limit::{LengthLimit, PowerLimit};
use crate::optics::Eye;
use crate::optics::prescription::LensPower;
use crate::optics::unit::{Dioptre, Millimetre};

/// The diameter of an uncut lens. Source: common practice.
pub const DIAMETER: LengthLimit = LengthLimit::new("A diameter", 4000, 9000);
/// The centre thickness of an uncut lens.
pub const CENTRE: LengthLimit = LengthLimit::new("A centre thickness", 50, 2000);
/// The true power of the front of an uncut lens.
pub const FRONT: PowerLimit = PowerLimit::new("A front", 0, 2000);
/// The cylinder of an uncut lens, in either form.
pub const CYLINDER: PowerLimit = PowerLimit::new("A cylinder", -1000, 1000);
/// How far the marked optical centre lies from the middle of the blank.
pub const OFFSET: LengthLimit = LengthLimit::new("An offset", -2000, 2000);
/// A kind with this many lenses or fewer runs low: the next pair of equal lenses cannot be made from the drawer.
pub const LOW: i64 = 1;
/// The most lenses put in or taken out at once.
pub const MOST_AT_ONCE: i64 = 500;

/// A kind of uncut lens in the drawer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawerLens {
    pub id: DrawerLensId,
    /// The material's current name.
    pub material_name: String,
    pub details: DrawerLensDetails,
    /// How many are left.
    pub count: i64,
    /// How often the count has changed. Part of the correction form's key, so an outdated form is recognized.
    pub moves: i64,
}

/// An uncut lens in minus-cylinder form, as printed on its envelope.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawerLensDetails {
    pub material: MaterialId,
    pub sphere: Dioptre,
    /// Zero or minus.
    pub cylinder: Dioptre,
    pub diameter: Millimetre,
    pub centre: Millimetre,
    /// True power of the front surface.
    pub front_power: Dioptre,
}

/// The uncut lens taken for one eye.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LensInHand {
    pub eye: Eye,
    /// The drawer lens; `None` if it was bought for this job.
    pub drawer_lens: Option<DrawerLensId>,
    /// Supplier, lot and certificate, as typed.
    pub source: String,
    pub diameter: Millimetre,
    /// Centre thickness as printed on the envelope.
    pub centre: Option<Millimetre>,
    /// True power of the front surface.
    pub front_power: Option<Dioptre>,
    /// The marked optical centre from the geometric centre of the blank, towards the nose.
    pub off_in: Millimetre,
    /// The marked optical centre from the geometric centre of the blank, upwards.
    pub off_up: Millimetre,
}

/// The largest difference from the ordered power that is offered as an alternative, D.
const ALTERNATIVE_D: f64 = 0.25;

/// How a drawer lens matches the ordered material and power. Its size is checked against the shape elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suit {
    /// The ordered material and power.
    Right,
    /// The ordered material and power, but none is left.
    NoneLeft,
    /// The ordered material, a quarter dioptre off.
    OtherPower,
    /// The ordered power in another material.
    OtherMaterial,
    /// No match.
    Far,
}

impl DrawerLens {
    /// Compares with an order. An uncut lens can be rotated, so the axis does not matter. Both spellings of an eighth
    /// match.
    pub fn suit(&self, material: MaterialId, ordered: LensPower) -> Suit {
        let ordered = ordered.to_minus();
        let off_d = |own: Dioptre, ordered: Dioptre| (own.to_f64_in_eighths() - ordered.to_f64_in_eighths()).abs();
        let sphere_d = off_d(self.details.sphere, ordered.sphere());
        let cylinder_d = off_d(self.details.cylinder, ordered.cylinder());
        let is_power = sphere_d < 1e-9 && cylinder_d < 1e-9;
        match (self.details.material == material, is_power) {
            (true, true) if self.count > 0 => Suit::Right,
            (true, true) => Suit::NoneLeft,
            (true, false) if sphere_d.max(cylinder_d) < ALTERNATIVE_D + 1e-9 && self.count > 0 => Suit::OtherPower,
            (false, true) if self.count > 0 => Suit::OtherMaterial,
            _ => Suit::Far,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    use crate::optics::prescription::read;

    #[test]
    fn a_lens_suits_by_material_and_power_in_either_form() {
        let [line, other] = [1, 2].map(|n| MaterialId(Uuid::from_u128(n)));
        let lens = |sphere: &str, cylinder: &str, count| DrawerLens {
            id: DrawerLensId(Uuid::nil()),
            material_name: String::new(),
            details: DrawerLensDetails {
                material: line,
                sphere: sphere.parse().unwrap(),
                cylinder: cylinder.parse().unwrap(),
                diameter: "70".parse().unwrap(),
                centre: "2".parse().unwrap(),
                front_power: "4".parse().unwrap(),
            },
            count,
            moves: 1,
        };
        for (sphere, cylinder, count, material, ordered, want) in [
            ("-2.25", "-1.25", 1, line, "-2.25 -1.25 x 95", Suit::Right),
            ("-2.25", "-1.25", 1, line, "-3.50 +1.25 x 5", Suit::Right),
            ("-2.12", "0", 1, line, "-2.13 sph", Suit::Right),
            ("-2.25", "-1.25", 0, line, "-2.25 -1.25 x 95", Suit::NoneLeft),
            ("-2.50", "-1.25", 1, line, "-2.25 -1.25 x 95", Suit::OtherPower),
            ("-2.25", "-1.25", 1, other, "-2.25 -1.25 x 95", Suit::OtherMaterial),
            ("-2.75", "-1.25", 1, line, "-2.25 -1.25 x 95", Suit::Far),
            ("+2.25", "-1.25", 1, line, "-2.25 -1.25 x 95", Suit::Far),
        ] {
            let ordered = read(ordered).unwrap().rx.power;
            assert_eq!(
                lens(sphere, cylinder, count).suit(material, ordered),
                want,
                "{sphere} {cylinder} for {ordered}"
            );
        }
    }
}
