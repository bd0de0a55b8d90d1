//! Which lens a job has: its front, center thickness and diameter, and its edge on the shape.
//!
//! [`JobLens::of`] is the only answer to this question, for every page and paper. Each number is what the owner asked
//! for on the page, else that of the lens in hand, else assumed, and says which of these it is. Assumed are the front
//! by Vogel's rule, taken to the nearest usual one, and the material's usual center or, where that leaves less edge
//! than the rim needs, the center that leaves it (common practice; a rule of thumb until there is a shape).
//!
//! Prescribed prism that is made by decentration moves the optical center, as on the layout. Prism that is ground in, in
//! the lens in hand or because nothing else will do ([`super::real_size`]), is a tilt of the back surface.

use super::bevel_place::hold_of;
use super::layout::{Cover, EyeOnBench, Fit, JobLayout, Uncut};
use super::real_size::PrismMade;
use crate::desk::catalogue::MaterialDetails;
use crate::desk::fitting::WRAPPED_DEG;
use crate::desk::job::Job;
use crate::desk::limit::{LengthLimit, PowerLimit};
use crate::desk::stock::{FRONT, LensInHand};
use crate::optics::lens::{Lens, LensError, LensOrder};
use crate::optics::material::usual_front_d;
use crate::optics::power::SphereCylinder;
use crate::optics::prism::{BaseVector, decentration_for};
use crate::optics::surface::true_from_tool_d;
use crate::optics::unit::Diopter;
use crate::optics::{Eye, Pair};
use crate::shape::bevel::Hold;
use crate::shape::edge::{Edge, TooThin};
use crate::shape::outline::Point;
use crate::shape::thickness::{
    Thickness, lens_with_thickness, lens_with_thickness_by_thumb, lens_with_usual_thickness,
};
use crate::shape::volume::{volume_mm3, weight_g};

/// The front of a lens on trial. It may be hollow, unlike that of a stock lens.
pub const TRIAL_FRONT: PowerLimit = PowerLimit::new("A front", -1000, 2000);
/// The thinnest place of an edge on trial.
pub const THINNEST_EDGE: LengthLimit = LengthLimit::new("A thinnest edge", 0, 1000);

/// What is tried instead of what the job has.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LensOverrides<'a> {
    /// Another material. A lens in hand is not of it, so it does not count.
    pub material: Option<&'a MaterialDetails>,
    /// Another power than the one the lensmeter is to read.
    pub power: Option<SphereCylinder>,
    /// Another way to hold the lens than the rim's own, which decides the least edge.
    pub hold: Option<Hold>,
    /// True power of the front in the lens's own index.
    pub front_power_d: Option<f64>,
    pub thickness: Option<Thickness>,
    pub diameter_mm: Option<f64>,
}

/// Where a number of a lens comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Origin {
    /// The envelope of the lens in hand.
    InHand,
    /// Asked for on the page.
    Asked,
    /// The lens that the power to order was decided for.
    Decided,
    /// The rim's own curve in the trace of a wrapped front.
    Rim,
    /// Not stated.
    Assumed,
}

impl Origin {
    pub const ALL: [Origin; 5] = [Origin::InHand, Origin::Asked, Origin::Decided, Origin::Rim, Origin::Assumed];

    /// A name that never changes, for the book.
    pub fn key(self) -> &'static str {
        match self {
            Origin::InHand => "in_hand",
            Origin::Asked => "asked",
            Origin::Decided => "decided",
            Origin::Rim => "rim",
            Origin::Assumed => "assumed",
        }
    }

    /// The origin of a [`key`](Self::key).
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|origin| origin.key() == key)
    }

    pub fn words(self) -> &'static str {
        match self {
            Origin::InHand => "as in hand",
            Origin::Asked => "as asked",
            Origin::Decided => "as decided",
            Origin::Rim => "the rim’s own curve",
            Origin::Assumed => "assumed",
        }
    }
}

/// The edge by the rule of thumb, shown beside the exact figures: the center less h² F / (2000 (n - 1)), with h the
/// distance from the optical center and F the power in that direction. Surfaced prism adds h P / (100 (n - 1)) towards
/// the base (textbook).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thumb {
    /// Where the exact edge is thinnest.
    pub thinnest_mm: f64,
    /// Where the exact edge is thickest.
    pub thickest_mm: f64,
}

/// The lens of one eye of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct JobLens {
    pub eye: Eye,
    pub body: Lens,
    pub front_from: Origin,
    pub thickness_from: Origin,
    /// The uncut lens, where its diameter is known.
    pub uncut: Option<(Uncut, Origin)>,
    /// Whether prescribed prism is a tilt of the back.
    pub has_surfaced_prism: bool,
    density_g_per_cm3: f64,
}

/// The lens of one eye, cut to its shape.
#[derive(Debug, Clone, PartialEq)]
pub struct CutLens {
    pub lens: JobLens,
    /// Its edge on the shape.
    pub edge: Edge,
    /// Its optical center in the box; with surfaced prism the point where the prescription is read.
    pub center: Point,
    pub weight_g: f64,
    pub diameter_mm: f64,
    pub diameter_from: Origin,
    pub thumb: Thumb,
    /// The thinnest place on the rim of the uncut lens, or why a surface does not reach that far.
    pub uncut_rim_mm: Result<f64, LensError>,
    /// Where the surfaces cross before the edge, and the center that cures it.
    pub negative: Option<TooThin>,
}

impl JobLens {
    /// The lens of one eye of a job, with or without a shape.
    ///
    /// # Errors
    ///
    /// [`LensError`] where there is no such lens.
    pub fn of(
        job: &Job,
        eye: Eye,
        layout: Option<&JobLayout>,
        in_hand: Option<&LensInHand>,
        tried: &LensOverrides<'_>,
    ) -> Result<Self, LensError> {
        let in_hand = in_hand.filter(|_| tried.material.is_none());
        let material = tried.material.unwrap_or(&job.material.details);
        let (ordered, index) = (job.lens_power(eye).numbers(), material.index());
        let power = tried.power.unwrap_or(ordered);
        let (front_power_d, front_from) =
            stated(tried.front_power_d, in_hand.and_then(|lens| lens.front_power).map(|front| front.to_f64()))
                .or_else(|| decided_front(job, eye, tried))
                .or_else(|| Some((rim_front_d(job, eye, layout?, index)?, Origin::Rim)))
                .unwrap_or_else(|| (usual_front_d(power, index), Origin::Assumed));
        // The same prism for every power tried, so that all pages have one optical center.
        let prism = job.prescription.eyes.get(eye).prism.numbers().to_vector(eye);
        let has_surfaced_prism = match layout {
            Some(layout) => matches!(layout.eyes.get(eye).prism, Some(PrismMade::Ground(_))),
            None => in_hand.is_some_and(|lens| lens.has_ground_prism) || decentration_for(ordered, prism).is_err(),
        };
        let order = LensOrder {
            power,
            prism: if has_surfaced_prism { prism } else { BaseVector::default() },
            index,
            front_power_d,
            front_conic: 0.0,
            center_thickness_mm: f64::from(material.centre_hundredths) / 100.0,
        };
        let place = layout.map(|layout| layout.eyes.get(eye)).map(|laid| (laid, laid.optical_center()));
        let in_hand_center = in_hand.and_then(|lens| lens.center).map(|center| Thickness::Center(center.to_f64()));
        let (body, thickness_from) = match (stated(tried.thickness, in_hand_center), place) {
            (Some((thickness, from)), Some((laid, center))) => {
                (lens_with_thickness(&laid.outline, center, order, thickness)?, from)
            }
            (Some((Thickness::Center(center_thickness_mm), from)), None) => {
                (Lens::new(LensOrder { center_thickness_mm, ..order })?, from)
            }
            (Some((Thickness::ThinnestEdge(least_edge_mm), from)), None) => {
                (lens_with_thickness_by_thumb(order, least_edge_mm)?, from)
            }
            (None, place) => {
                let least_edge_mm = tried.hold.unwrap_or_else(|| hold_of(job.frame.details.rim)).least_edge_mm();
                (usual_lens(place, order, least_edge_mm)?, Origin::Assumed)
            }
        };
        Ok(Self {
            eye,
            body,
            front_from,
            thickness_from,
            uncut: known_uncut(in_hand, tried.diameter_mm),
            has_surfaced_prism,
            density_g_per_cm3: f64::from(material.density_hundredths) / 100.0,
        })
    }

    /// The lenses of both eyes, with nothing tried.
    pub fn pair(
        job: &Job,
        layout: Option<&JobLayout>,
        in_hand: &Pair<Option<LensInHand>>,
    ) -> Pair<Result<Self, LensError>> {
        Pair::new(Eye::Right, Eye::Left)
            .map(|eye| Self::of(job, eye, layout, in_hand.get(eye).as_ref(), &LensOverrides::default()))
    }

    /// The uncut lens on a shape.
    pub fn uncut_on(&self, laid: &EyeOnBench) -> (Uncut, Origin) {
        self.uncut.unwrap_or_else(|| (laid.stock_uncut(), Origin::Assumed))
    }

    /// How its uncut lens covers a shape. A lens that would have no edge at its own rim does not fit.
    pub fn cover_on(&self, laid: &EyeOnBench) -> Cover {
        let (uncut, from) = self.uncut_on(laid);
        let cover = laid.cover(uncut);
        // A lens in hand has an edge; where its center is not known it is thicker than the one assumed.
        let exists = from == Origin::InHand && self.thickness_from == Origin::Assumed;
        let is_whole = cover.fit == Fit::TooSmall || exists || self.has_rim(laid, uncut);
        Cover { fit: if is_whole { cover.fit } else { Fit::NoRim }, ..cover }
    }

    /// Whether an uncut lens of this diameter would have an edge at its own rim.
    pub(super) fn has_rim_on(&self, laid: &EyeOnBench, diameter_mm: f64) -> bool {
        self.has_rim(laid, Uncut { diameter_mm, ..Uncut::default() })
    }

    fn has_rim(&self, laid: &EyeOnBench, uncut: Uncut) -> bool {
        let middle = laid.middle_of(uncut).minus(laid.optical_center());
        uncut_rim_mm(&self.body, middle, uncut.diameter_mm / 2.0).is_ok_and(|rim_mm| rim_mm >= 0.0)
    }

    /// Cuts the lens to the shape of the job.
    ///
    /// # Errors
    ///
    /// [`LensError`] where a surface does not reach the shape.
    pub fn cut(self, layout: &JobLayout) -> Result<CutLens, LensError> {
        let laid = layout.eyes.get(self.eye);
        let (outline, center, body) = (&laid.outline, laid.optical_center(), &self.body);
        let edge = Edge::of(outline, center, body)?;
        let (uncut, diameter_from) = self.uncut_on(laid);
        let middle = laid.middle_of(uncut);
        Ok(CutLens {
            weight_g: weight_g(volume_mm3(outline, center, body)?, self.density_g_per_cm3),
            thumb: Thumb {
                thinnest_mm: thumb_mm(body, edge.thinnest().at.minus(center)),
                thickest_mm: thumb_mm(body, edge.thickest().at.minus(center)),
            },
            uncut_rim_mm: uncut_rim_mm(body, middle.minus(center), uncut.diameter_mm / 2.0),
            // Without a center that cures it, the negative edge alone is shown.
            negative: edge.too_thin(outline, center, body, 0.0).ok().flatten(),
            diameter_mm: uncut.diameter_mm,
            diameter_from,
            edge,
            center,
            lens: self,
        })
    }
}

/// The uncut lens where its diameter is known: of the diameter tried, else the one in hand. The place of its marked
/// center is known only of the one in hand.
pub fn known_uncut(in_hand: Option<&LensInHand>, tried_mm: Option<f64>) -> Option<(Uncut, Origin)> {
    let in_hand = in_hand.map(Uncut::from);
    match tried_mm {
        Some(diameter_mm) if in_hand.is_none_or(|uncut| uncut.diameter_mm != diameter_mm) => {
            Some((Uncut { diameter_mm, ..Uncut::default() }, Origin::Asked))
        }
        _ => in_hand.map(|uncut| (uncut, Origin::InHand)),
    }
}

/// The front that the owner's decision was for. Of another material it says nothing.
fn decided_front(job: &Job, eye: Eye, tried: &LensOverrides<'_>) -> Option<(f64, Origin)> {
    let decision = job.power_decision.as_ref().filter(|_| tried.material.is_none())?;
    (*decision.lenses.get(eye)).map(|lens| (lens.front.to_f64(), Origin::Decided))
}

/// The front of a wrapped lens starts from the rim's own curve, so that the lens stays in its rim. Source: common
/// practice (from memory).
pub fn rim_front_d(job: &Job, eye: Eye, layout: &JobLayout, index: f64) -> Option<f64> {
    job.frame_position.filter(|wear| wear.wrap.to_f64().abs() >= WRAPPED_DEG)?;
    let tool_d = (*layout.rim_curve_tool_d.get(eye))?;
    // A rim's curve out of the range of a front is no lens's.
    FRONT.check(Diopter::round_from(tool_d).ok()?).ok()?;
    Some(true_from_tool_d(tool_d, index))
}

fn stated<T>(tried: Option<T>, in_hand: Option<T>) -> Option<(T, Origin)> {
    tried.map(|value| (value, Origin::Asked)).or(in_hand.map(|value| (value, Origin::InHand)))
}

/// The lens whose thickness nobody stated. A surface that does not reach the shape leaves the rule of thumb: the lens
/// then has no edge there, but its middle can still be computed.
fn usual_lens(place: Option<(&EyeOnBench, Point)>, usual: LensOrder, least_edge_mm: f64) -> Result<Lens, LensError> {
    let by_thumb = || lens_with_thickness_by_thumb(usual, least_edge_mm);
    let Some((laid, center)) = place else { return by_thumb() };
    match lens_with_usual_thickness(&laid.outline, center, usual, least_edge_mm) {
        Err(LensError::DoesNotSpan { .. }) => by_thumb(),
        lens => lens,
    }
}

fn thumb_mm(lens: &Lens, from_center: Point) -> f64 {
    let order = lens.order();
    let h_mm = from_center.length_mm();
    let loss_mm = h_mm * h_mm * order.power.power_at_deg(from_center.angle_deg()) / (2000.0 * (order.index - 1.0));
    let towards_base_pd_mm = order.prism.x_pd * from_center.x_mm + order.prism.y_pd * from_center.y_mm;
    order.center_thickness_mm - loss_mm + towards_base_pd_mm / (100.0 * (order.index - 1.0))
}

/// The thinnest place on the rim of the uncut lens, whose middle lies at `middle` from the optical center.
fn uncut_rim_mm(lens: &Lens, middle: Point, radius_mm: f64) -> Result<f64, LensError> {
    lens.check_span(middle.length_mm() + radius_mm)?;
    let mut thinnest_mm = f64::INFINITY;
    // Over two degrees the thickness changes by a thousandth of a millimeter at 10 D.
    for step in 0..180 {
        let at = middle.plus(Point::polar(radius_mm, f64::from(2 * step)));
        thinnest_mm = thinnest_mm.min(lens.thickness_mm(at.x_mm, at.y_mm)?);
    }
    Ok(thinnest_mm)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::bench::layout::JobLayout;
    use crate::bench::layout::tests::{lab, round_job, round_shape};
    use crate::desk::catalogue::starting_materials;
    use crate::optics::unit::Millimeter;
    use crate::shape::blocker::BlockerStep;

    /// The right lens of a round job, cut.
    pub(in crate::bench) fn cut_lens(
        rx: &str,
        in_hand: Option<&LensInHand>,
        tried: &LensOverrides<'_>,
    ) -> Result<CutLens, LensError> {
        let job = round_job(rx, "32/32");
        let layout = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
        JobLens::of(&job, Eye::Right, Some(&layout), in_hand, tried)?.cut(&layout)
    }

    fn cut(rx: &str, tried: &LensOverrides<'_>) -> CutLens {
        cut_lens(rx, None, tried).unwrap()
    }

    fn envelope(center: Option<&str>, front: Option<&str>) -> LensInHand {
        LensInHand {
            eye: Eye::Right,
            drawer_lens: None,
            source: String::new(),
            diameter: "70".parse().unwrap(),
            center: center.map(|mm| mm.parse().unwrap()),
            front_power: front.map(|d| d.parse().unwrap()),
            off_in: Millimeter::ZERO,
            off_up: Millimeter::ZERO,
            has_ground_prism: false,
        }
    }

    #[test]
    fn exact_beside_the_rule_of_thumb() {
        // The round 44 with the center 2 up: -4.00 in hard resin on a +4.00 front, center 2.0 (textbook sags). The
        // bottom is 24 from the center, the top 20.
        let asked = LensOverrides {
            front_power_d: Some(4.0),
            thickness: Some(Thickness::Center(2.0)),
            ..LensOverrides::default()
        };
        let got = cut("-4.00 sph", &asked);
        let sag = |power_d: f64, h: f64| {
            let r = 498.0 / power_d;
            r - (r * r - h * h).sqrt()
        };
        let carried_d = 4.0 / (1.0 - 0.002 / 1.498 * 4.0);
        for (point, h, deg) in [(got.edge.thickest(), 24.0, 270.0), (got.edge.thinnest(), 20.0, 90.0)] {
            let want_mm = 2.0 - sag(4.0, h) + sag(4.0 + carried_d, h);
            assert!((point.mm - want_mm).abs() < 1e-6 && (point.deg - deg).abs() < 1e-6, "{point:?} for {want_mm}");
        }
        // 24² · 4 / (2000 · 0.498) = 2.313 and 20² · 4 / 996 = 1.606 (textbook thumb).
        assert!((got.thumb.thickest_mm - 4.313_3).abs() < 1e-3 && (got.thumb.thinnest_mm - 3.606_4).abs() < 1e-3);
        let share = (got.edge.thickest().mm - 2.0) / (got.thumb.thickest_mm - 2.0);
        assert!(share > 1.0 && share < 1.15, "the thumb runs up to a tenth low (computed): {share}");
        assert_eq!(
            (got.lens.front_from, got.lens.thickness_from, got.diameter_from),
            (Origin::Asked, Origin::Asked, Origin::Assumed)
        );
        assert_eq!(got.diameter_mm, 55.0, "48 exact and 2 of allowance");
    }

    #[test]
    fn what_nobody_stated_is_assumed() {
        // Vogel: -4.00 wants +4.00 tool, 4 · 0.498 / 0.53 true (textbook).
        let minus = cut("-4.00 sph", &LensOverrides::default());
        assert!((minus.lens.body.order().front_power_d - 4.0 * 0.498 / 0.53).abs() < 1e-12);
        assert_eq!(minus.lens.body.order().center_thickness_mm, 2.0, "the material's usual center");
        // A plus lens gets the center that leaves the edge that the rim needs. The bottom, farthest out, is thinnest.
        let plus = cut("+4.00 sph", &LensOverrides::default());
        assert!((plus.edge.thinnest().mm - 1.0).abs() < 1e-5 && (plus.edge.thinnest().deg - 270.0).abs() < 1e-6);
        assert!(plus.lens.body.order().center_thickness_mm > 3.0);
        assert_eq!(plus.lens.thickness_from, Origin::Assumed);
        assert!(plus.uncut_rim_mm.clone().unwrap() < 1.0, "the uncut rim lies farther out than the shape");
    }

    #[test]
    fn the_envelope_goes_before_the_usual_and_the_owner_before_the_envelope() {
        let in_hand = envelope(Some("1.8"), Some("3.75"));
        let of = |tried: &LensOverrides<'_>| cut_lens("-4.00 sph", Some(&in_hand), tried).unwrap();
        let got = of(&LensOverrides::default());
        let order = got.lens.body.order();
        assert_eq!((order.center_thickness_mm, order.front_power_d), (1.8, 3.75));
        assert_eq!((got.diameter_mm, got.diameter_from, got.lens.front_from), (70.0, Origin::InHand, Origin::InHand));
        let got = of(&LensOverrides { thickness: Some(Thickness::ThinnestEdge(2.5)), ..LensOverrides::default() });
        assert!((got.edge.thinnest().mm - 2.5).abs() < 1e-5);
        assert_eq!((got.lens.thickness_from, got.lens.front_from), (Origin::Asked, Origin::InHand));
    }

    #[test]
    fn only_the_lens_in_hand_has_a_known_marked_center() {
        let in_hand = LensInHand { off_in: "2.5".parse().unwrap(), ..envelope(None, None) };
        for (in_hand, tried_mm, want) in [
            (None, None, None),
            (Some(&in_hand), None, Some((70.0, 2.5, Origin::InHand))),
            (Some(&in_hand), Some(70.0), Some((70.0, 2.5, Origin::InHand))),
            (Some(&in_hand), Some(65.0), Some((65.0, 0.0, Origin::Asked))),
            (None, Some(65.0), Some((65.0, 0.0, Origin::Asked))),
        ] {
            let got = known_uncut(in_hand, tried_mm).map(|(uncut, from)| (uncut.diameter_mm, uncut.off_in_mm, from));
            assert_eq!(got, want);
        }
    }

    #[test]
    fn a_lens_in_hand_says_nothing_of_another_material() {
        let (in_hand, other) = (envelope(Some("1.8"), Some("3.75")), starting_materials().remove(3));
        let tried = LensOverrides { material: Some(&other), ..LensOverrides::default() };
        let got = cut_lens("-4.00 sph", Some(&in_hand), &tried).unwrap();
        let origins = (got.lens.front_from, got.lens.thickness_from, got.diameter_from);
        assert_eq!(origins, (Origin::Assumed, Origin::Assumed, Origin::Assumed));
        assert_eq!(got.lens.body.order().index, other.index());
        let ordered = cut("-4.00 sph", &LensOverrides::default());
        assert!(got.weight_g < ordered.weight_g);
    }

    #[test]
    fn a_negative_edge_says_what_cures_it() {
        let got =
            cut("+6.00 sph", &LensOverrides { thickness: Some(Thickness::Center(2.0)), ..LensOverrides::default() });
        let thin = got.negative.unwrap();
        assert!(thin.at.mm < 0.0 && (thin.at.deg - 270.0).abs() < 1e-6, "{thin:?}");
        let cured = cut(
            "+6.00 sph",
            &LensOverrides { thickness: Some(Thickness::Center(thin.center_mm)), ..LensOverrides::default() },
        );
        assert!(cured.edge.thinnest().mm.abs() < 1e-5, "{}", cured.edge.thinnest().mm);
    }

    #[test]
    fn a_surface_that_does_not_reach_is_a_sentence() {
        // The back of -20.00 with a +4 front: radius 498 / 24 = 20.7 mm, and the bottom is 24 away.
        let tried = LensOverrides { front_power_d: Some(4.0), ..LensOverrides::default() };
        let why = cut_lens("-20.00 sph", None, &tried).unwrap_err().to_string();
        assert!(why.contains("does not reach") && !why.contains("NaN"), "{why}");
        // A surface may reach the shape and not the rim of the blank: 15.50 D has a radius of about 31 mm.
        let got = cut(
            "-12.00 sph",
            &LensOverrides { front_power_d: Some(4.0), diameter_mm: Some(80.0), ..LensOverrides::default() },
        );
        assert!(matches!(got.uncut_rim_mm, Err(LensError::DoesNotSpan { .. })), "{:?}", got.uncut_rim_mm);
    }

    #[test]
    fn prism_the_power_cannot_make_is_a_tilt_of_the_back() {
        let decentered = cut("-4.00 sph 2 BI", &LensOverrides::default());
        assert!(!decentered.lens.has_surfaced_prism && (decentered.center.x_mm + 5.0).abs() < 1e-9, "5 out (Prentice)");
        let surfaced = cut("pl 2 BI", &LensOverrides { front_power_d: Some(4.0), ..LensOverrides::default() });
        assert!(surfaced.lens.has_surfaced_prism);
        // 44 mm across at P = 2: 44 · 2 / (100 · 0.498) = 1.767 between nose and temple (textbook).
        let gain_mm = surfaced.edge.thickest().mm - surfaced.edge.thinnest().mm;
        assert!((gain_mm - 1.767).abs() < 0.08, "{gain_mm}");
        let thumb_mm = surfaced.thumb.thickest_mm - surfaced.thumb.thinnest_mm;
        assert!((thumb_mm - 1.767).abs() < 0.01, "{thumb_mm}");
        let deg = surfaced.edge.thickest().deg;
        assert!(!(3.0..=357.0).contains(&deg), "base in is to the observer's right before the right eye: {deg}");
    }

    use proptest::prelude::*;

    proptest! {
        #[test]
        fn mirrored_eyes_give_mirrored_lenses_and_both_forms_one(
            sphere in -32..=24_i32, cylinder in -12..=0_i32, axis in 1..=180_i32,
        ) {
            let quarters = |n: i32| format!("{:+.2}", f64::from(n) / 4.0);
            let written = |axis: i32| format!("{} {} x {axis}", quarters(sphere), quarters(cylinder));
            let mirrored_axis = if axis == 180 { 180 } else { 180 - axis };
            let mut job = round_job(if cylinder == 0 { "-1.00 sph" } else { "-1.00 -1.00 x 10" }, "31/31");
            let read = |axis: i32| {
                let text = if cylinder == 0 { format!("{} sph", quarters(sphere)) } else { written(axis) };
                crate::optics::prescription::read(&text).unwrap().rx
            };
            job.prescription.eyes = crate::optics::Pair::new(read(axis), read(mirrored_axis));
            let laid = JobLayout::of(&job, &round_shape(), &lab(), BlockerStep::Half);
            let cut = |eye: Eye, power: Option<SphereCylinder>| {
                let tried = LensOverrides { power, ..LensOverrides::default() };
                JobLens::of(&job, eye, Some(&laid), None, &tried).and_then(|lens| lens.cut(&laid)).unwrap()
            };
            let transposed = job.prescription.eyes.right.power.transposed().numbers();
            let (right, left) = (cut(Eye::Right, None), cut(Eye::Left, None));
            let other = cut(Eye::Right, Some(transposed));
            for same in [&left, &other] {
                prop_assert!((right.edge.thickest().mm - same.edge.thickest().mm).abs() < 1e-5);
                prop_assert!((right.edge.thinnest().mm - same.edge.thinnest().mm).abs() < 1e-5);
                prop_assert!((right.weight_g - same.weight_g).abs() < 1e-3);
                prop_assert_eq!(right.diameter_mm, same.diameter_mm);
            }
        }
    }
}
