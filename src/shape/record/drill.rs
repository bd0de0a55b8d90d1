//! Drill records: the holes of a drilled mount.
//!
//! `DRILL=side;x;y;diameter;x end;y end` and `DRILLE=side;reference;x;y;diameter;x end;y end`, with decimals and y up. The side
//! is `R`, `L` or `B` for both. Fields that follow (depth, angles) are not interpreted. Source: Data Communication Standard (from
//! memory); what is unsure stands in [`assumption`](super::assumption), each line with the name `drill_…`.

use super::assumption::{Assumptions, DrillFields, DrillLabel, DrillOrigin, DrillReference, DrillUnit, DrillX};
use super::decimal;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::hole::{DIAMETERS_MM, Hole};
use crate::shape::outline::Point;

/// How far outside of the box a hole may lie, mm: a notch is open to the rim, and its record may name a point beside it.
const OUTSIDE_MM: f64 = 6.0;

/// The records of holes.
pub const DRILL_LABELS: [&str; 2] = ["DRILL", "DRILLE"];

/// Reads a drill record: the hole of each eye that it is for. `None` when it is not understood.
pub(super) fn read(label: &str, value: &str, assumed: &Assumptions) -> Option<Pair<Option<Hole>>> {
    let mut fields = value.split(';').map(str::trim);
    let side = fields.next()?;
    let has_reference = label == "DRILLE" && assumed.drill_reference != DrillReference::Absent;
    if has_reference && !is_center(fields.next()?, assumed.drill_reference) {
        return None;
    }
    let mut number = || match fields.next() {
        None | Some("" | "?") => Some(None),
        Some(text) => decimal(text).map(|number| Some(number / per_mm(assumed))),
    };
    let at = (number()??, number()??);
    let (diameter_mm, end) = match assumed.drill_fields {
        DrillFields::PlaceSizeEnd => (number()??, (number()?, number()?)),
        DrillFields::PlaceEndSize => {
            let end = (number()?, number()?);
            (number()??, end)
        }
    };
    let end = match end {
        (Some(x), Some(y)) if (x, y) != at => Some((x, y)),
        (None, None) | (Some(_), Some(_)) => None,
        _ => return None,
    };
    if diameter_mm <= 0.0 {
        return None;
    }
    let of = |eye: Eye| {
        let place = |(x_mm, y_mm): (f64, f64)| Point::new(x_mm * sign(assumed.drill_x, side, eye), y_mm);
        Hole { at: place(at), slot_end: end.map(place), diameter_mm }
    };
    match side {
        "R" => Some(Pair::new(Some(of(Eye::Right)), None)),
        "L" => Some(Pair::new(None, Some(of(Eye::Left)))),
        "B" => Some(Pair::new(Some(of(Eye::Right)), Some(of(Eye::Left)))),
        _ => None,
    }
}

/// Whether a lens of this size can have the hole, seen from the middle of its box.
pub(super) fn is_possible(hole: &Hole, size: &Boxing) -> bool {
    let is_near =
        |p: Point| p.x_mm.abs() <= size.a_mm / 2.0 + OUTSIDE_MM && p.y_mm.abs() <= size.b_mm / 2.0 + OUTSIDE_MM;
    DIAMETERS_MM.contains(&hole.diameter_mm) && is_near(hole.at) && is_near(hole.end())
}

/// Whether a reference is the place that holes are measured from.
fn is_center(reference: &str, assumed: DrillReference) -> bool {
    assumed == DrillReference::Any || matches!(reference, "C" | "")
}

/// Units in a millimeter.
fn per_mm(assumed: &Assumptions) -> f64 {
    match assumed.drill_unit {
        DrillUnit::Millimeters => 1.0,
        DrillUnit::Hundredths => 100.0,
    }
}

/// From the x of a record to the x of the front view. A record for both eyes is mirrored on the left one.
fn sign(x: DrillX, side: &str, eye: Eye) -> f64 {
    match x {
        DrillX::Nose => eye.nasal_sign(),
        DrillX::Right if side == "B" => eye.nasal_sign() * Eye::Right.nasal_sign(),
        DrillX::Right => 1.0,
    }
}

/// A hole from the boxing center, where its record measures from the tracing center: `middle` is the boxing center seen from
/// there.
pub(super) fn from_box(hole: &Hole, middle: Point, assumed: &Assumptions) -> Hole {
    match assumed.drill_origin {
        DrillOrigin::Box => *hole,
        DrillOrigin::Trace => moved(hole, Point::ORIGIN.minus(middle)),
    }
}

fn moved(hole: &Hole, by: Point) -> Hole {
    Hole { at: hole.at.plus(by), slot_end: hole.slot_end.map(|end| end.plus(by)), ..*hole }
}

/// The record of a hole, label and value. `middle` is the boxing center seen from the tracing center.
pub fn write(eye: Eye, hole: &Hole, middle: Point, assumed: &Assumptions) -> (&'static str, String) {
    let hole = match assumed.drill_origin {
        DrillOrigin::Box => *hole,
        DrillOrigin::Trace => moved(hole, middle),
    };
    let number = |mm: f64| match assumed.drill_unit {
        DrillUnit::Millimeters => format!("{mm:.2}"),
        DrillUnit::Hundredths => format!("{:.0}", mm * per_mm(assumed)),
    };
    let sign = sign(assumed.drill_x, eye.letter(), eye);
    let place = |p: Point| [number(p.x_mm * sign), number(p.y_mm)];
    let (at, end, size) = (place(hole.at), hole.slot_end.map(place), number(hole.diameter_mm));
    let places = match (assumed.drill_fields, end) {
        (DrillFields::PlaceSizeEnd, None) => vec![at.join(";"), size],
        (DrillFields::PlaceSizeEnd, Some(end)) => vec![at.join(";"), size, end.join(";")],
        (DrillFields::PlaceEndSize, end) => {
            vec![at.join(";"), end.map_or_else(|| ";".to_owned(), |end| end.join(";")), size]
        }
    };
    let (label, reference) = match (assumed.drill_label, assumed.drill_reference) {
        (DrillLabel::Drill, _) => ("DRILL", ""),
        (DrillLabel::Drille, DrillReference::Absent) => ("DRILLE", ""),
        (DrillLabel::Drille, _) => ("DRILLE", "C;"),
    };
    (label, format!("{};{reference}{}", eye.letter(), places.join(";")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hole(x_mm: f64, y_mm: f64, end: Option<(f64, f64)>) -> Hole {
        Hole { at: Point::new(x_mm, y_mm), slot_end: end.map(|(x, y)| Point::new(x, y)), diameter_mm: 1.4 }
    }

    #[test]
    fn a_record_is_a_hole_of_one_eye_or_of_both() {
        let assuming = |key: &str, choice: &str| {
            let mut assumed = Assumptions::default();
            assumed.switch(key, choice).unwrap();
            assumed
        };
        let toward_nose = |label: &str, value: &str| read(label, value, &Assumptions::default());
        // The nose side is +x on the right eye and -x on the left one.
        assert_eq!(
            toward_nose("DRILL", "B;-21.5;2;1.4"),
            Some(Pair::new(Some(hole(-21.5, 2.0, None)), Some(hole(21.5, 2.0, None))))
        );
        let slot = hole(-20.0, 1.0, Some((-18.0, 1.0)));
        assert_eq!(toward_nose("DRILLE", "L;C;20;1;1.4;18;1;;F"), Some(Pair::new(None, Some(slot))));
        assert_eq!(
            read("DRILL", "L;21.5;2;1.4", &assuming("drill_x", "right")),
            Some(Pair::new(None, Some(hole(21.5, 2.0, None))))
        );
        assert_eq!(
            read("DRILL", "B;-21.5;2;1.4", &assuming("drill_x", "right")),
            Some(Pair::new(Some(hole(-21.5, 2.0, None)), Some(hole(21.5, 2.0, None))))
        );
        for value in ["", "R", "R;1;2", "X;1;2;1.4", "R;1;2;0", "R;a;2;1.4", "R;1;2;1.4;3"] {
            assert_eq!(toward_nose("DRILL", value), None, "{value}");
        }
        assert_eq!(toward_nose("DRILLE", "R;E;3;1;1.4"), None, "measured from an edge");
    }

    #[test]
    fn each_assumption_of_a_record_can_be_switched() {
        let hole = hole(-20.0, 1.0, Some((-18.0, 1.0)));
        for (key, choice, label, value) in [
            ("drill_x", "right", "DRILLE", "R;C;-20;1;1.4;-18;1"),
            ("drill_unit", "hundredths", "DRILLE", "R;C;-2000;100;140;-1800;100"),
            ("drill_fields", "place_end_size", "DRILL", "R;-20;1;-18;1;1.4"),
            ("drill_reference", "any", "DRILLE", "R;E;-20;1;1.4;-18;1"),
            ("drill_reference", "absent", "DRILLE", "R;-20;1;1.4;-18;1"),
            ("drill_label", "drill", "DRILL", "R;-20;1;1.4;-18;1"),
        ] {
            let mut assumed = Assumptions::default();
            assumed.switch(key, choice).unwrap();
            assert_eq!(read(label, value, &assumed).unwrap().right, Some(hole), "{key}={choice}");
        }
        // The boxing center 1 right of the tracing center and 0.5 above it.
        let mut assumed = Assumptions::default();
        assumed.switch("drill_origin", "trace").unwrap();
        let from_trace = read("DRILL", "R;-19;1.5;1.4;-17;1.5", &assumed).unwrap().right.unwrap();
        assert_eq!(from_box(&from_trace, Point::new(1.0, 0.5), &assumed), hole);
    }

    #[test]
    fn what_is_written_reads_back() {
        let middle = Point::new(0.75, -0.25);
        let lines = super::super::assumption::TABLE.iter().filter(|line| line.key.starts_with("drill_"));
        for (line, choice) in lines.flat_map(|line| line.choices.iter().map(move |choice| (line, choice.0))) {
            let mut assumed = Assumptions::default();
            assumed.switch(line.key, choice).unwrap();
            for eye in Eye::BOTH {
                let holes = [hole(-21.5, 2.0, None), hole(19.25, -1.5, Some((17.25, -1.5)))];
                let back = holes.map(|hole| {
                    let (label, value) = write(eye, &hole, middle, &assumed);
                    let read = read(label, &value, &assumed).and_then(|read| *read.get(eye));
                    read.map(|hole| from_box(&hole, middle, &assumed))
                });
                assert_eq!(back, holes.map(Some), "{}={choice} {eye:?}", line.key);
            }
        }
    }
}
