//! The convex hull.

/// The corners of the convex hull of some points, counter-clockwise where y runs up, from the leftmost one (Andrew's
/// monotone chain). `at` gives the x and y of a point.
pub(crate) fn hull<P: Copy>(points: &[P], at: impl Fn(P) -> [f64; 2]) -> Vec<P> {
    let mut sorted: Vec<([f64; 2], P)> = points.iter().map(|&point| (at(point), point)).collect();
    sorted.sort_unstable_by(|([x, y], _), ([to_x, to_y], _)| x.total_cmp(to_x).then(y.total_cmp(to_y)));
    let mut hull: Vec<([f64; 2], P)> = Vec::with_capacity(points.len() + 1);
    let mut extend = |points: &mut dyn Iterator<Item = ([f64; 2], P)>| {
        let start = hull.len();
        for point in points {
            while hull.len() >= start + 2 && !turns_left(hull[hull.len() - 2].0, hull[hull.len() - 1].0, point.0) {
                hull.pop();
            }
            hull.push(point);
        }
        hull.pop();
    };
    extend(&mut sorted.iter().copied());
    extend(&mut sorted.iter().rev().copied());
    hull.into_iter().map(|(_, point)| point).collect()
}

fn turns_left([ax, ay]: [f64; 2], [bx, by]: [f64; 2], [cx, cy]: [f64; 2]) -> bool {
    (bx - ax) * (cy - by) - (by - ay) * (cx - bx) > 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_corners_are_left() {
        let points = [[0.0, 0.0], [4.0, 0.0], [2.0, 0.0], [4.0, 3.0], [1.0, 1.0], [0.0, 3.0]];
        assert_eq!(hull(&points, |point| point), [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]);
    }
}
