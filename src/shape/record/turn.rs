//! Lists of a device whose first radius points elsewhere, or that run the other way round.

use super::assumption::{Assumptions, Direction, FirstRadius};

const FULL_TURN: i32 = 36_000;

/// From the angles of a device to those of the front view, counter-clockwise from the observer's right, and back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DeviceTurn {
    /// Where the device's 0° is, hundredths of a degree.
    start: i32,
    is_clockwise: bool,
}

impl DeviceTurn {
    pub(super) fn of(assumptions: &Assumptions) -> Self {
        let start = match assumptions.first_radius {
            FirstRadius::Right => 0,
            FirstRadius::Top => 9000,
            FirstRadius::Left => 18_000,
            FirstRadius::Bottom => 27_000,
        };
        Self { start, is_clockwise: assumptions.direction == Direction::Clockwise }
    }

    /// The way back.
    pub(super) fn inverse(self) -> Self {
        let start = if self.is_clockwise { self.start } else { (-self.start).rem_euclid(FULL_TURN) };
        Self { start, ..self }
    }

    /// A list with its angles, `None` where they are equal from 0°, in the other order.
    pub(super) fn list(self, values: Vec<i32>, angles: Option<Vec<i32>>) -> (Vec<i32>, Option<Vec<i32>>) {
        if self == (Self { start: 0, is_clockwise: false }) {
            return (values, angles);
        }
        let count = values.len();
        let is_whole_steps = (self.start as usize * count).is_multiple_of(FULL_TURN as usize);
        let equal = |index: usize| ((index * FULL_TURN as usize) as f64 / count as f64).round() as i32;
        let angle = |index: usize| angles.as_ref().map_or_else(|| equal(index), |list| list[index]);
        let turned = |deg: i32| (self.start + if self.is_clockwise { -deg } else { deg }).rem_euclid(FULL_TURN);
        let mut pairs: Vec<(i32, i32)> = values.iter().enumerate().map(|(i, &v)| (turned(angle(i)), v)).collect();
        pairs.sort_by_key(|pair| pair.0);
        let (turned, values): (Vec<i32>, Vec<i32>) = pairs.into_iter().unzip();
        (values, (angles.is_some() || !is_whole_steps).then_some(turned))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turn(start: i32, is_clockwise: bool) -> DeviceTurn {
        DeviceTurn { start, is_clockwise }
    }

    #[test]
    fn lists_are_turned_by_hand_checked_steps() {
        // Eight radii from the top, counter-clockwise: the one at 0° is the seventh.
        let list = (0..8).collect::<Vec<i32>>();
        assert_eq!(turn(9000, false).list(list.clone(), None), (vec![6, 7, 0, 1, 2, 3, 4, 5], None));
        // Clockwise from the top, the one at 0° is the third and the list runs backwards.
        assert_eq!(turn(9000, true).list(list.clone(), None), (vec![2, 1, 0, 7, 6, 5, 4, 3], None));
        // Nine radii from the top do not fall on steps from 0°.
        let (values, angles) = turn(9000, false).list((0..9).collect(), None);
        assert_eq!((values[0], angles.unwrap()[..2].to_vec()), (7, vec![1000, 5000]));
        let (values, angles) = turn(18_000, false).list(vec![5, 6, 7], Some(vec![0, 100, 18_100]));
        assert_eq!((values, angles), (vec![7, 5, 6], Some(vec![100, 18_000, 18_100])));
    }

    #[test]
    fn there_and_back_is_the_same() {
        for start in [0, 9000, 18_000, 27_000] {
            for is_clockwise in [false, true] {
                let there = turn(start, is_clockwise);
                let list = (0..12).collect::<Vec<i32>>();
                let (values, angles) = there.list(list.clone(), None);
                assert_eq!(there.inverse().list(values, angles), (list, None), "{there:?}");
            }
        }
    }
}
