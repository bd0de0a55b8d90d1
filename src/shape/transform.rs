//! Mirror, rotate, resize, offset.
