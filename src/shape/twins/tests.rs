use super::index::{Index, Twin};
use super::*;
use crate::shape::nearest::Nearest;
use crate::shape::transform::{mirror, rotate, scale};
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

/// A frame's shape: a superellipse that leans, with waves.
fn frame(numbers: [f64; 8]) -> Outline {
    let [wide, high, power, lean, wave3, wave5, phase3, phase5] = numbers;
    let radii: Vec<f64> = (0..400)
        .map(|i| {
            let t = std::f64::consts::TAU * f64::from(i) / 400.0;
            let (sin, cos) = (t + lean * (2.0 * t).sin()).sin_cos();
            let smooth = ((cos / wide).abs().powf(power) + (sin / high).abs().powf(power)).powf(-1.0 / power);
            smooth + wave3 * (3.0 * t + phase3).cos() + wave5 * (5.0 * t + phase5).cos()
        })
        .collect();
    Outline::from_radii_mm(&radii).unwrap()
}

fn any_frame() -> impl Strategy<Value = Outline> {
    (
        22.0..29.0_f64,
        14.0..24.0_f64,
        2.0..3.5_f64,
        -0.15..0.15_f64,
        0.0..1.2_f64,
        0.0..0.5_f64,
        0.0..6.2_f64,
        0.0..6.2_f64,
    )
        .prop_map(|(a, b, c, d, e, f, g, h)| frame([a, b, c, d, e, f, g, h]))
}

/// Numbers that look random and are the same in every run.
fn drawn(seed: u64) -> impl FnMut(f64, f64) -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    move |low, high| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        low + (high - low) * (state >> 11) as f64 / (1u64 << 53) as f64
    }
}

fn drawn_frame(draw: &mut impl FnMut(f64, f64) -> f64) -> Outline {
    let mut n = |low, high| draw(low, high);
    frame([
        n(22.0, 29.0),
        n(14.0, 24.0),
        n(2.0, 3.5),
        n(-0.15, 0.15),
        n(0.0, 1.2),
        n(0.0, 0.5),
        n(0.0, 6.2),
        n(0.0, 6.2),
    ])
}

fn moved(outline: &Outline, turn_deg: f64) -> Shape {
    Shape::of(&rotate(outline, turn_deg))
}

const PLAIN: Ways = Ways { mirrored: false, any_size: false };

#[test]
fn a_shape_is_its_own_twin_however_it_lies() {
    let outline = frame([26.0, 18.0, 2.5, 0.1, 0.8, 0.3, 1.0, 2.0]);
    let own = Shape::of(&outline);
    let gap = |other: &Shape, ways| own.distance(other, ways);
    assert!(gap(&own, PLAIN).gap_mm < 1e-9);
    for turn_deg in [-4.5, -1.0, 0.3, 4.9] {
        let found = gap(&moved(&outline, turn_deg), PLAIN);
        assert!(found.gap_mm < 0.01, "{turn_deg}: {found:?}");
        assert!((found.turned_deg + turn_deg).abs() < 0.1, "{turn_deg}: {found:?}");
    }
    // Turned farther than a level trace can be, it is another shape.
    assert!(gap(&moved(&outline, 12.0), PLAIN).gap_mm > 0.5);
    let flipped = Shape::of(&mirror(&outline));
    assert!(gap(&flipped, PLAIN).gap_mm > 0.5);
    let either = gap(&flipped, Ways { mirrored: true, any_size: false });
    assert!(either.gap_mm < 0.01 && either.is_mirrored, "{either:?}");
    let larger = Shape::of(&scale(&outline, 1.1).unwrap());
    assert!((gap(&larger, PLAIN).gap_mm - 1.8).abs() < 1.0);
    let sized = gap(&larger, Ways { mirrored: false, any_size: true });
    assert!(sized.gap_mm < 0.01 && (sized.scale - 1.0 / 1.1).abs() < 1e-3, "{sized:?}");
}

#[test]
fn circles_are_half_their_difference_apart() {
    // Two circles, one inside the other: best concentric, apart by the difference of the radii (geometry).
    let round = |radius: f64| Shape::of(&Outline::from_radii_mm(&[radius; 720]).unwrap());
    let found = round(22.0).distance(&round(22.4), PLAIN);
    assert!((found.gap_mm - 0.4).abs() < 0.003, "{found:?}");
}

/// A second implementation of the distance: every point against every side, and a search for the position that knows
/// nothing of how gaps change.
fn second_distance_mm(first: &Outline, second: &Outline) -> f64 {
    let nearest = Nearest::of(first);
    let (a, b) = (Shape::of(first), Shape::of(second));
    let at = |[x, y, deg]: [f64; 3]| {
        if deg.abs() > MOST_TURN_DEG {
            return f64::INFINITY;
        }
        let there: Vec<Point> = b.points.iter().map(|p| p.turned(deg).plus(Point::new(x, y))).collect();
        let to_first = there.iter().map(|&p| nearest.distance_mm(p));
        let next = there.iter().cycle().skip(1);
        let sides: Vec<_> = there.iter().zip(next).map(|(&p, &q)| crate::shape::nearest::Side::of(p, q)).collect();
        let to_second = a
            .points
            .iter()
            .map(|&p| sides.iter().map(|side| side.distance_mm2(p)).fold(f64::INFINITY, f64::min).sqrt());
        to_first.chain(to_second).fold(0.0, f64::max)
    };
    let (mut best, mut step) = ([0.0; 3], [0.5, 0.5, 1.0]);
    let mut least = at(best);
    while step[0] > 0.000_5 {
        let tries = (0..27).map(|n| [n % 3 - 1, n / 3 % 3 - 1, n / 9 - 1]);
        let moves = tries.map(|way| std::array::from_fn::<f64, 3, _>(|k| best[k] + f64::from(way[k]) * step[k]));
        let found = moves.map(|place| (at(place), place)).min_by(|one, other| one.0.total_cmp(&other.0));
        match found {
            Some((mm, place)) if mm < least => (least, best) = (mm, place),
            _ => step = step.map(|s| s * 0.6),
        }
    }
    least
}

#[test]
fn a_second_implementation_finds_the_same_distance() {
    let mut draw = drawn(7);
    for _ in 0..2 {
        let first = drawn_frame(&mut draw);
        let second = rotate(&drawn_frame(&mut draw), draw(-2.0, 2.0));
        let got = Shape::of(&first).distance(&Shape::of(&second), PLAIN).gap_mm;
        let want = second_distance_mm(&first, &second);
        // A search by steps may stop a little short of the best.
        assert!(got < want + 0.02 && got > want - 0.15 * want, "{got} {want}");
    }
    for _ in 0..2 {
        let first = drawn_frame(&mut draw);
        let trembling: Vec<Point> = first.points().iter().map(|p| p.times(1.0 + draw(-0.003, 0.003))).collect();
        let second = rotate(&Outline::from_points(trembling).unwrap(), draw(-2.0, 2.0));
        let got = Shape::of(&first).distance(&Shape::of(&second), PLAIN).gap_mm;
        let want = second_distance_mm(&first, &second);
        assert!((got - want).abs() < 0.01, "{got} {want}");
    }
}

/// The best of all by comparing every one.
fn by_full_comparison(sought: &Shape, shapes: &[Shape], ways: Ways, most: usize) -> Vec<Twin> {
    let mut all: Vec<Twin> =
        shapes.iter().enumerate().map(|(index, shape)| Twin { index, found: sought.distance(shape, ways) }).collect();
    all.sort_by_key(|twin| ((twin.found.gap_mm / 0.001) as u32, std::cmp::Reverse(twin.index)));
    all.truncate(most);
    all
}

#[test]
fn the_search_finds_what_a_full_comparison_finds() {
    let mut draw = drawn(42);
    let mut outlines: Vec<Outline> = (0..100).map(|_| drawn_frame(&mut draw)).collect();
    // The same frames traced again: turned a little, mirrored, of another size, and twice the very same file.
    for index in 0..14 {
        let model = outlines[index * 7].clone();
        outlines.push(rotate(&model, draw(-2.0, 2.0)));
        outlines.push(mirror(&model));
        outlines.push(scale(&model, draw(0.95, 1.05)).unwrap());
        outlines.push(model);
    }
    let shapes: Vec<Shape> = outlines.iter().map(Shape::of).collect();
    let mut index = Index::default();
    for (number, shape) in shapes.iter().enumerate() {
        assert_eq!(index.push(shape), number);
    }
    let mut compared = 0;
    for (mirrored, any_size) in [(false, false), (true, false), (false, true), (true, true)] {
        let ways = Ways { mirrored, any_size };
        for sought in [&shapes[14], &Shape::of(&drawn_frame(&mut draw))] {
            let mut search = index.search(sought.clone(), ways, 10);
            loop {
                let wanted = search.wanted();
                if wanted.is_empty() {
                    break;
                }
                wanted.into_iter().for_each(|number| search.compare(number, &shapes[number]));
            }
            compared += search.compared();
            let places = |twins: &[Twin]| twins.iter().map(|twin| twin.index).collect::<Vec<_>>();
            assert_eq!(places(&search.found()), places(&by_full_comparison(sought, &shapes, ways, 10)), "{ways:?}");
        }
    }
    assert!(compared < 8 * shapes.len() / 2, "the bounds leave out less than half: {compared}");
}

#[test]
fn few_shapes_are_all_found() {
    let mut index = Index::default();
    assert!(
        index
            .nearest(Shape::of(&frame([26.0, 18.0, 2.5, 0.0, 0.0, 0.0, 0.0, 0.0])), PLAIN, 10, |_| unreachable!())
            .is_empty()
    );
    let shapes: Vec<Shape> =
        [24.0, 26.0, 25.0].iter().map(|&wide| Shape::of(&frame([wide, 18.0, 2.5, 0.0, 0.0, 0.0, 0.0, 0.0]))).collect();
    shapes.iter().for_each(|shape| {
        index.push(shape);
    });
    let found = index.nearest(shapes[1].clone(), PLAIN, 10, |number| shapes[number].clone());
    assert_eq!(found.iter().map(|twin| twin.index).collect::<Vec<_>>(), [1, 2, 0]);
    // Of those that are no farther apart than the second, the same two.
    let mut search = index.search(shapes[1].clone(), PLAIN, 10).within_mm(found[1].found.gap_mm);
    loop {
        let wanted = search.wanted();
        if wanted.is_empty() {
            break;
        }
        assert!(!wanted.contains(&0), "a shape that cannot be near enough is not compared");
        wanted.into_iter().for_each(|number| search.compare(number, &shapes[number]));
    }
    assert_eq!(search.found(), found[..2]);
    assert!(found[0].found.gap_mm == 0.0 && (found[1].found.gap_mm - 0.5).abs() < 0.51);
}

proptest! {
    #![proptest_config(ProptestConfig {
        failure_persistence: Some(Box::new(FileFailurePersistence::WithSource("seeds"))),
        ..ProptestConfig::with_cases(6)
    })]

    /// The bounds never exceed the distance, whatever the shapes and the ways.
    #[test]
    fn a_bound_is_never_more_than_the_distance(
        first in any_frame(), second in any_frame(), near in -0.01..0.01_f64, turn_deg in -4.0..4.0_f64,
        mirrored: bool, any_size: bool,
    ) {
        let ways = Ways { mirrored, any_size };
        let trembling = Outline::from_points(first.points().iter().map(|p| p.times(1.0 + near * (p.x_mm * 0.5).sin())).collect());
        for other in [second, rotate(&trembling.unwrap(), turn_deg)] {
            let (one, other) = (Shape::of(&first), Shape::of(&other));
            let gap_mm = one.distance(&other, ways).gap_mm;
            let (sought, (sizes, mark)) = (mark::Sought::new(&one, ways), mark::Mark::of(&other));
            prop_assert!(f64::from(sought.rough_bound_mm(&sizes)) <= gap_mm, "{gap_mm}");
            for most_mm in [f64::INFINITY, gap_mm, 0.0] {
                prop_assert!(sought.waves_bound_mm(&mark, most_mm) <= gap_mm, "{gap_mm}");
            }
            prop_assert!(sought.possible_ways(&mark, gap_mm).contains(&true), "{gap_mm}");
            prop_assert!(sought.supports_bound_mm(&mark, 1000.0).is_some_and(|bound_mm| bound_mm <= gap_mm), "{gap_mm}");
        }
    }
}
