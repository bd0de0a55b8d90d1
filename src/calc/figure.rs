//! Numbers and powers as written in the answer.

use serde::Serialize;

use crate::optics::power::SphereCylinder;

/// A power in one cylinder form. Without a cylinder there is no axis.
#[derive(Serialize)]
pub(super) struct PowerAnswer {
    sphere: f64,
    cylinder: f64,
    axis: Option<f64>,
}

impl PowerAnswer {
    pub(super) fn of(power: SphereCylinder) -> Self {
        let cylinder = clean(power.cylinder_d);
        Self { sphere: clean(power.sphere_d), cylinder, axis: (cylinder != 0.0).then(|| clean(power.axis_deg)) }
    }
}

/// Rounds to a millionth. Adding 0 turns -0 into 0.
pub(super) fn clean(value: f64) -> f64 {
    (value * 1e6).round() / 1e6 + 0.0
}
