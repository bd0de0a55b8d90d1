//! The shapes on file that look like one: their marks are kept in memory and caught up with the book when they are asked.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use tokio::sync::RwLock;

use super::AppState;
use crate::desk::attachment::NewFile;
use crate::desk::frame_shape::{FrameShape, NewShape};
use crate::desk::id::ShapeId;
use crate::shape::twins::index::Index;
use crate::shape::twins::{Match, Shape, Ways};
use crate::store::StoreError;
use crate::store::once::Once;
use crate::store::shape::{ShapeTwin, TraceOnFile};

/// Shapes read at once. Marking them holds up other pages on the same thread for some 2 ms.
const AT_ONCE: i64 = 50;
/// Jobs of old records whose shapes are compared before that is noted.
const COMPARED_AT_ONCE: i64 = 50;
/// How many are looked for: some of them may be of the same job.
const LOOKED_FOR: usize = 10;
/// Shapes farther apart do not look alike, mm: the edger's own size may be set by less (common practice, from memory).
const ALIKE_MM: f64 = 0.5;
/// Two traces of one frame differ by this much, mm: of shapes that are nearer, the newest are named (common practice, from
/// memory).
const SAME_MM: f64 = 0.05;
/// The page that looks for similar shapes goes this far, mm.
const SIMILAR_MM: f64 = 2.0;

/// The marks of the shapes on file.
#[derive(Debug, Clone, Default)]
pub struct Twins(Arc<RwLock<OnFile>>);

#[derive(Debug, Default)]
struct OnFile {
    index: Index,
    /// The number in the book of each shape of the index.
    seqs: Vec<i64>,
}

/// A shape of another job that looks like one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alike {
    /// The shape.
    pub shape: ShapeId,
    /// The job it was kept for.
    pub job: i64,
    /// How far it is apart.
    pub found: Match,
}

impl OnFile {
    fn last(&self) -> i64 {
        self.seqs.last().copied().unwrap_or(0)
    }

    fn add(&mut self, more: &[TraceOnFile]) {
        for on_file in more {
            self.index.push(&of(on_file));
            self.seqs.push(on_file.seq);
        }
    }
}

impl AppState {
    /// Reads the shapes that were kept since the last time.
    pub async fn read_shapes(&self) -> Result<(), StoreError> {
        loop {
            let last = self.twins.0.read().await.last();
            let more = self.store.list_traces_after(last, AT_ONCE).await?;
            if more.is_empty() {
                return Ok(());
            }
            let mut on_file = self.twins.0.write().await;
            // Another request may have added them meanwhile.
            if on_file.last() == last {
                on_file.add(&more);
            }
        }
    }

    /// Keeps a shape under a job, which uses it from now on, and the new picture that it was read in. Notes which others it
    /// looks like; it stays on file where that fails.
    pub async fn put_on_file(
        &self,
        act: &str,
        number: i64,
        shape: &NewShape,
        picture: Option<&NewFile>,
    ) -> Result<Once<()>, StoreError> {
        let kept = self.store.keep_shape_with_picture(act, number, (shape, picture), self.clock.now()).await?;
        if let Err(why) = self.note_twins_of(number).await {
            tracing::warn!("a new shape was not compared with the others: {why}");
        }
        Ok(kept)
    }

    async fn note_twins_of(&self, number: i64) -> Result<(), StoreError> {
        let job = self.store.get_job_or_record(number).await?;
        match self.store.find_job_shape(&job).await? {
            Some(shape) => self.note_twins(&shape).await,
            None => Ok(()),
        }
    }

    /// Notes with a new shape which shapes of other jobs it looks like; a mirror image counts too.
    async fn note_twins(&self, shape: &FrameShape) -> Result<(), StoreError> {
        let twins = self.twins_of(shape).await?;
        if twins.is_empty() { Ok(()) } else { self.store.keep_twins(shape.id, &twins).await }
    }

    /// Notes with the shapes of old records that were brought in which others they look like, some at a time. What is left when
    /// the program is stopped is done after its next start.
    pub async fn note_twins_of_old_records(&self) -> Result<(), StoreError> {
        while let Some(some) = self.store.find_uncompared(COMPARED_AT_ONCE).await? {
            let mut noted = Vec::new();
            for number in some.jobs.clone() {
                // One of them may be erased meanwhile.
                let Ok(job) = self.store.get_job_or_record(number).await else { continue };
                let Some(shape) = self.store.find_job_shape(&job).await? else { continue };
                noted.push((shape.id, self.twins_of(&shape).await?));
            }
            self.store.keep_compared(&some, &noted).await?;
        }
        Ok(())
    }

    /// The shapes of other jobs that are named with a new one.
    async fn twins_of(&self, shape: &FrameShape) -> Result<Vec<ShapeTwin>, StoreError> {
        let ways = Ways { mirrored: true, any_size: false };
        let twin = |Alike { shape, job, found }| {
            let Match { gap_mm, is_mirrored, .. } = found;
            ShapeTwin { shape, job, gap_mm, is_mirrored }
        };
        Ok(self.look_for(shape, ways, ALIKE_MM).await?.into_iter().map(twin).collect())
    }

    /// The shapes of other jobs that are similar to one, the most alike first.
    pub async fn similar(&self, shape: &FrameShape, ways: Ways) -> Result<Vec<Alike>, StoreError> {
        self.look_for(shape, ways, SIMILAR_MM).await
    }

    async fn look_for(&self, shape: &FrameShape, ways: Ways, within_mm: f64) -> Result<Vec<Alike>, StoreError> {
        self.read_shapes().await?;
        let on_file = self.twins.0.read().await;
        let sought = Shape::of(&shape.traces.right.outline());
        let mut search = on_file.index.search(sought, ways, LOOKED_FOR).within_mm(within_mm).in_steps_of_mm(SAME_MM);
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
                search.compare(index, &of(&found));
                seen.insert(index, found);
            }
        }
        let mut twins: Vec<_> = search.found().into_iter().filter(|twin| twin.found.gap_mm <= within_mm).collect();
        twins.sort_by(|one, other| one.found.gap_mm.total_cmp(&other.found.gap_mm));
        let others = twins.into_iter().filter_map(|twin| {
            let on_file = seen.get(&twin.index)?;
            let job = on_file.job.filter(|job| on_file.shape != shape.id && Some(*job) != shape.job_number)?;
            Some(Alike { shape: on_file.shape, job, found: twin.found })
        });
        // Of the shapes of one job the nearest is named.
        let mut jobs = HashSet::new();
        Ok(others.filter(|alike| jobs.insert(alike.job)).collect())
    }
}

fn of(on_file: &TraceOnFile) -> Shape {
    Shape::of(&on_file.trace.outline())
}

/// `0.06 mm apart`, and whether it is mirrored.
pub fn apart_words(gap_mm: f64, is_mirrored: bool) -> String {
    let mirrored = if is_mirrored { ", mirrored" } else { "" };
    format!("{gap_mm:.2} mm apart{mirrored}")
}
