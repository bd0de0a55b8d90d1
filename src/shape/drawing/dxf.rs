//! DXF drawings in text form: pairs of lines, a code and a value. Only what an outline is made of is read: lines, arcs,
//! circles, ellipses, polylines with bulges, splines. Other entities (text, dimensions, points) are left out; a block is
//! refused, because an outline may be in it. Codes are those of the format's public reference.

use std::f64::consts::TAU;

use super::curve::{self, Line, limited};
use super::{DrawingRefused, DrawnLens, MAX_BYTES, Unit, join, lenses_of};
use crate::shape::outline::Point;

/// A code and its value, with the number of the code's line.
#[derive(Clone, Copy)]
struct Pair<'a> {
    line: usize,
    code: i32,
    value: &'a str,
}

impl Pair<'_> {
    fn number(&self) -> Result<f64, DrawingRefused> {
        let number = self.value.parse::<f64>().ok().filter(|number| number.is_finite() && number.abs() < 1e9);
        number.ok_or_else(|| fault(self.line + 1, &format!("“{}” is not a number", short(self.value))))
    }
}

fn fault(line: usize, problem: &str) -> DrawingRefused {
    DrawingRefused::Line { line, problem: problem.to_owned() }
}

fn short(value: &str) -> String {
    value.chars().filter(|c| !c.is_control()).take(20).collect()
}

/// The lenses of a DXF drawing, in mm with y up. `$INSUNITS` says the unit unless it is 0.
///
/// # Errors
///
/// [`DrawingRefused`].
pub fn read_dxf(text: &str, unit: Option<Unit>) -> Result<Vec<DrawnLens>, DrawingRefused> {
    if text.len() > MAX_BYTES {
        return Err(DrawingRefused::TooLarge(text.len()));
    }
    let pairs = pairs(text)?;
    let mm = mm_per_unit(&pairs, unit)?;
    let mut lines = Vec::new();
    for entity in entities(&pairs) {
        lines.extend(line_of(entity, mm)?);
        limited(&lines)?;
    }
    lines.extend(polylines(&pairs, mm)?);
    limited(&lines)?;
    lenses_of(join::closed(lines))
}

fn pairs(text: &str) -> Result<Vec<Pair<'_>>, DrawingRefused> {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let mut pairs = Vec::with_capacity(lines.len() / 2);
    for (index, pair) in lines.chunks(2).enumerate() {
        let line = 2 * index + 1;
        match pair {
            [code, value] => {
                let code = code.parse().map_err(|_| fault(line, &format!("“{}” is not a code", short(code))))?;
                pairs.push(Pair { line, code, value });
            }
            [""] => {}
            _ => return Err(fault(line, "the file ends inside of a pair of lines")),
        }
    }
    if pairs.is_empty() {
        return Err(DrawingRefused::NotClosed);
    }
    Ok(pairs)
}

/// `$INSUNITS`: 1 inch, 4 mm, 5 cm, 6 m.
fn mm_per_unit(pairs: &[Pair], unit: Option<Unit>) -> Result<f64, DrawingRefused> {
    let at = pairs.iter().position(|pair| pair.code == 9 && pair.value == "$INSUNITS");
    let stated = match at.and_then(|at| pairs.get(at + 1)).filter(|pair| pair.code == 70).map(|pair| pair.value) {
        Some("1") => Some(25.4),
        Some("4") => Some(1.0),
        Some("5") => Some(10.0),
        Some("6") => Some(1000.0),
        _ => None,
    };
    stated.or(unit.map(Unit::mm)).ok_or(DrawingRefused::NoUnit)
}

/// The entities of the section of entities, each from its name to before the next.
fn entities<'a, 'b>(pairs: &'b [Pair<'a>]) -> impl Iterator<Item = &'b [Pair<'a>]> {
    let start = pairs.windows(2).position(|w| w[0].value == "SECTION" && w[1].code == 2 && w[1].value == "ENTITIES");
    let section = start.map_or(&[][..], |start| &pairs[start + 2..]);
    let end = section.iter().position(|pair| pair.code == 0 && pair.value == "ENDSEC").unwrap_or(section.len());
    section[..end].chunk_by(|_, next| next.code != 0).filter(|entity| entity[0].code == 0)
}

/// What an entity says by code.
struct Codes<'a, 'b>(&'b [Pair<'a>]);

impl Codes<'_, '_> {
    fn number(&self, code: i32) -> Result<Option<f64>, DrawingRefused> {
        self.0.iter().skip(1).find(|pair| pair.code == code).map(Pair::number).transpose()
    }

    fn needed(&self, code: i32) -> Result<f64, DrawingRefused> {
        let name = self.0[0].value;
        self.number(code)?.ok_or_else(|| fault(self.0[0].line, &format!("{name} has no code {code}")))
    }

    fn point(&self, code: i32, mm: f64) -> Result<Point, DrawingRefused> {
        Ok(Point::new(self.needed(code)? * mm, self.needed(code + 10)? * mm))
    }

    /// Every value of a code.
    fn all(&self, code: i32) -> Result<Vec<f64>, DrawingRefused> {
        self.0.iter().skip(1).filter(|pair| pair.code == code).map(Pair::number).collect()
    }

    fn has_flag(&self, flag: i64) -> Result<bool, DrawingRefused> {
        Ok(self.number(70)?.unwrap_or(0.0) as i64 & flag != 0)
    }
}

fn line_of(entity: &[Pair], mm: f64) -> Result<Option<Line>, DrawingRefused> {
    let codes = Codes(entity);
    let line = match entity[0].value {
        "LINE" => vec![codes.point(10, mm)?, codes.point(11, mm)?],
        "CIRCLE" => {
            let axis = Point::new(codes.needed(40)? * mm, 0.0);
            curve::arc(codes.point(10, mm)?, axis, 1.0, 0.0, TAU)
        }
        "ARC" => {
            let axis = Point::new(codes.needed(40)? * mm, 0.0);
            let (from, to) = (codes.needed(50)?.to_radians(), codes.needed(51)?.to_radians());
            curve::arc(codes.point(10, mm)?, axis, 1.0, from, to)
        }
        "ELLIPSE" => {
            let (from, to) = (codes.number(41)?.unwrap_or(0.0), codes.number(42)?.unwrap_or(TAU));
            curve::arc(codes.point(10, mm)?, codes.point(11, mm)?, codes.needed(40)?, from, to)
        }
        "LWPOLYLINE" => light_polyline(&codes, mm)?,
        "SPLINE" => spline(&codes, mm)?,
        "INSERT" => return Err(DrawingRefused::NotRead("a block".to_owned())),
        _ => return Ok(None),
    };
    Ok(Some(line))
}

/// A vertex with the bulge of the piece that follows it.
type Vertex = (Point, f64);

fn light_polyline(codes: &Codes, mm: f64) -> Result<Line, DrawingRefused> {
    let mut vertices: Vec<Vertex> = Vec::new();
    for pair in codes.0.iter().skip(1) {
        match (pair.code, vertices.last_mut()) {
            (10, _) => vertices.push((Point::new(pair.number()? * mm, 0.0), 0.0)),
            (20, Some(vertex)) => vertex.0.y_mm = pair.number()? * mm,
            (42, Some(vertex)) => vertex.1 = pair.number()?,
            _ => {}
        }
    }
    Ok(bulged(&vertices, codes.has_flag(1)?))
}

fn bulged(vertices: &[Vertex], is_closed: bool) -> Line {
    let mut line: Line = vertices.first().map(|vertex| vertex.0).into_iter().collect();
    let next = vertices.iter().skip(1).chain(vertices.first().filter(|_| is_closed));
    for (from, to) in vertices.iter().zip(next) {
        curve::bulge(from.0, to.0, from.1, &mut line);
    }
    line
}

/// The older polylines: a POLYLINE, its VERTEX entities, and a SEQEND.
fn polylines(pairs: &[Pair], mm: f64) -> Result<Vec<Line>, DrawingRefused> {
    let mut lines = Vec::new();
    let mut open: Option<(bool, Vec<Vertex>)> = None;
    for entity in entities(pairs) {
        let codes = Codes(entity);
        match (entity[0].value, &mut open) {
            ("POLYLINE", _) => open = Some((codes.has_flag(1)?, Vec::new())),
            // The control points of a fitted polyline (flag 16) lie off the line.
            ("VERTEX", Some((_, vertices))) if !codes.has_flag(16)? => {
                vertices.push((codes.point(10, mm)?, codes.number(42)?.unwrap_or(0.0)));
            }
            ("VERTEX", _) => {}
            _ => lines.extend(open.take().map(|(is_closed, vertices)| bulged(&vertices, is_closed))),
        }
    }
    lines.extend(open.map(|(is_closed, vertices)| bulged(&vertices, is_closed)));
    Ok(lines)
}

fn spline(codes: &Codes, mm: f64) -> Result<Line, DrawingRefused> {
    let points = |code: i32| -> Result<Vec<Point>, DrawingRefused> {
        let (x, y) = (codes.all(code)?, codes.all(code + 10)?);
        Ok(x.iter().zip(&y).map(|(x, y)| Point::new(x * mm, y * mm)).collect())
    };
    let degree = codes.number(71)?.unwrap_or(3.0).clamp(0.0, 99.0) as usize;
    let line = curve::spline(degree, &codes.all(40)?, &points(10)?, &codes.all(41)?);
    line.ok_or_else(|| fault(codes.0[0].line, "the spline's knots and control points do not fit together"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::boxing::Boxing;
    use crate::shape::drawing::{Placed, traces};
    use proptest::prelude::*;

    fn dxf(unit: &str, entities: &str) -> String {
        let header = format!("0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n{unit}\n0\nENDSEC\n");
        format!("{header}0\nSECTION\n2\nENTITIES\n{entities}\n0\nENDSEC\n0\nEOF\n")
    }

    fn size(text: &str, unit: Option<Unit>) -> Result<(f64, f64), DrawingRefused> {
        let file = traces(&read_dxf(text, unit)?, Placed::default(), true)?;
        let size = Boxing::of(&file.outlines().right);
        Ok((size.a_mm, size.b_mm))
    }

    /// A stadium: two straight sides of 20 and half circles of radius 15, 50 by 30.
    const STADIUM: &str =
        "0\nLWPOLYLINE\n90\n4\n70\n1\n10\n-10\n20\n-15\n10\n10\n20\n-15\n42\n1\n10\n10\n20\n15\n10\n-10\n20\n15\n42\n1";

    #[test]
    fn each_entity_closes_the_same_stadium() {
        let lines = "0\nLINE\n10\n10\n20\n15\n11\n-10\n21\n15\n0\nARC\n10\n10\n20\n0\n40\n15\n50\n270\n51\n90\n\
                     0\nLINE\n10\n-10\n20\n-15\n11\n10\n21\n-15\n0\nARC\n10\n-10\n20\n0\n40\n15\n50\n90\n51\n270";
        let old = "0\nPOLYLINE\n70\n1\n0\nVERTEX\n10\n-10\n20\n-15\n0\nVERTEX\n10\n10\n20\n-15\n42\n1\n0\nVERTEX\n10\n10\n\
                   20\n15\n0\nVERTEX\n10\n-10\n20\n15\n42\n1\n0\nSEQEND";
        for entities in [STADIUM, lines, old] {
            let (a_mm, b_mm) = size(&dxf("4", entities), None).unwrap();
            assert!((a_mm - 50.0).abs() < 0.03 && (b_mm - 30.0).abs() < 0.03, "{a_mm} {b_mm}");
        }
        let ellipse = "0\nELLIPSE\n10\n3\n20\n4\n11\n26\n21\n0\n40\n0.75\n41\n0\n42\n6.283185307";
        let (a_mm, b_mm) = size(&dxf("4", ellipse), None).unwrap();
        assert!((a_mm - 52.0).abs() < 0.02 && (b_mm - 39.0).abs() < 0.02);
        // A closed quadratic spline through the middles of the sides of a square of 40: B-spline, textbook.
        let corners = [(20, 20), (-20, 20), (-20, -20), (20, -20), (20, 20), (-20, 20)];
        let control: String = corners.iter().map(|(x, y)| format!("\n10\n{x}\n20\n{y}")).collect();
        let knots: String = (0..9).map(|i| format!("\n40\n{i}")).collect();
        let (a_mm, b_mm) = size(&dxf("4", &format!("0\nSPLINE\n70\n1\n71\n2{knots}{control}")), None).unwrap();
        assert!((a_mm - 40.0).abs() < 0.02 && (b_mm - 40.0).abs() < 0.02, "{a_mm} {b_mm}");
    }

    #[test]
    fn the_unit_is_read_or_asked() {
        assert_eq!(size(&dxf("0", STADIUM), None), Err(DrawingRefused::NoUnit));
        let (a_mm, _) = size(&dxf("0", STADIUM), Some(Unit::Mm)).unwrap();
        assert!((a_mm - 50.0).abs() < 0.03);
        assert!(matches!(size(&dxf("1", STADIUM), None), Err(DrawingRefused::Size { .. })));
    }

    #[test]
    fn faults_name_their_line() {
        let text = dxf("4", "0\nLINE\n10\nabc\n20\n0");
        assert_eq!(size(&text, None).unwrap_err().to_string(), "Line 18: “abc” is not a number");
        assert!(matches!(size(&dxf("4", "0\nLINE\n10\n1\n20\n0"), None), Err(DrawingRefused::Line { line: 15, .. })));
        assert!(matches!(size(&dxf("4", "0\nINSERT\n2\nB"), None), Err(DrawingRefused::NotRead(_))));
        assert!(matches!(size("x\ny\n", None), Err(DrawingRefused::Line { line: 1, .. })));
        assert_eq!(size("", None), Err(DrawingRefused::NotClosed));
    }

    proptest! {
        #[test]
        fn any_pairs_give_a_shape_or_a_fault(
            pairs in prop::collection::vec(
                ("0|10|11|20|21|40|41|42|50|51|70|71|9|2|x", "LINE|ARC|CIRCLE|ELLIPSE|SPLINE|LWPOLYLINE|POLYLINE|VERTEX|SEQEND|-?[0-9]{1,9}|nan|1e99|1"),
                0..60,
            ),
        ) {
            let entities: String = pairs.iter().map(|(code, value)| format!("{code}\n{value}\n")).collect();
            let _ = size(&dxf("4", entities.trim_end()), None).is_ok();
        }
    }
}
