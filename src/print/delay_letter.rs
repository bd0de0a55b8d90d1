//! A delay notice as a letter: its text as it was sent, and a slip to answer on.

use askama::Template;
use time::Date;

use super::Head;
use crate::desk::date;
use crate::desk::lab::Lab;

/// The letter.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/delay_letter.html")]
pub struct DelayLetter {
    /// The lab.
    pub head: Head,
    /// The lab's address, line by line.
    pub lab_lines: Vec<String>,
    /// The job.
    pub job_number: i64,
    /// The buyer's name and address, line by line.
    pub address: Vec<String>,
    /// When it was sent.
    pub sent_on: String,
    /// The text, a paragraph each.
    pub paragraphs: Vec<String>,
    /// The same, to copy.
    pub text: String,
}

impl DelayLetter {
    /// The letter of a notice; address and text are lines.
    pub fn of(lab: &Lab, job_number: i64, address: &str, body: &str, sent_on: Date) -> Self {
        let lines = |text: &str| text.lines().filter(|line| !line.is_empty()).map(str::to_owned).collect();
        Self {
            head: Head::of(lab),
            lab_lines: [lab.name.as_str()].into_iter().chain(lab.address.lines()).map(str::to_owned).collect(),
            job_number,
            address: lines(address),
            sent_on: date::day(&sent_on),
            paragraphs: lines(body),
            text: body.replace('\n', "\n\n"),
        }
    }
}
