//! The prism of a pair: wanted and unwanted, how it is made, and the balance where the eyes look.

use crate::support::TestLab;

#[tokio::test]
async fn a_prism_is_made_by_decentration_or_by_surfacing() {
    let lab = TestLab::new().await;
    // -4.00 with 2 base in: the center 5 mm out (computed by Prentice). The oval is 52 by 40, frame PD 70, the pupil 4
    // in for 31 and 2 in for 33.
    let number = lab.given_job_to("-4.00 DS 2 BI", "-4.00 DS").await;
    lab.given_shape_for(number).await;
    let page = lab.get(&format!("/jobs/{number}/prism")).await;
    page.assert_status(200);
    assert_eq!(page.text(".eye-right .wanted"), "2.00 Δ base in; 2.00 Δ, base 0°");
    assert_eq!(page.text(".eye-left .wanted"), "no prism");
    let made = page.texts(".eye-right .made");
    assert!(made[0].starts_with("optical center 5.00 mm out from the pupil"), "{}", made[0]);
    assert!(made[0].contains("Prentice’s rule differs by 0.0"), "{}", made[0]);
    assert!(made[1].starts_with("prism ground into the lens"), "{}", made[1]);
    let blank =
        |words: &str| -> f64 { words.split("blank ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap() };
    // Surfaced, the pupil is in the middle: 4 in, so 26 + 4 on the far side: 60 and 2 for chips. Moved 5 out it is
    // 1 out: 26 + 1, 54 and 2.
    assert!((blank(&made[1]) - 62.0).abs() < 0.3, "{}", made[1]);
    assert!((blank(&made[0]) - 56.0).abs() < 0.3, "{}", made[0]);
    assert!(page.body.contains("from what is prescribed"));
}

#[tokio::test]
async fn a_weak_lens_makes_no_prism_by_decentration() {
    let lab = TestLab::new().await;
    let number = lab.given_job_to("pl 1.5 BU", "-1.00 DS").await;
    let page = lab.get(&format!("/jobs/{number}/prism")).await;
    page.assert_status(200);
    assert!(page.texts(".eye-right .made")[0].contains("order the prism surfaced"));
    assert_eq!(page.text(".eye-right .wanted"), "1.50 Δ base up; 1.50 Δ, base 90°");
}

#[tokio::test]
async fn unequal_lenses_are_out_of_balance_where_one_reads() {
    let lab = TestLab::new().await;
    // -4.00 and -1.00, 10 mm down: 4 and 1 base down, 3 between them, base up left (Prentice).
    let number = lab.given_job_to("-4.00 DS", "-1.00 DS").await;
    let path = format!("/jobs/{number}/prism?down=10&in=0");
    let page = lab.get(&path).await;
    page.assert_status(200);
    let cells = page.texts("table.place:last-of-type td");
    assert!(
        cells.iter().any(|t| t == "4.00 Δ base down") && cells.iter().any(|t| t == "1.00 Δ base down"),
        "{cells:?}"
    );
    assert!(cells.iter().any(|t| t == "3.00 Δ base up left"), "{cells:?}");
    assert!(page.text("#reading-caution").contains("nobody prescribed"));
    // At the pupils nothing, and a point near them stays below the caution.
    assert!(page.texts("table.place")[0].contains("none"));
    let near = lab.get(&format!("/jobs/{number}/prism?down=3&in=0")).await;
    assert!(near.texts("#reading-caution").is_empty());
}

#[tokio::test]
async fn what_the_blocker_leaves_is_held_against_the_limit() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    let page = lab.get(&format!("/jobs/{number}/prism")).await;
    let rows = page.texts("#unwanted tbody tr");
    assert_eq!(rows.len(), 2);
    // 31/33 and 20 are whole halves: nothing is left.
    assert!(rows.iter().all(|row| row.contains("0.00 Δ") && row.ends_with("Within")), "{rows:?}");
    // ANSI Z80.1-2015 quick-reference guide: 0.67 up to 2.75 D in the horizontal; here F(180) is over it.
    assert!(rows[0].contains("±2.50 mm") && rows[1].contains("±0.33 Δ"), "{rows:?}");
}

#[tokio::test]
async fn a_bad_reading_point_is_said() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    for (query, field) in [("down=x&in=2", "down"), ("down=10&in=25", "in"), ("down=&in=2", "down")] {
        let page = lab.get(&format!("/jobs/{number}/prism?{query}")).await;
        page.assert_status(422);
        assert_eq!(page.attributes("[aria-invalid=true]", "id"), [field]);
        assert_eq!(page.texts("#try-error .error").len(), 1);
    }
    lab.get("/jobs/7/prism").await.assert_status(404);
}
