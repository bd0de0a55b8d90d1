//! `rimbook calc`: the computations of the product for scripts. Reads one JSON request and writes one JSON answer.
//!
//! Nothing is computed here. A request is read into the types of [`crate::shape`] and [`crate::optics`]; their results
//! are rounded to a millionth and written. [`HELP`] is the contract.

mod answer;
mod check;
mod figure;
mod lens;
mod photo;
mod request;

use thiserror::Error;

use answer::CalcAnswer;
use request::Question;

use crate::optics::notation::brief;

/// What `rimbook calc --help` prints: the request, the answer, the conventions, one worked pair.
pub const HELP: &str = include_str!("calc/help.txt");

/// Why a request was not answered, in one line that names the field.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{field}: {problem}")]
pub struct CalcError {
    /// The field as a path, `rx.right.axis`; `request` for the whole.
    pub field: String,
    /// What is wrong and what was expected.
    pub problem: String,
}

impl CalcError {
    fn new(field: impl Into<String>, problem: impl Into<String>) -> Self {
        // A name in the request may hold line breaks.
        let one_line = |text: String| brief(text.replace(char::is_control, " "));
        Self { field: one_line(field.into()), problem: one_line(problem.into()) }
    }
}

/// Answers one request. Reads no file but the trace file that the request may name.
///
/// # Errors
///
/// [`CalcError`] for the first field that is unknown, missing, of the wrong kind or out of range.
pub fn run(json: &str) -> Result<String, CalcError> {
    let answer = match photo::alone(json)? {
        Some(answer) => serde_json::to_string(&answer),
        None => serde_json::to_string(&CalcAnswer::to(&Question::read(json)?)?),
    };
    answer.map_err(|error| CalcError::new("request", error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::{Value, json};

    fn request() -> Value {
        json!({
            "shape": {"right": {"radii_mm": vec![22.0; 400]}, "left": null, "trace_file": null},
            "dbl_mm": 18,
            "rx": {
                "right": {"sphere": -2.25, "cylinder": -1.25, "axis": 95, "prism": [{"amount": 1.0, "base": "in"}]},
                "left": {"sphere": 1.0}
            },
            "pd_mm": {"right": 31.0, "left": 33.0},
            "height_mm": {"right": 20.0, "left": 20.0},
            "lens": {
                "index": 1.586, "front_power_d": 4.25, "centre_thickness_mm": 1.8, "density": 1.2, "diameter_mm": 70
            },
            "blocker_step_mm": 0.5
        })
    }

    fn answer(request: &Value) -> Value {
        serde_json::from_str(&run(&request.to_string()).unwrap()).unwrap()
    }

    /// The request with one place, a JSON pointer, changed.
    fn changed(pointer: &str, value: Value) -> Value {
        let mut request = request();
        *request.pointer_mut(pointer).unwrap() = value;
        request
    }

    #[test]
    fn the_worked_request_gives_the_worked_answer() {
        let line = |start: &str| HELP.lines().map(str::trim).find(|line| line.starts_with(start)).unwrap();
        assert_eq!(run(line(r#"{"shape""#)).unwrap(), line(r#"{"right":{"a_mm""#));
    }

    #[test]
    fn a_bad_value_names_its_field() {
        for (pointer, value, want) in [
            ("/dbl_mm", json!("18"), "dbl_mm: "),
            ("/dbl_mm", json!(-1), "dbl_mm: "),
            ("/shape/right", json!(null), "shape: "),
            ("/shape/right/radii_mm", json!([22.0, 22.0]), "shape.right.radii_mm: "),
            ("/shape/right/radii_mm/7", json!(2.0), "shape.right.radii_mm[7]: "),
            ("/shape/right/radii_mm/7", json!("a"), "shape.right.radii_mm[7]: "),
            ("/shape/trace_file", json!("no/such.file"), "shape.trace_file: "),
            ("/rx/right/axis", json!(null), "rx.right.axis: "),
            ("/rx/right/axis", json!(181), "rx.right.axis: "),
            ("/rx/right/axis", json!(-1), "rx.right.axis: "),
            ("/rx/left/sphere", json!(31), "rx.left.sphere: "),
            ("/rx/right/cylinder", json!(10.5), "rx.right.cylinder: "),
            ("/rx/right/prism/0/base", json!("inwards"), "rx.right.prism[0].base: “inwards” is not a base"),
            (
                "/rx/right/prism/0/base",
                json!(90),
                "rx.right.prism[0].base: invalid type: integer `90`, expected a string",
            ),
            ("/rx/right/prism/0/amount", json!(-1), "rx.right.prism[0].amount: "),
            ("/pd_mm/left", json!(null), "pd_mm.left: "),
            ("/pd_mm/left", json!(90), "pd_mm.left: "),
            ("/height_mm/right", json!(-3), "height_mm.right: "),
            ("/height_mm/left", json!(44), "height_mm.left: 44 is not in the box"),
            ("/dbl_mm", json!(1e308), "dbl_mm: 1e308 is out of range"),
            ("/lens/index", json!("thin"), "lens.index: invalid type: string \"thin\", expected a number"),
            ("/pd_mm", json!(31), "pd_mm: invalid type: integer `31`, expected fields with names"),
            ("/lens/index", json!(1.39), "lens.index: "),
            ("/lens/index", json!(2.01), "lens.index: "),
            ("/lens/diameter_mm", json!(0), "lens.diameter_mm: "),
            ("/lens/density", json!(0), "lens.density: "),
            ("/lens/centre_thickness_mm", json!(0), "lens.centre_thickness_mm: "),
            ("/lens/front_power_d", json!(99), "lens.front_power_d: "),
            ("/pd_mm", json!([31, 33]), "pd_mm: "),
            ("/rx/right/prism/0", json!([1, "in"]), "rx.right.prism[0]: "),
            ("/lens", json!([1.5]), "lens: "),
            ("/blocker_step_mm", json!(0), "blocker_step_mm: "),
            ("/blocker_step_mm", json!(0.3), "blocker_step_mm: "),
        ] {
            let error = run(&changed(pointer, value.clone()).to_string()).expect_err(pointer).to_string();
            assert!(error.starts_with(want), "{pointer} = {value}: {error}");
            assert!(!error.contains('\n'));
        }
    }

    #[test]
    fn unknown_and_missing_fields_are_named() {
        for (pointer, name, want) in [
            ("", "color", "color: unknown field"),
            ("/rx", "middle", "rx.middle: unknown field"),
            ("/rx/right", "spere", "rx.right.spere: unknown field"),
            ("/rx/right/prism/0", "dir", "rx.right.prism[0].dir: unknown field"),
            ("/shape/right", "unit", "shape.right.unit: unknown field"),
            ("/lens", "abbe", "lens.abbe: unknown field"),
        ] {
            let mut request = request();
            request.pointer_mut(pointer).unwrap()[name] = json!(1);
            let error = run(&request.to_string()).expect_err(name).to_string();
            assert!(error.starts_with(want), "{error}");
        }
        for (pointer, name, want) in [
            ("", "pd_mm", "pd_mm: missing"),
            ("", "shape", "shape: missing"),
            ("", "height_mm", "height_mm: missing"),
            ("", "dbl_mm", "dbl_mm: missing"),
            ("/pd_mm", "left", "pd_mm.left: missing"),
            ("/rx/left", "sphere", "rx.left.sphere: missing"),
        ] {
            let mut request = request();
            request.pointer_mut(pointer).unwrap().as_object_mut().unwrap().remove(name);
            let error = run(&request.to_string()).expect_err(name).to_string();
            assert!(error.starts_with(want), "{error}");
        }
        for (twice, want) in [
            (r#"{"dbl_mm":18,"dbl_mm":18}"#, "dbl_mm: duplicate"),
            (r#"{"pd_mm":{"left":31,"left":31}}"#, "pd_mm.left: duplicate"),
        ] {
            let error = run(twice).expect_err(twice).to_string();
            assert!(error.starts_with(want), "{error}");
        }
        assert_eq!(run("[[[]]]").expect_err("a list").field, "request");
        for broken in ["", "[]", "null", "{", "{} {}", "{\"dbl_mm\":1e999}", "{\"dbl_mm\":NaN}"] {
            let error = run(broken).expect_err(broken).to_string();
            assert!(error.contains(": ") && !error.contains('\n'), "{error}");
        }
    }

    #[test]
    fn optional_parts_may_be_left_out() {
        let mut request = request();
        for name in ["lens", "rx", "blocker_step_mm"] {
            request.as_object_mut().unwrap().remove(name);
        }
        let got = answer(&request);
        assert_eq!(got.pointer("/right/blank/fits"), Some(&Value::Null));
        assert_eq!(got.pointer("/right/rx"), Some(&Value::Null));
        assert_eq!(got.pointer("/left/blocker/set_pd_mm"), Some(&json!(33.0)));
        assert_eq!(
            answer(&changed("/lens/diameter_mm", json!(49.9))).pointer("/right/blank/fits"),
            Some(&json!(false))
        );
    }

    #[test]
    fn three_corners_are_a_shape() {
        let corners = |count: usize| changed("/shape/right/radii_mm", json!(vec![25.0; count]));
        let mut four = corners(4);
        four["height_mm"] = json!({"right": 25, "left": 25});
        let got = answer(&four);
        // A square on its corner: both ways 50, half the area of its box.
        for (name, want) in [("a_mm", 50.0), ("b_mm", 50.0), ("area_mm2", 1250.0), ("circumference_mm", 141.421356)] {
            assert_eq!(got["right"][name], json!(want), "{name}");
        }
        assert!(got["left"]["weight_g"].as_f64().is_some_and(|weight| weight > 2.0));
        answer(&corners(3));
        assert_eq!(run(&corners(2).to_string()).expect_err("two").field, "shape.right.radii_mm");
    }

    #[test]
    fn a_trace_file_may_be_a_path_or_the_text() {
        let radii = vec!["2200"; 400].join(";");
        let text = format!("JOB=1\nTRCFMT=1;400;E;R;F\nR={radii}\n");
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("one.trc");
        std::fs::write(&path, &text).unwrap();
        for given in [json!(text), json!(path)] {
            let mut asked = changed("/shape/trace_file", given);
            asked["shape"]["right"] = json!(null);
            assert_eq!(answer(&asked), answer(&request()));
        }
        let both = run(&changed("/shape/trace_file", json!(text)).to_string()).expect_err("two shapes");
        assert_eq!(both.field, "shape.trace_file");
        let mut broken = changed("/shape/trace_file", json!("TRCFMT=1;400;E;R;F\nR=1;x\n"));
        broken["shape"]["right"] = json!(null);
        let error = run(&broken.to_string()).expect_err("faults").to_string();
        assert!(error.starts_with("shape.trace_file: Line 1: ") && error.contains("2 more"), "{error}");
    }

    proptest! {
        #[test]
        fn mirrored_eyes_give_mirrored_answers(
            radii in prop::collection::vec(18.0..32.0_f64, 8..60), pd in 25.0..38.0_f64, height in 8.0..30.0_f64,
        ) {
            let mut asked = request();
            asked["pd_mm"] = json!({"right": pd, "left": pd});
            asked["height_mm"] = json!({"right": height, "left": height});
            asked["shape"]["right"] = json!({"radii_mm": radii});
            let got = answer(&asked);
            for name in ["a_mm", "b_mm", "ed_mm", "circumference_mm", "area_mm2"] {
                let (r, l) = (got["right"][name].as_f64().unwrap(), got["left"][name].as_f64().unwrap());
                prop_assert!((r - l).abs() < 2e-6, "{name}: {r} {l}");
            }
            for name in ["in_mm", "up_mm"] {
                let of = |eye: &str| got[eye]["decentration"][name].as_f64().unwrap();
                prop_assert!((of("right") - of("left")).abs() < 2e-6);
            }
            // The left shape given by itself and the right left out is the same pair seen in a mirror.
            let mut turned = asked.clone();
            turned["shape"] = json!({"left": {"radii_mm": radii}, "right": null});
            let turned = answer(&turned);
            prop_assert!(
                (turned["left"]["blank"]["exact_mm"].as_f64().unwrap()
                    - turned["right"]["blank"]["exact_mm"].as_f64().unwrap()).abs() < 2e-6
            );
        }

        #[test]
        fn any_text_gives_an_answer_or_one_line(text in "[ -~]{0,80}") {
            if let Err(error) = run(&text) {
                prop_assert!(!error.to_string().contains('\n'));
            }
        }
    }
}
