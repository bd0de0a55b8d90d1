//! Each mistake of a power the other way round. `None` where it changes nothing or makes no power.

use crate::optics::prescription::LensPower;
use crate::optics::unit::{Axis, Diopter};

fn negative(power: Diopter) -> Option<Diopter> {
    Diopter::from_hundredths(-power.hundredths()).ok()
}

fn with_axis(power: LensPower, axis_deg: i32) -> Option<LensPower> {
    power.axis()?;
    let axis = Axis::new(axis_deg.rem_euclid(180)).ok()?;
    LensPower::new(power.sphere(), power.cylinder(), Some(axis)).ok()
}

/// Sphere and cylinder of the other sign, the axis as it was.
pub(super) fn other_sign(power: LensPower) -> Option<LensPower> {
    LensPower::new(negative(power.sphere())?, negative(power.cylinder())?, power.axis()).ok()
}

/// Only the cylinder of the other sign.
pub(super) fn other_cylinder_sign(power: LensPower) -> Option<LensPower> {
    power.axis()?;
    LensPower::new(power.sphere(), negative(power.cylinder())?, power.axis()).ok()
}

/// The axis as seen from the other side: 180 less it.
pub(super) fn mirrored(power: LensPower) -> Option<LensPower> {
    with_axis(power, 180 - power.axis()?.degrees())
}

/// The axis 90 degrees away.
pub(super) fn across(power: LensPower) -> Option<LensPower> {
    turned(power, 90)
}

/// The axis turned, counter-clockwise in the front view.
pub(super) fn turned(power: LensPower, turn_deg: i32) -> Option<LensPower> {
    with_axis(power, power.axis()?.degrees() + turn_deg)
}
