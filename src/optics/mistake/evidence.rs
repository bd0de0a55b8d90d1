//! The readings of a pair against its order, and how well a story fits them.

use super::{Mistake, MistakeKind, undo};
use crate::optics::prescription::LensPower;
use crate::optics::prism::InUp;
use crate::optics::tolerance::{
    CenterLimits, Measured, OrderedPair, Profile, READING_ALLOWANCE, Status, power_lines, prism_limits,
};
use crate::optics::{Eye, Pair};

/// A failed row comes nearer by at least this many of its limits.
const MARGIN: f64 = 1.0;

/// A slip in marking, blocking or edging is seldom larger (common practice, from memory).
const SLIP_DEG: f64 = 10.0;

/// The axis of a weak cylinder is hard to mark: there a slip may be this many limits (common practice, from memory).
const SLIP_LIMITS: f64 = 1.5;

/// What one lens reads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ReadLens {
    pub(super) power: LensPower,
    pub(super) prism: Option<InUp>,
}

/// A mistake that fits, and how well.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Story {
    pub(super) mistake: Mistake,
    /// The worst row of the undone reading, in units of its limit.
    worst: f64,
    /// What makes the story less likely, in the same units.
    weight: f64,
}

impl Story {
    /// Small is likely.
    pub(super) fn cost(&self) -> f64 {
        self.worst + self.weight
    }

    /// The same story in both eyes.
    pub(super) fn joined(self, other: Self) -> Self {
        let mistake = Mistake { eye: None, ..self.mistake };
        Self { mistake, worst: self.worst.max(other.worst), weight: self.weight }
    }
}

/// How much less likely a kind is, in units of a limit. Only the order within one reading matters: where two stories
/// fit alike, the smaller weight is told first. Chosen with the simulation in `tests/check/mistake.rs`.
struct Weight;

impl Weight {
    const PLACES_FIT_NEITHER_WAY: f64 = 0.5;
    const LARGE_TURN: f64 = 1.3;

    fn of(kind: MistakeKind) -> f64 {
        match kind {
            MistakeKind::EyesExchanged | MistakeKind::Turned => 0.0,
            MistakeKind::SignReversed | MistakeKind::WrongCylinderForm | MistakeKind::UpsideDown => 0.1,
            MistakeKind::AxisAcross => 0.2,
            MistakeKind::BaseReversed | MistakeKind::AxisMirrored => 0.3,
        }
    }
}

/// One row: how far off in units of its limit, and whether it fails. `None` where it cannot be told.
type RowScore = Option<(f64, bool)>;

/// Everything the stories are judged by.
pub(super) struct Evidence<'a> {
    profile: Profile,
    center_limits: &'a CenterLimits,
    ordered: &'a OrderedPair,
    measured: &'a Measured,
    direct: Pair<Vec<RowScore>>,
}

impl<'a> Evidence<'a> {
    pub(super) fn of(
        profile: Profile,
        center_limits: &'a CenterLimits,
        ordered: &'a OrderedPair,
        measured: &'a Measured,
    ) -> Self {
        let mut evidence = Self { profile, center_limits, ordered, measured, direct: Pair::default() };
        let rows = |eye| evidence.reading(eye).map(|reading| evidence.rows(eye, reading)).unwrap_or_default();
        evidence.direct = Pair::new(rows(Eye::Right), rows(Eye::Left));
        evidence
    }

    /// What was read of a lens. `None` without its power.
    pub(super) fn reading(&self, eye: Eye) -> Option<ReadLens> {
        Some(ReadLens { power: (*self.measured.power.get(eye))?, prism: *self.measured.prism.get(eye) })
    }

    /// Whether a row of this lens fails as read.
    pub(super) fn fails(&self, eye: Eye) -> bool {
        self.direct.get(eye).iter().any(|row| row.is_some_and(|(_, fails)| fails))
    }

    /// 1 where a lens fails that the story is not about.
    pub(super) fn unexplained(&self, eye: Option<Eye>) -> f64 {
        if eye.is_some_and(|eye| self.fails(eye.other())) { 1.0 } else { 0.0 }
    }

    /// The rows of a reading against the order of an eye: its powers, then prism across and up. Always as many.
    fn rows(&self, eye: Eye, reading: ReadLens) -> Vec<RowScore> {
        let lines = power_lines(self.profile, eye, *self.ordered.power.get(eye), Some(reading.power));
        let power = lines.iter().map(|line| Some((line.off_by? / line.limit, line.status == Status::Fail)));
        let mut rows: Vec<RowScore> = power.collect();
        let (across, up) = prism_limits(self.profile, self.ordered);
        let wanted = self.ordered.prism.get(eye).numbers();
        let row = |off_pd: f64, size: f64| (off_pd.abs() / size, off_pd.abs() > size + READING_ALLOWANCE + 1e-9);
        rows.push(reading.prism.map(|prism| row(prism.in_pd - wanted.in_pd, across.size)));
        rows.push(reading.prism.map(|prism| row(prism.up_pd - wanted.up_pd, up.size)));
        rows
    }

    /// The worst row of an undone reading, where all of them fit.
    fn fit(&self, eye: Eye, undone: ReadLens) -> Option<f64> {
        let rows = self.rows(eye, undone);
        let fits = rows.iter().flatten().all(|(_, fails)| !fails);
        fits.then(|| rows.iter().flatten().fold(0.0, |worst: f64, (ratio, _)| worst.max(*ratio)))
    }

    /// By how many limits the failed row that gains most comes nearer.
    fn gain(&self, eye: Eye, undone: ReadLens) -> f64 {
        let rows = self.rows(eye, undone);
        let gain = |(direct, undone): (&RowScore, &RowScore)| match (direct, undone) {
            (Some((direct, true)), Some((undone, _))) => direct - undone,
            _ => 0.0,
        };
        self.direct.get(eye).iter().zip(&rows).map(gain).fold(0.0, f64::max)
    }

    /// The story of one eye, where its undone reading fits and gains.
    pub(super) fn story(&self, kind: MistakeKind, eye: Eye, undone: ReadLens) -> Option<Story> {
        let worst = self.fit(eye, undone)?;
        let mistake = Mistake { kind, eye: Some(eye), turned_deg: None };
        (self.gain(eye, undone) >= MARGIN - 1e-9).then(|| Story { mistake, worst, weight: Weight::of(kind) })
    }

    /// Each eye fits the order of the other.
    pub(super) fn exchanged(&self) -> Option<Story> {
        let read = Pair::new(self.reading(Eye::Right)?, self.reading(Eye::Left)?);
        // A base keeps its side of the nose where the readings were exchanged, of the face where the lenses were.
        let of = |eye: Eye, sign: f64| {
            let other = read.get(eye.other());
            let prism = other.prism.map(|prism| InUp { in_pd: sign * prism.in_pd, ..prism });
            ReadLens { prism, ..*other }
        };
        let told = [1.0, -1.0].into_iter().filter_map(|sign| {
            let undone = Pair::new(of(Eye::Right, sign), of(Eye::Left, sign));
            let worst = self.fit(Eye::Right, undone.right)?.max(self.fit(Eye::Left, undone.left)?);
            let gain = self.gain(Eye::Right, undone.right).max(self.gain(Eye::Left, undone.left));
            (gain >= MARGIN - 1e-9).then_some(worst)
        });
        let worst = told.min_by(f64::total_cmp)?;
        let kind = MistakeKind::EyesExchanged;
        let weight = Weight::of(kind) + if self.places_fit() { 0.0 } else { Weight::PLACES_FIT_NEITHER_WAY };
        Some(Story { mistake: Mistake { kind, eye: None, turned_deg: None }, worst, weight })
    }

    /// Whether the places that were read are those ordered, as they are or exchanged.
    fn places_fit(&self) -> bool {
        let near = |wanted_mm: f64, read: Option<f64>, limit_mm: Option<f64>| match (read, limit_mm) {
            (Some(read_mm), Some(limit_mm)) => (read_mm - wanted_mm).abs() <= limit_mm + READING_ALLOWANCE + 1e-9,
            _ => true,
        };
        let both = |wanted: Pair<f64>, read: Pair<Option<f64>>, limit_mm| {
            let kept = near(wanted.right, read.right, limit_mm) && near(wanted.left, read.left, limit_mm);
            kept || (near(wanted.right, read.left, limit_mm) && near(wanted.left, read.right, limit_mm))
        };
        let (ordered, measured) = (self.ordered, self.measured);
        both(ordered.pupil_distance_mm, measured.pupil_distance_mm, self.center_limits.across_mm)
            && both(ordered.height_mm, measured.height_mm, self.center_limits.height_mm)
    }

    /// How far the axis of a lens is turned from its order, -89 to 90.
    fn turn_deg(&self, eye: Eye) -> Option<i32> {
        let wanted = self.ordered.power.get(eye).to_minus().axis()?.degrees();
        let read = self.reading(eye)?.power.to_minus().axis()?.degrees();
        let turn_deg = (read - wanted).rem_euclid(180);
        Some(if turn_deg > 90 { turn_deg - 180 } else { turn_deg })
    }

    /// The readings of a lens turned back: the prism as read, and turned with the lens.
    fn turned_back(&self, eye: Eye, turn_deg: i32) -> Option<[ReadLens; 2]> {
        let reading = self.reading(eye)?;
        let power = undo::turned(reading.power, -turn_deg)?;
        let (sine, cosine) = f64::from(-turn_deg).to_radians().sin_cos();
        let prism = reading.prism.map(|prism| {
            let mut base = prism.to_vector(eye);
            (base.x_pd, base.y_pd) = (cosine * base.x_pd - sine * base.y_pd, sine * base.x_pd + cosine * base.y_pd);
            base.to_in_up(eye)
        });
        Some([ReadLens { power, ..reading }, ReadLens { power, prism }])
    }

    fn turn(&self, eye: Eye, turn_deg: i32) -> Option<Story> {
        let stories = self.turned_back(eye, turn_deg)?.map(|undone| self.story(MistakeKind::Turned, eye, undone));
        let mut story = stories.into_iter().flatten().min_by(|one, other| one.worst.total_cmp(&other.worst))?;
        story.mistake.turned_deg = Some(turn_deg);
        let limit = self.profile.axis_limit(self.ordered.power.get(eye).numbers().cylinder_d)?;
        if f64::from(turn_deg.abs()) > SLIP_DEG.max(SLIP_LIMITS * limit.size) {
            story.weight = Weight::LARGE_TURN;
        }
        Some(story)
    }

    /// One lens turned by as much as its axis is off.
    pub(super) fn turned(&self, eye: Eye) -> Option<Story> {
        self.turn(eye, self.turn_deg(eye)?)
    }

    /// Both lenses turned alike: by the middle of the two, nearer to the eye whose axis can be told better.
    pub(super) fn turned_alike(&self) -> Option<Story> {
        let turn = Pair::new(f64::from(self.turn_deg(Eye::Right)?), f64::from(self.turn_deg(Eye::Left)?));
        let sharpness = |eye: Eye| {
            let limit = self.profile.axis_limit(self.ordered.power.get(eye).numbers().cylinder_d)?;
            Some(1.0 / (limit.size * limit.size))
        };
        let (right, left) = (sharpness(Eye::Right)?, sharpness(Eye::Left)?);
        let turn_deg = ((turn.right * right + turn.left * left) / (right + left)).round() as i32;
        // A gain in each eye needs a failed row in each.
        Some(self.turn(Eye::Right, turn_deg)?.joined(self.turn(Eye::Left, turn_deg)?))
    }

    /// The reading with parts of its prism reversed.
    fn reversed(&self, eye: Eye, (in_sign, up_sign): (f64, f64)) -> Option<ReadLens> {
        let reading = self.reading(eye)?;
        let prism = reading.prism?;
        Some(ReadLens { prism: Some(InUp { in_pd: in_sign * prism.in_pd, up_pd: up_sign * prism.up_pd }), ..reading })
    }

    /// The power is right and the prism has its base in, up or both the other way.
    pub(super) fn base_reversed(&self, eye: Eye) -> Option<Story> {
        let ways = [(-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)];
        let told =
            ways.into_iter().filter_map(|way| self.story(MistakeKind::BaseReversed, eye, self.reversed(eye, way)?));
        told.min_by(|one, other| one.worst.total_cmp(&other.worst))
    }

    /// Both parts of the prism fail as read, and both fit reversed.
    pub(super) fn upside_down(&self, eye: Eye) -> Option<Story> {
        let undone = self.reversed(eye, (-1.0, -1.0))?;
        let are_both_off = self.direct.get(eye).iter().rev().take(2).all(|row| row.is_some_and(|(_, fails)| fails));
        if are_both_off { self.story(MistakeKind::UpsideDown, eye, undone) } else { None }
    }
}
