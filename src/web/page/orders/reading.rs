//! From the order form to a [`NewOrder`]: every field read once, every doubt said once.

use std::fmt::Display;

use time::Date;
use uuid::Uuid;

use super::super::customers::read_person;
use super::context::OrderContext;
use crate::desk::bill::{Billed, base_price, bill};
use crate::desk::bill::{Charge, ChargeKind};
use crate::desk::catalogue::TreatmentKind;
use crate::desk::deadline::promise_warning;
use crate::desk::frame::{FrameDetails, Rim};
use crate::desk::money::Cents;
use crate::desk::order::{CustomerChoice, Design, FrameChoice, NewOrder};
use crate::desk::payment::{Payment, PaymentKind};
use crate::desk::prescription::{MadeFor, Prescription};
use crate::desk::procedure_code::lens_code;
use crate::desk::text::{line, lines, needed};
use crate::optics::prescription::{
    EyePrescription, PupilDistance, cautions, pupil_distance_cautions, read, read_pupil_distance,
};
use crate::optics::unit::{Millimetre, Tilt, UnitError};
use crate::optics::{Eye, Pair};
use crate::web::form::Form;
use crate::web::words::parse_day;

/// Something to confirm, beside its field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderCaution {
    /// Where it stands.
    pub field: &'static str,
    /// A name that stays the same, so that what was confirmed can be told from what is new.
    pub code: String,
    /// A sentence.
    pub says: String,
}

/// What a tick under these cautions confirms.
pub fn seen_mark(cautions: &[OrderCaution]) -> String {
    cautions.iter().map(|c| format!("{}:{}", c.code, c.says)).collect::<Vec<_>>().join("|")
}

/// Reads the whole form. `None` when a field is refused or a doubt is not confirmed yet.
pub fn read_order(form: &mut Form, context: &OrderContext) -> (Option<NewOrder>, Vec<OrderCaution>) {
    let customer = read_customer(form, context);
    let frame = read_frame(form, context);
    let frame_wrap = form.read_optional("frame_wrap", |t| t.parse::<Tilt>());
    let frame_wrap = frame_wrap.map(|wrap| wrap.filter(|_| matches!(frame, Some(FrameChoice::New(_)))));
    let prescription = read_prescription(form, context);
    let made_for = form.read("made_for", |t| MadeFor::from_key(t).ok_or("Choose what the pair is for"));
    if made_for == Some(MadeFor::Near) && form.value("near_pd").trim().is_empty() {
        form.fail("near_pd", "A reading pair needs the near pupil distance");
    }
    let design = form.read("design", |t| Design::from_key(t).ok_or("Choose the form of the front"));
    let material = form.read("material", |t| on_sale(t, context.materials.iter().map(|m| m.id), "a material"));
    let of_kind =
        |kind| context.treatments.iter().filter(move |t| t.details.kind == kind).map(|t| t.id).collect::<Vec<_>>();
    let coating =
        form.read_optional("coating", |t| on_sale(t, of_kind(TreatmentKind::Coating).into_iter(), "a coating"));
    let tint = form.read_optional("tint", |t| on_sale(t, of_kind(TreatmentKind::Tint).into_iter(), "a tint"));
    let height = Pair::new(read_height(form, Eye::Right, context), read_height(form, Eye::Left, context));
    let ordered_on = form.read("ordered_on", parse_day);
    let promised_on = form.read("promised_on", parse_day);
    if let (Some(ordered), Some(promised)) = (ordered_on, promised_on) {
        if ordered > context.today {
            form.fail("ordered_on", "This day is still to come");
        }
        if promised < ordered {
            form.fail("promised_on", "The promise lies before the order: choose a later day");
        }
    }
    let note = form.read("note", |t| lines("The note", t, 1000));
    let payment = read_payment(form, context);
    let charges = bill_fields(form, context);

    let mut doubts = Vec::new();
    if let Some(prescription) = &prescription {
        doubts.extend(prescription_doubts(prescription, ordered_on, context));
        doubts.extend(frame_doubts(prescription, &frame, made_for, height, context));
    }
    if let (Some(ordered), Some(promised)) = (ordered_on, promised_on)
        && let Some(says) = promise_warning(ordered, promised)
    {
        doubts.push(OrderCaution { field: "promised_on", code: "promise".into(), says });
    }
    let confirmed = doubts.is_empty() || form.value("seen") == seen_mark(&doubts);
    let order = (|| {
        Some(NewOrder {
            customer: customer?,
            frame: frame?,
            frame_wrap: frame_wrap?,
            prescription: prescription?,
            made_for: made_for?,
            material: material?,
            design: design?,
            coating: coating?,
            tint: tint?,
            height: Pair::new(height.right?, height.left?),
            ordered_on: ordered_on?,
            promised_on: promised_on?,
            note: note?,
            charges: charges?,
            payment: payment?,
        })
    })();
    (order.filter(|_| form.is_fine() && confirmed), doubts)
}

fn read_customer(form: &mut Form, context: &OrderContext) -> Option<CustomerChoice> {
    if let Some(customer) = &context.customer {
        return Some(CustomerChoice::Known(customer.id));
    }
    if !context.namesakes.is_empty() && form.value("customer_id") != "new" {
        form.fail("customer_name", "This name is in the book already: say below who it is");
        return None;
    }
    Some(CustomerChoice::New(read_person(form, "customer_name")?))
}

fn read_frame(form: &mut Form, context: &OrderContext) -> Option<FrameChoice> {
    if let Some(job) = &context.relens {
        return Some(FrameChoice::OfJob(job.number));
    }
    if let Some(frame) = &context.frame {
        return Some(FrameChoice::Known(frame.id));
    }
    let is_new = ["frame_maker", "frame_model", "frame_eye_size"].iter().any(|f| !form.value(f).trim().is_empty());
    if !is_new {
        form.fail("frame_name", "Choose a frame from the book, or fill in a new one below");
        return None;
    }
    let details = (
        form.read("frame_maker", |t| needed("The maker", t, 80)),
        form.read("frame_model", |t| needed("The model", t, 80)),
        form.read("frame_colour", |t| line("The colour", t, 60)),
        form.read("frame_eye_size", |t| length_between(t, 3000, 7500)),
        form.read("frame_bridge", |t| length_between(t, 800, 3000)),
        form.read_optional("frame_temple", |t| length_between(t, 8000, 18000)),
        form.read("frame_rim", |t| Rim::from_key(t).ok_or("Choose how the frame holds the lens")),
        read_price(form, "price_frame", Cents::ZERO),
    );
    Some(FrameChoice::New(FrameDetails {
        maker: details.0?,
        model: details.1?,
        colour: details.2?,
        eye_size: details.3?,
        bridge: details.4?,
        temple: details.5?,
        rim: details.6?,
        price: details.7?,
    }))
}

/// A length in millimetres between two limits in hundredths.
pub fn length_between(text: &str, least: i32, most: i32) -> Result<Millimetre, String> {
    let limits = || format!("{} to {} mm", f64::from(least) / 100.0, f64::from(most) / 100.0);
    if text.is_empty() {
        return Err(format!("A number is needed, {}", limits()));
    }
    let length: Millimetre = text.trim_end_matches("mm").trim().parse().map_err(|e: UnitError| e.to_string())?;
    if (least..=most).contains(&length.hundredths()) {
        Ok(length)
    } else {
        Err(format!("{length} is out of range: {}", limits()))
    }
}

fn read_prescription(form: &mut Form, context: &OrderContext) -> Option<Prescription> {
    let right = read_eye(form, "rx_right");
    let left = read_eye(form, "rx_left");
    let pd = form.read("pd", read_pupil_distance);
    let near = form.read_optional("near_pd", read_pupil_distance);
    let prescriber = form.read("prescriber", |t| line("The prescriber", t, 120));
    let written_on = form.read_optional("written_on", parse_day);
    let expires_on = form.read_optional("expires_on", parse_day);
    if let Some(Some(written)) = written_on {
        if written > context.today {
            form.fail("written_on", "This day is still to come");
        }
        if let Some(Some(expires)) = expires_on
            && expires < written
        {
            form.fail("expires_on", "This lies before the day it was written");
        }
    }
    let diagnosis = form.read("diagnosis", |t| line("The diagnosis", t, 200));
    Some(Prescription {
        typed: Pair::new(form.value("rx_right").trim().to_owned(), form.value("rx_left").trim().to_owned()),
        eyes: Pair::new(right?, left?),
        prescriber: prescriber?,
        written_on: written_on?,
        expires_on: expires_on?,
        diagnosis: diagnosis?,
        pupil_distance: pd?,
        near_pupil_distance: near?,
    })
}

fn read_eye(form: &mut Form, name: &str) -> Option<EyePrescription> {
    let text = form.value(name).to_owned();
    match read(&text) {
        Ok(reading) => Some(reading.rx),
        Err(faults) => {
            form.fail(name, faults.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "));
            None
        }
    }
}

fn read_height(form: &mut Form, eye: Eye, context: &OrderContext) -> Option<Millimetre> {
    let name = format!("height_{}", eye.name());
    let height = form.read(&name, |t| length_between(t, 500, 6000))?;
    if let Some(boxes) = &context.boxes {
        let b_mm = boxes.get(eye).b_mm;
        if height.to_f64() >= b_mm {
            form.fail(
                &name,
                format!("The lens is only {b_mm:.2} mm high: the height is measured from its lowest point"),
            );
        }
    }
    Some(height)
}

fn on_sale(text: &str, mut offered: impl Iterator<Item = Uuid>, what: &str) -> Result<Uuid, String> {
    Uuid::parse_str(text)
        .ok()
        .filter(|id| offered.any(|o| o == *id))
        .ok_or_else(|| format!("Choose {what} that is on sale; the list has changed since this page was opened"))
}

fn read_payment(form: &mut Form, context: &OrderContext) -> Option<Option<Payment>> {
    let amount = form.read_optional("payment", str::parse::<Cents>)?;
    let Some(amount) = amount.filter(|a| *a != Cents::ZERO) else { return Some(None) };
    if amount.is_negative() {
        form.fail("payment", "A payment with an order comes in: leave the minus out");
        return None;
    }
    let kind = form.read("payment_kind", |t| PaymentKind::from_key(t).ok_or("Choose how it was paid"))?;
    Some(Some(Payment { kind, amount, paid_on: context.today }))
}

fn read_price(form: &mut Form, name: &str, otherwise: Cents) -> Option<Cents> {
    let price = form.read_optional(name, str::parse::<Cents>)?.unwrap_or(otherwise);
    if price.is_negative() {
        form.fail(name, "A price is not less than nothing; use the discount");
        return None;
    }
    Some(price)
}

/// The lines of the bill from the form's prices, or the list prices where a field is left empty.
fn bill_fields(form: &mut Form, context: &OrderContext) -> Option<Vec<Charge>> {
    let chosen = |id: &str| Uuid::parse_str(id).ok();
    let material_id = chosen(form.value("material"));
    let material = context.materials.iter().find(|m| Some(m.id) == material_id)?;
    let treatment = |id: Option<Uuid>| context.treatments.iter().find(|t| Some(t.id) == id).map(|t| t.details.clone());
    let mut details = material.details.clone();
    let mut coating = treatment(chosen(form.value("coating")));
    let mut tint = treatment(chosen(form.value("tint")));
    let list_frame = context.frame.as_ref().map_or(Cents::ZERO, |f| f.details.price);
    let frame_price = read_price(form, "price_frame", list_frame);
    let lens_price = read_price(form, "price_lens", details.price);
    let coating_price = read_price(form, "price_coating", coating.as_ref().map_or(Cents::ZERO, |c| c.price));
    let tint_price = read_price(form, "price_tint", tint.as_ref().map_or(Cents::ZERO, |t| t.price));
    let shipping = read_price(form, "price_shipping", Cents::ZERO);
    let discount = read_price(form, "price_discount", Cents::ZERO);
    let tax = read_price(form, "price_tax", Cents::ZERO);
    details.price = lens_price?;
    if let (Some(coating), Some(price)) = (&mut coating, coating_price) {
        coating.price = price;
    }
    if let (Some(tint), Some(price)) = (&mut tint, tint_price) {
        tint.price = price;
    }
    let frame_name = match (&context.relens, &context.frame) {
        (Some(_), _) => None,
        (None, Some(frame)) => Some(format!("{} {}", frame.details.maker, frame.details.model)),
        (None, None) => Some(format!("{} {}", form.value("frame_maker").trim(), form.value("frame_model").trim())),
    };
    let frame = frame_name.map(|name| (format!("Frame: {}", name.trim()), frame_price.unwrap_or(Cents::ZERO)));
    frame_price?;
    let eyes = Pair::new(read(form.value("rx_right")).ok()?.rx, read(form.value("rx_left")).ok()?.rx);
    let mut charges = bill(&Billed {
        frame,
        base_price: base_price(context.materials.iter().map(|m| &m.details)),
        material: &details,
        coating: coating.as_ref(),
        tint: tint.as_ref(),
        eyes: &eyes,
        basis: context.lab.code_basis,
        shipping: shipping?,
    });
    let extra = |kind, what: &str, amount| Charge { kind, eye: None, what: what.into(), code: String::new(), amount };
    let (discount, tax) = (discount?, tax?);
    if discount != Cents::ZERO {
        charges.push(extra(ChargeKind::Discount, "Discount", -discount));
    }
    if tax != Cents::ZERO {
        charges.push(extra(ChargeKind::Tax, "Sales tax", tax));
    }
    if charges.iter().map(|c| c.amount).sum::<Cents>().is_negative() {
        form.fail("price_discount", "The discount is more than the whole bill");
        return None;
    }
    Some(charges)
}

/// The bill as the form stands, for showing; `None` while a field it needs is empty or wrong.
pub fn bill_of(form: &Form, context: &OrderContext) -> Option<(Vec<Charge>, Vec<String>)> {
    let mut copy = Form::new(form.fields().clone());
    let charges = bill_fields(&mut copy, context)?;
    let notes = [("right", "rx_right"), ("left", "rx_left")]
        .into_iter()
        .filter_map(|(eye, name)| {
            let note = lens_code(read(form.value(name)).ok()?.rx.power, context.lab.code_basis).note?;
            Some(format!("Code of the {eye} lens: {note}"))
        })
        .collect();
    Some((charges, notes))
}

fn doubt(field: &'static str, code: &str, says: impl Display) -> OrderCaution {
    OrderCaution { field, code: code.to_owned(), says: says.to_string() }
}

fn prescription_doubts(
    prescription: &Prescription,
    ordered_on: Option<Date>,
    context: &OrderContext,
) -> Vec<OrderCaution> {
    let last = context.last.as_ref().map(|job| job.prescription.eyes);
    let Pair { right, left } = &prescription.eyes;
    let mut doubts: Vec<OrderCaution> = cautions(right, left, last)
        .into_iter()
        .map(|c| {
            let field = match c.eye() {
                Some(Eye::Left) => "rx_left",
                _ => "rx_right",
            };
            doubt(field, c.code(), c)
        })
        .collect();
    let distances = pupil_distance_cautions(Some(prescription.pupil_distance), prescription.near_pupil_distance);
    doubts.extend(distances.into_iter().map(|c| {
        let is_near = c.code() == "pd-near-wider";
        doubt(if is_near { "near_pd" } else { "pd" }, c.code(), c)
    }));
    if prescription.is_past(ordered_on.unwrap_or(context.today)) {
        doubts.push(doubt(
            "expires_on",
            "past-its-date",
            "The prescription is past its date. Whether it may be used is for you to decide by your state’s law.",
        ));
    }
    doubts
}

/// What the box says of the pupils; limits are common practice.
fn frame_doubts(
    prescription: &Prescription,
    frame: &Option<FrameChoice>,
    made_for: Option<MadeFor>,
    height: Pair<Option<Millimetre>>,
    context: &OrderContext,
) -> Vec<OrderCaution> {
    let mut doubts = Vec::new();
    let stamped = match frame {
        Some(FrameChoice::New(details)) => Some((details.eye_size, details.bridge)),
        _ => context.frame.as_ref().map(|f| (f.details.eye_size, f.details.bridge)),
    };
    let frame_pd_mm = match (&context.boxes, context.relens.as_ref().and_then(|j| j.shape.as_ref()), stamped) {
        (Some(boxes), Some(shape), _) => Some(f64::midpoint(boxes.right.a_mm, boxes.left.a_mm) + shape.dbl.to_f64()),
        (_, _, Some((eye_size, bridge))) => Some(eye_size.to_f64() + bridge.to_f64()),
        _ => None,
    };
    let pd: PupilDistance = prescription.centred_on(made_for.unwrap_or_default());
    if let Some(frame_pd_mm) = frame_pd_mm {
        let over_mm = frame_pd_mm - pd.binocular().to_f64();
        if !(-4.0..=14.0).contains(&over_mm) {
            doubts.push(doubt(
                "pd",
                "frame-pd",
                format!(
                    "The lens centres of this frame stand {frame_pd_mm:.1} mm apart, the pupils {}: each lens moves {:.1} mm. Is the frame the right size?",
                    pd.binocular(),
                    over_mm.abs() / 2.0
                ),
            ));
        }
    }
    if let Some(boxes) = &context.boxes {
        for (eye, height) in height.iter() {
            let half_mm = boxes.get(eye).b_mm / 2.0;
            if let Some(height) = height
                && !(half_mm - 3.0..=half_mm + 8.0).contains(&height.to_f64())
            {
                let field = if eye == Eye::Right { "height_right" } else { "height_left" };
                let says = format!("{height} mm is unusual in this shape: its middle is at {half_mm:.1} mm.");
                doubts.push(doubt(field, "height", says));
            }
        }
    }
    doubts
}
