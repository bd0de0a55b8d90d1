//! Which lenses must be bought: what the open jobs need, less what the drawer has, and what its reorder points call for.

use std::collections::BTreeMap;

use time::Date;

use super::layout::{EyeOnBench, JobLayout};
use crate::desk::id::{DrawerLensId, MaterialId};
use crate::desk::job::{EyeTask, Job};
use crate::desk::money::Cents;
use crate::desk::purchase::{OrderedFor, OrderedLens};
use crate::desk::stock::{DrawerLens, Suit, WantedLens, plain_power, treatment_words};
use crate::optics::Eye;
use crate::optics::notation::short;
use crate::optics::prescription::LensPower;
use crate::optics::unit::{Diopter, Millimeter};

/// A lens that an eye of an open job needs: none is in hand, promised from the drawer or on its way.
#[derive(Debug, Clone, PartialEq)]
pub struct EyeNeed {
    pub job: i64,
    pub customer: String,
    pub promised_on: Date,
    pub eye: Eye,
    pub wanted: WantedLens,
    pub material_name: String,
    /// The names of its coatings and tint; empty for none.
    pub treatments: String,
    pub size: NeededSize,
    /// What else is asked for: a balance lens, a prism to be ground in.
    pub remark: String,
}

/// How large the uncut lens must be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NeededSize {
    /// The shape is not on file.
    NotTraced,
    /// A lens with its optical center in its middle.
    Stock {
        /// The smallest with the lab's allowance.
        least_mm: f64,
        /// The smallest that can be bought.
        order_mm: f64,
    },
    /// No stock lens is large enough: it must be surfaced to this diameter or larger.
    Surfaced { order_mm: f64 },
}

impl NeededSize {
    fn of(laid: &EyeOnBench) -> Self {
        let least_mm = laid.blank().with_margin_mm;
        match laid.stock_diameter_mm() {
            Some(order_mm) if laid.no_stock_lens().is_none() => Self::Stock { least_mm, order_mm },
            _ => Self::Surfaced { order_mm: laid.surfaced_diameter_mm() },
        }
    }

    /// The one diameter to order, where it is known.
    pub fn order_mm(self) -> Option<f64> {
        match self {
            Self::NotTraced => None,
            Self::Stock { order_mm, .. } | Self::Surfaced { order_mm } => Some(order_mm),
        }
    }

    /// `70 mm or larger`.
    pub fn words(self) -> String {
        match self {
            Self::NotTraced => "no shape on file yet".to_owned(),
            Self::Stock { order_mm, .. } => format!("{} mm or larger", short(order_mm)),
            Self::Surfaced { order_mm } => format!("surfaced, {} mm or larger", short(order_mm)),
        }
    }

    /// Whether a lens of the drawer is large enough. Without a shape nothing is known against it.
    fn fits(self, diameter_mm: f64) -> bool {
        match self {
            Self::NotTraced => true,
            Self::Stock { least_mm, .. } => least_mm <= diameter_mm + 1e-9,
            Self::Surfaced { .. } => false,
        }
    }
}

impl EyeNeed {
    /// What one eye of a job needs; `None` where no lens is made for it.
    pub fn of(job: &Job, eye: Eye, layout: Option<&JobLayout>) -> Option<Self> {
        let task = job.eyes.get(eye).task;
        if !task.is_made() {
            return None;
        }
        let laid = layout.map(|layout| layout.eyes.get(eye));
        Some(Self {
            job: job.number,
            customer: job.customer.person.name.clone(),
            promised_on: job.promised_on,
            eye,
            wanted: WantedLens::of(job, eye),
            material_name: job.material.details.name.clone(),
            treatments: treatment_words(job),
            size: laid.map_or(NeededSize::NotTraced, NeededSize::of),
            remark: remark(task, laid),
        })
    }

    /// The line of an order for it.
    pub fn ordered(&self, diameter: Millimeter, base: Option<Diopter>, price: Option<Cents>) -> OrderedLens {
        let power = self.wanted.power.to_minus();
        OrderedLens {
            ordered_for: OrderedFor::Eye { job: self.job, eye: self.eye },
            material: self.wanted.material,
            coating: self.wanted.coatings.first().copied(),
            second_coating: self.wanted.coatings.get(1).copied(),
            tint: self.wanted.tint,
            treatments: self.treatments.clone(),
            sphere: power.sphere(),
            cylinder: power.cylinder(),
            diameter,
            base,
            remark: self.remark.clone(),
            count: 1,
            price,
        }
    }

    /// The power in minus form, without the axis: an uncut lens can be turned.
    pub fn power_words(&self) -> String {
        power_words(self.wanted.power)
    }
}

fn power_words(power: LensPower) -> String {
    let power = power.to_minus();
    plain_power(power.sphere(), power.cylinder())
}

fn remark(task: EyeTask, laid: Option<&EyeOnBench>) -> String {
    let balance = (task == EyeTask::Balance).then_some("balance lens: the power may be another one near this");
    let needs_prism = |laid: &&EyeOnBench| laid.prism.is_some() && laid.no_stock_lens().is_some();
    let prism = laid.filter(needs_prism).map(|_| "with the prescribed prism ground in");
    balance.into_iter().chain(prism).collect::<Vec<_>>().join("; ")
}

/// The needs of the open jobs, against the drawer.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Netted {
    /// The drawer has a free lens for these.
    pub in_drawer: Vec<(EyeNeed, DrawerLensId)>,
    /// These must be bought.
    pub to_buy: Vec<EyeNeed>,
}

/// Sets the needs against the free lenses of the drawer, in the order of the needs. Each free lens serves one eye; the
/// smallest that fits is used, because a smaller plus lens is thinner and the larger ones fit more frames.
pub fn net(needs: Vec<EyeNeed>, drawer: &[DrawerLens]) -> Netted {
    // The kinds of a material and sphere stand together, so that an eye looks only at those that can be its own.
    let mut kinds: BTreeMap<(MaterialId, i32), Vec<(&DrawerLens, i64)>> = BTreeMap::new();
    for lens in drawer.iter().filter(|lens| lens.free() > 0) {
        kinds
            .entry(key(lens.details.material, lens.details.sphere.to_f64_in_eighths()))
            .or_default()
            .push((lens, lens.free()));
    }
    let mut netted = Netted::default();
    for need in needs {
        let sphere_d = need.wanted.power.to_minus().sphere().to_f64_in_eighths();
        let own = kinds.get_mut(&key(need.wanted.material, sphere_d)).map(Vec::as_mut_slice).unwrap_or_default();
        let fitting = own.iter_mut().filter(|(lens, left)| {
            *left > 0 && lens.suit(&need.wanted) == Suit::Right && need.size.fits(lens.details.diameter.to_f64())
        });
        match fitting.min_by_key(|(lens, _)| (lens.details.diameter, lens.id)) {
            Some((lens, left)) => {
                *left -= 1;
                netted.in_drawer.push((need, lens.id));
            }
            None => netted.to_buy.push(need),
        }
    }
    netted
}

/// Eighths are written as two spellings; both come to the same thousandths.
fn key(material: MaterialId, sphere_d: f64) -> (MaterialId, i32) {
    (material, (sphere_d * 1000.0).round() as i32)
}

/// A kind of the drawer that has come to its reorder point.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawerNeed {
    pub lens: DrawerLens,
    /// How many are free, less those that open jobs are about to take.
    pub free: i64,
    /// How many are on their way.
    pub on_order: i64,
    /// How many to order: what brings the free ones above the reorder point, in pairs (common practice).
    pub order: i64,
}

/// The kinds of the drawer that have come to their reorder point. `on_order` counts what is on its way for each.
pub fn reorder(drawer: &[DrawerLens], netted: &Netted, on_order: &BTreeMap<DrawerLensId, i64>) -> Vec<DrawerNeed> {
    let about_to_go = |id| netted.in_drawer.iter().filter(|(_, lens)| *lens == id).count() as i64;
    let due = drawer.iter().filter_map(|lens| {
        let reorder_at = lens.reorder_at?;
        let free = lens.free() - about_to_go(lens.id);
        let on_order = on_order.get(&lens.id).copied().unwrap_or_default();
        let short = reorder_at + 1 - free - on_order;
        (short > 0).then(|| DrawerNeed { lens: lens.clone(), free, on_order, order: (short + 1) / 2 * 2 })
    });
    due.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::layout::tests::{lab, round_job, round_shape};
    use crate::desk::lab::{Lab, read_diameters};
    use crate::desk::stock::tests::drawer_lens;
    use crate::optics::prescription::read;
    use crate::shape::blocker::BlockerStep;
    use proptest::prelude::*;
    use time::macros::date;

    fn need(job: i64, rx: &str, size: NeededSize) -> EyeNeed {
        let wanted = WantedLens {
            material: drawer_lens(1, "-2.00").details.material,
            coatings: Vec::new(),
            tint: None,
            power: read(rx).unwrap().rx.power,
        };
        EyeNeed {
            job,
            customer: "Ada Quill".into(),
            promised_on: date!(2026 - 12 - 01),
            eye: Eye::Right,
            wanted,
            material_name: "Hard resin 1.50".into(),
            treatments: String::new(),
            size,
            remark: String::new(),
        }
    }

    fn sized(id: u128, sphere: &str, diameter: &str, count: i64) -> DrawerLens {
        let mut lens = drawer_lens(id, sphere);
        (lens.details.diameter, lens.count) = (diameter.parse().unwrap(), count);
        lens
    }

    const FITS_65: NeededSize = NeededSize::Stock { least_mm: 61.2, order_mm: 65.0 };

    #[test]
    fn a_round_frame_needs_the_smallest_that_can_be_bought() {
        // A 44 with the center 2 up and 0 in: 2 · (22 + 2) and 2 of allowance are 50, so 55 is the smallest of the usual
        // diameters (closed form).
        let job = round_job("-5.00 -1.00 x 10", "32/32");
        let layout = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
        let traced = EyeNeed::of(&job, Eye::Right, Some(&layout)).unwrap();
        assert_eq!((traced.size.words().as_str(), traced.power_words().as_str()), ("55 mm or larger", "-5.00 -1.00"));
        let untraced = EyeNeed::of(&job, Eye::Right, None).unwrap();
        assert_eq!(untraced.size.words(), "no shape on file yet");
        // The plus form is turned: +1.00 at 100 on -6.00.
        let plus = EyeNeed::of(&round_job("-6.00 +1.00 x 100", "32/32"), Eye::Left, None).unwrap();
        assert_eq!(plus.power_words(), "-5.00 -1.00");
        // Twelve further out no lens of 70 or less covers: 2 · (22 + hypot(12, 2)) and 2 are 70.33.
        let job = round_job("-5.00 sph", "20/20");
        let lab = Lab { stock_diameters: read_diameters("65 70").unwrap(), ..lab() };
        let layout = JobLayout::of(&job, &round_shape(), &lab, BlockerStep::Half);
        let surfaced = EyeNeed::of(&job, Eye::Right, Some(&layout)).unwrap();
        assert_eq!(surfaced.size.words(), "surfaced, 71 mm or larger");
    }

    #[test]
    fn nothing_is_needed_for_an_eye_whose_lens_stays_and_a_balance_lens_says_so() {
        let mut job = round_job("-5.00 sph", "32/32");
        job.eyes.left.task = EyeTask::Keep;
        assert_eq!(EyeNeed::of(&job, Eye::Left, None), None);
        job.eyes.left.task = EyeTask::Balance;
        let need = EyeNeed::of(&job, Eye::Left, None).unwrap();
        assert_eq!(need.power_words(), "-5.00 sph");
        assert!(need.remark.contains("balance lens"), "{}", need.remark);
    }

    #[test]
    fn the_drawer_serves_each_eye_with_the_smallest_that_fits() {
        let drawer = [sized(1, "-2.00", "75", 1), sized(2, "-2.00", "65", 1), sized(3, "-2.00", "60", 5)];
        let needs = vec![
            need(1, "-2.00 sph", FITS_65),
            need(2, "-2.00 sph", FITS_65),
            need(3, "-2.00 sph", FITS_65),
            need(4, "-2.00 sph", NeededSize::NotTraced),
            need(5, "-2.00 sph", NeededSize::Surfaced { order_mm: 81.0 }),
            need(6, "-2.12 sph", FITS_65),
        ];
        let netted = net(needs, &drawer);
        let served: Vec<(i64, u128)> = netted.in_drawer.iter().map(|(need, id)| (need.job, id.0.as_u128())).collect();
        assert_eq!(served, [(1, 2), (2, 1), (4, 3)]);
        assert_eq!(netted.to_buy.iter().map(|need| need.job).collect::<Vec<_>>(), [3, 5, 6]);
    }

    #[test]
    fn a_promised_lens_serves_no_other_eye() {
        let mut lens = sized(1, "-2.00", "70", 2);
        lens.promised = 1;
        let netted = net(vec![need(1, "-2.00 sph", FITS_65), need(2, "-2.00 sph", FITS_65)], &[lens]);
        assert_eq!((netted.in_drawer.len(), netted.to_buy.len()), (1, 1));
    }

    #[test]
    fn a_kind_at_its_reorder_point_is_bought_in_pairs() {
        for (count, promised, reorder_at, on_order, want) in [
            (3, 0, Some(2), 0, None),
            (2, 0, Some(2), 0, Some(2)),
            (1, 0, Some(2), 0, Some(2)),
            (0, 0, Some(2), 0, Some(4)),
            (3, 1, Some(2), 0, Some(2)),
            (0, 0, Some(0), 0, Some(2)),
            (0, 0, Some(2), 3, None),
            (0, 0, Some(2), 2, Some(2)),
            (0, 0, None, 0, None),
        ] {
            let mut lens = sized(1, "-2.00", "70", count);
            (lens.promised, lens.reorder_at) = (promised, reorder_at);
            let due = reorder(&[lens.clone()], &Netted::default(), &BTreeMap::from([(lens.id, on_order)]));
            assert_eq!(due.first().map(|due| due.order), want, "{count} less {promised}, {on_order} on order");
        }
        // What an open job is about to take counts as gone.
        let mut lens = sized(1, "-2.00", "70", 3);
        lens.reorder_at = Some(2);
        let netted = net(vec![need(1, "-2.00 sph", FITS_65)], &[lens.clone()]);
        assert_eq!(reorder(&[lens], &netted, &BTreeMap::new())[0].order, 2);
    }

    fn any_need() -> impl Strategy<Value = EyeNeed> {
        let size = prop_oneof![
            Just(NeededSize::NotTraced),
            (50.0..80.0_f64).prop_map(|least_mm| NeededSize::Stock { least_mm, order_mm: least_mm.ceil() }),
            Just(NeededSize::Surfaced { order_mm: 81.0 }),
        ];
        (0..4_i32, size).prop_map(|(quarters, size)| need(0, &format!("-{}.00 sph", quarters + 1), size))
    }

    fn any_lens() -> impl Strategy<Value = DrawerLens> {
        (0..4_i32, 50..80_i32, 0..4_i64, 0..4_i64).prop_map(|(sphere, diameter, count, promised)| {
            let mut lens = sized(0, &format!("-{}.00", sphere + 1), &diameter.to_string(), count);
            lens.promised = promised.min(count);
            lens
        })
    }

    proptest! {
        #[test]
        fn no_lens_is_used_twice_and_none_that_fits_is_left(
            needs in prop::collection::vec(any_need(), 0..30), drawer in prop::collection::vec(any_lens(), 0..12),
        ) {
            let drawer: Vec<DrawerLens> = (1_u128..).zip(drawer)
                .map(|(id, lens)| DrawerLens { id: DrawerLensId(uuid::Uuid::from_u128(id)), ..lens }).collect();
            let count = needs.len();
            let netted = net(needs, &drawer);
            prop_assert_eq!(netted.in_drawer.len() + netted.to_buy.len(), count);
            for lens in &drawer {
                let used = netted.in_drawer.iter().filter(|(_, id)| *id == lens.id).count() as i64;
                prop_assert!(used <= lens.free());
                for (need, _) in netted.in_drawer.iter().filter(|(_, id)| *id == lens.id) {
                    prop_assert_eq!(lens.suit(&need.wanted), Suit::Right);
                    prop_assert!(need.size.fits(lens.details.diameter.to_f64()));
                }
                let would_fit = |need: &EyeNeed| lens.suit(&need.wanted) == Suit::Right
                    && need.size.fits(lens.details.diameter.to_f64());
                prop_assert!(used == lens.free() || !netted.to_buy.iter().any(would_fit));
            }
        }
    }
}
