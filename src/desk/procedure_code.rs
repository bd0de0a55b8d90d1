//! Procedure codes: their descriptors, and the code of a lens.
//!
//! Source of codes, ranges and descriptors: CMS HCPCS Level II. `tests/check/tables/procedure_descriptors.csv` says
//! code by code whether its wording was seen in public copies or is from memory. Load the yearly file before relying on
//! a word of it. A code says what was made; it never decides payment.

use super::lab::CodeBasis;
use crate::optics::Eye;
use crate::optics::prescription::LensPower;
use crate::optics::unit::Diopter;

pub const FRAME: &str = "V2020";
/// A single-vision lens that no other code describes.
pub const UNCLASSIFIED: &str = "V2199";
/// A balance lens.
pub const BALANCE: &str = "V2700";
/// Prescribed prism, for each lens.
pub const PRISM: &str = "V2715";
/// A lens from a large blank.
pub const OVERSIZE: &str = "V2780";
/// A material of index 1.54 to 1.65.
pub const MID_INDEX: &str = "V2782";
/// A material of index 1.66 or more.
pub const HIGH_INDEX: &str = "V2783";
/// Polycarbonate, or a material billed as its equal.
pub const POLYCARBONATE: &str = "V2784";
/// A photochromic tint.
pub const PHOTOCHROMIC: &str = "V2744";
/// Any other tint.
pub const TINT: &str = "V2745";
/// An anti-reflective coating.
pub const ANTI_REFLECTIVE: &str = "V2750";
/// A hard coat.
pub const SCRATCH_COAT: &str = "V2760";
/// A mirror coating.
pub const MIRROR: &str = "V2761";
/// A polarized lens.
pub const POLARIZED: &str = "V2762";

/// The codes that a single-vision lab uses, with their descriptors.
const DESCRIPTORS: [(&str, &str); 43] = [
    ("V2020", "Frames, purchases"),
    ("V2025", "Deluxe frame"),
    ("V2100", "Sphere, single vision, plano to plus or minus 4.00, per lens"),
    ("V2101", "Sphere, single vision, plus or minus 4.12 to plus or minus 7.00d, per lens"),
    ("V2102", "Sphere, single vision, plus or minus 7.12 to plus or minus 20.00d, per lens"),
    ("V2103", "Spherocylinder, single vision, plano to plus or minus 4.00d sphere, .12 to 2.00d cylinder, per lens"),
    ("V2104", "Spherocylinder, single vision, plano to plus or minus 4.00d sphere, 2.12 to 4.00d cylinder, per lens"),
    ("V2105", "Spherocylinder, single vision, plano to plus or minus 4.00d sphere, 4.25 to 6.00d cylinder, per lens"),
    ("V2106", "Spherocylinder, single vision, plano to plus or minus 4.00d sphere, over 6.00d cylinder, per lens"),
    (
        "V2107",
        "Spherocylinder, single vision, plus or minus 4.25 to plus or minus 7.00d sphere, .12 to 2.00d cylinder, per lens",
    ),
    (
        "V2108",
        "Spherocylinder, single vision, plus or minus 4.25 to plus or minus 7.00d sphere, 2.12 to 4.00d cylinder, per lens",
    ),
    (
        "V2109",
        "Spherocylinder, single vision, plus or minus 4.25 to plus or minus 7.00d sphere, 4.25 to 6.00d cylinder, per lens",
    ),
    (
        "V2110",
        "Spherocylinder, single vision, plus or minus 4.25 to plus or minus 7.00d sphere, over 6.00d cylinder, per lens",
    ),
    (
        "V2111",
        "Spherocylinder, single vision, plus or minus 7.25 to plus or minus 12.00d sphere, .25 to 2.25d cylinder, per lens",
    ),
    (
        "V2112",
        "Spherocylinder, single vision, plus or minus 7.25 to plus or minus 12.00d sphere, 2.25 to 4.00d cylinder, per lens",
    ),
    (
        "V2113",
        "Spherocylinder, single vision, plus or minus 7.25 to plus or minus 12.00d sphere, 4.25 to 6.00d cylinder, per lens",
    ),
    ("V2114", "Spherocylinder, single vision, sphere over plus or minus 12.00d, per lens"),
    ("V2115", "Lenticular (myodisc), per lens, single vision"),
    ("V2118", "Aniseikonic lens, single vision"),
    ("V2121", "Lenticular lens, per lens, single"),
    ("V2199", "Not otherwise classified, single vision lens"),
    ("V2410", "Variable asphericity lens, single vision, full field, glass or plastic, per lens"),
    ("V2700", "Balance lens, per lens"),
    ("V2702", "Deluxe lens feature"),
    ("V2710", "Slab off prism, glass or plastic, per lens"),
    ("V2715", "Prism, per lens"),
    ("V2718", "Press-on lens, Fresnel prism, per lens"),
    ("V2730", "Special base curve, glass or plastic, per lens"),
    ("V2744", "Tint, photochromatic, per lens"),
    (
        "V2745",
        "Addition to lens; tint, any color, solid, gradient or equal, excludes photochromatic, any lens material, per lens",
    ),
    ("V2750", "Anti-reflective coating, per lens"),
    ("V2755", "U-V lens, per lens"),
    ("V2756", "Eye glass case"),
    ("V2760", "Scratch resistant coating, per lens"),
    ("V2761", "Mirror coating, any type, solid, gradient or equal, any lens material, per lens"),
    ("V2762", "Polarization, any lens material, per lens"),
    ("V2770", "Occluder lens, per lens"),
    ("V2780", "Oversize lens, per lens"),
    ("V2781", "Progressive lens, per lens"),
    ("V2782", "Lens, index 1.54 to 1.65 plastic or 1.60 to 1.79 glass, excludes polycarbonate, per lens"),
    (
        "V2783",
        "Lens, index greater than or equal to 1.66 plastic or greater than or equal to 1.80 glass, excludes polycarbonate, per lens",
    ),
    ("V2784", "Lens, polycarbonate or equal, any index, per lens"),
    ("V2799", "Vision item or service, miscellaneous"),
];

/// The descriptor of a known code.
pub fn descriptor(code: &str) -> Option<&'static str> {
    DESCRIPTORS.into_iter().find(|(known, _)| *known == code).map(|(_, words)| words)
}

/// All known codes with their descriptors, in order.
pub fn known_codes() -> impl Iterator<Item = (&'static str, &'static str)> {
    DESCRIPTORS.into_iter()
}

/// The modifier of a line for one eye.
pub fn modifier(eye: Eye) -> &'static str {
    match eye {
        Eye::Right => "RT",
        Eye::Left => "LT",
    }
}

/// The code of one lens, with a note if the owner should check it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LensCode {
    pub code: &'static str,
    /// The public descriptor of the code.
    pub descriptor: &'static str,
    /// Why the owner should check it: a gap in the printed ranges, or two cylinder forms with different codes.
    pub note: Option<String>,
}

/// A power in thousandths of a diopter, so that 4.12 and 4.13 both become 4.125.
fn thousandths(power: Diopter) -> i32 {
    power.eighths().map_or(power.hundredths() * 10, |eighths| eighths * 125)
}

/// The code of a single-vision lens.
///
/// The printed ranges have gaps and overlaps. A value in a gap gets the nearest range (the lower of two equally near)
/// and a note. A value beyond every range is [`UNCLASSIFIED`]. If the plus and minus forms of a lens have different
/// codes, a note names both.
pub fn lens_code(power: LensPower, basis: CodeBasis) -> LensCode {
    let (code, mut notes) = code_of(match basis {
        CodeBasis::AsWritten => power,
        CodeBasis::Minus => power.to_minus(),
        CodeBasis::Plus => power.to_plus(),
    });
    let (minus, plus) = (code_of(power.to_minus()).0, code_of(power.to_plus()).0);
    if minus != plus {
        notes.push(format!(
            "The two cylinder forms have different codes: minus form {minus}, plus form {plus}. Used here: {code}, {}.",
            basis.words()
        ));
    }
    let note = (!notes.is_empty()).then(|| notes.join(" "));
    LensCode { code, descriptor: descriptor(code).unwrap_or_default(), note }
}

/// A printed range, in thousandths, both ends included.
#[derive(Clone, Copy)]
struct Range(i32, i32);

/// The end of a range without upper limit.
const OPEN: i32 = i32::MAX;
const SPHERE_ALONE: [Range; 3] = [Range(0, 4000), Range(4120, 7000), Range(7120, 20_000)];
/// Over 12.00 there is no upper limit.
const SPHERE_WITH_CYLINDER: [Range; 4] = [Range(0, 4000), Range(4250, 7000), Range(7250, 12_000), Range(12_001, OPEN)];
const CYLINDER: [Range; 4] = [Range(120, 2000), Range(2120, 4000), Range(4250, 6000), Range(6001, OPEN)];
/// With a sphere of 7.25 to 12.00 the cylinder ranges differ from the others, and there is no "over 6.00".
const CYLINDER_STRONG: [Range; 3] = [Range(250, 2250), Range(2250, 4000), Range(4250, 6000)];

/// The range found for a size.
struct FoundRange {
    index: usize,
    in_gap: bool,
    twice: bool,
}

/// The range that contains a size, or the nearest; `None` beyond the last.
fn find(ranges: &[Range], size: i32) -> Option<FoundRange> {
    let holding: Vec<usize> =
        ranges.iter().enumerate().filter(|(_, r)| (r.0..=r.1).contains(&size)).map(|(i, _)| i).collect();
    if let Some(&index) = holding.first() {
        return Some(FoundRange { index, in_gap: false, twice: holding.len() > 1 });
    }
    if ranges.last().is_none_or(|last| size > last.1) {
        return None;
    }
    // `min_by_key` returns the first of equals: the lower range.
    let distance = |r: &Range| if size < r.0 { r.0 - size } else { size - r.1 };
    let (index, _) = ranges.iter().enumerate().min_by_key(|(_, r)| distance(r))?;
    Some(FoundRange { index, in_gap: true, twice: false })
}

fn code_of(form: LensPower) -> (&'static str, Vec<String>) {
    let (sphere, cylinder) = (thousandths(form.sphere()).abs(), thousandths(form.cylinder()).abs());
    let beyond = |what: &str| {
        (UNCLASSIFIED, vec![format!("No code covers {what}: {UNCLASSIFIED} is used. Ask the plan before you send it.")])
    };
    if cylinder == 0 {
        return match find(&SPHERE_ALONE, sphere) {
            None => beyond("a sphere over 20.00"),
            Some(found) => {
                let code = ["V2100", "V2101", "V2102"][found.index];
                (code, gap_note(found.in_gap, "sphere", sphere, code))
            }
        };
    }
    // The sphere ranges have no upper limit, so one is always found.
    let Some(band) = find(&SPHERE_WITH_CYLINDER, sphere) else { return beyond("this sphere") };
    if band.index == 3 {
        return ("V2114", Vec::new());
    }
    let strong = band.index == 2;
    let ranges: &[Range] = if strong { &CYLINDER_STRONG } else { &CYLINDER };
    let Some(step) = find(ranges, cylinder) else {
        return beyond("a sphere of 7.25 to 12.00 with a cylinder over 6.00");
    };
    const CODES: [[&str; 4]; 3] = [
        ["V2103", "V2104", "V2105", "V2106"],
        ["V2107", "V2108", "V2109", "V2110"],
        ["V2111", "V2112", "V2113", UNCLASSIFIED],
    ];
    let code = CODES[band.index][step.index];
    let mut notes = gap_note(band.in_gap, "sphere", sphere, code);
    notes.extend(gap_note(step.in_gap, "cylinder", cylinder, code));
    if step.twice {
        notes.push(format!("A cylinder of 2.25 is in both V2111 and V2112: {code} is used."));
    }
    (code, notes)
}

fn gap_note(in_gap: bool, what: &str, size: i32, code: &str) -> Vec<String> {
    if !in_gap {
        return Vec::new();
    }
    // An eighth is written with two decimals, truncated, as in the trade: 4.125 as 4.12.
    vec![format!(
        "A {what} of {}.{:02} falls between two printed ranges: {code}, the nearest, is used. Check it before you send it.",
        size / 1000,
        size % 1000 / 10
    )]
}
