//! An outline as SVG path data in true millimetres.
