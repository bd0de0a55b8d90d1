//! One order to a supplier: what it asks for, and what became of each line.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};
use time::Date;

use super::job_post::StepForm;
use super::{Chrome, PageResult, act_of, draft_of, go, posted_key, show, show_again};
use crate::desk::job::EyeTask;
use crate::desk::purchase::{ExpectationMoved, OrderedFor, Purchase, PurchaseLine, PurchaseMove, PurchaseMoveKind};
use crate::desk::stock::WantedLens;
use crate::desk::text;
use crate::print::lens_list::{LensList, LensListGroup, LensListRow};
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::{day, parse_day};

#[derive(Template)]
#[template(path = "purchases/show.html")]
struct PurchasePage {
    chrome: Chrome,
    number: i64,
    supplier: String,
    supplier_path: String,
    ordered: String,
    expected: String,
    /// The days it was expected before, when that changed, and what was said; the newest first.
    moved: Vec<(String, String)>,
    /// The form for another day, while something is still to come.
    expectation: Option<StepForm>,
    is_late: bool,
    note: String,
    is_open: bool,
    rows: Vec<PurchaseRow>,
    text: String,
    /// How many fields of both forms need a change.
    problems: usize,
    key: String,
    form: Form,
}

struct PurchaseRow {
    listed: LensListRow,
    price: String,
    /// Lot and certificate, as typed when it was received.
    source: String,
    state: String,
    mark: &'static str,
    /// What is wrong with a line that is still open: its job was corrected or canceled since.
    wrong: Option<String>,
    /// The job whose lens is here and can be taken in hand.
    take: Option<i64>,
    /// What can happen next: keys and words.
    next: Vec<(&'static str, &'static str)>,
    names: LineNames,
    /// Whether how many is asked: of a line for several.
    asks_count: bool,
}

/// The names of the fields of a line.
struct LineNames {
    kind: String,
    count: String,
    source: String,
}

impl LineNames {
    fn of(line: i64) -> Self {
        Self { kind: format!("kind-{line}"), count: format!("count-{line}"), source: format!("source-{line}") }
    }
}

/// What can happen next to a line, in words.
fn next_moves(line: &PurchaseLine) -> Vec<(PurchaseMoveKind, &'static str)> {
    let mut moves = Vec::new();
    if line.to_come > 0 {
        moves.push((PurchaseMoveKind::Arrived, "received"));
        moves.push((PurchaseMoveKind::Cancelled, "will not come"));
    }
    if line.here > 0 {
        moves.push((PurchaseMoveKind::Stocked, "put in the drawer instead"));
        moves.push((PurchaseMoveKind::SentBack, "sent back"));
    }
    moves
}

fn row(line: &PurchaseLine, wrong: Option<String>, form: &mut Form) -> PurchaseRow {
    let names = LineNames::of(line.seq);
    form.set_default(&names.count, line.to_come.max(line.here).to_string());
    let take = match line.lens.ordered_for {
        OrderedFor::Eye { job, .. } if line.here > 0 => Some(job),
        _ => None,
    };
    let (state, mark) = match (line.to_come, line.here) {
        (0, 0) => ("done".to_owned(), "pass"),
        (0, _) => ("received".to_owned(), "soon"),
        (n, _) if n == line.lens.count => ("to come".to_owned(), ""),
        (n, _) => (format!("{n} of {} not received", line.lens.count), ""),
    };
    PurchaseRow {
        listed: LensListRow::of_line(line),
        price: line.lens.price.map(|price| price.to_string()).unwrap_or_default(),
        source: line.source.clone(),
        state,
        mark,
        wrong,
        take,
        next: next_moves(line).into_iter().map(|(kind, words)| (kind.key(), words)).collect(),
        names,
        asks_count: line.lens.count > 1,
    }
}

/// What is wrong with a line, if it is still open.
async fn wrong_words(state: &AppState, line: &PurchaseLine) -> Result<Option<String>, WebError> {
    let OrderedFor::Eye { job, eye } = line.lens.ordered_for else { return Ok(None) };
    if !line.is_open() {
        return Ok(None);
    }
    let job = state.store.get_job(job).await?;
    if job.is_cancelled() {
        return Ok(Some("the job is canceled".to_owned()));
    }
    Ok(line.lens.differs_from(&WantedLens::of(&job, eye), job.eyes.get(eye).task == EyeTask::Balance))
}

/// `named` is the form for another day, as it was sent.
async fn page(
    state: &AppState,
    purchase: &Purchase,
    forms: StepForm,
    named: Option<StepForm>,
) -> Result<PurchasePage, WebError> {
    let StepForm { key, mut form } = forms;
    let is_to_come = purchase.lines.iter().any(|line| line.to_come > 0);
    let problems = form.count_errors() + named.as_ref().map_or(0, |named| named.form.count_errors());
    let fresh = || StepForm { key: expectation_key(purchase), form: Form::default() };
    let mut rows = Vec::new();
    for line in &purchase.lines {
        rows.push(row(line, wrong_words(state, line).await?, &mut form));
    }
    Ok(PurchasePage {
        chrome: Chrome::new(state, "buying"),
        number: purchase.number,
        supplier: purchase.supplier.name.clone(),
        ordered: day(&purchase.ordered_on),
        expected: day(&purchase.expected_on),
        supplier_path: format!("/suppliers/{}", purchase.supplier.id),
        moved: purchase.moved.iter().rev().map(|moved| moved_words(state, moved)).collect(),
        expectation: is_to_come.then(|| named.unwrap_or_else(fresh)),
        is_late: is_to_come && purchase.expected_on < state.clock.today(),
        note: purchase.note.clone(),
        is_open: purchase.lines.iter().any(PurchaseLine::is_open),
        rows,
        text: listed(purchase).text(),
        problems,
        key,
        form,
    })
}

/// The day before, and when and why it changed.
fn moved_words(state: &AppState, moved: &ExpectationMoved) -> (String, String) {
    let on = day(&state.clock.local(moved.at).date());
    let why = if moved.reason.is_empty() { String::new() } else { format!(": {}", moved.reason) };
    (day(&moved.was), format!("moved {on} to {}{why}", day(&moved.expected_on)))
}

fn listed(purchase: &Purchase) -> LensListGroup {
    let rows = purchase.lines.iter().map(LensListRow::of_line).collect();
    LensListGroup { supplier: purchase.supplier.name.clone(), rows }
}

fn key(purchase: &Purchase) -> String {
    format!("purchase-{}-{}", purchase.number, purchase.moves)
}

pub(crate) async fn show_purchase(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let purchase = state.store.get_purchase(number).await?;
    let key = key(&purchase);
    let form = draft_of(&state, &key).await?;
    let named_key = expectation_key(&purchase);
    let named = StepForm { form: draft_of(&state, &named_key).await?, key: named_key };
    show(&page(&state, &purchase, StepForm { key, form }, Some(named)).await?)
}

pub(crate) async fn move_lines(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let key = posted_key(&form, &format!("purchase-{number}-"))?;
    let act = act_of(&key, &form);
    let path = format!("/purchases/{number}");
    if state.store.find_outcome(&act).await?.is_some() {
        return go(&path);
    }
    let purchase = state.store.get_purchase(number).await?;
    let moves = read_moves(&mut form, &purchase);
    if !form.is_fine() {
        return show_again(&page(&state, &purchase, StepForm { key, form }, None).await?);
    }
    match state.store.move_purchase_lines(&act, number, &moves, state.clock.now()).await {
        Err(StoreError::OutOfRange(_)) => {
            let purchase = state.store.get_purchase(number).await?;
            if let Some(first) = moves.first() {
                let why = "This line was just changed in another window: check it and send the form again";
                form.fail(&LineNames::of(first.line).kind, why);
            }
            show_again(&page(&state, &purchase, StepForm { key, form }, None).await?)
        }
        done => {
            done?;
            go(&path)
        }
    }
}

/// The fields of the form for another day.
struct ExpectationForm;

impl ExpectationForm {
    const EXPECTED_ON: &str = "expected_on";
    const REASON: &str = "expected_reason";

    fn read(form: &mut Form, purchase: &Purchase, today: Date) -> Option<(Date, String)> {
        let expected_on = form.read(Self::EXPECTED_ON, |t| match parse_day(t)? {
            day if day < today => Err("That day is past: choose today or a later one".to_owned()),
            day if day == purchase.expected_on => Err("It is expected on that day already".to_owned()),
            day => Ok(day),
        });
        let reason = form.read(Self::REASON, |t| text::line("What the supplier said", t, 300));
        Some((expected_on?, reason?))
    }
}

fn expectation_key(purchase: &Purchase) -> String {
    format!("purchase-expected-{}-{}", purchase.number, purchase.moved.len())
}

/// The supplier named another day.
pub(crate) async fn move_expectation(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let key = posted_key(&form, &format!("purchase-expected-{number}-"))?;
    let act = act_of(&key, &form);
    let path = format!("/purchases/{number}");
    if state.store.find_outcome(&act).await?.is_some() {
        return go(&path);
    }
    let purchase = state.store.get_purchase(number).await?;
    if let Some((expected_on, reason)) = ExpectationForm::read(&mut form, &purchase, state.clock.today()) {
        match state.store.move_expectation(&act, number, expected_on, &reason, state.clock.now()).await {
            Err(StoreError::NotFound(_)) => {
                return Err(WebError::OutOfTurn(format!("Nothing of order {number} is still to come.")));
            }
            done => {
                done?;
                return go(&path);
            }
        }
    }
    let moves = self::key(&purchase);
    let moves = StepForm { form: draft_of(&state, &moves).await?, key: moves };
    show_again(&page(&state, &purchase, moves, Some(StepForm { key, form })).await?)
}

fn read_moves(form: &mut Form, purchase: &Purchase) -> Vec<PurchaseMove> {
    let moves: Vec<PurchaseMove> = purchase.lines.iter().filter_map(|line| read_move(form, line)).collect();
    if let (true, true, Some(first)) = (moves.is_empty(), form.is_fine(), purchase.lines.first()) {
        form.fail(&LineNames::of(first.seq).kind, "Update at least one line");
    }
    moves
}

fn read_move(form: &mut Form, line: &PurchaseLine) -> Option<PurchaseMove> {
    let names = LineNames::of(line.seq);
    let possible = next_moves(line);
    let kind = form.read_optional(&names.kind, |key| {
        let known = possible.iter().find(|(kind, _)| kind.key() == key);
        known.map(|(kind, _)| *kind).ok_or("This line has just changed: choose again")
    })??;
    let most =
        if matches!(kind, PurchaseMoveKind::Stocked | PurchaseMoveKind::SentBack) { line.here } else { line.to_come };
    let count = match line.lens.count {
        1 => 1,
        _ => form.read(&names.count, |t| match t.parse::<i64>() {
            Ok(count) if (1..=most).contains(&count) => Ok(count),
            _ => Err(format!("The quantity is a whole number from 1 to {most}, not “{t}”")),
        })?,
    };
    let source = form.read(&names.source, |t| text::line("Lot and certificate", t, 200))?;
    Some(PurchaseMove { line: line.seq, kind, count, source })
}

pub(crate) async fn print_purchase(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let purchase = state.store.get_purchase(number).await?;
    let on = format!("{}, expected {}", day(&purchase.ordered_on), day(&purchase.expected_on));
    let (title, back) = (format!("Order {number}"), format!("/purchases/{number}"));
    let list = LensList::new(&state.lab(), title, on, &back, vec![listed(&purchase)]);
    show(&LensList { note: purchase.note.clone(), ..list })
}
