//! Recording what says that the lenses of a job resist impact. The form stands on the packing page.

use axum::Form as Posted;
use axum::extract::{Path, State};
use time::Date;

use super::job_post::{JobPost, StepForm};
use super::packing::{Refused, page};
use super::{PageResult, show_again};
use crate::bench::material_comparison::ImpactClass;
use crate::desk::impact::{ImpactProof, ImpactProofKind};
use crate::desk::job::{Job, Stage};
use crate::desk::step::Step;
use crate::desk::stock::LensInHand;
use crate::desk::text::needed;
use crate::optics::{Eye, Pair};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::{iso, parse_day};

/// What is on record, and the form to add to it.
pub(super) struct ImpactSection {
    /// Each lens with its proof; empty when there is none of the lens in hand.
    pub(super) proofs: Vec<(&'static str, String)>,
    /// Why the pair cannot be packed yet.
    pub(super) missing: Option<String>,
    /// None once the job is sent.
    pub(super) entry: Option<ImpactEntry>,
}

/// The form as the page shows it.
pub(super) struct ImpactEntry {
    pub(super) key: String,
    pub(super) form: Form,
    pub(super) problems: usize,
    pub(super) is_open: bool,
    pub(super) is_glass: bool,
    pub(super) eyes: Vec<EyeProof>,
    /// Whether what was written of the lenses is all that the form asks for.
    pub(super) is_filled_in: bool,
    /// Whether the left lens can have the proof of the right one.
    pub(super) is_pair: bool,
}

/// One lens of the form.
pub(super) struct EyeProof {
    pub(super) name: &'static str,
    /// What was written of the lens when it was taken in hand.
    pub(super) source: String,
    pub(super) fields: EyeProofNames,
}

/// The names of one lens's fields.
pub(in crate::web) struct EyeProofNames {
    pub(in crate::web) kind: String,
    pub(in crate::web) certificate: String,
    pub(in crate::web) test: String,
    pub(in crate::web) tested_on: String,
}

impl EyeProofNames {
    pub(in crate::web) fn of(eye: Eye) -> Self {
        let name = |field: &str| format!("{field}_{}", eye.name());
        Self { kind: name("proof"), certificate: name("certificate"), test: name("test"), tested_on: name("tested_on") }
    }
}

impl ImpactSection {
    /// The section of a job, from the stage on at which it has lenses.
    pub(super) async fn of(state: &AppState, job: &Job, refused: Option<StepForm>) -> Result<Option<Self>, WebError> {
        let reached = job.stage();
        if reached < *Step::Impact.stages().start() {
            return Ok(None);
        }
        let unproven = job.unproven_lenses();
        let kept = state.store.find_impact_proofs(job.number).await?;
        let kept = Pair::new(
            kept.right.filter(|_| !unproven.contains(&Eye::Right)),
            kept.left.filter(|_| !unproven.contains(&Eye::Left)),
        );
        let entry = match Step::Impact.refusal(job) {
            Some(_) => None,
            None => {
                let form = StepForm::again_or_open(refused, state, job, Step::Impact).await?;
                let in_hand = state.store.find_lenses(job.number).await?;
                Some(ImpactEntry::of(job, form, &kept, &in_hand, state.clock.today()))
            }
        };
        Ok(Some(Self {
            proofs: job
                .made_eyes()
                .map(|eye| (eye.name(), kept.get(eye).as_ref().map(ImpactProof::words).unwrap_or_default()))
                .collect(),
            missing: job.unproven_words().filter(|_| reached == Stage::Checked),
            entry,
        }))
    }
}

impl ImpactEntry {
    fn of(
        job: &Job,
        form: StepForm,
        kept: &Pair<Option<ImpactProof>>,
        in_hand: &Pair<Option<LensInHand>>,
        today: Date,
    ) -> Self {
        let StepForm { key, mut form } = form;
        // What was written of a lens when it was taken in hand names its certificate.
        let written = in_hand.as_ref().map(|lens| lens.as_ref().map_or("", |lens| lens.source.as_str()));
        let is_the_same = kept.right == kept.left && (kept.right.is_some() || written.right == written.left);
        form.set_default(ImpactForm::LEFT, if is_the_same { ImpactForm::SAME } else { ImpactForm::OWN });
        for (eye, kept) in kept.iter() {
            let names = EyeProofNames::of(eye);
            let kind = kept.as_ref().map_or(ImpactProofKind::Certificate, ImpactProof::kind);
            form.set_default(&names.kind, kind.key());
            let (certificate, test, tested_on) = match kept {
                Some(ImpactProof::Certificate(reference)) => (reference.as_str(), "", today),
                Some(ImpactProof::OwnTest { tested_on, test }) => ("", test.as_str(), *tested_on),
                None => (*written.get(eye), "", today),
            };
            form.set_default(&names.certificate, certificate);
            form.set_default(&names.test, test);
            form.set_default(&names.tested_on, iso(&tested_on));
        }
        Self {
            key,
            is_glass: ImpactClass::of(&job.material.details) == ImpactClass::Glass,
            problems: form.count_errors(),
            is_open: !job.is_impact_proven() || !form.is_fine(),
            is_filled_in: form.is_fine()
                && job.made_eyes().all(|eye| !form.value(&EyeProofNames::of(eye).certificate).is_empty()),
            is_pair: job.single_eye().is_none(),
            eyes: job
                .made_eyes()
                .map(|eye| EyeProof {
                    name: eye.name(),
                    source: in_hand.get(eye).as_ref().map(|lens| lens.source.clone()).unwrap_or_default(),
                    fields: EyeProofNames::of(eye),
                })
                .collect(),
            form,
        }
    }
}

pub(crate) async fn record_impact(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Impact, fields).await?;
    let Some(ImpactForm { proofs }) = ImpactForm::read(&mut post.form, &post.job, state.clock.today()) else {
        return show_again(&page(&state, &post.job.clone(), Some(Refused::Impact(post.refused()))).await?);
    };
    let done = state.store.insert_impact_proofs(&post.act, number, &proofs, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &post.job.clone(), Some(Refused::Impact(post.refused()))).await?),
    }
}

/// What was recorded of each lens that is made.
struct ImpactForm {
    proofs: Vec<(Eye, ImpactProof)>,
}

impl ImpactForm {
    /// Whether the left lens has the proof of the right one.
    const LEFT: &str = "left";
    const SAME: &str = "same";
    const OWN: &str = "own";

    fn read(form: &mut Form, job: &Job, today: Date) -> Option<Self> {
        if let Some(eye) = job.single_eye() {
            return Some(Self { proofs: vec![(eye, read_proof(form, eye, today)?)] });
        }
        let right = read_proof(form, Eye::Right, today);
        let left = match form.value(Self::LEFT) {
            Self::SAME => right.clone(),
            Self::OWN => read_proof(form, Eye::Left, today),
            _ => {
                form.fail(Self::LEFT, "Choose what the left lens has");
                None
            }
        };
        Some(Self { proofs: vec![(Eye::Right, right?), (Eye::Left, left?)] })
    }
}

fn read_proof(form: &mut Form, eye: Eye, today: Date) -> Option<ImpactProof> {
    let names = EyeProofNames::of(eye);
    let kind =
        form.read(&names.kind, |t| ImpactProofKind::from_key(t).ok_or("Choose a certificate or your own test"))?;
    match kind {
        ImpactProofKind::Certificate => {
            let most = ImpactProof::MOST;
            form.read(&names.certificate, |t| needed("The supplier’s reference", t, most)).map(ImpactProof::Certificate)
        }
        ImpactProofKind::OwnTest => {
            let tested_on = form.read(&names.tested_on, |t| match parse_day(t) {
                Ok(day) if day > today => Err("This day is in the future".to_owned()),
                read => read,
            });
            let test = form.read(&names.test, |t| needed("Who tested, and how,", t, ImpactProof::MOST));
            Some(ImpactProof::OwnTest { tested_on: tested_on?, test: test? })
        }
    }
}
