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
    Frame,
    Lens,
    /// What the material costs over plain hard resin.
    Material,
    Coating,
    Tint,
    Prism,
    /// Packing and shipping. Plans usually do not cover it, so it is shown separately.
    Shipping,
    /// A negative amount.
    Discount,
    Tax,
    Other,
}

keyed!(ChargeKind);

/// One line of the bill, as agreed when the order was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Charge {
    pub kind: ChargeKind,
    /// For a line that is per lens.
    pub eye: Option<Eye>,
    /// The description on the bill and the receipt.
    pub what: String,
    /// Procedure code; empty for none.
    pub code: String,
    pub amount: Cents,
}

/// What a bill is made from.
#[derive(Debug, Clone)]
pub struct Billed<'a> {
    /// Description and price of the frame; `None` for new lenses in a frame the customer already has.
    pub frame: Option<(String, Cents)>,
    /// For both lenses.
    pub material: &'a MaterialDetails,
    /// Price of a lens in plain hard resin. What the material costs above it goes on the material's own line.
    pub base_price: Cents,
    pub coating: Option<&'a TreatmentDetails>,
    pub tint: Option<&'a TreatmentDetails>,
    pub eyes: &'a Pair<EyePrescription>,
    pub basis: CodeBasis,
    /// Packing and shipping; no line when it is zero.
    pub shipping: Cents,
}

/// The price of a plain lens: the cheapest material without a procedure code, or zero if there is none.
pub fn base_price<'a>(materials: impl IntoIterator<Item = &'a MaterialDetails>) -> Cents {
    materials.into_iter().filter(|m| m.code.is_empty()).map(|m| m.price).min().unwrap_or(Cents::ZERO)
}

/// The lines of the bill: frame, then for each eye lens, material, coating, tint and prism, then shipping.
///
/// The price of a lens is split between the base lens and the material, so that each code has an amount. A material
/// that costs no more than the base, and prescribed prism, have a line of zero, because a plan looks for the code.
/// The total is exactly frame + 2 × (material + coating + tint) + shipping.
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
