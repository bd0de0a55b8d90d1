//! Every figure and every day that a form asks for, with what nobody means: it is refused beside its field, and the sentence
//! says what can be.

use std::collections::BTreeSet;

use rimbook::web::router::ADDRESSES;
use scraper::{ElementRef, Html, Selector};
use tokio::task::JoinSet;

use crate::addresses::{Filled, filled, given_drawer_lens, posting_addresses, somewhere};
use crate::support::{Answer, TestLab, encode};

/// No field of any form means one of these.
const ABSURD: [&str; 5] = ["1000000000", "-99999999999", "NaN", "1e400", NINES];
/// What some fields mean.
const DOUBTFUL: [&str; 3] = ["-1", "0", ""];
/// Stands for 50,000 nines.
const NINES: &str = "9…";

fn written(value: &str) -> String {
    if value == NINES { "9".repeat(50_000) } else { value.to_owned() }
}

/// Figures in fields for text, because words or a base belong to them, by the beginning of the name.
const FIGURES_IN_TEXT: [&str; 19] = [
    "pd",
    "near_pd",
    "height_",
    "pupil_height_",
    "read_",
    "diameter_",
    "center_",
    "front_",
    "base_",
    "in_",
    "up_",
    "dbl",
    "holes",
    "prism_",
    "prescriber_npi",
    "old_job_",
    "stock_diameters",
    "list",
    "lead_days",
];

/// Fields and what stands in them.
type Choices = &'static [(&'static str, &'static str)];

/// Fields that are read when another choice or button of the same form is taken, and left alone otherwise: the end of the
/// address, the beginning of the field, and what is chosen.
const CHOSEN: [(&str, &str, Choices); 13] = [
    ("/orders/{key}", "pupil_height_", &[("intent", "heights"), ("tilt", "8")]),
    ("/orders/{key}", "tilt", &[("intent", "heights"), ("pupil_height_right", "22")]),
    ("/correction", "pupil_height_", &[("intent", "heights"), ("tilt", "8")]),
    ("/correction", "tilt", &[("intent", "heights"), ("pupil_height_right", "22")]),
    ("/shape/change", "box_", &[("way", "box")]),
    ("/shape/outline", "ruler_mm", &[("scale", "ruler"), ("ruler", "20,20 335,20")]),
    ("/check", "first_", DRUMS),
    ("/check", "second_", DRUMS),
    ("/check", "axis_", DRUMS),
    ("/impact", "tested_on_right", &[("proof_right", "own_test"), ("test_right", "drop ball")]),
    ("/impact", "tested_on_left", &[("left", "own"), ("proof_left", "own_test"), ("test_left", "drop ball")]),
    ("/cancellation", "old_job_right", &[("old_right", "job")]),
    ("/cancellation", "old_job_left", &[("old_left", "job")]),
];
/// A right reading of the usual job, from the drums.
pub const DRUMS: Choices = &[
    ("how", "drums"),
    ("first_right", "-2.25"),
    ("second_right", "-3.50"),
    ("axis_right", "95"),
    ("first_left", "-2.50"),
    ("second_left", "-3.25"),
    ("axis_left", "80"),
];

/// Only a drawing is turned: `tests/web/shapes.rs`.
const ELSEWHERE: [&str; 1] = ["turn"];

/// A field for figures. Rows of a table have the same fields, told apart by a number: the first two are tried.
fn is_figure(field: ElementRef<'_>) -> bool {
    let (element, name) = (field.value(), field.value().attr("name").unwrap_or_default());
    if name.ends_with(['3', '4', '5', '6']) {
        return false;
    }
    let by_kind = match (element.name(), element.attr("type")) {
        ("input", Some("date")) => true,
        ("input", Some("text")) => {
            matches!(element.attr("inputmode"), Some("decimal" | "numeric"))
                || element.attr("data-understood").is_some()
        }
        ("textarea", _) => false,
        _ => return false,
    };
    by_kind
        || FIGURES_IN_TEXT.iter().any(|figure| name == *figure || (figure.ends_with('_') && name.starts_with(figure)))
}

/// The figures in forms: where each form is sent, and the name of the field.
fn figures_in(page: &Answer, form: &str) -> Vec<(String, String)> {
    let html = Html::parse_document(&page.body);
    let select = |s: &str| Selector::parse(s).unwrap();
    let (forms, inputs) = (select(form), select("input[name], textarea[name]"));
    let attribute = |element: ElementRef<'_>, name: &str| element.value().attr(name).unwrap_or_default().to_owned();
    let fields_of = |form: ElementRef<'_>| {
        let fields = form.select(&inputs).filter(|field| is_figure(*field));
        fields.map(|field| (attribute(form, "action"), attribute(field, "name"))).collect::<Vec<_>>()
    };
    html.select(&forms).flat_map(fields_of).collect()
}

/// What is wrong with the answer to an absurd figure: it was taken, or no sentence beside the field says what can be.
fn fault(answer: &Answer, field: &str, value: &str) -> Option<String> {
    if !matches!(answer.status.as_u16(), 200 | 422) {
        return Some(format!("answered {}", answer.status));
    }
    let says = answer.texts(&format!("#{field}-error, #try-error")).join(" ");
    // What is no number at all, or no number of a thing in the book, has no limit that could be named.
    let is_of_the_book =
        ["check digit", "No receipt has the number", "is not in the book"].iter().any(|says_so| says.contains(says_so));
    let is_no_number = value == "NaN" || is_of_the_book;
    let own = says.replace(value, "");
    let names_a_limit = own.contains(|c: char| c.is_ascii_digit()) || own.contains("million");
    let is_sentence = !says.is_empty() && says.chars().count() <= 420;
    let is_good = is_sentence && (names_a_limit || is_no_number);
    (!is_good).then(|| format!("{} says “{}”", answer.status, says.chars().take(420).collect::<String>()))
}

fn wrong(answer: &Answer, field: &str, value: &str, text: &str) -> Option<String> {
    match ABSURD.contains(&value) {
        true => fault(answer, field, text),
        false => (answer.status.as_u16() >= 500).then(|| format!("answered {}", answer.status)),
    }
}

/// Sends a form with some fields changed.
async fn send_with(form: &mut Filled, changes: &[(&str, &str)]) -> Answer {
    let before = form.fields.clone();
    for (name, value) in changes {
        form.fields.retain(|(n, _)| n != name);
        form.fields.push(((*name).to_owned(), (*value).to_owned()));
    }
    let answer = form.send(true).await;
    form.fields = before;
    answer
}

/// What came of trying every figure of a form.
#[derive(Default)]
struct Tries {
    faults: Vec<String>,
    tried: usize,
    met: BTreeSet<String>,
}

async fn try_figures_of(address: &'static str) -> Tries {
    let mut tries = Tries::default();
    let mut form = filled(address).await;
    let Some(page) = form.page.take() else { return tries };
    let path = form.path.clone();
    for (_, field) in figures_in(&page, &format!("form[method=post][action='{path}']")) {
        let is_chosen = |(end, name, _): &&(&str, &str, Choices)| address.ends_with(end) && field.starts_with(name);
        let chosen = CHOSEN.iter().find(is_chosen).map_or(&[][..], |(_, _, chosen)| *chosen);
        for value in ABSURD.iter().chain(&DOUBTFUL).filter(|_| !ELSEWHERE.contains(&field.as_str())) {
            let text = written(value);
            let answer = send_with(&mut form, &[chosen, &[(field.as_str(), text.as_str())]].concat()).await;
            let fault = wrong(&answer, &field, value, &text);
            tries.faults.extend(fault.map(|says| format!("{address} {field} {value}: {says}")));
            tries.tried += 1;
            if answer.status != 422 {
                form = filled(address).await;
            }
        }
        tries.met.insert(field);
    }
    tries
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
#[ignore = "long: cargo test -- --include-ignored"]
async fn a_form_refuses_figures_that_nobody_means() {
    let mut left: Vec<&str> = posting_addresses().await;
    let (mut running, mut all) = (JoinSet::new(), Tries::default());
    loop {
        while let Some(address) = (running.len() < 4).then(|| left.pop()).flatten() {
            running.spawn(try_figures_of(address));
        }
        let Some(tries) = running.join_next().await else { break };
        let tries = tries.unwrap();
        all.faults.extend(tries.faults);
        all.tried += tries.tried;
        all.met.extend(tries.met);
    }
    let unmet: Vec<_> =
        FIGURES_IN_TEXT.iter().filter(|name| !all.met.iter().any(|field| field.starts_with(**name))).collect();
    assert!(all.faults.is_empty(), "{} faults:\n{}", all.faults.len(), all.faults.join("\n"));
    assert!(unmet.is_empty() && all.tried > 1000, "{}, {unmet:?}", all.tried);
}

/// The same of forms that only ask, with the figures in the address.
#[tokio::test]
async fn a_question_refuses_figures_that_nobody_means() {
    let lab = TestLab::new().await;
    let number = lab.given_lenses_in_hand().await;
    given_drawer_lens(&lab).await;
    let (mut faults, mut tried) = (Vec::new(), 0);
    for address in ADDRESSES {
        let path = somewhere(&lab, address, number).await;
        let page = lab.get(&path).await;
        for (action, field) in figures_in(&page, "form[method=get]") {
            for value in ABSURD.iter().chain(&DOUBTFUL) {
                let text = written(value);
                let answer = lab.get(&format!("{action}?{}", encode(&[(&field, &text)]))).await;
                let fault = wrong(&answer, &field, value, &text);
                faults.extend(fault.map(|says| format!("{address} {field} {value}: {says}")));
                tried += 1;
            }
        }
    }
    assert!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n"));
    assert!(tried > 100, "{tried}");
}
