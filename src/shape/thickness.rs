//! The center thickness of a lens: as stated, or as much as the edge needs. The same rules for every page and for
//! `rimbook calc`.

use super::edge::{lens_with_least_edge, lens_with_thinnest_edge};
use super::outline::{Outline, Point};
use crate::optics::lens::{Lens, LensError, LensOrder};

/// Half the usual width of a shape that is not known. Source: common practice (from memory).
const USUAL_REACH_MM: f64 = 27.0;

/// Which thickness is stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Thickness {
    /// At the optical center, mm.
    Center(f64),
    /// At the thinnest place of the cut edge, mm.
    ThinnestEdge(f64),
}

/// The lens of a stated thickness, its optical center at `center` in the box. The center thickness in `order` is not
/// used.
///
/// # Errors
///
/// As [`Lens::new`] and [`lens_with_thinnest_edge`].
pub fn lens_with_thickness(
    outline: &Outline,
    center: Point,
    order: LensOrder,
    thickness: Thickness,
) -> Result<Lens, LensError> {
    match thickness {
        Thickness::Center(center_mm) => Lens::new(LensOrder { center_thickness_mm: center_mm, ..order }),
        Thickness::ThinnestEdge(edge_mm) => lens_with_thinnest_edge(outline, center, order, edge_mm),
    }
}

/// The lens with the usual center thickness, which `usual` has, or with the center that leaves `least_edge_mm`
/// everywhere on the edge where that is more. Source: common practice.
///
/// # Errors
///
/// As [`Lens::new`] and [`lens_with_thinnest_edge`].
pub fn lens_with_usual_thickness(
    outline: &Outline,
    center: Point,
    usual: LensOrder,
    least_edge_mm: f64,
) -> Result<Lens, LensError> {
    lens_with_least_edge(outline, center, usual, least_edge_mm)
}

/// The same by the rule of thumb h²F / 2000(n - 1), for a shape that is not known or not reached by a surface: a plus
/// lens gets the center that leaves `least_edge_mm` at 27 mm from it, where that is more (textbook).
///
/// # Errors
///
/// As [`Lens::new`].
pub fn lens_with_thickness_by_thumb(usual: LensOrder, least_edge_mm: f64) -> Result<Lens, LensError> {
    let strongest_plus_d = usual.power.to_minus().sphere_d;
    if strongest_plus_d <= 0.0 {
        return Lens::new(usual);
    }
    let loss_mm = USUAL_REACH_MM * USUAL_REACH_MM * strongest_plus_d / (2000.0 * (usual.index - 1.0));
    let center_thickness_mm = usual.center_thickness_mm.max(least_edge_mm + loss_mm);
    Lens::new(LensOrder { center_thickness_mm, ..usual })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::power::SphereCylinder;
    use crate::optics::prism::BaseVector;
    use crate::shape::edge::Edge;

    fn usual(sphere_d: f64, cylinder_d: f64) -> LensOrder {
        LensOrder {
            power: SphereCylinder::new(sphere_d, cylinder_d, 90.0),
            prism: BaseVector::default(),
            index: 1.5,
            front_power_d: 6.0,
            front_conic: 0.0,
            center_thickness_mm: 2.0,
        }
    }

    #[test]
    fn a_thickness_is_of_the_center_or_of_the_edge() {
        let round = Outline::from_radii_mm(&[22.0; 90]).unwrap();
        let of = |thickness| lens_with_thickness(&round, Point::ORIGIN, usual(4.0, 0.0), thickness).unwrap();
        assert_eq!(of(Thickness::Center(5.0)).order().center_thickness_mm, 5.0);
        let edge = Edge::of(&round, Point::ORIGIN, &of(Thickness::ThinnestEdge(1.3))).unwrap();
        assert!((edge.thinnest().mm - 1.3).abs() < 1e-5);
    }

    #[test]
    fn the_usual_center_stands_unless_the_edge_needs_more() {
        let round = Outline::from_radii_mm(&[22.0; 90]).unwrap();
        let of = |sphere_d, least_mm| {
            let lens = lens_with_usual_thickness(&round, Point::ORIGIN, usual(sphere_d, 0.0), least_mm).unwrap();
            let edge = Edge::of(&round, Point::ORIGIN, &lens).unwrap();
            (lens.order().center_thickness_mm, edge.thinnest().mm)
        };
        assert_eq!(of(-3.0, 1.0).0, 2.0);
        let (center_mm, edge_mm) = of(3.0, 1.0);
        assert!(center_mm > 2.0 && (edge_mm - 1.0).abs() < 1e-5, "{center_mm} {edge_mm}");
        assert!(of(3.0, 2.0).0 > center_mm + 0.9);
        // A weak plus lens leaves more than 1 mm with the usual center.
        assert_eq!(of(0.5, 1.0).0, 2.0);
    }

    #[test]
    fn without_a_shape_only_a_plus_meridian_asks_for_more() {
        for (sphere_d, cylinder_d, least_mm, want_mm) in [
            (-4.0, 0.0, 1.0, 2.0),
            (0.0, -2.0, 2.5, 2.0),
            // 27² · 4 / 1000 = 2.916 (textbook rule of thumb).
            (4.0, 0.0, 1.0, 3.916),
            (4.0, 0.0, 2.0, 4.916),
            // The stronger plus meridian counts in either form: +2.00 +2.00 is +4.00 -2.00.
            (2.0, 2.0, 1.0, 3.916),
            (0.5, 0.0, 1.0, 2.0),
        ] {
            let lens = lens_with_thickness_by_thumb(usual(sphere_d, cylinder_d), least_mm).unwrap();
            let got_mm = lens.order().center_thickness_mm;
            assert!((got_mm - want_mm).abs() < 1e-9, "{sphere_d} {cylinder_d}: {got_mm} for {want_mm}");
        }
    }
}
