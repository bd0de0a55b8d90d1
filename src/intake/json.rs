//! A shape as JSON: what `rimbook shape read` prints and `rimbook shape write` takes.

use std::collections::{HashMap, VecDeque};
use std::fmt;

use serde::de::{MapAccess, Visitor};
use serde::ser::SerializeMap;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::IntakeError;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::hole::{Hole, MOST_HOLES};
use crate::shape::outline::Point;
use crate::shape::record::{DRILL_LABELS, DataSet, Depth, Framing, Item, TraceFile, complete};
use crate::shape::rim::RimMeasures;
use crate::shape::trace::{Angles, Trace};

/// A shape file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShapeJson {
    /// Both eyes; one of them may be missing when a file is written.
    pub eyes: EyesJson,
    /// The job named in the file.
    #[serde(default)]
    pub job: Option<String>,
    /// The distance between the lenses.
    #[serde(default)]
    pub dbl_mm: Option<f64>,
    /// The records that are not lists, by label.
    #[serde(default)]
    pub records: Records,
    /// The file in order: labels of records, `right`, `left`, `right depth`, `left depth`, `right holes`, `left holes`, and
    /// the labels of other data sets. Without it, records are written before traces.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub order: Vec<String>,
    /// Other data sets, as they came.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sets: Vec<SetJson>,
    /// Whether the records are a message, between FS and GS.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub message: bool,
    /// Whether they have a checksum.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub checksum: bool,
    /// What was odd, a sentence each.
    #[serde(default)]
    pub warnings: Vec<String>,
}

/// A data set that is not a trace.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SetJson {
    /// The record that opens it, `STHKFMT`.
    pub label: String,
    /// The value of that record.
    pub format: String,
    /// Its lists, label and values.
    pub lists: Vec<(String, String)>,
}

/// Both eyes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EyesJson {
    /// The wearer's right eye.
    #[serde(default)]
    pub right: Option<EyeJson>,
    /// The wearer's left eye.
    #[serde(default)]
    pub left: Option<EyeJson>,
}

/// One eye. To write a file, only the radii are needed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EyeJson {
    /// How many radii there are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub points: Option<usize>,
    /// The radii about the tracing center, counter-clockwise in the front view from 0°, the observer's right.
    pub radii_mm: Vec<f64>,
    /// Their angles, where they are not equally spaced from 0°.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub angles_deg: Option<Vec<f64>>,
    /// Width of the box.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub a_mm: Option<f64>,
    /// Height of the box.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub b_mm: Option<f64>,
    /// Effective diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ed_mm: Option<f64>,
    /// Circumference of the flat outline.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circumference_mm: Option<f64>,
    /// What was traced: `F` frame, `P` pattern, `D` demo lens.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub object: Option<String>,
    /// The depth of the rim.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth_mm: Option<Vec<f64>>,
    /// The angles of the depth, where they are not equally spaced from 0°.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth_angles_deg: Option<Vec<f64>>,
    /// The rim in space, where its depth was traced.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rim: Option<RimJson>,
    /// The holes of a drilled mount. Where the records have drill records, those are written. A mirrored eye that does not
    /// say its holes has those of the other; one with an empty list has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub holes: Option<Vec<HoleJson>>,
    /// Whether it was not in the file and mirrors the other eye. The trace of a mirrored eye is not written, unless it has no
    /// holes where the other has some: a reader would give it those.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub mirrored: bool,
}

/// A hole, in the front view from the boxing center.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HoleJson {
    /// To the observer's right.
    pub x_mm: f64,
    /// Upward.
    pub y_mm: f64,
    /// The diameter; of a slot, its width.
    pub diameter_mm: f64,
    /// The other end of a slot, x and y.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slot_to_mm: Option<[f64; 2]>,
}

impl HoleJson {
    fn of(hole: &Hole) -> Self {
        Self {
            x_mm: figure(hole.at.x_mm),
            y_mm: figure(hole.at.y_mm),
            diameter_mm: figure(hole.diameter_mm),
            slot_to_mm: hole.slot_end.map(|end| [figure(end.x_mm), figure(end.y_mm)]),
        }
    }

    fn hole(&self) -> Option<Hole> {
        let slot_end = self.slot_to_mm.map(|[x_mm, y_mm]| Point::new(x_mm, y_mm));
        let hole = Hole { at: Point::new(self.x_mm, self.y_mm), slot_end, diameter_mm: self.diameter_mm };
        let is_near = |p: Point| p.x_mm.abs() < 100.0 && p.y_mm.abs() < 100.0;
        (is_near(hole.at) && is_near(hole.end()) && (0.1..=20.0).contains(&hole.diameter_mm)).then_some(hole)
    }
}

/// To the millionth.
fn figure(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// A rim in space.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RimJson {
    /// The length along the rim.
    pub circumference_mm: f64,
    /// The curve of the sphere that fits it best, tool power (1.530).
    pub curve_d: Option<f64>,
    /// The tilt of the plane that fits it best.
    pub tilt_deg: f64,
}

impl RimJson {
    fn of(rim: &RimMeasures) -> Self {
        Self {
            circumference_mm: figure(rim.circumference_mm),
            curve_d: rim.curve_tool_d.map(figure),
            tilt_deg: figure(rim.tilt_deg),
        }
    }
}

/// Records by label in the order of the file; a label that comes several times has a list.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Records(pub Vec<(String, Vec<String>)>);

impl Records {
    /// A file can have a hundred thousand labels, so each is looked up.
    fn of(file: &TraceFile) -> Self {
        let mut records: Vec<(String, Vec<String>)> = Vec::new();
        let mut places: HashMap<&str, usize> = HashMap::new();
        for (label, value) in file.records() {
            let place = *places.entry(label).or_insert(records.len());
            if place == records.len() {
                records.push((label.to_owned(), Vec::new()));
            }
            records[place].1.push(value.to_owned());
        }
        Self(records)
    }
}

impl Serialize for Records {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (label, values) in &self.0 {
            match &values[..] {
                [one] => map.serialize_entry(label, one)?,
                many => map.serialize_entry(label, many)?,
            }
        }
        map.end()
    }
}

/// One text or several.
#[derive(Deserialize)]
#[serde(untagged)]
enum Values {
    One(String),
    Many(Vec<String>),
}

impl<'de> Deserialize<'de> for Records {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Labels;
        impl<'de> Visitor<'de> for Labels {
            type Value = Records;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("records by label")
            }
            fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<Records, M::Error> {
                let mut records = Vec::new();
                while let Some((label, values)) = map.next_entry()? {
                    let values = match values {
                        Values::One(value) => vec![value],
                        Values::Many(values) => values,
                    };
                    records.push((label, values));
                }
                Ok(Records(records))
            }
        }
        deserializer.deserialize_map(Labels)
    }
}

impl ShapeJson {
    /// What a file says.
    pub fn of(file: &TraceFile) -> Self {
        let set = |item: &Item| match item {
            Item::Set(DataSet { label, format, lists }) => {
                Some(SetJson { label: label.clone(), format: format.clone(), lists: lists.clone() })
            }
            _ => None,
        };
        let mirrored = file.derived.map(|eye| {
            format!("The {} eye is not in the file: the mirror image of the {} is used", eye.name(), eye.other().name())
        });
        Self {
            eyes: EyesJson { right: Some(EyeJson::of(file, Eye::Right)), left: Some(EyeJson::of(file, Eye::Left)) },
            job: file.job.clone(),
            dbl_mm: file.dbl_mm,
            records: Records::of(file),
            order: file.items.iter().map(name).collect(),
            sets: file.items.iter().filter_map(set).collect(),
            message: file.framing.is_message,
            checksum: file.framing.has_checksum,
            warnings: mirrored
                .into_iter()
                .chain(file.warnings.iter().chain(&file.warning_of_holes()).map(ToString::to_string))
                .collect(),
        }
    }

    /// Reads JSON.
    ///
    /// # Errors
    ///
    /// [`IntakeError::Json`] with the field that is wrong.
    pub fn read(text: &str) -> Result<Self, IntakeError> {
        let mut reader = serde_json::Deserializer::from_str(text);
        let json = serde_path_to_error::deserialize(&mut reader)
            .map_err(|error| wrong(&error.path().to_string(), &error.inner().to_string()))?;
        reader.end().map_err(|error| wrong("shape", &error.to_string()))?;
        Ok(json)
    }

    /// The file this describes.
    ///
    /// # Errors
    ///
    /// [`IntakeError::Json`] with the first field that is wrong.
    pub fn to_file(&self) -> Result<TraceFile, IntakeError> {
        let given = self.given();
        let trace = |eye: Eye| given.get(eye).as_ref().map(|json| json.trace(eye)).transpose();
        let Some((traces, derived)) = complete(trace(Eye::Right)?, trace(Eye::Left)?) else {
            return Err(wrong("eyes", "no eye has radii"));
        };
        if let Some(dbl_mm) = self.dbl_mm
            && !(1.0..=50.0).contains(&dbl_mm)
        {
            return Err(wrong("dbl_mm", &format!("{dbl_mm} is out of range; between 1 and 50 was expected")));
        }
        let holes = self.holes()?;
        let depth = |eye: Eye| given.get(eye).as_ref().map_or(Ok(None), |json| json.depth(eye));
        Ok(TraceFile {
            job: self.job.clone(),
            dbl_mm: self.dbl_mm,
            objects: given.as_ref().map(|json| json.as_ref()?.object.clone()),
            depth: Pair::new(depth(Eye::Right)?, depth(Eye::Left)?),
            items: self.items(&given, &holes),
            holes,
            framing: Framing { is_message: self.message, has_checksum: self.checksum },
            ..TraceFile::of_traces(traces, derived)
        })
    }

    fn eye(&self, eye: Eye) -> Option<&EyeJson> {
        match eye {
            Eye::Right => self.eyes.right.as_ref(),
            Eye::Left => self.eyes.left.as_ref(),
        }
    }

    /// The eyes whose traces are written.
    fn given(&self) -> Pair<Option<EyeJson>> {
        let has = |eye: Eye, is_drilled: bool| {
            self.eye(eye).and_then(|json| json.holes.as_ref()).is_some_and(|holes| holes.is_empty() != is_drilled)
        };
        let given = |eye: Eye| {
            let is_bare = has(eye, false) && has(eye.other(), true);
            self.eye(eye).filter(|json| !json.mirrored || is_bare).cloned()
        };
        Pair::new(given(Eye::Right), given(Eye::Left))
    }

    /// The holes of each eye. One that is mirrored and does not say its own has those of the other, mirrored.
    fn holes(&self) -> Result<Pair<Vec<Hole>>, IntakeError> {
        let own = |eye: Eye| {
            let json = self.eye(eye).filter(|json| !json.mirrored || json.holes.is_some());
            json.map(|json| json.drilled(eye)).transpose()
        };
        let (right, left) = (own(Eye::Right)?, own(Eye::Left)?);
        let mirrored = |other: &Option<Vec<Hole>>| other.iter().flatten().map(Hole::mirror).collect();
        let (of_left, of_right) = (mirrored(&left), mirrored(&right));
        Ok(Pair::new(right.unwrap_or(of_left), left.unwrap_or(of_right)))
    }

    /// The file in order. Nothing is lost when the order names less than there is.
    fn items(&self, given: &Pair<Option<EyeJson>>, holes: &Pair<Vec<Hole>>) -> Vec<Item> {
        let mut left: Vec<Item> = self.all_records();
        let given_eyes = || Eye::BOTH.into_iter().filter(|eye| given.get(*eye).is_some());
        let has_own = |eye: &Eye| {
            let other = holes.get(eye.other()).iter().map(Hole::mirror);
            given.get(*eye).is_some() || !holes.get(*eye).iter().copied().eq(other)
        };
        if !self.records.0.iter().any(|(label, _)| DRILL_LABELS.contains(&label.as_str())) {
            left.extend(Eye::BOTH.into_iter().filter(has_own).map(Item::Holes));
        }
        for eye in given_eyes() {
            left.extend([Item::Trace(eye), Item::Depth(eye)]);
        }
        let sets = self.sets.iter().cloned();
        left.extend(sets.map(|SetJson { label, format, lists }| Item::Set(DataSet { label, format, lists })));
        let mut places: HashMap<String, VecDeque<usize>> = HashMap::new();
        for (place, item) in left.iter().enumerate() {
            places.entry(name(item)).or_default().push_back(place);
        }
        let mut left: Vec<Option<Item>> = left.into_iter().map(Some).collect();
        let mut items = Vec::with_capacity(left.len());
        for wanted in &self.order {
            let place = places.get_mut(wanted).and_then(VecDeque::pop_front);
            items.extend(place.and_then(|place| left[place].take()));
        }
        items.extend(left.into_iter().flatten());
        items
    }

    /// Every record; `job` and `dbl_mm` take precedence over records that say otherwise.
    fn all_records(&self) -> Vec<Item> {
        let mut records = self.records.0.clone();
        let job = self.job.as_ref().map(|job| format!("\"{job}\""));
        let says_job = |value: &str| Some(value.trim_matches('"').trim()) == self.job.as_deref();
        let dbl = self.dbl_mm.map(|mm| format!("{mm:.2}"));
        let says_dbl = |value: &str| value.split(';').next().and_then(|mm| mm.trim().parse().ok()) == self.dbl_mm;
        if self.order.is_empty() && !records.iter().any(|(label, _)| label == "REQ") {
            records.insert(0, ("REQ".to_owned(), vec!["FIL".to_owned()]));
        }
        let mut state = |label: &str, value: Option<String>, says: &dyn Fn(&str) -> bool| {
            let Some(value) = value else { return };
            match records.iter_mut().find(|record| record.0 == label) {
                Some((_, values)) if values.iter().any(|value| says(value)) => {}
                Some((_, values)) => *values = vec![value],
                None => records.push((label.to_owned(), vec![value])),
            }
        };
        state("JOB", job, &says_job);
        state("DBL", dbl, &says_dbl);
        let each = |(label, values): (String, Vec<String>)| {
            values.into_iter().map(move |value| Item::Record(label.clone(), value))
        };
        records.into_iter().flat_map(each).collect()
    }
}

/// How an item is named in the order of a file.
fn name(item: &Item) -> String {
    match item {
        Item::Record(label, _) => label.clone(),
        Item::Trace(eye) => eye.name().to_owned(),
        Item::Depth(eye) => format!("{} depth", eye.name()),
        Item::Holes(eye) => format!("{} holes", eye.name()),
        Item::Set(set) => set.label.clone(),
    }
}

fn wrong(field: &str, problem: &str) -> IntakeError {
    let one_line = |text: &str| text.replace(char::is_control, " ");
    IntakeError::Json { field: one_line(field), problem: one_line(problem) }
}

impl EyeJson {
    fn of(file: &TraceFile, eye: Eye) -> Self {
        let (trace, depth) = (file.traces.get(eye), file.depth.get(eye).as_ref());
        let boxing = Boxing::of(&trace.outline());
        let size = |mm: f64| Some(figure(mm));
        let holes = file.holes_of_lenses().get(eye).iter().map(HoleJson::of).collect();
        let units = |list: &[i32]| list.iter().map(|&hundredths| f64::from(hundredths) / 100.0).collect();
        Self {
            points: Some(trace.radii().len()),
            radii_mm: units(trace.radii()),
            angles_deg: (*trace.angles() != Angles::Equal).then(|| trace.angles_deg()),
            a_mm: size(boxing.a_mm),
            b_mm: size(boxing.b_mm),
            ed_mm: size(boxing.ed_mm),
            circumference_mm: size(boxing.circumference_mm),
            object: file.objects.get(eye).clone(),
            depth_mm: depth.map(|depth| units(&depth.heights)),
            depth_angles_deg: depth.and_then(|depth| depth.angles.as_deref().map(units)),
            rim: file.rim(eye).as_ref().map(RimJson::of),
            holes: Some(holes).filter(|holes: &Vec<HoleJson>| !holes.is_empty()),
            mirrored: file.derived == Some(eye),
        }
    }

    fn depth(&self, eye: Eye) -> Result<Option<Depth>, IntakeError> {
        let field = |name: &str| format!("eyes.{}.{name}", eye.name());
        let Some(heights) = &self.depth_mm else { return Ok(None) };
        let heights = hundredths(heights, &field("depth_mm"))?;
        let angles = self.depth_angles_deg.as_ref().map(|list| hundredths(list, &field("depth_angles_deg")));
        let angles = angles.transpose()?;
        if angles.as_ref().is_some_and(|angles| angles.len() != heights.len()) {
            return Err(wrong(&field("depth_angles_deg"), "there must be one angle for each depth"));
        }
        Ok(Some(Depth { heights, angles }))
    }

    fn drilled(&self, eye: Eye) -> Result<Vec<Hole>, IntakeError> {
        let count = self.holes.as_ref().map_or(0, Vec::len);
        if count > MOST_HOLES {
            let problem = format!("there are {count} holes; at most {MOST_HOLES} were expected");
            return Err(wrong(&format!("eyes.{}.holes", eye.name()), &problem));
        }
        let wrong_hole =
            |index: usize| wrong(&format!("eyes.{}.holes[{index}]", eye.name()), "it is no hole of a lens");
        self.holes
            .iter()
            .flatten()
            .enumerate()
            .map(|(index, hole)| hole.hole().ok_or_else(|| wrong_hole(index)))
            .collect()
    }

    fn trace(&self, eye: Eye) -> Result<Trace, IntakeError> {
        let field = |name: &str| format!("eyes.{}.{name}", eye.name());
        let radii = hundredths(&self.radii_mm, &field("radii_mm"))?;
        if let Some(points) = self.points
            && points != radii.len()
        {
            let problem = format!("there are {} radii, but points is {points}", radii.len());
            return Err(wrong(&field("points"), &problem));
        }
        let angles = match &self.angles_deg {
            Some(list) => Angles::Unequal(hundredths(list, &field("angles_deg"))?),
            None => Angles::Equal,
        };
        Trace::new(eye, radii, angles).map_err(|error| wrong(&field("radii_mm"), &error.to_string()))
    }
}

/// To the nearest hundredth.
fn hundredths(list: &[f64], field: &str) -> Result<Vec<i32>, IntakeError> {
    let of = |(index, value): (usize, &f64)| match (value * 100.0).round() {
        hundredths if hundredths.abs() < 1e6 => Ok(hundredths as i32),
        _ => Err(wrong(&format!("{field}[{index}]"), &format!("{value} is out of range"))),
    };
    list.iter().enumerate().map(of).collect()
}
