//! How the program starts, from outside: what it refuses and in which words, where it listens, what it needs.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

#[path = "support/running.rs"]
mod running;

use std::fs;
use std::io::Write;
use std::net::{IpAddr, TcpListener, TcpStream, UdpSocket};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use running::{Refused, Running, ask, free_port, refused, rimbook};
use sqlx::{Connection, SqliteConnection};

/// The one line of a start that was refused with exit code 1.
#[track_caller]
fn one_line(refused: &Refused) -> &str {
    assert_eq!((refused.status.code(), refused.out.as_str()), (Some(1), ""), "{}", refused.err);
    assert_eq!(refused.err.lines().count(), 1, "{}", refused.err);
    refused.err.trim_end()
}

#[test]
fn refuses_a_folder_it_cannot_write() {
    let home = tempfile::tempdir().unwrap();
    fs::write(home.path().join("letter"), "not a folder").unwrap();
    // Below a file there can be no folder, whoever asks: rights would not stop root.
    let folder = home.path().join("letter/book");
    let end = refused(rimbook().arg("--data").arg(&folder).args(["--port", "0"]), "");
    let line = one_line(&end);
    assert!(line.starts_with("rimbook: cannot write in the data folder"), "{line}");
    assert!(line.contains(folder.to_str().unwrap()) && line.ends_with("Choose another with --data DIR"), "{line}");
    assert_eq!(fs::read_to_string(home.path().join("letter")).unwrap(), "not a folder");
}

#[tokio::test]
async fn refuses_a_book_of_a_newer_version_and_leaves_it_as_it_is() {
    let home = tempfile::tempdir().unwrap();
    drop(Running::start(home.path(), &[]));
    let file = home.path().join("rimbook.db");
    let mut book = SqliteConnection::connect(&format!("sqlite:{}", file.display())).await.unwrap();
    sqlx::raw_sql(
        "insert into _sqlx_migrations (version, description, success, checksum, execution_time) \
         values (9999, 'from the future', 1, x'00', 0); pragma wal_checkpoint(truncate)",
    )
    .execute(&mut book)
    .await
    .unwrap();
    book.close().await.unwrap();
    let before = fs::read(&file).unwrap();
    let end = refused(rimbook().arg("--data").arg(home.path()).args(["--port", "0"]), "");
    let line = one_line(&end);
    assert!(line.contains("made by a newer Rimbook (its version 9999") && line.contains("rimbook.db"), "{line}");
    assert_eq!(fs::read(&file).unwrap(), before, "not one byte of the book is touched");
}

#[test]
fn refuses_what_is_not_a_book() {
    let home = tempfile::tempdir().unwrap();
    let file = home.path().join("rimbook.db");
    fs::write(&file, "Dear Ada, the frames came today. ".repeat(200)).unwrap();
    let end = refused(rimbook().arg("--data").arg(home.path()).args(["--port", "0"]), "");
    let line = one_line(&end);
    assert!(line.starts_with("rimbook: cannot open the book") && line.contains("rimbook.db"), "{line}");
    assert!(fs::read_to_string(&file).unwrap().starts_with("Dear Ada"));
}

#[test]
fn refuses_a_port_in_use_before_it_touches_the_book() {
    let taken = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("book");
    let end = refused(rimbook().arg("--data").arg(&folder).args(["--port", &port]), "");
    let line = one_line(&end);
    assert!(
        line.contains(&format!("port {port} is in use by another program")) && line.contains("--port PORT"),
        "{line}"
    );
    assert!(!folder.exists(), "a second Rimbook must not touch the book of the first");
}

#[test]
fn the_demonstration_leaves_a_book_with_a_lab_as_it_is() {
    let home = tempfile::tempdir().unwrap();
    let first = Running::start(home.path(), &["--demo"]);
    assert!(first.said.iter().any(|line| line.contains("60 customers")), "{:?}", first.said);
    let (_, before) = first.get("/customers");
    drop(first);
    let again = Running::start(home.path(), &["--demo"]);
    assert_eq!(again.said[0], "The book already belongs to Saltmarsh Lens Post: nothing was added to it");
    assert_eq!(again.get("/customers").1, before);
}

#[test]
fn the_program_runs_alone_from_any_folder() {
    let elsewhere = tempfile::tempdir().unwrap();
    let program = elsewhere.path().join("lens-book");
    fs::copy(env!("CARGO_BIN_EXE_rimbook"), &program).unwrap();
    let mut command = Command::new(&program);
    command.current_dir(elsewhere.path()).args(["--data", "book", "--port", "0", "--no-browser"]);
    command.env_remove("CARGO_MANIFEST_DIR").env("HOME", elsewhere.path());
    let running = Running::run(command);
    let (head, page) = running.get("/start");
    assert!(head.starts_with("HTTP/1.1 200"), "{head}");
    assert!(page.contains("<h1>Your lab</h1>"), "{page}");
    for (path, kind) in [
        ("/static/style.css", "text/css"),
        ("/static/print.css", "text/css"),
        ("/static/js/app.js", "text/javascript"),
        ("/static/icon.svg", "image/svg+xml"),
    ] {
        let (head, body) = running.get(path);
        assert!(head.starts_with("HTTP/1.1 200") && head.to_lowercase().contains(kind), "{path}: {head}");
        assert!(!body.is_empty(), "{path}");
    }
    assert!(elsewhere.path().join("book/rimbook.db").is_file());
    let beside: Vec<_> = fs::read_dir(elsewhere.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(beside.len(), 2, "the program and its book, nothing else: {beside:?}");
}

/// An address of this machine that other machines could reach; no packet is sent to find it.
fn outward_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind(("0.0.0.0", 0)).ok()?;
    socket.connect(("192.0.2.1", 9)).ok()?;
    let address = socket.local_addr().ok()?.ip();
    (!address.is_loopback() && !address.is_unspecified()).then_some(address)
}

#[test]
fn listens_to_this_machine_alone() {
    let home = tempfile::tempdir().unwrap();
    let port = free_port();
    let running = Running::start_at(home.path(), &port.to_string());
    assert_eq!(running.address.to_string(), format!("127.0.0.1:{port}"));
    assert!(running.get("/start").0.starts_with("HTTP/1.1 200"));
    // Another loopback address shows a server that listens on all of them; an outward one, where there is one, is the point.
    let others = [Some(IpAddr::from([127, 0, 0, 2])), outward_address()];
    for other in others.into_iter().flatten() {
        let answer = TcpStream::connect_timeout(&(other, port).into(), Duration::from_secs(5));
        assert!(answer.is_err(), "{other} answers");
    }
}

#[cfg(unix)]
#[test]
fn the_book_is_for_its_owner_alone() {
    use std::os::unix::fs::PermissionsExt;
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("book");
    let running = Running::start(&folder, &[]);
    assert!(running.get("/start").0.starts_with("HTTP/1.1 200"));
    assert_eq!(fs::metadata(&folder).unwrap().permissions().mode() & 0o777, 0o700);
    for entry in fs::read_dir(&folder).unwrap().map(Result::unwrap) {
        let mode = entry.metadata().unwrap().permissions().mode() & 0o777;
        assert_eq!(mode, 0o600, "{:?}", entry.file_name());
    }
}

/// A circle 50 mm wide on a 20 mm bridge.
fn request(sphere: &str) -> String {
    let radii = vec!["25.0"; 360].join(",");
    format!(
        r#"{{"shape":{{"right":{{"radii_mm":[{radii}]}},"left":null}},"dbl_mm":20,"rx":{{"right":{{"sphere":{sphere}}},"left":null}},"pd_mm":{{"right":31,"left":33}},"height_mm":{{"right":25,"left":25}}}}"#
    )
}

#[test]
fn calc_answers_with_one_line_and_code_0() {
    let end = refused(rimbook().arg("calc"), &request("-2.25"));
    assert_eq!((end.status.code(), end.err.as_str(), end.out.lines().count()), (Some(0), "", 1), "{}", end.err);
    let answer: serde_json::Value = serde_json::from_str(&end.out).unwrap();
    // Half of 50 + 20 is 35; the pupil at 31 lies 4 towards the nose, that at 33 lies 2 (boxing system).
    let inward = |eye: &str| answer[eye]["decentration"]["in_mm"].as_f64().unwrap();
    assert!((inward("right") - 4.0).abs() < 0.001 && (inward("left") - 2.0).abs() < 0.001, "{answer}");
}

#[test]
fn calc_without_a_reader_ends_in_one_line() {
    let mut child =
        rimbook().arg("calc").stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    child.stdin.take().unwrap().write_all(request("-2.25").as_bytes()).unwrap();
    let end = child.wait_with_output().unwrap();
    let said = String::from_utf8(end.stderr).unwrap();
    assert_eq!((end.status.code(), said.lines().count()), (Some(1), 1), "{said}");
    assert!(said.starts_with("the answer cannot be written"), "{said}");
}

#[test]
fn the_pages_stay_open_when_nobody_reads_the_first_lines() {
    let home = tempfile::tempdir().unwrap();
    let port = free_port();
    let mut child = rimbook()
        .arg("--data")
        .arg(home.path())
        .args(["--port", &port.to_string(), "--no-browser"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let is_open = (0..600).any(|_| {
        std::thread::sleep(Duration::from_millis(50));
        TcpStream::connect(("127.0.0.1", port)).is_ok()
    });
    std::thread::sleep(Duration::from_millis(500));
    let end = child.try_wait().unwrap();
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(is_open && end.is_none(), "open: {is_open}, ended: {end:?}");
}

#[test]
fn calc_names_the_field_in_one_line_with_code_2() {
    for (input, field) in [
        (request("-99"), "rx.right.sphere"),
        (request("\"strong\""), "rx.right.sphere"),
        (request("-2.25").replace("dbl_mm", "dbl"), "dbl"),
        (request("-2.25").replace("\"right\":31", "\"right\":3"), "pd_mm.right"),
        ("{".to_owned(), "line 1"),
    ] {
        let end = refused(rimbook().arg("calc"), &input);
        assert_eq!((end.status.code(), end.out.as_str()), (Some(2), ""), "{field}");
        assert_eq!(end.err.lines().count(), 1, "{}", end.err);
        assert!(end.err.contains(field), "{field}: {}", end.err);
    }
}

/// The day a program shows when its machine's clock is so many hours ahead of UTC.
fn day_shown(zone: &str) -> String {
    let home = tempfile::tempdir().unwrap();
    let mut command = rimbook();
    command.arg("--data").arg(home.path()).args(["--port", "0", "--no-browser"]).env("TZ", zone);
    let running = Running::run(command);
    let host = running.address;
    let form = "key=start&name=Saltmarsh+Lens+Post&address=4+Quay+Lane";
    let (head, _) = ask(
        host,
        &format!(
            "POST /start HTTP/1.1\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n{form}",
            form.len()
        ),
    );
    assert!(head.starts_with("HTTP/1.1 303"), "{head}");
    let (_, page) = running.get("/");
    let (_, soft) = page.split_once("<span class=\"soft\">").unwrap();
    soft.split_once(" ·").unwrap().0.to_owned()
}

#[test]
fn the_day_is_that_of_the_machines_time_zone() {
    // Zones 26 hours apart never share a day, at whatever hour this test runs.
    for (zone, hours) in [("<+14>-14", 14), ("<-12>+12", -12)] {
        let day = || {
            let now = time::OffsetDateTime::now_utc() + time::Duration::hours(hours);
            let form = time::macros::format_description!("[weekday repr:short] [month repr:short] [day padding:none]");
            now.date().format(form).unwrap()
        };
        let (before, shown, after) = (day(), day_shown(zone), day());
        assert!([before, after].contains(&shown), "{zone}: {shown}");
    }
}

#[test]
fn a_log_that_is_no_terminal_has_no_color_codes() {
    let home = tempfile::tempdir().unwrap();
    let log = home.path().join("log");
    let mut child = rimbook()
        .arg("--data")
        .arg(home.path().join("book"))
        .args(["--port", "0", "--no-browser"])
        .env("RUST_LOG", "debug")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(fs::File::create(&log).unwrap())
        .spawn()
        .unwrap();
    let lines = running::lines_of(child.stdout.take().unwrap());
    while let Ok(line) = lines.recv_timeout(Duration::from_secs(60)) {
        if line.starts_with("The book is in") {
            break;
        }
    }
    child.kill().unwrap();
    child.wait().unwrap();
    let said = fs::read_to_string(&log).unwrap();
    assert!(said.contains("DEBUG") && !said.contains('\u{1b}'), "{said}");
}

/// The service manager itself finds nothing wrong with the unit, where this machine has one.
fn service_manager_reads(unit: &Path, home: &Path) {
    let mut verify = Command::new("systemd-analyze");
    verify.args(["verify", "--user", "--man=no"]).arg(unit).env("XDG_RUNTIME_DIR", home);
    match verify.output() {
        Ok(said) => {
            let faults = String::from_utf8_lossy(&said.stderr).into_owned();
            assert!(said.status.success() && faults.is_empty(), "{faults}");
        }
        Err(why) => eprintln!("SKIPPED: systemd-analyze: {why}"),
    }
}

#[test]
fn it_installs_itself_for_its_user_and_takes_all_of_it_away_again() {
    let home = tempfile::tempdir().unwrap();
    let (config, data) = (home.path().join("config"), home.path().join("data"));
    // Without a service manager on the path nothing of this machine's is started or stopped.
    let install = || {
        let mut command = rimbook();
        command.arg("install").env("PATH", home.path()).env("HOME", home.path());
        command
            .env("XDG_CONFIG_HOME", &config)
            .env("XDG_DATA_HOME", &data)
            .arg("--data")
            .arg(home.path().join("my book"));
        command
    };
    let files = [
        config.join("systemd/user/rimbook.service"),
        data.join("applications/rimbook.desktop"),
        data.join("icons/hicolor/scalable/apps/rimbook.svg"),
    ];
    for _ in 0..2 {
        let end = refused(&mut install(), "");
        assert!(
            end.status.success() && end.out.contains("systemctl --user enable --now rimbook.service"),
            "{}",
            end.err
        );
    }
    service_manager_reads(&files[0], home.path());
    let [unit, entry, icon] = files.each_ref().map(|file| fs::read_to_string(file).unwrap());
    let command = format!("\"{}\" --data \"{}\"", env!("CARGO_BIN_EXE_rimbook"), home.path().join("my book").display());
    assert!(
        unit.contains(&format!("ExecStart={command} --no-browser\n")) && unit.contains("Restart=on-failure"),
        "{unit}"
    );
    assert!(entry.contains(&format!("Exec={command}\n")) && entry.contains("Icon=rimbook"), "{entry}");
    assert!(icon.contains("<svg"), "{icon}");
    let end = refused(install().arg("--remove"), "");
    assert!(end.status.success(), "{}", end.err);
    assert!(files.iter().all(|file| !file.exists()), "{}", end.out);
    assert!(refused(install().arg("--remove"), "").status.success(), "nothing to take away is no failure");
}
