//! The sheet inside the parcel: what is in it, how to wear and keep it, and how it was checked.

use askama::Template;
use time::Date;

use super::{CheckSummary, Head};
use crate::bench::notes::NIGHT;
use crate::desk::catalogue::{MaterialDetails, TreatmentDetails};
use crate::desk::customer::Person;
use crate::desk::date;
use crate::desk::frame::FrameDetails;
use crate::desk::lab::Lab;
use crate::desk::order::Design;
use crate::desk::packing;
use crate::desk::prescription::MadeFor;
use crate::optics::{Eye, Pair};

/// What the sheet is made from.
#[derive(Debug, Clone)]
pub struct PackingFacts<'a> {
    /// The lab.
    pub lab: &'a Lab,
    /// The job.
    pub job_number: i64,
    /// For whom.
    pub person: &'a Person,
    /// Who gets the parcel, if it is somebody else.
    pub recipient: Option<&'a Person>,
    /// The frame.
    pub frame: &'a FrameDetails,
    /// Whether only lenses are sent, for a frame the customer has.
    pub lenses_only: bool,
    /// Each eye's prescription, or what is done instead, in words.
    pub eyes: Pair<String>,
    /// The only eye a lens was made for, if it is one.
    pub single: Option<Eye>,
    /// What to know about how the pair is worn, in words.
    pub wear_words: Vec<String>,
    /// For which distance.
    pub made_for: MadeFor,
    /// The material.
    pub material: &'a MaterialDetails,
    /// The form of the front.
    pub design: Design,
    /// The coating.
    pub coating: Option<&'a TreatmentDetails>,
    /// The second coating.
    pub second_coating: Option<&'a TreatmentDetails>,
    /// The tint.
    pub tint: Option<&'a TreatmentDetails>,
    /// Whether proof of impact resistance is on record for both lenses.
    pub is_impact_proven: bool,
    /// The day it was packed.
    pub packed_on: Date,
    /// The last check, when there was one.
    pub check: Option<CheckSummary>,
}

/// The sheet.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/packing_sheet.html")]
pub struct PackingSheet {
    /// The lab.
    pub head: Head,
    /// The job.
    pub job_number: i64,
    /// For whom.
    pub patient: String,
    /// Who gets the parcel, if it is somebody else.
    pub recipient: Option<String>,
    /// When it was packed.
    pub packed_on: String,
    /// `Your glasses`, or `Your lenses` where the frame stays with the customer.
    pub title: &'static str,
    /// What is in the parcel.
    pub contents: Vec<String>,
    /// Right and left, as prescribed.
    pub right: String,
    /// Right and left, as prescribed.
    pub left: String,
    /// How to wear them at first.
    pub first_days: &'static str,
    /// What they are not.
    pub cautions: Vec<&'static str>,
    /// How to keep them.
    pub care: Vec<&'static str>,
    /// What to know about how the pair is worn.
    pub wear_words: Vec<String>,
    /// The last check.
    pub check: Option<CheckSummary>,
    /// What was measured in it, in words.
    pub measured: &'static str,
    /// `them`, or `it` for one lens alone.
    pub them: &'static str,
}

impl PackingSheet {
    /// The sheet of a parcel.
    pub fn of(facts: &PackingFacts<'_>) -> Self {
        let treatments = [facts.coating, facts.second_coating, facts.tint].into_iter().flatten();
        let lens = [facts.material.name.as_str()]
            .into_iter()
            .chain(treatments.map(|treatment| treatment.name.as_str()))
            .collect::<Vec<_>>()
            .join(", ");
        let (frame, design) = (facts.frame, facts.design.plain_words());
        let pair = match (facts.lenses_only, facts.single) {
            (true, None) => format!("Two lenses ({design}: {lens}) for your {frame}"),
            (false, None) => format!("One pair of glasses: {frame}; lenses {design}, {lens}"),
            (true, Some(eye)) => format!("One lens, {} eye ({design}: {lens}) for your {frame}", eye.name()),
            (false, Some(eye)) => {
                let (made, kept) = (eye.name(), eye.other().name());
                format!("One pair of glasses: {frame}; new {made} lens {design}, {lens}; the {kept} lens is unchanged")
            }
        };
        // Of a lens that was here before nothing is on record, so a pair with one has no claim.
        let mut cautions = match facts.is_impact_proven && facts.single.is_none() {
            true => vec![packing::IMPACT, packing::NOT_SAFETY],
            false => vec![packing::NOT_SAFETY],
        };
        cautions.extend(facts.tint.map(|_| NIGHT));
        cautions.extend((facts.made_for == MadeFor::Near).then_some(packing::READING));
        Self {
            head: Head::of(facts.lab),
            job_number: facts.job_number,
            patient: facts.person.name.clone(),
            recipient: facts.recipient.map(|person| person.name.clone()),
            packed_on: date::day(&facts.packed_on),
            title: if facts.lenses_only { "Your lenses" } else { "Your glasses" },
            contents: vec![pair, "This sheet, and a case and cloth if ordered".to_owned()],
            right: facts.eyes.right.clone(),
            left: facts.eyes.left.clone(),
            first_days: packing::FIRST_DAYS,
            cautions,
            care: packing::CARE.to_vec(),
            wear_words: facts.wear_words.clone(),
            check: facts.check.clone(),
            measured: match facts.single {
                None => packing::MEASURED_PAIR,
                Some(_) => packing::MEASURED_LENS,
            },
            them: if facts.lenses_only && facts.single.is_some() { "it" } else { "them" },
        }
    }
}
