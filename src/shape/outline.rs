//! The traced outline: closed, finite, wound counter-clockwise, centred in its box.
