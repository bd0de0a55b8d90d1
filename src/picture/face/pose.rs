//! How the card or the frame on a face stands before the camera.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::refused::FaceRefused;
use super::{FacePhoto, FaceScale};
use crate::picture::card::{CARD_MM, from_side_along};
use crate::picture::gray::Pixel;

/// The least length of the scale in the picture, pixels.
const LEAST_PX: f64 = 60.0;
/// What the sides of a card may be to each other as seen.
const SHAPE: std::ops::RangeInclusive<f64> = 1.2..=2.1;
/// A corner may lie so far off the card that fits best, as a part of the card's length.
const OFF_SHARE: f64 = 0.02;
/// Marks are not believed to be better than this, pixels.
const LEAST_ERROR_PX: f64 = 0.05;
/// Before a card is seen: one standard deviation of its turn and of its lean.
const CARD_PRIOR_DEG: f64 = 10.0;
/// One standard deviation of how a head is turned, and of how it leans, before a camera that it faces (from memory).
const HEAD_DEG: f64 = 4.0;
/// One standard deviation of how a card is turned on the face, and of how it leans there: foreheads slope (from memory).
const CARD_ON_FACE_DEG: (f64, f64) = (3.0, 5.0);

/// An angle with its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Angle {
    pub deg: f64,
    pub deviation_deg: f64,
}

/// Where the scale stands before the camera, and how the head does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pose {
    /// Of the camera, in pixels.
    pub focal_px: f64,
    /// The middle of the scale in the picture.
    pub middle: Pixel,
    /// Counter-clockwise is negative: y runs down.
    pub roll_rad: f64,
    /// Toward the wearer's right.
    pub card_turn: Option<Angle>,
    /// The top toward the camera.
    pub card_lean: Option<Angle>,
    /// How much of the turn and of the lean of the card is believed to be the head's.
    pub share: (f64, f64),
    /// How exact the head's own turn and lean are known apart from the marks: standard deviations.
    pub head_deviation_deg: (f64, f64),
}

impl Pose {
    pub(super) fn of(photo: &FacePhoto) -> Result<Self, FaceRefused> {
        Self::fitted(photo, None)
    }

    /// A card is fitted from `near` on, or from a card that faces the camera.
    fn fitted(photo: &FacePhoto, near: Option<Unknowns>) -> Result<Self, FaceRefused> {
        match photo.scale {
            FaceScale::Card { corners, nearer_mm } => of_card(photo, corners, nearer_mm, near),
            FaceScale::Frame { edges, width_mm } => {
                let (dx, dy) = (edges.left.x - edges.right.x, edges.left.y - edges.right.y);
                let wide_px = dx.hypot(dy);
                if dx <= 0.0 {
                    return Err(FaceRefused::Exchanged("edges of the frame"));
                }
                if wide_px < LEAST_PX {
                    return Err(FaceRefused::FrameTooSmall(wide_px));
                }
                Ok(Self {
                    focal_px: wide_px * (photo.camera_mm - photo.frame_nearer_mm) / width_mm,
                    middle: midway(edges.right, edges.left),
                    roll_rad: dy.atan2(dx),
                    card_turn: None,
                    card_lean: None,
                    share: (0.0, 0.0),
                    head_deviation_deg: (HEAD_DEG, HEAD_DEG),
                })
            }
        }
    }

    /// The pose in a photo that is a little different from the one of this pose, with the same beliefs.
    pub(super) fn again(&self, was: &FacePhoto, photo: &FacePhoto) -> Option<Self> {
        if was.scale == photo.scale && was.camera_mm == photo.camera_mm {
            return Some(*self);
        }
        // The fit begins where it ended before.
        let pose = Self::fitted(photo, self.unknowns()).ok()?;
        Some(Self { share: self.share, head_deviation_deg: self.head_deviation_deg, ..pose })
    }

    /// What was fitted to a card.
    fn unknowns(&self) -> Option<Unknowns> {
        let (turn, lean) = (self.card_turn?.deg.to_radians(), self.card_lean?.deg.to_radians());
        let Self { focal_px, middle, roll_rad, .. } = *self;
        Some(Unknowns::from_column_slice(&[focal_px, middle.x, middle.y, roll_rad, turn, lean]))
    }

    /// The axes of the head: to the viewer's right, down, and away from the camera, each as a column. `aside_deg` is the
    /// turn and the lean of a head at this place that faces the camera; `off_deg` is added to the head's turn and lean.
    pub(super) fn head(&self, aside_deg: (f64, f64), off_deg: (f64, f64)) -> Matrix3<f64> {
        let of_head = |seen: Option<Angle>, aside_deg: f64, share: f64| {
            let Some(seen) = seen else { return 0.0 };
            let usual_deg = usual(seen.deg, aside_deg);
            usual_deg + share * (seen.deg - usual_deg)
        };
        let turn_deg = of_head(self.card_turn, aside_deg.0, self.share.0) + off_deg.0;
        let lean_deg = of_head(self.card_lean, aside_deg.1, self.share.1) + off_deg.1;
        axes(self.roll_rad, turn_deg.to_radians(), lean_deg.to_radians())
    }

    /// How far from the camera along its axis the scale stands that is `away_mm` away.
    pub(super) fn depth_mm(&self, toward: Vector3<f64>, away_mm: f64) -> f64 {
        let radians = |angle: Option<Angle>| angle.map_or(0.0, |angle| angle.deg.to_radians());
        depth_mm(toward, away_mm, (self.roll_rad, radians(self.card_turn), radians(self.card_lean)))
    }
}

/// A head beside the axis of the camera may look along the axis, or at the camera, or between.
fn usual(seen: f64, aside: f64) -> f64 {
    seen.clamp(aside.min(0.0), aside.max(0.0))
}

/// The turn and the lean, radians, of what faces the camera from the end of this line of sight.
pub(super) fn aside(toward: Vector3<f64>, roll: f64) -> (f64, f64) {
    let (sin, cos) = roll.sin_cos();
    let (across, down) = (toward.x * cos + toward.y * sin, toward.y * cos - toward.x * sin);
    // Leaned after it is turned.
    (across.atan(), -down.atan2(across.hypot(1.0)))
}

/// How far from the camera along its axis that is on this line of sight what is `away_mm` away, square to a usual face.
fn depth_mm(toward: Vector3<f64>, away_mm: f64, (roll, turn, lean): (f64, f64, f64)) -> f64 {
    let (aside_turn, aside_lean) = aside(toward, roll);
    let away = axes(roll, usual(turn, aside_turn), usual(lean, aside_lean)).column(2).into_owned();
    away_mm / toward.dot(&away)
}

fn midway(one: Pixel, other: Pixel) -> Pixel {
    Pixel::new((one.x + other.x) / 2.0, (one.y + other.y) / 2.0)
}

/// Turned about the vertical, leaned about the horizontal, then rolled in the picture. x to the right, y down, z away.
fn axes(roll: f64, turn: f64, lean: f64) -> Matrix3<f64> {
    let (sin, cos) = roll.sin_cos();
    let rolled = Matrix3::new(cos, -sin, 0.0, sin, cos, 0.0, 0.0, 0.0, 1.0);
    let (sin, cos) = turn.sin_cos();
    let turned = Matrix3::new(cos, 0.0, sin, 0.0, 1.0, 0.0, -sin, 0.0, cos);
    let (sin, cos) = lean.sin_cos();
    let leaned = Matrix3::new(1.0, 0.0, 0.0, 0.0, cos, -sin, 0.0, sin, cos);
    rolled * turned * leaned
}

/// The unknowns of a card: focal length and middle in pixels, roll, turn and lean in radians.
type Unknowns = SVector<f64, 6>;
/// Across and down for each corner, then turn and lean, each in standard deviations.
type Misfit = SVector<f64, 10>;

/// A card as it is looked for.
struct SoughtCard {
    corners: [Pixel; 4],
    /// Half of its sides across and down.
    half_mm: (f64, f64),
    center: Pixel,
    away_mm: f64,
    error_px: f64,
}

/// A card by its corners; `near` is where to begin, else a card that faces the camera.
fn of_card(
    photo: &FacePhoto,
    corners: [Pixel; 4],
    nearer_mm: f64,
    near: Option<Unknowns>,
) -> Result<Pose, FaceRefused> {
    if !goes_around(corners) {
        return Err(FaceRefused::CornerOrder);
    }
    // Whoever began at another corner meant the same: the first side runs along the eyes.
    let (right, left) = (photo.pupils.right, photo.pupils.left);
    let corners = from_side_along(corners, (left.x - right.x, left.y - right.y));
    let [a, b, c, d] = corners;
    let across_px = (a.away_px(b) + d.away_px(c)) / 2.0;
    let down_px = (b.away_px(c) + a.away_px(d)) / 2.0;
    let (long_px, short_px) = (across_px.max(down_px), across_px.min(down_px));
    if long_px < LEAST_PX {
        return Err(FaceRefused::CardTooSmall(long_px));
    }
    if !SHAPE.contains(&(long_px / short_px)) {
        return Err(FaceRefused::NotACard(long_px / short_px));
    }
    // A card may be held upright.
    let half_mm = match across_px >= down_px {
        true => (CARD_MM.0 / 2.0, CARD_MM.1 / 2.0),
        false => (CARD_MM.1 / 2.0, CARD_MM.0 / 2.0),
    };
    let wanted = SoughtCard {
        corners,
        half_mm,
        center: Pixel::new(photo.image_px.0 / 2.0, photo.image_px.1 / 2.0),
        away_mm: photo.camera_mm - nearer_mm,
        error_px: photo.mark_error_px.max(LEAST_ERROR_PX),
    };
    let off_px = (OFF_SHARE * long_px).max(3.0 * wanted.error_px);
    wanted.found(near.unwrap_or_else(|| wanted.start()), off_px).ok_or(FaceRefused::NotACard(long_px / short_px))
}

/// Whether four places go around clockwise as seen, without a hollow.
fn goes_around(corners: [Pixel; 4]) -> bool {
    (0..4).all(|i| {
        let [a, b, c] = [i, i + 1, i + 2].map(|j| corners[j % 4]);
        (b.x - a.x) * (c.y - b.y) - (b.y - a.y) * (c.x - b.x) > 0.0
    })
}

/// Steps of the unknowns that change the picture by next to nothing: of pixels, a ten-thousandth.
fn small_steps(at: &Unknowns) -> [f64; 6] {
    [at[0] * 1e-6, 1e-4, 1e-4, 1e-6, 1e-6, 1e-6]
}

impl SoughtCard {
    /// The card that fits the marks best (least squares by Gauss and Newton), unless a corner is too far off.
    fn found(&self, start: Unknowns, most_off_px: f64) -> Option<Pose> {
        let mut at = start;
        for _ in 0..20 {
            let slope = self.slope(&at);
            let step = (slope.transpose() * slope).try_inverse()? * slope.transpose() * self.misfit(&at);
            at -= step;
            if !at.iter().all(|value| value.is_finite()) || at[4].abs().max(at[5].abs()) > 1.2 {
                return None;
            }
            // A ten-millionth of a pixel, and as little of an angle.
            if step.iter().zip(small_steps(&at)).all(|(step, small)| step.abs() < small / 1000.0) {
                break;
            }
        }
        let off = self.misfit(&at) * self.error_px;
        let off_px = (0..4).map(|i| off[2 * i].hypot(off[2 * i + 1])).fold(0.0, f64::max);
        if off_px > most_off_px || at[0] <= 0.0 {
            return None;
        }
        let slope = self.slope(&at);
        let spread = (slope.transpose() * slope).try_inverse()?;
        let angle = |i: usize| Angle { deg: at[i].to_degrees(), deviation_deg: spread[(i, i)].sqrt().to_degrees() };
        Some(self.pose(&at, angle(4), angle(5)))
    }

    fn pose(&self, at: &Unknowns, turn: Angle, lean: Angle) -> Pose {
        let (turn_on_face_deg, lean_on_face_deg) = CARD_ON_FACE_DEG;
        let usual = HEAD_DEG.powi(2);
        let beside = |seen: Angle, on_face_deg: f64| on_face_deg.powi(2) + seen.deviation_deg.powi(2);
        let share = |head: f64, beside: f64| head / (head + beside);
        // A card that is turned more than it can be on the face shows that the head is turned.
        let turned = usual.max(turn.deg.powi(2) - beside(turn, turn_on_face_deg));
        let lean_share = share(usual, beside(lean, lean_on_face_deg));
        // What is left of the head's own lean once the card is seen; the error of the marks is counted with the marks.
        let lean_left = (1.0 - lean_share).powi(2) * usual + (lean_share * lean_on_face_deg).powi(2);
        Pose {
            focal_px: at[0],
            middle: Pixel::new(at[1], at[2]),
            roll_rad: at[3],
            card_turn: Some(turn),
            card_lean: Some(lean),
            share: (share(turned, beside(turn, turn_on_face_deg)), lean_share),
            head_deviation_deg: (turn_on_face_deg, lean_left.sqrt()),
        }
    }

    /// A card that faces the camera.
    fn start(&self) -> Unknowns {
        let [a, b, c, d] = self.corners;
        let (x, y) = ((a.x + b.x + c.x + d.x) / 4.0, (a.y + b.y + c.y + d.y) / 4.0);
        let roll = (b.y - a.y + c.y - d.y).atan2(b.x - a.x + c.x - d.x);
        let focal_px = (a.away_px(c) + b.away_px(d)) / 4.0 / self.half_mm.0.hypot(self.half_mm.1) * self.away_mm;
        Unknowns::from_column_slice(&[focal_px, x, y, roll, 0.0, 0.0])
    }

    /// How far the marks are off a card, in standard deviations.
    fn misfit(&self, at: &Unknowns) -> Misfit {
        let (focal_px, head) = (at[0], axes(at[3], at[4], at[5]));
        let toward = Vector3::new((at[1] - self.center.x) / focal_px, (at[2] - self.center.y) / focal_px, 1.0);
        let middle = toward * depth_mm(toward, self.away_mm, (at[3], at[4], at[5]));
        let mut misfit = Misfit::zeros();
        for (i, (x, y)) in [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)].into_iter().enumerate() {
            let point = middle + head * Vector3::new(x * self.half_mm.0, y * self.half_mm.1, 0.0);
            let (u, v) = (point.x / point.z * focal_px, point.y / point.z * focal_px);
            misfit[2 * i] = (u + self.center.x - self.corners[i].x) / self.error_px;
            misfit[2 * i + 1] = (v + self.center.y - self.corners[i].y) / self.error_px;
        }
        misfit[8] = at[4].to_degrees() / CARD_PRIOR_DEG;
        misfit[9] = at[5].to_degrees() / CARD_PRIOR_DEG;
        misfit
    }

    /// How the misfit changes with each unknown.
    fn slope(&self, at: &Unknowns) -> SMatrix<f64, 10, 6> {
        let mut slope = SMatrix::<f64, 10, 6>::zeros();
        for (i, step) in small_steps(at).into_iter().enumerate() {
            let (mut low, mut high) = (*at, *at);
            low[i] -= step;
            high[i] += step;
            slope.set_column(i, &((self.misfit(&high) - self.misfit(&low)) / (2.0 * step)));
        }
        slope
    }
}
