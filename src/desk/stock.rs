//! Uncut lenses: the drawer, and the pair taken for a job.

use super::fault::FaultCause;
use super::id::{DrawerLensId, MaterialId, SupplierId, TreatmentId};
use super::job::Job;
use super::limit::{LengthLimit, PowerLimit};
use crate::optics::Eye;
use crate::optics::notation::short;
use crate::optics::prescription::LensPower;
use crate::optics::surface::true_from_tool_d;
use crate::optics::unit::{Diopter, Millimeter};

/// The diameter of an uncut lens. Source: common practice.
pub const DIAMETER: LengthLimit = LengthLimit::new("A diameter", 4000, 9000);
/// The center thickness of an uncut lens.
pub const CENTER: LengthLimit = LengthLimit::new("A center thickness", 50, 2000);
/// The true power of the front of an uncut lens.
pub const FRONT: PowerLimit = PowerLimit::new("A front", 0, 2000);
/// The nominal base curve of an uncut lens, in tool power.
pub const BASE: PowerLimit = PowerLimit::new("A base curve", 0, 2000);
/// The cylinder of an uncut lens, in either form.
pub const CYLINDER: PowerLimit = PowerLimit::new("A cylinder", -1000, 1000);
/// How far the marked optical center lies from the middle of the blank.
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
    /// The material's refractive index in thousandths.
    pub index_thousandths: i32,
    /// The names of its coating and tint; empty for none.
    pub treatments: String,
    pub details: DrawerLensDetails,
    /// How many are left.
    pub count: i64,
    /// How many of them are promised to jobs.
    pub promised: i64,
    /// With so many free ones or fewer, more are bought.
    pub reorder_at: Option<i64>,
    /// Who sells it.
    pub supplier: Option<Supplier>,
    /// Lot and certificate of the newest delivery.
    pub source: String,
    /// How often the count has changed. Part of the correction form's key, so an outdated form is recognized.
    pub moves: i64,
}

/// Who sells uncut lenses.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Supplier {
    pub id: SupplierId,
    pub name: String,
}

/// An uncut lens in minus-cylinder form, as printed on its envelope.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawerLensDetails {
    pub material: MaterialId,
    pub coating: Option<TreatmentId>,
    /// Over the first one; none without it.
    pub second_coating: Option<TreatmentId>,
    pub tint: Option<TreatmentId>,
    pub sphere: Diopter,
    /// Zero or minus.
    pub cylinder: Diopter,
    pub diameter: Millimeter,
    pub center: Option<Millimeter>,
    /// True power of the front surface.
    pub front_power: Option<Diopter>,
    /// Nominal base curve, in tool power.
    pub base: Option<Diopter>,
}

impl DrawerLensDetails {
    /// `-2.25 -0.50`, or `-2.25 sph`.
    pub fn power_words(&self) -> String {
        plain_power(self.sphere, self.cylinder)
    }

    /// What is put on it.
    fn coatings(&self) -> impl Iterator<Item = TreatmentId> {
        [self.coating, self.second_coating].into_iter().flatten()
    }
}

/// Lenses of one kind that come into the drawer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    pub lens: DrawerLensDetails,
    pub count: i64,
    /// From now on more are bought when so many free ones or fewer are left; `None` leaves what was set.
    pub reorder_at: Option<i64>,
    /// Who sold them; empty where that is not said.
    pub supplier: String,
    /// Lot and certificate.
    pub source: String,
}

/// A power without its axis: `-2.25 -0.50`, or `-2.25 sph`.
pub fn plain_power(sphere: Diopter, cylinder: Diopter) -> String {
    if cylinder == Diopter::ZERO { format!("{sphere} sph") } else { format!("{sphere} {cylinder}") }
}

/// The lens that an eye of a job needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WantedLens {
    pub material: MaterialId,
    pub coatings: Vec<TreatmentId>,
    pub tint: Option<TreatmentId>,
    pub power: LensPower,
}

impl WantedLens {
    /// Of one eye of a job.
    pub fn of(job: &Job, eye: Eye) -> Self {
        let coatings = [&job.coating, &job.second_coating];
        Self {
            material: job.material.id,
            coatings: coatings.into_iter().flatten().map(|coating| coating.id).collect(),
            tint: job.tint.as_ref().map(|tint| tint.id),
            power: job.lens_power(eye),
        }
    }
}

/// The names of what is put on the lenses of a job; empty for nothing.
pub fn treatment_words(job: &Job) -> String {
    let all = [&job.coating, &job.second_coating, &job.tint];
    all.into_iter().flatten().map(|treatment| treatment.details.name.as_str()).collect::<Vec<_>>().join(", ")
}

/// The uncut lens taken for one eye.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LensInHand {
    pub eye: Eye,
    /// The drawer lens; `None` if it was bought for this job.
    pub drawer_lens: Option<DrawerLensId>,
    /// Supplier, lot and certificate, as typed.
    pub source: String,
    pub diameter: Millimeter,
    /// Center thickness as printed on the envelope.
    pub center: Option<Millimeter>,
    /// True power of the front surface.
    pub front_power: Option<Diopter>,
    /// The marked center from the geometric center of the blank, towards the nose: the optical center, or with ground
    /// prism the prism reference point.
    pub off_in: Millimeter,
    /// The marked center from the geometric center of the blank, upwards.
    pub off_up: Millimeter,
    /// Whether its prescribed prism is ground in, so that it reads at the marked center.
    pub has_ground_prism: bool,
}

/// Where a lens in hand goes when another is taken in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OldLens {
    /// Back into the drawer.
    Drawer,
    /// Into the drawer, where it is kept for the same eye of another job.
    Job(i64),
    /// It was spoiled.
    Spoiled(FaultCause),
}

/// The largest difference from the ordered power that is offered as an alternative, D.
const ALTERNATIVE_D: f64 = 0.25;

/// How a drawer lens matches what a job needs. Its size is checked against the shape elsewhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suit {
    /// The ordered material, power, coating and tint.
    Right,
    /// The ordered material and power, without the coating or tint that is ordered: it would have to be put on.
    Bare,
    /// The ordered material and power, with a coating or tint that is not ordered.
    OtherTreatment,
    /// What is ordered, but none is left.
    NoneLeft,
    /// What is ordered, but every one is promised to another job.
    AllPromised,
    /// The ordered material, a quarter diopter off.
    OtherPower,
    /// The ordered power in another material.
    OtherMaterial,
    /// No match.
    Far,
}

impl DrawerLens {
    /// How many are not promised.
    pub fn free(&self) -> i64 {
        self.count - self.promised
    }

    /// `, center 1.50 mm, front +4.25 D`, or the base curve where the front is not stated; nothing where neither is.
    pub fn surface_words(&self) -> String {
        let center = self.details.center.map(|center| format!(", center {center} mm")).unwrap_or_default();
        let front = match (self.details.front_power, self.details.base) {
            (Some(front), _) => format!(", front {front} D"),
            (None, Some(base)) => format!(", base {}", short(base.to_f64())),
            (None, None) => String::new(),
        };
        let treatments = if self.treatments.is_empty() { String::new() } else { format!(", {}", self.treatments) };
        format!("{center}{front}{treatments}")
    }

    /// True power of the front: as stated, else worked out from the nominal base curve.
    pub fn front(&self) -> Option<Diopter> {
        let index = f64::from(self.index_thousandths) / 1000.0;
        let from_base = |base: Diopter| Diopter::round_from(true_from_tool_d(base.to_f64(), index)).ok();
        self.details.front_power.or_else(|| self.details.base.and_then(from_base))
    }

    /// Compares with what a job needs. An uncut lens can be rotated, so the axis does not matter. Both spellings of an
    /// eighth match.
    pub fn suit(&self, wanted: &WantedLens) -> Suit {
        let ordered = wanted.power.to_minus();
        let off_d = |own: Diopter, ordered: Diopter| (own.to_f64_in_eighths() - ordered.to_f64_in_eighths()).abs();
        let sphere_d = off_d(self.details.sphere, ordered.sphere());
        let cylinder_d = off_d(self.details.cylinder, ordered.cylinder());
        let is_power = sphere_d < 1e-9 && cylinder_d < 1e-9;
        match (self.details.material == wanted.material, is_power) {
            (true, true) if self.count <= 0 => Suit::NoneLeft,
            (true, true) if self.free() <= 0 => Suit::AllPromised,
            (true, true) => self.suit_of_treatments(wanted),
            (true, false) if sphere_d.max(cylinder_d) < ALTERNATIVE_D + 1e-9 && self.free() > 0 => Suit::OtherPower,
            (false, true) if self.free() > 0 => Suit::OtherMaterial,
            _ => Suit::Far,
        }
    }

    /// Lot and certificate with their supplier; empty where neither lot nor certificate is known.
    pub fn source_words(&self) -> String {
        match &self.supplier {
            Some(supplier) if !self.source.is_empty() && !self.source.contains(&supplier.name) => {
                format!("{}, {}", supplier.name, self.source)
            }
            _ => self.source.clone(),
        }
    }

    fn suit_of_treatments(&self, wanted: &WantedLens) -> Suit {
        let tint = self.details.tint;
        let is_wanted = self.details.coatings().all(|own| wanted.coatings.contains(&own))
            && tint.is_none_or(|own| wanted.tint == Some(own));
        let has = |wanted: &TreatmentId| self.details.coatings().any(|own| own == *wanted);
        let has_all = wanted.coatings.iter().all(has) && tint == wanted.tint;
        match (is_wanted, has_all) {
            (false, _) => Suit::OtherTreatment,
            (true, false) => Suit::Bare,
            (true, true) => Suit::Right,
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use uuid::Uuid;

    use crate::optics::prescription::read;

    /// Two lenses of this sphere in the first material, 70 mm.
    pub fn drawer_lens(id: u128, sphere: &str) -> DrawerLens {
        DrawerLens {
            id: DrawerLensId(Uuid::from_u128(id)),
            material_name: "Hard resin 1.50".into(),
            index_thousandths: 1498,
            treatments: String::new(),
            details: DrawerLensDetails {
                material: MaterialId(Uuid::from_u128(1)),
                coating: None,
                second_coating: None,
                tint: None,
                sphere: sphere.parse().unwrap(),
                cylinder: Diopter::ZERO,
                diameter: "70".parse().unwrap(),
                center: Some("2".parse().unwrap()),
                front_power: Some("4".parse().unwrap()),
                base: None,
            },
            count: 2,
            promised: 0,
            reorder_at: None,
            supplier: None,
            source: String::new(),
            moves: 1,
        }
    }

    #[test]
    fn a_lens_suits_by_material_and_power_in_either_form() {
        let [line, other] = [1, 2].map(|n| MaterialId(Uuid::from_u128(n)));
        let lens = |sphere: &str, cylinder: &str, count| DrawerLens {
            details: DrawerLensDetails {
                sphere: sphere.parse().unwrap(),
                cylinder: cylinder.parse().unwrap(),
                ..drawer_lens(1, "-2.00").details
            },
            count,
            ..drawer_lens(1, "-2.00")
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
            let power = read(ordered).unwrap().rx.power;
            let wanted = WantedLens { material, coatings: Vec::new(), tint: None, power };
            assert_eq!(lens(sphere, cylinder, count).suit(&wanted), want, "{sphere} {cylinder} for {ordered}");
        }
    }

    #[test]
    fn a_lens_suits_by_its_coatings_and_tint() {
        let [hard, clear, gray] = [11, 12, 13].map(|n| TreatmentId(Uuid::from_u128(n)));
        let power = read("-2.00 sph").unwrap().rx.power;
        for (own, tint, coatings, wanted_tint, want) in [
            (vec![], None, vec![], None, Suit::Right),
            (vec![hard], None, vec![hard], None, Suit::Right),
            (vec![hard], Some(gray), vec![hard], Some(gray), Suit::Right),
            (vec![], None, vec![hard], None, Suit::Bare),
            (vec![hard], None, vec![hard, clear], None, Suit::Bare),
            (vec![hard, clear], None, vec![hard, clear], None, Suit::Right),
            (vec![clear, hard], None, vec![hard, clear], None, Suit::Right),
            (vec![hard, clear], None, vec![hard, clear], Some(gray), Suit::Bare),
            (vec![hard, clear], None, vec![hard], None, Suit::OtherTreatment),
            (vec![hard], None, vec![hard], Some(gray), Suit::Bare),
            (vec![hard], None, vec![], None, Suit::OtherTreatment),
            (vec![clear], None, vec![hard], None, Suit::OtherTreatment),
            (vec![], Some(gray), vec![hard], None, Suit::OtherTreatment),
        ] {
            let mut lens = drawer_lens(1, "-2.00");
            lens.details.coating = own.first().copied();
            lens.details.second_coating = own.get(1).copied();
            lens.details.tint = tint;
            let wanted = WantedLens { material: lens.details.material, coatings, tint: wanted_tint, power };
            assert_eq!(lens.suit(&wanted), want, "{own:?} {tint:?} for {wanted:?}");
            lens.promised = lens.count;
            assert_eq!(lens.suit(&wanted), Suit::AllPromised);
        }
    }

    /// A nominal base of 6 in polycarbonate (1.586): 6 · 0.586 / 0.530 = 6.634 (computed, tool index 1.530).
    #[test]
    fn the_front_comes_from_the_nominal_base_where_it_is_not_stated() {
        let mut lens = drawer_lens(1, "-2.00");
        (lens.index_thousandths, lens.details.base) = (1586, Some("6".parse().unwrap()));
        assert_eq!(lens.front(), Some("4".parse().unwrap()), "as stated");
        lens.details.front_power = None;
        assert_eq!(lens.front(), Some("6.63".parse().unwrap()));
    }
}
