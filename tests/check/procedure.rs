//! Procedure codes against the published code set. The source stands at the head of the table.

use rimbook::desk::bill::ChargeKind;
use rimbook::desk::bill::{Billed, LensExtras, base_price, bill};
use rimbook::desk::catalogue::{starting_materials, starting_treatments};
use rimbook::desk::job::EyeTask;
use rimbook::desk::lab::CodeBasis;
use rimbook::desk::money::Cents;
use rimbook::desk::procedure_code::{FRAME, PRISM, UNCLASSIFIED, descriptor, known_codes, lens_code, modifier};
use rimbook::optics::prescription::{EyePrescription, LensPower, Prism};
use rimbook::optics::unit::{Axis, Diopter, PrismDiopter};
use rimbook::optics::{Eye, Pair};

const TABLE: &str = include_str!("tables/procedure_codes.csv");
const BANDS: &str = include_str!("tables/procedure_bands.csv");
const DESCRIPTORS: &str = include_str!("tables/procedure_descriptors.csv");

/// The rows of a table below its source and its column names.
fn rows(table: &'static str) -> impl Iterator<Item = &'static str> {
    table.lines().filter(|line| !line.starts_with('#')).skip(1)
}

/// Code, how its wording is known, and its wording in the public code set.
fn published() -> Vec<[&'static str; 3]> {
    let fields = |row: &'static str| row.splitn(3, ',').collect::<Vec<_>>().try_into().expect("three fields");
    rows(DESCRIPTORS).map(fields).collect()
}

fn published_descriptor(code: &str) -> Option<&'static str> {
    published().into_iter().find(|row| row[0] == code).map(|row| row[2])
}

fn power(sphere: &str, cylinder: &str, axis: &str) -> LensPower {
    let diopter = |text: &str| text.parse::<Diopter>().expect("a power");
    let axis = axis.parse::<i32>().ok().map(|a| Axis::new(a).expect("an axis"));
    LensPower::new(diopter(sphere), diopter(cylinder), axis).expect("a lens power")
}

/// The kinds of note a lens code carries, by the words the owner reads.
fn kinds(note: &str) -> Vec<&'static str> {
    [
        ("gap", "between two printed ranges"),
        ("beyond", "No code covers"),
        ("twice", "both V2111"),
        ("forms", "two cylinder forms"),
    ]
    .into_iter()
    .filter(|(_, words)| note.contains(words))
    .map(|(kind, _)| kind)
    .collect()
}

#[test]
fn every_row_of_the_code_set() {
    let rows: Vec<&str> = rows(TABLE).collect();
    assert!(rows.len() > 50, "the table was cut short");
    let mut wrong = Vec::new();
    for row in rows {
        let [sphere, cylinder, axis, basis, code, note] = row.split(',').collect::<Vec<_>>()[..] else {
            panic!("not six fields: {row}");
        };
        let basis = CodeBasis::from_key(basis).expect("a basis");
        let got = lens_code(power(sphere, cylinder, axis), basis);
        let got_kinds = kinds(got.note.as_deref().unwrap_or_default());
        // A row names its chief note; a lens in a gap may besides have two codes in its two forms.
        let note_agrees = if note.is_empty() { got_kinds.is_empty() } else { got_kinds.contains(&note) };
        if got.code != code || !note_agrees || Some(got.descriptor) != published_descriptor(code) {
            wrong.push(format!("{row}: got {} {got_kinds:?}", got.code));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_descriptor_is_worded_as_published() {
    let known: Vec<_> = known_codes().collect();
    let published: Vec<_> = published().into_iter().map(|[code, _, words]| (code, words)).collect();
    assert_eq!(known, published);
    for (code, words) in published {
        assert_eq!(descriptor(code), Some(words));
    }
    assert_eq!(descriptor("V9999"), None);
    assert_eq!((modifier(Eye::Right), modifier(Eye::Left)), ("RT", "LT"), "seen in public copies");
    assert_eq!((FRAME, PRISM, UNCLASSIFIED), ("V2020", "V2715", "V2199"));
}

#[test]
fn each_row_says_how_its_wording_is_known() {
    for [code, source, _] in published() {
        assert!(["full", "part", "short", "memory"].contains(&source), "{code}: {source}");
    }
}

/// Hundredths of a size in the table.
fn hundredths(text: &str) -> Option<i32> {
    (!text.is_empty()).then(|| text.parse::<Diopter>().expect("a size").hundredths())
}

/// A lens of a sphere and cylinder of these sizes, with each sign, as the code set takes it: as written.
fn with_each_sign(sphere: i32, cylinder: i32) -> Vec<(String, rimbook::desk::procedure_code::LensCode)> {
    let size = |of: i32| Diopter::from_hundredths(of).expect("a size");
    let axis = (cylinder != 0).then(|| Axis::new(90).expect("an axis"));
    [(1, 1), (1, -1), (-1, 1), (-1, -1)]
        .into_iter()
        .map(|(s, c)| LensPower::new(size(s * sphere), size(c * cylinder), axis).expect("a power"))
        .map(|power| (power.to_string(), lens_code(power, CodeBasis::AsWritten)))
        .collect()
}

#[test]
fn every_printed_range_holds_to_both_of_its_ends_and_no_further() {
    let mut wrong = Vec::new();
    for row in rows(BANDS) {
        let [code, sphere_from, sphere_to, cylinder_from, cylinder_to] = row.split(',').collect::<Vec<_>>()[..] else {
            panic!("not five fields: {row}");
        };
        // Where no end is printed, a size far beyond the others; a sphere and cylinder of 20 and 10 can still be made.
        let spheres = [hundredths(sphere_from).expect("a beginning"), hundredths(sphere_to).unwrap_or(2000)];
        let cylinders = [hundredths(cylinder_from).expect("a beginning"), hundredths(cylinder_to).unwrap_or(1000)];
        for (sphere, cylinder) in spheres.iter().flat_map(|s| cylinders.iter().map(move |c| (*s, *c))) {
            for (power, got) in with_each_sign(sphere, cylinder) {
                let kinds = kinds(got.note.as_deref().unwrap_or_default());
                // 2.25 is printed in V2111 and in V2112: the first is taken, and a note says so.
                let is_twice = cylinder == 225 && ["V2111", "V2112"].contains(&code);
                let wanted = if is_twice { "V2111" } else { code };
                let is_noted = kinds.contains(&"gap") || kinds.contains(&"beyond");
                if got.code != wanted || is_noted || kinds.contains(&"twice") != is_twice {
                    wrong.push(format!("{power} is printed in {wanted}: got {} {kinds:?}", got.code));
                }
            }
        }
        let outside = |ends: [i32; 2], to: &str| {
            [(ends[0] > 0).then_some(ends[0] - 1), (!to.is_empty()).then_some(ends[1] + 1)].into_iter().flatten()
        };
        let beyond_sphere = outside(spheres, sphere_to).map(|sphere| (sphere, cylinders[0]));
        // A sphere alone has no cylinder to be beyond.
        let beyond_cylinder = outside(cylinders, cylinder_to).map(|cylinder| (spheres[0], cylinder));
        for (sphere, cylinder) in beyond_sphere.chain(beyond_cylinder) {
            for (power, got) in with_each_sign(sphere, cylinder) {
                let kinds = kinds(got.note.as_deref().unwrap_or_default());
                if got.code == code && !kinds.contains(&"gap") {
                    wrong.push(format!("{power} is not printed in {code}, and no note says so: {kinds:?}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_wrong_table_would_be_noticed() {
    let got = lens_code(power("-4.12", "0", ""), CodeBasis::AsWritten);
    assert_ne!(got.code, "V2100");
    assert_ne!(published_descriptor("V2100"), published_descriptor("V2101"));
}

#[test]
fn every_code_in_the_starting_catalogue_is_known_once() {
    let codes: Vec<&str> = known_codes().map(|(code, _)| code).collect();
    for (i, code) in codes.iter().enumerate() {
        assert!(code.len() == 5 && code.starts_with("V2") && !codes[..i].contains(code), "{code}");
    }
    for code in starting_materials().iter().map(|m| &m.code).chain(starting_treatments().iter().map(|t| &t.code)) {
        assert!(code.is_empty() || descriptor(code).is_some(), "{code}");
    }
}

fn eyes(prism_in: i32) -> Pair<EyePrescription> {
    let prism = Prism::new(PrismDiopter::from_hundredths(prism_in).expect("a prism"), PrismDiopter::ZERO);
    Pair::new(
        EyePrescription { power: power("-2.25", "-1.25", "95"), prism: Prism::NONE },
        EyePrescription { power: power("-8.00", "-0.50", "80"), prism: prism.expect("a prism") },
    )
}

#[test]
fn the_bill_names_each_line_once_for_each_eye() {
    let (materials, treatments) = (starting_materials(), starting_treatments());
    let eyes = eyes(150);
    let order = Billed {
        frame: Some(("Copperline Tern".into(), Cents::new(8900))),
        material: &materials[4],
        base_price: base_price(&materials),
        coating: Some(&treatments[1]),
        second_coating: None,
        tint: Some(&treatments[3]),
        extras: LensExtras::default(),
        eyes: &eyes,
        tasks: EyeTask::PAIR,
        basis: CodeBasis::AsWritten,
        shipping: Cents::new(700),
    };
    // The cheapest without a code, wherever it stands in the owner's list.
    let mut dearer = materials[5].clone();
    dearer.code.clear();
    assert_eq!(base_price([&dearer, &materials[0]]), materials[0].price);
    let lines: Vec<String> = bill(&order)
        .iter()
        .map(|c| format!("{} {} {}", c.code, c.eye.map(modifier).unwrap_or("--"), c.amount.plain()))
        .collect();
    // 1.67 at 85.00 over hard resin at 30.00: 30.00 and 55.00.
    let want = [
        "V2020 -- 89.00",
        "V2103 RT 30.00",
        "V2783 RT 55.00",
        "V2750 RT 25.00",
        "V2745 RT 15.00",
        "V2111 LT 30.00",
        "V2783 LT 55.00",
        "V2750 LT 25.00",
        "V2745 LT 15.00",
        "V2715 LT 0.00",
        " -- 7.00",
    ];
    assert_eq!(lines, want);
}

#[test]
fn what_is_charged_beside_the_lens_has_its_line() {
    let (materials, treatments) = (starting_materials(), starting_treatments());
    let (eyes, cents) = (eyes(150), Cents::new);
    let order = Billed {
        frame: Some(("The customer's own".into(), Cents::ZERO)),
        material: &materials[0],
        base_price: base_price(&materials),
        coating: Some(&treatments[0]),
        second_coating: Some(&treatments[1]),
        tint: None,
        extras: LensExtras {
            prism: Some(cents(1800)),
            high_power: Pair::new(None, Some(cents(2200))),
            oversize: Some(cents(900)),
        },
        eyes: &eyes,
        tasks: EyeTask::PAIR,
        basis: CodeBasis::AsWritten,
        shipping: Cents::ZERO,
    };
    let lines: Vec<String> = bill(&order)
        .iter()
        .map(|c| format!("{} {} {} {}", c.kind.key(), c.code, c.eye.map(modifier).unwrap_or("--"), c.amount.plain()))
        .collect();
    let want = [
        "lens V2103 RT 30.00",
        "coating V2760 RT 8.00",
        "coating V2750 RT 25.00",
        "oversize V2780 RT 9.00",
        "lens V2111 LT 30.00",
        "coating V2760 LT 8.00",
        "coating V2750 LT 25.00",
        "prism V2715 LT 18.00",
        "high_power  LT 22.00",
        "oversize V2780 LT 9.00",
    ];
    assert_eq!(lines, want);
}

#[test]
fn no_code_or_no_dearer_material_keeps_the_price_on_the_lens() {
    let materials = starting_materials();
    let eyes = eyes(0);
    let of = |index: usize, base: i64| {
        bill(&Billed {
            frame: None,
            material: &materials[index],
            base_price: Cents::new(base),
            coating: None,
            second_coating: None,
            tint: None,
            extras: LensExtras::default(),
            eyes: &eyes,
            tasks: EyeTask::PAIR,
            basis: CodeBasis::AsWritten,
            shipping: Cents::ZERO,
        })
    };
    let resin = of(0, 3000);
    assert_eq!(resin.len(), 2);
    assert!(resin.iter().all(|c| c.kind == ChargeKind::Lens && c.amount == Cents::new(3000)));
    // Polycarbonate at 45.00 over a base of 60.00, or of nothing: the code still stands, at nothing.
    for base in [6000, 0] {
        let lines = of(2, base);
        assert_eq!(lines.iter().map(|c| c.amount.cents()).collect::<Vec<_>>(), [4500, 0, 4500, 0]);
        assert!(lines.iter().all(|c| c.code != FRAME && c.code != PRISM));
    }
}

mod sums {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_bill_is_the_sum_of_its_prices(
            frame in 0..100_000_i64, base in 0..20_000_i64, shipping in 0..5000_i64,
            material in 0..6_usize, coating in 0..3_usize, tint in 3..7_usize, prism in 0..200_i32,
        ) {
            let (materials, treatments) = (starting_materials(), starting_treatments());
            let eyes = eyes(prism);
            let order = Billed {
                frame: Some(("Heron & Rye Sedge".into(), Cents::new(frame))),
                material: &materials[material],
                base_price: Cents::new(base),
                coating: Some(&treatments[coating]),
                second_coating: None,
                tint: Some(&treatments[tint]),
                extras: LensExtras::default(),
                eyes: &eyes,
                tasks: EyeTask::PAIR,
                basis: CodeBasis::Minus,
                shipping: Cents::new(shipping),
            };
            let lines = bill(&order);
            let total: i64 = lines.iter().map(|c| c.amount.cents()).sum();
            let lens = [materials[material].price, treatments[coating].price, treatments[tint].price];
            prop_assert_eq!(total, frame + shipping + 2 * lens.iter().map(|c| c.cents()).sum::<i64>());
            prop_assert!(lines.iter().all(|c| !c.amount.is_negative()));
            for eye in Eye::BOTH {
                prop_assert_eq!(lines.iter().filter(|c| c.eye == Some(eye) && c.kind == ChargeKind::Lens).count(), 1);
            }
        }
    }
}
