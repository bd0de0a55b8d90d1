//! SVG drawings.

use std::borrow::Cow;
use std::collections::HashMap;

use usvg::tiny_skia_path::PathSegment;
use usvg::{Group, Node, Options, Tree, roxmltree};

use super::bare_svg::{bare, link_of};
use super::curve::{DrawnLines, Polyline, bezier};
use super::path_data::check_numbers;
use super::{DrawingRefused, DrawnLens, MAX_BYTES, MOST_PIECES, Unit, join, lenses_drawn};
use crate::shape::outline::Point;

/// The most elements, with all that is used again counted as often as it is used.
const MOST_ELEMENTS: usize = 20_000;
/// Uses within uses within uses.
const DEEPEST_USE: usize = 6;

/// The lenses of an SVG drawing, in mm with y up. Its `width` says the unit of the drawing where it is in mm, cm, in, pt
/// or pc; otherwise the unit of its coordinates must be stated.
///
/// # Errors
///
/// [`DrawingRefused`].
pub fn read_svg(text: &str, unit: Option<Unit>) -> Result<Vec<DrawnLens>, DrawingRefused> {
    if text.len() > MAX_BYTES {
        return Err(DrawingRefused::TooLarge(text.len()));
    }
    // Entities can blow a short file up to any size, and no drawing program needs them for an outline.
    if text.contains("<!ENTITY") {
        return Err(DrawingRefused::NotRead("an entity".to_owned()));
    }
    let text = &without_doctype(text);
    let document = roxmltree::Document::parse(text).map_err(|why| DrawingRefused::Damaged(why.to_string()))?;
    check_size(&document)?;
    refuse_styled_transforms(&document)?;
    check_numbers(&document)?;
    let other_side = other_side(document.root_element());
    let tree = Tree::from_str(&bare(&document, other_side.as_ref())?, &Options::default())
        .map_err(|why| DrawingRefused::Damaged(why.to_string()))?;
    let mm = mm_per_px(&document, &tree, unit)?;
    let mut drawn = DrawnLines::default();
    collect(tree.root(), mm, &mut drawn)?;
    let page = Point::new(f64::from(tree.size().width()) * mm, -f64::from(tree.size().height()) * mm);
    let (lines, is_twice) = join::once(drawn.lines);
    let lines = join::closed(lines)?.into_iter().filter(|line| !is_page(line, page));
    lenses_drawn(lines.collect(), is_twice)
}

/// The height of a drawing that states only its width, or the other way round, as its view has it. An attribute and its value.
pub(super) fn other_side(root: roxmltree::Node) -> Option<(&'static str, String)> {
    let [_, _, wide, high] = view_of(root)?;
    let stated = |name: &str| root.attribute(name).map(str::trim).filter(|value| !matches!(*value, "" | "auto"));
    let (name, stated, ratio) = match (stated("width"), stated("height")) {
        (Some(width), None) => ("height", width, high / wide),
        (None, Some(height)) => ("width", height, wide / high),
        _ => return None,
    };
    let unit_at = stated.find(|c: char| c.is_ascii_alphabetic() && !matches!(c, 'e' | 'E')).unwrap_or(stated.len());
    let (number, unit) = stated.split_at(unit_at);
    let length = number.trim().parse::<f64>().ok().filter(|length| length.is_finite() && *length > 0.0)?;
    Some((name, format!("{}{unit}", length * ratio)))
}

/// The view of a drawing: x, y, width and height.
fn view_of(root: roxmltree::Node) -> Option<[f64; 4]> {
    let parts =
        root.attribute("viewBox")?.split(|c: char| c.is_whitespace() || c == ',').filter(|part| !part.is_empty());
    let numbers: Vec<f64> = parts.map(|part| part.parse().ok()).collect::<Option<_>>()?;
    let view: [f64; 4] = numbers.try_into().ok()?;
    (view[2] > 0.0 && view[3] > 0.0 && view.iter().all(|number| number.is_finite())).then_some(view)
}

/// A document type says where its grammar is, as older drawing programs write it; the outline does not need it. One that declares
/// something of its own stays, and is refused.
fn without_doctype(text: &str) -> Cow<'_, str> {
    let found = text.find("<!DOCTYPE").and_then(|from| Some((from, from + text[from..].find('>')? + 1)));
    match found.filter(|(from, to)| !text[*from..*to].contains('[')) {
        // The lines after it keep their numbers.
        Some((from, to)) => {
            let lines = text[from..to].matches('\n').count();
            Cow::Owned(format!("{}{}{}", &text[..from], "\n".repeat(lines), &text[to..]))
        }
        None => Cow::Borrowed(text),
    }
}

/// Refuses what would turn or resize a line from within a style: only the attribute `transform` is read.
fn refuse_styled_transforms(document: &roxmltree::Document) -> Result<(), DrawingRefused> {
    let moves = |style: &str| {
        let named = style.split([';', '{', '}']).filter_map(|part| part.split_once(':'));
        named.map(|(name, _)| name.trim()).any(|name| ["transform", "rotate", "scale", "translate"].contains(&name))
    };
    let is_styled = |node: roxmltree::Node| {
        node.attribute("style").is_some_and(moves)
            || node.tag_name().name() == "style" && node.descendants().filter_map(|part| part.text()).any(moves)
    };
    match document.descendants().any(is_styled) {
        true => Err(DrawingRefused::NotRead("a transform in a style".to_owned())),
        false => Ok(()),
    }
}

/// Whether a closed line is the border of the page, as a program draws it for the background.
fn is_page(line: &[Point], page: Point) -> bool {
    let slack_mm = 0.005 * page.x_mm.max(-page.y_mm);
    let is_corner = |p: &Point| {
        let is_at = |at: f64, end: f64| at.abs().min((at - end).abs()) <= slack_mm;
        is_at(p.x_mm, page.x_mm) && is_at(p.y_mm, page.y_mm)
    };
    line.len() == 4 && line.iter().all(is_corner)
}

/// Refuses a drawing that uses its parts again and again.
fn check_size(document: &roxmltree::Document) -> Result<(), DrawingRefused> {
    // Of several with one name, any may be meant: all of them count.
    let mut named: HashMap<&str, Vec<roxmltree::Node>> = HashMap::new();
    for (name, node) in document.descendants().filter_map(|node| Some((node.attribute("id")?, node))) {
        named.entry(name).or_default().push(node);
    }
    count(document.root_element(), &named, 0, &mut { MOST_ELEMENTS })
}

fn count(
    node: roxmltree::Node,
    named: &HashMap<&str, Vec<roxmltree::Node>>,
    deep: usize,
    left: &mut usize,
) -> Result<(), DrawingRefused> {
    for element in node.descendants().filter(roxmltree::Node::is_element) {
        *left = left.checked_sub(1).ok_or(DrawingRefused::TooMany)?;
        if element.tag_name().name() != "use" {
            continue;
        }
        let targets = link_of(element).and_then(|link| named.get(link.trim().trim_start_matches('#')));
        if deep >= DEEPEST_USE {
            return Err(DrawingRefused::TooMany);
        }
        for target in targets.into_iter().flatten() {
            count(*target, named, deep + 1, left)?;
        }
    }
    Ok(())
}

/// Millimeters for each CSS pixel of the drawing as laid out.
fn mm_per_px(document: &roxmltree::Document, tree: &Tree, unit: Option<Unit>) -> Result<f64, DrawingRefused> {
    let root = document.root_element();
    let is_physical = |name: &str| {
        let own = root.attribute(name).map(str::trim).filter(|value| !matches!(*value, "" | "auto"));
        // A side that is not stated is as long as the other one makes it.
        let value = own.or(root.attribute(if name == "width" { "height" } else { "width" })).unwrap_or_default().trim();
        ["mm", "cm", "in", "pt", "pc"].iter().any(|unit| value.ends_with(unit))
    };
    if is_physical("width") && is_physical("height") {
        return Ok(Unit::Px.mm());
    }
    let unit = unit.ok_or(DrawingRefused::NoUnit)?;
    // Pixels are those that the drawing is shown in. Any other unit is that of its coordinates.
    let view = view_of(root).filter(|_| unit != Unit::Px);
    let px_per_unit = view.map_or(1.0, |[_, _, wide, high]| {
        (f64::from(tree.size().width()) / wide).min(f64::from(tree.size().height()) / high)
    });
    Ok(unit.mm() / px_per_unit)
}

fn collect(group: &Group, mm: f64, lines: &mut DrawnLines) -> Result<(), DrawingRefused> {
    for node in group.children() {
        match node {
            Node::Group(group) => collect(group, mm, lines)?,
            Node::Path(path) if path.is_visible() => {
                let data = path.data();
                let placed = data.clone().transform(path.abs_transform());
                flatten(placed.as_ref().unwrap_or(data).segments(), mm, lines)?;
            }
            Node::Image(_) => return Err(DrawingRefused::NotRead("a picture".to_owned())),
            Node::Path(_) | Node::Text(_) => {}
        }
    }
    Ok(())
}

/// A huge arc comes as thousands of curves: they are counted while they are drawn, not after.
fn flatten(segments: impl Iterator<Item = PathSegment>, mm: f64, lines: &mut DrawnLines) -> Result<(), DrawingRefused> {
    let point = |p: usvg::tiny_skia_path::Point| Point::new(f64::from(p.x) * mm, -f64::from(p.y) * mm);
    let mut line: Polyline = Vec::new();
    for segment in segments {
        let from = line.last().copied().unwrap_or_default();
        match segment {
            PathSegment::MoveTo(to) => {
                lines.add([std::mem::take(&mut line)])?;
                line.push(point(to));
            }
            PathSegment::LineTo(to) => line.push(point(to)),
            PathSegment::QuadTo(a, to) => bezier(&[from, point(a), point(to)], &mut line),
            PathSegment::CubicTo(a, b, to) => bezier(&[from, point(a), point(b), point(to)], &mut line),
            PathSegment::Close => line.extend(line.first().copied()),
        }
        if line.len() > MOST_PIECES {
            return Err(DrawingRefused::TooMany);
        }
    }
    lines.add([line])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::drawing::{Placed, traces};

    fn sizes(svg: &str, unit: Option<Unit>) -> Result<(f64, f64, Option<f64>), DrawingRefused> {
        let file = traces(&read_svg(svg, unit)?, Placed::default(), true)?;
        let size = crate::shape::boxing::Boxing::of(&file.outlines().right);
        Ok((size.a_mm, size.b_mm, file.dbl_mm))
    }

    fn svg(root: &str, body: &str) -> String {
        format!("<svg xmlns=\"http://www.w3.org/2000/svg\" {root}>{body}</svg>")
    }

    const ELLIPSE: &str = "<ellipse cx=\"50\" cy=\"40\" rx=\"26\" ry=\"19\" fill=\"none\" stroke=\"black\"/>";

    #[test]
    fn the_unit_is_read_or_asked() {
        for (root, unit, want) in [
            ("width=\"100mm\" height=\"80mm\" viewBox=\"0 0 100 80\"", None, (52.0, 38.0)),
            ("width=\"10cm\" height=\"8cm\" viewBox=\"0 0 100 80\"", Some(Unit::Inch), (52.0, 38.0)),
            ("width=\"200\" height=\"160\" viewBox=\"0 0 100 80\"", Some(Unit::Mm), (52.0, 38.0)),
            ("viewBox=\"0 0 100 80\"", Some(Unit::Mm), (52.0, 38.0)),
            ("width=\"100mm\" viewBox=\"0 0 100 80\"", None, (52.0, 38.0)),
            ("height=\"8cm\" width=\"auto\" viewBox=\"0 0 100 80\"", None, (52.0, 38.0)),
            ("width=\"2e2\" viewBox=\"0 0 100 80\"", Some(Unit::Mm), (52.0, 38.0)),
            // Half as large as its coordinates, and pixels are those that it is shown in.
            (
                "width=\"189px\" height=\"151.2px\" viewBox=\"0 0 50 40\" ",
                Some(Unit::Px),
                (52.0 * 1.000_125, 38.0 * 1.000_125),
            ),
            ("width=\"100\" height=\"80\"", Some(Unit::Pt), (52.0 * 25.4 / 72.0, 38.0 * 25.4 / 72.0)),
        ] {
            let (a_mm, b_mm, _) = sizes(&svg(root, ELLIPSE), unit).unwrap();
            assert!((a_mm - want.0).abs() < 0.02 && (b_mm - want.1).abs() < 0.02, "{root}: {a_mm} {b_mm}");
        }
        assert_eq!(sizes(&svg("viewBox=\"0 0 100 80\"", ELLIPSE), None), Err(DrawingRefused::NoUnit));
        let huge = sizes(&svg("width=\"100in\" height=\"80in\" viewBox=\"0 0 100 80\"", ELLIPSE), None);
        assert!(matches!(huge, Err(DrawingRefused::Size { .. })), "{huge:?}");
    }

    #[test]
    fn a_prefix_and_a_long_text_before_it_change_nothing() {
        let root = "width=\"100mm\" height=\"80mm\" viewBox=\"0 0 100 80\"";
        let plain = svg(root, ELLIPSE);
        let prefixed = plain
            .replace("<svg xmlns=", "<s:svg xmlns:s=")
            .replace("<ellipse", "<s:ellipse")
            .replace("</svg", "</s:svg");
        let license = format!("<?xml version=\"1.0\"?>\n<!-- {} -->\n{plain}", "some words ".repeat(2_000));
        for text in [&plain, &prefixed, &license] {
            assert_eq!(crate::shape::drawing::kind_of(text.as_bytes()), Some(crate::shape::drawing::DrawingKind::Svg));
            assert_eq!(sizes(text, None), sizes(&plain, None));
        }
        assert!(sizes(&plain, None).is_ok());
        // The surface and its border; a path that is cut off, in its line.
        let twice = traces(&read_svg(&svg(root, &ELLIPSE.repeat(2)), None).unwrap(), Placed::default(), true).unwrap();
        assert_eq!(twice.warnings[0].kind, crate::shape::record::WarningKind::DrawnTwice);
        let doctype = "<!DOCTYPE svg\nPUBLIC \"x\"\n\"y\">\n";
        let cut = format!("{doctype}{}", svg(root, &format!("{ELLIPSE}\n<path d=\"M0 0L5 5 7\"/>")));
        assert!(sizes(&cut, None).unwrap_err().to_string().starts_with("Line 5: the path is cut off"));
    }

    #[test]
    fn a_pair_has_its_distance_and_holes_are_no_lenses() {
        let pair = "<g transform=\"translate(10 0)\"><circle cx=\"30\" cy=\"40\" r=\"25\"/><circle cx=\"98\" cy=\"40\" \
                    r=\"25\"/><circle cx=\"12\" cy=\"40\" r=\"1\" fill=\"red\"/></g>";
        let root = "width=\"140mm\" height=\"80mm\" viewBox=\"0 0 140 80\"";
        let (a_mm, _, dbl_mm) = sizes(&svg(root, pair), None).unwrap();
        assert!((a_mm - 50.0).abs() < 0.02 && (dbl_mm.unwrap() - 18.0).abs() < 0.02);
    }

    #[test]
    fn the_border_of_the_page_is_no_lens_and_a_line_inside_another_is_refused() {
        let page = "<rect width=\"70\" height=\"60\" fill=\"white\"/>";
        let lens = "<ellipse cx=\"35\" cy=\"30\" rx=\"26\" ry=\"19\"/>";
        let root = "width=\"70mm\" height=\"60mm\" viewBox=\"0 0 70 60\"";
        let (a_mm, b_mm, _) = sizes(&svg(root, &format!("{page}{lens}")), None).unwrap();
        assert!((a_mm - 52.0).abs() < 0.02 && (b_mm - 38.0).abs() < 0.02, "{a_mm} {b_mm}");
        // A border that is not the page, and an outline drawn as a line with a width.
        let border = "<rect x=\"2\" y=\"2\" width=\"66\" height=\"56\"/>";
        let inner = "<ellipse cx=\"35\" cy=\"30\" rx=\"25.5\" ry=\"18.5\"/>";
        for other in [border, inner] {
            let refused = sizes(&svg(root, &format!("{other}{lens}")), None);
            assert!(matches!(refused, Err(DrawingRefused::Nested { .. })), "{refused:?}");
        }
    }

    #[test]
    fn bombs_and_other_drawings_are_refused() {
        let root = "width=\"100mm\" height=\"80mm\" viewBox=\"0 0 100 80\"";
        let mut bomb = "<g id=\"a0\"><path d=\"M0 0L1 1\"/></g>".to_owned();
        for i in 1..12 {
            bomb += &format!("<g id=\"a{i}\">{}</g>", format!("<use href=\"#a{}\"/>", i - 1).repeat(10));
        }
        assert_eq!(sizes(&svg(root, &bomb), None), Err(DrawingRefused::TooMany));
        let huge = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"60mm\" height=\"50mm\"><ellipse cx=\"30\" cy=\"25\" rx=\"26\" ry=\"1e20\"/></svg>";
        assert_eq!(sizes(huge, None), Err(DrawingRefused::TooMany));
        let entity = "<!DOCTYPE svg [<!ENTITY a \"aaaa\">]><svg>&a;</svg>";
        assert!(matches!(sizes(entity, None), Err(DrawingRefused::NotRead(_))));
        assert_eq!(
            sizes(&svg(root, "<path d=\"M0 0L50 0L50 40\" stroke=\"black\"/>"), None),
            Err(DrawingRefused::NotClosed)
        );
        assert!(matches!(sizes("<svg", None), Err(DrawingRefused::Damaged(_))));
        // A document type alone is passed over; a turn in a style would be missed.
        let rect = svg(root, "<rect width=\"50\" height=\"30\"/>");
        let typed = rect.replacen("<svg", "<!DOCTYPE svg PUBLIC \"-//W3C//DTD SVG 1.1//EN\" \"svg11.dtd\"><svg", 1);
        assert_eq!(sizes(&typed, None), sizes(&rect, None));
        assert!(sizes(&rect, None).is_ok());
        for styled in [
            rect.replacen("<rect", "<rect style=\"fill:none; transform: rotate(20deg)\"", 1),
            rect.replacen("<rect", "<style>rect { rotate: 20deg }</style><rect", 1),
        ] {
            assert!(matches!(sizes(&styled, None), Err(DrawingRefused::NotRead(_))), "{styled}");
        }
        // A lens and the border of a text beside it, or across it.
        for other in ["x=\"70\" width=\"40\" height=\"15\"", "x=\"49\" width=\"50\" height=\"30\""] {
            let two = svg(root, &format!("<rect width=\"50\" height=\"30\"/><rect {other}/>"));
            assert!(matches!(sizes(&two, None), Err(DrawingRefused::NoPair { .. })), "{other}");
        }
        // A line that crosses itself.
        let eight = "<path d=\"M0 0L50 40L50 0L0 40Z\"/>";
        assert!(matches!(sizes(&svg(root, eight), None), Err(DrawingRefused::NotALens(_))));
    }
}
