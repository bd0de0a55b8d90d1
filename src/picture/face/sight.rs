//! From the marks to millimeters: where the lines of sight meet the planes of the face.

use nalgebra::Vector3;

use super::pose::{Pose, aside};
use super::{FacePhoto, FaceScale};
use crate::optics::Pair;
use crate::optics::convergence::TURNING_POINT_MM;
use crate::picture::gray::Pixel;

/// What is taken for granted of a face, and may be a little different.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Off {
    /// Of the head's turn and lean.
    pub head_deg: (f64, f64),
    /// Of how far the scale stands before the pupils.
    pub nearer_mm: f64,
    /// Of how far the points about which the eyes turn lie behind the pupils.
    pub turning_mm: f64,
    /// How much nearer than the pupils the bridge is.
    pub bridge_mm: f64,
}

/// A face before a camera.
pub(super) struct Sight<'a> {
    photo: &'a FacePhoto,
    focal_px: f64,
    /// Away from the camera, square to the face.
    away: Vector3<f64>,
    /// From the camera to the plane of the pupils, square to it.
    pupils_mm: f64,
    off: Off,
    pose: Pose,
}

/// Figures of a face, before they are rounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FaceFigures {
    pub far_mm: Pair<f64>,
    pub height_mm: Option<Pair<f64>>,
}

impl FaceFigures {
    pub(super) fn pair_mm(&self) -> f64 {
        self.far_mm.right + self.far_mm.left
    }

    pub(super) fn is_finite(&self) -> bool {
        let heights = self.height_mm.unwrap_or_default();
        [self.far_mm.right, self.far_mm.left, heights.right, heights.left].iter().all(|value| value.is_finite())
    }
}

impl<'a> Sight<'a> {
    pub(super) fn new(photo: &'a FacePhoto, pose: &Pose) -> Self {
        Self::off(photo, pose, Off::default())
    }

    pub(super) fn off(photo: &'a FacePhoto, pose: &Pose, off: Off) -> Self {
        let nearer_mm = match photo.scale {
            FaceScale::Card { nearer_mm, .. } => nearer_mm,
            FaceScale::Frame { .. } => photo.frame_nearer_mm,
        };
        let mut sight = Self { photo, focal_px: pose.focal_px, away: Vector3::z(), pupils_mm: 0.0, off, pose: *pose };
        sight.away = pose.head(sight.aside_deg(), off.head_deg).column(2).into_owned();
        // The scale stands where it was found, and the pupils behind it.
        let toward = sight.toward(pose.middle);
        let scale_mm = toward.dot(&sight.away) * pose.depth_mm(toward, photo.camera_mm - nearer_mm);
        sight.pupils_mm = scale_mm + nearer_mm + off.nearer_mm;
        sight
    }

    /// The line from the camera through a place, one millimeter along the axis.
    fn toward(&self, place: Pixel) -> Vector3<f64> {
        let (wide, high) = self.photo.image_px;
        Vector3::new((place.x - wide / 2.0) / self.focal_px, (place.y - high / 2.0) / self.focal_px, 1.0)
    }

    /// Where that line meets a plane of the face, so far from the camera.
    fn on(&self, place: Pixel, plane_mm: f64) -> Option<Vector3<f64>> {
        let toward = self.toward(place);
        let slope = toward.dot(&self.away);
        (slope > 0.1).then(|| toward * (plane_mm / slope))
    }

    /// The turn and the lean of a head at this place in the picture that faces the camera.
    pub(super) fn aside_deg(&self) -> (f64, f64) {
        let (turn, lean) = aside(self.toward(self.photo.bridge), self.pose.roll_rad);
        (turn.to_degrees(), lean.to_degrees())
    }

    /// The figures.
    pub(super) fn seen(&self) -> Option<FaceFigures> {
        let turning_mm = self.pupils_mm + TURNING_POINT_MM + self.off.turning_mm;
        let right = self.on(self.photo.pupils.right, turning_mm)?;
        let left = self.on(self.photo.pupils.left, turning_mm)?;
        let bridge = self.on(self.photo.bridge, self.pupils_mm - self.off.bridge_mm)?;
        // Square to the direction away from the camera, so the depth of the bridge does not count.
        let across = (left - right).try_normalize(1e-9)?;
        let far_mm = Pair::new((bridge - right).dot(&across), (left - bridge).dot(&across));
        let height_mm = match &self.photo.lower_rims {
            Some(rims) => Some(self.heights(rims)?),
            None => None,
        };
        Some(FaceFigures { far_mm, height_mm })
    }

    /// How high each line of sight passes through its lens, above the line through the lowest points of both lenses.
    fn heights(&self, rims: &Pair<Pixel>) -> Option<Pair<f64>> {
        let frame_mm = self.pupils_mm - self.photo.frame_nearer_mm;
        let (right, left) = (self.on(rims.right, frame_mm)?, self.on(rims.left, frame_mm)?);
        let across = (left - right).try_normalize(1e-9)?;
        // y runs down, and x × down is away: so across × away is up.
        let up = across.cross(&self.away);
        let height = |pupil: Pixel| Some((self.on(pupil, frame_mm)? - right).dot(&up));
        Some(Pair::new(height(self.photo.pupils.right)?, height(self.photo.pupils.left)?))
    }
}
