//! Old records while they are tried and brought in: the work goes on in the background, and pages look how far it has come.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use super::AppState;
use crate::desk::old_record::gathered::Gathered;
use crate::desk::old_record::plan::{ImportPlan, ImportTally};
use crate::desk::old_record::problem::Problem;
use crate::desk::old_record::row::Matching;
use crate::old_records::folder::bytes_again;
use crate::old_records::progress::{Phase, Progress};
use crate::old_records::table::Table;
use crate::old_records::{gather_all, read_shape, uploaded};
use crate::store::old_record::{ImportSource, ToBringIn, TraceFiles, Written};
use crate::store::screen::{acting_on, acting_screen};
use crate::store::{Store, StoreError};

/// How many lines of each kind are kept for the page.
const MOST_LINES: usize = 500;
/// How long it takes until what could not be written is tried again.
const TRIED_AGAIN: Duration = Duration::from_secs(10);

/// The newest work on old records. There is one at a time. Cheap to clone.
#[derive(Debug, Clone, Default)]
pub struct OldRecords(Arc<Mutex<Option<Work>>>);

/// Work that was begun.
#[derive(Debug, Clone)]
pub struct Work {
    /// The key of the form that began it.
    pub key: String,
    pub progress: Arc<Progress>,
    pub standing: WorkStanding,
}

impl Work {
    pub fn is_running(&self) -> bool {
        matches!(self.standing, WorkStanding::Running)
    }
}

/// How work stands.
#[derive(Debug, Clone)]
pub enum WorkStanding {
    Running,
    /// It was tried: what would be made.
    Tried(Arc<Trial>),
    /// It is in the book.
    Done,
    /// It ended; nothing was written. A sentence.
    Failed(String),
}

/// What a trial found.
#[derive(Debug, Clone)]
pub struct Trial {
    pub tally: ImportTally,
    /// What keeps rows out.
    pub stops: Lines,
    /// What is only said.
    pub notes: Lines,
    /// The number of the first new job.
    pub first_job: i64,
}

/// Some lines, and how many more there are.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    pub first: Vec<String>,
    pub more: usize,
}

impl Lines {
    fn of<'a>(problems: impl Iterator<Item = &'a Problem>) -> Self {
        let mut lines = Self::default();
        for problem in problems {
            if lines.first.len() < MOST_LINES {
                lines.first.push(format!("{problem}."));
            } else {
                lines.more += 1;
            }
        }
        lines
    }
}

/// What is to be brought in.
#[derive(Debug, Clone)]
pub struct ImportRequest {
    /// The key of the form.
    pub key: String,
    pub table: Table,
    pub table_name: String,
    pub matching: Matching,
    pub folder: PathBuf,
}

impl OldRecords {
    /// The newest work.
    pub fn newest(&self) -> Option<Work> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Begins work, unless some is running.
    fn begin(&self, key: &str) -> Option<Arc<Progress>> {
        let mut newest = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if newest.as_ref().is_some_and(Work::is_running) {
            return None;
        }
        let progress = Arc::new(Progress::default());
        let work = Work { key: key.to_owned(), progress: Arc::clone(&progress), standing: WorkStanding::Running };
        *newest = Some(work);
        Some(progress)
    }

    fn end(&self, standing: WorkStanding) {
        if let Some(work) = self.0.lock().unwrap_or_else(PoisonError::into_inner).as_mut() {
            work.standing = standing;
        }
    }
}

impl AppState {
    /// Begins to read everything, and to find what would be made. Does nothing while other work is running.
    pub fn try_old_records(&self, asked: ImportRequest) {
        let Some(progress) = self.old_records.begin(&asked.key) else { return };
        let (store, work) = (self.store.clone(), self.old_records.clone());
        tokio::spawn(async move {
            let tried = try_out(&store, asked, progress).await;
            work.end(tried.unwrap_or_else(|why| WorkStanding::Failed(words(&why))));
        });
    }

    /// Begins to bring everything in. Does nothing while other work is running.
    pub fn bring_in_old_records(&self, asked: ImportRequest, leaves_out: bool) {
        let Some(progress) = self.old_records.begin(&asked.key) else { return };
        let (state, screen) = (self.clone(), acting_screen());
        tokio::spawn(async move {
            let work = bring(&state, asked, leaves_out, Arc::clone(&progress));
            let done = match screen {
                Some(screen) => acting_on(screen, work).await,
                None => work.await,
            };
            match done {
                // All of it is in; the rest of the writing waits, for room on the disk, say.
                Err(_) if state.store.is_writing_old_records().await.unwrap_or(false) => {
                    state.write_rest(&progress).await
                }
                done => {
                    let standing = done.map_or_else(|why| WorkStanding::Failed(words(&why)), |()| WorkStanding::Done);
                    state.old_records.end(standing);
                }
            }
            state.compare_old_shapes().await;
        });
    }

    /// Goes on with what a program that was stopped left: an import that is still to be written, or what was staged and uploaded
    /// for an import that nobody went on with.
    pub async fn go_on_with_old_records(&self) -> Result<(), StoreError> {
        if self.store.is_writing_old_records().await? {
            if let Some(progress) = self.old_records.begin("") {
                self.write_rest(&progress).await;
            }
            return Ok(());
        }
        self.store.forget_staged().await?;
        if !self.store.has_old_upload().await? {
            uploaded::forget(self.store.folder());
        }
        Ok(())
    }

    /// Writes the rest of an import, however often it takes: its jobs are in, and all of them are to be found.
    async fn write_rest(&self, progress: &Progress) {
        let all =
            self.store.list_old_imports(1).await.ok().and_then(|imports| usize::try_from(imports.first()?.jobs).ok());
        let done = |count| progress.reached(Phase::Writing, count, all.unwrap_or(count));
        while let Err(why) = self.store.write_staged(read_shape, &done).await {
            tracing::warn!(%why, "old records are still to be written");
            progress.wait(&why.to_string());
            tokio::time::sleep(TRIED_AGAIN).await;
        }
        self.old_records.end(WorkStanding::Done);
    }

    /// The pages that compare shapes need not wait for the new ones, and each says what it looks like.
    pub async fn compare_old_shapes(&self) {
        if let Err(why) = self.note_twins_of_old_records().await {
            tracing::warn!(%why, "the shapes of old records are compared at the next start");
        }
    }
}

/// Why work ended without being done.
#[derive(Debug)]
enum Ended {
    /// A sentence without its full stop.
    Refused(String),
    Store(StoreError),
}

impl From<StoreError> for Ended {
    fn from(why: StoreError) -> Self {
        Self::Store(why)
    }
}

fn words(ended: &Ended) -> String {
    match ended {
        Ended::Refused(why) => format!("{}.", super::words::capital(why)),
        Ended::Store(why @ (StoreError::Database(_) | StoreError::Unreadable { .. })) => {
            tracing::error!(%why, "old records were not brought in");
            "The book did not take it, so nothing was written. The log of the program says why.".to_owned()
        }
        Ended::Store(why) => format!("{}.", super::words::capital(&why.to_string())),
    }
}

async fn gathered(asked: ImportRequest, progress: Arc<Progress>) -> Result<(ImportRequest, Gathered), Ended> {
    let work = move || {
        let gathered = gather_all(&asked.table, &asked.matching, &asked.folder, &progress);
        gathered.map(|gathered| (asked, gathered)).map_err(|why| Ended::Refused(why.to_string()))
    };
    // A panic is logged where it happened.
    tokio::task::spawn_blocking(work).await.map_err(|why| Ended::Refused(format!("the work ended: {why}")))?
}

async fn try_out(store: &Store, asked: ImportRequest, progress: Arc<Progress>) -> Result<WorkStanding, Ended> {
    let (_, gathered) = gathered(asked, progress).await?;
    let (known, first_job) = (store.known_of(&gathered).await?, store.next_job_number().await?);
    let plan = ImportPlan::of(&gathered, &known);
    Ok(WorkStanding::Tried(Arc::new(Trial {
        tally: plan.tally,
        stops: Lines::of(plan.problems.iter().filter(|problem| problem.stops)),
        notes: Lines::of(plan.problems.iter().filter(|problem| !problem.stops)),
        first_job,
    })))
}

async fn bring(state: &AppState, asked: ImportRequest, leaves_out: bool, progress: Arc<Progress>) -> Result<(), Ended> {
    let (asked, gathered) = gathered(asked, Arc::clone(&progress)).await?;
    let is_uploaded = asked.folder == uploaded::place(state.store.folder());
    let folder = if is_uploaded { uploaded::CALLED.to_owned() } else { asked.folder.display().to_string() };
    let what = ToBringIn {
        gathered: &gathered,
        leaves_out,
        source: ImportSource { folder: &folder, table: &asked.table_name },
        files: TraceFiles { bytes: &|file| bytes_again(&asked.folder, file), read: read_shape },
    };
    let all = gathered.jobs.len();
    let done = |written| match written {
        Written::Staged(count) => progress.reached(Phase::Staging, count, all),
        Written::InBook(count) => progress.reached(Phase::Writing, count, all),
    };
    state.store.bring_in(&asked.key, &what, state.clock.now(), done).await?;
    if is_uploaded {
        uploaded::forget(state.store.folder());
    }
    Ok(())
}
