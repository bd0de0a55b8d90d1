//! What is said at once of a typed field.

use crate::support::TestLab;

#[tokio::test]
async fn says_at_once_what_it_understood() {
    let lab = TestLab::new().await;
    let understood = lab.post_as_is("/understood/rx", &[("name", "rx_right"), ("text", "pl -50 x 180")]).await;
    assert_eq!(understood.texts(".rx"), ["Plano -0.50 x 180", "-0.50 +0.50 x 090"]);
    let refused = lab.post_as_is("/understood/rx", &[("name", "rx_right"), ("text", "-2.25 -1.25")]).await;
    assert_eq!(refused.texts(".error").len(), 1);
    let odd = lab.post_as_is("/understood/rx", &[("name", "rx_left"), ("text", "-2.10 DS")]).await;
    assert_eq!(odd.texts(".warn"), ["The left sphere -2.10 is not a multiple of 0.125."]);
    let read = lab.post_as_is("/understood/rx", &[("name", "read_left"), ("text", "-2.10 DS")]).await;
    assert!(read.texts(".warn").is_empty(), "a lensmeter reads any number");
    assert_eq!(lab.post_as_is("/understood/pd", &[("name", "pd"), ("text", "35/28")]).await.texts(".warn").len(), 1);
    assert!(
        lab.post_as_is("/understood/pd", &[("name", "pd"), ("text", "630")])
            .await
            .text(".error")
            .contains("40 to 80 mm")
    );
    assert!(lab.post_as_is("/understood/rx", &[("text", "")]).await.body.trim().is_empty());
    assert_eq!(
        lab.post_as_is("/understood/pd", &[("text", "31.5/32")]).await.texts(".rx"),
        ["31.50 right, 32.00 left", "63.50 together"]
    );
}
