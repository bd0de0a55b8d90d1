//! Published tolerance tables and the verdict on a finished pair.

/// Which published tolerances a finished pair is held to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Profile {
    /// ANSI Z80.1.
    Z80_1,
    /// ISO 21987.
    Iso21987,
}

impl Profile {
    /// Every profile.
    pub const ALL: [Profile; 2] = [Profile::Z80_1, Profile::Iso21987];

    /// As written in the book.
    pub fn key(self) -> &'static str {
        match self {
            Profile::Z80_1 => "z80_1",
            Profile::Iso21987 => "iso_21987",
        }
    }

    /// The profile written so, if any.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|p| p.key() == key)
    }
}
