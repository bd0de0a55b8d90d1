//! The edge of one lens drawn for the screen: the outline by thickness, and the edge rolled out flat.
//!
//! Thickness is never told by color alone: a thicker band is a wider stroke, and the extremes are written out.

use std::fmt::Write;

use crate::bench::bevel_place::BevelChoice;
use crate::optics::Eye;
use crate::shape::bevel::LinePoint;
use crate::shape::boxing::Boxing;
use crate::shape::edge::{Edge, EdgePoint};
use crate::shape::outline::{Outline, Point};
use crate::shape::svg::{path_data, push_coordinates};

/// Where one band of thickness ends and the next begins, mm.
const BANDS_MM: [f64; 4] = [1.0, 2.0, 3.5, 5.0];

/// The bands in words: class in the style sheet and what it means.
pub const BAND_WORDS: [(&str, &str); 5] = [
    ("thick-1", "under 1 mm"),
    ("thick-2", "1 to 2"),
    ("thick-3", "2 to 3.5"),
    ("thick-4", "3.5 to 5"),
    ("thick-5", "5 mm and more"),
];

/// The outline in its bands.
#[derive(Debug, Clone)]
pub struct BandDrawing {
    /// For those who do not see it.
    pub label: String,
    /// The window.
    pub view_box: String,
    /// The lens.
    pub area: String,
    /// The bands: class and path.
    pub bands: Vec<(&'static str, String)>,
    /// The thinnest and the thickest place.
    pub marks: [DrawingMark; 2],
    /// The cross at the optical center.
    pub center: String,
    /// Where `nose` stands.
    pub nose: Word,
}

/// A marked place with its two lines of words.
#[derive(Debug, Clone)]
pub struct DrawingMark {
    /// Where.
    pub x: String,
    /// Where.
    pub y: String,
    /// The thickness and what it is.
    pub lines: [Word; 2],
}

/// Words in a drawing.
#[derive(Debug, Clone)]
pub struct Word {
    /// Where.
    pub x: String,
    /// Where.
    pub y: String,
    /// Which end stands there.
    pub anchor: &'static str,
    /// What they say.
    pub text: String,
}

fn word(x: f64, y: f64, anchor: &'static str, text: impl Into<String>) -> Word {
    Word { x: format!("{x:.2}"), y: format!("{y:.2}"), anchor, text: text.into() }
}

/// Room below the outline for a line of words, mm.
const LINE_MM: f64 = 3.0;
/// Room around the outline for the widest stroke, mm.
const ROOM_MM: f64 = 2.5;

impl BandDrawing {
    /// Draws an edge; both eyes share `half_mm`, half the side of the larger box, so that they are in one scale.
    pub fn of(eye: Eye, outline: &Outline, edge: &Edge, center: Point, half_mm: (f64, f64)) -> Self {
        let (half_x, half_y) = (half_mm.0 + ROOM_MM, half_mm.1 + ROOM_MM);
        let (thinnest, thickest) = (edge.thinnest(), edge.thickest());
        let name = if eye == Eye::Right { "Right" } else { "Left" };
        let nose_x = eye.nasal_sign() * (half_x - 0.5);
        Self {
            label: format!(
                "{name} eye seen from the front: thinnest {:.2} mm at {:.0}°, thickest {:.2} mm at {:.0}°",
                thinnest.mm, thinnest.deg, thickest.mm, thickest.deg
            ),
            view_box: format!("{:.2} {:.2} {:.2} {:.2}", -half_x, -half_y, 2.0 * half_x, 2.0 * half_y + LINE_MM),
            area: path_data(outline, Point::ORIGIN),
            bands: bands(edge.points()),
            marks: [mark(thinnest, "thinnest"), mark(thickest, "thickest")],
            center: format!(
                "M{:.2} {:.2}h4M{:.2} {:.2}v4",
                center.x_mm - 2.0,
                -center.y_mm,
                center.x_mm,
                -center.y_mm - 2.0
            ),
            nose: word(nose_x, half_y + LINE_MM - 1.2, if eye == Eye::Right { "end" } else { "start" }, "nose"),
        }
    }
}

fn mark(point: EdgePoint, what: &str) -> DrawingMark {
    let (x, y) = (point.at.x_mm, -point.at.y_mm);
    // The words stand inside the lens, on the side of the middle.
    let anchor = match x {
        x if x > 8.0 => "end",
        x if x < -8.0 => "start",
        _ => "middle",
    };
    let inward = |v: f64, by: f64| if v.abs() < by { 0.0 } else { v - by * v.signum() };
    let (words_x, words_y) = (if anchor == "middle" { x } else { inward(x, 3.0) }, inward(y, 4.5));
    let lines =
        [word(words_x, words_y + 0.4, anchor, format!("{:.2}", point.mm)), word(words_x, words_y + 3.4, anchor, what)];
    DrawingMark { x: format!("{x:.2}"), y: format!("{y:.2}"), lines }
}

fn band(mm: f64) -> usize {
    BANDS_MM.iter().filter(|&&limit| mm >= limit).count()
}

/// The sides of the outline, those of one band together, each side in the band of its mean thickness.
fn bands(points: &[EdgePoint]) -> Vec<(&'static str, String)> {
    let mut paths: [String; 5] = Default::default();
    let mut before = None;
    for (here, next) in points.iter().zip(points.iter().cycle().skip(1)) {
        let band = band((here.mm + next.mm) / 2.0);
        let path = &mut paths[band];
        if before != Some(band) {
            path.push('M');
            push_coordinates(path, here.at);
        }
        path.push('L');
        push_coordinates(path, next.at);
        before = Some(band);
    }
    BAND_WORDS.iter().zip(paths).filter(|(_, path)| !path.is_empty()).map(|((class, _), path)| (*class, path)).collect()
}

/// The edge rolled out flat: thickness downwards from the front, angle to the right.
#[derive(Debug, Clone)]
pub struct ProfileDrawing {
    /// For those who do not see it.
    pub label: String,
    /// The window.
    pub view_box: String,
    /// The edge from front to back.
    pub body: String,
    /// The bevel or groove; none on a drilled edge.
    pub line: Option<String>,
    /// The front.
    pub front: String,
    /// The lines of the scale.
    pub grid: String,
    /// The words of both scales.
    pub words: Vec<Word>,
}

/// The plot inside its window, in units of the drawing.
const LEFT: f64 = 8.0;
const TOP: f64 = 1.5;
const ACROSS: f64 = 144.0;
const DOWN: f64 = 24.0;
const BELOW: f64 = 5.0;

/// The scale both profiles of a pair share.
#[derive(Debug, Clone, Copy)]
pub struct ProfileScale {
    least_mm: f64,
    most_mm: f64,
}

impl ProfileScale {
    /// The scale for these edges: from the front, or above it where surfaces cross, to the thickest of all.
    pub fn of<'a>(edges: impl IntoIterator<Item = &'a Edge>) -> Self {
        let start = Self { least_mm: 0.0, most_mm: 2.0 };
        edges.into_iter().fold(start, |scale, edge| Self {
            least_mm: scale.least_mm.min(edge.thinnest().mm),
            most_mm: scale.most_mm.max(edge.thickest().mm),
        })
    }

    fn y(&self, mm: f64) -> f64 {
        TOP + (mm - self.least_mm) / (self.most_mm - self.least_mm) * DOWN
    }

    /// Whole millimeters, few enough to read.
    fn ticks(&self) -> impl Iterator<Item = i32> {
        let span = self.most_mm - self.least_mm;
        let step = if span > 16.0 {
            5
        } else if span > 5.0 {
            2
        } else {
            1
        };
        (0..=self.most_mm.floor() as i32).filter(move |mm| mm % step == 0)
    }
}

impl ProfileDrawing {
    /// Draws a line on its edge.
    pub fn of(eye: Eye, chosen: &BevelChoice, scale: ProfileScale) -> Self {
        let points = from_nought(&chosen.line.at);
        let x = |deg: f64| LEFT + deg / 360.0 * ACROSS;
        let run = |height: fn(&LinePoint) -> f64| {
            points.iter().fold(String::new(), |mut path, (deg, point)| {
                path.push(if path.is_empty() { 'M' } else { 'L' });
                let y = scale.y(height(point)).clamp(0.0, TOP + DOWN + 2.0);
                push_coordinates(&mut path, Point::new(x(*deg), -y));
                path
            })
        };
        let (front_y, end) = (scale.y(0.0), LEFT + ACROSS);
        let is_drilled = chosen.hold == crate::shape::bevel::Hold::Drilled;
        let mut words: Vec<Word> =
            scale.ticks().map(|mm| word(LEFT - 1.0, scale.y(f64::from(mm)) + 1.2, "end", mm.to_string())).collect();
        let (nought, half) = if eye == Eye::Right { ("nose", "temple") } else { ("temple", "nose") };
        for (deg, anchor, place) in [
            (0.0, "start", nought),
            (90.0, "middle", "top"),
            (180.0, "middle", half),
            (270.0, "middle", "bottom"),
            (360.0, "end", nought),
        ] {
            words.push(word(x(deg), TOP + DOWN + 4.2, anchor, format!("{deg:.0}° {place}")));
        }
        let mut grid = String::new();
        // Writing to a string cannot fail.
        for mm in scale.ticks().filter(|&mm| mm > 0) {
            let _ = write!(grid, "M{LEFT} {:.2}H{end}", scale.y(f64::from(mm)));
        }
        for deg in [90.0, 180.0, 270.0] {
            let _ = write!(grid, "M{:.2} {TOP}V{}", x(deg), TOP + DOWN);
        }
        let back = run(|point| point.edge.mm);
        Self {
            label: format!(
                "The {} edge rolled out: the front is the straight line, degrees run to the right, millimeters down",
                eye.name()
            ),
            view_box: format!("0 0 {} {}", LEFT + ACROSS + 1.0, TOP + DOWN + BELOW),
            body: format!("{back}L{end} {front_y:.2}L{LEFT} {front_y:.2}Z"),
            line: (!is_drilled).then(|| run(|point| point.from_front_mm)),
            front: format!("M{LEFT} {front_y:.2}H{end}"),
            grid,
            words,
        }
    }
}

/// The points in their order from the smallest angle, with neighbors beyond both ends so that the run is closed.
fn from_nought(points: &[LinePoint]) -> Vec<(f64, &LinePoint)> {
    let start = (0..points.len()).min_by(|&a, &b| points[a].edge.deg.total_cmp(&points[b].edge.deg)).unwrap_or(0);
    let mut run: Vec<(f64, &LinePoint)> =
        points[start..].iter().chain(&points[..start]).map(|point| (point.edge.deg, point)).collect();
    if let (Some(&first), Some(&last)) = (run.first(), run.last()) {
        // What lies between the last point and a full turn is drawn level with its nearer neighbor.
        run.insert(0, (0.0, last.1));
        run.push((360.0, first.1));
    }
    run
}

/// Half of the largest box, across and down.
pub fn half_of<'a>(boxes: impl IntoIterator<Item = &'a Boxing>) -> (f64, f64) {
    boxes.into_iter().fold((0.0, 0.0), |(x, y), b| (f64::max(x, b.a_mm / 2.0), f64::max(y, b.b_mm / 2.0)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(deg: f64, mm: f64) -> EdgePoint {
        EdgePoint { at: Point::polar(20.0, deg), deg, mm }
    }

    #[test]
    fn every_side_is_drawn_once_in_the_band_of_its_thickness() {
        assert_eq!([0.5, 1.0, 1.99, 2.0, 3.5, 5.0, -1.0].map(band), [0, 1, 1, 2, 3, 4, 0]);
        let points: Vec<EdgePoint> =
            (0..36).map(|i| point(f64::from(i) * 10.0, if i < 18 { 1.5 } else { 4.0 })).collect();
        let drawn = bands(&points);
        let sides: usize = drawn.iter().map(|(_, path)| path.matches('L').count()).sum();
        assert_eq!(sides, 36);
        assert_eq!(drawn.iter().map(|(class, _)| *class).collect::<Vec<_>>(), ["thick-2", "thick-3", "thick-4"]);
        // The two sides between thin and thick are 2.75 in the middle.
        assert_eq!(drawn[1].1.matches('L').count(), 2);
    }

    #[test]
    fn the_words_of_a_mark_stand_inside() {
        let mark = mark(point(180.0, 4.2), "thickest");
        assert_eq!((mark.x.as_str(), mark.lines[0].x.as_str(), mark.lines[0].anchor), ("-20.00", "-17.00", "start"));
        assert_eq!(mark.lines[0].text, "4.20");
    }
}
