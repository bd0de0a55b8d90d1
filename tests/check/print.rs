//! The sheets as they leave: what must stand on each, and what must not.

use askama::Template;
use rimbook::bench::bevel_place::TicketLines;
use rimbook::desk::account::Account;
use rimbook::desk::bill::{Billed, LensExtras, bill};
use rimbook::desk::catalogue::{starting_materials, starting_treatments};
use rimbook::desk::center_height::CenterHeight;
use rimbook::desk::customer::Person;
use rimbook::desk::frame::{FrameDetails, Rim};
use rimbook::desk::job::EyeTask;
use rimbook::desk::lab::{CodeBasis, Lab};
use rimbook::desk::money::Cents;
use rimbook::desk::order::Design;
use rimbook::desk::payment::{Payment, PaymentKind};
use rimbook::desk::prescription::MadeFor;
use rimbook::desk::receipt::{Document, ReceiptFacts};
use rimbook::optics::Pair;
use rimbook::optics::prescription::{EyePrescription, LensPower, Prism, read_pupil_distance};
use rimbook::optics::unit::{Axis, Diopter, Millimeter, PrismDiopter};
use rimbook::print::CheckSummary;
use rimbook::print::packing_sheet::{self, PackingSheet};
use rimbook::print::receipt::PrintedReceipt;
use rimbook::print::slip::{self, Slip};
use rimbook::print::ticket::{self, Ticket};
use rimbook::shape::blocker::BlockerStep;
use rimbook::shape::blocker::WantedCenter;
use rimbook::shape::layout::PairLayout;
use rimbook::shape::outline::{Outline, Point};
use scraper::{Html, Selector};
use time::macros::date;

const CONCESSION: &str = "Axis is 1° past the limit; Ada Quill was asked and wants them before her journey.";

fn hundredths(value: i32) -> Millimeter {
    Millimeter::from_hundredths(value).unwrap()
}

fn power(sphere: i32, cylinder: i32, axis: i32) -> LensPower {
    let diopter = |h| Diopter::from_hundredths(h).unwrap();
    LensPower::new(diopter(sphere), diopter(cylinder), Axis::new(axis).ok().filter(|_| cylinder != 0)).unwrap()
}

fn lab() -> Lab {
    Lab {
        phone: "555-0142".into(),
        email: "post@saltmarsh.example".into(),
        tax_id: "00-0000000".into(),
        ..Lab::new("Saltmarsh Lens Post".into(), "4 Quay Lane\nPellmarsh 99410".into())
    }
}

fn person() -> Person {
    Person {
        name: "Ada <Quill>".into(),
        line1: "4 Ropewalk".into(),
        city: "Pellmarsh".into(),
        postcode: "99410".into(),
        ..Person::default()
    }
}

fn frame(rim: Rim) -> FrameDetails {
    FrameDetails {
        maker: "Copperline".into(),
        model: "Tern".into(),
        color: "slate".into(),
        eye_size: hundredths(5200),
        bridge: hundredths(1800),
        temple: Some(hundredths(14_000)),
        rim,
        price: Cents::new(8900),
    }
}

fn eyes() -> Pair<EyePrescription> {
    let prism = Prism::new(PrismDiopter::from_hundredths(150).unwrap(), PrismDiopter::from_hundredths(-100).unwrap());
    Pair::new(
        EyePrescription { power: power(-225, -125, 95), prism: prism.unwrap() },
        EyePrescription { power: power(-275, 50, 10), prism: Prism::NONE },
    )
}

/// A rounded box, |x/a|³ + |y/b|³ = 1.
fn outline(a_mm: f64, b_mm: f64) -> Outline {
    let point = |i: i32| {
        let (sin, cos) = (f64::from(i) * 0.9).to_radians().sin_cos();
        let part = |v: f64| v.signum() * v.abs().powf(2.0 / 3.0);
        Point::new(a_mm / 2.0 * part(cos), b_mm / 2.0 * part(sin))
    };
    Outline::from_points((0..400).map(point).collect()).unwrap()
}

fn check() -> CheckSummary {
    CheckSummary {
        profile: "ANSI Z80.1".into(),
        verdict: "not passed".into(),
        thickness: String::new(),
        concession: Some(CONCESSION.into()),
    }
}

fn ticket(a_mm: f64, b_mm: f64, dbl_mm: f64, rim: Rim) -> String {
    made_ticket(a_mm, b_mm, dbl_mm, rim).render().unwrap()
}

fn made_ticket(a_mm: f64, b_mm: f64, dbl_mm: f64, rim: Rim) -> Ticket {
    let (materials, treatments, lab) = (starting_materials(), starting_treatments(), lab());
    let shape = outline(a_mm, b_mm);
    let wanted =
        Pair::new(WantedCenter { pd_mm: 31.2, height_mm: 21.3 }, WantedCenter { pd_mm: 32.9, height_mm: 21.0 });
    let layout = PairLayout::of(Pair::new(&shape, &shape), dbl_mm, wanted, BlockerStep::Half, 2.0);
    let (frame, eyes, check) = (frame(rim), eyes(), check());
    Ticket::of(&ticket::TicketFacts {
        holes: Vec::new(),
        lab: &lab,
        job_number: 1042,
        relens_of: Some(1007),
        customer: "Ada <Quill>",
        frame: &frame,
        tasks: EyeTask::PAIR,
        eyes: &eyes,
        wear_words: Vec::new(),
        prescribed: None,
        made_for: MadeFor::Distance,
        material: &materials[2],
        design: Design::Aspheric,
        coating: Some(&treatments[1]),
        second_coating: None,
        tint: Some(&treatments[3]),
        ordered_on: date!(2027 - 05 - 04),
        promised_on: date!(2027 - 05 - 14),
        last_cut: Some("R 150.31 (+0.10) mm, May 3, 2026 for job 1007".into()),
        lessons: Vec::new(),
        remake: None,
        note: "Wants the temples short; call before sending",
        pupil_distance: read_pupil_distance("31.2/32.9").unwrap(),
        height: Pair::new("21.3", "21").map(|height| CenterHeight::read(height).unwrap()),
        shape: Some(ticket::TicketShape {
            holes: Pair::new(&[], &[]),
            outlines: Pair::new(&shape, &shape),
            dbl_mm,
            layout: &layout,
            prism: Pair::new(None, None),
        }),
        edge: Some(&TicketLines {
            thickness: "R 1.93 mm at 88° to 4.21 mm at 215°; L 2.04 mm at 92° to 4.05 mm at 328°".into(),
            line: "R and L groove in the middle of the edge".into(),
            curves: "Base R and L 4.26 D, assumed; rim R 5.0 D, L 5.1 D".into(),
            warnings: vec!["R: The edge is 1.93 mm, and a cord-held rim needs 2.0 mm: top.".into()],
        }),
        lenses: Pair::new(None, None),
        check: Some(&check),
    })
}

fn packing_sheet(is_impact_proven: bool) -> String {
    let (materials, treatments, lab) = (starting_materials(), starting_treatments(), lab());
    PackingSheet::of(&packing_sheet::PackingFacts {
        lab: &lab,
        job_number: 1042,
        person: &person(),
        recipient: None,
        frame: &frame(Rim::Metal),
        lenses_only: false,
        eyes: eyes().map(|eye| eye.to_string()),
        single: None,
        wear_words: Vec::new(),
        made_for: MadeFor::Near,
        material: &materials[2],
        design: Design::Spherical,
        coating: Some(&treatments[1]),
        second_coating: None,
        tint: Some(&treatments[3]),
        is_impact_proven,
        packed_on: date!(2027 - 05 - 13),
        check: Some(check()),
    })
    .render()
    .unwrap()
}

fn slip() -> String {
    Slip::of(&slip::SlipFacts {
        lab: &lab(),
        job_number: 1042,
        address: &person().label(),
        carrier: "Parcel post",
        tracking: "SL 0042 7712 5550 1229",
        sent_on: Some(date!(2027 - 05 - 13)),
    })
    .render()
    .unwrap()
}

fn receipt() -> String {
    let (materials, treatments, lab) = (starting_materials(), starting_treatments(), lab());
    let eyes = eyes();
    let charges = bill(&Billed {
        frame: Some((frame(Rim::Metal).to_string(), Cents::new(8900))),
        material: &materials[2],
        base_price: materials[0].price,
        coating: Some(&treatments[1]),
        second_coating: None,
        tint: Some(&treatments[3]),
        extras: LensExtras::default(),
        eyes: &eyes,
        tasks: EyeTask::PAIR,
        basis: CodeBasis::AsWritten,
        shipping: Cents::new(700),
    });
    let payment = Payment { kind: PaymentKind::Card, amount: Cents::new(20_000), paid_on: date!(2027 - 05 - 04) };
    let npi = "1234567893".parse().unwrap();
    let payer = Person { name: "Bo Quill".into(), city: "Pellmarsh".into(), ..Person::default() };
    let document = Document::new(&ReceiptFacts {
        lab: &lab,
        person: &person(),
        payer: Some(&payer),
        job_number: 1042,
        corrects: Some(5003),
        issued_on: date!(2027 - 05 - 14),
        ordered_on: date!(2027 - 05 - 04),
        sent_on: Some(date!(2027 - 05 - 13)),
        prescriber: "Dr. M. Fenwick, OD",
        prescriber_npi: Some(&npi),
        eyes: eyes.map(Some),
        prescribed_on: Some(date!(2027 - 04 - 20)),
        diagnosis: "",
        is_impact_proven: true,
        is_cancelled: false,
        account: &Account::of_order(&charges, &[payment], date!(2027 - 05 - 04)),
    });
    PrintedReceipt::of(5004, &document).render().unwrap()
}

/// The words of a sheet, without the bar above it.
fn words(html: &str) -> String {
    let page = Html::parse_document(html);
    let sheet = Selector::parse("article.sheet").unwrap();
    let mut sheets = page.select(&sheet);
    let words = sheets.next().expect("one sheet").text().collect::<Vec<_>>().join(" ");
    assert!(sheets.next().is_none(), "one sheet a page");
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Tickets are kept as they were printed, some with the names that these fields had then.
#[test]
fn a_ticket_kept_under_older_names_is_read() {
    let ticket = made_ticket(52.0, 36.0, 18.0, Rim::Metal);
    let kept = ticket.to_json().unwrap();
    let mut older = kept.clone();
    for (now, then) in [
        ("center_in", "centre_in"),
        ("center_up", "centre_up"),
        ("boxing_center", "boxing_centre"),
        ("optical_center", "optical_centre"),
    ] {
        assert!(kept.contains(now), "{now}");
        older = older.replace(now, then);
    }
    assert_eq!(Ticket::from_json(&older).unwrap(), ticket);
}

#[test]
fn the_ticket_carries_what_the_bench_needs() {
    let html = ticket(52.0, 36.0, 18.0, Rim::Metal);
    let words = words(&html);
    // Frame PD 52 + 18 = 70; right in 35 - 31.2 = 3.8, set 31.0 and nudge 0.20 out; height 21.3 sets 21.5.
    for wanted in [
        "1042",
        "-2.25 -1.25 x 095",
        "-3.50 +1.25 x 005",
        "-2.25 -0.50 x 100",
        "-2.75 +0.50 x 010",
        "Prism 1.50 base in, 1.00 base down",
        "31.0",
        "33.0",
        "0.20 out",
        "0.10 in",
        "3.80 in",
        "2.10 in",
        "52.00 × 36.00",
        "frame PD 70.00",
        "rough dry, finish wet",
        "V bevel",
        "full rim, metal",
        "eye protection",
        "not for driving at night",
        "job 1007",
        "May 14, 2027",
        "Ada <Quill>",
        "PD 31.20/32.90 mm, total 64.10 mm",
        "Base R and L 4.26 D, assumed; rim R 5.0 D, L 5.1 D (tool index 1.530)",
        "R: The edge is 1.93 mm",
        "last cut R 150.31 (+0.10)",
        CONCESSION,
    ] {
        assert!(words.contains(wanted), "“{wanted}” is not on the ticket: {words}");
    }
    assert!(!words.contains(" page"), "what is needed stands on the ticket itself: {words}");
    assert!(html.contains("aria-label=\"Barcode of 1042\"") && html.contains("Ruler: 50 mm and 2 in"));
    // 52 + 18 + 52 + 4 = 126 by 36 + 4 = 40 mm, in whole pixels of 25.4/96 mm.
    assert!(html.contains("width=\"477px\" height=\"152px\"\n  viewBox=\"-63.000 -20.000 126.206250 40.216667\""));
}

#[test]
fn the_slip_tells_nothing_of_the_prescription() {
    let html = slip();
    let words = words(&html);
    for wanted in ["Saltmarsh Lens Post", "4 Quay Lane", "Ada <Quill>", "4 Ropewalk", "Parcel post", "Job 1042"] {
        assert!(words.contains(wanted), "{wanted}: {words}");
    }
    assert!(html.contains("Barcode of SL0042771255501229"));
    for forbidden in ["2.25", "1.25", "sphere", "axis", "prism", "lens,", "prescription", "Rx"] {
        assert!(!words.contains(forbidden), "{forbidden}: {words}");
    }
}

#[test]
fn the_packing_sheet_warns_and_says_in_plain_words_how_it_was_checked() {
    let html = packing_sheet(true);
    assert!(!html.contains("<table"), "the customer needs no technical table");
    let words = words(&html);
    for wanted in [
        "21 CFR 801.410",
        "Not safety or sports eyewear",
        "floors and steps",
        "Not for driving",
        "reading distance",
        "not everything is within the standard (ANSI Z80.1)",
        CONCESSION,
        "Quote this number for new lenses",
        "Copperline Tern",
        "-2.25 -1.25 x 095",
    ] {
        assert!(words.contains(wanted), "{wanted}: {words}");
    }
}

#[test]
fn the_packing_sheet_claims_only_what_is_on_record() {
    let words = words(&packing_sheet(false));
    assert!(words.contains("Not unbreakable. Not safety or sports eyewear."), "{words}");
    assert!(!words.contains("801.410") && !words.contains("mpact"), "{words}");
}

#[test]
fn the_receipt_says_what_a_plan_asks_for() {
    let words = words(&receipt());
    // 89.00 + 2 × (45.00 + 25.00 + 15.00) = 259.00, and 7.00: 266.00, less 200.00 paid.
    for wanted in [
        "5004",
        "replaces receipt 5003",
        "Saltmarsh Lens Post",
        "4 Quay Lane",
        "Tax id 00-0000000",
        "Ada <Quill>",
        "May 4, 2027",
        "May 13, 2027",
        "Dr. M. Fenwick, OD",
        "Prescriber’s NPI 1234567893",
        "Paid by Bo Quill",
        "Prescribed, right eye -2.25 -1.25 x 095, 1.50 base in",
        "Apr 20, 2027",
        "V2020",
        "V2103",
        "V2784",
        "V2750",
        "V2745",
        "RT",
        "LT",
        "$259.00",
        "$7.00",
        "$266.00",
        "$200.00",
        "Balance owed $66.00",
        "Not a safety lens",
        "no claim filed",
        "your plan decides payment",
    ] {
        assert!(words.contains(wanted), "“{wanted}” is not on the receipt: {words}");
    }
    assert!(!words.contains("Diagnosis"), "a diagnosis only as supplied");
    assert!(!words.contains("V2715"), "the prism charges nothing");
}

#[test]
fn no_sheet_needs_what_the_page_rules_forbid() {
    for html in [ticket(75.0, 65.0, 30.0, Rim::Cord), packing_sheet(true), slip(), receipt()] {
        assert!(!html.contains("style=") && !html.contains("<style") && !html.contains("Ada <Quill>"));
        assert!(!html.contains("http://") || html.contains("http://www.w3.org/2000/svg"));
    }
}
