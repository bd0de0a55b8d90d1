//! The pass phrase, the screens that gave it, and the page that asks for it.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Form as Posted};
use serde::Deserialize;
use uuid::Uuid;

use super::{Chrome, PageResult, go, posted_key, show, show_again};
use crate::desk::pass_phrase::{read_idle_minutes, read_name, read_new};
use crate::store::draft::Fields;
use crate::store::screen::ScreenLock;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::screens::{SignedIn, Try, Unsent, Visitor, hash_phrase, normal, set_cookie};
use crate::web::{AppState, words};

/// The key of the forms here: each says the whole of what it sets, so that a second click changes nothing.
const KEY: &str = "screens";
const PAGE: &str = "/lab/screens";

#[derive(Template)]
#[template(path = "lab/screens.html")]
struct ScreensPage {
    chrome: Chrome,
    key: &'static str,
    form: Form,
    is_locked: bool,
    screens: Vec<ScreenRow>,
}

struct ScreenRow {
    id: String,
    name: String,
    from: String,
    begun: String,
    seen: String,
    is_this: bool,
}

/// The fields of the page.
struct ScreenForm;

impl ScreenForm {
    const PRESENT: &str = "present";
    const NEW: &str = "new_phrase";
    const AGAIN: &str = "again";
    const IDLE: &str = "idle_minutes";
    const NAME: &str = "screen";
}

fn page(state: &AppState, mut form: Form, this: Option<&SignedIn>) -> ScreensPage {
    form.set_default(ScreenForm::IDLE, state.screens.lock().idle_minutes.to_string());
    form.set_default(ScreenForm::NAME, this.map_or("Counter", |this| this.0.name.as_str()));
    let time = |at| words::moment(&state.clock.local(at));
    ScreensPage {
        chrome: Chrome::new(state, "lab"),
        key: KEY,
        is_locked: state.screens.is_locked(),
        screens: state
            .screens
            .list(state.clock.now())
            .into_iter()
            .map(|session| ScreenRow {
                is_this: this.is_some_and(|this| this.0.id == session.id),
                id: session.id.to_string(),
                name: session.name,
                from: session.from,
                begun: time(session.begun_at),
                seen: time(session.seen_at),
            })
            .collect(),
        form,
    }
}

pub(crate) async fn show_screens(State(state): State<AppState>, this: Option<Extension<SignedIn>>) -> PageResult {
    show(&page(&state, Form::default(), this.as_deref()))
}

/// The form without what nobody is to see again.
fn without_phrases(mut form: Form) -> Form {
    for field in [ScreenForm::PRESENT, ScreenForm::NEW, ScreenForm::AGAIN] {
        form.set(field, "");
    }
    form
}

/// Whoever changes the pass phrase has to know the present one: a screen left open for a minute is not enough.
async fn must_know(state: &AppState, form: &mut Form, visitor: &Visitor) -> Result<(), WebError> {
    if state.screens.is_locked() {
        let typed = form.value(ScreenForm::PRESENT).to_owned();
        match state.screens.compare(&typed, visitor, state.clock.now()).await? {
            None => {}
            Some(Try::Wait(wait)) => form.fail(ScreenForm::PRESENT, wait_words(wait)),
            Some(_) => form.fail(ScreenForm::PRESENT, "That is not the current pass phrase"),
        }
    }
    Ok(())
}

fn wait_words(wait: time::Duration) -> String {
    let seconds = wait.whole_seconds().max(1);
    format!("Too many wrong tries: wait {seconds} second{} and try again", if seconds == 1 { "" } else { "s" })
}

pub(crate) async fn change_pass_phrase(
    State(state): State<AppState>,
    visitor: Visitor,
    this: Option<Extension<SignedIn>>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    posted_key(&form, KEY)?;
    must_know(&state, &mut form, &visitor).await?;
    let phrase = form.read(ScreenForm::NEW, |typed| read_new(&normal(typed)));
    let name = form.read(ScreenForm::NAME, read_name);
    if normal(form.value(ScreenForm::NEW)) != normal(form.value(ScreenForm::AGAIN)) {
        form.fail(ScreenForm::AGAIN, "This differs from the new pass phrase: type the same one twice");
    }
    let (Some(phrase), Some(name), true) = (phrase, name, form.is_fine()) else {
        return show_again(&page(&state, without_phrases(form), this.as_deref()));
    };
    let lock = ScreenLock { hash: Some(hash_phrase(phrase).await?), ..state.screens.lock() };
    state.store.set_screen_lock(&lock).await?;
    state.screens.change(lock);
    // Every session is ended; whoever changed the pass phrase gets a new one.
    let mark = state.screens.begin(name, &visitor, state.clock.now());
    with_cookie(go(PAGE)?, &visitor, &mark)
}

pub(crate) async fn remove_pass_phrase(
    State(state): State<AppState>,
    visitor: Visitor,
    this: Option<Extension<SignedIn>>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    posted_key(&form, KEY)?;
    must_know(&state, &mut form, &visitor).await?;
    if visitor.outside.is_some() {
        form.fail(ScreenForm::PRESENT, "The pass phrase can be removed only at the computer that has the book");
    }
    if !form.is_fine() {
        return show_again(&page(&state, without_phrases(form), this.as_deref()));
    }
    let lock = ScreenLock { hash: None, ..state.screens.lock() };
    state.store.set_screen_lock(&lock).await?;
    state.screens.change(lock);
    with_cookie(go(PAGE)?, &visitor, "")
}

pub(crate) async fn change_idle_time(
    State(state): State<AppState>,
    this: Option<Extension<SignedIn>>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    posted_key(&form, KEY)?;
    let Some(idle_minutes) = form.read(ScreenForm::IDLE, read_idle_minutes) else {
        return show_again(&page(&state, form, this.as_deref()));
    };
    let lock = ScreenLock { idle_minutes, ..state.screens.lock() };
    state.store.set_screen_lock(&lock).await?;
    state.screens.change(lock);
    go(PAGE)
}

pub(crate) async fn end_session(
    State(state): State<AppState>,
    Path(id): Path<Uuid>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    posted_key(&Form::new(fields), KEY)?;
    state.screens.end(id);
    go(PAGE)
}

fn with_cookie(mut answer: Response, visitor: &Visitor, mark: &str) -> PageResult {
    answer.headers_mut().insert(header::SET_COOKIE, set_cookie(visitor, mark));
    Ok(answer)
}

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignInPage {
    chrome: Chrome,
    key: &'static str,
    form: Form,
    to: String,
    /// A form that came after the session had ended, as JSON.
    unsent: String,
}

/// What was typed before the pass phrase was asked for, to be sent now.
#[derive(Template)]
#[template(path = "unsent.html")]
struct UnsentPage {
    chrome: Chrome,
    unsent: Unsent,
    typed: Vec<String>,
}

/// Where the screen wanted to go, in hexadecimal: an address with marks of its own stands in an address.
#[derive(Deserialize)]
pub(crate) struct WantedPage {
    #[serde(default)]
    to: String,
}

/// A page of ours, and never another site: those begin with two strokes, or one of either kind.
fn own_path(hex: &str) -> String {
    let path = const_hex::decode(hex).ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default();
    let is_ours = path.starts_with('/')
        && !path.starts_with("//")
        && !path.contains(['\\', '\r', '\n', '\t'])
        && path.is_ascii()
        && path.len() <= 2000;
    if is_ours { path } else { "/".to_owned() }
}

fn sign_in_page(form: Form, to: String) -> SignInPage {
    let unsent = form.value(UNSENT).to_owned();
    SignInPage { chrome: Chrome::bare(), key: KEY, form, to, unsent }
}

/// The field with a form that could not be taken yet.
const UNSENT: &str = "unsent";

/// Asks for the pass phrase with a form, as JSON, that is to be sent afterward.
pub(in crate::web) fn ask_again(unsent: String) -> PageResult {
    let mut form = Form::default();
    form.set(ScreenForm::NAME, "Counter");
    form.set(UNSENT, unsent);
    let mut answer = show(&sign_in_page(form, String::new()))?;
    *answer.status_mut() = StatusCode::UNAUTHORIZED;
    Ok(answer)
}

/// Shows what was typed before, with a button that sends it; else leads to the page that was asked for.
fn go_on(form: &Form, to: &str) -> PageResult {
    let unsent = serde_json::from_str::<Unsent>(form.value(UNSENT)).ok();
    match unsent.filter(|unsent| own_path(&const_hex::encode(&unsent.path)) == unsent.path) {
        Some(unsent) => {
            let is_typed =
                |(name, value): &&(String, String)| name != "key" && name != "was" && !value.trim().is_empty();
            let typed = unsent.fields.iter().filter(is_typed).map(|(_, value)| value.clone()).collect();
            show(&UnsentPage { chrome: Chrome::bare(), unsent, typed })
        }
        None => go(&own_path(to)),
    }
}

pub(crate) async fn ask_sign_in(
    State(state): State<AppState>,
    Query(wanted): Query<WantedPage>,
    visitor: Visitor,
) -> PageResult {
    if !state.screens.is_locked() {
        return go("/");
    }
    let mut form = Form::default();
    form.set(ScreenForm::NAME, if visitor.outside.is_some() { "Second screen" } else { "Counter" });
    show(&sign_in_page(form, wanted.to))
}

pub(crate) async fn sign_in(
    State(state): State<AppState>,
    visitor: Visitor,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    posted_key(&form, KEY)?;
    let to = form.value("to").to_owned();
    let typed = form.value(ScreenForm::PRESENT).to_owned();
    form.set(ScreenForm::PRESENT, "");
    let Some(name) = form.read(ScreenForm::NAME, read_name) else {
        return show_again(&sign_in_page(form, to));
    };
    if !state.screens.is_locked() {
        return go("/");
    }
    match state.screens.sign_in(&typed, name, &visitor, state.clock.now()).await? {
        Try::In(mark) => with_cookie(go_on(&form, &to)?, &visitor, &mark),
        Try::Wrong => {
            form.fail(ScreenForm::PRESENT, "That is not the pass phrase");
            show_again(&sign_in_page(form, to))
        }
        Try::Wait(wait) => {
            form.fail(ScreenForm::PRESENT, wait_words(wait));
            let mut answer = show_again(&sign_in_page(form, to))?;
            *answer.status_mut() = StatusCode::TOO_MANY_REQUESTS;
            let seconds = wait.whole_seconds().max(1).into();
            answer.headers_mut().extend(HeaderMap::from_iter([(header::RETRY_AFTER, seconds)]));
            Ok(answer.into_response())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::own_path;

    #[test]
    fn only_a_page_of_ours_comes_after_signing_in() {
        for (to, want) in [
            ("/jobs/1001?a=b", "/jobs/1001?a=b"),
            ("//evil.example", "/"),
            ("/\\evil.example", "/"),
            ("https://evil.example", "/"),
            ("/a\r\nSet-Cookie: a=b", "/"),
            ("", "/"),
        ] {
            assert_eq!(own_path(&const_hex::encode(to)), want, "{to}");
        }
        assert_eq!(own_path("no hexadecimal"), "/");
    }
}
