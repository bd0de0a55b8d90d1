//! A shape as a file for another device or program, in every format that is written.

use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::kept_shape;
use crate::desk::frame_shape::FrameShape;
use crate::desk::id::ShapeId;
use crate::intake::write::WriteFormat;
use crate::shape::record::Assumptions;
use crate::web::AppState;
use crate::web::download::{CSV, TEXT, download};
use crate::web::error::WebError;
use crate::web::page::{PageResult, key_of};

/// The formats, each with its word in an address and its name.
pub const FORMATS: [(&str, &str); 7] = [
    ("text", "Trace file"),
    ("binary", "Trace file, binary"),
    ("differences", "Trace file, differences"),
    ("packed", "Trace file, packed"),
    ("points", "Points, CSV"),
    ("svg", "SVG"),
    ("dxf", "DXF"),
];

const BYTES: &str = "application/octet-stream";

#[derive(Deserialize)]
pub(crate) struct ExportQuery {
    #[serde(rename = "as", default)]
    format: String,
}

pub(crate) async fn export_shape(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<ExportQuery>,
) -> PageResult {
    let shape = kept_shape(&state, number).await?;
    exported(&state, &shape, &number.to_string(), &asked.format).await
}

/// As [`export_shape`], for a shape that no job may use any more.
pub(crate) async fn export_one(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Query(asked): Query<ExportQuery>,
) -> PageResult {
    let shape = state.store.get_shape(key_of::<ShapeId>(&id, "That shape")?).await?;
    let name = shape.job_number.map_or_else(|| "shape".to_owned(), |number| number.to_string());
    exported(&state, &shape, &name, &asked.format).await
}

async fn exported(state: &AppState, shape: &FrameShape, name: &str, word: &str) -> PageResult {
    let asked = if word.is_empty() { Some(WriteFormat::Text) } else { WriteFormat::from_word(word) };
    let format = asked.ok_or_else(|| WebError::NotFound("That format".to_owned()))?;
    let source = state.store.find_source(shape).await?;
    let source = source.as_ref().map(|(source, bytes)| (source, bytes.as_slice()));
    let file = shape.to_file(name, source);
    let bytes = format.file_of(&file, &Assumptions::default()).map_err(|why| WebError::Internal(why.to_string()))?;
    let (end, kind) = match format {
        WriteFormat::Text => ("trc.txt", TEXT),
        WriteFormat::Binary => ("binary.trc", BYTES),
        WriteFormat::Differences => ("differences.trc", BYTES),
        WriteFormat::Packed => ("packed.trc", BYTES),
        WriteFormat::Points => ("csv", CSV),
        WriteFormat::Svg => ("svg", "image/svg+xml"),
        WriteFormat::Dxf => ("dxf", "image/vnd.dxf"),
    };
    Ok(download(&format!("{name}.{end}"), kind, bytes))
}
