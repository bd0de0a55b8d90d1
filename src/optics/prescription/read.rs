//! Reads one eye's prescription as practitioners write it, or says what is missing.
//!
//! `-2.25 -1.25 x 95`, `-225 -125 95`, `+1 DS`, `pl -50 x 180`, `-2.25/-1.25x95 1.5Δ BI`, and plus-cylinder forms.
//! A number without decimal point is in hundredths from 25 up and in whole diopters up to 24 (common practice).
//! A sign is never guessed. `@` gives the power in a meridian and is never read as an axis.

use super::token::{Token, WrittenNumber, tokens};
use super::{BaseDirection, EyePrescription, LensPower, PowerError, PrescriptionFault, Prism, ReadNote};
use crate::optics::unit::{Axis, Diopter, PrismDiopter, UnitError, parse_hundredths};

/// The largest bare number read as whole diopters; from the next one up it is hundredths (common practice).
const LARGEST_WHOLE: i32 = 24;

/// Bare numbers from here to [`LARGEST_WHOLE`] get a note: they may be an eighth written without its point.
const SMALLEST_DOUBTFUL: i32 = 10;

/// A prescription that was read, with notes where the value differs from the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrescriptionReading {
    /// What is prescribed before this eye.
    pub rx: EyePrescription,
    /// Shown to the user to confirm.
    pub notes: Vec<ReadNote>,
}

/// Reads what is prescribed before one eye.
///
/// # Errors
///
/// Every [`PrescriptionFault`] found, in the order of the text where possible; never empty.
pub fn read(text: &str) -> Result<PrescriptionReading, Vec<PrescriptionFault>> {
    let mut reader = PrescriptionReader::new(text, ReadKind::Prescribed);
    let prism = reader.prism();
    let power = reader.power();
    match (power, prism) {
        (Some(power), Some(prism)) if reader.faults.is_empty() => {
            Ok(PrescriptionReading { rx: EyePrescription { power, prism }, notes: reader.notes })
        }
        _ => Err(reader.faults),
    }
}

/// Reads a lensmeter reading: the same grammar, a power only, every hundredth kept.
///
/// # Errors
///
/// Every [`PrescriptionFault`] found; never empty.
pub fn read_measured(text: &str) -> Result<LensPower, Vec<PrescriptionFault>> {
    let mut reader = PrescriptionReader::new(text, ReadKind::Measured);
    if reader.prism().is_some_and(|prism| !prism.is_none()) {
        reader.faults.push(PrescriptionFault::PrismNotHere);
    }
    match reader.power() {
        Some(power) if reader.faults.is_empty() => Ok(power),
        _ => Err(reader.faults),
    }
}

/// Reads a prism alone, as prescribed or as a lensmeter shows it: `1.5 BI 1 BU`, or `0` for none.
///
/// # Errors
///
/// Every [`PrescriptionFault`] found; never empty.
pub fn read_prism(text: &str) -> Result<Prism, Vec<PrescriptionFault>> {
    let mut reader = PrescriptionReader::new(text, ReadKind::Measured);
    let prism = reader.prism();
    let rest: Vec<Token> = reader.tokens.drain(..).filter(|token| *token != Token::Separator).collect();
    let is_empty = rest.is_empty() && prism.is_some_and(Prism::is_none) && !has_digit(text);
    if is_empty && reader.faults.is_empty() {
        reader.faults.push(PrescriptionFault::PrismMissing);
    }
    for left_over in rest {
        match left_over {
            Token::Number(number) if number.is_zero() => {}
            Token::Number(number) => reader.faults.push(PrescriptionFault::PrismBaseMissing(number.text())),
            other => reader.faults.push(PrescriptionFault::Unreadable(token_text(&other).to_owned())),
        }
    }
    match prism {
        Some(prism) if reader.faults.is_empty() => Ok(prism),
        _ => Err(reader.faults),
    }
}

#[derive(Clone, Copy, PartialEq)]
enum ReadKind {
    Prescribed,
    Measured,
}

struct PrescriptionReader {
    kind: ReadKind,
    tokens: Vec<Token>,
    faults: Vec<PrescriptionFault>,
    notes: Vec<ReadNote>,
}

impl PrescriptionReader {
    /// Splits the text into tokens. Each token that does not belong becomes a fault.
    fn new(text: &str, kind: ReadKind) -> Self {
        let mut reader = Self { kind, tokens: Vec::new(), faults: Vec::new(), notes: Vec::new() };
        let mut pieces = tokens(text).into_iter().peekable();
        if pieces.peek().is_none() {
            reader.faults.push(PrescriptionFault::Empty);
        }
        while let Some(piece) = pieces.next() {
            match piece {
                Token::Add => {
                    reader.faults.push(PrescriptionFault::AddGiven);
                    pieces.next_if(|next| *next == Token::Separator);
                    let is_after = pieces.next_if(|next| matches!(next, Token::Number(_))).is_some();
                    // “+2.00 add”: the number before it, unless that is the sphere.
                    let may_drop = reader.tokens.len() > 1 && matches!(reader.tokens.last(), Some(Token::Number(_)));
                    if !is_after && may_drop {
                        reader.tokens.pop();
                    }
                }
                Token::EyeWord(word) => reader.faults.push(PrescriptionFault::EyeNamed(word)),
                Token::Unknown(word) => reader.faults.push(PrescriptionFault::Unreadable(word)),
                Token::At if reader.faults.contains(&PrescriptionFault::AtSign) => {}
                Token::At => reader.faults.push(PrescriptionFault::AtSign),
                other => reader.tokens.push(other),
            }
        }
        reader
    }

    /// Takes every prism out of the tokens. `None` after a fault.
    fn prism(&mut self) -> Option<Prism> {
        let faults_before = self.faults.len();
        let mut parts: Vec<(BaseDirection, PrismDiopter)> = Vec::new();
        while let Some(at) = self.tokens.iter().position(|token| matches!(token, Token::Direction(_))) {
            let Token::Direction(base) = self.tokens.remove(at) else { break };
            let start = self.start_of_prism(at);
            // A plus sign between two prisms joins them: “1 BI + 1 BU”.
            let is_joined = !parts.is_empty();
            let amount = self.tokens.drain(start..at).find_map(number_of);
            match amount {
                Some(number) => {
                    if let Some(amount) = self.prism_amount(&number, is_joined) {
                        parts.push((base, amount));
                    }
                }
                None => self.faults.push(PrescriptionFault::PrismAmountMissing(base)),
            }
            // “2 BI prism”: the word is redundant, unless it starts the next prism.
            let starts_next = matches!(self.tokens.get(start + 1), Some(Token::Number(_)));
            if self.tokens.get(start) == Some(&Token::PrismMark) && !starts_next {
                self.tokens.remove(start);
            }
        }
        self.prism_without_base();
        let mut signed = [None, None];
        for (base, amount) in parts {
            let slot = &mut signed[usize::from(!base.is_horizontal())];
            if let Some((first, _)) = slot.replace((base, amount)) {
                self.faults.push(PrescriptionFault::PrismTwice(first, base));
            }
        }
        let [base_in, base_up] = signed.map(|part| match part {
            Some((BaseDirection::Out | BaseDirection::Down, amount)) => {
                PrismDiopter::from_hundredths(-amount.hundredths()).unwrap_or(PrismDiopter::ZERO)
            }
            Some((_, amount)) => amount,
            None => PrismDiopter::ZERO,
        });
        match Prism::new(base_in, base_up) {
            Ok(prism) => (self.faults.len() == faults_before).then_some(prism),
            Err(too_strong) => {
                self.faults.push(too_strong.into());
                None
            }
        }
    }

    /// The first token of the prism whose base was at `at`: its amount, or the words before it.
    fn start_of_prism(&self, at: usize) -> usize {
        let back_over = |mut start: usize, skip: fn(&Token) -> bool| {
            while start > 0 && skip(&self.tokens[start - 1]) {
                start -= 1;
            }
            start
        };
        let mut start = back_over(at, |token| matches!(token, Token::PrismMark | Token::Base));
        if start > 0 && matches!(self.tokens[start - 1], Token::Number(_)) {
            // A number right after the axis sign is the axis, whatever follows.
            if start > 1 && self.tokens[start - 2] == Token::AxisMark {
                return start;
            }
            start -= 1;
        }
        back_over(start, |token| matches!(token, Token::PrismMark | Token::Joint | Token::Separator))
    }

    /// Reports and removes the prism words left over once every base has been read.
    fn prism_without_base(&mut self) {
        while let Some(at) = self.tokens.iter().position(|token| matches!(token, Token::PrismMark | Token::Base)) {
            let mark = self.tokens.remove(at);
            // “2Δ” or “prism 2”: the amount belongs to the mark.
            let amount_at = if at > 0 && matches!(self.tokens[at - 1], Token::Number(_)) { at - 1 } else { at };
            let amount = match self.tokens.get(amount_at) {
                Some(Token::Number(number)) => {
                    let text = number.text();
                    self.tokens.remove(amount_at);
                    text
                }
                _ => token_text(&mark).to_owned(),
            };
            // “2 base 45”: a base in degrees is not supported, so its number goes too.
            if mark == Token::Base && amount_at < at && matches!(self.tokens.get(amount_at), Some(Token::Number(_))) {
                self.tokens.remove(amount_at);
            }
            if !self.faults.iter().any(|fault| matches!(fault, PrescriptionFault::PrismBaseMissing(_))) {
                self.faults.push(PrescriptionFault::PrismBaseMissing(amount));
            }
        }
        self.tokens.retain(|token| *token != Token::Joint);
    }

    fn prism_amount(&mut self, number: &WrittenNumber, is_joined: bool) -> Option<PrismDiopter> {
        if number.sign == Some('-') || (number.sign == Some('+') && !is_joined) {
            self.faults.push(PrescriptionFault::PrismSigned(number.text()));
            return None;
        }
        let hundredths = self.hundredths(&number.digits)?;
        match PrismDiopter::from_hundredths(hundredths) {
            Ok(amount) => Some(amount),
            Err(_) => {
                self.faults.push(PrescriptionFault::PrismOutOfRange(number.digits.clone()));
                None
            }
        }
    }

    /// Reads sphere, cylinder and axis from the tokens left after the prisms. `None` after a fault.
    fn power(&mut self) -> Option<LensPower> {
        // Powers by meridian are another notation. Any further fault would be misleading.
        if self.faults.contains(&PrescriptionFault::AtSign) {
            return None;
        }
        let faults_before = self.faults.len();
        self.tokens.retain(|token| *token != Token::Separator);
        let mut rest = std::mem::take(&mut self.tokens).into_iter().peekable();

        rest.next_if(|token| *token == Token::SphereMark);
        let sphere = match rest.next_if(|token| matches!(token, Token::Number(_) | Token::Plano)) {
            Some(Token::Plano) => Some(Diopter::ZERO),
            Some(Token::Number(number)) => self.signed_power(&number, "sphere"),
            _ => {
                // An earlier fault may explain why nothing is left, so the power is not reported missing as well.
                match rest.peek() {
                    Some(_) => self.faults.push(PrescriptionFault::SphereMissing),
                    None if self.faults.is_empty() => self.faults.push(PrescriptionFault::PowerMissing),
                    None => {}
                }
                return None;
            }
        };
        rest.next_if(|token| matches!(token, Token::SphereMark | Token::DiopterMark));

        let is_marked = rest.next_if(|token| *token == Token::CylinderMark).is_some();
        let cylinder_number = rest.next_if(|token| matches!(token, Token::Number(_))).and_then(number_of);
        let is_written = cylinder_number.is_some();
        let cylinder = match cylinder_number {
            Some(number) => {
                // “-2.25 95”: it could be an axis or a cylinder.
                let is_alone = !matches!(rest.peek(), Some(Token::Number(_) | Token::AxisMark | Token::CylinderMark));
                if number.sign.is_none() && !number.is_zero() && is_alone && !is_marked && !number.has_point() {
                    self.faults.push(PrescriptionFault::LoneNumber(number.text()));
                    return None;
                }
                self.signed_power(&number, "cylinder")
            }
            // “-1.25 DC x 95”: the mark shows that the one number is the cylinder.
            None if is_marked => {
                self.faults.push(PrescriptionFault::SphereMissing);
                return None;
            }
            None => Some(Diopter::ZERO),
        };
        rest.next_if(|token| matches!(token, Token::CylinderMark | Token::DiopterMark));

        let has_axis_mark = rest.next_if(|token| *token == Token::AxisMark).is_some();
        let axis_number = rest.next_if(|token| matches!(token, Token::Number(_))).and_then(number_of);
        let axis = match axis_number {
            Some(number) => self.axis(&number),
            None => {
                if has_axis_mark {
                    self.faults.push(PowerError::AxisMissing.into());
                }
                None
            }
        };
        rest.next_if(|token| *token == Token::Degree);
        for left_over in rest {
            self.faults.push(match left_over {
                Token::Number(number) => PrescriptionFault::ExtraNumber(number.text()),
                other => PrescriptionFault::Unreadable(token_text(&other).to_owned()),
            });
        }
        if self.faults.len() > faults_before {
            return None;
        }

        let (sphere, cylinder) = (sphere?, cylinder?);
        let axis = match axis {
            // A written zero cylinder may have an axis, which is dropped. Without a cylinder an axis is a fault.
            Some(axis) if is_written && cylinder == Diopter::ZERO => {
                self.notes.retain(|note| *note != ReadNote::AxisZero);
                self.notes.push(ReadNote::AxisDropped(axis));
                None
            }
            other => other,
        };
        match LensPower::new(sphere, cylinder, axis) {
            Ok(power) => Some(power),
            Err(error) => {
                self.faults.push(error.into());
                None
            }
        }
    }

    /// Reads a sphere or cylinder. The sign is required unless the number is zero.
    fn signed_power(&mut self, number: &WrittenNumber, what: &'static str) -> Option<Diopter> {
        if number.is_zero() {
            return Some(Diopter::ZERO);
        }
        let text = number.text();
        let sign = if number.sign == Some('-') { -1 } else { 1 };
        let size = self.hundredths(&number.digits)?;
        let is_hundredths = !number.has_point() && size / 100 > LARGEST_WHOLE;
        let Ok(value) = Diopter::from_hundredths(sign * if is_hundredths { size / 100 } else { size }) else {
            self.faults.push(PrescriptionFault::OutOfRange(text));
            return None;
        };
        if number.sign.is_none() {
            self.faults.push(PrescriptionFault::SignMissing { what, text });
            return None;
        }
        if number.has_point() || is_hundredths {
            return Some(self.stored(text, value, is_hundredths));
        }
        if number.digits.starts_with('0') {
            let small = Diopter::from_hundredths(value.hundredths() / 100).unwrap_or(Diopter::ZERO);
            self.faults.push(PrescriptionFault::Ambiguous { text, small, large: value });
            return None;
        }
        if size / 100 >= SMALLEST_DOUBTFUL {
            self.notes.push(ReadNote::Expanded { text, value });
        }
        Some(value)
    }

    /// The value as it is stored. Adds a note when it differs from the text.
    fn stored(&mut self, text: String, value: Diopter, was_expanded: bool) -> Diopter {
        let stored = if self.kind == ReadKind::Prescribed { in_trade_eighths(value) } else { value };
        if was_expanded {
            self.notes.push(ReadNote::Expanded { text, value: stored });
        } else if stored != value || has_third_decimal(&text) {
            self.notes.push(ReadNote::StoredAs { text, value: stored });
        }
        stored
    }

    /// Hundredths of an unsigned number. A third decimal is accepted where it makes an eighth, as in 2.125.
    fn hundredths(&mut self, digits: &str) -> Option<i32> {
        let plain = if digits.contains('.') { digits.trim_end_matches('0') } else { digits };
        let is_eighth = has_third_decimal(plain) && ["125", "375", "625", "875"].iter().any(|end| plain.ends_with(end));
        let kept = if is_eighth { &plain[..plain.len() - 1] } else { plain };
        match parse_hundredths(kept) {
            Ok(hundredths) => Some(hundredths),
            Err(error) => {
                self.faults.push(match error {
                    UnitError::TooFine(_) => PrescriptionFault::TooFine(digits.to_owned()),
                    UnitError::TooLarge(_) => PrescriptionFault::OutOfRange(digits.to_owned()),
                    _ => PrescriptionFault::NotANumber(digits.to_owned()),
                });
                None
            }
        }
    }

    fn axis(&mut self, number: &WrittenNumber) -> Option<Axis> {
        let digits = number.digits.strip_suffix('.').unwrap_or(&number.digits);
        let fault = if number.sign.is_some() || digits.contains('.') {
            PrescriptionFault::AxisNotWhole(number.text())
        } else {
            match digits.parse().ok().and_then(|degrees| Axis::new(degrees).ok()) {
                Some(axis) => {
                    if number.is_zero() {
                        self.notes.push(ReadNote::AxisZero);
                    }
                    return Some(axis);
                }
                None => PrescriptionFault::AxisOutOfRange(number.text()),
            }
        };
        self.faults.push(fault);
        None
    }
}

/// An eighth as the trade writes it: 0.13 is 0.12, 0.38 is 0.37, and so on.
fn in_trade_eighths(value: Diopter) -> Diopter {
    let hundredths = value.hundredths();
    if hundredths.abs() % 25 == 13 {
        Diopter::from_hundredths(hundredths - hundredths.signum()).unwrap_or(value)
    } else {
        value
    }
}

fn has_digit(text: &str) -> bool {
    text.contains(|c: char| c.is_ascii_digit())
}

fn has_third_decimal(text: &str) -> bool {
    text.split_once('.').is_some_and(|(_, fraction)| fraction.trim_end_matches('0').len() == 3)
}

fn number_of(token: Token) -> Option<WrittenNumber> {
    match token {
        Token::Number(number) => Some(number),
        _ => None,
    }
}

/// The text to show for a misplaced token.
fn token_text(token: &Token) -> &'static str {
    match token {
        Token::Plano => "plano",
        Token::SphereMark => "sph",
        Token::CylinderMark => "cyl",
        Token::DiopterMark => "D",
        Token::AxisMark => "x",
        Token::Degree => "°",
        Token::PrismMark => "Δ",
        Token::Base => "base",
        _ => "the last sign",
    }
}

#[cfg(test)]
mod tests;
