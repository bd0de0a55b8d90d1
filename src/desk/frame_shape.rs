//! The traced shape of a frame, stored under the number of the job it was traced for.

use std::fmt;

use strum::{EnumString, IntoStaticStr, VariantArray};
use thiserror::Error;

use super::drilling::{Drilling, PlaceWords, of_lenses, on_lenses};
use super::frame::FrameDetails;
use super::id::ShapeId;
use super::key::keyed;
use super::limit::{LengthLimit, LimitError};
use crate::optics::direction::place_words;
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::disagreement::Disagreement;
use crate::shape::hole::Hole;
use crate::shape::outline::{Outline, OutlineError};
use crate::shape::record::{RecordFault, TraceFile, Warning, WarningKind, read_any};
use crate::shape::smooth::smooth;
use crate::shape::trace::Trace;
use crate::shape::transform::resize_to_box;

/// A larger difference between a traced size and the frame's stamp is reported. Stamps are rounded, so half a
/// millimeter is usual. Source: common practice (from memory).
pub const STAMP_DIFFERENCE_REPORTED_MM: f64 = 1.0;

/// The distance between lenses, typed or of a file.
pub const DBL: LengthLimit = LengthLimit::new("A distance between lenses", 500, 4000);

/// A shape read from an upload, not stored yet.
#[derive(Debug, Clone, PartialEq)]
pub struct NewShape {
    /// How it came to be.
    pub origin: ShapeOrigin,
    /// Both eyes; one may be the mirror image of the other.
    pub traces: Pair<Trace>,
    /// The eye that was not traced but mirrored.
    pub derived: Option<Eye>,
    /// Distance between the lenses.
    pub dbl: Millimeter,
    /// Where that distance comes from.
    pub dbl_source: DblSource,
    /// The rim's own curve in tool power (1.530), where the file says it.
    pub rim_curve_tool_d: Pair<Option<f64>>,
    /// The rim in space, where its depth was traced.
    pub rim: Pair<Option<RimInSpace>>,
    /// The holes of a drilled mount.
    pub holes: Drilling,
    /// The job that the file names, as it writes it.
    pub job_in_file: Option<String>,
    /// What was odd in the file.
    pub warnings: Vec<ShapeWarning>,
    /// The bytes as uploaded.
    pub original: Vec<u8>,
    /// The name of the file, or another description.
    pub original_name: String,
}

/// What a shape was read from.
#[derive(Debug, Clone, Copy)]
pub struct Original<'a> {
    /// The bytes as uploaded.
    pub bytes: &'a [u8],
    /// The name of the file, or another description.
    pub name: &'a str,
    /// How the shape came to be.
    pub origin: ShapeOrigin,
}

/// The size of a shape as it is told apart from another: the box of the right eye, and the distance between the lenses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShapeSize {
    /// Box width.
    pub a: Millimeter,
    /// Box height.
    pub b: Millimeter,
    /// Distance between the lenses.
    pub dbl: Millimeter,
}

impl fmt::Display for ShapeSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "A {}, B {}, DBL {} mm", self.a, self.b, self.dbl)
    }
}

/// A shape in the book.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameShape {
    pub id: ShapeId,
    /// The job it was traced for; a shape of a frame model has none.
    pub job_number: Option<i64>,
    /// The shape it was made from.
    pub parent: Option<ShapeId>,
    /// How it came to be.
    pub origin: ShapeOrigin,
    /// Both eyes.
    pub traces: Pair<Trace>,
    /// The eye that was not traced but mirrored.
    pub derived: Option<Eye>,
    /// Distance between the lenses.
    pub dbl: Millimeter,
    /// Where that distance comes from.
    pub dbl_source: DblSource,
    /// The rim's own curve in tool power (1.530), where its file said it.
    pub rim_curve_tool_d: Pair<Option<f64>>,
    /// The rim in space, where its depth was traced.
    pub rim: Pair<Option<RimInSpace>>,
    /// The holes of a drilled mount.
    pub holes: Drilling,
}

/// What is known of a rim in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RimInSpace {
    /// The length along the rim.
    pub circumference_mm: f64,
    /// The tilt of the plane that fits it best.
    pub tilt_deg: f64,
}

impl RimInSpace {
    /// Of a trace file.
    fn of(file: &TraceFile, eye: Eye) -> Option<Self> {
        file.rim(eye).map(|rim| Self { circumference_mm: rim.circumference_mm, tilt_deg: rim.tilt_deg })
    }
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
    #[error(transparent)]
    Dbl(#[from] LimitError),
}

/// Something odd in the file of a shape, as it was said when the file was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShapeWarning {
    /// Which kind, as in the book.
    pub kind: &'static str,
    /// A sentence without its full stop.
    pub says: String,
}

impl ShapeWarning {
    fn of(warning: &Warning) -> Self {
        Self { kind: warning.kind.key(), says: warning.to_string() }
    }
}

/// A warning on file, of a shape or of one that it was made from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptWarning {
    /// Which kind, as in the book.
    pub kind: String,
    /// A sentence without its full stop.
    pub says: String,
    /// How the shape came to be, and those between it and the one whose file was read. Empty for that one itself.
    pub since: Vec<ShapeOrigin>,
}

impl KeptWarning {
    /// Whether it is still true after what was done since.
    fn still_holds(&self) -> bool {
        match self.kind.as_str() {
            // Another size was asked for, and the depth of the rim is not taken to another size.
            "box_differs" | "circumference_differs" | "depth_left_out" => !self.since.contains(&ShapeOrigin::Resized),
            "hole_left_out" | "holes_of_one_eye" | "holes_read" | "holes_left_out" => {
                !self.since.contains(&ShapeOrigin::Drilled)
            }
            _ => true,
        }
    }

    fn sentence(&self) -> String {
        let file = if self.since.is_empty() { "the file" } else { "the file of the shape that this one was made from" };
        format!("In {file}: {}.", self.says)
    }
}

/// How a shape came to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ShapeOrigin {
    /// From a trace file or a table of radii.
    Traced,
    /// The mirror image of its parent.
    Mirrored,
    /// Its parent made larger or smaller.
    Resized,
    /// From a drawing or a picture.
    Drawn,
    /// Its parent without the tremble of the trace.
    Smoothed,
    /// Its parent with other holes.
    Drilled,
}

keyed!(ShapeOrigin);

impl ShapeOrigin {
    /// In words, after "a shape".
    pub fn words(self) -> &'static str {
        match self {
            ShapeOrigin::Traced => "as traced",
            ShapeOrigin::Mirrored => "mirrored",
            ShapeOrigin::Resized => "made larger or smaller",
            ShapeOrigin::Drawn => "from a drawing",
            ShapeOrigin::Smoothed => "smoothed",
            ShapeOrigin::Drilled => "with other holes",
        }
    }
}

/// How a shape is changed into another one, which names it as its parent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShapeChange {
    /// To the circumference of a rim that was measured.
    Circumference(Millimeter),
    /// To a width.
    Width(Millimeter),
    /// To a height.
    Height(Millimeter),
    /// To a width and a height.
    Box { a: Millimeter, b: Millimeter },
    /// Without the tremble of the trace.
    Smoothed,
}

impl ShapeChange {
    /// How such a shape came to be.
    pub fn origin(self) -> ShapeOrigin {
        if self == ShapeChange::Smoothed { ShapeOrigin::Smoothed } else { ShapeOrigin::Resized }
    }

    /// What was done, after a shape's name.
    pub fn words(self) -> String {
        match self {
            ShapeChange::Circumference(mm) => format!("resized to a circumference of {mm} mm"),
            ShapeChange::Width(mm) => format!("resized to a width of {mm} mm"),
            ShapeChange::Height(mm) => format!("resized to a height of {mm} mm"),
            ShapeChange::Box { a, b } => format!("resized to a box of {a} by {b} mm"),
            ShapeChange::Smoothed => "smoothed".to_owned(),
        }
    }

    /// The trace changed so.
    fn of(self, trace: &Trace) -> Result<Trace, OutlineError> {
        let outline = trace.outline();
        let size = Boxing::of(&outline);
        // A trace with few points gets the points of its smooth curve.
        let again = |outline: &Outline| Trace::of_outline(trace.eye(), outline, trace.radii().len().max(LEAST_POINTS));
        match self {
            ShapeChange::Circumference(mm) => trace.scaled(mm.to_f64() / size.circumference_mm),
            ShapeChange::Width(mm) => trace.scaled(mm.to_f64() / size.a_mm),
            ShapeChange::Height(mm) => trace.scaled(mm.to_f64() / size.b_mm),
            ShapeChange::Box { a, b } => again(&resize_to_box(&outline, Some(a.to_f64()), Some(b.to_f64()))?),
            ShapeChange::Smoothed => again(&smooth(&outline)?),
        }
    }
}

/// The fewest radii of a shape that was made from an outline.
const LEAST_POINTS: usize = 400;
/// The circumference that a shape may be resized to.
pub const CIRCUMFERENCE: LengthLimit = LengthLimit::new("A circumference", 6000, 30_000);
/// The width or height that a shape may be resized to.
pub const BOX_SIDE: LengthLimit = LengthLimit::new("A size", 1500, 9000);

/// Where the distance between the lenses came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum DblSource {
    /// The trace file.
    File,
    /// The bridge stamped on the frame, because the file has none.
    Stamp,
    Typed,
}

keyed!(DblSource);

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
        typed_dbl: Option<Millimeter>,
        stamped_bridge: Millimeter,
    ) -> Result<Self, ShapeRefused> {
        let file = read_any(bytes).map_err(ShapeRefused::Faults)?;
        let original = Original { bytes, name, origin: ShapeOrigin::Traced };
        Self::of_file(file, original, only, typed_dbl, stamped_bridge)
    }

    /// As [`NewShape::read`], from a file of any kind that was read before.
    ///
    /// # Errors
    ///
    /// [`ShapeRefused`], except faults.
    pub fn of_file(
        file: TraceFile,
        original: Original,
        only: Option<Eye>,
        typed_dbl: Option<Millimeter>,
        stamped_bridge: Millimeter,
    ) -> Result<Self, ShapeRefused> {
        let rim_curve_tool_d = Pair::new(file.rim_curve_tool_d(Eye::Right), file.rim_curve_tool_d(Eye::Left));
        let rim = Pair::new(RimInSpace::of(&file, Eye::Right), RimInSpace::of(&file, Eye::Left));
        let mut warnings = shape_warnings(&file, only, typed_dbl);
        let holes = holes_of(&file, &mut warnings);
        let job_in_file = file.job.clone();
        let (traces, derived) = match only {
            Some(eye) if !names_no_eye(&file) && file.derived != Some(eye.other()) => {
                return Err(ShapeRefused::EyeNamedInFile(eye));
            }
            Some(Eye::Left) if names_no_eye(&file) => as_left_eye(file.traces),
            _ => (file.traces, file.derived),
        };
        let in_file = file.dbl_mm.and_then(|mm| Millimeter::round_from(mm).ok());
        let (dbl, dbl_source) = match (typed_dbl, in_file) {
            (Some(typed), Some(in_file)) if typed == in_file => (typed, DblSource::File),
            (Some(typed), None) if typed == stamped_bridge => (typed, DblSource::Stamp),
            (Some(typed), _) => (typed, DblSource::Typed),
            (None, Some(in_file)) => (in_file, DblSource::File),
            (None, None) => (stamped_bridge, DblSource::Stamp),
        };
        let dbl = DBL.check(dbl)?;
        let Original { bytes, name, origin } = original;
        let (original, original_name) = (bytes.to_vec(), name.to_owned());
        Ok(Self {
            origin,
            traces,
            derived,
            dbl,
            dbl_source,
            rim_curve_tool_d,
            rim,
            holes,
            job_in_file,
            warnings,
            original,
            original_name,
        })
    }

    /// What is wrong with the places of its holes.
    pub fn hole_places(&self) -> Pair<PlaceWords> {
        hole_places(&self.holes, &self.traces.as_ref().map(Trace::outline))
    }
}

/// The holes that a file names. Those that cannot be are left out, and the owner is told.
pub(super) fn holes_of(file: &TraceFile, warnings: &mut Vec<ShapeWarning>) -> Drilling {
    let (holes, outlines) = (file.holes_of_lenses(), file.outlines());
    if holes.right.is_empty() && holes.left.is_empty() {
        return Drilling::default();
    }
    let drilling = of_lenses(&holes, &outlines.as_ref().map(Boxing::of)).unwrap_or_default();
    let fits = hole_places(&drilling, &outlines).iter().all(|(_, words)| words.refused.is_empty());
    let (kind, says) = if fits {
        ("holes_read", "there are holes, read as measured from the middle of the box: compare them with the demo lens")
    } else {
        ("holes_left_out", "the holes lie outside the lens or are cut by its rim, and are left out: measure them")
    };
    warnings.push(ShapeWarning { kind, says: says.to_owned() });
    warnings.extend(file.warning_of_holes().filter(|_| fits).as_ref().map(ShapeWarning::of));
    if fits { drilling } else { Drilling::default() }
}

fn hole_places(drilling: &Drilling, outlines: &Pair<Outline>) -> Pair<PlaceWords> {
    let holes = on_lenses(drilling, &outlines.as_ref().map(Boxing::of));
    let of = |eye: Eye| PlaceWords::of(eye, holes.get(eye), outlines.get(eye));
    Pair::new(of(Eye::Right), of(Eye::Left))
}

impl NewShape {
    /// The number of another job that the file names. A name that is no number of a job is the tracer's own.
    pub fn names_other_job(&self, number: i64) -> Option<i64> {
        let named: i64 = self.job_in_file.as_deref()?.parse().ok()?;
        (named > 0 && named != number).then_some(named)
    }
}

/// What was odd in a file. That a table was taken for the right eye is no news where the owner chose the left.
fn shape_warnings(file: &TraceFile, only: Option<Eye>, typed_dbl: Option<Millimeter>) -> Vec<ShapeWarning> {
    let is_told = |kind: &WarningKind| *kind != WarningKind::SideAssumed || only != Some(Eye::Left);
    let told = file.warnings.iter().filter(|warning| is_told(&warning.kind)).cloned();
    told.map(|warning| ShapeWarning::of(&beside_typed(warning, typed_dbl))).collect()
}

/// Of two distances between the lenses in a file, neither is used where one was typed.
fn beside_typed(mut warning: Warning, typed_dbl: Option<Millimeter>) -> Warning {
    if let WarningKind::StatedTwice { label: "DBL", typed, .. } = &mut warning.kind {
        *typed = typed_dbl.map(Millimeter::to_f64);
    }
    warning
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
    /// The shape changed. A mirrored eye stays the mirror image of the other; the distance between the lenses stays.
    ///
    /// # Errors
    ///
    /// [`OutlineError`] when the result is no lens.
    pub fn changed(&self, change: ShapeChange) -> Result<NewShape, OutlineError> {
        let (right, left) = (&self.traces.right, &self.traces.left);
        let traces = match self.derived {
            Some(Eye::Left) => change.of(right).map(|right| Pair::new(right.clone(), right.mirror()))?,
            Some(Eye::Right) => change.of(left).map(|left| Pair::new(left.mirror(), left))?,
            None => Pair::new(change.of(right)?, change.of(left)?),
        };
        // A rim of another size was not traced.
        let rim = if change == ShapeChange::Smoothed { self.rim } else { Pair::default() };
        Ok(NewShape { traces, rim, ..self.again(change.origin()) })
    }

    /// The shape with other holes.
    pub fn drilled(&self, holes: Drilling) -> NewShape {
        NewShape { holes, ..self.again(ShapeOrigin::Drilled) }
    }

    /// The shape as a new one.
    fn again(&self, origin: ShapeOrigin) -> NewShape {
        NewShape {
            origin,
            traces: self.traces.clone(),
            derived: self.derived,
            dbl: self.dbl,
            dbl_source: self.dbl_source,
            rim_curve_tool_d: self.rim_curve_tool_d,
            rim: self.rim,
            holes: self.holes.clone(),
            job_in_file: None,
            warnings: Vec::new(),
            original: Vec::new(),
            original_name: String::new(),
        }
    }

    /// Its holes on the lens of each eye.
    pub fn holes_on_lenses(&self) -> Pair<Vec<Hole>> {
        if self.holes.iter().all(|(_, holes)| holes.is_empty()) {
            return Pair::default();
        }
        on_lenses(&self.holes, &self.outlines().as_ref().map(Boxing::of))
    }

    /// The outline of each eye.
    pub fn outlines(&self) -> Pair<Outline> {
        self.traces.as_ref().map(Trace::outline)
    }

    /// What the owner should know of the shape, a sentence each: where right and left differ, where the trace and the
    /// frame's stamp differ, and what was odd in the file it came from, its own or that of a shape it was made from.
    pub fn cautions(&self, warnings: &[KeptWarning], frame: &FrameDetails) -> Vec<String> {
        let outlines = self.outlines();
        let mut cautions: Vec<String> = self.eyes_words(&outlines).into_iter().collect();
        cautions.extend(self.size_words(&outlines, frame.eye_size.to_f64()));
        cautions.extend(self.hole_words(&outlines));
        cautions.extend(self.dbl_words(frame.bridge.to_f64()));
        cautions.extend(file_words(warnings));
        cautions
    }

    /// Where the trace and the frame's stamp differ, as in [`FrameShape::cautions`].
    pub fn stamp_cautions(&self, frame: &FrameDetails) -> Vec<String> {
        let sizes = self.size_words(&self.outlines(), frame.eye_size.to_f64());
        sizes.into_iter().chain(self.dbl_words(frame.bridge.to_f64())).collect()
    }

    /// As [`FrameShape::cautions`], without a frame to compare it with.
    pub fn cautions_of_itself(&self, warnings: &[KeptWarning]) -> Vec<String> {
        let outlines = self.outlines();
        self.eyes_words(&outlines).into_iter().chain(self.hole_words(&outlines)).chain(file_words(warnings)).collect()
    }
}

/// What was odd in the file and still holds.
fn file_words(warnings: &[KeptWarning]) -> impl Iterator<Item = String> {
    warnings.iter().filter(|warning| warning.still_holds()).map(KeptWarning::sentence)
}

impl FrameShape {
    /// Where right and left differ, if both were traced.
    fn eyes_words(&self, outlines: &Pair<Outline>) -> Option<String> {
        let both = self.derived.is_none().then(|| Disagreement::of(&outlines.right, &outlines.left));
        both.as_ref().and_then(disagreement_words)
    }

    fn hole_words(&self, outlines: &Pair<Outline>) -> impl Iterator<Item = String> {
        let places = hole_places(&self.holes, outlines);
        [places.right, places.left].into_iter().flat_map(|w| w.refused.into_iter().chain(w.cautions))
    }

    /// Compares the distance between the lenses with the bridge stamped on the frame.
    fn dbl_words(&self, stamped_mm: f64) -> Option<String> {
        let differs = (self.dbl.to_f64() - stamped_mm).abs() > STAMP_DIFFERENCE_REPORTED_MM;
        differs.then(|| {
            format!(
                "The distance between the lenses is {} mm, but the frame is stamped {stamped_mm:.1}: measure it. {0} mm \
                 is used.",
                self.dbl
            )
        })
    }

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
        "Right and left differ: {than}at the worst point, {} on the right eye, the outlines are {:.2} mm apart, and the \
         circumferences differ by {:.2} mm. Cut each lens to its own trace, or trace the frame again.",
        place_words(Eye::Right, differ.worst_at_deg),
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
            color: String::new(),
            eye_size: eye_size.parse().unwrap(),
            bridge: bridge.parse().unwrap(),
            temple: None,
            rim: Rim::Metal,
            price: Cents::new(0),
        }
    }

    fn kept(new: NewShape) -> FrameShape {
        FrameShape {
            id: ShapeId(uuid::Uuid::nil()),
            job_number: Some(1001),
            parent: None,
            origin: ShapeOrigin::Traced,
            traces: new.traces,
            derived: new.derived,
            dbl: new.dbl,
            dbl_source: new.dbl_source,
            rim_curve_tool_d: new.rim_curve_tool_d,
            rim: new.rim,
            holes: new.holes,
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
            assert_eq!(shape.dbl_source, source);
        }
        let refused = NewShape::read(table.as_bytes(), "x", None, "4".parse().ok(), stamp).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "A distance between lenses of 4.00 mm is not possible: between 5 and 40 was expected"
        );
    }

    #[test]
    fn of_two_distances_in_a_file_the_last_is_used_unless_one_is_typed() {
        let trace = "TRCFMT=1;36;E;R;F\r\nR=".to_owned() + &["2200"; 36].join(";") + "\r\n";
        let text = format!("DBL=18\r\nDBL=19\r\nFCRV=4\r\nFCRV=5\r\n{trace}");
        let curve = "Line 4: FCRV says 5.00 D, but line 3 says 4.00 D; the last one is used";
        for (typed, used) in [
            (None, "the last one is used"),
            (Some("17.5"), "the typed 17.50 mm is used"),
            (Some("18"), "the typed 18.00 mm is used"),
        ] {
            let dbl = typed.map(|typed| typed.parse().unwrap());
            let shape = NewShape::read(text.as_bytes(), "x", None, dbl, "16".parse().unwrap()).unwrap();
            let says: Vec<&str> = shape.warnings.iter().map(|warning| warning.says.as_str()).collect();
            let distance = format!("Line 2: DBL says 19.00 mm, but line 1 says 18.00 mm; {used}");
            assert_eq!(says[..2], [distance.as_str(), curve], "{typed:?}");
            assert_eq!(shape.dbl.to_f64(), typed.map_or(19.0, |typed| typed.parse().unwrap()));
        }
    }

    #[test]
    fn a_file_may_name_another_job() {
        let records = |job: &str| format!("{job}TRCFMT=1;36;E;R;F\r\nR={}\r\n", ["2200"; 36].join(";"));
        for (job, want) in [
            ("", None),
            ("JOB=\"1042\"\r\n", None),
            ("JOB=01042\r\n", None),
            ("JOB=1043\r\n", Some(1043)),
            ("JOB=A7\r\n", None),
            ("JOB=-3\r\n", None),
            ("JOB=99999999999999999999\r\n", None),
        ] {
            let shape = NewShape::read(records(job).as_bytes(), "x", None, None, "18".parse().unwrap()).unwrap();
            assert_eq!(shape.names_other_job(1042), want, "{job}");
        }
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
    fn an_assumed_eye_is_a_warning_unless_it_was_chosen() {
        let read = |only| NewShape::read(lopsided("").as_bytes(), "x", only, None, "18".parse().unwrap()).unwrap();
        let warnings = read(None).warnings;
        assert_eq!(warnings.iter().map(|warning| warning.kind).collect::<Vec<_>>(), ["side_assumed"]);
        assert!(read(Some(Eye::Left)).warnings.is_empty());
        let kept_warning = on_file(&warnings[0], &[]);
        let said = kept(read(None)).cautions(&[kept_warning], &frame("45", "18"));
        assert!(said.last().is_some_and(|last| last.starts_with("In the file: ") && last.ends_with('.')), "{said:?}");
    }

    fn on_file(warning: &ShapeWarning, since: &[ShapeOrigin]) -> KeptWarning {
        KeptWarning { kind: warning.kind.to_owned(), says: warning.says.clone(), since: since.to_vec() }
    }

    /// The file states another box than it traces, and a hole of one eye.
    #[test]
    fn a_shape_says_what_was_odd_in_the_file_of_the_one_it_was_made_from() {
        let list = vec!["2200"; 36].join(";");
        let text = format!(
            "HBOX=45;45\nDRILL=R;-17;2;1.4\nDRILL=R;?\nTRCFMT=1;36;E;R;F\nR={list}\nTRCFMT=1;36;E;L;F\nR={list}\nCRC=1\n"
        );
        let shape = NewShape::read(text.as_bytes(), "x", None, None, "18".parse().unwrap()).unwrap();
        let kinds: Vec<_> = shape.warnings.iter().map(|warning| warning.kind).collect();
        let all = ["hole_left_out", "checksum_differs", "box_differs", "box_differs", "holes_read", "holes_of_one_eye"];
        assert_eq!(kinds, all);
        let said = |since: &[ShapeOrigin]| {
            let warnings: Vec<_> = shape.warnings.iter().map(|warning| on_file(warning, since)).collect();
            let said = kept(shape.clone()).cautions_of_itself(&warnings);
            assert_eq!(kept(shape.clone()).cautions(&warnings, &frame("44", "18")), said);
            said
        };
        let (resized, smoothed, drilled) = (ShapeOrigin::Resized, ShapeOrigin::Smoothed, ShapeOrigin::Drilled);
        for (since, count) in
            [(&[][..], 6), (&[smoothed], 6), (&[resized], 4), (&[drilled], 3), (&[smoothed, drilled, resized], 1)]
        {
            let said = said(since);
            assert_eq!(said.len(), count, "{since:?}: {said:?}");
            let own = said.iter().filter(|says| says.starts_with("In the file: ")).count();
            let parents = said.iter().filter(|says| says.contains("the shape that this one was made from: ")).count();
            assert_eq!((own, parents), if since.is_empty() { (count, 0) } else { (0, count) }, "{said:?}");
            assert!(said.iter().any(|says| says.contains("checksum")));
        }
    }

    #[test]
    fn a_changed_shape_has_the_size_asked_for() {
        let mm = |text: &str| text.parse::<Millimeter>().unwrap();
        // Round, 44 mm: 138.23 mm around (2πr).
        let text = format!("R\n{}", "22.00\n".repeat(400));
        let round = kept(NewShape::read(text.as_bytes(), "x", None, None, "18".parse().unwrap()).unwrap());
        for (change, a_mm, b_mm, around_mm) in [
            (ShapeChange::Circumference(mm("144.51")), 46.0, 46.0, 144.51),
            (ShapeChange::Width(mm("45")), 45.0, 45.0, 141.37),
            (ShapeChange::Height(mm("43")), 43.0, 43.0, 135.09),
            // An ellipse 50 by 40: 141.81 mm around (Ramanujan).
            (ShapeChange::Box { a: mm("50"), b: mm("40") }, 50.0, 40.0, 141.81),
            (ShapeChange::Smoothed, 44.0, 44.0, 138.23),
        ] {
            let child = round.changed(change).unwrap();
            for (_, trace) in child.traces.iter() {
                let size = Boxing::of(&trace.outline());
                assert!((size.a_mm - a_mm).abs() < 0.02 && (size.b_mm - b_mm).abs() < 0.02, "{change:?}: {size:?}");
                assert!((size.circumference_mm - around_mm).abs() < 0.03, "{change:?}: {size:?}");
            }
            assert_eq!((child.derived, child.dbl), (Some(Eye::Left), round.dbl));
        }
        assert!(round.changed(ShapeChange::Width(mm("160"))).is_err());
    }

    #[test]
    fn cautions_name_the_differences() {
        let text = format!("R\n{}L\n{}", "22.00\n".repeat(36), "23.00\n".repeat(36));
        let shape = kept(NewShape::read(text.as_bytes(), "x", None, None, "18".parse().unwrap()).unwrap());
        let said = shape.cautions(&[], &frame("44", "20"));
        // Two circles of 44 and 46 mm: 2 mm in A and B, 1 mm all round, 2π in circumference (closed form, polygon).
        assert!(
            said[0].contains("2.00 mm narrower and 2.00 mm lower") && said[0].contains("1.00 mm apart"),
            "{said:?}"
        );
        assert!(said[1].starts_with("The left eye is traced 46.00 mm wide, but the frame is stamped 44.0"), "{said:?}");
        assert!(said[2].contains("18.00 mm, but the frame is stamped 20.0"), "{said:?}");
        assert_eq!(said.len(), 3);
        let same = kept(NewShape::read(lopsided("").as_bytes(), "x", None, None, "18".parse().unwrap()).unwrap());
        assert_eq!(same.cautions(&[], &frame("44.5", "18")), Vec::<String>::new());
    }
}
