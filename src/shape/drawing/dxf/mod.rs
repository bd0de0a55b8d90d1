//! DXF drawings in text form: pairs of lines, a code and a value. Only what an outline is made of is read: lines, arcs,
//! circles, ellipses, polylines with bulges, splines, and blocks of them. Other entities (text, dimensions, points) are left
//! out, and so is what is not seen: layers that are off, paper layouts. Codes are those of the format's public reference.
//!
//! `tables` – the unit, the layers and the blocks of a drawing.

mod tables;

use std::f64::consts::TAU;

use super::curve::{self, DrawnLines, Polyline};
use super::fit::{self, Ends, NoLine};
use super::{DrawingRefused, DrawnLens, MAX_BYTES, MOST_PIECES, Unit, join, lenses_drawn};
use crate::shape::outline::Point;
use crate::shape::record::numbered_lines;
use tables::Tables;

/// The most blocks that are inserted.
const MOST_INSERTS: usize = 1_000;
/// Blocks within blocks within blocks.
const DEEPEST: usize = 8;

/// How many blocks may still be inserted, and how deep this is.
struct Inserts {
    left: usize,
    deep: usize,
}

/// A code and its value, with the number of the code's line.
#[derive(Clone, Copy)]
struct CodeValue<'a> {
    line: usize,
    code: i32,
    value: &'a str,
}

impl CodeValue<'_> {
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
    if !pairs.iter().any(|pair| pair.code == 0 && pair.value == "EOF") {
        return Err(DrawingRefused::Damaged("the file has no end mark (EOF): it is cut off".to_owned()));
    }
    let mm = tables::mm_per_unit(&pairs, unit)?;
    let drawing = Tables::of(&pairs);
    let mut inserts = Inserts { left: MOST_INSERTS, deep: 0 };
    let lines = lines_of(&entities(section(&pairs, "ENTITIES")), &drawing, mm, &mut inserts)?;
    let (lines, is_twice) = join::once(lines);
    lenses_drawn(join::closed(lines)?, is_twice)
}

fn pairs(text: &str) -> Result<Vec<CodeValue<'_>>, DrawingRefused> {
    // Some programs end a line with CR alone.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text).trim_end_matches(['\r', '\n']);
    let mut lines = numbered_lines(text).map(|(line, text)| (line, text.trim()));
    let mut pairs = Vec::new();
    while let Some((line, code)) = lines.next() {
        match lines.next() {
            Some((_, value)) => {
                let code = code.parse().map_err(|_| fault(line, &format!("“{}” is not a code", short(code))))?;
                pairs.push(CodeValue { line, code, value });
            }
            None if code.is_empty() => {}
            None => return Err(fault(line, "the file ends inside of a pair of lines")),
        }
    }
    if pairs.is_empty() {
        return Err(DrawingRefused::NotClosed);
    }
    Ok(pairs)
}

/// An entity, from its name to before the next.
type Entity<'a, 'b> = &'b [CodeValue<'a>];

/// The entities of a section or a block.
fn entities<'a, 'b>(section: &'b [CodeValue<'a>]) -> Vec<Entity<'a, 'b>> {
    section.chunk_by(|_, next| next.code != 0).filter(|entity| entity[0].code == 0).collect()
}

/// What follows the head of a section, up to its end.
fn section<'a, 'b>(pairs: &'b [CodeValue<'a>], name: &str) -> &'b [CodeValue<'a>] {
    let start = pairs.windows(2).position(|w| w[0].value == "SECTION" && w[1].code == 2 && w[1].value == name);
    let section = start.map_or(&[][..], |start| &pairs[start + 2..]);
    let end = section.iter().position(|pair| pair.code == 0 && pair.value == "ENDSEC").unwrap_or(section.len());
    &section[..end]
}

/// The lines of some entities.
fn lines_of(
    entities: &[Entity],
    drawing: &Tables,
    mm: f64,
    inserts: &mut Inserts,
) -> Result<Vec<Polyline>, DrawingRefused> {
    let mut lines = DrawnLines::default();
    for entity in entities.iter().filter(|entity| drawing.shows(entity)) {
        match entity[0].value {
            "INSERT" => lines.add(inserted(entity, drawing, mm, inserts)?)?,
            _ => lines.add(line_of(entity, mm)?)?,
        }
    }
    polylines(entities, drawing, mm, &mut lines)?;
    Ok(lines.lines)
}

/// The lines of a block where it is inserted: moved from its base point, scaled, turned.
fn inserted(entity: Entity, drawing: &Tables, mm: f64, inserts: &mut Inserts) -> Result<Vec<Polyline>, DrawingRefused> {
    inserts.left = inserts.left.checked_sub(1).filter(|_| inserts.deep < DEEPEST).ok_or(DrawingRefused::TooMany)?;
    let codes = Codes(entity);
    let Some(block) = codes.text(2).and_then(|name| drawing.blocks.get(name)) else { return Ok(Vec::new()) };
    if codes.number(70)?.unwrap_or(1.0) > 1.0 || codes.number(71)?.unwrap_or(1.0) > 1.0 {
        return Err(DrawingRefused::NotRead("a block that is repeated in rows".to_owned()));
    }
    let (wide, high) = (codes.number(41)?.unwrap_or(1.0), codes.number(42)?.unwrap_or(1.0));
    // Its curves are divided as finely as they are seen.
    let larger = wide.abs().max(high.abs()).max(1.0);
    let (block_mm, wide, high) = (mm * larger, wide / larger, high / larger);
    let base = Codes(block.entities[0]).point(10, block_mm)?;
    let (at, turn_deg, flip) = (codes.point(10, mm)?, codes.number(50)?.unwrap_or(0.0), codes.flip()?);
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    let place = |p: Point| {
        let (x, y) = ((p.x_mm - base.x_mm) * wide, (p.y_mm - base.y_mm) * high);
        let point = at.plus(Point::new(x * cos - y * sin, x * sin + y * cos));
        Point::new(point.x_mm * flip, point.y_mm)
    };
    inserts.deep += 1;
    let lines = lines_of(&block.entities[1..], drawing, block_mm, inserts)?;
    inserts.deep -= 1;
    Ok(lines.into_iter().map(|line| line.into_iter().map(place).collect()).collect())
}

/// What an entity says by code.
struct Codes<'a, 'b>(&'b [CodeValue<'a>]);

impl Codes<'_, '_> {
    fn number(&self, code: i32) -> Result<Option<f64>, DrawingRefused> {
        self.0.iter().skip(1).find(|pair| pair.code == code).map(CodeValue::number).transpose()
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
        self.0.iter().skip(1).filter(|pair| pair.code == code).map(CodeValue::number).collect()
    }

    fn text(&self, code: i32) -> Option<&str> {
        self.0.iter().skip(1).find(|pair| pair.code == code).map(|pair| pair.value)
    }

    /// -1 for an entity whose own plane is seen from its back, so that its x runs the other way.
    fn flip(&self) -> Result<f64, DrawingRefused> {
        let upward = |code: i32, usual: f64| Ok(self.number(code)?.unwrap_or(usual));
        let (x, y, z): (f64, f64, f64) = (upward(210, 0.0)?, upward(220, 0.0)?, upward(230, 1.0)?);
        if x.hypot(y) > 1e-3 * z.abs() {
            return Err(DrawingRefused::NotRead("a line that is tilted in space".to_owned()));
        }
        Ok(z.signum())
    }

    fn has_flag(&self, flag: i64) -> Result<bool, DrawingRefused> {
        Ok(self.number(70)?.unwrap_or(0.0) as i64 & flag != 0)
    }
}

fn line_of(entity: Entity, mm: f64) -> Result<Option<Polyline>, DrawingRefused> {
    let codes = Codes(entity);
    let seen = |line: Polyline, flip: f64| line.into_iter().map(|p| Point::new(p.x_mm * flip, p.y_mm)).collect();
    let line = match entity[0].value {
        "LINE" => vec![codes.point(10, mm)?, codes.point(11, mm)?],
        "CIRCLE" => {
            let axis = Point::new(codes.needed(40)? * mm, 0.0);
            seen(curve::arc(codes.point(10, mm)?, axis, 1.0, 0.0, TAU), codes.flip()?)
        }
        "ARC" => {
            let axis = Point::new(codes.needed(40)? * mm, 0.0);
            let (from, to) = (codes.needed(50)?.to_radians(), codes.needed(51)?.to_radians());
            seen(curve::arc(codes.point(10, mm)?, axis, 1.0, from, to), codes.flip()?)
        }
        "ELLIPSE" => {
            let (from, to) = (codes.number(41)?.unwrap_or(0.0), codes.number(42)?.unwrap_or(TAU));
            // Its points are those of the drawing; seen from the back it runs clockwise.
            curve::arc(codes.point(10, mm)?, codes.point(11, mm)?, codes.needed(40)? * codes.flip()?, from, to)
        }
        "LWPOLYLINE" => seen(light_polyline(&codes, mm)?, codes.flip()?),
        "SPLINE" => spline(&codes, mm)?,
        _ => return Ok(None),
    };
    Ok(Some(line))
}

/// A vertex with the bulge of the piece that follows it.
type Vertex = (Point, f64);

fn light_polyline(codes: &Codes, mm: f64) -> Result<Polyline, DrawingRefused> {
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

/// A line that is too long stops: [`DrawnLines`] refuses it.
fn bulged(vertices: &[Vertex], is_closed: bool) -> Polyline {
    let mut line: Polyline = vertices.first().map(|vertex| vertex.0).into_iter().collect();
    let next = vertices.iter().skip(1).chain(vertices.first().filter(|_| is_closed));
    for (from, to) in vertices.iter().zip(next) {
        if line.len() > MOST_PIECES {
            break;
        }
        curve::bulge(from.0, to.0, from.1, &mut line);
    }
    line
}

/// The older polylines: a POLYLINE, its VERTEX entities, and a SEQEND.
fn polylines(entities: &[Entity], drawing: &Tables, mm: f64, lines: &mut DrawnLines) -> Result<(), DrawingRefused> {
    let mut open: Option<(bool, f64, Vec<Vertex>)> = None;
    let seen = |(is_closed, flip, vertices): (bool, f64, Vec<Vertex>)| -> Polyline {
        bulged(&vertices, is_closed).into_iter().map(|p| Point::new(p.x_mm * flip, p.y_mm)).collect()
    };
    for entity in entities {
        let codes = Codes(entity);
        match (entity[0].value, &mut open) {
            ("POLYLINE", _) => {
                lines.add(open.take().map(seen))?;
                open = drawing.shows(entity).then_some((codes.has_flag(1)?, codes.flip()?, Vec::new()));
            }
            // The control points of a fitted polyline (flag 16) lie off the line.
            ("VERTEX", Some((.., vertices))) if !codes.has_flag(16)? => {
                vertices.push((codes.point(10, mm)?, codes.number(42)?.unwrap_or(0.0)));
            }
            ("VERTEX", _) => {}
            _ => lines.add(open.take().map(seen))?,
        }
    }
    lines.add(open.map(seen))
}

fn spline(codes: &Codes, mm: f64) -> Result<Polyline, DrawingRefused> {
    let points = |code: i32| -> Result<Vec<Point>, DrawingRefused> {
        let (x, y) = (codes.all(code)?, codes.all(code + 10)?);
        Ok(x.iter().zip(&y).map(|(x, y)| Point::new(x * mm, y * mm)).collect())
    };
    if codes.number(10)?.is_none() && codes.number(11)?.is_some() {
        return fitted(codes, &points(11)?, mm);
    }
    let degree = codes.number(71)?.unwrap_or(3.0).clamp(0.0, 99.0) as usize;
    let line = curve::spline(degree, &codes.all(40)?, &points(10)?, &codes.all(41)?);
    line.ok_or_else(|| fault(codes.0[0].line, "the spline's knots and control points do not fit together"))
}

/// A spline that is given by the points it passes alone, with or without the directions of its ends.
fn fitted(codes: &Codes, points: &[Point], mm: f64) -> Result<Polyline, DrawingRefused> {
    let direction = |code: i32| -> Result<Option<Point>, DrawingRefused> {
        let given = if codes.number(code)?.is_some() { Some(codes.point(code, mm)?) } else { None };
        Ok(given.filter(|direction| direction.length_mm() > 0.0))
    };
    let ends = if codes.has_flag(1)? { Ends::Closed } else { Ends::Open(direction(12)?, direction(13)?) };
    fit::through(points, ends).map_err(|why| match why {
        NoLine::Refused(why) => why,
        NoLine::Unsure(mm) => DrawingRefused::NotRead(format!(
            "a spline that is given by {} points alone, which programs draw up to {mm:.2} mm apart",
            points.len()
        )),
    })
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
    fn a_bulged_line_stops_soon_after_it_is_too_long() {
        let vertices: Vec<Vertex> = (0..4_000).map(|i| (Point::new(f64::from(i % 2) * 1e8, 0.0), 1.0)).collect();
        let line = bulged(&vertices, true);
        // One arc has at most 20,000 pieces.
        assert!((MOST_PIECES + 1..=MOST_PIECES + 20_001).contains(&line.len()), "{} points", line.len());
    }

    #[test]
    fn a_mark_before_the_text_and_other_line_ends_change_nothing() {
        let text = dxf("4", STADIUM);
        let want = size(&text, None);
        for other in [format!("\u{feff}{text}"), text.replace('\n', "\r"), text.replace('\n', "\r\n")] {
            assert_eq!(crate::shape::drawing::kind_of(other.as_bytes()), Some(crate::shape::drawing::DrawingKind::Dxf));
            assert_eq!(size(&other, None), want);
        }
        assert!(want.is_ok());
    }

    #[test]
    fn an_outline_that_is_drawn_twice_is_read_once_and_told() {
        let text = dxf("4", &format!("{STADIUM}\n{STADIUM}"));
        let file = traces(&read_dxf(&text, None).unwrap(), Placed::default(), true).unwrap();
        let size = Boxing::of(&file.outlines().right);
        assert!((size.a_mm - 50.0).abs() < 0.03 && (size.b_mm - 30.0).abs() < 0.03, "{size:?}");
        assert_eq!(
            file.warnings[0].to_string(),
            "some lines of the drawing are there twice, one on the other: they were read once"
        );
    }

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
        for (unit, mm) in [("2", 304.8), ("9", 0.0254), ("13", 0.001), ("14", 100.0)] {
            let lens = "0\nCIRCLE\n10\n0\n20\n0\n40\n".to_owned() + &(25.0 / mm).to_string();
            let (a_mm, _) = size(&dxf(unit, &lens), None).unwrap();
            assert!((a_mm - 50.0).abs() < 0.03, "{unit}");
        }
    }

    #[test]
    fn faults_name_their_line() {
        let text = dxf("4", "0\nLINE\n10\nabc\n20\n0");
        assert_eq!(size(&text, None).unwrap_err().to_string(), "Line 18: “abc” is not a number");
        assert!(matches!(size(&dxf("4", "0\nLINE\n10\n1\n20\n0"), None), Err(DrawingRefused::Line { line: 15, .. })));
        assert!(matches!(size("x\ny\n", None), Err(DrawingRefused::Line { line: 1, .. })));
        assert_eq!(size("", None), Err(DrawingRefused::NotClosed));
    }

    fn left_end_mm(text: &str) -> f64 {
        read_dxf(text, None).unwrap()[0].border.iter().map(|p| p.x_mm).fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn a_line_seen_from_its_back_is_mirrored_as_it_is_shown() {
        // An egg that is blunt to the left of x = 0; each part is given in a plane whose x runs the other way.
        let back = "\n210\n0\n220\n0\n230\n-1";
        let light = "0\nLWPOLYLINE\n70\n1\n10\n-30\n20\n-15\n10\n10\n20\n-15\n42\n1\n10\n10\n20\n15\n10\n-30\n20\n15";
        let parts = "0\nLINE\n10\n-10\n20\n15\n11\n30\n21\n15\n0\nLINE\n10\n30\n20\n15\n11\n30\n21\n-15\n0\nLINE\n10\n-10\n20\n-15\n11\n30\n21\n-15\n\
                     0\nARC\n10\n10\n20\n0\n40\n15\n50\n270\n51\n90";
        let old = "0\nPOLYLINE\n70\n1\n210\n0\n220\n0\n230\n-1\n0\nVERTEX\n10\n-30\n20\n-15\n0\nVERTEX\n10\n10\n20\n-15\n42\n1\n0\nVERTEX\n10\n10\n20\n15\n\
                   0\nVERTEX\n10\n-30\n20\n15\n0\nSEQEND";
        for text in [format!("{light}{back}"), format!("{parts}{back}"), old.to_owned()] {
            assert!((left_end_mm(&dxf("4", &text)) + 25.0).abs() < 0.01, "{text}");
        }
        let tilted = format!("{light}\n210\n0\n220\n0.5\n230\n0.5");
        assert!(matches!(size(&dxf("4", &tilted), None), Err(DrawingRefused::NotRead(_))));
    }

    #[test]
    fn a_file_that_is_cut_off_is_refused() {
        let whole = dxf("4", STADIUM);
        assert!(size(&whole, None).is_ok());
        let cut = whole.strip_suffix("0\nEOF\n").unwrap();
        assert!(matches!(size(cut, None), Err(DrawingRefused::Damaged(_))));
    }

    #[test]
    fn a_circle_in_a_block_is_as_round_as_it_is_seen() {
        // Of radius 0.02, inserted a thousand times as large: 40 by 40 within a hundredth, where a chord of five thousandths
        // in the block would be off by 5 mm.
        let blocks = "0\nSECTION\n2\nBLOCKS\n0\nBLOCK\n2\nlens\n10\n0\n20\n0\n0\nCIRCLE\n10\n0\n20\n0\n40\n0.02\n0\nENDBLK\n\
                      0\nENDSEC\n";
        let insert = "0\nINSERT\n2\nlens\n10\n0\n20\n0\n41\n1000\n42\n1000";
        let (a_mm, b_mm) = size(&format!("{blocks}{}", dxf("4", insert)), None).unwrap();
        assert!((a_mm - 40.0).abs() < 0.02 && (b_mm - 40.0).abs() < 0.02, "{a_mm} {b_mm}");
    }

    #[test]
    fn what_is_not_seen_is_left_out() {
        let moved = STADIUM.replace("\n10\n-10", "\n10\n80").replace("\n10\n10", "\n10\n100");
        let other =
            |codes: &str| format!("{STADIUM}\n{}", moved.replace("\n90\n4\n70", &format!("{codes}\n90\n4\n70")));
        let layers = "0\nSECTION\n2\nTABLES\n0\nTABLE\n2\nLAYER\n0\nLAYER\n2\noff\n70\n0\n62\n-7\n0\nLAYER\n2\nfrozen\n70\n1\n62\n7\n\
                      0\nENDTAB\n0\nENDSEC\n";
        for (codes, lenses) in [("\n8\n0", 2), ("\n8\noff", 1), ("\n8\nfrozen", 1), ("\n67\n1", 1), ("\n60\n1", 1)] {
            let text = format!("{layers}{}", dxf("4", &other(codes)));
            assert_eq!(read_dxf(&text, None).unwrap().len(), lenses, "{codes}");
        }
    }

    fn block(name: &str, entities: &str) -> String {
        format!("0\nBLOCK\n8\n0\n2\n{name}\n10\n5\n20\n0\n{entities}\n0\nENDBLK\n")
    }

    #[test]
    fn a_block_is_drawn_where_it_is_inserted() {
        let blocks = format!("0\nSECTION\n2\nBLOCKS\n{}0\nENDSEC\n", block("LENS", STADIUM));
        let text = blocks.clone() + &dxf("4", "0\nINSERT\n2\nLENS\n10\n40\n20\n7\n41\n2\n42\n1\n50\n90");
        let lens = &read_dxf(&text, None).unwrap()[0];
        let (low, high) = crate::shape::outline::extent(&lens.border);
        // Twice as wide (100 by 30), its base point (5, 0) at (40, 7), turned a quarter.
        for (got, want) in [(low.x_mm, 25.0), (high.x_mm, 55.0), (low.y_mm, -53.0), (high.y_mm, 47.0)] {
            assert!((got - want).abs() < 0.01, "{got} {want}");
        }
        let tens = |name: &str| format!("0\nINSERT\n2\n{name}\n10\n0\n20\n0\n").repeat(10);
        let bomb: String = (1..9).map(|i| block(&format!("B{i}"), tens(&format!("B{}", i - 1)).trim_end())).collect();
        let text = format!("0\nSECTION\n2\nBLOCKS\n{}{bomb}0\nENDSEC\n", block("B0", STADIUM));
        let text = text + &dxf("4", "0\nINSERT\n2\nB8\n10\n0\n20\n0");
        assert_eq!(read_dxf(&text, None), Err(DrawingRefused::TooMany));
        let itself = format!("0\nSECTION\n2\nBLOCKS\n{}0\nENDSEC\n", block("B0", "0\nINSERT\n2\nB0\n10\n0\n20\n0"));
        let text = itself + &dxf("4", "0\nINSERT\n2\nB0\n10\n0\n20\n0");
        assert_eq!(read_dxf(&text, None), Err(DrawingRefused::TooMany));
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
