//! The answer: the layout and the optics, rounded to a millionth so that no floating-point noise shows.

use serde::Serialize;

use super::CalcError;
use super::check::CheckAnswer;
use super::figure::{PowerAnswer, clean};
use super::lens::LensAnswer;
use super::photo::PhotoAnswer;
use super::request::Question;
use crate::optics::Eye;
use crate::optics::power::SphereCylinder;
use crate::shape::blank::USUAL_MARGIN_MM;
use crate::shape::layout::{EyeLayout, PairLayout};

#[derive(Serialize)]
pub(super) struct CalcAnswer {
    right: EyeAnswer,
    left: EyeAnswer,
    frame_pd_mm: f64,
    crossed: Option<BothForms>,
    /// Left out unless asked, so that an answer without it stays what it was.
    #[serde(skip_serializing_if = "Option::is_none")]
    check: Option<CheckAnswer>,
    #[serde(skip_serializing_if = "Option::is_none")]
    from_photo: Option<PhotoAnswer>,
}

#[derive(Serialize)]
struct BothForms {
    minus: PowerAnswer,
    plus: PowerAnswer,
}

#[derive(Serialize)]
struct EyeAnswer {
    a_mm: f64,
    b_mm: f64,
    ed_mm: f64,
    ed_axis_deg: f64,
    circumference_mm: f64,
    area_mm2: f64,
    decentration: DecentrationAnswer,
    blank: BlankAnswer,
    blocker: BlockerAnswer,
    rx: Option<RxAnswer>,
    #[serde(flatten)]
    lens: LensAnswer,
}

#[derive(Serialize)]
struct DecentrationAnswer {
    in_mm: f64,
    up_mm: f64,
}

#[derive(Serialize)]
struct BlankAnswer {
    exact_mm: f64,
    with_margin_mm: f64,
    rule_of_thumb_mm: f64,
    fits: Option<bool>,
}

#[derive(Serialize)]
struct BlockerAnswer {
    set_pd_mm: f64,
    set_height_mm: f64,
    nudge_in_mm: f64,
    nudge_up_mm: f64,
}

#[derive(Serialize)]
struct RxAnswer {
    minus: PowerAnswer,
    plus: PowerAnswer,
    equivalent_d: f64,
    m: f64,
    j0: f64,
    j45: f64,
}

impl CalcAnswer {
    pub(super) fn to(question: &Question) -> Result<Self, CalcError> {
        let layout = PairLayout::of(
            question.outlines.as_ref(),
            question.dbl_mm,
            question.wanted,
            question.step,
            USUAL_MARGIN_MM,
        );
        let eye = |eye: Eye| EyeAnswer::of(question, eye, layout.eyes.get(eye));
        let both = |power: SphereCylinder| BothForms {
            minus: PowerAnswer::of(power.to_minus()),
            plus: PowerAnswer::of(power.to_plus()),
        };
        Ok(CalcAnswer {
            right: eye(Eye::Right)?,
            left: eye(Eye::Left)?,
            frame_pd_mm: clean(layout.frame_pd_mm),
            crossed: question.crossed.map(|sum| both(sum.to_minus_cylinder())),
            check: question.check.as_ref().map(CheckAnswer::of),
            from_photo: question.from_photo.as_ref().map(PhotoAnswer::to).transpose()?,
        })
    }
}

impl EyeAnswer {
    fn of(question: &Question, eye: Eye, layout: &EyeLayout) -> Result<Self, CalcError> {
        let EyeLayout { boxing, decentration, blank, blocker, .. } = layout;
        Ok(Self {
            a_mm: clean(boxing.a_mm),
            b_mm: clean(boxing.b_mm),
            ed_mm: clean(boxing.ed_mm),
            // 360 is written as 0.
            ed_axis_deg: clean(boxing.ed_axis_deg) % 360.0,
            circumference_mm: clean(boxing.circumference_mm),
            area_mm2: clean(boxing.area_mm2),
            decentration: DecentrationAnswer { in_mm: clean(decentration.in_mm), up_mm: clean(decentration.up_mm) },
            blank: BlankAnswer {
                exact_mm: clean(blank.exact_mm),
                with_margin_mm: clean(blank.with_margin_mm),
                rule_of_thumb_mm: clean(blank.rule_of_thumb_mm),
                fits: question.lens.diameter_mm.map(|diameter_mm| blank.fits(diameter_mm)),
            },
            blocker: BlockerAnswer {
                set_pd_mm: clean(blocker.set_pd_mm),
                set_height_mm: clean(blocker.set_height_mm),
                nudge_in_mm: clean(blocker.nudge_in_mm),
                nudge_up_mm: clean(blocker.nudge_up_mm),
            },
            rx: question.powers.get(eye).map(RxAnswer::of),
            lens: LensAnswer::of(question, eye, decentration.point(eye))?,
        })
    }
}

impl RxAnswer {
    fn of(power: SphereCylinder) -> Self {
        let vector = power.vector();
        Self {
            minus: PowerAnswer::of(power.to_minus()),
            plus: PowerAnswer::of(power.to_plus()),
            equivalent_d: clean(power.spherical_equivalent_d()),
            m: clean(vector.m_d),
            j0: clean(vector.j0_d),
            j45: clean(vector.j45_d),
        }
    }
}
