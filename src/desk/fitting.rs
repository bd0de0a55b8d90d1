//! The position of wear, and the owner's decision which power to order for it.
//!
//! A lens is made as prescribed until the owner decides otherwise. After that both powers are shown and printed. The
//! compensated power is computed in `bench::compensation`.

use time::OffsetDateTime;

use super::limit::LengthLimit;
use crate::optics::compensation::{MAX_VERTEX_MM, WearPosition};
use crate::optics::notation;
use crate::optics::prescription::LensPower;
use crate::optics::unit::{Millimetre, Tilt};
use crate::optics::{Eye, Pair};

/// From the eye to the back of a lens.
pub const VERTEX: LengthLimit = LengthLimit::new("A vertex distance", 0, (MAX_VERTEX_MM * 100.0) as i32);

/// How the frame sits on the face.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FramePosition {
    /// Vertex distance as worn: from the eye to the back of the lens.
    pub vertex: Millimetre,
    pub panto: Tilt,
    pub wrap: Tilt,
}

/// The position of wear of a job, with the vertex distance of the refraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PositionOfWear {
    /// Vertex distance of the refraction: from the eye to the back of the trial lens.
    pub vertex_from: Millimetre,
    pub frame: FramePosition,
}

impl PositionOfWear {
    /// The usual position: 13 mm, 10° of panto, 6° of wrap (common practice, from memory: 12 to 14 mm, 8 to 12°, 5 to
    /// 8°).
    pub fn usual() -> Self {
        let (mm, deg) =
            (Millimetre::from_hundredths(1300), |d: i32| Tilt::from_hundredths(d * 100).unwrap_or_default());
        let vertex = mm.unwrap_or_default();
        Self { vertex_from: vertex, frame: FramePosition { vertex, panto: deg(10), wrap: deg(6) } }
    }

    /// `13 to 14 mm, 10° panto, 6° wrap`.
    pub fn words(&self) -> String {
        let mm = |length: Millimetre| notation::short(length.to_f64());
        let deg = |tilt: Tilt| tilt.to_f64().to_string();
        format!(
            "{} to {} mm, {}° panto, {}° wrap",
            mm(self.vertex_from),
            mm(self.frame.vertex),
            deg(self.frame.panto),
            deg(self.frame.wrap)
        )
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

/// The owner's decision which power to order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PowerDecision {
    /// Compensated, or as prescribed.
    pub is_compensated: bool,
    /// The position that the decision is for.
    pub position: PositionOfWear,
    /// The power to order, and what the lensmeter must read.
    pub power: Pair<LensPower>,
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
    fn a_decision_names_both_powers() {
        let power = |text: &str| crate::optics::prescription::read(text).unwrap().rx.power;
        let mut order = PowerDecision {
            is_compensated: true,
            position: PositionOfWear::usual(),
            power: Pair::new(power("-2.12 -0.50 x 5"), power("+1.00 +0.50 x 90")),
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
