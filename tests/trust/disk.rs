//! The disk fills up, fails, may not be written, or another program holds the book: said in words, and over when it is over.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};

use crate::running::{Running, refused};
use crate::shop::{Sent, Shop, new_key, serving};

/// A disk of a few megabytes of its own, where this user may have one.
struct SmallDisk {
    place: tempfile::TempDir,
}

impl SmallDisk {
    fn new(options: &str) -> Option<Self> {
        let place = tempfile::tempdir().unwrap();
        let mounted = mount(&["-t", "tmpfs", "-o", options, "rimbook-test"], place.path());
        if !mounted {
            eprintln!("SKIPPED: no disk of its own can be mounted here");
        }
        mounted.then_some(Self { place })
    }
}

fn mount(how: &[&str], place: &Path) -> bool {
    let end = Command::new("mount").args(how).arg(place).output();
    end.is_ok_and(|end| end.status.success())
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").args(["-l"]).arg(self.place.path()).status();
    }
}

#[track_caller]
fn assert_not_kept(sent: &Sent, status: &str, words: &str) {
    let Sent::Refused(head, page) = sent else { panic!("{sent:?}") };
    assert!(head.contains(status) && page.contains(words) && page.contains("othing of this was kept"), "{head}{page}");
}

#[test]
fn a_full_disk_is_said_and_writing_works_again_as_soon_as_there_is_room() {
    let Some(disk) = SmallDisk::new("size=12m") else { return };
    let shop = Shop::open(&disk.place.path().join("book"));
    shop.must_take("Before Marrow");
    let ballast = disk.place.path().join("ballast");
    for round in 0..3 {
        // Writes until nothing more fits.
        let filled = fs::write(&ballast, vec![b'x'; 12 << 20]);
        assert!(filled.is_err(), "the disk is full");
        let key = new_key();
        for _ in 0..3 {
            assert_not_kept(&shop.send(&key, &format!("Full{round} Marrow")), "507", "The disk is full");
        }
        assert!(shop.running.get("/").0.starts_with("HTTP/1.1 200"), "what is kept can be read");
        fs::remove_file(&ballast).unwrap();
        assert!(matches!(shop.send(&key, &format!("Full{round} Marrow")), Sent::Kept(_)), "there is room again");
    }
    assert_eq!(shop.must_take("After Marrow"), "/jobs/1005", "one before, one of each round");
}

#[test]
fn a_file_that_may_not_grow_is_said_and_is_over_when_it_is_over() {
    if Command::new("prlimit").arg("--version").output().is_err() {
        eprintln!("SKIPPED: no prlimit here");
        return;
    }
    let home = tempfile::tempdir().unwrap();
    // What the program logs goes to a file that may not grow either: that must not stop the answer.
    let log = home.path().join("log");
    fs::write(&log, "earlier lines\n".repeat(100)).unwrap();
    // A process that writes beyond its limit gets a signal, which is ignored here: the write then fails.
    let mut command = Command::new("sh");
    command.args(["-c", "trap '' XFSZ; exec \"$0\" \"$@\" 2>> \"$LOG\"", env!("CARGO_BIN_EXE_rimbook")]);
    command.env("LOG", &log);
    command.arg("--data").arg(home.path()).args(["--port", "0", "--no-browser"]);
    let shop = Shop::of(Running::run(command));
    shop.must_take("Before Marrow");
    let process = shop.running.process().to_string();
    let limit = |bytes: &str| {
        let limited = Command::new("prlimit").args(["--pid", &process, &format!("--fsize={bytes}:unlimited")]).status();
        assert!(limited.unwrap().success());
    };
    let key = new_key();
    limit("1000");
    for _ in 0..3 {
        assert_not_kept(&shop.send(&key, "Odile Marrow"), "50", "disk");
    }
    limit("unlimited");
    assert!(matches!(shop.send(&key, "Odile Marrow"), Sent::Kept(_)));
}

#[test]
fn a_disk_that_may_only_be_read_is_said() {
    let Some(disk) = SmallDisk::new("size=12m") else { return };
    let book = disk.place.path().join("book");
    let shop = Shop::open(&book);
    shop.must_take("Odile Marrow");
    drop(shop);
    assert!(mount(&["-o", "remount,ro"], disk.place.path()));
    let end = refused(&mut serving(&book), "");
    assert!(end.err.starts_with("rimbook: cannot write in the data folder"), "{}", end.err);
    assert_eq!((end.status.code(), end.err.lines().count()), (Some(1), 1), "{}", end.err);
}

#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn a_book_held_by_another_program_is_said_and_is_over_when_it_is_over() {
    let home = tempfile::tempdir().unwrap();
    let shop = Shop::open(home.path());
    let file = home.path().join("rimbook.db");
    let mut other = SqliteConnectOptions::new().filename(&file).connect().await.unwrap();
    sqlx::raw_sql("begin immediate").execute(&mut other).await.unwrap();
    let key = new_key();
    let (sent, shop) = tokio::task::spawn_blocking(move || (shop.send(&key, "Odile Marrow"), shop)).await.unwrap();
    let Sent::Refused(head, page) = sent else { panic!("{sent:?}") };
    assert!(head.contains("409") && page.contains("held by another program"), "{head}{page}");
    sqlx::raw_sql("rollback").execute(&mut other).await.unwrap();
    other.close().await.unwrap();
    assert_eq!(shop.must_take("Odile Marrow"), "/jobs/1001");
}

/// A library that shows a program another clock (Debian's package faketime).
fn other_clock() -> Option<PathBuf> {
    let folders =
        fs::read_dir("/usr/lib").ok()?.filter_map(|entry| Some(entry.ok()?.path().join("faketime/libfaketime.so.1")));
    folders.into_iter().find(|library| library.is_file())
}

#[test]
fn a_clock_that_is_moved_under_the_running_program_loses_and_doubles_nothing() {
    let Some(library) = other_clock() else {
        eprintln!("SKIPPED: no libfaketime here");
        return;
    };
    let home = tempfile::tempdir().unwrap();
    let hands = home.path().join("clock");
    fs::write(&hands, "+0d").unwrap();
    let mut command = serving(&home.path().join("book"));
    // How long something lasts is measured by another clock, which is left alone.
    command.env("LD_PRELOAD", library).env("FAKETIME_TIMESTAMP_FILE", &hands).env("FAKETIME_NO_CACHE", "1");
    command.env("FAKETIME_DONT_FAKE_MONOTONIC", "1").env("DONT_FAKE_MONOTONIC", "1");
    let mut shop = Shop::of(Running::run(command));
    // Forward by a month, back, forward beyond a year, back again; each order once more, as after a double click.
    for (round, offset) in [0, 30, 0, 400, 0].into_iter().enumerate() {
        fs::write(&hands, format!("+{offset}d")).unwrap();
        shop.days_ahead = offset;
        let key = new_key();
        for _ in 0..2 {
            let sent = shop.send(&key, &format!("Clock{round} Marrow"));
            let Sent::Kept(job) = &sent else { panic!("{offset}: {sent:?}") };
            assert_eq!(job.trim_end_matches("?already=order"), format!("/jobs/{}", 1001 + round), "{offset}");
        }
        let (_, today) = shop.running.get("/");
        assert!(today.contains(&(1001 + round).to_string()), "{offset}: the order is among the open ones");
    }
    shop.running.signal("TERM");
    shop.running.ended(Duration::from_secs(10)).unwrap();
    let shop = Shop::of(Running::run(serving(&home.path().join("book"))));
    assert_eq!(shop.must_take("After Marrow"), "/jobs/1006");
}

#[test]
fn a_clock_that_is_put_back_or_forward_loses_and_doubles_nothing() {
    // Without that library the zone is what a program sees of a changed clock; a day each way.
    let home = tempfile::tempdir().unwrap();
    for (round, zone) in ["<+14>-14", "<-12>+12", "<+14>-14"].into_iter().enumerate() {
        let mut command = serving(home.path());
        command.env("TZ", zone);
        let mut shop = Shop::of(Running::run(command));
        assert_eq!(shop.must_take(&format!("Zone{round} Marrow")), format!("/jobs/{}", 1001 + round));
        shop.running.signal("TERM");
        shop.running.ended(Duration::from_secs(10)).unwrap();
    }
}
