use proptest::prelude::*;

use super::*;
use crate::optics::prescription::tests::{power, prism};

fn notes(text: &str) -> Vec<String> {
    read(text).unwrap().notes.iter().map(ToString::to_string).collect()
}

fn only_fault(text: &str) -> PrescriptionFault {
    let faults = read(text).unwrap_err();
    assert_eq!(faults.len(), 1, "{text}: {faults:?}");
    faults[0].clone()
}

/// Common practice: the ways a practitioner writes a power.
#[test]
fn reads_what_a_practitioner_writes() {
    let astigmatic = power(-225, -125, 95);
    for (text, expected) in [
        ("-2.25 -1.25 x 95", astigmatic),
        ("-2.25 -1.25 x 095", astigmatic),
        ("-225 -125 95", astigmatic),
        ("-225-125x95", astigmatic),
        ("-2.25/-1.25x95", astigmatic),
        ("-2.25 / -1.25 / 95", astigmatic),
        ("-2.25 DS -1.25 DC x 95", astigmatic),
        ("-2.25DS-1.25DCx95", astigmatic),
        ("-2.25D -1.25D X 95°", astigmatic),
        ("-2,25 -1,25 x 95", astigmatic),
        ("-2.25, -1.25, 95", astigmatic),
        ("−2.25 –1.25 × 95º", astigmatic),
        ("- 2.25 - 1.25 axis 95 deg", astigmatic),
        ("sph -2.25 cyl -1.25 ax 95", astigmatic),
        ("SPH. -2.25 CYL. -1.25 AX. 95.", astigmatic),
        ("-3.50 +1.25 x 5", power(-350, 125, 5)),
        ("+1 DS", power(100, 0, 0)),
        ("+1", power(100, 0, 0)),
        ("+125 sph", power(125, 0, 0)),
        ("+,50", power(50, 0, 0)),
        ("+1.00 sph", power(100, 0, 0)),
        ("plano", power(0, 0, 0)),
        ("Pl.", power(0, 0, 0)),
        ("0.00", power(0, 0, 0)),
        ("-0", power(0, 0, 0)),
        ("pl -50 x 180", power(0, -50, 180)),
        ("0 -50 x 180", power(0, -50, 180)),
        ("-2 -75 x 90", power(-200, -75, 90)),
        ("-250 -50 x 5", power(-250, -50, 5)),
        ("-24 sph", power(-2400, 0, 0)),
        ("-25 sph", power(-25, 0, 0)),
        ("-1025 sph", power(-1025, 0, 0)),
        ("-2.125 sph", power(-212, 0, 0)),
        ("-2.13 sph", power(-212, 0, 0)),
        ("-2.10 sph", power(-210, 0, 0)),
        ("+1.00 0.00", power(100, 0, 0)),
        ("+1.00 +0.00 x 90", power(100, 0, 0)),
    ] {
        let reading = read(text).unwrap_or_else(|faults| panic!("{text}: {faults:?}"));
        assert_eq!(reading.rx, EyePrescription { power: expected, prism: Prism::NONE }, "{text}");
    }
}

#[test]
fn reads_prism_after_the_power() {
    let astigmatic = power(-225, -125, 95);
    for (text, power, expected) in [
        ("-2.25 -1.25 x 95 1.5 BI", astigmatic, prism(150, 0)),
        ("-2.25 -1.25 x 95, 1.5 BI, 1 BU", astigmatic, prism(150, 100)),
        ("-225 -125 95 2 bo", astigmatic, prism(-200, 0)),
        ("-2.25 -1.25x95 1.5Δ BI", astigmatic, prism(150, 0)),
        ("-2.25 -1.25x95 1.5ΔBI 1^BU", astigmatic, prism(150, 100)),
        ("-2.25 -1.25 x 95 prism 2 base out", astigmatic, prism(-200, 0)),
        ("-2.25 -1.25 x 95 with 2 prism base down", astigmatic, prism(0, -200)),
        ("-2.25 -1.25 x 95 1 BI + 1 BU", astigmatic, prism(100, 100)),
        ("-2.25 -1.25 x 95 1bi & 1bd", astigmatic, prism(100, -100)),
        ("-2.25 sph 2 b.i. prism", self::power(-225, 0, 0), prism(200, 0)),
        ("-2.25 1 BU", self::power(-225, 0, 0), prism(0, 100)),
        ("pl 3 BI", self::power(0, 0, 0), prism(300, 0)),
        ("+1,25 1,5 in 0,5 up", self::power(125, 0, 0), prism(150, 50)),
        ("1.5 BI plano", self::power(0, 0, 0), prism(150, 0)),
        ("+1.00 sph 0 BI", self::power(100, 0, 0), prism(0, 0)),
    ] {
        let reading = read(text).unwrap_or_else(|faults| panic!("{text}: {faults:?}"));
        assert_eq!(reading.rx, EyePrescription { power, prism: expected }, "{text}");
    }
}

#[test]
fn notes_say_how_the_text_was_read() {
    assert_eq!(notes("-2.25 -1.25 x 95"), Vec::<String>::new());
    assert_eq!(notes("-2 -50 x 90"), ["“-50” read as -0.50"]);
    assert_eq!(notes("-2.00 -0.50 x 0"), ["Axis 0 stored as 180"]);
    assert_eq!(notes("+0.13 sph"), ["“+0.13” stored as +0.12"]);
    assert_eq!(notes("+2.125 sph"), ["“+2.125” stored as +2.12"]);
    assert_eq!(notes("-213 sph"), ["“-213” read as -2.12"]);
    assert_eq!(notes("-12 sph"), ["“-12” read as -12.00"]);
    assert_eq!(notes("+1.00 0.00 x 95"), ["Axis 095 left out: there is no cylinder"]);
    assert_eq!(notes("+1.00 0 x 0"), ["Axis 180 left out: there is no cylinder"]);
}

#[test]
fn faults_say_what_is_missing() {
    use BaseDirection::{In, Out};
    let word = |s: &str| s.to_owned();
    let sign = |what, s: &str| PrescriptionFault::SignMissing { what, text: s.to_owned() };
    for (text, expected) in [
        ("", PrescriptionFault::Empty),
        ("  ", PrescriptionFault::Empty),
        (".", PrescriptionFault::Empty),
        (",", PrescriptionFault::PowerMissing),
        ("1.5 BI", PrescriptionFault::PowerMissing),
        ("2.00", sign("sphere", "2.00")),
        ("2.25 -1.25 x 95", sign("sphere", "2.25")),
        ("-2.25 1.25 x 95", sign("cylinder", "1.25")),
        ("-2.25 125 95", sign("cylinder", "125")),
        ("-2.25 1.25", sign("cylinder", "1.25")),
        ("-2.25 95", PrescriptionFault::LoneNumber(word("95"))),
        ("-2.25 -1.25", PowerError::AxisMissing.into()),
        ("-2.25 -1.25 x", PowerError::AxisMissing.into()),
        ("-2.25 -1.25 2 BI", PowerError::AxisMissing.into()),
        ("-2.25 x 95", PowerError::AxisWithoutCylinder(Axis::new(95).unwrap()).into()),
        ("-2.25 sph x 95", PowerError::AxisWithoutCylinder(Axis::new(95).unwrap()).into()),
        ("-2.25 -1.25 x 181", PrescriptionFault::AxisOutOfRange(word("181"))),
        ("-2.25 -1.25 x 99999999999", PrescriptionFault::AxisOutOfRange(word("99999999999"))),
        ("-2.25 -1.25 x 9.5", PrescriptionFault::AxisNotWhole(word("9.5"))),
        ("-2.25 -1.25 -95", PrescriptionFault::AxisNotWhole(word("-95"))),
        ("-2.25 -1.25 @ 95", PrescriptionFault::AtSign),
        ("-2.25 @ 90 / -3.50 @ 180", PrescriptionFault::AtSign),
        ("-2.25 add +2.00", PrescriptionFault::AddGiven),
        ("-2.25 -1.25 x 95 Add: +2.00", PrescriptionFault::AddGiven),
        ("-2.25 -1.25 x 95 +2.00 add", PrescriptionFault::AddGiven),
        ("-2.25 sph 2 base 45", PrescriptionFault::PrismBaseMissing(word("2"))),
        ("-2.25 sph prism", PrescriptionFault::PrismBaseMissing(word("Δ"))),
        ("OD -2.25 sph", PrescriptionFault::EyeNamed(word("OD"))),
        ("-2.25 sph balance", PrescriptionFault::Unreadable(word("balance"))),
        ("-2.25 sph #", PrescriptionFault::Unreadable(word("#"))),
        ("-1.25 DC x 95", PrescriptionFault::SphereMissing),
        ("x 95", PrescriptionFault::SphereMissing),
        ("-2.25 -1.25 x 95 3", PrescriptionFault::ExtraNumber(word("3"))),
        ("-2.25 -1.25 x 95 sph", PrescriptionFault::Unreadable(word("sph"))),
        ("-1.2.5", PrescriptionFault::NotANumber(word("1.2.5"))),
        ("-1.234", PrescriptionFault::TooFine(word("1.234"))),
        ("-4000 sph", PrescriptionFault::Power(PowerError::SphereOutOfRange(Diopter::MIN))),
        ("-4001 sph", PrescriptionFault::OutOfRange(word("-4001"))),
        ("-123456789 sph", PrescriptionFault::OutOfRange(word("123456789"))),
        ("-2.25 BI", PrescriptionFault::PrismSigned(word("-2.25"))),
        ("-2.25 sph BI", PrescriptionFault::PrismAmountMissing(In)),
        ("-2.25 -1.25 x 95 BI", PrescriptionFault::PrismAmountMissing(In)),
        ("-2.25 sph 2Δ", PrescriptionFault::PrismBaseMissing(word("2"))),
        ("-2.25 sph prism 2", PrescriptionFault::PrismBaseMissing(word("2"))),
        ("-2.25 sph 1 BI 1 BI", PrescriptionFault::PrismTwice(In, In)),
        ("-2.25 sph 1 BI 2 BO", PrescriptionFault::PrismTwice(In, Out)),
        ("-2.25 sph 99 BI", PrescriptionFault::PrismOutOfRange(word("99"))),
        (
            "-2.25 sph 20.5 BI",
            PrescriptionFault::PrismTooStrong(crate::optics::prescription::PrismTooStrong { amount_pd: 20.5 }),
        ),
    ] {
        assert_eq!(only_fault(text), expected, "{text}");
    }
    assert!(matches!(only_fault("-30.25 sph"), PrescriptionFault::Power(PowerError::SphereOutOfRange(_))));
    assert!(matches!(only_fault("-1.00 -10.25 x 5"), PrescriptionFault::Power(PowerError::CylinderOutOfRange(_))));
}

#[test]
fn a_leading_zero_is_ambiguous() {
    assert_eq!(
        only_fault("-012 sph").to_string(),
        "“-012” can be read as -0.12 or as -12.00: write it with its decimal point"
    );
    assert_eq!(read("-050 sph").unwrap().rx.power, power(-50, 0, 0));
}

#[test]
fn reports_every_fault_at_once() {
    let faults = read("OD 2.25 -1.25 x 190 1 BI 1 BI").unwrap_err();
    assert_eq!(faults.len(), 4, "{faults:?}");
}

#[test]
fn a_lensmeter_reading_keeps_every_hundredth() {
    assert_eq!(read_measured("-2.13 -1.01 x 94"), Ok(power(-213, -101, 94)));
    assert_eq!(read_measured("-2.13"), Ok(power(-213, 0, 0)));
    assert_eq!(read_measured("-2.13 1 BI"), Err(vec![PrescriptionFault::PrismNotHere]));
    assert!(read_measured("").is_err());
}

#[test]
fn reads_a_prism_alone() {
    assert_eq!(read_prism("2.13 BI, 1 BD"), Ok(prism(213, -100)));
    for none in ["0", "0.00", "0 BI"] {
        assert_eq!(read_prism(none), Ok(Prism::NONE), "{none}");
    }
    assert_eq!(read_prism(""), Err(vec![PrescriptionFault::Empty]));
    assert_eq!(read_prism(","), Err(vec![PrescriptionFault::PrismMissing]));
    assert_eq!(read_prism("2"), Err(vec![PrescriptionFault::PrismBaseMissing("2".to_owned())]));
    assert_eq!(read_prism("-2.25 sph 2 BI").unwrap_err().len(), 2);
}

proptest! {
    #[test]
    fn any_text_gives_a_reading_or_a_fault(text in any::<String>()) {
        if let Err(faults) = read(&text) {
            prop_assert!(!faults.is_empty());
        }
        if let Err(faults) = read_measured(&text) {
            prop_assert!(!faults.is_empty());
        }
        if let Err(faults) = read_prism(&text) {
            prop_assert!(!faults.is_empty());
        }
    }

    #[test]
    fn any_row_of_known_pieces_gives_a_reading_or_a_fault(
        pieces in prop::collection::vec(prop::sample::select(vec![
            "-2.25", "+1", "-125", "95", "0", "012", "x", "@", "/", ",", "ds", "dc", "pl", "BI", "bo", "BU", "base",
            "in", "up", "Δ", "prism", ":", "add", "OD", "+", "-", ".", "1.2.3", "&", "°", "d", " ", "é",
        ]), 0..12),
        gap in prop::sample::select(vec!["", " "]),
    ) {
        let text = pieces.join(gap);
        match read(&text) {
            Ok(reading) => prop_assert_eq!(read(&reading.rx.to_string()).unwrap().rx, reading.rx),
            Err(faults) => prop_assert!(!faults.is_empty(), "{}", text),
        }
    }
}
