//! The prescription as a practitioner writes it: reading, checking, writing back.
