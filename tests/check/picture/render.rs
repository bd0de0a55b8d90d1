//! Draws pictures of lenses whose outline is known: a scan, or a photo with a card. Everything comes from a seed.

use std::f64::consts::TAU;
use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::{ImageFormat, RgbImage};

/// A small generator (xorshift64*), so that a seed draws the same picture on every machine.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    /// Evenly from 0 to 1.
    pub fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Normal with a spread of 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.unit().max(1e-12).ln()).sqrt();
        radius * (TAU * self.unit()).cos()
    }
}

/// An outline in polar form about its own middle, mm: a rounded shape with some waves, turned by an angle.
#[derive(Debug, Clone)]
pub struct Truth {
    half_wide: f64,
    half_high: f64,
    power: f64,
    waves: Vec<(f64, f64, f64)>,
    turned: f64,
    pub middle: (f64, f64),
}

impl Truth {
    /// A lens of a usual size and shape at a place.
    pub fn any(dice: &mut Dice, middle: (f64, f64)) -> Self {
        let half_wide = dice.between(22.0, 28.5);
        let half_high = half_wide * dice.between(0.62, 0.98);
        let waves = [1.0, 2.0, 3.0, 4.0, 5.0]
            .map(|times| (times, dice.between(0.0, TAU), half_high * dice.between(0.0, 0.06) / times / times.sqrt()));
        let (power, turned) = (dice.between(2.0, 3.4), dice.between(0.0, TAU));
        Self { half_wide, half_high, power, waves: waves.to_vec(), turned, middle }
    }

    pub fn radius(&self, angle: f64) -> f64 {
        let angle = angle - self.turned;
        let (sin, cos) = angle.sin_cos();
        let sum = (cos / self.half_wide).abs().powf(self.power) + (sin / self.half_high).abs().powf(self.power);
        let waves: f64 = self.waves.iter().map(|(times, phase, size)| size * (times * angle + phase).cos()).sum();
        sum.powf(-1.0 / self.power) + waves
    }

    pub fn point(&self, angle: f64) -> (f64, f64) {
        let radius = self.radius(angle);
        (self.middle.0 + radius * angle.cos(), self.middle.1 + radius * angle.sin())
    }

    /// The distance from the outline, positive outside; exact on it, nearly so close to it.
    pub fn distance(&self, x: f64, y: f64) -> f64 {
        let (dx, dy) = (x - self.middle.0, y - self.middle.1);
        let (radius, angle) = (dx.hypot(dy), dy.atan2(dx));
        let here = self.radius(angle);
        let away = radius - here;
        if away.abs() > 8.0 {
            return away;
        }
        let slope = (self.radius(angle + 1e-4) - self.radius(angle - 1e-4)) / 2e-4;
        away / (1.0 + (slope / here).powi(2)).sqrt()
    }
}

/// Radii in a table, since a picture asks for millions of them: within 0.00001 mm of [`Truth::distance`].
#[derive(Debug, Clone)]
struct Table {
    radii: Vec<f64>,
    middle: (f64, f64),
}

impl Table {
    const COUNT: usize = 8192;

    fn of(truth: &Truth) -> Self {
        let angle = |i: usize| i as f64 / Self::COUNT as f64 * TAU;
        Self { radii: (0..Self::COUNT).map(|i| truth.radius(angle(i))).collect(), middle: truth.middle }
    }

    /// The distance from the outline, positive outside.
    fn distance(&self, x: f64, y: f64) -> f64 {
        let (dx, dy) = (x - self.middle.0, y - self.middle.1);
        let at = (dy.atan2(dx) / TAU).rem_euclid(1.0) * Self::COUNT as f64;
        let low = at as usize % Self::COUNT;
        let (here, next) = (self.radii[low], self.radii[(low + 1) % Self::COUNT]);
        let radius = here + (at - at.floor()) * (next - here);
        let away = (dx * dx + dy * dy).sqrt() - radius;
        if away.abs() > 8.0 {
            return away;
        }
        let slope = (next - here) / TAU * Self::COUNT as f64;
        away / (1.0 + (slope / radius) * (slope / radius)).sqrt()
    }
}

/// How a lens looks.
#[derive(Debug, Clone)]
pub struct Look {
    /// What it lets through, by color.
    pub tint: [f64; 3],
    /// How wide the dark line of its edge is, mm.
    pub ring_mm: f64,
    /// What the dark line lets through.
    pub ring: f64,
    /// How much wider it is on one side than on the other, as a part of its width.
    pub ring_change: f64,
    /// A second dark line, farther inside: from where on and how wide, mm, and what it lets through.
    pub inner: Option<(f64, f64, f64)>,
}

impl Look {
    /// A dark line of one width.
    pub fn new(tint: [f64; 3], ring_mm: f64, ring: f64) -> Self {
        Self { tint, ring_mm, ring, ring_change: 0.0, inner: None }
    }

    /// How wide the dark line is in a direction, mm.
    fn ring_at_mm(&self, angle: f64) -> f64 {
        self.ring_mm * (1.0 + self.ring_change * (angle - 1.0).cos())
    }

    /// How far inside its lines reach, mm.
    fn lines_mm(&self) -> f64 {
        let inner_mm = self.inner.map_or(0.0, |(from_mm, wide_mm, _)| from_mm + wide_mm);
        inner_mm.max(self.ring_mm * (1.0 + self.ring_change))
    }
}

/// A speck or a fiber.
#[derive(Debug, Clone)]
struct Dust {
    from: (f64, f64),
    to: (f64, f64),
    long_mm: f64,
    half_mm: f64,
    through: f64,
}

/// What lies on the glass or on the table, x and y up in mm.
#[derive(Debug, Clone)]
pub struct Scene {
    pub lens: Truth,
    table: Table,
    pub look: Look,
    /// An empty rim around the outline in place of the lens: its dark line lies outside.
    pub is_rim: bool,
    /// A card: its middle, how it is turned, its brightness.
    pub card: Option<((f64, f64), f64, f64)>,
    pub paper: [f64; 3],
    /// A lamp mirrored in the lens: its middle and its spread, mm.
    pub lamp: Option<((f64, f64), f64)>,
    /// A bright line along the bevel, 0.8 mm from the edge, between two directions in radians.
    pub glint: Option<(f64, f64)>,
    light: (f64, f64, f64),
    /// A soft shadow beside the lens: how far across and up, mm, and how deep.
    pub shadow: (f64, f64, f64),
    dust: Vec<Dust>,
}

impl Scene {
    pub fn new(lens: Truth, look: Look) -> Self {
        let shadow = (0.0, 0.0, 0.0);
        let light = (0.0, 0.0, 0.0);
        Self {
            table: Table::of(&lens),
            lens,
            look,
            is_rim: false,
            card: None,
            paper: [0.94; 3],
            lamp: None,
            glint: None,
            light,
            shadow,
            dust: Vec::new(),
        }
    }

    /// Light that falls off across the picture, and a soft shadow beside the lens.
    pub fn uneven(mut self, dice: &mut Dice, reach_mm: f64) -> Self {
        let fall = |dice: &mut Dice| dice.between(-0.12, 0.12) / reach_mm;
        self.light = (fall(dice), fall(dice), dice.between(-0.08, 0.0) / reach_mm / reach_mm);
        let direction = dice.between(0.0, TAU);
        let far = dice.between(0.2, 0.8);
        self.shadow = (far * direction.cos(), far * direction.sin(), dice.between(0.05, 0.2));
        self
    }

    /// Specks and fibers anywhere, some on the edge of the lens.
    pub fn dusty(mut self, dice: &mut Dice, specks: usize) -> Self {
        for index in 0..specks {
            let angle = dice.between(0.0, TAU);
            let (edge_x, edge_y) = self.lens.point(angle);
            let is_near = index % 4 == 0;
            let spread = if is_near { 0.3 } else { 14.0 };
            let from = (edge_x + spread * dice.normal(), edge_y + spread * dice.normal());
            let (half_mm, long_mm) = if index % 9 == 8 {
                (0.03, dice.between(1.0, 4.0))
            } else {
                (dice.between(0.04, 0.14), dice.between(0.0, 0.1))
            };
            let turned = dice.between(0.0, TAU);
            let to = (from.0 + long_mm * turned.cos(), from.1 + long_mm * turned.sin());
            self.dust.push(Dust { from, to, long_mm, half_mm, through: dice.between(0.3, 0.8) });
        }
        self
    }

    /// Round specks on the edge in these directions, radians.
    pub fn dusty_at(mut self, angles: &[f64], half_mm: f64, through: f64) -> Self {
        let speck = |at: (f64, f64)| Dust { from: at, to: at, long_mm: 0.0, half_mm, through };
        self.dust.extend(angles.iter().map(|angle| speck(self.lens.point(*angle))));
        self
    }

    /// The color at a place so far from the outline, 0 to 1.
    fn color(&self, x: f64, y: f64, away: f64) -> [f64; 3] {
        let (dx, dy) = (x - self.lens.middle.0, y - self.lens.middle.1);
        let light = 1.0 + self.light.0 * dx + self.light.1 * dy + self.light.2 * (dx * dx + dy * dy);
        let mut color = self.paper.map(|c| c * light);
        if let Some((middle, turned, brightness)) = self.card
            && card_distance(x - middle.0, y - middle.1, turned) < 0.0
        {
            color = [brightness * light; 3];
        }
        let shaded = || {
            let far = self.table.distance(x - self.shadow.0, y - self.shadow.1);
            [1.0 - self.shadow.2 * soft(-far / 0.9); 3]
        };
        let through = if self.is_rim {
            if (0.0..self.look.ring_mm).contains(&away) { [self.look.ring; 3] } else { shaded() }
        } else if away > 0.0 {
            shaded()
        } else if -away < self.look.ring_at_mm(dy.atan2(dx)) {
            self.look.tint.map(|c| c * self.look.ring)
        } else if let Some((from_mm, wide_mm, through)) = self.look.inner
            && (from_mm..from_mm + wide_mm).contains(&-away)
        {
            self.look.tint.map(|c| c * through)
        } else {
            self.look.tint
        };
        let dust: f64 = self.dust.iter().filter(|dust| dust.is_within(0.0, x, y)).map(|dust| dust.through).product();
        let mirrored = if away < 0.0 { self.mirrored(x, y, away) } else { 0.0 };
        [0, 1, 2].map(|i| color[i] * through[i] * dust + mirrored)
    }

    fn has_other_lines(&self) -> bool {
        self.look.inner.is_some() || self.look.ring_change != 0.0
    }

    /// The light that the lens throws back.
    fn mirrored(&self, x: f64, y: f64, away: f64) -> f64 {
        let bell = |mm: f64, spread: f64| (-(mm / spread).powi(2) / 2.0).exp();
        let lamp = self.lamp.map_or(0.0, |((at_x, at_y), spread)| 0.6 * bell((x - at_x).hypot(y - at_y), spread));
        let angle = (y - self.lens.middle.1).atan2(x - self.lens.middle.0);
        let glint = self.glint.filter(|(from, to)| (*from..*to).contains(&angle));
        lamp + glint.map_or(0.0, |_| 0.5 * bell(away + 0.8, 0.1))
    }

    /// Whether the color changes slowly within `near` mm of a place so far from the outline.
    fn is_plain(&self, x: f64, y: f64, away: f64, near: f64) -> bool {
        let card = self.card.map_or(9.0, |(m, turned, _)| card_distance(x - m.0, y - m.1, turned));
        away.abs() > near
            && !(self.glint.is_some() && (-1.5 - near..0.0).contains(&away))
            && (away.abs() - self.look.ring_mm).abs() > near
            && !(self.has_other_lines() && (-self.look.lines_mm() - near..near).contains(&away))
            && card.abs() > near
            && self.lamp.is_none_or(|((at_x, at_y), spread)| (x - at_x).hypot(y - at_y) > 4.0 * spread)
            && !self.dust.iter().any(|dust| dust.is_within(near, x, y))
    }
}

impl Dust {
    fn away(&self, x: f64, y: f64) -> f64 {
        let along = (self.to.0 - self.from.0, self.to.1 - self.from.1);
        let length = along.0 * along.0 + along.1 * along.1;
        let share = (((x - self.from.0) * along.0 + (y - self.from.1) * along.1) / length.max(1e-9)).clamp(0.0, 1.0);
        (x - self.from.0 - share * along.0).hypot(y - self.from.1 - share * along.1)
    }

    /// Whether it is nearer than `mm`. Most specks are far away from a place.
    fn is_within(&self, mm: f64, x: f64, y: f64) -> bool {
        let reach = self.long_mm + self.half_mm + mm;
        (x - self.from.0).abs() < reach && (y - self.from.1).abs() < reach && self.away(x, y) < self.half_mm + mm
    }
}

fn soft(x: f64) -> f64 {
    1.0 / (1.0 + (-1.7 * x).exp())
}

/// The distance from the border of an ID-1 card (85.60 by 53.98 mm, corners of 3.18 mm), negative inside.
fn card_distance(dx: f64, dy: f64, turned: f64) -> f64 {
    let (sin, cos) = turned.sin_cos();
    let (x, y) = ((dx * cos + dy * sin).abs(), (dy * cos - dx * sin).abs());
    let (out_x, out_y) = (x - 42.8 + 3.18, y - 26.99 + 3.18);
    out_x.max(0.0).hypot(out_y.max(0.0)) + out_x.max(out_y).min(0.0) - 3.18
}

/// How the picture is taken.
pub struct Camera {
    pub width: usize,
    pub height: usize,
    /// The place in mm seen at a pixel.
    to_mm: Box<dyn Fn(f64, f64) -> (f64, f64)>,
    pitch_mm: f64,
}

impl Camera {
    /// A flat-bed scanner; its glass begins at the origin and goes down.
    pub fn scanner(dpi: f64, wide_mm: f64, high_mm: f64) -> Self {
        let pitch_mm = 25.4 / dpi;
        Self {
            width: (wide_mm / pitch_mm) as usize,
            height: (high_mm / pitch_mm) as usize,
            to_mm: Box::new(move |x, y| (x * pitch_mm, -y * pitch_mm)),
            pitch_mm,
        }
    }

    /// A pinhole camera `far_mm` away, looking at the origin of the table from a direction tilted by `tilt`, toward
    /// `toward`, and rolled.
    pub fn pinhole(size: (usize, usize), focal_px: f64, far_mm: f64, tilt: f64, toward: f64, roll: f64) -> Self {
        let look = (tilt.sin() * toward.cos(), tilt.sin() * toward.sin(), tilt.cos());
        let eye = (look.0 * far_mm, look.1 * far_mm, look.2 * far_mm);
        // Right: level and square to the line of sight, then rolled about it.
        let level = (-toward.sin(), toward.cos(), 0.0);
        let steep = cross(look, level);
        let (sin, cos) = (roll - toward - TAU / 4.0).sin_cos();
        let right = mix(level, steep, cos, sin);
        let up = cross(look, right);
        let (cx, cy) = (size.0 as f64 / 2.0, size.1 as f64 / 2.0);
        let to_mm = move |x: f64, y: f64| {
            let (a, b) = ((x - cx) / focal_px, (cy - y) / focal_px);
            let ray =
                (right.0 * a + up.0 * b - look.0, right.1 * a + up.1 * b - look.1, right.2 * a + up.2 * b - look.2);
            let far = -eye.2 / ray.2;
            (eye.0 + far * ray.0, eye.1 + far * ray.1)
        };
        Self { width: size.0, height: size.1, to_mm: Box::new(to_mm), pitch_mm: far_mm / focal_px }
    }

    /// The place in mm that is seen at a pixel.
    pub fn mm(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (self.to_mm)(x, y)
    }
}

fn cross(a: (f64, f64, f64), b: (f64, f64, f64)) -> (f64, f64, f64) {
    (a.1 * b.2 - a.2 * b.1, a.2 * b.0 - a.0 * b.2, a.0 * b.1 - a.1 * b.0)
}

fn mix(a: (f64, f64, f64), b: (f64, f64, f64), s: f64, t: f64) -> (f64, f64, f64) {
    (a.0 * s + b.0 * t, a.1 * s + b.1 * t, a.2 * s + b.2 * t)
}

/// What the camera adds.
#[derive(Debug, Clone, Copy)]
pub struct Flaws {
    pub blur_px: f64,
    pub noise: f64,
}

pub fn picture(scene: &Scene, camera: &Camera, flaws: Flaws, dice: &mut Dice) -> RgbImage {
    let (width, height) = (camera.width, camera.height);
    let mut color = vec![[0.0_f32; 3]; width * height];
    let mut is_plain = vec![true; width * height];
    for (index, value) in color.iter_mut().enumerate() {
        let (x, y) = ((index % width) as f64, (index / width) as f64);
        let (mid_x, mid_y) = (camera.to_mm)(x + 0.5, y + 0.5);
        let away = scene.table.distance(mid_x, mid_y);
        if scene.is_plain(mid_x, mid_y, away, camera.pitch_mm) {
            *value = scene.color(mid_x, mid_y, away).map(|part| part as f32);
            continue;
        }
        is_plain[index] = false;
        for part in 0..16 {
            let shift = |i: usize| (i as f64 + 0.5) / 4.0;
            let (at_x, at_y) = (camera.to_mm)(x + shift(part % 4), y + shift(part / 4));
            let part = scene.color(at_x, at_y, scene.table.distance(at_x, at_y));
            (0..3).for_each(|i| value[i] += part[i] as f32 / 16.0);
        }
    }
    let color = blurred(&color, &is_plain, width, flaws.blur_px);
    let mut picture = RgbImage::new(width as u32, height as u32);
    for (pixel, value) in picture.pixels_mut().zip(color) {
        let shared = dice.normal() * 0.7;
        for (byte, value) in pixel.0.iter_mut().zip(value) {
            let level = 255.0 * f64::from(value) + flaws.noise * (shared + 0.7 * dice.normal());
            *byte = level.round().clamp(0.0, 255.0) as u8;
        }
    }
    picture
}

/// A Gaussian across and down. Where all is plain within its reach, it changes nothing that counts and is left out.
fn blurred(color: &[[f32; 3]], is_plain: &[bool], width: usize, spread: f64) -> Vec<[f32; 3]> {
    let half = (spread * 3.0).ceil() as usize;
    let weights: Vec<f32> =
        (0..=2 * half).map(|i| (-((i as f64 - half as f64) / spread.max(1e-6)).powi(2) / 2.0).exp() as f32).collect();
    let total: f32 = weights.iter().sum();
    let height = color.len() / width;
    let mut is_touched = vec![false; color.len()];
    for index in (0..color.len()).filter(|index| !is_plain[*index]) {
        let (x, y) = (index % width, index / width);
        for row in y.saturating_sub(half)..=(y + half).min(height - 1) {
            is_touched[row * width + x.saturating_sub(half)..=row * width + (x + half).min(width - 1)].fill(true);
        }
    }
    let once = |color: &[[f32; 3]], stride: usize, limit: usize, place: fn(usize, usize) -> usize| {
        let mut smooth = color.to_vec();
        for index in (0..color.len()).filter(|index| is_touched[*index]) {
            let at = place(index, width);
            if at < half || at + half >= limit {
                continue;
            }
            let [mut red, mut green, mut blue] = [0.0; 3];
            let mut from = index - half * stride;
            for weight in &weights {
                let [r, g, b] = color[from];
                (red, green, blue) = (red + weight * r, green + weight * g, blue + weight * b);
                from += stride;
            }
            smooth[index] = [red / total, green / total, blue / total];
        }
        smooth
    };
    once(&once(color, 1, width, |index, width| index % width), width, height, |index, width| index / width)
}

pub fn png(picture: &RgbImage) -> Vec<u8> {
    let mut bytes = Vec::new();
    picture.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).unwrap();
    bytes
}

/// Every third as a JPEG, the others as PNG.
pub fn png_or_jpeg(picture: &RgbImage, seed: u64) -> Vec<u8> {
    if seed.is_multiple_of(3) { jpeg(picture, 80) } else { png(picture) }
}

pub fn jpeg(picture: &RgbImage, quality: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    picture.write_with_encoder(JpegEncoder::new_with_quality(&mut bytes, quality)).unwrap();
    bytes
}
