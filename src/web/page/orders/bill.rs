//! The bill of an order as its form stands: typed prices, or the list prices where a field is left empty.

use super::context::OrderContext;
use super::form::OrderForm;
use crate::desk::bill::{Billed, Charge, ChargeKind, LensExtras, base_price, bill};
use crate::desk::catalogue::{Material, Treatment, TreatmentDetails};
use crate::desk::eye_order::EyesOrdered;
use crate::desk::job::EyeTask;
use crate::desk::money::Cents;
use crate::desk::procedure_code::lens_code;
use crate::optics::{Eye, Pair};
use crate::web::form::Form;

/// Each price as typed: `None` when it is wrong, `Some(None)` when the field is empty.
pub(super) struct Prices {
    pub(super) frame: Option<Option<Cents>>,
    lens: Option<Option<Cents>>,
    coating: Option<Option<Cents>>,
    second_coating: Option<Option<Cents>>,
    tint: Option<Option<Cents>>,
    prism: Option<Option<Cents>>,
    high_power: Pair<Option<Option<Cents>>>,
    oversize: Option<Option<Cents>>,
    shipping: Option<Option<Cents>>,
    discount: Option<Option<Cents>>,
    tax: Option<Option<Cents>>,
}

/// What the lines of a bill are for; what is not chosen, or not read, is `None`.
pub(super) struct Chosen<'a> {
    /// The frame in words, none for new lenses in an earlier one.
    pub(super) frame: Option<String>,
    pub(super) material: Option<&'a Material>,
    pub(super) coating: Option<&'a Treatment>,
    pub(super) second_coating: Option<&'a Treatment>,
    pub(super) tint: Option<&'a Treatment>,
    pub(super) eyes: Option<EyesOrdered>,
}

impl Prices {
    pub(super) fn read(form: &mut Form) -> Self {
        let mut price = |name| form.read_optional(name, |t| Cents::read_price(t, Cents::new(Cents::MOST)));
        Self {
            frame: price(OrderForm::PRICE_FRAME),
            lens: price(OrderForm::PRICE_LENS),
            coating: price(OrderForm::PRICE_COATING),
            second_coating: price(OrderForm::PRICE_SECOND_COATING),
            tint: price(OrderForm::PRICE_TINT),
            prism: price(OrderForm::PRICE_PRISM),
            high_power: Pair::new(Eye::Right, Eye::Left).map(|eye| price(OrderForm::price_high_power(eye))),
            oversize: price(OrderForm::PRICE_OVERSIZE),
            shipping: price(OrderForm::PRICE_SHIPPING),
            discount: price(OrderForm::PRICE_DISCOUNT),
            tax: price(OrderForm::PRICE_TAX),
        }
    }

    /// The same where the customer does not pay: what is left empty is not charged.
    #[must_use]
    pub(super) fn free_where_empty(self) -> Self {
        let free = |price: Option<Option<Cents>>| price.map(|price| price.or(Some(Cents::ZERO)));
        Self {
            lens: free(self.lens),
            coating: free(self.coating),
            second_coating: free(self.second_coating),
            tint: free(self.tint),
            ..self
        }
    }

    /// Refuses a price for what is not chosen: it would be dropped without a word.
    pub(super) fn refuse_unchosen(&self, form: &mut Form, chosen: &Chosen<'_>) {
        for (choice, price, is_chosen, field) in [
            (OrderForm::COATING, self.coating, chosen.coating.is_some(), OrderForm::PRICE_COATING),
            (
                OrderForm::SECOND_COATING,
                self.second_coating,
                chosen.second_coating.is_some(),
                OrderForm::PRICE_SECOND_COATING,
            ),
            (OrderForm::TINT, self.tint, chosen.tint.is_some(), OrderForm::PRICE_TINT),
        ] {
            if !is_chosen && price.flatten().is_some() && form.error(choice).is_none() {
                let what = choice.replace('_', " ");
                form.fail(field, format!("No {what} is chosen: choose one, or leave its price empty"));
            }
        }
        let Some(ordered) = chosen.eyes else { return };
        let made = |eye: Eye| ordered.tasks.get(eye).is_made();
        for eye in Eye::BOTH.into_iter().filter(|eye| !made(*eye) && charged(*self.high_power.get(*eye)).is_some()) {
            let why = format!("No {} lens is made: leave its price empty", eye.name());
            form.fail(OrderForm::price_high_power(eye), why);
        }
        let has_prism = Eye::BOTH.into_iter().any(|eye| made(eye) && !ordered.eyes.get(eye).prism.is_none());
        if !has_prism && charged(self.prism).is_some() {
            form.fail(OrderForm::PRICE_PRISM, "No prism is prescribed: leave its price empty");
        }
    }

    /// The lines of the bill; `None` while something they need is missing or wrong.
    pub(super) fn charges(&self, form: &mut Form, context: &OrderContext, chosen: Chosen<'_>) -> Option<Vec<Charge>> {
        let mut material = chosen.material?.details.clone();
        material.price = self.lens?.unwrap_or(material.price);
        let coating = at_price(chosen.coating, self.coating);
        let second_coating = at_price(chosen.second_coating, self.second_coating);
        let tint = at_price(chosen.tint, self.tint);
        let list_price = context.frame.as_ref().map_or(Cents::ZERO, |f| f.details.price);
        let frame_price = self.frame?.unwrap_or(list_price);
        let mut charges = bill(&Billed {
            frame: chosen.frame.map(|name| (name, frame_price)),
            base_price: base_price(context.materials.iter().map(|m| &m.details)),
            material: &material,
            coating: coating.as_ref(),
            second_coating: second_coating.as_ref(),
            tint: tint.as_ref(),
            extras: LensExtras {
                prism: charged(self.prism),
                high_power: self.high_power.map(charged),
                oversize: charged(self.oversize),
            },
            eyes: &chosen.eyes?.eyes,
            tasks: chosen.eyes?.tasks,
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

/// A price that is typed, right and not zero.
fn charged(price: Option<Option<Cents>>) -> Option<Cents> {
    price.flatten().filter(|price| *price != Cents::ZERO)
}

/// A treatment at the price typed for it; a wrong price leaves that of the list.
fn at_price(treatment: Option<&Treatment>, price: Option<Option<Cents>>) -> Option<TreatmentDetails> {
    let details = treatment?.details.clone();
    Some(TreatmentDetails { price: price.flatten().unwrap_or(details.price), ..details })
}

/// What is to be known of the codes of the bill.
pub(super) fn code_notes(form: &OrderForm, context: &OrderContext) -> Vec<String> {
    let note = |eye: Eye| {
        let order = form.eyes.get(eye).read.as_ref().ok().filter(|order| order.task == EyeTask::Make)?;
        let note = lens_code(order.rx?.power, context.lab.code_basis).note?;
        Some(format!("Code of the {} lens: {note}", eye.name()))
    };
    let charges = form.charges.as_deref().unwrap_or_default();
    let high_power = charges.iter().any(|charge| charge.kind == ChargeKind::HighPower).then(|| {
        "High power has no code of its own: the code of the lens says its power. Ask the plan before you send it."
            .to_owned()
    });
    let first_eye = charges.iter().find_map(|charge| charge.eye);
    let coatings: Vec<&str> = charges
        .iter()
        .filter(|charge| charge.kind == ChargeKind::Coating && charge.eye == first_eye)
        .map(|charge| charge.code.as_str())
        .collect();
    let coatings = match coatings[..] {
        [first, second] if first == second && !first.is_empty() => {
            Some(format!("Both coatings have the code {first}. Ask the plan before you send it."))
        }
        _ => None,
    };
    Eye::BOTH.into_iter().filter_map(note).chain(high_power).chain(coatings).collect()
}
