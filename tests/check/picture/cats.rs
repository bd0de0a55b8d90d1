//! Pictures of something else than a lens.

use std::f64::consts::TAU;

use image::{Rgb, RgbImage};

use super::render::Dice;

type Draw = fn(&mut Dice) -> RgbImage;

/// Every kind, with its name.
pub const KINDS: [(&str, Draw); 10] = [
    ("noise", noise),
    ("clouds", clouds),
    ("blobs", blobs),
    ("gradient", gradient),
    ("text", text),
    ("face", face),
    ("cat", cat),
    ("stripes", stripes),
    ("note", note),
    ("nothing", nothing),
];

const SIZE: (u32, u32) = (700, 680);

fn drawn(mut level: impl FnMut(f64, f64) -> f64) -> RgbImage {
    RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
        let value = level(f64::from(x) + 0.5, f64::from(y) + 0.5).clamp(0.0, 255.0) as u8;
        Rgb([value; 3])
    })
}

fn noise(dice: &mut Dice) -> RgbImage {
    let spread = dice.between(20.0, 90.0);
    drawn(|_, _| 128.0 + spread * dice.normal())
}

/// A sum of waves in random directions: soft everywhere.
fn waves(dice: &mut Dice, longest_px: f64) -> impl Fn(f64, f64) -> f64 + use<> {
    let waves: Vec<[f64; 4]> = (0..24)
        .map(|_| {
            let (length, angle) = (longest_px * dice.between(0.3, 1.0), dice.between(0.0, TAU));
            [angle.cos() / length * TAU, angle.sin() / length * TAU, dice.between(0.0, TAU), dice.between(0.3, 1.0)]
        })
        .collect();
    move |x, y| waves.iter().map(|[u, v, phase, size]| size * (u * x + v * y + phase).sin()).sum::<f64>() / 3.0
}

fn clouds(dice: &mut Dice) -> RgbImage {
    let waves = waves(dice, 500.0);
    drawn(|x, y| 128.0 + 60.0 * waves(x, y) + 2.0 * dice.normal())
}

fn blobs(dice: &mut Dice) -> RgbImage {
    let waves = waves(dice, 700.0);
    drawn(|x, y| if waves(x, y) > 0.35 { 60.0 } else { 220.0 } + 3.0 * dice.normal())
}

fn gradient(dice: &mut Dice) -> RgbImage {
    let (u, v) = (dice.between(-0.3, 0.3), dice.between(-0.3, 0.3));
    let round = dice.between(0.0, 0.0006);
    drawn(|x, y| 150.0 + u * (x - 350.0) + v * (y - 340.0) - round * ((x - 350.0).powi(2) + (y - 340.0).powi(2)))
}

fn text(dice: &mut Dice) -> RgbImage {
    let strokes: Vec<[f64; 4]> = (0..900)
        .map(|i| {
            let (column, line) = (f64::from(i % 45), f64::from(i / 45));
            let (x, y) = (30.0 + 17.0 * column, 30.0 + 36.0 * line);
            [x, y + 20.0 * dice.unit(), x + 12.0 * dice.unit(), y + 22.0 * dice.unit()]
        })
        .collect();
    let mut page = drawn(|_, _| 245.0);
    for [a, b, c, d] in strokes {
        for y in (b.min(d) - 2.0) as u32..(b.max(d) + 2.0) as u32 {
            for x in (a.min(c) - 2.0) as u32..(a.max(c) + 2.0) as u32 {
                if x < SIZE.0 && y < SIZE.1 {
                    page.put_pixel(x, y, Rgb([30; 3]));
                }
            }
        }
    }
    page
}

fn disc(x: f64, y: f64, at: (f64, f64), radii: (f64, f64)) -> f64 {
    ((x - at.0) / radii.0).hypot((y - at.1) / radii.1)
}

/// A round head with eyes, a nose and a mouth, drawn as lines or filled.
fn face(dice: &mut Dice) -> RgbImage {
    let head = dice.between(220.0, 290.0);
    let eye = dice.between(0.1, 0.16) * head;
    let is_filled = dice.unit() < 0.5;
    drawn(|x, y| {
        let (x, y) = (x - 350.0, y - 340.0);
        let edge = disc(x, y, (0.0, 0.0), (head, head * 1.1));
        let is_eye = disc(x.abs(), y, (0.38 * head, -0.25 * head), (eye, eye)) < 1.0;
        let mouth = disc(x, y, (0.0, 0.2 * head), (0.5 * head, 0.35 * head));
        let is_mouth = y > 0.25 * head && (mouth - 1.0).abs() < 0.06;
        let is_nose = x.abs() < 6.0 && y.abs() < 0.14 * head;
        match edge {
            e if e > 1.0 => 240.0,
            e if e > 0.97 => 40.0,
            _ if is_eye || is_mouth || is_nose => 30.0,
            _ if is_filled => 170.0,
            _ => 240.0,
        }
    })
}

/// A head with two pointed ears, eyes and whiskers.
fn cat(dice: &mut Dice) -> RgbImage {
    let head = dice.between(170.0, 210.0);
    let fur = dice.between(60.0, 150.0);
    let textured = waves(dice, 30.0);
    drawn(|x, y| {
        let (x, y) = (x - 350.0, y - 350.0);
        let is_head = disc(x, y, (0.0, 0.0), (head * 1.1, head)) < 1.0;
        let ear_x = (x.abs() - 0.7 * head).abs();
        let is_ear = y < -0.4 * head && y > -1.35 * head && ear_x < (y + 1.35 * head) * 0.35;
        let is_eye = disc(x.abs(), y, (0.4 * head, -0.1 * head), (0.16 * head, 0.1 * head)) < 1.0;
        let is_whisker = x.abs() > 0.3 * head && x.abs() < 1.5 * head && (y - 0.3 * head - 0.1 * x.abs()).abs() < 2.0;
        match (is_eye, is_whisker, is_head || is_ear) {
            (true, _, _) => 230.0,
            (_, true, _) => 20.0,
            (_, _, true) => fur + 25.0 * textured(x, y),
            _ => 225.0,
        }
    })
}

fn stripes(dice: &mut Dice) -> RgbImage {
    let wide = dice.between(20.0, 90.0);
    let angle = dice.between(0.0, 3.0);
    drawn(|x, y| if ((x * angle.cos() + y * angle.sin()) / wide).sin() > 0.0 { 50.0 } else { 210.0 })
}

/// A square note of paper.
fn note(dice: &mut Dice) -> RgbImage {
    let half = dice.between(180.0, 230.0);
    let (sin, cos) = dice.between(0.0, 1.5).sin_cos();
    drawn(|x, y| {
        let (x, y) = (x - 350.0, y - 340.0);
        let is_note = (x * cos + y * sin).abs() < half && (y * cos - x * sin).abs() < half * 0.8;
        if is_note { 90.0 } else { 230.0 }
    })
}

fn nothing(dice: &mut Dice) -> RgbImage {
    let level = dice.between(5.0, 250.0);
    drawn(|_, _| level + dice.normal())
}
