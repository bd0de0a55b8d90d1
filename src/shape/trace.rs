//! A tracer's radii for one eye, exact to the hundredth. This is what the lab stores permanently.

use super::outline::{
    Outline, OutlineError, Point, check_count, check_radius, equal_angles_deg, equal_directions, extent,
};
use super::spline::{radii_mm, refined};
use crate::optics::Eye;

/// The widest gap between neighboring radii, hundredths of a degree. Across a wider gap the shape is unknown.
const MAX_GAP: i32 = 6000;
const FULL_TURN: i32 = 36_000;

/// The angles of the radii of a [`Trace`].
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Angles {
    /// Equally spaced, the first at 0°.
    Equal,
    /// Equally spaced, the first half a step after 0°: the mirror of an odd number of equally spaced radii.
    EqualFromHalfStep,
    /// One angle a radius, hundredths of a degree, strictly increasing in 0..=35999.
    Unequal(Vec<i32>),
}

/// The trace of one eye: radii in hundredths of a millimeter about the tracing center, front view, from 0° (the
/// observer's right) counter-clockwise.
///
/// Holds 8 to 10,000 radii of 5 to 50 mm with no gap over 60°, so it is always a simple outline.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Trace {
    eye: Eye,
    radii: Vec<i32>,
    angles: Angles,
}

impl Trace {
    /// A trace from its radii (hundredths of a millimeter).
    ///
    /// # Errors
    ///
    /// [`OutlineError`] for the first fault: count, a radius, an angle, a gap.
    pub fn new(eye: Eye, radii: Vec<i32>, angles: Angles) -> Result<Self, OutlineError> {
        check_count(radii.len())?;
        for (index, &radius) in radii.iter().enumerate() {
            check_radius(index, f64::from(radius) / 100.0)?;
        }
        if let Angles::Unequal(list) = &angles {
            check_angles(radii.len(), list)?;
        }
        Ok(Self { eye, radii, angles })
    }

    /// The eye this was traced for.
    pub fn eye(&self) -> Eye {
        self.eye
    }

    /// The radii, hundredths of a millimeter.
    pub fn radii(&self) -> &[i32] {
        &self.radii
    }

    /// How the radii are spaced.
    pub fn angles(&self) -> &Angles {
        &self.angles
    }

    /// The direction of each radius, degrees.
    pub fn angles_deg(&self) -> Vec<f64> {
        match &self.angles {
            Angles::Equal => equal_angles_deg(self.radii.len(), 0.0),
            Angles::EqualFromHalfStep => equal_angles_deg(self.radii.len(), 0.5),
            Angles::Unequal(list) => list.iter().map(|&a| f64::from(a) / 100.0).collect(),
        }
    }

    /// The traced points about the tracing center.
    pub fn points(&self) -> Vec<Point> {
        let directions = match &self.angles {
            Angles::Equal => equal_directions(self.radii.len(), 0.0),
            Angles::EqualFromHalfStep => equal_directions(self.radii.len(), 0.5),
            Angles::Unequal(list) => list.iter().map(|&a| Point::polar(1.0, f64::from(a) / 100.0)).collect(),
        };
        self.radii.iter().zip(directions).map(|(&radius, to)| to.times(f64::from(radius) / 100.0)).collect()
    }

    /// The other eye's trace as the exact mirror image of this one.
    ///
    /// A list is mirrored, not reversed: for an even count the new radius `i` is the old radius `N/2 - i`.
    pub fn mirror(&self) -> Trace {
        let n = self.radii.len();
        let (pick, angles): (Vec<usize>, Angles) = match &self.angles {
            Angles::Equal if n.is_multiple_of(2) => ((0..n).map(|i| (n + n / 2 - i) % n).collect(), Angles::Equal),
            // 180° lies half way between two radii of an odd count.
            Angles::Equal => ((0..n).map(|i| (n + n / 2 - i) % n).collect(), Angles::EqualFromHalfStep),
            Angles::EqualFromHalfStep if n.is_multiple_of(2) => {
                ((0..n).map(|i| (2 * n + n / 2 - 1 - i) % n).collect(), Angles::EqualFromHalfStep)
            }
            Angles::EqualFromHalfStep => ((0..n).map(|i| (n + n / 2 - i) % n).collect(), Angles::Equal),
            Angles::Unequal(list) => {
                let mut pairs: Vec<(i32, usize)> =
                    list.iter().enumerate().map(|(i, a)| ((FULL_TURN / 2 - a).rem_euclid(FULL_TURN), i)).collect();
                pairs.sort_unstable();
                let angles = pairs.iter().map(|p| p.0).collect();
                (pairs.into_iter().map(|p| p.1).collect(), Angles::Unequal(angles))
            }
        };
        Trace { eye: self.eye.other(), radii: pick.into_iter().map(|i| self.radii[i]).collect(), angles }
    }

    /// The outline for computing: the polygon through the points, or the smooth curve through few points
    /// ([`FINE`](super::spline::FINE)). It cannot fail, because a trace is already checked.
    pub fn outline(&self) -> Outline {
        Outline::centered(refined(&self.points(), Point::ORIGIN), Point::ORIGIN)
    }

    /// The middle of the box, seen from the tracing center.
    pub fn middle(&self) -> Point {
        let (low, high) = extent(&refined(&self.points(), Point::ORIGIN));
        Point::new((low.x_mm + high.x_mm) / 2.0, (low.y_mm + high.y_mm) / 2.0)
    }

    /// The trace of an outline, at `count` equally spaced angles about its tracing center, rounded to the hundredth.
    ///
    /// # Errors
    ///
    /// As [`Trace::new`].
    pub fn of_outline(eye: Eye, outline: &Outline, count: usize) -> Result<Self, OutlineError> {
        let radii = radii_mm(outline, count).into_iter().map(|mm| (mm * 100.0).round() as i32).collect();
        Self::new(eye, radii, Angles::Equal)
    }

    /// This trace made larger or smaller about its tracing center.
    ///
    /// # Errors
    ///
    /// As [`Trace::new`].
    pub fn scaled(&self, factor: f64) -> Result<Self, OutlineError> {
        if !factor.is_finite() || factor <= 0.0 {
            return Err(OutlineError::Size(factor));
        }
        let radii = self.radii.iter().map(|&radius| (f64::from(radius) * factor).round() as i32).collect();
        Self::new(self.eye, radii, self.angles.clone())
    }

    /// Compact bytes for storing: version (1), eye (`R` or `L`), spacing (0 equal, 1 from half a step, 2 angles
    /// given), then the count, the radii and, for spacing 2, the angles, each two bytes, low byte first.
    pub fn to_bytes(&self) -> Vec<u8> {
        let spacing = match self.angles {
            Angles::Equal => 0,
            Angles::EqualFromHalfStep => 1,
            Angles::Unequal(_) => 2,
        };
        let mut bytes = vec![1, self.eye.letter().as_bytes()[0], spacing];
        // Every stored number is checked to be at most 35999, so two bytes hold it.
        let mut push = |n: i32| bytes.extend_from_slice(&(n as u16).to_le_bytes());
        push(self.radii.len() as i32);
        self.radii.iter().copied().for_each(&mut push);
        if let Angles::Unequal(list) = &self.angles {
            list.iter().copied().for_each(&mut push);
        }
        bytes
    }

    /// Reads what [`Trace::to_bytes`] wrote.
    ///
    /// # Errors
    ///
    /// [`OutlineError::Bytes`] when the layout is not that of `to_bytes`; otherwise as [`Trace::new`].
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, OutlineError> {
        let [version, eye, spacing, rest @ ..] = bytes else { return Err(OutlineError::Bytes("too short")) };
        if *version != 1 {
            return Err(OutlineError::Bytes("unknown version"));
        }
        let eye = match eye {
            b'R' => Eye::Right,
            b'L' => Eye::Left,
            _ => return Err(OutlineError::Bytes("unknown eye")),
        };
        if !rest.len().is_multiple_of(2) {
            return Err(OutlineError::Bytes("odd length"));
        }
        let mut numbers = rest.chunks_exact(2).map(|b| i32::from(u16::from_le_bytes([b[0], b[1]])));
        let count = usize::try_from(numbers.next().unwrap_or(0)).unwrap_or(0);
        let numbers: Vec<i32> = numbers.collect();
        let lists = if *spacing == 2 { 2 } else { 1 };
        if numbers.len() != count * lists {
            return Err(OutlineError::Bytes("wrong length"));
        }
        let (radii, angles) = numbers.split_at(count);
        let angles = match spacing {
            0 => Angles::Equal,
            1 => Angles::EqualFromHalfStep,
            2 => Angles::Unequal(angles.to_vec()),
            _ => return Err(OutlineError::Bytes("unknown spacing")),
        };
        Trace::new(eye, radii.to_vec(), angles)
    }
}

fn check_angles(radii: usize, angles: &[i32]) -> Result<(), OutlineError> {
    if radii != angles.len() {
        return Err(OutlineError::AngleCount { radii, angles: angles.len() });
    }
    let mut before = -1;
    for (index, &hundredths) in angles.iter().enumerate() {
        if hundredths <= before || hundredths >= FULL_TURN {
            return Err(OutlineError::Angle { index, hundredths });
        }
        before = hundredths;
    }
    let next = angles.iter().skip(1).copied().chain(angles.first().map(|a| a + FULL_TURN));
    match angles.iter().zip(next).position(|(a, b)| b - a > MAX_GAP) {
        Some(index) => Err(OutlineError::Gap { index }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn trace(radii: &[i32]) -> Trace {
        Trace::new(Eye::Right, radii.to_vec(), Angles::Equal).unwrap()
    }

    #[test]
    fn a_list_is_mirrored_and_not_reversed() {
        // mirrored[i] = r[(N/2 - i) mod N] (boxing system, ISO 8624; from memory).
        let right = trace(&[2000, 2100, 2200, 2300, 2400, 2500, 2600, 2700]);
        let left = right.mirror();
        assert_eq!(left.radii(), [2400, 2300, 2200, 2100, 2000, 2700, 2600, 2500]);
        assert_eq!(left.eye(), Eye::Left);
        for (p, q) in right.points().iter().zip([4, 3, 2, 1, 0, 7, 6, 5].map(|i| left.points()[i])) {
            assert!((p.x_mm + q.x_mm).abs() < 1e-9 && (p.y_mm - q.y_mm).abs() < 1e-9);
        }
    }

    #[test]
    fn says_what_is_wrong() {
        let refuse = |radii: Vec<i32>, angles| Trace::new(Eye::Left, radii, angles).unwrap_err();
        assert_eq!(refuse(vec![2000; 7], Angles::Equal), OutlineError::TooFew(7));
        assert_eq!(refuse(vec![2000; 10_001], Angles::Equal), OutlineError::TooMany(10_001));
        let mut one_bad = vec![2000; 12];
        one_bad[3] = 499;
        assert_eq!(refuse(one_bad, Angles::Equal), OutlineError::Radius { index: 3, radius_mm: 4.99 });
        let even: Vec<i32> = (0..8).map(|i| i * 4500).collect();
        let with = |index: usize, hundredths: i32| {
            let mut list = even.clone();
            list[index] = hundredths;
            Angles::Unequal(list)
        };
        assert!(Trace::new(Eye::Left, vec![2000; 8], Angles::Unequal(even.clone())).is_ok());
        assert!(matches!(refuse(vec![2000; 8], with(2, 4500)), OutlineError::Angle { index: 2, .. }));
        assert!(matches!(refuse(vec![2000; 8], with(7, 36_000)), OutlineError::Angle { index: 7, .. }));
        assert!(matches!(refuse(vec![2000; 8], with(2, 11_000)), OutlineError::Gap { index: 1 }));
        assert!(matches!(refuse(vec![2000; 9], with(0, 0)), OutlineError::AngleCount { radii: 9, angles: 8 }));
    }

    fn any_trace() -> impl Strategy<Value = Trace> {
        let equal = prop::collection::vec(500..=5000_i32, 8..200)
            .prop_map(|radii| Trace::new(Eye::Left, radii, Angles::Equal).unwrap());
        let unequal = (30..200_usize)
            .prop_flat_map(|n| (prop::collection::vec(500..=5000_i32, n), prop::collection::vec(0..100_i32, n)))
            .prop_map(|(radii, shifts)| {
                let n = radii.len() as i32;
                let angles = shifts.iter().zip(0..).map(|(s, i)| i * (FULL_TURN / n) + s).collect();
                Trace::new(Eye::Right, radii, Angles::Unequal(angles)).unwrap()
            });
        prop_oneof![equal, unequal]
    }

    proptest! {
        #[test]
        fn stored_bytes_round_trip(trace in any_trace()) {
            prop_assert_eq!(Trace::from_bytes(&trace.to_bytes()), Ok(trace));
        }

        #[test]
        fn mirrored_twice_is_the_same(trace in any_trace()) {
            prop_assert_eq!(trace.mirror().mirror(), trace);
        }

        #[test]
        fn a_mirrored_trace_is_the_mirrored_polygon(trace in any_trace()) {
            let mut mirrored: Vec<Point> = trace.points().iter().map(|p| Point::new(-p.x_mm, p.y_mm)).collect();
            let mut got = trace.mirror().points();
            let key = |p: &Point, q: &Point| p.angle_deg().total_cmp(&q.angle_deg());
            mirrored.sort_by(key);
            got.sort_by(key);
            for (p, q) in mirrored.iter().zip(&got) {
                prop_assert!(p.minus(*q).length_mm() < 1e-6, "{p:?} {q:?}");
            }
        }

        #[test]
        fn damaged_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..64)) {
            let _ = Trace::from_bytes(&bytes);
        }
    }
}
