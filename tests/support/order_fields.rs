//! What is typed into the order page for somebody new in a new frame, but for the name, the material and the days.

/// The fields and what stands in them.
pub const ORDER_FIELDS: [(&str, &str); 23] = [
    ("line1", "3 Sedge Row"),
    ("city", "Pellmarsh"),
    ("region", "PM"),
    ("postcode", "00404"),
    ("frame_maker", "Fjordline"),
    ("frame_model", "Kestrel"),
    ("frame_color", "ink"),
    ("frame_eye_size", "50"),
    ("frame_bridge", "18"),
    ("frame_temple", "140"),
    ("frame_rim", "metal"),
    ("price_frame", "95"),
    ("rx_right", "-225 -125 95"),
    ("rx_left", "-2.50 -0.75 x 80"),
    ("height_right", "20"),
    ("height_left", "20"),
    ("pd", "63"),
    ("made_for", "distance"),
    ("prescriber", "Dr Ines Fallow"),
    ("design", "spherical"),
    ("price_shipping", "7"),
    ("payment", "100"),
    ("payment_kind", "card"),
];
