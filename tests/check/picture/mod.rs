//! Pictures drawn from known outlines are read back: scans within 0.05 mm everywhere and 0.03 mm at 95% of the edge,
//! photos with a card within 0.25 mm. `cargo bench --bench picture` draws many more, and measures the time.
//!
//! Pictures of something else are refused. The renderer shares nothing with the reader.

mod cats;
pub mod render;

use std::f64::consts::TAU;

use rimbook::picture::{Ask, Note, PictureRefused, Pixel, Reading, Scale, Subject, format_of, read};
use rimbook::shape::outline::Point;

use render::{Camera, Dice, Flaws, Look, Scene, Truth, jpeg, picture, png, png_or_jpeg};

const SCAN: Ask = Ask { scale: Scale::Dpi(300.0), subject: Subject::Lens };

/// The largest distance between an edge and the truth, and the one that 95% stay under. Both ways, so that a missing
/// piece counts too.
fn distances(truth: &Truth, edge: &[Point]) -> (f64, f64) {
    let mut off: Vec<f64> = edge.iter().map(|p| truth.distance(p.x_mm, p.y_mm).abs()).collect();
    for i in 0..360 {
        let (x, y) = truth.point(f64::from(i) / 360.0 * TAU);
        let to_side = |(p, q): (&Point, &Point)| {
            let side = q.minus(*p);
            let from = Point::new(x, y).minus(*p);
            let length = side.x_mm * side.x_mm + side.y_mm * side.y_mm;
            let share = ((from.x_mm * side.x_mm + from.y_mm * side.y_mm) / length).clamp(0.0, 1.0);
            from.minus(Point::new(share * side.x_mm, share * side.y_mm)).length_mm()
        };
        off.push(edge.iter().zip(edge.iter().cycle().skip(1)).map(to_side).fold(f64::INFINITY, f64::min));
    }
    off.sort_by(f64::total_cmp);
    (off[off.len() - 1], off[off.len() * 95 / 100])
}

/// The edge of the only lens of a reading, where it lies in the plane.
fn edge(reading: &Reading) -> Vec<Point> {
    let [lens] = &reading.lenses[..] else { panic!("{} lenses", reading.lenses.len()) };
    lens.points.iter().map(|point| point.plus(lens.middle)).collect()
}

fn clear(dice: &mut Dice) -> Look {
    Look::new([dice.between(0.93, 1.0); 3], dice.between(0.35, 1.4), dice.between(0.35, 0.75))
}

fn tinted(dice: &mut Dice) -> Look {
    let [red, green, blue] = [0.15, 0.2, 0.15].map(|low| dice.between(low, 0.75));
    Look::new([red, green, blue], dice.between(0.3, 1.0), dice.between(0.5, 1.0))
}

#[test]
fn a_scan_is_read_to_five_hundredths() {
    for seed in [2, 3] {
        let mut dice = Dice::new(seed);
        let lens = Truth::any(&mut dice, (36.0 + dice_shift(seed), -35.0));
        let look = if seed % 2 == 0 { clear(&mut dice) } else { tinted(&mut dice) };
        let scene = Scene::new(lens.clone(), look).uneven(&mut dice, 40.0).dusty(&mut dice, 24);
        let flaws = Flaws { blur_px: dice.between(0.5, 1.4), noise: dice.between(1.0, 6.0) };
        let picture = picture(&scene, &Camera::scanner(300.0, 73.0, 70.0), flaws, &mut dice);
        let bytes = png_or_jpeg(&picture, seed);
        let reading = read(&bytes, &SCAN).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
        let (most_mm, usual_mm) = distances(&lens, &edge(&reading));
        assert!(most_mm < 0.05 && usual_mm < 0.03, "seed {seed}: {most_mm:.3} {usual_mm:.3}");
    }
}

/// Blur draws the far side of the dark line into the edge. Where that cannot be undone the reading says so.
#[test]
#[ignore = "long: cargo test -- --include-ignored"]
fn a_blurred_scan_is_exact_or_says_that_it_is_not() {
    let look = |tint: f64, ring_mm: f64, ring: f64| Look::new([tint; 3], ring_mm, ring);
    let unsure = |reading: &Reading| reading.notes.iter().any(|note| matches!(note, Note::Unsure(_)));
    for (blur_px, look, is_exact, is_unsure) in [
        (1.0, look(0.96, 0.7, 0.45), true, false),
        (2.0, look(0.96, 0.7, 0.45), true, true),
        (3.0, look(0.5, 0.8, 0.6), true, true),
        (3.0, look(0.97, 0.3, 0.5), false, true),
    ] {
        let mut dice = Dice::new(41);
        let lens = Truth::any(&mut dice, (35.2, -34.6));
        let scene = Scene::new(lens.clone(), look).uneven(&mut dice, 40.0);
        let flaws = Flaws { blur_px, noise: 3.0 };
        let bytes = png(&picture(&scene, &Camera::scanner(300.0, 71.0, 69.0), flaws, &mut dice));
        let reading = read(&bytes, &SCAN).unwrap_or_else(|why| panic!("{blur_px}: {why}"));
        let (most_mm, usual_mm) = distances(&lens, &edge(&reading));
        assert_eq!(unsure(&reading), is_unsure, "{blur_px}: {:?} {most_mm:.3} {usual_mm:.3}", reading.notes);
        assert!(!is_exact || most_mm < 0.05 && usual_mm < 0.03, "{blur_px}: {most_mm:.3} {usual_mm:.3}");
    }
}

/// A fiber along a faint edge moves the line between its ends (the first two), where it crosses the edge slowly (the third), or all
/// along (the next two). A speck drowns in a wide blur (the last). Such a reading is exact, or says about how far it may be off.
#[test]
#[ignore = "long: cargo test -- --include-ignored"]
fn a_fiber_along_the_edge_is_not_passed_over_in_silence() {
    for (seed, blur_px) in [(100, 1.0), (164, 1.0), (1170, 1.0), (3152, 1.0), (7111, 1.0), (158, 1.5)] {
        let mut dice = Dice::new(7_000_000 + seed);
        let at = (36.0 + dice.unit(), -35.0 - dice.unit());
        let lens = Truth::any(&mut dice, at);
        let look = Look::new([dice.between(0.93, 1.0); 3], dice.between(0.3, 1.4), dice.between(0.35, 0.8));
        let scene = Scene::new(lens.clone(), look).uneven(&mut dice, 40.0).dusty(&mut dice, 24);
        let flaws = Flaws { blur_px, noise: dice.between(1.0, 6.0) };
        let picture = picture(&scene, &Camera::scanner(300.0, 75.0, 73.0), flaws, &mut dice);
        let bytes = png_or_jpeg(&picture, seed);
        let reading = read(&bytes, &SCAN).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
        let (most_mm, usual_mm) = distances(&lens, &edge(&reading));
        let stated = reading.notes.iter().find_map(|note| if let Note::Unsure(mm) = note { Some(*mm) } else { None });
        let is_exact = most_mm < 0.05 && usual_mm < 0.03;
        let is_said = stated.is_some_and(|mm| mm > 0.7 * most_mm && mm < 0.3);
        assert!(is_exact || is_said, "seed {seed}: {most_mm:.3} {usual_mm:.3}, said {stated:?}");
    }
}

/// The border of this opening lies far inside of its edge for a short way, where the line once ran back on itself; and that of the
/// last so far that a wide smoothing led the first line away from the edge.
#[test]
#[ignore = "long: cargo test -- --include-ignored"]
fn a_loop_in_the_first_line_along_a_rim_is_opened() {
    for (seed, blur_px) in [(120, 0.5), (120, 1.0), (2044, 0.5)] {
        let mut dice = Dice::new(7_000_000 + seed);
        let at = (36.0 + dice.unit(), -35.0 - dice.unit());
        let lens = Truth::any(&mut dice, at);
        let look = Look::new([1.0; 3], dice.between(1.2, 4.5), dice.between(0.1, 0.7));
        let mut scene = Scene::new(lens.clone(), look).uneven(&mut dice, 40.0).dusty(&mut dice, 24);
        scene.is_rim = true;
        let flaws = Flaws { blur_px, noise: dice.between(1.0, 6.0) };
        let picture = picture(&scene, &Camera::scanner(300.0, 75.0, 73.0), flaws, &mut dice);
        let bytes = png_or_jpeg(&picture, seed);
        let reading = read(&bytes, &Ask { subject: Subject::Rim, ..SCAN }).unwrap();
        let (most_mm, usual_mm) = distances(&lens, &edge(&reading));
        assert!(most_mm < 0.03 && usual_mm < 0.01, "{seed} {blur_px}: {most_mm:.3} {usual_mm:.3}");
    }
}

/// A speck in a blurred edge looks like the edge itself, moved; and in a deep shadow the dark line is far darker on one side.
#[test]
fn dust_and_shadow_beside_a_blurred_faint_edge_do_not_move_it() {
    let mut dice = Dice::new(7);
    let lens = Truth::any(&mut dice, (35.2, -34.6));
    let look = Look::new([0.99; 3], 0.6, 0.69);
    let mut scene = Scene::new(lens.clone(), look).dusty_at(&[0.4, 1.9, 3.1, 4.4], 0.12, 0.55);
    scene.shadow = (0.5, 0.3, 0.2);
    let flaws = Flaws { blur_px: 2.0, noise: 3.0 };
    let bytes = png(&picture(&scene, &Camera::scanner(300.0, 71.0, 69.0), flaws, &mut dice));
    let (most_mm, usual_mm) = distances(&lens, &edge(&read(&bytes, &SCAN).unwrap()));
    assert!(most_mm < 0.05 && usual_mm < 0.03, "{most_mm:.3} {usual_mm:.3}");
}

/// The outer edge of a rim is closed and stands out as well, and may be seen better than the inner one.
#[test]
fn the_outer_edge_of_a_rim_is_not_taken_for_its_opening() {
    let mut dice = Dice::new(90_000);
    let lens = Truth::any(&mut dice, (38.0, -38.0));
    let mut scene = Scene::new(lens.clone(), Look::new([1.0; 3], 4.3, 0.57)).uneven(&mut dice, 40.0);
    scene.is_rim = true;
    let flaws = Flaws { blur_px: 1.0, noise: 2.0 };
    let bytes = png(&picture(&scene, &Camera::scanner(200.0, 76.0, 76.0), flaws, &mut dice));
    let reading = read(&bytes, &Ask { scale: Scale::Dpi(200.0), subject: Subject::Rim }).unwrap();
    let (most_mm, _) = distances(&lens, &edge(&reading));
    assert!(most_mm < 0.1, "{most_mm:.3}");
}

/// The top of a bevel throws a line that may be far fainter than the one of its foot, and the two may be alike.
#[test]
fn the_outer_line_of_a_bevel_is_the_edge() {
    for (ring_mm, ring, from_mm, through) in [(0.3, 0.88, 0.65, 0.5), (0.35, 0.9, 1.1, 0.5), (0.5, 0.7, 0.95, 0.55)] {
        let mut dice = Dice::new(8);
        let lens = Truth::any(&mut dice, (36.0, -35.0));
        let look =
            Look { inner: Some((from_mm, 0.2, through)), ring_change: 0.2, ..Look::new([0.97; 3], ring_mm, ring) };
        let scene = Scene::new(lens.clone(), look);
        let flaws = Flaws { blur_px: 0.7, noise: 2.0 };
        let bytes = png(&picture(&scene, &Camera::scanner(300.0, 73.0, 70.0), flaws, &mut dice));
        let (most_mm, usual_mm) = distances(&lens, &edge(&read(&bytes, &SCAN).unwrap()));
        assert!(most_mm < 0.05 && usual_mm < 0.03, "{ring_mm} {from_mm}: {most_mm:.3} {usual_mm:.3}");
    }
}

/// In the mean of the whole lens a thin line of changing width looks blurred more than it is, which moved the edge by a pixel.
#[test]
fn a_thin_line_that_is_wider_on_one_side_does_not_move_the_edge() {
    let mut dice = Dice::new(9);
    let lens = Truth::any(&mut dice, (36.0, -35.0));
    let look = Look { ring_change: 0.45, ..Look::new([0.98; 3], 0.21, 0.56) };
    let scene = Scene::new(lens.clone(), look);
    let flaws = Flaws { blur_px: 0.85, noise: 3.0 };
    let bytes = png(&picture(&scene, &Camera::scanner(300.0, 73.0, 70.0), flaws, &mut dice));
    let (most_mm, usual_mm) = distances(&lens, &edge(&read(&bytes, &SCAN).unwrap()));
    assert!(most_mm < 0.05 && usual_mm < 0.03, "{most_mm:.3} {usual_mm:.3}");
}

/// A rim that is read as a lens gives its outside, and a lens that is read as an opening the inside of its dark line.
#[test]
fn a_rim_is_not_taken_for_a_lens_in_silence_nor_a_lens_for_a_rim() {
    for is_rim in [false, true] {
        let mut dice = Dice::new(10);
        let lens = Truth::any(&mut dice, (38.0, -38.0));
        let (ring_mm, ring) = if is_rim { (3.0, 0.2) } else { (0.35, 0.5) };
        let mut scene = Scene::new(lens.clone(), Look::new([1.0; 3], ring_mm, ring));
        scene.is_rim = is_rim;
        let flaws = Flaws { blur_px: 0.7, noise: 2.0 };
        let bytes = png(&picture(&scene, &Camera::scanner(300.0, 76.0, 76.0), flaws, &mut dice));
        for subject in [Subject::Lens, Subject::Rim] {
            let notes = read(&bytes, &Ask { subject, ..SCAN }).unwrap().notes;
            let said = notes.iter().find_map(|note| match note {
                Note::LikeARim(mm) | Note::LikeALens(mm) => Some(*mm),
                _ => None,
            });
            let is_wrong = is_rim != (subject == Subject::Rim);
            assert_eq!(said.is_some(), is_wrong, "{is_rim} {subject:?}: {notes:?}");
            assert!(said.is_none_or(|mm| (mm - ring_mm).abs() < 0.15), "{said:?}");
        }
    }
}

/// A lamp is mirrored in nearly every lens on a table.
#[test]
#[ignore = "long: cargo test -- --include-ignored"]
fn a_lamp_in_the_lens_is_reported_and_does_not_hide_its_edge() {
    let mut dice = Dice::new(5);
    let lens = Truth::any(&mut dice, (36.0, -35.0));
    let look = Look::new([0.9; 3], 0.6, 0.5);
    for (spread_mm, is_reported) in [(0.4, false), (2.0, true)] {
        let mut scene = Scene::new(lens.clone(), look.clone());
        scene.paper = [0.6; 3];
        scene.lamp = Some(((32.0, -32.0), spread_mm));
        let flaws = Flaws { blur_px: 0.8, noise: 2.0 };
        let bytes = png(&picture(&scene, &Camera::scanner(300.0, 73.0, 70.0), flaws, &mut dice));
        let reading = read(&bytes, &SCAN).unwrap_or_else(|why| panic!("{spread_mm}: {why}"));
        let (most_mm, _) = distances(&lens, &edge(&reading));
        assert!(most_mm < 0.05, "{spread_mm}: {most_mm:.3}");
        assert_eq!(reading.notes.contains(&Note::Marked), is_reported, "{spread_mm}");
    }
}

/// A bevel throws light back for a part of the way, far brighter than the edge is dark.
#[test]
fn a_glint_on_the_bevel_is_not_taken_for_the_edge() {
    let mut dice = Dice::new(6);
    let lens = Truth::any(&mut dice, (36.0, -35.0));
    let mut scene = Scene::new(lens.clone(), Look::new([0.96; 3], 0.4, 0.45));
    scene.paper = [0.2; 3];
    scene.glint = Some((1.2, 2.3));
    let flaws = Flaws { blur_px: 0.8, noise: 2.0 };
    let bytes = png(&picture(&scene, &Camera::scanner(300.0, 73.0, 70.0), flaws, &mut dice));
    let reading = read(&bytes, &SCAN).unwrap_or_else(|why| panic!("{why}"));
    let (most_mm, usual_mm) = distances(&lens, &edge(&reading));
    assert!(most_mm < 0.1 && usual_mm < 0.05, "{most_mm:.3} {usual_mm:.3}");
}

fn dice_shift(seed: u64) -> f64 {
    // Not on whole pixels.
    seed as f64 * 0.137
}

#[test]
#[ignore = "long: cargo test -- --include-ignored"]
fn a_photo_with_a_card_is_read_to_a_quarter_of_a_millimeter() {
    {
        let seed = 12;
        let mut dice = Dice::new(seed);
        let size = (1200, 900);
        let focal_px = 1200.0 * dice.between(0.85, 1.2);
        let tilt = 0.3;
        let (far_mm, toward, roll) = (focal_px * 0.17, dice.between(0.0, TAU), dice.between(-0.2, 0.2));
        let camera = Camera::pinhole(size, focal_px, far_mm, tilt, toward, roll);
        let lens = Truth::any(&mut dice, (-46.0, dice_shift(seed)));
        let look = if seed % 2 == 0 { clear(&mut dice) } else { tinted(&mut dice) };
        let mut scene = Scene::new(lens.clone(), look).uneven(&mut dice, 90.0).dusty(&mut dice, 8);
        scene.paper = [0.85; 3];
        scene.card = Some(((38.0, dice.between(-12.0, 12.0)), dice.between(-0.2, 0.2), 0.3));
        let picture = picture(&scene, &camera, Flaws { blur_px: 0.9, noise: 3.0 }, &mut dice);
        let ask = Ask { scale: Scale::Card, subject: Subject::Lens };
        let reading = read(&jpeg(&picture, 90), &ask).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
        let found = edge(&reading);
        let seen = found.iter().map(|point| {
            let place = reading.plane.to_px(*point);
            let (x, y) = camera.mm((place.x, place.y));
            Point::new(x, y)
        });
        let on_the_table: Vec<Point> = seen.collect();
        // As found in the picture, and in its own millimeters laid over the truth.
        let (in_picture_mm, _) = distances(&lens, &on_the_table);
        let (most_mm, _) = distances(&lens, &laid_over(&found, &on_the_table));
        assert!(in_picture_mm < 0.25 && most_mm < 0.25, "seed {seed}: {in_picture_mm:.3} {most_mm:.3}");
        assert!(!reading.notes.contains(&Note::SquareCard), "seed {seed}: {:?}", reading.notes);
    }
}

/// Points turned and moved, not scaled, to lie on others as well as they can.
fn laid_over(points: &[Point], onto: &[Point]) -> Vec<Point> {
    let middle = |points: &[Point]| {
        let sum = points.iter().fold(Point::ORIGIN, |sum, point| sum.plus(*point));
        Point::new(sum.x_mm / points.len() as f64, sum.y_mm / points.len() as f64)
    };
    let (from, to) = (middle(points), middle(onto));
    let (mut across, mut along) = (0.0, 0.0);
    for (p, q) in points.iter().zip(onto) {
        let (p, q) = (p.minus(from), q.minus(to));
        across += p.x_mm * q.y_mm - p.y_mm * q.x_mm;
        along += p.x_mm * q.x_mm + p.y_mm * q.y_mm;
    }
    let turned = across.atan2(along).to_degrees();
    points.iter().map(|p| p.minus(from)).map(|p| Point::polar(p.length_mm(), p.angle_deg() + turned).plus(to)).collect()
}

#[test]
#[ignore = "long: cargo test -- --include-ignored"]
fn something_else_is_refused_in_words() {
    let asks = [SCAN, Ask { subject: Subject::Rim, ..SCAN }, Ask { scale: Scale::Card, ..SCAN }];
    for (index, (name, draw)) in cats::KINDS.iter().enumerate() {
        let bytes = png(&draw(&mut Dice::new(101)));
        let ask = asks[index % 3];
        let said = read(&bytes, &ask).err().map(|why| why.to_string());
        assert!(said.as_ref().is_some_and(|said| said.len() > 20), "{name} {ask:?}: {said:?}");
    }
}

fn small_scan() -> (Truth, Vec<u8>) {
    let mut dice = Dice::new(7);
    let lens = Truth::any(&mut dice, (33.0, -33.0));
    let look = Look::new([0.3; 3], 0.5, 0.8);
    let scene = Scene::new(lens.clone(), look);
    let picture = picture(&scene, &Camera::scanner(200.0, 66.0, 66.0), Flaws { blur_px: 0.7, noise: 1.0 }, &mut dice);
    (lens, png(&picture))
}

#[test]
fn a_scale_is_never_guessed() {
    let (lens, bytes) = small_scan();
    let with = |scale| read(&bytes, &Ask { scale, subject: Subject::Lens });
    assert_eq!(with(Scale::OfTheFile), Err(PictureRefused::NoScale));
    assert_eq!(with(Scale::Card), Err(PictureRefused::NoCard));
    assert_eq!(with(Scale::Dpi(72.0)), Err(PictureRefused::Dpi(72.0)));
    assert_eq!(with(Scale::Dpi(f64::NAN)).err().map(|why| why.to_string().contains("dpi")), Some(true));
    let near = Scale::Ruler { from: Pixel::new(10.0, 10.0), to: Pixel::new(60.0, 10.0), mm: 6.35 };
    assert!(matches!(with(near), Err(PictureRefused::Ruler(_))));
    // A ruler of 2 inches along the 200 dpi scan, and the dpi itself.
    let ruler = Scale::Ruler { from: Pixel::new(10.0, 10.0), to: Pixel::new(410.0, 10.0), mm: 50.8 };
    for scale in [ruler, Scale::Dpi(200.0)] {
        let (most_mm, _) = distances(&lens, &edge(&with(scale).unwrap()));
        assert!(most_mm < 0.05, "{scale:?}: {most_mm}");
    }
    // The check can fail: at 220 dpi all is 9% smaller.
    let (most_mm, _) = distances(&lens, &edge(&with(Scale::Dpi(220.0)).unwrap()));
    assert!(most_mm > 1.0);
}

/// A PNG that states its resolution, in dots for each meter (PNG, W3C, 11.3.4.3).
fn with_density(png: &[u8], across: u32, down: u32) -> Vec<u8> {
    let mut part = b"pHYs".to_vec();
    part.extend(across.to_be_bytes());
    part.extend(down.to_be_bytes());
    part.push(1);
    let check = crc(&part).to_be_bytes();
    // The head of a PNG and its first part, IHDR, are 33 bytes long.
    [&png[..33], &9_u32.to_be_bytes(), &part, &check, &png[33..]].concat()
}

/// A scanner may have another resolution across than down; a circle is then no circle.
#[test]
fn a_resolution_that_differs_both_ways_is_refused() {
    let (lens, bytes) = small_scan();
    for scale in [Scale::OfTheFile, Scale::Dpi(200.0)] {
        let ask = Ask { scale, subject: Subject::Lens };
        let (most_mm, _) = distances(&lens, &edge(&read(&with_density(&bytes, 7874, 7874), &ask).unwrap()));
        assert!(most_mm < 0.05, "{most_mm}");
        let refused = read(&with_density(&bytes, 7874, 15748), &ask).unwrap_err();
        assert!(refused.to_string().contains("200 dpi across and 400 down"), "{refused}");
    }
}

#[test]
fn what_is_no_picture_or_too_large_is_refused() {
    let (_, bytes) = small_scan();
    let ask = |bytes: &[u8]| read(bytes, &SCAN);
    assert_eq!(ask(b"TRCFMT=1;400;E;R;F"), Err(PictureRefused::NotAPicture));
    assert!(matches!(ask(&bytes[..bytes.len() / 2]), Err(PictureRefused::Damaged)));
    assert!(matches!(ask(&vec![0xff; 41 << 20]), Err(PictureRefused::FileTooLarge(_))));
    // The header of a PNG of 60,000 by 60,000 pixels; the size is refused before anything is decoded.
    let mut bomb = bytes.clone();
    bomb[16..24].copy_from_slice(&[0, 0, 0xea, 0x60, 0, 0, 0xea, 0x60]);
    let check = crc(&bomb[12..29]).to_be_bytes();
    bomb[29..33].copy_from_slice(&check);
    let refused = ask(&bomb).unwrap_err();
    assert!(matches!(refused, PictureRefused::TooLarge { .. }), "{refused:?}");
    assert!(format_of(&bomb).is_some());
}

/// The check of a PNG chunk (ISO 3309).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 })
    })
}
