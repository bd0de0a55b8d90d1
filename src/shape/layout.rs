//! Where the lens sits: decentration, blank, blocker.
