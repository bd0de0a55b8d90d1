//! Old records: the page of one (`record`), and bringing them in. A folder is named and a table uploaded, its columns are
//! matched, all of it is tried without writing, and then it is brought in. The work goes on in the background, and its page is
//! loaded again until it is done.
//!
//! Each import has one form, whose key counts the imports before it: a second click finds the first.

pub(super) mod record;
mod upload;

use std::path::PathBuf;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Multipart, Query, State};

use self::upload::SentRecords;
use super::{Chrome, PageResult, draft_of, go, posted_key, show, show_again};
use crate::desk::frame::Rim;
use crate::desk::old_record::column::Column;
use crate::desk::old_record::day::DayOrder;
use crate::desk::old_record::row::Matching;
use crate::old_records::progress::grouped;
use crate::old_records::{folder, folder_of, guess_matching, table, uploaded};
use crate::store::draft::{Fields, TypingWindow, mark};
use crate::store::old_record::OldImport;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::old_records::{ImportRequest, Lines, Trial, Work, WorkStanding};
use crate::web::{AppState, words};

/// The pages in their order.
const BEGINNING: &str = "/lab/old-records";
const COLUMNS: &str = "/lab/old-records/columns";
const TRIAL: &str = "/lab/old-records/trial";

/// The beginning of the key of a form.
const KEY: &str = "old-records-";
/// How many imports are listed.
const MOST_IMPORTS: i64 = 20;
/// How many rows of the table are shown, and how much of a cell.
const ROWS_SHOWN: usize = 3;
const LONGEST_CELL: usize = 40;
/// The longest path of a folder.
const MOST_FOLDER: usize = 400;

#[derive(Template)]
#[template(path = "old_records/beginning.html")]
struct BeginningPage {
    chrome: Chrome,
    form: Form,
    key: String,
    draft: String,
    /// What was just brought in.
    done: Option<ImportRow>,
    /// The table that was uploaded and not brought in yet.
    waiting: Option<String>,
    /// Whether the trace files were sent before, and lie in the folder that is named.
    has_traces: bool,
    /// Whether something is being tried or brought in.
    is_at_work: bool,
    imports: Vec<ImportRow>,
}

struct ImportRow {
    at: String,
    from: String,
    jobs: String,
    shapes: String,
    people: String,
    frames: String,
    already_here: String,
    left_out: String,
    numbers: Option<(i64, i64)>,
    next: Option<i64>,
}

fn row(state: &AppState, import: OldImport) -> ImportRow {
    let count = |count: i64| grouped(usize::try_from(count).unwrap_or_default());
    ImportRow {
        at: words::moment(&state.clock.local(import.at)),
        from: format!("{} and {}", import.table, import.folder),
        jobs: count(import.jobs),
        shapes: count(import.shapes),
        people: count(import.customers),
        frames: count(import.frames),
        already_here: count(import.already_here),
        left_out: count(import.left_out),
        next: import.numbers.map(|(_, last)| last + 1),
        numbers: import.numbers,
    }
}

/// The key of the next import.
async fn key(state: &AppState) -> Result<String, WebError> {
    Ok(format!("{KEY}{}", state.store.count_old_imports().await?))
}

/// The key of what is typed on the first page.
fn folder_key(key: &str) -> String {
    format!("{key}-folder")
}

/// The key of a posted form, if it is that of the next import. Another one is done, or was begun before another was done.
async fn own_key(state: &AppState, form: &Form) -> Result<Option<String>, WebError> {
    let (posted, own) = (posted_key(form, KEY)?, key(state).await?);
    Ok((posted == own).then_some(own))
}

async fn beginning(state: &AppState, form: Form, is_done: bool) -> Result<BeginningPage, WebError> {
    let key = key(state).await?;
    let waiting = state.store.find_old_upload(&key).await?.map(|(name, _)| name);
    let mut imports: Vec<ImportRow> =
        state.store.list_old_imports(MOST_IMPORTS).await?.into_iter().map(|import| row(state, import)).collect();
    let done = (is_done && !imports.is_empty()).then(|| imports.remove(0));
    Ok(BeginningPage {
        chrome: Chrome::new(state, "lab"),
        has_traces: is_uploaded(state, form.value(MatchForm::FOLDER)),
        is_at_work: state.old_records.newest().is_some_and(|work| work.is_running()),
        form,
        draft: folder_key(&key),
        key,
        done,
        waiting,
        imports,
    })
}

pub(crate) async fn show_beginning(State(state): State<AppState>, Query(asked): Query<Fields>) -> PageResult {
    let form = draft_of(&state, &folder_key(&key(&state).await?)).await?;
    show(&beginning(&state, form, Form::new(asked).has("done")).await?)
}

/// Whether a folder is that of the uploaded trace files.
fn is_uploaded(state: &AppState, folder: &str) -> bool {
    let place = uploaded::place(state.store.folder());
    folder_of(folder) == place && place.is_dir()
}

/// Keeps the table and the trace files, and fills in the page of its columns with a guess.
pub(crate) async fn keep_table(State(state): State<AppState>, sent: Multipart) -> PageResult {
    let SentRecords { mut form, table: file, traces, traces_refused, is_own } = SentRecords::read(&state, sent).await?;
    let Some(key) = own_key(&state, &form).await?.filter(|_| is_own) else { return go(BEGINNING) };
    if traces > 0 && traces_refused.is_none() {
        form.set(MatchForm::FOLDER, uploaded::place(state.store.folder()).display().to_string());
    }
    if let Some(why) = traces_refused {
        form.fail(MatchForm::TRACES, why);
    }
    let folder = MatchForm::read_folder(&mut form);
    let table = match &file {
        None => Err("Choose the table, saved as CSV".to_owned()),
        Some((_, bytes)) => table::read(bytes).map_err(|why| words::capital(&why.to_string())),
    };
    let table = table.map_err(|why| form.fail(MatchForm::TABLE, why));
    let (Some(folder), Ok(table), Some((name, bytes)), true) = (folder, table, &file, form.is_fine()) else {
        return show_again(&beginning(&state, form, false).await?);
    };
    let name: String = name.chars().filter(|c| !c.is_control()).take(200).collect();
    let name = if name.trim().is_empty() { "table.csv".to_owned() } else { name };
    state.store.keep_old_upload(&key, &name, bytes, state.clock.now()).await?;
    let filled = filled(&state, &table, &folder.display().to_string()).await?;
    state.store.keep_draft(&key, filled.fields(), &TypingWindow::default(), state.clock.now()).await?;
    go(COLUMNS)
}

/// The columns as those of the last table with the same heads were matched, else as they are guessed.
async fn filled(state: &AppState, table: &table::Table, folder: &str) -> Result<Form, WebError> {
    let Some(kept) = state.store.find_old_matching(&heads_mark(table)).await? else {
        return Ok(MatchForm::fill(&guess_matching(table), folder));
    };
    let mut form = Form::new(kept);
    form.set(MatchForm::FOLDER, folder);
    form.set(MatchForm::AS_BEFORE, MatchForm::YES);
    Ok(form)
}

/// Names the heads of the columns. Who has two tables of one program has the same heads in the same order.
fn heads_mark(table: &table::Table) -> String {
    let head = |at: usize| table.rows.first().and_then(|row| row.cell(at)).unwrap_or_default().trim().to_lowercase();
    mark(&(0..table.width()).map(|at| (MatchForm::column(at), head(at))).collect())
}

#[derive(Template)]
#[template(path = "old_records/columns.html")]
struct ColumnsPage {
    chrome: Chrome,
    form: Form,
    key: String,
    table_name: String,
    rows: String,
    /// Whether the trace files were sent, and are not to be named.
    has_traces: bool,
    columns: Vec<ColumnRow>,
    kinds: Vec<(&'static str, &'static str)>,
    days: Vec<(&'static str, &'static str)>,
    rims: Vec<(&'static str, &'static str)>,
}

/// A column with what stands in its first rows.
struct ColumnRow {
    field: String,
    head: String,
    cells: Vec<String>,
}

/// A table that waits to be brought in.
struct Waiting {
    key: String,
    name: String,
    table: table::Table,
}

async fn waiting(state: &AppState) -> Result<Option<Waiting>, WebError> {
    let key = key(state).await?;
    let Some((name, bytes)) = state.store.find_old_upload(&key).await? else { return Ok(None) };
    // It was read before it was kept, though perhaps by a Rimbook that took longer rows.
    let Ok(table) = table::read(&bytes) else { return Ok(None) };
    Ok(Some(Waiting { key, name, table }))
}

fn columns_page(state: &AppState, waiting: &Waiting, form: Form) -> ColumnsPage {
    let Waiting { key, name, table } = waiting;
    let has_head = form.is_checked(MatchForm::HAS_HEAD, MatchForm::YES);
    let cell = |row: Option<&table::TableRow>, at: usize| {
        let cell = row.and_then(|row| row.cell(at)).unwrap_or_default().trim();
        match cell.char_indices().nth(LONGEST_CELL) {
            Some((end, _)) => format!("{}…", &cell[..end]),
            None => cell.to_owned(),
        }
    };
    let shown = || table.rows.iter().skip(usize::from(has_head)).take(ROWS_SHOWN);
    let column = |at: usize| ColumnRow {
        field: MatchForm::column(at),
        head: match cell(table.rows.first().filter(|_| has_head), at) {
            head if head.is_empty() => format!("column {}", at + 1),
            head => head,
        },
        cells: shown().map(|row| cell(Some(row), at)).collect(),
    };
    ColumnsPage {
        chrome: Chrome::new(state, "lab"),
        has_traces: is_uploaded(state, form.value(MatchForm::FOLDER)),
        form,
        key: key.clone(),
        table_name: name.clone(),
        rows: grouped(table.rows.len() - usize::from(has_head)),
        columns: (0..table.width()).map(column).collect(),
        kinds: Column::ALL.iter().map(|kind| (kind.key(), kind.words())).collect(),
        days: DayOrder::ALL.iter().map(|order| (order.key(), order.words())).collect(),
        rims: Rim::ALL.iter().map(|rim| (rim.key(), rim.words())).collect(),
    }
}

pub(crate) async fn show_columns(State(state): State<AppState>) -> PageResult {
    let Some(waiting) = waiting(&state).await? else { return go(BEGINNING) };
    let mut form = draft_of(&state, &waiting.key).await?;
    if !form.has(MatchForm::DAYS) {
        form = filled(&state, &waiting.table, form.value(MatchForm::FOLDER)).await?;
    }
    show(&columns_page(&state, &waiting, form))
}

/// Keeps the match and begins to try it.
pub(crate) async fn match_columns(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let (Some(key), Some(waiting)) = (own_key(&state, &form).await?, waiting(&state).await?) else {
        return go(BEGINNING);
    };
    let Some((matching, folder)) = MatchForm::read(&mut form, waiting.table.width()) else {
        return show_again(&columns_page(&state, &waiting, form));
    };
    state.store.keep_draft(&key, form.fields(), &TypingWindow::default(), state.clock.now()).await?;
    // Without heads nothing tells that the next table is of the same kind.
    if matching.has_head {
        let matched = MatchForm::fill(&matching, "");
        state.store.keep_old_matching(&heads_mark(&waiting.table), matched.fields(), state.clock.now()).await?;
    }
    let Waiting { key, name: table_name, table } = waiting;
    state.try_old_records(ImportRequest { key, table, table_name, matching, folder });
    go(TRIAL)
}

#[derive(Template)]
#[template(path = "old_records/trial.html")]
struct TrialPage {
    chrome: Chrome,
    key: String,
    /// How far it has come, while it is running.
    running: Option<String>,
    failed: Option<String>,
    report: Option<Report>,
}

/// What would be made.
struct Report {
    figures: Vec<(&'static str, String)>,
    jobs: usize,
    stopped: usize,
    stops: Lines,
    notes: Lines,
    first_job: i64,
    next_job: i64,
}

impl Report {
    fn of(trial: &Trial) -> Self {
        let tally = trial.tally;
        Self {
            figures: [
                ("Rows", tally.rows),
                ("Jobs", tally.jobs),
                ("With a shape", tally.shapes),
                ("New customers", tally.new_customers),
                ("Known customers", tally.known_customers),
                ("New frames", tally.new_frames),
                ("Here already", tally.already_here),
                ("Cannot be brought in", tally.stopped),
            ]
            .map(|(what, count)| (what, grouped(count)))
            .into(),
            jobs: tally.jobs,
            stopped: tally.stopped,
            stops: trial.stops.clone(),
            notes: trial.notes.clone(),
            first_job: trial.first_job,
            next_job: trial.first_job + tally.jobs as i64,
        }
    }
}

pub(crate) async fn show_trial(State(state): State<AppState>) -> PageResult {
    let key = key(&state).await?;
    let (running, failed, report) = match state.old_records.newest() {
        // It may be in the book already, and the next import have a key of its own.
        Some(Work { standing: WorkStanding::Running, progress, .. }) => (Some(progress.words()), None, None),
        Some(Work { standing: WorkStanding::Done, .. }) => return go(&format!("{BEGINNING}?done=yes")),
        Some(Work { standing: WorkStanding::Failed(why), key: of, .. }) if of == key => (None, Some(why), None),
        Some(Work { standing: WorkStanding::Tried(trial), key: of, .. }) if of == key => {
            (None, None, Some(Report::of(&trial)))
        }
        _ => return go(if state.store.find_old_upload(&key).await?.is_some() { COLUMNS } else { BEGINNING }),
    };
    show(&TrialPage { chrome: Chrome::new(&state, "lab"), key, running, failed, report })
}

/// Begins to bring in what was tried.
pub(crate) async fn bring_in(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let form = Form::new(fields);
    let (Some(key), Some(waiting)) = (own_key(&state, &form).await?, waiting(&state).await?) else { return go(TRIAL) };
    let tried = state.old_records.newest().filter(|work| work.key == key).map(|work| work.standing);
    if !matches!(tried, Some(WorkStanding::Tried(_))) {
        return go(TRIAL);
    }
    let Some((matching, folder)) = MatchForm::read(&mut draft_of(&state, &key).await?, waiting.table.width()) else {
        return go(COLUMNS);
    };
    let Waiting { key, name: table_name, table } = waiting;
    let leaves_out = form.is_checked("leave_out", MatchForm::YES);
    state.bring_in_old_records(ImportRequest { key, table, table_name, matching, folder }, leaves_out);
    go(TRIAL)
}

/// The fields of the page of the columns, and of the one before it.
struct MatchForm;

impl MatchForm {
    const KEY: &str = "key";
    const FOLDER: &str = "folder";
    const TRACES: &str = "traces";
    const TABLE: &str = "table";
    const HAS_HEAD: &str = "has_head";
    const DAYS: &str = "days";
    const RIM: &str = "rim";
    const YES: &str = "yes";
    /// Whether the page was filled in as the last table was matched.
    const AS_BEFORE: &str = "as_before";

    fn column(at: usize) -> String {
        format!("column_{at}")
    }

    fn fill(matching: &Matching, folder: &str) -> Form {
        let mut form = Form::of([
            (Self::FOLDER, folder.to_owned()),
            (Self::DAYS, matching.days.key().to_owned()),
            (Self::RIM, matching.rim.key().to_owned()),
        ]);
        if matching.has_head {
            form.set(Self::HAS_HEAD, Self::YES);
        }
        for (at, column) in matching.columns.iter().enumerate() {
            form.set(&Self::column(at), column.key());
        }
        form
    }

    fn read_folder(form: &mut Form) -> Option<PathBuf> {
        form.read(Self::FOLDER, |typed| {
            let line = crate::desk::text::line("A folder", typed, MOST_FOLDER).map_err(|why| why.to_string())?;
            let folder = folder_of(&line);
            folder::check(&folder).map_err(|why| words::capital(&why.to_string()))?;
            Ok::<_, String>(folder)
        })
    }

    fn read(form: &mut Form, width: usize) -> Option<(Matching, PathBuf)> {
        let folder = Self::read_folder(form);
        let days = form.read(Self::DAYS, |t| DayOrder::from_key(t).ok_or("Choose which number comes first"));
        let rim = form.read(Self::RIM, |t| Rim::from_key(t).ok_or("Choose a rim"));
        let columns: Vec<Option<Column>> = (0..width)
            .map(|at| form.read(&Self::column(at), |t| Column::from_key(t).ok_or("Choose what this column holds")))
            .collect();
        let columns: Vec<Column> = columns.into_iter().collect::<Option<_>>()?;
        let has_head = form.is_checked(Self::HAS_HEAD, Self::YES);
        let matching = Matching { columns, has_head, days: days?, rim: rim? };
        for (at, says) in matching.faults() {
            form.fail(&Self::column(at.unwrap_or(0)), says);
        }
        Some((matching, folder?)).filter(|_| form.is_fine())
    }
}
