//! Named ids, so that a customer's cannot stand where a frame's belongs. Each is a UUID that only addresses and forms carry.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A named id around one plain value: written, read and sorted as that value.
macro_rules! id {
    ($($(#[$doc:meta])* $name:ident($inner:ty);)+) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub $inner);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = <$inner as FromStr>::Err;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                text.parse().map(Self)
            }
        }
    )+};
}

id! {
    /// A customer.
    CustomerId(Uuid);
    /// A frame.
    FrameId(Uuid);
    /// A material, whichever version is on sale.
    MaterialId(Uuid);
    /// One version of a material.
    MaterialVersionId(Uuid);
    /// A coating or tint, whichever version is on sale.
    TreatmentId(Uuid);
    /// One version of a coating or tint.
    TreatmentVersionId(Uuid);
    /// A pair of traced outlines.
    ShapeId(Uuid);
    /// One kind of uncut lens in the drawer.
    DrawerLensId(Uuid);
    /// Who sells uncut lenses.
    SupplierId(Uuid);
    /// A kept file.
    AttachmentId(Uuid);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_written_and_read_as_its_value() {
        let text = "019343e2-0000-7000-8000-000000000001";
        let id: CustomerId = text.parse().expect("a UUID");
        assert_eq!(id.to_string(), text);
        assert_eq!(serde_json::to_string(&id).expect("json"), format!("\"{text}\""));
        assert_eq!(serde_json::from_str::<CustomerId>(&format!("\"{text}\"")).expect("json"), id);
        assert!("1054x".parse::<CustomerId>().is_err());
    }

    #[test]
    fn ids_sort_as_their_values() {
        let id = |last: &str| format!("019343e2-0000-7000-8000-00000000000{last}").parse::<FrameId>().expect("a UUID");
        assert!(id("1") < id("2"));
    }
}
