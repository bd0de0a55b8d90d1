//! Named ids, so that a job's number cannot stand where a receipt's belongs.
//!
//! Numbers are what the owner reads and types. The other ids are UUIDs that only addresses and forms carry.

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
    /// The number on the tray.
    JobNumber(i64);
    /// The number at the head of a receipt.
    ReceiptNumber(i64);
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
        assert_eq!("1054".parse(), Ok(JobNumber(1054)));
        assert_eq!(JobNumber(1054).to_string(), "1054");
        assert_eq!(format!("{:>6}", JobNumber(1054)), "  1054");
        assert!("1054x".parse::<JobNumber>().is_err());
        let text = "019343e2-0000-7000-8000-000000000001";
        let id: CustomerId = text.parse().expect("a UUID");
        assert_eq!(id.to_string(), text);
        assert_eq!(serde_json::to_string(&id).expect("json"), format!("\"{text}\""));
        assert_eq!(serde_json::to_string(&ReceiptNumber(7)).expect("json"), "7");
        assert_eq!(serde_json::from_str::<ReceiptNumber>("7").expect("json"), ReceiptNumber(7));
    }

    #[test]
    fn ids_sort_as_their_values() {
        assert!(JobNumber(999) < JobNumber(1000));
    }
}
