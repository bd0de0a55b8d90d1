//! How exact the figures of a face are: each thing that is not known exactly is moved by one standard deviation, and the
//! changes are added as squares. Source: the law of propagation of uncertainty, JCGM 100 (5.1.2).

use super::pose::Pose;
use super::sight::{FaceFigures, Off, Sight};
use super::{FacePhoto, FaceScale, PlusMinus};
use crate::optics::convergence::TURNING_POINT_LIMIT_MM;
use crate::optics::{Eye, Pair};
use crate::picture::gray::Pixel;

/// A limit of which nothing more is known has this part of it as standard deviation. Source: JCGM 100 (4.3.7).
const OF_A_LIMIT: f64 = 0.577_350_269_189_625_8;
/// The camera's distance is stated within this part of it.
const CAMERA_LIMIT: f64 = 0.1;
/// How much nearer the card or the frame stands is stated within this, mm.
const NEARER_LIMIT_MM: f64 = 2.0;
/// The bridge lies within this of the plane of the pupils, mm.
const BRIDGE_LIMIT_MM: f64 = 4.0;

/// Sums of squares.
#[derive(Default)]
struct Squares {
    pair: f64,
    far: Pair<f64>,
    height: Pair<f64>,
}

impl Squares {
    /// Adds what the figures change by between the two ends of one standard deviation each way.
    fn add(&mut self, ends: (FaceFigures, FaceFigures)) {
        let square = |low: f64, high: f64| ((high - low) / 2.0).powi(2);
        let (low, high) = ends;
        self.pair += square(low.pair_mm(), high.pair_mm());
        let heights = (low.height_mm.unwrap_or_default(), high.height_mm.unwrap_or_default());
        for eye in Eye::BOTH {
            *self.far.get_mut(eye) += square(*low.far_mm.get(eye), *high.far_mm.get(eye));
            *self.height.get_mut(eye) += square(*heights.0.get(eye), *heights.1.get(eye));
        }
    }
}

/// Two standard deviations of the figures. `None` where a mark cannot be moved.
pub(super) fn plus_minus(photo: &FacePhoto, pose: &Pose, seen: &FaceFigures) -> Option<PlusMinus> {
    let mut squares = Squares::default();
    for (moved, step) in steps(photo, pose) {
        let end = |sign: f64| moved.seen(photo, pose, sign * step);
        squares.add((end(-1.0)?, end(1.0)?));
    }
    let two = |square: f64| 2.0 * square.sqrt();
    let worse = |both: Pair<f64>| two(both.right.max(both.left));
    let found = PlusMinus {
        pair_mm: two(squares.pair),
        each_mm: worse(squares.far),
        height_mm: seen.height_mm.map(|_| worse(squares.height)),
    };
    (found.pair_mm + found.each_mm + found.height_mm.unwrap_or(0.0)).is_finite().then_some(found)
}

/// Something that is not known exactly.
#[derive(Debug, Clone, Copy)]
enum UnsureInput {
    /// A mark by its place in the list, across or down.
    Mark(usize, bool),
    Camera,
    Nearer,
    Turning,
    Bridge,
    Turn,
    Lean,
}

/// Each of them with its standard deviation.
fn steps(photo: &FacePhoto, pose: &Pose) -> Vec<(UnsureInput, f64)> {
    let marks = photo.marks().len();
    let both = |index: usize| {
        [(UnsureInput::Mark(index, false), photo.mark_error_px), (UnsureInput::Mark(index, true), photo.mark_error_px)]
    };
    let mut steps: Vec<(UnsureInput, f64)> = (0..marks).flat_map(both).collect();
    steps.extend([
        (UnsureInput::Camera, OF_A_LIMIT * CAMERA_LIMIT * photo.camera_mm),
        (UnsureInput::Nearer, OF_A_LIMIT * NEARER_LIMIT_MM),
        (UnsureInput::Turning, OF_A_LIMIT * TURNING_POINT_LIMIT_MM),
        (UnsureInput::Bridge, OF_A_LIMIT * BRIDGE_LIMIT_MM),
        (UnsureInput::Turn, pose.head_deviation_deg.0),
        (UnsureInput::Lean, pose.head_deviation_deg.1),
    ]);
    steps
}

impl UnsureInput {
    /// The figures with this moved by `step`.
    fn seen(self, photo: &FacePhoto, pose: &Pose, step: f64) -> Option<FaceFigures> {
        let off = match self {
            Self::Nearer => Off { nearer_mm: step, ..Off::default() },
            Self::Turning => Off { turning_mm: step, ..Off::default() },
            Self::Bridge => Off { bridge_mm: step, ..Off::default() },
            Self::Turn => Off { head_deg: (step, 0.0), ..Off::default() },
            Self::Lean => Off { head_deg: (0.0, step), ..Off::default() },
            Self::Camera | Self::Mark(..) => Off::default(),
        };
        let mut moved = *photo;
        match self {
            Self::Camera => moved.camera_mm += step,
            Self::Mark(index, is_down) => {
                let place = mark(&mut moved, index)?;
                if is_down { place.y += step } else { place.x += step }
            }
            _ => return Sight::off(photo, pose, off).seen(),
        }
        let pose = pose.again(photo, &moved)?;
        Sight::off(&moved, &pose, off).seen()
    }
}

/// A mark by its place in `FacePhoto::marks`.
fn mark(photo: &mut FacePhoto, index: usize) -> Option<&mut Pixel> {
    let mut marks = vec![&mut photo.pupils.right, &mut photo.pupils.left, &mut photo.bridge];
    match &mut photo.scale {
        FaceScale::Card { corners, .. } => marks.extend(corners),
        FaceScale::Frame { edges, .. } => marks.extend([&mut edges.right, &mut edges.left]),
    }
    marks.extend(photo.lower_rims.iter_mut().flat_map(|rims| [&mut rims.right, &mut rims.left]));
    marks.into_iter().nth(index)
}
