//! What is unlikely about an order. Each caution is said once, beside its field, and must be confirmed.

use std::fmt::Display;

use time::Date;

use super::context::OrderContext;
use super::form::OrderForm;
use crate::desk::bill::Charge;
use crate::desk::center_height::CenterHeight;
use crate::desk::deadline::promise_warning;
use crate::desk::job::EyeTask;
use crate::desk::money::Cents;
use crate::desk::order::{FRAME_OVER_PUPILS_MM, HEIGHT_FROM_MIDDLE_MM};
use crate::desk::prescription::{MadeFor, Prescription};
use crate::optics::prescription::{PupilDistance, cautions, pupil_distance_cautions};
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};

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

/// What the frame and the heights are compared by.
pub(super) struct FrameFacts {
    /// Eye size and bridge as stamped.
    pub(super) stamped: Option<(Millimeter, Millimeter)>,
    pub(super) made_for: Option<MadeFor>,
    pub(super) height: Pair<Option<CenterHeight>>,
    /// What is done for each eye.
    pub(super) tasks: Pair<EyeTask>,
}

/// Everything that is unlikely, in the order of the form.
pub(super) fn cautions_of(
    prescription: Option<&Prescription>,
    frame: &FrameFacts,
    ordered_on: Option<Date>,
    promised_on: Option<Date>,
    context: &OrderContext,
) -> Vec<OrderCaution> {
    let mut found = Vec::new();
    if let Some(prescription) = prescription {
        found.extend(prescription_cautions(prescription, frame.tasks, ordered_on, context));
        found.extend(frame_cautions(prescription, frame, context));
    }
    if let (Some(ordered), Some(promised)) = (ordered_on, promised_on)
        && let Some(says) = promise_warning(ordered, promised)
    {
        found.push(caution(OrderForm::PROMISED_ON, "promise", says));
    }
    if promised_on.is_some_and(|promised| promised < context.today) {
        let says = "The promised date is past: the customer must be told and asked at once";
        found.push(caution(OrderForm::PROMISED_ON, "promise-past", says));
    }
    found
}

/// More is paid than the order comes to: a slip of the finger, or money to be refunded.
pub(super) fn overpaid(paid: Option<Cents>, charges: Option<&[Charge]>) -> Option<OrderCaution> {
    let (paid, total): (Cents, Cents) = (paid?, charges?.iter().map(|charge| charge.amount).sum());
    let says = || format!("{paid} is paid now, {} more than the whole order", paid - total);
    (paid > total).then(|| caution(OrderForm::PAYMENT, "overpaid", says()))
}

fn caution(field: &'static str, code: &str, says: impl Display) -> OrderCaution {
    OrderCaution { field, code: code.to_owned(), says: says.to_string() }
}

fn prescription_cautions(
    prescription: &Prescription,
    tasks: Pair<EyeTask>,
    ordered_on: Option<Date>,
    context: &OrderContext,
) -> Vec<OrderCaution> {
    let last = context.last.as_ref().map_or(Pair::new(None, None), |job| job.prescribed_eyes());
    let eyes = prescription.prescribed_eyes(tasks);
    let mut found: Vec<OrderCaution> = cautions(eyes, last)
        .into_iter()
        .map(|c| caution(OrderForm::rx(c.eye().unwrap_or(Eye::Right)), c.code(), c))
        .collect();
    let distances = pupil_distance_cautions(Some(prescription.pupil_distance), prescription.near_pupil_distance);
    found.extend(distances.into_iter().map(|c| {
        let is_near = c.code() == "pd-near-wider";
        caution(if is_near { OrderForm::NEAR_PD } else { OrderForm::PD }, c.code(), c)
    }));
    if prescription.is_past(ordered_on.unwrap_or(context.today)) {
        found.push(caution(
            OrderForm::EXPIRES_ON,
            "past-its-date",
            "The prescription is past its date. You decide, under your state’s law, whether it may be used.",
        ));
    }
    found
}

/// What the box says of the pupils.
fn frame_cautions(prescription: &Prescription, frame: &FrameFacts, context: &OrderContext) -> Vec<OrderCaution> {
    let mut found = Vec::new();
    let frame_pd_mm = match (&context.boxes, &context.shape, frame.stamped) {
        (Some(boxes), Some(shape), _) => Some(f64::midpoint(boxes.right.a_mm, boxes.left.a_mm) + shape.dbl.to_f64()),
        (_, _, Some((eye_size, bridge))) => Some(eye_size.to_f64() + bridge.to_f64()),
        _ => None,
    };
    let pd: PupilDistance = prescription.centered_on(frame.made_for.unwrap_or_default());
    if let Some(frame_pd_mm) = frame_pd_mm {
        let over_mm = frame_pd_mm - pd.binocular().to_f64();
        if !FRAME_OVER_PUPILS_MM.contains(&over_mm) {
            let says = format!(
                "The lens centers of this frame stand {frame_pd_mm:.1} mm apart, the pupils {}: each lens moves \
                 {:.1} mm. Is the frame the right size?",
                pd.binocular(),
                over_mm.abs() / 2.0
            );
            found.push(caution(OrderForm::PD, "frame-pd", says));
        }
    }
    if let Some(boxes) = &context.boxes {
        for (eye, height) in frame.height.iter().filter(|(eye, _)| frame.tasks.get(*eye).is_made()) {
            let half_mm = boxes.get(eye).b_mm / 2.0;
            if let Some(height) = height
                && !HEIGHT_FROM_MIDDLE_MM.contains(&(height.above_bottom_mm(2.0 * half_mm) - half_mm))
            {
                let says = format!("{} is unusual in this shape: its middle is at {half_mm:.1} mm.", height.words());
                found.push(caution(OrderForm::height(eye), "height", says));
            }
        }
    }
    found
}
