//! The holes of a drilled mount as they are typed, kept and printed.
//!
//! Each hole is measured to its center: inward from the nose or the temple side of the box, and up from the middle line of
//! the box, below it negative. So the same figures hold for both eyes, and a larger lens
//! has its holes as far from its sides and its middle line as before: the mount does not grow.

use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};

use super::key::keyed;
use super::limit::LengthLimit;
use crate::optics::unit::{Millimeter, UnitError};
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::hole::{Hole, HoleFault, LEAST_THICKNESS_MM, LEAST_WALL_MM, MOST_HOLES, place_faults};
use crate::shape::outline::{Outline, Point};

/// From a side of the box to the center of a hole.
const FROM_SIDE: LengthLimit = LengthLimit::new("A distance from the side", 0, 4500);
/// From the middle line of the box to the center of a hole.
const UP: LengthLimit = LengthLimit::new("A height above the middle line", -4500, 4500);
/// The diameter of a hole.
const DIAMETER: LengthLimit = LengthLimit::new("The diameter of a hole", 50, 600);
/// How a hole is written.
const PATTERN: &str = "write nose or temple, then the distance from that side, the height and the diameter, as in \
                       “temple 3.5 2 1.4”; a slot goes on with “to 5.5 2”";

/// The side of the box that a hole is measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum BoxSide {
    Nose,
    Temple,
}

keyed!(BoxSide);

/// The holes of both eyes.
pub type Drilling = Pair<Vec<DrilledHole>>;

/// One hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DrilledHole {
    pub side: BoxSide,
    pub at: FromSide,
    /// The other end of a slot.
    pub slot_end: Option<FromSide>,
    /// The diameter; of a slot, its width.
    pub diameter: Millimeter,
}

/// A place in the box.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FromSide {
    /// Inward from the side.
    pub inward: Millimeter,
    /// Above the middle line.
    pub up: Millimeter,
}

/// Which way the nose or temple side lies from the boxing center, in the front view.
fn sign(side: BoxSide, eye: Eye) -> f64 {
    match side {
        BoxSide::Nose => eye.nasal_sign(),
        BoxSide::Temple => -eye.nasal_sign(),
    }
}

impl DrilledHole {
    /// The hole in the front view of an eye.
    pub fn hole(&self, eye: Eye, boxing: &Boxing) -> Hole {
        let toward = sign(self.side, eye);
        let at = |p: FromSide| Point::new(toward * (boxing.a_mm / 2.0 - p.inward.to_f64()), p.up.to_f64());
        Hole { at: at(self.at), slot_end: self.slot_end.map(at), diameter_mm: self.diameter.to_f64() }
    }

    /// A hole of the front view, measured from the side that is nearer.
    ///
    /// # Errors
    ///
    /// [`UnitError`] for a place or a size that is no length.
    pub fn of(hole: &Hole, eye: Eye, boxing: &Boxing) -> Result<Self, UnitError> {
        let side = if hole.at.x_mm * eye.nasal_sign() > 0.0 { BoxSide::Nose } else { BoxSide::Temple };
        let at = |p: Point| {
            let inward_mm = boxing.a_mm / 2.0 - sign(side, eye) * p.x_mm;
            Ok(FromSide { inward: Millimeter::round_from(inward_mm)?, up: Millimeter::round_from(p.y_mm)? })
        };
        let slot_end = hole.slot_end.map(at).transpose()?;
        Ok(Self { side, at: at(hole.at)?, slot_end, diameter: Millimeter::round_from(hole.diameter_mm)? })
    }

    /// Reads one hole, `temple 3.5 2 1.4` or `nose 3 -1 1.2 to 5 -1`.
    fn read(line: &str) -> Result<Self, String> {
        let words: Vec<&str> = line.split_whitespace().collect();
        let (side, rest) = words.split_first().ok_or(PATTERN)?;
        let side = match side.to_ascii_lowercase().as_str() {
            "nose" | "n" => BoxSide::Nose,
            "temple" | "t" => BoxSide::Temple,
            _ => return Err(PATTERN.to_owned()),
        };
        let read = |limit: LengthLimit, text: &str| limit.read(text).map_err(|why| why.to_string());
        let place =
            |inward: &str, up: &str| Ok::<_, String>(FromSide { inward: read(FROM_SIDE, inward)?, up: read(UP, up)? });
        match *rest {
            [inward, up, diameter] => {
                Ok(Self { side, at: place(inward, up)?, slot_end: None, diameter: read(DIAMETER, diameter)? })
            }
            [inward, up, diameter, to, end_inward, end_up] if to.eq_ignore_ascii_case("to") => Ok(Self {
                side,
                at: place(inward, up)?,
                slot_end: Some(place(end_inward, end_up)?),
                diameter: read(DIAMETER, diameter)?,
            }),
            _ => Err(PATTERN.to_owned()),
        }
    }

    /// The hole as it is typed.
    fn typed(&self) -> String {
        let end = self.slot_end.map(|end| format!(" to {} {}", end.inward, end.up)).unwrap_or_default();
        format!("{} {} {} {}{end}", self.side.key(), self.at.inward, self.at.up, self.diameter)
    }
}

/// Reads the holes of one lens, a line a hole.
///
/// # Errors
///
/// A sentence that names the line.
pub fn read_holes(text: &str) -> Result<Vec<DrilledHole>, String> {
    let lines = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    let read =
        |(index, line): (usize, &str)| DrilledHole::read(line).map_err(|why| format!("Line {}: {why}", index + 1));
    let holes = lines.map(read).collect::<Result<Vec<_>, _>>()?;
    match holes.len() {
        0..=MOST_HOLES => Ok(holes),
        many => Err(format!("{many} holes are too many: at most {MOST_HOLES} were expected")),
    }
}

/// Holes as they are typed, a line a hole.
pub fn typed(holes: &[DrilledHole]) -> String {
    holes.iter().map(DrilledHole::typed).collect::<Vec<_>>().join("\n")
}

/// The holes on the lenses of these sizes.
pub fn on_lenses(drilling: &Drilling, boxing: &Pair<Boxing>) -> Pair<Vec<Hole>> {
    let of = |eye: Eye| drilling.get(eye).iter().map(|hole| hole.hole(eye, boxing.get(eye))).collect();
    Pair::new(of(Eye::Right), of(Eye::Left))
}

/// Holes of the front view as they are kept.
///
/// # Errors
///
/// [`UnitError`] for a place or a size that is no length.
pub fn of_lenses(holes: &Pair<Vec<Hole>>, boxing: &Pair<Boxing>) -> Result<Drilling, UnitError> {
    let of = |eye: Eye| {
        let each = |hole: &Hole| DrilledHole::of(hole, eye, boxing.get(eye));
        holes.get(eye).iter().map(each).collect::<Result<Vec<_>, _>>()
    };
    Ok(Pair::new(of(Eye::Right)?, of(Eye::Left)?))
}

/// What is wrong with the places of the holes of one lens, a sentence each.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PlaceWords {
    /// The lens cannot be drilled so.
    pub refused: Vec<String>,
    /// What to know before it is drilled.
    pub cautions: Vec<String>,
}

impl PlaceWords {
    /// Of holes in this outline.
    pub fn of(eye: Eye, holes: &[Hole], outline: &Outline) -> Self {
        let mut words = Self::default();
        for (index, fault) in place_faults(holes, outline) {
            let says = fault_words(eye, index, fault);
            match fault {
                HoleFault::ThinWall { .. } | HoleFault::ThinLens { .. } => words.cautions.push(says),
                HoleFault::Outside | HoleFault::OpensAtRim | HoleFault::MeetsNext => words.refused.push(says),
            }
        }
        words
    }
}

/// What is wrong with a hole, as a sentence.
pub fn fault_words(eye: Eye, index: usize, fault: HoleFault) -> String {
    let which = format!("Hole {} of the {} eye", index + 1, eye.name());
    match fault {
        HoleFault::Outside => format!("{which} lies outside the lens."),
        HoleFault::OpensAtRim => format!("{which} is cut by the rim of the lens."),
        HoleFault::MeetsNext => format!("{which} runs into another hole."),
        HoleFault::ThinWall { wall_mm } => format!(
            "{which} leaves only {wall_mm:.2} mm to the rim of the lens: under {LEAST_WALL_MM:.1} mm it may crack \
             (common practice)."
        ),
        HoleFault::ThinLens { thickness_mm } => format!(
            "At hole {} of the {} eye the lens is {thickness_mm:.2} mm thick: a drilled mount needs \
             {LEAST_THICKNESS_MM:.1} mm (common practice).",
            index + 1,
            eye.name()
        ),
    }
}

/// A line of a table of holes. Where one lens is drilled, a line says that the other one is not.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HoleTableRow {
    /// `R and L`, `R` or `L`.
    pub eyes: String,
    /// The hole; `None` where the lens has none.
    #[serde(flatten)]
    pub hole: Option<HoleFigures>,
}

/// A hole as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HoleFigures {
    /// Counts the holes of a lens.
    pub number: usize,
    /// `nose` or `temple`.
    pub side: String,
    /// Inward from that side.
    pub inward: String,
    /// Above the middle line, with its sign.
    pub up: String,
    /// The diameter.
    pub diameter: String,
    /// The other end of a slot; empty for a round hole.
    pub slot_end: String,
}

impl HoleTableRow {
    /// The holes of both eyes; once where both have the same. Nothing where neither has any.
    pub fn of(drilling: &Drilling) -> Vec<Self> {
        if drilling.right.is_empty() && drilling.left.is_empty() {
            return Vec::new();
        }
        if drilling.right == drilling.left {
            return Self::of_lens("R and L", &drilling.right);
        }
        Eye::BOTH.into_iter().flat_map(|eye| Self::of_lens(eye.letter(), drilling.get(eye))).collect()
    }

    /// The hole on one line: `R and L 1: temple 4.00, 2.00 up, ⌀ 1.40`; `L: none`.
    pub fn words(&self) -> String {
        let eyes = &self.eyes;
        let Some(HoleFigures { number, side, inward, up, diameter, slot_end }) = &self.hole else {
            return format!("{eyes}: none");
        };
        let height = match up.split_at_checked(1) {
            Some(("+", up)) => format!("{up} up"),
            Some(("-", down)) => format!("{down} down"),
            _ => "level".to_owned(),
        };
        let slot = if slot_end.is_empty() { String::new() } else { format!(", slot to {slot_end}") };
        format!("{eyes} {number}: {side} {inward}, {height}, ⌀ {diameter}{slot}")
    }

    fn of_lens(eyes: &str, holes: &[DrilledHole]) -> Vec<Self> {
        let row = |hole: Option<HoleFigures>| Self { eyes: eyes.to_owned(), hole };
        if holes.is_empty() {
            return vec![row(None)];
        }
        (1..).zip(holes).map(|(number, hole)| row(Some(HoleFigures::of(number, hole)))).collect()
    }
}

impl HoleFigures {
    fn of(number: usize, hole: &DrilledHole) -> Self {
        let signed = |mm: Millimeter| if mm > Millimeter::ZERO { format!("+{mm}") } else { mm.to_string() };
        Self {
            number,
            side: hole.side.key().to_owned(),
            inward: hole.at.inward.to_string(),
            up: signed(hole.at.up),
            diameter: hole.diameter.to_string(),
            slot_end: hole.slot_end.map(|end| format!("{}, {}", end.inward, signed(end.up))).unwrap_or_default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn size(a_mm: f64, b_mm: f64) -> Boxing {
        Boxing { a_mm, b_mm, ed_mm: 0.0, ed_axis_deg: 0.0, circumference_mm: 0.0, area_mm2: 0.0 }
    }

    #[test]
    fn the_same_figures_lie_mirrored_on_both_eyes() {
        let holes = read_holes("temple 3.5 2 1.4\n\n N 4 -1.5 1.2 to 6 -1.5 \n").unwrap();
        assert_eq!(typed(&holes), "temple 3.50 2.00 1.40\nnose 4.00 -1.50 1.20 to 6.00 -1.50");
        assert_eq!(read_holes(&typed(&holes)).unwrap(), holes);
        // A 50: the temple side of the right eye is at -25, its nose side at +25.
        let both = on_lenses(&Pair::new(holes.clone(), holes.clone()), &Pair::new(size(50.0, 40.0), size(50.0, 40.0)));
        assert_eq!((both.right[0].at, both.left[0].at), (Point::new(-21.5, 2.0), Point::new(21.5, 2.0)));
        assert_eq!((both.right[1].at, both.right[1].slot_end), (Point::new(21.0, -1.5), Some(Point::new(19.0, -1.5))));
        let boxing = Pair::new(size(50.0, 40.0), size(50.0, 40.0));
        assert_eq!(of_lenses(&both, &boxing).unwrap(), Pair::new(holes.clone(), holes.clone()));
        assert_eq!(of_lenses(&Pair::new(Vec::new(), both.left), &boxing).unwrap(), Pair::new(Vec::new(), holes));
    }

    #[test]
    fn a_wrong_line_is_named() {
        for (text, says) in [
            ("temple 3.5 2", "Line 1: write nose or temple"),
            ("nose 3 1 1.4\nabove 3 1 1.4", "Line 2: write nose or temple"),
            ("nose 3 1 14", "Line 1: The diameter of a hole of 14.00 mm"),
            ("nose x 1 1.4", "Line 1: "),
            ("nose 3 1 1.4 and 4 1", "Line 1: write nose or temple"),
        ] {
            let why = read_holes(text).unwrap_err();
            assert!(why.starts_with(says), "{why}");
        }
        assert!(read_holes(&"nose 3 1 1.4\n".repeat(13)).unwrap_err().starts_with("13 holes are too many"));
    }

    #[test]
    fn rows_are_said_once_where_both_eyes_are_alike() {
        let holes = read_holes("temple 3.5 2 1.4\nnose 4 -1.5 1.2 to 6 -1.5").unwrap();
        let rows = HoleTableRow::of(&Pair::new(holes.clone(), holes.clone()));
        assert_eq!(rows.len(), 2);
        assert_eq!(rows[0].words(), "R and L 1: temple 3.50, 2.00 up, ⌀ 1.40");
        assert_eq!(rows[1].words(), "R and L 2: nose 4.00, 1.50 down, ⌀ 1.20, slot to 6.00, -1.50");
    }

    #[test]
    fn a_lens_without_holes_is_said_beside_one_that_has_some() {
        let holes = read_holes("temple 3.5 2 1.4").unwrap();
        let words = |drilling| HoleTableRow::of(&drilling).iter().map(HoleTableRow::words).collect::<Vec<_>>();
        let hole = "1: temple 3.50, 2.00 up, ⌀ 1.40";
        assert_eq!(words(Pair::new(holes.clone(), Vec::new())), [format!("R {hole}"), "L: none".to_owned()]);
        assert_eq!(words(Pair::new(Vec::new(), holes)), ["R: none".to_owned(), format!("L {hole}")]);
        assert_eq!(HoleTableRow::of(&Drilling::default()), []);
    }

    /// As a ticket was kept before a lens without holes was said.
    #[test]
    fn rows_that_were_kept_are_read() {
        let kept =
            r#"{"eyes":"R","number":1,"side":"temple","inward":"3.50","up":"+2.00","diameter":"1.40","slot_end":""}"#;
        let rows = HoleTableRow::of(&Pair::new(read_holes("temple 3.5 2 1.4").unwrap(), Vec::new()));
        assert_eq!(serde_json::from_str::<HoleTableRow>(kept).unwrap(), rows[0]);
        assert_eq!(serde_json::to_string(&rows[0]).unwrap(), kept);
        let bare = serde_json::to_string(&rows[1]).unwrap();
        assert_eq!((bare.as_str(), serde_json::from_str(&bare).unwrap()), (r#"{"eyes":"L"}"#, rows[1].clone()));
    }
}
