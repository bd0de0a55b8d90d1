//! What goes wrong with a pair, and where.

use strum::{EnumString, IntoStaticStr, VariantArray};

use super::key::keyed;

/// Where a pair went wrong. Common practice: the stations of the work, and the three outside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum FaultCause {
    /// Taken down wrong.
    Order,
    /// The prescription was wrong or unsuitable.
    Prescription,
    /// The uncut lens was wrong or faulty.
    Lens,
    /// Marked, laid out or blocked wrong.
    Layout,
    /// Edged wrong.
    Cut,
    /// The coating or tint.
    Coating,
    /// Broken or scratched in mounting.
    Mount,
    /// Dropped or scratched.
    Handling,
    /// Lost or broken in the post.
    Post,
    /// The customer's mind changed.
    Mind,
}

keyed!(FaultCause);

impl FaultCause {
    /// How a lens is spoiled at the bench, the most frequent first.
    pub const OF_A_LENS: [FaultCause; 6] = [
        FaultCause::Cut,
        FaultCause::Layout,
        FaultCause::Lens,
        FaultCause::Mount,
        FaultCause::Handling,
        FaultCause::Coating,
    ];

    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            FaultCause::Order => "the order was entered wrong",
            FaultCause::Prescription => "the prescription was wrong or unsuitable",
            FaultCause::Lens => "the uncut lens was wrong or faulty",
            FaultCause::Layout => "marking, layout or blocking",
            FaultCause::Cut => "edging: size, shape, axis, bevel or a chip",
            FaultCause::Coating => "the coating or tint",
            FaultCause::Mount => "broken or scratched while mounting",
            FaultCause::Handling => "dropped or scratched",
            FaultCause::Post => "lost or broken in the mail",
            FaultCause::Mind => "the customer changed their mind",
        }
    }
}

/// Why a pair that did not pass is sent all the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum ConcessionCause {
    /// The customer was asked.
    CustomerAsked,
    /// The prescriber was asked.
    PrescriberAsked,
    /// The lensmeter cannot tell.
    Reading,
    /// A remake follows.
    UntilRemade,
}

keyed!(ConcessionCause);

impl ConcessionCause {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            ConcessionCause::CustomerAsked => "the customer was asked and accepts it",
            ConcessionCause::PrescriberAsked => "the prescriber was asked and accepts it",
            ConcessionCause::Reading => "it is over the limit by less than the lensmeter can read",
            ConcessionCause::UntilRemade => "it is used until the remake arrives",
        }
    }
}
