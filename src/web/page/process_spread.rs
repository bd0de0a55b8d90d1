//! The lab's process spread: how exactly it works, for the chance that a pair will pass.

use askama::Template;
use axum::Form as Posted;
use axum::extract::State;

use super::{CHANGED_ELSEWHERE, Chrome, PageResult, draft_or, go, posted_key, show, show_again};
use crate::bench::process_spread::{FIGURES, Figure, ProcessSpread};
use crate::desk::limit::read_tilt;
use crate::optics::notation::short;
use crate::optics::unit::{Tilt, UnitError, parse_hundredths};
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::two_windows::{PostedCorrection, correct};

#[derive(Template)]
#[template(path = "process_spread/show.html")]
struct ProcessSpreadPage {
    chrome: Chrome,
    form: Form,
    key: String,
    figures: [Figure; 12],
    nudge_hint: String,
}

impl ProcessSpreadPage {
    fn new(state: &AppState, form: Form, key: String) -> Self {
        Self {
            chrome: Chrome::new(state, "lab"),
            form,
            key,
            figures: FIGURES,
            nudge_hint: format!("The blocker’s step is {} mm, as the lab’s page says", state.lab().blocker_step),
        }
    }
}

async fn key(state: &AppState) -> Result<String, WebError> {
    Ok(format!("process-spread-{}", state.store.count_process_spread_changes().await?))
}

pub(crate) async fn show_process_spread(State(state): State<AppState>) -> PageResult {
    let key = key(&state).await?;
    let spread = state.store.get_process_spread().await?;
    let form = draft_or(&state, &key, || ProcessSpreadForm::fill(&spread)).await?;
    show(&ProcessSpreadPage::new(&state, form, key))
}

pub(crate) async fn change_process_spread(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let (posted_key, key) = (posted_key(&form, "process-spread-")?, key(&state).await?);
    let standing = state.store.get_process_spread().await?;
    let kept = ProcessSpreadForm::fill(&standing);
    let spread = match correct(&mut form, &standing, &kept, posted_key != key, ProcessSpreadForm::read) {
        PostedCorrection::Nothing => return go("/lab/process-spread"),
        PostedCorrection::Refused => return show_again(&ProcessSpreadPage::new(&state, form, key)),
        PostedCorrection::Changed(spread) => spread,
    };
    let kept = state.store.change_process_spread(&key, &spread, state.clock.now()).await;
    match form.kept(kept)? {
        None => show_again(&ProcessSpreadPage::new(&state, form, key)),
        Some(Once::Now(())) => go("/lab/process-spread"),
        Some(Once::Before(_)) => {
            form.fail(FIGURES[0].key, CHANGED_ELSEWHERE);
            show_again(&ProcessSpreadPage::new(&state, form, key))
        }
    }
}

/// The fields of the form: one for each figure, by its key, and these.
pub(in crate::web) struct ProcessSpreadForm;

impl ProcessSpreadForm {
    const NUDGES: &str = "nudges";
    pub(in crate::web) const OFFER_WRAP: &str = "offer_wrap";

    fn fill(spread: &ProcessSpread) -> Form {
        let mut form = Form::default();
        for (figure, hundredths) in FIGURES.iter().zip(spread.figures) {
            form.set(figure.key, short(f64::from(hundredths) / 100.0));
        }
        form.set(Self::NUDGES, if spread.nudges { "yes" } else { "" });
        form.set(Self::OFFER_WRAP, short(spread.offer_wrap.to_f64()));
        form
    }

    fn read(form: &mut Form) -> Option<ProcessSpread> {
        let figures = FIGURES.map(|figure| form.read(figure.key, |text| read_figure(&figure, text)));
        let offer_wrap = form.read(Self::OFFER_WRAP, |text| match read_tilt(text) {
            Ok(wrap) if wrap >= Tilt::ZERO => Ok(wrap),
            Ok(_) => Err("A wrap to offer from is between 0 and 40°".to_owned()),
            Err(why) => Err(why.to_string()),
        });
        let mut hundredths = [0; FIGURES.len()];
        for (slot, figure) in hundredths.iter_mut().zip(figures) {
            *slot = figure?;
        }
        let nudges = form.is_checked(Self::NUDGES, "yes");
        Some(ProcessSpread { figures: hundredths, nudges, offer_wrap: offer_wrap? })
    }
}

fn read_figure(figure: &Figure, text: &str) -> Result<i32, String> {
    let most = short(f64::from(figure.most) / 100.0);
    match parse_hundredths(text) {
        Ok(hundredths) if (0..=figure.most).contains(&hundredths) => Ok(hundredths),
        Ok(_) | Err(UnitError::TooLarge(_)) => {
            Err(format!("“{text}” {} is not possible: between 0 and {most} was expected", figure.unit))
        }
        Err(why) => Err(format!("{why}: between 0 and {most} {} was expected", figure.unit)),
    }
}
