//! Whether the file of the open book is whole, and still the one in its folder.

use std::fmt::{self, Display, Formatter};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, PoisonError, RwLock};

use sqlx::SqliteConnection;

use super::open::{create_private, read_only};
use super::{FILE_NAME, Store, StoreError, backup};

/// What is wrong with the file of the open book. Nothing is written while it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Trouble {
    /// The check found it damaged; what SQLite said.
    Damaged(String),
    /// It was deleted, moved or replaced. The name of the file that what was kept was saved to, or why it was not.
    Gone(Result<String, String>),
}

impl Display for Trouble {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        match self {
            Self::Damaged(_) => f.write_str(
                "The file of the book is damaged. Nothing more is written into it. Stop Rimbook and start it again: it \
                 names the newest good backup",
            ),
            Self::Gone(Ok(saved)) => write!(
                f,
                "The file of the book was deleted, moved or replaced while it was open. Nothing more is written. All that \
                 was kept until then is saved as {saved} in the same folder: stop Rimbook, rename that file to {FILE_NAME}, \
                 and start again"
            ),
            Self::Gone(Err(why)) => write!(
                f,
                "The file of the book was deleted, moved or replaced while it was open, and what it held could not be saved \
                 ({why}). Nothing more is written. Put the file back where it was and start Rimbook again"
            ),
        }
    }
}

/// What the store knows about its file.
#[derive(Debug, Clone)]
pub(super) struct Health {
    file: PathBuf,
    identity: Option<Identity>,
    trouble: Arc<RwLock<Option<Trouble>>>,
    /// Whether the whole book still has to be checked.
    is_check_due: Arc<AtomicBool>,
}

/// Tells a file from another one of the same name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Identity(u64, u64);

#[cfg(unix)]
fn identity(file: &Path) -> Option<Identity> {
    use std::os::unix::fs::MetadataExt;
    file.metadata().ok().map(|m| Identity(m.dev(), m.ino()))
}

/// Elsewhere a file that is open cannot be taken away.
#[cfg(not(unix))]
fn identity(file: &Path) -> Option<Identity> {
    file.metadata().ok().map(|_| Identity(0, 0))
}

impl Health {
    pub(super) fn of(file: &Path, is_check_due: bool) -> Self {
        Self {
            file: file.to_owned(),
            identity: identity(file),
            trouble: Arc::default(),
            is_check_due: Arc::new(AtomicBool::new(is_check_due)),
        }
    }

    fn trouble(&self) -> Option<Trouble> {
        self.trouble.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn set(&self, trouble: Trouble) {
        *self.trouble.write().unwrap_or_else(PoisonError::into_inner) = Some(trouble);
    }

    fn is_in_place(&self) -> bool {
        identity(&self.file) == self.identity
    }
}

impl Store {
    /// What is wrong with the book's file, if anything is known to be.
    pub fn trouble(&self) -> Option<Trouble> {
        self.health.trouble()
    }

    /// Refuses to write into a book that is damaged, or whose file is no longer there: what is written would be lost.
    pub(super) async fn must_be_sound(&self) -> Result<(), StoreError> {
        if self.health.trouble().is_none() && !self.health.is_in_place() {
            let saved = self.save_beside().await;
            tracing::error!(?saved, "the book's file was deleted, moved or replaced");
            self.health.set(Trouble::Gone(saved));
        }
        self.health.trouble().map_or(Ok(()), |trouble| Err(StoreError::Unsound(trouble)))
    }

    /// Checks the whole of a large book, once, while its pages are open.
    pub async fn check_if_due(&self) {
        if !self.health.is_check_due.swap(false, Ordering::Relaxed) {
            return;
        }
        let fault = match read_only(&self.health.file).await {
            Ok(mut book) => fault_of(&mut book, true).await,
            Err(why) => Some(why.to_string()),
        };
        if let Some(why) = fault {
            tracing::error!(why, "the book is damaged");
            self.health.set(Trouble::Damaged(why));
        }
    }

    /// Saves what the open book holds to a new file in its folder. The old one lives on as long as it is open.
    async fn save_beside(&self) -> Result<String, String> {
        let name = format!("rimbook-saved-{}.db", uuid::Uuid::now_v7().simple());
        let file = self.health.file.with_file_name(&name);
        let folder = file.parent().unwrap_or(Path::new("."));
        std::fs::create_dir_all(folder).map_err(|why| why.to_string())?;
        create_private(&file).map_err(|why| why.to_string())?;
        let into = file.display().to_string();
        sqlx::query("vacuum into ?").bind(into).execute(&self.write).await.map_err(|why| why.to_string())?;
        Ok(name)
    }

    /// Moves what stands in the log into the book's file, so that the file alone is the whole book. Answers whether all
    /// of it could be moved: a page that reads just now may hold it up.
    ///
    /// # Errors
    ///
    /// [`StoreError`].
    pub async fn settle(&self) -> Result<bool, StoreError> {
        let (busy, log, moved): (i64, i64, i64) =
            sqlx::query_as("pragma wal_checkpoint(passive)").fetch_one(&self.write).await?;
        // The log is -1 long where there is none. It is not emptied here: that would have to wait for pages that read.
        Ok(busy == 0 && log == moved)
    }
}

/// What SQLite finds wrong with a book: its first words. Of a large one the pages are checked, of another one also
/// whether each row is in its indexes, which takes several times as long.
pub(super) async fn fault_of(book: &mut SqliteConnection, is_large: bool) -> Option<String> {
    let question = if is_large { "pragma quick_check(1)" } else { "pragma integrity_check(1)" };
    match sqlx::query_scalar::<_, String>(question).fetch_one(book).await {
        Ok(said) if said == "ok" => None,
        Ok(said) => Some(said.replace('\n', " ")),
        Err(why) => Some(why.to_string()),
    }
}

/// The newest of the backups of a book that is whole. The book itself need not be read for it.
pub(super) async fn newest_good_backup(file: &Path) -> Option<PathBuf> {
    Some(backup::newest_good(&backup::folder_beside(file.parent()?)).await?.path)
}
