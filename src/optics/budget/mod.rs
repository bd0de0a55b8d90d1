//! The error budget: before a pair is cut, the chance that it passes each row of its tolerance table, and which error
//! matters most.
//!
//! Every row is linear in its errors, so its chance has a closed form ([`normal`]). A handling error is normal and
//! given by its standard deviation (two of three errors stay within it). A reading or setting in steps has a uniform
//! error of up to half a step. All errors are independent. The defaults are estimates for a careful small lab (common
//! practice, from memory); the lab's own remakes are a better source.

pub mod normal;
mod spreads;

pub use spreads::{ErrorSource, Spreads};

use super::notation;
use super::power::SphereCylinder;
use super::prism::{InUp, prism_from_error};
use super::tolerance::{Limit, Profile, Quantity, READING_ALLOWANCE, RowUnit};
use super::{Eye, Pair};
use normal::chance_within;

/// The risk of failing one row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowRisk {
    /// The row.
    pub row: Quantity,
    /// The eye it is about; `None` for the pair.
    pub eye: Option<Eye>,
    /// The limit of the row.
    pub limit: Limit,
    /// The chance to pass, 0 to 1.
    pub chance: f64,
    /// The standard deviation of the whole error, in the limit's unit.
    pub spread: f64,
    /// The error that matters most.
    pub dominant: ErrorSource,
    /// Its share of the variance, 0 to 1.
    pub dominant_share: f64,
}

/// The pair to be made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BudgetOrder {
    /// The ordered powers.
    pub power: Pair<SphereCylinder>,
    /// The prescribed prisms.
    pub prism: Pair<InUp>,
    /// Whether a center thickness was specified.
    pub center_specified: Pair<bool>,
}

/// The chance of each row.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// The rows that apply, in the order of the verdict.
    pub rows: Vec<RowRisk>,
}

impl Budget {
    /// The row with the least chance.
    pub fn most_at_risk(&self) -> Option<&RowRisk> {
        self.rows.iter().min_by(|a, b| a.chance.total_cmp(&b.chance))
    }

    /// The chance that every row passes, as if rows were independent. Slightly too low, because rows share errors.
    pub fn all_pass(&self) -> f64 {
        self.rows.iter().map(|row| row.chance).product()
    }

    /// The advice, as in "Most at risk: axis, right eye (limit ±5°), about 97 in 100 pass. Mostly marking the axis.
    /// Re-read it."
    pub fn sentence(&self) -> String {
        let Some(risk) = self.most_at_risk() else { return String::new() };
        let whose = risk.eye.map_or_else(String::new, |eye| format!(", {} eye", eye.name()));
        let limit = format!("±{}", notation::size(risk.limit.size, risk.limit.unit));
        let passing = match risk.chance * 100.0 {
            percent if percent >= 99.5 => "over 99".to_owned(),
            percent => format!("about {percent:.0}"),
        };
        format!(
            "Most at risk: {}{whose} (limit {limit}), {passing} in 100 pass. Mostly {}. {}",
            risk.row.name().to_lowercase(),
            risk.dominant.name(),
            risk.dominant.remedy()
        )
    }
}

/// The linear sum of errors of one row.
#[derive(Default)]
struct ErrorSum {
    normal_variance: f64,
    half_widths: Vec<f64>,
    by_source: [f64; ErrorSource::COUNT],
    sources: Vec<ErrorSource>,
}

impl ErrorSum {
    fn add_source(&mut self, source: ErrorSource, variance: f64) {
        self.by_source[source as usize] += variance;
        if !self.sources.contains(&source) {
            self.sources.push(source);
        }
    }

    fn spread(mut self, source: ErrorSource, effect: f64, sd: f64) -> Self {
        let variance = (effect * sd).powi(2);
        self.normal_variance += variance;
        self.add_source(source, variance);
        self
    }

    fn step(mut self, source: ErrorSource, effect: f64, step: f64) -> Self {
        let half = (effect * step / 2.0).abs();
        self.half_widths.push(half);
        self.add_source(source, half * half / 3.0);
        self
    }

    /// Adds the placement errors of one lens. The effects are those of 1 mm too far in and 1 mm too high.
    fn placement(self, spreads: &Spreads, in_effect: f64, up_effect: f64) -> Self {
        [in_effect, up_effect].into_iter().filter(|&effect| effect != 0.0).fold(self, |sum, effect| {
            sum.spread(ErrorSource::CenterMarking, effect, spreads.center_marking_mm)
                .spread(ErrorSource::Blocking, effect, spreads.blocking_mm)
                .step(ErrorSource::BlockerStep, effect, spreads.blocker_step_mm)
                .step(ErrorSource::StickReading, effect, spreads.stick_step_mm)
        })
    }

    fn risk(self, row: Quantity, eye: Option<Eye>, limit: Limit) -> RowRisk {
        let total: f64 = self.by_source.iter().sum();
        let share = |source: &ErrorSource| self.by_source[*source as usize];
        let dominant = self
            .sources
            .iter()
            .copied()
            .max_by(|a, b| share(a).total_cmp(&share(b)))
            .unwrap_or(ErrorSource::PowerReading);
        let allowance = if limit.unit == RowUnit::Degree { 0.0 } else { READING_ALLOWANCE };
        RowRisk {
            row,
            eye,
            limit,
            chance: chance_within(limit.size + allowance, self.normal_variance, &self.half_widths),
            spread: total.sqrt(),
            dominant,
            dominant_share: if total > 0.0 { share(&dominant) / total } else { 0.0 },
        }
    }
}

/// The chance of every row that applies to a pair, from the lab's spreads.
pub fn budget(profile: Profile, order: &BudgetOrder, spreads: &Spreads) -> Budget {
    let mut rows = Vec::with_capacity(14);
    for eye in Eye::BOTH {
        push_power_rows(profile, eye, order.power.get(eye).to_minus(), spreads, &mut rows);
    }
    push_placement_rows(profile, order, spreads, &mut rows);
    for (eye, specified) in order.center_specified.iter() {
        if *specified {
            let sum = ErrorSum::default().spread(ErrorSource::BlankCenter, 1.0, spreads.blank_center_mm).step(
                ErrorSource::GaugeReading,
                1.0,
                spreads.gauge_step_mm,
            );
            rows.push(sum.risk(Quantity::CenterThickness, Some(eye), profile.center_thickness_limit()));
        }
    }
    Budget { rows }
}

fn push_power_rows(profile: Profile, eye: Eye, minus: SphereCylinder, spreads: &Spreads, rows: &mut Vec<RowRisk>) {
    let strongest_d = minus.strongest_meridian_d();
    // The blank's cylinder error affects the meridian across the axis. Each meridian is read separately.
    let along = || {
        ErrorSum::default().spread(ErrorSource::BlankPower, 1.0, spreads.blank_power_d).step(
            ErrorSource::PowerReading,
            1.0,
            spreads.lensmeter_step_d,
        )
    };
    let across = || along().spread(ErrorSource::BlankCylinder, 1.0, spreads.blank_cylinder_d);
    let limit = profile.power_limit(strongest_d);
    match profile {
        Profile::Z80_1 => {
            let sum = if strongest_d == minus.sphere_d { along() } else { across() };
            rows.push(sum.risk(Quantity::StrongestPower, Some(eye), limit));
        }
        Profile::Iso21987 => {
            rows.push(along().risk(Quantity::PowerAlong, Some(eye), limit));
            rows.push(across().risk(Quantity::PowerAcross, Some(eye), limit));
        }
    }
    let cylinder = ErrorSum::default()
        .spread(ErrorSource::BlankCylinder, 1.0, spreads.blank_cylinder_d)
        .step(ErrorSource::PowerReading, 1.0, spreads.lensmeter_step_d)
        .step(ErrorSource::PowerReading, 1.0, spreads.lensmeter_step_d);
    rows.push(cylinder.risk(Quantity::Cylinder, Some(eye), profile.cylinder_limit(strongest_d, minus.cylinder_d)));
    if let Some(limit) = profile.axis_limit(minus.cylinder_d) {
        let worse = minus.cylinder_d.abs().min(1.0).recip();
        let axis = ErrorSum::default()
            .spread(ErrorSource::AxisMarking, worse, spreads.axis_marking_deg)
            .spread(ErrorSource::AxisBlocking, 1.0, spreads.axis_blocking_deg)
            .spread(ErrorSource::EdgerTurn, 1.0, spreads.edging_turn_deg)
            .step(ErrorSource::AxisReading, 1.0, spreads.axis_step_deg);
        rows.push(axis.risk(Quantity::Axis, Some(eye), limit));
    }
}

fn push_placement_rows(profile: Profile, order: &BudgetOrder, spreads: &Spreads, rows: &mut Vec<RowRisk>) {
    let stronger = |meridian_deg: f64| {
        let power = order.power;
        power.right.power_at_deg(meridian_deg).abs().max(power.left.power_at_deg(meridian_deg).abs())
    };
    let prescribed = |part: fn(&InUp) -> f64| part(&order.prism.right).abs().max(part(&order.prism.left).abs());
    let (in_pd, up_pd) = (prescribed(|p| p.in_pd), prescribed(|p| p.up_pd));
    // The prism from 1 mm in and from 1 mm up.
    let effect = |eye: Eye, part: fn(InUp) -> f64| {
        let power = *order.power.get(eye);
        (part(prism_from_error(eye, power, 1.0, 0.0)), part(prism_from_error(eye, power, 0.0, 1.0)))
    };
    let in_prism = |part: fn(InUp) -> f64| {
        Eye::BOTH.into_iter().fold(ErrorSum::default(), |sum, eye| {
            let (a, b) = effect(eye, part);
            sum.placement(spreads, a, b)
        })
    };
    let vertical = profile.vertical_limit(stronger(90.0), up_pd);
    let sum = match vertical.unit {
        RowUnit::Millimeter => ErrorSum::default().placement(spreads, 0.0, 1.0).placement(spreads, 0.0, 1.0),
        _ => in_prism(|p| p.up_pd),
    };
    rows.push(sum.risk(Quantity::VerticalImbalance, None, vertical));
    let horizontal = profile.horizontal_limit(stronger(180.0), in_pd);
    let sum = match horizontal.unit {
        RowUnit::Millimeter => ErrorSum::default().placement(spreads, 1.0, 0.0).placement(spreads, 1.0, 0.0),
        _ => in_prism(|p| p.in_pd),
    };
    rows.push(sum.risk(Quantity::HorizontalImbalance, None, horizontal));
    if in_pd > 0.0 || up_pd > 0.0 {
        // The prism is read at the ordered place. Errors of each eye: placement, blank and reading.
        let whole =
            |part: fn(InUp) -> f64| {
                let without_stick = Spreads { stick_step_mm: 0.0, ..*spreads };
                Eye::BOTH.into_iter().fold(ErrorSum::default(), |sum, eye| {
                    let (a, b) = effect(eye, part);
                    sum.placement(&without_stick, a, b)
                        .spread(ErrorSource::BlankPrism, 1.0, spreads.blank_prism_pd)
                        .step(ErrorSource::PrismReading, 1.0, spreads.prism_step_pd)
                })
            };
        let (across, up) = profile.prism_limits(stronger(180.0), stronger(90.0), in_pd, up_pd);
        rows.push(whole(|p| p.in_pd).risk(Quantity::PrismHorizontal, None, across));
        rows.push(whole(|p| p.up_pd).risk(Quantity::PrismVertical, None, up));
    }
}

#[cfg(test)]
mod tests;
