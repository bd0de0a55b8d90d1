//! From the order form to a [`NewOrder`]: every field is named once, read once, and handed on.

use time::Date;

use super::super::compensation::CompensationForm;
use super::super::customers::CustomerForm;
use super::bill::{Chosen, Prices};
use super::cautions::{FrameFacts, OrderCaution, cautions_of, overpaid, seen_mark};
use super::context::OrderContext;
use super::remake::read_remake;
use crate::desk::bill::{Charge, frame_words};
use crate::desk::catalogue::{Material, Treatment, TreatmentKind};
use crate::desk::center_height::CenterHeight;
use crate::desk::eye_order::{EyeOrder, EyesFault, EyesOrdered, read_eye_order};
use crate::desk::fitting::{VERTEX, VertexAnswer};
use crate::desk::frame::{BRIDGE, EYE_SIZE, FrameDetails, Rim, TEMPLE};
use crate::desk::job::EyeTask;
use crate::desk::limit::read_tilt;
use crate::desk::money::Cents;
use crate::desk::npi::Npi;
use crate::desk::order::{CustomerChoice, Design, FrameChoice, NewOrder};
use crate::desk::payment::{Payment, PaymentKind};
use crate::desk::prescription::{MadeFor, Prescription};
use crate::desk::remake::{Remake, RemakePayer};
use crate::desk::text::{line, lines, needed};
use crate::optics::notation::short;
use crate::optics::prescription::{PrescriptionFault, PupilDistance, PupilDistanceFault, read_pupil_distance_for};
use crate::optics::unit::{Millimeter, Tilt};
use crate::optics::{Eye, Pair};
use crate::web::form::Form;
use crate::web::words::{iso, parse_day};

/// The order form as it was read. What is wrong has its sentence beside its field.
pub(in crate::web) struct OrderForm {
    /// Each eye's prescription.
    pub(super) eyes: Pair<TypedEye>,
    /// Looking far.
    pub(super) pd: TypedDistance,
    /// Reading.
    pub(super) near_pd: TypedDistance,
    /// The bill; `None` while a field it needs is empty or wrong.
    pub(super) charges: Option<Vec<Charge>>,
    /// What is paid with the order; `None` when that is no amount.
    pub(super) paid: Option<Cents>,
    /// What is unlikely.
    pub(super) cautions: Vec<OrderCaution>,
    /// What the pair would be, for the summary; `None` while a field it needs is empty or wrong.
    pub(super) typed: Option<TypedPair>,
    /// Why the earlier job is made again.
    pub(super) remake: Option<Remake>,
    /// Whether a meridian is so strong that the vertex distance is asked for.
    pub(super) asks_vertex: bool,
    /// The order, when every field is right and every caution confirmed.
    pub(super) order: Option<NewOrder>,
}

/// What a pair is made by, as far as the order says.
pub(super) struct TypedPair {
    pub(super) prescription: Prescription,
    pub(super) tasks: Pair<EyeTask>,
    pub(super) made_for: MadeFor,
    pub(super) height: Pair<CenterHeight>,
    pub(super) material: Material,
}

/// One eye's field and what was read in it.
pub(super) struct TypedEye {
    pub(super) text: String,
    pub(super) read: Result<EyeOrder, Vec<PrescriptionFault>>,
}

/// The field of a pupil distance and what was read in it.
pub(super) struct TypedDistance {
    pub(super) text: String,
    pub(super) read: Result<PupilDistance, PupilDistanceFault>,
}

impl TypedDistance {
    /// `only` is the only eye a lens is made for, if it is one.
    fn of(form: &Form, name: &str, only: Option<Eye>) -> Self {
        let text = form.value(name).trim().to_owned();
        Self { read: read_pupil_distance_for(&text, only), text }
    }
}

impl OrderForm {
    pub(super) const REMAKE_CAUSE: &str = "remake_cause";
    pub(super) const REMAKE_PAYER: &str = "remake_payer";
    pub(super) const REMAKE_FRAME_STAYS: &str = "remake_frame_stays";
    pub(super) const REMAKE_LESSON: &str = "remake_lesson";
    pub(super) const RELENS_OF: &str = "relens_of";
    pub(in crate::web) const CUSTOMER_ID: &str = "customer_id";
    pub(in crate::web) const CUSTOMER_NAME: &str = "customer_name";
    pub(super) const FRAME_ID: &str = "frame_id";
    pub(super) const FRAME_NAME: &str = "frame_name";
    pub(in crate::web) const FRAME_MAKER: &str = "frame_maker";
    pub(in crate::web) const FRAME_MODEL: &str = "frame_model";
    pub(in crate::web) const FRAME_COLOR: &str = "frame_color";
    pub(in crate::web) const FRAME_EYE_SIZE: &str = "frame_eye_size";
    pub(in crate::web) const FRAME_BRIDGE: &str = "frame_bridge";
    pub(in crate::web) const FRAME_TEMPLE: &str = "frame_temple";
    pub(in crate::web) const FRAME_RIM: &str = "frame_rim";
    const FRAME_WRAP: &str = "frame_wrap";
    pub(in crate::web) const PD: &str = "pd";
    pub(in crate::web) const NEAR_PD: &str = "near_pd";
    const PRESCRIBER: &str = "prescriber";
    const PRESCRIBER_NPI: &str = "prescriber_npi";
    const WRITTEN_ON: &str = "written_on";
    pub(super) const EXPIRES_ON: &str = "expires_on";
    const DIAGNOSIS: &str = "diagnosis";
    pub(super) const MADE_FOR: &str = "made_for";
    pub(super) const DESIGN: &str = "design";
    pub(super) const MATERIAL: &str = "material";
    pub(super) const COATING: &str = "coating";
    pub(super) const SECOND_COATING: &str = "second_coating";
    pub(super) const TINT: &str = "tint";
    pub(super) const ORDERED_ON: &str = "ordered_on";
    pub(in crate::web) const PROMISED_ON: &str = "promised_on";
    pub(super) const NOTE: &str = "note";
    pub(super) const PAYMENT: &str = "payment";
    pub(super) const PAYMENT_KIND: &str = "payment_kind";
    pub(in crate::web) const PRICE_FRAME: &str = "price_frame";
    pub(in crate::web) const PRICE_LENS: &str = "price_lens";
    pub(super) const PRICE_COATING: &str = "price_coating";
    pub(super) const PRICE_SECOND_COATING: &str = "price_second_coating";
    pub(super) const PRICE_TINT: &str = "price_tint";
    pub(super) const PRICE_PRISM: &str = "price_prism";
    pub(super) const PRICE_OVERSIZE: &str = "price_oversize";
    pub(super) const PRICE_SHIPPING: &str = "price_shipping";
    pub(super) const PRICE_DISCOUNT: &str = "price_discount";
    pub(super) const PRICE_TAX: &str = "price_tax";
    /// What a tick under the cautions confirms.
    pub(super) const SEEN: &str = "seen";
    /// Which button was pressed.
    pub(super) const INTENT: &str = "intent";
    pub(super) const TILT: &str = "tilt";

    /// What stands in [`Self::CUSTOMER_ID`] when the owner said that a namesake is somebody else.
    pub(super) const NEW_CUSTOMER: &str = super::super::party::NEW;

    /// The field of an eye's prescription.
    pub(in crate::web) const fn rx(eye: Eye) -> &'static str {
        match eye {
            Eye::Right => "rx_right",
            Eye::Left => "rx_left",
        }
    }

    /// The field of an eye's height.
    pub(in crate::web) const fn height(eye: Eye) -> &'static str {
        match eye {
            Eye::Right => "height_right",
            Eye::Left => "height_left",
        }
    }

    /// The field of what an eye's lens costs more for its power.
    pub(super) const fn price_high_power(eye: Eye) -> &'static str {
        match eye {
            Eye::Right => "price_high_power_right",
            Eye::Left => "price_high_power_left",
        }
    }

    /// The field of what a photo gave for a pupil's height.
    pub(in crate::web) const fn photo_height(eye: Eye) -> &'static str {
        match eye {
            Eye::Right => "photo_height_right",
            Eye::Left => "photo_height_left",
        }
    }

    /// The field of a pupil's height, from which the height of a center is suggested.
    pub(in crate::web) const fn pupil_height(eye: Eye) -> &'static str {
        match eye {
            Eye::Right => "pupil_height_right",
            Eye::Left => "pupil_height_left",
        }
    }

    /// The prices that a list gives. The page folds them away while they are empty: shipping always has one.
    pub(super) const USUAL_PRICES: [&str; 5] =
        [Self::PRICE_LENS, Self::PRICE_COATING, Self::PRICE_TINT, Self::PRICE_DISCOUNT, Self::PRICE_TAX];

    /// The prices of what few lenses need. The page folds them away while they are empty.
    pub(super) const EXTRA_PRICES: [&str; 5] = [
        Self::PRICE_SECOND_COATING,
        Self::PRICE_PRISM,
        Self::price_high_power(Eye::Right),
        Self::price_high_power(Eye::Left),
        Self::PRICE_OVERSIZE,
    ];

    /// The answer about the vertex distances.
    pub(super) const VERTEX: [&str; 3] =
        [CompensationForm::VERTEX_FROM, CompensationForm::VERTEX_TO, CompensationForm::VERTEX_UNKNOWN];

    /// Whether one of these fields is not empty.
    pub(super) fn is_filled(form: &Form, fields: &[&str]) -> bool {
        fields.iter().any(|field| !form.value(field).trim().is_empty())
    }

    /// Whether the owner only wants to see what was understood.
    pub(super) fn looks_only(form: &Form) -> bool {
        form.value(Self::INTENT) == "look"
    }

    /// Whether the owner takes the heights by rule.
    pub(super) fn takes_heights(form: &Form) -> bool {
        form.value(Self::INTENT) == "heights"
    }

    /// Whether the owner goes on to measure from a photo.
    pub(super) fn goes_to_photo(form: &Form) -> bool {
        form.value(Self::INTENT) == "photo"
    }

    /// The answer about the vertex distances in its fields.
    pub(super) fn fill_vertex(form: &mut Form, answer: VertexAnswer) {
        match answer {
            VertexAnswer::NotKnown => form.set(CompensationForm::VERTEX_UNKNOWN, "yes"),
            VertexAnswer::Known { tested, worn } => {
                form.set(CompensationForm::VERTEX_FROM, short(tested.to_f64()));
                form.set(CompensationForm::VERTEX_TO, short(worn.to_f64()));
            }
        }
    }

    /// Fills in the height of each center from its pupil's height and the pantoscopic tilt, which is that of the frame's
    /// last job where nothing was typed.
    pub(super) fn fill_heights(form: &mut Form, frame_tilt: Option<Tilt>) {
        if let (true, Some(tilt)) = (form.value(Self::TILT).trim().is_empty(), frame_tilt) {
            form.set(Self::TILT, short(tilt.to_f64()));
        }
        let tilt = form.read(Self::TILT, |t| match t.trim() {
            "" => Err("Type the pantoscopic tilt in degrees, such as 8".to_owned()),
            typed => read_tilt(typed).map_err(|why| why.to_string()),
        });
        let names = Pair::new(Self::pupil_height(Eye::Right), Self::pupil_height(Eye::Left));
        if names.iter().all(|(_, name)| form.value(name).trim().is_empty()) {
            form.fail(names.right, "Type the height of at least one pupil");
        }
        for (eye, name) in names.iter() {
            let pupil = form.read(name, CenterHeight::read);
            let (Some(pupil), Some(tilt)) = (pupil, tilt) else { continue };
            // An empty pupil leaves what was typed for its center.
            let Some(height) = pupil.lowered_for(tilt) else { continue };
            match CenterHeight::read(&height.typed()) {
                Ok(height) => form.set(Self::height(eye), height.typed()),
                Err(why) => form.fail(name, why),
            }
        }
    }

    /// Puts a prescription in its fields, as it was typed.
    pub(super) fn fill_prescription(form: &mut Form, prescription: &Prescription) {
        for (eye, typed) in prescription.typed.iter() {
            form.set(Self::rx(eye), typed.clone());
        }
        form.set(Self::PD, prescription.pupil_distance.typed());
        form.set(Self::NEAR_PD, prescription.near_pupil_distance.map(|pd| pd.typed()).unwrap_or_default());
        form.set(Self::PRESCRIBER, prescription.prescriber.clone());
        let npi = prescription.prescriber_npi.as_ref().map(Npi::to_string).unwrap_or_default();
        form.set(Self::PRESCRIBER_NPI, npi);
        form.set(Self::WRITTEN_ON, prescription.written_on.map(|day| iso(&day)).unwrap_or_default());
        form.set(Self::EXPIRES_ON, prescription.expires_on.map(|day| iso(&day)).unwrap_or_default());
        form.set(Self::DIAGNOSIS, prescription.diagnosis.clone());
    }

    /// Reads the whole form.
    pub(super) fn read(form: &mut Form, context: &OrderContext) -> Self {
        let LensFields {
            eyes,
            pd,
            near_pd,
            ordered,
            prescription,
            made_for,
            design,
            material,
            coating,
            second_coating,
            tint,
            height,
            note,
        } = LensFields::read(form, context);
        let asks_vertex = ordered.is_some_and(|ordered| ordered.asks_vertex());
        let vertex = read_vertex(form, asks_vertex);
        let prices = Prices::read(form);
        let customer = read_customer(form, context);
        let new_patient = match &customer {
            Some(CustomerChoice::New(person)) => Some(person.name.as_str()),
            _ => None,
        };
        let people = context.people.read(form, new_patient);
        let frame = FrameFields::read(form, context);
        let frame_choice = frame.choice(&prices, context);
        let frame_wrap = form.read_optional(Self::FRAME_WRAP, read_tilt);
        let frame_wrap = frame_wrap.map(|wrap| wrap.filter(|_| matches!(frame_choice, Some(FrameChoice::New(_)))));
        let (ordered_on, promised_on) = read_days(form, context.today);
        let (paid, payment) = read_payment(form, context.today);
        let chosen = Chosen {
            frame: frame.name(context),
            material,
            coating: coating.flatten(),
            second_coating: second_coating.flatten(),
            tint: tint.flatten(),
            eyes: ordered,
        };
        prices.refuse_unchosen(form, &chosen);
        let remake = read_remake(form, context);
        let is_free = remake.iter().flatten().any(|remake| remake.paid_by != RemakePayer::Customer);
        let prices = if is_free { prices.free_where_empty() } else { prices };
        let mut charges = prices.charges(form, context, chosen);
        if remake.as_ref().is_some_and(Option::is_some) {
            // A remake that costs nothing has an empty bill, and its receipt no rows that charge nothing.
            charges.iter_mut().for_each(|lines| lines.retain(|line| line.amount != Cents::ZERO));
        }
        let tasks = ordered.map_or(EyeTask::PAIR, |ordered| ordered.tasks);
        let facts = FrameFacts { stamped: frame.stamped(context), made_for, height, tasks };
        let mut cautions = cautions_of(prescription.as_ref(), &facts, ordered_on, promised_on, context);
        cautions.extend(overpaid(paid, charges.as_deref()));
        let typed = (|| {
            Some(TypedPair {
                prescription: prescription.clone()?,
                tasks,
                made_for: made_for?,
                height: Pair::new(height.right?, height.left?),
                material: material?.clone(),
            })
        })();
        let is_confirmed = cautions.is_empty() || form.value(Self::SEEN) == seen_mark(&cautions);
        let order = (|| {
            Some(NewOrder {
                customer: customer?,
                people: people?,
                frame: frame_choice?,
                frame_wrap: frame_wrap?,
                vertex: vertex?,
                prescription: prescription?,
                tasks: ordered?.tasks,
                made_for: made_for?,
                material: material?.version,
                design: design?,
                coating: coating?.map(|treatment| treatment.version),
                second_coating: second_coating?.map(|treatment| treatment.version),
                tint: tint?.map(|treatment| treatment.version),
                height: Pair::new(height.right?, height.left?),
                ordered_on: ordered_on?,
                promised_on: promised_on?,
                note: note?,
                charges: charges.clone()?,
                remake: remake.clone()?,
                payment: payment?,
            })
        })();
        let order = order.filter(|_| form.is_fine() && is_confirmed);
        Self { eyes, pd, near_pd, charges, paid, cautions, typed, remake: remake.flatten(), asks_vertex, order }
    }
}

/// What is made. The order page and the correction of an order ask for the same.
pub(super) struct LensFields<'a> {
    pub(super) eyes: Pair<TypedEye>,
    /// Looking far.
    pub(super) pd: TypedDistance,
    /// Reading.
    pub(super) near_pd: TypedDistance,
    pub(super) ordered: Option<EyesOrdered>,
    pub(super) prescription: Option<Prescription>,
    pub(super) made_for: Option<MadeFor>,
    pub(super) design: Option<Design>,
    pub(super) material: Option<&'a Material>,
    pub(super) coating: Option<Option<&'a Treatment>>,
    pub(super) second_coating: Option<Option<&'a Treatment>>,
    pub(super) tint: Option<Option<&'a Treatment>>,
    pub(super) height: Pair<Option<CenterHeight>>,
    /// For the bench.
    pub(super) note: Option<String>,
}

impl<'a> LensFields<'a> {
    pub(super) fn read(form: &mut Form, context: &'a OrderContext) -> Self {
        let eyes = Pair::new(Eye::Right, Eye::Left).map(|eye| {
            let text = form.value(OrderForm::rx(eye)).to_owned();
            TypedEye { read: read_eye_order(&text), text }
        });
        let ordered = read_eyes(form, &eyes);
        let only = only_eye(&eyes);
        let pd = TypedDistance::of(form, OrderForm::PD, only);
        let near_pd = TypedDistance::of(form, OrderForm::NEAR_PD, only);
        let prescription = read_prescription(form, context, &eyes, ordered.as_ref(), &pd, &near_pd);
        let made_for = form.read(OrderForm::MADE_FOR, |t| MadeFor::from_key(t).ok_or("Choose what the pair is for"));
        if made_for == Some(MadeFor::Near) && near_pd.text.is_empty() {
            form.fail(OrderForm::NEAR_PD, "A reading pair needs the near pupil distance");
        }
        let coating = read_treatment(form, OrderForm::COATING, TreatmentKind::Coating, "a coating", context);
        Self {
            design: form.read(OrderForm::DESIGN, |t| Design::from_key(t).ok_or("Choose the form of the front")),
            material: form.read(OrderForm::MATERIAL, |t| {
                let id = t.parse().ok();
                context.materials.iter().find(|m| Some(m.version) == id).ok_or_else(|| not_on_sale("a material"))
            }),
            second_coating: read_second_coating(form, coating.flatten(), context),
            coating,
            tint: read_treatment(form, OrderForm::TINT, TreatmentKind::Tint, "a tint", context),
            height: Pair::new(Eye::Right, Eye::Left).map(|eye| read_height(form, eye, context)),
            note: form.read(OrderForm::NOTE, |t| lines("The note", t, 1000)),
            eyes,
            pd,
            near_pd,
            ordered,
            prescription,
            made_for,
        }
    }
}

fn read_customer(form: &mut Form, context: &OrderContext) -> Option<CustomerChoice> {
    if let Some(customer) = &context.customer {
        return Some(CustomerChoice::Known(customer.id));
    }
    if !context.namesakes.is_empty() && form.value(OrderForm::CUSTOMER_ID) != OrderForm::NEW_CUSTOMER {
        form.fail(OrderForm::CUSTOMER_NAME, "This name is already in the book: choose below who it is");
        return None;
    }
    Some(CustomerChoice::New(CustomerForm::read_person(form, OrderForm::CUSTOMER_NAME, "")?))
}

/// The fields of a frame; all empty when an order takes one that is in the book.
#[derive(Default)]
pub(in crate::web) struct FrameFields {
    maker: Option<String>,
    model: Option<String>,
    color: Option<String>,
    eye_size: Option<Millimeter>,
    bridge: Option<Millimeter>,
    temple: Option<Option<Millimeter>>,
    rim: Option<Rim>,
}

impl FrameFields {
    fn read(form: &mut Form, context: &OrderContext) -> Self {
        if context.relens.is_some() || context.frame.is_some() {
            return Self::default();
        }
        let asked = [OrderForm::FRAME_MAKER, OrderForm::FRAME_MODEL, OrderForm::FRAME_EYE_SIZE];
        if asked.iter().all(|field| form.value(field).trim().is_empty()) {
            form.fail(OrderForm::FRAME_NAME, "Choose a frame from the book, or fill in a new one below");
            return Self::default();
        }
        Self::read_typed(form)
    }

    /// Reads every field but the price. The order page and the correction of a frame ask for the same.
    pub(in crate::web) fn read_typed(form: &mut Form) -> Self {
        Self {
            maker: form.read(OrderForm::FRAME_MAKER, |t| needed("The maker", t, 80)),
            model: form.read(OrderForm::FRAME_MODEL, |t| needed("The model", t, 80)),
            color: form.read(OrderForm::FRAME_COLOR, |t| line("The color", t, 60)),
            eye_size: form.read(OrderForm::FRAME_EYE_SIZE, |t| EYE_SIZE.read(t)),
            bridge: form.read(OrderForm::FRAME_BRIDGE, |t| BRIDGE.read(t)),
            temple: form.read_optional(OrderForm::FRAME_TEMPLE, |t| TEMPLE.read(t)),
            rim: form.read(OrderForm::FRAME_RIM, |t| Rim::from_key(t).ok_or("Choose how the frame holds the lens")),
        }
    }

    fn choice(&self, prices: &Prices, context: &OrderContext) -> Option<FrameChoice> {
        match (&context.relens, &context.frame) {
            (Some(job), _) => Some(FrameChoice::OfJob(job.number)),
            (None, Some(frame)) => Some(FrameChoice::Known(frame.id)),
            (None, None) => self.details(prices.frame?.unwrap_or(Cents::ZERO)).map(FrameChoice::New),
        }
    }

    /// The frame at this price, when every field is right.
    pub(in crate::web) fn details(&self, price: Cents) -> Option<FrameDetails> {
        Some(FrameDetails {
            maker: self.maker.clone()?,
            model: self.model.clone()?,
            color: self.color.clone()?,
            eye_size: self.eye_size?,
            bridge: self.bridge?,
            temple: self.temple?,
            rim: self.rim?,
            price,
        })
    }

    /// The frame as the bill names it; new lenses for an earlier frame bill none.
    fn name(&self, context: &OrderContext) -> Option<String> {
        let (maker, model) = match (&context.relens, &context.frame) {
            (Some(_), _) => return None,
            (None, Some(frame)) => (frame.details.maker.as_str(), frame.details.model.as_str()),
            (None, None) => (self.maker.as_deref().unwrap_or(""), self.model.as_deref().unwrap_or("")),
        };
        Some(frame_words(maker, model))
    }

    /// Eye size and bridge as stamped.
    fn stamped(&self, context: &OrderContext) -> Option<(Millimeter, Millimeter)> {
        match &context.frame {
            Some(frame) => Some((frame.details.eye_size, frame.details.bridge)),
            None => self.eye_size.zip(self.bridge),
        }
    }
}

/// What both fields order together.
fn read_eyes(form: &mut Form, eyes: &Pair<TypedEye>) -> Option<EyesOrdered> {
    for (eye, typed) in eyes.iter() {
        if let Err(faults) = &typed.read {
            form.fail(OrderForm::rx(eye), faults.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "));
        }
    }
    let both = Pair::new(eyes.right.read.clone().ok()?, eyes.left.read.clone().ok()?);
    let why = match EyesOrdered::of(&both) {
        Ok(ordered) => return Some(ordered),
        Err(why) => why,
    };
    let eye = match why {
        EyesFault::NothingMade => Eye::Right,
        EyesFault::BalanceOfNothing(eye) => eye,
    };
    form.fail(OrderForm::rx(eye), why);
    None
}

/// The only eye a lens is made for: the other field says that its lens stays.
fn only_eye(eyes: &Pair<TypedEye>) -> Option<Eye> {
    let stays = |eye: Eye| eyes.get(eye).read.as_ref().is_ok_and(|order| !order.task.is_made());
    Eye::BOTH.into_iter().find(|eye| stays(eye.other()) && !stays(*eye))
}

fn read_prescription(
    form: &mut Form,
    context: &OrderContext,
    eyes: &Pair<TypedEye>,
    ordered: Option<&EyesOrdered>,
    pd: &TypedDistance,
    near_pd: &TypedDistance,
) -> Option<Prescription> {
    for (field, typed) in [(OrderForm::PD, pd), (OrderForm::NEAR_PD, near_pd)] {
        if let Err(fault) = &typed.read
            && (field == OrderForm::PD || !typed.text.is_empty())
        {
            form.fail(field, fault);
        }
    }
    let prescriber = form.read(OrderForm::PRESCRIBER, |t| line("The prescriber", t, 120));
    let prescriber_npi = form.read_optional(OrderForm::PRESCRIBER_NPI, str::parse::<Npi>);
    let written_on = form.read_optional(OrderForm::WRITTEN_ON, parse_day);
    let expires_on = form.read_optional(OrderForm::EXPIRES_ON, parse_day);
    if let Some(Some(written)) = written_on {
        if written > context.today {
            form.fail(OrderForm::WRITTEN_ON, "This day is in the future");
        }
        if let Some(Some(expires)) = expires_on
            && expires < written
        {
            form.fail(OrderForm::EXPIRES_ON, "This is before the day it was written");
        }
    }
    let diagnosis = form.read(OrderForm::DIAGNOSIS, |t| line("The diagnosis", t, 200));
    let near_pupil_distance = match &near_pd.read {
        Ok(near) => Some(*near),
        Err(_) if near_pd.text.is_empty() => None,
        Err(_) => return None,
    };
    Some(Prescription {
        eyes: ordered?.eyes,
        has_power: ordered?.has_power,
        typed: eyes.as_ref().map(|eye| eye.text.trim().to_owned()),
        prescriber: prescriber?,
        prescriber_npi: prescriber_npi?,
        written_on: written_on?,
        expires_on: expires_on?,
        diagnosis: diagnosis?,
        pupil_distance: *pd.read.as_ref().ok()?,
        near_pupil_distance,
    })
}

fn read_height(form: &mut Form, eye: Eye, context: &OrderContext) -> Option<CenterHeight> {
    let height = form.read(OrderForm::height(eye), CenterHeight::read)?;
    if let Some(boxes) = &context.boxes {
        let b_mm = boxes.get(eye).b_mm;
        if height.above_bottom_mm(b_mm) >= b_mm {
            let why = format!("The lens is only {b_mm:.2} mm high: the height is measured from its lowest point");
            form.fail(OrderForm::height(eye), why);
        }
    }
    Some(height)
}

fn read_days(form: &mut Form, today: Date) -> (Option<Date>, Option<Date>) {
    let ordered_on = form.read(OrderForm::ORDERED_ON, parse_day);
    let promised_on = form.read(OrderForm::PROMISED_ON, parse_day);
    if let (Some(ordered), Some(promised)) = (ordered_on, promised_on) {
        if ordered > today {
            form.fail(OrderForm::ORDERED_ON, "This day is in the future");
        }
        if promised < ordered {
            form.fail(OrderForm::PROMISED_ON, "The promised day is before the order: choose a later day");
        }
    }
    (ordered_on, promised_on)
}

fn read_treatment<'a>(
    form: &mut Form,
    field: &str,
    kind: TreatmentKind,
    what: &str,
    context: &'a OrderContext,
) -> Option<Option<&'a Treatment>> {
    form.read_optional(field, |t| {
        let id = t.parse().ok();
        let mut of_kind = context.treatments.iter().filter(|treatment| treatment.details.kind == kind);
        of_kind.find(|treatment| Some(treatment.version) == id).ok_or_else(|| not_on_sale(what))
    })
}

/// The coating over the first one, which is another.
fn read_second_coating<'a>(
    form: &mut Form,
    first: Option<&Treatment>,
    context: &'a OrderContext,
) -> Option<Option<&'a Treatment>> {
    let (field, kind) = (OrderForm::SECOND_COATING, TreatmentKind::Coating);
    let second = read_treatment(form, field, kind, "a coating", context)?;
    let Some(chosen) = second else { return Some(None) };
    let why = match first {
        Some(first) if first.id == chosen.id => "This is the first coating: choose another, or none",
        Some(_) => return Some(second),
        None => "Choose the first coating as well, or move this one there",
    };
    form.fail(field, why);
    None
}

fn not_on_sale(what: &str) -> String {
    format!("Choose {what} that is offered; the list has changed since this page was loaded")
}

/// Where the vertex distance was tested and where it is worn. A strong pair needs an answer; "not known" is one.
fn read_vertex(form: &mut Form, is_asked: bool) -> Option<Option<VertexAnswer>> {
    let fields = [CompensationForm::VERTEX_FROM, CompensationForm::VERTEX_TO];
    let unknown = CompensationForm::VERTEX_UNKNOWN;
    let is_typed = OrderForm::is_filled(form, &fields);
    match (is_typed, form.is_checked(unknown, "yes")) {
        (false, true) => Some(Some(VertexAnswer::NotKnown)),
        (false, false) if is_asked => {
            form.fail(unknown, "A meridian has 5 D or more: type both distances, or tick that they are not known");
            None
        }
        (false, false) => Some(None),
        (true, is_unknown) => {
            if is_unknown {
                form.fail(unknown, "The distances are typed above: leave this unticked, or empty them");
            }
            let [tested, worn] = fields.map(|field| form.read(field, |t| VERTEX.read(t)));
            Some(Some(VertexAnswer::Known { tested: tested?, worn: worn? }))
        }
    }
}

/// The amount as typed, and the payment where there is one.
fn read_payment(form: &mut Form, today: Date) -> (Option<Cents>, Option<Option<Payment>>) {
    let Some(amount) = form.read_optional(OrderForm::PAYMENT, str::parse::<Cents>) else { return (None, None) };
    match amount {
        None | Some(Cents::ZERO) => (amount, Some(None)),
        Some(paid) if paid.is_negative() => {
            form.fail(OrderForm::PAYMENT, "A payment with an order is money received: leave out the minus sign");
            (amount, None)
        }
        Some(paid) => {
            let kind = form.read(OrderForm::PAYMENT_KIND, |t| PaymentKind::from_key(t).ok_or("Choose how it was paid"));
            (amount, kind.map(|kind| Some(Payment { kind, amount: paid, paid_on: today })))
        }
    }
}
