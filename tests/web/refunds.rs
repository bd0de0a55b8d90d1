//! Money refunded.

use crate::support::TestLab;
use rimbook::desk::money::Cents;

/// A refund of all of Ada's pair as goodwill, changed by the fields of a test.
fn refund<'a>(changes: &[(&'static str, &'a str)]) -> Vec<(&'static str, &'a str)> {
    let usual = [
        ("amount", "20.00"),
        ("kind", "card"),
        ("paid_on", "2026-11-25"),
        ("cause", "goodwill"),
        ("reason", "a scratch on the left temple"),
    ];
    let kept = usual.into_iter().filter(|(name, _)| !changes.iter().any(|(changed, _)| changed == name));
    kept.chain(changes.iter().copied()).collect()
}

#[tokio::test]
async fn goodwill_leaves_nothing_owed() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let (path, bill) = (format!("/jobs/{number}/refunds"), format!("/jobs/{number}/bill"));
    assert!(lab.get(&path).await.text("main").contains("$186.00 was received"));
    let answer = lab.post(&path, &refund(&[])).await;
    assert_eq!(answer.assert_status(303).location, bill);
    let page = lab.get(&bill).await;
    assert_eq!((page.text("#total"), page.text("#owed")), ("$166.00".into(), "$0.00".into()));
    assert!(page.text("#bill").contains("Refunded Nov 25, 2026, card a scratch on the left temple -$20.00"));
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!((job.charged, job.paid), (Cents::new(16_600), Cents::new(16_600)));
    assert!(lab.get(&format!("/jobs/{number}")).await.text(".history").contains("Refund: $20.00 by card: a scratch"));
    // A receipt says both.
    lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303);
    let receipt = lab.get("/receipts/5001").await.text("article");
    assert!(
        receipt.contains("Goodwill reduction-$20.00") && receipt.contains("Refunded Nov 25, 2026, card -$20.00"),
        "{receipt}"
    );
}

#[tokio::test]
async fn an_undone_payment_is_owed_again_and_an_overpaid_one_is_not() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let (path, bill) = (format!("/jobs/{number}/refunds"), format!("/jobs/{number}/bill"));
    lab.post(&path, &refund(&[("amount", "186"), ("cause", "payment_undone")])).await.assert_status(303);
    assert_eq!(lab.get(&bill).await.text("#owed"), "$186.00");
    assert!(!lab.get(&bill).await.body.contains(&format!("href=\"{path}\"")), "nothing is left to give back");
    let paid = [("kind", "cash"), ("amount", "200"), ("paid_on", "2026-11-25")];
    lab.post(&format!("/jobs/{number}/payments"), &paid).await.assert_status(303);
    let page = lab.get(&path).await;
    assert!(page.text("main").contains("$14.00 more than the bill"));
    assert_eq!(page.attributes("#amount", "value"), ["14.00"]);
    assert_eq!(page.attributes("#cause [checked]", "value"), ["overpaid"]);
    assert_eq!(page.attributes("#kind [selected]", "value"), ["cash"], "as it came in");
    lab.post(&path, &refund(&[("amount", "14"), ("cause", "overpaid")])).await.assert_status(303);
    assert_eq!(lab.get(&bill).await.text("#owed"), "$0.00");
    assert_eq!(lab.store.get_job(number).await.unwrap().charged, Cents::new(18_600), "the bill stays");
}

#[tokio::test]
async fn each_bad_field_of_a_refund_is_named() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/refunds");
    for (field, value, says) in [
        ("amount", "", "is not an amount"),
        ("amount", "-5", "without a minus"),
        ("amount", "0", "the amount of the refund"),
        ("amount", "186.01", "more than the $186.00 received"),
        ("kind", "shells", "Choose how"),
        ("paid_on", "2026-11-26", "in the future"),
        ("cause", "", "Choose what"),
        ("cause", "overpaid", ""),
        ("reason", " ", "A reason is needed"),
    ] {
        let answer = lab.post(&path, &refund(&[(field, value)])).await;
        answer.assert_status(422);
        let beside = if value == "overpaid" { "amount" } else { field };
        assert!(answer.text(&format!("#{beside}-error")).contains(says), "{field} {value}");
        if field != "reason" {
            assert_eq!(answer.attributes("#reason", "value"), ["a scratch on the left temple"]);
        }
    }
    assert_eq!(lab.store.get_account(number).await.unwrap().payments.len(), 1);
}
