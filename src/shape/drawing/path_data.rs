//! Faults of the numbers of an SVG drawing. Programs that show it draw a path up to its first fault and leave out the rest without
//! a word, so a lens could come out open, or too small.

use usvg::roxmltree::{Document, Node};

use super::DrawingRefused;

/// Attributes that are a length.
const LENGTHS: [&str; 13] = ["x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "x1", "y1", "x2", "y2"];

/// Refuses a drawing that has something else than numbers in a path, or a path that is cut off.
pub(super) fn check_numbers(document: &Document) -> Result<(), DrawingRefused> {
    let fault_of = |node: &Node| match node.tag_name().name() {
        "path" => fault_of_path(node.attribute("d").unwrap_or_default()).map(|problem| format!("the path {problem}")),
        "polygon" | "polyline" => {
            let points = Numbers { rest: node.attribute("points").unwrap_or_default() };
            fault_of_points(points).map(|problem| format!("the list of points {problem}"))
        }
        "rect" | "circle" | "ellipse" | "line" => {
            let is_none = |value: &str| ["nan", "inf"].iter().any(|word| value.to_lowercase().contains(word));
            let odd = LENGTHS.iter().filter_map(|name| Some((name, node.attribute(*name)?)));
            odd.filter(|(_, value)| is_none(value)).map(|(name, value)| not_a_number(name, value)).next()
        }
        _ => None,
    };
    let mut faults = document.descendants().filter_map(|node| fault_of(&node).map(|problem| (node, problem)));
    faults.next().map_or(Ok(()), |(node, problem)| {
        let line = document.text_pos_at(node.range().start).row as usize;
        Err(DrawingRefused::Line { line, problem })
    })
}

fn not_a_number(name: &str, value: &str) -> String {
    format!("{name} is “{}”, and no number", excerpt(value))
}

fn excerpt(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(20).collect()
}

/// What is wrong with the data of a path: commands, and the numbers that each of them takes.
fn fault_of_path(data: &str) -> Option<String> {
    let mut numbers = Numbers { rest: data };
    let mut last = None;
    loop {
        numbers.skip_space();
        let letter = numbers.rest.chars().next()?;
        let takes = match letter.to_ascii_uppercase() {
            'M' | 'L' | 'T' => 2,
            'H' | 'V' => 1,
            'C' => 6,
            'S' | 'Q' => 4,
            'A' => 7,
            'Z' => 0,
            // “none” is how a style says that there is no path.
            _ if last.is_none() && data.trim() == "none" => return None,
            _ => return Some(numbers.odd()),
        };
        if last.is_none() && !matches!(letter, 'M' | 'm') {
            return Some("does not begin with a move (M)".to_owned());
        }
        numbers.rest = &numbers.rest[letter.len_utf8()..];
        last = Some(letter);
        let mut found = 0;
        while takes > 0 && !numbers.is_at_command() {
            let is_flag = takes == 7 && matches!(found % 7, 3 | 4);
            if !(if is_flag { numbers.flag() } else { numbers.number() }) {
                return Some(numbers.odd());
            }
            found += 1;
        }
        if takes > 0 && (found == 0 || found % takes != 0) {
            let is_end = numbers.rest.is_empty();
            let missing = takes - found % takes;
            let where_it_is = if is_end { "is cut off: its last command" } else { "is damaged: a command" };
            return Some(format!("{where_it_is} ({letter}) lacks {missing} of its numbers"));
        }
    }
}

fn fault_of_points(mut numbers: Numbers) -> Option<String> {
    let mut found = 0;
    loop {
        numbers.skip_space();
        if numbers.rest.is_empty() {
            return (found % 2 == 1).then(|| "is cut off: its last y is missing".to_owned());
        }
        if !numbers.number() {
            return Some(numbers.odd());
        }
        found += 1;
    }
}

/// Numbers as SVG writes them, one after the other, with spaces and commas between them or not.
struct Numbers<'a> {
    rest: &'a str,
}

impl Numbers<'_> {
    fn skip_space(&mut self) {
        self.rest = self.rest.trim_start_matches([' ', '\t', '\n', '\r', '\x0c', ',']);
    }

    /// Whether a command or the end comes next.
    fn is_at_command(&mut self) -> bool {
        self.skip_space();
        self.rest.chars().next().is_none_or(|c| "MmLlHhVvCcSsQqTtAaZz".contains(c))
    }

    /// Takes a number, if one comes next.
    fn number(&mut self) -> bool {
        let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
        let text = self.rest;
        let mut at = usize::from(text.starts_with(['+', '-']));
        let whole = digits(&text[at..]);
        at += whole;
        let mut has_digits = whole > 0;
        if text[at..].starts_with('.') {
            let part = digits(&text[at + 1..]);
            has_digits |= part > 0;
            at += 1 + part;
        }
        if !has_digits {
            return false;
        }
        if text[at..].starts_with(['e', 'E']) {
            let sign = usize::from(text[at + 1..].starts_with(['+', '-']));
            let power = digits(&text[at + 1 + sign..]);
            at += if power > 0 { 1 + sign + power } else { 0 };
        }
        self.rest = &text[at..];
        true
    }

    /// Takes a flag of an arc, 0 or 1, which may stand right before the next number.
    fn flag(&mut self) -> bool {
        let is_flag = self.rest.starts_with(['0', '1']);
        self.rest = &self.rest[usize::from(is_flag)..];
        is_flag
    }

    /// What comes next, and is neither a command nor a number.
    fn odd(&self) -> String {
        let word: &str = self.rest.split([' ', ',', '\t', '\n', '\r']).next().unwrap_or_default();
        format!("has “{}” where a number or a command was expected", excerpt(word))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_as_programs_write_them_are_right() {
        for data in [
            "",
            "none",
            "M25 22L75,58",
            "m1.5.5-3e2-4 5-6z M 0,0 h3v-1H.5 V 7 Z",
            "M0 0A25 18 0 0 1 75 40a1 1 0 01.5.5 1 1 30 1,0 3 4",
            "M 1 2 3 4 5 6 C1 2 3 4 5 6 1 2 3 4 5 6\nS 1 2 3 4 Q1 2 3 4 T 5 6 z",
            "M+1 -2.E1L1E-3 1e+2Z",
        ] {
            assert_eq!(fault_of_path(data), None, "{data}");
        }
    }

    #[test]
    fn what_is_no_path_is_said() {
        for (data, says) in [
            ("M25 22 L NaN 58Z", "has “NaN” where a number or a command was expected"),
            ("M25 22 L 5 Infinity", "has “Infinity” where a number or a command was expected"),
            ("M0 0 C 1 2 3 4", "is cut off: its last command (C) lacks 2 of its numbers"),
            ("M0 0 L 1", "is cut off: its last command (L) lacks 1 of its numbers"),
            ("M0 0 L", "is cut off: its last command (L) lacks 2 of its numbers"),
            ("M0 0 L 1 Z", "is damaged: a command (L) lacks 1 of its numbers"),
            ("M0 0A25 18 0 2 1 75 40", "has “2” where a number or a command was expected"),
            ("L 1 2", "does not begin with a move (M)"),
            ("M0 0 L1 2 -", "has “-” where a number or a command was expected"),
            ("M0 0 é", "has “é” where a number or a command was expected"),
        ] {
            assert_eq!(fault_of_path(data).as_deref(), Some(says), "{data}");
        }
    }

    #[test]
    fn a_fault_names_its_line() {
        let said = |body: &str| {
            let text = format!("<svg xmlns=\"http://www.w3.org/2000/svg\">\n<g>\n{body}</g></svg>");
            check_numbers(&Document::parse(&text).unwrap()).map_err(|why| why.to_string())
        };
        for (body, says) in [
            ("<path d=\"M0 0 L1\"/>", "Line 3: the path is cut off: its last command (L) lacks 1 of its numbers"),
            (
                "<polygon points=\"25,22 NaN,58 75,22\"/>",
                "Line 3: the list of points has “NaN” where a number or a command was expected",
            ),
            ("<polygon points=\"25,22 7\"/>", "Line 3: the list of points is cut off: its last y is missing"),
            ("<circle cx=\"5\" r=\"NaN\"/>", "Line 3: r is “NaN”, and no number"),
            ("<rect width=\"-inf\"/>", "Line 3: width is “-inf”, and no number"),
        ] {
            assert_eq!(said(body), Err(says.to_owned()), "{body}");
        }
        assert_eq!(
            said("<rect width=\"100%\" rx=\"auto\"/><circle r=\"4e1mm\"/><polyline points=\"1,2,3 4\"/>"),
            Ok(())
        );
    }
}
