//! The lens of a job as a body: its curves and thickness from what is in hand or asked for, and its edge on the shape.
//!
//! What nobody has stated is assumed and says so: the front by Vogel's rule taken to the nearest usual one, the
//! material's usual centre or, where that leaves less edge than the rim needs, the centre that leaves it (common
//! practice). Prescribed prism that the power can make by decentration moves the optical centre, as on the layout;
//! prism that it cannot is a tilt of the back surface.

use super::layout::{EyeOnBench, Uncut, usual_diameter_mm};
use crate::desk::catalogue::MaterialDetails;
use crate::desk::limit::{LengthLimit, PowerLimit};
use crate::desk::stock::LensInHand;
use crate::optics::Eye;
use crate::optics::lens::{Lens, LensError, LensOrder};
use crate::optics::material::usual_front_d;
use crate::optics::prescription::EyePrescription;
use crate::optics::prism::BaseVector;
use crate::shape::edge::{Edge, TooThin, lens_with_thinnest_edge};
use crate::shape::outline::Point;
use crate::shape::volume::{volume_mm3, weight_g};

/// The front of a lens on trial. It may be hollow, unlike that of a stock lens.
pub const TRIAL_FRONT: PowerLimit = PowerLimit::new("A front", -1000, 2000);
/// The thinnest place of an edge on trial.
pub const THINNEST_EDGE: LengthLimit = LengthLimit::new("A thinnest edge", 0, 1000);

/// Which thickness is stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Thickness {
    /// At the optical centre, mm.
    Centre(f64),
    /// At the thinnest place of the cut edge, mm.
    ThinnestEdge(f64),
}

/// What the owner wants to see instead of what is in hand or usual.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LensOverrides {
    /// True power of the front in the lens's own index.
    pub front_power_d: Option<f64>,
    /// A thickness.
    pub thickness: Option<Thickness>,
    /// Diameter of the uncut lens.
    pub diameter_mm: Option<f64>,
}

/// Where a number of the lens comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Origin {
    /// The envelope of the lens in hand.
    InHand,
    /// Asked for on the page.
    Asked,
    /// Nobody stated it.
    Assumed,
}

impl Origin {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            Origin::InHand => "as in hand",
            Origin::Asked => "as asked",
            Origin::Assumed => "assumed",
        }
    }
}

/// The edge by the rule of thumb, to set beside the exact figures: centre less h² F / (2000 (n - 1)), F the power in
/// the direction of the place and h its distance from the optical centre, and for surfaced prism h P / (100 (n - 1))
/// more towards the base (textbook).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thumb {
    /// Where the exact edge is thinnest.
    pub thinnest_mm: f64,
    /// Where the exact edge is thickest.
    pub thickest_mm: f64,
}

/// The lens of one eye.
#[derive(Debug, Clone, PartialEq)]
pub struct JobLens {
    /// Which eye.
    pub eye: Eye,
    /// The lens.
    pub lens: Lens,
    /// Its edge on the shape.
    pub edge: Edge,
    /// Its optical centre in the box; with surfaced prism the point where the prescription is read.
    pub centre: Point,
    /// Weight of the cut lens.
    pub weight_g: f64,
    /// Where the front comes from.
    pub front_from: Origin,
    /// Where the thickness comes from.
    pub thickness_from: Origin,
    /// Diameter of the uncut lens.
    pub diameter_mm: f64,
    /// Where the diameter comes from.
    pub diameter_from: Origin,
    /// The rule of thumb.
    pub thumb: Thumb,
    /// What is left at the thinnest place of the uncut lens's own rim, or why a surface does not reach that far.
    pub uncut_rim_mm: Result<f64, LensError>,
    /// Where the surfaces cross before the edge, and the centre that cures it.
    pub negative: Option<TooThin>,
    /// Whether prescribed prism is a tilt of the back.
    pub has_surfaced_prism: bool,
}

impl JobLens {
    /// The lens of one eye in a material, with what is asked, else in hand, else usual. `least_edge_mm` is what the rim
    /// needs. A lens in hand of another material than this must be left out.
    ///
    /// # Errors
    ///
    /// [`LensError`] where there is no such lens, or a surface does not reach the shape.
    pub fn of(
        laid: &EyeOnBench,
        rx: &EyePrescription,
        material: &MaterialDetails,
        in_hand: Option<&LensInHand>,
        asked: &LensOverrides,
        least_edge_mm: f64,
    ) -> Result<Self, LensError> {
        let (outline, centre) = (&laid.outline, laid.optical_centre());
        let has_surfaced_prism = matches!(laid.prism, Some(Err(_)));
        let prism = if has_surfaced_prism { rx.prism.numbers().to_vector(laid.eye) } else { BaseVector::default() };
        let (power, index) = (rx.power.numbers(), material.index());
        let (front_power_d, front_from) =
            stated(asked.front_power_d, in_hand.and_then(|lens| lens.front_power).map(|front| front.to_f64()))
                .unwrap_or_else(|| (usual_front_d(power, index), Origin::Assumed));
        let usual_centre_mm = f64::from(material.centre_hundredths) / 100.0;
        let order =
            LensOrder { power, prism, index, front_power_d, front_conic: 0.0, centre_thickness_mm: usual_centre_mm };
        let in_hand_centre = in_hand.and_then(|lens| lens.centre).map(|centre| Thickness::Centre(centre.to_f64()));
        let (lens, thickness_from) = match stated(asked.thickness, in_hand_centre) {
            Some((Thickness::Centre(mm), from)) => (Lens::new(LensOrder { centre_thickness_mm: mm, ..order })?, from),
            Some((Thickness::ThinnestEdge(mm), from)) => (lens_with_thinnest_edge(outline, centre, order, mm)?, from),
            None => (usual_lens(laid, order, least_edge_mm)?, Origin::Assumed),
        };
        let edge = Edge::of(outline, centre, &lens)?;
        let volume_mm3 = volume_mm3(outline, centre, &lens)?;
        let uncut = in_hand.map(Uncut::from);
        let (diameter_mm, diameter_from) = stated(asked.diameter_mm, uncut.map(|uncut| uncut.diameter_mm))
            .unwrap_or_else(|| {
                let least_mm = laid.blank().with_margin_mm;
                (usual_diameter_mm(least_mm).unwrap_or(least_mm.ceil()), Origin::Assumed)
            });
        let middle = laid.cover(Uncut { diameter_mm, ..uncut.unwrap_or_default() }).middle;
        Ok(Self {
            eye: laid.eye,
            weight_g: weight_g(volume_mm3, f64::from(material.density_hundredths) / 100.0),
            thumb: Thumb {
                thinnest_mm: thumb_mm(&lens, edge.thinnest().at.minus(centre)),
                thickest_mm: thumb_mm(&lens, edge.thickest().at.minus(centre)),
            },
            uncut_rim_mm: uncut_rim_mm(&lens, middle.minus(centre), diameter_mm / 2.0),
            // A cure that cannot be had leaves the negative figure to speak for itself.
            negative: edge.too_thin(outline, centre, &lens, 0.0).ok().flatten(),
            lens,
            edge,
            centre,
            front_from,
            thickness_from,
            diameter_mm,
            diameter_from,
            has_surfaced_prism,
        })
    }
}

fn stated<T>(asked: Option<T>, in_hand: Option<T>) -> Option<(T, Origin)> {
    asked.map(|value| (value, Origin::Asked)).or(in_hand.map(|value| (value, Origin::InHand)))
}

/// The usual centre, or the one that leaves the edge the rim needs where that is more.
fn usual_lens(laid: &EyeOnBench, usual: LensOrder, least_edge_mm: f64) -> Result<Lens, LensError> {
    let (outline, centre) = (&laid.outline, laid.optical_centre());
    let lens = Lens::new(usual)?;
    if Edge::of(outline, centre, &lens)?.thinnest().mm >= least_edge_mm {
        return Ok(lens);
    }
    lens_with_thinnest_edge(outline, centre, usual, least_edge_mm)
}

fn thumb_mm(lens: &Lens, from_centre: Point) -> f64 {
    let order = lens.order();
    let h_mm = from_centre.length_mm();
    let loss_mm = h_mm * h_mm * order.power.power_at_deg(from_centre.angle_deg()) / (2000.0 * (order.index - 1.0));
    let towards_base_pd_mm = order.prism.x_pd * from_centre.x_mm + order.prism.y_pd * from_centre.y_mm;
    order.centre_thickness_mm - loss_mm + towards_base_pd_mm / (100.0 * (order.index - 1.0))
}

/// The thinnest place on the rim of the uncut lens, whose middle lies at `middle` from the optical centre.
fn uncut_rim_mm(lens: &Lens, middle: Point, radius_mm: f64) -> Result<f64, LensError> {
    lens.check_span(middle.length_mm() + radius_mm)?;
    let mut thinnest_mm = f64::INFINITY;
    // Between neighbours two degrees apart the thickness hardly moves: a thousandth of a millimetre at 10 D.
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
    use crate::bench::layout::tests::{lab, round_job};
    use crate::desk::catalogue::starting_materials;
    use crate::optics::unit::Millimetre;
    use crate::shape::blocker::BlockerStep;

    pub(in crate::bench) fn laid(rx: &str) -> (EyeOnBench, EyePrescription) {
        let job = round_job(rx, "32/32");
        let laid = JobLayout::of(&job, &lab(), BlockerStep::Half).unwrap();
        (laid.eyes.right, job.prescription.eyes.right)
    }

    fn hard_resin() -> MaterialDetails {
        starting_materials().remove(0)
    }

    fn body(rx: &str, asked: &LensOverrides) -> JobLens {
        let (laid, rx) = laid(rx);
        JobLens::of(&laid, &rx, &hard_resin(), None, asked, 1.0).unwrap()
    }

    #[test]
    fn exact_beside_the_rule_of_thumb() {
        // The round 44 with the centre 2 up: -4.00 in hard resin on a +4.00 front, centre 2.0 (textbook sags, C7's
        // lens). The bottom is 24 from the centre, the top 20.
        let asked =
            LensOverrides { front_power_d: Some(4.0), thickness: Some(Thickness::Centre(2.0)), diameter_mm: None };
        let got = body("-4.00 sph", &asked);
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
            (got.front_from, got.thickness_from, got.diameter_from),
            (Origin::Asked, Origin::Asked, Origin::Assumed)
        );
        assert_eq!(got.diameter_mm, 55.0, "48 exact and 2 of allowance");
    }

    #[test]
    fn what_nobody_stated_is_assumed() {
        // Vogel: -4.00 wants +4.00 tool, 4 · 0.498 / 0.53 true (textbook).
        let minus = body("-4.00 sph", &LensOverrides::default());
        assert!((minus.lens.order().front_power_d - 4.0 * 0.498 / 0.53).abs() < 1e-12);
        assert_eq!(minus.lens.order().centre_thickness_mm, 2.0, "the material's usual centre");
        // A plus lens gets the centre that leaves the rim its edge; the tightest is at the bottom, farthest out.
        let plus = body("+4.00 sph", &LensOverrides::default());
        assert!((plus.edge.thinnest().mm - 1.0).abs() < 1e-5 && (plus.edge.thinnest().deg - 270.0).abs() < 1e-6);
        assert!(plus.lens.order().centre_thickness_mm > 3.0);
        assert_eq!(plus.thickness_from, Origin::Assumed);
        assert!(plus.uncut_rim_mm.clone().unwrap() < 1.0, "the uncut rim lies farther out than the shape");
    }

    #[test]
    fn the_envelope_goes_before_the_usual_and_the_owner_before_the_envelope() {
        let (laid, rx) = laid("-4.00 sph");
        let in_hand = LensInHand {
            eye: Eye::Right,
            drawer_lens: None,
            source: String::new(),
            diameter: "70".parse().unwrap(),
            centre: Some("1.8".parse().unwrap()),
            front_power: Some("3.75".parse().unwrap()),
            off_in: Millimetre::ZERO,
            off_up: Millimetre::ZERO,
        };
        let of = |asked: &LensOverrides| JobLens::of(&laid, &rx, &hard_resin(), Some(&in_hand), asked, 1.0).unwrap();
        let got = of(&LensOverrides::default());
        assert_eq!((got.lens.order().centre_thickness_mm, got.lens.order().front_power_d), (1.8, 3.75));
        assert_eq!((got.diameter_mm, got.diameter_from, got.front_from), (70.0, Origin::InHand, Origin::InHand));
        let got = of(&LensOverrides { thickness: Some(Thickness::ThinnestEdge(2.5)), ..LensOverrides::default() });
        assert!((got.edge.thinnest().mm - 2.5).abs() < 1e-5);
        assert_eq!((got.thickness_from, got.front_from), (Origin::Asked, Origin::InHand));
    }

    #[test]
    fn a_negative_edge_says_what_cures_it() {
        let got =
            body("+6.00 sph", &LensOverrides { thickness: Some(Thickness::Centre(2.0)), ..LensOverrides::default() });
        let thin = got.negative.unwrap();
        assert!(thin.at.mm < 0.0 && (thin.at.deg - 270.0).abs() < 1e-6, "{thin:?}");
        let cured = body(
            "+6.00 sph",
            &LensOverrides { thickness: Some(Thickness::Centre(thin.centre_mm)), ..LensOverrides::default() },
        );
        assert!(cured.edge.thinnest().mm.abs() < 1e-5, "{}", cured.edge.thinnest().mm);
    }

    #[test]
    fn a_surface_that_does_not_reach_is_a_sentence() {
        // The back of -20.00 with a +4 front: radius 498 / 24 = 20.7 mm, and the bottom is 24 away.
        let (near, rx) = laid("-20.00 sph");
        let asked = LensOverrides { front_power_d: Some(4.0), ..LensOverrides::default() };
        let why = JobLens::of(&near, &rx, &hard_resin(), None, &asked, 1.0).unwrap_err().to_string();
        assert!(why.contains("does not reach") && !why.contains("NaN"), "{why}");
        // The shape alone may be reached and the blank not: 15.50 has a radius of about 31.
        let got = body(
            "-12.00 sph",
            &LensOverrides { front_power_d: Some(4.0), diameter_mm: Some(80.0), ..LensOverrides::default() },
        );
        assert!(matches!(got.uncut_rim_mm, Err(LensError::DoesNotSpan { .. })), "{:?}", got.uncut_rim_mm);
    }

    #[test]
    fn prism_the_power_cannot_make_is_a_tilt_of_the_back() {
        let decentred = body("-4.00 sph 2 BI", &LensOverrides::default());
        assert!(!decentred.has_surfaced_prism && (decentred.centre.x_mm + 5.0).abs() < 1e-9, "5 out (Prentice)");
        let surfaced = body("pl 2 BI", &LensOverrides { front_power_d: Some(4.0), ..LensOverrides::default() });
        assert!(surfaced.has_surfaced_prism);
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
            let laid = JobLayout::of(&job, &lab(), BlockerStep::Half).unwrap();
            let body = |eye: Eye, transposed: bool| {
                let mut rx = *job.prescription.eyes.get(eye);
                if transposed {
                    rx.power = rx.power.transposed();
                }
                JobLens::of(laid.eyes.get(eye), &rx, &hard_resin(), None, &LensOverrides::default(), 1.0).unwrap()
            };
            let (right, left, other) = (body(Eye::Right, false), body(Eye::Left, false), body(Eye::Right, true));
            for same in [&left, &other] {
                prop_assert!((right.edge.thickest().mm - same.edge.thickest().mm).abs() < 1e-5);
                prop_assert!((right.edge.thinnest().mm - same.edge.thinnest().mm).abs() < 1e-5);
                prop_assert!((right.weight_g - same.weight_g).abs() < 1e-3);
                prop_assert_eq!(right.diameter_mm, same.diameter_mm);
            }
        }
    }
}
