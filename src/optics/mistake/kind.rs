//! The mistakes that are looked for.

/// A usual mistake at the bench or in writing down a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum MistakeKind {
    /// Right and left were exchanged.
    EyesExchanged,
    /// Sphere and cylinder have the other sign.
    SignReversed,
    /// Read in one cylinder form and written in the other: only the sign of the cylinder is wrong.
    WrongCylinderForm,
    /// The lens was turned by half a turn in the frame.
    UpsideDown,
    /// The prism has its base in the opposite direction: in for out, up for down, or both.
    BaseReversed,
    /// The axis is 90 degrees away.
    AxisAcross,
    /// The axis is 180 less the ordered one, as seen from the other side of the lens.
    AxisMirrored,
    /// The lens is turned from its axis.
    Turned,
}

impl MistakeKind {
    /// Every kind.
    pub const ALL: [MistakeKind; 8] = [
        MistakeKind::EyesExchanged,
        MistakeKind::SignReversed,
        MistakeKind::WrongCylinderForm,
        MistakeKind::UpsideDown,
        MistakeKind::BaseReversed,
        MistakeKind::AxisAcross,
        MistakeKind::AxisMirrored,
        MistakeKind::Turned,
    ];

    /// A name that never changes, for the book and for scripts.
    pub fn key(self) -> &'static str {
        match self {
            MistakeKind::EyesExchanged => "eyes_exchanged",
            MistakeKind::SignReversed => "sign_reversed",
            MistakeKind::WrongCylinderForm => "wrong_cylinder_form",
            MistakeKind::UpsideDown => "upside_down",
            MistakeKind::BaseReversed => "base_reversed",
            MistakeKind::AxisAcross => "axis_across",
            MistakeKind::AxisMirrored => "axis_mirrored",
            MistakeKind::Turned => "turned",
        }
    }

    /// The kind of a [`key`](Self::key).
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.key() == key)
    }
}
