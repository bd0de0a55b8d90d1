//! Finds the things in a picture: what a closed line of steep brightness separates from the background.

use super::gray::{Gray, Map, Pixel};

/// Directions in which the border of a thing is looked for.
const DIRECTIONS: usize = 360;
/// Borders are looked for at so many steepnesses at most.
const MAX_LEVELS: usize = 9;
/// From one steepness to the next.
const LEVEL_STEP: f32 = 0.6;
/// A gradient below this many times that of the noise is no edge.
const OVER_NOISE: f32 = 4.0;
/// The least steepness of an edge, levels for each pixel of the small picture.
const LEAST_STEEP: f32 = 0.8;

/// The picture made small, and how steep it is.
pub(super) struct Terrain {
    /// Pixels of the picture for each of the small one.
    pub factor: usize,
    pub steep: Map,
}

/// Something that stands out.
#[derive(Debug, Clone)]
pub(super) struct Thing {
    /// Its border, clockwise as seen, in pixels of the picture.
    pub border: Vec<Pixel>,
    /// The middle of its area.
    pub middle: Pixel,
    /// Its area, square pixels of the picture.
    pub area_px: f64,
    /// Its area as a part of that of its convex hull: 1 has no hollow.
    pub fullness: f64,
    /// Whether it reaches the edge of the picture.
    pub is_cut_off: bool,
}

/// How large the things are that are looked for, pixels of the picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct SizeLimits {
    /// The least width and height.
    pub least_px: f64,
    /// A smooth area larger than this both ways is background.
    pub most_px: f64,
    /// What is narrower is cut off.
    pub hair_px: f64,
}

/// What is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    /// A thing with all that its border encloses.
    Body,
    /// A smooth area that is enclosed by edges: what a rim surrounds.
    Opening,
}

impl Terrain {
    pub fn of(gray: &Gray, factor: usize) -> Self {
        Self { factor, steep: gray.shrunk(factor).gradient() }
    }

    /// Steepnesses to look at, the highest first.
    pub fn levels(&self) -> Vec<f32> {
        let mut sorted: Vec<f32> = self.steep.values.clone();
        if sorted.is_empty() {
            return Vec::new();
        }
        let mut at = |share: f64| {
            let index = ((sorted.len() - 1) as f64 * share) as usize;
            *sorted.select_nth_unstable_by(index, f32::total_cmp).1
        };
        // The gradient of noise has a Rayleigh distribution, with its median at 1.18 times its spread.
        let noise = at(0.4) / 1.18;
        let highest = at(0.998) * 0.6;
        let lowest = (OVER_NOISE * noise).max(LEAST_STEEP);
        let mut levels: Vec<f32> = std::iter::successors(Some(highest), |level| Some(level * LEVEL_STEP))
            .take(MAX_LEVELS)
            .take_while(|level| *level > lowest)
            .collect();
        levels.push(lowest);
        levels
    }

    /// The things at one steepness.
    pub fn things(&self, level: f32, wanted: Wanted, sizes: SizeLimits) -> Vec<Thing> {
        let (width, height) = (self.steep.width, self.steep.height);
        let smooth: Vec<bool> = self.steep.values.iter().map(|steep| *steep < level).collect();
        let areas = AreaLabels::of(&smooth, width, height);
        let most = sizes.most_px / self.factor as f64;
        let is_background: Vec<bool> = areas.boxes.iter().map(|area| area.is_background(width, height, most)).collect();
        let is_thing = |at: usize| match (areas.label[at], wanted) {
            (0, Wanted::Body) => true,
            (0, Wanted::Opening) => false,
            (label, _) => !is_background[label as usize - 1],
        };
        let mask: Vec<bool> = (0..width * height).map(is_thing).collect();
        let opened = without_hairs(&mask, width, height, sizes.hair_px / self.factor as f64 / 2.0);
        let parts = AreaLabels::of(&opened, width, height);
        let least = sizes.least_px / self.factor as f64;
        let is_large = |area: &Extent| area.width() as f64 >= least && area.height() as f64 >= least;
        let large = parts.boxes.iter().enumerate().filter(|(_, area)| is_large(area));
        large.filter_map(|(index, area)| self.thing(&parts.label, index as u32 + 1, area)).collect()
    }

    fn thing(&self, labels: &[u32], label: u32, area: &Extent) -> Option<Thing> {
        let (width, height) = (self.steep.width, self.steep.height);
        let is_in = |x: usize, y: usize| labels[y * width + x] == label;
        let (mut count, mut sum_x, mut sum_y) = (0_usize, 0_usize, 0_usize);
        for y in area.top..=area.bottom {
            for x in (area.left..=area.right).filter(|&x| is_in(x, y)) {
                (count, sum_x, sum_y) = (count + 1, sum_x + x, sum_y + y);
            }
        }
        let (middle_x, middle_y) = (sum_x as f64 / count as f64 + 0.5, sum_y as f64 / count as f64 + 0.5);
        let reach = (area.width() + area.height()) as f64;
        let radius = |direction: usize| {
            let (sin, cos) = (direction as f64 / DIRECTIONS as f64 * std::f64::consts::TAU).sin_cos();
            let steps = (reach * 2.0) as usize;
            let last = (0..steps).rev().map(|step| step as f64 / 2.0).find(|step| {
                let (x, y) = (middle_x + step * cos, middle_y + step * sin);
                let is_inside = x >= 0.0 && y >= 0.0 && x < width as f64 && y < height as f64;
                is_inside && is_in(x as usize, y as usize)
            })?;
            Some((last, cos, sin))
        };
        let scale = self.factor as f64;
        let border: Option<Vec<Pixel>> = (0..DIRECTIONS)
            .map(|direction| {
                radius(direction)
                    .map(|(r, cos, sin)| Pixel::new((middle_x + r * cos) * scale, (middle_y + r * sin) * scale))
            })
            .collect();
        let border = border?;
        let area_px = count as f64 * scale * scale;
        Some(Thing {
            fullness: area_px / hull_area(&border).max(1.0),
            area_px,
            middle: Pixel::new(middle_x * scale, middle_y * scale),
            is_cut_off: area.touches_edge(width, height),
            border,
        })
    }
}

/// Where an area lies.
#[derive(Debug, Clone, Copy)]
struct Extent {
    left: usize,
    right: usize,
    top: usize,
    bottom: usize,
}

impl Extent {
    fn width(&self) -> usize {
        self.right - self.left + 1
    }

    fn height(&self) -> usize {
        self.bottom - self.top + 1
    }

    fn touches_edge(&self, width: usize, height: usize) -> bool {
        self.left <= 2 || self.top <= 2 || self.right + 3 >= width || self.bottom + 3 >= height
    }

    /// The area reaches the edge of the picture, or is larger than anything wanted: a scan may have a dark margin.
    fn is_background(&self, width: usize, height: usize, most: f64) -> bool {
        self.touches_edge(width, height) || (self.width() as f64 > most && self.height() as f64 > most)
    }
}

/// Connected areas (four neighbors), numbered from 1; 0 is outside of all.
struct AreaLabels {
    label: Vec<u32>,
    boxes: Vec<Extent>,
}

impl AreaLabels {
    fn of(mask: &[bool], width: usize, height: usize) -> Self {
        let mut label = vec![0_u32; mask.len()];
        let mut boxes = Vec::new();
        let mut open = Vec::new();
        for start in 0..mask.len() {
            if !mask[start] || label[start] != 0 {
                continue;
            }
            let number = boxes.len() as u32 + 1;
            let mut area = Extent { left: width, right: 0, top: height, bottom: 0 };
            label[start] = number;
            open.push(start);
            while let Some(at) = open.pop() {
                let (x, y) = (at % width, at / width);
                area.left = area.left.min(x);
                area.right = area.right.max(x);
                area.top = area.top.min(y);
                area.bottom = area.bottom.max(y);
                let mut visit = |next: usize| {
                    if mask[next] && label[next] == 0 {
                        label[next] = number;
                        open.push(next);
                    }
                };
                if x > 0 {
                    visit(at - 1);
                }
                if x + 1 < width {
                    visit(at + 1);
                }
                if y > 0 {
                    visit(at - width);
                }
                if y + 1 < height {
                    visit(at + width);
                }
            }
            boxes.push(area);
        }
        Self { label, boxes }
    }
}

/// The mask without parts narrower than twice `radius`.
fn without_hairs(mask: &[bool], width: usize, height: usize, radius: f64) -> Vec<bool> {
    let limit = (radius * 3.0).round() as u16;
    let core: Vec<bool> = distance(mask, width, height).into_iter().map(|d| d > limit).collect();
    let far: Vec<bool> = core.iter().map(|is_core| !is_core).collect();
    let near = distance(&far, width, height);
    near.into_iter().zip(mask).map(|(d, is_in)| *is_in && d <= limit + 1).collect()
}

/// Three times the distance of each pixel to the next one outside of the mask (chamfer 3-4). The edge of the picture
/// does not count.
fn distance(mask: &[bool], width: usize, height: usize) -> Vec<u16> {
    const FAR: u16 = u16::MAX - 8;
    let mut far: Vec<u16> = mask.iter().map(|is_in| if *is_in { FAR } else { 0 }).collect();
    for at in 0..far.len() {
        let (x, y) = (at % width, at / width);
        let mut best = far[at];
        if x > 0 {
            best = best.min(far[at - 1] + 3);
        }
        if y > 0 {
            best = best.min(far[at - width] + 3);
            if x > 0 {
                best = best.min(far[at - width - 1] + 4);
            }
            if x + 1 < width {
                best = best.min(far[at - width + 1] + 4);
            }
        }
        far[at] = best;
    }
    for at in (0..far.len()).rev() {
        let (x, y) = (at % width, at / width);
        let mut best = far[at];
        if x + 1 < width {
            best = best.min(far[at + 1] + 3);
        }
        if y + 1 < height {
            best = best.min(far[at + width] + 3);
            if x + 1 < width {
                best = best.min(far[at + width + 1] + 4);
            }
            if x > 0 {
                best = best.min(far[at + width - 1] + 4);
            }
        }
        far[at] = best;
    }
    far
}

/// The convex hull of places.
pub(super) fn hull(places: &[Pixel]) -> Vec<Pixel> {
    crate::shape::hull::hull(places, |place| [place.x, place.y])
}

fn hull_area(points: &[Pixel]) -> f64 {
    let hull = hull(points);
    let next = hull.iter().cycle().skip(1);
    hull.iter().zip(next).map(|(p, q)| p.x * q.y - p.y * q.x).sum::<f64>().abs() / 2.0
}
