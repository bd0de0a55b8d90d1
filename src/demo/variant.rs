//! A shape much like another: the same frame, as another one of its kind was traced.

use std::f64::consts::TAU;

use super::invent::{DrawPurpose, part};
use crate::desk::frame_shape::{DblSource, FrameShape, NewShape, ShapeOrigin};
use crate::optics::{Eye, Pair};
use crate::shape::outline::OutlineError;
use crate::shape::record::{TraceFile, write};
use crate::shape::trace::Trace;

/// A variant is smaller by this part at most, so that the uncut lens of the model covers it.
const SMALLER: f64 = 0.012;

/// How far a wave lifts the outline, hundredths of a millimeter.
const WAVE: f64 = 4.0;

/// The waves around the outline.
const WAVES: [f64; 3] = [2.0, 3.0, 5.0];

/// The shape of an index, after a model. Both eyes are in its file, so none is derived.
///
/// # Errors
///
/// [`OutlineError`] when the model is so small that no variant is.
pub fn variant(model: &FrameShape, index: u64) -> Result<NewShape, OutlineError> {
    let of = |eye: Eye| vary(model.traces.get(eye), index * 2 + u64::from(eye == Eye::Left), index);
    let traces = match model.derived {
        Some(Eye::Left) => {
            let right = of(Eye::Right)?;
            Pair::new(right.clone(), right.mirror())
        }
        Some(Eye::Right) => {
            let left = of(Eye::Left)?;
            Pair::new(left.mirror(), left)
        }
        None => Pair::new(of(Eye::Right)?, of(Eye::Left)?),
    };
    Ok(NewShape {
        origin: ShapeOrigin::Traced,
        traces,
        derived: None,
        dbl: model.dbl,
        dbl_source: DblSource::File,
        rim_curve_tool_d: model.rim_curve_tool_d,
        rim: model.rim,
        holes: model.holes.clone(),
        job_in_file: None,
        warnings: Vec::new(),
        original: Vec::new(),
        original_name: String::new(),
    })
}

/// The file such a shape would have come in.
pub fn file(shape: &NewShape, job: i64) -> Vec<u8> {
    let file = TraceFile {
        job: Some(job.to_string()),
        dbl_mm: Some(shape.dbl.to_f64()),
        ..TraceFile::of_traces(shape.traces.clone(), None)
    };
    write(&file).into_bytes()
}

fn vary(trace: &Trace, waves: u64, index: u64) -> Result<Trace, OutlineError> {
    let scale = 1.0 - SMALLER * part(DrawPurpose::Scale, index);
    let waves: [(f64, f64); 3] = std::array::from_fn(|at| {
        let of = waves * 8 + at as u64;
        (WAVE * part(DrawPurpose::Wave, of), TAU * part(DrawPurpose::Wave, of + (1 << 40)))
    });
    let radii = trace.radii().iter().zip(trace.angles_deg()).map(|(radius, angle_deg)| {
        let lift: f64 = WAVES
            .iter()
            .zip(waves)
            .map(|(turns, (size, phase))| size * (turns * angle_deg.to_radians() + phase).cos())
            .sum();
        (f64::from(*radius) * scale + lift).round() as i32
    });
    Trace::new(trace.eye(), radii.collect(), trace.angles().clone())
}
