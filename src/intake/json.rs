//! A shape as JSON: what `rimbook shape read` prints and `rimbook shape write` takes.

use std::fmt;

use serde::de::{MapAccess, Visitor};
use serde::ser::SerializeMap;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::IntakeError;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::record::TraceFile;
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
    /// The other records, by label.
    #[serde(default)]
    pub records: Records,
    /// What was odd, a sentence each.
    #[serde(default)]
    pub warnings: Vec<String>,
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
    /// Whether it was not in the file and mirrors the other eye. A mirrored eye is not written.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub mirrored: bool,
}

/// Records by label in the order of the file; a label that comes several times has a list.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Records(pub Vec<(String, Vec<String>)>);

impl Records {
    fn push(&mut self, label: &str, value: &str) {
        match self.0.iter_mut().find(|(known, _)| known == label) {
            Some((_, values)) => values.push(value.to_owned()),
            None => self.0.push((label.to_owned(), vec![value.to_owned()])),
        }
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
        let mut records = Records::default();
        for (label, value) in &file.records {
            records.push(label, value);
        }
        let eye = |eye: Eye| Some(EyeJson::of(file.traces.get(eye), file.derived == Some(eye)));
        let mirrored = file.derived.map(|eye| {
            format!("The {} eye is not in the file: the mirror image of the {} is used", eye.name(), eye.other().name())
        });
        Self {
            eyes: EyesJson { right: eye(Eye::Right), left: eye(Eye::Left) },
            job: file.job.clone(),
            dbl_mm: file.dbl_mm,
            records,
            warnings: mirrored.into_iter().chain(file.warnings.iter().map(ToString::to_string)).collect(),
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
        let trace = |eye: Eye, json: &Option<EyeJson>| match json {
            Some(json) if !json.mirrored => json.trace(eye).map(Some),
            _ => Ok(None),
        };
        let right = trace(Eye::Right, &self.eyes.right)?;
        let left = trace(Eye::Left, &self.eyes.left)?;
        let (traces, derived) = match (right, left) {
            (Some(right), Some(left)) => (Pair::new(right, left), None),
            (Some(right), None) => (Pair::new(right.clone(), right.mirror()), Some(Eye::Left)),
            (None, Some(left)) => (Pair::new(left.mirror(), left), Some(Eye::Right)),
            (None, None) => return Err(wrong("eyes", "no eye has radii")),
        };
        let mut file = TraceFile { job: self.job.clone(), ..TraceFile::of_traces(traces, derived) };
        file.dbl_mm = self.dbl_mm;
        Ok(file)
    }
}

fn wrong(field: &str, problem: &str) -> IntakeError {
    let one_line = |text: &str| text.replace(char::is_control, " ");
    IntakeError::Json { field: one_line(field), problem: one_line(problem) }
}

impl EyeJson {
    fn of(trace: &Trace, mirrored: bool) -> Self {
        let boxing = Boxing::of(&trace.outline());
        let figure = |mm: f64| Some((mm * 1e6).round() / 1e6);
        Self {
            points: Some(trace.radii().len()),
            radii_mm: trace.radii().iter().map(|&radius| f64::from(radius) / 100.0).collect(),
            angles_deg: (*trace.angles() != Angles::Equal).then(|| trace.angles_deg()),
            a_mm: figure(boxing.a_mm),
            b_mm: figure(boxing.b_mm),
            ed_mm: figure(boxing.ed_mm),
            circumference_mm: figure(boxing.circumference_mm),
            mirrored,
        }
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
