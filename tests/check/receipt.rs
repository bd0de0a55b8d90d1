//! The receipt: its sums, and that a document kept long ago still reads.

use proptest::prelude::*;
use rimbook::desk::account::Account;
use rimbook::desk::bill::{Charge, ChargeKind};
use rimbook::desk::customer::Person;
use rimbook::desk::lab::Lab;
use rimbook::desk::money::Cents;
use rimbook::desk::payment::{Payment, PaymentKind};
use rimbook::desk::receipt::{Document, Patient, PrescribedEye, ReceiptError, ReceiptFacts};
use rimbook::optics::{Eye, Pair};
use time::macros::date;

/// Kept as format 1 was first written. Never edit it: a book out there holds such documents.
const FORMAT_1: &str = include_str!("documents/receipt_format_1.json");

/// The same of format 2, with the payer, the prescriber's number and the prescription.
const FORMAT_2: &str = include_str!("documents/receipt_format_2.json");

fn charge(kind: ChargeKind, eye: Option<Eye>, what: &str, code: &str, cents: i64) -> Charge {
    Charge { kind, eye, what: what.into(), code: code.into(), amount: Cents::new(cents) }
}

fn document(charges: &[Charge], payments: &[Payment]) -> Document {
    document_of(charges, payments, true)
}

fn document_of(charges: &[Charge], payments: &[Payment], is_impact_proven: bool) -> Document {
    document_of_account(&Account::of_order(charges, payments, date!(2027 - 05 - 04)), is_impact_proven)
}

fn document_of_account(account: &Account, is_impact_proven: bool) -> Document {
    let lab = Lab {
        phone: "555-0142".into(),
        email: "post@saltmarsh.example".into(),
        tax_id: "00-0000000".into(),
        ..Lab::new("Saltmarsh Lens Post".into(), "4 Quay Lane\nPellmarsh 99410".into())
    };
    let person = Person {
        name: "Ada Quill".into(),
        line1: "4 Ropewalk".into(),
        city: "Pellmarsh".into(),
        postcode: "99410".into(),
        ..Person::default()
    };
    Document::new(&ReceiptFacts {
        lab: &lab,
        person: &person,
        payer: None,
        job_number: 1042,
        corrects: None,
        issued_on: date!(2027 - 05 - 14),
        ordered_on: date!(2027 - 05 - 04),
        sent_on: Some(date!(2027 - 05 - 13)),
        prescriber: "Dr. M. Fenwick, OD",
        prescriber_npi: None,
        eyes: Pair::default(),
        prescribed_on: Some(date!(2027 - 04 - 20)),
        diagnosis: "",
        is_impact_proven,
        is_cancelled: false,
        account,
    })
}

fn sample() -> Document {
    document(
        &[
            charge(ChargeKind::Frame, None, "Copperline Tern, slate, 52□18 140", "V2020", 8900),
            charge(ChargeKind::Lens, Some(Eye::Right), "Single-vision lens, Polycarbonate 1.59", "V2103", 3000),
            charge(ChargeKind::Material, Some(Eye::Right), "Material: Polycarbonate 1.59", "V2784", 1500),
            charge(ChargeKind::Lens, Some(Eye::Left), "Single-vision lens, Polycarbonate 1.59", "V2107", 3000),
            charge(ChargeKind::Material, Some(Eye::Left), "Material: Polycarbonate 1.59", "V2784", 1500),
            charge(ChargeKind::Discount, None, "Second pair", "", -1000),
            charge(ChargeKind::Shipping, None, "Packing and shipping", "", 700),
            charge(ChargeKind::Tax, None, "Sales tax", "", 534),
        ],
        &[
            Payment { kind: PaymentKind::Card, amount: Cents::new(20_000), paid_on: date!(2027 - 05 - 04) },
            Payment { kind: PaymentKind::Card, amount: Cents::new(-1866), paid_on: date!(2027 - 05 - 13) },
        ],
    )
}

#[test]
fn adds_up_by_hand() {
    let receipt = sample();
    // 89.00 + 2 × (30.00 + 15.00) = 179.00; less 10.00, 7.00 shipping, 5.34 tax: 181.34; paid 200.00 - 18.66.
    assert_eq!(receipt.items_cents, Cents::new(17_900));
    assert_eq!(receipt.total_cents, Cents::new(18_134));
    assert_eq!(receipt.paid_cents, Cents::new(18_134));
    assert_eq!(receipt.balance_cents, Cents::ZERO);
    assert_eq!(receipt.payments[1].how, "refund, card");
    assert_eq!((receipt.lines[1].modifier.as_str(), receipt.lines[3].modifier.as_str()), ("RT", "LT"));
    assert_eq!(receipt.patient.address, "4 Ropewalk\nPellmarsh 99410");
    assert!(receipt.notes[0].contains("no claim filed") && receipt.notes[1].contains("Not a safety lens"));
    assert!(
        document(&[charge(ChargeKind::Frame, None, "A frame", "V2020", 100)], &[]).notes[0].starts_with("Not yet paid")
    );
}

#[test]
fn a_document_of_the_first_format_reads_as_it_was() {
    let kept = Document::from_json(FORMAT_1).expect("format 1 reads for ever");
    assert_eq!(kept, Document { format: 1, ..sample() });
}

#[test]
fn a_document_of_the_second_format_reads_as_it_was() {
    let kept = Document::from_json(FORMAT_2).expect("format 2 reads for ever");
    let eye = |eye: &str, rx: &str| PrescribedEye { eye: eye.into(), rx: rx.into() };
    let wanted = Document {
        format: 2,
        payer: Some(Patient { name: "Bo Quill".into(), address: "1 Fen Row\nPellmarsh 99410".into() }),
        prescriber_npi: "1234567893".into(),
        eyes: vec![eye("right", "-2.25 -1.25 x 095"), eye("left", "-2.50 -0.75 x 080")],
        ..sample()
    };
    assert_eq!(kept, wanted);
}

#[test]
fn a_line_that_was_taken_back_is_not_on_it() {
    let line = |what: &str, cents| charge(ChargeKind::Other, None, what, "", cents);
    let charges = [line("Hard case", 1200), line("Cloth", 300), line("Hard case", -1200)];
    let mut account = Account::of_order(&charges, &[], date!(2027 - 05 - 04));
    account.lines[2].reverses = Some(1);
    let receipt = document_of_account(&account, true);
    assert_eq!(receipt.lines.iter().map(|line| line.what.as_str()).collect::<Vec<_>>(), ["Cloth"]);
    assert_eq!(receipt.total_cents, Cents::new(300));
}

#[test]
fn refuses_what_is_later_or_does_not_add_up() {
    let later = FORMAT_1.replacen("\"format\":1", "\"format\":3", 1);
    assert!(matches!(Document::from_json(&later), Err(ReceiptError::Newer(3))));
    for (from, to) in [
        ("\"total_cents\":18134", "\"total_cents\":18135"),
        ("\"amount_cents\":8900", "\"amount_cents\":8901"),
        ("\"amount_cents\":20000", "\"amount_cents\":20001"),
        ("\"balance_cents\":0", "\"balance_cents\":5"),
        ("\"part\":\"tax\"", "\"part\":\"item\""),
    ] {
        let changed = FORMAT_1.replacen(from, to, 1);
        assert_ne!(changed, FORMAT_1, "{from} is not in the document");
        assert!(matches!(Document::from_json(&changed), Err(ReceiptError::DoesNotAddUp(_))), "{to}");
    }
    assert!(matches!(Document::from_json("{}"), Err(ReceiptError::Unreadable(_))));
}

#[test]
fn what_charges_nothing_is_not_on_it() {
    let frame = |cents| charge(ChargeKind::Frame, None, "Frame: Copperline Tern", "V2020", cents);
    let lens = charge(ChargeKind::Lens, Some(Eye::Right), "Lens", "V2103", 4500);
    let prism = charge(ChargeKind::Prism, Some(Eye::Right), "Prescribed prism, included", "V2715", 0);
    let codes = |charges: &[Charge]| document(charges, &[]).lines.into_iter().map(|l| l.code).collect::<Vec<_>>();
    assert_eq!(codes(&[frame(0), lens.clone(), prism.clone()]), ["V2103"]);
    assert_eq!(codes(&[frame(1), lens, prism]), ["V2020", "V2103"]);
}

#[test]
fn impact_resistance_is_claimed_only_where_it_is_on_record() {
    let [with, without] = [true, false].map(|is_proven| document_of(&[], &[], is_proven).notes);
    assert!(with[1].contains("impact-resistant as required by 21 CFR 801.410"));
    assert_eq!(without[1], "Not a safety lens: not unbreakable, not safety or sports eyewear.");
    assert_eq!([&with[0], &with[2]], [&without[0], &without[2]]);
}

fn any_charge() -> impl Strategy<Value = Charge> {
    (0..ChargeKind::ALL.len(), 0..3_usize, -100_000..1_000_000_i64, "[ -~]{0,30}").prop_map(
        |(kind, eye, cents, what)| charge(ChargeKind::ALL[kind], Eye::BOTH.get(eye).copied(), &what, "", cents),
    )
}

proptest! {
    #[test]
    fn lines_make_the_total_and_payments_the_balance(
        charges in prop::collection::vec(any_charge(), 0..30),
        payments in prop::collection::vec(-50_000..500_000_i64, 0..6),
    ) {
        let paid: Vec<Payment> = payments
            .iter()
            .map(|&c| Payment { kind: PaymentKind::Check, amount: Cents::new(c), paid_on: date!(2027 - 01 - 31) })
            .collect();
        let receipt = document(&charges, &paid);
        let lines: i64 = charges.iter().map(|c| c.amount.cents()).sum();
        prop_assert_eq!(receipt.total_cents.cents(), lines);
        let parts = [receipt.items_cents, receipt.shipping_cents, receipt.discount_cents, receipt.tax_cents];
        prop_assert_eq!(parts.iter().map(|c| c.cents()).sum::<i64>(), lines);
        prop_assert_eq!(receipt.balance_cents.cents(), lines - payments.iter().sum::<i64>());
        let back = Document::from_json(&receipt.to_json().unwrap()).unwrap();
        prop_assert_eq!(back, receipt);
    }
}
