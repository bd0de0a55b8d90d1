//! What would be made of the jobs that were gathered: which customers and frames are new to the book, and which jobs it
//! holds already.

use std::collections::{BTreeSet, HashMap, HashSet};

use super::gathered::{ContentMark, Gathered, OldJob, count_stopped};
use super::problem::Problem;
use crate::desk::customer::{Customer, Person, name_key};
use crate::desk::frame::FrameDetails;
use crate::desk::id::{CustomerId, FrameId};
use crate::desk::text::folded;

/// What makes a frame one. Capitals and blanks do not count.
pub type FrameKey = ([String; 3], [i64; 2]);

/// The key of a frame.
pub fn frame_key(frame: &FrameDetails) -> FrameKey {
    let FrameDetails { maker, model, color, eye_size, bridge, .. } = frame;
    frame_key_of([maker, model, color], [eye_size.hundredths(), bridge.hundredths()].map(i64::from))
}

/// The key of a frame from its names and its stamped sizes.
pub fn frame_key_of(names: [&str; 3], hundredths: [i64; 2]) -> FrameKey {
    (names.map(folded), hundredths)
}

/// What the book holds of what is to be brought in.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Known {
    /// The jobs that were brought in before, by their mark.
    pub marks: HashMap<ContentMark, i64>,
    /// The job and the customer's name of each old number that is taken.
    pub numbers: HashMap<String, (i64, String)>,
    /// Customers by the key of their name.
    pub customers: HashMap<String, Vec<Customer>>,
    pub frames: HashMap<FrameKey, FrameId>,
}

/// A customer or a frame: in the book, or one of the new ones of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which<Id> {
    Known(Id),
    New(usize),
}

/// A job to be made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Planned<'a> {
    pub job: &'a OldJob,
    pub customer: Which<CustomerId>,
    pub frame: Which<FrameId>,
}

/// What would be made.
#[derive(Debug, Clone, Default)]
pub struct ImportPlan<'a> {
    /// By their day, the oldest first; those without a day before them.
    pub jobs: Vec<Planned<'a>>,
    /// The new customers.
    pub customers: Vec<&'a Person>,
    /// The new frames.
    pub frames: Vec<&'a FrameDetails>,
    /// How much there is of each.
    pub tally: ImportTally,
    pub problems: Vec<Problem>,
}

/// What a plan comes to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct ImportTally {
    /// Rows of the table.
    pub rows: usize,
    pub jobs: usize,
    pub shapes: usize,
    pub new_customers: usize,
    /// Customers of the book who get an old job.
    pub known_customers: usize,
    pub new_frames: usize,
    /// Jobs that were brought in before.
    pub already_here: usize,
    /// Rows that cannot be brought in so.
    pub stopped: usize,
}

impl<'a> ImportPlan<'a> {
    /// Plans what was gathered.
    pub fn of(gathered: &'a Gathered, known: &Known) -> Self {
        let mut plan = Self { problems: gathered.problems.clone(), ..Self::default() };
        let (mut people, mut frames) = (KnownPeople::of(known), HashMap::new());
        let mut recognized = HashSet::new();
        let mut already_here = 0;
        for job in &gathered.jobs {
            match is_here(job, known) {
                None => {}
                Some(said) => {
                    already_here += usize::from(said.as_ref().is_none_or(|problem| !problem.stops));
                    plan.problems.extend(said);
                    continue;
                }
            }
            let customer = match people.who(&job.row.person, &mut plan.customers) {
                Ok(who) => who,
                Err(says) => {
                    plan.problems.push(Problem::stops(job.row.row, says));
                    continue;
                }
            };
            if let Which::Known(id) = customer {
                recognized.insert(id);
            }
            let key = frame_key(&job.frame);
            let frame = match known.frames.get(&key) {
                Some(id) => Which::Known(*id),
                None => Which::New(*frames.entry(key).or_insert_with(|| {
                    plan.frames.push(&job.frame);
                    plan.frames.len() - 1
                })),
            };
            plan.jobs.push(Planned { job, customer, frame });
        }
        plan.jobs.sort_by_key(|planned| (planned.job.row.ordered_on, planned.job.row.row));
        plan.problems.sort_by(|one, other| one.place.cmp(&other.place));
        plan.tally = ImportTally {
            rows: gathered.rows,
            jobs: plan.jobs.len(),
            shapes: plan.jobs.iter().filter(|planned| planned.job.shape.is_some()).count(),
            new_customers: plan.customers.len(),
            known_customers: recognized.len(),
            new_frames: plan.frames.len(),
            already_here,
            stopped: count_stopped(&plan.problems),
        };
        plan
    }
}

/// Whether a job was brought in before, or its number is taken; with what is to be said of it, if anything.
fn is_here(job: &OldJob, known: &Known) -> Option<Option<Problem>> {
    if known.marks.contains_key(&job.mark) {
        return Some(None);
    }
    let (number, name) = known.numbers.get(&job.number_key)?;
    let (row, old) = (job.row.row, &job.row.number);
    Some(Some(if *name == name_key(&job.row.person.name) {
        let says = format!(
            "the old number {old} was brought in before as job {number}, with other details: it stays as it is"
        );
        Problem::note(row, says)
    } else {
        let says =
            format!("the old number {old} is that of another customer’s job {number}: give this row another number");
        Problem::stops(row, says)
    }))
}

/// The customers by the key of their name: those of the book, and those who are new.
struct KnownPeople<'k> {
    known: &'k Known,
    /// The places of the new ones of a name in the list of new ones.
    new: HashMap<String, Vec<usize>>,
}

impl<'k> KnownPeople<'k> {
    fn of(known: &'k Known) -> Self {
        Self { known, new: HashMap::new() }
    }

    /// The customer of a row. Two people of one name are told apart by telephone, e-mail and ZIP code.
    fn who<'a>(&mut self, person: &'a Person, new: &mut Vec<&'a Person>) -> Result<Which<CustomerId>, String> {
        let key = name_key(&person.name);
        let known = self.known.customers.get(&key).into_iter().flatten();
        let known = known.map(|customer| (Which::Known(customer.id), likeness(&customer.person, person)));
        let places = self.new.entry(key).or_default();
        let others = places.iter().map(|&at| (Which::New(at), likeness(new[at], person)));
        let all: Vec<_> = known.chain(others).collect();
        let of = |wanted: Likeness| all.iter().filter(move |(_, found)| *found == wanted).map(|(who, _)| *who);
        match (of(Likeness::Same).next(), of(Likeness::Unsure).collect::<Vec<_>>().as_slice()) {
            (Some(same), _) => Ok(same),
            (None, [only]) => Ok(*only),
            (None, []) => {
                new.push(person);
                places.push(new.len() - 1);
                Ok(Which::New(new.len() - 1))
            }
            (None, _) => Err(format!(
                "there is more than one customer called {}: type the telephone, e-mail or ZIP code of this one",
                person.name
            )),
        }
    }
}

/// Whether two entries of one name are one person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Likeness {
    /// They share a telephone, an e-mail or a ZIP code.
    Same,
    /// Nothing speaks for it or against it.
    Unsure,
    /// Whatever both say differs.
    Other,
}

fn likeness(one: &Person, other: &Person) -> Likeness {
    let digits = |phone: &str| {
        let digits: String = phone.chars().filter(char::is_ascii_digit).collect();
        // Without the code of the country.
        digits.len().checked_sub(10).map_or(digits.clone(), |from| digits[from..].to_owned())
    };
    let letters = |text: &str| text.to_lowercase().split_whitespace().collect::<String>();
    // Nine digits of a ZIP code begin with the five.
    let zip = |text: &str| letters(text).chars().take(5).collect::<String>();
    let shared = [
        (digits(&one.phone), digits(&other.phone)),
        (letters(&one.email), letters(&other.email)),
        (zip(&one.postcode), zip(&other.postcode)),
    ];
    let both: BTreeSet<bool> = shared
        .iter()
        .filter(|(one, other)| !one.is_empty() && !other.is_empty())
        .map(|(one, other)| one == other)
        .collect();
    match (both.contains(&true), both.contains(&false)) {
        (true, _) => Likeness::Same,
        (false, true) => Likeness::Other,
        (false, false) => Likeness::Unsure,
    }
}

#[cfg(test)]
mod tests {
    use super::super::gathered::gather;
    use super::super::gathered::tests::rows;
    use super::*;
    use crate::desk::frame::Rim;
    use time::macros::date;
    use uuid::Uuid;

    fn all(table: &[[&str; 6]]) -> Gathered {
        gather(rows(table), &[], Rim::Plastic, |parts| {
            let mut mark = ContentMark::default();
            for (at, byte) in parts.iter().flat_map(|part| part.iter()).enumerate() {
                mark[at % 32] = mark[at % 32].rotate_left(1) ^ byte;
            }
            mark
        })
    }

    fn person(name: &str, phone: &str, email: &str, postcode: &str) -> Person {
        let [name, phone, email, postcode] = [name, phone, email, postcode].map(str::to_owned);
        Person { name, phone, email, postcode, ..Person::default() }
    }

    #[test]
    fn what_was_brought_in_before_is_left() {
        let gathered = all(&[
            ["1", "Ada Quill", "", "50", "18", ""],
            ["2", "Ada Quill", "", "50", "18", "new"],
            ["3", "Bo Tarn", "", "50", "18", ""],
            ["4", "Bo Tarn", "", "50", "18", ""],
        ]);
        let known = Known {
            marks: [(gathered.jobs[0].mark, 1042)].into(),
            numbers: [
                ("1".to_owned(), (1042, "ada quill".to_owned())),
                ("2".to_owned(), (1043, "ada quill".to_owned())),
                ("3".to_owned(), (1044, "cy ebb".to_owned())),
            ]
            .into(),
            ..Known::default()
        };
        let plan = ImportPlan::of(&gathered, &known);
        assert_eq!(plan.jobs.iter().map(|planned| planned.job.row.number.as_str()).collect::<Vec<_>>(), ["4"]);
        let said: Vec<String> = plan.problems.iter().map(ToString::to_string).collect();
        assert_eq!(
            said,
            [
                "Row 3: the old number 2 was brought in before as job 1043, with other details: it stays as it is",
                "Row 4: the old number 3 is that of another customer’s job 1044: give this row another number",
            ]
        );
        let ImportTally { rows, jobs, already_here, stopped, .. } = plan.tally;
        assert_eq!((rows, jobs, already_here, stopped), (4, 1, 2, 1));
    }

    #[test]
    fn customers_and_frames_are_recognized() {
        let mut gathered = all(&[
            ["1", "ada  QUILL", "", "50", "18", ""],
            ["2", "Bo Tarn", "", "50", "18", ""],
            ["3", "Bo Tarn", "", "52", "18", ""],
        ]);
        gathered.jobs[1].frame = gathered.jobs[0].frame.clone();
        gathered.jobs[0].row.ordered_on = Some(date!(2020 - 01 - 02));
        gathered.jobs[2].row.ordered_on = Some(date!(2019 - 01 - 02));
        let (ada, frame) = (CustomerId(Uuid::from_u128(1)), FrameId(Uuid::from_u128(2)));
        let customer = Customer { id: ada, person: person("Ada Quill", "555-0101", "", "") };
        let known = Known {
            customers: [("ada quill".to_owned(), vec![customer])].into(),
            frames: [(frame_key(&gathered.jobs[0].frame), frame)].into(),
            ..Known::default()
        };
        let plan = ImportPlan::of(&gathered, &known);
        let made: Vec<_> = plan.jobs.iter().map(|p| (p.job.row.number.as_str(), p.customer, p.frame)).collect();
        assert_eq!(
            made,
            [
                ("2", Which::New(0), Which::Known(frame)),
                ("3", Which::New(0), Which::New(0)),
                ("1", Which::Known(ada), Which::Known(frame)),
            ]
        );
        let ImportTally { new_customers, known_customers, new_frames, .. } = plan.tally;
        assert_eq!((new_customers, known_customers, new_frames), (1, 1, 1));
    }

    #[test]
    fn people_of_one_name_are_told_apart() {
        let ada = person("Ada Quill", "(617) 555-0101", "ada@example.net", "99410");
        for (other, want) in [
            (person("Ada Quill", "+1 617 555 0101", "", ""), Likeness::Same),
            (person("Ada Quill", "617-555-0199", "ADA@example.net", ""), Likeness::Same),
            (person("Ada Quill", "", "", "99410-1234"), Likeness::Same),
            (person("Ada Quill", "617-555-0199", "", "99999"), Likeness::Other),
            (person("Ada Quill", "", "", ""), Likeness::Unsure),
        ] {
            assert_eq!(likeness(&ada, &other), want, "{other:?}");
            assert_eq!(likeness(&other, &ada), want, "{other:?}");
        }
        let entries = [
            ada.clone(),
            person("Ada Quill", "617-555-0199", "", "99999"),
            person("Ada Quill", "", "", "99999"),
            person("Ada Quill", "", "", ""),
        ];
        let known = Known::default();
        let (mut people, mut new) = (KnownPeople::of(&known), Vec::new());
        let who: Vec<_> = entries.iter().map(|entry| people.who(entry, &mut new)).collect();
        assert_eq!(who[..3], [Ok(Which::New(0)), Ok(Which::New(1)), Ok(Which::New(1))]);
        assert!(
            who[3].as_ref().is_err_and(|says| says.starts_with("there is more than one customer called Ada Quill"))
        );
    }
}
