//! Procedure codes against the published code set. The source stands at the head of the table.

use rimbook::desk::bill::ChargeKind;
use rimbook::desk::bill::{Billed, base_price, bill};
use rimbook::desk::catalogue::{starting_materials, starting_treatments};
use rimbook::desk::lab::CodeBasis;
use rimbook::desk::money::Cents;
use rimbook::desk::procedure_code::{FRAME, PRISM, descriptor, known_codes, lens_code, modifier};
use rimbook::optics::prescription::{EyePrescription, LensPower, Prism};
use rimbook::optics::unit::{Axis, Dioptre, PrismDioptre};
use rimbook::optics::{Eye, Pair};

const TABLE: &str = include_str!("tables/procedure_codes.csv");

fn power(sphere: &str, cylinder: &str, axis: &str) -> LensPower {
    let dioptre = |text: &str| text.parse::<Dioptre>().expect("a power");
    let axis = axis.parse::<i32>().ok().map(|a| Axis::new(a).expect("an axis"));
    LensPower::new(dioptre(sphere), dioptre(cylinder), axis).expect("a lens power")
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
    let rows: Vec<&str> = TABLE.lines().filter(|l| !l.starts_with('#')).skip(1).collect();
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
        if got.code != code || !note_agrees || got.descriptor != descriptor(code).unwrap_or("?") {
            wrong.push(format!("{row}: got {} {got_kinds:?}", got.code));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_wrong_table_would_be_noticed() {
    let got = lens_code(power("-4.12", "0", ""), CodeBasis::AsWritten);
    assert_ne!(got.code, "V2100");
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
    let prism = Prism::new(PrismDioptre::from_hundredths(prism_in).expect("a prism"), PrismDioptre::ZERO);
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
        tint: Some(&treatments[3]),
        eyes: &eyes,
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
fn no_code_or_no_dearer_material_keeps_the_price_on_the_lens() {
    let materials = starting_materials();
    let eyes = eyes(0);
    let of = |index: usize, base: i64| {
        bill(&Billed {
            frame: None,
            material: &materials[index],
            base_price: Cents::new(base),
            coating: None,
            tint: None,
            eyes: &eyes,
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
                tint: Some(&treatments[tint]),
                eyes: &eyes,
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
