//! A picture as brightness, and a smaller one of averages.

/// Brightness of each pixel, 0 to 255, row by row from the top left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gray {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) values: Vec<u8>,
}

/// A place in a picture: x to the right, y down, from the top left corner of the first pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pixel {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
}

impl Pixel {
    /// A place from its two coordinates.
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// How far another place is away.
    pub(super) fn away_px(self, other: Pixel) -> f64 {
        (other.x - self.x).hypot(other.y - self.y)
    }
}

impl Gray {
    fn at(&self, x: isize, y: isize) -> f32 {
        let x = x.clamp(0, self.width as isize - 1) as usize;
        let y = y.clamp(0, self.height as isize - 1) as usize;
        f32::from(self.values[y * self.width + x])
    }

    /// The brightness at a place, linear between the centers of the pixels.
    pub(super) fn sample(&self, place: Pixel) -> f32 {
        let (x, y) = (place.x - 0.5, place.y - 0.5);
        let (left, top) = (x.floor(), y.floor());
        let (right_share, low_share) = ((x - left) as f32, (y - top) as f32);
        let (left, top) = (left as isize, top as isize);
        let row = |y| self.at(left, y) * (1.0 - right_share) + self.at(left + 1, y) * right_share;
        row(top) * (1.0 - low_share) + row(top + 1) * low_share
    }

    /// Whether a place is at least `margin` pixels inside.
    pub(super) fn holds(&self, place: Pixel, margin: f64) -> bool {
        let inside = |at: f64, size: usize| at >= margin && at <= size as f64 - margin;
        inside(place.x, self.width) && inside(place.y, self.height)
    }

    /// Averages of squares of `factor` pixels. A rest at the right and at the bottom is left out.
    pub(super) fn shrunk(&self, factor: usize) -> Map {
        let (width, height) = (self.width / factor, self.height / factor);
        let mut sums = vec![0_u32; width * height];
        for (row, sums) in sums.chunks_exact_mut(width.max(1)).enumerate() {
            for line in 0..factor {
                let start = (row * factor + line) * self.width;
                let pixels = &self.values[start..start + width * factor];
                for (sum, square) in sums.iter_mut().zip(pixels.chunks_exact(factor)) {
                    *sum += square.iter().map(|&value| u32::from(value)).sum::<u32>();
                }
            }
        }
        let share = 1.0 / (factor * factor) as f32;
        Map { width, height, values: sums.into_iter().map(|sum| sum as f32 * share).collect() }
    }
}

/// A number for each pixel.
#[derive(Debug, Clone)]
pub(super) struct Map {
    pub width: usize,
    pub height: usize,
    pub values: Vec<f32>,
}

impl Map {
    /// The size of the gradient after a little smoothing (binomial, 3 by 3), levels for each pixel.
    pub fn gradient(&self) -> Map {
        let smooth = self.smoothed();
        let mut values = vec![0.0; self.values.len()];
        for y in 1..self.height.saturating_sub(1) {
            for x in 1..self.width - 1 {
                let at = y * self.width + x;
                let across = smooth.values[at + 1] - smooth.values[at - 1];
                let down = smooth.values[at + self.width] - smooth.values[at - self.width];
                values[at] = across.hypot(down) / 2.0;
            }
        }
        Map { values, ..*self }
    }

    fn smoothed(&self) -> Map {
        let (width, height) = (self.width, self.height);
        let mut rows = self.values.clone();
        for (smooth, row) in rows.chunks_exact_mut(width).zip(self.values.chunks_exact(width)) {
            for x in 1..width.saturating_sub(1) {
                smooth[x] = (row[x - 1] + 2.0 * row[x] + row[x + 1]) / 4.0;
            }
        }
        let mut values = rows.clone();
        for at in width..width * height.saturating_sub(1) {
            values[at] = (rows[at - width] + 2.0 * rows[at] + rows[at + width]) / 4.0;
        }
        Map { values, ..*self }
    }
}
