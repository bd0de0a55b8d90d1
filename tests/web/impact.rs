//! Papers claim impact resistance only where it is on record, and a pair without it is not packed.

use crate::support::{Answer, NOW, TestLab};
use rimbook::desk::catalogue::MaterialDetails;
use rimbook::desk::impact::ImpactProof;
use rimbook::desk::job::{EventKind, Stage};
use rimbook::desk::packing::{ITEMS, Parcel};
use time::macros::date;

const CLAIM: &str = "21 CFR 801.410";

fn ticks() -> Vec<(&'static str, &'static str)> {
    ITEMS.iter().filter(|item| item.applies_to(Parcel::Glasses)).map(|item| ("tick", item.key)).collect()
}

/// A certificate for both lenses.
const CERTIFICATE: [(&str, &str); 3] =
    [("proof_right", "certificate"), ("certificate_right", "batch 4711"), ("left", "same")];

/// What a job's papers say: the packing sheet, the ticket and a fresh receipt.
async fn papers(lab: &TestLab, number: i64) -> String {
    let receipt = lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303).location.clone();
    let mut words = String::new();
    for path in [format!("/jobs/{number}/packing-sheet"), format!("/jobs/{number}/ticket"), receipt] {
        words += &lab.get(&path).await.text("article");
    }
    words
}

#[tokio::test]
async fn a_pair_without_proof_is_not_packed() {
    let lab = TestLab::new().await;
    let number = lab.given_unproven_job().await;
    let path = format!("/jobs/{number}/packing");
    let page = lab.get(&path).await;
    assert!(page.text(".notice").contains("nothing on record says that both lenses resist impact"));
    assert_eq!(page.attributes(".notice a", "href"), ["#impact"], "and where to record it");
    assert_eq!(page.texts("#impact dd"), ["not on record", "not on record"]);
    assert!(page.texts("input[name=tick]").is_empty(), "there is no list to go through yet");
    let refused = lab.post(&path, &ticks()).await;
    refused.assert_status(409);
    assert!(refused.text(".notice").contains("supplier’s certificate or your own test"), "{}", refused.body);
    assert_eq!(lab.stage(number).await, Stage::Checked);

    let done = lab.post(&format!("/jobs/{number}/impact"), &CERTIFICATE).await;
    assert_eq!(done.assert_status(303).location, path);
    let lab = lab.reopened().await;
    let page = lab.get(&path).await;
    assert_eq!(page.texts("#impact dd"), ["supplier’s certificate: batch 4711"; 2]);
    assert!(page.texts("#impact details[open]").is_empty(), "the form is folded away, for another time");
    lab.post(&path, &ticks()).await.assert_status(303);
    assert_eq!(lab.stage(number).await, Stage::Packed);
}

#[tokio::test]
async fn papers_claim_it_only_where_it_is_on_record() {
    let lab = TestLab::new().await;
    let number = lab.given_unproven_job().await;
    let before = papers(&lab, number).await;
    assert!(!before.contains(CLAIM) && !before.contains("mpact-resistant"), "{before}");
    assert_eq!(before.to_lowercase().matches("not safety or sports eyewear").count(), 2, "{before}");
    let issued = lab.get("/receipts/5001").await.text("article");
    lab.post(&format!("/jobs/{number}/impact"), &CERTIFICATE).await.assert_status(303);
    let after = papers(&lab, number).await;
    assert_eq!(after.matches(CLAIM).count(), 2, "packing sheet and receipt: {after}");
    assert_eq!(after.to_lowercase().matches("not safety or sports eyewear").count(), 2, "{after}");
    assert_eq!(lab.get("/receipts/5001").await.text("article"), issued, "an issued receipt stays as it was");
}

#[tokio::test]
async fn another_lens_needs_its_own_proof() {
    let lab = TestLab::new().await;
    let number = lab.given_checked_job().await;
    assert!(lab.get(&format!("/jobs/{number}/lenses")).await.text("main").contains("on record for both lenses"));
    let left = [
        ("lens_right", ""),
        ("lens_left", "bought"),
        ("diameter_left", "75"),
        ("source_left", "lot 4712"),
        ("old_left", "handling"),
    ];
    lab.post(&format!("/jobs/{number}/lenses"), &left).await.assert_status(303);
    let path = format!("/jobs/{number}/packing");
    assert!(lab.get(&format!("/jobs/{number}/lenses")).await.text("main").contains("on record for one lens only"));
    lab.given_cut_for(number).await;
    lab.post(&format!("/jobs/{number}/check"), &crate::support::GOOD_READING).await.assert_status(303);
    let page = lab.get(&path).await;
    assert!(page.text(".notice").contains("the left lens resists impact"), "{}", page.text(".notice"));
    assert_eq!(page.texts("#impact dd"), ["supplier’s certificate: batch certificate 4711", "not on record"]);
    assert_eq!(
        page.attributes("#certificate_right", "value"),
        ["batch certificate 4711"],
        "what is known stands there"
    );
    assert_eq!(page.attributes("input[name=left][checked]", "value"), ["own"]);
    assert_eq!(page.attributes("#certificate_left", "value"), ["lot 4712"], "what was written of the lens");
    assert!(!lab.get(&format!("/jobs/{number}/packing-sheet")).await.body.contains(CLAIM));
    let own = [
        ("proof_right", "certificate"),
        ("certificate_right", "batch certificate 4711"),
        ("left", "own"),
        ("proof_left", "own_test"),
        ("tested_on_left", "2026-11-24"),
        ("test_left", "drop ball, Odile"),
    ];
    lab.post(&format!("/jobs/{number}/impact"), &own).await.assert_status(303);
    assert_eq!(lab.get(&path).await.texts("#impact dd")[1], "our own test of Nov 24, 2026: drop ball, Odile");
    let kept = lab.store.find_impact_proofs(number).await.unwrap().left.unwrap();
    assert_eq!(kept, ImpactProof::OwnTest { tested_on: date!(2026 - 11 - 24), test: "drop ball, Odile".into() });
    assert_eq!(lab.count("impact_proof", number).await, 4, "nothing is taken back");
    lab.post(&path, &ticks()).await.assert_status(303);
}

#[tokio::test]
async fn a_wrong_field_has_its_sentence_and_nothing_is_lost() {
    let lab = TestLab::new().await;
    let number = lab.given_unproven_job().await;
    let path = format!("/jobs/{number}/impact");
    let long = "x".repeat(201);
    let typed = [
        ("proof_right", "own_test"),
        ("certificate_right", "kept"),
        ("tested_on_right", "2026-11-24"),
        ("test_right", "drop ball, Odile"),
        ("left", "own"),
        ("proof_left", "certificate"),
        ("certificate_left", "batch 4712"),
        ("tested_on_left", ""),
        ("test_left", ""),
    ];
    for (field, value, says) in [
        ("tested_on_right", "2026-11-26", "in the future"),
        ("tested_on_right", "", "A day is needed"),
        ("test_right", " ", "Who tested, and how, is needed"),
        ("certificate_left", "", "The supplier’s reference is needed"),
        ("certificate_left", &long, "at most 200 characters"),
        ("proof_left", "hearsay", "Choose a certificate or your own test"),
        ("left", "none", "Choose what the left lens has"),
    ] {
        let mut fields = typed.to_vec();
        fields.retain(|(name, _)| *name != field);
        fields.push((field, value));
        let refused: Answer = lab.post(&path, &fields).await;
        refused.assert_status(422);
        assert!(refused.text(&format!("#{field}-error")).contains(says), "{field} {value}");
        assert_eq!(refused.texts("#impact details[open]").len(), 1);
        for (name, value) in fields.iter().filter(|(name, _)| !["proof_right", "proof_left", "left"].contains(name)) {
            assert_eq!(refused.attributes(&format!("#{name}"), "value"), [*value], "{name}");
        }
        assert_eq!(lab.count("impact_proof", number).await, 0);
    }
    lab.post(&path, &typed).await.assert_status(303);
    let history = lab.store.get_job(number).await.unwrap().history.clone();
    let recorded: Vec<_> = history.iter().filter(|e| e.kind == EventKind::ImpactRight).map(|e| &*e.note).collect();
    assert_eq!(recorded, ["our own test of Nov 24, 2026: drop ball, Odile"]);
}

#[tokio::test]
async fn a_reload_keeps_what_was_typed() {
    let lab = TestLab::new().await;
    let number = lab.given_unproven_job().await;
    let typed = [("certificate_right", "batch 47"), ("left", "own"), ("proof_left", "own_test")];
    lab.post(&format!("/drafts/impact-{number}-0"), &typed).await.assert_status(204);
    let page = lab.reopened().await.get(&format!("/jobs/{number}/packing")).await;
    assert_eq!(page.attributes("#certificate_right", "value"), ["batch 47"]);
    assert_eq!(page.attributes("#impact input[type=radio][checked]", "value"), ["certificate", "own", "own_test"]);
}

/// A job that was packed before this was asked for.
#[tokio::test]
async fn a_pair_packed_without_proof_stays_packed() {
    let lab = TestLab::new().await;
    let number = lab.given_unproven_job().await;
    let file = lab.folder.path().join(rimbook::store::FILE_NAME);
    let pool = sqlx::SqlitePool::connect(&format!("sqlite://{}", file.display())).await.unwrap();
    for sql in [
        format!("insert into packing (job_number, at) values ({number}, '2026-11-25T16:00:00.000Z')"),
        format!("insert into job_event (job_number, kind, at) values ({number}, 'packed', '2026-11-25T16:00:00.000Z')"),
        format!("update job set stage = 'packed' where number = {number}"),
    ] {
        sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&pool).await.unwrap();
    }
    pool.close().await;
    let page = lab.get(&format!("/jobs/{number}/packing")).await;
    page.assert_status(200);
    assert!(page.text("main").contains("Packed") && page.texts("input[name=tick]").is_empty());
    assert!(page.texts(".notice").is_empty(), "{:?}", page.texts(".notice"));
    assert!(!papers(&lab, number).await.contains(CLAIM));
    let sent = [("carrier", "Parcel post"), ("tracking", ""), ("sent_on", "2026-11-25")];
    lab.post(&format!("/jobs/{number}/shipment"), &sent).await.assert_status(303);
    let page = lab.get(&format!("/jobs/{number}/packing")).await;
    assert!(page.texts("#impact form").is_empty(), "what happened is not changed afterwards");
    lab.post(&format!("/jobs/{number}/impact"), &CERTIFICATE).await.assert_status(409);
}

#[tokio::test]
async fn of_glass_a_certificate_is_not_enough() {
    let lab = TestLab::new().await;
    let other = lab.given_unproven_job().await;
    let caution = "Glass: each finished lens is tested";
    assert!(!lab.get(&format!("/jobs/{other}/packing")).await.text("#impact").contains(caution));
    let materials = lab.store.list_materials().await.unwrap();
    let material = materials.iter().find(|m| m.details.name == "Polycarbonate 1.59").unwrap();
    let glass = MaterialDetails { density_hundredths: 254, ..material.details.clone() };
    lab.store.insert_material("glass", Some(material.id), &glass, NOW).await.unwrap();
    let number = lab.given_unproven_job().await;
    assert!(lab.get(&format!("/jobs/{number}/packing")).await.text("#impact").contains(caution));
}
