//! The large demonstration: the order book of a lifetime.
//!
//! A few hundred jobs are done as the pages do them. Every other one is a copy of one of those for another person, in
//! another frame with a shape of its own, on another day: see `store::bulk`. The layout of each is computed.

use std::path::Path;
use std::sync::Arc;

use time::{Date, Duration, OffsetDateTime};
use tokio::sync::mpsc;
use uuid::Uuid;

use super::data::{Book, DemoJob, PaidRow, StageRow};
use super::invent::{self, DrawPurpose, Of, below};
use super::timeline::{JOBS_IN_A_FRAME, Slot, orders};
use super::variant::{self, variant};
use super::{DemoError, DemoSummary, Loader, frame_of, wrong};
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::layout_record::{EyeRecord, LayoutRecord};
use crate::desk::frame::FrameDetails;
use crate::desk::frame_shape::FrameShape;
use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::optics::prescription::{LensPower, read};
use crate::optics::unit::Diopter;
use crate::optics::{Eye, Pair};
use crate::store::Store;
use crate::store::bulk::{Batch, Bulk, JobCopy, LayoutCopy, NewCustomer, ShapeCopy};

/// The fewest jobs this way makes: the templates, the open jobs, and some copies.
pub const LEAST_JOBS: u64 = 1000;

/// Jobs that are written together.
const BATCH: usize = 1000;

/// Models of frames when there are enough jobs.
const FRAMES: u64 = 2000;

/// Jobs a day. The book is as long as that makes it, within [`SPAN`].
const JOBS_A_DAY: u64 = 68;
const SPAN: std::ops::RangeInclusive<u64> = 1100..=14_610;

/// Days that a copied job needs until its parcel has left, with some to spare.
const LAST_COPY_DAYS_AGO: i64 = 30;

/// How often the open jobs of the demonstration stand in the book, at most.
const OPEN_ROUNDS: u64 = 12;

/// A book of few jobs has fewer templates and open jobs: one of each for so many.
const JOBS_A_MODEL: u64 = 40;
const JOBS_AN_OPEN_ROUND: u64 = 300;

/// The first receipt of a book has the next number.
const RECEIPTS_BEFORE: i64 = 5000;

/// How far the filling has come.
pub type ReportProgress<'p> = &'p mut dyn FnMut(u64, u64);

/// Fills the file of an empty book with `jobs` jobs.
///
/// # Errors
///
/// [`DemoError`].
pub async fn fill(
    path: &Path,
    jobs: u64,
    today: Date,
    now: OffsetDateTime,
    progress: ReportProgress<'_>,
) -> Result<DemoSummary, DemoError> {
    let read = Book::read().map_err(|why| wrong("a file", why))?;
    let span = (jobs / JOBS_A_DAY).clamp(*SPAN.start(), *SPAN.end());
    let open = open_jobs(&read, (jobs / JOBS_AN_OPEN_ROUND).min(OPEN_ROUNDS) as usize);
    let first = first_jobs(&read, (jobs / JOBS_A_MODEL) as usize, span)?;
    let copies = jobs.saturating_sub((open.len() + first.len()) as u64);

    let store = Store::open_file(path).await?;
    let mut book = Book { jobs: first, ..read };
    let mut loader = Loader::open(&store, &book, today, now).await?;
    loader.uses_drawer = true;
    loader.tell(now).await?;
    let plan = CopyPlan::new(&loader, jobs, copies, span).await?;
    let mut summary = loader.summary();
    let frames = loader.frames();
    summary.customers += plan.customers as usize;
    summary.frames += plan.frames.iter().flatten().count();
    summary.shapes += plan.families as usize;
    summary.jobs += copies as usize;
    summary.receipts += copies as usize;
    drop(loader);
    store.close().await;

    let mut bulk = Bulk::open(path).await?;
    plan.insert_people_and_frames(&mut bulk).await?;
    let before = jobs - copies - open.len() as u64;
    copy_jobs(&mut bulk, plan, &mut |done| progress(before + done, jobs)).await?;
    bulk.close().await?;

    let store = Store::open_file(path).await?;
    book.jobs = open.jobs;
    book.customers = open.customers;
    let mut loader = Loader::go_on(&store, &book, today, now).await?;
    loader.tell(now).await?;
    summary.add_jobs(&loader, &frames);
    drop(loader);
    store.close().await;
    Ok(summary)
}

/// The jobs that are done as the pages do them: each sent job of the demonstration in a frame of its own, and new lenses
/// for it three times. They are the oldest of the book.
fn first_jobs(book: &Book, most: usize, span: u64) -> Result<Vec<DemoJob>, DemoError> {
    let models: Vec<&DemoJob> = book
        .jobs
        .iter()
        .filter(|job| job.stage == StageRow::Sent && job.shape.is_some() && job.relens_of.is_none())
        .take(most)
        .collect();
    let mut jobs = Vec::new();
    let oldest = LAST_COPY_DAYS_AGO + span as i64 + 60 * JOBS_IN_A_FRAME as i64;
    for (at, model) in (0i64..).zip(models) {
        for member in 0..JOBS_IN_A_FRAME as i64 {
            let ordered_days_ago = oldest - 60 * member - at % 10;
            let days = model.ordered_days_ago - model.sent_days_ago.unwrap_or(model.ordered_days_ago);
            jobs.push(DemoJob {
                shape: model.shape.clone().filter(|_| member == 0),
                relens_of: (member > 0).then(|| jobs.len() - 1),
                ordered_days_ago,
                sent_days_ago: Some(ordered_days_ago - days),
                rx: super::data::Each {
                    right: stronger(&model.rx.right, member)?,
                    left: stronger(&model.rx.left, member)?,
                },
                paid: PaidRow::Full,
                ..model.clone()
            });
        }
    }
    Ok(jobs)
}

/// A prescription some years later: the sphere grows by a quarter each time. One with prism stays as it is.
fn stronger(typed: &str, times: i64) -> Result<String, DemoError> {
    let rx = read(typed).map_err(|_| wrong(typed, "not a prescription"))?.rx;
    if times == 0 || !rx.prism.is_none() {
        return Ok(typed.to_owned());
    }
    let sphere = rx.power.sphere().hundredths();
    let step = if sphere < 0 { -25 } else { 25 };
    let sphere = Diopter::from_hundredths(sphere + step * times as i32).map_err(|why| wrong(typed, why))?;
    let power = LensPower::new(sphere, rx.power.cylinder(), rx.power.axis()).map_err(|why| wrong(typed, why))?;
    Ok(power.to_string())
}

/// The open jobs of the demonstration many times over, each for a person of its own.
struct OpenJobs {
    jobs: Vec<DemoJob>,
    customers: Vec<super::data::DemoCustomer>,
}

impl OpenJobs {
    fn len(&self) -> usize {
        self.jobs.len()
    }
}

fn open_jobs(book: &Book, rounds: usize) -> OpenJobs {
    let models: Vec<&DemoJob> =
        book.jobs.iter().filter(|job| job.stage != StageRow::Sent && job.relens_of.is_none()).collect();
    let mut open = OpenJobs { jobs: Vec::new(), customers: Vec::new() };
    for model in models.iter().cycle().take(models.len() * rounds) {
        let person = invent::person(u64::from(u32::MAX) + open.jobs.len() as u64);
        let key = format!("open-{}", open.jobs.len());
        open.customers.push(super::data::DemoCustomer {
            key: key.clone(),
            name: person.name,
            line1: person.line1,
            line2: None,
            city: person.city,
            region: person.region,
            postcode: person.postcode,
            phone: Some(person.phone),
            email: Some(person.email),
            note: None,
        });
        open.jobs.push(DemoJob { customer: key, ..(*model).clone() });
    }
    open
}

/// A job that others are copied from.
struct Template {
    job: Job,
    /// The frame as the demonstration has it.
    model: usize,
}

/// A frame that copies use.
struct PlanFrame {
    id: Uuid,
    details: FrameDetails,
}

/// What there is to copy, and into what.
struct CopyPlan {
    lab: Lab,
    /// The shape of each frame of the templates; its first order and the new lenses for it.
    templates: Vec<(FrameShape, Vec<Template>)>,
    /// The frames after each model of the demonstration.
    frames: Vec<Vec<PlanFrame>>,
    slots: Vec<Slot>,
    families: u64,
    first_day: Date,
    opened_at: OffsetDateTime,
    customers: u64,
    first_number: i64,
    first_receipt: i64,
}

impl CopyPlan {
    async fn new(loader: &Loader<'_>, jobs: u64, copies: u64, span: u64) -> Result<Self, DemoError> {
        let opened_at = loader.opening;
        let mut templates = Vec::new();
        let mut all = Vec::new();
        for (at, number) in &loader.numbers {
            let job = Arc::unwrap_or_clone(loader.store.get_job(*number).await?);
            let key = &loader.book.jobs[*at].frame;
            let model = loader.book.frames.iter().position(|frame| frame.key == *key);
            all.push(Template { job, model: model.ok_or_else(|| wrong(key, "no such frame"))? });
        }
        // The rows of one frame follow each other.
        let mut all = all.into_iter().peekable();
        while all.peek().is_some() {
            let members: Vec<Template> = all.by_ref().take(JOBS_IN_A_FRAME as usize).collect();
            let shape = match members.first() {
                Some(first) => loader.store.find_job_shape(&first.job).await?,
                None => None,
            };
            templates.push((shape.ok_or_else(|| wrong("a template", "no shape"))?, members));
        }
        let models = loader.book.frames.len();
        let later = (FRAMES.min(jobs / 100) as usize).saturating_sub(models);
        let mut frames: Vec<Vec<PlanFrame>> = (0..models).map(|_| Vec::new()).collect();
        for at in 0..later.max(models) {
            let details = invent::later_model(&frame_of(&loader.book.frames[at % models])?, at / models);
            frames[at % models].push(PlanFrame { id: invent::key(Of::Frame, opened_at, at as u64), details });
        }
        let taken = loader.numbers.len() as i64;
        Ok(Self {
            lab: loader.lab.clone(),
            templates,
            frames,
            slots: orders(copies, span),
            families: copies.div_ceil(JOBS_IN_A_FRAME),
            first_day: loader.today - Duration::days(LAST_COPY_DAYS_AGO + span as i64),
            opened_at,
            customers: jobs * 3 / 10,
            first_number: loader.numbers.values().max().map_or(1, |last| last + 1),
            first_receipt: RECEIPTS_BEFORE + taken + 1,
        })
    }

    async fn insert_people_and_frames(&self, bulk: &mut Bulk) -> Result<(), DemoError> {
        for first in (0..self.customers).step_by(BATCH) {
            let indexes = first..self.customers.min(first + BATCH as u64);
            let customers: Vec<NewCustomer> = indexes
                .map(|at| NewCustomer::new(invent::key(Of::Customer, self.opened_at, at), invent::person(at)))
                .collect();
            bulk.insert_customers(&customers, self.opened_at).await?;
        }
        for frame in self.frames.iter().flatten() {
            bulk.insert_frame(frame.id, &frame.details, self.opened_at).await?;
        }
        Ok(())
    }
}

/// Copies all jobs. The next ones are prepared while SQLite writes.
async fn copy_jobs(bulk: &mut Bulk, plan: CopyPlan, progress: &mut dyn FnMut(u64)) -> Result<(), DemoError> {
    let (send, mut receive) = mpsc::channel(2);
    let making = tokio::task::spawn_blocking(move || Maker::new(plan).make_all(&send));
    let mut done = 0;
    while let Some(batch) = receive.recv().await {
        bulk.insert_jobs(&batch).await?;
        done += batch.jobs.len() as u64;
        progress(done);
    }
    making.await.map_err(|why| wrong("the copies", why))?
}

/// Prepares the copies.
struct Maker {
    plan: CopyPlan,
    /// The newest job of each family.
    newest: Vec<u32>,
}

impl Maker {
    fn new(plan: CopyPlan) -> Self {
        Self { newest: vec![0; plan.families as usize], plan }
    }

    fn make_all(mut self, send: &mpsc::Sender<Batch>) -> Result<(), DemoError> {
        let slots = std::mem::take(&mut self.plan.slots);
        for (at, slots) in (0i64..).zip(slots.chunks(BATCH)) {
            let mut batch = Batch::default();
            for (offset, slot) in (0i64..).zip(slots) {
                self.add(&mut batch, at * BATCH as i64 + offset, *slot)?;
            }
            // The other side stops listening when a statement failed.
            if send.blocking_send(batch).is_err() {
                break;
            }
        }
        Ok(())
    }

    fn add(&mut self, batch: &mut Batch, at: i64, slot: Slot) -> Result<(), DemoError> {
        let plan = &mut self.plan;
        let (family, number) = (u64::from(slot.family), plan.first_number + at);
        let model = below(DrawPurpose::Template, family, plan.templates.len() as u64) as usize;
        let (first_shape, members) = match plan.templates.get_mut(model) {
            Some((shape, members)) => (&*shape, members),
            None => return Err(wrong(number, "no template")),
        };
        let template = &mut members[usize::from(slot.member)];
        // A few frames sell much better than the rest.
        let frames = &plan.frames[template.model];
        let luck = invent::part(DrawPurpose::Frame, family);
        let frame = &frames[((luck * luck * frames.len() as f64) as usize).min(frames.len() - 1)];

        let day = plan.first_day + Duration::days(i64::from(slot.day));
        let (patient, payer) = (patient_of(family, plan.customers), payer_of(family, plan.families, plan.customers));
        let person = invent::person(patient);
        let shape_key = invent::key(Of::Shape, plan.opened_at, family);
        let mut shape = variant(first_shape, family).map_err(|why| wrong(number, why))?;
        let kept = FrameShape { traces: shape.traces.clone(), ..first_shape.clone() };
        let layout = JobLayout::of(&template.job, &kept, &plan.lab, step_of(&plan.lab));
        let record = LayoutRecord::of(&layout, &plan.lab, &Pair::new(None, None)).map_err(|why| wrong(number, why))?;
        batch.jobs.push(JobCopy {
            number,
            template: template.job.number,
            days: format!("{:+} days", (day - template.job.ordered_on).whole_days()),
            key: invent::key(Of::Job, day.midnight().assume_utc(), number as u64),
            patient: invent::key(Of::Customer, plan.opened_at, patient),
            address: invent::address(&person),
            name: person.name,
            payer: invent::key(Of::Customer, plan.opened_at, payer),
            frame: frame.id,
            model: format!("{} {}", frame.details.maker, frame.details.model),
            shape: shape_key,
            frame_pd: record.frame_pd.hundredths(),
            parent: (slot.member > 0).then(|| i64::from(self.newest[slot.family as usize])),
            prescriber: invent::prescriber(patient),
            tracking: invent::tracking(number as u64),
            receipt: plan.first_receipt + at,
        });
        for (eye, laid) in record.eyes.iter().filter_map(|(eye, laid)| Some((eye, laid.as_ref()?))) {
            batch.layouts.push(layout_of(number, template.job.number, eye, laid));
        }
        if slot.member == 0 {
            shape.original = variant::file(&shape, number);
            shape.original_name = format!("{number}.txt");
            batch.shapes.push(ShapeCopy {
                id: shape_key,
                job: number,
                shape,
                at: day.midnight().assume_utc() + Duration::hours(17),
            });
        }
        self.newest[slot.family as usize] = number as u32;
        Ok(())
    }
}

fn layout_of(number: i64, template: i64, eye: Eye, laid: &EyeRecord) -> LayoutCopy {
    LayoutCopy {
        number,
        template,
        eye: eye.name(),
        set_pd: laid.set_pd.hundredths(),
        set_height: laid.set_height.hundredths(),
        nudge_in: laid.nudge_in.hundredths(),
        nudge_up: laid.nudge_up.hundredths(),
        decentration_in: laid.decentration_in.hundredths(),
        decentration_up: laid.decentration_up.hundredths(),
        center_in: laid.center_in.hundredths(),
        center_up: laid.center_up.hundredths(),
        exact: laid.needs_exact.hundredths(),
        with_margin: laid.needs_with_margin.hundredths(),
    }
}

/// Who wears what a family orders. A tenth wears two frames.
fn patient_of(family: u64, customers: u64) -> u64 {
    let person = if below(DrawPurpose::Patient, family, 10) == 0 { family / 2 } else { family };
    person % customers
}

/// Who pays: for one in twelve somebody who wears nothing.
fn payer_of(family: u64, families: u64, customers: u64) -> u64 {
    match customers.checked_sub(families) {
        Some(others) if others > 0 && below(DrawPurpose::Payer, family, 12) == 0 => {
            families + below(DrawPurpose::Payer, family + (1 << 40), others)
        }
        _ => patient_of(family, customers),
    }
}
