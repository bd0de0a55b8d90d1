//! The lens of a job in each material the lab sells, so that the owner can say what an upgrade gains.

use super::layout::JobLayout;
use super::real_size::PrismMade;
use crate::desk::catalogue::{Material, MaterialDetails};
use crate::desk::job::Job;
use crate::desk::money::Cents;
use crate::desk::procedure_code::POLYCARBONATE;
use crate::optics::lens::LensError;
use crate::optics::material::OpticalMaterial;
use crate::optics::prism::BaseVector;
use crate::optics::{Eye, Pair};
use crate::shape::compare::{LensInMaterial, in_material};

/// Some wearers notice a color fringe from about this size, prism diopters. Source: textbook (from memory).
pub const FRINGE_NOTICED_PD: f64 = 0.1;

/// Glass is the only lens material this dense, g/cm³. Source: public materials tables.
const GLASS_G_PER_CM3: f64 = 2.2;

/// An order in one material.
#[derive(Debug, Clone, PartialEq)]
pub struct MaterialComparison {
    pub details: MaterialDetails,
    pub is_ordered: bool,
    /// The lens of each eye, or why there is none.
    pub eyes: Pair<Result<LensInMaterial, LensError>>,
    /// List price of a pair, less the price of the pair ordered.
    pub more: Cents,
}

impl MaterialComparison {
    /// Every material on sale and the ordered one, in the order of the list. A lens in hand does not count: for a fair
    /// comparison, [`in_material`] takes the usual front and the same least edge in each material.
    pub fn all(job: &Job, laid: &JobLayout, on_sale: &[Material], least_edge_mm: f64) -> Vec<Self> {
        let ordered = &job.material;
        let mut materials: Vec<&MaterialDetails> =
            on_sale.iter().filter(|m| m.id != ordered.id).map(|m| &m.details).collect();
        // The ordered version, at its own price, takes the place of the version on sale.
        let place = on_sale.iter().position(|m| m.id == ordered.id).unwrap_or(0);
        materials.insert(place.min(materials.len()), &ordered.details);
        materials
            .into_iter()
            .map(|details| Self {
                is_ordered: std::ptr::eq(details, &ordered.details),
                eyes: Pair::new(Eye::Right, Eye::Left).map(|eye| one_eye(job, laid, details, least_edge_mm, eye)),
                more: job.made_eyes().map(|_| details.price - ordered.details.price).sum(),
                details: details.clone(),
            })
            .collect()
    }

    /// The worse fringe of the two eyes, prism diopters. `None` if the material makes neither lens.
    pub fn worst_fringe_pd(&self) -> Option<f64> {
        self.eyes.iter().filter_map(|(_, row)| row.as_ref().ok()).map(|row| row.fringe_pd).max_by(f64::total_cmp)
    }
}

fn one_eye(
    job: &Job,
    laid: &JobLayout,
    details: &MaterialDetails,
    least_edge_mm: f64,
    eye: Eye,
) -> Result<LensInMaterial, LensError> {
    let (rx, laid) = (*job.lens_prescriptions().get(eye), laid.eyes.get(eye));
    let prism = match laid.prism {
        Some(PrismMade::Ground(_)) => rx.prism.numbers().to_vector(eye),
        _ => BaseVector::default(),
    };
    let material = optical(details);
    in_material(&laid.outline, laid.optical_center(), rx.power.numbers(), prism, &material, least_edge_mm)
}

fn optical(details: &MaterialDetails) -> OpticalMaterial {
    OpticalMaterial {
        index: details.index(),
        abbe: f64::from(details.abbe_tenths) / 10.0,
        density_g_per_cm3: f64::from(details.density_hundredths) / 100.0,
        usual_center_mm: f64::from(details.centre_hundredths) / 100.0,
    }
}

/// Whether the lab codes it as polycarbonate or equal (CMS HCPCS Level II, V2784).
fn is_impact_chosen(details: &MaterialDetails) -> bool {
    details.code == POLYCARBONATE
}

/// How a material resists impact. No class is a promise: every dress lens must pass 21 CFR 801.410, and none is safety
/// eyewear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ImpactClass {
    /// Each finished glass lens is drop-ball tested (21 CFR 801.410).
    Glass,
    /// Polycarbonate or equal, usually chosen where impact matters. Source: common practice (from memory).
    Chosen,
    /// Any other plastic.
    Ordinary,
}

impl ImpactClass {
    pub fn of(details: &MaterialDetails) -> Self {
        match () {
            () if f64::from(details.density_hundredths) / 100.0 >= GLASS_G_PER_CM3 => ImpactClass::Glass,
            () if is_impact_chosen(details) => ImpactClass::Chosen,
            () => ImpactClass::Ordinary,
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            ImpactClass::Glass => "glass: test each",
            ImpactClass::Chosen => "chosen for impact",
            ImpactClass::Ordinary => "ordinary",
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::desk::id::{MaterialId, MaterialVersionId};
    use uuid::Uuid;

    use super::*;
    use crate::bench::layout::tests::{lab, round_job, round_shape};
    use crate::desk::catalogue::starting_materials;
    use crate::shape::blocker::BlockerStep;

    fn on_sale() -> Vec<Material> {
        let material = |(n, details): (u128, MaterialDetails)| Material {
            id: MaterialId(Uuid::from_u128(n)),
            version: MaterialVersionId(Uuid::from_u128(n)),
            details,
        };
        (1..).zip(starting_materials()).map(material).collect()
    }

    #[test]
    fn an_upgrade_buys_a_thinner_edge_for_a_price() {
        let on_sale = on_sale();
        let mut job = round_job("-6.00 sph", "30/30");
        job.material = on_sale[0].clone();
        let laid = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
        let rows = MaterialComparison::all(&job, &laid, &on_sale, 1.0);
        assert_eq!(rows.len(), 6);
        assert!(rows[0].is_ordered && rows.iter().filter(|row| row.is_ordered).count() == 1);
        let thickest_mm = |row: &MaterialComparison| row.eyes.right.as_ref().unwrap().thickest.mm;
        assert!(thickest_mm(&rows[0]) > thickest_mm(&rows[3]) && thickest_mm(&rows[3]) > thickest_mm(&rows[5]));
        // The list: 30.00 a lens for 1.50 and 85.00 for 1.67, so 110.00 more for the pair.
        assert_eq!((rows[0].more, rows[4].more), (Cents::ZERO, Cents::new(11_000)));
        // 2 in and 2 up of the middle of a round 44: 22 + √8 from the center, times 6 D over the Abbe number 58.
        let want_pd = 6.0 * (2.2 + 0.2 * 2.0_f64.sqrt()) / 58.0;
        assert!((rows[0].worst_fringe_pd().unwrap() - want_pd).abs() < 1e-4, "{want_pd}");
    }

    #[test]
    fn the_ordered_version_is_there_even_off_sale() {
        let on_sale = on_sale();
        let mut job = round_job("-2.00 sph", "32/32");
        job.material.id = MaterialId(Uuid::from_u128(99));
        job.material.details.price = Cents::new(2000);
        let laid = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
        let rows = MaterialComparison::all(&job, &laid, &on_sale, 1.0);
        assert_eq!(rows.len(), 7);
        assert!(rows[0].is_ordered);
        assert_eq!(rows[1].more, Cents::new(2000), "30.00 against 20.00, for two lenses");
    }

    #[test]
    fn impact_is_said_with_care() {
        let all = starting_materials();
        assert_eq!(ImpactClass::of(&all[0]), ImpactClass::Ordinary);
        assert_eq!([1, 2].map(|i| ImpactClass::of(&all[i])), [ImpactClass::Chosen; 2], "1.53 and polycarbonate");
        let glass = MaterialDetails { density_hundredths: 254, ..all[0].clone() };
        assert_eq!(ImpactClass::of(&glass), ImpactClass::Glass);
    }
}
