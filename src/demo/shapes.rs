//! The trace files, built into the binary.

macro_rules! trace {
    ($name:literal) => {
        ($name, include_bytes!(concat!("../../demo-data/shapes/", $name)))
    };
}

/// Each file's name and bytes.
pub const TRACES: [(&str, &[u8]); 40] = [
    trace!("01-dunlin-round.txt"),
    trace!("02-sandpiper-panto.txt"),
    trace!("03-bittern-oval.txt"),
    trace!("04-whimbrel-cat-eye.txt"),
    trace!("05-curlew-cat-eye.txt"),
    trace!("06-sedge-butterfly.txt"),
    trace!("07-rivet-aviator.txt"),
    trace!("08-ferrule-aviator.txt"),
    trace!("09-gusset-rectangle.txt"),
    trace!("10-mandrel-square.txt"),
    trace!("11-anvil-trapezoid.txt"),
    trace!("12-flange-browline.txt"),
    trace!("13-vikra-hexagonal.txt"),
    trace!("14-nesholm-octagonal.txt"),
    trace!("15-skarvoy-soft-rectangle.txt"),
    trace!("16-skarvoy-soft-rectangle.txt"),
    trace!("17-brekka-round.txt"),
    trace!("18-lysbu-oversized.txt"),
    trace!("19-reedling-half-moon.txt"),
    trace!("20-reedling-narrow.txt"),
    trace!("21-shackle-rectangle.txt"),
    trace!("22-shackle-narrow.txt"),
    trace!("23-havnes-soft-rectangle.txt"),
    trace!("24-havnes-browline.txt"),
    trace!("25-lanyard-aviator.txt"),
    trace!("26-lanyard-trapezoid.txt"),
    trace!("27-sildra-oval.txt"),
    trace!("28-sildra-soft-rectangle.txt"),
    trace!("29-sildra-octagonal.txt"),
    trace!("30-sildra-panto.txt"),
    trace!("31-plover-rectangle.txt"),
    trace!("32-plover-square.txt"),
    trace!("33-plover-butterfly.txt"),
    trace!("34-plover-hexagonal.txt"),
    trace!("35-burnish-round.txt"),
    trace!("36-burnish-panto.txt"),
    trace!("37-burnish-oval.txt"),
    trace!("38-mysna-trapezoid.txt"),
    trace!("39-mysna-cat-eye.txt"),
    trace!("40-mysna-square.txt"),
];
