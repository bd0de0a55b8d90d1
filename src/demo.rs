//! The demonstration book: the invented lab Saltmarsh Lens Post with three years of work. It is put into an empty book
//! through the same types and store functions as the pages use. Dates are counted back from today.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Display;

use thiserror::Error;
use time::{Date, Duration, OffsetDateTime};

use crate::bench::layout::{JobLayout, step_of};
use crate::bench::real_size::{PrismMade, Supply};
use crate::bench::verification::{Judgment, Measurement, Notation, judge};
use crate::desk::bill::{Billed, LensExtras, base_price, bill};
use crate::desk::catalogue::{Material, Treatment, TreatmentDetails, TreatmentKind};
use crate::desk::center_height::CenterHeight;
use crate::desk::customer::Person;
use crate::desk::eye_order::{EyesOrdered, read_eye_order};
use crate::desk::fault::ConcessionCause;
use crate::desk::frame::{FrameDetails, Rim};
use crate::desk::frame_shape::{FrameShape, NewShape};
use crate::desk::id::CustomerId;
use crate::desk::impact::ImpactProof;
use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::desk::money::Cents;
use crate::desk::npi::Npi;
use crate::desk::order::{CustomerChoice, Design, FrameChoice, NewOrder, People};
use crate::desk::packing::{ITEMS, Parcel, check_ticks};
use crate::desk::payment::{Payment, PaymentKind};
use crate::desk::prescription::{MadeFor, Prescription};
use crate::desk::receipt::{Document, ReceiptFacts};
use crate::desk::stock::{DrawerLensDetails, LensInHand};
use crate::optics::prescription::{LensPower, PupilDistance, read_measured, read_pupil_distance};
use crate::optics::unit::{Axis, Diopter, Millimeter};
use crate::optics::{Eye, Pair};
use crate::store::cut::NewCut;
use crate::store::layout::NewLayout;
use crate::store::once::Once;
use crate::store::shipment::Shipment;
use crate::store::verification::NewCheck;
use crate::store::{OpenError, Store, StoreError};

mod buying;
mod data;
pub mod fresh_file;
mod invent;
pub mod lifetime;
mod mishap;
mod shapes;
mod story;
mod timeline;
mod variant;

use data::{Book, DemoCustomer, DemoDrawerLens, DemoFrame, DemoJob, MeasuredRow, OffRow, PaidRow};
use story::StoryStep;

/// Why the demonstration was not loaded. Each is one line for the terminal.
#[derive(Debug, Error)]
pub enum DemoError {
    /// The book already has a lab.
    #[error(
        "this book already has a lab, {0}: the demonstration fills only an empty one, so choose another folder with --data DIR"
    )]
    NotEmpty(String),
    /// A row of the built-in data that a domain type refuses.
    #[error("the demonstration data are wrong at {row}: {why}")]
    Data {
        /// The file and row.
        row: String,
        /// The domain type's error.
        why: String,
    },
    /// An error of the book.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The file of the book.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The folder of the book.
    #[error("the demonstration cannot be written: {0}")]
    File(#[from] std::io::Error),
}

/// How many rows were put into the book.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DemoSummary {
    pub customers: usize,
    pub frames: usize,
    /// Traced shapes stored; several jobs may share one.
    pub shapes: usize,
    pub jobs: usize,
    /// Kinds of lens in the drawer.
    pub drawer: usize,
    pub receipts: usize,
}

impl DemoSummary {
    /// Adds what another loader put into the same book after one that brought these frames, and no drawer of its own.
    fn add_jobs(&mut self, other: &Loader<'_>, frames: &BTreeSet<String>) {
        self.frames += other.frames().difference(frames).count();
        let other = other.summary();
        self.customers += other.customers;
        self.shapes += other.shapes;
        self.jobs += other.jobs;
        self.receipts += other.receipts;
    }
}

impl std::fmt::Display for DemoSummary {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "Loaded the demonstration: {} customers, {} frames, {} shapes, {} jobs, {} receipts, {} kinds of lens",
            self.customers, self.frames, self.shapes, self.jobs, self.receipts, self.drawer
        )
    }
}

/// Fills an empty book.
///
/// # Errors
///
/// [`DemoError::NotEmpty`] when the book already has a lab. Nothing is changed then.
pub async fn load(store: &Store, today: Date, now: OffsetDateTime) -> Result<DemoSummary, DemoError> {
    if let Some(lab) = store.find_lab().await? {
        return Err(DemoError::NotEmpty(lab.name));
    }
    let book = Book::read().map_err(|why| wrong("a file", why))?;
    let mut loader = Loader::open(store, &book, today, now).await?;
    loader.tell(now).await?;
    buying::order_lenses(store, &loader.lab, today, now).await?;
    loader.let_go_wrong(now).await?;
    let summary = loader.summary();
    Ok(DemoSummary { jobs: summary.jobs + mishap::MORE_JOBS, ..summary })
}

fn wrong(row: impl Display, why: impl Display) -> DemoError {
    DemoError::Data { row: row.to_string(), why: why.to_string() }
}

fn length(row: &str, mm: f64) -> Result<Millimeter, DemoError> {
    Millimeter::round_from(mm).map_err(|why| wrong(row, why))
}

/// Loads the demonstration step by step.
struct Loader<'a> {
    store: &'a Store,
    book: &'a Book,
    today: Date,
    /// The moment before the first order.
    opening: OffsetDateTime,
    lab: Lab,
    customers: BTreeMap<&'a str, CustomerId>,
    materials: Vec<Material>,
    treatments: Vec<Treatment>,
    /// The job number of each row of the jobs.
    numbers: BTreeMap<usize, i64>,
    shapes: usize,
    receipts: usize,
    /// Whether every other job takes its lenses from the drawer, where they are put just before.
    uses_drawer: bool,
    /// Keeps the form keys of two loaders of one book apart.
    name: &'static str,
}

impl<'a> Loader<'a> {
    /// Inserts everything that comes before the first order: lab, catalogue, drawer, customers.
    async fn open(store: &'a Store, book: &'a Book, today: Date, now: OffsetDateTime) -> Result<Self, DemoError> {
        let oldest = book.jobs.iter().map(|job| job.ordered_days_ago).max().unwrap_or(0);
        let opening = now - Duration::days(oldest + 7);
        let lab = lab_of(book);
        store.insert_lab(&lab, opening).await?;
        add_tints(store, book, opening).await?;
        let materials = store.list_materials().await?;
        for (n, lens) in book.drawer.iter().enumerate() {
            let details = drawer_lens(lens, &materials)?;
            store.stock_lens(&format!("demo-drawer-{n}"), &details, lens.count, now - Duration::days(30)).await?;
        }
        Self::with_customers(store, book, today, opening, "demo").await
    }

    /// More orders for a book that has a lab already.
    async fn go_on(store: &'a Store, book: &'a Book, today: Date, now: OffsetDateTime) -> Result<Self, DemoError> {
        let oldest = book.jobs.iter().map(|job| job.ordered_days_ago).max().unwrap_or(0);
        Self::with_customers(store, book, today, now - Duration::days(oldest + 7), "demo-open").await
    }

    async fn with_customers(
        store: &'a Store,
        book: &'a Book,
        today: Date,
        opening: OffsetDateTime,
        name: &'static str,
    ) -> Result<Self, DemoError> {
        let mut customers = BTreeMap::new();
        for row in &book.customers {
            customers.insert(row.key.as_str(), store.insert_customer(&person_of(row), opening).await?);
        }
        let (materials, treatments) = (store.list_materials().await?, store.list_treatments().await?);
        let (numbers, shapes, receipts, uses_drawer) = (BTreeMap::new(), 0, 0, false);
        let lab = lab_of(book);
        Ok(Self {
            store,
            book,
            today,
            opening,
            lab,
            customers,
            materials,
            treatments,
            numbers,
            shapes,
            receipts,
            uses_drawer,
            name,
        })
    }

    /// Does every step of every job.
    async fn tell(&mut self, now: OffsetDateTime) -> Result<(), DemoError> {
        for (when, at, step) in story::timeline(&self.book.jobs, now) {
            self.take_step(at, step, when).await?;
        }
        Ok(())
    }

    /// The keys of the frames in the book. A frame comes into it with the first order for it.
    fn frames(&self) -> BTreeSet<String> {
        self.numbers.keys().map(|at| self.book.jobs[*at].frame.clone()).collect()
    }

    fn summary(&self) -> DemoSummary {
        DemoSummary {
            customers: self.book.customers.len(),
            frames: self.frames().len(),
            shapes: self.shapes,
            jobs: self.numbers.len(),
            drawer: self.book.drawer.len(),
            receipts: self.receipts,
        }
    }

    async fn take_step(&mut self, at: usize, step: StoryStep, when: OffsetDateTime) -> Result<(), DemoError> {
        let row = &self.book.jobs[at];
        let name = format!("job {at}");
        let key = format!("{}-{at}-{step:?}", self.name);
        if step == StoryStep::Take {
            let order = self.order(row, &name)?;
            match self.store.take_order(&key, &order, when).await? {
                Once::Now(number) => self.numbers.insert(at, number),
                Once::Before(_) => return Err(wrong(name, "taken twice")),
            };
            return Ok(());
        }
        let number = *self.numbers.get(&at).ok_or_else(|| wrong(&name, "not taken yet"))?;
        let job = self.store.get_job(number).await?;
        match step {
            StoryStep::Take => {}
            StoryStep::KeepShape => {
                self.store.keep_shape(&key, number, &self.shape(row, &job, &name)?, when).await?;
                self.shapes += 1;
            }
            StoryStep::TakeLenses => {
                let mut lenses = lenses_for(&job, &self.shape_of(&job, &name).await?, &self.lab, &name)?;
                if self.uses_drawer && at.is_multiple_of(2) {
                    self.put_in_the_drawer(&key, &job, &mut lenses, when - Duration::days(7)).await?;
                }
                self.store.take_lenses(&key, number, &lenses, when).await?;
            }
            StoryStep::Cut => {
                let in_hand = self.store.find_lenses(number).await?;
                let shape = self.shape_of(&job, &name).await?;
                let layout = NewLayout::of_job(&job, &shape, &self.lab, &Supply::of_hand(in_hand));
                let layout = Some(layout.map_err(|why| wrong(&name, why))?);
                let size = job.tasks().map(|task| task.is_made().then_some(Millimeter::ZERO));
                self.store.insert_cut(&key, number, &NewCut { size, note: String::new(), layout }, when).await?;
            }
            StoryStep::CheckFirst => self.check(&key, &job, row.measured_first.clone(), &name, when).await?,
            StoryStep::Check => self.check(&key, &job, row.measured.clone(), &name, when).await?,
            StoryStep::Concede => {
                let reason = row.reason.as_deref().unwrap_or_default();
                let newest = self.store.list_checks(number).await?.last().map_or(0, |check| check.attempt);
                let cause = ConcessionCause::CustomerAsked;
                self.store.concede_check(&key, number, newest, cause, reason, when).await?;
            }
            StoryStep::ProveImpact => {
                let proof = ImpactProof::Certificate(format!("batch certificate {}", 4001 + at));
                self.store
                    .insert_impact_proofs(
                        &key,
                        number,
                        &job.made_eyes().map(|eye| (eye, proof.clone())).collect::<Vec<_>>(),
                        when,
                    )
                    .await?;
            }
            StoryStep::Pack => {
                let parcel = Parcel::of(&job);
                let keys = ITEMS.iter().filter(|item| item.applies_to(parcel)).map(|item| item.key);
                let ticks = check_ticks(parcel, &keys.collect::<Vec<_>>()).map_err(|why| wrong(&name, why))?;
                let ticks: Vec<String> = ticks.into_iter().map(str::to_owned).collect();
                self.store.insert_packing(&key, number, &ticks, when).await?;
            }
            StoryStep::Send => {
                let shipment = Shipment {
                    carrier: row.carrier.clone().unwrap_or_default(),
                    tracking: row.tracking.clone().unwrap_or_default(),
                    sent_on: self.days_ago(row.sent_days_ago.unwrap_or(0)),
                    address: job.customer.person.label(),
                };
                self.store.insert_shipment(&key, number, &shipment, when).await?;
            }
            StoryStep::Receipt => {
                let document = self.receipt(&job).await?;
                self.store.issue_receipt(&key, number, &document, when).await?;
                self.receipts += 1;
            }
        }
        Ok(())
    }

    /// Stocks the lenses of a job, so that they are taken from the drawer.
    async fn put_in_the_drawer(
        &self,
        key: &str,
        job: &Job,
        lenses: &mut [LensInHand],
        when: OffsetDateTime,
    ) -> Result<(), DemoError> {
        for lens in lenses {
            let power = job.lens_power(lens.eye).to_minus();
            let details = DrawerLensDetails {
                material: job.material.id,
                sphere: power.sphere(),
                cylinder: power.cylinder(),
                diameter: lens.diameter,
                center: lens.center,
                front_power: lens.front_power,
                base: None,
                coating: None,
                second_coating: None,
                tint: None,
            };
            self.store.stock_lens(&format!("{key}-{}", lens.eye.name()), &details, 1, when).await?;
            let drawer = self.store.list_drawer().await?;
            lens.drawer_lens = drawer.iter().find(|kind| kind.details == details).map(|kind| kind.id);
        }
        Ok(())
    }

    fn days_ago(&self, days: i64) -> Date {
        self.today - Duration::days(days)
    }

    fn treatment(&self, name: Option<&String>, row: &str) -> Result<Option<&Treatment>, DemoError> {
        name.map(|name| {
            let found = self.treatments.iter().find(|t| t.details.name == *name);
            found.ok_or_else(|| wrong(row, format!("no coating or tint {name}")))
        })
        .transpose()
    }

    fn order(&self, row: &DemoJob, name: &str) -> Result<NewOrder, DemoError> {
        let ordered_on = self.days_ago(row.ordered_days_ago);
        let rx = |text: &str| match read_eye_order(text) {
            Ok(order) => Ok(order),
            Err(faults) => Err(wrong(name, faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))),
        };
        let ordered = EyesOrdered::of(&Pair::new(rx(&row.rx.right)?, rx(&row.rx.left)?));
        let EyesOrdered { tasks, eyes, has_power } = ordered.map_err(|why| wrong(name, why))?;
        let distance = |text: &str| read_pupil_distance(text).map_err(|why| wrong(name, why));
        let customer = *self.customers.get(row.customer.as_str()).ok_or_else(|| wrong(name, "no such customer"))?;
        let frame = self.book.frames.iter().find(|f| f.key == row.frame).ok_or_else(|| wrong(name, "no such frame"))?;
        let frame = frame_of(frame)?;
        let material = material(&self.materials, &row.material, name)?;
        let coating = self.treatment(row.coating.as_ref(), name)?;
        let tint = self.treatment(row.tint.as_ref(), name)?;
        let charges = bill(&Billed {
            frame: row.relens_of.is_none().then(|| (format!("Frame: {} {}", frame.maker, frame.model), frame.price)),
            material: &material.details,
            base_price: base_price(self.materials.iter().map(|m| &m.details)),
            coating: coating.map(|t| &t.details),
            second_coating: None,
            tint: tint.map(|t| &t.details),
            extras: LensExtras::default(),
            eyes: &eyes,
            tasks,
            basis: self.lab.code_basis,
            shipping: self.lab.shipping,
        });
        let written_on = ordered_on - Duration::days(row.written_days_before_order);
        Ok(NewOrder {
            frame_wrap: None,
            vertex: None,
            customer: CustomerChoice::Known(customer),
            people: People::default(),
            frame: match row.relens_of {
                None => FrameChoice::New(frame),
                Some(earlier) => {
                    let number =
                        self.numbers.get(&earlier).ok_or_else(|| wrong(name, "the earlier job comes later"))?;
                    FrameChoice::OfJob(*number)
                }
            },
            prescription: Prescription {
                eyes,
                has_power,
                typed: Pair::new(row.rx.right.clone(), row.rx.left.clone()),
                prescriber: row.prescriber.clone(),
                prescriber_npi: npi(row.prescriber_npi.as_deref(), name)?,
                written_on: Some(written_on),
                expires_on: Some(written_on + Duration::days(row.valid_days)),
                diagnosis: String::new(),
                pupil_distance: distance(&row.pd)?,
                near_pupil_distance: row.near_pd.as_deref().map(distance).transpose()?,
            },
            tasks,
            made_for: MadeFor::Distance,
            material: material.version,
            design: Design::Spherical,
            coating: coating.map(|t| t.version),
            second_coating: None,
            tint: tint.map(|t| t.version),
            height: Pair::new(length(name, row.height.right)?, length(name, row.height.left)?)
                .map(CenterHeight::Bottom),
            ordered_on,
            promised_on: ordered_on + Duration::days(row.promised_in_days),
            note: String::new(),
            remake: None,
            payment: payment(row, charges.iter().map(|c| c.amount).sum(), ordered_on, name)?,
            charges,
        })
    }

    async fn shape_of(&self, job: &Job, name: &str) -> Result<FrameShape, DemoError> {
        self.store.find_job_shape(job).await?.ok_or_else(|| wrong(name, "no shape on file"))
    }

    fn shape(&self, row: &DemoJob, job: &Job, name: &str) -> Result<NewShape, DemoError> {
        let found = self.book.shapes.iter().find(|s| row.shape.as_ref() == Some(&s.key));
        let file = &found.ok_or_else(|| wrong(name, "no such shape"))?.file;
        let traces = shapes::TRACES.iter().find(|(known, _)| known == file);
        let (_, bytes) = traces.ok_or_else(|| wrong(name, format!("no file {file}")))?;
        NewShape::read(bytes, file, None, None, job.frame.details.bridge).map_err(|why| wrong(file, why))
    }

    async fn check(
        &self,
        key: &str,
        job: &Job,
        measured: Option<MeasuredRow>,
        name: &str,
        when: OffsetDateTime,
    ) -> Result<(), DemoError> {
        let measured = measured.unwrap_or_default();
        let layout = JobLayout::of(job, &self.shape_of(job, name).await?, &self.lab, step_of(&self.lab));
        let Judgment { reading, verdict, figures } = judge(
            self.lab.tolerance,
            &self.lab.center_limits(),
            job,
            &layout,
            &measurement(job, &layout, &measured, name)?,
        );
        let check = NewCheck {
            profile: self.lab.tolerance.key(),
            reading: serde_json::to_string(&reading).map_err(|why| wrong(name, why))?,
            verdict: serde_json::to_string(&verdict).map_err(|why| wrong(name, why))?,
            figures,
            passed: verdict.passed,
            summary: verdict.sentence(),
        };
        self.store.insert_check(key, job.number, &check, when).await?;
        Ok(())
    }

    async fn receipt(&self, job: &Job) -> Result<Document, DemoError> {
        let account = self.store.get_account(job.number).await?;
        let issued_on = job.sent_on.unwrap_or(self.today);
        Ok(Document::new(&ReceiptFacts::of(job, &self.lab, &account, issued_on)))
    }
}

fn npi(typed: Option<&str>, row: &str) -> Result<Option<Npi>, DemoError> {
    typed.map(|npi| npi.parse().map_err(|why| wrong(row, why))).transpose()
}

fn lab_of(book: &Book) -> Lab {
    let row = &book.lab;
    let address = &row.address;
    let lines = format!("{}\n{} {} {}", address.line1, address.city, address.region, address.postcode);
    Lab {
        phone: row.phone.clone(),
        email: row.email.clone(),
        tax_id: row.tax_id.clone(),
        ..Lab::new(row.name.clone(), lines)
    }
}

/// Adds the tints that the jobs need and a new book does not have, with the price and code of the other tints.
async fn add_tints(store: &Store, book: &Book, when: OffsetDateTime) -> Result<(), DemoError> {
    for name in book.jobs.iter().filter_map(|job| job.tint.as_ref()) {
        let known = store.list_treatments().await?;
        if known.iter().any(|t| t.details.name == *name) {
            continue;
        }
        let like = known.iter().find(|t| t.details.kind == TreatmentKind::Tint).map(|t| t.details.clone());
        let details = TreatmentDetails { name: name.clone(), ..like.ok_or_else(|| wrong(name, "no tint on sale"))? };
        store.insert_treatment(&format!("demo-tint-{name}"), None, &details, when).await?;
    }
    Ok(())
}

fn material<'m>(materials: &'m [Material], name: &str, row: &str) -> Result<&'m Material, DemoError> {
    materials.iter().find(|m| m.details.name == name).ok_or_else(|| wrong(row, format!("no material {name}")))
}

fn drawer_lens(row: &DemoDrawerLens, materials: &[Material]) -> Result<DrawerLensDetails, DemoError> {
    let name = format!("drawer, {} {} {}", row.material, row.sphere, row.cylinder);
    let power = |text: &str| text.parse::<Diopter>().map_err(|why| wrong(&name, why));
    Ok(DrawerLensDetails {
        material: material(materials, &row.material, &name)?.id,
        sphere: power(&row.sphere)?,
        cylinder: power(&row.cylinder)?,
        diameter: length(&name, row.diameter_mm)?,
        center: Some(length(&name, row.center_thickness_mm)?),
        front_power: Some(Diopter::round_from(row.front_power_d).map_err(|why| wrong(&name, why))?),
        base: None,
        coating: None,
        second_coating: None,
        tint: None,
    })
}

fn person_of(row: &DemoCustomer) -> Person {
    let or_empty = |text: &Option<String>| text.clone().unwrap_or_default();
    Person {
        name: row.name.clone(),
        line1: row.line1.clone(),
        line2: or_empty(&row.line2),
        city: row.city.clone(),
        region: row.region.clone(),
        postcode: row.postcode.clone(),
        phone: or_empty(&row.phone),
        email: or_empty(&row.email),
        note: or_empty(&row.note),
    }
}

fn frame_of(row: &DemoFrame) -> Result<FrameDetails, DemoError> {
    Ok(FrameDetails {
        maker: row.maker.clone(),
        model: row.model.clone(),
        color: row.color.clone(),
        eye_size: length(&row.key, row.eye_size_mm)?,
        bridge: length(&row.key, row.bridge_mm)?,
        temple: Some(length(&row.key, row.temple_mm)?),
        rim: match row.rim.as_str() {
            "full_metal" => Rim::Metal,
            "full_plastic" => Rim::Plastic,
            other => Rim::from_key(other).ok_or_else(|| wrong(&row.key, format!("no rim {other}")))?,
        },
        price: Cents::new(row.price_cents),
    })
}

/// The full amount, a deposit of half in whole dollars, or no payment yet.
fn payment(row: &DemoJob, total: Cents, on: Date, name: &str) -> Result<Option<Payment>, DemoError> {
    let kind = PaymentKind::from_key(&row.payment_kind);
    let kind = kind.ok_or_else(|| wrong(name, format!("no way to pay {}", row.payment_kind)))?;
    let amount = match row.paid {
        PaidRow::Full => total,
        PaidRow::Deposit => Cents::new(total.cents() / 200 * 100),
        PaidRow::None => return Ok(None),
    };
    Ok(Some(Payment { kind, amount, paid_on: on }))
}

/// Lenses bought for the job: the usual diameter that covers the shape, or surfaced where none will do, a front by Vogel's rule (common practice, from
/// memory), and for a minus lens the usual minimum center thickness.
fn lenses_for(job: &Job, shape: &FrameShape, lab: &Lab, name: &str) -> Result<Vec<LensInHand>, DemoError> {
    let layout = JobLayout::of(job, shape, lab, step_of(lab));
    job.made_eyes()
        .map(|eye| {
            let laid = layout.eyes.get(eye);
            let diameter = match laid.no_stock_lens() {
                Some(_) => laid.surfaced_diameter_mm(),
                None => laid.stock_uncut().diameter_mm,
            };
            let equivalent = job.prescription.eyes.get(eye).power.spherical_equivalent_d();
            let front = if equivalent > 0.0 { equivalent + 6.0 } else { equivalent / 2.0 + 6.0 };
            let front = Diopter::round_from((front * 2.0).round().max(1.0) / 2.0).map_err(|why| wrong(name, why))?;
            let least_center = Millimeter::from_hundredths(job.material.details.centre_hundredths);
            Ok(LensInHand {
                eye,
                drawer_lens: None,
                source: format!("{}, certificate on file", job.material.details.name),
                diameter: length(name, diameter)?,
                center: (equivalent <= 0.0).then_some(least_center.map_err(|why| wrong(name, why))?),
                front_power: Some(front),
                off_in: Millimeter::ZERO,
                off_up: Millimeter::ZERO,
                has_ground_prism: matches!(laid.prism, Some(PrismMade::Ground(_))),
            })
        })
        .collect()
}

fn measurement(job: &Job, layout: &JobLayout, row: &MeasuredRow, name: &str) -> Result<Measurement, DemoError> {
    let typed = Pair::new((Eye::Right, row.right), (Eye::Left, row.left)).map(|(eye, off)| match job.makes(eye) {
        true => read_off(job.lens_power(eye), off).map_err(|why| wrong(name, why)),
        false => Ok(String::new()),
    });
    let typed = Pair::new(typed.right?, typed.left?);
    let powers = typed.as_ref().map(|text| match text.is_empty() {
        true => Ok(None),
        false => read_measured(text)
            .map(Some)
            .map_err(|faults| wrong(name, faults.first().map(ToString::to_string).unwrap_or_default())),
    });
    let ordered = job.prescription.centered_on(job.made_for);
    let read = match job.single_eye() {
        Some(eye) => PupilDistance::one(eye, length(name, ordered.mono(eye).to_f64() + row.pd_off_mm)?),
        None => PupilDistance::both(length(name, ordered.binocular().to_f64() + row.pd_off_mm)?),
    };
    let distance = read.map_err(|why| wrong(name, why))?;
    Ok(Measurement {
        notation: Notation::Written,
        power: Pair::new(powers.right?, powers.left?),
        typed,
        pupil_distance: Some(distance),
        height: Pair::new(
            read_height(job, layout, Eye::Right, row.height_off_mm.right, name)?,
            read_height(job, layout, Eye::Left, row.height_off_mm.left, name)?,
        ),
        prism: job.prescription.eyes.as_ref().map(|eye| (!eye.prism.is_none()).then_some(eye.prism)),
        center: Pair::default(),
    })
}

/// The height as it would be read; none of a lens that stays.
fn read_height(
    job: &Job,
    layout: &JobLayout,
    eye: Eye,
    off_mm: f64,
    name: &str,
) -> Result<Option<Millimeter>, DemoError> {
    let wanted_mm = layout.eyes.get(eye).wanted.height_mm;
    job.makes(eye).then(|| length(name, wanted_mm + off_mm)).transpose()
}

/// A lensmeter reading as it would be typed.
fn read_off(ordered: LensPower, off: OffRow) -> Result<String, String> {
    let minus = ordered.to_minus();
    let shifted = |power: Diopter, by: f64| Diopter::round_from(power.to_f64() + by).map_err(|why| why.to_string());
    let (sphere, cylinder) = (shifted(minus.sphere(), off.sphere_off)?, shifted(minus.cylinder(), off.cylinder_off)?);
    let axis = match cylinder == Diopter::ZERO {
        true => None,
        // A small cylinder in a lens ordered without one may have any axis.
        false => {
            let degrees = minus.axis().map_or(90, Axis::degrees) + off.axis_off;
            Some(Axis::new((degrees - 1).rem_euclid(180) + 1).map_err(|why| why.to_string())?)
        }
    };
    let power = LensPower::new(sphere, cylinder, axis).map_err(|why| why.to_string())?;
    Ok(power.to_string())
}
