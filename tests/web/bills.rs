//! The page of the bill.

use crate::support::{NOW, TestLab};

#[tokio::test]
async fn says_that_a_tax_id_is_missing_before_issuing() {
    let lab = TestLab::new().await;
    let mut profile = lab.store.find_lab().await.unwrap().unwrap();
    profile.tax_id = String::new();
    lab.store.change_lab("given-lab", &profile, NOW).await.unwrap();
    let lab = lab.reopened().await;
    let number = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{number}/bill")).await;
    assert!(page.text("#issue .notice").contains("no tax id"));
    assert!(page.text("#issue").contains("Not sent yet"));
}
