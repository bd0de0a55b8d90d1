//! Lenses of the demonstration that are ordered, here, kept in the drawer or due: the newest open jobs have them.

use time::{Date, Duration, OffsetDateTime};

use super::DemoError;
use crate::bench::buying::EyeNeed;
use crate::bench::layout::{JobLayout, step_of};
use crate::desk::lab::Lab;
use crate::desk::purchase::{NewPurchase, PurchaseMove, PurchaseMoveKind};
use crate::desk::stock::DrawerLensDetails;
use crate::optics::Eye;
use crate::optics::unit::Millimeter;
use crate::store::Store;
use crate::store::lens_promise::LensPromise;

const SUPPLIERS: [&str; 2] = ["Brightwater Optical", "Tidemark Lens Supply"];
/// How many kinds of the drawer have a reorder point.
const WATCHED: usize = 12;

/// Orders lenses for two jobs, one of them late and half received, and puts coated ones for a third into the drawer.
pub async fn order_lenses(store: &Store, lab: &Lab, today: Date, now: OffsetDateTime) -> Result<(), DemoError> {
    let needs = store.list_jobs_in_need().await?;
    let needs: Vec<Vec<EyeNeed>> = needs
        .iter()
        .filter_map(|need| {
            let layout = JobLayout::of(&need.job, need.shape.as_ref()?, lab, step_of(lab));
            Some(need.eyes.iter().filter_map(|eye| EyeNeed::of(&need.job, *eye, Some(&layout))).collect())
        })
        .collect();
    let days = |days| today + Duration::days(days);
    let orders = [(SUPPLIERS[0], days(-4), days(3)), (SUPPLIERS[1], days(-9), days(-2))];
    for (needs, (supplier, ordered_on, expected_on)) in needs.iter().zip(orders) {
        let purchase = NewPurchase {
            supplier: supplier.to_owned(),
            ordered_on,
            expected_on,
            note: String::new(),
            lines: needs.iter().filter_map(|need| Some(need.ordered(order_mm(need)?, None, None))).collect(),
        };
        store.insert_purchase(&format!("demo-purchase-{supplier}"), &purchase, now).await?;
    }
    receive_the_late_one(store, today, now).await?;
    if let Some(needs) = needs.get(orders.len()) {
        stock_for(store, needs, now).await?;
    }
    for lens in store.list_drawer().await?.iter().filter(|lens| lens.count <= 4).take(WATCHED) {
        store.set_reorder_point(lens.id, Some(2), SUPPLIERS[1], now).await?;
    }
    Ok(())
}

fn order_mm(need: &EyeNeed) -> Option<Millimeter> {
    need.size.order_mm().and_then(|mm| Millimeter::round_from(mm).ok())
}

/// Of the order that is late, the right lens is here.
async fn receive_the_late_one(store: &Store, today: Date, now: OffsetDateTime) -> Result<(), DemoError> {
    let open = store.list_open_purchase_lines().await?;
    if let Some(line) = open.iter().find(|line| line.expected_on < today) {
        let source = "lot 20-118, certificate on file".to_owned();
        let came = PurchaseMove { line: line.seq, kind: PurchaseMoveKind::Arrived, count: 1, source };
        store.move_purchase_lines("demo-arrival", line.purchase, &[came], now).await?;
    }
    Ok(())
}

/// Puts the lenses of a job into the drawer; those of the right eye are kept for it.
async fn stock_for(store: &Store, needs: &[EyeNeed], now: OffsetDateTime) -> Result<(), DemoError> {
    for need in needs {
        let Some(ordered) = order_mm(need).map(|mm| need.ordered(mm, None, None)) else { continue };
        let lens = DrawerLensDetails {
            material: ordered.material,
            coating: ordered.coating,
            second_coating: ordered.second_coating,
            tint: ordered.tint,
            sphere: ordered.sphere,
            cylinder: ordered.cylinder,
            diameter: ordered.diameter,
            center: None,
            front_power: None,
            base: "4".parse().ok(),
        };
        store.stock_lens(&format!("demo-coated-{}", need.eye.name()), &lens, 2, now).await?;
        let kept = store.list_drawer().await?.into_iter().find(|kind| kind.details == lens && need.eye == Eye::Right);
        if let Some(kind) = kept {
            let promise = LensPromise { job: need.job, eye: need.eye, lens: kind.id };
            store.promise_lenses("demo-promise", &[promise], now).await?;
        }
    }
    Ok(())
}
