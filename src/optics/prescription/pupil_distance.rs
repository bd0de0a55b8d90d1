//! The pupil distance: one number for both eyes, or one for each eye from the middle of the nose.

use std::fmt;

use thiserror::Error;

use crate::optics::notation::short;
use crate::optics::unit::{Millimeter, UnitError};
use crate::optics::{Eye, Pair};

/// The distance between the pupils, in hundredths of a millimeter (common practice).
const BINOCULAR: std::ops::RangeInclusive<i32> = 4000..=8000;
/// The distance of one pupil from the middle, in hundredths of a millimeter (common practice).
const MONOCULAR: std::ops::RangeInclusive<i32> = 2000..=4000;

/// How a pupil distance was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Given {
    /// One number for both eyes, halved.
    Both,
    /// One number for each eye.
    Each,
    /// The number of this eye alone, where no lens is made for the other.
    One(Eye),
}

/// A pupil distance, 40 to 80 mm in all and 20 to 40 mm for each eye.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct PupilDistance {
    right: Millimeter,
    left: Millimeter,
    given: Given,
}

impl PupilDistance {
    /// One number for both eyes. It is split to the hundredth so that the halves add up to it; an odd hundredth goes
    /// to the right eye.
    ///
    /// # Errors
    ///
    /// [`PupilDistanceFault::BinocularOutOfRange`] outside 40 to 80 mm.
    pub fn both(binocular: Millimeter) -> Result<Self, PupilDistanceFault> {
        let whole = binocular.hundredths();
        let out_of_range = PupilDistanceFault::BinocularOutOfRange(binocular);
        if !BINOCULAR.contains(&whole) {
            return Err(out_of_range);
        }
        let left = whole / 2;
        match (Millimeter::from_hundredths(whole - left), Millimeter::from_hundredths(left)) {
            (Ok(right), Ok(left)) => Ok(Self { right, left, given: Given::Both }),
            _ => Err(out_of_range),
        }
    }

    /// One number for each eye.
    ///
    /// # Errors
    ///
    /// [`PupilDistanceFault::MonocularOutOfRange`] outside 20 to 40 mm; the right eye is checked first.
    pub fn each(eyes: Pair<Millimeter>) -> Result<Self, PupilDistanceFault> {
        for (eye, &value) in eyes.iter() {
            if !MONOCULAR.contains(&value.hundredths()) {
                return Err(PupilDistanceFault::MonocularOutOfRange { eye, value });
            }
        }
        Ok(Self { right: eyes.right, left: eyes.left, given: Given::Each })
    }

    /// One eye's number alone. The other eye's is taken to be the same.
    ///
    /// # Errors
    ///
    /// [`PupilDistanceFault::MonocularOutOfRange`] outside 20 to 40 mm.
    pub fn one(eye: Eye, value: Millimeter) -> Result<Self, PupilDistanceFault> {
        if !MONOCULAR.contains(&value.hundredths()) {
            return Err(PupilDistanceFault::MonocularOutOfRange { eye, value });
        }
        Ok(Self { right: value, left: value, given: Given::One(eye) })
    }

    /// How it was given.
    pub fn given(self) -> Given {
        self.given
    }

    /// The distance of one pupil from the middle of the nose.
    pub fn mono(self, eye: Eye) -> Millimeter {
        match eye {
            Eye::Right => self.right,
            Eye::Left => self.left,
        }
    }

    /// The distance between the pupils: the sum of the two eyes.
    pub fn binocular(self) -> Millimeter {
        // Two distances of at most 40 mm are far inside the range of a length.
        Millimeter::from_hundredths(self.right.hundredths() + self.left.hundredths()).unwrap_or(Millimeter::MAX)
    }
}

impl PupilDistance {
    /// The distance and what it is: `63.00 mm for both eyes, halved`, or `31.50/32.00 mm`.
    pub fn words(&self) -> String {
        match self.given {
            Given::Both => format!("{self} mm for both eyes, halved"),
            Given::Each => format!("{self} mm"),
            Given::One(eye) => format!("{} mm, {} eye alone", self.mono(eye), eye.name()),
        }
    }

    /// [`words`](Self::words) with the sum of both eyes: `31.50/32.00 mm, total 63.50 mm`.
    pub fn words_with_total(&self) -> String {
        match self.given {
            Given::Each => format!("{}, total {} mm", self.words(), self.binocular()),
            Given::Both | Given::One(_) => self.words(),
        }
    }

    /// As one types it, without zeros at the end: `63`, `31.5/32`, `R31.5`.
    pub fn typed(self) -> String {
        let of = |length: Millimeter| short(length.to_f64());
        match self.given {
            Given::Both => of(self.binocular()),
            Given::Each => format!("{}/{}", of(self.right), of(self.left)),
            Given::One(eye) => format!("{}{}", eye.letter(), of(self.mono(eye))),
        }
    }

    /// What stands beside one eye's distance: `halved` where one number was given for both.
    pub fn mark(&self) -> &'static str {
        match self.given {
            Given::Both => "halved",
            Given::Each | Given::One(_) => "",
        }
    }
}

impl fmt::Display for PupilDistance {
    /// `63.00` as given for both, `31.50/32.00` as given for each, `R31.50` as given for one eye.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.given {
            Given::Both => write!(f, "{}", self.binocular()),
            Given::Each => write!(f, "{}/{}", self.right, self.left),
            Given::One(eye) => write!(f, "{}{}", eye.letter(), self.mono(eye)),
        }
    }
}

/// Why a pupil distance was not read.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum PupilDistanceFault {
    /// Nothing was written.
    #[error("Write the pupil distance: one number such as 63, or one for each eye such as 31.5/32")]
    Empty,
    /// A word or sign was not understood.
    #[error("“{0}” was not understood: write one number such as 63, or one for each eye such as 31.5/32")]
    Unreadable(String),
    /// A number is not a length.
    #[error(transparent)]
    Length(#[from] UnitError),
    /// A number too large for a length.
    #[error("“{0}” mm is too long for a pupil distance: write 40 to 80 mm")]
    TooLong(String),
    /// More numbers than eyes.
    #[error("There are more than two numbers: write one such as 63, or one for each eye such as 31.5/32")]
    TooMany,
    /// One number with an eye, or both with the same eye.
    #[error("The distance of one eye is missing: write one for each eye, such as R31.5 L32")]
    OneEyeMissing,
    /// Two numbers that each look like both eyes.
    #[error("“{0}” and “{1}” look like distance and near: write each in its own field")]
    LooksFarAndNear(Millimeter, Millimeter),
    /// The distance between the pupils is outside 40 to 80 mm.
    #[error("A pupil distance of {0} mm is outside 40 to 80 mm; check it")]
    BinocularOutOfRange(Millimeter),
    /// The distance of one eye is outside 20 to 40 mm.
    #[error("{value} mm for the {} eye is outside 20 to 40 mm; check it", eye.name())]
    MonocularOutOfRange {
        /// Which eye.
        eye: Eye,
        /// What was written.
        value: Millimeter,
    },
}

/// Reads a pupil distance: `63`, `31.5/32`, `31.5 32`, `R31.5 L32`, with a point or a comma, with or without `mm`.
///
/// # Errors
///
/// [`PupilDistanceFault`], the first one found.
pub fn read_pupil_distance(text: &str) -> Result<PupilDistance, PupilDistanceFault> {
    read_pupil_distance_for(text, None)
}

/// The same where a lens is made for `only` one eye: its own distance is enough, with its letter or without, `R31.5` or
/// `31.5`.
///
/// # Errors
///
/// [`PupilDistanceFault`], the first one found.
pub fn read_pupil_distance_for(text: &str, only: Option<Eye>) -> Result<PupilDistance, PupilDistanceFault> {
    let mut numbers: Vec<(Option<Eye>, Millimeter)> = Vec::new();
    let mut eye = None;
    for piece in pieces(text) {
        match piece.to_lowercase().as_str() {
            "mm" => {}
            "r" | "od" | "re" | "right" => eye = Some(Eye::Right),
            "l" | "os" | "le" | "left" => eye = Some(Eye::Left),
            number if number.starts_with(|c: char| c.is_ascii_digit() || c == '.') => {
                let length = number.parse::<Millimeter>().map_err(|why| match why {
                    UnitError::OutOfRange { .. } => PupilDistanceFault::TooLong(piece),
                    why => why.into(),
                });
                numbers.push((eye.take(), length?));
            }
            _ => return Err(PupilDistanceFault::Unreadable(piece)),
        }
    }
    if eye.is_some() {
        return Err(PupilDistanceFault::OneEyeMissing);
    }
    match numbers[..] {
        [] => Err(PupilDistanceFault::Empty),
        [(None, one)] => match only {
            Some(eye) if one.hundredths() < *BINOCULAR.start() => PupilDistance::one(eye, one),
            _ => PupilDistance::both(one),
        },
        [(Some(eye), one)] if only == Some(eye) => PupilDistance::one(eye, one),
        [(Some(_), _)] => Err(PupilDistanceFault::OneEyeMissing),
        [(None, first), (None, second)] if [first, second].iter().all(|n| n.hundredths() > *MONOCULAR.end()) => {
            Err(PupilDistanceFault::LooksFarAndNear(first, second))
        }
        [(None | Some(Eye::Right), right), (None | Some(Eye::Left), left)] => {
            PupilDistance::each(Pair::new(right, left))
        }
        [(None | Some(Eye::Left), left), (None | Some(Eye::Right), right)] => {
            PupilDistance::each(Pair::new(right, left))
        }
        [_, _] => Err(PupilDistanceFault::OneEyeMissing),
        _ => Err(PupilDistanceFault::TooMany),
    }
}

/// Splits into words, numbers and single signs. A comma between digits is a decimal mark. Slashes, spaces and other
/// commas separate.
fn pieces(text: &str) -> Vec<String> {
    let chars: Vec<char> = text.chars().collect();
    let mut pieces: Vec<String> = Vec::new();
    let mut continues = false;
    for (at, &c) in chars.iter().enumerate() {
        let is_digit = |at: usize| chars.get(at).is_some_and(char::is_ascii_digit);
        let is_decimal_comma = c == ',' && at > 0 && is_digit(at - 1) && is_digit(at + 1);
        let in_number = c.is_ascii_digit() || c == '.' || is_decimal_comma;
        if c.is_whitespace() || (matches!(c, '/' | ',' | ';' | ':' | '=') && !is_decimal_comma) {
            continues = false;
            continue;
        }
        let last_is_number = pieces.last().is_some_and(|p| p.starts_with(|c: char| c.is_ascii_digit() || c == '.'));
        let last_is_word = pieces.last().is_some_and(|p| p.starts_with(char::is_alphabetic));
        match pieces.last_mut() {
            Some(last) if continues && ((in_number && last_is_number) || (c.is_alphabetic() && last_is_word)) => {
                last.push(c);
            }
            _ => pieces.push(c.to_string()),
        }
        continues = true;
    }
    pieces
}

/// Something to confirm about a pupil distance. The limits are common practice for adults.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PupilDistanceCaution {
    /// Below 54 mm for distance, or 50 mm for near.
    Narrow(Millimeter),
    /// Above 74 mm.
    Wide(Millimeter),
    /// The eyes differ by more than 3 mm.
    Uneven(Pair<Millimeter>),
    /// The near distance is wider than the far one, for one eye or in total.
    NearWiderThanFar {
        /// The distance for far.
        far: Millimeter,
        /// The distance for near.
        near: Millimeter,
    },
}

impl PupilDistanceCaution {
    /// A stable key for this kind of caution.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Narrow(_) => "pd-narrow",
            Self::Wide(_) => "pd-wide",
            Self::Uneven(_) => "pd-uneven",
            Self::NearWiderThanFar { .. } => "pd-near-wider",
        }
    }
}

impl fmt::Display for PupilDistanceCaution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Narrow(pd) => write!(f, "A pupil distance of {pd} mm is narrow for an adult."),
            Self::Wide(pd) => write!(f, "A pupil distance of {pd} mm is wide."),
            Self::Uneven(eyes) => {
                write!(f, "The eyes differ by more than 3 mm: {} right, {} left.", eyes.right, eyes.left)
            }
            Self::NearWiderThanFar { far, near } => {
                write!(f, "Near is wider than far: {near} mm near, {far} mm far.")
            }
        }
    }
}

/// All cautions about the pupil distances. A near distance is 3 to 4 mm narrower, so its lower limit is 50 mm
/// instead of 54.
pub fn pupil_distance_cautions(far: Option<PupilDistance>, near: Option<PupilDistance>) -> Vec<PupilDistanceCaution> {
    let mut found = Vec::new();
    for (given, narrowest) in [(far, 5400), (near, 5000)] {
        // One eye's own distance says nothing of the width of the face.
        let Some(given) = given.filter(|pd| !matches!(pd.given(), Given::One(_))) else { continue };
        let binocular = given.binocular();
        if binocular.hundredths() < narrowest {
            found.push(PupilDistanceCaution::Narrow(binocular));
        }
        if binocular.hundredths() > 7400 {
            found.push(PupilDistanceCaution::Wide(binocular));
        }
        if (given.right.hundredths() - given.left.hundredths()).abs() > 300 {
            found.push(PupilDistanceCaution::Uneven(Pair::new(given.right, given.left)));
        }
    }
    if let (Some(far), Some(near)) = (far, near) {
        let both_eyes = (far.binocular(), near.binocular());
        let each_eye = Eye::BOTH.map(|eye| (far.mono(eye), near.mono(eye)));
        if let Some((far, near)) = [both_eyes].into_iter().chain(each_eye).find(|(far, near)| near > far) {
            found.push(PupilDistanceCaution::NearWiderThanFar { far, near });
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn hundredths(text: &str) -> (i32, i32, Given) {
        let pd = read_pupil_distance(text).unwrap_or_else(|fault| panic!("{text}: {fault}"));
        (pd.mono(Eye::Right).hundredths(), pd.mono(Eye::Left).hundredths(), pd.given())
    }

    #[test]
    fn reads_one_number_or_one_each() {
        for (text, expected) in [
            ("63", (3150, 3150, Given::Both)),
            (" 63 mm", (3150, 3150, Given::Both)),
            ("63,5", (3175, 3175, Given::Both)),
            ("63.05", (3153, 3152, Given::Both)),
            ("31.5/32", (3150, 3200, Given::Each)),
            ("31.5 32", (3150, 3200, Given::Each)),
            ("31,5/32", (3150, 3200, Given::Each)),
            ("31,5, 32", (3150, 3200, Given::Each)),
            ("R31.5 L32", (3150, 3200, Given::Each)),
            ("l 32 r 31.5", (3150, 3200, Given::Each)),
            ("OD: 31.5mm, OS: 32mm", (3150, 3200, Given::Each)),
        ] {
            assert_eq!(hundredths(text), expected, "{text}");
            let typed = read_pupil_distance(text).unwrap().typed();
            assert_eq!(hundredths(&typed), expected, "{text} as {typed}");
        }
        for (text, typed) in
            [("63.00", "63"), ("63.50", "63.5"), ("31.50/32.00", "31.5/32"), ("R31 L32.25", "31/32.25")]
        {
            assert_eq!(read_pupil_distance(text).unwrap().typed(), typed);
        }
    }

    #[test]
    fn one_eye_is_enough_where_one_lens_is_made() {
        let (right, left) = (Some(Eye::Right), Some(Eye::Left));
        for (text, only, want) in [
            ("R31.5", right, Some("R31.50")),
            ("31.5", right, Some("R31.50")),
            ("31.5", left, Some("L31.50")),
            ("l 32 mm", left, Some("L32.00")),
            ("63", left, Some("63.00")),
            ("40", left, Some("40.00")),
            ("31/32", left, Some("31.00/32.00")),
            ("R31.5", left, None),
            ("19", left, None),
            ("R31.5", None, None),
            ("31.5", None, None),
        ] {
            let read = read_pupil_distance_for(text, only).ok();
            assert_eq!(read.map(|pd| pd.to_string()).as_deref(), want, "{text} for {only:?}");
            if let Some(read) = read {
                assert_eq!(read_pupil_distance_for(&read.to_string(), only), Ok(read), "{text} round trip");
            }
        }
        let one = PupilDistance::one(Eye::Left, "32".parse().unwrap()).unwrap();
        assert_eq!((one.words().as_str(), one.mark()), ("32.00 mm, left eye alone", ""));
        assert_eq!(
            pupil_distance_cautions(Some(PupilDistance::one(Eye::Left, "22".parse().unwrap()).unwrap()), None),
            []
        );
    }

    #[test]
    fn faults_say_what_to_do() {
        for (text, start) in [
            ("", "Write the pupil distance"),
            ("63 60", "“63.00” and “60.00” look like distance and near"),
            ("39.99", "A pupil distance of 39.99"),
            ("80.01", "A pupil distance of 80.01"),
            ("19.9/32", "19.90 mm for the right eye"),
            ("32/40.1", "40.10 mm for the left eye"),
            ("R31.5", "The distance of one eye is missing"),
            ("R31.5 R32", "The distance of one eye is missing"),
            ("31 32 33", "There are more than two numbers"),
            ("about 63", "“about” was not understood"),
            ("-63", "“-” was not understood"),
            ("63.123", "“63.123” has more than two decimals"),
            ("1.2.3", "“1.2.3” is not a number"),
        ] {
            let fault = read_pupil_distance(text).unwrap_err().to_string();
            assert!(fault.starts_with(start), "{text}: {fault}");
        }
    }

    #[test]
    fn cautions_start_just_beyond_each_limit() {
        let codes = |far: &str, near: &str| -> Vec<&str> {
            let read = |text: &str| (!text.is_empty()).then(|| read_pupil_distance(text).unwrap());
            pupil_distance_cautions(read(far), read(near)).iter().map(PupilDistanceCaution::code).collect()
        };
        for (far, near, expected) in [
            ("54", "", vec![]),
            ("53.9", "", vec!["pd-narrow"]),
            ("74", "", vec![]),
            ("74.1", "", vec!["pd-wide"]),
            ("30/33", "", vec![]),
            ("30/33.1", "", vec!["pd-uneven"]),
            ("63", "60", vec![]),
            ("63", "63", vec![]),
            ("63", "63.5", vec!["pd-near-wider"]),
            ("31/32", "31.5/30", vec!["pd-near-wider"]),
            ("54", "50", vec![]),
        ] {
            assert_eq!(codes(far, near), expected, "{far} far, {near} near");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>()) {
            let _ = read_pupil_distance(&text);
        }

        #[test]
        fn the_halves_add_up_and_round_trip(whole in 4000i32..=8000) {
            let pd = PupilDistance::both(Millimeter::from_hundredths(whole).unwrap()).unwrap();
            prop_assert_eq!(pd.binocular().hundredths(), whole);
            prop_assert_eq!(read_pupil_distance(&pd.to_string()), Ok(pd));
        }
    }
}
