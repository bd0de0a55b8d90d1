//! Orders for one eye, and balance lenses, through every step.

use crate::orders::{begin, post};
use crate::support::{Answer, TestLab};
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
    let number = taken(&lab, &[("rx_right", "bal"), ("rx_left", "-4.00 -1.00 x 80")]).await;
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
