//! How far the work has come. One thread works, others look.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

/// What is being done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// The files of the folder are listed.
    Looking,
    /// They are read.
    Reading,
    /// Rows and files are put together.
    Matching,
    /// Jobs are tried and staged.
    Staging,
    /// Jobs are written.
    Writing,
}

const PHASES: [Phase; 5] = [Phase::Looking, Phase::Reading, Phase::Matching, Phase::Staging, Phase::Writing];

/// How far the work has come.
#[derive(Debug, Default)]
pub struct Progress {
    phase: AtomicUsize,
    done: AtomicUsize,
    all: AtomicUsize,
    /// Why it does not go on at present.
    waits: Mutex<Option<String>>,
}

impl Progress {
    /// Begins with the next thing; `all` is how many there are of it, 0 where nobody counts.
    pub fn begin(&self, phase: Phase, all: usize) {
        self.done.store(0, Ordering::Relaxed);
        self.all.store(all, Ordering::Relaxed);
        self.phase.store(phase as usize, Ordering::Relaxed);
    }

    /// One more is done.
    pub fn one_more(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }

    /// So many of all are done in a phase, which begins where it did not yet.
    pub fn reached(&self, phase: Phase, done: usize, all: usize) {
        if self.now().0 != phase {
            self.begin(phase, all);
        }
        *self.waits.lock().unwrap_or_else(PoisonError::into_inner) = None;
        self.done.store(done, Ordering::Relaxed);
    }

    /// It cannot go on at present, and is tried again; why, a sentence without its full stop.
    pub fn wait(&self, why: &str) {
        *self.waits.lock().unwrap_or_else(PoisonError::into_inner) = Some(why.to_owned());
    }

    /// What is being done, how many are done, and how many there are.
    pub fn now(&self) -> (Phase, usize, usize) {
        let phase = PHASES[self.phase.load(Ordering::Relaxed).min(PHASES.len() - 1)];
        (phase, self.done.load(Ordering::Relaxed), self.all.load(Ordering::Relaxed))
    }

    /// For a person: `Reading the trace files: 4,200 of 10,000`.
    pub fn words(&self) -> String {
        let (phase, done, all) = self.now();
        let what = match phase {
            Phase::Looking => "Listing the files of the folder",
            Phase::Reading => "Reading the trace files",
            Phase::Matching => "Putting rows and files together",
            Phase::Staging => "Trying the jobs",
            Phase::Writing => "Writing the jobs",
        };
        let so_far = match all {
            0 => format!("{what} …"),
            _ => format!("{what}: {} of {}", grouped(done), grouped(all)),
        };
        match self.waits.lock().unwrap_or_else(PoisonError::into_inner).as_deref() {
            Some(why) => format!("{so_far}. It waits and is tried again, because {why}"),
            None => so_far,
        }
    }
}

/// `10,000`.
pub fn grouped(count: usize) -> String {
    let digits = count.to_string();
    let parts: Vec<&str> =
        digits.as_bytes().rchunks(3).rev().filter_map(|part| std::str::from_utf8(part).ok()).collect();
    parts.join(",")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn says_how_far_it_has_come() {
        let progress = Progress::default();
        assert_eq!(progress.words(), "Listing the files of the folder …");
        progress.begin(Phase::Reading, 10_000);
        progress.one_more();
        progress.one_more();
        assert_eq!(progress.words(), "Reading the trace files: 2 of 10,000");
        progress.reached(Phase::Writing, 998, 1_234_567);
        progress.reached(Phase::Writing, 999, 1_234_567);
        assert_eq!(progress.words(), "Writing the jobs: 999 of 1,234,567");
        progress.wait("the disk is full");
        assert!(progress.words().ends_with("because the disk is full"));
        progress.reached(Phase::Writing, 1000, 1_234_567);
        assert_eq!(progress.words(), "Writing the jobs: 1,000 of 1,234,567");
    }
}
