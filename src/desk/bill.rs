//! The bill of an order: its lines, their amounts and their procedure codes.

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::catalogue::{MaterialDetails, TreatmentDetails};
use super::job::EyeTask;
use super::key::keyed;
use super::lab::CodeBasis;
use super::money::Cents;
use super::procedure_code::{BALANCE, FRAME, OVERSIZE, PRISM, lens_code};
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
    /// What a strong lens costs over a usual one.
    HighPower,
    /// What a large blank costs over a usual one.
    Oversize,
    /// Packing and shipping. Plans usually do not cover it, so it is shown separately.
    Shipping,
    /// A negative amount.
    Discount,
    Tax,
    Other,
}

keyed!(ChargeKind);

impl ChargeKind {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            ChargeKind::Frame => "frame",
            ChargeKind::Lens => "lens",
            ChargeKind::Material => "material",
            ChargeKind::Coating => "coating",
            ChargeKind::Tint => "tint",
            ChargeKind::Prism => "prism",
            ChargeKind::HighPower => "high power",
            ChargeKind::Oversize => "oversize",
            ChargeKind::Shipping => "packing and shipping",
            ChargeKind::Discount => "discount",
            ChargeKind::Tax => "sales tax",
            ChargeKind::Other => "other",
        }
    }
}

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
    /// Description and price of the frame; `None` for new lenses in a frame the customer already has. A frame without
    /// a price is the customer's own and has no line either.
    pub frame: Option<(String, Cents)>,
    /// For both lenses.
    pub material: &'a MaterialDetails,
    /// Price of a lens in plain hard resin. What the material costs above it goes on the material's own line.
    pub base_price: Cents,
    pub coating: Option<&'a TreatmentDetails>,
    pub second_coating: Option<&'a TreatmentDetails>,
    pub tint: Option<&'a TreatmentDetails>,
    pub extras: LensExtras,
    pub eyes: &'a Pair<EyePrescription>,
    /// A lens that stays has no line; a balance lens has its own code.
    pub tasks: Pair<EyeTask>,
    pub basis: CodeBasis,
    /// Packing and shipping; no line when it is zero.
    pub shipping: Cents,
}

/// What is charged for a lens that costs more to make; `None` is not charged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LensExtras {
    /// For each lens with prescribed prism.
    pub prism: Option<Cents>,
    pub high_power: Pair<Option<Cents>>,
    /// For each lens.
    pub oversize: Option<Cents>,
}

/// The price of a plain lens: the cheapest material without a procedure code, or zero if there is none.
pub fn base_price<'a>(materials: impl IntoIterator<Item = &'a MaterialDetails>) -> Cents {
    materials.into_iter().filter(|m| m.code.is_empty()).map(|m| m.price).min().unwrap_or(Cents::ZERO)
}

/// A frame as the bill names it.
pub fn frame_words(maker: &str, model: &str) -> String {
    format!("Frame: {}", format!("{maker} {model}").trim())
}

/// The lines of the bill: frame, then for each eye lens, material, coatings, tint, prism, high power and oversize, then
/// shipping.
///
/// The price of a lens is split between the base lens and the material, so that each code has an amount. A material
/// that costs no more than the base, and prescribed prism without a price, have a line of zero, because a plan looks for
/// the code. A frame that is not charged has no line: a code would claim a frame that was not sold. The total is exactly
/// frame + the lenses made × (material + coatings + tint) + extras + shipping.
pub fn bill(order: &Billed<'_>) -> Vec<Charge> {
    let mut lines = Vec::new();
    if let Some((what, price)) = &order.frame
        && *price != Cents::ZERO
    {
        lines.push(line(ChargeKind::Frame, None, what.clone(), FRAME, *price));
    }
    for (eye, prescription) in order.eyes.iter().filter(|(eye, _)| order.tasks.get(*eye).is_made()) {
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
    let (kind, code) = match order.tasks.get(eye) {
        EyeTask::Balance => ("Balance lens", BALANCE),
        _ => ("Single-vision lens", lens_code(prescription.power, order.basis).code),
    };
    lines.push(line(ChargeKind::Lens, Some(eye), format!("{kind}, {}", material.name), code, lens_price));
    if !material.code.is_empty() {
        let what = format!("Material: {}", material.name);
        lines.push(line(ChargeKind::Material, Some(eye), what, &material.code, material_price));
    }
    let treatments = [
        (ChargeKind::Coating, order.coating),
        (ChargeKind::Coating, order.second_coating),
        (ChargeKind::Tint, order.tint),
    ];
    for (kind, treatment) in treatments {
        if let Some(treatment) = treatment {
            lines.push(line(kind, Some(eye), treatment.name.clone(), &treatment.code, treatment.price));
        }
    }
    if !prescription.prism.is_none() {
        let (what, price) = match order.extras.prism {
            Some(price) => ("Prescribed prism", price),
            None => ("Prescribed prism, included", Cents::ZERO),
        };
        lines.push(line(ChargeKind::Prism, Some(eye), what.into(), PRISM, price));
    }
    if let Some(price) = *order.extras.high_power.get(eye) {
        // No code: the code of the lens says its power.
        lines.push(line(ChargeKind::HighPower, Some(eye), "High power".into(), "", price));
    }
    if let Some(price) = order.extras.oversize {
        lines.push(line(ChargeKind::Oversize, Some(eye), "Oversize lens".into(), OVERSIZE, price));
    }
}

fn line(kind: ChargeKind, eye: Option<Eye>, what: String, code: &str, amount: Cents) -> Charge {
    Charge { kind, eye, what, code: code.to_owned(), amount }
}
