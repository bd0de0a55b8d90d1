//! Everything in the book as files, and a book from them.

use std::fs;
use std::path::Path;

use rimbook::desk::drilling::read_holes;
use rimbook::desk::frame_shape::NewShape;
use rimbook::optics::Pair;
use rimbook::safekeeping::FilesError;
use rimbook::safekeeping::export::export;
use rimbook::safekeeping::import::import;
use rimbook::shape::record::read_any;
use rimbook::store::{FILE_NAME, Store};
use tempfile::TempDir;

use super::backup::{assert_equal_books, given_work};
use super::support::{NOW, TestLab};

/// A lab with work, texts that a table of values can trip over, and its export.
async fn given_export() -> (TestLab, TempDir) {
    let lab = given_work().await;
    for (at, note) in
        ["=1+1", "'tis, \"quoted\"", "two\r\nlines", "+1 555-0100", "Łukasz \u{1f453}", "-"].iter().enumerate()
    {
        lab.store.append_note(&format!("note-1001-{at}"), 1001, note, NOW).await.unwrap();
    }
    let folder = tempfile::tempdir().unwrap();
    let said = export(lab.folder.path(), folder.path()).await.unwrap();
    assert!(said.starts_with("Written: ") && said.lines().count() == 1, "{said}");
    (lab, folder)
}

#[tokio::test]
async fn an_import_of_an_export_is_an_equal_book() {
    let (lab, folder) = given_export().await;
    let fresh = tempfile::tempdir().unwrap();
    let said = import(folder.path(), &fresh.path().join("new")).await.unwrap();
    assert!(said.starts_with("Made: a book of "), "{said}");
    // When each migration was applied is of the file, and the index is built anew: it finds the same, in one piece.
    let built_anew = ["_sqlx_migrations", "_search_config", "_search_data", "_search_idx", "search_word", "search_gap"];
    assert_equal_books(&fresh.path().join("new"), lab.folder.path(), &built_anew).await;
    let lab = lab.reopened_on(fresh.path().join("new")).await;
    assert_eq!(lab.given_job().await, 1004, "a number is never used twice");
    assert_eq!(lab.store.list_customers("quil", 9).await.unwrap().len(), 4);
    assert!(lab.get("/jobs/1001").await.body.contains("Ada Quill"));
    // A second export says the same.
    let again = tempfile::tempdir().unwrap();
    export(&fresh.path().join("new"), again.path()).await.unwrap();
    assert_ne!(
        fs::read(again.path().join("tables/job.csv")).unwrap(),
        fs::read(folder.path().join("tables/job.csv")).unwrap()
    );
    assert_eq!(
        fs::read(again.path().join("tables/verification.csv")).unwrap(),
        fs::read(folder.path().join("tables/verification.csv")).unwrap()
    );
}

/// The export of an earlier version is taken as well: it is brought up to date as the book itself would be.
#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn an_import_of_an_earlier_versions_export_is_the_book_brought_up_to_date() {
    let saved = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/books");
    for entry in fs::read_dir(saved).unwrap() {
        let path = entry.unwrap().path();
        let folder = tempfile::tempdir().unwrap();
        let [old, files, new] = ["old", "files", "new"].map(|name| folder.path().join(name));
        fs::create_dir(&old).unwrap();
        fs::copy(&path, old.join(FILE_NAME)).unwrap();
        export(&old, &files).await.unwrap();
        let manifest = fs::read_to_string(files.join("book.json")).unwrap();
        let version = path.file_stem().unwrap().to_str().unwrap();
        assert!(manifest.contains(&format!("\"schema_version\": {version}")), "it is exported as it stands");
        import(&files, &new).await.unwrap_or_else(|why| panic!("{}: {why}", path.display()));
        Store::open(&old).await.unwrap().close().await;
        // The mark of a book's backups is drawn by lot in 0035; the rest is built anew.
        let built_anew = [
            "backup_setting",
            "_sqlx_migrations",
            "_search_config",
            "_search_data",
            "_search_idx",
            "search_word",
            "search_gap",
        ];
        assert_equal_books(&new, &old, &built_anew).await;
    }
}

#[tokio::test]
async fn an_export_makes_sense_without_the_program() {
    let (lab, folder) = given_export().await;
    let read = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap_or_else(|why| panic!("{name}: {why}"));
    let customers = read("tables/customer.csv");
    let (head, first) = (customers.lines().next().unwrap(), customers.lines().nth(1).unwrap());
    assert!(
        head.starts_with("number,id,name,name_key,line1") && first.contains(",Ada Quill,ada quill,12 Ropewalk,"),
        "{customers}"
    );
    let notes = read("tables/job_event.csv");
    for text in
        [",'=1+1,", ",\"''tis, \"\"quoted\"\"\",", ",\"two\r\nlines\",", ",'+1 555-0100,", ",Łukasz \u{1f453},", ",'-,"]
    {
        assert!(notes.contains(text), "{text} in\n{notes}");
    }
    assert!(
        read("tables.sql").contains("-- what the lens costs")
            || read("tables.sql").contains("-- the row of `customer_search`")
    );
    let receipt = read("receipts/5001.txt");
    assert!(receipt.contains("Saltmarsh Lens Post") && receipt.contains("Receipt 5001 of job 1001"), "{receipt}");
    serde_json::from_str::<serde_json::Value>(&read("receipts/5001.json")).unwrap();
    // Every trace file is read by the reader of any trace file, and is the shape of its job.
    let shapes: Vec<_> = fs::read_dir(folder.path().join("shapes")).unwrap().map(|e| e.unwrap().path()).collect();
    assert_eq!(shapes.len(), 3);
    for shape in shapes {
        let file = read_any(&fs::read(&shape).unwrap()).unwrap_or_else(|why| panic!("{}: {why:?}", shape.display()));
        let job: i64 = file.job.unwrap().parse().unwrap();
        let kept = lab.store.find_job_shape(&lab.store.get_job(job).await.unwrap()).await.unwrap().unwrap();
        assert_eq!(file.traces, kept.traces);
    }
    let kept: Vec<_> =
        fs::read_dir(folder.path().join("files")).unwrap().map(|e| fs::read(e.unwrap().path()).unwrap()).collect();
    assert!(kept.iter().any(|bytes| bytes.starts_with(b"\x89PNG")) && kept.iter().any(|bytes| bytes == b"given"));
    assert!(read("READ-ME.txt").contains("hundredths"));
}

/// A rim traced with its depth, a private record, holes, and a child of it with other holes: each is the same after the way out
/// and in again, for another program as for this one.
#[tokio::test]
async fn a_shape_with_depth_and_holes_is_equal_after_the_way_out_and_in() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let heights = (0..90).map(|i| ((f64::from(i) * 4.0).to_radians().cos() * -150.0).round().to_string());
    let heights = heights.collect::<Vec<_>>().join(";");
    let mut text = "JOB=1\r\n_OWN=kept as it is\r\nDBL=17.00\r\nDRILLE=R;C;-18.00;2.00;1.40\r\n".to_owned();
    for side in ["R", "L"] {
        let radii = (0..90).map(|i| (2200 + (i * 7) % 40).to_string()).collect::<Vec<_>>().join(";");
        text += &format!("TRCFMT=1;90;E;{side};F\r\nR={radii}\r\nZFMT=1;90;E;{side};F\r\nZ={heights}\r\n");
    }
    let new = NewShape::read(text.as_bytes(), "rim.txt", None, None, "17".parse().unwrap()).unwrap();
    assert!(new.rim.right.is_some() && new.holes.right.len() == 1 && new.rim_curve_tool_d.right.is_some());
    lab.store.keep_shape("shape-1", job, &new, NOW).await.unwrap();
    let shape = async || lab.store.find_job_shape(&lab.store.get_job(job).await.unwrap()).await.unwrap().unwrap();
    let traced = shape().await;
    let holes = read_holes("nose 3 -1 1.2 to 5 -1\ntemple 3.5 2 1.4").unwrap();
    let child = traced.drilled(Pair::new(holes.clone(), holes));
    lab.store.keep_child_shape("shape-2", job, (traced.id, "drilled"), &child, NOW).await.unwrap();
    let drilled = shape().await;

    let folder = tempfile::tempdir().unwrap();
    export(lab.folder.path(), folder.path()).await.unwrap();
    for kept in [traced, drilled] {
        let file = folder.path().join(format!("shapes/{}.txt", kept.id.0.simple()));
        let bytes = fs::read(&file).unwrap();
        assert!(String::from_utf8_lossy(&bytes).contains("_OWN=kept as it is\r\n"));
        let again = NewShape::read(&bytes, "again.txt", None, None, "30".parse().unwrap()).unwrap();
        // As another book keeps it.
        let other = lab.given_job().await;
        lab.store.keep_shape(&format!("shape-{other}"), other, &again, NOW).await.unwrap();
        let again = lab.store.find_job_shape(&lab.store.get_job(other).await.unwrap()).await.unwrap().unwrap();
        assert_eq!((&again.traces, again.derived, again.dbl), (&kept.traces, kept.derived, kept.dbl));
        assert_eq!((again.rim, again.rim_curve_tool_d, &again.holes), (kept.rim, kept.rim_curve_tool_d, &kept.holes));
    }
}

async fn refused(folder: &Path) -> String {
    let fresh = tempfile::tempdir().unwrap();
    let why = import(folder, fresh.path()).await.expect_err("a broken export").to_string();
    assert_eq!(why.lines().count(), 1, "{why}");
    assert_eq!(fs::read_dir(fresh.path()).unwrap().count(), 0, "nothing is left: {why}");
    why
}

#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn a_broken_export_makes_no_book_and_says_where_it_is_broken() {
    let (lab, folder) = given_export().await;
    let path = |name: &str| folder.path().join(name);
    for (file, from, to, says) in [
        ("tables/charge.csv", ",8900,", ",89OO,", "charge.csv, line 2: amount_cents: “89OO” is not a whole number"),
        ("tables/charge.csv", ",8900,", ",890000000000,", "charge_amount"),
        (
            "tables/customer.csv",
            "number,id,name",
            "number,id,nome",
            "customer.csv: the first line is to be number,id,name",
        ),
        ("tables/job.csv", "1002,", "\"1002,", "job.csv"),
        ("tables/payment.csv", "1001,", "1777,", "points at a row that is not there"),
        ("tables/attachment_bytes.csv", "files/", "../files/", "no place of a kept file"),
        ("tables/receipt.csv", "\r\n5001,", "\r\n5001,1,,,,,,\r\n5001,", "receipt.csv"),
        ("book.json", "rimbook export 1", "rimbook export 9", "the format is"),
        ("book.json", "\"schema_version\": ", "\"schema_version\": 9", "newer Rimbook"),
        ("book.json", "\"payment\": {", "\"payments\": {", "no book has a table payments"),
    ] {
        let before = fs::read_to_string(path(file)).unwrap();
        assert!(before.contains(from), "{file} has {from}:\n{before}");
        fs::write(path(file), before.replacen(from, to, 1)).unwrap();
        let why = refused(folder.path()).await;
        assert!(why.contains(says), "{file} {to}: {why}");
        fs::write(path(file), before).unwrap();
    }
    // A row, a file, a table too few.
    let jobs = fs::read_to_string(path("tables/job_shape.csv")).unwrap();
    fs::write(path("tables/job_shape.csv"), &jobs[..jobs.trim_end().rfind('\n').unwrap() + 1]).unwrap();
    assert!(refused(folder.path()).await.contains("there are not as many"));
    fs::write(path("tables/job_shape.csv"), jobs).unwrap();
    fs::rename(path("files"), path("file")).unwrap();
    assert!(refused(folder.path()).await.contains("files/"));
    fs::rename(path("file"), path("files")).unwrap();
    fs::remove_file(path("tables/cut.csv")).unwrap();
    assert!(refused(folder.path()).await.contains("cut.csv"));

    let there = import(folder.path(), lab.folder.path()).await;
    assert!(matches!(there, Err(FilesError::BookThere(_))), "{there:?}");
    let full = export(lab.folder.path(), folder.path()).await;
    assert!(matches!(full, Err(FilesError::NotEmpty(_))), "{full:?}");
    assert!(!folder.path().join(FILE_NAME).exists());
}
