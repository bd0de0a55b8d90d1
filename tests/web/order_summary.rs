//! What an order comes to while it is typed.

use crate::support::TestLab;

#[tokio::test]
async fn the_summary_follows_the_draft() {
    let lab = TestLab::new().await;
    let path = lab.get("/orders/new").await.location;
    let key = path.rsplit('/').next().unwrap();
    let empty = lab.post(&format!("{path}/summary"), &[]).await;
    assert_eq!(empty.status, 200);
    assert!(!empty.body.contains("<html"), "a part of a page");
    let typed =
        [("rx_right", "-2.00 +1.00 x 90"), ("rx_left", "+3.00 sph"), ("pd", "63"), ("promised_on", "2026-12-04")];
    lab.post(&format!("/drafts/{key}"), &typed).await.assert_status(204);
    let part = lab.post(&format!("{path}/summary"), &[]).await;
    assert!(part.body.contains("-2.00 +1.00 x 090"), "{}", part.body);
    assert!(part.texts(".warn").iter().any(|says| says.contains("sign")), "{:?}", part.texts(".warn"));
    assert!(part.body.contains("Fri Dec 4"), "{}", part.body);
    assert!(lab.get(&path).await.text("#summary").contains("Fri Dec 4"), "the page shows the same without scripts");
}

#[tokio::test]
async fn the_shape_of_an_earlier_job_says_the_blank_and_the_edges() {
    let lab = TestLab::new().await;
    let earlier = lab.given_job().await;
    lab.given_shape_for(earlier).await;
    let path = lab.get(&format!("/jobs/{earlier}/relens")).await.location;
    let page = lab.get(&path).await;
    let path = page.attributes("form#order", "action").remove(0);
    let key = path.rsplit('/').next().unwrap();
    let mut typed = crate::addresses::fields_of(&page, &path);
    typed.retain(|(name, _)| !name.starts_with("rx_"));
    typed.extend(["rx_right", "rx_left"].map(|name| (name.to_owned(), "-6.00 sph".to_owned())));
    let fields: Vec<(&str, &str)> = typed.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    lab.post(&format!("/drafts/{key}"), &fields).await.assert_status(204);
    let part = lab.post(&format!("{path}/summary"), &[]).await;
    assert!(part.body.contains(&format!("shape of job {earlier}")), "{}", part.body);
    assert!(part.body.contains("mm or larger"), "{}", part.body);
    let edge = |material: &str| -> f64 {
        let row = part.texts("tbody tr").into_iter().find(|row| row.starts_with(material)).unwrap();
        row.rsplit_once(' ').unwrap().0.rsplit_once(' ').unwrap().1.parse().unwrap()
    };
    assert!(edge("Hard resin 1.50") > edge("1.67"), "a higher index gives a thinner edge");
}
