//! The shape of a job: put on file from a trace file or a table, shown to the boxing system, given back as it came.

use std::sync::Arc;

use askama::Template;
use axum::Router;
use axum::body::Bytes;
use axum::extract::multipart::MultipartError;
use axum::extract::{Multipart, Path, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;

use super::job_bar::JobBar;
use super::{Chrome, PageResult, draft_of, form_key, go, posted_job_key, show, show_again};
use crate::desk::frame_shape::{DblSource, FrameShape, NewShape, ShapeRefused};
use crate::desk::job::{Job, Stage};
use crate::desk::text;
use crate::optics::unit::Millimetre;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::layout::frame_pd_mm;
use crate::shape::outline::Outline;
use crate::shape::record::{TraceFile, read_any, write};
use crate::store::draft::act;
use crate::web::AppState;
use crate::web::drawing::EyeDrawing;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::words::eye_class;

/// Faults shown at once; the parser itself stops at about a hundred.
const FAULTS_SHOWN: usize = 20;

/// Routes.
pub fn router() -> Router<AppState> {
    Router::new()
        .route("/jobs/{number}/shape", get(show_shape).post(keep_shape))
        .route("/jobs/{number}/shape/original", get(download_original))
        .route("/jobs/{number}/shape/export", get(export_shape))
}

#[derive(Template)]
#[template(path = "shapes/show.html")]
struct ShapePage {
    chrome: Chrome,
    bar: JobBar,
    kept: Option<ShapeOnFile>,
    next: Option<(&'static str, String)>,
    already_cut: bool,
    key: String,
    form: Form,
    stamped_bridge: String,
    faults: Vec<String>,
    more_faults: usize,
}

/// A kept shape in words and figures.
struct ShapeOnFile {
    eyes: [EyeShape; 2],
    frame_pd: String,
    dbl: String,
    dbl_from: &'static str,
    cautions: Vec<String>,
    from_file: String,
    from_job: Option<i64>,
    earlier: i64,
}

struct EyeShape {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    is_mirror: bool,
    drawing: EyeDrawing,
    figures: Vec<(&'static str, String, &'static str)>,
}

/// What an upload brings.
#[derive(Default)]
struct Upload {
    form: Form,
    file: Option<(String, Bytes)>,
}

async fn show_shape(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let key = form_key("shape", number, state.store.count_shapes(number).await?);
    let form = draft_of(&state, &key).await?;
    show(&page(&state, number, key, form, Vec::new()).await?)
}

async fn keep_shape(State(state): State<AppState>, Path(number): Path<i64>, sent: Multipart) -> PageResult {
    let job = state.store.get_job(number).await?;
    let Upload { mut form, file } = read_upload(sent).await?;
    let key = posted_job_key(&form, "shape", number, state.store.count_shapes(number).await?);
    // What is said here is a file as well as fields.
    let said =
        (form.value("eye").to_owned(), form.value("dbl").to_owned(), form.value("table").to_owned(), file.clone());
    let (shape, faults) = read_shape(&mut form, file, job.frame.details.bridge);
    let Some(shape) = shape else {
        return show_again(&page(&state, number, key, form, faults).await?);
    };
    state.store.keep_shape(&act(&key, &said), number, &shape, state.clock.now()).await?;
    go(&format!("/jobs/{number}/shape"))
}

async fn read_upload(mut sent: Multipart) -> Result<Upload, WebError> {
    let mut upload = Upload::default();
    while let Some(part) = sent.next_field().await.map_err(not_read)? {
        let name = part.name().unwrap_or("").to_owned();
        if name == "file" {
            let file_name = part.file_name().unwrap_or("").to_owned();
            let bytes = part.bytes().await.map_err(not_read)?;
            if !bytes.is_empty() || !file_name.is_empty() {
                upload.file = Some((file_name, bytes));
            }
        } else {
            upload.form.set(&name, part.text().await.map_err(not_read)?);
        }
    }
    Ok(upload)
}

fn not_read(error: MultipartError) -> WebError {
    if error.status() == axum::http::StatusCode::PAYLOAD_TOO_LARGE {
        WebError::Malformed(
            "That file is larger than 2 MB; a trace file of both eyes has under 0.1 MB. Nothing was changed.".into(),
        )
    } else {
        WebError::Malformed("The upload did not arrive whole. Go back and send it again; nothing was changed.".into())
    }
}

/// The shape, or the form with its sentences and the faults of the file.
fn read_shape(
    form: &mut Form,
    file: Option<(String, Bytes)>,
    stamped_bridge: Millimetre,
) -> (Option<NewShape>, Vec<String>) {
    let dbl = form.read_optional("dbl", str::parse::<Millimetre>);
    let only = Eye::BOTH.into_iter().find(|eye| eye.name() == form.value("eye"));
    let table = form.value("table").to_owned();
    let (field, name, bytes) = match file {
        Some(_) if !table.trim().is_empty() => {
            form.fail("table", "There is a file and a table: send one of them");
            return (None, Vec::new());
        }
        Some((name, bytes)) => ("file", file_name(&name), bytes),
        None if table.trim().is_empty() => {
            form.fail("file", "Choose a trace file, or paste a table of radii below");
            return (None, Vec::new());
        }
        None => ("table", "pasted table".to_owned(), Bytes::from(table)),
    };
    let Some(dbl) = dbl else { return (None, Vec::new()) };
    match NewShape::read(&bytes, &name, only, dbl, stamped_bridge) {
        Ok(shape) => (Some(shape), Vec::new()),
        Err(refused) => {
            let place = match refused {
                ShapeRefused::Faults(_) => field,
                ShapeRefused::EyeNamedInFile(_) => "eye",
                ShapeRefused::Dbl(_) => "dbl",
            };
            form.fail(place, &refused);
            let faults = match refused {
                ShapeRefused::Faults(faults) => faults.iter().map(|f| format!("{f}.")).collect(),
                _ => Vec::new(),
            };
            (None, faults)
        }
    }
}

/// The name of a file without its folders, short enough to keep.
fn file_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or("");
    let short: String = last.chars().take(100).collect();
    match text::line("A file name", &short, 100) {
        Ok(clean) if !clean.is_empty() => clean,
        _ => "trace file".to_owned(),
    }
}

async fn page(
    state: &AppState,
    number: i64,
    key: String,
    mut form: Form,
    mut faults: Vec<String>,
) -> Result<ShapePage, WebError> {
    let job = state.store.get_job(number).await?;
    let reached = job.stage();
    let kept = match &job.shape {
        Some(shape) => Some(on_file(state, &job, shape).await?),
        None => None,
    };
    form.set_default("eye", "said");
    let more_faults = faults.len().saturating_sub(FAULTS_SHOWN);
    faults.truncate(FAULTS_SHOWN);
    Ok(ShapePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(&job, "shape", state),
        next: kept.as_ref().and_then(|_| next(reached, number)),
        already_cut: reached >= Stage::Cut,
        kept,
        key,
        stamped_bridge: job.frame.details.bridge.to_string(),
        form,
        faults,
        more_faults,
    })
}

fn next(reached: Stage, number: i64) -> Option<(&'static str, String)> {
    match reached {
        Stage::Taken | Stage::ShapeOnFile => Some(("take the two lenses in hand", format!("/jobs/{number}/lenses"))),
        Stage::LensesInHand => Some(("lay out, block and cut", format!("/jobs/{number}/layout"))),
        _ => None,
    }
}

async fn on_file(state: &AppState, job: &Job, shape: &FrameShape) -> Result<ShapeOnFile, WebError> {
    let (_, original) = state.store.get_original(shape.id).await?;
    let file = read_any(&original).ok();
    let outlines = shape.outlines();
    let boxing = outlines.as_ref().map(Boxing::of);
    let reach_mm = [boxing.right, boxing.left].iter().map(|b| (b.a_mm / 2.0).max(b.b_mm / 2.0)).fold(0.0, f64::max);
    let eye = |eye: Eye| eye_shape(eye, outlines.get(eye), boxing.get(eye), shape.derived == Some(eye), reach_mm);
    Ok(ShapeOnFile {
        eyes: Eye::BOTH.map(eye),
        frame_pd: format!("{:.2}", frame_pd_mm(&boxing.right, &boxing.left, shape.dbl.to_f64())),
        dbl: shape.dbl.to_string(),
        dbl_from: match shape.dbl_source(file.as_ref(), &job.frame.details) {
            DblSource::File => "from the trace file",
            DblSource::Stamp => "not in the file: the bridge stamped on the frame is used",
            DblSource::Typed => "as typed",
        },
        cautions: shape.cautions(file.as_ref(), &job.frame.details),
        from_file: shape.original_name.clone(),
        from_job: (shape.job_number != job.number).then_some(shape.job_number),
        earlier: state.store.count_shapes(job.number).await? - 1,
    })
}

fn eye_shape(eye: Eye, outline: &Outline, boxing: &Boxing, is_mirror: bool, reach_mm: f64) -> EyeShape {
    EyeShape {
        name: eye.name(),
        letter: eye.letter(),
        class: eye_class(eye),
        is_mirror,
        drawing: EyeDrawing::of_shape(eye, outline, boxing, reach_mm),
        figures: vec![
            ("A, width", format!("{:.2}", boxing.a_mm), "mm"),
            ("B, height", format!("{:.2}", boxing.b_mm), "mm"),
            ("ED", format!("{:.2}", boxing.ed_mm), "mm"),
            ("ED axis", format!("{:.1}", boxing.ed_axis_deg), "°"),
            ("Circumference, flat", format!("{:.2}", boxing.circumference_mm), "mm"),
            ("Area", format!("{:.1}", boxing.area_mm2), "mm²"),
        ],
    }
}

async fn kept_shape(state: &AppState, number: i64) -> Result<(Arc<Job>, FrameShape), WebError> {
    let job = state.store.get_job(number).await?;
    let shape = job.shape.clone().ok_or_else(|| WebError::NotFound(format!("A shape of job {number}")))?;
    Ok((job, shape))
}

async fn download_original(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let (_, shape) = kept_shape(&state, number).await?;
    let (name, bytes) = state.store.get_original(shape.id).await?;
    let name = if name.contains('.') { name } else { format!("{name}.txt") };
    Ok(attachment(&name, bytes))
}

async fn export_shape(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let (_, shape) = kept_shape(&state, number).await?;
    let file = TraceFile {
        job: Some(number.to_string()),
        dbl_mm: Some(shape.dbl.to_f64()),
        ..TraceFile::of_traces(Pair::new(shape.traces.right, shape.traces.left), shape.derived)
    };
    Ok(attachment(&format!("{number}.trc.txt"), write(&file).into_bytes()))
}

/// Bytes to keep, never to show: the browser saves them under a name of plain characters.
fn attachment(name: &str, bytes: Vec<u8>) -> Response {
    let plain = |c: char| if c.is_ascii_alphanumeric() || ".-_ ".contains(c) { c } else { '_' };
    let safe: String = name.chars().map(plain).collect();
    let headers = [
        (header::CONTENT_TYPE, "text/plain; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{}\"", safe.trim_start_matches('.'))),
    ];
    (headers, bytes).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_name_loses_its_folders() {
        for (name, want) in [
            ("C:\\traces\\1042.trc", "1042.trc"),
            ("../../etc/passwd", "passwd"),
            ("", "trace file"),
            ("a\u{7}b.txt", "ab.txt"),
        ] {
            assert_eq!(file_name(name), want);
        }
        let sent = attachment("..\"né\r\n.txt", Vec::new());
        assert_eq!(sent.headers()[header::CONTENT_DISPOSITION], "attachment; filename=\"_n___.txt\"");
    }
}
