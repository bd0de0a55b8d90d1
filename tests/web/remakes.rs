//! A job that is made again: for one eye or both, at whose cost, and what was learned.

use rimbook::desk::catalogue::TreatmentKind;
use rimbook::desk::frame::Rim;
use rimbook::desk::job::{EyeTask, ParentReason, Stage};
use rimbook::desk::money::Cents;
use rimbook::desk::packing::Parcel;

use crate::support::{Answer, TestLab};

/// Begins a remake and takes its order as it stands filled in, with these changes. Gives the answer to the order.
async fn remake(lab: &TestLab, parent: i64, asked: &str, changes: &[(&str, &str)]) -> Answer {
    let begun = lab.get(&format!("/jobs/{parent}/remake?{asked}")).await;
    let path = begun.assert_status(303).location.clone();
    let page = lab.get(&path).await;
    page.assert_status(200);
    assert!(page.text("h1").contains(&format!("Remake of job {parent}")), "{}", page.text("h1"));
    let (path, mut fields) = as_it_stands(&page);
    for (name, value) in changes {
        fields.retain(|(known, _)| known != name);
        fields.push(((*name).to_owned(), (*value).to_owned()));
    }
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    lab.post(&path, &fields).await
}

/// Where the order page posts, and its fields as they stand.
fn as_it_stands(page: &Answer) -> (String, Vec<(String, String)>) {
    let action = page.attributes("form#order", "action").remove(0);
    let fields = crate::addresses::fields_of(page, &action);
    (action, fields)
}

fn number_of(answer: &Answer) -> i64 {
    answer.assert_status(303).location.trim_start_matches("/jobs/").parse().unwrap()
}

#[tokio::test]
async fn one_eye_is_made_again_and_nothing_is_charged() {
    let lab = TestLab::new().await;
    let parent = lab.given_sent_job().await;
    let asked = "eyes=left&cause=coating&paid_by=supplier&frame_stays=yes&lesson=ask+for+the+lot+first";
    let number = number_of(&remake(&lab, parent, asked, &[]).await);
    let (old, new) = (lab.store.get_job(parent).await.unwrap(), lab.store.get_job(number).await.unwrap());
    assert_eq!(new.parent.map(|p| (p.number, p.reason)), Some((parent, ParentReason::Remake)));
    assert_eq!((new.eyes.right.task, new.eyes.left.task), (EyeTask::Keep, EyeTask::Make));
    assert_eq!(new.prescription.eyes, old.prescription.eyes, "the power of the lens that stays is known");
    assert_eq!((new.shape, new.frame.id, new.customer.id), (old.shape, old.frame.id, old.customer.id));
    assert_eq!((new.charged, new.owed(), new.stage()), (Cents::ZERO, Cents::ZERO, Stage::ShapeOnFile));
    assert_eq!(lab.count("charge", number).await, 0, "no rows that charge nothing");
    assert!(new.frame_stays());
    // Both pages name the other one with the cause.
    let child = lab.get(&format!("/jobs/{number}")).await;
    assert!(child.text("main").contains(&format!("of job {parent}: the coating or tint; the supplier pays")));
    assert!(child.attributes("main a", "href").contains(&format!("/jobs/{parent}")));
    let page = lab.get(&format!("/jobs/{parent}")).await;
    assert!(page.text("main").contains(&format!("as job {number}: the coating or tint")), "{}", page.text("main"));
    // Lessons stands where the next lens of this shape is cut.
    assert!(lab.get(&format!("/jobs/{number}/cut")).await.text(".lesson").contains("ask for the lot first"));
    let causes = lab.get("/causes").await;
    assert!(causes.text("#causes").contains("the coating or tint0 1"), "{}", causes.text("#causes"));
    assert!(causes.text("#lessons").contains("ask for the lot first"));
    // One job sent, one remake: 100 in 100.
    assert!(causes.text("#months tfoot").contains("100.0"), "{}", causes.text("#months tfoot"));
}

#[tokio::test]
async fn a_remake_at_the_customers_cost_has_the_list_prices() {
    let lab = TestLab::new().await;
    let parent = lab.given_sent_job().await;
    let asked = "eyes=both&cause=mind&paid_by=customer&lesson=";
    let number = number_of(&remake(&lab, parent, asked, &[("rx_right", "-2.50 -1.25 x 95")]).await);
    let job = lab.store.get_job(number).await.unwrap();
    assert!(job.charged > Cents::ZERO && !job.frame_stays());
    assert_eq!((job.eyes.right.task, job.eyes.left.task), (EyeTask::Make, EyeTask::Make));
    assert_eq!(job.lens_power(rimbook::optics::Eye::Right).to_string(), "-2.50 -1.25 x 095");
}

#[tokio::test]
async fn what_is_missing_is_said_and_what_was_chosen_stays() {
    let lab = TestLab::new().await;
    let parent = lab.given_sent_job().await;
    let path = format!("/jobs/{parent}/remake");
    assert!(lab.get(&path).await.text("main").contains("Remake"));
    for (asked, field) in [
        ("eyes=left&paid_by=shop&lesson=x", "cause"),
        ("eyes=left&cause=cut&lesson=x", "paid_by"),
        ("cause=cut&paid_by=shop&lesson=x", "eyes"),
        ("eyes=third&cause=cut&paid_by=shop&lesson=x", "eyes"),
    ] {
        let page = lab.get(&format!("{path}?{asked}")).await;
        page.assert_status(422);
        assert!(!page.text(&format!("#{field}-error")).is_empty(), "{asked}");
        assert_eq!(page.attributes("#lesson", "value"), ["x"], "{asked}");
    }
}

#[tokio::test]
async fn nothing_is_made_again_before_the_cut_or_after_a_cancellation() {
    let lab = TestLab::new().await;
    let fresh = lab.given_lenses_in_hand().await;
    let page = lab.get(&format!("/jobs/{fresh}/remake?eyes=left&cause=cut&paid_by=shop")).await;
    assert!(page.text(".notice").contains("is cut yet"), "{}", page.text(".notice"));
    assert!(page.texts("form[action$=remake]").is_empty());
    // A job that was cancelled after the form was filled in: the order is refused in words, and what was typed stays.
    let cut = lab.given_cut_job().await;
    let path = lab.get(&format!("/jobs/{cut}/remake?eyes=both&cause=cut&paid_by=shop&lesson=")).await.location;
    let (path, fields) = as_it_stands(&lab.get(&path).await);
    let cancelled = [
        ("asked_by", "customer"),
        ("reason", "found the old pair"),
        ("refund", "186"),
        ("refund_kind", "card"),
        ("old_right", "mind"),
        ("old_left", "mind"),
    ];
    lab.post(&format!("/jobs/{cut}/cancellation"), &cancelled).await.assert_status(303);
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    let refused = lab.post(&path, &fields).await;
    assert!(refused.assert_status(409).text(".notice").contains("was canceled"), "{}", refused.text(".notice"));
}

#[tokio::test]
async fn a_remake_is_of_the_material_of_the_pair_though_it_is_no_longer_sold() {
    let lab = TestLab::new().await;
    let parent = lab.given_sent_job().await;
    let old = lab.store.get_job(parent).await.unwrap();
    lab.store.retire_material(old.material.id, crate::support::NOW).await.unwrap();
    let number = number_of(&remake(&lab, parent, "eyes=left&cause=lens&paid_by=shop&lesson=", &[]).await);
    assert_eq!(lab.store.get_job(number).await.unwrap().material, old.material);
}

#[tokio::test]
async fn the_same_remake_sent_twice_is_one_job() {
    let lab = TestLab::new().await;
    let parent = lab.given_sent_job().await;
    let begun = lab.get(&format!("/jobs/{parent}/remake?eyes=both&cause=post&paid_by=carrier&lesson=")).await;
    let (path, fields) = as_it_stands(&lab.get(&begun.assert_status(303).location).await);
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    let first = number_of(&lab.post(&path, &fields).await);
    let second = lab.post(&path, &fields).await;
    assert_eq!(second.assert_status(303).location, format!("/jobs/{first}?already=order"));
    assert_eq!(lab.store.list_remakes_of(parent).await.unwrap().len(), 1);
}

#[tokio::test]
async fn a_frame_that_must_come_back_is_awaited() {
    let lab = TestLab::new().await;
    let parent = lab.given_sent_job().await;
    let number = number_of(&remake(&lab, parent, "eyes=both&cause=coating&paid_by=shop&lesson=", &[]).await);
    let job = lab.store.get_job(number).await.unwrap();
    assert!(job.is_for_own_frame() && !job.has_own_frame());
    let page = lab.get(&format!("/jobs/{number}")).await;
    assert!(page.attributes("main a", "href").contains(&format!("/jobs/{number}/own-frame")), "{}", page.text("main"));
    assert_eq!(Parcel::of(&job), Parcel::OwnFrame, "it goes back with the pair");
    // A frame that stays with the customer, or never left the lab, is not awaited.
    let asked = "eyes=both&cause=coating&paid_by=shop&frame_stays=yes&lesson=";
    let stays = number_of(&remake(&lab, parent, asked, &[]).await);
    let here = lab.given_cut_job().await;
    let here = number_of(&remake(&lab, here, "eyes=both&cause=cut&paid_by=shop&lesson=", &[]).await);
    for (number, parcel) in [(stays, Parcel::LensesOnly), (here, Parcel::Glasses)] {
        let job = lab.store.get_job(number).await.unwrap();
        assert_eq!((job.is_for_own_frame(), Parcel::of(&job)), (false, parcel), "job {number}");
    }
}

#[tokio::test]
async fn a_coating_added_to_a_free_remake_is_not_charged() {
    let lab = TestLab::new().await;
    let parent = lab.given_sent_job().await;
    let treatments = lab.store.list_treatments().await.unwrap();
    let version = |name: &str| treatments.iter().find(|t| t.details.name == name).unwrap().version.to_string();
    let (hard, tint) = (version("Hard coat"), treatments.iter().find(|t| t.details.kind == TreatmentKind::Tint));
    let tint = tint.unwrap().version.to_string();
    let added = [("second_coating", hard.as_str()), ("tint", tint.as_str())];
    let number = number_of(&remake(&lab, parent, "eyes=both&cause=coating&paid_by=shop&lesson=", &added).await);
    let job = lab.store.get_job(number).await.unwrap();
    assert!(job.second_coating.is_some() && job.tint.is_some());
    assert_eq!((job.charged, lab.count("charge", number).await), (Cents::ZERO, 0));
    // A price that is typed is charged, and the customer's own remake has the list prices.
    let typed = [&added[..], &[("price_tint", "4")]].concat();
    let number = number_of(&remake(&lab, parent, "eyes=left&cause=coating&paid_by=shop&lesson=", &typed).await);
    assert_eq!(lab.store.get_job(number).await.unwrap().charged, Cents::new(400));
    let own = number_of(&remake(&lab, parent, "eyes=left&cause=mind&paid_by=customer&lesson=", &[]).await);
    let more = number_of(&remake(&lab, parent, "eyes=left&cause=mind&paid_by=customer&lesson=", &added).await);
    assert!(lab.store.get_job(more).await.unwrap().charged > lab.store.get_job(own).await.unwrap().charged);
}

#[tokio::test]
async fn the_correction_of_a_remake_offers_no_other_frame() {
    let lab = TestLab::new().await;
    let parent = lab.given_sent_job().await;
    let number = number_of(&remake(&lab, parent, "eyes=left&cause=lens&paid_by=shop&lesson=", &[]).await);
    let other = lab.given_job_in_rim(Rim::Metal, "-1.00 sph", "-1.00 sph", "31/33", "20").await;
    let other = lab.store.get_job(other).await.unwrap().frame.id.to_string();
    let path = format!("/jobs/{number}/correction");
    let page = lab.get(&path).await;
    assert!(page.texts("#frame_name, [name=frame_id]").is_empty(), "{}", page.text("main"));
    let mut fields = crate::addresses::fields_of(&page, &path);
    for (name, value) in [("note", "soft bridge"), ("frame_id", other.as_str()), ("reason", "asked by phone")] {
        fields.retain(|(known, _)| known != name);
        fields.push((name.to_owned(), value.to_owned()));
    }
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    lab.post_as_is(&path, &fields).await.assert_status(303);
    let (job, earlier) = (lab.store.get_job(number).await.unwrap(), lab.store.get_job(parent).await.unwrap());
    assert_eq!((job.frame.id, job.note.as_str()), (earlier.frame.id, "soft bridge"));
}
