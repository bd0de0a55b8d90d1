//! Customers: found by name, town, telephone or e-mail; shown with their jobs; corrected.

use std::collections::BTreeMap;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use axum::response::Html;

use super::orders::OrderForm;
use super::party::Party;
use super::{
    CHANGED_ELSEWHERE, Chrome, JobListRow, PageResult, draft_or, fill_json, go, key_of, posted_key, show, show_again,
};
use crate::desk::customer::{
    Customer, Person, check_city, check_email, check_line, check_name, check_phone, check_postcode, check_region,
};
use crate::desk::text;
use crate::store::draft::Fields;
use crate::store::erasure::Erasure;
use crate::store::once::Once;
use crate::web::asked::{FoundQuery, PostedSearch};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::two_windows::{PostedCorrection, correct};
use crate::web::{AppState, words};

/// The most lines of one list, and of one list of suggestions.
const MOST: i64 = 200;
const MOST_SUGGESTED: i64 = 8;

struct CustomerListRow {
    path: String,
    name: String,
    town: String,
    phone: String,
    email: String,
}

#[derive(Template)]
#[template(path = "customers/list.html")]
struct CustomerListPage {
    chrome: Chrome,
    q: String,
    rows: Vec<CustomerListRow>,
    is_cut_off: bool,
}

pub(crate) async fn search_customers(
    State(state): State<AppState>,
    Posted(search): Posted<PostedSearch>,
) -> PageResult {
    go(&state.asked.address("/customers", &search))
}

pub(crate) async fn list_customers(State(state): State<AppState>, Query(asked): Query<FoundQuery>) -> PageResult {
    let q = state.asked.narrows(&asked);
    let found = state.store.list_customers(&q, MOST).await?;
    show(&CustomerListPage {
        chrome: Chrome::new(&state, "customers"),
        q,
        is_cut_off: i64::try_from(found.len()).is_ok_and(|n| n == MOST),
        rows: found.into_iter().map(row).collect(),
    })
}

fn row(customer: Customer) -> CustomerListRow {
    let person = customer.person;
    CustomerListRow {
        path: format!("/customers/{}", customer.id),
        town: filled(&[&person.city, &person.region], " "),
        name: person.name,
        phone: person.phone,
        email: person.email,
    }
}

fn filled(parts: &[&str], between: &str) -> String {
    parts.iter().filter(|p| !p.is_empty()).copied().collect::<Vec<_>>().join(between)
}

#[derive(Template)]
#[template(path = "customers/customer.html")]
struct CustomerPage {
    chrome: Chrome,
    name: String,
    address: Vec<String>,
    phone: String,
    email: String,
    note: String,
    details: String,
    order: String,
    jobs: Vec<JobListRow>,
    paid_jobs: Vec<JobListRow>,
    data: String,
    erasure: String,
    erased: Vec<String>,
}

/// What is said of an erasure that was done.
fn erased_words(state: &AppState, one: Erasure) -> String {
    let on = words::day(&state.clock.local(one.at).date());
    let rest = match one.kept_until {
        Some(until) => {
            format!(" The name, the address and the records of newer jobs have to stay until {}.", words::day(&until))
        }
        None => String::new(),
    };
    format!("Erased at their request on {on} ({}).{rest}", one.reason)
}

pub(crate) async fn show_customer(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let customer = state.store.get_customer(key_of(&id, "That customer")?).await?;
    let jobs = state.store.list_jobs_of_customer(customer.id, MOST).await?;
    let erased = state.store.list_erasures(customer.id).await?;
    let paid_jobs = state.store.list_jobs_paid_by(customer.id, MOST).await?;
    let person = customer.person;
    show(&CustomerPage {
        chrome: Chrome::new(&state, "customers"),
        address: person.label().lines().skip(1).map(str::to_owned).collect(),
        name: person.name,
        phone: person.phone,
        email: person.email,
        note: person.note,
        details: format!("/customers/{}/details", customer.id),
        order: format!("/orders/new?customer={}", customer.id),
        jobs: jobs.into_iter().map(JobListRow::new).collect(),
        data: format!("/customers/{}/data", customer.id),
        erasure: format!("/customers/{}/erasure", customer.id),
        erased: erased.into_iter().map(|one| erased_words(&state, one)).collect(),
        paid_jobs: paid_jobs.into_iter().map(JobListRow::new).collect(),
    })
}

#[derive(Template)]
#[template(path = "customers/details.html")]
struct CustomerDetailsPage {
    chrome: Chrome,
    form: Form,
    key: String,
    name: String,
    back: String,
}

impl CustomerDetailsPage {
    fn new(state: &AppState, form: Form, key: String, customer: &Customer) -> Self {
        let chrome = Chrome::new(state, "customers");
        Self { chrome, form, key, name: customer.person.name.clone(), back: format!("/customers/{}", customer.id) }
    }
}

async fn key(state: &AppState, customer: &Customer) -> Result<String, WebError> {
    Ok(format!("customer-{}-{}", customer.id.0.simple(), state.store.count_customer_changes(customer.id).await?))
}

pub(crate) async fn edit_customer(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let customer = state.store.get_customer(key_of(&id, "That customer")?).await?;
    let key = key(&state, &customer).await?;
    let form = draft_or(&state, &key, || CustomerForm::fill(&customer.person)).await?;
    show(&CustomerDetailsPage::new(&state, form, key, &customer))
}

pub(crate) async fn change_customer(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let customer = state.store.get_customer(key_of(&id, "That customer")?).await?;
    let (posted_key, key) = (posted_key(&form, "customer-")?, key(&state, &customer).await?);
    let shown = format!("/customers/{}", customer.id);
    let kept = CustomerForm::fill(&customer.person);
    let person = match correct(&mut form, &customer.person, &kept, posted_key != key, CustomerForm::read) {
        PostedCorrection::Nothing => return go(&shown),
        PostedCorrection::Refused => return show_again(&CustomerDetailsPage::new(&state, form, key, &customer)),
        PostedCorrection::Changed(person) => person,
    };
    let kept = state.store.change_customer(&key, customer.id, &person, state.clock.now()).await;
    match form.kept(kept)? {
        None => show_again(&CustomerDetailsPage::new(&state, form, key, &customer)),
        Some(Once::Now(())) => go(&shown),
        Some(Once::Before(_)) => {
            form.fail(CustomerForm::NAME, CHANGED_ELSEWHERE);
            show_again(&CustomerDetailsPage::new(&state, form, key, &customer))
        }
    }
}

/// The fields of a person. The order page asks for the same, but for the note and with another name of the name.
pub(in crate::web) struct CustomerForm;

impl CustomerForm {
    pub(in crate::web) const NAME: &str = "name";
    pub(in crate::web) const LINE1: &str = "line1";
    const LINE2: &str = "line2";
    pub(in crate::web) const CITY: &str = "city";
    const REGION: &str = "region";
    pub(in crate::web) const POSTCODE: &str = "postcode";
    const PHONE: &str = "phone";
    const EMAIL: &str = "email";
    const NOTE: &str = "note";

    fn fill(person: &Person) -> Form {
        Form::of([
            (Self::NAME, person.name.clone()),
            (Self::LINE1, person.line1.clone()),
            (Self::LINE2, person.line2.clone()),
            (Self::CITY, person.city.clone()),
            (Self::REGION, person.region.clone()),
            (Self::POSTCODE, person.postcode.clone()),
            (Self::PHONE, person.phone.clone()),
            (Self::EMAIL, person.email.clone()),
            (Self::NOTE, person.note.clone()),
        ])
    }

    fn read(form: &mut Form) -> Option<Person> {
        let note = form.read(Self::NOTE, |t| text::lines("A note", t, 1000));
        Some(Person { note: note?, ..Self::read_person(form, Self::NAME, "")? })
    }

    /// Whether one of the fields of a person besides the name is filled.
    pub(super) fn has_details(form: &Form, prefix: &str) -> bool {
        let fields = [Self::LINE1, Self::LINE2, Self::CITY, Self::REGION, Self::POSTCODE, Self::PHONE, Self::EMAIL];
        fields.iter().any(|field| !form.value(&format!("{prefix}{field}")).trim().is_empty())
    }

    /// Reads a person without the note, whose name stands in the field `name`. The other fields begin with `prefix`.
    pub(super) fn read_person(form: &mut Form, name: &str, prefix: &str) -> Option<Person> {
        let of = |field: &str| format!("{prefix}{field}");
        let name = form.read(name, check_name);
        let line1 = form.read(&of(Self::LINE1), check_line);
        let line2 = form.read(&of(Self::LINE2), check_line);
        let city = form.read(&of(Self::CITY), check_city);
        let region = form.read(&of(Self::REGION), check_region);
        let postcode = form.read(&of(Self::POSTCODE), check_postcode);
        let phone = form.read(&of(Self::PHONE), check_phone);
        let email = form.read(&of(Self::EMAIL), check_email);
        Some(Person {
            name: name?,
            line1: line1?,
            line2: line2?,
            city: city?,
            region: region?,
            postcode: postcode?,
            phone: phone?,
            email: email?,
            note: String::new(),
        })
    }
}

struct CustomerSuggestion {
    fill: String,
    name: String,
    detail: String,
}

#[derive(Template)]
#[template(path = "customers/_suggestions.html")]
struct CustomerSuggestions {
    suggestions: Vec<CustomerSuggestion>,
}

/// Suggestions for the patient of an order.
pub(crate) async fn suggest_customers(
    State(state): State<AppState>,
    Posted(search): Posted<PostedSearch>,
) -> Result<Html<String>, WebError> {
    suggestions(&state, &search.q, OrderForm::CUSTOMER_ID, OrderForm::CUSTOMER_NAME).await
}

/// Suggestions for who pays, or who gets the parcel.
pub(crate) async fn suggest_party(
    State(state): State<AppState>,
    Path(party): Path<String>,
    Posted(search): Posted<PostedSearch>,
) -> Result<Html<String>, WebError> {
    let party = Party::from_key(&party).ok_or_else(|| WebError::NotFound("This address".to_owned()))?;
    suggestions(&state, &search.q, party.id_field(), party.name_field()).await
}

/// The customers that a text could mean. A chosen one goes into these two fields.
async fn suggestions(state: &AppState, text: &str, id_field: &str, name_field: &str) -> Result<Html<String>, WebError> {
    let found = match text.trim() {
        "" => Vec::new(),
        text => state.store.list_customers(text, MOST_SUGGESTED).await?,
    };
    let suggest = |customer| suggest(customer, id_field, name_field);
    let suggestions = found.into_iter().map(suggest).collect::<Result<_, _>>()?;
    Ok(Html(CustomerSuggestions { suggestions }.render()?))
}

/// Town and telephone tell two people of one name apart.
fn suggest(customer: Customer, id_field: &str, name_field: &str) -> Result<CustomerSuggestion, WebError> {
    let person = customer.person;
    let fill = fill_json(&BTreeMap::from([(id_field, &customer.id.to_string()), (name_field, &person.name)]))?;
    Ok(CustomerSuggestion {
        fill,
        detail: filled(&[&person.line1, &person.city, &person.phone], " · "),
        name: person.name,
    })
}
