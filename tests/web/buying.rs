//! Buying lenses: what is to buy, orders, what became of them, and lenses that the drawer keeps for a job.

use rimbook::desk::id::DrawerLensId;
use rimbook::desk::stock::{DrawerLens, DrawerLensDetails};

use crate::support::{Answer, NOW, TestLab};

/// The form of the only group of "To buy", as its page offers it, with a supplier.
pub async fn order_of(lab: &TestLab) -> Vec<(&'static str, &'static str)> {
    let page = lab.get("/buying").await;
    let leak = |text: &String| -> &'static str { Box::leak(text.clone().into_boxed_str()) };
    let select = "form[action='/buying'] input";
    let names = page.attributes(select, "name");
    let values = page.attributes(select, "value");
    let mut fields: Vec<_> = names.iter().zip(&values).map(|(name, value)| (leak(name), leak(value))).collect();
    for field in &mut fields {
        if field.0.starts_with("supplier-") {
            field.1 = "Brightwater Optical";
        }
    }
    fields
}

/// Puts lenses of the standing job's right eye into the drawer.
async fn stock(lab: &TestLab, job: i64, diameter: &str, count: i64) -> DrawerLensId {
    let job = lab.store.get_job(job).await.unwrap();
    let power = job.prescription.eyes.right.power.to_minus();
    let lens = DrawerLensDetails {
        material: job.material.id,
        coating: job.coating.as_ref().map(|coating| coating.id),
        second_coating: None,
        tint: None,
        sphere: power.sphere(),
        cylinder: power.cylinder(),
        diameter: diameter.parse().unwrap(),
        center: Some("1.5".parse().unwrap()),
        front_power: Some("4.25".parse().unwrap()),
        base: None,
    };
    lab.store.stock_lens(&format!("stock-{diameter}"), &lens, count, NOW).await.unwrap();
    let drawer = lab.store.list_drawer().await.unwrap();
    drawer.into_iter().find(|kind| kind.details == lens).unwrap().id
}

async fn kind(lab: &TestLab, id: DrawerLensId) -> DrawerLens {
    lab.store.list_drawer().await.unwrap().into_iter().find(|kind| kind.id == id).unwrap()
}

/// Posts what the form of the drawer's own lenses on "To buy" posts.
async fn promise(lab: &TestLab, keep: &str) -> Answer {
    let key = format!("buying-promise-{}", lab.store.count_promises().await.unwrap());
    lab.post_as_is("/buying/promises", &[("key", &key), ("keep", keep)]).await
}

fn way(page: &Answer) -> Vec<String> {
    page.texts(".lens-way .mark")
}

#[tokio::test]
async fn a_lens_is_needed_ordered_received_and_taken_in_hand() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    let untraced = lab.get("/buying").await;
    assert_eq!(untraced.texts("form[action='/buying'] tbody tr").len(), 2, "both eyes");
    assert!(untraced.text("tbody").contains("no shape on file yet"));
    assert!(untraced.attributes("tbody input[type=checkbox][checked]", "name").is_empty(), "no size, not ticked");
    lab.given_shape_for(job).await;
    let lenses = format!("/jobs/{job}/lenses");
    assert!(way(&lab.get(&lenses).await).iter().all(|words| words.starts_with("Needed")));

    // The one diameter to buy by is the one the blank page says.
    let page = lab.get("/buying").await;
    assert!(page.text("tbody").contains("mm or larger"), "{}", page.text("tbody"));
    assert!(page.text("tbody").contains("-2.25 -1.25"), "minus form, no axis: {}", page.text("tbody"));
    let text = page.text("textarea");
    assert!(text.contains(&format!("(Job {job}, right eye)")) && !text.contains("Ada"), "no person: {text}");
    let csv = lab.get("/buying/list.csv").await;
    assert!(csv.body.starts_with("Supplier,Quantity,Power,Material,"), "{}", csv.body);
    assert!(csv.body.contains("'-2.25 -1.25"), "no formula: {}", csv.body);
    assert!(lab.get("/buying/list").await.text("article").contains(&format!("Job {job}, left eye")));

    let form = order_of(&lab).await;
    let sent = lab.post("/buying", &form).await;
    assert_eq!(sent.assert_status(303).location, "/purchases/101");
    assert_eq!(lab.post("/buying", &form).await.assert_status(303).location, "/purchases/101", "a double click");
    let lab = lab.reopened().await;
    assert!(lab.get("/buying").await.texts("form[action='/buying']").is_empty(), "nothing is left to buy");
    let said = way(&lab.get(&lenses).await);
    assert!(said[0].contains("Ordered from Brightwater Optical, order 101, expected"), "{said:?}");

    // The right one comes with its lot; the left one is cancelled and is needed again.
    let lines = lab.store.list_open_purchase_lines().await.unwrap();
    let [right, left] = [&lines[0], &lines[1]].map(|line| line.seq.to_string());
    let (kind_right, source_right) = (format!("kind-{right}"), format!("source-{right}"));
    let kind_left = format!("kind-{left}");
    let form = [(kind_right.as_str(), "arrived"), (&source_right, "lot 12, certificate 9"), (&kind_left, "cancelled")];
    lab.post("/purchases/101", &form).await.assert_status(303);
    assert!(lab.get("/purchases/101").await.text("tbody").contains("lot 12, certificate 9"), "the order shows the lot");
    let page = lab.get(&lenses).await;
    let said = way(&page);
    assert!(said[0].contains("Received from Brightwater Optical") && said[1].starts_with("Needed"), "{said:?}");
    assert_eq!(page.attributes("#source_right", "value"), ["Brightwater Optical, lot 12, certificate 9"]);
    assert_eq!(page.attributes("#lens_right input[checked]", "value"), ["bought"]);
    let to_buy = lab.get("/buying").await;
    assert!(!to_buy.text("form[action='/buying']").contains("right eye"), "{}", to_buy.text("form[action='/buying']"));
    assert!(to_buy.text("section").contains(&format!("{job} right")));

    // Taking it in hand ticks it off.
    let diameter = page.attributes("#diameter_right", "value").remove(0);
    let source = "Brightwater Optical, lot 12, certificate 9";
    let fields = [("lens_right", "bought"), ("diameter_right", &diameter), ("source_right", source)];
    lab.post(&lenses, &fields).await.assert_status(303);
    assert!(lab.store.list_open_purchase_lines().await.unwrap().is_empty());
    assert_eq!(way(&lab.get(&lenses).await)[0], "In hand");
    assert_eq!(lab.store.find_lenses(job).await.unwrap().right.unwrap().source, source);
    assert!(lab.get("/purchases/101").await.text("tbody").contains("done"));
    assert!(lab.get("/purchases/101/sheet").await.text("article").contains("Order 101"));
}

#[tokio::test]
async fn each_wrong_field_of_an_order_has_its_sentence_and_stays() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    lab.given_shape_for(job).await;
    let good = order_of(&lab).await;
    let (diameter, price) = (format!("diameter-{job}-right"), format!("price-{job}-right"));
    for (field, value, sentence) in [
        ("supplier-new", "", "A supplier is needed"),
        ("expected_on-new", "2026-11-01", "is past"),
        ("expected_on-new", "soon", "is not a day"),
        (diameter.as_str(), "30", "between 40 and 90"),
        (price.as_str(), "-4", ""),
    ] {
        let mut fields = good.clone();
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        let page = lab.post("/buying", &fields).await;
        let said = page.assert_status(422).text(&format!("[id='{field}-error']"));
        assert!(!said.is_empty() && said.contains(sentence), "{field}: {said}");
        assert_eq!(page.attributes(&format!("[id='{field}']"), "value"), [value]);
    }
    let without: Vec<_> = good.iter().filter(|(name, _)| !name.starts_with("line-")).copied().collect();
    let page = lab.post("/buying", &without).await;
    assert!(page.assert_status(422).text("[id=supplier-new-error]").contains("tick at least one line"));
    assert!(lab.store.list_open_purchase_lines().await.unwrap().is_empty());
}

#[tokio::test]
async fn two_windows_order_an_eye_once() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    lab.given_shape_for(job).await;
    let mut form = order_of(&lab).await;
    lab.post("/buying", &form).await.assert_status(303);
    form.push(("note-new", "the other window"));
    let page = lab.post("/buying", &form).await;
    page.assert_status(422);
    assert_eq!(lab.store.list_open_purchase_lines().await.unwrap().len(), 2);
    // The book refuses it too, where a page would not.
    let line = lab.store.list_open_purchase_lines().await.unwrap().remove(0);
    let purchase = rimbook::desk::purchase::NewPurchase {
        supplier: "Brightwater Optical".into(),
        ordered_on: line.ordered_on,
        expected_on: line.expected_on,
        note: String::new(),
        lines: vec![line.lens],
    };
    let refused = lab.store.insert_purchase("second", &purchase, NOW).await;
    assert!(matches!(refused, Err(rimbook::store::StoreError::Twice(_))), "{refused:?}");
}

#[tokio::test]
async fn a_lens_of_the_drawer_is_kept_for_one_job_only() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    lab.given_shape_for(job).await;
    let id = stock(&lab, job, "75", 1).await;
    let page = lab.get("/buying").await;
    assert!(page.text("form[action='/buying/promises']").contains(&format!("{job}")));
    assert!(!page.text("form[action='/buying']").contains("right eye"), "the drawer has it");
    let keep = page.attributes("form[action='/buying/promises'] input[type=checkbox]", "value").remove(0);
    promise(&lab, &keep).await.assert_status(303);
    assert_eq!((kind(&lab, id).await.count, kind(&lab, id).await.free()), (1, 0));
    let lenses = format!("/jobs/{job}/lenses");
    assert_eq!(way(&lab.get(&lenses).await)[0], "Reserved in the drawer for this job");
    assert!(lab.get("/stock").await.text("tbody").contains("1 reserved"));

    // Another job of the same power is not offered it, and the book promises it to nobody else.
    let other = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{other}/lenses")).await;
    assert!(page.texts(".eye-right .choice").iter().all(|choice| !choice.contains("Drawer")));
    assert!(page.text(".eye-right .nearly").contains("reserved for other jobs"));
    let refused = lab.post(&format!("/jobs/{other}/lenses"), &[("lens_right", &id.to_string())]).await;
    refused.assert_status(422);
    let stolen = keep.replace(&job.to_string(), &other.to_string());
    promise(&lab, &stolen).await.assert_status(409);
    let count = lab.post(&format!("/stock/{id}/count"), &[("change", "-1")]).await;
    assert!(count.assert_status(422).text("#change-error").contains("reserved"), "{}", count.body);

    // Taken for its own job it leaves the drawer, and nothing is kept any more.
    lab.post(&lenses, &[("lens_right", &id.to_string())]).await.assert_status(303);
    let left = kind(&lab, id).await;
    assert_eq!((left.count, left.promised), (0, 0));
}

#[tokio::test]
async fn another_choice_frees_what_was_kept() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    lab.given_shape_for(job).await;
    let (large, small) = (stock(&lab, job, "75", 1).await, stock(&lab, job, "70", 1).await);
    let lenses = format!("/jobs/{job}/lenses");
    for (choice, want) in [(large, (1, 0)), (small, (0, 1)), (large, (1, 0))] {
        let kept = lab.get(&lenses).await.attributes("input[name=kept]", "value").remove(0);
        let fields = [("lens_right", choice.to_string()), ("act", "keep".into()), ("kept", kept)];
        let fields: Vec<_> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
        lab.post(&lenses, &fields).await.assert_status(303);
        assert_eq!((kind(&lab, large).await.promised, kind(&lab, small).await.promised), want);
    }
    lab.post(&lenses, &[("lens_right", ""), ("act", "keep")]).await.assert_status(303);
    assert_eq!((kind(&lab, large).await.promised, kind(&lab, small).await.promised), (0, 0));
    let refused = lab.post(&lenses, &[("lens_right", "bought"), ("act", "keep")]).await;
    assert!(refused.assert_status(422).text("#lens_right-error").contains("Only a lens in the drawer"));
}

#[tokio::test]
async fn replacing_a_lens_asks_where_the_old_one_went() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    lab.given_shape_for(job).await;
    let other = lab.given_relens(job).await;
    let id = stock(&lab, job, "75", 1).await;
    let lenses = format!("/jobs/{job}/lenses");
    lab.post(&lenses, &[("lens_right", &id.to_string())]).await.assert_status(303);
    let another = [("lens_right", "bought"), ("diameter_right", "75")];
    let asked = lab.post(&lenses, &another).await;
    assert!(asked.assert_status(422).text("#old_right-error").contains("Choose where the lens now in hand goes"));
    assert_eq!(kind(&lab, id).await.count, 0);

    let kept = [&another[..], &[("old_right", "job"), ("old_job_right", "x")]].concat();
    assert!(lab.post(&lenses, &kept).await.assert_status(422).text("#old_job_right-error").contains("job number"));
    let number = other.to_string();
    let kept = [&another[..], &[("old_right", "job"), ("old_job_right", &number)]].concat();
    lab.post(&lenses, &kept).await.assert_status(303);
    let back = kind(&lab, id).await;
    assert_eq!((back.count, back.promised), (1, 1));
    assert_eq!(way(&lab.get(&format!("/jobs/{other}/lenses")).await)[0], "Reserved in the drawer for this job");

    // A bought lens that goes back is a kind of the drawer from then on.
    let back = [("lens_right", "bought"), ("diameter_right", "80"), ("old_right", "drawer")];
    lab.post(&lenses, &back).await.assert_status(303);
    let drawer = lab.store.list_drawer().await.unwrap();
    assert!(drawer.iter().any(|kind| kind.details.diameter == "75".parse().unwrap() && kind.details.center.is_none()));
    // Or it was spoiled: the history says so.
    let spoiled = [("lens_right", "bought"), ("diameter_right", "75"), ("old_right", "handling")];
    lab.post(&lenses, &spoiled).await.assert_status(303);
    assert_eq!(lab.count("spoiled_lens", job).await, 1);
    assert_eq!(lab.count("lens_put_back", job).await, 2);
}

/// An order for both lenses of the standing job, and that job.
async fn ordered(lab: &TestLab) -> i64 {
    let job = lab.given_job().await;
    lab.given_shape_for(job).await;
    lab.post("/buying", &order_of(lab).await).await.assert_status(303);
    job
}

#[tokio::test]
async fn an_order_is_expected_on_another_day_and_both_days_stay() {
    let lab = TestLab::new().await;
    let job = ordered(&lab).await;
    let (page, path) = ("/purchases/101", "/purchases/101/expected");
    let key = |page: &Answer| page.attributes(&format!("form[action='{path}'] input[name=key]"), "value").remove(0);
    let shown = lab.get(page).await;
    assert!(shown.text(".facts").contains("ExpectedDec 2, 2026"), "{}", shown.text(".facts"));
    let first = key(&shown);
    for (day, says) in [("2026-11-24", "is past"), ("2026-12-02", "on that day already"), ("soon", "is not a day")] {
        let form = [("key", first.as_str()), ("expected_on", day), ("expected_reason", "short of stock")];
        let refused = lab.post_as_is(path, &form).await;
        assert!(refused.assert_status(422).text("#expected_on-error").contains(says), "{day}");
        assert_eq!(refused.attributes("#expected_reason", "value"), ["short of stock"]);
    }
    let form = [("key", first.as_str()), ("expected_on", "2026-12-09"), ("expected_reason", "short of stock")];
    assert_eq!(lab.post_as_is(path, &form).await.assert_status(303).location, page);
    assert_eq!(lab.post_as_is(path, &form).await.assert_status(303).location, page, "a double click");
    let lab = lab.reopened().await;
    let shown = lab.get(page).await;
    let facts = shown.text(".facts");
    assert!(facts.contains("ExpectedDec 9, 2026") && facts.contains("Before Dec 2, 2026"), "{facts}");
    assert!(facts.contains("moved Nov 25, 2026 to Dec 9, 2026: short of stock"), "{facts}");
    // Every page that names the day has the new one, and the history of the job has both.
    assert!(lab.get("/buying").await.text("main").contains("Dec 9, 2026"));
    assert!(lab.get(&format!("/jobs/{job}/lenses")).await.text(".lens-way").contains("expected Dec 9, 2026"));
    assert!(lab.get("/").await.text("#lenses").contains("expected Wed Dec 9"));
    assert!(lab.get("/purchases/101/sheet").await.text("article").contains("expected Dec 9, 2026"));
    let notes: Vec<String> =
        lab.store.get_job(job).await.unwrap().history.iter().map(|event| event.note.clone()).collect();
    let says = "lens of order 101 is expected Dec 9, 2026, not Dec 2, 2026: short of stock";
    assert_eq!(notes.iter().filter(|note| note.contains(says)).count(), 2, "{notes:?}");

    // It moves again, and once everything is here no more.
    let form = [("key", &*key(&shown)), ("expected_on", "2026-12-01"), ("expected_reason", "")];
    lab.post_as_is(path, &form).await.assert_status(303);
    let shown = lab.get(page).await;
    assert!(shown.text(".facts").contains("ExpectedDec 1, 2026") && shown.texts(".facts dd").len() >= 4);
    let last = key(&shown);
    for line in lab.store.list_open_purchase_lines().await.unwrap() {
        lab.post(page, &[(format!("kind-{}", line.seq).as_str(), "arrived")]).await.assert_status(303);
    }
    assert!(lab.get(page).await.texts(&format!("form[action='{path}']")).is_empty());
    let form = [("key", last.as_str()), ("expected_on", "2026-12-20"), ("expected_reason", "")];
    assert!(lab.post_as_is(path, &form).await.assert_status(409).text(".notice").contains("still to come"));
}

#[tokio::test]
async fn a_supplier_takes_another_name_and_the_earlier_one_stays() {
    let lab = TestLab::new().await;
    ordered(&lab).await;
    let path = lab.get("/purchases/101").await.attributes(".title a[href^='/suppliers/']", "href").remove(0);
    assert!(lab.get("/buying").await.attributes("a", "href").contains(&path));
    let fields = lab.get(&path).await.attributes("#name", "value");
    assert_eq!(fields, ["Brightwater Optical"]);
    assert!(lab.post(&path, &[("name", " ")]).await.assert_status(422).text("#name-error").contains("A name"));
    let opened = crate::addresses::fields_of(&lab.get(&path).await, &path);
    let saved = lab.post(&path, &[("name", "Brightwater Lenses")]).await.assert_status(303).location.clone();
    assert_eq!(saved, format!("{path}?saved=yes"));
    assert!(lab.get(&saved).await.text(".notice").contains("Saved"));
    assert!(lab.get(&path).await.texts(".notice[role=status]").is_empty(), "it is said once");
    // A window that was opened before and names it otherwise is shown both names.
    let other: Vec<(&str, &str)> = opened
        .iter()
        .map(|(name, value)| (name.as_str(), if name == "name" { "Brightwater" } else { value.as_str() }))
        .collect();
    let asked = lab.post_as_is(&path, &other).await;
    let says = asked.assert_status(422).text("#name-error");
    assert!(says.contains("another window to “Brightwater Lenses”"), "{says}");
    assert_eq!(asked.attributes("#name", "value"), ["Brightwater"]);
    let lab = lab.reopened().await;
    let shown = lab.get(&path).await;
    assert!(shown.text("h1") == "Brightwater Lenses" && shown.text(".history").contains("Brightwater Optical"));
    assert!(lab.get("/purchases/101").await.text(".title").contains("Brightwater Lenses"));
    // Saving the same name changes nothing; another supplier's is refused.
    lab.post(&path, &[("name", "Brightwater Lenses")]).await.assert_status(303);
    assert_eq!(lab.get(&path).await.texts(".history li").len(), 1);
    let job = lab.store.list_open_jobs().await.unwrap()[0].number;
    let kept = stock(&lab, job, "70", 1).await;
    lab.store.set_reorder_point(kept, Some(1), "Tidemark Lens Supply", NOW).await.unwrap();
    let taken = lab.post(&path, &[("name", "tidemark lens supply")]).await;
    assert!(taken.assert_status(422).text("#name-error").contains("Another supplier has this name"));
    assert_eq!(taken.attributes("#name", "value"), ["tidemark lens supply"]);
    lab.get("/suppliers/none").await.assert_status(404);
}

#[tokio::test]
async fn a_lens_with_both_coatings_is_the_one_that_is_ordered() {
    let lab = TestLab::new().await;
    let hard = lab.store.list_treatments().await.unwrap().into_iter().find(|t| t.details.name == "Hard coat").unwrap();
    let mut order = lab.order().await;
    order.second_coating = Some(hard.version);
    let job = lab.given_order(&order).await;
    lab.given_shape_for(job).await;
    let ordered = lab.store.get_job(job).await.unwrap();
    let power = ordered.prescription.eyes.right.power.to_minus();
    let lens = |coating, second_coating| DrawerLensDetails {
        material: ordered.material.id,
        coating,
        second_coating,
        tint: None,
        sphere: power.sphere(),
        cylinder: power.cylinder(),
        diameter: "70".parse().unwrap(),
        center: Some("1.5".parse().unwrap()),
        front_power: Some("4.25".parse().unwrap()),
        base: None,
    };
    let clear = ordered.coating.as_ref().map(|coating| coating.id);
    // With one of the two it is not offered as right: To buy still wants one.
    lab.store.stock_lens("one", &lens(clear, None), 1, NOW).await.unwrap();
    assert_eq!(lab.get("/buying").await.texts("form[action='/buying'] tbody tr").len(), 2);
    // The order of the two does not matter: both deliveries are one kind.
    lab.store.stock_lens("two", &lens(Some(hard.id), clear), 1, NOW).await.unwrap();
    lab.store.stock_lens("same", &lens(clear, Some(hard.id)), 1, NOW).await.unwrap();
    let drawer = lab.store.list_drawer().await.unwrap();
    let both: Vec<&DrawerLens> = drawer.iter().filter(|kind| kind.details.second_coating.is_some()).collect();
    assert_eq!(both.iter().map(|kind| kind.count).collect::<Vec<_>>(), [2]);
    assert!(["Hard coat", "Anti-reflective"].iter().all(|name| both[0].treatments.contains(name)));
    let page = lab.get("/buying").await;
    assert_eq!(page.texts("form[action='/buying'] tbody tr").len(), 1, "the right eye is served");
    let offered = lab.get(&format!("/jobs/{job}/lenses")).await;
    assert_eq!(offered.attributes("#lens_right input[checked]", "value"), [both[0].id.to_string()]);

    // Bought for the job and put into the drawer instead, it keeps both.
    let sent = lab.post("/buying", &order_of(&lab).await).await.assert_status(303).location.clone();
    let line = lab.store.list_open_purchase_lines().await.unwrap().remove(0);
    let kind = format!("kind-{}", line.seq);
    for became in ["arrived", "stocked"] {
        lab.post(&sent, &[(kind.as_str(), became)]).await.assert_status(303);
    }
    let left = ordered.prescription.eyes.left.power.to_minus().sphere();
    let kept = lab.store.list_drawer().await.unwrap().into_iter().find(|kind| kind.details.sphere == left).unwrap();
    assert!(kept.details.coating.is_some() && kept.details.second_coating.is_some(), "{kept:?}");
}

#[tokio::test]
async fn to_buy_keeps_to_the_list_of_the_jobs_supplier() {
    let lab = TestLab::new().await;
    let job = lab.given_job().await;
    lab.given_shape_for(job).await;
    let before = lab.get("/buying").await.text("form[action='/buying'] tbody");
    assert!(before.contains("60 mm or larger"), "{before}");
    lab.post(&format!("/jobs/{job}/blanks"), &[("list", "72 mm 4.20\n78 mm 5")]).await.assert_status(303);
    let after = lab.get("/buying").await.text("form[action='/buying'] tbody");
    assert!(after.contains("72 mm or larger") && !after.contains("60 mm"), "{after}");
    // So does the summary of new lenses for its frame.
    let path = lab.get(&format!("/jobs/{job}/relens")).await.location;
    let page = lab.get(&path).await;
    let path = page.attributes("form#order", "action").remove(0);
    let key = path.rsplit('/').next().unwrap();
    let mut typed = crate::addresses::fields_of(&page, &path);
    typed.retain(|(name, _)| !name.starts_with("rx_"));
    typed.extend(["rx_right", "rx_left"].map(|name| (name.to_owned(), "-2.00 sph".to_owned())));
    let fields: Vec<(&str, &str)> = typed.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    lab.post(&format!("/drafts/{key}"), &fields).await.assert_status(204);
    let part = lab.post_as_is(&format!("{path}/summary"), &[]).await;
    assert!(part.body.contains("order 72 mm or larger"), "{}", part.body);
}

/// Posts a form of a page as a browser would, with some fields changed.
async fn send_form(lab: &TestLab, page: &str, action: &str, changed: &[(&str, &str)]) {
    let mut fields = crate::addresses::fields_of(&lab.get(page).await, action);
    for (name, value) in changed {
        fields.retain(|(known, _)| known != name);
        fields.push(((*name).to_owned(), (*value).to_owned()));
    }
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    lab.post_as_is(action, &fields).await.assert_status(303);
}

/// What the list says now. A program that was just started, and remembers nothing, says the same, and so of the whole day.
async fn listed(lab: &TestLab) -> Vec<String> {
    let rows = async |lab: &TestLab| lab.get("/buying").await.texts("form[action='/buying'] tbody tr");
    let remembered = rows(lab).await;
    assert_eq!(remembered, rows(lab).await);
    let csv = lab.get("/buying/list.csv").await.body;
    let fresh = lab.just_started().await;
    assert_eq!((remembered.clone(), csv), (rows(&fresh).await, fresh.get("/buying/list.csv").await.body));
    let today = async |lab: &TestLab| lab.get("/").await.texts("main");
    assert_eq!(today(lab).await, today(&fresh).await);
    remembered
}

#[tokio::test]
async fn what_is_to_buy_follows_every_change_of_its_job() {
    let lab = TestLab::new().await;
    let job = lab.given_job_to("-6.00 DS", "-6.00 DS").await;
    let mut before = listed(&lab).await;
    let mut changes = |what: &str, now: Vec<String>| {
        assert_ne!(now, before, "{what}");
        before = now;
    };
    lab.given_shape_for(job).await;
    changes("a shape", listed(&lab).await);
    crate::corrections::correct(&lab, job, &[("pd", "26/26"), ("reason", "measured again")]).await.assert_status(303);
    changes("a correction", listed(&lab).await);
    let blanks = format!("/jobs/{job}/blanks");
    lab.post(&blanks, &[("list", "68 4.25"), ("prism_right", ""), ("prism_left", "")]).await.assert_status(303);
    changes("a supplier's list", listed(&lab).await);
    let compensation = format!("/jobs/{job}/compensation");
    let tilted = format!("{compensation}?vertex_from=13&vertex_to=13&panto=0&wrap=20&step=0.25");
    send_form(&lab, &tilted, &compensation, &[("decision", "compensated")]).await;
    changes("a decision about the power", listed(&lab).await);
    let customer = lab.store.get_job(job).await.unwrap().customer.id;
    let details = format!("/customers/{customer}/details");
    send_form(&lab, &details, &details, &[("name", "Ada Quill-Marsh")]).await;
    changes("a name", listed(&lab).await);
    send_form(&lab, "/lab", "/lab", &[("blank_margin", "6.00")]).await;
    changes("the lab's margin", listed(&lab).await);
    let other = lab.given_job_to("+2.00 DS", "+2.00 DS").await;
    changes("another job", listed(&lab).await);
    let path = format!("/jobs/{other}/cancellation");
    send_form(&lab, &path, &path, &[("asked_by", "customer"), ("reason", "found the old pair")]).await;
    changes("a canceled job", listed(&lab).await);
}

#[tokio::test]
async fn what_is_to_buy_follows_the_rim_of_its_frame() {
    // A rim decides how thin an edge may be, and so which sizes have one.
    let lab = TestLab::new().await;
    let job = lab.given_job_to("+6.00 DS", "+6.00 DS").await;
    lab.given_shape_for(job).await;
    listed(&lab).await;
    let frame = lab.store.get_job(job).await.unwrap().frame.id;
    let details = format!("/frames/{frame}/details");
    for rim in ["drilled", "metal"] {
        send_form(&lab, &details, &details, &[("frame_rim", rim)]).await;
        listed(&lab).await;
    }
}
