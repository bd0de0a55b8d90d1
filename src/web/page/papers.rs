//! Every paper of a job in one place: what can be printed now, what was printed, and why the others wait.

use askama::Template;
use axum::extract::{Path, State};

use super::job_bar::JobBar;
use super::{Chrome, PageResult, show};
use crate::desk::job::{Job, Stage};
use crate::web::error::WebError;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "papers/show.html")]
struct PapersPage {
    chrome: Chrome,
    bar: JobBar,
    papers: Vec<PaperRow>,
    kept: Vec<KeptPaper>,
}

/// A paper that can be printed, or cannot yet.
struct PaperRow {
    name: &'static str,
    what: &'static str,
    /// Where it prints, or why it waits.
    path: Result<String, String>,
}

/// A paper as it was printed or issued.
struct KeptPaper {
    name: String,
    day: String,
    path: String,
}

pub(crate) async fn show_papers(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    show(&PapersPage {
        chrome: Chrome::new(&state, ""),
        bar: JobBar::of(&job, "papers", &state),
        papers: papers(&job),
        kept: kept(&state, number).await?,
    })
}

fn papers(job: &Job) -> Vec<PaperRow> {
    let path = |end: &str| format!("/jobs/{}/{end}", job.number);
    let from = |stage: Stage, end: &str| job.not_yet(stage).map_or_else(|| Ok(path(end)), Err);
    let address = job.customer.person.has_address();
    vec![
        PaperRow { name: "Bench ticket", what: "travels with the tray; letter paper", path: Ok(path("ticket?as=now")) },
        PaperRow {
            name: "Packing sheet",
            what: "goes inside the parcel; letter paper",
            path: from(Stage::Checked, "packing-sheet"),
        },
        PaperRow {
            name: "Shipping slip",
            what: "goes on the parcel; 4 x 6 in label",
            path: match address {
                true => Ok(path("slip")),
                false => Err("The customer has no complete address yet.".to_owned()),
            },
        },
        PaperRow {
            name: "Measuring sheet",
            what: "for the customer to measure at home; letter or A4 paper",
            path: Ok(path("measuring-sheet")),
        },
        PaperRow { name: "Receipt", what: "issued on the Bill page", path: Ok(path("bill")) },
    ]
}

async fn kept(state: &AppState, number: i64) -> Result<Vec<KeptPaper>, WebError> {
    let day = |at| words::moment(&state.clock.local(at));
    let tickets = state.store.list_tickets(number).await?.into_iter().map(|(seq, at)| KeptPaper {
        name: "Bench ticket".to_owned(),
        day: day(at),
        path: format!("/jobs/{number}/tickets/{seq}"),
    });
    let receipts = state.store.list_receipts(number).await?.into_iter().map(|receipt| KeptPaper {
        name: match receipt.corrects {
            Some(earlier) => format!("Receipt {}, corrects {earlier}", receipt.number),
            None => format!("Receipt {}", receipt.number),
        },
        day: day(receipt.issued_at),
        path: format!("/receipts/{}", receipt.number),
    });
    Ok(tickets.chain(receipts).collect())
}
