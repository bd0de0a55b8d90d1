//! Taking an order: what is understood, refused, asked about, and never done twice.

mod limits;

use crate::order_fields::ORDER_FIELDS;
use crate::support::{Answer, NOW, TestLab};

/// A complete order for someone new in a new frame.
pub fn fields() -> Vec<(&'static str, String)> {
    let own = [
        ("customer_name", "Odile Marrow"),
        ("phone", "555-0119"),
        ("frame_wrap", ""),
        ("near_pd", ""),
        ("written_on", "2026-10-20"),
        ("expires_on", "2028-10-20"),
        ("diagnosis", ""),
        ("coating", ""),
        ("tint", ""),
        ("ordered_on", "2026-11-25"),
        ("promised_on", "2026-12-05"),
        ("note", "soft nose pads"),
    ];
    ORDER_FIELDS.into_iter().chain(own).map(|(n, v)| (n, v.to_owned())).collect()
}

/// The address of a fresh order page.
pub async fn begin(lab: &TestLab) -> String {
    let answer = lab.get("/orders/new").await;
    answer.assert_status(303);
    answer.location
}

/// Posts the complete order with some fields changed.
pub async fn post(lab: &TestLab, path: &str, changes: &[(&str, &str)]) -> Answer {
    let material = lab.store.list_materials().await.unwrap()[0].version.to_string();
    let mut fields = fields();
    fields.push(("material", material));
    let mut fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
    for (name, value) in changes {
        fields.retain(|(n, _)| n != name);
        fields.push((name, value));
    }
    lab.post(path, &fields).await
}

#[tokio::test]
async fn an_order_becomes_a_job() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let answer = post(&lab, &path, &[]).await;
    answer.assert_status(303);
    assert_eq!(answer.location, "/jobs/1001", "the first job of a new book");
    let lab = lab.reopened().await;
    let page = lab.get("/jobs/1001").await;
    page.assert_status(200);
    assert_eq!(page.text(".eye-right .rx.large"), "-2.25 -1.25 x 095");
    assert_eq!(page.text(".eye-left .rx.large"), "-2.50 -0.75 x 080");
    assert_eq!(page.text(".steps .next"), "Shape next");
    let figures = page.texts(".figures .num");
    assert_eq!(figures, ["$162.00", "$100.00", "$62.00"], "95 frame, 2 x 30 lenses, 7 shipping; 100 paid");
}

#[tokio::test]
async fn the_wrap_of_a_new_frame_offers_the_lens_as_worn() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    for (wrap, sentence) in [
        ("x", "“x” is not a number: between -40 and 40 degrees was expected"),
        ("45", "A tilt of “45” degrees is not possible: between -40 and 40 was expected"),
    ] {
        let answer = post(&lab, &path, &[("frame_wrap", wrap)]).await;
        answer.assert_status(422);
        assert_eq!(answer.text("#frame_wrap-error"), sentence);
        assert_eq!(answer.attributes("#frame_wrap", "value"), [wrap]);
    }
    post(&lab, &path, &[("frame_wrap", "22")]).await.assert_status(303);
    let page = lab.reopened().await.get("/jobs/1001").await;
    assert!(page.texts(".wear-note")[0].starts_with("Wrapped frame This frame wraps 22°"), "{}", page.body);
}

#[tokio::test]
async fn a_second_click_finds_the_first_job() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let first = post(&lab, &path, &[]).await;
    let second = post(&lab, &path, &[]).await;
    assert_eq!((first.location.as_str(), second.location.as_str()), ("/jobs/1001", "/jobs/1001?already=order"));
    let back = lab.get(&path).await;
    assert_eq!(back.location, "/jobs/1001?already=order", "the Back button finds the job, not an empty form");
    assert!(lab.get("/jobs/1001?already=order").await.text(".notice.info").contains("Nothing was added"));
    lab.get("/jobs/1002").await.assert_status(404);
}

/// Two windows on one order page: the second order stands on a page of its own.
#[tokio::test]
async fn another_order_from_the_same_page_is_not_dropped() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    post(&lab, &path, &[]).await.assert_status(303);
    let other = [("customer_name", "Bram Sedge"), ("frame_model", "Petrel"), ("rx_right", "-2.00 DS")];
    let second = post(&lab, &path, &other).await.assert_status(303).location.clone();
    assert!(second.starts_with("/orders/") && !second.starts_with(&path), "{second}");
    let page = lab.get(&second).await;
    assert_eq!(page.attributes("#customer_name, #rx_right", "value"), ["Bram Sedge", "-2.00 DS"]);
    assert!(page.text(".notice").contains("Job 1001 was taken from the same page before"), "{}", page.text(".notice"));
    lab.get("/jobs/1002").await.assert_status(404);
    // It is taken where it stands now, once.
    let action = page.attributes("form#order", "action").remove(0);
    assert_eq!(post(&lab, &action, &other).await.location, "/jobs/1002");
    assert_eq!(post(&lab, &action, &other).await.location, "/jobs/1002?already=order");
    assert_eq!(lab.store.get_job(1002).await.unwrap().customer.person.name, "Bram Sedge");
}

/// An order page is shown as it starts until something is typed; an address that names nothing is told so.
#[tokio::test]
async fn what_an_order_starts_from_stays_in_its_address() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = lab.get(&format!("/jobs/{number}/relens")).await.location;
    for _ in 0..2 {
        assert_eq!(lab.get(&path).await.attributes("#pd", "value"), ["31/33"], "a reload shows it again");
    }
    let action = lab.get(&path).await.attributes("form#order", "action").remove(0);
    lab.post(&action.replace("/orders/", "/drafts/"), &[("relens_of", &number.to_string()), ("pd", "30/32")]).await;
    assert_eq!(lab.get(&path).await.attributes("#pd", "value"), ["30/32"], "what was typed goes before it");
    for nothing in ["/orders/new?like=7", "/orders/new?customer=x", "/jobs/7/relens"] {
        assert!(lab.get(nothing).await.assert_status(404).text(".notice").contains("is not in the book"), "{nothing}");
    }
}

#[tokio::test]
async fn the_height_of_a_center_is_taken_by_rule() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    // 1 mm lower for each 2° of tilt (common practice); a pupil that is not typed leaves its center alone.
    let rule = [("intent", "heights"), ("pupil_height_right", "24"), ("tilt", "9"), ("height_left", "21")];
    let taken = post(&lab, &path, &rule).await;
    assert_eq!(taken.assert_status(303).location, path);
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#height_right, #height_left", "value"), ["19.50", "21"]);
    assert_eq!(page.attributes("#pupil_height_right, #tilt", "value"), ["24", "9"]);
    lab.get("/jobs/1001").await.assert_status(404);
    for (changes, field, says) in [
        ([("pupil_height_right", "24"), ("tilt", "")], "tilt", "in degrees, such as 8"),
        ([("pupil_height_right", ""), ("tilt", "8")], "pupil_height_right", "at least one pupil"),
        ([("pupil_height_right", "high"), ("tilt", "8")], "pupil_height_right", "not a number"),
        ([("pupil_height_right", "8"), ("tilt", "8")], "pupil_height_right", "between 5 and 60"),
    ] {
        let refused = post(&lab, &path, &[&changes[..], &[("intent", "heights")]].concat()).await;
        let error = refused.assert_status(422).text(&format!("#{field}-error"));
        assert!(error.contains(says), "{changes:?}: {error}");
        assert_eq!(
            refused.attributes(&format!("#{field}"), "value"),
            [changes.iter().find(|c| c.0 == field).unwrap().1]
        );
    }
    // Enter in a field takes the order: the first button of the form has no intent.
    let buttons = page.attributes("form#order button[type=submit]", "class");
    assert_eq!(buttons, ["visually-hidden"], "the button of the rule comes later and has no class");
}

#[tokio::test]
async fn a_reload_loses_nothing() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let key = path.rsplit('/').next().unwrap();
    let kept = lab.post(&format!("/drafts/{key}"), &[("rx_right", "-2.25 -1"), ("customer_name", "Ad")]).await;
    kept.assert_status(204);
    let lab = lab.reopened().await;
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("#rx_right", "value"), ["-2.25 -1"]);
    assert_eq!(page.attributes("#customer_name", "value"), ["Ad"]);
    // A refused post keeps what was typed too, on the page and in the book.
    let refused = post(&lab, &path, &[("rx_left", "-2.50 -0.75")]).await;
    refused.assert_status(422);
    assert_eq!(refused.attributes("#rx_left", "value"), ["-2.50 -0.75"]);
    assert_eq!(lab.get(&path).await.attributes("#note", "name"), ["note"]);
    assert_eq!(lab.get(&path).await.attributes("#phone", "value"), ["555-0119"]);
}

#[tokio::test]
async fn each_fault_stands_beside_its_field() {
    let lab = TestLab::new().await;
    for (name, value, says) in [
        ("rx_right", "-2.25 -1.25", "axis"),
        ("rx_right", "2.25 -1.25 x 95", "sign"),
        ("rx_left", "-2.25 x 95", "cylinder"),
        ("rx_left", "-2.25 -1.25 x 200", "180"),
        ("rx_left", "", "Write the power"),
        ("pd", "93", "80"),
        ("pd", "", "pupil distance"),
        ("height_right", "4", "A height of 4.00 mm is not possible: between 5 and 60"),
        ("height_left", "4 up", "is not a height: write 20, or 4 above the middle"),
        ("frame_eye_size", "5", "An eye size of 5.00 mm is not possible: between 30 and 75"),
        ("frame_rim", "", "Choose"),
        ("customer_name", " ", "needed"),
        ("written_on", "2027-01-01", "in the future"),
        ("promised_on", "2026-11-01", "before the order"),
        ("price_frame", "12,50", "amount"),
        ("payment", "-5", "minus"),
        ("price_discount", "900", "more than the whole bill"),
        ("email", "nobody", "@"),
        ("made_for", "elsewhere", "Choose"),
        ("material", "00000000-0000-0000-0000-000000000000", "that is offered"),
    ] {
        let path = begin(&lab).await;
        let answer = post(&lab, &path, &[(name, value)]).await;
        answer.assert_status(422);
        let errors = answer.texts(&format!("#{name}-error"));
        assert!(errors.first().is_some_and(|e| e.contains(says)), "{name}={value:?}: {errors:?}");
    }
    lab.get("/jobs/1001").await.assert_status(404);
}

/// A coating, another coating and a tint that are on sale.
async fn treatments(lab: &TestLab) -> (String, String, String) {
    let treatments = lab.store.list_treatments().await.unwrap();
    let version = |name| treatments.iter().find(|t| t.details.name == name).unwrap().version.to_string();
    (version("Hard coat"), version("Anti-reflective"), version("Gray 80%"))
}

#[tokio::test]
async fn a_price_is_only_for_what_is_chosen() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    for (field, says) in [
        ("price_coating", "No coating is chosen: choose one, or leave its price empty"),
        ("price_second_coating", "No second coating is chosen: choose one, or leave its price empty"),
        ("price_tint", "No tint is chosen: choose one, or leave its price empty"),
        ("price_prism", "No prism is prescribed: leave its price empty"),
    ] {
        let answer = post(&lab, &path, &[(field, "12")]).await;
        answer.assert_status(422);
        assert_eq!(answer.texts(".error"), [says]);
        assert_eq!(answer.attributes(&format!("#{field}"), "value"), ["12"]);
        assert_eq!(answer.attributes(&format!("#{field}"), "aria-invalid"), ["true"]);
    }
    lab.get("/jobs/1001").await.assert_status(404);
}

#[tokio::test]
async fn a_second_coating_is_another_one() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let (hard, anti_reflective, _) = treatments(&lab).await;
    for (changes, says) in [
        (vec![("second_coating", &*hard)], "Choose the first coating as well"),
        (vec![("coating", &*hard), ("second_coating", &*hard)], "This is the first coating"),
        (vec![("coating", &*hard), ("second_coating", "gone")], "that is offered"),
    ] {
        let answer = post(&lab, &path, &changes).await;
        answer.assert_status(422);
        assert!(answer.text("#second_coating-error").contains(says), "{says}");
        assert_eq!(answer.texts("details[open] #second_coating").len(), 1, "the field is not folded away");
    }
    let both = [("coating", &*hard), ("second_coating", &*anti_reflective), ("price_second_coating", "20")];
    post(&lab, &path, &both).await.assert_status(303);
    let lab = lab.reopened().await;
    let job = lab.get("/jobs/1001").await;
    for words in ["Hard coat", "Second coating", "Anti-reflective"] {
        assert!(job.text("main").contains(words), "{words}");
    }
    let lines = lab.store.get_account(1001).await.unwrap().lines;
    let lines: Vec<_> =
        lines.iter().map(|l| &l.charge).map(|l| (l.what.as_str(), l.code.as_str(), l.amount.cents())).collect();
    assert_eq!(lines[2..4], [("Hard coat", "V2760", 800), ("Anti-reflective", "V2750", 2000)]);
    // New lenses are offered with both.
    let relens = lab.get("/jobs/1001/relens").await.location;
    assert_eq!(lab.get(&relens).await.attributes("#second_coating [selected]", "value"), [anti_reflective]);
    let ticket = lab.get("/jobs/1001/ticket").await.text("article");
    assert!(ticket.contains("Hard coat, Anti-reflective"), "{ticket}");
}

#[tokio::test]
async fn what_few_lenses_need_is_priced() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    assert!(lab.get(&path).await.texts("details[open] #price_prism").is_empty(), "folded while they are empty");
    let (hard, ..) = treatments(&lab).await;
    let changes = [
        ("rx_left", "-2.50 -0.75 x 80 2 BI"),
        ("coating", &*hard),
        ("price_prism", "18"),
        ("price_high_power_left", "22.50"),
        ("price_high_power_right", "0"),
        ("price_oversize", "9"),
    ];
    let look = post(&lab, &path, &[&changes[..], &[("intent", "look")]].concat()).await;
    look.assert_status(200);
    assert_eq!(look.attributes("details[open] #price_prism", "value"), ["18"]);
    let notes = look.texts("#summary p.warn").join(" ");
    assert!(notes.contains("High power has no code of its own"), "{notes}");
    post(&lab, &path, &changes).await.assert_status(303);
    let bill = lab.reopened().await.get("/jobs/1001/bill").await;
    let rows = bill.texts("#bill tbody tr");
    let rows: Vec<&str> = rows.iter().filter_map(|row| row.split(" Reverse").next()).collect();
    let row = |words: &str| rows.iter().filter(|row| row.starts_with(words)).copied().collect::<Vec<_>>();
    assert_eq!(
        row("Prescribed prism"),
        ["Prescribed prism V2715 Prism, per lensLT$18.00"],
        "only the left eye has prism"
    );
    assert_eq!(
        row("High power"),
        ["High power LT$22.50"],
        "nothing is charged for the right eye, and there is no code"
    );
    let oversize = ["RT", "LT"].map(|eye| format!("Oversize lens V2780 Oversize lens, per lens{eye}$9.00"));
    assert_eq!(row("Oversize"), oversize);
}

#[tokio::test]
async fn the_customers_own_frame_has_no_line() {
    let lab = TestLab::new().await;
    for price in ["", "0"] {
        let path = begin(&lab).await;
        let customer = format!("Frame of {price:?}");
        let own = [("customer_name", customer.as_str()), ("price_frame", price), ("payment", "")];
        let taken = post(&lab, &path, &own).await;
        taken.assert_status(303);
        let bill = lab.get(&format!("{}/bill", taken.location)).await;
        assert!(!bill.text("#bill").contains("V2020"), "{}", bill.text("#bill"));
        assert!(!bill.text("#bill").contains("Frame"), "{}", bill.text("#bill"));
    }
}

#[tokio::test]
async fn a_doubt_is_asked_about_once() {
    let lab = TestLab::new().await;
    for (name, value, says) in [
        ("rx_left", "+2.50 -0.75 x 80", "signs differ"),
        ("rx_left", "-2.60 -0.75 x 80", "not a multiple of 0.125"),
        ("pd", "52", "narrow"),
        ("near_pd", "64", "wider than far"),
        ("expires_on", "2026-11-01", "past its date"),
        ("promised_on", "2027-02-01", "30 days"),
    ] {
        let path = begin(&lab).await;
        let who = ("customer_name", says);
        let asked = post(&lab, &path, &[who, (name, value)]).await;
        asked.assert_status(422);
        let warnings = asked.texts("p.warn").join(" ");
        assert!(warnings.contains(says), "{name}={value}: {warnings}");
        let seen = asked.attributes("#seen", "value").remove(0);
        // Ticking for one doubt does not confirm another.
        post(&lab, &path, &[who, (name, value), ("seen", "something else")]).await.assert_status(422);
        post(&lab, &path, &[who, (name, value), ("seen", &seen)]).await.assert_status(303);
    }
}

#[tokio::test]
async fn a_second_order_of_a_name_says_who_it_is() {
    let lab = TestLab::new().await;
    post(&lab, &begin(&lab).await, &[]).await.assert_status(303);
    let path = begin(&lab).await;
    let asked = post(&lab, &path, &[]).await;
    asked.assert_status(422);
    assert!(asked.text("#customer_name-error").contains("already in the book"));
    let choices = asked.attributes("input[type=radio][name=customer_id]", "value");
    assert_eq!((choices.len(), choices[1].as_str()), (2, "new"));
    post(&lab, &path, &[("customer_id", &choices[0])]).await.assert_status(303);
    let other = begin(&lab).await;
    post(&lab, &other, &[("customer_id", "new")]).await.assert_status(303);
    assert_eq!(lab.store.list_customers("Odile", 9).await.unwrap().len(), 2, "two people of one name");
}

#[tokio::test]
async fn looking_first_takes_nothing() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let page = post(&lab, &path, &[("intent", "look")]).await;
    page.assert_status(200);
    assert_eq!(page.texts("#rx_right-understood .rx"), ["-2.25 -1.25 x 095", "-3.50 +1.25 x 005"]);
    assert!(page.text(".bill-total").contains("$162.00"));
    lab.get("/jobs/1001").await.assert_status(404);
}

#[tokio::test]
async fn new_lenses_need_only_the_number() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let answer = lab.get(&format!("/jobs/{number}/relens")).await;
    answer.assert_status(303);
    let page = lab.get(&answer.location).await;
    assert!(page.texts("#frame_name, #frame_maker").is_empty(), "no frame is asked for");
    assert!(page.text(".notice.info").contains("-2.25 -1.25 x 095"), "the last prescription is shown");
    assert_eq!(page.attributes("#pd", "value"), ["31/33"]);
    let customer = page.attributes("input[name=customer_id]", "value").remove(0);
    let number_text = number.to_string();
    let changes = [
        ("relens_of", number_text.as_str()),
        ("customer_id", &customer),
        ("rx_right", "-2.75 -1.25 x 95"),
        ("pd", "31/33"),
        ("price_frame", ""),
        ("payment", ""),
    ];
    let taken = post(&lab, &answer.location, &changes).await;
    taken.assert_status(303);
    let job = lab.get(&taken.location).await;
    assert_eq!(job.texts(".eye dd.is-new"), ["sphere -0.50"]);
    assert!(job.body.contains(&format!("job {number}")));
}

#[tokio::test]
async fn a_large_change_since_last_time_is_asked_about() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let customer = lab.store.get_job(number).await.unwrap().customer.id.to_string();
    let path = lab.get(&format!("/orders/new?customer={customer}")).await.location;
    let asked = post(&lab, &path, &[("customer_id", &customer), ("rx_right", "-4.75 -1.25 x 95")]).await;
    asked.assert_status(422);
    assert!(asked.texts("p.warn").join(" ").contains("changed by 2.50 D"), "{:?}", asked.texts("p.warn"));
}

#[tokio::test]
async fn what_is_typed_is_shown_as_text() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let nasty = "<script>alert(1)</script>\"'&";
    let answer = post(&lab, &path, &[("customer_name", nasty), ("rx_right", "<b>x</b>")]).await;
    answer.assert_status(422);
    assert!(!answer.body.contains("<script>alert") && !answer.body.contains("<b>x</b>"));
    assert_eq!(answer.attributes("#customer_name", "value"), [nasty]);
    let taken = post(&lab, &path, &[("customer_name", nasty)]).await;
    let job = lab.get(&taken.location).await;
    assert!(!job.body.contains("<script>alert"));
}

#[tokio::test]
async fn a_job_number_in_the_box_opens_the_job() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    assert_eq!(lab.search("/find", &format!(" {number} ")).await.location, format!("/jobs/{number}"));
    let found = lab.search("/find", "quill").await;
    assert!(found.texts("a.job-link").contains(&number.to_string()));
    assert!(lab.search("/find", "zzz").await.text(".empty").contains("zzz"));
    assert_eq!(lab.search("/find", "").await.location, "/");
}

#[tokio::test]
async fn open_jobs_stand_by_promise_the_late_ones_first() {
    let lab = TestLab::new().await;
    for (promised, ordered) in
        [("2026-12-20", "2026-11-25"), ("2026-11-20", "2026-11-10"), ("2026-11-26", "2026-11-20")]
    {
        let path = begin(&lab).await;
        let name = format!("Customer {promised}");
        let mut fields = vec![("customer_name", name.as_str()), ("promised_on", promised), ("ordered_on", ordered)];
        let first = post(&lab, &path, &fields).await;
        let seen = first.attributes("#seen", "value");
        assert_eq!(seen.len(), usize::from(promised < "2026-11-25"), "a date that is past is asked about");
        if let Some(seen) = seen.first() {
            fields.push(("seen", seen));
            post(&lab, &path, &fields).await.assert_status(303);
        }
    }
    let page = lab.get("/").await;
    assert_eq!(page.texts("tbody th a"), ["1002", "1003", "1001"].map(|number| format!("{number}: trace the frame")));
    assert_eq!(page.texts(".mark.late"), ["5 days late"]);
    assert_eq!(page.texts("tr.late th a"), ["1002: trace the frame"]);
}

#[tokio::test]
async fn a_note_is_added_once_and_stays() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let key = lab.get(&format!("/jobs/{number}/notes")).await.attributes("form[data-draft]", "data-draft").remove(0);
    let fields = [("key", key.as_str()), ("note", "customer rang: needs them by Friday")];
    for _ in 0..2 {
        lab.post(&format!("/jobs/{number}/notes"), &fields).await.assert_status(303);
    }
    let lab = lab.reopened().await;
    let history = lab.get(&format!("/jobs/{number}")).await.texts(".history span");
    assert_eq!(history.iter().filter(|h| h.contains("by Friday")).count(), 1, "{history:?}");
    // Another tab, opened before: its own words are not lost.
    let other = [("key", key.as_str()), ("note", "Left rim is bent")];
    lab.post(&format!("/jobs/{number}/notes"), &other).await.assert_status(303);
    assert!(lab.get(&format!("/jobs/{number}")).await.text(".history").contains("Left rim is bent"));
    lab.post(&format!("/jobs/{number}/notes"), &[("note", " ")]).await.assert_status(422);
}

#[tokio::test]
async fn a_job_page_shows_what_another_program_wrote() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}");
    assert!(!lab.get(&path).await.body.contains("by hand"));
    // A second opening of the same file stands for another program.
    let other = rimbook::store::Store::open(lab.folder.path()).await.unwrap();
    other.append_note("other", number, "written by hand elsewhere", crate::support::NOW).await.unwrap();
    assert!(lab.get(&path).await.body.contains("by hand"), "nothing stale is shown");
}

/// 1234567893 is the worked example of the CMS rule for the check digit.
#[tokio::test]
async fn a_prescribers_number_is_checked_and_kept() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let refused = post(&lab, &path, &[("prescriber_npi", "1234567890")]).await;
    assert!(refused.assert_status(422).text("#prescriber_npi-error").contains("check digit"));
    assert_eq!(refused.attributes("#prescriber_npi", "value"), ["1234567890"]);
    let right = [("prescriber", "Dr Ines Fallow"), ("prescriber_npi", "123-456-7893")];
    post(&lab, &path, &right).await.assert_status(303);
    let lab = lab.reopened().await;
    assert!(lab.get("/jobs/1001").await.text("main").contains("Dr Ines Fallow, NPI 1234567893"));
    let correction = lab.get("/jobs/1001/correction").await;
    assert_eq!(correction.attributes("#prescriber_npi", "value"), ["1234567893"]);
    lab.post("/jobs/1001/receipts", &[("prescription", "yes")]).await.assert_status(303);
    let receipt = lab.get("/receipts/5001").await.text("article");
    for wanted in
        ["Prescriber’s NPI1234567893", "Prescribed, right eye -2.25 -1.25 x 095", "Date of servicenot yet sent"]
    {
        assert!(receipt.contains(wanted), "{wanted} in {receipt}");
    }
}

#[tokio::test]
async fn a_strong_pair_asks_where_it_was_tested_and_is_worn() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let key = path.rsplit('/').next().unwrap();
    // 5 D in any meridian (common practice): the summary asks while it is typed, and unfolds the question.
    for (rx, asks) in [("-4.75 -0.25 x 90", true), ("-4.75 sph", false), ("+5.00 sph", true)] {
        lab.post(&format!("/drafts/{key}"), &[("rx_right", rx), ("rx_left", "-1.00 sph")]).await.assert_status(204);
        let part = lab.post_as_is(&format!("{path}/summary"), &[]).await;
        assert_eq!(part.attributes("[data-opens]", "data-opens"), if asks { vec!["vertex"] } else { vec![] }, "{rx}");
        let page = lab.get(&path).await;
        assert_eq!(!page.texts("#vertex:not([hidden])").is_empty(), asks, "{rx}");
    }
    // Both eyes alike, so that nothing else is asked.
    let strong = [("rx_right", "-6.00 -0.50 x 20"), ("rx_left", "-6.00 -0.75 x 80")];
    let refused = post(&lab, &path, &strong).await;
    assert!(refused.assert_status(422).text("#vertex_unknown-error").contains("tick that they are not known"));
    assert!(!refused.texts("#vertex:not([hidden])").is_empty());
    for (changes, field, says) in [
        (vec![("vertex_from", "12")], "vertex_to", "A vertex distance"),
        (vec![("vertex_from", "50"), ("vertex_to", "12")], "vertex_from", "between 0 and 40"),
        (
            vec![("vertex_from", "12"), ("vertex_to", "14"), ("vertex_unknown", "yes")],
            "vertex_unknown",
            "leave this unticked",
        ),
    ] {
        let refused = post(&lab, &path, &[&strong[..], &changes[..]].concat()).await;
        let error = refused.assert_status(422).text(&format!("#{field}-error"));
        assert!(error.contains(says), "{changes:?}: {error}");
    }

    let typed = [&strong[..], &[("vertex_from", "12"), ("vertex_to", "14")]].concat();
    let typed = post(&lab, &path, &typed).await;
    let known = typed.assert_status(303).location.clone();
    let lab = lab.reopened().await;
    let page = lab.get(&known).await;
    assert!(page.text("main").contains("Vertex distancetested at 12 mm, worn at 14 mm"), "{}", page.text("main"));
    assert!(page.texts(".wear-note").iter().any(|note| note.contains("decide which power to order")));
    let worn = lab.get(&format!("{known}/compensation")).await;
    assert_eq!(worn.attributes("#vertex_from, #vertex_to", "value"), ["12", "14"], "not asked twice");

    // "Not known" is an answer: nothing asks again.
    let unknown = [&strong[..], &[("vertex_unknown", "yes"), ("customer_id", "new")]].concat();
    let unknown = post(&lab, &begin(&lab).await, &unknown).await;
    let unknown = unknown.assert_status(303).location.clone();
    let page = lab.get(&unknown).await;
    assert!(page.text("main").contains("Vertex distancenot known"), "{}", page.text("main"));
    assert!(page.texts(".wear-note").is_empty(), "{:?}", page.texts(".wear-note"));
    let worn = lab.get(&format!("{unknown}/compensation")).await;
    assert_eq!(worn.attributes("#vertex_unknown-yes[checked]", "value"), ["yes"]);
    // A weak pair has no answer and is asked nothing.
    let weak = post(&lab, &begin(&lab).await, &[("customer_id", "new")]).await.assert_status(303).location.clone();
    assert!(!lab.get(&weak).await.text("main").contains("Vertex distance"));
}

#[tokio::test]
async fn the_tilt_of_the_rule_is_that_of_the_frame_on_its_last_job() {
    let lab = TestLab::new().await;
    let first = post(&lab, &begin(&lab).await, &[]).await.assert_status(303).location.clone();
    let number: i64 = first.trim_start_matches("/jobs/").parse().unwrap();
    let worn = [
        ("vertex_from", "13"),
        ("vertex_to", "13"),
        ("panto", "7.5"),
        ("wrap", "6"),
        ("trace", "flat"),
        ("step", "quarter"),
    ];
    let decided = [&worn[..], &[("decision", "prescribed")]].concat();
    let page = lab.get(&format!("{first}/compensation")).await;
    let step = page.attributes("#step option", "value").remove(0);
    let decided: Vec<_> = decided.into_iter().map(|(n, v)| (n, if n == "step" { step.as_str() } else { v })).collect();
    lab.post(&format!("{first}/compensation"), &decided).await.assert_status(303);
    let frame = lab.store.get_job(number).await.unwrap().frame.id;

    // A frame chosen by address, and one chosen from the suggestions.
    let path = lab.get(&format!("/orders/new?frame={frame}")).await.location;
    assert_eq!(lab.get(&path).await.attributes("#tilt", "value"), ["7.5"]);
    let offered = lab.post_as_is("/suggest/frames", &[("q", "kestrel")]).await;
    assert!(offered.attributes("button[data-fill]", "data-fill")[0].contains(r#""tilt":"7.5""#), "{}", offered.body);
    // Without scripts nothing was filled in: the rule takes it all the same.
    let frame = frame.to_string();
    let rule = [("frame_id", frame.as_str()), ("intent", "heights"), ("pupil_height_right", "24"), ("tilt", "")];
    let path = begin(&lab).await;
    post(&lab, &path, &rule).await.assert_status(303);
    // 1 mm for each 2 degrees (common practice): 24 less 3.75.
    assert_eq!(lab.get(&path).await.attributes("#height_right, #tilt", "value"), ["20.25", "7.5"]);
}

/// Where the window goes on.
fn location_of(answer: &Answer) -> String {
    answer.headers["content-location"].to_str().unwrap().to_owned()
}

/// What a window says of itself when it keeps what is typed.
fn window(name: &str, open_ms: u32) -> String {
    format!("window={name}&open_ms={open_ms}")
}

#[tokio::test]
async fn two_windows_on_one_unfinished_order_keep_their_own() {
    let mut lab = TestLab::new().await;
    let path = begin(&lab).await;
    let key = path.rsplit('/').next().unwrap().to_owned();
    let keep = format!("/drafts/{key}");
    // Both windows were opened a minute ago.
    let first = lab.post_as_is(&format!("{keep}?{}", window("one", 60_000)), &[("customer_name", "Ada")]).await;
    first.assert_status(204);
    lab.move_to(NOW + time::Duration::seconds(5), time::UtcOffset::UTC).await;
    let second = format!("{keep}?{}", window("two", 60_000));
    let told = lab.post_as_is(&second, &[("customer_name", "Bram")]).await;
    assert!(told.assert_status(200).text(".notice").contains("being typed in another window"), "{}", told.body);
    assert_eq!(told.attributes(".notice a", "href"), std::slice::from_ref(&path), "the other is offered");
    let own = location_of(&told);
    assert!(own.starts_with("/orders/") && own != path, "{own}");
    // The same window goes on under the same key, and each page has its own words.
    let again = lab.post_as_is(&second, &[("customer_name", "Bram Sedge")]).await;
    assert_eq!(location_of(again.assert_status(200)), own);
    lab.post_as_is(&format!("{keep}?{}", window("one", 65_000)), &[("customer_name", "Ada Q")])
        .await
        .assert_status(204);
    assert_eq!(lab.get(&path).await.attributes("#customer_name", "value"), ["Ada Q"]);
    assert_eq!(lab.get(&own).await.attributes("#customer_name", "value"), ["Bram Sedge"]);
    // Today lists both.
    let today = lab.get("/").await.attributes("a[href^='/orders/']", "href");
    assert!(today.contains(&path) && today.contains(&own), "{today:?}");
}

#[tokio::test]
async fn what_is_typed_after_the_order_was_taken_elsewhere_stays() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let key = path.rsplit('/').next().unwrap().to_owned();
    post(&lab, &path, &[]).await.assert_status(303);
    let told = lab.post_as_is(&format!("/drafts/{key}?{}", window("two", 1000)), &[("customer_name", "Bram")]).await;
    assert!(told.assert_status(200).text(".notice").contains("Job 1001 was taken from this page"), "{}", told.body);
    let own = location_of(&told);
    assert!(own.ends_with("?after=1001"), "{own}");
    assert_eq!(lab.get(&own).await.attributes("#customer_name", "value"), ["Bram"]);
}

/// Without a script a window has no name: what its page was filled in with tells it from another.
#[tokio::test]
async fn two_windows_without_a_script_keep_their_own() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let filled = |page: &Answer| page.attributes("form#order input[name=filled]", "value").remove(0);
    let empty = filled(&lab.get(&path).await);
    let [one, two] =
        ["Ada", "Bram"].map(|name| [("filled", empty.as_str()), ("customer_name", name), ("pd", "banana")]);
    let first = lab.post_as_is(&path, &one).await;
    assert_eq!(first.assert_status(422).attributes("form#order", "action"), std::slice::from_ref(&path));
    let second = lab.post_as_is(&path, &two).await;
    assert!(second.assert_status(422).text(".notice.caution").contains("being typed in another window"));
    assert_eq!(second.attributes(".notice.caution a", "href"), std::slice::from_ref(&path), "the other is offered");
    let own = second.attributes("form#order", "action").remove(0);
    assert!(own.starts_with("/orders/") && own != path, "{own}");
    assert_eq!(lab.get(&path).await.attributes("#customer_name", "value"), ["Ada"]);
    assert_eq!(lab.get(&own).await.attributes("#customer_name", "value"), ["Bram"]);
    // A double click is one, and each window goes on where it is.
    let again = lab.post_as_is(&path, &two).await;
    assert_eq!(again.assert_status(422).attributes("form#order", "action"), std::slice::from_ref(&own));
    for (page, path, name) in [(first, path, "Ada Quill"), (second, own, "Bram Sedge")] {
        let typed = [("filled", filled(&page)), ("customer_name", name.to_owned()), ("pd", "banana".to_owned())];
        let typed = typed.each_ref().map(|(field, value)| (*field, value.as_str()));
        let kept = lab.post_as_is(&path, &typed).await;
        assert!(kept.assert_status(422).texts(".notice.caution").is_empty(), "{}", kept.body);
        assert_eq!(lab.get(&path).await.attributes("#customer_name", "value"), [name]);
    }
}

/// A page that was opened after the last word of another window, or follows it in the same tab, goes on with it.
#[tokio::test]
async fn a_page_opened_later_goes_on_with_the_draft() {
    let mut lab = TestLab::new().await;
    let path = begin(&lab).await;
    let keep = format!("/drafts/{}", path.rsplit('/').next().unwrap());
    lab.post_as_is(&format!("{keep}?{}", window("one", 1000)), &[("customer_name", "Ada")]).await.assert_status(204);
    // A window that is left sends its words once more.
    lab.move_to(NOW + time::Duration::seconds(25), time::UtcOffset::UTC).await;
    lab.post_as_is(&format!("{keep}?{}", window("one", 26_000)), &[("customer_name", "Ada")]).await.assert_status(204);
    lab.move_to(NOW + time::Duration::seconds(30), time::UtcOffset::UTC).await;
    for (who, name) in [
        (window("two", 10_000), "Ada Q"),
        (format!("{}&before=two", window("three", 60_000)), "Ada Qu"),
        (window("four", 60_000), "Ada Qu"),
    ] {
        lab.post_as_is(&format!("{keep}?{who}"), &[("customer_name", name)]).await.assert_status(204);
    }
    assert_eq!(lab.get(&path).await.attributes("#customer_name", "value"), ["Ada Qu"]);
}

#[tokio::test]
async fn a_fault_unfolds_only_its_own_part() {
    let lab = TestLab::new().await;
    for (field, part) in [
        ("price_discount", "Prices, discount, tax"),
        ("price_prism", "Surcharges"),
        ("prescriber_npi", "Prescriber, dates, diagnosis"),
        ("ordered_on", "Note, day of the order"),
    ] {
        let path = begin(&lab).await;
        let plain = post(&lab, &path, &[("rx_right", "-2.25 -1.25")]).await;
        let refused = post(&lab, &path, &[(field, "banana")]).await;
        let open = |page: &Answer| page.texts("form#order details[open] > summary");
        assert!(!refused.texts(&format!("#{field}-error")).is_empty(), "{field}");
        let [plain, refused] = [&plain, &refused].map(open);
        let added: Vec<&String> = refused.iter().filter(|part| !plain.contains(part)).collect();
        assert!(added.iter().all(|added| *added == part), "{field}: {plain:?} {refused:?}");
        assert!(refused.contains(&part.to_owned()), "{field}: {refused:?}");
    }
}

#[tokio::test]
async fn more_paid_than_the_order_comes_to_is_asked_about() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let asked = post(&lab, &path, &[("payment", "900")]).await;
    let says = asked.assert_status(422).texts("p.warn").join(" ");
    assert!(says.contains("$900.00 is paid now, $") && says.contains("more than the whole order"), "{says}");
    let seen = asked.attributes("#seen", "value").remove(0);
    post(&lab, &path, &[("payment", "900"), ("seen", &seen)]).await.assert_status(303);
}
