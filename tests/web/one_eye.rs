//! Orders for one eye, and balance lenses, through every step.

use crate::orders::{begin, post};
use crate::support::{Answer, TestLab};
use rimbook::desk::catalogue::TreatmentKind;
use rimbook::desk::job::{EyeTask, Stage};
use rimbook::desk::money::Cents;
use rimbook::optics::{Eye, Pair};

/// An order for the left eye alone, its pupil distance alone.
const LEFT_ALONE: [(&str, &str); 4] =
    [("rx_right", "none"), ("rx_left", "-2.50 -0.75 x 80"), ("height_right", ""), ("pd", "L32.5")];

async fn taken(lab: &TestLab, changes: &[(&str, &str)]) -> i64 {
    let answer = post(lab, &begin(lab).await, changes).await;
    let answer = if answer.status == 422 { confirmed(lab, changes, &answer).await } else { answer };
    answer.assert_status(303);
    answer.location.rsplit('/').next().unwrap().parse().unwrap()
}

/// The same order with its cautions confirmed.
async fn confirmed(lab: &TestLab, changes: &[(&str, &str)], shown: &Answer) -> Answer {
    let seen = shown.attributes("#seen", "value");
    assert_eq!(seen.len(), 1, "{:?}", shown.texts(".error"));
    let path = shown.attributes("main form[data-draft]", "action").remove(0);
    post(lab, &path, &[changes, &[("seen", seen[0].as_str())]].concat()).await
}

#[tokio::test]
async fn an_order_for_one_eye_bills_one_lens() {
    let lab = TestLab::new().await;
    let number = taken(&lab, &LEFT_ALONE).await;
    let lab = lab.reopened().await;
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!(job.tasks(), Pair::new(EyeTask::Keep, EyeTask::Make));
    assert_eq!(job.prescription.has_power, Pair::new(false, true));
    assert_eq!(job.prescription.pupil_distance.to_string(), "L32.50");
    assert_eq!(job.charged, Cents::new(13_200), "95 frame, one lens of 30, 7 shipping");
    let page = lab.get(&format!("/jobs/{number}")).await;
    assert_eq!(page.text(".eye-right .rx.large"), "stays as it is");
    assert_eq!(page.text(".eye-left .rx.large"), "-2.50 -0.75 x 080");
    assert!(page.text(".eye-right").contains("No lens is made for this eye"), "{}", page.body);
    let bill = lab.get(&format!("/jobs/{number}/bill")).await;
    assert!(bill.text("main").contains("V2103"), "{}", bill.body);
    assert_eq!(bill.body.matches("V2103").count(), 1, "one lens");
}

#[tokio::test]
async fn a_balance_lens_has_its_own_code_and_a_power_near_the_other() {
    let lab = TestLab::new().await;
    let number = taken(&lab, &[("rx_right", "bal"), ("rx_left", "-4.00 -1.00 x 80"), ("vertex_unknown", "yes")]).await;
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!(job.tasks(), Pair::new(EyeTask::Balance, EyeTask::Make));
    assert_eq!(job.lens_power(Eye::Right).to_string(), "-4.50 sph");
    assert_eq!(job.charged, Cents::new(16_200), "95 frame, two lenses of 30, 7 shipping");
    let bill = lab.get(&format!("/jobs/{number}/bill")).await.text("main");
    assert!(bill.contains("V2700") && bill.contains("Balance lens"), "{bill}");
    assert_eq!(lab.get(&format!("/jobs/{number}")).await.text(".eye-right .rx.large"), "-4.50 sph balance lens");
}

#[tokio::test]
async fn what_is_no_order_is_said_beside_the_field() {
    let lab = TestLab::new().await;
    for (changes, field, says) in [
        (vec![("rx_right", "none"), ("rx_left", "none")], "rx_right", "No lens is ordered"),
        (vec![("rx_right", "none"), ("rx_left", "bal")], "rx_left", "what the balance lens is made near to"),
        (vec![("rx_right", "none"), ("pd", "R31")], "pd", "distance of one eye is missing"),
        (vec![("pd", "L31")], "pd", "distance of one eye is missing"),
        (
            vec![("rx_right", "none"), ("price_high_power_right", "10")],
            "price_high_power_right",
            "No right lens is made",
        ),
        (vec![("rx_right", "none -2.00 sph 1 BI"), ("price_prism", "10")], "price_prism", "No prism is prescribed"),
    ] {
        let answer = post(&lab, &begin(&lab).await, &changes).await;
        answer.assert_status(422);
        assert!(answer.text(&format!("#{field}-error")).contains(says), "{changes:?}: {:?}", answer.texts(".error"));
    }
}

#[tokio::test]
async fn the_stage_waits_for_the_lens_that_is_made() {
    let lab = TestLab::new().await;
    let number = taken(&lab, &LEFT_ALONE).await;
    lab.given_shape_for(number).await;
    assert_eq!(lab.stage(number).await, Stage::ShapeOnFile);
    lab.given_lens_for(number, Eye::Left).await;
    assert_eq!(lab.stage(number).await, Stage::LensesInHand);
    let lines = lab.store.list_open_jobs().await.unwrap();
    assert_eq!(lines.iter().map(|line| line.stage).collect::<Vec<_>>(), [Stage::LensesInHand], "the list agrees");
}

/// Every page of a job that a step can be done or looked up on.
const PAGES: [&str; 16] = [
    "",
    "/shape",
    "/lenses",
    "/layout",
    "/edge",
    "/blanks",
    "/materials",
    "/compensation",
    "/prism",
    "/risk",
    "/cut",
    "/ticket?as=now",
    "/check",
    "/packing",
    "/shipment",
    "/bill",
];

async fn assert_pages(lab: &TestLab, number: i64) {
    for page in PAGES {
        lab.get(&format!("/jobs/{number}{page}")).await.assert_status(200);
    }
}

#[tokio::test]
async fn a_one_eye_order_goes_from_order_to_receipt() {
    let lab = TestLab::new().await;
    let number = taken(&lab, &LEFT_ALONE).await;
    let at = |page: &str| format!("/jobs/{number}{page}");
    assert_pages(&lab, number).await;
    lab.given_shape_for(number).await;
    assert_pages(&lab, number).await;

    // Lenses: one eye is asked for.
    let page = lab.get(&at("/lenses")).await;
    assert_eq!(page.text("#stays"), "One lens: this job makes the left one. The right lens stays as it is.");
    assert!(page.texts("#lens_right").is_empty() && !page.texts("#lens_left").is_empty());
    let bought = [("lens_left", "bought"), ("diameter_left", "70"), ("lens_right", "bought"), ("diameter_right", "70")];
    lab.post(&at("/lenses"), &bought).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::LensesInHand);
    let in_hand = lab.store.find_lenses(number).await.unwrap();
    assert!(in_hand.right.is_none() && in_hand.left.is_some(), "no lens is taken for the eye that stays");
    assert_pages(&lab, number).await;

    // Layout, prism, risk, ticket: the left lens alone.
    let layout = lab.get(&at("/layout")).await;
    assert_eq!(layout.texts(".set-pd .num"), ["32.5"]);
    assert!(layout.text("#wanted-pd").contains("L 32.50") && layout.texts("#pair-prism").is_empty());
    let prism = lab.get(&at("/prism")).await;
    assert!(prism.text(".notice").contains("needs both powers") && prism.texts("table").is_empty(), "{}", prism.body);
    assert!(lab.get(&at("/risk")).await.texts("#rows .eye-letter").iter().all(|eye| eye.contains("left")));
    let ticket = lab.get(&at("/ticket")).await;
    assert!(ticket.text(".eye-right").contains("stays as it is") && ticket.text(".eye-right").contains("not cut"));
    assert!(ticket.text(".eye-left").contains("-2.50 -0.75 x 080"), "{}", ticket.body);

    // Cut: no size for the lens that stays.
    let page = lab.get(&at("/cut")).await;
    assert!(page.texts("#size_right").is_empty(), "{}", page.body);
    assert_eq!(page.text("form legend"), "The left lens is cut");
    lab.post(&at("/cut"), &[("size_left", "-0.10"), ("note", "tight at the hinge")]).await.assert_status(303);
    let shape = lab.store.get_job(number).await.unwrap().shape.unwrap();
    let cut = lab.store.find_last_cut(shape).await.unwrap().unwrap();
    assert_eq!(cut.size, Pair::new(None, Some("-0.10".parse().unwrap())));

    // Check: rows for the lens that was made.
    let page = lab.get(&at("/check")).await;
    assert!(page.text(".eye-right").contains("This lens stays and is not read again"), "{}", page.body);
    let reading = [("how", "written"), ("read_left", "-2.50 -0.75 x 80"), ("pd", "L32.5"), ("height_left", "20")];
    lab.post(&at("/check"), &reading).await.assert_status(303);
    let page = lab.get(&at("/check")).await;
    assert_eq!(
        (page.text(".verdict .mark").as_str(), page.texts("tbody tr").len()),
        ("Passed", 6),
        "the sixth is its thickness"
    );
    assert!(page.texts("#center_right").is_empty(), "nothing is measured of the lens that stays");
    assert_eq!(lab.stage(number).await, Stage::Checked);

    // Impact, packing, sending, receipt.
    let packing = lab.get(&at("/packing")).await;
    assert!(packing.text(".notice").contains("the left lens resists impact"), "{}", packing.text("main"));
    let proof = [("proof_left", "certificate"), ("certificate_left", "batch 4711")];
    lab.post(&at("/impact"), &proof).await.assert_status(303);
    lab.send_on(number).await;
    assert_pages(&lab, number).await;
    let sheet = lab.get(&at("/packing-sheet")).await.text("article");
    assert!(sheet.contains("new left lens") && sheet.contains("stays as it is"), "{sheet}");
    assert!(!sheet.contains("21 CFR 801.410"), "nothing is on record of the lens that stays: {sheet}");
    let receipt = lab.post(&at("/receipts"), &[]).await.assert_status(303).location.clone();
    let receipt = lab.get(&receipt).await.text("article");
    assert!(receipt.contains("V2103LT") && !receipt.contains("V2103RT"), "{receipt}");
    assert!(receipt.contains("$132.00"), "{receipt}");
}

#[tokio::test]
async fn a_balance_lens_goes_through_every_step() {
    let lab = TestLab::new().await;
    let number = taken(
        &lab,
        &[("rx_right", "bal"), ("rx_left", "-4.00 -1.00 x 80"), ("pd", "31/33"), ("vertex_unknown", "yes")],
    )
    .await;
    let at = |page: &str| format!("/jobs/{number}{page}");
    lab.given_shape_for(number).await;
    assert_eq!(lab.stage(number).await, Stage::ShapeOnFile);
    lab.given_lenses_for(number).await;
    assert_pages(&lab, number).await;
    assert!(lab.get(&at("/ticket")).await.text(".eye-right").contains("balance lens"));
    lab.given_cut_for(number).await;
    let reading = [("how", "written"), ("read_left", "-4.00 -1.00 x 80"), ("pd", "31/33"), ("height_left", "20")];
    lab.post(&at("/check"), &reading).await.assert_status(303);
    let page = lab.get(&at("/check")).await;
    assert_eq!(page.text(".verdict .mark"), "Passed", "{}", page.text(".verdict"));
    assert!(!page.text("tbody").contains("imbalance"));
    lab.send_on(number).await;
    let receipt = lab.post(&at("/receipts"), &[]).await.assert_status(303).location.clone();
    let receipt = lab.get(&receipt).await.text("article");
    assert!(receipt.contains("V2700") && receipt.contains("Balance lens"), "{receipt}");
}

#[tokio::test]
async fn a_reading_pair_without_power_goes_through_every_step() {
    let lab = TestLab::new().await;
    let tint = lab.store.list_treatments().await.unwrap().into_iter().find(|t| t.details.kind == TreatmentKind::Tint);
    let tint = tint.unwrap().version.to_string();
    let rx = [("rx_right", "pl"), ("rx_left", "pl"), ("tint", tint.as_str())];
    let reading = [("made_for", "near"), ("near_pd", "60")];
    let number = taken(&lab, &[rx.as_slice(), &reading].concat()).await;
    lab.given_shape_for(number).await;
    lab.given_lenses_for(number).await;
    assert_pages(&lab, number).await;
    lab.given_cut_for(number).await;
    let reading = [
        ("how", "written"),
        ("read_right", "pl"),
        ("read_left", "pl"),
        ("pd", "60"),
        ("height_right", "20"),
        ("height_left", "20"),
    ];
    lab.post(&format!("/jobs/{number}/check"), &reading).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Checked);
    lab.send_on(number).await;
    assert_pages(&lab, number).await;
    let sheet = lab.get(&format!("/jobs/{number}/packing-sheet")).await.text("article");
    assert!(sheet.contains("Made for reading distance"), "{sheet}");
}
