//! Every limit of the order form, tried on both sides.

use super::{begin, post};
use crate::support::TestLab;

/// A million dollars less the rest of the bill still leaves a bill; the discount has its own limit, see below.
const PRICES: [&str; 12] = [
    "price_frame",
    "price_lens",
    "price_coating",
    "price_second_coating",
    "price_tint",
    "price_prism",
    "price_high_power_right",
    "price_high_power_left",
    "price_oversize",
    "price_shipping",
    "price_tax",
    "payment",
];

/// (field, the last values inside, the first values outside).
const NUMBERS: &[(&str, &[&str], &[&str])] = &[
    ("frame_eye_size", &["30", "75"], &["29.99", "75.01"]),
    ("frame_bridge", &["8", "30"], &["7.99", "30.01"]),
    ("frame_temple", &["80", "180"], &["79.99", "180.01"]),
    ("frame_wrap", &["-40", "40"], &["-40.01", "40.01"]),
    ("height_right", &["5", "60"], &["4.99", "60.01"]),
    ("height_left", &["5", "60"], &["4.99", "60.01"]),
    ("pd", &["40", "80", "20/40", "40/20"], &["39.99", "80.01", "19.99/40", "20/40.01", "40.01/20", "40/19.99"]),
    ("near_pd", &["40", "80", "20/40", "40/20"], &["39.99", "80.01", "19.99/40", "20/40.01"]),
    ("vertex_from", &["0", "40"], &["40.01", "-0.01"]),
    ("vertex_to", &["0", "40"], &["40.01", "-0.01"]),
    ("rx_right", &RX_INSIDE, &RX_OUTSIDE),
    ("rx_left", &RX_INSIDE, &RX_OUTSIDE),
];

/// Sphere, cylinder (its other form too), axis and prism of an eye.
const RX_INSIDE: [&str; 11] = [
    "-30.00",
    "+30.00",
    "-20.00 -10.00 x 90",
    "+20.00 +10.00 x 90",
    "-1.00 -1.00 x 1",
    "-1.00 -1.00 x 180",
    "+25.00 +5.00 x 90",
    "-1.00 20.00 BI",
    "-1.00 20.00 BD",
    "-1.00 12.00 BO 16.00 BU",
    "-1.00 0.01 BU",
];
const RX_OUTSIDE: [&str; 10] = [
    "-30.01",
    "+30.01",
    "-20.00 -10.01 x 90",
    "-10.00 +10.01 x 90",
    "-1.00 -1.00 x 181",
    "-1.00 -1.00 x -1",
    "+25.00 +5.01 x 90",
    "-1.00 20.01 BI",
    "-1.00 20.01 BD",
    "-1.00 12.01 BO 16.00 BU",
];

/// The sentence beside a field after it was looked at with one value.
async fn fault(lab: &TestLab, path: &str, field: &str, value: &str) -> Option<String> {
    let page = post(lab, path, &[("intent", "look"), (field, value)]).await;
    assert!(page.attributes(&format!("[name={field}]"), "name").len() == 1, "{field} is a field of the form");
    page.texts(&format!("#{field}-error")).into_iter().next()
}

#[tokio::test]
async fn every_number_has_its_limits() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    for (field, inside, outside) in NUMBERS {
        for value in *inside {
            assert_eq!(fault(&lab, &path, field, value).await, None, "{field} {value}");
        }
        for value in *outside {
            assert!(fault(&lab, &path, field, value).await.is_some(), "{field} {value} is beyond the limit");
        }
    }
}

#[tokio::test]
async fn every_amount_is_between_nothing_and_a_million() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    // A price is only taken for what is chosen, so everything is.
    let (coating, second, tint) = super::treatments(&lab).await;
    let chosen = [("coating", &*coating), ("second_coating", &*second), ("tint", &*tint), ("rx_left", "-2.50 2 BI")];
    for field in PRICES {
        let fault = async |value| {
            let changes: Vec<_> = chosen.iter().copied().chain([("intent", "look"), (field, value)]).collect();
            post(&lab, &path, &changes).await.texts(&format!("#{field}-error")).into_iter().next()
        };
        for inside in ["0", "0.01", "1000000"] {
            assert_eq!(fault(inside).await, None, "{field} {inside}");
        }
        for outside in ["-0.01", "1000000.01", "0.001"] {
            assert!(fault(outside).await.is_some(), "{field} {outside} is beyond the limit");
        }
    }
    // 95 for the frame, twice 30 for the lenses and 7 for shipping.
    assert_eq!(fault(&lab, &path, "price_discount", "162").await, None);
    for outside in ["162.01", "-0.01", "1000000.01"] {
        assert!(fault(&lab, &path, "price_discount", outside).await.is_some(), "a discount of {outside}");
    }
}

#[tokio::test]
async fn every_day_has_its_place() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    // Today is 2026-11-25, the promise 2026-12-05, the prescription of 2026-10-20.
    for (field, inside, outside) in [
        ("ordered_on", "2026-11-25", "2026-11-26"),
        ("promised_on", "2026-11-25", "2026-11-24"),
        ("written_on", "2026-11-25", "2026-11-26"),
        ("expires_on", "2026-10-20", "2026-10-19"),
    ] {
        assert_eq!(fault(&lab, &path, field, inside).await, None, "{field} {inside}");
        assert!(fault(&lab, &path, field, outside).await.is_some(), "{field} {outside} is beyond the limit");
    }
}

#[tokio::test]
async fn every_text_has_its_length() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    for (field, most) in [
        ("frame_maker", 80),
        ("frame_model", 80),
        ("frame_color", 60),
        ("prescriber", 120),
        ("diagnosis", 200),
        ("note", 1000),
    ] {
        // Counted in characters, not bytes.
        assert_eq!(fault(&lab, &path, field, &"é".repeat(most)).await, None, "{field} of {most}");
        assert!(fault(&lab, &path, field, &"é".repeat(most + 1)).await.is_some(), "{field} of {}", most + 1);
    }
}

/// What is asked about when the fields are looked at with some changes.
async fn doubts(lab: &TestLab, path: &str, changes: &[(&str, &str)]) -> String {
    let changes: Vec<_> = changes.iter().copied().chain([("intent", "look")]).collect();
    post(lab, path, &changes).await.texts("p.warn").join(" ")
}

#[tokio::test]
async fn what_is_unusual_is_asked_about_from_its_limit_on() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let like = |left: &'static str, right: &'static str| vec![("rx_left", left), ("rx_right", right)];
    for (usual, unusual, says) in [
        (like("-12.00", "-12.00"), like("-12.125", "-12.125"), "beyond ±12.00"),
        (like("-2.00 -4.00 x 90", "-2.00 -4.00 x 90"), like("-2.00 -4.125 x 90", "-2.00 -4.125 x 90"), "beyond ±4.00"),
        (like("-2.00 5.00 BI", "-2.00"), like("-2.00 5.01 BI", "-2.00"), "beyond 5.00"),
        (like("-5.00", "-2.00"), like("-5.125", "-2.00"), "differ"),
        // The centers of the frame are 50 + 18 mm apart.
        (vec![("pd", "54")], vec![("pd", "53.99")], "lens centers"),
        (vec![("pd", "72")], vec![("pd", "72.01")], "lens centers"),
        (vec![("promised_on", "2026-12-25")], vec![("promised_on", "2026-12-26")], "30 days"),
        (vec![("expires_on", "2026-11-25")], vec![("expires_on", "2026-11-24")], "past its date"),
    ] {
        let (before, after) = (doubts(&lab, &path, &usual).await, doubts(&lab, &path, &unusual).await);
        assert!(!before.contains(says), "{usual:?}: {before}");
        assert!(after.contains(says), "{unusual:?}: {after}");
    }
}

#[tokio::test]
async fn a_height_is_held_against_the_shape_on_file() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    lab.given_shape_for(number).await;
    let path = lab.get(&format!("/jobs/{number}/relens")).await.location;
    let relens_of = number.to_string();
    // The shape is 40 high, its middle at 20: from 3 below it to 8 above is usual.
    for field in ["height_right", "height_left"] {
        let with =
            |height| [("relens_of", relens_of.as_str()), ("price_frame", ""), (field, height), ("intent", "look")];
        for (height, is_asked, is_refused) in [
            ("16.99", true, false),
            ("17", false, false),
            ("28", false, false),
            ("28.01", true, false),
            ("39.99", true, false),
            ("40", true, true),
        ] {
            let page = post(&lab, &path, &with(height)).await;
            let asked = page.texts("p.warn").join(" ").contains("unusual in this shape");
            let refused = page.texts(&format!("#{field}-error")).join(" ").contains("40.00 mm high");
            assert_eq!((asked, refused), (is_asked, is_refused), "{field} {height}: {:?}", page.texts(".error, .warn"));
        }
    }
}

#[tokio::test]
async fn a_day_of_no_year_of_this_book_is_named() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    for (field, day) in [("ordered_on", "-0001-01-01"), ("promised_on", "9999-12-31"), ("written_on", "0026-10-20")] {
        let answer = post(&lab, &path, &[(field, day)]).await;
        answer.assert_status(422);
        assert!(answer.text(&format!("#{field}-error")).contains("1900 to 2199"), "{field}: {}", answer.body);
    }
}

#[tokio::test]
async fn a_sentence_does_not_repeat_a_page_that_was_pasted() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    let pasted = "8".repeat(3000);
    for field in ["rx_right", "pd", "price_frame", "written_on", "height_right", "frame_eye_size"] {
        let answer = post(&lab, &path, &[(field, &pasted)]).await;
        answer.assert_status(422);
        let said = answer.text(&format!("#{field}-error"));
        assert!(!said.is_empty() && said.chars().count() <= 401, "{field}: {} characters", said.chars().count());
    }
}

/// A name nobody can see is refused; what would turn the line around is taken out of it.
#[tokio::test]
async fn a_name_is_seen_as_it_is_typed() {
    let lab = TestLab::new().await;
    let path = begin(&lab).await;
    for unseen in ["\u{200b}\u{200b}", "\u{3164}", "\u{202e}"] {
        let refused = post(&lab, &path, &[("customer_name", unseen)]).await;
        let says = refused.assert_status(422).text("#customer_name-error");
        assert!(says.contains("nothing in it that can be seen"), "{unseen:?}: {says}");
    }
    let taken = post(&lab, &path, &[("customer_name", "Odile\u{202e} Marrow")]).await;
    let number = taken.assert_status(303).location.trim_start_matches("/jobs/").parse().unwrap();
    assert_eq!(lab.store.get_job(number).await.unwrap().customer.person.name, "Odile Marrow");
}

/// A customer is recognized however the name is typed, and the last prescription is compared.
#[tokio::test]
async fn a_name_in_other_letters_is_the_same_person() {
    for (first, again) in [
        ("Élodie Brume", "e\u{301}lodie  BRUME"),
        ("Łukasz Wierzba", "ŁUKASZ wierzba"),
        ("Иван Речной", "иван речной"),
        ("Jürgen Weiß", "JÜRGEN WEISS"),
    ] {
        let lab = TestLab::new().await;
        post(&lab, &begin(&lab).await, &[("customer_name", first)]).await.assert_status(303);
        let asked = post(&lab, &begin(&lab).await, &[("customer_name", again)]).await;
        assert!(asked.assert_status(422).text("#customer_name-error").contains("already in the book"), "{again}");
        let known = asked.attributes("[name=customer_id][type=radio]", "value").remove(0);
        let chosen = [("customer_name", again), ("customer_id", &known), ("rx_right", "+0.25 -1.25 x 95")];
        let page = post(&lab, &begin(&lab).await, &chosen).await;
        assert!(page.body.contains("since the last prescription"), "{again}: {}", page.text("main"));
    }
}
