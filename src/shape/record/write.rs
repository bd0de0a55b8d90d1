//! Writing records.
