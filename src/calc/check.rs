//! The check of a finished pair: what was read against what was ordered, and what a failed check looks like.

use serde::{Deserialize, Serialize};

use super::CalcError;
use super::figure::clean;
use super::request::{Eyes, PrismRequest, RxRequest, prism, within};
use crate::optics::mistake::{Mistake, find_mistakes};
use crate::optics::power::SphereCylinder;
use crate::optics::prescription::{LensPower, PowerError, Prism};
use crate::optics::prism::{BaseVector, InUp};
use crate::optics::tolerance::{
    CenterLimits, Measured, OrderedPair, Profile, Quantity, Status, ToleranceLine, is_verified, verify,
};
use crate::optics::unit::{Axis, Diopter, PrismDiopter};
use crate::optics::{Eye, Pair};
use crate::shape::blocker::WantedCenter;

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
pub(super) struct CheckRequest {
    profile: Option<String>,
    right: Option<RxRequest>,
    left: Option<RxRequest>,
    pd_mm: Option<Eyes<Option<f64>>>,
    height_mm: Option<Eyes<Option<f64>>>,
}

/// A pair to be judged.
pub(super) struct CheckQuestion {
    profile: Profile,
    ordered: OrderedPair,
    measured: Measured,
    /// The eyes that were read.
    is_read: Pair<bool>,
}

impl CheckRequest {
    /// The check against the order, whose powers and prisms were read before.
    pub(super) fn check(
        self,
        powers: Pair<Option<SphereCylinder>>,
        prisms: Pair<BaseVector>,
        wanted: Pair<WantedCenter>,
    ) -> Result<CheckQuestion, CalcError> {
        let profile = match self.profile.as_deref() {
            None => Profile::default(),
            Some(key) => Profile::from_key(key).ok_or_else(|| {
                CalcError::new("check.profile", format!("“{key}” is not a profile; z80_1 or iso_21987 was expected"))
            })?,
        };
        if powers.right.is_none() && powers.left.is_none() {
            return Err(CalcError::new("check", "needs rx, the order to compare with"));
        }
        let read = Pair::new(self.right, self.left);
        let is_read = read.as_ref().map(|read| read.is_some());
        if !is_read.right && !is_read.left {
            return Err(CalcError::new("check", "needs what was read: right, left or both"));
        }
        let (mut power, mut order_prism) = (Pair::default(), Pair::default());
        for eye in Eye::BOTH {
            // A lens that was not read is not judged, so its order is not looked at.
            if !*is_read.get(eye) {
                continue;
            }
            let path = format!("rx.{}", eye.name());
            let Some(ordered) = *powers.get(eye) else {
                return Err(CalcError::new(format!("check.{}", eye.name()), format!("needs {path}, the order")));
            };
            *one(&mut power, eye) = exact_power(&path, ordered)?;
            *one(&mut order_prism, eye) = exact_prism(&path, prisms.get(eye).to_in_up(eye))?;
        }
        let places = |name: &str, places: Option<Eyes<Option<f64>>>, min: f64, max: f64| {
            let places = places.map_or(Pair::default(), Eyes::into_pair);
            let place = |eye: Eye| {
                let field = || format!("check.{name}.{}", eye.name());
                places.get(eye).map(|mm| within(field(), mm, min, max)).transpose()
            };
            Ok(Pair::new(place(Eye::Right)?, place(Eye::Left)?))
        };
        let reading = |eye: Eye| match read.get(eye) {
            None => Ok((None, None)),
            Some(read) => LensReading::of(eye, read),
        };
        let (right, left) = (reading(Eye::Right)?, reading(Eye::Left)?);
        Ok(CheckQuestion {
            profile,
            ordered: OrderedPair {
                power,
                prism: order_prism,
                pupil_distance_mm: wanted.map(|wanted| wanted.pd_mm),
                height_mm: wanted.map(|wanted| wanted.height_mm),
                center_thickness_mm: Pair::default(),
            },
            measured: Measured {
                power: Pair::new(right.0, left.0),
                prism: Pair::new(right.1, left.1),
                pupil_distance_mm: places("pd_mm", self.pd_mm, 10.0, 50.0)?,
                height_mm: places("height_mm", self.height_mm, 1.0, 70.0)?,
                ..Measured::default()
            },
            is_read,
        })
    }
}

/// What was read of one lens.
struct LensReading;

impl LensReading {
    fn of(eye: Eye, read: &RxRequest) -> Result<(Option<LensPower>, Option<InUp>), CalcError> {
        let path = format!("check.{}", eye.name());
        let power = exact_power(&path, read.power(&path)?)?;
        let given = read.prism.as_deref();
        let read = |given: &[PrismRequest]| Ok(prism(&path, eye, given)?.to_in_up(eye));
        Ok((Some(power), given.map(read).transpose()?))
    }
}

fn one<T>(pair: &mut Pair<T>, eye: Eye) -> &mut T {
    match eye {
        Eye::Right => &mut pair.right,
        Eye::Left => &mut pair.left,
    }
}

/// Powers in hundredths or eighths and whole degrees, as a check is written down.
fn exact_power(path: &str, power: SphereCylinder) -> Result<LensPower, CalcError> {
    let field = |name: &str| format!("{path}.{name}");
    let diopter = |name: &str, value: f64| {
        let is_whole = |parts: f64| (parts - parts.round()).abs() < 1e-6;
        if !is_whole(value * 100.0) && !is_whole(value * 8.0) {
            let problem = format!("{value} is neither hundredths nor eighths, as a check compares");
            return Err(CalcError::new(field(name), problem));
        }
        Diopter::round_from(value).map_err(|error| CalcError::new(field(name), error.to_string()))
    };
    let (sphere, cylinder) = (diopter("sphere", power.sphere_d)?, diopter("cylinder", power.cylinder_d)?);
    let axis = if cylinder == Diopter::ZERO {
        None
    } else if power.axis_deg.fract() != 0.0 {
        let problem = format!("{} is not whole; a check compares whole degrees", power.axis_deg);
        return Err(CalcError::new(field("axis"), problem));
    } else {
        Some(Axis::new(power.axis_deg as i32).map_err(|error| CalcError::new(field("axis"), error.to_string()))?)
    };
    LensPower::new(sphere, cylinder, axis).map_err(|error| {
        let name = match error {
            PowerError::SphereOutOfRange(_) => "sphere",
            PowerError::CylinderOutOfRange(_) => "cylinder",
            PowerError::AxisMissing | PowerError::AxisWithoutCylinder(_) => "axis",
        };
        CalcError::new(field(name), error.to_string())
    })
}

/// The prescribed prism to the nearest hundredth.
fn exact_prism(path: &str, prism: InUp) -> Result<Prism, CalcError> {
    let refuse = |problem: String| CalcError::new(format!("{path}.prism"), problem);
    let part = |value: f64| PrismDiopter::round_from(value).map_err(|error| refuse(error.to_string()));
    Prism::new(part(prism.in_pd)?, part(prism.up_pd)?).map_err(|error| refuse(error.to_string()))
}

#[derive(Serialize)]
pub(super) struct CheckAnswer {
    passed: bool,
    rows: Vec<RowAnswer>,
    looks_like: Vec<MistakeAnswer>,
}

#[derive(Serialize)]
struct RowAnswer {
    eye: Option<&'static str>,
    row: &'static str,
    wanted: f64,
    measured: Option<f64>,
    limit: f64,
    off_by: Option<f64>,
    passes: bool,
}

#[derive(Serialize)]
struct MistakeAnswer {
    kind: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    eye: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    deg: Option<i32>,
}

impl CheckAnswer {
    pub(super) fn of(question: &CheckQuestion) -> Self {
        let CheckQuestion { profile, ordered, measured, is_read } = question;
        let limits = CenterLimits::default();
        let is_asked = |line: &ToleranceLine| match line.eye {
            Some(eye) => *is_read.get(eye),
            // The imbalance needs both lenses.
            None => {
                let is_imbalance = matches!(line.quantity, Quantity::VerticalImbalance | Quantity::HorizontalImbalance);
                !is_imbalance || (is_read.right && is_read.left)
            }
        };
        let mut lines = verify(*profile, &limits, ordered, measured);
        lines.retain(is_asked);
        Self {
            passed: is_verified(&lines),
            rows: lines.iter().map(RowAnswer::of).collect(),
            looks_like: find_mistakes(*profile, &limits, ordered, measured).iter().map(MistakeAnswer::of).collect(),
        }
    }
}

impl RowAnswer {
    fn of(line: &ToleranceLine) -> Self {
        Self {
            eye: line.eye.map(Eye::name),
            row: line.quantity.key(),
            wanted: clean(line.wanted),
            measured: line.reading.map(clean),
            limit: clean(line.limit),
            off_by: line.off_by.map(clean),
            passes: matches!(line.status, Status::Pass | Status::AtLimit),
        }
    }
}

impl MistakeAnswer {
    fn of(mistake: &Mistake) -> Self {
        Self { kind: mistake.kind.key(), eye: mistake.eye.map(Eye::name), deg: mistake.turned_deg }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::super::run;

    fn request() -> Value {
        json!({
            "shape": {"right": {"radii_mm": vec![22.0; 400]}},
            "dbl_mm": 18,
            "rx": {
                "right": {"sphere": -2.25, "cylinder": -1.25, "axis": 95, "prism": [{"amount": 1.5, "base": "in"}]},
                "left": {"sphere": -1.0}
            },
            "pd_mm": {"right": 31.0, "left": 33.0},
            "height_mm": {"right": 20.0, "left": 20.0},
            "check": {
                "profile": "z80_1",
                "right": {"sphere": -3.5, "cylinder": 1.25, "axis": 5, "prism": [{"amount": 1.5, "base": "in"}]},
                "left": {"sphere": -1.0},
                "pd_mm": {"right": 31.0, "left": 33.0},
                "height_mm": {"right": 20.0, "left": 20.0}
            }
        })
    }

    /// The request with one place, a JSON pointer, changed.
    fn changed(pointer: &str, value: Value) -> Value {
        let mut request = request();
        let (parent, name) = pointer.rsplit_once('/').unwrap();
        request.pointer_mut(parent).unwrap()[name] = value;
        request
    }

    fn check(request: &Value) -> Value {
        serde_json::from_str::<Value>(&run(&request.to_string()).unwrap()).unwrap()["check"].clone()
    }

    fn rows(check: &Value) -> Vec<String> {
        let rows = check["rows"].as_array().unwrap();
        rows.iter()
            .map(|row| format!("{} {}", row["eye"].as_str().unwrap_or("pair"), row["row"].as_str().unwrap()))
            .collect()
    }

    #[test]
    fn without_a_check_there_is_no_field_for_it() {
        let mut asked = request();
        asked.as_object_mut().unwrap().remove("check");
        let plain = run(&asked.to_string()).unwrap();
        assert!(!plain.contains("check") && plain.ends_with("\"crossed\":null}"));
        assert_eq!(run(&changed("/check", json!(null)).to_string()).unwrap(), plain);
    }

    #[test]
    fn a_good_pair_passes() {
        let got = check(&request());
        assert_eq!((&got["passed"], &got["looks_like"]), (&json!(true), &json!([])));
        let pair = ["vertical_imbalance", "horizontal_imbalance", "prism_horizontal", "prism_vertical"];
        let mut want: Vec<String> = ["power_strongest", "cylinder", "axis"].map(|row| format!("right {row}")).into();
        want.extend(["left power_strongest".to_owned(), "left cylinder".to_owned()]);
        want.extend(pair.map(|row| format!("pair {row}")));
        for eye in ["right", "left"] {
            want.extend(["centre_across", "centre_height"].map(|row| format!("{eye} {row}")));
        }
        assert_eq!(rows(&got), want);
        let got = check(&changed("/check/profile", json!("iso_21987")));
        assert_eq!(rows(&got)[..2], ["right power_along_axis", "right power_across_axis"]);
        assert_eq!(check(&changed("/check/profile", json!(null))), check(&request()), "z80_1 is the usual one");
    }

    /// ANSI Z80.1-2015 quick-reference guide: cylinder over 0.75 to 1.50, ±3°; the house limit is 1.0 mm.
    #[test]
    fn a_row_in_numbers() {
        let row = |got: &Value, eye: &str, row: &str| {
            let rows = got["rows"].as_array().unwrap();
            rows.iter().find(|one| one["eye"] == json!(eye) && one["row"] == json!(row)).unwrap().clone()
        };
        let got = check(&changed("/check/right/axis", json!(9)));
        assert_eq!(got["passed"], json!(false));
        assert_eq!(
            row(&got, "right", "axis"),
            json!({"eye": "right", "row": "axis", "wanted": 95.0, "measured": 99.0, "limit": 3.0, "off_by": 4.0,
                "passes": false})
        );
        assert_eq!(got["looks_like"], json!([{"kind": "turned", "eye": "right", "deg": 4}]));
        let got = check(&changed("/check/height_mm", json!({"right": 18.75, "left": null})));
        assert_eq!(
            row(&got, "right", "centre_height"),
            json!({"eye": "right", "row": "centre_height", "wanted": 20.0, "measured": 18.75, "limit": 1.0,
                "off_by": 1.25, "passes": false})
        );
        assert_eq!(
            row(&got, "left", "centre_height"),
            json!({"eye": "left", "row": "centre_height", "wanted": 20.0, "measured": null, "limit": 1.0,
                "off_by": null, "passes": false})
        );
    }

    #[test]
    fn both_eyes_exchanged() {
        let mut asked = changed("/rx/right/prism", json!(null));
        asked["check"] = json!({"right": {"sphere": -1.0}, "left": {"sphere": -2.25, "cylinder": -1.25, "axis": 95}});
        let got = check(&asked);
        assert_eq!((&got["passed"], &got["looks_like"]), (&json!(false), &json!([{"kind": "eyes_exchanged"}])));
        asked["check"] = json!({"right": {"sphere": -2.25, "cylinder": -1.25, "axis": 95}, "left": {"sphere": -1.0}});
        assert_eq!(check(&asked)["passed"], json!(false), "the imbalance was not read");
    }

    #[test]
    fn one_lens_is_judged_by_itself() {
        for is_left_out in [false, true] {
            let mut asked = changed("/check/left", json!(null));
            if is_left_out {
                asked["check"].as_object_mut().unwrap().remove("left");
            }
            let got = check(&asked);
            assert_eq!(got["passed"], json!(true));
            assert!(rows(&got).iter().all(|row| !row.starts_with("left") && !row.contains("imbalance")));
            asked["check"]["right"]["prism"] = json!(null);
            assert_eq!(check(&asked)["passed"], json!(false), "the prism was not read");
            asked["rx"]["left"] = json!(null);
            assert_eq!(rows(&check(&asked)), rows(&got));
        }
        let mut left = changed("/check/right", json!(null));
        left["check"].as_object_mut().unwrap().remove("pd_mm");
        let got = check(&left);
        assert_eq!(got["passed"], json!(true), "no prism is ordered before the left eye");
        assert_eq!(
            rows(&got),
            ["power_strongest", "cylinder", "centre_across", "centre_height"].map(|row| format!("left {row}"))
        );
    }

    #[test]
    fn a_wrong_value_names_its_field() {
        for (pointer, value, want) in [
            ("/check/profile", json!("ansi"), "check.profile: “ansi” is not a profile"),
            ("/check/profile", json!(1), "check.profile: "),
            ("/check/other", json!(1), "check.other: unknown field"),
            ("/check", json!([1]), "check: "),
            ("/check", json!({}), "check: needs what was read"),
            ("/rx", json!(null), "check: needs rx"),
            ("/rx/left", json!(null), "check.left: needs rx.left"),
            ("/check/right/sphere", json!(31), "check.right.sphere: 31 is out of range"),
            ("/check/right/sphere", json!("-2"), "check.right.sphere: "),
            ("/check/right/sphere", json!(-2.253), "check.right.sphere: -2.253 is neither"),
            ("/check/right/sphere", json!(29.5), "check.right.sphere: A power of +30.75"),
            ("/check/right/cylinder", json!(-11), "check.right.cylinder: "),
            ("/check/right/axis", json!(null), "check.right.axis: a cylinder needs an axis"),
            ("/check/right/axis", json!(95.5), "check.right.axis: 95.5 is not whole"),
            ("/check/right/axis", json!(181), "check.right.axis: "),
            ("/check/right/add", json!(1), "check.right.add: unknown field"),
            ("/check/left/prism", json!([{"amount": 21, "base": "in"}]), "check.left.prism[0].amount: "),
            ("/check/left/prism", json!([{"amount": 1, "base": "nasal"}]), "check.left.prism[0].base: “nasal”"),
            ("/check/pd_mm", json!(64), "check.pd_mm: "),
            ("/check/pd_mm/right", json!(9), "check.pd_mm.right: 9 is out of range"),
            ("/check/height_mm/left", json!(0), "check.height_mm.left: 0 is out of range"),
            ("/check/height_mm/left", json!("20"), "check.height_mm.left: "),
            ("/rx/right/axis", json!(95.5), "rx.right.axis: 95.5 is not whole"),
            ("/rx/right/prism", json!([{"amount": 20, "base": "in"}, {"amount": 5, "base": "up"}]), "rx.right.prism: "),
        ] {
            let error = run(&changed(pointer, value.clone()).to_string()).expect_err(pointer).to_string();
            assert!(error.starts_with(want), "{pointer} = {value}: {error}");
            assert!(!error.contains('\n'));
        }
    }

    #[test]
    fn an_eighth_may_have_three_places() {
        let mut asked = changed("/rx/left/sphere", json!(-1.125));
        asked["check"]["left"]["sphere"] = json!(-1.12);
        let exact = check(&asked);
        assert_eq!(exact["passed"], json!(true));
        asked["rx"]["left"]["sphere"] = json!(-1.12);
        assert_eq!(check(&asked), exact);
    }
}
