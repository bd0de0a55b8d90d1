//! Lists of points: x and y, or angle and radius, one row a point, with or without a heading. A heading may name a first
//! column, the eye, and beside x and y the diameter of a hole: rows that have one are the holes of a drilled mount. One with two
//! more numbers, the other end, is a slot.

use super::{DrawingRefused, DrawnLens, LEAST_SIDE_MM, MAX_BYTES, Unit, hole, lenses_of};
use crate::optics::{Eye, Pair};
use crate::shape::bytes::is_separator_line;
use crate::shape::hole::{DIAMETERS_MM, Hole};
use crate::shape::outline::{MIN_POINTS, Point, edges, extent};
use crate::shape::record::{WarningKind, is_heading, numbered_lines};

/// What a list holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Listed {
    /// One lens.
    One(DrawnLens),
    /// The lens of each eye that it names.
    Named(Pair<Option<DrawnLens>>),
}

/// What the two columns are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Columns {
    Cartesian,
    Polar,
    PolarInRadians,
}

/// The heading of a list.
#[derive(Debug, Clone, PartialEq)]
struct Heading {
    /// How many columns there are.
    count: usize,
    /// The column of the eye.
    eye: Option<usize>,
    /// Those of x and y, or of angle and radius.
    at: [usize; 2],
    columns: Columns,
    /// The unit that it names.
    unit: Option<Unit>,
    /// The column of the diameter of a hole. The two behind it are the other end of a slot.
    hole: Option<usize>,
}

/// The rows of one lens.
#[derive(Debug, Default)]
struct LensRows {
    points: Vec<[f64; 2]>,
    holes: Vec<Hole>,
}

/// A line of a list: its number, the line, and its parts.
struct ListRow<'a> {
    line: usize,
    text: &'a str,
    parts: Vec<String>,
}

/// A list is cut off if its last point is this many times farther from the first than any two neighbors are from each other, and
/// farther than [`LEAST_GAP_MM`].
const GAP: f64 = 3.0;
const LEAST_GAP_MM: f64 = 2.0;
/// Lines above a heading: a title, an empty line.
const MOST_TITLE_LINES: usize = 10;

/// Without a heading, one row in so many may hold something else: its fault is named.
const ODD_ROWS: usize = 20;

/// Whether a text is such a list: a heading that names x and y, or rows of numbers of which some are negative, or the
/// first ones go once around, or that are places once around.
pub fn is_points(text: &str) -> bool {
    let first: Vec<ListRow> = rows(text).take(MOST_TITLE_LINES).collect();
    if let Some((index, heading)) = headed(&first) {
        // A table of radii is read as it is, every angle exactly.
        return heading.columns == Columns::Cartesian || heading.eye.is_some() || !is_heading(first[index].text);
    }
    let Some(count) = first.first().map(|row| row.parts.len()).filter(|count| *count > 1) else { return false };
    let mut numbers: Vec<Vec<f64>> = Vec::new();
    let mut odd = 0;
    for row in rows(text).take(4000) {
        match row.parts.iter().map(|part| number(part)).collect::<Option<Vec<f64>>>() {
            Some(of_row) if of_row.len() == count => numbers.push(of_row),
            _ => odd += 1,
        }
        // A file of records is not taken apart here, and neither is a table with a heading.
        if row.text.contains('=') || numbers.is_empty() || odd > 1 + numbers.len() / ODD_ROWS {
            return false;
        }
    }
    if numbers.len() < MIN_POINTS || odd > numbers.len() / ODD_ROWS {
        return false;
    }
    let pairs: Vec<[f64; 2]> = numbers.iter().map(|row| [row[0], row[1]]).collect();
    let has_negative = numbers.iter().flatten().any(|number| *number < 0.0);
    has_negative || (count == 2 && (goes_around(&pairs) || are_places(&pairs)))
}

/// The lenses, in mm with y up. Without a stated unit the numbers are mm.
///
/// # Errors
///
/// [`DrawingRefused`].
pub fn read_points(text: &str, unit: Option<Unit>) -> Result<Listed, DrawingRefused> {
    if text.len() > MAX_BYTES {
        return Err(DrawingRefused::TooLarge(text.len()));
    }
    let rows: Vec<ListRow> = rows(text).collect();
    let Some((index, heading)) = headed(&rows) else {
        let numbers = rows.iter().map(two).collect::<Result<Vec<_>, _>>()?;
        return Ok(Listed::One(lens(&numbers, None, unit, None)?));
    };
    let unit = heading.unit.or(unit);
    let mut found: Pair<LensRows> = Pair::default();
    for row in &rows[index + 1..] {
        let eye = heading.eye.map_or(Ok(Eye::Right), |at| eye_of(row, at))?;
        let rows = found.get_mut(eye);
        match heading.hole(row, unit)? {
            Some(hole) => rows.holes.push(hole),
            None => rows.points.push(heading.numbers(row)?),
        }
    }
    let each = |rows: &LensRows, eye: Option<Eye>| {
        let lens = lens(&rows.points, Some(heading.columns), unit, eye)?;
        Ok(DrawnLens { holes: hole::of_a_mount(&rows.holes, lens.middle()), ..lens })
    };
    if heading.eye.is_none() {
        return Ok(Listed::One(each(&found.right, None)?));
    }
    let named = |eye: Eye| {
        let rows = found.get(eye);
        (!rows.points.is_empty()).then(|| each(rows, Some(eye))).transpose()
    };
    Ok(Listed::Named(Pair::new(named(Eye::Right)?, named(Eye::Left)?)))
}

/// The lens of these rows.
fn lens(
    numbers: &[[f64; 2]],
    columns: Option<Columns>,
    unit: Option<Unit>,
    eye: Option<Eye>,
) -> Result<DrawnLens, DrawingRefused> {
    let mm = unit.unwrap_or(Unit::Mm).mm();
    let columns = columns.unwrap_or(if goes_around(numbers) { Columns::Polar } else { Columns::Cartesian });
    let mut warnings = Vec::new();
    let sorted = if columns == Columns::Cartesian { None } else { by_angle(numbers, columns) };
    if sorted.is_some() {
        warnings.push(WarningKind::AnglesSorted(eye));
    }
    let numbers = sorted.as_deref().unwrap_or(numbers);
    let point = |[one, other]: &[f64; 2]| match columns {
        Columns::Cartesian => Point::new(one * mm, other * mm),
        Columns::Polar => Point::polar(other * mm, *one),
        Columns::PolarInRadians => Point::polar(other * mm, one.to_degrees()),
    };
    let mut points: Vec<Point> = numbers.iter().map(point).collect();
    let is_repeated = points.first().zip(points.last()).is_some_and(|(a, b)| a.minus(*b).length_mm() < 0.005);
    if is_repeated {
        points.pop();
    }
    if points.len() < MIN_POINTS {
        return Err(DrawingRefused::NotClosed);
    }
    if !is_repeated && let Some(gap_mm) = gap_mm(&points) {
        return Err(DrawingRefused::Gap(gap_mm));
    }
    let lens = lenses_of(vec![points])?.pop().ok_or(DrawingRefused::NotClosed)?;
    Ok(DrawnLens { warnings, ..lens })
}

/// Rows whose angles are in no order, sorted by them; `None` where they have one, or where an angle is there twice.
fn by_angle(numbers: &[[f64; 2]], columns: Columns) -> Option<Vec<[f64; 2]>> {
    let deg = |row: &[f64; 2]| if columns == Columns::PolarInRadians { row[0].to_degrees() } else { row[0] };
    let turned = |row: &[f64; 2]| deg(row).rem_euclid(360.0);
    let back = numbers.windows(2).filter(|pair| turned(&pair[1]) <= turned(&pair[0])).count();
    // Once around, from anywhere, is one step back at most, or but one forward.
    if back <= 1 || back + 2 >= numbers.len() {
        return None;
    }
    let mut sorted = numbers.to_vec();
    sorted.sort_by(|a, b| turned(a).total_cmp(&turned(b)));
    let is_once = sorted.windows(2).all(|pair| turned(&pair[1]) - turned(&pair[0]) > 1e-6);
    is_once.then_some(sorted)
}

/// How far the last point is from the first, where that is no step of such a list.
fn gap_mm(points: &[Point]) -> Option<f64> {
    let longest_mm = points.windows(2).map(|pair| pair[1].minus(pair[0]).length_mm()).fold(0.0, f64::max);
    let closing_mm = points.first()?.minus(*points.last()?).length_mm();
    (closing_mm > LEAST_GAP_MM && closing_mm > GAP * longest_mm).then_some(closing_mm)
}

fn eye_of(row: &ListRow, at: usize) -> Result<Eye, DrawingRefused> {
    let name = row.parts.get(at).map_or("", String::as_str);
    let is = |words: [&str; 3]| words.iter().any(|word| name.eq_ignore_ascii_case(word));
    match () {
        () if is(["right", "R", "OD"]) => Ok(Eye::Right),
        () if is(["left", "L", "OS"]) => Ok(Eye::Left),
        () => Err(row.fault(&format!("right or left was expected, found “{}”", excerpt(name)))),
    }
}

fn excerpt(text: &str) -> String {
    text.chars().take(40).collect()
}

/// A typeset minus is one too.
fn number(text: &str) -> Option<f64> {
    let minus = text.strip_prefix('−').map(|digits| format!("-{digits}"));
    minus.as_deref().unwrap_or(text).parse::<f64>().ok().filter(|number| number.is_finite() && number.abs() < 1e6)
}

impl ListRow<'_> {
    fn fault(&self, problem: &str) -> DrawingRefused {
        DrawingRefused::Line { line: self.line, problem: problem.to_owned() }
    }

    fn two_expected(&self) -> DrawingRefused {
        let parts = self.parts.iter().map(String::as_str);
        let odd = (1..).zip(parts).find(|(_, part)| number(part).is_none());
        match odd.filter(|_| self.parts.len() > 1) {
            Some((column, "")) => self.fault(&format!("column {column} is empty")),
            Some((column, part)) => self.fault(&format!("column {column}: “{}” is not a number", excerpt(part))),
            None => self.fault(&format!("two numbers were expected, found “{}”", excerpt(&self.parts.join(" ")))),
        }
    }
}

/// The two numbers of a row of a list without a heading.
fn two(row: &ListRow) -> Result<[f64; 2], DrawingRefused> {
    match &row.parts[..] {
        [one, other] => {
            number(one).zip(number(other)).map(|(one, other)| [one, other]).ok_or_else(|| row.two_expected())
        }
        [_, _, _, ..] if row.parts.iter().all(|part| number(part).is_some()) => {
            let problem = "there are more than two columns: name them in a first line, with x and y among them";
            Err(row.fault(problem))
        }
        _ => Err(row.two_expected()),
    }
}

impl Heading {
    /// The columns that a row names.
    fn of(row: &ListRow) -> Option<Self> {
        let names: Vec<String> = row.parts.iter().map(|name| name.to_lowercase()).collect();
        let find = |words: &[&str]| names.iter().position(|name| words.contains(&first_word(name)));
        let polar = || {
            let at =
                [find(&["angle", "angles", "deg", "degree", "degrees", "theta"])?, find(&["radius", "radii", "r"])?];
            let is_in_radians = words(&names[at[0]]).any(|word| matches!(word, "rad" | "radian" | "radians"));
            let names_eyes = find(&["l", "left"]).is_some();
            let columns = if is_in_radians { Columns::PolarInRadians } else { Columns::Polar };
            (!names_eyes).then_some((at, columns))
        };
        let cartesian = find(&["x"]).zip(find(&["y"])).map(|(x, y)| ([x, y], Columns::Cartesian));
        let (at, columns) = cartesian.or_else(polar)?;
        // The last one: a heading may say “y in mm”.
        let units = words(&names[at[1]]).skip(1).filter_map(|word| match word {
            "inches" => Some(Unit::Inch),
            "px" | "pt" => None,
            name => Unit::named(name),
        });
        let unit = units.last();
        let is_record = row.text.contains('=');
        let hole = find(&["hole"]).filter(|_| columns == Columns::Cartesian);
        (!is_record).then(|| Self { count: names.len(), eye: find(&["eye"]), at, columns, unit, hole })
    }

    /// The hole of a row that has a diameter.
    fn hole(&self, row: &ListRow, unit: Option<Unit>) -> Result<Option<Hole>, DrawingRefused> {
        let Some((diameter, end)) = self.hole.and_then(|at| row.parts.get(at..)?.split_first()) else {
            return Ok(None);
        };
        let mm = unit.unwrap_or(Unit::Mm).mm();
        let place = |[x, y]: [f64; 2]| Point::new(x * mm, y * mm);
        let slot_end = match end {
            [] => None,
            [x, y] => Some(number(x).zip(number(y)).map(|(x, y)| place([x, y])).ok_or_else(|| row.two_expected())?),
            _ => return Err(row.two_expected()),
        };
        let diameter_mm = number(diameter).map(|diameter| diameter * mm);
        let Some(diameter_mm) = diameter_mm.filter(|mm| DIAMETERS_MM.contains(mm)) else {
            let said = excerpt(diameter);
            return Err(row.fault(&format!("a hole of “{said}” is not possible: 0.5 to 6 mm was expected")));
        };
        Ok(Some(Hole { at: place(self.numbers(row)?), slot_end, diameter_mm }))
    }

    fn numbers(&self, row: &ListRow) -> Result<[f64; 2], DrawingRefused> {
        // A row of a list with holes ends where it has no more to say.
        let is_short = self.hole.is_some() && row.parts.len() < self.count;
        if row.parts.len() != self.count && !is_short {
            let (found, expected) = (row.parts.len(), self.count);
            return Err(row.fault(&format!("the row has {found} columns, and the heading has {expected}")));
        }
        let [one, other] = self.at.map(|at| row.parts.get(at).and_then(|part| number(part)));
        one.zip(other).map(|(one, other)| [one, other]).ok_or_else(|| row.two_expected())
    }
}

/// The heading and where it is, below a title at most.
fn headed(rows: &[ListRow]) -> Option<(usize, Heading)> {
    let is_title = |row: &&ListRow| !row.parts.iter().all(|part| number(part).is_some());
    let titles = rows.iter().take(MOST_TITLE_LINES).take_while(is_title);
    titles.enumerate().find_map(|(index, row)| Heading::of(row).map(|heading| (index, heading)))
}

fn words(name: &str) -> impl Iterator<Item = &str> {
    name.split(|c: char| !c.is_alphabetic()).filter(|word| !word.is_empty())
}

fn first_word(name: &str) -> &str {
    words(name).next().unwrap_or_default()
}

/// Columns after so many are not looked at: a line of four million commas would fill the memory.
const MOST_COLUMNS: usize = 100;

/// Lines that hold something, with their numbers and their parts. A comma is a decimal point where semicolons or tabs part
/// the columns.
fn rows(text: &str) -> impl Iterator<Item = ListRow<'_>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let comma_is_point = text.contains(';') || (text.contains('\t') && !text.contains('.'));
    numbered_lines(text)
        .filter(|(line, text)| {
            let is_separator = *line == 1 && is_separator_line(text);
            !text.trim().is_empty() && !text.starts_with('#') && !is_separator
        })
        .map(move |(line, text)| ListRow { line, text, parts: parts(text, comma_is_point) })
}

fn parts(line: &str, comma_is_point: bool) -> Vec<String> {
    let part = |part: &str| {
        let part = part.trim();
        let plain = part.trim_matches('"').trim();
        // A comma within quotes parts no columns.
        let is_point = comma_is_point || (plain.len() < part.len() && plain.matches(',').count() == 1);
        if is_point { plain.replace(',', ".") } else { plain.to_owned() }
    };
    let mut is_quoted = false;
    let is_column = |c: char| {
        is_quoted ^= c == '"';
        matches!(c, ';' | '\t') || (c == ',' && !comma_is_point && !is_quoted)
    };
    let is_parted = line.contains([';', '\t']) || (line.contains(',') && !comma_is_point);
    let mut parts: Vec<String> = match is_parted {
        true => line.split(is_column).take(MOST_COLUMNS).map(part).collect(),
        false => line.split_whitespace().take(MOST_COLUMNS).map(part).collect(),
    };
    while parts.last().is_some_and(String::is_empty) {
        parts.pop();
    }
    parts
}

/// Angles once around, from anywhere and either way, with positive radii.
fn goes_around(numbers: &[[f64; 2]]) -> bool {
    let step = |w: &[[f64; 2]]| (w[1][0] - w[0][0] + 540.0).rem_euclid(360.0) - 180.0;
    let (mut least, mut most, mut sum): (f64, f64, f64) = (f64::INFINITY, f64::NEG_INFINITY, 0.0);
    for step in numbers.windows(2).map(step) {
        (least, most, sum) = (least.min(step), most.max(step), sum + step);
    }
    let is_forward = least > 0.0 && most <= 60.0;
    let is_back = most < 0.0 && least >= -60.0;
    let is_angle = |row: &[f64; 2]| row[0].abs() <= 360.0 && row[1] > 0.0;
    (is_forward || is_back) && (300.0..=360.0 + 1e-6).contains(&sum.abs()) && numbers.iter().all(is_angle)
}

/// Places once around a middle, and not the radii of two eyes, which are nearly mirror images of each other.
fn are_places(numbers: &[[f64; 2]]) -> bool {
    let n = numbers.len();
    let points: Vec<Point> = numbers.iter().map(|[x, y]| Point::new(*x, *y)).collect();
    let (low, high) = extent(&points);
    let size = high.minus(low);
    let middle = Point::new((low.x_mm + high.x_mm) / 2.0, (low.y_mm + high.y_mm) / 2.0);
    let turn_deg = |(p, q): (Point, Point)| {
        let turn = q.minus(middle).angle_deg() - p.minus(middle).angle_deg();
        (turn + 540.0).rem_euclid(360.0) - 180.0
    };
    let turns: Vec<f64> = edges(&points).map(turn_deg).collect();
    let around = (turns.iter().sum::<f64>().abs() - 360.0).abs() < 1.0 && turns.iter().all(|turn| turn.abs() < 60.0);
    let differs = |i: usize, j: usize| (numbers[i][0] - numbers[j][1]).abs() > 3.0;
    let is_two_eyes = !(0..n).any(|i| differs(i, (n / 2 + n - i) % n)) || !(0..n).any(|i| differs(i, i));
    around && size.x_mm.min(size.y_mm) >= LEAST_SIDE_MM && !is_two_eyes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::boxing::Boxing;
    use crate::shape::drawing::{DrawingKind, Placed, read};
    use crate::shape::record::TraceFile;

    fn size(text: &str, unit: Option<Unit>) -> Result<(f64, f64), DrawingRefused> {
        let file = read(text.as_bytes(), DrawingKind::Points, unit, Placed::default())?;
        let size = Boxing::of(&file.outlines().right);
        Ok((size.a_mm, size.b_mm))
    }

    /// An ellipse of 52 by 40 mm in rows.
    fn ellipse(row: impl Fn(f64, f64) -> String) -> String {
        (0..360).map(|i| f64::from(i).to_radians()).map(|t| row(26.0 * t.cos(), 20.0 * t.sin()) + "\n").collect()
    }

    #[test]
    fn reads_x_and_y_in_each_way_to_write_them() {
        let comma = |value: f64| format!("{value:.4}").replace('.', ",");
        for text in [
            ellipse(|x, y| format!("{x:.4},{y:.4}")),
            format!("x_mm;y_mm\n{}", ellipse(|x, y| format!("{x:.4};{y:.4}"))),
            format!("\u{feff}\"X\",\"Y\"\r\n{}", ellipse(|x, y| format!("{:.4}, {:.4}\r", x + 100.0, y + 70.0))),
            ellipse(|x, y| format!("{};{}", comma(x), comma(y))),
            ellipse(|x, y| format!("{}\t{}", comma(x), comma(y))),
        ] {
            assert!(is_points(&text));
            let (a_mm, b_mm) = size(&text, None).unwrap();
            assert!((a_mm - 52.0).abs() < 0.03 && (b_mm - 40.0).abs() < 0.03, "{a_mm} {b_mm}: {}", &text[..40]);
        }
        let inches = ellipse(|x, y| format!("{:.6},{:.6}", x / 25.4, y / 25.4));
        let (a_mm, _) = size(&inches, Some(Unit::Inch)).unwrap();
        assert!((a_mm - 52.0).abs() < 0.03);
    }

    #[test]
    fn reads_angle_and_radius_without_a_heading() {
        let text: String = (0..=36).map(|i| format!("{},{}\n", i * 10, 24)).collect();
        assert!(is_points(&text));
        let (a_mm, _) = size(&text, None).unwrap();
        assert!((a_mm - 48.0).abs() < 0.01);
        // A plain table of radii is none.
        assert!(!is_points(&"24.1;24.2\n".repeat(30)) && !is_points(&"2412\n".repeat(30)));
    }

    #[test]
    fn angles_may_run_either_way_and_start_anywhere() {
        let radius = |deg: f64| 24.0 + (180.0 - (180.0 - deg.rem_euclid(360.0)).abs()) / 100.0;
        let list =
            |angles: &[f64]| -> String { angles.iter().map(|deg| format!("{deg},{:.4}\n", radius(*deg))).collect() };
        let read = |text: &str| {
            assert!(is_points(text), "{}", &text[..30]);
            read(text.as_bytes(), DrawingKind::Points, None, Placed::default()).unwrap()
        };
        let all = |at: &dyn Fn(f64) -> f64| (0..180).map(|i| at(2.0 * f64::from(i))).collect::<Vec<f64>>();
        let usual = read(&list(&all(&|deg| deg)));
        let off = |file: &TraceFile| {
            let radii = file.traces.right.radii().iter().zip(usual.traces.right.radii());
            radii.map(|(a, b)| (a - b).abs()).max()
        };
        for angles in [
            all(&|deg| 358.0 - deg),
            all(&|deg| deg - 180.0),
            all(&|deg| -deg),
            all(&|deg| (deg + 90.0) % 360.0),
            all(&|deg| if deg > 180.0 { deg - 360.0 } else { deg }),
        ] {
            let file = read(&list(&angles));
            assert!(off(&file) <= Some(1) && file.warnings == usual.warnings, "{:?}", &angles[..3]);
        }
        // In no order, under a heading that says what they are.
        let mixed = list(&all(&|deg| deg * 29.0 % 360.0));
        let file = read(&format!("theta,r\n{mixed}"));
        assert!(off(&file) <= Some(1));
        assert_eq!(file.warnings[0].kind, WarningKind::AnglesSorted(None));
        assert_eq!(file.warnings.len(), usual.warnings.len() + 1);
    }

    #[test]
    fn lists_of_spreadsheets_in_other_languages() {
        let comma = |value: f64| format!("{value:.4}").replace('.', ",");
        for text in [
            format!("sep=;\n{}", ellipse(|x, y| format!("{};{}", comma(x), comma(y)))),
            format!("\u{feff}sep=,\nx,y\n{}", ellipse(|x, y| format!("{x:.4},{y:.4}"))),
            ellipse(|x, y| format!("\"{}\",\"{}\"", comma(x), comma(y))),
            format!("\"x\",\"y\"\n{}", ellipse(|x, y| format!("\"{}\",\"{}\"", comma(x), comma(y)))),
            ellipse(|x, y| format!("{x:.4},{y:.4}").replace('-', "−")),
        ] {
            assert_eq!(super::super::kind_of(text.as_bytes()), Some(DrawingKind::Points), "{}", &text[..40]);
            let (a_mm, b_mm) = size(&text, None).unwrap();
            assert!((a_mm - 52.0).abs() < 0.03 && (b_mm - 40.0).abs() < 0.03, "{a_mm} {b_mm}: {}", &text[..40]);
        }
    }

    #[test]
    fn one_bad_cell_is_named_without_a_heading_too() {
        let list = ellipse(|x, y| format!("{x:.4},{y:.4}"));
        let with = |line: usize, row: &str| {
            let mut rows: Vec<&str> = list.lines().collect();
            rows[line - 1] = row;
            rows.join("\n")
        };
        for (row, says) in [
            ("NaN,1.0", "Line 51: column 1: “NaN” is not a number"),
            ("1.0,1e9", "Line 51: column 2: “1e9” is not a number"),
            ("12.0,abc", "Line 51: column 2: “abc” is not a number"),
            (",3.0", "Line 51: column 1 is empty"),
            ("12.0", "Line 51: two numbers were expected, found “12.0”"),
            (
                "12.0,3.0,4.0",
                "Line 51: there are more than two columns: name them in a first line, with x and y among them",
            ),
        ] {
            let text = with(51, row);
            assert_eq!(super::super::kind_of(text.as_bytes()), Some(DrawingKind::Points), "{row}");
            assert_eq!(size(&text, None).unwrap_err().to_string(), says, "{row}");
        }
        // Angles and radii too; a file of records is none, and neither is a text with some numbers in it.
        let polar: String = (0..36).map(|i| format!("{},{}\n", i * 10, if i == 7 { "x" } else { "24.5" })).collect();
        assert!(is_points(&polar) && size(&polar, None).unwrap_err().to_string().starts_with("Line 8: column 2"));
        let records = format!("{}TRCFMT=1;12;E;R;F\n", "1;-2\n".repeat(100));
        assert!(!is_points(&records) && !is_points(&format!("some words\n{list}")));
        assert!(!is_points(&format!("1,-2\n{}", "some words\n1,2\n".repeat(50))));
    }

    #[test]
    fn a_column_may_name_the_eyes() {
        // The right box from -61 to -9, the left one, 50 wide, from 9 to 59.
        let at = |eye: &str, x_mm: f64, share: f64| ellipse(|x, y| format!("{eye},{},{}", x * share + x_mm, y * share));
        let (right, left) = (at("right", -35.0, 1.0), at("left", 34.0, 25.0 / 26.0));
        for text in [
            format!("eye,x_mm,y_mm\n{right}{left}"),
            format!("Eye,X,Y\n{left}{right}").replace("right", "OD").replace("left", "OS"),
        ] {
            assert!(is_points(&text));
            let file = read(text.as_bytes(), DrawingKind::Points, None, Placed::default()).unwrap();
            let size = file.outlines().map(|outline| Boxing::of(&outline).a_mm);
            assert!((size.right - 52.0).abs() < 0.03 && (size.left - 50.0).abs() < 0.03, "{size:?}");
            assert!((file.dbl_mm.unwrap() - 18.0).abs() < 1e-9 && file.derived.is_none() && file.warnings.is_empty());
        }
        // Both about their own middle: nothing is known of the distance between them.
        let text = format!(
            "eye;angle;radius\n{}",
            (0..36).map(|i| format!("R;{};24\nL;{0};23\n", i * 10)).collect::<String>()
        );
        let file = read(text.as_bytes(), DrawingKind::Points, None, Placed::default()).unwrap();
        let size = file.outlines().map(|outline| Boxing::of(&outline).a_mm);
        assert!(file.dbl_mm.is_none() && (size.right - 48.0).abs() < 0.03 && (size.left - 46.0).abs() < 0.03);
        let one = read(format!("eye,x,y\n{left}").as_bytes(), DrawingKind::Points, None, Placed::default()).unwrap();
        assert_eq!((one.derived, one.warnings.len()), (Some(Eye::Right), 0));
        let wrong = read(b"eye,x,y\nboth,1,2\n", DrawingKind::Points, None, Placed::default());
        assert!(matches!(wrong, Err(DrawingRefused::Line { line: 2, .. })));
    }

    #[test]
    fn a_heading_says_which_columns_and_which_unit() {
        let inches = |x: f64, y: f64| format!("{:.6},{:.6}", x / 25.4, y / 25.4);
        for text in [
            format!("Outline of job 7\n\nNo.;X (mm);Y (mm)\n{}", ellipse(|x, y| format!("7;{x:.4};{y:.4}"))),
            format!("x,y,z\n{}", ellipse(|x, y| format!("{x:.4},{y:.4},1.2"))),
            format!("x (in),y (in)\n{}", ellipse(inches)),
            format!("x in mm,y in mm\n{}", ellipse(|x, y| format!("{x:.4},{y:.4}"))),
            format!("x [cm]\ty [cm]\n{}", ellipse(|x, y| format!("{:.5}\t{:.5}", x / 10.0, y / 10.0))),
            format!("X,Y\r{}", ellipse(|x, y| format!("{x:.4},{y:.4}")).replace('\n', "\r")),
            // All positive, as a digitizer gives them from the corner of its field.
            ellipse(|x, y| format!("{:.4},{:.4}", x + 32.0, y + 27.0)),
            ellipse(|x, y| format!("{:.4} {:.4}", x + 100.0, y + 70.0)),
        ] {
            assert!(is_points(&text), "{}", &text[..40]);
            let (a_mm, b_mm) = size(&text, None).unwrap();
            assert!((a_mm - 52.0).abs() < 0.03 && (b_mm - 40.0).abs() < 0.03, "{a_mm} {b_mm}: {}", &text[..40]);
        }
        let text = format!("x,y\n{}", ellipse(|x, y| format!("{x:.2},{y:.2}").replace('.', ",")));
        let why = size(&text, None).unwrap_err().to_string();
        assert_eq!(why, "Line 2: the row has 4 columns, and the heading has 2");
        let three = ellipse(|x, y| format!("{x:.4},{y:.4},1.2"));
        assert!(is_points(&three) && size(&three, None).unwrap_err().to_string().contains("name them in a first line"));
    }

    #[test]
    fn a_heading_may_name_angle_and_radius_otherwise() {
        let rows = |angle: &dyn Fn(f64) -> f64| -> String {
            (0..360).map(|i| format!("{:.6};24.00\n", angle(f64::from(i)))).collect()
        };
        for text in [
            format!("theta;r\n{}", rows(&|deg| deg)),
            format!("deg;r_mm\n{}", rows(&|deg| deg)),
            format!("angle_rad;radius\n{}", rows(&|deg| deg.to_radians())),
        ] {
            assert!(is_points(&text));
            let (a_mm, b_mm) = size(&text, None).unwrap();
            assert!((a_mm - 48.0).abs() < 0.02 && (b_mm - 48.0).abs() < 0.02, "{a_mm} {b_mm}");
        }
        // Tables of radii are read as they are.
        let both: String = (0..100).map(|i| format!("{};{}\n", 20 + i % 3, 21 + i % 2)).collect();
        for table in [format!("angle;radius\n{}", rows(&|deg| deg)), format!("angle;R;L\n{both}"), both] {
            assert!(!is_points(&table), "{}", &table[..20]);
        }
    }

    /// Rows of a lens 52 by 40 mm, and a hole and a slot as another program may write them.
    #[test]
    fn rows_with_a_diameter_are_holes() {
        let drilled = |text: String| {
            let file = read(text.as_bytes(), DrawingKind::Points, None, Placed::default()).unwrap();
            let hole = |hole: &Hole| (hole.at, hole.slot_end, hole.diameter_mm);
            file.holes.map(|holes| holes.iter().map(hole).collect::<Vec<_>>())
        };
        let points = ellipse(|x, y| format!("{};{};;;", x + 100.0, y));
        let round = (Point::new(-22.0, 3.0), None, 1.4);
        let slot = (Point::new(22.0, 3.0), Some(Point::new(19.5, 2.5)), 2.0);
        let one = format!("x;y;hole diameter;to x;to y\n78;3;1,4;;\n{points}122;3;2;119,5;2,5\n");
        assert_eq!(drilled(one).right, [round, slot]);
        let named = ellipse(|x, y| format!("R;{x};{y}"));
        let named = drilled(format!("eye;x;y;hole\n{named}R;-22;3;1,4\n"));
        assert_eq!((named.right, named.left), (vec![round], Vec::new()));
        // Without the heading a third number is a fault, and so are four.
        for text in [
            format!("x;y\n{points}78;3;1,4\n"),
            format!("x;y;hole\n{points}78;3;1,4;5\n"),
            format!("x;y;hole\n{points}78;3;14\n"),
        ] {
            assert!(matches!(size(&text, None), Err(DrawingRefused::Line { .. })));
        }
    }

    #[test]
    fn a_list_that_is_cut_off_is_not_closed_by_a_straight_line() {
        let whole = ellipse(|x, y| format!("{x},{y}"));
        let rows: Vec<&str> = whole.lines().collect();
        let part = |count: usize| rows[..count].join("\n");
        assert!(size(&part(rows.len()), None).is_ok() && size(&part(rows.len() - 1), None).is_ok());
        let cut = size(&part(rows.len() * 9 / 10), None);
        assert!(matches!(cut, Err(DrawingRefused::Gap(_))), "{cut:?}");
        // A straight side that is meant: the first point once more.
        assert!(size(&format!("{}\n{}", part(rows.len() * 9 / 10), rows[0]), None).is_ok());
    }

    #[test]
    fn faults_name_their_line() {
        let text = format!("x,y\n1,2\n3,abc\n{}", ellipse(|x, y| format!("{x},{y}")));
        assert!(matches!(size(&text, None), Err(DrawingRefused::Line { line: 3, .. })));
        assert!(matches!(size("x,y\n1,2\n", None), Err(DrawingRefused::NotClosed)));
        let huge = ellipse(|x, y| format!("{},{}", x * 100.0, y * 100.0));
        assert!(matches!(size(&huge, None), Err(DrawingRefused::Size { .. })));
    }
}
