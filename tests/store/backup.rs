//! Backups: a copy of a moment of the book, checked, locked, restored, and the folder that holds them.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use rimbook::desk::backup::{BackupName, BackupSetting};
use rimbook::store::backup::{self, BackupError, Key, Seal, Shelf};
use rimbook::store::once::Once;
use rimbook::store::{FILE_NAME, Store};
use sqlx::ConnectOptions;
use sqlx::sqlite::SqliteConnectOptions;
use time::Duration;

use super::support::{NOW, TestLab};
use super::{beside, texts};

/// Every row of every table, as SQLite writes its values, by the table's name.
pub async fn every_table(folder: &Path) -> BTreeMap<String, Vec<String>> {
    let mut book = beside(folder).await;
    // The schema's own table holds the pages that each table begins at, which a copy orders anew; its texts are compared.
    let listed =
        "select name from pragma_table_list where schema = 'main' and type <> 'view' and name <> 'sqlite_schema'";
    let tables = texts(&mut book, listed).await;
    let schema = texts(&mut book, "select name || coalesce(sql, '') from sqlite_schema order by name").await;
    let mut all = BTreeMap::from([("the schema".to_owned(), schema)]);
    for table in tables {
        let columns = texts(&mut book, &format!("select name from pragma_table_info('{table}')")).await;
        let quoted: Vec<String> = columns.iter().map(|column| format!("quote(\"{column}\")")).collect();
        let rows = format!("select {} as row from \"{table}\" order by row", quoted.join(" || ',' || "));
        all.insert(table, texts(&mut book, &rows).await);
    }
    assert!(all.len() > 60 && all["job"].len() + all["customer"].len() > 1, "{:?}", all.keys());
    all
}

/// Compares two books but for tables whose names end so; a difference is named by its table.
pub async fn assert_equal_books(found: &Path, wanted: &Path, but: &[&str]) {
    let (found, wanted) = (every_table(found).await, every_table(wanted).await);
    assert_eq!(found.keys().collect::<Vec<_>>(), wanted.keys().collect::<Vec<_>>());
    for (table, rows) in wanted.iter().filter(|(table, _)| !but.iter().any(|end| table.ends_with(end))) {
        let differ = found[table].iter().zip(rows).find(|(found, wanted)| found != wanted);
        assert!(
            differ.is_none() && found[table].len() == rows.len(),
            "{table}: {} and {} rows, {differ:?}",
            found[table].len(),
            rows.len()
        );
    }
}

/// A lab with a few jobs that have come some way.
pub async fn given_work() -> TestLab {
    let lab = TestLab::new().await;
    let sent = lab.given_sent_job().await;
    lab.post(&format!("/jobs/{sent}/receipts"), &[]).await.assert_status(303);
    lab.given_checked_job().await;
    lab.given_lenses_in_hand().await;
    let files = [("kind", "photograph"), ("note", "left temple")];
    lab.upload(&format!("/jobs/{sent}/files"), &files, "file", "frame.png", PNG).await.assert_status(303);
    lab.store
        .keep_draft("note-1", &vec![("note".into(), "half a word".into())], &Default::default(), NOW)
        .await
        .unwrap();
    lab
}

/// The smallest picture: one pixel (the example of the PNG specification's chunks, by hand).
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\x06\0\0\0\x1f\x15\xc4\x89\0\0\0\nIDATx\x9cc\0\x01\0\0\x05\0\x01\
\r\n-\xb4\0\0\0\0IEND\xaeB`\x82";

fn book_of(lab: &TestLab) -> PathBuf {
    lab.folder.path().join(FILE_NAME)
}

#[tokio::test]
async fn a_restored_backup_equals_the_book_in_every_table() {
    let lab = given_work().await;
    let shelf = tempfile::tempdir().unwrap();
    let file = shelf.path().join("copy.db");
    let made = backup::make(&book_of(&lab), &file, &Seal::Open).await.unwrap();
    assert_eq!((made.jobs, made.lab.as_str()), (3, "Saltmarsh Lens Post"));
    assert_eq!(backup::verify(&file, None).await.unwrap(), made);
    let mut beside: Vec<_> = fs::read_dir(shelf.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    beside.sort();
    assert_eq!(beside, ["copy.db", "copy.db.sha256"]);

    let fresh = tempfile::tempdir().unwrap();
    let folder = fresh.path().join("new/rimbook");
    assert_eq!(backup::restore(&file, &folder, None, false, NOW).await.unwrap(), made);
    assert_equal_books(&folder, lab.folder.path(), &[]).await;
    let store = Store::open(&folder).await.unwrap();
    assert_eq!(store.get_job(1001).await.unwrap(), lab.store.get_job(1001).await.unwrap());
    store.close().await;
    assert_equal_books(&folder, lab.folder.path(), &[]).await;
}

#[cfg(unix)]
#[tokio::test]
async fn a_backup_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    let lab = given_work().await;
    let file = lab.folder.path().join("copy.db");
    for seal in [Seal::Open, Seal::pass_phrase("salt marsh lens post").unwrap()] {
        backup::make(&book_of(&lab), &file, &seal).await.unwrap();
        assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
        fs::remove_file(&file).unwrap();
    }
}

/// Writers go on while the copy is made; the copy is one moment: as many first halves of a pair as second halves.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_is_one_moment_of_a_book_that_is_written() {
    let lab = given_work().await;
    let (store, is_done) = (lab.store.clone(), Arc::new(AtomicBool::new(false)));
    let stop = Arc::clone(&is_done);
    let writer = tokio::spawn(async move {
        let mut written = 0;
        while !stop.load(Ordering::Relaxed) {
            written += 1;
            // Done in one transaction: a row of the history, and the outcome of its form.
            store.append_note(&format!("note-{written}"), 1001, "call Ada", NOW).await.unwrap();
        }
        written
    });
    let shelf = tempfile::tempdir().unwrap();
    for round in 0..5 {
        let file = shelf.path().join(format!("{round}.db"));
        backup::make(&book_of(&lab), &file, &Seal::Open).await.unwrap();
        let folder = shelf.path().join(round.to_string());
        backup::restore(&file, &folder, None, false, NOW).await.unwrap();
        let mut copy = beside(&folder).await;
        let notes = texts(&mut copy, "select cast(count(*) as text) from job_event where kind = 'note'").await;
        let forms = texts(&mut copy, "select cast(count(*) as text) from form_outcome where key like 'note-%'").await;
        assert_eq!(notes, forms);
    }
    is_done.store(true, Ordering::Relaxed);
    assert!(writer.await.unwrap() > 5);
}

#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn a_locked_backup_opens_with_its_key_alone() {
    let lab = given_work().await;
    let shelf = tempfile::tempdir().unwrap();
    let (key_file, other_key) = (shelf.path().join("key"), shelf.path().join("other"));
    let public = backup::make_key(&key_file).unwrap();
    backup::make_key(&other_key).unwrap();
    let phrase = "four words that differ";
    let right = [Key::pass_phrase(phrase), Key::from_file(&key_file).unwrap()];
    let wrong = [Key::pass_phrase("four words that differ not"), Key::from_file(&other_key).unwrap()];
    let seals = [Seal::pass_phrase(phrase).unwrap(), Seal::recipient(&public).unwrap()];
    for (round, ((seal, right), wrong)) in seals.into_iter().zip(right).zip(wrong).enumerate() {
        let file = shelf.path().join(format!("{round}.db.age"));
        let made = backup::make(&book_of(&lab), &file, &seal).await.unwrap();
        let bytes = fs::read(&file).unwrap();
        // The first line of the published format (C2SP age, "Header").
        assert!(bytes.starts_with(b"age-encryption.org/v1\n"));
        assert!(!bytes.windows(9).any(|part| part == b"Saltmarsh"), "readable");
        assert!(matches!(backup::verify(&file, None).await, Err(BackupError::Sealed(_))));
        assert!(matches!(backup::verify(&file, Some(&wrong)).await, Err(BackupError::NotOpened { .. })));
        assert_eq!(backup::verify(&file, Some(&right)).await.unwrap(), made);
        let folder = shelf.path().join(format!("restored-{round}"));
        backup::restore(&file, &folder, Some(&right), false, NOW).await.unwrap();
        assert_equal_books(&folder, lab.folder.path(), &[]).await;
        // One byte of the middle is another; the end is missing.
        let mut changed = bytes.clone();
        changed[bytes.len() / 2] ^= 1;
        for broken in [changed, bytes[..bytes.len() - 20].to_vec(), bytes[..bytes.len() / 2].to_vec()] {
            let file = shelf.path().join("broken.db.age");
            fs::write(&file, broken).unwrap();
            let refused = backup::verify(&file, Some(&right)).await;
            assert!(matches!(refused, Err(BackupError::Bad { .. })), "{refused:?}");
        }
    }
    let left: Vec<_> = fs::read_dir(lab.folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(left.iter().all(|name| !name.to_string_lossy().contains("backup")), "{left:?}");
    assert!(Seal::pass_phrase("too short").is_err() && Seal::recipient("age1nonsense").is_err());
    assert!(Key::from_file(&book_of(&lab)).is_err());
}

/// Damaged in many places, cut short, empty, something else: refused in words, and no book is made of it.
#[tokio::test]
async fn a_damaged_backup_is_refused() {
    let lab = given_work().await;
    let shelf = tempfile::tempdir().unwrap();
    let file = shelf.path().join("copy.db");
    backup::make(&book_of(&lab), &file, &Seal::Open).await.unwrap();
    let bytes = fs::read(&file).unwrap();
    for round in 0..40_usize {
        let mut broken = bytes.clone();
        let at = round * bytes.len() / 40 + 11;
        // A sector of rubbish, or one bit.
        match round % 2 {
            0 => broken[at..].iter_mut().take(512).for_each(|byte| *byte = byte.wrapping_mul(7) ^ 0x5a),
            _ => broken[at] ^= 0x10,
        }
        fs::write(&file, &broken).unwrap();
        let folder = shelf.path().join(format!("restored-{round}"));
        let why = backup::restore(&file, &folder, None, false, NOW).await.expect_err("a damaged backup");
        assert_eq!(why.to_string().lines().count(), 1, "{why}");
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 0, "a book of a damaged backup");
    }
    // Without the sum beside it, SQLite still sees a broken page and a row that is missing.
    fs::remove_file(shelf.path().join("copy.db.sha256")).unwrap();
    let mut broken = bytes.clone();
    broken[4096..8192].fill(0x5a);
    fs::write(&file, &broken).unwrap();
    assert!(matches!(backup::verify(&file, None).await, Err(BackupError::Bad { .. })));
    fs::write(&file, &bytes).unwrap();
    let mut orphaned = SqliteConnectOptions::new().filename(&file).foreign_keys(false).connect().await.unwrap();
    super::run(&mut orphaned, "drop trigger customer_is_never_removed; delete from customer where number = 1")
        .await
        .unwrap();
    sqlx::Connection::close(orphaned).await.unwrap();
    let why = backup::verify(&file, None).await.expect_err("orphans").to_string();
    assert!(why.contains("points at a row that is not there"), "{why}");
    for (name, broken) in [
        ("empty", Vec::new()),
        ("half", bytes[..bytes.len() / 2].to_vec()),
        ("cut", bytes[..bytes.len() - 4096].to_vec()),
        ("text", b"not a book".to_vec()),
    ] {
        fs::write(&file, broken).unwrap();
        let why = backup::verify(&file, None).await.expect_err(name);
        assert!(matches!(why, BackupError::Bad { .. }), "{name}: {why}");
    }
    fs::remove_file(&file).unwrap();
    assert!(matches!(backup::verify(&file, None).await, Err(BackupError::Read { .. })));
}

#[tokio::test]
async fn a_restore_takes_no_books_place_unasked() {
    let lab = given_work().await;
    let shelf = tempfile::tempdir().unwrap();
    let file = shelf.path().join("copy.db");
    backup::make(&book_of(&lab), &file, &Seal::Open).await.unwrap();
    let other = TestLab::unnamed().await;
    let before = fs::read(book_of(&other)).unwrap();
    other.store.close().await;
    let refused = backup::restore(&file, other.folder.path(), None, false, NOW).await;
    assert!(matches!(refused, Err(BackupError::BookThere(_))), "{refused:?}");
    assert_eq!(fs::read(book_of(&other)).unwrap(), before);
    backup::restore(&file, other.folder.path(), None, true, NOW).await.unwrap();
    let aside: Vec<_> = fs::read_dir(other.folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.to_string_lossy().contains("rimbook-replaced-"))
        .collect();
    assert_eq!(fs::read(&aside[0]).unwrap(), before);
    assert_equal_books(other.folder.path(), lab.folder.path(), &[]).await;
    // A file that is there is never written over.
    assert!(backup::make(&book_of(&lab), &file, &Seal::Open).await.is_err());
}

#[tokio::test]
async fn the_shelf_thins_its_own_backups_only() {
    let lab = given_work().await;
    let shelf = lab.store.backup_shelf().await.unwrap();
    assert_eq!(shelf.folder, lab.folder.path().join("backups"));
    for back in [0, 1, 2, 20, 21, 22] {
        let (path, _) = lab.store.back_up(NOW - Duration::days(back)).await.unwrap();
        assert!(path.starts_with(&shelf.folder));
    }
    let other = BackupName { mark: "00000000".into(), at: NOW - Duration::days(21), is_sealed: false };
    for name in [other.file_name(), "letter.txt".into()] {
        fs::write(shelf.folder.join(name), "not ours").unwrap();
    }
    // November 3, 4 and 5 of 2026 are in one week.
    assert_eq!(shelf.thin(NOW.date(), |at| at).unwrap(), 2);
    let days: Vec<i64> =
        shelf.list().unwrap().iter().map(|one: &backup::FoundBackup| (NOW - one.name.at).whole_days()).collect();
    assert_eq!(days, [0, 1, 2, 20]);
    assert_eq!(fs::read_dir(&shelf.folder).unwrap().count(), 4 * 2 + 2, "each with its sum, and two that are not ours");
}

#[tokio::test]
async fn the_newest_good_backup_is_found_without_the_book() {
    let lab = given_work().await;
    let folder = tempfile::tempdir().unwrap();
    let setting = BackupSetting { folder: folder.path().display().to_string(), recipient: String::new() };
    let changed = lab.store.change_backup_setting("backups-0", &setting, NOW).await.unwrap();
    assert_eq!(changed, Once::Now(()));
    assert_eq!(lab.store.get_backup_setting().await.unwrap(), setting);
    let (good, _) = lab.store.back_up(NOW).await.unwrap();
    let (newer, _) = lab.store.back_up(NOW + Duration::hours(1)).await.unwrap();
    fs::write(&newer, &fs::read(&newer).unwrap()[..9000]).unwrap();
    lab.store.close().await;
    fs::write(book_of(&lab), "the disk wrote rubbish").unwrap();
    let found_in = backup::folder_beside(lab.folder.path());
    assert_eq!(found_in, folder.path());
    assert_eq!(backup::newest_good(&found_in).await.unwrap().path, good);
    assert_eq!(backup::newest_good(&folder.path().join("none")).await, None);
}

#[tokio::test]
async fn a_folder_that_cannot_hold_backups_is_refused_in_words() {
    let lab = TestLab::new().await;
    fs::write(lab.folder.path().join("letter"), "not a folder").unwrap();
    let inside = |name: &str| lab.folder.path().join(name).display().to_string();
    for (folder, says) in [
        ("backups".to_owned(), "full path"),
        (lab.folder.path().display().to_string(), "rimbook.db itself"),
        (inside("none/below"), "no such folder"),
        (inside("letter"), "Nothing can be written"),
    ] {
        let why = lab.store.check_backup_folder(&folder).expect_err(&folder);
        assert!(why.contains(says), "{folder}: {why}");
    }
    for folder in [String::new(), inside("new")] {
        lab.store.check_backup_folder(&folder).unwrap();
    }
}

/// A shelf is made of a mark and a folder; its files are named so that they sort by time.
#[test]
fn a_place_names_the_moment() {
    let shelf = Shelf { folder: "/mnt/stick".into(), mark: "0a1b2c3d".into() };
    assert_eq!(shelf.place(NOW, true), Path::new("/mnt/stick/rimbook-0a1b2c3d-2026-11-25T160000Z.db.age"));
}
