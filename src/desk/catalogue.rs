//! What the lab sells: materials, coatings, tints, with their prices and procedure codes.

use std::ops::RangeInclusive;

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::id::{MaterialId, MaterialVersionId, TreatmentId, TreatmentVersionId};
use super::key::keyed;
use super::money::Cents;
use super::procedure_code::{
    ANTI_REFLECTIVE, HIGH_INDEX, MID_INDEX, MIRROR, PHOTOCHROMIC, POLARIZED, POLYCARBONATE, SCRATCH_COAT, TINT,
};

/// How a material is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Cutting {
    /// With water throughout.
    Wet,
    /// Without water.
    Dry,
    /// Roughed dry, finished with water.
    DryThenWet,
}

keyed!(Cutting);

impl Cutting {
    /// Shown at the bench.
    pub fn words(self) -> &'static str {
        match self {
            Cutting::Wet => "cut wet",
            Cutting::Dry => "cut dry",
            Cutting::DryThenWet => "rough dry, finish wet",
        }
    }
}

/// One version of a material. An edit adds a new version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Material {
    pub id: MaterialId,
    pub version: MaterialVersionId,
    pub details: MaterialDetails,
}

/// Refractive index (d line) of a lens material, in thousandths.
pub const INDEX_THOUSANDTHS: RangeInclusive<i32> = 1400..=2000;
/// Abbe number, in tenths.
pub const ABBE_TENTHS: RangeInclusive<i32> = 100..=1000;
/// Density, in hundredths of g/cm³.
pub const DENSITY_HUNDREDTHS: RangeInclusive<i32> = 50..=600;
/// Usual least center thickness of a minus lens, in hundredths of a millimeter.
pub const CENTER_HUNDREDTHS: RangeInclusive<i32> = 50..=1000;

/// A material's properties and price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MaterialDetails {
    /// The name the owner gave it.
    pub name: String,
    /// Refractive index (d line) in thousandths.
    pub index_thousandths: i32,
    /// Abbe number in tenths.
    pub abbe_tenths: i32,
    /// Density in hundredths of g/cm³.
    pub density_hundredths: i32,
    /// Usual minimum center thickness of a minus lens, hundredths of a millimeter.
    pub centre_hundredths: i32,
    pub cutting: Cutting,
    /// Procedure code of the material; empty for none.
    pub code: String,
    /// Price of one lens.
    pub price: Cents,
}

impl MaterialDetails {
    /// The refractive index.
    pub fn index(&self) -> f64 {
        f64::from(self.index_thousandths) / 1000.0
    }
}

/// What kind of treatment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum TreatmentKind {
    /// Applied to the surface.
    Coating,
    /// Dyed or photochromic.
    Tint,
}

keyed!(TreatmentKind);

/// One version of a coating or tint.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Treatment {
    pub id: TreatmentId,
    pub version: TreatmentVersionId,
    pub details: TreatmentDetails,
}

/// A coating or tint with its code and price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TreatmentDetails {
    pub kind: TreatmentKind,
    /// The name the owner gave it.
    pub name: String,
    /// Procedure code; empty for none.
    pub code: String,
    /// Price for one lens.
    pub price: Cents,
}

/// The materials a new book starts with. Index, Abbe number and density: public materials tables, rounded. Center
/// thickness and cutting: common practice, from memory. Polyurea-urethane is cut wet, as hard resin and the higher
/// indices (common practice; the edger's own setting for the material decides). Codes: CMS HCPCS Level II;
/// polyurea-urethane as "polycarbonate or equal" is common practice, from memory. Prices are examples: the owner sets
/// them.
pub fn starting_materials() -> Vec<MaterialDetails> {
    let rows = [
        ("Hard resin 1.50", 1498, 580, 132, 200, Cutting::Wet, "", 3000_i64),
        ("Polyurea-urethane 1.53", 1530, 440, 111, 150, Cutting::Wet, POLYCARBONATE, 5500),
        ("Polycarbonate 1.59", 1586, 300, 120, 150, Cutting::DryThenWet, POLYCARBONATE, 4500),
        ("1.60", 1600, 410, 130, 150, Cutting::Wet, MID_INDEX, 6000),
        ("1.67", 1660, 320, 136, 150, Cutting::Wet, HIGH_INDEX, 8500),
        ("1.74", 1740, 330, 147, 140, Cutting::Wet, HIGH_INDEX, 13000),
    ];
    rows.into_iter()
        .map(|(name, index_thousandths, abbe_tenths, density_hundredths, centre_hundredths, cutting, code, price)| {
            MaterialDetails {
                name: name.into(),
                index_thousandths,
                abbe_tenths,
                density_hundredths,
                centre_hundredths,
                cutting,
                code: code.into(),
                price: Cents::new(price),
            }
        })
        .collect()
}

/// The coatings and tints a new book starts with; codes from CMS HCPCS Level II.
pub fn starting_treatments() -> Vec<TreatmentDetails> {
    let rows = [
        (TreatmentKind::Coating, "Hard coat", SCRATCH_COAT, 800),
        (TreatmentKind::Coating, "Anti-reflective", ANTI_REFLECTIVE, 2500),
        (TreatmentKind::Coating, "Mirror", MIRROR, 3000),
        (TreatmentKind::Tint, "Gray 80%", TINT, 1500),
        (TreatmentKind::Tint, "Brown 50%", TINT, 1500),
        (TreatmentKind::Tint, "Light-reacting gray", PHOTOCHROMIC, 5000),
        (TreatmentKind::Tint, "Polarized gray", POLARIZED, 6000),
    ];
    rows.into_iter()
        .map(|(kind, name, code, price)| TreatmentDetails {
            kind,
            name: name.into(),
            code: code.into(),
            price: Cents::new(price),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, from memory: everything wet but polycarbonate, which takes water only at the end.
    #[test]
    fn starting_materials_are_cut_as_is_common_practice() {
        for material in starting_materials() {
            let want = if material.name.starts_with("Polycarbonate") { Cutting::DryThenWet } else { Cutting::Wet };
            assert_eq!(material.cutting, want, "{}", material.name);
        }
    }

    #[test]
    fn every_starting_material_is_plausible() {
        for material in starting_materials() {
            let name = &material.name;
            assert!((1400..=2000).contains(&material.index_thousandths), "{name}");
            assert!((251..600).contains(&material.abbe_tenths), "{name}");
            assert!(material.density_hundredths > 100 && material.centre_hundredths >= 100, "{name}");
        }
    }
}
