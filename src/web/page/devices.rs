//! Tracers, blockers and edgers on the wire: what is listened to, what was said, the last hour as it was.

use askama::Template;
use axum::extract::State;

use super::{Chrome, PageResult, show};
use crate::web::devices::LineOpen;
use crate::web::{AppState, words};

/// The most pieces shown at once.
const MOST_RAW_SHOWN: usize = 300;

#[derive(Template)]
#[template(path = "lab/devices.html")]
struct DevicesPage {
    chrome: Chrome,
    lines: Vec<LineOpen>,
    said: Vec<SaidRow>,
    raw: Vec<RawRow>,
}

struct SaidRow {
    at: String,
    device: String,
    words: String,
    job: Option<i64>,
    is_trouble: bool,
    times: usize,
}

struct RawRow {
    at: String,
    who: String,
    text: String,
}

pub(crate) async fn show_devices(State(state): State<AppState>) -> PageResult {
    let at = |moment| words::moment(&state.clock.local(moment));
    let said = state.devices.said().into_iter().map(|said| SaidRow {
        at: at(said.at),
        device: said.device,
        words: said.words,
        job: said.job,
        is_trouble: said.is_trouble,
        times: said.times,
    });
    let raw = state.devices.raw(state.clock.now()).into_iter().take(MOST_RAW_SHOWN).map(|raw| RawRow {
        at: at(raw.at),
        who: if raw.is_ours { format!("Rimbook to {}", raw.device) } else { raw.device.clone() },
        text: raw.shown(),
    });
    show(&DevicesPage {
        chrome: Chrome::new(&state, "lab"),
        lines: state.devices.lines(),
        said: said.collect(),
        raw: raw.collect(),
    })
}
