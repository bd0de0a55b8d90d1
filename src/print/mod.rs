//! What leaves on paper: sheets that print black on white at true size.
//!
//! Each sheet is a view of plain strings, made by its `of` from the lab's types and filled into a template of the
//! same name under `templates/print`. Nothing here computes optics or money. Of a drawing only the numbers are made
//! here; its markup stands in `templates/print/_drawings.html`.

pub mod barcode;
pub mod blocking_sheet;
pub mod delay_letter;
pub mod lens_list;
pub mod measuring_sheet;
pub mod outline;
pub mod packing_sheet;
pub mod paper;
pub mod receipt;
pub mod reminder;
pub mod ruler;
pub mod shape_sheet;
pub mod slip;
pub mod strip;
pub mod ticket;
pub mod window;

use crate::bench::verification::Verdict;
use serde::{Deserialize, Serialize};

/// The head of every sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    /// The lab's name.
    pub name: String,
    /// The lab's address, telephone and e-mail on one line.
    pub contact: String,
}

impl Head {
    /// From the lab's page.
    pub fn of(lab: &crate::desk::lab::Lab) -> Self {
        Self { name: lab.name.clone(), contact: contact(&lab.address, &lab.phone, &lab.email) }
    }
}

/// Address, telephone and e-mail on one line.
fn contact(address: &str, phone: &str, email: &str) -> String {
    address.lines().chain([phone, email]).filter(|s| !s.is_empty()).collect::<Vec<_>>().join(" · ")
}

/// The last check of a pair as it prints.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CheckSummary {
    /// Which tolerances.
    pub profile: String,
    /// In words: passed or not.
    pub verdict: String,
    /// The thickness of each lens where it was measured; else empty.
    #[serde(default)]
    pub thickness: String,
    /// Why a pair that did not pass is sent all the same. It prints.
    pub concession: Option<String>,
}

impl CheckSummary {
    /// A kept verdict, and why the pair is sent all the same when it did not pass.
    pub fn of(verdict: &Verdict, concession: Option<&str>) -> Self {
        Self {
            profile: verdict.profile.clone(),
            verdict: if verdict.passed { "passed" } else { "not passed" }.to_owned(),
            thickness: verdict.thickness_words(),
            concession: concession.map(str::to_owned),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_contact_is_one_line() {
        assert_eq!(
            contact("4 Quay Lane\nPellmarsh", "", "post@example.com"),
            "4 Quay Lane · Pellmarsh · post@example.com"
        );
    }
}
