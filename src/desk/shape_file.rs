//! A shape on file as a file for another device.

use super::frame_shape::{FrameShape, holes_of};
use crate::optics::Eye;
use crate::shape::record::{TraceFile, parse_again, with_records_of};

impl FrameShape {
    /// The file of this shape under the name of a job. `source` is the shape that was read from a file, this one or the one that it
    /// was made from, with the bytes of that file: what else they say goes along.
    pub fn to_file(&self, job: &str, source: Option<(&FrameShape, &[u8])>) -> TraceFile {
        let file = TraceFile {
            job: Some(job.to_owned()),
            dbl_mm: Some(self.dbl.to_f64()),
            fcrv_d: self.rim_curve_tool_d,
            holes: self.holes_on_lenses(),
            ..TraceFile::of_traces(self.traces.clone(), self.derived)
        };
        let came = source.and_then(|(source, bytes)| parse_again(bytes, &source.traces));
        let Some(came) = came else { return file };
        let has_its_holes = self.traces == came.traces && self.has_holes_of(&came);
        with_records_of(file, came, has_its_holes)
    }

    /// Whether a file names the holes of this shape, those of each eye for itself.
    fn has_holes_of(&self, came: &TraceFile) -> bool {
        let counts = |eye: Eye| came.holes.get(eye).len() == self.holes.get(eye).len();
        Eye::BOTH.into_iter().all(counts) && holes_of(came, &mut Vec::new()) == self.holes
    }
}
