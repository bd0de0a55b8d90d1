//! What each open job needs, kept in memory while neither the job nor the lab changes: it takes a layout of both eyes.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

use super::AppState;
use crate::bench::buying::EyeNeed;
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::real_size::Supply;
use crate::desk::lab::Lab;
use crate::optics::{Eye, Pair};
use crate::store::StoreError;
use crate::store::need::NeedVersion;

/// The needs of the jobs that were in need when they were last asked for.
#[derive(Debug, Clone, Default)]
pub struct Needs(Arc<Mutex<KeptNeeds>>);

#[derive(Debug, Default)]
struct KeptNeeds {
    /// The lab they were laid out for.
    lab: Option<Arc<Lab>>,
    jobs: HashMap<i64, Arc<OfJob>>,
}

/// What a job needs for each eye that a lens is made for, whether or not it has one already.
#[derive(Debug)]
struct OfJob {
    version: NeedVersion,
    eyes: Pair<Option<EyeNeed>>,
}

impl AppState {
    /// What the open jobs need, by promised date, the right eye first. The drawer is not set against it yet.
    pub async fn list_needs(&self) -> Result<Vec<EyeNeed>, StoreError> {
        let eyes = self.store.list_eyes_in_need().await?;
        let mut numbers: Vec<i64> = eyes.iter().map(|(job, _)| *job).collect();
        numbers.dedup();
        let versions = self.store.list_need_versions(&numbers).await?;
        let lab = self.lab();
        let mut jobs = self.kept_needs(&lab);
        jobs.retain(|number, kept| versions.get(number) == Some(&kept.version));
        let changed: Vec<(i64, Eye)> = eyes.iter().filter(|(job, _)| !jobs.contains_key(job)).copied().collect();
        if !changed.is_empty() {
            self.lay_out_needs(&changed, &versions, &lab, &mut jobs).await?;
        }
        let of = |&(number, eye): &(i64, Eye)| jobs.get(&number)?.eyes.get(eye).clone();
        let mut needs: Vec<EyeNeed> = eyes.iter().filter_map(of).collect();
        // Stable: the eyes of a job stay together.
        needs.sort_by_key(|need| (need.promised_on, need.job));
        *self.needs.0.lock().unwrap_or_else(PoisonError::into_inner) = KeptNeeds { lab: Some(lab), jobs };
        Ok(needs)
    }

    fn kept_needs(&self, lab: &Arc<Lab>) -> HashMap<i64, Arc<OfJob>> {
        let kept = self.needs.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.lab.as_ref() == Some(lab) { kept.jobs.clone() } else { HashMap::new() }
    }

    /// The versions were read before the jobs: a job that changes in between is laid out again the next time.
    async fn lay_out_needs(
        &self,
        eyes: &[(i64, Eye)],
        versions: &BTreeMap<i64, NeedVersion>,
        lab: &Lab,
        needs: &mut HashMap<i64, Arc<OfJob>>,
    ) -> Result<(), StoreError> {
        let jobs = self.store.list_jobs_of_needs(eyes).await?;
        let numbers: Vec<i64> = jobs.iter().map(|need| need.job.number).collect();
        let listed = self.store.list_all_offered_diameters(&numbers).await?;
        for need in jobs {
            let (job, number) = (&need.job, need.job.number);
            let Some(version) = versions.get(&number) else { continue };
            // The drawer is set against the needs by `bench::buying::net`.
            let supply = Supply::default().with_list(listed.get(&number).map_or(&[], Vec::as_slice));
            let lay_out = |shape| JobLayout::with_supply(job, shape, lab, step_of(lab), &supply);
            let layout = need.shape.as_ref().map(lay_out);
            let of = |eye| EyeNeed::of(job, eye, layout.as_ref());
            let eyes = Pair::new(of(Eye::Right), of(Eye::Left));
            needs.insert(number, Arc::new(OfJob { version: version.clone(), eyes }));
        }
        Ok(())
    }
}
