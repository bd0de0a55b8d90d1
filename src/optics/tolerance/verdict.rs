//! Compares a finished pair with its order, row by row of a profile.

use super::center::centers;
use super::{AT_LIMIT_SHARE, CenterLimits, Limit, Profile, Quantity, READING_ALLOWANCE, RowUnit};
use crate::optics::notation;
use crate::optics::power::SphereCylinder;
use crate::optics::prescription::{LensPower, Prism};
use crate::optics::prism::{InUp, imbalance, prism_from_error};
use crate::optics::unit::Axis;
use crate::optics::{Eye, Pair};

/// What the pair was to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderedPair {
    /// The powers, in any form.
    pub power: Pair<LensPower>,
    /// The prescribed prisms.
    pub prism: Pair<Prism>,
    /// Each optical center's distance from the middle of the nose.
    pub pupil_distance_mm: Pair<f64>,
    /// Each optical center's height above the lowest point of the box.
    pub height_mm: Pair<f64>,
    /// The center thickness, where one was specified.
    pub center_thickness_mm: Pair<Option<f64>>,
}

/// What was measured on the finished pair; `None` where nothing was.
///
/// The place of a lens is where the lensmeter reads the prescribed prism, which without prism is the optical center.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Measured {
    /// The powers as read, in any form.
    pub power: Pair<Option<LensPower>>,
    /// The prism at the ordered place; needed only where prism is prescribed.
    pub prism: Pair<Option<InUp>>,
    /// Each place's distance from the middle of the nose.
    pub pupil_distance_mm: Pair<Option<f64>>,
    /// Whether one distance was read for both eyes together. Half its error is then in each `pupil_distance_mm`.
    pub is_width_only: bool,
    /// Each place's height above the lowest point of the box.
    pub height_mm: Pair<Option<f64>>,
    /// The center thickness.
    pub center_thickness_mm: Pair<Option<f64>>,
}

/// How a row came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Status {
    /// Within four fifths of the limit.
    Pass,
    /// Within the limit, beyond four fifths of it.
    AtLimit,
    /// Beyond the limit.
    Fail,
    /// A reading is missing.
    NotChecked,
}

/// One row of the verdict. Every row of the standard that is given is required.
#[derive(Debug, Clone, PartialEq)]
pub struct ToleranceLine {
    /// What was compared.
    pub quantity: Quantity,
    /// The eye it is about; `None` for the pair.
    pub eye: Option<Eye>,
    /// What was ordered, as written.
    pub ordered: String,
    /// What was measured, as written.
    pub measured: Option<String>,
    /// What was ordered, in `unit`. An imbalance is wanted to be 0; of a prescribed prism it is the net of both eyes.
    pub wanted: f64,
    /// What was measured, in `unit` and counted as `wanted` is. Signed: a net prism is positive for base in and for
    /// base up right, a length for centers too far apart and for a right center too high.
    pub reading: Option<f64>,
    /// The size of the difference, in `unit`, never negative.
    pub off_by: Option<f64>,
    /// The largest allowed difference, in `unit`.
    pub limit: f64,
    /// The unit of the difference and the limit.
    pub unit: RowUnit,
    /// How far inside the limit; negative beyond it, by up to the reading allowance also on a pass.
    pub inside: Option<f64>,
    /// The verdict.
    pub status: Status,
    /// Where the limit comes from.
    pub source: &'static str,
    /// The rule and the result in words.
    pub explain: String,
}

/// Whether a pair may be called verified: there are rows, and every one is a pass. A house limit whose place was not
/// read does not stop a pass; the standard's own row of the same reading does.
pub fn is_verified(lines: &[ToleranceLine]) -> bool {
    let is_good = |line: &ToleranceLine| match line.status {
        Status::Pass | Status::AtLimit => true,
        Status::NotChecked => line.quantity.is_house_limit(),
        Status::Fail => false,
    };
    lines.iter().any(|line| line.status != Status::NotChecked) && lines.iter().all(is_good)
}

/// Judges a finished pair by a profile, one line for each row that applies.
///
/// * *Power.* American: the strongest principal meridian. International: both principal meridians. A principal
///   power is compared with the one in the same place of the minus-cylinder form; of a lens ordered without
///   cylinder, the strongest meridian measured counts.
/// * *Cylinder*, also where none was ordered. *Axis*, where the ordered cylinder is an eighth or more.
/// * *Imbalance*: what the measured place, less the ordered, makes of the ordered power by Prentice's rule. The
///   stronger |F(90)| of the two eyes picks the vertical row, the stronger |F(180)| the horizontal one. An oblique
///   cylinder turns part of an error aside, and that part counts too; a distance not measured counts as right there.
/// * *Prism*, where it was prescribed or measured: the difference between the eyes from what was prescribed.
/// * *Center thickness*, where it was specified.
/// * *Centers*: each optical center against its ordered place, where the house has a limit.
pub fn verify(
    profile: Profile,
    center_limits: &CenterLimits,
    ordered: &OrderedPair,
    measured: &Measured,
) -> Vec<ToleranceLine> {
    let mut lines = Vec::new();
    for eye in Eye::BOTH {
        lines.extend(power_lines(profile, eye, *ordered.power.get(eye), *measured.power.get(eye)));
    }
    placement(profile, ordered, measured, &mut lines);
    prisms(profile, ordered, measured, &mut lines);
    for (eye, specified) in ordered.center_thickness_mm.iter() {
        if let Some(specified) = *specified {
            let reading = *measured.center_thickness_mm.get(eye);
            lines.push(line(
                Quantity::CenterThickness,
                Some(eye),
                profile.center_thickness_limit(),
                (format!("{specified:.2} mm"), specified),
                reading.map(|reading| (format!("{reading:.2} mm"), reading)),
            ));
        }
    }
    centers(center_limits, ordered, measured, &mut lines);
    lines
}

/// Builds a line and its verdict from the limit and both values, each as written and in the limit's unit.
pub(super) fn line(
    quantity: Quantity,
    eye: Option<Eye>,
    limit: Limit,
    (ordered, wanted): (String, f64),
    reading: Option<(String, f64)>,
) -> ToleranceLine {
    let (measured, reading) = reading.unzip();
    let off_by = reading.map(|reading| match quantity {
        Quantity::Axis => turn_deg(reading, wanted),
        _ => (reading - wanted).abs(),
    });
    let status = off_by.map_or(Status::NotChecked, |off_by| status(off_by, limit));
    let explain = match (&measured, off_by) {
        (Some(measured), Some(off_by)) => format!(
            "{}. Ordered {ordered}, measured {measured}: {} off, the limit is {}.",
            limit.rule,
            notation::size(off_by, limit.unit),
            notation::size(limit.size, limit.unit)
        ),
        _ => format!("{}. Ordered {ordered}, not measured.", limit.rule),
    };
    ToleranceLine {
        quantity,
        eye,
        ordered,
        measured,
        wanted,
        reading,
        off_by,
        limit: limit.size,
        unit: limit.unit,
        inside: off_by.map(|off_by| limit.size - off_by),
        status,
        source: limit.source,
        explain,
    }
}

/// The smallest turn between two axes, 0 to 90 degrees.
fn turn_deg(one_deg: f64, other_deg: f64) -> f64 {
    let turn = (one_deg - other_deg).rem_euclid(180.0);
    turn.min(180.0 - turn)
}

fn status(off_by: f64, limit: Limit) -> Status {
    // Differences of decimal readings carry rounding of their own.
    let rounding = 1e-9;
    let allowance = if limit.unit == RowUnit::Degree { 0.0 } else { READING_ALLOWANCE };
    if off_by.is_nan() || off_by > limit.size + allowance + rounding {
        Status::Fail
    } else if off_by > AT_LIMIT_SHARE * limit.size + rounding {
        Status::AtLimit
    } else {
        Status::Pass
    }
}

/// The rows of one lens's power: power, cylinder and axis.
pub(in crate::optics) fn power_lines(
    profile: Profile,
    eye: Eye,
    ordered: LensPower,
    reading: Option<LensPower>,
) -> Vec<ToleranceLine> {
    let mut lines = Vec::new();
    let minus = ordered.to_minus();
    let wanted = minus.numbers();
    // Transposed as numbers: a reading's hundredths are not eighths.
    let read = reading.map(|reading| reading.measured_numbers().to_minus());
    let strongest_d = wanted.strongest_meridian_d();
    let cross_d = |power: SphereCylinder| power.sphere_d + power.cylinder_d;
    let valued = |power_d: f64| (notation::power(power_d), power_d);
    let mut meridian = |quantity, wanted_d: f64, pick: &dyn Fn(SphereCylinder) -> f64| {
        let reading = read.map(pick).map(valued);
        lines.push(line(quantity, Some(eye), profile.power_limit(strongest_d), valued(wanted_d), reading));
    };
    match profile {
        Profile::Z80_1 => {
            let is_sphere = wanted.cylinder_d == 0.0;
            let is_along_axis = strongest_d == wanted.sphere_d;
            meridian(Quantity::StrongestPower, strongest_d, &|read| match (is_sphere, is_along_axis) {
                (true, _) => read.strongest_meridian_d(),
                (false, true) => read.sphere_d,
                (false, false) => cross_d(read),
            });
        }
        Profile::Iso21987 => {
            meridian(Quantity::PowerAlong, wanted.sphere_d, &|read| read.sphere_d);
            meridian(Quantity::PowerAcross, cross_d(wanted), &cross_d);
        }
    }
    lines.push(line(
        Quantity::Cylinder,
        Some(eye),
        profile.cylinder_limit(strongest_d, wanted.cylinder_d),
        valued(wanted.cylinder_d),
        read.map(|read| valued(read.cylinder_d)),
    ));
    if let (Some(limit), Some(axis)) = (profile.axis_limit(wanted.cylinder_d), minus.axis()) {
        let reading = reading.and_then(|reading| reading.to_minus().axis());
        let valued = |axis: Axis| (axis.to_string(), f64::from(axis.degrees()));
        lines.push(line(Quantity::Axis, Some(eye), limit, valued(axis), reading.map(valued)));
    }
    lines
}

/// Both values of a pair, when both are there.
fn both(pair: Pair<Option<f64>>) -> Option<Pair<f64>> {
    Some(Pair::new(pair.right?, pair.left?))
}

/// The ordered powers and the stronger |F(180)| and |F(90)| of the two.
fn strengths(ordered: &OrderedPair) -> (Pair<SphereCylinder>, f64, f64) {
    let powers = ordered.power.map(|power| power.numbers());
    let stronger = |meridian_deg: f64| {
        powers.right.power_at_deg(meridian_deg).abs().max(powers.left.power_at_deg(meridian_deg).abs())
    };
    (powers, stronger(180.0), stronger(90.0))
}

/// The strongest prism prescribed before either eye, horizontal and vertical.
fn prescribed(ordered: &OrderedPair) -> (f64, f64) {
    let prism = ordered.prism.map(|prism| prism.numbers());
    (prism.right.in_pd.abs().max(prism.left.in_pd.abs()), prism.right.up_pd.abs().max(prism.left.up_pd.abs()))
}

/// The limits on the difference from the prescribed prism, horizontal and vertical.
pub(in crate::optics) fn prism_limits(profile: Profile, ordered: &OrderedPair) -> (Limit, Limit) {
    let (_, horizontal_d, vertical_d) = strengths(ordered);
    let (in_pd, up_pd) = prescribed(ordered);
    profile.prism_limits(horizontal_d, vertical_d, in_pd, up_pd)
}

fn placement(profile: Profile, ordered: &OrderedPair, measured: &Measured, lines: &mut Vec<ToleranceLine>) {
    let (powers, horizontal_d, vertical_d) = strengths(ordered);
    let (in_pd, up_pd) = prescribed(ordered);
    let error =
        |eye: Eye, wanted: Pair<f64>, read: Pair<Option<f64>>| read.get(eye).map_or(0.0, |read| read - wanted.get(eye));
    let prism_of = |eye: Eye| {
        // A wider pupil distance has the center too far out.
        let in_mm = -error(eye, ordered.pupil_distance_mm, measured.pupil_distance_mm);
        let up_mm = error(eye, ordered.height_mm, measured.height_mm);
        prism_from_error(eye, *powers.get(eye), in_mm, up_mm)
    };
    let unwanted = imbalance(Pair::new(prism_of(Eye::Right), prism_of(Eye::Left)));
    let pair_text = |pair: Pair<f64>| format!("{:.2} / {:.2} mm", pair.right, pair.left);

    let limit = profile.vertical_limit(vertical_d, up_pd);
    let heights = both(measured.height_mm).map(|read| {
        let apart_mm = (read.right - ordered.height_mm.right) - (read.left - ordered.height_mm.left);
        (pair_text(read), if limit.unit == RowUnit::Millimeter { apart_mm } else { unwanted.vertical_pd })
    });
    lines.push(line(Quantity::VerticalImbalance, None, limit, (pair_text(ordered.height_mm), 0.0), heights));

    let limit = profile.horizontal_limit(horizontal_d, in_pd);
    let distances = both(measured.pupil_distance_mm).map(|read| {
        let wanted = ordered.pupil_distance_mm;
        let total_mm = (read.right + read.left) - (wanted.right + wanted.left);
        (pair_text(read), if limit.unit == RowUnit::Millimeter { total_mm } else { unwanted.horizontal_pd })
    });
    let wanted = (pair_text(ordered.pupil_distance_mm), 0.0);
    lines.push(line(Quantity::HorizontalImbalance, None, limit, wanted, distances));
}

fn prisms(profile: Profile, ordered: &OrderedPair, measured: &Measured, lines: &mut Vec<ToleranceLine>) {
    let is_prescribed = ordered.prism.iter().any(|(_, prism)| !prism.is_none());
    let is_measured = measured.prism.iter().any(|(_, prism)| prism.is_some());
    if !is_prescribed && !is_measured {
        return;
    }
    let wanted = ordered.prism.map(|prism| prism.numbers());
    // An eye without prescribed prism that was not measured counts as having none.
    let read = |eye: Eye| {
        let unprescribed = ordered.prism.get(eye).is_none().then_some(InUp::default());
        measured.prism.get(eye).or(unprescribed)
    };
    let read = read(Eye::Right).zip(read(Eye::Left)).map(|(right, left)| Pair::new(right, left));
    let (horizontal, vertical) = prism_limits(profile, ordered);
    let (wanted_net, read_net) = (imbalance(wanted), read.map(imbalance));

    let sides = |pair: Pair<InUp>| {
        format!("{} / {}", based(pair.right.in_pd, "in", "out"), based(pair.left.in_pd, "in", "out"))
    };
    let heights = |pair: Pair<InUp>| {
        format!("{} / {}", based(pair.right.up_pd, "up", "down"), based(pair.left.up_pd, "up", "down"))
    };
    let reading = read.map(sides).zip(read_net.map(|net| net.horizontal_pd));
    let ordered = (sides(wanted), wanted_net.horizontal_pd);
    lines.push(line(Quantity::PrismHorizontal, None, horizontal, ordered, reading));
    let reading = read.map(heights).zip(read_net.map(|net| net.vertical_pd));
    lines.push(line(Quantity::PrismVertical, None, vertical, (heights(wanted), wanted_net.vertical_pd), reading));
}

/// `1.50 in`, `1.50 out`, or `0.00`.
fn based(signed_pd: f64, plus: &str, minus: &str) -> String {
    match signed_pd {
        p if p > 0.0 => format!("{p:.2} {plus}"),
        p if p < 0.0 => format!("{:.2} {minus}", -p),
        _ => "0.00".to_owned(),
    }
}
