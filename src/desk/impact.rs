//! Impact resistance: what says that a lens meets 21 CFR 801.410.
//!
//! A paper claims it only where a supplier's certificate or your own test is on record for both lenses of the job. A record
//! is of the lens in hand: a lens taken in hand later has none yet.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::Date;

use super::date::day;
use super::job::{EventKind, EyeTask, Job};
use super::key::keyed;
use crate::optics::{Eye, Pair};

/// What says that a lens resists impact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ImpactProof {
    /// The supplier certifies it; the text is the supplier's reference.
    Certificate(String),
    /// The lab tested the lens itself.
    OwnTest {
        tested_on: Date,
        /// Who tested, and how.
        test: String,
    },
}

/// The kind of an [`ImpactProof`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ImpactProofKind {
    Certificate,
    OwnTest,
}

keyed!(ImpactProofKind);

impl ImpactProof {
    /// The most characters of its text.
    pub const MOST: usize = 200;

    pub fn kind(&self) -> ImpactProofKind {
        match self {
            ImpactProof::Certificate(_) => ImpactProofKind::Certificate,
            ImpactProof::OwnTest { .. } => ImpactProofKind::OwnTest,
        }
    }

    /// For a person.
    pub fn words(&self) -> String {
        match self {
            ImpactProof::Certificate(reference) => format!("supplier’s certificate: {reference}"),
            ImpactProof::OwnTest { tested_on, test } => format!("our own test of {}: {test}", day(tested_on)),
        }
    }
}

/// The eyes whose lens has no proof of impact resistance on record. A lens that stays in the frame needs none from us.
pub fn unproven(tasks: Pair<EyeTask>, kinds: impl IntoIterator<Item = EventKind>) -> Vec<Eye> {
    let mut is_proven = Pair::new(false, false);
    for kind in kinds {
        match kind {
            EventKind::LensRight => is_proven.right = false,
            EventKind::LensLeft => is_proven.left = false,
            EventKind::ImpactRight => is_proven.right = true,
            EventKind::ImpactLeft => is_proven.left = true,
            _ => {}
        }
    }
    Eye::BOTH.into_iter().filter(|eye| tasks.get(*eye).is_made() && !is_proven.get(*eye)).collect()
}

impl Job {
    /// The eyes whose lens in hand has no proof of impact resistance on record.
    pub fn unproven_lenses(&self) -> Vec<Eye> {
        unproven(self.tasks(), self.history.iter().map(|event| event.kind))
    }

    /// Whether papers may say that the pair resists impact.
    pub fn is_impact_proven(&self) -> bool {
        self.unproven_lenses().is_empty()
    }

    /// Which proof is missing, in a sentence; `None` when none is.
    pub fn unproven_words(&self) -> Option<String> {
        let lenses = match self.unproven_lenses()[..] {
            [] => return None,
            [eye] => format!("the {} lens", eye.name()),
            _ => "both lenses".to_owned(),
        };
        Some(format!(
            "Job {} cannot be packed yet: nothing on record says that {lenses} resist{} impact. Record the supplier’s \
             certificate or your own test first.",
            self.number,
            if lenses.starts_with("both") { "" } else { "s" }
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use EventKind::*;
    use time::macros::date;

    #[test]
    fn a_record_is_of_the_lens_in_hand() {
        let (both, none) = (vec![Eye::Right, Eye::Left], Vec::new());
        for (kinds, want) in [
            (vec![], both.clone()),
            (vec![LensRight, LensLeft, Cut, CheckPassed, Packed], both),
            (vec![LensRight, LensLeft, ImpactRight], vec![Eye::Left]),
            (vec![LensRight, LensLeft, ImpactRight, ImpactLeft], none.clone()),
            (vec![LensRight, LensLeft, ImpactRight, ImpactLeft, Cut, CheckFailed], none.clone()),
            (vec![LensRight, LensLeft, ImpactRight, ImpactLeft, LensLeft], vec![Eye::Left]),
            (vec![LensRight, LensLeft, ImpactRight, ImpactLeft, LensRight], vec![Eye::Right]),
            (vec![LensRight, LensLeft, ImpactRight, ImpactLeft, LensRight, ImpactRight], none),
        ] {
            assert_eq!(unproven(EyeTask::PAIR, kinds.clone()), want, "{kinds:?}");
        }
        let one = Pair::new(EyeTask::Keep, EyeTask::Balance);
        assert_eq!(unproven(one, [LensLeft]), [Eye::Left]);
        assert_eq!(unproven(one, [LensLeft, ImpactLeft]), []);
    }

    #[test]
    fn says_what_it_is() {
        let certificate = ImpactProof::Certificate("batch 4711".into());
        let test = ImpactProof::OwnTest { tested_on: date!(2026 - 11 - 05), test: "drop ball, Ada".into() };
        assert_eq!(certificate.words(), "supplier’s certificate: batch 4711");
        assert_eq!(test.words(), "our own test of Nov 5, 2026: drop ball, Ada");
        assert_eq!([certificate.kind().key(), test.kind().key()], ["certificate", "own_test"]);
    }
}
