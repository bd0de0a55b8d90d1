//! Backups of the book: where they go, which there are, and one now.

use std::time::Duration;

use askama::Template;
use axum::Form as Posted;
use axum::extract::State;

use super::{CHANGED_ELSEWHERE, Chrome, PageResult, draft_or, go, posted_key, show, show_again};
use crate::desk::backup::{BackupSetting, DAILY_DAYS, MOST_FOLDER, MOST_RECIPIENT};
use crate::desk::text;
use crate::store::backup::{FoundBackup, read_recipient};
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::two_windows::{PostedCorrection, correct};
use crate::web::{AppState, words};

/// The page of this room.
const PAGE: &str = "/lab/backups";
/// A backup of a usual book is made while the page waits; of a large one, the page says that it is being made.
const PATIENCE: Duration = Duration::from_secs(8);
/// How many backups are listed.
const MOST_LISTED: usize = 60;

struct BackupRow {
    made: String,
    name: String,
    size: String,
}

#[derive(Template)]
#[template(path = "lab/backups.html")]
struct BackupsPage {
    chrome: Chrome,
    form: Form,
    key: String,
    now_key: String,
    folder: String,
    is_beside_the_book: bool,
    is_running: bool,
    cannot_be_read: Option<String>,
    count: usize,
    rows: Vec<BackupRow>,
    daily_days: i64,
}

impl BackupsPage {
    async fn new(state: &AppState, form: Form, key: String) -> Result<Self, WebError> {
        let (shelf, setting) = (state.store.backup_shelf().await?, state.store.get_backup_setting().await?);
        let (found, cannot_be_read) = match shelf.list() {
            Ok(found) => (found, None),
            Err(why) => (Vec::new(), Some(why.to_string())),
        };
        Ok(Self {
            chrome: Chrome::new(state, "lab"),
            form,
            key,
            now_key: format!("{NOW}{}", stamp(found.first())),
            folder: shelf.folder.display().to_string(),
            is_beside_the_book: setting.folder.is_empty(),
            is_running: state.backups.is_running(),
            cannot_be_read,
            count: found.len(),
            rows: found.iter().take(MOST_LISTED).map(|one| row(state, one)).collect(),
            daily_days: DAILY_DAYS,
        })
    }
}

fn row(state: &AppState, one: &FoundBackup) -> BackupRow {
    BackupRow {
        made: words::moment(&state.clock.local(one.name.at)),
        name: one.name.file_name(),
        size: size_words(one.size),
    }
}

fn size_words(bytes: u64) -> String {
    match bytes {
        0..1_000_000 => format!("{} kB", bytes.div_ceil(1000)),
        1_000_000..1_000_000_000 => format!("{}.{} MB", bytes / 1_000_000, bytes / 100_000 % 10),
        _ => format!("{}.{} GB", bytes / 1_000_000_000, bytes / 100_000_000 % 10),
    }
}

/// The newest backup there was when the button was shown: a second click finds a newer one, and is done.
const NOW: &str = "backup-now-";

fn stamp(newest: Option<&FoundBackup>) -> i64 {
    newest.map_or(0, |one| one.name.at.unix_timestamp())
}

async fn key(state: &AppState) -> Result<String, WebError> {
    Ok(format!("backup-setting-{}", state.store.count_backup_setting_changes().await?))
}

pub(crate) async fn show_backups(State(state): State<AppState>) -> PageResult {
    let (key, setting) = (key(&state).await?, state.store.get_backup_setting().await?);
    let form = draft_or(&state, &key, || BackupForm::fill(&setting)).await?;
    show(&BackupsPage::new(&state, form, key).await?)
}

pub(crate) async fn change_backups(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let (posted_key, key) = (posted_key(&form, "backup-setting-")?, key(&state).await?);
    let standing = state.store.get_backup_setting().await?;
    let (kept, read) = (BackupForm::fill(&standing), |form: &mut Form| BackupForm::read(&state, form));
    let setting = match correct(&mut form, &standing, &kept, posted_key != key, read) {
        PostedCorrection::Nothing => return go(PAGE),
        PostedCorrection::Refused => return show_again(&BackupsPage::new(&state, form, key).await?),
        PostedCorrection::Changed(setting) => setting,
    };
    match state.store.change_backup_setting(&key, &setting, state.clock.now()).await? {
        Once::Now(()) => go(PAGE),
        Once::Before(_) => {
            form.fail(BackupForm::FOLDER, CHANGED_ELSEWHERE);
            show_again(&BackupsPage::new(&state, form, key).await?)
        }
    }
}

pub(crate) async fn back_up_now(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let posted = posted_key(&Form::new(fields), NOW)?;
    let shown = posted.trim_start_matches(NOW).to_owned();
    let work = tokio::spawn(async move {
        let is_done = |newest: Option<&FoundBackup>| stamp(newest).to_string() != shown;
        state.backups.make(&state.store, state.clock, is_done).await;
    });
    // It goes on when the page has waited long enough.
    let _in_time = tokio::time::timeout(PATIENCE, work).await;
    go(PAGE)
}

/// The fields of the form.
struct BackupForm;

impl BackupForm {
    const FOLDER: &str = "folder";
    const RECIPIENT: &str = "recipient";

    fn fill(setting: &BackupSetting) -> Form {
        Form::of([(Self::FOLDER, setting.folder.clone()), (Self::RECIPIENT, setting.recipient.clone())])
    }

    fn read(state: &AppState, form: &mut Form) -> Option<BackupSetting> {
        let folder = form.read(Self::FOLDER, |t| -> Result<String, String> {
            let folder = text::line("A folder", t, MOST_FOLDER).map_err(|why| why.to_string())?;
            state.store.check_backup_folder(&folder)?;
            Ok(folder)
        });
        let recipient = form.read(Self::RECIPIENT, |t| -> Result<String, String> {
            let key = text::line("A public key", t, MOST_RECIPIENT).map_err(|why| why.to_string())?;
            if !key.is_empty() {
                read_recipient(&key).map_err(|why| why.to_string())?;
            }
            Ok(key)
        });
        Some(BackupSetting { folder: folder?, recipient: recipient? })
    }
}

#[cfg(test)]
mod tests {
    use super::size_words;

    #[test]
    fn a_size_is_short() {
        for (bytes, says) in [(0, "0 kB"), (812_001, "813 kB"), (1_250_000, "1.2 MB"), (9_960_000_000, "9.9 GB")] {
            assert_eq!(size_words(bytes), says);
        }
    }
}
