//! The paper of a sheet at true size.

/// Letter, or A4 where letter paper is hard to get.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// 8.5 by 11 in.
    #[default]
    Letter,
    /// 210 by 297 mm.
    A4,
}

impl Paper {
    /// The paper of a word in an address; letter for any other word.
    pub fn from_word(word: &str) -> Self {
        if word == Paper::A4.word() { Paper::A4 } else { Paper::Letter }
    }

    /// Its word in an address.
    pub fn word(self) -> &'static str {
        match self {
            Paper::Letter => "letter",
            Paper::A4 => "a4",
        }
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Paper::Letter => "letter",
            Paper::A4 => "A4",
        }
    }

    /// The class of its sheet.
    pub fn class(self) -> &'static str {
        match self {
            Paper::Letter => "sheet-letter",
            Paper::A4 => "sheet-a4",
        }
    }

    /// The other one.
    pub fn other(self) -> Self {
        match self {
            Paper::Letter => Paper::A4,
            Paper::A4 => Paper::Letter,
        }
    }
}

/// What stands on every sheet of a shape.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShapeTop {
    /// The lab.
    pub head: super::Head,
    /// The job.
    pub job_number: i64,
    /// Maker, model, color and size of the frame.
    pub frame: String,
    /// The paper.
    pub paper: Paper,
    /// The lines of the ruler.
    pub ruler: String,
}

impl ShapeTop {
    /// For a job's frame.
    pub fn of(lab: &crate::desk::lab::Lab, job_number: i64, frame: &impl ToString, paper: Paper) -> Self {
        Self { head: super::Head::of(lab), job_number, frame: frame.to_string(), paper, ruler: super::ruler::ticks() }
    }
}
