//! A lab for a test: a fresh book in a temporary folder, the real router, a clock that stands still.

#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test module uses its own part of the lab, and a failed step is a failed test"
)]

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt;
use rimbook::desk::bill::{Charge, ChargeKind};
use rimbook::desk::center_height::CenterHeight;
use rimbook::desk::customer::Person;
use rimbook::desk::frame::{FrameDetails, Rim};
use rimbook::desk::frame_shape::{DblSource, NewShape, ShapeOrigin};
use rimbook::desk::impact::ImpactProof;
use rimbook::desk::job::{EyeTask, Stage};
use rimbook::desk::lab::Lab;
use rimbook::desk::money::Cents;
use rimbook::desk::order::{CustomerChoice, Design, FrameChoice, NewOrder, People};
use rimbook::desk::packing::{ITEMS, Parcel};
use rimbook::desk::payment::{Payment, PaymentKind};
use rimbook::desk::prescription::{MadeFor, Prescription};
use rimbook::desk::step::Step;
use rimbook::desk::stock::LensInHand;
use rimbook::optics::prescription::{read, read_pupil_distance};
use rimbook::optics::unit::Millimeter;
use rimbook::optics::{Eye, Pair};
use rimbook::shape::trace::{Angles, Trace};
use rimbook::store::cut::NewCut;
use rimbook::store::once::Once;
use rimbook::store::{FILE_NAME, Store};
use rimbook::web::clock::Clock;
use rimbook::web::{AppState, build_app};
use scraper::{Html, Selector};
use sqlx::Connection as _;
use sqlx::sqlite::SqliteConnectOptions;
use tempfile::TempDir;
use time::macros::{date, datetime};
use time::{OffsetDateTime, UtcOffset};
use tokio::sync::OnceCell;
use tower::ServiceExt;

/// When every test happens: a Wednesday.
pub const NOW: OffsetDateTime = datetime!(2026-11-25 16:00 UTC);

pub struct TestLab {
    pub folder: TempDir,
    pub store: Store,
    pub app: Router,
}

pub struct Answer {
    pub status: StatusCode,
    pub location: String,
    pub headers: axum::http::HeaderMap,
    pub body: String,
}

/// Two books made once for all tests of a program, an unnamed one and a named one; each test works on a copy.
static BOOKS: OnceCell<[Vec<u8>; 2]> = OnceCell::const_new();

async fn make_books() -> [Vec<u8>; 2] {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open_for_one(folder.path()).await.unwrap();
    store.close().await;
    let unnamed = std::fs::read(folder.path().join(FILE_NAME)).unwrap();
    let store = Store::open_for_one(folder.path()).await.unwrap();
    let mut profile = Lab::new("Saltmarsh Lens Post".into(), "4 Quay Lane\nPellmarsh PM 00401".into());
    profile.tax_id = "00-0001234".into();
    profile.phone = "555-0100".into();
    store.insert_lab(&profile, NOW).await.unwrap();
    store.close().await;
    [unnamed, std::fs::read(folder.path().join(FILE_NAME)).unwrap()]
}

/// The query that reads all rows of a book at once: a few hundred small ones took most of the time of some tests.
static ALL_ROWS: OnceCell<String> = OnceCell::const_new();

async fn all_rows(book: &mut sqlx::SqliteConnection) -> String {
    let columns: Vec<(String, String)> = sqlx::query_as(
        "select t.name, group_concat('quote(\"' || c.name || '\")', ' || '','' || ')
         from sqlite_master t join pragma_table_info(t.name) c
         where t.type = 'table' and t.name not like 'sqlite_%' and t.name <> 'draft' and t.sql not like 'create virtual%'
         group by t.name order by t.name",
    )
    .fetch_all(book)
    .await
    .unwrap();
    let rows_of = |(table, row): &(String, String)| {
        format!(
            "select '{table}', group_concat(line, char(30)) from (select {row} as line from \"{table}\" order by 1)
             having count(*) > 0"
        )
    };
    columns.iter().map(rows_of).collect::<Vec<_>>().join(" union all ")
}

impl TestLab {
    /// A lab that has had its first run: Saltmarsh Lens Post with the defaults.
    pub async fn new() -> Self {
        Self::on_copy(1).await
    }

    /// A book nobody has named yet.
    pub async fn unnamed() -> Self {
        Self::on_copy(0).await
    }

    async fn on_copy(book: usize) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(FILE_NAME), &BOOKS.get_or_init(make_books).await[book]).unwrap();
        Self::in_folder(folder).await
    }

    /// The same book in a new process's place: what was said to be kept must be there.
    pub async fn reopened(self) -> Self {
        self.store.close().await;
        Self::in_folder(self.folder).await
    }

    /// A book in another folder, in the place of this one.
    pub async fn reopened_on(self, folder: std::path::PathBuf) -> Self {
        self.store.close().await;
        let store = Store::open_for_one(&folder).await.unwrap();
        let state = AppState::new(store.clone(), Clock::Fixed { now: NOW, zone: UtcOffset::UTC }).await.unwrap();
        Self { folder: self.folder, store, app: build_app(state) }
    }

    /// The pages of a program that was just started on the same book.
    pub async fn just_started(&self) -> Self {
        let state = AppState::new(self.store.clone(), Clock::Fixed { now: NOW, zone: UtcOffset::UTC }).await.unwrap();
        Self { folder: tempfile::tempdir().unwrap(), store: self.store.clone(), app: build_app(state) }
    }

    /// Moves the pages to another moment, in another time zone.
    pub async fn move_to(&mut self, now: OffsetDateTime, zone: UtcOffset) {
        self.app = build_app(AppState::new(self.store.clone(), Clock::Fixed { now, zone }).await.unwrap());
    }

    async fn in_folder(folder: TempDir) -> Self {
        let store = Store::open_for_one(folder.path()).await.unwrap();
        let clock = Clock::Fixed { now: NOW, zone: UtcOffset::UTC };
        let state = AppState::new(store.clone(), clock).await.unwrap();
        Self { folder, store, app: build_app(state) }
    }

    pub async fn send(&self, request: Request<Body>) -> Answer {
        let response = self.app.clone().oneshot(request).await.unwrap();
        let (status, headers) = (response.status(), response.headers().clone());
        let location = headers.get(header::LOCATION).map_or("", |l| l.to_str().unwrap()).to_owned();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        Answer { status, location, headers, body: String::from_utf8_lossy(&bytes).into_owned() }
    }

    /// The bytes of a file that is no text.
    pub async fn bytes(&self, path: &str) -> Vec<u8> {
        let request = Request::get(path).header(header::HOST, "localhost").body(Body::empty()).unwrap();
        let response = self.app.clone().oneshot(request).await.unwrap();
        assert!(response.status().is_success(), "{path}: {}", response.status());
        response.into_body().collect().await.unwrap().to_bytes().to_vec()
    }

    pub async fn get(&self, path: &str) -> Answer {
        self.send(Request::get(path).header(header::HOST, "localhost").body(Body::empty()).unwrap()).await
    }

    /// Posts a form as a browser does: with the key that its page holds, unless one is given.
    pub async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        match self.key_for(path, fields).await {
            Some(key) => self.post_as_is(path, &[fields, &[("key", key.as_str())]].concat()).await,
            None => self.post_as_is(path, fields).await,
        }
    }

    /// Posts these fields and no key but one that is among them.
    pub async fn post_as_is(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let request = Request::post(path)
            .header(header::HOST, "localhost")
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(encode(fields)))
            .unwrap();
        self.send(request).await
    }

    /// Types something into a search box and follows to what was found.
    pub async fn search(&self, path: &str, typed: &str) -> Answer {
        let asked = self.post_as_is(path, &[("q", typed)]).await;
        asked.assert_status(303);
        let is_list = ["/find/", "/customers", "/frames"].iter().any(|list| asked.location.starts_with(list));
        if is_list { self.get(&asked.location).await } else { asked }
    }

    /// The key of the form that posts to an address, from the page that holds it. A form that its page does not offer
    /// now has the key of one that was opened before.
    pub async fn key_for(&self, path: &str, fields: &[(&str, &str)]) -> Option<String> {
        if fields.iter().any(|(name, _)| *name == "key") || path.starts_with("/drafts/") || path.starts_with("/orders/")
        {
            return None;
        }
        let (page, end) = match path.rsplit_once('/') {
            Some((job, "payments")) => (format!("{job}/bill"), "payment"),
            Some((job, "delay-notices")) => (format!("{job}/promise"), "delay_notice"),
            Some((job, "delay-answers")) => (format!("{job}/promise"), "delay_answer"),
            Some((job, "tickets")) => (format!("{job}/ticket"), "ticket"),
            Some((job, "receipts")) => (format!("{job}/bill"), "receipt"),
            Some((job, "impact")) => (format!("{job}/packing"), "impact"),
            Some((page, "change" | "holes" | "loan" | "earlier" | "outline")) => (page.to_owned(), "shape"),
            Some((page, end @ ("concession" | "retirement"))) => (page.to_owned(), end),
            Some((_, "notes")) => (path.to_owned(), "note"),
            Some((_, end)) => (path.to_owned(), end),
            None => (path.to_owned(), ""),
        };
        let shown = self.get(&page).await;
        let keys = shown.attributes(&format!("form[action='{path}'] input[name=key]"), "value");
        let job = path.strip_prefix("/jobs/").and_then(|rest| rest.split('/').next());
        match (keys.into_iter().next(), Step::from_key(end), job.and_then(|job| job.parse().ok())) {
            (Some(key), ..) => Some(key),
            (None, Some(step), Some(number)) => {
                let job = self.store.get_job(number).await.unwrap();
                Some(format!("{end}-{number}-{}", step.count(&job)))
            }
            _ => None,
        }
    }

    /// Posts a form with one file, as a browser does.
    pub async fn upload(&self, path: &str, fields: &[(&str, &str)], name: &str, file: &str, bytes: &[u8]) -> Answer {
        let key = self.key_for(path, fields).await;
        let fields = [fields, &key.iter().map(|key| ("key", key.as_str())).collect::<Vec<_>>()].concat();
        self.upload_as_is(path, &fields, name, file, bytes).await
    }

    /// The same with these fields and no key but one that is among them.
    pub async fn upload_as_is(
        &self,
        path: &str,
        fields: &[(&str, &str)],
        name: &str,
        file: &str,
        bytes: &[u8],
    ) -> Answer {
        let mut body = Vec::new();
        for (field, value) in fields {
            body.extend(
                format!("--edge\r\nContent-Disposition: form-data; name=\"{field}\"\r\n\r\n{value}\r\n").bytes(),
            );
        }
        body.extend(
            format!(
                "--edge\r\nContent-Disposition: form-data; name=\"{name}\"; filename=\"{file}\"\r\nContent-Type: application/octet-stream\r\n\r\n"
            )
            .bytes(),
        );
        body.extend(bytes);
        body.extend(b"\r\n--edge--\r\n");
        let request = Request::post(path)
            .header(header::HOST, "localhost")
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
            .body(Body::from(body))
            .unwrap();
        self.send(request).await
    }

    /// A job of Ada Quill in a Copperline Tern 50□20, taken on the test day and promised in ten days, put in the book
    /// directly so that a page can be tested without the order page.
    pub async fn given_job(&self) -> i64 {
        self.given_job_to("-2.25 -1.25 x 95", "-2.50 -0.75 x 80").await
    }

    /// The same to another prescription.
    pub async fn given_job_to(&self, right: &str, left: &str) -> i64 {
        self.given_job_at(right, left, "31/33", "20").await
    }

    /// The same to another prescription, pupil distance and height.
    pub async fn given_job_at(&self, right: &str, left: &str, pupils: &str, height: &str) -> i64 {
        self.given_job_in_rim(Rim::Plastic, right, left, pupils, height).await
    }

    /// The same in a frame with another rim.
    pub async fn given_job_in_rim(&self, rim: Rim, right: &str, left: &str, pupils: &str, height: &str) -> i64 {
        let frame = FrameChoice::New(FrameDetails {
            maker: "Copperline".into(),
            model: "Tern".into(),
            color: "slate".into(),
            eye_size: "50".parse().unwrap(),
            bridge: "20".parse().unwrap(),
            temple: Some("145".parse().unwrap()),
            rim,
            price: Cents::new(8900),
        });
        self.given_job_in(frame, right, left, pupils, height).await
    }

    /// New lenses for the frame of an earlier job.
    pub async fn given_relens(&self, earlier: i64) -> i64 {
        self.given_job_in(FrameChoice::OfJob(earlier), "-2.75 -1.25 x 95", "-2.50 -0.75 x 80", "31/33", "20").await
    }

    /// Another job in a frame of the same model and size, which is mailed in.
    pub async fn given_job_in_the_frame_of(&self, earlier: i64) -> i64 {
        let frame = FrameChoice::Known(self.store.get_job(earlier).await.unwrap().frame.id);
        self.given_job_in(frame, "-2.25 -1.25 x 95", "-2.50 -0.75 x 80", "31/33", "20").await
    }

    async fn given_job_in(&self, frame: FrameChoice, right: &str, left: &str, pupils: &str, height: &str) -> i64 {
        let order = self.order_in(frame, right, left, pupils, height).await;
        self.given_order(&order).await
    }

    /// An order such as those of the jobs above, to change and to give.
    pub async fn order(&self) -> NewOrder {
        let tern = FrameDetails {
            maker: "Copperline".into(),
            model: "Tern".into(),
            color: "slate".into(),
            eye_size: "50".parse().unwrap(),
            bridge: "20".parse().unwrap(),
            temple: Some("145".parse().unwrap()),
            rim: Rim::Plastic,
            price: Cents::new(8900),
        };
        self.order_in(FrameChoice::New(tern), "-2.25 -1.25 x 95", "-2.50 -0.75 x 80", "31/33", "20").await
    }

    /// Takes an order.
    pub async fn given_order(&self, order: &NewOrder) -> i64 {
        let key = format!("given-{}", uuid::Uuid::now_v7());
        match self.store.take_order(&key, order, NOW).await.unwrap() {
            Once::Now(number) => number,
            Once::Before(number) => panic!("given twice: {number}"),
        }
    }

    async fn order_in(&self, frame: FrameChoice, right: &str, left: &str, pupils: &str, height: &str) -> NewOrder {
        let material =
            self.store.list_materials().await.unwrap().into_iter().find(|m| m.details.name == "Polycarbonate 1.59");
        let coating =
            self.store.list_treatments().await.unwrap().into_iter().find(|t| t.details.name == "Anti-reflective");
        let charge = |kind, eye, what: &str, code: &str, cents| Charge {
            kind,
            eye,
            what: what.into(),
            code: code.into(),
            amount: Cents::new(cents),
        };
        NewOrder {
            frame_wrap: None,
            vertex: None,
            customer: CustomerChoice::New(Person {
                name: "Ada Quill".into(),
                line1: "12 Ropewalk".into(),
                city: "Pellmarsh".into(),
                region: "PM".into(),
                postcode: "00402".into(),
                phone: "555-0142".into(),
                ..Person::default()
            }),
            people: People::default(),
            frame,
            prescription: Prescription {
                eyes: Pair::new(read(right).unwrap().rx, read(left).unwrap().rx),
                has_power: Pair::new(true, true),
                typed: Pair::new(right.into(), left.into()),
                prescriber: "Dr Ines Fallow".into(),
                prescriber_npi: Some("1234567893".parse().unwrap()),
                written_on: Some(date!(2026 - 10 - 20)),
                expires_on: Some(date!(2028 - 10 - 20)),
                diagnosis: String::new(),
                pupil_distance: read_pupil_distance(pupils).unwrap(),
                near_pupil_distance: None,
            },
            tasks: EyeTask::PAIR,
            made_for: MadeFor::Distance,
            material: material.unwrap().version,
            design: Design::Spherical,
            coating: coating.map(|c| c.version),
            second_coating: None,
            tint: None,
            height: Pair::new(height, height).map(|height| CenterHeight::read(height).unwrap()),
            ordered_on: date!(2026 - 11 - 25),
            promised_on: date!(2026 - 12 - 05),
            note: String::new(),
            charges: vec![
                charge(ChargeKind::Frame, None, "Frame: Copperline Tern", "V2020", 8900),
                charge(ChargeKind::Lens, Some(Eye::Right), "Lens, single vision", "V2103", 4500),
                charge(ChargeKind::Lens, Some(Eye::Left), "Lens, single vision", "V2103", 4500),
                charge(ChargeKind::Shipping, None, "Shipping", "", 700),
            ],
            remake: None,
            payment: Some(Payment {
                kind: PaymentKind::Card,
                amount: Cents::new(18600),
                paid_on: date!(2026 - 11 - 25),
            }),
        }
    }

    /// Ada's job with a shape on file, a pair 52□18 and 40 high, and both lenses in hand.
    pub async fn given_lenses_in_hand(&self) -> i64 {
        let number = self.given_job().await;
        self.given_shape_for(number).await;
        self.given_lenses_for(number).await;
        number
    }

    /// Puts an oval shape on file for a job.
    pub async fn given_shape_for(&self, number: i64) {
        // An ellipse 52 by 40: radius ab over the root of (b cos)² + (a sin)².
        let radius = |i: i32| {
            let (sine, cosine) = (f64::from(i) * 0.9).to_radians().sin_cos();
            (2600.0 * 2000.0 / (2000.0 * cosine).hypot(2600.0 * sine)).round() as i32
        };
        let right = Trace::new(Eye::Right, (0..400).map(radius).collect(), Angles::Equal).unwrap();
        let shape = NewShape {
            origin: ShapeOrigin::Traced,
            traces: Pair::new(right.clone(), right.mirror()),
            derived: Some(Eye::Left),
            dbl: "18".parse().unwrap(),
            dbl_source: DblSource::Typed,
            rim_curve_tool_d: Pair::default(),
            rim: Pair::default(),
            holes: Pair::default(),
            job_in_file: None,
            warnings: Vec::new(),
            original: b"given".to_vec(),
            original_name: "given.txt".into(),
        };
        self.store.keep_shape(&format!("given-shape-{}", uuid::Uuid::now_v7()), number, &shape, NOW).await.unwrap();
    }

    /// Takes a bought lens of 70 mm in hand for each eye that needs one.
    pub async fn given_lenses_for(&self, number: i64) {
        let job = self.store.get_job(number).await.unwrap();
        for eye in job.made_eyes() {
            self.given_lens_for(number, eye).await;
        }
    }

    /// A bought lens of 70 mm.
    pub fn given_lens(&self, eye: Eye) -> LensInHand {
        LensInHand {
            eye,
            drawer_lens: None,
            source: "lot 4711".into(),
            diameter: "70".parse().unwrap(),
            center: Some("1.5".parse().unwrap()),
            front_power: None,
            off_in: Millimeter::ZERO,
            off_up: Millimeter::ZERO,
            has_ground_prism: false,
        }
    }

    /// Takes a bought lens of 70 mm in hand.
    pub async fn given_lens_for(&self, number: i64, eye: Eye) {
        let lens = self.given_lens(eye);
        let key = format!("given-lenses-{}", uuid::Uuid::now_v7());
        self.store.take_lenses(&key, number, &[lens], NOW).await.unwrap();
    }

    /// Books that both lenses of a job were cut.
    pub async fn given_cut_for(&self, number: i64) {
        let key = format!("given-cut-{}", uuid::Uuid::now_v7());
        let size =
            self.store.get_job(number).await.unwrap().tasks().map(|task| task.is_made().then_some(Millimeter::ZERO));
        let cut = NewCut { size, note: String::new(), layout: None };
        self.store.insert_cut(&key, number, &cut, NOW).await.unwrap();
    }

    /// Ada's job with both lenses cut.
    pub async fn given_cut_job(&self) -> i64 {
        let number = self.given_lenses_in_hand().await;
        self.given_cut_for(number).await;
        number
    }

    /// Ada's job, checked through the page, without proof of impact resistance.
    pub async fn given_unproven_job(&self) -> i64 {
        let number = self.given_cut_job().await;
        self.check(number).await;
        number
    }

    /// Ada's job, checked through the page, with the certificates of its lenses.
    pub async fn given_checked_job(&self) -> i64 {
        let number = self.given_unproven_job().await;
        self.given_impact_for(number).await;
        number
    }

    /// Records the supplier's certificate for both lenses of a job.
    pub async fn given_impact_for(&self, number: i64) {
        let key = format!("given-impact-{}", uuid::Uuid::now_v7());
        let proof = ImpactProof::Certificate("batch certificate 4711".into());
        let job = self.store.get_job(number).await.unwrap();
        let proofs: Vec<_> = job.made_eyes().map(|eye| (eye, proof.clone())).collect();
        self.store.insert_impact_proofs(&key, number, &proofs, NOW).await.unwrap();
    }

    /// Reads a pair through the page: exactly what was ordered.
    async fn check(&self, number: i64) {
        self.post(&format!("/jobs/{number}/check"), &GOOD_READING).await.assert_status(303);
    }

    /// Ada's job, packed through the page.
    pub async fn given_packed_job(&self) -> i64 {
        let number = self.given_checked_job().await;
        self.pack(number).await;
        number
    }

    async fn pack(&self, number: i64) {
        if !self.store.get_job(number).await.unwrap().is_impact_proven() {
            self.given_impact_for(number).await;
        }
        let ticks: Vec<(&str, &str)> =
            ITEMS.iter().filter(|item| item.applies_to(Parcel::Glasses)).map(|item| ("tick", item.key)).collect();
        self.post(&format!("/jobs/{number}/packing"), &ticks).await.assert_status(303);
    }

    /// Ada's job, sent through the page.
    pub async fn given_sent_job(&self) -> i64 {
        let number = self.given_packed_job().await;
        self.ship(number).await;
        number
    }

    async fn ship(&self, number: i64) {
        let fields = [("carrier", "Parcel post"), ("tracking", "SL 0042 7712"), ("sent_on", "2026-11-25")];
        self.post(&format!("/jobs/{number}/shipment"), &fields).await.assert_status(303);
    }

    /// How many rows of a table a job has.
    pub async fn count(&self, table: &str, number: i64) -> i64 {
        let pool = self.beside().await;
        let query = sqlx::AssertSqlSafe(format!("select count(*) from {table} where job_number = ?"));
        let count = sqlx::query_scalar(query).bind(number).fetch_one(&pool).await.unwrap();
        pool.close().await;
        count
    }

    /// How many rows a table has.
    pub async fn count_rows(&self, table: &str) -> i64 {
        let pool = self.beside().await;
        let query = sqlx::AssertSqlSafe(format!("select count(*) from {table}"));
        let count = sqlx::query_scalar(query).fetch_one(&pool).await.unwrap();
        pool.close().await;
        count
    }

    /// How the prism of each eye stands in the layouts of a job, left before right.
    pub async fn prism_makes(&self, number: i64) -> Vec<(String, Option<String>)> {
        let pool = self.beside().await;
        let made = sqlx::query_as(
            "select e.eye, e.prism_make from layout_eye e join layout l on l.seq = e.layout_seq
             where l.job_number = ? order by e.layout_seq, e.eye",
        )
        .bind(number)
        .fetch_all(&pool)
        .await
        .unwrap();
        pool.close().await;
        made
    }

    /// The thickness rows of the checks of a job, in numbers: eye, unit, wanted, measured, deviation, whether it passes.
    pub async fn verdict_rows(&self, number: i64) -> Vec<String> {
        let pool = self.beside().await;
        let rows: Vec<(String,)> = sqlx::query_as(
            "select printf('%s %s %.2f %.2f %.2f %d', r.eye, r.unit, r.wanted, r.measured, r.deviation, r.passes)
             from verification v join verification_row r on r.verification_id = v.id
             where v.job_number = ? and r.quantity = 'least_center_thickness' order by v.attempt, r.position",
        )
        .bind(number)
        .fetch_all(&pool)
        .await
        .unwrap();
        pool.close().await;
        rows.into_iter().map(|(row,)| row).collect()
    }

    /// The book, opened to read beside the app.
    async fn beside(&self) -> sqlx::SqlitePool {
        sqlx::SqlitePool::connect_with(self.to_read()).await.unwrap()
    }

    fn to_read(&self) -> SqliteConnectOptions {
        SqliteConnectOptions::new().filename(self.folder.path().join(FILE_NAME)).read_only(true)
    }

    /// Everything the book holds but drafts, to see whether anything changed.
    pub async fn contents(&self) -> Vec<String> {
        let mut book = sqlx::SqliteConnection::connect_with(&self.to_read()).await.unwrap();
        let query = ALL_ROWS.get_or_init(|| all_rows(&mut book)).await;
        let tables: Vec<(String, String)> =
            sqlx::query_as(sqlx::AssertSqlSafe(query.as_str())).fetch_all(&mut book).await.unwrap();
        let rows = tables.iter().flat_map(|(table, rows)| rows.split('\x1e').map(move |row| format!("{table}: {row}")));
        let rows = rows.collect();
        book.close().await.unwrap();
        rows
    }

    /// Takes a job through every step that is left. It is to be one that [`GOOD_READING`] is right for.
    pub async fn send_on(&self, number: i64) {
        let mut done = None;
        loop {
            let reached = self.stage(number).await;
            assert_ne!(
                done,
                Some(reached),
                "job {number} does not leave this stage: is it ordered as GOOD_READING reads?"
            );
            done = Some(reached);
            match reached {
                Stage::Taken => self.given_shape_for(number).await,
                Stage::ShapeOnFile => self.given_lenses_for(number).await,
                Stage::LensesInHand => self.given_cut_for(number).await,
                Stage::Cut => self.check(number).await,
                Stage::Checked => self.pack(number).await,
                Stage::Packed => self.ship(number).await,
                Stage::Sent | Stage::Cancelled | Stage::BroughtIn => return,
            }
        }
    }

    /// How far a job has come.
    pub async fn stage(&self, number: i64) -> Stage {
        self.store.get_job(number).await.unwrap().stage()
    }

    /// Posts a form as another site open in the same browser would.
    pub async fn post_from_elsewhere(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let request = Request::post(path)
            .header(header::HOST, "localhost")
            .header("sec-fetch-site", "cross-site")
            .header(header::ORIGIN, "https://example.com")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(encode(fields)))
            .unwrap();
        self.send(request).await
    }
}

/// The lensmeter's reading of Ada's pair, exactly what was ordered.
pub const GOOD_READING: [(&str, &str); 6] = [
    ("how", "written"),
    ("read_right", "-2.25 -1.25 x 95"),
    ("read_left", "-2.50 -0.75 x 80"),
    ("pd", "31/33"),
    ("height_right", "20"),
    ("height_left", "20"),
];

/// Percent-encodes a form.
pub fn encode(fields: &[(&str, &str)]) -> String {
    form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish()
}

impl Answer {
    /// The text of the first element a selector finds, white space folded; fails the test where there is none.
    #[track_caller]
    pub fn text(&self, selector: &str) -> String {
        self.texts(selector).into_iter().next().unwrap_or_else(|| panic!("no {selector} in\n{}", self.body))
    }

    /// The text of every element a selector finds.
    pub fn texts(&self, selector: &str) -> Vec<String> {
        let page = Html::parse_document(&self.body);
        page.select(&Selector::parse(selector).unwrap())
            .map(|e| e.text().collect::<String>().split_whitespace().collect::<Vec<_>>().join(" "))
            .collect()
    }

    /// An attribute of every element a selector finds.
    pub fn attributes(&self, selector: &str, name: &str) -> Vec<String> {
        let page = Html::parse_document(&self.body);
        page.select(&Selector::parse(selector).unwrap())
            .filter_map(|e| e.value().attr(name).map(str::to_owned))
            .collect()
    }

    #[track_caller]
    pub fn assert_status(&self, status: u16) -> &Self {
        assert_eq!(self.status.as_u16(), status, "{}", self.body);
        self
    }
}
