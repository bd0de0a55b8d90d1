//! The records of a file that was kept: read again, and written with a shape that was made of it, so that private records and
//! those that Rimbook does not interpret are not lost.

use super::assumption::{Assumptions, BrokenDepth, ByteOrder, Checksum, Direction, FirstRadius, Nibbles};
use super::drill::DRILL_LABELS;
use super::write::usual_items;
use super::{Item, TraceFile, parse_as};
use crate::optics::Pair;
use crate::shape::trace::Trace;

/// Records that hold only for the outline they came with.
const OF_THE_OUTLINE: [&str; 5] = ["HBOX", "VBOX", "CIRC", "FED", "FEDAX"];
/// Records that the shape states by itself.
const OF_THE_SHAPE: [&str; 3] = ["REQ", "JOB", "DBL"];

/// Reads records that were read before and gave these traces. What their device does otherwise is found by trying: it is not
/// kept with the file.
pub fn parse_again(bytes: &[u8], traces: &Pair<Trace>) -> Option<TraceFile> {
    devices().find_map(|device| parse_as(bytes, &device).ok().filter(|file| file.traces == *traces))
}

/// The assumptions that move a trace, the usual ones first. The rest was judged when the file came.
fn devices() -> impl Iterator<Item = Assumptions> {
    let first = [FirstRadius::Right, FirstRadius::Top, FirstRadius::Left, FirstRadius::Bottom];
    let ways = [Direction::CounterClockwise, Direction::Clockwise];
    let halves = [Nibbles::HighFirst, Nibbles::LowFirst];
    let orders = [ByteOrder::Either, ByteOrder::LowFirst, ByteOrder::HighFirst];
    let each = orders.into_iter().flat_map(move |order| first.into_iter().map(move |first| (order, first)));
    let each = each.flat_map(move |(order, first)| ways.into_iter().map(move |way| (order, first, way)));
    let each = each.flat_map(move |(order, first, way)| halves.into_iter().map(move |half| (order, first, way, half)));
    each.map(|(byte_order, first_radius, direction, nibbles)| Assumptions {
        byte_order,
        first_radius,
        direction,
        nibbles,
        checksum: Checksum::Unchecked,
        depth: BrokenDepth::LeftOut,
        ..Assumptions::default()
    })
}

/// A shape with the records of the file that it, or the shape it was made from, came from. `has_its_holes` says whether the
/// drill records of that file are still those of the shape.
///
/// The shape's own name, size and holes replace what the file says. Where the outline is another one, what belonged to the old
/// one is left out: sizes, depth, other data sets.
pub fn with_records_of(shape: TraceFile, came: TraceFile, has_its_holes: bool) -> TraceFile {
    let has_its_outline = shape.traces == came.traces;
    let mut own = usual_items(&shape);
    let mut items = Vec::new();
    for item in came.items {
        let mine = own.iter().position(|own| is_same(own, &item)).map(|at| own.remove(at));
        let stays = match &item {
            Item::Record(label, _) if OF_THE_SHAPE.contains(&label.as_str()) => false,
            Item::Record(label, _) if DRILL_LABELS.contains(&label.as_str()) => has_its_holes,
            Item::Record(label, _) => has_its_outline || !OF_THE_OUTLINE.contains(&label.as_str()),
            Item::Trace(_) | Item::Holes(_) => true,
            Item::Depth(_) | Item::Set(_) => has_its_outline,
        };
        items.extend(if stays { Some(item) } else { mine.filter(|mine| !matches!(mine, Item::Depth(_))) });
    }
    // What the file does not say: records before it, the trace of an eye that it does not have after it.
    let (lists, records): (Vec<_>, Vec<_>) = own.into_iter().partition(|item| matches!(item, Item::Trace(_)));
    let states = |label: &str| items.iter().any(|item| matches!(item, Item::Record(of, _) if of == label));
    let is_needed = |item: &Item| match item {
        // A curve that was computed from the depth is in it.
        Item::Record(label, _) if label == "FCRV" => !has_its_outline,
        Item::Record(label, _) => !states(label),
        Item::Holes(_) => !has_its_holes,
        _ => false,
    };
    let ahead: Vec<Item> = records.into_iter().filter(is_needed).collect();
    let mut items: Vec<Item> = ahead.into_iter().chain(items).chain(lists).collect();
    items.sort_by_key(|item| match item {
        Item::Record(label, _) if label == "REQ" => 0,
        Item::Record(label, _) if label == "JOB" => 1,
        _ => 2,
    });
    let depth = if has_its_outline { came.depth } else { Pair::default() };
    TraceFile { objects: came.objects, depth, items, ..shape }
}

/// Whether two items say the same thing, perhaps otherwise.
fn is_same(own: &Item, item: &Item) -> bool {
    match (own, item) {
        (Item::Record(own, _), Item::Record(label, _)) => own == label,
        (Item::Trace(own), Item::Trace(eye)) | (Item::Depth(own), Item::Depth(eye)) => own == eye,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::super::{TraceForm, parse, write_as};
    use super::*;
    use crate::optics::Eye;
    use crate::shape::hole::Hole;
    use crate::shape::outline::Point;

    fn kept() -> String {
        let radii = |r: i32| format!("R={}\r\n", [r.to_string().as_str(); 10].join(";")).repeat(4);
        let depth = format!("Z={}\r\n", ["-12"; 8].join(";"));
        format!(
            "REQ=TRC\r\nJOB=\"77\"\r\n_OWN=kept as it is\r\nDO=R\r\nDBL=17\r\nHBOX=44.00;44.00\r\nFED=44.1;44.1\r\n\
             DRILL=R;-17;2;1.4\r\nTRCFMT=1;40;E;R;P\r\n{}ZFMT=1;8;E;R;P\r\n{depth}STHKFMT=1;1;E;R\r\nR=2200\r\nT=210\r\n",
            radii(2200)
        )
    }

    fn shape(came: &TraceFile, by: f64) -> TraceFile {
        let traces = came.traces.as_ref().map(|trace| trace.scaled(by).unwrap());
        TraceFile {
            job: Some("1042".to_owned()),
            dbl_mm: Some(18.5),
            holes: came.holes.clone(),
            ..TraceFile::of_traces(traces, came.derived)
        }
    }

    fn lines(file: &TraceFile) -> Vec<String> {
        let text = String::from_utf8(write_as(file, TraceForm::Text, &Assumptions::default())).unwrap();
        text.split_terminator("\r\n").map(str::to_owned).collect()
    }

    #[test]
    fn what_came_with_a_trace_is_written_with_it() {
        let came = parse(kept().as_bytes()).unwrap();
        let written = lines(&with_records_of(shape(&came, 1.0), came.clone(), true));
        let want = kept().replace("TRC\r\n", "FIL\r\n").replace("\"77\"", "\"1042\"").replace("=17\r\n", "=18.50\r\n");
        let (head, tail) = written.split_at(want.matches("\r\n").count() + 1);
        let mut head = head.to_vec();
        assert_eq!(head.remove(2), "VBOX=44.00;44.00", "the only one that the file does not say");
        assert_eq!(head, want.split_terminator("\r\n").collect::<Vec<_>>());
        assert_eq!(tail[0], "TRCFMT=1;40;E;L;F", "the mirrored eye, for devices that do not mirror");
        let again = parse((written.join("\r\n") + "\r\n").as_bytes()).unwrap();
        assert_eq!((&again.depth, &again.holes.right), (&came.depth, &came.holes.right));
    }

    #[test]
    fn what_belonged_to_another_outline_is_left_out() {
        let came = parse(kept().as_bytes()).unwrap();
        let hole = Hole { at: Point::new(-18.0, 2.0), slot_end: None, diameter_mm: 1.4 };
        let larger = TraceFile { holes: Pair::new(vec![hole], Vec::new()), ..shape(&came, 1.1) };
        let written = lines(&with_records_of(larger, came, false)).join("\n");
        for says in [
            "REQ=FIL\n",
            "_OWN=kept as it is\n",
            "HBOX=48.40;48.40\n",
            "DRILLE=R;C;-18.00;2.00;1.40\n",
            "TRCFMT=1;40;E;R;P\n",
        ] {
            assert!(written.contains(says), "{says}: {written}");
        }
        for gone in ["Z", "STHKFMT", "FED", "DRILL=", "R=2200", "T="] {
            assert!(!written.lines().any(|line| line.starts_with(gone)), "{gone}: {written}");
        }
    }

    #[test]
    fn a_file_of_another_device_is_read_again() {
        let came = parse(kept().as_bytes()).unwrap();
        let lopsided =
            Trace::new(Eye::Right, (0..40).map(|i| 2200 + i).collect(), came.traces.right.angles().clone()).unwrap();
        let file = TraceFile { traces: Pair::new(lopsided.clone(), lopsided.mirror()), ..came };
        for device in devices() {
            for form in [TraceForm::Text, TraceForm::Binary, TraceForm::Packed] {
                let bytes = write_as(&file, form, &device);
                let again = parse_again(&bytes, &file.traces).unwrap_or_else(|| panic!("{device:?} {form:?}"));
                assert_eq!(again.depth, file.depth, "{device:?} {form:?}");
            }
        }
        assert_eq!(parse_again(b"x", &file.traces), None);
    }
}
