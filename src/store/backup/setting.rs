//! Where the backups of the open book go, and making one there.

use std::path::{Path, PathBuf};

use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection, SqliteConnection};
use time::OffsetDateTime;

use super::shelf::{Shelf, check_folder, default_folder, point_at};
use super::{BackupError, Contents, Seal, make};
use crate::desk::backup::BackupSetting;
use crate::store::fresh_file::folder_of;
use crate::store::once::{Done, Once};
use crate::store::stamp::Stamp;
use crate::store::{Store, StoreError};

async fn read_setting(db: &mut SqliteConnection) -> Result<(String, BackupSetting), StoreError> {
    let row =
        sqlx::query!("select mark, folder, recipient from backup_setting where id = 1").fetch_one(&mut *db).await?;
    Ok((row.mark, BackupSetting { folder: row.folder, recipient: row.recipient }))
}

fn shelf_of(book: &Path, mark: String, setting: &BackupSetting) -> Shelf {
    let folder = match setting.folder.as_str() {
        "" => default_folder(folder_of(book)),
        named => PathBuf::from(named),
    };
    Shelf { folder, mark }
}

/// The shelf of a book that may be open in another program, and how its backups are locked.
///
/// # Errors
///
/// [`BackupError::Read`] for a book that cannot be read.
pub async fn shelf_of_book(book: &Path) -> Result<(Shelf, BackupSetting), BackupError> {
    let failed = |why: &dyn std::fmt::Display| BackupError::read(book, why);
    let options = SqliteConnectOptions::new().filename(book).read_only(true);
    let mut db = options.connect().await.map_err(|why| failed(&why))?;
    let (mark, setting) = read_setting(&mut db).await.map_err(|why| failed(&why))?;
    db.close().await.map_err(|why| failed(&why))?;
    Ok((shelf_of(book, mark, &setting), setting))
}

/// Makes a backup of a book on its shelf.
///
/// # Errors
///
/// [`BackupError`].
pub async fn make_on(
    shelf: &Shelf,
    book: &Path,
    seal: &Seal,
    now: OffsetDateTime,
) -> Result<(PathBuf, Contents), BackupError> {
    shelf.prepare()?;
    let to = shelf.place(now, seal.is_sealed());
    let contents = make(book, &to, seal).await?;
    point_at(folder_of(book), &shelf.folder)?;
    Ok((to, contents))
}

impl Store {
    /// Where backups go, and how they are locked.
    pub async fn get_backup_setting(&self) -> Result<BackupSetting, StoreError> {
        Ok(self.shelf_and_setting().await?.1)
    }

    /// The folder with the backups of this book.
    pub async fn backup_shelf(&self) -> Result<Shelf, StoreError> {
        Ok(self.shelf_and_setting().await?.0)
    }

    async fn shelf_and_setting(&self) -> Result<(Shelf, BackupSetting), StoreError> {
        let (mark, setting) = read_setting(&mut *self.read.acquire().await?).await?;
        Ok((shelf_of(&self.file, mark, &setting), setting))
    }

    /// How often the setting was changed: the running number of its form.
    pub async fn count_backup_setting_changes(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from backup_setting_past"#)
            .fetch_one(&self.read)
            .await?)
    }

    /// Whether backups of this book can go to a folder.
    ///
    /// # Errors
    ///
    /// A sentence for the page.
    pub fn check_backup_folder(&self, folder: &str) -> Result<(), String> {
        if folder.is_empty() { Ok(()) } else { check_folder(&self.file, folder) }
    }

    /// Keeps where backups go; what it was before is kept by a trigger.
    pub async fn change_backup_setting(
        &self,
        key: &str,
        setting: &BackupSetting,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            let changed_at = Stamp(now);
            sqlx::query!(
                "update backup_setting set folder = ?, recipient = ?, changed_at = ? where id = 1",
                setting.folder,
                setting.recipient,
                changed_at
            )
            .execute(&mut *tx)
            .await?;
            Ok(Done::new((), "backup-setting"))
        })
        .await
    }

    /// Makes a backup of the open book on its shelf.
    ///
    /// # Errors
    ///
    /// [`BackupError`].
    pub async fn back_up(&self, now: OffsetDateTime) -> Result<(PathBuf, Contents), BackupError> {
        let (shelf, setting) = self.shelf_and_setting().await.map_err(|why| BackupError::read(&self.file, why))?;
        make_on(&shelf, &self.file, &Seal::recipient(&setting.recipient)?, now).await
    }
}
