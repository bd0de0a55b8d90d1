//! Two files of one eye each as one file: a tracer may send each eye in a message of its own.

use super::{TraceFile, Warning, WarningKind};
use crate::optics::{Eye, Pair};

impl TraceFile {
    /// The eye that was traced, where only one was.
    pub fn only_eye(&self) -> Option<Eye> {
        self.derived.map(Eye::other)
    }

    /// Both eyes as if they had come in one file, each as it was traced. What is said of the whole frame is that of the second
    /// file where it says it. `None` where they are not one of each.
    ///
    /// A hole stays on the eye that it is named for, as in one file. One that the message of the other eye names for both is
    /// used where an eye's own message names none.
    pub fn joined(first: &TraceFile, second: &TraceFile) -> Option<TraceFile> {
        let eye = second.only_eye()?;
        if first.only_eye() != Some(eye.other()) {
            return None;
        }
        let of = |which: Eye| if which == eye { second } else { first };
        let (right, left) = (of(Eye::Right), of(Eye::Left));
        let measures =
            |measure: fn(&TraceFile) -> &Pair<Option<f64>>| Pair::new(measure(right).right, measure(left).left);
        let holes = |which: Eye| {
            let [own, other] = [of(which), of(which.other())].map(|file| file.holes.get(which));
            if own.is_empty() { other.clone() } else { own.clone() }
        };
        let mut warnings = first.warnings.clone();
        warnings.extend(second.warnings.iter().filter(|said| !first.warnings.contains(said)).cloned());
        warnings.extend(dbl_differs(first, second));
        Some(TraceFile {
            job: second.job.clone().or_else(|| first.job.clone()),
            dbl_mm: second.dbl_mm.or(first.dbl_mm),
            objects: Pair::new(right.objects.right.clone(), left.objects.left.clone()),
            hbox_mm: measures(|file| &file.hbox_mm),
            vbox_mm: measures(|file| &file.vbox_mm),
            circ_mm: measures(|file| &file.circ_mm),
            fcrv_d: measures(|file| &file.fcrv_d),
            ztilt_deg: measures(|file| &file.ztilt_deg),
            panto_deg: measures(|file| &file.panto_deg),
            depth: Pair::new(right.depth.right.clone(), left.depth.left.clone()),
            holes: Pair::new(holes(Eye::Right), holes(Eye::Left)),
            items: [&first.items[..], &second.items].concat(),
            framing: second.framing,
            warnings,
            ..TraceFile::of_traces(Pair::new(right.traces.right.clone(), left.traces.left.clone()), None)
        })
    }
}

fn dbl_differs(first: &TraceFile, second: &TraceFile) -> Option<Warning> {
    let (first_mm, second_mm) = first.dbl_mm.zip(second.dbl_mm)?;
    let kind = WarningKind::DblDiffers { first_mm, second_mm };
    // A DBL is read to hundredths.
    ((first_mm - second_mm).abs() >= 0.005).then_some(Warning { line: None, kind })
}

#[cfg(test)]
mod tests {
    use super::super::parse;
    use super::*;

    /// One eye, a circle of this radius in hundredths.
    fn one_eye(side: &str, radius: i32, more: &str) -> TraceFile {
        let list = vec![radius.to_string(); 36].join(";");
        parse(format!("{more}TRCFMT=1;36;E;{side};F\r\nR={list}\r\n").as_bytes()).unwrap()
    }

    #[test]
    fn each_eye_stays_as_it_was_traced_whichever_came_first() {
        let right = one_eye("R", 2000, "JOB=7\r\nDBL=19.00\r\nFCRV=4.00\r\nHBOX=40.00;?\r\n");
        let left = one_eye("L", 2100, "FCRV=5.00\r\nHBOX=43.00\r\n");
        for (first, second) in [(&right, &left), (&left, &right)] {
            let file = TraceFile::joined(first, second).unwrap();
            assert_eq!((file.traces.right.radii()[0], file.traces.left.radii()[0]), (2000, 2100));
            assert_eq!((file.derived, file.fcrv_d), (None, Pair::new(Some(4.0), Some(5.0))));
            assert_eq!((file.dbl_mm, file.job.as_deref()), (Some(19.0), Some("7")));
            assert_eq!(file.hbox_mm, Pair::new(Some(40.0), Some(43.0)));
            assert_eq!(file.warnings, left.warnings, "a box that differs is said as before");
            assert_eq!(file.warnings.len(), 1);
        }
    }

    #[test]
    fn only_one_of_each_makes_a_pair() {
        let (right, left) = (one_eye("R", 2000, ""), one_eye("L", 2100, ""));
        let both = TraceFile::joined(&right, &left).unwrap();
        for (first, second) in [(&right, &right), (&left, &left), (&both, &left), (&right, &both)] {
            assert_eq!(TraceFile::joined(first, second), None);
        }
    }

    #[test]
    fn holes_are_those_of_one_file_with_both_eyes() {
        let both = "DRILL=B;-15.00;2.00;1.40\r\n";
        let [right, left] = ["DRILL=R;-15.00;2.00;1.40\r\n", "DRILL=L;-16.00;1.00;1.40\r\n"];
        for (of_right, of_left, records) in [
            (right, "", right.to_owned()),
            ("", left, left.to_owned()),
            (right, left, format!("{right}{left}")),
            (both, "", both.to_owned()),
            ("", both, both.to_owned()),
            (both, both, both.to_owned()),
            (right, both, format!("{right}{}", both.replace("=B", "=L"))),
            ("", "", String::new()),
        ] {
            let circle =
                |side: &str, radius: &str| format!("TRCFMT=1;36;E;{side};F\r\nR={}\r\n", vec![radius; 36].join(";"));
            let one = parse(format!("{records}{}{}", circle("R", "2000"), circle("L", "2100")).as_bytes()).unwrap();
            let (first, second) = (one_eye("R", 2000, of_right), one_eye("L", 2100, of_left));
            for (first, second) in [(&first, &second), (&second, &first)] {
                let joined = TraceFile::joined(first, second).unwrap();
                assert_eq!(joined.holes_of_lenses(), one.holes_of_lenses(), "{of_right:?} {of_left:?}");
                assert_eq!(joined.warning_of_holes(), one.warning_of_holes(), "{of_right:?} {of_left:?}");
            }
        }
    }

    #[test]
    fn two_distances_are_said() {
        let (right, left) = (one_eye("R", 2000, "DBL=19.00\r\n"), one_eye("L", 2100, "DBL=18.5\r\n"));
        let file = TraceFile::joined(&right, &left).unwrap();
        assert_eq!((file.dbl_mm, file.warnings.len()), (Some(18.5), 1));
        assert_eq!(
            file.warnings[0].to_string(),
            "the eyes came with two distances between the lenses, 19.00 and 18.50 mm; the second is used"
        );
    }
}
