//! The request: what a script may write, and the checked question it becomes.

use serde::Deserialize;
use serde_json::Value;

use super::CalcError;
use crate::optics::power::SphereCylinder;
use crate::optics::{Eye, Pair};
use crate::shape::blocker::BlockerStep;
use crate::shape::layout::Wanted;
use crate::shape::outline::{Outline, OutlineError};
use crate::shape::record::{self, MAX_BYTES};
use crate::shape::transform::mirror;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Request {
    shape: ShapeRequest,
    dbl_mm: f64,
    rx: Option<Eyes<Option<RxRequest>>>,
    pd_mm: Eyes<f64>,
    height_mm: Eyes<f64>,
    lens: Option<LensRequest>,
    blocker_step_mm: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Eyes<T> {
    right: T,
    left: T,
}

impl<T> Eyes<T> {
    fn into_pair(self) -> Pair<T> {
        Pair::new(self.right, self.left)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ShapeRequest {
    right: Option<RadiiRequest>,
    left: Option<RadiiRequest>,
    trace_file: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RadiiRequest {
    radii_mm: Vec<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RxRequest {
    sphere: f64,
    cylinder: Option<f64>,
    axis: Option<f64>,
    prism: Option<Vec<PrismRequest>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PrismRequest {
    amount: f64,
    /// Read for its check alone so far: no figure of the answer depends on where the base is.
    #[serde(rename = "base")]
    _base: BaseRequest,
}

#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum BaseRequest {
    In,
    Out,
    Up,
    Down,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LensRequest {
    index: Option<f64>,
    front_power_d: Option<f64>,
    centre_thickness_mm: Option<f64>,
    density: Option<f64>,
    diameter_mm: Option<f64>,
}

/// A request that makes sense.
pub(super) struct Question {
    pub(super) outlines: Pair<Outline>,
    pub(super) dbl_mm: f64,
    pub(super) powers: Pair<Option<SphereCylinder>>,
    pub(super) wanted: Pair<Wanted>,
    pub(super) diameter_mm: Option<f64>,
    pub(super) step: BlockerStep,
}

impl Question {
    pub(super) fn read(json: &str) -> Result<Self, CalcError> {
        let mut reader = serde_json::Deserializer::from_str(json);
        let request: Request = serde_path_to_error::deserialize(&mut reader).map_err(named)?;
        reader.end().map_err(|error| CalcError::new("request", error.to_string()))?;
        let value = serde_json::from_str(json).map_err(|error| CalcError::new("request", error.to_string()))?;
        refuse_lists(&value, "")?;

        let outlines = outlines(request.shape)?;
        let dbl_mm = within("dbl_mm", request.dbl_mm, 1.0, 50.0)?;
        let rx = request.rx.map_or(Pair::new(None, None), Eyes::into_pair);
        let powers = Pair::new(power(Eye::Right, rx.right)?, power(Eye::Left, rx.left)?);
        let (pd_mm, height_mm) = (request.pd_mm.into_pair(), request.height_mm.into_pair());
        let wanted = |eye: Eye| {
            Ok(Wanted {
                pd_mm: within(format!("pd_mm.{}", eye.name()), *pd_mm.get(eye), 10.0, 50.0)?,
                height_mm: within(format!("height_mm.{}", eye.name()), *height_mm.get(eye), 1.0, 70.0)?,
            })
        };
        let wanted = Pair::new(wanted(Eye::Right)?, wanted(Eye::Left)?);
        let step = request.blocker_step_mm.map_or(Ok(BlockerStep::default()), BlockerStep::from_mm);
        let step = step.map_err(|error| CalcError::new("blocker_step_mm", error.to_string()))?;
        let diameter_mm = request.lens.map_or(Ok(None), |lens| lens.check())?;
        Ok(Self { outlines, dbl_mm, powers, wanted, diameter_mm, step })
    }
}

impl LensRequest {
    /// Checks every figure of the lens; the layout itself asks only for the diameter.
    fn check(&self) -> Result<Option<f64>, CalcError> {
        for (name, value, min, max) in [
            ("index", self.index, 1.4, 2.0),
            ("front_power_d", self.front_power_d, -30.0, 30.0),
            ("centre_thickness_mm", self.centre_thickness_mm, 0.1, 30.0),
            ("density", self.density, 0.5, 6.0),
            ("diameter_mm", self.diameter_mm, 30.0, 100.0),
        ] {
            if let Some(value) = value {
                within(format!("lens.{name}"), value, min, max)?;
            }
        }
        Ok(self.diameter_mm)
    }
}

fn within(field: impl Into<String>, value: f64, min: f64, max: f64) -> Result<f64, CalcError> {
    if (min..=max).contains(&value) {
        Ok(value)
    } else {
        Err(CalcError::new(field, format!("{value} is out of range; between {min} and {max} was expected")))
    }
}

fn power(eye: Eye, rx: Option<RxRequest>) -> Result<Option<SphereCylinder>, CalcError> {
    let Some(rx) = rx else { return Ok(None) };
    let field = |name: &str| format!("rx.{}.{name}", eye.name());
    let sphere_d = within(field("sphere"), rx.sphere, -30.0, 30.0)?;
    let cylinder_d = within(field("cylinder"), rx.cylinder.unwrap_or(0.0), -10.0, 10.0)?;
    let axis_deg = rx.axis.map(|axis| within(field("axis"), axis, 0.0, 180.0)).transpose()?;
    for (index, prism) in rx.prism.iter().flatten().enumerate() {
        within(field(&format!("prism[{index}].amount")), prism.amount, 0.0, 20.0)?;
    }
    match axis_deg {
        None if cylinder_d != 0.0 => Err(CalcError::new(field("axis"), "a cylinder needs an axis, 0 to 180")),
        axis_deg => Ok(Some(SphereCylinder::new(sphere_d, cylinder_d, axis_deg.unwrap_or(180.0)))),
    }
}

fn outlines(shape: ShapeRequest) -> Result<Pair<Outline>, CalcError> {
    let right = shape.right.map(|radii| outline(Eye::Right, &radii.radii_mm)).transpose()?;
    let left = shape.left.map(|radii| outline(Eye::Left, &radii.radii_mm)).transpose()?;
    match (right, left, shape.trace_file) {
        (None, None, Some(file)) => trace_file(&file),
        (Some(right), Some(left), None) => Ok(Pair::new(right, left)),
        (Some(right), None, None) => {
            let left = mirror(&right);
            Ok(Pair::new(right, left))
        }
        (None, Some(left), None) => Ok(Pair::new(mirror(&left), left)),
        (None, None, None) => Err(CalcError::new("shape", "right, left or trace_file was expected")),
        (_, _, Some(_)) => {
            Err(CalcError::new("shape.trace_file", "a trace file holds both eyes; leave out right and left"))
        }
    }
}

fn outline(eye: Eye, radii_mm: &[f64]) -> Result<Outline, CalcError> {
    Outline::from_radii_mm(radii_mm).map_err(|error| {
        let field = format!("shape.{}.radii_mm", eye.name());
        let field = match error {
            OutlineError::Radius { index, .. } | OutlineError::NotFinite { index } => format!("{field}[{index}]"),
            _ => field,
        };
        CalcError::new(field, error.to_string())
    })
}

/// A path, or the text of the file itself: a path has no line break, a trace file always has.
fn trace_file(given: &str) -> Result<Pair<Outline>, CalcError> {
    let refuse = |problem: String| CalcError::new("shape.trace_file", problem);
    let bytes = if given.contains(['\n', '\r']) {
        given.as_bytes().to_vec()
    } else {
        let cannot = |error: std::io::Error| refuse(format!("“{given}” cannot be read: {error}"));
        let about = std::fs::metadata(given).map_err(cannot)?;
        if !about.is_file() {
            return Err(refuse(format!("“{given}” is not a file")));
        }
        if about.len() > MAX_BYTES as u64 {
            return Err(refuse(format!("“{given}” is larger than a trace file, {MAX_BYTES} bytes")));
        }
        std::fs::read(given).map_err(cannot)?
    };
    match record::read_any(&bytes) {
        Ok(file) => Ok(file.outlines()),
        Err(faults) => {
            let first = faults.first().map_or_else(String::new, ToString::to_string);
            let more = faults.len().saturating_sub(1);
            Err(refuse(if more == 0 { first } else { format!("{first} (and {more} more)") }))
        }
    }
}

/// The fields that are lists. A list anywhere else would be read by position, and `[31, 33]` does not say which eye
/// is which.
const LISTS: [&str; 2] = ["radii_mm", "prism"];

fn refuse_lists(value: &Value, path: &str) -> Result<(), CalcError> {
    let below = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        Value::Object(fields) => fields.iter().try_for_each(|(name, value)| match value {
            Value::Array(items) if LISTS.contains(&name.as_str()) => items
                .iter()
                .enumerate()
                .try_for_each(|(index, item)| refuse_lists(item, &format!("{}[{index}]", below(name)))),
            value => refuse_lists(value, &below(name)),
        }),
        Value::Array(_) => {
            let field = if path.is_empty() { "request" } else { path };
            Err(CalcError::new(field, "a list stands here; fields with names were expected"))
        }
        _ => Ok(()),
    }
}

/// A reader's complaint with the path of the field, including one that is missing or unknown.
fn named(error: serde_path_to_error::Error<serde_json::Error>) -> CalcError {
    let path = error.path().to_string();
    let problem = error.inner().to_string();
    let mut field = if path == "." { String::new() } else { path };
    let named = ["missing field `", "unknown field `"].iter().find_map(|start| problem.strip_prefix(start));
    if let Some(name) = named.and_then(|rest| rest.split('`').next())
        && field != name
        && !field.ends_with(&format!(".{name}"))
    {
        let dot = if field.is_empty() { "" } else { "." };
        field = format!("{field}{dot}{name}");
    }
    CalcError::new(if field.is_empty() { "request".to_owned() } else { field }, problem)
}
