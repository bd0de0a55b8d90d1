//! Faces of known geometry before a pinhole camera of this file, measured from their marks. Nothing here is shared with the
//! computation under test: heads are turned about axes by Rodrigues' formula, and every point is projected by itself.

use proptest::prelude::*;

use rimbook::optics::{Eye, Pair};
use rimbook::picture::Pixel;
use rimbook::picture::face::{FaceMeasures, FacePhoto, FaceRefused, FaceScale, FaceWarning, PlusMinus};

use crate::picture::render::Dice;

type Point = [f64; 3];

fn plus(a: Point, b: Point, times: f64) -> Point {
    [a[0] + times * b[0], a[1] + times * b[1], a[2] + times * b[2]]
}

fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: Point, b: Point) -> Point {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn unit(a: Point) -> Point {
    let long = dot(a, a).sqrt();
    a.map(|x| x / long)
}

/// A point turned about an axis (Rodrigues).
fn turned(point: Point, axis: Point, deg: f64) -> Point {
    let (sin, cos) = deg.to_radians().sin_cos();
    let along = dot(axis, point) * (1.0 - cos);
    plus(plus(point.map(|x| x * cos), cross(axis, point), sin), axis, along)
}

/// A head before the camera. x to the viewer's right, y down, z away from the camera; the camera stands at the origin.
#[derive(Debug, Clone, Copy)]
struct Head {
    far_mm: Pair<f64>,
    /// Between the pupils, where the head is.
    at: Point,
    roll_deg: f64,
    turn_deg: f64,
    lean_deg: f64,
    /// The card on the face, beyond the head's own.
    card_turn_deg: f64,
    card_lean_deg: f64,
    card_roll_deg: f64,
    card_at: (f64, f64),
    card_nearer_mm: f64,
    turning_mm: f64,
    bridge_mm: f64,
    focal_px: f64,
    image_px: (f64, f64),
}

impl Head {
    /// Straight before a telephone's camera, 500 mm away: 6 pixels for each millimeter.
    const STRAIGHT: Self = Self {
        far_mm: Pair { right: 31.0, left: 32.5 },
        at: [0.0, 0.0, 500.0],
        roll_deg: 0.0,
        turn_deg: 0.0,
        lean_deg: 0.0,
        card_turn_deg: 0.0,
        card_lean_deg: 0.0,
        card_roll_deg: 0.0,
        card_at: (3.0, -48.0),
        card_nearer_mm: 10.0,
        turning_mm: 10.5,
        bridge_mm: 0.0,
        focal_px: 3000.0,
        image_px: (3000.0, 4000.0),
    };

    /// Level or rolled, anywhere in the picture.
    fn anywhere(dice: &mut Dice) -> Self {
        let half = dice.between(28.0, 35.0);
        let uneven = dice.between(-1.0, 1.0);
        let distance = dice.between(350.0, 800.0);
        let focal_px = dice.between(5.5, 7.0) * distance;
        Self {
            far_mm: Pair::new(half - uneven, half + uneven),
            at: [dice.between(-120.0, 120.0), dice.between(-150.0, 180.0), distance],
            roll_deg: dice.between(-30.0, 30.0),
            card_at: (dice.between(-10.0, 10.0), dice.between(-55.0, -42.0)),
            card_roll_deg: dice.between(-5.0, 5.0),
            card_nearer_mm: dice.between(0.0, 15.0),
            focal_px,
            ..Self::STRAIGHT
        }
    }

    /// A point of the head in space.
    fn in_space(&self, point: Point) -> Point {
        let leaned = turned(point, [1.0, 0.0, 0.0], self.lean_deg);
        let turned_head = turned(leaned, [0.0, 1.0, 0.0], self.turn_deg);
        plus(turned(turned_head, [0.0, 0.0, 1.0], self.roll_deg), self.at, 1.0)
    }

    fn pictured(&self, point: Point) -> Pixel {
        let scale = self.focal_px / point[2];
        Pixel::new(self.image_px.0 / 2.0 + scale * point[0], self.image_px.1 / 2.0 + scale * point[1])
    }

    fn seen(&self, point: Point) -> Pixel {
        self.pictured(self.in_space(point))
    }

    /// The pupil lies before the point about which its eye turns, toward the camera.
    fn pupil(&self, eye: Eye) -> Pixel {
        let x = -eye.nasal_sign() * self.far_mm.get(eye);
        let turning_point = self.in_space([x, 0.0, self.turning_mm]);
        let toward_camera = unit(turning_point.map(|x| -x));
        self.pictured(plus(turning_point, toward_camera, self.turning_mm))
    }

    fn corners(&self) -> [Pixel; 4] {
        // ISO/IEC 7810 ID-1: 85.60 by 53.98 mm.
        [(-42.8, -26.99), (42.8, -26.99), (42.8, 26.99), (-42.8, 26.99)].map(|(x, y)| {
            let rolled = turned([x, y, 0.0], [0.0, 0.0, 1.0], self.card_roll_deg);
            let turned_card = turned(rolled, [0.0, 1.0, 0.0], self.card_turn_deg);
            let leaned = turned(turned_card, [1.0, 0.0, 0.0], self.card_lean_deg);
            self.seen(plus(leaned, [self.card_at.0, self.card_at.1, -self.card_nearer_mm], 1.0))
        })
    }

    /// A photo with exact marks.
    fn photo(&self) -> FacePhoto {
        FacePhoto {
            scale: FaceScale::Card { corners: self.corners(), nearer_mm: self.card_nearer_mm },
            pupils: Pair::new(self.pupil(Eye::Right), self.pupil(Eye::Left)),
            bridge: self.seen([0.0, 4.0, -self.bridge_mm]),
            lower_rims: None,
            image_px: self.image_px,
            camera_mm: self.at[2],
            frame_nearer_mm: 16.0,
            mark_error_px: 1.0,
        }
    }

    /// The same with a frame as worn: the edges of its lenses, its lowest points under each pupil's height.
    fn with_frame(&self, width_mm: f64, height_mm: Pair<f64>) -> FacePhoto {
        let edge = |sign: f64| self.seen([sign * width_mm / 2.0, -3.0, -16.0]);
        // The line of sight crosses the lens somewhere else than the pupil stands: the frame's plane by its equation.
        let crossing = |eye: Eye| {
            let x = -eye.nasal_sign() * self.far_mm.get(eye);
            let eye_at = self.in_space([x, 0.0, self.turning_mm]);
            let away = plus(self.in_space([0.0, 0.0, 1.0]), self.at, -1.0);
            let frame = self.in_space([0.0, 0.0, -16.0]);
            let share = dot(frame, away) / dot(eye_at, away);
            let crossing = eye_at.map(|x| x * share);
            let down = plus(self.in_space([0.0, 1.0, 0.0]), self.at, -1.0);
            let across = plus(self.in_space([1.0, 0.0, 0.0]), self.at, -1.0);
            // The lowest point lies a little to the side.
            self.pictured(plus(plus(crossing, down, *height_mm.get(eye)), across, -eye.nasal_sign() * 2.0))
        };
        FacePhoto {
            scale: FaceScale::Frame { edges: Pair::new(edge(-1.0), edge(1.0)), width_mm },
            lower_rims: Some(Pair::new(crossing(Eye::Right), crossing(Eye::Left))),
            ..self.photo()
        }
    }
}

/// The marks moved, each across and down.
fn shaken(photo: &FacePhoto, mut by: impl FnMut() -> f64) -> FacePhoto {
    let mut place = |place: Pixel| Pixel::new(place.x + by(), place.y + by());
    let scale = match photo.scale {
        FaceScale::Card { corners, nearer_mm } => FaceScale::Card { corners: corners.map(&mut place), nearer_mm },
        FaceScale::Frame { edges, width_mm } => FaceScale::Frame { edges: edges.map(&mut place), width_mm },
    };
    FacePhoto {
        scale,
        pupils: photo.pupils.map(&mut place),
        bridge: place(photo.bridge),
        lower_rims: photo.lower_rims.map(|rims| rims.map(&mut place)),
        ..*photo
    }
}

fn measure(photo: &FacePhoto) -> FaceMeasures {
    photo.measure().unwrap_or_else(|why| panic!("{why}: {photo:?}"))
}

fn off(measures: &FaceMeasures, head: &Head) -> (f64, f64) {
    let (got, want) = (measures.far_mm, head.far_mm);
    let each = (got.right - want.right).abs().max((got.left - want.left).abs());
    ((got.right + got.left - want.right - want.left).abs(), each)
}

fn is_turned(measures: &FaceMeasures) -> bool {
    measures.warnings.iter().any(|warning| matches!(warning, FaceWarning::Turned { .. }))
}

#[test]
fn exact_marks_give_the_exact_distances_anywhere_in_the_picture() {
    let mut dice = Dice::new(1);
    for _ in 0..200 {
        let head = Head::anywhere(&mut dice);
        let got = measure(&head.photo());
        let (pair, each) = off(&got, &head);
        assert!(pair < 1e-5 && each < 1e-5, "{pair} {each}: {head:?}");
        assert_eq!(got.warnings, [], "{head:?}");
        // Source: textbook (from memory), far · 400 / 427.
        assert!((got.near_mm.left - head.far_mm.left * 400.0 / 427.0).abs() < 1e-4);
    }
}

#[test]
fn a_straight_face_by_the_rule_of_similar_triangles() {
    // 63.5 mm for far; eyes that look at a camera 500 mm before their pupils: 63.5 · 500 / 510.5 = 62.194 between the
    // pupils, at 6 pixels for each mm: 373.16. The card, 10 mm nearer: 85.60 · 3000 / 490 = 524.08 pixels.
    let photo = Head::STRAIGHT.photo();
    assert!((photo.pupils.left.x - photo.pupils.right.x - 373.16).abs() < 0.1);
    let FaceScale::Card { corners, .. } = photo.scale else { panic!("a card") };
    assert!((corners[1].x - corners[0].x - 524.08).abs() < 0.01);
    let by_rule = 373.164 / 524.082 * 85.60 * 500.0 / 490.0 * 510.5 / 500.0;
    let got = measure(&photo).far_mm;
    assert!((got.right + got.left - by_rule).abs() < 0.01 && (by_rule - 63.5_f64).abs() < 0.01, "{got:?} {by_rule}");
}

#[test]
fn marks_good_to_a_pixel_give_the_pair_within_half_a_millimeter() {
    let mut dice = Dice::new(2);
    let (mut worst, mut beyond, mut outside) = (0.0_f64, 0, 0);
    let trials = 400;
    for _ in 0..trials {
        let head = Head::anywhere(&mut dice);
        let got = measure(&shaken(&head.photo(), || dice.between(-1.0, 1.0)));
        let (pair, each) = off(&got, &head);
        worst = worst.max(pair);
        beyond += usize::from(pair > 0.5);
        outside += usize::from(pair > got.plus_minus.pair_mm || each > got.plus_minus.each_mm);
        assert!(!is_turned(&got), "{got:?}: {head:?}");
    }
    assert!(beyond == 0 && worst > 0.2, "{worst:.2} mm, {beyond} of {trials} beyond half a millimeter");
    assert!(outside == 0, "{outside} of {trials} outside of what is stated");
}

/// A head as the measurement takes it to be, with everything unknown drawn as it says.
fn likely(dice: &mut Dice) -> (Head, FacePhoto) {
    let head = Head {
        turn_deg: 4.0 * dice.normal(),
        lean_deg: 4.0 * dice.normal(),
        card_turn_deg: 3.0 * dice.normal(),
        card_lean_deg: 5.0 * dice.normal(),
        turning_mm: 10.5 + dice.between(-0.75, 0.75),
        bridge_mm: dice.between(-4.0, 4.0),
        ..Head::anywhere(dice)
    };
    let photo = shaken(&head.photo(), || dice.normal());
    let FaceScale::Card { corners, nearer_mm } = photo.scale else { panic!("a card") };
    let scale = FaceScale::Card { corners, nearer_mm: nearer_mm + dice.between(-2.0, 2.0) };
    let camera_mm = photo.camera_mm / (1.0 + dice.between(-0.1, 0.1));
    (head, FacePhoto { scale, camera_mm, ..photo })
}

#[test]
fn what_is_stated_holds_about_ninety_five_times_in_a_hundred() {
    let mut dice = Dice::new(3);
    let trials = 600;
    let (mut pairs, mut eyes) = (0, 0);
    for _ in 0..trials {
        let (head, photo) = likely(&mut dice);
        let got = measure(&photo);
        pairs += usize::from(off(&got, &head).0 <= got.plus_minus.pair_mm);
        for eye in Eye::BOTH {
            eyes += usize::from((got.far_mm.get(eye) - head.far_mm.get(eye)).abs() <= got.plus_minus.each_mm);
        }
    }
    let (pairs, eyes) = (100.0 * pairs as f64 / trials as f64, 50.0 * eyes as f64 / trials as f64);
    assert!((93.0..=97.5).contains(&pairs) && (93.0..=97.5).contains(&eyes), "{pairs:.1} % {eyes:.1} %");
}

#[test]
fn a_turned_head_is_said_from_where_it_matters() {
    // 10.5 mm · sin 5.5° is 1 mm, the house limit for each center. Marks of a pixel leave about 2° in doubt, so in between
    // only some turns are said; what the others do stays within the ± of each eye.
    for (turn, least_said, most_said) in
        [(0, 0, 0), (2, 0, 0), (4, 0, 2), (5, 0, 15), (6, 5, 25), (7, 15, 30), (9, 28, 30), (12, 30, 30), (20, 30, 30)]
    {
        let mut dice = Dice::new(4);
        let (mut said, mut unsaid_mm) = (0, 0.0_f64);
        for sign in [-1.0, 1.0].repeat(15) {
            let at = [dice.between(-20.0, 20.0), 20.0, 500.0];
            let head = Head { turn_deg: sign * f64::from(turn), at, ..Head::anywhere(&mut dice) };
            let got = measure(&shaken(&head.photo(), || dice.between(-1.0, 1.0)));
            let (pair, each) = off(&got, &head);
            assert!(pair < 0.65 && each < 1.3, "{turn}: {pair:.2} {each:.2}");
            match got.warnings.iter().find(|warning| matches!(warning, FaceWarning::Turned { .. })) {
                Some(FaceWarning::Turned { deg, toward }) => {
                    said += 1;
                    assert!((deg - f64::from(turn)).abs() < 5.0, "{deg} for {turn}");
                    // The left side of a head that turns to its right comes nearer.
                    let right_cheek_mm = head.in_space([-60.0, 0.0, 0.0])[2];
                    assert_eq!(*toward == Eye::Right, right_cheek_mm > head.at[2]);
                }
                _ => {
                    unsaid_mm = unsaid_mm.max(each);
                    assert!(each <= got.plus_minus.each_mm, "{turn}°: {each:.2} mm off, stated {:?}", got.plus_minus);
                }
            }
        }
        assert!((least_said..=most_said).contains(&said), "{turn}°: said {said} times of 30");
        assert!(unsaid_mm < 1.2, "{turn}°: {unsaid_mm:.2} mm were not said");
    }
}

#[test]
fn a_head_beside_the_axis_may_face_the_camera() {
    let at = [110.0, 0.0, 500.0];
    let facing = Head { at, turn_deg: (110.0_f64 / 500.0).atan().to_degrees(), ..Head::STRAIGHT };
    let photo = |head: &Head| FacePhoto { camera_mm: dot(head.at, head.at).sqrt(), ..head.photo() };
    let got = measure(&photo(&facing));
    let (pair, each) = off(&got, &facing);
    assert!(pair < 0.2 && each < 0.2 && !is_turned(&got), "{pair:.2} {each:.2} {:?}", got.warnings);
    // High, low, and in the corners of the picture.
    for (x, y) in [(0.0, -150.0_f64), (0.0, 180.0), (100.0, -150.0), (-110.0, 180.0)] {
        let aside: f64 = x / 500.0;
        let (turn_deg, lean_deg) = (aside.atan().to_degrees(), -(y / 500.0).atan2(aside.hypot(1.0)).to_degrees());
        let facing = Head { at: [x, y, 500.0], turn_deg, lean_deg, ..Head::STRAIGHT };
        let got = measure(&photo(&facing));
        let (pair, each) = off(&got, &facing);
        assert!(pair < 0.1 && each < 0.3, "{x} {y}: {pair:.2} {each:.2}");
        assert!(got.warnings.is_empty(), "{x} {y}: {:?}", got.warnings);
    }
    let turned_away = Head { turn_deg: -12.0, ..facing };
    assert!(is_turned(&measure(&turned_away.photo())));
}

#[test]
fn a_head_or_a_card_that_leans() {
    let mut dice = Dice::new(5);
    let leans = |measures: &FaceMeasures| measures.warnings.iter().any(|w| matches!(w, FaceWarning::Leaning(_)));
    for (lean_deg, most_mm, is_said) in [
        (3.0, 0.95, false),
        (-3.0, 0.95, false),
        (-10.0, 1.4, true),
        (10.0, 1.4, true),
        (-18.0, 2.5, true),
        (18.0, 2.5, true),
    ] {
        for _ in 0..20 {
            let straight = Head { at: [0.0, 20.0, 500.0], ..Head::anywhere(&mut dice) };
            for head in [Head { lean_deg, ..straight }, Head { card_lean_deg: lean_deg, ..straight }] {
                let got = measure(&shaken(&head.photo(), || dice.between(-1.0, 1.0)));
                let pair_mm = off(&got, &head).0;
                assert!(pair_mm < most_mm, "{lean_deg}: {pair_mm:.2} {got:?}");
                assert_eq!(leans(&got), is_said, "{lean_deg}: {got:?}");
            }
        }
    }
    let said = FaceWarning::Leaning(12.0).to_string();
    assert!(said.contains("its top toward the camera"), "{said}");
}

#[test]
fn the_card_may_be_upright_or_below_the_eyes() {
    let below = Head { card_at: (0.0, 60.0), ..Head::STRAIGHT };
    assert!(off(&measure(&below.photo()), &below).1 < 1e-6);
    let upright = Head { card_at: (0.0, -65.0), card_roll_deg: 90.0, ..Head::STRAIGHT };
    let mut photo = upright.photo();
    let FaceScale::Card { corners: [a, b, c, d], nearer_mm } = photo.scale else { panic!("a card") };
    // Whichever corner is marked first.
    for corners in [[a, b, c, d], [b, c, d, a], [c, d, a, b], [d, a, b, c]] {
        photo.scale = FaceScale::Card { corners, nearer_mm };
        assert!(off(&measure(&photo), &upright).1 < 1e-6);
    }
}

#[test]
fn the_width_of_the_frame_is_a_scale_too_and_the_rims_give_heights() {
    let mut dice = Dice::new(6);
    let heights = Pair::new(21.5, 21.5);
    for _ in 0..100 {
        let head = Head::anywhere(&mut dice);
        let exact = head.with_frame(138.0, heights);
        let got = measure(&exact);
        assert!(off(&got, &head).1 < 1e-4, "{got:?}: {head:?}");
        let height = got.height_mm.unwrap();
        assert!((height.right - 21.5).abs() < 1e-3 && (height.left - 21.5).abs() < 1e-3, "{height:?}");
        let got = measure(&shaken(&exact, || dice.between(-1.0, 1.0)));
        assert!(off(&got, &head).0 < 0.6, "{got:?}");
        let (height, stated) = (got.height_mm.unwrap(), got.plus_minus.height_mm.unwrap());
        assert!((height.right - 21.5).abs() < stated && stated < 2.0, "{height:?} {stated}");
        // A frame alone does not say how the head is turned.
        assert!(got.warnings.contains(&FaceWarning::TurnUnseen));
        // The card gives the same heights.
        let by_card = measure(&FacePhoto { scale: head.photo().scale, ..exact });
        assert!((by_card.height_mm.unwrap().left - 21.5).abs() < 1e-3 && by_card.warnings.is_empty());
    }
}

#[test]
fn worse_marks_and_a_smaller_picture_are_stated_worse() {
    let stated = |focal_px: f64, mark_error_px: f64| {
        let head = Head { focal_px, image_px: (focal_px, focal_px * 4.0 / 3.0), ..Head::STRAIGHT };
        measure(&FacePhoto { mark_error_px, ..head.photo() }).plus_minus
    };
    let (good, rough, small) = (stated(3000.0, 1.0), stated(3000.0, 3.0), stated(1000.0, 1.0));
    assert!(good.pair_mm < 1.0 && good.each_mm < 1.6, "{good:?}");
    assert!(rough.pair_mm > 1.5 * good.pair_mm && rough.each_mm > good.each_mm, "{rough:?}");
    // A picture of a third of the size with marks of a pixel is as good as marks of three pixels.
    assert!((small.pair_mm - rough.pair_mm).abs() < 1e-3, "{small:?} {rough:?}");
    let tiny = Head { focal_px: 450.0, image_px: (450.0, 600.0), ..Head::STRAIGHT };
    assert!(measure(&tiny.photo()).warnings.contains(&FaceWarning::TurnUnseen));
}

#[test]
fn what_is_no_face_is_refused_in_words() {
    let good = Head::STRAIGHT.photo();
    let FaceScale::Card { corners: [a, b, c, d], nearer_mm } = good.scale else { panic!("a card") };
    let card = |corners| FacePhoto { scale: FaceScale::Card { corners, nearer_mm }, ..good };
    let px = Pixel::new;
    let exchanged = Pair::new(good.pupils.left, good.pupils.right);
    let near = |place: Pixel| px(place.x * 0.01 + 1500.0, place.y * 0.01 + 1500.0);
    let rims = Pair::new(px(1300.0, 1800.0), px(1700.0, 1800.0));
    for (photo, want) in [
        (card([b, a, d, c]), "go around"),
        (card([a, c, b, d]), "go around"),
        (card([a, a, c, d]), "go around"),
        (card([a, b, c, px(d.x, d.y - 90.0)]), "85.60 by 53.98"),
        (card([a, px(a.x + 300.0, a.y), px(a.x + 300.0, a.y + 300.0), px(a.x, a.y + 300.0)]), "1.00 to 1"),
        (card([a, b, c, d].map(near)), "too small"),
        (card([px(-1.0, a.y), b, c, d]), "a corner of the card is not in the picture"),
        (card([px(f64::NAN, a.y), b, c, d]), "a corner of the card is not in the picture"),
        (FacePhoto { pupils: exchanged, ..good }, "right eye is on the viewer’s left"),
        (FacePhoto { pupils: Pair::new(good.pupils.right, px(good.pupils.right.x + 100.0, 2000.0)), ..good }, "apart"),
        (FacePhoto { bridge: px(1000.0, 2000.0), ..good }, "between the pupils"),
        (FacePhoto { bridge: px(1500.0, 1700.0), ..good }, "at the height of the eyes"),
        (FacePhoto { lower_rims: Some(rims), ..good }, "below its pupil"),
        (FacePhoto { camera_mm: 199.0, ..good }, "200 and 5000"),
        (FacePhoto { camera_mm: f64::NAN, ..good }, "200 and 5000"),
        (FacePhoto { mark_error_px: -1.0, ..good }, "mark error"),
        (FacePhoto { image_px: (0.0, 4000.0), ..good }, "width of the picture"),
        (FacePhoto { scale: FaceScale::Frame { edges: exchanged, width_mm: 138.0 }, ..good }, "exchanged"),
        (FacePhoto { scale: FaceScale::Frame { edges: good.pupils, width_mm: 60.0 }, ..good }, "80 and 180"),
    ] {
        let why = photo.measure().map_err(|why: FaceRefused| why.to_string()).expect_err(want);
        assert!(why.contains(want), "{why}: {want}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_marks_are_measured_or_refused(
        places in prop::collection::vec((-10.0..1010.0_f64, -10.0..1010.0_f64), 9),
        camera_mm in 150.0..6000.0_f64, nearer_mm in -30.0..70.0_f64, mark_error_px in prop::sample::select(vec![0.0, 1.0, 40.0]),
    ) {
        let at = |i: usize| Pixel::new(places[i].0, places[i].1);
        let photo = FacePhoto {
            scale: FaceScale::Card { corners: [at(0), at(1), at(2), at(3)], nearer_mm },
            pupils: Pair::new(at(4), at(5)),
            bridge: at(6),
            lower_rims: Some(Pair::new(at(7), at(8))),
            image_px: (1000.0, 1000.0),
            camera_mm,
            mark_error_px,
            ..Head::STRAIGHT.photo()
        };
        if let Ok(got) = photo.measure() {
            let PlusMinus { pair_mm, each_mm, .. } = got.plus_minus;
            for value in [got.far_mm.right, got.far_mm.left, got.near_mm.right, pair_mm, each_mm] {
                prop_assert!(value.is_finite() && value >= 0.0);
            }
            prop_assert!((40.0..=80.0).contains(&(got.far_mm.right + got.far_mm.left)));
        }
    }

    #[test]
    fn a_mirrored_face_has_its_eyes_exchanged(seed in 1_u64..1_000_000) {
        let head = Head::anywhere(&mut Dice::new(seed));
        let photo = shaken(&head.photo(), { let mut dice = Dice::new(seed + 1); move || dice.between(-1.0, 1.0) });
        let over = |place: Pixel| Pixel::new(photo.image_px.0 - place.x, place.y);
        let FaceScale::Card { corners: [a, b, c, d], nearer_mm } = photo.scale else { panic!("a card") };
        let mirrored = FacePhoto {
            scale: FaceScale::Card { corners: [b, a, d, c].map(over), nearer_mm },
            pupils: Pair::new(over(photo.pupils.left), over(photo.pupils.right)),
            bridge: over(photo.bridge),
            ..photo
        };
        let (one, other) = (measure(&photo), measure(&mirrored));
        prop_assert!((one.far_mm.right - other.far_mm.left).abs() < 1e-6);
        prop_assert!((one.plus_minus.each_mm - other.plus_minus.each_mm).abs() < 1e-6);
    }

    #[test]
    fn twice_the_pixels_are_the_same_face(seed in 1_u64..1_000_000, times in 0.5..3.0_f64) {
        let photo = Head::anywhere(&mut Dice::new(seed)).photo();
        let larger = |place: Pixel| Pixel::new(times * place.x, times * place.y);
        let FaceScale::Card { corners, nearer_mm } = photo.scale else { panic!("a card") };
        let grown = FacePhoto {
            scale: FaceScale::Card { corners: corners.map(larger), nearer_mm },
            pupils: photo.pupils.map(larger),
            bridge: larger(photo.bridge),
            image_px: (times * photo.image_px.0, times * photo.image_px.1),
            mark_error_px: times * photo.mark_error_px,
            ..photo
        };
        let (one, other) = (measure(&photo), measure(&grown));
        prop_assert!((one.far_mm.right - other.far_mm.right).abs() < 1e-5);
        prop_assert!((one.plus_minus.pair_mm - other.plus_minus.pair_mm).abs() < 1e-4);
    }
}
