//! The shapes on file that look like one: their marks are kept in memory and caught up with the book when they are asked.

use std::collections::HashMap;
use std::sync::Arc;

use tokio::sync::Mutex;

use super::AppState;
use crate::desk::frame_shape::FrameShape;
use crate::shape::trace::Trace;
use crate::shape::twins::index::Index;
use crate::shape::twins::{Match, Shape, Ways};
use crate::store::shape::TraceOnFile;
use crate::store::{Store, StoreError};

/// Shapes read at once. Marking them holds up other pages on the same thread for some 2 ms.
const AT_ONCE: i64 = 50;
/// How many are looked for: some of them may be of the same job.
const LOOKED_FOR: usize = 10;
/// Shapes farther apart do not look alike, mm: the edger's own size may be set by less (common practice, from memory).
const ALIKE_MM: f64 = 0.5;

/// The marks of the shapes on file.
#[derive(Debug, Clone, Default)]
pub struct Twins(Arc<Mutex<OnFile>>);

#[derive(Debug, Default)]
struct OnFile {
    index: Index,
    /// The number in the book of each shape of the index.
    seqs: Vec<i64>,
}

/// A shape of another job that looks like one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alike {
    /// The job it was kept for.
    pub job: i64,
    /// How far it is apart.
    pub found: Match,
}

impl OnFile {
    /// Reads what was kept since the last time.
    async fn catch_up(&mut self, store: &Store) -> Result<(), StoreError> {
        loop {
            let last = self.seqs.last().copied().unwrap_or(0);
            let more = store.list_traces_after(last, AT_ONCE).await?;
            for on_file in &more {
                self.index.push(&Shape::of(&on_file.trace.outline()));
                self.seqs.push(on_file.seq);
            }
            if more.is_empty() {
                return Ok(());
            }
        }
    }
}

impl AppState {
    /// Reads the shapes on file, so that the first one who asks does not wait.
    pub async fn read_shapes(&self) -> Result<(), StoreError> {
        self.twins.0.lock().await.catch_up(&self.store).await
    }

    /// The shapes of other jobs that look like one, the most alike first; a mirror image counts too.
    pub async fn alike(&self, shape: &FrameShape) -> Result<Vec<Alike>, StoreError> {
        let mut on_file = self.twins.0.lock().await;
        on_file.catch_up(&self.store).await?;
        let sought = Shape::of(&shape.traces.right.outline());
        let ways = Ways { mirrored: true, any_size: false };
        let mut search = on_file.index.search(sought, ways, LOOKED_FOR).within_mm(ALIKE_MM);
        let mut seen: HashMap<usize, TraceOnFile> = HashMap::new();
        loop {
            let wanted = search.wanted();
            if wanted.is_empty() {
                break;
            }
            let numbers: HashMap<i64, usize> = wanted.iter().map(|&index| (on_file.seqs[index], index)).collect();
            let seqs: Vec<i64> = numbers.keys().copied().collect();
            let read = self.store.list_traces(&seqs).await?;
            if read.len() < wanted.len() {
                return Err(StoreError::NotFound("a shape on file"));
            }
            for found in read {
                let index = numbers[&found.seq];
                search.compare(index, &of(&found.trace));
                seen.insert(index, found);
            }
        }
        let twins = search.found().into_iter().filter(|twin| twin.found.gap_mm <= ALIKE_MM);
        let others = twins.filter_map(|twin| {
            let found =
                seen.get(&twin.index).filter(|found| found.shape != shape.id && found.job != shape.job_number)?;
            Some(Alike { job: found.job?, found: twin.found })
        });
        Ok(others.collect())
    }
}

fn of(trace: &Trace) -> Shape {
    Shape::of(&trace.outline())
}

impl Alike {
    /// `0.06 mm apart`, and whether it is mirrored.
    pub fn words(&self) -> String {
        let mirrored = if self.found.is_mirrored { ", mirrored" } else { "" };
        format!("{:.2} mm apart{mirrored}", self.found.gap_mm)
    }
}
