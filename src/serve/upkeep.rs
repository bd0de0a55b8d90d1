//! What is done for the book beside the pages.

use std::time::Duration;

use crate::store::Store;

/// How often the log is moved into the book's file.
const EVERY: Duration = Duration::from_secs(10);

/// Checks a large book once, and from then on keeps the file whole by itself, so that a copy of it alone is a copy of
/// the book as it was a few seconds ago.
pub async fn look_after(store: Store) {
    tokio::spawn({
        let store = store.clone();
        async move { store.check_if_due().await }
    });
    loop {
        tokio::time::sleep(EVERY).await;
        if let Err(why) = store.settle().await {
            tracing::warn!("the log could not be moved into the book: {why}");
        }
    }
}
