//! What was searched for. It is kept in memory, and the page of what was found has only its key in its address: a name
//! that stands in an address stays in the history of the browser.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use serde::Deserialize;
use uuid::Uuid;

/// How many searches are kept: more than anybody walks back through.
const MOST: usize = 500;

/// The longest search, in characters. More is cut off.
const LONGEST: usize = 200;

/// What a search posts.
#[derive(Debug, Deserialize)]
pub(crate) struct PostedSearch {
    #[serde(default)]
    pub q: String,
}

/// In the address of a list: the search that narrows it, if one does.
#[derive(Debug, Deserialize)]
pub(crate) struct FoundQuery {
    #[serde(default)]
    found: Uuid,
}

/// The last searches. Cheap to clone.
#[derive(Debug, Clone, Default)]
pub struct RecentSearches(Arc<Mutex<VecDeque<(Uuid, String)>>>);

impl RecentSearches {
    /// Keeps a search; its key.
    pub fn keep(&self, text: &str) -> Uuid {
        let text: String = text.trim().chars().take(LONGEST).collect();
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((key, _)) = kept.iter().find(|(_, other)| *other == text) {
            return *key;
        }
        if kept.len() == MOST {
            kept.pop_front();
        }
        let key = Uuid::now_v7();
        kept.push_back((key, text));
        key
    }

    /// The address of a list that a search narrows; of the whole list where nothing was typed.
    pub(crate) fn address(&self, list: &str, search: &PostedSearch) -> String {
        match search.q.trim() {
            "" => list.to_owned(),
            typed => format!("{list}?found={}", self.keep(typed)),
        }
    }

    /// What narrows a list; empty for the whole list, and after the program was started again.
    pub(crate) fn narrows(&self, list: &FoundQuery) -> String {
        self.find(list.found).unwrap_or_default()
    }

    /// What was searched for. `None` after the program was started again.
    pub fn find(&self, key: Uuid) -> Option<String> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter().find(|(other, _)| *other == key).map(|(_, text)| text.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::{LONGEST, MOST, RecentSearches};

    #[test]
    fn keeps_the_last_searches() {
        let asked = RecentSearches::default();
        let first = asked.keep(" Ada Quill ");
        assert_eq!(asked.find(first).as_deref(), Some("Ada Quill"));
        assert_eq!(asked.keep("Ada Quill"), first, "the same search is one page");
        for i in 1..MOST {
            asked.keep(&i.to_string());
        }
        assert!(asked.find(first).is_some());
        asked.keep("one more");
        assert_eq!(asked.find(first), None);
        let long = asked.keep(&"é".repeat(50_000));
        assert_eq!(asked.find(long).unwrap().chars().count(), LONGEST);
    }
}
