//! The numbers of a shape from which a lower bound of its distance to another one follows.

use std::f64::consts::{SQRT_2, TAU};

use super::worst_fit::{Basis, BasisRows, Equations};
use super::{MOST_TURN_DEG, Shape, Ways};
use crate::shape::outline::Point;

/// The directions in which the support of a shape is kept, 6 degrees apart.
const DIRECTIONS: usize = 60;
/// The waves of the support that are kept, from two periods around on. The wave of one period only says where the shape
/// lies.
const WAVES: usize = 12;
/// Steps of the turn of the shape that is looked for, a full turn.
const STEPS: usize = 1440;
/// Steps from one direction to the next.
const STEPS_APART: usize = STEPS / DIRECTIONS;
/// Steps in the most turn to one side.
const MOST_STEPS: usize = (MOST_TURN_DEG * STEPS as f64 / 360.0) as usize;
/// The turns of the shape that is looked for.
const TURNS: usize = 2 * MOST_STEPS + 1;
/// Turns around one that is looked at first.
const SKIPPED: usize = 7;
/// What the rounded numbers may add up to, mm: half a unit each, over all of them.
const ROUNDED_MM: f64 = 0.008;
/// What a difference of squares up to 50² may be off by in single precision, mm².
const LOST_MM2: f32 = 0.002;
/// The unit of the support kept, mm.
const SUPPORT_UNIT_MM: f64 = 0.002;
/// The unit of the waves kept, mm.
const WAVE_UNIT_MM: f64 = 0.001;

/// The mean and the waves, filled up with zeros to a length that the machine multiplies at once.
type Waves = [f32; LANES];
const LANES: usize = (2 * WAVES + 1usize).next_multiple_of(8);

/// The mean support, then the size of each wave, in thousandths of a millimeter, filled up with zeros. Neither a move nor
/// a turn nor a mirror changes them.
pub(super) type Sizes = [u16; SIZES];
const SIZES: usize = (WAVES + 1usize).next_multiple_of(8);

/// What is kept of a shape on file, beside its [`Sizes`].
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    /// The mean support, in thousandths of a millimeter.
    pub mean: u16,
    /// Each wave's even and odd part.
    pub waves: [i16; 2 * WAVES],
    /// The support in each direction.
    pub supports: [i16; DIRECTIONS],
}

impl Mark {
    pub(super) fn of(shape: &Shape) -> (Sizes, Self) {
        let hull = hull(&shape.points[..]);
        let (mean, waves) = waves(&hull);
        let unit = |mm: f64, unit_mm: f64| (mm / unit_mm).round();
        let mut sizes = [0; SIZES];
        sizes[0] = unit(mean, WAVE_UNIT_MM) as u16;
        for (size, [even, odd]) in sizes[1..].iter_mut().zip(&waves) {
            *size = unit(even.hypot(*odd), WAVE_UNIT_MM) as u16;
        }
        let reach = supports(&hull, DIRECTIONS);
        let mark = Self {
            mean: sizes[0],
            waves: std::array::from_fn(|i| unit(waves[i / 2][i % 2], WAVE_UNIT_MM) as i16),
            supports: std::array::from_fn(|i| unit(reach[i], SUPPORT_UNIT_MM) as i16),
        };
        (sizes, mark)
    }
}

impl Mark {
    fn all_waves(&self) -> Waves {
        let mut all = [0.0; LANES];
        all[0] = f32::from(self.mean) * WAVE_UNIT_MM as f32;
        for (wave, kept) in all[1..].iter_mut().zip(self.waves) {
            *wave = f32::from(kept) * WAVE_UNIT_MM as f32;
        }
        all
    }
}

/// The root of a mean square that may have lost a little.
fn root_mm(square: f32) -> f32 {
    (square - LOST_MM2).max(0.0).sqrt()
}

/// The scalar product, in eight sums that do not wait for each other.
fn dot(one: &[f32], other: &[f32]) -> f32 {
    let mut sums = [0.0f32; 8];
    for (one, other) in one.chunks_exact(8).zip(other.chunks_exact(8)) {
        for (sum, (one, other)) in sums.iter_mut().zip(one.iter().zip(other)) {
            *sum += one * other;
        }
    }
    sums.iter().sum()
}

/// A shape on file, from its mark.
struct Other {
    waves: Waves,
    /// The sum of their squares.
    square: f32,
    supports: [f64; DIRECTIONS],
}

impl Other {
    fn of(mark: &Mark) -> Self {
        let waves = mark.all_waves();
        let supports = std::array::from_fn(|i| f64::from(mark.supports[i]) * SUPPORT_UNIT_MM);
        Self { waves, square: dot(&waves, &waves), supports }
    }
}

/// The shape that is looked for, in every turn that counts.
#[derive(Debug)]
pub(super) struct Sought {
    ways: Ways,
    sizes: [f32; SIZES],
    turns: Vec<Turn>,
    /// Each direction as a unit vector: all across, then all up.
    directions: [[f64; DIRECTIONS]; 2],
    /// The sum of the squares of the mean and the waves, the same in every turn.
    square: f32,
    /// How much the support changes within a step of a turn, mm.
    per_step_mm: f64,
    /// How much its waves change within a step of a turn, as a root mean square, mm.
    rms_per_step_mm: f64,
}

/// The sought shape in one turn.
#[derive(Debug)]
struct Turn {
    /// The mean and the waves.
    waves: Waves,
    supports: [f64; DIRECTIONS],
}

impl Sought {
    pub(super) fn new(shape: &Shape, ways: Ways) -> Self {
        let ((sizes, _), hull) = (Mark::of(shape), hull(&shape.points[..]));
        let mut turns = Turn::all(shape);
        if ways.mirrored {
            turns.extend(Turn::all(&shape.mirror()));
        }
        let directions: [Point; DIRECTIONS] =
            std::array::from_fn(|i| Point::polar(1.0, 360.0 * i as f64 / DIRECTIONS as f64));
        let square = turns.first().map_or(0.0, |turn| dot(&turn.waves, &turn.waves));
        Self {
            ways,
            directions: [directions.map(|way| way.x_mm), directions.map(|way| way.y_mm)],
            square,
            sizes: sizes.map(|size| f32::from(size) * WAVE_UNIT_MM as f32),
            turns,
            per_step_mm: steepest_mm(&hull) * TAU / STEPS as f64,
            rms_per_step_mm: steepness_mm(&hull) * TAU / STEPS as f64,
        }
    }

    /// The mean support, mm.
    pub(super) fn mean_mm(&self) -> f64 {
        f64::from(self.sizes[0])
    }

    /// By how much the mean support of a shape may differ whose rough bound is no more than this, mm; `None` for any: a
    /// change of size changes it.
    pub(super) fn reach_mm(&self, bound_mm: f64) -> Option<f64> {
        let square = (bound_mm + ROUNDED_MM).powi(2) + f64::from(LOST_MM2);
        (!self.ways.any_size).then(|| square.sqrt() + WAVE_UNIT_MM)
    }

    /// A lower bound of the distance from the sizes alone: their root of squares is the least root mean square by which
    /// the supports can differ in any position.
    pub(super) fn rough_bound_mm(&self, sizes: &Sizes) -> f32 {
        let theirs = sizes.map(|size| f32::from(size) * WAVE_UNIT_MM as f32);
        let square = if self.ways.any_size {
            let both = dot(&self.sizes, &theirs);
            dot(&self.sizes, &self.sizes) - both * both / dot(&theirs, &theirs)
        } else {
            let apart: [f32; SIZES] = std::array::from_fn(|i| self.sizes[i] - theirs[i]);
            dot(&apart, &apart)
        };
        root_mm(square) - ROUNDED_MM as f32
    }

    /// A closer lower bound of the distance, from the waves in each turn; where it is over `most_mm`, from some of the
    /// turns alone.
    pub(super) fn waves_bound_mm(&self, mark: &Mark, most_mm: f64) -> f64 {
        let waves = mark.all_waves();
        let square = dot(&waves, &waves);
        let slack_mm = self.per_step_mm / 2.0 + ROUNDED_MM;
        let apart_mm = |turn: usize| f64::from(root_mm(self.waves_apart(&self.turns[turn], &waves, square)));
        let (mut over_mm, mut least_mm) = (f64::INFINITY, f64::INFINITY);
        for low in (0..self.turns.len()).step_by(TURNS).flat_map(|low| (low..low + TURNS).step_by(SKIPPED)) {
            // No step leads from a shape to its mirror image.
            let high = (low + SKIPPED).min(low - low % TURNS + TURNS);
            // A turn by a step changes the root mean square by so much at most.
            let around_mm = apart_mm(usize::midpoint(low, high - 1)) - self.rms_per_step_mm * (SKIPPED / 2) as f64;
            if around_mm - slack_mm > most_mm {
                over_mm = over_mm.min(around_mm);
            } else {
                least_mm = (low..high).map(apart_mm).fold(least_mm, f64::min);
            }
        }
        over_mm.min(least_mm) - slack_mm
    }

    /// The closest lower bound of the distance, from the supports; `None` where it is over `most_mm`.
    pub(super) fn supports_bound_mm(&self, mark: &Mark, most_mm: f64) -> Option<f64> {
        let other = Other::of(mark);
        let mut least_mm = f64::INFINITY;
        for low in (0..self.turns.len()).step_by(TURNS) {
            least_mm = least_mm.min(self.bound_one_way_mm(low, &other, most_mm.min(least_mm)));
        }
        (least_mm <= most_mm).then_some(least_mm)
    }

    /// Whether the other shape may be no farther than `most_mm` as it is, and mirrored.
    pub(super) fn possible_ways(&self, mark: &Mark, most_mm: f64) -> [bool; 2] {
        let other = Other::of(mark);
        let is_possible = |low: usize| self.bound_one_way_mm(low, &other, most_mm) <= most_mm;
        [is_possible(0), self.ways.mirrored && is_possible(TURNS)]
    }

    /// The closest lower bound in the turns of one way to lie, from `low` on; where it is over `most_mm`, only that is sure.
    fn bound_one_way_mm(&self, low: usize, other: &Other, most_mm: f64) -> f64 {
        let [across, up] = &self.directions;
        if self.ways.any_size {
            self.least_over_turns(
                low,
                other,
                most_mm,
                [across, up, &other.supports],
                &[0.0; DIRECTIONS],
                [0, 15, 30, 45, 0],
            )
        } else {
            self.least_over_turns(low, other, most_mm, [across, up], &other.supports, [0, 20, 40, 0, 0])
        }
    }

    /// The least bound of the turns from `low` on. In each turn, the supports less `less` are set against the columns,
    /// whatever their factors; `start` names directions that decide, to begin with.
    fn least_over_turns<const N: usize>(
        &self,
        low: usize,
        other: &Other,
        most_mm: f64,
        columns: [&[f64]; N],
        less: &[f64; DIRECTIONS],
        start: BasisRows,
    ) -> f64 {
        let slack_mm = self.per_step_mm / 2.0 + ROUNDED_MM;
        let most = ((most_mm + slack_mm).max(0.0) as f32).powi(2);
        let by_waves = |turn| (self.waves_apart(&self.turns[turn], &other.waves, other.square), turn);
        let mut turns: Vec<(f32, usize)> =
            (low..low + TURNS).map(by_waves).filter(|(apart, _)| apart - LOST_MM2 <= most).collect();
        // The turn that is likely the best comes first; most others need not be looked at closely then.
        turns.sort_unstable_by(|one, other| one.0.total_cmp(&other.0));
        let Some(mut basis) = Basis::new(&Equations { columns, right: less }, start) else { return 0.0 };
        let (mut least_mm, mut decided) = (f64::INFINITY, Vec::new());
        for (_, turn) in turns {
            let ours = &self.turns[turn].supports;
            let enough_mm = most_mm.min(least_mm) + slack_mm;
            // The directions that decided in one turn bound every other turn too.
            if decided.iter().any(|basis: &Basis<N>| basis.bound(|row| ours[row] - less[row]) > enough_mm) {
                continue;
            }
            let apart: [f64; DIRECTIONS] = std::array::from_fn(|i| ours[i] - less[i]);
            least_mm = least_mm.min(basis.fit(&Equations { columns, right: &apart }, enough_mm).least - slack_mm);
            decided.push(basis);
        }
        least_mm
    }

    /// The mean square by which the supports differ in a turn, wherever the shapes lie. `square` is that of their waves.
    fn waves_apart(&self, turn: &Turn, theirs: &Waves, square: f32) -> f32 {
        let both = dot(&turn.waves, theirs);
        if self.ways.any_size {
            self.square - both.max(0.0).powi(2) / square
        } else {
            self.square + square - 2.0 * both
        }
    }
}

impl Turn {
    /// A shape in every turn from the most to one side to the most to the other.
    fn all(shape: &Shape) -> Vec<Turn> {
        let hull = hull(&shape.points[..]);
        let (mean, waves) = waves(&hull);
        let reach = supports(&hull, STEPS);
        let turn = |step: usize| {
            // The support in a direction after a turn is that of the unturned shape as far back.
            let back = STEPS + MOST_STEPS - step;
            let turned_rad = TAU * back as f64 / STEPS as f64;
            let mut turned = [0.0; LANES];
            turned[0] = mean as f32;
            for (wave, [even, odd]) in waves.iter().enumerate() {
                let (sin, cos) = ((wave + 2) as f64 * turned_rad).sin_cos();
                turned[1 + 2 * wave] = (even * cos - odd * sin) as f32;
                turned[2 + 2 * wave] = (even * sin + odd * cos) as f32;
            }
            Turn { waves: turned, supports: std::array::from_fn(|i| reach[(i * STEPS_APART + back) % STEPS]) }
        };
        (0..TURNS).map(turn).collect()
    }
}

fn hull(points: &[Point]) -> Vec<Point> {
    crate::shape::hull::hull(points, |point| [point.x_mm, point.y_mm])
}

/// The support in `count` equally spaced directions from 0°.
fn supports(hull: &[Point], count: usize) -> Vec<f64> {
    reaching(hull, count).map(|(way, corner)| way.dot(corner)).collect()
}

/// Each of `count` directions with the corner that reaches farthest that way.
fn reaching(hull: &[Point], count: usize) -> impl Iterator<Item = (Point, Point)> + '_ {
    let right = Point::new(1.0, 0.0);
    let farther = |&i: &usize, &j: &usize| hull[i].dot(right).total_cmp(&hull[j].dot(right));
    let mut at = (0..hull.len()).max_by(farther).unwrap_or(0);
    (0..count).map(move |step| {
        let way = Point::polar(1.0, 360.0 * step as f64 / count as f64);
        while hull[(at + 1) % hull.len()].dot(way) > hull[at].dot(way) {
            at = (at + 1) % hull.len();
        }
        (way, hull[at])
    })
}

/// How fast the support changes at most, mm a radian: how far sideways the reaching corner lies. Between two steps, a
/// corner reaches at most 50 mm times the step farther sideways.
fn steepest_mm(hull: &[Point]) -> f64 {
    let sideways = reaching(hull, STEPS).map(|(way, corner)| way.cross(corner).abs()).fold(0.0, f64::max);
    sideways + 50.0 * TAU / STEPS as f64
}

/// How fast the waves kept change with a turn, as a root mean square, mm a radian: a wave of k periods by k times its size.
fn steepness_mm(hull: &[Point]) -> f64 {
    let (_, waves) = waves(hull);
    (2u8..).zip(waves).map(|(periods, [even, odd])| (f64::from(periods) * even.hypot(odd)).powi(2)).sum::<f64>().sqrt()
}

/// The mean of the support, and its waves of two periods and more, each with its even and its odd part; scaled so that
/// their squares add up to the mean square of the support about its place.
///
/// The support plus its second derivative is the length of the sides by their direction, so the wave of k periods is
/// Σ length · e^(-ik·direction) / 2π(1 - k²), summed over the sides of the hull (closed form).
fn waves(hull: &[Point]) -> (f64, [[f64; 2]; WAVES]) {
    let mut around = 0.0;
    let mut sums = [[0.0; 2]; WAVES];
    let next = hull.iter().cycle().skip(1);
    for (p, q) in hull.iter().zip(next) {
        let side = q.minus(*p);
        let length = side.length_mm();
        if length == 0.0 {
            continue;
        }
        around += length;
        // The direction of the side's outward normal, turned backward, as a unit vector.
        let unit = Point::new(side.y_mm / length, side.x_mm / length);
        let turn =
            |v: Point| Point::new(v.x_mm * unit.x_mm - v.y_mm * unit.y_mm, v.x_mm * unit.y_mm + v.y_mm * unit.x_mm);
        let mut power = turn(unit);
        for sum in &mut sums {
            sum[0] += length * power.x_mm;
            sum[1] += length * power.y_mm;
            power = turn(power);
        }
    }
    for (wave, sum) in sums.iter_mut().enumerate() {
        let periods = (wave + 2) as f64;
        *sum = sum.map(|part| SQRT_2 * part / (TAU * (1.0 - periods * periods)));
    }
    (around / TAU, sums)
}
