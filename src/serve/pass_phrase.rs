//! `rimbook pass-phrase`: for who has forgotten it, and for a machine without a screen.

use std::io::BufRead;
use std::path::Path;

use thiserror::Error;

use crate::desk::pass_phrase::read_new;
use crate::store::folder_lock::{FolderLock, LockError};
use crate::store::{OpenError, Store, StoreError};
use crate::web::screens::{hash_phrase, normal};

/// Why the pass phrase stays as it was. Each is one line for the terminal.
#[derive(Debug, Error)]
pub enum PassPhraseError {
    #[error("there is no book in {0}")]
    NoBook(String),
    #[error(transparent)]
    Lock(#[from] LockError),
    #[error(transparent)]
    Open(#[from] OpenError),
    #[error("the book cannot be read or written: {0}")]
    Store(#[from] StoreError),
    #[error("{0}")]
    Refused(String),
    #[error("nothing can be read: {0}")]
    Io(#[from] std::io::Error),
}

/// Sets the pass phrase of the book in a folder to a line of the input, or takes it away.
///
/// # Errors
///
/// [`PassPhraseError`].
pub fn change(folder: &Path, remove: bool, input: impl BufRead) -> Result<&'static str, PassPhraseError> {
    if !folder.join(crate::store::FILE_NAME).exists() {
        return Err(PassPhraseError::NoBook(folder.display().to_string()));
    }
    let _lock = FolderLock::take(folder)?;
    let phrase = match remove {
        true => None,
        false => {
            let typed = input.lines().next().transpose()?.unwrap_or_default();
            Some(read_new(&normal(&typed)).map_err(PassPhraseError::Refused)?)
        }
    };
    tokio::runtime::Builder::new_current_thread().enable_all().build()?.block_on(set(folder, phrase))?;
    Ok(if remove { "The book has no pass phrase now" } else { "The pass phrase is set" })
}

async fn set(folder: &Path, phrase: Option<String>) -> Result<(), PassPhraseError> {
    let store = Store::open_for_one(folder).await?;
    let mut lock = store.get_screen_lock().await?;
    lock.hash = match phrase {
        Some(phrase) => Some(hash_phrase(phrase).await.map_err(|why| PassPhraseError::Refused(why.to_string()))?),
        None => None,
    };
    store.set_screen_lock(&lock).await?;
    store.close().await;
    Ok(())
}
