//! The request as JSON, and the checked question it becomes.

use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::CalcError;
use super::check::{CheckQuestion, CheckRequest};
use super::photo::PhotoRequest;
use crate::optics::compensation::{MAX_TILT_DEG, MAX_VERTEX_MM, WearPosition};
use crate::optics::gaze::GazePoint;
use crate::optics::power::{PowerVector, SphereCylinder};
use crate::optics::prism::{BaseVector, InUp};
use crate::optics::{Eye, Pair};
use crate::picture::face::FacePhoto;
use crate::shape::blocker::{BlockerStep, WantedCenter};
use crate::shape::boxing::Boxing;
use crate::shape::outline::{Outline, OutlineError};
use crate::shape::record::{self, MAX_BYTES};
use crate::shape::thickness::Thickness;
use crate::shape::transform::mirror;

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
struct Request {
    shape: ShapeRequest,
    dbl_mm: f64,
    rx: Option<Eyes<Option<RxRequest>>>,
    pd_mm: Eyes<f64>,
    height_mm: Eyes<f64>,
    lens: Option<LensRequest>,
    blocker_step_mm: Option<f64>,
    worn: Option<WornRequest>,
    prism_at: Option<Vec<PointRequest>>,
    crossed: Option<Vec<PowerRequest>>,
    check: Option<CheckRequest>,
    from_photo: Option<PhotoRequest>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
struct WornRequest {
    vertex_from_mm: Option<f64>,
    vertex_to_mm: Option<f64>,
    panto_deg: Option<f64>,
    wrap_deg: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
struct PointRequest {
    in_mm: f64,
    up_mm: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
struct PowerRequest {
    sphere: f64,
    cylinder: Option<f64>,
    axis: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
pub(super) struct Eyes<T> {
    right: T,
    left: T,
}

impl<T> Eyes<T> {
    pub(super) fn into_pair(self) -> Pair<T> {
        Pair::new(self.right, self.left)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
struct ShapeRequest {
    right: Option<RadiiRequest>,
    left: Option<RadiiRequest>,
    trace_file: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
struct RadiiRequest {
    radii_mm: Vec<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
pub(super) struct RxRequest {
    sphere: f64,
    cylinder: Option<f64>,
    axis: Option<f64>,
    pub(super) prism: Option<Vec<PrismRequest>>,
}

impl RxRequest {
    /// The power; `path` names the fields.
    pub(super) fn power(&self, path: &str) -> Result<SphereCylinder, CalcError> {
        sphere_cylinder(path, self.sphere, self.cylinder, self.axis)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
pub(super) struct PrismRequest {
    amount: f64,
    base: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, expecting = "fields with names")]
struct LensRequest {
    index: Option<f64>,
    front_power_d: Option<f64>,
    front_conic: Option<f64>,
    centre_thickness_mm: Option<f64>,
    min_edge_thickness_mm: Option<f64>,
    density: Option<f64>,
    diameter_mm: Option<f64>,
}

/// What is stated of the lens.
#[derive(Default)]
pub(super) struct LensQuestion {
    pub(super) index: Option<f64>,
    pub(super) front_power_d: Option<f64>,
    pub(super) front_conic: f64,
    pub(super) thickness: Option<Thickness>,
    pub(super) density: Option<f64>,
    pub(super) diameter_mm: Option<f64>,
}

/// A request that makes sense.
pub(super) struct Question {
    pub(super) outlines: Pair<Outline>,
    pub(super) dbl_mm: f64,
    pub(super) powers: Pair<Option<SphereCylinder>>,
    pub(super) wanted: Pair<WantedCenter>,
    pub(super) step: BlockerStep,
    pub(super) prisms: Pair<BaseVector>,
    pub(super) lens: LensQuestion,
    pub(super) worn: Option<WearPosition>,
    pub(super) prism_at: Option<Vec<GazePoint>>,
    pub(super) crossed: Option<PowerVector>,
    pub(super) check: Option<CheckQuestion>,
    pub(super) from_photo: Option<FacePhoto>,
}

impl Question {
    pub(super) fn read(json: &str) -> Result<Self, CalcError> {
        let request: Request = parsed(json)?;
        let outlines = outlines(request.shape)?;
        let dbl_mm = within("dbl_mm", request.dbl_mm, 1.0, 50.0)?;
        let rx = request.rx.map_or(Pair::new(None, None), Eyes::into_pair);
        let prisms = |eye: Eye| {
            let given = rx.get(eye).as_ref().and_then(|rx| rx.prism.as_deref());
            prism(&format!("rx.{}", eye.name()), eye, given.unwrap_or_default())
        };
        let prisms = Pair::new(prisms(Eye::Right)?, prisms(Eye::Left)?);
        let powers = |eye: Eye| rx.get(eye).as_ref().map(|rx| rx.power(&format!("rx.{}", eye.name()))).transpose();
        let powers = Pair::new(powers(Eye::Right)?, powers(Eye::Left)?);
        let (pd_mm, height_mm) = (request.pd_mm.into_pair(), request.height_mm.into_pair());
        let wanted = |eye: Eye| {
            Ok(WantedCenter {
                pd_mm: within(format!("pd_mm.{}", eye.name()), *pd_mm.get(eye), 10.0, 50.0)?,
                height_mm: within(format!("height_mm.{}", eye.name()), *height_mm.get(eye), 1.0, 70.0)?,
            })
        };
        let wanted = Pair::new(wanted(Eye::Right)?, wanted(Eye::Left)?);
        for (eye, outline) in outlines.iter() {
            in_the_box(eye, outline, wanted.get(eye).height_mm)?;
        }
        let step = request.blocker_step_mm.map_or(Ok(BlockerStep::default()), BlockerStep::from_mm);
        let step = step.map_err(|error| CalcError::new("blocker_step_mm", error.to_string()))?;
        let lens = request.lens.map_or(Ok(LensQuestion::default()), LensRequest::check)?;
        let worn = request.worn.map(WornRequest::check).transpose()?;
        let prism_at = request.prism_at.map(gaze_points).transpose()?;
        let crossed = request.crossed.map(crossed).transpose()?;
        let check = request.check.map(|check| check.check(powers, prisms, wanted)).transpose()?;
        let from_photo = request.from_photo.map(PhotoRequest::check).transpose()?;
        Ok(Self { outlines, dbl_mm, powers, wanted, step, prisms, lens, worn, prism_at, crossed, check, from_photo })
    }
}

/// The fields of a request by their names.
pub(super) fn parsed<T: DeserializeOwned>(json: &str) -> Result<T, CalcError> {
    // For text that is not JSON, the reader below reports the place.
    if let Ok(value) = serde_json::from_str(json) {
        refuse_lists(&value, "")?;
    }
    let mut reader = serde_json::Deserializer::from_str(json);
    let request = serde_path_to_error::deserialize(&mut reader).map_err(named)?;
    reader.end().map_err(|error| CalcError::new("request", error.to_string()))?;
    Ok(request)
}

impl LensRequest {
    fn check(self) -> Result<LensQuestion, CalcError> {
        for (name, value, min, max) in [
            ("index", self.index, 1.4, 2.0),
            ("front_power_d", self.front_power_d, -30.0, 30.0),
            ("front_conic", self.front_conic, -100.0, 100.0),
            ("centre_thickness_mm", self.centre_thickness_mm, 0.1, 30.0),
            ("min_edge_thickness_mm", self.min_edge_thickness_mm, 0.0, 20.0),
            ("density", self.density, 0.5, 6.0),
            ("diameter_mm", self.diameter_mm, 30.0, 100.0),
        ] {
            if let Some(value) = value {
                within(format!("lens.{name}"), value, min, max)?;
            }
        }
        let thickness = match (self.centre_thickness_mm, self.min_edge_thickness_mm) {
            (Some(_), Some(_)) => {
                let problem = "stands in place of centre_thickness_mm; leave one of them out";
                return Err(CalcError::new("lens.min_edge_thickness_mm", problem));
            }
            (Some(center_mm), None) => Some(Thickness::Center(center_mm)),
            (None, edge_mm) => edge_mm.map(Thickness::ThinnestEdge),
        };
        Ok(LensQuestion {
            index: self.index,
            front_power_d: self.front_power_d,
            front_conic: self.front_conic.unwrap_or(0.0),
            thickness,
            density: self.density,
            diameter_mm: self.diameter_mm,
        })
    }
}

impl WornRequest {
    fn check(self) -> Result<WearPosition, CalcError> {
        // A vertex distance that is left out equals the other one.
        let from_mm = self.vertex_from_mm.or(self.vertex_to_mm).unwrap_or(0.0);
        let to_mm = self.vertex_to_mm.unwrap_or(from_mm);
        Ok(WearPosition {
            vertex_from_mm: within("worn.vertex_from_mm", from_mm, 0.0, MAX_VERTEX_MM)?,
            vertex_to_mm: within("worn.vertex_to_mm", to_mm, 0.0, MAX_VERTEX_MM)?,
            panto_deg: within("worn.panto_deg", self.panto_deg.unwrap_or(0.0), -MAX_TILT_DEG, MAX_TILT_DEG)?,
            wrap_deg: within("worn.wrap_deg", self.wrap_deg.unwrap_or(0.0), -MAX_TILT_DEG, MAX_TILT_DEG)?,
        })
    }
}

fn gaze_points(points: Vec<PointRequest>) -> Result<Vec<GazePoint>, CalcError> {
    let point = |(index, point): (usize, PointRequest)| {
        Ok(GazePoint {
            in_mm: within(format!("prism_at[{index}].in_mm"), point.in_mm, -50.0, 50.0)?,
            up_mm: within(format!("prism_at[{index}].up_mm"), point.up_mm, -50.0, 50.0)?,
        })
    };
    points.into_iter().enumerate().map(point).collect()
}

/// The sum of crossed powers, added as vectors.
fn crossed(powers: Vec<PowerRequest>) -> Result<PowerVector, CalcError> {
    powers.into_iter().enumerate().try_fold(PowerVector::default(), |sum, (index, one)| {
        let path = format!("crossed[{index}]");
        Ok(sum + sphere_cylinder(&path, one.sphere, one.cylinder, one.axis)?.vector())
    })
}

pub(super) fn within(field: impl Into<String>, value: f64, min: f64, max: f64) -> Result<f64, CalcError> {
    if (min..=max).contains(&value) {
        Ok(value)
    } else {
        // A number may have three hundred digits.
        let value = if value.abs() < 1e9 { value.to_string() } else { format!("{value:e}") };
        Err(CalcError::new(field, format!("{value} is out of range; between {min} and {max} was expected")))
    }
}

/// Refuses an optical center outside the box. Source: common practice (from memory).
fn in_the_box(eye: Eye, outline: &Outline, height_mm: f64) -> Result<(), CalcError> {
    let b_mm = Boxing::of(outline).b_mm;
    if height_mm < b_mm {
        return Ok(());
    }
    let problem = format!("{height_mm} is not in the box, which is {b_mm:.2} mm high");
    Err(CalcError::new(format!("height_mm.{}", eye.name()), problem))
}

fn sphere_cylinder(
    path: &str,
    sphere: f64,
    cylinder: Option<f64>,
    axis: Option<f64>,
) -> Result<SphereCylinder, CalcError> {
    let field = |name: &str| format!("{path}.{name}");
    let sphere_d = within(field("sphere"), sphere, -30.0, 30.0)?;
    let cylinder_d = within(field("cylinder"), cylinder.unwrap_or(0.0), -10.0, 10.0)?;
    let axis_deg = axis.map(|axis| within(field("axis"), axis, 0.0, 180.0)).transpose()?;
    match axis_deg {
        None if cylinder_d != 0.0 => Err(CalcError::new(field("axis"), "a cylinder needs an axis, 0 to 180")),
        axis_deg => Ok(SphereCylinder::new(sphere_d, cylinder_d, axis_deg.unwrap_or(180.0))),
    }
}

/// The sum of the prisms before one eye; `path` names what they belong to.
pub(super) fn prism(path: &str, eye: Eye, prisms: &[PrismRequest]) -> Result<BaseVector, CalcError> {
    prisms.iter().enumerate().try_fold(BaseVector::default(), |sum, (index, prism)| {
        let path = format!("{path}.prism[{index}]");
        let amount_pd = within(format!("{path}.amount"), prism.amount, 0.0, 20.0)?;
        let (in_pd, up_pd) = match prism.base.as_str() {
            "in" => (amount_pd, 0.0),
            "out" => (-amount_pd, 0.0),
            "up" => (0.0, amount_pd),
            "down" => (0.0, -amount_pd),
            other => {
                let problem = format!("“{other}” is not a base; in, out, up or down was expected");
                return Err(CalcError::new(format!("{path}.base"), problem));
            }
        };
        Ok(sum + InUp { in_pd, up_pd }.to_vector(eye))
    })
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

/// A path, or the text of the file itself: a path has no line break, and a trace file always has one.
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

/// The fields that are lists. Elsewhere a list is refused: it would be read by position, and `[31, 33]` does not say
/// which eye is which.
const LISTS: [&str; 4] = ["radii_mm", "prism", "prism_at", "crossed"];

/// Places in a picture are lists of x and y.
fn is_of_places(path: &str) -> bool {
    let places = ["card_px", "pupils_px.right", "pupils_px.left", "bridge_px", "image_px"];
    let within = path.strip_prefix("from_photo.");
    within.is_some_and(|place| places.contains(&place) || place.starts_with("card_px["))
}

fn refuse_lists(value: &Value, path: &str) -> Result<(), CalcError> {
    let below = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        Value::Object(fields) => fields.iter().try_for_each(|(name, value)| match value {
            Value::Array(items) if LISTS.contains(&name.as_str()) => refuse_lists_in(items, &below(name)),
            value => refuse_lists(value, &below(name)),
        }),
        Value::Array(items) if is_of_places(path) => refuse_lists_in(items, path),
        Value::Array(_) => {
            let field = if path.is_empty() { "request" } else { path };
            Err(CalcError::new(field, "a list stands here; fields with names were expected"))
        }
        _ => Ok(()),
    }
}

fn refuse_lists_in(items: &[Value], path: &str) -> Result<(), CalcError> {
    items.iter().enumerate().try_for_each(|(index, item)| refuse_lists(item, &format!("{path}[{index}]")))
}

/// The reader's message in the words of the help.
fn plain(problem: &str) -> String {
    problem.replace("expected f64", "expected a number").replace("expected a sequence", "expected a list")
}

/// The reader's error with the path of the field, also if the field is missing or unknown.
fn named(error: serde_path_to_error::Error<serde_json::Error>) -> CalcError {
    // If the text ends inside a name, the reader writes a question mark.
    let path = error.path().to_string().trim_end_matches(['?', '.']).to_owned();
    let problem = plain(&error.inner().to_string());
    // A path that begins with an index means that the whole request is a list.
    let mut field = if path.starts_with('[') { String::new() } else { path };
    let named = ["missing field `", "unknown field `", "duplicate field `"]
        .iter()
        .find_map(|start| problem.strip_prefix(start));
    if let Some(name) = named.and_then(|rest| rest.split('`').next())
        && field != name
        && !field.ends_with(&format!(".{name}"))
    {
        let dot = if field.is_empty() { "" } else { "." };
        field = format!("{field}{dot}{name}");
    }
    CalcError::new(if field.is_empty() { "request".to_owned() } else { field }, problem)
}
