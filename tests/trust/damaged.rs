//! Damaged, empty and foreign files in the place of the book, and a book that is taken away while it is open.

use std::fs;
use std::path::Path;

use rimbook::store::health::Trouble;
use rimbook::store::{FILE_NAME, OpenError, Store, StoreError};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};
use time::OffsetDateTime;

use crate::running::refused;
use crate::shop::{Sent, Shop, new_key, serving};

const PAGE: usize = 4096;

/// The bytes of a book with an order in it, closed.
async fn book() -> Vec<u8> {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    shop.must_take("Odile Marrow");
    drop(shop);
    // Opened and closed once more, so that the killed program's log is in the file.
    Store::open(home.path()).await.unwrap().close().await;
    fs::read(home.path().join(FILE_NAME)).unwrap()
}

/// Books with a fault each, and what is wrong with them.
fn damaged(book: &[u8]) -> Vec<(String, Vec<u8>)> {
    let pages = book.len() / PAGE;
    let mut made = vec![
        ("an empty file".to_owned(), Vec::new()),
        ("zeros".to_owned(), vec![0; book.len()]),
        ("one byte".to_owned(), book[..1].to_vec()),
        ("the head alone".to_owned(), book[..100].to_vec()),
        ("half a page more".to_owned(), [book, &book[..PAGE / 2]].concat()),
    ];
    for share in [1, 3, 5, 7, 9] {
        made.push((format!("cut after {share} tenths"), book[..pages * share / 10 * PAGE].to_vec()));
        made.push((format!("cut inside a page, {share} tenths"), book[..book.len() * share / 10 + 77].to_vec()));
    }
    // A xorshift generator: the same bytes in every run.
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut noise = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    };
    for n in 0..20 {
        let page = n * pages / 20;
        let with = |change: &mut dyn FnMut(&mut [u8])| {
            let mut bytes = book.to_vec();
            change(&mut bytes[page * PAGE..(page + 1) * PAGE]);
            bytes
        };
        made.push((format!("page {page} zeroed"), with(&mut |bytes| bytes.fill(0))));
        made.push((format!("page {page} noise"), with(&mut |bytes| bytes.fill_with(|| noise() as u8))));
        made.push((format!("page {page} its head"), with(&mut |bytes| bytes[..16].fill_with(|| noise() as u8))));
        let other = book[(page + 1) % pages * PAGE..][..PAGE].to_vec();
        made.push((format!("page {page} is its neighbor"), with(&mut |bytes| bytes.copy_from_slice(&other))));
    }
    made
}

async fn integrity(file: &Path) -> String {
    let mut book = SqliteConnectOptions::new().filename(file).read_only(true).connect().await.unwrap();
    let said = sqlx::query_scalar("pragma integrity_check(1)").fetch_one(&mut book).await;
    book.close().await.unwrap();
    said.unwrap_or_else(|why| why.to_string())
}

#[tokio::test]
async fn a_damaged_book_is_refused_and_left_as_it_is() {
    let book = book().await;
    let (mut opened, mut tried) = (Vec::new(), 0);
    for (what, bytes) in damaged(&book) {
        tried += 1;
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join(FILE_NAME);
        fs::write(&file, &bytes).unwrap();
        match Store::open(home.path()).await {
            Err(OpenError::Damaged { .. } | OpenError::NotABook { .. }) => {
                assert_eq!(fs::read(&file).unwrap(), bytes, "{what}: not one byte is changed");
            }
            Err(other) => panic!("{what}: {other}"),
            Ok(store) => {
                store.close().await;
                assert_eq!(integrity(&file).await, "ok", "{what} was opened");
                opened.push(what);
            }
        }
    }
    assert!(tried > 90 && opened.len() < tried / 5, "{} of {tried} opened: {opened:?}", opened.len());
}

#[tokio::test]
async fn a_file_of_another_program_is_refused_and_left_as_it_is() {
    for table in ["letters", "_sqlx_migrations"] {
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join(FILE_NAME);
        let mut other = SqliteConnectOptions::new().filename(&file).create_if_missing(true).connect().await.unwrap();
        let make = format!("create table {table} (version integer, checksum blob, text text)");
        sqlx::raw_sql(sqlx::AssertSqlSafe(make)).execute(&mut other).await.unwrap();
        other.close().await.unwrap();
        let before = fs::read(&file).unwrap();
        let Err(why) = Store::open(home.path()).await else { panic!("opened") };
        assert!(why.to_string().contains("another program"), "{why}");
        assert_eq!(fs::read(&file).unwrap(), before, "{table}");
    }
}

#[tokio::test]
async fn the_newest_good_backup_is_named() {
    let book = book().await;
    let home = tempfile::tempdir().unwrap();
    let backups = home.path().join("backups");
    fs::create_dir(&backups).unwrap();
    let mut spoiled = book.clone();
    spoiled[PAGE * 3..].fill(7);
    fs::write(home.path().join(FILE_NAME), &spoiled).unwrap();
    for (day, bytes) in [("24", &book), ("25", &book), ("26", &spoiled)] {
        fs::write(backups.join(format!("rimbook-0a1b2c3d-2026-11-{day}T174232Z.db")), bytes).unwrap();
    }
    let end = refused(&mut serving(home.path()), "");
    assert_eq!((end.status.code(), end.err.lines().count()), (Some(1), 1), "{}", end.err);
    assert!(
        end.err.contains("is damaged") && end.err.contains("rimbook-0a1b2c3d-2026-11-25T174232Z.db"),
        "{}",
        end.err
    );
    assert_eq!(fs::read(home.path().join(FILE_NAME)).unwrap(), spoiled);
}

#[tokio::test]
async fn a_large_book_is_checked_while_its_pages_are_open() {
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join(FILE_NAME);
    Store::open(home.path()).await.unwrap().close().await;
    let mut beside = SqliteConnectOptions::new().filename(&file).connect().await.unwrap();
    sqlx::raw_sql("create table filler (b blob) strict; insert into filler values (zeroblob(150000000))")
        .execute(&mut beside)
        .await
        .unwrap();
    sqlx::raw_sql("pragma wal_checkpoint(truncate)").execute(&mut beside).await.unwrap();
    beside.close().await.unwrap();
    let store = Store::open(home.path()).await.unwrap();
    store.check_if_due().await;
    assert_eq!(store.trouble(), None);
    store.close().await;
    // The chain of the large value is broken in its middle: no page of the book's own tables is touched.
    let mut bytes = fs::read(&file).unwrap();
    let middle = bytes.len() / PAGE / 2 * PAGE;
    bytes[middle..middle + 4].fill(0xff);
    fs::write(&file, bytes).unwrap();
    let store = Store::open(home.path()).await.unwrap();
    assert_eq!(store.trouble(), None);
    store.check_if_due().await;
    assert!(matches!(store.trouble(), Some(Trouble::Damaged(_))), "{:?}", store.trouble());
    let kept = store.keep_draft("key", &Default::default(), &Default::default(), OffsetDateTime::now_utc()).await;
    assert!(matches!(kept, Err(StoreError::Unsound(_))), "{kept:?}");
}

#[cfg(unix)]
#[tokio::test]
async fn a_book_that_is_deleted_while_open_keeps_nothing_silently_and_is_saved() {
    for is_replaced in [false, true] {
        let home = tempfile::tempdir().unwrap();
        let shop = Shop::open(home.path());
        shop.must_take("Odile Marrow");
        for end in ["", "-wal", "-shm"] {
            let _ = fs::remove_file(home.path().join(format!("{FILE_NAME}{end}")));
        }
        if is_replaced {
            fs::write(home.path().join(FILE_NAME), b"").unwrap();
        }
        for _ in 0..2 {
            let Sent::Refused(head, page) = shop.send(&new_key(), "Ada Quill") else { panic!("kept in no file") };
            assert!(head.contains("503") && page.contains("deleted, moved or replaced"), "{head}{page}");
        }
        assert!(shop.running.get("/").1.contains("saved as rimbook-saved-"), "every page says so");
        drop(shop);
        let saved: Vec<_> = fs::read_dir(home.path())
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.file_name().unwrap().to_string_lossy().starts_with("rimbook-saved-"))
            .collect();
        assert_eq!(saved.len(), 1, "{saved:?}");
        // An empty file in the book's place is never made a new lab.
        if is_replaced {
            let end = refused(&mut serving(home.path()), "");
            assert!(end.err.contains("it is empty"), "{}", end.err);
        }
        fs::rename(&saved[0], home.path().join(FILE_NAME)).unwrap();
        let shop = Shop::open(home.path());
        assert!(shop.running.get("/jobs/1001").1.contains("Odile Marrow"));
        assert_eq!(shop.must_take("Ada Quill"), "/jobs/1002");
    }
}

#[tokio::test]
async fn a_log_without_its_book_starts_no_new_lab() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join("rimbook.db-wal"), b"what was written last").unwrap();
    let Err(why) = Store::open(home.path()).await else { panic!("opened") };
    assert!(matches!(why, OpenError::Lost { .. }), "{why}");
    assert!(!home.path().join(FILE_NAME).exists());
}

#[tokio::test]
async fn a_first_start_that_was_cut_off_starts_again() {
    let home = tempfile::tempdir().unwrap();
    for end in ["", "-wal", "-shm", "-journal"] {
        fs::write(home.path().join(format!("{FILE_NAME}.new{end}")), b"half made").unwrap();
    }
    Store::open(home.path()).await.unwrap().close().await;
    let left: Vec<_> = fs::read_dir(home.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(left, [FILE_NAME], "{left:?}");
}
