//! The papers of a job in one place.

use crate::support::TestLab;

#[tokio::test]
async fn papers_wait_until_they_can_be_printed() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let page = lab.get(&format!("/jobs/{number}/papers")).await;
    assert_eq!(page.status, 200);
    assert!(page.text(".papers").contains("Packing sheet"), "{}", page.body);
    assert!(page.body.contains(&format!("/jobs/{number}/ticket?as=now")));
    assert!(!page.body.contains("packing-sheet"), "not before the check");
    assert!(page.text("main").contains("Nothing has been printed or issued yet"));
}
