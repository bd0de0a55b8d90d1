//! One book is open in one program at a time.

use crate::running::{Running, refused};
use crate::shop::serving;

#[test]
fn a_second_start_says_who_has_the_book() {
    let home = tempfile::tempdir().unwrap();
    let first = Running::run(serving(home.path()));
    let end = refused(&mut serving(home.path()), "");
    assert_eq!((end.status.code(), end.out.as_str()), (Some(1), ""), "{}", end.err);
    assert_eq!(end.err.lines().count(), 1, "{}", end.err);
    for part in [home.path().to_str().unwrap(), &format!("http://{}", first.address), &first.process().to_string()] {
        assert!(end.err.contains(part), "{part}: {}", end.err);
    }
    // The port of the first is no reason to suggest another one: that would open the same book twice.
    let mut same_port = crate::running::rimbook();
    same_port.arg("--data").arg(home.path()).args(["--no-browser", "--port", &first.address.port().to_string()]);
    let end = refused(&mut same_port, "");
    assert!(end.err.contains("open in another Rimbook") && !end.err.contains("--port"), "{}", end.err);
    assert!(first.get("/start").0.starts_with("HTTP/1.1 200"));
    // However the first ended, the folder is free.
    drop(first);
    Running::run(serving(home.path()));
}

#[test]
fn devices_are_sent_to_the_program_that_has_the_book() {
    let home = tempfile::tempdir().unwrap();
    let nothing = home.path().join("nothing");
    let devices = |folder: &std::path::Path| {
        let mut command = crate::running::rimbook();
        command.args(["devices", "--listen", "127.0.0.1:0", "--data"]).arg(folder);
        command
    };
    let end = refused(&mut devices(&nothing), "");
    assert!(end.err.contains("there is no book in") && end.err.lines().count() == 1, "{}", end.err);
    assert!(!nothing.exists());
    let first = Running::run(serving(home.path()));
    let end = refused(&mut devices(home.path()), "");
    assert_eq!((end.status.code(), end.err.lines().count()), (Some(1), 1), "{}", end.err);
    for part in [&format!("http://{}", first.address), "start it with: rimbook --devices 127.0.0.1:"] {
        assert!(end.err.contains(part), "{part}: {}", end.err);
    }
}

#[cfg(unix)]
#[test]
fn a_link_where_it_tries_to_write_is_not_followed() {
    let home = tempfile::tempdir().unwrap();
    let letter = home.path().join("letter");
    for name in [".rimbook-can-write", "rimbook.lock"] {
        std::fs::write(&letter, "Dear Ada").unwrap();
        let folder = home.path().join(format!("of-{name}"));
        std::fs::create_dir(&folder).unwrap();
        std::os::unix::fs::symlink(&letter, folder.join(name)).unwrap();
        let mut command = serving(&folder);
        if name == "rimbook.lock" {
            let end = refused(&mut command, "");
            assert!(end.err.contains("rimbook.lock is no plain file"), "{}", end.err);
        } else {
            Running::run(command);
        }
        assert_eq!(std::fs::read_to_string(&letter).unwrap(), "Dear Ada", "{name}");
    }
}
