//! Which of the two bytes of a number comes first, where the device is not known and both orders give a shape.
//!
//! Packed and difference traces (forms 3 and 4) hold whole numbers only here and there: in the other order the same rim comes
//! out some millimeters larger or smaller, and nothing else about it is odd. So the rest of the file has to say which one it is:
//! its stated sizes, how smooth the lists are, and whether both eyes are equally large. Where it does not, the choice is told.

use super::assumption::ByteOrder;
use super::fault::{Warning, WarningKind};
use super::{RecordFault, TraceFile};
use crate::optics::Eye;
use crate::shape::boxing::Boxing;

/// A stated size belongs to a shape that is no further from it, mm. The wrong order is at least 5.1 mm off: 2.55 mm a radius.
const SIZE_AGREES_MM: f64 = 1.5;
/// How much closer one shape must be than the other.
const CLEARLY_MM: f64 = 2.0;
/// The widths and heights that frames have, mm. Source: common practice (from memory).
const USUAL_A_MM: std::ops::RangeInclusive<f64> = 30.0..=75.0;
const USUAL_B_MM: std::ops::RangeInclusive<f64> = 15.0..=65.0;

type Read = Result<TraceFile, Vec<RecordFault>>;

/// The right one of two readings of the same file: as it was read first, and in the other order.
pub(super) fn choose(first: Read, order: ByteOrder, other: Read) -> Read {
    match (first, other) {
        (Ok(first), Ok(other)) if is_same(&first, &other) => Ok(first),
        (Ok(first), Ok(other)) => {
            let is_first = prefers_first(&first, &other);
            let is_sure = is_first.is_some();
            let is_first = is_first.unwrap_or_else(|| is_usual(&first) || !is_usual(&other));
            let (mut chosen, left, order) =
                if is_first { (first, other, order) } else { (other, first, order.other()) };
            // Depths that are all larger by as much make no other rim.
            if !is_sure && chosen.traces != left.traces {
                chosen.warnings.push(warning(&chosen, &left, order));
            }
            Ok(chosen)
        }
        (Err(_), Ok(other)) => Ok(other),
        (first, _) => first,
    }
}

fn is_same(one: &TraceFile, other: &TraceFile) -> bool {
    one.traces == other.traces && one.depth == other.depth
}

/// Whether the file itself says that the first reading is right; `None` where it does not say.
fn prefers_first(first: &TraceFile, other: &TraceFile) -> Option<bool> {
    let closer = |one: Option<f64>, other: Option<f64>| {
        let (one, other) = (one?, other?);
        let is_clear = one.min(other) <= SIZE_AGREES_MM && (one - other).abs() >= CLEARLY_MM;
        is_clear.then_some(one < other)
    };
    let smoother = || {
        let (one, other) = (roughness(first), roughness(other));
        (one.max(other) > 2.0 * one.min(other) + 0.5).then_some(one < other)
    };
    closer(off_its_size_mm(first), off_its_size_mm(other))
        .or_else(smoother)
        .or_else(|| closer(eyes_differ_mm(first), eyes_differ_mm(other)))
}

/// How far the traces are from the sizes that the file states, on average.
fn off_its_size_mm(file: &TraceFile) -> Option<f64> {
    let traced = Eye::BOTH.into_iter().filter(|eye| file.derived != Some(*eye));
    let off: Vec<f64> = traced
        .flat_map(|eye| {
            let size = Boxing::of(&file.traces.get(eye).outline());
            // Around a rim there are three times as many millimeters as across it.
            let stated = [(&file.hbox_mm, size.a_mm, 1.0), (&file.vbox_mm, size.b_mm, 1.0)];
            let stated = stated.into_iter().chain([(&file.circ_mm, size.circumference_mm, 3.0)]);
            stated.filter_map(move |(stated, is, across)| stated.get(eye).map(|stated| (stated - is).abs() / across))
        })
        .collect();
    (!off.is_empty()).then(|| off.iter().sum::<f64>() / off.len() as f64)
}

/// How far the eyes differ, where both were traced.
fn eyes_differ_mm(file: &TraceFile) -> Option<f64> {
    let size = file.outlines().as_ref().map(Boxing::of);
    let differ = (size.right.a_mm - size.left.a_mm).abs().max((size.right.b_mm - size.left.b_mm).abs());
    file.derived.is_none().then_some(differ)
}

/// The second differences of the radii and depths around the rim, on average, in hundredths of a millimeter.
fn roughness(file: &TraceFile) -> f64 {
    let traces = Eye::BOTH.into_iter().map(|eye| file.traces.get(eye).radii());
    let depths = Eye::BOTH.into_iter().filter_map(|eye| file.depth.get(eye).as_ref().map(|depth| &depth.heights[..]));
    let (mut sum, mut count) = (0.0, 0.0);
    for list in traces.chain(depths) {
        let around = list.iter().zip(list.iter().cycle().skip(1)).zip(list.iter().cycle().skip(2));
        sum += around.map(|((a, b), c)| f64::from((a - 2 * b + c).abs())).sum::<f64>();
        count += list.len() as f64;
    }
    sum / count
}

/// Whether a frame can have lenses of this size.
fn is_usual(file: &TraceFile) -> bool {
    let size = file.outlines().as_ref().map(Boxing::of);
    size.iter().all(|(_, size)| USUAL_A_MM.contains(&size.a_mm) && USUAL_B_MM.contains(&size.b_mm))
}

fn warning(chosen: &TraceFile, left: &TraceFile, order: ByteOrder) -> Warning {
    let wide_mm = |file: &TraceFile| Boxing::of(&file.traces.right.outline()).a_mm;
    let kind = WarningKind::ByteOrderAssumed { order, a_mm: wide_mm(chosen), other_a_mm: wide_mm(left) };
    Warning { line: None, kind }
}

#[cfg(test)]
mod tests {
    use super::super::{Assumptions, TraceForm, parse, parse_as, write_as};
    use super::*;
    use crate::optics::Pair;
    use crate::shape::trace::{Angles, Trace};

    /// An oval whose first radius is 0x0A0C (25.72 mm): with its bytes exchanged it is 0x0C0A (30.82 mm).
    fn oval(first: i32) -> Trace {
        let radius = |i: i32| {
            let (sin, cos) = f64::from(i).to_radians().sin_cos();
            f64::from(first) - 500.0 * sin * sin + 60.0 * (cos * cos * cos - 1.0)
        };
        Trace::new(Eye::Right, (0..360).map(|i| radius(i).round() as i32).collect(), Angles::Equal).unwrap()
    }

    fn pair(first: i32) -> TraceFile {
        let right = oval(first);
        TraceFile::of_traces(Pair::new(right.clone(), right.mirror()), None)
    }

    fn device(order: &str) -> Assumptions {
        let mut device = Assumptions::default();
        device.switch("byte_order", order).unwrap();
        device
    }

    /// The records of a file without those that state a size, and with the right eye alone where that is asked.
    fn bare(file: &TraceFile, form: TraceForm, order: &str, records: &str) -> Vec<u8> {
        let bytes = write_as(file, form, &device(order));
        let at = |label: &[u8]| bytes.windows(label.len()).position(|part| part == label).unwrap();
        [records.as_bytes(), &bytes[at(b"TRCFMT")..]].concat()
    }

    fn right_alone(bytes: &[u8]) -> Vec<u8> {
        let starts = |at: usize| bytes[at..].starts_with(b"TRCFMT");
        let second = (0..bytes.len()).filter(|at| starts(*at)).nth(1).unwrap();
        bytes[..second].to_vec()
    }

    const FORMS: [TraceForm; 2] = [TraceForm::Differences, TraceForm::Packed];

    #[test]
    fn the_rest_of_the_file_says_which_byte_is_first() {
        let file = pair(0x0a0c);
        let size = Boxing::of(&file.traces.right.outline());
        let boxes = format!("HBOX={0:.2};{0:.2}\r\n", size.a_mm);
        let circ = format!("CIRC={0:.2};{0:.2}\r\n", size.circumference_mm + 1.0);
        for form in FORMS {
            for order in ["low_first", "high_first"] {
                for records in [&boxes, &circ] {
                    let bytes = right_alone(&bare(&file, form, order, records));
                    let read = parse(&bytes).unwrap();
                    assert_eq!(read.traces.right, file.traces.right, "{form:?} {order} {records}");
                    let told = read.warnings.iter().any(|w| w.kind.key() == "byte_order_assumed");
                    assert!(!told, "{:?}", read.warnings);
                }
                // Both eyes: the first radius of the left one is that of the temple side, 23.9 mm, which is sure.
                let read = parse(&bare(&file, form, order, "")).unwrap();
                assert_eq!((read.traces, read.warnings), (file.traces.clone(), Vec::new()), "{form:?} {order}");
            }
        }
    }

    #[test]
    fn what_the_file_does_not_say_is_told() {
        let file = pair(0x0a0c);
        for form in FORMS {
            for order in ["low_first", "high_first"] {
                let bytes = right_alone(&bare(&file, form, order, ""));
                let read = parse(&bytes).unwrap();
                let said: Vec<String> = read.warnings.iter().map(ToString::to_string).collect();
                let (low, high) = if order == "low_first" { ("50.24", "60.44") } else { ("60.44", "50.24") };
                let want = format!(
                    "which byte of a number is first (byte_order) cannot be told from this file: the right lens is {low} mm \
                     wide with the low byte first, as it was read, and {high} mm with the high byte first, so measure it"
                );
                assert_eq!(said, [want], "{form:?} {order}");
                // Said by the owner, it is sure.
                let sure = parse_as(&bytes, &device(order)).unwrap();
                assert_eq!((sure.traces.right, sure.warnings.len()), (file.traces.right.clone(), 0));
            }
        }
        // 0x0613 is 15.55 mm, the other way 0x1306 is 48.70 mm: one of them is a frame's.
        let small = pair(0x0613);
        let bytes = right_alone(&bare(&small, TraceForm::Packed, "low_first", ""));
        let read = parse(&bytes).unwrap();
        assert_eq!((read.traces.right.radii()[0], read.warnings.len()), (0x0613, 1));
    }

    /// Numbers of two bytes each, nearly round: in the wrong order they jump by 2.56 mm, which is just allowed.
    #[test]
    fn the_smooth_list_is_the_right_one() {
        let radii: Vec<i32> = (0..360).map(|i| 0x0b04 + i32::from(i % 90 > 40)).collect();
        let trace = Trace::new(Eye::Right, radii, Angles::Equal).unwrap();
        let file = TraceFile::of_traces(Pair::new(trace.clone(), trace.mirror()), None);
        for order in ["low_first", "high_first"] {
            let read = parse(&right_alone(&bare(&file, TraceForm::Binary, order, ""))).unwrap();
            assert_eq!((read.traces.right, read.warnings), (trace.clone(), Vec::new()), "{order}");
        }
    }
}
