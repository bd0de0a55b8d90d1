//! A job in the records that a blocker or an edger asks for: the shape's box, where each lens goes, the lens, its edge.
//!
//! Labels and codes: Data Communication Standard (ISO 16284), from memory; `?` stands for what is not known. What is
//! doubtful among them is switched per device: [`crate::shape::record::assumption`].

use super::bevel_place::{BevelChoice, hold_of};
use super::layout_record::LayoutRecord;
use super::lens::CutLens;
use crate::desk::catalogue::MaterialDetails;
use crate::desk::frame::Rim;
use crate::desk::frame_shape::FrameShape;
use crate::desk::job::Job;
use crate::optics::prism::Polar;
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};
use crate::shape::bevel::{Hold, Placement};
use crate::shape::boxing::Boxing;
use crate::shape::hole::Hole;
use crate::shape::record::assumption::{CenterPoint, SentFinish, SentHoles};
use crate::shape::record::{Assumptions, drill};

/// The depth of a groove for a cord: the ticket says 0.3 to 0.5 mm. Source: common practice (from memory).
const GROOVE_DEPTH_MM: f64 = 0.4;

/// Where the lenses of a job go, as it was made or as it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlacedLenses {
    /// The distance between the lenses.
    pub dbl: Millimeter,
    /// Each lens that is made.
    pub eyes: Pair<Option<PlacedEye>>,
}

/// Where one lens goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlacedEye {
    /// The pupil from the boxing center, toward the nose: where the lensmeter reads power and prism, and the lens is
    /// blocked.
    pub decentration_in: Millimeter,
    /// The pupil from the boxing center, upward.
    pub decentration_up: Millimeter,
    /// The optical center from the boxing center, toward the nose: the pupil, or where prescribed prism moves it.
    pub center_in: Millimeter,
    /// The optical center from the boxing center, upward.
    pub center_up: Millimeter,
    /// Diameter of the uncut lens.
    pub diameter: Option<Millimeter>,
}

impl PlacedEye {
    /// The point that a device is told, toward the nose and upward.
    fn told(&self, point: CenterPoint) -> (f64, f64) {
        let (to_nose, up) = match point {
            CenterPoint::Reference => (self.decentration_in, self.decentration_up),
            CenterPoint::Optical => (self.center_in, self.center_up),
        };
        (to_nose.to_f64(), up.to_f64())
    }
}

impl From<&LayoutRecord> for PlacedLenses {
    fn from(record: &LayoutRecord) -> Self {
        let eyes = record.eyes.map(|eye| {
            let eye = eye?;
            Some(PlacedEye {
                decentration_in: eye.decentration_in,
                decentration_up: eye.decentration_up,
                center_in: eye.center_in,
                center_up: eye.center_up,
                diameter: eye.lens.map(|lens| lens.diameter),
            })
        });
        Self { dbl: record.dbl, eyes }
    }
}

/// The records of a job, label and value, in their order. `edges` are those of the ticket.
pub fn records(
    job: &Job,
    shape: &FrameShape,
    placed: &PlacedLenses,
    edges: &Pair<Option<(CutLens, BevelChoice)>>,
    assumptions: &Assumptions,
) -> Vec<(&'static str, String)> {
    let (frame, material) = (&job.frame.details, &job.material.details);
    let size = shape.outlines().as_ref().map(Boxing::of);
    let told = |eye: Eye| placed.eyes.get(eye).as_ref().map(|at| at.told(assumptions.center_point));
    let power = |of: fn(&crate::optics::prescription::LensPower) -> f64| {
        each(|eye| job.makes(eye).then(|| of(&job.lens_power(eye).to_minus())))
    };
    // The device takes the center from the box again: half the box and half the bridge, less what it shall move in.
    let half_mm = |eye: Eye| (size.get(eye).a_mm + placed.dbl.to_f64()) / 2.0;
    let mut records = vec![
        ("DO", eyes_to_make(job).to_owned()),
        ("LTYP", "SV;SV".to_owned()),
        ("SPH", figures(&power(|power| power.sphere().to_f64_in_eighths()), 2)),
        ("CYL", figures(&power(|power| power.cylinder().to_f64_in_eighths()), 2)),
        ("AX", figures(&power(|power| power.axis().map_or(0.0, |axis| f64::from(axis.degrees()))), 0)),
        ("DBL", format!("{:.2}", placed.dbl.to_f64())),
        ("HBOX", figures(&each(|eye| Some(size.get(eye).a_mm)), 2)),
        ("VBOX", figures(&each(|eye| Some(size.get(eye).b_mm)), 2)),
        ("CIRC", figures(&each(|eye| Some(size.get(eye).circumference_mm)), 2)),
        ("FCRV", figures(&shape.rim_curve_tool_d, 2)),
        ("IPD", figures(&each(|eye| Some(half_mm(eye) - told(eye)?.0)), 2)),
        ("OCHT", figures(&each(|eye| Some(size.get(eye).b_mm / 2.0 + told(eye)?.1)), 2)),
        ("DIA", figures(&each(|eye| placed.eyes.get(eye).as_ref()?.diameter.map(Millimeter::to_f64)), 1)),
        ("LIND", figures(&each(|_| Some(material.index())), 3)),
        ("LMATTYPE", both(material_code(material))),
        ("ETYP", both(edge_code(frame.rim))),
        ("FTYP", frame_code(frame.rim).to_string()),
    ];
    // A trace without depth says nothing of the rim's curve, and neither do we.
    records.retain(|(label, value)| *label != "FCRV" || value != "?;?");
    if assumptions.center_point == CenterPoint::Reference {
        records.extend(prism_records(job));
    }
    records.extend(edge_records(job, edges, assumptions));
    records.extend(hole_records(job, shape, assumptions));
    if let Some(wear) = &job.frame_position {
        records.push(("PANTO", figures(&each(|_| Some(wear.panto.to_f64())), 1)));
    }
    records
}

/// The prescribed prism: how much, and the direction of its base in the front view, 0 to 360 from the observer's right.
fn prism_records(job: &Job) -> Vec<(&'static str, String)> {
    let prism = |eye: Eye| job.prescription.eyes.get(eye).prism;
    if Eye::BOTH.into_iter().all(|eye| !job.makes(eye) || prism(eye).is_none()) {
        return Vec::new();
    }
    let polar = each(|eye| job.makes(eye).then(|| prism(eye).numbers().to_polar(eye)));
    let part = |of: fn(&Polar) -> f64| polar.as_ref().map(|polar| polar.as_ref().map(of));
    // A base of 359.9 degrees is one of 0, and so is that of no prism.
    vec![("PRVM", figures(&part(|polar| polar.amount_pd), 2)), ("PRVA", figures(&part(base_deg), 0))]
}

fn base_deg(polar: &Polar) -> f64 {
    if polar.amount_pd > 0.0 { polar.base_deg.round() % 360.0 } else { 0.0 }
}

/// The holes of a drilled mount, a record a hole.
fn hole_records(job: &Job, shape: &FrameShape, assumptions: &Assumptions) -> Vec<(&'static str, String)> {
    if assumptions.sent_holes == SentHoles::NotSent {
        return Vec::new();
    }
    let holes = shape.holes_on_lenses();
    let of = |eye: Eye| {
        let middle = shape.traces.get(eye).middle();
        let record = |hole: &Hole| drill::write(eye, hole, middle, assumptions);
        holes.get(eye).iter().map(record).collect::<Vec<_>>()
    };
    Eye::BOTH.into_iter().filter(|eye| job.makes(*eye)).flat_map(of).collect()
}

/// How the edge is made, and where the bevel or groove goes, as on the ticket.
fn edge_records(
    job: &Job,
    edges: &Pair<Option<(CutLens, BevelChoice)>>,
    assumptions: &Assumptions,
) -> Vec<(&'static str, String)> {
    let hold = hold_of(job.frame.details.rim);
    let mut records = placement_records(hold, edges);
    if assumptions.edge_finish == SentFinish::Sent {
        if matches!(hold, Hold::Groove { .. }) {
            records.push(("GDEPTH", both(format!("{GROOVE_DEPTH_MM:.2}"))));
        }
        // A flat edge is seen.
        records.push(("POLISH", both(u8::from(!matches!(hold, Hold::Bevel { .. })))));
    }
    records
}

fn placement_records(hold: Hold, edges: &Pair<Option<(CutLens, BevelChoice)>>) -> Vec<(&'static str, String)> {
    match hold {
        Hold::Bevel { .. } => {
            let placement = |eye: Eye| edges.get(eye).as_ref().map(|edge| bevel_codes(edge.1.placement));
            vec![
                ("BEVP", figures(&each(|eye| placement(eye).map(|codes| f64::from(codes.0))), 0)),
                ("BEVM", figures(&each(|eye| placement(eye).map(|codes| codes.1)), 2)),
            ]
        }
        Hold::Groove { width_mm, .. } => vec![("GWIDTH", both(format!("{width_mm:.2}")))],
        Hold::Drilled => Vec::new(),
    }
}

/// How a bevel is placed, and the number that goes with it: 1 from the front, in mm; 2 a percentage of the edge; 3 on the
/// frame's curve; 4 in the middle; 7 as the edger thinks best.
fn bevel_codes(placement: Placement) -> (u8, f64) {
    match placement {
        Placement::Share(0.5) => (4, 50.0),
        Placement::Share(share) => (2, share * 100.0),
        Placement::FromFront(mm) => (1, mm),
        Placement::Curve { tool_d, .. } => (3, tool_d),
        Placement::FrontCurve(_) => (7, 0.0),
    }
}

fn eyes_to_make(job: &Job) -> &'static str {
    match (job.makes(Eye::Right), job.makes(Eye::Left)) {
        (true, false) => "R",
        (false, true) => "L",
        _ => "B",
    }
}

/// 1 bevel, 2 flat, 3 groove.
fn edge_code(rim: Rim) -> u8 {
    match hold_of(rim) {
        Hold::Bevel { .. } => 1,
        Hold::Drilled => 2,
        Hold::Groove { .. } => 3,
    }
}

/// 1 plastic, 2 metal, 3 rimless.
fn frame_code(rim: Rim) -> u8 {
    match rim {
        Rim::Plastic => 1,
        Rim::Metal => 2,
        Rim::Cord | Rim::Drilled => 3,
    }
}

/// The kind of material, by the chemistry that its index, Abbe number and density show: 1 hard resin, 2 polycarbonate, 3
/// glass, 5 other resins of a higher index, 6 polyurea-urethane.
fn material_code(material: &MaterialDetails) -> u8 {
    let (index, abbe, density) =
        (material.index_thousandths, material.abbe_tenths, f64::from(material.density_hundredths) / 100.0);
    match index {
        _ if density >= 2.0 => 3,
        ..1525 => 1,
        1525..=1540 => 6,
        1580..=1595 if abbe < 330 => 2,
        _ => 5,
    }
}

fn each<T>(of: impl Fn(Eye) -> Option<T>) -> Pair<Option<T>> {
    Pair::new(of(Eye::Right), of(Eye::Left))
}

/// Right and left.
fn figures(values: &Pair<Option<f64>>, decimals: usize) -> String {
    let figure = |value: &Option<f64>| match value {
        // No minus before a zero.
        Some(value) if value.abs() < 0.5 * 10f64.powi(-(decimals as i32)) => format!("{:.decimals$}", 0.0),
        Some(value) => format!("{value:.decimals$}"),
        None => "?".to_owned(),
    };
    format!("{};{}", figure(&values.right), figure(&values.left))
}

fn both(value: impl std::fmt::Display) -> String {
    format!("{value};{value}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::bevel_place::usual_edges;
    use crate::bench::layout::JobLayout;
    use crate::bench::layout::tests::{lab, round_job, round_shape};
    use crate::bench::lens::JobLens;
    use crate::desk::drilling::{BoxSide, DrilledHole, FromSide};
    use crate::shape::blocker::BlockerStep;
    use crate::shape::record::assumption::{DrillLabel, DrillX};

    fn told(prescription: &str, pupils: &str) -> Vec<(&'static str, String)> {
        told_to(&round_job(prescription, pupils), &round_shape(), &Assumptions::default())
    }

    fn told_to(job: &Job, shape: &FrameShape, assumptions: &Assumptions) -> Vec<(&'static str, String)> {
        let lab = lab();
        let layout = JobLayout::of(job, shape, &lab, BlockerStep::Half);
        let lenses = JobLens::pair(job, Some(&layout), &Pair::default()).map(Result::ok);
        let record = LayoutRecord::of(&layout, &lab, &lenses).unwrap();
        records(job, shape, &PlacedLenses::from(&record), &usual_edges(job, &layout, &Pair::default()), assumptions)
    }

    fn value(records: &[(&str, String)], label: &str) -> String {
        records.iter().find(|record| record.0 == label).map(|record| record.1.clone()).unwrap_or_default()
    }

    #[test]
    fn a_round_job_in_records() {
        // Round 44, DBL 20, height 24, PD 31.25 each: half of 64 less 0.75 in; 22 and 2 up.
        let told = told("-4.00 -1.25 x 95", "31.25/31.25");
        for (label, expected) in [
            ("DO", "B"),
            ("SPH", "-4.00;-4.00"),
            ("CYL", "-1.25;-1.25"),
            ("AX", "95;95"),
            ("DBL", "20.00"),
            ("HBOX", "44.00;44.00"),
            ("VBOX", "44.00;44.00"),
            ("IPD", "31.25;31.25"),
            ("OCHT", "24.00;24.00"),
        ] {
            assert_eq!(value(&told, label), expected, "{label}");
        }
        // π times 44 is 138.23.
        assert!(value(&told, "CIRC").starts_with("138.2"), "{told:?}");
        assert!(told.iter().all(|(label, value)| label.len() + value.len() < 80));
    }

    #[test]
    fn prism_is_told_with_the_point_where_it_is_read() {
        // -4.00 with 2 base in. The lens is blocked where the lensmeter reads 2 base in, which lies at the pupil; base in is
        // 0 for the right eye and 180 for the left one (ISO 8429 axes).
        let job = round_job("-4.00 sph 2 BI", "31.25/31.25");
        let told = told_to(&job, &round_shape(), &Assumptions::default());
        assert_eq!((value(&told, "IPD"), value(&told, "OCHT")), ("31.25;31.25".into(), "24.00;24.00".into()));
        assert_eq!((value(&told, "PRVM"), value(&told, "PRVA")), ("2.00;2.00".into(), "0;180".into()));
        // For a device that is told the optical center: it lies 5 out of the pupil (Prentice), so 36.25 from the nose.
        let optical = Assumptions { center_point: CenterPoint::Optical, ..Assumptions::default() };
        let told = told_to(&job, &round_shape(), &optical);
        assert_eq!((value(&told, "IPD"), value(&told, "OCHT")), ("36.25;36.25".into(), "24.00;24.00".into()));
        assert!(told.iter().all(|(label, _)| !label.starts_with("PRV")));
    }

    #[test]
    fn no_prism_is_not_told() {
        assert!(told("-4.00 sph", "31.25/31.25").iter().all(|(label, _)| !label.starts_with("PRV")));
        // 1.50 up and 2.00 in: hypot 2.50, atan2(1.5, 2) 36.87 degrees, on the left 143.13.
        let both = told("-4.00 sph 2 BI 1.5 BU", "31.25/31.25");
        assert_eq!((value(&both, "PRVM"), value(&both, "PRVA")), ("2.50;2.50".into(), "37;143".into()));
    }

    #[test]
    fn an_eye_without_prism_has_no_base() {
        let mut job = round_job("-4.00 sph 2 BI", "31.25/31.25");
        job.prescription.eyes.left.prism = round_job("-4.00 sph", "31.25/31.25").prescription.eyes.left.prism;
        let told = told_to(&job, &round_shape(), &Assumptions::default());
        assert_eq!((value(&told, "PRVM"), value(&told, "PRVA")), ("2.00;0.00".into(), "0;0".into()));
    }

    #[test]
    fn a_groove_and_a_flat_edge_are_told() {
        for (rim, labels) in [
            (Rim::Metal, [("ETYP", "1;1"), ("POLISH", "0;0"), ("GDEPTH", ""), ("GWIDTH", "")]),
            (Rim::Cord, [("ETYP", "3;3"), ("POLISH", "1;1"), ("GDEPTH", "0.40;0.40"), ("GWIDTH", "0.60;0.60")]),
            (Rim::Drilled, [("ETYP", "2;2"), ("POLISH", "1;1"), ("GDEPTH", ""), ("GWIDTH", "")]),
        ] {
            let mut job = round_job("-4.00 sph", "31.25/31.25");
            job.frame.details.rim = rim;
            let told = told_to(&job, &round_shape(), &Assumptions::default());
            for (label, expected) in labels {
                assert_eq!(value(&told, label), expected, "{rim:?} {label}");
            }
            let without = Assumptions { edge_finish: SentFinish::NotSent, ..Assumptions::default() };
            let told = told_to(&job, &round_shape(), &without);
            assert_eq!((value(&told, "POLISH"), value(&told, "GDEPTH")), (String::new(), String::new()));
        }
    }

    #[test]
    fn holes_are_told_from_the_boxing_center() {
        let mut shape = round_shape();
        let mm = |text: &str| text.parse().unwrap();
        let at = FromSide { inward: mm("2.5"), up: mm("3") };
        let hole = DrilledHole { side: BoxSide::Temple, at, slot_end: None, diameter: mm("1.4") };
        shape.holes = Pair::new(vec![hole], vec![hole]);
        let mut job = round_job("-4.00 sph", "31.25/31.25");
        job.frame.details.rim = Rim::Drilled;
        let holes = |assumptions: &Assumptions| {
            let told = told_to(&job, &shape, assumptions);
            let holes = told.into_iter().filter(|(label, _)| label.starts_with("DRILL"));
            holes.map(|(label, value)| format!("{label}={value}")).collect::<Vec<_>>()
        };
        // The temple side of a box of 44 lies 22 from its center: 22 less 2.5, away from the nose.
        let usual = Assumptions::default();
        assert_eq!(holes(&usual), ["DRILLE=R;C;-19.50;3.00;1.40", "DRILLE=L;C;-19.50;3.00;1.40"]);
        let to_the_right = Assumptions { drill_label: DrillLabel::Drill, drill_x: DrillX::Right, ..usual };
        assert_eq!(holes(&to_the_right), ["DRILL=R;-19.50;3.00;1.40", "DRILL=L;19.50;3.00;1.40"]);
        assert_eq!(holes(&Assumptions { sent_holes: SentHoles::NotSent, ..usual }), [""; 0]);
    }

    #[test]
    fn a_plus_cylinder_is_told_in_minus_form() {
        let told = told("-5.25 +1.25 x 5", "31.25/31.25");
        assert_eq!((value(&told, "SPH").as_str(), value(&told, "CYL").as_str()), ("-4.00;-4.00", "-1.25;-1.25"));
        assert_eq!(value(&told, "AX"), "95;95");
    }

    #[test]
    fn materials_by_their_chemistry() {
        // Index, Abbe number and density as of the demo's materials (handbook figures, from memory).
        for (index, abbe, density, code) in [
            (1498, 580, 132, 1),
            (1523, 590, 254, 3),
            (1530, 430, 111, 6),
            (1586, 300, 120, 2),
            (1600, 410, 130, 5),
            (1740, 330, 147, 5),
        ] {
            let (mut job, _) = (round_job("-1.00 sph", "32/32"), ());
            let material = &mut job.material.details;
            (material.index_thousandths, material.abbe_tenths, material.density_hundredths) = (index, abbe, density);
            assert_eq!(material_code(material), code, "{index}");
        }
    }

    #[test]
    fn bevels_in_codes() {
        assert_eq!(bevel_codes(Placement::Share(0.5)), (4, 50.0));
        assert_eq!(bevel_codes(Placement::Share(0.25)), (2, 25.0));
        assert_eq!(bevel_codes(Placement::FromFront(0.7)), (1, 0.7));
    }
}
