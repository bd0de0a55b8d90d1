//! What a column of the table holds. The heads of other programs' tables are in plain words, so a guess is often right;
//! the owner sets the rest.

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::day::{self, DayOrder};
use crate::desk::key::keyed;

/// What a column holds.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, EnumString, IntoStaticStr, VariantArray,
)]
#[strum(serialize_all = "snake_case")]
pub enum Column {
    /// Nothing that is brought in.
    #[default]
    Nothing,
    Number,
    Date,
    Name,
    GivenName,
    FamilyName,
    Line1,
    Line2,
    City,
    Region,
    Postcode,
    Phone,
    Email,
    Maker,
    Model,
    Color,
    EyeSize,
    Bridge,
    Temple,
    Rim,
    TraceFile,
    RightPower,
    RightCylinder,
    RightAxis,
    RightPrism,
    LeftPower,
    LeftCylinder,
    LeftAxis,
    LeftPrism,
    Pd,
    RightPd,
    LeftPd,
    NearPd,
    RightHeight,
    LeftHeight,
    Prescriber,
    Lenses,
    Note,
}

keyed!(Column);

impl Column {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            Column::Nothing => "leave out",
            Column::Number => "old job number",
            Column::Date => "day of the order",
            Column::Name => "customer’s name",
            Column::GivenName => "first name",
            Column::FamilyName => "last name",
            Column::Line1 => "address, first line",
            Column::Line2 => "address, second line",
            Column::City => "city",
            Column::Region => "state",
            Column::Postcode => "ZIP code",
            Column::Phone => "telephone",
            Column::Email => "e-mail",
            Column::Maker => "frame maker",
            Column::Model => "frame model",
            Column::Color => "frame color",
            Column::EyeSize => "eye size (A)",
            Column::Bridge => "bridge (DBL)",
            Column::Temple => "temple length",
            Column::Rim => "kind of rim",
            Column::TraceFile => "trace file",
            Column::RightPower => "right power or sphere",
            Column::RightCylinder => "right cylinder",
            Column::RightAxis => "right axis",
            Column::RightPrism => "right prism",
            Column::LeftPower => "left power or sphere",
            Column::LeftCylinder => "left cylinder",
            Column::LeftAxis => "left axis",
            Column::LeftPrism => "left prism",
            Column::Pd => "pupil distance",
            Column::RightPd => "right pupil distance",
            Column::LeftPd => "left pupil distance",
            Column::NearPd => "near pupil distance",
            Column::RightHeight => "right height",
            Column::LeftHeight => "left height",
            Column::Prescriber => "prescriber",
            Column::Lenses => "what the lenses were",
            Column::Note => "note",
        }
    }

    /// Heads in other tables that mean it, in small letters without punctuation. Those of an eye are read apart.
    fn heads(self) -> &'static [&'static str] {
        match self {
            Column::Number => &[
                "number",
                "no",
                "nr",
                "job",
                "job no",
                "job nr",
                "job number",
                "order",
                "order no",
                "order number",
                "tray",
                "tray no",
                "tray number",
                "old number",
                "old no",
                "old nr",
                "old job",
                "old job number",
                "id",
                "ref",
                "reference",
            ],
            Column::Date => &["date", "day", "ordered", "ordered on", "order date", "date ordered", "job date", "made"],
            Column::Name => &[
                "name",
                "customer",
                "customer name",
                "customers name",
                "patient",
                "patient name",
                "client",
                "client name",
                "full name",
                "wearer",
            ],
            Column::GivenName => &["first name", "firstname", "given name", "first"],
            Column::FamilyName => &["last name", "lastname", "surname", "family name", "last"],
            Column::Line1 => {
                &["address", "street", "street address", "address 1", "address1", "address line 1", "line 1"]
            }
            Column::Line2 => &["address 2", "address2", "address line 2", "line 2", "apartment", "apt", "unit"],
            Column::City => &["city", "town"],
            Column::Region => &["state", "region", "province", "county"],
            Column::Postcode => &["zip", "zip code", "zipcode", "postcode", "post code", "postal code"],
            Column::Phone => &["phone", "telephone", "tel", "phone number", "telephone number", "mobile", "cell"],
            Column::Email => &["email", "e mail", "mail", "email address"],
            Column::Maker => &["maker", "make", "brand", "manufacturer", "frame maker", "frame brand"],
            Column::Model => &["model", "frame", "frame model", "frame name", "style"],
            Column::Color => &["color", "colour", "frame color", "frame colour"],
            Column::EyeSize => &["eye", "eye size", "eyesize", "a", "size", "lens width", "frame size"],
            Column::Bridge => &["bridge", "dbl", "bridge size"],
            Column::Temple => &["temple", "temples", "temple length"],
            Column::Rim => &["rim", "rim type", "kind of rim", "mount", "mounting"],
            Column::TraceFile => &[
                "file",
                "trace",
                "trace file",
                "tracefile",
                "trace name",
                "trace file name",
                "file name",
                "filename",
                "shape",
                "shape file",
            ],
            Column::Pd => {
                &["pd", "ipd", "pupil distance", "pupillary distance", "distance pd", "far pd", "binocular pd"]
            }
            Column::NearPd => &["near pd", "npd", "reading pd", "near pupil distance"],
            Column::Prescriber => &["prescriber", "doctor", "dr", "optometrist", "ophthalmologist"],
            Column::Lenses => &["lens", "lenses", "material", "lens material"],
            Column::Note => &["note", "notes", "remark", "remarks", "comment", "comments"],
            _ => &[],
        }
    }

    /// What a head means, if that is plain.
    fn of_head(head: &str) -> Self {
        let lower: String = head.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { ' ' }).collect();
        let words: Vec<&str> = lower.split_whitespace().collect();
        let plain = words.join(" ");
        let of_book = Self::ALL.iter().find(|column| column.heads().contains(&plain.as_str()));
        of_book.copied().or_else(|| of_eye(&words)).unwrap_or_default()
    }
}

/// What a head with an eye in it means: `R Sph`, `OD cylinder`, `left axis`.
fn of_eye(words: &[&str]) -> Option<Column> {
    const RIGHT: [&str; 4] = ["r", "right", "od", "re"];
    const LEFT: [&str; 4] = ["l", "left", "os", "le"];
    let is_right = words.iter().any(|word| RIGHT.contains(word));
    let is_left = words.iter().any(|word| LEFT.contains(word));
    let rest: Vec<&str> =
        words.iter().copied().filter(|word| !RIGHT.contains(word) && !LEFT.contains(word) && *word != "eye").collect();
    let [right, left] = match rest.join(" ").as_str() {
        "" | "rx" | "power" | "prescription" | "sphere" | "sph" | "s" => [Column::RightPower, Column::LeftPower],
        "cylinder" | "cyl" | "c" => [Column::RightCylinder, Column::LeftCylinder],
        "axis" | "ax" => [Column::RightAxis, Column::LeftAxis],
        "prism" => [Column::RightPrism, Column::LeftPrism],
        "pd" | "mono pd" | "distance pd" | "pupil distance" => [Column::RightPd, Column::LeftPd],
        "height" | "oc" | "oc height" | "fitting height" | "h" => [Column::RightHeight, Column::LeftHeight],
        _ => return None,
    };
    match (is_right, is_left) {
        (true, false) => Some(right),
        (false, true) => Some(left),
        _ => None,
    }
}

/// Guesses what each column holds, from the heads and, where those say nothing, from some rows. Each is guessed once.
pub fn guess(heads: &[String], rows: &[Vec<String>]) -> Vec<Column> {
    let mut guessed: Vec<Column> = Vec::new();
    for head in heads {
        let column = Column::of_head(head);
        let is_new = column == Column::Note || !guessed.contains(&column);
        guessed.push(if is_new { column } else { Column::Nothing });
    }
    for at in 0..guessed.len() {
        let cells: Vec<&str> =
            rows.iter().filter_map(|row| row.get(at)).map(|cell| cell.trim()).filter(|cell| !cell.is_empty()).collect();
        let most = |is_so: fn(&str) -> bool| {
            !cells.is_empty() && 2 * cells.iter().filter(|cell| is_so(cell)).count() > cells.len()
        };
        let column = match () {
            () if most(is_email) => Column::Email,
            () if most(is_file_name) => Column::TraceFile,
            () if most(is_day) && !is_of_birth(&heads[at]) => Column::Date,
            () => continue,
        };
        if guessed[at] == Column::Nothing && !guessed.contains(&column) {
            guessed[at] = column;
        }
    }
    guessed
}

/// Whether the first row holds the heads of the columns: one of them is known, and none is a number.
pub fn is_head(first: &[String]) -> bool {
    let is_number = |cell: &String| cell.trim().parse::<f64>().is_ok();
    first.iter().any(|cell| Column::of_head(cell) != Column::Nothing) && !first.iter().any(is_number)
}

fn is_email(cell: &str) -> bool {
    cell.split_once('@').is_some_and(|(name, place)| !name.is_empty() && place.contains('.'))
}

fn is_day(cell: &str) -> bool {
    DayOrder::ALL.iter().any(|order| day::read(cell, *order).is_ok())
}

/// A day that is none of an order.
fn is_of_birth(head: &str) -> bool {
    let head = head.to_lowercase();
    ["birth", "born", "dob", "geb"].iter().any(|word| head.contains(word))
}

/// A name with an ending of letters: `4711.txt`.
fn is_file_name(cell: &str) -> bool {
    let ending = cell.rsplit_once('.').map_or("", |(_, ending)| ending);
    (2..=4).contains(&ending.len()) && ending.chars().all(|c| c.is_ascii_alphabetic()) && !cell.contains(['@', ' '])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn owned(cells: &[&str]) -> Vec<String> {
        cells.iter().map(|cell| (*cell).to_owned()).collect()
    }

    #[test]
    fn heads_in_plain_words_are_known() {
        for (head, column) in [
            ("Job No.", Column::Number),
            ("  CUSTOMER  ", Column::Name),
            ("E-Mail", Column::Email),
            ("ZIP", Column::Postcode),
            ("Address_2", Column::Line2),
            ("Frame colour", Column::Color),
            ("DBL", Column::Bridge),
            ("OD Sph", Column::RightPower),
            ("R_CYL", Column::RightCylinder),
            ("left axis", Column::LeftAxis),
            ("OS", Column::LeftPower),
            ("PD", Column::Pd),
            ("PD R", Column::RightPd),
            ("Near PD", Column::NearPd),
            ("L OC height", Column::LeftHeight),
            ("Trace file", Column::TraceFile),
            ("right and left", Column::Nothing),
            ("favorite tea", Column::Nothing),
            ("", Column::Nothing),
        ] {
            assert_eq!(Column::of_head(head), column, "{head:?}");
        }
    }

    #[test]
    fn no_two_columns_share_a_head() {
        let all: Vec<&str> = Column::ALL.iter().flat_map(|column| column.heads()).copied().collect();
        for head in &all {
            assert_eq!(all.iter().filter(|other| *other == head).count(), 1, "{head}");
            assert_ne!(Column::of_head(head), Column::Nothing, "{head}");
        }
    }

    #[test]
    fn a_column_is_guessed_once_and_contents_help() {
        let heads = owned(&["No", "Name", "Patient", "", "whatever", "Note", "Remarks"]);
        let rows = [owned(&["4711", "Ada Quill", "x", "ada@example.net", "4711.txt", "", ""]), owned(&["4712"])];
        use Column::*;
        assert_eq!(guess(&heads, &rows), [Number, Name, Nothing, Email, TraceFile, Note, Note]);
        assert_eq!(guess(&[], &rows), []);
        // The day of an order is known by its cells under a head of another language; a day of birth is none.
        let rows = [owned(&["17.08.1961", "25.12.2021", "2021-12-25"]), owned(&["1.2.1970", "1/2/2020", ""])];
        assert_eq!(guess(&owned(&["Geburtstag", "Auftrag", "abgeholt"]), &rows), [Nothing, Date, Nothing]);
    }

    #[test]
    fn the_first_row_is_a_head_where_it_reads_like_one() {
        assert!(is_head(&owned(&["Job", "Name", "whatever"])));
        assert!(!is_head(&owned(&["4711", "Name"])), "a number is no head");
        assert!(!is_head(&owned(&["Ada Quill", "Pellmarsh"])));
    }
}
