//! One job with all that its pages show. Lists of jobs are in [`super::job_list`].

use std::sync::Arc;

use time::format_description::well_known::Rfc3339;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

use super::catalogue::MaterialRow;
use super::frame::FrameRow;
use super::read::{axis, length, power, prism, tilt, unreadable, word};
use super::{Store, StoreError};
use crate::desk::catalogue::{Treatment, TreatmentDetails, TreatmentKind};
use crate::desk::customer::{Customer, Person};
use crate::desk::fitting::{FramePosition, PositionOfWear, PowerDecision};
use crate::desk::frame_shape::FrameShape;
use crate::desk::job::{Event, EventKind, Job};
use crate::desk::money::Cents;
use crate::desk::order::Design;
use crate::desk::prescription::{MadeFor, Prescription};
use crate::optics::prescription::{EyePrescription, LensPower, Prism, PupilDistance};
use crate::optics::{Eye, Pair};
use crate::shape::trace::Trace;

impl Store {
    /// One job with everything its pages show.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for a number that was never given.
    pub async fn get_job(&self, number: i64) -> Result<Arc<Job>, StoreError> {
        let version = self.recent.version().await?;
        if let Some(job) = self.recent.find(version, number) {
            return Ok(job);
        }
        let job = Arc::new(self.read_job(number).await?);
        self.recent.keep(version, &job);
        Ok(job)
    }

    /// The job in one read.
    async fn read_job(&self, number: i64) -> Result<Job, StoreError> {
        let row = sqlx::query!(
            r#"select
                job.number as "number!: i64", job.relens_of, job.made_for, job.design, job.note,
                job.height_right_hundredths, job.height_left_hundredths,
                job.ordered_on as "ordered_on: Date", job.promised_on as "promised_on: Date",
                c.id as "customer_id: Uuid", c.name, c.line1, c.line2, c.city, c.region, c.postcode, c.phone, c.email,
                c.note as customer_note,
                f.id as "frame_id: Uuid", f.maker, f.model, f.colour, f.eye_size_hundredths, f.bridge_hundredths,
                f.temple_hundredths, f.rim, f.price_cents as frame_cents,
                p.right_sphere_hundredths, p.right_cylinder_hundredths, p.right_axis_deg,
                p.right_prism_in_hundredths, p.right_prism_up_hundredths, p.right_text,
                p.left_sphere_hundredths, p.left_cylinder_hundredths, p.left_axis_deg,
                p.left_prism_in_hundredths, p.left_prism_up_hundredths, p.left_text,
                p.prescriber, p.written_on as "written_on: Date", p.expires_on as "expires_on: Date", p.diagnosis,
                p.pd_right_hundredths, p.pd_left_hundredths, p.pd_given, p.near_given,
                p.near_right_hundredths, p.near_left_hundredths,
                m.id as "material_id: Uuid", m.line as "material_line: Uuid", m.name as material_name, m.index_thousandths,
                m.abbe_tenths, m.density_hundredths, m.centre_hundredths, m.cutting, m.code as material_code,
                m.price_cents as material_cents,
                co.id as "coating_id?: Uuid", co.line as "coating_line?: Uuid", co.name as "coating_name?",
                co.code as "coating_code?", co.price_cents as "coating_cents?",
                ti.id as "tint_id?: Uuid", ti.line as "tint_line?: Uuid", ti.name as "tint_name?",
                ti.code as "tint_code?", ti.price_cents as "tint_cents?",
                s.id as "shape_id?: Uuid", s.job_number as "shape_job?", s.right_trace as "right_trace?",
                s.left_trace as "left_trace?", s.derived, s.dbl_hundredths as "dbl_hundredths?",
                s.original_name as "original_name?",
                sh.sent_on as "sent_on?: Date",
                fw.vertex_hundredths as "wear_vertex?", fw.panto_hundredths as "wear_panto?", fw.wrap_hundredths as "wear_wrap?",
                wo.decision as "decision?", wo.vertex_from_hundredths as "worn_from?", wo.vertex_to_hundredths as "worn_to?",
                wo.panto_hundredths as "worn_panto?", wo.wrap_hundredths as "worn_wrap?",
                wo.right_sphere_hundredths as "worn_right_sphere?", wo.right_cylinder_hundredths as "worn_right_cylinder?",
                wo.right_axis_deg as "worn_right_axis?",
                wo.left_sphere_hundredths as "worn_left_sphere?", wo.left_cylinder_hundredths as "worn_left_cylinder?",
                wo.left_axis_deg as "worn_left_axis?", wo.at as "worn_at?: OffsetDateTime",
                (select coalesce(sum(amount_cents), 0) from charge where job_number = job.number) as "charged!: i64",
                (select coalesce(sum(amount_cents), 0) from payment where job_number = job.number) as "paid!: i64",
                (select max(number) from receipt where job_number = job.number) as "receipt?: i64",
                (select json_group_array(json_array(kind, note, at) order by seq) from job_event where job_number = job.number)
                    as "history!: String"
               from job
               join customer c on c.id = job.customer_id
               join frame f on f.id = job.frame_id
               join prescription p on p.id = job.prescription_id
               join material m on m.id = job.material_id
               left join treatment co on co.id = job.coating_id
               left join treatment ti on ti.id = job.tint_id
               left join shape s on s.id = (select shape_id from job_shape where job_number = job.number order by seq desc limit 1)
               left join shipment sh on sh.job_number = job.number
               left join frame_wear fw on fw.seq = (select max(seq) from frame_wear where frame_id = job.frame_id)
               left join worn_order wo on wo.seq = (select max(seq) from worn_order where job_number = job.number)
               where job.number = ?"#,
            number
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that job number"))?;

        let eye = |sphere, cylinder, axis_deg, base_in, base_up| -> Result<EyePrescription, StoreError> {
            Ok(EyePrescription {
                power: LensPower::new(power("sphere", sphere)?, power("cylinder", cylinder)?, axis("axis", axis_deg)?)
                    .map_err(unreadable("prescription"))?,
                prism: Prism::new(prism("prism", base_in)?, prism("prism", base_up)?).map_err(unreadable("prism"))?,
            })
        };
        let eyes = Pair::new(
            eye(
                row.right_sphere_hundredths,
                row.right_cylinder_hundredths,
                row.right_axis_deg,
                row.right_prism_in_hundredths,
                row.right_prism_up_hundredths,
            )?,
            eye(
                row.left_sphere_hundredths,
                row.left_cylinder_hundredths,
                row.left_axis_deg,
                row.left_prism_in_hundredths,
                row.left_prism_up_hundredths,
            )?,
        );
        let distance = |right, left, given: &str| -> Result<PupilDistance, StoreError> {
            let read = if given == "one" {
                PupilDistance::both(length("pupil distance", right + left)?)
            } else {
                PupilDistance::each(Pair::new(length("pupil distance", right)?, length("pupil distance", left)?))
            };
            read.map_err(unreadable("pupil distance"))
        };
        let near = match (row.near_right_hundredths, row.near_left_hundredths, row.near_given) {
            (Some(right), Some(left), Some(given)) => Some(distance(right, left, &given)?),
            _ => None,
        };
        let treatment = |kind, id, line, name, code, cents| match (id, line, name, code, cents) {
            (Some(id), Some(line), Some(name), Some(code), Some(cents)) => {
                Some(Treatment { id, line, details: TreatmentDetails { kind, name, code, price: Cents::new(cents) } })
            }
            _ => None,
        };
        let shape = match (row.shape_id, row.shape_job, row.right_trace, row.left_trace, row.dbl_hundredths) {
            (Some(id), Some(job_number), Some(right), Some(left), Some(dbl)) => Some(FrameShape {
                id,
                job_number,
                traces: Pair::new(
                    Trace::from_bytes(&right).map_err(unreadable("right trace"))?,
                    Trace::from_bytes(&left).map_err(unreadable("left trace"))?,
                ),
                derived: row.derived.as_deref().map(|key| word("derived eye", key, eye_from(key))).transpose()?,
                dbl: length("DBL", dbl)?,
                original_name: row.original_name.unwrap_or_default(),
            }),
            _ => None,
        };
        let wear = |vertex, panto, wrap| -> Result<FramePosition, StoreError> {
            Ok(FramePosition {
                vertex: length("vertex distance", vertex)?,
                panto: tilt("panto", panto)?,
                wrap: tilt("wrap", wrap)?,
            })
        };
        let frame_position = match (row.wear_vertex, row.wear_panto, row.wear_wrap) {
            (Some(vertex), Some(panto), Some(wrap)) => Some(wear(vertex, panto, wrap)?),
            _ => None,
        };
        let ordered = |sphere: Option<i64>, cylinder: Option<i64>, axis_deg| -> Result<LensPower, StoreError> {
            let (sphere, cylinder) = (sphere.unwrap_or_default(), cylinder.unwrap_or_default());
            LensPower::new(power("sphere", sphere)?, power("cylinder", cylinder)?, axis("axis", axis_deg)?)
                .map_err(unreadable("ordered power"))
        };
        let power_decision =
            match (row.decision, row.worn_from, row.worn_to, row.worn_panto, row.worn_wrap, row.worn_at) {
                (Some(decision), Some(from), Some(to), Some(panto), Some(wrap), Some(at)) => Some(PowerDecision {
                    is_compensated: decision == "compensated",
                    position: PositionOfWear {
                        vertex_from: length("vertex distance", from)?,
                        frame: wear(to, panto, wrap)?,
                    },
                    power: Pair::new(
                        ordered(row.worn_right_sphere, row.worn_right_cylinder, row.worn_right_axis)?,
                        ordered(row.worn_left_sphere, row.worn_left_cylinder, row.worn_left_axis)?,
                    ),
                    at,
                }),
                _ => None,
            };
        Ok(Job {
            number: row.number,
            customer: Customer {
                id: row.customer_id,
                person: Person {
                    name: row.name,
                    line1: row.line1,
                    line2: row.line2,
                    city: row.city,
                    region: row.region,
                    postcode: row.postcode,
                    phone: row.phone,
                    email: row.email,
                    note: row.customer_note,
                },
            },
            frame: FrameRow {
                id: row.frame_id,
                maker: row.maker,
                model: row.model,
                colour: row.colour,
                eye_size_hundredths: row.eye_size_hundredths,
                bridge_hundredths: row.bridge_hundredths,
                temple_hundredths: row.temple_hundredths,
                rim: row.rim,
                price_cents: row.frame_cents,
            }
            .try_into()?,
            prescription: Prescription {
                eyes,
                typed: Pair::new(row.right_text, row.left_text),
                prescriber: row.prescriber,
                written_on: row.written_on,
                expires_on: row.expires_on,
                diagnosis: row.diagnosis,
                pupil_distance: distance(row.pd_right_hundredths, row.pd_left_hundredths, &row.pd_given)?,
                near_pupil_distance: near,
            },
            made_for: word("use", &row.made_for, MadeFor::from_key(&row.made_for))?,
            material: MaterialRow {
                id: row.material_id,
                line: row.material_line,
                name: row.material_name,
                index_thousandths: row.index_thousandths,
                abbe_tenths: row.abbe_tenths,
                density_hundredths: row.density_hundredths,
                centre_hundredths: row.centre_hundredths,
                cutting: row.cutting,
                code: row.material_code,
                price_cents: row.material_cents,
            }
            .try_into()?,
            design: word("design", &row.design, Design::from_key(&row.design))?,
            coating: treatment(
                TreatmentKind::Coating,
                row.coating_id,
                row.coating_line,
                row.coating_name,
                row.coating_code,
                row.coating_cents,
            ),
            tint: treatment(
                TreatmentKind::Tint,
                row.tint_id,
                row.tint_line,
                row.tint_name,
                row.tint_code,
                row.tint_cents,
            ),
            height: Pair::new(
                length("height", row.height_right_hundredths)?,
                length("height", row.height_left_hundredths)?,
            ),
            ordered_on: row.ordered_on,
            promised_on: row.promised_on,
            note: row.note,
            relens_of: row.relens_of,
            shape,
            charged: Cents::new(row.charged),
            paid: Cents::new(row.paid),
            sent_on: row.sent_on,
            receipt: row.receipt,
            frame_position,
            power_decision,
            history: history(&row.history)?,
        })
    }
}

/// Reads the history that [`Store::get_job`] gathers as a JSON list of kind, note and moment.
fn history(json: &str) -> Result<Vec<Event>, StoreError> {
    let rows: Vec<(String, String, String)> = serde_json::from_str(json).map_err(unreadable("history"))?;
    rows.into_iter()
        .map(|(kind, note, at)| {
            Ok(Event {
                kind: word("event", &kind, EventKind::from_key(&kind))?,
                note,
                at: OffsetDateTime::parse(&at, &Rfc3339).map_err(unreadable("history"))?,
            })
        })
        .collect()
}

pub(super) fn eye_from(key: &str) -> Option<Eye> {
    Eye::BOTH.into_iter().find(|eye| eye.name() == key)
}
