//! A demonstration is written to a file of its own, so that a filling that was stopped leaves no book behind.

use std::path::Path;

use time::{Date, OffsetDateTime};

use super::lifetime::{self, ReportProgress};
use super::{DemoError, DemoSummary, load};
use crate::store::Store;
use crate::store::fresh_file::{make_it_the_book, unfinished};

/// Writes the demonstration and makes it the book of the folder, which has none or an empty one: the usual
/// demonstration, or one of as many jobs as are asked for.
///
/// # Errors
///
/// [`DemoError`]. The folder then has the book it had before.
pub async fn fill(
    folder: &Path,
    jobs: Option<u64>,
    today: Date,
    now: OffsetDateTime,
    progress: ReportProgress<'_>,
) -> Result<DemoSummary, DemoError> {
    let file = unfinished(folder);
    let summary = match jobs {
        Some(jobs) => lifetime::fill(&file, jobs, today, now, progress).await?,
        None => {
            let store = Store::open_file(&file).await?;
            let summary = load(&store, today, now).await?;
            store.close().await;
            summary
        }
    };
    make_it_the_book(folder)?;
    Ok(summary)
}
