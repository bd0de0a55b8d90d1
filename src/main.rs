//! Parses the command line, starts logging, and calls into the library.

fn main() {}
