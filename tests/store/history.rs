//! Random histories of a job: the stage that the book keeps is the one that the history says, and the book refuses a step
//! exactly where the pages say that it is out of turn.

use std::collections::BTreeSet;

use rimbook::desk::cancellation::{CancelAsker, Cancellation};
use rimbook::desk::correction::{Correction, Ordered};
use rimbook::desk::fault::{ConcessionCause, FaultCause};
use rimbook::desk::impact::ImpactProof;
use rimbook::desk::job::{Job, Stage};
use rimbook::desk::money::Cents;
use rimbook::desk::packing::ITEMS;
use rimbook::desk::parcel_return::{ParcelReturn, ReturnCause, ReturnCondition};
use rimbook::desk::step::Step;
use rimbook::optics::{Eye, Pair};
use rimbook::store::StoreError;
use rimbook::store::cut::NewCut;
use rimbook::store::lens::SpoiledLens;
use rimbook::store::once::Once;
use rimbook::store::shipment::Shipment;

use super::support::{NOW, TestLab};
use super::{beside, check, payment, texts};

/// SplitMix64 (Steele, Lea and Flood 2014, public domain).
struct Random(u64);

impl Random {
    fn below(&mut self, most: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % most as u64).unwrap()
    }
}

/// What the walk does; a cancellation is rare, because nothing comes after it.
const STEPS: [Step; 13] = [
    Step::Shape,
    Step::Lenses,
    Step::Spoilage,
    Step::Cut,
    Step::Check,
    Step::Concession,
    Step::Impact,
    Step::Packing,
    Step::Shipment,
    Step::Return,
    Step::Correction,
    Step::Payment,
    Step::Note,
];

/// The step that brings the job on.
fn on_the_way(job: &Job) -> Step {
    match job.stage() {
        Stage::Taken => Step::Shape,
        Stage::ShapeOnFile => Step::Lenses,
        Stage::LensesInHand => Step::Cut,
        Stage::Cut => Step::Check,
        Stage::Checked if !job.is_impact_proven() => Step::Impact,
        Stage::Checked => Step::Packing,
        Stage::Packed => Step::Shipment,
        Stage::Sent => Step::Return,
        Stage::Cancelled | Stage::BroughtIn => Step::Note,
    }
}

fn correction(job: &Job) -> Correction {
    let ordered = Ordered::of(job);
    let version = |treatment: &Option<rimbook::desk::catalogue::Treatment>| treatment.as_ref().map(|t| t.version);
    Correction {
        revision: job.revision,
        prescription: None,
        tasks: ordered.tasks,
        made_for: ordered.made_for,
        material: ordered.material.version,
        design: ordered.design,
        coating: version(&ordered.coating),
        second_coating: version(&ordered.second_coating),
        tint: version(&ordered.tint),
        height: ordered.height,
        frame: ordered.frame.id,
        note: "look twice".into(),
        reason: "asked again".into(),
        lenses: Vec::new(),
        withdraws_decision: false,
        rebill: Default::default(),
        on: NOW.date(),
        said: "note for the bench none to “look twice”".into(),
    }
}

/// Does a step with contents that the dice choose.
async fn take(lab: &TestLab, job: &Job, step: Step, dice: &mut Random) -> Result<(), StoreError> {
    let (store, number, key) = (&lab.store, job.number, format!("walk-{}", uuid::Uuid::now_v7()));
    let eye = if dice.below(2) == 0 { Eye::Right } else { Eye::Left };
    let done = |once: Once<()>| assert_eq!(once, Once::Now(()));
    match step {
        Step::Shape => lab.given_shape_for(number).await,
        Step::Lenses => store.take_lenses(&key, number, &[lab.given_lens(eye)], NOW).await.map(done)?,
        Step::Spoilage => {
            let eye = if job.is_lens_in_hand(eye) { eye } else { eye.other() };
            let spoiled = SpoiledLens { eye, cause: FaultCause::Mount, note: String::new() };
            store.spoil_lenses(&key, number, &[spoiled], NOW).await.map(done)?;
        }
        Step::Cut => {
            let cut = NewCut { size: Pair::default(), note: String::new(), layout: None };
            store.insert_cut(&key, number, &cut, NOW).await.map(done)?;
        }
        Step::Check => store.insert_check(&key, number, &check(dice.below(3) > 0), NOW).await.map(drop)?,
        Step::Concession => {
            let reason = "the customer knows of it";
            let newest = store.list_checks(number).await?.last().map_or(0, |check| check.attempt);
            store.concede_check(&key, number, newest, ConcessionCause::CustomerAsked, reason, NOW).await.map(done)?;
        }
        Step::Impact => {
            let proof = ImpactProof::Certificate("batch 4711".into());
            let proofs = Eye::BOTH.map(|eye| (eye, proof.clone()));
            store.insert_impact_proofs(&key, number, &proofs, NOW).await.map(drop)?;
        }
        Step::Packing => {
            let ticks: Vec<String> = ITEMS.iter().map(|item| item.key.to_owned()).collect();
            store.insert_packing(&key, number, &ticks, NOW).await.map(done)?;
        }
        Step::Shipment => {
            let parcel = Shipment {
                carrier: "Parcel post".into(),
                tracking: String::new(),
                sent_on: NOW.date(),
                address: "there".into(),
            };
            store.insert_shipment(&key, number, &parcel, NOW).await.map(done)?;
        }
        Step::Return => {
            let conditions = [ReturnCondition::Unopened, ReturnCondition::Opened, ReturnCondition::Lost];
            let condition = conditions[dice.below(3)];
            let cause = if condition == ReturnCondition::Lost { ReturnCause::Lost } else { ReturnCause::Refused };
            let back = ParcelReturn { cause, condition, returned_on: NOW.date(), note: String::new() };
            store.return_parcel(&key, number, &back, NOW).await.map(done)?;
        }
        Step::Correction => store.correct_job(&key, number, &correction(job), NOW).await.map(done)?,
        Step::Cancellation => {
            let cancellation = Cancellation {
                asked_by: CancelAsker::Customer,
                reason: "found the old pair".into(),
                lenses: Vec::new(),
                kept: Cents::ZERO,
                refund: None,
                on: NOW.date(),
            };
            store.cancel_job(&key, number, &cancellation, NOW).await.map(done)?;
        }
        Step::Payment => store.insert_payment(&key, number, &payment(100), NOW).await.map(done)?,
        _ => store.append_note(&key, number, "still here", NOW).await.map(done)?,
    }
    Ok(())
}

/// What the lists say of a job is what its history says.
async fn must_agree(lab: &TestLab, book: &mut sqlx::SqliteConnection, number: i64, after: Step) {
    let job = lab.store.get_job(number).await.unwrap();
    let story: Vec<_> = job.history.iter().map(|event| event.kind).collect();
    let kept = texts(book, &format!("select stage from job where number = {number}")).await;
    assert_eq!(kept, [job.stage().key()], "{after:?}: {story:?}");
    let open = lab.store.list_open_jobs().await.unwrap();
    let line = open.iter().find(|line| line.number == number);
    let is_open = ![Stage::Sent, Stage::Cancelled, Stage::BroughtIn].contains(&job.stage());
    assert_eq!(line.is_some(), is_open, "{after:?}: {story:?}");
    if let Some(line) = line {
        let said = (line.stage, line.failure, line.came_back.is_some());
        assert_eq!(said, (job.stage(), job.failure(), job.is_to_send_again()), "{story:?}");
    }
    let in_hand = lab.store.find_lenses(number).await.unwrap();
    for eye in Eye::BOTH {
        assert_eq!(in_hand.get(eye).is_some(), job.is_lens_in_hand(eye), "{} {after:?}: {story:?}", eye.name());
    }
}

#[tokio::test]
async fn book_and_history_agree_on_every_stage() {
    let (lab, mut reached) = (TestLab::new().await, BTreeSet::new());
    let mut book = beside(lab.folder.path()).await;
    for seed in 0..16 {
        let mut dice = Random(seed);
        let number = lab.given_job().await;
        for turn in 0..40 {
            let job = lab.store.get_job(number).await.unwrap();
            let step = match dice.below(8) {
                0..=4 => on_the_way(&job),
                _ if turn > 20 && dice.below(12) == 0 => Step::Cancellation,
                _ => STEPS[dice.below(STEPS.len())],
            };
            // A test's own shape is put on file without asking; the pages ask first.
            let refusal = step.refusal(&job);
            if step == Step::Shape && refusal.is_some() {
                continue;
            }
            let taken = take(&lab, &job, step, &mut dice).await;
            let story: Vec<_> = job.history.iter().map(|event| event.kind).collect();
            assert_eq!(taken.is_ok(), refusal.is_none(), "{step:?}: {taken:?}, {refusal:?} after {story:?}");
            must_agree(&lab, &mut book, number, step).await;
            reached.insert(lab.stage(number).await);
        }
    }
    // Nothing leads to an old record: it is brought in.
    assert_eq!(reached.len(), Stage::ALL.len() - 1, "the walks come everywhere: {reached:?}");
}
