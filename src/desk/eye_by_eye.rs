//! A tracer that sends each eye in a message of its own: the two make one shape.
//!
//! They do where both messages name the same job, come from the same device soon after each other, and hold one eye each,
//! and where nothing was done with the shape of the first one meanwhile. The first shape stays on file as it is; the one
//! with both eyes is a new one.

use super::frame_shape::{DblSource, NewShape, ShapeWarning};
use super::job::{EventKind, Job};
use crate::optics::{Eye, Pair};

impl Job {
    /// Whether something was made by the shape since it was put on file.
    pub fn is_shape_used(&self) -> bool {
        let kept = self.history.iter().rposition(|event| event.kind == EventKind::ShapeKept);
        let since = kept.map_or(&[][..], |at| &self.history[at..]);
        since.iter().any(|event| matches!(event.kind, EventKind::TicketPrinted | EventKind::Cut))
    }
}

impl NewShape {
    /// The eye that was traced, where only one was.
    pub fn only_eye(&self) -> Option<Eye> {
        self.derived.map(Eye::other)
    }

    /// One shape of two that hold one eye each: every eye as it was traced. `None` where they are not one of each.
    pub fn joined(first: &NewShape, second: &NewShape) -> Option<NewShape> {
        let eye = second.only_eye()?;
        if first.only_eye() != Some(eye.other()) {
            return None;
        }
        let of = |which: Eye| if which == eye { second } else { first };
        let (right, left) = (of(Eye::Right), of(Eye::Left));
        let by_dbl = if second.dbl_source == DblSource::Stamp { first } else { second };
        let mut warnings = first.warnings.clone();
        warnings.extend(second.warnings.iter().filter(|said| !first.warnings.contains(said)).cloned());
        warnings.extend(dbl_differs(first, second));
        warnings.extend(holes_of_one(first, second));
        // A hole may be named for both eyes in one of the messages.
        let holes = |which: Eye| {
            let [own, other] = [of(which), of(which.other())].map(|shape| shape.holes.get(which));
            if own.is_empty() { other.clone() } else { own.clone() }
        };
        Some(NewShape {
            traces: Pair::new(right.traces.right.clone(), left.traces.left.clone()),
            derived: None,
            dbl: by_dbl.dbl,
            dbl_source: by_dbl.dbl_source,
            rim_curve_tool_d: Pair::new(right.rim_curve_tool_d.right, left.rim_curve_tool_d.left),
            rim: Pair::new(right.rim.right, left.rim.left),
            holes: Pair::new(holes(Eye::Right), holes(Eye::Left)),
            warnings,
            original: [&first.original[..], &second.original].concat(),
            ..second.clone()
        })
    }
}

fn dbl_differs(first: &NewShape, second: &NewShape) -> Option<ShapeWarning> {
    let both_say = [first, second].iter().all(|shape| shape.dbl_source == DblSource::File);
    let says = format!(
        "the eyes came with two distances between the lenses, {} and {} mm; the second is used",
        first.dbl, second.dbl
    );
    (both_say && first.dbl != second.dbl).then_some(ShapeWarning { kind: "dbl_differs", says })
}

fn holes_of_one(first: &NewShape, second: &NewShape) -> Option<ShapeWarning> {
    let is_bare = |shape: &NewShape| shape.holes.iter().all(|(_, holes)| holes.is_empty());
    let says = "holes came with one of the eyes only, and are taken for both".to_owned();
    (is_bare(first) != is_bare(second)).then_some(ShapeWarning { kind: "holes_of_one_eye", says })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::frame_shape::{Original, ShapeOrigin};
    use crate::desk::job::Event;
    use crate::desk::sample::round_job;
    use crate::shape::record::parse;

    /// A trace of one eye, a circle of this radius in hundredths.
    fn one_eye(side: &str, radius: i32, more: &str) -> NewShape {
        let list = vec![radius.to_string(); 36].join(";");
        let bytes = format!("{more}TRCFMT=1;36;E;{side};F\r\nR={list}\r\n").into_bytes();
        let original = Original { bytes: &bytes, name: "trace", origin: ShapeOrigin::Traced };
        NewShape::of_file(parse(&bytes).unwrap(), original, None, None, "18".parse().unwrap()).unwrap()
    }

    #[test]
    fn each_eye_stays_as_it_was_traced_whichever_came_first() {
        let right = one_eye("R", 2000, "DBL=19.00\r\nFCRV=4.00\r\n");
        let left = one_eye("L", 2100, "FCRV=5.00\r\n");
        for (first, second) in [(&right, &left), (&left, &right)] {
            let shape = NewShape::joined(first, second).unwrap();
            assert_eq!((shape.traces.right.radii()[0], shape.traces.left.radii()[0]), (2000, 2100));
            assert_eq!((shape.derived, shape.rim_curve_tool_d), (None, Pair::new(Some(4.0), Some(5.0))));
            assert_eq!((shape.dbl.to_string().as_str(), shape.dbl_source), ("19.00", DblSource::File));
            assert_eq!(shape.original, [&first.original[..], &second.original].concat());
            assert_eq!(shape.warnings, []);
        }
    }

    #[test]
    fn only_one_of_each_makes_a_pair() {
        let (right, left) = (one_eye("R", 2000, ""), one_eye("L", 2100, ""));
        let both = NewShape::joined(&right, &left).unwrap();
        for (first, second) in [(&right, &right), (&left, &left), (&both, &left), (&right, &both)] {
            assert_eq!(NewShape::joined(first, second), None);
        }
    }

    #[test]
    fn each_eye_keeps_its_holes() {
        let right = one_eye("R", 2000, "DRILL=B;-15.00;2.00;1.40\r\n");
        let left = one_eye("L", 2100, "DRILL=L;-16.00;1.00;1.40\r\nDRILL=L;-16.00;4.00;1.40\r\n");
        for (first, second) in [(&right, &left), (&left, &right)] {
            let holes = NewShape::joined(first, second).unwrap().holes;
            assert_eq!((holes.right.len(), &holes.left), (1, &left.holes.left));
        }
        let both = NewShape::joined(&right, &one_eye("L", 2100, "")).unwrap();
        assert_eq!((both.holes.right.len(), both.holes.left.len(), both.warnings.len()), (1, 1, 2));
        assert!(both.warnings[1].says.contains("taken for both"), "{:?}", both.warnings);
    }

    #[test]
    fn two_distances_are_said() {
        let (right, left) = (one_eye("R", 2000, "DBL=19.00\r\n"), one_eye("L", 2100, "DBL=18.50\r\n"));
        let shape = NewShape::joined(&right, &left).unwrap();
        assert_eq!(shape.dbl.to_string(), "18.50");
        assert!(shape.warnings[0].says.contains("19.00 and 18.50 mm; the second is used"), "{:?}", shape.warnings);
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
