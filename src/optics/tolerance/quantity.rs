//! What a row of a tolerance table compares.

/// One row of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Power in the strongest meridian.
    StrongestPower,
    /// Power along the axis.
    PowerAlong,
    /// Power across the axis.
    PowerAcross,
    /// The cylinder.
    Cylinder,
    /// The axis.
    Axis,
    /// Unwanted vertical prism between the eyes, or the difference of the heights.
    VerticalImbalance,
    /// Unwanted horizontal prism between the eyes, or the error of the pupil distance.
    HorizontalImbalance,
    /// A prescribed prism, its horizontal part.
    PrismHorizontal,
    /// A prescribed prism, its vertical part.
    PrismVertical,
    /// A specified center thickness.
    CenterThickness,
    /// The thickness at the optical center against the least of the material, a house limit.
    LeastCenterThickness,
    /// The place of an optical center across, a house limit.
    CenterAcross,
    /// The height of an optical center, a house limit.
    CenterHeight,
}

impl Quantity {
    /// Every quantity, in the order of a verdict.
    pub const ALL: [Quantity; 13] = [
        Quantity::StrongestPower,
        Quantity::PowerAlong,
        Quantity::PowerAcross,
        Quantity::Cylinder,
        Quantity::Axis,
        Quantity::VerticalImbalance,
        Quantity::HorizontalImbalance,
        Quantity::PrismHorizontal,
        Quantity::PrismVertical,
        Quantity::CenterThickness,
        Quantity::LeastCenterThickness,
        Quantity::CenterAcross,
        Quantity::CenterHeight,
    ];

    /// A name that never changes, for the book.
    pub fn key(self) -> &'static str {
        match self {
            Quantity::StrongestPower => "power_strongest",
            Quantity::PowerAlong => "power_along_axis",
            Quantity::PowerAcross => "power_across_axis",
            Quantity::Cylinder => "cylinder",
            Quantity::Axis => "axis",
            Quantity::VerticalImbalance => "vertical_imbalance",
            Quantity::HorizontalImbalance => "horizontal_imbalance",
            Quantity::PrismHorizontal => "prism_horizontal",
            Quantity::PrismVertical => "prism_vertical",
            Quantity::CenterThickness => "centre_thickness",
            Quantity::LeastCenterThickness => "least_center_thickness",
            Quantity::CenterAcross => "centre_across",
            Quantity::CenterHeight => "centre_height",
        }
    }

    /// The quantity of a [`key`](Self::key).
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|quantity| quantity.key() == key)
    }

    /// For a person.
    pub fn name(self) -> &'static str {
        match self {
            Quantity::StrongestPower => "Power in the strongest meridian",
            Quantity::PowerAlong => "Power along the axis",
            Quantity::PowerAcross => "Power across the axis",
            Quantity::Cylinder => "Cylinder",
            Quantity::Axis => "Axis",
            Quantity::VerticalImbalance => "Vertical imbalance",
            Quantity::HorizontalImbalance => "Horizontal imbalance",
            Quantity::PrismHorizontal => "Prescribed prism, horizontal",
            Quantity::PrismVertical => "Prescribed prism, vertical",
            Quantity::CenterThickness => "Center thickness",
            Quantity::LeastCenterThickness => "Thickness at the center",
            Quantity::CenterAcross => "Optical center across",
            Quantity::CenterHeight => "Optical center height",
        }
    }

    /// Whether the row holds the place of a center by a house limit.
    pub fn is_house_limit(self) -> bool {
        matches!(self, Quantity::CenterAcross | Quantity::CenterHeight)
    }
}
