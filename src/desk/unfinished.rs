//! An order that was begun and waits: what is missing, and the text that asks the customer for it.

/// What an order cannot be taken without.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Missing {
    /// Who it is for.
    Name,
    /// Where the parcel goes, and who is written to.
    Address,
    /// Which frame.
    Frame,
    /// What is prescribed for the right eye.
    RightEye,
    /// What is prescribed for the left eye.
    LeftEye,
    /// The pupil distance.
    PupilDistance,
}

impl Missing {
    /// For the owner.
    pub fn words(self) -> &'static str {
        match self {
            Missing::Name => "name",
            Missing::Address => "address",
            Missing::Frame => "frame",
            Missing::RightEye => "right prescription",
            Missing::LeftEye => "left prescription",
            Missing::PupilDistance => "pupil distance",
        }
    }

    /// What the customer is asked for; a prescription is asked for once.
    fn asked(self, all: &[Missing]) -> Option<&'static str> {
        match self {
            Missing::Name => Some("your full name"),
            Missing::Address => Some("your postal address"),
            Missing::Frame => Some("the frame you would like: maker, model, color and size"),
            Missing::RightEye if all.contains(&Missing::LeftEye) => {
                Some("your prescription: send a picture or a copy of the whole page, with its date")
            }
            Missing::LeftEye if all.contains(&Missing::RightEye) => None,
            Missing::RightEye => Some("your prescription for the right eye: a picture or a copy of the whole page"),
            Missing::LeftEye => Some("your prescription for the left eye: a picture or a copy of the whole page"),
            Missing::PupilDistance => {
                Some("your pupil distance, best for each eye: the office that examined your eyes can measure it")
            }
        }
    }
}

/// The text that asks the customer for what is missing, to be copied into a message. Without anything to ask, `None`.
pub fn question(name: &str, lab_name: &str, phone: &str, missing: &[Missing]) -> Option<String> {
    let asked: Vec<_> = missing.iter().filter_map(|item| item.asked(missing)).collect();
    if asked.is_empty() {
        return None;
    }
    let greeting = if name.is_empty() { "Hello,".to_owned() } else { format!("Dear {name},") };
    let list = asked.iter().map(|item| format!("- {item}\n")).collect::<String>();
    let call = if phone.is_empty() { String::new() } else { format!(" or call {phone}") };
    Some(format!(
        "{greeting}\n\nThank you for your order. Before we can begin, we still need:\n\n{list}\nPlease answer this \
         message{call}. Your order counts as complete, and its promised date is set, once we have all of it.\n\n{lab_name}\n"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn asks_for_what_is_missing_and_for_nothing_else() {
        use Missing::*;
        for (missing, has, has_not) in [
            (vec![RightEye, LeftEye], vec!["your prescription: send"], vec!["right eye", "left eye", "pupil"]),
            (vec![LeftEye], vec!["for the left eye"], vec!["right eye"]),
            (vec![PupilDistance, Address], vec!["pupil distance", "postal address"], vec!["prescription"]),
        ] {
            let text = question("Ada", "Saltmarsh Lens Post", "555-0142", &missing).unwrap();
            assert!(text.starts_with("Dear Ada,") && text.contains("555-0142") && text.contains("Saltmarsh"), "{text}");
            assert!(has.iter().all(|words| text.contains(words)), "{missing:?}: {text}");
            assert!(!has_not.iter().any(|words| text.contains(words)), "{missing:?}: {text}");
        }
        assert_eq!(question("Ada", "Saltmarsh Lens Post", "", &[]), None);
        assert!(question("", "Saltmarsh Lens Post", "", &[Name]).unwrap().starts_with("Hello,\n"));
    }
}
