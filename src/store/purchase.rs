//! Orders for uncut lenses, and what became of their lines.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;
use time::{Date, OffsetDateTime};

use super::drawer::{DrawerMove, append_move, drawer_lens_id};
use super::event::{append_event, must_stand};
use super::once::{Done, Once};
use super::read::{eye, length, power, unreadable};
use super::stamp::Stamp;
use super::supplier::supplier_id;
use super::{Store, StoreError};
use crate::desk::date::day;
use crate::desk::id::{DrawerLensId, MaterialId, SupplierId, TreatmentId};
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::purchase::{
    ExpectationMoved, NewPurchase, OrderedFor, OrderedLens, Purchase, PurchaseLine, PurchaseMove, PurchaseMoveKind,
};
use crate::desk::step::Step;
use crate::desk::stock::{DrawerLensDetails, Supplier};
use crate::optics::Eye;
use crate::optics::unit::Diopter;

struct LineRow {
    seq: i64,
    purchase_number: i64,
    supplier: String,
    ordered_on: Date,
    expected_on: Date,
    job_number: Option<i64>,
    eye: Option<String>,
    drawer_lens: Option<DrawerLensId>,
    material: MaterialId,
    material_name: String,
    coating: Option<TreatmentId>,
    second_coating: Option<TreatmentId>,
    tint: Option<TreatmentId>,
    treatments: String,
    sphere_hundredths: i64,
    cylinder_hundredths: i64,
    diameter_hundredths: i64,
    base_hundredths: Option<i64>,
    remark: String,
    count: i64,
    price_cents: Option<i64>,
    to_come: i64,
    here: i64,
    source: Option<String>,
}

impl LineRow {
    fn ordered_for(&self) -> Result<OrderedFor, StoreError> {
        match (self.job_number, &self.eye, self.drawer_lens) {
            (Some(job), Some(key), None) => Ok(OrderedFor::Eye { job, eye: eye("eye", key)? }),
            (None, None, Some(lens)) => Ok(OrderedFor::Drawer(lens)),
            _ => Err(unreadable("line of an order")("it is for nothing")),
        }
    }
}

impl TryFrom<LineRow> for PurchaseLine {
    type Error = StoreError;
    fn try_from(row: LineRow) -> Result<Self, StoreError> {
        Ok(Self {
            seq: row.seq,
            purchase: row.purchase_number,
            lens: OrderedLens {
                ordered_for: row.ordered_for()?,
                material: row.material,
                coating: row.coating,
                second_coating: row.second_coating,
                tint: row.tint,
                treatments: row.treatments,
                sphere: power("sphere", row.sphere_hundredths)?,
                cylinder: power("cylinder", row.cylinder_hundredths)?,
                diameter: length("diameter", row.diameter_hundredths)?,
                base: row.base_hundredths.map(|d| power("base curve", d)).transpose()?,
                remark: row.remark,
                count: row.count,
                price: row.price_cents.map(Cents::new),
            },
            supplier: row.supplier,
            ordered_on: row.ordered_on,
            expected_on: row.expected_on,
            material_name: row.material_name,
            to_come: row.to_come,
            here: row.here,
            source: row.source.unwrap_or_default(),
        })
    }
}

/// The lines that the end of a query finds.
macro_rules! lines {
    ($store:ident, $from:literal $(, $bound:expr)*) => {
        sqlx::query_as!(
            LineRow,
            r#"select l.seq as "seq!", l.purchase_number as "purchase_number!", s.name as supplier,
                      p.ordered_on as "ordered_on: Date",
                      coalesce((select e.expected_on from purchase_expectation e where e.purchase_number = p.number
                                order by e.seq desc limit 1), p.expected_on) as "expected_on!: Date",
                      l.job_number, l.eye, l.drawer_lens_id as "drawer_lens?: DrawerLensId",
                      l.material_id as "material!: MaterialId",
                      (select name from material_version where material_id = l.material_id order by number desc limit 1)
                          as "material_name!: String",
                      l.coating_id as "coating?: TreatmentId", l.second_coating_id as "second_coating?: TreatmentId",
                      l.tint_id as "tint?: TreatmentId",
                      l.treatments as "treatments!", l.sphere_hundredths as "sphere_hundredths!",
                      l.cylinder_hundredths as "cylinder_hundredths!", l.diameter_hundredths as "diameter_hundredths!",
                      l.base_hundredths, l.remark as "remark!", l.count as "count!", l.price_cents,
                      l.to_come as "to_come!", l.here as "here!",
                      (select source from purchase_move where line_seq = l.seq and source <> '' order by seq desc limit 1)
                          as "source?: String"
               "# + $from
            $(, $bound)*
        )
        .fetch_all(&$store.read)
        .await?
        .into_iter()
        .map(PurchaseLine::try_from)
        .collect::<Result<Vec<PurchaseLine>, StoreError>>()
    };
}

impl Store {
    /// The lines of which something is still to come or to be put away, in the order of their orders.
    pub async fn list_open_purchase_lines(&self) -> Result<Vec<PurchaseLine>, StoreError> {
        lines!(
            self,
            "from purchase_line l indexed by purchase_line_open
             join purchase p on p.number = l.purchase_number join supplier s on s.id = p.supplier_id
             where l.to_come + l.here > 0 order by l.seq"
        )
    }

    /// The lines ordered for a job, oldest first.
    pub async fn list_purchase_lines_of(&self, job: i64) -> Result<Vec<PurchaseLine>, StoreError> {
        lines!(
            self,
            "from purchase_line l join purchase p on p.number = l.purchase_number
             join supplier s on s.id = p.supplier_id where l.job_number = ? order by l.seq",
            job
        )
    }

    /// One order with its lines.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for a number that was never given.
    pub async fn get_purchase(&self, number: i64) -> Result<Purchase, StoreError> {
        let head = sqlx::query!(
            r#"select p.number as "number!", p.supplier_id as "supplier: SupplierId", s.name,
                      p.ordered_on as "ordered_on: Date", p.expected_on as "expected_on: Date", p.note,
                      (select count(*) from purchase_line l join purchase_move m on m.line_seq = l.seq
                       where l.purchase_number = p.number) as "moves!: i64"
               from purchase p join supplier s on s.id = p.supplier_id where p.number = ?"#,
            number
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that order"))?;
        let lines = lines!(
            self,
            "from purchase_line l join purchase p on p.number = l.purchase_number
             join supplier s on s.id = p.supplier_id where l.purchase_number = ? order by l.seq",
            number
        )?;
        let moved = self.list_expectations(number, head.expected_on).await?;
        Ok(Purchase {
            number: head.number,
            supplier: Supplier { id: head.supplier, name: head.name },
            ordered_on: head.ordered_on,
            expected_on: moved.last().map_or(head.expected_on, |moved| moved.expected_on),
            moved,
            note: head.note,
            lines,
            moves: head.moves,
        })
    }

    /// How the expected day of an order moved from its first one, oldest first.
    async fn list_expectations(&self, number: i64, first: Date) -> Result<Vec<ExpectationMoved>, StoreError> {
        let rows = sqlx::query!(
            r#"select expected_on as "expected_on: Date", reason, at as "at: Stamp" from purchase_expectation
               where purchase_number = ? order by seq"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        let mut was = first;
        Ok(rows
            .into_iter()
            .map(|row| ExpectationMoved {
                was: std::mem::replace(&mut was, row.expected_on),
                expected_on: row.expected_on,
                reason: row.reason,
                at: row.at.0,
            })
            .collect())
    }

    /// Keeps another day that the supplier named. The history of each job that waits for a lens of it names both days.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when nothing of the order is still to come.
    pub async fn move_expectation(
        &self,
        key: &str,
        number: i64,
        expected_on: Date,
        reason: &str,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let purchase = self.get_purchase(number).await?;
        let to_come: Vec<&PurchaseLine> = purchase.lines.iter().filter(|line| line.to_come > 0).collect();
        self.once(key, None, now, async |tx| {
            if to_come.is_empty() {
                return Err(StoreError::NotFound("a lens of this order that is still to come"));
            }
            let at = Stamp(now);
            sqlx::query!(
                "insert into purchase_expectation (purchase_number, expected_on, reason, at) values (?, ?, ?, ?)",
                number,
                expected_on,
                reason,
                at
            )
            .execute(&mut *tx)
            .await?;
            for line in to_come {
                let OrderedFor::Eye { job, eye } = line.lens.ordered_for else { continue };
                let why = if reason.is_empty() { String::new() } else { format!(": {reason}") };
                let (was, is) = (day(&purchase.expected_on), day(&expected_on));
                let says = format!("The {} lens of order {number} is expected {is}, not {was}{why}", eye.name());
                append_event(tx, job, EventKind::Note, &says, now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }

    /// The newest orders: number, supplier, day, and whether anything of it is open.
    pub async fn list_newest_purchases(&self, most: i64) -> Result<Vec<(i64, String, Date)>, StoreError> {
        let rows = sqlx::query!(
            r#"select p.number as "number!", s.name, p.ordered_on as "ordered_on: Date"
               from purchase p join supplier s on s.id = p.supplier_id
               where p.number > (select max(number) from purchase) - ? order by p.number desc"#,
            most
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(|row| (row.number, row.name, row.ordered_on)).collect())
    }

    /// From whom each material was last ordered.
    pub async fn list_last_suppliers(&self) -> Result<BTreeMap<MaterialId, String>, StoreError> {
        let rows = sqlx::query!(
            r#"select m.id as "material: MaterialId",
                      (select s.name from purchase_line l join purchase p on p.number = l.purchase_number
                       join supplier s on s.id = p.supplier_id
                       where l.material_id = m.id order by l.seq desc limit 1) as "name?: String"
               from material m"#
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().filter_map(|row| row.name.map(|name| (row.material, name))).collect())
    }

    /// The newest order's number, for the keys of the forms that order.
    pub async fn count_purchases(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select coalesce(max(number), 0) as "n!: i64" from purchase"#)
            .fetch_one(&self.read)
            .await?)
    }

    /// Gives an order. An eye that has a lens on its way already is refused by the book.
    ///
    /// # Errors
    ///
    /// [`StoreError::Twice`] for such an eye, [`StoreError::MovedOn`] for a job that takes no lenses now.
    pub async fn insert_purchase(
        &self,
        key: &str,
        purchase: &NewPurchase,
        now: OffsetDateTime,
    ) -> Result<Once<i64>, StoreError> {
        self.once(key, None, now, async |tx| {
            let supplier = supplier_id(tx, &purchase.supplier, now)
                .await?
                .ok_or(StoreError::OutOfRange("supplier_name".into()))?;
            let at = Stamp(now);
            let number = sqlx::query!(
                "insert into purchase (supplier_id, ordered_on, expected_on, note, at) values (?, ?, ?, ?, ?)",
                supplier,
                purchase.ordered_on,
                purchase.expected_on,
                purchase.note,
                at
            )
            .execute(&mut *tx)
            .await?
            .last_insert_rowid();
            for lens in &purchase.lines {
                insert_line(tx, number, lens).await?;
                note_order(tx, number, purchase, lens, now).await?;
            }
            Ok(Done::new(number, number))
        })
        .await
    }

    /// Records what happened to lines of an order. A lens ordered for the drawer is counted into it when it comes; one
    /// ordered for a job waits until it is taken in hand, and may go into the drawer instead.
    ///
    /// # Errors
    ///
    /// [`StoreError::OutOfRange`] when more come than were ordered, or more leave than are here.
    pub async fn move_purchase_lines(
        &self,
        key: &str,
        number: i64,
        moves: &[PurchaseMove],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let lines = self.get_purchase(number).await?.lines;
        self.once(key, None, now, async |tx| {
            for of in moves {
                let line = lines.iter().find(|line| line.seq == of.line).ok_or(StoreError::NotFound("that line"))?;
                append_line_move(tx, of, now).await?;
                match (of.kind, line.lens.ordered_for) {
                    (PurchaseMoveKind::Arrived, OrderedFor::Drawer(id)) => {
                        append_line_move(tx, &PurchaseMove { kind: PurchaseMoveKind::Stocked, ..of.clone() }, now)
                            .await?;
                        stock_line(tx, line, id, of, now).await?;
                    }
                    (PurchaseMoveKind::Stocked, _) => {
                        let id = drawer_lens_id(tx, &details_of(&line.lens), now).await?;
                        stock_line(tx, line, id, of, now).await?;
                    }
                    (kind, OrderedFor::Eye { job, eye }) => note_move(tx, line, (job, eye), kind, now).await?,
                    _ => {}
                }
            }
            Ok(Done::new((), number))
        })
        .await
    }
}

/// The uncut lens as it was ordered: its center and front are not known.
fn details_of(lens: &OrderedLens) -> DrawerLensDetails {
    DrawerLensDetails {
        material: lens.material,
        coating: lens.coating,
        second_coating: lens.second_coating,
        tint: lens.tint,
        sphere: lens.sphere,
        cylinder: lens.cylinder,
        diameter: lens.diameter,
        center: None,
        front_power: None,
        base: lens.base,
    }
}

async fn stock_line(
    tx: &mut SqliteConnection,
    line: &PurchaseLine,
    lens: DrawerLensId,
    of: &PurchaseMove,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let supplier = supplier_id(tx, &line.supplier, now).await?;
    sqlx::query!("update drawer_lens set supplier_id = coalesce(?, supplier_id) where id = ?", supplier, lens)
        .execute(&mut *tx)
        .await?;
    let source = if of.source.is_empty() { line.source.clone() } else { of.source.clone() };
    append_move(tx, &DrawerMove { lens, kind: "stocked", change: of.count, job: None, source }, now).await
}

async fn insert_line(tx: &mut SqliteConnection, number: i64, lens: &OrderedLens) -> Result<(), StoreError> {
    let (job, eye, drawer_lens) = match lens.ordered_for {
        OrderedFor::Eye { job, eye } => {
            must_stand(tx, job, Step::Lenses).await?;
            (Some(job), Some(eye.name()), None)
        }
        OrderedFor::Drawer(id) => (None, None, Some(id)),
    };
    let [sphere, cylinder] = [lens.sphere, lens.cylinder].map(Diopter::hundredths);
    let (diameter, base) = (lens.diameter.hundredths(), lens.base.map(Diopter::hundredths));
    let price = lens.price.map(Cents::cents);
    sqlx::query!(
        "insert into purchase_line (purchase_number, job_number, eye, drawer_lens_id, material_id, coating_id,
                                    second_coating_id, tint_id, treatments, sphere_hundredths, cylinder_hundredths,
                                    diameter_hundredths, base_hundredths, remark, count, price_cents, to_come)
         values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?15)",
        number,
        job,
        eye,
        drawer_lens,
        lens.material,
        lens.coating,
        lens.second_coating,
        lens.tint,
        lens.treatments,
        sphere,
        cylinder,
        diameter,
        base,
        lens.remark,
        lens.count,
        price
    )
    .execute(tx)
    .await?;
    Ok(())
}

async fn note_order(
    tx: &mut SqliteConnection,
    number: i64,
    purchase: &NewPurchase,
    lens: &OrderedLens,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let OrderedFor::Eye { job, eye } = lens.ordered_for else { return Ok(()) };
    let says = format!(
        "The {} lens was ordered from {}, expected {} (order {number})",
        eye.name(),
        purchase.supplier,
        day(&purchase.expected_on)
    );
    append_event(tx, job, EventKind::Note, &says, now).await?;
    Ok(())
}

async fn note_move(
    tx: &mut SqliteConnection,
    line: &PurchaseLine,
    (job, eye): (i64, Eye),
    kind: PurchaseMoveKind,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let became = match kind {
        PurchaseMoveKind::Arrived => "came",
        PurchaseMoveKind::Cancelled => "will not come",
        PurchaseMoveKind::SentBack => "was sent back",
        PurchaseMoveKind::Stocked | PurchaseMoveKind::Taken => return Ok(()),
    };
    let says = format!("The {} lens of order {} {became}", eye.name(), line.purchase);
    append_event(tx, job, EventKind::Note, &says, now).await?;
    Ok(())
}

async fn append_line_move(tx: &mut SqliteConnection, of: &PurchaseMove, now: OffsetDateTime) -> Result<(), StoreError> {
    let (kind, at) = (of.kind.key(), Stamp(now));
    sqlx::query!(
        "insert into purchase_move (line_seq, kind, count, source, at) values (?, ?, ?, ?, ?)",
        of.line,
        kind,
        of.count,
        of.source,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Ticks off the lens that was ordered for an eye when a bought one is taken in hand: it need not have been ticked off as
/// received before.
pub(super) async fn take_ordered_lens(
    tx: &mut SqliteConnection,
    job: i64,
    eye: Eye,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let key = eye.name();
    let open = sqlx::query!(
        r#"select seq as "seq!", to_come from purchase_line
           where job_number = ? and eye = ? and to_come + here > 0 and job_number is not null"#,
        job,
        key
    )
    .fetch_optional(&mut *tx)
    .await?;
    let Some(line) = open else { return Ok(()) };
    let of = |kind| PurchaseMove { line: line.seq, kind, count: 1, source: String::new() };
    if line.to_come > 0 {
        append_line_move(tx, &of(PurchaseMoveKind::Arrived), now).await?;
    }
    append_line_move(tx, &of(PurchaseMoveKind::Taken), now).await
}
