//! The card of standard size in a photo: ISO/IEC 7810 ID-1, 85.60 by 53.98 mm. Its four sides give the scale and undo
//! the perspective.

use super::gray::{Gray, Pixel};
use super::plane::Plane;
use super::refused::PictureRefused;
use super::region::{SizeLimits, Terrain, Thing, Wanted, hull};
use crate::shape::outline::Point;

/// The sides of an ID-1 card, mm. Source: ISO/IEC 7810.
pub const CARD_MM: (f64, f64) = (85.60, 53.98);
/// The radius of its corners, mm. Source: ISO/IEC 7810 gives 2.88 to 3.48.
const CORNER_MM: f64 = 3.18;
/// A tilt over the first is reported, one over the second refused. What is seen away from the middle of the picture counts
/// as tilted too.
pub const TILT_DEG: (f64, f64) = (25.0, 33.0);
/// What the sides of the picture of a card may be to each other, seen from straight above or from the side.
const SHAPE: std::ops::RangeInclusive<f64> = 1.36..=1.84;
/// The small picture has at most about so many pixels.
const SMALL_PIXELS: f64 = 800_000.0;
/// How much larger a card is than the largest part of it between printed lines.
const PRINTED_SHARE: std::ops::RangeInclusive<f64> = 1.02..=1.3;
/// A corner is marked by hand to within this part of the card's length.
const MARKED_WITHIN: f64 = 0.012;
/// A side of a marked card is not moved by more than this times what the others are, or by this many pixels.
const FARTHER: f64 = 5.0;
const LEAST_MOVED_PX: f64 = 2.0;
/// The steepest places along a side that is seen are within this of a straight line, pixels: half of them.
const LEAST_CLEAR_PX: f64 = 0.8;
/// The card is at least this part of the picture's longer side.
const LEAST_SHARE: f64 = 0.08;
/// The focal lengths of usual cameras, as a part of the longer side of the picture.
const FOCAL: [f64; 3] = [0.55, 1.0, 2.5];
/// A card whose length over its height is off by more than this part is of another format.
const OTHER_FORMAT: f64 = 0.012;

/// The card in a picture.
#[derive(Debug, Clone)]
pub(super) struct Card {
    /// Clockwise as seen, from the corner at the top left.
    pub corners: [Pixel; 4],
    pub plane: Plane,
    /// How far the camera was tilted.
    pub tilt_deg: f64,
    /// Whether its long side is level or upright in the picture, so that it says what is level.
    pub is_level: bool,
    /// Whether its corners are round as those of a card.
    pub is_round: bool,
    /// Its length over its height, where that is not the standard size.
    pub other_format: Option<f64>,
    /// Whether it is seen by its color alone.
    pub is_by_color: bool,
    /// How many of its sides are not seen, and lie where the marks are.
    pub sides_by_marks: usize,
}

/// Finds the card, in the first channel that shows it.
pub(super) fn find_card<'a>(channels: impl IntoIterator<Item = &'a Gray>) -> Result<Card, PictureRefused> {
    let seen = channels.into_iter().enumerate().find_map(|(at, channel)| Some((at, channel, card_in(channel)?)));
    let (at, channel, card) = seen.ok_or(PictureRefused::NoCard)?;
    judged(channel, Card { is_by_color: at > 0, ..card })
}

fn card_in(gray: &Gray) -> Option<Card> {
    let pixels = (gray.width * gray.height) as f64;
    let factor = (pixels / SMALL_PIXELS).sqrt().ceil().max(1.0) as usize;
    let terrain = Terrain::of(gray, factor);
    let least_px = LEAST_SHARE * gray.width.max(gray.height) as f64;
    let sizes = SizeLimits { least_px, most_px: f64::INFINITY, hair_px: 6.0 * factor as f64 };
    let mut found: Vec<(f64, Card)> = Vec::new();
    for level in terrain.levels() {
        for thing in terrain.things(level, Wanted::Body, sizes) {
            found.extend(card(gray, &thing, factor as f64));
        }
    }
    whole_card(found)
}

/// The card with what is seen of its corners and its format. One that is seen from the side is refused.
fn judged(gray: &Gray, card: Card) -> Result<Card, PictureRefused> {
    if card.tilt_deg > TILT_DEG.1 {
        return Err(PictureRefused::Tilted(card.tilt_deg));
    }
    let (is_round, other_format) = (has_round_corners(gray, &card.plane, card.corners), other_format(gray, &card));
    Ok(Card { is_round, other_format, ..card })
}

/// The length of the card over its height, where no usual camera sees a card of standard size like that. `None` where it can be one.
fn other_format(gray: &Gray, card: &Card) -> Option<f64> {
    let (wide, high) = (gray.width as f64, gray.height as f64);
    let middle = Pixel::new(wide / 2.0, high / 2.0);
    let (level, is_upright) = level_mm(card.corners);
    let plane = Plane::through(level, card.corners)?;
    let stretch = |focal: f64| plane.stretch(focal * wide.max(high), middle);
    let stretches = FOCAL.map(|focal| if is_upright { 1.0 / stretch(focal) } else { stretch(focal) } - 1.0);
    let is_one = stretches.iter().any(|off| off.abs() < OTHER_FORMAT)
        || stretches.iter().any(|off| *off > 0.0) && stretches.iter().any(|off| *off < 0.0);
    (!is_one).then(|| CARD_MM.0 / CARD_MM.1 / (1.0 + stretches[FOCAL.len() / 2]))
}

/// The card whose border fits four straight sides best, or the one around it: a stripe or a picture printed across a card
/// parts it into rectangles that may fit as well.
fn whole_card(found: Vec<(f64, Card)>) -> Option<Card> {
    let (_, best) = found.iter().min_by(|a, b| a.0.total_cmp(&b.0))?.clone();
    let area = doubled_area(&best.corners);
    let is_around = |card: &Card| {
        PRINTED_SHARE.contains(&(doubled_area(&card.corners) / area))
            && best.corners.iter().all(|corner| is_nearly_within(*corner, &card.corners))
    };
    let around = found.into_iter().map(|(_, card)| card).filter(is_around);
    around.max_by(|a, b| doubled_area(&a.corners).total_cmp(&doubled_area(&b.corners))).or(Some(best))
}

fn doubled_area(corners: &[Pixel; 4]) -> f64 {
    (0..4).map(|i| corners[i].x * corners[(i + 1) % 4].y - corners[(i + 1) % 4].x * corners[i].y).sum::<f64>().abs()
}

/// Whether a place is inside of corners that run clockwise as seen, or at their border.
fn is_nearly_within(place: Pixel, corners: &[Pixel; 4]) -> bool {
    (0..4).all(|i| {
        let (p, q) = (corners[i], corners[(i + 1) % 4]);
        let length_px = p.away_px(q).max(1e-9);
        let inward_px = ((q.x - p.x) * (place.y - p.y) - (q.y - p.y) * (place.x - p.x)) / length_px;
        inward_px > -0.02 * length_px
    })
}

/// A card from its four corners as marked, in any order.
pub(super) fn marked_card(gray: &Gray, corners: [Pixel; 4]) -> Result<Card, PictureRefused> {
    let around = hull(&corners);
    let marked: [Pixel; 4] = around.try_into().map_err(|_| PictureRefused::NoCard)?;
    let (corners, sides_by_marks) = at_sides(gray, marked).unwrap_or((marked, 4));
    let card = from_corners(corners).ok_or(PictureRefused::NotACard(ratio(corners)))?;
    judged(gray, Card { sides_by_marks, ..card })
}

/// Marked corners moved to where the sides of the card meet, and how many sides stayed at their marks. A side stays there if it is not
/// seen beside them, or would move much farther than the others: a shadow or a printed line may be clearer than the side.
fn at_sides(gray: &Gray, marked: [Pixel; 4]) -> Option<([Pixel; 4], usize)> {
    let length_px = (0..4).map(|i| marked[i].away_px(marked[(i + 1) % 4])).fold(0.0, f64::max);
    let reach_px = MARKED_WITHIN * length_px;
    let ends = |i: usize| (marked[i], marked[(i + 1) % 4]);
    let seen = [0, 1, 2, 3].map(|i| exact_side(gray, ends(i).0, ends(i).1, reach_px, SideSearch::BesideMarks));
    let moved_px = |i: usize| seen[i].map(|side| side.off_px(ends(i).0).max(side.off_px(ends(i).1)));
    let usual_px = super::edge::median((0..4).filter_map(moved_px).collect());
    let most_px = (FARTHER * usual_px).max(LEAST_MOVED_PX).min(2.0 * reach_px);
    let found = [0, 1, 2, 3].map(|i| seen[i].filter(|_| moved_px(i).is_some_and(|px| px <= most_px)));
    let [a, b, c, d] = [0, 1, 2, 3].map(|i| found[i].unwrap_or(StraightLine::between(ends(i).0, ends(i).1)));
    let corners = [meet(d, a)?, meet(a, b)?, meet(b, c)?, meet(c, d)?];
    Some((corners, found.iter().filter(|side| side.is_none()).count()))
}

/// The card that a thing may be, and how badly its border fits four straight sides, as a part of its size.
fn card(gray: &Gray, thing: &Thing, slack_px: f64) -> Option<(f64, Card)> {
    if thing.is_cut_off || thing.fullness < 0.93 {
        return None;
    }
    let around = hull(&thing.border);
    let coarse = four_sides(&around)?;
    let across = thing.area_px.sqrt();
    let off = off_sides(&thing.border, &coarse)? / across;
    if off > 0.03 {
        return None;
    }
    let sides = [0, 1, 2, 3].map(|i| {
        let reach_px = (3.0 * slack_px).max(0.04 * across);
        exact_side(gray, coarse[i], coarse[(i + 1) % 4], reach_px, SideSearch::Anywhere)
    });
    let [Some(a), Some(b), Some(c), Some(d)] = sides else { return None };
    let corners = [meet(d, a)?, meet(a, b)?, meet(b, c)?, meet(c, d)?];
    let moved = corners.iter().zip(&coarse).map(|(p, q)| p.away_px(*q)).fold(0.0, f64::max);
    if moved > 0.15 * across {
        return None;
    }
    Some((off, from_corners(corners)?))
}

/// A straight line: a point on it and its direction.
#[derive(Debug, Clone, Copy)]
struct StraightLine {
    at: Pixel,
    along: (f64, f64),
}

impl StraightLine {
    /// Through two places.
    fn between(p: Pixel, q: Pixel) -> Self {
        let length_px = p.away_px(q).max(1e-9);
        Self { at: p, along: ((q.x - p.x) / length_px, (q.y - p.y) / length_px) }
    }

    /// How far a place is from it, pixels.
    fn off_px(&self, p: Pixel) -> f64 {
        ((p.x - self.at.x) * self.along.1 - (p.y - self.at.y) * self.along.0).abs()
    }
}

/// How a side is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SideSearch {
    /// The steepest place within reach.
    Anywhere,
    /// The steepest place, which counts less the farther it is from the marks.
    BesideMarks,
}

fn meet(one: StraightLine, other: StraightLine) -> Option<Pixel> {
    let cross = one.along.0 * other.along.1 - one.along.1 * other.along.0;
    if cross.abs() < 0.3 {
        return None;
    }
    let (dx, dy) = (other.at.x - one.at.x, other.at.y - one.at.y);
    let share = (dx * other.along.1 - dy * other.along.0) / cross;
    Some(Pixel::new(one.at.x + share * one.along.0, one.at.y + share * one.along.1))
}

/// The four corners of the smallest rectangle about a hull, moved to the lines through the hull's sides.
fn four_sides(around: &[Pixel]) -> Option<[Pixel; 4]> {
    let n = around.len();
    let smallest =
        (0..n).filter_map(|i| rectangle(around, around[i], around[(i + 1) % n])).min_by(|a, b| a.0.total_cmp(&b.0));
    let mut corners = smallest?.1;
    for _ in 0..4 {
        let fitted = [0, 1, 2, 3].map(|i| fitted_side(around, &corners, i));
        let [Some(a), Some(b), Some(c), Some(d)] = fitted else { return None };
        corners = [meet(d, a)?, meet(a, b)?, meet(b, c)?, meet(c, d)?];
    }
    Some(corners)
}

/// The area and the corners of the rectangle about a hull with a side along a line.
fn rectangle(around: &[Pixel], p: Pixel, q: Pixel) -> Option<(f64, [Pixel; 4])> {
    let length = p.away_px(q);
    if length < 1e-9 {
        return None;
    }
    let (ux, uy) = ((q.x - p.x) / length, (q.y - p.y) / length);
    let far = f64::INFINITY;
    let (mut s0, mut s1, mut t0, mut t1) = (far, -far, far, -far);
    for point in around {
        let (s, t) = (point.x * ux + point.y * uy, point.y * ux - point.x * uy);
        (s0, s1, t0, t1) = (s0.min(s), s1.max(s), t0.min(t), t1.max(t));
    }
    let place = |s: f64, t: f64| Pixel::new(s * ux - t * uy, s * uy + t * ux);
    Some(((s1 - s0) * (t1 - t0), [place(s0, t0), place(s1, t0), place(s1, t1), place(s0, t1)]))
}

/// The line through the border near one side, its middle part only: the corners are round.
fn fitted_side(around: &[Pixel], corners: &[Pixel; 4], side: usize) -> Option<StraightLine> {
    let dense = dense(around);
    let (p, q) = (corners[side], corners[(side + 1) % 4]);
    let length = p.away_px(q);
    let (ux, uy) = ((q.x - p.x) / length, (q.y - p.y) / length);
    let near = dense.iter().filter(|point| {
        let (dx, dy) = (point.x - p.x, point.y - p.y);
        let share = (dx * ux + dy * uy) / length;
        (0.15..=0.85).contains(&share) && (dy * ux - dx * uy).abs() < 0.12 * length
    });
    line_through(&near.copied().collect::<Vec<_>>())
}

fn dense(around: &[Pixel]) -> Vec<Pixel> {
    let sides = around.iter().zip(around.iter().cycle().skip(1));
    let points = sides.flat_map(|(p, q)| {
        let steps = (p.away_px(*q) / 2.0).ceil().max(1.0) as usize;
        (0..steps).map(move |i| {
            let share = i as f64 / steps as f64;
            Pixel::new(p.x + share * (q.x - p.x), p.y + share * (q.y - p.y))
        })
    });
    points.collect()
}

/// The line with the least squared distances.
fn line_through(points: &[Pixel]) -> Option<StraightLine> {
    if points.len() < 8 {
        return None;
    }
    let n = points.len() as f64;
    let (x, y) = (points.iter().map(|p| p.x).sum::<f64>() / n, points.iter().map(|p| p.y).sum::<f64>() / n);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for point in points {
        let (dx, dy) = (point.x - x, point.y - y);
        (xx, xy, yy) = (xx + dx * dx, xy + dx * dy, yy + dy * dy);
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    Some(StraightLine { at: Pixel::new(x, y), along: (angle.cos(), angle.sin()) })
}

/// How far the border is from the four sides, away from the corners: the distance that nine of ten points stay under.
fn off_sides(border: &[Pixel], corners: &[Pixel; 4]) -> Option<f64> {
    let mut off: Vec<f64> = border
        .iter()
        .map(|point| {
            let sides = (0..4).map(|i| {
                let (p, q) = (corners[i], corners[(i + 1) % 4]);
                let length = p.away_px(q).max(1e-9);
                ((q.x - p.x) * (point.y - p.y) - (q.y - p.y) * (point.x - p.x)).abs() / length
            });
            sides.fold(f64::INFINITY, f64::min)
        })
        .collect();
    let index = off.len() * 9 / 10;
    (!off.is_empty()).then(|| *off.select_nth_unstable_by(index, f64::total_cmp).1)
}

/// A side to a fraction of a pixel: the steepest place along many normals, and the line most of them lie on.
fn exact_side(gray: &Gray, p: Pixel, q: Pixel, reach_px: f64, search: SideSearch) -> Option<StraightLine> {
    let mut line = StraightLine::between(p, q);
    let length = p.away_px(q);
    let (mut reach_px, mut now, mut off_px) = (reach_px, search, 0.0);
    for _ in 0..3 {
        let (ux, uy) = line.along;
        // The middle of the side as it is known now, so that both ends are left out alike.
        let middle = ((p.x + q.x) / 2.0 - line.at.x) * ux + ((p.y + q.y) / 2.0 - line.at.y) * uy;
        let found: Vec<Pixel> = (0..160)
            .filter_map(|i| {
                let along = middle + (i as f64 / 159.0 - 0.5) * 0.76 * length;
                steepest(gray, Pixel::new(line.at.x + along * ux, line.at.y + along * uy), (-uy, ux), reach_px, now)
            })
            .collect();
        (line, off_px) = most_agreed(&found)?;
        (reach_px, now) = ((reach_px * 0.3).max(5.0), SideSearch::Anywhere);
    }
    // Among noise the marks are better than what is steepest.
    let is_seen = search == SideSearch::Anywhere || off_px < LEAST_CLEAR_PX;
    is_seen.then_some(line)
}

/// The steepest place along a normal, between the samples.
fn steepest(gray: &Gray, at: Pixel, normal: (f64, f64), reach_px: f64, search: SideSearch) -> Option<Pixel> {
    let half = (reach_px * 2.0).ceil() as i32;
    let bright = |i: i32| {
        let out = f64::from(i) / 2.0;
        gray.sample(Pixel::new(at.x + normal.0 * out, at.y + normal.1 * out))
    };
    let values: Vec<f32> = (-half - 4..=half + 4).map(bright).collect();
    let near = |index: usize| match search {
        SideSearch::Anywhere => 1.0,
        SideSearch::BesideMarks => (-((index as f64 - f64::from(half)) / f64::from(half)).powi(2)).exp() as f32,
    };
    let steep = values.windows(9).map(|w| (0..9).map(|i| w[i] * EDGE[i]).sum::<f32>().abs());
    let steep: Vec<f32> = steep.enumerate().map(|(index, steep)| steep * near(index)).collect();
    let top = (1..steep.len() - 1).max_by(|a, b| steep[*a].total_cmp(&steep[*b]))?;
    let bend = steep[top - 1] - 2.0 * steep[top] + steep[top + 1];
    let shift = if bend < 0.0 { ((steep[top - 1] - steep[top + 1]) / (2.0 * bend)).clamp(-1.0, 1.0) } else { 0.0 };
    let out = (top as f64 + f64::from(shift) - f64::from(half)) / 2.0;
    Some(Pixel::new(at.x + normal.0 * out, at.y + normal.1 * out))
}

/// The derivative of a Gaussian, width 2 samples.
const EDGE: [f32; 9] = [-0.27, -0.49, -0.61, -0.44, 0.0, 0.44, 0.61, 0.49, 0.27];

/// The line that most of the points lie on: each pair of a fixed set proposes one, the middle distance decides, and the
/// points near it are fitted. With the middle distance, pixels.
fn most_agreed(points: &[Pixel]) -> Option<(StraightLine, f64)> {
    let n = points.len();
    if n < 20 {
        return None;
    }
    let off = |line: &StraightLine, p: &Pixel| line.off_px(*p);
    let proposals = (0..12).flat_map(|i| (0..12).map(move |j| (i * n / 24, n / 2 + j * n / 24)));
    let middle_off = |line: &StraightLine| super::edge::median(points.iter().map(|p| off(line, p)).collect());
    let best = proposals
        .filter_map(|(i, j)| {
            let (p, q) = (points[i], points[j]);
            let length = p.away_px(q);
            (length > 1.0).then(|| StraightLine::between(p, q))
        })
        .map(|line| (middle_off(&line), line))
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    let limit = (best.0 * 3.0).max(0.4);
    let near: Vec<Pixel> = points.iter().filter(|p| off(&best.1, p) < limit).copied().collect();
    if near.len() * 2 < n {
        return None;
    }
    Some((line_through(&near)?, best.0))
}

fn ratio(corners: [Pixel; 4]) -> f64 {
    let side = |i: usize| {
        let (p, q) = (corners[i], corners[(i + 1) % 4]);
        p.away_px(q)
    };
    let (one, other) = (side(0) + side(2), side(1) + side(3));
    one.max(other) / one.min(other).max(1e-9)
}

/// The corners of a card that lies level or upright with its first corner at the origin, and whether it is upright.
fn level_mm(corners: [Pixel; 4]) -> ([Point; 4], bool) {
    let [a, b, c, d] = corners;
    let is_upright = a.away_px(b) + d.away_px(c) <= b.away_px(c) + a.away_px(d);
    let (wide, high) = if is_upright { (CARD_MM.1, CARD_MM.0) } else { CARD_MM };
    ([(0.0, 0.0), (wide, 0.0), (wide, -high), (0.0, -high)].map(|(x, y)| Point::new(x, y)), is_upright)
}

/// The plane of a card with these corners in the picture. Up in the plane is up in the picture: one of the card's own
/// directions if the card lies level or upright, the picture's otherwise.
fn from_corners(corners: [Pixel; 4]) -> Option<Card> {
    let corners = from_top_left(corners);
    if !SHAPE.contains(&ratio(corners)) {
        return None;
    }
    let (level, _) = level_mm(corners);
    let plane = Plane::through(level, corners)?;
    let middle = level[2].times(0.5);
    let (least_mm, most_mm) = plane.pitch_mm(middle);
    let tilt_deg = (least_mm / most_mm).clamp(0.0, 1.0).acos().to_degrees();
    let turned_deg = picture_right_deg(&plane, middle);
    let is_level = turned_deg.abs() <= 15.0;
    let plane = if is_level {
        plane
    } else {
        let back = |p: Point| Point::polar(p.length_mm(), p.angle_deg() - turned_deg);
        Plane::through(level.map(back), corners)?
    };
    Some(Card {
        corners,
        plane,
        tilt_deg,
        is_level,
        is_round: false,
        other_format: None,
        is_by_color: false,
        sides_by_marks: 0,
    })
}

/// The direction in the plane that runs to the right in the picture.
fn picture_right_deg(plane: &Plane, about: Point) -> f64 {
    let here = plane.to_px(about);
    let there = plane.to_mm(Pixel::new(here.x + 1.0, here.y));
    let angle = there.minus(about).angle_deg();
    if angle > 180.0 { angle - 360.0 } else { angle }
}

/// Clockwise as seen, from the corner whose side to the next runs most to the right.
fn from_top_left(mut corners: [Pixel; 4]) -> [Pixel; 4] {
    let area: f64 = (0..4)
        .map(|i| {
            let (p, q) = (corners[i], corners[(i + 1) % 4]);
            p.x * q.y - p.y * q.x
        })
        .sum();
    if area < 0.0 {
        corners.reverse();
    }
    from_side_along(corners, (1.0, 0.0))
}

/// The corners from the one whose side to the next runs most in a direction.
pub(super) fn from_side_along(corners: [Pixel; 4], (x, y): (f64, f64)) -> [Pixel; 4] {
    let along = |i: usize| {
        let (p, q) = (corners[i], corners[(i + 1) % 4]);
        ((q.x - p.x) * x + (q.y - p.y) * y) / p.away_px(q).max(1e-9)
    };
    let first = (0..4).max_by(|a, b| along(*a).total_cmp(&along(*b))).unwrap_or(0);
    [0, 1, 2, 3].map(|i| corners[(first + i) % 4])
}

/// Whether the corners look round: the place just inside the tip of a square corner then shows the ground, not the card.
fn has_round_corners(gray: &Gray, plane: &Plane, corners: [Pixel; 4]) -> bool {
    let points = corners.map(|corner| plane.to_mm(corner));
    let bright = |from: Point, toward: Point, mm: f64| {
        let along = toward.minus(from);
        let share = mm / along.length_mm();
        gray.sample(plane.to_px(from.plus(Point::new(along.x_mm * share, along.y_mm * share))))
    };
    // The arc of a corner of 3.18 mm begins 1.32 mm from the tip.
    let tip_mm = CORNER_MM * (std::f64::consts::SQRT_2 - 1.0) * 0.4;
    let is_round = |i: &usize| {
        let (corner, opposite) = (points[*i], points[(i + 2) % 4]);
        let [outside, tip, inside] = [-1.2, tip_mm, 3.5].map(|mm| bright(corner, opposite, mm));
        (tip - outside).abs() < (tip - inside).abs()
    };
    (0..4).filter(is_round).count() >= 3
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(left: f64, top: f64, wide: f64, high: f64) -> Card {
        from_corners([(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)].map(|(x, y)| Pixel::new(left + x, top + y)))
            .unwrap()
    }

    #[test]
    fn a_card_of_another_format_is_noticed() {
        let gray = Gray { width: 1600, height: 1200, values: Vec::new() };
        for (wide, high, is_other) in [
            (856.0, 539.8, false),
            (539.8, 856.0, false),
            (900.0, 550.0, true),
            (850.0, 550.0, true),
            (550.0, 850.0, true),
        ] {
            let found = other_format(&gray, &seen(100.0, 100.0, wide, high));
            assert_eq!(found.is_some(), is_other, "{wide} {high}: {found:?}");
            let ratio = f64::max(wide, high) / f64::min(wide, high);
            assert!(found.is_none_or(|found| (found - ratio).abs() < 1e-6), "{wide} {high}: {found:?}");
        }
    }

    /// A card hardly lighter than the table, with a line of this level beside one of its sides.
    fn faint_card(line: u8) -> Gray {
        let mut noise = 7_u64;
        let values = (0..1400 * 1000).map(|i| {
            noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let (x, y) = (i % 1400, i / 1400);
            let level = match (x, y) {
                (200..1056, 144..146) => line,
                (200..1056, 150..690) => 100,
                _ => 88,
            };
            level + (noise >> 61) as u8
        });
        Gray { width: 1400, height: 1000, values: values.collect() }
    }

    #[test]
    fn marks_move_to_the_sides_of_the_card_and_not_to_a_clearer_line_beside_one() {
        let exact = [(200.0, 150.0), (1056.0, 150.0), (1056.0, 690.0), (200.0, 690.0)];
        let worst_px = |line: u8, off: [(f64, f64); 4]| {
            let marks = [0, 1, 2, 3].map(|i| Pixel::new(exact[i].0 + off[i].0, exact[i].1 + off[i].1));
            let card = marked_card(&faint_card(line), marks).unwrap();
            let away = |i: usize| card.corners[i].away_px(Pixel::new(exact[i].0, exact[i].1));
            ((0..4).map(away).fold(0.0, f64::max), card.sides_by_marks)
        };
        let (worst, _) = worst_px(40, [(0.0, 0.0); 4]);
        assert!(worst < 0.6, "{worst}");
        let (worst, by_marks) = worst_px(88, [(2.0, 2.5), (-2.0, 1.5), (2.0, -3.0), (-1.5, 2.0)]);
        assert!(worst < 0.6 && by_marks == 0, "{worst} {by_marks}");
    }

    #[test]
    fn sides_that_are_not_seen_stay_at_the_marks_and_are_counted() {
        let mut gray = faint_card(88);
        gray.values.iter_mut().for_each(|value| *value = 80 + *value % 8);
        let marks = [(200.0, 150.0), (1056.0, 151.0), (1055.0, 690.0), (201.0, 689.0)].map(|(x, y)| Pixel::new(x, y));
        let card = marked_card(&gray, marks).unwrap();
        assert_eq!(card.sides_by_marks, 4);
        assert!(card.corners.iter().zip(&marks).all(|(seen, mark)| seen.away_px(*mark) < 1e-6));
    }

    #[test]
    fn a_part_of_a_card_below_a_printed_stripe_is_not_the_card() {
        let (whole, part) = (seen(100.0, 100.0, 856.0, 539.8), seen(100.0, 160.0, 856.0, 479.8));
        for found in
            [vec![(0.002, part.clone()), (0.003, whole.clone())], vec![(0.002, whole.clone()), (0.003, part.clone())]]
        {
            assert_eq!(whole_card(found).unwrap().corners, whole.corners);
        }
        // The sheet that the card lies on is not a card with something printed on it, nor is another card beside it.
        let (sheet, other) = (seen(0.0, 0.0, 2970.0, 2100.0), seen(1200.0, 100.0, 900.0, 566.0));
        let found = vec![(0.002, whole.clone()), (0.001, part.clone()), (0.003, sheet), (0.003, other)];
        assert_eq!(whole_card(found).unwrap().corners, whole.corners);
        assert!(whole_card(Vec::new()).is_none());
    }
}
