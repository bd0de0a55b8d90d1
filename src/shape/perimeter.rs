//! Places along an outline, by their length from its first point.

use super::outline::{Outline, Point};

/// An outline to walk along.
#[derive(Debug, Clone)]
pub struct Perimeter<'a> {
    points: &'a [Point],
    /// The length from the first point to each point, and at the end the whole.
    lengths_mm: Vec<f64>,
}

impl<'a> Perimeter<'a> {
    /// The perimeter of an outline.
    pub fn of(outline: &'a Outline) -> Self {
        let mut sum_mm = 0.0;
        let mut lengths_mm = vec![0.0];
        for (p, q) in outline.edges() {
            sum_mm += q.minus(p).length_mm();
            lengths_mm.push(sum_mm);
        }
        Self { points: outline.points(), lengths_mm }
    }

    /// The whole length.
    pub fn length_mm(&self) -> f64 {
        self.lengths_mm.last().copied().unwrap_or(0.0)
    }

    /// The point this far along; before the start and beyond the end it goes on around.
    pub fn at(&self, place_mm: f64) -> Point {
        let place_mm = place_mm.rem_euclid(self.length_mm());
        let count = self.points.len();
        let index = self.lengths_mm.partition_point(|&length| length <= place_mm).saturating_sub(1).min(count - 1);
        let (from, to) = (self.points[index], self.points[(index + 1) % count]);
        let side_mm = self.lengths_mm[index + 1] - self.lengths_mm[index];
        let share = if side_mm > 0.0 { (place_mm - self.lengths_mm[index]) / side_mm } else { 0.0 };
        from.plus(to.minus(from).times(share))
    }

    /// The length from the first point to a point of the outline.
    pub fn length_to_mm(&self, index: usize) -> f64 {
        self.lengths_mm[index]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn walks_around() {
        // A square of 40: 160 mm around, from the middle of the right side.
        let square = [
            (20.0, 0.0),
            (20.0, 20.0),
            (0.0, 20.0),
            (-20.0, 20.0),
            (-20.0, 0.0),
            (-20.0, -20.0),
            (0.0, -20.0),
            (20.0, -20.0),
        ];
        let outline = Outline::from_points(square.map(|(x, y)| Point::new(x, y)).to_vec()).unwrap();
        let around = Perimeter::of(&outline);
        assert!((around.length_mm() - 160.0).abs() < 1e-12);
        for (place_mm, x, y) in
            [(0.0, 20.0, 0.0), (5.0, 20.0, 5.0), (30.0, 10.0, 20.0), (-5.0, 20.0, -5.0), (165.0, 20.0, 5.0)]
        {
            assert!(around.at(place_mm).minus(Point::new(x, y)).length_mm() < 1e-9, "{place_mm}");
        }
        assert!((around.length_to_mm(2) - 40.0).abs() < 1e-12);
    }
}
