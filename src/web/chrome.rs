//! The header and footer of every page.

use super::AppState;

/// What stands around every page.
#[derive(Debug, Clone)]
pub struct Chrome {
    /// The lab's name, in the page's head.
    pub lab_name: String,
    /// Which room of the navigation this is: `today`, `order`, `customers`, `frames`, `money`, `stock`, `buying`, `lab`, `start`, or
    /// none.
    pub nav: &'static str,
    /// What is wrong with the file of the book.
    pub trouble: Option<String>,
    /// What is wrong with the backups.
    pub backup_warning: Option<String>,
}

impl Chrome {
    /// Around a page of a room.
    pub fn new(state: &AppState, nav: &'static str) -> Self {
        let trouble = state.store.trouble().map(|trouble| format!("{trouble}."));
        Self { lab_name: state.lab().name.clone(), nav, trouble, backup_warning: state.backups.warning(state.clock) }
    }

    /// Around the first page of an empty book: no room is open yet.
    pub fn first() -> Self {
        Self { lab_name: String::new(), nav: "start", trouble: None, backup_warning: None }
    }

    /// Around a page that knows no lab.
    pub fn bare() -> Self {
        Self { lab_name: String::new(), nav: "", trouble: None, backup_warning: None }
    }
}
