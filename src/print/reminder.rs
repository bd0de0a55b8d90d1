//! A reminder of what is owed, as a letter.

use askama::Template;
use time::Date;

use super::contact;
use crate::desk::customer::Person;
use crate::desk::date;
use crate::desk::id::CustomerId;
use crate::desk::lab::Lab;
use crate::desk::reminder::Reminder;

/// The letter.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/reminder.html")]
pub struct ReminderLetter {
    /// To whom, in addresses.
    pub customer: String,
    /// The lab's name.
    pub seller: String,
    /// Its address, telephone and e-mail.
    pub contact: String,
    /// Name and address, line by line.
    pub to: Vec<String>,
    pub written_on: String,
    pub words: Reminder,
}

impl ReminderLetter {
    /// The letter to a person.
    pub fn of(lab: &Lab, customer: CustomerId, person: &Person, words: Reminder, today: Date) -> Self {
        Self {
            customer: customer.to_string(),
            seller: lab.name.clone(),
            contact: contact(&lab.address, &lab.phone, &lab.email),
            to: person.label().lines().map(str::to_owned).collect(),
            written_on: date::day(&today),
            words,
        }
    }
}
