//! Every posting address of the router, tried from another site, twice, without its key, and after the job moved on.

use axum::body::Body;
use axum::http::{Request, header};
use rimbook::desk::customer::Person;
use rimbook::desk::packing::{ITEMS, Parcel};
use rimbook::desk::stock::DrawerLensDetails;
use rimbook::web::router::{ADDRESSES, FIRST_ADDRESSES};
use scraper::{Html, Selector};

use crate::support::{Answer, GOOD_READING, NOW, TestLab};
use rimbook::desk::id::DrawerLensId;

/// The addresses that take a post, as the router itself says.
pub async fn posting_addresses() -> Vec<&'static str> {
    let lab = TestLab::new().await;
    let mut posting = Vec::new();
    for address in ADDRESSES.iter().chain(FIRST_ADDRESSES) {
        // No page answers PATCH, so the refusal names what it does answer.
        let request = Request::patch(address.replace("{number}", "1").replace(['{', '}'], ""))
            .header(header::HOST, "localhost")
            .header("sec-fetch-site", "same-origin")
            .body(Body::empty())
            .unwrap();
        let answer = lab.send(request).await;
        assert_eq!(answer.status, 405, "{address} is in the router");
        if answer.headers[header::ALLOW].to_str().unwrap().contains("POST") {
            posting.push(*address);
        }
    }
    assert!(posting.len() > 20, "{posting:?}");
    assert!(ONLY_ASKED.iter().all(|address| posting.contains(address)), "{posting:?}");
    posting.retain(|address| !ONLY_ASKED.contains(address));
    posting
}

/// What is posted although it changes nothing: what is typed there stays out of the address.
const ONLY_ASKED: [&str; 12] = [
    "/find",
    "/customers",
    "/frames",
    "/orders/{key}/summary",
    "/understood/rx",
    "/understood/pd",
    "/suggest/customers",
    "/suggest/customers/{party}",
    "/suggest/frames",
    "/jobs/{number}/edge/figures",
    "/jobs/{number}/measuring/photo",
    "/orders/{key}/measuring/photo",
];

/// A form that its page offers now, filled in so that it is taken.
pub struct Filled {
    pub lab: TestLab,
    /// The job it belongs to.
    job: Option<i64>,
    pub path: String,
    /// The page that offers it; nothing where no page does.
    pub page: Option<Answer>,
    /// Everything but the key.
    pub fields: Vec<(String, String)>,
    /// The key, for a form that has one among its fields.
    key: Option<String>,
    /// Whether it is sent as an upload does.
    is_upload: bool,
    /// A file that is sent in it.
    file: Option<(&'static str, &'static str, &'static [u8])>,
}

impl Filled {
    pub async fn send(&self, with_key: bool) -> Answer {
        let key = self.key.iter().filter(|_| with_key).map(|key| ("key", key.as_str()));
        let fields: Vec<(&str, &str)> = self.fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).chain(key).collect();
        match self.is_upload {
            true => {
                let (field, name, bytes) = self.file.unwrap_or(("file", "", b""));
                self.lab.upload_as_is(&self.path, &fields, field, name, bytes).await
            }
            false if self.path.starts_with("/lab/old-records") => {
                let answer = self.lab.post_as_is(&self.path, &fields).await;
                crate::old_records::wait(&self.lab).await;
                answer
            }
            false => self.lab.post_as_is(&self.path, &fields).await,
        }
    }

    async fn send_from_elsewhere(&self, headers: &[(&str, &str)]) -> Answer {
        let key = self.key.iter().map(|key| ("key", key.as_str()));
        let fields: Vec<(&str, &str)> = self.fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).chain(key).collect();
        let mut request = Request::post(&self.path)
            .header(header::HOST, "localhost")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        self.lab.send(request.body(Body::from(crate::support::encode(&fields))).unwrap()).await
    }
}

/// The fields of the form that posts to `path`, as a browser would send them.
pub fn fields_of(page: &Answer, path: &str) -> Vec<(String, String)> {
    let html = Html::parse_document(&page.body);
    let select = |s: &str| Selector::parse(s).unwrap();
    let form = html.select(&select(&format!("form[method=post][action='{path}']"))).next();
    let form = form.unwrap_or_else(|| panic!("no form for {path} in\n{}", page.body));
    let mut fields = Vec::new();
    for input in form.select(&select("input[name], textarea[name], select[name]")) {
        let element = input.value();
        let value = match (element.name(), element.attr("type")) {
            (_, Some("file")) => continue,
            (_, Some("radio" | "checkbox")) if element.attr("checked").is_none() => continue,
            ("textarea", _) => input.text().collect(),
            ("select", _) => {
                let chosen = input.select(&select("option[selected]")).next();
                chosen.and_then(|o| o.value().attr("value")).unwrap_or_default().to_owned()
            }
            _ => element.attr("value").unwrap_or_default().to_owned(),
        };
        fields.push((element.attr("name").unwrap().to_owned(), value));
    }
    fields
}

/// The form of an address, offered by its page and filled in. A new posting address fails here until it has a line.
pub async fn filled(address: &str) -> Filled {
    let lab = if address == "/start" { TestLab::unnamed().await } else { TestLab::new().await };
    let mut job = None;
    let mut changes: Vec<(&str, String)> = Vec::new();
    let said = |pairs: &[(&'static str, &str)]| pairs.iter().map(|(n, v)| (*n, (*v).to_owned())).collect::<Vec<_>>();
    let page = match address {
        "/start" => {
            changes = said(&[("name", "Saltmarsh"), ("address", "4 Quay Lane")]);
            address.to_owned()
        }
        "/drafts/{key}" => {
            let fields = vec![("note".to_owned(), "half a word".to_owned())];
            return Filled {
                lab,
                job,
                path: "/drafts/mine".into(),
                page: None,
                fields,
                key: None,
                is_upload: false,
                file: None,
            };
        }
        "/orders/{key}" => {
            let material = lab.store.list_materials().await.unwrap()[0].version.to_string();
            changes = crate::orders::fields();
            changes.push(("material", material));
            lab.get("/orders/new").await.location
        }
        "/lab" => {
            changes = said(&[("name", "Another Name")]);
            address.to_owned()
        }
        "/lab/backups" => {
            let folder = lab.folder.path().join("elsewhere").display().to_string();
            changes = vec![("folder", folder)];
            address.to_owned()
        }
        "/lab/backups/now" => "/lab/backups".to_owned(),
        "/lab/old-records" => {
            changes = vec![("folder", lab.folder.path().display().to_string())];
            address.to_owned()
        }
        "/lab/old-records/columns" => {
            crate::old_records::given_table(&lab, crate::old_records::TABLE).await;
            address.to_owned()
        }
        "/lab/old-records/trial" => {
            crate::old_records::given_table(&lab, crate::old_records::TABLE).await;
            crate::old_records::try_out(&lab, &[]).await;
            address.to_owned()
        }
        "/lab/process-spread" => {
            changes = said(&[("stick_step", "1")]);
            address.to_owned()
        }
        "/lab/materials/new" => {
            let typed = [("name", "1.56"), ("index", "1.56"), ("abbe", "38"), ("density", "1.28"), ("price", "40")];
            changes = said(&typed);
            address.to_owned()
        }
        "/lab/treatments/new" => {
            changes = said(&[("name", "Blue 20%"), ("price", "12")]);
            address.to_owned()
        }
        "/lab/materials/{line}" | "/lab/materials/{line}/retirement" => {
            if !address.ends_with("retirement") {
                changes = said(&[("price", "77")]);
            }
            format!("/lab/materials/{}", lab.store.list_materials().await.unwrap()[0].id)
        }
        "/lab/treatments/{line}" | "/lab/treatments/{line}/retirement" => {
            if !address.ends_with("retirement") {
                changes = said(&[("price", "77")]);
            }
            format!("/lab/treatments/{}", lab.store.list_treatments().await.unwrap()[0].id)
        }
        "/stock/new" => {
            let material = lab.store.list_materials().await.unwrap()[0].id.to_string();
            changes = said(&[("sphere", "-2.25"), ("diameter", "70"), ("center", "1.5"), ("front_power", "3.40")]);
            changes.push(("material", material));
            address.to_owned()
        }
        "/stock/{id}/count" => {
            changes = said(&[("change", "+1")]);
            format!("/stock/{}/count", given_drawer_lens(&lab).await)
        }
        "/money/reminders/{id}" => {
            let number = lab.given_job().await;
            let undone = [
                ("amount", "5"),
                ("cause", "payment_undone"),
                ("kind", "card"),
                ("paid_on", "2026-11-25"),
                ("reason", "card"),
            ];
            lab.post(&format!("/jobs/{number}/refunds"), &undone).await.assert_status(303);
            format!("/money/reminders/{}", lab.store.get_job(number).await.unwrap().customer.id)
        }
        "/stock/{id}/reorder" => {
            changes = said(&[("reorder_at", "3"), ("supplier", "Brightwater Optical")]);
            format!("/stock/{}/count", given_drawer_lens(&lab).await)
        }
        "/buying" => {
            let number = lab.given_job().await;
            lab.given_shape_for(number).await;
            changes = said(&[("supplier-new", "Brightwater Optical")]);
            address.to_owned()
        }
        "/buying/promises" => {
            let number = lab.given_job_to("-2.25 DS", "-2.25 DS").await;
            lab.given_shape_for(number).await;
            let job = lab.store.get_job(number).await.unwrap();
            let (material, coating) = (job.material.id, job.coating.as_ref().map(|coating| coating.id));
            let lens = DrawerLensDetails { material, coating, ..plain_lens(&lab).await };
            lab.store.stock_lens("given-lens", &lens, 2, NOW).await.unwrap();
            "/buying".to_owned()
        }
        "/purchases/{number}/expected" => {
            let number = lab.given_job().await;
            lab.given_shape_for(number).await;
            changes = said(&[("expected_on", "2026-12-14"), ("expected_reason", "short of stock")]);
            lab.post("/buying", &crate::buying::order_of(&lab).await).await.assert_status(303).location.clone()
        }
        "/suppliers/{id}" => {
            let lens = given_drawer_lens(&lab).await;
            lab.store.set_reorder_point(lens, Some(1), "Brightwater Optical", NOW).await.unwrap();
            changes = said(&[("name", "Brightwater Lenses")]);
            format!("/suppliers/{}", lab.store.list_suppliers().await.unwrap()[0].id)
        }
        "/purchases/{number}" => {
            let number = lab.given_job().await;
            lab.given_shape_for(number).await;
            let sent = lab.post("/buying", &crate::buying::order_of(&lab).await).await;
            let seq = lab.store.list_open_purchase_lines().await.unwrap()[0].seq;
            changes = vec![(Box::leak(format!("kind-{seq}").into_boxed_str()), "arrived".to_owned())];
            sent.assert_status(303).location.clone()
        }
        "/customers/{id}/erasure" => {
            let person = Person { name: "Bram Heath".into(), ..Person::default() };
            let id = lab.store.insert_customer(&person, NOW).await.unwrap();
            changes = said(&[("reason", "by letter"), ("sure", "yes")]);
            format!("/customers/{id}/erasure")
        }
        "/customers/{id}/details" => {
            let number = lab.given_job().await;
            changes = said(&[("name", "Ada Changed")]);
            format!("/customers/{}/details", lab.store.get_job(number).await.unwrap().customer.id)
        }
        "/frames/{id}/details" => {
            let number = lab.given_job().await;
            changes = said(&[("frame_color", "rust")]);
            format!("/frames/{}/details", lab.store.get_job(number).await.unwrap().frame.id)
        }
        "/jobs/{number}/measuring/figures" => {
            let number = lab.given_job().await;
            job = Some(number);
            changes = said(&[("keep", "yes")]);
            crate::measuring::marked(&lab, &format!("/jobs/{number}")).await
        }
        "/orders/{key}/measuring/figures" => {
            let order = lab.get("/orders/new").await.location;
            crate::measuring::marked(&lab, &order).await
        }
        "/jobs/{number}/shape/outline" => {
            let number = lab.given_job().await;
            let picture = crate::pictures::sent(&lab, number).await;
            job = Some(number);
            format!("/jobs/{number}/shape/picture/{picture}?scale=dpi&dpi=200")
        }
        _ => {
            let (number, page, typed) = filled_for_job(&lab, address).await;
            (job, changes) = (Some(number), typed);
            format!("/jobs/{number}{page}")
        }
    };
    let path = match (address, job) {
        (_, Some(number)) => address.replace("{number}", &number.to_string()),
        _ if address.ends_with("/retirement") => format!("{page}/retirement"),
        _ if address.ends_with("/expected") => format!("{page}/expected"),
        _ if address.ends_with("/reorder") => page.replace("/count", "/reorder"),
        _ if address.ends_with("/measuring/figures") => page.split('?').next().unwrap().to_owned() + "/figures",
        _ if ["/buying/promises", "/lab/backups/now"].contains(&address) => address.to_owned(),
        _ => page.clone(),
    };
    let page = lab.get(&page).await;
    let mut fields = fields_of(&page, &path);
    let key = fields.iter().position(|(name, _)| name == "key").map(|at| fields.remove(at).1);
    for (name, value) in changes {
        // A packing list has many fields of one name.
        if name != "tick" {
            fields.retain(|(n, _)| n != name);
        }
        fields.push((name.to_owned(), value));
    }
    let is_upload = ["/shape", "/own-frame", "/files", "/old-records"].iter().any(|end| address.ends_with(end));
    let file = match address.rsplit('/').next() {
        Some("files") => Some(("file", "frame.png", crate::own_frame::PNG)),
        Some("old-records") => Some(("table", "jobs.csv", crate::old_records::TABLE.as_bytes())),
        _ => None,
    };
    Filled { lab, job, path, page: Some(page), fields, key, is_upload, file }
}

/// A job at which the form of this address is offered, the end of the address of the page that offers it, and what is
/// typed in it.
async fn filled_for_job(lab: &TestLab, address: &str) -> (i64, &'static str, Vec<(&'static str, String)>) {
    let said = |pairs: &[(&'static str, &str)]| pairs.iter().map(|(n, v)| (*n, (*v).to_owned())).collect::<Vec<_>>();
    match address {
        "/jobs/{number}/own-frame" => (lab.given_job().await, "/own-frame", said(&[("condition", "as new")])),
        "/jobs/{number}/files" => (lab.given_job().await, "/files", Vec::new()),
        "/jobs/{number}/notes" => (lab.given_job().await, "/notes", said(&[("note", "call Ada")])),
        "/jobs/{number}/people" => (
            lab.given_job().await,
            "/people",
            said(&[("payer_name", "Bram Quill"), ("payer_city", "Pellmarsh"), ("reason", "his father pays")]),
        ),
        "/jobs/{number}/promise" => (
            lab.given_job().await,
            "/promise",
            said(&[("agreed_on", "2026-12-14"), ("agreed_said", "no hurry, I have my old pair")]),
        ),
        "/jobs/{number}/delay-notices" => {
            (lab.given_job().await, "/promise", said(&[("revised_on", "2026-12-14"), ("cause", "a lens broke")]))
        }
        "/jobs/{number}/delay-answers" => {
            let number = lab.given_job().await;
            let notice =
                [("revised", "day"), ("revised_on", "2026-12-14"), ("notice_way", "email"), ("sent_on", "2026-11-25")];
            lab.post(&format!("/jobs/{number}/delay-notices"), &notice).await.assert_status(303);
            (number, "/promise", said(&[("answer", "consents"), ("answer_said", "fine with me")]))
        }
        "/jobs/{number}/shape" => {
            let records = crate::shapes::records(Some("20.00"), &[("R", crate::shapes::ellipse_radii())]);
            (lab.given_job().await, "/shape", said(&[("table", &records)]))
        }
        "/jobs/{number}/shape/change" => {
            let number = lab.given_job().await;
            lab.given_shape_for(number).await;
            (number, "/shape", said(&[("circumference", "140")]))
        }
        "/jobs/{number}/shape/holes" => {
            let number = lab.given_job().await;
            lab.given_shape_for(number).await;
            (number, "/shape", said(&[("holes", "temple 5 2 1.4")]))
        }
        "/jobs/{number}/shape/loan" => {
            let earlier = lab.given_job().await;
            lab.given_shape_for(earlier).await;
            (lab.given_job_in_the_frame_of(earlier).await, "/shape", Vec::new())
        }
        "/jobs/{number}/shape/earlier" => {
            let number = lab.given_job().await;
            lab.given_shape_for(number).await;
            let path = format!("/jobs/{number}/shape/change");
            lab.post(&path, &[("way", "box"), ("box_a", "50")]).await.assert_status(303);
            (number, "/shape", Vec::new())
        }
        "/jobs/{number}/blanks" => {
            let number = lab.given_job().await;
            lab.given_shape_for(number).await;
            (number, "/blanks", said(&[("list", "70 mm 4.20")]))
        }
        "/jobs/{number}/lenses" => {
            let number = lab.given_job().await;
            lab.given_shape_for(number).await;
            let bought = ["lens_right", "lens_left"].map(|name| (name, "bought".to_owned()));
            let large = ["diameter_right", "diameter_left"].map(|name| (name, "75".to_owned()));
            (number, "/lenses", bought.into_iter().chain(large).collect())
        }
        "/jobs/{number}/spoilage" => {
            (lab.given_lenses_in_hand().await, "/spoilage", said(&[("lens", "right"), ("cause", "lens")]))
        }
        "/jobs/{number}/compensation" => {
            (lab.given_lenses_in_hand().await, "/compensation", said(&[("decision", "prescribed")]))
        }
        "/jobs/{number}/tickets" => (lab.given_lenses_in_hand().await, "/ticket", Vec::new()),
        "/jobs/{number}/cut" => (lab.given_lenses_in_hand().await, "/cut", said(&[("note", "soft bridge")])),
        "/jobs/{number}/check" => (lab.given_cut_job().await, "/check", said(&GOOD_READING)),
        "/jobs/{number}/check/concession" => {
            let number = lab.given_cut_job().await;
            let mut wrong = GOOD_READING;
            wrong[1].1 = "-2.45 -1.25 x 95";
            lab.post(&format!("/jobs/{number}/check"), &wrong).await.assert_status(303);
            (number, "/check", said(&[("cause", "until_remade"), ("reason", "a second pair is on its way")]))
        }
        "/jobs/{number}/impact" => {
            (lab.given_unproven_job().await, "/packing", said(&[("certificate_right", "batch 4711")]))
        }
        "/jobs/{number}/packing" => {
            // Only what is needed, so that it differs from a list with everything ticked.
            let asked = ITEMS.iter().filter(|item| item.applies_to(Parcel::Glasses) && item.is_needed);
            let ticks = asked.map(|item| ("tick", item.key.to_owned())).collect();
            (lab.given_checked_job().await, "/packing", ticks)
        }
        "/jobs/{number}/shipment" => (lab.given_packed_job().await, "/shipment", said(&[("carrier", "Parcel post")])),
        "/jobs/{number}/bill/lines" => {
            (lab.given_job().await, "/bill/lines", said(&[("amount", "12"), ("reason", "asked for a case")]))
        }
        "/jobs/{number}/bill/reversals" => {
            let number = lab.given_job().await;
            let seq = lab.store.get_account(number).await.unwrap().lines[0].seq;
            (number, "/bill/reversals", vec![("line", seq.to_string()), ("reason", "own frame".to_owned())])
        }
        "/jobs/{number}/refunds" => {
            (lab.given_job().await, "/refunds", said(&[("amount", "5"), ("reason", "a scratch on the case")]))
        }
        "/jobs/{number}/return" => {
            (lab.given_sent_job().await, "/return", said(&[("cause", "refused"), ("condition", "unopened")]))
        }
        "/jobs/{number}/correction" => {
            (lab.given_job().await, "/correction", said(&[("height_right", "21"), ("reason", "measured again")]))
        }
        "/jobs/{number}/cancellation" => {
            let number = lab.given_lenses_in_hand().await;
            let typed = [("asked_by", "customer"), ("reason", "found the old pair")];
            let lenses = [("old_right", "drawer"), ("old_left", "mind")];
            (number, "/cancellation", said(&[typed, lenses].concat()))
        }
        "/jobs/{number}/payments" => (lab.given_job().await, "/bill", said(&[("amount", "25"), ("kind", "check")])),
        "/jobs/{number}/receipts" => (lab.given_job().await, "/bill", Vec::new()),
        _ => panic!("{address} takes a post that this test does not try yet"),
    }
}

async fn plain_lens(lab: &TestLab) -> DrawerLensDetails {
    DrawerLensDetails {
        material: lab.store.list_materials().await.unwrap()[0].id,
        sphere: "-2.25".parse().unwrap(),
        cylinder: "0".parse().unwrap(),
        diameter: "70".parse().unwrap(),
        center: Some("1.5".parse().unwrap()),
        front_power: Some("3.4".parse().unwrap()),
        base: None,
        coating: None,
        second_coating: None,
        tint: None,
    }
}

pub async fn given_drawer_lens(lab: &TestLab) -> DrawerLensId {
    let lens = plain_lens(lab).await;
    lab.store.stock_lens("given-lens", &lens, 2, NOW).await.unwrap();
    lab.store.list_drawer().await.unwrap()[0].id
}

/// What a page says that refuses a post.
fn notice(answer: &Answer) -> String {
    answer.texts(".notice, .error").join(" ")
}

/// One form of each address goes through all three: what is refused leaves it as it was.
#[tokio::test]
async fn a_form_is_taken_once_from_this_site_with_its_key() {
    for address in posting_addresses().await {
        let mut form = filled(address).await;
        let before = form.lab.contents().await;
        another_site_posts_nothing(address, &form).await;
        without_its_key_it_is_refused(address, &mut form).await;
        assert_eq!(form.lab.contents().await, before, "{address}");
        posted_twice_it_is_done_once(address, &form, &before).await;
    }
}

async fn another_site_posts_nothing(address: &str, form: &Filled) {
    for headers in [
        [("sec-fetch-site", "cross-site")],
        [("sec-fetch-site", "same-site")],
        [("origin", "http://evil.example")],
        [("origin", "null")],
    ] {
        assert_eq!(form.send_from_elsewhere(&headers).await.status, 403, "{address} {headers:?}");
    }
    assert_eq!(form.lab.store.find_draft("mine").await.unwrap(), None, "{address}");
}

async fn without_its_key_it_is_refused(address: &str, form: &mut Filled) {
    // These have their key in the address.
    if ["/orders/{key}", "/drafts/{key}", "/orders/{key}/measuring/figures"].contains(&address) {
        return;
    }
    let right = form.key.replace("other-1001-0".to_owned());
    assert!(right.is_some(), "{address} has a key in its form");
    for with_key in [false, true] {
        let refused = form.send(with_key).await;
        assert_eq!(refused.status, 400, "{address}");
        assert!(notice(&refused).contains("not complete"), "{address}: {}", notice(&refused));
    }
    form.key = right;
}

async fn posted_twice_it_is_done_once(address: &str, form: &Filled, before: &[String]) {
    let first = form.send(true).await;
    if address == "/drafts/{key}" {
        // It keeps what is typed, as often as it is typed.
        assert_eq!(first.status, 204, "{address}");
        return;
    }
    assert_eq!(first.status, 303, "{address}: {}", notice(&first));
    let after = form.lab.contents().await;
    // A backup is a file beside the book, an order in the making a draft; a trial of old records writes nothing.
    let beside = ["/lab/backups/now", "/orders/{key}/measuring/figures", "/lab/old-records/columns"];
    assert!(after != before || beside.contains(&address), "{address} did something");
    let second = form.send(true).await;
    assert_eq!(second.status, 303, "{address}: {}", notice(&second));
    assert_eq!(form.lab.contents().await, after, "{address}: the second does nothing new");
}

#[tokio::test]
#[ignore = "long: cargo test -- --include-ignored"]
async fn a_form_of_a_job_that_moved_on_is_refused() {
    // What may be done to a job at any time.
    let at_any_time = [
        "/notes",
        "/shape",
        "/shape/change",
        "/shape/holes",
        "/shape/loan",
        "/shape/earlier",
        "/shape/outline",
        "/blanks",
        "/tickets",
        "/bill/lines",
        "/bill/reversals",
        "/payments",
        "/refunds",
        "/receipts",
        "/people",
        "/files",
    ];
    for address in posting_addresses().await {
        let form = filled(address).await;
        let Some(number) = form.job else { continue };
        // Another window takes the job through every step that is left, with other contents.
        if address.ends_with("/check") {
            let mut other = GOOD_READING;
            other[1].1 = "-2.25 -1.25 x 96";
            form.lab.post(&format!("/jobs/{number}/check"), &other).await.assert_status(303);
        }
        if address.ends_with("/return") {
            let lost = [("cause", "lost"), ("returned_on", "2026-11-25")];
            form.lab.post(&format!("/jobs/{number}/return"), &lost).await.assert_status(303);
        }
        form.lab.send_on(number).await;
        let before = form.lab.contents().await;
        let answer = form.send(true).await;
        if at_any_time.iter().any(|end| address.ends_with(end)) {
            assert_eq!(answer.status, 303, "{address}: {}", notice(&answer));
            continue;
        }
        assert_eq!(answer.status, 409, "{address}: {}", notice(&answer));
        assert!(notice(&answer).contains(&format!("ob {number}")), "{address}: {}", notice(&answer));
        assert_eq!(form.lab.contents().await, before, "{address}");
    }
}

/// An address with something of the book in each place.
pub async fn somewhere(lab: &TestLab, address: &str, number: i64) -> String {
    let job = lab.store.get_job(number).await.unwrap();
    let id = match address {
        a if a.starts_with("/frames/") => job.frame.id.to_string(),
        a if a.starts_with("/stock/") => lab.store.list_drawer().await.unwrap()[0].id.to_string(),
        _ => job.customer.id.to_string(),
    };
    let line = match address {
        a if a.starts_with("/lab/materials/") => job.material.id.to_string(),
        _ => lab.store.list_treatments().await.unwrap()[0].id.to_string(),
    };
    let number = if address.starts_with("/receipts/") { 5001 } else { number };
    let key = uuid::Uuid::now_v7().to_string();
    [("{number}", number.to_string()), ("{id}", id), ("{line}", line), ("{key}", key), ("{seq}", "1".to_owned())]
        .into_iter()
        .fold(address.to_owned(), |path, (place, value)| path.replace(place, &value))
        .replace("{party}", "payer")
        .replace("{file}", "receipts.csv")
}

/// Whatever is read, by whoever makes the browser read it, the book stays as it is.
#[tokio::test]
async fn no_read_changes_anything() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    given_drawer_lens(&lab).await;
    let (book, drafts) = (lab.contents().await, lab.count_rows("draft").await);
    let more = [
        format!("/orders/new?like={number}"),
        format!("/jobs/{number}/remake?eyes=both&cause=cut&paid_by=shop&lesson=x"),
        format!("/jobs/{number}/edge?front=5"),
    ];
    for address in ADDRESSES.iter().chain(FIRST_ADDRESSES) {
        let path = somewhere(&lab, address, number).await;
        let answer = lab.get(&path).await;
        assert!(answer.status.as_u16() < 500, "{path}: {}", answer.status);
        // Where it leads is read as well.
        if answer.location.starts_with("/orders/") {
            lab.get(&answer.location).await.assert_status(200);
        }
        assert_eq!(lab.count_rows("draft").await, drafts, "{path} keeps a draft");
    }
    for path in &more {
        let answer = lab.get(path).await;
        if answer.location.starts_with('/') {
            lab.get(&answer.location).await.assert_status(200);
        }
    }
    assert_eq!(lab.count_rows("draft").await, drafts);
    assert!(lab.contents().await == book, "something was changed by a read");
}

/// What is only asked changes nothing either, and is not for other sites.
#[tokio::test]
async fn a_question_changes_nothing() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let (book, drafts) = (lab.contents().await, lab.count_rows("draft").await);
    for address in ONLY_ASKED {
        let path = somewhere(&lab, address, number).await;
        let typed = [("q", "quill"), ("text", "-2.25"), ("name", "rx_right")];
        let answer = lab.post_as_is(&path, &typed).await;
        assert!([200, 303].contains(&answer.status.as_u16()), "{path}: {}", answer.status);
        assert_eq!(lab.post_from_elsewhere(&path, &typed).await.status, 403, "{path}");
        assert!(lab.get(&path).await.status != 200 || ["/customers", "/frames"].contains(&address), "{path}");
    }
    assert!(lab.contents().await == book && lab.count_rows("draft").await == drafts);
}
