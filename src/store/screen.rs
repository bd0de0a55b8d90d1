//! The pass phrase that screens ask for, and the screen that a step is done on.

use super::{Store, StoreError};

/// The pass phrase and how long a screen may be left alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScreenLock {
    /// The hash of the pass phrase; none while there is none.
    pub hash: Option<String>,
    pub idle_minutes: i64,
}

tokio::task_local! {
    /// The screen whose request is being answered.
    static SCREEN: String;
}

/// Does some work in the name of a screen: steps it adds to a history are written down as done there.
pub async fn acting_on<T>(screen: String, work: impl Future<Output = T>) -> T {
    SCREEN.scope(screen, work).await
}

/// The screen that the present work is done on. None where no pass phrase is asked for.
pub fn acting_screen() -> Option<String> {
    SCREEN.try_with(Clone::clone).ok()
}

impl Store {
    /// The pass phrase, if there is one.
    pub async fn get_screen_lock(&self) -> Result<ScreenLock, StoreError> {
        let row = sqlx::query!("select hash, idle_minutes from screen_lock where id = 1").fetch_one(&self.read).await?;
        Ok(ScreenLock { hash: row.hash, idle_minutes: row.idle_minutes })
    }

    /// Sets the pass phrase, or takes it away.
    pub async fn set_screen_lock(&self, lock: &ScreenLock) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        sqlx::query!("update screen_lock set hash = ?, idle_minutes = ? where id = 1", lock.hash, lock.idle_minutes)
            .execute(&mut *tx)
            .await?;
        tx.commit().await?;
        Ok(())
    }
}
