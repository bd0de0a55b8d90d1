//! The lens in the answer: edge, weight, curves, the power to order as worn, and the prism at points looked through.

use serde::Serialize;

use super::CalcError;
use super::figure::{PowerAnswer, clean};
use super::request::Question;
use crate::optics::Eye;
use crate::optics::compensation::compensate;
use crate::optics::gaze::{GazePoint, gaze_prism};
use crate::optics::lens::{Lens, LensError, LensOrder};
use crate::optics::material::usual_front_d;
use crate::optics::power::SphereCylinder;
use crate::optics::prism::{BaseVector, prism_at};
use crate::shape::edge::{Edge, EdgePoint};
use crate::shape::outline::Point;
use crate::shape::thickness::lens_with_thickness;
use crate::shape::volume::{volume_mm3, weight_g};

/// A field is null if the request does not state enough of the lens.
#[derive(Serialize)]
pub(super) struct LensAnswer {
    edge: Option<EdgeAnswer>,
    /// A surface does not reach the shape, which then has no edge, or does not reach the rim of the blank.
    edge_problem: Option<String>,
    centre_thickness_mm: Option<f64>,
    weight_g: Option<f64>,
    front_power_d: Option<f64>,
    back: Option<BackAnswer>,
    worn: Option<WornAnswer>,
    prism_at: Option<Vec<PrismAnswer>>,
}

#[derive(Serialize)]
struct EdgeAnswer {
    thinnest_mm: f64,
    thinnest_at_deg: f64,
    thickest_mm: f64,
    thickest_at_deg: f64,
    warning: Option<String>,
    at: Vec<EdgePointAnswer>,
}

#[derive(Serialize)]
struct EdgePointAnswer {
    deg: f64,
    mm: f64,
}

#[derive(Serialize)]
struct BackAnswer {
    base_d: f64,
    cross_d: f64,
    axis: Option<f64>,
}

#[derive(Serialize)]
struct WornAnswer {
    order: PowerAnswer,
    order_textbook: PowerAnswer,
    tilt_prism: InUpAnswer,
}

#[derive(Serialize)]
struct InUpAnswer {
    base_in: f64,
    base_up: f64,
}

#[derive(Serialize)]
struct PrismAnswer {
    base_in: f64,
    base_up: f64,
    base_in_exact: Option<f64>,
    base_up_exact: Option<f64>,
}

impl LensAnswer {
    pub(super) fn of(question: &Question, eye: Eye, center: Point) -> Result<Self, CalcError> {
        let Some(power) = *question.powers.get(eye) else {
            return Ok(Self {
                edge: None,
                edge_problem: None,
                centre_thickness_mm: None,
                weight_g: None,
                front_power_d: None,
                back: None,
                worn: None,
                prism_at: None,
            });
        };
        let lens = lens(question, eye, power, center);
        // A surface too steep for the shape leaves no edge, but the layout and the middle of the lens can still be
        // answered.
        let (lens, mut edge_problem) = match lens {
            Ok(lens) => (lens, None),
            Err(error @ LensError::DoesNotSpan { .. }) if question.worn.is_none() && question.prism_at.is_none() => {
                (None, Some(error.to_string()))
            }
            Err(error) => return Err(refused(eye, error)),
        };
        let lens = lens.as_ref();
        let edge = match lens.map(|lens| edge(question, eye, lens, center)).transpose() {
            Ok(edge) => edge,
            Err(error @ LensError::DoesNotSpan { .. }) => {
                edge_problem = Some(error.to_string());
                None
            }
            Err(error) => return Err(refused(eye, error)),
        };
        if let (Some(lens), Some(diameter_mm), None) = (lens, question.lens.diameter_mm, &edge_problem) {
            edge_problem = lens.check_span(diameter_mm / 2.0).err().map(|error| error.to_string());
        }
        let density = question.lens.density;
        Ok(Self {
            centre_thickness_mm: lens.map(|lens| clean(lens.order().center_thickness_mm)),
            weight_g: edge
                .as_ref()
                .zip(density)
                .map(|((_, volume_mm3, _), density)| clean(weight_g(*volume_mm3, density))),
            front_power_d: lens.map(|lens| clean(lens.order().front_power_d)),
            back: lens.map(BackAnswer::of),
            worn: WornAnswer::of(question, eye, lens)?,
            prism_at: PrismAnswer::all(question, eye, power, lens)?,
            edge: edge.map(|(edge, _, warning)| EdgeAnswer::of(&edge, warning)),
            edge_problem,
        })
    }
}

/// The lens of one eye, if its index and a thickness are stated.
fn lens(question: &Question, eye: Eye, power: SphereCylinder, center: Point) -> Result<Option<Lens>, LensError> {
    let asked = &question.lens;
    let (Some(index), Some(thickness)) = (asked.index, asked.thickness) else { return Ok(None) };
    let order = LensOrder {
        power,
        prism: *question.prisms.get(eye),
        index,
        front_power_d: asked.front_power_d.unwrap_or_else(|| usual_front_d(power, index)),
        front_conic: asked.front_conic,
        // Replaced by the stated thickness.
        center_thickness_mm: 2.0,
    };
    lens_with_thickness(question.outlines.get(eye), center, order, thickness).map(Some)
}

/// The edge of a lens, its volume in mm³, and a warning if the surfaces cross.
fn edge(question: &Question, eye: Eye, lens: &Lens, center: Point) -> Result<(Edge, f64, Option<String>), LensError> {
    let outline = question.outlines.get(eye);
    let edge = Edge::of(outline, center, lens)?;
    let volume_mm3 = volume_mm3(outline, center, lens)?;
    // Without a center that cures it, the negative edge alone is answered.
    let thin = edge.too_thin(outline, center, lens, 0.0).ok().flatten();
    Ok((edge, volume_mm3, thin.map(|thin| thin.sentence())))
}

/// The field that the error is about.
fn refused(eye: Eye, error: LensError) -> CalcError {
    let rx = format!("rx.{}", eye.name());
    let field = match &error {
        LensError::Index(_) => "lens.index".to_owned(),
        LensError::FrontPower(_) | LensError::DoesNotSpan { surface: "front", .. } => "lens.front_power_d".to_owned(),
        LensError::ConicConstant(_) => "lens.front_conic".to_owned(),
        LensError::CenterThickness(_) => "lens.centre_thickness_mm".to_owned(),
        LensError::EdgeThickness(_) | LensError::NoCenterLeft { .. } => "lens.min_edge_thickness_mm".to_owned(),
        LensError::Prism(_) => format!("{rx}.prism"),
        LensError::Power(_) | LensError::DoesNotSpan { .. } => format!("{rx}.sphere"),
        LensError::NoRay { .. } => "prism_at".to_owned(),
    };
    CalcError::new(field, error.to_string())
}

impl EdgeAnswer {
    fn of(edge: &Edge, warning: Option<String>) -> Self {
        // 360 is written as 0.
        let deg = |point: &EdgePoint| clean(point.deg) % 360.0;
        let (thinnest, thickest) = (edge.thinnest(), edge.thickest());
        Self {
            thinnest_mm: clean(thinnest.mm),
            thinnest_at_deg: deg(&thinnest),
            thickest_mm: clean(thickest.mm),
            thickest_at_deg: deg(&thickest),
            warning,
            at: edge.points().iter().map(|point| EdgePointAnswer { deg: deg(point), mm: clean(point.mm) }).collect(),
        }
    }
}

impl BackAnswer {
    fn of(lens: &Lens) -> Self {
        let back = lens.back_curves();
        let (base_d, cross_d) = (clean(back.base_d), clean(back.cross_d));
        Self { base_d, cross_d, axis: (base_d != cross_d).then(|| clean(back.axis_deg)) }
    }
}

impl WornAnswer {
    fn of(question: &Question, eye: Eye, lens: Option<&Lens>) -> Result<Option<Self>, CalcError> {
        let Some(wear) = &question.worn else { return Ok(None) };
        let Some(lens) = lens else {
            let field = if question.lens.index.is_none() { "lens.index" } else { "lens.centre_thickness_mm" };
            return Err(CalcError::new(field, "missing; worn depends on it"));
        };
        let worn = compensate(eye, lens.order(), wear).map_err(|error| CalcError::new("worn", error.to_string()))?;
        let prism = worn.tilt_prism.to_in_up(eye);
        Ok(Some(Self {
            order: PowerAnswer::of(worn.order),
            order_textbook: PowerAnswer::of(worn.order_textbook),
            tilt_prism: InUpAnswer { base_in: clean(prism.in_pd), base_up: clean(prism.up_pd) },
        }))
    }
}

impl PrismAnswer {
    fn all(
        question: &Question,
        eye: Eye,
        power: SphereCylinder,
        lens: Option<&Lens>,
    ) -> Result<Option<Vec<Self>>, CalcError> {
        let Some(points) = &question.prism_at else { return Ok(None) };
        let prescribed = *question.prisms.get(eye);
        let answers = points.iter().enumerate().map(|(index, at)| {
            let Some(lens) = lens else { return Ok(Self::of(eye, rule(eye, power, prescribed, *at), None)) };
            let prism = gaze_prism(eye, lens, *at)
                .map_err(|error| CalcError::new(format!("prism_at[{index}]"), error.to_string()))?;
            Ok(Self::of(eye, prism.rule, Some(prism.exact)))
        });
        answers.collect::<Result<Vec<_>, _>>().map(Some)
    }

    fn of(eye: Eye, rule: BaseVector, exact: Option<BaseVector>) -> Self {
        let (rule, exact) = (rule.to_in_up(eye), exact.map(|exact| exact.to_in_up(eye)));
        Self {
            base_in: clean(rule.in_pd),
            base_up: clean(rule.up_pd),
            base_in_exact: exact.map(|exact| clean(exact.in_pd)),
            base_up_exact: exact.map(|exact| clean(exact.up_pd)),
        }
    }
}

/// Prentice's rule alone, for a lens that is not stated.
fn rule(eye: Eye, power: SphereCylinder, prescribed: BaseVector, at: GazePoint) -> BaseVector {
    prism_at(power.matrix(), at.in_mm * eye.nasal_sign(), at.up_mm) + prescribed
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use crate::calc::run;

    fn request() -> Value {
        json!({
            "shape": {"right": {"radii_mm": vec![22.0; 400]}, "left": null},
            "dbl_mm": 18,
            "rx": {
                "right": {"sphere": -4.0, "cylinder": -2.0, "axis": 90},
                "left": {"sphere": -4.0, "cylinder": -2.0, "axis": 90}
            },
            "pd_mm": {"right": 31.0, "left": 31.0},
            "height_mm": {"right": 22.0, "left": 22.0},
            "lens": {"index": 1.5, "front_power_d": 4.0, "centre_thickness_mm": 2.0, "density": 1.32},
        })
    }

    fn answer(request: &Value) -> Value {
        serde_json::from_str(&run(&request.to_string()).unwrap()).unwrap()
    }

    fn number(answer: &Value, pointer: &str) -> f64 {
        answer.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("{pointer} in {answer}"))
    }

    #[test]
    fn the_edge_of_a_decentered_lens() {
        let got = answer(&request());
        // Centers 31 in from (44 + 18)/2: no decentration; -6.00 across, -4.00 up and down.
        assert_eq!(got.pointer("/right/edge/at").and_then(Value::as_array).map(Vec::len), Some(400));
        let sag = |power_d: f64| {
            let r = 500.0 / power_d;
            r - (r * r - 22.0f64 * 22.0).sqrt()
        };
        let carried_d = 4.0 / (1.0 - 0.002 / 1.5 * 4.0);
        assert!((number(&got, "/right/edge/thinnest_mm") - (2.0 - sag(4.0) + sag(4.0 + carried_d))).abs() < 2e-6);
        assert!((number(&got, "/right/edge/thickest_mm") - (2.0 - sag(4.0) + sag(6.0 + carried_d))).abs() < 2e-6);
        assert!([90.0, 270.0].contains(&number(&got, "/right/edge/thinnest_at_deg")));
        assert!([0.0, 180.0].contains(&number(&got, "/right/edge/thickest_at_deg")));
        assert!((number(&got, "/right/back/base_d") - (-4.0 - carried_d)).abs() < 1e-6);
        assert!((number(&got, "/right/back/cross_d") - (-6.0 - carried_d)).abs() < 1e-6);
        assert_eq!(number(&got, "/right/back/axis"), 90.0);
        assert_eq!(number(&got, "/left/front_power_d"), 4.0);
        assert_eq!(number(&got, "/left/centre_thickness_mm"), 2.0);
        assert!(number(&got, "/left/weight_g") > 5.0);
        assert_eq!(got.pointer("/right/edge/warning"), Some(&Value::Null));
        assert_eq!(got.pointer("/right/worn"), Some(&Value::Null));
    }

    #[test]
    fn the_thinnest_edge_may_stand_for_the_center() {
        let mut asked = request();
        asked["rx"]["left"] = json!({"sphere": 5.0});
        asked["rx"]["right"] = json!(null);
        asked["lens"] = json!({"index": 1.5, "front_power_d": 9.0, "min_edge_thickness_mm": 1.2});
        let got = answer(&asked);
        assert!((number(&got, "/left/edge/thinnest_mm") - 1.2).abs() < 2e-6);
        assert!(number(&got, "/left/centre_thickness_mm") > 3.0);
        assert_eq!(got.pointer("/right/edge"), Some(&Value::Null));
        assert_eq!(got.pointer("/left/weight_g"), Some(&Value::Null));
        asked["lens"]["centre_thickness_mm"] = json!(3.0);
        let error = run(&asked.to_string()).expect_err("both thicknesses");
        assert_eq!(error.field, "lens.min_edge_thickness_mm");
    }

    #[test]
    fn a_lens_that_cannot_be_is_a_sentence() {
        let mut asked = request();
        asked["rx"]["right"] = json!({"sphere": -20.0});
        // Radius 500 / 24.02: 20.8 mm does not reach 22.
        let got = answer(&asked);
        let sentence = got.pointer("/right/edge_problem").and_then(Value::as_str);
        assert!(sentence.is_some_and(|s| s.contains("radius of 20.8") && !s.contains("NaN")), "{sentence:?}");
        assert_eq!(got.pointer("/right/edge"), Some(&Value::Null));
        assert_eq!(got.pointer("/left/edge_problem"), Some(&Value::Null));
        assert!(number(&got, "/right/blank/exact_mm") > 40.0, "the layout of the shape stands");
        // The middle of the lens can be computed: 20.00 D at 0.3 cm, and more by the exact ray.
        asked["prism_at"] = json!([{"in_mm": 0, "up_mm": -3}]);
        asked["worn"] = json!({"wrap_deg": 5});
        let got = answer(&asked);
        assert!((number(&got, "/right/prism_at/0/base_up_exact") + 6.0).abs() < 0.3);
        assert!((number(&got, "/right/worn/order/sphere") + 20.0).abs() < 0.3);
        assert_eq!(got.pointer("/right/edge"), Some(&Value::Null));
        // A point beyond the surface is refused, with its name.
        asked["prism_at"] = json!([{"in_mm": 0, "up_mm": -21}]);
        assert_eq!(run(&asked.to_string()).map_err(|e| e.field), Err("prism_at[0]".to_owned()));
        // The surfaces reach the shape and not the rim of the blank: the edge is answered, with a sentence.
        let mut asked = request();
        asked["rx"]["right"] = json!({"sphere": -12.0});
        asked["lens"]["diameter_mm"] = json!(70);
        let got = answer(&asked);
        assert!(number(&got, "/right/edge/thickest_mm") > 8.0);
        let sentence = got.pointer("/right/edge_problem").and_then(Value::as_str);
        assert!(sentence.is_some_and(|s| s.contains("does not reach 35.00")), "{sentence:?}");
        let mut asked = request();
        asked["rx"]["right"] = json!({"sphere": 6.0});
        asked["lens"]["front_power_d"] = json!(10.0);
        let warning = answer(&asked).pointer("/right/edge/warning").and_then(Value::as_str).map(str::to_owned);
        assert!(warning.is_some_and(|text| text.contains("center thickness of")), "a negative edge says what cures it");
    }

    #[test]
    fn worn_and_looked_through() {
        let mut asked = request();
        asked["worn"] = json!({"vertex_from_mm": 12, "vertex_to_mm": 12, "panto_deg": 0, "wrap_deg": 15});
        asked["prism_at"] = json!([{"in_mm": 0, "up_mm": -10}, {"in_mm": 5, "up_mm": 0}]);
        let got = answer(&asked);
        for name in ["sphere", "cylinder"] {
            let of = |eye: &str| number(&got, &format!("/{eye}/worn/order/{name}"));
            assert!((of("right") - of("left")).abs() < 2e-6, "a pair alike is ordered alike");
            assert!((of("right") - number(&got, &format!("/right/worn/order_textbook/{name}"))).abs() < 0.15);
        }
        assert!(number(&got, "/right/worn/tilt_prism/base_in") < -0.05, "wrap with a plus front is base out");
        // -4.00 in the vertical: 10 mm below the center of a minus lens is base down 4.
        assert!((number(&got, "/right/prism_at/0/base_up") + 4.0).abs() < 1e-6);
        assert!((number(&got, "/right/prism_at/0/base_up_exact") + 4.0).abs() < 0.2);
        // -6.00 in the horizontal: 5 mm in is base in 3.
        assert!((number(&got, "/left/prism_at/1/base_in") - 3.0).abs() < 1e-6);
        assert!((number(&got, "/left/prism_at/1/base_in_exact") - 3.0).abs() < 0.1);
        asked["lens"] = json!(null);
        let error = run(&asked.to_string()).expect_err("worn needs a lens");
        assert_eq!(error.field, "lens.index");
        asked["worn"] = json!(null);
        let got = answer(&asked);
        assert_eq!(got.pointer("/right/prism_at/0/base_up_exact"), Some(&Value::Null));
        asked["worn"] = json!({"wrap_deg": 60});
        assert_eq!(run(&asked.to_string()).expect_err("too far round").field, "worn.wrap_deg");
    }

    #[test]
    fn crossed_powers_add() {
        let mut asked = request();
        // Crossed cylinders: +1.00 x 90 with +1.00 x 180 is a sphere of 1.00.
        asked["crossed"] =
            json!([{"sphere": 0, "cylinder": 1.0, "axis": 90}, {"sphere": 0, "cylinder": 1.0, "axis": 180}]);
        let got = answer(&asked);
        assert!((number(&got, "/crossed/minus/sphere") - 1.0).abs() < 1e-6);
        assert_eq!(number(&got, "/crossed/minus/cylinder"), 0.0);
        asked["crossed"] = json!([{"sphere": 1.0, "cylinder": -0.5, "axis": 20}, {"sphere": 0.5}]);
        let got = answer(&asked);
        assert!((number(&got, "/crossed/plus/sphere") - 1.0).abs() < 1e-6);
        assert!((number(&got, "/crossed/plus/axis") - 110.0).abs() < 1e-6);
        asked["crossed"] = json!([{"sphere": 1.0, "cylinder": -0.5}]);
        assert_eq!(run(&asked.to_string()).expect_err("no axis").field, "crossed[0].axis");
    }
}
