//! The pupil distance and the fitting heights from a photo of a face, with how exact they are.
//!
//! # How a face is measured
//!
//! 1. `pose` – a card of standard size on the face, or the frame whose width is known, says how large a millimeter is at
//!    the place where it stands, how the head is rolled, and (the card alone) how it is turned and tilted.
//! 2. `sight` – the eyes look at the camera, so the pupil, the point about which its eye turns, and the camera lie on one
//!    line: the place where a pupil is seen is the place of that point. The points stand behind the card by a known amount.
//!    Their distance is the pupil distance for far.
//! 3. `spread` – what is not known exactly, and how far it moves each figure.
//!
//! The middle of the picture is taken for the axis of the camera: a picture that was cut to size misplaces the halves.
//! Right and left are the wearer's: the right eye is on the viewer's left.

mod pose;
mod refused;
mod sight;
mod spread;

use std::fmt;

use super::gray::Pixel;
use crate::optics::convergence::{READING_MM, near_mm};
use crate::optics::{Eye, Pair};
use pose::{Angle, Pose};
pub use refused::FaceRefused;
use sight::{FaceFigures, Sight};

/// From the camera to the pupils, mm: a person cannot look at a camera that is nearer, and one that is farther sees too
/// little.
pub const CAMERA_MM: std::ops::RangeInclusive<f64> = 200.0..=5000.0;
/// How much nearer to the camera than the pupils a card or a frame may stand, mm.
pub const NEARER_MM: std::ops::RangeInclusive<f64> = -20.0..=60.0;
/// How exact a mark can be stated, pixels.
pub const MARK_ERROR_PX: std::ops::RangeInclusive<f64> = 0.0..=50.0;
/// Pixels across and down of a picture.
pub const IMAGE_PX: std::ops::RangeInclusive<f64> = 100.0..=50_000.0;
/// Widths of a frame front, A + DBL + A, mm.
pub const FRAME_MM: std::ops::RangeInclusive<f64> = 80.0..=180.0;
/// A usual distance for a photo: the arm of another person.
pub const USUAL_CAMERA_MM: f64 = 500.0;
/// A card against the forehead stands about so much nearer to the camera than the pupils, mm (from memory).
pub const USUAL_CARD_NEARER_MM: f64 = 10.0;
/// The front of a frame stands about so much nearer than the pupils, mm: 13 to the eye, 3 more to its pupil (from memory).
pub const USUAL_FRAME_NEARER_MM: f64 = 16.0;
/// Distances between the pupils that are believed, mm. The limits of a prescription.
const PAIR_MM: std::ops::RangeInclusive<f64> = 40.0..=80.0;
/// From this turn on each eye is misplaced by 1 mm, the house limit for a center: 10.5 mm · sin 5.5°.
const TURN_DEG: f64 = 5.5;
/// A card that leans more than this on the face, or a head that does, moves the pair by more than 0.5 mm.
const LEAN_DEG: f64 = 6.0;
/// A turn that is known no better than this is not seen.
const UNSEEN_DEG: f64 = 6.0;
/// The bridge of a nose is not farther above or below the pupils than this part of the distance between them (from memory).
const MOST_BRIDGE_OFF: f64 = 0.5;
/// The halves of a pupil distance seldom differ by more, mm. The limit of the caution in an order.
const UNEVEN_MM: f64 = 3.0;

/// What says how large a millimeter is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FaceScale {
    /// A card of standard size held against the face.
    Card {
        /// Its corners: top left, top right, bottom right, bottom left as seen.
        corners: [Pixel; 4],
        /// How much nearer to the camera it stands than the pupils.
        nearer_mm: f64,
    },
    /// The frame as worn.
    Frame {
        /// The outermost points of the two lenses.
        edges: Pair<Pixel>,
        /// The distance between them: A + DBL + A.
        width_mm: f64,
    },
}

/// A photo of a face with its marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FacePhoto {
    /// What says how large a millimeter is.
    pub scale: FaceScale,
    /// The middle of each pupil.
    pub pupils: Pair<Pixel>,
    /// The middle of the bridge of the nose.
    pub bridge: Pixel,
    /// The lowest point of each lens in the frame as worn, for the heights.
    pub lower_rims: Option<Pair<Pixel>>,
    /// Pixels across and down.
    pub image_px: (f64, f64),
    /// From the camera to the plane of the pupils, square to a face that looks along the axis of the camera or at the camera.
    pub camera_mm: f64,
    /// How much nearer to the camera than the pupils the frame stands.
    pub frame_nearer_mm: f64,
    /// One standard deviation of a mark, across and down.
    pub mark_error_px: f64,
}

/// What a photo says. Each ± is two standard deviations.
#[derive(Debug, Clone, PartialEq)]
pub struct FaceMeasures {
    /// Each eye from the middle of the nose, looking far.
    pub far_mm: Pair<f64>,
    /// Each eye at the usual reading distance.
    pub near_mm: Pair<f64>,
    /// Each pupil above the lowest point of its lens, along the frame.
    pub height_mm: Option<Pair<f64>>,
    /// How exact.
    pub plus_minus: PlusMinus,
    /// What is doubtful.
    pub warnings: Vec<FaceWarning>,
}

/// Two standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlusMinus {
    /// Of both eyes together.
    pub pair_mm: f64,
    /// Of one eye.
    pub each_mm: f64,
    /// Of a height.
    pub height_mm: Option<f64>,
}

/// Why a figure is to be doubted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FaceWarning {
    /// The head is turned toward the wearer's right or left.
    Turned {
        /// How far.
        deg: f64,
        /// Toward which side of the wearer.
        toward: Eye,
    },
    /// The card leans forward or back.
    Leaning(f64),
    /// A turn of the head cannot be seen in this photo.
    TurnUnseen,
    /// The halves are unequal.
    Uneven(Pair<f64>),
}

impl fmt::Display for FaceWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Turned { deg, toward } => write!(
                f,
                "The head or the card is turned by about {deg:.0}° toward the wearer’s {}: ask for another photo, with the \
                 face straight to the camera",
                toward.name()
            ),
            Self::Leaning(deg) => write!(
                f,
                "The card leans by about {:.0}° with its top {}: ask for another photo, with the card upright and the \
                 camera at the height of the eyes",
                deg.abs(),
                if *deg > 0.0 { "toward the camera" } else { "away from the camera" }
            ),
            Self::TurnUnseen => write!(
                f,
                "This photo does not show whether the head is turned: compare the two sides of the face, and trust the \
                 distance of both eyes more than each half"
            ),
            Self::Uneven(eyes) => write!(
                f,
                "The halves are unequal, {:.1} mm right and {:.1} mm left: the head may be turned, or the bridge is marked \
                 off its middle",
                eyes.right, eyes.left
            ),
        }
    }
}

impl FacePhoto {
    /// Measures the face.
    ///
    /// # Errors
    ///
    /// [`FaceRefused`] for the first thing that is not possible.
    pub fn measure(&self) -> Result<FaceMeasures, FaceRefused> {
        self.check()?;
        let pose = Pose::of(self)?;
        let sight = Sight::new(self, &pose);
        let seen = sight.seen().filter(FaceFigures::is_finite).ok_or(FaceRefused::NotAFace)?;
        if !PAIR_MM.contains(&seen.pair_mm()) {
            return Err(FaceRefused::Pair(seen.pair_mm()));
        }
        if seen.far_mm.right <= 0.0 || seen.far_mm.left <= 0.0 {
            return Err(FaceRefused::Bridge);
        }
        if let Some(eye) =
            Eye::BOTH.into_iter().find(|eye| seen.height_mm.is_some_and(|height| *height.get(*eye) <= 0.0))
        {
            return Err(FaceRefused::LowerRim(eye));
        }
        Ok(FaceMeasures {
            far_mm: seen.far_mm,
            near_mm: seen.far_mm.map(|far_mm| near_mm(far_mm, READING_MM)),
            height_mm: seen.height_mm,
            plus_minus: spread::plus_minus(self, &pose, &seen).ok_or(FaceRefused::NotAFace)?,
            warnings: warnings(&pose, &sight, &seen),
        })
    }

    fn check(&self) -> Result<(), FaceRefused> {
        let number = |what, value: f64, range: std::ops::RangeInclusive<f64>| match range.contains(&value) {
            true => Ok(()),
            false => Err(FaceRefused::Number { what, value, low: *range.start(), high: *range.end() }),
        };
        let (wide, high) = self.image_px;
        number("the width of the picture in pixels", wide, IMAGE_PX)?;
        number("the height of the picture in pixels", high, IMAGE_PX)?;
        number("the camera’s distance in mm", self.camera_mm, CAMERA_MM)?;
        number("the mark error in pixels", self.mark_error_px, MARK_ERROR_PX)?;
        number("how much nearer the frame stands, in mm,", self.frame_nearer_mm, NEARER_MM)?;
        match self.scale {
            FaceScale::Card { nearer_mm, .. } => {
                number("how much nearer the card stands, in mm,", nearer_mm, NEARER_MM)?
            }
            FaceScale::Frame { width_mm, .. } => number("the width of the frame in mm", width_mm, FRAME_MM)?,
        }
        let is_outside = |place: &Pixel| !((0.0..=wide).contains(&place.x) && (0.0..=high).contains(&place.y));
        if let Some((name, _)) = self.marks().into_iter().find(|(_, place)| is_outside(place)) {
            return Err(FaceRefused::Outside(name));
        }
        if self.pupils.right.x >= self.pupils.left.x {
            return Err(FaceRefused::Exchanged("pupils"));
        }
        if self.bridge_off() > MOST_BRIDGE_OFF {
            return Err(FaceRefused::BridgeFar);
        }
        if self.lower_rims.is_some_and(|rims| rims.right.x >= rims.left.x) {
            return Err(FaceRefused::Exchanged("lower rims"));
        }
        Ok(())
    }

    /// How far the bridge is above or below the line through the pupils, as a part of the distance between them.
    fn bridge_off(&self) -> f64 {
        let (right, left) = (self.pupils.right, self.pupils.left);
        let (x, y) = (left.x - right.x, left.y - right.y);
        ((self.bridge.x - right.x) * y - (self.bridge.y - right.y) * x).abs() / (x * x + y * y)
    }

    /// Every mark with its name.
    fn marks(&self) -> Vec<(&'static str, Pixel)> {
        let mut marks = vec![
            ("the right pupil", self.pupils.right),
            ("the left pupil", self.pupils.left),
            ("the bridge", self.bridge),
        ];
        match self.scale {
            FaceScale::Card { corners, .. } => marks.extend(corners.map(|corner| ("a corner of the card", corner))),
            FaceScale::Frame { edges, .. } => {
                marks.extend([("the frame’s right edge", edges.right), ("the frame’s left edge", edges.left)]);
            }
        }
        let rims = self.lower_rims.iter();
        marks.extend(rims.flat_map(|rims| [("the right lower rim", rims.right), ("the left lower rim", rims.left)]));
        marks
    }
}

fn warnings(pose: &Pose, sight: &Sight, seen: &FaceFigures) -> Vec<FaceWarning> {
    let mut found = Vec::new();
    match pose.card_turn {
        None => found.push(FaceWarning::TurnUnseen),
        Some(turn) if turn.deviation_deg > UNSEEN_DEG => found.push(FaceWarning::TurnUnseen),
        Some(_) => {}
    }
    // A head beside the axis of the camera may face the camera or look along the axis: neither is turned.
    let beyond = |angle: Option<Angle>, aside_deg: f64, limit_deg: f64| {
        let angle = angle?;
        let from_sight_deg = angle.deg - aside_deg;
        let deg = if from_sight_deg.abs() < angle.deg.abs() { from_sight_deg } else { angle.deg };
        (deg.abs() > limit_deg.max(2.0 * angle.deviation_deg)).then_some(deg)
    };
    let (turn_aside_deg, lean_aside_deg) = sight.aside_deg();
    if let Some(deg) = beyond(pose.card_turn, turn_aside_deg, TURN_DEG) {
        let toward = if deg > 0.0 { Eye::Right } else { Eye::Left };
        found.push(FaceWarning::Turned { deg: deg.abs(), toward });
    }
    found.extend(beyond(pose.card_lean, lean_aside_deg, LEAN_DEG).map(FaceWarning::Leaning));
    if (seen.far_mm.right - seen.far_mm.left).abs() > UNEVEN_MM {
        found.push(FaceWarning::Uneven(seen.far_mm));
    }
    found
}
