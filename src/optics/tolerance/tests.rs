use super::*;
use crate::optics::prescription::{LensPower, Prism, read, read_measured};
use crate::optics::prism::InUp;
use crate::optics::{Eye, Pair};

fn power(text: &str) -> LensPower {
    read(text).unwrap().rx.power
}

fn reading(text: &str) -> Option<LensPower> {
    Some(read_measured(text).unwrap())
}

/// A pair with both lenses alike, distances 32 and heights 20.
fn ordered(text: &str) -> OrderedPair {
    OrderedPair {
        power: Pair::new(power(text), power(text)),
        prism: Pair::new(Prism::NONE, Prism::NONE),
        pupil_distance_mm: Pair::new(32.0, 32.0),
        height_mm: Pair::new(20.0, 20.0),
        center_thickness_mm: Pair::default(),
    }
}

/// The same pair, made perfectly.
fn perfect(text: &str) -> Measured {
    Measured {
        power: Pair::new(reading(text), reading(text)),
        prism: Pair::default(),
        pupil_distance_mm: Pair::new(Some(32.0), Some(32.0)),
        height_mm: Pair::new(Some(20.0), Some(20.0)),
        is_width_only: false,
        center_thickness_mm: Pair::default(),
    }
}

fn find<'a>(lines: &'a [ToleranceLine], row: &str, eye: Option<Eye>) -> &'a ToleranceLine {
    lines
        .iter()
        .find(|line| line.quantity.name() == row && line.eye == eye)
        .unwrap_or_else(|| panic!("{row} {eye:?}: {lines:#?}"))
}

/// The right lens's row when `measured` was read for `wanted`.
fn right(profile: Profile, wanted: &str, measured: &str, row: &str) -> ToleranceLine {
    let mut pair = perfect(wanted);
    pair.power.right = reading(measured);
    find(&verify(profile, &CenterLimits::OFF, &ordered(wanted), &pair), row, Some(Eye::Right)).clone()
}

#[test]
fn keys_come_back() {
    for profile in Profile::ALL {
        assert_eq!(Profile::from_key(profile.key()), Some(profile));
    }
    assert_eq!(Profile::from_key("other"), None);
    for quantity in Quantity::ALL {
        assert_eq!(Quantity::from_key(quantity.key()), Some(quantity));
    }
    assert_eq!(Quantity::from_key("other"), None);
    let units = [RowUnit::Diopter, RowUnit::Degree, RowUnit::PrismDiopter, RowUnit::Millimeter];
    assert_eq!(units.map(RowUnit::key), ["d", "deg", "pd", "mm"]);
}

#[test]
fn a_profile_is_named_as_on_papers() {
    assert_eq!(Profile::ALL.map(|profile| profile.to_string()), ["ANSI Z80.1-2015", "ISO 21987 (from memory)"]);
}

/// The published basis of the axis rows: asin(0.12 / 2C), from the 2005 edition's white paper.
#[test]
fn axis_rows_follow_their_published_basis() {
    for (cylinder_d, basis_deg) in [(0.25f64, 13.9f64), (0.5, 6.9), (1.0, 3.4)] {
        assert!(((0.12 / (2.0 * cylinder_d)).asin().to_degrees() - basis_deg).abs() < 0.05, "{cylinder_d}");
        let limit = Profile::Z80_1.axis_limit(cylinder_d).unwrap();
        assert!((limit.size - basis_deg).abs() < 0.5, "{cylinder_d}: {}", limit.size);
    }
}

#[test]
fn a_perfect_pair_is_verified_and_a_missing_reading_is_not() {
    for profile in Profile::ALL {
        for text in ["-2.25 -1.25 x 95", "+1.00 +2.00 x 10", "plano", "-2.12 -1.12 x 5", "-6.50 sph"] {
            let lines = verify(profile, &CenterLimits::OFF, &ordered(text), &perfect(text));
            assert!(is_verified(&lines), "{profile} {text}: {lines:#?}");
            let mut pair = perfect(text);
            pair.height_mm.left = None;
            let lines = verify(profile, &CenterLimits::OFF, &ordered(text), &pair);
            assert!(!is_verified(&lines));
            assert_eq!(find(&lines, "Vertical imbalance", None).status, Status::NotChecked);
            assert_eq!(lines.iter().filter(|line| line.status == Status::NotChecked).count(), 1);
            pair.power.left = None;
            assert!(
                verify(profile, &CenterLimits::OFF, &ordered(text), &pair).iter().all(|l| l.status != Status::Fail)
            );
        }
    }
    assert!(!is_verified(&[]), "nothing checked is not verified");
}

#[test]
fn the_form_a_lens_is_written_in_does_not_matter() {
    for profile in Profile::ALL {
        let lines = verify(profile, &CenterLimits::OFF, &ordered("-3.50 +1.25 x 5"), &perfect("-2.25 -1.25 x 95"));
        assert!(lines.iter().all(|line| line.off_by == Some(0.0)), "{lines:#?}");
    }
}

/// ANSI rows 1 to 3 on both sides of each branch: ordered, measured, row, limit, verdict.
#[test]
fn ansi_power_cylinder_and_axis_at_their_branches() {
    use Status::{AtLimit, Fail, Pass};
    const POWER: &str = "Power in the strongest meridian";
    for (wanted, measured, row, limit, status) in [
        ("-6.50 sph", "-6.60 sph", POWER, 0.13, Pass),
        ("-6.50 sph", "-6.63 sph", POWER, 0.13, AtLimit),
        ("-6.50 sph", "-6.64 sph", POWER, 0.13, Fail),
        ("-6.75 sph", "-6.88 sph", POWER, 0.135, AtLimit),
        ("-6.75 sph", "-6.89 sph", POWER, 0.135, AtLimit), // 0.14 is the limit and the reading allowance
        ("-6.75 sph", "-6.90 sph", POWER, 0.135, Fail),
        ("+8.00 sph", "+8.16 sph", POWER, 0.16, AtLimit),
        ("+8.00 sph", "+8.17 sph", POWER, 0.16, Fail),
        ("-2.12 sph", "-2.00 sph", POWER, 0.13, AtLimit),
        // Of a lens ordered without cylinder, the strongest meridian measured counts: -1.14.
        ("-1.00 sph", "-0.94 -0.20 x 20", POWER, 0.13, Fail),
        ("-1.00 sph", "-0.94 -0.12 x 20", POWER, 0.13, Pass),
        // The strongest meridian is across the axis: -6.00 -2.00 has 8.00 there.
        ("-6.00 -2.00 x 90", "-6.08 -2.08 x 90", POWER, 0.16, AtLimit),
        ("-6.00 -2.00 x 90", "-6.10 -2.07 x 90", POWER, 0.16, Fail),
        // Along the axis: +8.00 -2.00.
        ("+8.00 -2.00 x 90", "+8.16 -2.00 x 90", POWER, 0.16, AtLimit),
        ("-1.00 -2.00 x 90", "-1.00 -2.13 x 90", "Cylinder", 0.13, AtLimit),
        ("-1.00 -2.00 x 90", "-1.00 -2.14 x 90", "Cylinder", 0.13, Fail),
        ("-1.00 -2.25 x 90", "-1.00 -2.40 x 90", "Cylinder", 0.15, AtLimit),
        ("-1.00 -2.25 x 90", "-1.00 -2.41 x 90", "Cylinder", 0.15, Fail),
        ("-1.00 -4.50 x 90", "-1.00 -4.65 x 90", "Cylinder", 0.15, AtLimit),
        ("-1.00 -4.50 x 90", "-1.00 -4.66 x 90", "Cylinder", 0.15, Fail),
        ("-1.00 -5.00 x 90", "-1.00 -5.20 x 90", "Cylinder", 0.20, AtLimit),
        ("-1.00 -5.00 x 90", "-1.00 -5.21 x 90", "Cylinder", 0.20, Fail),
        ("-1.00 sph", "-0.94 -0.13 x 20", "Cylinder", 0.13, AtLimit),
        ("-1.00 sph", "-0.93 -0.14 x 20", "Cylinder", 0.13, Fail),
        ("-1.00 -0.12 x 90", "-1.00 -0.12 x 76", "Axis", 14.0, AtLimit),
        ("-1.00 -0.25 x 90", "-1.00 -0.25 x 105", "Axis", 14.0, Fail),
        ("-1.00 -0.37 x 90", "-1.00 -0.37 x 97", "Axis", 7.0, AtLimit),
        ("-1.00 -0.50 x 90", "-1.00 -0.50 x 98", "Axis", 7.0, Fail),
        ("-1.00 -0.62 x 90", "-1.00 -0.62 x 96", "Axis", 5.0, Fail),
        ("-1.00 -0.75 x 90", "-1.00 -0.75 x 85", "Axis", 5.0, AtLimit),
        ("-1.00 -0.87 x 90", "-1.00 -0.87 x 94", "Axis", 3.0, Fail),
        ("-1.00 -1.50 x 90", "-1.00 -1.50 x 93", "Axis", 3.0, AtLimit),
        ("-1.00 -1.75 x 90", "-1.00 -1.75 x 93", "Axis", 2.0, Fail),
        ("-1.00 -1.75 x 1", "-1.00 -1.75 x 179", "Axis", 2.0, AtLimit),
        ("-1.00 -1.75 x 180", "-1.00 -1.75 x 1", "Axis", 2.0, Pass),
    ] {
        let line = right(Profile::Z80_1, wanted, measured, row);
        assert!((line.limit - limit).abs() < 1e-9, "{wanted} {row}: limit {}", line.limit);
        assert_eq!(line.status, status, "{wanted} read {measured}: {}", line.explain);
        assert!(!line.source.is_empty());
    }
}

#[test]
fn a_cylinder_read_as_none_leaves_the_axis_unchecked() {
    let line = right(Profile::Z80_1, "-1.00 -0.12 x 90", "-1.06 sph", "Axis");
    assert_eq!(line.status, Status::NotChecked);
    let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &ordered("-1.00 sph"), &perfect("-1.00 sph"));
    assert!(lines.iter().all(|line| line.quantity != Quantity::Axis), "no cylinder ordered, no axis row");
}

/// ANSI rows 6 and 7 on both sides of 3.375 and 2.75 D: power, heights or distances read right, limit, verdict.
#[test]
fn ansi_imbalance_at_its_branches() {
    use Status::{AtLimit, Fail, Pass};
    for (text, up_mm, limit, unit, off_by, status) in [
        ("-3.37 sph", 1.0, 0.33, RowUnit::PrismDiopter, 0.3375, Fail),
        ("-3.37 sph", 0.9, 0.33, RowUnit::PrismDiopter, 0.30375, AtLimit),
        ("-3.50 sph", 1.0, 1.0, RowUnit::Millimeter, 1.0, AtLimit),
        ("-3.50 sph", 1.01, 1.0, RowUnit::Millimeter, 1.01, Fail),
        // A height error of 1 mm in a lens of 4.00 D is 0.4 prism diopters and still passes (computed).
        ("+4.00 sph", 1.0, 1.0, RowUnit::Millimeter, 1.0, AtLimit),
        ("+1.00 sph", 2.0, 0.33, RowUnit::PrismDiopter, 0.2, Pass),
        // The vertical meridian picks the branch: -5.00 D lies at 180 only.
        ("-1.00 -4.00 x 90", 2.0, 0.33, RowUnit::PrismDiopter, 0.2, Pass),
        ("-1.00 -4.00 x 180", 2.0, 1.0, RowUnit::Millimeter, 2.0, Fail),
    ] {
        let mut pair = perfect(text);
        pair.height_mm.right = Some(20.0 + up_mm);
        let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &ordered(text), &pair);
        let line = find(&lines, "Vertical imbalance", None);
        assert_eq!((line.limit, line.unit), (limit, unit), "{text}");
        assert!((line.off_by.unwrap() - off_by).abs() < 1e-9, "{text}: {}", line.explain);
        assert_eq!(line.status, status, "{text} {up_mm}: {}", line.explain);
    }
    // The left center too high is the same difference with the other sign.
    let mut pair = perfect("-3.50 sph");
    pair.height_mm.left = Some(21.25);
    let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &ordered("-3.50 sph"), &pair);
    assert_eq!(find(&lines, "Vertical imbalance", None).reading, Some(-1.25));
    for (text, wider_mm, limit, unit, off_by, status) in [
        ("-2.75 sph", 2.4, 0.67, RowUnit::PrismDiopter, 0.66, AtLimit),
        ("-2.75 sph", 2.5, 0.67, RowUnit::PrismDiopter, 0.6875, Fail),
        ("-2.87 sph", 2.5, 2.5, RowUnit::Millimeter, 2.5, AtLimit),
        ("-2.87 sph", -2.51, 2.5, RowUnit::Millimeter, 2.51, Fail),
        ("+1.00 sph", 5.0, 0.67, RowUnit::PrismDiopter, 0.5, Pass),
        ("-1.00 -4.00 x 180", 5.0, 0.67, RowUnit::PrismDiopter, 0.5, Pass),
        ("-1.00 -4.00 x 90", 3.0, 2.5, RowUnit::Millimeter, 3.0, Fail),
    ] {
        let mut pair = perfect(text);
        pair.pupil_distance_mm.right = Some(32.0 + wider_mm);
        let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &ordered(text), &pair);
        let line = find(&lines, "Horizontal imbalance", None);
        assert_eq!((line.limit, line.unit), (limit, unit), "{text}");
        assert!((line.off_by.unwrap() - off_by).abs() < 1e-9, "{text}: {}", line.explain);
        assert_eq!(line.status, status, "{text} {wider_mm}: {}", line.explain);
    }
}

#[test]
fn errors_alike_cancel_in_height_and_add_in_width() {
    let mut pair = perfect("-2.00 sph");
    pair.height_mm = Pair::new(Some(23.0), Some(23.0));
    pair.pupil_distance_mm = Pair::new(Some(34.0), Some(34.0));
    let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &ordered("-2.00 sph"), &pair);
    assert_eq!(find(&lines, "Vertical imbalance", None).off_by, Some(0.0));
    assert!((find(&lines, "Horizontal imbalance", None).off_by.unwrap() - 0.8).abs() < 1e-9);
}

#[test]
fn the_stronger_eye_picks_the_branch() {
    let mut unlike = ordered("-1.00 sph");
    unlike.power.left = power("-4.00 sph");
    let mut pair = perfect("-1.00 sph");
    pair.power.left = reading("-4.00 sph");
    pair.height_mm = Pair::new(Some(20.5), Some(20.5));
    let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &unlike, &pair);
    assert_eq!(find(&lines, "Vertical imbalance", None).unit, RowUnit::Millimeter);
    let lines = verify(Profile::Iso21987, &CenterLimits::OFF, &unlike, &pair);
    let line = find(&lines, "Vertical imbalance", None);
    assert!((line.off_by.unwrap() - 0.15).abs() < 1e-9, "0.20 less 0.05: {}", line.explain);
}

#[test]
fn an_oblique_cylinder_turns_an_error_aside() {
    let mut pair = perfect("-2.00 -1.00 x 45");
    pair.pupil_distance_mm.right = Some(29.0);
    let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &ordered("-2.00 -1.00 x 45"), &pair);
    // -2.00 -1.00 x 45 at 3 mm: 0.75 along and 0.15 across (computed, Long / Keating).
    assert!((find(&lines, "Horizontal imbalance", None).off_by.unwrap() - 0.75).abs() < 1e-9);
    assert!((find(&lines, "Vertical imbalance", None).off_by.unwrap() - 0.15).abs() < 1e-9);
    // A center 1 mm high before -2.50 D gives 0.25 base down, against 0.15 base up from the 3 mm in (computed).
    pair.height_mm.right = Some(21.0);
    let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &ordered("-2.00 -1.00 x 45"), &pair);
    assert!((find(&lines, "Vertical imbalance", None).off_by.unwrap() - 0.10).abs() < 1e-9);
}

#[test]
fn prescribed_prism_is_judged_by_its_difference() {
    let mut wanted = ordered("-2.00 sph");
    wanted.prism.right = read("pl 2 BI 1 BU").unwrap().rx.prism;
    let mut pair = perfect("-2.00 sph");
    let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &wanted, &pair);
    assert_eq!(find(&lines, "Prescribed prism, vertical", None).status, Status::NotChecked);
    for (in_pd, up_pd, horizontal, vertical) in [
        (2.0, 1.0, Status::Pass, Status::Pass),
        (2.67, 1.33, Status::AtLimit, Status::AtLimit),
        (1.32, 0.66, Status::Fail, Status::Fail),
        (-2.0, 1.0, Status::Fail, Status::Pass),
    ] {
        pair.prism.right = Some(InUp { in_pd, up_pd });
        let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &wanted, &pair);
        assert_eq!(find(&lines, "Prescribed prism, horizontal", None).status, horizontal, "{in_pd} in");
        assert_eq!(find(&lines, "Prescribed prism, vertical", None).status, vertical, "{up_pd} up");
    }
    let mut unwanted = perfect("-2.00 sph");
    unwanted.prism.left = Some(InUp { in_pd: 0.0, up_pd: 0.5 });
    let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &ordered("-2.00 sph"), &unwanted);
    assert_eq!(find(&lines, "Prescribed prism, vertical", None).status, Status::Fail, "measured though not ordered");
}

#[test]
fn prism_rows_where_prism_is_prescribed_or_measured() {
    let rows = |wanted: &OrderedPair, read: &Measured| -> Vec<(String, Option<String>, Status)> {
        verify(Profile::Z80_1, &CenterLimits::OFF, wanted, read)
            .into_iter()
            .filter(|line| matches!(line.quantity, Quantity::PrismHorizontal | Quantity::PrismVertical))
            .map(|line| (line.ordered, line.measured, line.status))
            .collect()
    };
    let (mut wanted, mut pair) = (ordered("-2.00 sph"), perfect("-2.00 sph"));
    assert_eq!(rows(&wanted, &pair), vec![], "none prescribed and none measured");
    let prism = |text: &str| read(text).unwrap().rx.prism;
    wanted.prism = Pair::new(prism("pl 2 BI"), prism("pl 1.5 BO 0.5 BD"));
    let unread = |ordered: &str| (ordered.to_owned(), None, Status::NotChecked);
    assert_eq!(rows(&wanted, &pair), [unread("2.00 in / 1.50 out"), unread("0.00 / 0.50 down")]);
    pair.prism = Pair::new(Some(InUp { in_pd: 1.9, up_pd: 0.1 }), Some(InUp { in_pd: -1.5, up_pd: -0.5 }));
    let passed = |ordered: &str, measured: &str| (ordered.to_owned(), Some(measured.to_owned()), Status::Pass);
    assert_eq!(
        rows(&wanted, &pair),
        [passed("2.00 in / 1.50 out", "1.90 in / 1.50 out"), passed("0.00 / 0.50 down", "0.10 up / 0.50 down")]
    );
}

#[test]
fn center_thickness_where_it_was_specified() {
    let mut wanted = ordered("-2.00 sph");
    wanted.center_thickness_mm.right = Some(2.0);
    let mut pair = perfect("-2.00 sph");
    for (read_mm, status) in [
        (None, Status::NotChecked),
        (Some(1.8), Status::Pass),
        // Exactly four fifths of 0.3.
        (Some(2.24), Status::Pass),
        (Some(2.25), Status::AtLimit),
        (Some(1.7), Status::AtLimit),
        (Some(1.69), Status::Fail),
    ] {
        pair.center_thickness_mm.right = read_mm;
        let lines = verify(Profile::Z80_1, &CenterLimits::OFF, &wanted, &pair);
        assert_eq!(find(&lines, "Center thickness", Some(Eye::Right)).status, status, "{read_mm:?}");
    }
}

/// Where two rules give one limit, the rule that is named still changes at the printed bound; no axis below an eighth.
#[test]
fn the_rule_named_is_that_of_the_range() {
    let (ansi, iso) = (Profile::Z80_1, Profile::Iso21987);
    for (limit, range) in [
        (ansi.power_limit(6.5), "Power to 6.50 D:"),
        (ansi.power_limit(-6.51), "Power over 6.50 D:"),
        (iso.vertical_limit(5.0, 0.0), "Vertical power to 5.00 D:"),
        (iso.vertical_limit(5.01, 0.0), "Vertical power over 5.00 D:"),
    ] {
        assert!(limit.rule.starts_with(range), "{} for {range}", limit.rule);
    }
    assert_eq!(ansi.axis_limit(-0.12).unwrap().size, 14.0);
    assert_eq!(ansi.axis_limit(0.11), None);
}

/// ISO rows on both sides of their branches, from memory: strongest power, cylinder, limits on each.
#[test]
fn iso_power_and_cylinder_at_their_branches() {
    let iso = Profile::Iso21987;
    for (strongest_d, cylinder_d, meridian, cylinder) in [
        (3.00, 0.75, 0.12, 0.09),
        (3.00, 0.87, 0.12, 0.12),
        (3.125, 0.75, 0.12, 0.12),
        (-6.00, -4.00, 0.12, 0.12),
        (-6.00, -4.25, 0.12, 0.18),
        (-6.25, -4.00, 0.12, 0.18),
        (9.00, 6.00, 0.12, 0.18),
        (9.00, 6.25, 0.12, 0.25),
        (9.25, 0.75, 0.18, 0.12),
        (12.00, 4.25, 0.18, 0.25),
        (12.25, 0.50, 0.25, 0.18),
        (20.00, 1.00, 0.25, 0.25),
        (20.25, 4.25, 0.37, 0.37),
    ] {
        assert_eq!(iso.power_limit(strongest_d).size, meridian, "{strongest_d}");
        assert_eq!(iso.cylinder_limit(strongest_d, cylinder_d).size, cylinder, "{strongest_d} {cylinder_d}");
    }
    for (cylinder_d, axis_deg) in [
        (0.12, 16.0),
        (0.125, 16.0),
        (0.25, 16.0),
        (0.375, 9.0),
        (0.5, 9.0),
        (0.75, 6.0),
        (0.875, 4.0),
        (1.5, 4.0),
        (1.75, 3.0),
        (2.5, 3.0),
        (-2.75, 2.0),
    ] {
        assert_eq!(iso.axis_limit(cylinder_d).unwrap().size, axis_deg, "{cylinder_d}");
    }
    assert_eq!(iso.axis_limit(0.1), None);
    let line = right(iso, "-2.00 -1.00 x 90", "-2.12 -1.00 x 90", "Power along the axis");
    assert_eq!((line.status, line.limit), (Status::AtLimit, 0.12));
    let line = right(iso, "-2.00 -1.00 x 90", "-2.00 -1.13 x 90", "Power across the axis");
    assert_eq!(line.status, Status::Fail);
}

#[test]
fn iso_imbalance_at_its_branches() {
    let iso = Profile::Iso21987;
    for (power_d, prescribed_pd, horizontal, vertical) in [
        (3.25, 0.0, 0.67, 0.5),
        (3.50, 0.0, 0.70, 0.5),
        (5.00, 2.0, 1.00, 0.5),
        (5.25, 2.0, 1.05, 0.525),
        (1.00, 2.25, 1.00, 0.75),
        (1.00, 10.0, 1.00, 0.75),
        (1.00, 10.25, 1.25, 1.00),
    ] {
        let row = format!("{power_d} D, {prescribed_pd} prescribed, from memory");
        assert!((iso.horizontal_limit(power_d, prescribed_pd).size - horizontal).abs() < 1e-9, "{row}");
        assert!((iso.vertical_limit(-power_d, prescribed_pd).size - vertical).abs() < 1e-9, "{row}");
    }
}

#[test]
fn iso_limits_follow_the_stronger_prescribed_prism() {
    let limits = |right: &str, left: &str| {
        let mut wanted = ordered("-2.00 sph");
        wanted.prism = Pair::new(read(right).unwrap().rx.prism, read(left).unwrap().rx.prism);
        let lines = verify(Profile::Iso21987, &CenterLimits::OFF, &wanted, &perfect("-2.00 sph"));
        ["Horizontal imbalance", "Vertical imbalance", "Prescribed prism, horizontal", "Prescribed prism, vertical"]
            .map(|row| (100.0 * find(&lines, row, None).limit).round())
    };
    // From memory: 0.67 and 0.50 to 2.00 Δ, 0.33 and 0.25 more to 10.00 Δ, 0.58 and 0.50 more beyond.
    for (right, left, want) in [
        ("pl 2 BI", "pl 2 BU", [67.0, 50.0, 67.0, 50.0]),
        ("pl 2.25 BO", "pl 1 BI", [100.0, 50.0, 100.0, 50.0]),
        ("pl 1 BU", "pl 2.25 BD", [67.0, 75.0, 67.0, 75.0]),
        ("pl 10.25 BI", "pl 10.25 BD", [125.0, 100.0, 125.0, 100.0]),
    ] {
        assert_eq!(limits(right, left), want, "{right} / {left}");
    }
}

#[test]
fn a_half_hundredth_is_shown() {
    for (unit, size, words) in [
        (RowUnit::Diopter, 0.125, "0.125 D"),
        (RowUnit::Diopter, 0.13, "0.13 D"),
        (RowUnit::PrismDiopter, 0.003_2, "0.00 Δ"),
        (RowUnit::Millimeter, 1.0, "1.00 mm"),
        (RowUnit::Degree, 3.0, "3°"),
    ] {
        assert_eq!(crate::optics::notation::size(size, unit), words);
    }
}

#[test]
fn a_line_explains_itself() {
    let line = right(Profile::Z80_1, "-2.12 sph", "-2.02 sph", "Power in the strongest meridian");
    assert_eq!(
        line.explain,
        "Power to 6.50 D: ±0.13 D. Ordered -2.12, measured -2.02: 0.105 D off, the limit is 0.13 D."
    );
    assert!((line.inside.unwrap() - 0.025).abs() < 1e-9);
}

/// The place read of the right eye, row, limits, verdict; ordered 32 across and 20 high (common practice: 1.0 mm).
#[test]
fn each_center_is_held_to_its_place() {
    use Status::{AtLimit, Fail, Pass};
    let limits = CenterLimits { across_mm: Some(1.0), height_mm: Some(0.5) };
    for (across_mm, height_mm, row, status) in [
        (33.0, 20.0, "Optical center across", AtLimit),
        (33.005, 20.0, "Optical center across", AtLimit), // the limit and the reading allowance
        (33.01, 20.0, "Optical center across", Fail),
        (31.0, 20.0, "Optical center across", AtLimit),
        (30.99, 20.0, "Optical center across", Fail),
        (32.8, 20.0, "Optical center across", Pass),
        (32.0, 20.5, "Optical center height", AtLimit),
        (32.0, 20.51, "Optical center height", Fail),
        (32.0, 19.5, "Optical center height", AtLimit),
        (32.0, 19.49, "Optical center height", Fail),
        (32.0, 20.4, "Optical center height", Pass),
    ] {
        let mut pair = perfect("-1.00 sph");
        pair.pupil_distance_mm.right = Some(across_mm);
        pair.height_mm.right = Some(height_mm);
        for profile in Profile::ALL {
            let lines = verify(profile, &limits, &ordered("-1.00 sph"), &pair);
            let line = find(&lines, row, Some(Eye::Right));
            assert_eq!(line.status, status, "{across_mm} {height_mm}: {}", line.explain);
            assert_eq!(find(&lines, row, Some(Eye::Left)).off_by, Some(0.0));
            assert_eq!(is_verified(&lines), status != Fail);
            assert!(line.source.contains("not of the standard"));
            let standard = verify(profile, &CenterLimits::OFF, &ordered("-1.00 sph"), &pair);
            assert_eq!(standard[..], lines[..standard.len()], "the standard's rows do not change");
            assert_eq!(lines.len(), standard.len() + 4);
        }
    }
}

#[test]
fn errors_alike_in_both_eyes_do_not_pass_the_house_limit() {
    let mut low = perfect("-1.00 sph");
    low.height_mm = Pair::new(Some(15.0), Some(15.0));
    let mut aside = perfect("-1.00 sph");
    aside.pupil_distance_mm = Pair::new(Some(35.0), Some(29.0));
    for pair in [low, aside] {
        for profile in Profile::ALL {
            let wanted = ordered("-1.00 sph");
            assert!(is_verified(&verify(profile, &CenterLimits::OFF, &wanted, &pair)));
            assert!(!is_verified(&verify(profile, &CenterLimits::default(), &wanted, &pair)));
        }
    }
}

#[test]
fn a_center_that_was_not_read_stops_a_pass_only_by_the_standards_row() {
    let wanted = ordered("-1.00 sph");
    let mut pair = perfect("-1.00 sph");
    pair.height_mm.left = None;
    let lines = verify(Profile::Z80_1, &CenterLimits::default(), &wanted, &pair);
    let line = find(&lines, "Optical center height", Some(Eye::Left));
    assert_eq!((line.status, line.measured.as_deref()), (Status::NotChecked, None));
    assert!(line.explain.ends_with("not measured."));
    assert!(!is_verified(&lines), "the vertical imbalance was not checked");
    let others: Vec<ToleranceLine> =
        lines.into_iter().filter(|line| line.quantity != Quantity::VerticalImbalance).collect();
    assert!(is_verified(&others), "the house limit alone does not stop it");
}

#[test]
fn one_number_for_the_width_says_what_it_cannot_show() {
    let mut pair = perfect("-1.00 sph");
    pair.pupil_distance_mm = Pair::new(Some(33.25), Some(33.25));
    pair.is_width_only = true;
    let lines = verify(Profile::Z80_1, &CenterLimits::default(), &ordered("-1.00 sph"), &pair);
    for eye in Eye::BOTH {
        let line = find(&lines, "Optical center across", Some(eye));
        assert_eq!((line.status, line.off_by), (Status::Fail, Some(1.25)), "half the error to each eye");
        assert!(line.explain.ends_with("cannot be seen from one number."));
        assert!(!find(&lines, "Optical center height", Some(eye)).explain.contains("one number"));
    }
}
