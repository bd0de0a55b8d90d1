//! The sizes of uncut lenses that can be had for a job, which of them fits, and how a prescribed prism comes into the
//! lens: both follow from the same question, so they are decided together.
//!
//! A lens in hand settles it. Before, the smallest real size that covers the shape and has an edge at its own rim is
//! assumed, decentered for its prism. Where there is none, the prism is taken as ground in. Source: common practice.

use super::layout::{EyeOnBench, JobLayout};
use super::lens::{JobLens, LensOverrides};
use crate::desk::id::DrawerLensId;
use crate::desk::job::Job;
use crate::desk::lab::Lab;
use crate::desk::purchase::{OrderedFor, PurchaseLine};
use crate::desk::stock::{DrawerLens, LensInHand, Suit, WantedLens};
use crate::optics::direction::Directed;
use crate::optics::notation::short;
use crate::optics::prescription::Prism;
use crate::optics::prism::DecentrationError;
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};
use crate::shape::layout::Decentration;

/// Rounding error must not refuse a diameter that is exactly enough.
const ROUNDING_MM: f64 = 1e-9;

/// Where a size can be had.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SizeFrom {
    /// On order for this eye.
    Ordered,
    /// In the drawer, of the ordered material and power.
    Drawer,
    /// On the supplier's list of the job.
    Supplier,
    /// On the lab's list of stock diameters.
    Stock,
}

impl SizeFrom {
    pub fn words(self) -> &'static str {
        match self {
            SizeFrom::Ordered => "on order",
            SizeFrom::Drawer => "assumed, in the drawer",
            SizeFrom::Supplier => "assumed, the smallest that fits on the supplier’s list",
            SizeFrom::Stock => "assumed, the smallest stock lens that fits",
        }
    }
}

/// The diameter of an uncut lens that can be had.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RealSize {
    pub diameter_mm: f64,
    pub from: SizeFrom,
}

/// What there is to make the lenses of a job from.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Supply {
    pub in_hand: Pair<Option<LensInHand>>,
    /// The diameter that is on order for the eye.
    pub ordered_mm: Pair<Option<f64>>,
    /// The diameter of the lens that the drawer keeps for the eye.
    pub kept_mm: Pair<Option<f64>>,
    /// Diameters of lenses in the drawer that suit the order.
    pub drawer_mm: Pair<Vec<f64>>,
    /// Diameters on the supplier’s list of the job.
    pub supplier_mm: Vec<f64>,
}

impl Supply {
    /// The lenses in hand alone.
    pub fn of_hand(in_hand: Pair<Option<LensInHand>>) -> Self {
        Self { in_hand, ..Self::default() }
    }

    /// Takes the free lenses of the drawer that suit the order, and those it keeps for the job.
    #[must_use]
    pub fn with_drawer(self, job: &Job, drawer: &[DrawerLens], kept: &Pair<Option<DrawerLensId>>) -> Self {
        let mm = |lens: &DrawerLens| lens.details.diameter.to_f64();
        let suits = |eye: Eye| {
            let wanted = WantedLens::of(job, eye);
            drawer.iter().filter(|lens| lens.suit(&wanted) == Suit::Right).map(mm).collect()
        };
        Self {
            drawer_mm: Pair::new(suits(Eye::Right), suits(Eye::Left)),
            kept_mm: kept.map(|kept| drawer.iter().find(|lens| Some(lens.id) == kept).map(mm)),
            ..self
        }
    }

    /// Takes the supplier's list of the job.
    #[must_use]
    pub fn with_list(self, listed: &[Millimeter]) -> Self {
        Self { supplier_mm: listed.iter().map(|diameter| diameter.to_f64()).collect(), ..self }
    }

    /// Takes what was ordered for the job, oldest first, and is not in hand yet.
    #[must_use]
    pub fn with_orders(self, lines: &[PurchaseLine]) -> Self {
        let ordered_mm = |eye: Eye| {
            let is_own = |line: &&PurchaseLine| {
                matches!(line.lens.ordered_for, OrderedFor::Eye { eye: own, .. } if own == eye) && line.is_open()
            };
            lines.iter().rev().find(is_own).map(|line| line.lens.diameter.to_f64())
        };
        Self { ordered_mm: Pair::new(ordered_mm(Eye::Right), ordered_mm(Eye::Left)), ..self }
    }

    /// The real sizes for an eye, the smallest first. The lab's own list counts where no supplier has given one.
    pub(super) fn sizes(&self, eye: Eye, lab: &Lab) -> Vec<RealSize> {
        let all = |from: SizeFrom, mm: &[f64]| -> Vec<RealSize> {
            mm.iter().map(|&diameter_mm| RealSize { diameter_mm, from }).collect()
        };
        // A lens on order or kept for the eye will be the one in hand.
        let ordered = self.ordered_mm.get(eye).map(|mm| (SizeFrom::Ordered, mm));
        if let Some((from, mm)) = ordered.or(self.kept_mm.get(eye).map(|mm| (SizeFrom::Drawer, mm))) {
            return all(from, &[mm]);
        }
        let stock_mm: Vec<f64> = lab.stock_diameters.iter().map(|diameter| diameter.to_f64()).collect();
        let to_buy = match self.supplier_mm.is_empty() {
            true => all(SizeFrom::Stock, &stock_mm),
            false => all(SizeFrom::Supplier, &self.supplier_mm),
        };
        let mut sizes = [all(SizeFrom::Drawer, self.drawer_mm.get(eye)), to_buy].concat();
        // Stable: of two equal sizes the one in the drawer stays first.
        sizes.sort_by(|a, b| a.diameter_mm.total_cmp(&b.diameter_mm));
        sizes
    }
}

/// How the prescribed prism of an eye comes into its lens.
#[derive(Debug, Clone, PartialEq)]
pub enum PrismMade {
    /// The optical center is moved this far from the pupil.
    Decentered(Decentration),
    /// It is ground in on the back surface, and reads at the prism reference point, which stands before the pupil.
    Ground(WhyGround),
}

/// Why a prism is ground in.
#[derive(Debug, Clone, PartialEq)]
pub enum WhyGround {
    /// The lens in hand is surfaced with it.
    InHand,
    /// Decentration cannot make it.
    NotByDecentration(DecentrationError),
    /// No lens that can be had covers the shape once it is decentered: it would need this diameter.
    NoSize { needs_mm: f64 },
}

impl PrismMade {
    /// How far the optical center lies from the pupil.
    pub fn moved(&self) -> Option<Decentration> {
        match self {
            PrismMade::Decentered(moved) => Some(*moved),
            PrismMade::Ground(_) => None,
        }
    }
}

/// Decides prism and size of one eye.
pub(super) fn settle(layout: &mut JobLayout, job: &Job, eye: Eye, in_hand: Option<&LensInHand>) {
    let made = match layout.eyes.get(eye).by_decentration {
        None => None,
        Some(_) if in_hand.is_some_and(|lens| lens.has_ground_prism) => Some(PrismMade::Ground(WhyGround::InHand)),
        Some(Err(why)) => Some(PrismMade::Ground(WhyGround::NotByDecentration(why))),
        Some(Ok(moved)) => Some(PrismMade::Decentered(moved)),
    };
    choose(layout, job, eye, made);
    let laid = layout.eyes.get(eye);
    if laid.chosen.is_none() && in_hand.is_none() && matches!(laid.prism, Some(PrismMade::Decentered(_))) {
        let needs_mm = laid.blank().with_margin_mm;
        choose(layout, job, eye, Some(PrismMade::Ground(WhyGround::NoSize { needs_mm })));
    }
}

/// Takes the prism as made this way, and the smallest real size that then fits.
fn choose(layout: &mut JobLayout, job: &Job, eye: Eye, made: Option<PrismMade>) {
    layout.eye_mut(eye).prism = made;
    let lens = JobLens::of(job, eye, Some(layout), None, &LensOverrides::default());
    let laid = layout.eyes.get(eye);
    let least_mm = laid.blank().with_margin_mm - ROUNDING_MM;
    let covering = || laid.sizes.iter().filter(|size| least_mm <= size.diameter_mm);
    // A lens that cannot be computed is not refused for its rim.
    let has_rim = |size: &&RealSize| lens.as_ref().map_or(true, |lens| lens.has_rim_on(laid, size.diameter_mm));
    let chosen = covering().find(has_rim).copied();
    let rimless_mm = covering().next().filter(|_| chosen.is_none()).map(|size| size.diameter_mm);
    let laid = layout.eye_mut(eye);
    (laid.chosen, laid.rimless_mm) = (chosen, rimless_mm);
}

impl EyeOnBench {
    /// What to order where no lens that can be had will do; the same sentence on every page.
    pub fn no_stock_lens(&self) -> Option<String> {
        let needs = |mm: f64| format!("it needs {mm:.2} mm, and the largest is {} mm", short(self.largest_mm()));
        // What is on order fits.
        if self.chosen.is_some_and(|size| size.from == SizeFrom::Ordered) {
            return None;
        }
        let (why, smaller_frame) = match (&self.prism, self.rimless_mm) {
            (Some(PrismMade::Ground(WhyGround::NotByDecentration(_))), _) => {
                ("its prism cannot be made by decentration".to_owned(), "")
            }
            (Some(PrismMade::Ground(WhyGround::NoSize { needs_mm })), _) => {
                (format!("decentered for its prism {}", needs(*needs_mm)), ", or choose a smaller frame")
            }
            _ if self.chosen.is_some() => return None,
            (_, Some(diameter_mm)) => (
                format!("one of {} mm this thin would have no edge left at its own rim", short(diameter_mm)),
                ", use a thicker stock lens, or choose a smaller frame",
            ),
            (_, None) => (needs(self.blank().with_margin_mm), ", or choose a smaller frame"),
        };
        let with_prism = if self.prism.is_some() { ", with its prism ground," } else { "" };
        let or_larger = if self.rimless_mm.is_some() { "" } else { " or larger" };
        Some(format!(
            "No stock lens fits the {} eye: {why}. Order it surfaced{with_prism} to {} mm{or_larger}{smaller_frame}.",
            self.eye.name(),
            short(self.surfaced_diameter_mm()),
        ))
    }

    fn largest_mm(&self) -> f64 {
        self.sizes.last().map(|size| size.diameter_mm).unwrap_or_default()
    }
}

impl PrismMade {
    /// How the prism is made and where it reads, for layout and ticket. `blank_mm` is the smallest blank.
    pub fn words(&self, eye: Eye, prism: Prism, blank_mm: f64) -> String {
        let why = match self {
            PrismMade::Decentered(moved) => {
                let ways = [Directed::of(moved.in_mm, "in", "out"), Directed::of(moved.up_mm, "up", "down")];
                return format!(
                    "By decentration: optical center moved {} from the pupil; blank {blank_mm:.2} mm. Block the point \
                     where the lensmeter reads the prism",
                    Directed::join(&ways, "mm", " and ")
                );
            }
            PrismMade::Ground(WhyGround::InHand) => "Ground in".to_owned(),
            PrismMade::Ground(WhyGround::NotByDecentration(why)) => {
                format!("Cannot be made by decentration. {why}. Ground in")
            }
            PrismMade::Ground(WhyGround::NoSize { needs_mm }) => {
                format!("To be ground in: decentered, the {} lens would need {needs_mm:.2} mm. Ground in", eye.name())
            }
        };
        format!(
            "{why}, the lens reads {prism} at its prism reference point, before the pupil. Block that point; blank \
             {blank_mm:.2} mm around it"
        )
    }
}

impl EyeOnBench {
    /// The size to buy by, where a lens that can be had will do. A lens of the drawer goes before one to be bought.
    pub fn to_order(&self) -> Option<String> {
        let least_mm = self.blank().with_margin_mm - ROUNDING_MM;
        let covers = |size: &&RealSize| size.from == SizeFrom::Drawer && least_mm <= size.diameter_mm;
        let size = self.chosen.filter(|_| self.no_stock_lens().is_none())?;
        let size = self.sizes.iter().find(covers).copied().unwrap_or(size);
        let mm = short(size.diameter_mm);
        let decentered = if self.prism.is_some() { ", without prism; it is decentered for its prism" } else { "" };
        Some(match size.from {
            SizeFrom::Ordered => return None,
            SizeFrom::Drawer => format!("Take the {mm} mm lens in the drawer{decentered}."),
            SizeFrom::Supplier | SizeFrom::Stock => format!("Order {mm} mm or larger{decentered}."),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::layout::tests::{lab, round_job, round_shape};
    use crate::bench::layout::{Fit, Uncut};
    use crate::desk::lab::read_diameters;
    use crate::shape::blocker::BlockerStep;

    fn lay(rx: &str, diameters: &str, supply: &Supply) -> (Job, JobLayout) {
        let (job, lab) = (round_job(rx, "32/32"), Lab { stock_diameters: read_diameters(diameters).unwrap(), ..lab() });
        let layout = JobLayout::with_supply(&job, &round_shape(), &lab, BlockerStep::Half, supply);
        (job, layout)
    }

    fn in_hand(diameter: &str, has_ground_prism: bool) -> LensInHand {
        LensInHand {
            eye: Eye::Right,
            drawer_lens: None,
            source: String::new(),
            diameter: diameter.parse().unwrap(),
            center: None,
            front_power: None,
            off_in: Millimeter::ZERO,
            off_up: Millimeter::ZERO,
            has_ground_prism,
        }
    }

    #[test]
    fn a_strong_plus_lens_without_a_rim_does_not_fit() {
        // Round 44, 2 up: the bottom is 24 from the center and gets 1 mm. +12.50 in 1.498 on Vogel's front: from 24 to
        // 27.5 mm the lens loses 27.5² - 24² · 12.5 / 996 = 2.3 mm by the rule of thumb (textbook), and more by exact
        // sags. At 25 mm it loses 0.6.
        let (job, layout) = lay("+12.50 sph", "55 60 65", &Supply::default());
        let right = &layout.eyes.right;
        assert_eq!((right.chosen, right.rimless_mm), (None, Some(55.0)));
        let says = right.no_stock_lens().unwrap();
        assert_eq!(
            says,
            "No stock lens fits the right eye: one of 55 mm this thin would have no edge left at its own rim. Order it \
             surfaced to 50 mm, use a thicker stock lens, or choose a smaller frame."
        );
        let fit = |mm: f64| {
            let tried = LensOverrides { diameter_mm: Some(mm), ..LensOverrides::default() };
            JobLens::of(&job, Eye::Right, Some(&layout), None, &tried).unwrap().cover_on(right).fit
        };
        assert_eq!((fit(55.0), fit(50.0), fit(40.0)), (Fit::NoRim, Fit::Fits, Fit::TooSmall));
        // +4.00 loses 0.7 mm on the way: its rim keeps 0.3.
        let (_, layout) = lay("+4.00 sph", "55 60 65", &Supply::default());
        assert_eq!(layout.eyes.right.stock_diameter_mm(), Some(55.0));
    }

    #[test]
    fn a_lens_in_hand_exists_whatever_its_center() {
        let lens = in_hand("55", false);
        let (job, layout) =
            lay("+12.50 sph", "55", &Supply { in_hand: Pair::new(Some(lens.clone()), None), ..Supply::default() });
        let of = |lens: &LensInHand| {
            let made = JobLens::of(&job, Eye::Right, Some(&layout), Some(lens), &LensOverrides::default());
            made.unwrap().cover_on(&layout.eyes.right).fit
        };
        assert_eq!(of(&lens), Fit::Fits, "its envelope does not say its center");
        // 7 mm of center cannot carry +12.50 over 55 mm: 27.5² · 12.5 / 996 = 9.5 (textbook rule of thumb).
        assert_eq!(of(&LensInHand { center: Some("7".parse().unwrap()), ..lens }), Fit::NoRim);
    }

    #[test]
    fn the_drawer_and_the_suppliers_list_count() {
        let sizes = |supply: &Supply| {
            let right = lay("-1.00 sph", "55 60", supply).1.eyes.right;
            (right.chosen.unwrap().diameter_mm, right.chosen.unwrap().from)
        };
        assert_eq!(sizes(&Supply::default()), (55.0, SizeFrom::Stock));
        let drawer = Supply { drawer_mm: Pair::new(vec![48.0, 52.0], Vec::new()), ..Supply::default() };
        assert_eq!(sizes(&drawer), (52.0, SizeFrom::Drawer));
        // A lens that is kept for the eye or on order goes before every other.
        let kept = Supply { kept_mm: Pair::new(Some(60.0), None), ..drawer.clone() };
        assert_eq!(sizes(&kept), (60.0, SizeFrom::Drawer));
        let ordered = Supply { ordered_mm: Pair::new(Some(65.0), None), ..kept };
        assert_eq!(sizes(&ordered), (65.0, SizeFrom::Ordered));
        assert_eq!(lay("pl 2 BI", "55", &ordered).1.eyes.right.no_stock_lens(), None, "it is on order already");
        let same = Supply { drawer_mm: Pair::new(vec![55.0], Vec::new()), ..Supply::default() };
        assert_eq!(sizes(&same), (55.0, SizeFrom::Drawer));
        let listed = Supply { supplier_mm: vec![70.0, 65.0], ..Supply::default() };
        assert_eq!(sizes(&listed), (65.0, SizeFrom::Supplier), "the lab's own list then does not count");
        let none = Supply { supplier_mm: vec![45.0], ..Supply::default() };
        let says = lay("-1.00 sph", "55 60", &none).1.eyes.right.no_stock_lens().unwrap();
        assert!(says.contains("needs 50.00 mm, and the largest is 45 mm"), "{says}");
    }

    #[test]
    fn a_ground_prism_is_blocked_where_it_reads() {
        // -4.00 with 2 base in: decentered, the optical center goes 5 mm out (Prentice).
        for (supply, ground, center_x_mm, needs_mm) in [
            (Supply::default(), false, -5.0, 2.0 * (22.0 + 5.0_f64.hypot(2.0)) + 2.0),
            (Supply { in_hand: Pair::new(Some(in_hand("60", true)), None), ..Supply::default() }, true, 0.0, 50.0),
        ] {
            let (job, layout) = lay("-4.00 sph 2 BI", "55 60", &supply);
            let right = &layout.eyes.right;
            assert!((right.optical_center().x_mm - center_x_mm).abs() < 1e-9);
            assert!((right.blank().with_margin_mm - needs_mm).abs() < 0.002, "{}", right.blank().with_margin_mm);
            assert_eq!(right.layout.blocker.set_pd_mm, 32.0, "the blocker goes by the point where the prism reads");
            let hand = supply.in_hand.right.as_ref();
            let lens = JobLens::of(&job, Eye::Right, Some(&layout), hand, &LensOverrides::default()).unwrap();
            assert_eq!(lens.has_surfaced_prism, ground);
            // 44 mm across at 2 prism diopters: 44 · 2 / (100 · 0.498) = 1.767 between nose and temple (textbook).
            let cut = lens.cut(&layout).unwrap();
            let at = |deg: f64| {
                cut.edge.points().iter().min_by(|a, b| (a.deg - deg).abs().total_cmp(&(b.deg - deg).abs())).unwrap().mm
            };
            let share = (at(0.0) - at(180.0)) / 1.767;
            assert!(share > 1.0 && share < 1.15, "thick at the base both ways; the thumb runs low: {share}");
            let words = right.prism.as_ref().unwrap().words(Eye::Right, job.prescription.eyes.right.prism, 50.0);
            assert_eq!(words.contains("reads 2.00 base in at its prism reference point"), ground, "{words}");
        }
        // The reference point may lie off the middle of the blank.
        let laid = lay(
            "-4.00 sph 2 BI",
            "55",
            &Supply { in_hand: Pair::new(Some(in_hand("60", true)), None), ..Supply::default() },
        )
        .1;
        let middle = laid.eyes.right.middle_of(Uncut { diameter_mm: 60.0, off_in_mm: 3.0, off_up_mm: 0.0 });
        assert!((middle.x_mm + 3.0).abs() < 1e-9);
    }

    #[test]
    fn what_to_order_is_said_before_buying() {
        let right = |rx: &str, diameters: &str| lay(rx, diameters, &Supply::default()).1.eyes.right;
        assert_eq!(right("-4.00 sph", "55 60").to_order().as_deref(), Some("Order 55 mm or larger."));
        assert_eq!(
            right("-4.00 sph 2 BI", "55 60").to_order().as_deref(),
            Some("Order 60 mm or larger, without prism; it is decentered for its prism.")
        );
        let drawer = Supply { drawer_mm: Pair::new(vec![45.0, 65.0], Vec::new()), ..Supply::default() };
        let laid = lay("-4.00 sph", "55 60", &drawer).1.eyes.right;
        assert_eq!(laid.to_order().as_deref(), Some("Take the 65 mm lens in the drawer."));
        // Decentered it needs 56.77 mm: with nothing larger than 55 its prism is to be ground in.
        let laid = right("-4.00 sph 2 BI", "50 55");
        assert_eq!(laid.to_order(), None);
        assert_eq!(
            laid.no_stock_lens().as_deref(),
            Some(
                "No stock lens fits the right eye: decentered for its prism it needs 56.77 mm, and the largest is 55 mm. \
                 Order it surfaced, with its prism ground, to 50 mm or larger, or choose a smaller frame."
            )
        );
        assert_eq!(laid.stock_diameter_mm(), Some(50.0), "ground in, it goes around the pupil");
    }
}
