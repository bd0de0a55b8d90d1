//! What says that the lenses of a job resist impact; the newest row of each eye counts.

use time::{Date, OffsetDateTime};

use super::event::append_event;
use super::once::{Done, Once};
use super::read::{eye, word};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::impact::{ImpactProof, ImpactProofKind};
use crate::desk::job::EventKind;
use crate::desk::step::Step;
use crate::optics::{Eye, Pair};

struct ProofRow {
    eye: String,
    kind: String,
    says: String,
    tested_on: Option<Date>,
}

impl TryFrom<ProofRow> for (Eye, ImpactProof) {
    type Error = StoreError;
    fn try_from(row: ProofRow) -> Result<Self, StoreError> {
        let kind = word("proof of impact resistance", &row.kind, ImpactProofKind::from_key(&row.kind))?;
        let proof = match (kind, row.tested_on) {
            (ImpactProofKind::OwnTest, Some(tested_on)) => ImpactProof::OwnTest { tested_on, test: row.says },
            _ => ImpactProof::Certificate(row.says),
        };
        Ok((eye("eye", &row.eye)?, proof))
    }
}

impl Store {
    /// The newest record of each eye of a job, whichever lens it was of.
    pub async fn find_impact_proofs(&self, number: i64) -> Result<Pair<Option<ImpactProof>>, StoreError> {
        let rows = sqlx::query_as!(
            ProofRow,
            r#"select eye, kind, says, tested_on as "tested_on: Date" from impact_proof where job_number = ? order by seq"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        let mut proofs = Pair::new(None, None);
        for row in rows {
            let (eye, proof) = row.try_into()?;
            match eye {
                Eye::Right => proofs.right = Some(proof),
                Eye::Left => proofs.left = Some(proof),
            }
        }
        Ok(proofs)
    }

    /// Records what says that each lens resists impact.
    pub async fn insert_impact_proofs(
        &self,
        key: &str,
        number: i64,
        proofs: &[(Eye, ImpactProof)],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Impact)), now, async |tx| {
            for (eye, proof) in proofs {
                let (says, tested_on) = match proof {
                    ImpactProof::Certificate(reference) => (reference, None),
                    ImpactProof::OwnTest { tested_on, test } => (test, Some(tested_on)),
                };
                let (name, kind, at) = (eye.name(), proof.kind().key(), Stamp(now));
                sqlx::query!(
                    "insert into impact_proof (job_number, eye, kind, says, tested_on, at) values (?, ?, ?, ?, ?, ?)",
                    number,
                    name,
                    kind,
                    says,
                    tested_on,
                    at
                )
                .execute(&mut *tx)
                .await?;
                let event = match eye {
                    Eye::Right => EventKind::ImpactRight,
                    Eye::Left => EventKind::ImpactLeft,
                };
                append_event(tx, number, event, &proof.words(), now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}
