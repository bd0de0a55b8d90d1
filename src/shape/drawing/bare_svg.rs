//! An SVG drawing without what an outline does not need. Patterns, masks and markers are drawn again wherever they are used, and
//! within each other: a file of 3 kB came to 8 GB.

use std::fmt::Write;

use usvg::roxmltree::{Document, Node};

use super::DrawingRefused;

/// Rules of a style sheet times elements that each of them is held against.
const MOST_MATCHES: usize = 4_000_000;
const SVG: &str = "http://www.w3.org/2000/svg";
/// A picture of one dot, in the place of any other.
const DOT: &str = "data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNgAAAAAgABSK+kcQAAAABJRU5ErkJggg==";

/// What becomes of an element.
enum ElementUse {
    Group,
    Shape,
    /// Drawn with a plain gradient instead.
    Paint,
    /// What uses it is drawn as if there was none.
    Filter,
    Style,
    /// Said to be there, because it is not read.
    Picture,
}

impl ElementUse {
    fn of(name: &str) -> Option<Self> {
        Some(match name {
            "svg" | "g" | "a" | "defs" | "symbol" | "use" | "switch" => Self::Group,
            "path" | "rect" | "circle" | "ellipse" | "line" | "polyline" | "polygon" => Self::Shape,
            "linearGradient" | "radialGradient" | "pattern" => Self::Paint,
            "filter" => Self::Filter,
            "style" => Self::Style,
            "image" => Self::Picture,
            _ => return None,
        })
    }
}

/// The drawing written again. `stated` is an attribute of its root that replaces its own.
///
/// # Errors
///
/// [`DrawingRefused::TooMany`] for a style sheet that takes too long to apply.
pub(super) fn bare(document: &Document, stated: Option<&(&str, String)>) -> Result<String, DrawingRefused> {
    let elements = document.descendants().filter(Node::is_element).count();
    let styles = document.descendants().filter(|node| node.tag_name().name() == "style");
    let rules: usize = styles.map(|style| text_of(style).matches(['{', ',']).count()).sum();
    if rules.saturating_mul(elements) > MOST_MATCHES {
        return Err(DrawingRefused::TooMany);
    }
    let mut text = String::new();
    write(document.root_element(), stated, &mut text);
    Ok(text)
}

fn write(node: Node, stated: Option<&(&str, String)>, text: &mut String) {
    let name = node.tag_name().name();
    let is_svg = node.tag_name().namespace().is_none_or(|space| space == SVG);
    let Some(part) = ElementUse::of(name).filter(|_| is_svg) else { return };
    let name = if matches!(part, ElementUse::Paint) { "linearGradient" } else { name };
    *text += "<";
    *text += name;
    if node.parent().is_none_or(|parent| parent.is_root()) {
        attribute("xmlns", SVG, text);
        stated.iter().for_each(|(name, value)| attribute(name, value, text));
    }
    let is_replaced = |name: &str| stated.is_some_and(|stated| stated.0 == name);
    let own = node.attributes().filter(|own| own.namespace().is_none() && own.name() != "href");
    for own in own.filter(|own| !is_replaced(own.name())) {
        attribute(own.name(), own.value(), text);
    }
    match (&part, link_of(node)) {
        (ElementUse::Picture, _) => attribute("href", DOT, text),
        (ElementUse::Group, Some(link)) => attribute("href", link, text),
        _ => {}
    }
    *text += ">";
    match part {
        ElementUse::Group => node.children().filter(Node::is_element).for_each(|child| write(child, None, text)),
        ElementUse::Paint => *text += "<stop/><stop offset=\"1\" stop-color=\"red\"/>",
        ElementUse::Filter => *text += "<feOffset/>",
        ElementUse::Style => escaped(&text_of(node), text),
        ElementUse::Shape | ElementUse::Picture => {}
    }
    let _ = write!(text, "</{name}>");
}

/// Of two links, `href` and that of XLink, the first counts.
pub(super) fn link_of<'a>(node: Node<'a, '_>) -> Option<&'a str> {
    node.attributes().find(|attribute| attribute.name() == "href").map(|attribute| attribute.value())
}

fn text_of(node: Node) -> String {
    node.children().filter_map(|child| child.text()).collect()
}

fn attribute(name: &str, value: &str, text: &mut String) {
    let _ = write!(text, " {name}=\"");
    escaped(value, text);
    *text += "\"";
}

fn escaped(value: &str, text: &mut String) {
    for c in value.chars() {
        match c {
            '&' => *text += "&amp;",
            '<' => *text += "&lt;",
            '>' => *text += "&gt;",
            '"' => *text += "&quot;",
            // Any other space would be read as one space.
            '\t' | '\n' | '\r' => {
                let _ = write!(text, "&#{};", u32::from(c));
            }
            c => text.push(c),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_makes_an_outline_is_kept() {
        let text = "<?xml version=\"1.0\"?><svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" \
                    xmlns:o=\"other\" width=\"9mm\"><style>.a{fill:none}</style><o:path d=\"M1 1\"/><title>A &amp; B</title>\
                    <defs><pattern id=\"p\"><rect width=\"1\"/></pattern><mask id=\"m\"><path d=\"M0 0\"/></mask>\
                    <filter id=\"f\"><feFlood/></filter></defs><g o:label=\"x\" style=\"mask:url(#m)\"><use xlink:href=\"#a\" href=\"#b\"/>\
                    <path class=\"a\" d=\"M0 0&#10;L1 &lt;1\"/><image xlink:href=\"scan.png\" width=\"5\"/></g></svg>";
        let want = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"9mm\"><style>.a{{fill:none}}</style>\
             <defs><linearGradient id=\"p\"><stop/><stop offset=\"1\" stop-color=\"red\"/></linearGradient>\
             <filter id=\"f\"><feOffset/></filter></defs><g style=\"mask:url(#m)\"><use href=\"#a\"></use>\
             <path class=\"a\" d=\"M0 0&#10;L1 &lt;1\"></path><image width=\"5\" href=\"{DOT}\"></image></g></svg>"
        );
        assert_eq!(bare(&Document::parse(text).unwrap(), None).unwrap(), want);
    }

    #[test]
    fn a_style_sheet_that_takes_too_long_is_refused() {
        let text = format!("<svg><style>{}</style>{}</svg>", ".a{}".repeat(3_000), "<g/>".repeat(3_000));
        assert_eq!(bare(&Document::parse(&text).unwrap(), None), Err(DrawingRefused::TooMany));
    }
}
