//! What is gone through before a pair leaves, and what goes with it. Source: common practice, from memory, but for
//! the words on impact (21 CFR 801.410).

use strum::VariantArray;
use thiserror::Error;

/// Which part of the work an item belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, VariantArray)]
pub enum ItemGroup {
    /// The lenses in the frame.
    Lenses,
    /// The frame on the flat plate.
    Alignment,
    /// The parcel.
    Parcel,
}

impl ItemGroup {
    /// Every group, in the order of the work.
    pub const ALL: &[ItemGroup] = ItemGroup::VARIANTS;

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            ItemGroup::Lenses => "Lenses in the frame",
            ItemGroup::Alignment => "Alignment on the flat plate",
            ItemGroup::Parcel => "Cleaning and packing",
        }
    }

    /// For a person, where lenses may leave without a frame.
    pub fn words_for(self, parcel: Parcel) -> &'static str {
        match (self, parcel) {
            (ItemGroup::Lenses, Parcel::LensesOnly) => "The two lenses",
            _ => self.words(),
        }
    }
}

/// One thing to look at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PackingItem {
    /// As in the form; never reused for something else.
    pub key: &'static str,
    /// Which part of the work.
    pub group: ItemGroup,
    /// As ticked and kept.
    pub words: &'static str,
    /// Whether the pair may not leave without it.
    pub is_needed: bool,
    /// The parcel it is asked of; `None` for every parcel.
    pub only_for: Option<Parcel>,
}

impl PackingItem {
    /// Whether it is asked of such a parcel.
    pub fn is_asked_of(&self, parcel: Parcel) -> bool {
        self.only_for.is_none_or(|only| only == parcel)
    }
}

/// What leaves the lab.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Parcel {
    /// The lenses in their frame.
    Glasses,
    /// Two lenses, for a frame that stays with the customer.
    LensesOnly,
}

impl Parcel {
    /// The parcel of a job: lenses only where they are made for a frame the customer keeps.
    pub fn of(lenses_only: bool) -> Self {
        if lenses_only { Self::LensesOnly } else { Self::Glasses }
    }
}

const fn needed(key: &'static str, group: ItemGroup, words: &'static str) -> PackingItem {
    PackingItem { key, group, words, is_needed: true, only_for: None }
}

const fn wished(key: &'static str, group: ItemGroup, words: &'static str) -> PackingItem {
    PackingItem { key, group, words, is_needed: false, only_for: None }
}

const fn only(parcel: Parcel, item: PackingItem) -> PackingItem {
    PackingItem { only_for: Some(parcel), ..item }
}

/// The list, in the order of the work.
pub const ITEMS: [PackingItem; 15] = [
    only(Parcel::Glasses, needed("lenses_tight", ItemGroup::Lenses, "Both lenses are tight, with no gap and no turn")),
    only(Parcel::LensesOnly, needed("own_wraps", ItemGroup::Lenses, "Each lens in a wrap of its own, marked R or L")),
    only(
        Parcel::LensesOnly,
        needed("size_compared", ItemGroup::Lenses, "Both lenses compared with the shape on file for size"),
    ),
    needed("edges", ItemGroup::Lenses, "No chip, scratch or coating fault; edges safe to touch"),
    wished("bevels_alike", ItemGroup::Lenses, "Bevel lines of right and left are alike"),
    wished("stress", ItemGroup::Lenses, "No strain between crossed polarisers"),
    only(Parcel::Glasses, needed("screws", ItemGroup::Lenses, "Screws tight")),
    only(
        Parcel::Glasses,
        needed(
            "four_points",
            ItemGroup::Alignment,
            "Temples open, front down: both rims and both temple tips touch the plate",
        ),
    ),
    only(Parcel::Glasses, needed("turned_over", ItemGroup::Alignment, "The same turned over")),
    only(
        Parcel::Glasses,
        needed(
            "spread",
            ItemGroup::Alignment,
            "Temples spread alike, about 90 to 95°, bent alike, and parallel when folded",
        ),
    ),
    only(Parcel::Glasses, wished("planes", ItemGroup::Alignment, "Lens planes in line, face form alike, pads alike")),
    needed("cleaned", ItemGroup::Parcel, "Cleaned, no marks left of blocking or layout"),
    needed("sheet_inside", ItemGroup::Parcel, "Packing sheet with the cautions is inside"),
    wished("case", ItemGroup::Parcel, "Case and cloth are inside"),
    needed("no_prescription_outside", ItemGroup::Parcel, "Nothing of the prescription is on the outside of the parcel"),
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
pub fn missing<S: AsRef<str>>(parcel: Parcel, ticked: &[S]) -> Vec<&'static PackingItem> {
    static LIST: [PackingItem; 15] = ITEMS;
    LIST.iter()
        .filter(|item| item.is_asked_of(parcel))
        .filter(|item| item.is_needed && !ticked.iter().any(|t| t.as_ref() == item.key))
        .collect()
}

/// The sentences that were ticked, in the order of the list, as the book keeps them.
///
/// # Errors
///
/// [`PackingError::Unknown`] for a key that is not on the list, [`PackingError::Missing`] for what is needed.
pub fn go_through<S: AsRef<str>>(parcel: Parcel, ticked: &[S]) -> Result<Vec<&'static str>, PackingError> {
    let is_asked = |key: &str| ITEMS.iter().any(|item| item.key == key && item.is_asked_of(parcel));
    if let Some(unknown) = ticked.iter().find(|t| !is_asked(t.as_ref())) {
        return Err(PackingError::Unknown(unknown.as_ref().to_owned()));
    }
    let missing = missing(parcel, ticked);
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
        for parcel in [Parcel::Glasses, Parcel::LensesOnly] {
            let asked = || ITEMS.iter().filter(move |i| i.is_asked_of(parcel));
            let all: Vec<&str> = asked().map(|i| i.key).collect();
            assert_eq!(go_through(parcel, &all).map(|s| s.len()), Ok(all.len()));
            let needed: Vec<&str> = asked().filter(|i| i.is_needed).map(|i| i.key).collect();
            assert!(go_through(parcel, &needed).is_ok_and(|s| s.len() == needed.len()));
            for left_out in &needed {
                let rest: Vec<&&str> = needed.iter().filter(|k| k != &left_out).collect();
                assert_eq!(missing(parcel, &rest).iter().map(|i| i.key).collect::<Vec<_>>(), [*left_out]);
                assert!(matches!(go_through(parcel, &rest), Err(PackingError::Missing(_))));
            }
        }
        assert!(matches!(go_through(Parcel::Glasses, &["wrapped"]), Err(PackingError::Unknown(_))));
    }

    #[test]
    fn lenses_alone_have_no_temples_to_align() {
        let of = |parcel| ITEMS.iter().filter(move |i| i.is_asked_of(parcel));
        assert!(of(Parcel::LensesOnly).all(|i| i.group != ItemGroup::Alignment && i.key != "screws"));
        assert!(of(Parcel::LensesOnly).any(|i| i.key == "own_wraps"));
        assert!(of(Parcel::Glasses).all(|i| i.key != "own_wraps"));
        assert!(matches!(go_through(Parcel::LensesOnly, &["spread"]), Err(PackingError::Unknown(_))));
    }

    #[test]
    fn keys_are_used_once() {
        for (i, item) in ITEMS.iter().enumerate() {
            assert!(!ITEMS[..i].iter().any(|other| other.key == item.key), "{}", item.key);
        }
    }
}
