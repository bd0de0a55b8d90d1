//! Reading records.
