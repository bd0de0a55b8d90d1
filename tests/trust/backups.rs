//! Backups of a shop at work: nobody waits for one, one that is stopped leaves nothing readable, and no restore takes a
//! book from under a running program.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};

use crate::running::rimbook;
use crate::shop::{Shop, serving};

/// Makes a shop whose book has some 150 MB of kept files, and closes it.
async fn given_large_book(folder: &Path) {
    given_book_of(folder, 150).await;
}

/// The same with so many megabytes.
async fn given_book_of(folder: &Path, megabytes: i64) {
    let shop = Shop::open(folder);
    shop.must_take("Before Marrow");
    drop(shop);
    let mut book = SqliteConnectOptions::new().filename(folder.join("rimbook.db")).connect().await.unwrap();
    sqlx::query(
        "with recursive n (i) as (select 1 union all select i + 1 from n where i < ?)
         insert into attachment_bytes (hash, bytes) select randomblob(32), randomblob(1000000) from n",
    )
    .bind(megabytes)
    .execute(&mut book)
    .await
    .unwrap();
    book.close().await.unwrap();
}

fn backup(folder: &Path, to: &Path) -> Command {
    let mut command = rimbook();
    command.arg("backup").arg(to).arg("--data").arg(folder);
    command
}

fn timed<T>(work: impl FnOnce() -> T) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

/// The bound is wide, for a machine that is busy with other things; what was measured on a quiet one stands in `README.md`.
#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn orders_go_on_while_a_backup_is_made() {
    let home = tempfile::tempdir().unwrap();
    let (folder, file) = (home.path().join("book"), home.path().join("copy.db"));
    given_large_book(&folder).await;
    let shop = Shop::open(&folder);
    let alone = (0..20).map(|n| timed(|| shop.must_take(&format!("Alone{n} Marrow")))).max().unwrap();
    let mut made = backup(&folder, &file).spawn().unwrap();
    let (mut meanwhile, mut slowest) = (0, Duration::ZERO);
    let end = loop {
        slowest = slowest.max(timed(|| shop.must_take(&format!("During{meanwhile} Marrow"))));
        meanwhile += 1;
        if let Some(end) = made.try_wait().unwrap() {
            break end;
        }
        thread::sleep(Duration::from_millis(20));
    };
    println!("{meanwhile} orders while a backup was made: the slowest took {slowest:?}, of 20 without one {alone:?}");
    assert!(end.success() && meanwhile >= 5, "{end}, {meanwhile}");
    assert!(slowest < Duration::from_secs(2), "{slowest:?}");
    let good = rimbook().arg("verify").arg(&file).output().unwrap();
    assert!(good.status.success(), "{good:?}");
}

#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn a_backup_that_is_stopped_leaves_nothing_readable_behind() {
    let home = tempfile::tempdir().unwrap();
    let (folder, file, phrase) = (home.path().join("book"), home.path().join("copy.age"), home.path().join("phrase"));
    given_large_book(&folder).await;
    fs::write(&phrase, "heron copper fjord tern").unwrap();
    let mut made = backup(&folder, &file).arg("--passphrase-file").arg(&phrase).spawn().unwrap();
    let plain = folder.join("rimbook.db.backup");
    let start = Instant::now();
    while plain.metadata().map_or(0, |data| data.len()) < 1_000_000 {
        assert!(
            start.elapsed() < Duration::from_secs(60) && made.try_wait().unwrap().is_none(),
            "it makes a plain copy first"
        );
        thread::sleep(Duration::from_millis(2));
    }
    made.kill().unwrap();
    made.wait().unwrap();
    assert!(plain.exists() && !file.exists());
    let shop = Shop::of(crate::running::Running::run(serving(&folder)));
    assert!(!plain.exists(), "the next start removes it");
    shop.must_take("After Marrow");
}

/// The length of a file that a process has open and that has no name any more.
#[cfg(target_os = "linux")]
fn nameless_length(process: u32) -> u64 {
    let open = fs::read_dir(format!("/proc/{process}/fd")).into_iter().flatten().flatten().map(|entry| entry.path());
    let nameless =
        open.filter(|file| fs::read_link(file).is_ok_and(|name| name.to_string_lossy().ends_with("(deleted)")));
    nameless.filter_map(|file| fs::metadata(file).ok()).map(|data| data.len()).max().unwrap_or(0)
}

/// What an encrypted backup holds is opened to be checked, and has no name at any moment.
#[cfg(target_os = "linux")]
#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn a_check_that_is_stopped_leaves_nothing_readable_behind() {
    let home = tempfile::tempdir().unwrap();
    let [folder, file, phrase, passing] = ["book", "copy.age", "phrase", "tmp"].map(|name| home.path().join(name));
    fs::create_dir(&passing).unwrap();
    fs::write(&phrase, "heron copper fjord tern").unwrap();
    given_book_of(&folder, 30).await;
    assert!(backup(&folder, &file).arg("--passphrase-file").arg(&phrase).status().unwrap().success());
    let check = || {
        let mut command = rimbook();
        command.env("TMPDIR", &passing).arg("verify").arg(&file).arg("--passphrase-file").arg(&phrase);
        command
    };
    let entries = || fs::read_dir(&passing).unwrap().count();
    let mut checked = check().spawn().unwrap();
    let start = Instant::now();
    while nameless_length(checked.id()) < 1_000_000 {
        assert!(checked.try_wait().unwrap().is_none(), "it is opened to be checked");
        assert!(start.elapsed() < Duration::from_secs(60));
        thread::sleep(Duration::from_millis(2));
    }
    assert_eq!(entries(), 0, "while it is checked");
    checked.kill().unwrap();
    checked.wait().unwrap();
    assert_eq!(entries(), 0, "after it was killed");
    let whole = check().output().unwrap();
    assert!(whole.status.success() && String::from_utf8_lossy(&whole.stdout).starts_with("Good: "), "{whole:?}");
    assert_eq!(entries(), 0);
}

#[test]
fn a_restore_asks_whether_the_book_is_open() {
    let home = tempfile::tempdir().unwrap();
    let (folder, file) = (home.path().join("book"), home.path().join("copy.db"));
    let shop = Shop::open(&folder);
    shop.must_take("Odile Marrow");
    assert!(backup(&folder, &file).status().unwrap().success(), "a backup may be made meanwhile");
    let restore = || rimbook().arg("restore").arg(&file).arg("--data").arg(&folder).arg("--replace").output().unwrap();
    let refused = restore();
    let said = String::from_utf8(refused.stderr).unwrap();
    assert!(!refused.status.success() && said.contains("open in another Rimbook already"), "{said}");
    assert!(said.lines().count() == 1 && said.contains(&format!("process {}", shop.running.process())), "{said}");
    shop.must_take("Still Marrow");
    drop(shop);
    assert!(restore().status.success());
    assert_eq!(Shop::open(&folder).must_take("Again Marrow"), "/jobs/1002", "the book of the backup");
}
