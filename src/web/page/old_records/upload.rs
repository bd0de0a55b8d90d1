//! The first form as it is sent: a table, and perhaps a folder of trace files, which are written to the disk as they come.

use axum::extract::Multipart;

use super::{MatchForm, own_key};
use crate::old_records::folder::MAX_FILE_BYTES;
use crate::old_records::table;
use crate::old_records::uploaded::Uploading;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::page::sent::{after_rest, not_read, set_typed, start_of};
use crate::web::{AppState, words};

/// What was sent.
#[derive(Debug, Default)]
pub(super) struct SentRecords {
    pub(super) form: Form,
    /// The name and the bytes of the table.
    pub(super) table: Option<(String, Vec<u8>)>,
    /// How many trace files are kept.
    pub(super) traces: usize,
    /// Why they are not, a sentence.
    pub(super) traces_refused: Option<String>,
    /// Whether the form is that of the next import, and nothing is at work. Files that come before its key are not kept.
    pub(super) is_own: bool,
}

impl SentRecords {
    pub(super) async fn read(state: &AppState, mut sent: Multipart) -> Result<Self, WebError> {
        let (mut all, mut uploading) = (Self::default(), None);
        while let Some(part) = sent.next_field().await.map_err(not_read)? {
            let field = part.name().unwrap_or("").to_owned();
            let file = part.file_name().unwrap_or("").to_owned();
            match field.as_str() {
                MatchForm::TABLE => {
                    let bytes = start_of(part, table::MAX_BYTES + 1).await?;
                    // A file field that was left empty is sent without a name.
                    all.table = (!bytes.is_empty() || !file.is_empty()).then_some((file, bytes));
                }
                MatchForm::TRACES => {
                    // Of a file that is too large so much is kept that it is told so.
                    let bytes = start_of(part, MAX_FILE_BYTES as usize + 1).await?;
                    if !file.is_empty() && all.is_own {
                        all.keep(state, &mut uploading, &file, &bytes);
                    }
                }
                _ => {
                    if let Err(why) = set_typed(&mut all.form, part).await {
                        return Err(after_rest(sent, why).await);
                    }
                }
            }
            if field == MatchForm::KEY {
                let is_at_work = state.old_records.newest().is_some_and(|work| work.is_running());
                all.is_own = own_key(state, &all.form).await?.is_some() && !is_at_work;
            }
        }
        // A post without its key is refused.
        own_key(state, &all.form).await?;
        Ok(all)
    }

    fn keep(&mut self, state: &AppState, uploading: &mut Option<Uploading>, name: &str, bytes: &[u8]) {
        if self.traces_refused.is_some() {
            return;
        }
        let kept = match uploading {
            Some(uploading) => uploading.keep(name, bytes),
            None => Uploading::begin(state.store.folder()).and_then(|begun| uploading.insert(begun).keep(name, bytes)),
        };
        match (kept, &uploading) {
            (Ok(()), Some(uploading)) => self.traces = uploading.count(),
            (Ok(()), None) => {}
            (Err(why), _) => self.traces_refused = Some(words::capital(&why.to_string())),
        }
    }
}
