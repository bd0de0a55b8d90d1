//! Correcting an order: what changes, in words, and what follows from it.

use super::bill::{Billed, Charge, LensExtras, bill, frame_words};
use super::catalogue::{Material, Treatment};
use super::center_height::CenterHeight;
use super::frame::Frame;
use super::id::{FrameId, MaterialVersionId, TreatmentVersionId};
use super::job::{EventKind, EyeTask, Job};
use super::lab::CodeBasis;
use super::money::Cents;
use super::order::Design;
use super::prescription::{MadeFor, Prescription};
use super::rebill::Rebill;
use super::stock::OldLens;
use crate::optics::prescription::{EyePrescription, LensPower};
use crate::optics::{Eye, Pair};
use time::Date;

/// What is made: the part of an order that can be corrected.
#[derive(Debug, Clone, PartialEq)]
pub struct Ordered {
    pub prescription: Prescription,
    pub tasks: Pair<EyeTask>,
    pub made_for: MadeFor,
    pub material: Material,
    pub design: Design,
    pub coating: Option<Treatment>,
    pub second_coating: Option<Treatment>,
    pub tint: Option<Treatment>,
    pub height: Pair<CenterHeight>,
    pub frame: Frame,
    pub note: String,
}

impl Ordered {
    /// As it stands.
    pub fn of(job: &Job) -> Self {
        Self {
            prescription: job.prescription.clone(),
            tasks: job.tasks(),
            made_for: job.made_for,
            material: job.material.clone(),
            design: job.design,
            coating: job.coating.clone(),
            second_coating: job.second_coating.clone(),
            tint: job.tint.clone(),
            height: job.height(),
            frame: job.frame.clone(),
            note: job.note.clone(),
        }
    }

    /// The lines of its bill at list prices. `has_frame` is whether the frame is sold with it.
    pub fn billed(&self, has_frame: bool, base_price: Cents, basis: CodeBasis) -> Vec<Charge> {
        let frame = &self.frame.details;
        let [coating, second_coating, tint] = self.treatments().map(|(_, treatment)| treatment.map(|t| &t.details));
        bill(&Billed {
            frame: has_frame.then(|| (frame_words(&frame.maker, &frame.model), frame.price)),
            material: &self.material.details,
            base_price,
            coating,
            second_coating,
            tint,
            extras: LensExtras::default(),
            eyes: &self.prescription.eyes,
            tasks: self.tasks,
            basis,
            shipping: Cents::ZERO,
        })
    }

    fn treatments(&self) -> [(&'static str, Option<&Treatment>); 3] {
        [
            ("coating", self.coating.as_ref()),
            ("second coating", self.second_coating.as_ref()),
            ("tint", self.tint.as_ref()),
        ]
    }
}

/// A correction, looked at and confirmed.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// The revision of the job that was looked at.
    pub revision: i64,
    /// `None` where the prescription stays as it is.
    pub prescription: Option<Prescription>,
    pub tasks: Pair<EyeTask>,
    pub made_for: MadeFor,
    pub material: MaterialVersionId,
    pub design: Design,
    pub coating: Option<TreatmentVersionId>,
    pub second_coating: Option<TreatmentVersionId>,
    pub tint: Option<TreatmentVersionId>,
    pub height: Pair<CenterHeight>,
    pub frame: FrameId,
    pub note: String,
    pub reason: String,
    /// Where each lens in hand goes that no longer fits.
    pub lenses: Vec<(Eye, OldLens)>,
    /// Whether the decision which power to order counts no more.
    pub withdraws_decision: bool,
    /// What changed and what follows, for the history.
    pub said: String,
    /// The lines of the bill that change with it, and on which day.
    pub rebill: Rebill,
    pub on: Date,
}

/// What changes, a clause each, such as `right sphere -2.25 to -2.50`. Powers are compared in minus-cylinder form, so that
/// the same lens written the other way is no change.
pub fn changes(before: &Ordered, after: &Ordered) -> Vec<String> {
    let mut found = Vec::new();
    for eye in Eye::BOTH {
        eye_changes(before, after, eye, &mut found);
    }
    let mut text = |what: &str, was: String, is: String| {
        if was != is {
            let or_none = |text: String| if text.is_empty() { "none".to_owned() } else { text };
            found.push(format!("{what} {} to {}", or_none(was), or_none(is)));
        }
    };
    let (was, is) = (&before.prescription, &after.prescription);
    text("PD", was.pupil_distance.words(), is.pupil_distance.words());
    let near = |rx: &Prescription| rx.near_pupil_distance.map(|pd| pd.words()).unwrap_or_default();
    text("near PD", near(was), near(is));
    text("made for", before.made_for.words().to_owned(), after.made_for.words().to_owned());
    text("material", before.material.details.name.clone(), after.material.details.name.clone());
    text("design", before.design.words().to_owned(), after.design.words().to_owned());
    for ((what, was), (_, is)) in before.treatments().into_iter().zip(after.treatments()) {
        let name = |treatment: Option<&Treatment>| treatment.map(|t| t.details.name.clone()).unwrap_or_default();
        text(what, name(was), name(is));
    }
    if before.frame.id != after.frame.id {
        text("frame", before.frame.details.to_string(), after.frame.details.to_string());
    }
    text("prescriber", was.prescriber.clone(), is.prescriber.clone());
    let npi = |rx: &Prescription| rx.prescriber_npi.as_ref().map(ToString::to_string).unwrap_or_default();
    text("prescriber’s NPI", npi(was), npi(is));
    let date = |day: Option<time::Date>| day.map(|day| super::date::day(&day)).unwrap_or_default();
    text("written on", date(was.written_on), date(is.written_on));
    text("good until", date(was.expires_on), date(is.expires_on));
    text("diagnosis", was.diagnosis.clone(), is.diagnosis.clone());
    text("note for the bench", quoted(&before.note), quoted(&after.note));
    found
}

fn quoted(text: &str) -> String {
    if text.is_empty() { String::new() } else { format!("“{}”", text.replace('\n', " ")) }
}

fn eye_changes(before: &Ordered, after: &Ordered, eye: Eye, found: &mut Vec<String>) {
    let name = eye.name();
    let mut change = |what: &str, was: String, is: String| {
        if was != is {
            found.push(format!("{name} {what} {was} to {is}"));
        }
    };
    change("eye", task_words(*before.tasks.get(eye)).to_owned(), task_words(*after.tasks.get(eye)).to_owned());
    let (was, is) = (before.prescription.eyes.get(eye), after.prescription.eyes.get(eye));
    let (was_power, is_power) = (was.power.to_minus(), is.power.to_minus());
    change("sphere", was_power.sphere().to_string(), is_power.sphere().to_string());
    change("cylinder", was_power.cylinder().to_string(), is_power.cylinder().to_string());
    let axis = |power: LensPower| power.axis().map_or("none".to_owned(), |axis| axis.to_string());
    change("axis", axis(was_power), axis(is_power));
    change("prism", prism_words(was), prism_words(is));
    change("height", before.height.get(eye).words(), after.height.get(eye).words());
}

fn task_words(task: EyeTask) -> &'static str {
    match task {
        EyeTask::Make => "a prescribed lens",
        other => other.words(),
    }
}

fn prism_words(rx: &EyePrescription) -> String {
    if rx.prism.is_none() { "none".to_owned() } else { rx.prism.to_string() }
}

/// Whether an uncut lens for `before` is none for `after`. It can be turned, so an axis alone makes no other lens of one
/// without prism.
pub fn needs_other_lens(before: &Ordered, after: &Ordered, eye: Eye) -> bool {
    let (was, is) = (before.prescription.eyes.get(eye), after.prescription.eyes.get(eye));
    let (was_power, is_power) = (was.power.to_minus(), is.power.to_minus());
    let is_other_axis = was_power.axis() != is_power.axis() && !is.prism.is_none();
    let kind = |ordered: &Ordered| {
        let treatments = ordered.treatments().map(|(_, treatment)| treatment.map(|t| t.id));
        (ordered.material.id, ordered.design, treatments, *ordered.tasks.get(eye))
    };
    (was_power.sphere(), was_power.cylinder(), was.prism) != (is_power.sphere(), is_power.cylinder(), is.prism)
        || is_other_axis
        || kind(before) != kind(after)
}

/// Whether a decision which power to order was made for another lens.
pub fn withdraws_decision(job: &Job, after: &Ordered) -> bool {
    let before = Ordered::of(job);
    let optics = |ordered: &Ordered| {
        let powers = ordered.prescription.eyes.map(|eye| (eye.power.to_minus(), eye.prism));
        (powers, ordered.material.id, ordered.design, ordered.frame.id)
    };
    job.power_decision.is_some() && optics(&before) != optics(after)
}

/// What follows from a correction, a sentence each, beside the lenses in hand, which are asked for one by one.
/// `on_order` are the eyes whose lens a supplier was asked for and that is not in hand; `money` is what follows for the
/// bill.
pub fn consequences(job: &Job, after: &Ordered, on_order: &[Eye], money: &BillFacts) -> Vec<String> {
    let before = Ordered::of(job);
    let mut found = Vec::new();
    let is_other = |eye: &Eye| on_order.contains(eye) && needs_other_lens(&before, after, *eye);
    let other: Vec<Eye> = Eye::BOTH.into_iter().filter(is_other).collect();
    if !other.is_empty() {
        let lenses = lens_words(&other);
        found.push(format!("{lenses} ordered from a supplier: change or cancel that order, another lens is needed."));
    }
    if withdraws_decision(job, after) {
        found.push(
            "The power to order was decided for the earlier prescription. That decision no longer counts: the lenses \
             are made as prescribed until you decide again under Position of wear."
                .to_owned(),
        );
    }
    if job.count(EventKind::TicketPrinted) > 0 {
        found.push("The printed bench ticket is out of date: throw it away and print it again.".to_owned());
    }
    if before.frame.id != after.frame.id && job.shape.is_some() {
        found.push(
            "The shape on file stays. If a different frame was traced, trace this one before you lay out.".to_owned(),
        );
    }
    let billed = billed_changes(&before, after, money.has_high_power);
    if !money.rebill.is_empty() {
        found.push(rebill_words(&money.rebill));
    } else if !billed.is_empty() && money.is_paid_by_customer {
        found.push(format!(
            "The bill was made for another {}, and none of its lines is changed: check it, and any receipt that was \
             issued.",
            billed.join(", ")
        ));
    }
    if before.tasks != after.tasks {
        found.push("Other lenses are needed now: check the Lenses page.".to_owned());
    }
    found
}

/// What the bill says of a corrected order.
#[derive(Debug, Clone, Default)]
pub struct BillFacts {
    pub rebill: Rebill,
    /// Whether a surcharge for a strong lens stands on it.
    pub has_high_power: bool,
    /// A remake that the customer does not pay for has no lines of its lenses.
    pub is_paid_by_customer: bool,
}

/// The lines that are reversed and added, in a sentence.
fn rebill_words(rebill: &Rebill) -> String {
    let words = |charge: &Charge| {
        let eye = charge.eye.map(|eye| format!(", {}", eye.name())).unwrap_or_default();
        let code = if charge.code.is_empty() { String::new() } else { format!(" ({})", charge.code) };
        format!("{}{code}{eye}, {}", charge.what, charge.amount)
    };
    let reversed = rebill.reversed.iter().map(|line| format!("reverse {}", words(&line.charge)));
    let added = rebill.added.iter().map(|charge| format!("add {}", words(charge)));
    format!("Lines of the bill that no longer match: {}.", reversed.chain(added).collect::<Vec<_>>().join("; "))
}

/// `The right lens is`, `Both lenses are`.
pub fn lens_words(eyes: &[Eye]) -> String {
    match eyes {
        [eye] => format!("The {} lens is", eye.name()),
        _ => "Both lenses are".to_owned(),
    }
}

/// What the lines of the bill name and what is another now.
fn billed_changes(before: &Ordered, after: &Ordered, has_high_power: bool) -> Vec<&'static str> {
    let has_prism = |ordered: &Ordered| ordered.prescription.eyes.map(|eye| !eye.prism.is_none());
    let powers = |ordered: &Ordered| ordered.prescription.eyes.map(|eye| eye.power.to_minus());
    let treatment = |at: usize| {
        let id = |ordered: &Ordered| ordered.treatments()[at].1.map(|t| t.id);
        id(before) != id(after)
    };
    [
        ("frame", before.frame.id != after.frame.id),
        ("number of lenses", before.tasks != after.tasks),
        ("power, and has a line for high power", has_high_power && powers(before) != powers(after)),
        ("material", before.material.id != after.material.id),
        ("coating", treatment(0)),
        ("second coating", treatment(1)),
        ("tint", treatment(2)),
        ("prism", has_prism(before) != has_prism(after)),
    ]
    .into_iter()
    .filter_map(|(what, is_other)| is_other.then_some(what))
    .collect()
}

impl Job {
    /// The newest correction, while no ticket was printed and nothing was cut after it.
    pub fn fresh_correction(&self) -> Option<&super::job::Event> {
        let is_known = |kind| matches!(kind, EventKind::Corrected | EventKind::TicketPrinted | EventKind::Cut);
        let newest = self.history.iter().rev().find(|event| is_known(event.kind))?;
        (newest.kind == EventKind::Corrected && !self.is_cancelled()).then_some(newest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::fitting::{PositionOfWear, PowerDecision};
    use crate::desk::job::Event;
    use crate::desk::sample::round_job;
    use crate::optics::prescription::{read, read_pupil_distance};
    use time::OffsetDateTime;

    fn ordered(rx: &str) -> Ordered {
        Ordered::of(&round_job(rx, "31/33"))
    }

    fn with_right(before: &Ordered, rx: &str) -> Ordered {
        let mut after = before.clone();
        after.prescription.eyes.right = read(rx).unwrap().rx;
        after
    }

    #[test]
    fn old_and_new_stand_in_words() {
        let before = ordered("-2.25 -1.25 x 95");
        for (rx, want) in [
            ("-2.25 -1.25 x 95", &[][..]),
            ("-3.50 +1.25 x 5", &[]),
            ("-2.50 -1.25 x 95", &["right sphere -2.25 to -2.50"]),
            ("-2.25 -1.00 x 90", &["right cylinder -1.25 to -1.00", "right axis 095 to 090"]),
            ("-2.25 sph", &["right cylinder -1.25 to 0.00", "right axis 095 to none"]),
            ("-2.25 -1.25 x 95 1 BI", &["right prism none to 1.00 base in"]),
        ] {
            let said = changes(&before, &with_right(&before, rx));
            assert_eq!(said.iter().map(|s| s.replace("+0.00", "0.00")).collect::<Vec<_>>(), want, "{rx}");
        }
        let mut after = before.clone();
        after.height.left = CenterHeight::Bottom("21".parse().unwrap());
        after.prescription.pupil_distance = read_pupil_distance("63").unwrap();
        after.design = Design::Aspheric;
        after.note = "soft bridge".into();
        assert_eq!(
            changes(&before, &after),
            [
                "left height 24.00 mm to 21.00 mm",
                "PD 31.00/33.00 mm to 63.00 mm for both eyes, halved",
                "design single vision, spherical to single vision, aspheric",
                "note for the bench none to “soft bridge”",
            ]
        );
    }

    #[test]
    fn a_turned_lens_is_the_same_lens() {
        let before = ordered("-2.25 -1.25 x 95");
        for (rx, other) in [
            ("-2.25 -1.25 x 95", false),
            ("-2.25 -1.25 x 5", false),
            ("-3.50 +1.25 x 5", false),
            ("-2.50 -1.25 x 95", true),
            ("-2.25 -1.00 x 95", true),
            ("-2.25 -1.25 x 95 1 BI", true),
        ] {
            let after = with_right(&before, rx);
            assert_eq!(needs_other_lens(&before, &after, Eye::Right), other, "{rx}");
            assert!(!needs_other_lens(&before, &after, Eye::Left), "{rx}: the left lens stays");
        }
        let mut after = before.clone();
        after.design = Design::Aspheric;
        assert!(needs_other_lens(&before, &after, Eye::Left));
        let with_prism = with_right(&before, "-2.25 -1.25 x 95 1 BI");
        let turned = with_right(&before, "-2.25 -1.25 x 5 1 BI");
        assert!(needs_other_lens(&with_prism, &turned, Eye::Right), "a ground prism does not turn with the axis");
        let mut note = before.clone();
        note.note = "soft bridge".into();
        note.height.right = CenterHeight::Assumed;
        assert!(!needs_other_lens(&before, &note, Eye::Right));
    }

    fn after_events(job: &mut Job, kinds: &[EventKind]) {
        let at = OffsetDateTime::UNIX_EPOCH;
        job.history = kinds.iter().map(|&kind| Event { kind, note: String::new(), by: None, at }).collect();
    }

    #[test]
    fn a_decision_for_another_power_is_withdrawn() {
        let mut job = round_job("-4.00 sph", "31/33");
        let stronger = with_right(&Ordered::of(&job), "-4.25 sph");
        assert!(!withdraws_decision(&job, &stronger), "nothing was decided");
        job.power_decision = Some(PowerDecision {
            is_compensated: true,
            position: PositionOfWear::usual(),
            power: job.prescription.eyes.map(|eye| eye.power),
            lenses: Pair::default(),
            at: OffsetDateTime::UNIX_EPOCH,
        });
        assert!(withdraws_decision(&job, &stronger));
        let mut same = Ordered::of(&job);
        (same.note, same.height.right) = ("x".into(), CenterHeight::Assumed);
        assert!(!withdraws_decision(&job, &same));
        same.design = Design::Aspheric;
        assert!(withdraws_decision(&job, &same), "the front is another");
    }

    #[test]
    fn what_follows_is_named() {
        use EventKind::*;
        let mut job = round_job("-4.00 sph", "31/33");
        after_events(&mut job, &[Taken, ShapeKept]);
        let same = Ordered::of(&job);
        assert!(consequences(&job, &same, &Eye::BOTH, &BillFacts::default()).is_empty());
        let stronger = with_right(&same, "-4.25 sph");
        let [plain, high_power] = [false, true].map(|has_high_power| BillFacts {
            has_high_power,
            is_paid_by_customer: true,
            ..BillFacts::default()
        });
        let said = consequences(&job, &stronger, &[], &plain);
        assert_eq!(said, [""; 0], "nothing is ordered, and the code of the lens stays");
        let said = consequences(&job, &stronger, &Eye::BOTH, &high_power).join(" ");
        assert!(said.contains("The right lens is ordered from a supplier"), "{said}");
        assert!(said.contains("high power") && !said.contains("ticket"), "{said}");
        after_events(&mut job, &[Taken, ShapeKept, LensRight, LensLeft, TicketPrinted]);
        let said = consequences(&job, &stronger, &[], &plain).join(" ");
        assert!(said.contains("printed bench ticket is out of date") && !said.contains("supplier"), "{said}");
    }

    #[test]
    fn a_correction_is_fresh_until_the_ticket_is_printed_again() {
        use EventKind::*;
        let mut job = round_job("-4.00 sph", "31/33");
        for (kinds, is_fresh) in [
            (&[Taken][..], false),
            (&[Taken, TicketPrinted, Corrected, Note, LensRight], true),
            (&[Taken, Corrected, TicketPrinted], false),
            (&[Taken, Corrected, Cut], false),
            (&[Taken, Corrected, Cancelled], false),
        ] {
            after_events(&mut job, kinds);
            assert_eq!(job.fresh_correction().is_some(), is_fresh, "{kinds:?}");
        }
    }
}
