//! The distance from any point to an outline, found without looking at every side.

use super::outline::{Outline, Point, extent};

/// The width of a cell of the grid, mm: a few sides of a usual trace.
const CELL_MM: f64 = 2.0;

/// The sides of an outline, sorted into the cells of a grid.
#[derive(Debug)]
pub struct Nearest {
    low: Point,
    columns: usize,
    rows: usize,
    cells: Vec<Vec<Side>>,
}

impl Nearest {
    /// Sorts the sides of an outline.
    pub fn of(outline: &Outline) -> Self {
        let (low, high) = extent(outline.points());
        let cells = |from: f64, to: f64| ((to - from) / CELL_MM).floor() as usize + 1;
        let (columns, rows) = (cells(low.x_mm, high.x_mm), cells(low.y_mm, high.y_mm));
        let mut grid = Self { low, columns, rows, cells: vec![Vec::new(); columns * rows] };
        for (from, to) in outline.edges() {
            let ((left, bottom), (right, top)) = (grid.cell(from), grid.cell(to));
            for row in bottom.min(top)..=bottom.max(top) {
                for column in left.min(right)..=left.max(right) {
                    grid.cells[row * columns + column].push(Side::of(from, to));
                }
            }
        }
        grid
    }

    /// The distance from a point to the nearest side.
    pub fn distance_mm(&self, point: Point) -> f64 {
        let (column, row) = self.cell(point);
        let beside_mm = self.outside_mm(point);
        let mut best_mm2 = f64::INFINITY;
        for ring in 0..self.columns.max(self.rows) {
            for side in self.ring(column, row, ring) {
                best_mm2 = best_mm2.min(side.distance_mm2(point));
            }
            // Every side in a farther ring is at least this far from the cell of the point.
            if best_mm2.sqrt() + beside_mm <= ring as f64 * CELL_MM {
                break;
            }
        }
        best_mm2.sqrt()
    }

    /// The cell of a point; of one outside the grid, the nearest.
    fn cell(&self, point: Point) -> (usize, usize) {
        let at = |from_low_mm: f64, count: usize| ((from_low_mm / CELL_MM).max(0.0) as usize).min(count - 1);
        let from = point.minus(self.low);
        (at(from.x_mm, self.columns), at(from.y_mm, self.rows))
    }

    /// How far a point is beyond the grid.
    fn outside_mm(&self, point: Point) -> f64 {
        let from = point.minus(self.low);
        let beyond = |mm: f64, count: usize| (-mm).max(mm - count as f64 * CELL_MM).max(0.0);
        beyond(from.x_mm, self.columns).hypot(beyond(from.y_mm, self.rows))
    }

    /// The sides in the cells that are this many cells away.
    fn ring(&self, column: usize, row: usize, ring: usize) -> impl Iterator<Item = &Side> {
        let rows = row.saturating_sub(ring)..=(row + ring).min(self.rows - 1);
        rows.flat_map(move |r| {
            let columns = column.saturating_sub(ring)..=(column + ring).min(self.columns - 1);
            let is_on_ring = move |c: &usize| r.abs_diff(row).max(c.abs_diff(column)) == ring;
            columns.filter(is_on_ring).flat_map(move |c| self.cells[r * self.columns + c].iter())
        })
    }
}

/// A side of an outline.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Side {
    from: Point,
    along: Point,
    length_mm2: f64,
}

impl Side {
    pub(crate) fn of(from: Point, to: Point) -> Self {
        let along = to.minus(from);
        Self { from, along, length_mm2: along.dot(along) }
    }

    /// The nearest point of the side.
    fn foot(&self, point: Point) -> Point {
        let to_point = point.minus(self.from);
        let share =
            if self.length_mm2 > 0.0 { (self.along.dot(to_point) / self.length_mm2).clamp(0.0, 1.0) } else { 0.0 };
        self.from.plus(self.along.times(share))
    }

    /// The square of the distance from a point to the nearest point of the side.
    pub(crate) fn distance_mm2(&self, point: Point) -> f64 {
        let off = point.minus(self.foot(point));
        off.dot(off)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_same_as_looking_at_every_side(
            radii in prop::collection::vec(8.0..45.0_f64, 8..300), x in -60.0..60.0_f64, y in -60.0..60.0_f64,
        ) {
            let outline = Outline::from_radii_mm(&radii).unwrap();
            let point = Point::new(x, y);
            let all = outline.edges().map(|(p, q)| Side::of(p, q).distance_mm2(point)).fold(f64::INFINITY, f64::min).sqrt();
            prop_assert!((Nearest::of(&outline).distance_mm(point) - all).abs() < 1e-9);
        }
    }
}
