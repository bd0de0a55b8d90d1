//! The shipping slip, 4 × 6 in, for the outside of a parcel: never anything of the prescription.

use askama::Template;
use time::Date;

use super::Head;
use super::barcode::{self, Barcode};
use crate::desk::date;
use crate::desk::lab::Lab;

/// The widest barcode on the slip: 4 in less two margins of 0.2 in.
const MOST_MM: f64 = 91.0;

/// What the slip is made from.
#[derive(Debug, Clone)]
pub struct SlipFacts<'a> {
    /// Who sends.
    pub lab: &'a Lab,
    /// The job.
    pub job_number: i64,
    /// Where it goes: the name first, lines parted by `\n`, as [`crate::desk::customer::Person::label`] gives it.
    pub address: &'a str,
    /// Who carries it.
    pub carrier: &'a str,
    /// Their number; may be empty.
    pub tracking: &'a str,
    /// The day it leaves.
    pub sent_on: Option<Date>,
}

/// The slip.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/slip.html")]
pub struct Slip {
    /// Who sends.
    pub from: String,
    /// Their address, line by line.
    pub from_lines: Vec<String>,
    /// The receiver and their address, line by line.
    pub to: Vec<String>,
    /// The job.
    pub job_number: i64,
    /// Who carries it.
    pub carrier: String,
    /// The carrier's number; may be empty.
    pub tracking: String,
    /// The day it leaves; may be empty.
    pub sent_on: String,
    /// The carrier's number as a barcode, where it fits.
    pub barcode: Option<Barcode>,
    /// The number of the job, to scan when a parcel comes back.
    pub job_barcode: Barcode,
}

impl Slip {
    /// The slip of a parcel.
    pub fn of(facts: &SlipFacts<'_>) -> Self {
        Self {
            from: Head::of(facts.lab).name,
            from_lines: facts.lab.address.lines().filter(|l| !l.is_empty()).map(str::to_owned).collect(),
            to: facts.address.lines().filter(|l| !l.is_empty()).map(str::to_owned).collect(),
            job_number: facts.job_number,
            carrier: facts.carrier.to_owned(),
            tracking: facts.tracking.to_owned(),
            sent_on: facts.sent_on.map(|on| date::day(&on)).unwrap_or_default(),
            barcode: barcode::of_text(facts.tracking, MOST_MM),
            job_barcode: barcode::of_number(facts.job_number),
        }
    }
}
