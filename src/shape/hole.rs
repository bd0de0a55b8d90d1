//! The holes of a drilled mount: round ones, and slots that run from one point to another.

use super::nearest::Side;
use super::outline::{Outline, Point};
use super::transform::mirror_point;
use crate::optics::lens::{Lens, LensError};

/// The least material between a hole and the rim of the lens, mm. Source: common practice (from memory).
pub const LEAST_WALL_MM: f64 = 1.5;
/// The least thickness of a lens at a hole, mm. Source: common practice (from memory).
pub const LEAST_THICKNESS_MM: f64 = 2.0;

/// The most holes of one lens.
pub const MOST_HOLES: usize = 12;

/// The diameters that are believed, mm. Source: common practice (from memory), with room on both sides.
pub const DIAMETERS_MM: std::ops::RangeInclusive<f64> = 0.5..=6.0;

/// A hole, in the front view, from the boxing center.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hole {
    /// Its center; of a slot, the center of its first end.
    pub at: Point,
    /// The center of the other end of a slot.
    pub slot_end: Option<Point>,
    /// The diameter; of a slot, its width.
    pub diameter_mm: f64,
}

/// What is wrong with a hole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HoleFault {
    /// It is outside the lens.
    Outside,
    /// It opens into the rim: right for a notch, wrong for a hole.
    OpensAtRim,
    /// Too little material is left between it and the rim.
    ThinWall {
        /// How much there is.
        wall_mm: f64,
    },
    /// Two holes run into each other.
    MeetsNext,
    /// The lens is too thin there.
    ThinLens {
        /// How thick it is.
        thickness_mm: f64,
    },
}

impl Hole {
    /// The same hole on the other eye.
    pub fn mirror(&self) -> Self {
        Self { at: mirror_point(self.at), slot_end: self.slot_end.map(mirror_point), ..*self }
    }

    /// The center of the last end: of a slot the other one.
    pub fn end(&self) -> Point {
        self.slot_end.unwrap_or(self.at)
    }

    /// The material between the hole and the rim; negative when it opens into the rim or lies outside.
    pub fn wall_mm(&self, outline: &Outline) -> f64 {
        let to_rim_mm = |p: Point| {
            let far_mm2 =
                outline.edges().map(|(from, to)| Side::of(from, to).distance_mm2(p)).fold(f64::INFINITY, f64::min);
            if outline.contains(p) { far_mm2.sqrt() } else { -far_mm2.sqrt() }
        };
        let nearest_end_mm = to_rim_mm(self.at).min(to_rim_mm(self.end()));
        // In a hollow, the rim may come nearest between the ends of a slot.
        let slot = Side::of(self.at, self.end());
        let along_mm = outline.points().iter().map(|&p| slot.distance_mm2(p)).fold(f64::INFINITY, f64::min).sqrt();
        nearest_end_mm.min(along_mm) - self.diameter_mm / 2.0
    }

    /// The material between two holes.
    fn between_mm(&self, other: &Hole) -> f64 {
        let (mine, theirs) = (Side::of(self.at, self.end()), Side::of(other.at, other.end()));
        let ends = [
            mine.distance_mm2(other.at),
            mine.distance_mm2(other.end()),
            theirs.distance_mm2(self.at),
            theirs.distance_mm2(self.end()),
        ];
        ends.into_iter().fold(f64::INFINITY, f64::min).sqrt() - (self.diameter_mm + other.diameter_mm) / 2.0
    }

    /// The thinnest place of a lens around the hole, its optical center at `center` in the box.
    ///
    /// # Errors
    ///
    /// As [`Lens::thickness_mm`].
    pub fn thickness_mm(&self, lens: &Lens, center: Point) -> Result<f64, LensError> {
        let mut least_mm = f64::INFINITY;
        for end in [self.at, self.end()] {
            for step in 0..16 {
                let from = end.plus(Point::polar(self.diameter_mm / 2.0, f64::from(step) * 22.5)).minus(center);
                least_mm = least_mm.min(lens.thickness_mm(from.x_mm, from.y_mm)?);
            }
        }
        Ok(least_mm)
    }
}

/// What is wrong with the holes of a lens by their places alone, each with its index.
pub fn place_faults(holes: &[Hole], outline: &Outline) -> Vec<(usize, HoleFault)> {
    let mut faults = Vec::new();
    for (index, hole) in holes.iter().enumerate() {
        let wall_mm = hole.wall_mm(outline);
        if wall_mm + hole.diameter_mm <= 0.0 && !outline.contains(hole.at) && !outline.contains(hole.end()) {
            faults.push((index, HoleFault::Outside));
        } else if wall_mm < 0.0 {
            faults.push((index, HoleFault::OpensAtRim));
        } else if wall_mm < LEAST_WALL_MM {
            faults.push((index, HoleFault::ThinWall { wall_mm }));
        }
        if holes[..index].iter().any(|earlier| earlier.between_mm(hole) < 0.0) {
            faults.push((index, HoleFault::MeetsNext));
        }
    }
    faults
}

/// What is wrong with the holes in a lens of this thickness, each with its index.
///
/// # Errors
///
/// As [`Lens::thickness_mm`].
pub fn thickness_faults(holes: &[Hole], lens: &Lens, center: Point) -> Result<Vec<(usize, HoleFault)>, LensError> {
    let mut faults = Vec::new();
    for (index, hole) in holes.iter().enumerate() {
        let thickness_mm = hole.thickness_mm(lens, center)?;
        // A lens computed for exactly the least thickness may miss it by rounding error.
        if thickness_mm < LEAST_THICKNESS_MM - 0.005 {
            faults.push((index, HoleFault::ThinLens { thickness_mm }));
        }
    }
    Ok(faults)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::lens::LensOrder;
    use crate::optics::power::SphereCylinder;
    use crate::optics::prism::BaseVector;

    /// Round, 44 mm.
    fn round() -> Outline {
        Outline::from_radii_mm(&[22.0; 720]).unwrap()
    }

    fn hole(x_mm: f64, y_mm: f64) -> Hole {
        Hole { at: Point::new(x_mm, y_mm), slot_end: None, diameter_mm: 1.4 }
    }

    #[test]
    fn the_wall_is_what_is_left_to_the_rim() {
        // On a circle: radius less the distance from the middle less half the hole (closed form).
        for (x, y, want_mm) in [(-18.0, 0.0, 3.3), (0.0, 19.8, 1.5), (-21.7, 0.0, -0.4), (-25.0, 0.0, -3.7)] {
            assert!(
                (hole(x, y).wall_mm(&round()) - want_mm).abs() < 0.001,
                "{x} {y}: {}",
                hole(x, y).wall_mm(&round())
            );
        }
        let slot = Hole { slot_end: Some(Point::new(-20.0, 0.0)), ..hole(-15.0, 0.0) };
        assert!((slot.wall_mm(&round()) - 1.3).abs() < 0.001);
    }

    #[test]
    fn says_what_is_wrong_with_a_place() {
        let faults = |holes: &[Hole]| place_faults(holes, &round());
        assert_eq!(faults(&[hole(-18.0, 2.0), hole(18.0, 2.0)]), vec![]);
        assert_eq!(faults(&[hole(-30.0, 0.0)]), vec![(0, HoleFault::Outside)]);
        assert_eq!(faults(&[hole(-21.8, 0.0)]), vec![(0, HoleFault::OpensAtRim)]);
        assert!(
            matches!(faults(&[hole(-20.0, 0.0)])[..], [(0, HoleFault::ThinWall { wall_mm })] if (wall_mm - 1.3).abs() < 0.001)
        );
        assert_eq!(faults(&[hole(-18.0, 0.0), hole(-18.0, 1.2)]), vec![(1, HoleFault::MeetsNext)]);
    }

    #[test]
    fn a_lens_must_be_thick_enough_at_the_hole() {
        let lens = |center_mm| {
            Lens::new(LensOrder {
                power: SphereCylinder::sphere(4.0),
                prism: BaseVector::default(),
                index: 1.6,
                front_power_d: 6.0,
                front_conic: 0.0,
                center_thickness_mm: center_mm,
            })
            .unwrap()
        };
        let holes = [hole(-18.0, 0.0), hole(3.0, 0.0)];
        // A plus lens thins outward: the outer side of the hole counts, 18.7 mm out.
        let thick = lens(3.8);
        let want_mm = thick.thickness_mm(-18.7, 0.0).unwrap();
        assert!((holes[0].thickness_mm(&thick, Point::ORIGIN).unwrap() - want_mm).abs() < 1e-9);
        assert_eq!(thickness_faults(&holes, &thick, Point::ORIGIN).unwrap(), vec![]);
        let thin = thickness_faults(&holes, &lens(2.2), Point::ORIGIN).unwrap();
        assert!(matches!(thin[..], [(0, HoleFault::ThinLens { thickness_mm })] if thickness_mm < 1.1), "{thin:?}");
    }

    #[test]
    fn a_hole_is_mirrored_with_its_lens() {
        assert_eq!(hole(-20.0, 4.0).mirror().at, Point::new(20.0, 4.0));
    }
}
