//! People, frames and papers of the large demonstration, drawn from a seed: the same index is always the same person.
//! Names, places and numbers are made up, by the rules in `demo-data/README.md`.

use time::OffsetDateTime;
use uuid::Uuid;

use crate::desk::customer::Person;
use crate::desk::frame::FrameDetails;

/// What a number is drawn for, so that two questions about one index get unrelated answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DrawPurpose {
    FirstName,
    LastName,
    Street,
    House,
    Town,
    Phone,
    Day,
    Gap,
    Template,
    Frame,
    Patient,
    Payer,
    Prescriber,
    Tracking,
    Scale,
    Wave,
}

const SEED: u64 = 0x5a17_3a25_1e45;

/// A number for a question about an index (SplitMix64; Steele, Lea and Flood 2014).
pub fn draw(ask: DrawPurpose, index: u64) -> u64 {
    let mut z = SEED ^ index.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (ask as u64).wrapping_mul(0xd1b5_4a32_d192_ed03);
    for factor in [0xbf58_476d_1ce4_e5b9, 0x94d0_49bb_1331_11eb] {
        z = (z ^ (z >> 30)).wrapping_mul(factor);
    }
    z ^ (z >> 31)
}

/// A number below `end`.
pub fn below(ask: DrawPurpose, index: u64, end: u64) -> u64 {
    draw(ask, index) % end.max(1)
}

/// A number from 0 up to 1.
pub fn part(ask: DrawPurpose, index: u64) -> f64 {
    (draw(ask, index) >> 11) as f64 / (1_u64 << 53) as f64
}

fn one_of<'a>(list: &[&'a str], ask: DrawPurpose, index: u64) -> &'a str {
    list[below(ask, index, list.len() as u64) as usize]
}

/// What a key is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    Customer,
    Frame,
    Shape,
    Job,
}

/// A UUIDv7 whose random part is counted. Its last byte is 0.
pub fn key(of: Of, at: OffsetDateTime, index: u64) -> Uuid {
    let millis = u128::from(u64::try_from(at.unix_timestamp_nanos() / 1_000_000).unwrap_or_default());
    Uuid::from_u128((millis << 80) | (7 << 76) | ((of as u128) << 64) | (2 << 62) | u128::from(index << 8))
}

const FIRST: [&str; 72] = [
    "Ada",
    "Alasdair",
    "Amadou",
    "Anneke",
    "Arvid",
    "Aoife",
    "Basil",
    "Bettina",
    "Bogdan",
    "Britta",
    "Cassian",
    "Chiara",
    "Cosima",
    "Dagny",
    "Damaris",
    "Desmond",
    "Dunja",
    "Edmund",
    "Eilidh",
    "Élodie",
    "Emre",
    "Esme",
    "Fabian",
    "Fenna",
    "Florian",
    "Gideon",
    "Gwendolyn",
    "Hana",
    "Hugo",
    "Idris",
    "Ilse",
    "Ines",
    "Isidor",
    "Jago",
    "Jasmijn",
    "Joaquín",
    "Juno",
    "Kaito",
    "Katya",
    "Kofi",
    "Lavinia",
    "Leif",
    "Linnea",
    "Lucian",
    "Magnus",
    "Maeve",
    "Marit",
    "Milo",
    "Nadia",
    "Niamh",
    "Noé",
    "Odile",
    "Orla",
    "Oskar",
    "Petra",
    "Quentin",
    "Ragna",
    "Renata",
    "Roderick",
    "Salma",
    "Søren",
    "Sibyl",
    "Tamsin",
    "Teodor",
    "Ulla",
    "Ursula",
    "Viggo",
    "Vivienne",
    "Walter",
    "Xanthe",
    "Yannick",
    "Zelda",
];

const LAST_BEGIN: [&str; 48] = [
    "Alder", "Amber", "Ashen", "Barley", "Birch", "Black", "Bramble", "Bright", "Brook", "Cinder", "Clover", "Copper",
    "Crane", "Dapple", "Dusk", "Elm", "Fallow", "Fern", "Flint", "Frost", "Gorse", "Gray", "Harrow", "Hazel", "Heron",
    "Holly", "Iron", "Ivy", "Kelp", "Lark", "Linden", "Maple", "Meadow", "Moss", "Nettle", "North", "Oaken", "Otter",
    "Pebble", "Quarry", "Raven", "Reed", "Rowan", "Salt", "Sedge", "Thorn", "Willow", "Wren",
];

const LAST_END: [&str; 40] = [
    "acre", "bank", "beck", "borough", "bourne", "bridge", "brook", "bury", "by", "combe", "cote", "croft", "dale",
    "den", "field", "fleet", "ford", "garth", "gate", "ham", "haven", "holme", "hurst", "land", "leigh", "lock",
    "mere", "moor", "mund", "quist", "ridge", "shaw", "side", "stead", "stone", "thwaite", "wald", "ward", "well",
    "wick",
];

const STREETS: [&str; 16] = [
    "Tidewrack Lane",
    "Mudlark Way",
    "Bulrush Court",
    "Sluice Street",
    "Ropewalk",
    "Glasswort Road",
    "Turnstone Avenue",
    "Old Causeway",
    "Saltern Street",
    "Whelk Street",
    "Samphire Row",
    "Pumphouse Road",
    "Staithe Road",
    "Lantern Hill",
    "Reedcutter Lane",
    "Windpump Close",
];

const TOWNS: [(&str, &str); 16] = [
    ("Orrinquay", "00211"),
    ("Upper Tarn", "00309"),
    ("Sandle Cove", "00226"),
    ("Wickerfleet", "00219"),
    ("Pellmarsh", "00207"),
    ("Eelgrass Bay", "00247"),
    ("Tarnhollow", "00304"),
    ("Lower Pell", "00208"),
    ("Millrace Ford", "00327"),
    ("Farrowmere", "00318"),
    ("Gannetry", "00162"),
    ("Cordgrass", "00241"),
    ("Saltpan Hill", "00175"),
    ("Quillhaven", "00233"),
    ("Thistlewick", "00335"),
    ("Brackish Point", "00214"),
];

/// The person of an index.
pub fn person(index: u64) -> Person {
    let first = one_of(&FIRST, DrawPurpose::FirstName, index);
    let begin = one_of(&LAST_BEGIN, DrawPurpose::LastName, index);
    let end = LAST_END[(draw(DrawPurpose::LastName, index) >> 32) as usize % LAST_END.len()];
    let (city, postcode) = TOWNS[below(DrawPurpose::Town, index, TOWNS.len() as u64) as usize];
    let house = 1 + below(DrawPurpose::House, index, 240);
    Person {
        name: format!("{first} {begin}{end}"),
        line1: format!("{house} {}", one_of(&STREETS, DrawPurpose::Street, index)),
        city: city.to_owned(),
        region: "PM".to_owned(),
        postcode: postcode.to_owned(),
        phone: format!("555-01{:02}", below(DrawPurpose::Phone, index, 100)),
        email: format!("{}{}.{index}@example.com", begin.to_lowercase(), end),
        ..Person::default()
    }
}

/// The address of a person as it prints, without the name.
pub fn address(person: &Person) -> String {
    let label = person.label();
    label.split_once('\n').map(|(_, address)| address.to_owned()).unwrap_or_default()
}

/// One of some hundred prescribers.
pub fn prescriber(index: u64) -> String {
    let who = person(u64::MAX - below(DrawPurpose::Prescriber, index, 400));
    format!("Dr {}", who.name)
}

/// The number of a parcel.
pub fn tracking(index: u64) -> String {
    let number = draw(DrawPurpose::Tracking, index);
    format!("MP-{:07}-PM", number % 10_000_000)
}

const SERIES: [&str; 20] = [
    "Low", "High", "Slim", "Classic", "Junior", "Petite", "Grand", "Light", "Flex", "Curve", "Edge", "Duo", "Trail",
    "Studio", "Harbor", "Summit", "Prairie", "Canyon", "Orchard", "Meridian",
];

const COLORS: [&str; 16] = [
    "Ink", "Chestnut", "Olive", "Garnet", "Fog", "Sand", "Teal", "Brass", "Ebony", "Pearl", "Rust", "Indigo", "Moss",
    "Dune", "Steel", "Wine",
];

/// A later model of a frame, in one of four colors; it has the same sizes and price.
pub fn later_model(of: &FrameDetails, index: usize) -> FrameDetails {
    let series = SERIES[(index / 4) % SERIES.len()];
    // A letter keeps models apart when there are more than four colors of every series.
    let round = match index / 4 / SERIES.len() {
        0 => String::new(),
        n => format!(" {}", n + 1),
    };
    let color = COLORS[(index + index / 4) % COLORS.len()];
    FrameDetails { model: format!("{} {series}{round}", of.model), color: color.to_owned(), ..of.clone() }
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use time::macros::datetime;

    use super::*;

    #[test]
    fn the_same_index_is_the_same_person() {
        assert_eq!(person(7), person(7));
        let names: HashSet<String> = (0..10_000).map(|i| person(i).name).collect();
        assert!(names.len() > 8_000, "{}", names.len());
        assert_eq!(address(&person(7)).lines().count(), 2);
    }

    #[test]
    fn keys_are_in_the_order_of_time_and_index() {
        let (early, late) = (datetime!(1990-01-01 0:00 UTC), datetime!(1990-01-02 0:00 UTC));
        let keys = [key(Of::Job, early, 1), key(Of::Job, early, 2), key(Of::Job, late, 1)];
        assert!(keys.is_sorted() && keys.iter().all(|k| k.get_version_num() == 7 && k.as_bytes()[15] == 0));
    }

    #[test]
    fn draws_are_spread() {
        let mean = (0..10_000).map(|i| part(DrawPurpose::Scale, i)).sum::<f64>() / 10_000.0;
        assert!((mean - 0.5).abs() < 0.02, "{mean}");
    }
}
