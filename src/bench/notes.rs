//! The notes of the bench ticket on edge, size, cutting and care.
//!
//! Everything here is common practice (from memory), unless a line names a rule. The owner's machine and the frame
//! decide.

use crate::desk::catalogue::{Cutting, MaterialDetails, TreatmentDetails};
use crate::desk::frame::Rim;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BenchNotes {
    /// The edge that the rim needs.
    pub edge: &'static str,
    /// Where the bevel or groove goes and how the corners are finished.
    pub bevel: Vec<&'static str>,
    /// What to add to the traced size, or take from it.
    pub size: &'static str,
    /// With or without water, and what harms the material.
    pub cutting: Vec<&'static str>,
    /// Dangers to a person.
    pub cautions: Vec<&'static str>,
}

impl BenchNotes {
    /// The notes for a rim, a material and a tint.
    pub fn of(rim: Rim, material: &MaterialDetails, tint: Option<&TreatmentDetails>) -> Self {
        Self {
            edge: edge(rim),
            bevel: bevel(rim).to_vec(),
            size: size(rim),
            cutting: cutting(material),
            cautions: cautions(rim, material, tint),
        }
    }

    /// Leaves out the general rules for the place of the bevel, once it is chosen for this edge.
    pub fn with_bevel_placed(mut self) -> Self {
        self.bevel.retain(|words| !PLACING.contains(words));
        self
    }
}

/// Where the bevel goes in a full rim, by the thickness of the edge.
const PLACING: [&str; 2] = [
    "Plus or thin edge (under 3 mm): in the middle, or following the front at about a third.",
    "Thick minus edge: a third from the front, so that the thickness hides behind the rim.",
];

/// The edge that a rim needs.
pub fn edge(rim: Rim) -> &'static str {
    match rim {
        Rim::Metal => "V bevel, 110 to 120°, about 0.7 mm deep",
        Rim::Plastic => "V bevel",
        Rim::Cord => "flat edge, polished, with a groove 0.55 to 0.6 mm wide and 0.3 to 0.5 mm deep",
        Rim::Drilled => "flat edge, polished; holes to suit the mount",
    }
}

fn bevel(rim: Rim) -> &'static [&'static str] {
    match rim {
        Rim::Metal | Rim::Plastic => &[
            PLACING[0],
            PLACING[1],
            "Follow the frame curve where it differs from the lens by more than 1 D.",
            "Safety bevel 0.2 to 0.3 mm, 45°, both sides; not on the front of a thin lens.",
        ],
        Rim::Cord => &[
            "Edge at least 2.0 mm everywhere; groove in the middle, or following the front third.",
            "Safety bevel 0.2 to 0.3 mm, 45°, both sides.",
            "A polished edge shows rings in a high minus: tell the customer.",
        ],
        Rim::Drilled => &[
            "Edge at least 1.5 to 2.0 mm at every hole; only a very small safety bevel, both sides.",
            "A polished edge shows rings in a high minus: tell the customer.",
        ],
    }
}

/// What to add to the traced size, or take from it.
pub fn size(rim: Rim) -> &'static str {
    match rim {
        Rim::Metal => "true to the circumference, 0.0 to -0.1 mm; the eyewire must close with no gap",
        Rim::Plastic => "0.2 to 0.6 mm larger, for the warmed rim; use little heat on propionate and epoxy",
        Rim::Cord => "true to the shape; the cord must hold without stretching",
        Rim::Drilled => "true to the shape, which alone decides the look",
    }
}

fn cutting(material: &MaterialDetails) -> Vec<&'static str> {
    let mut words = vec![material.cutting.words()];
    match material.cutting {
        Cutting::Dry => words.push("little or no water"),
        Cutting::DryThenWet => words.push("never on a wheel that has cut glass"),
        Cutting::Wet if material.index_thousandths >= 1700 => words.push("brittle: low chuck pressure"),
        Cutting::Wet => {}
    }
    words
}

/// Eye protection and dust, for every job.
pub const DUST: &str = "Wear eye protection and turn on the dust extraction. No food near the edger. Do not put wet \
    swarf down the drain.";
/// For holes and grooves, which weaken a lens.
pub const WEAKENED: &str = "Impact resistance can fall after drilling, grooving or thin edges. Confirm the supplier's certificate and the \
     least thickness.";
/// For a material that cracks at holes.
pub const CRACKS: &str =
    "This material cracks easily at holes: polyurea-urethane, polycarbonate, 1.60 or 1.67 is preferred for drilling.";
/// For every tint.
pub const NIGHT: &str = "Tinted: not for driving at night.";

fn cautions(rim: Rim, material: &MaterialDetails, tint: Option<&TreatmentDetails>) -> Vec<&'static str> {
    let mut cautions = vec![DUST];
    if matches!(rim, Rim::Cord | Rim::Drilled) {
        cautions.push(WEAKENED);
    }
    // Hard resin (1.50) and the brittle 1.74 crack; 1.53 to 1.67 do not.
    if rim == Rim::Drilled && !(1520..1700).contains(&material.index_thousandths) {
        cautions.push(CRACKS);
    }
    if tint.is_some() {
        cautions.push(NIGHT);
    }
    cautions
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::catalogue::{starting_materials, starting_treatments};

    #[test]
    fn a_rim_decides_the_edge_and_the_cautions() {
        let materials = starting_materials();
        let (resin, polyurea, poly, highest) = (&materials[0], &materials[1], &materials[2], &materials[5]);
        let notes = BenchNotes::of(Rim::Metal, resin, None);
        assert!(notes.edge.starts_with("V bevel") && notes.cautions == [DUST]);
        assert_eq!(notes.cutting, ["cut wet"]);
        assert_eq!(BenchNotes::of(Rim::Metal, polyurea, None).cutting, ["cut wet"]);
        assert!(BenchNotes::of(Rim::Cord, resin, None).edge.contains("groove"));
        assert_eq!(BenchNotes::of(Rim::Drilled, resin, None).cautions, [DUST, WEAKENED, CRACKS]);
        assert_eq!(BenchNotes::of(Rim::Drilled, polyurea, None).cautions, [DUST, WEAKENED]);
        assert_eq!(BenchNotes::of(Rim::Drilled, highest, None).cautions, [DUST, WEAKENED, CRACKS]);
        assert!(BenchNotes::of(Rim::Metal, poly, None).cutting[1].contains("glass"));
        assert!(BenchNotes::of(Rim::Metal, highest, None).cutting[1].contains("brittle"));
    }

    #[test]
    fn every_tint_warns_of_the_night() {
        let (materials, treatments) = (starting_materials(), starting_treatments());
        let notes = BenchNotes::of(Rim::Plastic, &materials[0], treatments.last());
        assert_eq!(notes.cautions.last(), Some(&NIGHT));
    }
}
