//! The lab's own row.

use time::OffsetDateTime;

use super::catalogue::{append_material, append_treatment};
use super::once::{Done, Once};
use super::read::{length, unreadable, word};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::calendar::ClosedDays;
use crate::desk::catalogue::{starting_materials, starting_treatments};
use crate::desk::lab::{CodeBasis, Lab, read_diameters};
use crate::desk::money::Cents;
use crate::optics::tolerance::Profile;

fn diameter_list(lab: &Lab) -> String {
    lab.stock_diameters.iter().map(|mm| mm.to_string()).collect::<Vec<_>>().join(" ")
}

impl Store {
    /// The lab, once the first run has named it.
    pub async fn find_lab(&self) -> Result<Option<Lab>, StoreError> {
        let Some(row) = sqlx::query!("select * from lab where id = 1").fetch_optional(&self.read).await? else {
            return Ok(None);
        };
        Ok(Some(Lab {
            blocker_step: length("blocker step", row.blocker_step_hundredths)?,
            blank_margin: length("blank margin", row.blank_margin_hundredths)?,
            tolerance: word("tolerance profile", &row.tolerance_profile, Profile::from_key(&row.tolerance_profile))?,
            center_across: row.centre_across_hundredths.map(|mm| length("center limit", mm)).transpose()?,
            center_height: row.centre_height_hundredths.map(|mm| length("center limit", mm)).transpose()?,
            tight_corner: length("tight corner", row.tight_corner_hundredths)?,
            wheel_radius: length("wheel radius", row.wheel_radius_hundredths)?,
            stock_diameters: read_diameters(&row.stock_diameters).map_err(unreadable("stock diameters"))?,
            code_basis: word("code basis", &row.code_basis, CodeBasis::from_key(&row.code_basis))?,
            lead_days: row.lead_days,
            closed: ClosedDays {
                weekdays: ClosedDays::read_weekdays(row.closed_weekdays.split_whitespace())
                    .map_err(unreadable("closed weekdays"))?,
                periods: ClosedDays::read_periods(&row.closed_periods).map_err(unreadable("closed days"))?,
            },
            shipping: Cents::new(row.shipping_cents),
            name: row.name,
            address: row.address,
            phone: row.phone,
            email: row.email,
            tax_id: row.tax_id,
        }))
    }

    /// Names the lab and adds the starting catalog. A second first run (a double click) changes nothing.
    pub async fn insert_lab(&self, lab: &Lab, now: OffsetDateTime) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let (step, margin) = (lab.blocker_step.hundredths(), lab.blank_margin.hundredths());
        let (tolerance, basis, shipping) = (lab.tolerance.key(), lab.code_basis.key(), lab.shipping.cents());
        let (across, height) =
            (lab.center_across.map(|mm| mm.hundredths()), lab.center_height.map(|mm| mm.hundredths()));
        let (corner, wheel) = (lab.tight_corner.hundredths(), lab.wheel_radius.hundredths());
        let diameters = diameter_list(lab);
        let (weekdays, periods) = (lab.closed.weekday_keys().join(" "), lab.closed.typed_periods());
        let changed_at = Stamp(now);
        let added = sqlx::query!(
            "insert into lab (id, name, address, phone, email, tax_id, blocker_step_hundredths, blank_margin_hundredths,
                              tolerance_profile, code_basis, lead_days, shipping_cents, centre_across_hundredths,
                              centre_height_hundredths, stock_diameters, closed_weekdays, closed_periods,
                              tight_corner_hundredths, wheel_radius_hundredths, changed_at)
             values (1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) on conflict (id) do nothing",
            lab.name,
            lab.address,
            lab.phone,
            lab.email,
            lab.tax_id,
            step,
            margin,
            tolerance,
            basis,
            lab.lead_days,
            shipping,
            across,
            height,
            diameters,
            weekdays,
            periods,
            corner,
            wheel,
            changed_at
        )
        .execute(&mut *tx)
        .await?
        .rows_affected();
        if added == 1 {
            for material in starting_materials() {
                append_material(&mut tx, None, &material, now).await?;
            }
            for treatment in starting_treatments() {
                append_treatment(&mut tx, None, &treatment, now).await?;
            }
        }
        tx.commit().await?;
        Ok(())
    }

    /// Corrects the lab's row; what it said before is kept by a trigger.
    pub async fn change_lab(&self, key: &str, lab: &Lab, now: OffsetDateTime) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            let (step, margin) = (lab.blocker_step.hundredths(), lab.blank_margin.hundredths());
            let (tolerance, basis, shipping) = (lab.tolerance.key(), lab.code_basis.key(), lab.shipping.cents());
            let (across, height) =
                (lab.center_across.map(|mm| mm.hundredths()), lab.center_height.map(|mm| mm.hundredths()));
            let (corner, wheel) = (lab.tight_corner.hundredths(), lab.wheel_radius.hundredths());
            let diameters = diameter_list(lab);
            let (weekdays, periods) = (lab.closed.weekday_keys().join(" "), lab.closed.typed_periods());
            let changed_at = Stamp(now);
            sqlx::query!(
                "update lab set name = ?, address = ?, phone = ?, email = ?, tax_id = ?, blocker_step_hundredths = ?,
                    blank_margin_hundredths = ?, tolerance_profile = ?, code_basis = ?, lead_days = ?, shipping_cents = ?,
                    centre_across_hundredths = ?, centre_height_hundredths = ?, stock_diameters = ?, closed_weekdays = ?,
                    closed_periods = ?, tight_corner_hundredths = ?, wheel_radius_hundredths = ?, changed_at = ? where id = 1",
                lab.name,
                lab.address,
                lab.phone,
                lab.email,
                lab.tax_id,
                step,
                margin,
                tolerance,
                basis,
                lab.lead_days,
                shipping,
                across,
                height,
                diameters,
                weekdays,
                periods,
                corner,
                wheel,
                changed_at
            )
            .execute(&mut *tx)
            .await?;
            Ok(Done::new((), "lab"))
        })
        .await
    }

    /// How often the lab's row was corrected: the running number of its form.
    pub async fn count_lab_changes(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from lab_past"#).fetch_one(&self.read).await?)
    }
}
