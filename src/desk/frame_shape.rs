//! The traced shape of a frame, stored under the number of the job it was traced for.

use thiserror::Error;
use uuid::Uuid;

use super::frame::FrameDetails;
use crate::optics::unit::Millimetre;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::disagreement::Disagreement;
use crate::shape::outline::Outline;
use crate::shape::record::{RecordFault, TraceFile, WarningKind, read_any};
use crate::shape::trace::Trace;

/// A larger difference between a traced size and the frame's stamp is reported. Stamps are rounded, so half a
/// millimetre is usual. Source: common practice (from memory).
pub const STAMP_DIFFERENCE_REPORTED_MM: f64 = 1.0;

/// The accepted distance between lenses, hundredths of a millimetre.
const DBL_RANGE: std::ops::RangeInclusive<i32> = 500..=4000;

/// A shape read from an upload, not stored yet.
#[derive(Debug, Clone, PartialEq)]
pub struct NewShape {
    /// Both eyes; one may be the mirror image of the other.
    pub traces: Pair<Trace>,
    /// The eye that was not traced but mirrored.
    pub derived: Option<Eye>,
    /// Distance between the lenses.
    pub dbl: Millimetre,
    /// The bytes as uploaded.
    pub original: Vec<u8>,
    /// The name of the file, or another description.
    pub original_name: String,
}

/// A shape in the book.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameShape {
    pub id: Uuid,
    /// The job it was traced for.
    pub job_number: i64,
    pub traces: Pair<Trace>,
    /// The eye that was not traced but mirrored.
    pub derived: Option<Eye>,
    /// Distance between the lenses.
    pub dbl: Millimetre,
    /// The name of the uploaded file, or another description.
    pub original_name: String,
}

/// Why an upload is refused.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ShapeRefused {
    /// All faults of the file or table.
    #[error("The shape was not read.")]
    Faults(Vec<RecordFault>),
    /// The file names its eye, and another eye was chosen.
    #[error("You chose the {} eye, but the file names its own eye: choose “as it says”", .0.name())]
    EyeNamedInFile(Eye),
    /// A distance between lenses out of range.
    #[error("A distance between lenses of {0} mm is not possible: between 5 and 40 mm was expected")]
    Dbl(Millimetre),
}

/// Where the distance between the lenses came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DblSource {
    /// The trace file.
    File,
    /// The bridge stamped on the frame, because the file has none.
    Stamp,
    Typed,
}

impl NewShape {
    /// Reads an upload. `only` is the eye of a file that does not name one. `typed_dbl` has priority over the DBL in the
    /// file; `stamped_bridge` is used if neither is given.
    ///
    /// # Errors
    ///
    /// [`ShapeRefused`].
    pub fn read(
        bytes: &[u8],
        name: &str,
        only: Option<Eye>,
        typed_dbl: Option<Millimetre>,
        stamped_bridge: Millimetre,
    ) -> Result<Self, ShapeRefused> {
        let file = read_any(bytes).map_err(ShapeRefused::Faults)?;
        let (traces, derived) = match only {
            Some(eye) if !names_no_eye(&file) && file.derived != Some(eye.other()) => {
                return Err(ShapeRefused::EyeNamedInFile(eye));
            }
            Some(Eye::Left) if names_no_eye(&file) => as_left_eye(file.traces),
            _ => (file.traces, file.derived),
        };
        let in_file = file.dbl_mm.and_then(|mm| Millimetre::round_from(mm).ok());
        let dbl = typed_dbl.or(in_file).unwrap_or(stamped_bridge);
        if !DBL_RANGE.contains(&dbl.hundredths()) {
            return Err(ShapeRefused::Dbl(dbl));
        }
        Ok(Self { traces, derived, dbl, original: bytes.to_vec(), original_name: name.to_owned() })
    }
}

fn names_no_eye(file: &TraceFile) -> bool {
    file.warnings.iter().any(|w| w.kind == WarningKind::SideAssumed)
}

/// A table that names no eye is read as the right eye. This uses the same radii for the left eye and mirrors the right.
fn as_left_eye(traces: Pair<Trace>) -> (Pair<Trace>, Option<Eye>) {
    let read = traces.right;
    match Trace::new(Eye::Left, read.radii().to_vec(), read.angles().clone()) {
        Ok(left) => (Pair::new(left.mirror(), left), Some(Eye::Right)),
        // Cannot fail: the same radii and angles are already checked.
        Err(_) => (Pair::new(read.clone(), read.mirror()), Some(Eye::Left)),
    }
}

impl FrameShape {
    /// The outline of each eye.
    pub fn outlines(&self) -> Pair<Outline> {
        self.traces.as_ref().map(Trace::outline)
    }

    /// Where the distance between the lenses came from, by comparing it with the original file and the frame.
    pub fn dbl_source(&self, original: Option<&TraceFile>, frame: &FrameDetails) -> DblSource {
        let in_file = original.and_then(|f| f.dbl_mm).and_then(|mm| Millimetre::round_from(mm).ok());
        match in_file {
            Some(dbl) if dbl == self.dbl => DblSource::File,
            None if self.dbl == frame.bridge => DblSource::Stamp,
            _ => DblSource::Typed,
        }
    }

    /// Cautions about the shape, one sentence each: differences between right and left, differences between the trace
    /// and the frame's stamp, and the warnings of the file.
    pub fn cautions(&self, original: Option<&TraceFile>, frame: &FrameDetails) -> Vec<String> {
        let mut cautions = Vec::new();
        let outlines = self.outlines();
        if self.derived.is_none() {
            cautions.extend(disagreement_words(&Disagreement::of(&outlines.right, &outlines.left)));
        }
        cautions.extend(self.size_words(&outlines, frame.eye_size.to_f64()));
        let bridge_mm = frame.bridge.to_f64();
        if (self.dbl.to_f64() - bridge_mm).abs() > STAMP_DIFFERENCE_REPORTED_MM {
            cautions.push(format!(
                "The distance between the lenses is {} mm, but the frame is stamped {bridge_mm:.1}: measure it. {0} mm \
                 is used.",
                self.dbl
            ));
        }
        // "Read as the right eye" is not reported if the owner chose the left eye.
        let is_shown = |kind: &WarningKind| *kind != WarningKind::SideAssumed || self.derived == Some(Eye::Left);
        for warning in original.iter().flat_map(|f| &f.warnings).filter(|w| is_shown(&w.kind)) {
            cautions.push(format!("In the file: {warning}."));
        }
        cautions
    }
}

impl FrameShape {
    /// Compares the traced widths with the eye size stamped on the frame. One sentence if both eyes are equal.
    fn size_words(&self, outlines: &Pair<Outline>, stamped_mm: f64) -> Vec<String> {
        let width_mm = |eye: Eye| Boxing::of(outlines.get(eye)).a_mm;
        let say = |whose: String, a_mm: f64| {
            format!(
                "{whose} traced {a_mm:.2} mm wide, but the frame is stamped {stamped_mm:.1}: is this the shape of this \
                 frame? The trace is used."
            )
        };
        let is_off = |eye: &Eye| (width_mm(*eye) - stamped_mm).abs() > STAMP_DIFFERENCE_REPORTED_MM;
        let off: Vec<Eye> = Eye::BOTH.into_iter().filter(|eye| self.derived != Some(*eye)).filter(is_off).collect();
        match off[..] {
            [one, other] if (width_mm(one) - width_mm(other)).abs() < 0.005 => {
                vec![say("Both eyes are".to_owned(), width_mm(one))]
            }
            _ => off.iter().map(|eye| say(format!("The {} eye is", eye.name()), width_mm(*eye))).collect(),
        }
    }
}

/// The difference between right and left as a sentence, if it is large enough to report.
fn disagreement_words(differ: &Disagreement) -> Option<String> {
    if !differ.is_reported() {
        return None;
    }
    let width = |mm: f64| if mm >= 0.0 { "wider" } else { "narrower" };
    let height = |mm: f64| if mm >= 0.0 { "higher" } else { "lower" };
    let mut parts = Vec::new();
    if differ.a_mm.abs() >= 0.005 {
        parts.push(format!("{:.2} mm {}", differ.a_mm.abs(), width(differ.a_mm)));
    }
    if differ.b_mm.abs() >= 0.005 {
        parts.push(format!("{:.2} mm {}", differ.b_mm.abs(), height(differ.b_mm)));
    }
    let than =
        if parts.is_empty() { String::new() } else { format!("the right is {} than the left; ", parts.join(" and ")) };
    Some(format!(
        "Right and left differ: {than}at the worst point the outlines are {:.2} mm apart, and the circumferences differ \
         by {:.2} mm. Cut each lens to its own trace, or trace the frame again.",
        differ.worst_mm,
        differ.circumference_mm.abs()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::frame::Rim;
    use crate::desk::money::Cents;

    fn frame(eye_size: &str, bridge: &str) -> FrameDetails {
        FrameDetails {
            maker: "Fjordline".into(),
            model: "Vikra".into(),
            colour: String::new(),
            eye_size: eye_size.parse().unwrap(),
            bridge: bridge.parse().unwrap(),
            temple: None,
            rim: Rim::Metal,
            price: Cents::new(0),
        }
    }

    fn kept(new: NewShape) -> FrameShape {
        FrameShape {
            id: Uuid::nil(),
            job_number: 1001,
            traces: new.traces,
            derived: new.derived,
            dbl: new.dbl,
            original_name: new.original_name,
        }
    }

    /// A round eye whose nose side (right lens) is 1 mm farther out.
    fn lopsided(heading: &str) -> String {
        let radii: Vec<&str> = (0..36).map(|i| if i == 0 { "23.00" } else { "22.00" }).collect();
        format!("{heading}{}\n", radii.join("\n"))
    }

    #[test]
    fn the_distance_between_lenses_is_typed_or_read_or_stamped() {
        let stamp = "18".parse().unwrap();
        let records = "DBL=19.00\r\nTRCFMT=1;36;E;R;F\r\nR=".to_owned() + &["2200"; 36].join(";") + "\r\n";
        let table = lopsided("");
        for (bytes, typed, want, source) in [
            (&records, None, "19.00", DblSource::File),
            (&records, Some("20"), "20.00", DblSource::Typed),
            (&table, None, "18.00", DblSource::Stamp),
            (&table, Some("20"), "20.00", DblSource::Typed),
        ] {
            let typed = typed.map(|t| t.parse().unwrap());
            let shape = kept(NewShape::read(bytes.as_bytes(), "x", None, typed, stamp).unwrap());
            assert_eq!(shape.dbl.to_string(), want);
            let file = read_any(bytes.as_bytes()).unwrap();
            assert_eq!(shape.dbl_source(Some(&file), &frame("44", "18")), source);
        }
        let refused = NewShape::read(table.as_bytes(), "x", None, "4".parse().ok(), stamp).unwrap_err();
        assert_eq!(refused, ShapeRefused::Dbl("4".parse().unwrap()));
    }

    #[test]
    fn a_table_may_be_either_eye() {
        let read = |text: &str, only| NewShape::read(text.as_bytes(), "x", only, None, "18".parse().unwrap());
        let right = read(&lopsided(""), None).unwrap();
        assert_eq!((right.derived, right.traces.right.radii()[0]), (Some(Eye::Left), 2300));
        // The same list as the left eye: its first radius still is the observer's right, so the temple side, and the
        // right eye is the mirror.
        let left = read(&lopsided(""), Some(Eye::Left)).unwrap();
        assert_eq!((left.derived, left.traces.left.radii()[0]), (Some(Eye::Right), 2300));
        assert_eq!(left.traces.right.radii()[18], 2300);
        assert_eq!(read(&lopsided("L\n"), Some(Eye::Right)), Err(ShapeRefused::EyeNamedInFile(Eye::Right)));
        assert_eq!(read(&lopsided("L\n"), Some(Eye::Left)).unwrap().derived, Some(Eye::Right));
    }

    #[test]
    fn cautions_name_the_differences() {
        let text = format!("R\n{}L\n{}", "22.00\n".repeat(36), "23.00\n".repeat(36));
        let shape = kept(NewShape::read(text.as_bytes(), "x", None, None, "18".parse().unwrap()).unwrap());
        let said = shape.cautions(None, &frame("44", "20"));
        // Two circles of 44 and 46 mm: 2 mm in A and B, 1 mm all round, 2π in circumference (closed form, polygon).
        assert!(
            said[0].contains("2.00 mm narrower and 2.00 mm lower") && said[0].contains("1.00 mm apart"),
            "{said:?}"
        );
        assert!(said[1].starts_with("The left eye is traced 46.00 mm wide, but the frame is stamped 44.0"), "{said:?}");
        assert!(said[2].contains("18.00 mm, but the frame is stamped 20.0"), "{said:?}");
        assert_eq!(said.len(), 3);
        let same = kept(NewShape::read(lopsided("").as_bytes(), "x", None, None, "18".parse().unwrap()).unwrap());
        assert_eq!(same.cautions(None, &frame("44.5", "18")), Vec::<String>::new());
    }
}
