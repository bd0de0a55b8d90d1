//! The boxing system: A, B, ED, circumference, area.
