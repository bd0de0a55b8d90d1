//! Writes records strictly: CR LF, ten numbers per line, no line over 80 characters.

use std::fmt::Write;

use super::{Depth, TraceFile};
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::trace::Angles;

const NUMBERS_PER_LINE: usize = 10;
/// Keeps `JOB="…"` within the 80 characters.
const MAX_JOB_CHARS: usize = 60;

/// Writes both eyes as a file for other devices.
///
/// `HBOX` and `VBOX` come from the traces. Records that were not interpreted on reading are not written. A trace that
/// starts half a step after 0° is written with its angles.
pub fn write(file: &TraceFile) -> String {
    let mut text = String::new();
    let mut line = |content: String| {
        text.push_str(&content);
        text.push_str("\r\n");
    };
    line("REQ=FIL".into());
    if let Some(job) = &file.job {
        let clean: String = job.chars().filter(|c| (' '..='~').contains(c) && *c != '"').take(MAX_JOB_CHARS).collect();
        line(format!("JOB=\"{}\"", clean.trim()));
    }
    line("DO=B".into());
    if let Some(dbl_mm) = file.dbl_mm {
        line(format!("DBL={dbl_mm:.2}"));
    }
    let size = file.outlines().as_ref().map(Boxing::of);
    line(format!("HBOX={:.2};{:.2}", size.right.a_mm, size.left.a_mm));
    line(format!("VBOX={:.2};{:.2}", size.right.b_mm, size.left.b_mm));
    for (label, values) in
        [("CIRC", &file.circ_mm), ("FCRV", &file.fcrv_d), ("ZTILT", &file.ztilt_deg), ("PANTO", &file.panto_deg)]
    {
        if values.right.is_some() || values.left.is_some() {
            line(pair(label, values));
        }
    }
    for (eye, trace) in file.traces.iter() {
        let angles: Option<Vec<i32>> = match trace.angles() {
            Angles::Equal => None,
            Angles::Unequal(list) => Some(list.clone()),
            Angles::EqualFromHalfStep => {
                Some(trace.angles_deg().iter().map(|deg| (deg * 100.0).round() as i32).collect())
            }
        };
        line(header("TRCFMT", trace.radii().len(), angles.is_none(), eye));
        list("R", trace.radii()).for_each(&mut line);
        if let Some(angles) = angles {
            list("A", &angles).for_each(&mut line);
        }
        if let Some(Depth { heights, angles }) = file.depth.get(eye) {
            line(header("ZFMT", heights.len(), angles.is_none(), eye));
            list("Z", heights).for_each(&mut line);
            if let Some(angles) = angles {
                list("ZA", angles).for_each(&mut line);
            }
        }
    }
    text
}

fn header(label: &str, count: usize, is_equal: bool, eye: Eye) -> String {
    format!("{label}=1;{count};{};{};F", if is_equal { "E" } else { "U" }, eye.letter())
}

fn list(label: &str, numbers: &[i32]) -> impl Iterator<Item = String> {
    numbers.chunks(NUMBERS_PER_LINE).map(move |chunk| {
        let mut line = format!("{label}=");
        for (index, number) in chunk.iter().enumerate() {
            let separator = if index == 0 { "" } else { ";" };
            // Writing to a string cannot fail.
            let _ = write!(line, "{separator}{number}");
        }
        line
    })
}

fn pair(label: &str, values: &Pair<Option<f64>>) -> String {
    let text = |value: &Option<f64>| value.map_or_else(|| "?".to_owned(), |v| format!("{v:.2}"));
    format!("{label}={};{}", text(&values.right), text(&values.left))
}

#[cfg(test)]
mod tests {
    use super::super::{TraceFile, parse};
    use super::*;
    use crate::shape::trace::Trace;
    use proptest::prelude::*;

    /// Radii that stay within the limit on jumps.
    fn any_radii(n: usize) -> impl Strategy<Value = Vec<i32>> {
        prop::collection::vec(2400..=2600_i32, n)
    }

    fn any_trace(eye: Eye) -> impl Strategy<Value = Trace> {
        let equal = (8..500_usize).prop_flat_map(any_radii).prop_map(|radii| (radii, Angles::Equal));
        let unequal = (8..360_usize).prop_flat_map(|n| (any_radii(n), prop::collection::vec(0..90_i32, n))).prop_map(
            |(radii, shifts)| {
                let step = 36_000 / radii.len() as i32;
                let angles = shifts.iter().zip(0..).map(|(s, i)| i * step + s).collect();
                (radii, Angles::Unequal(angles))
            },
        );
        prop_oneof![equal, unequal].prop_map(move |(radii, angles)| Trace::new(eye, radii, angles).unwrap())
    }

    fn any_depth() -> impl Strategy<Value = Option<Depth>> {
        prop::option::of((8..100_usize).prop_flat_map(|n| {
            (prop::collection::vec(-900..900_i32, n), prop::option::of(prop::collection::vec(0..36_000_i32, n)))
                .prop_map(|(heights, angles)| Depth { heights, angles })
        }))
    }

    prop_compose! {
        fn any_file()(
            right in any_trace(Eye::Right), left in any_trace(Eye::Left),
            job in prop::option::of("[A-Z0-9][A-Za-z0-9 /=;-]{0,20}[A-Z0-9]"),
            dbl in prop::option::of(100..3000_i32), curve in prop::option::of(0..1200_i32),
            depth_right in any_depth(), depth_left in any_depth(),
        ) -> TraceFile {
            let mm = |h: i32| f64::from(h) / 100.0;
            TraceFile {
                job,
                dbl_mm: dbl.map(mm),
                fcrv_d: Pair::new(curve.map(mm), None),
                depth: Pair::new(depth_right, depth_left),
                ..TraceFile::of_traces(Pair::new(right, left), None)
            }
        }
    }

    #[test]
    fn writes_the_minimal_file() {
        let round = |eye| Trace::new(eye, vec![2500; 12], Angles::Equal).unwrap();
        let mut file = TraceFile::of_traces(Pair::new(round(Eye::Right), round(Eye::Left)), None);
        (file.job, file.dbl_mm) = (Some("10\"42\r\nR=1".into()), Some(18.0));
        let radii = "R=2500;2500;2500;2500;2500;2500;2500;2500;2500;2500\r\nR=2500;2500\r\n";
        assert_eq!(
            write(&file),
            format!(
                "REQ=FIL\r\nJOB=\"1042R=1\"\r\nDO=B\r\nDBL=18.00\r\nHBOX=50.00;50.00\r\nVBOX=50.00;50.00\r\n\
                 TRCFMT=1;12;E;R;F\r\n{radii}TRCFMT=1;12;E;L;F\r\n{radii}"
            )
        );
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(file in any_file()) {
            let text = write(&file);
            prop_assert!(text.split("\r\n").all(|line| line.len() <= 80 && !line.contains('\n')));
            let mut back = parse(text.as_bytes()).unwrap();
            prop_assert!(back.warnings.is_empty());
            prop_assert_eq!(back.records.len(), 2);
            // Stated by the writer, not by the file that was written.
            back.records.clear();
            (back.hbox_mm, back.vbox_mm) = (Pair::default(), Pair::default());
            prop_assert_eq!(back, file);
        }
    }
}
