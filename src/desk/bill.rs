//! The bill of an order: its lines, their amounts and their procedure codes.

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::catalogue::{MaterialDetails, TreatmentDetails};
use super::key::keyed;
use super::lab::CodeBasis;
use super::money::Cents;
use super::procedure_code::{FRAME, PRISM, lens_code};
use crate::optics::prescription::EyePrescription;
use crate::optics::{Eye, Pair};

/// What a line of the bill is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ChargeKind {
    /// The frame.
    Frame,
    /// A single-vision lens.
    Lens,
    /// The material over plain hard resin.
    Material,
    /// A coating.
    Coating,
    /// A tint.
    Tint,
    /// Prescribed prism.
    Prism,
    /// Packing and carriage; usually not eligible with a plan, so shown apart.
    Shipping,
    /// Taken off; negative.
    Discount,
    /// Sales tax.
    Tax,
    /// Anything else.
    Other,
}

keyed!(ChargeKind);

/// One line of the bill, as agreed when the order was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Charge {
    /// What it is for.
    pub kind: ChargeKind,
    /// Which eye, for a line that is per lens.
    pub eye: Option<Eye>,
    /// In words.
    pub what: String,
    /// Procedure code; empty for none.
    pub code: String,
    /// How much.
    pub amount: Cents,
}

/// What a bill is made from.
#[derive(Debug, Clone)]
pub struct Billed<'a> {
    /// The frame in words and its price; `None` when new lenses are made for a frame the customer has.
    pub frame: Option<(String, Cents)>,
    /// The material of both lenses.
    pub material: &'a MaterialDetails,
    /// Price of a lens in plain hard resin; what the material costs above it goes on the material's own line.
    pub base_price: Cents,
    /// The coating, if any.
    pub coating: Option<&'a TreatmentDetails>,
    /// The tint, if any.
    pub tint: Option<&'a TreatmentDetails>,
    /// Each eye's prescription.
    pub eyes: &'a Pair<EyePrescription>,
    /// Which form the codes are taken from.
    pub basis: CodeBasis,
    /// Packing and carriage; no line when nothing is charged.
    pub shipping: Cents,
}

/// What a plain lens costs: the cheapest material without a code of its own, or nothing when there is none.
pub fn base_price<'a>(materials: impl IntoIterator<Item = &'a MaterialDetails>) -> Cents {
    materials.into_iter().filter(|m| m.code.is_empty()).map(|m| m.price).min().unwrap_or(Cents::ZERO)
}

/// The lines of the bill: frame, then for each eye lens, material, coating, tint and prism, then shipping.
///
/// The price of a lens is split over its base and its material, so that each code has its amount; a material
/// that costs no more than the base keeps its line at nothing, because a plan looks for the code. Prescribed
/// prism likewise. The sum is exactly frame + 2 × (material + coating + tint) + shipping.
pub fn bill(order: &Billed<'_>) -> Vec<Charge> {
    let mut lines = Vec::new();
    if let Some((what, price)) = &order.frame {
        lines.push(line(ChargeKind::Frame, None, what.clone(), FRAME, *price));
    }
    for (eye, prescription) in order.eyes.iter() {
        lens_lines(order, eye, prescription, &mut lines);
    }
    if order.shipping != Cents::ZERO {
        lines.push(line(ChargeKind::Shipping, None, "Packing and shipping".into(), "", order.shipping));
    }
    lines
}

fn lens_lines(order: &Billed<'_>, eye: Eye, prescription: &EyePrescription, lines: &mut Vec<Charge>) {
    let material = order.material;
    let over_base = material.price - order.base_price;
    let (lens_price, material_price) =
        if material.code.is_empty() || order.base_price <= Cents::ZERO || over_base.is_negative() {
            (material.price, Cents::ZERO)
        } else {
            (order.base_price, over_base)
        };
    let code = lens_code(prescription.power, order.basis).code;
    lines.push(line(ChargeKind::Lens, Some(eye), format!("Single-vision lens, {}", material.name), code, lens_price));
    if !material.code.is_empty() {
        let what = format!("Material: {}", material.name);
        lines.push(line(ChargeKind::Material, Some(eye), what, &material.code, material_price));
    }
    for (kind, treatment) in [(ChargeKind::Coating, order.coating), (ChargeKind::Tint, order.tint)] {
        if let Some(treatment) = treatment {
            lines.push(line(kind, Some(eye), treatment.name.clone(), &treatment.code, treatment.price));
        }
    }
    if !prescription.prism.is_none() {
        lines.push(line(ChargeKind::Prism, Some(eye), "Prescribed prism, included".into(), PRISM, Cents::ZERO));
    }
}

fn line(kind: ChargeKind, eye: Option<Eye>, what: String, code: &str, amount: Cents) -> Charge {
    Charge { kind, eye, what, code: code.to_owned(), amount }
}
