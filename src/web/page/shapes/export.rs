//! A shape as a file for another device or program, in every format that is written.

use askama::Template;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::kept_shape;
use crate::desk::frame_shape::FrameShape;
use crate::desk::id::ShapeId;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::dxf::Layer;
use crate::shape::record::{Assumptions, Form, TraceFile, write_as};
use crate::shape::svg::{View, holes_data, path_data};
use crate::shape::{dxf, points_csv};
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
    exported(&shape, &number.to_string(), &asked.format)
}

/// As [`export_shape`], for a shape that no job may use any more.
pub(crate) async fn export_one(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Query(asked): Query<ExportQuery>,
) -> PageResult {
    let shape = state.store.get_shape(key_of::<ShapeId>(&id, "That shape")?).await?;
    let name = shape.job_number.map_or_else(|| "shape".to_owned(), |number| number.to_string());
    exported(&shape, &name, &asked.format)
}

fn exported(shape: &FrameShape, name: &str, format: &str) -> PageResult {
    let outlines = shape.outlines();
    let records = |form: Form| write_as(&trace_file(shape, name), form, &Assumptions::default());
    let (end, kind, bytes) = match format {
        "" | "text" => ("trc.txt", TEXT, records(Form::Text)),
        "binary" => ("binary.trc", BYTES, records(Form::Binary)),
        "differences" => ("differences.trc", BYTES, records(Form::Differences)),
        "packed" => ("packed.trc", BYTES, records(Form::Packed)),
        "points" => ("csv", CSV, points_csv::table(&outlines).into_bytes()),
        "svg" => ("svg", "image/svg+xml", OutlinesSvg::of(shape, name).render()?.into_bytes()),
        "dxf" => {
            let view = view_of(shape);
            let holes = shape.holes_on_lenses();
            let layers = Eye::BOTH.map(|eye| Layer {
                name: eye.name(),
                outline: outlines.get(eye),
                holes: holes.get(eye),
                place: *view.centers.get(eye),
            });
            ("dxf", "image/vnd.dxf", dxf::drawing(&layers).into_bytes())
        }
        _ => return Err(WebError::NotFound("That format".to_owned())),
    };
    Ok(download(&format!("{name}.{end}"), kind, bytes))
}

/// The records of a shape.
fn trace_file(shape: &FrameShape, job: &str) -> TraceFile {
    let Pair { right, left } = shape.traces.clone();
    TraceFile {
        job: Some(job.to_owned()),
        dbl_mm: Some(shape.dbl.to_f64()),
        fcrv_d: shape.rim_curve_tool_d,
        holes: shape.holes_on_lenses(),
        ..TraceFile::of_traces(Pair::new(right, left), shape.derived)
    }
}

/// Both outlines as they stand in the frame.
fn view_of(shape: &FrameShape) -> View {
    View::of_pair(&shape.outlines().as_ref().map(Boxing::of), shape.dbl.to_f64(), 0.5)
}

/// A drawing of both outlines at true size.
#[derive(Template)]
#[template(path = "shapes/outlines.svg")]
struct OutlinesSvg {
    title: String,
    width: String,
    height: String,
    view_box: String,
    /// The eye, its path and that of its holes.
    paths: [(&'static str, String, String); 2],
}

impl OutlinesSvg {
    fn of(shape: &FrameShape, name: &str) -> Self {
        let (view, outlines, holes) = (view_of(shape), shape.outlines(), shape.holes_on_lenses());
        let (width, height) = view.true_size();
        Self {
            title: format!("{name}, seen from the front, millimeters"),
            width,
            height,
            view_box: view.view_box(),
            paths: Eye::BOTH.map(|eye| {
                let place = *view.centers.get(eye);
                (eye.name(), path_data(outlines.get(eye), place), holes_data(holes.get(eye), place))
            }),
        }
    }
}
