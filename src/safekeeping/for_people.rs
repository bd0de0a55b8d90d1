//! What an export writes once more for people, gathered while the tables are walked: the receipts as text and JSON, the shapes
//! as trace files.

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use uuid::Uuid;

use super::export::write_text;
use super::files::{FilesError, kept_file};
use crate::desk::drilling::{BoxSide, DrilledHole, FromSide};
use crate::desk::frame_shape::{DblSource, FrameShape, ShapeOrigin};
use crate::desk::id::ShapeId;
use crate::desk::receipt::Document;
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};
use crate::print::receipt::PrintedReceipt;
use crate::shape::record::{Assumptions, TraceForm, write_as};
use crate::shape::trace::Trace;
use crate::store::table_walk::{SqlTable, Value};

/// A row whose values are asked for by the names of their columns.
pub(super) struct NamedRow<'a> {
    pub(super) table: &'a SqlTable,
    pub(super) row: &'a [Value],
}

impl NamedRow<'_> {
    fn value(&self, name: &str) -> &Value {
        let place = self.table.columns.iter().position(|column| column.name == name);
        place.and_then(|place| self.row.get(place)).unwrap_or(&Value::Null)
    }

    pub(super) fn blob(&self, name: &str) -> &[u8] {
        if let Value::Blob(bytes) = self.value(name) { bytes } else { &[] }
    }

    fn text(&self, name: &str) -> &str {
        if let Value::Text(text) = self.value(name) { text } else { "" }
    }

    fn integer(&self, name: &str) -> Option<i64> {
        if let Value::Integer(number) = self.value(name) { Some(*number) } else { None }
    }

    fn length(&self, name: &str) -> Option<Millimeter> {
        Millimeter::from_hundredths(self.integer(name)?.try_into().ok()?).ok()
    }

    fn eye(&self) -> Option<Eye> {
        Eye::BOTH.into_iter().find(|eye| eye.name() == self.text("eye"))
    }

    fn hole(&self) -> Option<DrilledHole> {
        let place = |inward: &str, up: &str| Some(FromSide { inward: self.length(inward)?, up: self.length(up)? });
        Some(DrilledHole {
            side: BoxSide::from_key(self.text("side"))?,
            at: place("from_side_hundredths", "up_hundredths")?,
            slot_end: place("end_from_side_hundredths", "end_up_hundredths"),
            diameter: self.length("diameter_hundredths")?,
        })
    }
}

/// What is written once more for people.
pub(super) struct ForPeople<'a> {
    folder: &'a Path,
    /// The SHA-256 of each file, by its key in `attachment`.
    files: HashMap<Vec<u8>, Vec<u8>>,
    shapes: HashMap<Vec<u8>, ShapeParts>,
}

/// The rows of a shape.
#[derive(Default)]
struct ShapeParts {
    job: Option<i64>,
    parent: Vec<u8>,
    /// The SHA-256 of the file that it was read from.
    file: Option<Vec<u8>>,
    dbl: Option<Millimeter>,
    traces: Pair<Option<Trace>>,
    derived: Option<Eye>,
    rim_curve_tool_d: Pair<Option<f64>>,
    holes: Pair<Vec<DrilledHole>>,
}

impl ShapeParts {
    /// The shape, where the book has all of it.
    fn shape(&self) -> Option<FrameShape> {
        let Pair { right: Some(right), left: Some(left) } = self.traces.clone() else { return None };
        Some(FrameShape {
            id: ShapeId(Uuid::nil()),
            job_number: self.job,
            parent: None,
            origin: ShapeOrigin::Traced,
            traces: Pair::new(right, left),
            derived: self.derived,
            dbl: self.dbl?,
            dbl_source: DblSource::File,
            rim_curve_tool_d: self.rim_curve_tool_d,
            rim: Pair::default(),
            holes: self.holes.clone(),
        })
    }
}

impl<'a> ForPeople<'a> {
    pub(super) fn new(folder: &'a Path) -> Self {
        Self { folder, files: HashMap::new(), shapes: HashMap::new() }
    }

    /// Takes what it needs of a row.
    pub(super) fn see(&mut self, row: &NamedRow<'_>) -> Result<(), FilesError> {
        match row.table.name.as_str() {
            "receipt" => self.write_receipt(row)?,
            "attachment" if row.text("kind") == "trace" => {
                self.files.insert(row.blob("id").to_vec(), row.blob("hash").to_vec());
            }
            "shape" => {
                let file = self.files.get(row.blob("original_id")).cloned();
                let parts = self.parts(row.blob("id"));
                parts.job = row.integer("job_number");
                parts.dbl = row.length("dbl_hundredths");
                parts.parent = row.blob("parent_id").to_vec();
                parts.file = file;
            }
            "shape_eye" => {
                let Some(eye) = row.eye() else { return Ok(()) };
                let parts = self.parts(row.blob("shape_id"));
                *parts.traces.get_mut(eye) = Trace::from_bytes(row.blob("trace")).ok();
                *parts.rim_curve_tool_d.get_mut(eye) =
                    row.integer("rim_curve_hundredths").map(|hundredths| hundredths as f64 / 100.0);
                if row.integer("is_mirror") == Some(1) {
                    parts.derived = Some(eye);
                }
            }
            "shape_hole" => {
                if let Some((eye, hole)) = row.eye().zip(row.hole()) {
                    self.parts(row.blob("shape_id")).holes.get_mut(eye).push(hole);
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn parts(&mut self, shape: &[u8]) -> &mut ShapeParts {
        self.shapes.entry(shape.to_vec()).or_default()
    }

    fn write_receipt(&self, row: &NamedRow<'_>) -> Result<(), FilesError> {
        let number = row.integer("number").unwrap_or_default();
        let place = |ending: &str| self.folder.join("receipts").join(format!("{number}.{ending}"));
        write_text(&place("json"), row.text("document"))?;
        match Document::from_json(row.text("document")) {
            Ok(document) => write_text(&place("txt"), &PrintedReceipt::of(number, &document).plain_text()),
            // A receipt of a later version; its own text is there.
            Err(_) => Ok(()),
        }
    }

    /// Writes each shape as the page of its job saves it: what its own file says besides the outline goes along.
    pub(super) fn write_shapes(self) -> Result<(), FilesError> {
        for (id, parts) in &self.shapes {
            let Some(shape) = parts.shape() else { continue };
            let source = self.source_of(parts)?;
            let source = source.as_ref().map(|(source, bytes)| (source, bytes.as_slice()));
            let job = parts.job.map_or_else(|| "shape".to_owned(), |job| job.to_string());
            let file = self.folder.join("shapes").join(format!("{}.txt", const_hex::encode(id)));
            let records = write_as(&shape.to_file(&job, source), TraceForm::Text, &Assumptions::default());
            fs::write(&file, records).map_err(FilesError::io(&file))?;
        }
        Ok(())
    }

    /// The shape that was read from a file, this one or the one that it was made from step by step, and the bytes of the file.
    fn source_of(&self, parts: &ShapeParts) -> Result<Option<(FrameShape, Vec<u8>)>, FilesError> {
        let mut source = parts;
        // A book whose parents run in a circle has no more steps than shapes.
        for _ in 0..self.shapes.len() {
            match self.shapes.get(&source.parent) {
                Some(parent) => source = parent,
                None => break,
            }
        }
        let Some((hash, shape)) = source.file.as_ref().zip(source.shape()) else { return Ok(None) };
        let file = self.folder.join(kept_file(hash));
        Ok(Some((shape, fs::read(&file).map_err(FilesError::io(&file))?)))
    }
}
