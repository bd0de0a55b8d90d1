//! A tracer that sends each eye in a message of its own: the two make one shape.
//!
//! They do where both messages name the same job, come from the same device soon after each other, and hold one eye each,
//! and where nothing was done with the shape of the first one meanwhile. The first shape stays on file as it is; the one
//! with both eyes is a new one, read as a file with both eyes is.

use super::frame_shape::{NewShape, Original, ShapeOrigin, ShapeRefused};
use super::job::{EventKind, Job};
use crate::optics::unit::Millimeter;
use crate::shape::record::TraceFile;

/// A message with a shape, as it came and as it was read.
#[derive(Debug, Clone, PartialEq)]
pub struct TraceMessage {
    pub bytes: Vec<u8>,
    pub file: TraceFile,
}

impl Job {
    /// Whether something was made by the shape since it was put on file.
    pub fn is_shape_used(&self) -> bool {
        let kept = self.history.iter().rposition(|event| event.kind == EventKind::ShapeKept);
        let since = kept.map_or(&[][..], |at| &self.history[at..]);
        since.iter().any(|event| matches!(event.kind, EventKind::TicketPrinted | EventKind::Cut))
    }
}

impl TraceMessage {
    /// Both eyes, where each came in a message of its own. The bytes are those of both. `None` where they are not one of each.
    pub fn joined(first: &TraceMessage, second: &TraceMessage) -> Option<TraceMessage> {
        let file = TraceFile::joined(&first.file, &second.file)?;
        Some(TraceMessage { bytes: [&first.bytes[..], &second.bytes].concat(), file })
    }

    /// The shape under the name of its trace. `stamped_bridge` is used where the message does not say the distance between the
    /// lenses.
    ///
    /// # Errors
    ///
    /// [`ShapeRefused::Dbl`].
    pub fn shape(&self, name: &str, stamped_bridge: Millimeter) -> Result<NewShape, ShapeRefused> {
        let original = Original { bytes: &self.bytes, name, origin: ShapeOrigin::Traced };
        NewShape::of_file(self.file.clone(), original, None, None, stamped_bridge)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::frame_shape::DblSource;
    use crate::desk::job::Event;
    use crate::desk::sample::round_job;
    use crate::optics::Pair;
    use crate::shape::record::parse;

    /// A trace of one eye, a circle of this radius in hundredths.
    fn one_eye(side: &str, radius: i32, more: &str) -> TraceMessage {
        let list = vec![radius.to_string(); 36].join(";");
        let bytes = format!("{more}TRCFMT=1;36;E;{side};F\r\nR={list}\r\n").into_bytes();
        TraceMessage { file: parse(&bytes).unwrap(), bytes }
    }

    fn joined(first: &TraceMessage, second: &TraceMessage) -> NewShape {
        TraceMessage::joined(first, second).unwrap().shape("trace", "18".parse().unwrap()).unwrap()
    }

    #[test]
    fn each_eye_stays_as_it_was_traced_whichever_came_first() {
        let right = one_eye("R", 2000, "DBL=19.00\r\nFCRV=4.00\r\n");
        let left = one_eye("L", 2100, "FCRV=5.00\r\n");
        for (first, second) in [(&right, &left), (&left, &right)] {
            let shape = joined(first, second);
            assert_eq!((shape.traces.right.radii()[0], shape.traces.left.radii()[0]), (2000, 2100));
            assert_eq!((shape.derived, shape.rim_curve_tool_d), (None, Pair::new(Some(4.0), Some(5.0))));
            assert_eq!((shape.dbl.to_string().as_str(), shape.dbl_source), ("19.00", DblSource::File));
            assert_eq!(shape.original, [&first.bytes[..], &second.bytes].concat());
            assert_eq!(shape.warnings, []);
        }
    }

    #[test]
    fn each_eye_keeps_its_holes() {
        let right = one_eye("R", 2000, "DRILL=B;-15.00;2.00;1.40\r\n");
        let left = one_eye("L", 2100, "DRILL=L;-16.00;1.00;1.40\r\nDRILL=L;-16.00;4.00;1.40\r\n");
        for (first, second) in [(&right, &left), (&left, &right)] {
            let holes = joined(first, second).holes;
            assert_eq!((holes.right.len(), holes.left.len()), (1, 2));
        }
        // Named for both eyes in one of the messages.
        let both = joined(&right, &one_eye("L", 2100, ""));
        assert_eq!((both.holes.right.len(), both.holes.left.len(), both.warnings.len()), (1, 1, 1));
    }

    #[test]
    fn holes_of_one_eye_stay_there_and_that_is_said_as_of_a_file() {
        let right = one_eye("R", 2000, "DRILL=R;-15.00;2.00;1.40\r\n");
        let left = one_eye("L", 2100, "");
        // Until the left eye comes it is the mirror image of the right one, with its holes.
        let alone = right.shape("trace", "18".parse().unwrap()).unwrap();
        assert_eq!((alone.holes.right.len(), alone.holes.left.len(), alone.warnings.len()), (1, 1, 1));
        let file = [&right.bytes[..], &left.bytes].concat();
        let of_file = NewShape::read(&file, "trace", None, None, "18".parse().unwrap()).unwrap();
        for (first, second) in [(&right, &left), (&left, &right)] {
            let shape = joined(first, second);
            assert_eq!((shape.holes.right.len(), shape.holes.left.len()), (1, 0));
            let kinds: Vec<_> = shape.warnings.iter().map(|warning| warning.kind).collect();
            assert_eq!(kinds, ["holes_read", "holes_of_one_eye"]);
            assert_eq!((&shape.holes, &shape.warnings), (&of_file.holes, &of_file.warnings));
        }
    }

    #[test]
    fn a_shape_is_used_once_something_was_made_by_it() {
        use EventKind::{Cut, Paid, ShapeKept, Taken, TicketPrinted};
        for (kinds, is_used) in [
            (&[Taken][..], false),
            (&[Taken, ShapeKept, Paid], false),
            (&[Taken, ShapeKept, TicketPrinted], true),
            (&[Taken, ShapeKept, Cut, Paid], true),
            (&[Taken, ShapeKept, TicketPrinted, ShapeKept], false),
        ] {
            let at = time::OffsetDateTime::UNIX_EPOCH;
            let event = |kind: &EventKind| Event { kind: *kind, note: String::new(), by: None, at };
            let job = Job { history: kinds.iter().map(event).collect(), ..round_job("-4.00 sph", "31/33") };
            assert_eq!(job.is_shape_used(), is_used, "{kinds:?}");
        }
    }
}
