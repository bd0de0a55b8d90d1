//! What the form of the edge page asks for.

use crate::bench::bevel_place::{FROM_FRONT, hold_of};
use crate::bench::lens::{LensOverrides, THINNEST_EDGE, TRIAL_FRONT};
use crate::desk::catalogue::{Material, MaterialDetails};
use crate::desk::job::Job;
use crate::desk::limit::{LengthLimit, LimitError};
use crate::desk::stock::{CENTER, DIAMETER};
use crate::optics::Pair;
use crate::optics::unit::{Diopter, Millimeter, UnitError, parse_hundredths};
use crate::shape::bevel::{Hold, Placement};
use crate::shape::thickness::Thickness;
use crate::web::form::Form;

pub(super) const MATERIAL: &str = "material";
const FRONT: &str = "front";
const THICK: &str = "thick";
const MM: &str = "mm";
const BLANK: &str = "diameter";
pub(super) const HOLD: &str = "hold";
const PLACE: &str = "place";
const AT: &str = "at";

/// Every field, in the order of the form.
pub(super) const FIELDS: [&str; 8] = [MATERIAL, FRONT, THICK, MM, BLANK, HOLD, PLACE, AT];

/// Where a line goes when only its rule is chosen: a third of the edge (common practice), or a millimeter.
const USUAL_SHARE: f64 = 1.0 / 3.0;
const USUAL_FROM_FRONT_MM: f64 = 1.0;

/// What is to be shown.
pub(super) struct EdgeChoice<'a> {
    pub(super) material: &'a MaterialDetails,
    pub(super) is_other_material: bool,
    pub(super) lens: LensOverrides<'a>,
    pub(super) hold: Hold,
    pub(super) placement: Option<Placement>,
}

/// Reads the form; a field that cannot be read keeps its sentence and counts as not asked.
pub(super) fn read_edge_choice<'a>(
    form: &mut Form,
    job: &'a Job,
    materials: &'a [Material],
    rim_curve_tool_d: &Pair<Option<f64>>,
) -> EdgeChoice<'a> {
    let ordered = job.material.id.to_string();
    let typed = form.value(MATERIAL).trim().to_owned();
    let other = materials.iter().find(|m| typed != ordered && m.id.to_string() == typed);
    if other.is_none() && !typed.is_empty() && typed != ordered {
        form.fail(MATERIAL, "This material is no longer offered: choose another");
    }
    let hold = read_hold(form, hold_of(job.frame.details.rim));
    EdgeChoice {
        material: other.map_or(&job.material.details, |m| &m.details),
        is_other_material: other.is_some(),
        lens: LensOverrides {
            material: other.map(|m| &m.details),
            power: None,
            hold: Some(hold),
            front_power_d: form.read_optional(FRONT, |t| TRIAL_FRONT.read(t)).flatten().map(Diopter::to_f64),
            thickness: read_thickness(form),
            diameter_mm: form.read_optional(BLANK, |t| length_mm(DIAMETER.named("A blank"), t)).flatten(),
        },
        hold,
        placement: read_placement(form, rim_curve_tool_d),
    }
}

fn read_thickness(form: &mut Form) -> Option<Thickness> {
    match form.value(THICK).trim() {
        "" => {
            if !form.value(MM).trim().is_empty() {
                form.fail(THICK, "Choose what this thickness is of: the center or the thinnest edge");
            }
            None
        }
        "center" | "edge" if form.value(MM).trim().is_empty() => {
            form.fail(MM, "Say how thick, in millimeters");
            None
        }
        "center" => form.read(MM, |t| length_mm(CENTER, t)).map(Thickness::Center),
        "edge" => form.read(MM, |t| length_mm(THINNEST_EDGE, t)).map(Thickness::ThinnestEdge),
        _ => {
            form.fail(THICK, "Choose the center or the thinnest edge");
            None
        }
    }
}

fn read_hold(form: &mut Form, of_rim: Hold) -> Hold {
    match form.value(HOLD).trim() {
        "" => of_rim,
        "bevel" => Hold::USUAL_BEVEL,
        "groove" => Hold::USUAL_GROOVE,
        "drilled" => Hold::Drilled,
        _ => {
            form.fail(HOLD, "Choose bevel, groove or drilled");
            of_rim
        }
    }
}

fn read_placement(form: &mut Form, rim_curve_tool_d: &Pair<Option<f64>>) -> Option<Placement> {
    let place = form.value(PLACE).trim().to_owned();
    if place == "from_front" {
        let mm = form.read_optional(AT, |t| length_mm(FROM_FRONT, t))?;
        return Some(Placement::FromFront(mm.unwrap_or(USUAL_FROM_FRONT_MM)));
    }
    let share = |form: &mut Form| Some(form.read_optional(AT, share)?.unwrap_or(USUAL_SHARE));
    match place.as_str() {
        "" => None,
        "share" => share(form).map(Placement::Share),
        "front_curve" => share(form).map(Placement::FrontCurve),
        "rim" => {
            // The eye without a curve of its own takes the other's.
            let Some(tool_d) = rim_curve_tool_d.right.or(rim_curve_tool_d.left) else {
                form.fail(PLACE, "The trace does not say how the rim is curved: choose another rule");
                return None;
            };
            share(form).map(|share| Placement::Curve { tool_d, share })
        }
        _ => {
            form.fail(PLACE, "Choose where the bevel or groove goes");
            None
        }
    }
}

fn length_mm(limit: LengthLimit, text: &str) -> Result<f64, LimitError> {
    limit.read(text).map(Millimeter::to_f64)
}

/// A share of the edge in percent.
fn share(text: &str) -> Result<f64, String> {
    match parse_hundredths(text.trim().trim_end_matches('%')) {
        Ok(percent) if (0..=10_000).contains(&percent) => Ok(f64::from(percent) / 10_000.0),
        Ok(_) | Err(UnitError::TooLarge(_)) => {
            Err(format!("“{text}” percent of the edge is not possible: between 0 and 100 was expected"))
        }
        Err(why) => Err(format!("{why}: between 0 and 100 percent was expected")),
    }
}
