//! One order to a supplier: what it asks for, and what became of each line.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::{Chrome, PageResult, act_of, draft_of, go, posted_key, show, show_again};
use crate::desk::purchase::{OrderedFor, Purchase, PurchaseLine, PurchaseMove, PurchaseMoveKind};
use crate::desk::text;
use crate::print::lens_list::{LensList, LensListGroup, LensListRow};
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::form::Form;
use crate::web::words::day;

#[derive(Template)]
#[template(path = "purchases/show.html")]
struct PurchasePage {
    chrome: Chrome,
    number: i64,
    supplier: String,
    ordered: String,
    expected: String,
    is_late: bool,
    note: String,
    is_open: bool,
    rows: Vec<Row>,
    text: String,
    key: String,
    form: Form,
}

struct Row {
    listed: LensListRow,
    price: String,
    state: String,
    mark: &'static str,
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
        moves.push((PurchaseMoveKind::Stocked, "put into the drawer instead"));
        moves.push((PurchaseMoveKind::SentBack, "sent back"));
    }
    moves
}

fn row(line: &PurchaseLine, form: &mut Form) -> Row {
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
        (n, _) => (format!("{n} of {} to come", line.lens.count), ""),
    };
    Row {
        listed: LensListRow::of_line(line),
        price: line.lens.price.map(|price| price.to_string()).unwrap_or_default(),
        state,
        mark,
        take,
        next: next_moves(line).into_iter().map(|(kind, words)| (kind.key(), words)).collect(),
        names,
        asks_count: line.lens.count > 1,
    }
}

fn page(state: &AppState, purchase: &Purchase, mut form: Form, key: String) -> PurchasePage {
    let is_to_come = purchase.lines.iter().any(|line| line.to_come > 0);
    PurchasePage {
        chrome: Chrome::new(state, "buying"),
        number: purchase.number,
        supplier: purchase.supplier.name.clone(),
        ordered: day(&purchase.ordered_on),
        expected: day(&purchase.expected_on),
        is_late: is_to_come && purchase.expected_on < state.clock.today(),
        note: purchase.note.clone(),
        is_open: purchase.lines.iter().any(PurchaseLine::is_open),
        rows: purchase.lines.iter().map(|line| row(line, &mut form)).collect(),
        text: listed(purchase).text(),
        key,
        form,
    }
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
    show(&page(&state, &purchase, form, key))
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
        return show_again(&page(&state, &purchase, form, key));
    }
    match state.store.move_purchase_lines(&act, number, &moves, state.clock.now()).await {
        Err(StoreError::OutOfRange(_)) => {
            let purchase = state.store.get_purchase(number).await?;
            if let Some(first) = moves.first() {
                let why = "This line changed in another window meanwhile: look at it and send the form again";
                form.fail(&LineNames::of(first.line).kind, why);
            }
            show_again(&page(&state, &purchase, form, key))
        }
        done => {
            done?;
            go(&path)
        }
    }
}

fn read_moves(form: &mut Form, purchase: &Purchase) -> Vec<PurchaseMove> {
    let moves: Vec<PurchaseMove> = purchase.lines.iter().filter_map(|line| read_move(form, line)).collect();
    if let (true, true, Some(first)) = (moves.is_empty(), form.is_fine(), purchase.lines.first()) {
        form.fail(&LineNames::of(first.seq).kind, "Say of at least one line what became of it");
    }
    moves
}

fn read_move(form: &mut Form, line: &PurchaseLine) -> Option<PurchaseMove> {
    let names = LineNames::of(line.seq);
    let possible = next_moves(line);
    let kind = form.read_optional(&names.kind, |key| {
        let known = possible.iter().find(|(kind, _)| kind.key() == key);
        known.map(|(kind, _)| *kind).ok_or("This line changed meanwhile: choose again")
    })??;
    let most =
        if matches!(kind, PurchaseMoveKind::Stocked | PurchaseMoveKind::SentBack) { line.here } else { line.to_come };
    let count = match line.lens.count {
        1 => 1,
        _ => form.read(&names.count, |t| match t.parse::<i64>() {
            Ok(count) if (1..=most).contains(&count) => Ok(count),
            _ => Err(format!("How many is a whole number from 1 to {most}, not “{t}”")),
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
