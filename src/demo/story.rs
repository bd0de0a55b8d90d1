//! What happens to a demonstration job, and when.

use time::{Duration, OffsetDateTime};

use super::data::{DemoJob, StageRow};

/// One step of a job, each a page of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    Take,
    KeepShape,
    TakeLenses,
    Cut,
    CheckFirst,
    Check,
    Concede,
    Pack,
    Send,
    Receipt,
}

/// Minutes between two steps of one day, and the most steps there are: two orders of one day are taken at one time, so
/// they keep their order.
const MINUTES: i64 = 12;
const MOST_STEPS: i64 = 10;

/// Every step of every job in the order of time, so that numbers and dates grow together.
pub fn tell(jobs: &[DemoJob], now: OffsetDateTime) -> Vec<(OffsetDateTime, usize, Step)> {
    let mut story: Vec<_> = jobs.iter().enumerate().flat_map(|(at, job)| steps_of(at, job, now)).collect();
    story.sort_by_key(|(when, _, _)| *when);
    story
}

fn steps_of(at: usize, job: &DemoJob, now: OffsetDateTime) -> Vec<(OffsetDateTime, usize, Step)> {
    let steps = steps(job);
    let (first, last) = (job.ordered_days_ago, job.sent_days_ago.unwrap_or(0));
    let gaps = i64::try_from(steps.len()).unwrap_or(1).max(1);
    (0i64..)
        .zip(steps)
        .map(|(n, step)| {
            // Spread over the days of the work; sending and the receipt fall on the last. An open job rests at its stage.
            let days = match step {
                Step::Send | Step::Receipt => last,
                _ => first - (first - last) * n / gaps,
            };
            (now - Duration::days(days) - Duration::minutes((MOST_STEPS - n) * MINUTES), at, step)
        })
        .collect()
}

fn steps(job: &DemoJob) -> Vec<Step> {
    let has_come_to = |stage| job.stage >= stage;
    [
        (Step::Take, true),
        // New lenses for an old frame come with its shape.
        (Step::KeepShape, job.shape.is_some() && has_come_to(StageRow::Shape)),
        (Step::TakeLenses, has_come_to(StageRow::Lenses)),
        (Step::Cut, has_come_to(StageRow::Cut)),
        (Step::CheckFirst, job.measured_first.is_some()),
        (Step::Check, job.check.is_some()),
        (Step::Concede, job.reason.is_some()),
        (Step::Pack, has_come_to(StageRow::Packed)),
        (Step::Send, has_come_to(StageRow::Sent)),
        (Step::Receipt, has_come_to(StageRow::Sent)),
    ]
    .into_iter()
    .filter_map(|(step, happens)| happens.then_some(step))
    .collect()
}
