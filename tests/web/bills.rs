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

#[tokio::test]
async fn a_line_is_added_with_its_reason() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let (path, bill) = (format!("/jobs/{number}/bill/lines"), format!("/jobs/{number}/bill"));
    let case = [
        ("kind", "other"),
        ("what", "Hard case"),
        ("amount", "12"),
        ("eye", "none"),
        ("code", "v2756"),
        ("reason", "asked for by telephone"),
    ];
    assert_eq!(lab.post(&path, &case).await.assert_status(303).location, bill);
    let discount =
        [("kind", "discount"), ("what", ""), ("amount", "2"), ("eye", "none"), ("code", ""), ("reason", "late")];
    lab.post(&path, &discount).await.assert_status(303);
    let page = lab.get(&bill).await;
    let rows = page.texts("#bill tbody tr");
    assert!(rows[4].starts_with("Hard case added Nov 25, 2026: asked for by telephone V2756 Eye glass case$12.00"));
    assert!(rows[5].starts_with("Discount added Nov 25, 2026: late -$2.00"), "{rows:?}");
    assert_eq!((page.text("#total"), page.text("#owed")), ("$196.00".into(), "$10.00".into()));
    for (field, value, says) in [
        ("kind", "gift", "Choose what"),
        ("amount", "-1", "A price is between"),
        ("amount", "0", "Write the amount"),
        ("eye", "both", "Choose the eye"),
        ("code", "V27", "not a procedure code"),
        ("reason", "", "A reason is needed"),
    ] {
        let mut fields = case.to_vec();
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        let answer = lab.post(&path, &fields).await;
        answer.assert_status(422);
        assert!(answer.text(&format!("#{field}-error")).contains(says), "{field} {value}");
    }
    let too_much = [("kind", "discount"), ("amount", "196.01"), ("eye", "none"), ("reason", "all of it")];
    let answer = lab.post(&path, &too_much).await;
    assert!(answer.assert_status(422).text("#amount-error").contains("become negative, -$0.01"));
}

#[tokio::test]
async fn a_line_is_taken_back_once() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let (path, bill) = (format!("/jobs/{number}/bill/reversals"), format!("/jobs/{number}/bill"));
    let link = lab.get(&bill).await.attributes("#bill tbody a", "href").remove(0);
    let page = lab.get(&link).await;
    assert_eq!(page.texts("#line label")[0], "Frame: Copperline Tern: $89.00");
    let chosen = page.attributes("#line [checked]", "value").remove(0);
    let fields = [("line", chosen.as_str()), ("reason", "the customer sent an own frame")];
    assert_eq!(lab.post(&path, &fields).await.assert_status(303).location, bill);
    let page = lab.get(&bill).await;
    assert_eq!((page.text("#total"), page.text("#owed")), ("$97.00".into(), "$89.00".into()));
    assert_eq!(page.text("#bill .total th"), "To refund");
    assert!(page.text("#bill").contains("reversed Nov 25, 2026: the customer sent an own frame"));
    assert_eq!(page.texts("#bill tbody a").len(), 3, "neither it nor the line that takes it back");
    let again = [("line", chosen.as_str()), ("reason", "once more")];
    let answer = lab.post(&path, &again).await;
    assert!(answer.assert_status(422).text("#line-error").contains("reversed already"));
    // A receipt has neither of the two.
    lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303);
    let receipt = lab.get("/receipts/5001").await.text("article");
    assert!(!receipt.contains("Copperline Tern") && !receipt.contains("V2020"), "{receipt}");
    assert!(receipt.contains("Total$97.00"), "{receipt}");
}
