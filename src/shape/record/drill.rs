//! Drill records: the holes of a drilled mount.
//!
//! `DRILL=side;x;y;diameter;x end;y end` and `DRILLE=side;reference;x;y;diameter;x end;y end`, in millimeters from the boxing
//! center, y up. The side is `R`, `L` or `B` for both; the reference `C` is the boxing center. Fields that follow (depth, angles)
//! are not interpreted. Source: Data Communication Standard (from memory).

use super::assumption::DrillX;
use super::decimal;
use crate::optics::{Eye, Pair};
use crate::shape::hole::Hole;
use crate::shape::outline::Point;

/// Reads a drill record: the hole of each eye that it is for. `None` when it is not understood.
pub(super) fn read(label: &str, value: &str, x: DrillX) -> Option<Pair<Option<Hole>>> {
    let mut fields = value.split(';').map(str::trim);
    let side = fields.next()?;
    if label == "DRILLE" && !matches!(fields.next()?, "C" | "") {
        return None;
    }
    let mut number = || match fields.next() {
        None | Some("" | "?") => Some(None),
        Some(text) => decimal(text).map(Some),
    };
    let (at, diameter_mm, end) = ((number()??, number()??), number()??, (number()?, number()?));
    let end = match end {
        (Some(x), Some(y)) if (x, y) != at => Some((x, y)),
        (None, None) | (Some(_), Some(_)) => None,
        _ => return None,
    };
    if diameter_mm <= 0.0 {
        return None;
    }
    let of = |eye: Eye| {
        let place = |(x_mm, y_mm): (f64, f64)| Point::new(x_mm * sign(x, side, eye), y_mm);
        Hole { at: place(at), slot_end: end.map(place), diameter_mm }
    };
    match side {
        "R" => Some(Pair::new(Some(of(Eye::Right)), None)),
        "L" => Some(Pair::new(None, Some(of(Eye::Left)))),
        "B" => Some(Pair::new(Some(of(Eye::Right)), Some(of(Eye::Left)))),
        _ => None,
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

/// The records of the holes of one eye, `DRILLE` or `DRILL`.
pub fn write(label: &str, eye: Eye, holes: &[Hole], x: DrillX) -> Vec<String> {
    let sign = sign(x, eye.letter(), eye);
    let place = |p: Point| format!("{:.2};{:.2}", p.x_mm * sign, p.y_mm);
    let reference = if label == "DRILLE" { ";C" } else { "" };
    let record = |hole: &Hole| {
        let end = hole.slot_end.map(|end| format!(";{}", place(end))).unwrap_or_default();
        format!("{}{reference};{};{:.2}{end}", eye.letter(), place(hole.at), hole.diameter_mm)
    };
    holes.iter().map(record).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hole(x_mm: f64, y_mm: f64, end: Option<(f64, f64)>) -> Hole {
        Hole { at: Point::new(x_mm, y_mm), slot_end: end.map(|(x, y)| Point::new(x, y)), diameter_mm: 1.4 }
    }

    #[test]
    fn a_record_is_a_hole_of_one_eye_or_of_both() {
        let toward_nose = |label: &str, value: &str| read(label, value, DrillX::Nose);
        // The nose side is +x on the right eye and -x on the left one.
        assert_eq!(
            toward_nose("DRILL", "B;-21.5;2;1.4"),
            Some(Pair::new(Some(hole(-21.5, 2.0, None)), Some(hole(21.5, 2.0, None))))
        );
        let slot = hole(-20.0, 1.0, Some((-18.0, 1.0)));
        assert_eq!(toward_nose("DRILLE", "L;C;20;1;1.4;18;1;;F"), Some(Pair::new(None, Some(slot))));
        assert_eq!(read("DRILL", "L;21.5;2;1.4", DrillX::Right), Some(Pair::new(None, Some(hole(21.5, 2.0, None)))));
        assert_eq!(
            read("DRILL", "B;-21.5;2;1.4", DrillX::Right),
            Some(Pair::new(Some(hole(-21.5, 2.0, None)), Some(hole(21.5, 2.0, None))))
        );
        for value in ["", "R", "R;1;2", "X;1;2;1.4", "R;1;2;0", "R;a;2;1.4", "R;1;2;1.4;3"] {
            assert_eq!(toward_nose("DRILL", value), None, "{value}");
        }
        assert_eq!(toward_nose("DRILLE", "R;E;3;1;1.4"), None, "measured from an edge");
    }

    #[test]
    fn what_is_written_reads_back() {
        for x in [DrillX::Nose, DrillX::Right] {
            for eye in Eye::BOTH {
                let holes = [hole(-21.5, 2.0, None), hole(19.25, -1.5, Some((17.25, -1.5)))];
                for label in ["DRILLE", "DRILL"] {
                    let written = write(label, eye, &holes, x);
                    let back: Vec<Hole> = written.iter().filter_map(|value| *read(label, value, x)?.get(eye)).collect();
                    assert_eq!(back, holes, "{eye:?} {label}");
                }
            }
        }
    }
}
