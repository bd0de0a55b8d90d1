//! To buy: the lenses that open jobs need and the drawer does not have, by supplier, and those that are on their way.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::Form as Posted;
use axum::extract::State;
use time::{Date, Duration};

use super::{Chrome, PageResult, act_of, draft_of, go, posted_key, show, show_again};
use crate::bench::buying::{DrawerNeed, EyeNeed, Netted, net, reorder};
use crate::desk::id::DrawerLensId;
use crate::desk::money::Cents;
use crate::desk::purchase::{COUNT, NewPurchase, OrderedFor, OrderedLens, PurchaseLine};
use crate::desk::stock::{BASE, DIAMETER, DrawerLens, Supplier};
use crate::desk::text;
use crate::optics::Eye;
use crate::print::lens_list::{LensList, LensListGroup, LensListRow};
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::store::lens_promise::LensPromise;
use crate::web::AppState;
use crate::web::download::{CSV, download};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::{day, iso, parse_day};

/// How long a supplier usually takes, days: where the page's expected day starts. Source: common practice.
const USUAL_DAYS: i64 = 7;
/// The newest orders that are linked.
const NEWEST_SHOWN: i64 = 5;

/// What must be bought.
#[derive(Debug)]
enum ToBuy {
    Eye(EyeNeed),
    Drawer(DrawerNeed),
}

impl ToBuy {
    /// The end of the names of its fields.
    fn id(&self) -> String {
        match self {
            ToBuy::Eye(need) => format!("{}-{}", need.job, need.eye.name()),
            ToBuy::Drawer(need) => need.lens.id.0.simple().to_string(),
        }
    }

    fn listed(&self) -> LensListRow {
        match self {
            ToBuy::Eye(need) => LensListRow::of_eye(need),
            ToBuy::Drawer(need) => LensListRow::of_drawer(need),
        }
    }
}

/// Everything the page states but what is typed in it.
#[derive(Debug)]
pub(in crate::web) struct BuyingData {
    drawer: Vec<DrawerLens>,
    in_drawer: Vec<(EyeNeed, DrawerLensId)>,
    /// By supplier; those without one first.
    groups: Vec<(String, Vec<ToBuy>)>,
    open: Vec<PurchaseLine>,
}

async fn load(state: &AppState) -> Result<Arc<BuyingData>, WebError> {
    state.to_buy.get_or_read((state.store.changes(), state.lab()), read(state)).await
}

async fn read(state: &AppState) -> Result<BuyingData, WebError> {
    let store = &state.store;
    let (needs, drawer) = (state.list_needs().await?, store.list_drawer().await?);
    let netted = net(needs, &drawer);
    let open = store.list_open_purchase_lines().await?;
    let due = reorder(&drawer, &netted, &on_order(&open));
    let last = store.list_last_suppliers().await?;
    let Netted { in_drawer, to_buy } = netted;
    let mut groups: BTreeMap<String, Vec<ToBuy>> = BTreeMap::new();
    for need in to_buy {
        let supplier = last.get(&need.wanted.material).cloned().unwrap_or_default();
        groups.entry(supplier).or_default().push(ToBuy::Eye(need));
    }
    for need in due {
        let own = need.lens.supplier.as_ref().map(|supplier| supplier.name.clone());
        let supplier = own.or_else(|| last.get(&need.lens.details.material).cloned()).unwrap_or_default();
        groups.entry(supplier).or_default().push(ToBuy::Drawer(need));
    }
    Ok(BuyingData { drawer, in_drawer, groups: groups.into_iter().collect(), open })
}

fn on_order(open: &[PurchaseLine]) -> BTreeMap<DrawerLensId, i64> {
    let mut counts = BTreeMap::new();
    for line in open {
        if let OrderedFor::Drawer(id) = line.lens.ordered_for {
            *counts.entry(id).or_default() += line.to_come;
        }
    }
    counts
}

#[derive(Template)]
#[template(path = "buying/show.html")]
struct BuyingPage {
    chrome: Chrome,
    form: Form,
    summary: String,
    promise_key: String,
    in_drawer: Vec<DrawerMatchRow>,
    groups: Vec<SupplierGroup>,
    suppliers: Vec<Supplier>,
    open: Vec<OpenPurchaseRow>,
    newest: Vec<(i64, String)>,
}

/// An eye for which the drawer has a lens.
struct DrawerMatchRow {
    value: String,
    job: i64,
    eye: &'static str,
    letter: &'static str,
    customer: String,
    power: String,
    lens: String,
    promised: String,
}

struct SupplierGroup {
    supplier: String,
    key: String,
    id: String,
    names: GroupNames,
    rows: Vec<BuyingRow>,
    text: String,
}

struct BuyingRow {
    names: RowNames,
    is_ticked: bool,
    /// The job with the eye's name, letter and customer; `None` for the drawer.
    job: Option<(i64, &'static str, &'static str, String)>,
    listed: LensListRow,
    when: String,
}

/// An order that is not wholly here or not wholly put away.
struct OpenPurchaseRow {
    number: i64,
    supplier: String,
    expected: String,
    is_late: bool,
    to_come: i64,
    /// The jobs whose lens is here and waits.
    here: Vec<(i64, &'static str)>,
}

/// The names of the fields of a group.
struct GroupNames {
    supplier: String,
    expected_on: String,
    note: String,
}

/// The field that says which group is ordered.
const GROUP: &str = "group";
/// The field of a lens of the drawer to keep.
const KEEP: &str = "keep";
const KEY: &str = "buying-";
const PROMISE_KEY: &str = "buying-promise-";

impl GroupNames {
    fn of(group: &str) -> Self {
        let name = |field: &str| format!("{field}-{group}");
        Self { supplier: name("supplier"), expected_on: name("expected_on"), note: name("note") }
    }
}

/// The names of the fields of a row.
struct RowNames {
    line: String,
    count: String,
    diameter: String,
    base: String,
    price: String,
}

impl RowNames {
    fn of(id: &str) -> Self {
        let name = |field: &str| format!("{field}-{id}");
        Self {
            line: name("line"),
            count: name("count"),
            diameter: name("diameter"),
            base: name("base"),
            price: name("price"),
        }
    }
}

/// What a group is called in the names of its fields: only characters that an `id` may have.
fn group_id(supplier: &str) -> String {
    let plain: String = supplier.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
    if plain.is_empty() { "new".to_owned() } else { format!("to_{plain}") }
}

pub(crate) async fn show_buying(State(state): State<AppState>) -> PageResult {
    let data = load(&state).await?;
    let count = state.store.count_purchases().await?;
    let mut form = Form::default();
    for (supplier, _) in &data.groups {
        let draft = draft_of(&state, &key(count, &group_id(supplier))).await?;
        for (name, value) in draft.fields() {
            form.set(name, value.clone());
        }
    }
    show(&page(&state, &data, form, count).await?)
}

fn key(count: i64, group: &str) -> String {
    format!("{KEY}{count}-{group}").chars().take(60).collect()
}

async fn page(state: &AppState, data: &BuyingData, mut form: Form, count: i64) -> Result<BuyingPage, WebError> {
    let today = state.clock.today();
    let eyes: usize = data.groups.iter().map(|(_, rows)| rows.len()).sum();
    let lenses = |n: usize| if n == 1 { "1 line".to_owned() } else { format!("{n} lines") };
    Ok(BuyingPage {
        chrome: Chrome::new(state, "buying"),
        summary: format!("{} to buy, {} in the drawer", lenses(eyes), lenses(data.in_drawer.len())),
        promise_key: format!("{PROMISE_KEY}{}", state.store.count_promises().await?),
        in_drawer: data.in_drawer.iter().map(|(need, lens)| drawer_row(&data.drawer, need, *lens)).collect(),
        groups: data
            .groups
            .iter()
            .map(|(supplier, rows)| group(supplier.clone(), rows, &mut form, count, today))
            .collect(),
        suppliers: state.store.list_suppliers().await?,
        open: open_rows(&data.open, today),
        newest: state
            .store
            .list_newest_purchases(NEWEST_SHOWN)
            .await?
            .into_iter()
            .map(|(number, supplier, on)| (number, format!("{supplier}, {}", day(&on))))
            .collect(),
        form,
    })
}

fn drawer_row(drawer: &[DrawerLens], need: &EyeNeed, id: DrawerLensId) -> DrawerMatchRow {
    let lens = drawer.iter().find(|lens| lens.id == id);
    DrawerMatchRow {
        value: format!("{} {} {id}", need.job, need.eye.name()),
        job: need.job,
        eye: need.eye.name(),
        letter: need.eye.letter(),
        customer: need.customer.clone(),
        power: need.power_words(),
        lens: lens.map(lens_words).unwrap_or_default(),
        promised: day(&need.promised_on),
    }
}

fn lens_words(lens: &DrawerLens) -> String {
    let diameter = crate::optics::notation::short(lens.details.diameter.to_f64());
    format!("{}, {diameter} mm{}", lens.material_name, lens.surface_words())
}

fn group(supplier: String, rows: &[ToBuy], form: &mut Form, count: i64, today: Date) -> SupplierGroup {
    let id = group_id(&supplier);
    let names = GroupNames::of(&id);
    // A group that was sent or kept as a draft says itself which rows are chosen.
    let is_fresh = !form.has(&names.supplier);
    form.set_default(&names.supplier, supplier.clone());
    form.set_default(&names.expected_on, iso(&(today + Duration::days(USUAL_DAYS))));
    let listed = rows.iter().map(ToBuy::listed).collect();
    let text = LensListGroup { supplier: supplier.clone(), rows: listed }.text();
    let rows = rows.iter().map(|row| row_of(row, form, is_fresh)).collect();
    SupplierGroup { key: key(count, &id), supplier, id, names, rows, text }
}

fn row_of(row: &ToBuy, form: &mut Form, is_fresh: bool) -> BuyingRow {
    let (names, listed) = (RowNames::of(&row.id()), row.listed());
    form.set_default(&names.diameter, listed.diameter_mm.clone());
    form.set_default(&names.base, listed.base.clone());
    form.set_default(&names.count, listed.count.to_string());
    let (job, when) = match row {
        ToBuy::Eye(need) => {
            let job = (need.job, need.eye.name(), need.eye.letter(), need.customer.clone());
            (Some(job), format!("promised {}", day(&need.promised_on)))
        }
        ToBuy::Drawer(need) => {
            let at = need.lens.reorder_at.unwrap_or_default();
            (None, format!("{} free, {} on order; reorder at {at}", need.free, need.on_order))
        }
    };
    let is_ticked = if is_fresh { !listed.diameter_mm.is_empty() } else { form.is_checked(&names.line, "yes") };
    BuyingRow { is_ticked, names, job, listed, when }
}

fn open_rows(open: &[PurchaseLine], today: Date) -> Vec<OpenPurchaseRow> {
    let mut rows: Vec<OpenPurchaseRow> = Vec::new();
    for line in open {
        if rows.last().is_none_or(|row| row.number != line.purchase) {
            rows.push(OpenPurchaseRow {
                number: line.purchase,
                supplier: line.supplier.clone(),
                expected: day(&line.expected_on),
                is_late: line.expected_on < today,
                to_come: 0,
                here: Vec::new(),
            });
        }
        if let Some(row) = rows.last_mut() {
            row.to_come += line.to_come;
            if let (OrderedFor::Eye { job, eye }, true) = (line.lens.ordered_for, line.here > 0) {
                row.here.push((job, eye.name()));
            }
        }
    }
    for row in &mut rows {
        row.is_late &= row.to_come > 0;
    }
    rows
}

pub(crate) async fn order_lenses(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let mut form = Form::new(fields);
    let act = act_of(&posted_key(&form, KEY)?, &form);
    if let Some(number) = state.store.find_outcome(&act).await? {
        return go(&format!("/purchases/{number}"));
    }
    let data = load(&state).await?;
    let today = state.clock.today();
    if let Some(purchase) = read_purchase(&mut form, &data, today) {
        match state.store.insert_purchase(&act, &purchase, state.clock.now()).await {
            Err(StoreError::Twice(_)) => {
                let why = "One of these lenses was just ordered in another window: check the list and send it again";
                let supplier = GroupNames::of(form.value(GROUP)).supplier;
                form.fail(&supplier, why);
            }
            done => {
                if let Some(done) = form.kept(done)? {
                    let number = match done {
                        crate::store::once::Once::Now(number) => number.to_string(),
                        crate::store::once::Once::Before(number) => number,
                    };
                    return go(&format!("/purchases/{number}"));
                }
            }
        }
    }
    let count = state.store.count_purchases().await?;
    show_again(&page(&state, &data, form, count).await?)
}

/// The order of one group.
fn read_purchase(form: &mut Form, data: &BuyingData, today: Date) -> Option<NewPurchase> {
    let group = form.value(GROUP).to_owned();
    let names = GroupNames::of(&group);
    let supplier = form.read(&names.supplier, |t| text::needed("A supplier", t, 100));
    let expected_on = form.read(&names.expected_on, |t| match parse_day(t)? {
        day if day < today => Err("The expected day is past: choose a later one".to_owned()),
        day => Ok(day),
    });
    let note = form.read(&names.note, |t| text::line("A note", t, 300));
    let rows = data.groups.iter().filter(|(supplier, _)| group_id(supplier) == group).flat_map(|(_, rows)| rows);
    let chosen: Vec<&ToBuy> = rows.filter(|row| form.is_checked(&RowNames::of(&row.id()).line, "yes")).collect();
    if chosen.is_empty() {
        form.fail(&names.supplier, "No lens is chosen, or those chosen have just been ordered: tick at least one line");
    }
    let lines: Vec<Option<OrderedLens>> = chosen.into_iter().map(|row| read_line(form, row)).collect();
    let lines: Vec<OrderedLens> = lines.into_iter().collect::<Option<_>>()?;
    let (supplier, expected_on, note) = (supplier?, expected_on?, note?);
    form.is_fine().then_some(NewPurchase { supplier, ordered_on: today, expected_on, note, lines })
}

fn read_line(form: &mut Form, row: &ToBuy) -> Option<OrderedLens> {
    let names = RowNames::of(&row.id());
    let price = form.read_optional(&names.price, |t| Cents::read_price(t, Cents::MOST_PRICE));
    match row {
        ToBuy::Eye(need) => {
            let diameter = form.read(&names.diameter, |t| DIAMETER.read(t));
            let base = form.read_optional(&names.base, |t| BASE.read(t));
            Some(need.ordered(diameter?, base?, price?))
        }
        ToBuy::Drawer(need) => {
            let details = &need.lens.details;
            let count = form.read(&names.count, |t| match t.parse::<i64>() {
                Ok(count) if COUNT.contains(&count) => Ok(count),
                _ => Err(format!("The quantity is a whole number from 1 to {}, not “{t}”", COUNT.end())),
            });
            Some(OrderedLens {
                ordered_for: OrderedFor::Drawer(need.lens.id),
                material: details.material,
                coating: details.coating,
                second_coating: details.second_coating,
                tint: details.tint,
                treatments: need.lens.treatments.clone(),
                sphere: details.sphere,
                cylinder: details.cylinder,
                diameter: details.diameter,
                base: details.base,
                remark: String::new(),
                count: count?,
                price: price?,
            })
        }
    }
}

pub(crate) async fn promise_lenses(State(state): State<AppState>, Posted(fields): Posted<Fields>) -> PageResult {
    let form = Form::new(fields);
    let act = act_of(&posted_key(&form, PROMISE_KEY)?, &form);
    let promises: Vec<LensPromise> = form.values(KEEP).filter_map(read_promise).collect();
    match state.store.promise_lenses(&act, &promises, state.clock.now()).await {
        Err(StoreError::OutOfRange(_)) => Err(WebError::OutOfTurn(
            "One of these lenses was just taken or reserved in another window. Nothing was reserved: check the list \
             again."
                .to_owned(),
        )),
        done => {
            done?;
            go("/buying")
        }
    }
}

/// Job, eye and lens, as [`DrawerMatchRow::value`] writes them.
fn read_promise(value: &str) -> Option<LensPromise> {
    let mut parts = value.split(' ');
    let (job, eye, lens) = (parts.next()?.parse().ok()?, parts.next()?, parts.next()?.parse().ok()?);
    Some(LensPromise { job, eye: Eye::BOTH.into_iter().find(|own| own.name() == eye)?, lens })
}

async fn lens_list(state: &AppState) -> Result<LensList, WebError> {
    let data = load(state).await?;
    let listed = |rows: &[ToBuy]| rows.iter().map(ToBuy::listed).collect();
    let groups = data.groups.iter();
    let groups = groups.map(|(supplier, rows)| LensListGroup { supplier: supplier.clone(), rows: listed(rows) });
    let on = day(&state.clock.today());
    Ok(LensList::new(&state.lab(), "Lenses to buy".into(), on, "/buying", groups.collect()))
}

pub(crate) async fn print_list(State(state): State<AppState>) -> PageResult {
    show(&lens_list(&state).await?)
}

pub(crate) async fn save_list(State(state): State<AppState>) -> PageResult {
    let list = lens_list(&state).await?;
    let name = format!("lenses-to-buy-{}.csv", iso(&state.clock.today()));
    Ok(download(&name, CSV, list.csv().into_bytes()))
}
