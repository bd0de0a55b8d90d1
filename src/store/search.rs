//! Words to find people, frames and jobs by (SQLite's FTS5), in any order; capitals and accents do not count. A list
//! takes each word as the beginning of a longer one. A search for jobs forgives wrong and missing letters as well: the
//! words of the book are kept beside the index with their gaps (`desk::search::gaps`), and those that are close to a
//! typed word are asked for in its place.

use std::collections::BTreeSet;

use sqlx::types::Json;
use sqlx::{SqliteConnection, SqlitePool};
use time::Date;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::frame::FrameRow;
use super::prescription::{EyeRow, prescribed_eyes};
use super::read::word;
use super::{Store, StoreError};
use crate::desk::frame::Frame;
use crate::desk::id::{CustomerId, FrameId};
use crate::desk::job::Stage;
use crate::desk::search::{FoundJob, SearchTerm, forgiven, gaps};

/// The shortest word that is taken as the beginning of a longer one: the index has prefixes from two letters on.
const SHORTEST_PREFIX: usize = 2;

/// The longest prefix the index has.
const LONGEST_PREFIX: usize = 3;

/// Most words that begin so which are named one by one.
const MOST_BEGUN: i64 = 40;

/// With fewer jobs than this a search looks further.
const FEW: usize = 10;

/// How many words are written by one statement.
const WORDS_AT_ONCE: usize = 500;

/// What to ask FTS5 for, with every word as a beginning, or `None` where the text holds no letter and no digit.
pub(super) fn matching(text: &str) -> Option<String> {
    let text: String = text.nfc().collect();
    let asked: Vec<String> = words_of(&text)
        .map(|word| format!("{}{}", quoted(word), if word.chars().count() >= SHORTEST_PREFIX { "*" } else { "" }))
        .collect();
    (!asked.is_empty()).then(|| asked.join(" "))
}

fn words_of(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty())
}

/// The number of the newest customer; customers that are added get numbers after it.
pub(super) async fn last_customer(db: &mut SqliteConnection) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(r#"select coalesce(max(number), 0) as "n!: i64" from customer"#).fetch_one(db).await?)
}

/// Writes the words of the customers that were added after this number.
pub(super) async fn index_customers_after(db: &mut SqliteConnection, number: i64) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into customer_search (rowid, name, place, phone, email)
         select number, name, place, phone, email from customer_words where number > ?",
        number
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Writes the words of a customer again, and those of the jobs the customer wears, pays for or gets by post.
pub(super) async fn index_customer(tx: &mut SqliteConnection, id: CustomerId) -> Result<(), StoreError> {
    sqlx::query!(
        "insert or replace into customer_search (rowid, name, place, phone, email)
         select number, name, place, phone, email from customer_words where id = ?",
        id
    )
    .execute(&mut *tx)
    .await?;
    let words = sqlx::query_scalar!(
        r#"select name || ' ' || place || ' ' || email as "words!: String" from customer_words where id = ?"#,
        id
    )
    .fetch_optional(&mut *tx)
    .await?;
    keep_words(tx, words.iter().map(String::as_str)).await?;
    let jobs = sqlx::query_scalar!(
        r#"select number as "number!: i64" from job where patient_id = ?1
           union select job_number from job_revision where payer_id = ?1 and payer_id <> patient_id
           union select job_number from job_revision where recipient_id = ?1 and recipient_id <> patient_id"#,
        id
    )
    .fetch_all(&mut *tx)
    .await?;
    for job in jobs {
        index_job(tx, job).await?;
    }
    Ok(())
}

/// Writes the words of a frame again.
pub(super) async fn index_frame(tx: &mut SqliteConnection, id: FrameId) -> Result<(), StoreError> {
    sqlx::query!(
        "insert or replace into frame_search (rowid, words) select number, words from frame_words where id = ?",
        id
    )
    .execute(&mut *tx)
    .await?;
    let words = sqlx::query_scalar!(r#"select words as "words!: String" from frame_words where id = ?"#, id)
        .fetch_optional(&mut *tx)
        .await?;
    keep_words(tx, words.iter().map(String::as_str)).await
}

/// Jobs whose words are written again when their frame is corrected, at most.
const MOST_JOBS_OF_FRAME: i64 = 500;

/// Writes the words of the newest jobs in a frame again. Earlier ones are found by what the frame was called before. The
/// words of the frame itself are kept by [`index_frame`].
pub(super) async fn index_jobs_of_frame(tx: &mut SqliteConnection, id: FrameId) -> Result<(), StoreError> {
    sqlx::query!(
        "insert or replace into job_search (rowid, person, frame, numbers)
         select w.number, w.person, w.frame, w.numbers
         from (select number from job where frame_id = ? order by number desc limit ?) newest
         join job_words w on w.number = newest.number",
        id,
        MOST_JOBS_OF_FRAME
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Writes the words of a job again.
pub(super) async fn index_job(tx: &mut SqliteConnection, number: i64) -> Result<(), StoreError> {
    sqlx::query!(
        "insert or replace into job_search (rowid, person, frame, numbers)
         select number, person, frame, numbers from job_words where number = ?",
        number
    )
    .execute(&mut *tx)
    .await?;
    // The other words are those of the customers and the frame.
    let prescriber = sqlx::query_scalar!(
        "select p.prescriber from job j
         join job_revision r on r.job_number = j.number and r.revision = j.revision
         join prescription p on p.id = r.prescription_id where j.number = ?",
        number
    )
    .fetch_optional(&mut *tx)
    .await?;
    keep_words(tx, prescriber.iter().map(String::as_str)).await
}

/// Keeps the words of some texts, for the searches with a wrong or missing letter.
pub(super) async fn keep_words<'a>(
    tx: &mut SqliteConnection,
    texts: impl IntoIterator<Item = &'a str>,
) -> Result<(), StoreError> {
    let words: BTreeSet<String> = texts.into_iter().flat_map(words_of).map(fold).filter(|w| is_kept(w)).collect();
    if words.is_empty() {
        return Ok(());
    }
    let words = serde_json::json!(words);
    let new = sqlx::query_scalar!(
        r#"select cast(given.value as text) as "word!: String" from json_each(?) given
           where not exists (select 1 from search_word where word = given.value)"#,
        words
    )
    .fetch_all(&mut *tx)
    .await?;
    for some in new.chunks(WORDS_AT_ONCE) {
        insert_words(tx, some).await?;
    }
    Ok(())
}

async fn insert_words(tx: &mut SqliteConnection, words: &[String]) -> Result<(), StoreError> {
    let gaps: Vec<(String, &String)> =
        words.iter().flat_map(|word| gaps(word, gaps_kept(word)).into_iter().map(move |gap| (gap, word))).collect();
    let (words, gaps) = (serde_json::json!(words), serde_json::json!(gaps));
    sqlx::query!("insert or ignore into search_word (word) select value from json_each(?)", words)
        .execute(&mut *tx)
        .await?;
    sqlx::query!(
        "insert or ignore into search_gap (gap, word) select value ->> 0, value ->> 1 from json_each(?)",
        gaps
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Forgets the words of some texts that no index holds any more.
pub(super) async fn forget_words<'a>(
    tx: &mut SqliteConnection,
    texts: impl IntoIterator<Item = &'a str>,
) -> Result<(), StoreError> {
    let words: BTreeSet<String> = texts.into_iter().flat_map(words_of).map(fold).filter(|w| is_kept(w)).collect();
    for word in words {
        let is_used = sqlx::query_scalar!(
            r#"select exists (select 1 from customer_term where term = ?1) or exists (select 1 from job_term where term = ?1)
                   or exists (select 1 from frame_term where term = ?1) as "is_used!: bool""#,
            word
        )
        .fetch_one(&mut *tx)
        .await?;
        if is_used {
            continue;
        }
        let gaps = serde_json::json!(gaps(&word, gaps_kept(&word)));
        sqlx::query!("delete from search_gap where gap in (select value from json_each(?)) and word = ?", gaps, word)
            .execute(&mut *tx)
            .await?;
        sqlx::query!("delete from search_word where word = ?", word).execute(&mut *tx).await?;
    }
    Ok(())
}

/// Tells the indexes to leave nothing behind of a word that is taken out of them (SQLite, FTS5, 4.10 "secure-delete"; it
/// needs 3.42, which a migration does not, so it stands here). Runs when the book is opened.
pub(super) async fn overwrite_words(write: &SqlitePool) -> Result<(), StoreError> {
    let mut tx = write.begin_with("BEGIN IMMEDIATE").await?;
    let is_set: bool = sqlx::query_scalar("select exists (select 1 from job_search_config where k = 'secure-delete')")
        .fetch_one(&mut *tx)
        .await?;
    if is_set {
        return Ok(());
    }
    for sql in [
        "insert into customer_search (customer_search, rank) values ('secure-delete', 1)",
        "insert into job_search (job_search, rank) values ('secure-delete', 1)",
    ] {
        sqlx::query(sql).execute(&mut *tx).await?;
    }
    tx.commit().await?;
    Ok(())
}

/// Merges the indexes into one piece, so that nothing is left of words that were taken out of them before.
pub(super) async fn tidy_index(db: &mut SqliteConnection) -> Result<(), StoreError> {
    for sql in [
        "insert into customer_search (customer_search) values ('optimize')",
        "insert into job_search (job_search) values ('optimize')",
    ] {
        sqlx::query(sql).execute(&mut *db).await?;
    }
    Ok(())
}

/// Keeps the words of a book that was indexed before words were kept. Runs when the book is opened; it does nothing to a
/// book that has them, and is one transaction, so that a stop half-way leaves none.
pub(super) async fn keep_words_of_old_book(write: &SqlitePool) -> Result<(), StoreError> {
    let mut tx = write.begin_with("BEGIN IMMEDIATE").await?;
    let has_words = sqlx::query_scalar!(r#"select min(word) is not null as "has!: bool" from search_word"#);
    if has_words.fetch_one(&mut *tx).await? {
        return Ok(());
    }
    // Numbers come before "a".
    let terms = sqlx::query_scalar!(
        r#"select cast(term as text) as "term!: String" from job_term where term >= 'a'
           union select cast(term as text) from customer_term where term >= 'a'
           union select cast(term as text) from frame_term where term >= 'a'"#
    )
    .fetch_all(&mut *tx)
    .await?;
    keep_words(&mut tx, terms.iter().map(String::as_str)).await?;
    tx.commit().await?;
    Ok(())
}

/// What a search found.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FoundJobs {
    /// Jobs that have every word, whole or begun: those with whole words first, then the newest first.
    pub jobs: Vec<FoundJob>,
    /// Jobs with a word that differs by a letter or two, or with a year beside the one asked for.
    pub close: Vec<FoundJob>,
    /// What was left out, as typed, because no job has all of it.
    pub left_out: Vec<String>,
}

impl FoundJobs {
    fn is_empty(&self) -> bool {
        self.jobs.is_empty() && self.close.is_empty()
    }
}

/// One thing asked for, as FTS5 takes it, each way wider than the one before.
#[derive(Debug, Clone)]
struct Term {
    typed: String,
    whole: String,
    begun: String,
    close: String,
}

impl Store {
    /// The newest jobs that have these words in any order: of the people, the frame, the prescriber, the numbers.
    pub async fn find_jobs(&self, wanted: &[SearchTerm], most: i64) -> Result<FoundJobs, StoreError> {
        let mut terms = Vec::new();
        for one in wanted {
            terms.push(self.term(one).await?);
        }
        let found = self.find_by_terms(&terms, most).await?;
        if !found.is_empty() || terms.len() < 2 {
            return Ok(found);
        }
        self.find_without_some(&terms, most).await
    }

    async fn find_by_terms(&self, terms: &[Term], most: i64) -> Result<FoundJobs, StoreError> {
        if terms.is_empty() {
            return Ok(FoundJobs::default());
        }
        let mut jobs = self.list_matching_jobs(&all(terms, |t| &t.whole), most).await?;
        if jobs.len() < FEW {
            add_new(&mut jobs, &[], self.list_matching_jobs(&all(terms, |t| &t.begun), most).await?);
        }
        let mut close = Vec::new();
        if jobs.len() < FEW && terms.iter().any(|term| term.close != term.begun) {
            add_new(&mut close, &jobs, self.list_matching_jobs(&all(terms, |t| &t.close), most).await?);
        }
        Ok(FoundJobs { jobs, close, left_out: Vec::new() })
    }

    /// Leaves out what no job has, or else the one thing without which something is found.
    async fn find_without_some(&self, terms: &[Term], most: i64) -> Result<FoundJobs, StoreError> {
        let (mut known, mut unknown) = (Vec::new(), Vec::new());
        for term in terms {
            let is_known = !self.list_matching_jobs(&term.close, 1).await?.is_empty();
            if is_known { known.push(term.clone()) } else { unknown.push(term.typed.clone()) }
        }
        if !unknown.is_empty() {
            let found = self.find_by_terms(&known, most).await?;
            return Ok(FoundJobs { left_out: unknown, ..found });
        }
        for place in (0..terms.len()).rev() {
            let mut others = terms.to_vec();
            let left_out = others.remove(place);
            let found = self.find_by_terms(&others, most).await?;
            if !found.is_empty() {
                return Ok(FoundJobs { left_out: vec![left_out.typed], ..found });
            }
        }
        Ok(FoundJobs::default())
    }

    async fn term(&self, wanted: &SearchTerm) -> Result<Term, StoreError> {
        let typed = wanted.typed().to_owned();
        Ok(match wanted {
            SearchTerm::YearsAgo { year, .. } => {
                let whole = quoted(&year.to_string());
                let close = any(&[year - 1, *year, year + 1].map(|year| quoted(&year.to_string())));
                Term { typed, begun: whole.clone(), whole, close }
            }
            SearchTerm::Word(word) => {
                let begun = self.beginnings(word).await?;
                let mut close = begun.clone();
                close.extend(self.close_words(word).await?.iter().map(|word| quoted(word)));
                Term { typed, whole: quoted(word), begun: any(&begun), close: any(&close) }
            }
        })
    }

    /// What to ask FTS5 for to find the words that begin so. It collects every row of a beginning that is longer than its
    /// prefix indexes, so the words themselves are named where they are not too many.
    async fn beginnings(&self, word: &str) -> Result<Vec<String>, StoreError> {
        let word = fold(word);
        let letters = word.chars().count();
        let is_year = letters == 4 && (word.starts_with("19") || word.starts_with("20"));
        if letters < SHORTEST_PREFIX || is_year {
            return Ok(vec![quoted(&word)]);
        }
        if letters <= LONGEST_PREFIX || !is_kept(&word) {
            return Ok(vec![format!("{}*", quoted(&word))]);
        }
        let (from, to) = beginning_with(&word);
        let begun = sqlx::query_scalar!(
            "select word from search_word where word >= ?1 and word < ?2 order by word limit ?3",
            from,
            to,
            MOST_BEGUN
        )
        .fetch_all(&self.read)
        .await?;
        if i64::try_from(begun.len()).is_ok_and(|count| count == MOST_BEGUN) {
            return Ok(vec![format!("{}*", quoted(&word))]);
        }
        Ok([quoted(&word)].into_iter().chain(begun.iter().filter(|b| **b != word).map(|b| quoted(b))).collect())
    }

    /// The words of the book that differ from a typed one by no more letters than are forgiven.
    async fn close_words(&self, typed: &str) -> Result<Vec<String>, StoreError> {
        let typed = fold(typed);
        let most = forgiven(typed.chars().count());
        if most == 0 || !is_kept(&typed) {
            return Ok(Vec::new());
        }
        let gaps = serde_json::json!(gaps(&typed, most));
        let candidates = sqlx::query_scalar!(
            "select distinct word from search_gap where gap in (select value from json_each(?))",
            gaps
        )
        .fetch_all(&self.read)
        .await?;
        let distance = |word: &String| strsim::osa_distance(&typed, word);
        Ok(candidates.into_iter().filter(|word| (1..=most).contains(&distance(word))).collect())
    }

    /// What to ask FTS5 for where a list has nothing that begins so: words that are close to each typed one.
    pub(super) async fn matching_closely(&self, text: &str) -> Result<Option<String>, StoreError> {
        let mut asked = Vec::new();
        for word in words_of(text) {
            let mut close = vec![quoted(word)];
            close.extend(self.close_words(word).await?.iter().map(|word| quoted(word)));
            asked.push(any(&close));
        }
        Ok((!asked.is_empty()).then(|| asked.join(" AND ")))
    }

    async fn list_matching_jobs(&self, words: &str, most: i64) -> Result<Vec<FoundJob>, StoreError> {
        sqlx::query_as!(
            FoundRow,
            r#"select j.number as "number!: i64", c.name as customer, c.city as town,
                      (select name from customer where id = r.payer_id and r.payer_id <> j.patient_id) as "payer?",
                      (select name from customer where id = r.recipient_id and r.recipient_id <> j.patient_id)
                          as "recipient?",
                      f.body as "frame!: Json<FrameRow>", j.ordered_on as "ordered_on: Date", j.stage,
                      (select number from old_record where job_number = j.number) as "old_number?",
                      e.body as "eyes!: Json<Vec<EyeRow>>"
               from (select rowid as number from job_search where job_search match ?1 order by rowid desc limit ?2) s
               join job j on j.number = s.number
               join job_revision r on r.job_number = j.number and r.revision = j.revision
               join customer c on c.id = j.patient_id join frame_json f on f.id = j.frame_id
               join prescription_eyes_json e on e.id = r.prescription_id
               order by j.number desc"#,
            words,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(FoundJob::try_from)
        .collect()
    }
}

struct FoundRow {
    number: i64,
    customer: String,
    town: String,
    payer: Option<String>,
    recipient: Option<String>,
    frame: Json<FrameRow>,
    ordered_on: Date,
    stage: String,
    old_number: Option<String>,
    eyes: Json<Vec<EyeRow>>,
}

impl TryFrom<FoundRow> for FoundJob {
    type Error = StoreError;
    fn try_from(row: FoundRow) -> Result<Self, StoreError> {
        Ok(Self {
            number: row.number,
            customer: row.customer,
            town: row.town,
            payer: row.payer,
            recipient: row.recipient,
            frame: Frame::try_from(row.frame.0)?.details,
            eyes: prescribed_eyes(row.eyes.0)?,
            ordered_on: row.ordered_on,
            old_number: row.old_number,
            stage: word("stage", &row.stage, Stage::from_key(&row.stage))?,
        })
    }
}

/// The range of keys that begin with a text: from the text itself to before the text with the last of all characters added.
pub(super) fn beginning_with(key: &str) -> (String, String) {
    (key.to_owned(), format!("{key}\u{10ffff}"))
}

/// Adds jobs that are in neither list.
fn add_new(to: &mut Vec<FoundJob>, others: &[FoundJob], more: Vec<FoundJob>) {
    for job in more {
        if !to.iter().chain(others).any(|known| known.number == job.number) {
            to.push(job);
        }
    }
}

fn all<'a>(terms: &'a [Term], way: impl Fn(&'a Term) -> &'a String) -> String {
    terms.iter().map(|term| way(term).as_str()).collect::<Vec<_>>().join(" AND ")
}

fn any(alternatives: &[String]) -> String {
    format!("({})", alternatives.join(" OR "))
}

/// Words hold letters and digits only, so no quote stands in one.
fn quoted(word: &str) -> String {
    format!("\"{word}\"")
}

/// A word as the index has it: in lower case, without accents.
fn fold(word: &str) -> String {
    word.nfd().filter(|c| !is_combining_mark(*c)).flat_map(char::to_lowercase).collect()
}

/// Whether a folded word is kept for the searches with a wrong letter: letters alone.
fn is_kept(word: &str) -> bool {
    word.chars().count() >= SHORTEST_PREFIX && word.chars().all(char::is_alphabetic)
}

/// How many letters may be left out of a kept word to find it: what is forgiven in the longest word that is close to it.
fn gaps_kept(word: &str) -> usize {
    match word.chars().count() {
        0..=2 => 0,
        3 | 4 => 1,
        _ => 2,
    }
}

#[cfg(test)]
mod tests {
    use super::{fold, gaps_kept, is_kept, matching};
    use crate::desk::search::forgiven;

    #[test]
    fn every_word_is_quoted() {
        assert_eq!(matching("mar 555-01"), Some("\"mar\"* \"555\"* \"01\"*".to_owned()));
        assert_eq!(matching("a OR b"), Some("\"a\" \"OR\"* \"b\"".to_owned()));
        assert_eq!(matching("\"; drop -- "), Some("\"drop\"*".to_owned()));
        assert_eq!(matching(" *-\" "), None);
    }

    #[test]
    fn words_are_kept_as_the_index_has_them() {
        assert_eq!([fold("Élodie"), fold("OKAFOR")], ["elodie", "okafor"]);
        assert!(is_kept("tern") && !is_kept("c12") && !is_kept("a"));
    }

    /// A typed word looks for gaps of as many letters as are forgiven in it; a kept word that close has as many.
    #[test]
    fn kept_words_have_the_gaps_that_are_looked_for() {
        for letters in 1..12_usize {
            for kept in letters - forgiven(letters).min(letters)..=letters + forgiven(letters) {
                assert!(forgiven(letters) <= gaps_kept(&"x".repeat(kept)), "{letters} typed, {kept} kept");
            }
        }
    }
}
