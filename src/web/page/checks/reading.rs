//! Reads the form of a check: every fault beside its field.

use crate::bench::verification::{Measurement, Notation, PairReading};
use crate::desk::job::Job;
use crate::desk::limit::PowerLimit;
use crate::desk::order::HEIGHT;
use crate::desk::stock::CENTER;
use crate::optics::prescription::{LensPower, PowerError, read_measured, read_pupil_distance_for};
use crate::optics::unit::{Axis, Diopter};
use crate::optics::{Eye, Pair};
use crate::web::form::Form;
use crate::web::measure;

/// The fields of a check's form.
pub(super) struct CheckForm;

/// The names of one eye's fields.
pub(super) struct EyeReadingNames {
    pub(super) read: String,
    pub(super) first: String,
    pub(super) second: String,
    pub(super) axis: String,
    pub(super) height: String,
    pub(super) prism: String,
    pub(super) center: String,
}

impl EyeReadingNames {
    pub(super) fn of(eye: Eye) -> Self {
        let name = |field: &str| format!("{field}_{}", eye.name());
        Self {
            read: name("read"),
            first: name("first"),
            second: name("second"),
            axis: name("axis"),
            height: name("height"),
            prism: name("prism"),
            center: name("center"),
        }
    }
}

impl EyeReadingNames {
    /// Whether a power was typed, in either way.
    fn is_typed(&self, form: &Form) -> bool {
        [&self.read, &self.first, &self.second].iter().any(|name| !form.value(name).trim().is_empty())
    }
}

impl CheckForm {
    pub(super) const HOW: &str = "how";
    pub(super) const PD: &str = "pd";

    /// Prism is asked for only where it is prescribed.
    pub(super) fn asks_prism(job: &Job) -> bool {
        job.prescription.eyes.iter().any(|(eye, rx)| job.holds_power(eye) && !rx.prism.is_none())
    }

    /// Fills in an earlier reading as it was typed.
    pub(super) fn fill(form: &mut Form, last: &PairReading) {
        form.set(Self::HOW, last.notation.key());
        form.set(Self::PD, &last.pupil_distance);
        for eye in Eye::BOTH {
            let (names, read) = (EyeReadingNames::of(eye), last.get(eye));
            match (last.notation, drums_of(&read.typed)) {
                (Notation::Drums, Some((first, second, axis))) => {
                    form.set(&names.first, first);
                    form.set(&names.second, second);
                    form.set(&names.axis, axis);
                }
                _ => form.set(&names.read, &read.typed),
            }
            form.set(&names.height, &read.height);
            form.set(&names.prism, &read.prism);
            form.set(&names.center, &read.center);
        }
    }

    /// What was measured, or `None` with a sentence beside each wrong field.
    pub(super) fn read(form: &mut Form, job: &Job) -> Option<Measurement> {
        let notation = form.read(Self::HOW, |key| Notation::from_key(key).ok_or("Choose how the powers were read"));
        let names = Eye::BOTH.map(EyeReadingNames::of);
        let [right, left] = Eye::BOTH.map(|eye| {
            let names = EyeReadingNames::of(eye);
            match job.holds_power(eye) || names.is_typed(form) {
                true => read_power(form, &names, notation).map(|(power, typed)| (Some(power), typed)),
                false => Some((None, String::new())),
            }
        });
        let only = job.single_eye();
        let pupil_distance = form.read_optional(Self::PD, |t| read_pupil_distance_for(t, only));
        let [height_right, height_left] =
            names.each_ref().map(|names| form.read_optional(&names.height, |t| HEIGHT.read(t)));
        let asks_prism = Self::asks_prism(job);
        let [prism_right, prism_left] = names.each_ref().map(|names| match asks_prism {
            true => form.read_optional(&names.prism, measure::prism),
            false => Some(None),
        });
        let [center_right, center_left] = Eye::BOTH.map(|eye| match job.makes(eye) {
            true => form.read_optional(&EyeReadingNames::of(eye).center, |t| CENTER.read(t)),
            false => Some(None),
        });
        let ((right, typed_right), (left, typed_left)) = (right?, left?);
        Some(Measurement {
            notation: notation?,
            power: Pair::new(right, left),
            typed: Pair::new(typed_right, typed_left),
            pupil_distance: pupil_distance?,
            height: Pair::new(height_right?, height_left?),
            prism: Pair::new(prism_right?, prism_left?),
            center: Pair::new(center_right?, center_left?),
        })
    }
}

fn read_power(form: &mut Form, names: &EyeReadingNames, notation: Option<Notation>) -> Option<(LensPower, String)> {
    match notation {
        Some(Notation::Drums) => read_drums(form, names),
        _ => form.read(&names.read, read_written).map(|power| (power, form.value(&names.read).into())),
    }
}

fn read_written(text: &str) -> Result<LensPower, String> {
    if text.is_empty() {
        return Err("Write what the lensmeter reads, such as -2.25 -1.25 x 95".to_owned());
    }
    read_measured(text).map_err(sentences)
}

fn sentences<F: std::fmt::Display>(faults: Vec<F>) -> String {
    faults.iter().map(|f| f.to_string()).collect::<Vec<_>>().join(". ")
}

/// The two drum powers and the axis read with the second, and the same as it was typed.
fn read_drums(form: &mut Form, names: &EyeReadingNames) -> Option<(LensPower, String)> {
    let first = form.read(&names.first, read_drum);
    let second = form.read(&names.second, read_drum);
    let axis = form.read_optional(&names.axis, read_axis);
    let (first, second, axis) = (first?, second?, axis?);
    match LensPower::from_drums(first, second, axis) {
        Ok(power) => Some((power, drum_words(first, second, axis))),
        Err(why @ (PowerError::AxisMissing | PowerError::AxisWithoutCylinder(_))) => {
            form.fail(&names.axis, why);
            None
        }
        Err(why) => {
            form.fail(&names.second, why);
            None
        }
    }
}

fn drum_words(first: Diopter, second: Diopter, axis: Option<Axis>) -> String {
    let axis = axis.map(|axis| format!(" at axis {axis}")).unwrap_or_default();
    format!("drums {first} and {second}{axis}")
}

/// The fields that [`drum_words`] were made of.
fn drums_of(words: &str) -> Option<(&str, &str, &str)> {
    let (first, rest) = words.strip_prefix("drums ")?.split_once(" and ")?;
    let (second, axis) = rest.split_once(" at axis ").unwrap_or((rest, ""));
    Some((first, second, axis))
}

/// As far as the drum of a lensmeter goes.
const ON_THE_DRUM: PowerLimit = PowerLimit::new("A power", Diopter::MIN.hundredths(), Diopter::MAX.hundredths());

/// A missing sign is asked for, never guessed.
fn read_drum(text: &str) -> Result<Diopter, String> {
    if text.is_empty() {
        return Err("Write the power on the drum, such as -2.25".to_owned());
    }
    if matches!(text.to_ascii_lowercase().as_str(), "pl" | "plano") {
        return Ok(Diopter::ZERO);
    }
    let power = ON_THE_DRUM.read(text).map_err(|why| why.to_string())?;
    if power != Diopter::ZERO && !text.starts_with(['+', '-', '−', '–', '—']) {
        return Err(format!("Is it +{text} or -{text}? Write the sign"));
    }
    Ok(power)
}

fn read_axis(text: &str) -> Result<Axis, String> {
    let degrees: i32 = text.parse().map_err(|_| format!("“{text}” is not an axis: write whole degrees, 1 to 180"))?;
    Axis::new(degrees).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drum_needs_its_sign() {
        assert_eq!(read_drum("-2.25").map(|d| d.hundredths()), Ok(-225));
        assert_eq!(read_drum("pl"), Ok(Diopter::ZERO));
        assert_eq!(read_drum("0.00"), Ok(Diopter::ZERO));
        assert!(read_drum("2.25").is_err_and(|e| e.contains("Write the sign")));
        assert!(read_drum("-225").is_err() && read_drum("").is_err());
    }

    #[test]
    fn drums_are_filled_in_as_they_were_typed() {
        let axis = |degrees| Axis::new(degrees).ok();
        let words = drum_words("-2.25".parse().unwrap(), "-3.50".parse().unwrap(), axis(95));
        assert_eq!(drums_of(&words), Some(("-2.25", "-3.50", "095")));
        let words = drum_words("+1.00".parse().unwrap(), "+1.00".parse().unwrap(), None);
        assert_eq!(drums_of(&words), Some(("+1.00", "+1.00", "")));
        assert_eq!(drums_of("-2.25 -1.25 x 95"), None);
    }

    #[test]
    fn drums_give_the_power() {
        // Textbook: sphere -2.25, cylinder the second less the first.
        let mut form = Form::new(vec![
            ("first_left".into(), "-2.25".into()),
            ("second_left".into(), "-3.50".into()),
            ("axis_left".into(), "95".into()),
        ]);
        let (power, typed) = read_drums(&mut form, &EyeReadingNames::of(Eye::Left)).unwrap();
        assert_eq!(
            (power.to_string(), typed),
            ("-2.25 -1.25 x 095".into(), "drums -2.25 and -3.50 at axis 095".into())
        );
        form.set("axis_left", "");
        assert_eq!(read_drums(&mut form, &EyeReadingNames::of(Eye::Left)), None);
        assert!(form.error("axis_left").is_some());
    }
}
