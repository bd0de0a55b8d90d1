//! How the edge of a lens is held and where its bevel or groove goes, from the rim and the thickness, and the words for
//! it. [`crate::shape::bevel`] computes the line for the placement chosen here.

use super::layout::JobLayout;
use super::lens::{CutLens, JobLens};
use crate::desk::frame::Rim;
use crate::desk::job::Job;
use crate::desk::limit::LengthLimit;
use crate::desk::stock::LensInHand;
use crate::optics::direction::place_words;
use crate::optics::surface::tool_from_true_d;
use crate::optics::{Eye, Pair};
use crate::shape::bevel::{EdgeLine, EdgeWarning, Hold, LinePoint, Placement, edge_line};
use crate::shape::edge::Edge;
use serde::{Deserialize, Serialize};

/// On an edge this thick or thicker, a bevel in the middle would show. A third from the front, the rim hides the rest.
/// Source: common practice (from memory).
pub const THICK_EDGE_MM: f64 = 3.0;

/// What an edger's size may be set to, added to the traced size.
pub const EDGER_SIZE: LengthLimit = LengthLimit::new("A size", -200, 200);
/// How far the bevel or groove lies behind the front.
pub const FROM_FRONT: LengthLimit = LengthLimit::new("A distance from the front", 0, 2000);

/// How a rim holds a lens.
pub fn hold_of(rim: Rim) -> Hold {
    match rim {
        Rim::Metal | Rim::Plastic => Hold::USUAL_BEVEL,
        Rim::Cord => Hold::USUAL_GROOVE,
        Rim::Drilled => Hold::Drilled,
    }
}

/// Where the line usually goes: a third from the front for a bevel on a thick edge, otherwise in the middle.
/// Source: common practice (from memory).
pub fn usual_placement(hold: Hold, edge: &Edge) -> Placement {
    match hold {
        Hold::Bevel { .. } if edge.thickest().mm >= THICK_EDGE_MM => Placement::Share(1.0 / 3.0),
        _ => Placement::Share(0.5),
    }
}

/// `bevel`, `groove` or, where there is neither, `edge`.
pub fn line_word(hold: Hold) -> &'static str {
    match hold {
        Hold::Bevel { .. } => "bevel",
        Hold::Groove { .. } => "groove",
        Hold::Drilled => "edge",
    }
}

/// `bevel at 33% of the edge from the front`.
pub fn placement_words(hold: Hold, placement: Placement) -> String {
    let word = line_word(hold);
    match (hold, placement) {
        (Hold::Drilled, _) => "flat edge, no bevel".to_owned(),
        (_, Placement::Share(0.5)) => format!("{word} in the middle of the edge"),
        (_, Placement::Share(share)) => format!("{word} at {:.0}% of the edge from the front", share * 100.0),
        (_, Placement::FromFront(mm)) => format!("{word} {mm:.2} mm behind the front"),
        (_, Placement::FrontCurve(share)) => {
            format!("{word} follows the front, at {:.0}% of the thinnest edge", share * 100.0)
        }
        (_, Placement::Curve { tool_d, share }) => format!(
            "{word} follows the rim’s own curve of {tool_d:.1} D, at {:.0}% where the edge is thinnest",
            share * 100.0
        ),
    }
}

/// A place on the edge in words and degrees: `lower temple side, 8 o’clock, 215°`.
pub fn where_words(eye: Eye, deg: f64) -> String {
    // 360 is written as 0.
    format!("{}, {:.0}°", place_words(eye, deg), deg.round() % 360.0)
}

pub fn warning_words(eye: Eye, hold: Hold, warning: &EdgeWarning) -> String {
    let word = line_word(hold);
    let breaks = |side: &str, deg: f64, by_mm: f64| {
        let place = where_words(eye, deg);
        if by_mm.is_finite() {
            format!("The {word} breaks through at the {side}, {by_mm:.2} mm short of what it needs: {place}.")
        } else {
            format!("The curve chosen for the {word} does not reach the edge: {place}.")
        }
    };
    match *warning {
        EdgeWarning::BreaksFront { deg, by_mm } => breaks("front", deg, by_mm),
        EdgeWarning::BreaksBack { deg, by_mm } => breaks("back", deg, by_mm),
        EdgeWarning::Thin { deg, mm, least_mm } => {
            let kind = match hold {
                Hold::Bevel { .. } => "a full rim",
                Hold::Groove { .. } => "a cord-held rim",
                Hold::Drilled => "a drilled rim",
            };
            format!("The edge is {mm:.2} mm, and {kind} needs {least_mm:.1} mm: {}.", where_words(eye, deg))
        }
        EdgeWarning::CurveDiffers { rim_d, line_d } => format!(
            "The rim is curved {rim_d:.1} D and the {word} {line_d:.1} D (tool power 1.530): let the {word} follow the \
             rim, or bend the rim to the lens."
        ),
    }
}

/// A bevel or groove on the edge of a lens.
#[derive(Debug, Clone, PartialEq)]
pub struct BevelChoice {
    pub hold: Hold,
    pub placement: Placement,
    pub line: EdgeLine,
    /// The rim's own curve, if the trace gives it.
    pub rim_curve_tool_d: Option<f64>,
}

impl BevelChoice {
    /// Places a line on a lens, in its usual place if none is chosen.
    pub fn of(cut: &CutLens, hold: Hold, placement: Option<Placement>, rim_curve_tool_d: Option<f64>) -> Self {
        let placement = placement.unwrap_or_else(|| usual_placement(hold, &cut.edge));
        let line = edge_line(&cut.edge, cut.center, &cut.lens.body, placement, hold, rim_curve_tool_d);
        Self { hold, placement, line, rim_curve_tool_d }
    }

    /// The place where the edge stands out most behind the rim.
    pub fn most_overhang(&self) -> Option<&LinePoint> {
        self.line.at.iter().max_by(|a, b| a.rear_overhang_mm.total_cmp(&b.rear_overhang_mm))
    }

    /// The points nearest to 0°, 45° and so on to 315°.
    pub fn eighths(&self) -> Vec<&LinePoint> {
        let off = |point: &LinePoint, deg: f64| {
            let turn = (point.edge.deg - deg).abs();
            turn.min(360.0 - turn)
        };
        (0..8)
            .map(|eighth| f64::from(eighth) * 45.0)
            .filter_map(|deg| self.line.at.iter().min_by(|a, b| off(a, deg).total_cmp(&off(b, deg))))
            .collect()
    }

    /// Every warning in words, a negative edge first.
    pub fn warnings(&self, cut: &CutLens) -> Vec<String> {
        self.warnings_of(cut, |_| true)
    }

    fn warnings_of(&self, cut: &CutLens, is_told: impl Fn(&EdgeWarning) -> bool) -> Vec<String> {
        let eye = cut.lens.eye;
        let negative = cut.negative.map(|thin| {
            format!(
                "The surfaces cross before the edge, by {:.2} mm: {}. A center thickness of {:.2} mm or more avoids \
                 this.",
                -thin.at.mm,
                where_words(eye, thin.at.deg),
                (thin.center_mm * 100.0).ceil() / 100.0
            )
        });
        let told = self.line.warnings.iter().filter(|warning| is_told(warning));
        let others = told.map(|warning| warning_words(eye, self.hold, warning));
        negative.into_iter().chain(others).collect()
    }

    /// `rim 5.0 D, bevel 3.8 D`, where the two are curved too differently.
    fn differing_curves(&self) -> Option<String> {
        self.line.warnings.iter().find_map(|warning| match *warning {
            EdgeWarning::CurveDiffers { rim_d, line_d } => {
                Some(format!("rim {rim_d:.1} D, {} {line_d:.1} D", line_word(self.hold)))
            }
            _ => None,
        })
    }
}

/// Rims and lines of both eyes that are curved too differently, in one sentence.
fn differing_curves(known: &[(Eye, &CutLens, &BevelChoice)]) -> Option<String> {
    let differing = known.iter().filter_map(|(eye, _, line)| Some((*eye, line.differing_curves()?)));
    let differing = eye_words(differing, " ").join("; ");
    let word = line_word(known.first().filter(|_| !differing.is_empty())?.2.hold);
    Some(format!(
        "Curves differ (tool power 1.530): {differing}. Let the {word} follow the rim, or bend the rim to the lens."
    ))
}

/// The lens of each eye of a job, cut, with its line in the usual place.
pub fn usual_edges(
    job: &Job,
    layout: &JobLayout,
    lenses: &Pair<Option<LensInHand>>,
) -> Pair<Option<(CutLens, BevelChoice)>> {
    let hold = hold_of(job.frame.details.rim);
    JobLens::pair(job, Some(layout), lenses).map(|lens| {
        let cut = lens.and_then(|lens| lens.cut(layout)).ok().filter(|cut| job.makes(cut.lens.eye))?;
        let line = BevelChoice::of(&cut, hold, None, *layout.rim_curve_tool_d.get(cut.lens.eye));
        Some((cut, line))
    })
}

/// The edge in words for the bench ticket.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct TicketLines {
    /// The thinnest and the thickest place of each eye.
    pub thickness: String,
    pub line: String,
    /// Base curve and rim curve of each eye. Empty on a ticket kept before they were printed.
    #[serde(default)]
    pub curves: String,
    /// Every warning, with its eye.
    #[serde(default)]
    pub warnings: Vec<String>,
}

impl TicketLines {
    /// The lines of the lenses that are made. One that cannot be computed says so; if none can, there are no lines.
    pub fn of(made: Pair<bool>, pair: &Pair<Option<(CutLens, BevelChoice)>>) -> Option<Self> {
        let known: Vec<(Eye, &CutLens, &BevelChoice)> =
            pair.iter().filter_map(|(eye, lens)| lens.as_ref().map(|(cut, line)| (eye, cut, line))).collect();
        if known.is_empty() {
            return None;
        }
        let thickness = known.iter().map(|(eye, cut, _)| {
            let (thin, thick) = (cut.edge.thinnest(), cut.edge.thickest());
            format!(
                "{} {:.2} mm at {:.0}° to {:.2} mm at {:.0}°",
                eye.letter(),
                thin.mm,
                thin.deg.round() % 360.0,
                thick.mm,
                thick.deg.round() % 360.0
            )
        });
        let unknown = pair.iter().filter(|(eye, lens)| *made.get(*eye) && lens.is_none());
        let unknown = unknown.map(|(eye, _)| format!("{} cannot be made at this size", eye.letter()));
        let lines = known.iter().map(|(eye, _, line)| (*eye, placement_words(line.hold, line.placement)));
        let is_one_eyes = |warning: &EdgeWarning| !matches!(warning, EdgeWarning::CurveDiffers { .. });
        let warnings = known
            .iter()
            .flat_map(|(eye, cut, line)| line.warnings_of(cut, is_one_eyes).into_iter().map(|words| (*eye, words)));
        Some(Self {
            thickness: thickness.chain(unknown).collect::<Vec<_>>().join("; "),
            line: eye_words(lines, " ").join("; "),
            curves: curves_words(&known),
            warnings: eye_words(warnings, ": ").into_iter().chain(differing_curves(&known)).collect(),
        })
    }
}

/// Puts the letter of its eye before each text, and both letters before one that is said of both.
pub fn eye_words(texts: impl IntoIterator<Item = (Eye, String)>, between: &str) -> Vec<String> {
    let mut said: Vec<(String, String)> = Vec::new();
    for (eye, words) in texts {
        match said.iter_mut().find(|(_, same)| *same == words) {
            Some((eyes, _)) => eyes.push_str(&format!(" and {}", eye.letter())),
            None => said.push((eye.letter().to_owned(), words)),
        }
    }
    said.into_iter().map(|(eyes, words)| format!("{eyes}{between}{words}")).collect()
}

/// `Base R and L 6.33 D, assumed; rim R 5.0 D, L 5.1 D`, in tool power.
fn curves_words(known: &[(Eye, &CutLens, &BevelChoice)]) -> String {
    let base = known.iter().map(|(eye, cut, _)| {
        let order = cut.lens.body.order();
        let tool_d = tool_from_true_d(order.front_power_d, order.index);
        (*eye, format!("{tool_d:.2} D, {}", cut.lens.front_from.words()))
    });
    let rim = known.iter().filter_map(|(eye, _, line)| Some((*eye, format!("{:.1} D", line.rim_curve_tool_d?))));
    let rim = eye_words(rim, " ");
    let rim = if rim.is_empty() { "not in the trace".to_owned() } else { rim.join(", ") };
    format!("Base {}; rim {rim}", eye_words(base, " ").join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::lens::LensOverrides;
    use crate::bench::lens::tests::cut_lens;
    use crate::shape::thickness::Thickness;

    fn cut(rx: &str, thickness: Thickness) -> CutLens {
        let tried = LensOverrides { front_power_d: Some(4.0), thickness: Some(thickness), ..LensOverrides::default() };
        cut_lens(rx, None, &tried).unwrap()
    }

    #[test]
    fn a_thick_edge_hides_behind_the_rim() {
        let thick = cut("-6.00 sph", Thickness::Center(2.0));
        let usual = BevelChoice::of(&thick, Hold::USUAL_BEVEL, None, None);
        assert_eq!(usual.placement, Placement::Share(1.0 / 3.0), "common practice: 33:67 on a thick minus edge");
        let most = usual.most_overhang().unwrap();
        // Two thirds of the edge less half of a rim 2.5 deep (computed).
        let want_mm = thick.edge.thickest().mm * 2.0 / 3.0 - 1.25;
        assert!((most.rear_overhang_mm - want_mm).abs() < 1e-9 && (most.edge.deg - 270.0).abs() < 1e-6);
        assert_eq!(usual.eighths().len(), 8);
        assert!(usual.eighths().iter().zip(0..).all(|(point, i)| (point.edge.deg - f64::from(i) * 45.0).abs() < 0.5));
        let thin = cut("-1.00 sph", Thickness::Center(1.5));
        assert_eq!(usual_placement(Hold::USUAL_BEVEL, &thin.edge), Placement::Share(0.5));
        assert_eq!(usual_placement(Hold::USUAL_GROOVE, &thick.edge), Placement::Share(0.5));
    }

    #[test]
    fn warnings_say_what_and_where() {
        let thin = cut("+2.00 sph", Thickness::ThinnestEdge(1.2));
        let grooved = BevelChoice::of(&thin, hold_of(Rim::Cord), None, None);
        let words = grooved.warnings(&thin);
        assert!(words[0].contains("1.20 mm, and a cord-held rim needs 2.0 mm: bottom, 6 o’clock, 270°"), "{words:?}");
        // 0.6 from the front, and a groove needs 0.3 + 0.5 on each side (common practice): 0.2 short at both faces.
        assert!(
            words[1].contains("breaks through at the front, 0.20 mm") && words[2].contains("at the back, 0.20 mm"),
            "{words:?}"
        );
        let drilled = BevelChoice::of(&thin, hold_of(Rim::Drilled), None, None);
        assert!(drilled.warnings(&thin)[0].contains("a drilled rim needs 2.0 mm"));
        let rimmed = BevelChoice::of(&thin, hold_of(Rim::Metal), None, None);
        assert_eq!(rimmed.warnings(&thin), Vec::<String>::new());
    }

    #[test]
    fn a_negative_edge_comes_first() {
        let crossed = cut("+8.00 sph", Thickness::Center(1.5));
        let words = BevelChoice::of(&crossed, Hold::USUAL_BEVEL, None, None).warnings(&crossed);
        assert!(words[0].contains("surfaces cross") && words[0].contains("avoids this"), "{words:?}");
    }

    #[test]
    fn two_lines_for_the_ticket() {
        let lens = |rx: &str| {
            let cut = cut(rx, Thickness::Center(2.0));
            let line = BevelChoice::of(&cut, Hold::USUAL_BEVEL, None, None);
            Some((cut, line))
        };
        let both = Pair::new(true, true);
        let lines = TicketLines::of(both, &Pair::new(lens("-4.00 sph"), lens("-4.00 sph"))).unwrap();
        let edge = &lens("-4.00 sph").unwrap().0.edge;
        let want = format!("{:.2} mm at 90° to {:.2} mm at 270°", edge.thinnest().mm, edge.thickest().mm);
        assert_eq!(lines.thickness, format!("R {want}; L {want}"));
        assert_eq!(lines.line, "R and L bevel at 33% of the edge from the front");
        // A front of +4.00 in 1.498 is 4.00 · 0.530 / 0.498 in tool power (textbook).
        assert_eq!(lines.curves, "Base R and L 4.26 D, as asked; rim not in the trace");
        let lines = TicketLines::of(both, &Pair::new(lens("-0.50 sph"), lens("+8.00 sph"))).unwrap();
        assert!(lines.line.starts_with("R and L bevel in the middle of the edge"), "{}", lines.line);
        assert!(lines.warnings.iter().any(|w| w.starts_with("L: The surfaces cross")), "{:?}", lines.warnings);
        assert!(lines.warnings.iter().all(|w| !w.starts_with('R')), "{:?}", lines.warnings);
        assert_eq!(TicketLines::of(both, &Pair::new(None, None)), None);
        // A rim of 6.0 D, and bevels on fronts of +4.00 in 1.498 (4.26 D in tool power): each differs by more than 1 D.
        let rimmed = |rx: &str| {
            let cut = cut(rx, Thickness::Center(2.0));
            let line = BevelChoice::of(&cut, Hold::USUAL_BEVEL, None, Some(6.0));
            Some((cut, line))
        };
        let lines = TicketLines::of(both, &Pair::new(rimmed("-4.00 sph"), rimmed("-1.00 sph"))).unwrap();
        let told: Vec<&String> = lines.warnings.iter().filter(|w| w.contains("bend the rim")).collect();
        assert_eq!(told.len(), 1, "the advice is said once for both eyes: {:?}", lines.warnings);
        assert!(told[0].starts_with("Curves differ (tool power 1.530): R rim 6.0 D, bevel "), "{told:?}");
        assert!(told[0].contains("; L rim 6.0 D, bevel "), "{told:?}");
        let one = TicketLines::of(Pair::new(true, false), &Pair::new(lens("-4.00 sph"), None)).unwrap();
        assert!(!one.thickness.contains('L'), "nothing is said of the lens that stays: {one:?}");
    }

    #[test]
    fn placements_in_words() {
        let bevel = Hold::USUAL_BEVEL;
        for (hold, placement, words) in [
            (bevel, Placement::Share(0.5), "bevel in the middle of the edge"),
            (bevel, Placement::Share(1.0 / 3.0), "bevel at 33% of the edge from the front"),
            (Hold::USUAL_GROOVE, Placement::FromFront(1.0), "groove 1.00 mm behind the front"),
            (bevel, Placement::FrontCurve(0.4), "bevel follows the front, at 40% of the thinnest edge"),
            (Hold::Drilled, Placement::Share(0.5), "flat edge, no bevel"),
        ] {
            assert_eq!(placement_words(hold, placement), words);
        }
        assert_eq!(where_words(Eye::Left, 359.9), "temple side, 3 o’clock, 0°");
    }
}
