//! Old records: a folder and a table are matched, tried and brought in, and new lenses are made from an old number.

use std::time::{Duration, Instant};

use axum::body::Body;
use axum::http::{Request, header};
use rimbook::desk::customer::Person;
use rimbook::desk::job::Stage;
use time::{Duration as Days, UtcOffset};

use crate::addresses::fields_of;
use crate::support::{Answer, NOW, TestLab};

const PAGE: &str = "/lab/old-records";
const COLUMNS: &str = "/lab/old-records/columns";
const TRIAL: &str = "/lab/old-records/trial";

/// A table that needs no trace file.
pub const TABLE: &str = "No;Customer;Eye size;DBL;What\r\n4711;Cy Ebb;50;18;-1,00\r\n";

/// A round rim.
pub fn trace(dbl: &str) -> String {
    format!("{dbl}TRCFMT=1;36;E;R;F\r\nR={}\r\n", vec!["2500"; 36].join(";"))
}

/// Uploads a table; the folder is that of the book, in a folder of its own.
pub async fn given_table(lab: &TestLab, table: &str) -> Answer {
    let folder = lab.folder.path().join("traces");
    std::fs::create_dir_all(&folder).unwrap();
    let folder = folder.display().to_string();
    lab.upload(PAGE, &[("folder", &folder)], "table", "jobs.csv", table.as_bytes()).await
}

/// Waits until the work in the background is done; the page then.
pub async fn wait(lab: &TestLab) -> Answer {
    let until = Instant::now() + Duration::from_secs(60);
    loop {
        let page = lab.get(TRIAL).await;
        if page.status == 303 || !page.body.contains("data-progress") {
            return page;
        }
        assert!(Instant::now() < until, "{}", page.body);
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

/// Posts the columns as the page has them, with some set otherwise, and waits for the report.
pub async fn try_out(lab: &TestLab, set: &[(&str, &str)]) -> Answer {
    let mut fields = fields_of(&lab.get(COLUMNS).await, COLUMNS);
    for (name, value) in set {
        fields.retain(|(other, _)| other != name);
        fields.push(((*name).to_owned(), (*value).to_owned()));
    }
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    let posted = lab.post_as_is(COLUMNS, &fields).await;
    assert_eq!((posted.status.as_u16(), posted.location.as_str()), (303, TRIAL), "{}", posted.body);
    wait(lab).await
}

/// Presses the button of the report; the page that says what was done.
pub async fn bring_in(lab: &TestLab) -> Answer {
    let fields = fields_of(&lab.get(TRIAL).await, TRIAL);
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    // Twice, as an impatient hand does.
    for _ in 0..2 {
        let posted = lab.post_as_is(TRIAL, &fields).await;
        assert_eq!((posted.status.as_u16(), posted.location.as_str()), (303, TRIAL));
    }
    let done = wait(lab).await;
    assert_eq!(done.location, "/lab/old-records?done=yes", "{}", done.body);
    lab.get(&done.location).await
}

fn figures(page: &Answer) -> Vec<String> {
    page.texts(".figures .num")
}

#[tokio::test]
async fn new_lenses_are_made_from_an_old_number() {
    let mut lab = TestLab::new().await;
    let today = lab.given_job().await;
    let links = lab.get("/lab").await.attributes("main a[href='/lab/old-records']", "href");
    assert_eq!(links.len(), 1);
    lab.get(COLUMNS).await.assert_status(303);
    let table = "Bin;Patient;Phone;Brand;Model;Eye;When;OD;OS;PD;Remark\r\n\
                 B-12;Ada Quill;;Heron & Rye;Dunlin;50;25/4/2019;-2,25 -0,75 x 95;+0,50 sph;31/32;likes thin\r\n\
                 B-13;Zoë Marchver;555-0117;Heron & Rye;Dunlin;50;2/5/2020;;;;\r\n";
    given_table(&lab, table).await.assert_status(303);
    std::fs::write(lab.folder.path().join("traces/b-12.txt"), trace("DBL=18.00\r\n")).unwrap();
    std::fs::write(lab.folder.path().join("traces/B-13.txt"), trace("DBL=18.00\r\n")).unwrap();

    // The guess knows the plain heads; the others are set, and stay set when the page is loaded again.
    let page = lab.get(COLUMNS).await;
    page.assert_status(200);
    let guessed: Vec<String> = page.attributes("tbody option[selected]", "value");
    let want =
        ["nothing", "name", "phone", "maker", "model", "eye_size", "date", "right_power", "left_power", "pd", "note"];
    assert_eq!(guessed, want);
    assert_eq!(page.attributes("#days option[selected]", "value"), ["day_first"], "known by what stands in it");
    let own = [("column_0", "number")];
    let report = try_out(&lab, &own).await;
    report.assert_status(200);
    assert_eq!(figures(&report), ["2", "2", "2", "1", "1", "1", "0", "0"], "{}", report.text("main"));
    assert_eq!(lab.get(COLUMNS).await.attributes("#column_0 option[selected]", "value"), ["number"]);
    assert_eq!(lab.count_rows("old_record").await, 0, "a trial writes nothing");

    let done = bring_in(&lab).await;
    assert!(
        done.text(".notice").contains("2 jobs, 2 of them with a shape, 1 new customers and 1 new frames"),
        "{}",
        done.body
    );
    assert_eq!((lab.count_rows("old_record").await, lab.count_rows("old_upload").await), (2, 0));

    // The old number leads to its page, whatever case it is typed in; a word finds it too.
    let old = lab.post_as_is("/find", &[("q", "b-12")]).await.location;
    let number: i64 = old.rsplit('/').next().unwrap().parse().unwrap();
    let page = lab.get(&old).await;
    page.assert_status(200);
    let said = page.text("main");
    for words in ["B-12", "Ada Quill", "Apr 25, 2019", "likes thin", "Heron & Rye Dunlin", "31.00/32.00"] {
        assert!(said.contains(words), "{words} in {said}");
    }
    assert_eq!(page.texts(".eye .rx.large"), ["-2.25 -0.75 x 095", "+0.50 sph"]);
    assert_eq!(page.texts("ul.steps a"), ["Order", "Shape"]);
    let found = lab.search("/find", "marchver 2020").await;
    assert!(
        found.text("main").contains("was B-13") && found.text("main").contains("brought in"),
        "{}",
        found.text("main")
    );

    // It is no work of today and no money, and nothing is done to it that belongs to work.
    assert_eq!(lab.store.list_open_jobs().await.unwrap().len(), 1, "the job of the standing cast");
    for end in ["ticket", "lenses", "bill", "layout", "check", "shipment", "remake", "correction", "promise", "papers"]
    {
        let refused = lab.get(&format!("{old}/{end}")).await;
        assert_eq!(refused.status, 409, "{end}");
        assert!(refused.text("main").contains("was brought in from old records"), "{end}: {}", refused.text("main"));
    }
    let paid = [("amount", "5"), ("kind", "cash"), ("paid_on", "2026-11-25"), ("key", &format!("payment-{number}-0"))];
    lab.post_as_is(&format!("{old}/payments"), &paid).await.assert_status(409);
    for end in ["shape", "files", "notes", "shape/similar", "shape/export", "shape/original"] {
        lab.get(&format!("{old}/{end}")).await.assert_status(200);
    }
    lab.post(&format!("{old}/notes"), &[("note", "called again"), ("key", &format!("note-{number}-0"))])
        .await
        .assert_status(303);

    // New lenses: the customer and the pupil distance are filled in, the material is not, and the shape is lent.
    let order = lab.get(&format!("{old}/relens")).await.location;
    let page = lab.get(&order).await;
    page.assert_status(200);
    assert_eq!(page.attributes("#pd", "value"), ["31/32"]);
    assert_eq!(page.attributes("input[name=relens_of]", "value"), [number.to_string()]);
    let mut fields = fields_of(&page, order.split('?').next().unwrap());
    for (name, value) in [("rx_right", "-2.50 -0.75 x 95"), ("rx_left", "+0.50 sph"), ("price_lens", "40")] {
        fields.retain(|(other, _)| other != name);
        fields.push((name.to_owned(), value.to_owned()));
    }
    let send = |fields: &[(String, String)]| fields.iter().map(|(n, v)| (n.clone(), v.clone())).collect::<Vec<_>>();
    let sent = send(&fields);
    let sent: Vec<(&str, &str)> = sent.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let mut taken = lab.post_as_is(order.split('?').next().unwrap(), &sent).await;
    if taken.status == 422 {
        // Cautions are read and confirmed.
        let mut again = fields_of(&taken, order.split('?').next().unwrap());
        again.extend(
            taken.attributes("input[type=checkbox][name=seen]", "value").into_iter().map(|v| ("seen".to_owned(), v)),
        );
        let again: Vec<(&str, &str)> = again.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        taken = lab.post_as_is(order.split('?').next().unwrap(), &again).await;
    }
    let new: i64 = taken
        .assert_status(303)
        .location
        .rsplit('/')
        .next()
        .unwrap()
        .parse()
        .unwrap_or_else(|_| panic!("{}", taken.location));
    let job = lab.store.get_job(new).await.unwrap();
    assert_eq!((job.relens_of(), job.stage()), (Some(number), Stage::ShapeOnFile));
    let shape = lab.store.find_job_shape(&job).await.unwrap().unwrap();
    assert_eq!(shape.job_number, Some(number));
    assert!(lab.get(&old).await.text("main").contains(&format!("job {new}")));
    lab.get(&format!("/jobs/{new}/layout")).await.assert_status(200);

    // Ada's own job of today stays the one that an order of hers is compared with.
    let customer = lab.store.get_job(today).await.unwrap().customer.id;
    assert_eq!(lab.store.find_last_job_of(customer).await.unwrap(), Some(new));

    // The same folder and table again bring nothing.
    given_table(&lab, table).await.assert_status(303);
    let report = try_out(&lab, &own).await;
    assert_eq!(figures(&report)[..3], ["2", "0", "0"]);
    assert_eq!(figures(&report)[6], "2");
    assert!(report.text("main").contains("There is nothing new to bring in"));

    // Old records may be erased at once: what counts is the day of the job.
    let zoe = lab.store.list_customers("Zoë Marchver", 2).await.unwrap().remove(0).id;
    lab.move_to(NOW + Days::days(2), UtcOffset::UTC).await;
    lab.post(&format!("/customers/{zoe}/erasure"), &[("reason", "by letter"), ("sure", "yes")])
        .await
        .assert_status(303);
    assert_eq!(lab.count_rows("old_upload").await, 0, "a waiting table may name her");
    let gone = lab.post_as_is("/find", &[("q", "B-13")]).await;
    lab.get(&gone.location).await.assert_status(410);
}

#[tokio::test]
async fn rows_with_a_problem_are_said_and_left_out_only_where_asked() {
    let lab = TestLab::new().await;
    lab.store.insert_customer(&Person { name: "Cy Ebb".into(), ..Person::default() }, NOW).await.unwrap();
    let table = "No,Customer,Eye size,DBL,OD,Trace\r\n1,Cy Ebb,50,18,minus two,\r\n2,CY EBB,50,18,-2.00,\r\n3,,50,18,,gone.txt\r\n2,Di Fen,50,18,,\r\n";
    given_table(&lab, table).await.assert_status(303);
    std::fs::write(lab.folder.path().join("traces/spare.txt"), trace("")).unwrap();
    let report = try_out(&lab, &[]).await;
    let lines = report.texts("ul.faults li");
    let begins = [
        "Row 2: right eye, “minus two”: ",
        "Row 4: no customer: ",
        "Row 5: it has the number 2 as row 3 has: ",
        "File spare.txt: no row names it",
    ];
    assert_eq!(lines.len(), begins.len(), "{lines:?}");
    for (line, begin) in lines.iter().zip(begins) {
        assert!(line.starts_with(begin) && line.ends_with('.'), "{line}");
    }
    assert_eq!(figures(&report), ["4", "1", "0", "0", "1", "1", "0", "3"]);
    assert_eq!(report.texts("form button[type=submit]").last().map(String::as_str), Some("Bring in the others"));
    let done = bring_in(&lab).await;
    assert!(done.text(".notice").contains("and 3 were left out"), "{}", done.text(".notice"));
    assert_eq!(lab.count_rows("old_record").await, 1);
    assert_eq!(lab.store.list_namesakes("cy ebb", 5).await.unwrap().len(), 1, "the customer was recognized");

    // With a job 2 and an old number 2 there is a page of both; a number that is only old leads straight on.
    let found = lab.search("/find", "2").await;
    assert_eq!(found.location, "/jobs/1001", "no job 2 is in the book");
    given_table(&lab, "No,Customer,Eye size,DBL\r\n1001,Di Fen,50,18\r\n").await.assert_status(303);
    try_out(&lab, &[]).await;
    bring_in(&lab).await;
    let both = lab.search("/find", "1001").await;
    both.assert_status(200);
    assert_eq!(both.texts("th .job-link"), ["1002", "1001"]);
}

/// The next file with the same heads is matched as the last one was; another table is guessed as before.
#[tokio::test]
async fn columns_that_were_matched_once_are_matched_again() {
    let lab = TestLab::new().await;
    let chosen = async |lab: &TestLab| lab.get(COLUMNS).await.attributes("tbody option[selected]", "value");
    let (heads, says) = ("Bin;Patient;What;Eye size;DBL", "as you matched the last table");
    given_table(&lab, &format!("{heads}\r\nB-1;Ada Quill;x;50;18\r\n")).await.assert_status(303);
    assert_eq!(chosen(&lab).await, ["nothing", "name", "nothing", "eye_size", "bridge"]);
    assert!(!lab.get(COLUMNS).await.text("main").contains(says));
    let own = [("column_0", "number"), ("column_2", "note"), ("rim", "drilled"), ("days", "day_first")];
    try_out(&lab, &own).await.assert_status(200);
    bring_in(&lab).await;

    // Also after the program was started again.
    let lab = lab.reopened().await;
    given_table(&lab, &format!("{}\r\nB-2;Bo Reed;y;52;18\r\n", heads.to_uppercase())).await.assert_status(303);
    let page = lab.get(COLUMNS).await;
    assert_eq!(chosen(&lab).await, ["number", "name", "note", "eye_size", "bridge"]);
    assert_eq!(page.attributes("#rim option[selected]", "value"), ["drilled"]);
    assert_eq!(page.attributes("#days option[selected]", "value"), ["day_first"]);
    assert!(page.text("main").contains(says), "{}", page.text("main"));
    assert!(!page.attributes("[name=folder]", "value")[0].is_empty(), "the folder is that of this table");
    try_out(&lab, &[]).await.assert_status(200);
    bring_in(&lab).await;
    assert_eq!(lab.count_rows("old_record").await, 2);

    given_table(&lab, "Bin;Patient;Size\r\nB-3;Cy Ebb;52\r\n").await.assert_status(303);
    assert_eq!(chosen(&lab).await, ["nothing", "name", "eye_size"]);
}

#[tokio::test]
async fn what_cannot_be_read_stands_beside_its_field() {
    let lab = TestLab::new().await;
    let folder = lab.folder.path().display().to_string();
    let missing = format!("{folder}/gone");
    for (folder, name, bytes, says) in [
        ("", "jobs.csv", TABLE.as_bytes(), "No folder is named"),
        ("traces", "jobs.csv", TABLE.as_bytes(), "is not a whole path"),
        (missing.as_str(), "jobs.csv", TABLE.as_bytes(), "cannot be read"),
        (folder.as_str(), "", b"", "Choose the table"),
        (folder.as_str(), "jobs.xlsx", b"PK\x03\x04", "This is a workbook"),
        (folder.as_str(), "jobs.csv", b"a\0b", "This is no text"),
        (folder.as_str(), "jobs.csv", b" \r\n", "There is nothing in the table"),
    ] {
        let refused = lab.upload(PAGE, &[("folder", folder)], "table", name, bytes).await;
        assert_eq!(refused.status, 422, "{says}");
        assert!(refused.texts(".error").join(" ").contains(says), "{says}: {:?}", refused.texts(".error"));
        assert_eq!(refused.attributes("#folder", "value"), [folder], "nothing typed is lost");
    }
    let rows = "1,Ada Quill\r\n".repeat(60_000);
    let refused = lab.upload(PAGE, &[("folder", &folder)], "table", "many.csv", rows.as_bytes()).await;
    assert!(refused.texts(".error").join(" ").contains("more than 50,000 rows"));

    // Columns that are matched twice, and none that holds a name.
    given_table(&lab, TABLE).await.assert_status(303);
    let mut fields = fields_of(&lab.get(COLUMNS).await, COLUMNS);
    fields.retain(|(name, _)| !["column_1", "column_3", "folder"].contains(&name.as_str()));
    let set = [("column_1", "number"), ("column_3", "cheese"), ("folder", missing.as_str())];
    fields.extend(set.map(|(name, value)| (name.to_owned(), value.to_owned())));
    let sent: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let refused = lab.post_as_is(COLUMNS, &sent).await;
    assert_eq!(refused.status, 422);
    let said = refused.texts(".error").join("; ");
    assert!(said.contains("cannot be read") && said.contains("Choose what this column holds"), "{said}");
    let set = [("column_3", "bridge"), ("folder", folder.as_str())];
    fields.retain(|(name, _)| !["column_3", "folder"].contains(&name.as_str()));
    fields.extend(set.map(|(name, value)| (name.to_owned(), value.to_owned())));
    let sent: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let said = lab.post_as_is(COLUMNS, &sent).await.texts(".error").join("; ");
    assert!(said.contains("Column 1 holds the old job number already") && said.contains("customer’s name"), "{said}");
    assert_eq!(lab.get(TRIAL).await.location, COLUMNS, "nothing was tried");
}

#[tokio::test]
async fn a_program_that_was_stopped_goes_on_from_the_columns() {
    let lab = TestLab::new().await;
    given_table(&lab, TABLE).await.assert_status(303);
    try_out(&lab, &[("rim", "metal")]).await;
    let lab = lab.reopened().await;
    assert_eq!(lab.get(TRIAL).await.location, COLUMNS, "a trial is not kept");
    let page = lab.get(COLUMNS).await;
    assert_eq!(page.attributes("#rim option[selected]", "value"), ["metal"]);
    assert!(lab.get(PAGE).await.text("main").contains("jobs.csv is uploaded and not brought in yet"));
    try_out(&lab, &[]).await;
    bring_in(&lab).await;
    let job = lab.store.get_job_or_record(1001).await.unwrap();
    assert_eq!(job.frame.details.rim.key(), "metal");
}

/// A form with its fields and several files, as a browser sends a folder.
async fn send_folder(lab: &TestLab, key: &str, files: &[(&str, &str, &[u8])]) -> Answer {
    let mut body = format!("--edge\r\nContent-Disposition: form-data; name=\"key\"\r\n\r\n{key}\r\n").into_bytes();
    body.extend(b"--edge\r\nContent-Disposition: form-data; name=\"folder\"\r\n\r\n\r\n");
    for (field, name, bytes) in files {
        let head = format!("--edge\r\nContent-Disposition: form-data; name=\"{field}\"; filename=\"{name}\"\r\n\r\n");
        body.extend([head.as_bytes(), bytes, b"\r\n"].concat());
    }
    body.extend(b"--edge--\r\n");
    let request = Request::post(PAGE)
        .header(header::HOST, "localhost")
        .header("sec-fetch-site", "same-origin")
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge");
    lab.send(request.body(Body::from(body)).unwrap()).await
}

#[tokio::test]
async fn a_folder_is_sent_from_the_browser() {
    let mut lab = TestLab::new().await;
    let key = lab.get(PAGE).await.attributes("input[name=key]", "value").remove(0);
    let page = lab.get(PAGE).await;
    assert_eq!(page.attributes("#traces", "webkitdirectory").len() + page.attributes("#traces", "multiple").len(), 2);
    let (one, other) = (trace("DBL=18.00\r\n"), trace("DBL=19.00\r\n"));
    let large = vec![b'R'; 3 << 20];
    let table = "No,Customer\r\nb-12,Cy Ebb\r\nb-13,Di Fen\r\n";
    let files: [(&str, &str, &[u8]); 6] = [
        ("traces", "traces/B-12.txt", one.as_bytes()),
        ("traces", "traces/old/b-13.txt", other.as_bytes()),
        ("traces", "../../rimbook.db", b"R"),
        ("traces", "traces/.DS_Store", b"R"),
        ("traces", "traces/video.bin", &large),
        ("table", "jobs.csv", b" "),
    ];
    let place = lab.folder.path().join("uploaded-traces");
    // Without its key nothing is kept; with a table that is no table the traces stay.
    assert!(send_folder(&lab, "old-records-7", &files).await.status.as_u16() == 303 && !place.exists());
    assert_eq!(send_folder(&lab, "x", &files).await.status, 400);
    let refused = send_folder(&lab, &key, &files).await;
    assert_eq!(refused.status, 422);
    assert_eq!(refused.texts(".error").len(), 1, "{:?}", refused.texts(".error"));
    assert!(refused.text("main").contains("The trace files are here"));
    let folder = refused.attributes("#folder", "value").remove(0);
    assert_eq!(std::path::Path::new(&folder), place);
    lab.upload(PAGE, &[("folder", &folder)], "table", "jobs.csv", table.as_bytes()).await.assert_status(303);
    let page = lab.get(COLUMNS).await;
    assert!(page.text("main").contains("The trace files were sent") && page.attributes("#folder", "type").is_empty());

    let report = try_out(&lab, &[]).await;
    assert_eq!(figures(&report)[..3], ["2", "2", "2"], "{}", report.text("main"));
    let lines = report.texts("ul.faults li");
    assert!(lines.len() == 1 && lines[0].starts_with("File traces/video.bin: it is larger than 2 MB"), "{lines:?}");
    let done = bring_in(&lab).await;
    assert!(done.text(".notice").contains("2 jobs, 2 of them with a shape"), "{}", done.text(".notice"));
    assert!(!place.exists(), "they are in the book now");
    assert_eq!(lab.store.get_old_import(1).await.unwrap().folder, "uploaded trace files");
    // All in one, as most will.
    let all: [(&str, &str, &[u8]); 2] =
        [("table", "jobs.csv", b"No,Customer\r\n14,Cy Ebb\r\n"), ("traces", "14.txt", one.as_bytes())];
    assert_eq!(send_folder(&lab, "old-records-1", &all).await.location, COLUMNS);
    assert_eq!(figures(&try_out(&lab, &[]).await)[..3], ["1", "1", "1"]);
    // A customer who is erased may be named in what waits.
    assert!(place.exists());
    let di = lab.store.list_customers("Di Fen", 2).await.unwrap().remove(0).id;
    lab.move_to(NOW + Days::days(2), UtcOffset::UTC).await;
    lab.post(&format!("/customers/{di}/erasure"), &[("reason", "by letter"), ("sure", "yes")]).await.assert_status(303);
    assert!(!place.exists());
}

#[tokio::test]
async fn shapes_that_were_brought_in_are_found_at_once() {
    let lab = TestLab::new().await;
    given_table(&lab, "No,Customer\r\n1,Cy Ebb\r\n2,Di Fen\r\n").await.assert_status(303);
    for name in ["1.txt", "2.txt"] {
        std::fs::write(lab.folder.path().join("traces").join(name), trace("DBL=18.00\r\n")).unwrap();
    }
    try_out(&lab, &[]).await;
    bring_in(&lab).await;
    // A new shape names them, and they name each other.
    let job = lab.given_job().await;
    lab.upload(&format!("/jobs/{job}/shape"), &[], "file", "new.txt", trace("DBL=18.00\r\n").as_bytes())
        .await
        .assert_status(303);
    let alike = lab.get(&format!("/jobs/{job}/shape")).await.text("#alike");
    assert!(alike.contains("job 1001, 0.00 mm apart") && alike.contains("job 1002, 0.00 mm apart"), "{alike}");
    let until = Instant::now() + Duration::from_secs(30);
    while lab.store.find_uncompared(1).await.unwrap().is_some() {
        assert!(Instant::now() < until, "the shapes are never compared");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    let alike = lab.get("/jobs/1001/shape").await.text("#alike");
    assert!(alike.contains("job 1002, 0.00 mm apart"), "{alike}");
}
