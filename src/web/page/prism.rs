//! The prism of a pair: wanted and unwanted, by decentration or by surfacing, and the balance where the eyes look.

use askama::Template;
use axum::extract::{Path, Query, State};

use super::job_bar::{EyeWords, JobBar};
use super::layout::lay_out;
use super::{Chrome, PageResult, show, show_again};
use crate::bench::layout::step_of;
use crate::bench::prism_balance::{EyePrism, PairPrism, READING_POINT, READING_VERTICAL_PD, usual_reading_point};
use crate::desk::job::Job;
use crate::optics::Eye;
use crate::optics::direction::Directed;
use crate::optics::gaze::{Balance, GazePoint};
use crate::optics::lens::LensError;
use crate::optics::notation;
use crate::optics::prism::{BaseVector, Imbalance, InUp};
use crate::optics::tolerance::{Limit, RowUnit, STANDARD_GOVERNS};
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::form::Form;
use crate::web::words::eye_class;

#[derive(Template)]
#[template(path = "prism/show.html")]
struct PrismPage {
    chrome: Chrome,
    bar: JobBar,
    eyes: Vec<EyeCard>,
    has_shape: bool,
    /// Why there is no balance between the eyes.
    no_balance: Option<&'static str>,
    unwanted: Option<[Between; 2]>,
    prescribed: Option<String>,
    places: Vec<PrismPlace>,
    reading_caution: Option<String>,
    governs: &'static str,
    form: Form,
}

/// One eye's wanted and unwanted prism.
struct EyeCard {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    words: EyeWords,
    wanted: String,
    wanted_polar: String,
    made: Vec<(&'static str, String)>,
    unwanted: Option<(String, String)>,
}

/// A prism between the eyes against its limit.
struct Between {
    name: &'static str,
    amount: String,
    limit: String,
    rule: &'static str,
    mark: &'static str,
    verdict: &'static str,
}

/// One place the eyes look through.
struct PrismPlace {
    name: String,
    rows: Result<Vec<PrismRow>, String>,
}

/// One line of a place.
struct PrismRow {
    letter: &'static str,
    name: &'static str,
    rule: String,
    exact: String,
    polar: String,
    off: String,
}

pub(crate) async fn show_prism(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<Fields>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let (in_hand, lab) = (state.store.find_lenses(number).await?, state.lab());
    let layout = lay_out(&state, &job, step_of(&lab)).await?;
    let mut form = Form::new(asked);
    let usual = usual_reading_point(job.made_for);
    ReadingPointForm::fill(&mut form, usual);
    let reading = ReadingPointForm::read(&mut form).unwrap_or(usual);
    let prism = PairPrism::of(&job, &lab, layout.as_ref(), &in_hand, reading);
    let is_fine = form.is_fine();
    let page = PrismPage {
        chrome: Chrome::new(&state, ""),
        bar: JobBar::of(&job, "prism", &state),
        eyes: job.made_eyes().map(|eye| EyeCard::of(&job, eye, prism.eyes.get(eye))).collect(),
        has_shape: layout.is_some(),
        no_balance: (!job.knows_both_powers()).then_some(
            "The balance between the eyes needs both powers. Here one is not known: its lens stays as it is, or is a \
             balance lens.",
        ),
        unwanted: prism.unwanted.filter(|_| job.compares_eyes()).map(|unwanted| between(&prism, unwanted)),
        prescribed: prism.prescribed.map(|(across, up)| {
            format!("horizontal ±{}, vertical ±{} from what is prescribed", limit_words(&across), limit_words(&up))
        }),
        reading_caution: prism.at_reading.as_ref().ok().filter(|_| job.knows_both_powers()).and_then(reading_caution),
        places: match job.knows_both_powers() {
            true => vec![
                PrismPlace::of("In front of the pupils".to_owned(), &prism.at_pupil),
                PrismPlace::of(place_words(reading), &prism.at_reading),
            ],
            false => Vec::new(),
        },
        governs: STANDARD_GOVERNS,
        form,
    };
    if is_fine { show(&page) } else { show_again(&page) }
}

/// The fields of the reading point.
struct ReadingPointForm;

impl ReadingPointForm {
    const DOWN: &str = "down";
    const IN: &str = "in";

    fn fill(form: &mut Form, usual: GazePoint) {
        form.set_default(Self::DOWN, format!("{:.0}", -usual.up_mm));
        form.set_default(Self::IN, format!("{:.0}", usual.in_mm));
    }

    fn read(form: &mut Form) -> Option<GazePoint> {
        let [down, inward] = [Self::DOWN, Self::IN].map(|name| form.read(name, |t| READING_POINT.read(t)));
        Some(GazePoint { in_mm: inward?.to_f64(), up_mm: -down?.to_f64() })
    }
}

fn place_words(at: GazePoint) -> String {
    let (down, inward) = (Directed::of(-at.up_mm, "down", "up"), Directed::of(at.in_mm, "in", "out"));
    format!("Reading point, {} mm {} and {} mm {}", down.amount, down.direction, inward.amount, inward.direction)
}

fn rectangular(prism: InUp) -> String {
    let parts = [Directed::of(prism.in_pd, "base in", "base out"), Directed::of(prism.up_pd, "base up", "base down")];
    some_or("no prism", Directed::join(&parts, "Δ", ", "))
}

fn limit_words(limit: &Limit) -> String {
    notation::size(limit.size, limit.unit)
}

impl EyeCard {
    fn of(job: &Job, eye: Eye, prism: &EyePrism) -> Self {
        Self {
            name: eye.name(),
            letter: eye.letter(),
            class: eye_class(eye),
            words: EyeWords::of(job, eye, None),
            wanted: rectangular(prism.wanted),
            wanted_polar: notation::polar_prism(eye, prism.wanted),
            made: made_words(prism),
            unwanted: prism.unwanted.map(|unwanted| (rectangular(unwanted), notation::polar_prism(eye, unwanted))),
        }
    }
}

/// The ways the wanted prism can be made.
fn made_words(prism: &EyePrism) -> Vec<(&'static str, String)> {
    let Some(decentered) = &prism.decentered else { return Vec::new() };
    let blank = |mm: Option<f64>| mm.map(|mm| format!("; blank {mm:.2} mm with the margin")).unwrap_or_default();
    let by_moving = match decentered {
        Ok(made) => {
            let ways = [Directed::of(made.moved.in_mm, "in", "out"), Directed::of(made.moved.up_mm, "up", "down")];
            let exact = made.exact.map(|exact| {
                let off = (exact.to_vector(Eye::Right) - prism.wanted.to_vector(Eye::Right)).to_polar().amount_pd;
                format!(
                    ". Ray tracing at the pupil gives {}: Prentice’s rule differs by {off:.2} \
                    Δ",
                    rectangular(exact)
                )
            });
            format!(
                "optical center {} from the pupil{}{}",
                Directed::join(&ways, "mm", " and "),
                blank(made.blank_mm),
                exact.unwrap_or_default()
            )
        }
        Err(why) => why.to_string(),
    };
    let surfaced = format!("prism ground into the lens, read at the pupil{}", blank(prism.surfaced_blank_mm));
    vec![("By decentration", by_moving), ("By surfacing", surfaced)]
}

fn between(prism: &PairPrism, unwanted: Imbalance) -> [Between; 2] {
    let one = |name, value: Directed, size_pd: f64, (limit, limit_pd): (Limit, f64)| {
        let is_within = size_pd.abs() <= limit_pd + 0.005;
        Between {
            name,
            amount: format!("{} Δ {}", value.amount, value.direction),
            limit: match limit.unit {
                RowUnit::Millimeter => format!("{}, here {limit_pd:.2} Δ", limit_words(&limit)),
                _ => limit_words(&limit),
            },
            rule: limit.rule,
            mark: if is_within { "pass" } else { "fail" },
            verdict: if is_within { "Within" } else { "Beyond: nudge" },
        }
    };
    let (across, up) = (unwanted.horizontal_pd, unwanted.vertical_pd);
    [
        one("Horizontal", Directed::of(across, "base in", "base out"), across, prism.horizontal),
        one("Vertical", Directed::of(up, "base up right", "base up left"), up, prism.vertical),
    ]
}

impl PrismPlace {
    fn of(name: String, balance: &Result<Balance, LensError>) -> Self {
        Self { name, rows: balance.as_ref().map(rows).map_err(ToString::to_string) }
    }
}

fn rows(balance: &Balance) -> Vec<PrismRow> {
    let mut rows: Vec<PrismRow> = balance
        .eyes
        .iter()
        .map(|(eye, prism)| {
            let in_up = |vector: BaseVector| vector.to_in_up(eye);
            PrismRow {
                letter: eye.letter(),
                name: eye.name(),
                rule: rectangular(in_up(prism.rule)),
                exact: rectangular(in_up(prism.exact)),
                polar: notation::polar_prism(eye, in_up(prism.exact)),
                off: format!("{:.2} Δ", prism.rule_error_pd()),
            }
        })
        .collect();
    let off = (balance.rule.horizontal_pd - balance.exact.horizontal_pd)
        .hypot(balance.rule.vertical_pd - balance.exact.vertical_pd);
    rows.push(PrismRow {
        letter: "",
        name: "between the eyes",
        rule: imbalance_words(balance.rule),
        exact: imbalance_words(balance.exact),
        polar: String::new(),
        off: format!("{off:.2} Δ"),
    });
    let unwanted = balance.unwanted();
    rows.push(PrismRow {
        letter: "",
        name: "not prescribed",
        rule: String::new(),
        exact: imbalance_words(unwanted),
        polar: String::new(),
        off: String::new(),
    });
    rows
}

fn imbalance_words(of: Imbalance) -> String {
    let parts = [
        Directed::of(of.horizontal_pd, "base in", "base out"),
        Directed::of(of.vertical_pd, "base up right", "base up left"),
    ];
    some_or("none", Directed::join(&parts, "Δ", ", "))
}

fn some_or(nothing: &str, said: String) -> String {
    if said.is_empty() { nothing.to_owned() } else { said }
}

fn reading_caution(balance: &Balance) -> Option<String> {
    let vertical_pd = balance.unwanted().vertical_pd.abs();
    (vertical_pd > READING_VERTICAL_PD).then(|| {
        format!(
            "At the reading point the lenses leave {vertical_pd:.2} Δ vertical between the eyes that nobody prescribed. \
             From about {READING_VERTICAL_PD:.0} Δ reading may suffer or double (common practice, from memory): a separate \
             reading pair, or a lower optical center, is for the prescriber and the customer to decide."
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prisms_are_written_both_ways() {
        assert_eq!(rectangular(InUp { in_pd: 1.5, up_pd: -1.0 }), "1.50 Δ base in, 1.00 Δ base down");
        assert_eq!(rectangular(InUp { in_pd: 0.001, up_pd: 0.0 }), "no prism");
        let of = Imbalance { horizontal_pd: -0.5, vertical_pd: 1.25 };
        assert_eq!(imbalance_words(of), "0.50 Δ base out, 1.25 Δ base up right");
        assert_eq!(place_words(GazePoint { in_mm: 2.0, up_mm: -10.0 }), "Reading point, 10.00 mm down and 2.00 mm in");
    }
}
