//! The lenses in a picture: everything with a closed edge is followed, and what can't be a lens is refused with the reason.

use std::cmp::Ordering;

use super::edge::{SeenEdge, follow};
use super::gray::{Gray, Pixel};
use super::plane::Plane;
use super::refused::PictureRefused;
use super::region::{SizeLimits, Terrain, Thing, Wanted};
use crate::shape::boxing::Boxing;
use crate::shape::hull::hull;
use crate::shape::outline::{Outline, Point, doubled_area_mm2, extent};

/// The smallest and the largest side of the box of a lens, mm. Source: common practice (from memory).
const SIDE_MM: std::ops::RangeInclusive<f64> = 14.0..=80.0;
/// The least width of a lens, mm. Source: common practice (from memory).
const LEAST_WIDTH_MM: f64 = 25.0;
/// The least part of its convex hull that a lens fills. Source: common practice (from memory).
const LEAST_FULLNESS: f64 = 0.955;
/// The pixels of the small picture are about this large, mm.
const SMALL_PITCH_MM: f64 = 0.3;
/// The small picture has at most about so many pixels.
const SMALL_PIXELS: f64 = 900_000.0;
/// Fibers up to this width are cut off from a thing before its border is looked for, mm.
const HAIR_MM: f64 = 2.0;
/// The part of the edge that must be seen, and the longest piece that may be missing, mm.
const LEAST_SEEN: f64 = 0.96;
const LONGEST_UNSEEN_MM: f64 = 2.0;
/// The spread of the points about the smooth edge that a picture of a lens stays under, mm.
const MOST_SPREAD_MM: f64 = 0.15;
/// The blur that is still an edge, mm.
const MOST_BLUR_MM: f64 = 0.45;
/// The part of the inside of a lens that may be covered by marks: a lamp is mirrored in it, and a demo lens is printed. More
/// than the first is reported, more than the second refused.
const MARKED: (f64, f64) = (0.03, 0.15);
/// A polygon turns in its corners and nowhere else: a sheet of paper, not a lens. How many corners are looked at, how long
/// one is, and how much of the full turn they may make.
const MOST_CORNERS: usize = 6;
const CORNER_MM: f64 = 3.0;
const MOST_CORNERED_DEG: f64 = 325.0;
/// Edges whose areas differ by less than this part are the same one, followed twice: a rim or a bevel is wider.
const SAME_AREA: f64 = 0.01;
/// Two things are the same one, seen at two levels of steepness, if their middles are closer than the first part of their width and
/// their areas differ by less than the second.
const SAME_THING: (f64, f64) = (0.05, 0.15);
/// The same, so close that following the border again gives the same edge.
const SAME_BORDER: (f64, f64) = (0.005, 0.01);
/// The edge of a lens refracts so far inward, mm.
const RIM_MM: f64 = 4.5;
/// Inside of a rim nothing is seen but the blur of its edge, mm.
const OPENING_MM: f64 = 1.2;

/// A lens found in a picture.
#[derive(Debug, Clone)]
pub(super) struct FoundLens {
    pub edge: SeenEdge,
    pub outline: Outline,
    /// The middle of its box, in the plane.
    pub middle: Point,
    /// Whether there is something inside of its outline.
    pub is_marked: bool,
}

/// Finds one lens, or two side by side, in the order they lie in the picture. Nothing is looked for in `hidden`.
pub(super) fn find(
    gray: &Gray,
    plane: &Plane,
    wanted: Wanted,
    hidden: Option<[Pixel; 4]>,
) -> Result<Vec<FoundLens>, PictureRefused> {
    let center = plane.to_mm(Pixel::new(gray.width as f64 / 2.0, gray.height as f64 / 2.0));
    let pitch_mm = plane.pitch_mm(center).0;
    let pixels = (gray.width * gray.height) as f64;
    let factor = (SMALL_PITCH_MM / pitch_mm).round().max((pixels / SMALL_PIXELS).sqrt().ceil()).max(1.0);
    let terrain = Terrain::of(gray, factor as usize);
    let sizes =
        SizeLimits { least_px: 12.0 / pitch_mm, most_px: SIDE_MM.end() / pitch_mm, hair_px: HAIR_MM / pitch_mm };
    let mut lenses: Vec<FoundLens> = Vec::new();
    let mut known: Vec<Thing> = Vec::new();
    let mut failed: Vec<Thing> = Vec::new();
    let mut why = match wanted {
        Wanted::Body => PictureRefused::NothingClosed,
        Wanted::Opening => PictureRefused::NoOpening,
    };
    for level in terrain.levels() {
        let things = terrain.things(level, wanted, sizes);
        for thing in things {
            let is_hidden = hidden.is_some_and(|corners| is_within(thing.middle, corners));
            if is_hidden || is_among(&known, &thing, SAME_THING) || is_among(&failed, &thing, SAME_BORDER) {
                continue;
            }
            match lens(gray, plane, &thing, wanted) {
                Ok(lens) => {
                    known.push(thing);
                    lenses.push(lens);
                }
                // A border that is wrong at one steepness may be right at another, if it is another one there.
                Err(refused) => {
                    why = worse(why, refused);
                    failed.push(thing);
                }
            }
        }
    }
    let found = match wanted {
        Wanted::Body => outermost(lenses),
        Wanted::Opening => innermost(lenses),
    };
    match found.len() {
        0 => Err(why),
        1 | 2 => checked(plane, &terrain, wanted, found),
        more => Err(PictureRefused::Several(more)),
    }
}

/// Whether there is one of nearly the same place and size.
fn is_among(things: &[Thing], thing: &Thing, (place, size): (f64, f64)) -> bool {
    let across = thing.area_px.sqrt();
    things.iter().any(|one| {
        one.middle.away_px(thing.middle) < place * across && (one.area_px / thing.area_px - 1.0).abs() < size
    })
}

/// Of two reasons the one that came farther.
fn worse(one: PictureRefused, other: PictureRefused) -> PictureRefused {
    let far = |why: &PictureRefused| match why {
        PictureRefused::NothingClosed | PictureRefused::NoOpening => 0,
        PictureRefused::Size { .. } => 1,
        PictureRefused::CutOff => 2,
        PictureRefused::NotALens => 3,
        PictureRefused::Blurred(_) => 4,
        PictureRefused::Ragged(_) => 5,
        _ => 6,
    };
    if far(&other) >= far(&one) { other } else { one }
}

fn lens(gray: &Gray, plane: &Plane, thing: &Thing, wanted: Wanted) -> Result<FoundLens, PictureRefused> {
    let mut border: Vec<Point> = thing.border.iter().map(|place| plane.to_mm(*place)).collect();
    // Clockwise as seen, so counter-clockwise once y runs up: the picture's rows run down.
    border.reverse();
    let (wide_mm, high_mm) = size(&border);
    // A level lens may be turned in the picture, so its sides may be swapped.
    if !SIDE_MM.contains(&wide_mm.min(high_mm)) || !(LEAST_WIDTH_MM..=*SIDE_MM.end()).contains(&wide_mm.max(high_mm)) {
        return Err(PictureRefused::Size { wide_mm, high_mm });
    }
    if thing.is_cut_off {
        return Err(PictureRefused::CutOff);
    }
    if thing.fullness < LEAST_FULLNESS - 0.05 {
        return Err(PictureRefused::NotALens);
    }
    let border = without_spikes(&border);
    let pitch_mm = plane.pitch_mm(plane.to_mm(thing.middle)).0;
    let edge = follow(gray, plane, &border, wanted, pitch_mm);
    judge(&edge)?;
    if edge.points.iter().any(|point| !gray.holds(plane.to_px(*point), 3.0)) {
        return Err(PictureRefused::CutOff);
    }
    let middle = middle(&edge.points);
    let about = edge.points.iter().map(|point| point.minus(middle)).collect();
    let outline = Outline::from_points(about).map_err(|_| PictureRefused::NotALens)?;
    let size = Boxing::of(&outline);
    if fullness(&edge.points, size.area_mm2) < LEAST_FULLNESS {
        return Err(PictureRefused::NotALens);
    }
    if turned_in_corners_deg(&edge.points) > MOST_CORNERED_DEG {
        return Err(PictureRefused::NotALens);
    }
    Ok(FoundLens { edge, outline, middle, is_marked: false })
}

fn judge(edge: &SeenEdge) -> Result<(), PictureRefused> {
    if edge.seen < LEAST_SEEN || edge.unseen.0 > LONGEST_UNSEEN_MM {
        return Err(PictureRefused::Unseen { mm: edge.unseen.0, toward_deg: edge.unseen.1 });
    }
    if edge.blur_mm > MOST_BLUR_MM {
        return Err(PictureRefused::Blurred(edge.blur_mm * 2.56));
    }
    if edge.spread_mm > MOST_SPREAD_MM {
        return Err(PictureRefused::Ragged(edge.spread_mm));
    }
    Ok(())
}

/// The last check is of what the lens encloses.
fn checked(
    plane: &Plane,
    terrain: &Terrain,
    wanted: Wanted,
    mut found: Vec<FoundLens>,
) -> Result<Vec<FoundLens>, PictureRefused> {
    for lens in &mut found {
        let marked = marked(plane, terrain, wanted, lens);
        if marked > MARKED.1 {
            return Err(PictureRefused::NotPlain(marked * 100.0));
        }
        lens.is_marked = marked > MARKED.0;
    }
    Ok(found)
}

/// The share of the inside, away from the rim, that is not smooth.
fn marked(plane: &Plane, terrain: &Terrain, wanted: Wanted, lens: &FoundLens) -> f64 {
    let factor = terrain.factor as f64;
    let limit = (lens.edge.step_levels * 0.06).max(3.0) as f32;
    let rim_mm = match wanted {
        Wanted::Body => RIM_MM,
        Wanted::Opening => OPENING_MM,
    };
    let (mut inside, mut steep) = (0_usize, 0_usize);
    let reach = lens.outline.points().iter().map(|p| p.length_mm()).fold(0.0, f64::max);
    let radii: Vec<f64> = (0..360).map(|deg| lens.outline.radius_at_mm(f64::from(deg))).collect();
    let corners = [(-reach, -reach), (-reach, reach), (reach, -reach), (reach, reach)]
        .map(|(x, y)| plane.to_px(lens.middle.plus(Point::new(x, y))));
    let range = |of: fn(&Pixel) -> f64, size: usize| {
        let low = corners.iter().map(of).fold(f64::INFINITY, f64::min) / factor;
        let high = corners.iter().map(of).fold(0.0, f64::max) / factor;
        (low.max(0.0) as usize)..(high as usize + 1).min(size)
    };
    for y in range(|p| p.y, terrain.steep.height) {
        for x in range(|p| p.x, terrain.steep.width) {
            let place = Pixel::new((x as f64 + 0.5) * factor, (y as f64 + 0.5) * factor);
            let from = plane.to_mm(place).minus(lens.middle);
            if from.length_mm() + rim_mm > radii[from.angle_deg() as usize % 360] {
                continue;
            }
            inside += 1;
            steep += usize::from(terrain.steep.values[y * terrain.steep.width + x] > limit);
        }
    }
    steep as f64 / inside.max(1) as f64
}

/// Those that no other one encloses, from left to right.
fn outermost(lenses: Vec<FoundLens>) -> Vec<FoundLens> {
    without_nested(lenses, |a, b| b.total_cmp(&a))
}

/// Those that enclose no other one, from left to right: the outer edge of a rim encloses its opening.
fn innermost(lenses: Vec<FoundLens>) -> Vec<FoundLens> {
    without_nested(lenses, |a, b| a.total_cmp(&b))
}

/// Of lenses within each other the first by area. An edge that was followed twice is taken as it was surer: the line may have gone
/// astray from a border far away from the edge.
fn without_nested(mut lenses: Vec<FoundLens>, order: impl Fn(f64, f64) -> Ordering) -> Vec<FoundLens> {
    let area = |lens: &FoundLens| Boxing::of(&lens.outline).area_mm2;
    lenses.sort_by(|a, b| order(area(a), area(b)));
    let holds = |a: &FoundLens, b: &FoundLens| a.outline.contains(b.middle.minus(a.middle));
    let mut kept: Vec<FoundLens> = Vec::new();
    for lens in lenses {
        match kept.iter_mut().find(|first| holds(first, &lens) || holds(&lens, first)) {
            None => kept.push(lens),
            Some(first) => {
                let is_same = (area(&lens) / area(first) - 1.0).abs() < SAME_AREA;
                if is_same && lens.edge.unsure_mm < first.edge.unsure_mm {
                    *first = lens;
                }
            }
        }
    }
    kept.sort_by(|a, b| a.middle.x_mm.total_cmp(&b.middle.x_mm));
    kept
}

fn is_within(place: Pixel, corners: [Pixel; 4]) -> bool {
    let sides = corners.iter().zip(corners.iter().cycle().skip(1));
    let turns: Vec<bool> =
        sides.map(|(p, q)| (q.x - p.x) * (place.y - p.y) - (q.y - p.y) * (place.x - p.x) > 0.0).collect();
    turns.iter().all(|turn| *turn) || turns.iter().all(|turn| !*turn)
}

fn size(points: &[Point]) -> (f64, f64) {
    let (low, high) = extent(points);
    (high.x_mm - low.x_mm, high.y_mm - low.y_mm)
}

fn middle(points: &[Point]) -> Point {
    let (low, high) = extent(points);
    Point::new((low.x_mm + high.x_mm) / 2.0, (low.y_mm + high.y_mm) / 2.0)
}

/// The border with each radius replaced by the median of its neighborhood, so that a fiber across it is left out.
fn without_spikes(border: &[Point]) -> Vec<Point> {
    let n = border.len();
    let sum = border.iter().fold(Point::ORIGIN, |sum, p| sum.plus(*p));
    let about = Point::new(sum.x_mm / n as f64, sum.y_mm / n as f64);
    let polar: Vec<Point> = border.iter().map(|p| p.minus(about)).collect();
    let radius = |i: usize| {
        let mut near: Vec<f64> = (0..=8).map(|k| polar[(i + n + k - 4) % n].length_mm()).collect();
        *near.select_nth_unstable_by(4, f64::total_cmp).1
    };
    let point = |i: usize| {
        let scale = radius(i) / polar[i].length_mm().max(1e-9);
        about.plus(Point::new(polar[i].x_mm * scale, polar[i].y_mm * scale))
    };
    (0..n).map(point).collect()
}

/// How much of its full turn the edge makes in its few sharpest corners.
fn turned_in_corners_deg(points: &[Point]) -> f64 {
    let n = points.len();
    let length_mm: f64 = (0..n).map(|i| points[(i + 1) % n].minus(points[i]).length_mm()).sum();
    let of = |mm: f64| ((mm * n as f64 / length_mm).round() as usize).max(1);
    let (half, reach) = (of(CORNER_MM / 2.0), of(0.5));
    let along = |i: usize| points[(i + reach) % n].minus(points[(i + n - reach) % n]);
    let turn = |i: usize| {
        let (before, after) = (along((i + n - half) % n), along((i + half) % n));
        before.cross(after).atan2(before.dot(after)).to_degrees()
    };
    let mut turns: Vec<f64> = (0..n).map(turn).collect();
    let mut sum_deg = 0.0;
    for _ in 0..MOST_CORNERS {
        let sharpest = (0..n).max_by(|a, b| turns[*a].total_cmp(&turns[*b])).unwrap_or(0);
        sum_deg += turns[sharpest].max(0.0);
        (0..=4 * half).for_each(|k| turns[(sharpest + n + k - 2 * half) % n] = 0.0);
    }
    sum_deg
}

fn fullness(points: &[Point], area_mm2: f64) -> f64 {
    let around = hull(points, |point| [point.x_mm, point.y_mm]);
    area_mm2 / (doubled_area_mm2(&around) / 2.0).max(1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn round(radius_mm: f64, unsure_mm: f64) -> FoundLens {
        let points: Vec<Point> = (0..360).map(|deg| Point::polar(radius_mm, f64::from(deg))).collect();
        let outline = Outline::from_points(points.clone()).unwrap();
        let edge = SeenEdge {
            points,
            seen: 1.0,
            unseen: (0.0, 0.0),
            spread_mm: 0.0,
            blur_mm: 0.1,
            step_levels: 100.0,
            band_mm: None,
            second_mm: 0.0,
            unsure_mm,
        };
        FoundLens { edge, outline, middle: Point::ORIGIN, is_marked: false }
    }

    #[test]
    fn of_an_edge_followed_twice_the_surer_is_taken_and_of_two_edges_the_innermost() {
        let unsure =
            |lenses: Vec<FoundLens>| innermost(lenses).iter().map(|lens| lens.edge.unsure_mm).collect::<Vec<_>>();
        assert_eq!(unsure(vec![round(25.0, 0.03), round(24.95, 0.3)]), [0.03]);
        assert_eq!(unsure(vec![round(25.0, 0.3), round(24.95, 0.03)]), [0.03]);
        // The outer edge of a rim is another one, however sure.
        assert_eq!(unsure(vec![round(26.2, 0.03), round(25.0, 0.3)]), [0.3]);
    }
}
