//! The position of wear, and the owner's decision which power to order for it.
//!
//! A lens is made as prescribed until the owner decides otherwise. After that both powers are shown and printed. The
//! compensated power is computed in `bench::compensation`.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::OffsetDateTime;

use super::key::keyed;
use super::limit::LengthLimit;
use crate::optics::compensation::{MAX_VERTEX_MM, WearPosition};
use crate::optics::notation;
use crate::optics::prescription::LensPower;
use crate::optics::unit::{Diopter, Millimeter, Tilt};
use crate::optics::{Eye, Pair};

/// From the eye to the back of a lens.
pub const VERTEX: LengthLimit = LengthLimit::new("A vertex distance", 0, (MAX_VERTEX_MM * 100.0) as i32);

/// From this power on, in any meridian, the vertex distance is asked for: 2 mm at 5 D change the power by 0.05 D, and
/// 5 mm by an eighth. Source: common practice (from memory: 4 to 5 D).
const VERTEX_ASKED_FROM_D: f64 = 5.0;

/// Whether a lens is so strong that the vertex distance is asked for.
pub fn asks_vertex(power: LensPower) -> bool {
    let power = power.numbers();
    power.sphere_d.abs().max((power.sphere_d + power.cylinder_d).abs()) >= VERTEX_ASKED_FROM_D - 1e-9
}

/// A front with this wrap or more has its own base curve, which follows the rim. Source: common practice (from memory).
pub const WRAPPED_DEG: f64 = 15.0;

/// How the trace of a wrapped front was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum TracePlane {
    /// Each rim lay level: the widths are those of the lens itself.
    #[default]
    Flat,
    /// The front stood as it is worn: the widths are those across the face.
    AsWorn,
}

keyed!(TracePlane);

impl TracePlane {
    pub fn words(self) -> &'static str {
        match self {
            TracePlane::Flat => "each rim level (flat)",
            TracePlane::AsWorn => "the front as it is worn",
        }
    }
}

/// How the frame sits on the face.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FramePosition {
    /// Vertex distance as worn: from the eye to the back of the lens.
    pub vertex: Millimeter,
    pub panto: Tilt,
    pub wrap: Tilt,
    /// How its trace was made.
    pub trace: TracePlane,
}

/// The position of wear of a job, with the vertex distance of the refraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PositionOfWear {
    /// Vertex distance of the refraction: from the eye to the back of the trial lens.
    pub vertex_from: Millimeter,
    /// Whether the two vertex distances are known. Otherwise both are the usual one, and change nothing.
    pub vertex_is_known: bool,
    pub frame: FramePosition,
}

/// Where the vertex distance was tested and where it is worn, as it was answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VertexAnswer {
    Known {
        /// From the eye to the back of the trial lens.
        tested: Millimeter,
        /// From the eye to the back of the lens.
        worn: Millimeter,
    },
    NotKnown,
}

impl VertexAnswer {
    /// The answer in a position that was decided for.
    pub fn of(position: &PositionOfWear) -> Self {
        match position.vertex_is_known {
            true => Self::Known { tested: position.vertex_from, worn: position.frame.vertex },
            false => Self::NotKnown,
        }
    }

    /// For a person.
    pub fn words(self) -> String {
        let mm = |length: Millimeter| notation::short(length.to_f64());
        match self {
            Self::Known { tested, worn } => format!("tested at {} mm, worn at {} mm", mm(tested), mm(worn)),
            Self::NotKnown => "not known".to_owned(),
        }
    }
}

impl PositionOfWear {
    /// The position of a frame as far as it is known: the vertex distances by the answer, else the usual ones.
    pub fn starting(frame: FramePosition, answer: Option<VertexAnswer>) -> Self {
        let usual = Self::usual();
        match answer {
            None => Self { frame, ..usual },
            Some(VertexAnswer::NotKnown) => Self { frame, vertex_is_known: false, ..usual },
            Some(VertexAnswer::Known { tested, worn }) => {
                Self { vertex_from: tested, vertex_is_known: true, frame: FramePosition { vertex: worn, ..frame } }
            }
        }
    }

    /// The usual position: 13 mm, 10° of panto, 6° of wrap (common practice, from memory: 12 to 14 mm, 8 to 12°, 5 to
    /// 8°).
    pub fn usual() -> Self {
        let (mm, deg) =
            (Millimeter::from_hundredths(1300), |d: i32| Tilt::from_hundredths(d * 100).unwrap_or_default());
        let vertex = mm.unwrap_or_default();
        let frame = FramePosition { vertex, panto: deg(10), wrap: deg(6), trace: TracePlane::Flat };
        Self { vertex_from: vertex, vertex_is_known: true, frame }
    }

    /// `13 to 14 mm, 10° panto, 6° wrap`.
    pub fn words(&self) -> String {
        let mm = |length: Millimeter| notation::short(length.to_f64());
        let deg = |tilt: Tilt| tilt.to_f64().to_string();
        let vertex = match self.vertex_is_known {
            true => format!("{} to {} mm", mm(self.vertex_from), mm(self.frame.vertex)),
            false => "vertex distance not known".to_owned(),
        };
        format!("{vertex}, {}° panto, {}° wrap", deg(self.frame.panto), deg(self.frame.wrap))
    }

    /// The numbers for computing.
    pub fn numbers(&self) -> WearPosition {
        WearPosition {
            vertex_from_mm: self.vertex_from.to_f64(),
            vertex_to_mm: self.frame.vertex.to_f64(),
            panto_deg: self.frame.panto.to_f64(),
            wrap_deg: self.frame.wrap.to_f64(),
        }
    }
}

/// The lens that a power was decided for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DecidedLens {
    /// True power of the front.
    pub front: Diopter,
    /// Thickness at the optical center.
    pub center: Millimeter,
}

/// The owner's decision which power to order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PowerDecision {
    /// Compensated, or as prescribed.
    pub is_compensated: bool,
    /// The position that the decision is for.
    pub position: PositionOfWear,
    /// The power to order, and what the lensmeter must read.
    pub power: Pair<LensPower>,
    /// The lens that each power was computed for, where there is one.
    pub lenses: Pair<Option<DecidedLens>>,
    /// In UTC.
    pub at: OffsetDateTime,
}

impl PowerDecision {
    /// The decision as a sentence for the history, with both powers of each lens made if they are compensated.
    pub fn words(&self, prescribed: Pair<Option<LensPower>>) -> String {
        let position = self.position.words();
        if !self.is_compensated {
            return format!("To be made as prescribed, not compensated for the position of wear ({position}).");
        }
        let eye = |eye: Eye| {
            let (made, prescribed) = (self.power.get(eye).to_minus(), (*prescribed.get(eye))?.to_minus());
            Some(format!("{} {made} (prescribed {prescribed})", eye.letter()))
        };
        let eyes: Vec<String> = Eye::BOTH.into_iter().filter_map(eye).collect();
        format!("Ordered compensated for the position of wear ({position}): {}.", eyes.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_position_in_numbers() {
        let usual = PositionOfWear::usual().numbers();
        assert_eq!(
            (usual.vertex_from_mm, usual.vertex_to_mm, usual.panto_deg, usual.wrap_deg),
            (13.0, 13.0, 10.0, 6.0)
        );
    }

    #[test]
    fn the_vertex_is_asked_from_five_diopters_in_any_meridian() {
        let of = |text: &str| asks_vertex(crate::optics::prescription::read(text).unwrap().rx.power);
        for (rx, asked) in [
            ("-5.00 sph", true),
            ("-4.75 sph", false),
            ("+5.00 sph", true),
            ("-4.00 -1.00 x 90", true),
            ("-4.00 -0.75 x 90", false),
            ("+4.00 +1.00 x 90", true),
            ("+5.00 -1.00 x 90", true),
            ("+2.00 -6.00 x 90", false),
        ] {
            assert_eq!(of(rx), asked, "{rx}");
        }
        // Common practice: 2 mm move -10.00 to -10.20 (public vertex page), and a quarter of that at 5 D.
        let moved = -5.0 / (1.0 + 0.002 * -5.0);
        assert!((moved + 5.05_f64).abs() < 0.001);
    }

    #[test]
    fn a_position_starts_from_the_answer() {
        let frame = PositionOfWear::usual().frame;
        let known = VertexAnswer::Known { tested: "12".parse().unwrap(), worn: "14.5".parse().unwrap() };
        let words = |answer| PositionOfWear::starting(frame, answer).words();
        assert_eq!(words(Some(known)), "12 to 14.5 mm, 10° panto, 6° wrap");
        assert_eq!(words(Some(VertexAnswer::NotKnown)), "vertex distance not known, 10° panto, 6° wrap");
        assert_eq!(words(None), PositionOfWear::usual().words());
        for answer in [known, VertexAnswer::NotKnown] {
            assert_eq!(VertexAnswer::of(&PositionOfWear::starting(frame, Some(answer))), answer);
        }
        assert_eq!(known.words(), "tested at 12 mm, worn at 14.5 mm");
    }

    #[test]
    fn not_known_is_an_answer() {
        let position = PositionOfWear { vertex_is_known: false, ..PositionOfWear::usual() };
        assert_eq!(position.words(), "vertex distance not known, 10° panto, 6° wrap");
    }

    #[test]
    fn a_decision_names_both_powers() {
        let power = |text: &str| crate::optics::prescription::read(text).unwrap().rx.power;
        let mut order = PowerDecision {
            is_compensated: true,
            position: PositionOfWear::usual(),
            power: Pair::new(power("-2.12 -0.50 x 5"), power("+1.00 +0.50 x 90")),
            lenses: Pair::default(),
            at: OffsetDateTime::UNIX_EPOCH,
        };
        let prescribed = Pair::new(Some(power("-2.25 -0.25 x 10")), Some(power("+1.75 sph")));
        assert_eq!(
            order.words(prescribed),
            "Ordered compensated for the position of wear (13 to 13 mm, 10° panto, 6° wrap): R -2.12 -0.50 x 005 \
             (prescribed -2.25 -0.25 x 010), L +1.50 -0.50 x 180 (prescribed +1.75 sph)."
        );
        let one = order.words(Pair::new(None, prescribed.left));
        assert!(one.ends_with("wrap): L +1.50 -0.50 x 180 (prescribed +1.75 sph)."), "{one}");
        order.is_compensated = false;
        assert!(order.words(prescribed).starts_with("To be made as prescribed"));
    }
}
