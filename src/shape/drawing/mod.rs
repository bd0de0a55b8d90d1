//! Drawn outlines: SVG, DXF and lists of points. Lines and curves are joined to closed lines; one of them, or the two of a
//! pair, is the shape.
//!
//! * [`svg`] and [`dxf`] – the drawings. [`points`] – x and y, or angle and radius, a row each.
//! * `bare_svg` – an SVG drawing without what an outline does not need. `path_data` – the faults of its numbers.
//! * `curve` – curves as short straight pieces. `fit` – a smooth line through points. `join` – pieces to closed lines. `hole` – the
//!   holes of a drilled mount. `count` – how many radii a lens gets.
//! * [`traces`] – closed lines to the traces of both eyes, leveled and mirrored as asked.
//!
//! A drawing is a front view: the left of two outlines is the wearer's right eye. It has units or they must be stated.

mod bare_svg;
mod count;
mod curve;
pub mod dxf;
mod fit;
mod hole;
mod join;
mod path_data;
pub mod points;
pub mod svg;

use thiserror::Error;

use super::bytes::{root_name, utf8};
use super::hole::Hole;
use super::outline::{Outline, OutlineError, Point, doubled_area_mm2, edges, extent};
use super::record::{TraceFile, Warning, WarningKind, numbered_lines};
use super::trace::Trace;
use crate::optics::{Eye, Pair};

/// The longest drawing that is read.
pub const MAX_BYTES: usize = 8 << 20;
/// The radii of a drawn or pictured shape; one with sharp corners has more.
pub const RADII: usize = 1000;
/// Curves are flattened to this, mm.
const FLAT_MM: f64 = 0.005;
/// The most straight pieces that a drawing may come to.
const MOST_PIECES: usize = 400_000;
/// Closed lines smaller than this are holes or marks, mm. Source: common practice (from memory).
const LEAST_SIDE_MM: f64 = 12.0;
/// Closed lines of a lens's size are counted up to here.
const MOST_SIDE_BY_SIDE: usize = 100;
/// The distance between the lenses of a drawn pair that is believed, mm.
const DBL_MM: std::ops::RangeInclusive<f64> = 5.0..=40.0;

/// The unit of a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Millimeters.
    Mm,
    /// Centimeters.
    Cm,
    /// Inches.
    Inch,
    /// Points, 72 to the inch.
    Pt,
    /// CSS pixels, 96 to the inch.
    Px,
}

impl Unit {
    /// The unit of a name: mm, cm, in or inch, pt, px.
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "mm" => Some(Unit::Mm),
            "cm" => Some(Unit::Cm),
            "in" | "inch" => Some(Unit::Inch),
            "pt" => Some(Unit::Pt),
            "px" => Some(Unit::Px),
            _ => None,
        }
    }

    /// Millimeters in one.
    pub fn mm(self) -> f64 {
        match self {
            Unit::Mm => 1.0,
            Unit::Cm => 10.0,
            Unit::Inch => 25.4,
            Unit::Pt => 25.4 / 72.0,
            Unit::Px => 25.4 / 96.0,
        }
    }
}

/// A kind of drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DrawingKind {
    /// SVG.
    Svg,
    /// DXF as text.
    Dxf,
    /// Rows of x and y, or of angle and radius.
    Points,
}

/// The two lenses of a frame do not differ by more in width or height (common practice, from memory).
const PAIR_DIFFERS_MM: f64 = 2.0;

/// Which kind of drawing a file is, if it is one.
pub fn kind_of(bytes: &[u8]) -> Option<DrawingKind> {
    let start = utf8(bytes.get(..bytes.len().min(4096)).unwrap_or_default());
    let start = String::from_utf8_lossy(&start);
    let start = start.trim_start_matches('\u{feff}');
    let mut lines = numbered_lines(start).map(|(_, line)| line.trim());
    if start.contains("<svg") || root_name(&utf8(bytes)) == Some(b"svg") {
        Some(DrawingKind::Svg)
    } else if lines.next() == Some("0") && lines.next() == Some("SECTION") || start.starts_with("999") {
        Some(DrawingKind::Dxf)
    } else if bytes.len() <= MAX_BYTES && std::str::from_utf8(&utf8(bytes)).is_ok_and(points::is_points) {
        Some(DrawingKind::Points)
    } else {
        None
    }
}

/// Reads a drawing of a kind: the shape of one lens or of two.
///
/// # Errors
///
/// [`DrawingRefused`].
pub fn read(bytes: &[u8], kind: DrawingKind, unit: Option<Unit>, placed: Placed) -> Result<TraceFile, DrawingRefused> {
    if bytes.len() > MAX_BYTES {
        return Err(DrawingRefused::TooLarge(bytes.len()));
    }
    let bytes = utf8(bytes);
    let text = String::from_utf8_lossy(&bytes);
    let lenses = match kind {
        DrawingKind::Svg => svg::read_svg(&text, unit)?,
        DrawingKind::Dxf => dxf::read_dxf(&text, unit)?,
        DrawingKind::Points => match points::read_points(&text, unit)? {
            points::Listed::One(lens) => vec![lens],
            points::Listed::Named(pair) => return named_traces(&pair, placed),
        },
    };
    traces(&lenses, placed, true)
}

/// A drawn lens.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnLens {
    /// Its closed line.
    pub border: Vec<Point>,
    /// The holes of a drilled mount.
    pub holes: Vec<Hole>,
    /// What was odd in its drawing.
    pub warnings: Vec<WarningKind>,
}

impl DrawnLens {
    /// A lens without holes.
    pub fn undrilled(border: Vec<Point>) -> Self {
        Self { border, holes: Vec::new(), warnings: Vec::new() }
    }

    /// As it is placed.
    fn seen(&self, placed: Placed) -> Self {
        let flip = if placed.is_from_back { -1.0 } else { 1.0 };
        let (sin, cos) = placed.level_deg.to_radians().sin_cos();
        let point = |p: Point| {
            let (x, y) = (flip * p.x_mm, p.y_mm);
            Point::new(x * cos - y * sin, x * sin + y * cos)
        };
        let hole = |hole: &Hole| Hole { at: point(hole.at), slot_end: hole.slot_end.map(point), ..*hole };
        let border = self.border.iter().copied().map(point).collect();
        Self { border, holes: self.holes.iter().map(hole).collect(), warnings: self.warnings.clone() }
    }

    /// Its left and right end.
    fn reach_mm(&self) -> (f64, f64) {
        let (low, high) = extent(&self.border);
        (low.x_mm, high.x_mm)
    }

    fn middle(&self) -> Point {
        let (low, high) = extent(&self.border);
        Point::new((low.x_mm + high.x_mm) / 2.0, (low.y_mm + high.y_mm) / 2.0)
    }

    /// Equally spaced radii of its line about the middle of its box.
    fn trace(&self, eye: Eye) -> Result<Trace, DrawingRefused> {
        let outline = outline(&self.border, self.middle()).map_err(DrawingRefused::NotALens)?;
        Trace::of_outline(eye, &outline, count::radii_for(&outline)).map_err(DrawingRefused::NotALens)
    }

    /// Its holes from the middle of its box.
    fn holes_in_box(&self) -> Vec<Hole> {
        let middle = self.middle();
        let moved = |hole: &Hole| Hole {
            at: hole.at.minus(middle),
            slot_end: hole.slot_end.map(|end| end.minus(middle)),
            ..*hole
        };
        self.holes.iter().map(moved).collect()
    }
}

/// Why a drawing gives no shape.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum DrawingRefused {
    /// Longer than [`MAX_BYTES`].
    #[error("the drawing has {} MB; at most {} are read", .0 >> 20, MAX_BYTES >> 20)]
    TooLarge(usize),
    /// More pieces than a drawing may come to.
    #[error("the drawing has too many parts: leave only the outline of the lens in it")]
    TooMany,
    /// The file can't be read as what it is.
    #[error("{0}")]
    Damaged(String),
    /// A line of the file with its fault.
    #[error("Line {line}: {problem}")]
    Line {
        /// From 1.
        line: usize,
        /// What is wrong.
        problem: String,
    },
    /// No unit is stated.
    #[error("the drawing does not say its unit: state mm, cm, inch, pt or px")]
    NoUnit,
    /// Parts of the drawing that are not read.
    #[error("the drawing has a part that is not read ({0}): turn it into lines and curves first")]
    NotRead(String),
    /// Nothing is closed.
    #[error("no closed line was found: the ends of the outline must meet within {} mm", join::MEET_MM)]
    NotClosed,
    /// No closed line has the size of a lens.
    #[error(
        "the largest closed line is {wide_mm:.1} by {high_mm:.1} mm, and no lens is: is the unit right, and is the outline \
         alone in the drawing?"
    )]
    Size {
        /// Its width.
        wide_mm: f64,
        /// Its height.
        high_mm: f64,
    },
    /// A lens-sized closed line inside another: which one is the edge is not seen.
    #[error(
        "a closed line of {:.1} by {:.1} mm lies inside another of {:.1} by {:.1} mm: leave only the outline of the lens",
        .inner.0, .inner.1, .outer.0, .outer.1
    )]
    Nested {
        /// The width and height of the inner one, mm.
        inner: (f64, f64),
        /// Those of the other.
        outer: (f64, f64),
    },
    /// More than two lines meet in a point: which way the outline goes on is not seen.
    #[error("more than two lines meet at x {0:.2}, y {1:.2} mm: leave only the outline of the lens")]
    Branch(f64, f64),
    /// Two lens-sized closed lines that are not the two lenses of a frame.
    #[error(
        "two closed lines, of {:.1} by {:.1} and of {:.1} by {:.1} mm, are no pair of lenses: leave one, or the two of a pair \
         side by side", .one.0, .one.1, .other.0, .other.1
    )]
    NoPair {
        /// The width and height of the left one, mm.
        one: (f64, f64),
        /// Those of the other.
        other: (f64, f64),
    },
    /// A list whose ends are far apart.
    #[error(
        "the last point is {0:.1} mm from the first, far more than any other two: a part is missing. Repeat the first point at \
         the end if a straight side is meant"
    )]
    Gap(f64),
    /// More than two lens-sized closed lines.
    #[error("{0} closed lines of a lens's size lie side by side: leave one, or the two of a pair")]
    Several(usize),
    /// The closed line is not the outline of a lens.
    #[error("the closed line is no outline of a lens: {0}")]
    NotALens(OutlineError),
}

/// What is known of a drawn or pictured outline besides its points.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Placed {
    /// The eye of a single outline.
    pub eye: Option<Eye>,
    /// How far it is turned counter-clockwise to be level, degrees.
    pub level_deg: f64,
    /// It is seen from the back, so it is mirrored.
    pub is_from_back: bool,
}

/// The lenses among closed lines: the outermost ones that are large enough, from left to right, with the holes in them.
fn lenses_of(lines: Vec<Vec<Point>>) -> Result<Vec<DrawnLens>, DrawingRefused> {
    let mut nested = None;
    let mut lines: Vec<(f64, Vec<Point>)> =
        lines.into_iter().map(|line| (doubled_area_mm2(&line).abs(), line)).collect();
    lines.sort_by(|a, b| b.0.total_cmp(&a.0));
    let largest = lines.first().map(|(_, line)| size_mm(extent(line))).ok_or(DrawingRefused::NotClosed)?;
    let mut kept: Vec<DrawnLens> = Vec::new();
    // The boxes of those.
    let mut boxes: Vec<(Point, Point)> = Vec::new();
    for (_, line) in lines {
        let own = extent(&line);
        let (wide_mm, high_mm) = size_mm(own);
        match boxes.iter().position(|outer| is_within(own, *outer)) {
            Some(outer) if wide_mm.min(high_mm) >= LEAST_SIDE_MM => {
                nested.get_or_insert(((wide_mm, high_mm), size_mm(boxes[outer])));
            }
            Some(outer) => kept[outer].holes.extend(hole::hole_of(&line)),
            None if wide_mm.min(high_mm) < LEAST_SIDE_MM => {}
            None if kept.len() == MOST_SIDE_BY_SIDE => return Err(DrawingRefused::TooMany),
            None => {
                kept.push(DrawnLens::undrilled(line));
                boxes.push(own);
            }
        }
    }
    if kept.is_empty() || largest.0.max(largest.1) > 2.0 * super::outline::MAX_RADIUS_MM {
        return Err(DrawingRefused::Size { wide_mm: largest.0, high_mm: largest.1 });
    }
    if let Some((inner, outer)) = nested {
        return Err(DrawingRefused::Nested { inner, outer });
    }
    kept.sort_by(|a, b| a.reach_mm().0.total_cmp(&b.reach_mm().0));
    kept.iter_mut().for_each(|lens| lens.holes = hole::of_a_mount(&lens.holes, lens.middle()));
    match &kept[..] {
        [one, other] => check_pair(one, other)?,
        [_] => {}
        more => return Err(DrawingRefused::Several(more.len())),
    }
    Ok(kept)
}

/// As [`lenses_of`], for lines of which some may have been drawn twice.
fn lenses_drawn(lines: Vec<Vec<Point>>, is_twice: bool) -> Result<Vec<DrawnLens>, DrawingRefused> {
    let mut lenses = lenses_of(lines)?;
    if is_twice {
        lenses.iter_mut().for_each(|lens| lens.warnings.push(WarningKind::DrawnTwice));
    }
    Ok(lenses)
}

/// Refuses two closed lines that are not the lenses of one frame, such as a lens and the border of a text.
fn check_pair(one: &DrawnLens, other: &DrawnLens) -> Result<(), DrawingRefused> {
    let (own, others) = (size_mm(extent(&one.border)), size_mm(extent(&other.border)));
    let is_alike = (own.0 - others.0).abs() <= PAIR_DIFFERS_MM && (own.1 - others.1).abs() <= PAIR_DIFFERS_MM;
    let is_beside = one.reach_mm().1 <= other.reach_mm().0;
    if is_alike && is_beside { Ok(()) } else { Err(DrawingRefused::NoPair { one: own, other: others }) }
}

/// The width and height of a box.
fn size_mm((low, high): (Point, Point)) -> (f64, f64) {
    (high.x_mm - low.x_mm, high.y_mm - low.y_mm)
}

/// Whether one box lies within another.
fn is_within((low, high): (Point, Point), (outer_low, outer_high): (Point, Point)) -> bool {
    let is_between = |low: f64, high: f64, from: f64, to: f64| low >= from && high <= to;
    is_between(low.x_mm, high.x_mm, outer_low.x_mm, outer_high.x_mm)
        && is_between(low.y_mm, high.y_mm, outer_low.y_mm, outer_high.y_mm)
}

/// The traces of one or two lenses as they lie side by side in a front view. `has_dbl` says whether the distance between
/// two is that between the lenses.
///
/// # Errors
///
/// [`DrawingRefused::NotALens`] for a line that is not the outline of a lens, [`DrawingRefused::Several`].
pub fn traces(lenses: &[DrawnLens], placed: Placed, has_dbl: bool) -> Result<TraceFile, DrawingRefused> {
    let mut lenses: Vec<DrawnLens> = lenses.iter().map(|lens| lens.seen(placed)).collect();
    lenses.sort_by(|a, b| a.reach_mm().0.total_cmp(&b.reach_mm().0));
    match &lenses[..] {
        [] => Err(DrawingRefused::NotClosed),
        [one] => {
            let mut file = of_one(one, placed.eye.unwrap_or(Eye::Right))?;
            if placed.eye.is_none() {
                file.warnings.push(Warning { line: None, kind: WarningKind::SideAssumed });
            }
            Ok(file)
        }
        [right, left] => of_two(right, left, has_dbl),
        more => Err(DrawingRefused::Several(more.len())),
    }
}

/// The traces of lenses whose eyes are named.
fn named_traces(lenses: &Pair<Option<DrawnLens>>, placed: Placed) -> Result<TraceFile, DrawingRefused> {
    let seen = lenses.as_ref().map(|lens| lens.as_ref().map(|lens| lens.seen(placed)));
    match (&seen.right, &seen.left) {
        (Some(right), Some(left)) => of_two(right, left, true),
        (Some(right), None) => of_one(right, Eye::Right),
        (None, Some(left)) => of_one(left, Eye::Left),
        (None, None) => Err(DrawingRefused::NotClosed),
    }
}

fn of_one(lens: &DrawnLens, eye: Eye) -> Result<TraceFile, DrawingRefused> {
    let trace = lens.trace(eye)?;
    let pair = match eye {
        Eye::Right => Pair::new(trace.clone(), trace.mirror()),
        Eye::Left => Pair::new(trace.mirror(), trace),
    };
    let mut file = TraceFile::of_traces(pair, Some(eye.other()));
    *file.holes.get_mut(eye) = lens.holes_in_box();
    warn(&mut file, &[lens]);
    Ok(file)
}

fn of_two(right: &DrawnLens, left: &DrawnLens, has_dbl: bool) -> Result<TraceFile, DrawingRefused> {
    let apart_mm = left.reach_mm().0 - right.reach_mm().1;
    let mut file = TraceFile::of_traces(Pair::new(right.trace(Eye::Right)?, left.trace(Eye::Left)?), None);
    file.dbl_mm = Some(apart_mm).filter(|mm| has_dbl && DBL_MM.contains(mm));
    file.holes = Pair::new(right.holes_in_box(), left.holes_in_box());
    warn(&mut file, &[right, left]);
    Ok(file)
}

/// Says what was odd, once for both lenses.
fn warn(file: &mut TraceFile, lenses: &[&DrawnLens]) {
    for kind in lenses.iter().flat_map(|lens| &lens.warnings) {
        let warning = Warning { line: None, kind: kind.clone() };
        if !file.warnings.contains(&warning) {
            file.warnings.push(warning);
        }
    }
}

/// The outline of a closed line of any number of points about its middle.
fn outline(line: &[Point], middle: Point) -> Result<Outline, OutlineError> {
    if let Some(index) = line.iter().position(|p| !p.x_mm.is_finite() || !p.y_mm.is_finite()) {
        return Err(OutlineError::NotFinite { index });
    }
    if line.len() < super::outline::MIN_CORNERS {
        return Err(OutlineError::NotClosed(line.len()));
    }
    Outline::from_points(divided(&line.iter().map(|p| p.minus(middle)).collect::<Vec<_>>()))
}

/// The same line with its long sides divided and its shortest ones joined, so that it has as many points as an outline may.
fn divided(line: &[Point]) -> Vec<Point> {
    let length_mm: f64 = edges(line).map(|(p, q)| q.minus(p).length_mm()).sum();
    let (longest_mm, shortest_mm) = (length_mm / 400.0, length_mm / 9_000.0);
    let mut points: Vec<Point> = Vec::new();
    for (p, q) in edges(line) {
        if points.last().is_some_and(|last| p.minus(*last).length_mm() < shortest_mm) {
            continue;
        }
        let parts = (q.minus(p).length_mm() / longest_mm).ceil().clamp(1.0, 400.0) as usize;
        points.extend((0..parts).map(|i| {
            let share = i as f64 / parts as f64;
            Point::new(p.x_mm + share * (q.x_mm - p.x_mm), p.y_mm + share * (q.y_mm - p.y_mm))
        }));
    }
    points
}
