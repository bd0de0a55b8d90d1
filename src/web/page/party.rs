//! A person besides the patient: who pays for a job, or who gets its parcel. Chosen from the book or typed anew, in a
//! folded part of a form.

use super::customers::CustomerForm;
use crate::desk::customer::{Customer, name_key};
use crate::desk::id::CustomerId;
use crate::desk::job::Job;
use crate::desk::order::{CustomerChoice, People, Recipient};
use crate::store::{Store, StoreError};
use crate::web::error::WebError;
use crate::web::form::Form;

/// What stands in the field of the key when the owner said that a namesake is somebody else.
pub(super) const NEW: &str = "new";
/// The most namesakes that are offered.
const MOST_NAMESAKES: i64 = 20;
/// The box that sends the parcel to whoever pays.
pub(super) const TO_PAYER: &str = "recipient_is_payer";

/// Which person.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Party {
    Payer,
    Recipient,
}

impl Party {
    /// The beginning of the names of its fields, as suggestions name it.
    pub(super) fn key(self) -> &'static str {
        match self {
            Party::Payer => "payer",
            Party::Recipient => "recipient",
        }
    }

    pub(super) fn from_key(key: &str) -> Option<Self> {
        [Party::Payer, Party::Recipient].into_iter().find(|party| party.key() == key)
    }

    pub(super) fn id_field(self) -> &'static str {
        match self {
            Party::Payer => "payer_id",
            Party::Recipient => "recipient_id",
        }
    }

    pub(super) fn name_field(self) -> &'static str {
        match self {
            Party::Payer => "payer_name",
            Party::Recipient => "recipient_name",
        }
    }

    /// Puts somebody from the book in the form.
    pub(super) fn fill(self, form: &mut Form, person: &Customer) {
        form.set(self.id_field(), person.id.to_string());
        form.set(self.name_field(), person.person.name.clone());
    }
}

/// Who is meant by what stands in the fields of a party.
pub(super) struct PartyFacts {
    party: Party,
    /// The one who was chosen.
    chosen: Option<Customer>,
    /// Customers of the typed name, when none was chosen.
    namesakes: Vec<Customer>,
}

impl PartyFacts {
    /// Reads whom the form names. A key that is not in the book is taken out of the form.
    pub(super) async fn load(store: &Store, form: &mut Form, party: Party) -> Result<Self, WebError> {
        let chosen = match form.value(party.id_field()).parse::<CustomerId>() {
            Ok(id) => match store.get_customer(id).await {
                Ok(customer) => Some(customer),
                Err(StoreError::NotFound(_)) => None,
                Err(other) => return Err(other.into()),
            },
            Err(_) => None,
        };
        if chosen.is_none() && form.value(party.id_field()) != NEW {
            form.set(party.id_field(), "");
        }
        let name = form.value(party.name_field()).trim();
        let namesakes = match (&chosen, name) {
            (None, name) if !name.is_empty() => store.list_namesakes(name, MOST_NAMESAKES).await?,
            _ => Vec::new(),
        };
        Ok(Self { party, chosen, namesakes })
    }

    /// The person, `Some(None)` where the name is empty.
    fn read(&self, form: &mut Form) -> Option<Option<CustomerChoice>> {
        let (name, prefix) = (self.party.name_field(), format!("{}_", self.party.key()));
        if form.value(name).trim().is_empty() {
            if CustomerForm::has_details(form, &prefix) {
                form.fail(name, "Whose address is this? Enter the name, or clear the address");
                return None;
            }
            return Some(None);
        }
        if let Some(customer) = &self.chosen {
            return Some(Some(CustomerChoice::Known(customer.id)));
        }
        if !self.namesakes.is_empty() && form.value(self.party.id_field()) != NEW {
            form.fail(name, "This name is already in the book: choose below who it is");
            return None;
        }
        Some(Some(CustomerChoice::New(CustomerForm::read_person(form, name, &prefix)?)))
    }
}

/// Both people besides the patient.
pub(super) struct PeopleFacts {
    payer: PartyFacts,
    recipient: PartyFacts,
}

impl PeopleFacts {
    pub(super) async fn load(store: &Store, form: &mut Form) -> Result<Self, WebError> {
        Ok(Self {
            payer: PartyFacts::load(store, form, Party::Payer).await?,
            recipient: PartyFacts::load(store, form, Party::Recipient).await?,
        })
    }

    /// Who pays and who gets the parcel. `patient_name` is the name typed for a patient who is new with this form.
    pub(super) fn read(&self, form: &mut Form, patient_name: Option<&str>) -> Option<People> {
        let (payer, recipient) = (self.payer.read(form), self.recipient.read(form));
        if let (Some(Some(CustomerChoice::New(person))), Some(patient)) = (&payer, patient_name)
            && name_key(&person.name) == name_key(patient)
        {
            form.fail(Party::Payer.name_field(), "This is the patient: leave it empty");
        }
        let to_payer = form.is_checked(TO_PAYER, "yes");
        if to_payer && recipient.as_ref().is_some_and(Option::is_some) {
            form.fail(Party::Recipient.name_field(), "Untick the box above, or leave this name empty");
        }
        Some(People {
            payer: payer?,
            recipient: match recipient? {
                Some(other) => Recipient::Other(Box::new(other)),
                None if to_payer => Recipient::Payer,
                None => Recipient::Patient,
            },
        })
    }

    /// Both parts for the page.
    pub(super) fn parts(&self, form: &Form) -> [PartyPart; 2] {
        [PartyPart::of(&self.payer, form), PartyPart::of(&self.recipient, form)]
    }
}

/// Puts the people of a job in a form, where they are not the patient.
pub(super) fn fill_people(form: &mut Form, job: &Job) {
    if let Some(payer) = job.other_payer() {
        Party::Payer.fill(form, payer);
    }
    match job.other_recipient() {
        Some(recipient) if recipient.id == job.payer.id => form.set(TO_PAYER, "yes"),
        Some(recipient) => Party::Recipient.fill(form, recipient),
        None => {}
    }
}

/// The folded part of a page.
pub(super) struct PartyPart {
    /// The beginning of its fields' names.
    pub(super) key: &'static str,
    pub(super) is_recipient: bool,
    pub(super) title: &'static str,
    pub(super) id_field: &'static str,
    pub(super) name_field: &'static str,
    /// The one who was chosen: the address as it prints.
    pub(super) chosen: Option<String>,
    /// Key and address of each namesake.
    pub(super) namesakes: Vec<(String, String)>,
    pub(super) is_open: bool,
}

impl PartyPart {
    fn of(facts: &PartyFacts, form: &Form) -> Self {
        let party = facts.party;
        let is_recipient = party == Party::Recipient;
        let to_payer = is_recipient && form.is_checked(TO_PAYER, "yes");
        let has_details = CustomerForm::has_details(form, &format!("{}_", party.key()));
        Self {
            key: party.key(),
            is_recipient,
            title: if is_recipient { "Send to someone else" } else { "Someone else pays" },
            id_field: party.id_field(),
            name_field: party.name_field(),
            chosen: facts.chosen.as_ref().map(|customer| customer.person.label()),
            namesakes: facts
                .namesakes
                .iter()
                .map(|customer| (customer.id.to_string(), customer.person.label().replace('\n', ", ")))
                .collect(),
            is_open: to_payer || has_details || !form.value(party.name_field()).is_empty(),
        }
    }

    /// The name of one of its fields.
    pub(super) fn field(&self, end: &str) -> String {
        format!("{}_{end}", self.key)
    }
}
