//! The first run: who the lab is. Everything else has a sound default on the lab's own page.

use askama::Template;
use axum::Form as Posted;
use axum::extract::State;

use super::lab::LabForm;
use super::{Chrome, PageResult, draft_of, go, incomplete, show, show_again};
use crate::desk::lab::Lab;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::form::Form;

/// The key under which the first run keeps what is typed. It is done once in the life of a book.
const KEY: &str = "start";

#[derive(Template)]
#[template(path = "start/start.html")]
struct StartPage {
    chrome: Chrome,
    form: Form,
    key: &'static str,
}

impl StartPage {
    fn new(form: Form) -> Self {
        Self { chrome: Chrome::first(), form, key: KEY }
    }
}

pub(crate) async fn ask_name(State(state): State<AppState>) -> PageResult {
    if state.find_lab().is_some() {
        return go("/");
    }
    show(&StartPage::new(draft_of(&state, KEY).await?))
}

pub(crate) async fn name_lab(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    if state.find_lab().is_some() {
        return go("/");
    }
    if form.key() != KEY {
        return Err(incomplete());
    }
    let Some((name, address)) = LabForm::read_name(&mut form) else {
        return show_again(&StartPage::new(form));
    };
    let kept = state.store.insert_lab(&Lab::new(name, address), state.clock.now()).await;
    match form.kept(kept)? {
        Some(()) => {
            state.reload_lab().await?;
            go("/")
        }
        None => show_again(&StartPage::new(form)),
    }
}
