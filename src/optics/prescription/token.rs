//! Splits a written prescription into words, numbers and signs, before they are interpreted.

use super::BaseDirection;

/// A number as written: its sign, its digits, and whether it had a decimal mark.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct WrittenNumber {
    /// `-`, `+` or nothing.
    pub(super) sign: Option<char>,
    /// Digits and dots; a decimal comma is already a dot.
    pub(super) digits: String,
}

impl WrittenNumber {
    /// The number as shown to the user.
    pub(super) fn text(&self) -> String {
        match self.sign {
            Some(sign) => format!("{sign}{}", self.digits),
            None => self.digits.clone(),
        }
    }

    /// Whether it was written with a decimal mark.
    pub(super) fn has_point(&self) -> bool {
        self.digits.contains('.')
    }

    /// Whether it is zero.
    pub(super) fn is_zero(&self) -> bool {
        self.digits.chars().all(|c| c == '0' || c == '.') && self.digits.contains('0')
    }
}

/// One piece of the text.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Token {
    /// A number.
    Number(WrittenNumber),
    /// Plano: no sphere.
    Plano,
    /// Marks a sphere: sph, DS.
    SphereMark,
    /// Marks a cylinder: cyl, DC.
    CylinderMark,
    /// Diopters, for either.
    DiopterMark,
    /// x, axis.
    AxisMark,
    /// `@`.
    At,
    /// The degree sign or word.
    Degree,
    /// The prism sign or word.
    PrismMark,
    /// The word base.
    Base,
    /// A base direction.
    Direction(BaseDirection),
    /// and, with, `&`: joins two prisms.
    Joint,
    /// A slash, comma, colon or semicolon.
    Separator,
    /// The word add.
    Add,
    /// A word that names an eye, as written.
    EyeWord(String),
    /// Anything else, as written.
    Unknown(String),
}

/// Splits a text into tokens. White space and lone dots are dropped.
pub(super) fn tokens(text: &str) -> Vec<Token> {
    let chars: Vec<char> = text.chars().map(normalized).collect();
    let mut tokens = Vec::new();
    let mut at = 0;
    while at < chars.len() {
        let c = chars[at];
        let number_at = if matches!(c, '+' | '-') { skip_spaces(&chars, at + 1) } else { at };
        if c.is_whitespace() {
            at += 1;
        } else if starts_number(&chars, number_at, number_at != at) {
            let sign = (number_at != at).then_some(c);
            let (digits, end) = take_number(&chars, number_at);
            tokens.push(Token::Number(WrittenNumber { sign, digits }));
            at = end;
        } else if let Some(token) = sign_token(c) {
            tokens.push(token);
            at += 1;
        } else if c.is_alphabetic() {
            let (word, end) = take_word(&chars, at);
            push_word(&mut tokens, &word);
            at = end;
        } else {
            if c != '.' {
                tokens.push(Token::Unknown(c.to_string()));
            }
            at += 1;
        }
    }
    tokens
}

/// Maps characters that look alike to one.
fn normalized(c: char) -> char {
    match c {
        '−' | '–' | '—' | '‐' | '‑' | '﹣' | '\u{ff0d}' => '-',
        '\u{ff0b}' => '+',
        '×' => 'x',
        'º' | '˚' => '°',
        'δ' | '∆' | '△' | '^' => 'Δ',
        c => c,
    }
}

fn sign_token(c: char) -> Option<Token> {
    Some(match c {
        '/' | '\\' | '|' | ',' | ';' | ':' => Token::Separator,
        '&' => Token::Joint,
        '@' => Token::At,
        '°' => Token::Degree,
        'Δ' => Token::PrismMark,
        _ => return None,
    })
}

fn skip_spaces(chars: &[char], from: usize) -> usize {
    from + chars[from..].iter().take_while(|c| c.is_whitespace()).count()
}

fn is_digit(chars: &[char], at: usize) -> bool {
    chars.get(at).is_some_and(char::is_ascii_digit)
}

/// A digit, or a decimal mark before one. A comma only after a sign, where it cannot separate two values.
fn starts_number(chars: &[char], at: usize, signed: bool) -> bool {
    is_digit(chars, at)
        || match chars.get(at) {
            Some('.') => is_digit(chars, at + 1),
            Some(',') => signed && is_digit(chars, at + 1),
            _ => false,
        }
}

/// Takes digits and decimal marks. A comma between digits is a decimal mark, unless the number already has one.
fn take_number(chars: &[char], from: usize) -> (String, usize) {
    let mut digits = String::new();
    let mut at = from;
    while let Some(&c) = chars.get(at) {
        match c {
            '0'..='9' | '.' => digits.push(c),
            ',' if !digits.contains('.') && is_digit(chars, at + 1) => digits.push('.'),
            _ => break,
        }
        at += 1;
    }
    (digits, at)
}

/// Takes letters, and dots between or after them, as in `sph.` and `b.i.`; the dots are dropped.
fn take_word(chars: &[char], from: usize) -> (String, usize) {
    let mut word = String::new();
    let mut at = from;
    while let Some(&c) = chars.get(at) {
        if c.is_alphabetic() && sign_token(c).is_none() {
            word.push(c);
        } else if c != '.' || is_digit(chars, at + 1) {
            break;
        }
        at += 1;
    }
    (word, at)
}

fn push_word(tokens: &mut Vec<Token>, word: &str) {
    let lower = word.to_lowercase();
    match known(&lower) {
        Some(token) => tokens.push(token),
        None if matches!(lower.as_str(), "od" | "os" | "ou" | "r" | "l" | "re" | "le" | "right" | "left" | "eye") => {
            tokens.push(Token::EyeWord(word.to_owned()));
        }
        // A mark run together with the axis sign, as in “-1.25DCx95”.
        None => match lower.strip_suffix('x').and_then(known) {
            Some(token) => tokens.extend([token, Token::AxisMark]),
            None => tokens.push(Token::Unknown(word.to_owned())),
        },
    }
}

fn known(word: &str) -> Option<Token> {
    Some(match word {
        "pl" | "plano" | "plan" => Token::Plano,
        "sph" | "sphere" | "ds" => Token::SphereMark,
        "cyl" | "cylinder" | "dc" => Token::CylinderMark,
        "d" | "dpt" => Token::DiopterMark,
        "x" | "ax" | "axis" => Token::AxisMark,
        "deg" | "degree" | "degrees" => Token::Degree,
        "prism" => Token::PrismMark,
        "base" => Token::Base,
        "bi" | "in" => Token::Direction(BaseDirection::In),
        "bo" | "out" => Token::Direction(BaseDirection::Out),
        "bu" | "up" => Token::Direction(BaseDirection::Up),
        "bd" | "down" => Token::Direction(BaseDirection::Down),
        "and" | "with" => Token::Joint,
        "add" | "addition" => Token::Add,
        _ => return None,
    })
}
