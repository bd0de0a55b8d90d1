//! The lab's spreads and steps, and the error sources they describe.

/// The lab's own spreads (standard deviations) and instrument steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spreads {
    /// Spread of a blank's power.
    pub blank_power_d: f64,
    /// Spread of a blank's cylinder.
    pub blank_cylinder_d: f64,
    /// Spread of a surfaced prism.
    pub blank_prism_pd: f64,
    /// Spread of a blank's center thickness.
    pub blank_center_mm: f64,
    /// Step of the lensmeter's power drum.
    pub lensmeter_step_d: f64,
    /// Step of the lensmeter's prism reading.
    pub prism_step_pd: f64,
    /// Spread of marking the axis, for a cylinder of 1.00 D; weaker cylinders are read worse in proportion.
    pub axis_marking_deg: f64,
    /// Spread of the rotation of the lens on the blocker.
    pub axis_blocking_deg: f64,
    /// Spread of the rotation of the lens in the edger.
    pub edging_turn_deg: f64,
    /// Step of the axis scale.
    pub axis_step_deg: f64,
    /// Spread of the optical center's dot.
    pub center_marking_mm: f64,
    /// Step of the blocker; 0 when the lens is always nudged by the remainder.
    pub blocker_step_mm: f64,
    /// Spread of placing the lens on the blocker.
    pub blocking_mm: f64,
    /// Step of the PD stick, each eye's distance and height.
    pub stick_step_mm: f64,
    /// Step of the thickness gauge.
    pub gauge_step_mm: f64,
}

impl Default for Spreads {
    fn default() -> Self {
        Self {
            blank_power_d: 0.04,
            blank_cylinder_d: 0.03,
            blank_prism_pd: 0.08,
            blank_center_mm: 0.1,
            lensmeter_step_d: 0.06,
            prism_step_pd: 0.25,
            axis_marking_deg: 0.8,
            axis_blocking_deg: 0.7,
            edging_turn_deg: 0.3,
            axis_step_deg: 1.0,
            center_marking_mm: 0.25,
            blocker_step_mm: 0.5,
            blocking_mm: 0.2,
            stick_step_mm: 0.5,
            gauge_step_mm: 0.1,
        }
    }
}

/// Where an error comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ErrorSource {
    /// The blank's power.
    BlankPower,
    /// The blank's cylinder.
    BlankCylinder,
    /// The blank's surfaced prism.
    BlankPrism,
    /// The blank's center thickness.
    BlankCenter,
    /// The lensmeter's power drum.
    PowerReading,
    /// The lensmeter's prism reading.
    PrismReading,
    /// Marking the axis.
    AxisMarking,
    /// The rotation on the blocker.
    AxisBlocking,
    /// The rotation in the edger.
    EdgerTurn,
    /// The axis scale.
    AxisReading,
    /// Marking the optical center.
    CenterMarking,
    /// The blocker's step.
    BlockerStep,
    /// Placing the lens on the blocker.
    Blocking,
    /// The PD stick.
    StickReading,
    /// The thickness gauge.
    GaugeReading,
}

impl ErrorSource {
    pub(super) const COUNT: usize = 15;

    /// The name inside a sentence.
    pub fn name(self) -> &'static str {
        match self {
            ErrorSource::BlankPower => "the blank's power",
            ErrorSource::BlankCylinder => "the blank's cylinder",
            ErrorSource::BlankPrism => "the blank's prism",
            ErrorSource::BlankCenter => "the blank's thickness",
            ErrorSource::PowerReading => "reading the power",
            ErrorSource::PrismReading => "reading the prism",
            ErrorSource::AxisMarking => "marking the axis",
            ErrorSource::AxisBlocking => "rotation on the blocker",
            ErrorSource::EdgerTurn => "rotation in the edger",
            ErrorSource::AxisReading => "reading the axis",
            ErrorSource::CenterMarking => "marking the optical center",
            ErrorSource::BlockerStep => "the blocker's step",
            ErrorSource::Blocking => "placing the lens on the blocker",
            ErrorSource::StickReading => "reading the PD stick",
            ErrorSource::GaugeReading => "reading the thickness gauge",
        }
    }

    /// What the owner can do about it, as a sentence.
    pub fn remedy(self) -> &'static str {
        match self {
            ErrorSource::BlankPower | ErrorSource::BlankCylinder | ErrorSource::BlankPrism => {
                "Read the blank before it is marked."
            }
            ErrorSource::BlankCenter => "Measure the blank before it is cut.",
            ErrorSource::PowerReading | ErrorSource::PrismReading => "Read it twice, from both sides.",
            ErrorSource::AxisMarking | ErrorSource::AxisReading => "Re-read it.",
            ErrorSource::AxisBlocking => "Re-read the axis after blocking.",
            ErrorSource::EdgerTurn => "Use a fresh pad and lower the pressure.",
            ErrorSource::CenterMarking => "Mark the center again.",
            ErrorSource::BlockerStep => "Nudge the lens by what the step leaves.",
            ErrorSource::Blocking => "Check the dots after blocking.",
            ErrorSource::StickReading => "Read distances and heights twice.",
            ErrorSource::GaugeReading => "Use a finer gauge.",
        }
    }
}
