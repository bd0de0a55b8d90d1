//! A form that corrects what the book holds, while another window may correct the same. The form carries what it was
//! filled with, so only what was changed in it is saved; where both changed a field, both values are shown.

use std::collections::BTreeSet;

use super::form::Form;
use crate::store::draft::Fields;

/// The field that carries what a form was filled with, as JSON.
const WAS: &str = "was";

/// A form filled in with what the book holds.
pub fn filled(kept: Form) -> Form {
    remembering(kept.clone(), &kept)
}

/// What a posted form comes to.
#[derive(Debug, PartialEq, Eq)]
pub enum PostedCorrection<T> {
    /// The book holds it already.
    Nothing,
    /// A field is wrong, or another window changed it too: the form says so.
    Refused,
    /// What is to be saved.
    Changed(T),
}

/// Reads a posted form beside what the book holds now, `standing`, which as a form is `kept`. `is_outdated` is whether the
/// book has changed since the form was filled in.
pub fn correct<T: PartialEq>(
    form: &mut Form,
    standing: &T,
    kept: &Form,
    is_outdated: bool,
    read: impl Fn(&mut Form) -> Option<T>,
) -> PostedCorrection<T> {
    if read(&mut form.clone()).as_ref() == Some(standing) {
        return PostedCorrection::Nothing;
    }
    let mut merged = merged(form.clone(), kept, is_outdated);
    let corrected = read(&mut merged).filter(|_| merged.is_fine());
    *form = remembering(merged, kept);
    match corrected {
        None => PostedCorrection::Refused,
        Some(same) if same == *standing => PostedCorrection::Nothing,
        Some(changed) => PostedCorrection::Changed(changed),
    }
}

/// The form carries what the book holds now.
fn remembering(mut form: Form, kept: &Form) -> Form {
    // Strings always have a JSON form.
    form.set(WAS, serde_json::to_string(kept.fields()).unwrap_or_default());
    form
}

/// A posted form together with what the book holds now. A field that was not changed here is as it stands in the book.
/// `is_outdated` is whether the book has changed since the form was filled in, for a form that does not say with what.
fn merged(form: Form, kept: &Form, is_outdated: bool) -> Form {
    let was = match serde_json::from_str::<Fields>(form.value(WAS)) {
        Ok(fields) => Some(Form::new(fields)),
        // Every other value is taken as typed here.
        Err(_) if !is_outdated => return form,
        Err(_) => None,
    };
    let mut merged = form;
    let names: BTreeSet<&str> = kept.fields().iter().map(|(name, _)| name.as_str()).collect();
    let names_before = was.iter().flat_map(|was| was.fields()).map(|(name, _)| name.as_str());
    for name in names.into_iter().chain(names_before).collect::<BTreeSet<_>>() {
        let (mine, theirs) = (said(&merged, name), said(kept, name));
        let before = was.as_ref().map(|was| said(was, name));
        if mine == theirs || before.as_ref() == Some(&theirs) {
            continue;
        }
        if before.as_ref() == Some(&mine) {
            merged.replace(name, kept.values(name).map(str::to_owned).collect());
        } else {
            merged.fail(name, both(&theirs));
        }
    }
    merged
}

/// What stands in a field, however a browser sends it.
fn said(form: &Form, name: &str) -> Vec<String> {
    let lines = |value: &str| value.lines().map(str::trim).collect::<Vec<_>>().join("\n").trim().to_owned();
    form.values(name).map(lines).filter(|value| !value.is_empty()).collect()
}

fn both(theirs: &[String]) -> String {
    match theirs {
        [] => "This was emptied in another window. Keep what you typed or empty it, and save again".to_owned(),
        _ => format!(
            "This was changed in another window to “{}”. Keep what you typed or type that, and save again",
            theirs.join(", ").replace('\n', ", ")
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form(fields: &[(&str, &str)]) -> Form {
        Form::new(fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect())
    }

    /// What was filled in, what is posted, what the book holds now; what is kept of the field, and whether it is asked about.
    #[test]
    fn only_what_was_changed_here_is_saved() {
        for (was, mine, theirs, kept, asks) in [
            ("old", "old", "old", "old", false),
            ("old", "mine", "old", "mine", false),
            ("old", "old", "theirs", "theirs", false),
            ("old", "theirs", "theirs", "theirs", false),
            ("old", "mine", "theirs", "mine", true),
            ("old", "", "theirs", "", true),
            ("old", "old", "", "", false),
            ("a\nb", "a\r\nb", "theirs", "theirs", false),
        ] {
            let posted = remembering(form(&[("city", mine)]), &form(&[("city", was)]));
            let merged = merged(posted, &form(&[("city", theirs)]), true);
            let row = format!("{was:?} {mine:?} {theirs:?}");
            assert_eq!(merged.value("city"), kept, "{row}");
            assert_eq!(merged.error("city").is_some(), asks, "{row}");
            assert!(!asks || merged.error("city").is_some_and(|says| says.contains(theirs)), "{row}");
        }
    }

    #[test]
    fn ticks_are_compared_as_a_whole() {
        let was = form(&[("day", "sat"), ("day", "sun")]);
        let untouched = remembering(was.clone(), &was);
        let kept = merged(untouched, &form(&[("day", "sun")]), true);
        assert_eq!(kept.values("day").collect::<Vec<_>>(), ["sun"]);
        let unticked = remembering(form(&[]), &was);
        let kept = merged(unticked, &was, false);
        assert_eq!(kept.values("day").count(), 0, "unticked here");
    }

    #[test]
    fn a_form_that_carries_nothing_asks_where_it_differs() {
        let posted = form(&[("city", "mine"), ("name", "same")]);
        let kept = form(&[("city", "theirs"), ("name", "same")]);
        assert_eq!(merged(posted.clone(), &kept, true).count_errors(), 1);
        assert!(merged(posted, &kept, false).is_fine());
    }
}
