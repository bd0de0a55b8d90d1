//! What is gone through before a pair leaves, and what goes with it. Source: common practice, from memory, but for
//! the words on impact (21 CFR 801.410).

use thiserror::Error;

/// Which part of the work an item belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Group {
    /// The lenses in the frame.
    Lenses,
    /// The frame on the flat plate.
    Alignment,
    /// The parcel.
    Parcel,
}

impl Group {
    /// Every group, in the order of the work.
    pub const ALL: [Group; 3] = [Group::Lenses, Group::Alignment, Group::Parcel];

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            Group::Lenses => "Lenses in the frame",
            Group::Alignment => "Alignment on the flat plate",
            Group::Parcel => "Cleaning and packing",
        }
    }
}

/// One thing to look at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Item {
    /// As in the form; never reused for something else.
    pub key: &'static str,
    /// Which part of the work.
    pub group: Group,
    /// As ticked and kept.
    pub words: &'static str,
    /// Whether the pair may not leave without it.
    pub is_needed: bool,
}

const fn needed(key: &'static str, group: Group, words: &'static str) -> Item {
    Item { key, group, words, is_needed: true }
}

const fn wished(key: &'static str, group: Group, words: &'static str) -> Item {
    Item { key, group, words, is_needed: false }
}

/// The list, in the order of the work.
pub const ITEMS: [Item; 13] = [
    needed("lenses_tight", Group::Lenses, "Both lenses are tight, with no gap and no turn"),
    needed("edges", Group::Lenses, "No chip, scratch or coating fault; edges safe to touch"),
    wished("bevels_alike", Group::Lenses, "Bevel lines of right and left are alike"),
    wished("stress", Group::Lenses, "No strain between crossed polarisers"),
    needed("screws", Group::Lenses, "Screws tight"),
    needed("four_points", Group::Alignment, "Temples open, front down: both rims and both temple tips touch the plate"),
    needed("turned_over", Group::Alignment, "The same turned over"),
    needed("spread", Group::Alignment, "Temples spread alike, about 90 to 95°, bent alike, and parallel when folded"),
    wished("planes", Group::Alignment, "Lens planes in line, face form alike, pads alike"),
    needed("cleaned", Group::Parcel, "Cleaned, no marks left of blocking or layout"),
    needed("sheet_inside", Group::Parcel, "Packing sheet with the cautions is inside"),
    wished("case", Group::Parcel, "Case and cloth are inside"),
    needed("no_prescription_outside", Group::Parcel, "Nothing of the prescription is on the outside of the parcel"),
];

/// Why a packing cannot be kept.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum PackingError {
    /// A key that is not on the list.
    #[error("“{0}” is not on the packing list")]
    Unknown(String),
    /// Something needed was not ticked.
    #[error("not ticked yet: {}", .0.join("; "))]
    Missing(Vec<&'static str>),
}

/// The needed items that were not ticked.
pub fn missing<S: AsRef<str>>(ticked: &[S]) -> Vec<&'static Item> {
    static LIST: [Item; 13] = ITEMS;
    LIST.iter().filter(|item| item.is_needed && !ticked.iter().any(|t| t.as_ref() == item.key)).collect()
}

/// The sentences that were ticked, in the order of the list, as the book keeps them.
///
/// # Errors
///
/// [`PackingError::Unknown`] for a key that is not on the list, [`PackingError::Missing`] for what is needed.
pub fn go_through<S: AsRef<str>>(ticked: &[S]) -> Result<Vec<&'static str>, PackingError> {
    if let Some(unknown) = ticked.iter().find(|t| !ITEMS.iter().any(|item| item.key == t.as_ref())) {
        return Err(PackingError::Unknown(unknown.as_ref().to_owned()));
    }
    let missing = missing(ticked);
    if !missing.is_empty() {
        return Err(PackingError::Missing(missing.into_iter().map(|item| item.words).collect()));
    }
    Ok(ITEMS.into_iter().filter(|item| ticked.iter().any(|t| t.as_ref() == item.key)).map(|item| item.words).collect())
}

/// For the page and the slip.
pub const OUTSIDE: &str = "Never print the prescription on the outside of a parcel.";

/// On every packing sheet.
pub const IMPACT: &str = "Impact-resistant as required by 21 CFR 801.410. Not unbreakable. Not safety or sports eyewear. Not for \
     hazardous work, even in a sturdy frame.";

/// The first days with new lenses.
pub const FIRST_DAYS: &str = "New lenses can make floors and steps look different for a few days. Wear them at home first; do not drive or \
     use machines until distances look normal. If double vision, headache or blur persists beyond about a week, \
     contact the prescriber and us.";

/// For a reading pair.
pub const READING: &str = "Made for reading distance: far things are blurred. Not for driving or walking about.";

/// How to keep them.
pub const CARE: [&str; 4] = [
    "Rinse off grit under lukewarm water before wiping, and dry with the cloth.",
    "No household cleaner, alcohol or hot water; no paper.",
    "Take them off with both hands and lay them down on the frame, not on the lenses.",
    "Keep them in the case and out of a hot car.",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_needed_must_be_ticked() {
        let all: Vec<&str> = ITEMS.iter().map(|i| i.key).collect();
        assert_eq!(go_through(&all).map(|s| s.len()), Ok(ITEMS.len()));
        let needed: Vec<&str> = ITEMS.iter().filter(|i| i.is_needed).map(|i| i.key).collect();
        assert!(go_through(&needed).is_ok_and(|s| s.len() == needed.len()));
        for left_out in &needed {
            let rest: Vec<&&str> = needed.iter().filter(|k| k != &left_out).collect();
            assert_eq!(missing(&rest).iter().map(|i| i.key).collect::<Vec<_>>(), [*left_out]);
            assert!(matches!(go_through(&rest), Err(PackingError::Missing(_))));
        }
        assert!(matches!(go_through(&["wrapped"]), Err(PackingError::Unknown(_))));
    }

    #[test]
    fn keys_are_used_once() {
        for (i, item) in ITEMS.iter().enumerate() {
            assert!(!ITEMS[..i].iter().any(|other| other.key == item.key), "{}", item.key);
        }
    }
}
