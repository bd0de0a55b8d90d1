//! Payments.

use crate::support::TestLab;
use rimbook::desk::job::EventKind;

/// A payment as the form sends it.
pub const REST: [(&str, &str); 3] = [("kind", "check"), ("amount", "25.00"), ("paid_on", "2026-11-25")];

#[tokio::test]
async fn a_payment_is_booked_once_and_shown() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let (path, bill) = (format!("/jobs/{number}/payments"), format!("/jobs/{number}/bill"));
    assert_eq!(lab.get(&bill).await.text("#owed"), "$0.00");
    let key = format!("payment-{number}-1");
    let more = [("key", key.as_str()), ("kind", "card"), ("amount", "20"), ("paid_on", "2026-11-25")];
    assert_eq!(lab.post(&path, &more).await.assert_status(303).location, bill);
    // The same form from another tab adds nothing, and says so.
    let again = lab.post(&path, &more).await.assert_status(303).location.clone();
    assert!(lab.get(&again).await.text(".notice").contains("nothing was added"));
    let lab = lab.reopened().await;
    let page = lab.get(&bill).await;
    assert_eq!(page.text("#bill .total th"), "To refund");
    assert_eq!(page.text("#owed"), "$20.00");
    let count_paid = async |lab: &TestLab| {
        let job = lab.store.get_job(number).await.unwrap();
        job.history.iter().filter(|e| e.kind == EventKind::Paid).count()
    };
    assert_eq!(count_paid(&lab).await, 2);
    // Another amount from a window that was open all the while is another payment, and is not lost.
    let other = [("key", key.as_str()), ("kind", "cash"), ("amount", "5"), ("paid_on", "2026-11-25")];
    lab.post(&path, &other).await.assert_status(303);
    assert_eq!(count_paid(&lab).await, 3);
    assert_eq!(lab.get(&bill).await.text("#owed"), "$25.00");
}

#[tokio::test]
async fn each_bad_field_of_a_payment_is_named() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/payments");
    for (field, value) in [
        ("kind", "shells"),
        ("amount", ""),
        ("amount", "0"),
        ("amount", "12.345"),
        ("amount", "-20"),
        ("paid_on", "2026-11-26"),
        ("paid_on", "then"),
    ] {
        let mut fields = REST.to_vec();
        fields.retain(|(n, _)| *n != field);
        fields.push((field, value));
        let answer = lab.post(&path, &fields).await;
        answer.assert_status(422);
        assert!(!answer.text(&format!("#{field}-error")).is_empty(), "{field} {value}");
        if field != "amount" {
            assert_eq!(answer.attributes("#amount", "value"), ["25.00"]);
        }
    }
    lab.post_from_elsewhere(&path, &REST).await.assert_status(403);
    assert_eq!(lab.store.get_account(number).await.unwrap().payments.len(), 1);
    lab.post(&format!("/drafts/payment-{number}-1"), &[("amount", "7.7")]).await.assert_status(204);
    assert_eq!(lab.get(&format!("/jobs/{number}/bill")).await.attributes("#amount", "value"), ["7.7"]);
}

#[tokio::test]
async fn payments_are_listed_by_their_day() {
    let mut lab = TestLab::new().await;
    let number = lab.given_job().await;
    let path = format!("/jobs/{number}/payments");
    // The clock of the machine went back a day after the order and its first payment.
    lab.move_to(crate::support::NOW - time::Duration::days(1), time::UtcOffset::UTC).await;
    for amount in ["5", "6"] {
        let fields = [("kind", "cash"), ("amount", amount), ("paid_on", "2026-11-24")];
        lab.post(&path, &fields).await.assert_status(303);
    }
    let rows = lab.get(&format!("/jobs/{number}/bill")).await.texts("#bill tr");
    let place =
        |what: &str| rows.iter().position(|row| row.contains(what)).unwrap_or_else(|| panic!("{what}: {rows:?}"));
    assert!(place("cash $5.00") < place("cash $6.00") && place("cash $6.00") < place("card $186.00"), "{rows:?}");
}
