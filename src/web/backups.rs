//! Backups while the program runs: one each day, one when asked for, and the warning that every page shows.

use std::sync::{Arc, PoisonError, RwLock};
use std::time::Duration;

use time::OffsetDateTime;
use tokio::sync::Mutex;

use super::AppState;
use super::clock::Clock;
use super::words::day;
use crate::desk::backup::is_too_old;
use crate::store::Store;
use crate::store::backup::{BackupError, FoundBackup};

/// The first backup waits until the pages are open.
const FIRST_LOOK: Duration = Duration::from_secs(10);
/// How often the program looks whether today has its backup. A folder that was not connected is tried again so soon.
const LOOK_AGAIN: Duration = Duration::from_secs(300);

/// What is known of the backups, shared by every page.
#[derive(Debug, Clone, Default)]
pub struct Backups {
    seen: Arc<RwLock<SeenFolder>>,
    /// Held while a backup is made: there is one at a time.
    turn: Arc<Mutex<()>>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct SeenFolder {
    /// Whether the folder was looked at. Before, nothing is known and nothing is warned of.
    is_known: bool,
    is_running: bool,
    newest: Option<OffsetDateTime>,
    failure: Option<String>,
}

impl Backups {
    /// What is wrong with the backups, for the top of every page.
    pub fn warning(&self, clock: Clock) -> Option<String> {
        let seen = self.seen();
        match (&seen.failure, seen.newest) {
            _ if !seen.is_known => None,
            (Some(why), _) => Some(format!("The last backup failed: {why}.")),
            (None, None) => Some("There is no backup of the book.".to_owned()),
            (None, Some(newest)) if is_too_old(newest, clock.now()) => {
                Some(format!("The newest backup of the book is of {}.", day(&clock.local(newest).date())))
            }
            (None, Some(_)) => None,
        }
    }

    /// Whether one is being made.
    pub fn is_running(&self) -> bool {
        self.seen().is_running
    }

    fn seen(&self) -> SeenFolder {
        self.seen.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn tell(&self, change: impl FnOnce(&mut SeenFolder)) {
        change(&mut self.seen.write().unwrap_or_else(PoisonError::into_inner));
    }

    /// Makes a backup unless `is_done` says of the newest one that it is enough, and thins the older ones.
    pub async fn make(&self, store: &Store, clock: Clock, is_done: impl Fn(Option<&FoundBackup>) -> bool) {
        let _turn = self.turn.lock().await;
        let failure = match self.make_in_turn(store, clock, is_done).await {
            Ok(()) => None,
            Err(why) => {
                tracing::error!(%why, "the backup failed");
                Some(why.to_string())
            }
        };
        self.tell(|seen| {
            seen.is_running = false;
            seen.is_known = true;
            seen.failure = failure;
        });
    }

    async fn make_in_turn(
        &self,
        store: &Store,
        clock: Clock,
        is_done: impl Fn(Option<&FoundBackup>) -> bool,
    ) -> Result<(), BackupError> {
        let shelf = store.backup_shelf().await.map_err(|why| BackupError::Key(why.to_string()))?;
        let found = shelf.list()?;
        if !is_done(found.first()) {
            self.tell(|seen| seen.is_running = true);
            store.back_up(clock.now()).await?;
            shelf.thin(clock.today(), |at| clock.local(at))?;
        }
        let newest = shelf.list()?.first().map(|one| one.name.at);
        self.tell(|seen| seen.newest = newest);
        Ok(())
    }
}

/// Sees for as long as the program runs that each day has its backup. A book without a lab holds nothing yet.
pub async fn watch(state: AppState) {
    tokio::time::sleep(FIRST_LOOK).await;
    loop {
        if state.find_lab().is_some() {
            let clock = state.clock;
            let is_of_today = |newest: Option<&FoundBackup>| {
                newest.is_some_and(|one| clock.local(one.name.at).date() == clock.today())
            };
            state.backups.make(&state.store, clock, is_of_today).await;
        }
        tokio::time::sleep(LOOK_AGAIN).await;
    }
}
