//! The steps of each demonstration job and their times.

use time::{Duration, OffsetDateTime};

use super::data::{DemoJob, StageRow};

/// One step of a job; each has its own page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StoryStep {
    Take,
    KeepShape,
    TakeLenses,
    Cut,
    CheckFirst,
    Check,
    Concede,
    ProveImpact,
    Pack,
    Send,
    Receipt,
}

/// Minutes between two steps on the same day.
const MINUTES: i64 = 12;
/// The most steps of a job. Orders of one day all have the same time, so they keep the order of the file.
const MAX_STEPS: i64 = 11;

/// Every step of every job in order of time, so that job numbers and dates increase together.
pub fn timeline(jobs: &[DemoJob], now: OffsetDateTime) -> Vec<(OffsetDateTime, usize, StoryStep)> {
    let mut timeline: Vec<_> = jobs.iter().enumerate().flat_map(|(at, job)| steps_of(at, job, now)).collect();
    timeline.sort_by_key(|(when, _, _)| *when);
    timeline
}

fn steps_of(at: usize, job: &DemoJob, now: OffsetDateTime) -> Vec<(OffsetDateTime, usize, StoryStep)> {
    let steps = steps(job);
    let (first, last) = (job.ordered_days_ago, job.sent_days_ago.unwrap_or(0));
    let gaps = i64::try_from(steps.len()).unwrap_or(1).max(1);
    (0i64..)
        .zip(steps)
        .map(|(n, step)| {
            // Spread over the days of the job. Sending and the receipt are on the last day; an open job stays at its stage.
            let days = match step {
                StoryStep::Send | StoryStep::Receipt => last,
                _ => first - (first - last) * n / gaps,
            };
            (now - Duration::days(days) - Duration::minutes((MAX_STEPS - n) * MINUTES), at, step)
        })
        .collect()
}

fn steps(job: &DemoJob) -> Vec<StoryStep> {
    let has_reached = |stage| job.stage >= stage;
    [
        (StoryStep::Take, true),
        // New lenses for an old frame use its stored shape.
        (StoryStep::KeepShape, job.shape.is_some() && has_reached(StageRow::Shape)),
        (StoryStep::TakeLenses, has_reached(StageRow::Lenses)),
        (StoryStep::Cut, has_reached(StageRow::Cut)),
        (StoryStep::CheckFirst, job.measured_first.is_some()),
        (StoryStep::Check, job.check.is_some()),
        (StoryStep::Concede, job.reason.is_some()),
        (StoryStep::ProveImpact, has_reached(StageRow::Packed)),
        (StoryStep::Pack, has_reached(StageRow::Packed)),
        (StoryStep::Send, has_reached(StageRow::Sent)),
        (StoryStep::Receipt, has_reached(StageRow::Sent)),
    ]
    .into_iter()
    .filter_map(|(step, happens)| happens.then_some(step))
    .collect()
}
