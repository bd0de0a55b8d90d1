//! The bill of an order as its form stands: typed prices, or the list prices where a field is left empty.

use super::context::OrderContext;
use super::form::OrderForm;
use crate::desk::bill::{Billed, Charge, ChargeKind, base_price, bill};
use crate::desk::catalogue::{Material, Treatment, TreatmentDetails};
use crate::desk::money::Cents;
use crate::desk::procedure_code::lens_code;
use crate::optics::prescription::EyePrescription;
use crate::optics::{Eye, Pair};
use crate::web::form::Form;

/// Each price as typed: `None` when it is wrong, `Some(None)` when the field is empty.
pub(super) struct Prices {
    pub(super) frame: Option<Option<Cents>>,
    lens: Option<Option<Cents>>,
    coating: Option<Option<Cents>>,
    tint: Option<Option<Cents>>,
    shipping: Option<Option<Cents>>,
    discount: Option<Option<Cents>>,
    tax: Option<Option<Cents>>,
}

impl Prices {
    pub(super) fn read(form: &mut Form) -> Self {
        let mut price = |name| form.read_optional(name, |t| Cents::read_price(t, Cents::new(Cents::MOST)));
        Self {
            frame: price(OrderForm::PRICE_FRAME),
            lens: price(OrderForm::PRICE_LENS),
            coating: price(OrderForm::PRICE_COATING),
            tint: price(OrderForm::PRICE_TINT),
            shipping: price(OrderForm::PRICE_SHIPPING),
            discount: price(OrderForm::PRICE_DISCOUNT),
            tax: price(OrderForm::PRICE_TAX),
        }
    }

    /// The lines of the bill; `None` while something they need is missing or wrong. `frame` is the frame in words, none
    /// for new lenses in an earlier one.
    #[expect(clippy::too_many_arguments, reason = "a bill is made from what seven fields say")]
    pub(super) fn charges(
        &self,
        form: &mut Form,
        context: &OrderContext,
        frame: Option<String>,
        material: Option<&Material>,
        coating: Option<&Treatment>,
        tint: Option<&Treatment>,
        eyes: Option<Pair<EyePrescription>>,
    ) -> Option<Vec<Charge>> {
        let mut material = material?.details.clone();
        material.price = self.lens?.unwrap_or(material.price);
        let (coating, tint) = (at_price(coating, self.coating), at_price(tint, self.tint));
        let list_price = context.frame.as_ref().map_or(Cents::ZERO, |f| f.details.price);
        let frame_price = self.frame?.unwrap_or(list_price);
        let mut charges = bill(&Billed {
            frame: frame.map(|name| (name, frame_price)),
            base_price: base_price(context.materials.iter().map(|m| &m.details)),
            material: &material,
            coating: coating.as_ref(),
            tint: tint.as_ref(),
            eyes: &eyes?,
            basis: context.lab.code_basis,
            shipping: self.shipping?.unwrap_or(Cents::ZERO),
        });
        let extra =
            |kind, what: &str, amount| Charge { kind, eye: None, what: what.into(), code: String::new(), amount };
        let (discount, tax) = (self.discount?.unwrap_or(Cents::ZERO), self.tax?.unwrap_or(Cents::ZERO));
        if discount != Cents::ZERO {
            charges.push(extra(ChargeKind::Discount, "Discount", -discount));
        }
        if tax != Cents::ZERO {
            charges.push(extra(ChargeKind::Tax, "Sales tax", tax));
        }
        if charges.iter().map(|c| c.amount).sum::<Cents>().is_negative() {
            form.fail(OrderForm::PRICE_DISCOUNT, "The discount is more than the whole bill");
            return None;
        }
        Some(charges)
    }
}

/// A treatment at the price typed for it; a wrong price leaves that of the list.
fn at_price(treatment: Option<&Treatment>, price: Option<Option<Cents>>) -> Option<TreatmentDetails> {
    let details = treatment?.details.clone();
    Some(TreatmentDetails { price: price.flatten().unwrap_or(details.price), ..details })
}

/// What is to be known of the codes of the two lenses.
pub(super) fn code_notes(form: &OrderForm, context: &OrderContext) -> Vec<String> {
    let note = |eye: Eye| {
        let reading = form.eyes.get(eye).read.as_ref().ok()?;
        let note = lens_code(reading.rx.power, context.lab.code_basis).note?;
        Some(format!("Code of the {} lens: {note}", eye.name()))
    };
    Eye::BOTH.into_iter().filter_map(note).collect()
}
