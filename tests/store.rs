//! The book from its own side: what SQLite is told and says back, what it refuses and in which words, what it keeps.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

#[path = "store/backup.rs"]
mod backup;
#[path = "store/export.rs"]
mod export;
#[path = "store/history.rs"]
mod history;
#[path = "web/support.rs"]
mod support;

use std::path::Path;

use rimbook::desk::bill::ChargeKind;
use rimbook::desk::cancellation::CancelAsker;
use rimbook::desk::catalogue::{Cutting, TreatmentKind};
use rimbook::desk::delay::{AnswerKind, ContactWay, Silence};
use rimbook::desk::fault::{ConcessionCause, FaultCause};
use rimbook::desk::fitting::TracePlane;
use rimbook::desk::frame::Rim;
use rimbook::desk::frame_shape::{DblSource, ShapeOrigin};
use rimbook::desk::id::MaterialId;
use rimbook::desk::impact::ImpactProofKind;
use rimbook::desk::job::{EventKind, EyeTask, ParentReason, Stage};
use rimbook::desk::lab::CodeBasis;
use rimbook::desk::money::Cents;
use rimbook::desk::order::Design;
use rimbook::desk::parcel_return::{ReturnCause, ReturnCondition};
use rimbook::desk::payment::{Payment, PaymentKind};
use rimbook::desk::prescription::MadeFor;
use rimbook::desk::purchase::PurchaseMoveKind;
use rimbook::desk::refund::RefundCause;
use rimbook::desk::remake::RemakePayer;
use rimbook::desk::stock::{DrawerLens, DrawerLensDetails, Suit, WantedLens};
use rimbook::optics::tolerance::{Profile, Quantity};
use rimbook::optics::unit::Diopter;
use rimbook::optics::{Eye, Pair};
use rimbook::store::cut::NewCut;
use rimbook::store::once::{Once, act};
use rimbook::store::shipment::Shipment;
use rimbook::store::verification::NewCheck;
use rimbook::store::{FILE_NAME, Store, StoreError};
use sqlx::migrate::Migrator;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions, SqliteConnection};
use support::{NOW, TestLab};
use time::macros::date;

/// The book through another program's eyes. Foreign keys are off, so that a row can be tried alone.
async fn beside(folder: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(folder.join(FILE_NAME)).foreign_keys(false).connect().await.unwrap()
}

async fn run(book: &mut SqliteConnection, sql: &str) -> Result<(), StoreError> {
    sqlx::raw_sql(AssertSqlSafe(sql.to_owned())).execute(book).await.map(|_| ()).map_err(StoreError::from)
}

async fn texts(book: &mut SqliteConnection, sql: &str) -> Vec<String> {
    sqlx::query_scalar(AssertSqlSafe(sql.to_owned())).fetch_all(book).await.unwrap()
}

#[tokio::test]
async fn the_file_is_in_wal_mode_and_every_table_is_strict() {
    let lab = TestLab::new().await;
    let mut book = beside(lab.folder.path()).await;
    assert_eq!(texts(&mut book, "pragma journal_mode").await, ["wal"], "the mode stands in the file itself");
    let loose = texts(
        &mut book,
        "select name from pragma_table_list where schema = 'main' and type = 'table' and strict = 0
         and name not like 'sqlite_%' and name <> '_sqlx_migrations'",
    )
    .await;
    assert!(loose.is_empty(), "not strict: {loose:?}");
}

#[tokio::test]
async fn every_migration_file_is_in_the_program() {
    let lab = TestLab::unnamed().await;
    let mut book = beside(lab.folder.path()).await;
    let applied = texts(&mut book, "select cast(version as text) from _sqlx_migrations order by version").await;
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let files = Migrator::new(folder).await.unwrap();
    let files: Vec<String> = files.iter().map(|m| m.version.to_string()).collect();
    assert_eq!(applied, files, "a new file in migrations is built in when src/store/mod.rs is compiled again");
}

/// `store/error.rs` turns the name of a check into its meaning, so each check has one.
#[tokio::test]
async fn every_check_has_a_name() {
    let lab = TestLab::unnamed().await;
    let mut book = beside(lab.folder.path()).await;
    let tables = texts(&mut book, "select sql from sqlite_master where type = 'table' and sql like '%check (%'").await;
    assert!(tables.len() > 10);
    for sql in tables {
        let mut parts = sql.split("check (");
        let mut before = parts.next().unwrap();
        for after in parts {
            let mut words = before.split_whitespace().rev();
            let is_named = words.nth(1) == Some("constraint");
            assert!(is_named || after.starts_with("id = 1)"), "a check without a name in\n{sql}");
            before = after;
        }
    }
}

#[tokio::test]
async fn a_refusal_of_the_database_has_its_meaning() {
    let lab = TestLab::new().await;
    let mut book = beside(lab.folder.path()).await;
    let frame = "insert into frame (id, maker, model, colour, eye_size_hundredths, bridge_hundredths, rim, price_cents, added_at)
                 values (randomblob(16), 'Copperline', 'Tern', 'slate', 5000, 2000, 'metal', 0, '2026-11-25T16:00:00.000Z')";
    run(&mut book, frame).await.unwrap();
    let twice = run(&mut book, frame).await.unwrap_err();
    assert!(matches!(&twice, StoreError::Twice(what) if what.starts_with("frame.maker, frame.model")), "{twice:?}");
    for (sql, name) in [
        ("update lab set lead_days = 0", "lab_lead_days"),
        ("update lab set changed_at = '2026-11-25T16:00:00Z'", "lab_changed_at"),
        (
            "insert into material_version (id, material_id, number, name, index_thousandths, abbe_tenths,
                density_hundredths, centre_hundredths, cutting, price_cents, added_at)
             values (x'00', x'00', 1, 'n', 1399, 300, 120, 150, 'wet', 0, '2026-11-25T16:00:00.000Z')",
            "material_version_index",
        ),
        (
            "insert into customer (id, name, name_key, changed_at) values (x'00', '', '', '2026-11-25T16:00:00.000Z')",
            "customer_name",
        ),
        ("update frame set eye_size_hundredths = 7501", "frame_eye_size"),
        ("insert into draft (key, fields, saved_at) values ('', '[]', '2026-11-25T16:00:00.000Z')", "draft_key"),
        ("insert into draft (key, fields, saved_at) values ('k', 'typed', '2026-11-25T16:00:00.000Z')", "draft_fields"),
        (
            "insert into drawer_move (drawer_lens_id, kind, change, at)
             values (x'00', 'stocked', 0, '2026-11-25T16:00:00.000Z')",
            "drawer_move_change",
        ),
        (
            "insert into payment (job_number, kind, amount_cents, paid_on, at)
             values (1, 'card', 0, '2026-11-25', '2026-11-25T16:00:00.000Z')",
            "payment_amount",
        ),
        (
            "insert into concession (verification_id, job_number, reason, at)
             values (x'00', 1, ' too short ', '2026-11-25T16:00:00.000Z')",
            "concession_reason",
        ),
        (
            "insert into impact_proof (job_number, eye, kind, says, at)
             values (1, 'right', 'own_test', 'drop ball', '2026-11-25T16:00:00.000Z')",
            "impact_proof_tested_on",
        ),
        (
            "insert into impact_proof (job_number, eye, kind, says, at)
             values (1, 'right', 'certificate', '', '2026-11-25T16:00:00.000Z')",
            "impact_proof_says",
        ),
    ] {
        let refused = run(&mut book, sql).await.expect_err(name);
        assert!(matches!(&refused, StoreError::OutOfRange(what) if what == name), "{name}: {refused:?}");
    }
    // A word where a number belongs is the database's own failure, for nobody to mend in a field.
    let typed = run(&mut book, "update lab set lead_days = 'soon'").await.unwrap_err();
    assert!(matches!(typed, StoreError::Database(_)), "{typed:?}");
}

#[tokio::test]
async fn a_book_held_by_another_program_says_so() {
    let lab = TestLab::new().await;
    let options = SqliteConnectOptions::new().filename(lab.folder.path().join(FILE_NAME));
    let (mut first, mut second) =
        (beside(lab.folder.path()).await, { options.busy_timeout(std::time::Duration::ZERO).connect().await.unwrap() });
    run(&mut first, "begin immediate").await.unwrap();
    let held = run(&mut second, "begin immediate").await.unwrap_err();
    assert!(matches!(held, StoreError::Busy), "{held:?}");
}

/// Tables whose rows may change: settings and people (their past is kept by a trigger), what a list needs, what is typed.
const CHANGEABLE: [&str; 28] = [
    "erasing",
    "supplier",
    "lab",
    "backup_setting",
    "process_spread",
    "material",
    "treatment",
    "customer",
    "frame",
    "job",
    "drawer_lens",
    "carrier",
    "draft",
    "old_upload",
    "old_matching",
    "old_staged",
    "old_staged_file",
    "old_writing",
    "old_uncompared",
    "form_outcome",
    "concession",
    "sent_in_month",
    "takings",
    "billings",
    "open_balance",
    "search_word",
    "search_gap",
    "screen_lock",
];

/// Columns that a trigger counts in rows that stay otherwise as they are.
const COUNTED: [(&str, &str); 3] =
    [("purchase_line", "to_come"), ("purchase_line", "here"), ("lens_promise", "is_open")];

/// Every table that is neither changeable nor a list of kinds, by its name.
async fn unchangeable(book: &mut SqliteConnection) -> Vec<String> {
    let tables = texts(
        book,
        "select name from pragma_table_list t where schema = 'main' and type = 'table' and name <> 'stage'
         and name not like 'sqlite_%' and name not like '%_search%' and name <> '_sqlx_migrations'
         and not exists (select 1 from pragma_table_info(t.name) c where c.name = 'meaning')",
    )
    .await;
    tables.into_iter().filter(|table| !CHANGEABLE.contains(&table.as_str())).collect()
}

/// Puts a row of plain values in a table, whatever its checks say.
async fn fill(book: &mut SqliteConnection, table: &str) {
    let columns = texts(book, &format!("select name || ' ' || type from pragma_table_info('{table}')")).await;
    let (names, values): (Vec<&str>, Vec<&str>) = columns
        .iter()
        .filter_map(|column| column.split_once(' '))
        .map(|(name, kind)| {
            let value = match kind {
                "INTEGER" => "1",
                "REAL" => "1.0",
                "BLOB" => "x'01'",
                _ => "'x'",
            };
            (name, value)
        })
        .unzip();
    let sql = format!("insert or ignore into {table} ({}) values ({})", names.join(", "), values.join(", "));
    run(book, &sql).await.unwrap();
}

#[tokio::test]
async fn what_happened_is_never_changed_or_removed() {
    let lab = TestLab::new().await;
    let mut book = beside(lab.folder.path()).await;
    run(&mut book, "pragma ignore_check_constraints = on").await.unwrap();
    let tables = unchangeable(&mut book).await;
    assert!(tables.len() > 30 && tables.contains(&"packing_tick".to_owned()), "{tables:?}");
    for table in tables {
        fill(&mut book, &table).await;
        let columns = texts(&mut book, &format!("select name from pragma_table_info('{table}')")).await;
        let columns = columns.iter().filter(|column| !COUNTED.contains(&(table.as_str(), column.as_str())));
        let updates = columns.map(|column| format!("update {table} set {column} = {column}"));
        for sql in updates.chain([format!("delete from {table}")]) {
            let refused = run(&mut book, &sql).await.expect_err(&sql);
            let StoreError::Database(cause) = &refused else { panic!("{sql}: {refused:?}") };
            assert!(cause.to_string().contains(&format!("{table} is never")), "{sql}: {cause}");
        }
    }
}

#[tokio::test]
async fn a_change_of_settings_keeps_the_past() {
    let lab = TestLab::new().await;
    let mut book = beside(lab.folder.path()).await;
    run(&mut book, "update lab set name = 'Saltmarsh'").await.unwrap();
    assert_eq!(texts(&mut book, "select name from lab_past").await, ["Saltmarsh Lens Post"]);
}

/// A book that was made when names were compared in another way finds them all the same once it was opened.
#[tokio::test]
async fn the_keys_of_names_are_renewed_once() {
    let lab = TestLab::new().await;
    lab.given_job().await;
    let mut book = beside(lab.folder.path()).await;
    for sql in [
        "update customer set name = 'e\u{301}lodie BRUME', name_key = 'e\u{301}lodie brume'",
        "pragma user_version = 0",
    ] {
        run(&mut book, sql).await.unwrap();
    }
    let id = lab.store.list_customers("", 1).await.unwrap()[0].id;
    let changes = lab.store.count_customer_changes(id).await.unwrap();
    assert!(lab.store.list_namesakes("Élodie Brume", 2).await.unwrap().is_empty(), "the old key is another");
    let lab = lab.reopened().await;
    assert_eq!(lab.store.list_namesakes("Élodie Brume", 2).await.unwrap().len(), 1);
    assert_eq!(lab.store.count_customer_changes(id).await.unwrap(), changes, "a new key is no change of the name");
}

/// A concession may end, once, when its job is checked again; nothing else of it changes.
#[tokio::test]
async fn a_concession_ends_with_the_next_check() {
    let lab = TestLab::new().await;
    let number = lab.given_cut_job().await;
    lab.store.insert_check("first", number, &check(false), NOW).await.unwrap();
    lab.store
        .concede_check("concession", number, 1, ConcessionCause::Reading, "a long enough reason", NOW)
        .await
        .unwrap();
    let mut book = beside(lab.folder.path()).await;
    let open = "select cast(is_open as text) from concession";
    assert_eq!(texts(&mut book, open).await, ["1"]);
    let second = run(
        &mut book,
        &format!(
            "insert into concession (verification_id, job_number, reason, at)
             values (x'01', {number}, 'another long reason', '2026-11-25T16:00:00.000Z')"
        ),
    )
    .await;
    assert!(matches!(&second, Err(StoreError::Twice(what)) if what == "concession.job_number"), "{second:?}");
    lab.store.insert_check("second", number, &check(false), NOW).await.unwrap();
    assert_eq!(texts(&mut book, open).await, ["0"]);
    for sql in ["update concession set is_open = 1", "update concession set reason = 'other words here'"] {
        assert!(run(&mut book, sql).await.is_err(), "{sql}");
    }
    assert!(run(&mut book, "delete from concession").await.is_err());
}

/// The words of the program and the rows of the book are the same kinds.
#[tokio::test]
async fn every_kind_is_a_row() {
    fn keys<T: Copy>(all: &[T], key: fn(T) -> &'static str) -> Vec<String> {
        let mut keys: Vec<String> = all.iter().map(|kind| key(*kind).to_owned()).collect();
        keys.sort();
        keys
    }
    let lab = TestLab::unnamed().await;
    let mut book = beside(lab.folder.path()).await;
    for (table, ours) in [
        ("event_kind", keys(EventKind::ALL, EventKind::key)),
        ("impact_proof_kind", keys(ImpactProofKind::ALL, ImpactProofKind::key)),
        ("stage", keys(Stage::ALL, Stage::key)),
        ("purchase_move_kind", keys(PurchaseMoveKind::ALL, PurchaseMoveKind::key)),
        ("fault_cause", keys(FaultCause::ALL, FaultCause::key)),
        ("cancel_asker", keys(CancelAsker::ALL, CancelAsker::key)),
        ("return_cause", keys(ReturnCause::ALL, ReturnCause::key)),
        ("return_condition", keys(ReturnCondition::ALL, ReturnCondition::key)),
        ("remake_payer", keys(RemakePayer::ALL, RemakePayer::key)),
        ("concession_cause", keys(ConcessionCause::ALL, ConcessionCause::key)),
        ("contact_way", keys(ContactWay::ALL, ContactWay::key)),
        ("delay_silence", keys(Silence::ALL, Silence::key)),
        ("promise_answer_kind", keys(AnswerKind::ALL, AnswerKind::key)),
        ("parent_reason", keys(ParentReason::ALL, ParentReason::key)),
        ("eye_task", keys(EyeTask::ALL, EyeTask::key)),
        ("lens_use", keys(MadeFor::ALL, MadeFor::key)),
        ("design", keys(Design::ALL, Design::key)),
        ("rim", keys(Rim::ALL, Rim::key)),
        ("cutting_method", keys(Cutting::ALL, Cutting::key)),
        ("treatment_kind", keys(TreatmentKind::ALL, TreatmentKind::key)),
        ("tolerance_profile", keys(&Profile::ALL, Profile::key)),
        ("code_basis", keys(CodeBasis::ALL, CodeBasis::key)),
        ("trace_plane", keys(TracePlane::ALL, TracePlane::key)),
        ("shape_origin", keys(ShapeOrigin::ALL, ShapeOrigin::key)),
        ("dbl_source", keys(DblSource::ALL, DblSource::key)),
        ("quantity", keys(&Quantity::ALL, Quantity::key)),
        ("charge_kind", keys(ChargeKind::ALL, ChargeKind::key)),
        ("payment_kind", keys(PaymentKind::ALL, PaymentKind::key)),
        ("refund_cause", keys(RefundCause::ALL, RefundCause::key)),
    ] {
        assert_eq!(texts(&mut book, &format!("select key from {table} order by key")).await, ours, "{table}");
    }
}

/// What a list of jobs needs repeats what other tables say; both sides agree after whatever happens.
#[tokio::test]
async fn the_columns_of_a_list_agree_with_the_history() {
    let lab = TestLab::new().await;
    let checked = lab.given_checked_job().await;
    let numbers = [lab.given_job().await, lab.given_lenses_in_hand().await, checked, lab.given_sent_job().await];
    lab.store.insert_check("again", checked, &check(false), NOW).await.unwrap();
    let mut book = beside(lab.folder.path()).await;
    for number in numbers {
        let job = lab.store.get_job(number).await.unwrap();
        let columns = "stage || ' ' || revision || ' ' || promised_on || ' ' || (closed_at is not null)";
        let row = texts(&mut book, &format!("select {columns} from job where number = {number}")).await;
        let is_closed = i32::from(job.stage() == Stage::Sent);
        assert_eq!(row, [format!("{} {} {} {is_closed}", job.stage().key(), job.revision, job.promised_on)]);
    }
}

/// What the drawer has near a job is all that its own comparison does not call far.
#[tokio::test]
async fn the_drawer_near_a_job_is_what_suits_it_or_nearly() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let job = lab.store.get_job(number).await.unwrap();
    let power = job.lens_power(Eye::Right).to_minus();
    let materials = lab.store.list_materials().await.unwrap();
    for off_hundredths in [0, 12, 25, 50, -25, -50, 300] {
        for material in [job.material.id, materials.iter().map(|m| m.id).find(|id| *id != job.material.id).unwrap()] {
            let lens = DrawerLensDetails {
                material,
                sphere: Diopter::from_hundredths(power.sphere().hundredths() + off_hundredths).unwrap(),
                cylinder: power.cylinder(),
                ..plain_lens(material)
            };
            lab.store.stock_lens(&format!("{material} {off_hundredths}"), &lens, 3, NOW).await.unwrap();
        }
    }
    let wanted = Eye::BOTH.map(|eye| WantedLens::of(&job, eye));
    let all = lab.store.list_drawer().await.unwrap();
    let near = lab.store.list_drawer_for(&job).await.unwrap();
    let suits = |lens: &&DrawerLens| wanted.iter().any(|wanted| lens.suit(wanted) != Suit::Far);
    let not_far: Vec<&DrawerLens> = all.iter().filter(suits).collect();
    assert!(not_far.len() >= 5 && all.len() > not_far.len(), "{} of {}", not_far.len(), all.len());
    assert!(not_far.iter().all(|lens| near.contains(lens)), "{not_far:?}");
    assert!(near.len() < all.len());
}

/// A job counts once in each month in which a parcel of it left.
#[tokio::test]
async fn the_jobs_sent_are_counted_by_month() {
    let lab = TestLab::new().await;
    let (one, other) = (lab.given_sent_job().await, lab.given_sent_job().await);
    let mut book = beside(lab.folder.path()).await;
    let again = |job: i64, day: &str| {
        format!(
            "insert into shipment (job_number, carrier, sent_on, address, at)
             values ({job}, 'Post', '{day}', '', '2031-01-01T00:00:00.000Z')"
        )
    };
    for (job, day) in [(one, "2030-03-01"), (one, "2030-03-31"), (other, "2030-03-02"), (one, "2030-04-01")] {
        run(&mut book, &again(job, day)).await.unwrap();
    }
    let sent = lab.store.count_sent(2030).await.unwrap();
    assert_eq!(sent, [0, 0, 2, 1, 0, 0, 0, 0, 0, 0, 0, 0]);
    let this_year: u32 = lab.store.count_sent(NOW.year()).await.unwrap().iter().sum();
    assert_eq!(this_year, 2);
}

/// The layout a pair was cut by stands in numbers: 52 by 40 with DBL 18, monocular PD 31 and 33, height 20.
#[tokio::test]
async fn the_layout_of_a_cut_is_kept_in_numbers() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    lab.post(&format!("/jobs/{number}/cut"), &[("size_right", "0.10"), ("size_left", "0.10"), ("note", "")])
        .await
        .assert_status(303);
    let mut book = beside(lab.folder.path()).await;
    let layout = texts(
        &mut book,
        "select printf('%d %d %d %d %d', l.dbl_hundredths, l.frame_pd_hundredths, l.wanted_pd_hundredths,
                l.blocker_step_hundredths, l.shape_id is not null)
         from cut c join layout l on l.seq = c.layout_seq",
    )
    .await;
    // Frame PD 52 + 18 = 70 (boxing system); the lab's blocker has steps of 0.5 mm.
    assert_eq!(layout, ["1800 7000 6400 50 1"]);
    let eyes = texts(
        &mut book,
        "select printf('%s %d %d %d %d %d', eye, set_pd_hundredths, set_height_hundredths, decentration_in_hundredths,
                decentration_up_hundredths, lens_diameter_hundredths) from layout_eye order by eye desc",
    )
    .await;
    // 70 / 2 less 31 is 4 in, less 33 is 2 in; height 20 is half of B 40.
    assert_eq!(eyes, ["right 3100 2000 400 0 7000", "left 3300 2000 200 0 7000"]);
    let sizes = texts(&mut book, "select eye || ' ' || size_hundredths from cut_eye order by eye desc").await;
    assert_eq!(sizes, ["right 10", "left 10"]);
}

/// A verdict stands in numbers beside its words.
#[tokio::test]
async fn the_verdict_is_kept_in_numbers() {
    let lab = TestLab::new().await;
    lab.given_checked_job().await;
    let mut book = beside(lab.folder.path()).await;
    let rows = texts(
        &mut book,
        "select printf('%s %s %s %.2f %.2f %.2f %d', coalesce(eye, 'pair'), quantity, unit, wanted, measured, limit_size, passes)
         from verification_row where quantity in ('power_strongest', 'axis') order by position",
    )
    .await;
    // -2.25 -1.25 is -3.50 across the axis, and -2.50 -0.75 is -3.25; limits: ANSI Z80.1-2015 quick-reference guide.
    assert_eq!(rows[0], "right power_strongest d -3.50 -3.50 0.13 1");
    assert!(rows.iter().any(|row| row.starts_with("left axis deg 80.00 ") && row.ends_with(" 5.00 1")), "{rows:?}");
}

/// A lens of -2.00, 70 mm.
fn plain_lens(material: MaterialId) -> DrawerLensDetails {
    DrawerLensDetails {
        material,
        sphere: "-2.00".parse().unwrap(),
        cylinder: "0".parse().unwrap(),
        diameter: "70".parse().unwrap(),
        center: Some("2".parse().unwrap()),
        front_power: Some("+4".parse().unwrap()),
        base: None,
        coating: None,
        second_coating: None,
        tint: None,
    }
}

#[tokio::test]
async fn the_drawer_counts_its_moves_and_never_falls_below_none() {
    let lab = TestLab::new().await;
    let material = lab.store.list_materials().await.unwrap().remove(0);
    let lens = plain_lens(material.id);
    lab.store.stock_lens("stock", &lens, 3, NOW).await.unwrap();
    let kept = lab.store.list_drawer().await.unwrap().remove(0);
    assert_eq!((kept.count, kept.moves), (3, 1));
    let refused = lab.store.correct_count("too-many", kept.id, -4, NOW).await;
    assert!(matches!(&refused, Err(StoreError::OutOfRange(name)) if name == "drawer_lens_count"), "{refused:?}");
    lab.store.correct_count("all", kept.id, -3, NOW).await.unwrap();
    let kept = lab.store.list_drawer().await.unwrap().remove(0);
    assert_eq!((kept.count, kept.moves), (0, 2));
}

/// In the database and not only in the program: a job's prescription is its patient's, and a coating is a coating.
#[tokio::test]
async fn a_row_points_only_where_it_belongs() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let mut book = beside(lab.folder.path()).await;
    run(&mut book, "pragma foreign_keys = on").await.unwrap();
    run(
        &mut book,
        "insert into customer (id, name, name_key, changed_at) values (x'02', 'Bo', 'bo', '2026-11-25T16:00:00.000Z');
         insert into prescription (id, patient_id, added_at) values (x'03', x'02', '2026-11-25T16:00:00.000Z')",
    )
    .await
    .unwrap();
    let of_another = format!(
        "insert into job_revision select job_number, 2, patient_id, payer_id, recipient_id, frame_id, x'03', lens_use,
         material_version_id, design, promised_on, note, 'reason', at from job_revision where job_number = {number}"
    );
    let tint_as_coating = format!(
        "insert into job_treatment select {number}, 1, 'coating', 9, id from treatment_version where kind = 'tint' limit 1"
    );
    let unknown_kind =
        format!("insert into job_event (job_number, kind, at) values ({number}, 'burnt', '2026-11-25T16:00:00.000Z')");
    for sql in [of_another, tint_as_coating, unknown_kind] {
        let refused = run(&mut book, &sql).await.expect_err(&sql);
        let StoreError::Database(cause) = &refused else { panic!("{sql}: {refused:?}") };
        assert!(cause.to_string().contains("FOREIGN KEY"), "{sql}: {cause}");
    }
}

#[tokio::test]
async fn a_number_is_never_used_twice() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let mut book = beside(lab.folder.path()).await;
    let copy = format!(
        "insert into job (patient_id, ordered_on, taken_at, frame_id, promised_on)
         select patient_id, ordered_on, taken_at, frame_id, promised_on from job where number = {number}"
    );
    // Even a row that somebody takes out by force keeps its number.
    let by_force = format!("{copy}; drop trigger job_is_never_removed; delete from job where number = {}", number + 1);
    run(&mut book, &by_force).await.unwrap();
    assert_eq!(lab.given_job().await, number + 2);
    // A number that was never committed was never on a tray: it is given to the next.
    run(&mut book, &format!("begin; {copy}; rollback")).await.unwrap();
    assert_eq!(lab.given_job().await, number + 3);
}

/// `tests/books` holds a book saved by each landed version.
#[tokio::test]
async fn a_saved_book_of_each_version_is_brought_up_to_date() {
    let saved = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/books");
    let mut tried = 0;
    for entry in std::fs::read_dir(saved).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|extension| extension != "book") {
            continue;
        }
        let folder = tempfile::tempdir().unwrap();
        std::fs::copy(&path, folder.path().join(FILE_NAME)).unwrap();
        let store = Store::open(folder.path()).await.unwrap();
        assert_eq!(store.find_lab().await.unwrap().unwrap().name, "Saltmarsh Lens Post", "{}", path.display());
        let job = store.get_job(1001).await.unwrap();
        assert!(job.shape.is_some() && job.stage() == Stage::Sent, "{}", path.display());
        assert!(!store.list_customers(&job.customer.person.name, 5).await.unwrap().is_empty(), "{}", path.display());
        // From version 39 on a saved book has printed tickets, a note, and a customer who was corrected.
        if path.file_stem().and_then(|name| name.to_str()?.parse().ok()).is_some_and(|version: i64| version >= 39) {
            assert_eq!(store.list_tickets(1107).await.unwrap().len(), 1);
            assert!(job.history.iter().any(|event| event.note.contains("lighthouse")));
            assert_eq!(store.count_customer_changes(job.customer.id).await.unwrap(), 1);
        }
        store.close().await;
        assert_eq!(integrity_by_the_common_tool(&folder.path().join(FILE_NAME)), None, "{}", path.display());
        tried += 1;
    }
    assert!(tried > 0, "no saved book");
}

/// What the `sqlite3` tool of this machine finds wrong with a file that it could write, where there is one: its version of
/// SQLite is not ours.
fn integrity_by_the_common_tool(file: &Path) -> Option<String> {
    match std::process::Command::new("sqlite3").arg(file).arg("pragma integrity_check(1)").output() {
        Ok(output) => Some(String::from_utf8(output.stdout).unwrap()).filter(|said| said.trim() != "ok"),
        Err(_) => {
            eprintln!("Skipped: the check by the sqlite3 tool, which is not installed.");
            None
        }
    }
}

/// `json_valid(null)` is null, which a check lets pass, only from SQLite 3.41 on.
#[tokio::test]
async fn a_check_says_that_a_document_may_be_missing() {
    let lab = TestLab::new().await;
    let mut book = beside(lab.folder.path()).await;
    let (mut nullable, mut others) = (0, 0);
    for table in
        texts(&mut book, "select name from sqlite_schema where sql like '%json_valid(%' and type = 'table'").await
    {
        let sql = texts(&mut book, &format!("select sql from sqlite_schema where name = '{table}'")).await.remove(0);
        for column in sql.split("json_valid(").skip(1).map(|rest| rest.split(')').next().unwrap()) {
            let question =
                format!("select cast(\"notnull\" as text) from pragma_table_info('{table}') where name = '{column}'");
            match texts(&mut book, &question).await.as_slice() {
                [yes] if yes == "1" => others += 1,
                [_] => {
                    nullable += 1;
                    let asked = format!("check ({column} is null or json_valid({column}))");
                    assert!(sql.contains(&asked), "{table}: {sql}");
                }
                none => panic!("{table}.{column}: {none:?}"),
            }
        }
    }
    assert!(nullable == 1 && others >= 4, "{nullable} and {others}");
}

#[tokio::test]
async fn a_book_of_before_the_present_tables_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let options = SqliteConnectOptions::new().filename(folder.path().join(FILE_NAME)).create_if_missing(true);
    let mut book = options.connect().await.unwrap();
    run(
        &mut book,
        "create table _sqlx_migrations (version bigint primary key, description text not null, installed_on timestamp not null
            default current_timestamp, success boolean not null, checksum blob not null, execution_time bigint not null);
         insert into _sqlx_migrations (version, description, success, checksum, execution_time) values (1, 'lab', 1, x'00', 0)",
    )
    .await
    .unwrap();
    sqlx::Connection::close(book).await.unwrap();
    let refused = Store::open(folder.path()).await.expect_err("another first migration").to_string();
    assert!(refused.contains("early trial version") && refused.lines().count() == 1, "{refused}");
}

#[tokio::test]
async fn the_last_material_stays_on_sale() {
    let lab = TestLab::new().await;
    for material in lab.store.list_materials().await.unwrap() {
        lab.store.retire_material(material.id, NOW).await.unwrap();
    }
    assert_eq!(lab.store.list_materials().await.unwrap().len(), 1);
}

fn payment(cents: i64) -> Payment {
    Payment { kind: PaymentKind::Cash, amount: Cents::new(cents), paid_on: date!(2026 - 11 - 25) }
}

#[tokio::test]
async fn a_key_is_done_once_and_outlives_the_process() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let key = act("payment-1", ["20"]);
    assert_eq!(lab.store.insert_payment(&key, number, &payment(2000), NOW).await.unwrap(), Once::Now(()));
    let lab = lab.reopened().await;
    let again = lab.store.insert_payment(&key, number, &payment(2000), NOW).await.unwrap();
    assert_eq!(again, Once::Before(number.to_string()));
    assert_eq!(lab.store.get_account(number).await.unwrap().payments.len(), 2, "with the one of the order");
    // Work that fails half-way leaves neither a row nor a key that is used up.
    let broken = lab.store.insert_payment("payment-2", 99_999, &payment(2000), NOW).await;
    assert!(broken.is_err());
    assert_eq!(lab.store.find_draft("payment-2").await.unwrap(), None);
}

#[tokio::test]
async fn a_finished_form_forgets_what_was_typed() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let typed = vec![("note".to_owned(), "call Ada".to_owned())];
    lab.store.keep_draft("note-1", &typed, &Default::default(), NOW).await.unwrap();
    lab.store.append_note(&act("note-1", ["note", "call Ada"]), number, "call Ada", NOW).await.unwrap();
    // A draft that comes in late does not bring it back.
    lab.store.keep_draft("note-1", &typed, &Default::default(), NOW).await.unwrap();
    assert_eq!(lab.store.find_draft("note-1").await.unwrap().unwrap().fields, []);
}

fn check(passed: bool) -> NewCheck {
    let (reading, verdict) = ("{}".into(), "{}".into());
    NewCheck { profile: "z80_1", reading, verdict, figures: Vec::new(), passed, summary: String::new() }
}

/// Two windows read the same stage; the first to post moves the job, and the second is refused in the transaction.
#[tokio::test]
async fn a_step_that_was_overtaken_is_refused() {
    let lab = TestLab::new().await;
    let moved = |refused: Result<Once<()>, StoreError>| matches!(refused, Err(StoreError::MovedOn(_)));
    let number = lab.given_checked_job().await;
    lab.store.insert_check("other-window", number, &check(false), NOW).await.unwrap();
    assert!(moved(lab.store.insert_packing("packing", number, &[], NOW).await), "packed after a failed check");
    let parcel = Shipment {
        carrier: "Parcel post".into(),
        tracking: String::new(),
        sent_on: NOW.date(),
        address: "there".into(),
    };
    assert!(moved(lab.store.insert_shipment("parcel", number, &parcel, NOW).await), "sent unpacked");
    assert_eq!(lab.stage(number).await, Stage::Cut);
    lab.given_lenses_for(number).await;
    assert!(moved(lab.store.insert_check("check", number, &check(true), NOW).await), "checked uncut");
    assert!(
        moved(
            lab.store
                .concede_check("concession", number, 1, ConcessionCause::Reading, "a long enough reason", NOW)
                .await
        ),
        "conceded uncut"
    );
    let unproven = lab.given_unproven_job().await;
    assert!(moved(lab.store.insert_packing("unproven", unproven, &[], NOW).await), "packed without proof of impact");
    let sent = lab.given_sent_job().await;
    let cut = NewCut { size: Pair::default(), note: String::new(), layout: None };
    assert!(moved(lab.store.insert_cut("cut", sent, &cut, NOW).await), "cut after it left");
    assert!(moved(lab.store.take_lenses("lenses", sent, &[], NOW).await), "lenses after it left");
    assert!(moved(lab.store.insert_shipment("parcel-2", sent, &parcel, NOW).await), "sent twice");
}

#[tokio::test]
async fn no_lens_is_taken_for_an_eye_whose_lens_stays() {
    let lab = TestLab::new().await;
    let mut order = lab.order().await;
    order.tasks.right = EyeTask::Keep;
    let number = lab.given_order(&order).await;
    lab.given_shape_for(number).await;
    let pair = [lab.given_lens(Eye::Left), lab.given_lens(Eye::Right)];
    let refused = lab.store.take_lenses("both", number, &pair, NOW).await;
    assert!(matches!(refused, Err(StoreError::MovedOn(of)) if of == number), "{refused:?}");
    assert!(lab.store.find_lenses(number).await.unwrap().left.is_none(), "neither was taken");
    lab.store.take_lenses("left", number, &pair[..1], NOW).await.unwrap();
    let in_hand = lab.store.find_lenses(number).await.unwrap();
    assert!(in_hand.right.is_none() && in_hand.left.is_some());
}
