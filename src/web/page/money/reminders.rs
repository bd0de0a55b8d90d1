//! A reminder to somebody who owes: the text to copy, the letter to print, and that it was sent.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::reminded_words;
use crate::desk::id::CustomerId;
use crate::desk::open_balance::{Debtor, OpenBalance};
use crate::desk::reminder::Reminder;
use crate::print::reminder::ReminderLetter;
use crate::store::draft::Fields;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::page::{Chrome, PageResult, act_of, go, key_of, posted_key, show};
use crate::web::{AppState, words};

/// The most jobs of one letter.
const MOST: i64 = 40;

#[derive(Template)]
#[template(path = "money/reminder.html")]
struct ReminderPage {
    chrome: Chrome,
    part: &'static str,
    id: String,
    name: String,
    email: String,
    phone: String,
    is_owed: bool,
    reminded: String,
    subject: String,
    text: String,
    key: String,
}

/// Who owes, and the words to them.
struct ToRemind {
    id: CustomerId,
    person: crate::desk::customer::Person,
    debtor: Debtor,
    reminder: Reminder,
}

impl ToRemind {
    async fn read(state: &AppState, id: &str) -> Result<Self, WebError> {
        let id: CustomerId = key_of(id, "That customer")?;
        let person = state.store.get_customer(id).await?.person;
        let jobs = state.store.list_owed_by(id, MOST).await?;
        let debtor = Debtor { payer: id, name: person.name.clone(), jobs };
        let reminder = Reminder::to(&person, &debtor, &state.lab(), state.clock.today());
        Ok(Self { id, person, debtor, reminder })
    }

    fn jobs(&self) -> &[OpenBalance] {
        &self.debtor.jobs
    }
}

/// The beginning of the key of a person's form.
fn key_kind(id: CustomerId) -> String {
    format!("reminder-{id}-")
}

pub(crate) async fn show_reminder(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let asked = ToRemind::read(&state, &id).await?;
    show(&ReminderPage {
        chrome: Chrome::new(&state, "money"),
        part: "owed",
        id: asked.id.to_string(),
        name: asked.person.name.clone(),
        email: asked.person.email.clone(),
        phone: asked.person.phone.clone(),
        is_owed: !asked.jobs().is_empty(),
        reminded: reminded_words(&state, &asked.debtor),
        subject: asked.reminder.subject.clone(),
        text: asked.reminder.text(),
        // One reminder a day is one form.
        key: format!("{}{}", key_kind(asked.id), words::iso(&state.clock.today())),
    })
}

pub(crate) async fn print_reminder(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let asked = ToRemind::read(&state, &id).await?;
    if asked.jobs().is_empty() {
        return Err(WebError::OutOfTurn(format!(
            "{} owes nothing, so there is nothing to remind them \
            of.",
            asked.person.name
        )));
    }
    show(&ReminderLetter::of(&state.lab(), asked.id, &asked.person, asked.reminder, state.clock.today()))
}

/// Records that the reminder went out.
pub(crate) async fn keep_reminder(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let form = Form::new(fields);
    let id: CustomerId = key_of(&id, "That customer")?;
    let key = posted_key(&form, &key_kind(id))?;
    let owed = state.store.list_owed_by(id, MOST).await?;
    state.store.append_reminder(&act_of(&key, &form), &owed, state.clock.now()).await?;
    go("/money")
}
