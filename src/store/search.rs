//! Words to find people, frames and jobs by (SQLite's FTS5). Every word must begin a word of what is found; capitals
//! and accents do not count.

use sqlx::SqliteConnection;

use super::StoreError;
use crate::desk::id::{CustomerId, FrameId};

/// The shortest word that is taken as the beginning of a longer one: the index has prefixes from two letters on.
const SHORTEST_PREFIX: usize = 2;

/// Which words may be beginnings of longer ones.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Begun {
    /// None. FTS5 walks the list of a whole word from the newest row on. The beginning of a word is slower: if it is longer
    /// than the prefix indexes, FTS5 first collects every row (50 ms where a third of a million jobs match, against 1 ms).
    None,
    /// The last one, as in a text that is still being typed.
    Last,
    All,
}

/// What to ask FTS5 for, or `None` where the text holds no letter and no digit.
pub(super) fn matching(text: &str, begun: Begun) -> Option<String> {
    let words: Vec<&str> = words_of(text).collect();
    let asked: Vec<String> = words
        .iter()
        .enumerate()
        .map(|(place, word)| {
            let is_begun = begun == Begun::All || begun == Begun::Last && place + 1 == words.len();
            let star = if is_begun && word.chars().count() >= SHORTEST_PREFIX { "*" } else { "" };
            format!("\"{word}\"{star}")
        })
        .collect();
    (!asked.is_empty()).then(|| asked.join(" "))
}

fn words_of(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty())
}

/// Writes the words of a customer again, and those of the customer's jobs.
pub(super) async fn index_customer(tx: &mut SqliteConnection, id: CustomerId) -> Result<(), StoreError> {
    sqlx::query!(
        "insert or replace into customer_search (rowid, name, place, phone, email)
         select number, name, city || ' ' || region || ' ' || postcode, phone, email from customer where id = ?",
        id
    )
    .execute(&mut *tx)
    .await?;
    let jobs = sqlx::query_scalar!(r#"select number as "number!: i64" from job where patient_id = ?"#, id)
        .fetch_all(&mut *tx)
        .await?;
    for job in jobs {
        index_job(tx, job).await?;
    }
    Ok(())
}

/// Writes the words of a frame.
pub(super) async fn index_frame(tx: &mut SqliteConnection, id: FrameId) -> Result<(), StoreError> {
    sqlx::query!(
        "insert or replace into frame_search (rowid, words)
         select number, maker || ' ' || model || ' ' || colour || ' ' || (eye_size_hundredths / 100) from frame where id = ?",
        id
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Writes the words of a job again.
pub(super) async fn index_job(tx: &mut SqliteConnection, number: i64) -> Result<(), StoreError> {
    sqlx::query!(
        "insert or replace into job_search (rowid, person, frame, numbers)
         select j.number,
                c.name || ' ' || c.city || ' ' || c.postcode || ' ' || c.phone || ' ' || c.email || ' ' || p.prescriber,
                f.maker || ' ' || f.model || ' ' || f.colour || ' ' || (f.eye_size_hundredths / 100),
                j.number || ' ' || substr(j.ordered_on, 1, 4)
                    || ' ' || coalesce((select group_concat(number, ' ') from receipt where job_number = j.number), '')
                    || ' ' || coalesce((select group_concat(tracking, ' ') from shipment where job_number = j.number), '')
         from job j
         join job_revision r on r.job_number = j.number and r.revision = j.revision
         join customer c on c.id = j.patient_id
         join frame f on f.id = j.frame_id
         join prescription p on p.id = r.prescription_id
         where j.number = ?",
        number
    )
    .execute(tx)
    .await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::{Begun, matching};

    #[test]
    fn every_word_is_quoted() {
        let matching = |text| matching(text, Begun::All);
        assert_eq!(matching("mar 555-01"), Some("\"mar\"* \"555\"* \"01\"*".to_owned()));
        assert_eq!(matching("a OR b"), Some("\"a\" \"OR\"* \"b\"".to_owned()));
        assert_eq!(matching("\"; drop -- "), Some("\"drop\"*".to_owned()));
        assert_eq!(matching(" *-\" "), None);
    }

    #[test]
    fn the_last_word_may_be_a_beginning() {
        assert_eq!(matching("heron & rye cur", Begun::Last), Some("\"heron\" \"rye\" \"cur\"*".to_owned()));
        assert_eq!(matching("heron c", Begun::Last), Some("\"heron\" \"c\"".to_owned()));
        assert_eq!(matching("heron cur", Begun::None), Some("\"heron\" \"cur\"".to_owned()));
        assert_eq!(matching("&", Begun::None), None);
    }
}
