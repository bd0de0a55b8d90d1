//! What the lenses of open jobs wait for, for the first page.

use std::collections::BTreeMap;

use time::Date;

use crate::desk::purchase::{OrderedFor, PurchaseLine};
use crate::optics::Eye;
use crate::web::words;

/// What is to buy and what is on its way.
#[derive(Debug)]
pub(in crate::web) struct LensWaits {
    /// Lenses that nobody ordered yet.
    pub(super) to_buy: usize,
    /// Lenses on their way.
    pub(super) expected: i64,
    /// Whether one of them should be here by now.
    pub(super) is_late: bool,
    of_job: BTreeMap<i64, Vec<String>>,
}

impl LensWaits {
    pub(super) fn of(in_need: &[(i64, Eye)], lines: &[PurchaseLine], today: Date) -> Self {
        let mut of_job: BTreeMap<i64, Vec<String>> = BTreeMap::new();
        let mut say = |job: i64, says: String| {
            let said = of_job.entry(job).or_default();
            if !said.contains(&says) {
                said.push(says);
            }
        };
        for (job, _) in in_need {
            say(*job, "to buy".to_owned());
        }
        for line in lines {
            let OrderedFor::Eye { job, .. } = line.lens.ordered_for else { continue };
            if line.here > 0 {
                say(job, "here".to_owned());
            }
            if line.to_come > 0 {
                let late = if line.expected_on < today { ", late" } else { "" };
                say(job, format!("expected {}{late}", words::weekday(&line.expected_on)));
            }
        }
        Self {
            to_buy: in_need.len(),
            expected: lines.iter().map(|line| line.to_come).sum(),
            is_late: lines.iter().any(|line| line.to_come > 0 && line.expected_on < today),
            of_job,
        }
    }

    /// What the lenses of a job wait for; `None` for nothing.
    pub(super) fn words(&self, job: i64) -> Option<String> {
        self.of_job.get(&job).map(|said| said.join("; "))
    }
}
