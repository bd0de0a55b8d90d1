//! Lists of points: x and y, or angle and radius, one row a point, with or without a heading. A heading may name a first
//! column, the eye.

use super::{DrawingRefused, DrawnLens, MAX_BYTES, Unit, lenses_of};
use crate::optics::{Eye, Pair};
use crate::shape::outline::{MIN_POINTS, Point};

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
}

/// The heading of a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Heading {
    /// Whether the first column is the eye.
    names_eyes: bool,
    columns: Columns,
}

/// Whether a text is such a list: a heading that names x and y, or rows of two numbers of which some are negative or the
/// first ones go once around from 0.
pub fn is_points(text: &str) -> bool {
    let mut rows = rows(text).take(4000);
    let Some((_, first)) = rows.next() else { return false };
    if heading(&first).is_some_and(|heading| heading.names_eyes || heading.columns == Columns::Cartesian) {
        return true;
    }
    let numbers: Option<Vec<[f64; 2]>> =
        std::iter::once(first).chain(rows.map(|row| row.1)).map(|row| two(&row)).collect();
    numbers.is_some_and(|numbers| {
        let has_negative = numbers.iter().flatten().any(|number| *number < 0.0);
        numbers.len() >= MIN_POINTS && (has_negative || goes_around(&numbers))
    })
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
    let mm = unit.unwrap_or(Unit::Mm).mm();
    let mut rows = rows(text).peekable();
    let heading = rows.peek().and_then(|(_, row)| heading(row));
    if heading.is_some() {
        rows.next();
    }
    let columns = heading.map(|heading| heading.columns);
    if !heading.is_some_and(|heading| heading.names_eyes) {
        let numbers = rows.map(|(line, row)| numbers(line, &row)).collect::<Result<Vec<_>, _>>()?;
        return Ok(Listed::One(lens(&numbers, columns, mm)?));
    }
    let mut found: Pair<Vec<[f64; 2]>> = Pair::default();
    for (line, row) in rows {
        let (name, rest) = row.split_first().ok_or(DrawingRefused::NotClosed)?;
        let eye = eye_named(name).ok_or_else(|| {
            let problem = format!("right or left was expected, found “{}”", name.chars().take(40).collect::<String>());
            DrawingRefused::Line { line, problem }
        })?;
        found.get_mut(eye).push(numbers(line, rest)?);
    }
    let each = |numbers: &[[f64; 2]]| (!numbers.is_empty()).then(|| lens(numbers, columns, mm)).transpose();
    Ok(Listed::Named(Pair::new(each(&found.right)?, each(&found.left)?)))
}

/// The lens of these rows.
fn lens(numbers: &[[f64; 2]], columns: Option<Columns>, mm: f64) -> Result<DrawnLens, DrawingRefused> {
    let columns = columns.unwrap_or(if goes_around(numbers) { Columns::Polar } else { Columns::Cartesian });
    let point = |[one, other]: &[f64; 2]| match columns {
        Columns::Cartesian => Point::new(one * mm, other * mm),
        Columns::Polar => Point::polar(other * mm, *one),
    };
    let mut points: Vec<Point> = numbers.iter().map(point).collect();
    let is_repeated = points.first().zip(points.last()).is_some_and(|(a, b)| a.minus(*b).length_mm() < 0.005);
    if is_repeated {
        points.pop();
    }
    if points.len() < MIN_POINTS {
        return Err(DrawingRefused::NotClosed);
    }
    lenses_of(vec![points])?.pop().ok_or(DrawingRefused::NotClosed)
}

fn eye_named(name: &str) -> Option<Eye> {
    Eye::BOTH.into_iter().find(|eye| name.eq_ignore_ascii_case(eye.name()) || name.eq_ignore_ascii_case(eye.letter()))
}

fn numbers(line: usize, row: &[String]) -> Result<[f64; 2], DrawingRefused> {
    let problem =
        || format!("two numbers were expected, found “{}”", row.join(" ").chars().take(40).collect::<String>());
    two(row).ok_or_else(|| DrawingRefused::Line { line, problem: problem() })
}

/// Lines that hold something, with their numbers and their parts. A comma is a decimal point where semicolons or tabs part
/// the columns.
fn rows(text: &str) -> impl Iterator<Item = (usize, Vec<String>)> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let comma_is_point = text.contains(';') || (text.contains('\t') && !text.contains('.'));
    let is_separator =
        move |c: char| c == ';' || c == '\t' || if comma_is_point { c == ' ' } else { c == ',' || c == ' ' };
    let parts = move |line: &str| -> Vec<String> {
        let parts = line.split(is_separator).map(|part| part.trim_matches(['"', ' ', '\r']));
        parts.filter(|part| !part.is_empty()).map(|part| part.replace(',', ".")).collect()
    };
    text.lines()
        .enumerate()
        .filter(|(_, line)| !line.trim().is_empty() && !line.starts_with('#'))
        .map(move |(index, line)| (index + 1, parts(line)))
}

fn two(row: &[String]) -> Option<[f64; 2]> {
    let number = |text: &String| text.parse::<f64>().ok().filter(|number| number.is_finite() && number.abs() < 1e6);
    match row {
        [one, other] => Some([number(one)?, number(other)?]),
        _ => None,
    }
}

fn heading(row: &[String]) -> Option<Heading> {
    let names: Vec<String> = row.iter().map(|name| name.to_lowercase()).collect();
    let names_eyes = names.first().is_some_and(|name| name.starts_with("eye"));
    let names = if names_eyes { &names[1..] } else { &names[..] };
    let starts = |index: usize, name: &str| names.get(index).is_some_and(|found| found.starts_with(name));
    let columns = match () {
        () if starts(0, "x") && names.iter().any(|name| name.starts_with('y')) => Columns::Cartesian,
        () if starts(0, "angle") || starts(0, "deg") => Columns::Polar,
        () => return None,
    };
    Some(Heading { names_eyes, columns })
}

/// Angles from about 0 up to about 360 with positive radii.
fn goes_around(numbers: &[[f64; 2]]) -> bool {
    let grows = numbers.windows(2).all(|w| w[0][0] < w[1][0] && w[1][0] - w[0][0] <= 60.0);
    let ends = numbers.first().zip(numbers.last()).map(|(first, last)| (first[0], last[0]));
    let is_round = ends.is_some_and(|(first, last)| (0.0..60.0).contains(&first) && (300.0..=360.0).contains(&last));
    grows && is_round && numbers.iter().all(|row| row[1] > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::boxing::Boxing;
    use crate::shape::drawing::{Kind, Placed, read};

    fn size(text: &str, unit: Option<Unit>) -> Result<(f64, f64), DrawingRefused> {
        let file = read(text.as_bytes(), Kind::Points, unit, Placed::default())?;
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
    fn a_column_may_name_the_eyes() {
        // The right box from -61 to -9, the left one, 50 wide, from 9 to 59.
        let at = |eye: &str, x_mm: f64, share: f64| ellipse(|x, y| format!("{eye},{},{}", x * share + x_mm, y * share));
        let (right, left) = (at("right", -35.0, 1.0), at("left", 34.0, 25.0 / 26.0));
        for text in [format!("eye,x_mm,y_mm\n{right}{left}"), format!("Eye,X,Y\n{left}{right}")] {
            assert!(is_points(&text));
            let file = read(text.as_bytes(), Kind::Points, None, Placed::default()).unwrap();
            let size = file.outlines().map(|outline| Boxing::of(&outline).a_mm);
            assert!((size.right - 52.0).abs() < 0.03 && (size.left - 50.0).abs() < 0.03, "{size:?}");
            assert!((file.dbl_mm.unwrap() - 18.0).abs() < 1e-9 && file.derived.is_none() && file.warnings.is_empty());
        }
        // Both about their own middle: nothing is known of the distance between them.
        let text = format!(
            "eye;angle;radius\n{}",
            (0..36).map(|i| format!("R;{};24\nL;{0};23\n", i * 10)).collect::<String>()
        );
        let file = read(text.as_bytes(), Kind::Points, None, Placed::default()).unwrap();
        let size = file.outlines().map(|outline| Boxing::of(&outline).a_mm);
        assert!(file.dbl_mm.is_none() && (size.right - 48.0).abs() < 0.03 && (size.left - 46.0).abs() < 0.03);
        let one = read(format!("eye,x,y\n{left}").as_bytes(), Kind::Points, None, Placed::default()).unwrap();
        assert_eq!((one.derived, one.warnings.len()), (Some(Eye::Right), 0));
        let wrong = read(b"eye,x,y\nboth,1,2\n", Kind::Points, None, Placed::default());
        assert!(matches!(wrong, Err(DrawingRefused::Line { line: 2, .. })));
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
