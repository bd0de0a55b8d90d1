//! The packing list that is checked before a pair is sent, and the sentences on the packing sheet. Source: common
//! practice, from memory, except for the sentence on impact (21 CFR 801.410).

use strum::VariantArray;
use thiserror::Error;

use super::job::Job;

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

    /// The key of the one tick for everything required in this group.
    pub fn all_key(self) -> &'static str {
        match self {
            ItemGroup::Lenses => "all_lenses",
            ItemGroup::Alignment => "all_alignment",
            ItemGroup::Parcel => "all_parcel",
        }
    }

    /// Shown to the user.
    pub fn words(self) -> &'static str {
        match self {
            ItemGroup::Lenses => "Lenses in the frame",
            ItemGroup::Alignment => "Alignment on the flat plate",
            ItemGroup::Parcel => "Cleaning and packing",
        }
    }

    /// Shown to the user, for this kind of parcel.
    pub fn words_for(self, parcel: Parcel) -> &'static str {
        match (self, parcel) {
            (ItemGroup::Lenses, Parcel::LensesOnly) => "The lenses",
            _ => self.words(),
        }
    }
}

/// One item of the packing list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PackingItem {
    /// The key in the form. Never reused for another item.
    pub key: &'static str,
    pub group: ItemGroup,
    /// The sentence that is ticked and stored.
    pub words: &'static str,
    /// Required before the pair is sent.
    pub is_needed: bool,
    /// The kind of parcel it applies to; `None` for every kind.
    pub only_for: Option<Parcel>,
}

impl PackingItem {
    /// Whether it applies to this kind of parcel.
    pub fn applies_to(&self, parcel: Parcel) -> bool {
        self.only_for.is_none_or(|only| only == parcel || only == Parcel::Glasses && parcel == Parcel::OwnFrame)
    }
}

/// What is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Parcel {
    /// The lenses in their frame.
    Glasses,
    /// The lenses in the frame that the customer sent in.
    OwnFrame,
    /// Lenses, for a frame that stays with the customer.
    LensesOnly,
}

impl Parcel {
    /// New lenses for an earlier frame leave without the frame, unless the customer sent it in again.
    pub fn of(job: &Job) -> Self {
        match () {
            () if job.is_for_own_frame() => Self::OwnFrame,
            () if job.frame_stays() => Self::LensesOnly,
            () => Self::Glasses,
        }
    }
}

const fn needed(key: &'static str, group: ItemGroup, words: &'static str) -> PackingItem {
    PackingItem { key, group, words, is_needed: true, only_for: None }
}

const fn optional(key: &'static str, group: ItemGroup, words: &'static str) -> PackingItem {
    PackingItem { key, group, words, is_needed: false, only_for: None }
}

const fn only_for(parcel: Parcel, item: PackingItem) -> PackingItem {
    PackingItem { only_for: Some(parcel), ..item }
}

/// The list, in the order of the work.
pub const ITEMS: [PackingItem; 16] = [
    only_for(
        Parcel::Glasses,
        needed("lenses_tight", ItemGroup::Lenses, "Both lenses are tight, with no gap and no rotation"),
    ),
    only_for(Parcel::LensesOnly, needed("own_wraps", ItemGroup::Lenses, "Each lens wrapped separately, marked R or L")),
    only_for(
        Parcel::LensesOnly,
        needed("size_compared", ItemGroup::Lenses, "Each lens compared with the shape on file for size"),
    ),
    needed("edges", ItemGroup::Lenses, "No chip, scratch or coating fault; edges safe to touch"),
    optional("bevels_alike", ItemGroup::Lenses, "The bevels of right and left look the same"),
    optional("stress", ItemGroup::Lenses, "No stress between crossed polarizers"),
    only_for(Parcel::Glasses, needed("screws", ItemGroup::Lenses, "Screws are tight")),
    only_for(
        Parcel::Glasses,
        needed(
            "four_points",
            ItemGroup::Alignment,
            "Temples open, front down: both rims and both temple tips touch the plate",
        ),
    ),
    only_for(Parcel::Glasses, needed("turned_over", ItemGroup::Alignment, "The same with the frame turned over")),
    only_for(
        Parcel::Glasses,
        needed(
            "spread",
            ItemGroup::Alignment,
            "Temples spread equally, about 90 to 95°, bent equally, and parallel when folded",
        ),
    ),
    only_for(
        Parcel::Glasses,
        optional("planes", ItemGroup::Alignment, "Lens planes in line, equal face form, equal pads"),
    ),
    needed("cleaned", ItemGroup::Parcel, "Cleaned, with no blocking or layout marks left"),
    only_for(
        Parcel::OwnFrame,
        needed(
            "own_frame_back",
            ItemGroup::Parcel,
            "The customer’s own frame is compared with its recorded condition and packed",
        ),
    ),
    needed("sheet_inside", ItemGroup::Parcel, "The packing sheet with the cautions is inside"),
    optional("case", ItemGroup::Parcel, "Case and cloth are inside"),
    needed("no_prescription_outside", ItemGroup::Parcel, "No part of the prescription is on the outside of the parcel"),
];

/// Why a packing list is refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum PackingError {
    /// A key that is not on the list.
    #[error("“{0}” is not on the packing list")]
    Unknown(String),
    /// A required item is not ticked.
    #[error("not ticked yet: {}", .0.join("; "))]
    Missing(Vec<&'static str>),
}

/// The required items that are not ticked.
pub fn missing<S: AsRef<str>>(parcel: Parcel, ticked: &[S]) -> Vec<&'static PackingItem> {
    static LIST: [PackingItem; 16] = ITEMS;
    LIST.iter()
        .filter(|item| item.applies_to(parcel))
        .filter(|item| item.is_needed && !is_ticked(item, ticked))
        .collect()
}

/// Whether an item is ticked, by itself or with everything required in its group.
pub fn is_ticked<S: AsRef<str>>(item: &PackingItem, ticked: &[S]) -> bool {
    let is = |key: &str| ticked.iter().any(|t| t.as_ref() == key);
    is(item.key) || (item.is_needed && is(item.group.all_key()))
}

/// The sentences of the ticked items, in the order of the list, for the book.
///
/// # Errors
///
/// [`PackingError::Unknown`] for a key that is not on the list, [`PackingError::Missing`] for a required item.
pub fn check_ticks<S: AsRef<str>>(parcel: Parcel, ticked: &[S]) -> Result<Vec<&'static str>, PackingError> {
    let is_on_list =
        |key: &str| ITEMS.iter().any(|item| item.applies_to(parcel) && [item.key, item.group.all_key()].contains(&key));
    if let Some(unknown) = ticked.iter().find(|t| !is_on_list(t.as_ref())) {
        return Err(PackingError::Unknown(unknown.as_ref().to_owned()));
    }
    let missing = missing(parcel, ticked);
    if !missing.is_empty() {
        return Err(PackingError::Missing(missing.into_iter().map(|item| item.words).collect()));
    }
    let listed = ITEMS.into_iter().filter(|item| item.applies_to(parcel) && is_ticked(item, ticked));
    Ok(listed.map(|item| item.words).collect())
}

/// On the packing page and the slip.
pub const OUTSIDE: &str = "Never print the prescription on the outside of a parcel.";

/// On the packing sheet of a pair whose impact resistance is on record, before [`NOT_SAFETY`].
pub const IMPACT: &str = "Impact-resistant as required by 21 CFR 801.410.";

/// On every packing sheet.
pub const NOT_SAFETY: &str =
    "Not unbreakable. Not safety or sports eyewear. Not for hazardous work, even in a sturdy frame.";

/// On the packing sheet of a checked pair.
pub const MEASURED_PAIR: &str = "We measured the power of each lens, the axis and prism where there is any, and where the \
     centers of the lenses are.";
/// On the packing sheet of one checked lens.
pub const MEASURED_LENS: &str = "We measured the power of the new lens, the axis and prism where there is any, and where \
     its center is.";

/// On every packing sheet: the first days with new lenses.
pub const FIRST_DAYS: &str = "New lenses can make floors and steps look different for a few days. Wear them at home first; do not drive or \
     use machines until distances look normal. If double vision, headache or blur persists beyond about a week, \
     contact the prescriber and us.";

/// On the packing sheet of a reading pair.
pub const READING: &str = "Made for reading distance: distant objects are blurred. Not for driving or walking.";

/// On every packing sheet: how to take care of the glasses.
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
    fn required_items_must_be_ticked() {
        for parcel in [Parcel::Glasses, Parcel::OwnFrame, Parcel::LensesOnly] {
            let listed = || ITEMS.iter().filter(move |i| i.applies_to(parcel));
            let all: Vec<&str> = listed().map(|i| i.key).collect();
            assert_eq!(check_ticks(parcel, &all).map(|s| s.len()), Ok(all.len()));
            let required: Vec<&str> = listed().filter(|i| i.is_needed).map(|i| i.key).collect();
            assert!(check_ticks(parcel, &required).is_ok_and(|s| s.len() == required.len()));
            for left_out in &required {
                let rest: Vec<&&str> = required.iter().filter(|k| k != &left_out).collect();
                assert_eq!(missing(parcel, &rest).iter().map(|i| i.key).collect::<Vec<_>>(), [*left_out]);
                assert!(matches!(check_ticks(parcel, &rest), Err(PackingError::Missing(_))));
            }
        }
        assert!(matches!(check_ticks(Parcel::Glasses, &["wrapped"]), Err(PackingError::Unknown(_))));
    }

    #[test]
    fn one_tick_stands_for_everything_required_in_its_group() {
        let keys = ItemGroup::ALL.iter().map(|group| group.all_key()).collect::<Vec<_>>();
        let said = check_ticks(Parcel::Glasses, &keys).unwrap();
        let required = ITEMS.into_iter().filter(|i| i.is_needed && i.applies_to(Parcel::Glasses));
        assert_eq!(said, required.map(|i| i.words).collect::<Vec<_>>(), "and for nothing that is done by choice");
        let without_parcel = &keys[..2];
        assert!(missing(Parcel::Glasses, without_parcel).iter().all(|item| item.group == ItemGroup::Parcel));
        assert!(matches!(check_ticks(Parcel::LensesOnly, &["all_alignment"]), Err(PackingError::Unknown(_))));
    }

    #[test]
    fn lenses_alone_have_no_temples_to_align() {
        let of = |parcel| ITEMS.iter().filter(move |i| i.applies_to(parcel));
        assert!(of(Parcel::LensesOnly).all(|i| i.group != ItemGroup::Alignment && i.key != "screws"));
        assert!(of(Parcel::LensesOnly).any(|i| i.key == "own_wraps"));
        assert!(of(Parcel::Glasses).all(|i| i.key != "own_wraps"));
        assert!(matches!(check_ticks(Parcel::LensesOnly, &["spread"]), Err(PackingError::Unknown(_))));
    }

    #[test]
    fn the_customers_own_frame_goes_back() {
        let of = |parcel| ITEMS.iter().filter(move |i| i.applies_to(parcel)).map(|i| i.key);
        assert!(of(Parcel::OwnFrame).any(|key| key == "own_frame_back"));
        assert!([Parcel::Glasses, Parcel::LensesOnly].into_iter().all(|p| of(p).all(|key| key != "own_frame_back")));
        assert_eq!(of(Parcel::OwnFrame).count(), of(Parcel::Glasses).count() + 1);
    }

    #[test]
    fn keys_are_used_once() {
        for (i, item) in ITEMS.iter().enumerate() {
            assert!(!ITEMS[..i].iter().any(|other| other.key == item.key), "{}", item.key);
        }
    }
}
